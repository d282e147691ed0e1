"""Classes against what came of the labours, with intervals, and how weak such relations are."""

from __future__ import annotations

from typing import Any

import numpy as np

from ebbline.cohort.report.charts import Bar, bars
from ebbline.cohort.report.model import Figure, ReportTable, Section
from ebbline.cohort.report.sections import standards_of
from ebbline.cohort.report.tables import interval, share_said
from ebbline.cohort.rows import HALF_HOUR

ACIDAEMIA_PH = 7.05
"""Umbilical artery pH under this: the outcome the CTU-UHB authors set apart (Chudacek V, et al. BMC
Pregnancy Childbirth 2014;14:16)."""

LOW_PH = 7.15
"""A looser line, so that fewer recordings can still be counted (ours)."""

FEW = 10
"""With fewer such outcomes the table says that they are few (ours)."""

RESAMPLES = 1000

HONEST = (
    "A class is not an outcome. Umbilical pH is one late measure, taken after minutes to hours "
    "that no recording shows; care given because of the trace changes what it would have "
    "foretold; the recordings of an archive are chosen, not drawn. In published series abnormal "
    "traces foretell acidaemia poorly: most babies after a pathological trace are well. The "
    "figures here describe this archive and are no ground to trust or distrust a class at a "
    "bedside."
)


def outcomes(base: Any) -> Section:
    """The worst class of a recording against the umbilical artery pH."""
    title = "Classes and outcome"
    names = {row[0] for row in base.execute(_NAMES).fetchall()}
    if "pH" not in names:
        return Section(title, ("The recordings say nothing of the umbilical artery pH.",))
    figures, tables = [], []
    for standard, edition in standards_of(base):
        rows = base.execute(_WORST, [standard, HALF_HOUR]).fetchall()
        if not rows:
            continue
        figure = _by_class(edition, rows)
        figures.append(figure)
        tables.append(_accuracy(edition, rows))
    return Section(title, (HONEST,), tuple(figures), tuple(tables))


_NAMES = "SELECT DISTINCT unnest(map_keys(outcome)) FROM recordings"
_WORST = """
SELECT c.label, c.rank, r.ph
FROM (SELECT recording, fetus, max(rank) AS rank, arg_max(label, rank) AS label
      FROM classes WHERE standard = ? AND rank >= 0 AND "window" = ? GROUP BY 1, 2) c
JOIN (SELECT recording, fetus, outcome['pH'] AS ph FROM recordings) r USING (recording, fetus)
WHERE r.ph IS NOT NULL ORDER BY c.rank
"""


def _by_class(edition: str, rows: list[tuple[str, int, float]]) -> Figure:
    labels = list(dict.fromkeys(label for label, _, _ in rows))
    table, drawn = [], []
    for label in labels:
        ph = [value for one, _, value in rows if one == label]
        low = sum(value < LOW_PH for value in ph)
        worst = sum(value < ACIDAEMIA_PH for value in ph)
        at = interval(low, len(ph))
        drawn.append(
            Bar(
                label,
                100 * low / len(ph),
                f"{100 * low / len(ph):.0f} % of {len(ph)}",
                100 * at[0],
                100 * at[1],
            )
        )
        table.append(
            (
                label,
                str(len(ph)),
                f"{np.median(ph):.2f}",
                share_said(low, len(ph)),
                share_said(worst, len(ph)),
            )
        )
    head = (f"worst class, {edition}", "recordings", "median pH")
    return Figure(
        f"{edition}: pH under {LOW_PH} by the worst class of the recording.",
        bars(f"{edition}: pH under {LOW_PH} after this worst class", drawn, most=100.0, unit="%"),
        ReportTable((*head, f"pH under {LOW_PH}", f"pH under {ACIDAEMIA_PH}"), tuple(table)),
    )


def _accuracy(edition: str, rows: list[tuple[str, int, float]]) -> ReportTable:
    """The worst class that occurs taken as a test for a low pH."""
    ranks = np.array([rank for _, rank, _ in rows])
    ph = np.array([value for _, _, value in rows], dtype=float)
    worst = ranks.max()
    label = next(one for one, rank, _ in rows if rank == worst)
    body = []
    for limit in (LOW_PH, ACIDAEMIA_PH):
        ill = ph < limit
        said = ranks == worst
        note = "few: read the intervals" if ill.sum() < FEW else ""
        body.append(
            (
                f"pH under {limit}",
                share_said(int((said & ill).sum()), int(ill.sum())),
                share_said(int((~said & ~ill).sum()), int((~ill).sum())),
                share_said(int((said & ill).sum()), int(said.sum())),
                _area_said(ranks, ill),
                note,
            )
        )
    heads = (
        f'"{label}" ({edition}) as a test for',
        "sensitivity",
        "specificity",
        "positive predictive value",
        "area under the curve, all classes",
        "",
    )
    return ReportTable(
        heads,
        tuple(body),
        "95 % intervals: Wilson for shares, bootstrap over recordings for the area.",
    )


def _area(ranks: np.ndarray[Any, Any], ill: np.ndarray[Any, Any]) -> float:
    """Chance that an ill one has the worse class, ties counted half (Mann-Whitney)."""
    a, b = ranks[ill], ranks[~ill]
    if not len(a) or not len(b):
        return float("nan")
    above = (a[:, None] > b[None, :]).mean()
    return float(above + 0.5 * (a[:, None] == b[None, :]).mean())


def _area_said(ranks: np.ndarray[Any, Any], ill: np.ndarray[Any, Any]) -> str:
    value = _area(ranks, ill)
    if not np.isfinite(value):
        return "not defined"
    chooser = np.random.default_rng(0)
    drawn = [chooser.integers(0, len(ranks), len(ranks)) for _ in range(RESAMPLES)]
    areas = [_area(ranks[one], ill[one]) for one in drawn]
    low, high = np.nanpercentile(areas, [2.5, 97.5])
    return f"{value:.2f} ({low:.2f} to {high:.2f})"
