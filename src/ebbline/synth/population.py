"""A labour as they come: every knob drawn from a spread, falls of several kinds side by side.

The spread was fitted to one half of the open recordings of CTU-UHB by simulation
(bench.realism_fit), and is shown against the other half (bench.realism). It knows nothing of what
a detector makes of it. These are recordings of the last hour or so of labour in one hospital:
the spread is theirs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from statistics import NormalDist

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from ebbline.synth.scenario import Scenario
from ebbline.synth.scenario_parts import Behaviour
from ebbline.synth.sensors import device_of
from ebbline.synth.story import Story
from ebbline.synth.streams import Streams
from ebbline.terms import SensorKind, Stage

FloatArray = NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Spread:
    """Middles and spreads of the knobs (spreads of logarithms where a knob is positive)."""

    loss: float = 0.061
    loss_evenness: float = 1.0
    electrode_loss: float = 0.0085
    electrode_loss_evenness: float = 0.8
    sensor_off_per_hour: float = 0.36
    electrode_off_per_hour: float = 0.36
    baseline: float = 137.0
    baseline_spread: float = 12.0
    wander: float = 3.2
    wander_spread: float = 0.6
    bandwidth: float = 10.5
    bandwidth_spread: float = 0.44
    electrode_bandwidth_spread: float = 0.62
    accelerations: float = 8.0
    accelerations_spread: float = 1.1
    falls_share: float = 0.48
    falls_spread: float = 1.8
    variable_part: float = 0.6
    late_part: float = 0.3
    depth: float = 31.0
    depth_spread: float = 0.4
    unpaired: float = 3.0
    electrode_depth: float = 28.0
    electrode_variable_part: float = 0.78
    electrode_unpaired: float = 9.0
    prolonged: float = 0.25
    contractions: float = 3.65
    contractions_spread: float = 0.25
    irregularity: float = 0.29
    length: float = 70.0
    gain: float = 0.34
    gain_spread: float = 1.0
    tone: float = 15.0
    tone_spread: float = 5.0
    stepped_tone: float = -6.0
    noise: float = 1.05
    noise_spread: float = 0.35
    shifts: float = 1.3
    belt_off: float = 0.6
    dead_belt: float = 0.06
    drift: float = 0.5
    second_falls: float = 14.0
    second_depth: float = 1.9
    second_electrode_depth: float = 1.4
    second_baseline: float = -4.0
    second_bandwidth: float = 1.6
    second_wander: float = 1.2
    second_loss: float = 2.6
    second_electrode_loss: float = 6.0
    second_belt_off: float = 4.0
    second_belt_away: float = 0.28


SPREAD = Spread()


def as_they_come(
    seed: int,
    hours: float = 1.0,
    *,
    heart_sensor: SensorKind | None = None,
    spread: Spread = SPREAD,
) -> Scenario:
    """The scenario of one labour drawn from the spread; the same seed draws the same.

    heart_sensor: drawn as often as in the open recordings (one electrode to four ultrasound) if
    None.
    """
    streams = Streams(seed)
    rng = streams.of("population")
    s = spread
    chosen = heart_sensor or (
        SensorKind.SCALP_ELECTRODE if rng.random() < 0.2 else SensorKind.ULTRASOUND
    )
    # A device that goes beat by beat loses less, whatever the sensor (so do the recordings').
    averaging = device_of(streams.of("device"), chosen).averaging
    loss = (
        _least_seldom(rng, s.loss, s.loss_evenness, 0.001, 0.65)
        if averaging
        else _least_seldom(rng, s.electrode_loss, s.electrode_loss_evenness, 0.0005, 0.6)
    )
    if chosen is SensorKind.SCALP_ELECTRODE:
        # Often put on for falls that come and go with the cord.
        s = replace(s, variable_part=s.electrode_variable_part, unpaired=s.electrode_unpaired)
        s = replace(s, bandwidth_spread=s.electrode_bandwidth_spread, depth=s.electrode_depth)
        s = replace(s, late_part=min(s.late_part, 0.75 * (1 - s.variable_part)))
    late, variable, early = _falls(rng, s)
    depth = _around(rng, s.depth, s.depth_spread, 12.0, 85.0)
    dead = rng.random() < s.dead_belt
    tone = s.tone + (0.0 if averaging else s.stepped_tone)
    return Scenario(
        hours=hours,
        stage=Stage.FIRST,
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
        toco_tone=float(np.clip(tone + s.tone_spread * rng.standard_normal(), -25.0, 60.0)),
        toco_noise=0.05 if dead else _around(rng, s.noise, s.noise_spread, 0.1, 5.0),
        belt_shifts_per_hour=_around(rng, s.shifts, 0.7, 0.1, 15.0),
        belt_off_per_hour=s.belt_off,
        activity_losses_per_hour=0.0,
        sensor_off_per_hour=s.sensor_off_per_hour if averaging else s.electrode_off_per_hour,
        signal_loss=loss,
        signal_constancy=1.0,
        doubling_per_hour=0.3,
        halving_per_hour=0.3,
    )


CHAPTER_MIN, LEAST_CHAPTER_MIN = (12, 36), 6
"""A labour keeps its habits for so many minutes; then they move on."""


def course_as_it_comes(
    seed: int,
    hours: float = 1.0,
    *,
    second_stage_min: float | None = None,
    heart_sensor: SensorKind | None = None,
    spread: Spread = SPREAD,
) -> Story:
    """A labour drawn from the spread that moves on from chapter to chapter, as labours do.

    second_stage_min: minutes until pushing begins (None: first stage throughout); the others as in
    as_they_come. In the second stage falls are more and deeper, the rate swings
    more, and the belt is more often off.
    """
    first = as_they_come(seed, hours, heart_sensor=heart_sensor, spread=spread)
    rng = Streams(seed).of("course")
    walk = np.zeros(7)
    chapters: list[Scenario] = []
    now, end = 0.0, hours * 60.0
    while now < end - 0.5:
        second = second_stage_min is not None and now >= second_stage_min - 1e-6
        until = end if second or second_stage_min is None else min(end, second_stage_min)
        length = float(rng.integers(*CHAPTER_MIN))
        if until - now - length < LEAST_CHAPTER_MIN:
            length = until - now
        walk = 0.7 * walk + 0.7 * rng.standard_normal(7)
        chapters.append(replace(_moved(first, walk, rng, spread, second), hours=length / 60.0))
        now += length
    return Story(tuple(chapters))


def _moved(first: Scenario, walk: FloatArray, rng: Generator, s: Spread, second: bool) -> Scenario:
    """The labour's habits moved on by a walk; more strained in the second stage."""
    together = first.late_share + first.variable_share + first.early_share
    odds = together / (1 - min(0.97, together)) * math.exp(s.drift * walk[0])
    if second:
        odds *= s.second_falls
    together = odds / (1 + odds)
    old = np.array([first.late_share, first.variable_share, first.early_share])
    parts = rng.dirichlet(0.2 + 9.0 * old / max(1e-6, old.sum()))
    late, variable, early = (0.98 * together * parts).tolist()
    electrode = first.heart_sensor is SensorKind.SCALP_ELECTRODE
    second_depth = s.second_electrode_depth if electrode else s.second_depth
    deeper = math.exp(0.2 * walk[1]) * (second_depth if second else 1.0)

    def moved(value: float, by: float, low: float, high: float) -> float:
        return float(np.clip(value * math.exp(by), low, high))

    away = rng.random() < s.second_belt_away

    made = replace(
        first,
        late_share=late,
        variable_share=variable,
        early_share=early,
        late_depth_bpm=float(np.clip(first.late_depth_bpm * deeper, 8.0, 75.0)),
        early_depth_bpm=float(np.clip(first.early_depth_bpm * deeper, 8.0, 58.0)),
        variable_depth_bpm=float(np.clip(first.variable_depth_bpm * deeper, 12.0, 100.0)),
        bandwidth_bpm=moved(first.bandwidth_bpm, 0.16 * walk[2], 1.0, 45.0),
        accelerations_per_hour=moved(first.accelerations_per_hour, 0.4 * walk[3], 0.1, 45.0),
        contractions_per_10_min=moved(first.contractions_per_10_min, 0.1 * walk[4], 1.0, 8.0),
        contraction_mmhg=moved(first.contraction_mmhg, 0.12 * walk[5], 15.0, 98.0),
        baseline_bpm=float(np.clip(first.baseline_bpm + 3.0 * walk[6], 95.0, 195.0)),
    )
    if not second:
        return made
    worse = s.second_electrode_loss if electrode else s.second_loss
    return replace(
        made,
        stage=Stage.SECOND,
        pushing=True,
        contraction_s=max(40.0, 0.8 * made.contraction_s),
        contraction_mmhg=min(98.0, 1.5 * made.contraction_mmhg),
        contractions_per_10_min=min(7.5, 1.15 * made.contractions_per_10_min),
        contraction_irregularity=0.75 * made.contraction_irregularity,
        baseline_bpm=float(np.clip(made.baseline_bpm + s.second_baseline, 90.0, 195.0)),
        baseline_wander_bpm=min(9.0, s.second_wander * made.baseline_wander_bpm),
        bandwidth_bpm=min(50.0, s.second_bandwidth * made.bandwidth_bpm),
        variable_unpaired_per_hour=min(30.0, 3.0 * made.variable_unpaired_per_hour),
        accelerations_per_hour=min(50.0, 2.5 * made.accelerations_per_hour),
        acceleration_height_bpm=min(45.0, 1.4 * made.acceleration_height_bpm),
        prolonged_per_hour=min(5.0, 2.5 * made.prolonged_per_hour),
        belt_off_per_hour=240.0 if away else s.second_belt_off,
        signal_loss=min(0.7, worse * made.signal_loss),
    )


def _around(rng: Generator, middle: float, spread: float, low: float, high: float) -> float:
    return float(np.clip(middle * math.exp(spread * rng.standard_normal()), low, high))


def _least_seldom(rng: Generator, scale: float, evenness: float, low: float, high: float) -> float:
    """A number of the Weibull kind: many small ones, few large ones."""
    rank = NormalDist().cdf(float(rng.standard_normal()))
    return float(np.clip(scale * (-math.log(1.0 - rank)) ** (1 / evenness), low, high))


def _falls(rng: Generator, s: Spread) -> tuple[float, float, float]:
    """Shares of contractions answered by late, variable and early falls: mixed in every labour."""
    odds = s.falls_share / (1 - s.falls_share) * math.exp(s.falls_spread * rng.standard_normal())
    together = odds / (1 + odds)
    parts = rng.dirichlet(
        2.0 * np.array([s.late_part, s.variable_part, max(0.02, 1 - s.late_part - s.variable_part)])
    )
    late, variable, early = (0.98 * together * parts).tolist()
    return late, variable, early
