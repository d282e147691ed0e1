"""Reading WFDB records."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from ebbline.recording import ChannelKind, open_recording, save_recording
from ebbline.recording.wfdb_format import parse_header
from ebbline.terms import SensorKind
from recording.making import plain
from shared_data import CTU_UHB, needs_ctu_uhb

GAINS = {
    "8": 2,
    "16": 200,
    "24": 50000,
    "32": 10000000,
    "61": 200,
    "80": 1,
    "160": 200,
    "212": 10,
    "310": 3,
    "311": 3,
}
"""Steps per unit that spread the format's numbers over possible heart rates."""


def write_any_bytes(directory: Path, name: str, kind: str) -> None:
    """A record of two signals of 24 samples in one of the WFDB formats, any bytes as samples."""
    data = np.random.default_rng(int(kind)).integers(0, 256, 400, dtype=np.uint8)
    (directory / f"{name}.dat").write_bytes(data.tobytes())
    (directory / f"{name}.hea").write_text(
        f"{name} 2 4 24\n"
        f"{name}.dat {kind} {GAINS[kind]}(-30)/bpm 12 0 10 0 0 FHR\n"
        f"{name}.dat {kind} 5(3)/nd 12 0 7 0 0 UC\n"
    )


def assert_as_library(path: Path) -> None:
    """The samples are those of `wfdb.rdrecord`, with impossible heart rates missing."""
    import wfdb

    theirs = wfdb.rdrecord(str(path), smooth_frames=False).e_p_signal
    rate, activity = open_recording(path).channels
    possible = (theirs[0] > 0) & (theirs[0] <= 300)
    assert possible.any()
    np.testing.assert_array_equal(rate.samples, np.where(possible, theirs[0], np.nan))
    np.testing.assert_array_equal(activity.samples, theirs[1])


@needs_ctu_uhb
def test_samples_are_those_of_the_wfdb_library_in_all_open_recordings() -> None:
    """Against the `wfdb` library's rdrecord, bit for bit; a heart rate of 0 is missing.

    Source of the data: CTU-UHB Intrapartum Cardiotocography Database (Chudacek V, et al. 2014).
    """
    import wfdb

    headers = sorted(CTU_UHB.glob("*.hea"))
    assert len(headers) == 276
    for header in headers:
        recording = open_recording(header)
        theirs = wfdb.rdrecord(str(header.with_suffix(""))).p_signal
        rate, activity = recording.channels
        expected = np.where(theirs[:, 0] == 0, np.nan, theirs[:, 0])
        np.testing.assert_array_equal(rate.samples, expected, strict=True, err_msg=header.name)
        np.testing.assert_array_equal(activity.samples, theirs[:, 1], strict=True)
        assert not any("checksum" in note for note in recording.provenance.notes), header.name
        assert rate.kind is ChannelKind.FETAL_HEART_RATE
        assert (rate.rate_hz, rate.fetus, rate.unit) == (4.0, 1, "bpm")
        assert activity.kind is ChannelKind.UTERINE_ACTIVITY
        assert activity.sensor is SensorKind.TOCO


@needs_ctu_uhb
def test_header_gives_weeks_second_stage_sensor_and_outcome() -> None:
    recording = open_recording(CTU_UHB / "1001")
    assert recording.context.weeks == 37
    assert recording.context.second_stage_start_s == 3600
    assert recording.context.parity == 0
    assert recording.context.meconium is False
    assert recording.context.fever is False
    assert recording.context.oxytocin is None
    assert recording.channels[0].sensor is SensorKind.ULTRASOUND
    assert recording.provenance.outcome["pH"] == 7.14
    assert recording.provenance.outcome["Apgar5"] == 8
    assert recording.start is None


@needs_ctu_uhb
def test_unknown_second_stage_and_both_sensors_are_said_to_be_unknown() -> None:
    contexts = {p.stem: open_recording(p) for p in sorted(CTU_UHB.glob("*.hea"))}
    unknown = [r for r in contexts.values() if r.context.second_stage_start_s is None]
    assert len(unknown) == 20, "the headers with Pos. II.st. -1"
    both = [r for r in contexts.values() if r.channels[0].sensor is SensorKind.UNKNOWN]
    assert len(both) == 13, "the headers with Rec. type 12"
    assert all("in turn" in " ".join(r.provenance.notes) for r in both)


@pytest.mark.parametrize("kind", GAINS)
def test_every_format_of_the_library_is_read_as_the_library_reads_it(
    kind: str, tmp_path: Path
) -> None:
    write_any_bytes(tmp_path, "rec", kind)
    assert_as_library(tmp_path / "rec")


@pytest.mark.parametrize("kind", ["508", "516", "524"])
def test_compressed_signals_are_read_as_the_library_reads_them(kind: str, tmp_path: Path) -> None:
    import wfdb

    low = np.round(60 + 20 * np.sin(np.arange(40) / 5)).astype(np.int64)
    wfdb.wrsamp(
        "rec",
        fs=4,
        units=["bpm", "nd"],
        sig_name=["FHR", "UC"],
        d_signal=np.stack([low, low // 2], axis=1),
        fmt=[kind, kind],
        adc_gain=[0.5, 1.0],
        baseline=[0, 0],
        write_dir=str(tmp_path),
    )
    assert_as_library(tmp_path / "rec")


@pytest.mark.parametrize("kind", ["16", "212"])
def test_skewed_signals_are_read_as_the_library_reads_them(kind: str, tmp_path: Path) -> None:
    write_any_bytes(tmp_path, "rec", kind)
    header = tmp_path / "rec.hea"
    header.write_text(header.read_text().replace(f"{kind} 5(3)", f"{kind}:2 5(3)"))
    assert ":2" in header.read_text()
    assert_as_library(tmp_path / "rec")


def test_segments_are_joined_as_the_library_joins_them(tmp_path: Path) -> None:
    write_any_bytes(tmp_path, "one", "16")
    write_any_bytes(tmp_path, "two", "16")
    (tmp_path / "both.hea").write_text("both/2 2 4 48\none 24\ntwo 24\n#Gest. weeks  40\n")
    assert_as_library(tmp_path / "both")
    recording = open_recording(tmp_path / "both")
    assert recording.duration_s == 12
    assert recording.context.weeks == 40


def test_a_gap_between_segments_is_missing_signal(tmp_path: Path) -> None:
    """Variable layout of header(5): a layout segment, and ~ where nothing was recorded."""
    write_any_bytes(tmp_path, "one", "16")
    write_any_bytes(tmp_path, "two", "16")
    (tmp_path / "form.hea").write_text(
        "form 2 4 0\n~ 0 200(-30)/bpm 12 0 0 0 0 FHR\n~ 0 5(3)/nd 12 0 0 0 0 UC\n"
    )
    (tmp_path / "gap.hea").write_text("gap/4 2 4 60\nform 0\none 24\n~ 12\ntwo 24\n")
    assert_as_library(tmp_path / "gap")
    for channel in open_recording(tmp_path / "gap").channels:
        assert np.isnan(channel.samples[24:36]).all()


def test_channels_of_several_rates_and_files_keep_their_rates(tmp_path: Path) -> None:
    """Samples per frame, byte offset and several signal files, as header(5) defines them."""
    import wfdb

    rate = np.arange(14000, 14016, dtype="<i2")
    activity = np.arange(100, 104, dtype="<i2")
    (tmp_path / "a.dat").write_bytes(b"HEAD" + rate.tobytes())
    (tmp_path / "b.dat").write_bytes(activity.tobytes())
    (tmp_path / "r.hea").write_text(
        "r 2 1 4\n"
        "a.dat 16x4+4 100(0)/bpm 16 0 14000 0 0 FHR\n"
        "b.dat 16 10(20)/mmHg 16 0 100 0 0 UC\n"
    )
    recording = open_recording(tmp_path / "r")
    theirs = wfdb.rdrecord(str(tmp_path / "r"), smooth_frames=False).e_p_signal
    assert [c.rate_hz for c in recording.channels] == [4.0, 1.0]
    for channel, samples in zip(recording.channels, theirs, strict=True):
        np.testing.assert_array_equal(channel.samples, samples)
    assert recording.channels[1].sensor is SensorKind.PRESSURE_CATHETER


def test_plain_record_is_read_without_the_heavy_libraries(tmp_path: Path) -> None:
    save_recording(plain([140.0] * 40), tmp_path / "plain.hea")
    program = (
        "import sys; from ebbline.recording import open_recording; "
        f"open_recording({str(tmp_path / 'plain')!r}); "
        "print([m for m in ('wfdb', 'pandas', 'pyarrow', 'scipy', 'pyedflib') if m in sys.modules])"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert done.stdout.strip() == "[]"


@pytest.mark.parametrize("name", ["plain", "plain.hea", "plain.dat"])
def test_record_is_found_by_its_name_its_header_or_its_signal_file(
    name: str, tmp_path: Path
) -> None:
    save_recording(plain([140.0] * 40), tmp_path / "plain.hea")
    assert open_recording(str(tmp_path / name)).name == "plain"


def test_signal_file_with_a_wrong_checksum_is_read_with_a_note(tmp_path: Path) -> None:
    save_recording(plain([140.0] * 40), tmp_path / "plain.hea")
    data = bytearray((tmp_path / "plain.dat").read_bytes())
    data[10] ^= 1
    (tmp_path / "plain.dat").write_bytes(data)
    notes = open_recording(tmp_path / "plain").provenance.notes
    assert any("checksum" in note and "FHR" in note for note in notes)


def test_heart_rates_that_cannot_be_are_missing_and_counted(tmp_path: Path) -> None:
    values = np.array([14000, -500, 31000, 0, 14100], dtype="<i2")
    (tmp_path / "r.dat").write_bytes(values.tobytes())
    (tmp_path / "r.hea").write_text("r 1 4 5\nr.dat 16 100(0)/bpm 16 0 14000 0 0 FHR\n")
    recording = open_recording(tmp_path / "r")
    np.testing.assert_array_equal(recording.channels[0].samples, [140, np.nan, np.nan, np.nan, 141])
    assert any("FHR: 2 impossible samples" in note for note in recording.provenance.notes)


def test_lying_values_of_a_header_count_as_unknown_and_are_said(tmp_path: Path) -> None:
    save_recording(plain([140.0] * 40), tmp_path / "plain.hea")
    header = tmp_path / "plain.hea"
    header.write_text(
        header.read_text()
        + "#Gest. weeks  0\n#Parity       -1\n#Meconium     7\n#pH           71.4\n#BE  -1\n"
        "#Pos. II.st.  99999\n#Pyrexia      -1\n#Apgar1       NaN\n"
    )
    recording = open_recording(header)
    context, notes = recording.context, " ".join(recording.provenance.notes)
    assert context.weeks is None and "gestation of 0 weeks cannot be true" in notes
    assert context.parity is None and "arity" not in notes, "-1 is how the header says unknown"
    assert context.meconium is None and '"Meconium: 7" is neither 0 nor 1' in notes
    assert context.second_stage_start_s is None and "outside the recording" in notes
    assert recording.provenance.outcome == {"BE": -1.0}
    assert '"pH 71.4" cannot be true' in notes


def test_clock_without_a_date_or_a_zone_is_not_guessed_silently(tmp_path: Path) -> None:
    save_recording(plain([140.0] * 40), tmp_path / "plain.hea")
    header = tmp_path / "plain.hea"
    first, *rest = [x for x in header.read_text().splitlines() if not x.startswith("#")]
    header.write_text("\n".join([first + " 13:14:15.5", *rest]))
    recording = open_recording(header)
    assert recording.start is None
    assert any("13:14:15.5" in note and "not kept" in note for note in recording.provenance.notes)
    header.write_text("\n".join([first + " 13:14:15.5 02/03/2031", *rest]))
    recording = open_recording(header)
    assert recording.start is not None
    assert recording.start.isoformat() == "2031-03-02T13:14:15.500000+00:00"
    assert any("time zone" in note for note in recording.provenance.notes)


def test_defaults_of_a_short_header_are_those_of_the_standard() -> None:
    """header(5): 250 samples a second, gain 200, baseline from the ADC zero, when not said."""
    header = parse_header("r 1\nr.dat 16\n", "r.hea")
    assert (header.rate_hz, header.frames) == (250.0, 0)
    assert (header.signals[0].gain, header.signals[0].baseline) == (200.0, 0)
    header = parse_header("r 1 4 8\nr.dat 16 0/bpm 12 7 0 0 0 FHR 1\n", "r.hea")
    assert (header.signals[0].gain, header.signals[0].baseline) == (200.0, 7)
    assert header.signals[0].description == "FHR 1"


def test_length_is_taken_from_the_file_when_the_header_does_not_say(tmp_path: Path) -> None:
    (tmp_path / "r.dat").write_bytes(np.full(12, 14000, "<i2").tobytes())
    (tmp_path / "r.hea").write_text("r 1 4\nr.dat 16 100(0)/bpm 16 0 14000 0 0 FHR\n")
    assert open_recording(tmp_path / "r").duration_s == 3
