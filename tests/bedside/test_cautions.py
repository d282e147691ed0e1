"""What needs a person comes first; what does not fit is named."""

from __future__ import annotations

import pytest

from ebbline.bedside import ExamContext, Examiner, Membranes, Placenta, examine
from ebbline.terms import Stage

LABOUR = ExamContext(weeks=39, stage=Stage.FIRST, examiner=Examiner.EXPERIENCED)
HEAD_FIRST = {"fundus": "breech", "brim": "head"}


def ids(found: dict[str, str], context: ExamContext = LABOUR, *, now: bool = False) -> set[str]:
    return {c.id for c in examine(found, context).cautions if c.now or not now}


def changed(**changes: object) -> ExamContext:
    from dataclasses import replace

    return replace(LABOUR, **changes)


def test_an_ordinary_examination_raises_no_caution():
    assert ids({**HEAD_FIRST, "back": "left", "heart": "left below"}) == set()


def test_a_cord_that_is_felt_comes_first_and_calls_for_help_now():
    result = examine({**HEAD_FIRST, "part": "cord"}, LABOUR)
    assert result.cautions[0].id == "cord felt"
    assert result.cautions[0].now
    assert "call for help now" in result.cautions[0].text


def test_bleeding_with_an_unknown_placenta_forbids_anything_inside():
    assert "bleeding, placenta" in ids({}, changed(bleeding=True), now=True)
    assert "bleeding, placenta" in ids({}, changed(bleeding=True, placenta=Placenta.PRAEVIA))
    assert "bleeding, placenta" not in ids({}, changed(bleeding=True, placenta=Placenta.NOT_LOW))
    assert "bleeding, placenta" not in ids({}, changed(bleeding=False))


def test_nothing_inside_is_proposed_unless_the_placenta_is_known_not_to_be_low():
    def inside(context: ExamContext) -> bool:
        return any(s.only_if_indicated for s in examine(HEAD_FIRST, context).next_steps)

    assert inside(changed(placenta=Placenta.NOT_LOW, bleeding=False))
    assert not inside(changed(placenta=Placenta.NOT_LOW))
    assert not inside(changed(bleeding=False))
    assert not inside(changed(placenta=Placenta.NOT_LOW, bleeding=True))


ACROSS = {"fundus": "nothing", "brim": "nothing", "poles": "head left flank", "back": "across"}


def test_a_transverse_lie_in_labour_needs_someone_now_and_before_labour_a_plan():
    assert "lie across in labour" in ids(ACROSS, now=True)
    before = changed(stage=Stage.ANTEPARTUM)
    assert "lie across" in ids(ACROSS, before)
    assert ids(ACROSS, before, now=True) == set()


def test_a_transverse_lie_with_ruptured_membranes_needs_someone_now_too():
    context = changed(stage=Stage.ANTEPARTUM, membranes=Membranes.RUPTURED)
    assert "lie across in labour" in ids(ACROSS, context, now=True)


def test_a_foot_that_is_felt_makes_a_footling_breech_suspected():
    assert "footling breech" in ids({"fundus": "head", "brim": "breech", "part": "foot"}, now=True)


def test_a_head_in_the_fundus_in_labour_makes_breech_suspected():
    found = {"fundus": "head", "brim": "breech"}
    assert "breech in labour" in ids(found, now=True)
    assert "breech near term" in ids(found, changed(stage=Stage.ANTEPARTUM))


def test_a_breech_before_36_weeks_and_out_of_labour_is_no_caution():
    context = changed(stage=Stage.ANTEPARTUM, weeks=31)
    assert "breech near term" not in ids({"fundus": "head", "brim": "breech"}, context)


def test_a_prominence_on_the_side_of_the_back_makes_a_face_or_brow_suspected():
    found = {**HEAD_FIRST, "back": "left", "limbs": "right", "prominence": "left"}
    assert "face or brow" in ids(found)
    assert "face or brow" not in ids({**found, "prominence": "right"})


@pytest.mark.parametrize("part", ["face", "brow"])
def test_a_face_or_brow_that_is_felt_is_always_said(part):
    assert "face or brow" in ids({**HEAD_FIRST, "part": part}, changed(examiner=Examiner.LEARNING))


def test_a_heart_that_is_not_heard_is_looked_for_now_and_tells_nothing_of_the_lie():
    result = examine({**HEAD_FIRST, "heart": "not heard"}, LABOUR)
    assert result.cautions[0].id == "heart not heard"
    without = examine(HEAD_FIRST, LABOUR)
    assert result.noncephalic == pytest.approx(without.noncephalic)


def test_ruptured_membranes_with_a_high_head_bring_the_cord_to_mind():
    context = changed(membranes=Membranes.RUPTURED)
    assert "high with ruptured membranes" in ids({**HEAD_FIRST, "fifths": "5"}, context)
    assert "high with ruptured membranes" not in ids({**HEAD_FIRST, "fifths": "1"}, context)


def test_labour_before_37_weeks_is_said():
    assert "labour before 37 weeks" in ids({}, changed(weeks=34.0), now=True)


def test_every_caution_has_a_source_and_gives_no_order_beyond_telling_the_team():
    found = {**ACROSS, "part": "cord", "heart": "not heard"}
    context = changed(bleeding=True, weeks=34.0, membranes=Membranes.RUPTURED)
    made = examine(found, context).cautions
    assert len(made) >= 5
    assert all(c.source for c in made)


def contradicting(found: dict[str, str]) -> list[tuple[str, str]]:
    return [c.items for c in examine(found, LABOUR).contradictions]


@pytest.mark.parametrize("examiner", ["learning", "ordinary", "experienced"])
@pytest.mark.parametrize(
    "found",
    [
        {"heart": "left above", "brim": "head"},
        {"back": "left flank", "heart": "right below", "limbs": "right"},
        {"back": "not felt", "limbs": "not felt"},
        {"scan": "head", "fundus": "head"},
        {"fundus": "breech", "brim": "nothing", "fifths": "0"},
        {"shape": "slanting", "fundus": "nothing", "brim": "nothing", "poles": "head left fossa"},
        {
            "fundus": "breech",
            "brim": "head",
            "back": "left flank",
            "limbs": "right",
            "prominence": "left",
            "heart": "right below",
            "fifths": "4",
            "mobility": "mobile",
        },
    ],
)
def test_what_these_hands_often_report_together_contradicts_nothing(found, examiner):
    """An oblique lie, a face with its own findings, a head deep in the second stage, and errors
    that studies found common (a head missed, a side mistaken) go together."""
    stage = Stage.SECOND if found.get("fifths") == "0" else Stage.FIRST
    context = ExamContext(weeks=39, stage=stage, examiner=Examiner(examiner))
    assert examine(found, context).contradictions == ()


def test_a_heart_heard_high_makes_a_breech_likelier_though_a_head_was_felt_low():
    high = examine({"heart": "left above", "brim": "head"}, LABOUR)
    low = examine({"heart": "left below", "brim": "head"}, LABOUR)
    assert high.noncephalic > 3 * low.noncephalic


def test_two_heads_contradict_each_other():
    result = examine({"fundus": "head", "brim": "head"}, LABOUR)
    assert [c.items for c in result.contradictions] == [("fundus", "brim")]
    assert "second fetus" in result.contradictions[0].text


def test_a_back_and_limbs_on_the_same_side_contradict_each_other():
    assert contradicting({"back": "left front", "limbs": "left"}) == [("back", "limbs")]


def test_a_prominence_on_the_side_of_the_back_is_no_contradiction_a_breech_may_explain_it():
    assert contradicting({"back": "left flank", "prominence": "left"}) == []


def test_what_is_unclear_contradicts_nothing():
    assert contradicting({"fundus": "head", "brim": "unclear"}) == []


def test_a_finger_is_held_against_a_scan():
    assert contradicting({"scan": "breech", "part": "head"}) == [("part", "scan")]


def test_at_most_two_pairs_are_shown():
    found = {
        "fundus": "head",
        "brim": "head",
        "back": "left front",
        "limbs": "left",
        "fifths": "5",
        "mobility": "fixed",
    }
    assert len(contradicting(found)) == 2
