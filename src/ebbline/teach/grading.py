"""A whole attempt against its truth: every step that the case asks, and unsafe choices apart."""

from __future__ import annotations

import math

import numpy as np

from ebbline.synth.ground_truth import SpanKind
from ebbline.teach.answers import (
    AuscultationAnswer,
    ExaminationAnswer,
    InternalAnswer,
    TwinsAnswer,
)
from ebbline.teach.auscultation import score_auscultation
from ebbline.teach.case import AskedStep, SecondTwin
from ebbline.teach.case_facts import milder_facts
from ebbline.teach.electrode_policy import Allowed, may_be_offered
from ebbline.teach.encounter import Encounter
from ebbline.teach.handover import score_handover, statements
from ebbline.teach.measure_facts import Fact
from ebbline.teach.measures import score_measures, unsafe_choices, unsafe_silence
from ebbline.teach.scoring import (
    NOT_ANSWERED,
    RULES,
    Score,
    UnsafeChoice,
    joined,
    score_examination,
    score_internal,
    score_site,
    score_strip,
    score_unread,
    score_usable,
    scored_line,
    with_hints,
)
from ebbline.teach.threat_scoring import score_threat, unsafe_delay
from ebbline.teach.truth import ExaminationTruth
from ebbline.teach.what_was_true import decision_facts, reading_truth
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


def score(encounter: Encounter) -> Score:
    """The attempt's score."""
    asks = encounter.case.asks
    parts = {step: _part(encounter, step) for step in AskedStep if step in asks}
    unsafe: list[UnsafeChoice] = []
    if AskedStep.INTERNAL in asks and encounter.internal is not None:
        allowed = may_be_offered(encounter.case, encounter.fetus, frozenset(encounter.signs))
        unsafe += _unsafe_internal(encounter.internal, allowed)
    if AskedStep.STRIP in asks:
        unsafe += _unsafe_reading(encounter)
    if AskedStep.MEASURES in asks:
        unsafe += unsafe_choices(encounter.choices)
        if encounter.threat is not None:
            unsafe += unsafe_delay(encounter, encounter.threat)
        else:
            facts = decision_facts(encounter)
            unsafe += unsafe_silence(encounter.calls, facts, encounter.minute)
    hinted = [with_hints(made, encounter.hints.count(step)) for step, made in parts.items()]
    return joined(hinted, unsafe)


def _part(encounter: Encounter, step: AskedStep) -> Score:
    match step:
        case AskedStep.HANDS:
            return _hands(encounter)
        case AskedStep.SENSORS:
            return joined(
                (
                    score_site("heart sensor", encounter.site_distance_cm),
                    score_site("contraction sensor", encounter.contraction_site_distance_cm),
                    score_usable(encounter.usable_share),
                )
            )
        case AskedStep.INTERNAL:
            allowed = may_be_offered(encounter.case, encounter.fetus, frozenset(encounter.signs))
            answer = encounter.internal or InternalAnswer()
            return score_internal(answer, electrode=allowed.electrode, catheter=allowed.catheter)
        case AskedStep.AUSCULTATION:
            return _auscultation(encounter)
        case AskedStep.STRIP:
            reading = encounter.reading
            if reading is None:
                return score_unread()
            return score_strip(reading.answer, reading_truth(encounter))
        case AskedStep.MEASURES:
            return _measures(encounter)
        case AskedStep.HANDOVER:
            given = encounter.handed_over
            offered = encounter.offered or statements(encounter)
            said = None if given is None else given.said
            return score_handover(said, offered, given.sure if given is not None else ())


def _hands(encounter: Encounter) -> Score:
    truth = examination_truth(encounter)
    items: tuple[str, ...] = ("lie", "presentation", "position", "attitude", "fifths")
    if truth.lie is not Lie.LONGITUDINAL:
        items = items[:3]
    made = score_examination(encounter.conclusion or ExaminationAnswer(), truth, items=items)
    if encounter.case.second_twin is None:
        return made
    return joined((made, _twins(encounter, encounter.case.second_twin)))


def _twins(encounter: Encounter, second: SecondTwin) -> Score:
    said = encounter.twins or TwinsAnswer()
    fetus = second.fetus
    upper = 0.5 * (said.lie == fetus.lie) + 0.5 * (said.presentation == fetus.presentation)
    first = encounter.heart_bpm()
    other = first + second.heart_apart_bpm
    counts = [one for one in (said.first_bpm, said.second_bpm) if one is not None]
    near = [any(abs(one - true) <= TWIN_COUNT_BPM for one in counts) for true in (first, other)]
    apart = len(counts) == 2 and abs(counts[0] - counts[1]) > TWINS_DIFFER_BPM
    hearts = (sum(near) + float(apart and all(near))) / 3
    lines = (
        scored_line(
            "upper twin",
            upper,
            f"{said.lie or NOT_ANSWERED}, {said.presentation or NOT_ANSWERED}",
            f"{fetus.lie}, {fetus.presentation}",
        ),
        scored_line(
            "two hearts",
            hearts,
            " and ".join(f"{one:.0f}" for one in counts) or NOT_ANSWERED,
            f"{first:.0f} and {other:.0f} bpm",
        ),
    )
    return Score(lines, skills=tuple((f"twins: {line.item}", line.share) for line in lines))


TWIN_COUNT_BPM, TWINS_DIFFER_BPM = 10.0, 5.0


def _auscultation(encounter: Encounter) -> Score:
    truth = encounter.labour().truth
    values = truth.baseline.values[-600:]
    baseline = float(np.nanmean(values)) if len(values) else math.nan
    return score_auscultation(
        encounter.counts, encounter.listening or AuscultationAnswer(), truth, baseline
    )


def _measures(encounter: Encounter) -> Score:
    facts = decision_facts(encounter)
    milder: set[Fact] = set()
    if encounter.minute >= 1 and AskedStep.STRIP in encounter.case.asks:
        standard = encounter.case.standard
        accepted = reading_truth(encounter).accepted_labels[standard.value]
        milder = milder_facts(facts, accepted, standard)
    made = score_measures(
        encounter.choices,
        encounter.calls,
        facts,
        since=encounter.since,
        milder=milder,
        moments=_moments(encounter),
    )
    if encounter.threat is None:
        return made
    return joined((made, score_threat(encounter, encounter.threat)))


def _moments(encounter: Encounter) -> list[tuple[float, frozenset[Fact]]]:
    """When the learner looked, and what was true then."""
    made = [(choice.minute, choice.facts) for choice in encounter.choices]
    made += [(call.minute, call.facts) for call in encounter.calls]
    if encounter.reading is not None:
        made.append((encounter.reading.minute, encounter.reading.facts))
    return made


MOTHERS_RATE = "The mother's rate was read as the fetus's"
NEAR_HERS_BPM, FAR_FROM_HERS_BPM = 8.0, 15.0


def _unsafe_reading(encounter: Encounter) -> list[UnsafeChoice]:
    """A baseline read off the mother's pulse hides the fetus."""
    reading = encounter.reading
    if reading is None or reading.answer.baseline_bpm is None:
        return []
    hers = encounter.case.mother.pulse_bpm
    true = reading_truth(encounter).baseline_bpm
    said = reading.answer.baseline_bpm
    captured = any(
        span.kind is SpanKind.MATERNAL and span.end_s > encounter.window.start_s
        for span in encounter.labour().truth.artefacts
    )
    far = not abs(true - hers) <= FAR_FROM_HERS_BPM
    if captured and far and abs(said - hers) <= NEAR_HERS_BPM:
        why = f"Her pulse was {hers:.0f}, the fetus's rate another one."
        return [UnsafeChoice(MOTHERS_RATE, why, RULES["baseline"].citation, reading.minute)]
    return []


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
