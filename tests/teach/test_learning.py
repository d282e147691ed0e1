"""What makes a case teach: variants, calls, hints, listening, handing over, statistics."""

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from ebbline.criteria.model import Standard
from ebbline.statistics.agreement import cohen
from ebbline.teach import auscultation, variants
from ebbline.teach.answers import AuscultationAnswer, ExaminationAnswer, StripAnswer, TwinsAnswer
from ebbline.teach.case_facts import facts_of_class
from ebbline.teach.debrief import debrief
from ebbline.teach.encounter import Encounter
from ebbline.teach.fetal_course import Birth
from ebbline.teach.grading import MOTHERS_RATE, score
from ebbline.teach.handover import Section, statements
from ebbline.teach.library import shipped
from ebbline.teach.measure_facts import Fact
from ebbline.teach.measures import measure_table
from ebbline.teach.practice import TERMS, can_contrast, contrasting, mixed_up
from ebbline.teach.scoring import Score
from ebbline.teach.sensations import Grip, Zone
from ebbline.teach.statistics.calibration import calibration
from ebbline.teach.statistics.growth import SkillShare, growth
from ebbline.teach.statistics.reliability import angoff, borderline_regression, reliability_of
from ebbline.teach.steps import (
    AttemptError,
    Auscultate,
    Choose,
    Conclude,
    ConcludeAuscultation,
    ConcludeTwins,
    DecideInternal,
    Feel,
    HandOver,
    Hint,
    Listen,
    PlaceHeartSensor,
    ReadStrip,
    Tell,
    Wait,
    step_from_data,
    step_to_data,
)
from ebbline.teach.summary import summary
from ebbline.teach.variants import begin_case, missing_promises, well_monitored
from ebbline.teach.what_was_true import reading_truth

CASES = shipped()
TABLE = measure_table()
NOW = datetime(2026, 3, 2, 19, 0, tzinfo=UTC)


def line(encounter: Encounter, item: str):
    return next(one for one in score(encounter).lines if one.item == item)


# --- what is asked follows the picture ----------------------------------------------------------


def test_a_suspicious_class_is_never_go_on_and_tell_nobody():
    for standard in (Standard.FIGO, Standard.NICE):
        facts = facts_of_class("suspicious", standard)
        assert TABLE.lowest_call(facts).step >= 1
        assert not TABLE.measure("go on and review on time").is_accepted(facts)


def test_a_pathological_class_is_never_for_the_nurse_in_charge_alone():
    for standard, label in (
        (Standard.FIGO, "pathological"),
        (Standard.NICE, "pathological"),
        (Standard.NICHD, "Category III"),
    ):
        facts = facts_of_class(label, standard)
        assert TABLE.lowest_call(facts).step >= 2
        assert TABLE.measure("go on and review on time").dangers(facts)


def test_a_cord_that_is_felt_asks_for_hands_position_help_and_birth_not_for_a_scan():
    """RCOG Green-top Guideline 50, 2014."""
    facts = {Fact.CORD_FELT, Fact.RUPTURED, Fact.BRADYCARDIA, Fact.NOT_BY_THE_HEAD}
    wanted = {measure.id for measure in TABLE.wanted(facts)}
    assert wanted == {"keep the head off the cord", "change her position", "get ready for birth"}
    for name in ("ask for a scan", "examine for the cord"):
        assert not TABLE.measure(name).is_accepted(facts)
    assert TABLE.lowest_call(facts).step == 3


@pytest.mark.parametrize("name", sorted(k for k, c in CASES.items() if c.promises))
def test_stories_fit_their_strips(name):
    assert missing_promises(CASES[name]) == ()


def test_a_case_promises_whom_to_tell_what_to_do_and_how_often_too():
    case = CASES["what-follows"]
    kept = case.model_copy(update={"promises": ("call: the obstetrician",)})
    assert missing_promises(kept) == ()
    for broken in ("call: nobody for now", "measure: amnioinfusion", "no decelerations",
                   "contractions: every 9 minutes"):  # fmt: skip
        assert missing_promises(case.model_copy(update={"promises": (broken,)})) == (broken,)


@pytest.mark.parametrize("name", ["what-follows", "little-fluid-left", "thick-and-green"])
def test_a_variant_teaches_what_the_written_case_teaches(name):
    case = CASES[name]
    written = variants.lesson(well_monitored(case))
    assert written.label
    assert variants.lesson(well_monitored(case, 1)) == written


def test_no_class_is_never_the_only_right_answer_over_a_danger_that_was_seen():
    case = CASES["a-belly-like-a-board"]
    encounter = well_monitored(case)
    truth = encounter.labour().truth
    seen = encounter.seen(truth)
    heart = seen.heart.copy()
    heart[: int(len(heart) * 0.4)] = 0.0
    from ebbline.teach.case_facts import strip_truth

    made = strip_truth(truth, replace(seen, heart=heart), encounter.window, case)
    assert set(made.accepted_labels["figo"]) - {"no class"}


def test_within_tolerance_of_a_threshold_both_classes_count():
    case = CASES["a-trace-to-rest-your-eyes-on"]
    knobs = {**case.labour.knobs, "baseline_bpm": 161.0}
    near = case.model_copy(update={"labour": case.labour.model_copy(update={"knobs": knobs})})
    near = near.model_copy(update={"promises": ()})
    drawn = (reading_truth(well_monitored(near, 0, engine_seed=seed)) for seed in range(8))
    assert any({"Category I", "Category II"} <= set(one.accepted_labels["nichd"]) for one in drawn)


def test_moving_the_sensor_by_hand_counts_as_the_button_does():
    by_hand, by_button = (well_monitored(CASES["twenty-minutes-of-pushing"]) for _ in range(2))
    site = by_hand.site.at
    by_hand.take(PlaceHeartSensor(site.x_cm, site.y_cm))
    by_button.take(Choose("move the heart sensor"))
    assert line(by_hand, "measures").points == line(by_button, "measures").points > 0


def test_reading_the_mothers_rate_as_the_fetuss_is_unsafe():
    encounter = well_monitored(CASES["twenty-minutes-of-pushing"])
    answer = StripAnswer(encounter.window, Standard.NICHD, baseline_bpm=96.0)
    encounter.take(ReadStrip(answer))
    assert MOTHERS_RATE in {one.choice for one in score(encounter).unsafe}


@pytest.mark.parametrize(
    ("name", "electrode"),
    [
        ("before-the-next-round", "membranes"),
        ("a-line-in-the-booking-notes", "HIV"),
        ("sore-since-monday", "herpes"),
        ("healed-by-now", "herpes"),
        ("a-carrier-for-years", "hepatitis B"),
        ("read-the-notes-first", "hepatitis C"),
        ("two-letters-in-a-report", "hepatitis D"),
        ("back-from-a-journey", "hepatitis E"),
        ("her-brother-bruises", "bleeding disorder"),
        ("thirty-weeks-and-hurrying", "34 weeks"),
        ("she-would-rather-not", "agree"),
        ("a-scan-at-thirty-two-weeks", "vessels"),
        ("a-tight-fit", "dilated"),
        ("a-bump-and-a-groove", "face"),
    ],
)
def test_an_internal_sensor_against_the_list_is_refused_at_once_with_its_reason(name, electrode):
    from ebbline.teach.answers import InternalAnswer

    encounter = begin_case(CASES[name], 0)
    said = encounter.take(DecideInternal(InternalAnswer(electrode=True, catheter=False)))
    assert "refused" in said.text
    assert electrode.lower() in said.text.lower()


# --- hints, guidance, confidence ----------------------------------------------------------------


def test_a_guided_case_says_after_a_grip_what_it_rules_out():
    encounter = begin_case(CASES["something-round-on-top"], 0)
    said = encounter.take(Feel(Grip.FIRST, Zone.FUNDUS))
    assert any("Speaks for (presentation): frank breech" in words for words in said.guidance)
    assert any("against (presentation)" in words and "vertex" in words for words in said.guidance)
    assert begin_case(CASES["firm-and-still"], 0).take(Feel(Grip.FIRST, Zone.FUNDUS)).guidance == ()


def test_a_hint_takes_a_fifth_of_its_part_and_of_no_other():
    def played(*hints):
        encounter = well_monitored(CASES["a-wednesday-clinic"])
        for one in hints:
            encounter.take(Hint(one))
        fetus = encounter.fetus
        answer = ExaminationAnswer(fetus.lie, fetus.presentation, fetus.position, None, 3)
        encounter.take(Conclude(answer))
        return encounter

    without, hinted = played(), played("hands")
    assert line(hinted, "lie").points == pytest.approx(0.8 * line(without, "lie").points)
    assert line(hinted, "heart sensor").points == line(without, "heart sensor").points


def test_confidence_stands_beside_its_answer_and_out_of_range_is_refused():
    encounter = begin_case(CASES["something-round-on-top"], 0)
    fetus = encounter.fetus
    sure = (("presentation", 0.9),)
    encounter.take(Conclude(ExaminationAnswer(presentation=fetus.presentation, sure=sure)))
    assert line(encounter, "presentation").confidence == 0.9
    assert line(encounter, "lie").confidence is None
    with pytest.raises(AttemptError, match="confidence"):
        encounter.take(Conclude(ExaminationAnswer(sure=(("lie", 1.2),))))


def test_overconfidence_is_confidence_less_the_share_that_was_right():
    """Brier GW. Mon Weather Rev 1950;78:1-3: (0.1^2 + 0.9^2 + 0.9^2 + 0.1^2) / 4, by hand."""
    answers = {"a": [(0.9, 1.0), (0.9, 0.0)], "b": [(0.9, 0.5), (0.9, 1.0)]}
    made = calibration(answers)
    assert made.over == pytest.approx(0.9 - 0.5)
    assert made.brier == pytest.approx((0.01 + 0.81 + 0.81 + 0.01) / 4)


def test_a_debrief_begins_with_any_danger_then_what_was_right_and_what_to_change():
    encounter = well_monitored(CASES["what-follows"])
    encounter.take(Choose("raise the oxytocic"))
    encounter.take(Tell("the obstetrician"))
    made = debrief(encounter).summary
    assert made.right.startswith("Right: help called, telling")
    assert made.differently.startswith("Do differently:")
    assert made.danger.startswith("Danger: raise the oxytocic")
    assert made.sentences == (made.danger, made.right, made.differently)


def test_a_baby_born_ill_is_told_first_though_no_choice_was_unsafe():
    """Metabolic acidosis from 12 mmol/L: Low JA. Am J Obstet Gynecol 1997;177:1391-4."""
    ill = Birth(30.0, "", (3, 5), 6.95, 12.0, 80.0, "Born with metabolic acidosis.")
    made = summary(Score(()), ill)
    assert made.sentences[0] == "No unsafe choice, and still: Born with metabolic acidosis."
    well = replace(ill, base_deficit=11.9)
    assert summary(Score(()), well).sentences[2] == "No choice of yours was unsafe."


# --- listening at intervals ---------------------------------------------------------------------


def listened(name: str) -> Encounter:
    """A learner who counts every beat, before, during and after a contraction."""
    encounter = begin_case(CASES[name], 0)
    encounter.take(Wait(10))
    for _ in range(6):
        start, beats = encounter.beats_ahead(120.0)
        encounter.take(Auscultate(120.0, tuple(beats - start)))
    return encounter


def test_beats_are_as_many_as_the_rate_says():
    start, beats = begin_case(CASES["by-ear"], 0).beats_ahead(60.0)
    assert start == 0.0
    assert 125 <= len(beats) <= 150  # a baseline of 135 bpm, moderate variability


def test_counting_along_at_the_right_moments_scores_all_of_it():
    encounter = listened("by-ear")
    baseline = float(np.mean(encounter.labour().truth.baseline.values[-600:]))
    encounter.take(ConcludeAuscultation(AuscultationAnswer(baseline, False, False)))
    for item in ("moments of listening", "counting", "rate between contractions", "falls heard"):
        assert line(encounter, item).share == pytest.approx(1.0), item


def test_falls_after_contractions_ask_for_continuous_monitoring():
    """NICE NG229, 2022 (from memory)."""
    encounter = listened("every-quarter-of-an-hour")
    assert Fact.DECELERATION_HEARD in encounter.facts()
    encounter.take(ConcludeAuscultation(AuscultationAnswer(142.0, True, True)))
    assert line(encounter, "falls heard").share == 1.0
    assert line(encounter, "continuous monitoring").share == 1.0


def test_counting_only_between_contractions_misses_two_of_three_moments():
    encounter = begin_case(CASES["by-ear"], 0)
    assert line(encounter, "moments of listening").points == 0.0
    counts = [auscultation.counted(0.0, 5.0, ())]
    assert math.isnan(counts[0].bpm)


# --- handing over -------------------------------------------------------------------------------


def test_saying_all_that_must_be_said_and_nothing_untrue_scores_all():
    encounter = well_monitored(CASES["a-call-to-make"])
    must = tuple(one.id for one in statements(encounter) if one.must)
    encounter.take(HandOver(must))
    assert line(encounter, "handover").share == 1.0


def test_each_part_of_a_handover_has_something_that_must_be_said_and_something_untrue():
    offered = statements(well_monitored(CASES["three-in-the-morning"]))
    assert {one.section for one in offered if one.must} == set(Section)
    assert any(not one.true for one in offered if one.section is Section.RECOMMENDATION)
    assert not any(one.must and not one.true for one in offered)


def test_an_untrue_statement_costs_a_quarter():
    encounter = well_monitored(CASES["a-call-to-make"])
    offered = statements(encounter)
    must = [one.id for one in offered if one.must]
    untrue = next(one.id for one in offered if not one.true)
    encounter.take(HandOver((*must, untrue)))
    assert line(encounter, "handover").share == 0.75


# --- twins --------------------------------------------------------------------------------------


def test_two_hearts_are_two_only_when_they_differ():
    def share(first, second):
        encounter = begin_case(CASES["room-for-two"], 0)
        encounter.take(ConcludeTwins(TwinsAnswer(first_bpm=first, second_bpm=second)))
        return line(encounter, "two hearts").share

    assert share(134.0, 149.0) == 1.0
    assert share(134.0, 134.0) < 0.5


def test_each_twins_heart_is_heard_at_its_own_place():
    encounter = begin_case(CASES["room-for-two"], 0)
    heard = []
    for site in (encounter.site, encounter.second_site):
        assert site is not None
        text = encounter.take(Listen(site.at.x_cm, site.at.y_cm)).text
        heard.append(int(text.split("about ")[1].split()[0]))
    assert heard[1] - heard[0] == pytest.approx(15, abs=10)


# --- practice from errors -----------------------------------------------------------------------


def test_ten_strips_hold_either_term_half_and_never_both():
    strips = contrasting(("late deceleration", "variable deceleration"), 3)
    assert [one.answer for one in strips].count("late deceleration") == 5
    for one in strips:
        start, end = one.window.start_s, one.window.end_s
        assert end - start == pytest.approx(480)
        assert ("gradual" in one.why) == (one.answer == "late deceleration")


def test_the_commonest_mistake_is_what_is_practised():
    confused = [("late deceleration", "variable deceleration")] * 3 + [
        ("vertex", "frank breech")
    ] * 9
    confused += [("variable deceleration", "late deceleration")] + [
        ("minimal variability", "absent variability")
    ] * 2
    assert [(one.pair, one.times) for one in mixed_up(confused)] == [
        (("late deceleration", "variable deceleration"), 4),
        (("absent variability", "minimal variability"), 2),
    ]
    assert mixed_up([("vertex", "frank breech")]) == ()
    assert not can_contrast("late deceleration", "absent variability")
    assert len(TERMS) == 8


# --- statistics ---------------------------------------------------------------------------------


def test_reliability_agrees_with_the_published_worked_example():
    """Shrout PE, Fleiss JL. Psychol Bull 1979;86:420-8, table 2: ICC(3,4) 0.91, ICC(2,4) 0.62."""
    table = np.array(
        [[9, 2, 5, 8], [6, 1, 3, 2], [8, 4, 6, 8], [7, 1, 2, 6], [10, 5, 6, 9], [6, 2, 4, 7]], float
    )
    made = reliability_of(table)
    assert made.alpha == pytest.approx(0.91, abs=0.005)
    assert made.phi == pytest.approx(0.62, abs=0.005)
    assert made.low < made.alpha < made.high
    # The same table's mean square of the residual is 1.02 (published).
    assert made.sem == pytest.approx(math.sqrt(1.02 / 4), abs=0.005)


def test_a_pass_mark_is_the_mean_of_what_judges_expect():
    """Angoff 1971, by hand: judges' means 0.6 and 0.7."""
    made = angoff([[0.5, 0.7], [0.6, 0.8]])
    assert made.mark == pytest.approx(0.65)
    assert made.error == pytest.approx(math.sqrt(2 * 0.05**2) / math.sqrt(2))
    with pytest.raises(ValueError, match="0 to 1"):
        angoff([[0.5, 70.0]])


def test_borderline_regression_reads_the_score_off_the_line():
    made = borderline_regression([0.4, 0.5, 0.6, 0.7], [1, 2, 3, 4], borderline=2)
    assert made.mark == pytest.approx(0.5)
    assert made.error == pytest.approx(0.0, abs=1e-9)


def test_an_interval_over_cases_is_wider_than_one_over_pooled_answers():
    """Answers to one case go together, so resampling cases whole must say less."""
    said, true, case = [], [], []
    for number in range(12):
        said += [number % 2] * 10 if number % 3 else [1 - number % 2] * 10
        true += [number % 2] * 10
        case += [number] * 10
    pooled, by_case = cohen(said, true, 2), cohen(said, true, 2, groups=case)
    assert by_case.value == pooled.value
    assert by_case.units == 12
    assert by_case.high - by_case.low > 2 * (pooled.high - pooled.low)


def test_no_class_counts_as_a_class_in_kappa():
    from ebbline.teach.standards import classes_of

    words = classes_of(Standard.FIGO)
    true = [0, 1, 2, 3] * 5
    said = [0, 1, 2, 0] * 5
    with_it = cohen(said, true, len(words)).value
    left_out = cohen([-1 if t == 3 else s for s, t in zip(said, true, strict=True)], true, 4).value
    assert with_it < left_out == 1.0


def test_growth_is_the_change_within_learners():
    """Two learners from different levels, both 10 points better in 30 days: by hand 0.1."""
    month = timedelta(days=30)
    shares = [
        SkillShare(who, "late deceleration", NOW + n * month, level + 0.1 * n)
        for who, level in (("a", 0.2), ("b", 0.7))
        for n in range(3)
    ]
    (made,) = growth(shares)
    assert made.per_month == pytest.approx(0.1)
    assert made.low == pytest.approx(0.1)
    assert made.first == pytest.approx(0.45)
    assert math.isnan(growth(shares[:1])[0].per_month)


def test_three_full_marks_in_one_evening_are_one_review():
    from ebbline.teach.spacing import after_attempt

    cards = after_attempt({}, {"late deceleration": 1.0}, NOW)
    again = after_attempt(cards, {"late deceleration": 1.0}, NOW + timedelta(minutes=20))
    third = after_attempt(again, {"late deceleration": 1.0}, NOW + timedelta(minutes=40))
    assert third["late deceleration"].due == cards["late deceleration"].due
    later = after_attempt(cards, {"late deceleration": 1.0}, NOW + timedelta(days=3))
    assert later["late deceleration"].due > cards["late deceleration"].due


@pytest.mark.parametrize(
    "step",
    [
        Hint("hands"),
        Auscultate(60.0, (0.5, 1.0)),
        ConcludeAuscultation(AuscultationAnswer(135.0, False, True, (("counting", 0.5),))),
        ConcludeTwins(TwinsAnswer(first_bpm=130.0)),
        HandOver(("who", "read back")),
    ],
)
def test_new_steps_are_kept_and_come_back_the_same(step):
    assert step_from_data(step_to_data(step)) == step
