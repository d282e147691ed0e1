"""The fixed sets of invented hours that accuracy is measured on: one to develop on, one locked.

400 hours (40 with `quick`). Three in five are hours as they come (ebbline.synth.population), with
the loss of signal that comes with them. Two in five are patterns asked for: each of 32 in five of
six bins of signal loss, the pattern laid over a labour as it comes, sensors and gestation drawn.
The sets never look at what the detector makes of them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.random import Generator

from ebbline.synth import Labour, Scenario, Story, invent
from ebbline.synth.population import as_they_come, course_as_it_comes
from ebbline.terms import SensorKind

LOSS_BINS = (
    (0.0, 0.05), (0.05, 0.10), (0.10, 0.20), (0.20, 0.30), (0.30, 0.40), (0.40, 0.50), (0.50, 1.0)
)  # fmt: skip
"""Share of samples that do not hold the fetal rate: lost, spurious, doubled, halved, maternal."""
HOURS, QUICK_HOURS = 400, 40
PATTERN_BINS = 6
"""Hours of a pattern lose at most half of the signal."""
AS_THEY_COME, TURN = 3, 5
"""So many hours of each turn are as they come; the others show a pattern."""
DEVELOP, LOCKED = 20260101, 73310207
"""Where the draws of the two sets begin: accuracy is reported on the locked one only."""
USUAL = "as it comes"
TRIES = 60
SHARES = ("late_share", "early_share", "variable_share")

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
    """One hour of the set. loss_bin: None where the loss is what comes.

    story: the course of an hour as it comes, scenario its first chapter.
    """

    number: int
    pattern: str
    loss_bin: int | None
    scenario: Scenario
    seed: int
    story: Story | None = None


def _patterned(words: str, rng: Generator) -> Scenario:
    """A pattern laid over a labour as it comes, every knob of it turned a little."""

    def around(value: float, spread: float, low: float, high: float) -> float:
        return float(np.clip(value * np.exp(spread * rng.standard_normal()), low, high))

    asked, usual = Scenario.from_words(words), Scenario()
    weeks = float(rng.integers(25, 32)) if rng.random() < 0.2 else float(rng.integers(32, 43))
    electrode = rng.random() < 0.3 and weeks >= 34
    catheter = rng.random() < 0.25 and weeks >= 34
    sensor = SensorKind.SCALP_ELECTRODE if electrode else SensorKind.ULTRASOUND
    under = as_they_come(int(rng.integers(2**31)), heart_sensor=sensor)
    said = {
        f.name: getattr(asked, f.name)
        for f in fields(Scenario)
        if getattr(asked, f.name) != getattr(usual, f.name) and f.name != "hours"
    }
    if any(name in said for name in SHARES):
        under = replace(under, late_share=0.0, early_share=0.0, variable_share=0.0)
    under = replace(under, prolonged_per_hour=0.05, sensor_off_per_hour=0.0)
    laid = replace(under, **said)
    preterm = weeks < 32
    return replace(
        laid,
        weeks=weeks,
        baseline_bpm=float(
            np.clip(asked.baseline_bpm + (6 if preterm else 0) + 6 * rng.standard_normal(), 80, 195)
        ),
        bandwidth_bpm=around(asked.bandwidth_bpm * (0.8 if preterm else 1.0), 0.12, 0.6, 45),
        late_depth_bpm=around(laid.late_depth_bpm, 0.2, 10, 60),
        early_depth_bpm=around(laid.early_depth_bpm, 0.2, 10, 45),
        variable_depth_bpm=around(laid.variable_depth_bpm, 0.2, 15, 90),
        activity_sensor=SensorKind.PRESSURE_CATHETER if catheter else SensorKind.TOCO,
        maternal_pulse=bool(rng.random() < 0.3),
        doubling_per_hour=float(rng.choice([0.2, 0.2, 1.0, 3.0])),
        halving_per_hour=float(rng.choice([0.2, 0.2, 1.0, 3.0])),
        maternal_capture_per_hour=float(rng.choice([0.0, 0.0, 0.0, 1.5])),
    )


def case(number: int, locked: bool = False) -> Case:
    """The scenario of one hour and the seed its labour begins to be sought from."""
    begin = LOCKED if locked else DEVELOP
    rng = np.random.default_rng([begin, number])
    seed = (begin % 1000 + 1) * 1_000_000 + number * 1000
    block, place = divmod(number, TURN)
    if place < AS_THEY_COME:
        story = course_as_it_comes(seed)
        return Case(number, USUAL, None, story.chapters[0], seed, story)
    turn = block * (TURN - AS_THEY_COME) + place - AS_THEY_COME
    cycle, which = divmod(turn, len(PATTERNS))
    loss_bin = (cycle + which) % PATTERN_BINS
    low, high = LOSS_BINS[loss_bin]
    scenario = _patterned(PATTERNS[which], rng)
    middle = max(0.004, low + (high - low) * rng.uniform(0.25, 0.75))
    return Case(number, PATTERNS[which], loss_bin, replace(scenario, signal_loss=middle), seed)


def labour_of(case: Case) -> Labour:
    """The hour itself; of a pattern the first seed whose loss lies in the case's bin."""
    if case.story is not None or case.loss_bin is None:
        return invent(case.story or case.scenario, case.seed)
    low, high = LOSS_BINS[case.loss_bin]
    scenario = case.scenario
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


def loss_bin_of(lost: float) -> int:
    """The bin of a share of lost signal."""
    return next(k for k, (_, high) in enumerate(LOSS_BINS) if lost < high or high >= 1.0)


def wrong_share(labour: Labour) -> float:
    """Share of time in which the sensor did not give the fetal rate."""
    spans = labour.truth.artefacts
    return sum(span.end_s - span.start_s for span in spans) / labour.truth.duration_s


def cases(quick: bool, locked: bool = False) -> list[Case]:
    """A set; the quick one takes hours here and there."""
    step: Callable[[int], int] = (lambda k: k * 11 % HOURS) if quick else (lambda k: k)
    return [case(step(k), locked) for k in range(QUICK_HOURS if quick else HOURS)]
