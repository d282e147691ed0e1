"""WFDB annotations out and in: marks and findings as a file, and a file's annotations as marks.

What is taken in becomes the reader's own marks, with the file's name beside them; what says a kind
that can be marked becomes that kind, everything else a note. Nothing computed is changed by it.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import TYPE_CHECKING

from ebbline.errors import RecordingError
from ebbline.web.reading.marks_service import KINDS, SHORTEST_S
from ebbline.web.reading.schemas import ItemOut, MarkIn

if TYPE_CHECKING:
    from ebbline.recording.model import Annotation, Recording

MOMENT_S = 10.0
"""A moment becomes a stretch of so long, so that it can be seen and touched (our choice)."""
MOST_MARKS = 2000
"""Of one file; beats of a whole labour are more, and no marks (our choice)."""
SUFFIX = ".atr"
_BPM = re.compile(r"(\d{2,3}) bpm", re.ASCII)


def annotations_of(marks: Iterable[ItemOut]) -> list[Annotation]:
    """A reader's marks as annotations, their kind first, the note after a colon."""
    from ebbline.recording.model import Annotation

    said = []
    for one in marks:
        words = KINDS[one.kind].words
        if one.value is not None:
            words += f" {one.value:.0f} bpm"
        if one.note:
            words += f": {one.note}"
        said.append(Annotation(one.start_s, one.end_s - one.start_s, words))
    return said


def file_of(annotations: Sequence[Annotation], recording: Recording) -> bytes:
    """A WFDB annotation file."""
    from ebbline.recording.wfdb_annotations import encode_annotations

    rate_hz = max(channel.rate_hz for channel in recording.channels)
    path = Path(f"marks{SUFFIX}")
    return bytes(encode_annotations(annotations, path, rate_hz).contents[path])


def marks_in(data: bytes, name: str, recording: Recording, fetus: int) -> list[MarkIn]:
    """The marks that a WFDB annotation file holds. Raises RecordingError in words."""
    from ebbline.recording.wfdb_annotations import read_annotations

    with TemporaryDirectory() as directory:
        path = Path(directory) / f"sent{SUFFIX}"
        path.write_bytes(data)
        try:
            found = read_annotations(path, max(c.rate_hz for c in recording.channels))
        except RecordingError as error:
            raise RecordingError(error.what, where=name, remedy=error.remedy) from error
    within = [one for one in found if 0 <= one.time_s <= recording.duration_s]
    if not within:
        raise RecordingError(
            f"none of its {len(found)} annotations lies on this recording.",
            where=name,
            remedy="Check that it belongs to this recording.",
        )
    if len(within) > MOST_MARKS:
        raise RecordingError(
            f"{len(within)} annotations are more than the {MOST_MARKS} taken as marks.",
            where=name,
            remedy="Send a file of what a reader marked, without beats.",
        )
    return [_mark(one, recording.duration_s, fetus, name) for one in within]


def _mark(one: Annotation, duration_s: float, fetus: int, name: str) -> MarkIn:
    start_s = min(one.time_s, duration_s - SHORTEST_S)
    end_s = min(start_s + max(one.duration_s or MOMENT_S, SHORTEST_S), duration_s)
    head, _, note = one.text.partition(": ")
    level = _BPM.search(head)
    kind = next(
        (k for k, known in KINDS.items() if head.removesuffix(_level(level)) == known.words), None
    )
    if kind == "baseline" and level is not None:
        return MarkIn(
            fetus=fetus,
            kind=kind,
            start_s=start_s,
            end_s=end_s,
            value=float(level[1]),
            note=_noted(note, name),
        )
    if kind is None or kind in ("note", "baseline"):
        words = note if kind == "note" else one.text
        return MarkIn(
            fetus=fetus, kind="note", start_s=start_s, end_s=end_s, note=_noted(words, name)
        )
    return MarkIn(fetus=fetus, kind=kind, start_s=start_s, end_s=end_s, note=_noted(note, name))


def _level(level: re.Match[str] | None) -> str:
    return "" if level is None else f" {level[0]}"


def _noted(words: str, name: str) -> str:
    return f"{words} (from {name})".strip()[:1000]
