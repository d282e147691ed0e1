"""The one door to files: the format is chosen by the file's suffix.

A format is one module and one line of `FORMATS`. Its module offers

- `read(path, **options) -> Recording`; options are keywords of its own with defaults, such as
  the paper speed of a picture;
- `encode(recording, path) -> Encoded`, unless the line says that it is only read;
- `parts(path) -> tuple[Path, ...]`, where reading `path` reads other files too.
"""

from __future__ import annotations

import importlib
import inspect
import unicodedata
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, Protocol, cast

from ebbline.errors import RecordingError
from ebbline.recording.channels import tidy
from ebbline.recording.files import possible_path, shown, telling, unforeseen, write_files
from ebbline.recording.model import Encoded, Recording


class Reader(Protocol):
    """What the module of every format offers."""

    def read(self, path: Path, **options: Any) -> Recording:
        """Read a file."""


class Writer(Protocol):
    """What the module of a format that is written offers too."""

    def encode(self, recording: Recording, path: Path) -> Encoded:
        """The bytes of the file, or of the several files that a recording takes."""


@dataclass(frozen=True, slots=True)
class Format:
    """One line of the registry. module: below this package, imported when needed."""

    name: str
    suffixes: tuple[str, ...]
    module: str
    writes: bool = True

    def reader(self) -> Reader:
        """The module, to read with."""
        return cast(Reader, importlib.import_module(f"ebbline.recording.{self.module}"))

    def writer(self) -> Writer:
        """The module, to write with. Only where the line says so."""
        return cast(Writer, importlib.import_module(f"ebbline.recording.{self.module}"))

    def options(self) -> tuple[str, ...]:
        """Names of the options that reading takes."""
        return tuple(inspect.signature(self.reader().read).parameters)[1:]

    def parts(self, path: Path) -> tuple[Path, ...]:
        """All files that reading a path reads."""
        parts = getattr(self.reader(), "parts", None)
        return (path,) if parts is None else cast("tuple[Path, ...]", parts(path))


FORMATS = (
    Format("WFDB", (".hea", ".dat"), "wfdb_format"),
    Format("EDF+", (".edf",), "edf_format"),
    Format("CSV", (".csv", ".tsv", ".txt"), "csv_format"),
    Format("Parquet", (".parquet",), "parquet_format"),
    Format("JSON", (".json",), "json_format"),
    Format(
        "paper", (".jpg", ".jpeg", ".png", ".tif", ".tiff", ".pdf"), "paper_format", writes=False
    ),
)
_BY_SUFFIX = {suffix: one for one in FORMATS for suffix in one.suffixes}


@dataclass(frozen=True, slots=True)
class Saved:
    """What was written, and in sentences what the format could not hold."""

    files: tuple[Path, ...]
    losses: tuple[str, ...]


def open_recording(path: str | Path, **options: Any) -> Recording:
    """Read a recording from a file; a name without suffix is a WFDB record.

    options: those of the format's `read`. Raises EbblineError, and nothing else, when the file
    cannot be read: it says what is wrong, where, and what to do.
    """
    found = _find(possible_path(path))
    one = _BY_SUFFIX[found.suffix.casefold()]
    with unforeseen(found, "reading"), telling(found, "reading"):
        _check_options(one, options, found)
        recording = one.reader().read(found, **options)
        return tidy(_printable(recording), str(found))


def save_recording(recording: Recording, path: str | Path, *, replace: bool = True) -> Saved:
    """Write a recording in the format of the file's suffix, whole or not at all.

    replace: whether a file that is already there may be replaced. Raises EbblineError, and
    nothing else, when it cannot be written or the format cannot hold it.
    """
    target = possible_path(path)
    encoded = encode_recording(recording, target)
    with unforeseen(target, "writing"):
        write_files(encoded.contents, replace=replace)
    return Saved(tuple(encoded.contents), encoded.losses)


def encode_recording(recording: Recording, path: str | Path) -> Encoded:
    """The bytes of the files that `save_recording` would write, without writing them."""
    target = possible_path(path)
    one = _format_to_write(target)
    sound = tidy(_printable(recording), recording.name or "recording")
    doubts = sound.provenance.notes[len(recording.provenance.notes) :]
    with unforeseen(target, "writing"), telling(target, "writing"):
        encoded = one.writer().encode(sound, target)
    return Encoded(encoded.contents, (*doubts, *encoded.losses))


def check_writable(path: str | Path) -> None:
    """Raise RecordingError when the suffix is not that of a format that is written."""
    _format_to_write(possible_path(path))


def files_read(path: str | Path) -> tuple[Path, ...]:
    """All files that `open_recording` reads for a path: a WFDB record is several."""
    found = _find(possible_path(path))
    with unforeseen(found, "looking for the parts"):
        return _BY_SUFFIX[found.suffix.casefold()].parts(found)


def _printable(recording: Recording) -> Recording:
    """The recording with texts that can be printed and saved, whatever bytes its file has."""
    origin = recording.provenance
    return replace(
        recording,
        name=unicodedata.normalize("NFC", shown(recording.name)),
        channels=tuple(
            replace(c, unit=shown(c.unit), label=shown(c.label)) for c in recording.channels
        ),
        provenance=replace(
            origin,
            source=unicodedata.normalize("NFC", shown(origin.source)),
            notes=tuple(map(shown, origin.notes)),
            outcome={shown(name): value for name, value in origin.outcome.items()},
        ),
        annotations=tuple(replace(a, text=shown(a.text)) for a in recording.annotations),
    )


def _check_options(one: Format, options: dict[str, Any], path: Path) -> None:
    known = one.options() if options else ()
    for name in options:
        if name not in known:
            raise RecordingError(
                f"{one.name} is read without an option {name!r}.",
                where=shown(path),
                remedy=f"Choose from: {', '.join(known) or 'none'}.",
            )


def _format_to_write(target: Path) -> Format:
    one = _BY_SUFFIX.get(target.suffix.casefold())
    if one is not None and one.writes:
        return one
    if one is not None:
        what = f"{one.name} is read, not written."
    elif target.suffix:
        what = f'"{target.suffix}" is not a suffix that can be written.'
    else:
        what = "the name has no suffix to choose the format by."
    raise RecordingError(
        what, where=shown(target), remedy=f"Use one of: {_suffixes(to_write=True)}."
    )


def _find(path: Path) -> Path:
    """The file that a path means: itself, or the header of the WFDB record of that name."""
    if path.suffix.casefold() in _BY_SUFFIX:
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
    raise RecordingError(what, where=shown(path), remedy=f"Name a file with one of: {_suffixes()}.")


def _suffixes(*, to_write: bool = False) -> str:
    return ", ".join(s for s, one in _BY_SUFFIX.items() if one.writes or not to_write)
