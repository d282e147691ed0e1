"""When the rate was back after a fall."""

from __future__ import annotations

import math
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ebbline.compiled import kernel
from ebbline.definitions import SHALLOW_FROM_BPM
from ebbline.features.findings import Deceleration, Findings
from ebbline.features.steps_down import means_ahead

FloatArray = NDArray[np.float64]

BACK_FOR_S = 15.0
"""The rate is back to stay when its mean of so long is: the least length of an excursion (NICHD
2008), so that a few beats near the baseline do not make a fall that goes on recovered (ours)."""

NOT_SEEN_S = 45.0
"""A fall is followed over so much lost signal and no more (ours, as the detector bridges gaps)."""

_BACK, _LOST, _BY_THE_END = 0, 1, 2


@kernel
def _low_until(
    seen: FloatArray, rate: FloatArray, first: int, least: float, most_unseen: float
) -> tuple[int, int]:
    """Place after the last one seen before the rate is at `least`, and what ended the search."""
    last, unseen = first, 0
    for place in range(first, seen.size):
        if rate[place] >= least:
            return last, _BACK
        if np.isfinite(seen[place]):
            last, unseen = place + 1, 0
        else:
            unseen += 1
            if unseen > most_unseen:
                return last, _LOST
    return last, _BY_THE_END


class Recovery:
    """The rate of a recording followed from the end of a fall until it is back."""

    def __init__(self, findings: Findings) -> None:
        self._findings = findings

    @cached_property
    def _coming(self) -> FloatArray:
        """Of each second, the mean rate of the next BACK_FOR_S; NaN where too little was seen."""
        return means_ahead(self._findings.fetal.rate_curve, BACK_FOR_S, 1)

    def back_s(self, fall: Deceleration, by_s: float) -> float:
        """When the rate was back after a fall: near the baseline that it fell from.

        Not before the fall's own end; later where it rose only in part and fell again, as one fall
        in two pieces does. One that is not back to stay by a time (by_s, a window's end) is
        followed over a few beats near the baseline, too: several pieces, and still not recovered.
        Infinity where the recording ends before it is back. Lost signal is passed over as far as
        NOT_SEEN_S.
        """
        return self.followed(fall, by_s)[0]

    def followed(self, fall: Deceleration, by_s: float) -> tuple[float, bool]:
        """`back_s`, and whether the rate was then seen back: not where lost signal ends it."""
        to_stay_s, seen = self._followed(fall, self._coming)
        if to_stay_s > by_s:
            return to_stay_s, seen
        last = self._followed(fall, self._findings.fetal.rate_curve.values)
        if not seen and to_stay_s > max(fall.end_s, last[0]):
            return to_stay_s, seen
        return last

    def seen_over(self, level_bpm: float, from_s: float, by_s: float) -> bool:
        """Whether the rate was seen over a level for BACK_FOR_S, wholly between two times."""
        curve = self._findings.fetal.rate_curve
        first = max(0, math.ceil((from_s - curve.start_s) / curve.step_s))
        stop = max(first, math.floor((by_s - BACK_FOR_S - curve.start_s) / curve.step_s) + 1)
        return bool((self._coming[first:stop] > level_bpm).any())

    def _followed(self, fall: Deceleration, rate: FloatArray) -> tuple[float, bool]:
        curve = self._findings.fetal.rate_curve
        first = max(0, round((fall.end_s - curve.start_s) / curve.step_s))
        least = fall.baseline_bpm - SHALLOW_FROM_BPM
        last, ended = _low_until(curve.values, rate, first, least, NOT_SEEN_S / curve.step_s)
        if last == first:
            return fall.end_s, fall.recovered
        if ended == _BY_THE_END:
            return math.inf, False
        return max(fall.end_s, curve.start_s + last * curve.step_s), ended == _BACK
