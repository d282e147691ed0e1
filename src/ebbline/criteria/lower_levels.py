"""Levels that the rate fell to and stayed at, by the baseline and by the rate itself."""

from __future__ import annotations

import math
from dataclasses import replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ebbline.criteria.recovery import BACK_FOR_S
from ebbline.criteria.variability_runs import MINUTE_S
from ebbline.definitions import BASELINE_NORMAL_FROM_BPM, LEAST_EXCURSION_BPM, TEN_MINUTES_S
from ebbline.features.findings import BaselineChange, Curve, Findings
from ebbline.features.steps_down import (
    LEAST_STEP_BPM,
    LEVEL_SHARE,
    STEP_APART_S,
    STEP_AROUND_S,
    STEP_MEAN_S,
    Drop,
    means_ahead,
    steps_down,
)

FloatArray = NDArray[np.float64]

SUDDEN_S, SUDDEN_SHARE, LOOK_AROUND_S = 60.0, 0.25, 300.0
"""A change of level is sudden when the middle half of it took a minute or less; looked for in the
ten minutes about it, for the baseline may change minutes before the rate does or after (ours: the
onset of a fall is over in that time, a drift of the baseline is not)."""

STAYS_SHARE = 0.1
"""So little of the five minutes after a fall to another level is back over the middle (ours)."""

LEVEL_BEFORE_S = 120.0
"""The level that a sudden fall leaves is the usual rate of so long before it (ours)."""

SLID_BPM = 25.0
"""A baseline that slid down by so much, or by 15 bpm to under 110 bpm, is looked at for a sudden
fall; one that settles a little lower within the normal range is a change of baseline (ours)."""


def _fallen(rate: Curve, place: int, then: FloatArray) -> bool:
    """Whether the usual rate of LEVEL_BEFORE_S before a place lies LEAST_EXCURSION_BPM over the
    usual one of what came after: a last beat at the old level is no fall from it."""
    before = rate.values[max(0, place - round(LEVEL_BEFORE_S / rate.step_s)) : place + 1]
    before = before[np.isfinite(before)]
    return float(np.median(before) - np.median(then)) >= LEAST_EXCURSION_BPM


class LowerLevels:
    """Sudden falls of a recording to a lower level; each kind is looked for when first asked."""

    def __init__(self, findings: Findings) -> None:
        self._findings = findings

    @cached_property
    def drops(self) -> tuple[Drop, ...]:
        """Sudden falls to another level that stayed there, and until when they did.

        NICHD calls ten minutes at another level a change of baseline. Whoever sees the rate fall
        and not come back does not call it better for that: it goes on counting as a fall.
        """
        found: list[Drop] = []
        changes = self._level_changes()
        for place, change in enumerate(changes):
            if change.from_bpm - change.to_bpm < LEAST_EXCURSION_BPM:
                continue
            fell_s = self._fell_s(change)
            if math.isnan(fell_s) or any(abs(fell_s - d.start_s) < SUDDEN_S for d in found):
                continue
            back = 0.5 * (change.from_bpm + change.to_bpm)
            returned = (later.at_s for later in changes[place + 1 :] if later.to_bpm > back)
            until_s = next(returned, math.inf)
            found.append(Drop(fell_s, until_s, change.from_bpm, change.to_bpm))
        return tuple(found)

    @cached_property
    def steps(self) -> tuple[Drop, ...]:
        """Sudden steps of the rate to a level 15 bpm or more under its baseline (`steps_down`).

        A rate that comes down from a long rise to where it was before has not fallen; and a step
        that a deceleration tells, from which the rate came back, is that deceleration. It is over
        at the latest when the rate was near where it fell from for a minute.
        """
        return tuple(
            replace(step, until_s=min(step.until_s, self._minute_back_s(step)))
            for step in steps_down(self._findings.fetal.rate_curve)
            if self._baseline_before(step) - step.to_bpm >= LEAST_STEP_BPM
            and not self._came_back(step)
        )

    def _minute_back_s(self, step: Drop) -> float:
        """When the first minute after a step begins whose mean is near where it fell from.

        Infinity without one. A minute of which a quarter or more was lost tells nothing, nor does
        one whose baseline lies lower: there it is the way back that does not stay.
        """
        fetal = self._findings.fetal
        curve, level = fetal.rate_curve, fetal.baseline_curve
        first = max(0, round((step.start_s + STEP_MEAN_S - curve.start_s) / curve.step_s))
        slack = min(LEAST_EXCURSION_BPM, LEVEL_SHARE * (step.from_bpm - step.to_bpm))
        near = self._minutes_ahead[first:] >= step.from_bpm - slack
        at_s = curve.start_s + (first + np.arange(len(near))) * curve.step_s
        place = np.rint((at_s - level.start_s) / level.step_s).astype(np.int64)
        there = (place >= 0) & (place < len(level.values))
        near &= there
        near[there] &= level.values[place[there]] >= step.from_bpm - LEAST_EXCURSION_BPM
        return (
            curve.start_s + (first + int(near.argmax())) * curve.step_s if near.any() else math.inf
        )

    @cached_property
    def _minutes_ahead(self) -> FloatArray:
        """Of each second, the mean rate of the next minute; NaN where a quarter of it was lost."""
        return means_ahead(self._findings.fetal.rate_curve, MINUTE_S, round(0.75 * MINUTE_S))

    def _came_back(self, step: Drop) -> bool:
        """Whether a deceleration holds the step and the rate was nearer to where it fell from
        from its end on: for fifteen seconds, and for as much of the next minutes as there is."""
        curve, middle = self._findings.fetal.rate_curve, 0.5 * (step.from_bpm + step.to_bpm)
        for one in self._findings.fetal.decelerations:
            if not one.recovered or not one.onset_s - STEP_MEAN_S <= step.start_s < one.end_s:
                continue
            seen = curve.known(one.end_s, one.end_s + STEP_AROUND_S / 2)
            if len(seen) * curve.step_s >= BACK_FOR_S and float(seen.mean()) > middle:
                return True
        return False

    def _baseline_before(self, step: Drop) -> float:
        """The highest baseline of the five minutes before a step, and no higher than it usually was
        in the ten before: what comes down from a few livelier minutes has not fallen. The step's
        own level where none is known."""
        curve, until_s = self._findings.fetal.baseline_curve, step.start_s - STEP_APART_S
        known = curve.known(step.start_s - STEP_AROUND_S, until_s)
        usual = curve.known(step.start_s - TEN_MINUTES_S, until_s)
        # A drawn baseline may follow what comes after: what the rate kept over for nine of the ten
        # minutes before was no rise (NICHD 2008: from ten minutes on a change of baseline).
        rate = self._findings.fetal.rate_curve.known(step.start_s - TEN_MINUTES_S, until_s)
        kept = float(np.quantile(rate, 0.1)) if len(rate) >= 0.5 * TEN_MINUTES_S else -math.inf
        highest = min(known.max(), np.median(usual)) if len(known) else step.from_bpm
        return max(kept, float(highest))

    def _level_changes(self) -> list[BaselineChange]:
        """The changes of the baseline, and those between ten minutes that it slid through."""
        known = [one for one in self._findings.fetal.baseline if one.determinate]
        slid = [
            BaselineChange(0.5 * (one.end_s + later.start_s), one.mean_bpm, later.mean_bpm)
            for near in (1, 2)
            for one, later in zip(known, known[near:], strict=False)
            if one.mean_bpm - later.mean_bpm >= SLID_BPM
            or (
                one.mean_bpm - later.mean_bpm >= LEAST_EXCURSION_BPM
                and later.mean_bpm < BASELINE_NORMAL_FROM_BPM
            )
            or later.mean_bpm - one.mean_bpm >= LEAST_EXCURSION_BPM
        ]
        jumped = self._findings.fetal.baseline_changes
        return sorted((*jumped, *slid), key=lambda change: change.at_s)

    def _fell_s(self, change: BaselineChange) -> float:
        """When the rate went most of the way within SUDDEN_S; NaN where it drifted."""
        curve = self._findings.fetal.rate_curve
        values = curve.values
        first = max(0, round((change.at_s - LOOK_AROUND_S - curve.start_s) / curve.step_s))
        last = max(0, round((change.at_s + LOOK_AROUND_S - curve.start_s) / curve.step_s))
        seen = values[first:last]
        size = change.from_bpm - change.to_bpm
        high = np.flatnonzero(seen >= change.from_bpm - SUDDEN_SHARE * size)
        low = np.flatnonzero(seen <= change.to_bpm + SUDDEN_SHARE * size)
        if not len(high) or not len(low):
            return math.nan
        after = low[np.searchsorted(low, high)[np.searchsorted(low, high) < len(low)]]
        before = high[: len(after)]
        sudden = before[(after - before) * curve.step_s <= SUDDEN_S]
        back = 0.5 * (change.from_bpm + change.to_bpm)
        for begin in sudden[::-1].tolist():
            # A deceleration beside a drift is over in a few minutes; a fall to a level stays.
            place = first + begin + round(SUDDEN_S / curve.step_s)
            then = values[place : place + round(0.5 * TEN_MINUTES_S / curve.step_s)]
            then = then[np.isfinite(then)]
            stays = len(then) > 0 and float((then > back).mean()) <= STAYS_SHARE
            if stays and _fallen(curve, first + begin, then):
                return curve.start_s + float(first + begin) * curve.step_s
        return math.nan
