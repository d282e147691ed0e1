"""Where the heart is heard, against common practice (no published measurement)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from bedside.handbook import AROUND, back_of
from ebbline.bedside import Abdomen, ExamContext, Point, State, states
from ebbline.bedside.geometry import abdomen_for, heart_zone, site, spots
from ebbline.bedside.sensors import contraction_site, drift, plan, site_map
from ebbline.bedside.states import mirror_order, mirrored
from ebbline.terms import Attitude, Lie, Position, Presentation

TERM = abdomen_for(ExamContext(weeks=40))
BREECHES = (
    Presentation.FRANK_BREECH,
    Presentation.COMPLETE_BREECH,
    Presentation.FOOTLING_BREECH,
)


def side(point: Point) -> str:
    return "left" if point.x_cm > 0.5 else "right" if point.x_cm < -0.5 else "midline"


def side_of(word: str) -> str:
    return "left" if "left" in word else "right" if "right" in word else "midline"


def only(state: State) -> np.ndarray:
    now = np.zeros(len(states()))
    now[states().index(state)] = 1.0
    return now


LONGITUDINAL = [s for s in states() if s.lie is Lie.LONGITUDINAL]


@pytest.mark.parametrize("presentation", [Presentation.VERTEX, *BREECHES], ids=lambda p: p.value)
def test_vertex_and_breech_are_heard_on_the_side_of_the_back(presentation):
    for state in (s for s in LONGITUDINAL if s.presentation is presentation):
        back = back_of(state)
        if back != "rear":
            assert side(site(state, TERM)) == side_of(back), state


def test_a_face_is_heard_on_the_side_of_the_limbs():
    for state in (s for s in LONGITUDINAL if s.presentation is Presentation.FACE):
        limbs = AROUND[(AROUND.index(back_of(state)) + 4) % 8]
        if limbs != "rear":
            assert side(site(state, TERM)) == side_of(limbs), state


def test_a_back_to_the_rear_is_heard_in_either_flank():
    for state in (s for s in LONGITUDINAL if s.abbreviation in ("OP", "SP")):
        found = {round(s.across, 3) for s in spots(state)}
        assert found == {-x for x in found}
        assert side(site(state, TERM)) == "left"
        assert side(site(state, TERM, towards=-1)) == "right"


def test_a_head_is_heard_below_the_umbilicus_and_a_breech_at_or_above_it():
    for state in LONGITUDINAL:
        height = site(state, TERM).y_cm
        if state.cephalic:
            assert height < -2, state
        else:
            assert height >= -0.5, state


def test_a_lie_across_is_heard_near_the_umbilicus():
    across = [s for s in states() if s.lie is not Lie.LONGITUDINAL]
    assert len(across) == 12
    for state in across:
        point = site(state, TERM)
        assert math.hypot(point.x_cm, point.y_cm) < 6, state


@pytest.mark.parametrize("letters", ["LOA", "ROA"])
def test_an_anterior_vertex_is_heard_midway_to_the_iliac_spine(letters):
    state = next(s for s in states() if s.abbreviation == letters and s.descent == 5)
    name = "left" if letters[0] == "L" else "right"
    spine = TERM.landmarks[f"{name} anterior superior iliac spine"]
    point = site(state, TERM)
    assert math.hypot(point.x_cm - spine.x_cm / 2, point.y_cm - spine.y_cm / 2) < 2.5


def test_the_more_the_back_looks_to_the_rear_the_further_out_it_is_heard():
    found = [
        site(next(s for s in states() if s.abbreviation == a and s.descent == 5), TERM).x_cm
        for a in ("OA", "LOA", "LOT", "LOP")
    ]
    assert found == sorted(found)
    assert heart_zone(Point(found[-1], -5), TERM) == "left flank below"


def test_with_descent_the_site_never_rises_and_never_moves_out():
    for state in (s for s in LONGITUDINAL if s.descent > 0):
        lower = next(
            (
                s
                for s in LONGITUDINAL
                if s.descent == state.descent - 1
                and (s.presentation, s.position, s.attitude)
                == (state.presentation, state.position, state.attitude)
            ),
            None,
        )
        if lower is not None:
            here, there = site(state, TERM), site(lower, TERM)
            assert there.y_cm < here.y_cm
            assert abs(there.x_cm) <= abs(here.x_cm)


def test_the_best_point_of_a_certain_state_lies_at_its_site():
    for state in states():
        if state.presentation is Presentation.BROW or state.abbreviation in ("OP", "SP", "MP"):
            continue
        best = plan(only(state), TERM).best.point
        there = site(state, TERM)
        assert math.hypot(best.x_cm - there.x_cm, best.y_cm - there.y_cm) < 1.5, state


def test_the_map_sums_to_one_and_stays_on_the_uterus():
    for state in states()[::17]:
        made = site_map(only(state), TERM)
        assert math.isclose(made.weights.sum(), 1.0)
        for row, y in zip(made.weights, made.y_cm, strict=True):
            outside = np.abs(made.x_cm) > TERM.half_width_cm(float(y))
            assert not row[outside].any()


def test_a_mirrored_state_has_the_mirrored_site_to_the_last_bit():
    for state in states():
        here, there = site(state, TERM), site(mirrored(state), TERM, towards=-1)
        assert (there.x_cm, there.y_cm) == (-here.x_cm, here.y_cm)


def test_mirrored_probabilities_give_the_mirrored_map_to_the_last_bit():
    chance = np.random.default_rng(7)
    for _ in range(5):
        now = chance.dirichlet(np.full(len(states()), 0.05))
        one = site_map(now, TERM).weights
        other = site_map(now[mirror_order()], TERM).weights
        assert np.array_equal(one[:, ::-1], other)


def test_sites_shrink_with_the_uterus():
    small = Abdomen(26.0, 86.0, -18.0, ())
    loa = next(s for s in states() if s.abbreviation == "LOA" and s.descent == 5)
    assert site(loa, small).x_cm < site(loa, TERM).x_cm
    assert site(loa, small).y_cm < site(loa, TERM).y_cm


def test_the_drift_of_a_posterior_position_goes_down_in_and_forward():
    rop = next(s for s in states() if s.abbreviation == "ROP" and s.descent == 4)
    path = drift(rop, TERM)
    assert [p.fifths for p in path] == [4, 3, 2, 1, 0]
    assert path[0].position == "ROP"
    assert path[-1].position == "ROA"
    assert path[-1].point.y_cm < path[0].point.y_cm
    assert abs(path[-1].point.x_cm) < abs(path[0].point.x_cm)
    assert all(p.point.x_cm < 0 for p in path)


def test_a_lie_across_does_not_drift():
    across = next(s for s in states() if s.lie is Lie.TRANSVERSE)
    assert drift(across, TERM) == ()


def test_the_contraction_sensor_lies_on_the_upper_uterus_towards_the_back():
    loa = next(
        s
        for s in states()
        if (s.presentation, s.position, s.attitude, s.descent)
        == (Presentation.VERTEX, Position.LEFT_ANTERIOR, Attitude.FLEXED, 3)
    )
    here = contraction_site(only(loa), TERM).point
    there = contraction_site(only(mirrored(loa)), TERM).point
    assert TERM.up(0.75) < here.y_cm < TERM.fundus_y_cm
    assert here.x_cm > 0
    assert (there.x_cm, there.y_cm) == (-here.x_cm, here.y_cm)


def test_when_both_sides_are_alike_the_fallback_is_on_the_other_side():
    both = next(s for s in states() if s.abbreviation == "OP" and s.descent == 5)
    made = plan(only(both), TERM)
    assert made.both_sides_alike
    assert made.fallback is not None
    assert made.fallback.point.x_cm * made.best.point.x_cm < 0


def test_what_was_not_measured_is_named():
    assert abdomen_for(ExamContext()).assumed == (
        "fundal height",
        "girth",
        "distance from symphysis to umbilicus",
    )
    measured = ExamContext(fundal_height_cm=34, girth_cm=104, symphysis_to_umbilicus_cm=17)
    assert abdomen_for(measured).assumed == ()
