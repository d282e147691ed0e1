"""Reviews in time, by the labour record of the unit whose recordings an archive holds."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

import numpy as np

from ebbline.cohort.report.charts import Bar, bars
from ebbline.cohort.report.model import Figure, ReportTable, Section
from ebbline.cohort.report.tables import interval, share_said
from ebbline.journal.entries import Trace
from ebbline.journal.on_time import GRACE_MIN, ReviewKept, reviews_kept

if TYPE_CHECKING:
    from ebbline.journal.store import Journal

TITLE = "Reviews on time"

HONEST = (
    "Times are those that people wrote. What was done and not written counts here as not done; "
    "what was written later from memory counts as it was written."
)


def on_time(base: Any, record: Journal) -> Section:
    """The reviews that fell due in every case of a record, and how many were done in time."""
    cases = record.cases(closed=True)
    kept: dict[tuple[str, str], list[ReviewKept]] = defaultdict(list)
    named = set()
    for card in cases:
        entries = record.entries(card.case)
        named |= {e.body.place for e in entries if isinstance(e.body, Trace)}
        for one in reviews_kept(entries):
            kept[one.name, one.title].append(one)
    about = (
        f"{len(cases)} {'case' if len(cases) == 1 else 'cases'} of the record; the traces of "
        f"{_of_archive(base, named)} of them are recordings of this archive. On time: done no "
        f"later than {GRACE_MIN:.0f} min after a review fell due by the policy of reviews, for the "
        "stage, the risk and the method that the record told just before."
    )
    if not kept:
        return Section(TITLE, (about, "No review fell due in any case."))
    figure = _figure(sorted(kept.items(), key=lambda pair: -len(pair[1])))
    return Section(TITLE, (about, HONEST), (figure,))


def _of_archive(base: Any, places: set[str]) -> int:
    """How many of the traces that cases name stand in the archive, by the name without folders."""
    rows = base.execute("SELECT DISTINCT recording FROM recordings").fetchall()
    known = {PurePath(str(name)).name for (name,) in rows}
    return sum(PurePath(place).name in known or PurePath(place).stem in known for place in places)


def _figure(kept: Sequence[tuple[tuple[str, str], list[ReviewKept]]]) -> Figure:
    drawn, rows = [], []
    for (_, title), every in kept:
        good = sum(one.on_time for one in every)
        low, high = interval(good, len(every))
        share = 100 * good / len(every)
        drawn.append(Bar(title, share, f"{share:.0f} % of {len(every)}", 100 * low, 100 * high))
        late = [one.late_min for one in every if one.done_at is not None and not one.on_time]
        rows.append(
            (
                title,
                str(len(every)),
                share_said(good, len(every)),
                f"{len(late)}" + (f", median {np.median(late):.0f} min late" if late else ""),
                str(sum(one.done_at is None for one in every)),
            )
        )
    return Figure(
        "Reviews done in time, of those that fell due.",
        bars("Reviews on time, with 95 % interval", drawn, most=100.0, unit="%"),
        ReportTable(
            ("review", "fell due", "on time (95 % interval)", "done later", "not done by the end"),
            tuple(rows),
        ),
    )
