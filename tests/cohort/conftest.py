"""A small archive of invented labours, with one file that cannot be read, read once."""

from __future__ import annotations

from pathlib import Path

import pytest

from ebbline.cohort.run import Summary, run_archive
from ebbline.recording import save_recording
from ebbline.synth import Story, invent

SENTENCES = {
    "quiet/calm": "39 weeks, accelerations, 62 minutes",
    "busy/late": "40 weeks, oxytocin, recurrent late, minimal variability, 62 minutes",
    "busy/short": "38 weeks, recurrent variable, 22 minutes",
}


def lay_out(folder: Path) -> None:
    """Write the recordings in three formats, and a file that is none."""
    suffixes = (".hea", ".edf", ".csv")
    for seed, ((name, words), suffix) in enumerate(zip(SENTENCES.items(), suffixes, strict=True)):
        target = folder / f"{name}{suffix}"
        target.parent.mkdir(parents=True, exist_ok=True)
        save_recording(invent(Story.from_words(words), seed=seed).recording, target)
    (folder / "busy" / "broken.edf").write_text("this is no EDF file")


@pytest.fixture(scope="session")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("archive")
    lay_out(folder)
    return folder


@pytest.fixture(scope="session")
def read_once(archive: Path, tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Summary]:
    """The results of the archive, and what the run said."""
    out = tmp_path_factory.mktemp("results") / "first"
    return out, run_archive(str(archive), out, workers=1)
