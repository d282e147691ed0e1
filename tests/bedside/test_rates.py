"""How the examination behaves over many: quiet where nothing is wrong, honest about what it misses.

The rates themselves are measured by `python -m bench.exam_rates`; here they are held to the aims,
on seeds of their own, with the chance of so few draws granted.
"""

from __future__ import annotations

import pytest

from ebbline.bedside import ExamContext, Examiner, Hindrance
from ebbline.bedside.policy.scan import load_scan
from ebbline.bedside.simulation import drawn_examinations
from ebbline.errors import PolicyError

DRAWN = 400
TWO_ERRORS = 2 * (0.15 * 0.85 / DRAWN) ** 0.5


@pytest.mark.parametrize(
    ("examiner", "hindrances"),
    [
        (Examiner.LEARNING, ()),
        (Examiner.ORDINARY, ()),
        (Examiner.EXPERIENCED, (Hindrance.THICK_WALL,)),
    ],
)
def test_few_true_vertices_meet_a_contradiction(examiner, hindrances):
    """The aim is under 5 % in the long run; 150 draws are granted two standard errors."""
    context = ExamContext(weeks=39, examiner=examiner, hindrances=hindrances)
    drawn = drawn_examinations(context, 150, seed=77)
    assert drawn.contradicted <= 0.05 + 2 * (0.05 * 0.95 / 150) ** 0.5


def test_at_most_fifteen_of_a_hundred_vertices_are_sent_with_ordinary_hands():
    point = load_scan().point.from_probability
    drawn = drawn_examinations(ExamContext(weeks=39), DRAWN, seed=78, judged=0)
    assert drawn.at(point).vertices_sent <= 0.15 + TWO_ERRORS


@pytest.mark.parametrize("examiner", [Examiner.LEARNING, Examiner.ORDINARY, Examiner.EXPERIENCED])
@pytest.mark.parametrize("hindrances", [(), (Hindrance.TENSE_UTERUS,)])
def test_the_misses_that_are_told_are_the_misses_that_happen(examiner, hindrances):
    context = ExamContext(weeks=39, examiner=examiner, hindrances=hindrances)
    policy = load_scan()
    told = policy.expected(context)
    assert told is not None
    found = drawn_examinations(context, DRAWN, seed=79, judged=0).at(told.from_probability)
    assert found.found == pytest.approx(told.found, abs=0.08)
    assert found.vertices_sent == pytest.approx(told.vertices_sent, abs=0.07)


def test_a_unit_that_sends_more_misses_fewer(tmp_path):
    from importlib import resources

    from ebbline.bedside import examine

    text = resources.files("ebbline.bedside.policy").joinpath("scan.yaml").read_text("utf-8")
    path = tmp_path / "scan.yaml"
    path.write_text(
        text.replace("vertices_sent_at_most: 14", "vertices_sent_at_most: 30"), encoding="utf-8"
    )
    grips = {"fundus": "breech", "brim": "head"}
    shipped = examine(grips, ExamContext(weeks=39)).scan
    own = examine(grips, ExamContext(weeks=39), scan_policy=load_scan(path)).scan
    assert own.from_probability < shipped.from_probability
    assert own.missed < shipped.missed


@pytest.mark.parametrize(
    ("old", "new", "message"),
    [
        ("vertices_sent_at_most: 14", "vertices_sent_at_most: 0", "cannot be"),
        ("  ordinary:", "  usual:", "ordinary hands is missing"),
        ("vertices: 15.0", "vertices: 0.5", "as many or more"),
    ],
)
def test_a_scan_policy_that_cannot_be_is_refused(tmp_path, old, new, message):
    from importlib import resources

    text = resources.files("ebbline.bedside.policy").joinpath("scan.yaml").read_text("utf-8")
    assert old in text
    path = tmp_path / "scan.yaml"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    with pytest.raises(PolicyError, match=message):
        load_scan(path)
