"""What a learner can do and whom to tell: options that guidelines list, judged by the facts.

The table is measures.yaml; this module only looks it up. Every option is one for the team under
local policy, never an order.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any, TypeVar

import yaml

from ebbline.errors import PolicyError
from ebbline.teach.measure_facts import Fact
from ebbline.teach.scoring import RULES, Score, ScoreLine, UnsafeChoice

T = TypeVar("T", "Measure", "Person")

ALWAYS = "always"
"""Condition of a choice that is unsafe whatever the picture."""


@dataclass(frozen=True, slots=True)
class Measure:
    """One option. does: what the virtual labour is told, "" where the model has no answer to it.

    wanted: facts that call for it; needs: facts without which they do not; accepts: facts with
    which it is right as well; unless: facts with which it is neither; unsafe: (fact or "always",
    why); unsupported: said where no fact calls for it, "" where it does no harm to mention.
    """

    id: str
    say: str
    does: str
    wanted: tuple[Fact, ...]
    needs: tuple[Fact, ...]
    accepts: tuple[Fact, ...]
    unless: tuple[Fact, ...]
    unsafe: tuple[tuple[str, str], ...]
    unsupported: str
    source: str

    def is_wanted(self, facts: Collection[Fact]) -> bool:
        """Whether the picture calls for it."""
        return self._open(facts) and any(f in facts for f in self.wanted)

    def _open(self, facts: Collection[Fact]) -> bool:
        return all(f in facts for f in self.needs) and not any(f in facts for f in self.unless)

    def is_accepted(self, facts: Collection[Fact]) -> bool:
        """Whether it fits the picture, called for or not."""
        fits = any(f in facts for f in self.accepts) or not (self.wanted or self.accepts)
        return self.is_wanted(facts) or (self._open(facts) and fits)

    def dangers(self, facts: Collection[Fact]) -> tuple[str, ...]:
        """Why it could hurt in this picture; empty where it could not."""
        return tuple(why for fact, why in self.unsafe if fact == ALWAYS or fact in facts)


@dataclass(frozen=True, slots=True)
class Person:
    """Someone to tell. step: how high the call goes, 0 nobody .. 3 the emergency team."""

    id: str
    say: str
    step: int
    wanted: tuple[Fact, ...]
    source: str


@dataclass(frozen=True, slots=True)
class MeasureTable:
    """All options and all people, in the order they are shown."""

    measures: tuple[Measure, ...]
    people: tuple[Person, ...]

    def measure(self, name: str) -> Measure:
        """One option by its id. Raises PolicyError."""
        return _find(self.measures, name, "measure")

    def person(self, name: str) -> Person:
        """One person by id. Raises PolicyError."""
        return _find(self.people, name, "person to tell")

    def wanted(self, facts: Collection[Fact]) -> tuple[Measure, ...]:
        """The options this picture calls for."""
        return tuple(
            one for one in self.measures if one.is_wanted(facts) and not one.dangers(facts)
        )

    def lowest_call(self, facts: Collection[Fact]) -> Person:
        """The lowest step of telling that the picture allows."""
        called = [p for p in self.people if any(f in facts for f in p.wanted)]
        return max(called, key=lambda p: p.step, default=self.people[0])


def _find(among: Sequence[T], name: str, kind: str) -> T:
    for one in among:
        if one.id == name:
            return one
    raise PolicyError(
        f"there is no {kind} {name!r}.",
        remedy="Choose one of: " + ", ".join(one.id for one in among) + ".",
    )


@cache
def measure_table() -> MeasureTable:
    """The table that ships with Ebbline, checked."""
    text = files("ebbline.teach").joinpath("measures.yaml").read_text(encoding="utf-8")
    return table_from_data(yaml.safe_load(text))


def table_from_data(data: Any) -> MeasureTable:
    """A checked table from plain data. Raises PolicyError for facts and sources not known."""
    sources = data["sources"]

    def facts(entry: dict[str, Any], key: str) -> tuple[Fact, ...]:
        return tuple(_fact(name, entry["id"]) for name in entry.get(key, ()))

    def source(entry: dict[str, Any]) -> str:
        if entry["source"] not in sources:
            raise PolicyError(
                f"source {entry['source']!r} is not listed.",
                where=entry["id"],
                remedy="Add it to `sources`.",
            )
        return str(sources[entry["source"]])

    measures = tuple(
        Measure(
            id=entry["id"],
            say=entry["say"],
            does=entry.get("does", ""),
            wanted=facts(entry, "wanted"),
            needs=facts(entry, "needs"),
            accepts=facts(entry, "accepts"),
            unless=facts(entry, "unless"),
            unsafe=tuple(
                (name if name == ALWAYS else _fact(name, entry["id"]), why)
                for name, why in entry.get("unsafe", {}).items()
            ),
            unsupported=entry.get("unsupported", ""),
            source=source(entry),
        )
        for entry in data["measures"]
    )
    people = tuple(
        Person(entry["id"], entry["say"], entry["step"], facts(entry, "wanted"), source(entry))
        for entry in data["telling"]
    )
    return MeasureTable(measures, people)


def _fact(name: str, where: str) -> Fact:
    try:
        return Fact(name)
    except ValueError:
        raise PolicyError(
            f"{name!r} is not a fact that can be told.",
            where=where,
            remedy="Use one of: " + ", ".join(Fact) + ".",
        ) from None


@dataclass(frozen=True, slots=True)
class Choice:
    """What was chosen at a minute of the case, with the facts that held then."""

    measure: str
    minute: float
    facts: frozenset[Fact]


SILENCE = "Told nobody who could come at once"
EMERGENCY_STEP = 3


def unsafe_silence(
    calls: Sequence[Call], facts: Collection[Fact], minute: float
) -> tuple[UnsafeChoice, ...]:
    """Nobody beyond the usual was told where the picture asks for the emergency team."""
    table = measure_table()
    asked = table.lowest_call(facts)
    told = max((table.person(call.person).step for call in calls), default=0)
    if asked.step < EMERGENCY_STEP or told >= EMERGENCY_STEP - 1:
        return ()
    named = sorted(fact for fact in facts if fact in asked.wanted)
    why = "This picture needs people at once: " + ", ".join(named) + "."
    return (UnsafeChoice(SILENCE, why, asked.source, minute),)


@dataclass(frozen=True, slots=True)
class Call:
    """Who was told at a minute of the case, with the facts that held then."""

    person: str
    minute: float
    facts: frozenset[Fact]


def unsafe_choices(choices: Sequence[Choice]) -> tuple[UnsafeChoice, ...]:
    """The choices that could have hurt, each judged by the facts at its own minute."""
    table = measure_table()
    found = []
    for choice in choices:
        measure = table.measure(choice.measure)
        dangers = measure.dangers(choice.facts)
        if dangers:
            why = " ".join(dangers)
            found.append(UnsafeChoice(measure.say, why, measure.source, choice.minute))
    return tuple(found)


LATE_FROM_MIN, LATE_TO_MIN = 10.0, 40.0
"""Minutes after the picture called for it: up to which a measure or a call counts whole, and from
which it counts nothing (ours; the dangers of threats.yaml have their own, shorter ones)."""

IDLE_COSTS = 0.25
"""Share of the measures' points that each measure takes which fits nothing (ours)."""


def promptness(minute: float, since: float) -> float:
    """Share of the points for something done at a minute, wanted since another."""
    late = minute - since
    return min(1.0, max(0.0, (LATE_TO_MIN - late) / (LATE_TO_MIN - LATE_FROM_MIN)))


def score_measures(
    choices: Sequence[Choice],
    calls: Sequence[Call],
    facts: Collection[Fact],
    *,
    since: float | None = None,
    milder: Collection[Fact] = (),
    moments: Sequence[tuple[float, Collection[Fact]]] = (),
) -> Score:
    """Choices and calls against what the picture at the decision (facts) calls for.

    Of the measures called for, the share that was chosen; measures that fit nothing take a
    quarter of the points each (unsafe ones are told apart, not scored here). Telling: the lowest
    step the picture asks for or the one above gets all, two above gets half, below it none. since:
    minute from which the picture could be known; what comes late counts less (`promptness`). None:
    time does not count here. milder: the facts as another careful reader would have them; both
    count where the truth lies on a border. moments: (minute, facts) at which the picture was looked
    at; what was not called for yet at one of them counts from the next at which it was.
    """
    table = measure_table()
    pictures = [facts, milder] if milder else [facts]
    wanted = tuple(
        measure
        for measure in table.wanted(facts)
        if all(measure in table.wanted(picture) for picture in pictures)
    )
    first: dict[str, float] = {}
    for choice in choices:
        first.setdefault(choice.measure, choice.minute)
    idle = [
        measure
        for name in sorted(first)
        for measure in (table.measure(name),)
        if not any(measure.is_accepted(picture) for picture in pictures)
        and not any(measure.is_accepted(c.facts) for c in choices if c.measure == name)
        and not measure.dangers(facts)
    ]
    hits = [
        1.0
        if since is None
        else promptness(first[measure.id], _called_for_from(measure, since, moments))
        for measure in wanted
        if measure.id in first
    ]
    share = sum(hits) / len(wanted) if wanted else 1.0
    share = max(0.0, share - IDLE_COSTS * len(idle))
    telling = _telling(table, calls, facts, since, milder)
    if not wanted and not first:  # nothing called for, nothing chosen: no skill was shown
        return Score((telling,), skills=(("telling", telling.share),))
    rule = RULES["measures"]
    notes = [f"{measure.say}: {measure.unsupported}" for measure in idle if measure.unsupported]
    if any(hit < 1.0 for hit in hits):
        notes.append("some of it came late")
    measures = ScoreLine(
        "measures",
        "; ".join(table.measure(name).say for name in sorted(first)) or "none",
        "; ".join(measure.say for measure in wanted) or "nothing beyond watching",
        share * rule.possible,
        rule.possible,
        rule.words,
        "; ".join(dict.fromkeys(measure.source for measure in wanted)) or rule.citation,
        " ".join(notes),
    )
    return Score((measures, telling), skills=(("measures", share), ("telling", telling.share)))


def _called_for_from(
    measure: Measure, since: float, moments: Sequence[tuple[float, Collection[Fact]]]
) -> float:
    """From when a measure was called for: later than since only where a look shows that."""
    start, not_yet = since, False
    for minute, facts in sorted(moments, key=lambda moment: moment[0]):
        if minute < since:
            continue
        if not measure.is_wanted(facts):
            not_yet = True
        elif not_yet:
            return minute
        else:
            return start
    return start


def _telling(
    table: MeasureTable,
    calls: Sequence[Call],
    facts: Collection[Fact],
    since: float | None,
    milder: Collection[Fact],
) -> ScoreLine:
    rule = RULES["telling"]
    asked = table.lowest_call(facts)
    least = min(asked.step, table.lowest_call(milder).step) if milder else asked.step
    told = max((table.person(call.person) for call in calls), key=lambda p: p.step, default=None)
    note = ""
    if told is None:
        share, said = float(least == 0), "nobody"
    else:
        share, said = 0.0, told.say
        if told.step >= least:
            share = 1.0 if told.step - asked.step <= 1 else 0.5
            note = "more people than this picture needed" if share == 0.5 else ""
            reached = min(c.minute for c in calls if table.person(c.person).step >= least)
            if since is not None and least > 0 and promptness(reached, since) < 1.0:
                share, note = share * promptness(reached, since), "told late"
    return ScoreLine(
        "telling",
        said,
        asked.say,
        share * rule.possible,
        rule.possible,
        rule.words,
        asked.source,
        note,
    )
