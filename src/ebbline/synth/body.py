"""The heart rate that follows from baseline, events, variability and reserve."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ebbline.synth.fluctuation import Fluctuation
from ebbline.synth.ground_truth import Mechanism
from ebbline.synth.shapes import STEP_HZ
from ebbline.synth.state import LabourState
from ebbline.synth.streams import Streams, Walk, approach

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

BASELINE_MEMORY_S, MOST_WANDER = 600.0, 2.2
BURDEN_TACHYCARDIA_BPM = 18.0
"""What a spent reserve adds to the baseline before it sinks (course as taught; figure chosen)."""
STATE_TURNS_S = 45.0
LEAST_RATE_BPM = 52.0
"""Falls bend towards this rate and do not cross it."""

CALM_BANDWIDTH_BPM = 14.0
"""Beyond this bandwidth variability grows by faster swings, not by deeper slow waves (common
practice: saltatory patterns are quick and jagged)."""
EXCESS_SHARE = 0.8
"""How two fluctuations' bandwidths add (measured)."""
UNEVENNESS, UNEVEN_S = 0.06, 7.0
"""Unevenness of a reflex fall: standard deviation as a share, and its memory (by eye)."""
LOST_RESERVE, LOST_SHARE = 0.5, 0.3
"""Under this reserve variability is lost within falls, down to this share."""

SINE_LEAVES, PSEUDO_LEAVES, SINE_FADES_S = 0.08, 0.5, 30.0
"""Share of variability that (pseudo-)sinusoidal stretches leave; how long they come and go."""

HEART_WANDER_S = 900.0
MATERNAL_MEMORIES_S = (25.0, 400.0, 8.0)
MATERNAL_SPREADS_BPM = (2.5, 4.0, 1.2)
MATERNAL_PER_MMHG, MATERNAL_PER_PUSH_MMHG = 0.14, 0.35
"""The mother's rate rises with contractions and more with pushing (FIGO 2015; figures chosen)."""


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """What the body does over a stretch. Arrays at 4 Hz but baseline and wander (1 Hz).

    falls: bpm below baseline by mechanism, after the floor; lost: variability lost within;
    wander: the heart's, shape (seconds, 2).
    """

    baseline: FloatArray
    rate: FloatArray
    fluctuation: FloatArray
    width: FloatArray
    falls: dict[Mechanism, FloatArray]
    fall: FloatArray
    lost: BoolArray
    maternal: FloatArray
    wander: FloatArray


class Body:
    """Mother and fetus, with the memory that runs from one stretch into the next."""

    def __init__(self, state: LabourState, streams: Streams) -> None:
        self._state = state
        self._fluctuation = Fluctuation(streams.of("fluctuation"))
        memories = (BASELINE_MEMORY_S, HEART_WANDER_S, HEART_WANDER_S, *MATERNAL_MEMORIES_S)
        self._walk = Walk(streams.of("slow"), (*memories, UNEVEN_S))
        self._level = np.zeros(1)
        self._behaviour = np.zeros(1)
        self._last: dict[str, float] = {}

    def show(self, a: int, b: int) -> Shown:
        """Seconds a to b; a is where the last stretch ended."""
        s, t = self._state.scenario, self._state.tracks
        seconds = np.arange(a, b, dtype=float)
        fast = slice(a * STEP_HZ, b * STEP_HZ)
        walk = self._walk.draw(b - a)
        baseline = self._baseline(seconds, walk[:, 0], t.reserve[a:b])
        width, sine = self._width(seconds, t.reserve[a:b])
        uneven = 1 + UNEVENNESS * np.clip(walk[:, 6], -2.5, 2.5)
        fractal, swing = self._fluctuation.draw(len(seconds) * STEP_HZ)
        falls = {
            Mechanism.CORD: np.clip(t.cord[fast] - swing * t.ragged[fast], 0.0, None),
            Mechanism.HEAD: t.head[fast],
            Mechanism.SUSTAINED: t.sustained[fast],
            Mechanism.PLACENTAL: self._fine("reflex", t.reflex[a:b]) * self._fine("uneven", uneven),
        }
        base = self._fine("baseline", baseline)
        total = np.sum(list(falls.values()), axis=0)
        fall = _floored(total, base - LEAST_RATE_BPM)
        share = np.where(total > 0, fall / np.maximum(total, 1e-9), 1.0)
        spent = self._fine("reserve", t.reserve[a:b]) < LOST_RESERVE
        lost = (fall > 8.0) & (spent | s.variability_lost_within)
        fine_width = self._fine("width", width)
        calm = np.minimum(fine_width, CALM_BANDWIDTH_BPM)
        excess = EXCESS_SHARE * np.sqrt(np.clip(fine_width**2 - calm**2, 0.0, None))
        fluctuation = (fractal * calm + swing * excess) * np.where(lost, LOST_SHARE, 1.0)
        fluctuation = fluctuation + self._sine(a, b, sine)
        rate = base - fall + t.activity[fast] + t.rises[fast] + fluctuation
        return Shown(
            baseline=baseline,
            rate=np.clip(rate, 40.0, 230.0),
            fluctuation=fluctuation,
            width=fine_width,
            falls={mechanism: track * share for mechanism, track in falls.items()},
            fall=fall,
            lost=lost,
            maternal=self._maternal(walk[:, 3:6], t.bell[fast], t.push[fast]),
            wander=walk[:, 1:3],
        )

    def _fine(self, name: str, values: FloatArray) -> FloatArray:
        """One-second values at 4 Hz, joined by lines to where the last stretch ended."""
        last = self._last.get(name, float(values[0]))
        self._last[name] = float(values[-1])
        fine: FloatArray = np.interp(
            np.arange(len(values) * STEP_HZ) / STEP_HZ,
            np.arange(len(values) + 1),
            np.append(last, values),
        )
        return fine

    def _baseline(self, seconds: FloatArray, wander: FloatArray, reserve: FloatArray) -> FloatArray:
        state, s = self._state, self._state.scenario
        target, memory = np.empty(len(seconds)), np.empty(len(seconds))
        for level in state.levels:
            here = seconds >= level.since_s
            target[here], memory[here] = level.bpm, level.memory_s
        rising = np.clip((0.85 - reserve) / 0.45, 0.0, 1.0)
        sinking = np.clip((0.3 - reserve) / 0.3, 0.0, 1.0)
        target = target + BURDEN_TACHYCARDIA_BPM * (rising - sinking)
        target = target + state.care.baseline_rise_bpm(seconds, s)
        if state.now == 0:
            self._level[0] = target[0]
        level_bpm = approach(self._level, target, memory)
        wandering = s.baseline_wander_bpm * np.clip(wander, -MOST_WANDER, MOST_WANDER)
        return np.asarray(level_bpm + wandering)

    def _width(self, seconds: FloatArray, reserve: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Bandwidth of the fluctuation, bpm, and how far a sinusoidal pattern is on, 0..1."""
        state = self._state
        width, behaviour = np.empty(len(seconds)), np.ones(len(seconds))
        for since, bpm in state.widths:
            width[seconds >= since] = bpm
        for since, share in state.state_levels:
            behaviour[seconds >= since] = share
        if state.now == 0:
            self._behaviour[0] = behaviour[0]
        width = width * approach(self._behaviour, behaviour, np.full(len(seconds), STATE_TURNS_S))
        width = width * state.care.bandwidth_left(seconds, state.scenario)
        width = width * np.clip((reserve - 0.1) / 0.4, 0.1, 1.0)
        sine = np.zeros(len(seconds))
        for u in state.undulations:
            inside = np.minimum(seconds - u.start_s, u.end_s - seconds) / SINE_FADES_S
            inside = np.clip(inside, 0.0, 1.0)
            sine = np.maximum(sine, inside)
            width = width * (1 - inside * (1 - (PSEUDO_LEAVES if u.pseudo else SINE_LEAVES)))
        return width, sine

    def _sine(self, a: int, b: int, share: FloatArray) -> FloatArray:
        time = np.arange(a * STEP_HZ, b * STEP_HZ) / STEP_HZ
        wave = np.zeros(len(time))
        if not share.any():
            return wave

        def waxing(period_s: float) -> FloatArray:
            return np.sin(2 * math.pi * time / period_s)

        for u in self._state.undulations:
            phase = 2 * math.pi * u.per_min / 60.0 * time + 0.5 * waxing(233.0) + 0.3 * waxing(97.0)
            shape = np.sin(phase)
            if u.pseudo:
                saw = 2 / math.pi * np.arcsin(shape) + 0.25 * np.sin(3.1 * phase + 1.0)
                shape = saw * (1 + 0.4 * waxing(67.0))
            size = u.amplitude_bpm * (1 + 0.08 * waxing(171.0))
            wave = np.where((time >= u.start_s) & (time < u.end_s), size * shape, wave)
        return np.asarray(wave * np.repeat(share, STEP_HZ))

    def _maternal(self, walk: FloatArray, bell: FloatArray, push: FloatArray) -> FloatArray:
        wander = np.repeat(walk @ np.array(MATERNAL_SPREADS_BPM), STEP_HZ)
        effort = MATERNAL_PER_MMHG * bell + MATERNAL_PER_PUSH_MMHG * push
        return np.asarray(self._state.scenario.maternal_bpm + wander + effort)


def _floored(fall: FloatArray, floor: FloatArray) -> FloatArray:
    """A fall that bends from three quarters of the way to the floor on."""
    bend = 0.75 * floor
    bent = floor - 0.25 * floor * np.exp(-(fall - bend) / (0.25 * floor))
    return np.asarray(np.where(fall > bend, bent, fall))
