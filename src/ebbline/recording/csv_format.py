"""CSV: one row per moment, a column of time and one for each channel; see docs/formats.md."""

from __future__ import annotations

import codecs
import csv
import math
import re
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import islice
from pathlib import Path

import numpy as np

from ebbline.errors import RecordingError
from ebbline.recording.channels import to_channels
from ebbline.recording.files import read_bytes
from ebbline.recording.header_comments import (
    annotation_lines,
    apply_remarks,
    one_line,
    to_lines,
    understand_lines,
)
from ebbline.recording.limits import MAX_TEXT_BYTES, check_rate
from ebbline.recording.model import Encoded, FloatArray, Provenance, Recording
from ebbline.recording.table import (
    TIME_COLUMN,
    TableColumn,
    check_labels,
    find_time,
    from_recording,
    is_sample_column,
    time_unit,
    to_columns,
)

NAME = "CSV"
SEPARATORS = ";\t,|"
MISSING = frozenset({"", "nan", "na", "n/a", "null", "none", "-", "--", "?", "."})
LONGEST_HEAD = 100_000
LONGEST_NUMBER = 100
"""Characters of a cell with a number in it (our choice)."""
ROWS_AT_ONCE = 65_536
HALF_A_DAY_S = 43_200.0
DAY_S = 86_400.0

_NUMBER = re.compile(r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?|[-+]?inf(?:inity)?", re.I | re.A)
_CLOCK = re.compile(r"(\d{1,3}):([0-5]\d):([0-5]\d(?:[.,]\d+)?)", re.A)
_MOMENT = re.compile(r"\d{4}-\d\d-\d\d[ T]\d", re.A)
_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f\x7f]")
_RATE_LINE = re.compile(r"rate(?: \(hz\))?\s*[:=]\s*(\S+)", re.I)


def read(path: Path) -> Recording:
    """Read a CSV file (also tab, semicolon or bar between columns; decimal commas)."""
    text, notes = _decode(read_bytes(path, MAX_TEXT_BYTES), path)
    lines = text.split("\n")
    comments = [line.lstrip("# \t") for line in lines if line.startswith("#")]
    remarks = understand_lines(comments)
    told = [channel.rate_hz for channel in remarks.channels] or _told_rate(comments, path)
    layout = _layout(lines, path)
    stamps = _Stamps(layout.labels[layout.time], path) if layout.time is not None else None
    at: list[int] = []
    times: list[float] = []
    values: list[list[FloatArray]] = [[] for _ in layout.samples]
    for numbers, cells in _chunks(lines, layout, path):
        at += numbers
        if stamps is not None and layout.time is not None:
            times += stamps.read(cells[layout.time], numbers)
        for made, index in zip(values, layout.samples, strict=True):
            place = layout.labels[index]
            made.append(_numbers(cells[index], numbers, place, layout.separator, path))
    if not at:
        raise RecordingError(
            "there are no rows below the line of names.",
            where=layout.place,
            remedy="Export the recording again.",
        )
    columns = [
        TableColumn(layout.labels[i], np.concatenate(v), layout.place)
        for i, v in zip(layout.samples, values, strict=True)
    ]
    rising = None
    if stamps is not None:
        rising, more = stamps.from_first(times, at)
        notes += more
    made_columns, rate, more = to_columns(columns, rising, told, str(path))
    channels, yet_more = to_channels(made_columns, str(path), described=bool(remarks.channels))
    recording = Recording(
        name=path.stem,
        channels=channels,
        start=stamps.start if stamps is not None else None,
        provenance=Provenance(path.name, NAME, (*notes, *layout.unread(), *more, *yet_more)),
    )
    return apply_remarks(recording, remarks, rate)


def _decode(data: bytes, path: Path) -> tuple[str, tuple[str, ...]]:
    """The text: UTF-8, UTF-16 with a byte order mark, else Latin-1 with a note."""
    notes: tuple[str, ...] = ()
    try:
        if data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
            text = data.decode("utf-16")
        else:
            text = data.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = data.decode("latin-1")
        notes = ("the text is not UTF-8: read as Latin-1.",)
    text = text.replace("\r\n", "\n").replace("\r", "\n")
    strange = _CONTROL.search(text)
    if strange is not None:
        line = text.count("\n", 0, strange.start()) + 1
        raise RecordingError(
            "this is not a text file.",
            where=f"{path}, line {line}",
            remedy="Check that the suffix is that of the file's format.",
        )
    return text, notes


def _told_rate(comments: Sequence[str], path: Path) -> list[float]:
    """The rate of the rows where a comment line tells it: `# Rate: 4`."""
    for line in comments:
        found = _RATE_LINE.fullmatch(line.strip())
        if found is None:
            continue
        try:
            rate = float(found[1].replace(",", "."))
        except ValueError:
            rate = math.nan
        check_rate(rate, f'{path}, line "# {line.strip()[:40]}"')
        return [rate]
    return []


@dataclass(frozen=True, slots=True)
class _Layout:
    """The line of names, understood. number: its line; time, samples: numbers of columns."""

    number: int
    labels: tuple[str, ...]
    separator: str
    time: int | None
    samples: tuple[int, ...]
    place: str

    def unread(self) -> tuple[str, ...]:
        """Notes on the columns that are neither time nor samples."""
        known = {self.time, *self.samples}
        return tuple(
            f'column "{label}" was not read: its name is not that of a heart rate or of uterine '
            "activity."
            for i, label in enumerate(self.labels)
            if label and i not in known
        )


def _layout(lines: Sequence[str], path: Path) -> _Layout:
    found = next(
        ((i, line) for i, line in enumerate(lines, 1) if line.strip() and line[0] != "#"), None
    )
    if found is None:
        raise RecordingError(
            "the file holds no table.", where=str(path), remedy="Export the recording again."
        )
    number, line = found
    place = f"{path}, line {number}"
    if len(line) > LONGEST_HEAD:
        raise RecordingError(
            f"the line of names has {len(line)} characters; the most is {LONGEST_HEAD}.",
            where=place,
            remedy="Check that the suffix is that of the file's format.",
        )
    split = {s: next(csv.reader([line], delimiter=s), []) for s in SEPARATORS}
    separator = max(SEPARATORS, key=lambda s: sum(map(_is_known, split[s])))
    labels = [cell.strip() for cell in _cells(line, separator, place)]
    check_labels(labels, place)
    samples = tuple(i for i, label in enumerate(labels) if is_sample_column(label))
    if not samples:
        shown = ", ".join(f'"{label[:40]}"' for label in labels[:10])
        raise RecordingError(
            f"no column is named as a heart rate or uterine activity; the first line says {shown}.",
            where=place,
            remedy='Name them on the first line, for example "time_s;FHR;UC".',
        )
    return _Layout(number, tuple(labels), separator, find_time(labels, place), samples, place)


def _is_known(label: str) -> bool:
    return is_sample_column(label) or time_unit(label) is not None


def _cells(line: str, separator: str, place: str) -> list[str]:
    if '"' not in line:
        return line.split(separator)
    try:
        return next(csv.reader([line], delimiter=separator, strict=True))
    except csv.Error as error:
        raise RecordingError(
            f"the quotation marks are not closed as they should be ({error}).",
            where=place,
            remedy="Remove them, or double those inside a cell.",
        ) from error


def _chunks(
    lines: Sequence[str], layout: _Layout, path: Path
) -> Iterator[tuple[list[int], list[Sequence[str]]]]:
    """Line numbers and columns of text, some ten thousand rows at a time."""
    rows = (
        (number, line)
        for number, line in enumerate(lines, 1)
        if number > layout.number and line and line[0] != "#" and not line.isspace()
    )
    width, separator = len(layout.labels), layout.separator
    while chunk := list(islice(rows, ROWS_AT_ONCE)):
        numbers = [number for number, _ in chunk]
        if all('"' not in line and line.count(separator) == width - 1 for _, line in chunk):
            cells = separator.join(line for _, line in chunk).split(separator)
            yield numbers, [cells[i::width] for i in range(width)]
        else:
            split = (_row(line, number, layout, path) for number, line in chunk)
            yield numbers, list(zip(*split, strict=True))


def _row(line: str, number: int, layout: _Layout, path: Path) -> list[str]:
    place = f"{path}, line {number}"
    cells = _cells(line, layout.separator, place)
    count = len(layout.labels)
    if len(cells) > count and not any(cell.strip() for cell in cells[count:]):
        del cells[count:]
    if len(cells) == count:
        return cells
    remedy = "Complete the row; the file may have been cut off."
    if len(cells) > count:
        remedy = "Remove what is too much; with decimal commas put ; or tab between the columns."
    raise RecordingError(
        f"the row has {len(cells)} cells, the line of names {count}.", where=place, remedy=remedy
    )


def _numbers(
    cells: Sequence[str], at: Sequence[int], label: str, separator: str, path: Path
) -> FloatArray:
    """The samples of a column, NaN where the cell says that there is none."""
    try:
        if "_" in "".join(cells):
            raise ValueError
        return np.array([float(cell) if cell else math.nan for cell in cells])
    except ValueError:
        return np.array(
            [
                _number(cell, number, label, separator, path)
                for cell, number in zip(cells, at, strict=True)
            ]
        )


def _number(cell: str, line: int, label: str, separator: str, path: Path) -> float:
    text = cell.strip()
    if text.casefold() in MISSING:
        return math.nan
    plain = text.replace(",", ".") if separator != "," and text.count(",") == 1 else text
    if len(plain) > LONGEST_NUMBER or _NUMBER.fullmatch(plain) is None:
        raise RecordingError(
            f'"{text[:40]}" is not a number.',
            where=f'{path}, line {line}, column "{label}"',
            remedy="Correct it, or leave the cell empty where the sample is missing.",
        )
    return float(plain)


class _Stamps:
    """The time column: elapsed numbers, h:mm:ss, or dates with times, one kind throughout.

    start: date and time of the first row, None where the column does not give it.
    """

    def __init__(self, label: str, path: Path) -> None:
        self.start: datetime | None = None
        self._label = label
        self._path = path
        self._unit = time_unit(label) or 1.0
        self._read_one: Callable[[str], float] | None = None
        self._kind = ""
        self._first_line = 0

    def read(self, cells: Sequence[str], at: Sequence[int]) -> list[float]:
        """Seconds of each cell, from a zero that `from_first` takes away."""
        if self._read_one is None:
            self._first_line = at[0]
            self._kind, self._read_one = self._choose(cells[0].strip(), at[0])
        times = []
        for cell, line in zip(cells, at, strict=True):
            try:
                time = self._read_one(cell.strip())
            except (ValueError, TypeError):
                time = math.nan
            if not math.isfinite(time):
                raise self._error(cell, line)
            times.append(time)
        return times

    def from_first(
        self, times: Sequence[float], at: Sequence[int]
    ) -> tuple[FloatArray, tuple[str, ...]]:
        """Seconds from the first row, and notes. RecordingError unless they rise."""
        seconds = np.array(times)
        notes: list[str] = []
        steps = np.diff(seconds)
        if self._kind == "clock" and (steps < -HALF_A_DAY_S).any():
            seconds[1:] += DAY_S * np.cumsum(steps < -HALF_A_DAY_S)
            steps = np.diff(seconds)
            notes.append("the clock passes midnight.")
        wrong = np.flatnonzero(steps <= 0)
        if len(wrong):
            row = int(wrong[0])
            raise RecordingError(
                "the time is the same as in the row before."
                if steps[row] == 0
                else "the time is before that of the row before.",
                where=f'{self._path}, line {at[row + 1]}, column "{self._label}"',
                remedy="Sort the rows by time, each time once; give fractions of a second where "
                "there are several rows in one.",
            )
        if self._kind == "clock" and seconds[0] != 0:
            notes.append("the clock times have no date: the start is not known.")
        elif self._kind == "elapsed" and seconds[0] != 0:
            notes.append(f"the times begin at {seconds[0]:g} s: counted from there.")
        return seconds - seconds[0], tuple(notes)

    def _choose(self, first: str, line: int) -> tuple[str, Callable[[str], float]]:
        if _CLOCK.fullmatch(first):
            return "clock", _clock_seconds
        if _MOMENT.match(first):
            try:
                start = datetime.fromisoformat(first)
            except ValueError:
                raise self._error(first, line) from None
            self.start = start
            return "moment", lambda cell: (datetime.fromisoformat(cell) - start).total_seconds()
        return "elapsed", lambda cell: float(_plain_number(cell)) * self._unit

    def _error(self, cell: str, line: int) -> RecordingError:
        return RecordingError(
            f'"{cell.strip()[:40]}" is not a time'
            + ("." if line == self._first_line else " of the kind in the rows before."),
            where=f'{self._path}, line {line}, column "{self._label}"',
            remedy="Give elapsed seconds, h:mm:ss, or year-month-day hour:minute:second.",
        )


def _clock_seconds(cell: str) -> float:
    found = _CLOCK.fullmatch(cell)
    if found is None:
        raise ValueError
    return int(found[1]) * 3600 + int(found[2]) * 60 + float(found[3].replace(",", "."))


def _plain_number(cell: str) -> str:
    plain = cell.replace(",", ".")
    if len(plain) > LONGEST_NUMBER or _NUMBER.fullmatch(plain) is None:
        raise ValueError
    return plain


def encode(recording: Recording, path: Path) -> Encoded:
    """A table, comma (.csv) or tab between columns."""
    written, labels, times, columns, losses = from_recording(recording)
    separator = "," if path.suffix.casefold() == ".csv" else "\t"
    cells = [[_cell(v) for v in column.tolist()] for column in columns]
    lines = ["# Ebbline recording"]
    lines += [f"# {line}" for line in to_lines(written)]
    lines += [f"# {line}" for line in annotation_lines(written.annotations)]
    lines.append(separator.join(_quoted(label, separator) for label in (TIME_COLUMN, *labels)))
    lines += [separator.join(row) for row in zip(map(repr, times.tolist()), *cells, strict=True)]
    text = "\n".join(lines) + "\n"
    return Encoded({path: text.encode("utf-8", "replace")}, tuple(losses))


def _cell(value: float) -> str:
    return "" if value != value else repr(value)


def _quoted(label: str, separator: str) -> str:
    plain = one_line(label).replace(separator, " ")
    return plain.replace('"', "'")
