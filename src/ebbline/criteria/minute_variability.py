"""The variability of a recording by the minute, and what falls take of it."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ebbline.criteria.falls import Falls
from ebbline.criteria.variability_runs import MinuteTrack, Runs
from ebbline.definitions import MARKED_ABOVE_BPM, MINIMAL_UPTO_BPM, REDUCED_BELOW_BPM
from ebbline.features.findings import Curve, VariabilityClass
from ebbline.features.steps_down import Drop
from ebbline.features.variability import class_and_width

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

_LOW = (VariabilityClass.ABSENT, VariabilityClass.MINIMAL)

TAKEN_REACH_MIN = 10
"""A minute that a fall takes has the least bandwidth of the minutes measured within so many of it,
before or after, as NICHD takes a baseline from the ten minutes before: an added fall makes no
variability better (ours)."""

BESIDE_MIN = 2
"""So near to a minute that a fall takes the minutes beside it lend it their liveliness (ours)."""

NEW_LEVEL_S = 900.0
"""A level that the rate fell to is new for a quarter of an hour (ours)."""


@dataclass(frozen=True, slots=True)
class VariabilitySeen:
    """Variability of a stretch: usual one-minute bandwidth (bpm, NaN unmeasured), its class, and
    how many of its minutes were measured."""

    start_s: float
    end_s: float
    bandwidth_bpm: float
    variability: VariabilityClass
    measured_minutes: int


class MinuteVariability:
    """The variability of a recording by the minute, its minutes counted from one time."""

    def __init__(self, curve: Curve, falls: Falls, drops: tuple[Drop, ...]) -> None:
        self._curve = curve
        self._falls = falls
        self._drops = drops
        self._known: dict[tuple[int, int], tuple[VariabilityClass, float, int]] = {}

    @cached_property
    def filled(self) -> MinuteTrack:
        """The minutes of variability that were measured, or taken by a fall among such."""
        return MinuteTrack(self.bandwidth)

    @cached_property
    def measured(self) -> MinuteTrack:
        """The measured minutes of variability alone."""
        return MinuteTrack(self._curve)

    @cached_property
    def lively(self) -> MinuteTrack:
        """The measured minutes, and those that a fall took as lively as the livelier beside them.

        An added fall cuts no run of increased variability short.
        """
        curve = self._curve
        values = np.array(curve.values, dtype=np.float64)
        measured = np.flatnonzero(np.isfinite(values))
        for minute in np.flatnonzero(self.taken & ~np.isfinite(values)).tolist():
            after = int(np.searchsorted(measured, minute))
            beside = measured[max(0, after - 1) : after + 1]
            beside = beside[np.abs(beside - minute) <= BESIDE_MIN]
            if len(beside):
                values[minute] = curve.values[beside].max()
        return MinuteTrack(replace(curve, values=values))

    @cached_property
    def taken(self) -> BoolArray:
        """Of each minute, whether a fall took its bandwidth, or it lies at the level of a new fall.

        A fall that lasts on until it is called a baseline has a bandwidth; for its first quarter of
        an hour that makes what was before it no livelier.
        """
        curve = self._curve
        starts = curve.start_s + curve.step_s * np.arange(len(curve.values))
        taken = np.zeros(len(starts), dtype=np.bool_)
        for onset_s, end_s in zip(self._falls.onset_s, self._falls.end_s, strict=True):
            taken |= (starts < end_s + curve.step_s) & (starts + curve.step_s > onset_s)
        taken &= ~np.isfinite(curve.values)
        for drop in self._drops:
            until_s = min(drop.until_s, drop.start_s + NEW_LEVEL_S)
            taken |= (starts < until_s) & (starts + curve.step_s > drop.start_s)
        return taken

    @cached_property
    def bandwidth(self) -> Curve:
        """The bandwidth by the minute; what falls took is no livelier than what is beside it."""
        return self._with_taken(lambda beside: float(beside.min()))

    @cached_property
    def usual(self) -> Curve:
        """The bandwidth by the minute; what falls took is as what is beside it usually is."""
        return self._with_taken(lambda beside: float(np.median(beside)))

    def _with_taken(self, told: Callable[[FloatArray], float]) -> Curve:
        """The bandwidth by the minute, that of what falls took told from the minutes beside."""
        curve = self._curve
        values = np.array(curve.values, dtype=np.float64)
        measured = np.flatnonzero(np.isfinite(values))
        for minute in np.flatnonzero(self.taken).tolist():
            first, stop = np.searchsorted(
                measured, (minute - TAKEN_REACH_MIN, minute + TAKEN_REACH_MIN + 1)
            )
            if stop > first:
                values[minute] = told(curve.values[measured[first:stop]])
        return replace(curve, values=values)

    def variability_in(self, start_s: float, end_s: float) -> VariabilitySeen:
        """Usual bandwidth and class of a stretch's minutes, by their middles.

        No livelier for the minutes that falls took, and never told as moderate on what was not
        measured; as absent only where the minutes beside a fall usually were, not one of them. One
        rule for the review, its ten-minute columns and every standard.
        """
        curve = self._curve
        first = max(0, math.ceil((start_s - curve.start_s) / curve.step_s - 0.5))
        last = max(first, math.ceil((end_s - curve.start_s) / curve.step_s - 0.5))
        known = self._known.get((first, last))
        if known is None:
            known = self._known.setdefault((first, last), self._of_minutes(first, last))
        named, width, measured = known
        return VariabilitySeen(start_s, end_s, width, named, measured)

    def _of_minutes(self, first: int, last: int) -> tuple[VariabilityClass, float, int]:
        """Class, usual bandwidth and number of those measured of some minutes."""
        minutes = self._curve.values[first:last]
        measured = int(np.count_nonzero(np.isfinite(minutes)))
        named, width = class_and_width(minutes)
        if self.taken[first:last].any():
            lower, narrower = self._in_falls(first, last)
            if lower in _LOW and named not in _LOW[: _LOW.index(lower) + 1]:
                named, width = lower, narrower
            elif named is not VariabilityClass.INDETERMINATE and narrower < width:
                width = narrower
        return named, width, measured

    def _in_falls(self, first: int, last: int) -> tuple[VariabilityClass, float]:
        """Class and width of some minutes with those that falls took."""
        lower, narrower = class_and_width(self.bandwidth.values[first:last])
        if lower is not VariabilityClass.ABSENT:
            return lower, narrower
        usual, width = class_and_width(self.usual.values[first:last])
        if usual is VariabilityClass.ABSENT:
            return lower, narrower
        return VariabilityClass.MINIMAL, min(width, MINIMAL_UPTO_BPM)

    @cached_property
    def reduced_runs(self) -> Runs:
        """Runs of minutes with a bandwidth under 5 bpm."""
        return self.filled.runs(self.filled.calm < REDUCED_BELOW_BPM)

    @cached_property
    def reduced_over_gaps(self) -> Runs:
        """The same, with no unmeasured stretch breaking a run."""
        meets = self.filled.calm < REDUCED_BELOW_BPM
        return self.filled.runs(meets, over_gaps=True)

    @cached_property
    def increased_runs(self) -> Runs:
        """Runs of minutes with a bandwidth over 25 bpm."""
        return self.lively.runs(self.lively.steady > MARKED_ABOVE_BPM)
