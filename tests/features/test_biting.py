"""Limits of findings, each held from both sides: a small fault in one of them must be seen."""

from __future__ import annotations

import numpy as np
import pytest

from ebbline.features import detect
from ebbline.features.event_matching import Span, match
from ebbline.features.findings import ArtefactKind, Curve, minutes_from
from ebbline.features.segments import baseline_segments
from ebbline.features.variability import _width
from features.constructed import RATE, Trace


@pytest.mark.parametrize(("band", "level"), [(24.0, 145.0), (26.0, 140.0), (50.0, 140.0)])
def test_minutes_of_marked_variability_are_left_out_of_the_baseline(
    band: float, level: float
) -> None:
    """NICHD 2008: the mean excludes segments that differ by more than 25 bpm (marked)."""
    minute = 60 * RATE
    beats = np.repeat([140.0] * 5 + [150.0] * 5, minute)
    bands = np.array([8.0] * 5 + [band] * 5)
    (found,) = baseline_segments(beats, bands, np.ones(600), np.full(200, 140.0))
    assert found.mean_bpm == pytest.approx(level)


@pytest.mark.parametrize(("rise_s", "seen"), [(16.0, True), (40.0, False)])
def test_a_rise_before_a_fall_is_a_shoulder_only_while_it_is_short(
    rise_s: float, seen: bool
) -> None:
    """A shoulder is short (here up to 25 s, ours); a longer rise is an acceleration of its own."""
    trace = Trace(20, band=4.0).contraction(640.0)
    trace.excursion(620.0 - rise_s, 2, rise_s - 4, 2, 14)
    trace.excursion(620.0, 10, 20, 12, -50)
    (fall,) = detect(trace.recording()).fetal.decelerations
    assert fall.shoulder_before is seen


@pytest.mark.parametrize(("overtone", "pseudo"), [(0.2, False), (0.45, True)])
def test_a_wave_with_a_fifth_of_its_power_in_overtones_is_jagged(
    overtone: float, pseudo: bool
) -> None:
    """FIGO 2015: pseudosinusoidal is jagged; from 0.12 of the power on (ours). An overtone of 0.2
    of the height has 0.04 of the power, one of 0.45 has 0.2."""
    trace = Trace(40, band=1.0)
    at = 2 * np.pi * trace.seconds * 3.5 / 60
    trace.bpm = trace.bpm + 10 * (np.sin(at) + overtone * np.sin(2 * at))
    found = detect(trace.recording()).fetal.sinusoidal
    assert found
    assert {one.pseudo for one in found} == {pseudo}


def test_minutes_from_a_moving_curve_begin_where_they_are_asked_to() -> None:
    """By hand: values each 5 s; of the minutes that begin at 10 s the first is the third value."""
    moving = Curve(0.0, 5.0, np.arange(40.0))
    by_minute = Curve(0.0, 60.0, np.zeros(3))
    found = minutes_from(moving, by_minute, 10.0)
    assert (found.start_s, found.step_s) == (10.0, 60.0)
    assert found.values.tolist() == [2.0, 14.0, 26.0, 38.0]


def test_without_marks_all_is_missed_and_without_events_all_is_too_much() -> None:
    stretch = Span(10.0, 20.0)
    assert match([], [stretch, stretch]).missed == (0, 1)
    assert match([stretch], []).extra == (0,)


def test_a_wide_piece_is_as_wide_as_its_own_samples_and_no_wider() -> None:
    """By hand: a zigzag of 30 bpm is 30 wide; its drawn line, half as wide, counts no more."""
    zigzag = np.tile([-15.0, 15.0], 60)
    off, ends = np.empty(120), np.empty((2, 120))
    assert _width(zigzag, zigzag, off, ends) == pytest.approx(30.0, abs=1.0)
    assert _width(0.6 * zigzag, zigzag, off, ends) == pytest.approx(30.0, abs=1.0)
    assert _width(0.1 * zigzag, zigzag, off, ends) == pytest.approx(3.0, abs=0.2)


def test_a_stretch_counted_double_ends_where_it_ended() -> None:
    """A sudden step to twice the rate for three minutes: the suspicion lies on these alone."""
    trace = Trace(20, band=4.0)
    trace.bpm[600 * RATE : 780 * RATE] = 2.0 * (trace.bpm[600 * RATE : 780 * RATE] - 65.0)
    trace.bpm[: 600 * RATE] -= 65.0
    trace.bpm[780 * RATE :] -= 65.0
    found = [
        one
        for one in detect(trace.recording()).fetal.artefacts
        if one.kind is ArtefactKind.DOUBLING
    ]
    assert found
    assert min(one.start_s for one in found) == pytest.approx(600.0, abs=5.0)
    assert max(one.end_s for one in found) == pytest.approx(780.0, abs=5.0)
