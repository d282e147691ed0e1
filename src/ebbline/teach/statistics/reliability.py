"""How far a class's scores would stand if the cases were drawn again, and a pass mark by a method.

Reliability from the two-way analysis of variance of learners by cases (Hoyt C. Psychometrika
1941;6:153-60): Cronbach's alpha (Psychometrika 1951;16:297-334) is the generalizability of a rank
among learners, phi that of a mark against a pass mark (Brennan RL. Generalizability Theory, 2001);
the same as ICC(3,k) and ICC(2,k) of Shrout PE, Fleiss JL. Psychol Bull 1979;86:420-8.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

LEAST_LEARNERS, LEAST_ITEMS = 3, 2
MOSTLY = 0.8
"""Items are taken that so many learners answered, and of them the learners who answered all."""


@dataclass(frozen=True, slots=True)
class Reliability:
    """alpha, with its 95 % interval, and phi; NaN where they cannot be computed (note says why).

    sem, sem_absolute: standard error of a learner's mean share, 0..1, for ranking and for a pass
    mark. learners, items: what it rests on.
    """

    alpha: float
    low: float
    high: float
    phi: float
    sem: float
    sem_absolute: float
    learners: int
    items: int
    note: str = ""


def reliability(shares: Mapping[str, Mapping[str, float]]) -> Reliability:
    """Of learner -> case -> share of its points, 0..1."""
    table = _complete(shares)
    return reliability_of(table)


def reliability_of(table: FloatArray) -> Reliability:
    """Of a whole table of scores, shape (learners, items).

    The interval is McGraw KO, Wong SP. Psychol Methods 1996;1:30-46, from the F distribution.
    """
    learners, items = table.shape if table.size else (0, 0)
    nothing = math.nan
    if learners < LEAST_LEARNERS or items < LEAST_ITEMS:
        note = f"needs {LEAST_LEARNERS} learners who all played the same {LEAST_ITEMS} cases"
        return Reliability(
            nothing, nothing, nothing, nothing, nothing, nothing, learners, items, note
        )
    from scipy.stats import f as f_distribution

    mean = table.mean()
    of_learner, of_item = table.mean(axis=1), table.mean(axis=0)
    rest = table - of_learner[:, None] - of_item[None, :] + mean
    free = (learners - 1) * (items - 1)
    ms_learner = items * ((of_learner - mean) ** 2).sum() / (learners - 1)
    ms_item = learners * ((of_item - mean) ** 2).sum() / (items - 1)
    ms_rest = (rest**2).sum() / free
    sem = math.sqrt(ms_rest / items)
    variance_item = max(0.0, (ms_item - ms_rest) / learners)
    sem_absolute = math.sqrt((ms_rest + variance_item) / items)
    if ms_learner <= 0 or ms_rest <= 0:
        note = "everybody scored alike, so nobody is told apart"
        return Reliability(
            nothing, nothing, nothing, nothing, sem, sem_absolute, learners, items, note
        )
    ratio = ms_learner / ms_rest
    low = 1 - f_distribution.ppf(0.975, learners - 1, free) / ratio
    high = 1 - 1 / (ratio * f_distribution.ppf(0.975, free, learners - 1))
    phi = (ms_learner - ms_rest) / (ms_learner + (ms_item - ms_rest) / learners)
    return Reliability(
        float(1 - 1 / ratio),
        float(low),
        float(high),
        float(phi),
        sem,
        sem_absolute,
        learners,
        items,
    )


def _complete(shares: Mapping[str, Mapping[str, float]]) -> FloatArray:
    every = sorted({item for own in shares.values() for item in own})
    kept = [
        item
        for item in every
        if sum(item in own for own in shares.values()) >= MOSTLY * len(shares)
    ]
    rows = [[own[i] for i in kept] for own in shares.values() if all(i in own for i in kept)]
    return np.array(rows, dtype=np.float64) if kept and rows else np.zeros((0, 0))


@dataclass(frozen=True, slots=True)
class PassMark:
    """A pass mark, 0..1, with its standard error over judges (NaN with one), and how it was set."""

    mark: float
    error: float
    method: str
    judges: int
    items: int


def angoff(judgements: Sequence[Sequence[float]]) -> PassMark:
    """Each judge says for each case what share a learner just good enough would get.

    judgements: shape (judges, items), 0..1. The mark is the mean of the judges' means, its error
    their standard deviation over the root of their number. Source: Angoff WH. In: Thorndike RL,
    ed. Educational Measurement, 1971:508-600 (from memory). Raises ValueError for values outside
    0 to 1 or a ragged table.
    """
    table = np.array([list(row) for row in judgements], dtype=np.float64)
    if table.ndim != 2 or not table.size or not ((table >= 0) & (table <= 1)).all():
        raise ValueError("every judge gives every case a share of 0 to 1")
    own = table.mean(axis=1)
    error = float(own.std(ddof=1) / math.sqrt(len(own))) if len(own) > 1 else math.nan
    return PassMark(float(own.mean()), error, "Angoff's method", *table.shape)


def borderline_regression(
    shares: Sequence[float], ratings: Sequence[float], borderline: float
) -> PassMark:
    """The score that goes with a rating of "borderline", by regression of score on rating.

    shares: learners' scores, 0..1; ratings: the examiner's global rating of each. Source: Kramer
    A, et al. Med Educ 2003;37:132-9 (from memory). The error is that of the regression's mean
    there. Raises ValueError with fewer than three learners, one rating for all, or scores that do
    not rise with the ratings.
    """
    y, x = np.asarray(shares, float), np.asarray(ratings, float)
    if len(y) != len(x) or len(y) < LEAST_LEARNERS or np.ptp(x) == 0:
        raise ValueError("needs three learners or more, rated differently")
    slope, start = np.polyfit(x, y, 1)
    if slope <= 0:
        raise ValueError("the scores do not rise with the ratings")
    rest = y - (start + slope * x)
    spread = math.sqrt(float((rest**2).sum()) / (len(y) - 2)) if len(y) > 2 else math.nan
    apart = float(((x - x.mean()) ** 2).sum())
    error = spread * math.sqrt(1 / len(y) + (borderline - x.mean()) ** 2 / apart)
    mark = min(1.0, max(0.0, float(start + slope * borderline)))
    return PassMark(mark, error, "borderline regression", 1, len(y))
