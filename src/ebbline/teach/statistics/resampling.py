"""Percentile bootstrap of a ratio of sums over groups (Efron B. Ann Stat 1979;7:1-26)."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import ArrayLike

RESAMPLES = 1000
LEAST_BELOW = 1e-6
"""A resample whose lower sum is no more than this has no ratio and is left out."""


def ratio_interval(
    above: ArrayLike, below: ArrayLike, seed: int, resamples: int = RESAMPLES
) -> tuple[float, float]:
    """95 % interval of sum(above) / sum(below), groups drawn whole; NaN where half have none.

    above, below: a number of each group, shape (groups,).
    """
    sums = np.stack([np.asarray(above, np.float64), np.asarray(below, np.float64)], axis=1)
    chance = np.random.default_rng(seed)
    drawn = sums[chance.integers(0, len(sums), (resamples, len(sums)))].sum(axis=1)
    drawn = drawn[drawn[:, 1] > LEAST_BELOW]
    if len(drawn) < resamples / 2:
        return math.nan, math.nan
    low, high = np.percentile(drawn[:, 0] / drawn[:, 1], [2.5, 97.5])
    return float(low), float(high)
