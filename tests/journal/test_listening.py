"""Intermittent auscultation: tapping, counting, what it asks for, and which reviews are due."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ebbline.bedside.policy.reviews import DueState, Method, Risk
from ebbline.journal.counting import heard_around, rate_from_count, rate_from_taps
from ebbline.journal.due import case_reviews
from ebbline.journal.errors import JournalError
from ebbline.journal.listening import Urgency, listening
from ebbline.terms import Stage
from journal.writing import Writer


def taps(bpm: float, seconds: float, *, jitter_s: float = 0.03, seed: int = 1) -> list[float]:
    """Beats at a steady rate, tapped by a hand that is a little early or late."""
    beats = np.arange(0, seconds, 60 / bpm)
    return sorted((beats + np.random.default_rng(seed).normal(0, jitter_s, len(beats))).tolist())


@pytest.mark.parametrize("bpm", [60, 90, 110, 140, 160, 180])
def test_a_hand_that_taps_along_for_a_minute_gives_the_rate_within_one_beat(bpm: float) -> None:
    found = rate_from_taps(taps(bpm, 60))
    assert found is not None
    assert found.bpm == pytest.approx(bpm, abs=1)
    assert not found.uneven


@settings(deadline=None)
@given(st.integers(0, 10_000))
def test_one_beat_in_ten_left_out_or_touched_twice_moves_the_rate_by_less_than_three(
    seed: int,
) -> None:
    rng = np.random.default_rng(seed)
    beats = taps(140, 60, seed=seed)
    kept = [t for t in beats if rng.random() > 0.1]
    doubled = sorted(kept + [t + 0.08 for t in kept if rng.random() < 0.05])
    found = rate_from_taps(doubled)
    assert found is not None
    assert found.bpm == pytest.approx(140, abs=3)


def test_every_second_beat_tapped_is_half_the_rate_for_nobody_can_tell_it_from_a_slow_heart() -> (
    None
):
    found = rate_from_taps(taps(140, 60)[::2])
    assert found is not None
    assert found.bpm == pytest.approx(70, abs=1)


def test_too_few_taps_give_no_rate() -> None:
    assert rate_from_taps(taps(140, 3)) is None
    assert rate_from_taps([]) is None


def test_taps_all_over_the_place_are_called_uneven() -> None:
    rng = np.random.default_rng(3)
    found = rate_from_taps(np.cumsum(rng.choice([0.2, 0.43, 0.9, 1.4], 80)).tolist())
    assert found is None or found.uneven


@settings(deadline=None)
@given(st.integers(5, 200), st.sampled_from([15.0, 30.0, 60.0]))
def test_counting_gives_the_rate_give_or_take_a_beat(beats: int, seconds: float) -> None:
    """60 x beats / seconds, and one beat more or less: arithmetic."""
    rate = 60 * beats / seconds
    if not 30 <= rate <= 300:
        with pytest.raises(JournalError):
            rate_from_count(beats, seconds)
        return
    found = rate_from_count(beats, seconds)
    assert found.bpm == pytest.approx(rate)
    assert found.plus_minus_bpm == pytest.approx(60 / seconds)


def test_the_rate_is_told_before_through_and_after_a_contraction() -> None:
    before, during, after = taps(140, 30), taps(120, 40), taps(100, 30)
    every = before + [30 + t for t in during if t >= 0] + [70 + t for t in after if t >= 0]
    found = heard_around(sorted(every), 30, 70)
    assert found.before and found.during and found.after
    assert found.before.bpm == pytest.approx(140, abs=2)
    assert found.during.bpm == pytest.approx(120, abs=2)
    assert found.after.bpm == pytest.approx(100, abs=2)


WHOLE = {
    "listened_before_s": 30,
    "listened_during_s": 30,
    "listened_after_s": 60,
    "maternal_pulse_bpm": 80,
}


def asked(case: Writer, hours: float) -> list[Urgency]:
    return [one.urgency for one in listening(case.entries, case.at(hours)).asked]


def test_a_whole_listening_with_a_usual_rate_asks_for_nothing() -> None:
    case = Writer()
    case.write(0, "auscultation", before_bpm=140, after_bpm=142, falls=False, **WHOLE)
    assert asked(case, 0.1) == []


def test_a_rate_outside_110_to_160_over_three_contractions_asks_for_a_trace() -> None:
    """WHO 2018, recommendations on intermittent auscultation (from memory)."""
    case = Writer()
    for n, wanted in enumerate((Urgency.AGAIN, Urgency.AGAIN, Urgency.TRACE)):
        case.write(n / 10, "auscultation", before_bpm=165, after_bpm=164, **WHOLE)
        assert asked(case, n / 10)[0] is wanted


def test_a_rate_under_100_asks_for_help_at_once() -> None:
    """Acute bradycardia, NICE NG229 (from memory)."""
    case = Writer()
    case.write(0, "auscultation", before_bpm=140, after_bpm=95, **WHOLE)
    assert asked(case, 0.1)[0] is Urgency.AT_ONCE


def test_a_fall_heard_twice_or_a_rise_of_twenty_asks_for_a_trace() -> None:
    """NICE NG229: deceleration heard, or a rise of 20 bpm or more since the start (from memory)."""
    case = Writer()
    case.write(0, "auscultation", before_bpm=125, after_bpm=125, falls=True, **WHOLE)
    assert asked(case, 0.1) == [Urgency.AGAIN]
    case.write(0.2, "auscultation", before_bpm=146, after_bpm=146, falls=True, **WHOLE)
    assert sorted(asked(case, 0.3)) == sorted([Urgency.TRACE, Urgency.AGAIN])
    case.write(0.3, "auscultation", before_bpm=147, after_bpm=147, falls=False, **WHOLE)
    assert asked(case, 0.4) == [Urgency.TRACE, Urgency.TRACE]


def test_a_rate_near_her_pulse_may_be_hers() -> None:
    case = Writer()
    case.write(
        0, "auscultation", before_bpm=112, after_bpm=112, **{**WHOLE, "maternal_pulse_bpm": 110}
    )
    (one,) = listening(case.entries, case.at(0.1)).asked
    assert "may be hers" in one.what


def test_listening_that_was_too_short_or_not_after_the_contraction_is_not_complete() -> None:
    """WHO 2018: at least one minute, and at least 30 s after a contraction (from memory)."""
    case = Writer()
    case.write(0, "auscultation", before_bpm=140, listened_before_s=40, maternal_pulse_bpm=80)
    assert asked(case, 0.1) == [Urgency.INCOMPLETE, Urgency.INCOMPLETE]
    case.write(0.2, "auscultation", before_bpm=140)
    assert asked(case, 0.3) == [Urgency.INCOMPLETE] * 3


def test_risk_factors_ask_for_a_trace_in_place_of_listening() -> None:
    """NICE NG229 (from memory)."""
    case = Writer()
    case.write(0, "labour", risk_factors=["diabetes"])
    case.write(0, "auscultation", before_bpm=140, after_bpm=140, **WHOLE)
    assert asked(case, 0.1) == [Urgency.TRACE]


@settings(deadline=None)
@given(st.floats(60, 109), st.floats(0, 40))
def test_a_slower_heart_never_asks_for_less(bpm: float, slower: float) -> None:
    def gravest(rate: float) -> int:
        case = Writer()
        case.write(0, "auscultation", before_bpm=140, after_bpm=max(rate, 30), **WHOLE)
        found = asked(case, 0.1)
        return list(Urgency).index(found[0]) if found else len(Urgency)

    assert gravest(bpm - slower) <= gravest(bpm)


def test_reviews_follow_from_what_the_record_says_was_done() -> None:
    """NICE NG235: pulse hourly, contractions half-hourly, pressure and temperature 4-hourly (from
    memory); the heart by ear every 15 min at low risk, the stricter of NICE and FIGO 2015 against
    the 30 of ACOG Practice Bulletin 106 (from memory)."""
    case = Writer()
    case.write(0, "labour", risk="low", heart_by="auscultation")
    case.write(0, "stage", stage="active first stage")
    case.write(0, "auscultation", before_bpm=140, after_bpm=140, **WHOLE)
    case.write(0, "vitals", pulse_bpm=80, systolic_mmhg=110, temperature_c=36.8)
    found = case_reviews(case.entries, case.at(0.75)).due
    assert found is not None
    states = {one.name: (one.state, one.every_min) for one in found.reviews}
    assert states["heart"] == (DueState.OVERDUE, 15)
    assert states["pulse"] == (DueState.LATER, 60)
    assert states["blood-pressure"] == (DueState.LATER, 240)
    assert states["contractions"][0] is DueState.NEVER
    assert "trace" not in states
    case.write(0.5, "fluids", bladder="emptied")
    case.write(0.5, "membranes", fluid="clear")
    found = case_reviews(case.entries, case.at(0.75)).due
    assert found is not None
    states = {one.name: (one.state, one.every_min) for one in found.reviews}
    assert states["bladder"][0] is states["fluid-colour"][0] is DueState.LATER


def test_every_review_of_the_policy_can_be_done_by_some_entry() -> None:
    case = Writer()
    for name in ("trace", "whole-picture"):
        case.write(0, "review", review=name, agrees=True)
    case.write(0, "auscultation", before_bpm=140, maternal_pulse_bpm=80)
    case.write(0, "contractions", in_10_min=3)
    case.write(0, "vitals", systolic_mmhg=110, temperature_c=37)
    case.write(0, "examination", fifths_above=3)
    case.write(0, "fluids", urine_ml=100)
    case.write(0, "membranes", fluid="clear")
    case.write(0, "cervix", dilatation_cm=5)
    due = case_reviews(case.entries, case.at(0)).due
    assert due is not None
    assert [one.name for one in due.reviews if one.state is DueState.NEVER] == []


def test_oxytocin_fever_and_meconium_in_the_record_raise_the_risk_by_themselves() -> None:
    for kind, said in (
        ("oxytocic", {"action": "started", "dose_mu_per_min": 2}),
        ("vitals", {"temperature_c": 38.0}),
        ("membranes", {"fluid": "thin meconium"}),
    ):
        case = Writer()
        case.write(0, "labour", risk="low")
        case.write(1, kind, **said)
        due = case_reviews(case.entries, case.at(2)).due
        assert due is not None and due.risk is Risk.RAISED


def test_full_dilatation_shortens_the_intervals_before_anyone_writes_second_stage() -> None:
    case = Writer()
    case.write(0, "stage", stage="active first stage")
    case.write(1, "cervix", dilatation_cm=10)
    due = case_reviews(case.entries, case.at(2)).due
    assert due is not None and due.stage is Stage.SECOND


def test_a_sensor_that_lies_means_a_continuous_trace_until_it_is_taken_off() -> None:
    case = Writer()
    case.write(0, "labour", heart_by="auscultation")
    case.write(1, "sensor", sensor="ultrasound", action="placed")
    due = case_reviews(case.entries, case.at(1)).due
    assert due is not None and due.method is Method.CONTINUOUS
    case.write(2, "sensor", sensor="ultrasound", action="taken off")
    due = case_reviews(case.entries, case.at(2)).due
    assert due is not None and due.method is Method.AUSCULTATION


def test_nothing_is_due_once_the_last_child_is_born() -> None:
    case = Writer()
    case.write(0, "birth", mode="spontaneous")
    assert case_reviews(case.entries, case.at(1)).due is None


def test_the_whole_picture_asks_for_a_second_reader() -> None:
    """NICE NG229: the hourly review with a second reader (from memory)."""
    assert case_reviews([], Writer().at(0)).second_reader == {"whole-picture"}
