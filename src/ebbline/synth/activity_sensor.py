"""The sensor of uterine activity: a belt with its faults, or a catheter.

A belt feels the wall of the abdomen, not the womb alone: breath, coughs, pushing, turning over.
It slips, is set to zero again, is laid too loose or taken off. Sizes were fitted to the CTU-UHB
recordings (bench.realism shows how far the likeness goes).
"""

from __future__ import annotations

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from ebbline.compiled import kernel
from ebbline.synth.scenario import Scenario
from ebbline.synth.sensors import Device, toco_reach
from ebbline.synth.shapes import STEP_HZ
from ebbline.terms import SensorKind

FloatArray = NDArray[np.float64]

CATHETER_MOST_MMHG = 130.0
PER_HOUR = 1 / 3600.0
SHIFT_FADES_S = 1800.0
LOST_MEDIAN_S, OFF_MEDIAN_S, OFF_SPREAD = 70.0, 260.0, 1.1
OFF_TOGETHER = 0.6
QUICKNESS, SLOWER_QUICKNESS = 0.72, 0.45
"""Share of a change that a device gives at the next sample (by the spectra of the belts)."""
MEMORIES_S = np.array([500.0, 70.0, 12.0, 1.2, 30.0, 4.0, 90.0])
"""Memories of drift, wander, roll, shake, breath's size, breath's rate, restlessness."""

(DRIFT, WANDER, ROLL, SHAKE, BREATH_SIZE, BREATH_RATE, RESTLESS) = range(7)
(
    PHASE, SHIFT, FELT, LOST_S, OFF_S, BUMP, BUMP_FELT, BUMP_S, BURST, BURST_S, STARTED,
    SHAKE_FELT, HEART_OFF, GIVEN,
) = range(7, 21)  # fmt: skip
"""Places in the state of the belt."""

(
    H_GAIN, H_NOISE, H_BREATH, H_DRIFT, H_WANDER, H_ROLL, H_SHAKE, H_WHITE, H_BREATH_HZ, H_RISE,
    H_FALL, H_SHIFTS, H_RESETS, H_LOSSES, H_OFFS, H_BUMPS, H_TONE, H_TIGHT,
    H_QUICKNESS,
) = range(19)  # fmt: skip
"""Places in the belt's habits."""


@kernel
def _belt(
    above: FloatArray,
    push: FloatArray,
    stir: FloatArray,
    heart_off: FloatArray,
    white: FloatArray,
    uniform: FloatArray,
    habits: FloatArray,
    keep: FloatArray,
    kick: FloatArray,
    state: FloatArray,
    out: FloatArray,
    lost: FloatArray,
) -> None:
    step = 1.0 / STEP_HZ
    for i in range(len(above)):
        if state[STARTED] == 0.0:
            state[STARTED] = 1.0
            off_s = OFF_MEDIAN_S * np.exp(OFF_SPREAD * white[i, 7])
            if uniform[i, 3] < habits[H_OFFS] * 2.0 * OFF_MEDIAN_S:
                state[OFF_S] = off_s * uniform[i, 5]
        for k in range(7):
            state[k] = keep[k] * state[k] + kick[k] * white[i, k]
        state[PHASE] += 2 * np.pi * habits[H_BREATH_HZ] * (1 + 0.12 * state[BREATH_RATE]) * step
        # The wall follows the womb: quickly when it hardens, slowly when it softens.
        follow = habits[H_RISE] if above[i] > state[FELT] else habits[H_FALL]
        state[FELT] += follow * (above[i] - state[FELT])
        state[SHIFT] *= 1 - step / SHIFT_FADES_S
        if uniform[i, 0] < habits[H_SHIFTS] * step:
            # A slip, or a turn onto the side: the belt lies tighter or looser from now on.
            state[SHIFT] += 11.0 * white[i, 7] * np.exp(0.4 * white[i, 8])
            state[BURST] = 3.0 + 6.0 * uniform[i, 5]
            state[BURST_S] = 4.0 + 20.0 * uniform[i, 6]
        if uniform[i, 1] < habits[H_RESETS] * step:
            # Set to zero by hand: what is felt now becomes the usual 0, 10 or 20 units.
            level = 10.0 * np.floor(2.999 * uniform[i, 5])
            state[SHIFT] = level - habits[H_TONE] - habits[H_DRIFT] * state[DRIFT]
        if state[LOST_S] > 0.0:
            state[LOST_S] -= step
        elif uniform[i, 2] < habits[H_LOSSES] * step:
            state[LOST_S] = LOST_MEDIAN_S * np.exp(0.8 * white[i, 7])
        if heart_off[i] > state[HEART_OFF] + 1.0 and uniform[i, 6] < OFF_TOGETHER:
            # Both are taken off: she goes to the bath, is turned, is examined.
            state[OFF_S] = max(state[OFF_S], heart_off[i] + 10.0 * white[i, 8])
        state[HEART_OFF] = heart_off[i]
        if state[OFF_S] > 0.0:
            state[OFF_S] -= step
        elif uniform[i, 3] < habits[H_OFFS] * step:
            state[OFF_S] = OFF_MEDIAN_S * np.exp(OFF_SPREAD * white[i, 7])
        restless = np.exp(0.65 * state[RESTLESS] - 0.15)
        if uniform[i, 4] < habits[H_BUMPS] * restless * step:
            # A cough, a hand, a leg drawn up.
            state[BUMP] += 8.0 * np.exp(1.1 * white[i, 8]) * (1.0 if uniform[i, 5] < 0.8 else -0.5)
            state[BUMP_S] = 1.0 + 14.0 * uniform[i, 6] ** 2
        state[BUMP] *= np.exp(-step / max(0.5, state[BUMP_S]))
        state[BUMP_FELT] += 0.2 * (state[BUMP] - state[BUMP_FELT])
        state[BURST_S] = max(0.0, state[BURST_S] - step)
        burst = state[BURST] if state[BURST_S] > 0.0 else 0.0
        lost[i] = 2.0 if state[OFF_S] > 0.0 else (1.0 if state[LOST_S] > 0.0 else 0.0)
        # A tight belt shakes more: with the breath, with everything.
        tight = 1.0 + habits[H_TIGHT] * min(60.0, max(0.0, state[FELT])) / 30.0
        shaken = tight * restless
        breath = np.sin(state[PHASE]) + 0.25 * np.sin(2 * state[PHASE] + 0.8)
        breath *= np.exp(0.6 * state[BREATH_SIZE])
        state[SHAKE_FELT] += 0.33 * (state[SHAKE] - state[SHAKE_FELT])
        shake = state[SHAKE_FELT] * (1.0 + burst + 5.0 * stir[i])
        given = (
            habits[H_GAIN] * (state[FELT] + push[i])
            + habits[H_DRIFT] * state[DRIFT]
            + state[SHIFT]
            + state[BUMP_FELT]
            + 6.0 * stir[i]
            + habits[H_WANDER] * state[WANDER] * restless
            + habits[H_NOISE]
            * (
                habits[H_BREATH] * breath * tight
                + habits[H_ROLL] * state[ROLL] * shaken
                + habits[H_SHAKE] * shake * shaken
                + habits[H_WHITE] * white[i, 8] * restless
            )
        )
        state[GIVEN] += habits[H_QUICKNESS] * (given - state[GIVEN])
        out[i] = state[GIVEN]


class ActivitySensor:
    """The belt or the catheter of a labour."""

    def __init__(
        self, habits: Generator, rng: Generator, chance: Generator, device: Device
    ) -> None:
        self._rng = rng
        self._chance = chance
        self._device = device
        self._keep = np.exp(-1.0 / (STEP_HZ * MEMORIES_S))
        self._kick = np.sqrt(1 - self._keep**2)
        self._state = np.zeros(21)
        self._state[:7] = habits.standard_normal(7)
        self._samples = 0
        self._held = 0.0
        draw = habits.standard_normal(12)
        self._breath_units = float((0.32 if device.averaging else 0.85) * np.exp(0.9 * draw[0]))
        self._drift_units = float(4.5 * np.exp(0.5 * draw[1]))
        self._wander_units = float(2.4 * np.exp(0.7 * draw[2]))
        self._roll_units = float((1.1 if device.averaging else 1.6) * np.exp(0.7 * draw[3]))
        self._shake_units = float((1.4 if device.averaging else 0.25) * np.exp(0.6 * draw[4]))
        self._white_units = float(0.06 * np.exp(0.5 * draw[5]))
        self._bumps_per_hour = float(80.0 * np.exp(0.8 * draw[6]))
        self._breath_hz = float(habits.uniform(0.2, 0.42))
        self._rise, self._fall = float(habits.uniform(0.15, 0.5)), float(habits.uniform(0.03, 0.2))

    def give(
        self,
        pressure: FloatArray,
        push: FloatArray,
        movement: FloatArray,
        heart_off: FloatArray,
        scenario: Scenario,
    ) -> FloatArray:
        """The next samples: mmHg of a catheter, units of a belt cut off at 0 and at its most.

        pressure: mmHg without the pushes; push: mmHg on top; movement: 0 to 1.5;
        heart_off: seconds that the heart-rate sensor will be off.
        """
        s, count = scenario, len(pressure)
        white = self._rng.standard_normal((count, 9))
        uniform = self._chance.random((count, 7))
        out, lost = np.empty(count), np.empty(count)
        catheter = s.activity_sensor is SensorKind.PRESSURE_CATHETER
        habits = self._catheter_habits(s) if catheter else self._belt_habits(s)
        stir = movement * (0.5 + 0.5 * np.abs(white[:, 7])) * (0.3 if catheter else 1.0)
        _belt(
            pressure - s.resting_tone_mmhg,
            push,
            stir,
            heart_off,
            white,
            uniform,
            habits,
            self._keep,
            self._kick,
            self._state,
            out,
            lost,
        )
        if catheter:
            value = np.round(np.clip(out + s.resting_tone_mmhg, 0.0, CATHETER_MOST_MMHG) * 2) / 2
        else:
            device = self._device
            value = np.clip(out + s.toco_tone, 0.0, device.activity_most)
            value = np.round(value * device.activity_steps) / device.activity_steps
            value = self._hold(value, device.activity_hold)
        # A belt that was taken off goes on giving a value: nothing.
        value = np.where(lost == 2.0, 0.0, value)
        return np.where(lost == 1.0, np.nan, value)

    def _hold(self, value: FloatArray, samples: int) -> FloatArray:
        """Let each value stay for some samples, on a grid that runs on from stretch to stretch."""
        if samples == 1:
            return value
        at = np.arange(self._samples, self._samples + len(value))
        source = at - at % samples - self._samples
        held = np.where(source >= 0, value[np.maximum(source, 0)], self._held)
        self._samples += len(value)
        self._held = float(held[-1])
        return held

    def _belt_habits(self, s: Scenario) -> FloatArray:
        made = np.zeros(19)
        made[H_GAIN] = s.toco_gain * toco_reach(
            s.toco_at.distance_cm(s.fundus_at), s.abdominal_wall_cm
        )
        made[H_NOISE] = s.toco_noise
        made[H_BREATH], made[H_ROLL] = self._breath_units, self._roll_units
        made[H_SHAKE], made[H_WHITE] = self._shake_units, self._white_units
        made[H_DRIFT] = self._drift_units
        made[H_WANDER] = self._wander_units * min(2.0, s.toco_noise)
        made[H_BREATH_HZ] = self._breath_hz
        made[H_RISE], made[H_FALL] = self._rise, self._fall
        made[H_SHIFTS] = s.belt_shifts_per_hour * PER_HOUR
        made[H_RESETS] = 0.35 * s.belt_shifts_per_hour * PER_HOUR
        made[H_LOSSES] = s.activity_losses_per_hour * PER_HOUR
        made[H_OFFS] = s.belt_off_per_hour * PER_HOUR
        made[H_BUMPS] = self._bumps_per_hour * s.toco_noise * PER_HOUR
        made[H_TONE], made[H_TIGHT] = s.toco_tone, 1.0
        made[H_QUICKNESS] = QUICKNESS if self._device.averaging else SLOWER_QUICKNESS
        return made

    def _catheter_habits(self, s: Scenario) -> FloatArray:
        made = np.zeros(19)
        made[H_GAIN], made[H_NOISE] = 1.0, 1.0
        made[H_BREATH], made[H_DRIFT], made[H_SHAKE] = 0.5, 0.8, 0.25
        made[H_BREATH_HZ] = self._breath_hz
        made[H_RISE], made[H_FALL] = 0.6, 0.5
        made[H_QUICKNESS] = 1.0
        made[H_LOSSES] = s.activity_losses_per_hour * PER_HOUR
        return made
