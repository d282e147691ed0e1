"""NICE NG229 (December 2022): white, amber and red features, as a table.

Source: NICE guideline NG229, Fetal monitoring in labour, section 1.4. All values are from memory.
Normal: all features white. Suspicious: one amber. Pathological: one red, or two or more amber.
"""

from __future__ import annotations

from ebbline.criteria import limits
from ebbline.criteria.model import Level, Standard
from ebbline.criteria.rule import NOT_NUMERIC, Compare, Part, Rule, Table
from ebbline.definitions import (
    BASELINE_NORMAL_FROM_BPM,
    BASELINE_NORMAL_TO_BPM,
    BASELINE_VERY_SLOW_BPM,
    COMMON_PRACTICE,
    CONCERNING_LONGER_S,
    HALF_OF_CONTRACTIONS,
    MARKED_ABOVE_BPM,
    MODANLOU_1982,
    NICE_NG229,
    OURS,
    REDUCED_BELOW_BPM,
    REDUCED_TOO_LONG_MIN,
    TACHYSYSTOLE_ABOVE,
    Source,
)

_SECTION = "section 1.4"


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
    TACHYSYSTOLE_ABOVE,
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
    BASELINE_NORMAL_FROM_BPM,
    "bpm",
    upper=BASELINE_NORMAL_TO_BPM,
)
BASELINE_LOW = _line(
    "nice-baseline-amber",
    "baseline",
    "amber",
    "Baseline",
    Compare.WITHIN,
    BASELINE_VERY_SLOW_BPM,
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
SLOW_HALF = _line(
    "nice-slow-half",
    "baseline",
    "red",
    "Of the heart rate that was seen, under 100 bpm",
    Compare.AT_LEAST,
    limits.SLOW_HALF,
    "%",
    source=OURS,
    note="Slower for most of the window than any baseline that is less than red.",
)
VARIABILITY_WHITE = _line(
    "nice-variability-white",
    "variability",
    "white",
    "Mean bandwidth",
    Compare.WITHIN,
    REDUCED_BELOW_BPM,
    "bpm",
    upper=MARKED_ABOVE_BPM,
)
REDUCED_RED = _line(
    "nice-variability-reduced-red",
    "variability",
    "red",
    "Variability under 5 bpm without break for",
    Compare.ABOVE,
    REDUCED_TOO_LONG_MIN,
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
REDUCED_MOST = _line(
    "nice-variability-reduced-most",
    "variability",
    "amber",
    "Variability under 5 bpm, but for a few livelier minutes, for",
    Compare.AT_LEAST,
    REDUCED_AMBER.threshold,
    "min",
    source=OURS,
    note="No more than a fifth of the minutes: so few make no half hour better.",
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
    HALF_OF_CONTRACTIONS,
    "%",
    note="For up to 30 minutes; of the contractions of any 20 minutes of the window.",
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
    HALF_OF_CONTRACTIONS,
    "%",
    note="For up to 30 minutes; of the contractions of any 20 minutes of the window.",
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
MIXED_AMBER = _line(
    "nice-late-or-variable-repetitive",
    "decelerations",
    "amber",
    "Decelerations that are late, or variable with a concerning characteristic, with",
    Compare.ABOVE,
    HALF_OF_CONTRACTIONS,
    "%",
    note="Either alone is amber: told together where neither alone comes with so many.",
)
MIXED_RED = _line(
    "nice-late-or-variable-red",
    "decelerations",
    "red",
    "Repetitive decelerations that are late, or variable with a concerning characteristic, for",
    Compare.ABOVE,
    30.0,
    "min",
    note="Either alone is red: told together where neither alone goes on for so long.",
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
LONG_FALLS = _line(
    "nice-decelerations-long",
    "decelerations",
    "amber",
    "Falls of two minutes or more, repeated, or a fall not recovered at the end",
    Compare.PRESENT,
    source=OURS,
    note="The table counts single ones from three minutes on; these are not called white.",
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
    CONCERNING_LONGER_S,
    "s",
    part=Part.TERM,
)
CONCERNING_FLAT = _line(
    "nice-concerning-flat",
    "decelerations",
    "concerning",
    "Variability within a variable deceleration",
    Compare.BELOW,
    REDUCED_BELOW_BPM,
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
    title="NICE NG229",
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
        SLOW_HALF,
        VARIABILITY_WHITE,
        REDUCED_SHORT,
        REDUCED_AMBER,
        REDUCED_MOST,
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
        MIXED_AMBER,
        MIXED_RED,
        LONG_FALLS,
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
