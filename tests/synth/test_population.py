"""Labours as they come, and devices that give their values as the open recordings show it.

Open recordings: CTU-UHB (Chudacek et al. BMC Pregnancy and Childbirth 2014;14:16).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from ebbline.definitions import LATE_LAG_S
from ebbline.recording.model import ChannelKind
from ebbline.synth import LabourEngine, Scenario, invent
from ebbline.synth.ground_truth import EventKind, Mechanism, TrueDeceleration
from ebbline.synth.heart_sensor import HeartSensor
from ebbline.synth.population import as_they_come, course_as_it_comes
from ebbline.synth.sensors import (
    AVERAGING,
    BEAT_BY_BEAT,
    FETAL,
    WHOLE_NUMBERS,
    Device,
    Hearing,
)
from ebbline.synth.streams import Streams
from ebbline.terms import SensorKind, Stage


def _values(device: Device, electrode: bool, quality: float = 4.0) -> np.ndarray:
    streams = Streams(3)
    sensor = HeartSensor(streams.of("a"), streams.of("b"), streams.of("c"), device)
    count = 4 * 1800
    noise = np.random.default_rng(1).standard_normal(count)
    rate = 140.0 + 12.0 * np.sin(np.arange(count) / 90.0) + 4.0 * noise
    heard = Hearing(np.full(count, quality), np.zeros((count, 3)))
    value, _, _ = sensor.give(
        rate, np.full(count, 80.0), heard, np.full(count, 0.6), electrode, 0.0
    )
    return value[~np.isnan(value)]


def test_a_device_that_averages_cuts_intervals_of_five_eighths_of_a_ms_off_to_quarters() -> None:
    """So in the recordings: 163.0 bpm hardly ever comes, 150.0 twice as often as 149.75."""
    possible = np.floor(60000.0 / (np.arange(400, 1600) * 0.625) * 4) / 4
    assert np.isin(_values(AVERAGING, False), possible).all()
    assert 163.0 not in possible and np.count_nonzero(possible == 150.0) == 2


def test_devices_that_go_by_the_beat_step_by_2_ms_and_some_give_whole_numbers() -> None:
    beats = 60000.0 / (np.arange(120, 600) * 2.0)
    for device, steps in ((BEAT_BY_BEAT, 4), (WHOLE_NUMBERS, 1)):
        possible = np.floor(beats * steps + 0.5) / steps
        assert np.isin(_values(device, True), possible).all()


def test_a_recording_begins_with_a_value_where_the_sensor_is_on() -> None:
    """In CTU-UHB no electrode is silent for a second or less, nor at its beginning."""
    for device, electrode in ((AVERAGING, False), (BEAT_BY_BEAT, True)):
        streams = Streams(4)
        sensor = HeartSensor(streams.of("a"), streams.of("b"), streams.of("c"), device)
        heard = Hearing(np.full(8, 4.0), np.zeros((8, 3)))
        given = np.full(8, 140.0), np.full(8, 80.0), heard, np.zeros(8)
        value, mode, _ = sensor.give(*given, electrode, 0.0)
        assert abs(value[0] - 140.0) <= 0.5 and mode[0] == FETAL
        assert not np.isnan(value).any()


def test_a_value_stays_until_the_next_beat() -> None:
    """At 4 Hz and 140 bpm a beat lasts 1.7 samples; values stay 2.3 on average in recordings."""
    for device, electrode in ((AVERAGING, False), (BEAT_BY_BEAT, True)):
        values = _values(device, electrode)
        lengths = np.diff(np.flatnonzero(np.concatenate(([True], np.diff(values) != 0))))
        assert 1.7 < lengths.mean() < 2.6
        assert np.mean(lengths == 2) > 0.45


@pytest.mark.parametrize("share", [0.02, 0.1, 0.3])
def test_a_labour_loses_what_it_is_asked_to_on_average(share: float) -> None:
    still = replace(
        Scenario.from_words("no accelerations, no contractions, 3 hours"),
        signal_loss=share,
        fetal_wandering_cm=0.0,
    )
    lost = [
        sum(s.end_s - s.start_s for s in invent(still, seed).truth.artefacts) / 10800
        for seed in range(6)
    ]
    assert 0.4 * share < np.mean(lost) < 2.2 * share


def test_the_same_seed_draws_the_same_course_and_pieces_equal_the_whole() -> None:
    story = course_as_it_comes(11, 0.8, second_stage_min=30.0)
    assert story == course_as_it_comes(11, 0.8, second_stage_min=30.0)
    assert story != course_as_it_comes(12, 0.8, second_stage_min=30.0)
    first = story.chapters[0]
    whole, pieces = LabourEngine(first, 5), LabourEngine(first, 5)
    whole.advance(12.0)
    for minutes in (0.5, 3.1, 4.4, 4.0):
        pieces.advance(minutes)
    for kind in (ChannelKind.FETAL_HEART_RATE, ChannelKind.UTERINE_ACTIVITY):
        one, other = (e.labour().recording.first(kind) for e in (whole, pieces))
        assert one is not None and other is not None
        assert np.array_equal(one.samples, other.samples, equal_nan=True)


def test_a_course_moves_on_and_the_second_stage_strains_more() -> None:
    more = 0
    for seed in range(20):
        story = course_as_it_comes(seed, 1.5, second_stage_min=60.0)
        assert len({c.bandwidth_bpm for c in story.chapters}) == len(story.chapters) >= 3
        assert sum(c.hours for c in story.chapters) == pytest.approx(1.5)
        first, last = story.chapters[0], story.chapters[-1]
        assert first.stage is Stage.FIRST and last.stage is Stage.SECOND and last.pushing
        shares = [c.late_share + c.variable_share + c.early_share for c in (first, last)]
        more += shares[1] > shares[0]
    assert more >= 13


def test_sensors_come_as_often_as_in_the_open_recordings() -> None:
    """52 of 263 with one sensor have an electrode."""
    chosen = [as_they_come(seed).heart_sensor for seed in range(400)]
    assert 0.14 < np.mean([s is SensorKind.SCALP_ELECTRODE for s in chosen]) < 0.27


@pytest.fixture(scope="module")
def gradual() -> list[TrueDeceleration]:
    """Falls that are early or late, of labours with both kinds."""
    words = "intermittent late, intermittent early, no accelerations, 3 hours"
    return [
        d
        for seed in range(12)
        for d in invent(Scenario.from_words(words), seed).truth.decelerations
        if d.kind in (EventKind.EARLY, EventKind.LATE)
    ]


@pytest.fixture(scope="module")
def lags(gradual: list[TrueDeceleration]) -> dict[Mechanism, NDArray[np.float64]]:
    """True lags of those that count, s, by what made them."""
    return {
        mechanism: np.array([d.lag_s for d in gradual if d.counts and d.mechanism is mechanism])
        for mechanism in (Mechanism.HEAD, Mechanism.PLACENTAL)
    }


def test_lags_of_head_compression_and_of_placental_flow_overlap(
    lags: dict[Mechanism, NDArray[np.float64]],
) -> None:
    """As in people: type I dips up to 18 s after the peak, type II from 18 s on (Caldeyro-Barcia,
    from memory), and no gap between them: some of the one come later than some of the other."""
    head, placental = lags[Mechanism.HEAD], lags[Mechanism.PLACENTAL]
    assert len(head) > 80
    assert len(placental) > 80
    assert head.max() > placental.min()
    assert np.percentile(head, 99) > LATE_LAG_S
    for lower in (8.0, 12.0, 16.0, 20.0):
        between = [((x > lower) & (x <= lower + 6.0)).sum() for x in (head, placental)]
        assert sum(between) > 0, f"nothing between {lower} and {lower + 6} s"


def test_the_late_limit_parts_the_causes_better_than_one_far_from_it(
    lags: dict[Mechanism, NDArray[np.float64]],
) -> None:
    head, placental = lags[Mechanism.HEAD], lags[Mechanism.PLACENTAL]

    def parted_wrongly(limit_s: float) -> float:
        return float((head > limit_s).mean() + (placental <= limit_s).mean())

    assert parted_wrongly(LATE_LAG_S) < 0.2
    assert parted_wrongly(LATE_LAG_S) < 0.5 * parted_wrongly(LATE_LAG_S - 11.0)
    assert parted_wrongly(LATE_LAG_S) < 0.5 * parted_wrongly(LATE_LAG_S + 16.0)


def test_the_kind_goes_by_the_lag_and_not_by_the_cause(gradual: list[TrueDeceleration]) -> None:
    """NICHD 2008: early falls have their lowest point with the contraction's peak, late ones after
    it. What made a fall no reader sees."""
    for d in gradual:
        assert (d.kind is EventKind.LATE) == (d.lag_s > LATE_LAG_S)
    of_the_head = {d.kind for d in gradual if d.mechanism is Mechanism.HEAD}
    assert of_the_head == {EventKind.EARLY, EventKind.LATE}
