"""FIGO 2015: normal, suspicious, pathological, as a table and as the way it is applied.

Source: Ayres-de-Campos D, Spong CY, Chandraharan E. Int J Gynaecol Obstet 2015;131:13-24, its
table of classification criteria and the definitions before it.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ebbline.criteria import limits
from ebbline.criteria.docket import Docket, check_bandwidth, check_baseline, check_window, spans
from ebbline.criteria.facts import RecordingFacts, WindowFacts
from ebbline.criteria.model import Classification, Level, Standard, Window
from ebbline.criteria.rules import NOT_NUMERIC, Compare, Part, Rule, Table
from ebbline.criteria.sources import FIGO_2015, OURS
from ebbline.features import window as within
from ebbline.features.detect import MARKED_BPM
from ebbline.features.events import LATE_LAG_S, LEAST_BPM, SHALLOW_BPM
from ebbline.recording.model import Context

BoolArray = NDArray[np.bool_]

_CLASSES = "classification criteria"
_NOT_NORMAL = "not normal"
_PATHOLOGICAL = "pathological"
UNTOLD_APART_S = 600.0
"""Decelerations further apart than this are no pattern, whatever the contractions were."""


def _term(
    id_: str,
    feature: str,
    verdict: str,
    says: str,
    compare: Compare,
    threshold: float,
    unit: str,
    section: str,
    *,
    upper: float = NOT_NUMERIC,
    note: str = "",
) -> Rule:
    return Rule(
        id=id_,
        part=Part.TERM,
        feature=feature,
        verdict=verdict,
        level=Level.CAUTION,
        says=says,
        compare=compare,
        threshold=threshold,
        upper=upper,
        unit=unit,
        source=FIGO_2015,
        section=section,
        note=note,
    )


BASELINE_NORMAL = Rule(
    id="figo-baseline-normal",
    part=Part.CLASS,
    feature="baseline",
    verdict="normal",
    level=Level.REASSURING,
    says="Baseline",
    compare=Compare.WITHIN,
    threshold=110.0,
    upper=160.0,
    unit="bpm",
    source=FIGO_2015,
    section=_CLASSES,
    note="Of every ten minutes, to the whole bpm.",
)
TACHYCARDIA = Rule(
    id="figo-baseline-tachycardia",
    part=Part.CLASS,
    feature="baseline",
    verdict=_NOT_NORMAL,
    level=Level.CAUTION,
    says="Tachycardia, baseline",
    compare=Compare.ABOVE,
    threshold=BASELINE_NORMAL.upper,
    unit="bpm",
    rank=1,
    source=FIGO_2015,
    section=_CLASSES,
)
BRADYCARDIA = Rule(
    id="figo-baseline-bradycardia",
    part=Part.CLASS,
    feature="baseline",
    verdict=_NOT_NORMAL,
    level=Level.CAUTION,
    says="Bradycardia, baseline",
    compare=Compare.BELOW,
    threshold=BASELINE_NORMAL.threshold,
    unit="bpm",
    rank=1,
    source=FIGO_2015,
    section=_CLASSES,
)
BASELINE_LOW = Rule(
    id="figo-baseline-pathological",
    part=Part.CLASS,
    feature="baseline",
    verdict=_PATHOLOGICAL,
    level=Level.ALARMING,
    says="Baseline",
    compare=Compare.BELOW,
    threshold=100.0,
    unit="bpm",
    rank=2,
    source=FIGO_2015,
    section=_CLASSES,
)
VARIABILITY_NORMAL = Rule(
    id="figo-variability-normal",
    part=Part.CLASS,
    feature="variability",
    verdict="normal",
    level=Level.REASSURING,
    says="Mean bandwidth",
    compare=Compare.WITHIN,
    threshold=within.REDUCED_BELOW_BPM,
    upper=MARKED_BPM,
    unit="bpm",
    source=FIGO_2015,
    section=_CLASSES,
    note="Mean of the one-minute bandwidths of the window, or of any 30 minutes of a longer one.",
)
VARIABILITY_LOW = Rule(
    id="figo-variability-low",
    part=Part.CLASS,
    feature="variability",
    verdict=_NOT_NORMAL,
    level=Level.CAUTION,
    says="Mean bandwidth",
    compare=Compare.BELOW,
    threshold=VARIABILITY_NORMAL.threshold,
    unit="bpm",
    rank=1,
    source=FIGO_2015,
    section=_CLASSES,
)
VARIABILITY_HIGH = Rule(
    id="figo-variability-high",
    part=Part.CLASS,
    feature="variability",
    verdict=_NOT_NORMAL,
    level=Level.CAUTION,
    says="Mean bandwidth",
    compare=Compare.ABOVE,
    threshold=VARIABILITY_NORMAL.upper,
    unit="bpm",
    rank=1,
    source=FIGO_2015,
    section=_CLASSES,
)
REDUCED = Rule(
    id="figo-variability-reduced",
    part=Part.CLASS,
    feature="variability",
    verdict=_PATHOLOGICAL,
    level=Level.ALARMING,
    says="Reduced variability without break for",
    compare=Compare.ABOVE,
    threshold=50.0,
    unit="min",
    rank=2,
    source=FIGO_2015,
    section="variability; " + _CLASSES,
    note="Measured minutes with a bandwidth under 5 bpm, counted over the whole recording.",
)
REDUCED_UNMEASURED = Rule(
    id="figo-variability-reduced-unmeasured",
    part=Part.NOTE,
    feature="variability",
    verdict="may be pathological",
    level=Level.ALARMING,
    says="Reduced variability, if what was not measured was reduced too, for",
    compare=Compare.ABOVE,
    threshold=REDUCED.threshold,
    unit="min",
    source=FIGO_2015,
    section="variability",
)
REDUCED_WITHIN = Rule(
    id="figo-variability-reduced-within",
    part=Part.CLASS,
    feature="variability",
    verdict=_PATHOLOGICAL,
    level=Level.ALARMING,
    says="Reduced variability within a deceleration for",
    compare=Compare.ABOVE,
    threshold=3.0,
    unit="min",
    rank=2,
    source=FIGO_2015,
    section="variability",
    note="Of one deceleration, not added up.",
)
INCREASED = Rule(
    id="figo-variability-increased",
    part=Part.CLASS,
    feature="variability",
    verdict=_PATHOLOGICAL,
    level=Level.ALARMING,
    says="Increased variability without break for",
    compare=Compare.ABOVE,
    threshold=30.0,
    unit="min",
    rank=2,
    source=FIGO_2015,
    section="variability; " + _CLASSES,
)
SINUSOIDAL = Rule(
    id="figo-sinusoidal",
    part=Part.CLASS,
    feature="sinusoidal pattern",
    verdict=_PATHOLOGICAL,
    level=Level.ALARMING,
    says="Sinusoidal pattern for",
    compare=Compare.ABOVE,
    threshold=30.0,
    unit="min",
    rank=2,
    source=FIGO_2015,
    section="sinusoidal pattern; " + _CLASSES,
)
SINUSOIDAL_SHORT = Rule(
    id="figo-sinusoidal-short",
    part=Part.CLASS,
    feature="sinusoidal pattern",
    verdict=_NOT_NORMAL,
    level=Level.CAUTION,
    says="Sinusoidal undulation for",
    compare=Compare.AT_MOST,
    threshold=SINUSOIDAL.threshold,
    unit="min",
    rank=1,
    source=OURS,
    section="",
    note="The table is silent; variability of this form is not a normal feature.",
)
PSEUDOSINUSOIDAL = Rule(
    id="figo-pseudosinusoidal",
    part=Part.NOTE,
    feature="sinusoidal pattern",
    verdict="pseudosinusoidal",
    level=Level.CAUTION,
    says="Jagged or interrupted undulation for",
    compare=Compare.PRESENT,
    unit="min",
    source=FIGO_2015,
    section="pseudosinusoidal pattern",
)
NOT_REPETITIVE = Rule(
    id="figo-decelerations-normal",
    part=Part.CLASS,
    feature="decelerations",
    verdict="normal",
    level=Level.REASSURING,
    says="No repetitive decelerations",
    compare=Compare.PRESENT,
    source=FIGO_2015,
    section=_CLASSES,
)
REPETITIVE = Rule(
    id="figo-decelerations-repetitive",
    part=Part.CLASS,
    feature="decelerations",
    verdict=_NOT_NORMAL,
    level=Level.CAUTION,
    says="Repetitive decelerations, with",
    compare=Compare.ABOVE,
    threshold=within.HALF,
    unit="%",
    rank=1,
    source=FIGO_2015,
    section=_CLASSES,
    note="Of the contractions of the window, or of any 30 minutes of a longer one; of any kind.",
)
UNTOLD = Rule(
    id="figo-decelerations-untold",
    part=Part.CLASS,
    feature="decelerations",
    verdict=_NOT_NORMAL,
    level=Level.CAUTION,
    says="Decelerations with an unknown share of contractions",
    compare=Compare.PRESENT,
    rank=1,
    source=OURS,
    section="",
    note="Without known contractions, two or more cannot be called not repetitive.",
)
LATE_LONG = Rule(
    id="figo-decelerations-late-30",
    part=Part.CLASS,
    feature="decelerations",
    verdict=_PATHOLOGICAL,
    level=Level.ALARMING,
    says="Repetitive late or prolonged decelerations for",
    compare=Compare.ABOVE,
    threshold=30.0,
    unit="min",
    rank=2,
    source=FIGO_2015,
    section=_CLASSES,
)
LATE_REDUCED = Rule(
    id="figo-decelerations-late-20",
    part=Part.CLASS,
    feature="decelerations",
    verdict=_PATHOLOGICAL,
    level=Level.ALARMING,
    says="Repetitive late or prolonged decelerations, with reduced variability, for",
    compare=Compare.ABOVE,
    threshold=20.0,
    unit="min",
    rank=2,
    source=FIGO_2015,
    section=_CLASSES,
)
PROLONGED_5 = Rule(
    id="figo-decelerations-prolonged-5",
    part=Part.CLASS,
    feature="decelerations",
    verdict=_PATHOLOGICAL,
    level=Level.ALARMING,
    says="One deceleration of",
    compare=Compare.ABOVE,
    threshold=5.0,
    unit="min",
    rank=2,
    source=FIGO_2015,
    section=_CLASSES,
)
PROLONGED = Rule(
    id="figo-decelerations-prolonged",
    part=Part.CLASS,
    feature="decelerations",
    verdict=_NOT_NORMAL,
    level=Level.CAUTION,
    says="Prolonged deceleration of",
    compare=Compare.ABOVE,
    threshold=3.0,
    unit="min",
    rank=1,
    source=FIGO_2015,
    section="decelerations",
    note="The table names prolonged ones only as repetitive or over 5 min; one alone is not "
    "called normal here (our reading).",
)
ACUTE = Rule(
    id="figo-decelerations-acute",
    part=Part.NOTE,
    feature="decelerations",
    verdict="acute",
    level=Level.ALARMING,
    says="A deceleration of more than 5 min with reduced variability falls to",
    compare=Compare.BELOW,
    threshold=80.0,
    unit="bpm",
    source=FIGO_2015,
    section="decelerations",
)
LATE_ONSET = _term(
    "figo-late-onset",
    "decelerations",
    "late",
    "Onset of a late deceleration after the onset of its contraction",
    Compare.ABOVE,
    20.0,
    "s",
    "decelerations",
)
LATE_NADIR = _term(
    "figo-late-nadir",
    "decelerations",
    "late",
    "Nadir of a late deceleration after the acme of its contraction",
    Compare.ABOVE,
    LATE_LAG_S,
    "s",
    "decelerations",
    note="The source says after; the seconds are ours (how well a toco tells the acme).",
)
GRADUAL_RETURN = _term(
    "figo-late-gradual",
    "decelerations",
    "late",
    "Onset to nadir, or nadir to return, of a late deceleration",
    Compare.ABOVE,
    30.0,
    "s",
    "decelerations",
    note="Or variability within it under 5 bpm.",
)
SHALLOW = _term(
    "figo-late-shallow",
    "decelerations",
    "late",
    "Depth that counts as late with no accelerations and reduced variability",
    Compare.WITHIN,
    SHALLOW_BPM,
    "bpm",
    "decelerations",
    upper=LEAST_BPM,
)
TACHYSYSTOLE = Rule(
    id="figo-tachysystole",
    part=Part.NOTE,
    feature="contractions",
    verdict="tachysystole",
    level=Level.CAUTION,
    says="Contractions in 10 minutes, averaged over 30,",
    compare=Compare.ABOVE,
    threshold=within.TACHYSYSTOLE_ABOVE,
    source=FIGO_2015,
    section="contractions",
    note="Not in the table of classes.",
)
TACHYSYSTOLE_TENS = Rule(
    id="figo-tachysystole-successive",
    part=Part.NOTE,
    feature="contractions",
    verdict="tachysystole",
    level=Level.CAUTION,
    says="Contractions in each of two successive 10-minute periods, at least",
    compare=Compare.ABOVE,
    threshold=within.TACHYSYSTOLE_ABOVE,
    source=FIGO_2015,
    section="contractions",
    note="Not in the table of classes.",
)
ACCELERATIONS = Rule(
    id="figo-accelerations",
    part=Part.NOTE,
    feature="accelerations",
    verdict="present",
    level=Level.REASSURING,
    says="Accelerations",
    compare=Compare.PRESENT,
    source=FIGO_2015,
    section="accelerations",
    note="A sign of a fetus that is not hypoxic; their absence in labour is of uncertain meaning.",
)

TABLE = Table(
    standard=Standard.FIGO,
    edition="FIGO 2015",
    scope="labour",
    classes=("normal", "suspicious", "pathological"),
    rules=(
        BASELINE_NORMAL,
        TACHYCARDIA,
        BRADYCARDIA,
        BASELINE_LOW,
        VARIABILITY_NORMAL,
        VARIABILITY_LOW,
        VARIABILITY_HIGH,
        REDUCED,
        REDUCED_UNMEASURED,
        REDUCED_WITHIN,
        INCREASED,
        SINUSOIDAL,
        SINUSOIDAL_SHORT,
        PSEUDOSINUSOIDAL,
        NOT_REPETITIVE,
        REPETITIVE,
        UNTOLD,
        LATE_LONG,
        LATE_REDUCED,
        PROLONGED,
        PROLONGED_5,
        ACUTE,
        LATE_ONSET,
        LATE_NADIR,
        GRADUAL_RETURN,
        SHALLOW,
        TACHYSYSTOLE,
        TACHYSYSTOLE_TENS,
        ACCELERATIONS,
    ),
    limits=(*limits.COMMON, *limits.OF_MINUTES),
)


def classify(facts: WindowFacts, context: Context) -> Classification:
    """The class of a window by FIGO 2015, or why there is none."""
    docket = Docket(TABLE, facts)
    check_window(docket, facts, context)
    _baseline(docket, facts)
    reduced = _variability(docket, facts)
    _sinusoidal(docket, facts)
    _decelerations(docket, facts, reduced)
    _contractions(docket, facts)
    if facts.accelerations:
        docket.add(ACCELERATIONS, detail=f"{facts.accelerations} in the window")
    return docket.close()


def _baseline(docket: Docket, facts: WindowFacts) -> None:
    known = facts.known_baselines
    check_baseline(docket, facts)
    if not known:
        docket.refuse("the baseline is indeterminate, in the preceding ten minutes too")
        return
    fastest = max(known, key=lambda one: one.whole_bpm)
    slowest = min(known, key=lambda one: one.whole_bpm)
    for rule, one in (
        (TACHYCARDIA, fastest),
        (BASELINE_LOW if BASELINE_LOW.met(slowest.whole_bpm) else BRADYCARDIA, slowest),
    ):
        if rule.met(one.whole_bpm):
            carried = "of the preceding ten minutes" if one.carried else ""
            docket.add(rule, one.whole_bpm, evidence=(one.evidence,), detail=carried)
    if all(BASELINE_NORMAL.met(one.whole_bpm) for one in known):
        docket.add(BASELINE_NORMAL, known[-1].whole_bpm, evidence=(known[-1].evidence,))


def _variability(docket: Docket, facts: WindowFacts) -> bool:
    """States the variability; returns whether some half hour of the window has it reduced."""
    (low, low_at), (high, high_at) = facts.mean_bandwidths
    check_bandwidth(docket, facts)
    if VARIABILITY_NORMAL.met(low) and VARIABILITY_NORMAL.met(high):
        docket.add(VARIABILITY_NORMAL, low, evidence=(low_at,))
    if VARIABILITY_LOW.met(low):
        docket.add(VARIABILITY_LOW, low, evidence=(low_at,))
    if VARIABILITY_HIGH.met(high):
        docket.add(VARIABILITY_HIGH, high, evidence=(high_at,))
    for rule, run in ((REDUCED, facts.reduced_run), (INCREASED, facts.increased_run)):
        if run is not None and rule.met(run.minutes):
            docket.add(rule, run.minutes, evidence=(run.evidence,))
    state_unmeasured(docket, facts, REDUCED, REDUCED_UNMEASURED)
    return VARIABILITY_LOW.met(low)


def state_unmeasured(docket: Docket, facts: WindowFacts, rule: Rule, note: Rule) -> None:
    """Say so when only unmeasured minutes keep reduced variability from being too long."""
    run, bridged = facts.reduced_run, facts.reduced_over_gaps
    if run is None or bridged is None or rule.met(run.minutes):
        return
    if note.met(bridged.elapsed_min):
        docket.add(note, bridged.elapsed_min, evidence=(bridged.evidence,))
        unmeasured = bridged.elapsed_min - bridged.minutes
        docket.not_seen(f"variability of {unmeasured:.0f} min within a run of reduced variability")


def _sinusoidal(docket: Docket, facts: WindowFacts) -> None:
    for pseudo in (False, True):
        longest = facts.longest_sinusoidal(pseudo=pseudo)
        if longest is None:
            continue
        seconds, episode = longest
        minutes = seconds / 60.0
        rule = SINUSOIDAL if SINUSOIDAL.met(minutes) else SINUSOIDAL_SHORT
        docket.add(
            PSEUDOSINUSOIDAL if pseudo else rule,
            minutes,
            evidence=(Window(episode.start_s, episode.start_s + seconds),),
        )


def _late_in_form(whole: RecordingFacts) -> BoolArray:
    """Gradual onset or return, or reduced variability within."""
    falls = whole.falls
    return (
        ~falls.abrupt
        | (falls.return_s > GRADUAL_RETURN.threshold)
        | (falls.within_bpm < within.REDUCED_BELOW_BPM)
    )


def _masks(whole: RecordingFacts, shallow_counts: bool) -> tuple[BoolArray, BoolArray, BoolArray]:
    """Decelerations that are late, prolonged, and (contraction not known) may be late."""
    falls = whole.falls
    deep = ~falls.shallow
    prolonged = deep & (falls.end_s - falls.onset_s > PROLONGED.threshold * 60.0)
    form = _late_in_form(whole)
    late = (
        falls.paired
        & form
        & ~prolonged
        & (falls.onset_lag_s > LATE_ONSET.threshold)
        & (falls.lag_s > LATE_NADIR.threshold)
    )
    if not shallow_counts:
        late &= deep
    return late, prolonged, deep & ~falls.paired & form & ~prolonged


def _decelerations(docket: Docket, facts: WindowFacts, reduced: bool) -> None:
    whole = facts.whole
    late, prolonged, maybe_late = _masks(whole, reduced and not facts.accelerations)
    every = ~whole.falls.shallow | late
    _single(docket, facts, prolonged)

    answer = facts.repetitive(every)
    touched = facts.touching(every)
    if answer.answer is None:
        docket.add(
            UNTOLD, evidence=spans(touched), detail=f"{len(touched)} in the window, {answer.why}"
        )
        docket.not_seen(f"whether decelerations are repetitive, or late: {answer.why}")
    elif answer.answer:
        docket.add(REPETITIVE, answer.value, evidence=(Window(answer.start_s, answer.end_s),))
    else:
        counted = f"{len(touched)} in the window" if touched else "none in the window"
        docket.add(NOT_REPETITIVE, evidence=spans(touched), detail=counted)

    run = facts.longest_run(late | prolonged)
    if run is not None:
        _lasting(docket, facts, run.start_s, run.end_s, f"{run.carrying} contractions carry one")
    if answer.answer is None:
        series = facts.chain(late | prolonged | maybe_late, UNTOLD_APART_S)
        if series is not None and LATE_REDUCED.met(series.duration_s / 60.0):
            docket.leave_open(
                f"decelerations that may be late go on for {series.duration_s / 60.0:.0f} min, "
                f"and whether with most contractions cannot be told ({answer.why}): pathological "
                "is not excluded"
            )


def _lasting(docket: Docket, facts: WindowFacts, start_s: float, end_s: float, detail: str) -> None:
    minutes = (end_s - start_s) / 60.0
    evidence = (Window(start_s, end_s),)
    if LATE_LONG.met(minutes):
        docket.add(LATE_LONG, minutes, evidence=evidence, detail=detail)
        return
    if not LATE_REDUCED.met(minutes):
        return
    bandwidth = float(facts.whole.minutes.means(np.array([start_s]), end_s - start_s)[0])
    if bandwidth < within.REDUCED_BELOW_BPM:
        docket.add(
            LATE_REDUCED,
            minutes,
            evidence=evidence,
            detail=f"{detail}; bandwidth {bandwidth:.1f} bpm",
        )
    elif math.isnan(bandwidth):
        docket.leave_open(
            f"repetitive late or prolonged decelerations for {minutes:.0f} min are pathological "
            "if variability is reduced, and it could not be measured"
        )


def _single(docket: Docket, facts: WindowFacts, prolonged: BoolArray) -> None:
    """Single decelerations that go on for long."""
    falls = facts.touching(prolonged)
    if not falls:
        return
    longest = max(falls, key=facts.so_far_s)
    minutes = facts.so_far_s(longest) / 60.0
    rule = PROLONGED_5 if PROLONGED_5.met(minutes) else PROLONGED
    if rule.met(minutes):
        docket.add(
            rule,
            minutes,
            evidence=spans((longest,)),
            detail=f"{longest.depth_bpm:.0f} bpm deep, down to {longest.nadir_bpm:.0f} bpm",
        )
    flat = [fall for fall in falls if fall.variability_within_bpm < within.REDUCED_BELOW_BPM]
    if not flat:
        return
    longest = max(flat, key=facts.so_far_s)
    minutes = facts.so_far_s(longest) / 60.0
    if REDUCED_WITHIN.met(minutes):
        docket.add(REDUCED_WITHIN, minutes, evidence=spans((longest,)))
    for fall in flat:
        if PROLONGED_5.met(facts.so_far_s(fall) / 60.0) and ACUTE.met(fall.nadir_bpm):
            docket.add(ACUTE, fall.nadir_bpm, evidence=spans((fall,)))


def _contractions(docket: Docket, facts: WindowFacts) -> None:
    window = facts.window
    answer, rule = facts.tachysystole, TACHYSYSTOLE
    if answer.answer is not True:
        tens = within.tachysystole_in_two_tens(facts.findings, window.start_s, window.end_s)
        if tens.answer:
            answer, rule = tens, TACHYSYSTOLE_TENS
    if answer.answer is None:
        docket.not_seen(f"contractions: {answer.why}")
    elif answer.answer:
        docket.add(rule, answer.value, evidence=(Window(answer.start_s, answer.end_s),))
