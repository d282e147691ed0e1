"""Agreement beyond chance between readers, from kept libraries, with bootstrap intervals."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

IntArray = NDArray[np.int64]
FloatArray = NDArray[np.float64]

_NOBODY: IntArray = np.zeros((0, 0), dtype=np.int64)

MISSING = -1
"""A reader who gave no answer for a unit."""


class Weighting(StrEnum):
    """How far apart two classes count in Cohen's kappa (Cohen J. Psychol Bull 1968;70:213-20)."""

    NONE = "unweighted"
    LINEAR = "linear"
    QUADRATIC = "quadratic"


class Scale(StrEnum):
    """Scale of the answers in Krippendorff's alpha."""

    NOMINAL = "nominal"
    ORDINAL = "ordinal"


@dataclass(frozen=True, slots=True)
class Agreement:
    """A coefficient with its percentile bootstrap interval over units; NaN where undefined.

    units: how many readings (cases) it rests on. readers: how many readers. note: why it is
    undefined, or what limits it; "" otherwise.
    """

    coefficient: str
    value: float
    low: float
    high: float
    units: int
    readers: int
    note: str


def _interval(
    estimate: Callable[[IntArray], float], units: int, *, resamples: int, seed: int
) -> tuple[float, float]:
    """Percentile bootstrap over units (Efron B. Ann Stat 1979;7:1-26), 95 %.

    Resamples in which the coefficient is undefined are left out.
    """
    chooser = np.random.default_rng(seed)
    values = [estimate(chooser.integers(0, units, units)) for _ in range(resamples)]
    defined = [value for value in values if math.isfinite(value)]
    if len(defined) < resamples / 2:
        return math.nan, math.nan
    low, high = np.percentile(defined, [2.5, 97.5])
    return float(low), float(high)


def _finished(
    coefficient: str,
    estimate: Callable[[IntArray], float],
    units: int,
    readers: int,
    resamples: int,
    seed: int,
) -> Agreement:
    if units < 2:
        return Agreement(
            coefficient,
            math.nan,
            math.nan,
            math.nan,
            units,
            readers,
            "fewer than two units that all of them read",
        )
    value = estimate(np.arange(units))
    if not math.isfinite(value):
        note = "all answers fall in one class, so agreement beyond chance is undefined"
        return Agreement(coefficient, math.nan, math.nan, math.nan, units, readers, note)
    low, high = _interval(estimate, units, resamples=resamples, seed=seed)
    note = "" if units >= 10 else "fewer than ten units: read the interval, not the value"
    return Agreement(coefficient, value, low, high, units, readers, note)


def cohen(
    first: Sequence[int],
    second: Sequence[int],
    categories: int,
    *,
    weighting: Weighting = Weighting.NONE,
    groups: Sequence[int] | None = None,
    resamples: int = 1000,
    seed: int = 0,
) -> Agreement:
    """Cohen's kappa of two readers over the units that both answered (statsmodels).

    first, second: class index of each unit, 0..categories-1, MISSING where not given. groups: of
    each unit, where units come in groups (many answers to one case): the interval then resamples
    groups whole, and `units` counts them.
    """
    from statsmodels.stats.inter_rater import cohens_kappa

    a, b = np.asarray(first, int), np.asarray(second, int)
    both = (a != MISSING) & (b != MISSING)
    a, b = a[both], b[both]
    weights = {Weighting.NONE: None, Weighting.LINEAR: "linear", Weighting.QUADRATIC: "quadratic"}

    def estimate(chosen: IntArray) -> float:
        table = np.bincount(a[chosen] * categories + b[chosen], minlength=categories**2)
        table = table.reshape(categories, categories)
        used = np.flatnonzero(table.sum(axis=0) + table.sum(axis=1))
        if len(used) < 2:
            return math.nan
        kappa = cohens_kappa(table, wt=weights[weighting], return_results=False)
        return float(kappa)

    name = f"Cohen's kappa, {weighting.value}"
    if groups is None:
        return _finished(name, estimate, len(a), 2, resamples, seed)
    of_group = np.asarray(groups, int)[both]
    members = [np.flatnonzero(of_group == one) for one in np.unique(of_group)]

    def by_group(chosen: IntArray) -> float:
        return estimate(np.concatenate([members[i] for i in chosen]))

    return _finished(name, by_group, len(members), 2, resamples, seed)


def fleiss(
    ratings: Sequence[Sequence[int]], categories: int, *, resamples: int = 1000, seed: int = 0
) -> Agreement:
    """Fleiss' kappa (statsmodels) over the units that every reader answered.

    ratings: shape (units, readers). Source: Fleiss JL. Psychol Bull 1971;76:378-82.
    """
    from statsmodels.stats.inter_rater import fleiss_kappa

    table = np.asarray(ratings, int).reshape(len(ratings), -1) if len(ratings) else _NOBODY
    table = table[(table != MISSING).all(axis=1)]
    readers = table.shape[1]
    counts = np.stack([(table == category).sum(axis=1) for category in range(categories)], axis=1)

    def estimate(chosen: IntArray) -> float:
        sample = counts[chosen]
        if (sample.sum(axis=0) > 0).sum() < 2:
            return math.nan
        return float(fleiss_kappa(sample, method="fleiss"))

    return _finished("Fleiss' kappa", estimate, len(table), readers, resamples, seed)


def _alpha(counts: IntArray, scale: Scale) -> float:
    """One less observed over expected disagreement. counts: answers, shape (units, categories)."""
    answers = counts.sum(axis=1, keepdims=True)
    pairs = (counts[:, :, None] * counts[:, None, :]).astype(np.float64)
    at = np.arange(counts.shape[1])
    pairs[:, at, at] -= counts
    coincidences = (pairs / (answers - 1)[:, :, None]).sum(axis=0)
    totals = coincidences.sum(axis=0)
    apart = _apart(totals, scale)
    expected = np.outer(totals, totals) - np.diag(totals)
    return float(1 - (totals.sum() - 1) * (coincidences * apart).sum() / (expected * apart).sum())


def _apart(totals: FloatArray, scale: Scale) -> FloatArray:
    """Squared difference between each two categories, shape (categories, categories)."""
    count = len(totals)
    if scale is Scale.NOMINAL:
        return 1.0 - np.eye(count)
    reached = np.cumsum(totals) - totals / 2
    return (reached[:, None] - reached[None, :]) ** 2


def krippendorff_alpha(
    ratings: Sequence[Sequence[int]],
    categories: int,
    *,
    scale: Scale = Scale.NOMINAL,
    resamples: int = 1000,
    seed: int = 0,
) -> Agreement:
    """Krippendorff's alpha from the coincidence matrix; readers may have left units out.

    ratings: shape (units, readers), MISSING where not given; units with fewer than two answers
    carry nothing and are left out. Source: Hayes AF, Krippendorff K. Commun Methods Meas
    2007;1:77-89; the worked steps: Krippendorff K. Computing Krippendorff's alpha-reliability,
    2011.
    """
    table = np.asarray(ratings, int).reshape(len(ratings), -1) if len(ratings) else _NOBODY
    counts = np.stack([(table == category).sum(axis=1) for category in range(categories)], axis=1)
    counts = counts[counts.sum(axis=1) >= 2]

    def estimate(chosen: IntArray) -> float:
        sample = counts[chosen]
        if (sample.sum(axis=0) > 0).sum() < 2:
            return math.nan
        return _alpha(sample, scale)

    readers = table.shape[1]
    return _finished(
        f"Krippendorff's alpha, {scale.value}", estimate, len(counts), readers, resamples, seed
    )
