"""Variability: bandwidth classes (NICHD 2008) and short-term variation by its formula."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from ebbline.features import detect
from ebbline.features.findings import VariabilityClass
from ebbline.features.variability import (
    class_of_minutes,
    short_term_variation,
    usual_bandwidth,
    variability_class,
)
from features.constructed import Trace


@pytest.mark.parametrize(
    ("bandwidth", "named"),
    [
        (0.0, VariabilityClass.ABSENT),
        (2.4, VariabilityClass.ABSENT),
        (2.5, VariabilityClass.MINIMAL),
        (5.0, VariabilityClass.MINIMAL),
        (5.1, VariabilityClass.MODERATE),
        (25.0, VariabilityClass.MODERATE),
        (25.1, VariabilityClass.MARKED),
        (math.nan, VariabilityClass.INDETERMINATE),
    ],
)
def test_bandwidths_have_the_classes_of_nichd_2008(
    bandwidth: float, named: VariabilityClass
) -> None:
    assert variability_class(bandwidth) is named


@pytest.mark.parametrize(
    ("band", "named"),
    [
        (1.0, VariabilityClass.ABSENT),
        (3.5, VariabilityClass.MINIMAL),
        (8.0, VariabilityClass.MODERATE),
        (20.0, VariabilityClass.MODERATE),
        (36.0, VariabilityClass.MARKED),
    ],
)
def test_band_of_a_constructed_trace_is_measured(band: float, named: VariabilityClass) -> None:
    for segment in detect(Trace(30, band=band).recording()).fetal.variability:
        assert segment.bandwidth_bpm == pytest.approx(band, rel=0.12, abs=0.3)
        assert segment.variability is named


def test_decelerations_are_left_out_of_the_baselines_variability() -> None:
    trace = Trace(30, band=4.0)
    for onset in range(70, 1700, 180):
        trace.excursion(onset, 20, 20, 25, -40)
    for segment in detect(trace.recording()).fetal.variability:
        assert segment.variability is VariabilityClass.MINIMAL


def test_minutes_without_enough_signal_have_no_bandwidth() -> None:
    found = detect(Trace(20).lose(300, 540).recording()).fetal
    assert np.isnan(found.bandwidth.values[5:9]).all()
    assert np.isfinite(found.bandwidth.values[:5]).all()
    assert found.variability[0].measured_minutes == 6
    assert found.variability[0].certainty < found.variability[1].certainty


def test_short_term_variation_is_the_mean_step_between_epochs_of_pulse_intervals() -> None:
    """Pardey, Moulden, Redman. Am J Obstet Gynecol 2002;186:1095-103.

    Worked by hand: epochs of 3.75 s at 120, 125, 120, 150 bpm have mean intervals of 500, 480,
    500 and 400 ms; the steps are 20, 20 and 100 ms; their mean is 140 / 3.
    """
    fhr = np.repeat([120.0, 125.0, 120.0, 150.0], 15)
    assert short_term_variation(fhr, 4.0) == pytest.approx(140 / 3)


def test_short_term_variation_does_not_step_over_a_missing_epoch() -> None:
    """Same source: only neighbouring valid epochs are compared."""
    fhr = np.repeat([120.0, 125.0, np.nan, 150.0], 15)
    assert short_term_variation(fhr, 4.0) == pytest.approx(20.0)
    assert math.isnan(short_term_variation(np.repeat([120.0, np.nan], 15), 4.0))


def test_one_strange_minute_does_not_widen_the_others() -> None:
    minutes = np.array([4.0, 5.0, 4.5, 30.0, np.nan, 4.5])
    assert usual_bandwidth(minutes) == pytest.approx(4.5)


def test_many_wide_minutes_are_the_usual_ones() -> None:
    minutes = np.array([4.0, 4.0, 4.0, 20.0, 20.0])
    assert usual_bandwidth(minutes) == pytest.approx(10.4)


@pytest.mark.parametrize(("measured", "told"), [(2, False), (3, True)])
def test_two_minutes_carry_no_class(measured: int, told: bool) -> None:
    minutes = np.array([1.0] * measured + [np.nan] * 5)
    assert (class_of_minutes(minutes) is VariabilityClass.ABSENT) is told
    assert (class_of_minutes(minutes) is VariabilityClass.INDETERMINATE) is not told


def test_drift_and_single_samples_are_not_variability() -> None:
    """Variability is fluctuation of two cycles a minute or more (NICHD 1997): a slow climb, or one
    stray sample a minute, leaves a flat trace flat."""
    flat = Trace(20, baseline=140, band=2.0)
    climbing = Trace(20, baseline=140, band=2.0)
    climbing.bpm = climbing.bpm + 8.0 * np.sin(2 * np.pi * climbing.seconds / 240)
    stray = Trace(20, baseline=140, band=2.0)
    stray.bpm[::240] += 15.0
    bands = [
        np.nanmean(detect(t.recording()).fetal.bandwidth.values) for t in (flat, climbing, stray)
    ]
    assert bands[0] == pytest.approx(1.8, abs=0.3)
    assert bands[1] < 2.5 and bands[2] == pytest.approx(bands[0], abs=0.2)


def test_a_wave_of_given_width_has_that_bandwidth() -> None:
    """By arithmetic: a sine of 3 cycles a minute and 12 bpm from trough to peak."""
    trace = Trace(20, band=0.0)
    trace.bpm = 140 + 6.0 * np.sin(2 * np.pi * trace.seconds / 20)
    band = detect(trace.recording()).fetal.bandwidth.values
    assert np.nanmedian(band) == pytest.approx(12.0, abs=1.5)


@pytest.mark.parametrize("seed", range(3))
def test_fewer_samples_make_no_baseline_livelier(seed: int) -> None:
    """One sample a second, each as rough as before: what a single one makes is no band."""
    trace = Trace(40, band=4.0)
    trace.bpm = trace.bpm + np.random.default_rng(seed).normal(0.0, 1.2, len(trace.bpm))
    whole = trace.recording()
    heart = whole.heart_rate(1)
    thin = replace(heart, samples=heart.samples[::4].copy(), rate_hz=1.0)
    others = tuple(c for c in whole.channels if c is not heart)
    few = replace(whole, channels=(thin, *others))
    bands = [np.nanmean(detect(r).fetal.bandwidth.values) for r in (whole, few)]
    assert bands[1] <= bands[0]
