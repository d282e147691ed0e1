"""WFDB: a header (.hea) and signal files (.dat) beside it.

Plain records (one segment, format 16, no skew) are read here, sample for sample as the `wfdb`
library does; every other kind of record goes to that library.
Source of the format: WFDB Applications Guide, header(5) and signal(5), PhysioNet.
"""

from __future__ import annotations

import math
import re
import warnings
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ebbline.errors import RecordingError
from ebbline.recording.channels import Column, short_names, to_channels
from ebbline.recording.files import check_file, read_bytes, telling
from ebbline.recording.header_comments import (
    annotation_lines,
    apply_remarks,
    to_lines,
    understand_lines,
)
from ebbline.recording.limits import check_length, check_total
from ebbline.recording.model import (
    Channel,
    ChannelKind,
    Encoded,
    FloatArray,
    Provenance,
    Recording,
)
from ebbline.recording.quantisation import HEART_RATE_STEPS, finite_range, rounding_loss
from ebbline.recording.rates import as_fraction, common_frame_rate

NAME = "WFDB"
DEFAULT_RATE_HZ = 250.0
DEFAULT_GAIN = 200.0
MISSING_16 = -32768
MOST_16 = 32767
MOST_PER_FRAME = 10_000
MOST_HEADER_BYTES = 10_000_000
MOST_SIGNALS = 500
MOST_PARTS = 10_000
LONGEST_LINE = 1000
"""Characters of a line that is not a comment; header(5) allows 255."""

_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_RECORD_LINE = re.compile(
    rf"""
    (?P<name>[-\w]+) (?:/(?P<segments>\d+))?
    \s+ (?P<signals>\d+)
    (?: \s+ (?P<rate>{_NUMBER}) (?:/(?P<counter>{_NUMBER}))? (?:\((?P<base_counter>{_NUMBER})\))?
    (?: \s+ (?P<frames>\d+)
    (?: \s+ (?P<time>[\d:.]+)
    (?: \s+ (?P<date>\d+/\d+/\d+) )? )? )? )?
    \s*
    """,
    re.VERBOSE | re.ASCII,
)
_SIGNAL_LINE = re.compile(
    rf"""
    (?P<file>\S+)
    \s+ (?P<format>\d+) (?:x(?P<per_frame>\d+))? (?::(?P<skew>\d+))? (?:\+(?P<offset>\d+))?
    (?: \s+ (?P<gain>{_NUMBER}) (?:\((?P<baseline>-?\d+)\))? (?:/(?P<unit>\S*))?
    (?: \s+ (?P<resolution>\d+)
    (?: \s+ (?P<zero>-?\d+)
    (?: \s+ (?P<initial>-?\d+)
    (?: \s+ (?P<checksum>-?\d+)
    (?: \s+ (?P<block>\d+)
    (?: \s+ (?P<description>.*) )? )? )? )? )? )? )?
    \s*
    """,
    re.VERBOSE,
)


@dataclass(frozen=True, slots=True)
class Signal:
    """One signal line of a header, with the defaults of header(5) filled in."""

    line: int
    file: str
    format: str
    per_frame: int
    skew: int
    offset: int
    gain: float
    baseline: int
    unit: str
    checksum: int | None
    description: str


@dataclass(frozen=True, slots=True)
class Header:
    """A header file. frames: 0 when it does not say; signals: empty for several segments."""

    segments: int
    signal_count: int
    rate_hz: float
    frames: int
    start: datetime | None
    signals: tuple[Signal, ...]
    comments: tuple[str, ...]
    notes: tuple[str, ...]


def read(path: Path) -> Recording:
    """Read the record that a .hea (or one of its .dat files) belongs to."""
    header_path = path if path.suffix.casefold() != ".dat" else path.with_suffix(".hea")
    where = str(header_path)
    header = parse_header(_header_text(header_path), where)
    frames = header.frames or _frames_from_size(header, header_path)
    _check_sizes(header, frames, where)
    if _is_plain(header):
        columns, notes = _read_plain(header, frames, header_path)
    else:
        columns, notes = _read_by_library(header, header_path)
    remarks = understand_lines(header.comments)
    channels, more = to_channels(columns, where, described=bool(remarks.channels))
    recording = Recording(
        name=header_path.stem,
        channels=channels,
        start=header.start,
        provenance=Provenance(header_path.name, NAME, (*header.notes, *notes, *more)),
    )
    return apply_remarks(recording, remarks, header.rate_hz)


def _check_sizes(header: Header, frames: int, where: str) -> None:
    """Refuse what the header says to be too long or too large, before any signal is read."""
    for signal in header.signals:
        rate = header.rate_hz * signal.per_frame
        check_length(frames * signal.per_frame, rate, f"{where}, line {signal.line}")
    if not header.signals:
        check_length(frames, header.rate_hz, where)
    per_frame = sum(s.per_frame for s in header.signals) or header.signal_count
    check_total(frames * per_frame, where)


def _header_text(path: Path) -> str:
    data = read_bytes(path, MOST_HEADER_BYTES)
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def parse_header(text: str, where: str) -> Header:
    """The header's lines, checked. Raises RecordingError naming line and field."""
    numbered = [(i, line.strip()) for i, line in enumerate(text.splitlines(), 1) if line.strip()]
    comments = tuple(line.lstrip("# \t") for _, line in numbered if line.startswith("#"))
    lines = [(i, line) for i, line in numbered if not line.startswith("#")]
    if not lines:
        raise RecordingError(
            "the header has no record line.", where=where, remedy="Copy the header file again."
        )
    number, first = lines[0]
    place = f"{where}, line {number}"
    record = _RECORD_LINE.fullmatch(first) if len(first) <= LONGEST_LINE else None
    if record is None:
        raise RecordingError(
            f'the record line "{_short(first)}" is not "name signals rate samples".',
            where=place,
            remedy="Check that this is a WFDB header and that it is whole.",
        )
    segments = int(record["segments"]) if record["segments"] else 0
    rate = float(record["rate"]) if record["rate"] else DEFAULT_RATE_HZ
    count = _count(record["signals"], MOST_SIGNALS, "signals", place)
    frames = _count(record["frames"] or "0", 10**12, "samples", place)
    if not (math.isfinite(rate) and rate > 0):
        raise RecordingError(
            f"a sampling rate of {rate:g} Hz is not possible.",
            where=place,
            remedy="Correct the rate in the record line.",
        )
    notes: list[str] = []
    start = _start(record["time"], record["date"], place, notes)
    if segments:
        signals: tuple[Signal, ...] = ()
    else:
        if len(lines) - 1 != count or count == 0:
            raise RecordingError(
                f"the record line says {count} signals, but {len(lines) - 1} signal lines follow.",
                where=place,
                remedy="Correct the number, or copy the header file again.",
            )
        signals = tuple(_signal(i, line, where) for i, line in lines[1:])
    return Header(segments, count, rate, frames, start, signals, comments, tuple(notes))


def _short(text: str) -> str:
    shown = text[:60].encode("unicode_escape").decode("ascii")
    return shown + ("..." if len(text) > 60 else "")


def _count(digits: str, most: int, what: str, place: str) -> int:
    if len(digits) > 15 or int(digits) > most:
        raise RecordingError(
            f"{_short(digits)} {what} are more than can be read.",
            where=place,
            remedy=f"Correct the number of {what}.",
        )
    return int(digits)


def _start(time: str | None, date: str | None, place: str, notes: list[str]) -> datetime | None:
    """Date and time without a zone, which is not part of the format."""
    if time is None:
        return None
    if date is None:
        if time.strip("0:."):
            notes.append(f"the header gives a clock time ({time}) without a date: not kept.")
        return None
    parts = time.split(":")
    try:
        seconds = sum(float(p) * 60**i for i, p in enumerate(reversed(parts)))
        day, month, year = map(int, date.split("/"))
        if len(parts) > 3 or not 0 <= seconds < 86400:
            raise ValueError
        whole = int(seconds)
        start = datetime(
            year,
            month,
            day,
            whole // 3600,
            whole // 60 % 60,
            whole % 60,
            min(999_999, round((seconds - whole) * 1e6)),
        )
    except (ValueError, OverflowError) as error:
        raise RecordingError(
            f'the start "{_short(time)} {_short(date)}" is not a time and date '
            "(hh:mm:ss dd/mm/yyyy).",
            where=place,
            remedy="Correct or remove it.",
        ) from error
    return start


def _signal(line_number: int, line: str, where: str) -> Signal:
    place = f"{where}, line {line_number}"
    found = _SIGNAL_LINE.fullmatch(line) if len(line) <= LONGEST_LINE else None
    if found is None:
        raise RecordingError(
            f'the signal line "{_short(line)}" is not "file format gain ...".',
            where=place,
            remedy="Check that the header is whole.",
        )
    name = found["file"]
    if Path(name).name != name or name in {"-", ".", ".."} or not name.isprintable():
        raise RecordingError(
            f'the signal file "{_short(name)}" is not a file beside the header.',
            where=place,
            remedy="Put both in one directory and name the file alone.",
        )
    per_frame = _count(found["per_frame"] or "1", 100_000, "samples per frame", place)
    if per_frame == 0:
        raise RecordingError(
            "0 samples per frame are not possible.", where=place, remedy="Correct the format field."
        )
    gain = float(found["gain"] or 0) or DEFAULT_GAIN
    baseline = int((found["baseline"] or found["zero"] or "0")[:15])
    if not math.isfinite(gain):
        raise RecordingError(
            f"a gain of {found['gain']} is not possible.", where=place, remedy="Correct the gain."
        )
    return Signal(
        line=line_number,
        file=name,
        format=found["format"],
        per_frame=per_frame,
        skew=_count(found["skew"] or "0", 10**9, "samples of skew", place),
        offset=_count(found["offset"] or "0", 10**12, "bytes of offset", place),
        gain=gain,
        baseline=baseline,
        unit=found["unit"] or "",
        checksum=int(found["checksum"][:15]) if found["checksum"] else None,
        description=(found["description"] or "").strip(),
    )


def _is_plain(header: Header) -> bool:
    return not header.segments and all(
        s.format == "16" and s.skew == 0 and s.file != "~" for s in header.signals
    )


def _groups(header: Header) -> dict[str, list[int]]:
    """Signal numbers by the file that holds them, in the order of the header."""
    groups: dict[str, list[int]] = {}
    for index, signal in enumerate(header.signals):
        groups.setdefault(signal.file, []).append(index)
    return groups


def _frames_from_size(header: Header, path: Path) -> int:
    """Length from the size of the first signal file, where the header does not say."""
    if not _is_plain(header):
        raise RecordingError(
            "the header does not say how many samples there are.",
            where=f"{path}, line 1",
            remedy="Add the number of samples to the record line.",
        )
    file, members = next(iter(_groups(header).items()))
    size = check_file(path.with_name(file)) - header.signals[members[0]].offset
    return max(0, size) // (2 * sum(header.signals[i].per_frame for i in members))


def _read_plain(header: Header, frames: int, path: Path) -> tuple[list[Column], list[str]]:
    digital: dict[int, NDArray[np.int16]] = {}
    notes: list[str] = []
    for file, members in _groups(header).items():
        digital.update(_read_file_16(header, members, frames, path.with_name(file), notes))
    columns = []
    for index, signal in enumerate(header.signals):
        values = digital[index]
        if signal.checksum is not None and (_checksum(values) - signal.checksum) % 65536:
            notes.append(
                f'the checksum of signal "{signal.description or index + 1}" does not agree with '
                "the header: the file was edited or damaged."
            )
        columns.append(
            Column(
                signal.description or f"signal {index + 1}",
                signal.unit,
                _physical(values, signal),
                header.rate_hz * signal.per_frame,
                f"{path}, line {signal.line}",
            )
        )
    return columns, notes


def _read_file_16(
    header: Header, members: list[int], frames: int, path: Path, notes: list[str]
) -> dict[int, NDArray[np.int16]]:
    per_frame = [header.signals[i].per_frame for i in members]
    offset = header.signals[members[0]].offset
    width = sum(per_frame)
    size = check_file(path)
    wanted = offset + 2 * width * frames
    if size < wanted:
        raise RecordingError(
            f"the file has {size} bytes, but its header says {wanted}: samples are missing from "
            f"{max(0, size - offset) / (2 * width * header.rate_hz):.0f} s on.",
            where=str(path),
            remedy="Copy the file again; the header's number of samples may be wrong.",
        )
    if size > wanted:
        notes.append(f"{path.name} has {size - wanted} bytes more than the header says: left out.")
    with telling(path, "reading"):
        flat = np.fromfile(path, dtype="<i2", count=width * frames, offset=offset)
    table = flat.reshape(-1, width)
    ends = np.cumsum(per_frame)
    return {
        index: table[:, end - count : end].reshape(-1)
        for index, count, end in zip(members, per_frame, ends, strict=True)
    }


def _checksum(values: NDArray[np.int16]) -> int:
    return int(values.sum(dtype=np.int64))


def _physical(values: NDArray[np.int16], signal: Signal) -> FloatArray:
    physical = (values.astype(np.float64) - signal.baseline) / signal.gain
    physical[values == MISSING_16] = np.nan
    return physical


def _read_by_library(header: Header, path: Path) -> tuple[list[Column], list[str]]:
    """Any other record, through the `wfdb` library."""
    try:
        record = _library_record(path)
        columns = [
            Column(
                name or f"signal {index + 1}",
                unit or "",
                np.asarray(samples, dtype=np.float64),
                float(record.fs) * len(samples) / record.sig_len,
                str(path),
            )
            for index, (name, unit, samples) in enumerate(
                zip(record.sig_name, record.units, record.e_p_signal, strict=True)
            )
        ]
    except Exception as error:
        raise RecordingError(
            f"the record cannot be read: {_short(str(error))}.",
            where=str(path),
            remedy="Check that the header is right and that all its files are there.",
        ) from error
    return columns, []


def _library_record(path: Path) -> Any:
    """The record as `wfdb` gives it, without what the library warns its own developers of."""
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        import wfdb

        return wfdb.rdrecord(str(path.with_suffix("")), smooth_frames=False)


def parts(path: Path) -> tuple[Path, ...]:
    """All files of a record: the header, the signals that it names, its segments and theirs."""
    waiting = [path if path.suffix.casefold() != ".dat" else path.with_suffix(".hea")]
    found = dict.fromkeys([path, waiting[0], waiting[0].with_suffix(".dat")])
    while waiting and len(found) < MOST_PARTS:
        try:
            text = _header_text(waiting.pop())
        except RecordingError:
            continue
        lines = [x.split() for x in text.splitlines() if x.strip() and not x.startswith("#")]
        segments = "/" in lines[0][0] if lines else False
        for line in lines[1:]:
            name = f"{line[0]}.hea" if segments else line[0]
            beside = path.with_name(name) if Path(name).name == name else None
            if beside is not None and beside not in found:
                found[beside] = None
                if segments:
                    waiting.append(beside)
    return tuple(found)


def encode(recording: Recording, path: Path) -> Encoded:
    """A format 16 record, heart rates in steps of 0.01 bpm.

    The header comes last, so that it never stands there without its signals.
    """
    signals, header = path.with_suffix(".dat"), path.with_suffix(".hea")
    if not re.fullmatch(r"[-\w]+", path.stem, re.ASCII):
        raise RecordingError(
            f'"{path.stem}" cannot be the name of a WFDB record.',
            where=str(path),
            remedy="Use letters, digits, - and _ only.",
        )
    frame_rate, per_frame = _frames(recording, path)
    names = short_names(recording.channels)
    frames = max(
        math.ceil(len(c.samples) / n) for c, n in zip(recording.channels, per_frame, strict=True)
    )
    lines = [_record_line(path.stem, recording, frame_rate, frames)]
    blocks: list[NDArray[np.int16]] = []
    losses: list[str] = []
    for channel, name, count in zip(recording.channels, names, per_frame, strict=True):
        gain = _gain(channel)
        digital = _digital(channel, gain, frames * count)
        lines.append(_signal_line(path.stem, channel, name, count, gain, digital))
        blocks.append(digital.reshape(frames, count))
        stored = digital[: len(channel.samples)] / gain
        losses += rounding_loss(channel, name, stored)
    lines += [
        f"#{line}" for line in (*to_lines(recording), *annotation_lines(recording.annotations))
    ]
    contents = {
        signals: np.concatenate(blocks, axis=1).astype("<i2").tobytes(),
        header: ("\n".join(lines) + "\n").encode("utf-8", "replace"),
    }
    return Encoded(contents, tuple(losses))


def _frames(recording: Recording, path: Path) -> tuple[float, list[int]]:
    """Frame rate, and samples of each channel in a frame."""
    rates = [c.rate_hz for c in recording.channels]
    if len(set(rates)) == 1:
        return rates[0], [1] * len(rates)
    fractions = [f for f in map(as_fraction, rates) if f is not None]
    if len(fractions) == len(rates):
        frame_rate = common_frame_rate(fractions)
        per_frame = [int(f / frame_rate) for f in fractions]
        if max(per_frame) <= MOST_PER_FRAME:
            return float(frame_rate), per_frame
    raise RecordingError(
        "WFDB cannot hold channels with the rates "
        + ", ".join(f"{rate:g}" for rate in rates)
        + " Hz in one record.",
        where=str(path),
        remedy="Write JSON instead.",
    )


def _record_line(name: str, recording: Recording, rate_hz: float, frames: int) -> str:
    line = f"{name} {len(recording.channels)} {_plain(rate_hz)} {frames}"
    if recording.start is not None:
        line += recording.start.strftime(" %H:%M:%S.%f %d/%m/") + f"{recording.start.year:04d}"
    return line


def _plain(number: float) -> str:
    """A number without exponent, as the format's readers expect it."""
    return f"{number:.12f}".rstrip("0").rstrip(".")


def _gain(channel: Channel) -> float:
    """Steps per unit: 100 for heart rates, else the finest power of ten that fits 16 bits."""
    if channel.kind is not ChannelKind.UTERINE_ACTIVITY:
        return HEART_RATE_STEPS
    largest = max(map(abs, finite_range(channel)))
    power = math.floor(math.log10(MOST_16 / largest)) if largest > 0 else 2
    return float(f"1e{min(power, 4)}")


def _digital(channel: Channel, gain: float, length: int) -> NDArray[np.int16]:
    missing = ~np.isfinite(channel.samples)
    steps = np.rint(np.where(missing, 0.0, channel.samples) * gain)
    digital = np.full(length, MISSING_16, dtype=np.int16)
    digital[: len(steps)] = np.where(missing, MISSING_16, np.clip(steps, -MOST_16, MOST_16))
    return digital


def _signal_line(
    record: str,
    channel: Channel,
    name: str,
    per_frame: int,
    gain: float,
    digital: NDArray[np.int16],
) -> str:
    unit = re.sub(r"[^\w^?%/-]", "", channel.unit, flags=re.ASCII) or "nd"
    kind = "16" if per_frame == 1 else f"16x{per_frame}"
    checksum = (_checksum(digital) + 32768) % 65536 - 32768
    steps = f"{gain:g}" if gain >= 1e-4 else f"{gain:e}"
    return f"{record}.dat {kind} {steps}(0)/{unit} 16 0 {digital[0]} {checksum} 0 {name}"
