"""First measures: what guidelines list for a finding, as options for the team."""

from __future__ import annotations

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
from ebbline.errors import ExaminationError


@dataclass(frozen=True, slots=True)
class Measure:
    """One option, the findings it is listed for, and where it is listed."""

    text: str
    findings: tuple[str, ...]
    source: str
    differs: tuple[Differs, ...]


@dataclass(frozen=True, slots=True)
class MeasurePolicy:
    """The list. findings: short word to title, in the order to be shown."""

    head: PolicyHead
    findings: Mapping[str, str]
    measures: tuple[Measure, ...]


@dataclass(frozen=True, slots=True)
class MeasureList:
    """Options for what was found. nothing_listed: findings that the policy has nothing for."""

    findings: tuple[str, ...]
    titles: tuple[str, ...]
    measures: tuple[Measure, ...]
    nothing_listed: tuple[str, ...]
    policy: PolicyHead
    note: str
    caution: str


OPTIONS_NOTE = "Options that guidelines list, for the team under local policy; not orders."


def load_measures(path: Path | None = None) -> MeasurePolicy:
    """The list of first measures. Raises PolicyError, with the line, for what is not valid."""
    top, file = open_policy("measures", path)
    fields = top.fields((*HEAD, "findings", "measures"))
    known = sources(fields["sources"])
    findings = {entry.name: entry.text() for entry in fields["findings"].entries()}
    measures = []
    for entry in fields["measures"].items():
        inner = entry.fields(("text", "for", "source"), ("differs",))
        measures.append(
            Measure(
                inner["text"].text(),
                tuple(one.choice(findings) for one in inner["for"].items()),
                source(inner["source"], known),
                differences(inner.get("differs"), known),
            )
        )
    return MeasurePolicy(head(fields, "first measures", file), findings, tuple(measures))


def first_measures(found: Sequence[str], policy: MeasurePolicy | None = None) -> MeasureList:
    """Options for findings, in the policy's order. Raises ExaminationError for an unknown word."""
    policy = load_measures() if policy is None else policy
    names = []
    for word in found:
        plain = word.strip().lower().replace(" ", "-").replace("_", "-")
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
    matched = tuple(m for m in policy.measures if set(m.findings) & set(names))
    listed = {f for m in matched for f in m.findings}
    return MeasureList(
        tuple(names),
        tuple(policy.findings[name] for name in names),
        matched,
        tuple(name for name in names if name not in listed),
        policy.head,
        OPTIONS_NOTE,
        CAUTION,
    )
