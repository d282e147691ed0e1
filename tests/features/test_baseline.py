"""The baseline: what it does not chase, what it follows, and when it is not known.

Source: NICHD 2008 (mean over 10 minutes rounded to 5 bpm, excursions left out, at least 2 minutes
of baseline; a change of level of 10 minutes or more is a change of baseline).
"""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from ebbline.features import detect
from ebbline.features.baseline import baseline_path
from ebbline.features.findings import DecelerationKind, FetalFindings
from features.constructed import Trace

FloatArray = NDArray[np.float64]


def findings_of(trace: Trace) -> FetalFindings:
    return detect(trace.recording()).fetal


@pytest.mark.parametrize(
    ("rate", "rounded"), [(137.4, 135.0), (137.6, 140.0), (142.4, 140.0), (142.6, 145.0)]
)
def test_baseline_is_rounded_to_5_bpm(rate: float, rounded: float) -> None:
    assert findings_of(Trace(20, baseline=rate)).baseline[0].bpm == rounded


@pytest.mark.parametrize("rate", [70, 90, 109, 140, 161, 185, 205])
def test_level_from_bradycardia_to_tachycardia_is_followed(rate: float) -> None:
    assert findings_of(Trace(20, baseline=rate)).baseline[0].mean_bpm == pytest.approx(rate, abs=1)


def test_decelerations_with_every_contraction_do_not_lower_the_baseline() -> None:
    trace = Trace(60)
    for onset in range(60, 3400, 120):
        trace.excursion(onset, 20, 20, 25, -40)
    for segment in findings_of(trace).baseline:
        assert segment.mean_bpm == pytest.approx(140, abs=2.0)


def test_accelerations_every_two_minutes_do_not_raise_the_baseline() -> None:
    trace = Trace(60)
    for onset in range(60, 3400, 120):
        trace.excursion(onset, 10, 15, 10, 25)
    for segment in findings_of(trace).baseline:
        assert segment.mean_bpm == pytest.approx(140, abs=2.0)


def test_slow_wander_is_followed() -> None:
    trace = Trace(60)
    trace.bpm = trace.bpm + 12 * np.sin(2 * np.pi * trace.seconds / 2400)
    curve = findings_of(trace).baseline_curve
    true = 140 + 12 * np.sin(2 * np.pi * np.arange(len(curve.values)) / 2400)
    assert np.median(np.abs(curve.values - true)) < 1.5


@pytest.mark.parametrize("loss", [0.2, 0.4])
def test_baseline_survives_lost_signal(loss: float) -> None:
    trace = Trace(40)
    for onset in range(60, 2200, 180):
        trace.excursion(onset, 20, 20, 25, -35)
    random = np.random.default_rng(3)
    for start in np.arange(0, 2400, 20.0):
        if random.random() < loss:
            trace.lose(start, start + 20)
    for segment in findings_of(trace).baseline:
        assert segment.determinate
        assert segment.mean_bpm == pytest.approx(140, abs=2.5)


@pytest.mark.parametrize(("kept", "determinate"), [(100, False), (140, True)])
def test_ten_minutes_need_two_of_baseline(kept: float, determinate: bool) -> None:
    trace = Trace(30).lose(600, 900 - kept / 2).lose(900 + kept / 2, 1200)
    segment = findings_of(trace).baseline[1]
    assert segment.determinate is determinate
    assert np.isnan(segment.bpm) is not determinate or segment.bpm == 140.0
    assert bool(segment.why) is not determinate


def test_indeterminate_ten_minutes_name_the_preceding_ones() -> None:
    """NICHD 2008: then look to the preceding ten minutes."""
    segments = findings_of(Trace(30).lose(600, 1190)).baseline
    assert [s.determinate for s in segments] == [True, False, True]
    assert segments[1].carried_from_s == 0.0


def test_no_signal_at_all_has_no_baseline() -> None:
    found = findings_of(Trace(20).lose(0, 1200))
    assert not any(s.determinate for s in found.baseline)
    assert np.isnan(found.baseline_curve.values).all()
    assert all(q.valid_share == 0.0 for q in found.quality)


@pytest.mark.parametrize("minutes", [2.0, 4.0, 5.5, 7.0, 9.0])
def test_a_fall_that_has_not_come_back_at_the_end_stays_one_fall(minutes: float) -> None:
    """A change of baseline lasts ten minutes (NICHD 2008): under that, and not over, it is a
    deceleration that lasted at least as long as it was seen."""
    trace = Trace(30 + minutes, baseline=150).contractions(180)
    trace.excursion(30 * 60, 20, minutes * 60 + 100, 10, -85)
    fetal = detect(trace.recording()).fetal
    (fall,) = fetal.decelerations
    assert not fall.recovered and fall.kind is DecelerationKind.PROLONGED
    assert fall.duration_s == pytest.approx(minutes * 60, abs=5) and not fetal.baseline_changes
    assert all(s.mean_bpm == pytest.approx(150, abs=2) for s in fetal.baseline if s.determinate)


def test_a_fall_is_a_baseline_once_it_has_stayed_for_longer_than_ten_minutes() -> None:
    trace = Trace(43, baseline=150).contractions(180).excursion(30 * 60, 20, 14 * 60, 10, -85)
    fetal = detect(trace.recording()).fetal
    assert not fetal.decelerations and fetal.baseline[-1].mean_bpm == pytest.approx(65, abs=2)


def test_a_fall_that_comes_back_is_recovered() -> None:
    trace = Trace(40, baseline=150).contractions(180).excursion(1500, 20, 60, 20, -60)
    (fall,) = detect(trace.recording()).fetal.decelerations
    assert fall.recovered


def test_change_of_baseline_late_in_a_long_labour_is_told_where_it_is() -> None:
    trace = Trace(360)
    trace.bpm = trace.bpm + np.where(trace.seconds >= 310 * 60, 30.0, 0.0)
    change = findings_of(trace).baseline_changes[0]
    assert change.at_s == pytest.approx(310 * 60, abs=60)


def test_the_path_is_as_sure_after_hours_of_labour_as_at_its_start() -> None:
    """The costs of the path are kept small, so that rounding does not grow with what went before.

    Signal without a level, so that many paths have nearly one price, is where it would show: it
    stands early in one trace and late in another, after the same steady stretch.
    """
    rng = np.random.default_rng(5)
    epochs = 1200
    level = rng.uniform(60.0, 200.0, epochs)
    level[rng.random(epochs) < 0.3] = np.nan
    lead = 600
    steady = np.full(lead, 140.0)
    before = 20 * 1200
    long_before = np.tile(np.where(np.isnan(level), 95.0, 200.0 - level / 2.0), before // epochs)

    def margin(parts: list[FloatArray]) -> FloatArray:
        mean = np.concatenate(parts)
        share = np.where(np.isnan(mean), 0.0, 1.0)
        return baseline_path(mean, share)[1][-epochs // 8 :]

    late, early = margin([long_before, steady, level]), margin([steady, level])
    np.testing.assert_allclose(late, early, atol=2e-4)


def test_ten_minutes_over_a_change_have_the_level_that_most_of_them_lie_on() -> None:
    """A mean over two levels was never there (NICHD 2008: rounded to 5 bpm, of the baseline)."""
    trace = Trace(60, baseline=140)
    trace.bpm[34 * 240 :] -= 30
    tens = detect(trace.recording()).fetal.baseline
    assert [s.bpm for s in tens] == [140, 140, 140, 110, 110, 110]
