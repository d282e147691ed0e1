"""Waveforms of contractions, decelerations and accelerations, 4 samples a second.

Pure functions of numbers and a random generator. No two come out alike: real ones do not.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

STEP_HZ = 4
"""Samples per second of every track inside the generator."""


def smooth(values: FloatArray, seconds: float) -> FloatArray:
    """Running mean weighted by a raised cosine as wide as seconds; the ends are held."""
    width = max(3, round(seconds * STEP_HZ) | 1)
    weights = np.hanning(width + 2)[1:-1]
    padded = np.concatenate(
        (np.full(width // 2, values[0]), values, np.full(width // 2, values[-1]))
    )
    return np.convolve(padded, weights / weights.sum(), mode="valid")


def through(times_s: list[float], heights: list[float], smooth_s: float) -> FloatArray:
    """A line through knots, its corners rounded; starts and ends at the first and last knot.

    A tail as long as the rounding is added, so that the curve ends where the last knot says.
    """
    end = times_s[-1] + smooth_s
    grid = np.arange(0.0, end, 1 / STEP_HZ)
    return smooth(np.interp(grid, times_s, heights), smooth_s)


def contraction(peak_mmhg: float, seconds: float, rise_share: float, rng: Generator) -> FloatArray:
    """Pressure above tone, mmHg, of one contraction: a quick rise, a slower and slowing relaxation.

    seconds: visible duration (above 5 % of the peak). Some have a plateau or a second peak.
    Asymmetrical bell after Caldeyro-Barcia R, Poseiro JJ. Clin Obstet Gynecol 1960;3:386-408
    (from memory); exponents fitted by eye.
    """
    rise_power, fall_power = rng.uniform(1.4, 2.0), rng.uniform(1.6, 3.2)
    hidden_rise = 2 / np.pi * np.arcsin(0.05 ** (1 / rise_power))
    hidden_fall = 2 / np.pi * np.arcsin(0.05 ** (1 / fall_power))
    plateau_s = rng.uniform(8.0, 20.0) if rng.random() < 0.12 else 0.0
    rise_s = rise_share * (seconds - plateau_s) / (1 - hidden_rise)
    fall_s = (1 - rise_share) * (seconds - plateau_s) / (1 - hidden_fall)
    rise = np.sin(np.pi / 2 * np.arange(1, round(rise_s * STEP_HZ) + 1) / (rise_s * STEP_HZ))
    fall = np.cos(np.pi / 2 * np.arange(1, round(fall_s * STEP_HZ)) / (fall_s * STEP_HZ))
    bell = np.concatenate(
        (
            np.clip(rise, 0, 1) ** rise_power,
            np.ones(round(plateau_s * STEP_HZ)),
            np.clip(fall, 0, 1) ** fall_power,
        )
    )
    knots = rng.normal(0.0, 0.05, max(4, len(bell) // 32))
    rough = np.interp(np.linspace(0, len(knots) - 1, len(bell)), np.arange(len(knots)), knots)
    shaped = bell * (1 + smooth(rough, 6.0) * bell)
    if rng.random() < 0.12:
        middle, width = rng.uniform(0.45, 0.65) * len(bell), 0.1 * len(bell)
        dent = np.exp(-(((np.arange(len(bell)) - middle) / width) ** 2))
        shaped = shaped * (1 - rng.uniform(0.1, 0.4) * dent)
    return np.asarray(peak_mmhg * shaped / shaped.max())


def pushes(bell: FloatArray, rng: Generator) -> FloatArray:
    """Bearing-down efforts on a contraction, mmHg: plateaus of 5 to 9 s, breaths between.

    Common practice (several pushes of 6 to 10 s to a contraction), no source.
    """
    total = np.zeros(len(bell))
    start = int(np.argmax(bell > 0.35 * bell.max())) + int(rng.uniform(0, 4) * STEP_HZ)
    stop = len(bell) - int(np.argmax(bell[::-1] > 0.35 * bell.max()))
    while start < stop:
        held = rng.uniform(5.0, 9.0)
        height = rng.uniform(20.0, 45.0)
        push = through(
            [0, 1.0, held - 1.0, held], [0, height, height * rng.uniform(0.75, 1.05), 0], 1.5
        )
        end = min(len(total), start + len(push))
        total[start:end] += push[: end - start]
        start = end + int(rng.uniform(1.0, 3.5) * STEP_HZ)
    return total


@dataclass(frozen=True, slots=True, eq=False)
class CordResponse:
    """A variable deceleration. fall: bpm below; rises: shoulders and overshoot, bpm above.

    occlusion: share of the cord's flow stopped. All begin together; fall begins at fall_at
    samples into them.
    """

    fall: FloatArray
    rises: FloatArray
    occlusion: FloatArray
    fall_at: int
    shoulder_before: bool
    shoulder_after: bool
    overshoot: bool
    slow_return: bool


def cord_response(
    depth_bpm: float,
    seconds: float,
    *,
    shoulders: bool,
    overshoot: bool,
    slow_return: bool,
    rng: Generator,
) -> CordResponse:
    """Heart-rate response to compression of the cord.

    The thin-walled vein closes first (less blood returns: the rate rises, a shoulder), then the
    arteries (the pressure leaps: the vagus drops the rate within seconds), and they open in the
    reverse order. Lee CY, Di Loreto PC, O'Lane JM. Obstet Gynecol 1975;45:142-6; Barcroft's
    occlusions before (from memory).
    """
    fall_s = float(np.clip(rng.lognormal(np.log(6.8), 0.5), 3.0, 19.0))
    back_s = (
        float(rng.uniform(28.0, 60.0))
        if slow_return
        else float(np.clip(rng.lognormal(np.log(7.5), 0.45), 3.5, 20.0))
    )
    floor_s = max(2.0, seconds - fall_s - back_s)
    times, depths = [0.0, fall_s], [0.0, depth_bpm]
    style = rng.choice(
        ["sharp", "flat", "double", "sloping", "ragged"], p=[0.2, 0.2, 0.2, 0.2, 0.2]
    )
    if style == "sharp":
        floor_s = min(floor_s, rng.uniform(1.5, 8.0))
    elif style == "flat":
        times += [fall_s + floor_s * 0.5]
        depths += [depth_bpm * rng.uniform(0.93, 1.0)]
    elif style == "double":
        times += [fall_s + floor_s * rng.uniform(0.35, 0.6)]
        depths += [depth_bpm * rng.uniform(0.4, 0.75)]
    elif style == "ragged":
        inner = np.sort(rng.uniform(0.1, 0.9, rng.integers(2, 5)))
        times += list(fall_s + floor_s * inner)
        depths += list(depth_bpm * rng.uniform(0.6, 0.98, len(inner)))
    last = depth_bpm * (rng.uniform(0.55, 0.8) if style == "sloping" else rng.uniform(0.82, 0.98))
    times += [fall_s + floor_s]
    depths += [last]
    if slow_return:
        knee = rng.uniform(0.15, 0.35)
        times += [times[-1] + back_s * knee]
        depths += [last * rng.uniform(0.4, 0.65)]
        times += [times[-1] + back_s * (1 - knee)]
    else:
        times += [times[-1] + back_s]
    depths += [0.0]
    rounding = min(5.0, 0.5 * fall_s + 1.0)
    fall = through(times, depths, rounding)
    fall *= depth_bpm / fall.max()

    before_s = float(rng.uniform(6.0, 14.0)) if shoulders else 0.0
    fall_at = round(before_s * STEP_HZ)
    after_s = 0.0
    rises_t, rises_h = [0.0], [0.0]
    if shoulders:
        height = rng.uniform(6.0, 16.0)
        rises_t += [before_s * 0.6, before_s, before_s + 3.0]
        rises_h += [height, height * 0.9, 0.0]
    end = before_s + times[-1] - 0.35 * min(back_s, 12.0)
    if overshoot:
        after_s = float(rng.uniform(35.0, 90.0))
        height = rng.uniform(11.0, 22.0)
        rises_t += [end, end + 8.0, end + after_s * 0.5, end + after_s]
        rises_h += [0.0, height, height * rng.uniform(0.8, 1.0), 0.0]
    elif shoulders:
        after_s = float(rng.uniform(8.0, 18.0))
        height = rng.uniform(6.0, 15.0)
        rises_t += [end, end + after_s * 0.4, end + after_s]
        rises_h += [0.0, height, 0.0]
    length = max(len(fall) + fall_at, round((rises_t[-1] + 6.0) * STEP_HZ))
    rises = np.zeros(length)
    if len(rises_t) > 1:
        shaped = through(rises_t, rises_h, 4.0)[:length]
        rises[: len(shaped)] = shaped
    whole = np.zeros(length)
    whole[fall_at : fall_at + len(fall)] = fall
    occlusion = np.clip(whole / max(30.0, depth_bpm * 0.8), 0.0, 1.0)
    return CordResponse(
        fall=whole,
        rises=rises,
        occlusion=occlusion,
        fall_at=fall_at,
        shoulder_before=shoulders,
        shoulder_after=shoulders and not overshoot,
        overshoot=overshoot,
        slow_return=slow_return,
    )


def prolonged_fall(depth_bpm: float, minutes: float, rng: Generator) -> FloatArray:
    """A fall of 2 to under 10 minutes, bpm below baseline, with an uneven floor and slow return."""
    seconds = minutes * 60.0
    fall_s = float(rng.uniform(12.0, 70.0))
    back_s = float(min(rng.uniform(30.0, 110.0), 0.45 * seconds))
    floor_s = max(20.0, seconds - fall_s - back_s)
    count = max(2, round(floor_s / 20.0))
    inner = np.linspace(0.05, 1.0, count)
    walk = np.cumsum(rng.normal(0.0, 0.09, count))
    depths = depth_bpm * np.clip(0.9 + walk - np.linspace(0.0, walk[-1] + 0.15, count), 0.45, 1.0)
    times = [0.0, fall_s, *(fall_s + floor_s * inner), fall_s + floor_s + back_s]
    fall = through(times, [0.0, depth_bpm * 0.95, *depths, 0.0], 9.0)
    return np.asarray(fall * depth_bpm / fall.max())


def acceleration(height_bpm: float, seconds: float, rng: Generator) -> FloatArray:
    """A rise with one to four humps, bpm above baseline; onset to peak mostly under 30 s."""
    rise_s = float(np.clip(rng.lognormal(np.log(14.0), 0.45), 3.0, min(26.0, 0.65 * seconds)))
    back_s = float(min(rng.lognormal(np.log(6.0), 0.5), 0.5 * seconds))
    top_s = max(1.0, seconds - rise_s - back_s)
    humps = int(min(5, 1 + top_s // rng.uniform(8.0, 20.0)))
    # With more than one hump the first is seldom the highest.
    first = height_bpm * (1.0 if humps == 1 else rng.uniform(0.75, 1.0))
    times, heights = [0.0, rise_s], [0.0, first]
    for hump in range(1, humps):
        here = rise_s + top_s * hump / humps
        times += [here - 0.45 * top_s / humps, here]
        heights += [height_bpm * rng.uniform(0.45, 0.9), height_bpm * rng.uniform(0.7, 0.98)]
    times += [rise_s + top_s, rise_s + top_s + back_s]
    heights += [height_bpm * rng.uniform(0.6, 0.95), 0.0]
    rise = through(times, heights, float(rng.uniform(3.0, 6.0)))
    return np.asarray(rise * height_bpm / rise.max())
