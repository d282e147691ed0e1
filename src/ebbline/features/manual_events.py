"""Findings that a reader draws or moves, measured by the same kernels as the detected ones.

The reader says where a finding begins and ends; what it then measures follows from the signal and
the baseline of the findings it joins. What the definitions do not call a finding is refused.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ebbline.definitions import LEAST_EXCURSION_BPM, least_acceleration
from ebbline.errors import EbblineError
from ebbline.features import contractions as hills
from ebbline.features import events
from ebbline.features import excursions as ex
from ebbline.features.findings import (
    NO_CONTRACTION,
    Acceleration,
    Contraction,
    Deceleration,
    Findings,
)
from ebbline.recording.model import ChannelKind, Recording
from ebbline.signal import artefacts
from ebbline.signal.resampling import RATE_HZ, to_grid

FloatArray = NDArray[np.float64]

RATE = int(RATE_HZ)
BESIDE_S = 180.0
"""Signal on both sides of a finding that is looked at for shoulders and overshoot."""

PEAK_REACH_S = 5
"""A contraction's height is the mean over this many seconds on both sides of its peak."""


class ByHandError(EbblineError):
    """A finding drawn by hand that the signal or the definitions do not bear out."""


@dataclass(frozen=True, slots=True, eq=False)
class _Stretch:
    """The signal around a finding, positive towards the excursion, from start_s on."""

    start_s: float
    kept: FloatArray
    away: FloatArray
    level: FloatArray
    rough: float


def deceleration_between(
    recording: Recording, findings: Findings, onset_s: float, end_s: float
) -> Deceleration:
    """The deceleration between two times. Raises ByHandError where there is none to measure."""
    row = _excursion(recording, findings, onset_s, end_s, sign=-1.0)
    sure = np.ones(math.ceil(findings.duration_s) + 1)
    found = events.decelerations_from(row[np.newaxis], findings.uterine.contractions, sure, RATE_HZ)
    if not found:
        raise _too_little(row, "fall", LEAST_EXCURSION_BPM)
    return found[0]


def acceleration_between(
    recording: Recording, findings: Findings, onset_s: float, end_s: float
) -> Acceleration:
    """The acceleration between two times. Raises ByHandError where there is none to measure."""
    row = _excursion(recording, findings, onset_s, end_s, sign=1.0)
    rule = least_acceleration(findings.weeks)
    sure = np.ones(math.ceil(findings.duration_s) + 1)
    found = events.accelerations_from(
        row[np.newaxis], findings.uterine.contractions, (), sure, rule, RATE_HZ
    )
    if not found or row[ex.AMPLITUDE] < rule[0]:
        raise _too_little(row, "rise", rule[0])
    return found[0]


def contraction_between(
    recording: Recording, findings: Findings, onset_s: float, end_s: float
) -> Contraction:
    """The contraction between two times. Raises ByHandError without activity signal there."""
    channel = recording.first(ChannelKind.UTERINE_ACTIVITY)
    if channel is None:
        raise ByHandError(
            "there is no activity channel to see a contraction in.", where=recording.name
        )
    count = max(1, round(recording.duration_s * RATE))
    mean, share = hills.seconds(to_grid(channel.samples, channel.rate_hz, count), RATE)
    first, last = int(onset_s), min(math.ceil(end_s), len(mean))
    part = mean[first:last]
    if not np.isfinite(part).any():
        raise ByHandError("there is no activity signal in this stretch.", where=_place(onset_s))
    # The mean over a few seconds, so that one movement does not make the peak.
    padded = np.pad(part, PEAK_REACH_S, constant_values=np.nan)
    about = np.lib.stride_tricks.sliding_window_view(padded, 2 * PEAK_REACH_S + 1)
    seen = np.isfinite(about)
    height = np.where(seen, about, 0.0).sum(axis=1) / np.maximum(seen.sum(axis=1), 1)
    height[~np.isfinite(part)] = np.nan
    peak = first + int(np.nanargmax(height))
    tone = findings.uterine.tone.values
    resting = float(tone[min(peak, len(tone) - 1)]) if len(tone) else math.nan
    if math.isnan(resting):
        resting = float(np.nanmin(part))
    return Contraction(
        onset_s=onset_s,
        peak_s=float(peak),
        end_s=end_s,
        amplitude=float(np.nanmax(height)) - resting,
        resting_tone=resting,
        valid_share=float(np.mean(share[first:last])),
        certainty=1.0,
    )


def with_contractions(findings: Findings, contractions: Sequence[Contraction]) -> Findings:
    """The findings with other contractions: every event is paired anew, and its kind follows."""
    ordered = tuple(sorted(contractions, key=lambda one: one.onset_s))
    pairing = events.Pairing(ordered)
    fetal = replace(
        findings.fetal,
        accelerations=tuple(
            replace(one, contraction=pairing.of(one.onset_s, one.peak_s))
            for one in findings.fetal.accelerations
        ),
        decelerations=tuple(_paired(one, pairing, ordered) for one in findings.fetal.decelerations),
    )
    return replace(findings, fetal=fetal, uterine=replace(findings.uterine, contractions=ordered))


def _paired(
    one: Deceleration, pairing: events.Pairing, contractions: tuple[Contraction, ...]
) -> Deceleration:
    index = pairing.of(one.onset_s, one.nadir_s)
    lag_s = onset_lag_s = math.nan
    if index != NO_CONTRACTION:
        lag_s = one.nadir_s - contractions[index].peak_s
        onset_lag_s = one.onset_s - contractions[index].onset_s
    kind = events.deceleration_kind(
        one.duration_s,
        lag_s,
        abrupt=one.abrupt,
        shallow=one.shallow,
        paired=index != NO_CONTRACTION,
    )
    return replace(one, kind=kind, contraction=index, lag_s=lag_s, onset_lag_s=onset_lag_s)


def _excursion(
    recording: Recording, findings: Findings, onset_s: float, end_s: float, *, sign: float
) -> FloatArray:
    """One row of `excursions`, times in samples of the grid from the recording's start."""
    part = _stretch(recording, findings, onset_s, end_s, sign)
    start = round((onset_s - part.start_s) * RATE)
    end = min(round((end_s - part.start_s) * RATE), part.away.size)
    inside = part.away[start:end]
    if not np.isfinite(inside).any():
        raise ByHandError(
            "there is no signal, or no baseline to measure from, in this stretch.",
            where=_place(onset_s),
            remedy="Say it in a note instead.",
        )
    top = start + int(np.nanargmax(inside))
    edge = min(max(1.2 * part.rough, 2.0), 4.5)
    row = np.zeros(ex.COLUMNS)
    # The ends stay where the reader put them.
    row[[ex.ONSET, ex.END, ex.AMPLITUDE]] = start, end, part.away[top]
    row[ex.BASELINE] = part.level[top]
    ex.describe(row, part.kept, part.away, start, end, top, edge, part.rough, RATE_HZ)
    row[ex.FAILS_TO_RETURN] = 1.0 if part.away[end - 1] > edge else 0.0
    row[[ex.ONSET, ex.EXTREME, ex.END]] += part.start_s * RATE
    return row


def _stretch(
    recording: Recording, findings: Findings, onset_s: float, end_s: float, sign: float
) -> _Stretch:
    channel = recording.heart_rate(findings.fetal.fetus)
    count = max(1, round(recording.duration_s * RATE))
    first = max(0, int(onset_s - BESIDE_S) * RATE)
    last = min(count, math.ceil(end_s + BESIDE_S) * RATE)
    fine = to_grid(channel.samples, channel.rate_hz, count)
    kept = artefacts.usable(fine, RATE_HZ)[0][first:last]
    bridged = artefacts.bridge(kept, int(ex.SHORT_GAP_S * RATE))
    steady = ex.smoothed(bridged, int(ex.SMOOTH_S * RATE) // 2)
    slow = ex.smoothed(bridged, int(7.5 * RATE))
    curve = findings.fetal.baseline_curve
    at_s = np.arange(first, last) / RATE_HZ
    where = np.minimum((at_s - curve.start_s) / curve.step_s, len(curve.values) - 1)
    level = curve.values[where.astype(np.int64)]
    block = max(1, kept.size)
    return _Stretch(
        start_s=first / RATE_HZ,
        kept=kept,
        away=sign * (steady - level),
        level=level,
        rough=float(ex.roughness(steady, slow, block, block)[0]),
    )


def _too_little(row: FloatArray, what: str, least_bpm: float) -> ByHandError:
    length_s = (row[ex.END] - row[ex.ONSET]) / RATE_HZ
    return ByHandError(
        f"the {what} here is {row[ex.AMPLITUDE]:.0f} bpm over {length_s:.0f} s with "
        f"{100 * row[ex.VALID_SHARE]:.0f} % of signal; the definitions ask for {least_bpm:.0f} bpm "
        "and enough signal to see it.",
        where=_place(row[ex.ONSET] / RATE_HZ),
        remedy="Move its ends, or say it in a note instead.",
    )


def _place(time_s: float) -> str:
    minutes, seconds = divmod(round(time_s), 60)
    return f"at {minutes // 60}:{minutes % 60:02d}:{seconds:02d}"
