"""The truth of an invented labour in the shape of findings, for the criteria to class.

What a perfect reader of the perfect trace would hand over: every number comes from the truth,
nothing from the detector, except two curves of the fast detail, which have no truth of their own
(`rate_curve` and `fine_bandwidth`): these are taken from the true heart rate without its sensor.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ebbline.definitions import rounded_baseline, variability_class
from ebbline.features import detect
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
    QualitySegment,
    SinusoidalEpisode,
    UterineFindings,
    VariabilityClass,
    VariabilitySegment,
)
from ebbline.recording.model import ChannelKind
from ebbline.synth import Labour, Truth
from ebbline.synth.ground_truth import EventKind, TrueDeceleration
from ebbline.terms import SensorKind

SEGMENT_S = 600.0
ABRUPT_S = 30.0
SUDDEN = (EventKind.VARIABLE,)


def findings_of(labour: Labour) -> Findings:
    """Findings made of the truth."""
    truth, recording = labour.truth, labour.recording
    activity = recording.first(ChannelKind.UTERINE_ACTIVITY)
    assert activity is not None
    heart = recording.heart_rate()
    clean = replace(
        recording,
        channels=(replace(heart, samples=truth.heart_rate.values, rate_hz=4.0), activity),
    )
    perfect = detect(clean, weeks=truth.weeks).fetal
    minutes = math.ceil(truth.duration_s / 60)
    whole = Curve(0.0, 60.0, np.ones(minutes))
    contractions = tuple(
        Contraction(c.onset_s, c.peak_s, c.end_s, c.amplitude_mmhg, c.resting_tone_mmhg, 1.0, 1.0)
        for c in truth.contractions
        if c.counts
    )
    index = {i: k for k, i in enumerate(i for i, c in enumerate(truth.contractions) if c.counts)}
    in_mmhg = activity.sensor is SensorKind.PRESSURE_CATHETER
    tone = truth.contractions[0].resting_tone_mmhg if truth.contractions else 10.0
    uterine = UterineFindings(
        present=True,
        sensor=activity.sensor,
        contractions=contractions,
        tone=Curve(0.0, 1.0, np.full(int(truth.duration_s), tone if in_mmhg else 10.0)),
        measured=whole,
        quality=_quality(truth),
    )
    fetal = replace(
        perfect,
        baseline_curve=Curve(0.0, 1.0, truth.baseline.values),
        baseline=_baseline(truth),
        baseline_changes=tuple(
            BaselineChange(c.at_s, c.from_bpm, c.to_bpm)
            for c in truth.baseline_changes
            if abs(c.to_bpm - c.from_bpm) >= 15.0
        ),
        bandwidth=Curve(0.0, 60.0, truth.bandwidth.values),
        valid=whole,
        variability=_variability(truth, perfect),
        accelerations=tuple(
            Acceleration(
                onset_s=a.onset_s,
                peak_s=a.peak_s,
                end_s=a.end_s,
                height_bpm=a.height_bpm,
                baseline_bpm=a.baseline_bpm,
                onset_to_peak_s=a.peak_s - a.onset_s,
                abrupt=True,
                prolonged=a.kind is EventKind.PROLONGED_ACCELERATION,
                contraction=index.get(a.contraction, -1),
                valid_share=1.0,
                certainty=1.0,
            )
            for a in truth.accelerations
            if a.counts
        ),
        decelerations=tuple(
            _deceleration(d, truth, index) for d in truth.decelerations if d.counts or _shallow(d)
        ),
        sinusoidal=tuple(
            SinusoidalEpisode(s.start_s, s.end_s, s.cycles_per_min, s.amplitude_bpm, s.pseudo, 1.0)
            for s in truth.sinusoidal
        ),
        artefacts=(),
        quality=_quality(truth),
    )
    return Findings(truth.duration_s, truth.weeks, uterine, fetal)


def _shallow(d: TrueDeceleration) -> bool:
    gradual = d.kind in (EventKind.LATE, EventKind.EARLY)
    return gradual and 10.0 <= d.depth_bpm < 15.0 and d.contraction >= 0


def _deceleration(d: TrueDeceleration, truth: Truth, index: dict[int, int]) -> Deceleration:
    baseline, inside = (
        d.baseline_bpm,
        truth.heart_rate.values[int(d.onset_s * 4) : int(d.end_s * 4)],
    )
    owner = truth.contractions[d.contraction] if d.contraction >= 0 else None
    return Deceleration(
        kind=DecelerationKind(str(d.kind)),
        onset_s=d.onset_s,
        nadir_s=d.nadir_s,
        end_s=d.end_s,
        depth_bpm=d.depth_bpm,
        nadir_bpm=baseline - d.depth_bpm,
        baseline_bpm=baseline,
        onset_to_nadir_s=d.nadir_start_s - d.onset_s,
        return_s=d.end_s - d.nadir_s,
        abrupt=d.kind in SUDDEN,
        contraction=index.get(d.contraction, -1),
        lag_s=d.lag_s,
        onset_lag_s=d.onset_s - owner.onset_s if owner else math.nan,
        area_bpm_s=float(np.clip(baseline - inside, 0.0, None).sum() / 4),
        variability_within_bpm=3.0 if d.variability_lost else 12.0,
        shoulder_before=d.shoulder_before,
        shoulder_after=d.shoulder_after,
        overshoot=d.overshoot,
        slow_return=d.slow_return,
        fails_to_return=False,
        shallow=not d.counts,
        valid_share=1.0,
        certainty=1.0,
    )


def _segments(truth: Truth) -> list[tuple[float, float]]:
    starts = np.arange(0.0, truth.duration_s, SEGMENT_S)
    return [(float(s), float(min(truth.duration_s, s + SEGMENT_S))) for s in starts]


def _baseline(truth: Truth) -> tuple[BaselineSegment, ...]:
    calm = np.ones(int(truth.duration_s), dtype=bool)
    for event in (*truth.accelerations, *truth.decelerations):
        calm[int(event.onset_s) : int(event.end_s) + 1] = False
    found: list[BaselineSegment] = []
    for start, end in _segments(truth):
        part = truth.baseline.values[int(start) : int(end)]
        seconds = float(calm[int(start) : int(end)].sum())
        mean = float(part.mean())
        enough = seconds >= 120.0
        earlier = found[-1] if found else None
        carried = math.nan
        if not enough and earlier is not None:
            carried = earlier.start_s if earlier.determinate else earlier.carried_from_s
        found.append(
            BaselineSegment(
                start_s=start,
                end_s=end,
                bpm=rounded_baseline(mean) if enough else math.nan,
                mean_bpm=mean if enough else math.nan,
                baseline_s=seconds,
                spread_bpm=float(part.std()),
                determinate=enough,
                why="" if enough else "less than two minutes of baseline",
                carried_from_s=carried,
            )
        )
    return tuple(found)


def _variability(truth: Truth, perfect: FetalFindings) -> tuple[VariabilitySegment, ...]:
    made = []
    for (start, end), measured in zip(_segments(truth), perfect.variability, strict=True):
        minutes = truth.bandwidth.values[int(start // 60) : math.ceil(end / 60)]
        seen = minutes[np.isfinite(minutes)]
        width = float(seen.mean()) if len(seen) else math.nan
        made.append(
            replace(
                measured,
                bandwidth_bpm=width,
                variability=VariabilityClass(str(variability_class(width))),
                measured_minutes=len(seen),
                certainty=1.0,
            )
        )
    return tuple(made)


def _quality(truth: Truth) -> tuple[QualitySegment, ...]:
    return tuple(QualitySegment(a, b, 1.0, 0.0, ()) for a, b in _segments(truth))
