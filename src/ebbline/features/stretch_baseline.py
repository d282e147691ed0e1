"""The standards' baseline of any stretch, wherever it begins.

A window is given its own ten minutes, counted from its start: ten minutes counted from the first
signal would lie differently in it for every minute that was recorded before.
"""

from __future__ import annotations

import math
from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ebbline.definitions import BASELINE_CHANGE_BPM, LEAST_BASELINE_S, MARKED_ABOVE_BPM
from ebbline.features.findings import Curve, FetalFindings, Findings
from ebbline.features.kept import kept

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

LEVEL_JUMP_BPM = 8.0
"""The continuous baseline drifts by less in a second; where it moves by more it jumps to another
level (as it is drawn, `features.baseline.refined`)."""

LEAST_MARKED_S = 2.5 * LEAST_BASELINE_S
"""So much of marked variability still has a level: the mean of it is then all there is (ours)."""


@dataclass(frozen=True, slots=True)
class StretchBaseline:
    """The baseline of a stretch.

    mean_bpm: before rounding, of the level that most of the stretch's baseline lies on: a mean over
    two was never there; NaN where indeterminate. baseline_s: seconds it rests on. levels: one
    after another where the baseline changed, each of two minutes or more; else one or none. why:
    the reason when indeterminate, else "".
    """

    start_s: float
    end_s: float
    mean_bpm: float
    baseline_s: float
    levels: tuple[float, ...]
    why: str

    @property
    def determinate(self) -> bool:
        """Whether there is a baseline."""
        return not self.why


class BaselineTrack:
    """The baseline signal of a recording, gathered so that any stretch is told at once."""

    def __init__(self, fetal: FetalFindings) -> None:
        signal = fetal.baseline_signal
        if not len(signal.values):
            signal = _of_segments(fetal)
        self.begins_s = signal.start_s
        self.ends_s = signal.start_s + signal.step_s * len(signal.values)
        self._step_s = signal.step_s
        seen = np.isfinite(signal.values)
        calm = seen & ~_marked(fetal, signal)
        values = np.where(seen, signal.values, 0.0)
        self._seen, self._seen_bpm = _gathered(seen), _gathered(values)
        self._calm, self._calm_bpm = _gathered(calm), _gathered(np.where(calm, values, 0.0))
        self._jumps: list[int] = _jumps(fetal.baseline_curve, signal).tolist()
        self._told: dict[tuple[float, float], StretchBaseline] = {}

    def of(self, start_s: float, end_s: float) -> StretchBaseline:
        """The baseline from start_s to end_s, as far as it was recorded; kept once told."""
        told = self._told.get((start_s, end_s))
        if told is None:
            told = self._told.setdefault((start_s, end_s), self._of(start_s, end_s))
        return told

    def _of(self, start_s: float, end_s: float) -> StretchBaseline:
        first, last = self._place(start_s), self._place(end_s)
        inside = self._jumps[bisect_right(self._jumps, first) : bisect_left(self._jumps, last)]
        if not inside:
            mean, seconds = self._mean(first, last)
            if not math.isnan(mean):
                return StretchBaseline(start_s, end_s, mean, seconds, (mean,), "")
        parts = list(pairwise((first, *inside, last)))
        main = max(parts, key=lambda part: self._seen[part[1]] - self._seen[part[0]])
        mean, seconds = self._mean(*main)
        why = ""
        if math.isnan(mean):
            over = f"{(end_s - start_s) / 60.0:.0f} minutes"
            over = "ten minutes" if over == "10 minutes" else over
            why = (
                f"{seconds:.0f} s of baseline in these {over}, {LEAST_BASELINE_S:.0f} s are needed"
            )
        levels: list[float] = []
        for part in parts:
            level, _ = self._mean(*part)
            if level == level and not (levels and abs(level - levels[-1]) < BASELINE_CHANGE_BPM):
                levels.append(level)
        return StretchBaseline(start_s, end_s, mean, seconds, tuple(levels), why)

    def _place(self, time_s: float) -> int:
        place = round((time_s - self.begins_s) / self._step_s)
        return min(max(place, 0), len(self._seen) - 1)

    def _mean(self, first: int, last: int) -> tuple[float, float]:
        """Mean (NaN where too little was seen) and the seconds of baseline."""
        number = int(self._calm[last] - self._calm[first])
        total = self._calm_bpm[last] - self._calm_bpm[first]
        if number * self._step_s < LEAST_BASELINE_S:
            every = int(self._seen[last] - self._seen[first])
            if every * self._step_s >= LEAST_MARKED_S:
                number, total = every, self._seen_bpm[last] - self._seen_bpm[first]
        seconds = number * self._step_s
        return (float(total / number) if seconds >= LEAST_BASELINE_S else np.nan), seconds


@kept(1)
def baseline_track(findings: Findings) -> BaselineTrack:
    """The track of a recording, kept with its findings."""
    return BaselineTrack(findings.fetal)


def _gathered(values: NDArray[np.bool_] | FloatArray) -> FloatArray:
    return np.concatenate(([0.0], np.cumsum(values, dtype=np.float64)))


def _marked(fetal: FetalFindings, signal: Curve) -> NDArray[np.bool_]:
    """Of each second of the signal, whether the variability of the minute about it is marked."""
    band, lead_s = fetal.moving_bandwidth, 0.5 * fetal.bandwidth.step_s
    if not len(band.values):
        band, lead_s = fetal.bandwidth, 0.5 * signal.step_s
    marked = np.zeros(len(signal.values), dtype=np.bool_)
    if not (band.values > MARKED_ABOVE_BPM).any():
        return marked
    times_s = signal.start_s + np.arange(len(marked)) * signal.step_s
    place = np.floor((times_s - lead_s + signal.step_s - band.start_s) / band.step_s)
    place = place.astype(np.int64)
    there = (place >= 0) & (place < len(band.values))
    marked[there] = band.values[place[there]] > MARKED_ABOVE_BPM
    return marked


def _jumps(curve: Curve, signal: Curve) -> IntArray:
    """Places of the signal at which the continuous baseline jumps to another level."""
    known = np.flatnonzero(np.isfinite(curve.values))
    at = known[1:][np.abs(np.diff(curve.values[known])) > LEVEL_JUMP_BPM]
    times_s = curve.start_s + at * curve.step_s
    places: IntArray = np.rint((times_s - signal.start_s) / signal.step_s).astype(np.int64)
    return places


def _of_segments(fetal: FetalFindings) -> Curve:
    """The signal of findings that keep none: the level of each ten minutes through all of it."""
    if not fetal.baseline:
        return Curve(0.0, 1.0, np.empty(0))
    begins_s, ends_s = fetal.baseline[0].start_s, fetal.baseline[-1].end_s
    values = np.full(max(0, round(ends_s - begins_s)), np.nan)
    for one in fetal.baseline:
        if one.determinate:
            bpm = one.bpm if np.isnan(one.mean_bpm) else one.mean_bpm
            values[round(one.start_s - begins_s) : round(one.end_s - begins_s)] = bpm
    return Curve(begins_s, 1.0, values)
