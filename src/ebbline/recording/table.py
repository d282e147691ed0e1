"""Tables of one row per moment, the common ground of CSV and Parquet."""

from __future__ import annotations

import math
import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from ebbline.errors import RecordingError
from ebbline.recording.channels import Column, short_names, without_impossible
from ebbline.recording.limits import is_possible_rate
from ebbline.recording.model import Channel, ChannelKind, FloatArray, Recording
from ebbline.recording.names import split_unit, understand
from ebbline.recording.timegrid import to_even_grid

TIME_COLUMN = "time_s"
SECONDS_IN = {
    "": 1.0,
    "s": 1.0,
    "sec": 1.0,
    "secs": 1.0,
    "second": 1.0,
    "seconds": 1.0,
    "ms": 0.001,
    "min": 60.0,
    "minutes": 60.0,
    "h": 3600.0,
    "hours": 3600.0,
}
_TIME_NAME = re.compile(
    r"(?:time|t|elapsed|elapsed time|clock|clock time|time stamp|timestamp|date ?time|seconds?)"
    r"(?: (?P<unit>[a-z]+))?"
)
SLOWER_AT_LEAST = 20
"""So many valid values, all in every k-th row, make a channel of a k-th of the rate."""


@dataclass(frozen=True, slots=True, eq=False)
class TableColumn:
    """One column of samples, one value a row, NaN where empty."""

    label: str
    values: FloatArray
    place: str


def time_unit(label: str) -> float | None:
    """Seconds in one unit of a time column, None when the label is not that of one."""
    name, unit = split_unit(label)
    found = _TIME_NAME.fullmatch(" ".join(re.split(r"[\s_\-.]+", name.casefold())).strip())
    if found is None:
        return None
    return SECONDS_IN.get((unit or found["unit"] or "").casefold())


def find_time(labels: Sequence[str], where: str) -> int | None:
    """The number of the time column, None when there is none. RecordingError on two."""
    times = [i for i, label in enumerate(labels) if time_unit(label) is not None]
    if len(times) > 1:
        raise RecordingError(
            f'the columns "{labels[times[0]]}" and "{labels[times[1]]}" both look like time.',
            where=where,
            remedy="Keep one of them.",
        )
    return times[0] if times else None


def check_labels(labels: Sequence[str], where: str) -> None:
    """RecordingError when two columns have one name."""
    seen: set[str] = set()
    for label in labels:
        if label and label.casefold() in seen:
            raise RecordingError(
                f'two columns are named "{label}".', where=where, remedy="Name each column once."
            )
        seen.add(label.casefold())


def is_sample_column(label: str) -> bool:
    """True when the label names a heart rate or uterine activity."""
    return understand(split_unit(label)[0]) is not None


def to_columns(
    columns: Sequence[TableColumn],
    times_s: FloatArray | None,
    told_rates: Sequence[float],
    where: str,
) -> tuple[list[Column], float, tuple[str, ...]]:
    """Evenly sampled columns, the rate of the rows, and notes.

    times_s: seconds from the first row, rising; None when there is no time column. told_rates:
    what the file tells of its columns' rates, one for each column or one for all; empty when it
    does not.
    """
    notes: list[str] = []
    values = []
    for column in columns:
        name = understand(split_unit(column.label)[0])
        kind = name.kind if name else ChannelKind.UTERINE_ACTIVITY
        possible, note = without_impossible(column.values, kind, column.label)
        values.append(possible)
        notes += note
    if not all(is_possible_rate(rate) for rate in told_rates):
        told_rates = ()
    told = max(told_rates, default=None)
    if times_s is not None and len(times_s) > 1:
        grid = to_even_grid(times_s, values, told, where)
        rate_hz, values = grid.rate_hz, list(grid.columns)
        notes += grid.notes
    elif told is not None:
        rate_hz = told
    else:
        raise RecordingError(
            "there is no column of time." if times_s is None else "there is only one row.",
            where=where,
            remedy='Add a column "time_s", or a line "# Rate: 4" with the rows in a second.',
        )
    each = told_rates if len(told_rates) == len(columns) > 1 else None
    made = []
    for number, (column, samples) in enumerate(zip(columns, values, strict=True)):
        if each is not None:
            every = max(1, round(rate_hz / each[number]))
        else:
            every = _valid_every(samples)
            if every > 1:
                notes.append(
                    f"{column.label} has a value in every {every}th row only: taken as sampled "
                    f"{rate_hz / every:g} times a second."
                )
        made.append(Column(column.label, "", samples[::every], rate_hz / every, column.place))
    return made, rate_hz, tuple(notes)


def _valid_every(samples: FloatArray) -> int:
    """k when all valid values stand in rows 0, k, 2k, ...; 1 for an ordinary column."""
    rows = np.flatnonzero(~np.isnan(samples))
    if len(rows) < SLOWER_AT_LEAST or len(samples) == 0:
        return 1
    return max(1, int(np.gcd.reduce(rows)))


def from_recording(
    recording: Recording,
) -> tuple[Recording, list[str], FloatArray, list[FloatArray], list[str]]:
    """A recording as a table: the recording as written, labels, times, columns, losses.

    The rows come at the fastest channel's rate. A slower one fills every k-th row where its rate
    is a k-th of that; otherwise each row holds its latest sample, which is a loss and is said.
    """
    rate = max(c.rate_hz for c in recording.channels)
    losses: list[str] = []
    channels: list[Channel] = []
    names = short_names(recording.channels)
    spread: list[tuple[int, FloatArray]] = []
    for channel, name in zip(recording.channels, names, strict=True):
        every = round(rate / channel.rate_hz)
        if abs(every * channel.rate_hz - rate) > 1e-9 * rate:
            length = max(1, math.floor(channel.duration_s * rate))
            latest = np.floor(np.arange(length) * channel.rate_hz / rate + 1e-9).astype(int)
            latest = np.minimum(latest, len(channel.samples) - 1)
            losses.append(
                f"{name}: resampled from {channel.rate_hz:g} to {rate:g} Hz, each row holding the "
                "latest sample."
            )
            channel = replace(channel, samples=channel.samples[latest], rate_hz=rate)
            every = 1
        channels.append(channel)
        spread.append((every, channel.samples))
    rows = max((len(samples) - 1) * every + 1 for every, samples in spread)
    columns = []
    for every, samples in spread:
        column = np.full(rows, np.nan)
        column[: len(samples) * every : every][: len(samples)] = samples
        columns.append(column)
    labels = [
        f"{name} [{channel.unit}]" if channel.unit else name
        for name, channel in zip(names, channels, strict=True)
    ]
    written = replace(recording, channels=tuple(channels))
    return written, labels, np.arange(rows) / rate, columns, losses
