"""Files on disk: found, looked at before they are opened, written whole or not at all."""

from __future__ import annotations

import errno
import os
import secrets
import stat
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from functools import partial
from pathlib import Path

from ebbline.errors import EbblineError, RecordingError, UnforeseenError
from ebbline.extras import missing_extra
from ebbline.recording.limits import MAX_FILE_BYTES


@contextmanager
def telling(path: Path, doing: str) -> Iterator[None]:
    """Turn what the operating system answers into a RecordingError in words."""
    try:
        yield
    except FileNotFoundError as error:
        raise RecordingError(
            "there is no such file or directory.",
            where=shown(path),
            remedy="Check the name and the directory.",
        ) from error
    except PermissionError as error:
        raise RecordingError(
            f"no permission for {doing}.",
            where=shown(path),
            remedy="Ask for access, or copy the file to a place of your own.",
        ) from error
    except MemoryError as error:
        raise RecordingError(
            f"there is not enough memory for {doing}.",
            where=shown(path),
            remedy="Split the recording or use a larger machine.",
        ) from error
    except OSError as error:
        full = error.errno in (errno.ENOSPC, errno.EDQUOT)
        raise RecordingError(
            f"{doing} failed: {error.strerror or error}.",
            where=shown(path),
            remedy="Free some room, or choose another place."
            if full
            else "Check the path, the link and the disk.",
        ) from error


@contextmanager
def unforeseen(path: Path, doing: str) -> Iterator[None]:
    """The outermost guard of the readers: what nobody thought of becomes an UnforeseenError.

    A package of an extra that is not installed is named with the extra.
    """
    try:
        yield
    except EbblineError:
        raise
    except ModuleNotFoundError as error:
        raise missing_extra(error, where=shown(path)) from error
    except Exception as error:
        raise UnforeseenError(
            f"{doing} failed in a way that was not foreseen ({type(error).__name__}: "
            f"{str(error)[:120]}).",
            where=shown(path),
            remedy="The file is likely damaged or of another kind: export it again. "
            "If it is sound, this is a fault of Ebbline's: please report it.",
        ) from error


def check_file(path: Path, most_bytes: int = MAX_FILE_BYTES) -> int:
    """Size in bytes of a regular, non-empty, not too large file; else RecordingError."""
    with telling(path, "looking at the file"):
        found = path.stat()
    if stat.S_ISDIR(found.st_mode):
        raise RecordingError(
            "this is a directory, not a recording.",
            where=shown(path),
            remedy="Name a file inside it.",
        )
    if not stat.S_ISREG(found.st_mode):
        raise RecordingError(
            "this is not a regular file.", where=shown(path), remedy="Name a file on disk."
        )
    if found.st_size == 0:
        raise RecordingError(
            "the file is empty.", where=shown(path), remedy="Export the recording again."
        )
    if found.st_size > most_bytes:
        raise RecordingError(
            f"the file has {found.st_size / 1e6:.0f} MB; the most is {most_bytes / 1e6:.0f} MB.",
            where=shown(path),
            remedy="Split the recording.",
        )
    return found.st_size


def read_bytes(path: Path, most_bytes: int = MAX_FILE_BYTES) -> bytes:
    """All bytes of a file that passed `check_file`."""
    check_file(path, most_bytes)
    with telling(path, "reading"):
        return path.read_bytes()


@contextmanager
def written_whole(path: Path, *, replace: bool = True) -> Iterator[Path]:
    """Give a place to write to, and make it the file `path` when all went well.

    A failure leaves what was at `path` before untouched. Until it is whole the file has no name
    where the system allows that (Linux), so that not even a kill leaves a part of it behind.
    replace: False raises RecordingError when there is a file already, also one that came
    meanwhile.
    """
    path = possible_path(path)
    with telling(path, "writing"):
        check_target(path, replace=replace)
        place = Path(os.path.realpath(path))
        nameless = _open_nameless(place.parent)
        if nameless is not None:
            try:
                yield Path(f"/proc/self/fd/{nameless}")
                os.fsync(nameless)
                _name(nameless, place, replace)
            finally:
                os.close(nameless)
            return
        part = _fresh_part(place)
        try:
            yield part
            _settle(part)
            _move(part, place, replace)
        finally:
            part.unlink(missing_ok=True)


def write_files(contents: Mapping[Path, bytes], *, replace: bool = True) -> None:
    """Write several files, in their order, none before the content of all is on the disk.

    Raises RecordingError, and leaves what was there, when one of them cannot be written.
    """
    with ExitStack() as open_files:
        # Entered backwards, because an exit stack gives names in the opposite order.
        for path, content in reversed(list(contents.items())):
            part = open_files.enter_context(written_whole(path, replace=replace))
            with telling(path, "writing"):
                part.write_bytes(content)


def check_target(path: Path, *, replace: bool) -> None:
    """Raise RecordingError when no file can be, or may be, written to the path."""
    if not path.parent.is_dir():
        raise RecordingError(
            f'"{shown(path.parent)}" is not a directory.',
            where=shown(path),
            remedy="Make it first, or choose another place.",
        )
    if path.is_dir():
        raise RecordingError(
            "this is a directory.", where=shown(path), remedy="Name a file to write."
        )
    if path.exists() and not path.is_file():
        # A device or a pipe would be replaced by a file of its name.
        raise RecordingError(
            "this is not a plain file.", where=shown(path), remedy="Name a file to write."
        )
    if not replace and is_there(path):
        raise already_there([path])


def possible_path(path: str | Path) -> Path:
    """The path, when the system can have one of that name; else RecordingError."""
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


def is_there(path: Path) -> bool:
    """True when the name is taken, by a link that leads nowhere too."""
    return path.exists() or path.is_symlink()


def already_there(paths: Sequence[Path]) -> RecordingError:
    """The error for files that stand where one was to be written."""
    return RecordingError(
        "there is such a file already." if len(paths) == 1 else "there are such files already.",
        where=", ".join(map(shown, paths)),
        remedy="Choose another name, or add --force to replace it.",
    )


def shown(text: str | Path) -> str:
    """A path or text as it can be printed and saved anywhere.

    Bytes of a file name that are not text, and halves of characters, are written as \\udcNN.
    """
    return str(text).encode("utf-8", "backslashreplace").decode("utf-8")


def _open_nameless(directory: Path) -> int | None:
    """A file without a name in the directory, None where the system has no such thing."""
    flag = getattr(os, "O_TMPFILE", None)
    if flag is None or not Path("/proc/self/fd").is_dir():
        return None
    try:
        return os.open(directory, flag | os.O_RDWR, 0o666)
    except OSError as error:
        if error.errno in _NO_NAMELESS:
            return None
        raise


_NO_NAMELESS = (errno.EOPNOTSUPP, errno.EISDIR, errno.EINVAL, errno.ENOENT)
"""What file systems and kernels without nameless files answer."""


def _name(nameless: int, place: Path, replace: bool) -> None:
    """Give the file its name; in place of another one it takes a passing name for an instant."""
    # A directory descriptor (not used: the path is absolute) makes this linkat, as open(2) says.
    name = partial(os.link, f"/proc/self/fd/{nameless}", src_dir_fd=nameless)
    if not replace or not is_there(place):
        try:
            name(place)
            return
        except FileExistsError:
            if not replace:
                raise already_there([place]) from None
    passing = place.with_name(f".{os.getpid()}-{secrets.token_hex(4)}.part")
    name(passing)
    passing.replace(place)


def _fresh_part(place: Path) -> Path:
    # A short name of its own: that of the file may be as long as a name can be.
    handle, name = tempfile.mkstemp(
        prefix=".ebbline-", suffix=f".part{place.suffix}", dir=place.parent
    )
    os.close(handle)
    return Path(name)


def _move(part: Path, place: Path, replace: bool) -> None:
    if replace:
        part.replace(place)
        return
    try:
        os.link(part, place)
    except FileExistsError:
        raise already_there([place]) from None
    except OSError:
        # No hard links here: the name was free a moment ago.
        if is_there(place):
            raise already_there([place]) from None
        part.replace(place)


def _settle(part: Path) -> None:
    """Give the file the usual permissions and wait until it is on the disk."""
    mask = os.umask(0)
    os.umask(mask)
    part.chmod(0o666 & ~mask)
    with part.open("rb") as written:
        os.fsync(written.fileno())
