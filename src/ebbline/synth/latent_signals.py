"""The noise-free tracks of a labour, written ahead of the clock as events are decided."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ebbline.synth.shapes import STEP_HZ

FloatArray = NDArray[np.float64]

AHEAD_S = 1500
"""No event reaches further than this beyond the moment it is decided."""

_FAST = (
    "bell",
    "push",
    "cord",
    "occlusion",
    "rises",
    "head",
    "sustained",
    "activity",
    "movement",
    "ragged",
)
_SLOW = ("vulnerability", "sluggishness", "oxygen", "reserve", "reflex")


class Tracks:
    """Arrays at 4 Hz (bell, push: mmHg; falls, rises, ragged: bpm; occlusion, movement: 0..1), at
    1 Hz (vulnerability, oxygen, reserve: 0..1; sluggishness: a logarithm; reflex: bpm)."""

    bell: FloatArray
    push: FloatArray
    cord: FloatArray
    occlusion: FloatArray
    rises: FloatArray
    head: FloatArray
    sustained: FloatArray
    activity: FloatArray
    movement: FloatArray
    ragged: FloatArray
    vulnerability: FloatArray
    sluggishness: FloatArray
    oxygen: FloatArray
    reserve: FloatArray
    reflex: FloatArray

    def __init__(self) -> None:
        self._seconds = 0
        for name in _FAST + _SLOW:
            setattr(self, name, np.zeros(0))

    def reach(self, second: int) -> None:
        """Make room up to second and AHEAD_S beyond."""
        wanted = second + AHEAD_S
        if wanted <= self._seconds:
            return
        self._seconds = max(wanted, 2 * self._seconds)
        for names, hz in ((_FAST, STEP_HZ), (_SLOW, 1)):
            for name in names:
                old = getattr(self, name)
                grown = np.zeros(self._seconds * hz)
                grown[: len(old)] = old
                setattr(self, name, grown)

    def add(self, name: str, at_s: float, shape: FloatArray) -> None:
        """Add a waveform that begins at at_s to a track of 4 Hz."""
        start = round(at_s * STEP_HZ)
        self.reach(int(at_s) + 1 + len(shape) // STEP_HZ)
        getattr(self, name)[start : start + len(shape)] += shape
