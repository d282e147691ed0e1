"""The fixed, stratified set of invented hours that accuracy is measured on.

400 hours (40 with `quick`): 32 patterns x 6 bins of signal loss x sensors x gestations, each knob
varied at random from the case's own seed. The set never looks at what the detector makes of it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.random import Generator

from ebbline.synth import Labour, Scenario, invent
from ebbline.terms import SensorKind

LOSS_BINS = ((0.0, 0.05), (0.05, 0.10), (0.10, 0.20), (0.20, 0.30), (0.30, 0.40), (0.40, 0.50))
"""Share of samples that do not hold the fetal rate: lost, spurious, doubled, halved, maternal."""
HOURS, QUICK_HOURS = 400, 40
TRIES = 60

PATTERNS: tuple[str, ...] = (
    "normal",
    "quiet sleep",
    "active sleep, many accelerations",
    "recurrent late",
    "recurrent late, minimal variability",
    "recurrent late, absent variability",
    "intermittent late, few accelerations",
    "recurrent variable",
    "recurrent variable, deep, with shoulders",
    "recurrent variable, without shoulders, with overshoot, minimal variability",
    "recurrent variable, slow return, variability lost within",
    "recurrent early",
    "intermittent early, accelerations",
    "prolonged decelerations",
    "tachysystole, intermittent late",
    "hypertonus, intermittent variable",
    "tachycardia, minimal variability",
    "bradycardia, moderate variability",
    "change of baseline, intermittent variable",
    "rising baseline, intermittent late",
    "sinusoidal",
    "pseudo-sinusoidal",
    "marked variability",
    "second stage, recurrent variable",
    "intermittent late, intermittent variable, intermittent early",
    "opioid",
    "absent variability",
    "early labour",
    "coupling, occasional variable",
    "wandering baseline",
    "prolonged accelerations, accelerations",
    "deteriorating, recurrent late, occasional variable",
)


@dataclass(frozen=True)
class Case:
    """One hour of the set."""

    number: int
    pattern: str
    loss_bin: int
    scenario: Scenario
    seed: int


def _varied(scenario: Scenario, rng: Generator) -> Scenario:
    """The scenario with every knob turned a little, and sensors and gestation drawn."""

    def around(value: float, spread: float, low: float, high: float) -> float:
        return float(np.clip(value * np.exp(spread * rng.standard_normal()), low, high))

    weeks = float(rng.integers(25, 32)) if rng.random() < 0.2 else float(rng.integers(32, 43))
    heart, activity = rng.random(), rng.random()
    electrode = heart < 0.3 and weeks >= 34
    catheter = activity < 0.25 and weeks >= 34
    preterm = weeks < 32
    return replace(
        scenario,
        hours=1.0,
        weeks=weeks,
        baseline_bpm=float(
            np.clip(
                scenario.baseline_bpm + (6 if preterm else 0) + 6 * rng.standard_normal(), 80, 195
            )
        ),
        baseline_wander_bpm=around(scenario.baseline_wander_bpm, 0.3, 0.5, 8),
        bandwidth_bpm=around(scenario.bandwidth_bpm * (0.8 if preterm else 1.0), 0.12, 0.6, 45),
        accelerations_per_hour=around(scenario.accelerations_per_hour, 0.3, 0, 40)
        if scenario.accelerations_per_hour
        else 0.0,
        contractions_per_10_min=around(scenario.contractions_per_10_min, 0.12, 0.3, 8),
        contraction_mmhg=around(scenario.contraction_mmhg, 0.2, 18, 90),
        contraction_s=around(scenario.contraction_s, 0.1, 50, 120),
        late_depth_bpm=around(scenario.late_depth_bpm, 0.2, 10, 60),
        early_depth_bpm=around(scenario.early_depth_bpm, 0.2, 10, 45),
        variable_depth_bpm=around(scenario.variable_depth_bpm, 0.2, 15, 90),
        heart_sensor=SensorKind.SCALP_ELECTRODE if electrode else SensorKind.ULTRASOUND,
        activity_sensor=SensorKind.PRESSURE_CATHETER if catheter else SensorKind.TOCO,
        toco_gain=around(0.7, 0.4, 0.2, 1.5),
        toco_tone=float(rng.uniform(2, 24)),
        toco_noise=around(1.0, 0.4, 0.2, 4),
        belt_shifts_per_hour=float(rng.choice([0.3, 1.0, 3.0])),
        maternal_pulse=bool(rng.random() < 0.3),
        doubling_per_hour=float(rng.choice([0.2, 0.2, 1.0, 3.0])),
        halving_per_hour=float(rng.choice([0.2, 0.2, 1.0, 3.0])),
        maternal_capture_per_hour=float(rng.choice([0.0, 0.0, 0.0, 1.5])),
    )


def case(number: int) -> Case:
    """The scenario of one hour and the seed its labour begins to be sought from."""
    rng = np.random.default_rng([20260101, number])
    turn, place = divmod(number, len(PATTERNS))
    pattern, loss_bin = PATTERNS[place], (turn + place) % len(LOSS_BINS)
    low, high = LOSS_BINS[loss_bin]
    scenario = _varied(Scenario.from_words(pattern), rng)
    middle = max(0.004, low + (high - low) * rng.uniform(0.25, 0.75))
    return Case(number, pattern, loss_bin, replace(scenario, signal_loss=middle), number * 1000)


def labour_of(case: Case) -> Labour:
    """The hour itself: the first seed whose loss lies in the case's bin."""
    low, high = LOSS_BINS[case.loss_bin]
    scenario, labour = case.scenario, None
    for attempt in range(TRIES):
        labour = invent(scenario, case.seed + attempt)
        lost = wrong_share(labour)
        if low <= lost < high:
            return labour
        nudge = 0.5 * ((low + high) / 2 - lost)
        scenario = replace(
            scenario, signal_loss=float(np.clip(scenario.signal_loss + nudge, 0.001, 0.6))
        )
    raise RuntimeError(f"no labour with a loss of {low:.0%} to {high:.0%} in {TRIES} seeds: {case}")


def wrong_share(labour: Labour) -> float:
    """Share of time in which the sensor did not give the fetal rate."""
    spans = labour.truth.artefacts
    return sum(span.end_s - span.start_s for span in spans) / labour.truth.duration_s


def cases(quick: bool) -> list[Case]:
    """The set; the quick one takes every tenth hour."""
    step: Callable[[int], int] = (lambda k: k * 11) if quick else (lambda k: k)
    return [case(step(k)) for k in range(QUICK_HOURS if quick else HOURS)]
