"""What is kept of a learner's attempt: as little as the teaching needs."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from ebbline.teach.scoring import Score
from ebbline.teach.statistics.progress import ScoredAttempt


@dataclass(frozen=True, slots=True)
class FinishedAttempt:
    """One finished attempt. learner: the account's name; label: the class by the standard."""

    id: str
    learner: str
    case: str
    seed: int
    started: datetime
    finished: datetime
    assignment: str
    score: Score
    standard: str
    said_class: str
    true_class: str


def by_learner_and_item(
    attempts: Iterable[FinishedAttempt], *, first_only: bool = True
) -> dict[str, dict[str, float]]:
    """learner -> "case: item" -> share of its points, from each learner's first (or latest) try.

    The first try is what tells of the question; later ones also tell of the debrief.
    """
    shares: dict[str, dict[str, float]] = {}
    for attempt in sorted(attempts, key=lambda a: a.finished):
        own = shares.setdefault(attempt.learner, {})
        for line in attempt.score.lines:
            key = f"{attempt.case}: {line.item}"
            if not (first_only and key in own):
                own[key] = line.share
    return shares


def by_learner_and_case(attempts: Iterable[FinishedAttempt]) -> dict[str, dict[str, float]]:
    """learner -> case -> share of its points, from each learner's first try."""
    shares: dict[str, dict[str, float]] = {}
    for attempt in sorted(attempts, key=lambda a: a.finished):
        if attempt.score.lines:
            shares.setdefault(attempt.learner, {}).setdefault(attempt.case, attempt.score.share)
    return shares


def as_progress(attempts: Iterable[FinishedAttempt]) -> tuple[ScoredAttempt, ...]:
    """The attempts as the progress statistics take them."""
    return tuple(
        ScoredAttempt(a.learner, a.case, a.finished, a.score.share, len(a.score.unsafe))
        for a in attempts
        if a.score.lines
    )


def class_ratings(
    attempts: Iterable[FinishedAttempt], classes: Sequence[str]
) -> tuple[tuple[tuple[str, ...], list[list[int]]], list[int]]:
    """((learners, ratings[unit][learner]), truth[unit]) of the classes said, first tries only.

    A unit is one case with one seed. classes: the standard's words in order; -1 is not given.
    """
    index: Mapping[str, int] = {word: number for number, word in enumerate(classes)}
    ordered = sorted(
        (a for a in attempts if a.true_class in index), key=lambda a: (a.finished, a.id)
    )
    learners = tuple(sorted({a.learner for a in ordered}))
    units = sorted({(a.case, a.seed) for a in ordered})
    ratings = [[-1] * len(learners) for _ in units]
    truth = [-1] * len(units)
    for attempt in ordered:
        unit = units.index((attempt.case, attempt.seed))
        column = learners.index(attempt.learner)
        truth[unit] = index[attempt.true_class]
        if ratings[unit][column] == -1:
            ratings[unit][column] = index.get(attempt.said_class, -1)
    return (learners, ratings), truth
