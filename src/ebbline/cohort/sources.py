"""The recordings of an archive: found by folder, glob or address, each with a fingerprint."""

from __future__ import annotations

import hashlib
import posixpath
from collections import Counter, defaultdict
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ebbline.errors import RecordingError
from ebbline.recording.registry import FORMATS

COMPANIONS = (".dat",)
"""Files that belong to a recording of the same name and are no recording of their own."""


@dataclass(frozen=True, slots=True)
class Source:
    """One recording where it lies.

    recording: its name in the tables, the path below the archive's root. address: of the file to
    open. files: all files it consists of, the one to open first. fingerprint: changes when any of
    them changes (size, and time of change or the store's own tag).
    """

    recording: str
    address: str
    files: tuple[str, ...]
    fingerprint: str


def find_sources(where: str) -> list[Source]:
    """All recordings below a folder, of a glob, or one file; in order of their names.

    where: a path, or an address that fsspec knows (s3://..., https://...). Raises RecordingError
    when there is no such place or no recording in it.
    """
    system, path = _system(where)
    listing, root = _listing(system, path, where)
    by_stem: dict[str, list[str]] = defaultdict(list)
    for name in listing:
        by_stem[posixpath.splitext(name)[0]].append(name)
    chosen = sorted(name for name in listing if _is_recording(name, by_stem))
    if not chosen:
        raise RecordingError(
            "there is no recording here.",
            where=where,
            remedy=f"Name a folder or a pattern of files with one of: {', '.join(_suffixes())}.",
        )
    short = Counter(posixpath.splitext(_below(root, name))[0] for name in chosen)
    sources = []
    for name in chosen:
        stem, suffix = posixpath.splitext(_below(root, name))
        files = (name, *sorted(set(_companions(name, by_stem))))
        sources.append(
            Source(
                recording=stem if short[stem] == 1 else stem + suffix,
                address=system.unstrip_protocol(name),
                files=tuple(system.unstrip_protocol(one) for one in files),
                fingerprint=_fingerprint([listing[one] for one in files]),
            )
        )
    return sources


def _system(where: str) -> tuple[Any, str]:
    from fsspec.core import url_to_fs

    try:
        system, path = url_to_fs(where)
    except (ImportError, ValueError, OSError) as error:
        raise RecordingError(
            f"this address cannot be opened: {error}.",
            where=where,
            remedy="Name a folder, or an address whose fsspec driver is installed.",
        ) from error
    return system, str(path)


def _listing(system: Any, path: str, where: str) -> tuple[dict[str, dict[str, Any]], str]:
    """Every file with its details, by path; and the root that names are told from."""
    try:
        if any(mark in path for mark in "*?["):
            found = system.glob(path, detail=True)
            fixed = path[: min(path.index(mark) for mark in "*?[" if mark in path)]
            return _files(found), posixpath.dirname(fixed)
        if system.isdir(path):
            return _files(system.find(path, detail=True)), path.rstrip("/")
        if system.exists(path):
            folder = posixpath.dirname(path)
            beside = {one["name"]: one for one in system.ls(folder, detail=True)}
            stem = posixpath.splitext(path)[0]
            alike = {n: d for n, d in _files(beside).items() if posixpath.splitext(n)[0] == stem}
            return {n: d for n, d in alike.items() if n == path or _extends(n)}, folder
    except OSError as error:
        raise RecordingError(
            f"looking through this place failed: {error.strerror or error}.",
            where=where,
            remedy="Check the address and the rights to it.",
        ) from error
    raise RecordingError(
        "there is no such place.", where=where, remedy="Name a folder, a pattern or a file."
    )


def _files(found: dict[str, dict[str, Any]]) -> dict[str, dict[str, Any]]:
    seen = {name: _followed(detail) for name, detail in found.items()}
    return {
        name: detail
        for name, detail in seen.items()
        if detail.get("type") == "file" and not posixpath.basename(name).startswith(".")
    }


def _followed(detail: dict[str, Any]) -> dict[str, Any]:
    """A link, as data sets under version control have them, is the file that it leads to.

    One that leads nowhere counts as a file too: it is listed as unreadable, not left out silently.
    """
    if not detail.get("islink"):
        return detail
    target = Path(detail["name"])
    if target.is_dir():
        return detail
    changed = {"mtime": target.stat().st_mtime} if target.exists() else {}
    return detail | {"type": "file"} | changed


def _suffixes() -> tuple[str, ...]:
    # A picture of a strip wants a person's answers, so an archive takes what is read without.
    return tuple(s for one in FORMATS if one.writes for s in one.suffixes if s not in COMPANIONS)


def _extends(name: str) -> bool:
    return posixpath.splitext(name)[1].casefold() in COMPANIONS


def _is_recording(name: str, by_stem: dict[str, list[str]]) -> bool:
    stem, suffix = posixpath.splitext(name)
    if suffix.casefold() not in _suffixes():
        return False
    return len(by_stem[stem]) >= 1


def _companions(name: str, by_stem: dict[str, list[str]]) -> list[str]:
    """Files of the same name, or of the name with an addition (1001_2.dat), that extend it."""
    return [one for one in by_stem[posixpath.splitext(name)[0]] if _extends(one)]


def _below(root: str, name: str) -> str:
    return posixpath.relpath(name, root) if root else name


_CHANGED = ("ETag", "etag", "mtime", "LastModified")
"""What file systems tell of a change, the surest first."""


def _fingerprint(details: list[dict[str, Any]]) -> str:
    digest = hashlib.sha256()
    for one in details:
        tag = next((one[key] for key in _CHANGED if key in one), "")
        digest.update(repr((posixpath.basename(one["name"]), one.get("size"), str(tag))).encode())
    return digest.hexdigest()[:24]
