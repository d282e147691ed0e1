"""The one door to files: the format is chosen by the file's suffix."""

from __future__ import annotations

import importlib
import os
from dataclasses import dataclass
from pathlib import Path
from typing import Protocol, cast

from ebbline.errors import RecordingError
from ebbline.recording.channels import tidy
from ebbline.recording.files import telling
from ebbline.recording.model import Recording

FORMATS = {
    ".hea": "wfdb_format",
    ".dat": "wfdb_format",
    ".edf": "edf_format",
    ".csv": "csv_format",
    ".tsv": "csv_format",
    ".txt": "csv_format",
    ".parquet": "parquet_format",
    ".json": "json_format",
}
"""Module of this package that reads and writes files with a suffix; imported when needed."""


class Format(Protocol):
    """What the module of a format offers."""

    def read(self, path: Path) -> Recording:
        """Read a file."""

    def write(self, recording: Recording, path: Path) -> tuple[str, ...]:
        """Write a file; returns in sentences what the format could not hold."""

    def files(self, path: Path) -> tuple[Path, ...]:
        """The files that `write` makes."""


@dataclass(frozen=True, slots=True)
class Saved:
    """What was written, and in sentences what the format could not hold."""

    files: tuple[Path, ...]
    losses: tuple[str, ...]


def open_recording(path: str | Path) -> Recording:
    """Read a recording from a file; a name without suffix is a WFDB record.

    Raises RecordingError, and nothing else, when the file cannot be read: it says what is wrong,
    where, and what to do.
    """
    found = _find(_clean(path))
    with telling(found, "reading"):
        recording = _format(found).read(found)
    return tidy(recording, str(found))


def save_recording(recording: Recording, path: str | Path) -> Saved:
    """Write a recording in the format of the file's suffix, whole or not at all.

    What is already there is replaced. Raises RecordingError, and nothing else, when it cannot
    be written or the format cannot hold it.
    """
    target = _writable(path)
    sound = tidy(recording, recording.name or "recording")
    doubts = sound.provenance.notes[len(recording.provenance.notes) :]
    with telling(target, "writing"):
        losses = _format(target).write(sound, target)
    return Saved(files_to_write(target), (*doubts, *losses))


def files_to_write(path: str | Path) -> tuple[Path, ...]:
    """The files that `save_recording` writes for a path."""
    target = _writable(path)
    return _format(target).files(target)


def _clean(path: str | Path) -> Path:
    try:
        possible = b"\0" not in os.fsencode(path)
    except UnicodeEncodeError:
        possible = False
    if not possible:
        raise RecordingError(
            "this has a character that no path can hold.",
            where=ascii(str(path)),
            remedy="Name a file on disk.",
        )
    return Path(path)


def _writable(path: str | Path) -> Path:
    target = _clean(path)
    if target.suffix.casefold() in FORMATS:
        return target
    raise RecordingError(
        f'"{target.suffix}" is not a suffix that can be written.'
        if target.suffix
        else "the name has no suffix to choose the format by.",
        where=str(path),
        remedy=f"Use one of: {_suffixes()}.",
    )


def _find(path: Path) -> Path:
    """The file that a path means: itself, or the header of the WFDB record of that name."""
    if path.suffix.casefold() in FORMATS:
        return path
    with telling(path, "looking for the file"):
        if path.name:
            header = path.with_name(path.name + ".hea")
            if header.is_file():
                return header
        there, directory = path.exists(), path.is_dir()
    if directory:
        what = "this is a directory, not a recording."
    elif there:
        what = f'the suffix "{path.suffix}" is not that of a format that can be read.'
    else:
        what = "there is no such file, nor a WFDB header of that name."
    raise RecordingError(what, where=str(path), remedy=f"Name a file with one of: {_suffixes()}.")


def _suffixes() -> str:
    return ", ".join(FORMATS)


def _format(path: Path) -> Format:
    name = FORMATS[path.suffix.casefold()]
    return cast(Format, importlib.import_module(f"ebbline.recording.{name}"))
