"""Points, hints, confidence and what is told beside a line, each as its rule states it."""

import math
from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pytest

from ebbline.criteria.model import Standard
from ebbline.features.findings import VariabilityClass
from ebbline.synth.ground_truth import SpanKind
from ebbline.teach import grading
from ebbline.teach.answers import (
    ExaminationAnswer,
    InternalAnswer,
    Mark,
    MarkKind,
    StripAnswer,
    TwinsAnswer,
)
from ebbline.teach.case import AskedStep
from ebbline.teach.scoring import (
    RULES,
    Score,
    UnsafeChoice,
    eighths_apart,
    falling,
    joined,
    score_examination,
    score_internal,
    score_site,
    score_strip,
    score_unread,
    score_usable,
    scored_line,
    variability_accepted,
    with_hints,
)
from ebbline.teach.truth import ExaminationTruth, StripTruth, TrueEvent
from ebbline.terms import Attitude, Lie, Position, Presentation, Window

WINDOW = Window(0.0, 1800.0)
UNSAFE = UnsafeChoice("a", "b", "c", 1.0)


def strip(*events: TrueEvent, **words) -> StripTruth:
    told = {
        "window": WINDOW, "baseline_bpm": 140.0,
        "variability_accepted": (VariabilityClass.MODERATE, VariabilityClass.MINIMAL),
        "sinusoidal": False, "tachysystole": None, "events": events,
        "labels": {"nichd": "Category II"}, "accepted_labels": {}, "source": "a test",
    }  # fmt: skip
    return StripTruth(**(told | words))


def reading(*marks: Mark, **words) -> StripAnswer:
    return StripAnswer(WINDOW, Standard.NICHD, marks=marks, **words)


def line(score, item):
    return next(one for one in score.lines if one.item == item)


# ---------------------------------------------------------------- sums


def test_points_are_summed_over_all_parts_and_what_was_unsafe_is_kept():
    one = Score((scored_line("lie", 1.0, "", ""),), (UNSAFE,), (("lie", 1.0),), (("x", "y"),))
    other = Score((scored_line("class", 0.5, "", ""),), (), (("class", 0.5),), (("u", "v"),))
    both = joined((one, other), (replace(UNSAFE, choice="d"),))
    assert both.points == one.points + other.points
    assert both.possible == one.possible + other.possible
    assert both.share == both.points / both.possible
    assert [u.choice for u in both.unsafe] == ["a", "d"]
    assert both.skills == (("lie", 1.0), ("class", 0.5))
    assert both.confused == (("x", "y"), ("u", "v"))


def test_where_nothing_was_asked_there_is_no_share():
    assert math.isnan(Score(()).share)


@pytest.mark.parametrize(
    ("hints", "left", "words"), [(1, 0.8, "a hint was taken"), (2, 0.64, "2 hints were taken")]
)
def test_each_hint_takes_a_fifth_of_what_is_left(hints, left, words):
    made = Score((scored_line("lie", 1.0, "", "", "look again"),), skills=(("lie", 1.0),))
    hinted = with_hints(made, hints)
    assert hinted.points == pytest.approx(left * made.points)
    assert hinted.possible == made.possible
    assert hinted.skills == (("lie", pytest.approx(left)),)
    assert hinted.lines[0].note == f"look again; {words}: {left:.2f} of the points left"
    assert with_hints(made, 0) is made


@pytest.mark.parametrize(
    ("distance", "share"),
    [(0.0, 1.0), (3.0, 1.0), (4.0, 6 / 7), (9.0, 1 / 7), (10.0, 0.0), (11, 0)],
)
def test_points_fall_evenly_between_two_distances(distance, share):
    assert falling(distance, 3.0, 10.0) == pytest.approx(share)


# ---------------------------------------------------------------- hands and sensors


def test_positions_round_the_pelvis_are_four_eighths_apart_at_most():
    circle = [
        Position.ANTERIOR, Position.LEFT_ANTERIOR, Position.LEFT_TRANSVERSE,
        Position.LEFT_POSTERIOR, Position.POSTERIOR, Position.RIGHT_POSTERIOR,
        Position.RIGHT_TRANSVERSE, Position.RIGHT_ANTERIOR,
    ]  # fmt: skip
    apart = [eighths_apart(circle[1], other) for other in circle]
    assert apart == [1, 0, 1, 2, 3, 4, 3, 2]


TRUTH = ExaminationTruth(
    Lie.LONGITUDINAL, Presentation.FRANK_BREECH, Position.LEFT_ANTERIOR, None, 4
)


@pytest.mark.parametrize(
    ("said", "share", "note"),
    [
        (Position.LEFT_ANTERIOR, 1.0, ""),
        (Position.LEFT_TRANSVERSE, 0.5, "the neighbouring eighth"),
        (Position.LEFT_POSTERIOR, 0.0, ""),
    ],
)
def test_a_position_is_exact_or_beside(said, share, note):
    found = line(score_examination(ExaminationAnswer(position=said), TRUTH), "position")
    assert (found.share, found.note) == (share, note)


def test_hands_cannot_tell_one_breech_from_another_and_it_is_said():
    said = ExaminationAnswer(presentation=Presentation.FOOTLING_BREECH)
    found = line(score_examination(said, TRUTH), "presentation")
    assert (found.share, found.note) == (0.75, "hands cannot tell how the legs lie; a scan can")
    assert line(score_examination(ExaminationAnswer(), TRUTH), "presentation").note == ""


def test_only_what_is_asked_is_scored_and_only_terms_are_confused():
    score = score_examination(ExaminationAnswer(lie=Lie.OBLIQUE, fifths=4), TRUTH, items=("lie",))
    assert [one.item for one in score.lines] == ["lie"]
    assert score.confused == ()


def test_confidence_stands_beside_the_item_that_it_was_told_of():
    score = score_examination(ExaminationAnswer(fifths=4, sure=(("fifths", 0.7),)), TRUTH)
    assert line(score, "fifths").confidence == 0.7
    assert line(score, "lie").confidence is None


def test_sensors_are_told_with_their_distance_and_a_missing_one_as_missing():
    near = score_site("heart sensor", 6.46)
    assert near.lines[0].learner == "6.5 cm away"
    assert near.skills == (("heart sensor", near.lines[0].share),)
    assert score_site("heart sensor", None).lines[0].learner == "not placed"
    assert score_usable(0.554).lines[0].learner == "55 % usable"
    assert score_usable(math.nan).lines[0].learner == "never monitored"


@pytest.mark.parametrize(
    ("said", "word"), [(True, "may be offered"), (False, "not now"), (None, "not answered")]
)
def test_each_internal_sensor_is_told_as_it_was_said(said, word):
    score = score_internal(
        InternalAnswer(electrode=said, catheter=said), electrode=True, catheter=False
    )
    electrode, catheter = score.lines
    assert (electrode.item, electrode.learner, electrode.truth) == (
        "scalp electrode", word, "may be offered"
    )  # fmt: skip
    assert (catheter.item, catheter.learner, catheter.truth) == (
        "pressure catheter", word, "not now"
    )  # fmt: skip
    assert (electrode.share, catheter.share) == (float(said is True), float(said is False))
    assert dict(score.skills) == {one.item: one.share for one in score.lines}


# ---------------------------------------------------------------- the strip


def test_a_strip_that_was_not_read_has_no_point_of_any_item():
    score = score_unread()
    assert score.points == 0.0
    assert [one.item for one in score.lines] == [
        "baseline", "variability", "sinusoidal", "contractions", "accelerations",
        "decelerations", "class",
    ]  # fmt: skip


def test_every_variability_that_a_border_allows_is_right_and_named_as_said():
    for said, share in ((VariabilityClass.MINIMAL, 1.0), (VariabilityClass.MARKED, 0.0)):
        score = score_strip(reading(variability=said), strip())
        found = line(score, "variability")
        assert (found.share, found.learner) == (share, str(said))
        assert found.truth == "moderate or minimal"
        true = said if share else VariabilityClass.MODERATE
        assert (f"{true} variability", f"{said} variability") in score.confused
        assert ("moderate variability", share) in score.skills
    assert line(score_strip(reading(), strip()), "variability").learner == "not answered"


@pytest.mark.parametrize(
    ("true", "skill"), [(True, "sinusoidal pattern"), (False, "no sinusoidal pattern")]
)
def test_a_sinusoidal_pattern_is_a_skill_of_its_own(true, skill):
    score = score_strip(reading(sinusoidal=true), strip(sinusoidal=true))
    assert dict(score.skills)[skill] == 1.0


def test_contractions_are_not_counted_against_tachysystole_where_it_is_not_known():
    items = [one.item for one in score_strip(reading(tachysystole=True), strip()).lines]
    assert "tachysystole" not in items


def test_found_missed_and_false_marks_are_told():
    events = [TrueEvent(MarkKind.LATE, at, at + 40, at + 90) for at in (100.0, 400.0, 700.0)]
    marks = [
        Mark(MarkKind.LATE, 100.0, 190.0),
        Mark(MarkKind.VARIABLE, 400.0, 490.0),
        Mark(MarkKind.LATE, 1200.0, 1290.0),
    ]
    score = score_strip(reading(*marks), strip(*events))
    found = line(score, "decelerations")
    assert found.learner == "2 of 3 found, 1 marked that are not there"
    assert found.truth == "3 to find"
    assert found.share == pytest.approx(2 / 3)
    kinds = line(score, "kinds of deceleration")
    assert (kinds.learner, kinds.truth) == (
        "1 of 2 found called by their kind",
        "late deceleration",
    )
    assert kinds.share == 0.5
    assert dict(score.skills)["late deceleration"] == pytest.approx(1 / 3)
    for pair in (
        ("late deceleration", "late deceleration"),
        ("late deceleration", "variable deceleration"),
        ("late deceleration", "not marked"),
        ("nothing there", "late deceleration"),
    ):
        assert pair in score.confused


def test_an_event_on_a_border_need_not_be_found_and_one_not_clear_is_not_named():
    borderline = TrueEvent(MarkKind.ACCELERATION, 100.0, 110.0, 130.0, borderline=True)
    assert [
        o.item for o in score_strip(reading(), strip(borderline)).lines if "acc" in o.item
    ] == []
    vague = TrueEvent(MarkKind.LATE, 100.0, 140.0, 190.0, clear=False)
    score = score_strip(reading(Mark(MarkKind.EARLY, 100.0, 190.0)), strip(vague))
    assert line(score, "decelerations").share == 1.0
    assert "kinds of deceleration" not in [one.item for one in score.lines]
    assert not any("early" in said for _, said in score.confused)


def test_the_class_is_told_with_the_border_it_lies_on():
    truth = strip(accepted_labels={"nichd": ("Category II", "Category I")})
    score = score_strip(reading(label="Category I"), truth)
    found = line(score, "class")
    assert found.note == "the truth lies on a border: Category II or Category I"
    assert ("Category II", "Category II") in score.confused
    assert ("class by nichd", 1.0) in score.skills
    wrong = score_strip(reading(label="Category III"), strip())
    assert ("Category II", "Category III") in wrong.confused
    assert line(wrong, "class").note == ""
    silent = score_strip(reading(), strip())
    assert not any("Category" in said for _, said in silent.confused)
    assert line(silent, "class").learner == "not answered"


def test_a_class_by_a_standard_without_a_truth_is_not_scored():
    score = score_strip(reading(label="normal"), strip(labels={"figo": "normal"}))
    assert "class" not in [one.item for one in score.lines]


@pytest.mark.parametrize(
    ("bandwidth", "accepted"),
    [
        # NICHD 2008: absent (undetectable, here under 2.5), minimal to 5, moderate 6 to 25, marked.
        (1.49, ("absent",)),
        (1.5, ("absent", "minimal")),
        (3.49, ("minimal", "absent")),
        (3.5, ("minimal",)),
        (23.9, ("moderate",)),
        (24.1, ("moderate", "marked")),
        (25.9, ("marked", "moderate")),
        (26.1, ("marked",)),
    ],
)
def test_a_bandwidth_within_1_bpm_of_a_border_allows_both_classes(bandwidth, accepted):
    assert variability_accepted(bandwidth) == accepted


# ---------------------------------------------------------------- grading


def twins(said: TwinsAnswer | None, apart: float = 12.0):
    fetus = SimpleNamespace(lie=Lie.TRANSVERSE, presentation=Presentation.SHOULDER)
    second = SimpleNamespace(fetus=fetus, heart_apart_bpm=apart)
    encounter = SimpleNamespace(twins=said, heart_bpm=lambda: 140.0)
    return grading._twins(encounter, second)


@pytest.mark.parametrize(
    ("first", "second", "thirds"),
    [
        (140.0, 152.0, 3),
        (152.0, 140.0, 3),
        (150.0, 162.0, 3),
        (129.0, 152.0, 1),
        (140.0, 163.0, 1),
        # One heart, counted twice, lies near both.
        (146.0, 146.0, 2),
        (146.0, 151.0, 2),
        (146.0, 151.1, 3),
        (146.0, None, 2),
        (None, None, 0),
    ],
)
def test_two_hearts_are_two_only_where_the_counts_differ(first, second, thirds):
    found = twins(TwinsAnswer(first_bpm=first, second_bpm=second)).lines[1]
    assert found.share == pytest.approx(thirds / 3)
    assert found.truth == "140 and 152 bpm"


def test_the_upper_twins_lie_and_presentation_are_half_each():
    for lie, presentation, share in (
        (Lie.TRANSVERSE, Presentation.SHOULDER, 1.0),
        (Lie.TRANSVERSE, Presentation.VERTEX, 0.5),
        (Lie.LONGITUDINAL, Presentation.SHOULDER, 0.5),
        (Lie.LONGITUDINAL, Presentation.VERTEX, 0.0),
    ):
        found = twins(TwinsAnswer(lie=lie, presentation=presentation))
        assert found.lines[0].share == share
        assert dict(found.skills) == {"twins: upper twin": share, "twins: two hearts": 0.0}
    assert twins(None).lines[0].learner == "not answered, not answered"
    assert twins(None).lines[1].learner == "not answered"


def read_off(said, *, pulse=85.0, true=140.0, kind=SpanKind.MATERNAL, end_s=700.0):
    """A baseline that was given while a stretch of the trace was the mother's."""
    span = SimpleNamespace(kind=kind, end_s=end_s)
    labour = SimpleNamespace(truth=SimpleNamespace(artefacts=[span]))
    return grading._unsafe_reading(
        SimpleNamespace(
            reading=SimpleNamespace(answer=SimpleNamespace(baseline_bpm=said), minute=31.0),
            case=SimpleNamespace(mother=SimpleNamespace(pulse_bpm=pulse)),
            window=Window(600.0, 2400.0),
            labour=lambda: labour,
            final_truth=SimpleNamespace(baseline_bpm=true),
        )
    )


@pytest.mark.parametrize(
    ("said", "unsafe"), [(85.0, True), (93.0, True), (77.0, True), (94.0, False), (None, False)]
)
def test_a_baseline_read_off_the_mothers_pulse_is_unsafe(said, unsafe):
    found = read_off(said)
    assert bool(found) is unsafe
    if found:
        assert found[0].minute == 31.0
        assert "Her pulse was 85" in found[0].why


def test_her_rate_is_no_danger_where_the_fetus_has_it_too_or_the_trace_was_not_hers():
    assert read_off(85.0, true=100.0) == []
    assert len(read_off(85.0, true=100.5)) == 1
    assert len(read_off(85.0, true=math.nan)) == 1, "a baseline that is not there is another one"
    assert read_off(85.0, kind=next(k for k in SpanKind if k is not SpanKind.MATERNAL)) == []
    assert read_off(85.0, end_s=600.0) == [], "hers before the window only"


@pytest.mark.parametrize("item", ["electrode", "catheter"])
def test_an_internal_sensor_that_may_not_be_offered_is_unsafe(item):
    why = SimpleNamespace(text="Hepatitis is one reason.", citation="a policy")
    for said, may, unsafe in (
        (True, False, 1),
        (True, True, 0),
        (False, False, 0),
        (None, False, 0),
    ):
        allowed = SimpleNamespace(
            electrode=True, catheter=True, electrode_reasons=[], catheter_reasons=[]
        )
        setattr(allowed, item, may)
        setattr(allowed, f"{item}_reasons", [why, why])
        found = grading._unsafe_internal(InternalAnswer(**{item: said}), allowed)
        assert len(found) == unsafe
        for one in found:
            assert item in one.choice
            assert one.why == "Hepatitis is one reason. Hepatitis is one reason."
            assert one.citation == "a policy"


def lying(lie: Lie, second=None):
    fetus = SimpleNamespace(
        lie=lie, presentation=Presentation.VERTEX, position=Position.LEFT_ANTERIOR,
        true_attitude=Attitude.FLEXED, fifths=3,
    )  # fmt: skip
    now = SimpleNamespace(**{**vars(fetus), "fifths": 1})
    return SimpleNamespace(
        fetus_at_conclusion=fetus, fetus=now, conclusion=None,
        case=SimpleNamespace(second_twin=second),
    )  # fmt: skip


def test_hands_are_held_against_how_it_lay_when_they_concluded():
    encounter = lying(Lie.LONGITUDINAL)
    assert grading.examination_truth(encounter).fifths == 3
    encounter.fetus_at_conclusion = None
    assert grading.examination_truth(encounter).fifths == 1
    assert grading.examination_truth(lying(Lie.TRANSVERSE)).fifths == 5, "nothing is in the brim"


def test_of_a_lie_across_neither_attitude_nor_fifths_are_asked():
    asked = [one.item for one in grading._hands(lying(Lie.LONGITUDINAL)).lines]
    assert asked == ["lie", "presentation", "position", "attitude", "fifths"]
    asked = [one.item for one in grading._hands(lying(Lie.TRANSVERSE)).lines]
    assert asked == ["lie", "presentation", "position"]


def test_the_learner_looked_at_each_choice_call_and_reading():
    encounter = SimpleNamespace(
        choices=[SimpleNamespace(minute=3.0, facts="a")],
        calls=[SimpleNamespace(minute=5.0, facts="b")],
        reading=SimpleNamespace(minute=9.0, facts="c"),
    )
    assert grading._moments(encounter) == [(3.0, "a"), (5.0, "b"), (9.0, "c")]
    encounter.reading = None
    assert grading._moments(encounter) == [(3.0, "a"), (5.0, "b")]


@pytest.mark.parametrize(
    "asks",
    [
        (AskedStep.HANDS, AskedStep.STRIP),
        (AskedStep.INTERNAL,),
        (AskedStep.MEASURES,),
        tuple(AskedStep),
    ],
)
def test_what_a_case_asks_is_scored_and_judged_for_danger_and_nothing_else(asks, monkeypatch):
    item = dict(zip(AskedStep, RULES, strict=False))

    def part(_, step):
        return Score((scored_line(item[step], 1.0, "", ""),))

    def danger(name):
        return lambda *_: [replace(UNSAFE, choice=name)]

    monkeypatch.setattr(grading, "_part", part)
    monkeypatch.setattr(grading, "may_be_offered", lambda *_: None)
    monkeypatch.setattr(grading, "decision_facts", lambda _: frozenset())
    for name in ("_unsafe_internal", "_unsafe_reading", "unsafe_choices", "unsafe_silence"):
        monkeypatch.setattr(grading, name, danger(name))
    monkeypatch.setattr(grading, "unsafe_delay", danger("unsafe_delay"))
    encounter = SimpleNamespace(
        case=SimpleNamespace(asks=asks), internal=object(), fetus=None, signs=(), choices=(),
        calls=(), minute=30.0, threat=None, hints=[asks[0]],
    )  # fmt: skip
    made = grading.score(encounter)
    assert [one.item for one in made.lines] == [item[step] for step in AskedStep if step in asks]
    shares = {one.item: one.share for one in made.lines}
    hinted = shares.pop(item[asks[0]])
    assert hinted == pytest.approx(0.8), "a hint is taken off its own part only"
    assert set(shares.values()) <= {1.0}
    wanted = {AskedStep.INTERNAL: ["_unsafe_internal"], AskedStep.STRIP: ["_unsafe_reading"],
              AskedStep.MEASURES: ["unsafe_choices", "unsafe_silence"]}  # fmt: skip
    dangers = [name for step in wanted if step in asks for name in wanted[step]]
    assert [one.choice for one in made.unsafe] == dangers
    encounter.threat, encounter.internal = object(), None
    late = ["unsafe_delay" if d == "unsafe_silence" else d for d in dangers]
    late = [d for d in late if d != "_unsafe_internal"]
    assert [one.choice for one in grading.score(encounter).unsafe] == late


def test_what_is_heard_is_held_against_the_baseline_of_the_last_ten_minutes(monkeypatch):
    asked = []
    monkeypatch.setattr(
        grading, "score_auscultation", lambda *given: asked.append(given[-1]) or Score(())
    )
    for values in ([150.0] * 100 + [130.0] * 599 + [math.nan], []):
        baseline = SimpleNamespace(values=np.array(values))
        labour = SimpleNamespace(truth=SimpleNamespace(baseline=baseline))
        grading._auscultation(
            SimpleNamespace(labour=lambda labour=labour: labour, counts=(), listening=None)
        )
    assert asked[0] == 130.0
    assert math.isnan(asked[1])
