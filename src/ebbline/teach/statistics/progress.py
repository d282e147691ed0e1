"""How learners' scores move from attempt to attempt."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

import numpy as np


@dataclass(frozen=True, slots=True)
class ScoredAttempt:
    """One finished attempt as progress sees it. share: score over what was possible, 0..1."""

    learner: str
    case: str
    finished: datetime
    share: float
    unsafe: int


@dataclass(frozen=True, slots=True)
class AttemptLevel:
    """All learners' nth attempts: median and quartiles of the share, and unsafe choices each."""

    number: int
    learners: int
    lower: float
    median: float
    upper: float
    unsafe_each: float


def in_order(attempts: Iterable[ScoredAttempt]) -> dict[str, tuple[ScoredAttempt, ...]]:
    """Each learner's attempts by time."""
    by_learner: dict[str, list[ScoredAttempt]] = defaultdict(list)
    for attempt in sorted(attempts, key=lambda a: a.finished):
        by_learner[attempt.learner].append(attempt)
    return {learner: tuple(own) for learner, own in by_learner.items()}


def progress(attempts: Iterable[ScoredAttempt]) -> tuple[AttemptLevel, ...]:
    """Median and quartiles of the first, second, ... attempts of a class."""
    by_number: dict[int, list[ScoredAttempt]] = defaultdict(list)
    for own in in_order(attempts).values():
        for number, attempt in enumerate(own, start=1):
            by_number[number].append(attempt)
    levels = []
    for number, these in sorted(by_number.items()):
        lower, median, upper = np.percentile([a.share for a in these], [25, 50, 75])
        levels.append(
            AttemptLevel(
                number,
                len(these),
                float(lower),
                float(median),
                float(upper),
                float(np.mean([a.unsafe for a in these])),
            )
        )
    return tuple(levels)
