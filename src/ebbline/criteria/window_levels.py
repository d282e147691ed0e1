"""Baseline and variability of a window, by ten minutes and by the minute."""

from __future__ import annotations

import math
from collections.abc import Callable
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ebbline.compiled import kernel
from ebbline.criteria.baseline_levels import LEAST_PART_S, TenMinuteBaseline
from ebbline.criteria.minute_variability import MinuteVariability, VariabilitySeen
from ebbline.criteria.recording_index import RecordingFacts
from ebbline.criteria.variability_runs import MINUTE_S, RunFound
from ebbline.definitions import HALF_HOUR_S, HOUR_S, REDUCED_BELOW_BPM, TEN_MINUTES_S
from ebbline.features.findings import VariabilityClass
from ebbline.terms import Window

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

MOSTLY = 0.8
"""Variability is mostly reduced where so many of the minutes are (ours)."""


@kernel
def _mostly(
    flat: BoolArray, starts_s: FloatArray, step_s: float, from_s: float, upto_s: float
) -> tuple[int, int]:
    """First and last minute of the longest mostly flat stretch that ends after from_s; -1 without.

    From each flat minute the furthest such end counts, unless more than a fifth was not measured.
    """
    found, longest_s = (-1, -1), 0.0
    for first in range(flat.size):
        if not flat[first]:
            continue
        number, last = 0, -1
        for end in range(first, flat.size):
            number += flat[end]
            enough = number >= MOSTLY * (end + 1 - first)
            if flat[end] and enough and starts_s[end] + step_s > from_s:
                last = end
        if last < 0:
            continue
        lasted_s = min(starts_s[last] + step_s, upto_s) - starts_s[first]
        if lasted_s > longest_s and (last + 1 - first) * step_s >= MOSTLY * lasted_s:
            found, longest_s = (first, last), lasted_s
    return found


class WindowLevels:
    """What is asked of a window's baseline and variability, worked out when first asked for."""

    def __init__(self, whole: RecordingFacts, window: Window) -> None:
        self.whole = whole
        self.window = window

    @cached_property
    def tens(self) -> tuple[tuple[float, float], ...]:
        """Start and end of each ten minutes from the window's start.

        What is left at the end joins the last where it is under five minutes.
        """
        begin_s, end_s = self.window.start_s, self.window.end_s
        edges: list[float] = [*np.arange(begin_s, end_s, TEN_MINUTES_S).tolist(), end_s]
        if len(edges) > 2 and edges[-1] - edges[-2] < LEAST_PART_S:
            edges.pop(-2)
        return tuple(pairwise(edges))

    @cached_property
    def whole_tens(self) -> tuple[tuple[float, float], ...]:
        """The same for what needs ten minutes: a shorter window is lengthened backwards to them."""
        if not self.tens:
            return ()
        (start_s, end_s), *others = self.tens
        return ((min(start_s, end_s - TEN_MINUTES_S), end_s), *others)

    @cached_property
    def baselines(self) -> tuple[TenMinuteBaseline, ...]:
        """The baseline of each ten minutes."""
        return tuple(self.whole.levels.of(*part) for part in self.whole_tens)

    @cached_property
    def known_baselines(self) -> tuple[TenMinuteBaseline, ...]:
        """Those of them that are determinate or carried over."""
        return tuple(one for one in self.baselines if not math.isnan(one.whole_bpm))

    @cached_property
    def variabilities(self) -> tuple[VariabilitySeen, ...]:
        """The variability of each ten minutes, as in its columns."""
        return tuple(self.minutes.variability_in(*part) for part in self.tens)

    @cached_property
    def known_variabilities(self) -> tuple[VariabilitySeen, ...]:
        """Those of them whose class could be told."""
        return tuple(
            one
            for one in self.variabilities
            if one.variability is not VariabilityClass.INDETERMINATE
        )

    @property
    def narrowest_bpm(self) -> float:
        """The least usual bandwidth of them; NaN without any."""
        return min((one.bandwidth_bpm for one in self.known_variabilities), default=math.nan)

    def variability_of(self, kind: VariabilityClass) -> tuple[VariabilitySeen, ...]:
        """Those of one class."""
        return tuple(one for one in self.variabilities if one.variability is kind)

    @cached_property
    def minutes(self) -> MinuteVariability:
        """The variability by the minute, counted from the window's start."""
        return self.whole.minutes_from(self.window.start_s)

    @cached_property
    def measured_minutes(self) -> float:
        """Minutes of the window with measured variability."""
        track = self.minutes.measured
        first, stop = track.inside(self.window.start_s, self.window.end_s)
        return (stop - first) * track.step_s / MINUTE_S

    @cached_property
    def mean_bandwidths(self) -> tuple[tuple[float, Window], tuple[float, Window]]:
        """Least and greatest mean bandwidth, each with its stretch; NaN when not measurable.

        Of the window itself, or in one longer than 30 minutes of every 30 minutes of it (steps of
        a minute). The least leaves out a few strange minutes and counts what falls took as no
        livelier than what is beside it (`MinuteVariability.variability_in`, as in the review); the
        greatest is of every minute. Stretches with less than the least number of measured minutes
        are left out.
        """
        length_s = min(self.window.duration_s, HALF_HOUR_S)
        starts = np.arange(self.window.start_s, self.window.end_s - length_s + 1e-6, MINUTE_S)
        highs = self.minutes.measured.means(starts, length_s)
        lows = np.array(
            [
                self.minutes.variability_in(start_s, start_s + length_s).bandwidth_bpm
                for start_s in starts.tolist()
            ]
        )
        filled = self.minutes.filled.means(starts, length_s)
        lows = np.fmin(np.where(np.isfinite(highs), lows, filled), highs)
        return self._extreme(starts, lows, np.nanargmin), self._extreme(starts, highs, np.nanargmax)

    def _extreme(
        self, starts: FloatArray, means: FloatArray, place: Callable[[FloatArray], np.intp]
    ) -> tuple[float, Window]:
        if not np.isfinite(means).any():
            return math.nan, self.window
        at = int(place(means))
        start_s = float(starts[at])
        end_s = min(start_s + HALF_HOUR_S, self.window.end_s)
        return float(means[at]), Window(start_s, end_s)

    @cached_property
    def low_variability(self) -> bool:
        """Whether some ten minutes are absent or minimal, or some half hour has under 5 bpm."""
        low = self.mean_bandwidths[0][0]
        flat = (VariabilityClass.ABSENT, VariabilityClass.MINIMAL)
        return any(one.variability in flat for one in self.variabilities) or (
            low < REDUCED_BELOW_BPM
        )

    @cached_property
    def reduced_run(self) -> RunFound | None:
        """The longest run of reduced variability that reaches into the window."""
        return self.minutes.filled.longest(self.minutes.reduced_runs, self.window)

    @cached_property
    def mostly_reduced(self) -> Window | None:
        """The longest stretch that reaches into the window with a bandwidth under 5 bpm in all but
        a fifth of its minutes, the first and the last among them; None without one.

        Looked for in the hour that ends with the window.
        """
        track, window = self.minutes.filled, self.window
        _, stop = track.inside(window.start_s, window.end_s)
        begin, _ = track.inside(window.end_s - HOUR_S, window.end_s)
        flat, starts = track.bpm[begin:stop] < REDUCED_BELOW_BPM, track.start_s[begin:stop]
        first, last = _mostly(flat, starts, track.step_s, window.start_s, window.end_s)
        if first < 0:
            return None
        return Window(float(starts[first]), min(float(starts[last]) + track.step_s, window.end_s))

    @cached_property
    def reduced_over_gaps(self) -> RunFound | None:
        """The longest such run when nothing that was not measured breaks it."""
        return self.minutes.filled.longest(self.minutes.reduced_over_gaps, self.window)

    @cached_property
    def increased_run(self) -> RunFound | None:
        """The longest run of increased variability that reaches into the window."""
        return self.minutes.lively.longest(self.minutes.increased_runs, self.window)
