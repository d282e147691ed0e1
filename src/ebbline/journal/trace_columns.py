"""What a trace says to the record: half hours with baseline, decelerations and contractions."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime, timedelta
from statistics import median

from ebbline.features import window as within
from ebbline.features.findings import DecelerationKind, Findings
from ebbline.reading.model import FetalReading, Reading
from ebbline.reading.summary import summarise
from ebbline.terms import Window

COLUMN_S = 1800.0
"""Length of a column (ours): the chart's usual half hour."""

LEAST_S = 600.0
"""Shortest stretch at the end that is still shown (ours): the standards' baseline takes ten
minutes."""


@dataclass(frozen=True, slots=True)
class TraceColumn:
    """A stretch of a trace. Numbers are NaN, and counts None, where they were not measured.

    falls: how many decelerations of each kind were seen, by their nadirs (prolonged ones: in every
    column they reach into); with little signal, more may have been.
    """

    fetus: int
    start: datetime
    end: datetime
    valid_share: float
    baseline_bpm: float
    falls: dict[DecelerationKind, int]
    in_10_min: float
    lasting_s: float


def trace_columns(fetal: FetalReading, start: datetime) -> tuple[TraceColumn, ...]:
    """The columns of one fetus' trace. start: when the recording began, with its zone."""
    findings = fetal.findings
    ends_s = _ends_s(findings)
    columns = []
    begin_s = 0.0
    while ends_s - begin_s >= LEAST_S:
        # What is left over at the end joins the last column, where it is too short by itself.
        end_s = begin_s + COLUMN_S
        if ends_s - end_s < LEAST_S:
            end_s = ends_s
        columns.append(_column(fetal.fetus, findings, start, Window(begin_s, end_s)))
        begin_s = end_s
    return tuple(columns)


def columns_of(reading: Reading) -> tuple[TraceColumn, ...]:
    """The columns of every fetus; none where the recording's clock is not known with its zone."""
    start = datetime.fromisoformat(reading.start) if reading.start else None
    if start is None or start.tzinfo is None:
        return ()
    return tuple(column for one in reading.fetuses for column in trace_columns(one, start))


def _ends_s(findings: Findings) -> float:
    rate = findings.fetal.rate_curve
    return rate.start_s + rate.step_s * len(rate.values)


def _column(fetus: int, findings: Findings, start: datetime, window: Window) -> TraceColumn:
    review = summarise(findings, window)
    falls: dict[DecelerationKind, int] = {}
    for one in within.decelerations_in(findings, window):
        # Each stands where its nadir lies, so that none is counted twice; a prolonged one stands
        # in every half hour that it reaches into, for it is not over there.
        if (
            one.kind is not DecelerationKind.PROLONGED
            and not window.start_s <= one.nadir_s < window.end_s
        ):
            continue
        falls[one.kind] = falls.get(one.kind, 0) + 1
    contractions = within.contractions_in(findings, window)
    measured = review.contractions.assessed
    return TraceColumn(
        fetus=fetus,
        start=start + timedelta(seconds=window.start_s),
        end=start + timedelta(seconds=window.end_s),
        valid_share=review.valid_share,
        baseline_bpm=review.baseline_bpm,
        falls=falls,
        in_10_min=_in_10_min(findings, window) if measured else math.nan,
        lasting_s=median(c.duration_s for c in contractions) if contractions else math.nan,
    )


def _in_10_min(findings: Findings, window: Window) -> float:
    return within.contraction_rate(findings, window).per_10_min
