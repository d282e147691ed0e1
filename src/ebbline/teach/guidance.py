"""For first cases: what a grip rules out, and hints that cost points."""

from __future__ import annotations

from ebbline.bedside.exam import ExamResult, examine
from ebbline.bedside.geometry import Point as Place
from ebbline.bedside.sensors import place_words
from ebbline.teach import anatomy
from ebbline.teach.case import AskedStep
from ebbline.teach.patient_view import PatientView
from ebbline.teach.sensations import Sensation, findings_of

POSSIBLE, RULED_OUT, LIKELY = 0.01, 0.01, 0.9
"""Probability above which a way to lie was open before the grip, below which it is ruled out, and
from which it is all but told (ours)."""

SPEAKS_AGAINST, SPEAKS_FOR = 1 / 3, 1.5
"""Share of the earlier probability that is left, or more than it, from which a grip speaks for or
against a way to lie without settling it (ours)."""


def after_grip(patient: PatientView) -> tuple[str, ...]:
    """What the last grip rules out and makes likely, by the examination's own model."""
    felt = tuple(patient.sensations)
    if not felt:
        return ()
    before, now = _result(patient, felt[:-1]), _result(patient, felt)
    said: list[str] = []
    for name, was, is_now in (
        ("lie", before.lie, now.lie),
        ("presentation", before.presentation, now.presentation),
        ("back", before.back, now.back),
    ):
        earlier = {one.word: one.probability for one in was}
        out = [
            one.word
            for one in is_now
            if earlier.get(one.word, 0.0) >= POSSIBLE
            and one.probability < min(RULED_OUT, SPEAKS_AGAINST * earlier[one.word])
        ]
        if out:
            said.append(f"Ruled out ({name}): {', '.join(out)}.")
        open_still = [one for one in is_now if one.word not in out and earlier.get(one.word, 0.0)]
        against = [
            one.word
            for one in open_still
            if one.probability >= RULED_OUT and one.probability < SPEAKS_AGAINST * earlier[one.word]
        ]
        favours = [
            one.word
            for one in open_still
            if one.probability >= 10 * RULED_OUT
            and one.probability > SPEAKS_FOR * earlier[one.word]
        ]
        for words, these in (("Speaks against", against), ("Speaks for", favours)):
            if these:
                said.append(f"{words} ({name}): {', '.join(these)}.")
        top = max(is_now, key=lambda one: one.probability)
        if top.probability >= LIKELY > earlier.get(top.word, 0.0):
            said.append(f"All but told ({name}): {top.word}.")
    return tuple(said) or ("This grip rules nothing out by itself; another one may.",)


def _result(patient: PatientView, felt: tuple[Sensation, ...]) -> ExamResult:
    return examine(findings_of(felt), anatomy.context_of(patient.case))


def hint(patient: PatientView, about: AskedStep) -> str:
    """A hint about one part of the case; it says where to look, not what to answer."""
    match about:
        case AskedStep.HANDS:
            steps = _result(patient, tuple(patient.sensations)).next_steps
            if not steps:
                return "Your grips tell all that hands can tell here. Put them together."
            return f"What would tell most now: {steps[0].question}."
        case AskedStep.SENSORS:
            best = patient.site.at
            where = place_words(Place(best.x_cm, best.y_cm), patient.body.abdomen)
            return f"The heart is carried best {where}."
        case AskedStep.INTERNAL:
            return "Go through the notes line by line: what is not known counts as not met."
        case AskedStep.AUSCULTATION:
            return "Begin before a contraction ends, and go on for a whole minute after it."
        case AskedStep.STRIP:
            return _strip_hint(patient)
        case AskedStep.MEASURES:
            return "What is true now: " + ", ".join(sorted(patient.facts())) + "."
        case AskedStep.HANDOVER:
            return "Who, what has happened, what you make of it, what you want, by when."


def _strip_hint(patient: PatientView) -> str:
    from ebbline.criteria import classify
    from ebbline.ground_truth import findings_from_truth
    from ebbline.teach.case_facts import context_of

    if patient.minute < 1:
        return "There is nothing to read yet."
    truth = patient.labour().truth
    findings = findings_from_truth(truth, patient.seen(truth))
    made = classify(findings, patient.window, patient.case.standard, context_of(patient.case))
    deciding = [r.feature for r in made.reasons if r.rule in made.decided_by]
    if not deciding:
        return "Look first how much of the trace is there to be read."
    return "What decides the class: " + ", ".join(dict.fromkeys(deciding)).lower() + "."
