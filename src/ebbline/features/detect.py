"""A recording's signals to its findings: every step in order, each in its own module."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ebbline.definitions import (
    BASELINE_CHANGE_BPM,
    BASELINE_CHANGE_S,
    FAR_FROM_BASELINE_BPM,
    LEAST_BASELINE_S,
    LEAST_EXCURSION_S,
    MARKED_ABOVE_BPM,
    SHALLOW_FROM_BPM,
    least_acceleration,
    rounded_baseline,
)
from ebbline.features import baseline as base
from ebbline.features import contractions as hills
from ebbline.features import events, excursions, sinusoidal, variability
from ebbline.features.findings import (
    Artefact,
    ArtefactKind,
    BaselineChange,
    BaselineSegment,
    Contraction,
    Curve,
    FetalFindings,
    Findings,
    QualitySegment,
    SinusoidalEpisode,
    UterineFindings,
    VariabilitySegment,
)
from ebbline.recording.model import ChannelKind, Recording
from ebbline.signal import artefacts, maternal, quality
from ebbline.signal.resampling import RATE_HZ, to_grid
from ebbline.terms import SensorKind

FloatArray = NDArray[np.float64]

RATE = int(RATE_HZ)
MINUTE = 60 * RATE

FIRST_BPM, FIRST_S = 8.0, 10.0
"""What leaves the first baseline by this much for this long does not draw the second."""

FLANK_S = 2.0
"""So much on both sides of an event is not baseline either: its flanks begin unseen."""

LISTED_GAP_S = 15.0
"""Gaps from this length are listed as artefacts; all gaps count in the valid share."""


def detect(recording: Recording, *, fetus: int = 1, weeks: float | None = None) -> Findings:
    """All findings of one fetus of a recording.

    weeks: completed weeks of gestation; None takes the recording's own context. Raises
    RecordingError when the fetus has no heart-rate channel.
    """
    if weeks is None:
        weeks = recording.context.weeks
    channel = recording.heart_rate(fetus)
    count = max(1, round(recording.duration_s * RATE))
    bpm = to_grid(channel.samples, channel.rate_hz, count)
    uterine = uterine_findings(recording, count)
    mother = recording.first(ChannelKind.MATERNAL_HEART_RATE)
    mother_bpm = None if mother is None else to_grid(mother.samples, mother.rate_hz, count)
    fetal = fetal_findings(
        bpm,
        fetus=fetus,
        sensor=channel.sensor,
        weeks=weeks,
        contractions=uterine.contractions,
        mother_bpm=mother_bpm,
    )
    return Findings(duration_s=recording.duration_s, weeks=weeks, uterine=uterine, fetal=fetal)


def uterine_findings(recording: Recording, count: int) -> UterineFindings:
    """Contractions and tone of a recording's activity channel, count: samples of the grid."""
    channel = recording.first(ChannelKind.UTERINE_ACTIVITY)
    if channel is None:
        nothing = Curve(0.0, 60.0, np.zeros(math.ceil(count / MINUTE)))
        return UterineFindings(
            present=False,
            sensor=SensorKind.UNKNOWN,
            contractions=(),
            tone=Curve(0.0, 1.0, np.full(count // RATE, np.nan)),
            measured=nothing,
            quality=(),
        )
    samples = to_grid(channel.samples, channel.rate_hz, count)
    in_mmhg = channel.sensor is SensorKind.PRESSURE_CATHETER
    floor = hills.FLOOR_MMHG if in_mmhg else hills.FLOOR_TOCO
    mean, share = hills.seconds(samples, RATE)
    tone, rows = hills.tone_and_hills(mean, share, floor)
    live = np.repeat(share > 0.5, RATE)
    used = np.full(count, np.nan)
    used[: len(live)] = np.where(live, samples[: len(live)], np.nan)
    table = quality.segments(used, np.zeros(count, np.int8), int(quality.SEGMENT_S * RATE))
    return UterineFindings(
        present=True,
        sensor=channel.sensor,
        contractions=tuple(events.contractions_from(rows, channel.sensor, floor)),
        tone=Curve(0.0, 1.0, np.where(share > 0, tone, np.nan)),
        measured=Curve(0.0, 60.0, quality.valid_by_minute(used, RATE)),
        quality=_quality(table, count, {}),
    )


def fetal_findings(
    bpm: FloatArray,
    *,
    fetus: int,
    sensor: SensorKind,
    weeks: float | None,
    contractions: tuple[Contraction, ...],
    mother_bpm: FloatArray | None,
) -> FetalFindings:
    """Findings of one heart-rate signal on the 4 Hz grid, shape (n,), NaN where missing."""
    kept, code = artefacts.usable(bpm, RATE_HZ)
    coincident = np.empty((0, 2), np.int64)
    if mother_bpm is not None:
        # Whose heart it is cannot be told there: such signal is no evidence about the fetus.
        coincident = maternal.coincident(kept, mother_bpm, RATE)
        for start, end in coincident.tolist():
            span = slice(start, end)
            code[span] = np.where(code[span] == artefacts.USED, artefacts.MATERNAL, code[span])
            kept[span] = np.nan
    bridged = artefacts.bridge(kept, int(excursions.SHORT_GAP_S * RATE))
    steady = excursions.smoothed(bridged, int(excursions.SMOOTH_S * RATE) // 2)
    slow = excursions.smoothed(bridged, int(7.5 * RATE))
    rough = excursions.roughness(steady, slow, MINUTE)

    def leaving(
        level: FloatArray, sign: float, least_bpm: float, least_s: float, described: bool
    ) -> FloatArray:
        away = sign * (steady - level)
        return excursions.excursions(
            kept, away, level, rough, MINUTE, least_bpm, least_s, RATE_HZ, described
        )

    # Twice: what leaves the first baseline no longer draws the second.
    epoch = int(base.EPOCH_S * RATE)
    mean, share = base.epoch_means(kept, epoch)
    path, margin = base.baseline_path(mean, share)
    seconds = (len(kept) + RATE - 1) // RATE
    curve = base.refined(mean, share, path, seconds)
    level = base.at_samples(curve, RATE, len(kept))
    first = [leaving(level, sign, FIRST_BPM, FIRST_S, False) for sign in (-1.0, 1.0)]
    for rows in first:
        share = base.without(share, rows, epoch)
    curve = base.refined(mean, share, path, seconds)
    level = base.at_samples(curve, RATE, len(kept))
    sure = np.repeat(margin / (margin + 3.0), int(base.STEP_S))[:seconds]

    least_bpm, least_s = least_acceleration(weeks)
    falls = leaving(level, -1.0, SHALLOW_FROM_BPM, LEAST_EXCURSION_S, True)
    rises = leaving(level, 1.0, least_bpm, least_s, True)
    near = np.where(np.abs(kept - level) > FAR_FROM_BASELINE_BPM, np.nan, kept)
    waves = _undulations(near)
    decelerations = events.not_of_waves(
        events.decelerations_from(falls, contractions, sure, RATE_HZ), waves
    )
    accelerations = events.not_of_waves(
        events.accelerations_from(rises, contractions, decelerations, sure, least_bpm, RATE_HZ),
        waves,
    )

    in_event = np.zeros(len(kept), np.bool_)
    spans = [(d.onset_s, d.end_s) for d in decelerations]
    spans += [(a.onset_s, a.end_s) for a in accelerations]
    for onset_s, end_s in spans:
        in_event[max(0, int((onset_s - FLANK_S) * RATE)) : int((end_s + FLANK_S) * RATE)] = True
    for rows in first:
        variability.leave_out(in_event, rows, rough, MINUTE)
    band, ltv = variability.bandwidth_by_minute(kept, in_event, RATE)
    fine = variability.fine_bandwidth_by_minute(kept, steady, slow, in_event, RATE)
    second, _ = base.epoch_means(kept, RATE)
    of_baseline = np.where(in_event, np.nan, near)
    segments = _baseline_segments(of_baseline, band, sure)
    return FetalFindings(
        fetus=fetus,
        sensor=sensor,
        baseline_curve=Curve(0.0, 1.0, _admitted(curve, segments)),
        rate_curve=Curve(0.0, 1.0, second),
        baseline=segments,
        baseline_changes=_changes(path, segments),
        bandwidth=Curve(0.0, 60.0, band),
        fine_bandwidth=Curve(0.0, 60.0, fine),
        valid=Curve(0.0, 60.0, quality.valid_by_minute(kept, RATE)),
        variability=_variability_segments(of_baseline, band, ltv),
        accelerations=tuple(accelerations),
        decelerations=tuple(decelerations),
        sinusoidal=events.with_accelerations(waves, accelerations),
        artefacts=(unusable := _artefacts(kept, code, level, coincident, mother_bpm is None)),
        quality=_quality(
            quality.segments(kept, code, int(quality.SEGMENT_S * RATE)),
            len(kept),
            _suspicions(unusable),
        ),
    )


def ten_minutes(count: int) -> list[tuple[int, int]]:
    """Stretches (start, end in samples of the grid) of ten minutes; what is left over at the end
    joins the last one when it is under five minutes, which cannot carry a class of its own."""
    length = int(quality.SEGMENT_S * RATE)
    starts = list(range(0, count, length))
    if len(starts) > 1 and count - starts[-1] < length // 2:
        starts.pop()
    return list(zip(starts, [*starts[1:], count], strict=True))


def _baseline_segments(
    of_baseline: FloatArray, band: FloatArray, sure: FloatArray
) -> tuple[BaselineSegment, ...]:
    """The standards' baseline of each ten minutes; marked minutes are left out of the mean."""
    marked = np.repeat(band > MARKED_ABOVE_BPM, MINUTE)[: len(of_baseline)]
    calm = np.where(marked, np.nan, of_baseline)
    found: list[BaselineSegment] = []
    for start, end in ten_minutes(len(calm)):
        part = calm[start:end]
        used = part[np.isfinite(part)]
        if len(used) < LEAST_BASELINE_S * RATE:
            # Marked variability throughout still has a level: NICHD's mean is then all there is.
            every = of_baseline[start:end]
            every = every[np.isfinite(every)]
            if len(every) >= 2.5 * LEAST_BASELINE_S * RATE:
                used = every
        start_s, end_s = start / RATE_HZ, end / RATE_HZ
        baseline_s = len(used) / RATE_HZ
        certainty = sure[int(start_s) : math.ceil(end_s)]
        certain = float(np.mean(certainty)) if len(certainty) else 0.0
        if baseline_s < LEAST_BASELINE_S:
            earlier = found[-1] if found else None
            carried = math.nan
            if earlier is not None:
                carried = earlier.start_s if earlier.determinate else earlier.carried_from_s
            found.append(
                BaselineSegment(
                    start_s,
                    end_s,
                    math.nan,
                    math.nan,
                    baseline_s,
                    math.nan,
                    False,
                    f"{baseline_s:.0f} s of baseline in these ten minutes, "
                    f"{LEAST_BASELINE_S:.0f} s are needed",
                    carried,
                )
            )
            continue
        mean = float(np.mean(used))
        spread = float(np.std(used)) / math.sqrt(max(1.0, baseline_s / 30.0)) / max(certain, 0.2)
        found.append(
            BaselineSegment(
                start_s,
                end_s,
                rounded_baseline(mean),
                mean,
                baseline_s,
                spread,
                True,
                "",
                math.nan,
            )
        )
    return tuple(found)


def _admitted(curve: FloatArray, segments: tuple[BaselineSegment, ...]) -> FloatArray:
    """The continuous baseline, NaN in ten minutes that have none."""
    shown = curve.copy()
    for segment in segments:
        if segment.baseline_s < LEAST_BASELINE_S / 4:
            shown[int(segment.start_s) : int(segment.end_s)] = np.nan
    return shown


def _changes(path: FloatArray, segments: tuple[BaselineSegment, ...]) -> tuple[BaselineChange, ...]:
    """Jumps of the path between levels that each last ten minutes or more."""
    stay = int(BASELINE_CHANGE_S / base.STEP_S)
    found: list[BaselineChange] = []
    for step in np.flatnonzero(np.abs(np.diff(path)) > base.DRIFT_REACH) + 1:
        before, after = path[max(0, step - stay) : step], path[step : step + stay]
        at_s = float(step * base.STEP_S)
        whole = len(before) >= stay and len(after) >= stay
        from_bpm, to_bpm = float(np.median(before)), float(np.median(after))
        if whole and abs(to_bpm - from_bpm) >= BASELINE_CHANGE_BPM:
            found.append(BaselineChange(at_s, from_bpm, to_bpm))
    return tuple(found)


def _variability_segments(
    of_baseline: FloatArray, band: FloatArray, ltv: FloatArray
) -> tuple[VariabilitySegment, ...]:
    found = []
    for start, end in ten_minutes(len(of_baseline)):
        first, last = start // MINUTE, math.ceil(end / MINUTE)
        minutes = band[first:last]
        measured = np.isfinite(minutes)
        number = int(measured.sum())
        width = variability.usual_bandwidth(minutes)
        ranges = ltv[first:last]
        seen = np.isfinite(ranges)
        share = number / max(1, last - first)
        limits = np.array(variability.LIMITS_BPM)
        clear = 0.0 if not number else float(np.min(np.abs(np.log(max(width, 0.1) / limits))))
        found.append(
            VariabilitySegment(
                start_s=start / RATE_HZ,
                end_s=end / RATE_HZ,
                bandwidth_bpm=width,
                variability=variability.class_of_minutes(minutes),
                stv_ms=variability.short_term_variation(of_baseline[start:end], RATE_HZ),
                ltv_bpm=float(ranges[seen].mean()) if seen.any() else math.nan,
                measured_minutes=number,
                certainty=share * (1.0 - 0.5 * math.exp(-clear / 0.15)),
            )
        )
    return tuple(found)


def _undulations(near: FloatArray) -> tuple[SinusoidalEpisode, ...]:
    """Runs of windows with one dominating frequency; a run may miss one window.

    near: usable samples that lie near the baseline, NaN elsewhere.
    """
    seconds = len(near) // RATE
    if seconds < sinusoidal.WINDOW_S:
        return ()
    second, _ = base.epoch_means(near[: seconds * RATE], RATE)
    rows = sinusoidal.undulation(second)
    pure = (
        (rows[:, 2] >= sinusoidal.PURE_SHARE)
        & (rows[:, 2] + rows[:, 3] >= sinusoidal.WITH_OVERTONES_SHARE)
        & (rows[:, 1] >= sinusoidal.LEAST_PEAK_TO_PEAK)
        & (rows[:, 1] <= sinusoidal.GREATEST_PEAK_TO_PEAK)
    )
    found = []
    index = 0
    while index < len(rows):
        if not pure[index]:
            index += 1
            continue
        last = index
        while last + 1 < len(rows) and (
            pure[last + 1] or (last + 2 < len(rows) and pure[last + 2])
        ):
            last += 1
        start_s = float(index * sinusoidal.HOP_S)
        end_s = float(last * sinusoidal.HOP_S + sinusoidal.WINDOW_S)
        if end_s - start_s >= sinusoidal.LEAST_S:
            part = rows[index : last + 1]
            part = part[part[:, 2] > 0]
            jagged = float(np.median(part[:, 3] / part[:, 2]))
            found.append(
                SinusoidalEpisode(
                    start_s=start_s,
                    end_s=end_s,
                    cycles_per_min=float(np.median(part[:, 0])),
                    amplitude_bpm=float(np.median(part[:, 1])) / 2.0,
                    pseudo=jagged > sinusoidal.JAGGED_SHARE,
                    certainty=float(np.clip(np.median(part[:, 2]), 0.0, 1.0)),
                )
            )
        index = last + 1
    return tuple(found)


_KIND_OF_CODE = {
    artefacts.MISSING: ArtefactKind.DROP_OUT,
    artefacts.OUT_OF_RANGE: ArtefactKind.OUT_OF_RANGE,
    artefacts.SPIKE: ArtefactKind.SPIKE,
    artefacts.DOUBLED: ArtefactKind.DOUBLING,
    artefacts.HALVED: ArtefactKind.HALVING,
    artefacts.FLAT: ArtefactKind.FLAT,
}

_WHY = {
    artefacts.MISSING: "no signal",
    artefacts.OUT_OF_RANGE: (f"outside {artefacts.LOWEST_BPM:.0f}-{artefacts.HIGHEST_BPM:.0f} bpm"),
    artefacts.SPIKE: "a short piece far from what lies on both sides",
    artefacts.DOUBLED: (
        "about twice the level on both sides: a slow rate may have been counted double"
    ),
    artefacts.HALVED: "about half the level on both sides: a fast rate may have been counted half",
    artefacts.FLAT: f"not one change of value in {artefacts.FLAT_S / 60:.0f} minutes or more",
}


def _artefacts(
    kept: FloatArray,
    code: NDArray[np.int8],
    level: FloatArray,
    coincident: NDArray[np.int64],
    suspect: bool,
) -> tuple[Artefact, ...]:
    found = []
    present = np.bincount(code, minlength=8)
    for value, kind in _KIND_OF_CODE.items():
        if not present[value]:
            continue
        lost = value in (artefacts.MISSING, artefacts.FLAT)
        least = int(LISTED_GAP_S * RATE) if lost else 1
        for start, end in quality.runs(code, value, least, RATE).tolist():
            sure = 1.0 if lost or value == artefacts.OUT_OF_RANGE else 0.6
            found.append(Artefact(kind, start / RATE_HZ, end / RATE_HZ, sure, _WHY[value]))
    found += [
        Artefact(
            ArtefactKind.MATERNAL,
            start / RATE_HZ,
            end / RATE_HZ,
            0.9,
            f"within {maternal.COINCIDENT_BPM:.0f} bpm of the maternal pulse: left out",
        )
        for start, end in coincident.tolist()
    ]
    if suspect:
        found += [
            Artefact(
                ArtefactKind.MATERNAL,
                start / RATE_HZ,
                end / RATE_HZ,
                0.4,
                "a sudden step to another level in the range of a mother's pulse",
            )
            for start, end in maternal.low_plateaus(kept, level, RATE).tolist()
        ]
    found.sort(key=lambda artefact: artefact.start_s)
    return tuple(found)


def _suspicions(artefacts: tuple[Artefact, ...]) -> dict[int, list[ArtefactKind]]:
    """Kinds suspected in each ten minutes, by the segment's number."""
    found: dict[int, list[ArtefactKind]] = {}
    for artefact in artefacts:
        first = int(artefact.start_s // quality.SEGMENT_S)
        last = int(max(artefact.start_s, artefact.end_s - 1e-6) // quality.SEGMENT_S)
        for segment in range(first, last + 1):
            kinds = found.setdefault(segment, [])
            if artefact.kind not in kinds:
                kinds.append(artefact.kind)
    return found


def _quality(
    table: FloatArray, count: int, suspected: dict[int, list[ArtefactKind]]
) -> tuple[QualitySegment, ...]:
    return tuple(
        QualitySegment(
            start_s=number * quality.SEGMENT_S,
            end_s=min((number + 1) * quality.SEGMENT_S, count / RATE_HZ),
            valid_share=row[0],
            longest_gap_s=row[1] / RATE_HZ,
            suspected=tuple(suspected.get(number, ())),
        )
        for number, row in enumerate(table.tolist())
    )
