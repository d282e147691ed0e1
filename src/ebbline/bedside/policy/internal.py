"""Internal sensors: what must be so, what must not, and what asks for care.

Unknown counts as not met, and the check says what to find out. The check never says that a
sensor should be used: it says whether the list stands against it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from enum import StrEnum
from pathlib import Path

from ebbline import CAUTION
from ebbline.bedside.number_words import weeks_from, weeks_words
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
from ebbline.errors import ContextError, ExaminationError


class Answer(StrEnum):
    """How a fact is told."""

    YES_NO = "yes or no"
    NUMBER = "number"
    CHOICE = "choice"


@dataclass(frozen=True, slots=True)
class Fact:
    """Something to know before an internal sensor.

    choices: the words of a choice. words: other words for them; "unknown" for what sounds like an
    answer and is none. no_when: facts whose "no" makes this one "no".
    """

    name: str
    question: str
    answer: Answer
    choices: tuple[str, ...]
    unit: str
    low: float
    high: float
    words: Mapping[str, str]
    no_when: tuple[str, ...]


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
    """The lists for each sensor.

    sensors: short name to title; lines: short name to lines. dropped: by sensor, lines of the
    shipped list that this one does not have.
    """

    head: PolicyHead
    facts: Mapping[str, Fact]
    sensors: Mapping[str, str]
    lines: Mapping[str, tuple[PolicyLine, ...]]
    dropped: Mapping[str, tuple[str, ...]]


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
        if not made:
            raise inner["lines"].error(
                "no line is listed: an empty list would stand against nothing.",
                "List what must be so and what must not, or leave the sensor out.",
            )
        for i, one in enumerate(inner["lines"].items()):
            _refuse_against_earlier(made[i], made[:i], one)
        lines[entry.name] = made
    if not titles:
        raise fields["sensors"].error("no sensor is listed.")
    return InternalPolicy(
        head(fields, "internal sensors", file),
        facts,
        titles,
        lines,
        {} if path is None else _dropped(lines),
    )


def _dropped(lines: Mapping[str, tuple[PolicyLine, ...]]) -> dict[str, tuple[str, ...]]:
    """What a unit's own list leaves out of the shipped one, by sensor."""
    made = {}
    for sensor, shipped in load_internal().lines.items():
        kept = {line.id for line in lines.get(sensor, ())}
        if sensor in lines:
            made[sensor] = tuple(line.id for line in shipped if line.id not in kept)
    return made


def _refuse_against_earlier(line: PolicyLine, earlier: Sequence[PolicyLine], entry: Entry) -> None:
    """Raise PolicyError where a requirement and a contraindication forbid every answer."""
    binding = [x for x in earlier if x.fact == line.fact and x.kind is not LineKind.CAUTION]
    if line.kind is LineKind.CAUTION or not binding:
        return
    wanted = [x for x in (*binding, line) if x.kind is LineKind.REQUIREMENT]
    unwanted = [x for x in (*binding, line) if x.kind is LineKind.CONTRAINDICATION]
    if not wanted:
        return
    answers = {word for x in (*wanted, *unwanted) for word in x.one_of}
    edges = [e for x in (*wanted, *unwanted) for e in (x.at_least, x.below) if e is not None]
    tried: list[str | float] = [*answers, *(e + d for e in edges for d in (-0.001, 0.0, 0.001))]
    if not any(
        all(x.holds(v) for x in wanted) and not any(x.holds(v) for x in unwanted) for v in tried
    ):
        raise entry.error(
            f"no answer to '{line.fact}' can meet this list: it asks for what it also forbids.",
            f"Compare with: {', '.join(x.id for x in binding)}.",
        )


def _fact(entry: Entry) -> Fact:
    fields = entry.fields(
        ("question", "answer"), ("choices", "unit", "from", "to", "words", "no_when")
    )
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
        _other_words(fields, choices),
        tuple(one.text() for one in fields["no_when"].items()) if "no_when" in fields else (),
    )


def _other_words(fields: Mapping[str, Entry], choices: Sequence[str]) -> dict[str, str]:
    if "words" not in fields:
        return {}
    known = (*choices, "unknown")
    return {one.name: one.choice(known) for one in fields["words"].entries()}


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
        below = inner["below"].number() if "below" in inner else None
        least = fact.low if at_least is None else at_least
        most = fact.high + 1 if below is None else below
        if least >= most or least > fact.high or most <= fact.low:
            raise entry.error(
                "no number can be so: the line would never fire.",
                "'at_least' must be less than 'below', both within the fact's 'from' and 'to'.",
            )
        return (), at_least, below
    words = entry.items() if entry.is_list else (entry,)
    if not words:
        raise entry.error("no answer is listed: the line would never fire.")
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
    """What the list as a whole says.

    AGAINST: something told stands against it. UNKNOWN: something that must be known was not told.
    CARE: nothing stands against it, and something asks for care. NOT_AGAINST: all was told, and
    nothing stands against it.
    """

    NOT_AGAINST = "nothing on the list stands against it"
    CARE = "nothing stands against it; it asks for care"
    UNKNOWN = "not told: something is still to be found out"
    AGAINST = "the list stands against it"


@dataclass(frozen=True, slots=True)
class InternalCheck:
    """The check of one sensor.

    results: every line, those against it first. find_out: what to find out. cautions: texts of
    the cautions that are present or not told; care: of those that are present. dropped: lines of
    the shipped list that the unit's own leaves out.
    """

    sensor: str
    title: str
    policy: PolicyHead
    verdict: Verdict
    results: tuple[LineResult, ...]
    find_out: tuple[str, ...]
    cautions: tuple[str, ...]
    care: tuple[str, ...]
    dropped: tuple[str, ...]
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
        fact = policy.facts[plain]
        value = fact.words.get(value, value)
        if value in _WORDS_FOR_UNKNOWN:
            continue
        made[plain] = _value(fact, value)
    for fact in policy.facts.values():
        if fact.name not in made and any(made.get(other) == "no" for other in fact.no_when):
            made[fact.name] = "no"
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
        bare = text.removesuffix(fact.unit).strip()
        number = weeks_from(bare) if fact.unit == "weeks" else float(bare)
    except (ValueError, ContextError):
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
    results = [_result(line, known, policy.facts) for line in policy.lines[sensor]]
    order = [LineState.PRESENT, LineState.NOT_MET, LineState.UNKNOWN, LineState.CLEAR]
    results.sort(key=lambda r: (order.index(r.state), r.line.kind is LineKind.CAUTION))
    binding = [r for r in results if r.line.kind is not LineKind.CAUTION]
    if any(r.state in (LineState.PRESENT, LineState.NOT_MET) for r in binding):
        verdict = Verdict.AGAINST
    elif any(r.state is LineState.UNKNOWN for r in binding):
        verdict = Verdict.UNKNOWN
    elif any(r.state is LineState.PRESENT for r in results):
        verdict = Verdict.CARE
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
        tuple(
            r.line.text
            for r in results
            if r.line.kind is LineKind.CAUTION and r.state is LineState.PRESENT
        ),
        policy.dropped.get(sensor, ()),
        CAUTION,
    )


def _result(
    line: PolicyLine, known: Mapping[str, str | float], facts: Mapping[str, Fact]
) -> LineResult:
    value = known.get(line.fact)
    if value is None:
        return LineResult(line, LineState.UNKNOWN, "unknown")
    if isinstance(value, str):
        said = value
    else:
        said = weeks_words(value) if facts[line.fact].unit == "weeks" else f"{value:g}"
    holds = line.holds(value)
    if line.kind is LineKind.REQUIREMENT:
        return LineResult(line, LineState.CLEAR if holds else LineState.NOT_MET, said)
    return LineResult(line, LineState.PRESENT if holds else LineState.CLEAR, said)
