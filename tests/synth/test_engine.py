"""A labour is the same whichever way it is drawn, and answers what is done to it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ebbline.errors import ScenarioError
from ebbline.recording.model import ChannelKind
from ebbline.synth import LabourEngine, Point, Scenario, Story, invent
from ebbline.synth import actions as act
from ebbline.synth.ground_truth import EventKind
from ebbline.terms import SensorKind

BUSY = Scenario.from_words(
    "recurrent late, intermittent variable, second stage, poor signal, maternal capture, "
    "doubling, halving, maternal pulse, opioid, noisy toco"
)


def _same(one: np.ndarray, other: np.ndarray) -> bool:
    return np.array_equal(one, other, equal_nan=True)


def test_the_same_seed_gives_the_same_labour() -> None:
    first, again, another = invent(BUSY, 5), invent(BUSY, 5), invent(BUSY, 6)
    for a, b in zip(first.recording.channels, again.recording.channels, strict=True):
        assert _same(a.samples, b.samples)
    assert str(first.truth.decelerations) == str(again.truth.decelerations)
    assert not _same(first.recording.heart_rate().samples, another.recording.heart_rate().samples)


def test_a_labour_drawn_in_pieces_equals_one_drawn_at_once() -> None:
    whole = invent(BUSY, 11)
    engine = LabourEngine(BUSY, 11)
    stretches = [engine.advance(minutes) for minutes in [1 / 60, 7.25, 0.05, 20, *[0.5] * 20, 15]]
    stretches.append(engine.advance((3600 - engine.now_s) / 60))
    pieces = engine.labour()
    for a, b in zip(whole.recording.channels, pieces.recording.channels, strict=True):
        assert _same(a.samples, b.samples)
    joined = np.concatenate([s.heart_rate for s in stretches])
    assert _same(joined, whole.recording.heart_rate().samples)
    assert str(whole.truth.decelerations) == str(pieces.truth.decelerations)
    assert whole.truth.artefacts == pieces.truth.artefacts
    for name in ("baseline", "oxygen", "reserve", "heart_rate", "pressure", "sensor_distance"):
        assert _same(getattr(whole.truth, name).values, getattr(pieces.truth, name).values)


def test_an_action_changes_only_what_follows() -> None:
    left, acted = LabourEngine(BUSY, 3), LabourEngine(BUSY, 3)
    for engine in (left, acted):
        engine.advance(20)
    left.advance(20)
    acted.advance(20, [act.ChangePosition(), act.GiveTocolytic()])
    one, other = left.labour().truth, acted.labour().truth
    assert _same(one.heart_rate.values[:4800], other.heart_rate.values[:4800])
    assert not _same(one.heart_rate.values[4800:], other.heart_rate.values[4800:])


def _rate(truth: object, start: float, stop: float) -> float:
    count = sum(start <= c.onset_s < stop for c in truth.contractions)  # type: ignore[attr-defined]
    return count / (stop - start) * 600


def test_tachysystole_eases_when_the_oxytocic_stops() -> None:
    engine = LabourEngine(Scenario.from_words("tachysystole"), 2)
    engine.advance(60)
    engine.advance(70, [act.SetOxytocin(0.0)])
    truth = engine.labour().truth
    assert _rate(truth, 600, 3600) > 5
    assert _rate(truth, 3600 + 1200, 7800) < 4.5


def test_oxytocin_brings_contractions_where_there_was_none() -> None:
    engine = LabourEngine(Scenario.from_words("3 contractions"), 2)
    engine.advance(90)
    engine.advance(90, [act.SetOxytocin(1.0)])
    truth = engine.labour().truth
    assert _rate(truth, 6600, 10800) > 1.15 * _rate(truth, 0, 5400)


def test_a_tocolytic_stills_the_uterus_for_a_while() -> None:
    engine = LabourEngine(Scenario.from_words("tachysystole, hypertonus"), 2)
    engine.advance(30)
    engine.advance(60, [act.GiveTocolytic()])
    truth = engine.labour().truth
    assert _rate(truth, 1800 + 120, 1800 + 780) < 2.5
    assert _rate(truth, 3900, 5400) > 4


def _variable(truth: object, start: float, stop: float) -> int:
    return sum(
        start <= d.onset_s < stop and d.kind is EventKind.VARIABLE and d.counts
        for d in truth.decelerations  # type: ignore[attr-defined]
    )


def test_turning_the_mother_eases_cord_compression() -> None:
    engine = LabourEngine(Scenario.from_words("recurrent variable"), 4)
    engine.advance(60)
    engine.advance(60, [act.ChangePosition()])
    truth = engine.labour().truth
    assert _variable(truth, 3600, 7200) < 0.7 * _variable(truth, 0, 3600)


def test_pausing_pushing_takes_the_pushes_away() -> None:
    engine = LabourEngine(Scenario.from_words("second stage"), 4)
    engine.advance(20)
    engine.advance(20, [act.PausePushing()])
    truth = engine.labour().truth
    assert all(c.pushing for c in truth.contractions if c.onset_s < 1150)
    assert not any(c.pushing for c in truth.contractions if c.onset_s > 1300)


def test_the_sensor_can_be_moved_changed_and_the_fetus_can_move_away() -> None:
    engine = LabourEngine(replace(Scenario(), signal_loss=0.01), 9)
    good = engine.advance(20)
    away = engine.advance(20, [act.MoveFetus(Point(-6.0, -10.0))])
    found = engine.advance(20, [act.MoveUltrasound(Point(-6.0, -10.0))])
    internal = engine.advance(20, [act.MoveFetus(Point(5.0, 5.0)), act.UseElectrode()])
    lost = [float(np.isnan(s.heart_rate).mean()) for s in (good, away, found, internal)]
    assert lost[1] > 0.8
    assert max(lost[0], lost[2], lost[3]) < 0.15
    recording = engine.labour().recording
    assert recording.heart_rate().sensor is SensorKind.SCALP_ELECTRODE


def test_chapters_follow_one_another_in_one_labour() -> None:
    story = Story.from_words(
        "accelerations, 38 weeks, 30 minutes then recurrent late, minimal variability, "
        "baseline 155, electrode, 30 minutes"
    )
    labour = invent(story, 2)
    truth = labour.truth
    assert truth.duration_s == 3600 and truth.weeks == 38
    lates = [d.onset_s for d in truth.decelerations if d.kind is EventKind.LATE]
    assert lates and min(lates) > 1800
    assert np.nanmean(truth.bandwidth.values[35:]) < 5 < np.nanmean(truth.bandwidth.values[:28])
    assert truth.baseline_changes[0].to_bpm == 155
    assert labour.recording.heart_rate().sensor is SensorKind.SCALP_ELECTRODE


def test_a_chapter_cannot_change_the_weeks() -> None:
    with pytest.raises(ScenarioError, match="chapter 2"):
        Story.from_words("39 weeks, 20 minutes then 32 weeks, 20 minutes")


def test_half_the_samples_are_every_second_one() -> None:
    four, two = invent(Scenario(), 3), invent(replace(Scenario(), rate_hz=2.0), 3)
    assert _same(four.recording.heart_rate().samples[::2], two.recording.heart_rate().samples)
    assert four.truth.decelerations == two.truth.decelerations


def test_recordings_tell_their_sensors_and_context() -> None:
    labour = invent(
        Scenario.from_words("30 weeks, catheter, maternal pulse, oxytocin, 10 minutes"), 1
    )
    recording = labour.recording
    activity = recording.first(ChannelKind.UTERINE_ACTIVITY)
    assert activity is not None
    assert activity.sensor is SensorKind.PRESSURE_CATHETER and activity.unit == "mmHg"
    assert recording.first(ChannelKind.MATERNAL_HEART_RATE) is not None
    assert recording.context.weeks == 30 and recording.context.oxytocin is True
    assert recording.provenance.source == "invented"


@pytest.mark.parametrize("minutes", [0, -1, 0.001])
def test_time_does_not_stand_still_or_run_back(minutes: float) -> None:
    with pytest.raises(ScenarioError, match="second"):
        LabourEngine(Scenario(), 1).advance(minutes)


def test_what_was_planned_for_a_chapter_ends_with_it() -> None:
    story = Story.from_words("terminal bradycardia, 20 minutes then normal, 60 minutes")
    truth = invent(story, 2).truth
    assert truth.baseline.values.min() > 110


def test_what_a_chapter_left_out_can_come_in_the_next() -> None:
    story = Story.from_words(
        "no accelerations, no contractions, 60 minutes then many accelerations, active sleep, "
        "4 contractions, 60 minutes"
    )
    truth = invent(story, 2).truth
    assert not any(c.onset_s < 3600 for c in truth.contractions)
    assert not any(a.onset_s < 3600 for a in truth.accelerations)
    assert sum(c.onset_s > 3600 for c in truth.contractions) >= 18
    assert sum(a.onset_s > 3600 for a in truth.accelerations) >= 10


def test_the_baseline_holds_on_from_chapter_to_chapter() -> None:
    story = Story.from_words(
        "change of baseline, 40 minutes then minimal variability, 20 minutes then baseline 130, "
        "20 minutes"
    )
    changes = invent(story, 2).truth.baseline_changes
    assert [c.to_bpm for c in changes] == [158, 130]


def test_sinusoidal_stretches_keep_their_own_measure() -> None:
    engine = LabourEngine(Scenario.from_words("sinusoidal"), 1)
    engine.advance(30)
    engine.advance(30, [act.ChangeCourse(Scenario.from_words("normal"))])
    (stretch,) = engine.labour().truth.sinusoidal
    assert (stretch.start_s, stretch.end_s) == (0, 1800)
    width = engine.labour().truth.bandwidth.values
    assert np.nanmean(width[:29]) > np.nanmean(width[31:]) + 3


def test_an_opioid_given_before_acts_on_in_the_next_chapter() -> None:
    engine = LabourEngine(Scenario.from_words("active sleep, no contractions"), 6)
    engine.advance(1, [act.GiveOpioid()])
    course = Scenario.from_words("active sleep, no contractions, no accelerations")
    engine.advance(70, [act.ChangeCourse(course)])
    assert np.nanmean(engine.labour().truth.bandwidth.values[30:70]) < 8


@pytest.mark.parametrize("level", [-0.1, 2.5, float("nan")])
def test_an_oxytocic_has_limits(level: float) -> None:
    with pytest.raises(ScenarioError, match="oxytocic"):
        LabourEngine(Scenario(), 1).advance(1, [act.SetOxytocin(level)])
