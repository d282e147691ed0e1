"""The one door to files: the format is chosen by the file's suffix."""

from __future__ import annotations

import importlib
from pathlib import Path
from types import ModuleType

from ebbline.errors import RecordingError
from ebbline.recording.channels import tidy
from ebbline.recording.files import telling
from ebbline.recording.model import Recording

FORMATS = {
    ".hea": "wfdb_format",
    ".dat": "wfdb_format",
}
"""Module of this package that reads and writes files with a suffix; imported when needed."""


def open_recording(path: str | Path) -> Recording:
    """Read a recording from a file; a name without suffix is a WFDB record.

    Raises RecordingError, and nothing else, when the file cannot be read: it says what is wrong,
    where, and what to do.
    """
    found = _find(Path(path))
    with telling(found, "reading"):
        recording: Recording = _module(found).read(found)
    return tidy(recording, str(found))


def _find(path: Path) -> Path:
    """The file that a path means: itself, or the header of the WFDB record of that name."""
    if "\0" in str(path):
        raise RecordingError(
            "this is not a path.", where=repr(str(path)), remedy="Name a file on disk."
        )
    if path.suffix.casefold() in FORMATS:
        return path
    header = path.with_name(path.name + ".hea") if path.name else path
    with telling(path, "looking for the file"):
        if header.name and header.is_file():
            return header
        there = path.exists()
    if there and path.is_dir():
        what = "this is a directory, not a recording."
    elif there:
        what = f'files named "{path.suffix}" are not known.' if path.suffix else "no known suffix."
    else:
        what = "there is no such file, nor a WFDB header of that name."
    raise RecordingError(
        what, where=str(path), remedy="Name a file with one of: " + ", ".join(sorted(FORMATS)) + "."
    )


def _module(path: Path) -> ModuleType:
    return importlib.import_module(f"ebbline.recording.{FORMATS[path.suffix.casefold()]}")
