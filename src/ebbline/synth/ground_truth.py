"""The truth of a virtual labour: what a perfect reader of a perfect trace would find.

Times are seconds from the labour's start. An event's onset is its first departure from the
baseline and its end the return, both taken where the noise-free event curve crosses 5 % of the
event's depth (height, amplitude), 1 bpm (1 mmHg) at least. Kinds follow the definitions of NICHD
2008 (Macones et al. Obstet Gynecol 2008;112:661-6), not the mechanism. Whether an event counts is
a matter of the rate that a reader sees, not of what was meant: a fall of the rate by 15 bpm for
15 s that mere fluctuation makes is a deceleration, and a meant one that the fluctuation keeps
under a threshold is none (counts=False).
"""

from __future__ import annotations

from dataclasses import dataclass
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from ebbline.terms import VariabilityClass

FloatArray = NDArray[np.float64]

NO_CONTRACTION = -1
"""`contraction` of an event that belongs to none."""


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Evenly spaced values: values[i] holds at start_s + i * step_s."""

    start_s: float
    step_s: float
    values: FloatArray


class EventKind(StrEnum):
    """Kinds of deceleration and the two of acceleration."""

    EARLY = "early"
    LATE = "late"
    VARIABLE = "variable"
    PROLONGED = "prolonged"
    GRADUAL_UNPAIRED = "gradual, contraction not known"
    ACCELERATION = "acceleration"
    PROLONGED_ACCELERATION = "prolonged acceleration"


class Mechanism(StrEnum):
    """What lowered or raised the rate."""

    PLACENTAL = "interrupted placental flow"
    HEAD = "head compression"
    CORD = "cord compression"
    SUSTAINED = "sustained fall"
    MOVEMENT = "fetal activity"
    FLUCTUATION = "fluctuation of the rate itself"


class SpanKind(StrEnum):
    """Kinds of artefact of the heart-rate sensor."""

    LOSS = "signal lost"
    SPIKE = "spikes"
    DOUBLING = "doubling"
    HALVING = "halving"
    MATERNAL = "maternal rate"


@dataclass(frozen=True, slots=True)
class TrueContraction:
    """One contraction. amplitude_mmhg: peak above resting tone, pushing left out.

    counts: strong and long enough to be felt as one (10 mmHg and 30 s; common practice).
    coupled: the second of a pair.
    """

    onset_s: float
    peak_s: float
    end_s: float
    amplitude_mmhg: float
    resting_tone_mmhg: float
    pushing: bool
    coupled: bool
    counts: bool


@dataclass(frozen=True, slots=True)
class TrueAcceleration:
    """A rise above the baseline. peak_start_s: where it first comes near (2 bpm, 10 %) its peak."""

    kind: EventKind
    onset_s: float
    peak_start_s: float
    peak_s: float
    end_s: float
    height_bpm: float
    baseline_bpm: float
    contraction: int
    counts: bool


@dataclass(frozen=True, slots=True)
class TrueDeceleration:
    """A fall below the baseline.

    nadir_start_s: where the fall first comes near (2 bpm, 10 % of its depth) the lowest point.
    clear: the definitions leave no doubt about the kind (depth, duration, time to nadir and, for
    gradual ones, lag are all away from their thresholds).
    """

    kind: EventKind
    mechanism: Mechanism
    onset_s: float
    nadir_start_s: float
    nadir_s: float
    end_s: float
    depth_bpm: float
    baseline_bpm: float
    contraction: int
    lag_s: float
    shoulder_before: bool
    shoulder_after: bool
    overshoot: bool
    slow_return: bool
    variability_lost: bool
    counts: bool
    clear: bool


@dataclass(frozen=True, slots=True)
class TrueRise:
    """A shoulder or overshoot of a variable deceleration: not an acceleration of its own."""

    onset_s: float
    end_s: float
    height_bpm: float


@dataclass(frozen=True, slots=True)
class TrueBaselineChange:
    """A change of level that lasts ten minutes or more."""

    at_s: float
    from_bpm: float
    to_bpm: float


@dataclass(frozen=True, slots=True)
class TrueSinusoidal:
    """A stretch of sine-like (pseudo: jagged) undulation. amplitude_bpm: half peak to trough."""

    start_s: float
    end_s: float
    cycles_per_min: float
    amplitude_bpm: float
    pseudo: bool


@dataclass(frozen=True, slots=True)
class TrueSpan:
    """A stretch in which the heart-rate sensor gave something else than the fetal rate."""

    kind: SpanKind
    start_s: float
    end_s: float


@dataclass(frozen=True, slots=True, eq=False)
class Truth:
    """Everything that is true of a virtual labour.

    baseline: bpm, step 1 s. bandwidth: peak to trough of the noise-free fluctuation of the
    baseline in each minute, accelerations and decelerations left out; NaN where they leave less
    than 20 s of it. variability: class of each minute. oxygen: fetal oxygen, 1 = at rest with a
    healthy placenta, step 1 s. reserve: what is left of the reserve to bear hypoxia, 0..1, step
    1 s. heart_rate: the true fetal rate, bpm, at the recording's rate. sensor_distance: cm
    between the heart-rate sensor and the heart's site, step 1 s (NaN for an electrode).
    """

    duration_s: float
    weeks: float
    baseline: Curve
    baseline_changes: tuple[TrueBaselineChange, ...]
    bandwidth: Curve
    variability: tuple[VariabilityClass, ...]
    accelerations: tuple[TrueAcceleration, ...]
    decelerations: tuple[TrueDeceleration, ...]
    rises: tuple[TrueRise, ...]
    contractions: tuple[TrueContraction, ...]
    sinusoidal: tuple[TrueSinusoidal, ...]
    artefacts: tuple[TrueSpan, ...]
    oxygen: Curve
    reserve: Curve
    heart_rate: Curve
    pressure: Curve
    sensor_distance: Curve
