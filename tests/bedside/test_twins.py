"""Two fetuses on one abdomen."""

from __future__ import annotations

import math

import pytest

from ebbline import codec
from ebbline.bedside import ExamContext, TwinResult, examine_twins
from ebbline.bedside.sensors import TWIN_APART_CM
from ebbline.errors import ExaminationError
from ebbline.terms import Stage

LABOUR = ExamContext(weeks=37, stage=Stage.FIRST)


def test_the_first_twin_is_head_first_in_four_of_five():
    """Chervenak FA, et al. 1985 (from memory): 42.5 % both, 38.4 % the first alone."""
    result = examine_twins({}, {}, LABOUR)
    assert 1 - result.first.noncephalic == pytest.approx(0.809, abs=0.001)
    both = 0.425 / 0.809
    assert 1 - result.second.noncephalic == pytest.approx(0.809 * both + 0.191 * 0.5, abs=0.01)


@pytest.mark.parametrize(
    ("first", "second"),
    [
        ({}, {}),
        ({"back": "left"}, {"back": "left"}),
        ({"heart": "left below"}, {"heart": "left level"}),
        ({"heart": "left below"}, {"heart": "right above"}),
    ],
)
def test_the_two_sites_are_never_the_same_place(first, second):
    result = examine_twins(first, second, LABOUR)
    one, other = result.first.sensors.best.point, result.second.sensors.best.point
    apart = math.hypot(one.x_cm - other.x_cm, one.y_cm - other.y_cm)
    assert apart >= TWIN_APART_CM - 1e-9
    assert result.apart_cm == pytest.approx(apart)


def test_each_twin_is_sought_on_its_own_side():
    result = examine_twins({"heart": "left below"}, {"heart": "right above"}, LABOUR)
    assert result.first.sensors.best.point.x_cm > 0
    assert result.second.sensors.best.point.x_cm < 0


def test_what_is_felt_at_the_brim_is_the_lower_twins():
    with pytest.raises(ExaminationError, match="lower twin"):
        examine_twins({}, {"brim": "head"}, LABOUR)


def test_nothing_at_the_brim_is_proposed_for_the_upper_twin():
    result = examine_twins({}, {}, LABOUR)
    names = {s.item for s in result.second.next_steps} | set(result.second.not_examined)
    assert not names & {"brim", "fifths", "mobility", "prominence", "station", "part"}
    assert "fifths" in {s.item for s in result.first.next_steps}


def test_twins_are_told_to_compare_the_two_rates():
    assert "two rates differ" in " ".join(examine_twins({}, {}).notes)


def test_twins_are_saved_and_read_back():
    result = examine_twins({"back": "left"}, {"back": "right"}, LABOUR)
    again = codec.from_json(TwinResult, codec.to_json(result))
    assert codec.to_data(again) == codec.to_data(result)
