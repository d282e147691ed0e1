"""The EDF and EDF+ file itself: header fields, 16-bit data records, time-stamped annotations.

Written here rather than through a library because the samples' digital codes carry the gaps, and
because annotations must not be cut short; checked against pyEDFlib in both directions.
Sources: Kemp B, Varri A, Rosa AC, Nielsen KD, Gade J. Electroencephalogr Clin Neurophysiol
1992;82:391-3 (EDF); Kemp B, Olivan J. Clin Neurophysiol 2003;114:1755-61 (EDF+).
"""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from fractions import Fraction
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ebbline.errors import RecordingError
from ebbline.recording.files import check_file, telling
from ebbline.recording.limits import MAX_DURATION_S, check_length, check_total
from ebbline.recording.model import Annotation, FloatArray

ANNOTATION_LABEL = "EDF Annotations"
MAIN_FIELDS = (
    ("version", 8),
    ("patient", 80),
    ("recording", 80),
    ("start date", 8),
    ("start time", 8),
    ("header bytes", 8),
    ("reserved", 44),
    ("number of data records", 8),
    ("duration of a data record", 8),
    ("number of signals", 4),
)
SIGNAL_FIELDS = (
    ("label", 16),
    ("transducer type", 80),
    ("physical dimension", 8),
    ("physical minimum", 8),
    ("physical maximum", 8),
    ("digital minimum", 8),
    ("digital maximum", 8),
    ("prefiltering", 80),
    ("samples in a data record", 8),
    ("reserved", 32),
)
MAIN_BYTES = 256
SIGNAL_BYTES = 256
MOST_SIGNALS = 500
MOST_RECORDS = 1_000_000
MONTHS = ["JAN", "FEB", "MAR", "APR", "MAY", "JUN", "JUL", "AUG", "SEP", "OCT", "NOV", "DEC"]
NO_DATE = datetime(1985, 1, 1)
"""What the header's date holds when `Startdate X` says that the date is not known."""


@dataclass(frozen=True, slots=True)
class EdfSignal:
    """One signal of a header. Rational numbers, so that scaling rounds only once."""

    label: str
    transducer: str
    unit: str
    physical_min: Fraction
    physical_max: Fraction
    digital_min: int
    digital_max: int
    prefilter: str
    per_record: int

    @property
    def is_annotation(self) -> bool:
        """True for the signal that holds text instead of samples."""
        return self.label == ANNOTATION_LABEL

    def physical(self, digital: NDArray[np.int16]) -> FloatArray:
        """Samples in the physical dimension, rounded once from the exact value."""
        step = (self.physical_max - self.physical_min) / (self.digital_max - self.digital_min)
        zero = self.physical_min - step * self.digital_min
        below = math.lcm(step.denominator, zero.denominator)
        per_step, offset = int(step * below), int(zero * below)
        if max(abs(per_step) * 32768 + abs(offset), below) < 2**53:
            return (digital.astype(np.int64) * per_step + offset) / float(below)
        return digital.astype(np.float64) * float(step) + float(zero)


@dataclass(frozen=True, slots=True, eq=False)
class EdfFile:
    """A file's content. start: None when the file says that it is not known.

    digital: samples of each signal that is not annotations, in whole records. onsets_s: when
    each data record begins, from the start, where the file is discontinuous; else None.
    """

    start: datetime | None
    record_s: Fraction
    signals: tuple[EdfSignal, ...]
    digital: tuple[NDArray[np.int16], ...]
    annotations: tuple[Annotation, ...]
    onsets_s: FloatArray | None
    notes: tuple[str, ...]


def read_edf(path: Path) -> EdfFile:
    """Read and check a file. Raises RecordingError naming the header field that is wrong."""
    size = check_file(path)
    with telling(path, "reading"), path.open("rb") as file:
        head = file.read(MAIN_BYTES)
        main = _main_fields(head, path)
        count = _whole(main, "number of signals", path, 1, MOST_SIGNALS)
        rest = file.read(SIGNAL_BYTES * count)
    header_bytes = MAIN_BYTES + SIGNAL_BYTES * count
    if size < header_bytes:
        raise RecordingError(
            f"the file ends after {size} bytes, inside its header of {header_bytes}.",
            where=str(path),
            remedy="Copy the file again.",
        )
    if _whole(main, "header bytes", path, 0, 10**8) != header_bytes:
        raise _field_error(main, "header bytes", path, f"{count} signals need {header_bytes}")
    signals = _signals(rest, count, path)
    record_s = _fraction(main["duration of a data record"], "duration of a data record", path)
    records, notes = _records(main, signals, size - header_bytes, path)
    _check_sizes(signals, records, record_s, path)
    table = _table(path, header_bytes, records, sum(s.per_record for s in signals))
    ends = np.cumsum([s.per_record for s in signals])
    blocks = [table[:, e - s.per_record : e] for s, e in zip(signals, ends, strict=True)]
    is_plus = main["reserved"].startswith("EDF+")
    start, date_known = _start(main, path, is_plus)
    onsets, annotations = _texts(
        [b for s, b in zip(signals, blocks, strict=True) if s.is_annotation and is_plus], records
    )
    if onsets is not None:
        if not 0 <= onsets[0] < MAX_DURATION_S:
            raise RecordingError(
                f"the first data record is said to begin {onsets[0]:g} s from the start.",
                where=f"{path}, signal {ANNOTATION_LABEL}",
                remedy="The file is damaged or wrong; export or copy it again.",
            )
        start += timedelta(seconds=float(onsets[0]))
        annotations = tuple(
            replace(a, time_s=round(a.time_s - float(onsets[0]), 9)) for a in annotations
        )
    discontinuous = main["reserved"].startswith("EDF+D")
    if discontinuous and onsets is None:
        raise RecordingError(
            "this is a discontinuous file (EDF+D), but its records do not say when they begin.",
            where=str(path),
            remedy="Export it as a continuous file (EDF+C).",
        )
    return EdfFile(
        start=start if date_known else None,
        record_s=record_s,
        signals=tuple(s for s in signals if not s.is_annotation),
        digital=tuple(
            b.reshape(-1) for s, b in zip(signals, blocks, strict=True) if not s.is_annotation
        ),
        annotations=annotations,
        onsets_s=onsets - onsets[0] if discontinuous and onsets is not None else None,
        notes=notes,
    )


def _main_fields(head: bytes, path: Path) -> dict[str, str]:
    if len(head) < MAIN_BYTES or head[:8].strip() != b"0":
        what = "this is not an EDF file: it does not begin with version 0."
        if head[1:8] == b"BIOSEMI":
            what = "this is a 24-bit BDF file, which is not read."
        raise RecordingError(
            what,
            where=f"{path}, field version",
            remedy="Check that the suffix is right, or export as EDF+.",
        )
    fields, at = {}, 0
    for name, width in MAIN_FIELDS:
        fields[name] = _text(head[at : at + width])
        at += width
    return fields


def _text(data: bytes) -> str:
    return data.decode("latin-1").strip(" \0")


def _signals(data: bytes, count: int, path: Path) -> tuple[EdfSignal, ...]:
    columns: dict[str, list[str]] = {}
    at = 0
    for name, width in SIGNAL_FIELDS:
        columns[name] = [_text(data[at + i * width : at + (i + 1) * width]) for i in range(count)]
        at += width * count
    made = []
    for i in range(count):
        fields = {name: values[i] for name, values in columns.items()}
        place = f" of signal {i + 1}"
        signal = EdfSignal(
            label=fields["label"],
            transducer=fields["transducer type"],
            unit=fields["physical dimension"],
            physical_min=_fraction(fields["physical minimum"], f"physical minimum{place}", path),
            physical_max=_fraction(fields["physical maximum"], f"physical maximum{place}", path),
            digital_min=_whole(fields, "digital minimum", path, -32768, 32767, place),
            digital_max=_whole(fields, "digital maximum", path, -32768, 32767, place),
            prefilter=fields["prefiltering"],
            per_record=_whole(fields, "samples in a data record", path, 1, 10**7, place),
        )
        if not signal.is_annotation and signal.digital_min >= signal.digital_max:
            raise _field_error(
                fields, "digital maximum", path, "it must be above the minimum", place
            )
        if not signal.is_annotation and signal.physical_min == signal.physical_max:
            raise _field_error(fields, "physical maximum", path, "it equals the minimum", place)
        made.append(signal)
    return tuple(made)


def _field_error(
    fields: dict[str, str], name: str, path: Path, why: str, place: str = ""
) -> RecordingError:
    shown = fields[name][:20].encode("unicode_escape").decode("ascii")
    return RecordingError(
        f'"{shown}" cannot be right: {why}.',
        where=f"{path}, field {name}{place}",
        remedy="The header is damaged or wrong; export or copy the file again.",
    )


def _whole(
    fields: dict[str, str], name: str, path: Path, least: int, most: int, place: str = ""
) -> int:
    text = fields[name]
    if re.fullmatch(r"[-+]?\d{1,8}", text, re.ASCII) and least <= int(text) <= most:
        return int(text)
    raise _field_error(fields, name, path, f"a whole number from {least} to {most} belongs", place)


def _fraction(text: str, name: str, path: Path) -> Fraction:
    if re.fullmatch(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d{1,2})?", text, re.ASCII):
        return Fraction(text)
    raise _field_error({name: text}, name, path, "a number belongs here")


def _records(
    main: dict[str, str], signals: Sequence[EdfSignal], data_bytes: int, path: Path
) -> tuple[int, tuple[str, ...]]:
    """How many data records there are, against the size of the file."""
    told = _whole(main, "number of data records", path, -1, MOST_RECORDS)
    record_bytes = 2 * sum(s.per_record for s in signals)
    present, over = divmod(data_bytes, record_bytes)
    if told == -1:
        notes = ("the number of records is not in the header: taken from the file's size.",)
        if not 0 < present <= MOST_RECORDS:
            why = f"the file's size gives {present} records"
            raise _field_error(main, "number of data records", path, why)
        return present, notes
    if told == 0:
        raise _field_error(main, "number of data records", path, "there is nothing to read")
    if present < told:
        raise RecordingError(
            f"the file holds {present} data records, but its header says {told}: it was cut off.",
            where=f"{path}, field number of data records",
            remedy="Copy the file again.",
        )
    if present > told or over:
        extra = data_bytes - told * record_bytes
        return told, (f"{extra} bytes follow after the last data record: left out.",)
    return told, ()


def _check_sizes(
    signals: Sequence[EdfSignal], records: int, record_s: Fraction, path: Path
) -> None:
    if record_s <= 0:
        raise _field_error(
            {"duration of a data record": str(float(record_s))},
            "duration of a data record",
            path,
            "it must be above 0",
        )
    for number, signal in enumerate(signals, start=1):
        if not signal.is_annotation:
            rate = float(signal.per_record / record_s)
            check_length(records * signal.per_record, rate, f"{path}, signal {number}")
    check_total(records * sum(s.per_record for s in signals), str(path))


def _table(path: Path, offset: int, records: int, width: int) -> NDArray[np.int16]:
    with telling(path, "reading"):
        flat = np.fromfile(path, dtype="<i2", count=records * width, offset=offset)
    if len(flat) < records * width:
        raise RecordingError(
            "the file became shorter while it was read.", where=str(path), remedy="Read it again."
        )
    return flat.reshape(records, width)


def _start(main: dict[str, str], path: Path, is_plus: bool) -> tuple[datetime, bool]:
    """Date and time of the start, and whether the date is known."""
    date = re.fullmatch(r"(\d\d)[.:/-](\d\d)[.:/-](\d\d)", main["start date"], re.ASCII)
    time = re.fullmatch(r"(\d\d)[.:](\d\d)[.:](\d\d)", main["start time"], re.ASCII)
    long_date = re.match(r"Startdate (\d\d)-([A-Z]{3})-(\d{4})\b", main["recording"], re.ASCII)
    unknown = is_plus and main["recording"].startswith("Startdate X")
    try:
        if time is None:
            raise _field_error(main, "start time", path, "hh.mm.ss belongs here")
        clock = [int(part) for part in time.groups()]
        if unknown:
            return NO_DATE.replace(hour=clock[0], minute=clock[1], second=clock[2]), False
        if is_plus and long_date is not None and long_date[2] in MONTHS:
            day, month, year = int(long_date[1]), MONTHS.index(long_date[2]) + 1, int(long_date[3])
        elif date is not None:
            day, month, year = (int(part) for part in date.groups())
            year += 1900 if year >= 85 else 2000
        else:
            raise _field_error(main, "start date", path, "dd.mm.yy belongs here")
        return datetime(year, month, day, clock[0], clock[1], clock[2]), True
    except ValueError as error:
        raise _field_error(main, "start date", path, "there is no such date or time") from error


def _texts(
    blocks: Sequence[NDArray[np.int16]], records: int
) -> tuple[FloatArray | None, tuple[Annotation, ...]]:
    """Onset of each record in seconds (None where not told), and the annotations."""
    if not blocks:
        return None, ()
    onsets = np.full(records, np.nan)
    found: list[Annotation] = []
    for number, block in enumerate(blocks):
        for record in range(records):
            data = block[record].astype("<i2").tobytes()
            for position, tal in enumerate(data.split(b"\x14\x00")):
                parts = tal.lstrip(b"\0").split(b"\x14")
                times = _tal_times(parts[0])
                if times is None:
                    continue
                if number == 0 and position == 0 and parts[1:2] == [b""]:
                    onsets[record] = times[0]
                for text in parts[1:]:
                    if text:
                        found.append(Annotation(*times, text.decode("utf-8", "replace")))
    told = bool(np.isfinite(onsets).all())
    return (onsets if told else None), tuple(found)


def _tal_times(data: bytes) -> tuple[float, float] | None:
    """Onset and duration (0 when not told) of a time-stamped annotation list."""
    match = re.fullmatch(rb"([-+]\d{1,12}(?:\.\d*)?)(?:\x15(\d{1,12}(?:\.\d*)?)?)?", data)
    if match is None:
        return None
    return float(match[1]), float(match[2] or 0)


def edf_bytes(content: EdfFile, software: str) -> bytes:
    """A whole EDF+C file. Annotations are spread over the records, none cut short."""
    records = len(content.digital[0]) // content.signals[0].per_record
    start = content.start or NO_DATE
    fraction = Fraction(start.microsecond, 1_000_000)
    texts = _spread(content.annotations, records, content.record_s, fraction)
    width = max(map(len, texts))
    width += width % 2
    notes_signal = EdfSignal(
        ANNOTATION_LABEL, "", "", Fraction(-1), Fraction(1), -32768, 32767, "", width // 2
    )
    signals = (*content.signals, notes_signal)
    blocks = [
        d.reshape(records, s.per_record)
        for d, s in zip(content.digital, content.signals, strict=True)
    ]
    padded = b"".join(text.ljust(width, b"\0") for text in texts)
    blocks.append(np.frombuffer(padded, dtype="<i2").reshape(records, width // 2))
    header = _header(content, signals, records, start, software)
    return header + np.concatenate(blocks, axis=1).astype("<i2").tobytes()


def _spread(
    annotations: Sequence[Annotation], records: int, record_s: Fraction, fraction: Fraction
) -> list[bytes]:
    """The bytes of text of each record: its own onset, then annotations in order of time."""
    texts = [
        b"+" + _decimal(fraction + i * record_s).encode() + b"\x14\x14\0" for i in range(records)
    ]
    pieces = [_tal(a, fraction) for a in sorted(annotations, key=lambda a: a.time_s)]
    longest = max(map(len, pieces), default=0)
    share = math.ceil(sum(map(len, pieces)) / records)
    room = max(longest, share + longest // 2)
    record, used = 0, 0
    for piece in pieces:
        if used + len(piece) > room and record < records - 1:
            record, used = record + 1, 0
        texts[record] += piece
        used += len(piece)
    return texts


def _tal(annotation: Annotation, fraction: Fraction) -> bytes:
    onset = Fraction(round(annotation.time_s * 1_000_000), 1_000_000) + fraction
    sign = "-" if onset < 0 else "+"
    head = sign + _decimal(abs(onset))
    if math.isfinite(annotation.duration_s) and annotation.duration_s > 0:
        head += "\x15" + _decimal(Fraction(round(annotation.duration_s * 1_000_000), 1_000_000))
    text = "".join(c if c >= " " or c in "\t\n\r" else " " for c in annotation.text)
    return f"{head}\x14{text}".encode("utf-8", "replace") + b"\x14\0"


def _decimal(number: Fraction) -> str:
    """Decimal notation to the microsecond, without exponent."""
    text = f"{float(number):.6f}".rstrip("0").rstrip(".")
    return text or "0"


def decimal_field(number: Fraction) -> str | None:
    """The exact decimal of a number in the 8 characters of a header field, None if too long."""
    text = f"{float(number):.8f}".rstrip("0").rstrip(".")
    text = "0" if text in {"-0", ""} else text
    return text if len(text) <= 8 and Fraction(text) == number else None


def _header(
    content: EdfFile, signals: Sequence[EdfSignal], records: int, start: datetime, software: str
) -> bytes:
    date = "X"
    if content.start is not None:
        date = f"{start.day:02d}-{MONTHS[start.month - 1]}-{start.year:04d}"
    main = {
        "version": "0",
        "patient": "X X X X",
        "recording": f"Startdate {date} X X {software}",
        "start date": start.strftime("%d.%m.%y"),
        "start time": start.strftime("%H.%M.%S"),
        "header bytes": str(MAIN_BYTES + SIGNAL_BYTES * len(signals)),
        "reserved": "EDF+C",
        "number of data records": str(records),
        "duration of a data record": decimal_field(content.record_s) or "",
        "number of signals": str(len(signals)),
    }
    columns = [
        {
            "label": s.label,
            "transducer type": s.transducer,
            "physical dimension": s.unit,
            "physical minimum": decimal_field(s.physical_min) or "",
            "physical maximum": decimal_field(s.physical_max) or "",
            "digital minimum": str(s.digital_min),
            "digital maximum": str(s.digital_max),
            "prefiltering": s.prefilter,
            "samples in a data record": str(s.per_record),
            "reserved": "",
        }
        for s in signals
    ]
    parts = [_padded(main[name], width) for name, width in MAIN_FIELDS]
    parts += [_padded(c[name], width) for name, width in SIGNAL_FIELDS for c in columns]
    return b"".join(parts)


def _padded(text: str, width: int) -> bytes:
    plain = "".join(c if " " <= c <= "~" else "_" for c in text)
    return plain[:width].ljust(width).encode("ascii")
