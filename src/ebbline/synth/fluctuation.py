"""The fluctuation of the baseline: fractal noise, waxing and waning, and faster oscillations.

The spectrum falls as about f^-1.3 up to 0.1 Hz and f^-2 beyond; the shares below were fitted to
quiet four-minute stretches of the open intrapartum recordings of CTU-UHB (Chudacek et al. BMC
Pregnancy Childbirth 2014;14:16; see docs/generator.md for the comparison).
"""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from ebbline.compiled import kernel
from ebbline.synth.shapes import STEP_HZ

FloatArray = NDArray[np.float64]

OU_SECONDS = np.array([70.0, 12.0, 3.0, 0.7])
OU_SHARES = np.array([0.07, 0.05, 0.06, 0.009])
"""Time constants (s) of the noises that sum to the fractal part, and their shares of variance."""

OSCILLATION_HZ = (0.055, 0.13)
OSCILLATION_MEMORY_S = 7.0
OSCILLATION_SHARE = 0.16
"""Oscillation of 3 to 8 a minute: its centre (drawn for each labour), how long it keeps its phase,
its share of the variance. Excess variability (saltatory) is made of it alone."""

QUICK_SWINGS_HZ, QUICK_SWINGS_MEMORY_S, QUICK_SWINGS_SHARE = (0.1, 0.19), 3.0, 0.14
"""Swings of 6 to 10 s that soon lose their phase, as breathing movements give (centre drawn for
each labour)."""

SLOW_SWINGS_HZ, SLOW_SWINGS_MEMORY_S, SLOW_SWINGS_SHARE = (0.0065, 0.0115), 80.0, 0.26
"""Slow waves of one and a half to two and a half minutes, which leave the bandwidth alone: what
the recordings' rate was two minutes ago it tends to be again (centre drawn for each labour)."""

MODULATION_S = 110.0
MODULATION_SPREAD = 0.42
"""Waxing and waning of the amplitude: time constant and standard deviation of its logarithm."""

UNIT_BANDWIDTH = 4.24
OSCILLATION_BANDWIDTH = 3.86
"""Mean peak-to-trough about its own slope (see `output`) of the fractal part and of the
oscillation, both at unit variance (measured; the tests hold them)."""

DIPS_PER_S, DIP_FALL_S, DIP_BACK_S, DIP_SHARE = 0.24, 0.38, 5.0, 1.9
"""Brief vagal dips: how often, how quickly they come and go, their share of the variance. They
fall faster than they rise, as the recordings do."""

DIP_SPREAD = 0.65

SKEW = 0.75
"""How far the oscillations fall faster than they rise (by the share of rising steps)."""

STREAMS = len(OU_SECONDS) + 8


@kernel
def _skewed(re: float, im: float) -> float:
    """An oscillation that falls faster than it rises."""
    return float(re + SKEW * re * im / (np.sqrt(re * re + im * im) + 1e-9))


@kernel
def _fluctuate(
    white: FloatArray,
    state: FloatArray,
    keep: FloatArray,
    kick: FloatArray,
    turn: FloatArray,
    quick: FloatArray,
    wave: FloatArray,
    slow: FloatArray,
    share: float,
    dips: FloatArray,
    out: FloatArray,
) -> None:
    count = len(keep)
    for i in range(len(white)):
        total = 0.0
        for k in range(count):
            state[k] = keep[k] * state[k] + kick[k] * white[i, k]
            total += state[k]
        re = turn[0] * state[count] - turn[1] * state[count + 1] + turn[2] * white[i, count]
        im = turn[1] * state[count] + turn[0] * state[count + 1] + turn[2] * white[i, count + 1]
        state[count] = re
        state[count + 1] = im
        at = count + 5
        re2 = quick[0] * state[at] - quick[1] * state[at + 1] + quick[2] * white[i, count + 4]
        im2 = quick[1] * state[at] + quick[0] * state[at + 1] + quick[2] * white[i, count + 5]
        state[at] = re2
        state[at + 1] = im2
        total += quick[3] * _skewed(re2, im2)
        at = count + 7
        re3 = wave[0] * state[at] - wave[1] * state[at + 1] + wave[2] * white[i, count + 6]
        im3 = wave[1] * state[at] + wave[0] * state[at + 1] + wave[2] * white[i, count + 7]
        state[at] = re3
        state[at + 1] = im3
        total += wave[3] * re3
        state[count + 2] = slow[0] * state[count + 2] + slow[1] * white[i, count + 2]
        # Shots of exponential size, each a quick fall and a slower return; their mean taken off.
        if abs(white[i, count + 3]) > dips[0]:
            size = dips[1] * (abs(white[i, count + 3]) - dips[0])
            state[count + 3] += size * np.exp(DIP_SPREAD * white[i, 0] - 0.5 * DIP_SPREAD**2)
        state[count + 3] -= dips[2] * state[count + 3]
        state[count + 4] += dips[3] * (state[count + 3] - state[count + 4])
        total -= state[count + 4] - dips[4]
        waxing = np.exp(state[count + 2])
        out[i, 0] = (total + share * _skewed(re, im)) * waxing
        out[i, 1] = re * waxing


def _dips() -> FloatArray:
    """Threshold, size, two speeds and mean of the dips, for shots that a normal number sets off."""
    step = 1 / STEP_HZ
    threshold = -NormalDist().inv_cdf(0.5 * DIPS_PER_S * step)
    back, fall = step / DIP_BACK_S, step / DIP_FALL_S
    # Campbell's theorem: mean and variance of shots of size s at a rate are rate * area and
    # rate * area of the square; excesses over a high threshold are nearly exponential.
    mean_size = 1 / (threshold + 1 / threshold)
    shape = np.zeros(240)
    level = felt = 0.0
    for i in range(len(shape)):
        level = level * (1 - back) if i else 1.0 - back
        felt += fall * (level - felt)
        shape[i] = felt
    variance = DIPS_PER_S * step * 2 * mean_size**2 * float((shape**2).sum())
    variance *= math.exp(DIP_SPREAD**2)
    size = math.sqrt(DIP_SHARE / variance)
    mean = DIPS_PER_S * step * size * mean_size * float(shape.sum())
    return np.array([threshold, size, back, fall, mean])


def _turn(centre_hz: float, memory_s: float) -> FloatArray:
    """What an oscillation keeps from sample to sample, turned, and what comes new."""
    fade = math.exp(-1 / STEP_HZ / memory_s)
    angle = 2 * math.pi * centre_hz / STEP_HZ
    return np.array([fade * math.cos(angle), fade * math.sin(angle), math.sqrt(1 - fade**2)])


class Fluctuation:
    """A stateful source of unit fluctuation: the same whether drawn in one piece or in many."""

    def __init__(self, rng: np.random.Generator) -> None:
        step = 1 / STEP_HZ
        low, high = OSCILLATION_HZ
        centre_hz = low * (high / low) ** rng.random()
        self._rng = rng
        self._keep = np.exp(-step / OU_SECONDS)
        self._kick = np.sqrt(OU_SHARES * (1 - self._keep**2))
        self._turn = _turn(centre_hz, OSCILLATION_MEMORY_S)
        low, high = QUICK_SWINGS_HZ
        centre_hz = low * (high / low) ** rng.random()
        self._quick = np.append(
            _turn(centre_hz, QUICK_SWINGS_MEMORY_S), math.sqrt(QUICK_SWINGS_SHARE)
        )
        low, high = SLOW_SWINGS_HZ
        centre_hz = low * (high / low) ** rng.random()
        self._wave = np.append(_turn(centre_hz, SLOW_SWINGS_MEMORY_S), math.sqrt(SLOW_SWINGS_SHARE))
        slow = math.exp(-step / MODULATION_S)
        self._slow = np.array([slow, MODULATION_SPREAD * math.sqrt(1 - slow**2)])
        self._dips = _dips()
        self._state = np.zeros(STREAMS + 1)
        self._state[-2:] = rng.standard_normal(2)
        self._state[: len(OU_SECONDS)] = rng.standard_normal(len(OU_SECONDS)) * np.sqrt(OU_SHARES)

    def draw(self, samples: int) -> tuple[FloatArray, FloatArray]:
        """The next samples of the fractal fluctuation and of the oscillation alone.

        Each has a mean bandwidth, about its own slope, of about 1 bpm.
        """
        white = self._rng.standard_normal((samples, STREAMS))
        out = np.empty((samples, 2))
        share = math.sqrt(OSCILLATION_SHARE)
        _fluctuate(
            white,
            self._state,
            self._keep,
            self._kick,
            self._turn,
            self._quick,
            self._wave,
            self._slow,
            share,
            self._dips,
            out,
        )
        return out[:, 0] / UNIT_BANDWIDTH, out[:, 1] / OSCILLATION_BANDWIDTH
