"""Two hours of labour as findings made by hand: unremarkable unless told otherwise."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ebbline.definitions import variability_class
from ebbline.features.findings import (
    NO_CONTRACTION,
    Acceleration,
    Artefact,
    BaselineSegment,
    Contraction,
    Curve,
    Deceleration,
    DecelerationKind,
    FetalFindings,
    Findings,
    SinusoidalEpisode,
    UterineFindings,
    VariabilitySegment,
)
from ebbline.terms import SensorKind

DURATION_S = 7200.0
MINUTES = 120


def contraction(peak_s: float, lasting_s: float = 60.0) -> Contraction:
    half = lasting_s / 2
    return Contraction(
        onset_s=peak_s - half,
        peak_s=peak_s,
        end_s=peak_s + half,
        amplitude=50.0,
        resting_tone=10.0,
        valid_share=1.0,
        certainty=0.9,
    )


def every(interval_s: float, lasting_s: float = 60.0) -> tuple[Contraction, ...]:
    """Contractions all through the recording."""
    peaks = np.arange(interval_s / 2, DURATION_S, interval_s).tolist()
    return tuple(contraction(peak_s, lasting_s) for peak_s in peaks)


def deceleration(
    kind: DecelerationKind,
    contractions: tuple[Contraction, ...],
    index: int,
    *,
    depth_bpm: float = 25.0,
    lasting_s: float = 50.0,
    at_s: float = 0.0,
) -> Deceleration:
    """A deceleration of a contraction, 20 s after its peak; or, without one, at a time."""
    paired = index != NO_CONTRACTION
    nadir_s = contractions[index].peak_s + 20.0 if paired else at_s
    abrupt = kind is DecelerationKind.VARIABLE
    return Deceleration(
        kind=kind,
        onset_s=nadir_s - lasting_s / 2,
        nadir_s=nadir_s,
        end_s=nadir_s + lasting_s / 2,
        depth_bpm=depth_bpm,
        nadir_bpm=140.0 - depth_bpm,
        baseline_bpm=140.0,
        onset_to_nadir_s=10.0 if abrupt else 35.0,
        return_s=lasting_s / 2,
        abrupt=abrupt,
        contraction=index,
        lag_s=20.0 if paired else math.nan,
        onset_lag_s=20.0 if paired else math.nan,
        area_bpm_s=depth_bpm * lasting_s / 2,
        variability_within_bpm=12.0,
        shoulder_before=False,
        shoulder_after=False,
        overshoot=False,
        slow_return=False,
        fails_to_return=False,
        shallow=False,
        valid_share=1.0,
        certainty=0.9,
    )


@dataclass
class Labour:
    """What the two hours show; a baseline of each ten minutes, other values of each minute."""

    contractions: tuple[Contraction, ...] = every(150.0)
    decelerations: tuple[Deceleration, ...] = ()
    accelerations: tuple[Acceleration, ...] = ()
    sinusoidal: tuple[SinusoidalEpisode, ...] = ()
    artefacts: tuple[Artefact, ...] = ()
    baseline: list[float] = field(default_factory=lambda: [140.0] * 12)
    bandwidth: NDArray[np.float64] = field(default_factory=lambda: np.full(MINUTES, 12.0))
    valid: NDArray[np.float64] = field(default_factory=lambda: np.ones(MINUTES))
    measured: NDArray[np.float64] = field(default_factory=lambda: np.ones(MINUTES))
    activity: bool = True
    sensor: SensorKind = SensorKind.TOCO

    def findings(self) -> Findings:
        return Findings(DURATION_S, 39.0, self._uterine(), self._fetal())

    def _uterine(self) -> UterineFindings:
        return UterineFindings(
            present=self.activity,
            sensor=self.sensor if self.activity else SensorKind.UNKNOWN,
            contractions=self.contractions if self.activity else (),
            tone=Curve(0.0, 1.0, np.full(int(DURATION_S), 10.0)),
            measured=Curve(0.0, 60.0, self.measured if self.activity else np.zeros(MINUTES)),
            quality=(),
        )

    def _fetal(self) -> FetalFindings:
        return FetalFindings(
            fetus=1,
            sensor=SensorKind.ULTRASOUND,
            baseline_curve=Curve(0.0, 1.0, np.repeat(self.baseline, 600)),
            rate_curve=Curve(0.0, 1.0, np.repeat(self.baseline, 600)),
            baseline=tuple(_baseline(i, bpm) for i, bpm in enumerate(self.baseline)),
            baseline_changes=(),
            bandwidth=Curve(0.0, 60.0, self.bandwidth),
            fine_bandwidth=Curve(0.0, 60.0, self.bandwidth),
            valid=Curve(0.0, 60.0, self.valid),
            variability=tuple(
                _variability(i, minutes) for i, minutes in enumerate(self.bandwidth.reshape(-1, 10))
            ),
            accelerations=self.accelerations,
            decelerations=self.decelerations,
            sinusoidal=self.sinusoidal,
            artefacts=self.artefacts,
            quality=(),
        )


def _baseline(number: int, bpm: float) -> BaselineSegment:
    known = not math.isnan(bpm)
    return BaselineSegment(
        start_s=600.0 * number,
        end_s=600.0 * (number + 1),
        bpm=5.0 * round(bpm / 5.0) if known else math.nan,
        mean_bpm=bpm,
        baseline_s=500.0 if known else 60.0,
        spread_bpm=1.0 if known else math.nan,
        determinate=known,
        why="" if known else "60 s of baseline in these ten minutes, 120 s are needed",
        carried_from_s=math.nan,
    )


def _variability(number: int, minutes: NDArray[np.float64]) -> VariabilitySegment:
    seen = minutes[np.isfinite(minutes)]
    mean = float(seen.mean()) if len(seen) else math.nan
    return VariabilitySegment(
        start_s=600.0 * number,
        end_s=600.0 * (number + 1),
        bandwidth_bpm=mean,
        variability=variability_class(mean),
        stv_ms=5.0,
        ltv_bpm=15.0,
        measured_minutes=len(seen),
        certainty=0.9,
    )
