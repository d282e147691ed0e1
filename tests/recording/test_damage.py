"""Any damage to a file ends in a reading or in a RecordingError, never in another exception."""

from __future__ import annotations

from contextlib import suppress
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ebbline.errors import RecordingError
from ebbline.recording import Recording, open_recording, save_recording
from recording.making import labour

SUFFIXES = (".hea", ".edf", ".csv", ".parquet", ".json")
many = settings(
    max_examples=100,
    deadline=None,
    suppress_health_check=[HealthCheck.function_scoped_fixture, HealthCheck.too_slow],
)
WORDS = ["nan", "-1", "1e999", "\0", "#", ";", ",", "9" * 30, "~", "/", "é", "\n", "FHR", "mV", "0"]


@st.composite
def damage(draw: st.DrawFn) -> list[tuple[str, float, bytes]]:
    """A few edits: (kind, where as a share of the file, bytes)."""
    piece = st.one_of(
        st.binary(min_size=1, max_size=8), st.sampled_from([w.encode() for w in WORDS])
    )
    edit = st.tuples(
        st.sampled_from(["overwrite", "insert", "delete", "cut"]), st.floats(0, 1), piece
    )
    return draw(st.lists(edit, min_size=1, max_size=4))


def damaged(data: bytes, edits: list[tuple[str, float, bytes]], within: int) -> bytes:
    """The bytes after the edits, which fall in the first `within` bytes."""
    for kind, share, piece in edits:
        at = int(share * min(within, len(data)))
        if kind == "overwrite":
            data = data[:at] + piece + data[at + len(piece) :]
        elif kind == "insert":
            data = data[:at] + piece + data[at:]
        elif kind == "delete":
            data = data[:at] + data[at + len(piece) :]
        else:
            data = data[:at]
    return data


def opened(path: Path) -> Recording | None:
    with suppress(RecordingError):
        recording = open_recording(path)
        assert recording.fetuses
        return recording
    return None


@pytest.mark.parametrize("within", [1200, 10**9])
@pytest.mark.parametrize("suffix", SUFFIXES)
@many
@given(edits=damage())
def test_damaged_file_gives_a_recording_or_a_named_error(
    suffix: str, within: int, tmp_path: Path, edits: list[tuple[str, float, bytes]]
) -> None:
    path = tmp_path / f"r{suffix}"
    whole = tmp_path / "whole"
    if not whole.exists():
        save_recording(labour(0.5), path)
        whole.write_bytes(path.read_bytes())
    path.write_bytes(damaged(whole.read_bytes(), edits, within))
    opened(path)


@pytest.mark.parametrize("suffix", [*SUFFIXES, ".tsv"])
@many
@given(data=st.binary(max_size=600))
def test_any_bytes_give_a_recording_or_a_named_error(
    suffix: str, tmp_path: Path, data: bytes
) -> None:
    path = tmp_path / f"r{suffix}"
    path.write_bytes(data)
    opened(path)


CELL = st.one_of(
    st.sampled_from(["0", "1", "0.5", "140", "-3", "nan", "", "inf", "1e308", "0:00:01", "1,5"]),
    st.text(max_size=5),
)


@many
@given(rows=st.lists(st.lists(CELL, min_size=1, max_size=4), max_size=8))
def test_any_table_gives_a_recording_or_a_named_error(
    tmp_path: Path, rows: list[list[str]]
) -> None:
    path = tmp_path / "t.csv"
    table = "\n".join(";".join(row) for row in [["t", "FHR", "UC"], *rows])
    path.write_bytes(table.encode("utf-8", "surrogatepass"))
    opened(path)


@many
@given(name=st.text(max_size=30))
def test_any_name_gives_a_named_error(tmp_path: Path, name: str) -> None:
    assert opened(tmp_path / "nothing-here" / name) is None
