"""The sinusoidal pattern, by spectrum and by shape, told apart from the pseudo-sinusoidal.

NICHD 2008: smooth, sine-like undulation, 3-5 cycles per minute, for 20 minutes or more. FIGO
2015: amplitude 5-15 bpm, no accelerations, more than 30 minutes; the pseudo-sinusoidal pattern is
jagged ("saw-tooth") and seldom lasts 30 minutes. Here episodes of `LEAST_S` or more are reported
with their length; the criteria decide which length counts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ebbline.signal.jit import kernel

FloatArray = NDArray[np.float64]

WINDOW_S = 180
"""Length of the stretch whose spectrum is taken: at 3 per minute it holds nine cycles."""

HOP_S = 60

LOWEST_PER_MIN, HIGHEST_PER_MIN = 2.5, 5.5
"""3-5 per minute, with half a cycle of tolerance for the spectrum's width."""

PURE_SHARE = 0.72
"""A sine has this much of its fluctuation at one frequency (its neighbours included)."""

JAGGED_SHARE = 0.12
"""With this much of it at twice and three times the frequency it is jagged, not smooth."""

LEAST_PEAK_TO_PEAK, GREATEST_PEAK_TO_PEAK = 4.0, 40.0
"""Peak to trough, bpm: an amplitude of 5-15 about the middle, with tolerance."""

LEAST_S = 600.0
"""A shorter undulation is not reported."""


@kernel
def undulation(second: FloatArray) -> FloatArray:
    """One row for each hop: frequency (per min), peak-to-trough (bpm), share at the frequency,
    share at its overtones; zeros where the stretch is not valid enough.

    second: mean heart rate of each second, NaN where missing or far off the baseline.
    """
    n = second.size
    count = max(0, (n - WINDOW_S) // HOP_S + 1)
    rows = np.zeros((count, 4))
    steps = 45
    cosines = np.empty((steps, WINDOW_S))
    sines = np.empty((steps, WINDOW_S))
    for f in range(steps):
        turn = 2.0 * np.pi * (1.0 + f / 3.0) / 60.0
        for k in range(WINDOW_S):
            cosines[f, k] = np.cos(turn * k)
            sines[f, k] = np.sin(turn * k)
    value = np.empty(WINDOW_S)
    power = np.empty(steps)
    for w in range(count):
        start = w * HOP_S
        seen = 0
        total = 0.0
        for k in range(WINDOW_S):
            if second[start + k] == second[start + k]:
                seen += 1
                total += second[start + k]
        if seen < 0.7 * WINDOW_S:
            continue
        mean = total / seen
        # Straight line taken off; gaps count as the mean.
        slope_top = 0.0
        slope_bottom = 0.0
        middle = 0.5 * (WINDOW_S - 1)
        for k in range(WINDOW_S):
            v = second[start + k]
            value[k] = v - mean if v == v else 0.0
            slope_top += value[k] * (k - middle)
            slope_bottom += (k - middle) ** 2
        energy = 0.0
        for k in range(WINDOW_S):
            value[k] -= slope_top / slope_bottom * (k - middle)
            energy += value[k] * value[k]
        if energy / seen < 1.0:
            continue
        for f in range(steps):
            a = 0.0
            b = 0.0
            for k in range(WINDOW_S):
                a += value[k] * cosines[f, k]
                b += value[k] * sines[f, k]
            power[f] = 2.0 * (a * a + b * b) / (seen * energy)
        best = 0
        for f in range(steps):
            per_min = 1.0 + f / 3.0
            if LOWEST_PER_MIN <= per_min <= HIGHEST_PER_MIN and (
                power[f] > power[best] or not LOWEST_PER_MIN <= 1.0 + best / 3.0 <= HIGHEST_PER_MIN
            ):
                best = f
        per_min = 1.0 + best / 3.0
        overtones = 0.0
        for times in (2.0, 3.0):
            f = round((times * per_min - 1.0) * 3.0)
            if f < steps:
                greatest = 0.0
                for g in range(max(0, f - 1), min(steps, f + 2)):
                    greatest = max(greatest, power[g])
                overtones += greatest
        rows[w, 0] = per_min
        rows[w, 1] = 2.0 * np.sqrt(2.0 * power[best] * energy / seen)
        rows[w, 2] = power[best]
        rows[w, 3] = overtones
    return rows
