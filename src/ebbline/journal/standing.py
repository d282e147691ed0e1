"""What holds now of a case: corrections in the place of what they correct, errors left out."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import fields, replace
from datetime import datetime
from typing import TypeVar

from ebbline.journal.chain import Entry
from ebbline.journal.entries import Body, Labour, StageBegins, VaginalExamination, Withdrawn
from ebbline.terms import Stage

B = TypeVar("B", bound=Body)

FULL_CM = 10.0
"""Full dilatation of the cervix, cm."""


def standing(entries: Iterable[Entry]) -> tuple[Entry, ...]:
    """The entries that hold, in the order in which things happened."""
    every = tuple(entries)
    gone = {one.corrects for one in every if one.corrects is not None}
    held = (one for one in every if one.number not in gone and not isinstance(one.body, Withdrawn))
    return tuple(sorted(held, key=lambda one: (one.at, one.number)))


def of_kind(entries: Iterable[Entry], kind: type[B]) -> list[tuple[Entry, B]]:
    """Entries of one kind, each with its body."""
    return [(one, one.body) for one in entries if isinstance(one.body, kind)]


def last_of(entries: Sequence[Entry], kind: type[B]) -> tuple[Entry, B] | None:
    """The latest entry of one kind, with its body."""
    found = of_kind(entries, kind)
    return found[-1] if found else None


def labour_known(held: Sequence[Entry]) -> Labour:
    """What is known of the labour: each field as it was last said, risk factors together."""
    known = Labour()
    factors: dict[str, None] = {}
    for _, body in of_kind(held, Labour):
        factors |= dict.fromkeys(body.risk_factors)
        for one in fields(Labour):
            value = getattr(body, one.name)
            if value is not None and value != "" and value != ():
                known = replace(known, **{one.name: value})
    return replace(known, risk_factors=tuple(factors))


def second_stage_began(held: Sequence[Entry]) -> datetime | None:
    """When the second stage began: as written, or the first time full dilatation was found.

    A smaller cervix found later sets nothing back: what counts as longer stays so.
    """
    full = (
        e.at
        for e, body in of_kind(held, VaginalExamination)
        if body.dilatation_cm is not None and body.dilatation_cm >= FULL_CM
    )
    said = (
        e.at for e, body in of_kind(held, StageBegins) if body.stage in ("second stage", "pushing")
    )
    return min((*full, *said), default=None)


def stage_at(held: Sequence[Entry], now: datetime) -> Stage:
    """Stage of labour by the record; unknown until it says something."""
    began = second_stage_began(held)
    if began is not None and began <= now:
        return Stage.SECOND
    begun = [body.stage for e, body in of_kind(held, StageBegins) if e.at <= now]
    if not begun:
        return Stage.UNKNOWN
    return Stage.FIRST if begun[-1] == "active first stage" else Stage.SECOND
