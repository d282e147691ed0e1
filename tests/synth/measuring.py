"""Measuring a curve the plain way, without any code of the generator or the detector."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]
RATE_HZ = 4


@dataclass(frozen=True)
class Dip:
    """A stretch below a level, in seconds and bpm."""

    onset_s: float
    nadir_s: float
    end_s: float
    depth_bpm: float
    floor_s: float

    @property
    def to_nadir_s(self) -> float:
        return self.nadir_s - self.onset_s

    @property
    def to_floor_s(self) -> float:
        return self.floor_s - self.onset_s


def dips(rate: FloatArray, baseline: FloatArray, least_bpm: float = 15.0) -> list[Dip]:
    """Falls of at least least_bpm; they begin and end 1.5 bpm below the baseline.

    rate: 4 a second; baseline: one a second. floor_s: first time at three quarters of the depth.
    """
    level = np.interp(np.arange(len(rate)) / RATE_HZ, np.arange(len(baseline)), baseline)
    below = level - rate
    found = []
    start = None
    for i, depth in enumerate(below):
        if depth > 1.5 and start is None:
            start = i
        elif depth <= 1.5 and start is not None:
            part = below[start:i]
            deepest = int(np.argmax(part))
            if part[deepest] >= least_bpm:
                floor = int(np.argmax(part >= 0.75 * part[deepest]))
                found.append(
                    Dip(
                        start / RATE_HZ,
                        (start + deepest) / RATE_HZ,
                        i / RATE_HZ,
                        float(part[deepest]),
                        (start + floor) / RATE_HZ,
                    )
                )
            start = None
    return found


def peaks(pressure: FloatArray, tone: float, least: float = 12.0) -> list[float]:
    """Times (s) of the highest point of each hill of pressure."""
    above = pressure - tone > 0.3 * least
    edges = np.flatnonzero(np.diff(np.concatenate(([0], above.astype(int), [0]))))
    tops = []
    for a, b in zip(edges[::2], edges[1::2], strict=True):
        part = pressure[a:b]
        if part.max() - tone >= least:
            tops.append((a + int(np.argmax(part))) / RATE_HZ)
    return tops


def nearest(times: list[float], at: float) -> float:
    """The time closest to `at`."""
    return min(times, key=lambda t: abs(t - at))


def short_term_variation_ms(rate: FloatArray) -> float:
    """Pardey, Moulden, Redman. Am J Obstet Gynecol 2002;186:1095-103: 3.75 s epochs."""
    epochs = rate[: len(rate) // 15 * 15].reshape(-1, 15)
    intervals = (60_000.0 / epochs).mean(axis=1)
    return float(np.abs(np.diff(intervals)).mean())
