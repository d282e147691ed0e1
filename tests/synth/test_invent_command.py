"""`ebbline invent` from the shell's side, and the recording that comes with the project."""

from __future__ import annotations

import re
from pathlib import Path

import numpy as np
import pytest

from ebbline.codec import from_json
from ebbline.recording import open_recording
from ebbline.synth import Story, Truth, invent
from ebbline.terms import SensorKind
from running import Ebbline

EXAMPLE = Path(__file__).parents[2] / "examples" / "labour.csv"


def test_a_sentence_becomes_a_recording_and_its_truth(ebbline: Ebbline, tmp_path: Path) -> None:
    out, truth = tmp_path / "out.csv", tmp_path / "truth.json"
    words = "recurrent late, minimal variability, 39 weeks, electrode"
    code, said, _ = ebbline("invent", words, "--hours", "0.5", "--seed", "7", out, "--truth", truth)
    assert code == 0 and "late decelerations" in said and "30 minutes" in said
    recording = open_recording(out)
    assert recording.duration_s == 1800 and recording.context.weeks == 39
    assert recording.heart_rate().sensor is SensorKind.SCALP_ELECTRODE
    told = from_json(Truth, truth.read_text())
    assert any(d.kind == "late" for d in told.decelerations)


def test_the_strip_can_be_drawn_at_once(ebbline: Ebbline, tmp_path: Path) -> None:
    picture = tmp_path / "strip.svg"
    code, _, _ = ebbline(
        "invent", "accelerations", tmp_path / "a.csv", "--hours", "0.5", "--picture", picture
    )
    sheets = sorted(tmp_path.glob("strip*.svg"))
    assert code == 0 and sheets
    assert all(sheet.read_text().lstrip().startswith("<") for sheet in sheets)


def test_a_misspelt_word_leaves_no_file_behind(ebbline: Ebbline, tmp_path: Path) -> None:
    out = tmp_path / "out.csv"
    code, said, told = ebbline("invent", "recurent late", out)
    assert code == 2 and not said and not out.exists()
    assert '"recurrent late"' in told and "Traceback" not in told


@pytest.mark.parametrize(
    "arguments",
    [
        (),
        ("normal",),
        ("normal", "out.xyz"),
        ("normal", "out.csv", "--hours", "900"),
        ("normal", "out.csv", "--hours", "nan"),
        ("normal", "out.csv", "--rate", "3"),
        ("normal", "out.csv", "--seed", "-4"),
        ("normal", "out.csv", "--picture", "strip.doc"),
        ("normal, 20 minutes then tachysystole, 20 minutes", "out.csv", "--hours", "2"),
    ],
)
def test_what_cannot_be_invented_is_refused_in_words(
    ebbline: Ebbline, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, arguments: tuple[str, ...]
) -> None:
    monkeypatch.chdir(tmp_path)
    code, said, told = ebbline("invent", *arguments)
    assert code == 2 and not said and "Traceback" not in told
    assert not list(tmp_path.iterdir())


def test_the_words_are_listed(ebbline: Ebbline) -> None:
    code, said, _ = ebbline("invent", "--words")
    assert code == 0 and "recurrent late" in said and "N weeks" in said


def test_the_example_is_what_its_words_and_seed_give() -> None:
    example = open_recording(EXAMPLE)
    note = next(n for n in example.provenance.notes if "from the words" in n)
    told = re.search(r"seed (\d+) from the words: (.+)", note)
    assert told is not None
    made = invent(Story.from_words(told[2]), int(told[1])).recording
    assert 60 * 60 <= example.duration_s <= 100 * 60
    for kept, again in zip(example.channels, made.channels, strict=True):
        same = (kept.samples == again.samples) | (np.isnan(kept.samples) & np.isnan(again.samples))
        assert same.mean() > 0.999
