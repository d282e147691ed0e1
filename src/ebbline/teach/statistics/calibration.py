"""Whether learners are as sure as they are right.

Brier GW. Mon Weather Rev 1950;78:1-3 (the mean squared distance of confidence from outcome).
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from ebbline.teach.statistics.resampling import ratio_interval

EDGES = (0.0, 0.55, 0.7, 0.85, 0.95, 1.01)
"""Bins of confidence (ours)."""

RIGHT_FROM = 0.999
"""An answer counts as right where it earned all its points."""


@dataclass(frozen=True, slots=True)
class Bin:
    """Answers given with confidence of low up to high: how many, how sure, how often right."""

    low: float
    high: float
    answers: int
    confidence: float
    right: float


@dataclass(frozen=True, slots=True)
class Calibration:
    """over: mean confidence less the share that was right, with its 95 % interval over learners.

    brier: 0 best, 0.25 for saying 50 % of everything. NaN where nobody said how sure.
    """

    answers: int
    learners: int
    confidence: float
    right: float
    over: float
    low: float
    high: float
    brier: float
    bins: tuple[Bin, ...]


def calibration(
    answers: Mapping[str, Iterable[tuple[float, float]]], *, seed: int = 0
) -> Calibration:
    """Of learner -> (confidence 0..1, share of points 0..1) of each answer told with one."""
    own = {who: [(sure, float(got >= RIGHT_FROM)) for sure, got in a] for who, a in answers.items()}
    own = {who: pairs for who, pairs in own.items() if pairs}
    pairs = [pair for these in own.values() for pair in these]
    if not pairs:
        nan = math.nan
        return Calibration(0, 0, nan, nan, nan, nan, nan, nan, ())
    sure, right = np.array(pairs).T
    low, high = _interval(list(own.values()), seed)
    return Calibration(
        answers=len(pairs),
        learners=len(own),
        confidence=float(sure.mean()),
        right=float(right.mean()),
        over=float(sure.mean() - right.mean()),
        low=low,
        high=high,
        brier=float(((sure - right) ** 2).mean()),
        bins=tuple(
            Bin(
                a, min(b, 1.0), int(here.sum()), float(sure[here].mean()), float(right[here].mean())
            )
            for a, b in pairwise(EDGES)
            for here in ((sure >= a) & (sure < b),)
            if here.any()
        ),
    )


def _interval(groups: Sequence[Sequence[tuple[float, float]]], seed: int) -> tuple[float, float]:
    if len(groups) < 2:
        return math.nan, math.nan
    return ratio_interval(
        [sum(s - r for s, r in g) for g in groups], [len(g) for g in groups], seed
    )
