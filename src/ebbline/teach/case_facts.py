"""The situation at a moment of a case: the facts that call for a measure, and the strip's truth."""

from __future__ import annotations

import math
from collections.abc import Collection
from dataclasses import replace

import numpy as np

from ebbline.criteria import classify
from ebbline.criteria.model import Standard
from ebbline.criteria.tables import nst
from ebbline.definitions import (
    ABSENT_BELOW_BPM,
    BASELINE_CHANGE_S,
    BASELINE_NORMAL_FROM_BPM,
    BASELINE_NORMAL_TO_BPM,
    BASELINE_STEP_BPM,
    LEAST_BASELINE_S,
    LEAST_EXCURSION_BPM,
    LEAST_EXCURSION_S,
    MARKED_ABOVE_BPM,
    MINIMAL_UPTO_BPM,
    SINUSOIDAL_FROM_S,
    WORKABLE_LOSS,
    least_acceleration,
    rounded_baseline,
)
from ebbline.features import window as within
from ebbline.features.findings import DecelerationKind, Findings, VariabilityClass
from ebbline.ground_truth import Seen, findings_from_truth, off_baseline
from ebbline.recording.model import Context
from ebbline.synth.ground_truth import EventKind, SpanKind, TrueDeceleration, Truth
from ebbline.teach.answers import MarkKind
from ebbline.teach.auscultation import FALLS_FROM, share_with_falls
from ebbline.teach.case import AskedStep, Case, Fetus, Placenta, Sign
from ebbline.teach.measure_facts import Fact
from ebbline.teach.scoring import variability_accepted
from ebbline.teach.standards import classes_of
from ebbline.teach.truth import StripTruth, TrueEvent
from ebbline.terms import Lie, Presentation, Stage, Window

LOOK_BACK_S = 1800.0
"""What a picture rests on: the last half hour."""

RECENT_S = 900.0
"""A prolonged deceleration, a capture or a loss counts as present for a quarter of an hour."""

CAPTURED_S = 45.0
"""A capture counts from 45 s on (ours)."""

_MARKS = {
    EventKind.EARLY: MarkKind.EARLY,
    EventKind.LATE: MarkKind.LATE,
    EventKind.VARIABLE: MarkKind.VARIABLE,
    EventKind.PROLONGED: MarkKind.PROLONGED,
    EventKind.GRADUAL_UNPAIRED: MarkKind.LATE,
}
_BREECHES = (
    Presentation.FRANK_BREECH,
    Presentation.COMPLETE_BREECH,
    Presentation.FOOTLING_BREECH,
)


def context_of(case: Case) -> Context:
    """What the criteria may know of the labour."""
    labour = case.labour
    return Context(
        weeks=case.mother.weeks,
        stage=labour.stage if labour else Stage.ANTEPARTUM,
        oxytocin=labour.oxytocin if labour else None,
        epidural=labour.epidural if labour else None,
        parity=case.mother.parity,
        meconium=Sign.MECONIUM in case.signs,
        fever=Sign.FEVER in case.signs,
    )


def facts_of(
    case: Case, fetus: Fetus, signs: Collection[Sign], *, pushing: bool, oxytocic: bool
) -> set[Fact]:
    """The facts that do not come from the trace."""
    facts = {Fact(sign.value) for sign in signs}
    labour = case.labour
    in_labour = labour is not None and labour.stage in (Stage.FIRST, Stage.SECOND)
    if labour is not None and labour.oxytocin and oxytocic:
        facts.add(Fact.OXYTOCIC)
    if pushing:
        facts.add(Fact.PUSHING)
    if case.mother.membranes_ruptured or Sign.CORD_FELT in signs:
        facts.add(Fact.RUPTURED)
    if case.mother.placenta is Placenta.PRAEVIA:
        facts.add(Fact.PRAEVIA)
    if case.mother.vasa_praevia:
        facts.add(Fact.VASA_PRAEVIA)
    if case.mother.uterine_scar:
        facts.add(Fact.SCAR)
    if case.second_twin is not None:
        facts.add(Fact.TWINS)
    if case.fetus is None:
        return facts
    if fetus.lie is not Lie.LONGITUDINAL:
        facts |= {
            Fact.SHOULDER_IN_LABOUR if in_labour else Fact.SHOULDER_BEFORE_LABOUR,
            Fact.HEAD_ABOVE_BRIM,
            Fact.NOT_BY_THE_HEAD,
        }
    elif fetus.presentation in _BREECHES:
        facts |= {
            Fact.BREECH_IN_LABOUR if in_labour else Fact.BREECH_BEFORE_LABOUR,
            Fact.NOT_BY_THE_HEAD,
        }
    elif fetus.presentation is not Presentation.VERTEX:
        facts.add(Fact.NOT_BY_THE_HEAD)
        if in_labour:
            facts.add(Fact.FACE_OR_BROW_IN_LABOUR)
    if fetus.fifths == 5:
        facts.add(Fact.HEAD_ABOVE_BRIM)
    return facts


def facts_of_trace(truth: Truth, seen: Seen, case: Case) -> set[Fact]:
    """The facts of the last half hour of the labour, as it truly was."""
    end_s = truth.duration_s
    window = Window(max(0.0, end_s - LOOK_BACK_S), end_s)
    if _by_ear(case):
        return _facts_heard(truth)
    findings = findings_from_truth(truth)
    facts = _facts_of_signal(truth, seen, end_s)
    facts |= _facts_of_baseline(truth, findings, window)
    facts |= _facts_of_decelerations(findings, window)
    if within.tachysystole(findings, window).answer:
        facts.add(Fact.TACHYSYSTOLE)
        if facts & {
            Fact.RECURRENT_LATE, Fact.RECURRENT_VARIABLE, Fact.PROLONGED, Fact.BRADYCARDIA,
            Fact.ABSENT_VARIABILITY, Fact.REDUCED_VARIABILITY,
        }:  # fmt: skip
            facts.add(Fact.TACHYSYSTOLE_WITH_CHANGE)
    if Fact.ABSENT_VARIABILITY in facts and facts & {
        Fact.RECURRENT_LATE, Fact.RECURRENT_VARIABLE, Fact.BRADYCARDIA
    }:  # fmt: skip
        facts.add(Fact.ABSENT_WITH_DECELERATIONS)
    antepartum = case.labour is not None and case.labour.stage is Stage.ANTEPARTUM
    recent = within.accelerations_in(findings, Window(max(0.0, end_s - 1200.0), end_s))
    early = end_s < 60.0 * nst.NONREACTIVE.threshold
    if antepartum and early and case.standard is Standard.NST and len(recent) < 2:
        facts.add(Fact.NOT_REACTIVE_YET)
    of_class = facts_of_class(_class_now(truth, seen, case), case.standard)
    facts |= of_class
    if not facts:
        facts.add(Fact.NORMAL_TRACE)
    return facts


def _by_ear(case: Case) -> bool:
    asks = set(case.asks)
    return AskedStep.AUSCULTATION in asks and not asks & {AskedStep.STRIP, AskedStep.SENSORS}


def _facts_heard(truth: Truth) -> set[Fact]:
    """What an ear at intervals can know of the labour."""
    facts = set()
    level = truth.baseline.values[-int(BASELINE_CHANGE_S) :]
    if len(level) and float(level.mean()) < BASELINE_NORMAL_FROM_BPM:
        facts.add(Fact.BRADYCARDIA)
    if len(level) and float(level.mean()) > BASELINE_NORMAL_TO_BPM:
        facts.add(Fact.TACHYCARDIA)
    if share_with_falls(truth) >= FALLS_FROM:
        facts.add(Fact.DECELERATION_HEARD)
    return facts or {Fact.NORMAL_TRACE}


LEAST_CLASSED_MIN = 20.0
"""A class asks for something by itself only from so much trace on (ours)."""


def _class_now(truth: Truth, seen: Seen, case: Case) -> str:
    """The class of the last window of the case's length, or what it is at least; "" too soon."""
    end_s = truth.duration_s
    if end_s < LEAST_CLASSED_MIN * 60 or not seen.heart.any():
        return ""
    window = Window(max(0.0, end_s - 60.0 * case.minutes_before_reading), end_s)
    made = classify(findings_from_truth(truth, seen), window, case.standard, context_of(case))
    return made.at_least or ("" if made.refused else made.label)


def facts_of_class(label: str, standard: Standard) -> set[Fact]:
    """What a class asks for by itself: the worst is pathological, the middle one suspicious.

    Category II is suspicious here, Category III pathological; a non-reactive test has its own fact.
    """
    classes = classes_of(standard)[:-1]
    if standard is Standard.NST or label not in classes[1:]:
        return set()
    return {Fact.PATHOLOGICAL if label == classes[-1] else Fact.SUSPICIOUS}


def milder_facts(
    facts: Collection[Fact], accepted: Collection[str], standard: Standard
) -> set[Fact]:
    """The facts as the mildest careful reader has them, where the truth lies on a border."""
    classes = classes_of(standard)[:-1]
    known = [label for label in accepted if label in classes]
    if len(known) < 2:
        return set(facts)
    mildest = min(known, key=classes.index)
    kept = set(facts) - {Fact.SUSPICIOUS, Fact.PATHOLOGICAL}
    return kept | facts_of_class(mildest, standard)


def _facts_of_signal(truth: Truth, seen: Seen, end_s: float) -> set[Fact]:
    facts = set()
    since = max(0.0, end_s - RECENT_S)

    def length(kinds: tuple[SpanKind, ...]) -> float:
        return sum(
            max(0.0, min(span.end_s, end_s) - max(span.start_s, since))
            for span in truth.artefacts
            if span.kind in kinds
        )

    if length((SpanKind.MATERNAL,)) >= CAPTURED_S:
        facts.add(Fact.MATERNAL_RATE)
    if length((SpanKind.DOUBLING, SpanKind.HALVING)) >= CAPTURED_S:
        facts.add(Fact.DOUBLED_OR_HALVED)
    if length((SpanKind.LOSS,)) > WORKABLE_LOSS * (end_s - since) and seen.heart.any():
        facts.add(Fact.SIGNAL_LOST)
    return facts


def _facts_of_baseline(truth: Truth, findings: Findings, window: Window) -> set[Fact]:
    facts = set()
    level = truth.baseline.values[int(max(0.0, window.end_s - BASELINE_CHANGE_S)) :]
    if len(level) >= LEAST_BASELINE_S:
        low = float(np.mean(level < BASELINE_NORMAL_FROM_BPM))
        if low > 0.5 and float(level[-60:].mean()) < BASELINE_NORMAL_FROM_BPM:
            facts.add(Fact.BRADYCARDIA)
        if float(level.mean()) > BASELINE_NORMAL_TO_BPM:
            facts.add(Fact.TACHYCARDIA)
    width = _bandwidth(truth, window)
    if width < ABSENT_BELOW_BPM:
        facts.add(Fact.ABSENT_VARIABILITY)
    if width <= MINIMAL_UPTO_BPM and window.end_s - window.start_s >= 60 * LEAST_CLASSED_MIN:
        facts.add(Fact.REDUCED_VARIABILITY)
    if width > MARKED_ABOVE_BPM:
        facts.add(Fact.MARKED_VARIABILITY)
    if _sinusoidal(truth, window):
        facts.add(Fact.SINUSOIDAL)
    return facts


def _facts_of_decelerations(findings: Findings, window: Window) -> set[Fact]:
    facts = set()
    for kind, fact in (
        (DecelerationKind.LATE, Fact.RECURRENT_LATE),
        (DecelerationKind.VARIABLE, Fact.RECURRENT_VARIABLE),
    ):
        which = within.decelerations_of(findings, (kind,))
        if within.recurrent(findings, window, which).answer:
            facts.add(fact)
    recent = max(0.0, window.end_s - RECENT_S)
    if any(
        fall.kind is DecelerationKind.PROLONGED and fall.end_s > recent
        for fall in findings.fetal.decelerations
    ):
        facts.add(Fact.PROLONGED)
    if Fact.RECURRENT_VARIABLE in facts and any(
        fall.kind is DecelerationKind.VARIABLE and within.concerning_features(findings, fall)
        for fall in within.decelerations_in(findings, window)
    ):
        facts.add(Fact.CONCERNING)
    return facts


def _bandwidth(truth: Truth, window: Window) -> float:
    minutes = truth.bandwidth.values[int(window.start_s // 60) : math.ceil(window.end_s / 60)]
    told = minutes[np.isfinite(minutes)]
    return float(told.mean()) if len(told) else math.nan


def _sinusoidal(truth: Truth, window: Window) -> bool:
    return any(
        not one.pseudo
        and min(one.end_s, window.end_s) - max(one.start_s, window.start_s) >= SINUSOIDAL_FROM_S
        for one in truth.sinusoidal
    )


# --- the strip's truth --------------------------------------------------------------------------

OPTIONAL_RISE_BPM, OPTIONAL_FALL_BPM = 10.0, 10.0
CLEAR_BY_BPM, CLEAR_BY_S = 3.0, 3.0
"""An event this close to a threshold of recognition need not be found (ours)."""


def strip_truth(truth: Truth, seen: Seen, window: Window, case: Case) -> StripTruth:
    """The truth of a window as far as the learner's sensors could show it."""
    findings = findings_from_truth(truth, seen)
    width = _bandwidth(truth, window)
    tachysystole = within.tachysystole(findings, window).answer
    labels, accepted = _labels(findings, truth, seen, window, case)
    return StripTruth(
        window=window,
        baseline_bpm=_baseline(truth, seen, window),
        variability_accepted=_variability(width),
        sinusoidal=_sinusoidal(truth, window),
        tachysystole=tachysystole,
        events=_events(truth, seen, window),
        labels=labels,
        accepted_labels=accepted,
        source="the virtual labour itself",
    )


def true_label(truth: Truth, seen: Seen, window: Window, case: Case) -> str:
    """The class of a window by the case's standard, alone; `strip_truth` says what else counts."""
    findings = findings_from_truth(truth, seen)
    return classify(findings, window, case.standard, context_of(case)).label


def _variability(width: float) -> tuple[VariabilityClass, ...]:
    return variability_accepted(width)


def _baseline(truth: Truth, seen: Seen, window: Window) -> float:
    """Mean of the last ten minutes outside events, to 5 bpm; NaN under two minutes of it."""
    start = int(max(window.start_s, window.end_s - BASELINE_CHANGE_S))
    stop = int(window.end_s)
    kept = ~off_baseline(truth)[start:stop] & (seen.heart[start:stop] >= 0.5)
    values = truth.baseline.values[start:stop][kept]
    return rounded_baseline(float(values.mean())) if len(values) >= LEAST_BASELINE_S else math.nan


def _labels(
    exact: Findings, truth: Truth, seen: Seen, window: Window, case: Case
) -> tuple[dict[str, str], dict[str, tuple[str, ...]]]:
    context = context_of(case)
    careful = [
        exact,
        findings_from_truth(truth, seen, bandwidth_factor=0.9),
        findings_from_truth(truth, seen, bandwidth_factor=1.1),
        findings_from_truth(truth, seen, only_clear=True),
        findings_from_truth(_raised(truth, BASELINE_TOLERANCE_BPM), seen),
        findings_from_truth(_raised(truth, -BASELINE_TOLERANCE_BPM), seen),
    ]
    fewer = _without_the_shallowest(exact, window)
    if fewer is not None:
        careful.append(fewer)
    labels: dict[str, str] = {}
    accepted: dict[str, tuple[str, ...]] = {}
    for standard in Standard:
        if standard is not case.standard:
            labels[standard.value] = classify(exact, window, standard, context).label
            accepted[standard.value] = (labels[standard.value],)
            continue
        made = [classify(findings, window, standard, context) for findings in careful]
        labels[standard.value] = made[0].label
        # Where signal is missing over a danger that was seen, naming the danger is right as well.
        said = [word for one in made for word in (one.label, one.at_least) if word]
        accepted[standard.value] = tuple(dict.fromkeys(said))
    return labels, accepted


BASELINE_TOLERANCE_BPM = BASELINE_STEP_BPM / 2
SOME_FALLS = 4


def _raised(truth: Truth, by_bpm: float) -> Truth:
    """The same labour, its baseline read a little higher or lower."""
    curve = truth.baseline
    return replace(truth, baseline=replace(curve, values=curve.values + by_bpm))


def _without_the_shallowest(findings: Findings, window: Window) -> Findings | None:
    """The labour as read by someone who leaves out the least of several decelerations."""
    inside = within.decelerations_in(findings, window)
    if len(inside) < SOME_FALLS:
        return None
    least = min(inside, key=lambda fall: fall.depth_bpm)
    kept = tuple(fall for fall in findings.fetal.decelerations if fall is not least)
    return replace(findings, fetal=replace(findings.fetal, decelerations=kept))


def _events(truth: Truth, seen: Seen, window: Window) -> tuple[TrueEvent, ...]:
    events: list[TrueEvent] = []

    def inside(time_s: float) -> bool:
        return window.start_s <= time_s < window.end_s

    for contraction in truth.contractions:
        if inside(contraction.peak_s):
            share = seen.activity_share(Window(contraction.onset_s, contraction.end_s))
            events.append(
                TrueEvent(
                    MarkKind.CONTRACTION, contraction.onset_s, contraction.peak_s,
                    contraction.end_s, share, not contraction.counts,
                )
            )  # fmt: skip
    least_bpm, least_s = least_acceleration(truth.weeks)
    for rise in truth.accelerations:
        if not inside(rise.peak_s) or rise.height_bpm < 0.67 * least_bpm:
            continue
        near = (
            rise.height_bpm < least_bpm + CLEAR_BY_BPM
            or rise.end_s - rise.onset_s < least_s + CLEAR_BY_S
        )
        events.append(
            TrueEvent(
                MarkKind.ACCELERATION, rise.onset_s, rise.peak_s, rise.end_s,
                seen.heart_share(Window(rise.onset_s, rise.end_s)), near or not rise.counts,
            )
        )  # fmt: skip
    for fall in truth.decelerations:
        if inside(fall.nadir_s) and fall.depth_bpm >= OPTIONAL_FALL_BPM:
            events.append(_fall(fall, seen))
    # An event that reaches over the window's edge is only partly there to be marked.
    cut = [
        TrueEvent(
            e.kind, e.start_s, e.peak_s, e.end_s, e.visible_share,
            e.borderline or e.start_s < window.start_s or e.end_s > window.end_s, e.clear,
        )
        for e in events
    ]  # fmt: skip
    return tuple(sorted(cut, key=lambda e: e.start_s))


def _fall(fall: TrueDeceleration, seen: Seen) -> TrueEvent:
    near = (
        not fall.counts
        or fall.depth_bpm < LEAST_EXCURSION_BPM + CLEAR_BY_BPM
        or fall.end_s - fall.onset_s < LEAST_EXCURSION_S + CLEAR_BY_S
    )
    return TrueEvent(
        _MARKS[fall.kind],
        fall.onset_s,
        fall.nadir_s,
        fall.end_s,
        seen.heart_share(Window(fall.onset_s, fall.end_s)),
        near,
        fall.clear,
    )
