"""What is said first: the class, right now, what is new, what could not be seen."""

from __future__ import annotations

import re
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np
import pytest

from ebbline.criteria.model import Level, Standard
from ebbline.reading.analyse import read
from ebbline.reading.four_lines import by_the_clock
from ebbline.reading.model import FourLines
from ebbline.reading.text import Clock, say
from ebbline.recording.model import Channel, ChannelKind, Context, Recording
from ebbline.terms import SensorKind, Stage, Window

RATE = 4


def trace(minutes: float = 60.0, seed: int = 1) -> np.ndarray:
    """A calm rate of 140 bpm with moderate variability, shape (n,), 4 Hz."""
    n = round(minutes * 60 * RATE)
    t = np.arange(n) / RATE
    random = np.random.default_rng(seed)
    slow = 4.0 * np.sin(2 * np.pi * t / 21.0) + 3.0 * np.sin(2 * np.pi * t / 13.0 + 1.0)
    return 140.0 + slow + random.normal(0.0, 0.6, n)


def first_lines(bpm: np.ndarray, *, activity: bool = True) -> FourLines:
    n = len(bpm)
    t = np.arange(n) / RATE
    channels = [Channel(ChannelKind.FETAL_HEART_RATE, bpm, RATE, SensorKind.ULTRASOUND, 1)]
    if activity:
        hills = 10.0 + 50.0 * np.clip(np.cos(2 * np.pi * (t % 200 - 100) / 80), 0, 1) * (
            np.abs(t % 200 - 100) < 20
        )
        channels.append(Channel(ChannelKind.UTERINE_ACTIVITY, hills, RATE, SensorKind.TOCO))
    recording = Recording("made", tuple(channels), context=Context(weeks=40.0, stage=Stage.FIRST))
    said = read(recording).fetuses[0].four_lines
    assert said is not None
    return said


def test_a_calm_trace_is_reassuring_and_says_so_in_few_words() -> None:
    said = first_lines(trace())
    assert said.level is Level.REASSURING
    assert said.recovered is True
    assert "no deceleration in the last 10 min" in said.now_line
    assert "140 bpm now" in said.now_line or "139 bpm now" in said.now_line


@pytest.mark.parametrize(
    ("bpm", "said"),
    [
        (trace() + 35.0, ("baseline 175 bpm, over 160", "no deceleration")),
        (trace() - 38.0, ("baseline 102 bpm, under 110", "no deceleration")),
        (140.0 + (trace() - 140.0) / 6.0, ("variability absent", "no deceleration")),
    ],
)
def test_right_now_says_a_baseline_or_variability_that_is_not_normal(
    bpm: np.ndarray, said: tuple[str, ...]
) -> None:
    """NICHD 2008: 110 to 160 bpm, 6 to 25 bpm."""
    first = first_lines(bpm)
    assert all(words in first.now_line for words in said)
    assert first.level is not Level.REASSURING


def test_right_now_begins_with_a_sinusoidal_pattern_that_is_still_on() -> None:
    n = 60 * 60 * RATE
    sine = 140.0 + 8.0 * np.sin(2 * np.pi * np.arange(n) / RATE / 15.0)
    first = first_lines(sine + np.random.default_rng(2).normal(0.0, 0.3, n))
    assert re.match(r"Sinusoidal pattern for (1 h|5\d min) so far: 140 bpm now; ", first.now_line)
    assert first.level is Level.ALARMING


def test_a_fall_that_has_not_come_back_is_said_to_be_so_and_is_alarming() -> None:
    bpm = trace()
    bpm[-4 * 60 * RATE :] -= 75.0
    said = first_lines(bpm)
    assert said.recovered is False
    assert said.level is Level.ALARMING
    assert said.now_line.startswith(("Not recovered", "Not at its earlier level"))


@pytest.mark.parametrize("back_s", [45.0, 60.0, 110.0])
def test_a_prolonged_fall_is_said_to_have_recovered_within_a_minute_of_it(
    back_s: float,
) -> None:
    """Neither is what is over told as going on, nor one fall as two."""
    bpm = trace(30.0)
    begin = len(bpm) - round((back_s + 240.0) * RATE)
    bpm[begin : begin + 240 * RATE] -= 60.0
    said = first_lines(bpm)
    assert said.recovered is True
    assert "not recovered" not in f"{said.now_line} {said.class_line}".lower()
    assert "2 prolonged falls" not in said.class_line


def test_a_fall_that_ends_with_the_recording_is_one_fall() -> None:
    bpm = trace(30.0)
    bpm[-240 * RATE - 8 : -8] -= 60.0
    assert "2 prolonged falls" not in first_lines(bpm).class_line


def test_a_fall_before_which_the_signal_ends_is_not_said_to_have_recovered() -> None:
    bpm = trace()
    bpm[-5 * 60 * RATE : -4 * 60 * RATE] -= 60.0
    bpm[-4 * 60 * RATE :] = np.nan
    said = first_lines(bpm)
    assert said.recovered is not True
    assert said.level is not Level.REASSURING
    assert "no signal for the last" in said.now_line


def test_without_signal_at_the_end_the_state_right_now_is_not_known() -> None:
    bpm = trace()
    bpm[-3 * 60 * RATE :] = np.nan
    said = first_lines(bpm)
    assert said.recovered is None
    assert "is not known: no signal for the last 3 min" in said.now_line


def test_what_could_not_be_seen_names_the_contractions() -> None:
    assert "Contractions were not." in first_lines(trace(), activity=False).unseen_line


def test_new_decelerations_are_said_against_the_hour_before() -> None:
    bpm = trace(90.0)
    for minute in (65, 69, 73, 77, 81):
        at = minute * 60 * RATE
        bpm[at : at + 40 * RATE] -= 35.0
    said = first_lines(bpm)
    assert "decelerations, none in the hour before" in said.new_line


def test_the_leading_class_is_that_of_the_standard_asked_for_first() -> None:
    bpm = trace()
    recording = Recording(
        "made",
        (Channel(ChannelKind.FETAL_HEART_RATE, bpm, RATE, SensorKind.ULTRASOUND, 1),),
        context=Context(weeks=40.0, stage=Stage.FIRST),
    )
    for standard in (Standard.FIGO, Standard.NICE):
        reading = read(recording, standards=(standard,))
        said = reading.fetuses[0].four_lines
        assert said is not None
        assert said.standard is standard
        assert say(reading, full=False).split("First\n")[1].lstrip().startswith("Class: ")


def test_a_normal_reading_in_short_fits_one_screen_and_the_whole_holds_more() -> None:
    bpm = trace()
    n = len(bpm)
    recording = Recording(
        "made",
        (
            Channel(ChannelKind.FETAL_HEART_RATE, bpm, RATE, SensorKind.ULTRASOUND, 1),
            Channel(ChannelKind.UTERINE_ACTIVITY, np.full(n, 10.0), RATE, SensorKind.TOCO),
        ),
        context=Context(weeks=40.0, stage=Stage.FIRST),
    )
    reading = read(recording, window=Window(1800.0, 3600.0))
    short = say(reading, full=False)
    assert len(short.splitlines()) <= 40
    assert "Sources" not in short
    assert "points" not in short
    assert "Sources" in say(reading)
    twice = say(replace(reading, fetuses=(*reading.fetuses, *reading.fetuses)), full=False)
    assert twice.count("First\n") == 2


def test_where_the_clock_is_known_a_line_has_no_times_from_the_start() -> None:
    """At 14:04 "7:03:20 to 7:03:34" would be read as seven in the morning."""
    words = "9 s from 7:03:20 to 7:03:34 are not relied on: halving suspected."
    at = Clock(datetime(2030, 5, 1, 22, 0, tzinfo=UTC))
    assert by_the_clock(words, Clock()) == words
    assert by_the_clock(words, at) == (
        "9 s from 05:03:20 (day 2) to 05:03:34 (day 2) are not relied on: halving suspected."
    )


def test_one_heart_on_two_channels_is_no_reassurance_of_either_fetus() -> None:
    """Common practice, no source: two sensors on twins must show two rates."""
    bpm = trace()
    heart = [
        Channel(ChannelKind.FETAL_HEART_RATE, bpm + off, RATE, SensorKind.ULTRASOUND, number)
        for number, off in ((1, 0.0), (2, 0.3))
    ]
    context = Context(weeks=40.0, stage=Stage.FIRST)
    made = read(Recording("twins", tuple(heart), context=context))
    alone = read(Recording("one", tuple(heart[:1]), context=context)).fetuses[0]
    assert alone.classes[0].label == "Category I"
    for fetus in made.fetuses:
        assert fetus.panel is None
        assert "one fetus twice?" in fetus.panel_silence
        for one in fetus.classes:
            assert one.rank != 0
            assert any(text.startswith("one fetus twice?") for text in one.beyond)
        assert fetus.classes[0].said == "at best Category I, if this is the fetus"
        assert fetus.history[-1].labels["nichd"] == fetus.classes[0].said


def test_a_lower_level_at_a_mothers_rate_asks_for_her_pulse() -> None:
    """FIGO 2015: a maternal rate may be told as a fetal one; by a slow slide to it, too."""
    n = 60 * 60 * RATE
    slid = np.clip((np.arange(n) / RATE - 2400.0) / 120.0, 0.0, 1.0)
    said = first_lines(trace() - 22.0 * slid)
    assert "may be the mother's: feel her pulse" in said.now_line
    assert said.level is Level.ALARMING
