"""Tables of text: separators, decimal commas, clocks, uneven time stamps, and what is missing."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from ebbline.recording import Channel, ChannelKind, Recording, open_recording, save_recording
from ebbline.terms import SensorKind
from recording.making import ACTIVITY, labour, plain

NAN = float("nan")


@pytest.fixture
def read(tmp_path: Path):
    """Write a text to a file and open it."""

    def reading(text: str | bytes, name: str = "t.csv") -> Recording:
        data = text if isinstance(text, bytes) else text.encode()
        (tmp_path / name).write_bytes(data)
        return open_recording(tmp_path / name)

    return reading


def samples(recording: Recording, number: int = 0) -> list[float]:
    return recording.channels[number].samples.tolist()


@pytest.mark.parametrize("separator", [",", ";", "\t", "|"])
def test_any_usual_separator_is_understood(separator: str, read) -> None:
    rows = ["time_s,FHR,UC", "0,140,10", "0.25,141.5,11", "0.5,142,12", ""]
    recording = read("\n".join(rows).replace(",", separator))
    assert samples(recording) == [140, 141.5, 142]
    assert samples(recording, 1) == [10, 11, 12]
    assert recording.channels[0].rate_hz == 4


@pytest.mark.parametrize("separator", [";", "\t", "|"])
def test_decimal_commas_are_understood(separator: str, read) -> None:
    rows = ["time_s;FHR;UC", "0,00;140,5;10", "0,25;141,5;11,25", "0,5;142;12"]
    recording = read("\n".join(rows).replace(";", separator))
    assert samples(recording) == [140.5, 141.5, 142]
    assert samples(recording, 1) == [10, 11.25, 12]
    assert recording.channels[0].rate_hz == 4


def test_line_ends_of_all_systems_and_blank_lines_are_understood(read) -> None:
    for end in ("\n", "\r\n", "\r"):
        text = end.join(["# a remark", "t;FHR", "", "0;140", "1;141", "# between", "2;142", "", ""])
        assert samples(read(text)) == [140, 141, 142]


def test_encodings_of_spreadsheets_are_understood(read) -> None:
    text = "time;FHR;Notiz\n0;140;für\n1;141;\n"
    for encoding in ("utf-8", "utf-8-sig", "utf-16"):
        assert samples(read(text.encode(encoding))) == [140, 141]
    latin = read(text.encode("latin-1"))
    assert samples(latin) == [140, 141]
    assert "the text is not UTF-8: read as Latin-1." in latin.provenance.notes


def test_quoted_cells_are_understood(read) -> None:
    recording = read('"time [s]","FHR, raw","UC"\n"0","140","10"\n"0.5","141","11"\n')
    assert samples(recording) == [140, 141]
    assert samples(recording, 1) == [10, 11]


@pytest.mark.parametrize("missing", ["", "nan", "NaN", "NA", "null", "None", "-", "?", "0", "0.0"])
def test_missing_heart_rates_may_be_written_in_many_ways(missing: str, read) -> None:
    got = samples(read(f"t;FHR;UC\n0;140;5\n1;{missing};5\n2;142;5\n"))
    np.testing.assert_array_equal(got, [140, NAN, 142])


def test_zero_activity_is_not_missing(read) -> None:
    np.testing.assert_array_equal(
        samples(read("t;FHR;UC\n0;140;0\n1;141;\n2;1;7\n"), 1), [0, NAN, 7]
    )


def test_impossible_heart_rates_are_missing_and_counted(read) -> None:
    recording = read("t;FHR\n0;140\n1;-3\n2;999\n3;inf\n4;141\n")
    np.testing.assert_array_equal(samples(recording), [140, NAN, NAN, NAN, 141])
    assert any("FHR: 3 impossible samples" in note for note in recording.provenance.notes)


def test_twins_toco_and_mother_are_told_by_their_names(read) -> None:
    recording = read(
        "elapsed [s];FHR twin A [bpm];FHR twin B [bpm];toco [nd];Maternal HR\n"
        "0;140;150;20;80\n1;141;151;21;81\n"
    )
    assert [(c.kind, c.fetus) for c in recording.channels] == [
        (ChannelKind.FETAL_HEART_RATE, 1),
        (ChannelKind.FETAL_HEART_RATE, 2),
        (ChannelKind.UTERINE_ACTIVITY, 0),
        (ChannelKind.MATERNAL_HEART_RATE, 0),
    ]
    assert [c.label for c in recording.channels[:3]] == ["FHR twin A", "FHR twin B", "toco"]
    assert recording.channels[2].sensor is SensorKind.TOCO
    assert recording.channels[3].sensor is SensorKind.MATERNAL_PULSE


@pytest.mark.parametrize(
    ("label", "sensor", "unit", "first"),
    [
        ("UC [mmHg]", SensorKind.PRESSURE_CATHETER, "mmHg", 10.0),
        ("IUP (mmHg)", SensorKind.PRESSURE_CATHETER, "mmHg", 10.0),
        ("toco [mmHg]", SensorKind.TOCO, "mmHg", 10.0),
        ("UC external [mmHg]", SensorKind.TOCO, "mmHg", 10.0),
        ("UC [%]", SensorKind.TOCO, "%", 10.0),
        ("UC", SensorKind.UNKNOWN, "", 10.0),
        ("UC [kPa]", SensorKind.PRESSURE_CATHETER, "mmHg", 75.00615758),
    ],
)
def test_unit_and_name_tell_catheter_from_toco(
    label: str, sensor: SensorKind, unit: str, first: float, read
) -> None:
    """1 kPa is 7.500616 mmHg (NIST SP 811: 1 mmHg = 133.322387415 Pa)."""
    recording = read(f"t;FHR;{label}\n0;140;10\n1;141;11\n")
    channel = recording.channels[1]
    assert (channel.sensor, channel.unit) == (sensor, unit)
    assumed = any("taken as measured with a" in note for note in recording.provenance.notes)
    assert assumed == (label in {"UC [mmHg]", "UC [%]", "UC [kPa]"}), "an assumption is said"
    assert channel.samples[0] == pytest.approx(first)


def test_column_that_is_not_ours_is_named_in_the_notes(read) -> None:
    recording = read("t;FHR;FHR quality;remark\n0;140;1;moved\n1;141;2;\n")
    assert len(recording.channels) == 1
    notes = " ".join(recording.provenance.notes)
    assert '"FHR quality" was not read' in notes and '"remark" was not read' in notes


@pytest.mark.parametrize(
    ("label", "first", "second", "rate"),
    [
        ("time_s", "0", "0.25", 4.0),
        ("t", "0", "0.5", 2.0),
        ("time [ms]", "0", "250", 4.0),
        ("elapsed (min)", "0", "0.5", 1 / 30),
        ("clock", "00:00:00", "00:00:01", 1.0),
        ("time", "0:00:00.00", "0:00:00.25", 4.0),
        ("timestamp", "2031-03-09T23:59:59", "2031-03-10T00:00:01", 0.5),
        ("timestamp", "2031-03-09 23:59:59.50+01:00", "2031-03-09 23:59:59.75+01:00", 4.0),
        ("date time", "2031-03-09 23:59", "2031-03-10 00:00", 1 / 60),
    ],
)
def test_time_may_be_elapsed_or_clock(
    label: str, first: str, second: str, rate: float, read
) -> None:
    recording = read(f"{label};FHR\n{first};140\n{second};141\n")
    assert recording.channels[0].rate_hz == pytest.approx(rate, rel=1e-12)
    assert samples(recording) == [140, 141]


def test_dates_give_the_start_and_its_zone(read) -> None:
    recording = read("timestamp;FHR\n2031-03-09T23:59:59+01:00;140\n2031-03-10T00:00:00+01:00;1\n")
    assert recording.start is not None
    assert recording.start.isoformat() == "2031-03-09T23:59:59+01:00"
    naive = read("timestamp;FHR\n2031-03-09T23:59:59;140\n2031-03-10T00:00:00;1\n")
    assert naive.start is not None and naive.start.isoformat() == "2031-03-09T23:59:59+00:00"
    assert any("time zone" in note for note in naive.provenance.notes)


def test_clock_may_pass_midnight(read) -> None:
    recording = read("clock;FHR\n23:59:59;140\n0:00:00;141\n0:00:01;142\n")
    assert samples(recording) == [140, 141, 142]
    assert recording.start is None
    notes = " ".join(recording.provenance.notes)
    assert "passes midnight" in notes and "no date" in notes


def test_times_that_begin_late_are_counted_from_there_and_said(read) -> None:
    recording = read("t;FHR\n60;140\n61;141\n62;142\n")
    assert samples(recording) == [140, 141, 142]
    assert "the times begin at 60 s: counted from there." in recording.provenance.notes


def test_rows_left_out_are_missing_signal(read) -> None:
    recording = read("t;FHR\n0;140\n1;141\n2;142\n6;146\n7;147\n")
    np.testing.assert_array_equal(samples(recording), [140, 141, 142, NAN, NAN, NAN, 146, 147])
    assert any("1 stretches without rows, together 3 s" in n for n in recording.provenance.notes)


def test_uneven_time_stamps_are_resampled_and_said(read) -> None:
    rng = np.random.default_rng(1)
    times = np.cumsum(rng.uniform(0.3, 0.7, 400))
    rows = [f"{t:.3f};{140 + t / 10:.4f}" for t in times]
    recording = read("t;FHR\n" + "\n".join(rows))
    rate = recording.channels[0].rate_hz
    assert 1.8 <= rate <= 2.2
    got = recording.channels[0].samples
    expected = 140 + (times[0] + np.arange(len(got)) / rate) / 10
    np.testing.assert_allclose(got, expected, atol=2e-3)
    assert any("uneven" in note and "resampled" in note for note in recording.provenance.notes)


def test_resampling_bridges_neither_missing_values_nor_gaps(read) -> None:
    times = [0, 0.7, 2.3, 2.7, 4.3, 20.0, 20.7, 22.3, 22.7, 24.3]
    values = ["100", "100", "", "100", "100", "200", "200", "0", "200", "200"]
    rows = [f"{t};{v}" for t, v in zip(times, values, strict=True)]
    recording = read("t;FHR\n" + "\n".join(rows))
    assert any("resampled" in note for note in recording.provenance.notes)
    got = recording.channels[0].samples
    present = got[~np.isnan(got)]
    assert set(np.round(present, 6)) == {100.0, 200.0}, "nothing between, nothing towards 0"
    at = np.arange(len(got)) / recording.channels[0].rate_hz
    assert np.isnan(got[(at > 4.4) & (at < 19.9)]).all()
    assert np.isnan(got[(at > 0.8) & (at < 2.6)]).all()


def test_rounded_time_stamps_do_not_drift(read) -> None:
    """3.84 Hz with times to the millisecond over an hour: no sample is moved or doubled."""
    count = 3600 * 384 // 100
    rows = [f"{i / 3.84:.3f};{100 + i % 97}" for i in range(count)]
    channel = read("t;FHR\n" + "\n".join(rows)).channels[0]
    assert channel.rate_hz == pytest.approx(3.84, rel=1e-6)
    np.testing.assert_array_equal(channel.samples, 100 + np.arange(count) % 97)


def test_slower_channel_with_values_in_every_fourth_row_keeps_its_own_rate(read) -> None:
    rows = [f"{i / 4};{140 + i % 5};{i if i % 4 == 0 else ''}" for i in range(200)]
    recording = read("t;FHR;UC\n" + "\n".join(rows))
    assert [c.rate_hz for c in recording.channels] == [4.0, 1.0]
    np.testing.assert_array_equal(recording.channels[1].samples, np.arange(0, 200, 4))
    assert any("every 4th row" in note for note in recording.provenance.notes)


def test_table_without_time_needs_its_rate_told(read) -> None:
    assert read("# Rate: 2\nFHR\n140\n141\n").duration_s == 1


def test_context_lines_are_understood(read) -> None:
    recording = read(
        "# Gest. weeks: 31\n# Oxytocin: 1\n# Stage: second\n# Start: 2031-03-09T10:00:00+01:00\n"
        "# Outcome pH: 7.05\n# Annotation 1.0 0.0: head visible\nt;FHR\n0;140\n1;141\n"
    )
    assert recording.context.weeks == 31
    assert recording.context.oxytocin is True
    assert recording.context.stage.value == "second"
    assert recording.start is not None and recording.start.hour == 10
    assert recording.provenance.outcome == {"pH": 7.05}
    assert recording.annotations[0].text == "head visible"


def test_rates_that_do_not_divide_are_resampled_on_writing_and_said(tmp_path: Path) -> None:
    channels = (
        *plain(np.arange(100.0, 140.0)).channels,
        Channel(ACTIVITY, np.arange(30.0), 3.0, SensorKind.TOCO, 0, "nd"),
    )
    recording = replace(plain([1.0]), channels=channels)
    saved = save_recording(recording, tmp_path / "t.csv")
    assert any("UC: resampled from 3 to 4 Hz" in loss for loss in saved.losses)
    again = open_recording(tmp_path / "t.csv").channels[1]
    np.testing.assert_array_equal(again.samples[:8], [0, 0, 1, 2, 3, 3, 4, 5])


def test_file_written_by_us_is_plain_to_other_readers(tmp_path: Path) -> None:
    """Against pandas: comment lines, one line of names, empty cells for missing samples."""
    import pandas as pd

    save_recording(labour(), tmp_path / "t.csv")
    frame = pd.read_csv(tmp_path / "t.csv", comment="#")
    assert list(frame.columns) == ["time_s", "FHR1 [bpm]", "FHR2 [bpm]", "UC [mmHg]", "MHR [bpm]"]
    np.testing.assert_array_equal(frame["FHR1 [bpm]"], labour().channels[0].samples)
    np.testing.assert_array_equal(frame["UC [mmHg]"][::4], labour().channels[2].samples)
    np.testing.assert_array_equal(frame["time_s"], np.arange(480) / 4)
