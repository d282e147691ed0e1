"""Writing a file whole or not at all."""

from __future__ import annotations

import os
from pathlib import Path

from ebbline.errors import EbblineError


def write_whole(path: Path, content: bytes) -> None:
    """Write to a temporary file beside path, then rename: path is never seen half written.

    A symbolic link is followed. Raises EbblineError where the file cannot be written; an older
    file at path then stays as it was.
    """
    place = Path(os.path.realpath(path))
    beside = place.with_name(f".{place.name}.{os.getpid()}.part")
    try:
        if place.exists() and not place.is_file():
            raise OSError("it is there and is not a plain file")
        try:
            beside.write_bytes(content)
            beside.replace(place)
        finally:
            beside.unlink(missing_ok=True)
    except OSError as error:
        raise EbblineError(
            f"cannot be written: {error.strerror or error}.",
            where=str(path),
            remedy="Check that the folder is there, may be written to, and has room.",
        ) from error
