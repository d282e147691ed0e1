"""The findings of a trace: one frozen type for each kind, measured once, read by everyone.

Times are seconds from the recording's start; heart rates bpm; certainty 0..1, falling with
missing signal and with closeness to a threshold of recognition. A number that could not be
measured is NaN; a state that could not be told has its own name, never None.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

from ebbline.features.kept import KeepsResults
from ebbline.terms import SensorKind
from ebbline.terms import VariabilityClass as VariabilityClass

FloatArray = NDArray[np.float64]

NO_CONTRACTION = -1
"""`contraction` of an event that belongs to none."""


@dataclass(frozen=True, slots=True, eq=False)
class Curve:
    """Evenly spaced values: values[i] holds at start_s + i * step_s. NaN where unknown."""

    start_s: float
    step_s: float
    values: FloatArray

    def known(self, start_s: float, end_s: float) -> FloatArray:
        """The values from one time to another, without those that are unknown."""
        first, last = (
            max(0, round((time_s - self.start_s) / self.step_s)) for time_s in (start_s, end_s)
        )
        part = self.values[first:last]
        return part[np.isfinite(part)]


def nothing_kept() -> Curve:
    """A curve without values."""
    return Curve(0.0, 1.0, np.empty(0))


def minutes_from(moving: Curve, by_minute: Curve, start_s: float) -> Curve:
    """The minutes of which one begins at start_s (to the moving curve's step), from a moving curve.

    by_minute: the same in minutes from the first signal; stands in where no moving one was kept.
    """
    if not len(moving.values):
        return by_minute
    step = round(by_minute.step_s / moving.step_s)
    first = round((start_s - moving.start_s) / moving.step_s) % step
    return Curve(
        moving.start_s + first * moving.step_s, by_minute.step_s, moving.values[first::step]
    )


class DecelerationKind(StrEnum):
    """Kinds of deceleration (NICHD 2008)."""

    EARLY = "early"
    LATE = "late"
    VARIABLE = "variable"
    PROLONGED = "prolonged"
    GRADUAL_UNPAIRED = "gradual, contraction not known"


class ArtefactKind(StrEnum):
    """What may be wrong with a stretch of heart-rate signal."""

    DROP_OUT = "signal lost"
    SPIKE = "spikes"
    OUT_OF_RANGE = "out of range"
    DOUBLING = "doubling suspected"
    HALVING = "halving suspected"
    MATERNAL = "maternal rate suspected"
    FLAT = "flat line"


@dataclass(frozen=True, slots=True)
class Artefact:
    """A stretch of suspect signal. certainty: how sure the suspicion is; why: in words."""

    kind: ArtefactKind
    start_s: float
    end_s: float
    certainty: float
    why: str


@dataclass(frozen=True, slots=True)
class QualitySegment:
    """Signal quality of (at most) ten minutes of one channel."""

    start_s: float
    end_s: float
    valid_share: float
    longest_gap_s: float
    suspected: tuple[ArtefactKind, ...]


@dataclass(frozen=True, slots=True)
class Contraction:
    """One contraction. amplitude and resting_tone are in the channel's unit.

    Only a pressure catheter gives strength: for a toco, amplitude is a drawing height.
    """

    onset_s: float
    peak_s: float
    end_s: float
    amplitude: float
    resting_tone: float
    valid_share: float
    certainty: float
    cut_top: bool = False

    @property
    def duration_s(self) -> float:
        """Onset to end."""
        return self.end_s - self.onset_s


@dataclass(frozen=True, slots=True)
class Acceleration:
    """A rise above the baseline. height_bpm: peak above baseline."""

    onset_s: float
    peak_s: float
    end_s: float
    height_bpm: float
    baseline_bpm: float
    onset_to_peak_s: float
    abrupt: bool
    prolonged: bool
    contraction: int
    valid_share: float
    certainty: float

    @property
    def duration_s(self) -> float:
        """Onset to return."""
        return self.end_s - self.onset_s


@dataclass(frozen=True, slots=True)
class Deceleration:
    """A fall below the baseline.

    depth_bpm: baseline minus nadir. lag_s: nadir minus the contraction's peak (NaN unpaired);
    onset_lag_s: onset minus the contraction's onset. contraction: index into
    UterineFindings.contractions or NO_CONTRACTION. variability_within_bpm: bandwidth of the fast
    fluctuation inside. return_s: nadir to return. shallow: 10 to under 15 bpm, gradual and with a
    contraction (counts only where a standard says so). recovered: False where no usable signal
    follows, so that the rate was never seen back at the baseline: it lasted at least until end_s.
    """

    kind: DecelerationKind
    onset_s: float
    nadir_s: float
    end_s: float
    depth_bpm: float
    nadir_bpm: float
    baseline_bpm: float
    onset_to_nadir_s: float
    return_s: float
    abrupt: bool
    contraction: int
    lag_s: float
    onset_lag_s: float
    area_bpm_s: float
    variability_within_bpm: float
    shoulder_before: bool
    shoulder_after: bool
    overshoot: bool
    slow_return: bool
    fails_to_return: bool
    shallow: bool
    valid_share: float
    certainty: float
    recovered: bool = True

    @property
    def duration_s(self) -> float:
        """Onset to return, or to the last that was seen of it."""
        return self.end_s - self.onset_s


@dataclass(frozen=True, slots=True)
class BaselineSegment:
    """The standards' baseline of ten minutes.

    bpm: rounded to 5 (NICHD), NaN when indeterminate; mean_bpm: before rounding.
    baseline_s: seconds of baseline signal that it rests on. spread_bpm: uncertainty (one standard
    deviation) of the mean. why: the reason when indeterminate, else "".
    carried_from_s: start of the earlier segment whose value stands in, NaN if none.
    """

    start_s: float
    end_s: float
    bpm: float
    mean_bpm: float
    baseline_s: float
    spread_bpm: float
    determinate: bool
    why: str
    carried_from_s: float


@dataclass(frozen=True, slots=True)
class BaselineChange:
    """A change of the level of the baseline that lasts ten minutes or more."""

    at_s: float
    from_bpm: float
    to_bpm: float


@dataclass(frozen=True, slots=True)
class VariabilitySegment:
    """Variability of (at most) ten minutes: mean one-minute bandwidth, its class, STV and LTV.

    bandwidth_bpm: mean of the valid minutes; stv_ms (Pardey 2002); ltv_bpm: mean one-minute
    range of the smoothed baseline; measured_minutes: how many minutes could be measured.
    """

    start_s: float
    end_s: float
    bandwidth_bpm: float
    variability: VariabilityClass
    stv_ms: float
    ltv_bpm: float
    measured_minutes: int
    certainty: float


@dataclass(frozen=True, slots=True)
class SinusoidalEpisode:
    """Sine-like undulation of the baseline. pseudo: jagged or short or with accelerations."""

    start_s: float
    end_s: float
    cycles_per_min: float
    amplitude_bpm: float
    pseudo: bool
    certainty: float


@dataclass(frozen=True, slots=True, eq=False)
class UterineFindings:
    """What the activity channel shows; the same for all fetuses of a recording.

    present: False where there is no channel, and then nothing below may be read as 'none'.
    measured: Curve at one-minute steps, share of each minute with valid activity signal. rate_hz:
    samples per second of the channel; NaN not known (see `features.fitness`).
    """

    present: bool
    sensor: SensorKind
    contractions: tuple[Contraction, ...]
    tone: Curve
    measured: Curve
    quality: tuple[QualitySegment, ...]
    rate_hz: float = math.nan


@dataclass(frozen=True, slots=True, eq=False)
class FetalFindings:
    """What one heart-rate channel shows over the whole recording.

    baseline_curve: continuous baseline (bpm), step 1 s, NaN where indeterminate.
    rate_curve: usable heart rate (bpm), mean of each second, NaN where none was usable.
    bandwidth: one value a minute, bpm, of baseline only (NaN where it could not be measured).
    fine_bandwidth: the same of the fluctuation about the 15-s mean (waves over 4 per minute).
    valid: one value a minute, share of valid samples. rate_hz: samples per second of the channel;
    step_bpm: least difference between its values; NaN not known (see `features.fitness`).
    baseline_signal: mean of each second's samples that are
    of the baseline (bpm), NaN where none is: what `features.stretch_baseline` rests on.
    moving_bandwidth, moving_fine_bandwidth: the bandwidths of the minute that begins at each 5 s,
    for `minutes_from`. These three are empty in readings saved before they were kept.
    """

    fetus: int
    sensor: SensorKind
    baseline_curve: Curve
    rate_curve: Curve
    baseline: tuple[BaselineSegment, ...]
    baseline_changes: tuple[BaselineChange, ...]
    bandwidth: Curve
    fine_bandwidth: Curve
    valid: Curve
    variability: tuple[VariabilitySegment, ...]
    accelerations: tuple[Acceleration, ...]
    decelerations: tuple[Deceleration, ...]
    sinusoidal: tuple[SinusoidalEpisode, ...]
    artefacts: tuple[Artefact, ...]
    quality: tuple[QualitySegment, ...]
    rate_hz: float = math.nan
    step_bpm: float = math.nan
    baseline_signal: Curve = field(default_factory=nothing_kept)
    moving_bandwidth: Curve = field(default_factory=nothing_kept)
    moving_fine_bandwidth: Curve = field(default_factory=nothing_kept)


@dataclass(frozen=True, slots=True, eq=False)
class Findings(KeepsResults):
    """All findings of one fetus with the uterine activity beside it.

    duration_s: length of the recording. weeks: completed weeks the acceleration rule was chosen
    by (None: 32 or more was assumed, and the reading says so).
    """

    duration_s: float
    weeks: float | None
    uterine: UterineFindings
    fetal: FetalFindings
