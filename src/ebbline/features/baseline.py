"""The continuous baseline, and the standards' ten-minute baseline taken from it.

The baseline is the path of levels that explains the whole trace at the least cost (dynamic
programming): signal near the level is cheap, signal far from it costs a fixed price as an
excursion, however deep; slow drift is cheap, quick drift dear, and a jump has a price that only
ten minutes at the new level can pay. That price is the definition of a change of baseline
(NICHD 2008: an excursion of ten minutes or more is a change of baseline).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ebbline.compiled import kernel

FloatArray = NDArray[np.float64]

EPOCH_S = 4.0
"""Length of the epochs whose means are weighed."""

STEP_S = 32.0
"""Time between two levels of the path: whole epochs."""

LOWEST_LEVEL, LEVELS = 50, 171
"""The path runs on whole levels from 50 to 220 bpm."""

NEAR_BPM = 6.0
"""Spread of baseline signal about its level: half the upper bound of moderate variability, as a
standard deviation of a band of 25 bpm (25 / 4)."""

FALL_COST, RISE_COST = 1.3, 1.7
"""Price of an epoch spent under or over the baseline. In labour falls are commoner than rises."""

STEEP_BPM = 7.0
"""A change of this much over 16 s halves an epoch's say: on slopes the heart is not at rest."""

DRIFT_COST = 0.8
"""Price of a drift of 1 bpm in a step; it grows with the square."""

JUMP_COST = 95.0
"""Price of a jump to another level; two of them outweigh an excursion of under ten minutes
(150 epochs at the price of a fall, 195, less what slopes and gaps take away)."""

STAY_STEPS = 20
"""A level is a baseline from ten minutes on (NICHD 2008). A jump nearer than that to either end of
the recording pays for both: a fall that has not come back when the recording ends is an excursion
until it has lasted as long as any other would have to. So that no path jumps early to save that,
the price comes down beyond it by only half of what a step at a wrong level costs."""

UNSEEN_STEPS, UNSEEN_JUMP_COST = 18, 20.0
"""After ten minutes of which nothing was seen the level may be another (NICHD 2008 looks no further
back than ten minutes): a jump in the middle of them costs little, so that the baseline does not
slide from the one to the other while it is still seen (ours). Not near the recording's ends."""

DRAWS_BPM = 9.0
"""An epoch further than this from the path does not draw the baseline."""

DRIFT_REACH = 10
"""Levels a path may drift in one step without a jump."""


@kernel
def epoch_means(kept: FloatArray, samples: int) -> tuple[FloatArray, FloatArray]:
    """Mean and valid share of successive epochs; the mean is NaN where a quarter is not valid."""
    count = (kept.size + samples - 1) // samples
    mean = np.full(count, np.nan)
    share = np.zeros(count)
    for e in range(count):
        start = e * samples
        end = min(kept.size, start + samples)
        total = 0.0
        seen = 0
        for i in range(start, end):
            if kept[i] == kept[i]:
                total += kept[i]
                seen += 1
        share[e] = seen / samples
        if 4 * seen >= samples:
            mean[e] = total / seen
    return mean, share


@kernel
def baseline_path(mean: FloatArray, share: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Level of the path at each step, and its margin.

    mean, share: from `epoch_means` with EPOCH_S. The margin is the extra cost of the best path
    that passes the step more than 8 bpm away: near 0 the level could as well be another.
    """
    per_step = int(STEP_S / EPOCH_S + 0.5)
    epochs = mean.size
    steps = (epochs + per_step - 1) // per_step
    cost = np.zeros((steps, LEVELS), dtype=np.float32)
    near = 1.0 / (2.0 * NEAR_BPM * NEAR_BPM)
    for e in range(epochs):
        level = mean[e]
        if level != level:
            continue
        back = mean[max(0, e - 2)]
        ahead = mean[min(epochs - 1, e + 2)]
        steep = 0.0
        if back == back:
            steep = max(steep, abs(level - back) * 1.4)
        if ahead == ahead:
            steep = max(steep, abs(ahead - level) * 1.4)
        if back == back and ahead == ahead:
            steep = max(steep, abs(ahead - back))
        say = share[e] / (1.0 + (steep / STEEP_BPM) ** 2)
        row = cost[e // per_step]
        for k in range(LEVELS):
            off = level - (LOWEST_LEVEL + k)
            price = off * off * near
            cap = FALL_COST if off < 0.0 else RISE_COST
            row[k] += np.float32(say * min(price, cap))

    jump = _jump_costs(mean, per_step, steps)
    ahead_cost = np.zeros((steps, LEVELS), dtype=np.float32)
    back_cost = np.zeros((steps, LEVELS), dtype=np.float32)
    ahead_cost[0] = cost[0]
    for s in range(1, steps):
        _pass_on(ahead_cost[s - 1], ahead_cost[s], jump[s])
        for k in range(LEVELS):
            ahead_cost[s, k] += cost[s, k]
        _from_the_least(ahead_cost[s])
    for s in range(steps - 2, -1, -1):
        total = back_cost[s + 1] + cost[s + 1]
        _pass_on(total, back_cost[s], jump[s + 1])
        _from_the_least(back_cost[s])

    # Trace the single best path back from the end; min-marginals serve only for the margin.
    path = np.empty(steps)
    margin = np.empty(steps)
    best = 0
    for k in range(LEVELS):
        if ahead_cost[steps - 1, k] < ahead_cost[steps - 1, best]:
            best = k
    for s in range(steps - 1, -1, -1):
        if s < steps - 1:
            best = _came_from(ahead_cost[s], best, jump[s + 1])
        path[s] = LOWEST_LEVEL + best
        here = ahead_cost[s, best] + back_cost[s, best]
        other = np.float32(1e30)
        for k in range(LEVELS):
            if abs(k - best) > 8:
                through = ahead_cost[s, k] + back_cost[s, k]
                other = min(other, through)
        margin[s] = other - here
    return path, margin


@kernel
def _jump_cost(step: int, steps: int) -> float:
    """Price of a jump onto `step`, of `steps` in all."""
    beyond = max(min(step, steps - step) - STAY_STEPS, 0)
    return max(2.0 * JUMP_COST - beyond * RISE_COST * STEP_S / EPOCH_S / 2.0, JUMP_COST)


@kernel
def _jump_costs(mean: FloatArray, per_step: int, steps: int) -> FloatArray:
    """Price of a jump onto each step; see UNSEEN_STEPS."""
    jump = np.empty(steps)
    unseen = 0
    for s in range(steps):
        jump[s] = _jump_cost(s, steps)
        empty = True
        for e in range(s * per_step, min(mean.size, (s + 1) * per_step)):
            if mean[e] == mean[e]:
                empty = False
        begins = s - unseen
        if not empty and unseen >= UNSEEN_STEPS and min(begins, steps - s) >= STAY_STEPS:
            jump[begins + unseen // 2] = UNSEEN_JUMP_COST
        unseen = unseen + 1 if empty else 0
    return jump


@kernel
def _from_the_least(cost: FloatArray) -> None:
    """Costs from the least of them on: small numbers stay exact, however long the labour is."""
    least = cost[0]
    for k in range(1, LEVELS):
        least = min(least, cost[k])
    for k in range(LEVELS):
        cost[k] -= least


@kernel
def _pass_on(before: FloatArray, after: FloatArray, jump_cost: float) -> None:
    """after[k] = the least of before[j] plus the price of moving from j to k."""
    least = before[0]
    for k in range(1, LEVELS):
        least = min(least, before[k])
    jump = least + np.float32(jump_cost)
    for k in range(LEVELS):
        after[k] = before[k] if before[k] < jump else jump
    # One drift at a time over all levels, a form that the compiler turns into vector code.
    for d in range(1, DRIFT_REACH + 1):
        price = np.float32(DRIFT_COST * d * d)
        for k in range(LEVELS - d):
            fallen = before[k + d] + price
            after[k] = fallen if fallen < after[k] else after[k]
        for k in range(d, LEVELS):
            risen = before[k - d] + price
            after[k] = risen if risen < after[k] else after[k]


@kernel
def _came_from(before: FloatArray, level: int, jump_cost: float) -> int:
    """The level before `level` on the best path."""
    best = level
    least = before[level]
    for j in range(LEVELS):
        d = abs(j - level)
        price = jump_cost if d > DRIFT_REACH else min(jump_cost, DRIFT_COST * d * d)
        if before[j] + price < least:
            least = before[j] + price
            best = j
    return best


@kernel
def refined(mean: FloatArray, share: FloatArray, path: FloatArray, count: int) -> FloatArray:
    """The baseline once a second, shape (count,): the path, moved to the mean of what lies by it.

    Within +-60 s the epochs no further than DRAWS_BPM from the path draw it to their weighted mean;
    the path's own jumps are kept sharp.
    """
    per_step = int(STEP_S / EPOCH_S + 0.5)
    epochs = mean.size
    steps = path.size
    level = np.empty(epochs)
    for e in range(epochs):
        place = (e + 0.5) / per_step - 0.5
        left = min(max(int(np.floor(place)), 0), steps - 1)
        right = min(left + 1, steps - 1)
        if abs(path[right] - path[left]) > DRIFT_REACH:
            level[e] = path[left] if place - left < 0.5 else path[right]
        else:
            level[e] = path[left] + (path[right] - path[left]) * min(max(place - left, 0.0), 1.0)
    moved = np.empty(epochs)
    reach = int(60.0 / EPOCH_S)
    for e in range(epochs):
        total = 0.0
        weight = 0.0
        for j in range(max(0, e - reach), min(epochs, e + reach + 1)):
            if mean[j] != mean[j] or abs(level[j] - level[e]) > DRIFT_REACH:
                continue
            off = mean[j] - level[j]
            if abs(off) > DRAWS_BPM:
                continue
            near = 1.0 - abs(j - e) / (reach + 1.0)
            closeness = 1.0 - (off / DRAWS_BPM) ** 2
            w = share[j] * near * closeness
            total += w * off
            weight += w
        moved[e] = level[e] + (total / (weight + 0.5) if weight > 0.0 else 0.0)
    second = np.empty(count)
    for t in range(count):
        place = (t + 0.5) / EPOCH_S - 0.5
        left = min(max(int(np.floor(place)), 0), epochs - 1)
        right = min(left + 1, epochs - 1)
        if abs(moved[right] - moved[left]) > 8.0:
            second[t] = moved[left] if place - left < 0.5 else moved[right]
        else:
            part = min(max(place - left, 0.0), 1.0)
            second[t] = moved[left] + (moved[right] - moved[left]) * part
    return second


@kernel
def without(share: FloatArray, rows: FloatArray, samples: int) -> FloatArray:
    """Shares with every epoch that touches an excursion set to 0, so that it draws nothing.

    rows: excursions with onset and end in samples in columns 0 and 2; samples: per epoch.
    """
    left = share.copy()
    for r in range(rows.shape[0]):
        first = max(0, int(rows[r, 0]) // samples)
        last = min(share.size - 1, int(rows[r, 2]) // samples)
        for e in range(first, last + 1):
            left[e] = 0.0
    return left


@kernel
def near_level(
    kept: FloatArray, level: FloatArray, far_bpm: float, left_out: NDArray[np.bool_]
) -> FloatArray:
    """The samples no further than far_bpm from a level, NaN elsewhere and where left out."""
    near = kept.copy()
    for i in range(kept.size):
        if abs(kept[i] - level[i]) > far_bpm or left_out[i]:
            near[i] = np.nan
    return near


@kernel
def at_samples(second: FloatArray, rate: int, count: int) -> FloatArray:
    """A curve given at the middle of each second, at each of count samples; its ends are held."""
    level = np.empty(count)
    last = second.size - 1
    for i in range(count):
        place = i / rate - 0.5
        left = int(np.floor(place))
        if left < 0:
            level[i] = second[0]
        elif left >= last:
            level[i] = second[last]
        else:
            level[i] = second[left] + (second[left + 1] - second[left]) * (place - left)
    return level
