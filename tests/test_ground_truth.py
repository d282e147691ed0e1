"""The truth of a virtual labour as findings: the generator's own numbers, whole and consistent."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ebbline.definitions import variability_class
from ebbline.features.findings import DecelerationKind
from ebbline.ground_truth import Seen, findings_from_truth, findings_of_labour
from ebbline.synth import Labour, Scenario, invent
from ebbline.terms import SensorKind


@pytest.fixture(scope="module")
def labour() -> Labour:
    words = "recurrent late, intermittent variable, 20 % loss, 66 minutes"
    return invent(Scenario.from_words(words), 5)


def test_every_true_deceleration_that_counts_is_a_finding_with_its_own_numbers(
    labour: Labour,
) -> None:
    found = findings_of_labour(labour).fetal.decelerations
    counted = [d for d in labour.truth.decelerations if d.counts]
    assert len(counted) >= 5
    deep = [d for d in found if not d.shallow]
    assert [(d.onset_s, d.nadir_s, d.end_s, d.depth_bpm) for d in deep] == [
        (d.onset_s, d.nadir_s, d.end_s, d.depth_bpm) for d in counted
    ]
    assert [d.kind for d in deep] == [DecelerationKind(str(d.kind)) for d in counted]
    assert all(0 < d.area_bpm_s <= 1.5 * d.depth_bpm * d.duration_s for d in deep)


def test_loss_of_signal_changes_no_true_number_but_what_was_seen(labour: Labour) -> None:
    seconds = int(labour.truth.duration_s)
    half = Seen(heart=np.tile([1.0, 0.0], (seconds + 1) // 2)[:seconds], activity=np.ones(seconds))
    whole, seen = findings_of_labour(labour), findings_from_truth(labour.truth, half)
    assert seen.fetal.decelerations == whole.fetal.decelerations
    assert float(np.isnan(seen.fetal.rate_curve.values).mean()) == pytest.approx(0.5, abs=0.01)
    assert not np.isnan(whole.fetal.rate_curve.values).any()


def test_the_class_of_a_ten_minutes_is_that_of_its_own_true_bandwidth(labour: Labour) -> None:
    findings = findings_of_labour(labour)
    assert [one.end_s for one in findings.fetal.variability][-1] == labour.truth.duration_s
    for one in findings.fetal.variability:
        assert one.variability is variability_class(one.bandwidth_bpm)
    told = [one for one in findings.fetal.baseline if one.determinate]
    assert told
    for one in told:
        assert one.bpm % 5 == 0
        assert abs(one.bpm - one.mean_bpm) <= 2.5


def test_what_is_left_of_ten_minutes_joins_the_last_as_in_a_detected_reading(
    labour: Labour,
) -> None:
    from ebbline.features import detect

    true, found = findings_of_labour(labour), detect(labour.recording)
    assert [(s.start_s, s.end_s) for s in true.fetal.baseline] == [
        (s.start_s, s.end_s) for s in found.fetal.baseline
    ]


def test_the_sensors_are_those_of_the_labour() -> None:
    words = "normal, scalp electrode, pressure catheter, 30 minutes"
    findings = findings_of_labour(invent(Scenario.from_words(words), 1))
    assert findings.fetal.sensor is SensorKind.SCALP_ELECTRODE
    assert findings.uterine.sensor is SensorKind.PRESSURE_CATHETER
    assert math.isfinite(float(np.nanmean(findings.fetal.fine_bandwidth.values)))
