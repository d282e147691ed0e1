"""What a learner's year came to, half-year by half-year: attempts, growth of each skill, how sure,
and what was unsafe. Text and paper (`portfolio_sheet`) draw the same."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

from ebbline.teach.attempt_record import FinishedAttempt
from ebbline.teach.statistics.calibration import Calibration, calibration
from ebbline.teach.statistics.growth import Growth, SkillShare, growth
from ebbline.teach.statistics.resampling import ratio_interval
from ebbline.terms import counted


@dataclass(frozen=True, slots=True)
class PlayedCase:
    """One finished attempt: when, what, its share of points, and unsafe choices."""

    finished: datetime
    case: str
    share: float
    unsafe: int


@dataclass(frozen=True, slots=True)
class HalfYear:
    """What a half-year came to. name: spring (January to June) or autumn of its year (ours).

    mean: share of the points, 0..1; low, high: its 95 % percentile bootstrap interval over the
    cases, NaN for fewer than LEAST_FOR_INTERVAL.
    """

    name: str
    cases: tuple[PlayedCase, ...]
    mean: float
    low: float
    high: float

    @property
    def unsafe(self) -> int:
        """Unsafe choices in all."""
        return sum(case.unsafe for case in self.cases)


@dataclass(frozen=True, slots=True)
class Portfolio:
    """A learner's results between two times, the latest last. unsafe: (choice, times)."""

    learner: str
    first: datetime | None
    latest: datetime | None
    cases: tuple[PlayedCase, ...]
    half_years: tuple[HalfYear, ...]
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


LEAST_FOR_INTERVAL = 4
"""Cases of a half-year from which an interval of its mean is given (ours)."""


def half_years(cases: Iterable[PlayedCase]) -> tuple[HalfYear, ...]:
    """Cases by half-year, the earliest first; those without points count for no mean."""
    own: dict[str, list[PlayedCase]] = {}
    for case in sorted(cases, key=lambda one: one.finished):
        half = "spring" if case.finished.month <= 6 else "autumn"
        own.setdefault(f"{half} {case.finished.year}", []).append(case)
    return tuple(_half_year(name, these) for name, these in own.items())


def _half_year(name: str, cases: list[PlayedCase]) -> HalfYear:
    shares = [case.share for case in cases if case.share == case.share]
    low = high = math.nan
    if len(shares) >= LEAST_FOR_INTERVAL:
        low, high = ratio_interval(shares, [1.0] * len(shares), seed=1)
    mean = sum(shares) / len(shares) if shares else math.nan
    return HalfYear(name, tuple(cases), mean, low, high)


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
    cases = tuple(PlayedCase(a.finished, a.case, a.score.share, len(a.score.unsafe)) for a in own)
    return Portfolio(
        learner=learner,
        first=own[0].finished if own else None,
        latest=own[-1].finished if own else None,
        cases=cases,
        half_years=half_years(cases),
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
    for half in made.half_years:
        lines += ["", half.name.upper(), f"  {half_year_words(half)}"]
        lines += [
            f"  {c.finished:%Y-%m-%d}  {share_words(c)}  {c.case}"
            + (f"  ({c.unsafe} unsafe)" if c.unsafe else "")
            for c in half.cases
        ]
    lines += ["", "GROWTH (change of the share in 30 days, 95 % interval)"]
    lines += [f"  {growth_words(one)}" for one in made.growth]
    lines += ["", "HOW SURE", "  " + calibration_words(made.calibration)]
    if made.unsafe:
        lines += ["", "UNSAFE CHOICES"] + [f"  {n:3d} x {choice}" for choice, n in made.unsafe]
    return "\n".join(lines) + "\n"


def share_words(case: PlayedCase) -> str:
    """A case's share of the points."""
    return f"{100 * case.share:3.0f} %" if case.share == case.share else "no score"


def half_year_words(half: HalfYear) -> str:
    """A half-year in a line."""
    words = f"{counted(len(half.cases), 'finished case')}"
    if half.mean == half.mean:
        words += f", mean {100 * half.mean:.0f} % of the points"
    if half.low == half.low:
        words += f" (95 % interval {100 * half.low:.0f} to {100 * half.high:.0f} %)"
    return f"{words}; unsafe choices: {half.unsafe}."


def growth_words(one: Growth) -> str:
    """One skill's growth in a line."""
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
