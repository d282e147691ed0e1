"""Reviews: how often each is listed, what is due and what is overdue at a given time."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from enum import StrEnum
from pathlib import Path

from ebbline import CAUTION
from ebbline.bedside.policy.common import HEAD, Differs, PolicyHead, head, open_policy, sources
from ebbline.bedside.policy.reader import Entry
from ebbline.bedside.sources import Source
from ebbline.errors import ExaminationError
from ebbline.terms import Stage


class Risk(StrEnum):
    """Low risk, or risk factors present; unknown counts as raised."""

    LOW = "low"
    RAISED = "raised"
    UNKNOWN = "unknown"


class Method(StrEnum):
    """How the fetal heart is watched; unknown counts as both."""

    AUSCULTATION = "auscultation"
    CONTINUOUS = "continuous"
    UNKNOWN = "unknown"


@dataclass(frozen=True, slots=True)
class Interval:
    """One line: a review every so many minutes, by one source."""

    stage: Stage
    risk: Risk
    minutes: float
    source_id: str
    source: str


@dataclass(frozen=True, slots=True)
class ReviewKind:
    """One kind of review. method: None where it does not depend on it.

    second_reader: whether a second person reads too and is named.
    """

    name: str
    title: str
    method: Method | None
    lines: tuple[Interval, ...]
    second_reader: bool = False


@dataclass(frozen=True, slots=True)
class RiskFactor:
    """Something that raises the risk."""

    name: str
    text: str
    source: str


@dataclass(frozen=True, slots=True)
class ReviewPolicy:
    """Intervals and risk factors.

    in_force: the chosen sources; strictest: the shortest interval of them decides, else the first
    source that speaks.
    """

    head: PolicyHead
    in_force: tuple[str, ...]
    strictest: bool
    kinds: tuple[ReviewKind, ...]
    risk_factors: tuple[RiskFactor, ...]


_ANY = "any"
_DECIDES = ("strictest", "first")
_STAGES = (Stage.FIRST, Stage.SECOND)


def load_reviews(path: Path | None = None) -> ReviewPolicy:
    """The policy for reviews. Raises PolicyError, with the line, for what is not valid."""
    top, file = open_policy("reviews", path)
    fields = top.fields((*HEAD, "in_force", "reviews", "risk_factors"), ("decides",))
    known = sources(fields["sources"])
    in_force = tuple(one.choice(known) for one in fields["in_force"].items())
    kinds = tuple(_kind(entry, known, in_force) for entry in fields["reviews"].entries())
    factors = []
    for entry in fields["risk_factors"].entries():
        inner = entry.fields(("text", "source"))
        said = known[inner["source"].choice(known)]
        factors.append(RiskFactor(entry.name, inner["text"].text(), str(said)))
    if not kinds:
        raise fields["reviews"].error("no review is listed.")
    strictest = "decides" not in fields or fields["decides"].choice(_DECIDES) == _DECIDES[0]
    return ReviewPolicy(head(fields, "reviews", file), in_force, strictest, kinds, tuple(factors))


def _kind(entry: Entry, known: Mapping[str, Source], in_force: Sequence[str]) -> ReviewKind:
    fields = entry.fields(("title", "method", "lines"), ("second_reader",))
    methods = [Method.AUSCULTATION.value, Method.CONTINUOUS.value, _ANY]
    method = fields["method"].choice(methods)
    lines = []
    for one in fields["lines"].items():
        inner = one.fields(("stage", "risk", "minutes", "source"))
        minutes = inner["minutes"].number()
        if not 1 <= minutes <= 24 * 60:
            raise inner["minutes"].error(
                f"{minutes:g} minutes cannot be an interval.", "Give 1 to 1440."
            )
        short = inner["source"].choice(known)
        if short not in in_force:
            raise inner["source"].error(
                f"'{short}' is not named in 'in_force'.", "Add it there, or leave the line out."
            )
        lines.append(
            Interval(
                Stage(inner["stage"].choice([s.value for s in _STAGES])),
                Risk(inner["risk"].choice([Risk.LOW.value, Risk.RAISED.value])),
                minutes,
                short,
                str(known[short]),
            )
        )
    if not lines:
        raise fields["lines"].error("no interval is listed.")
    return ReviewKind(
        entry.name,
        fields["title"].text(),
        None if method == _ANY else Method(method),
        tuple(lines),
        "second_reader" in fields and fields["second_reader"].truth(),
    )


class DueState(StrEnum):
    """How a review stands."""

    OVERDUE = "overdue"
    DUE = "due now"
    LATER = "due later"
    NEVER = "no time given"


DUE_SOON_MIN = 0.5


@dataclass(frozen=True, slots=True)
class Due:
    """One review at a given time.

    every_min: the interval in force. due_at: None where no time was given. minutes: until it is
    due, negative when overdue, NaN untold. differs: other sources' intervals.
    """

    name: str
    title: str
    every_min: float
    source: str
    last: datetime | None
    due_at: datetime | None
    minutes: float
    state: DueState
    differs: tuple[Differs, ...]


@dataclass(frozen=True, slots=True)
class ReviewsDue:
    """All reviews at a given time, the most overdue first. notes: what was assumed."""

    now: datetime
    stage: Stage
    risk: Risk
    method: Method
    policy: PolicyHead
    reviews: tuple[Due, ...]
    factors: tuple[RiskFactor, ...]
    notes: tuple[str, ...]
    caution: str


def _applying(kind: ReviewKind, stage: Stage, risk: Risk) -> list[Interval]:
    """Lines that may apply; what is not known leaves all of its lines in."""
    return [
        line
        for line in kind.lines
        if (stage not in _STAGES or line.stage is stage)
        and (risk is Risk.UNKNOWN or line.risk is risk)
    ]


def interval_in_force(
    kind: ReviewKind, stage: Stage, risk: Risk, sources: Sequence[Sequence[str]]
) -> Interval | None:
    """The line that decides: the shortest of the first group of sources that speaks.

    sources: groups in order; within a group the strictest decides. None where none speaks for
    this stage and risk.
    """
    applying = _applying(kind, stage, risk)
    for group in sources:
        of_group = [line for line in applying if line.source_id in group]
        if of_group:
            return min(of_group, key=lambda line: line.minutes)
    return None


def risk_from(factors: Sequence[str], policy: ReviewPolicy) -> tuple[RiskFactor, ...]:
    """The risk factors of some names. Raises ExaminationError for an unknown one."""
    from difflib import get_close_matches

    known = {factor.name: factor for factor in policy.risk_factors}
    made = []
    for name in factors:
        plain = name.strip().lower().replace(" ", "-").replace("_", "-")
        if plain not in known:
            close = get_close_matches(plain, known, n=2, cutoff=0.5)
            remedy = (
                f"Did you mean {' or '.join(close)}?" if close else f"Known: {', '.join(known)}."
            )
            raise ExaminationError(
                f"'{name}' is not on the list of risk factors.", where="factor", remedy=remedy
            )
        made.append(known[plain])
    return tuple(made)


def reviews_due(
    now: datetime,
    last: Mapping[str, datetime],
    *,
    stage: Stage = Stage.UNKNOWN,
    risk: Risk = Risk.UNKNOWN,
    method: Method = Method.UNKNOWN,
    factors: Sequence[str] = (),
    policy: ReviewPolicy | None = None,
    first_source: str | None = None,
) -> ReviewsDue:
    """What is due and overdue.

    last: when each review (by name) was last done; a review left out has no time. factors: names
    of risk factors present: any of them raises the risk. first_source: a source to put first.
    What is not known counts as what asks for the shorter interval. Raises ExaminationError for
    unknown names and for a time that lies after now.
    """
    policy = load_reviews() if policy is None else policy
    present = risk_from(factors, policy)
    in_force = _order(policy, first_source)
    names = [kind.name for kind in policy.kinds]
    for name, time in last.items():
        if name not in names:
            from difflib import get_close_matches

            close = get_close_matches(name, names, n=2, cutoff=0.5)
            raise ExaminationError(
                f"'{name}' is not a review of this policy.",
                where="review",
                remedy=f"Did you mean {' or '.join(close)}?"
                if close
                else f"Known: {', '.join(names)}.",
            )
        if time > now:
            raise ExaminationError(
                f"it was done at {time:%H:%M}, after now ({now:%H:%M}).",
                where=name,
                remedy="Check both times.",
            )
    notes = []
    if present:
        if risk is Risk.LOW:
            notes.append("Called low risk, but a risk factor is named: counted as raised.")
        risk = Risk.RAISED
    if risk is Risk.UNKNOWN:
        notes.append("Risk not given: the shorter interval stands.")
    if stage not in _STAGES:
        said = "Stage not given" if stage is Stage.UNKNOWN else "Not in labour as told"
        notes.append(f"{said}: the shorter interval of labour stands.")
    if method is Method.UNKNOWN:
        notes.append("Method not given: both the heart by ear and the trace are shown.")
    rows = []
    for kind in policy.kinds:
        if kind.method is not None and method not in (kind.method, Method.UNKNOWN):
            continue
        line = interval_in_force(kind, stage, risk, in_force)
        if line is None:
            notes.append(f"No interval is listed for: {kind.title} ({risk} risk).")
            continue
        rows.append(_due(kind, line, _applying(kind, stage, risk), last.get(kind.name), now))
    if Method.AUSCULTATION is method and risk is Risk.RAISED:
        notes.append(
            "With risk factors NICE NG229 lists a continuous trace in place of listening (from "
            "memory)."
        )
    order = [DueState.OVERDUE, DueState.DUE, DueState.NEVER, DueState.LATER]
    rows.sort(key=lambda d: (order.index(d.state), d.minutes if d.minutes == d.minutes else 0.0))
    return ReviewsDue(
        now, stage, risk, method, policy.head, tuple(rows), present, tuple(notes), CAUTION
    )


def _order(policy: ReviewPolicy, first_source: str | None) -> tuple[tuple[str, ...], ...]:
    """Groups of sources in order; within a group the strictest decides."""
    rest = (policy.in_force,) if policy.strictest else tuple((s,) for s in policy.in_force)
    if first_source is None:
        return rest
    chosen = tuple(
        s for s in policy.in_force if s == first_source or s.startswith(f"{first_source}-")
    )
    if not chosen:
        raise ExaminationError(
            f"'{first_source}' is not a source of this policy.",
            where="guideline",
            remedy=f"Choose from: {', '.join(policy.in_force)}.",
        )
    return (chosen, *rest)


_CLOCK = re.compile(r"(\d{1,2})\s*[:.h]?\s*(\d{2})")


def clock_time(text: str, now: datetime, where: str) -> datetime:
    """The last time the clock showed '14:05', '1405', '14.05' or '14h05', not after now.

    A time later than now was yesterday. Raises ExaminationError for what is no time.
    """
    matched = _CLOCK.fullmatch(text.strip().lower())
    hours, minutes = (int(n) for n in matched.groups()) if matched else (24, 0)
    if hours > 23 or minutes > 59:
        raise ExaminationError(
            f"'{text}' is not a time.", where=where, remedy="Write hours and minutes, as 14:05."
        )
    made = now.replace(hour=hours, minute=minutes, second=0, microsecond=0)
    return made - timedelta(days=1) if made > now else made


def _due(
    kind: ReviewKind,
    line: Interval,
    applying: Sequence[Interval],
    last: datetime | None,
    now: datetime,
) -> Due:
    differs = tuple(
        dict.fromkeys(
            Differs(f"every {other.minutes:g} min", other.source)
            for other in applying
            if other.source_id != line.source_id and other.minutes != line.minutes
        )
    )
    due_at = None if last is None else last + timedelta(minutes=line.minutes)
    if due_at is None:
        minutes, state = float("nan"), DueState.NEVER
    else:
        minutes = (due_at - now).total_seconds() / 60
        state = DueState.LATER
        if minutes < 0:
            state = DueState.OVERDUE
        elif minutes <= DUE_SOON_MIN:
            state = DueState.DUE
    return Due(
        kind.name, kind.title, line.minutes, line.source, last, due_at, minutes, state, differs
    )
