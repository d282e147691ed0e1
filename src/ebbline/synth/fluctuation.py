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
OU_SHARES = np.array([0.18, 0.08, 0.05, 0.007])
"""Time constants (s) of the noises that sum to the fractal part, and their shares of variance."""

OSCILLATION_HZ = (0.045, 0.13)
OSCILLATION_MEMORY_S = 7.0
OSCILLATION_SHARE = 0.084
"""Oscillation of 3 to 8 a minute: its centre (drawn for each labour), how long it keeps its phase,
its share of the variance. Excess variability (saltatory) is made of it alone."""

MODULATION_S = 75.0
MODULATION_SPREAD = 0.42
"""Waxing and waning of the amplitude: time constant and standard deviation of its logarithm."""

UNIT_BANDWIDTH = 2.76
OSCILLATION_BANDWIDTH = 3.79
"""Mean peak-to-trough about its own slope (see `output`) of the fractal part and of the
oscillation, both at unit variance (measured; the tests hold them)."""

DIPS_PER_S, DIP_FALL_S, DIP_BACK_S, DIP_SHARE = 0.22, 0.32, 6.0, 1.1
"""Brief vagal dips: how often, how quickly they come and go, their share of the variance. They
fall faster than they rise, as the recordings do."""

DIP_SPREAD = 0.7

STREAMS = len(OU_SECONDS) + 4


@kernel
def _fluctuate(
    white: FloatArray,
    state: FloatArray,
    keep: FloatArray,
    kick: FloatArray,
    turn: FloatArray,
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
        state[count + 2] = slow[0] * state[count + 2] + slow[1] * white[i, count + 2]
        # Shots of exponential size, each a quick fall and a slower return; their mean taken off.
        if abs(white[i, count + 3]) > dips[0]:
            size = dips[1] * (abs(white[i, count + 3]) - dips[0])
            state[count + 3] += size * np.exp(DIP_SPREAD * white[i, 0] - 0.5 * DIP_SPREAD**2)
        state[count + 3] -= dips[2] * state[count + 3]
        state[count + 4] += dips[3] * (state[count + 3] - state[count + 4])
        total -= state[count + 4] - dips[4]
        waxing = np.exp(state[count + 2])
        out[i, 0] = (total + share * re) * waxing
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


class Fluctuation:
    """A stateful source of unit fluctuation: the same whether drawn in one piece or in many."""

    def __init__(self, rng: np.random.Generator) -> None:
        step = 1 / STEP_HZ
        low, high = OSCILLATION_HZ
        centre_hz = low * (high / low) ** rng.random()
        self._rng = rng
        self._keep = np.exp(-step / OU_SECONDS)
        self._kick = np.sqrt(OU_SHARES * (1 - self._keep**2))
        fade = math.exp(-step / OSCILLATION_MEMORY_S)
        angle = 2 * math.pi * centre_hz * step
        self._turn = np.array(
            [fade * math.cos(angle), fade * math.sin(angle), math.sqrt(1 - fade**2)]
        )
        slow = math.exp(-step / MODULATION_S)
        self._slow = np.array([slow, MODULATION_SPREAD * math.sqrt(1 - slow**2)])
        self._dips = _dips()
        self._state = np.zeros(STREAMS + 1)
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
            self._slow,
            share,
            self._dips,
            out,
        )
        return out[:, 0] / UNIT_BANDWIDTH, out[:, 1] / OSCILLATION_BANDWIDTH
