"""Parquet tables, checked with pyarrow and pandas."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from ebbline.errors import RecordingError
from ebbline.recording import Recording, open_recording, save_recording
from recording.making import labour

RATE = [140.0, None, 142.0, 0.0]


def opened(tmp_path: Path, **columns: object) -> Recording:
    pq.write_table(pa.table(columns), tmp_path / "t.parquet")
    return open_recording(tmp_path / "t.parquet")


def test_file_written_by_us_is_plain_to_other_readers(tmp_path: Path) -> None:
    import pandas as pd

    save_recording(labour(), tmp_path / "t.parquet")
    frame = pd.read_parquet(tmp_path / "t.parquet")
    assert list(frame.columns) == ["time_s", "FHR1 [bpm]", "FHR2 [bpm]", "UC [mmHg]", "MHR [bpm]"]
    np.testing.assert_array_equal(frame["FHR1 [bpm]"], labour().channels[0].samples)
    assert pq.read_table(tmp_path / "t.parquet").column("FHR1 [bpm]").null_count == 80


@pytest.mark.parametrize("kind", [pa.float32(), pa.int16(), pa.float64(), pa.decimal128(6, 2)])
def test_numbers_of_any_type_are_read(kind: pa.DataType, tmp_path: Path) -> None:
    recording = opened(tmp_path, time_s=[0.0, 0.25, 0.5, 0.75], FHR=pa.array(RATE).cast(kind))
    assert recording.channels[0].rate_hz == 4
    np.testing.assert_array_equal(recording.channels[0].samples, [140, np.nan, 142, np.nan])


def test_time_stamps_give_the_start(tmp_path: Path) -> None:
    start = datetime(2031, 3, 9, 23, 59, 59, 500_000, UTC)
    times = [start + timedelta(seconds=i / 4) for i in range(4)]
    recording = opened(tmp_path, timestamp=pa.array(times, pa.timestamp("us", "UTC")), FHR=RATE)
    assert recording.start == start
    assert recording.channels[0].rate_hz == 4
    naive = opened(tmp_path, timestamp=[t.replace(tzinfo=None) for t in times], FHR=RATE)
    assert naive.start == start
    assert any("time zone" in note for note in naive.provenance.notes)


def test_durations_and_clock_times_are_time_too(tmp_path: Path) -> None:
    steps = [timedelta(seconds=i / 2) for i in range(4)]
    assert opened(tmp_path, elapsed=steps, FHR=RATE).channels[0].rate_hz == 2
    clock = [(datetime(2031, 1, 1, 10) + step).time() for step in steps]
    assert opened(tmp_path, clock=clock, FHR=RATE).channels[0].rate_hz == 2


@pytest.mark.parametrize(
    ("columns", "said"),
    [
        ({"time_s": [0.0, 1.0], "HR": [1.0, 2.0]}, "no column is named as a heart rate"),
        ({"time_s": [0.0, 1.0], "FHR": ["a", "b"]}, "the column holds string, not numbers"),
        ({"time_s": [0.0, 0.0], "FHR": [140.0, 141.0]}, "row 2: the time does not rise"),
        ({"time_s": [0.0, None], "FHR": [140.0, 141.0]}, "a time is missing"),
        ({"time_s": [0.0, float("inf")], "FHR": [140.0, 141.0]}, "row 2: a time is missing"),
        ({"time_s": ["x", "y"], "FHR": [140.0, 141.0]}, 'column "time_s": the column holds string'),
        ({"FHR": [140.0, 141.0]}, "there is no column of time"),
        ({"time_s": [0.0], "FHR": [140.0]}, "there is only one row"),
        ({"time_s": [0.0, 1.0], "FHR": [140.0, 1.0], "FHR 1": [1.0, 2.0]}, None),
        ({"time_s": [], "FHR": []}, "not numbers|no rows"),
        ({"time_s": [0.0, 1.0], "t": [0.0, 1.0], "FHR": [140.0, 1.0]}, "both look like time"),
        ({"time_s": [0.0, 1.0], "FHR": [140.0, 1.0], "fhr": [1.0, 1.0]}, "two columns are named"),
        ({"time_s": [0.0, 1e-5], "FHR": [140.0, 141.0]}, "sampling rate of 100000 Hz"),
        ({"time_s": [0.0, 1e9], "FHR": [140.0, 141.0]}, "sampling rate of 1e-09 Hz"),
    ],
)
def test_table_that_cannot_be_read_is_refused(
    columns: dict[str, list[object]], said: str | None, tmp_path: Path
) -> None:
    if said is None:
        assert opened(tmp_path, **columns).fetuses == (1, 2)
        return
    with pytest.raises(RecordingError, match=said) as caught:
        opened(tmp_path, **columns)
    assert "t.parquet" in str(caught.value)
    assert caught.value.remedy


def test_something_else_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "t.parquet"
    save_recording(labour(), path)
    whole = path.read_bytes()
    for data in (b"PAR1", b"hello", whole[: len(whole) // 2], whole[100:], whole[:-3]):
        path.write_bytes(data)
        with pytest.raises(RecordingError, match=r"t\.parquet: this cannot be read as Parquet"):
            open_recording(path)
