"""`ebbline read` from the shell's side: what is printed, written, and refused."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest
from jsonschema import Draft202012Validator

from ebbline.codec import from_json
from ebbline.reading.model import Reading
from ebbline.recording.model import Channel, ChannelKind, Context, Recording
from ebbline.recording.registry import save_recording
from ebbline.terms import SensorKind, Stage
from running import Ebbline


def wave(minutes: float, rate_hz: float = 4.0) -> np.ndarray:
    time_s = np.arange(0.0, 60.0 * minutes, 1.0 / rate_hz)
    return np.asarray(140.0 + 6.0 * np.sin(2 * np.pi * time_s / 19.0))


def labour(minutes: float = 70.0, fetuses: int = 1) -> Recording:
    time_s = np.arange(0.0, 60.0 * minutes, 0.25)
    hills = 50.0 * np.maximum(0.0, np.sin(2 * np.pi * time_s / 180.0)) ** 2
    rates = tuple(
        Channel(
            ChannelKind.FETAL_HEART_RATE, wave(minutes) + 5 * n, 4.0, SensorKind.ULTRASOUND, n + 1
        )
        for n in range(fetuses)
    )
    activity = Channel(ChannelKind.UTERINE_ACTIVITY, 10 + hills, 4.0, SensorKind.TOCO)
    context = Context(weeks=39.0, stage=Stage.FIRST, oxytocin=False)
    return Recording("invented", (*rates, activity), context=context)


@pytest.fixture(scope="module")
def record(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("records") / "labour.csv"
    save_recording(labour(), path)
    return path


@pytest.fixture(scope="module")
def twins(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("records") / "twins.csv"
    save_recording(labour(fetuses=2), path)
    return path


def test_the_reading_is_said_in_the_trade_s_order(ebbline: Ebbline, record: Path) -> None:
    code, said, wrong = ebbline("read", record, "--full")
    assert (code, wrong) == (0, "")
    titles = [line for line in said.splitlines() if line and not line.startswith(" ")]
    assert titles[1] == "First"
    assert titles[2:9] == [
        "Signal quality",
        "Contractions",
        "Baseline",
        "Variability",
        "Accelerations",
        "Decelerations",
        "Change over time",
    ]
    assert [t for t in titles if t.startswith("Class by")] == titles[9:12]
    assert titles[-1] == "Caution"
    assert "Window read: 0:40:00 to 1:10:00" in said


def test_what_is_said_of_the_labour_counts_before_the_file(ebbline: Ebbline, record: Path) -> None:
    _, from_file, _ = ebbline("read", record)
    _, told, _ = ebbline(
        "read", record, "--weeks", "30+2", "--stage", "second", "--oxytocin", "--no-epidural"
    )
    assert "39 weeks of gestation, first stage, no oxytocin, epidural not known." in from_file
    assert "30 weeks of gestation, second stage, oxytocin running, no epidural." in told


def test_only_the_standards_asked_for_are_said_and_in_that_order(
    ebbline: Ebbline, record: Path
) -> None:
    _, said, _ = ebbline("read", record, "--full", "--criteria", "NICE, figo,nice")
    classes = [line for line in said.splitlines() if line.startswith("Class by")]
    assert len(classes) == 2
    assert "NICE" in classes[0]
    assert "FIGO" in classes[1]


@pytest.mark.parametrize(
    ("options", "window"),
    [
        ((), "0:40:00 to 1:10:00"),
        (("--from", "0:10", "--to", "0:50"), "0:10:00 to 0:50:00"),
        (("--from", "0:10"), "0:10:00 to 0:40:00"),
        (("--from", "0:55"), "0:55:00 to 1:10:00"),
        (("--to", "0:50"), "0:20:00 to 0:50:00"),
        (("--to", "0:20"), "0:00:00 to 0:20:00"),
    ],
)
def test_the_window_is_thirty_minutes_unless_both_ends_are_given(
    ebbline: Ebbline, record: Path, options: tuple[str, ...], window: str
) -> None:
    _, said, _ = ebbline("read", record, *options)
    assert f"Window read: {window}" in said


def test_json_holds_all_fits_the_published_schema_and_reads_back(
    ebbline: Ebbline, twins: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out.json"
    code, said, _ = ebbline("read", twins, "--json", out, "--fetus", "2")
    assert code == 0
    assert said.startswith("Recording")
    text = out.read_text()
    _, schema, _ = ebbline("schema")
    Draft202012Validator(json.loads(schema)).validate(json.loads(text))
    reading = from_json(Reading, text)
    assert [one.fetus for one in reading.fetuses] == [1, 2]
    again = from_json(Reading, text)
    from ebbline.codec import to_json

    assert to_json(again) + "\n" == text
    assert [path.name for path in tmp_path.iterdir()] == ["out.json"]


def test_json_to_a_dash_prints_nothing_but_json(ebbline: Ebbline, record: Path) -> None:
    _, said, _ = ebbline("read", record, "--json", "-")
    assert json.loads(said)["recording"]


@pytest.mark.parametrize(
    ("ending", "begins"), [("pdf", b"%PDF"), ("svg", b"<"), ("png", b"\x89PNG")]
)
def test_a_picture_is_drawn_in_the_form_its_name_asks_for(
    ebbline: Ebbline, record: Path, tmp_path: Path, ending: str, begins: bytes
) -> None:
    code, _, told = ebbline("read", record, "--picture", tmp_path / f"strip.{ending}")
    assert code == 0
    drawn = sorted(tmp_path.iterdir())
    assert drawn
    assert all(path.read_bytes().startswith(begins) for path in drawn)
    if len(drawn) > 1:
        assert told == f"Drawn on {len(drawn)} sheets: {drawn[0]} to {drawn[-1].name}\n"
    else:
        assert told == ""


def test_of_twins_one_alone_can_be_said(ebbline: Ebbline, twins: Path) -> None:
    _, both, _ = ebbline("read", twins)
    _, second, _ = ebbline("read", twins, "--fetus", "2")
    assert "FETUS 1 OF 2" in both
    assert "FETUS 1 OF 2" not in second
    assert "FETUS 2 OF 2" in second


def test_lines_keep_to_the_terminal(
    ebbline: Ebbline, record: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("COLUMNS", "50")
    _, said, _ = ebbline("read", record)
    assert max(map(len, said.splitlines())) <= 50


# ---------------------------------------------------------------- what is refused


@pytest.mark.parametrize(
    ("options", "place", "remedy"),
    [
        (("--weeks", "forty"), "--weeks", "as 37 or 37+4"),
        (("--weeks", "12"), "--weeks", "from 20 to 44"),
        (("--weeks", "37+9"), "--weeks", "as 37 or 37+4"),
        (("--weeks", "nan"), "--weeks", "as 37 or 37+4"),
        (("--stage", "third"), "--stage", "first, second"),
        (("--criteria", "who"), "--criteria", "nichd, figo, nice, nst"),
        (("--criteria", ","), "--criteria", "nichd, figo, nice, nst"),
        (("--from", "half past"), "--from", "hours:minutes"),
        (("--from", "@12:00"), "--from", "from the recording's start"),
        (("--from", "5:00"), "labour", "between 0:00:00 and 1:10:00"),
        (("--from", "0:30", "--to", "0:30"), "labour", "a later end"),
        (("--speed", "4"), "--speed", "1, 2 or 3"),
        (("--picture", "strip.gif"), "strip.gif", ".pdf, .svg, .png"),
        (("--fetus", "2"), "labour", "Choose one of: 1"),
        (("--json", "nowhere/out.json"), "nowhere", "choose another place"),
        (("--picture", "nowhere/out.pdf"), "nowhere", "choose another place"),
    ],
)
def test_an_option_that_makes_no_sense_ends_in_its_name_and_a_remedy(
    ebbline: Ebbline,
    record: Path,
    options: tuple[str, ...],
    place: str,
    remedy: str,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.chdir(tmp_path)
    code, said, wrong = ebbline("read", record, *options)
    assert code == 2
    assert said == ""
    assert wrong.startswith("ebbline: ")
    assert place in wrong
    assert remedy in wrong
    assert "Traceback" not in wrong
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize("arguments", [("read",), ("reed",), ("read", "x", "--speed", "fast")])
def test_a_wrong_command_line_ends_with_code_two(
    ebbline: Ebbline, arguments: tuple[str, ...]
) -> None:
    code, said, wrong = ebbline(*arguments)
    assert code == 2
    assert said == ""
    assert "Error" in wrong


def test_a_missing_file_is_named(ebbline: Ebbline, tmp_path: Path) -> None:
    code, _, wrong = ebbline("read", tmp_path / "none.hea")
    assert code == 2
    assert "none.hea" in wrong


def test_an_older_file_stays_when_the_new_one_cannot_be_written(
    ebbline: Ebbline, record: Path, tmp_path: Path
) -> None:
    out = tmp_path / "out.json"
    out.mkdir()
    code, _, wrong = ebbline("read", record, "--json", out)
    assert code == 2
    assert str(out) in wrong
    assert [path.name for path in tmp_path.iterdir()] == ["out.json"]


def test_a_reading_does_not_take_the_place_of_its_recording(
    ebbline: Ebbline, tmp_path: Path
) -> None:
    record = tmp_path / "labour.json"
    save_recording(labour(), record)
    before = record.read_bytes()
    code, _, wrong = ebbline("read", record, "--json", tmp_path / "." / "labour.json")
    assert code == 2
    assert "it would be lost" in wrong
    assert record.read_bytes() == before


# ---------------------------------------------------------------- as a process


def shell(*arguments: object) -> list[str]:
    return [str(Path(sys.executable).with_name("ebbline")), *map(str, arguments)]


def test_a_reader_that_closes_the_pipe_early_sees_no_traceback(record: Path) -> None:
    process = subprocess.Popen(
        shell("read", record, "--json", "-"), stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert process.stdout is not None
    assert process.stderr is not None
    process.stdout.read(10)
    process.stdout.close()
    wrong = process.stderr.read()
    process.stderr.close()
    process.wait(timeout=90)
    assert wrong == b""


def test_a_full_disk_is_told(record: Path) -> None:
    full = Path("/dev/full")
    if not full.is_char_device():
        pytest.skip("no device that is always full")
    with full.open("w") as out:
        done = subprocess.run(
            shell("read", record), check=False, stdout=out, stderr=subprocess.PIPE, text=True
        )
    assert done.returncode == 2
    assert done.stderr.startswith("ebbline: No space left on device.")
    assert done.stderr.count("\n") == 1


def test_a_device_is_not_replaced_by_a_file(ebbline: Ebbline, record: Path, tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    code, _, wrong = ebbline("read", record, "--json", pipe)
    assert code == 2
    assert "not a plain file" in wrong
    assert pipe.is_fifo()


def test_an_interrupt_ends_quietly() -> None:
    program = (
        "import signal, sys, time\n"
        # A suite that runs in the background hands down that the signal be ignored.
        "signal.signal(signal.SIGINT, signal.default_int_handler)\n"
        "import ebbline.recording\n"
        "from ebbline.cli.main import main\n"
        "def slow(path):\n"
        "    print('reading', flush=True)\n"
        "    time.sleep(60)\n"
        "ebbline.recording.files_read = slow\n"
        "sys.argv = ['ebbline', 'read', 'x']\n"
        "main()\n"
    )
    process = subprocess.Popen(
        [sys.executable, "-c", program], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    )
    assert process.stdout is not None
    assert process.stdout.readline() == b"reading\n"
    process.send_signal(signal.SIGINT)
    _, wrong = process.communicate(timeout=90)
    assert process.returncode == 130
    assert wrong == b""


def test_help_names_every_command_without_loading_the_signal_libraries() -> None:
    """Start-up stays quick only while nothing heavy is imported for it."""
    program = (
        "import sys; sys.argv = ['ebbline', '--help']\n"
        "from ebbline.cli.main import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "print(sorted({'numpy', 'scipy', 'numba', 'pyarrow', 'pydantic'} & set(sys.modules)))\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", program], capture_output=True, text=True, check=True
    )
    assert "read" in done.stdout
    assert done.stdout.endswith("[]\n")
