"""Limits of findings, each held from both sides: a small fault in one of them must be seen."""

from __future__ import annotations

import numpy as np
import pytest

from ebbline.features import detect
from ebbline.features.segments import baseline_segments
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
