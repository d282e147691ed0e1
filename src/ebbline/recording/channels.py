"""From named columns of numbers to channels: kinds, units, missing and impossible values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ebbline.errors import RecordingError
from ebbline.recording.limits import check_length, check_total
from ebbline.recording.model import Channel, ChannelKind, FloatArray, Recording
from ebbline.recording.names import (
    HEART_RATE_UNITS,
    PRESSURE_UNITS,
    activity_sensor,
    number_fetuses,
    sensor_in,
    split_unit,
    understand,
)
from ebbline.recording.plausibility import believable, placed, possible_start
from ebbline.terms import SensorKind

MOST_POSSIBLE_BPM = 300.0
"""Faster than any heart rate a recorder gives (common practice, no source)."""
MOST_FETUSES = 9
MOST_POSSIBLE_ACTIVITY = 1e15
"""Sums of larger numbers lose their smaller parts; no unit of activity reaches it (our choice)."""
SHORT_NAMES = {
    ChannelKind.FETAL_HEART_RATE: "FHR",
    ChannelKind.UTERINE_ACTIVITY: "UC",
    ChannelKind.MATERNAL_HEART_RATE: "MHR",
}


@dataclass(frozen=True, slots=True, eq=False)
class Column:
    """Samples as a file gives them.

    place: where in the file it says so, for errors; sensor: what it says of the sensor, in words.
    """

    label: str
    unit: str
    samples: FloatArray
    rate_hz: float
    place: str
    sensor: str = ""


def to_channels(
    columns: Sequence[Column], where: str, *, described: bool = False
) -> tuple[tuple[Channel, ...], tuple[str, ...]]:
    """Channels of the columns whose names we know, and notes on what was left or converted.

    described: the file tells of its sensors elsewhere, so that none is assumed here.
    Raises RecordingError when a unit cannot belong to the channel or two are the same fetus.
    """
    notes: list[str] = []
    plain = [_with_unit_apart(column) for column in columns]
    names = [understand(column.label) for column in plain]
    fetuses = number_fetuses(names, where)
    channels = []
    for column, name, fetus in zip(plain, names, fetuses, strict=True):
        if name is None:
            notes.append(
                f'channel "{column.label}"{f" ({column.unit})" if column.unit else ""} was not '
                "read: its name is not that of a heart rate or of uterine activity."
            )
            continue
        said = name.sensor if name.sensor is not SensorKind.UNKNOWN else sensor_in(column.sensor)
        if name.kind is ChannelKind.UTERINE_ACTIVITY:
            channel, note = _activity(column, said)
            notes += note
            if channel.sensor is not said and not described:
                notes.append(
                    f'"{column.label}" has the unit {column.unit}: taken as measured with a '
                    f"{channel.sensor}."
                )
        else:
            _check_rate_unit(column.label, column.unit, column.place)
            channel = Channel(
                name.kind, column.samples, column.rate_hz, said, fetus, "bpm", column.label
            )
        channels.append(channel)
    return tuple(channels), tuple(notes)


def _with_unit_apart(column: Column) -> Column:
    label, unit = split_unit(column.label)
    return replace(column, label=label, unit=column.unit or unit)


def _check_rate_unit(label: str, unit: str, place: str) -> None:
    if unit.casefold().strip() not in HEART_RATE_UNITS:
        raise RecordingError(
            f'the heart rate "{label}" is in "{unit}", not in beats per minute.',
            where=place,
            remedy="Convert it to bpm, or correct the unit.",
        )


def _check_activity_unit(label: str, unit: str, place: str) -> None:
    if unit.casefold().strip() in HEART_RATE_UNITS - {"", "nd"}:
        raise RecordingError(
            f'the uterine activity "{label}" is in "{unit}", a unit of heart rate.',
            where=place,
            remedy="Correct the unit or the name of the channel.",
        )


def _activity(column: Column, said: SensorKind) -> tuple[Channel, tuple[str, ...]]:
    _check_activity_unit(column.label, column.unit, column.place)
    plain = column.unit.casefold().strip()
    unit = "mmHg" if plain in PRESSURE_UNITS else column.unit
    samples = column.samples
    notes: tuple[str, ...] = ()
    if PRESSURE_UNITS.get(plain, 1.0) != 1.0:
        samples = samples * PRESSURE_UNITS[plain]
        notes = (f'"{column.label}" was converted from {column.unit} to mmHg.',)
    kind, sensor = ChannelKind.UTERINE_ACTIVITY, activity_sensor(said, plain)
    return Channel(kind, samples, column.rate_hz, sensor, 0, unit, column.label), notes


def tidy(recording: Recording, where: str) -> Recording:
    """The recording as it may be read: checked as a whole, missing and impossible samples NaN.

    A heart rate of 0 is a missing sample; one that is negative, above 300 bpm or infinite becomes
    missing too, counted in the notes. Nothing else is altered. Raises RecordingError when there
    is no usable fetal heart rate or a channel breaks the limits.
    """
    _check_whole(recording, where)
    notes: list[str] = []
    channels = []
    for channel in recording.channels:
        samples, note = without_impossible(
            channel.samples, channel.kind, channel.label or channel.kind
        )
        notes += note
        channels.append(
            channel if samples is channel.samples else replace(channel, samples=samples)
        )
    fetal = [c for c in channels if c.kind is ChannelKind.FETAL_HEART_RATE]
    blank = [c for c in fetal if np.isnan(c.samples).all()]
    if len(blank) == len(fetal):
        raise RecordingError(
            "no sample of the fetal heart rate can be used: all are missing or impossible.",
            where=where,
            remedy="Check the unit and the scale of the channel, or record again.",
        )
    notes += [f"the heart rate of fetus {c.fetus} has no usable sample." for c in blank]
    context, doubts = believable(recording.context, recording.duration_s)
    annotations, lost = placed(recording.annotations)
    start, wrong_clock = possible_start(recording.start)
    provenance = replace(
        recording.provenance,
        notes=(*recording.provenance.notes, *notes, *doubts, *lost, *wrong_clock),
    )
    return replace(
        recording,
        channels=tuple(channels),
        start=start,
        context=context,
        annotations=annotations,
        provenance=provenance,
    )


def without_impossible(
    samples: FloatArray, kind: ChannelKind, name: str
) -> tuple[FloatArray, tuple[str, ...]]:
    """The samples with NaN for what no sensor can have measured, and a note with the count.

    The same array comes back when there is nothing to take out.
    """
    if kind is ChannelKind.UTERINE_ACTIVITY:
        wrong = np.abs(samples) > MOST_POSSIBLE_ACTIVITY
        lost, reason = wrong, f"beyond {MOST_POSSIBLE_ACTIVITY:g} or infinite"
    else:
        wrong = (samples < 0) | (samples > MOST_POSSIBLE_BPM)
        lost = wrong | (samples == 0)
        reason = f"negative, above {MOST_POSSIBLE_BPM:g} bpm or infinite"
    if not lost.any():
        return samples, ()
    count = int(np.count_nonzero(wrong))
    counted = (f"{name}: {count} impossible samples ({reason}) count as missing.",)
    return np.where(lost, np.nan, samples), counted if count else ()


def _check_whole(recording: Recording, where: str) -> None:
    if not recording.fetuses:
        raise RecordingError(
            "there is no fetal heart-rate channel.",
            where=where,
            remedy='Name the channel "FHR" ("FHR1", "FHR2" for twins).',
        )
    for number, channel in enumerate(recording.channels, start=1):
        place = f"{where}, channel {number} ({channel.label or channel.kind})"
        if channel.samples.ndim != 1 or len(channel.samples) == 0:
            raise RecordingError(
                "the channel holds no row of samples.", where=place, remedy="Export it again."
            )
        check_length(len(channel.samples), channel.rate_hz, place)
        _check_unit(channel, place)
    check_total(sum(len(c.samples) for c in recording.channels), where)
    numbers = [c.fetus for c in recording.channels if c.kind is ChannelKind.FETAL_HEART_RATE]
    if len(set(numbers)) < len(numbers) or min(numbers) < 1 or max(numbers) > MOST_FETUSES:
        raise RecordingError(
            "the fetal heart-rate channels are not numbered 1, 2, ... each once.",
            where=where,
            remedy=f"Give each fetus its own number from 1 to {MOST_FETUSES}.",
        )


def _check_unit(channel: Channel, place: str) -> None:
    if channel.kind is not ChannelKind.UTERINE_ACTIVITY:
        _check_rate_unit(channel.label or channel.kind, channel.unit, place)
        return
    _check_activity_unit(channel.label or channel.kind, channel.unit, place)
    if PRESSURE_UNITS.get(channel.unit.casefold().strip(), 1.0) != 1.0:
        raise RecordingError(
            f"the uterine activity is in {channel.unit}, not in mmHg.",
            where=place,
            remedy="Convert the samples to mmHg.",
        )


def short_names(channels: Sequence[Channel]) -> tuple[str, ...]:
    """Names that every reader of ours understands: FHR (FHR1, FHR2 for twins), UC, MHR."""
    names: list[str] = []
    twins = sum(c.kind is ChannelKind.FETAL_HEART_RATE for c in channels) > 1
    seen: dict[ChannelKind, int] = {}
    for channel in channels:
        seen[channel.kind] = seen.get(channel.kind, 0) + 1
        if channel.kind is ChannelKind.FETAL_HEART_RATE:
            number = str(channel.fetus) if twins or channel.fetus != 1 else ""
        else:
            number = str(seen[channel.kind]) if seen[channel.kind] > 1 else ""
        names.append(SHORT_NAMES[channel.kind] + number)
    return tuple(names)
