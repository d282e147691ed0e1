"""Fundal height for dates, and Johnson's weight, on worked numbers."""

from __future__ import annotations

import pytest

from ebbline.bedside import ExamContext, examine
from ebbline.bedside.growth import ForDates, HeadHeight, fundal_height_for_dates, johnson_weight


@pytest.mark.parametrize(
    ("height", "weeks", "verdict"),
    [
        (30, 30, ForDates.AS_EXPECTED),
        (28, 30, ForDates.AS_EXPECTED),
        (32, 30, ForDates.AS_EXPECTED),
        (27.9, 30, ForDates.SMALL),
        (32.1, 30, ForDates.LARGE),
        (20, 20, ForDates.AS_EXPECTED),
        (19, 19, ForDates.NOT_COMPARABLE),
        (35, 39, ForDates.NOT_COMPARABLE),
    ],
)
def test_fundal_height_is_the_weeks_give_or_take_two(height, weeks, verdict):
    """McDonald's rule, from 20 to 36 weeks (common practice, no source)."""
    assert fundal_height_for_dates(height, weeks).verdict is verdict


def test_the_rule_is_for_one_fetus():
    assert fundal_height_for_dates(36, 30, fetuses=2).verdict is ForDates.NOT_COMPARABLE


@pytest.mark.parametrize(
    ("head", "grams"),
    [
        (HeadHeight.FLOATING, (33 - 13) * 155),
        (HeadHeight.AT_THE_SPINES, (33 - 12) * 155),
        (HeadHeight.BELOW_THE_SPINES, (33 - 11) * 155),
    ],
)
def test_johnsons_rule_with_13_12_11(head, grams):
    """(fundal height - n) x 155 g (from memory)."""
    assert johnson_weight(33, head)[0].grams == grams


def test_the_older_variant_takes_a_centimetre_off_for_a_heavy_mother():
    """Johnson RW, Toshach CE. 1954 (from memory)."""
    light = johnson_weight(36, HeadHeight.AT_THE_SPINES, 70)[1]
    heavy = johnson_weight(36, HeadHeight.AT_THE_SPINES, 95)[1]
    assert light.grams - heavy.grams == 155
    assert "from memory" in light.source


def test_the_weight_says_which_variant_and_how_far_it_errs():
    context = ExamContext(weeks=39, fundal_height_cm=35)
    growth = examine({"brim": "head", "fifths": "5"}, context).growth
    assert {w.head for w in growth.weights} == {HeadHeight.FLOATING}
    assert len({w.variant for w in growth.weights}) == 2
    assert all(w.error_g > 0 and "x 155 g" in w.rule for w in growth.weights)


@pytest.mark.parametrize(
    ("context", "why"),
    [
        (ExamContext(weeks=39), "not measured"),
        (ExamContext(weeks=30, fundal_height_cm=30), "last weeks"),
        (ExamContext(weeks=38, fundal_height_cm=40, fetuses=2), "one fetus"),
    ],
)
def test_no_weight_is_given_where_the_rule_is_not_for(context, why):
    growth = examine({"brim": "head"}, context).growth
    assert growth.weights == ()
    assert any(why in note for note in growth.notes)


def test_no_weight_is_given_for_a_breech():
    context = ExamContext(weeks=39, fundal_height_cm=35, noncephalic_share=0.4)
    assert examine({"presentation": "breech"}, context).growth.weights == ()
