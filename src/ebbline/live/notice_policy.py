"""The policy of notices: when a prompt is given, repeated, passed on; each limit's source."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path

from ebbline.bedside.policy.common import PolicyHead, head, source, sources
from ebbline.bedside.policy.reader import Entry, parse, read_file
from ebbline.bedside.sources import Source

URGENCIES = ("look", "soon", "now")
"""How urgent a notice is, the least first."""

KINDS = (
    "prolonged-fall",
    "bradycardia",
    "signal-lost",
    "mother-suspected",
    "tachysystole",
    "class-worsened",
    "review-overdue",
)
"""Every notice there is; a unit that does not want one leaves it out of its policy."""


@dataclass(frozen=True, slots=True)
class Grade:
    """One limit of a notice. after_s: how long it must have held. below_bpm: NaN where no rate."""

    after_s: float
    urgency: str
    rule: str
    source: str
    below_bpm: float

    @property
    def name(self) -> str:
        """What tells the grades of a notice apart."""
        limit = "" if math.isnan(self.below_bpm) else f" under {self.below_bpm:g}"
        return f"{self.after_s / 60:g} min{limit}"


@dataclass(frozen=True, slots=True)
class NoticeRule:
    """One kind of notice; its grades from the least on."""

    kind: str
    title: str
    again_s: float
    escalate_s: float
    grades: tuple[Grade, ...]


@dataclass(frozen=True, slots=True)
class NoticePolicy:
    """All of it."""

    head: PolicyHead
    rules: tuple[NoticeRule, ...]

    def rule(self, kind: str) -> NoticeRule | None:
        """The rule of a kind, or None where the unit has left it out."""
        return next((one for one in self.rules if one.kind == kind), None)


def load_notices(path: Path | None = None) -> NoticePolicy:
    """The policy in a file, or the one that is shipped. Raises PolicyError saying which line."""
    return _shipped() if path is None else _policy(parse(read_file(path), str(path)), str(path))


@cache
def _shipped() -> NoticePolicy:
    text = resources.files("ebbline.live.policies").joinpath("notices.yaml").read_text("utf-8")
    return _policy(parse(text, "shipped notices.yaml"), "shipped")


def _policy(top: Entry, file: str) -> NoticePolicy:
    fields = top.fields(("policy", "edition", "sources", "notices"))
    known = sources(fields["sources"])
    rules = []
    for one in fields["notices"].entries():
        if one.name not in KINDS:
            raise one.error(f"there is no notice '{one.name}'.", "Known are: " + ", ".join(KINDS))
        rules.append(_rule(one, known))
    return NoticePolicy(head(fields, "notices", file), tuple(rules))


def _rule(entry: Entry, known: Mapping[str, Source]) -> NoticeRule:
    fields = entry.fields(("title", "again_min", "escalate_min", "grades"))
    grades = tuple(_grade(one, known) for one in fields["grades"].items())
    if not grades:
        raise fields["grades"].error("a notice needs a limit.", "Leave the notice out instead.")
    return NoticeRule(
        entry.name,
        fields["title"].text(),
        60.0 * _between(fields["again_min"], 0, 24 * 60),
        60.0 * _between(fields["escalate_min"], 0.5, 24 * 60),
        grades,
    )


def _grade(entry: Entry, known: Mapping[str, Source]) -> Grade:
    fields = entry.fields(("after_min", "urgency", "source", "rule"), ("below_bpm",))
    below = fields.get("below_bpm")
    return Grade(
        60.0 * _between(fields["after_min"], 0, 24 * 60),
        fields["urgency"].choice(URGENCIES),
        fields["rule"].text(),
        source(fields["source"], known),
        math.nan if below is None else _between(below, 30, 250),
    )


def _between(entry: Entry, low: float, high: float) -> float:
    value = entry.number()
    if not low <= value <= high:
        raise entry.error(f"'{entry.name}' must lie between {low:g} and {high:g}.")
    return value
