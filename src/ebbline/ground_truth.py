"""The ground truth of a virtual labour as Findings: what a perfect reader of it would find.

So the published criteria give a true class by the same tables that class a real recording. Every
number comes from the generator; no detector stands in between. Bench and teaching both take it
from here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ebbline.definitions import (
    ABRUPT_BELOW_S,
    BASELINE_CHANGE_BPM,
    LEAST_BASELINE_S,
    LEAST_EXCURSION_BPM,
    PROLONGED_FROM_S,
    SHALLOW_FROM_BPM,
    TEN_MINUTES_S,
    rounded_baseline,
    variability_class,
)
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
from ebbline.recording.model import ChannelKind
from ebbline.synth import Labour
from ebbline.synth.ground_truth import (
    EventKind,
    TrueAcceleration,
    TrueContraction,
    TrueDeceleration,
    Truth,
)
from ebbline.terms import SensorKind, Window

FloatArray = NDArray[np.float64]

LEAST_MINUTE_SEEN = 0.5
"""Share of a minute (second) that must be seen for it to tell anything (ours)."""

USUAL_TONE = 10.0
"""Resting tone of a labour without a contraction, mmHg (common practice, no source)."""

FLAT_WITHIN_BPM, LIVELY_WITHIN_BPM = 2.0, 10.0
"""Bandwidth within a fall that has lost its variability, and within one that has not: the
generator says which, not how much (ours, on either side of the 5 bpm of the standards)."""

SLOW_WAVES_S = 15.0
"""Fine bandwidth is that about the mean over so long (see `FetalFindings.fine_bandwidth`)."""

FINE_OUTER = (4.0, 96.0)
"""Percentiles between which the fine bandwidth of a minute is taken."""

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

    def heart_share(self, stretch: Window) -> float:
        """Share of a stretch with fetal signal."""
        return _mean(self.heart, stretch)

    def activity_share(self, stretch: Window) -> float:
        """Share of a stretch with uterine activity."""
        return _mean(self.activity, stretch)


def _mean(values: FloatArray, stretch: Window) -> float:
    first = int(stretch.start_s)
    part = values[max(0, first) : max(first + 1, math.ceil(stretch.end_s))]
    return float(part.mean()) if len(part) else 0.0


def _by_minute(values: FloatArray, minutes: int) -> FloatArray:
    """Mean of each minute, 0 for one without values."""
    made = np.zeros(minutes)
    inside = values[: 60 * minutes]
    if len(inside):
        starts = np.arange(0, len(inside), 60)
        lengths = np.diff(starts, append=len(inside))
        made[: len(starts)] = np.add.reduceat(inside, starts) / lengths
    return made


LEAST_CONTRACTION_SEEN = 0.5
"""A contraction that the belt showed less of is not there for any class (ours)."""


def findings_of_labour(labour: Labour) -> Findings:
    """The truth of a whole labour as findings, with the sensors it was recorded with."""
    recording = labour.recording
    activity = recording.first(ChannelKind.UTERINE_ACTIVITY)
    return findings_from_truth(
        labour.truth,
        heart_sensor=recording.heart_rate().sensor,
        activity_sensor=SensorKind.UNKNOWN if activity is None else activity.sensor,
    )


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
        and (
            seen is None
            or seen.activity_share(Window(c.onset_s, c.end_s)) >= LEAST_CONTRACTION_SEEN
        )
    )
    places = {id(c): i for i, c in enumerate(contractions)}
    numbered = [places.get(id(c), -1) for c in truth.contractions]
    falls = tuple(
        _fall(d, contractions, numbered, _area(truth, d))
        for d in truth.decelerations
        if _is_deceleration(d) and (d.clear or not only_clear)
    )
    rises = tuple(_rise(a, numbered) for a in truth.accelerations if a.counts)
    minutes = math.ceil(truth.duration_s / 60.0)
    whole = np.ones(minutes)
    heart = whole if seen is None else _by_minute(seen.heart, minutes)
    activity = whole if seen is None else _by_minute(seen.activity, minutes)
    bandwidth = truth.bandwidth.values * bandwidth_factor
    rate = _by_second(truth)
    fine = _fine_bandwidth(truth)[:minutes] * bandwidth_factor
    if seen is not None:
        bandwidth = np.where(heart >= LEAST_MINUTE_SEEN, bandwidth, np.nan)
    return Findings(
        duration_s=truth.duration_s,
        weeks=truth.weeks,
        uterine=UterineFindings(
            present=seen is None or bool(seen.activity.any()),
            sensor=activity_sensor,
            contractions=tuple(_contraction(c) for c in contractions),
            tone=Curve(0.0, 1.0, np.full(int(truth.duration_s), _tone(truth))),
            measured=Curve(0.0, 60.0, activity),
            quality=(),
        ),
        fetal=FetalFindings(
            fetus=1,
            sensor=heart_sensor,
            baseline_curve=Curve(0.0, 1.0, truth.baseline.values),
            rate_curve=Curve(0.0, 1.0, rate if seen is None else _where_seen(rate, seen.heart)),
            baseline=_baseline_segments(truth, seen),
            baseline_signal=Curve(0.0, 1.0, _baseline_signal(truth, seen)),
            baseline_changes=tuple(
                BaselineChange(c.at_s, c.from_bpm, c.to_bpm)
                for c in truth.baseline_changes
                if abs(c.to_bpm - c.from_bpm) >= BASELINE_CHANGE_BPM
            ),
            bandwidth=Curve(0.0, 60.0, bandwidth),
            fine_bandwidth=Curve(0.0, 60.0, np.where(np.isfinite(bandwidth), fine, np.nan)),
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
    shallow = gradual and SHALLOW_FROM_BPM <= fall.depth_bpm < LEAST_EXCURSION_BPM
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
        prolonged=true.end_s - true.onset_s >= PROLONGED_FROM_S,
        contraction=numbered[true.contraction] if true.contraction >= 0 else -1,
        valid_share=1.0,
        certainty=1.0,
    )


def _fall(
    true: TrueDeceleration,
    contractions: tuple[TrueContraction, ...],
    numbered: list[int],
    area_bpm_s: float,
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
        area_bpm_s=area_bpm_s,
        variability_within_bpm=FLAT_WITHIN_BPM if true.variability_lost else LIVELY_WITHIN_BPM,
        shoulder_before=true.shoulder_before,
        shoulder_after=true.shoulder_after,
        overshoot=true.overshoot,
        slow_return=true.slow_return,
        fails_to_return=False,
        shallow=true.depth_bpm < LEAST_EXCURSION_BPM,
        valid_share=1.0,
        certainty=1.0,
    )


def _tone(truth: Truth) -> float:
    return truth.contractions[0].resting_tone_mmhg if truth.contractions else USUAL_TONE


def _by_second(truth: Truth) -> FloatArray:
    """The true heart rate, mean of each second, bpm."""
    per_second = round(1.0 / truth.heart_rate.step_s)
    seconds = int(truth.duration_s)
    values = truth.heart_rate.values[: seconds * per_second]
    return np.asarray(values.reshape(seconds, per_second).mean(axis=1), dtype=np.float64)


def _where_seen(rate: FloatArray, heart: FloatArray) -> FloatArray:
    shown = np.zeros(len(rate))
    shown[: len(heart)] = heart[: len(rate)]
    return np.where(shown >= LEAST_MINUTE_SEEN, rate, np.nan)


def _area(truth: Truth, fall: TrueDeceleration) -> float:
    """Area of a fall under the baseline at its onset, bpm x s."""
    step = truth.heart_rate.step_s
    inside = truth.heart_rate.values[int(fall.onset_s / step) : int(fall.end_s / step)]
    return float(np.clip(fall.baseline_bpm - inside, 0.0, None).sum() * step)


def _fine_bandwidth(truth: Truth) -> FloatArray:
    """Peak to trough of the true rate about its own 15-s mean in each minute, events left out."""
    step = truth.heart_rate.step_s
    rate = truth.heart_rate.values
    length = max(1, round(SLOW_WAVES_S / step))
    padded = np.pad(rate, (length // 2, length - 1 - length // 2), mode="edge")
    off = rate - np.convolve(padded, np.full(length, 1.0 / length), mode="valid")
    calm = np.repeat(~off_baseline(truth), round(1.0 / step))[: len(off)]
    per_minute = round(60.0 / step)
    kept = np.full(math.ceil(len(off) / per_minute) * per_minute, np.nan)
    kept[: len(off)] = np.where(calm, off, np.nan)
    ordered = np.sort(kept.reshape(-1, per_minute), axis=1)
    low, high = (_quantile_of_rows(ordered, share / 100) for share in FINE_OUTER)
    return high - low


def _quantile_of_rows(ordered: FloatArray, share: float) -> FloatArray:
    """A quantile of each row, missing values last; NaN for a row of them. As np.nanquantile."""
    last = np.count_nonzero(np.isfinite(ordered), axis=1) - 1
    at = share * np.maximum(last, 0)
    below = at.astype(int)
    above = np.minimum(below + 1, np.maximum(last, 0))
    rows = np.arange(len(ordered))
    low, high = ordered[rows, below], ordered[rows, above]
    return np.asarray(low + (at - below) * (high - low), dtype=np.float64)


def _stretches(duration_s: float) -> list[tuple[int, int]]:
    """Ten minutes each, seconds; what is left at the end joins the last when under five."""
    length, whole = int(TEN_MINUTES_S), int(duration_s)
    starts = list(range(0, whole, length))
    if len(starts) > 1 and whole - starts[-1] < length // 2:
        starts.pop()
    return list(zip(starts, [*starts[1:], whole], strict=True))


def off_baseline(truth: Truth) -> NDArray[np.bool_]:
    """Seconds inside an event that counts, shape (seconds,)."""
    off = np.zeros(len(truth.baseline.values), dtype=np.bool_)
    events = [(d.onset_s, d.end_s) for d in truth.decelerations if d.counts]
    events += [(a.onset_s, a.end_s) for a in truth.accelerations if a.counts]
    for start_s, end_s in events:
        off[int(start_s) : math.ceil(end_s)] = True
    return off


def _baseline_signal(truth: Truth, seen: Seen | None) -> FloatArray:
    """The baseline of each second that lies in no event and was seen, NaN elsewhere."""
    off = off_baseline(truth)
    if seen is not None:
        off = off | (seen.heart[: len(off)] < LEAST_MINUTE_SEEN)
    return np.where(off, np.nan, truth.baseline.values)


def _baseline_segments(truth: Truth, seen: Seen | None) -> tuple[BaselineSegment, ...]:
    signal = _baseline_signal(truth, seen)
    made: list[BaselineSegment] = []
    for start, end in _stretches(len(signal)):
        kept = signal[start:end][np.isfinite(signal[start:end])]
        told = len(kept) >= LEAST_BASELINE_S
        mean = float(kept.mean()) if told else math.nan
        earlier = made[-1] if made else None
        carried = math.nan
        if not told and earlier is not None:
            carried = earlier.start_s if earlier.determinate else earlier.carried_from_s
        made.append(
            BaselineSegment(
                start_s=float(start),
                end_s=float(end),
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
    for start, end in _stretches(duration_s):
        part = bandwidth[start // 60 : math.ceil(end / 60)]
        seen = part[np.isfinite(part)]
        width = float(seen.mean()) if len(seen) else math.nan
        made.append(
            VariabilitySegment(
                start_s=float(start),
                end_s=float(end),
                bandwidth_bpm=width,
                variability=variability_class(width),
                stv_ms=math.nan,
                ltv_bpm=math.nan,
                measured_minutes=len(seen),
                certainty=1.0,
            )
        )
    return tuple(made)
