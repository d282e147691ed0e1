"""A whole attempt against its truth: every step that the case asks, and unsafe choices apart."""

from __future__ import annotations

from ebbline.teach.answers import ExaminationAnswer, InternalAnswer
from ebbline.teach.case import AskedStep
from ebbline.teach.case_facts import strip_truth
from ebbline.teach.electrode_policy import Allowed, may_be_offered
from ebbline.teach.encounter import Encounter
from ebbline.teach.measure_facts import Fact
from ebbline.teach.measures import score_measures, unsafe_choices, unsafe_silence
from ebbline.teach.scoring import (
    Score,
    UnsafeChoice,
    joined,
    score_examination,
    score_internal,
    score_site,
    score_strip,
    score_unread,
    score_usable,
)
from ebbline.teach.truth import ExaminationTruth, StripTruth
from ebbline.terms import Lie


def examination_truth(encounter: Encounter) -> ExaminationTruth:
    """How the fetus lay when the learner concluded (now, where nothing was concluded)."""
    fetus = encounter.fetus_at_conclusion or encounter.fetus
    return ExaminationTruth(
        lie=fetus.lie,
        presentation=fetus.presentation,
        position=fetus.position,
        attitude=fetus.true_attitude,
        fifths=fetus.fifths if fetus.lie is Lie.LONGITUDINAL else 5,
    )


def reading_truth(encounter: Encounter) -> StripTruth:
    """The truth of the window that was (or would have been) read."""
    truth = encounter.labour().truth
    return strip_truth(truth, encounter.seen(truth), encounter.window, encounter.case)


def decision_facts(encounter: Encounter) -> frozenset[Fact]:
    """Everything that was true when the learner read, chose or told; now, if none was done."""
    moments = [choice.facts for choice in encounter.choices]
    moments += [call.facts for call in encounter.calls]
    if encounter.reading is not None:
        moments.append(encounter.reading.facts)
    if not moments:
        return encounter.facts()
    facts = frozenset().union(*moments)
    calm = all(Fact.NORMAL_TRACE in moment for moment in moments)
    return facts if calm else facts - {Fact.NORMAL_TRACE}


def score(encounter: Encounter) -> Score:
    """The attempt's score."""
    asks = encounter.case.asks
    parts: list[Score] = []
    unsafe: list[UnsafeChoice] = []
    if AskedStep.HANDS in asks:
        truth = examination_truth(encounter)
        items: tuple[str, ...] = ("lie", "presentation", "position", "attitude", "fifths")
        if truth.lie is not Lie.LONGITUDINAL:
            items = items[:3]
        parts.append(
            score_examination(encounter.conclusion or ExaminationAnswer(), truth, items=items)
        )
    if AskedStep.SENSORS in asks:
        parts.append(score_site("heart sensor", encounter.site_distance_cm))
        parts.append(score_site("contraction sensor", encounter.contraction_site_distance_cm))
        parts.append(score_usable(encounter.usable_share))
    if AskedStep.INTERNAL in asks:
        allowed = may_be_offered(encounter.case, encounter.fetus, frozenset(encounter.signs))
        answer = encounter.internal or InternalAnswer()
        parts.append(score_internal(answer, electrode=allowed.electrode, catheter=allowed.catheter))
        unsafe += _unsafe_internal(answer, allowed)
    if AskedStep.STRIP in asks:
        reading = encounter.reading
        parts.append(
            score_strip(reading.answer, reading_truth(encounter)) if reading else score_unread()
        )
    if AskedStep.MEASURES in asks:
        facts = decision_facts(encounter)
        parts.append(score_measures(encounter.choices, encounter.calls, facts))
        unsafe += unsafe_choices(encounter.choices)
        unsafe += unsafe_silence(encounter.calls, facts, encounter.minute)
    return joined(parts, unsafe)


def _unsafe_internal(answer: InternalAnswer, allowed: Allowed) -> list[UnsafeChoice]:
    found = []
    for name, said, may, reasons in (
        ("A scalp electrode", answer.electrode, allowed.electrode, allowed.electrode_reasons),
        ("A pressure catheter", answer.catheter, allowed.catheter, allowed.catheter_reasons),
    ):
        if said and not may:
            why = " ".join(reason.text for reason in reasons)
            sources = "; ".join(dict.fromkeys(reason.citation for reason in reasons))
            found.append(UnsafeChoice(name, why, sources, 0.0))
    return found
