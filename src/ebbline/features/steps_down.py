"""Where the rate steps, or comes down within minutes, to a lower level, from its means."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ebbline.compiled import kernel
from ebbline.features.findings import Curve

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Drop:
    """A sudden fall of the baseline itself. until_s: when it rose again, infinity if never."""

    start_s: float
    until_s: float
    from_bpm: float
    to_bpm: float


LEAST_STEP_BPM = 15.0
SLOPE_SLACK_BPM = 6.0
"""Means on both sides of a slope lie minutes apart: the level may sway by so much more (ours: half
the upper bound of moderate variability, as a standard deviation)."""

STEP_MEAN_S, STEP_APART_S, STEP_AROUND_S, LEVEL_SHARE = 40, 5, 300, 0.25
"""A step down lies between two means of 40 s, 10 s apart, that differ by 15 bpm or more; the five
minutes before are no lower than the one, and those after no higher than the other, but for a
quarter of it; no more than a quarter of these lies over the middle of the two (ours: so much tells
a step from the end of a rise, from a drift, and from falls that come one upon another)."""


@kernel
def means(values: FloatArray, first: int, stop: int, least: int) -> FloatArray:
    """Mean of the values from `first` to `stop` places about each, NaN where fewer than `least`
    are there."""
    n = values.size
    sums, counts = np.zeros(n + 1), np.zeros(n + 1, np.int64)
    for i in range(n):
        there = np.isfinite(values[i])
        sums[i + 1] = sums[i] + (values[i] if there else 0.0)
        counts[i + 1] = counts[i] + (1 if there else 0)
    mean = np.full(n, np.nan)
    for i in range(n):
        begin, end = min(n, max(0, i + first)), min(n, max(0, i + stop))
        number = counts[end] - counts[begin]
        if number >= least:
            mean[i] = (sums[end] - sums[begin]) / max(number, 1)
    return mean


def means_ahead(rate: Curve, seconds: float, least: int) -> FloatArray:
    """Of each second, the mean rate of so many next ones; NaN where under `least` were seen."""
    return means(np.ascontiguousarray(rate.values, np.float64), 0, round(seconds), least)


@kernel
def _share_over(values: FloatArray, level: float, first: int, stop: int) -> float:
    """Share of the seconds seen from first to stop that lie over a level; 0 without any."""
    seen = over = 0
    for i in range(max(0, first), min(values.size, stop)):
        if np.isfinite(values[i]):
            seen += 1
            over += values[i] > level
    return over / seen if seen else 0.0


@kernel
def _found(values: FloatArray, apart_s: int, least_slack: float) -> FloatArray:
    """Of each step its second, that of its return (infinity if never), and both levels."""
    half = STEP_MEAN_S // 2
    before = means(values, -apart_s - STEP_MEAN_S, -apart_s, half)
    after = means(values, apart_s, apart_s + STEP_MEAN_S, half)
    rows = np.empty((values.size // STEP_AROUND_S + 1, 4))
    if not np.any(before - after >= LEAST_STEP_BPM):
        return rows[:0]
    earlier = means(values, -STEP_AROUND_S, -apart_s, STEP_AROUND_S // 2)
    later = means(values, apart_s, STEP_AROUND_S, STEP_MEAN_S)
    # An acceleration is no return: the rate is back when five minutes about it are.
    around = means(values, -STEP_AROUND_S // 2, STEP_AROUND_S // 2, half)
    number = 0
    for place in range(values.size):
        size = before[place] - after[place]
        slack = max(LEVEL_SHARE * size, least_slack)
        if not (
            size >= LEAST_STEP_BPM
            and earlier[place] >= before[place] - slack
            and later[place] <= after[place] + slack
        ):
            continue
        if number and place - rows[number - 1, 0] < STEP_AROUND_S:
            continue
        near, most = place, 0.0
        for i in range(place, min(values.size, place + STEP_MEAN_S)):
            if before[i] - after[i] > most:
                near, most = i, before[i] - after[i]
        middle = 0.5 * (before[near] + after[near])
        if _share_over(values, middle, near + apart_s, near + STEP_AROUND_S) > LEVEL_SHARE:
            continue
        # Five minutes about the foot of a slope hold most of what was before it.
        foot = near + (STEP_MEAN_S if apart_s == STEP_APART_S else apart_s + STEP_AROUND_S // 2)
        back = np.inf
        for i in range(foot, values.size):
            if around[i] > middle:
                back = i
                break
        rows[number, 0], rows[number, 1] = near, back
        rows[number, 2], rows[number, 3] = before[near], after[near]
        number += 1
    return rows[:number]


def steps_down(rate: Curve, apart_s: int = STEP_APART_S) -> tuple[Drop, ...]:
    """Sudden steps of the rate to a lower level, from its means, and until when it stayed there.

    apart_s: the means lie twice so much apart, so that a slope of as much is a step, too. A step
    that the ten-minute baselines follow at once is seen so too: a fall of 20 bpm that stays is no
    better for the baseline that it makes.
    """
    slack = SLOPE_SLACK_BPM if apart_s > STEP_APART_S else 0.0
    rows = _found(np.ascontiguousarray(rate.values, np.float64), apart_s, slack)
    return tuple(
        Drop(rate.start_s + near, rate.start_s + back, from_bpm, to_bpm)
        for near, back, from_bpm, to_bpm in rows.tolist()
    )
