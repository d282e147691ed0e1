"""What a line of a standard's table is, and how a reason is made from it and a finding.

A threshold stands once, on its line. The sentence shown to a reader is made from the line and the
number found, so that the two cannot drift apart.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, field
from enum import StrEnum

from ebbline.criteria.model import Level, Reason, Standard
from ebbline.definitions import Source
from ebbline.terms import Window

NOT_NUMERIC = math.nan


class Compare(StrEnum):
    """How a finding is held against a threshold."""

    BELOW = "below"
    AT_MOST = "at most"
    ABOVE = "above"
    AT_LEAST = "at least"
    WITHIN = "within"
    PRESENT = "present"


class Part(StrEnum):
    """What a line of a table is for."""

    CLASS = "decides the class"
    NOTE = "stated, does not decide"
    TERM = "defines a term"
    LIMIT = "limits what a class can rest on"


@dataclass(frozen=True, slots=True)
class Rule:
    """One line of a standard's table.

    id: never changes once published. feature, verdict: the standard's words. says: what is
    measured, as a sentence begins. compare, threshold, upper (WITHIN only), unit: the comparison;
    a share is held as 0..1 and shown in per cent. rank: the class that meeting this line makes at
    least (0 the best class). section: where in the source. note: a reading of ours, if any.
    from_memory: the value was not re-read in the source. Made of these: condition, the comparison
    in words ('more than 50 min'); citation, where the line is published, with '(from memory)'.
    """

    id: str
    part: Part
    feature: str
    verdict: str
    level: Level
    says: str
    compare: Compare
    source: Source
    section: str
    rank: int = 0
    threshold: float = NOT_NUMERIC
    upper: float = NOT_NUMERIC
    unit: str = ""
    note: str = ""
    from_memory: bool = False
    condition: str = field(init=False)
    citation: str = field(init=False)

    def __post_init__(self) -> None:
        object.__setattr__(self, "condition", self._in_words())
        object.__setattr__(self, "citation", self._cited())

    def met(self, value: float) -> bool:
        """Whether a value meets the line. NaN meets none."""
        match self.compare:
            case Compare.BELOW:
                return value < self.threshold
            case Compare.AT_MOST:
                return value <= self.threshold
            case Compare.ABOVE:
                return value > self.threshold
            case Compare.AT_LEAST:
                return value >= self.threshold
            case Compare.WITHIN:
                return self.threshold <= value <= self.upper
            case Compare.PRESENT:
                return value > 0

    @property
    def recalled(self) -> bool:
        """Whether the value, or its whole source, was not re-read."""
        return self.from_memory or self.source.from_memory

    def _in_words(self) -> str:
        limit = _quantity(self.threshold, self.unit)
        match self.compare:
            case Compare.BELOW:
                return f"under {limit}"
            case Compare.AT_MOST:
                return f"{limit} or less"
            case Compare.ABOVE:
                return f"more than {limit}"
            case Compare.AT_LEAST:
                return f"{limit} or more"
            case Compare.WITHIN:
                return f"{_number(self.threshold, self.unit)} to {_quantity(self.upper, self.unit)}"
            case Compare.PRESENT:
                return "present"

    def _cited(self) -> str:
        place = f", {self.section}" if self.section else ""
        return f"{self.source.full}{place}{' (from memory)' if self.recalled else ''}"


@dataclass(frozen=True, slots=True)
class Table:
    """The lines of one standard.

    title: its name in a sentence. scope: when it is read. classes: its words for the class, best
    first. limits: what a class needs to rest on, beside the standard's own lines. alarm_rank: the
    class that is given on any signal once a criterion of it is met, since each is enough by
    itself; None when the standard has no such class.
    """

    standard: Standard
    edition: str
    title: str
    scope: str
    classes: tuple[str, ...]
    rules: tuple[Rule, ...]
    limits: tuple[Rule, ...]
    alarm_rank: int | None = 2

    def rule(self, rule_id: str) -> Rule:
        """The line with this id. Raises KeyError when there is none."""
        for rule in (*self.rules, *self.limits):
            if rule.id == rule_id:
                return rule
        raise KeyError(rule_id)


def reason(
    rule: Rule,
    value: float = NOT_NUMERIC,
    *,
    evidence: Iterable[Window] = (),
    detail: str = "",
    level: Level | None = None,
) -> Reason:
    """The line applied to what was found: 'Baseline 95 bpm: under 100 bpm.'

    detail is added to the sentence; level replaces the line's own where the same line weighs
    differently (an alarm that could not be settled).
    """
    head = rule.says
    if not math.isnan(value):
        head = f"{head} {shown(value, rule)}"
    if rule.compare is not Compare.PRESENT:
        head = f"{head}: {rule.condition}"
    added = f" ({detail})" if detail else ""
    threshold = rule.threshold
    if rule.compare is Compare.WITHIN and value > rule.upper:
        threshold = rule.upper
    return Reason(
        rule=rule.id,
        feature=rule.feature,
        level=rule.level if level is None else level,
        verdict=rule.verdict,
        text=f"{head}{added}.",
        value=value,
        threshold=threshold,
        unit=rule.unit,
        evidence=tuple(evidence),
        citation=rule.citation,
    )


def shown(value: float, rule: Rule) -> str:
    """A value with as many decimals as it takes not to look like a threshold that it is not."""
    for digits in (0, 1, 2):
        shown = _number(value, rule.unit, digits)
        if shown not in (
            _number(limit, rule.unit, digits)
            for limit in (rule.threshold, rule.upper)
            if limit == limit and limit != value
        ):
            break
    return f"{shown}{_unit(rule.unit)}"


def _number(value: float, unit: str, digits: int | None = None) -> str:
    amount = 100.0 * value if unit == "%" else value
    return f"{amount:g}" if digits is None else f"{amount:.{digits}f}"


def _unit(unit: str) -> str:
    return f" {unit}" if unit else ""


def _quantity(value: float, unit: str) -> str:
    return f"{_number(value, unit)}{_unit(unit)}"
