"""Random streams named by purpose, and the slow walks drawn from them.

Each stream is drawn in the order of the labour's own time. So a labour advanced in pieces equals
one advanced at once, and an action changes only what follows from it.
"""

from __future__ import annotations

import zlib

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from ebbline.compiled import kernel

FloatArray = NDArray[np.float64]


class Streams:
    """Independent generators, one for each purpose, from one seed."""

    def __init__(self, seed: int) -> None:
        self._seed = seed
        self._made: dict[str, Generator] = {}

    def of(self, purpose: str) -> Generator:
        """The generator of a purpose; the same object each time."""
        if purpose not in self._made:
            key = [self._seed & 0xFFFFFFFF, self._seed >> 32, zlib.crc32(purpose.encode())]
            self._made[purpose] = np.random.Generator(np.random.PCG64(np.random.SeedSequence(key)))
        return self._made[purpose]


@kernel
def _walk(white: FloatArray, state: FloatArray, keep: FloatArray, kick: FloatArray) -> FloatArray:
    out = np.empty_like(white)
    for i in range(white.shape[0]):
        for k in range(white.shape[1]):
            state[k] = keep[k] * state[k] + kick[k] * white[i, k]
            out[i, k] = state[k]
    return out


@kernel
def approach(state: FloatArray, target: FloatArray, memory_s: FloatArray) -> FloatArray:
    """A level that follows its target with a memory, one step a second; state: shape (1,)."""
    out = np.empty_like(target)
    for i in range(len(target)):
        state[0] += (target[i] - state[0]) / memory_s[i]
        out[i] = state[0]
    return out


class Walk:
    """Slow random walks that come back, on the one-second grid, each of unit variance."""

    def __init__(self, rng: Generator, memories_s: tuple[float, ...]) -> None:
        self._rng = rng
        self._keep = np.exp(-1.0 / np.array(memories_s))
        self._kick = np.sqrt(1 - self._keep**2)
        self._state = rng.standard_normal(len(memories_s))

    def draw(self, seconds: int) -> FloatArray:
        """The next values, shape (seconds, walks)."""
        white = self._rng.standard_normal((seconds, len(self._keep)))
        return _walk(white, self._state, self._keep, self._kick)
