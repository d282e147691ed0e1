"""Parquet: the columns of the CSV table, with what is known besides in the file's metadata."""

from __future__ import annotations

import json
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import numpy as np

from ebbline.errors import RecordingError
from ebbline.recording.channels import to_channels
from ebbline.recording.files import check_file
from ebbline.recording.header_comments import (
    annotation_lines,
    apply_remarks,
    to_lines,
    understand_lines,
)
from ebbline.recording.limits import check_total
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

NAME = "Parquet"
METADATA_KEY = b"ebbline"


def read(path: Path) -> Recording:
    """Read a Parquet file: a row per moment, a column of time and one for each channel."""
    check_file(path)
    labels, lines, table = _load(path)
    place = str(path)
    time_column = find_time(labels, place)
    wanted = [label for label in labels if is_sample_column(label)]
    if not wanted:
        shown = ", ".join(f'"{label[:40]}"' for label in labels[:10])
        raise RecordingError(
            f"no column is named as a heart rate or uterine activity; the columns are {shown}.",
            where=place,
            remedy='Name them, for example "time_s", "FHR", "UC".',
        )
    check_total(table.num_rows * len(wanted), place)
    if table.num_rows == 0:
        raise RecordingError(
            "the table has no rows.", where=place, remedy="Export the recording again."
        )
    remarks = understand_lines(lines)
    columns = [
        TableColumn(label, _numbers(table, label, path), f'{place}, column "{label}"')
        for label in wanted
    ]
    notes: list[str] = [
        f'column "{label}" was not read: its name is not that of a heart rate or of uterine '
        "activity."
        for i, label in enumerate(labels)
        if i != time_column and label not in wanted
    ]
    times: FloatArray | None = None
    start = None
    if time_column is not None:
        times, start = _times(table, labels[time_column], path)
        if start is None and times[0] != 0:
            notes.append(f"the times begin at {times[0]:g} s: counted from there.")
        times = times - times[0]
    told = [channel.rate_hz for channel in remarks.channels]
    made, rate, more = to_columns(columns, times, told, place)
    channels, yet_more = to_channels(made, place, described=bool(remarks.channels))
    provenance = Provenance(path.name, NAME, (*notes, *more, *yet_more))
    recording = Recording(path.stem, channels, start, provenance=provenance)
    return apply_remarks(recording, remarks, rate)


def _load(path: Path) -> tuple[list[str], list[str], Any]:
    """Column names, lines of metadata, and the table of the columns that are ours."""
    import pyarrow.parquet as pq

    with path.open("rb") as raw:
        try:
            file = pq.ParquetFile(raw)
            labels = list(file.schema_arrow.names)
            check_labels(labels, str(path))
            ours = [x for x in labels if is_sample_column(x) or time_unit(x) is not None]
            check_total(file.metadata.num_rows * max(1, len(ours)), str(path))
            return labels, _lines(file.schema_arrow.metadata), file.read(columns=ours)
        except RecordingError:
            raise
        except Exception as error:
            raise _not_readable(path, error) from error


def _not_readable(path: Path, error: Exception) -> RecordingError:
    reason = str(error).splitlines()[0][:120] if str(error) else type(error).__name__
    return RecordingError(
        f"this cannot be read as Parquet: {reason}.",
        where=str(path),
        remedy="Check that the file is whole and that the suffix is right.",
    )


def _lines(metadata: dict[bytes, bytes] | None) -> list[str]:
    try:
        lines = json.loads((metadata or {}).get(METADATA_KEY, b"[]"))
    except (ValueError, RecursionError):
        return []
    return [line for line in lines if isinstance(line, str)] if isinstance(lines, list) else []


def _numbers(table: Any, label: str, path: Path) -> FloatArray:
    """A column as floats, NaN where null."""
    import pyarrow as pa

    column = table.column(label)
    kind = column.type
    if not (pa.types.is_integer(kind) or pa.types.is_floating(kind) or pa.types.is_decimal(kind)):
        raise RecordingError(
            f"the column holds {kind}, not numbers.",
            where=f'{path}, column "{label}"',
            remedy="Store it as floating-point numbers, null where missing.",
        )
    try:
        values = column.cast(pa.float64(), safe=False).to_numpy()
    except Exception as error:
        raise _not_readable(path, error) from error
    return np.array(values, dtype=np.float64)


def _times(table: Any, label: str, path: Path) -> tuple[FloatArray, datetime | None]:
    """Seconds, rising; and the date and time of the first row where the column gives it."""
    import pyarrow as pa

    column = table.column(label)
    kind = column.type
    where = f'{path}, column "{label}"'
    start: datetime | None = None
    if column.null_count:
        raise RecordingError("a time is missing.", where=where, remedy="Give every row its time.")
    if pa.types.is_timestamp(kind):
        whole = _nanoseconds(column, pa.timestamp("ns", kind.tz), path)
        seconds = (whole - whole[0]) / 1e9
        start = datetime(1970, 1, 1, tzinfo=UTC if kind.tz else None)
        start += timedelta(microseconds=int(whole[0]) // 1000)
    elif pa.types.is_duration(kind):
        seconds = _nanoseconds(column, pa.duration("ns"), path) / 1e9
    elif pa.types.is_time(kind):
        seconds = _nanoseconds(column, pa.time64("ns"), path) / 1e9
    else:
        seconds = _numbers(table, label, path) * (time_unit(label) or 1.0)
    if not np.isfinite(seconds).all():
        row = int(np.flatnonzero(~np.isfinite(seconds))[0])
        raise RecordingError(
            "a time is missing.", where=f"{where}, row {row + 1}", remedy="Give every row its time."
        )
    wrong = np.flatnonzero(np.diff(seconds) <= 0)
    if len(wrong):
        raise RecordingError(
            "the time does not rise from the row before.",
            where=f"{where}, row {int(wrong[0]) + 2}",
            remedy="Sort the rows by time, each time once.",
        )
    return seconds, start


def _nanoseconds(column: Any, kind: Any, path: Path) -> FloatArray:
    import pyarrow as pa

    try:
        return np.array(column.cast(kind).cast(pa.int64()).to_numpy(), dtype=np.int64)
    except Exception as error:
        raise _not_readable(path, error) from error


def encode(recording: Recording, path: Path) -> Encoded:
    """The table of the CSV format, compressed."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    written, labels, times, columns, losses = from_recording(recording)
    lines = [*to_lines(written), *annotation_lines(written.annotations)]
    arrays = [pa.array(times), *(pa.array(c, from_pandas=True) for c in columns)]
    table = pa.table(dict(zip((TIME_COLUMN, *labels), arrays, strict=True)))
    table = table.replace_schema_metadata({METADATA_KEY: json.dumps(lines).encode()})
    sink = pa.BufferOutputStream()
    pq.write_table(table, sink, compression="zstd")
    return Encoded({path: sink.getvalue().to_pybytes()}, tuple(losses))
