"""What findings say of what could not be told, and where a reader's own value stands."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from ebbline.features import detect, manual_events
from ebbline.features.findings import Findings, VariabilityClass
from ebbline.features.fitness import limited, unfit_words
from ebbline.features.manual_levels import LevelError, with_baseline
from ebbline.features.window import activity_share, montevideo_units
from ebbline.recording.model import Recording
from ebbline.terms import SensorKind, Window
from features.constructed import Trace


@pytest.fixture(scope="module")
def recording() -> Recording:
    return Trace(40).contractions(150).recording()


@pytest.fixture(scope="module")
def findings(recording: Recording) -> Findings:
    return detect(recording)


def test_a_rate_of_one_in_seconds_is_told_so_and_a_faster_one_by_the_second(
    findings: Findings,
) -> None:
    rare = unfit_words(limited(findings, 0.2, 0.05))
    assert "one sample in 5 s" in rare[0] and "one sample in 20 s" in rare[1]
    assert "0.8 samples a s" in unfit_words(limited(findings, 0.8, 4.0))[0]


def test_what_a_rate_is_not_fit_for_has_no_value_and_no_certainty(findings: Findings) -> None:
    """Missing samples never reassure: no class, no width, nothing sure."""
    for one in limited(findings, 0.2, 4.0).fetal.variability:
        assert one.variability is VariabilityClass.INDETERMINATE
        assert math.isnan(one.bandwidth_bpm) and math.isnan(one.stv_ms)
        assert one.certainty == 0.0 and one.measured_minutes == 0
    assert findings.fetal.variability[0].certainty > 0.5


def test_ten_minutes_without_a_minute_measured_are_not_sure_of_anything() -> None:
    found = detect(Trace(30).lose(600, 1200).recording())
    blank = found.fetal.variability[1]
    assert blank.measured_minutes == 0 and blank.certainty == 0.0
    assert blank.variability is VariabilityClass.INDETERMINATE


def test_a_refusal_by_hand_says_the_place_by_the_clock_of_the_recording(
    findings: Findings,
) -> None:
    long = Trace(65).recording()
    with pytest.raises(manual_events.ByHandError) as raised:
        manual_events.deceleration_between(long, detect(long), 3661, 3700)
    assert "at 1:01:01" in str(raised.value)


def test_a_baseline_by_hand_wants_two_minutes_and_stands_for_what_it_mostly_covers(
    findings: Findings,
) -> None:
    """NICHD 2008: at least two minutes of baseline in ten."""
    with pytest.raises(LevelError):
        with_baseline(findings, Window(0.0, 119.0), 150.0)
    assert with_baseline(findings, Window(0.0, 120.0), 150.0).fetal.baseline[0].bpm == 140
    set_by_hand = with_baseline(findings, Window(0.0, 320.0), 150.0).fetal
    assert [one.bpm for one in set_by_hand.baseline[:2]] == [150, 140]


def test_without_a_channel_or_without_time_no_activity_was_measured(findings: Findings) -> None:
    deaf = detect(Trace(20, activity_sensor=None).recording())
    assert activity_share(deaf, Window(0.0, 600.0)) == 0.0
    assert activity_share(findings, Window(60.0, 60.0)) == 0.0
    assert activity_share(findings, Window(60.0, 660.0)) == 1.0


def test_no_units_of_a_belt_and_none_counted(findings: Findings) -> None:
    """Only a pressure inside the uterus has mmHg (Caldeyro-Barcia and Poseiro 1960)."""
    of_belt = montevideo_units(findings, Window(0.0, 1200.0))
    assert math.isnan(of_belt.units) and of_belt.contractions == 0
    inside = replace(
        findings, uterine=replace(findings.uterine, sensor=SensorKind.PRESSURE_CATHETER)
    )
    short = montevideo_units(inside, Window(0.0, 500.0))
    assert math.isnan(short.units) and short.contractions == 0
    told = montevideo_units(inside, Window(600.0, 1800.0))
    within = [c for c in inside.uterine.contractions if 600 <= c.peak_s < 1800]
    assert told.contractions == len(within) == 8
    assert told.units == pytest.approx(
        600.0 * float(np.sum([c.amplitude for c in within])) / 1200.0
    )
