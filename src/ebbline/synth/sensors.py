"""From the true heart rate and pressure to what the sensors give, faults included.

Each sensor keeps its state, so that a labour drawn in pieces is the same as one drawn at once.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from ebbline.compiled import kernel
from ebbline.synth.scenario import Scenario
from ebbline.synth.shapes import STEP_HZ
from ebbline.terms import SensorKind

FloatArray = NDArray[np.float64]
ModeArray = NDArray[np.int8]

FETAL, LOST, SPIKE, DOUBLED, HALVED, MATERNAL = range(6)
"""What the heart-rate sensor follows at a sample."""

GAP_WEIGHTS = np.array([0.80, 0.145, 0.045, 0.01])
GAP_MEDIANS_S = np.array([1.8, 7.0, 38.0, 320.0])
GAP_SPREAD = 0.75
"""Gap lengths: a mixture of lognormals fitted to the gaps of the CTU-UHB recordings."""

SMEAR_S = 1.25
"""Width of the autocorrelation of a Doppler envelope: two or three beats (common practice)."""
JITTER_BPM, JITTER_SHARE = 0.1, 0.012
"""The sensor's own error: a least, and more where the beats are irregular (share of the bandwidth;
fitted to the CTU-UHB recordings above 0.5 Hz)."""
MOST_SMEARED = 8
QUARTER_BPM = 4.0
"""Steps to the bpm of the values that are given."""

HALF_LOST_AT_DEG = 32.0
LOSS_STEEPNESS_DEG = 4.5
"""A Doppler beam is some 20 degrees wide to each side: half the signal goes at 32 degrees off
(common practice; chosen so that 5 cm off the site of a heart 8 cm deep loses half)."""

MATERNAL_PER_HOUR_OFF_SITE = 25.0
TOCO_REACH_CM = 7.0


def mean_gap_s() -> float:
    """Mean length of a gap, s."""
    return float((GAP_WEIGHTS * GAP_MEDIANS_S).sum() * math.exp(GAP_SPREAD**2 / 2))


def off_axis_deg(distance_cm: FloatArray, depth_cm: float) -> FloatArray:
    """Angle at which the beam misses the heart, degrees."""
    return np.degrees(np.arctan2(distance_cm, depth_cm))


def placement_loss(distance_cm: FloatArray, depth_cm: float) -> FloatArray:
    """Share of the signal an ultrasound sensor loses for lying distance_cm off the heart's site."""
    angle = off_axis_deg(distance_cm, depth_cm)
    return np.asarray(1.0 / (1.0 + np.exp(-(angle - HALF_LOST_AT_DEG) / LOSS_STEEPNESS_DEG)))


def maternal_hazard(distance_cm: FloatArray, depth_cm: float) -> FloatArray:
    """Rate per second at which a misplaced sensor finds the mother's vessels instead."""
    angle = off_axis_deg(distance_cm, depth_cm)
    off = np.clip((angle - 22.0) / 25.0, 0.0, 1.0)
    return np.asarray(MATERNAL_PER_HOUR_OFF_SITE / 3600.0 * off * off * (3 - 2 * off))


SPURIOUS_PER_S = 0.02
SPELL_MEDIANS_S = (9.0, 9.0, 35.0)
"""Spells of doubling, halving and maternal rate (chosen; the mother's stays longest)."""
SPELL_SPREAD = 0.7

(GAP_LEFT, SPURIOUS_LEFT, SPELL_LEFT, SPURIOUS_BPM, SPELL_MODE) = range(5)
"""Places in the state of the heart-rate sensor: seconds left of each, and what it shows."""


@kernel
def _follow(
    hazards: FloatArray,
    uniform: FloatArray,
    normal: FloatArray,
    gap_log_median: FloatArray,
    gap_edges: FloatArray,
    state: FloatArray,
    mode: ModeArray,
    spurious: FloatArray,
) -> None:
    step = 1.0 / STEP_HZ
    for i in range(len(mode)):
        state[GAP_LEFT] = max(0.0, state[GAP_LEFT] - step)
        state[SPURIOUS_LEFT] = max(0.0, state[SPURIOUS_LEFT] - step)
        state[SPELL_LEFT] = max(0.0, state[SPELL_LEFT] - step)
        if state[GAP_LEFT] == 0.0:
            state[SPURIOUS_LEFT] = 0.0
            if uniform[i, 0] < hazards[i, 0] * step:
                kind = 0
                while kind < len(gap_edges) - 1 and uniform[i, 1] > gap_edges[kind]:
                    kind += 1
                length = np.exp(gap_log_median[kind] + GAP_SPREAD * normal[i, 0])
                state[GAP_LEFT] = max(0.5, length)
        if state[GAP_LEFT] > 0.0:
            begins = uniform[i, 2] < SPURIOUS_PER_S * step
            if begins and state[SPURIOUS_LEFT] == 0.0 and state[GAP_LEFT] > 1.5:
                length = 1.0 + 3.5 * uniform[i, 3] ** 2
                state[SPURIOUS_LEFT] = min(length, state[GAP_LEFT] - 0.5)
                # Half of them are a half or the double of the rate, half are anything.
                anything = 55.0 + 150.0 * uniform[i, 1]
                multiple = -0.5 if uniform[i, 1] < 0.5 else -2.0
                state[SPURIOUS_BPM] = multiple if uniform[i, 4] < 0.5 else anything
            mode[i] = 1
            if state[SPURIOUS_LEFT] > 0.0:
                mode[i] = 2
                if state[SPURIOUS_BPM] > 0.0:
                    state[SPURIOUS_BPM] += 0.6 * normal[i, 1]
                spurious[i] = state[SPURIOUS_BPM]
            continue
        if state[SPELL_LEFT] == 0.0:
            for k in range(3):
                if uniform[i, k + 2] < hazards[i, k + 1] * step:
                    length = SPELL_MEDIANS_S[k] * np.exp(SPELL_SPREAD * normal[i, 0])
                    state[SPELL_LEFT] = max(2.0, length)
                    state[SPELL_MODE] = 3.0 + k
                    # The autocorrelation loses its hold before it finds the wrong one.
                    if uniform[i, 5] > 0.3:
                        state[GAP_LEFT] = 0.5 + uniform[i, 5]
                    break
        mode[i] = np.int8(state[SPELL_MODE]) if state[SPELL_LEFT] > 0.0 else 0


UNREST_LEAST = 0.75
UNREST = {"movement": 2.0, "contraction": 0.5, "push": 1.5, "fall": 1.2}
"""How much oftener signal drops out with each, against lying still (chosen; by eye)."""
MOST_LOST = 0.97


def hazards(
    scenario: Scenario,
    *,
    electrode: bool,
    rate: FloatArray,
    fall: FloatArray,
    bell: FloatArray,
    push: FloatArray,
    movement: FloatArray,
    distance_cm: FloatArray,
) -> FloatArray:
    """Rates per second of losing the signal, doubling, halving and finding the mother.

    All arrays of one length; returns shape (n, 4). fall: bpm below baseline; bell, push: mmHg.
    """
    share = np.full(len(rate), scenario.signal_loss)
    if not electrode:
        missed = placement_loss(distance_cm, scenario.heart_depth_cm)
        share = 1 - (1 - share) * (1 - missed)
    share = np.clip(share, 0.0, MOST_LOST)
    unrest = (
        UNREST_LEAST
        + UNREST["movement"] * movement
        + UNREST["contraction"] * (bell > 20.0)
        + UNREST["push"] * (push > 5.0)
        + UNREST["fall"] * np.clip(fall / 40.0, 0.0, 1.0)
    )
    made = np.zeros((len(rate), 4))
    made[:, 0] = share / (1 - share) / mean_gap_s() * unrest
    if electrode:
        return made
    # A slow rate invites doubling, a fast one halving (FIGO 2015; how much oftener is chosen).
    slow = np.where(rate < 85.0, 25.0, np.where(rate < 105.0, 3.0, 0.3))
    quick = np.where(rate > 175.0, 8.0, np.where(rate > 155.0, 2.0, 0.6))
    made[:, 1] = scenario.doubling_per_hour / 3600.0 * slow
    made[:, 2] = scenario.halving_per_hour / 3600.0 * quick
    made[:, 3] = scenario.maternal_capture_per_hour / 3600.0
    made[:, 3] += maternal_hazard(distance_cm, scenario.heart_depth_cm)
    return made


@kernel
def _smear(rate: FloatArray, start: int, width: int) -> FloatArray:
    out = np.empty(len(rate) - start)
    for i in range(len(out)):
        total = 0.0
        for k in range(width):
            total += rate[start + i - k]
        out[i] = total / width
    return out


class HeartSensor:
    """The heart-rate sensor: what it follows, and the value it gives."""

    def __init__(self, rng: Generator, noise: Generator) -> None:
        self._rng = rng
        self._noise = noise
        self._state = np.zeros(5)
        self._tail: FloatArray | None = None
        self._edges = np.cumsum(GAP_WEIGHTS)
        self._log_medians = np.log(GAP_MEDIANS_S)

    def give(
        self,
        rate: FloatArray,
        maternal: FloatArray,
        hazards: FloatArray,
        jitter: FloatArray,
        electrode: bool,
    ) -> tuple[FloatArray, ModeArray]:
        """Values (bpm) and modes of the next samples.

        rate, maternal: the true rates; hazards: per second, columns loss, doubling, halving,
        maternal; jitter: standard deviation of the sensor's own error, bpm.
        """
        count = len(rate)
        uniform = self._rng.random((count, 6))
        normal = self._noise.standard_normal((count, 3))
        mode = np.zeros(count, dtype=np.int8)
        spurious = np.zeros(count)
        _follow(
            hazards,
            uniform,
            normal,
            self._log_medians,
            self._edges,
            self._state,
            mode,
            spurious,
        )
        width = 2 if electrode else round(SMEAR_S * STEP_HZ)
        if self._tail is None:
            self._tail = np.full(MOST_SMEARED, rate[0])
        longer = np.concatenate((self._tail, rate))
        self._tail = longer[-MOST_SMEARED:]
        value = _smear(longer, MOST_SMEARED, width) + normal[:, 2] * jitter
        value = np.where(mode == MATERNAL, maternal, value)
        value = np.where(mode == DOUBLED, value * 2.0, value)
        value = np.where(mode == HALVED, value * 0.5, value)
        wild = np.where(spurious < 0, -spurious * value, spurious + 2.0 * normal[:, 2])
        value = np.where(mode == SPIKE, wild, value)
        value = np.round(value * QUARTER_BPM) / QUARTER_BPM
        value = np.where((value < 50.0) | (value > 240.0), np.nan, value)
        return np.where(mode == LOST, np.nan, value), mode


BELT_MOST_UNITS, CATHETER_MOST_MMHG = 100.0, 130.0
PER_HOUR = 1 / (3600.0 * STEP_HZ)
BELT_SHIFT_UNITS = 7.0
BELT_SHIFT_FADES_S = 1500.0
ACTIVITY_LOSS_MEDIAN_S = 70.0

(DRIFT, PHASE, BREATH_SIZE, BREATH_RATE, COARSE, FLUTTER, SHIFT, FELT, LOST_FOR) = range(9)
"""Places in the state of the belt."""


@kernel
def _belt(
    above: FloatArray,
    white: FloatArray,
    uniform: FloatArray,
    habits: FloatArray,
    state: FloatArray,
    out: FloatArray,
    lost: FloatArray,
) -> None:
    gain, noise, breath_units, drift_units, coarse_units, breath_hz = habits[:6]
    rise, fall, shift_share, loss_share = habits[6:10]
    for i in range(len(above)):
        state[DRIFT] = state[DRIFT] * 0.99942 + 0.0341 * white[i, 0]
        state[BREATH_SIZE] = state[BREATH_SIZE] * 0.9979 + 0.0648 * white[i, 1]
        state[BREATH_RATE] = state[BREATH_RATE] * 0.9958 + 0.0916 * white[i, 2]
        state[PHASE] += 2 * np.pi * breath_hz * (1 + 0.12 * state[BREATH_RATE]) / 4.0
        state[COARSE] = state[COARSE] * 0.969 + 0.247 * white[i, 3]
        state[FLUTTER] = state[FLUTTER] * 0.7 + 0.714 * white[i, 4]
        # The wall follows the womb: quickly when it hardens, slowly when it softens.
        follow = rise if above[i] > state[FELT] else fall
        state[FELT] += follow * (above[i] - state[FELT])
        state[SHIFT] *= 1 - 0.25 / BELT_SHIFT_FADES_S
        if uniform[i, 0] < shift_share:
            state[SHIFT] += BELT_SHIFT_UNITS * white[i, 5]
        if state[LOST_FOR] > 0:
            state[LOST_FOR] -= 0.25
        elif uniform[i, 1] < loss_share:
            state[LOST_FOR] = ACTIVITY_LOSS_MEDIAN_S * np.exp(0.8 * white[i, 5])
        lost[i] = 1.0 if state[LOST_FOR] > 0 else 0.0
        # A tight belt shakes more: with the breath, with everything.
        shaken = 1.0 + min(60.0, max(0.0, state[FELT])) / 30.0
        breath = np.sin(state[PHASE]) * np.exp(0.5 * state[BREATH_SIZE])
        out[i] = (
            gain * state[FELT]
            + drift_units * state[DRIFT]
            + state[SHIFT]
            + noise * breath_units * breath * shaken
            + noise * coarse_units * (state[COARSE] + 0.5 * state[FLUTTER]) * shaken
        )


class ActivitySensor:
    """The belt or the catheter."""

    def __init__(self, rng: Generator, chance: Generator) -> None:
        self._rng = rng
        self._chance = chance
        self._state = np.zeros(9)
        self._state[DRIFT] = rng.standard_normal()
        self._breath_units = float(rng.lognormal(np.log(0.75), 0.75))
        self._drift_units = float(rng.uniform(1.0, 4.0))
        self._coarse_units = float(rng.lognormal(np.log(0.55), 0.7))
        self._breath_hz = float(rng.uniform(0.2, 0.42))
        self._rise, self._fall = float(rng.uniform(0.15, 0.5)), float(rng.uniform(0.03, 0.2))

    def give(self, pressure: FloatArray, movement: FloatArray, scenario: Scenario) -> FloatArray:
        """The next samples: mmHg of a catheter, units of a belt cut off at 0 and 100."""
        s, count = scenario, len(pressure)
        white = self._rng.standard_normal((count, 8))
        uniform = self._chance.random((count, 2))
        out, lost = np.empty(count), np.empty(count)
        catheter = s.activity_sensor is SensorKind.PRESSURE_CATHETER
        habits = self._catheter_habits(s) if catheter else self._belt_habits(s)
        _belt(pressure - s.resting_tone_mmhg, white, uniform, habits, self._state, out, lost)
        stir = movement * (np.abs(white[:, 6]) + 0.3)
        if catheter:
            value = np.clip(out + s.resting_tone_mmhg + 5.0 * stir, 0.0, CATHETER_MOST_MMHG)
        else:
            value = np.clip(out + s.toco_tone + 14.0 * stir, 0.0, BELT_MOST_UNITS)
        return np.where(lost > 0, np.nan, np.round(value * 2) / 2)

    def _belt_habits(self, s: Scenario) -> FloatArray:
        reach = toco_reach(s.toco_at.distance_cm(s.fundus_at), s.abdominal_wall_cm)
        return np.array(
            [
                s.toco_gain * reach,
                s.toco_noise,
                self._breath_units,
                self._drift_units,
                self._coarse_units,
                self._breath_hz,
                self._rise,
                self._fall,
                s.belt_shifts_per_hour * PER_HOUR,
                s.activity_losses_per_hour * PER_HOUR,
            ]
        )

    def _catheter_habits(self, s: Scenario) -> FloatArray:
        losses = s.activity_losses_per_hour * PER_HOUR
        return np.array([1.0, 1.0, 0.5, 0.8, 0.25, self._breath_hz, 0.6, 0.5, 0.0, losses])


def toco_reach(distance_cm: float, wall_cm: float) -> float:
    """Share of the belt's best gain at a distance from the fundus, through the abdominal wall."""
    return math.exp(-((distance_cm / TOCO_REACH_CM) ** 2)) * math.exp(
        -max(0.0, wall_cm - 2.5) / 5.0
    )
