"""Spaced repetition of what a learner gets wrong, scheduled by the FSRS library.

One card for each learner and skill (a term or a step, such as "late deceleration" or "heart
sensor"). The score of the skill in an attempt is the review. The scheduler is the free spaced
repetition scheduler, FSRS-6 (Ye J, Su J, Cao Y. KDD 2022:4381-90), with its published default
parameters; fuzz is off so that the same answers give the same dates.
"""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from functools import cache
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from fsrs import Card, Scheduler

RETENTION = 0.9
"""Wanted chance of remembering when a card falls due (default of the library)."""

FIRST_STEPS = (timedelta(days=1), timedelta(days=3))
"""A case takes a sitting, so the first repetitions are days apart, not minutes. Ours."""


A_DAY = timedelta(hours=14)
"""Attempts closer together are of one day (ours: an evening and the next morning are two)."""


@dataclass(frozen=True, slots=True)
class Due:
    """A skill to practise. retrievability: chance that it is still known now, 0..1."""

    skill: str
    due: datetime
    retrievability: float


@cache
def _scheduler() -> Scheduler:
    from fsrs import Scheduler

    return Scheduler(
        desired_retention=RETENTION,
        learning_steps=FIRST_STEPS,
        relearning_steps=FIRST_STEPS[:1],
        enable_fuzzing=False,
    )


def new_card(skill: str, now: datetime) -> Card:
    """A card that has never been reviewed, due at once; numbered by its skill's name."""
    from fsrs import Card

    return Card(card_id=zlib.crc32(skill.encode()), due=now.astimezone(UTC))


def review(card: Card, share: float, now: datetime) -> Card:
    """The card after a review with this share of the skill's points (0..1).

    Below 0.5 it is asked again, below 0.75 it was hard, below 0.95 good, else easy (ours).
    """
    from fsrs import Rating

    rating = (
        Rating.Again
        if share < 0.5
        else Rating.Hard
        if share < 0.75
        else Rating.Good
        if share < 0.95
        else Rating.Easy
    )
    reviewed, _ = _scheduler().review_card(card, rating, review_datetime=now.astimezone(UTC))
    return reviewed


def after_attempt(
    cards: Mapping[str, Card], shares: Mapping[str, float], now: datetime
) -> dict[str, Card]:
    """All of a learner's cards after an attempt. shares: skill -> share of its points.

    Only the first attempt of a day is a review: what is right the third time in one evening says
    nothing of next week.
    """
    updated = dict(cards)
    for skill, share in shares.items():
        card = cards.get(skill) or new_card(skill, now)
        if card.last_review is None or now.astimezone(UTC) - card.last_review >= A_DAY:
            updated[skill] = review(card, share, now)
    return updated


def due_skills(cards: Mapping[str, Card], now: datetime) -> tuple[Due, ...]:
    """Skills due now, the least remembered first."""
    moment = now.astimezone(UTC)
    due = [
        Due(skill, card.due, float(_scheduler().get_card_retrievability(card, moment)))
        for skill, card in cards.items()
        if card.due <= moment
    ]
    return tuple(sorted(due, key=lambda d: (d.retrievability, d.due, d.skill)))


def choose_case(
    due: Sequence[Due], teaches: Mapping[str, Iterable[str]], recent: Sequence[str] = ()
) -> str | None:
    """The case that practises most of what is due; one not seen lately goes first.

    teaches: case -> skills. recent: case names, the latest last. None when nothing fits.
    """
    weights = {one.skill: 1.0 - one.retrievability for one in due}
    seen = {case: number for number, case in enumerate(recent, start=1)}
    best: tuple[int, float, str] | None = None
    for case, skills in teaches.items():
        gain = sum(weights.get(skill, 0.0) for skill in set(skills))
        if gain <= 0:
            continue
        candidate = (seen.get(case, 0), -gain, case)
        if best is None or candidate < best:
            best = candidate
    return best[2] if best else None


def card_to_data(card: Card) -> dict[str, Any]:
    """The library's own plain form of a card."""
    return dict(card.to_dict())


def card_from_data(data: Mapping[str, Any]) -> Card:
    """A card from its plain form."""
    from fsrs import Card

    return Card.from_dict(data)  # type: ignore[arg-type]
