"""Whether the reviews of a case were done in time, by the record and the policy of reviews."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

from ebbline.bedside.policy.reviews import ReviewPolicy, load_reviews
from ebbline.journal.chain import Entry
from ebbline.journal.due import case_reviews, last_done
from ebbline.journal.standing import standing

GRACE_MIN = 5.0
"""A review done so long after it fell due is still in time (ours; from then on it is prompted)."""


@dataclass(frozen=True, slots=True)
class ReviewKept:
    """A review that fell due. done_at: None where the record ends without it. late_min: how long
    after it was due it was done, or the record ended; 0 when done before."""

    name: str
    title: str
    due_at: datetime
    done_at: datetime | None
    late_min: float

    @property
    def on_time(self) -> bool:
        """Done, and no later than GRACE_MIN after it fell due."""
        return self.done_at is not None and self.late_min <= GRACE_MIN


def reviews_kept(
    entries: Iterable[Entry], *, policy: ReviewPolicy | None = None
) -> tuple[ReviewKept, ...]:
    """Every review that fell due in a case until its last entry, in the order of their times.

    Each is judged by what the record said just before it was done: stage, risk and method then.
    One that was never done before counts from when the case was opened. Times are those at which
    things are said to have happened, not when they were written down.
    """
    policy = load_reviews() if policy is None else policy
    held = standing(entries)
    if not held:
        return ()
    found = list(_done(held, policy))
    end = held[-1].at
    for name, title, due_at in _asked([one for one in held if one.at < end], end, policy):
        done_now = last_done(held).get(name) == end
        if not done_now and due_at + timedelta(minutes=GRACE_MIN) < end:
            found.append(ReviewKept(name, title, due_at, None, _minutes(due_at, end)))
    return tuple(sorted(found, key=lambda one: one.due_at))


def _done(held: tuple[Entry, ...], policy: ReviewPolicy) -> Iterator[ReviewKept]:
    for at in dict.fromkeys(one.at for one in held[1:]):
        before = [one for one in held if one.at < at]
        upto = last_done([one for one in held if one.at <= at])
        done = {name for name, when in upto.items() if when == at}
        if not done or not before:
            continue
        for name, title, due_at in _asked(before, at, policy):
            if name in done:
                yield ReviewKept(name, title, due_at, at, _minutes(due_at, at))


def _asked(
    before: list[Entry], at: datetime, policy: ReviewPolicy
) -> Iterator[tuple[str, str, datetime]]:
    """Each review that is asked for, with its time, by what was written before."""
    if not before:
        return
    due = case_reviews(before, at, policy=policy).due
    for one in due.reviews if due is not None else ():
        yield (
            one.name,
            one.title,
            one.due_at or before[0].at + timedelta(minutes=one.every_min),
        )


def _minutes(due_at: datetime, at: datetime) -> float:
    return max(0.0, (at - due_at).total_seconds() / 60.0)
