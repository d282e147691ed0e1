"""What is known besides the samples, as plain lines of text: `Gest. weeks  37`, `Stage: first`.

WFDB headers, CSV files and EDF+ annotations carry the same lines. The keys are those of the
headers of the CTU-UHB Intrapartum Cardiotocography Database (Chudacek V, et al. BMC Pregnancy and
Childbirth 2014;14:16) where it has one, and ours otherwise.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Iterable, Sequence
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
"""CTU-UHB's outcome numbers that are kept, with what is possible (pCO2 in kPa)."""
NUMBERS = {
    "Gest. weeks": "weeks",
    "Parity": "parity",
    "Second stage from (s)": "second_stage_start_s",
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
NOT_KNOWN = frozenset({"", "-1", "nan"})
"""How a CTU-UHB header says that it does not know."""
NO_ZONE = "the file does not name a time zone: its clock is taken as UTC."


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
    """Read the lines (without their comment sign). Lines that say nothing to us are passed over."""
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


def _note(remarks: Remarks, _: str, value: str) -> Remarks:
    return replace(remarks, notes=(*remarks.notes, value))


def _number(remarks: Remarks, key: str, value: str) -> tuple[Remarks, float | None]:
    """The number, None with a note where there is none."""
    try:
        number = float(value)
    except ValueError:
        number = math.nan
    if math.isfinite(number):
        return remarks, number
    if value.casefold() in NOT_KNOWN:
        return remarks, None
    return _note(remarks, "", f'"{key}: {value}" is not a number: counts as unknown.'), None


def _context_number(remarks: Remarks, key: str, value: str) -> Remarks:
    if value in NOT_KNOWN:
        return remarks
    remarks, number = _number(remarks, key, value)
    if number is None:
        return remarks
    name = NUMBERS[key]
    given: dict[str, float] = {name: int(number) if name == "parity" else number}
    return replace(remarks, context=replace(remarks.context, **given))  # type: ignore[arg-type]


def _context_flag(remarks: Remarks, key: str, value: str) -> Remarks:
    if value.casefold() in NOT_KNOWN:
        return remarks
    if value not in {"0", "1"}:
        return _note(remarks, "", f'"{key}: {value}" is neither 0 nor 1: counts as unknown.')
    given = {FLAGS[key]: value == "1"}
    return replace(remarks, context=replace(remarks.context, **given))  # type: ignore[arg-type]


def _stage(remarks: Remarks, _: str, value: str) -> Remarks:
    if value not in list(Stage):
        return _note(remarks, "", f'"Stage: {value}" is not a stage of labour: counts as unknown.')
    return replace(remarks, context=replace(remarks.context, stage=Stage(value)))


def _second_stage_sample(remarks: Remarks, key: str, value: str) -> Remarks:
    if value in NOT_KNOWN:
        return remarks
    remarks, number = _number(remarks, key, value)
    return replace(remarks, second_stage_sample=number)


def _recording_type(remarks: Remarks, _: str, value: str) -> Remarks:
    if HEART_RATE_SENSORS.get(value) is SensorKind.UNKNOWN:
        remarks = _note(
            remarks, "", "the heart rate came from ultrasound and from a scalp electrode in turn."
        )
    return replace(remarks, heart_rate_sensor=HEART_RATE_SENSORS.get(value))


def _outcome(remarks: Remarks, key: str, value: str) -> Remarks:
    name = key.removeprefix("Outcome ")
    remarks, number = _number(remarks, key, value)
    if number is None:
        return remarks
    if key == name:
        least, most = OUTCOME_RANGES[name]
        if not least <= number <= most:
            if value in NOT_KNOWN:
                return remarks
            return _note(remarks, "", f'"{key} {value}" cannot be true: counts as unknown.')
    return replace(remarks, outcome={**remarks.outcome, name: number})


def _start(remarks: Remarks, _: str, value: str) -> Remarks:
    try:
        start = datetime.fromisoformat(value)
    except ValueError:
        return _note(remarks, "", f'"Start: {value}" is not a date and time: counts as unknown.')
    return replace(remarks, start=start)


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
    _, time, duration = key.split()
    try:
        annotation = Annotation(float(time), float(duration), value)
    except ValueError:
        return _note(remarks, "", f'the line "{key}" could not be understood.')
    return replace(remarks, annotations=(*remarks.annotations, annotation))


def _any_of(keys: Iterable[str], more: str = "") -> re.Pattern[str]:
    return re.compile("|".join(map(re.escape, keys)) + more)


_READERS: tuple[tuple[re.Pattern[str], Callable[[Remarks, str, str], Remarks]], ...] = (
    (_any_of(NUMBERS), _context_number),
    (_any_of(FLAGS), _context_flag),
    (_any_of(OUTCOME_RANGES, "|Outcome .+"), _outcome),
    (re.compile(r"Stage"), _stage),
    (re.compile(r"Pos\. II\.st\."), _second_stage_sample),
    (re.compile(r"Rec\. type"), _recording_type),
    (re.compile(r"Start"), _start),
    (re.compile(r"Channel \d{1,3}"), _channel),
    (re.compile(r"Annotation \S+ \S+"), _annotation),
    (re.compile(r"Note"), _note),
)


def to_lines(recording: Recording) -> tuple[str, ...]:
    """Lines that `understand_lines` reads back: all but the samples, name and annotations."""
    context = recording.context
    lines = []
    for key, name in NUMBERS.items():
        value = getattr(context, name)
        if value is not None:
            lines.append(f"{key}: {_shortest(value)}")
    for key, name in FLAGS.items():
        value = getattr(context, name)
        if value is not None:
            lines.append(f"{key}: {int(value)}")
    if context.stage is not Stage.UNKNOWN:
        lines.append(f"Stage: {context.stage}")
    if recording.start is not None:
        lines.append(f"Start: {recording.start.isoformat()}")
    lines += [
        f"Outcome {one_line(name)}: {_shortest(value)}"
        for name, value in recording.provenance.outcome.items()
    ]
    lines += [f"Channel {i}: {_channel_line(c)}" for i, c in enumerate(recording.channels, 1)]
    lines += [f"Note: {one_line(note)}" for note in recording.provenance.notes]
    return tuple(lines)


def annotation_lines(annotations: Sequence[Annotation]) -> tuple[str, ...]:
    """Lines for the annotations, for formats that have no place of their own for them."""
    return tuple(
        f"Annotation {float(a.time_s)!r} {float(a.duration_s)!r}: {one_line(a.text)}"
        for a in annotations
    )


def _shortest(value: float) -> str:
    """The shortest text that reads back as the same number."""
    return repr(float(value)).removesuffix(".0")


def _channel_line(channel: Channel) -> str:
    return (
        f"kind={channel.kind}; fetus={channel.fetus}; sensor={channel.sensor}; "
        f"rate={float(channel.rate_hz)!r}; samples={len(channel.samples)}; "
        f"unit={one_line(channel.unit).replace(';', ' ')}; label={one_line(channel.label)}"
    )


def one_line(text: str) -> str:
    """The text on one line, without characters that end or hide one."""
    return " ".join("".join(c if c.isprintable() else " " for c in text).split())


def apply_remarks(recording: Recording, remarks: Remarks, rate_hz: float) -> Recording:
    """The recording with what the lines say of it added; they never change a sample.

    rate_hz: the file's own rate, at which positions in samples are counted. Lines on channels
    are used only when they fit the channels that the file holds.
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
    if remarks.second_stage_sample is not None:
        context = replace(context, second_stage_start_s=remarks.second_stage_sample / rate_hz)
    start = remarks.start
    if start is None:
        start = recording.start
    if start is not None and start.tzinfo is None:
        start = start.replace(tzinfo=UTC)
        notes.append(NO_ZONE)
    provenance = replace(
        recording.provenance,
        notes=(*recording.provenance.notes, *notes),
        outcome={**recording.provenance.outcome, **remarks.outcome},
    )
    return replace(
        recording,
        channels=channels,
        start=start,
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
