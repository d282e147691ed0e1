"""Minutes of variability in a row: how long it has been reduced or increased."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ebbline.criteria import limits
from ebbline.features.findings import Curve
from ebbline.terms import Window

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

MINUTE_S = 60.0


@dataclass(frozen=True, slots=True, eq=False)
class Runs:
    """Stretches of measured minutes that all meet a condition: first and last + 1, as places."""

    first: IntArray
    stop: IntArray


@dataclass(frozen=True, slots=True)
class RunFound:
    """A run of minutes that reaches into a window.

    minutes: measured minutes that meet the condition, up to the window's end. elapsed_min: from
    the first to the last of them, with what was not measured between. began_unseen: what was
    before it was not measured (or not recorded), so that it may be longer. evidence: its stretch.
    """

    minutes: float
    elapsed_min: float
    began_unseen: bool
    evidence: Window


class MinuteTrack:
    """The measured minutes of variability of a recording, and its runs of minutes.

    Each minute's bandwidth is the median of itself and its measured neighbours (`steady`), so that
    one stray minute neither makes nor breaks a run. A run of reduced variability is not broken by
    two either, such as the ends of a fall: there the median of five counts where it is less
    (`calm`, ours).
    """

    def __init__(self, bandwidth: Curve) -> None:
        measured = np.flatnonzero(np.isfinite(bandwidth.values))
        self.step_s = bandwidth.step_s
        self.start_s = np.asarray(bandwidth.start_s + bandwidth.step_s * measured, np.float64)
        self.bpm: FloatArray = np.asarray(bandwidth.values, np.float64)[measured]
        self.steady = _median_of_three(self.bpm)
        self.calm = np.minimum(self.steady, _median_of_five(self.bpm))
        self._sums = np.concatenate(([0.0], np.cumsum(self.bpm)))
        gaps_s = np.diff(self.start_s) - self.step_s
        self._gap = gaps_s > limits.RUN_GAP.threshold * MINUTE_S

    def inside(self, start_s: float, end_s: float) -> tuple[int, int]:
        """Places of the measured minutes whose middle lies in the window."""
        half_s = 0.5 * self.step_s
        first, stop = np.searchsorted(self.start_s, (start_s - half_s, end_s - half_s))
        return int(first), int(stop)

    def means(self, starts_s: FloatArray, length_s: float) -> FloatArray:
        """Mean bandwidth of each stretch; NaN where too few minutes of it were measured."""
        half_s = 0.5 * self.step_s
        first = np.searchsorted(self.start_s, starts_s - half_s)
        stop = np.searchsorted(self.start_s, starts_s + length_s - half_s)
        count = stop - first
        enough = count * (self.step_s / MINUTE_S) >= limits.MEASURED_MINUTES.threshold
        totals = self._sums[stop] - self._sums[first]
        means: FloatArray = np.where(enough, totals / np.maximum(count, 1), math.nan)
        return means

    def runs(self, meets: BoolArray, *, over_gaps: bool = False) -> Runs:
        """Runs of successive measured minutes that meet a condition; gaps too long break them."""
        if not meets.any():
            nothing = np.empty(0, dtype=np.int64)
            return Runs(nothing, nothing)
        joined = np.ones(len(meets), dtype=np.bool_)
        if not over_gaps:
            joined[1:] = ~self._gap
        joined[0] = False
        before = np.concatenate(([False], meets[:-1]))
        begins = meets & ~(before & joined)
        after = np.concatenate((meets[1:], [False]))
        ends = meets & ~(after & np.concatenate((joined[1:], [False])))
        return Runs(np.flatnonzero(begins), np.flatnonzero(ends) + 1)

    def longest(self, runs: Runs, window: Window) -> RunFound | None:
        """The longest run that has a minute in the window, looking back over the recording."""
        first, stop = self.inside(window.start_s, window.end_s)
        reach = np.minimum(runs.stop, stop)
        here = (reach > first) & (reach > runs.first)
        if not here.any():
            return None
        at = int(np.argmax(np.where(here, reach - runs.first, -1)))
        begin, last = int(runs.first[at]), int(reach[at]) - 1
        start_s, end_s = float(self.start_s[begin]), float(self.start_s[last]) + self.step_s
        end_s = min(end_s, window.end_s)
        scale = self.step_s / MINUTE_S
        return RunFound(
            minutes=(last + 1 - begin) * scale,
            elapsed_min=(end_s - start_s) / MINUTE_S,
            began_unseen=begin == 0 or bool(self._gap[begin - 1]),
            evidence=Window(start_s, end_s),
        )


def _median_of_three(values: FloatArray) -> FloatArray:
    if len(values) < 3:
        return values
    before, after = values[:-2], values[2:]
    steady = values.copy()
    low, high = np.minimum(before, after), np.maximum(before, after)
    steady[1:-1] = np.minimum(np.maximum(values[1:-1], low), high)
    return steady


def _median_of_five(values: FloatArray) -> FloatArray:
    """Of three beside the ends, where there are no five."""
    calm = _median_of_three(values)
    if len(values) > 4:
        calm[2:-2] = np.median(np.lib.stride_tricks.sliding_window_view(values, 5), axis=1)
    return calm
