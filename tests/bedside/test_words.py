"""Findings as words: known ones are taken, misspelt ones get a hint, nothing is guessed."""

from __future__ import annotations

import pytest

from ebbline.bedside import (
    ExamContext,
    Examiner,
    Finding,
    examine,
    examiner_for_years,
    items,
)
from ebbline.bedside.findings_catalogue import finding, findings_from
from ebbline.errors import ExaminationError


@pytest.mark.parametrize("name", list(items()))
def test_every_answer_that_is_offered_is_taken(name):
    for answer in items()[name].answers:
        assert finding(name, answer) == Finding(name, answer)
        assert items()[name].covered(answer)


@pytest.mark.parametrize("name", list(items()))
def test_every_item_tells_what_to_ask_and_how(name):
    assert items()[name].question.endswith("?")
    assert items()[name].how


@pytest.mark.parametrize(
    ("item", "answer", "taken"),
    [
        ("Fundus", "BREECH", Finding("fundus", "breech")),
        ("heart", "left-below", Finding("heart", "left below")),
        ("posterior_fontanelle", "left anterior", Finding("posterior-fontanelle", "left anterior")),
        ("position", "loa", Finding("position", "left front")),
        ("position", "ROP", Finding("position", "right rear")),
        ("position", "OP", Finding("position", "rear")),
        ("position", "RSA", Finding("position", "right front")),
        ("position", "LMA", Finding("position", "right rear")),
        ("station", "-2", Finding("station", "-2")),
        ("station", "2", Finding("station", "2")),
    ],
)
def test_capitals_hyphens_and_letters_of_the_trade_are_understood(item, answer, taken):
    assert finding(item, answer) == taken


def test_letters_tell_what_presents_too():
    assert findings_from({"position": "LSA"}) == (
        Finding("presentation", "breech"),
        Finding("position", "left front"),
    )
    told = findings_from({"position": "LOA", "presentation": "breech"})
    assert Finding("presentation", "breech") in told


@pytest.mark.parametrize("answer", ["not examined", "unknown", "", "not-examined"])
def test_not_examined_is_no_finding(answer):
    assert finding("fundus", answer) is None


def test_not_felt_and_not_examined_differ():
    context = ExamContext(weeks=39, examiner=Examiner.EXPERIENCED)
    felt_nothing = examine({"back": "not felt"}, context)
    not_examined = examine({"back": "not examined"}, context)
    assert "back" in not_examined.not_examined
    assert "back" not in felt_nothing.not_examined

    def to_the_rear(result):
        return sum(c.probability for c in result.back if "rear" in c.word)

    assert to_the_rear(felt_nothing) > 1.2 * to_the_rear(not_examined)


@pytest.mark.parametrize(
    ("item", "answer", "hint"),
    [
        ("fundis", "head", "fundus"),
        ("fundus", "breach", "breech"),
        ("heart", "left bellow", "left below"),
        ("mobility", "floatin", "floating"),
        ("position", "LOX", "Choose one of"),
    ],
)
def test_misspelt_words_get_a_hint(item, answer, hint):
    with pytest.raises(ExaminationError, match=hint):
        examine({item: answer})


def test_two_answers_to_one_item_are_refused():
    with pytest.raises(ExaminationError, match="two answers"):
        examine([("fundus", "head"), ("fundus", "breech")])


def test_the_same_answer_twice_counts_once():
    assert findings_from([("fundus", "head"), ("fundus", "head")]) == (Finding("fundus", "head"),)


@pytest.mark.parametrize(
    "wrong",
    [
        {"weeks": 60},
        {"weeks": float("nan")},
        {"earlier_births": -1},
        {"fetuses": 3},
        {"fundal_height_cm": 400},
        {"girth_cm": -90},
        {"noncephalic_share": 1.5},
    ],
)
def test_numbers_that_cannot_be_are_refused(wrong):
    with pytest.raises(ExaminationError, match="cannot be"):
        ExamContext(**wrong)


def test_years_of_practice_choose_the_examiner():
    """More than five years count as experienced (Webb SS, et al.)."""
    assert examiner_for_years(5) is Examiner.ORDINARY
    assert examiner_for_years(5.5) is Examiner.EXPERIENCED
    assert examiner_for_years(0.5) is Examiner.LEARNING
    with pytest.raises(ExaminationError):
        examiner_for_years(-1)
