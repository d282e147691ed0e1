"""A recording's signals to its findings: every step in order, each in its own module."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ebbline.definitions import (
    FAR_FROM_BASELINE_BPM,
    LEAST_EXCURSION_S,
    least_acceleration,
)
from ebbline.features import baseline as base
from ebbline.features import contractions as hills
from ebbline.features import events, excursions, segments, sinusoidal, suspects, variability
from ebbline.features.findings import (
    Acceleration,
    Artefact,
    ArtefactKind,
    Contraction,
    Curve,
    Deceleration,
    FetalFindings,
    Findings,
    QualitySegment,
    UterineFindings,
    VariabilitySegment,
)
from ebbline.features.fitness import limited, step_of
from ebbline.features.shifted import after_silence, shifted
from ebbline.recording.model import ChannelKind, Recording
from ebbline.signal import artefacts, maternal, quality
from ebbline.signal.resampling import RATE_HZ, to_grid
from ebbline.terms import SensorKind

FloatArray = NDArray[np.float64]
FlagArray = NDArray[np.bool_]

RATE = int(RATE_HZ)
MINUTE = 60 * RATE
ROUGH_STEP = 5 * RATE

FIRST_BPM, LEAST_FIRST_BPM, FIRST_S = 8.0, 4.0, 10.0
"""What leaves the first baseline by this much for this long does not draw the second. On a trace so
smooth that less stands out of it, less is enough: shallow falls would else sink the baseline."""

STANDS_OUT = 6.0
"""An excursion so many times the trace's roughness stands out of it (ours)."""

FLANK_S = 2.0
"""So much on both sides of an event is not baseline either: its flanks begin unseen."""


def detect(
    recording: Recording,
    *,
    fetus: int = 1,
    weeks: float | None = None,
    grid_from_s: float | None = None,
    hills_before: float = 0.0,
    brief: bool = False,
) -> Findings:
    """All findings of one fetus of a recording.

    weeks: completed weeks of gestation; None takes the recording's own context. grid_from_s: from
    when on minutes and ten minutes are counted; None: from the second of the first fetal signal,
    so that silence put before a recording changes nothing but times. hills_before: of a stretch cut
    out of a recording, the greatest `usual_hills` before it. brief: without what tells nothing of
    this moment (fine bandwidths, variability and quality of each ten minutes), for a trace that is
    read every few seconds. Raises RecordingError when the fetus has no heart-rate channel.
    """
    if weeks is None:
        weeks = recording.context.weeks
    channel = recording.heart_rate(fetus)
    count = max(1, round(recording.duration_s * RATE))
    bpm = to_grid(channel.samples, channel.rate_hz, count)
    silent_s = first_signal_s(recording) if grid_from_s is None else grid_from_s
    uterine = uterine_findings(recording, count, silent_s, hills_before, brief)
    mother = recording.first(ChannelKind.MATERNAL_HEART_RATE)
    mother_bpm = None if mother is None else to_grid(mother.samples, mother.rate_hz, count)
    first = min(int(silent_s * RATE), max(0, count - RATE))
    fetal = fetal_findings(
        np.ascontiguousarray(bpm[first:]),
        fetus=fetus,
        sensor=channel.sensor,
        weeks=weeks,
        contractions=shifted(uterine.contractions, -first / RATE),
        mother_bpm=None if mother_bpm is None else np.ascontiguousarray(mother_bpm[first:]),
        apart=max(1, round(RATE / channel.rate_hz)),
        brief=brief,
    )
    fetal = after_silence(fetal, first / RATE, fetal.valid)
    if first >= suspects.LISTED_GAP_S * RATE:
        lost = Artefact(ArtefactKind.DROP_OUT, 0.0, first / RATE, 1.0, suspects.NO_SIGNAL)
        fetal = replace(fetal, artefacts=(lost, *fetal.artefacts))
    activity = recording.first(ChannelKind.UTERINE_ACTIVITY)
    return limited(
        Findings(duration_s=recording.duration_s, weeks=weeks, uterine=uterine, fetal=fetal),
        channel.rate_hz,
        math.nan if activity is None else activity.rate_hz,
        step_of(channel.samples),
    )


def first_signal_s(recording: Recording) -> float:
    """The whole second in which the first sample of any fetal heart rate lies; 0 without one."""
    begins = []
    for fetus in recording.fetuses:
        channel = recording.heart_rate(fetus)
        seen = np.flatnonzero(np.isfinite(channel.samples))
        if len(seen):
            begins.append(math.floor(int(seen[0]) / channel.rate_hz))
    return float(min(begins, default=0))


def usual_hills(recording: Recording) -> FloatArray:
    """Height of the hills of the activity around each of its minutes; in the channel's unit."""
    channel = recording.first(ChannelKind.UTERINE_ACTIVITY)
    if channel is None:
        return np.empty(0)
    samples = to_grid(channel.samples, channel.rate_hz, max(1, round(recording.duration_s * RATE)))
    return hills.tone_and_hills(*hills.seconds(samples, RATE), _floor(channel.sensor), 0.0)[2]


def _floor(sensor: SensorKind) -> float:
    return hills.FLOOR_MMHG if sensor is SensorKind.PRESSURE_CATHETER else hills.FLOOR_TOCO


def uterine_findings(
    recording: Recording,
    count: int,
    grid_from_s: float = 0.0,
    hills_before: float = 0.0,
    brief: bool = False,
) -> UterineFindings:
    """Contractions and tone of a recording's activity channel.

    count: samples of the grid; grid_from_s: from when on minutes are counted. Silence before that
    is left out; activity before it is kept, in whole minutes.
    """
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
    first = min(int(grid_from_s * RATE), max(0, count - RATE))
    if np.isfinite(samples[:first]).any():
        first %= MINUTE
    samples, count = np.ascontiguousarray(samples[first:]), count - first
    floor = _floor(channel.sensor)
    mean, share = hills.seconds(samples, RATE)
    tone, rows, _ = hills.tone_and_hills(mean, share, floor, hills_before)
    live = np.repeat(share > 0.5, RATE)
    used = np.full(count, np.nan)
    used[: len(live)] = np.where(live, samples[: len(live)], np.nan)
    found = UterineFindings(
        present=True,
        sensor=channel.sensor,
        contractions=tuple(events.contractions_from(rows)),
        tone=Curve(0.0, 1.0, np.where(share > 0, tone, np.nan)),
        measured=Curve(0.0, 60.0, quality.valid_by_minute(used, RATE)),
        quality=() if brief else _quality(used, np.zeros(count, np.int8), ()),
    )
    return after_silence(found, first / RATE, found.measured)


def _quality(
    kept: FloatArray, code: NDArray[np.int8], suspect: tuple[Artefact, ...]
) -> tuple[QualitySegment, ...]:
    table = quality.segments(kept, code, int(quality.SEGMENT_S * RATE))
    return suspects.quality_segments(table, len(kept), suspects.suspicions(suspect))


@dataclass(frozen=True, slots=True, eq=False)
class _Trace:
    """One heart rate, shape (n,): usable samples, and their means of 2.25 s and of 15 s.

    trusted: those of runs that can be relied on; code: why a sample is not used; coincident:
    stretches where it was the mother's; rough: typical distance of the two means, every ROUGH_STEP.
    """

    kept: FloatArray
    trusted: FloatArray
    code: NDArray[np.int8]
    coincident: NDArray[np.int64]
    steady: FloatArray
    slow: FloatArray
    rough: FloatArray

    def leaving(
        self, level: FloatArray, sign: float, least_bpm: float, least_s: float, described: bool
    ) -> FloatArray:
        """Excursions from a level to one side, see `excursions.excursions`."""
        away = sign * (self.steady - level)
        return excursions.excursions(
            self.kept,
            self.trusted if sign < 0 else self.kept,
            away,
            level,
            self.rough,
            ROUGH_STEP,
            least_bpm,
            least_s,
            RATE_HZ,
            described,
            excursions.REST_S if sign < 0 else -1.0,
        )


@dataclass(frozen=True, slots=True, eq=False)
class _Baseline:
    """The continuous baseline once a second and at each sample, and how sure it is (0..1).

    path: the levels it was drawn from; passing: what left the first baseline, falls and rises.
    """

    curve: FloatArray
    level: FloatArray
    sure: FloatArray
    path: FloatArray
    passing: tuple[FloatArray, FloatArray]


def fetal_findings(
    bpm: FloatArray,
    *,
    fetus: int,
    sensor: SensorKind,
    weeks: float | None,
    contractions: tuple[Contraction, ...],
    mother_bpm: FloatArray | None,
    apart: int = 1,
    brief: bool = False,
) -> FetalFindings:
    """Findings of one heart-rate signal on the 4 Hz grid, shape (n,), NaN where missing.

    apart: samples of the grid for each one of the sensor's. brief: see `detect`.
    """
    trace = _trace(bpm, mother_bpm)
    line = _baseline(trace)
    nowhere = np.zeros(len(trace.kept), np.bool_)
    about = base.near_level(trace.kept, line.level, sinusoidal.FAR_BPM, nowhere)
    about_second, _ = base.epoch_means(about[: len(about) // RATE * RATE], RATE)
    waves = sinusoidal.episodes(about_second)
    suspect = suspects.suspect_stretches(
        trace.kept, trace.code, trace.coincident, mother_bpm is None
    )
    falls, rises, pieces = _events(trace, line, weeks, contractions)
    suspect = tuple(sorted((*suspect, *pieces), key=lambda artefact: artefact.start_s))
    if mother_bpm is None:
        suspect = suspects.with_rises(suspect, rises, contractions)
    decelerations = events.doubted(events.not_of_waves(falls, waves), suspect)
    accelerations = events.doubted(events.not_of_waves(rises, waves), suspect)

    in_event = _in_event(trace, line, decelerations, accelerations)
    accelerations = events.not_doubled(accelerations, suspect)
    moving = variability.moving_bandwidth(trace.trusted, in_event, RATE, apart)
    band = moving[:: variability.PER_MINUTE].copy()
    of_baseline = base.near_level(trace.kept, line.level, FAR_FROM_BASELINE_BPM, in_event)
    rate = base.epoch_means(trace.kept, RATE)[0]
    suspect = suspects.with_levels(suspect, Curve(0.0, 1.0, rate), mother_bpm is not None)
    signal = base.epoch_means(of_baseline[: len(of_baseline) // RATE * RATE], RATE)[0]
    tens = segments.baseline_segments(of_baseline, band, line.sure, line.path)
    fine = np.empty(0)
    ten_minutes: tuple[VariabilitySegment, ...] = ()
    if not brief:
        fine = variability.moving_fine_bandwidth(
            trace.kept, trace.steady, trace.slow, in_event, RATE
        )
        ltv = variability.long_term_variation(trace.kept, in_event, RATE)
        ltv[np.isnan(band)] = np.nan
        ten_minutes = segments.variability_segments(of_baseline, band, ltv)
    return FetalFindings(
        fetus=fetus,
        sensor=sensor,
        baseline_curve=Curve(0.0, 1.0, segments.admitted(line.curve, rate, signal)),
        rate_curve=Curve(0.0, 1.0, rate),
        baseline=tens,
        baseline_changes=segments.baseline_changes(line.path),
        bandwidth=Curve(0.0, 60.0, band),
        fine_bandwidth=Curve(0.0, 60.0, fine[:: variability.PER_MINUTE].copy()),
        valid=Curve(0.0, 60.0, quality.valid_by_minute(trace.kept, RATE)),
        variability=ten_minutes,
        accelerations=tuple(accelerations),
        decelerations=tuple(decelerations),
        sinusoidal=events.with_accelerations(waves, accelerations),
        baseline_signal=Curve(0.0, 1.0, signal),
        moving_bandwidth=Curve(0.0, variability.MOVING_S, moving),
        moving_fine_bandwidth=Curve(0.0, variability.MOVING_S, fine),
        artefacts=suspect,
        quality=() if brief else _quality(trace.kept, trace.code, suspect),
    )


def _trace(bpm: FloatArray, mother_bpm: FloatArray | None) -> _Trace:
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
    rough = excursions.roughness(steady, slow, MINUTE, ROUGH_STEP)
    return _Trace(kept, artefacts.settled(kept, RATE), code, coincident, steady, slow, rough)


def _baseline(trace: _Trace) -> _Baseline:
    """Twice: what leaves the first baseline no longer draws the second."""
    epoch, count = int(base.EPOCH_S * RATE), len(trace.kept)
    mean, share = base.epoch_means(trace.kept, epoch)
    path, margin = base.baseline_path(mean, share)
    seconds = (count + RATE - 1) // RATE
    level = base.at_samples(base.refined(mean, share, path, seconds), RATE, count)
    least = min(FIRST_BPM, max(LEAST_FIRST_BPM, STANDS_OUT * quality.middle(trace.rough)))
    falls = trace.leaving(level, -1.0, least, FIRST_S, False)
    rises = trace.leaving(level, 1.0, least, FIRST_S, False)
    for rows in (falls, rises):
        share = base.without(share, rows, epoch)
    curve = base.refined(mean, share, path, seconds)
    sure = np.repeat(margin / (margin + 3.0), int(base.STEP_S))[:seconds]
    return _Baseline(curve, base.at_samples(curve, RATE, count), sure, path, (falls, rises))


def _events(
    trace: _Trace, line: _Baseline, weeks: float | None, contractions: tuple[Contraction, ...]
) -> tuple[list[Deceleration], list[Acceleration], tuple[Artefact, ...]]:
    """Falls, rises, and what looks like one but comes and goes in steps."""
    least = least_acceleration(weeks)
    falls = trace.leaving(line.level, -1.0, events.FAINT_BPM, LEAST_EXCURSION_S, True)
    rises = trace.leaving(line.level, 1.0, *least, True)
    pieces = [rows[events.between_jumps(rows, RATE_HZ)] for rows in (falls, rises)]
    falls = falls[~events.between_jumps(falls, RATE_HZ)]
    rises = rises[~events.between_jumps(rises, RATE_HZ)]
    decelerations = events.decelerations_from(
        events.standing_out(falls, trace.rough, ROUGH_STEP), contractions, line.sure, RATE_HZ
    )
    accelerations = events.accelerations_from(
        rises, contractions, decelerations, line.sure, least, RATE_HZ
    )
    return decelerations, accelerations, suspects.other_pieces(pieces)


def _in_event(
    trace: _Trace,
    line: _Baseline,
    decelerations: list[Deceleration],
    accelerations: list[Acceleration],
) -> FlagArray:
    """What is no baseline: events with their flanks, and smaller excursions that stand out."""
    in_event = np.zeros(len(trace.kept), np.bool_)
    spans = [(d.onset_s, d.end_s) for d in decelerations]
    spans += [(a.onset_s, a.end_s) for a in accelerations]
    for onset_s, end_s in spans:
        in_event[max(0, int((onset_s - FLANK_S) * RATE)) : int((end_s + FLANK_S) * RATE)] = True
    for rows in line.passing:
        variability.leave_out(in_event, rows, trace.rough, ROUGH_STEP)
    return in_event
