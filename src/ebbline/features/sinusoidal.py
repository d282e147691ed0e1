"""The sinusoidal pattern, by spectrum, by shape and half wave by half wave, told apart from the
pseudo-sinusoidal.

NICHD 2008: smooth, sine-like undulation, 3-5 cycles per minute, for 20 minutes or more. FIGO
2015: amplitude 5-15 bpm, no accelerations, more than 30 minutes; the pseudo-sinusoidal pattern is
jagged ("saw-tooth") and seldom lasts 30 minutes. Here episodes of `LEAST_S` or more are reported
with their length; the criteria decide which length counts.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ebbline.compiled import kernel
from ebbline.features.findings import SinusoidalEpisode
from ebbline.features.half_waves import HEIGHT, LENGTH, REGULAR, ROUND, half_waves

FloatArray = NDArray[np.float64]

WINDOW_S = 180
"""Length of the stretch whose spectrum is taken: at 3 per minute it holds nine cycles."""

HOP_S = 60

LOWEST_PER_MIN, STEP_PER_MIN, STEPS = 2.5, 1.0 / 6.0, 19
"""3-5 per minute, with half a cycle of tolerance for the spectrum's width (2.5 to 5.5)."""

PURE_SHARE, WITH_OVERTONES_SHARE = 0.55, 0.75
"""An undulation has this much of its fluctuation at one frequency, and this much when its
overtones are added: a sine nearly all at one, a saw-tooth 61 % (6 / pi^2) and the rest above."""

WANDERING_SHARE, NEIGHBOUR_PER_MIN = 0.75, 60.0 / WINDOW_S
"""A sine whose frequency wanders within three minutes spreads over its neighbours: with two on
either side (2/3 per minute) it still holds this much. From 3.6 to 4.4 per minute and back it holds
0.88 and more; of 10 466 stretches of open recordings (CTU-UHB) one in a hundred reaches 0.75, and
none for ten minutes in a row (measured)."""

WORTH_A_LOOK = 0.2
"""A sine between two frequencies a cycle in three minutes apart still shows a third at each."""

MISSED, BROKEN_SHARE = 3, 0.45
"""A run may miss one stretch, or so many in a row where these were not seen or still hold so much
of the frequency and its neighbours: a fall or loss of half a minute lies in three stretches (ours:
of 14 invented hours with a wandering sine and 1 to 32 % loss 12 are found where 9 were, and none in
276 open recordings (CTU-UHB), as before)."""

JAGGED_SHARE = 0.12
"""With this much of it at twice and three times the frequency it is jagged, not smooth."""

LEAST_REGULAR, LEAST_ROUND, PASSABLE_REGULAR = 0.85, 0.8, 0.6
"""Half waves so regular and so round make an undulation whatever its spectrum (`half_waves`); with
so many regular ones a stretch may lie within one. From 3 to 5 per minute and back within 2 to 5
minutes, of an amplitude of 3.5 to 15 bpm that wanders, with 20 % of signal lost, a stretch holds
0.89 and 0.83 and more; of stretches of open recordings (CTU-UHB) 1 in 700 reaches both (measured;
the limits are ours)."""

BRIEFEST_S, SLOWEST_S = 5.0, 12.0
"""The middle half wave of an undulation: 6 to 2.5 cycles a minute."""

LEAST_PEAK_TO_PEAK, GREATEST_PEAK_TO_PEAK = 4.0, 56.0
"""Peak to trough, bpm: an amplitude of 5-15 about the middle (FIGO 2015), or up to 25 and more as
in severe anaemia (common practice, no source), with tolerance."""

FAR_BPM = 40.0
"""Signal further from the baseline than this is no part of an undulation (ours)."""

LEAST_SEEN_SHARE = 0.5
"""A stretch of which less was seen has no spectrum."""

LEAST_S = 600.0
"""A shorter undulation is not reported."""


@kernel
def undulation(second: FloatArray) -> FloatArray:
    """One row for each hop: frequency (per min), peak-to-trough (bpm), share at the frequency,
    share at its overtones, share at it and its neighbours; zeros where not valid enough.

    second: mean heart rate of each second, NaN where missing or far off the baseline.
    """
    n = second.size
    count = max(0, (n - WINDOW_S) // HOP_S + 1)
    rows = np.zeros((count, 5))
    value = np.empty(WINDOW_S)
    for w in range(count):
        start = w * HOP_S
        seen = 0
        total = 0.0
        for k in range(WINDOW_S):
            if second[start + k] == second[start + k]:
                seen += 1
                total += second[start + k]
        if seen < LEAST_SEEN_SHARE * WINDOW_S:
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
        # Every second frequency first: where none of them holds much, none between them does.
        best = 0.0
        greatest = 0.0
        even = _powers(value, 0)
        for step in range(0, STEPS, 2):
            if even[step // 2] > greatest:
                greatest = even[step // 2]
                best = LOWEST_PER_MIN + step * STEP_PER_MIN
        if greatest < WORTH_A_LOOK * 0.5 * seen * energy:
            continue
        odd = _powers(value, 1)
        for step in range(1, STEPS, 2):
            if odd[step // 2] > greatest:
                greatest = odd[step // 2]
                best = LOWEST_PER_MIN + step * STEP_PER_MIN
        share = greatest / (0.5 * seen * energy)
        overtones = 0.0
        if share >= PURE_SHARE:
            for times in (2.0, 3.0):
                overtones += _power(value, times * best) / (0.5 * seen * energy)
        around = share
        for away in (-2.0, -1.0, 1.0, 2.0):
            power = _power(value, best + away * NEIGHBOUR_PER_MIN)
            around += power / (0.5 * seen * energy)
        rows[w, 0] = best
        rows[w, 1] = 2.0 * np.sqrt(2.0 * min(around, 1.0) * energy / seen)
        rows[w, 2] = share
        rows[w, 3] = overtones
        rows[w, 4] = around
    return rows


@kernel
def _powers(value: FloatArray, first: int) -> FloatArray:
    """`_power` of every second frequency from this step on, all in one run over the values."""
    count = (STEPS - first + 1) // 2
    turn = np.empty(count)
    for f in range(count):
        turn[f] = 2.0 * np.cos(
            2.0 * np.pi * (LOWEST_PER_MIN + (first + 2 * f) * STEP_PER_MIN) / 60.0
        )
    before = np.zeros(count)
    last = np.zeros(count)
    for k in range(value.size):
        for f in range(count):
            now = value[k] + turn[f] * last[f] - before[f]
            before[f] = last[f]
            last[f] = now
    powers = np.empty(count)
    for f in range(count):
        powers[f] = before[f] * before[f] + last[f] * last[f] - turn[f] * before[f] * last[f]
    return powers


@kernel
def _power(value: FloatArray, per_min: float) -> float:
    """Power of one frequency (Goertzel's recurrence); n/2 times the energy for a pure sine."""
    turn = 2.0 * np.cos(2.0 * np.pi * per_min / 60.0)
    before = 0.0
    last = 0.0
    for k in range(value.size):
        before, last = last, value[k] + turn * last - before
    power: float = before * before + last * last - turn * before * last
    return power


def episodes(second: FloatArray) -> tuple[SinusoidalEpisode, ...]:
    """Runs of stretches with one dominating frequency; see MISSED.

    second: mean heart rate of each second, NaN where missing or far off the baseline.
    """
    if len(second) < WINDOW_S:
        return ()
    rows = undulation(second)
    halves = half_waves(second, WINDOW_S, HOP_S)
    even = (halves[:, REGULAR] >= LEAST_REGULAR) & (halves[:, ROUND] >= LEAST_ROUND)
    even &= (halves[:, LENGTH] >= BRIEFEST_S) & (halves[:, LENGTH] <= SLOWEST_S)
    # Where the spectrum has no line, the half waves tell the frequency and the height.
    unlined = even & (rows[:, 2] == 0.0)
    if unlined.any():
        rows[unlined, 0] = 30.0 / halves[unlined, LENGTH]
        rows[unlined, 1] = halves[unlined, HEIGHT]
        rows[unlined, 2:] = np.column_stack([halves[unlined, ROUND]] * 3) * (1.0, 0.0, 1.0)
    steady = (rows[:, 2] >= PURE_SHARE) & (rows[:, 2] + rows[:, 3] >= WITH_OVERTONES_SHARE)
    wave = (steady | even | (rows[:, 4] >= WANDERING_SHARE)) & (
        (rows[:, 1] >= LEAST_PEAK_TO_PEAK) & (rows[:, 1] <= GREATEST_PEAK_TO_PEAK)
    )
    if not wave.any():
        return ()
    passable = (rows[:, 2] == 0.0) | (rows[:, 4] >= BROKEN_SHARE)
    passable |= halves[:, REGULAR] >= PASSABLE_REGULAR
    found = []
    index = 0
    while index < len(rows):
        if not wave[index]:
            index += 1
            continue
        last = index
        while True:
            ahead = [k for k in range(last + 1, min(last + 2 + MISSED, len(rows))) if wave[k]]
            if not ahead:
                break
            between = passable[last + 1 : ahead[0]]
            if len(between) > 1 and not between.all():
                break
            last = ahead[0]
        episode = _episode(rows, index, last)
        if episode.end_s - episode.start_s >= LEAST_S:
            found.append(episode)
        index = last + 1
    return tuple(found)


def _episode(rows: FloatArray, first: int, last: int) -> SinusoidalEpisode:
    part = rows[first : last + 1]
    part = part[part[:, 2] > 0]
    jagged = float(np.median(part[:, 3] / part[:, 2]))
    return SinusoidalEpisode(
        start_s=float(first * HOP_S),
        end_s=float(last * HOP_S + WINDOW_S),
        cycles_per_min=float(np.median(part[:, 0])),
        amplitude_bpm=float(np.median(part[:, 1])) / 2.0,
        pseudo=jagged > JAGGED_SHARE,
        certainty=float(np.clip(np.median(np.maximum(part[:, 2], part[:, 4])), 0.0, 1.0)),
    )
