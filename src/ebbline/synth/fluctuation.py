"""The fluctuation of the baseline: fractal noise, bursts of 3 to 5 a minute, beat-to-beat noise.

The spectrum falls as about f^-1.3 up to 0.1 Hz and f^-2 beyond, measured on the open intrapartum
recordings of CTU-UHB (Chudacek et al. BMC Pregnancy Childbirth 2014;14:16).
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ebbline.synth.compiled import compiled
from ebbline.synth.shapes import STEP_HZ

FloatArray = NDArray[np.float64]

OU_SECONDS = np.array([50.0, 14.0, 4.0, 0.9])
OU_SHARES = np.array([0.24, 0.34, 0.20, 0.05])
"""Time constants (s) of the noises that sum to the fractal part, and their shares of variance."""

RESONANCE_HZ = 0.06
RESONANCE_MEMORY_S = 25.0
RESONANCE_SHARE = 0.17
"""The oscillation of 3 to 5 a minute: its centre, how long it keeps its phase, its share."""

MODULATION_S = 75.0
MODULATION_SPREAD = 0.30
"""Waxing and waning of the amplitude: time constant and standard deviation of its logarithm."""

UNIT_BANDWIDTH = 3.75
"""Mean peak-to-trough in a minute of the process at unit variance (measured; see the tests)."""

STREAMS = len(OU_SECONDS) + 3
STATES = len(OU_SECONDS) + 3


@compiled
def _fluctuate(
    white: FloatArray,
    state: FloatArray,
    keep: FloatArray,
    kick: FloatArray,
    turn: FloatArray,
    slow: FloatArray,
) -> FloatArray:
    count = len(keep)
    out = np.empty(len(white))
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
        out[i] = (total + re) * np.exp(state[count + 2])
    return out


class Fluctuation:
    """A stateful source of unit fluctuation: the same whether drawn in one piece or in many."""

    def __init__(self, rng: np.random.Generator) -> None:
        step = 1 / STEP_HZ
        self._rng = rng
        self._keep = np.exp(-step / OU_SECONDS)
        self._kick = np.sqrt(OU_SHARES * (1 - self._keep**2))
        fade = math.exp(-step / RESONANCE_MEMORY_S)
        angle = 2 * math.pi * RESONANCE_HZ * step
        self._turn = np.array(
            [
                fade * math.cos(angle),
                fade * math.sin(angle),
                math.sqrt(RESONANCE_SHARE * (1 - fade**2)),
            ]
        )
        slow = math.exp(-step / MODULATION_S)
        self._slow = np.array([slow, MODULATION_SPREAD * math.sqrt(1 - slow**2)])
        self._state = np.zeros(STATES)
        self._state[: len(OU_SECONDS)] = rng.standard_normal(len(OU_SECONDS)) * np.sqrt(OU_SHARES)

    def draw(self, samples: int) -> FloatArray:
        """The next samples, shape (samples,), whose mean one-minute bandwidth is about 1 bpm."""
        white = self._rng.standard_normal((samples, STREAMS))
        unit = _fluctuate(white, self._state, self._keep, self._kick, self._turn, self._slow)
        return np.asarray(unit / UNIT_BANDWIDTH)
