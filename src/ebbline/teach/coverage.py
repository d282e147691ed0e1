"""Which terms of the criteria and which ways to lie a case truly shows: taken from its truth."""

from __future__ import annotations

from ebbline.bedside.policy.internal import Verdict
from ebbline.definitions import BASELINE_NORMAL_FROM_BPM, BASELINE_NORMAL_TO_BPM
from ebbline.features import window as within
from ebbline.features.findings import DecelerationKind, Findings
from ebbline.ground_truth import findings_from_truth
from ebbline.synth.ground_truth import SpanKind, Truth
from ebbline.teach.case import AskedStep
from ebbline.teach.case_facts import strip_truth
from ebbline.teach.electrode_policy import may_be_offered
from ebbline.teach.encounter import Encounter
from ebbline.teach.measure_facts import Fact
from ebbline.teach.measures import measure_table
from ebbline.terms import Attitude, Lie, Position, Presentation, Window

TERMS = (
    "baseline: normal", "baseline: bradycardia", "baseline: tachycardia",
    "baseline: indeterminate", "baseline: change",
    "variability: absent", "variability: minimal", "variability: moderate",
    "variability: marked",
    "acceleration", "acceleration before 32 weeks", "prolonged acceleration",
    "early deceleration", "late deceleration", "variable deceleration",
    "prolonged deceleration",
    "recurrent decelerations", "intermittent decelerations",
    "variable: longer than 60 s", "variable: slow return", "variable: loss of shouldering",
    "variable: reduced variability within",
    "sinusoidal", "pseudosinusoidal",
    "contractions: normal", "contractions: tachysystole", "contractions: coupled",
    "nichd: Category I", "nichd: Category II", "nichd: Category III", "nichd: no class",
    "figo: normal", "figo: suspicious", "figo: pathological",
    "nice: normal", "nice: suspicious", "nice: pathological",
    "nst: reactive", "nst: non-reactive",
    "signal: lost", "signal: maternal rate", "signal: doubling", "signal: halving",
    "internal sensor: may be offered", "internal sensor: the list is against it",
    "internal sensor: something is unknown",
)  # fmt: skip
"""Every term of the criteria that a case can show. `nichd` and the rest: for cases that ask it."""

WAYS_TO_LIE = (
    *(f"lie: {lie}" for lie in Lie),
    *(f"presentation: {presentation}" for presentation in Presentation),
    *(f"attitude: {attitude}" for attitude in Attitude),
    *(f"vertex: {position}" for position in Position),
)
"""Every lie, presentation, attitude of the head, and every position of the vertex."""


def shown_in(encounter: Encounter) -> frozenset[str]:
    """What an encounter shows up to now."""
    case = encounter.case
    shown: set[str] = set()
    if AskedStep.HANDS in case.asks:
        shown |= _lies(encounter)
    if AskedStep.INTERNAL in case.asks:
        shown |= _internal(encounter)
    if encounter.monitors and AskedStep.STRIP in case.asks:
        shown |= _strip(encounter)
    return frozenset(shown)


def kept_promises(encounter: Encounter) -> tuple[bool, tuple[str, ...]]:
    """Whether an encounter keeps all that its case promises, and what it does not keep."""
    promised = set(encounter.case.promises)
    missing = promised - shown_in(encounter) - told_in(encounter) if promised else set()
    return not missing, tuple(sorted(missing))


NO_FALLS = "no decelerations"
EVERY = "contractions: every "


def told_in(encounter: Encounter) -> frozenset[str]:
    """Sentences of a story that hold of an encounter up to now, as a case may promise them.

    `call: ...` whom the picture asks to tell, `measure: ...` each that it calls for,
    `contractions: every N minutes` in the window that is read, `no decelerations` in it.
    """
    case = encounter.case
    told: set[str] = set()
    if AskedStep.MEASURES in case.asks:
        facts, table = encounter.facts(), measure_table()
        told.add(f"call: {table.lowest_call(facts).id}")
        told |= {f"measure: {measure.id}" for measure in table.wanted(facts)}
    if encounter.monitors and encounter.minute >= 1:
        truth, window = encounter.labour().truth, encounter.window
        inside = [
            c for c in truth.contractions if c.counts and window.start_s <= c.peak_s < window.end_s
        ]
        if inside:
            told.add(f"{EVERY}{round(window.duration_s / 60 / len(inside))} minutes")
        findings = findings_from_truth(truth, encounter.seen(truth))
        if not within.decelerations_in(findings, window):
            told.add(NO_FALLS)
    return frozenset(told)


def _lies(encounter: Encounter) -> set[str]:
    fetus = encounter.case.fetus
    if fetus is None:
        return set()
    shown = {f"lie: {fetus.lie}", f"presentation: {fetus.presentation}"}
    if fetus.true_attitude is not None:
        shown.add(f"attitude: {fetus.true_attitude}")
    if fetus.presentation is Presentation.VERTEX:
        shown.add(f"vertex: {fetus.position}")
    return shown


def _internal(encounter: Encounter) -> set[str]:
    allowed = may_be_offered(encounter.case, encounter.fetus, frozenset(encounter.signs))
    checks = (allowed.electrode_check, allowed.catheter_check)
    words = {
        Verdict.NOT_AGAINST: "internal sensor: may be offered",
        Verdict.CARE: "internal sensor: may be offered",
        Verdict.AGAINST: "internal sensor: the list is against it",
        Verdict.UNKNOWN: "internal sensor: something is unknown",
    }
    return {words[check.verdict] for check in checks}


def _strip(encounter: Encounter) -> set[str]:
    case, window = encounter.case, encounter.window
    truth = encounter.labour().truth
    seen = encounter.seen(truth)
    strip = strip_truth(truth, seen, window, case)
    findings = findings_from_truth(truth, seen)
    facts = encounter.facts()
    shown = {
        f"{standard}: {strip.labels[standard]}"
        for standard in (case.standard.value,)
        if len(strip.accepted_labels[standard]) == 1
    }
    shown |= _baseline(truth, strip.baseline_bpm, facts)
    shown.add(f"variability: {strip.variability_accepted[0]}")
    shown |= _events(findings, truth, window)
    if strip.sinusoidal:
        shown.add("sinusoidal")
    if any(s.pseudo and s.end_s > window.start_s for s in truth.sinusoidal):
        shown.add("pseudosinusoidal")
    if strip.tachysystole is not None:
        shown.add("contractions: tachysystole" if strip.tachysystole else "contractions: normal")
    if any(c.coupled and c.peak_s > window.start_s for c in truth.contractions):
        shown.add("contractions: coupled")
    return shown | _signal(truth, facts)


def _baseline(truth: Truth, baseline: float, facts: frozenset[Fact]) -> set[str]:
    shown = set()
    if baseline != baseline:
        shown.add("baseline: indeterminate")
    elif BASELINE_NORMAL_FROM_BPM <= baseline <= BASELINE_NORMAL_TO_BPM:
        shown.add("baseline: normal")
    if Fact.BRADYCARDIA in facts:
        shown.add("baseline: bradycardia")
    if Fact.TACHYCARDIA in facts:
        shown.add("baseline: tachycardia")
    if truth.baseline_changes:
        shown.add("baseline: change")
    return shown


def _signal(truth: Truth, facts: frozenset[Fact]) -> set[str]:
    shown = set()
    if Fact.SIGNAL_LOST in facts:
        shown.add("signal: lost")
    if Fact.MATERNAL_RATE in facts:
        shown.add("signal: maternal rate")
    for kind, word in ((SpanKind.DOUBLING, "doubling"), (SpanKind.HALVING, "halving")):
        if sum(s.end_s - s.start_s for s in truth.artefacts if s.kind is kind) > 60:
            shown.add(f"signal: {word}")
    return shown


_FALLS = {
    DecelerationKind.EARLY: "early deceleration",
    DecelerationKind.LATE: "late deceleration",
    DecelerationKind.VARIABLE: "variable deceleration",
    DecelerationKind.PROLONGED: "prolonged deceleration",
}
_CONCERNS = {
    "longer than 60 s": "variable: longer than 60 s",
    "slow return to the baseline": "variable: slow return",
    "loss of shouldering": "variable: loss of shouldering",
    "reduced variability within": "variable: reduced variability within",
}


def _events(findings: Findings, truth: Truth, window: Window) -> set[str]:
    shown = set()
    clear = {fall.onset_s for fall in truth.decelerations if fall.clear}
    for fall in within.decelerations_in(findings, window):
        if fall.onset_s in clear and fall.kind in _FALLS:
            shown.add(_FALLS[fall.kind])
        if fall.kind is DecelerationKind.VARIABLE:
            concerns = within.concerning_features(findings, fall)
            shown |= {_CONCERNS[c] for c in concerns if c in _CONCERNS}
    for kind in (DecelerationKind.LATE, DecelerationKind.VARIABLE, DecelerationKind.EARLY):
        which = within.decelerations_of(findings, (kind,))
        answer = within.recurrent(findings, window, which)
        if answer.answer:
            shown.add("recurrent decelerations")
        elif answer.answer is False and answer.value > 0:
            shown.add("intermittent decelerations")
    rises = within.accelerations_in(findings, window)
    if rises:
        preterm = truth.weeks < 32
        shown.add("acceleration before 32 weeks" if preterm else "acceleration")
    if any(rise.prolonged for rise in rises):
        shown.add("prolonged acceleration")
    return shown
