"""Nothing reads better because it stood on paper."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ebbline.criteria import classify
from ebbline.criteria.model import Classification, Standard
from ebbline.features import detect
from ebbline.reading.analyse import read
from ebbline.reading.paper_doubt import held_back, read_otherwise
from ebbline.recording import Channel, ChannelKind, Recording
from ebbline.recording.model import Context, Provenance
from ebbline.terms import Window


@pytest.fixture(scope="module")
def calm() -> Recording:
    """Twenty minutes at 140 bpm, unrest of several bpm, and two contractions in ten minutes."""
    seconds = np.arange(0, 1200, 0.25)
    noise = np.random.default_rng(4).normal(0, 1, len(seconds))
    heart = 140 + 14 * np.convolve(noise, np.ones(20) / 20, "same")
    hills = 10 + 50 * np.maximum(0, np.sin(2 * np.pi * seconds / 300)) ** 3
    return Recording(
        "calm",
        (
            Channel(ChannelKind.FETAL_HEART_RATE, heart, 4.0, fetus=1),
            Channel(ChannelKind.UTERINE_ACTIVITY, hills, 4.0),
        ),
    )


@pytest.fixture(scope="module")
def normal(calm: Recording) -> Classification:
    found = classify(detect(calm), Window(0.0, 1200.0), Standard.FIGO, Context())
    assert found.rank == 0
    return found


def test_a_best_class_that_less_than_the_pen_makes_worse_is_withheld(
    normal: Classification,
) -> None:
    found = held_back(normal, [normal, replace(normal, label="suspicious", rank=1)])
    assert found.refused
    assert found.at_least == ""
    assert found.refusal == (
        "read from paper: by less than the pen's stroke tells, this window would be suspicious",
    )


def test_a_best_class_that_less_than_the_pen_takes_away_is_withheld(
    normal: Classification,
) -> None:
    assert held_back(normal, [replace(normal, label="no class", rank=-1)]).refused


def test_a_middle_class_near_a_worse_one_is_the_least_that_is_certain(
    normal: Classification,
) -> None:
    middle = replace(normal, label="suspicious", rank=1)
    worst = replace(normal, label="pathological", rank=2)
    assert held_back(middle, [worst, middle]).said == "at least suspicious"


def test_a_class_is_never_made_better_or_taken_back_by_a_better_one(
    normal: Classification,
) -> None:
    worst = replace(normal, label="pathological", rank=2)
    assert held_back(worst, [normal, replace(normal, rank=-1)]) is worst
    assert held_back(normal, [normal, normal]) is normal


def test_only_what_was_read_from_paper_is_read_otherwise(calm: Recording) -> None:
    assert read_otherwise(calm) == ()
    paper = replace(calm, provenance=Provenance("strip.jpg", "paper"))
    made = read_otherwise(paper)
    assert len(made) > 1
    for one in made:
        off = one.heart_rate().samples - calm.heart_rate().samples
        assert np.std(off) == pytest.approx(0.5, abs=0.05)


def test_a_clear_class_stands_on_paper_too(calm: Recording) -> None:
    paper = replace(calm, provenance=Provenance("strip.jpg", "paper"))
    labels = [
        [one.said for one in read(each, history=False).fetuses[0].classes] for each in (calm, paper)
    ]
    assert labels[0] == labels[1]
