"""WFDB annotation files (.atr and the like): moments and stretches of a record with their words.

What is written is in MIT format: a comment (NOTE) for a moment, and for a stretch its onset and
its end (WFON and WFOFF) with the same words, so that every reader of the format shows both.
Reading takes any annotation of the format; beats and the rest of its codes are named in words.
Source of the format: WFDB Applications Guide, annot(5) and ecgcodes.h, PhysioNet.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from ebbline.errors import RecordingError
from ebbline.recording.files import read_bytes, shown
from ebbline.recording.header_comments import one_line
from ebbline.recording.limits import MAX_DURATION_S, is_possible_rate
from ebbline.recording.model import Annotation, Encoded, Recording
from ebbline.recording.wfdb_format import parse_header
from ebbline.terms import counted

SUFFIXES = (".atr", ".ann", ".mrk")
"""Ours to write; any suffix is read. `atr` is that of reference annotations by custom."""
SKIP, NUM, SUB, CHN, AUX = 59, 60, 61, 62, 63
NOTE, ONSET, END = 22, 39, 40
MOST_WORDS = 255
"""Bytes of words in one annotation: longer ones are not read everywhere."""
FINE_HZ = 1000.0
"""Resolution of times that do not fall on samples of the record."""
MOST_BYTES = 50_000_000
MOST_INTERVAL = 2**31 - 1
RESOLUTION = "## time resolution: "
CODES = {
    1: "normal beat", 2: "left bundle branch block beat", 3: "right bundle branch block beat",
    4: "aberrated atrial premature beat", 5: "premature ventricular contraction",
    6: "fusion beat", 7: "nodal premature beat", 8: "atrial premature beat",
    9: "supraventricular premature beat", 10: "ventricular escape beat",
    11: "nodal escape beat", 12: "paced beat", 13: "unclassifiable beat",
    14: "signal quality change", 16: "isolated artefact", 18: "ST change", 19: "T-wave change",
    20: "systole", 21: "diastole", NOTE: "", 23: "measurement", 24: "P-wave peak",
    25: "bundle branch block beat", 26: "pacer spike", 27: "T-wave peak", 28: "rhythm change",
    29: "U-wave peak", 30: "learning", 31: "flutter wave", 32: "start of flutter",
    33: "end of flutter", 34: "atrial escape beat", 35: "supraventricular escape beat",
    36: "link", 37: "non-conducted P-wave", 38: "fusion of paced and normal beat",
    ONSET: "onset", END: "end", 41: "R-on-T premature beat",
}  # fmt: skip
"""What the codes of ecgcodes.h mean; others are told by their number."""


@dataclass(frozen=True, slots=True)
class _Mark:
    """One annotation of a file: when (in units of the file's resolution), code and words."""

    at: int
    code: int
    words: str


def read_annotations(path: Path, rate_hz: float | None = None) -> tuple[Annotation, ...]:
    """The annotations of a file, in order of time.

    rate_hz: samples per second that its times count, where neither the file nor a header of the
    same name beside it says. Raises RecordingError when it is not in MIT format, or no rate is
    known.
    """
    marks = list(_marks(read_bytes(path, MOST_BYTES), path))
    resolution = _told_resolution(marks) or _header_rate(path) or rate_hz
    if resolution is None or not is_possible_rate(min(resolution, FINE_HZ)):
        raise RecordingError(
            "nothing says how many samples a second its times count.",
            where=shown(path),
            remedy="Put the record's header (.hea) of the same name beside it.",
        )
    found: list[Annotation] = []
    open_at: dict[str, list[int]] = {}
    for mark in marks:
        if mark.code == 0 or (mark.code == NOTE and mark.words.startswith("## ")):
            # No annotations: steps in time, and what the file says of itself.
            continue
        time_s = mark.at / resolution
        if mark.code == END and open_at.get(mark.words):
            index = open_at[mark.words].pop(0)
            began = found[index]
            found[index] = replace(began, duration_s=time_s - began.time_s)
            continue
        if mark.code == ONSET and mark.words:
            open_at.setdefault(mark.words, []).append(len(found))
            found.append(Annotation(time_s, 0.0, mark.words))
            continue
        kind = CODES.get(mark.code, f"annotation code {mark.code}")
        found.append(Annotation(time_s, 0.0, ": ".join(x for x in (kind, mark.words) if x)))
    return tuple(sorted(found, key=lambda a: (a.time_s, a.duration_s)))


def with_annotations(recording: Recording, path: Path) -> Recording:
    """The recording with the annotations of a file added; those it has already stay once.

    Times outside the recording are left out, and the notes say so. Raises RecordingError when the
    file cannot be read.
    """
    found = read_annotations(path, max(c.rate_hz for c in recording.channels))
    within = [a for a in found if 0 <= a.time_s <= recording.duration_s]
    notes = [f"{counted(len(within), 'annotation')} read from {shown(path.name)}."]
    if len(within) < len(found):
        notes.append(
            f"{counted(len(found) - len(within), 'annotation')} outside the recording: left out."
        )
    both = dict.fromkeys((*recording.annotations, *within))
    return replace(
        recording,
        annotations=tuple(sorted(both, key=lambda a: a.time_s)),
        provenance=replace(recording.provenance, notes=(*recording.provenance.notes, *notes)),
    )


def encode_annotations(annotations: Sequence[Annotation], path: Path, rate_hz: float) -> Encoded:
    """An annotation file, with what it could not hold. Raises RecordingError for another suffix.

    rate_hz: the record's. Times are counted in its samples where all of them fall on one, else in
    milliseconds, as the file then says.
    """
    if path.suffix.casefold() not in SUFFIXES:
        raise RecordingError(
            f'"{path.suffix}" is not a suffix of annotation files that are written.',
            where=shown(path),
            remedy=f"End the name in one of: {', '.join(SUFFIXES)}.",
        )
    marks: list[tuple[float, int, str]] = []
    losses: list[str] = []
    for one in annotations:
        if not -MAX_DURATION_S <= one.time_s <= MAX_DURATION_S:
            losses.append(f'"{one_line(one.text)[:40]}" has no possible time: left out.')
            continue
        words = one_line(one.text) or "marked"
        if len(words.encode()) > MOST_WORDS:
            words = words.encode()[:MOST_WORDS].decode("utf-8", "ignore").rstrip()
            losses.append(f'"{words[:40]}..." was cut to {MOST_WORDS} bytes.')
        if one.duration_s > 0:
            marks.append((one.time_s, ONSET, words))
            marks.append((one.time_s + one.duration_s, END, words))
        else:
            marks.append((one.time_s, NOTE, words))
    on_samples = all(abs(t * rate_hz - round(t * rate_hz)) < 1e-6 for t, _, _ in marks)
    resolution = rate_hz if on_samples else FINE_HZ
    if not on_samples and any(abs(t * FINE_HZ - round(t * FINE_HZ)) > 1e-6 for t, _, _ in marks):
        losses.append("times were rounded to milliseconds.")
    data = _pair(NOTE, 0) + _words(f"{RESOLUTION}{resolution:.12g}")
    now = 0
    for time_s, code, words in sorted(marks, key=lambda m: (m[0], m[1] != END)):
        at = round(time_s * resolution)
        data += _interval(at - now, code) + _words(words)
        now = at
    return Encoded({path: data + _pair(0, 0)}, tuple(losses))


def _pair(code: int, interval: int) -> bytes:
    return (code << 10 | interval).to_bytes(2, "little")


def _interval(interval: int, code: int) -> bytes:
    if 0 <= interval < 1024:
        return _pair(code, interval)
    whole = interval & 0xFFFFFFFF
    skipped = (whole >> 16).to_bytes(2, "little") + (whole & 0xFFFF).to_bytes(2, "little")
    return _pair(SKIP, 0) + skipped + _pair(code, 0)


def _words(words: str) -> bytes:
    data = words.encode()
    return _pair(AUX, len(data)) + data + b"\0" * (len(data) % 2)


def _marks(data: bytes, path: Path) -> Iterator[_Mark]:
    """Annotations of MIT format. RecordingError naming the byte where it ends to make sense."""
    at, now, place = 0, 0, shown(path)
    pending: _Mark | None = None
    while at + 2 <= len(data):
        pair = int.from_bytes(data[at : at + 2], "little")
        code, low, here = pair >> 10, pair & 0x3FF, at
        at += 2
        if pair == 0:
            if pending is not None:
                yield pending
            return
        if code == SKIP:
            if at + 4 > len(data):
                break
            high = int.from_bytes(data[at : at + 2], "little")
            skipped = high << 16 | int.from_bytes(data[at + 2 : at + 4], "little")
            now += skipped - (1 << 32 if skipped > MOST_INTERVAL else 0)
            at += 4
        elif code == AUX:
            text = data[at : at + low]
            at += low + low % 2
            if len(text) < low or pending is None:
                break
            words = one_line(text.decode("utf-8", "replace").rstrip("\0"))
            pending = replace(pending, words=words)
        elif code in (NUM, SUB, CHN):
            if pending is None:
                break
        elif code > 49:
            raise RecordingError(
                f"byte {here} holds the annotation code {code}, which the format does not have.",
                where=place,
                remedy="Check that this is a WFDB annotation file in MIT format.",
            )
        else:
            if pending is not None:
                yield pending
            now += low
            pending = _Mark(now, code, "")
    raise RecordingError(
        f"the annotations end at byte {len(data)} without the mark of their end.",
        where=place,
        remedy="Check that this is a WFDB annotation file in MIT format, and whole.",
    )


def _told_resolution(marks: Sequence[_Mark]) -> float | None:
    for mark in marks:
        found = re.fullmatch(rf"{RESOLUTION}(\d{{1,7}}(?:\.\d{{1,12}})?)", mark.words, re.ASCII)
        if mark.code == NOTE and found and float(found[1]) > 0:
            return float(found[1])
    return None


def _header_rate(path: Path) -> float | None:
    header = path.with_suffix(".hea")
    if not header.is_file():
        return None
    text = read_bytes(header).decode("utf-8", "replace")
    return parse_header(text, shown(header)).rate_hz
