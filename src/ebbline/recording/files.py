"""Files on disk: found, looked at before they are opened, written whole or not at all."""

from __future__ import annotations

import os
import stat
import tempfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

from ebbline.errors import RecordingError
from ebbline.recording.limits import MAX_FILE_BYTES


@contextmanager
def telling(path: Path, doing: str) -> Iterator[None]:
    """Turn what the operating system answers into a RecordingError in words."""
    try:
        yield
    except FileNotFoundError as error:
        raise RecordingError(
            "there is no such file or directory.",
            where=str(path),
            remedy="Check the name and the directory.",
        ) from error
    except PermissionError as error:
        raise RecordingError(
            f"no permission for {doing}.",
            where=str(path),
            remedy="Ask for access, or copy the file to a place of your own.",
        ) from error
    except MemoryError as error:
        raise RecordingError(
            f"there is not enough memory for {doing}.",
            where=str(path),
            remedy="Split the recording or use a larger machine.",
        ) from error
    except OSError as error:
        raise RecordingError(
            f"{doing} failed: {error.strerror or error}.",
            where=str(path),
            remedy="Check the path, the link and the disk.",
        ) from error


def check_file(path: Path, most_bytes: int = MAX_FILE_BYTES) -> int:
    """Size in bytes of a regular, non-empty, not too large file; else RecordingError."""
    with telling(path, "looking at the file"):
        found = path.stat()
    if stat.S_ISDIR(found.st_mode):
        raise RecordingError(
            "this is a directory, not a recording.",
            where=str(path),
            remedy="Name a file inside it.",
        )
    if not stat.S_ISREG(found.st_mode):
        raise RecordingError(
            "this is not a regular file.", where=str(path), remedy="Name a file on disk."
        )
    if found.st_size == 0:
        raise RecordingError(
            "the file is empty.", where=str(path), remedy="Export the recording again."
        )
    if found.st_size > most_bytes:
        raise RecordingError(
            f"the file has {found.st_size / 1e6:.0f} MB; the most is {most_bytes / 1e6:.0f} MB.",
            where=str(path),
            remedy="Split the recording.",
        )
    return found.st_size


def read_bytes(path: Path, most_bytes: int = MAX_FILE_BYTES) -> bytes:
    """All bytes of a file that passed `check_file`."""
    check_file(path, most_bytes)
    with telling(path, "reading"):
        return path.read_bytes()


@contextmanager
def written_whole(path: Path) -> Iterator[Path]:
    """Give a temporary file beside `path` to write to, and move it there when all went well.

    A failure leaves what was at `path` before untouched and no temporary file behind.
    """
    with telling(path, "writing"):
        if not path.parent.is_dir():
            raise RecordingError(
                f'"{path.parent}" is not a directory.',
                where=str(path),
                remedy="Make it first, or choose another place.",
            )
        if path.is_dir():
            raise RecordingError(
                "this is a directory.", where=str(path), remedy="Name a file to write."
            )
        if path.exists() and not path.is_file():
            # A device or a pipe would be replaced by a file of its name.
            raise RecordingError(
                "this is not a plain file.", where=str(path), remedy="Name a file to write."
            )
        handle, name = tempfile.mkstemp(
            prefix=f".{path.stem}-", suffix=f".part{path.suffix}", dir=path.parent
        )
        os.close(handle)
    part = Path(name)
    try:
        yield part
        with telling(path, "writing"):
            _settle(part)
            part.replace(path)
    finally:
        with telling(path, "removing the temporary file"):
            part.unlink(missing_ok=True)


def _settle(part: Path) -> None:
    """Give the file the usual permissions and wait until it is on the disk."""
    mask = os.umask(0)
    os.umask(mask)
    part.chmod(0o666 & ~mask)
    with part.open("rb") as written:
        os.fsync(written.fileno())
