"""Whether an internal sensor may be offered in a case, by the examination's policy."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from ebbline.bedside.policy.internal import (
    InternalCheck,
    InternalPolicy,
    LineKind,
    LineState,
    Verdict,
    check_internal,
    load_internal,
)
from ebbline.bedside.states import BREECHES
from ebbline.teach.case import Case, Fetus, Placenta, Sign
from ebbline.terms import Presentation

SETTLED_FIFTHS = 3
"""Up to this many fifths above the brim the head is within reach and settled on the cervix
(common practice, no source)."""


@dataclass(frozen=True, slots=True)
class Line:
    """One line of the policy that speaks against, or is unknown: why, and where published."""

    text: str
    citation: str


@dataclass(frozen=True, slots=True)
class Allowed:
    """What the policy says of each internal sensor, and why not where it says no."""

    electrode: bool
    catheter: bool
    electrode_reasons: tuple[Line, ...]
    catheter_reasons: tuple[Line, ...]
    electrode_check: InternalCheck
    catheter_check: InternalCheck


@cache
def _policy() -> InternalPolicy:
    return load_internal()


def facts_for_policy(case: Case, fetus: Fetus, signs: frozenset[Sign]) -> dict[str, str]:
    """What the notes and the examination tell; what they do not is "unknown"."""
    mother = case.mother

    def told(value: bool | None) -> str:
        return "unknown" if value is None else "yes" if value else "no"

    presentation = fetus.presentation
    presenting = "breech" if presentation in BREECHES else presentation.value
    facts = {
        "membranes": "ruptured" if mother.membranes_ruptured else "intact",
        "dilatation": "unknown" if mother.cervix_cm is None else f"{mother.cervix_cm:g}",
        "presenting": presenting,
        "reachable": told(fetus.fifths <= SETTLED_FIFTHS),
        "site-clear": told(presentation in (Presentation.VERTEX, *BREECHES)),
        "weeks": f"{mother.weeks:g}",
        "placenta": {
            Placenta.UNKNOWN: "unknown",
            Placenta.LOW: "low",
            Placenta.PRAEVIA: "praevia",
        }.get(mother.placenta, "not low"),
        "bleeding": told(Sign.BLEEDING in signs),
        "vasa-praevia": "unknown"
        if mother.placenta is Placenta.UNKNOWN
        else told(mother.vasa_praevia),
        "hiv": told(mother.hiv),
        "herpes": told(mother.active_genital_herpes),
        "hepatitis-b": told(mother.hepatitis_b),
        "hepatitis-c": told(mother.hepatitis_c),
        "hepatitis-d": told(mother.hepatitis_d),
        "hepatitis-e": told(mother.hepatitis_e),
        "primary-herpes": told(_either(mother.primary_herpes, mother.active_genital_herpes)),
        "sepsis": told(Sign.SEPSIS in signs),
        "which-twin": "first twin" if case.second_twin is not None else "only one",
        "abruption": told(Sign.BLEEDING in signs),
        "bleeding-disorder": told(mother.fetal_bleeding_disorder),
        "infection": told(Sign.FEVER in signs),
        "consent": told(None if mother.refuses_internal is None else not mother.refuses_internal),
        "scar": told(mother.uterine_scar),
    }
    return {name: value for name, value in facts.items() if name in _policy().facts}


def _either(one: bool | None, other: bool | None) -> bool | None:
    """Yes where one of them is; not known where neither is and one is not known."""
    if one or other:
        return True
    return None if one is None or other is None else False


def may_be_offered(case: Case, fetus: Fetus, signs: frozenset[Sign]) -> Allowed:
    """The policy's answer for each sensor. Unknown counts as not met."""
    facts = facts_for_policy(case, fetus, signs)
    electrode = check_internal("electrode", facts, _policy())
    catheter = check_internal("catheter", facts, _policy())
    return Allowed(
        electrode=electrode.verdict in (Verdict.NOT_AGAINST, Verdict.CARE),
        catheter=catheter.verdict in (Verdict.NOT_AGAINST, Verdict.CARE),
        electrode_reasons=_against(electrode),
        catheter_reasons=_against(catheter),
        electrode_check=electrode,
        catheter_check=catheter,
    )


def _against(check: InternalCheck) -> tuple[Line, ...]:
    return tuple(
        Line(
            result.line.text
            + (" It is not known here." if result.state is LineState.UNKNOWN else ""),
            result.line.source,
        )
        for result in check.results
        if result.state is not LineState.CLEAR and result.line.kind is not LineKind.CAUTION
    )
