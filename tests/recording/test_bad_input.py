"""Files that cannot be read: a named error with place and remedy, and nothing half written."""

from __future__ import annotations

import os
import re
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from ebbline.errors import RecordingError
from ebbline.recording import Channel, Recording, open_recording, save_recording
from ebbline.recording.files import telling, written_whole
from recording.making import ACTIVITY, FETAL, labour, plain

SUFFIXES = (".hea", ".edf", ".csv", ".tsv", ".parquet", ".json")
HEADER = "r 1 4 8\nr.dat 16 100(0)/bpm 16 0 14000 0 0 FHR\n"


def refused(path: Path | str, said: str) -> RecordingError:
    """The error, after a look at its three parts."""
    with pytest.raises(RecordingError) as caught:
        open_recording(path)
    error = caught.value
    assert re.search(said, str(error)), str(error)
    assert error.what and error.where and error.remedy, str(error)
    return error


@pytest.mark.parametrize(
    ("header", "said"),
    [
        ("", r"r\.hea: the file is empty"),
        ("# only a remark\n", r"r\.hea: the header has no record line"),
        ("hello\n", r'line 1: the record line "hello" is not'),
        ("r 1 4 8\n", r"line 1: the record line says 1 signals, but 0 signal lines follow"),
        ("r 0 4 8\n", r"line 1: the record line says 0 signals"),
        ("r 99999 4 8\n", r"line 1: 99999 signals are more than can be read"),
        (HEADER.replace("r 1", "r 2"), r"says 2 signals, but 1 signal lines follow"),
        (HEADER.replace(" 4 ", " 0 "), r"line 1: a sampling rate of 0 Hz is not possible"),
        (HEADER.replace(" 4 ", " -4 "), r"line 1: a sampling rate of -4 Hz is not possible"),
        (HEADER.replace(" 4 ", " 1e9 "), r"a sampling rate of 1e\+09 Hz is not possible"),
        (HEADER.replace(" 4 ", " 1e999 "), r"a sampling rate of inf Hz is not possible"),
        (HEADER.replace(" 8\n", " -8\n"), r"line 1: the record line"),
        (HEADER.replace(" 8\n", " 9\n"), r"r\.dat: the file has 16 bytes, but its header says 18"),
        (HEADER.replace(" 8\n", " 99999999\n"), r"line 2: .* 289\.4 days long; the most is 7 days"),
        (
            HEADER.replace(" 8\n", " 8" + "0" * 90 + "\n"),
            r"line 1: 80+\.\.\. samples are more than",
        ),
        (HEADER.replace(" 8\n", " 8 25:00:00 01/01/2031\n"), r'line 1: the start "25:00:00 01/01/'),
        (HEADER.replace(" 8\n", " 8 10:00:00 31/02/2031\n"), r'line 1: the start "10:00:00 31/02/'),
        (HEADER.replace("r.dat 16", "r.dat"), r"line 2: the signal line"),
        (HEADER.replace("r.dat 16", "r.dat sixteen"), r"line 2: the signal line"),
        (HEADER.replace("r.dat 16", "r.dat 17"), r"r\.hea: the record cannot be read"),
        (HEADER.replace("r.dat 16", "r.dat 16x0"), r"line 2: 0 samples per frame"),
        (HEADER.replace("r.dat 16", "r.dat 16x9999999"), r"line 2: 9999999 samples per frame"),
        (HEADER.replace("r.dat 16", "other.dat 16"), r"other\.dat: there is no such file"),
        (HEADER.replace("r.dat 16", "../r.dat 16"), r'"\.\./r\.dat" is not a file beside the head'),
        (HEADER.replace("r.dat 16", "/etc/passwd 16"), r"is not a file beside the header"),
        (HEADER.replace("r.dat 16", "r\0.dat 16"), r"is not a file beside the header"),
        (HEADER.replace("r.dat 16", "- 16"), r'"-" is not a file beside the header'),
        (HEADER.replace("r.dat 16", "~ 0"), r"r\.hea: the record cannot be read"),
        (HEADER.replace("100(0)", "1e400(0)"), r"line 2: a gain of 1e400 is not possible"),
        (HEADER.replace("bpm", "mV"), r'line 2: the heart rate "FHR" is in "mV", not in beats'),
        (HEADER.replace("FHR", "ECG"), r"r\.hea: there is no fetal heart-rate channel"),
        (HEADER.replace("FHR", "UC").replace("bpm", "nd"), r"there is no fetal heart-rate channel"),
        (HEADER.replace("FHR", "UC"), r'uterine activity "UC" is in "bpm", a unit of heart rate'),
        (HEADER.replace("100(0)", "100(20000)"), r"no sample of the fetal heart rate can be used"),
        ("r/2 1 4 8\na 4\nb 4\n", r"r\.hea: the record cannot be read"),
        ("r/2 1 4 99999999999\na 4\nb 4\n", r"r\.hea: the recording would be .* days long"),
    ],
)
def test_wfdb_header_that_lies_is_refused(header: str, said: str, tmp_path: Path) -> None:
    (tmp_path / "r.dat").write_bytes(np.full(8, 14000, "<i2").tobytes())
    (tmp_path / "r.hea").write_text(header)
    refused(tmp_path / "r.hea", said)


def test_wfdb_record_without_its_signal_file_is_refused(tmp_path: Path) -> None:
    (tmp_path / "r.hea").write_text(HEADER)
    error = refused(tmp_path / "r", r"r\.dat: there is no such file")
    assert "Check the name" in error.remedy


def test_wfdb_signal_file_without_its_header_is_refused(tmp_path: Path) -> None:
    (tmp_path / "r.dat").write_bytes(b"1234")
    refused(tmp_path / "r.dat", r"r\.hea: there is no such file")


def test_wfdb_signal_file_that_was_cut_off_says_where(tmp_path: Path) -> None:
    save_recording(plain(np.full(4000, 140.0)), tmp_path / "r.hea")
    os.truncate(tmp_path / "r.dat", 4000)
    refused(tmp_path / "r", r"r\.dat: .*samples are missing from 500 s on")


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("\n\n", "the file holds no table"),
        ("# a remark\n", "the file holds no table"),
        ("t;FHR\n", "line 1: there are no rows"),
        ("hello world\n", r'line 1: no column is named .* says "hello world"'),
        ("0;140\n1;141\n", r'line 1: no column is named .* says "0", "140"'),
        ("t;HR\n0;140\n", "line 1: no column is named as a heart rate"),
        ("FHR\n140\n141\n", r"there is no column of time\. Add a column"),
        ("# Rate: -4\nFHR\n140\n", 'line "# Rate: -4": a sampling rate of -4 Hz'),
        ("# Rate: fast\nFHR\n140\n", 'line "# Rate: fast": a sampling rate of nan Hz'),
        ("t;FHR\n0;140\n", "there is only one row"),
        ("t;FHR\n0;140\n1\n", "line 3: the row has 1 cells, the line of names 2.*cut off"),
        ("t,FHR\n0,00,140,5\n", "line 2: the row has 4 cells, the line of names 2.*decimal commas"),
        ("t;FHR\n0;140\n1;abc\n", 'line 3, column "FHR": "abc" is not a number'),
        ("t;FHR\n0;140\n1;1_4_0\n", 'line 3, column "FHR": "1_4_0" is not a number'),
        ("t;FHR\n0;1.234,5\n1;2\n", 'line 2, column "FHR": "1.234,5" is not a number'),
        ("t;FHR;UC [mmHg]\n0;140;x\n", r'column "UC \[mmHg\]": "x" is not a number'),
        ("t;FHR\n0;140\nx;141\n", 'line 3, column "t": "x" is not a time of the kind'),
        ("t;FHR\nx;140\n1;141\n", 'line 2, column "t": "x" is not a time. Give elapsed'),
        ("t;FHR\n;140\n1;141\n", 'line 2, column "t": "" is not a time'),
        ("t;FHR\n0;140\n;141\n", 'line 3, column "t": "" is not a time'),
        ("t;FHR\n0;140\ninf;141\n", 'line 3, column "t": "inf" is not a time'),
        ("t;FHR\n0;140\n0:00:01;141\n", 'line 3, column "t": "0:00:01" is not a time of the kind'),
        ("t;FHR\n0:00:01;140\n2;141\n", 'line 3, column "t": "2" is not a time of the kind'),
        ("t;FHR\n2031-13-01 10:00;1\n", 'line 2, column "t": "2031-13-01 10:00" is not a time'),
        (
            "t;FHR\n2031-01-01 10:00;1\n2031-01-01 10:01+01:00;1\n",
            'line 3, column "t": .* is not a time of the kind',
        ),
        ("t;FHR\n0;140\n2;141\n1;142\n", 'line 4, column "t": the time is before that of the row'),
        ("t;FHR\n0;140\n1;141\n1;142\n", 'line 4, column "t": the time is the same as in the row'),
        ("t;FHR\n12:00:01;140\n11:00:00;141\n", 'line 3, column "t": the time is before that'),
        ("t;FHR;fhr\n0;140;1\n", 'line 1: two columns are named "fhr"'),
        ("t;FHR 1;FHR A\n0;140;1\n1;140;1\n", "two channels say that they are .* of fetus 1"),
        ("t;time;FHR\n0;0;140\n", 'the columns "t" and "time" both look like time'),
        ("t;FHR\n0;140\n0.00001;141\n", "a sampling rate of 100000 Hz is not possible"),
        ("t;FHR\n0;140\n100000;141\n", "a sampling rate of 1e-05 Hz is not possible"),
        ("t;FHR\n0;140\n1;141\n2;142\n9999999;143\n", r"115\.7 days long; the most is 7"),
        ("t;FHR [mV]\n0;140\n1;141\n", r'line 1: the heart rate "FHR" is in "mV"'),
        ("t;FHR\n0;\n1;0\n", "no sample of the fetal heart rate can be used"),
        ("t;UC\n0;1\n1;2\n", "there is no fetal heart-rate channel"),
        ('t;FHR\n0;"140\n1;141\n', "line 2: the quotation marks are not closed"),
        ("t;FHR\n0;140\x00\n", "line 2: this is not a text file"),
        ("t;" * 60_000, "line 1: the line of names has 120000 characters"),
    ],
)
def test_table_that_cannot_be_read_is_refused_with_line_and_column(
    text: str, said: str, tmp_path: Path
) -> None:
    (tmp_path / "t.csv").write_text(text)
    error = refused(tmp_path / "t.csv", said)
    assert "t.csv" in error.where


@pytest.mark.parametrize("suffix", [*SUFFIXES, ".dat", ".txt"])
def test_other_things_with_a_known_suffix_are_refused(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"r{suffix}"
    noise = np.random.default_rng(7).integers(0, 256, 5000, dtype=np.uint8).tobytes()
    for content in (noise, b"\x89PNG\r\n\x1a\n" + noise, b"%PDF-1.7\n", b"\0" * 999, b" ", b"\n"):
        path.write_bytes(content)
        refused(path, r"r\.")


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_empty_file_is_refused(suffix: str, tmp_path: Path) -> None:
    (tmp_path / f"r{suffix}").write_bytes(b"")
    refused(tmp_path / f"r{suffix}", "the file is empty")


@pytest.mark.parametrize("suffix", ["", *SUFFIXES])
def test_directory_is_refused(suffix: str, tmp_path: Path) -> None:
    (tmp_path / f"r{suffix}").mkdir()
    refused(tmp_path / f"r{suffix}", "this is a directory, not a recording")


@pytest.mark.parametrize("suffix", ["", ".xyz", *SUFFIXES])
def test_missing_file_is_refused(suffix: str, tmp_path: Path) -> None:
    refused(tmp_path / f"nothing{suffix}", "there is no such file")


def test_unknown_suffix_is_refused(tmp_path: Path) -> None:
    (tmp_path / "r.xyz").write_text("x")
    refused(tmp_path / "r.xyz", r'the suffix "\.xyz" is not .* Name a file with one of: \.hea')


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_loop_of_links_is_refused(suffix: str, tmp_path: Path) -> None:
    a, b = tmp_path / f"a{suffix}", tmp_path / f"b{suffix}"
    a.symlink_to(b)
    b.symlink_to(a)
    refused(a, "symbolic links")


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_link_to_nothing_is_refused_and_link_to_a_file_is_followed(
    suffix: str, tmp_path: Path
) -> None:
    (tmp_path / f"lost{suffix}").symlink_to(tmp_path / "nowhere")
    refused(tmp_path / f"lost{suffix}", "there is no such file")
    (tmp_path / "there").mkdir()
    save_recording(plain([140.0] * 9), tmp_path / "there" / f"r{suffix}")
    (tmp_path / f"r{suffix}").symlink_to(tmp_path / "there" / f"r{suffix}")
    if suffix == ".hea":
        (tmp_path / "r.dat").symlink_to(tmp_path / "there" / "r.dat")
    assert open_recording(tmp_path / f"r{suffix}").fetuses == (1,)


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_pipe_is_refused_without_waiting_for_it(suffix: str, tmp_path: Path) -> None:
    os.mkfifo(tmp_path / f"r{suffix}")
    refused(tmp_path / f"r{suffix}", "this is not a regular file")


@pytest.mark.parametrize("suffix", [*SUFFIXES, ".dat"])
def test_huge_file_is_refused_before_it_is_read(suffix: str, tmp_path: Path) -> None:
    path = tmp_path / f"r{suffix}"
    if suffix == ".dat":
        (tmp_path / "r.hea").write_text(HEADER)
    with path.open("wb") as file:
        file.truncate(3_000_000_000)
    refused(path, r"the file has 3000 MB; the most is")


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_permission_denied_is_said(
    suffix: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / f"r{suffix}"
    save_recording(plain([140.0] * 9), path)
    if os.geteuid() != 0:
        path.chmod(0)
    else:

        def denied(self: Path, **_: object) -> object:
            raise PermissionError(13, "Permission denied", str(self))

        monkeypatch.setattr(Path, "stat", denied)
    refused(path, "no permission for")


def test_path_that_no_system_takes_is_refused(tmp_path: Path) -> None:
    refused("a\0b.csv", "a character that no path can hold")
    refused("a\ud800b.csv", "a character that no path can hold")
    refused(tmp_path / ("x" * 5000 + ".csv"), "File name too long")
    refused(tmp_path / ("x" * 5000), "File name too long")
    refused("", "this is a directory")


def test_answers_of_the_system_become_words() -> None:
    file = Path("a.csv")
    with pytest.raises(RecordingError, match="not enough memory"), telling(file, "reading"):
        raise MemoryError
    with pytest.raises(RecordingError, match="No space left"), telling(file, "writing"):
        raise OSError(28, "No space left on device")


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_write_that_fails_leaves_the_old_file_and_no_other(
    suffix: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    saved = save_recording(plain([140.0] * 9), tmp_path / f"r{suffix}")
    before = {path: path.read_bytes() for path in saved.files}

    def full(_: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(RecordingError, match="writing failed: No space left on device"):
        save_recording(labour(), tmp_path / f"r{suffix}")
    assert {path: path.read_bytes() for path in tmp_path.iterdir()} == before


def test_interrupted_write_leaves_no_temporary_file(tmp_path: Path) -> None:
    with pytest.raises(KeyboardInterrupt), written_whole(tmp_path / "a.csv") as part:
        part.write_text("half")
        raise KeyboardInterrupt
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("suffix", SUFFIXES)
def test_place_that_cannot_be_written_is_refused(suffix: str, tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match=rf'r{suffix}: ".*no-such-directory" is not a direct'):
        save_recording(labour(), tmp_path / "no-such-directory" / f"r{suffix}")
    (tmp_path / f"d{suffix}").mkdir()
    with pytest.raises(RecordingError, match="this is a directory"):
        save_recording(labour(), tmp_path / f"d{suffix}")
    (tmp_path / "file").write_text("")
    with pytest.raises(RecordingError, match='file" is not a directory'):
        save_recording(labour(), tmp_path / "file" / f"r{suffix}")


@pytest.mark.parametrize("name", ["r", "r.xyz", "r.", "", "."])
def test_name_without_a_known_suffix_is_not_written(name: str, tmp_path: Path) -> None:
    with pytest.raises(RecordingError, match=r"suffix .* Use one of: \.hea"):
        save_recording(labour(), name)


CHANNEL = plain([140.0] * 4).channels[0]


@pytest.mark.parametrize(
    ("channels", "said"),
    [
        ((), "there is no fetal heart-rate channel"),
        ((Channel(ACTIVITY, np.ones(4), 4.0),), "there is no fetal heart-rate channel"),
        ((replace(CHANNEL, samples=np.array([])),), "channel 1 .* holds no row of samples"),
        ((replace(CHANNEL, samples=np.ones((2, 2))),), "channel 1 .* holds no row of samples"),
        ((replace(CHANNEL, samples=np.full(4, np.nan)),), "no sample of the fetal heart rate"),
        ((replace(CHANNEL, rate_hz=0.0),), "a sampling rate of 0 Hz is not possible"),
        ((replace(CHANNEL, rate_hz=float("nan")),), "a sampling rate of nan Hz is not possible"),
        ((CHANNEL, CHANNEL), "are not numbered 1, 2"),
        ((replace(CHANNEL, fetus=0),), "are not numbered 1, 2"),
        ((replace(CHANNEL, samples=np.ones(7 * 345601), rate_hz=4.0),), "7.0 days long"),
    ],
)
@pytest.mark.parametrize("suffix", [".hea", ".json"])
def test_recording_that_could_not_be_read_again_is_not_written(
    channels: tuple[Channel, ...], said: str, suffix: str, tmp_path: Path
) -> None:
    with pytest.raises(RecordingError, match=said):
        save_recording(Recording("r", channels), tmp_path / f"r{suffix}")
    assert list(tmp_path.iterdir()) == []


def test_one_lost_twin_does_not_lose_the_other(tmp_path: Path) -> None:
    lost = Channel(FETAL, np.full(4, np.nan), 4.0, fetus=2)
    save_recording(Recording("r", (CHANNEL, lost)), tmp_path / "r.csv")
    recording = open_recording(tmp_path / "r.csv")
    assert recording.fetuses == (1, 2)
    assert "the heart rate of fetus 2 has no usable sample." in recording.provenance.notes


def test_flat_line_is_not_an_error_of_reading(tmp_path: Path) -> None:
    save_recording(plain([140.0] * 400), tmp_path / "r.csv")
    assert open_recording(tmp_path / "r.csv").provenance.notes == ()
