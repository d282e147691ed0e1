"""Handing over and escalating: what must be said, and what must not, from the case's own truth.

Situation, background, assessment, recommendation (SBAR: Haig KM, et al. Jt Comm J Qual Patient Saf
2006;32:167-75, from memory). The learner picks statements from a list in which some are not true;
what must be said is ours.
"""

from __future__ import annotations

import zlib
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from enum import StrEnum

import numpy as np

from ebbline.teach.answers import Confidence
from ebbline.teach.case import AskedStep, Sign
from ebbline.teach.measures import measure_table
from ebbline.teach.patient_view import PatientView
from ebbline.teach.scoring import NOT_ANSWERED, Score, scored_line, with_confidence
from ebbline.teach.standards import classes_of
from ebbline.teach.threats import threat_table
from ebbline.teach.what_was_true import decision_facts, reading_truth
from ebbline.terms import Stage

UNTRUE_COSTS = 0.25


class Section(StrEnum):
    """The four parts."""

    SITUATION = "situation"
    BACKGROUND = "background"
    ASSESSMENT = "assessment"
    RECOMMENDATION = "recommendation"


@dataclass(frozen=True, slots=True)
class Statement:
    """Something that can be said. must: it has to be; true: it is so (false ones cost)."""

    id: str
    section: Section
    say: str
    must: bool = False
    true: bool = True


_STAGE = {
    Stage.ANTEPARTUM: "not in labour",
    Stage.FIRST: "in the first stage",
    Stage.SECOND: "in the second stage",
}
_ASKS = (
    "No need to come; I go on and review when the next review is due",
    "Please look at this with me now",
    "Please come and see her yourself within the next minutes",
    "Please come at once, with theatre and the neonatal team called",
)
_SIGN_WORDS = {
    Sign.LOW_BLOOD_PRESSURE: "Her blood pressure has fallen",
    Sign.FEVER: "She has a fever",
    Sign.BLEEDING: "She is bleeding",
    Sign.CORD_FELT: "The cord is felt below the presenting part",
    Sign.MECONIUM: "The fluid is thick and green",
    Sign.LOW_OXYGEN: "Her own oxygen saturation is low",
    Sign.MOVED_LESS: "The baby has moved less",
    Sign.SEIZURE: "She has had a seizure",
    Sign.HIGH_BLOOD_PRESSURE: "Her blood pressure is high",
    Sign.SCAR_PAIN: "She has pain over the scar between contractions",
    Sign.HAND_BESIDE_HEAD: "A hand lies beside the head",
    Sign.IRREGULAR_HEART: "The fetal heart beats irregularly",
    Sign.SHOULDER_STUCK: "The head is born and the shoulder does not follow",
    Sign.SEPSIS: "She is septic",
}
_NEVER_MUST = (Sign.MOVED_LESS,)


def statements(patient: PatientView) -> tuple[Statement, ...]:
    """What can be said of the patient now, true and untrue, shuffled inside each section."""
    chance = np.random.default_rng(
        [patient.seed, zlib.crc32(f"{patient.case.id}/handover".encode())]
    )
    made = [
        *_situation(patient),
        *_background(patient),
        *_assessment(patient, chance),
        *_recommendation(patient),
    ]
    shuffled: list[Statement] = []
    for section in Section:
        own = [one for one in made if one.section is section]
        shuffled += [own[i] for i in chance.permutation(len(own))]
    return tuple(shuffled)


def _situation(patient: PatientView) -> list[Statement]:
    case = patient.case
    here = Section.SITUATION
    stage = _STAGE.get(case.labour.stage, "in labour") if case.labour else "not in labour"
    name = case.story.who.split(",")[0]
    made = [
        Statement("who", here, f"This is about {name}, {case.mother.weeks:g} weeks, {stage}", True),
        Statement("me", here, "I am the one who looks after her", False),
    ]
    for sign in Sign:
        if sign in patient.signs:
            must = sign not in _NEVER_MUST
            made.append(Statement(f"sign {sign}", here, _SIGN_WORDS[sign], must))
    threat = patient.threat
    if threat is not None and patient.minute >= threat.from_minute:
        made.append(Statement("threat", here, threat.kind.say, True))
        others = [k for k in threat_table().values() if k.id != threat.kind.id]
        other = others[zlib.crc32(case.id.encode()) % len(others)]
        made.append(Statement("another threat", here, other.say, true=False))
    return made


def _background(patient: PatientView) -> list[Statement]:
    case, here = patient.case, Section.BACKGROUND
    mother, labour = case.mother, case.labour
    births = "Her first baby" if mother.parity == 0 else f"{mother.parity} births before this one"
    made = [
        Statement("births", here, births),
        Statement("meal", here, "When she last ate"),
    ]
    if labour is not None and labour.stage is not Stage.ANTEPARTUM:
        running = labour.oxytocin
        made += [
            Statement("oxytocic", here, "An oxytocic is running", running, running),
            Statement("no oxytocic", here, "No oxytocic is running", False, not running),
        ]
        if labour.epidural:
            made.append(Statement("epidural", here, "She has an epidural"))
    waters = "broken" if mother.membranes_ruptured or Sign.CORD_FELT in patient.signs else "intact"
    other = "intact" if waters == "broken" else "broken"
    made.append(Statement("waters", here, f"Her waters are {waters}"))
    made.append(Statement("other waters", here, f"Her waters are {other}", true=False))
    if mother.uterine_scar:
        made.append(Statement("scar", here, "She has a scar on the uterus", True))
    if mother.placenta.value in ("praevia", "low-lying"):
        made.append(Statement("placenta", here, f"The placenta is {mother.placenta.value}", True))
    if mother.vasa_praevia:
        made.append(Statement("vasa", here, "Vessels of the fetus lie over the cervix", True))
    if case.second_twin is not None:
        made.append(Statement("twins", here, "She carries twins", True))
    if mother.weeks < 37:
        made.append(Statement("preterm", here, "The baby is preterm", True))
    return made


def _assessment(patient: PatientView, chance: np.random.Generator) -> list[Statement]:
    case, here = patient.case, Section.ASSESSMENT
    made: list[Statement] = []
    if AskedStep.STRIP in case.asks and patient.minute >= 1:
        truth = reading_truth(patient)
        right = truth.accepted_labels[case.standard.value]
        for label in classes_of(case.standard):
            made.append(
                Statement(
                    f"class {label}",
                    here,
                    f"The trace, as I read it: {label}",
                    label == right[0],
                    label in right,
                )
            )
        if truth.baseline_told:
            made.append(Statement("baseline", here, f"Baseline {truth.baseline_bpm:.0f}"))
            off = truth.baseline_bpm + (30 if chance.random() < 0.5 else -30)
            made.append(Statement("other baseline", here, f"Baseline {off:.0f}", true=False))
        kinds = sorted({e.kind.value for e in truth.events if "deceleration" in e.kind.value})
        falls = ", ".join(f"{kind}s" for kind in kinds) or "No decelerations"
        made.append(Statement("falls", here, falls[0].upper() + falls[1:], bool(kinds)))
    done = [measure_table().measure(c.measure) for c in patient.choices]
    if done:
        first = dict.fromkeys(one.say for one in done)
        made.append(Statement("done", here, "Done so far: " + "; ".join(first), True))
    if AskedStep.HANDS in case.asks:
        lies = patient.fetus.presentation.value
        made.append(Statement("lies", here, f"The presentation, from the hands: {lies}", True))
        other = "vertex" if lies != "vertex" else "frank breech"
        words = f"The presentation, from the hands: {other}"
        made.append(Statement("lies otherwise", here, words, true=False))
    return made


def _recommendation(patient: PatientView) -> list[Statement]:
    here = Section.RECOMMENDATION
    asked = measure_table().lowest_call(decision_facts(patient)).step
    made = [
        Statement(f"ask {step}", here, words, step == asked, step >= asked and step - asked <= 1)
        for step, words in enumerate(_ASKS)
    ]
    made.append(Statement("read back", here, "Please say back what you have heard", asked >= 2))
    return made


def score_handover(
    said: Collection[str] | None, offered: Sequence[Statement], sure: Confidence = ()
) -> Score:
    """What was said against what must be. said: ids; None: nobody was handed over to."""
    must = [one for one in offered if one.must]
    untrue = [one for one in offered if said is not None and one.id in said and not one.true]
    told = [one for one in must if said is not None and one.id in said]
    share = len(told) / len(must) if must else 1.0
    if said is None:
        share = 0.0
    share = max(0.0, share - UNTRUE_COSTS * len(untrue))
    missing = [one.say for one in must if one not in told]
    notes = [f"not said: {'; '.join(missing)}"] if missing and said is not None else []
    if untrue:
        notes.append("not true: " + "; ".join(one.say for one in untrue))
    line = scored_line(
        "handover",
        share,
        NOT_ANSWERED if said is None else f"{len(told)} of {len(must)} said",
        "; ".join(one.say for one in must),
        ". ".join(notes),
    )
    return with_confidence(Score((line,), skills=(("handover", share),)), sure)
