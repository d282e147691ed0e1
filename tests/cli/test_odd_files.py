"""Files with odd names and contents end in a reading or in words, as a person would type them."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest

from ebbline.codec import from_json, to_json
from ebbline.errors import EbblineError
from ebbline.reading.analyse import read
from ebbline.reading.model import Reading
from ebbline.recording import Recording, open_recording
from recording.making import plain

ROWS = "time_s,FHR\n" + "".join(f"{i / 4},{140 + i % 5}\n" for i in range(4 * 60 * 20))


def ebbline(*words: str | Path) -> tuple[int, str, str]:
    program = "from ebbline.cli.main import main; main()"
    done = subprocess.run(
        [sys.executable, "-c", program, *map(os.fsencode, words)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert "Traceback" not in done.stderr
    return done.returncode, done.stdout, done.stderr


def test_a_name_that_is_not_text_is_read_and_saved(tmp_path: Path) -> None:
    path = tmp_path / os.fsdecode(b"M\xfcller.csv")
    path.write_text(ROWS)
    code, said, wrong = ebbline("read", path, "--json", tmp_path / "out.json")
    assert code == 0, wrong
    assert "ller" in said
    assert from_json(Reading, (tmp_path / "out.json").read_text(encoding="utf-8")).recording


def test_a_start_near_the_end_of_time_counts_as_unknown(tmp_path: Path) -> None:
    (tmp_path / "a.csv").write_text("# Start: 9999-12-31T23:59\n" + ROWS)
    recording = open_recording(tmp_path / "a.csv")
    assert recording.start is None
    assert "a start in the year 9999 cannot be true: counts as unknown." in (
        recording.provenance.notes
    )
    assert ebbline("read", tmp_path / "a.csv")[0] == 0


@pytest.mark.parametrize("text", ["[" * 100_000, "[" + "9" * 5000 + "]", "{", "[1e999]"])
def test_json_that_cannot_be_read_is_told_in_words(text: str, tmp_path: Path) -> None:
    (tmp_path / "r.json").write_text(text)
    code, _, wrong = ebbline("measures", "--reading", tmp_path / "r.json")
    assert code == 2
    assert "r.json" in wrong


@pytest.mark.parametrize(
    ("field", "value"),
    [
        ("start", "9999-12-31T23:59:59+00:00"),
        ("start", "yesterday"),
        ("duration_s", float("inf")),
        ("duration_s", "inf"),
        ("duration_s", 10**400),
    ],
)
def test_a_saved_reading_that_was_changed_by_hand_is_refused(field: str, value: object) -> None:
    data = json.loads(to_json(read(plain([140.0 + i % 5 for i in range(4800)]))))
    data[field] = value
    with pytest.raises(EbblineError, match="this is not a saved Reading"):
        from_json(Reading, json.dumps(data))


@pytest.mark.parametrize(
    "change",
    [
        lambda d: d["context"].update(parity=10**310),
        lambda d: d["channels"][0].update(label="\ud800"),
        lambda d: d.update(annotations=[{"time_s": 1, "duration_s": 1e308, "text": "\udfff"}]),
        lambda d: d.update(annotations=[{"time_s": 1e308, "duration_s": 0, "text": "x"}]),
    ],
)
def test_an_odd_recording_can_be_read_and_written_in_every_format(
    change: object, tmp_path: Path
) -> None:
    from ebbline.recording import save_recording
    from ebbline.recording.registry import FORMATS
    from recording.making import labour

    save_recording(labour(), tmp_path / "a.json")
    document = json.loads((tmp_path / "a.json").read_text(encoding="utf-8"))
    change(document["recording"])  # type: ignore[operator]
    (tmp_path / "b.json").write_text(json.dumps(document))
    recording: Recording = open_recording(tmp_path / "b.json")
    for one in (one for one in FORMATS if one.writes):
        for suffix in one.suffixes:
            save_recording(recording, tmp_path / f"c{suffix}")
            assert open_recording(tmp_path / f"c{suffix}").fetuses == (1, 2)


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("a.csv", "time_s;" + "(" * 40_000 + "\n"),
        ("a.csv", "time_s," + " " * 40_000 + "x\n0,1\n1,2\n"),
        ("a.csv", f"time_s,FHR {'9' * 4400}\n0,1\n"),
        ("a.csv", f"time_s,FHR\n0,{'1' * 200_000}x\n1,140\n"),
        ("a.csv", "time_s,FHR\n0,140\n1e-320,140\n1e308,141\n"),
        ("a.hea", "a 1 4 10\na.dat 16 " + "1" * 60_000 + "x\n"),
        ("a.hea", "a " + "1" * 60_000 + "\n"),
    ],
)
def test_patterns_see_a_bounded_text(name: str, text: str, tmp_path: Path) -> None:
    """Each took minutes, or ended in an unnamed error, before the patterns saw less."""
    (tmp_path / name).write_text(text)
    with pytest.raises(EbblineError):
        open_recording(tmp_path / name)
