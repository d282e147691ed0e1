"""The virtual labour's truth as Findings: what a perfect reader of a perfect trace would find.

So the published criteria give a true class by the same tables that class a real recording, with
no detector in between.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ebbline.definitions import rounded_baseline, variability_class
from ebbline.features.findings import (
    Acceleration,
    BaselineChange,
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
from ebbline.synth.ground_truth import (
    EventKind,
    TrueAcceleration,
    TrueContraction,
    TrueDeceleration,
    Truth,
)
from ebbline.terms import SensorKind

FloatArray = NDArray[np.float64]

SEGMENT_S = 600
LEAST_BASELINE_S = 120
"""Ten minutes need two of baseline, not necessarily contiguous (NICHD 2008)."""

LEAST_MINUTE_SEEN = 0.5
"""Share of a minute (second) that must be seen for it to tell anything (ours)."""

ABRUPT_BELOW_S = 30.0
PROLONGED_S = 120.0
SHALLOW_FROM_BPM, DEEP_FROM_BPM = 10.0, 15.0

_KINDS = {
    EventKind.EARLY: DecelerationKind.EARLY,
    EventKind.LATE: DecelerationKind.LATE,
    EventKind.VARIABLE: DecelerationKind.VARIABLE,
    EventKind.PROLONGED: DecelerationKind.PROLONGED,
    EventKind.GRADUAL_UNPAIRED: DecelerationKind.GRADUAL_UNPAIRED,
}


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """What somebody's sensors showed of a labour: share of each second, shape (seconds,)."""

    heart: FloatArray
    activity: FloatArray

    def heart_share(self, start_s: float, end_s: float) -> float:
        """Share of a stretch with fetal signal."""
        return _mean(self.heart, start_s, end_s)

    def activity_share(self, start_s: float, end_s: float) -> float:
        """Share of a stretch with uterine activity."""
        return _mean(self.activity, start_s, end_s)


def _mean(values: FloatArray, start_s: float, end_s: float) -> float:
    part = values[max(0, int(start_s)) : max(int(start_s) + 1, math.ceil(end_s))]
    return float(part.mean()) if len(part) else 0.0


def _by_minute(values: FloatArray, minutes: int) -> FloatArray:
    return np.array([_mean(values, 60.0 * m, 60.0 * (m + 1)) for m in range(minutes)])


LEAST_CONTRACTION_SEEN = 0.5
"""A contraction that the belt showed less of is not there for any class (ours)."""


def findings_from_truth(
    truth: Truth,
    seen: Seen | None = None,
    *,
    bandwidth_factor: float = 1.0,
    only_clear: bool = False,
    heart_sensor: SensorKind = SensorKind.ULTRASOUND,
    activity_sensor: SensorKind = SensorKind.TOCO,
) -> Findings:
    """Findings without a detector: every number is the labour's own.

    seen: what the sensors showed (None: all of it); it decides how much signal counts as valid,
    so that a class can be refused, but changes no number. Contractions, accelerations and
    decelerations under the definitions' thresholds are left out (decelerations of 10 to under 15
    bpm stay, as shallow). bandwidth_factor, only_clear: the same labour read by another careful
    reader (all bandwidths a little wider or narrower; only decelerations beyond doubt), which
    tells where a class lies on a border.
    """
    contractions = tuple(
        c
        for c in truth.contractions
        if c.counts
        and (seen is None or seen.activity_share(c.onset_s, c.end_s) >= LEAST_CONTRACTION_SEEN)
    )
    places = {id(c): i for i, c in enumerate(contractions)}
    numbered = [places.get(id(c), -1) for c in truth.contractions]
    falls = tuple(
        _fall(d, contractions, numbered)
        for d in truth.decelerations
        if _is_deceleration(d) and (d.clear or not only_clear)
    )
    rises = tuple(_rise(a, numbered) for a in truth.accelerations if a.counts)
    minutes = math.ceil(truth.duration_s / 60.0)
    whole = np.ones(minutes)
    heart = whole if seen is None else _by_minute(seen.heart, minutes)
    activity = whole if seen is None else _by_minute(seen.activity, minutes)
    bandwidth = truth.bandwidth.values * bandwidth_factor
    if seen is not None:
        bandwidth = np.where(heart >= LEAST_MINUTE_SEEN, bandwidth, np.nan)
    return Findings(
        duration_s=truth.duration_s,
        weeks=truth.weeks,
        uterine=UterineFindings(
            present=seen is None or bool(seen.activity.any()),
            sensor=activity_sensor,
            contractions=tuple(_contraction(c) for c in contractions),
            tone=Curve(0.0, 1.0, np.zeros(int(truth.duration_s))),
            measured=Curve(0.0, 60.0, activity),
            quality=(),
        ),
        fetal=FetalFindings(
            fetus=1,
            sensor=heart_sensor,
            baseline_curve=Curve(0.0, 1.0, truth.baseline.values),
            rate_curve=Curve(0.0, 1.0, truth.baseline.values),
            baseline=_baseline_segments(truth, seen),
            baseline_changes=tuple(
                BaselineChange(c.at_s, c.from_bpm, c.to_bpm) for c in truth.baseline_changes
            ),
            bandwidth=Curve(0.0, 60.0, bandwidth),
            fine_bandwidth=Curve(0.0, 60.0, truth.bandwidth.values),
            valid=Curve(0.0, 60.0, heart),
            variability=_variability_segments(bandwidth, truth.duration_s),
            accelerations=rises,
            decelerations=falls,
            sinusoidal=tuple(
                SinusoidalEpisode(
                    s.start_s, s.end_s, s.cycles_per_min, s.amplitude_bpm, s.pseudo, 1.0
                )
                for s in truth.sinusoidal
                if s.end_s > s.start_s
            ),
            artefacts=(),
            quality=(),
        ),
    )


def _is_deceleration(fall: TrueDeceleration) -> bool:
    gradual = fall.kind in (EventKind.LATE, EventKind.EARLY)
    shallow = gradual and SHALLOW_FROM_BPM <= fall.depth_bpm < DEEP_FROM_BPM
    return fall.counts or shallow


def _contraction(true: TrueContraction) -> Contraction:
    return Contraction(
        onset_s=true.onset_s,
        peak_s=true.peak_s,
        end_s=true.end_s,
        amplitude=true.amplitude_mmhg,
        resting_tone=true.resting_tone_mmhg,
        valid_share=1.0,
        certainty=1.0,
    )


def _rise(true: TrueAcceleration, numbered: list[int]) -> Acceleration:
    to_peak = true.peak_start_s - true.onset_s
    return Acceleration(
        onset_s=true.onset_s,
        peak_s=true.peak_s,
        end_s=true.end_s,
        height_bpm=true.height_bpm,
        baseline_bpm=true.baseline_bpm,
        onset_to_peak_s=to_peak,
        abrupt=to_peak < ABRUPT_BELOW_S,
        prolonged=true.end_s - true.onset_s >= PROLONGED_S,
        contraction=numbered[true.contraction] if true.contraction >= 0 else -1,
        valid_share=1.0,
        certainty=1.0,
    )


def _fall(
    true: TrueDeceleration, contractions: tuple[TrueContraction, ...], numbered: list[int]
) -> Deceleration:
    index = numbered[true.contraction] if true.contraction >= 0 else -1
    of = contractions[index] if index >= 0 else None
    kind = _KINDS[true.kind]
    abrupt = kind is DecelerationKind.VARIABLE or (
        kind is DecelerationKind.PROLONGED and true.nadir_start_s - true.onset_s < ABRUPT_BELOW_S
    )
    return Deceleration(
        kind=kind,
        onset_s=true.onset_s,
        nadir_s=true.nadir_s,
        end_s=true.end_s,
        depth_bpm=true.depth_bpm,
        nadir_bpm=true.baseline_bpm - true.depth_bpm,
        baseline_bpm=true.baseline_bpm,
        onset_to_nadir_s=(true.nadir_start_s if abrupt else true.nadir_s) - true.onset_s,
        return_s=true.end_s - true.nadir_s,
        abrupt=abrupt,
        contraction=index,
        lag_s=true.nadir_s - of.peak_s if of else math.nan,
        onset_lag_s=true.onset_s - of.onset_s if of else math.nan,
        area_bpm_s=math.nan,
        variability_within_bpm=2.0 if true.variability_lost else 10.0,
        shoulder_before=true.shoulder_before,
        shoulder_after=true.shoulder_after,
        overshoot=true.overshoot,
        slow_return=true.slow_return,
        fails_to_return=False,
        shallow=true.depth_bpm < DEEP_FROM_BPM,
        valid_share=1.0,
        certainty=1.0,
    )


def off_baseline(truth: Truth) -> NDArray[np.bool_]:
    """Seconds inside an event that counts, shape (seconds,)."""
    off = np.zeros(len(truth.baseline.values), dtype=np.bool_)
    events = [(d.onset_s, d.end_s) for d in truth.decelerations if d.counts]
    events += [(a.onset_s, a.end_s) for a in truth.accelerations if a.counts]
    for start_s, end_s in events:
        off[int(start_s) : math.ceil(end_s)] = True
    return off


def _baseline_segments(truth: Truth, seen: Seen | None) -> tuple[BaselineSegment, ...]:
    off = off_baseline(truth)
    if seen is not None:
        off = off | (seen.heart[: len(off)] < LEAST_MINUTE_SEEN)
    made: list[BaselineSegment] = []
    for start in range(0, len(off), SEGMENT_S):
        part = truth.baseline.values[start : start + SEGMENT_S]
        kept = part[~off[start : start + SEGMENT_S]]
        end_s = float(min(start + SEGMENT_S, len(off)))
        told = len(kept) >= LEAST_BASELINE_S
        mean = float(kept.mean()) if told else math.nan
        earlier = made[-1] if made else None
        carried = math.nan
        if not told and earlier is not None:
            carried = earlier.start_s if earlier.determinate else earlier.carried_from_s
        made.append(
            BaselineSegment(
                start_s=float(start),
                end_s=end_s,
                bpm=rounded_baseline(mean),
                mean_bpm=mean,
                baseline_s=float(len(kept)),
                spread_bpm=0.0 if told else math.nan,
                determinate=told,
                why="" if told else f"{len(kept)} s of baseline in these ten minutes",
                carried_from_s=carried,
            )
        )
    return tuple(made)


def _variability_segments(
    bandwidth: FloatArray, duration_s: float
) -> tuple[VariabilitySegment, ...]:
    made = []
    for first in range(0, len(bandwidth), 10):
        part = bandwidth[first : first + 10]
        seen = part[np.isfinite(part)]
        width = float(seen.mean()) if len(seen) else math.nan
        made.append(
            VariabilitySegment(
                start_s=first * 60.0,
                end_s=min((first + len(part)) * 60.0, duration_s),
                bandwidth_bpm=width,
                variability=variability_class(width),
                stv_ms=math.nan,
                ltv_bpm=math.nan,
                measured_minutes=len(seen),
                certainty=1.0,
            )
        )
    return tuple(made)
