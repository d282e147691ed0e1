"""Contractions from constructed activity signals whose contractions are known."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from ebbline.features import contractions, detect
from ebbline.features.findings import UterineFindings
from ebbline.terms import SensorKind
from features.constructed import Trace


def findings_of(trace: Trace) -> UterineFindings:
    return detect(trace.recording()).uterine


@pytest.mark.parametrize("every_s", [90, 120, 180, 300])
def test_each_contraction_is_found_once_with_its_peak(every_s: float) -> None:
    trace = Trace(60).contractions(every_s, first_s=100)
    peaks = np.arange(100, 3540, every_s)
    found = np.array([c.peak_s for c in findings_of(trace).contractions])
    assert len(found) == len(peaks)
    assert np.max(np.abs(found - peaks)) < 4


def test_duration_is_from_foot_to_foot() -> None:
    trace = Trace(40).contractions(240, duration_s=80)
    for contraction in findings_of(trace).contractions:
        assert contraction.duration_s == pytest.approx(70, abs=14)


def test_drifting_belt_tone_makes_no_contractions() -> None:
    trace = Trace(60)
    trace.activity = trace.activity + 15 * np.sin(2 * np.pi * trace.seconds / 1500)
    assert not findings_of(trace).contractions


def test_drifting_belt_tone_hides_no_contractions() -> None:
    trace = Trace(60).contractions(200)
    trace.activity = trace.activity + 15 * np.sin(2 * np.pi * trace.seconds / 1500)
    assert len(findings_of(trace).contractions) == len(np.arange(60, 3540, 200))


def test_cut_tops_are_noticed() -> None:
    trace = Trace(40).contractions(240, height=90)
    trace.activity = np.minimum(trace.activity, 60.0)
    found = findings_of(trace).contractions
    assert len(found) == len(np.arange(60, 2340, 240))
    assert all(c.cut_top for c in found)
    assert not any(c.cut_top for c in findings_of(Trace(40).contractions(240)).contractions)


def test_short_spikes_of_movement_are_no_contractions() -> None:
    trace = Trace(30)
    for at in range(100, 1700, 150):
        trace.activity[at * 4 : at * 4 + 12] += 40
    assert not findings_of(trace).contractions


def test_dead_channel_is_not_measured_rather_than_quiet() -> None:
    trace = Trace(30)
    trace.activity = np.full_like(trace.activity, 5.0)
    found = findings_of(trace)
    assert not found.contractions
    assert found.measured.values.max() == 0.0


def test_quiet_but_living_channel_is_measured() -> None:
    found = findings_of(Trace(30))
    assert not found.contractions
    assert found.measured.values.min() == 1.0


def test_pressures_of_a_catheter_are_in_mmhg_over_resting_tone() -> None:
    trace = Trace(40, activity_sensor=SensorKind.PRESSURE_CATHETER)
    trace.contractions(180, height=50)
    for contraction in findings_of(trace).contractions:
        assert contraction.amplitude == pytest.approx(50, abs=4)
        assert contraction.resting_tone == pytest.approx(10, abs=2)


def test_no_channel_is_said_to_be_absent() -> None:
    trace = Trace(30)
    trace.activity_sensor = None
    found = findings_of(trace)
    assert not found.present
    assert found.measured.values.max() == 0.0


def test_opening_is_the_one_of_scipy() -> None:
    """Reference library: scipy.ndimage grey erosion and dilation with a flat footprint."""
    values = np.random.default_rng(5).normal(size=400).cumsum()
    eroded = contractions._running_least(values, 20, 1.0)
    opened = contractions._running_least(eroded, 20, -1.0)
    assert np.allclose(eroded, ndimage.minimum_filter1d(values, 41, mode="nearest"))
    assert np.allclose(opened, ndimage.maximum_filter1d(eroded, 41, mode="nearest"))


def test_steps_and_plateaus_of_the_belt_are_no_contractions() -> None:
    trace = Trace(40).contractions(240)
    trace.activity[(700 * 4) : (780 * 4)] += 30.0
    found = detect(trace.recording()).uterine.contractions
    assert not any(abs(c.peak_s - 740) < 30 and c.certainty > 0.7 for c in found)


def test_a_belt_that_has_slipped_shows_no_contractions_of_its_own_scale() -> None:
    trace = Trace(60).contractions(180)
    later = trace.seconds > 1800
    trace.activity[later] = 10.0 + 0.1 * (trace.activity[later] - 10.0)
    found = detect(trace.recording()).uterine.contractions
    assert not [c for c in found if c.onset_s > 1860]


def test_a_brief_sudden_hill_is_a_hand_on_the_belt() -> None:
    """The womb takes some 20 s to harden; a hand or a cough takes one."""
    trace = Trace(40).contractions(240, first_s=100)
    before = findings_of(trace).contractions
    since = trace.seconds - 1170.0
    trace.activity = trace.activity + np.where(since < 0, 0.0, 40.0 * np.exp(-since / 12.0))
    after = findings_of(trace).contractions
    assert [c.peak_s for c in after] == pytest.approx([c.peak_s for c in before], abs=3)


@pytest.mark.parametrize(("per_min", "every_s"), [(8.0, 120.0), (16.0, 120.0), (16.0, 180.0)])
def test_breathing_that_waxes_and_wanes_is_no_contraction(per_min: float, every_s: float) -> None:
    """A belt that only presses in with each breath rises in the mean as the breaths deepen."""
    trace = Trace(40)
    t = trace.seconds
    deep = 0.5 * (1.0 - np.cos(2 * np.pi * t / every_s))
    trace.activity = 10.0 + 20.0 * deep * (1.0 + np.sin(2 * np.pi * per_min * t / 60.0)) / 2.0
    assert len(detect(trace.recording()).uterine.contractions) <= 1
    trace.contractions(240)
    assert len(detect(trace.recording()).uterine.contractions) >= 9


def test_bearing_down_rides_on_a_contraction_and_is_one_with_it() -> None:
    trace = Trace(40).contractions(180)
    t = trace.seconds
    for peak in np.arange(90, 2340, 180):
        for push in (-18, -6, 6, 18):
            trace.activity += 35.0 * np.exp(-(((t - peak - push) / 3.0) ** 2))
    assert len(detect(trace.recording()).uterine.contractions) in (12, 13, 14)
