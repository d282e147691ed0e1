"""The virtual patient answers the sensors, the measures and time, and is decided by its steps."""

from dataclasses import replace

import numpy as np
import pytest

from ebbline.recording.model import ChannelKind
from ebbline.teach.answers import InternalAnswer, Mark, MarkKind, StripAnswer
from ebbline.teach.case import case_from_data
from ebbline.teach.encounter import BEING_STOPPED
from ebbline.teach.grading import score
from ebbline.teach.library import shipped_case
from ebbline.teach.measure_facts import Fact
from ebbline.teach.sensations import Grip, Zone
from ebbline.teach.steps import (
    MOST_MARKS,
    AttemptError,
    Choose,
    DecideInternal,
    Feel,
    Finish,
    Listen,
    PlaceContractionSensor,
    PlaceHeartSensor,
    ReadStrip,
    Tell,
    Wait,
    step_from_data,
    step_to_data,
)
from ebbline.teach.variants import begin_case
from ebbline.terms import SensorKind


def case_of(asks, *, knobs=None, fetus=None, mother=None, **labour):
    return case_from_data(
        {
            "ebbline_case": 1, "id": "a-test", "title": "A test", "difficulty": 2,
            "story": {"who": "w", "scene": "s", "task": "t"},
            "mother": {"weeks": 39, **(mother or {})},
            "fetus": fetus or {"position": "left anterior", "attitude": "flexed", "fifths": 4},
            "labour": {"stage": "first", "knobs": knobs or {}, **labour},
            "asks": asks,
        }
    )  # fmt: skip


def lay(encounter, dx=0.0, dy=0.0):
    site = encounter.site.at
    belt = encounter.contraction_sites[0]
    encounter.take(PlaceHeartSensor(site.x_cm + dx, site.y_cm + dy))
    encounter.take(PlaceContractionSensor(belt.x_cm, belt.y_cm))


def heart(encounter):
    return encounter.recording().heart_rate().samples


# --- replay -----------------------------------------------------------------------------------


def test_an_attempt_is_decided_by_its_steps_alone():
    case = shipped_case("a-whole-evening-shift")
    played = begin_case(case, 5)
    played.take(Feel(Grip.FIRST, Zone.FUNDUS))
    lay(played, 2.0)
    played.take(Wait(13))
    played.take(Choose("change her position"))
    played.take(Wait(9.5))
    played.take(Tell("the obstetrician"))
    saved = [step_from_data(step_to_data(step)) for step in played.steps]
    again = begin_case(case, 5).take_all(saved)
    assert np.array_equal(heart(played), heart(again), equal_nan=True)
    assert [o.text for o in played.outcomes] == [o.text for o in again.outcomes]
    assert score(played) == score(again)


def test_waiting_in_small_bites_gives_the_same_labour():
    case = case_of(["sensors"])
    whole, bites = begin_case(case, 1), begin_case(case, 1)
    lay(whole)
    lay(bites)
    whole.take(Wait(12))
    for _ in range(12):
        bites.take(Wait(1))
    assert np.array_equal(heart(whole), heart(bites), equal_nan=True)


# --- the sensors ------------------------------------------------------------------------------


def test_nothing_is_recorded_before_the_first_sensor_lies():
    encounter = begin_case(case_of(["sensors"]), 0)
    assert encounter.recording() is None
    with pytest.raises(AttemptError, match="no sensor"):
        encounter.take(Wait(5))


def test_the_signal_follows_from_where_the_sensor_lies():
    shares = []
    for away in (0.0, 4.0, 8.0, 14.0):
        encounter = begin_case(case_of(["sensors"]), 0)
        lay(encounter, dx=-away)
        encounter.take(Wait(20))
        shares.append(encounter.usable_share)
    assert shares == sorted(shares, reverse=True)
    assert shares[0] > 0.9
    assert shares[-1] < 0.3


def test_a_sensor_laid_later_leaves_the_time_before_it_empty():
    encounter = begin_case(case_of(["sensors"]), 0)
    belt = encounter.contraction_sites[0]
    encounter.take(PlaceContractionSensor(belt.x_cm, belt.y_cm))
    encounter.take(Wait(5))
    site = encounter.site.at
    encounter.take(PlaceHeartSensor(site.x_cm, site.y_cm))
    encounter.take(Wait(5))
    samples = heart(encounter)
    assert np.isnan(samples[: 5 * 240]).all()
    assert np.isfinite(samples[6 * 240 :]).mean() > 0.8


def test_when_the_fetus_moves_the_signal_fades_and_comes_back_at_the_new_site():
    case = shipped_case("something-has-shifted")
    stayed, followed = begin_case(case, 0), begin_case(case, 0)
    lay(stayed)
    lay(followed)
    for encounter in (stayed, followed):
        encounter.take(Wait(15))
    lay(followed)
    for encounter in (stayed, followed):
        encounter.take(Wait(9))
    last = slice(16 * 240, None)
    assert np.isfinite(heart(followed)[last]).mean() > 0.85
    assert np.isfinite(heart(stayed)[last]).mean() < np.isfinite(heart(followed)[last]).mean() - 0.3
    assert any("dropped" in say for _, say in stayed.happened)


def test_the_belt_far_from_the_fundus_shows_no_contraction_to_find():
    encounter = begin_case(case_of(["sensors", "strip"]), 0)
    site = encounter.site.at
    encounter.take(PlaceHeartSensor(site.x_cm, site.y_cm))
    encounter.take(PlaceContractionSensor(0.0, -14.0))
    encounter.take(Wait(30))
    from ebbline.teach.what_was_true import reading_truth

    contractions = [e for e in reading_truth(encounter).events if e.kind is MarkKind.CONTRACTION]
    assert contractions
    assert all(e.visible_share == 0.0 for e in contractions)


def test_an_electrode_is_placed_only_where_the_policy_allows_it():
    allowed = shipped_case("a-signal-that-will-not-stay")
    refused = shipped_case("read-the-notes-first")
    for case, kind in ((allowed, SensorKind.SCALP_ELECTRODE), (refused, SensorKind.ULTRASOUND)):
        encounter = begin_case(case, 0)
        lay(encounter)
        encounter.take(Wait(5))
        encounter.take(DecideInternal(InternalAnswer(electrode=True, catheter=False)))
        encounter.take(Wait(10))
        assert encounter.recording().heart_rate().sensor is kind


def test_an_electrode_brings_the_signal_a_thick_wall_withholds():
    encounter = begin_case(shipped_case("a-signal-that-will-not-stay"), 0)
    lay(encounter)
    encounter.take(Wait(14))
    encounter.take(DecideInternal(InternalAnswer(electrode=True)))
    encounter.take(Wait(14))
    samples = heart(encounter)
    before, after = samples[: 14 * 240], samples[15 * 240 :]
    assert np.isfinite(after).mean() > np.isfinite(before).mean() + 0.05
    assert np.isfinite(after).mean() > 0.96


def test_offering_an_electrode_against_a_contraindication_is_flagged_apart_from_the_score():
    encounter = begin_case(shipped_case("read-the-notes-first"), 0)
    encounter.take(DecideInternal(InternalAnswer(electrode=True, catheter=True)))
    made = score(encounter)
    flagged = [u for u in made.unsafe if u.choice == "A scalp electrode"]
    assert len(flagged) == 1
    assert "hepatitis C" in flagged[0].why
    assert flagged[0].citation


def test_offering_an_electrode_on_unknown_results_is_flagged_too():
    encounter = begin_case(shipped_case("nobody-has-asked"), 0)
    encounter.take(DecideInternal(InternalAnswer(electrode=True, catheter=False)))
    (flagged,) = score(encounter).unsafe
    assert "not known" in flagged.why


# --- measures ---------------------------------------------------------------------------------


def contractions_after(case, measure, minutes=20):
    encounter = begin_case(case, 0)
    if measure:
        encounter.take(Choose(measure))
    encounter.take(Wait(minutes))
    begin = 60 * (encounter.minute - minutes + 6)
    truth = encounter.labour().truth
    return sum(c.peak_s > begin for c in truth.contractions)


def test_tachysystole_eases_when_the_oxytocic_stops():
    case = shipped_case("no-time-to-breathe")
    assert contractions_after(case, "stop the oxytocic") < contractions_after(case, None) - 2


def test_a_tocolytic_relaxes_the_uterus():
    case = shipped_case("at-the-top-of-the-sheet")
    assert contractions_after(case, "ask about a tocolytic") < contractions_after(case, None) - 3


def cord_falls(case, seed, measure):
    encounter = begin_case(case, seed)
    if measure:
        encounter.take(Choose(measure))
    encounter.take(Wait(28))
    begin = 60 * (encounter.minute - 28)
    return sum(
        d.depth_bpm
        for d in encounter.labour().truth.decelerations
        if d.onset_s > begin and d.counts
    )


def test_variable_decelerations_change_with_position():
    case = shipped_case("little-fluid-left")
    eased = [
        cord_falls(case, seed, "change her position") < cord_falls(case, seed, None)
        for seed in range(6)
    ]
    assert sum(eased) >= 5


def test_what_could_hurt_is_stopped_and_changes_nothing():
    case = shipped_case("no-time-to-breathe")
    tried = begin_case(case, 0)
    assert tried.take(Choose("raise the oxytocic")).text == BEING_STOPPED
    tried.take(Wait(15))
    left = begin_case(case, 0)
    left.take(Wait(15))
    assert np.array_equal(heart(tried), heart(left), equal_nan=True)
    assert any("oxytocic" in u.choice for u in score(tried).unsafe)


def test_feeling_the_pulse_tells_the_mothers_rate_from_the_strips():
    encounter = begin_case(shipped_case("two-rates"), 0)
    assert "104" in encounter.take(Choose("feel her pulse")).text


def test_moving_the_sensor_ends_a_capture_of_the_mothers_rate():
    case = shipped_case("the-belt-has-slid")
    encounter = begin_case(case, 0)
    before = encounter.usable_share
    encounter.take(Choose("move the heart sensor"))
    encounter.take(Wait(20))
    after = np.isfinite(heart(encounter)[-20 * 240 :]).mean()
    assert before < 0.45
    assert after > before + 0.3


def test_what_happens_by_itself_happens_on_time_and_is_told():
    encounter = begin_case(shipped_case("a-gush"), 0)
    lay(encounter)
    encounter.take(Wait(11))
    assert Fact.CORD_FELT not in encounter.facts()
    outcome = encounter.take(Wait(2))
    assert "cord" in outcome.text
    assert outcome.happened[0][0] == pytest.approx(12.0)
    assert Fact.CORD_FELT in encounter.facts()


def test_telling_nobody_of_an_emergency_is_flagged():
    encounter = begin_case(shipped_case("a-sharp-pain"), 0)
    encounter.take(Choose("go on and review on time"))
    encounter.take(Finish())
    choices = [u.choice for u in score(encounter).unsafe]
    assert "Help was not called in time" in choices
    assert any("Go on as before" in choice for choice in choices)


def test_what_was_set_stays_set_when_the_labour_takes_a_turn():
    case = case_of(
        ["strip", "measures"],
        oxytocin=True,
        knobs={"contractions_per_10_min": 6},
        turns=[{"minute": 35, "say": "She turns over.", "labour": {"variable_share": 0.5}}],
    )
    stopped = contractions_after(case, "stop the oxytocic", 30)
    assert stopped < contractions_after(case, None, 30) - 4


# --- order and bounds -------------------------------------------------------------------------


def test_only_what_a_case_asks_can_be_done():
    encounter = begin_case(shipped_case("what-follows"), 0)
    for step in (
        Feel(Grip.FIRST, Zone.FUNDUS),
        Listen(0, 0),
        PlaceHeartSensor(0, 0),
        DecideInternal(InternalAnswer()),
    ):
        with pytest.raises(AttemptError, match="does not ask"):
            encounter.take(step)


def test_a_reading_is_given_once_when_there_is_enough_to_read():
    encounter = begin_case(case_of(["sensors", "strip"]), 0)
    answer = StripAnswer(encounter.window, encounter.case.standard)
    lay(encounter)
    encounter.take(Wait(5))
    with pytest.raises(AttemptError, match="30 minutes of trace"):
        encounter.take(ReadStrip(answer))
    encounter.take(Wait(25))
    encounter.take(ReadStrip(answer))
    with pytest.raises(AttemptError, match="has been given"):
        encounter.take(ReadStrip(answer))


@pytest.mark.parametrize("minutes", [0, -1, 31, float("nan"), float("inf")])
def test_impossible_waits_are_refused(minutes):
    encounter = begin_case(case_of(["sensors"]), 0)
    lay(encounter)
    with pytest.raises(AttemptError, match="cannot be waited"):
        encounter.take(Wait(minutes))


def test_a_case_ends_somewhere():
    encounter = begin_case(case_of(["sensors"]), 0)
    lay(encounter)
    with pytest.raises(AttemptError, match="does not go on"):
        for _ in range(100):
            encounter.take(Wait(30))
    assert encounter.minute <= encounter.last_minute


def test_after_the_end_nothing_can_be_done():
    encounter = begin_case(case_of(["sensors"]), 0)
    encounter.take(Finish())
    with pytest.raises(AttemptError, match="finished"):
        encounter.take(Listen(0, 0))


def test_marks_that_cannot_be_are_refused():
    encounter = begin_case(shipped_case("what-follows"), 0)
    answer = StripAnswer(encounter.window, encounter.case.standard)
    backwards = replace(answer, marks=(Mark(MarkKind.LATE, 50.0, 40.0),))
    many = replace(answer, marks=(Mark(MarkKind.LATE, 1.0, 2.0),) * (MOST_MARKS + 1))
    for wrong in (backwards, many, replace(answer, baseline_bpm=4000.0)):
        with pytest.raises(AttemptError):
            encounter.take(ReadStrip(wrong))
    assert encounter.reading is None


def test_places_off_the_abdomen_are_refused():
    encounter = begin_case(case_of(["sensors"]), 0)
    for x in (float("nan"), 500.0, float("-inf")):
        with pytest.raises(AttemptError, match="not a place"):
            encounter.take(PlaceHeartSensor(x, 0.0))


def test_the_recording_names_neither_seed_nor_truth():
    recording = begin_case(shipped_case("what-follows"), 3).recording()
    assert recording.name == "What follows"
    assert recording.provenance.notes == ()
    assert {c.kind for c in recording.channels} == {
        ChannelKind.FETAL_HEART_RATE,
        ChannelKind.UTERINE_ACTIVITY,
    }


def test_a_step_from_elsewhere_is_refused_in_words():
    from ebbline.errors import ScenarioError

    for data in (
        None,
        [],
        {"step": "fly"},
        {"step": "feel", "grip": "fifth grip", "zone": "fundus"},
        {"step": "wait"},
        {"step": "conclude", "answer": {"lie": "sideways"}},
    ):
        with pytest.raises(ScenarioError):
            step_from_data(data)
