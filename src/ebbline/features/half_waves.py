"""How regular the rise and fall of a heart rate is, half wave by half wave.

A sine whose frequency wanders within a few cycles has no line in a spectrum, and is still seen at
a glance: each crest as high, as long and as round as the next. Between successive turning points
each half wave is held against half a cosine, and its length and height against the others'.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ebbline.compiled import kernel

FloatArray = NDArray[np.float64]

LENGTH, HEIGHT, REGULAR, ROUND, COLUMNS = range(5)
"""Columns of `half_waves`: middle length (s) and height (bpm) of a stretch's half waves; share of
their time in those that are as long and as high as a sine's; share of their energy that half
cosines between the turning points explain."""

SMOOTH_S, SLOW_S = 3, 41
"""Each second is the mean of three, less that of 41 s: two cycles of the slowest undulation, so
that drift goes and waves of 2.5 per minute and more stay (ours)."""

TURN_SHARE = 0.9
"""A turning point is left by this many standard deviations of its stretch (a sine: a third of its
height); what turns within less is roughness on a wave (ours)."""

SHORTEST_S, LONGEST_S = 4.0, 13.0
"""A half wave at 3 to 5 cycles a minute takes 6 to 10 s; with tolerance for roughness (ours)."""

LEAST_HEIGHT, GREATEST_HEIGHT = 0.5, 1.7
"""Height of a half wave over the middle one of its stretch: the amplitude may double (ours)."""

GAP_S = 4
"""A half wave with more lost signal in a row is left out."""

WORTH_A_LOOK = 0.7
"""With less of it regular the shape of a stretch's half waves is not measured: ROUND is 0."""

LEAST_SEEN_S, LEAST_SPREAD_BPM = 72.0, 0.7
"""A stretch with less in half waves, or flatter, is not told."""


@kernel
def half_waves(second: FloatArray, window: int, hop: int) -> FloatArray:
    """One row for each stretch of `window` seconds, `hop` apart; zeros where it cannot be told.

    second: mean heart rate of each second, NaN where missing or far off the baseline.
    """
    fast = _without_drift(second)
    count = max(0, (second.size - window) // hop + 1)
    rows = np.zeros((count, COLUMNS))
    turns = np.empty(window, dtype=np.int64)
    heights = np.empty(window)
    lengths = np.empty(window)
    for w in range(count):
        part = fast[w * hop : w * hop + window]
        seen = 0
        energy = 0.0
        for k in range(window):
            if part[k] == part[k]:
                seen += 1
                energy += part[k] * part[k]
        if 2 * seen < window or energy < LEAST_SPREAD_BPM**2 * seen:
            continue
        number = _turning_points(part, TURN_SHARE * np.sqrt(energy / seen), turns)
        if number < 5:
            continue
        for j in range(number - 1):
            heights[j] = abs(part[turns[j + 1]] - part[turns[j]])
            lengths[j] = turns[j + 1] - turns[j]
        middle = np.median(heights[: number - 1])
        told = 0.0
        regular = 0.0
        unlike = 0.0
        whole = 0.0
        for j in range(number - 1):
            first, last = turns[j], turns[j + 1]
            if _longest_gap(part, first, last) > GAP_S:
                continue
            told += lengths[j]
            high = LEAST_HEIGHT * middle <= heights[j] <= GREATEST_HEIGHT * middle
            if high and SHORTEST_S <= lengths[j] <= LONGEST_S:
                regular += lengths[j]
        if told < LEAST_SEEN_S:
            continue
        rows[w, LENGTH] = np.median(lengths[: number - 1])
        rows[w, HEIGHT] = middle
        rows[w, REGULAR] = regular / told
        # What is not regular is not looked at more closely: nearly all of most traces.
        if regular < WORTH_A_LOOK * told:
            continue
        for j in range(number - 1):
            first, last = turns[j], turns[j + 1]
            if _longest_gap(part, first, last) > GAP_S:
                continue
            centre = 0.5 * (part[first] + part[last])
            swing = 0.5 * (part[first] - part[last])
            for k in range(first, last):
                if part[k] == part[k]:
                    cosine = swing * np.cos(np.pi * (k - first) / lengths[j])
                    unlike += (part[k] - centre - cosine) ** 2
                    whole += (part[k] - centre) ** 2
        if whole > 0.0:
            rows[w, ROUND] = 1.0 - unlike / whole
    return rows


@kernel
def _without_drift(second: FloatArray) -> FloatArray:
    """Each second's mean of SMOOTH_S less that of SLOW_S; NaN where it or half of that is lost."""
    n = second.size
    total = np.zeros(n + 1)
    seen = np.zeros(n + 1)
    for i in range(n):
        there = second[i] == second[i]
        total[i + 1] = total[i] + (second[i] if there else 0.0)
        seen[i + 1] = seen[i] + (1.0 if there else 0.0)
    fast = np.full(n, np.nan)
    for i in range(n):
        if second[i] != second[i]:
            continue
        a, b = max(0, i - SMOOTH_S // 2), min(n, i + SMOOTH_S // 2 + 1)
        c, d = max(0, i - SLOW_S // 2), min(n, i + SLOW_S // 2 + 1)
        if 2.0 * (seen[d] - seen[c]) >= d - c:
            slow = (total[d] - total[c]) / (seen[d] - seen[c])
            fast[i] = (total[b] - total[a]) / (seen[b] - seen[a]) - slow
    return fast


@kernel
def _turning_points(values: FloatArray, least: float, turns: NDArray[np.int64]) -> int:
    """Fills in the places where the values turn, each left by `least` or more; how many."""
    number = 0
    low = high = best = -1
    way = 0
    for k in range(values.size):
        value = values[k]
        if value != value:
            continue
        if low < 0:
            low = high = best = k
        elif way == 0:
            high = k if value > values[high] else high
            low = k if value < values[low] else low
            if value - values[low] > least or values[high] - value > least:
                way = 1 if value - values[low] > least else -1
                turns[number] = low if way > 0 else high
                number += 1
                best = k
        elif way * (value - values[best]) > 0.0:
            best = k
        elif way * (values[best] - value) > least:
            turns[number] = best
            number += 1
            way = -way
            best = k
    return number


@kernel
def _longest_gap(values: FloatArray, first: int, last: int) -> int:
    """Longest run of missing values between two that are there."""
    longest = 0
    gap = 0
    for k in range(first, last + 1):
        gap = gap + 1 if values[k] != values[k] else 0
        longest = max(longest, gap)
    return longest
