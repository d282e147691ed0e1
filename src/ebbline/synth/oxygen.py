"""Fetal oxygen: what contractions and cord compression take, and what the chemoreflex answers.

A two-store model on a grid of one second. The oxygen level follows the supply within seconds (the
fetus holds oxygen for a minute or so); the reserve (buffers, glycogen) is spent by hypoxia and
rebuilt over an hour or more.

Sources: flow through the intervillous space stops when the contraction's pressure exceeds that of
the vessels, about 30 to 60 mmHg (Borell U, et al. Am J Obstet Gynecol 1965;93:44-57; Fleischer A,
et al. Am J Obstet Gynecol 1987;157:164-7; figures from memory). Late decelerations begin when
fetal pO2 falls below about 18 to 20 mmHg, with a lag of some 20 s (Myers RE, Mueller-Heubach E,
Adamsons K. Am J Obstet Gynecol 1973;115:1083-94; Caldeyro-Barcia; from memory).

How late a fall comes differs from fetus to fetus and from fall to fall: the lowest point 18 to 64 s
after the contraction's peak (Caldeyro-Barcia's type II dips; from memory), 20 to 90 s (a textbook
chapter on late deceleration, doi 10.1007/978-94-009-8296-3_14), sooner in a fetus that is short of
oxygen at rest (Myers 1973; from memory). So every answer has its sluggishness, a factor on the
memory of the oxygen and on the delay of the reflex.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ebbline.compiled import kernel
from ebbline.synth.shapes import STEP_HZ

FloatArray = NDArray[np.float64]

FLOW_FALLS_FROM_MMHG = 12.0
FLOW_STOPS_AT_MMHG = 60.0
OXYGEN_MEMORY_S = 26.0
CORD_COST = 0.22
CHEMOREFLEX_THRESHOLD = 0.88
CHEMOREFLEX_BPM = 95.0
CHEMOREFLEX_DELAY_S = 7
CHEMOREFLEX_MEMORY_S = 8.0
REFLEX_SHARE_REACHED = 0.87
"""Share of the drive's peak that the lagging reflex reaches in a common contraction (measured)."""
LABOUR_SLUGGISHNESS_SPREAD, SLUGGISHNESS_SPREAD = 0.6, 0.45
LEAST_SLUGGISH, SLOWER_SHARE = -2.2, 0.25
"""Spreads of the logarithm of the sluggishness between labours and between falls; its lower limit,
and how much less it goes above 0 than below (slower answers would run into each other). Ours: they
give lags of 10 to 60 s."""
HYPOXIA_COST_PER_S = 1 / 900.0
RECOVERY_S = 5400.0

STATES = 4
"""oxygen, reserve, two stages of the chemoreflex's lag."""


def rested() -> FloatArray:
    """State at rest: full oxygen, full reserve, no reflex."""
    return np.array([1.0, 1.0, 0.0, 0.0])


@kernel
def _closed(pressure_mmhg: float) -> float:
    x = (pressure_mmhg - FLOW_FALLS_FROM_MMHG) / (FLOW_STOPS_AT_MMHG - FLOW_FALLS_FROM_MMHG)
    x = min(1.0, max(0.0, x))
    return x * x * (3.0 - 2.0 * x)


@kernel
def _deepest(pressure: FloatArray, memory_s: float) -> float:
    store = 0.0
    most = 0.0
    for i in range(len(pressure)):
        store += (_closed(pressure[i]) - store) / memory_s
        most = max(most, store)
    return most


def sluggishness_of(labour: float, fall: float) -> float:
    """Logarithm of the sluggishness of one answer, from two standard normal numbers."""
    drawn = LABOUR_SLUGGISHNESS_SPREAD * labour + SLUGGISHNESS_SPREAD * fall
    return max(LEAST_SLUGGISH, drawn) if drawn < 0.0 else SLOWER_SHARE * drawn


def vulnerability_for(depth_bpm: float, pressure: FloatArray, sluggishness: float = 1.0) -> float:
    """How vulnerable a placenta is whose fetus answers this contraction with a fall this deep.

    pressure: mmHg at one-second steps. At most 1: a weak contraction cannot do everything.
    """
    drop = 1 - CHEMOREFLEX_THRESHOLD + depth_bpm / CHEMOREFLEX_BPM / REFLEX_SHARE_REACHED
    return min(1.0, drop / max(0.05, _deepest(pressure, OXYGEN_MEMORY_S * sluggishness)))


@kernel
def breathe(
    state: FloatArray,
    start: int,
    stop: int,
    tone_mmhg: float,
    bell: FloatArray,
    push: FloatArray,
    cord: FloatArray,
    vulnerability: FloatArray,
    sluggishness: FloatArray,
    least_vulnerable: float,
    drain_per_s: float,
    oxygen: FloatArray,
    reserve: FloatArray,
    reflex: FloatArray,
) -> None:
    """Advance the stores from second start to stop; fills oxygen, reserve and reflex (bpm).

    bell, push (mmHg above tone) and cord (share of flow stopped) at 4 Hz; vulnerability (0..1,
    never under least_vulnerable), sluggishness (logarithm), oxygen, reserve, reflex at 1 Hz.
    """
    for i in range(start, stop):
        now = i * STEP_HZ
        closed = _closed(tone_mmhg + bell[now] + push[now])
        supply = 1.0 - max(least_vulnerable, vulnerability[i]) * closed - CORD_COST * cord[now]
        slow = np.exp(sluggishness[i])
        state[0] += (supply - state[0]) / (slow * OXYGEN_MEMORY_S)
        lack = max(0.0, CHEMOREFLEX_THRESHOLD - state[0])
        state[1] += -lack * HYPOXIA_COST_PER_S - drain_per_s + (1.0 - state[1]) / RECOVERY_S
        state[1] = min(1.0, max(0.0, state[1]))
        oxygen[i] = state[0]
        reserve[i] = state[1]
        delay = int(np.round(slow * CHEMOREFLEX_DELAY_S))
        then = oxygen[i - delay] if i >= delay else 1.0
        drive = CHEMOREFLEX_BPM * max(0.0, CHEMOREFLEX_THRESHOLD - then)
        state[2] += (drive - state[2]) / CHEMOREFLEX_MEMORY_S
        state[3] += (state[2] - state[3]) / CHEMOREFLEX_MEMORY_S
        reflex[i] = state[3]
