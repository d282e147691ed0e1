"""The recording and the truth of a labour, from what was kept of it."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ebbline.definitions import variability_class
from ebbline.recording.model import Channel, ChannelKind, Context, Provenance, Recording
from ebbline.synth import sensors, truth_events
from ebbline.synth.ground_truth import (
    Curve,
    Mechanism,
    SpanKind,
    TrueContraction,
    TrueSinusoidal,
    TrueSpan,
    Truth,
)
from ebbline.synth.scenario import Scenario
from ebbline.synth.shapes import STEP_HZ
from ebbline.synth.state import LabourState
from ebbline.terms import SensorKind, Stage

FloatArray = NDArray[np.float64]

LEAST_MMHG, LEAST_S = 10.0, 30.0
"""A contraction that counts (common practice)."""
LEAST_CALM_S = 18.0
PIECE_S, PIECE_HOP_S, OUTER_SHARE = 30, 10, 0.02
"""Variability is judged on pieces of 30 s: two cycles a minute or more (NICHD 1997); so much at
each end is left out (ours)."""


@dataclass(frozen=True, slots=True, eq=False)
class Labour:
    """A virtual labour: what the sensors recorded, and the truth."""

    recording: Recording
    truth: Truth
    scenario: Scenario
    seed: int


class Kept:
    """Arrays kept stretch by stretch under a name, joined when asked for."""

    def __init__(self) -> None:
        self._pieces: dict[str, list[FloatArray]] = {}

    def add(self, **parts: FloatArray) -> None:
        """Keep the next piece of each."""
        for name, values in parts.items():
            self._pieces.setdefault(name, []).append(values)

    def all(self, name: str) -> FloatArray:
        """Everything of a name so far."""
        pieces = self._pieces.get(name, [])
        if len(pieces) > 1:
            self._pieces[name] = [np.concatenate(pieces)]
        return self._pieces[name][0] if pieces else np.zeros(0)


def recording_of(state: LabourState, kept: Kept, seed: int) -> Recording:
    """What the sensors recorded; a channel is named by the sensor in use now."""
    s = state.scenario
    every = round(STEP_HZ / s.rate_hz)
    unit = "mmHg" if s.activity_sensor is SensorKind.PRESSURE_CATHETER else ""
    channels = [
        Channel(
            ChannelKind.FETAL_HEART_RATE,
            kept.all("heart")[::every],
            s.rate_hz,
            s.heart_sensor,
            1,
            "bpm",
            "FHR",
        ),
        Channel(
            ChannelKind.UTERINE_ACTIVITY,
            kept.all("activity")[::every],
            s.rate_hz,
            s.activity_sensor,
            0,
            unit,
            "UA",
        ),
    ]
    if s.maternal_pulse:
        channels.append(
            Channel(
                ChannelKind.MATERNAL_HEART_RATE,
                kept.all("maternal")[::every],
                s.rate_hz,
                SensorKind.MATERNAL_PULSE,
                0,
                "bpm",
                "MHR",
            )
        )
    second = state.second_stage_s
    begun = second < state.now
    return Recording(
        name=f"invented labour {seed}",
        channels=tuple(channels),
        context=Context(
            weeks=s.weeks,
            stage=Stage.SECOND if begun else s.stage,
            second_stage_start_s=second if begun and second > 0 else None,
            oxytocin=state.care.oxytocin_to > 0,
            epidural=s.epidural,
            fever=s.fever or None,
        ),
        provenance=Provenance("invented", "invented", (f"invented with seed {seed}",)),
    )


def truth_of(state: LabourState, kept: Kept) -> Truth:
    """Everything true up to now; an event that is still on ends now."""
    n, tracks = state.now, state.tracks
    baseline = kept.all("baseline")
    contractions = _contractions(state)
    parts = {mechanism: kept.all(mechanism.name) for mechanism in Mechanism if kept_as(mechanism)}
    activity = tracks.activity[: n * STEP_HZ]
    around = tracks.rises[: n * STEP_HZ]
    fall = np.sum(list(parts.values()), axis=0)
    above = truth_events.drawn(kept.all("rate")) - _at_samples(baseline)
    # Waves are described as waves, not as a row of events; what shoulders a fall is none either.
    above = np.where(_waving(state, n) | (around > 1.0), 0.0, above)
    # What coincides is read as what remains of it: a rise inside a deceleration that does not
    # come above the baseline is no acceleration.
    rises = truth_events.accelerations(
        np.clip(activity - fall, 0.0, None),
        baseline,
        contractions,
        state.scenario.weeks,
        np.clip(above, 0.0, None),
    )
    falls = truth_events.decelerations(
        np.clip(fall - activity - around, 0.0, None),
        parts,
        baseline,
        contractions,
        state.cord_events,
        kept.all("lost"),
        np.clip(-above, 0.0, None),
    )
    on = np.abs(fall + activity + around) >= 1.0
    spans = [(a.onset_s, a.end_s) for a in rises if a.counts]
    spans += [(d.onset_s, d.end_s) for d in falls if d.counts]
    for onset_s, end_s in spans:
        on[int(onset_s * STEP_HZ) : int(end_s * STEP_HZ)] = True
    bandwidth = _bandwidth(kept.all("fluctuation"), on)
    return Truth(
        duration_s=float(n),
        weeks=state.scenario.weeks,
        baseline=Curve(0.0, 1.0, baseline),
        baseline_changes=tuple(c for c in state.changes if c.at_s < n),
        bandwidth=Curve(0.0, 60.0, bandwidth),
        variability=tuple(variability_class(float(b)) for b in bandwidth),
        accelerations=rises,
        decelerations=falls,
        rises=truth_events.rises(around),
        contractions=contractions,
        sinusoidal=tuple(
            TrueSinusoidal(u.start_s, min(u.end_s, float(n)), u.per_min, u.amplitude_bpm, u.pseudo)
            for u in state.undulations
            if u.start_s < n
        ),
        artefacts=_spans(kept.all("mode")),
        oxygen=Curve(0.0, 1.0, tracks.oxygen[:n].copy()),
        reserve=Curve(0.0, 1.0, tracks.reserve[:n].copy()),
        heart_rate=Curve(0.0, 1 / STEP_HZ, kept.all("rate")),
        pressure=Curve(0.0, 1 / STEP_HZ, kept.all("pressure")),
        sensor_distance=Curve(0.0, 1.0, kept.all("distance")),
    )


def kept_as(mechanism: Mechanism) -> bool:
    """Whether falls of this mechanism are kept: fetal activity only raises the rate, and the
    fluctuation has a track of its own."""
    return mechanism not in (Mechanism.MOVEMENT, Mechanism.FLUCTUATION)


def _at_samples(baseline: FloatArray) -> FloatArray:
    """The baseline at 4 Hz, joined as `body` joins it."""
    if not len(baseline):
        return np.zeros(0)
    at = np.arange(len(baseline) * STEP_HZ) / STEP_HZ
    joined = np.interp(at, np.arange(len(baseline) + 1), np.append(baseline[:1], baseline))
    return np.asarray(joined)


def _waving(state: LabourState, seconds: int) -> NDArray[np.bool_]:
    """Samples in (pseudo-)sinusoidal stretches."""
    waving = np.zeros(seconds * STEP_HZ, np.bool_)
    for u in state.undulations:
        waving[int(u.start_s * STEP_HZ) : int(u.end_s * STEP_HZ)] = True
    return waving


def _contractions(state: LabourState) -> tuple[TrueContraction, ...]:
    made = []
    last = state.now * STEP_HZ
    for bell in state.bells:
        part = state.tracks.bell[bell.start : min(bell.stop, last)]
        if not len(part):
            continue
        peak = int(np.argmax(part))
        size = float(part[peak])
        above = np.flatnonzero(part > max(1.0, truth_events.DEPARTURE_SHARE * size))
        if not len(above):
            continue
        onset, end = bell.start + int(above[0]), bell.start + int(above[-1]) + 1
        made.append(
            TrueContraction(
                onset_s=onset / STEP_HZ,
                peak_s=(bell.start + peak) / STEP_HZ,
                end_s=end / STEP_HZ,
                amplitude_mmhg=size,
                resting_tone_mmhg=bell.resting_tone_mmhg,
                pushing=bell.pushing,
                coupled=bell.coupled,
                counts=size >= LEAST_MMHG and end - onset >= LEAST_S * STEP_HZ,
            )
        )
    return tuple(made)


def _bandwidth(fluctuation: FloatArray, on: NDArray[np.bool_]) -> FloatArray:
    """Bandwidth in each minute: the middle one of the peak-to-troughs of its pieces of 30 s, each
    about its own straight line, of what no event is on; NaN without a piece of which LEAST_CALM_S
    are calm. Slower than two cycles a minute is drift, not variability (NICHD 1997); no single
    sample makes the band's edge, as no eye and no pen would take it for that."""
    per_minute, length = 60 * STEP_HZ, PIECE_S * STEP_HZ
    out = np.full(math.ceil(len(fluctuation) / per_minute), np.nan)
    if not len(out):
        # A labour that is about to begin.
        return out
    calm = ~on
    drawn = np.convolve(np.pad(fluctuation, 1, mode="edge"), np.full(3, 1 / 3), "valid")
    time = np.arange(length, dtype=float)
    for minute in range(len(out)):
        widths = []
        for first in range(0, per_minute - length + 1, PIECE_HOP_S * STEP_HZ):
            here = slice(minute * per_minute + first, minute * per_minute + first + length)
            rate, kept = drawn[here], calm[here]
            if int(kept.sum()) >= LEAST_CALM_S * STEP_HZ:
                t, rate = time[: len(rate)][kept], rate[kept]
                t = t - t.mean()
                off = rate - rate.mean() - t * float(t @ rate) / float(t @ t)
                widths.append(_inner_range(off))
        if widths:
            out[minute] = float(np.median(widths))
    return out


def _inner_range(values: FloatArray) -> float:
    """From the OUTER_SHARE quantile to its counterpart above, as np.quantile has them, which takes
    a hundred times as long for so few values."""
    ordered = np.sort(values)
    at = OUTER_SHARE * (len(ordered) - 1)
    first, part = int(at), at - int(at)
    low = ordered[first] + part * (ordered[first + 1] - ordered[first])
    high = ordered[-1 - first] - part * (ordered[-1 - first] - ordered[-2 - first])
    return float(high - low)


_SPAN_OF_MODE = {
    sensors.LOST: SpanKind.LOSS,
    sensors.SPIKE: SpanKind.SPIKE,
    sensors.DOUBLED: SpanKind.DOUBLING,
    sensors.HALVED: SpanKind.HALVING,
    sensors.MATERNAL: SpanKind.MATERNAL,
}


def _spans(mode: FloatArray) -> tuple[TrueSpan, ...]:
    if not len(mode):
        return ()
    edges = np.flatnonzero(np.diff(mode)) + 1
    starts = np.concatenate(([0], edges)).tolist()
    stops = np.concatenate((edges, [len(mode)])).tolist()
    return tuple(
        TrueSpan(_SPAN_OF_MODE[int(mode[a])], a / STEP_HZ, b / STEP_HZ)
        for a, b in zip(starts, stops, strict=True)
        if int(mode[a]) in _SPAN_OF_MODE
    )
