"""A labour as they come: every knob drawn from a spread, falls of several kinds side by side.

The spread was fitted to one half of the open recordings of CTU-UHB by simulation
(bench.realism_fit), and is shown against the other half (bench.realism). It knows nothing of what
a detector makes of it. These are recordings of the last hour or so of labour in one hospital:
the spread is theirs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from ebbline.synth.scenario import Behaviour, Scenario
from ebbline.synth.streams import Streams
from ebbline.terms import SensorKind, Stage


@dataclass(frozen=True, slots=True)
class Spread:
    """Middles and spreads of the knobs (spreads of logarithms where a knob is positive)."""

    loss: float = 0.10
    loss_spread: float = 1.0
    electrode_loss: float = 0.03
    electrode_loss_spread: float = 1.4
    sensor_off_per_hour: float = 0.5
    baseline: float = 137.0
    baseline_spread: float = 12.0
    wander: float = 3.0
    wander_spread: float = 0.5
    bandwidth: float = 8.5
    bandwidth_spread: float = 0.4
    accelerations: float = 8.0
    accelerations_spread: float = 0.9
    falls_share: float = 0.35
    falls_spread: float = 1.2
    variable_part: float = 0.6
    late_part: float = 0.3
    depth: float = 32.0
    depth_spread: float = 0.4
    unpaired: float = 3.0
    prolonged: float = 0.25
    contractions: float = 4.0
    contractions_spread: float = 0.25
    irregularity: float = 0.42
    length: float = 80.0
    gain: float = 0.45
    gain_spread: float = 0.7
    tone: float = 10.0
    tone_spread: float = 14.0
    noise: float = 1.0
    noise_spread: float = 0.6
    shifts: float = 1.5
    belt_off: float = 0.6
    dead_belt: float = 0.06


SPREAD = Spread()


def as_they_come(
    seed: int,
    hours: float = 1.0,
    *,
    second_stage_min: float | None = None,
    heart_sensor: SensorKind | None = None,
    spread: Spread = SPREAD,
) -> Scenario:
    """The scenario of one labour drawn from the spread; the same seed draws the same.

    second_stage_min: minutes until pushing begins (None: first stage throughout). heart_sensor:
    drawn as often as in the open recordings (one electrode to four ultrasound) if None.
    """
    rng = Streams(seed).of("population")
    s = spread
    chosen = heart_sensor or (
        SensorKind.SCALP_ELECTRODE if rng.random() < 0.2 else SensorKind.ULTRASOUND
    )
    electrode = chosen is SensorKind.SCALP_ELECTRODE
    loss = (
        _around(rng, s.electrode_loss, s.electrode_loss_spread, 0.0005, 0.6)
        if electrode
        else _around(rng, s.loss, s.loss_spread, 0.001, 0.65)
    )
    late, variable, early = _falls(rng, s)
    depth = _around(rng, s.depth, s.depth_spread, 12.0, 85.0)
    dead = rng.random() < s.dead_belt
    return Scenario(
        hours=hours,
        second_stage_start_min=second_stage_min,
        stage=Stage.FIRST,
        pushing=second_stage_min is not None,
        weeks=float(np.clip(40.0 + 1.2 * rng.standard_normal(), 37.0, 42.5)),
        baseline_bpm=float(
            np.clip(s.baseline + s.baseline_spread * rng.standard_normal(), 105, 185)
        ),
        baseline_wander_bpm=_around(rng, s.wander, s.wander_spread, 0.5, 9.0),
        bandwidth_bpm=_around(rng, s.bandwidth, s.bandwidth_spread, 1.0, 40.0),
        behaviour=Behaviour.CYCLING,
        accelerations_per_hour=_around(rng, s.accelerations, s.accelerations_spread, 0.2, 40.0),
        acceleration_height_bpm=_around(rng, 20.0, 0.2, 10.0, 40.0),
        contractions_per_10_min=_around(rng, s.contractions, s.contractions_spread, 1.2, 7.5),
        contraction_mmhg=_around(rng, 52.0, 0.2, 20.0, 95.0),
        contraction_s=_around(rng, s.length, 0.15, 45.0, 130.0),
        contraction_irregularity=_around(rng, s.irregularity, 0.3, 0.05, 0.6),
        coupling_share=float(np.clip(0.1 * rng.standard_normal(), 0.0, 0.4)),
        late_share=late,
        variable_share=variable,
        early_share=early,
        late_depth_bpm=0.7 * depth,
        early_depth_bpm=0.6 * depth,
        variable_depth_bpm=depth,
        variable_unpaired_per_hour=_around(rng, s.unpaired, 0.8, 0.05, 20.0),
        shoulder_share=float(rng.uniform(0.1, 0.8)),
        overshoot_share=float(rng.uniform(0.0, 0.25)),
        slow_return_share=float(rng.uniform(0.0, 0.3)),
        prolonged_per_hour=_around(rng, s.prolonged, 0.6, 0.01, 3.0),
        heart_sensor=chosen,
        toco_gain=0.05 if dead else _around(rng, s.gain, s.gain_spread, 0.06, 2.5),
        toco_tone=float(np.clip(s.tone + s.tone_spread * rng.standard_normal(), -25.0, 60.0)),
        toco_noise=0.05 if dead else _around(rng, s.noise, s.noise_spread, 0.1, 5.0),
        belt_shifts_per_hour=_around(rng, s.shifts, 0.7, 0.1, 15.0),
        belt_off_per_hour=s.belt_off,
        activity_losses_per_hour=0.0,
        sensor_off_per_hour=s.sensor_off_per_hour,
        signal_loss=loss,
        doubling_per_hour=0.3,
        halving_per_hour=0.3,
    )


def _around(rng: Generator, middle: float, spread: float, low: float, high: float) -> float:
    return float(np.clip(middle * math.exp(spread * rng.standard_normal()), low, high))


def _falls(rng: Generator, s: Spread) -> tuple[float, float, float]:
    """Shares of contractions answered by late, variable and early falls: mixed in every labour."""
    odds = s.falls_share / (1 - s.falls_share) * math.exp(s.falls_spread * rng.standard_normal())
    together = odds / (1 + odds)
    parts = rng.dirichlet(
        2.0 * np.array([s.late_part, s.variable_part, max(0.02, 1 - s.late_part - s.variable_part)])
    )
    late, variable, early = (0.98 * together * parts).tolist()
    return late, variable, early
