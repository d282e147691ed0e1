"""Where the rate steps, or comes down within minutes, to a lower level, from its means."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

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


def means_about(rate: Curve, beyond: int) -> Callable[[int, int, int], FloatArray]:
    """Gives means of a rate about each second, of seconds up to `beyond` before and after it."""
    seen = np.isfinite(rate.values)
    sums = np.zeros(2 * beyond + len(seen) + 1)
    counts = np.zeros(len(sums), dtype=np.int64)
    # Sums up to each second; before the first and after the last they stay what they are there.
    for running, values in ((sums, np.where(seen, rate.values, 0.0)), (counts, seen)):
        np.cumsum(values, out=running[beyond + 1 : beyond + 1 + len(seen)])
        running[beyond + 1 + len(seen) :] = running[beyond + len(seen)]

    def mean(first: int, stop: int, least: int) -> FloatArray:
        """Mean from first to stop about each second, NaN where less than `least` was seen."""
        begin, end = (slice(beyond + at, beyond + at + len(seen)) for at in (first, stop))
        number = counts[end] - counts[begin]
        total = sums[end] - sums[begin]
        return np.where(number >= least, total / np.maximum(number, 1), np.nan)

    return mean


def _share_over(rate: Curve, level: float, first: int, stop: int) -> float:
    """Share of the seconds seen from first to stop that lie over a level; 0 without any."""
    seen = rate.values[max(0, first) : max(0, stop)]
    seen = seen[np.isfinite(seen)]
    return float((seen > level).mean()) if len(seen) else 0.0


def steps_down(rate: Curve, apart_s: int = STEP_APART_S) -> tuple[Drop, ...]:
    """Sudden steps of the rate to a lower level, from its means, and until when it stayed there.

    apart_s: the means lie twice so much apart, so that a slope of as much is a step, too. A step
    that the ten-minute baselines follow at once is seen so too: a fall of 20 bpm that stays is no
    better for the baseline that it makes.
    """
    mean = means_about(rate, STEP_AROUND_S)
    half = STEP_MEAN_S // 2
    before = mean(-apart_s - STEP_MEAN_S, -apart_s, half)
    after = mean(apart_s, apart_s + STEP_MEAN_S, half)
    size = before - after
    slack = LEVEL_SHARE * size
    if apart_s > STEP_APART_S:
        slack = np.maximum(slack, SLOPE_SLACK_BPM)
    step = size >= LEAST_STEP_BPM
    step &= mean(-STEP_AROUND_S, -apart_s, STEP_AROUND_S // 2) >= before - slack
    step &= mean(apart_s, STEP_AROUND_S, STEP_MEAN_S) <= after + slack
    # An acceleration is no return: the rate is back when five minutes about it are.
    around = mean(-STEP_AROUND_S // 2, STEP_AROUND_S // 2, half)
    found: list[Drop] = []
    for place in np.flatnonzero(step).tolist():
        if found and place - (found[-1].start_s - rate.start_s) < STEP_AROUND_S:
            continue
        near = place + int(np.argmax(np.nan_to_num(size[place : place + STEP_MEAN_S])))
        middle = 0.5 * (before[near] + after[near])
        if _share_over(rate, middle, near + apart_s, near + STEP_AROUND_S) > LEVEL_SHARE:
            continue
        # Five minutes about the foot of a slope hold most of what was before it.
        foot = near + (STEP_MEAN_S if apart_s == STEP_APART_S else apart_s + STEP_AROUND_S // 2)
        back = np.flatnonzero(around[foot:] > middle)
        until_s = rate.start_s + foot + float(back[0]) if len(back) else math.inf
        start_s = rate.start_s + float(near)
        found.append(Drop(start_s, until_s, float(before[near]), float(after[near])))
    return tuple(found)
