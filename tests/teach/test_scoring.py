"""Scoring by the stated rules."""

import math
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ebbline.criteria.model import Standard
from ebbline.features.event_matching import LEAST_SHARED, Span, match, shared_time
from ebbline.features.findings import VariabilityClass
from ebbline.teach.answers import (
    ExaminationAnswer,
    InternalAnswer,
    Mark,
    MarkKind,
    StripAnswer,
)
from ebbline.teach.scoring import (
    RULES,
    eighths_apart,
    score_examination,
    score_internal,
    score_site,
    score_strip,
    score_usable,
    variability_accepted,
)
from ebbline.teach.truth import ExaminationTruth, StripTruth, TrueEvent
from ebbline.terms import Attitude, Lie, Position, Presentation, Window

WINDOW = Window(0.0, 1800.0)
EVENTS = (
    TrueEvent(MarkKind.CONTRACTION, 100, 130, 170),
    TrueEvent(MarkKind.CONTRACTION, 300, 330, 370),
    TrueEvent(MarkKind.LATE, 140, 180, 230),
    TrueEvent(MarkKind.LATE, 340, 380, 430),
    TrueEvent(MarkKind.ACCELERATION, 600, 610, 625),
)
TRUTH = StripTruth(
    window=WINDOW,
    baseline_bpm=135.0,
    variability_accepted=(VariabilityClass.MODERATE,),
    sinusoidal=False,
    tachysystole=False,
    events=EVENTS,
    labels={"nichd": "Category II"},
    accepted_labels={},
    source="a test",
)
PERFECT = StripAnswer(
    window=WINDOW,
    standard=Standard.NICHD,
    baseline_bpm=135.0,
    variability=VariabilityClass.MODERATE,
    sinusoidal=False,
    tachysystole=False,
    label="Category II",
    marks=tuple(Mark(e.kind, e.start_s, e.end_s) for e in EVENTS),
)


def line(score, item):
    return next(one for one in score.lines if one.item == item)


def test_a_perfect_reading_gets_every_point():
    score = score_strip(PERFECT, TRUTH)
    assert score.share == 1.0
    assert all(share == 1.0 for _, share in score.skills)


def test_an_empty_reading_gets_none():
    empty = StripAnswer(WINDOW, Standard.NICHD)
    assert score_strip(empty, TRUTH).points == 0.0


@pytest.mark.parametrize(("said", "right"), [(130, 1), (140, 1), (129, 0), (141, 0), (math.nan, 0)])
def test_baseline_counts_within_five_bpm(said, right):
    answer = replace(PERFECT, baseline_bpm=said, no_baseline=math.isnan(said))
    assert line(score_strip(answer, TRUTH), "baseline").share == right


def test_saying_that_there_is_no_baseline_is_right_where_there_is_none():
    truth = replace(TRUTH, baseline_bpm=math.nan)
    assert line(score_strip(replace(PERFECT, no_baseline=True), truth), "baseline").share == 1
    assert line(score_strip(PERFECT, truth), "baseline").share == 0


def test_late_called_early_is_found_but_misnamed():
    marks = tuple(
        replace(m, kind=MarkKind.EARLY) if m.kind is MarkKind.LATE else m for m in PERFECT.marks
    )
    score = score_strip(replace(PERFECT, marks=marks), TRUTH)
    assert line(score, "decelerations").share == 1.0
    assert line(score, "kinds of deceleration").share == 0.0
    assert score.confused.count(("late deceleration", "early deceleration")) == 2
    assert ("late deceleration", 0.0) in score.skills


def test_a_fall_that_was_missed_counts_against_the_skill_of_its_kind():
    """One of two late decelerations found and named: half the skill, not all of it."""
    kept = [m for m in PERFECT.marks if m.kind is not MarkKind.LATE or m.start_s < 300]
    score = score_strip(replace(PERFECT, marks=tuple(kept)), TRUTH)
    assert dict(score.skills)["late deceleration"] == 0.5
    assert score.confused.count(("late deceleration", "not marked")) == 1
    assert line(score, "kinds of deceleration").share == 1.0


def test_variability_that_was_said_stands_beside_what_was_true():
    wrong = replace(PERFECT, variability=VariabilityClass.MINIMAL)
    assert ("moderate variability", "minimal variability") in score_strip(wrong, TRUTH).confused
    right = score_strip(PERFECT, TRUTH).confused
    assert ("moderate variability", "moderate variability") in right
    silent = score_strip(replace(PERFECT, variability=None), TRUTH).confused
    assert not any("variability" in true for true, _ in silent)


def test_one_bracket_over_the_whole_strip_matches_nothing():
    score = score_strip(replace(PERFECT, marks=(Mark(MarkKind.LATE, 0, 1800),)), TRUTH)
    assert line(score, "decelerations").share == 0.0


def test_an_event_the_learners_own_sensor_lost_need_not_be_found():
    events = tuple(replace(e, visible_share=0.2) if e.kind is MarkKind.LATE else e for e in EVENTS)
    truth = replace(TRUTH, events=events)
    without = tuple(m for m in PERFECT.marks if m.kind is not MarkKind.LATE)
    unmarked = score_strip(replace(PERFECT, marks=without), truth)
    assert unmarked.share == 1.0
    assert "decelerations" not in {one.item for one in unmarked.lines}
    assert line(score_strip(PERFECT, truth), "decelerations").share == 1.0


def test_marking_nothing_never_earns_all_points():
    """Where nothing is there to be marked, nothing is earned by not marking."""
    silent = replace(PERFECT, marks=())
    for events in (EVENTS, ()):
        items = {
            one.item: one.share for one in score_strip(silent, replace(TRUTH, events=events)).lines
        }
        for item in ("accelerations", "decelerations", "contractions"):
            assert items.get(item, 0.0) == 0.0


def test_one_breech_for_another_costs_little_and_a_head_for_a_breech_all():
    """Hands cannot tell how the legs lie."""
    from ebbline.terms import Presentation

    truth = ExaminationTruth(
        lie=Lie.LONGITUDINAL, presentation=Presentation.COMPLETE_BREECH,
        position=Position.LEFT_ANTERIOR, attitude=None, fifths=4,
    )  # fmt: skip

    def share(said):
        made = score_examination(ExaminationAnswer(presentation=said), truth)
        return line(made, "presentation").share

    assert share(Presentation.COMPLETE_BREECH) == 1.0
    assert share(Presentation.FRANK_BREECH) == 0.75
    assert share(Presentation.VERTEX) == 0.0


def test_marking_what_is_not_there_costs():
    more = (*PERFECT.marks, Mark(MarkKind.ACCELERATION, 1000, 1020))
    score = score_strip(replace(PERFECT, marks=more), TRUTH)
    assert line(score, "accelerations").share == pytest.approx(2 / 3)
    assert ("nothing there", "acceleration") in score.confused


def test_recorded_cases_score_only_the_class():
    score = score_strip(PERFECT, TRUTH, kinds_known=False)
    assert [one.item for one in score.lines] == ["class"]


def test_every_class_a_border_allows_is_right():
    truth = replace(TRUTH, accepted_labels={"nichd": ("Category II", "Category I")})
    assert line(score_strip(replace(PERFECT, label="Category I"), truth), "class").share == 1.0
    assert line(score_strip(replace(PERFECT, label="Category III"), truth), "class").share == 0.0


HOW_IT_LIES = ExaminationTruth(
    Lie.LONGITUDINAL, Presentation.VERTEX, Position.LEFT_ANTERIOR, Attitude.FLEXED, 3
)


def test_the_neighbouring_eighth_gets_half_the_points_of_the_position():
    answer = ExaminationAnswer(
        Lie.LONGITUDINAL, Presentation.VERTEX, Position.LEFT_TRANSVERSE, Attitude.FLEXED, 3
    )
    score = score_examination(answer, HOW_IT_LIES)
    assert line(score, "position").share == 0.5
    assert score.points == score.possible - RULES["position"].possible / 2


ACROSS = ExaminationTruth(Lie.TRANSVERSE, Presentation.SHOULDER, Position.LEFT_ANTERIOR, None, None)


@pytest.mark.parametrize(
    ("said", "share", "note"),
    [
        (Position.LEFT_ANTERIOR, 1.0, ""),
        (Position.LEFT_POSTERIOR, 0.5, "the side of the head, not where the back looks"),
        (Position.RIGHT_ANTERIOR, 0.0, ""),
        (None, 0.0, ""),
    ],
)
def test_in_a_transverse_lie_the_side_of_the_head_gets_half(said, share, note):
    score = score_examination(
        ExaminationAnswer(Lie.TRANSVERSE, Presentation.SHOULDER, said), ACROSS
    )
    found = line(score, "position")
    assert (found.share, found.note) == (share, note)
    assert [one.item for one in score.lines] == ["lie", "presentation", "position"]


@pytest.mark.parametrize(
    ("said", "share", "word", "note"),
    [
        (3, 1.0, "3/5", ""),
        (2, 0.5, "2/5", "one fifth off"),
        (4, 0.5, "4/5", "one fifth off"),
        (5, 0.0, "5/5", ""),
        (None, 0.0, "not answered", ""),
    ],
)
def test_one_fifth_off_gets_half(said, share, word, note):
    score = score_examination(ExaminationAnswer(fifths=said), HOW_IT_LIES)
    found = line(score, "fifths")
    assert (found.share, found.learner, found.truth, found.note) == (share, word, "3/5", note)


@pytest.mark.parametrize("item", ["lie", "presentation", "attitude"])
def test_a_wrong_word_of_the_hands_gets_nothing_and_the_right_one_all(item):
    wrong = {
        "lie": Lie.TRANSVERSE,
        "presentation": Presentation.FRANK_BREECH,
        "attitude": Attitude.EXTENDED,
    }
    for said, share in ((getattr(HOW_IT_LIES, item), 1.0), (wrong[item], 0.0), (None, 0.0)):
        score = score_examination(ExaminationAnswer(**{item: said}), HOW_IT_LIES)
        found = line(score, item)
        assert found.share == share
        assert found.learner == ("not answered" if said is None else str(said))


def test_a_presentation_is_a_skill_of_its_own_and_what_it_was_taken_for_is_kept():
    answer = ExaminationAnswer(Lie.LONGITUDINAL, Presentation.FRANK_BREECH)
    score = score_examination(answer, HOW_IT_LIES)
    assert ("presentation: vertex", 0.0) in score.skills
    assert ("lie", 1.0) in score.skills
    assert score.confused == (("vertex", str(Presentation.FRANK_BREECH)),)


@pytest.mark.parametrize(
    ("said", "word", "share"), [(True, "yes", 0.0), (False, "no", 1.0), (None, "not answered", 0.0)]
)
def test_yes_no_and_no_answer_are_told_apart(said, word, share):
    for item in ("sinusoidal", "tachysystole"):
        found = line(score_strip(replace(PERFECT, **{item: said}), TRUTH), item)
        assert (found.learner, found.truth, found.share) == (word, "no", share)


def test_the_baseline_is_told_in_words():
    def told(**words):
        return line(score_strip(replace(PERFECT, **words), TRUTH), "baseline").learner

    assert told() == "135 bpm"
    assert told(baseline_bpm=None) == "not answered"
    assert told(no_baseline=True) == "cannot be told"


def test_an_event_half_lost_need_not_be_found_and_one_seen_to_the_limit_must():
    from ebbline.teach.scoring import NEITHER_HIT_NOR_MISS

    unmarked = replace(PERFECT, marks=())
    for share, asked in ((NEITHER_HIT_NOR_MISS, 1), (NEITHER_HIT_NOR_MISS - 0.01, 0)):
        seen = replace(EVENTS[4], visible_share=share)
        score = score_strip(unmarked, replace(TRUTH, events=(seen,)))
        told = [one.truth for one in score.lines if one.item == "accelerations"]
        assert told == (["1 to find"] if asked else [])


def test_a_trace_was_normal_only_where_every_decision_saw_it_so():
    from types import SimpleNamespace

    from ebbline.teach.measure_facts import Fact
    from ebbline.teach.what_was_true import decision_facts

    normal, other = frozenset({Fact.NORMAL_TRACE}), frozenset(set(Fact) - {Fact.NORMAL_TRACE})

    def facts(*moments, reading=None):
        return decision_facts(
            SimpleNamespace(
                choices=[SimpleNamespace(facts=m) for m in moments[:1]],
                calls=[SimpleNamespace(facts=m) for m in moments[1:]],
                reading=None if reading is None else SimpleNamespace(facts=reading),
                facts=lambda: normal,
            )
        )

    assert facts() == normal
    assert facts(normal, normal) == normal
    assert facts(normal, other) == other
    assert facts(normal, reading=other) == other
    assert facts(other, normal) == other


def test_a_breech_is_not_asked_for_the_attitude_of_the_head():
    truth = replace(HOW_IT_LIES, presentation=Presentation.FRANK_BREECH, attitude=None)
    assert "attitude" not in [
        one.item for one in score_examination(ExaminationAnswer(), truth).lines
    ]


def test_positions_are_counted_round_the_pelvis():
    assert eighths_apart(Position.ANTERIOR, Position.RIGHT_ANTERIOR) == 1
    assert eighths_apart(Position.LEFT_ANTERIOR, Position.RIGHT_POSTERIOR) == 4


@pytest.mark.parametrize(
    ("distance", "share"), [(0, 1), (3, 1), (6.5, 0.5), (10, 0), (25, 0), (None, 0)]
)
def test_the_heart_sensor_is_scored_by_its_distance(distance, share):
    assert score_site("heart sensor", distance).share == pytest.approx(share)


@pytest.mark.parametrize(
    ("distance", "share"), [(0, 1), (4, 1), (8, 0.5), (10, 0.25), (12, 0), (25, 0), (None, 0)]
)
def test_the_contraction_sensor_is_scored_by_its_distance(distance, share):
    assert score_site("contraction sensor", distance).share == pytest.approx(share)


@pytest.mark.parametrize(
    ("usable", "share"), [(1, 1), (0.8, 1), (0.55, 0.5), (0.3, 0), (math.nan, 0)]
)
def test_usable_signal_is_full_from_eighty_per_cent(usable, share):
    assert score_usable(usable).share == pytest.approx(share)


def test_an_internal_sensor_is_scored_yes_or_no_and_only_where_asked():
    score = score_internal(InternalAnswer(electrode=True), electrode=False, catheter=None)
    assert [one.item for one in score.lines] == ["scalp electrode"]
    assert score.points == 0


@pytest.mark.parametrize(
    ("bandwidth", "accepted"),
    [
        (1.5, ("absent", "minimal")),
        (3.5, ("minimal",)),
        (4.8, ("minimal", "moderate")),
        (5.5, ("moderate", "minimal")),
        (12.0, ("moderate",)),
        (30.0, ("marked",)),
        (math.nan, ("indeterminate",)),
    ],
)
def test_variability_on_a_border_accepts_both_classes(bandwidth, accepted):
    assert variability_accepted(bandwidth) == accepted


spans = st.lists(
    st.tuples(st.floats(0, 1000), st.floats(5, 200)).map(lambda p: Span(p[0], p[0] + p[1])),
    max_size=8,
)


@given(spans, spans)
@settings(deadline=None)
def test_matching_is_one_to_one_and_never_by_less_than_the_least(marks, events):
    found = match(marks, events)
    assert len({m for m, _ in found.pairs}) == len(found.pairs) == len({e for _, e in found.pairs})
    assert all(shared_time(marks[m], events[e]) >= LEAST_SHARED for m, e in found.pairs)
    assert len(found.pairs) + len(found.missed) == len(events)
    assert len(found.pairs) + len(found.extra) == len(marks)


@given(spans, st.randoms())
@settings(deadline=None)
def test_the_order_of_marks_does_not_matter(marks, chance):
    shuffled = list(marks)
    chance.shuffle(shuffled)
    assert match(marks, marks).f1 == match(shuffled, marks).f1 == 1.0


def test_the_pages_table_of_rules_is_the_one_that_scores():
    from pathlib import Path

    page = Path(__file__).parents[2] / "docs" / "teaching.md"
    text = page.read_text(encoding="utf-8")
    for rule in RULES.values():
        assert f"| {rule.item} | {rule.possible:g} | {rule.words} | {rule.citation} |" in text
