"""Which reviews are due, by what the record says was last done."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from ebbline.bedside.policy.reviews import (
    Method,
    ReviewPolicy,
    ReviewsDue,
    Risk,
    load_reviews,
    reviews_due,
)
from ebbline.journal.chain import Entry
from ebbline.journal.entries import (
    Auscultation,
    Birth,
    Body,
    Contractions,
    Examination,
    Fluids,
    Membranes,
    MotherVitals,
    Review,
    VaginalExamination,
)
from ebbline.journal.labour_context import fever_measured, meconium_seen, oxytocin_runs
from ebbline.journal.listening import listening
from ebbline.journal.standing import labour_known, of_kind, stage_at, standing


@dataclass(frozen=True, slots=True)
class CaseReviews:
    """What is due. None where the last child is born. second_reader: reviews that ask for one."""

    due: ReviewsDue | None
    second_reader: frozenset[str]


def case_reviews(
    entries: Iterable[Entry], now: datetime, *, policy: ReviewPolicy | None = None
) -> CaseReviews:
    """The reviews of a case at a time. What the record does not say counts as the stricter."""
    policy = load_reviews() if policy is None else policy
    held = tuple(one for one in standing(entries) if one.at <= now)
    known = labour_known(held)
    second = frozenset(kind.name for kind in policy.kinds if kind.second_reader)
    if len(of_kind(held, Birth)) >= (known.fetuses or 1):
        return CaseReviews(None, second)
    method = Method.UNKNOWN
    if listening(held, now, reviews=policy).by_trace:
        method = Method.CONTINUOUS
    elif known.heart_by:
        method = Method(known.heart_by)
    factors = {*known.risk_factors, *_factors(held)}
    names = {one.name for one in policy.risk_factors}
    last = last_done(held)
    return CaseReviews(
        reviews_due(
            now,
            {name: at for name, at in last.items() if name in {k.name for k in policy.kinds}},
            stage=stage_at(held, now),
            risk=Risk(known.risk) if known.risk else Risk.UNKNOWN,
            method=method,
            factors=sorted(factors & names),
            policy=policy,
        ),
        second,
    )


@dataclass(frozen=True, slots=True)
class ReviewAhead:
    """When a review falls due; overdue: that time is past."""

    title: str
    due_at: datetime
    overdue: bool


def reviews_ahead(
    entries: Sequence[Entry], now: datetime, *, policy: ReviewPolicy | None = None
) -> tuple[ReviewAhead, ...]:
    """The reviews of a case in the order in which they fall due.

    One that was never done counts from when the case was opened.
    """
    due = case_reviews(entries, now, policy=policy).due
    found = []
    for one in due.reviews if due is not None else ():
        at = one.due_at or entries[0].at + timedelta(minutes=one.every_min)
        found.append(ReviewAhead(one.title, at, at < now))
    return tuple(sorted(found, key=lambda one: one.due_at))


def _factors(held: Iterable[Entry]) -> set[str]:
    """Risk factors that the record itself shows."""
    every = tuple(held)
    found = set()
    if oxytocin_runs(every):
        found.add("oxytocin")
    if meconium_seen(every):
        found.add("meconium")
    if fever_measured(every):
        found.add("fever")
    return found


def last_done(held: Iterable[Entry]) -> dict[str, datetime]:
    """When each review was last done, by the entries that are one."""
    done: dict[str, datetime] = {}

    def mark(name: str, at: datetime) -> None:
        done[name] = max(at, done.get(name, at))

    for entry in held:
        body: Body = entry.body
        match body:
            case Auscultation():
                mark("heart", entry.at)
                if body.maternal_pulse_bpm is not None:
                    mark("pulse", entry.at)
            case Review():
                mark(body.review, entry.at)
            case Contractions():
                mark("contractions", entry.at)
            case Examination():
                mark("palpation", entry.at)
            case Fluids():
                if body.bladder or body.urine_ml is not None:
                    mark("bladder", entry.at)
            case Membranes():
                if body.fluid:
                    mark("fluid-colour", entry.at)
            case VaginalExamination():
                mark("examination-inside", entry.at)
            case MotherVitals():
                if body.pulse_bpm is not None:
                    mark("pulse", entry.at)
                if body.systolic_mmhg is not None:
                    mark("blood-pressure", entry.at)
                if body.temperature_c is not None:
                    mark("temperature", entry.at)
            case _:
                pass
    return done
