"""What to do next, and when to say that only a scan will tell."""

from __future__ import annotations

from dataclasses import replace

import pytest

from ebbline.bedside import ExamContext, Examiner, examine
from ebbline.terms import Stage

TERM = ExamContext(weeks=39, stage=Stage.FIRST)
ALL_GRIPS = {
    "shape": "long",
    "fundus": "breech",
    "back": "left",
    "limbs": "right",
    "poles": "none",
    "brim": "head",
    "mobility": "dipping",
    "fifths": "3",
    "prominence": "right",
    "movement": "upper right",
    "heart": "left below",
}


def steps(found: dict[str, str], context: ExamContext = TERM) -> list[str]:
    return [s.item for s in examine(found, context).next_steps]


def test_steps_are_ordered_by_what_they_would_tell():
    found = examine({"fundus": "breech"}, TERM).next_steps
    hands = [s.gain_bits for s in found if not s.only_if_indicated]
    assert hands == sorted(hands, reverse=True)
    assert len(hands) > 3


def test_what_was_examined_is_not_proposed_again_even_if_unclear():
    assert "fundus" not in steps({"fundus": "unclear"})
    assert "fundus" in steps({"back": "left"})


def test_listening_tells_the_side_when_only_the_poles_are_known():
    assert steps({"fundus": "breech", "brim": "head"})[0] == "heart"


def test_listening_is_proposed_with_the_place_to_begin_at():
    result = examine({"fundus": "breech", "brim": "head", "back": "left"}, TERM)
    listening = next(s for s in result.next_steps if s.item == "heart")
    assert result.sensors.best.words in listening.place
    assert "to her left" in listening.place
    assert all(s.place == "" for s in result.next_steps if s.item != "heart")


def test_nothing_is_left_after_a_full_examination():
    assert steps(ALL_GRIPS) == []


def test_with_only_the_flanks_felt_the_answer_is_a_grip_not_a_scan():
    scan = examine({"back": "left"}, TERM).scan
    assert not scan.advised
    assert "one more step" in scan.why
    assert scan.noncephalic == pytest.approx(0.06, abs=0.01)


def test_ordinary_hands_that_find_a_breech_are_right_half_of_the_time_so_scan():
    """Nassar N, et al. 2006: PPV 55 % at 8 %."""
    context = replace(TERM, noncephalic_share=0.08)
    scan = examine({"presentation": "breech"}, context).scan
    assert scan.advised
    assert scan.noncephalic == pytest.approx(0.53, abs=0.03)
    assert f"{100 * scan.noncephalic:.0f} %" in scan.why


def test_learning_hands_that_find_a_head_leave_one_in_twenty_so_scan_when_nothing_is_left():
    """Thorp JM, et al. 1991: NPV 95 % at 7 %."""
    context = ExamContext(
        weeks=39, stage=Stage.FIRST, examiner=Examiner.LEARNING, noncephalic_share=0.07
    )
    found = {name: answer for name, answer in ALL_GRIPS.items() if name in ("fundus", "brim")}
    unclear = {name: "unclear" for name in ALL_GRIPS if name not in found}
    scan = examine(found | unclear, context).scan
    assert scan.advised
    assert scan.noncephalic == pytest.approx(0.055, abs=0.005)


def test_experienced_hands_that_find_a_head_need_no_scan_for_what_presents():
    context = replace(TERM, examiner=Examiner.EXPERIENCED)
    scan = examine({"fundus": "breech", "brim": "head"}, context).scan
    assert not scan.advised
    assert scan.noncephalic < 0.02


def test_no_two_findings_force_a_scan_by_themselves():
    """A back and limbs on one side do not go together, and say nothing of what presents."""
    result = examine({**ALL_GRIPS, "back": "left front", "limbs": "left"}, TERM)
    assert result.contradictions
    assert result.scan.noncephalic < result.scan.from_probability
    assert not result.scan.advised


def test_the_scan_advice_says_what_its_point_still_misses():
    scan = examine(ALL_GRIPS, TERM).scan
    assert scan.vertices_sent <= 0.15 + 1e-9
    assert 0 < scan.missed < 0.3
    assert f"misses about {100 * scan.missed:.0f} of 100" in scan.trade


def test_before_36_weeks_and_out_of_labour_what_presents_may_wait():
    early = ExamContext(weeks=30, stage=Stage.ANTEPARTUM)
    assert not examine({"presentation": "breech"}, early).scan.advised
    assert examine({"presentation": "breech"}, replace(early, stage=Stage.FIRST)).scan.advised


def test_after_a_scan_no_scan_is_advised_and_its_word_counts():
    result = examine({"fundus": "head", "brim": "breech", "scan": "head"}, TERM)
    assert not result.scan.advised
    assert result.presentation[0].word == "vertex"


def test_before_any_finding_the_answer_is_to_examine():
    scan = examine({}, TERM).scan
    assert not scan.advised
    assert scan.why.startswith("Examine first")
    assert scan.noncephalic == pytest.approx(0.06)


def test_hindered_hands_tell_less():
    from ebbline.bedside import Hindrance

    def found(*hindrances: Hindrance) -> float:
        context = replace(TERM, hindrances=hindrances)
        return examine({"fundus": "head", "brim": "breech"}, context).noncephalic

    free, thick = found(), found(Hindrance.THICK_WALL)
    both = found(Hindrance.THICK_WALL, Hindrance.CONTRACTION)
    assert free > thick > both > 0.06
