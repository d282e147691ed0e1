"""Handbook cases: with what a faultless examiner would find, the true state ends on top."""

from __future__ import annotations

import numpy as np
import pytest

from bedside.handbook import from_below, grips
from ebbline.bedside import ExamContext, Examiner, State, examine, findings_from, states
from ebbline.bedside.engine import posterior
from ebbline.terms import Attitude, Lie, Presentation, Stage

AT_TERM = {"weeks": 39.0, "stage": Stage.FIRST}


@pytest.mark.parametrize("examiner", [Examiner.TEXTBOOK, Examiner.EXPERIENCED])
def test_every_way_of_lying_ends_on_top_when_all_is_found_as_the_handbook_says(examiner):
    context = ExamContext(**AT_TERM, examiner=examiner)
    wrong = []
    for state in states():
        now = posterior(findings_from(grips(state) | from_below(state)), context)
        if states()[int(now.argmax())] != state:
            wrong.append(state)
    assert wrong == []


def _plain(state: State) -> bool:
    """States that hands alone can tell: a flexed vertex, a frank breech, a lie across."""
    return (
        (state.presentation is Presentation.VERTEX and state.attitude is Attitude.FLEXED)
        # A breech that has wholly gone below the brim has left one witness, the head above.
        or (state.presentation is Presentation.FRANK_BREECH and state.descent > 0)
        or state.lie is not Lie.LONGITUDINAL
    )


def test_the_four_grips_alone_tell_the_position_of_common_lies():
    context = ExamContext(**AT_TERM, examiner=Examiner.TEXTBOOK)
    wrong = []
    for state in filter(_plain, states()):
        now = posterior(findings_from(grips(state)), context)
        best = states()[int(now.argmax())]
        if (best.lie, best.presentation, best.position) != (
            state.lie,
            state.presentation,
            state.position,
        ):
            wrong.append((state, best))
    assert wrong == []


@pytest.mark.parametrize(
    ("letters", "found"),
    [
        ("LOA", {"back": "left front", "limbs": "right", "prominence": "right"}),
        ("ROP", {"back": "right far", "limbs": "both sides", "prominence": "left"}),
    ],
)
def test_vertex_positions_from_a_short_examination(letters, found):
    found = {"fundus": "breech", "brim": "head", **found}
    result = examine(found, ExamContext(**AT_TERM, examiner=Examiner.TEXTBOOK))
    assert result.positions[0].abbreviation == letters


def test_a_prominence_on_the_side_of_the_back_raises_face_and_brow():
    found = {"fundus": "breech", "brim": "head", "back": "left", "limbs": "right"}
    context = ExamContext(**AT_TERM, examiner=Examiner.EXPERIENCED)

    def deflexed(prominence: str) -> float:
        result = examine({**found, "prominence": prominence}, context)
        return sum(c.probability for c in result.presentation if c.word in ("face", "brow"))

    assert deflexed("left") > 10 * deflexed("right")


def test_a_prominence_alike_on_both_sides_speaks_for_a_military_attitude():
    found = {"fundus": "breech", "brim": "head", "back": "left", "prominence": "both alike"}
    result = examine(found, ExamContext(**AT_TERM, examiner=Examiner.TEXTBOOK))
    assert result.attitude[0].word == "military"


def test_ordinary_hands_leave_the_position_open():
    """Webb SS, et al.: LR+ 1.2 for LOA. One conclusion must not settle the position."""
    result = examine({"position": "LOA"}, ExamContext(**AT_TERM))
    loa = next(p for p in result.positions if p.name == "vertex LOA")
    assert loa.probability < 0.2
    assert np.isclose(loa.probability / loa.before, 1.2, atol=0.1)
