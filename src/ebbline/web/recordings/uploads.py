"""Files from a browser: bounded, checked, laid out in a private directory for the readers."""

from __future__ import annotations

import errno
import lzma
import os
import shutil
import stat
import time
import zipfile
import zlib
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from pathlib import Path
from tempfile import TemporaryDirectory, gettempdir
from typing import IO, Protocol

from ebbline.errors import EbblineError, RecordingError
from ebbline.store import StoreFullError
from ebbline.web.settings import MEBIBYTE, Limits

PIECE = 1 << 18
PREFIX = "ebbline-upload-"
LEFT_BEHIND_S = 3600.0
"""Older folders of uploads are of a server that was killed: nothing takes so long (ours)."""
HEADER_SUFFIX = ".hea"
COMPANION_SUFFIXES = (".dat",)
LONGEST_NAME_BYTES = 200

_BESIDE_THE_POINT = ("__MACOSX/",)
"""Folders that packers add by themselves."""


def clear_left_behind() -> None:
    """Remove what a killed server left of uploads in the temporary directory."""
    for left in Path(gettempdir()).glob(f"{PREFIX}*"):
        with suppress(OSError):
            if (
                left.stat().st_uid == os.getuid()
                and time.time() - left.stat().st_mtime > LEFT_BEHIND_S
            ):
                shutil.rmtree(left)


class Received(Protocol):
    """A file as the web framework hands it over."""

    @property
    def filename(self) -> str | None:
        """The name the browser gave."""

    @property
    def file(self) -> IO[bytes]:
        """Its content."""


@contextmanager
def laid_out(files: Sequence[Received], limits: Limits) -> Iterator[Path]:
    """The path of the recording among the files, in a directory that goes away afterwards.

    One file, an archive, or a header with its samples. Raises RecordingError for names that are
    no plain file names, for too much, for unsafe archives, and where the recording is unclear.
    """
    with _placed(files, limits) as place:
        yield _main(place)


@contextmanager
def laid_out_each(files: Sequence[Received], limits: Limits) -> Iterator[list[Path]]:
    """The path of every file, in the order in which they were sent, none unpacked."""
    with _placed(files, limits, unpack=False) as place:
        yield [place / _plain(received.filename or "") for received in files]


@contextmanager
def _placed(files: Sequence[Received], limits: Limits, *, unpack: bool = True) -> Iterator[Path]:
    if len(files) > limits.upload_files:
        raise RecordingError(
            f"{len(files)} files at once are too many.",
            remedy=f"Send at most {limits.upload_files}: one recording at a time.",
        )
    with TemporaryDirectory(prefix=PREFIX) as directory:
        place = Path(directory)
        try:
            for received in files:
                name = _plain(received.filename or "")
                target = _fresh(place, name)
                with target.open("xb") as out:
                    _copy(received.file, out, name, limits.upload_bytes)
                if unpack and target.suffix.lower() == ".zip":
                    _unpack(target, limits)
                    target.unlink()
        except OSError as error:
            if error.errno != errno.ENOSPC:
                raise
            raise StoreFullError(
                "the disk for files on their way in is full; nothing was kept.",
                where=str(place.parent),
                remedy="Make room there, and send it again.",
            ) from error
        try:
            yield place
        except EbblineError as error:
            # The sender knows the file by its name, not by where it lay meanwhile.
            where, what, remedy = (
                words.replace(f"{place}/", "") for words in (error.where, error.what, error.remedy)
            )
            raise type(error)(what, where=where, remedy=remedy) from error


def _plain(name: str) -> str:
    """The name, when a file can be called that: any but one that leads elsewhere or hides.

    Combining marks count as printable: decomposed umlauts are how some systems write names.
    """
    plain = name.strip()
    try:
        size = len(plain.encode())
    except UnicodeEncodeError:
        size = 0
    leads_elsewhere = plain.startswith(".") or "/" in plain or "\\" in plain
    if leads_elsewhere or not 0 < size <= LONGEST_NAME_BYTES or not plain.isprintable():
        raise RecordingError(
            "this is not a plain file name.",
            where=ascii(name[:80]),
            remedy=f"Rename it: no slashes, no dot in front, at most {LONGEST_NAME_BYTES} letters.",
        )
    return plain


def _member_name(path: str) -> str:
    """The plain name of a member, whatever folder of the archive it lies in."""
    return [_plain(part) for part in path.split("/")][-1]


def _fresh(place: Path, name: str) -> Path:
    target = place / name
    if target.exists() or target.parent != place:
        raise RecordingError("two files have the same name.", where=name)
    return target


def _copy(source: IO[bytes], out: IO[bytes], name: str, most: int) -> int:
    taken = 0
    while piece := source.read(PIECE):
        taken += len(piece)
        if taken > most:
            raise RecordingError(
                f"the file is larger than the {most // MEBIBYTE} MiB taken here.",
                where=name,
                remedy="Send a shorter part of the recording.",
            )
        out.write(piece)
    return taken


def _unpack(archive: Path, limits: Limits) -> None:
    """Only plain, unencrypted members, counted while they unpack, not as they claim."""
    try:
        with zipfile.ZipFile(archive) as opened:
            members = [
                m
                for m in opened.infolist()
                if not m.is_dir() and not m.filename.startswith(_BESIDE_THE_POINT)
            ]
            if len(members) > limits.upload_files:
                raise RecordingError(
                    f"the archive holds {len(members)} files.",
                    where=archive.name,
                    remedy=f"Pack one recording, at most {limits.upload_files} files.",
                )
            left = limits.unpacked_bytes
            for member in members:
                if stat.S_ISLNK(member.external_attr >> 16) or member.flag_bits & 0x1:
                    raise RecordingError(
                        "links and encrypted files in archives are not opened.",
                        where=f"{archive.name}: {member.filename!r}",
                        remedy="Pack the plain files.",
                    )
                name = _member_name(member.filename)
                if name.lower().endswith(".zip"):
                    raise RecordingError("archives in archives are not opened.", where=name)
                target = _fresh(archive.parent, name)
                with opened.open(member) as source, target.open("xb") as out:
                    left -= _copy(source, out, name, left)
    except OSError as error:
        if error.errno == errno.ENOSPC:
            raise
        raise _damaged(archive, error) from error
    except DAMAGE as error:
        raise _damaged(archive, error) from error


DAMAGE = (
    zipfile.BadZipFile,
    zlib.error,
    lzma.LZMAError,
    NotImplementedError,
    EOFError,
    IndexError,
    ValueError,
    RuntimeError,
)
"""What the archive library raises at damaged or strange archives, beside errors of the disk."""


def _damaged(archive: Path, error: Exception) -> RecordingError:
    return RecordingError(
        f"the archive is damaged or of a kind that is not read ({error or type(error).__name__}).",
        where=archive.name,
        remedy="Pack it again as an ordinary ZIP file.",
    )


def _main(place: Path) -> Path:
    found = sorted(place.iterdir())
    headers = [p for p in found if p.suffix.lower() == HEADER_SUFFIX]
    if not headers and any(p.suffix.lower() in COMPANION_SUFFIXES for p in found):
        raise RecordingError(
            "these are the samples without their header.",
            where=found[0].name,
            remedy="Choose the .hea file together with its .dat file.",
        )
    candidates = headers or found
    if len(candidates) != 1:
        raise RecordingError(
            "no file was sent." if not candidates else "there is more than one recording.",
            where=", ".join(p.name for p in candidates),
            remedy="Send one recording at a time, with all of its files.",
        )
    return candidates[0]
