"""Recordings and readings made by hand, so that what must be drawn is known beforehand."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime

import numpy as np

from ebbline import CAUTION, __version__
from ebbline.criteria.model import Classification, Level, Reason, Standard
from ebbline.features.findings import (
    NO_CONTRACTION,
    Acceleration,
    Artefact,
    ArtefactKind,
    BaselineChange,
    Contraction,
    Curve,
    Deceleration,
    DecelerationKind,
    FetalFindings,
    Findings,
    FloatArray,
    SinusoidalEpisode,
    UterineFindings,
    VariabilityClass,
)
from ebbline.reading.model import (
    ContractionSummary,
    DecelerationSummary,
    FetalReading,
    Reading,
    Review,
    TenMinutes,
)
from ebbline.recording.model import Channel, ChannelKind, Context, Recording
from ebbline.terms import SensorKind, Stage, Window

RATE_HZ = 4.0
BASELINE_BPM = 140.0
START = datetime(2031, 3, 12, 14, 5, tzinfo=UTC)
CYCLE_S = 180.0
"""Time from one contraction's peak to the next."""
KINDS = (
    DecelerationKind.LATE,
    DecelerationKind.VARIABLE,
    DecelerationKind.EARLY,
    DecelerationKind.VARIABLE,
)
CITATION = "an invented rule for trying out the picture"


def contractions(duration_s: float) -> tuple[Contraction, ...]:
    """One of 60 s every three minutes."""
    peaks = np.arange(90.0, duration_s - 30, CYCLE_S)
    return tuple(Contraction(p - 30, p, p + 30, 55.0, 12.0, 1.0, 0.9) for p in peaks.tolist())


def decelerations(duration_s: float) -> tuple[Deceleration, ...]:
    """With every second contraction; the kinds in turn, a long one every half hour."""
    found = []
    for i, one in enumerate(contractions(duration_s)):
        if i % 2:
            continue
        kind = KINDS[i // 2 % len(KINDS)] if i % 10 != 8 else DecelerationKind.PROLONGED
        length_s = 170.0 if kind is DecelerationKind.PROLONGED else 60.0
        lag_s = 25.0 if kind is DecelerationKind.LATE else 0.0
        onset_s = one.peak_s + lag_s - 25
        abrupt = kind in (DecelerationKind.VARIABLE, DecelerationKind.PROLONGED)
        found.append(
            Deceleration(
                kind=kind,
                onset_s=onset_s,
                nadir_s=onset_s + (15 if abrupt else 35),
                end_s=onset_s + length_s,
                depth_bpm=30.0,
                nadir_bpm=BASELINE_BPM - 30,
                baseline_bpm=BASELINE_BPM,
                onset_to_nadir_s=15.0 if abrupt else 35.0,
                return_s=length_s - (15 if abrupt else 35),
                abrupt=abrupt,
                contraction=i,
                lag_s=lag_s,
                onset_lag_s=5.0,
                area_bpm_s=900.0,
                variability_within_bpm=8.0,
                shoulder_before=abrupt,
                shoulder_after=False,
                overshoot=False,
                slow_return=kind is DecelerationKind.VARIABLE,
                fails_to_return=False,
                shallow=False,
                valid_share=1.0,
                certainty=0.4 if kind is DecelerationKind.EARLY else 0.85,
            )
        )
    return tuple(found)


def accelerations(duration_s: float) -> tuple[Acceleration, ...]:
    """With every fourth contraction, between the decelerations."""
    return tuple(
        Acceleration(
            onset_s=one.peak_s - 10,
            peak_s=one.peak_s,
            end_s=one.peak_s + 20,
            height_bpm=20.0,
            baseline_bpm=BASELINE_BPM,
            onset_to_peak_s=10.0,
            abrupt=True,
            prolonged=False,
            contraction=NO_CONTRACTION,
            valid_share=1.0,
            certainty=0.9,
        )
        for one in contractions(duration_s)[1::4]
    )


def heart_rate(duration_s: float, *, seed: int = 1) -> FloatArray:
    """A baseline with fluctuation, and the accelerations and decelerations above."""
    rng = np.random.default_rng(seed)
    time = np.arange(int(duration_s * RATE_HZ)) / RATE_HZ
    slow = sum(
        2.2 * np.sin(2 * np.pi * (time / period + rng.random())) for period in (13, 19, 29, 47)
    )
    rate = BASELINE_BPM + slow + rng.normal(0, 0.8, len(time))
    for dip in decelerations(duration_s):
        corners = [dip.onset_s, dip.nadir_s, dip.end_s - dip.return_s / 2, dip.end_s]
        rate += np.interp(time, corners, [0.0, -dip.depth_bpm, -dip.depth_bpm * 0.8, 0.0])
    for rise in accelerations(duration_s):
        rate += np.interp(time, [rise.onset_s, rise.peak_s, rise.end_s], [0, rise.height_bpm, 0])
    return np.round(rate * 4) / 4


def activity(duration_s: float, *, seed: int = 2) -> FloatArray:
    """A tone of 12 with a bell for each contraction."""
    rng = np.random.default_rng(seed)
    time = np.arange(int(duration_s * RATE_HZ)) / RATE_HZ
    tone = 12 + 2 * np.sin(2 * np.pi * time / 700) + rng.normal(0, 0.6, len(time))
    for one in contractions(duration_s):
        tone += one.amplitude * np.exp(-(((time - one.peak_s) / 18) ** 2))
    return tone


def lose(samples: FloatArray, share: float, *, seed: int = 3) -> FloatArray:
    """The samples with about this share missing, in stretches of up to 40 s."""
    rng = np.random.default_rng(seed)
    lost = samples.copy()
    while np.isnan(lost).mean() < share:
        begin = int(rng.integers(0, len(lost)))
        lost[begin : begin + int(rng.exponential(12) * RATE_HZ) + 2] = np.nan
    return lost


def recording(
    duration_s: float = 1800.0,
    *,
    loss: float = 0.03,
    with_activity: bool = True,
    sensor: SensorKind = SensorKind.TOCO,
    twins: bool = False,
    maternal: bool = False,
    name: str = "Practice labour",
) -> Recording:
    """An invented recording with known events."""
    channels = [
        Channel(
            ChannelKind.FETAL_HEART_RATE,
            lose(heart_rate(duration_s), loss),
            RATE_HZ,
            SensorKind.ULTRASOUND,
            1,
            "bpm",
        )
    ]
    if twins:
        other = lose(heart_rate(duration_s, seed=9)[::-1] - 12, loss, seed=8)
        channels.append(
            Channel(
                ChannelKind.FETAL_HEART_RATE, other, RATE_HZ, SensorKind.SCALP_ELECTRODE, 2, "bpm"
            )
        )
    if with_activity:
        unit = "mmHg" if sensor is SensorKind.PRESSURE_CATHETER else ""
        samples = lose(activity(duration_s), loss / 2, seed=5)
        channels.append(Channel(ChannelKind.UTERINE_ACTIVITY, samples, RATE_HZ, sensor, 0, unit))
    if maternal:
        time = np.arange(int(duration_s)) / 1.0
        channels.append(
            Channel(
                ChannelKind.MATERNAL_HEART_RATE,
                82 + 6 * np.sin(time / 60),
                1.0,
                SensorKind.MATERNAL_PULSE,
                0,
                "bpm",
            )
        )
    context = Context(weeks=39.0, stage=Stage.FIRST, oxytocin=True)
    return Recording(name, tuple(channels), START, context)


def findings(made: Recording, fetus: int = 1) -> Findings:
    """What there is to find in `recording`."""
    duration_s = made.duration_s
    channel = made.heart_rate(fetus)
    minutes = math.ceil(duration_s / 60)
    per_minute = np.array_split(np.isfinite(channel.samples), minutes)
    valid = np.array([float(part.mean()) for part in per_minute])
    present = made.first(ChannelKind.UTERINE_ACTIVITY) is not None
    tocos = made.first(ChannelKind.UTERINE_ACTIVITY)
    base = np.full(int(duration_s), BASELINE_BPM)
    base[300:330] = np.nan
    uterine = UterineFindings(
        present=present,
        sensor=tocos.sensor if tocos else SensorKind.UNKNOWN,
        contractions=contractions(duration_s) if present else (),
        tone=Curve(0.0, 1.0, np.full(int(duration_s), 12.0)),
        measured=Curve(0.0, 60.0, np.ones(minutes) if present else np.zeros(minutes)),
        quality=(),
    )
    fetal = FetalFindings(
        fetus=fetus,
        sensor=channel.sensor,
        baseline_curve=Curve(0.0, 1.0, base),
        rate_curve=Curve(0.0, 1.0, base),
        baseline=(),
        baseline_changes=(BaselineChange(duration_s * 0.7, 140.0, 150.0),),
        bandwidth=Curve(0.0, 60.0, np.full(minutes, 11.0)),
        fine_bandwidth=Curve(0.0, 60.0, np.full(minutes, 11.0)),
        valid=Curve(0.0, 60.0, valid),
        variability=(),
        accelerations=accelerations(duration_s),
        decelerations=tuple(
            one if present else replace(one, contraction=NO_CONTRACTION)
            for one in decelerations(duration_s)
        ),
        sinusoidal=(SinusoidalEpisode(1230.0, 1300.0, 4.0, 9.0, True, 0.6),),
        artefacts=(
            Artefact(ArtefactKind.HALVING, 480, 510, 0.6, "half of what stands beside it"),
            *drop_outs(channel),
        ),
        quality=(),
    )
    return Findings(duration_s, 39.0, uterine, fetal)


def drop_outs(channel: Channel) -> tuple[Artefact, ...]:
    """Every stretch of missing samples of 4 s or more."""
    missing = np.concatenate([[False], np.isnan(channel.samples), [False]])
    edges = np.flatnonzero(np.diff(missing.astype(int))).reshape(-1, 2) / channel.rate_hz
    return tuple(
        Artefact(ArtefactKind.DROP_OUT, begin, end, 1.0, "no samples")
        for begin, end in edges.tolist()
        if end - begin >= 4
    )


def classes(window: Window) -> tuple[Classification, ...]:
    """A class by each of three standards, with reasons of all levels."""

    def reason(rule: str, level: Level, verdict: str, text: str) -> Reason:
        return Reason(rule, "feature", level, verdict, text, 1.0, 2.0, "", (window,), CITATION)

    deciding = reason(
        "late", Level.CAUTION, "not Category I", "Late decelerations with 3 of 10 contractions."
    )
    alarming = reason(
        "slow",
        Level.ALARMING,
        "pathological",
        "Repetitive late decelerations for 34 minutes, against a limit of 30 minutes, with "
        "reduced variability between them for 22 of these minutes.",
    )
    fine = reason("base", Level.REASSURING, "white", "Baseline 140 bpm, within 110 to 160.")
    return (
        Classification(
            Standard.NICHD,
            "NICHD 2008",
            window,
            "Category II",
            1,
            (deciding, fine),
            ("late",),
            (),
            (),
        ),
        Classification(
            Standard.FIGO,
            "FIGO 2015",
            window,
            "pathological",
            2,
            (alarming, fine),
            ("slow",),
            (),
            (),
        ),
        Classification(
            Standard.NICE,
            "NICE NG229",
            window,
            "no class",
            -1,
            (),
            (),
            ("Contractions cannot be counted: less than half of the activity is there.",),
            (),
        ),
    )


def review(window: Window) -> Review:
    """Numbers for the columns and the words."""
    columns = tuple(
        TenMinutes(
            Window(begin, min(begin + 600, window.end_s)),
            0.93,
            3,
            140.0,
            11.0,
            VariabilityClass.MODERATE,
            1,
            2,
            ("baseline up 10 bpm",) if i == 1 else (),
        )
        for i, begin in enumerate(np.arange(window.start_s, window.end_s, 600).tolist())
    )
    return Review(
        window=window,
        valid_share=0.93,
        longest_gap_s=40.0,
        suspected=(ArtefactKind.DROP_OUT,),
        contractions=ContractionSummary(
            True, 10, 3.3, 1800.0, 60.0, 180.0, 120.0, math.nan, math.nan, False, ""
        ),
        baseline_bpm=140.0,
        baseline_note="",
        bandwidth_bpm=11.0,
        variability=VariabilityClass.MODERATE,
        stv_ms=6.1,
        ltv_bpm=9.0,
        accelerations=3,
        decelerations=(
            DecelerationSummary("late", 3, 0.3, False, False, 30.0, 35.0, 60.0, 70.0, ()),
        ),
        sinusoidal=False,
        columns=columns,
        not_assessed=(),
    )


def reading(made: Recording, *, window: Window | None = None) -> Reading:
    """The reading of `recording`, by default of all of it."""
    window = window or Window(0.0, made.duration_s)
    fetuses = tuple(
        FetalReading(fetus, findings(made, fetus), review(window), classes(window), (), None)
        for fetus in made.fetuses
    )
    return Reading(
        recording=made.name,
        ebbline_version=__version__,
        duration_s=made.duration_s,
        start=made.start.isoformat() if made.start else "",
        context=made.context,
        window=window,
        fetuses=fetuses,
        notes=(),
        caution=CAUTION,
    )


def without_clock(made: Recording) -> Recording:
    """The same recording with its start unknown."""
    return replace(made, start=None)
