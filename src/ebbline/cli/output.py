"""What a command writes: never over what it reads, and over nothing without --force."""

from __future__ import annotations

import os
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ebbline.errors import EbblineError
from ebbline.terms import counted

if TYPE_CHECKING:
    from ebbline.picture.canvas import Document
    from ebbline.recording.model import Annotation, Recording
    from ebbline.recording.registry import Saved

Force = Annotated[bool, typer.Option("--force", help="Replace files that are already there.")]


class OutputError(EbblineError):
    """A file that a command must not write."""


class Outputs:
    """The files of one run of a command.

    force: whether files that are there may be replaced. read: files that the run reads; they are
    never written over, not even with force. Every method raises EbblineError, with nothing
    written, for a file that must not be.
    """

    def __init__(self, *, force: bool, read: Iterable[Path | None] = ()) -> None:
        self._force = force
        self._read = tuple(path for path in read if path is not None)
        self._owners: dict[str, Path] = {}

    def announce(self, *targets: str | Path | None) -> None:
        """Check the files named on the command line before any work is done."""
        from ebbline.recording.files import check_target, possible_path, telling

        for target in targets:
            if target is not None and str(target) != "-":
                place = possible_path(target)
                with telling(place, "writing"):
                    check_target(place, replace=True)
                    if os.path.realpath(place) in self._owners:
                        raise _twice(place)
                    self._claim(place, [place])

    def text(self, target: str | Path, text: str) -> None:
        """Write a text file."""
        self.bytes(target, text.encode("utf-8", "backslashreplace"))

    def bytes(self, target: str | Path, content: bytes) -> None:
        """Write a file as it is."""
        from ebbline.recording.files import write_files

        place = Path(target)
        self._claim(place, [place])
        write_files({place: content}, replace=self._force)

    def json(self, value: Any, target: str | Path | None) -> None:
        """Write a value of ours as JSON; "-" prints it; None does nothing."""
        if target is None:
            return
        from ebbline.codec import to_json

        if str(target) == "-":
            print(to_json(value))
        else:
            self.text(target, to_json(value) + "\n")

    def picture(self, document: Document, target: Path) -> list[Path]:
        """Draw a document. Returns the files: SVG and PNG hold one page each, and it is said."""
        from ebbline.picture.files import files_of, write

        files = files_of(document, target)
        self._claim(target, files)
        write(document, target, replace=self._force)
        if files != [target]:
            typer.echo(f"Drawn on {len(files)} sheets: {files[0]} to {files[-1].name}", err=True)
        return files

    def recording(self, recording: Recording, target: Path) -> Saved:
        """Write a recording, which may take several files."""
        from ebbline.recording.files import write_files
        from ebbline.recording.registry import Saved, encode_recording

        encoded = encode_recording(recording, target)
        self._claim(target, encoded.contents)
        write_files(encoded.contents, replace=self._force)
        return Saved(tuple(encoded.contents), encoded.losses)

    def annotations(self, annotations: Sequence[Annotation], target: Path, rate_hz: float) -> None:
        """Write a WFDB annotation file, and say what it could not hold."""
        from ebbline.recording.files import shown, write_files
        from ebbline.recording.wfdb_annotations import encode_annotations

        encoded = encode_annotations(annotations, target, rate_hz)
        self._claim(target, encoded.contents)
        write_files(encoded.contents, replace=self._force)
        typer.echo(f"wrote {counted(len(annotations), 'annotation')} to {shown(target)}", err=True)
        for loss in encoded.losses:
            typer.echo(f"not held by this format: {loss}", err=True)

    def _claim(self, owner: Path, files: Iterable[Path]) -> None:
        """Check files that belong to one named on the command line, and remember them as its."""
        from ebbline.recording.files import already_there, is_there, shown

        there = []
        for file in files:
            if any(_same(file, read) for read in self._read):
                raise OutputError(
                    "this is what is read, or a part of it; it would be lost.",
                    where=shown(file),
                    remedy="Choose another name.",
                )
            place = os.path.realpath(file)
            if self._owners.setdefault(place, owner) != owner:
                raise _twice(file)
            if not self._force and is_there(file):
                there.append(file)
        if there:
            raise already_there(there)


def _twice(file: Path) -> OutputError:
    from ebbline.recording.files import shown

    return OutputError(
        "two things are to be written to this one file.",
        where=shown(file),
        remedy="Give each a name of its own.",
    )


def _same(one: Path, other: Path) -> bool:
    """True for one file under two names: by path, by a link, by another spelling of it."""
    try:
        if one.exists() and other.exists():
            return one.samefile(other)
    except OSError:
        pass
    return os.path.realpath(one) == os.path.realpath(other)
