"""The table behind the chart of progress: rows, alert values, time limits, each with its source."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from pathlib import Path

from ebbline.bedside.policy.common import HEAD, PolicyHead, head, source, sources
from ebbline.bedside.policy.reader import Entry, parse, read_file
from ebbline.bedside.sources import Source

_COMPARISONS: Mapping[str, tuple[str, Callable[[float, float], bool]]] = {
    "below": ("under", lambda value, limit: value < limit),
    "at_most": ("or fewer", lambda value, limit: value <= limit),
    "above": ("over", lambda value, limit: value > limit),
    "at_least": ("or more", lambda value, limit: value >= limit),
}
ROWS = (
    "companion",
    "pain-relief",
    "drinking",
    "posture",
    "heart",
    "falls",
    "fluid",
    "position",
    "caput",
    "moulding",
    "pulse",
    "systolic",
    "diastolic",
    "temperature",
    "protein",
    "acetone",
    "contractions",
    "lasting",
    "cervix",
    "descent",
    "station",
    "oxytocin",
    "medicine",
    "infusion",
    "assessment",
    "plan",
)
"""The rows the chart knows how to fill."""


@dataclass(frozen=True, slots=True)
class AlertRule:
    """One comparison. limit: in the row's unit, NaN where words are compared.

    words: how the rule is said, where the table says it itself.
    """

    comparison: str
    limit: float
    is_one_of: tuple[str, ...]
    source: str
    words: str = ""

    def fires(self, value: float, word: str) -> bool:
        """Whether a value asks to be looked at; a value that is not there never does."""
        if self.is_one_of:
            return word in self.is_one_of
        return not math.isnan(value) and _COMPARISONS[self.comparison][1](value, self.limit)

    def said(self, unit: str) -> str:
        """The rule in words: 'under 110 bpm', '160 bpm or more'."""
        if self.words:
            return self.words
        if self.is_one_of:
            return " or ".join(self.is_one_of)
        word = _COMPARISONS[self.comparison][0]
        number = f"{self.limit:g}" if unit == "+" else f"{self.limit:g} {unit}".strip()
        number = "+" * int(self.limit) if unit == "+" else number
        return f"{word} {number}" if word in ("under", "over") else f"{number} {word}"


@dataclass(frozen=True, slots=True)
class RowRule:
    """A row of the chart."""

    name: str
    title: str
    unit: str
    alerts: tuple[AlertRule, ...]


@dataclass(frozen=True, slots=True)
class SectionRule:
    """A section of the chart."""

    name: str
    title: str
    rows: tuple[RowRule, ...]


@dataclass(frozen=True, slots=True)
class TimeLimit:
    """Hours from which something that has not moved asks to be looked at."""

    hours: float
    source: str


@dataclass(frozen=True, slots=True)
class ChartPolicy:
    """All of it. unchanged: by whole centimetres of dilatation."""

    head: PolicyHead
    sections: tuple[SectionRule, ...]
    unchanged: dict[int, TimeLimit]
    first_birth: TimeLimit
    later_birth: TimeLimit

    def row(self, name: str) -> RowRule:
        """A row by its name. Raises KeyError for one that the unit has left out."""
        return {row.name: row for part in self.sections for row in part.rows}[name]


def open_own(name: str, path: Path | None) -> tuple[Entry, str]:
    """The top of one of the record's tables: the unit's own, or the shipped one."""
    if path is not None:
        return parse(read_file(path), str(path)), str(path)
    shipped = resources.files("ebbline.journal.policies").joinpath(f"{name}.yaml")
    return parse(shipped.read_text("utf-8"), f"shipped {name}.yaml"), "shipped"


@cache
def load_chart(path: Path | None = None) -> ChartPolicy:
    """The table of the chart. Raises PolicyError, with the line, for what is not valid."""
    top, file = open_own("chart", path)
    fields = top.fields((*HEAD, "sections", "cervix_unchanged", "second_stage"))
    known = sources(fields["sources"])
    unchanged = {}
    for entry in fields["cervix_unchanged"].items():
        inner = entry.fields(("cm", "hours", "source"))
        cm = inner["cm"].number()
        if cm not in range(10) or int(cm) in unchanged:
            raise inner["cm"].error(f"{cm:g} cm cannot stand here.", "Give each of 0 to 9 once.")
        unchanged[int(cm)] = _limit(inner, known)
    second = fields["second_stage"].fields(("first_birth", "later_birth"))
    first, later = (
        _limit(second[name].fields(("hours", "source")), known)
        for name in ("first_birth", "later_birth")
    )
    parts = tuple(_section(entry, known) for entry in fields["sections"].entries())
    return ChartPolicy(head(fields, "chart", file), parts, unchanged, first, later)


def _limit(fields: Mapping[str, Entry], known: Mapping[str, Source]) -> TimeLimit:
    hours = fields["hours"].number()
    if not 0 < hours <= 48:
        raise fields["hours"].error(f"{hours:g} hours cannot be a limit.", "Give up to 48.")
    return TimeLimit(hours, source(fields["source"], known))


def _section(entry: Entry, known: Mapping[str, Source]) -> SectionRule:
    fields = entry.fields(("title", "rows"))
    rows = tuple(_row(one, known) for one in fields["rows"].entries())
    if not rows:
        raise entry.error(f"'{entry.name}' has no rows.")
    return SectionRule(entry.name, fields["title"].text(), rows)


def _row(entry: Entry, known: Mapping[str, Source]) -> RowRule:
    if entry.name not in ROWS:
        raise entry.error(f"the chart has no row '{entry.name}'.", f"Known: {', '.join(ROWS)}.")
    fields = entry.fields(("title",), ("unit", "alerts"))
    alerts = fields["alerts"].items() if "alerts" in fields else ()
    return RowRule(
        entry.name,
        fields["title"].text(),
        fields["unit"].text() if "unit" in fields else "",
        tuple(_alert(one, known) for one in alerts),
    )


def _alert(entry: Entry, known: Mapping[str, Source]) -> AlertRule:
    fields = entry.fields(("source",), ("is", "said", *_COMPARISONS))
    words = fields["said"].text() if "said" in fields else ""
    said = [name for name in fields if name not in ("source", "said")]
    if len(said) != 1:
        raise entry.error(
            "an alert has just one comparison.", f"Give one of: is, {', '.join(_COMPARISONS)}."
        )
    cited = source(fields["source"], known)
    name = said[0]
    if name == "is":
        several = tuple(one.text() for one in fields["is"].items())
        if not several:
            raise fields["is"].error("no word is listed.")
        return AlertRule(name, math.nan, several, cited, words)
    return AlertRule(name, fields[name].number(), (), cited, words)
