"""`ebbline convert`."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
import typer
from typer.testing import CliRunner

from ebbline.cli import convert
from ebbline.errors import RecordingError
from ebbline.recording import open_recording, save_recording
from recording.making import assert_same, labour, plain

app = typer.Typer()
convert.register(app)


def run(*words: str | Path) -> str:
    result = CliRunner().invoke(app, [str(word) for word in words], catch_exceptions=False)
    assert result.exit_code == 0, result.output
    return result.output


SUFFIXES = (".hea", ".edf", ".csv", ".parquet", ".json")


@pytest.mark.parametrize("source", SUFFIXES)
@pytest.mark.parametrize("target", SUFFIXES)
def test_any_format_becomes_any_other_without_loss(
    source: str, target: str, tmp_path: Path
) -> None:
    save_recording(labour(), tmp_path / f"source{source}")
    said = run(tmp_path / f"source{source}", tmp_path / f"target{target}")
    assert f"target{target}" in said
    assert "fetal heart rate of fetus 2: 480 samples at 4 Hz (2.0 min), sensor scalp" in said
    assert "nothing was lost." in said
    again = open_recording(tmp_path / f"target{target}")
    assert_same(labour(), again)
    assert any(note.startswith(f"converted from source{source}") for note in again.provenance.notes)


def test_what_the_format_cannot_hold_is_said(tmp_path: Path) -> None:
    save_recording(plain([60000 / 431] * 9), tmp_path / "a.json")
    said = run(tmp_path / "a.json", tmp_path / "b.edf")
    assert "not held by this format: FHR: samples were rounded, by at most 0.00" in said
    assert "nothing was lost" not in said


@pytest.mark.parametrize("there", ["b.hea", "b.dat"])
def test_file_that_is_there_is_kept_unless_forced(there: str, tmp_path: Path) -> None:
    save_recording(plain([140.0] * 9), tmp_path / "a.json")
    (tmp_path / there).write_text("mine")
    with pytest.raises(RecordingError, match=rf"{there}: there is such a file already.*--force"):
        run(tmp_path / "a.json", tmp_path / "b.hea")
    assert (tmp_path / there).read_text() == "mine"
    run(tmp_path / "a.json", tmp_path / "b.hea", "--force")
    np.testing.assert_array_equal(open_recording(tmp_path / "b").channels[0].samples, [140.0] * 9)
