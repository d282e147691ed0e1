"""The heart-rate sensor, beat by beat: what it follows, what it shows, when it falls silent.

A value comes with each beat and stays until the next, so that at 4 Hz it stays for two samples or
so. Quality waxes and wanes over seconds and minutes. Ultrasound correlates the last few beats:
when it loses hold it keeps its value for some seconds before it falls silent, comes back for
single readings, and then often with a wrong rate. An electrode triggers on the beat: it falls
silent at once, and while it is disturbed the intervals are anybody's. Lengths and shares were
fitted to the CTU-UHB recordings (bench.realism shows how far the likeness goes).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from ebbline.compiled import kernel
from ebbline.synth.sensors import (
    LEAST_UNSETTLED,
    SETTLED_FROM,
    SETTLED_OVER,
    Device,
    Hearing,
)
from ebbline.synth.shapes import STEP_HZ

FloatArray = NDArray[np.float64]
ModeArray = NDArray[np.int8]

SPELL_MEDIANS_S = (9.0, 9.0, 35.0)
"""Spells of doubling, halving and maternal rate (chosen; the mother's stays longest)."""
SPELL_SPREAD = 0.7

OFF_MEDIAN_S, OFF_SPREAD = 340.0, 0.75
"""How long a sensor that came off is left off."""
OFF_AT_FIRST = 5.5
"""How much likelier a sensor is not yet on when the recording begins than by coming off later."""

TENDED_AFTER_S, TENDED_S, TENDED_TO = 18.0, 22.0, 0.7
"""A sensor that is silent for so long is seen to: its signal rises by one of its standard
deviations in TENDED_S, up to TENDED_TO (poor signal alone seldom costs more than a minute in the
recordings; figures fitted)."""

ELECTRODE_BEAT_MS = 2.0
"""Step of the interval when an electrode is put on with a device that averages."""


@dataclass(frozen=True, slots=True)
class Hearkening:
    """How a kind of sensor follows the beat, loses it and finds it again.

    memories_s, shares: of the quality's own slow, middling and quick changes (variance). smooth:
    weight of the newest beat in a value. noise_bpm: error of a beat's value; unease_spread: how
    far that error waxes and wanes (of its logarithm); unheard_error: how much it grows where the
    signal is poor; value_error_bpm: error of a value beyond that of the beats. good, bad: chance
    that a beat is heard where the signal is good, and where it is poor (falling by bad_slope to
    the unit of quality). locked, lock_s: once found, the chance for so long on average. drop:
    share of beats whose value fails for that beat alone. hold_s: how long the last value is kept.
    blank_s, blank_more_s: silence before a value is shown again, at least and beyond that on
    average. wrong, wrong_before: chance of a wrong rate with a beat heard where the signal is
    poor, after silence (a sensor by the beat: wherever) and before it; wrong_last: chance that a
    sensor by the beat gives a wrong rate where it loses hold; wrong_s: how long; wrong_spread:
    how wrong (logarithm).
    leap_bpm: a greater leap is not believed at first. late: share of values a sample late. odd:
    share of odd beats. tremble: chance that a kept value trembles by a quarter, each sample.
    """

    memories_s: tuple[float, float, float]
    shares: tuple[float, float, float]
    smooth: float
    noise_bpm: float
    noise_spread: float
    tail_bpm: float
    unease_spread: float
    unheard_error: float
    value_error_bpm: float
    good: float
    bad: float
    bad_slope: float
    locked: float
    lock_s: float
    drop: float
    hold_s: float
    blank_s: float
    blank_more_s: float
    wrong: float
    wrong_before: float
    wrong_last: float
    wrong_s: float
    wrong_spread: float
    leap_bpm: float
    late: float
    odd: float
    tremble: float


CORRELATING = Hearkening(
    memories_s=(140.0, 22.0, 4.0),
    shares=(0.88, 0.107, 0.013),
    smooth=0.6,
    noise_bpm=0.5,
    noise_spread=0.6,
    tail_bpm=0.56,
    unease_spread=0.85,
    unheard_error=1.25,
    value_error_bpm=0.16,
    good=0.987,
    bad=0.72,
    bad_slope=3.85,
    locked=0.72,
    lock_s=5.8,
    drop=0.0002,
    hold_s=2.1,
    blank_s=0.71,
    blank_more_s=0.25,
    wrong=0.48,
    wrong_before=0.09,
    wrong_last=0.0,
    wrong_s=5.0,
    wrong_spread=0.217,
    leap_bpm=12.2,
    late=0.04,
    odd=0.0,
    tremble=0.42,
)
"""Ultrasound that correlates and averages a few beats."""
TRIGGERED = Hearkening(
    memories_s=(300.0, 18.0, 3.0),
    shares=(0.905, 0.09, 0.005),
    smooth=1.0,
    noise_bpm=0.42,
    noise_spread=0.4,
    tail_bpm=0.3,
    unease_spread=0.55,
    unheard_error=3.0,
    value_error_bpm=0.0,
    good=0.9999,
    bad=0.42,
    bad_slope=2.6,
    locked=0.97,
    lock_s=8.0,
    drop=0.0001,
    hold_s=0.45,
    blank_s=1.15,
    blank_more_s=0.8,
    wrong=0.45,
    wrong_before=0.12,
    wrong_last=0.4,
    wrong_s=1.4,
    wrong_spread=0.13,
    leap_bpm=40.0,
    late=0.01,
    odd=0.0006,
    tremble=0.4,
)
"""A sensor that goes beat by beat: the electrode, and ultrasound of some devices."""

AT_ONCE = 0.7
"""How often a device that goes beat by beat is silent with the first beat that fails, and does not
wait for it."""

LEAP_TAIL = 0.3
"""How soon, in shares of the greatest usual leap, a greater one is no longer believed."""

LEAST_SHOWN_BPM, MOST_SHOWN_BPM = 40.0, 240.0

(
    SLOW, MIDDLE, QUICK, PHASE, SINCE_BEAT, BEATS_SUM, ESTIMATE, SHOWN, SHOWN_MODE, UNHEARD_S,
    BLANK_S, WRONG_S, WRONG_RATIO, SPELL_S, SPELL_MODE, OFF_S, STARTED, UNEASE,
    LOCK_S, PATIENCE, BLANK_NEED_S,
) = range(21)  # fmt: skip
"""Places in the state of the sensor."""

(
    P_ELECTRODE, P_SMOOTH, P_NOISE, P_GOOD, P_BAD, P_HOLD_S, P_BLANK_S, P_WRONG, P_WRONG_S,
    P_ODD_BEAT, P_BEAT_MS, P_STEPS, P_OFF, P_TREMBLE,
    P_LEAP, P_ROUNDING, P_UNEASE, P_UNHEARD, P_VALUE_ERROR, P_BAD_SLOPE, P_LOCKED, P_LOCK_S,
    P_DROP, P_BLANK_MORE_S, P_WRONG_BEFORE, P_WRONG_SPREAD, P_LATE, P_WRONG_LAST, P_CONSTANCY,
    P_TAIL,
) = range(30)  # fmt: skip
"""Places in the habits of the sensor."""


@kernel
def _quantised(bpm: float, beat_ms: float, rounding: float, steps: float) -> float:
    if beat_ms > 0.0:
        interval = max(1.0, np.round(60000.0 / bpm / beat_ms)) * beat_ms
        bpm = 60000.0 / interval
    return float(np.floor(bpm * steps + rounding + 1e-9) / steps)


@kernel
def _listen(
    rate: FloatArray,
    maternal: FloatArray,
    quality: FloatArray,
    hazards: FloatArray,
    unevenness: FloatArray,
    uniform: FloatArray,
    normal: FloatArray,
    walks: FloatArray,
    habits: FloatArray,
    state: FloatArray,
    value: FloatArray,
    mode: ModeArray,
    off: FloatArray,
) -> None:
    step = 1.0 / STEP_HZ
    electrode = habits[P_ELECTRODE] > 0.5
    for i in range(len(rate)):
        state[SLOW] = walks[0, 0] * state[SLOW] + walks[0, 1] * normal[i, 0]
        state[MIDDLE] = walks[1, 0] * state[MIDDLE] + walks[1, 1] * normal[i, 1]
        state[QUICK] = walks[2, 0] * state[QUICK] + walks[2, 1] * normal[i, 2]
        if (
            state[SHOWN_MODE] == 1.0
            and state[OFF_S] == 0.0
            and state[BLANK_S] > habits[P_CONSTANCY] * TENDED_AFTER_S
            and state[SLOW] < TENDED_TO
        ):
            state[SLOW] += step / (habits[P_CONSTANCY] * TENDED_S)
        # Where the signal is good it seldom turns bad for long.
        settled = min(1.0, max(LEAST_UNSETTLED, (SETTLED_FROM - quality[i]) / SETTLED_OVER))
        heard = quality[i] + settled * state[SLOW] + state[MIDDLE] + state[QUICK]
        good = heard > 0.0
        state[OFF_S] = max(0.0, state[OFF_S] - step)
        state[SPELL_S] = max(0.0, state[SPELL_S] - step)
        state[WRONG_S] = max(0.0, state[WRONG_S] - step)
        state[LOCK_S] = max(0.0, state[LOCK_S] - step)
        state[BLANK_S] += step
        state[UNHEARD_S] += step
        if uniform[i, 0] < habits[P_OFF] * step and state[OFF_S] == 0.0:
            state[OFF_S] = OFF_MEDIAN_S * np.exp(OFF_SPREAD * normal[i, 3])
        if state[SPELL_S] == 0.0 and state[SHOWN_MODE] != 1.0:
            for k in range(3):
                if uniform[i, 1 + k] < hazards[i, k] * step:
                    state[SPELL_S] = max(
                        2.0, SPELL_MEDIANS_S[k] * np.exp(SPELL_SPREAD * normal[i, 3])
                    )
                    state[SPELL_MODE] = 3.0 + k
                    if uniform[i, 4] > 0.3:
                        # The autocorrelation loses its hold before it finds the wrong one.
                        state[SHOWN_MODE] = 1.0
                        state[BLANK_S] = 0.0
                    break
        spell = int(state[SPELL_MODE]) if state[SPELL_S] > 0.0 else 0
        followed = rate[i]
        if spell == 5:
            followed = maternal[i]
        elif spell == 4:
            followed = 0.5 * rate[i]
        state[PHASE] += followed / 60.0 * step
        state[SINCE_BEAT] += step
        state[BEATS_SUM] += rate[i] if spell != 5 else maternal[i]
        if state[STARTED] == 0.0:
            # A recording begins with the value of the beat before it, if the sensor is on.
            state[ESTIMATE] = rate[i]
            state[SHOWN] = _quantised(
                rate[i], habits[P_BEAT_MS], habits[P_ROUNDING], habits[P_STEPS]
            )
            state[STARTED] = 1.0
            state[PHASE] = uniform[i, 5]
            if uniform[i, 0] < habits[P_OFF] * OFF_AT_FIRST * OFF_MEDIAN_S:
                state[OFF_S] = OFF_MEDIAN_S * np.exp(OFF_SPREAD * normal[i, 3])
                state[OFF_S] *= 0.2 + 0.8 * uniform[i, 6]
                state[SHOWN_MODE] = 1.0
        # Now and then a value comes a sample late.
        if state[PHASE] >= 1.0 and uniform[i, 3] > habits[P_LATE]:
            state[PHASE] -= 1.0
            beat = state[BEATS_SUM] / max(1.0, np.round(state[SINCE_BEAT] / step))
            state[SINCE_BEAT] = 0.0
            state[BEATS_SUM] = 0.0
            # Errors are mostly small and now and then large.
            state[UNEASE] = 0.94 * state[UNEASE] + 0.34 * normal[i, 4]
            tail = habits[P_TAIL] * np.exp(habits[P_UNEASE] * state[UNEASE])
            error = 1.0 + habits[P_UNHEARD] * min(1.5, max(0.0, 1.0 - heard))
            error *= unevenness[i] * (habits[P_NOISE] * normal[i, 5] + tail * normal[i, 7])
            if electrode:
                beat = beat + error
                # Odd beats come in runs: ectopic ones, or the trigger beside the beat.
                if uniform[i, 6] < habits[P_ODD_BEAT] * np.exp(2.0 * state[UNEASE]):
                    beat *= 1.0 + 0.07 * normal[i, 6]
                state[ESTIMATE] = beat
            else:
                state[ESTIMATE] += habits[P_SMOOTH] * (beat + error - state[ESTIMATE])
            chance = (
                habits[P_GOOD]
                if good
                else habits[P_BAD] * np.exp(habits[P_BAD_SLOPE] * max(heard, -4.0))
            )
            if state[LOCK_S] > 0.0:
                chance = max(chance, habits[P_LOCKED])
            valid = uniform[i, 7] < chance and state[OFF_S] == 0.0
            silent = state[SHOWN_MODE] == 1.0
            if silent and state[BLANK_S] < state[BLANK_NEED_S]:
                valid = False
            if valid and not silent and uniform[i, 1] < habits[P_DROP]:
                # This value alone fails the device's own check.
                state[SHOWN_MODE] = 1.0
                state[BLANK_S] = 0.0
                state[BLANK_NEED_S] = 0.0
                if electrode:
                    # An interval without a beat at its end spoils the next one too.
                    state[BLANK_NEED_S] = habits[P_BLANK_S] - habits[P_BLANK_MORE_S] * np.log(
                        1.0 - uniform[i, 2]
                    )
            elif valid:
                if good and state[WRONG_S] > 0.0 and uniform[i, 9] < 0.35:
                    state[WRONG_S] = 0.0
                # The first interval after silence seldom runs from one beat to the next.
                doubtful = not good or (electrode and silent)
                if doubtful and state[WRONG_S] == 0.0 and spell == 0:
                    begins = habits[P_WRONG] if silent else habits[P_WRONG_BEFORE]
                    if uniform[i, 9] < begins:
                        state[WRONG_S] = habits[P_WRONG_S] * np.exp(0.8 * normal[i, 3])
                        spread = habits[P_WRONG_SPREAD]
                        # Mostly something below the true rate, now and then its half or double.
                        if uniform[i, 10] < 0.66:
                            state[WRONG_RATIO] = np.exp(-abs(spread * normal[i, 6]) - 0.03)
                        elif uniform[i, 10] < 0.97:
                            state[WRONG_RATIO] = np.exp(abs(0.8 * spread * normal[i, 6]) + 0.03)
                        else:
                            state[WRONG_RATIO] = 2.0 if uniform[i, 10] > 0.99 else 0.5
                if state[WRONG_S] > 0.0:
                    state[WRONG_RATIO] *= np.exp(0.008 * normal[i, 7] * (2.5 if electrode else 1.0))
                shown = state[ESTIMATE]
                said = 0.0
                if state[WRONG_S] > 0.0 and spell == 0:
                    shown *= state[WRONG_RATIO]
                    said = 2.0
                elif spell > 0:
                    said = float(spell)
                    shown *= 2.0 if spell == 3 else (0.5 if spell == 4 else 1.0)
                if electrode and not good:
                    shown *= np.exp(0.022 * normal[i, 8])
                elif not electrode:
                    shown += habits[P_VALUE_ERROR] * normal[i, 8]
                # A value far from the last is not believed until that one has been given up.
                leap = abs(shown - state[SHOWN]) - habits[P_LEAP]
                believed = (
                    silent
                    or leap < 0.0
                    or uniform[i, 11] < np.exp(-leap / (LEAP_TAIL * habits[P_LEAP]))
                )
                if believed and LEAST_SHOWN_BPM <= shown <= MOST_SHOWN_BPM:
                    if silent:
                        state[LOCK_S] = 0.2 - habits[P_LOCK_S] * np.log(1.0 - uniform[i, 11])
                    state[SHOWN] = _quantised(
                        shown, habits[P_BEAT_MS], habits[P_ROUNDING], habits[P_STEPS]
                    )
                    state[SHOWN_MODE] = said
                    state[UNHEARD_S] = 0.0
                    state[PATIENCE] = uniform[i, 8] ** 2
            elif (
                electrode
                and state[SHOWN_MODE] == 0.0
                and state[OFF_S] == 0.0
                and uniform[i, 9] < habits[P_WRONG_LAST]
            ):
                # The trigger goes astray once or twice before the device falls silent.
                astray = 0.03 + abs(habits[P_WRONG_SPREAD] * normal[i, 6])
                shown = state[ESTIMATE] * np.exp(astray if uniform[i, 11] < 0.3 else -astray)
                state[SHOWN] = _quantised(
                    shown, habits[P_BEAT_MS], habits[P_ROUNDING], habits[P_STEPS]
                )
                state[SHOWN_MODE] = 2.0
                state[UNHEARD_S] = 0.0
            elif electrode and not silent and uniform[i, 10] < AT_ONCE:
                state[SHOWN_MODE] = 1.0
                state[BLANK_S] = 0.0
                state[BLANK_NEED_S] = habits[P_BLANK_S] - habits[P_BLANK_MORE_S] * np.log(
                    1.0 - uniform[i, 2]
                )
            elif not silent and uniform[i, 10] < habits[P_TREMBLE]:
                tremble = 0.25 if uniform[i, 11] < 0.5 else -0.25
                state[SHOWN] = _quantised(
                    state[SHOWN] + tremble, habits[P_BEAT_MS], habits[P_ROUNDING], habits[P_STEPS]
                )
        hold = habits[P_HOLD_S]
        if electrode:
            # The next beat is waited for, and one that comes late, not the one after.
            hold = max(hold, 95.0 / followed)
        else:
            hold *= 0.88 + 1.1 * state[PATIENCE]
        if state[SHOWN_MODE] != 1.0 and state[UNHEARD_S] > hold:
            state[SHOWN_MODE] = 1.0
            state[BLANK_S] = 0.0
            state[BLANK_NEED_S] = habits[P_BLANK_S] - habits[P_BLANK_MORE_S] * np.log(
                1.0 - uniform[i, 2]
            )
        off[i] = state[OFF_S]
        mode[i] = np.int8(state[SHOWN_MODE])
        value[i] = np.nan if mode[i] == 1 else state[SHOWN]


class HeartSensor:
    """The heart-rate sensor of a labour, with the habits of its device and its place."""

    def __init__(
        self,
        habits: Generator,
        rng: Generator,
        noise: Generator,
        device: Device,
        correlating: Hearkening = CORRELATING,
        triggered: Hearkening = TRIGGERED,
    ) -> None:
        self._rng = rng
        self._noise = noise
        self._state = np.zeros(21)
        self._state[[SLOW, MIDDLE, QUICK]] = noise.standard_normal(3) * np.sqrt(correlating.shares)
        draw = habits.standard_normal(12)
        self._device = device
        by_ultrasound = correlating if device.averaging else triggered
        self._by_sensor = {
            False: (_habits(by_ultrasound, device, draw), _walks(by_ultrasound)),
            True: (_habits(triggered, device, draw), _walks(triggered)),
        }

    def give(
        self,
        rate: FloatArray,
        maternal: FloatArray,
        heard: Hearing,
        unevenness: FloatArray,
        electrode: bool,
        off_per_hour: float,
        constancy: float = 1.0,
    ) -> tuple[FloatArray, ModeArray, FloatArray]:
        """Values (bpm, NaN where lost), modes, and seconds the sensor will be off, of the next.

        rate, maternal: the true rates; unevenness: how far beats differ from their mean, bpm;
        constancy: how long good and poor signal last, as in Scenario.
        """
        count = len(rate)
        habits, walks = self._by_sensor[electrode]
        habits, walks = habits.copy(), walks.copy()
        # How long good and poor signal last: the slow walk's memory.
        keep = walks[0, 0] ** (1.0 / constancy)
        share = walks[0, 1] ** 2 / (1 - walks[0, 0] ** 2)
        walks[0] = keep, math.sqrt(share * (1 - keep**2))
        habits[P_OFF], habits[P_CONSTANCY] = off_per_hour / 3600.0, constancy
        value, mode, off = np.empty(count), np.zeros(count, dtype=np.int8), np.zeros(count)
        _listen(
            rate,
            maternal,
            heard.quality,
            heard.hazards,
            unevenness,
            self._rng.random((count, 12)),
            self._noise.standard_normal((count, 9)),
            walks,
            habits,
            self._state,
            value,
            mode,
            off,
        )
        return value, mode, off


def _walks(form: Hearkening) -> FloatArray:
    """What each walk of the quality keeps from sample to sample, and what comes new."""
    keep = np.exp(-1.0 / (STEP_HZ * np.array(form.memories_s)))
    return np.column_stack((keep, np.sqrt(np.array(form.shares) * (1 - keep**2))))


def _habits(form: Hearkening, device: Device, draw: FloatArray) -> FloatArray:
    """The habits of one sensor of its kind; draw: standard normal numbers."""
    beat_by_beat = form.smooth >= 1.0
    made = np.zeros(30)
    made[P_ELECTRODE] = float(beat_by_beat)
    made[P_SMOOTH] = float(np.clip(form.smooth + 0.08 * draw[1], 0.25, 0.8))
    made[P_NOISE] = form.noise_bpm * math.exp(form.noise_spread * draw[0])
    made[P_TAIL] = form.tail_bpm * math.exp(0.3 * draw[5])
    made[P_GOOD] = form.good
    made[P_BAD] = min(0.95, form.bad * math.exp(0.3 * draw[2]))
    made[P_HOLD_S] = form.hold_s * math.exp(0.05 * float(np.clip(draw[3], -3.0, 3.0)))
    made[P_BLANK_S], made[P_BLANK_MORE_S] = (
        form.blank_s,
        form.blank_more_s * math.exp(0.5 * draw[7]),
    )
    made[P_LEAP] = form.leap_bpm
    made[P_WRONG] = form.wrong / (form.wrong + (1 - form.wrong) * math.exp(0.5 * draw[8]))
    made[P_WRONG_BEFORE] = form.wrong_before * math.exp(0.4 * draw[9])
    made[P_WRONG_S] = form.wrong_s
    made[P_WRONG_SPREAD] = form.wrong_spread * math.exp(0.3 * draw[10])
    made[P_ODD_BEAT] = form.odd * math.exp(0.8 * draw[4])
    coarse = beat_by_beat and device.averaging
    made[P_BEAT_MS] = ELECTRODE_BEAT_MS if coarse else device.beat_ms
    made[P_ROUNDING] = 0.5 if coarse else device.rounding
    made[P_STEPS] = device.bpm_steps
    made[P_TREMBLE] = form.tremble
    made[P_UNEASE], made[P_UNHEARD] = form.unease_spread, form.unheard_error
    made[P_VALUE_ERROR], made[P_BAD_SLOPE] = form.value_error_bpm, form.bad_slope
    made[P_LOCKED], made[P_LOCK_S] = form.locked, form.lock_s * math.exp(0.45 * draw[11])
    made[P_DROP] = form.drop * math.exp(1.3 * draw[6])
    made[P_LATE] = form.late
    made[P_WRONG_LAST] = form.wrong_last
    return made
