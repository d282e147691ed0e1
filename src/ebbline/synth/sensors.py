"""What lies between the true heart rate and pressure and a sensor: place, depth, unrest, device.

The sensors themselves are in heart_sensor and activity_sensor.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from ebbline.synth.scenario import Scenario
from ebbline.terms import SensorKind

FloatArray = NDArray[np.float64]
ModeArray = NDArray[np.int8]

FETAL, LOST, SPIKE, DOUBLED, HALVED, MATERNAL = range(6)
"""What the heart-rate sensor follows at a sample. SPIKE: any other wrong rate."""

HALF_LOST_AT_DEG = 32.0
LOSS_STEEPNESS_DEG = 4.5
"""A Doppler beam is some 20 degrees wide to each side: half the signal goes at 32 degrees off
(common practice; chosen so that 5 cm off the site of a heart 8 cm deep loses half)."""

MATERNAL_PER_HOUR_OFF_SITE = 25.0
TOCO_REACH_CM = 7.0


@dataclass(frozen=True, slots=True)
class Device:
    """How a device gives its values.

    averaging: whether a value is the mean of some beats, or of one; beat_ms: step of the beat
    interval it measures; rounding: 0.5 rounds to the nearest value, 0 cuts off; bpm_steps: values
    to the bpm; activity_steps: values to the unit; activity_hold: samples of 4 Hz that one value
    of the activity stays; activity_most: where the activity is cut off.
    """

    averaging: bool
    beat_ms: float
    rounding: float
    bpm_steps: float
    activity_steps: float
    activity_hold: int
    activity_most: float


AVERAGING = Device(True, 0.625, 0.0, 4.0, 2.0, 1, 127.0)
BEAT_BY_BEAT = Device(False, 2.0, 0.5, 4.0, 1.0, 2, 100.0)
WHOLE_NUMBERS = Device(False, 2.0, 0.5, 1.0, 1.0, 2, 100.0)
DEVICES = (AVERAGING, BEAT_BY_BEAT, WHOLE_NUMBERS)
DEVICE_SHARES = {
    SensorKind.ULTRASOUND: (0.853, 0.104, 0.043),
    SensorKind.SCALP_ELECTRODE: (0.0, 0.731, 0.269),
}
"""Three ways of giving values that the CTU-UHB recordings show (steps of 5/8 ms cut off to
quarters, of 2 ms rounded to quarters or to whole numbers), and their shares by the sensor of the
header (180, 22, 9 of 211; 0, 38, 14 of 52)."""


def device_of(rng: Generator, sensor: SensorKind) -> Device:
    """The device a labour is recorded with, drawn as often as the open recordings have it."""
    return DEVICES[int(rng.choice(len(DEVICES), p=DEVICE_SHARES[sensor]))]


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


UNREST = {"movement": 1.1, "push": 1.0, "fall": 0.8}
"""How far each lowers the quality of the signal, in its standard deviations (chosen; by the gaps
of the CTU-UHB recordings)."""
ELECTRODE_UNREST = 0.4
"""An electrode moves with the head: unrest disturbs it less (figure chosen)."""
LEAST_UNSETTLED, SETTLED_FROM, SETTLED_OVER = 0.35, 1.9, 1.2
"""Where the mean quality is good, its changes and unrest are less, down to this share."""
LEAST_SHARE, MOST_LOST = 0.0005, 0.97

LOSS_SHARES = np.array(
    [0.0005, 0.002, 0.01, 0.03, 0.06, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9, 0.97]
)
QUALITY_FOR_ULTRASOUND = np.array(
    [
        2.45,
        1.34,
        1.16,
        0.98,
        0.81,
        0.55,
        -0.19,
        -0.72,
        -1.2,
        -1.56,
        -1.87,
        -2.15,
        -2.44,
        -2.8,
        -3.32,
    ]
)
QUALITY_FOR_ELECTRODE = np.array(
    [2.45, 1.5, 1.28, 1.1, 0.9, 0.66, -0.1, -0.75, -1.35, -1.78, -2.1, -2.39, -2.73, -3.19, -3.73]
)
"""Mean quality (in standard deviations above the least that can be followed) at which a quiet
labour loses these shares of its signal (measured on the sensors themselves)."""


@dataclass(frozen=True, slots=True, eq=False)
class Hearing:
    """How well the heart can be heard, sample by sample: quality, and hazards per second, shape
    (n, 3): doubling, halving, finding the mother."""

    quality: FloatArray
    hazards: FloatArray


def hearing(
    scenario: Scenario,
    *,
    electrode: bool,
    averaging: bool,
    rate: FloatArray,
    fall: FloatArray,
    push: FloatArray,
    movement: FloatArray,
    distance_cm: FloatArray,
) -> Hearing:
    """What place, unrest and rate do to the sensor. All arrays of one length, 4 Hz.

    averaging: whether the device averages; fall: bpm below baseline; push: mmHg; movement: 0 to
    1.5.
    """
    share = np.full(len(rate), scenario.signal_loss)
    if not electrode:
        missed = placement_loss(distance_cm, scenario.heart_depth_cm)
        share = 1 - (1 - share) * (1 - missed)
    share = np.clip(share, LEAST_SHARE, MOST_LOST)
    table = QUALITY_FOR_ULTRASOUND if averaging and not electrode else QUALITY_FOR_ELECTRODE
    quality = np.interp(share, LOSS_SHARES, table)
    settled = np.clip((SETTLED_FROM - quality) / SETTLED_OVER, LEAST_UNSETTLED, 1.0)
    settled = settled * (ELECTRODE_UNREST if electrode else 1.0)
    quality = quality - settled * (
        UNREST["movement"] * movement
        + UNREST["push"] * np.clip(push / 20.0, 0.0, 1.0)
        + UNREST["fall"] * np.clip(fall / 40.0, 0.0, 1.2)
    )
    hazards = np.zeros((len(rate), 3))
    if not electrode:
        # A slow rate invites doubling, a fast one halving (FIGO 2015; how much is chosen).
        slow = np.where(rate < 85.0, 25.0, np.where(rate < 105.0, 3.0, 0.3))
        quick = np.where(rate > 175.0, 8.0, np.where(rate > 155.0, 2.0, 0.6))
        hazards[:, 0] = scenario.doubling_per_hour / 3600.0 * slow
        hazards[:, 1] = scenario.halving_per_hour / 3600.0 * quick
        hazards[:, 2] = scenario.maternal_capture_per_hour / 3600.0
        hazards[:, 2] += maternal_hazard(distance_cm, scenario.heart_depth_cm)
    return Hearing(quality, hazards)


def toco_reach(distance_cm: float, wall_cm: float) -> float:
    """Share of the belt's best gain at a distance from the fundus, through the abdominal wall."""
    return math.exp(-((distance_cm / TOCO_REACH_CM) ** 2)) * math.exp(
        -max(0.0, wall_cm - 2.5) / 5.0
    )
