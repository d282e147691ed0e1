"""Several overlapping shots of one strip, joined by what they share."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ebbline.errors import RecordingError
from ebbline.recording.paper.reading import PaperReading, PaperTrace, by_minute
from ebbline.recording.paper.timemarks import OFF_LINE

FloatArray = NDArray[np.float64]

LEAST_SHARED_S = 60.0
"""So much of the trace must two shots show both (ours)."""
MOST_APART_BPM = 4.0
"""Usual distance of two traces that are the same one (ours)."""
CLEARER = 0.6
"""The best place must fit so much better than any other more than a few seconds off (ours)."""
NEAR_S = 12.0


def joined(shots: Sequence[tuple[str, PaperReading]]) -> PaperReading:
    """One reading of shots that follow one another in time, each with its name for errors.

    Raises RecordingError where two neighbours share too little to be joined without guessing.
    """
    _, whole = shots[0]
    for where, one in shots[1:]:
        whole = _joined(whole, one, where)
    return whole


def _joined(first: PaperReading, second: PaperReading, where: str) -> PaperReading:
    if first.line_s != second.line_s or first.rate_hz != second.rate_hz:
        rate = min(first.rate_hz, second.rate_hz)
        if first.line_s != second.line_s:
            raise _apart("the two shots have different grids.", where)
        first, second = _at(first, rate), _at(second, rate)
    rate = first.rate_hz
    start = _printed(first, second, rate, where)
    by_times = start is not None
    if start is None:
        start = _start(first, second, rate, where)
    heart = tuple(_laid(a, b, start) for a, b in zip(first.heart, second.heart, strict=True))
    activity = None
    if first.activity is not None or second.activity is not None:
        a, b = (one.activity or _no_trace(len(one.heart[0].values)) for one in (first, second))
        activity = _laid(a, b, start)
    said = (
        *first.said,
        f"{where} follows from minute {start / rate / 60:.1f} on"
        + (
            ", by the times printed on both."
            if by_times
            else f"; the shots share {(len(first.heart[0].values) - start) / rate / 60:.1f} "
            "minutes."
        ),
        *(one for one in second.said if one not in first.said),
    )
    return replace(
        first,
        heart=heart,
        activity=activity,
        minutes=by_minute(heart[0], rate),
        said=said,
        # Where one shot ends the other goes on.
        cut_off=(first.cut_off[0], second.cut_off[1]),
        not_read=(*first.not_read, *(f"{where}: {one}" for one in second.not_read)),
        pen_s=max(first.pen_s, second.pen_s),
    )


def _printed(first: PaperReading, second: PaperReading, rate: float, where: str) -> int | None:
    """The same by the times printed on pages that share no trace; None where they tell nothing.

    Pages of one print begin on one of its upright lines. Raises RecordingError where a page begins
    before the one that it should follow.
    """
    if first.start_s is None or second.start_s is None:
        return None
    lines = (second.start_s - first.start_s) / first.line_s
    if abs(lines - round(lines)) > OFF_LINE:
        return None
    start = round(round(lines) * first.line_s * rate)
    shared = len(first.heart[0].values) - start
    if shared > LEAST_SHARED_S * rate:
        # The traces themselves tell it better.
        return None
    if shared < -MOST_BETWEEN_S * rate:
        raise _apart("by the times printed on it, it begins hours after the one before.", where)
    return start


MOST_BETWEEN_S = 4 * 3600.0
"""So much may be missing between two pages of one strip at most (ours)."""


def _start(first: PaperReading, second: PaperReading, rate: float, where: str) -> int:
    """Sample of the first shot at which the second begins."""
    least = round(LEAST_SHARED_S * rate)
    length = len(first.heart[0].values)
    misfit = []
    starts = np.arange(0, length - least + 1)
    for start in starts:
        misfit.append(_misfit(first, second, int(start), least))
    told = np.array(misfit)
    if not len(told) or not np.isfinite(told).any():
        raise _apart(f"it shares less than {LEAST_SHARED_S:.0f} s of trace.", where)
    best = int(np.nanargmin(np.where(np.isfinite(told), told, np.inf)))
    others = np.abs(starts - starts[best]) > NEAR_S * rate
    other = float(np.min(told[others & np.isfinite(told)], initial=np.inf))
    if told[best] > MOST_APART_BPM or told[best] > CLEARER * other:
        raise _apart("no place was found at which the two traces are clearly the same.", where)
    return int(starts[best])


def _misfit(first: PaperReading, second: PaperReading, start: int, least: int) -> float:
    total, count = 0.0, 0
    for a, b in zip(first.heart, second.heart, strict=True):
        shared = min(len(a.values) - start, len(b.values))
        apart = np.abs(a.values[start : start + shared] - b.values[:shared])
        there = np.isfinite(apart)
        total += float(apart[there].sum())
        count += int(there.sum())
    return total / count if count >= least // 2 else np.inf


def _no_trace(count: int) -> PaperTrace:
    nothing = np.full(count, np.nan)
    return PaperTrace(nothing, np.zeros(count), nothing, nothing)


def _laid(first: PaperTrace, second: PaperTrace, start: int) -> PaperTrace:
    """Two stretches of one trace; where both show it, the surer one."""
    length = max(len(first.values), start + len(second.values))

    def both(name: str, fill: float) -> tuple[FloatArray, FloatArray]:
        a, b = np.full(length, fill), np.full(length, fill)
        a[: len(first.values)] = getattr(first, name)
        b[start : start + len(second.values)] = getattr(second, name)
        return a, b

    sure_a, sure_b = both("certainty", 0.0)
    values_a, values_b = both("values", np.nan)
    takes_b = np.isnan(values_a) | (np.isfinite(values_b) & (sure_b > sure_a))
    made: dict[str, Any] = {
        "values": np.where(takes_b, values_b, values_a),
        "certainty": np.where(takes_b, sure_b, sure_a),
    }
    for name in ("x", "y"):
        a, b = both(name, np.nan)
        made[name] = np.where(takes_b, b, a)
    return PaperTrace(**made)


def _at(one: PaperReading, rate: float) -> PaperReading:
    """The same at a lower rate, means of the samples that are there."""
    times = round(one.rate_hz / rate)
    if times == 1:
        return one

    def fewer(trace: PaperTrace) -> PaperTrace:
        made = []
        for values in (trace.values, trace.certainty, trace.x, trace.y):
            count = len(values) // times
            rows = values[: count * times].reshape(count, times)
            there = np.isfinite(rows)
            number = there.sum(axis=1)
            total = np.where(there, rows, 0.0).sum(axis=1)
            made.append(np.where(number > 0, total / np.maximum(number, 1), np.nan))
        return PaperTrace(*made)

    return replace(
        one,
        rate_hz=rate,
        heart=tuple(map(fewer, one.heart)),
        activity=None if one.activity is None else fewer(one.activity),
    )


def _apart(what: str, where: str) -> RecordingError:
    return RecordingError(
        f"this shot cannot be joined to the one before it: {what}",
        where=where,
        remedy="Name the shots in the order of time, each sharing two minutes or more with the "
        "next, or read them one by one.",
    )
