"""How soon a threat was known, called and acted on, against its targets."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

from ebbline.teach.encounter import Encounter
from ebbline.teach.fetal_course import FetalCourse
from ebbline.teach.measures import measure_table
from ebbline.teach.scoring import Score, UnsafeChoice, scored_line


@dataclass(frozen=True, slots=True)
class Response:
    """Minutes from when the threat could be known to each thing done; None: not done."""

    know: float | None
    call: float | None
    act: float | None
    birth: float | None


def response(encounter: Encounter, threat: FetalCourse) -> Response:
    """How soon the learner knew, called, acted, and asked for birth."""
    kind, table = threat.kind, measure_table()
    start = encounter.since or 0.0

    def first(minutes: Iterable[float]) -> float | None:
        after = [max(0.0, minute - start) for minute in minutes if minute >= threat.from_minute]
        return min(after, default=None)

    call = first(c.minute for c in encounter.calls if table.person(c.person).step >= kind.call)
    act = first(
        c.minute
        for c in encounter.choices
        if c.measure in kind.acts and not table.measure(c.measure).dangers(c.facts)
    )
    named = first(minute for name, minute in encounter.recognised if name == kind.id)
    birth = first(c.minute for c in encounter.choices if c.measure == "get ready for birth")
    known = [minutes for minutes in (named, call, act) if minutes is not None]
    return Response(min(known, default=None), call, act, birth if kind.birth else None)


_RESPONSE_LINES = (
    ("emergency known", "know"),
    ("help called", "call"),
    ("first act", "act"),
    ("birth asked for", "birth"),
)


def score_threat(encounter: Encounter, threat: FetalCourse) -> Score:
    """Times to know, to call and to act, against the threat's targets."""
    kind, done = threat.kind, response(encounter, threat)
    table = measure_table()
    lines = []
    for item, name in _RESPONSE_LINES:
        target = kind.targets.get(name)
        if target is None:
            continue
        minutes = getattr(done, name)
        said = "never" if minutes is None else f"after {minutes:.0f} min"
        what = {
            "know": kind.say,
            "call": next(p.say for p in table.people if p.step >= kind.call),
            "act": " or ".join(table.measure(act).say for act in kind.acts),
            "birth": "birth asked for",
        }[name]
        line = scored_line(
            item,
            target.share(minutes),
            said,
            f"{what}: within {target.full:g} min, nothing from {target.none:g} min",
        )
        lines.append(replace(line, citation=f"{kind.source}; the minutes are ours"))
    skills = tuple((f"{kind.id}: {line.item}", line.share) for line in lines)
    return Score(tuple(lines), skills=skills)


NOT_CALLED, NOT_ACTED = "Help was not called in time", "What was needed was not done in time"


def unsafe_delay(encounter: Encounter, threat: FetalCourse) -> list[UnsafeChoice]:
    """An emergency left to itself could hurt as much as a wrong measure."""
    if encounter.minute < threat.from_minute:
        return []
    kind, done = threat.kind, response(encounter, threat)
    found = []
    for choice, name in ((NOT_CALLED, "call"), (NOT_ACTED, "act")):
        if kind.targets[name].share(getattr(done, name)) == 0.0:
            why = f"{kind.say}. It could be known from minute {encounter.since:.0f}."
            found.append(UnsafeChoice(choice, why, kind.source, encounter.minute))
    return found
