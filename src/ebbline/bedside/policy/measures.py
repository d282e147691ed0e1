"""First measures: what guidelines list for a pattern, as options for the team.

A pattern is findings together: what is listed for one may not stand beside another (nobody thinks
of sleep with late decelerations). How urgent the call is follows from the class of the trace; a
fall that lasts has a clock.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
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

LASTING = ("prolonged", "bradycardia")
"""Findings that have a clock."""
ALIASES = {"reduced-variability": "minimal-variability"}


@dataclass(frozen=True, slots=True)
class Measure:
    """One option and where it is listed.

    findings: it is listed for any of them, with all of `together`, with one of `with_any` where
    that is not empty, and with none of `not_with`. cautions: when not, and what to watch.
    """

    text: str
    findings: tuple[str, ...]
    together: tuple[str, ...]
    with_any: tuple[str, ...]
    not_with: tuple[str, ...]
    source: str
    cautions: tuple[Differs, ...]
    differs: tuple[Differs, ...]

    def listed_for(self, found: Sequence[str]) -> bool:
        """Whether it stands for findings together."""
        names = set(found)
        return (
            bool(names & set(self.findings))
            and names >= set(self.together)
            and (not self.with_any or bool(names & set(self.with_any)))
            and not names & set(self.not_with)
        )


@dataclass(frozen=True, slots=True)
class ClockStep:
    """What is listed once a fall has lasted so many minutes. reached: None where not told."""

    from_min: float
    text: str
    source: str
    reached: bool | None = None


@dataclass(frozen=True, slots=True)
class Call:
    """How urgent the call is, by the class of the trace. urgency: "now" or "soon"."""

    text: str
    urgency: str
    classes: tuple[str, ...]
    source: str


@dataclass(frozen=True, slots=True)
class MeasurePolicy:
    """The list. findings: short word to title, in the order to be shown; calls: the most urgent
    first; clock: in rising minutes."""

    head: PolicyHead
    findings: Mapping[str, str]
    calls: tuple[Call, ...]
    clock: tuple[ClockStep, ...]
    measures: tuple[Measure, ...]


@dataclass(frozen=True, slots=True)
class MeasureList:
    """Options for what was found.

    call: how urgent the call is, by the classes that were told; None where none asks for one.
    clock: for a fall that lasts, else empty. nothing_listed: findings the policy has nothing for.
    """

    findings: tuple[str, ...]
    titles: tuple[str, ...]
    call: Call | None
    clock: tuple[ClockStep, ...]
    measures: tuple[Measure, ...]
    nothing_listed: tuple[str, ...]
    policy: PolicyHead
    note: str
    caution: str


OPTIONS_NOTE = "Options that guidelines list, for the team under local policy; not orders."


def load_measures(path: Path | None = None) -> MeasurePolicy:
    """The list of first measures. Raises PolicyError, with the line, for what is not valid."""
    top, file = open_policy("measures", path)
    fields = top.fields((*HEAD, "findings", "measures"), ("calls", "clock"))
    known = sources(fields["sources"])
    findings = {entry.name: entry.text() for entry in fields["findings"].entries()}
    measures = tuple(_measure(entry, findings, known) for entry in fields["measures"].items())
    if not measures:
        raise fields["measures"].error("no measure is listed.", "List one, or leave the file out.")
    clock = [_clock_step(one, known) for one in _entries(fields.get("clock"))]
    return MeasurePolicy(
        head(fields, "first measures", file),
        findings,
        tuple(_call(one, known) for one in _entries(fields.get("calls"))),
        tuple(sorted(clock, key=lambda step: step.from_min)),
        measures,
    )


def _entries(entry: Entry | None) -> tuple[Entry, ...]:
    return () if entry is None else entry.items()


def _measure(entry: Entry, findings: Mapping[str, str], known: Mapping[str, Source]) -> Measure:
    fields = entry.fields(
        ("text", "for", "source"), ("with", "with_any", "not_with", "cautions", "differs")
    )

    def words(name: str) -> tuple[str, ...]:
        return tuple(one.choice(findings) for one in _entries(fields.get(name)))

    made = Measure(
        fields["text"].text(),
        words("for"),
        words("with"),
        words("with_any"),
        words("not_with"),
        source(fields["source"], known),
        differences(fields.get("cautions"), known),
        differences(fields.get("differs"), known),
    )
    never = set(made.together) & set(made.not_with) or set(made.findings) <= set(made.not_with)
    if never or not made.findings:
        raise entry.error(
            "this can never be listed.", "Let 'for' and 'with' name what 'not_with' does not."
        )
    return made


def _clock_step(entry: Entry, known: Mapping[str, Source]) -> ClockStep:
    fields = entry.fields(("from_min", "text", "source"))
    minutes = fields["from_min"].number()
    if not 0 < minutes <= 60:
        raise fields["from_min"].error(f"{minutes:g} minutes cannot be.", "Give 0 to 60.")
    return ClockStep(minutes, fields["text"].text(), source(fields["source"], known))


def _call(entry: Entry, known: Mapping[str, Source]) -> Call:
    fields = entry.fields(("text", "urgency", "classes", "source"))
    return Call(
        fields["text"].text(),
        fields["urgency"].choice(("now", "soon")),
        tuple(one.text().lower() for one in fields["classes"].items()),
        source(fields["source"], known),
    )


def _names(found: Sequence[str], policy: MeasurePolicy) -> list[str]:
    names: list[str] = []
    for word in found:
        plain = word.strip().lower().replace(" ", "-").replace("_", "-")
        plain = plain if plain in policy.findings else ALIASES.get(plain, plain)
        if plain not in policy.findings:
            close = get_close_matches(plain, policy.findings, n=2, cutoff=0.5)
            remedy = (
                f"Did you mean {' or '.join(close)}?"
                if close
                else f"Known: {', '.join(policy.findings)}."
            )
            raise ExaminationError(
                f"'{word}' is not a finding of this list.", where="finding", remedy=remedy
            )
        if plain not in names:
            names.append(plain)
    return names


def first_measures(
    found: Sequence[str],
    policy: MeasurePolicy | None = None,
    *,
    classes: Sequence[str] = (),
    lasting_min: float = math.nan,
) -> MeasureList:
    """Options for findings together, in the policy's order.

    classes: what the trace was called, as "Category III" or "NICE pathological": the call follows
    from the worst. lasting_min: for how long a prolonged fall or bradycardia has lasted, NaN
    where not told. Raises ExaminationError for an unknown word and an impossible time.
    """
    policy = load_measures() if policy is None else policy
    if lasting_min < 0:
        raise ExaminationError(
            f"{lasting_min:g} minutes cannot be.", where="lasting", remedy="Give 0 or more."
        )
    names = _names(found, policy)
    matched = tuple(m for m in policy.measures if m.listed_for(names))
    listed = {f for m in matched for f in m.findings}
    clock: tuple[ClockStep, ...] = ()
    if set(LASTING) & set(names):
        clock = tuple(
            ClockStep(
                step.from_min,
                step.text,
                step.source,
                None if math.isnan(lasting_min) else lasting_min >= step.from_min,
            )
            for step in policy.clock
        )
    said = {" ".join(word.lower().split()) for word in classes}
    call = next((c for c in policy.calls if said & set(c.classes)), None)
    return MeasureList(
        tuple(names),
        tuple(policy.findings[name] for name in names),
        call,
        clock,
        matched,
        tuple(name for name in names if name not in listed),
        policy.head,
        OPTIONS_NOTE,
        CAUTION,
    )
