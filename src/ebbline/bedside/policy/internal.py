"""Internal sensors: what must be so, what must not, and what asks for care.

Unknown counts as not met, and the check says what to find out. The check never says that a
sensor should be used: it says whether the list stands against it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum
from pathlib import Path

from ebbline import CAUTION
from ebbline.bedside.policy.common import (
    HEAD,
    Differs,
    PolicyHead,
    differences,
    head,
    open_policy,
    source,
    sources,
)
from ebbline.bedside.policy.reader import Entry
from ebbline.bedside.sources import Source
from ebbline.errors import ExaminationError


class Answer(StrEnum):
    """How a fact is told."""

    YES_NO = "yes or no"
    NUMBER = "number"
    CHOICE = "choice"


@dataclass(frozen=True, slots=True)
class Fact:
    """Something to know before an internal sensor. choices: the words of a choice."""

    name: str
    question: str
    answer: Answer
    choices: tuple[str, ...]
    unit: str
    low: float
    high: float


class LineKind(StrEnum):
    """What a line of the list is."""

    REQUIREMENT = "requirement"
    CONTRAINDICATION = "contraindication"
    CAUTION = "caution"


@dataclass(frozen=True, slots=True)
class PolicyLine:
    """One line of the list.

    fact: what it asks. A requirement is met, and the others are present, when the fact is one of
    `one_of`, or at least `at_least`, or below `below` (None: not asked).
    """

    id: str
    kind: LineKind
    fact: str
    one_of: tuple[str, ...]
    at_least: float | None
    below: float | None
    text: str
    find_out: str
    source: str
    differs: tuple[Differs, ...]

    def holds(self, value: str | float) -> bool:
        """Whether the line's condition holds of a known fact."""
        if isinstance(value, str):
            return value in self.one_of
        if self.at_least is not None and value < self.at_least:
            return False
        return self.below is None or value < self.below


@dataclass(frozen=True, slots=True)
class InternalPolicy:
    """The lists for each sensor. sensors: short name to title; lines: short name to lines."""

    head: PolicyHead
    facts: Mapping[str, Fact]
    sensors: Mapping[str, str]
    lines: Mapping[str, tuple[PolicyLine, ...]]


_YES_NO = ("yes", "no")


def load_internal(path: Path | None = None) -> InternalPolicy:
    """The policy for internal sensors. Raises PolicyError, with the line, for what is not valid."""
    top, file = open_policy("internal", path)
    fields = top.fields((*HEAD, "facts", "sensors"))
    known = sources(fields["sources"])
    facts = {entry.name: _fact(entry) for entry in fields["facts"].entries()}
    titles, lines = {}, {}
    for entry in fields["sensors"].entries():
        inner = entry.fields(("title", "lines"))
        titles[entry.name] = inner["title"].text()
        made = tuple(_line(one, facts, known) for one in inner["lines"].items())
        for i, one in enumerate(inner["lines"].items()):
            if any(made[i].id == earlier.id for earlier in made[:i]):
                raise one.error(f"the id '{made[i].id}' stands twice.", "Give each its own.")
        lines[entry.name] = made
    if not titles:
        raise fields["sensors"].error("no sensor is listed.")
    return InternalPolicy(head(fields, "internal sensors", file), facts, titles, lines)


def _fact(entry: Entry) -> Fact:
    fields = entry.fields(("question", "answer"), ("choices", "unit", "from", "to"))
    answer = Answer(fields["answer"].choice([a.value for a in Answer]))
    choices: tuple[str, ...] = _YES_NO if answer is Answer.YES_NO else ()
    if answer is Answer.CHOICE:
        if "choices" not in fields:
            raise entry.error("a choice needs 'choices'.")
        choices = tuple(one.text() for one in fields["choices"].items())
    low, high = 0.0, 1e9
    if answer is Answer.NUMBER:
        if not {"from", "to"} <= fields.keys():
            raise entry.error("a number needs 'from' and 'to', the least and most that can be.")
        low, high = fields["from"].number(), fields["to"].number()
    return Fact(
        entry.name,
        fields["question"].text(),
        answer,
        choices,
        fields["unit"].text() if "unit" in fields else "",
        low,
        high,
    )


def _line(entry: Entry, facts: Mapping[str, Fact], known: Mapping[str, Source]) -> PolicyLine:
    fields = entry.fields(
        ("id", "kind", "fact", "when", "text", "find_out", "source"), ("differs",)
    )
    fact = facts[fields["fact"].choice(facts)]
    one_of, at_least, below = _condition(fields["when"], fact)
    return PolicyLine(
        fields["id"].text(),
        LineKind(fields["kind"].choice([k.value for k in LineKind])),
        fact.name,
        one_of,
        at_least,
        below,
        fields["text"].text(),
        fields["find_out"].text(),
        source(fields["source"], known),
        differences(fields.get("differs"), known),
    )


def _condition(entry: Entry, fact: Fact) -> tuple[tuple[str, ...], float | None, float | None]:
    if fact.answer is Answer.NUMBER:
        inner = entry.fields((), ("at_least", "below"))
        if not inner:
            raise entry.error("a number is compared by 'at_least' or 'below'.")
        at_least = inner["at_least"].number() if "at_least" in inner else None
        return (), at_least, inner["below"].number() if "below" in inner else None
    words = entry.items() if entry.is_list else (entry,)
    if fact.answer is Answer.YES_NO:
        return tuple("yes" if word.truth() else "no" for word in words), None, None
    return tuple(word.choice(fact.choices) for word in words), None, None


class LineState(StrEnum):
    """What a line comes to with what is known."""

    CLEAR = "clear"
    NOT_MET = "not met"
    PRESENT = "present"
    UNKNOWN = "unknown, counts as not met"


@dataclass(frozen=True, slots=True)
class LineResult:
    """One line with what is known. known: the fact as told, or "unknown"."""

    line: PolicyLine
    state: LineState
    known: str


class Verdict(StrEnum):
    """What the list as a whole says."""

    NOT_AGAINST = "nothing on the list stands against it"
    UNKNOWN = "not met: something is still unknown"
    AGAINST = "the list stands against it"


@dataclass(frozen=True, slots=True)
class InternalCheck:
    """The check of one sensor.

    results: every line, those against it first. find_out: what to find out. cautions: texts of
    the cautions that are present or unknown.
    """

    sensor: str
    title: str
    policy: PolicyHead
    verdict: Verdict
    results: tuple[LineResult, ...]
    find_out: tuple[str, ...]
    cautions: tuple[str, ...]
    caution: str


_WORDS_FOR_UNKNOWN = ("unknown", "?", "")


def told(policy: InternalPolicy, given: Mapping[str, str]) -> dict[str, str | float]:
    """Facts from words, checked; what is unknown is left out.

    Raises ExaminationError, with suggestions, for unknown names and words.
    """
    made: dict[str, str | float] = {}
    for name, text in given.items():
        plain = name.strip().lower().replace("_", "-").replace(" ", "-")
        if plain not in policy.facts:
            raise ExaminationError(
                f"'{name}' is not asked by this list.",
                where="fact",
                remedy=_suggest(plain, policy.facts),
            )
        value = " ".join(text.strip().lower().split())
        if value in _WORDS_FOR_UNKNOWN:
            continue
        made[plain] = _value(policy.facts[plain], value)
    return made


def _value(fact: Fact, text: str) -> str | float:
    if fact.answer is not Answer.NUMBER:
        plain = {"y": "yes", "n": "no", "true": "yes", "false": "no"}.get(text, text)
        plain = plain if fact.answer is Answer.YES_NO else text.replace("-", " ")
        if plain not in fact.choices:
            raise ExaminationError(
                f"'{text}' is not an answer here.",
                where=fact.name,
                remedy=_suggest(plain, [*fact.choices, "unknown"]),
            )
        return plain
    try:
        number = float(text.removesuffix(fact.unit).strip())
    except ValueError:
        number = float("nan")
    if not fact.low <= number <= fact.high:
        raise ExaminationError(
            f"'{text}' cannot be.",
            where=fact.name,
            remedy=f"Give a number from {fact.low:g} to {fact.high:g} {fact.unit}".strip() + ".",
        )
    return number


def _suggest(word: str, known: Mapping[str, object] | list[str]) -> str:
    words = list(known)
    close = get_close_matches(word, words, n=2, cutoff=0.6)
    return f"Did you mean {' or '.join(close)}?" if close else f"Known are: {', '.join(words)}."


def check_internal(
    sensor: str, given: Mapping[str, str], policy: InternalPolicy | None = None
) -> InternalCheck:
    """Check one internal sensor against the list with what is known.

    sensor: "electrode" or "catheter" (or as the policy names them); given: fact to answer in
    words. Raises ExaminationError for unknown names and words.
    """
    policy = load_internal() if policy is None else policy
    if sensor not in policy.lines:
        raise ExaminationError(
            f"'{sensor}' is not on the list.",
            where="sensor",
            remedy=_suggest(sensor, policy.lines),
        )
    known = told(policy, given)
    results = [_result(line, known) for line in policy.lines[sensor]]
    order = [LineState.PRESENT, LineState.NOT_MET, LineState.UNKNOWN, LineState.CLEAR]
    results.sort(key=lambda r: (order.index(r.state), r.line.kind is LineKind.CAUTION))
    binding = [r for r in results if r.line.kind is not LineKind.CAUTION]
    if any(r.state in (LineState.PRESENT, LineState.NOT_MET) for r in binding):
        verdict = Verdict.AGAINST
    elif any(r.state is LineState.UNKNOWN for r in binding):
        verdict = Verdict.UNKNOWN
    else:
        verdict = Verdict.NOT_AGAINST
    unknown = [r for r in results if r.state is LineState.UNKNOWN]
    return InternalCheck(
        sensor,
        policy.sensors[sensor],
        policy.head,
        verdict,
        tuple(results),
        tuple(dict.fromkeys(r.line.find_out for r in unknown)),
        tuple(
            r.line.text
            for r in results
            if r.line.kind is LineKind.CAUTION and r.state is not LineState.CLEAR
        ),
        CAUTION,
    )


def _result(line: PolicyLine, known: Mapping[str, str | float]) -> LineResult:
    value = known.get(line.fact)
    if value is None:
        return LineResult(line, LineState.UNKNOWN, "unknown")
    said = value if isinstance(value, str) else f"{value:g}"
    holds = line.holds(value)
    if line.kind is LineKind.REQUIREMENT:
        return LineResult(line, LineState.CLEAR if holds else LineState.NOT_MET, said)
    return LineResult(line, LineState.PRESENT if holds else LineState.CLEAR, said)
