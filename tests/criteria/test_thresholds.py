"""Every numeric line of every table at, just under and just over its threshold.

The thresholds here are typed from the publications (criteria named on each case), not taken from
the tables, so that a wrong number in a table fails.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pytest

from criteria.build import (
    MINUTE,
    acceleration,
    contraction,
    contractions,
    judged,
    last,
    late,
    mother,
    rules_of,
    sinusoidal,
    trace,
    variable,
)
from ebbline.criteria import TABLES
from ebbline.criteria.model import Classification, Standard
from ebbline.criteria.rule import Compare, Part
from ebbline.definitions import ABSENT_BELOW_BPM
from ebbline.features.findings import Contraction, Deceleration, Findings
from ebbline.recording.model import Context
from ebbline.terms import SensorKind, Stage, Window

NICHD, FIGO, NICE, NST = Standard.NICHD, Standard.FIGO, Standard.NICE, Standard.NST
MACONES = "Macones 2008"
FIGO_2015 = "Ayres-de-Campos 2015"
NG229 = "NICE NG229 section 1.4 (from memory)"
PB229 = "ACOG Practice Bulletin 229 (from memory)"
OUR_CHOICE = "our choice, docs/criteria.md"


@dataclass(frozen=True)
class Case:
    """A line, findings that hold one value against it, and where it must be stated.

    values: just under, at, just over the published threshold; stated: what is expected of each.
    """

    rule: str
    standard: Standard
    source: str
    make: Callable[[float], Findings]
    values: tuple[float, float, float]
    stated: tuple[bool, bool, bool]
    window: Callable[[Findings], Window] = last


ABOVE = (False, False, True)
AT_LEAST = (False, True, True)
BELOW = (True, False, False)
AT_MOST = (True, True, False)


def whole(findings: Findings) -> Window:
    return Window(0.0, findings.duration_s)


def level(bpm: float) -> Findings:
    return trace(40, baseline=bpm)


def absent_and(bpm: float) -> Findings:
    return trace(40, baseline=bpm, bandwidth=1.0)


def width(bpm: float) -> Findings:
    return trace(40, bandwidth=bpm)


def reduced_for(minutes: float) -> Findings:
    """Reduced variability at the end, after an hour of moderate."""
    count = int(minutes)
    return trace(60 + count, bandwidth=[12.0] * 60 + [3.0] * count)


def mostly_reduced_for(minutes: float) -> Findings:
    """Reduced at the end, a livelier minute pair among it, after an hour of moderate."""
    count = int(minutes)
    at_end = [3.0] * (count - 17) + [9.0, 9.0, 9.0] + [3.0] * 14
    return trace(60 + count, bandwidth=[12.0] * 60 + at_end)


def late_and_variable(share: float) -> Findings:
    """Ten contractions in 20 minutes; the first so many carry a late or a long variable one."""
    squeezes = contractions(20, every_s=120.0, first_s=60.0, duration_s=40.0)
    falls = [
        late(one) if number % 2 else variable(one, duration_s=70.0)
        for number, one in enumerate(squeezes[: round(10 * share)])
    ]
    return trace(20, uterus=squeezes, decelerations=falls)


def variable_late_variable(its: Contraction, *, duration_s: float) -> Deceleration:
    """Long variable ones at both ends of half an hour, late ones for twenty minutes between."""
    if 66 * MINUTE < its.peak_s < 84 * MINUTE:
        return late(its)
    return variable(its, duration_s=duration_s)


def increased_for(minutes: float) -> Findings:
    count = int(minutes)
    return trace(60 + count, bandwidth=[12.0] * 60 + [30.0] * count)


def unmeasured_for(minutes: float) -> Findings:
    """Reduced, 20 minutes not measured, reduced: so many minutes from first to last."""
    count = int(minutes) - 20
    parts = [12.0] * 60 + [3.0] * 12 + [float("nan")] * 20 + [3.0] * (count - 12)
    return trace(len(parts), bandwidth=parts)


def undulating_for(minutes: float) -> Findings:
    findings = trace(90)
    end_s = findings.duration_s
    return trace(90, undulation=[sinusoidal(end_s - minutes * MINUTE, end_s)])


def with_share(share: float, kind: Callable[..., object], **words: object) -> Findings:
    """25 contractions, 72 s apart, in exactly 30 minutes; this share of them, spread evenly,
    carries a deceleration."""
    squeezes = tuple(contraction(36.0 + 72.0 * i, duration_s=40.0) for i in range(25))
    carriers = round(25 * share)
    chosen = {int(i * 25 / carriers) for i in range(carriers)} if carriers else set()
    falls = [kind(one, **words) for i, one in enumerate(squeezes) if i in chosen]
    return trace(30, uterus=squeezes, decelerations=falls)


def share_in_20(
    share: float, kind: Callable[..., object], bandwidth: float = 12.0, **words: object
) -> Findings:
    """Ten contractions in a window of 20 minutes; the first so many carry a deceleration."""
    squeezes = contractions(20, every_s=120.0, first_s=60.0, duration_s=40.0)
    falls = [kind(one, **words) for one in squeezes[: round(10 * share)]]
    return trace(20, uterus=squeezes, decelerations=falls, bandwidth=bandwidth)


def share_of_20_in_30(share: float) -> Findings:
    """Fifteen contractions in 30 minutes; of the first ten so many carry a deceleration."""
    squeezes = contractions(30, every_s=120.0, first_s=60.0, duration_s=40.0)
    falls = [variable(one) for one in squeezes[: round(10 * share)]]
    return trace(30, uterus=squeezes, decelerations=falls)


def absent_share(share: float, kind: Callable[..., object]) -> Findings:
    return share_in_20(share, kind, bandwidth=1.0)


def pattern_for(
    minutes: float, kind: Callable[..., object], bandwidth: float = 12.0, **words: object
) -> Findings:
    """Decelerations with every contraction, from the onset of the first to the end of the last
    so many minutes, after an hour without."""
    squeezes = contractions(60 + minutes + 5, every_s=150.0, first_s=60.0, duration_s=60.0)
    first = next(one for one in squeezes if one.peak_s > 60 * MINUTE)
    opening = kind(first, **words)
    closing_end_s = opening.onset_s + minutes * MINUTE
    # The last contraction is put where its deceleration ends on the minute asked for.
    own_end_s = opening.end_s - first.peak_s
    closing = contraction(closing_end_s - own_end_s, duration_s=60.0)
    kept = [one for one in squeezes if one.end_s < closing.onset_s - 30.0] + [closing]
    falls = [kind(one, **words) for one in kept if one.peak_s >= first.peak_s]
    total = int((closing_end_s + 120.0) // MINUTE) + 1
    return trace(total, uterus=kept, decelerations=falls, bandwidth=bandwidth)


def one_fall(seconds: float, *, within: float = 10.0, nadir: float | None = None) -> Findings:
    """A single deceleration of this length well inside the last half hour."""
    fall = variable(1800.0, duration_s=seconds, within=within, nadir_bpm=nadir, depth=40.0)
    return trace(45, decelerations=[fall])


def contracting(number: float, *, duration_s: float = 60.0) -> Findings:
    """So many contractions in 30 minutes, evenly."""
    count = round(number)
    step = 1800.0 / count
    squeezes = contractions(30, every_s=step, first_s=step / 2, duration_s=duration_s)
    return trace(30, uterus=squeezes)


def two_tens(count: float) -> Findings:
    """So many contractions in each of two successive tens, one in the ten before."""
    each = round(count)
    step = 600.0 / each
    peaks = [300.0, *(600.0 + step * (i + 0.5) for i in range(2 * each))]
    return trace(30, uterus=[contraction(peak, duration_s=40.0) for peak in peaks])


def unpaired_variables(count: float) -> Findings:
    """So many variable decelerations in 18 minutes, no activity channel."""
    falls = [variable(700.0 + i * 1080.0 / count) for i in range(round(count))]
    return trace(40, decelerations=falls, present=False)


def rising_by(bpm: float) -> Findings:
    return trace(90, baseline=[120.0] * 3 + [120.0 + bpm] * 6)


def lasting_variables(minutes: float) -> Findings:
    """Long variable decelerations with every fourth contraction, so many minutes from the first
    to the last."""
    total_s = minutes * MINUTE
    end_s = 60 * MINUTE + total_s
    count = 4
    step = (total_s - 70.0) / (count - 1)
    falls = []
    squeezes = []
    for i in range(count):
        peak = 60 * MINUTE + 10.0 + i * step
        for k in range(4):
            squeezes.append(contraction(peak + k * step / 4, duration_s=60.0))
        falls.append(variable(squeezes[-4], duration_s=70.0))
    size = int((end_s + step) // MINUTE) + 1
    earlier = contractions(55)
    return trace(size, uterus=[*earlier, *squeezes], decelerations=falls)


def until_last_fall(findings: Findings) -> Window:
    end_s = max(fall.end_s for fall in findings.fetal.decelerations)
    return Window(end_s - 1800.0, end_s)


def catheter(findings_of: Callable[[float], tuple[float, float]]) -> Callable[[float], Findings]:
    """Contractions of a length (min) and a tone seen by a catheter."""

    def make(value: float) -> Findings:
        length, tone = findings_of(value)
        squeezes = [contraction(p * 300.0 + 150.0, duration_s=60.0, tone=tone) for p in range(8)]
        squeezes[5] = contraction(squeezes[5].peak_s, duration_s=length * MINUTE, tone=tone)
        return trace(40, uterus=squeezes, sensor=SensorKind.PRESSURE_CATHETER)

    return make


def long_on_toco(minutes: float) -> Findings:
    squeezes = [contraction(p * 300.0 + 150.0) for p in range(8)]
    squeezes[5] = contraction(squeezes[5].peak_s, duration_s=minutes * MINUTE)
    return trace(40, uterus=squeezes)


def accelerating(count: float) -> Findings:
    return trace(40, accelerations=[acceleration(600.0 + 200.0 * i) for i in range(round(count))])


def looked_for(minutes: float) -> Findings:
    return trace(int(minutes))


def variables_in_20(count: float) -> Findings:
    return trace(40, decelerations=[variable(1200.0 + 240.0 * i) for i in range(round(count))])


def ambers(count: float) -> Findings:
    """No, one or two amber features: a baseline of 105, variability reduced for 35 minutes."""
    band = [12.0] * 60 + [3.0] * 35 if count >= 2 else 12.0
    base = 105.0 if count >= 1 else 140.0
    return trace(95, baseline=base, bandwidth=band)


def partly_lost(lost: float) -> Findings:
    return trace(40, valid=1.0 - lost)


def lost_ten(valid: float) -> Findings:
    return trace(40, valid=[1.0] * 20 + [valid] * 10 + [1.0] * 10)


def measured_for(minutes: float) -> Findings:
    """So many measured minutes in the last 30."""
    count = int(minutes)
    return trace(30, bandwidth=[12.0] * count + [float("nan")] * (30 - count))


def slow_for(share: float) -> Findings:
    """Half an hour of which ten minutes were seen, a share of them under 100 bpm."""
    rate = np.full(1800, math.nan)
    rate[:600] = 140.0
    rate[: round(600 * share)] = 90.0
    return trace(30, rate=rate.tolist())


CASES = [
    *(
        Case(
            f"{standard.value}-slow-half",
            standard,
            OUR_CHOICE,
            slow_for,
            (0.49, 0.5, 0.51),
            AT_LEAST,
        )
        for standard in (NICHD, FIGO, NICE)
    ),
    # ---- NICHD 2008
    Case("nichd-baseline-normal", NICHD, MACONES, level, (105, 110, 115), AT_LEAST),
    Case("nichd-baseline-normal", NICHD, MACONES, level, (155, 160, 165), AT_MOST),
    Case("nichd-tachycardia", NICHD, MACONES, level, (155, 160, 165), ABOVE),
    Case("nichd-bradycardia", NICHD, MACONES, level, (105, 110, 115), BELOW),
    Case("nichd-variability-minimal", NICHD, MACONES, width, (4.9, 5.0, 5.1), AT_MOST),
    Case("nichd-variability-moderate", NICHD, MACONES, width, (4.9, 5.0, 5.1), ABOVE),
    Case("nichd-variability-moderate", NICHD, MACONES, width, (24.9, 25.0, 25.1), AT_MOST),
    Case("nichd-variability-marked", NICHD, MACONES, width, (24.9, 25.0, 25.1), ABOVE),
    Case(
        "nichd-variability-absent",
        NICHD,
        OUR_CHOICE,
        width,
        (ABSENT_BELOW_BPM - 0.1, ABSENT_BELOW_BPM, ABSENT_BELOW_BPM + 0.1),
        BELOW,
    ),
    Case("nichd-prolonged", NICHD, MACONES, one_fall, (119, 120, 121), AT_LEAST),
    Case(
        "nichd-recurrent",
        NICHD,
        MACONES,
        lambda share: share_in_20(share, late),
        (0.4, 0.5, 0.6),
        AT_LEAST,
        whole,
    ),
    Case(
        "nichd-III-absent-recurrent-late",
        NICHD,
        MACONES,
        lambda share: absent_share(share, late),
        (0.4, 0.5, 0.6),
        AT_LEAST,
        whole,
    ),
    Case(
        "nichd-III-absent-recurrent-variable",
        NICHD,
        MACONES,
        lambda share: absent_share(share, variable),
        (0.4, 0.5, 0.6),
        AT_LEAST,
        whole,
    ),
    Case("nichd-III-absent-bradycardia", NICHD, MACONES, absent_and, (105, 110, 115), BELOW),
    Case("nichd-III-sinusoidal", NICHD, MACONES, undulating_for, (19.9, 20, 20.1), AT_LEAST),
    Case("nichd-sinusoidal-short", NICHD, MACONES, undulating_for, (19.9, 20, 20.1), BELOW),
    Case("nichd-tachysystole", NICHD, MACONES, contracting, (14, 15, 16), ABOVE),
    Case("nichd-suspected-recurrent", NICHD, OUR_CHOICE, unpaired_variables, (4, 5, 6), AT_LEAST),
    # ---- FIGO 2015
    Case("figo-baseline-normal", FIGO, FIGO_2015, level, (109, 110, 111), AT_LEAST),
    Case("figo-baseline-normal", FIGO, FIGO_2015, level, (159, 160, 161), AT_MOST),
    Case("figo-baseline-tachycardia", FIGO, FIGO_2015, level, (159, 160, 161), ABOVE),
    Case("figo-baseline-bradycardia", FIGO, FIGO_2015, level, (109, 110, 111), BELOW),
    Case("figo-baseline-pathological", FIGO, FIGO_2015, level, (99, 100, 101), BELOW),
    Case("figo-variability-normal", FIGO, FIGO_2015, width, (4.9, 5.0, 5.1), AT_LEAST),
    Case("figo-variability-normal", FIGO, FIGO_2015, width, (24.9, 25.0, 25.1), AT_MOST),
    Case("figo-variability-low", FIGO, FIGO_2015, width, (4.9, 5.0, 5.1), BELOW),
    Case("figo-variability-high", FIGO, FIGO_2015, width, (24.9, 25.0, 25.1), ABOVE),
    Case("figo-variability-reduced", FIGO, FIGO_2015, reduced_for, (49, 50, 51), ABOVE),
    Case("figo-variability-increased", FIGO, FIGO_2015, increased_for, (29, 30, 31), ABOVE),
    Case(
        "figo-variability-reduced-unmeasured",
        FIGO,
        FIGO_2015,
        unmeasured_for,
        (49, 50, 51),
        ABOVE,
    ),
    Case(
        "figo-variability-reduced-within",
        FIGO,
        FIGO_2015,
        lambda seconds: one_fall(seconds, within=3.0),
        (179, 180, 181),
        ABOVE,
    ),
    Case(
        "figo-variability-reduced-within",
        FIGO,
        FIGO_2015,
        lambda bpm: one_fall(200.0, within=bpm),
        (4.9, 5.0, 5.1),
        BELOW,
    ),
    Case("figo-sinusoidal", FIGO, FIGO_2015, undulating_for, (29.9, 30, 30.1), ABOVE),
    Case("figo-sinusoidal-short", FIGO, OUR_CHOICE, undulating_for, (29.9, 30, 30.1), AT_MOST),
    Case(
        "figo-decelerations-repetitive",
        FIGO,
        FIGO_2015,
        lambda share: share_in_20(share, variable),
        (0.4, 0.5, 0.6),
        ABOVE,
        whole,
    ),
    Case(
        "figo-decelerations-repetitive",
        FIGO,
        FIGO_2015,
        share_of_20_in_30,
        (0.4, 0.5, 0.6),
        ABOVE,
        whole,
    ),
    Case(
        "figo-decelerations-late-30",
        FIGO,
        FIGO_2015,
        lambda minutes: pattern_for(minutes, late),
        (29.9, 30, 30.1),
        ABOVE,
    ),
    Case(
        "figo-decelerations-late-20",
        FIGO,
        FIGO_2015,
        lambda minutes: pattern_for(minutes, late, bandwidth=3.0),
        (19.9, 20, 20.1),
        ABOVE,
        until_last_fall,
    ),
    Case("figo-decelerations-prolonged", FIGO, FIGO_2015, one_fall, (179, 180, 181), ABOVE),
    Case("figo-decelerations-prolonged-5", FIGO, FIGO_2015, one_fall, (299, 300, 301), ABOVE),
    Case(
        "figo-decelerations-acute",
        FIGO,
        FIGO_2015,
        lambda bpm: one_fall(310.0, within=3.0, nadir=bpm),
        (79, 80, 81),
        BELOW,
    ),
    Case("figo-tachysystole", FIGO, FIGO_2015, contracting, (14, 15, 16), ABOVE),
    Case("figo-tachysystole-successive", FIGO, FIGO_2015, two_tens, (4, 5, 6), ABOVE),
    # ---- NICE NG229
    Case("nice-contractions-white", NICE, NG229, contracting, (14, 15, 16), BELOW),
    Case(
        "nice-contractions-amber",
        NICE,
        NG229,
        lambda n: contracting(n, duration_s=80.0),
        (14, 15, 16),
        AT_LEAST,
    ),
    Case(
        "nice-contractions-rested",
        NICE,
        NG229,
        lambda n: contracting(n, duration_s=40.0),
        (14, 15, 16),
        AT_LEAST,
    ),
    Case("nice-hypertonus", NICE, NG229, catheter(lambda v: (v, 10.0)), (1.9, 2.0, 2.1), ABOVE),
    Case(
        "nice-resting-tone",
        NICE,
        "common practice",
        catheter(lambda v: (1.0, v)),
        (24, 25, 26),
        ABOVE,
    ),
    Case("nice-long-on-toco", NICE, NG229, long_on_toco, (1.9, 2.0, 2.1), ABOVE),
    Case("nice-baseline-white", NICE, NG229, level, (109, 110, 111), AT_LEAST),
    Case("nice-baseline-white", NICE, NG229, level, (159, 160, 161), AT_MOST),
    Case("nice-baseline-amber", NICE, NG229, level, (99, 100, 101), AT_LEAST),
    Case("nice-baseline-amber", NICE, NG229, level, (108, 109, 110), AT_MOST),
    Case("nice-baseline-red-slow", NICE, NG229, level, (99, 100, 101), BELOW),
    Case("nice-baseline-red-fast", NICE, NG229, level, (159, 160, 161), ABOVE),
    Case("nice-baseline-rise", NICE, NG229, rising_by, (19, 20, 21), AT_LEAST),
    Case("nice-variability-white", NICE, NG229, width, (4.9, 5.0, 5.1), AT_LEAST),
    Case("nice-variability-white", NICE, NG229, width, (24.9, 25.0, 25.1), AT_MOST),
    Case("nice-variability-reduced-short", NICE, NG229, reduced_for, (29, 30, 31), BELOW),
    Case("nice-variability-reduced-amber", NICE, NG229, reduced_for, (29, 30, 31), AT_LEAST),
    Case("nice-variability-reduced-amber", NICE, NG229, reduced_for, (49, 50, 51), AT_MOST),
    Case("nice-variability-reduced-red", NICE, NG229, reduced_for, (49, 50, 51), ABOVE),
    Case("nice-variability-reduced-unmeasured", NICE, NG229, unmeasured_for, (49, 50, 51), ABOVE),
    Case("nice-variability-increased-short", NICE, OUR_CHOICE, increased_for, (4, 5, 6), BELOW),
    Case("nice-variability-increased-amber", NICE, OUR_CHOICE, increased_for, (4, 5, 6), AT_LEAST),
    Case("nice-variability-increased-amber", NICE, NG229, increased_for, (9, 10, 11), AT_MOST),
    Case("nice-variability-increased-red", NICE, NG229, increased_for, (9, 10, 11), ABOVE),
    Case(
        "nice-sinusoidal",
        NICE,
        "Modanlou 1982 (from memory)",
        undulating_for,
        (9.9, 10, 10.1),
        AT_LEAST,
    ),
    Case(
        "nice-variable-repetitive",
        NICE,
        NG229,
        lambda share: share_in_20(share, variable, duration_s=70.0),
        (0.4, 0.5, 0.6),
        ABOVE,
        whole,
    ),
    Case(
        "nice-variable-repetitive",
        NICE,
        NG229,
        lambda seconds: share_in_20(0.6, variable, duration_s=seconds),
        (59, 60, 61),
        ABOVE,
        whole,
    ),
    Case(
        "nice-variable-repetitive",
        NICE,
        NG229,
        lambda bpm: share_in_20(0.6, variable, within=bpm),
        (4.9, 5.0, 5.1),
        BELOW,
        whole,
    ),
    Case(
        "nice-variability-reduced-most",
        NICE,
        OUR_CHOICE,
        mostly_reduced_for,
        (29, 30, 31),
        AT_LEAST,
    ),
    Case(
        "nice-late-or-variable-repetitive",
        NICE,
        NG229,
        late_and_variable,
        (0.4, 0.5, 0.6),
        ABOVE,
        whole,
    ),
    Case(
        "nice-late-or-variable-red",
        NICE,
        NG229,
        lambda minutes: pattern_for(minutes, variable_late_variable, duration_s=70.0),
        (29.9, 30, 30.1),
        ABOVE,
    ),
    Case(
        "nice-variable-red",
        NICE,
        NG229,
        lambda minutes: pattern_for(minutes, variable, duration_s=70.0),
        (29.9, 30, 30.1),
        ABOVE,
    ),
    Case(
        "nice-variable-lasting",
        NICE,
        NG229,
        lasting_variables,
        (29.9, 30, 30.1),
        ABOVE,
        until_last_fall,
    ),
    Case(
        "nice-late-repetitive",
        NICE,
        NG229,
        lambda share: share_in_20(share, late),
        (0.4, 0.5, 0.6),
        ABOVE,
        whole,
    ),
    Case(
        "nice-late-red",
        NICE,
        NG229,
        lambda minutes: pattern_for(minutes, late),
        (29.9, 30, 30.1),
        ABOVE,
    ),
    Case("nice-prolonged", NICE, NG229, one_fall, (179, 180, 181), AT_LEAST),
    Case("nice-two-amber", NICE, NG229, ambers, (0, 1, 2), ABOVE),
    # ---- the non-stress test
    Case("nst-accelerations", NST, PB229, accelerating, (1, 2, 3), AT_LEAST),
    Case("nst-nonreactive", NST, PB229, looked_for, (39, 40, 41), AT_LEAST, whole),
    Case("nst-not-yet", NST, PB229, looked_for, (39, 40, 41), BELOW, whole),
    Case("nst-decelerations-repetitive", NST, PB229, variables_in_20, (2, 3, 4), AT_LEAST),
    Case("nst-deceleration-long", NST, PB229, one_fall, (59, 60, 61), AT_LEAST),
    # ---- limits of all
    Case("limit-window", FIGO, MACONES, lambda _: trace(40), (9.9, 10, 10.1), BELOW),
    Case("limit-signal", NICHD, OUR_CHOICE, partly_lost, (0.49, 0.5, 0.51), ABOVE),
    Case(
        "limit-loss",
        NICE,
        "Ayres-de-Campos 2015 (from memory)",
        partly_lost,
        (0.19, 0.2, 0.21),
        ABOVE,
    ),
    Case("limit-ten-minutes", FIGO, OUR_CHOICE, lost_ten, (0.49, 0.5, 0.51), BELOW),
    Case("limit-variability", FIGO, OUR_CHOICE, measured_for, (4, 5, 6), BELOW),
]


def _ask(case: Case, value: float) -> Classification:
    findings = case.make(value)
    window = case.window(findings)
    if case.rule == "limit-window":
        window = Window(findings.duration_s - value * MINUTE, findings.duration_s)
    stage = Stage.ANTEPARTUM if case.standard is NST else Stage.FIRST
    return judged(case.standard, findings, window=window, context=Context(stage=stage))


def _name(case: Case) -> str:
    return f"{case.rule} {case.values[1]:g}"


@pytest.mark.parametrize("case", CASES, ids=_name)
def test_a_line_is_stated_on_its_own_side_of_its_threshold_only(case: Case) -> None:
    """Each threshold at, just under and just over; the case names its publication."""
    for value, stated in zip(case.values, case.stated, strict=True):
        found = _ask(case, value)
        assert (case.rule in rules_of(found)) is stated, (value, found.reasons)


@pytest.mark.parametrize("case", CASES, ids=_name)
def test_a_stated_line_makes_at_least_its_class(case: Case) -> None:
    """A deciding line holds the class to its own or worse, or leads to a refusal, never better."""
    rule = TABLES[case.standard].rule(case.rule)
    for value, stated in zip(case.values, case.stated, strict=True):
        found = _ask(case, value)
        if stated and rule.part is Part.CLASS:
            assert found.refused or found.rank >= rule.rank
            if rule.rank == TABLES[case.standard].alarm_rank:
                assert found.rank == rule.rank
                assert rule.id in found.decided_by


@pytest.mark.parametrize("case", CASES, ids=_name)
def test_no_stated_number_contradicts_its_line(case: Case) -> None:
    """Whoever decided, the number shown lies on the side of the threshold that is claimed."""
    for value in case.values:
        for reason in _ask(case, value).reasons:
            rule = TABLES[case.standard].rule(reason.rule)
            if rule.compare is not Compare.PRESENT and not math.isnan(reason.value):
                assert rule.met(reason.value), reason


def test_every_numeric_line_is_held_against_its_threshold() -> None:
    """No line of a table escapes: those that define a term are tested where the term is used."""
    tested = {case.rule for case in CASES}
    numeric = {
        rule.id
        for table in TABLES.values()
        for rule in (*table.rules, *table.limits)
        if rule.compare is not Compare.PRESENT and rule.part is not Part.TERM
    }
    assert numeric <= tested


def test_the_mother_s_rate_is_left_out_of_what_can_be_relied_on() -> None:
    """Our choice: 12 of 30 minutes that may be hers leave 60 %, 16 leave less than half."""
    for minutes, refused in ((12, False), (16, True)):
        findings = trace(30, artefacts=[mother(0.0, minutes * MINUTE)])
        found = judged(NICHD, findings)
        assert ("limit-signal" in rules_of(found)) is refused
        assert found.refused
