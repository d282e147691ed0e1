"""Silence put before a recording changes nothing but times: the clock's zero is no finding."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest
from bench.moved import DATA, padded, said
from hypothesis import given, settings
from hypothesis import strategies as st

from ebbline.features import detect
from ebbline.recording import open_recording
from ebbline.recording.model import Recording
from ebbline.synth import Scenario, invent
from ebbline.terms import Window
from shared_data import needs_ctu_uhb

FEW = settings(max_examples=6, deadline=None, derandomize=True)
WORDS = ("normal, 15 % loss", "recurrent variable", "recurrent late, minimal variability")


@cache
def labour(words: str) -> Recording:
    """An invented hour, seed 900."""
    return invent(Scenario.from_words(f"{words}, 60 minutes"), 900).recording


@FEW
@given(
    seconds=st.integers(1, 900).map(float),
    words=st.sampled_from(WORDS),
    belt=st.sampled_from((np.nan, 0.0)),
)
def test_silence_before_an_invented_labour_changes_no_class(
    seconds: float, words: str, belt: float
) -> None:
    recording = labour(words)
    before = said(recording, Window(1500.0, 3300.0))
    window = Window(1500.0 + seconds, 3300.0 + seconds)
    assert said(padded(recording, seconds, belt_at=belt), window) == before


@needs_ctu_uhb
@pytest.mark.parametrize("seconds", [61.0, 137.0, 733.0])
def test_silence_before_a_real_labour_moves_every_fall_by_as_much(seconds: float) -> None:
    recording = open_recording(DATA / "1121.hea")
    early, late = detect(recording), detect(padded(recording, seconds))
    assert len(early.fetal.decelerations) == len(late.fetal.decelerations) > 0
    for one, other in zip(early.fetal.decelerations, late.fetal.decelerations, strict=True):
        assert other.onset_s - one.onset_s == pytest.approx(seconds, abs=1e-6)
        assert (other.kind, other.contraction) == (one.kind, one.contraction)
    window = Window(early.duration_s - 1800.0, early.duration_s)
    moved = Window(window.start_s + seconds, window.end_s + seconds)
    assert said(padded(recording, seconds), moved) == said(recording, window)
