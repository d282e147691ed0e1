"""NICE NG229 (December 2022): white, amber and red features, as a table and as it is applied.

Source: NICE guideline NG229, Fetal monitoring in labour, section 1.4. All values are from memory.
Normal: all features white. Suspicious: one amber. Pathological: one red, or two or more amber.
"""

from __future__ import annotations

import math
from itertools import pairwise
from statistics import median

from ebbline.criteria import limits
from ebbline.criteria.docket import Docket, check_bandwidth, check_baseline, check_window, spans
from ebbline.criteria.facts import TenMinuteBaseline, WindowFacts, clock
from ebbline.criteria.figo import UNTOLD_APART_S, state_unmeasured
from ebbline.criteria.model import Classification, Level, Standard, Window
from ebbline.criteria.rules import NOT_NUMERIC, Compare, Part, Rule, Source, Table
from ebbline.criteria.sources import COMMON_PRACTICE, MODANLOU_1982, NICE_NG229, OURS
from ebbline.features import window as within
from ebbline.features.detect import MARKED_BPM
from ebbline.recording.model import Context
from ebbline.terms import SensorKind

_SECTION = "section 1.4"
HOUR_S = 3600.0
SERIES_APART_S = within.SEGMENT_S
"""Decelerations further apart than 20 minutes are no series that goes on (our choice)."""


def _line(
    id_: str,
    feature: str,
    verdict: str,
    says: str,
    compare: Compare,
    threshold: float = NOT_NUMERIC,
    unit: str = "",
    *,
    upper: float = NOT_NUMERIC,
    part: Part = Part.CLASS,
    source: Source = NICE_NG229,
    note: str = "",
) -> Rule:
    level, rank = {
        "white": (Level.REASSURING, 0),
        "amber": (Level.CAUTION, 1),
        "red": (Level.ALARMING, 2),
    }.get(verdict, (Level.CAUTION, 0))
    return Rule(
        id=id_,
        part=part,
        feature=feature,
        verdict=verdict,
        level=level,
        says=says,
        compare=compare,
        threshold=threshold,
        upper=upper,
        unit=unit,
        rank=rank,
        source=source,
        section=_SECTION if source is NICE_NG229 else "",
        note=note,
    )


CONTRACTIONS_WHITE = _line(
    "nice-contractions-white",
    "contractions",
    "white",
    "Contractions in 10 minutes, averaged over 30,",
    Compare.BELOW,
    5.0,
)
CONTRACTIONS_AMBER = _line(
    "nice-contractions-amber",
    "contractions",
    "amber",
    "Contractions in 10 minutes, averaged over 30, with shortened rest between,",
    Compare.AT_LEAST,
    CONTRACTIONS_WHITE.threshold,
    note="Amber unless the rest is measured and not shortened.",
)
CONTRACTIONS_RESTED = _line(
    "nice-contractions-rested",
    "contractions",
    "white, frequent",
    "Contractions in 10 minutes, averaged over 30, with rest not shortened,",
    Compare.AT_LEAST,
    CONTRACTIONS_WHITE.threshold,
    part=Part.NOTE,
)
REST = _line(
    "nice-rest",
    "contractions",
    "shortened rest",
    "Median rest between contractions",
    Compare.BELOW,
    60.0,
    "s",
    part=Part.TERM,
    source=COMMON_PRACTICE,
    note="The guideline gives no number.",
)
HYPERTONUS = _line(
    "nice-hypertonus",
    "contractions",
    "amber",
    "Hypertonus: a contraction of",
    Compare.ABOVE,
    2.0,
    "min",
    note="The guideline says hypertonus; the length is common use. Pressure catheter only: a toco "
    "gives no reliable duration (FIGO 2015, monitoring of uterine contractions).",
)
LONG_ON_TOCO = _line(
    "nice-long-on-toco",
    "contractions",
    "feel for hypertonus",
    "A contraction that on the toco lasts",
    Compare.ABOVE,
    HYPERTONUS.threshold,
    "min",
    part=Part.NOTE,
)
RESTING_TONE = _line(
    "nice-resting-tone",
    "contractions",
    "amber",
    "Hypertonus: median resting tone",
    Compare.ABOVE,
    25.0,
    "mmHg",
    source=COMMON_PRACTICE,
    note="Pressure catheter only.",
)
BASELINE_WHITE = _line(
    "nice-baseline-white",
    "baseline",
    "white",
    "Baseline, stable,",
    Compare.WITHIN,
    110.0,
    "bpm",
    upper=160.0,
)
BASELINE_LOW = _line(
    "nice-baseline-amber",
    "baseline",
    "amber",
    "Baseline",
    Compare.WITHIN,
    100.0,
    "bpm",
    upper=BASELINE_WHITE.threshold - 1.0,
    note="Usual care goes on if stable all labour with normal variability and no variable or "
    "late decelerations.",
)
BASELINE_RISE = _line(
    "nice-baseline-rise",
    "baseline",
    "amber",
    "Rise of the baseline of",
    Compare.AT_LEAST,
    20.0,
    "bpm",
    note="From the start of labour (here: of the recording) or from an hour before.",
)
BASELINE_UNKNOWN = _line(
    "nice-baseline-unknown",
    "baseline",
    "amber",
    "Baseline not determinable",
    Compare.PRESENT,
)
BASELINE_SLOW = _line(
    "nice-baseline-red-slow",
    "baseline",
    "red",
    "Baseline",
    Compare.BELOW,
    BASELINE_LOW.threshold,
    "bpm",
)
BASELINE_FAST = _line(
    "nice-baseline-red-fast",
    "baseline",
    "red",
    "Baseline",
    Compare.ABOVE,
    BASELINE_WHITE.upper,
    "bpm",
)
VARIABILITY_WHITE = _line(
    "nice-variability-white",
    "variability",
    "white",
    "Mean bandwidth",
    Compare.WITHIN,
    within.REDUCED_BELOW_BPM,
    "bpm",
    upper=MARKED_BPM,
)
REDUCED_RED = _line(
    "nice-variability-reduced-red",
    "variability",
    "red",
    "Variability under 5 bpm without break for",
    Compare.ABOVE,
    50.0,
    "min",
)
REDUCED_AMBER = _line(
    "nice-variability-reduced-amber",
    "variability",
    "amber",
    "Variability under 5 bpm without break for",
    Compare.WITHIN,
    30.0,
    "min",
    upper=REDUCED_RED.threshold,
)
REDUCED_SHORT = _line(
    "nice-variability-reduced-short",
    "variability",
    "not yet amber",
    "Variability under 5 bpm without break for",
    Compare.BELOW,
    REDUCED_AMBER.threshold,
    "min",
    part=Part.NOTE,
)
REDUCED_UNMEASURED = _line(
    "nice-variability-reduced-unmeasured",
    "variability",
    "may be red",
    "Variability under 5 bpm, if what was not measured was so too, for",
    Compare.ABOVE,
    REDUCED_RED.threshold,
    "min",
    part=Part.NOTE,
)
INCREASED_RED = _line(
    "nice-variability-increased-red",
    "variability",
    "red",
    "Variability over 25 bpm without break for",
    Compare.ABOVE,
    10.0,
    "min",
)
INCREASED_AMBER = _line(
    "nice-variability-increased-amber",
    "variability",
    "amber",
    "Variability over 25 bpm without break for",
    Compare.WITHIN,
    5.0,
    "min",
    upper=INCREASED_RED.threshold,
    note="The guideline says up to 10 minutes; under 5 in a row is stated only (our choice).",
)
INCREASED_SHORT = _line(
    "nice-variability-increased-short",
    "variability",
    "passing",
    "Variability over 25 bpm without break for",
    Compare.BELOW,
    INCREASED_AMBER.threshold,
    "min",
    part=Part.NOTE,
)
SINUSOIDAL = _line(
    "nice-sinusoidal",
    "variability",
    "red",
    "Sinusoidal pattern for",
    Compare.AT_LEAST,
    10.0,
    "min",
    note="The guideline gives no length; the length is that of " + MODANLOU_1982.short + ".",
)
DECELERATIONS_WHITE = _line(
    "nice-decelerations-white",
    "decelerations",
    "white",
    "No decelerations that are amber or red",
    Compare.PRESENT,
)
VARIABLE_AMBER = _line(
    "nice-variable-repetitive",
    "decelerations",
    "amber",
    "Repetitive variable decelerations with a concerning characteristic, with",
    Compare.ABOVE,
    within.HALF,
    "%",
    note="For up to 30 minutes; of the contractions of the window.",
)
VARIABLE_LASTING = _line(
    "nice-variable-lasting",
    "decelerations",
    "amber",
    "Variable decelerations with a concerning characteristic, not repetitive, for",
    Compare.ABOVE,
    30.0,
    "min",
)
VARIABLE_RED = _line(
    "nice-variable-red",
    "decelerations",
    "red",
    "Repetitive variable decelerations with a concerning characteristic for",
    Compare.ABOVE,
    30.0,
    "min",
)
LATE_AMBER = _line(
    "nice-late-repetitive",
    "decelerations",
    "amber",
    "Repetitive late decelerations, with",
    Compare.ABOVE,
    within.HALF,
    "%",
    note="For up to 30 minutes; of the contractions of the window.",
)
LATE_RED = _line(
    "nice-late-red",
    "decelerations",
    "red",
    "Repetitive late decelerations for",
    Compare.ABOVE,
    30.0,
    "min",
)
PROLONGED = _line(
    "nice-prolonged",
    "decelerations",
    "red",
    "Acute bradycardia or prolonged deceleration of",
    Compare.AT_LEAST,
    3.0,
    "min",
)
UNTOLD = _line(
    "nice-decelerations-untold",
    "decelerations",
    "amber",
    "Late or concerning decelerations, if so with an unknown share of contractions",
    Compare.PRESENT,
    source=OURS,
    note="Without known contractions, two or more cannot be called not repetitive.",
)
CONCERNING_LONG = _line(
    "nice-concerning-long",
    "decelerations",
    "concerning",
    "Variable deceleration of",
    Compare.ABOVE,
    within.CONCERNING_LONGER_THAN_S,
    "s",
    part=Part.TERM,
)
CONCERNING_FLAT = _line(
    "nice-concerning-flat",
    "decelerations",
    "concerning",
    "Variability within a variable deceleration",
    Compare.BELOW,
    within.REDUCED_BELOW_BPM,
    "bpm",
    part=Part.TERM,
)
CONCERNING_FORM = _line(
    "nice-concerning-form",
    "decelerations",
    "concerning",
    "Failure or slowness to return to the baseline, or loss of shouldering that was there before",
    Compare.PRESENT,
    part=Part.TERM,
)
TWO_AMBER = Rule(
    id="nice-two-amber",
    part=Part.CLASS,
    feature="all features",
    verdict="pathological",
    level=Level.ALARMING,
    says="Amber features",
    compare=Compare.AT_LEAST,
    threshold=2.0,
    rank=2,
    source=NICE_NG229,
    section=_SECTION,
)
ACCELERATIONS = _line(
    "nice-accelerations",
    "accelerations",
    "present",
    "Accelerations",
    Compare.PRESENT,
    part=Part.NOTE,
    note="A sign of a healthy fetus; not among the four features.",
)

TABLE = Table(
    standard=Standard.NICE,
    edition="NICE NG229 (2022)",
    scope="labour",
    classes=("normal", "suspicious", "pathological"),
    rules=(
        CONTRACTIONS_WHITE,
        CONTRACTIONS_AMBER,
        CONTRACTIONS_RESTED,
        REST,
        HYPERTONUS,
        LONG_ON_TOCO,
        RESTING_TONE,
        BASELINE_WHITE,
        BASELINE_LOW,
        BASELINE_RISE,
        BASELINE_UNKNOWN,
        BASELINE_SLOW,
        BASELINE_FAST,
        VARIABILITY_WHITE,
        REDUCED_SHORT,
        REDUCED_AMBER,
        REDUCED_RED,
        REDUCED_UNMEASURED,
        INCREASED_SHORT,
        INCREASED_AMBER,
        INCREASED_RED,
        SINUSOIDAL,
        DECELERATIONS_WHITE,
        VARIABLE_AMBER,
        VARIABLE_LASTING,
        VARIABLE_RED,
        LATE_AMBER,
        LATE_RED,
        PROLONGED,
        UNTOLD,
        CONCERNING_LONG,
        CONCERNING_FLAT,
        CONCERNING_FORM,
        TWO_AMBER,
        ACCELERATIONS,
    ),
    limits=(*limits.COMMON, *limits.OF_MINUTES),
)


def classify(facts: WindowFacts, context: Context) -> Classification:
    """The class of a window by NICE NG229, or why there is none."""
    docket = Docket(TABLE, facts)
    check_window(docket, facts, context)
    _contractions(docket, facts)
    _baseline(docket, facts)
    _variability(docket, facts)
    _decelerations(docket, facts)
    if facts.accelerations:
        docket.add(
            ACCELERATIONS,
            detail=f"{facts.accelerations} in the window",
            level=Level.REASSURING,
        )
    sure = dict.fromkeys(rule.feature for rule in docket.met(1) if rule is not UNTOLD)
    untold = UNTOLD in docket.met(1) and UNTOLD.feature not in sure
    if TWO_AMBER.met(len(sure)):
        docket.add(TWO_AMBER, len(sure), detail=", ".join(sure))
    elif untold and TWO_AMBER.met(len(sure) + 1):
        docket.leave_open(
            f"beside the {', '.join(sure)}, decelerations may be a second amber feature"
        )
    return docket.close()


def _contractions(docket: Docket, facts: WindowFacts) -> None:
    rate = facts.contraction_rate
    if math.isnan(rate.per_10_min):
        docket.withhold(f"contractions, one of the four features: {rate.why}")
        _hypertonus(docket, facts)
        return
    evidence = (Window(rate.start_s, rate.end_s),)
    _hypertonus(docket, facts)
    if CONTRACTIONS_AMBER.met(rate.per_10_min):
        rest_s = _median_rest_s(facts, rate)
        if math.isnan(rest_s) or REST.met(rest_s):
            rest = "rest not measured" if math.isnan(rest_s) else f"median rest {rest_s:.0f} s"
            docket.add(CONTRACTIONS_AMBER, rate.per_10_min, evidence=evidence, detail=rest)
        else:
            docket.add(
                CONTRACTIONS_RESTED,
                rate.per_10_min,
                evidence=evidence,
                detail=f"median rest {rest_s:.0f} s",
            )
    elif not docket.weighs("contractions"):
        docket.add(CONTRACTIONS_WHITE, rate.per_10_min, evidence=evidence)


def _median_rest_s(facts: WindowFacts, rate: within.ContractionRate) -> float:
    """Median time from the end of a contraction to the onset of the next; NaN under two."""
    seen = within.contractions_in(facts.findings, rate.start_s, rate.end_s)
    rests = [after.onset_s - before.end_s for before, after in pairwise(seen)]
    return median(rests) if rests else math.nan


def _hypertonus(docket: Docket, facts: WindowFacts) -> None:
    seen = within.contractions_in(facts.findings, facts.window.start_s, facts.window.end_s)
    if not seen:
        return
    catheter = facts.findings.uterine.sensor is SensorKind.PRESSURE_CATHETER
    longest = max(seen, key=lambda one: one.duration_s)
    if HYPERTONUS.met(longest.duration_s / 60.0):
        docket.add(
            HYPERTONUS if catheter else LONG_ON_TOCO,
            longest.duration_s / 60.0,
            evidence=(Window(longest.onset_s, longest.end_s),),
        )
    if not catheter:
        docket.not_seen("hypertonus: a toco gives no resting tone and no reliable duration")
    else:
        tone = median(one.resting_tone for one in seen)
        if RESTING_TONE.met(tone):
            docket.add(RESTING_TONE, tone, evidence=(facts.window,))


def _baseline(docket: Docket, facts: WindowFacts) -> None:
    known = facts.known_baselines
    if not known:
        docket.add(BASELINE_UNKNOWN, detail="in the preceding ten minutes neither")
        return
    check_baseline(docket, facts)
    fastest = max(known, key=lambda one: one.whole_bpm)
    slowest = min(known, key=lambda one: one.whole_bpm)
    for rule, one in (
        (BASELINE_FAST, fastest),
        (BASELINE_SLOW, slowest),
        (BASELINE_LOW, slowest),
    ):
        if rule.met(one.whole_bpm):
            docket.add(rule, one.whole_bpm, evidence=(one.evidence,))
    rise, since, risen = _rise(facts, known)
    if BASELINE_RISE.met(rise):
        docket.add(
            BASELINE_RISE,
            rise,
            evidence=(risen.evidence,),
            detail=f"from {since.whole_bpm:.0f} to {risen.whole_bpm:.0f} bpm",
        )
    if not docket.weighs("baseline"):
        docket.add(BASELINE_WHITE, known[-1].whole_bpm, evidence=(known[-1].evidence,))


def _rise(
    facts: WindowFacts, known: tuple[TenMinuteBaseline, ...]
) -> tuple[float, TenMinuteBaseline, TenMinuteBaseline]:
    """The greatest rise of a ten-minute baseline of the window: by how much, from, to.

    From the first determinate baseline of the recording, which stands for the start of labour,
    and from that of the ten minutes an hour before.
    """
    best = (-math.inf, known[0], known[0])
    whole = facts.whole
    for one in known:
        for since in (whole.first_level, whole.level_at(one.evidence.start_s - HOUR_S)):
            if since is not None:
                best = max(
                    best, (one.whole_bpm - since.whole_bpm, since, one), key=lambda found: found[0]
                )
    return best


def _variability(docket: Docket, facts: WindowFacts) -> None:
    (low, low_at), (high, _) = facts.mean_bandwidths
    check_bandwidth(docket, facts)
    reduced, increased = facts.reduced_run, facts.increased_run
    if reduced is not None:
        for rule in (REDUCED_RED, REDUCED_AMBER):
            if rule.met(reduced.minutes):
                docket.add(rule, reduced.minutes, evidence=(reduced.evidence,))
    if increased is not None:
        for rule in (INCREASED_RED, INCREASED_AMBER, INCREASED_SHORT):
            if rule.met(increased.minutes):
                docket.add(rule, increased.minutes, evidence=(increased.evidence,))
    state_unmeasured(docket, facts, REDUCED_RED, REDUCED_UNMEASURED)
    longest = facts.longest_sinusoidal()
    if longest is not None:
        seconds, episode = longest
        if SINUSOIDAL.met(seconds / 60.0):
            docket.add(
                SINUSOIDAL,
                seconds / 60.0,
                evidence=(Window(episode.start_s, episode.start_s + seconds),),
            )
        else:
            docket.withhold(
                f"a sinusoidal undulation has lasted {seconds / 60.0:.0f} min by the window's end"
            )
    if docket.weighs("variability"):
        return
    if VARIABILITY_WHITE.met(low) and VARIABILITY_WHITE.met(high):
        docket.add(VARIABILITY_WHITE, low, evidence=(low_at,))
    if reduced is not None and low < VARIABILITY_WHITE.threshold:
        docket.add(REDUCED_SHORT, reduced.minutes, evidence=(reduced.evidence,))
        if reduced.began_unseen:
            docket.withhold(
                f"variability is under 5 bpm from {clock(reduced.evidence.start_s)} on, and for "
                "how long it was so before was not measured"
            )


def _decelerations(docket: Docket, facts: WindowFacts) -> None:
    whole = facts.whole
    touched = facts.touching(~whole.falls.shallow)
    if touched:
        longest = max(touched, key=facts.so_far_s)
        minutes = facts.so_far_s(longest) / 60.0
        if PROLONGED.met(minutes):
            docket.add(
                PROLONGED,
                minutes,
                evidence=spans((longest,)),
                detail=f"{longest.depth_bpm:.0f} bpm deep, down to {longest.nadir_bpm:.0f} bpm",
            )
    late = facts.repetitive(whole.late)
    variable = facts.repetitive(whole.concerning)
    run = facts.longest_run(whole.late)
    if run is not None and LATE_RED.met(run.duration_s / 60.0):
        docket.add(LATE_RED, run.duration_s / 60.0, evidence=(Window(run.start_s, run.end_s),))
    elif late.answer:
        docket.add(LATE_AMBER, late.value, evidence=(Window(late.start_s, late.end_s),))
    run = facts.longest_run(whole.concerning)
    if run is not None and VARIABLE_RED.met(run.duration_s / 60.0):
        docket.add(
            VARIABLE_RED,
            run.duration_s / 60.0,
            evidence=(Window(run.start_s, run.end_s),),
            detail=_characteristics(facts),
        )
    elif variable.answer:
        docket.add(
            VARIABLE_AMBER,
            variable.value,
            evidence=(Window(variable.start_s, variable.end_s),),
            detail=_characteristics(facts),
        )
    else:
        series = facts.chain(whole.concerning, SERIES_APART_S)
        if series is not None and VARIABLE_LASTING.met(series.duration_s / 60.0):
            docket.add(
                VARIABLE_LASTING,
                series.duration_s / 60.0,
                evidence=(series,),
                detail=_characteristics(facts),
            )
    _untold(docket, facts, variable)
    if not docket.weighs("decelerations"):
        counted = f"{len(touched)} in the window" if touched else "none in the window"
        docket.add(DECELERATIONS_WHITE, detail=counted)


def _untold(docket: Docket, facts: WindowFacts, variable: within.Answer) -> None:
    """Decelerations that would count, were the contractions known."""
    whole = facts.whole
    maybe_late = whole.late | whole.unpaired
    for name, mask, answer, limit in (
        ("variable", whole.concerning, variable, VARIABLE_RED),
        ("late or early", maybe_late, facts.repetitive(maybe_late), LATE_RED),
    ):
        if answer.answer is not None:
            continue
        falls = facts.touching(mask)
        docket.add(
            UNTOLD,
            evidence=spans(falls),
            detail=f"{name}: {len(falls)} in the window, {answer.why}",
        )
        docket.not_seen(f"whether decelerations are repetitive, or late: {answer.why}")
        series = facts.chain(mask, UNTOLD_APART_S)
        if series is not None and limit.met(series.duration_s / 60.0):
            docket.leave_open(
                f"decelerations that may be red go on for {series.duration_s / 60.0:.0f} min, and "
                f"whether with most contractions cannot be told ({answer.why}): pathological is "
                "not excluded"
            )


def _characteristics(facts: WindowFacts) -> str:
    found: dict[str, int] = {}
    for fall in facts.touching(facts.whole.concerning):
        for name in within.concerning_features(facts.findings, fall):
            found[name] = found.get(name, 0) + 1
    return ", ".join(f"{count} {name}" for name, count in found.items())
