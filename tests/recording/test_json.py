"""Our JSON."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from ebbline.errors import RecordingError
from ebbline.recording import open_recording, save_recording
from ebbline.terms import SensorKind
from recording.making import labour

SMALLEST = {"kind": "fetal heart rate", "samples": [140, None, 141.5], "rate_hz": 4, "fetus": 1}

PRESSURE = {"kind": "uterine activity", "fetus": 0}


def document(**changes: Any) -> dict[str, Any]:
    return {"format": "ebbline recording", "version": 1, "recording": {"channels": [SMALLEST]}} | (
        changes
    )


def channel(**changes: Any) -> dict[str, Any]:
    return document(recording={"channels": [SMALLEST | changes]})


def test_smallest_document_is_read(tmp_path: Path) -> None:
    path = tmp_path / "by-hand.json"
    path.write_text(json.dumps(document()))
    recording = open_recording(path)
    np.testing.assert_array_equal(recording.channels[0].samples, [140, np.nan, 141.5])
    assert recording.name == "by-hand"
    assert recording.channels[0].sensor is SensorKind.UNKNOWN
    assert recording.context.weeks is None


def test_missing_samples_are_null_and_text_stays_readable(tmp_path: Path) -> None:
    save_recording(labour(), tmp_path / "r.json")
    text = (tmp_path / "r.json").read_text()
    assert "NaN" not in text
    assert json.loads(text)["recording"]["channels"][0]["samples"][40] is None


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("{", "line 1, column 2: this is not JSON"),
        ("[" * 100_000, "nested too deeply"),
        ("9" * 5000, "number too long"),
        ("[]", 'the field "format" is not'),
        ('{"format": "x"}', 'the field "format" is not'),
        (b"\xff\xfe\x00", "byte 0 is not UTF-8"),
        (document(version=2), "version 2 is not known"),
        (document(recording=3), "field recording.channels: "),
        (document(recording={"channels": {}}), "field recording.channels: "),
        (document(recording={"channels": [3]}), r"field recording.channels\[0\].samples: "),
        (document(recording={"channels": []}), "there is no fetal heart-rate channel"),
        (channel(samples="140"), r"channels\[0\].samples: a channel holds no list"),
        (channel(samples=[140, "x"]), r'channels\[0\].samples\[1\]: "x" is not a sample'),
        (channel(samples=[140, True]), r"channels\[0\].samples\[1\]: true is not a sample"),
        (channel(samples=[[140]]), r"samples\[0\]: \[140\] is not a sample"),
        (channel(samples=[10**400]), r"samples\[0\]: 1000000\d+ is not a sample"),
        (channel(samples=[]), r"channel 1 .*: the channel holds no row of samples"),
        (channel(kind="pulse"), r"channels\[0\].kind"),
        (channel(rate_hz="fast"), r"channels\[0\].rate_hz"),
        (channel(rate_hz=0), "sampling rate of 0 Hz is not possible"),
        (channel(rate_hz=-4), "sampling rate of -4 Hz is not possible"),
        (channel(rate_hz=None), "sampling rate of nan Hz is not possible"),
        (channel(rate_hz=1e6), r"sampling rate of 1e\+06 Hz is not possible"),
        (channel(unit="ms"), r'channel 1 .*is in "ms", not in beats per minute'),
        (
            document(recording={"channels": [SMALLEST, SMALLEST | PRESSURE | {"unit": "kPa"}]}),
            r"channel 2 \(uterine activity\): the uterine activity is in kPa, not in mmHg",
        ),
        (
            document(recording={"channels": [SMALLEST, SMALLEST | PRESSURE | {"unit": "bpm"}]}),
            r'channel 2 .*is in "bpm", a unit of heart rate',
        ),
        (channel(fetus=0), "are not numbered 1, 2"),
        (document(recording={"channels": [SMALLEST, SMALLEST]}), "are not numbered 1, 2"),
        (document(recording={"channels": [SMALLEST], "start": "noon"}), "recording.start|noon"),
    ],
)
def test_document_that_does_not_fit_is_refused_with_its_field(
    content: Any, said: str, tmp_path: Path
) -> None:
    path = tmp_path / "r.json"
    if isinstance(content, bytes):
        path.write_bytes(content)
    else:
        path.write_text(content if isinstance(content, str) else json.dumps(content))
    with pytest.raises(RecordingError, match=said) as caught:
        open_recording(path)
    assert "r.json" in caught.value.where
    assert caught.value.remedy


def test_start_without_a_zone_is_taken_as_utc_and_said(tmp_path: Path) -> None:
    path = tmp_path / "r.json"
    recording = {"channels": [SMALLEST], "start": "2031-03-09T10:00:00"}
    path.write_text(json.dumps(document(recording=recording)))
    read = open_recording(path)
    assert read.start is not None and read.start.utcoffset() is not None
    assert any("time zone" in note for note in read.provenance.notes)


def test_annotation_without_a_time_is_left_out_and_said(tmp_path: Path) -> None:
    path = tmp_path / "r.json"
    annotations = [
        {"time_s": None, "duration_s": 0, "text": "lost"},
        {"time_s": 1, "duration_s": 0, "text": "kept"},
    ]
    recording = {"channels": [SMALLEST], "annotations": annotations}
    path.write_text(json.dumps(document(recording=recording)))
    read = open_recording(path)
    assert [a.text for a in read.annotations] == ["kept"]
    assert "1 annotations without a time were left out." in read.provenance.notes
