"""Whether an internal sensor may be offered in a case, by the examination's policy."""

from __future__ import annotations

from dataclasses import dataclass

from ebbline.teach.case import Case, Fetus


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the policy that speaks against: why, and where it is published."""

    text: str
    citation: str


@dataclass(frozen=True, slots=True)
class Allowed:
    """What the policy says of each internal sensor, and why not where it says no."""

    electrode: bool
    catheter: bool
    electrode_reasons: tuple[Line, ...]
    catheter_reasons: tuple[Line, ...]


def may_be_offered(case: Case, fetus: Fetus) -> Allowed:
    """The policy's answer."""
    ok = case.mother.membranes_ruptured
    return Allowed(ok, ok, (), ())
