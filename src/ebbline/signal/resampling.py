"""One grid for all computing: 4 samples a second, gaps as NaN."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

RATE_HZ = 4.0
"""The rate at which features are computed; common practice for stored traces, no source."""


def to_grid(samples: FloatArray, rate_hz: float, count: int) -> FloatArray:
    """Samples on the 4 Hz grid, shape (count,), NaN where missing or past the end.

    A faster signal is averaged over each grid step (over its valid samples, if at least half are
    valid); a slower one is joined by straight lines between neighbouring valid samples only.
    """
    if rate_hz == RATE_HZ and len(samples) >= count:
        return np.ascontiguousarray(samples[:count], dtype=np.float64)
    grid = np.full(count, np.nan)
    if len(samples) == 0:
        return grid
    if rate_hz == RATE_HZ:
        grid[: len(samples)] = samples
    elif rate_hz > RATE_HZ:
        step = np.minimum((np.arange(len(samples)) * (RATE_HZ / rate_hz)).astype(np.int64), count)
        valid = np.isfinite(samples)
        total = np.bincount(step[valid], samples[valid], count + 1)[:count]
        seen = np.bincount(step[valid], minlength=count + 1)[:count]
        offered = np.bincount(step, minlength=count + 1)[:count]
        enough = (seen > 0) & (2 * seen >= offered)
        grid[enough] = total[enough] / seen[enough]
    else:
        position = np.arange(count) * (rate_hz / RATE_HZ)
        left = np.floor(position).astype(np.int64)
        share = position - left
        inside = left < len(samples)
        left = np.minimum(left, len(samples) - 1)
        right = np.minimum(left + 1, len(samples) - 1)
        joined = samples[left] * (1 - share) + samples[right] * share
        on_sample = share < 1e-9
        joined[on_sample] = samples[left[on_sample]]
        grid[inside] = joined[inside]
    return grid
