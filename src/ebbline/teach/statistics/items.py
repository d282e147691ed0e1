"""How hard each question of a class was, and how well it tells strong learners from weak."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

FEW_LEARNERS = 10
"""Below this number of learners the statistics are shown with a warning. Ours, no source."""


@dataclass(frozen=True, slots=True)
class ItemStatistic:
    """One question over a class.

    learners: who answered it. difficulty: mean share of its points, 0 (nobody) to 1 (everybody).
    discrimination: correlation of its points with the rest of the score (corrected item-total
    correlation), -1..1. upper_lower: difficulty in the upper 27 % by the rest of the score minus
    that in the lower 27 %. NaN where it cannot be computed; note says why.
    """

    item: str
    learners: int
    difficulty: float
    discrimination: float
    upper_lower: float
    note: str


def item_statistics(shares: Mapping[str, Mapping[str, float]]) -> tuple[ItemStatistic, ...]:
    """Difficulty and discrimination of each item.

    shares: learner -> item -> share of the item's points, 0..1; items not asked are absent.
    Sources: Kelley TL. J Educ Psychol 1939;30:17-24 (the 27 % groups); Henrysson S.
    Psychometrika 1963;28:211-8 (item-total correlation corrected for the item itself).
    """
    items = sorted({item for answers in shares.values() for item in answers})
    return tuple(_statistic(item, shares) for item in items)


def _statistic(item: str, shares: Mapping[str, Mapping[str, float]]) -> ItemStatistic:
    own: list[float] = []
    rest: list[float] = []
    for answers in shares.values():
        if item not in answers:
            continue
        others = [share for other, share in answers.items() if other != item]
        own.append(answers[item])
        rest.append(float(np.mean(others)) if others else math.nan)
    points, remainder = np.array(own), np.array(rest)
    usable = np.isfinite(remainder)
    discrimination = _correlation(points[usable], remainder[usable])
    note = ""
    if len(points) < FEW_LEARNERS:
        who = "one learner" if len(points) == 1 else f"{len(points)} learners"
        note = f"only {who}: too few to judge the question"
    elif not math.isfinite(discrimination):
        note = "everybody scored alike, so nothing is told apart"
    elif discrimination < 0:
        note = "weaker learners did better: look at the question and its truth"
    return ItemStatistic(
        item=item,
        learners=len(points),
        difficulty=float(points.mean()),
        discrimination=discrimination,
        upper_lower=_upper_lower(points[usable], remainder[usable]),
        note=note,
    )


def _correlation(one: np.ndarray, other: np.ndarray) -> float:
    if len(one) < 3 or np.ptp(one) == 0 or np.ptp(other) == 0:
        return math.nan
    return float(np.corrcoef(one, other)[0, 1])


def _upper_lower(points: np.ndarray, remainder: np.ndarray) -> float:
    group = round(0.27 * len(points))
    if group < 1:
        return math.nan
    order = np.argsort(remainder, kind="stable")
    return float(points[order[-group:]].mean() - points[order[:group]].mean())
