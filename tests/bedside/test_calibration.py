"""The model gives the cited studies' figures back, by the study's examiner and prevalence."""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from ebbline.bedside import ExamContext, Examiner, examine
from ebbline.bedside.accuracy import STUDIES
from ebbline.bedside.calibration import calibration, calibration_table, implied, outside, wilson

ROWS = {row.study.name: row for row in calibration()}


def as_printed(value: float) -> int:
    return math.floor(value + 0.5)


def test_thorp_1991():
    """Thorp JM, Jenkins T, Watson W. Obstet Gynecol 1991;78:394-6: 28, 94, 24, 95 % at 7 %."""
    model = ROWS["Thorp 1991"].model
    assert ROWS["Thorp 1991"].prevalence == pytest.approx(7.0)
    assert [
        as_printed(v) for v in (model.sensitivity, model.specificity, model.ppv, model.npv)
    ] == [28, 94, 24, 95]


def test_nassar_2006():
    """Nassar N, et al. BMJ 2006;333:578-80 (from memory): 70, 95, 55, 97 % at 8 %."""
    model = ROWS["Nassar 2006"].model
    assert ROWS["Nassar 2006"].prevalence == pytest.approx(8.0)
    assert [
        as_printed(v) for v in (model.sensitivity, model.specificity, model.ppv, model.npv)
    ] == [70, 95, 55, 97]


def test_lydon_rochelle_1993():
    """Lydon-Rochelle M, et al. J Nurse Midwifery 1993;38:264-8 (from memory): 88 and 94 %."""
    model = ROWS["Lydon-Rochelle 1993"].model
    assert (as_printed(model.sensitivity), as_printed(model.specificity)) == (88, 94)


def test_webb_loa():
    """Webb SS, et al. 2009/2011: LOA in 61 of 629, sensitivity 34 %, specificity 71 %, LR+ 1.2."""
    row = ROWS["Webb 2009/2011"]
    assert row.study.prevalence == pytest.approx(100 * 61 / 629)
    assert (as_printed(row.model.sensitivity), as_printed(row.model.specificity)) == (34, 71)
    assert round(row.model.lr_positive, 1) == 1.2
    assert row.model.ppv == pytest.approx(row.implied.ppv, abs=0.05)
    assert row.model.npv == pytest.approx(row.implied.npv, abs=0.05)


def test_thorps_rounded_figures_do_not_give_each_other():
    """28 %, 94 % and 7 % give a PPV of 26 %, not the printed 24 %."""
    by_bayes = implied(STUDIES["thorp"])
    assert (as_printed(by_bayes.ppv), as_printed(by_bayes.npv)) == (26, 95)


@pytest.mark.parametrize("name", ["thorp", "nassar", "lydon-rochelle", "webb"])
def test_what_is_used_of_a_study_rounds_to_what_it_printed(name):
    study = STUDIES[name]
    assert as_printed(100 * study.sensitivity_used) == study.sensitivity
    assert as_printed(100 * study.specificity_used) == study.specificity


@pytest.mark.parametrize("name", ["Thorp 1991", "Nassar 2006", "Lydon-Rochelle 1993"])
def test_the_grips_together_are_as_accurate_as_the_conclusion(name):
    """They serve the same perception; where they disagree among themselves a little is lost."""
    row = ROWS[name]
    assert row.grips is not None
    assert row.grips.sensitivity == pytest.approx(row.model.sensitivity, abs=2.5)
    assert row.grips.specificity == pytest.approx(row.model.specificity, abs=0.5)
    assert row.grips.ppv == pytest.approx(row.model.ppv, abs=2.0)
    assert row.grips.npv == pytest.approx(row.model.npv, abs=0.5)


@pytest.mark.parametrize(
    ("examiner", "share", "ppv", "npv"),
    [(Examiner.LEARNING, 0.07, 0.24, 0.95), (Examiner.ORDINARY, 0.08, 0.55, 0.97)],
)
def test_a_full_examination_that_agrees_comes_to_the_studys_predictive_values(
    examiner, share, ppv, npv
):
    """Two or three grips that agree must not be believed more than the study's conclusion."""
    context = ExamContext(weeks=39, examiner=examiner, noncephalic_share=share)
    against = examine({"fundus": "head", "brim": "breech", "poles": "none"}, context)
    for_it = examine({"fundus": "breech", "brim": "head", "poles": "none"}, context)
    assert against.noncephalic == pytest.approx(ppv, abs=0.03)
    assert 1 - for_it.noncephalic == pytest.approx(npv, abs=0.006)


def test_more_than_five_years_raise_the_odds_of_finding_loa_about_fourfold():
    """Webb: odds ratio 4.02 of the sensitivity, shared out over two halves; none of specificity."""
    from ebbline.bedside.accuracy import SKILLS

    found = SKILLS[Examiner.EXPERIENCED].position
    assert found is not None
    experienced, specificity = found
    other = 2 * 0.34 - experienced
    odds = experienced / (1 - experienced) / (other / (1 - other))
    assert odds == pytest.approx(4.02)
    assert specificity == 0.71


def test_a_study_that_was_not_used_is_held_against_the_model():
    """Rueangchainikhom 2010, 1528 women: 63.2 +/- 10.8, 93.35 +/- 1.25, 34.0 +/- 7.8, 98.0 +/- 0.7.

    What the model misses is said on the page; what it meets must not be lost.
    """
    row = ROWS["Rueangchainikhom 2010"]
    assert not row.an_entry
    assert set(outside(row)) <= {"specificity", "PPV"}
    assert row.model.sensitivity == pytest.approx(63.17, abs=10.84)
    assert row.model.npv == pytest.approx(97.98, abs=0.74)
    assert row.printed.ppv == pytest.approx(34, abs=0.5)


def test_published_intervals_are_given_back_by_wilsons_formula():
    """Nassar 2006: 70 % (62-78) of 130, 95 % (94-96) of 1503."""
    assert wilson(70, 130) == pytest.approx((62, 78), abs=0.9)
    assert wilson(95, 1503) == pytest.approx((94, 96), abs=0.5)


def test_lydon_rochelle_gives_its_predictive_values_back():
    """Birth 1993;20:132-5: 150 women, 17 %: PPV 74, NPV 97."""
    row = ROWS["Lydon-Rochelle 1993"]
    assert row.prevalence == 17
    assert row.model.ppv == pytest.approx(74, abs=1.1)
    assert row.model.npv == pytest.approx(97, abs=0.6)


def test_the_table_is_printed_with_published_implied_and_model_figures():
    text = calibration_table()
    assert "| Thorp 1991 (learning) | non-cephalic | 7.0 | published | 28 | 94 | 24 | 95 |" in text
    assert "70 (62-78) | 95 (94-96)" in text
    assert "by Bayes from the rounded figures | 28.0 | 94.0 | 26.0 | 94.5" in text


def test_the_page_shows_the_table_as_it_is_printed():
    page = (Path(__file__).parents[2] / "docs" / "calibration.md").read_text(encoding="utf-8")
    assert calibration_table() in page
