"""How far hands can be trusted: published figures, and the confusions they imply.

Two conclusions of the hands have been measured against ultrasound: what presents (cephalic or
not), and whether the position is LOA. Each examiner's level stands on such a study. All grips
that serve one conclusion share its accuracy: feeling the head twice does not make the hand's
conclusion truer than the study found it. So the model holds, between truth and findings, what the
examiner perceives; the tables here say how often truth is perceived as what.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ebbline.bedside.context import ExamContext, Examiner, Fluid, Hindrance
from ebbline.bedside.sources import (
    ASSUMPTION,
    LYDON_ROCHELLE_1993,
    NASSAR_2006,
    PRACTICE,
    RUEANGCHAINIKHOM_2010,
    THORP_1991,
    WEBB_2011,
    Basis,
    Source,
)

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Study:
    """Accuracy of a conclusion of the hands as published, in per cent, NaN where not given.

    women: how many were examined. sensitivity_interval, specificity_interval: the published 95 %
    intervals, else by Wilson from the women and the prevalence. used: the share inside the
    published rounding that the model takes in (sensitivity, specificity); None for a study that
    the model never saw and is held against.
    """

    name: str
    of: str
    women: int
    sensitivity: float
    specificity: float
    ppv: float
    npv: float
    prevalence: float
    sensitivity_interval: tuple[float, float]
    specificity_interval: tuple[float, float]
    used: tuple[float, float] | None
    source: Source

    @property
    def sensitivity_used(self) -> float:
        """The sensitivity the model takes in, 0..1."""
        return self.sensitivity / 100 if self.used is None else self.used[0]

    @property
    def specificity_used(self) -> float:
        """The specificity the model takes in, 0..1."""
        return self.specificity / 100 if self.used is None else self.used[1]


_UNKNOWN = math.nan
LOA_IN_WEBB = 61 / 629
"""Share of LOA at the onset of labour among Webb's nulliparae at term."""

STUDIES = {
    "thorp": Study(
        "Thorp 1991",
        "non-cephalic",
        0,
        28,
        94,
        24,
        95,
        7,
        (_UNKNOWN, _UNKNOWN),
        (_UNKNOWN, _UNKNOWN),
        (0.2785, 0.9352),
        THORP_1991,
    ),
    "nassar": Study(
        "Nassar 2006",
        "non-cephalic",
        1633,
        70,
        95,
        55,
        97,
        8,
        (62, 78),
        (94, 96),
        (0.70, 0.95),
        NASSAR_2006,
    ),
    "lydon-rochelle": Study(
        "Lydon-Rochelle 1993",
        "non-cephalic",
        150,
        88,
        94,
        74,
        97,
        17,
        (_UNKNOWN, _UNKNOWN),
        (_UNKNOWN, _UNKNOWN),
        (0.88, 0.94),
        LYDON_ROCHELLE_1993,
    ),
    "webb": Study(
        "Webb 2009/2011",
        "LOA",
        629,
        34,
        71,
        _UNKNOWN,
        _UNKNOWN,
        100 * LOA_IN_WEBB,
        (23, 46),
        (67, 74),
        (0.34, 0.71),
        WEBB_2011,
    ),
    "rueangchainikhom": Study(
        "Rueangchainikhom 2010",
        "non-cephalic",
        1528,
        63.17,
        93.35,
        34.04,
        97.98,
        5.15,
        (63.17 - 10.84, 63.17 + 10.84),
        (93.35 - 1.25, 93.35 + 1.25),
        None,
        RUEANGCHAINIKHOM_2010,
    ),
}
"""Thorp: 28 %, 94 % and 7 % as printed give a PPV of 26 %, not 24 %; 27.85 %, 93.52 % and 7.0 %
round to the printed figures and give 24.4 % and 94.5 %; its abstract does not tell how many women.
Rueangchainikhom's prevalence is not in the abstract: 5.15 % is the one that its four figures give
together. Nassar: of 130 non-cephalic 103 were breech, 27 transverse or oblique."""

WEBB_EXPERIENCE_ODDS = 4.02
"""More than five years against less: of the sensitivity alone (Webb: 1.26-12.9); nothing was
published of the specificity."""


def _of_experienced(pooled: float, odds: float = WEBB_EXPERIENCE_ODDS) -> float:
    """A share among the experienced half, where the two halves have an odds ratio and a mean.

    That half of the study's examiners were experienced is an assumption. The root of
    s (1 - n) = odds n (1 - s) with n = 2 pooled - s, for which both are shares.
    """
    a, b, c = odds - 1, -(2 * pooled * (odds - 1) + odds + 1), 2 * odds * pooled
    return (-b - math.sqrt(b * b - 4 * a * c)) / (2 * a)


@dataclass(frozen=True, slots=True)
class Skill:
    """The accuracy of one examiner on one abdomen.

    pole: sensitivity and specificity for non-cephalic. position: the same for LOA; None for hands
    that feel the direction exactly. sharpness: how fast errors of position thin out beside LOA.
    across: share of backs that lie across and are felt to. fifths: share of exact readings of the
    fifths. vaginal: share of directions felt exactly from below. lapse: share of other
    observations that tell nothing. dulling: 0..1, how far hindrances level the hands.
    """

    pole: tuple[float, float]
    position: tuple[float, float] | None
    sharpness: float
    across: float
    fifths: float
    vaginal: float
    lapse: float
    dulling: float
    basis: tuple[Basis, ...]


SKILLS: dict[Examiner, Skill] = {
    # Position, learning: half of what Webb's examiners knew beyond chance (assumption).
    Examiner.LEARNING: Skill(
        (STUDIES["thorp"].sensitivity_used, STUDIES["thorp"].specificity_used),
        (0.315, 0.71),
        0.5,
        0.35,
        0.50,
        0.40,
        0.35,
        0.0,
        (
            Basis(
                "what presents",
                "28 % of non-cephalic presentations found, 94 % of cephalic ones",
                THORP_1991,
            ),
            Basis("position", "half of what Webb's examiners knew beyond chance", ASSUMPTION),
        ),
    ),
    Examiner.ORDINARY: Skill(
        (STUDIES["nassar"].sensitivity_used, STUDIES["nassar"].specificity_used),
        (STUDIES["webb"].sensitivity_used, STUDIES["webb"].specificity_used),
        1.0,
        0.50,
        0.60,
        0.55,
        0.20,
        0.0,
        (
            Basis(
                "what presents",
                "70 % of non-cephalic presentations found, 95 % of cephalic ones",
                NASSAR_2006,
            ),
            Basis(
                "position",
                "34 % of LOA found, 71 % of the others told from it: little better than chance",
                WEBB_2011,
            ),
        ),
    ),
    # Position, experienced: Webb's odds ratio for more than five years, split so that two halves of
    # such and other examiners give the pooled 34 % (the halves: assumption). It is of sensitivity
    # only, so the specificity stays the pooled one.
    Examiner.EXPERIENCED: Skill(
        (STUDIES["lydon-rochelle"].sensitivity_used, STUDIES["lydon-rochelle"].specificity_used),
        (_of_experienced(0.34), 0.71),
        2.0,
        0.65,
        0.70,
        0.70,
        0.12,
        0.0,
        (
            Basis(
                "what presents",
                "88 % of non-cephalic presentations found, 94 % of cephalic ones",
                LYDON_ROCHELLE_1993,
            ),
            Basis(
                "position",
                "49 % of LOA found (the published odds of 4.0 for more than five years, of "
                "sensitivity only, shared out by ours), 71 % of the others told from it",
                WEBB_2011,
            ),
        ),
    ),
    # The handbook's patient: hands that do not err. For teaching and for checking the tables.
    Examiner.TEXTBOOK: Skill(
        (0.995, 0.995),
        None,
        1.0,
        0.96,
        0.96,
        0.96,
        0.02,
        0.0,
        (Basis("hands", "the handbook's, which do not err: for teaching only", ASSUMPTION),),
    ),
}

DULLING: dict[Hindrance, tuple[float, Source]] = {
    Hindrance.THICK_WALL: (0.35, ASSUMPTION),
    Hindrance.TENSE_UTERUS: (0.30, ASSUMPTION),
    Hindrance.CONTRACTION: (0.50, ASSUMPTION),
    Hindrance.FRONT_PLACENTA: (0.15, ASSUMPTION),
}
"""Share of the hands' knowledge that a hindrance takes away: that it does is common practice, how
much is an assumption."""

MUCH_FLUID_DULLING = (0.30, PRACTICE)


def skill_for(context: ExamContext) -> Skill:
    """The examiner's skill on this abdomen, hindrances taken off."""
    base = SKILLS[context.examiner]
    kept = 1.0
    for hindrance in sorted(set(context.hindrances)):
        kept *= 1 - DULLING[hindrance][0]
    if context.fluid is Fluid.MUCH:
        kept *= 1 - MUCH_FLUID_DULLING[0]
    return replace(base, dulling=1 - kept)


def dulled(confusion: FloatArray, dulling: float) -> FloatArray:
    """Rows drawn towards their common mean by a share: what a hindrance does to perception."""
    # Sorted before adding, so that a mirrored table gives the mirrored mean to the last bit.
    mean = np.sort(confusion, axis=0).mean(axis=0, keepdims=True)
    return np.asarray((1 - dulling) * confusion + dulling * mean, dtype=np.float64)


POLE_CLASSES = (
    "head",
    "breech",
    "across, head left",
    "across, head right",
    "oblique, head low left",
    "oblique, head low right",
    "oblique, breech low, head left",
    "oblique, breech low, head right",
)
"""What the hands may conclude about the poles."""

_POLE_MIRROR = (0, 1, 3, 2, 5, 4, 7, 6)

# Of the false conclusions, which: breech mostly (assumption).
_FALSE_NONCEPHALIC = (0.0, 0.964, 0.006, 0.006, 0.006, 0.006, 0.006, 0.006)
# Of the true non-cephalic that is seen to be so, how it is named (assumption).
_NAMED = {
    1: (0.0, 0.976, 0.004, 0.004, 0.004, 0.004, 0.004, 0.004),
    2: (0.0, 0.04, 0.84, 0.02, 0.04, 0.01, 0.04, 0.01),
    4: (0.0, 0.04, 0.12, 0.02, 0.76, 0.02, 0.03, 0.01),
    6: (0.0, 0.14, 0.12, 0.02, 0.03, 0.01, 0.66, 0.02),
}


def pole_confusion(sensitivity: float, specificity: float) -> FloatArray:
    """Truth (rows) to perceived pole class (columns), shape (8, 8), for a study's two figures."""
    table = np.zeros((8, 8))
    table[0] = np.array(_FALSE_NONCEPHALIC) * (1 - specificity)
    table[0, 0] = specificity
    for row, named in _NAMED.items():
        table[row] = np.array(named) * sensitivity
        table[row, 0] = 1 - sensitivity
        if row > 1:
            table[_POLE_MIRROR[row]] = table[row][list(_POLE_MIRROR)]
    return table


def _steps(a: int, b: int) -> int:
    return min((a - b) % 8, (b - a) % 8)


def position_confusion(skill: Skill, shares: Sequence[float]) -> FloatArray:
    """True direction of the back (rows) to the perceived one (columns), shape (10, 10).

    Directions 0..7 as POSITIONS; 8 and 9: the back lies across, to the front or to the spine. The
    columns for left anterior (and, as its mirror image, right anterior) are fixed by the
    published sensitivity and specificity for LOA at the given shares of the eight positions. How
    the other conclusions fall is an assumption: nearer is likelier, the more so the sharper.
    """
    table = np.zeros((10, 10))
    false_across = (1 - skill.across) * 0.06
    for true, row in enumerate(_longitudinal_rows(skill, shares, false_across)):
        table[true, :8] = row
        table[true, 8:] = false_across / 2
    for true, other in ((8, 9), (9, 8)):
        table[true, :8] = (1 - skill.across) * 0.7 / 8
        table[true, other] = (1 - skill.across) * 0.3
        table[true, true] = skill.across
    return table


def _longitudinal_rows(
    skill: Skill, shares: Sequence[float], false_across: float
) -> list[list[float]]:
    if skill.position is None:
        return [
            [share * (1 - false_across) for share in row]
            for row in direction_confusion(skill.vaginal).tolist()
        ]
    sensitivity, specificity = skill.position
    by_side = _called_loa(sensitivity, 1 - specificity, shares)
    near = [math.exp(-skill.sharpness * 0.9 * n) + 0.06 / skill.sharpness for n in range(5)]
    rest = [i for i in range(8) if i not in (_LOA, _ROA)]
    rows = []
    for true in range(8):
        row = [0.0] * 8
        row[_LOA] = sensitivity if true == _LOA else by_side[_side(true)]
        row[_ROA] = sensitivity if true == _ROA else by_side[-_side(true)]
        left = 1 - false_across - (row[_LOA] + row[_ROA])
        weights = {i: near[_steps(true, i)] for i in rest}
        for i in rest:
            if _side(true) and _side(i) == _side(true):
                weights[i] *= 1 + skill.sharpness
        whole = math.fsum(weights.values())
        for i, weight in weights.items():
            row[i] = left * weight / whole
        rows.append(row)
    for front, lateral in ((_LOA, 2), (_ROA, 6)):
        rows[front] = _side_as(rows[front], rows[lateral], front)
    return rows


def _side_as(row: list[float], like: list[float], fixed: int) -> list[float]:
    """A row whose mass on its side is another's, the fixed column kept.

    That the side is told as well of a back in front as of one in the flank: no finding of the side
    alone may then rank the two.
    """
    side = [i for i in range(8) if _side(i) == _side(fixed) and i != fixed]
    wanted = math.fsum(like[i] for i in range(8) if _side(i) == _side(fixed)) - row[fixed]
    have = math.fsum(row[i] for i in side)
    rest = [i for i in range(8) if _side(i) != _side(fixed) and i not in (_LOA, _ROA)]
    other = math.fsum(row[i] for i in rest)
    made = list(row)
    for i in side:
        made[i] = row[i] * wanted / have
    for i in rest:
        made[i] = row[i] * (other + have - wanted) / other
    return made


_LOA, _ROA = 1, 7


def _side(direction: int) -> int:
    """1 to the mother's left, -1 to her right, 0 in the midline."""
    return 0 if direction % 4 == 0 else 1 if direction < 4 else -1


def _called_loa(sensitivity: float, falsely: float, shares: Sequence[float]) -> dict[int, float]:
    """Share called LOA of other positions, by their side, whose mean is the published one.

    The study gives the mean alone. That the side is known better than front and back is common
    practice: LOT and LOP are called LOA nearly as often as LOA itself, up to 1.8 times the mean
    (assumption); midline positions lie half way between the sides.
    """
    others = math.fsum(share for i, share in enumerate(shares) if i != _LOA)

    def of(side: int) -> float:
        return math.fsum(s for i, s in enumerate(shares) if i != _LOA and _side(i) == side) / others

    same = min(0.99 * sensitivity, 1.8 * falsely)
    other = (falsely - same * (of(1) + of(0) / 2)) / (of(-1) + of(0) / 2)
    return {1: same, 0: (same + other) / 2, -1: other}


def direction_confusion(exact: float) -> FloatArray:
    """Eight directions felt from below: exact with this share, else the nearer the likelier.

    Half of the rest falls on the two neighbours, as errors within 45 degrees do in the studies
    of digital examination (from memory); the opposite gets a share of its own: the fontanelles
    are taken for each other.
    """
    rest = 1 - exact
    by_steps = {0: exact, 1: rest * 0.27, 2: rest * 0.07, 3: rest * 0.07, 4: rest * 0.18}
    table = np.array([[by_steps[_steps(i, j)] for j in range(8)] for i in range(8)])
    return np.asarray(table, dtype=np.float64)


def fifths_confusion(exact: float) -> FloatArray:
    """True fifths 0..5 to felt fifths 0..5: exact with this share, else one off, rarely two."""
    table = np.zeros((6, 6))
    for true in range(6):
        weights = {true: exact}
        near = [f for f in (true - 1, true + 1) if 0 <= f <= 5]
        far = [f for f in (true - 2, true + 2) if 0 <= f <= 5]
        for f in near:
            weights[f] = (1 - exact) * 0.85 / len(near)
        for f in far:
            weights[f] = (1 - exact) * 0.15 / len(far)
        for f, weight in weights.items():
            table[true, f] = weight
    return table
