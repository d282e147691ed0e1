"""What to expect before any finding: shares of the states, by what is known of the pregnancy.

Each table is a line of data with its source. Where there is no source the share is neutral and
the result says so. Left and right are alike in every prior: the published shares of left and
right positions differ between studies, and the findings should decide the side.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ebbline.bedside.context import ExamContext, Fluid, Placenta
from ebbline.bedside.number_words import weeks_words
from ebbline.bedside.sources import (
    AHMAD_2014,
    AKMAL_2004,
    ASSUMPTION,
    CEPHALIC_BY_WEEKS,
    FORD_2010,
    GARDBERG_1998,
    MACHAREY_2017,
    NASSAR_2006,
    OXORN,
    PRACTICE,
    SCHEER_1976,
    WILLIAMS,
    Basis,
)
from ebbline.bedside.states import BREECHES, POSITIONS, State, mirror_order, states
from ebbline.terms import Attitude, Lie, Position, Presentation, Stage

FloatArray = NDArray[np.float64]

CEPHALIC_CURVE = ((22.0, 0.47), (36.0, 0.94))
"""Share of cephalic presentation by completed weeks, level outside (CEPHALIC_BY_WEEKS); between
the two cited ends the log odds are taken as straight (assumption)."""

ACROSS_SHARE_OF_NONCEPHALIC = ((22.0, 0.40), (36.0, 27 / 130), (39.0, 0.10))
"""Share of transverse and oblique lies among non-cephalic: about two fifths at 22 weeks
(SCHEER_1976); 27 of 130 at 35-37 weeks (NASSAR_2006); at term 0.3 % transverse (common practice)
and as much oblique, of 6 %."""

OBLIQUE_SHARE_OF_ACROSS = 0.5

EARLIER_BIRTHS_ODDS = ((0, 1.36), (1, 0.70), (2, 0.61))
"""Odds ratio of breech against the average: 4.2 % in a first, 2.2 % in a second, 1.9 % in a
third pregnancy, 3.1 % in all (FORD_2010)."""

PREVIOUS_BREECH_ODDS = 3.2
"""Breech again after one breech (FORD_2010: 9.9 %, adjusted relative risk 3.2)."""

LITTLE_FLUID_ODDS = 1.42
"""Breech with oligohydramnios (MACHAREY_2017, adjusted odds ratio)."""

GRAND_MULTIPARA_ACROSS_ODDS = 10.0
"""Transverse lie after four births or more against none (WILLIAMS)."""

FACE_SHARE = 1 / 600
BROW_SHARE = 1 / 1500
"""Of cephalic presentations (WILLIAMS: face about 1 in 600; brow rarer, about 1 in 1500)."""

MILITARY_SHARE = 0.15
"""Of vertex presentations before and in early labour (assumption)."""

BREECH_KINDS = {
    Presentation.FRANK_BREECH: 0.65,
    Presentation.COMPLETE_BREECH: 0.10,
    Presentation.FOOTLING_BREECH: 0.25,
}
"""At term (WILLIAMS, ranges 50-70, 5-10, 10-30 %)."""

LOA_AT_ONSET = 155 / 1250
"""LOA at the onset of labour, nulliparae at term (AHMAD_2014); 61 of 629, 7.6-12.3 %, in the part
of them that was also palpated (WEBB_2011)."""

VERTEX_POSITIONS_AT_ONSET = {
    Position.ANTERIOR: 1 / 8,
    Position.LEFT_ANTERIOR: 1 / 8,
    Position.LEFT_TRANSVERSE: 1 / 8,
    Position.LEFT_POSTERIOR: 1 / 8,
    Position.POSTERIOR: 0.0,
}
"""At the onset of labour, until the head is deep: all eight alike, so that the findings
and nothing else rank them. That fits what is known: LOA 12.4 % (AHMAD_2014), posterior positions
about 35 % in early labour (AKMAL_2004) against our 37.5 %. Posterior takes what is left."""

VERTEX_POSITIONS_LOW = {
    Position.ANTERIOR: 0.38,
    Position.LEFT_ANTERIOR: 0.235,
    Position.LEFT_TRANSVERSE: 0.05,
    Position.LEFT_POSTERIOR: 0.015,
    Position.POSTERIOR: 0.0,
}
"""With the head deep in the pelvis: posterior about 5 % at birth (GARDBERG_1998); the split
of the rest is an assumption."""

LOW_WEIGHT = {5: 0.0, 4: 0.0, 3: 0.0, 2: 0.1, 1: 0.5, 0: 0.95}
"""How far the low table holds, by fifths above the brim (assumption)."""

FACE_POSITIONS = {"anterior": 0.65, "transverse": 0.12, "posterior": 0.23}
"""Mentum anterior, transverse, posterior (WILLIAMS, rounded)."""

SHOULDER_BACK_FRONT = 0.6
"""Dorsoanterior among transverse lies (OXORN)."""

DESCENT = {
    # fifths:          5     4     3     2     1     0
    "before 36 weeks": (0.80, 0.14, 0.045, 0.01, 0.004, 0.001),
    "before labour": (0.40, 0.27, 0.20, 0.10, 0.02, 0.01),
    "before labour, first birth": (0.25, 0.25, 0.25, 0.18, 0.05, 0.02),
    "first stage": (0.16, 0.24, 0.26, 0.20, 0.10, 0.04),
    "upper twin": (0.90, 0.06, 0.02, 0.01, 0.007, 0.003),
    "second stage": (0.02, 0.05, 0.11, 0.22, 0.30, 0.30),
}
"""Fifths above the brim by stage (common practice in direction, assumption in size): a first
birth engages before labour more often."""

BREECH_LAGS = 0.8
"""A breech stays higher: each fifth lower is so much rarer than for a head
(common practice in direction, assumption in size)."""


def _between(curve: Sequence[tuple[float, float]], weeks: float) -> float:
    """On the curve of log odds between cited points, level outside them."""
    if weeks <= curve[0][0]:
        return curve[0][1]
    for (w0, p0), (w1, p1) in pairwise(curve):
        if weeks <= w1:
            share = (weeks - w0) / (w1 - w0)
            start, end = math.log(p0 / (1 - p0)), math.log(p1 / (1 - p1))
            return 1 / (1 + math.exp(-(start + share * (end - start))))
    return curve[-1][1]


def cephalic_share(weeks: float | None) -> float:
    """Share of cephalic presentation at so many weeks; at 36 where the weeks are not known."""
    if weeks is None:
        return CEPHALIC_CURVE[1][1]
    return _between(CEPHALIC_CURVE, weeks)


def _births_odds(births: int | None) -> float:
    if births is None:
        return 1.0
    return EARLIER_BIRTHS_ODDS[min(births, 2)][1]


def _presentation_shares(context: ExamContext) -> dict[str, float]:
    """Shares of head, breech and across, summing to 1."""
    weeks = 36.0 if context.weeks is None else context.weeks
    if context.noncephalic_share is not None:
        non = context.noncephalic_share
        across = _between(ACROSS_SHARE_OF_NONCEPHALIC, weeks)
        return {"head": 1 - non, "breech": non * (1 - across), "across": non * across}
    head = cephalic_share(context.weeks)
    across = (1 - head) * _between(ACROSS_SHARE_OF_NONCEPHALIC, weeks)
    breech = 1 - head - across
    breech *= _births_odds(context.earlier_births)
    if context.previous_breech:
        breech *= PREVIOUS_BREECH_ODDS
    if context.fluid is Fluid.LITTLE:
        breech *= LITTLE_FLUID_ODDS
    if context.earlier_births is not None and context.earlier_births >= 4:
        across *= GRAND_MULTIPARA_ACROSS_ODDS
    whole = head + breech + across
    return {"head": head / whole, "breech": breech / whole, "across": across / whole}


def _eight(table: dict[Position, float]) -> tuple[float, ...]:
    """A table of the left and the middle to all eight, posterior taking what is left."""
    front = table[Position.ANTERIOR]
    sides = [
        table[p]
        for p in (Position.LEFT_ANTERIOR, Position.LEFT_TRANSVERSE, Position.LEFT_POSTERIOR)
    ]
    return (front, *sides, 1 - front - 2 * math.fsum(sides), *reversed(sides))


def vertex_positions_at_onset() -> tuple[float, ...]:
    """Shares of the eight positions of a vertex at the onset of labour, order of POSITIONS."""
    return _eight(VERTEX_POSITIONS_AT_ONSET)


def _vertex_positions(descent: int) -> tuple[float, ...]:
    """Shares of the eight positions at some fifths: the lower, the more turned to the front."""
    weight = LOW_WEIGHT[descent]
    pairs = zip(vertex_positions_at_onset(), _eight(VERTEX_POSITIONS_LOW), strict=True)
    return tuple((1 - weight) * high + weight * deep for high, deep in pairs)


def _descent_key(context: ExamContext) -> str:
    if context.upper_twin:
        return "upper twin"
    if context.stage is Stage.FIRST:
        return "first stage"
    if context.stage is Stage.SECOND:
        return "second stage"
    if context.weeks is not None and context.weeks < 36:
        return "before 36 weeks"
    return "before labour, first birth" if context.earlier_births == 0 else "before labour"


def _descent_shares(context: ExamContext, breech: bool, levels: int = 6) -> dict[int, float]:
    return _of_descent(_descent_key(context), breech, levels)


def _of_descent(key: str, breech: bool, levels: int) -> dict[int, float]:
    shares = list(DESCENT[key])
    if breech:
        shares = [share * BREECH_LAGS**i for i, share in enumerate(shares)]
    shares = shares[:levels]
    whole = math.fsum(shares)
    return {5 - i: share / whole for i, share in enumerate(shares)}


def _prior_of(state: State, context: ExamContext, shares: dict[str, float]) -> float:
    place = _POSITION_INDEX[state.position]
    if state.lie is not Lie.LONGITUDINAL:
        front = place in (1, 7)
        of_back = (SHOULDER_BACK_FRONT if front else 1 - SHOULDER_BACK_FRONT) / 2
        of_lie = (
            1 - OBLIQUE_SHARE_OF_ACROSS
            if state.lie is Lie.TRANSVERSE
            else OBLIQUE_SHARE_OF_ACROSS / 2
        )
        return shares["across"] * of_lie * of_back
    if state.presentation in BREECHES:
        return (
            shares["breech"]
            * BREECH_KINDS[state.presentation]
            / 8
            * _descent_shares(context, True)[state.descent]
        )
    if state.presentation is Presentation.FACE:
        way = ("anterior", "anterior", "transverse", "posterior", "posterior")[
            min(place, 8 - place)
        ]
        count = {"anterior": 3, "transverse": 2, "posterior": 3}[way]
        return (
            shares["head"]
            * FACE_SHARE
            * FACE_POSITIONS[way]
            / count
            * _descent_shares(context, False)[state.descent]
        )
    if state.presentation is Presentation.BROW:
        descent = _descent_shares(context, False, levels=3)[state.descent]
        return shares["head"] * BROW_SHARE / 8 * descent
    attitude = MILITARY_SHARE if state.attitude is Attitude.MILITARY else 1 - MILITARY_SHARE
    return (
        shares["head"]
        * (1 - FACE_SHARE - BROW_SHARE)
        * attitude
        * _descent_shares(context, False)[state.descent]
        * _vertex_positions(state.descent)[place]
    )


_POSITION_INDEX = {position: i for i, position in enumerate(POSITIONS)}


@lru_cache(maxsize=256)
def prior(context: ExamContext) -> FloatArray:
    """Share of each state before any finding, shape (number of states,), summing to one."""
    shares = _presentation_shares(context)
    made = np.array([_prior_of(state, context, shares) for state in states()])
    made = (made + made[mirror_order()]) / 2
    made = np.asarray(made / np.sort(made).sum(), dtype=np.float64)
    made.setflags(write=False)
    return made


def prior_notes(context: ExamContext) -> tuple[Basis, ...]:
    """What the prior of this context rests on, and what was left neutral."""
    notes = []
    if context.noncephalic_share is not None:
        notes.append(
            Basis(
                "presentation",
                f"prevalence of non-cephalic presentation as given: "
                f"{100 * context.noncephalic_share:g} %",
                ASSUMPTION,
            )
        )
    else:
        weeks = context.weeks
        said = (
            "weeks not given, taken as 36 or more"
            if weeks is None
            else f"{weeks_words(weeks)} weeks"
        )
        text = f"{said}: cephalic in {100 * cephalic_share(weeks):.0f} %"
        if weeks is not None and weeks < CEPHALIC_CURVE[0][0]:
            text += " (the source begins at 22 weeks, level before)"
        notes.append(Basis("presentation", text, CEPHALIC_BY_WEEKS))
        if context.earlier_births is not None:
            notes.append(
                Basis(
                    "earlier births",
                    f"odds of breech x {_births_odds(context.earlier_births):g}",
                    FORD_2010,
                )
            )
            if context.earlier_births >= 4:
                notes.append(
                    Basis(
                        "earlier births",
                        f"odds of a transverse lie x {GRAND_MULTIPARA_ACROSS_ODDS:g}",
                        WILLIAMS,
                    )
                )
        if context.previous_breech:
            notes.append(
                Basis("earlier breech", f"odds of breech x {PREVIOUS_BREECH_ODDS:g}", FORD_2010)
            )
        if context.fluid is Fluid.LITTLE:
            notes.append(Basis("fluid", f"odds of breech x {LITTLE_FLUID_ODDS:g}", MACHAREY_2017))
    if context.fluid is Fluid.MUCH:
        notes.append(
            Basis(
                "fluid",
                "much fluid dulls the hands; no figure for how it shifts the presentation was at "
                "hand, left neutral",
                PRACTICE,
            )
        )
    if context.placenta in (Placenta.LOW, Placenta.PRAEVIA):
        notes.append(
            Basis(
                "placenta",
                "a low placenta keeps the pole out of the pelvis; no figure was at hand, left "
                "neutral: think of it with every high presenting part",
                PRACTICE,
            )
        )
    notes.append(
        Basis(
            "position of a vertex",
            "all eight alike at the onset; LOA was 155 of 1250",
            AHMAD_2014,
        )
    )
    notes.append(Basis("position of a vertex", "about 35 % posterior", AKMAL_2004))
    notes.append(Basis("position of a vertex, deep", "about 5 % posterior", GARDBERG_1998))
    notes.append(Basis("position of a breech or brow", "all eight alike", ASSUMPTION))
    notes.append(Basis("transverse and oblique lie", "share at 22 weeks", SCHEER_1976))
    notes.append(
        Basis("transverse and oblique lie", "27 of 130 non-cephalic at 36 weeks", NASSAR_2006)
    )
    notes.append(Basis("transverse lie", "back to the front in 60 %", OXORN))
    notes.append(Basis("descent", f"shares '{_descent_key(context)}'", ASSUMPTION))
    return tuple(notes)
