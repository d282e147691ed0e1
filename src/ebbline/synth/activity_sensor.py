"""The sensor of uterine activity: a belt with its faults, or a catheter.

A belt feels the wall of the abdomen, not the womb alone: breath, coughs, pushing, turning over.
It slips, is set to zero again, is laid too loose or taken off. Sizes were fitted to the CTU-UHB
recordings (bench.realism shows how far the likeness goes).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

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
STICKS_PER_HOUR, STUCK_MEAN_S = 6.0, 6.0
"""A belt that gives one value for some seconds (by the held values of CTU-UHB)."""
STUCK_UNDER_UNITS = 4.0
"""It does so only at rest: a value that stays stands high above the rest in 4 to 9 of 100 cases
in CTU-UHB, and is let go when the wall has moved so far."""
PER_HOUR = 1 / 3600.0
SHIFT_FADES_S = 1800.0
LOST_MEDIAN_S, OFF_MEDIAN_S, OFF_SPREAD = 70.0, 260.0, 1.1
OFF_TOGETHER, TOGETHER_AT_NOTHING = 0.9, 0.93
"""How often a belt is taken off with the heart-rate sensor, and then shows 0."""
LEFT_AT_NOTHING, LEFT_AT_UNITS, LEFT_DRIFTS = 0.55, 3.0, 0.5
"""A belt taken off shows 0 in so many cases, else some units that drift a little (by the flat
stretches of CTU-UHB)."""
STIR_LIFTS = 0.4
"""A movement rocks the belt to both sides, and lifts it a little on the whole."""


WALL_FOLLOWS = 0.4
"""Share of a movement of the wall that is felt at the next sample (by the spectrum of CTU-UHB's
belts, which falls steeply from 0.1 to 0.35 Hz)."""
GAIN_WANDERS = 0.3
"""How far the belt's gain wanders with its tightness (of its logarithm; by how the height of
contractions changes along CTU-UHB's belts)."""
BUMP_RISES, KNOCKS_FROM = 0.15, 0.5
"""A cough or a limb is felt over a second; a knock (three in ten) at once."""


@dataclass(frozen=True, slots=True)
class Belt:
    """What a belt of a kind of device feels besides the womb, in units; each labour draws its own.

    drift, wander, roll, shake: noises from slow to quick, with memories_s (then of the breath's
    size and rate, and of restlessness); shake_quickness: share of the shake felt at the next
    sample; white: without memory. breath: with breath_hz; the *_spread are of logarithms between
    labours, size_spread of the breath from time to time. bumps an hour: coughs, hands, limbs, of
    bump units (bump_spread), up to bump_s. restless: how far all this waxes and wanes. tight: how
    much more a belt shakes at 30 units. shift: units of a slip or a turn. stir, stir_shake: of
    a movement. breath_uneven: how
    far the pace of the breath wanders. quickness: share of a change that each of the two filters of
    the device gives at the next sample.
    """

    memories_s: tuple[float, float, float, float, float, float, float]
    drift: float
    drift_spread: float
    wander: float
    wander_spread: float
    roll: float
    roll_spread: float
    shake: float
    shake_spread: float
    shake_quickness: float
    white: float
    white_spread: float
    breath: float
    breath_spread: float
    breath_hz: float
    breath_hz_spread: float
    breath_uneven: float
    size_spread: float
    bumps: float
    bump: float
    bump_spread: float
    bump_s: float
    restless: float
    tight: float
    shift: float
    stir: float
    stir_shake: float
    rise: float
    fall: float
    quickness: float


SMOOTH_BELT = Belt(
    memories_s=(500.0, 56.0, 8.0, 0.35, 30.0, 4.0, 60.0),
    drift=4.6, drift_spread=0.5, wander=4.6, wander_spread=0.7, roll=1.5, roll_spread=0.92,
    shake=0.56, shake_spread=0.56, shake_quickness=0.8, white=0.36, white_spread=0.7,
    breath=0.52, breath_spread=0.7, breath_hz=0.48, breath_hz_spread=0.2, breath_uneven=0.18,
    size_spread=0.6,
    bumps=60.0, bump=3.8, bump_spread=1.3, bump_s=11.8, restless=0.95, tight=0.71, shift=15.0,
    stir=8.3, stir_shake=5.0, rise=0.15, fall=0.075, quickness=0.81,
)  # fmt: skip
"""The belt of a device that averages."""
STEPPED_BELT = Belt(
    memories_s=(500.0, 39.4, 8.0, 4.0, 30.0, 4.0, 60.0),
    drift=2.8, drift_spread=0.5, wander=3.5, wander_spread=0.7, roll=2.1, roll_spread=1.0,
    shake=0.34, shake_spread=0.96, shake_quickness=0.27, white=0.058, white_spread=0.5,
    breath=2.4, breath_spread=0.5, breath_hz=0.3, breath_hz_spread=0.34, breath_uneven=0.3,
    size_spread=0.6,
    bumps=88.0, bump=6.4, bump_spread=1.15, bump_s=6.3, restless=1.19, tight=1.15, shift=7.5,
    stir=7.1, stir_shake=5.0, rise=0.25, fall=0.1, quickness=0.44,
)  # fmt: skip
"""The belt of a device that gives a new value every half second."""

(DRIFT, WANDER, ROLL, SHAKE, BREATH_SIZE, BREATH_RATE, RESTLESS) = range(7)
(
    PHASE, SHIFT, FELT, LOST_S, OFF_S, BUMP, BUMP_FELT, BUMP_S, BURST, BURST_S, STARTED,
    SHAKE_FELT, HEART_OFF, WALL, HALF_GIVEN, GIVEN, LEFT_AT, STUCK_S, WAS_OFF, KNOCK,
) = range(7, 27)  # fmt: skip
"""Places in the state of the belt."""

(
    H_GAIN, H_NOISE, H_BREATH, H_DRIFT, H_WANDER, H_ROLL, H_SHAKE, H_WHITE, H_BREATH_HZ, H_RISE,
    H_FALL, H_SHIFTS, H_RESETS, H_LOSSES, H_OFFS, H_BUMPS, H_TONE, H_TIGHT,
    H_QUICKNESS, H_SHAKE_QUICKNESS, H_SIZE_SPREAD, H_BUMP, H_BUMP_SPREAD, H_BUMP_S, H_RESTLESS,
    H_SHIFT, H_STIR, H_STIR_SHAKE, H_STICKS, H_BREATH_UNEVEN,
    H_WALL, H_GAIN_WANDERS,
) = range(32)  # fmt: skip
"""Places in the belt's habits."""


@kernel
def _left_at(uniform: float) -> float:
    """What a belt shows that lies beside the woman: nothing, or some low value (units)."""
    if uniform < LEFT_AT_NOTHING:
        return 0.0
    return float(-LEFT_AT_UNITS * np.log((1.0 - uniform) / (1.0 - LEFT_AT_NOTHING) + 1e-3))


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
                state[LEFT_AT] = _left_at(uniform[i, 6])
        for k in range(7):
            state[k] = keep[k] * state[k] + kick[k] * white[i, k]
        state[PHASE] += (
            2
            * np.pi
            * habits[H_BREATH_HZ]
            * np.exp(habits[H_BREATH_UNEVEN] * state[BREATH_RATE])
            * step
        )
        # The wall follows the womb: quickly when it hardens, slowly when it softens.
        follow = habits[H_RISE] if above[i] > state[FELT] else habits[H_FALL]
        state[FELT] += follow * (above[i] - state[FELT])
        state[SHIFT] *= 1 - step / SHIFT_FADES_S
        if uniform[i, 0] < habits[H_SHIFTS] * step:
            # A slip, or a turn onto the side: the belt lies tighter or looser from now on.
            state[SHIFT] += habits[H_SHIFT] * white[i, 7] * np.exp(0.4 * white[i, 8])
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
            if state[OFF_S] == 0.0:
                state[LEFT_AT] = (
                    0.0 if uniform[i, 4] < TOGETHER_AT_NOTHING else _left_at(uniform[i, 5])
                )
            state[OFF_S] = max(state[OFF_S], heart_off[i] + 10.0 * white[i, 8])
        state[HEART_OFF] = heart_off[i]
        if state[OFF_S] > 0.0:
            state[OFF_S] = max(0.0, state[OFF_S] - step)
        elif uniform[i, 3] < habits[H_OFFS] * step:
            state[OFF_S] = OFF_MEDIAN_S * np.exp(OFF_SPREAD * white[i, 7])
            if state[WAS_OFF] == 0.0:
                state[LEFT_AT] = _left_at(uniform[i, 5])
        restless = np.exp(habits[H_RESTLESS] * (state[RESTLESS] - 0.5 * habits[H_RESTLESS]))
        if uniform[i, 4] < habits[H_BUMPS] * restless * step:
            # A cough, a hand, a leg drawn up.
            size = habits[H_BUMP] * np.exp(habits[H_BUMP_SPREAD] * white[i, 8])
            state[BUMP] += size * (1.0 if uniform[i, 5] < 0.52 else -1.0)
            state[BUMP_S] = 1.0 + habits[H_BUMP_S] * uniform[i, 6] ** 2
            state[KNOCK] = 1.0 if white[i, 7] > KNOCKS_FROM else BUMP_RISES
        state[BUMP] *= np.exp(-step / max(0.5, state[BUMP_S]))
        state[BUMP_FELT] += state[KNOCK] * (state[BUMP] - state[BUMP_FELT])
        state[BURST_S] = max(0.0, state[BURST_S] - step)
        burst = state[BURST] if state[BURST_S] > 0.0 else 0.0
        state[WAS_OFF] = 1.0 if state[OFF_S] > 0.0 else 0.0
        lost[i] = 2.0 if state[OFF_S] > 0.0 else (1.0 if state[LOST_S] > 0.0 else 0.0)
        # A tight belt shakes more: with the breath, with everything.
        tight = 1.0 + habits[H_TIGHT] * min(60.0, max(0.0, state[FELT])) / 30.0
        shaken = tight * restless
        breath = np.sin(state[PHASE]) + 0.25 * np.sin(2 * state[PHASE] + 0.8)
        breath *= np.exp(habits[H_SIZE_SPREAD] * state[BREATH_SIZE])
        state[SHAKE_FELT] += habits[H_SHAKE_QUICKNESS] * (state[SHAKE] - state[SHAKE_FELT])
        shake = state[SHAKE_FELT] * (1.0 + burst + habits[H_STIR_SHAKE] * stir[i])
        # The wall itself moves smoothly: what is quick rides on it.
        gain = habits[H_GAIN] * np.exp(habits[H_GAIN_WANDERS] * state[DRIFT])
        wall = (
            gain * (state[FELT] + push[i])
            + habits[H_STIR] * stir[i] * (STIR_LIFTS + state[ROLL])
            + habits[H_WANDER] * state[WANDER] * restless
            + habits[H_NOISE] * habits[H_ROLL] * state[ROLL] * shaken
        )
        state[WALL] += habits[H_WALL] * (wall - state[WALL])
        given = (
            state[WALL]
            + habits[H_DRIFT] * state[DRIFT]
            + state[SHIFT]
            + state[BUMP_FELT]
            + habits[H_NOISE]
            * (
                habits[H_BREATH] * breath * tight
                + habits[H_SHAKE] * shake * shaken
                + habits[H_WHITE] * white[i, 8] * restless
            )
        )
        state[STUCK_S] = max(0.0, state[STUCK_S] - step)
        at_rest = gain * (state[FELT] + push[i]) < STUCK_UNDER_UNITS
        if uniform[i, 5] < habits[H_STICKS] * step and at_rest:
            state[STUCK_S] = 3.0 - STUCK_MEAN_S * np.log(1.0 - uniform[i, 6])
        if state[STUCK_S] == 0.0 or abs(given - state[GIVEN]) > STUCK_UNDER_UNITS:
            state[STUCK_S] = 0.0
            state[HALF_GIVEN] += habits[H_QUICKNESS] * (given - state[HALF_GIVEN])
            state[GIVEN] += habits[H_QUICKNESS] * (state[HALF_GIVEN] - state[GIVEN])
        out[i] = state[GIVEN]
        if state[OFF_S] > 0.0:
            out[i] = state[LEFT_AT] + (LEFT_DRIFTS * state[DRIFT] if state[LEFT_AT] > 0.0 else 0.0)


class ActivitySensor:
    """The belt or the catheter of a labour."""

    def __init__(
        self,
        habits: Generator,
        rng: Generator,
        chance: Generator,
        device: Device,
        belt: Belt | None = None,
    ) -> None:
        self._rng = rng
        self._chance = chance
        self._device = device
        form = belt or (SMOOTH_BELT if device.averaging else STEPPED_BELT)
        self._form = form
        keep = np.exp(-1.0 / (STEP_HZ * np.array(form.memories_s)))
        self._keep, self._kick = keep, np.sqrt(1 - keep**2)
        self._state = np.zeros(27)
        self._state[:7] = habits.standard_normal(7)
        draw = habits.standard_normal(12)
        # A device's half seconds do not begin with the recording.
        self._samples = int(draw[11] > 0.0) % device.activity_hold
        self._held: float | None = None
        self._breath_units = form.breath * math.exp(form.breath_spread * draw[0])
        self._drift_units = form.drift * math.exp(form.drift_spread * draw[1])
        self._wander_units = form.wander * math.exp(form.wander_spread * draw[2])
        self._roll_units = form.roll * math.exp(form.roll_spread * draw[3])
        self._shake_units = form.shake * math.exp(form.shake_spread * draw[4])
        self._white_units = form.white * math.exp(form.white_spread * draw[5])
        self._bumps_per_hour = form.bumps * math.exp(0.8 * draw[6])
        self._breath_hz = form.breath_hz * math.exp(
            form.breath_hz_spread * float(np.clip(draw[7], -2.5, 2.5))
        )
        self._sticks_per_hour = STICKS_PER_HOUR * math.exp(1.0 * draw[10])
        self._rise = float(np.clip(form.rise * math.exp(0.4 * draw[8]), 0.05, 0.9))
        self._fall = float(np.clip(form.fall * math.exp(0.5 * draw[9]), 0.02, 0.7))

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
        stir = movement * (0.3 if catheter else 1.0)
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
            tone = np.where(lost == 2.0, 0.0, s.toco_tone)
            value = np.clip(out + tone, 0.0, device.activity_most)
            value = np.round(value * device.activity_steps) / device.activity_steps
            value = self._hold(value, device.activity_hold)
        return np.where(lost == 1.0, np.nan, value)

    def _hold(self, value: FloatArray, samples: int) -> FloatArray:
        """Let each value stay for some samples, on a grid that runs on from stretch to stretch."""
        if samples == 1:
            return value
        at = np.arange(self._samples, self._samples + len(value))
        source = at - at % samples - self._samples
        before = float(value[0]) if self._held is None else self._held
        held = np.where(source >= 0, value[np.maximum(source, 0)], before)
        self._samples += len(value)
        self._held = float(held[-1])
        return held

    def _felt(self) -> FloatArray:
        """Habits that belt and catheter have in common."""
        made, form = np.zeros(32), self._form
        made[H_SHAKE_QUICKNESS], made[H_SIZE_SPREAD] = form.shake_quickness, form.size_spread
        made[H_BUMP], made[H_BUMP_SPREAD], made[H_BUMP_S] = form.bump, form.bump_spread, form.bump_s
        made[H_RESTLESS], made[H_STIR_SHAKE] = form.restless, form.stir_shake
        made[H_STIR] = 6.0
        return made

    def _belt_habits(self, s: Scenario) -> FloatArray:
        made, form = self._felt(), self._form
        made[H_GAIN] = s.toco_gain * toco_reach(
            s.toco_at.distance_cm(s.fundus_at), s.abdominal_wall_cm
        )
        made[H_NOISE] = s.toco_noise
        made[H_BREATH], made[H_ROLL] = self._breath_units, self._roll_units
        made[H_SHAKE], made[H_WHITE] = self._shake_units, self._white_units
        made[H_DRIFT] = self._drift_units
        made[H_WANDER] = self._wander_units * min(2.0, s.toco_noise)
        made[H_STICKS] = self._sticks_per_hour * PER_HOUR
        made[H_BREATH_HZ], made[H_BREATH_UNEVEN] = self._breath_hz, form.breath_uneven
        made[H_RISE], made[H_FALL] = self._rise, self._fall
        made[H_WALL], made[H_GAIN_WANDERS] = WALL_FOLLOWS, GAIN_WANDERS * min(1.0, s.toco_noise)
        made[H_SHIFTS] = s.belt_shifts_per_hour * PER_HOUR
        made[H_RESETS] = 0.35 * s.belt_shifts_per_hour * PER_HOUR
        made[H_LOSSES] = s.activity_losses_per_hour * PER_HOUR
        made[H_OFFS] = s.belt_off_per_hour * PER_HOUR
        made[H_BUMPS] = self._bumps_per_hour * s.toco_noise * PER_HOUR
        made[H_TONE], made[H_TIGHT] = s.toco_tone, form.tight
        made[H_SHIFT], made[H_STIR], made[H_QUICKNESS] = form.shift, form.stir, form.quickness
        return made

    def _catheter_habits(self, s: Scenario) -> FloatArray:
        made = self._felt()
        made[H_GAIN], made[H_NOISE] = 1.0, 1.0
        made[H_BREATH], made[H_DRIFT], made[H_SHAKE] = 0.5, 0.8, 0.25
        made[H_BREATH_HZ], made[H_BREATH_UNEVEN] = self._breath_hz, 0.12
        made[H_RISE], made[H_FALL] = 0.6, 0.5
        made[H_QUICKNESS] = made[H_WALL] = 1.0
        made[H_LOSSES] = s.activity_losses_per_hour * PER_HOUR
        return made
