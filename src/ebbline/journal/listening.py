"""Intermittent auscultation: was it long enough, and what it asks for."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum
from functools import cache
from pathlib import Path

from ebbline.bedside.policy.common import HEAD, PolicyHead, head, source, sources
from ebbline.bedside.policy.reader import Entry as Line
from ebbline.bedside.policy.reviews import ReviewPolicy, load_reviews, risk_from
from ebbline.journal.chain import Entry
from ebbline.journal.chart_policy import open_own
from ebbline.journal.entries import Auscultation, Sensor
from ebbline.journal.standing import labour_known, of_kind, standing
from ebbline.terms import SensorKind

LOOKED_BACK = 3
"""Contractions among which a sign is confirmed (WHO 2018: over at least three; from memory)."""


@dataclass(frozen=True, slots=True)
class Sign:
    """A line of the table. bpm: NaN where no rate is compared. confirmed: of the last three."""

    bpm: float
    confirmed: int
    source: str


@dataclass(frozen=True, slots=True)
class ListeningPolicy:
    """How long to listen, and from what on a trace is listed."""

    head: PolicyHead
    least_s: Sign
    after_s: Sign
    signs: dict[str, Sign]
    at_once: Sign
    near_mother: Sign


class Urgency(StrEnum):
    """What a sign asks for, the gravest first."""

    AT_ONCE = "help and a continuous trace now"
    TRACE = "a continuous trace is listed"
    AGAIN = "listen again with each of the next contractions"
    INCOMPLETE = "listening not complete"


@dataclass(frozen=True, slots=True)
class Asked:
    """One thing that listening asks for, with what was heard and the rule's source."""

    urgency: Urgency
    what: str
    source: str


@dataclass(frozen=True, slots=True)
class ListeningState:
    """How listening stands. first_bpm: the rate at the start of labour, NaN before any.

    by_trace: a heart-rate sensor lies, so that a trace runs.
    """

    asked: tuple[Asked, ...]
    heard: int
    last_at: datetime | None
    first_bpm: float
    by_trace: bool


_SIGNS = ("low", "high", "fall", "rise", "irregular")


@cache
def load_listening(path: Path | None = None) -> ListeningPolicy:
    """The table of listening. Raises PolicyError, with the line, for what is not valid."""
    top, file = open_own("listening", path)
    fields = top.fields((*HEAD, "listen", "signs", "at_once", "near_mother"))
    known = sources(fields["sources"])

    def sign(entry: Line, value: str = "bpm", *, counted: bool = False) -> Sign:
        needs = ("source", *(("confirmed",) if counted else (value,)))
        inner = entry.fields(needs, (value,) if counted else ())
        times = inner["confirmed"].number() if counted else 1
        if times not in (1, 2, 3):
            raise inner["confirmed"].error(f"{times:g} contractions cannot stand here.", "1 to 3.")
        bpm = inner[value].number() if value in inner else float("nan")
        if bpm <= 0:
            raise inner[value].error(f"{bpm:g} cannot stand here.", "Give a number above 0.")
        return Sign(bpm, int(times), source(inner["source"], known))

    listen = fields["listen"].fields(("least", "after_contraction"))
    signs = fields["signs"].fields(_SIGNS)
    for name in ("low", "high", "rise"):
        signs[name].fields(("bpm", "confirmed", "source"))
    return ListeningPolicy(
        head(fields, "listening", file),
        sign(listen["least"], "seconds"),
        sign(listen["after_contraction"], "seconds"),
        {name: sign(signs[name], counted=True) for name in _SIGNS},
        sign(fields["at_once"]),
        sign(fields["near_mother"]),
    )


def listening(
    entries: Iterable[Entry],
    now: datetime,
    *,
    policy: ListeningPolicy | None = None,
    reviews: ReviewPolicy | None = None,
) -> ListeningState:
    """What listening asks for by a time, the gravest first."""
    policy = load_listening() if policy is None else policy
    reviews = load_reviews() if reviews is None else reviews
    held = tuple(one for one in standing(entries) if one.at <= now)
    every = of_kind(held, Auscultation)
    asked: list[Asked] = []
    first = float("nan")
    for fetus in sorted({body.fetus or 1 for _, body in every}):
        own = [(e, body) for e, body in every if (body.fetus or 1) == fetus]
        whose = f"Fetus {fetus}: " if fetus > 1 or any((b.fetus or 1) > 1 for _, b in every) else ""
        start = next((rate for _, b in own if (rate := _baseline(b)) is not None), float("nan"))
        first = start if first != first else first
        asked += _signs(own, start, whose, policy)
        asked += _incomplete(*own[-1], whose, policy)
    factors = risk_from(labour_known(held).risk_factors, reviews)
    if every and factors:
        names = "; ".join(one.text for one in factors)
        asked.append(Asked(Urgency.TRACE, f"Risk factors: {names}.", factors[0].source))
    asked.sort(key=lambda one: list(Urgency).index(one.urgency))
    return ListeningState(
        tuple(asked), len(every), every[-1][0].at if every else None, first, _by_trace(held)
    )


def _baseline(body: Auscultation) -> float | None:
    """The rate between contractions: before one, else after it."""
    return body.before_bpm if body.before_bpm is not None else body.after_bpm


def _rates(body: Auscultation) -> list[float]:
    every = (body.before_bpm, body.during_bpm, body.after_bpm, body.after_lowest_bpm)
    return [one for one in every if one is not None]


def _signs(
    own: Sequence[tuple[Entry, Auscultation]], start: float, whose: str, policy: ListeningPolicy
) -> list[Asked]:
    last = own[-1][1]
    low, high = policy.signs["low"].bpm, policy.signs["high"].bpm
    tests: dict[str, tuple[str, Callable[[Auscultation], bool]]] = {
        "low": (f"a rate under {low:g} bpm", lambda b: _outside(b, lambda r: r < low)),
        "high": (f"a rate over {high:g} bpm", lambda b: _outside(b, lambda r: r > high)),
        "fall": ("a fall", lambda b: b.falls is True),
        "rise": (
            f"a rate {policy.signs['rise'].bpm:g} bpm or more above the first ({start:.0f})",
            lambda b: (_baseline(b) or 0.0) - start >= policy.signs["rise"].bpm,
        ),
        "irregular": ("an irregular rhythm", lambda b: b.rhythm == "irregular"),
    }
    found = []
    for name, (what, test) in tests.items():
        recent = [test(body) for _, body in own[-LOOKED_BACK:]]
        times = sum(recent)
        if not times:
            continue
        sign = policy.signs[name]
        grave = times >= sign.confirmed
        said = f"{whose}{what} with {times} of the last {len(recent)} contractions listened to."
        found.append(
            Asked(
                Urgency.TRACE if grave else Urgency.AGAIN, said[:1].upper() + said[1:], sign.source
            )
        )
    slowest = min(_rates(last), default=float("inf"))
    if slowest < policy.at_once.bpm:
        said = f"{whose}{slowest:.0f} bpm heard last."
        found.append(Asked(Urgency.AT_ONCE, said, policy.at_once.source))
    mother = last.maternal_pulse_bpm
    rate = _baseline(last)
    if mother is not None and rate is not None and abs(mother - rate) <= policy.near_mother.bpm:
        said = f"{whose}{rate:.0f} bpm heard, her pulse {mother:.0f}: it may be hers."
        found.append(Asked(Urgency.AGAIN, said, policy.near_mother.source))
    return found


def _outside(body: Auscultation, test: Callable[[float], bool]) -> bool:
    """Whether the rate before or after a contraction passes a test."""
    return any(test(rate) for rate in (body.before_bpm, body.after_bpm) if rate is not None)


def _incomplete(
    entry: Entry, body: Auscultation, whose: str, policy: ListeningPolicy
) -> list[Asked]:
    """What the last listening left out; what was not written was not done."""
    found = []
    after = body.listened_after_s or 0.0
    whole = sum(
        one or 0.0
        for one in (body.listened_before_s, body.listened_during_s, body.listened_after_s)
    )
    if whole < policy.least_s.bpm:
        said = (
            f"{whose}{whole:.0f} s listened at {entry.at:%H:%M}; {policy.least_s.bpm:g} s listed."
        )
        found.append(Asked(Urgency.INCOMPLETE, said, policy.least_s.source))
    if after < policy.after_s.bpm:
        said = (
            f"{whose}{after:.0f} s after the contraction at {entry.at:%H:%M}; "
            f"{policy.after_s.bpm:g} s listed."
        )
        found.append(Asked(Urgency.INCOMPLETE, said, policy.after_s.source))
    if body.maternal_pulse_bpm is None:
        said = f"{whose}Her pulse was not felt meanwhile at {entry.at:%H:%M}."
        found.append(Asked(Urgency.INCOMPLETE, said, policy.near_mother.source))
    return found


def _by_trace(held: Sequence[Entry]) -> bool:
    """Whether a sensor of the fetal heart lies, by the record."""
    lies = {}
    for _, body in of_kind(held, Sensor):
        if body.sensor in (SensorKind.ULTRASOUND.value, SensorKind.SCALP_ELECTRODE.value):
            lies[body.sensor, body.fetus or 1] = body.action != "taken off"
    return any(lies.values())
