"""From time stamps to an even grid: the rate, gaps as missing samples, resampling where uneven."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ebbline.errors import RecordingError
from ebbline.recording.limits import check_length, check_rate
from ebbline.recording.model import FloatArray

EVEN_WITHIN = 0.25
"""Time stamps this part of a sample from an even grid are taken as lying on it, and said so."""
EXACT_WITHIN = 0.02
"""Closer than this the difference is rounding of the time stamps and is not worth a word."""
BRIDGED_STEPS = 3.0
"""Uneven time stamps farther apart than this many median steps are a gap, not bridged."""


@dataclass(frozen=True, slots=True, eq=False)
class Gridded:
    """Columns on an even grid that begins at the first time stamp."""

    rate_hz: float
    columns: tuple[FloatArray, ...]
    notes: tuple[str, ...]


def to_even_grid(
    times_s: FloatArray, columns: Sequence[FloatArray], told_hz: float | None, where: str
) -> Gridded:
    """Put rows at rising times (two or more) on an even grid.

    times_s: seconds from the first row, shape (n,). told_hz: the rate that the file tells, used
    when the times agree with it. Rows that are missing from an otherwise even
    series become missing samples. Uneven series are interpolated linearly between neighbouring
    valid rows, at one sample per median step; longer gaps stay missing. Raises RecordingError
    when the rate or the length is out of bounds.
    """
    steps = np.diff(times_s)
    if not (steps.min() > 0 and np.isfinite(times_s[-1])):
        raise RecordingError(
            "the times are so large that the steps between them are lost.",
            where=where,
            remedy="Give seconds from the start of the recording.",
        )
    median = float(np.sort(steps)[(len(steps) - 1) // 2])
    check_rate(1 / median, where)
    near = steps[np.abs(steps - median) < 0.5 * median]
    counted = np.rint(steps / near.mean())
    index = np.concatenate(([0], np.cumsum(counted))).astype(np.int64)
    if counted.min() >= 1:
        step = float(times_s[-1] / index[-1])
        rate = _round_rate(times_s, index, 1 / step, told_hz)
        off = float(np.abs(times_s * rate - index).max())
        if off <= EVEN_WITHIN:
            return _placed(index, rate, columns, off, where)
    return _interpolated(times_s, median, columns, where)


def _round_rate(
    times_s: FloatArray, index: NDArray[np.int64], rate_hz: float, told_hz: float | None
) -> float:
    """The rate told, else the roundest rate or step, that fits the time stamps as well."""
    off = float(np.abs(times_s * rate_hz - index).max())
    candidates = [told_hz] if told_hz else []
    for digits in range(5):
        step = round(1 / rate_hz, digits)
        candidates += [round(rate_hz, digits), 1 / step if step > 0 else 0.0]
    for candidate in candidates:
        if candidate > 0 and np.abs(times_s * candidate - index).max() <= max(
            2 * off, EXACT_WITHIN
        ):
            return candidate
    return rate_hz


def _placed(
    index: NDArray[np.int64],
    rate_hz: float,
    columns: Sequence[FloatArray],
    off: float,
    where: str,
) -> Gridded:
    length = int(index[-1]) + 1
    check_length(length, rate_hz, where)
    notes = []
    if off > EXACT_WITHIN:
        notes.append(
            f"the time stamps lie up to {off / rate_hz:.3g} s off an even grid of {rate_hz:g} Hz: "
            "taken as lying on it."
        )
    if length == len(index):
        return Gridded(rate_hz, tuple(columns), tuple(notes))
    notes.append(
        f"{int((np.diff(index) > 1).sum())} stretches without rows, together "
        f"{(length - len(index)) / rate_hz:.0f} s, are shown as missing signal."
    )
    placed = []
    for values in columns:
        row = np.full(length, np.nan)
        row[index] = values
        placed.append(row)
    return Gridded(rate_hz, tuple(placed), tuple(notes))


def _interpolated(
    times_s: FloatArray, median_s: float, columns: Sequence[FloatArray], where: str
) -> Gridded:
    rate = 1 / median_s
    rate = round(rate, 1) if rate >= 0.5 else rate
    check_length(int(times_s[-1] * rate) + 1, rate, where)
    grid = np.arange(int(times_s[-1] * rate) + 1) / rate
    after = np.clip(np.searchsorted(times_s, grid, side="left"), 1, len(times_s) - 1)
    before = after - 1
    apart = times_s[after] - times_s[before]
    share = np.clip((grid - times_s[before]) / apart, 0.0, 1.0)
    bridged = (apart <= BRIDGED_STEPS * median_s) | (share == 0.0) | (share == 1.0)
    made = []
    for values in columns:
        left, right = values[before], values[after]
        between = left + share * (right - left)
        between = np.where(share == 0.0, left, np.where(share == 1.0, right, between))
        made.append(np.where(bridged, between, np.nan))
    shortest, longest = np.min(np.diff(times_s)), np.max(np.diff(times_s))
    note = (
        f"the time stamps are uneven ({shortest:.3g} to {longest:.3g} s apart): resampled to "
        f"{rate:g} Hz by linear interpolation; gaps over {BRIDGED_STEPS * median_s:.3g} s are "
        "missing signal."
    )
    return Gridded(rate, tuple(made), (note,))
