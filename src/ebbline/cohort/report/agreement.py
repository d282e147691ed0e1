"""How the classes agree with people's, where readings of the same windows are given."""

from __future__ import annotations

import math
import posixpath
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from ebbline.cohort.readers import CLASSES, GivenReading
from ebbline.cohort.report.model import ReportTable, Section
from ebbline.cohort.report.sections import standards_of
from ebbline.cohort.report.tables import share_said
from ebbline.cohort.rows import LAST, SECOND_STAGE
from ebbline.statistics.agreement import MISSING, Agreement, Weighting, cohen
from ebbline.terms import counted

LEAST_READERS = 3
"""A window that fewer people read has no reading of the middle (ours)."""

RESAMPLES = 500


@dataclass(frozen=True, slots=True)
class _Window:
    """A window with the class of each standard and the panel's label; "" where there is none."""

    second_stage: bool
    ranks: dict[str, int]
    panel: int
    votes: dict[str, int]

    def middle(self, without: str = "") -> int:
        """The median reading, between two classes the worse one; MISSING with too few."""
        said = [rank for reader, rank in self.votes.items() if reader != without]
        if len(said) < LEAST_READERS:
            return MISSING
        return int(np.floor(np.median(said) + 0.5))


def agreement(base: Any, given: Sequence[GivenReading]) -> Section:
    """Quadratic-weighted kappa of each standard, the panel, and each reader against the others."""
    title = "Agreement with readers"
    windows = [one for one in _windows(base, given) if len(one.votes) >= LEAST_READERS]
    if not windows:
        told = (
            "None of the readings given is of a half hour or second stage in these results that "
            f"{LEAST_READERS} people or more read."
        )
        return Section(title, (told,))
    parts = (
        ("Half hours", [one for one in windows if not one.second_stage]),
        ("Second stage", [one for one in windows if one.second_stage]),
    )
    tables = [_table(base, name, chosen) for name, chosen in parts if chosen]
    return Section(
        title,
        (
            f"{counted(len(windows), 'window')} read by {LEAST_READERS} people or more. The middle "
            "reading is the median, between two classes the worse one; each reader is set against "
            "the middle of the others. Where a standard gives no class the window is counted, not "
            "compared. The panel is a model fitted to the readings of nine obstetricians on "
            "CTU-UHB recordings: on those very recordings its agreement here is kinder than on "
            "new ones.",
            "Kappa with quadratic weights (Cohen J. Psychol Bull 1968;70:213-20); 95 % intervals "
            "by bootstrap over windows (Efron B. Ann Stat 1979;7:1-26).",
        ),
        tables=tuple(tables),
    )


def _windows(base: Any, given: Sequence[GivenReading]) -> list[_Window]:
    votes: dict[tuple[str, str], dict[str, int]] = defaultdict(dict)
    for one in given:
        votes[one.recording, _key(one.window, one.start_s, one.end_s)][one.reader] = one.rank
    ranks: dict[tuple[str, str, float], dict[str, int]] = defaultdict(dict)
    for name, window, start_s, standard, rank in base.execute(
        'SELECT recording, "window", start_s, standard, rank FROM classes WHERE fetus = 1'
    ).fetchall():
        ranks[name, window, start_s][standard] = rank
    found = []
    for name, window, start_s, end_s, *panel in base.execute(
        'SELECT recording, "window", start_s, end_s, panel_normal, panel_suspicious, '
        'panel_pathological FROM half_hours WHERE fetus = 1 AND "window" <> ? ORDER BY ALL',
        [LAST],
    ).fetchall():
        said = votes.get((posixpath.basename(name), _key(window, start_s, end_s)))
        said = said or votes.get((name, _key(window, start_s, end_s)))
        if said:
            told = MISSING if panel[0] is None else int(np.argmax(panel))
            second = window == SECOND_STAGE
            found.append(_Window(second, ranks[name, window, start_s], told, said))
    return found


def _key(window: str, start_s: float, end_s: float) -> str:
    """Windows are the same when they begin and end in the same second."""
    return SECOND_STAGE if window == SECOND_STAGE else f"{start_s:.0f}-{end_s:.0f}"


def _table(base: Any, name: str, windows: list[_Window]) -> ReportTable:
    middle = [one.middle() for one in windows]
    rows = []
    for standard, edition in standards_of(base):
        given = [one.ranks.get(standard, MISSING) for one in windows]
        given = [MISSING if rank < 0 else rank for rank in given]
        rows.append(_row(edition, given, middle))
    rows.append(_row("Panel reading", [one.panel for one in windows], middle))
    readers = sorted({reader for one in windows for reader in one.votes}, key=_by_number)
    for reader in readers:
        own = [one.votes.get(reader, MISSING) for one in windows]
        others = [one.middle(reader) for one in windows]
        rows.append(_row(f"Reader {reader}, against the others", own, others))
    heads = (name, "windows", "without a class", "same class", "kappa (95 % interval)")
    return ReportTable(heads, tuple(rows), f"Classes: {', '.join(CLASSES)}; NICHD by its tiers.")


def _by_number(reader: str) -> tuple[int, str]:
    return (int(reader), "") if reader.isdigit() else (10**9, reader)


def _row(name: str, own: list[int], middle: list[int]) -> tuple[str, ...]:
    pairs = [(a, b) for a, b in zip(own, middle, strict=True) if MISSING not in (a, b)]
    without = sum(1 for a in own if a == MISSING)
    same = share_said(sum(a == b for a, b in pairs), len(pairs))
    found = cohen(
        [a for a, _ in pairs],
        [b for _, b in pairs],
        len(CLASSES),
        weighting=Weighting.QUADRATIC,
        resamples=RESAMPLES,
    )
    return (name, str(len(pairs)), str(without), same, _said(found))


def _said(found: Agreement) -> str:
    if not math.isfinite(found.value):
        return found.note
    if not math.isfinite(found.low):
        return f"{found.value:.2f}"
    return f"{found.value:.2f} ({found.low:.2f} to {found.high:.2f})"
