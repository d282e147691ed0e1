"""Findings drawn by a reader: measured like detected ones, refused where the definitions say no."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from ebbline.features import detect, manual_events
from ebbline.features.findings import DecelerationKind, Findings
from ebbline.recording.model import Channel, ChannelKind, Recording
from ebbline.terms import SensorKind

RATE = 4.0
PEAKS_S = (300.0, 600.0, 900.0, 1200.0, 1500.0)


@cache
def made() -> tuple[Recording, Findings]:
    """Half an hour at 140 bpm; each contraction followed by a gradual fall of 30 bpm; one rise."""
    at = np.arange(0, 1800, 1 / RATE)
    rate = 140 + 3 * np.sin(at / 2.1) + 2 * np.sin(at / 0.9)
    activity = np.full(at.shape, 10.0)
    for peak in PEAKS_S:
        rate -= 30 * np.exp(-(((at - peak - 35) / 25) ** 2))
        activity += 50 * np.exp(-(((at - peak) / 22) ** 2))
    rate += 25 * np.exp(-(((at - 750) / 9) ** 2))
    channels = (
        Channel(ChannelKind.FETAL_HEART_RATE, rate, RATE, SensorKind.SCALP_ELECTRODE, 1, "bpm"),
        Channel(ChannelKind.UTERINE_ACTIVITY, activity, RATE, SensorKind.TOCO),
    )
    recording = Recording("constructed", channels)
    return recording, detect(recording)


def test_a_fall_measured_at_the_detected_ends_has_the_detected_numbers() -> None:
    recording, findings = made()
    assert len(findings.fetal.decelerations) == len(PEAKS_S)
    for one in findings.fetal.decelerations:
        again = manual_events.deceleration_between(recording, findings, one.onset_s, one.end_s)
        assert again.kind is one.kind is DecelerationKind.LATE
        assert again.depth_bpm == pytest.approx(one.depth_bpm, abs=1.0)
        assert again.nadir_s == pytest.approx(one.nadir_s, abs=2.0)
        assert again.lag_s == pytest.approx(one.lag_s, abs=2.0)
        assert again.contraction == one.contraction


def test_a_rise_and_a_contraction_are_measured_too() -> None:
    recording, findings = made()
    rise = findings.fetal.accelerations[0]
    again = manual_events.acceleration_between(recording, findings, rise.onset_s, rise.end_s)
    assert again.height_bpm == pytest.approx(rise.height_bpm, abs=1.0)
    assert again.abrupt
    squeeze = findings.uterine.contractions[1]
    drawn = manual_events.contraction_between(recording, findings, squeeze.onset_s, squeeze.end_s)
    assert drawn.peak_s == pytest.approx(600, abs=3)
    assert drawn.resting_tone == pytest.approx(10, abs=2)


def test_the_ends_stay_where_the_reader_put_them() -> None:
    recording, findings = made()
    one = findings.fetal.decelerations[0]
    drawn = manual_events.deceleration_between(recording, findings, one.onset_s - 5, one.end_s + 8)
    assert drawn.onset_s == pytest.approx(one.onset_s - 5, abs=0.3)
    assert drawn.end_s == pytest.approx(one.end_s + 8, abs=0.3)


def test_what_is_too_shallow_is_refused_with_what_was_measured() -> None:
    """NICHD 2008: a deceleration is at least 15 bpm below the baseline."""
    recording, findings = made()
    with pytest.raises(manual_events.ByHandError, match="the definitions ask for 15 bpm"):
        manual_events.deceleration_between(recording, findings, 1020, 1060)
    with pytest.raises(manual_events.ByHandError, match="the definitions ask for 15 bpm"):
        manual_events.acceleration_between(recording, findings, 1020, 1060)


def test_nothing_is_measured_where_there_was_no_signal() -> None:
    recording, findings = made()
    heart = recording.channels[0].samples.copy()
    heart[int(280 * RATE) : int(420 * RATE)] = np.nan
    gappy = replace(
        recording,
        channels=(replace(recording.channels[0], samples=heart), recording.channels[1]),
    )
    with pytest.raises(manual_events.ByHandError):
        manual_events.deceleration_between(gappy, findings, 300, 380)
    deaf = replace(recording, channels=recording.channels[:1])
    with pytest.raises(manual_events.ByHandError, match="no activity channel"):
        manual_events.contraction_between(deaf, findings, 300, 380)


def test_the_same_contractions_change_nothing() -> None:
    _, findings = made()
    again = manual_events.with_contractions(findings, findings.uterine.contractions)
    assert again.fetal.decelerations == findings.fetal.decelerations
    assert again.fetal.accelerations == findings.fetal.accelerations


def test_a_gradual_fall_without_its_contraction_is_no_longer_late() -> None:
    _, findings = made()
    left = findings.uterine.contractions[1:]
    freed = manual_events.with_contractions(findings, left).fetal.decelerations
    assert freed[0].kind is DecelerationKind.GRADUAL_UNPAIRED
    assert np.isnan(freed[0].lag_s)
    assert [one.kind for one in freed[1:]] == [DecelerationKind.LATE] * 4
    assert [one.contraction for one in freed[1:]] == [0, 1, 2, 3]


@pytest.mark.parametrize(
    ("rough", "edge"), [(1.0, 2.0), (2.5, 3.0), (3.75, 4.5), (5.0, 4.5)], ids=str
)
def test_a_fall_fails_to_return_where_it_ends_further_off_than_the_trace_is_rough(
    rough: float, edge: float, monkeypatch: pytest.MonkeyPatch
) -> None:
    """1.2 times the roughness, 2 bpm at least and 4.5 at most (ours)."""
    recording, findings = made()
    for off, fails in ((edge - 0.01, False), (edge + 0.01, True)):
        away = np.interp(np.arange(800), [100, 200, 300, 500], [0.0, 30.0, 30.0, off])
        away[501:] = 0.0
        flat = np.full(800, 140.0)
        stretch = manual_events._Stretch(0.0, flat - away, away, flat, rough)
        monkeypatch.setattr(manual_events, "_stretch", lambda *_, s=stretch: s)
        fall = manual_events.deceleration_between(recording, findings, 25.0, 501 / RATE)
        assert fall.fails_to_return is fails
        assert (fall.onset_s, fall.end_s) == (25.0, 501 / RATE)
        assert (fall.depth_bpm, fall.baseline_bpm) == (30.0, 140.0)


def test_a_contraction_of_which_a_part_was_lost_is_measured_from_the_rest() -> None:
    recording, findings = made()
    activity = recording.first(ChannelKind.UTERINE_ACTIVITY)
    assert activity is not None
    samples = np.array(activity.samples)
    samples[int(570 * RATE) : int(580 * RATE)] = np.nan
    lossy = replace(recording, channels=(recording.channels[0], replace(activity, samples=samples)))
    drawn = manual_events.contraction_between(lossy, findings, 560.0, 640.0)
    assert drawn.peak_s == pytest.approx(600, abs=1)
    # A bell of 50 over 10, the mean of eleven seconds about its top.
    assert drawn.amplitude == pytest.approx(50.0, abs=2.0)
    assert drawn.valid_share == 70 / 80
    samples[int(550 * RATE) : int(650 * RATE)] = np.nan
    with pytest.raises(manual_events.ByHandError, match="no activity signal"):
        manual_events.contraction_between(lossy, findings, 560.0, 640.0)


def test_how_rough_a_stretch_is_is_its_mean_distance_from_its_own_15_s() -> None:
    """Means of 2.25 s from means of 15 s, three minutes before and after with it."""
    recording, findings = made()
    stretch = manual_events._stretch(recording, findings, 580.0, 700.0, -1.0)
    rate = np.asarray(recording.heart_rate(1).samples)[400 * 4 : 880 * 4]
    assert stretch.start_s == 400.0 and len(stretch.kept) == len(rate)
    steady, slow = (
        np.array([rate[max(0, i - reach) : i + reach + 1].mean() for i in range(len(rate))])
        for reach in (4, 30)
    )
    assert stretch.rough == pytest.approx(np.abs(steady - slow).mean(), rel=0.01)
    # The level is that of the second, the distance positive towards a fall.
    level = findings.fetal.baseline_curve.values[400:880].repeat(4)
    np.testing.assert_array_equal(stretch.level, level)
    np.testing.assert_allclose(stretch.away, level - steady, atol=0.3)
