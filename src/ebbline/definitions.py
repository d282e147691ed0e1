"""Every published number of the trade that more than one room needs: once, with unit and source.

Detector, criteria, generator, teaching, panel and bench take a number from here, so that two rooms
cannot come to disagree. A number that only one line of a standard's table uses stands on that
line, with its own citation (`criteria.tables`). A number without a source is marked: our choice, or
common practice.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from ebbline.terms import VariabilityClass


@dataclass(frozen=True, slots=True)
class Source:
    """A publication. short: as cited on a line; full: as listed; from_memory: not re-read."""

    short: str
    full: str
    from_memory: bool = False


NICHD_2008 = Source(
    "Macones 2008",
    "Macones GA, Hankins GDV, Spong CY, Hauth J, Moore T. The 2008 National Institute of Child "
    "Health and Human Development workshop report on electronic fetal monitoring. Obstet Gynecol "
    "2008;112:661-6",
)
FIGO_2015 = Source(
    "FIGO 2015",
    "Ayres-de-Campos D, Spong CY, Chandraharan E. FIGO consensus guidelines on intrapartum fetal "
    "monitoring: cardiotocography. Int J Gynaecol Obstet 2015;131:13-24",
)
NICE_NG229 = Source(
    "NICE NG229",
    "National Institute for Health and Care Excellence. Fetal monitoring in labour. NICE "
    "guideline NG229, December 2022",
    from_memory=True,
)
ACOG_229 = Source(
    "ACOG PB 229",
    "American College of Obstetricians and Gynecologists. Practice Bulletin 229: Antepartum fetal "
    "surveillance. Obstet Gynecol 2021;137:e116-27",
    from_memory=True,
)
MODANLOU_1982 = Source(
    "Modanlou 1982",
    "Modanlou HD, Freeman RK. Sinusoidal fetal heart rate pattern: its definition and clinical "
    "significance. Am J Obstet Gynecol 1982;142:1033-8",
    from_memory=True,
)
COMMON_PRACTICE = Source("common practice", "Common practice, no source")
OURS = Source("our choice", "Our choice: the standard gives no number")


class Number(float):
    """A number with its unit and source: computes as a float, and can say where it is from.

    unit: "bpm", "s", "weeks", "per 10 min" or "" (a share 0..1). where: the part of the source.
    """

    unit: str
    source: Source
    where: str

    def __new__(cls, value: float, unit: str, source: Source, where: str = "") -> Number:
        """The number; where: the part of the source it stands in, or why we chose it."""
        made = super().__new__(cls, value)
        made.unit, made.source, made.where = unit, source, where
        return made

    def __getnewargs__(self) -> tuple[float, str, Source, str]:  # type: ignore[override]
        """What a copy or a pickle is made from."""
        return float(self), self.unit, self.source, self.where

    @property
    def cited(self) -> str:
        """'15 bpm (Macones 2008, decelerations)'."""
        place = ", ".join(part for part in (self.source.short, self.where) if part)
        memory = ", from memory" if self.source.from_memory else ""
        return f"{float(self):g}{f' {self.unit}' if self.unit else ''} ({place}{memory})"


# ---------------------------------------------------------------- stretches of time

TEN_MINUTES_S = Number(600.0, "s", NICHD_2008, "baseline, of ten minutes; so FIGO 2015")
RECURRENCE_S = Number(1200.0, "s", NICHD_2008, "recurrent: in any 20-minute segment")
HALF_HOUR_S = Number(1800.0, "s", NICHD_2008, "contractions in 10 minutes, averaged over 30")
HOUR_S = Number(3600.0, "s", NICE_NG229, "hourly review")

# ---------------------------------------------------------------- baseline

BASELINE_NORMAL_FROM_BPM = Number(110.0, "bpm", NICHD_2008, "baseline; so FIGO 2015, NICE NG229")
BASELINE_NORMAL_TO_BPM = Number(160.0, "bpm", NICHD_2008, "baseline; so FIGO 2015, NICE NG229")
BASELINE_VERY_SLOW_BPM = Number(100.0, "bpm", FIGO_2015, "classes; so NICE NG229")
BASELINE_STEP_BPM = Number(5.0, "bpm", NICHD_2008, "baseline, rounded to increments of 5 bpm")
LEAST_BASELINE_S = Number(120.0, "s", NICHD_2008, "baseline: two minutes of any ten")
FAR_FROM_BASELINE_BPM = Number(
    25.0, "bpm", NICHD_2008, "baseline: segments that differ by more are left out"
)
BASELINE_CHANGE_S = Number(600.0, "s", NICHD_2008, "ten minutes or more is a change of baseline")
BASELINE_CHANGE_BPM = Number(15.0, "bpm", OURS, "the least depth of a deceleration, lasting")

# ---------------------------------------------------------------- variability

ABSENT_BELOW_BPM = Number(
    2.5,
    "bpm",
    COMMON_PRACTICE,
    "NICHD says undetectable, without a number: under 2.5 bpm, of which a sensor's own jitter "
    "makes up to 1, a trace drawn at 30 bpm/cm is a line 0.8 mm thick",
)
MINIMAL_UPTO_BPM = Number(5.0, "bpm", NICHD_2008, "variability, minimal: 5 bpm or fewer")
MARKED_ABOVE_BPM = Number(25.0, "bpm", NICHD_2008, "variability, marked; increased in FIGO, NICE")
REDUCED_BELOW_BPM = Number(5.0, "bpm", FIGO_2015, "variability, reduced; so NICE NG229")
REDUCED_TOO_LONG_MIN = Number(50.0, "min", FIGO_2015, "classes; so NICE NG229")

# ---------------------------------------------------------------- accelerations, decelerations

LEAST_EXCURSION_BPM = Number(15.0, "bpm", NICHD_2008, "acceleration, deceleration; so FIGO 2015")
LEAST_EXCURSION_S = Number(15.0, "s", NICHD_2008, "acceleration, deceleration; so FIGO 2015")
ABRUPT_BELOW_S = Number(30.0, "s", NICHD_2008, "onset to nadir or peak; gradual from here on")
PROLONGED_FROM_S = Number(120.0, "s", NICHD_2008, "prolonged: two minutes or more")
SHALLOW_FROM_BPM = Number(
    10.0, "bpm", FIGO_2015, "late decelerations with no accelerations and reduced variability"
)
PRETERM_BELOW_WEEKS = Number(32.0, "weeks", NICHD_2008, "accelerations before 32 weeks")
PRETERM_ACCELERATION_BPM = Number(10.0, "bpm", NICHD_2008, "accelerations before 32 weeks")
PRETERM_ACCELERATION_S = Number(10.0, "s", NICHD_2008, "accelerations before 32 weeks")
LATE_LAG_S = Number(
    14.0,
    "s",
    OURS,
    "nadir after the contraction's peak: NICHD gives no number, and a toco's peak is not known "
    "better than this",
)
SLOW_RETURN_ABOVE_S = Number(
    30.0,
    "s",
    OURS,
    "nadir to baseline: the mirror of a gradual onset; NICE names slow return without a number",
)
CONCERNING_LONGER_S = Number(60.0, "s", NICE_NG229, "variable decelerations, concerning")
HALF_OF_CONTRACTIONS = Number(
    0.5, "", NICHD_2008, "recurrent: at least half of contractions; repetitive (FIGO, NICE): more"
)

# ---------------------------------------------------------------- sinusoidal, contractions, signal

SINUSOIDAL_FROM_S = Number(1200.0, "s", NICHD_2008, "sinusoidal pattern, 20 minutes or more")
TACHYSYSTOLE_ABOVE = Number(5.0, "per 10 min", NICHD_2008, "tachysystole; so FIGO 2015")
WORKABLE_LOSS = Number(
    0.2, "", Source("FIGO 2015", FIGO_2015.full, from_memory=True), "signal quality, signal loss"
)
LEAST_SEEN_SHARE = Number(
    0.5,
    "",
    OURS,
    "of a stretch's heart rate: with less that is valid none seen is not none, and a number is at "
    "least so many",
)


def least_acceleration(weeks: float | None) -> tuple[float, float]:
    """Least height (bpm) and length (s) of an acceleration; weeks None: as from 32 weeks on.

    Source: NICHD 2008.
    """
    if weeks is not None and weeks < PRETERM_BELOW_WEEKS:
        return PRETERM_ACCELERATION_BPM, PRETERM_ACCELERATION_S
    return LEAST_EXCURSION_BPM, LEAST_EXCURSION_S


def rounded_baseline(mean_bpm: float) -> float:
    """A baseline as it is said, to 5 bpm, halves upwards; NaN stays. Source: NICHD 2008."""
    if math.isnan(mean_bpm):
        return math.nan
    step = float(BASELINE_STEP_BPM)
    return step * math.floor(mean_bpm / step + 0.5)


def variability_class(bandwidth_bpm: float) -> VariabilityClass:
    """Class of a mean one-minute bandwidth, bpm; NaN is indeterminate. Source: NICHD 2008."""
    if math.isnan(bandwidth_bpm):
        return VariabilityClass.INDETERMINATE
    if bandwidth_bpm < ABSENT_BELOW_BPM:
        return VariabilityClass.ABSENT
    if bandwidth_bpm <= MINIMAL_UPTO_BPM:
        return VariabilityClass.MINIMAL
    if bandwidth_bpm <= MARKED_ABOVE_BPM:
        return VariabilityClass.MODERATE
    return VariabilityClass.MARKED
