"""EDF+ against pyEDFlib in both directions, and the convention for gaps."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pyedflib
import pytest

from ebbline.errors import RecordingError
from ebbline.recording import Annotation, Channel, open_recording, save_recording
from ebbline.terms import SensorKind
from recording.making import ACTIVITY, labour, plain


def field(path: Path, at: int, text: str) -> None:
    """Overwrite header bytes."""
    data = bytearray(path.read_bytes())
    data[at : at + len(text)] = text.encode()
    path.write_bytes(data)


def test_pyedflib_reads_the_same_samples_rates_labels_and_start(tmp_path: Path) -> None:
    recording = labour()
    save_recording(recording, tmp_path / "made.edf")
    with pyedflib.EdfReader(str(tmp_path / "made.edf")) as theirs:
        assert theirs.getSignalLabels() == ["FHR1", "FHR2", "UC", "MHR"]
        assert list(theirs.getSampleFrequencies()) == [4, 4, 1, 4]
        assert theirs.getStartdatetime().replace(microsecond=0) == datetime(2031, 3, 9, 23, 58, 1)
        assert theirs.starttime_subsecond == 2_500_000, "units of 100 ns"
        assert theirs.getTransducer(0) == "ultrasound"
        assert theirs.getPhysicalDimension(2) == "mmHg"
        assert theirs.getPatientName() in {"", "X"}
        for number, channel in enumerate(recording.channels):
            samples = theirs.readSignal(number)[: len(channel.samples)]
            present = ~np.isnan(channel.samples)
            np.testing.assert_allclose(samples[present], channel.samples[present], atol=1e-9)
        assert set(theirs.readSignal(0)[40:120]) == {0.0}, "a missing heart rate is 0 bpm"


def test_pyedflib_reads_the_annotations_with_their_times(tmp_path: Path) -> None:
    save_recording(labour(), tmp_path / "made.edf")
    with pyedflib.EdfReader(str(tmp_path / "made.edf")) as theirs:
        onsets, durations, texts = theirs.readAnnotations()
    found = dict(zip(texts, zip(onsets, durations, strict=True), strict=True))
    assert found["turned to the left side; pulse checked"] == (30.0, 20.25)
    assert found["vaginal examination"][0] == 12.5
    assert found["Ebbline | Signal lost: FHR1"] == (10.0, 20.0)


def test_samples_written_by_pyedflib_are_read_the_same(tmp_path: Path) -> None:
    path = tmp_path / "theirs.edf"
    rate = np.round(140 + 10 * np.sin(np.arange(480) / 9))
    activity = np.round(20 + 10 * np.sin(np.arange(120) / 9))
    writer = pyedflib.EdfWriter(str(path), 3, pyedflib.FILETYPE_EDFPLUS)
    common = {"digital_min": -2048, "digital_max": 2047, "prefilter": "", "transducer": ""}
    writer.setSignalHeaders(
        [
            {"label": "FHR1 US", "dimension": "bpm", "sample_frequency": 4}
            | {"physical_min": 0, "physical_max": 255} | common,
            {"label": "TOCO", "dimension": "", "sample_frequency": 1}
            | {"physical_min": 0, "physical_max": 100} | common,
            {"label": "ECG", "dimension": "uV", "sample_frequency": 100}
            | {"physical_min": -500, "physical_max": 500} | common,
        ]
    )  # fmt: skip
    writer.setStartdatetime(datetime(2031, 3, 9, 23, 58, 1))
    writer.writeSamples([rate, activity, np.zeros(12000)])
    writer.writeAnnotation(12.5, 3, "membranes ruptured")
    writer.close()
    with pyedflib.EdfReader(str(path)) as theirs:
        expected = [theirs.readSignal(0), theirs.readSignal(1)]
    recording = open_recording(path)
    for channel, samples in zip(recording.channels, expected, strict=True):
        np.testing.assert_allclose(channel.samples, samples, rtol=0, atol=1e-12)
    assert [c.sensor for c in recording.channels] == [SensorKind.ULTRASOUND, SensorKind.TOCO]
    assert recording.annotations == (Annotation(12.5, 3.0, "membranes ruptured"),)
    assert recording.start is not None and recording.start.isoformat().startswith(
        "2031-03-09T23:58"
    )
    notes = " ".join(recording.provenance.notes)
    assert '"ECG" (uV) was not read' in notes
    assert "time zone" in notes


def test_plain_edf_by_pyedflib_is_read(tmp_path: Path) -> None:
    path = tmp_path / "theirs.edf"
    writer = pyedflib.EdfWriter(str(path), 1, pyedflib.FILETYPE_EDF)
    writer.setSignalHeader(
        0,
        {
            "label": "FHR", "dimension": "bpm", "sample_frequency": 2,
            "physical_min": 0, "physical_max": 300, "digital_min": 0, "digital_max": 300,
            "prefilter": "", "transducer": "scalp electrode",
        },
    )  # fmt: skip
    writer.setStartdatetime(datetime(1999, 12, 31, 1, 2, 3))
    writer.writeSamples([np.array([140.0, 0.0, 150.0, 160.0])])
    writer.close()
    recording = open_recording(path)
    np.testing.assert_array_equal(recording.channels[0].samples, [140, np.nan, 150, 160])
    assert recording.channels[0].sensor is SensorKind.SCALP_ELECTRODE
    assert recording.start is not None and recording.start.year == 1999


def test_long_remarks_are_not_cut_short(tmp_path: Path) -> None:
    text = "second opinion asked for, " * 40
    notes = tuple(Annotation(0.0, 0.0, f"{i} {text}".strip()) for i in range(30))
    save_recording(replace(plain([140.0] * 8), annotations=notes), tmp_path / "r.edf")
    again = open_recording(tmp_path / "r.edf").annotations
    assert {a.text for a in again} == {a.text for a in notes}


def test_unknown_start_stays_unknown(tmp_path: Path) -> None:
    """EDF+: `Startdate X` when the date is not available (Kemp B, Olivan J. 2003)."""
    save_recording(plain([140.0] * 8), tmp_path / "r.edf")
    assert b"Startdate X" in (tmp_path / "r.edf").read_bytes()
    assert open_recording(tmp_path / "r.edf").start is None
    with pyedflib.EdfReader(str(tmp_path / "r.edf")) as theirs:
        assert theirs.getStartdatetime() == datetime(1985, 1, 1)


def test_start_that_edf_cannot_hold_is_left_out_and_said(tmp_path: Path) -> None:
    late = labour().start
    assert late is not None
    saved = save_recording(replace(labour(), start=late.replace(year=2091)), tmp_path / "r.edf")
    assert any("2091" in loss for loss in saved.losses)


def test_zero_pressure_is_not_taken_for_a_gap(tmp_path: Path) -> None:
    pressure = np.array([0.0, np.nan, 12.5, -3.0] * 4)
    channels = (
        *plain([140.0] * 16).channels,
        Channel(ACTIVITY, pressure, 4.0, SensorKind.PRESSURE_CATHETER, 0, "mmHg"),
    )
    save_recording(replace(plain([1.0]), channels=channels), tmp_path / "r.edf")
    np.testing.assert_array_equal(open_recording(tmp_path / "r.edf").channels[1].samples, pressure)


def test_gaps_between_pieces_of_a_discontinuous_file_are_missing_signal(tmp_path: Path) -> None:
    """EDF+D: each data record begins when its first annotation says (Kemp B, Olivan J. 2003)."""
    path = tmp_path / "r.edf"
    save_recording(plain(np.arange(100.0, 180.0)), path)
    field(path, 192, "EDF+D")
    data = path.read_bytes()
    assert data.count(b"+10\x14\x14") == 1
    path.write_bytes(data.replace(b"+10\x14\x14", b"+30\x14\x14"))
    recording = open_recording(path)
    assert recording.duration_s == 40
    samples = recording.channels[0].samples
    assert np.isnan(samples[40:120]).all()
    np.testing.assert_array_equal(samples[120:], np.arange(140.0, 180.0))
    assert any("discontinuous" in note for note in recording.provenance.notes)


def test_rate_that_edf_cannot_hold_is_refused(tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match=r"EDF\+ cannot hold a sampling rate of 3\.1415926"):
        save_recording(plain([140.0] * 9, 3.14159265), tmp_path / "r.edf")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("at", "text", "said"),
    [
        (0, "1       ", "does not begin with version 0"),
        (0, "\xffBIOSEM", "does not begin with version 0"),
        (168, "99.99.99", "start date"),
        (176, "ab.cd.ef", "start time"),
        (184, "12345   ", "field header bytes"),
        (236, "-5      ", "field number of data records"),
        (236, "9       ", "its header says 9: it was cut off"),
        (244, "0       ", "field duration of a data record"),
        (244, "nan     ", "field duration of a data record"),
        (252, "900 ", "field number of signals"),
        (252, "x   ", "field number of signals"),
    ],
)
def test_lying_header_field_is_named(at: int, text: str, said: str, tmp_path: Path) -> None:
    path = tmp_path / "r.edf"
    recording = replace(plain([140.0] * 80), start=labour().start)
    save_recording(recording, path)
    field(path, 88, " " * 80)
    field(path, at, text)
    with pytest.raises(RecordingError, match=str(path.name)) as caught:
        open_recording(path)
    assert said in str(caught.value)


def test_number_of_records_left_open_is_taken_from_the_size(tmp_path: Path) -> None:
    """EDF: -1 while the number of data records is not known yet (Kemp B, et al. 1992)."""
    path = tmp_path / "r.edf"
    save_recording(plain(np.arange(100.0, 180.0)), path)
    field(path, 236, "-1      ")
    recording = open_recording(path)
    assert recording.duration_s == 20
    assert any("taken from the file's size" in note for note in recording.provenance.notes)


def test_bytes_after_the_last_record_are_left_out_and_said(tmp_path: Path) -> None:
    path = tmp_path / "r.edf"
    save_recording(plain(np.arange(100.0, 180.0)), path)
    path.write_bytes(path.read_bytes() + b"1234")
    recording = open_recording(path)
    np.testing.assert_array_equal(recording.channels[0].samples, np.arange(100.0, 180.0))
    assert any("4 bytes follow after the last" in note for note in recording.provenance.notes)


def test_discontinuous_file_whose_records_overlap_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "r.edf"
    save_recording(plain(np.arange(100.0, 180.0)), path)
    field(path, 192, "EDF+D")
    path.write_bytes(path.read_bytes().replace(b"+10\x14\x14", b"+05\x14\x14"))
    with pytest.raises(RecordingError, match="data record 2 begins before the one before it"):
        open_recording(path)


def test_discontinuous_file_that_does_not_say_when_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "r.edf"
    save_recording(plain(np.arange(100.0, 180.0)), path)
    field(path, 192, "EDF+D")
    path.write_bytes(path.read_bytes().replace(b"+10\x14\x14", b"*10\x14\x14"))
    with pytest.raises(RecordingError, match="do not say when they begin"):
        open_recording(path)


def test_first_record_days_after_the_start_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "r.edf"
    save_recording(plain([140.0] * 8), path)
    data = path.read_bytes()
    assert b"+0\x14\x14\0\0" in data or b"+0\x14\x14\0+0\x14" in data
    path.write_bytes(data.replace(b"+0\x14\x14\0+0\x14Ebb", b"+9999999\x14\x14\0b", 1))
    with pytest.raises(RecordingError, match=r"begin 1e\+07 s from the start"):
        open_recording(path)


def test_activity_too_large_for_the_header_is_refused(tmp_path: Path) -> None:
    channels = (*plain([140.0] * 2).channels, Channel(ACTIVITY, np.array([0.0, 1e12]), 4.0))
    with pytest.raises(
        RecordingError, match=r"EDF\+ cannot hold uterine activity from 0 to 1e\+12"
    ):
        save_recording(replace(plain([1.0]), channels=channels), tmp_path / "r.edf")


def test_bdf_is_told_from_edf(tmp_path: Path) -> None:
    (tmp_path / "r.edf").write_bytes(b"\xffBIOSEMI" + b" " * 500)
    with pytest.raises(RecordingError, match="24-bit BDF file"):
        open_recording(tmp_path / "r.edf")


@pytest.mark.parametrize("length", [3, 200, 300, 700, 1000])
def test_cut_file_is_refused(length: int, tmp_path: Path) -> None:
    path = tmp_path / "r.edf"
    save_recording(plain([140.0] * 400), path)
    path.write_bytes(path.read_bytes()[:length])
    with pytest.raises(RecordingError, match=r"cut off|ends after|not an EDF file"):
        open_recording(path)


def test_equal_physical_bounds_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "r.edf"
    save_recording(plain([140.0] * 80), path)
    signals = 2
    field(path, 256 + signals * (16 + 80 + 8 + 8), "0       ")
    with pytest.raises(RecordingError, match="field physical maximum of signal 1"):
        open_recording(path)
