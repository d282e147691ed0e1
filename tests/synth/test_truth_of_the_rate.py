"""Truth goes by the rate that a reader sees, whatever made it."""

from dataclasses import replace

import numpy as np

from ebbline.synth import Scenario, invent
from ebbline.synth.ground_truth import Mechanism
from ebbline.synth.scenario_parts import Behaviour
from ebbline.synth.truth_events import drawn, of_the_rate_itself

QUIET = replace(
    Scenario(), bandwidth_bpm=13.0, behaviour=Behaviour.STEADY, signal_loss=0.0,
    variable_unpaired_per_hour=0.0, accelerations_per_hour=0.0,
)  # fmt: skip


def test_a_fall_that_only_fluctuation_makes_is_a_deceleration() -> None:
    """NICHD 2008: 15 bpm below the baseline for 15 s, from onset to return; no cause is asked."""
    truth = invent(QUIET, 2).truth
    falls = [d for d in truth.decelerations if d.mechanism is Mechanism.FLUCTUATION and d.counts]
    assert falls
    shown = drawn(truth.heart_rate.values)
    for fall in falls:
        lowest = shown[int(fall.onset_s * 4) : int(fall.end_s * 4)].min()
        assert truth.baseline.values[int(fall.nadir_s)] - lowest > 14.5
        assert fall.end_s - fall.onset_s >= 15


def test_no_event_that_counts_is_hidden_from_the_reader() -> None:
    truth = invent(replace(QUIET, late_share=0.9, late_depth_bpm=16.0), 4).truth
    shown = drawn(truth.heart_rate.values)
    for fall in truth.decelerations:
        if fall.counts:
            at = slice(int(fall.onset_s * 4), int(fall.end_s * 4))
            level = np.repeat(truth.baseline.values, 4)[at]
            assert (level - shown[at]).max() > 14.5


def test_a_hump_short_of_the_thresholds_by_more_than_the_tolerance_is_nothing() -> None:
    away = np.zeros(800)
    away[100:180] = 11.0
    assert of_the_rate_itself(away, [], [], 15.0, 15.0) == []
    away[100:180] = 13.0
    assert len(of_the_rate_itself(away, [], [], 15.0, 15.0)) == 1
