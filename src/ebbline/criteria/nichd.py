"""NICHD 2008: the three-tier classification, as a table and as the way it is applied.

Source: Macones GA, et al. Obstet Gynecol 2008;112:661-6, "Three-tier fetal heart rate
interpretation system" and the definitions before it.
"""

from __future__ import annotations

import math

from ebbline.criteria import limits
from ebbline.criteria.docket import Docket, check_baseline, check_window, spans
from ebbline.criteria.facts import TEN_MINUTES_S, WindowFacts, stretch
from ebbline.criteria.model import Classification, Level, Standard, Window
from ebbline.criteria.rules import Compare, Part, Rule, Table
from ebbline.criteria.sources import NICHD_2008, OURS
from ebbline.features import window as within
from ebbline.features.detect import ABSENT_BPM, MARKED_BPM, MINIMAL_BPM
from ebbline.features.events import PROLONGED_S
from ebbline.features.findings import Deceleration, VariabilityClass
from ebbline.recording.model import Context

_TIERS = "three-tier system"
_NOT_I = "not Category I"
_III = "Category III"


BASELINE_NORMAL = Rule(
    id="nichd-baseline-normal",
    part=Part.CLASS,
    feature="baseline",
    verdict="Category I allows",
    level=Level.REASSURING,
    says="Baseline",
    compare=Compare.WITHIN,
    threshold=110.0,
    upper=160.0,
    unit="bpm",
    source=NICHD_2008,
    section=_TIERS,
    note="Rounded to 5 bpm, of ten minutes; where indeterminate, of the preceding ten.",
)
TACHYCARDIA = Rule(
    id="nichd-tachycardia",
    part=Part.CLASS,
    feature="baseline",
    verdict=_NOT_I,
    level=Level.CAUTION,
    says="Tachycardia, baseline",
    compare=Compare.ABOVE,
    threshold=BASELINE_NORMAL.upper,
    unit="bpm",
    rank=1,
    source=NICHD_2008,
    section="baseline",
)
BRADYCARDIA = Rule(
    id="nichd-bradycardia",
    part=Part.CLASS,
    feature="baseline",
    verdict=_NOT_I,
    level=Level.CAUTION,
    says="Bradycardia, baseline",
    compare=Compare.BELOW,
    threshold=BASELINE_NORMAL.threshold,
    unit="bpm",
    rank=1,
    source=NICHD_2008,
    section="baseline",
)
VARIABILITY_MODERATE = Rule(
    id="nichd-variability-moderate",
    part=Part.CLASS,
    feature="variability",
    verdict="Category I allows",
    level=Level.REASSURING,
    says=f"Moderate variability ({MINIMAL_BPM + 1:.0f} to {MARKED_BPM:.0f} bpm), bandwidth",
    compare=Compare.ABOVE,
    threshold=MINIMAL_BPM,
    unit="bpm",
    source=NICHD_2008,
    section=_TIERS,
    note="In whole numbers: anything over minimal and not marked. Every ten minutes must be so.",
)
VARIABILITY_MINIMAL = Rule(
    id="nichd-variability-minimal",
    part=Part.CLASS,
    feature="variability",
    verdict=_NOT_I,
    level=Level.CAUTION,
    says="Minimal variability, bandwidth",
    compare=Compare.AT_MOST,
    threshold=MINIMAL_BPM,
    unit="bpm",
    rank=1,
    source=NICHD_2008,
    section="variability",
)
VARIABILITY_ABSENT = Rule(
    id="nichd-variability-absent",
    part=Part.CLASS,
    feature="variability",
    verdict=_NOT_I,
    level=Level.CAUTION,
    says="Absent variability, bandwidth",
    compare=Compare.BELOW,
    threshold=ABSENT_BPM,
    unit="bpm",
    rank=1,
    source=NICHD_2008,
    section="variability",
    note="The source says undetectable; the number is ours (common practice, no source).",
)
VARIABILITY_MARKED = Rule(
    id="nichd-variability-marked",
    part=Part.CLASS,
    feature="variability",
    verdict=_NOT_I,
    level=Level.CAUTION,
    says="Marked variability, bandwidth",
    compare=Compare.ABOVE,
    threshold=MARKED_BPM,
    unit="bpm",
    rank=1,
    source=NICHD_2008,
    section="variability",
)
NO_DECELERATIONS = Rule(
    id="nichd-no-late-or-variable",
    part=Part.CLASS,
    feature="decelerations",
    verdict="Category I allows",
    level=Level.REASSURING,
    says="No late, variable or prolonged decelerations",
    compare=Compare.PRESENT,
    source=NICHD_2008,
    section=_TIERS,
)
EARLY = Rule(
    id="nichd-early",
    part=Part.NOTE,
    feature="decelerations",
    verdict="Category I allows",
    level=Level.REASSURING,
    says="Early decelerations",
    compare=Compare.PRESENT,
    source=NICHD_2008,
    section=_TIERS,
)
LATE = Rule(
    id="nichd-late",
    part=Part.CLASS,
    feature="decelerations",
    verdict=_NOT_I,
    level=Level.CAUTION,
    says="Late decelerations",
    compare=Compare.PRESENT,
    rank=1,
    source=NICHD_2008,
    section=_TIERS,
)
VARIABLE = Rule(
    id="nichd-variable",
    part=Part.CLASS,
    feature="decelerations",
    verdict=_NOT_I,
    level=Level.CAUTION,
    says="Variable decelerations",
    compare=Compare.PRESENT,
    rank=1,
    source=NICHD_2008,
    section=_TIERS,
)
PROLONGED = Rule(
    id="nichd-prolonged",
    part=Part.CLASS,
    feature="decelerations",
    verdict=_NOT_I,
    level=Level.CAUTION,
    says="Prolonged deceleration of",
    compare=Compare.AT_LEAST,
    threshold=PROLONGED_S / 60.0,
    unit="min",
    rank=1,
    source=NICHD_2008,
    section="decelerations",
    note="With an abrupt onset it counts as variable too, late in its timing as late.",
)
UNPAIRED = Rule(
    id="nichd-gradual-unpaired",
    part=Part.CLASS,
    feature="decelerations",
    verdict=_NOT_I,
    level=Level.CAUTION,
    says="Gradual decelerations without a known contraction, late or early cannot be told",
    compare=Compare.PRESENT,
    rank=1,
    source=OURS,
    section="",
    note="What cannot be told to be early does not count as early.",
)
RECURRENT = Rule(
    id="nichd-recurrent",
    part=Part.TERM,
    feature="decelerations",
    verdict="recurrent",
    level=Level.CAUTION,
    says="Share of contractions in some 20 minutes with such decelerations",
    compare=Compare.AT_LEAST,
    threshold=within.HALF,
    unit="%",
    source=NICHD_2008,
    section="recurrent and intermittent decelerations",
    note="At least two of them; contractions through which the rate could not be read left out.",
)
SUSPECTED_RECURRENT = Rule(
    id="nichd-suspected-recurrent",
    part=Part.NOTE,
    feature="decelerations",
    verdict="suspicion only",
    level=Level.ALARMING,
    says="Contractions not known; most decelerations of one kind in 20 minutes",
    compare=Compare.AT_LEAST,
    # So many are half of the most contractions that 20 minutes hold without tachysystole.
    threshold=within.HALF * 2 * within.TACHYSYSTOLE_ABOVE,
    source=OURS,
    section="",
    note="Recurrent at any rate of contractions that is not tachysystole.",
)
SINUSOIDAL = Rule(
    id="nichd-III-sinusoidal",
    part=Part.CLASS,
    feature="sinusoidal pattern",
    verdict=_III,
    level=Level.ALARMING,
    says="Sinusoidal pattern for",
    compare=Compare.AT_LEAST,
    threshold=20.0,
    unit="min",
    rank=2,
    source=NICHD_2008,
    section="sinusoidal pattern; " + _TIERS,
)
SINUSOIDAL_SHORT = Rule(
    id="nichd-sinusoidal-short",
    part=Part.CLASS,
    feature="sinusoidal pattern",
    verdict=_NOT_I,
    level=Level.CAUTION,
    says="Sinusoidal undulation for",
    compare=Compare.BELOW,
    threshold=SINUSOIDAL.threshold,
    unit="min",
    rank=1,
    source=NICHD_2008,
    section="sinusoidal pattern",
    note="Left out of variability by definition, so not moderate variability.",
)
ABSENT_AND_LATE = Rule(
    id="nichd-III-absent-recurrent-late",
    part=Part.CLASS,
    feature="variability and decelerations",
    verdict=_III,
    level=Level.ALARMING,
    says="Absent variability, and late decelerations with",
    compare=Compare.AT_LEAST,
    threshold=within.HALF,
    unit="%",
    rank=2,
    source=NICHD_2008,
    section=_TIERS,
)
ABSENT_AND_VARIABLE = Rule(
    id="nichd-III-absent-recurrent-variable",
    part=Part.CLASS,
    feature="variability and decelerations",
    verdict=_III,
    level=Level.ALARMING,
    says="Absent variability, and variable decelerations with",
    compare=Compare.AT_LEAST,
    threshold=within.HALF,
    unit="%",
    rank=2,
    source=NICHD_2008,
    section=_TIERS,
)
ABSENT_AND_BRADYCARDIA = Rule(
    id="nichd-III-absent-bradycardia",
    part=Part.CLASS,
    feature="variability and baseline",
    verdict=_III,
    level=Level.ALARMING,
    says="Absent variability, and bradycardia, baseline",
    compare=Compare.BELOW,
    threshold=BRADYCARDIA.threshold,
    unit="bpm",
    rank=2,
    source=NICHD_2008,
    section=_TIERS,
)
TACHYSYSTOLE = Rule(
    id="nichd-tachysystole",
    part=Part.NOTE,
    feature="contractions",
    verdict="tachysystole",
    level=Level.CAUTION,
    says="Contractions in 10 minutes, averaged over 30,",
    compare=Compare.ABOVE,
    threshold=within.TACHYSYSTOLE_ABOVE,
    source=NICHD_2008,
    section="uterine contractions",
)
ACCELERATIONS = Rule(
    id="nichd-accelerations",
    part=Part.NOTE,
    feature="accelerations",
    verdict="present",
    level=Level.REASSURING,
    says="Accelerations",
    compare=Compare.PRESENT,
    source=NICHD_2008,
    section=_TIERS,
    note="Present or absent in Category I.",
)

TABLE = Table(
    standard=Standard.NICHD,
    edition="NICHD 2008",
    scope="labour",
    classes=("Category I", "Category II", "Category III"),
    rules=(
        BASELINE_NORMAL,
        TACHYCARDIA,
        BRADYCARDIA,
        VARIABILITY_MODERATE,
        VARIABILITY_MINIMAL,
        VARIABILITY_ABSENT,
        VARIABILITY_MARKED,
        NO_DECELERATIONS,
        EARLY,
        LATE,
        VARIABLE,
        PROLONGED,
        UNPAIRED,
        RECURRENT,
        SUSPECTED_RECURRENT,
        SINUSOIDAL,
        SINUSOIDAL_SHORT,
        ABSENT_AND_LATE,
        ABSENT_AND_VARIABLE,
        ABSENT_AND_BRADYCARDIA,
        TACHYSYSTOLE,
        ACCELERATIONS,
    ),
    limits=limits.COMMON,
)


def classify(facts: WindowFacts, context: Context) -> Classification:
    """The category of a window by NICHD 2008, or why there is none."""
    docket = Docket(TABLE, facts)
    check_window(docket, facts, context)
    slowest = _baseline(docket, facts)
    _variability(docket, facts)
    _sinusoidal(docket, facts)
    _decelerations(docket, facts, slowest)
    _contractions(docket, facts)
    if facts.accelerations:
        docket.add(ACCELERATIONS, detail=f"{facts.accelerations} in the window")
    return docket.close()


def _baseline(docket: Docket, facts: WindowFacts) -> float:
    """States the baseline; returns the slowest of the window's, NaN when there is none."""
    known = facts.known_baselines
    check_baseline(docket, facts)
    if not known:
        docket.refuse("the baseline is indeterminate, in the preceding ten minutes too")
        return math.nan
    fastest = max(known, key=lambda one: one.rounded_bpm)
    slowest = min(known, key=lambda one: one.rounded_bpm)
    for rule, one in ((TACHYCARDIA, fastest), (BRADYCARDIA, slowest)):
        if rule.met(one.rounded_bpm):
            docket.add(
                rule, one.rounded_bpm, evidence=(one.evidence,), detail=_carried(one.carried)
            )
    if all(BASELINE_NORMAL.met(one.rounded_bpm) for one in known):
        last = known[-1]
        docket.add(
            BASELINE_NORMAL,
            last.rounded_bpm,
            evidence=(last.evidence,),
            detail=_carried(last.carried),
        )
    return slowest.rounded_bpm


def _carried(carried: bool) -> str:
    return "of the preceding ten minutes" if carried else ""


def _variability(docket: Docket, facts: WindowFacts) -> None:
    if not facts.known_variabilities:
        docket.refuse("variability could not be measured")
        return
    for one in facts.variabilities:
        if (
            one.variability is VariabilityClass.INDETERMINATE
            and one.end_s - one.start_s >= 0.5 * TEN_MINUTES_S
        ):
            docket.withhold(
                f"variability from {stretch(one.start_s, one.end_s)} could not be measured"
            )
    rules = {
        VariabilityClass.ABSENT: VARIABILITY_ABSENT,
        VariabilityClass.MINIMAL: VARIABILITY_MINIMAL,
        VariabilityClass.MARKED: VARIABILITY_MARKED,
        VariabilityClass.MODERATE: VARIABILITY_MODERATE,
    }
    for kind, rule in rules.items():
        found = facts.variability_of(kind)
        if found and (kind is not VariabilityClass.MODERATE or found == facts.known_variabilities):
            width = sum(one.bandwidth_bpm for one in found) / len(found)
            docket.add(rule, width, evidence=[Window(one.start_s, one.end_s) for one in found])


def _sinusoidal(docket: Docket, facts: WindowFacts) -> None:
    longest = facts.longest_sinusoidal()
    if longest is None:
        return
    seconds, episode = longest
    minutes = seconds / 60.0
    rule = SINUSOIDAL if SINUSOIDAL.met(minutes) else SINUSOIDAL_SHORT
    docket.add(
        rule,
        minutes,
        evidence=(Window(episode.start_s, episode.start_s + seconds),),
        detail=f"{episode.cycles_per_min:.1f} cycles a minute, +-{episode.amplitude_bpm:.0f} bpm",
    )


def _decelerations(docket: Docket, facts: WindowFacts, slowest_bpm: float) -> None:
    whole = facts.whole
    late, variable = facts.touching(whole.late), facts.touching(whole.variable)
    prolonged, unpaired = facts.touching(whole.prolonged), facts.touching(whole.unpaired)
    early = facts.touching(whole.early)
    for rule, falls in ((LATE, late), (VARIABLE, variable), (UNPAIRED, unpaired), (EARLY, early)):
        if falls:
            docket.add(rule, evidence=spans(falls), detail=_deepest(falls))
    if prolonged:
        longest = max(prolonged, key=lambda fall: fall.duration_s)
        docket.add(
            PROLONGED,
            longest.duration_s / 60.0,
            evidence=spans(prolonged),
            detail=_deepest(prolonged),
        )
    if not (late or variable or prolonged or unpaired):
        docket.add(NO_DECELERATIONS)

    absent = facts.variability_of(VariabilityClass.ABSENT)
    absent_windows = [Window(one.start_s, one.end_s) for one in absent]
    if absent and BRADYCARDIA.met(slowest_bpm):
        docket.add(ABSENT_AND_BRADYCARDIA, slowest_bpm, evidence=absent_windows)
    elif not facts.known_variabilities and BRADYCARDIA.met(slowest_bpm):
        docket.leave_open("with absent variability, the bradycardia would make Category III")
    for rule, name, mask, falls in (
        (ABSENT_AND_LATE, "late", whole.late, (*late, *unpaired)),
        (ABSENT_AND_VARIABLE, "variable", whole.variable, variable),
    ):
        if not falls:
            continue
        answer = facts.recurrent(mask)
        possible = answer
        if answer.answer is False and name == "late" and unpaired:
            possible = facts.recurrent(mask | whole.unpaired)
        if answer.answer:
            where = Window(answer.start_s, answer.end_s)
            if absent:
                docket.add(rule, answer.value, evidence=(*absent_windows, where))
                continue
            unknown = len(facts.known_variabilities) < len(facts.variabilities)
            docket.add(
                RECURRENT,
                answer.value,
                evidence=(where,),
                detail=f"{name} decelerations",
                level=Level.ALARMING if not facts.known_variabilities else Level.CAUTION,
            )
            if not facts.known_variabilities:
                docket.leave_open(
                    f"with absent variability, the recurrent {name} decelerations would make "
                    "Category III"
                )
            elif unknown:
                docket.not_seen(
                    "variability of part of the window: were it absent there, the recurrent "
                    f"{name} decelerations would make Category III"
                )
        elif possible.answer is None:
            _untold(
                docket, facts, name, mask | whole.unpaired if name == "late" else mask, possible
            )
            if absent:
                docket.leave_open(
                    f"variability is absent, and whether {name} decelerations are recurrent "
                    f"cannot be told ({possible.why}): Category III is not excluded"
                )


def _untold(
    docket: Docket, facts: WindowFacts, name: str, mask: within.BoolArray, answer: within.Answer
) -> None:
    docket.not_seen(f"whether {name} decelerations are recurrent: {answer.why}")
    window = facts.window
    count, start_s, end_s = within.most_decelerations(
        facts.findings, window.start_s, window.end_s, mask
    )
    if SUSPECTED_RECURRENT.met(count):
        docket.add(SUSPECTED_RECURRENT, count, evidence=(Window(start_s, end_s),), detail=name)


def _deepest(falls: tuple[Deceleration, ...]) -> str:
    deepest = max(fall.depth_bpm for fall in falls)
    return f"{len(falls)} in the window, the deepest {deepest:.0f} bpm"


def _contractions(docket: Docket, facts: WindowFacts) -> None:
    answer = facts.tachysystole
    if answer.answer is None:
        docket.not_seen(f"contractions: {answer.why}")
    elif answer.answer:
        docket.add(TACHYSYSTOLE, answer.value, evidence=(Window(answer.start_s, answer.end_s),))
