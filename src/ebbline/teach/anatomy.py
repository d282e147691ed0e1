"""A case's body: its abdomen, how the fetus lies in it, where the heart is, what hinders hands."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from ebbline.bedside import context as exam
from ebbline.bedside import geometry
from ebbline.bedside.sensors import CONTRACTION_BELOW_FUNDUS, plan
from ebbline.bedside.states import Pole, State, states
from ebbline.errors import ScenarioError
from ebbline.synth.scenario_parts import Point
from ebbline.teach.case import Case, Fetus, Fluid, Placenta, Sign, Wall
from ebbline.terms import Attitude, Lie, Position, Presentation, Stage

WALL_CM = {Wall.THIN: 1.5, Wall.AVERAGE: 2.5, Wall.THICK: 6.0}
HEART_UNDER_WALL_CM = 5.5
"""Depth of the fetal heart under the inner face of the wall, back in front (assumption)."""

DEEPER_CM = (0.0, 0.0, 0.5, 1.5, 2.0)
"""How much deeper it lies as the carrying side turns away, by eighths from the front
(assumption)."""

_EXAMINERS = {
    1: exam.Examiner.TEXTBOOK,
    2: exam.Examiner.TEXTBOOK,
    3: exam.Examiner.EXPERIENCED,
    4: exam.Examiner.ORDINARY,
    5: exam.Examiner.ORDINARY,
}
"""Whose published accuracy the hands have, by the case's difficulty."""

STANDARD_FETUS = Fetus(
    presentation=Presentation.VERTEX,
    position=Position.LEFT_ANTERIOR,
    attitude=Attitude.FLEXED,
    fifths=3,
)
"""How the fetus lies in a case that does not say because it asks only for the strip."""


@dataclass(frozen=True, slots=True)
class Body:
    """The abdomen. wall_cm: thickness; fundus: where it hardens most (midline, the same depth
    under the top as the examination's contraction site)."""

    abdomen: geometry.Abdomen
    wall_cm: float
    fundus: Point


def contraction_sites(case: Case, fetus: Fetus | None) -> tuple[Point, ...]:
    """The good places of the contraction sensor: the examination's, and the midline beside it."""
    abdomen = body(case).abdomen
    best = _contraction_point(state_of(fetus or STANDARD_FETUS), abdomen)
    return (best, body(case).fundus)


@lru_cache(maxsize=256)
def _contraction_point(state: State, abdomen: geometry.Abdomen) -> Point:
    certain = np.array([1.0 if one == state else 0.0 for one in states()])
    found = plan(certain, abdomen).contraction.point
    return Point(found.x_cm, found.y_cm)


@dataclass(frozen=True, slots=True)
class HeartSite:
    """Where the heart is heard best, and how deep it lies."""

    at: Point
    depth_cm: float
    spots: tuple[Point, ...]


def state_of(fetus: Fetus) -> State:
    """The examination's state for how a fetus lies. Raises ScenarioError where there is none."""
    attitude = fetus.true_attitude or Attitude.FLEXED
    pole = {"head": Pole.HEAD, "breech": Pole.BREECH, None: None}[fetus.lower_pole]
    for state in states():
        if (
            state.lie is fetus.lie
            and state.presentation is fetus.presentation
            and state.position is fetus.position
            and state.attitude is attitude
            and state.descent == (fetus.fifths if fetus.lie is Lie.LONGITUDINAL else 5)
            and (pole is None or state.lower_pole is pole)
        ):
            return state
    raise ScenarioError(
        f"a {fetus.presentation} presentation, {fetus.position}, {fetus.fifths}/5 cannot be.",
        where="fetus",
        remedy="A brow does not come below 3/5; check position, attitude and fifths.",
    )


def context_of(case: Case, *, examiner: exam.Examiner | None = None) -> exam.ExamContext:
    """What the examination knows of the case. examiner: default by the case's difficulty."""
    mother = case.mother
    hindrances = []
    if mother.abdominal_wall is Wall.THICK:
        hindrances.append(exam.Hindrance.THICK_WALL)
    if mother.tense_uterus:
        hindrances.append(exam.Hindrance.TENSE_UTERUS)
    if mother.placenta is Placenta.ANTERIOR:
        hindrances.append(exam.Hindrance.FRONT_PLACENTA)
    return exam.ExamContext(
        weeks=mother.weeks,
        earlier_births=mother.parity,
        stage=case.labour.stage if case.labour else Stage.ANTEPARTUM,
        placenta={
            Placenta.LOW: exam.Placenta.LOW,
            Placenta.PRAEVIA: exam.Placenta.PRAEVIA,
            Placenta.UNKNOWN: exam.Placenta.UNKNOWN,
        }.get(mother.placenta, exam.Placenta.NOT_LOW),
        fluid={
            Fluid.REDUCED: exam.Fluid.LITTLE,
            Fluid.NORMAL: exam.Fluid.NORMAL,
            Fluid.INCREASED: exam.Fluid.MUCH,
        }[mother.fluid],
        membranes=exam.Membranes.RUPTURED if mother.membranes_ruptured else exam.Membranes.INTACT,
        bleeding=Sign.BLEEDING in case.signs,
        examiner=examiner or _EXAMINERS[case.difficulty],
        hindrances=tuple(hindrances),
        fundal_height_cm=mother.fundal_height_cm,
        girth_cm=mother.girth_cm,
        fetuses=2 if case.second_twin is not None else 1,
    )


def body(case: Case) -> Body:
    """The abdomen of a case."""
    abdomen = geometry.abdomen_for(context_of(case))
    top = abdomen.fundus_y_cm
    return Body(
        abdomen=abdomen,
        wall_cm=WALL_CM[case.mother.abdominal_wall],
        fundus=Point(0.0, top - CONTRACTION_BELOW_FUNDUS * abdomen.fundal_height_cm),
    )


def heart_site(case: Case, fetus: Fetus | None) -> HeartSite:
    """Where the heart of this fetus is heard best on this abdomen."""
    state = state_of(fetus or STANDARD_FETUS)
    abdomen = body(case).abdomen
    best = geometry.site(state, abdomen)
    return HeartSite(
        at=Point(best.x_cm, best.y_cm),
        depth_cm=HEART_UNDER_WALL_CM
        + WALL_CM[case.mother.abdominal_wall]
        + DEEPER_CM[_eighths_from_front(state)],
        spots=tuple(
            Point(abdomen.across(spot.across), abdomen.up(spot.up))
            for spot in geometry.spots(state)
        ),
    )


TWINS_APART_CM = 9.0
"""The upper twin's heart is heard at least so far from the first's (the examination looks for it
from 8 cm on)."""


def second_heart_site(case: Case, fetus: Fetus, first: HeartSite) -> HeartSite:
    """Where the upper twin's heart is heard best: its own site, kept apart from the first's."""
    own = heart_site(case, fetus)
    apart = nearest_cm(own.at, first.spots)
    if apart >= TWINS_APART_CM:
        return own
    side = -1.0 if first.at.x_cm > 0 else 1.0
    moved = Point(side * max(5.0, abs(own.at.x_cm)), first.at.y_cm + TWINS_APART_CM)
    return HeartSite(moved, own.depth_cm, (moved,))


def _eighths_from_front(state: State) -> int:
    back = state.back
    if back is None:
        return 1 if state.position.value.endswith("anterior") else 3
    if state.presentation is Presentation.FACE:
        back = (back + 4) % 8  # the chest carries the sound
    return min(back, 8 - back)


def nearest_cm(place: Point, places: tuple[Point, ...]) -> float:
    """Distance to the nearest of some places, cm."""
    return min(math.hypot(place.x_cm - p.x_cm, place.y_cm - p.y_cm) for p in places)
