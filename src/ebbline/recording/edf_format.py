"""Recordings in EDF+: which signal is which, how gaps are coded, where the rest is kept.

Missing samples are written as the digital minimum, and the prefiltering field says so; for heart
rates that is 0 bpm, which every reader takes for missing signal. See docs/formats.md.
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from dataclasses import dataclass
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ebbline.errors import RecordingError
from ebbline.recording.channels import Column, short_names, to_channels
from ebbline.recording.edf_file import (
    EdfFile,
    EdfSignal,
    decimal_field,
    edf_bytes,
    read_edf,
)
from ebbline.recording.header_comments import apply_remarks, to_lines, understand_lines
from ebbline.recording.limits import check_length
from ebbline.recording.model import (
    Annotation,
    Channel,
    ChannelKind,
    Encoded,
    FloatArray,
    Provenance,
    Recording,
)
from ebbline.recording.quantisation import finite_range, rounding_loss
from ebbline.recording.rates import as_fraction
from ebbline.terms import SensorKind

NAME = "EDF+"
MISSING = -32768
GAP_REMARK = "missing samples: digital minimum"
OUR_SIGN = "Ebbline | "
"""Begins the annotations that carry our remarks, to tell them from a reader's own."""
ANNOTATED_GAP_S = 10.0
RECORD_ABOUT_S = 10
MOST_RECORD_S = 60
YEARS = range(1985, 2085)
STEPS = tuple(Fraction(10) ** power for power in range(-4, 7))
"""Step sizes for uterine activity: the finest that spans the samples is taken."""
HEART_RATE_STEP = Fraction(1, 100)


def read(path: Path) -> Recording:
    """Read an EDF or EDF+ file."""
    file = read_edf(path)
    columns, notes = [], list(file.notes)
    for number, (signal, digital) in enumerate(zip(file.signals, file.digital, strict=True), 1):
        place = f"{path}, signal {number} ({signal.label})"
        samples = signal.physical(digital)
        if re.search(r"missing.*digital min", signal.prefilter, re.I):
            samples[digital == signal.digital_min] = np.nan
        rate = float(signal.per_record / file.record_s)
        if file.onsets_s is not None:
            samples = _on_clock(samples, signal.per_record, file.onsets_s, rate, place)
        columns.append(Column(signal.label, signal.unit, samples, rate, place, signal.transducer))
    if file.onsets_s is not None:
        notes.append("the file is discontinuous: the time between its pieces is missing signal.")
    remarks = understand_lines(
        a.text.removeprefix(OUR_SIGN) for a in file.annotations if _is_ours(a)
    )
    channels, more = to_channels(columns, str(path), described=bool(remarks.channels))
    recording = Recording(
        name=path.stem,
        channels=channels,
        start=file.start,
        provenance=Provenance(path.name, NAME, (*notes, *more)),
        annotations=tuple(a for a in file.annotations if not _is_ours(a)),
    )
    base = max((c.rate_hz for c in columns), default=1.0)
    return apply_remarks(recording, remarks, base)


def _is_ours(annotation: Annotation) -> bool:
    return annotation.text.startswith(OUR_SIGN)


def _on_clock(
    samples: FloatArray, per_record: int, onsets_s: FloatArray, rate_hz: float, place: str
) -> FloatArray:
    """The samples of a discontinuous file where its records say they belong."""
    first = np.rint(onsets_s * rate_hz).astype(np.int64)
    if (np.diff(first) < per_record).any():
        record = int(np.flatnonzero(np.diff(first) < per_record)[0]) + 2
        raise RecordingError(
            f"data record {record} begins before the one before it has ended.",
            where=place,
            remedy="Export it as a continuous file (EDF+C).",
        )
    length = int(first[-1]) + per_record
    check_length(length, rate_hz, place)
    placed = np.full(length, np.nan)
    placed[(first[:, None] + np.arange(per_record)).reshape(-1)] = samples
    return placed


def encode(recording: Recording, path: Path) -> Encoded:
    """EDF+C, heart rates in steps of 0.01 bpm."""
    start = recording.start
    losses: list[str] = []
    if start is not None and start.year not in YEARS:
        losses.append(f"the start in {start.year} lies outside what EDF+ can hold: left out.")
        start = None
    rates = _rates(recording, path)
    record_s = _record_duration(recording, rates, path)
    names = short_names(recording.channels)
    records = max(
        math.ceil(len(c.samples) / (r * record_s))
        for c, r in zip(recording.channels, rates, strict=True)
    )
    signals: list[EdfSignal] = []
    digital: list[NDArray[np.int16]] = []
    annotations = [Annotation(0.0, 0.0, OUR_SIGN + line) for line in to_lines(recording)]
    for channel, rate, name in zip(recording.channels, rates, names, strict=True):
        scale = _scale(channel, path)
        signals.append(_signal(channel, name, scale, int(rate * record_s)))
        codes = scale.codes(channel.samples)
        padded = np.full(records * int(rate * record_s), MISSING, dtype=np.int16)
        padded[: len(codes)] = codes
        digital.append(padded)
        stored = signals[-1].physical(codes)
        losses += rounding_loss(channel, name, stored)
        annotations += _gaps(channel, name)
    annotations += recording.annotations
    content = EdfFile(
        start.replace(tzinfo=None) if start else None,
        record_s,
        tuple(signals),
        tuple(digital),
        tuple(annotations),
        None,
        (),
    )
    return Encoded({path: edf_bytes(content, "Ebbline")}, tuple(losses))


def _rates(recording: Recording, path: Path) -> list[Fraction]:
    rates = []
    for channel in recording.channels:
        rate = as_fraction(channel.rate_hz)
        if rate is None:
            raise RecordingError(
                f"EDF+ cannot hold a sampling rate of {channel.rate_hz!r} Hz.",
                where=str(path),
                remedy="Write CSV, Parquet or JSON instead.",
            )
        rates.append(rate)
    return rates


def _record_duration(recording: Recording, rates: list[Fraction], path: Path) -> Fraction:
    """Length of a data record: whole samples of every channel, at most ten seconds if possible.

    Where some length fills the last record exactly, the longest such length is taken.
    """
    least = Fraction(
        math.lcm(*(r.denominator for r in rates)), math.gcd(*(r.numerator for r in rates))
    )
    possible = [
        least * times
        for times in range(1, math.floor(MOST_RECORD_S / least) + 1)
        if decimal_field(least * times) is not None
    ]
    if not possible:
        raise RecordingError(
            "EDF+ cannot hold channels with the rates "
            + ", ".join(f"{c.rate_hz:g}" for c in recording.channels)
            + " Hz in one file.",
            where=str(path),
            remedy="Write CSV, Parquet or JSON instead.",
        )
    short = [length for length in possible if length <= RECORD_ABOUT_S] or possible[:1]
    exact = [
        length
        for length in short
        if all(
            len(c.samples) % (r * length) == 0
            for c, r in zip(recording.channels, rates, strict=True)
        )
    ]
    return max(exact or short)


@dataclass(frozen=True, slots=True)
class _Scale:
    """Digital code = (value - lowest) / step - 32768; the code -32768 is a missing sample."""

    lowest: Fraction
    step: Fraction

    @property
    def highest(self) -> Fraction:
        return self.lowest + 65535 * self.step

    def codes(self, samples: FloatArray) -> NDArray[np.int16]:
        missing = ~np.isfinite(samples)
        steps = np.where(missing, float(self.lowest), samples) - float(self.lowest)
        codes = np.clip(np.rint(steps / float(self.step)) + MISSING, MISSING + 1, 32767)
        return np.where(missing, MISSING, codes).astype(np.int16)


def _scale(channel: Channel, path: Path) -> _Scale:
    if channel.kind is not ChannelKind.UTERINE_ACTIVITY:
        return _Scale(Fraction(0), HEART_RATE_STEP)
    low, high = finite_range(channel)
    for step in STEPS:
        unit = 100 * step
        scale = _Scale((math.floor(Fraction(low) / unit) - 1) * unit, step)
        fits = decimal_field(scale.lowest) is not None and decimal_field(scale.highest) is not None
        if fits and high <= scale.highest:
            return scale
    raise RecordingError(
        f"EDF+ cannot hold uterine activity from {low:g} to {high:g}.",
        where=str(path),
        remedy="Check the scale of the channel, or write CSV, Parquet or JSON instead.",
    )


def _signal(channel: Channel, name: str, scale: _Scale, per_record: int) -> EdfSignal:
    return EdfSignal(
        label=name,
        transducer="" if channel.sensor is SensorKind.UNKNOWN else channel.sensor.value,
        unit="bpm" if channel.kind is not ChannelKind.UTERINE_ACTIVITY else channel.unit[:8],
        physical_min=scale.lowest,
        physical_max=scale.highest,
        digital_min=MISSING,
        digital_max=32767,
        prefilter=GAP_REMARK,
        per_record=per_record,
    )


def _gaps(channel: Channel, name: str) -> Iterator[Annotation]:
    """An annotation for each long gap, for readers that do not know our code for missing."""
    missing = np.concatenate(([False], np.isnan(channel.samples), [False]))
    edges = np.flatnonzero(np.diff(missing.astype(np.int8)))
    for start, end in edges.reshape(-1, 2) / channel.rate_hz:
        if end - start >= ANNOTATED_GAP_S:
            yield Annotation(float(start), float(end - start), f"{OUR_SIGN}Signal lost: {name}")
