"""What stands in the notes of a virtual patient: what is known before anyone lays a hand on."""

from __future__ import annotations

from ebbline.teach.case import Case, Sign
from ebbline.terms import Stage

_STAGES = {
    Stage.ANTEPARTUM: "not in labour",
    Stage.FIRST: "first stage",
    Stage.SECOND: "second stage",
    Stage.UNKNOWN: "stage not known",
}


def _said(value: bool | None) -> str:
    return "not known" if value is None else "yes" if value else "no"


def notes_of(case: Case) -> tuple[tuple[str, str], ...]:
    """Name and words of each note. What is not known is said to be so."""
    mother, labour = case.mother, case.labour
    births = {0: "first baby", 1: "one earlier birth"}.get(
        mother.parity, f"{mother.parity} earlier births"
    )
    notes = [
        ("Gestation", f"{mother.weeks:g} weeks"),
        ("Births", births),
        ("Stage", _STAGES[labour.stage] if labour else "not in labour"),
        ("Placenta", mother.placenta.value if mother.placenta != "unknown" else "not known"),
        ("Fluid", mother.fluid.value),
        ("Membranes", "ruptured" if mother.membranes_ruptured else "intact"),
        ("Cervix", "not examined" if mother.cervix_cm is None else f"{mother.cervix_cm:g} cm"),
        ("Abdominal wall", mother.abdominal_wall.value),
        ("Pulse", f"{mother.pulse_bpm:g} a minute"),
    ]
    if labour is not None:
        notes.append(("Oxytocic", "running" if labour.oxytocin else "none"))
        notes.append(("Epidural", "yes" if labour.epidural else "no"))
    notes += [
        ("HIV", _said(mother.hiv)),
        ("Genital herpes, active", _said(mother.active_genital_herpes)),
        ("Hepatitis B", _said(mother.hepatitis_b)),
        ("Hepatitis C", _said(mother.hepatitis_c)),
        ("Fetal bleeding disorder", _said(mother.fetal_bleeding_disorder)),
        ("Scar on the uterus", _said(mother.uterine_scar)),
    ]
    for name, value in (
        ("Hepatitis D", mother.hepatitis_d),
        ("Hepatitis E", mother.hepatitis_e),
        ("First attack of herpes in the last six weeks", mother.primary_herpes),
        ("Vessels of the fetus over the cervix", mother.vasa_praevia),
    ):
        if value is not False:
            notes.append((name, _said(value)))
    if case.second_twin is not None:
        notes.append(("Fetuses", "two, each with its own sac"))
    if mother.refuses_internal:
        notes.append(("Wishes", "no internal sensor"))
    hidden = (Sign.CORD_FELT, Sign.IRREGULAR_HEART)
    seen = [sign.value for sign in case.signs if sign not in hidden]
    if seen:
        notes.append(("Seen now", ", ".join(seen)))
    return tuple(notes)
