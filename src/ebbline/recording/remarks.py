"""What is known besides the samples, as plain lines of text: `Gest. weeks  37`, `Stage: first`.

WFDB headers, CSV files and EDF+ annotations carry the same lines. The keys are those of the
headers of the CTU-UHB Intrapartum Cardiotocography Database (Chudacek V, et al. BMC Pregnancy and
Childbirth 2014;14:16) where it has one, and ours otherwise.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime

import numpy as np

from ebbline.recording.model import Annotation, Channel, ChannelKind, Context, Recording
from ebbline.terms import SensorKind, Stage

OUTCOME_RANGES = {
    "pH": (6.3, 7.8),
    "BDecf": (-20.0, 40.0),
    "pCO2": (0.5, 30.0),
    "BE": (-40.0, 20.0),
    "Apgar1": (0.0, 10.0),
    "Apgar5": (0.0, 10.0),
    "Weight(g)": (200.0, 7000.0),
    "Deliv. type": (1.0, 2.0),
}
"""Outcome numbers that are kept, with what is possible (pCO2 in kPa); outside it is unknown."""
NUMBERS = {
    "Gest. weeks": ("weeks", (15.0, 46.0)),
    "Parity": ("parity", (0.0, 25.0)),
    "Second stage from (s)": ("second_stage_start_s", (0.0, math.inf)),
}
FLAGS = {
    "Meconium": "meconium",
    "Pyrexia": "fever",
    "Oxytocin": "oxytocin",
    "Epidural": "epidural",
}
HEART_RATE_SENSORS = {
    "1": SensorKind.ULTRASOUND,
    "2": SensorKind.SCALP_ELECTRODE,
    "12": SensorKind.UNKNOWN,
}
"""`Rec. type` of CTU-UHB (from memory): 1 ultrasound, 2 scalp electrode, 12 both in turn."""
UNKNOWN_VALUES = frozenset({"", "-1", "nan"})
"""How a header says that it does not know."""


@dataclass(frozen=True, slots=True)
class ChannelRemark:
    """What a line says of one channel. samples: how many, without padding."""

    kind: ChannelKind
    fetus: int
    sensor: SensorKind
    rate_hz: float
    samples: int
    unit: str
    label: str


@dataclass(frozen=True, slots=True)
class Remarks:
    """The lines, understood. second_stage_sample: index at the file's own sampling rate."""

    context: Context = field(default_factory=Context)
    second_stage_sample: float | None = None
    heart_rate_sensor: SensorKind | None = None
    outcome: dict[str, float] = field(default_factory=dict)
    start: datetime | None = None
    channels: tuple[ChannelRemark, ...] = ()
    annotations: tuple[Annotation, ...] = ()
    notes: tuple[str, ...] = ()


def understand_lines(lines: Iterable[str]) -> Remarks:
    """Read the lines (without their comment sign). Lines that say nothing to us are passed over.

    A value that cannot be true (gestation of 0 weeks) is unknown, with a note.
    """
    remarks = Remarks()
    for line in lines:
        key, value = _split(line)
        read = next((reader for pattern, reader in _READERS if pattern.fullmatch(key)), None)
        if read is not None:
            remarks = read(remarks, key, value)
    return remarks


def _split(line: str) -> tuple[str, str]:
    """`Key: value`, or `Key   value` with the value one word, as CTU-UHB has it."""
    if ": " in line:
        key, value = line.split(": ", 1)
    else:
        key, _, value = line.strip().rpartition(" ")
    return key.strip(), value.strip()


def _number_within(
    remarks: Remarks, key: str, value: str, bounds: tuple[float, float]
) -> tuple[Remarks, float | None]:
    if value.casefold() in UNKNOWN_VALUES and not bounds[0] <= -1 <= bounds[1]:
        return remarks, None
    try:
        number = float(value)
    except ValueError:
        number = math.nan
    if bounds[0] <= number <= bounds[1] and math.isfinite(number):
        return remarks, number
    if value.casefold() == "nan":
        return remarks, None
    return _note(remarks, "", f'"{key} {value}" cannot be true and counts as unknown.'), None


def _note(remarks: Remarks, key: str, value: str) -> Remarks:
    return replace(remarks, notes=(*remarks.notes, value))


def _context_number(remarks: Remarks, key: str, value: str) -> Remarks:
    name, bounds = NUMBERS[key]
    remarks, number = _number_within(remarks, key, value, bounds)
    if number is None:
        return remarks
    given: dict[str, float] = {name: int(number) if name == "parity" else number}
    return replace(remarks, context=replace(remarks.context, **given))  # type: ignore[arg-type]


def _context_flag(remarks: Remarks, key: str, value: str) -> Remarks:
    remarks, number = _number_within(remarks, key, value, (0.0, 1.0))
    if number is None:
        return remarks
    given = {FLAGS[key]: number >= 0.5}
    return replace(remarks, context=replace(remarks.context, **given))  # type: ignore[arg-type]


def _stage(remarks: Remarks, key: str, value: str) -> Remarks:
    if value not in list(Stage):
        return remarks
    return replace(remarks, context=replace(remarks.context, stage=Stage(value)))


def _second_stage_sample(remarks: Remarks, key: str, value: str) -> Remarks:
    remarks, number = _number_within(remarks, key, value, (0.0, math.inf))
    return replace(remarks, second_stage_sample=number)


def _recording_type(remarks: Remarks, key: str, value: str) -> Remarks:
    sensor = HEART_RATE_SENSORS.get(value)
    if value == "12":
        remarks = _note(
            remarks, "", "the heart rate came from ultrasound and from a scalp electrode in turn."
        )
    return replace(remarks, heart_rate_sensor=sensor)


def _outcome(remarks: Remarks, key: str, value: str) -> Remarks:
    name = key.removeprefix("Outcome ")
    bounds = OUTCOME_RANGES[name] if key == name else (-math.inf, math.inf)
    remarks, number = _number_within(remarks, key, value, bounds)
    if number is None:
        return remarks
    return replace(remarks, outcome={**remarks.outcome, name: number})


def _start(remarks: Remarks, key: str, value: str) -> Remarks:
    try:
        start = datetime.fromisoformat(value)
    except ValueError:
        return _note(remarks, "", f'the start "{value}" is not a date and time: unknown.')
    return replace(remarks, start=start if start.tzinfo else start.replace(tzinfo=UTC))


def _channel(remarks: Remarks, key: str, value: str) -> Remarks:
    given = dict(part.split("=", 1) for part in value.split("; ", 6) if "=" in part)
    try:
        remark = ChannelRemark(
            ChannelKind(given["kind"]),
            int(given["fetus"]),
            SensorKind(given["sensor"]),
            float(given["rate"]),
            int(given["samples"]),
            given["unit"],
            given["label"],
        )
    except (KeyError, ValueError):
        return _note(remarks, "", f'the line "{key}" could not be understood.')
    return replace(remarks, channels=(*remarks.channels, remark))


def _annotation(remarks: Remarks, key: str, value: str) -> Remarks:
    _, time, duration = key.split(" ")
    try:
        annotation = Annotation(float(time), float(duration), value)
    except ValueError:
        return remarks
    if not math.isfinite(annotation.time_s):
        return remarks
    return replace(remarks, annotations=(*remarks.annotations, annotation))


_READERS: tuple[tuple[re.Pattern[str], Callable[[Remarks, str, str], Remarks]], ...] = (
    (re.compile("|".join(map(re.escape, NUMBERS))), _context_number),
    (re.compile("|".join(map(re.escape, FLAGS))), _context_flag),
    (re.compile("|".join(map(re.escape, OUTCOME_RANGES)) + "|Outcome .+"), _outcome),
    (re.compile(r"Stage"), _stage),
    (re.compile(r"Pos\. II\.st\."), _second_stage_sample),
    (re.compile(r"Rec\. type"), _recording_type),
    (re.compile(r"Start"), _start),
    (re.compile(r"Channel \d{1,3}"), _channel),
    (re.compile(r"Annotation \S+ \S+"), _annotation),
    (re.compile(r"Note"), _note),
)


def to_lines(recording: Recording) -> tuple[str, ...]:
    """Lines that `understand_lines` reads back: context, outcome, channels, annotations, notes."""
    context = recording.context
    lines = []
    for key, (name, _) in NUMBERS.items():
        value = getattr(context, name)
        if value is not None:
            lines.append(f"{key}: {value!r}")
    for key, name in FLAGS.items():
        value = getattr(context, name)
        if value is not None:
            lines.append(f"{key}: {int(value)}")
    if context.stage is not Stage.UNKNOWN:
        lines.append(f"Stage: {context.stage}")
    if recording.start is not None:
        lines.append(f"Start: {recording.start.isoformat()}")
    lines += [f"Outcome {name}: {value!r}" for name, value in recording.provenance.outcome.items()]
    lines += [f"Channel {i}: {_channel_line(c)}" for i, c in enumerate(recording.channels, 1)]
    lines += [
        f"Annotation {a.time_s!r} {a.duration_s!r}: {_one_line(a.text)}"
        for a in recording.annotations
    ]
    lines += [f"Note: {_one_line(note)}" for note in recording.provenance.notes]
    return tuple(lines)


def _channel_line(channel: Channel) -> str:
    return (
        f"kind={channel.kind}; fetus={channel.fetus}; sensor={channel.sensor}; "
        f"rate={float(channel.rate_hz)!r}; samples={len(channel.samples)}; "
        f"unit={_one_line(channel.unit).replace(';', ' ')}; label={_one_line(channel.label)}"
    )


def _one_line(text: str) -> str:
    return " ".join(text.split())


def apply_remarks(recording: Recording, remarks: Remarks) -> Recording:
    """The recording with what the lines say of it added; they never change a sample.

    Lines on channels are used only when they fit the channels that the file holds.
    """
    notes = list(remarks.notes)
    channels = recording.channels
    if remarks.channels:
        if _fit(channels, remarks.channels):
            channels = tuple(map(_described, channels, remarks.channels))
        else:
            notes.append("the remarks on the channels do not fit the samples: not used.")
    elif remarks.heart_rate_sensor is not None:
        channels = tuple(
            replace(c, sensor=remarks.heart_rate_sensor)
            if c.kind is ChannelKind.FETAL_HEART_RATE
            else c
            for c in channels
        )
    context = remarks.context
    if remarks.second_stage_sample is not None and channels:
        context = replace(
            context, second_stage_start_s=remarks.second_stage_sample / channels[0].rate_hz
        )
    length = max((c.duration_s for c in channels), default=0.0)
    second = context.second_stage_start_s
    if second is not None and second > length:
        notes.append(
            f"the second stage is said to begin {second:g} s from the start, after the end of "
            "the recording: counts as unknown."
        )
        context = replace(context, second_stage_start_s=None)
    provenance = replace(
        recording.provenance,
        notes=(*recording.provenance.notes, *notes),
        outcome={**recording.provenance.outcome, **remarks.outcome},
    )
    return replace(
        recording,
        channels=channels,
        start=remarks.start or recording.start,
        context=context,
        provenance=provenance,
        annotations=(*recording.annotations, *remarks.annotations),
    )


def _fit(channels: tuple[Channel, ...], remarks: tuple[ChannelRemark, ...]) -> bool:
    return len(channels) == len(remarks) and all(
        c.kind is r.kind and abs(c.rate_hz - r.rate_hz) <= 1e-6 * c.rate_hz
        for c, r in zip(channels, remarks, strict=True)
    )


def _described(channel: Channel, remark: ChannelRemark) -> Channel:
    """The channel with the remark's words, without padding at its end if that is all missing."""
    samples = channel.samples
    if 0 < remark.samples < len(samples) and np.isnan(samples[remark.samples :]).all():
        samples = samples[: remark.samples]
    return replace(
        channel,
        samples=samples,
        rate_hz=remark.rate_hz,
        sensor=remark.sensor,
        fetus=remark.fetus,
        unit=remark.unit,
        label=remark.label,
    )
