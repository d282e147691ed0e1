"""NICHD 2008: the three-tier classification, as a table.

Source: Macones GA, et al. Obstet Gynecol 2008;112:661-6, "Three-tier fetal heart rate
interpretation system" and the definitions before it.
"""

from __future__ import annotations

from ebbline.criteria import limits
from ebbline.criteria.model import Level, Standard
from ebbline.criteria.rule import Compare, Part, Rule, Table
from ebbline.criteria.sources import NICHD_2008, OURS
from ebbline.features import window as within
from ebbline.features.events import PROLONGED_S
from ebbline.features.variability import ABSENT_BPM, MARKED_BPM, MINIMAL_BPM

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
