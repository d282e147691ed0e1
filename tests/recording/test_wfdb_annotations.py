"""WFDB annotation files, in and out, beside what the `wfdb` library reads and writes."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from ebbline.errors import RecordingError
from ebbline.recording import Annotation, open_recording, save_recording
from ebbline.recording.wfdb_annotations import (
    encode_annotations,
    read_annotations,
    with_annotations,
)
from recording.making import labour, plain

wfdb = pytest.importorskip("wfdb")


def written(place: Path, *annotations: Annotation, rate_hz: float = 4.0) -> tuple[Path, list[str]]:
    path = place / "r.atr"
    encoded = encode_annotations(annotations, path, rate_hz)
    path.write_bytes(encoded.contents[path])
    return path, list(encoded.losses)


def test_moments_and_stretches_are_read_by_the_library(tmp_path: Path) -> None:
    """wfdb.rdann, the Python library of PhysioNet."""
    path, losses = written(
        tmp_path,
        Annotation(0.5, 0.0, "examined"),
        Annotation(12.25, 30.5, "late deceleration, 20 bpm"),
        Annotation(3600.0, 0.0, "far on"),
    )
    assert losses == []
    found = wfdb.rdann(str(path.with_suffix("")), "atr")
    assert found.fs == 4
    assert found.sample.tolist() == [2, 49, 171, 14400]
    assert found.symbol == ['"', "(", ")", '"']
    assert found.aux_note == ["examined", *["late deceleration, 20 bpm"] * 2, "far on"]


def test_what_the_library_writes_is_read(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """wfdb.wrann, with subtypes, channels and numbers that carry over, and its own resolution."""
    monkeypatch.chdir(tmp_path)
    wfdb.wrann(
        "b",
        "atr",
        np.array([1, 50, 3000, 400_000]),
        symbol=["N", "+", "V", '"'],
        aux_note=["", "(AFIB", "", "hello"],
        subtype=np.array([0, 1, 0, 0]),
        chan=np.array([0, 1, 1, 0]),
        num=np.array([0, 0, 2, 2]),
        fs=360,
    )
    assert read_annotations(Path("b.atr")) == (
        Annotation(1 / 360, 0.0, "normal beat"),
        Annotation(50 / 360, 0.0, "rhythm change: (AFIB"),
        Annotation(3000 / 360, 0.0, "premature ventricular contraction"),
        Annotation(400_000 / 360, 0.0, "hello"),
    )


def test_without_a_resolution_the_headers_rate_counts_then_the_recordings(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    wfdb.wrann("r", "atr", np.array([8, 40]), symbol=['"', '"'], aux_note=["a", "b"])
    with pytest.raises(RecordingError, match=r"nothing says how many samples.*\.hea"):
        read_annotations(Path("r.atr"))
    assert [a.time_s for a in read_annotations(Path("r.atr"), 8.0)] == [1.0, 5.0]
    save_recording(plain([140.0] * 400, rate_hz=2.0), "r.hea")
    assert [a.time_s for a in read_annotations(Path("r.atr"), 8.0)] == [4.0, 20.0]


WORDS = st.text(
    st.characters(codec="utf-8", categories=("L", "N", "P")), min_size=1, max_size=30
).filter(lambda text: not text.startswith("## "))


@settings(
    max_examples=80, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    st.lists(
        st.builds(
            Annotation,
            st.integers(0, 600_000).map(lambda n: n / 1000),
            st.integers(0, 90_000).map(lambda n: n / 1000),
            WORDS,
        ),
        max_size=12,
        unique_by=lambda a: a.text,
    )
)
def test_annotations_come_back_to_the_millisecond(
    tmp_path: Path, annotations: list[Annotation]
) -> None:
    path, losses = written(tmp_path, *annotations)
    assert losses == []
    again = read_annotations(path)
    assert [a.text for a in again] == [
        a.text for a in sorted(annotations, key=lambda a: (a.time_s, a.duration_s))
    ]
    for one, other in zip(
        sorted(annotations, key=lambda a: a.text), sorted(again, key=lambda a: a.text), strict=True
    ):
        assert one.time_s == pytest.approx(other.time_s, abs=1e-9)
        assert one.duration_s == pytest.approx(other.duration_s, abs=1e-9)


def test_what_cannot_be_held_is_said(tmp_path: Path) -> None:
    _, losses = written(
        tmp_path,
        Annotation(0.0, 0.0, "ä" * 200),
        Annotation(1e9, 0.0, "never"),
        Annotation(1 / 3, 0.0, "a third"),
    )
    assert losses == [
        '"' + "ä" * 40 + '..." was cut to 255 bytes.',
        '"never" has no possible time: left out.',
        "times were rounded to milliseconds.",
    ]


def test_marks_are_added_once_and_those_outside_are_left_out(tmp_path: Path) -> None:
    recording = labour()
    path, _ = written(
        tmp_path,
        *recording.annotations,
        Annotation(90.0, 0.0, "new"),
        Annotation(5000.0, 0.0, "far"),
    )
    again = with_annotations(recording, path)
    assert [a.text for a in again.annotations] == [
        "vaginal examination",
        "turned to the left side; pulse checked",
        "new",
    ]
    assert "1 annotation outside the recording: left out." in again.provenance.notes
    save_recording(again, tmp_path / "out.csv")
    assert open_recording(tmp_path / "out.csv").annotations == again.annotations


@pytest.mark.parametrize(
    "data", [b"\0", b"x" * 40, b"\x00\xec\xff", bytes([0, 252, 3, 0]), b"\x05\x58"]
)
def test_what_is_no_annotation_file_is_refused(data: bytes, tmp_path: Path) -> None:
    (tmp_path / "a.atr").write_bytes(data)
    with pytest.raises(RecordingError, match=r"a\.atr.*MIT format"):
        read_annotations(tmp_path / "a.atr", 4.0)


def test_another_suffix_is_not_written(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match=r"End the name in one of: \.atr"):
        encode_annotations((), tmp_path / "x.dat", 4.0)
