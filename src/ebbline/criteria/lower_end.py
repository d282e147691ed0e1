"""The level that a window ends at, where it lies under the one before, however it came there.

A step or a slide down that stays is followed by the baseline, and then no rule of a standard asks
for it. NICHD calls ten minutes at another level a change of baseline; until somebody has looked, it
may as well be a fall that has not come back, or the mother's rate (FIGO 2015: feel her pulse).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ebbline.criteria.recording_index import RecordingFacts
from ebbline.criteria.variability_runs import MINUTE_S
from ebbline.definitions import LEAST_EXCURSION_BPM, PROLONGED_FROM_S, TEN_MINUTES_S
from ebbline.features.steps_down import LEVEL_SHARE, means_ahead
from ebbline.signal import maternal
from ebbline.terms import Window

STAYED_S = (180.0, PROLONGED_FROM_S)
"""The rate stays lower when it does for three minutes up to the end, or for two, but for a quarter
of them: a fall of that length is prolonged (NICHD 2008); over a shorter time it is told as one. The
last beats of three may be at another level still, those of two a way back that does not stay."""

LEAST_SEEN_S = 60.0
"""So much of them must have been seen."""

CAME_DOWN_WITHIN_S = 300.0
"""A level that was reached within so long is a fall, a slower one a drift (ours)."""

HALF = 0.5


@dataclass(frozen=True, slots=True)
class LowerEnd:
    """since_s: when the rate was last half-way to the level before; quick: whether it came down
    within CAME_DOWN_WITHIN_S."""

    since_s: float
    from_bpm: float
    to_bpm: float
    quick: bool

    def words(self, end_s: float) -> str:
        """'not back at its earlier level: 118 bpm for the last 20 min, baseline 140 bpm before;
        it may be the mother's: feel her pulse'."""
        return (
            f"not back at its earlier level: {self.to_bpm:.0f} bpm for the last "
            f"{(end_s - self.since_s) / MINUTE_S:.0f} min, baseline {self.from_bpm:.0f} bpm before"
            f"{maybe_hers(self.to_bpm)}"
        )


def maybe_hers(bpm: float) -> str:
    """Words to add to a level that the rate came down to, where it could be the mother's."""
    return "; it may be the mother's: feel her pulse" if bpm <= maternal.HIGH_BPM else ""


def highest_level(whole: RecordingFacts, window: Window) -> float:
    """The highest level of the baseline that is known of a window, or of the twenty minutes that
    end with a shorter one; NaN where none is.

    A fall that draws the baseline down with it is held against what was before.
    """
    asked = Window(min(window.start_s, window.end_s - 2.0 * TEN_MINUTES_S), window.end_s)
    known = [
        one.mean_bpm
        for one in whole.findings.fetal.baseline
        if one.determinate and asked.overlaps(one.start_s, one.end_s)
    ]
    return max(known, default=math.nan)


def lower_end(whole: RecordingFacts, window: Window) -> LowerEnd | None:
    """The lower level that a window ends at, reached within it; None without one."""
    from_bpm = highest_level(whole, window)
    found = (_lower_for(whole, window, from_bpm, stayed_s) for stayed_s in STAYED_S)
    return next((one for one in found if one is not None), None)


def _lower_for(
    whole: RecordingFacts, window: Window, from_bpm: float, stayed_s: float
) -> LowerEnd | None:
    """The same of a level that the rate stayed at for so long."""
    rate = whole.findings.fetal.rate_curve
    seen = rate.known(window.end_s - stayed_s, window.end_s)
    if len(seen) * rate.step_s < LEAST_SEEN_S:
        return None
    to_bpm = float(np.median(seen))
    size = from_bpm - to_bpm
    middle = from_bpm - HALF * size
    if not size >= LEAST_EXCURSION_BPM or float((seen > middle).mean()) > LEVEL_SHARE:
        return None
    first = max(0, round((window.start_s - rate.start_s) / rate.step_s))
    stop = round((window.end_s - MINUTE_S - rate.start_s) / rate.step_s)
    ahead = means_ahead(rate, MINUTE_S, round(HALF * MINUTE_S / rate.step_s))[first:stop]
    over = np.flatnonzero(ahead > middle)
    if not len(over):
        return None
    since = int(over[-1])
    high = np.flatnonzero(ahead[: since + 1] >= from_bpm - LEVEL_SHARE * size)
    low = np.flatnonzero(ahead[since:] <= to_bpm + LEVEL_SHARE * size)
    begun = int(high[-1]) if len(high) else 0
    down = since + int(low[0]) if len(low) else len(ahead)
    since_s = rate.start_s + (first + since) * rate.step_s + HALF * MINUTE_S
    if window.end_s - since_s < stayed_s:
        return None
    quick = len(high) > 0 and (down - begun) * rate.step_s <= CAME_DOWN_WITHIN_S
    return LowerEnd(since_s, from_bpm, to_bpm, quick)
