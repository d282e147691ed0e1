"""No number says more than what was seen: "none" of half an unseen stretch is not assessed."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from ebbline.criteria.model import Level
from ebbline.definitions import LEAST_SEEN_SHARE
from ebbline.picture.columns import sentences
from ebbline.reading import counts
from ebbline.reading.analyse import read
from ebbline.reading.four_lines import class_line
from ebbline.reading.text import say, sections
from ebbline.recording.model import Channel, ChannelKind, Context, Recording
from ebbline.terms import SensorKind, Stage
from reading import made

RATE = 4


@pytest.mark.parametrize(
    ("number", "valid", "baseline", "said"),
    [
        (0, 1.0, 140.0, "0 decelerations"),
        (2, 0.95, 140.0, "2 decelerations"),
        (0, 0.7, 140.0, "no deceleration seen"),
        (1, 0.7, 140.0, "1 deceleration seen"),
        (0, 0.49, 140.0, "decelerations not assessed"),
        (2, 0.49, 140.0, "at least 2 decelerations"),
        (0, 1.0, math.nan, "decelerations not assessed"),
        (0, math.nan, 140.0, "decelerations not assessed"),
        (None, 0.2, 140.0, "decelerations not assessed"),
    ],
)
def test_a_number_is_said_of_what_was_seen(
    number: int | None, valid: float, baseline: float, said: str
) -> None:
    assert counts.said(number, "deceleration", valid, baseline) == said


def lost_after(minutes: float) -> Recording:
    """Half an hour at 140 bpm that is lost from so many minutes on."""
    n = 30 * 60 * RATE
    t = np.arange(n) / RATE
    slow = 4.0 * np.sin(2 * np.pi * t / 21.0) + 3.0 * np.sin(2 * np.pi * t / 13.0 + 1.0)
    bpm = 140.0 + slow + np.random.default_rng(1).normal(0.0, 0.6, n)
    bpm[round(minutes * 60 * RATE) :] = np.nan
    heart = Channel(ChannelKind.FETAL_HEART_RATE, bpm, RATE, SensorKind.ULTRASOUND, 1)
    return Recording("lost", (heart,), context=Context(weeks=40.0, stage=Stage.FIRST))


@pytest.mark.parametrize("minutes", [2, 8, 14])
def test_nowhere_is_none_said_of_a_window_that_was_mostly_lost(minutes: float) -> None:
    reading = read(lost_after(minutes))
    (one,) = reading.fetuses
    assert one.review.valid_share < LEAST_SEEN_SHARE
    assert one.review.accelerations is None
    last = one.review.columns[-1]
    assert (last.accelerations, last.decelerations) == (None, None)
    for words in sentences(last):
        assert "not assessed" in words and "0 acc" not in words and "0 dec" not in words
    told = say(reading)
    assert "no deceleration" not in told.lower() and "none in the window" not in told
    assert "Accelerations\n  Not assessed" in told and "Decelerations\n  Not assessed" in told
    for found in one.classes:
        assert found.refused
        assert not any(reason.level is Level.REASSURING for reason in found.reasons)


def test_a_fall_beside_much_lost_signal_is_at_least_one() -> None:
    review = made.review(valid_share=0.4)
    (part,) = [
        p for p in sections(made.reading(), made.fetal(review=review)) if p.title == "Decelerations"
    ]
    assert part.lines[0] == "At least these: 40 % of the window has valid signal."
    column = made.column(valid_share=0.4)
    assert "at least 3 decelerations" in sentences(column)[0]
    assert "accelerations not assessed" in sentences(replace(column, accelerations=None))[0]


def test_the_worst_class_is_said_before_whose_rate_it_may_be() -> None:
    doubt = "the rate from 0:10:00 to 0:12:00 may be the mother's: feel her pulse"
    grave = replace(
        made.classification(),
        rank=2,
        label="pathological",
        beyond=("not recovered at the end: a fall of 6 min so far", doubt),
        doubts=(doubt,),
    )
    line = class_line(grave)
    assert line.startswith(f"{grave.edition}: pathological.")
    assert "feel her pulse" in line and "Not recovered at the end" in line
    milder = replace(grave, rank=1, label="suspicious", reasons=(), decided_by=())
    assert class_line(milder).startswith("Not recovered at the end")
    assert class_line(milder).index("suspicious") < class_line(milder).index("feel her pulse")
