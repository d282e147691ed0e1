"""The baseline of any ten minutes of a recording, as all standards take it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

from ebbline.criteria.falls import Falls
from ebbline.definitions import TEN_MINUTES_S, rounded_baseline
from ebbline.features.findings import Findings
from ebbline.features.stretch_baseline import baseline_track
from ebbline.terms import Window

LEAST_PART_S = 300.0
"""A remainder of ten minutes shorter than this is not asked for a baseline of its own."""

FALL_COUNTS_BPM = 5.0
"""What a fall takes from the baseline is not seen of it. Against the lower limits it counts so much
under the rest: an added fall never lifts a slow baseline over its limit (ours: half of the 10 bpm
within which a baseline counts as stable)."""


@dataclass(frozen=True, slots=True)
class TenMinuteBaseline:
    """The baseline of ten minutes of the window.

    rounded_bpm: to 5 bpm (NICHD); whole_bpm: to 1 bpm (a reader cannot tell less). low_bpm and
    low_rounded_bpm: the same with the minutes that falls take counted at FALL_COUNTS_BPM under it,
    held against the lower limits. NaN when indeterminate. carried: the value is that of the
    preceding ten minutes. evidence: where it was measured. asked_for: False where under five
    minutes of it were recorded.
    """

    rounded_bpm: float
    whole_bpm: float
    low_rounded_bpm: float
    low_bpm: float
    carried: bool
    evidence: Window
    asked_for: bool
    why: str

    def how_seen(self, bpm: float) -> str:
        """What stands beside a number of this baseline: carried, or lower for its falls."""
        said = ["of the preceding ten minutes"] if self.carried else []
        if bpm not in (self.whole_bpm, self.rounded_bpm):
            said.append(f"{self.whole_bpm:.0f} bpm between falls, and what they take counts lower")
        return ", ".join(said)


class BaselineLevels:
    """The baseline of stretches of a recording; each is worked out when first asked for."""

    def __init__(self, findings: Findings, falls: Falls) -> None:
        self._findings = findings
        self._falls = falls
        self._known: dict[tuple[float, float], TenMinuteBaseline] = {}

    @cached_property
    def first(self) -> TenMinuteBaseline | None:
        """The first determinate ten minutes of the recording, counted from its first signal."""
        one = next((x for x in self._findings.fetal.baseline if x.determinate), None)
        if one is None:
            return None
        where = Window(one.start_s, one.end_s)
        mean = one.bpm if math.isnan(one.mean_bpm) else one.mean_bpm
        known = _bpm(mean, self._falls.share_of(where))
        return TenMinuteBaseline(*known, False, where, True, "")

    def of(self, start_s: float, end_s: float) -> TenMinuteBaseline:
        """The baseline of a stretch; that of the ten minutes before where it has none (NICHD)."""
        told = self._known.get((start_s, end_s))
        if told is None:
            told = self._known.setdefault((start_s, end_s), self._of(start_s, end_s))
        return told

    def _of(self, start_s: float, end_s: float) -> TenMinuteBaseline:
        track = baseline_track(self._findings)
        one = track.of(start_s, end_s)
        asked_for = min(end_s, track.ends_s) - max(start_s, track.begins_s) >= LEAST_PART_S
        seen = one if one.determinate else track.of(start_s - TEN_MINUTES_S, start_s)
        if not seen.determinate:
            nothing = (math.nan, math.nan, math.nan, math.nan)
            return TenMinuteBaseline(*nothing, False, Window(start_s, end_s), asked_for, one.why)
        where = Window(seen.start_s, seen.end_s)
        known = _bpm(seen.mean_bpm, self._falls.share_of(where))
        return TenMinuteBaseline(*known, seen is not one, where, asked_for, one.why)

    def at(self, start_s: float) -> TenMinuteBaseline | None:
        """The determinate baseline of ten minutes from this time on (begun within 5 minutes)."""
        begins_s = baseline_track(self._findings).begins_s
        if start_s < begins_s - 0.5 * TEN_MINUTES_S:
            return None
        start_s = max(start_s, begins_s)
        one = self.of(start_s, start_s + TEN_MINUTES_S)
        return None if math.isnan(one.whole_bpm) or one.carried else one


def _bpm(mean: float, in_falls: float) -> tuple[float, float, float, float]:
    """To 5 bpm and to 1 bpm, and both with what falls took counted under it."""
    low = mean - FALL_COUNTS_BPM * in_falls
    return (
        rounded_baseline(mean),
        math.floor(mean + 0.5),
        min(rounded_baseline(mean), rounded_baseline(low)),
        math.floor(low + 0.5),
    )
