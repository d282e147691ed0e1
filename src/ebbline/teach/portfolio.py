"""What a learner's year came to: attempts, growth by term, how sure, and what was unsafe."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from ebbline.teach.attempt_record import FinishedAttempt
from ebbline.teach.statistics.calibration import Calibration, calibration
from ebbline.teach.statistics.growth import Growth, SkillShare, growth


@dataclass(frozen=True, slots=True)
class PlayedCase:
    """One finished attempt: when, what, its share of points, and unsafe choices."""

    finished: datetime
    case: str
    share: float
    unsafe: int


@dataclass(frozen=True, slots=True)
class Portfolio:
    """A learner's results between two times, the latest last. unsafe: (choice, times)."""

    learner: str
    first: datetime | None
    latest: datetime | None
    cases: tuple[PlayedCase, ...]
    growth: tuple[Growth, ...]
    calibration: Calibration
    unsafe: tuple[tuple[str, int], ...]


def skill_shares(attempts: Iterable[FinishedAttempt]) -> tuple[SkillShare, ...]:
    """What every attempt showed of every term."""
    return tuple(
        SkillShare(a.learner, skill, a.finished, share)
        for a in attempts
        for skill, share in a.score.skills
    )


def confidences(attempts: Iterable[FinishedAttempt]) -> dict[str, list[tuple[float, float]]]:
    """learner -> (confidence, share) of each answer that came with one."""
    own: dict[str, list[tuple[float, float]]] = {}
    for attempt in attempts:
        for line in attempt.score.lines:
            if line.confidence is not None:
                own.setdefault(attempt.learner, []).append((line.confidence, line.share))
    return own


def portfolio(
    attempts: Iterable[FinishedAttempt],
    learner: str,
    *,
    since: datetime | None = None,
    until: datetime | None = None,
) -> Portfolio:
    """A learner's portfolio; since and until (both included) bound it."""
    own = sorted(
        (
            a
            for a in attempts
            if a.learner == learner
            and (since is None or a.finished >= since)
            and (until is None or a.finished <= until)
        ),
        key=lambda a: a.finished,
    )
    return Portfolio(
        learner=learner,
        first=own[0].finished if own else None,
        latest=own[-1].finished if own else None,
        cases=tuple(
            PlayedCase(a.finished, a.case, a.score.share, len(a.score.unsafe)) for a in own
        ),
        growth=growth(skill_shares(own)),
        calibration=calibration(confidences(own)),
        unsafe=tuple(Counter(u.choice for a in own for u in a.score.unsafe).most_common()),
    )


def portfolio_text(made: Portfolio) -> str:
    """The portfolio as plain text."""
    lines = [f"Portfolio of {made.learner}: {len(made.cases)} finished cases"]
    if made.first is None or made.latest is None:
        return lines[0] + "\n"
    lines[0] += f", {made.first:%Y-%m-%d} to {made.latest:%Y-%m-%d}"
    lines += ["", "CASES"]
    lines += [
        f"  {c.finished:%Y-%m-%d}  {100 * c.share:3.0f} %  {c.case}"
        + (f"  ({c.unsafe} unsafe)" if c.unsafe else "")
        for c in made.cases
    ]
    lines += ["", "GROWTH (change of the share in 30 days, 95 % interval)"]
    lines += [f"  {growth_words(one)}" for one in made.growth]
    lines += ["", "HOW SURE", "  " + calibration_words(made.calibration)]
    if made.unsafe:
        lines += ["", "UNSAFE CHOICES"] + [f"  {n:3d} x {choice}" for choice, n in made.unsafe]
    return "\n".join(lines) + "\n"


def growth_words(one: Growth) -> str:
    """One term's growth in a line."""
    words = f"{one.skill}: {100 * one.first:.0f} % at first, {100 * one.latest:.0f} % at last"
    if one.per_month != one.per_month:
        return words + f" ({one.attempts} attempts, too few days to say)"
    change = f"{100 * one.per_month:+.0f}"
    if one.low != one.low:
        return f"{words}; {change} points in 30 days, no interval"
    return (
        f"{words}; {change} points in 30 days ({100 * one.low:+.0f} to {100 * one.high:+.0f}),"
        f" {one.attempts} attempts of {one.learners}"
    )


def calibration_words(made: Calibration) -> str:
    """Calibration in a line."""
    if not made.answers:
        return "Nobody has said how sure they were."
    much = "surer than right" if made.over > 0 else "less sure than right"
    interval = (
        f" (95 % interval {100 * made.low:+.0f} to {100 * made.high:+.0f})"
        if made.low == made.low
        else ""
    )
    return (
        f"{made.answers} answers: {100 * made.confidence:.0f} % sure, "
        f"{100 * made.right:.0f} % right; {abs(100 * made.over):.0f} points {much}{interval}. "
        f"Brier score {made.brier:.2f}."
    )
