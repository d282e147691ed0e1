"""A whole case as one file, and back: entries, recording, reading, sheets, FHIR.

A zip (ISO/IEC 21320-1) with `manifest.json` (the SHA-256 of every file in it), `record.json`,
`fhir.json`, `chart.pdf`, `handover.pdf`, and where a recording belongs to the case the recording
as WFDB or EDF+, once more without any loss as `recording.json`, and its reading. The same case
gives the same bytes.
"""

from __future__ import annotations

import hashlib
import io
import json
import tempfile
import zipfile
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ebbline import CAUTION, __version__
from ebbline.codec import from_json, to_json
from ebbline.errors import EbblineError
from ebbline.journal.chain import Entry, breaks_of, entry_data, entry_from
from ebbline.journal.chart import chart
from ebbline.journal.chart_sheet import chart_sheets
from ebbline.journal.entries import HandoverGiven
from ebbline.journal.errors import JournalError
from ebbline.journal.fhir import case_bundle
from ebbline.journal.handover import handover
from ebbline.journal.handover_sheet import HandoverHead, handover_sheet
from ebbline.journal.trace_columns import columns_of

if TYPE_CHECKING:
    from ebbline.reading.model import Reading
    from ebbline.recording.model import Recording

FORMAT = "ebbline case"
EDITION = 1
RECORDING_FORMATS = ("wfdb", "edf")
MOST_BYTES = 256 * 1024 * 1024
"""Of an archive, and of all that is in it unpacked (ours)."""
MOST_FILES = 64
_MOMENT = (1980, 1, 1, 0, 0, 0)
"""The time of every file in the zip, so that the same case gives the same bytes."""


@dataclass(frozen=True, slots=True, eq=False)
class CaseArchive:
    """What an archive holds. recording, reading: None where none belongs to the case."""

    entries: tuple[Entry, ...]
    recording: Recording | None
    reading: Reading | None


def pack(
    entries: Sequence[Entry],
    *,
    recording: Recording | None = None,
    reading: Reading | None = None,
    recording_format: str = "wfdb",
) -> bytes:
    """The archive of a case as bytes.

    Sheets are made for the time of the last entry, or the end of the trace. Raises JournalError
    for a case without entries or whose chain does not hold, and RecordingError for a recording
    that cannot be written.
    """
    if not entries:
        raise JournalError("the case holds no entry.", remedy="Write one first.")
    broken = breaks_of(entries, entries[0].case)
    if broken:
        raise JournalError(f"the chain of the record does not hold: {broken[0]}.")
    files = {"record.json": _record(entries)}
    if recording is not None:
        files |= _recording_files(recording, recording_format)
    if reading is not None:
        files["reading.json"] = to_json(reading, indent=1).encode()
    files |= _sheets(entries, reading)
    files["fhir.json"] = _json(case_bundle(entries, files))
    manifest = {
        "format": FORMAT,
        "edition": EDITION,
        "ebbline": __version__,
        "case": entries[0].case,
        "entries": len(entries),
        "head": entries[-1].hash,
        "files": {name: hashlib.sha256(data).hexdigest() for name, data in files.items()},
        "caution": CAUTION,
    }
    return _zip({"manifest.json": _json(manifest), **files})


def unpack(data: bytes, where: str = "archive") -> CaseArchive:
    """What an archive holds, every file checked against its hash and the chain walked.

    Raises JournalError for anything that is not a whole, unchanged archive of a case.
    """
    files = _unzip(data, where)
    manifest = _object(files, "manifest.json", where)
    if manifest.get("format") != FORMAT or not isinstance(manifest.get("files"), dict):
        raise JournalError(
            "this is no archive of a case.", where=where, remedy="Choose a file made by an export."
        )
    if manifest.get("edition") != EDITION:
        raise JournalError(
            f"its edition is {manifest.get('edition')}, this Ebbline reads {EDITION}.",
            where=where,
            remedy="Use the version that wrote it.",
        )
    listed: dict[str, str] = manifest["files"]
    for name in sorted(listed.keys() | (files.keys() - {"manifest.json"})):
        if name not in files or name not in listed:
            raise JournalError(
                f"'{name}' is {'missing' if name in listed else 'not in its list'}.",
                where=where,
                remedy="Ask for the archive again.",
            )
        if hashlib.sha256(files[name]).hexdigest() != listed[name]:
            raise JournalError(
                f"'{name}' was changed or damaged.", where=where, remedy="Ask for it again."
            )
    entries = _entries(_object(files, "record.json", where), where)
    if entries[-1].hash != manifest.get("head"):
        raise JournalError("its last entry is not the one it names.", where=where)
    return CaseArchive(entries, _recording(files, where), _reading(files))


def _record(entries: Sequence[Entry]) -> bytes:
    return _json(
        {
            "case": entries[0].case,
            "entries": [{**entry_data(one), "hash": one.hash} for one in entries],
        }
    )


def _entries(record: dict[str, Any], where: str) -> tuple[Entry, ...]:
    rows = record.get("entries")
    if not isinstance(rows, list) or not rows:
        raise JournalError("it holds no entries.", where=where)
    entries = tuple(entry_from(one) for one in rows)
    broken = breaks_of(entries, entries[0].case)
    if broken:
        raise JournalError(
            f"its chain does not hold: {broken[0]}.", where=where, remedy="Do not trust this copy."
        )
    return entries


def _recording_files(recording: Recording, kind: str) -> dict[str, bytes]:
    from dataclasses import replace

    from ebbline.recording import encode_recording

    if kind not in RECORDING_FORMATS:
        raise JournalError(
            f"'{kind}' is no format of an archive.",
            where="format",
            remedy=f"Choose from: {', '.join(RECORDING_FORMATS)}.",
        )
    plain = replace(recording, name="recording")
    encoded = encode_recording(plain, "recording.hea" if kind == "wfdb" else "recording.edf")
    exact = encode_recording(recording, "recording.json")
    both = {**encoded.contents, **exact.contents}
    return {path.name: data for path, data in sorted(both.items())}


def _recording(files: dict[str, bytes], where: str) -> Recording | None:
    from dataclasses import replace

    from ebbline.codec import from_data
    from ebbline.recording import Provenance, open_recording

    if "recording.json" not in files:
        return None
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "recording.json"
        path.write_bytes(files["recording.json"])
        try:
            found = open_recording(path)
            # Where it came from stays what it was: the archive is only its way here.
            origin = _object(files, "recording.json", where)["recording"]["provenance"]
            return replace(found, provenance=from_data(Provenance, origin))
        except (EbblineError, KeyError, TypeError) as error:
            said = error.what if isinstance(error, EbblineError) else "it says not whence it came"
            raise JournalError(f"its recording cannot be read: {said}", where=where) from error


def _reading(files: dict[str, bytes]) -> Reading | None:
    if "reading.json" not in files:
        return None
    from ebbline.reading.model import Reading

    return from_json(Reading, files["reading.json"].decode())


def _sheets(entries: Sequence[Entry], reading: Reading | None) -> dict[str, bytes]:
    from ebbline.picture.pdf import pdf

    last = entries[-1]
    columns = () if reading is None else columns_of(reading)
    ends = [one.end for one in columns]
    at = max(last.written_at, last.at, *ends).astimezone(last.at.tzinfo)
    seen = chart(entries, at, trace=columns)
    made = handover(entries, at, reading=reading)
    head = HandoverHead(made.case, made.bed, at, last.author, last.number, last.hash, True)
    sheet = handover_sheet(HandoverGiven(to="", **made.parts()), head)
    return {
        "chart.pdf": pdf(chart_sheets(seen, made.case, made.bed, at)),
        "handover.pdf": pdf(sheet),
    }


def _json(data: Any) -> bytes:
    return (json.dumps(data, ensure_ascii=False, indent=1, allow_nan=False) + "\n").encode()


def _zip(files: dict[str, bytes]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as made:
        for name, data in files.items():
            about = zipfile.ZipInfo(name, _MOMENT)
            about.compress_type = zipfile.ZIP_DEFLATED
            about.external_attr = 0o600 << 16
            made.writestr(about, data)
    return buffer.getvalue()


def _unzip(data: bytes, where: str) -> dict[str, bytes]:
    """All files, never more than is allowed, whatever the zip says of itself."""
    import zlib

    if len(data) > MOST_BYTES:
        raise JournalError("the archive is too large.", where=where)
    files: dict[str, bytes] = {}
    left = MOST_BYTES
    try:
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            if len(archive.infolist()) > MOST_FILES:
                raise JournalError("the archive holds too many files.", where=where)
            for about in archive.infolist():
                with archive.open(about) as one:
                    files[about.filename] = one.read(left + 1)
                left -= len(files[about.filename])
                if left < 0:
                    raise JournalError("the archive is too large unpacked.", where=where)
    except (zipfile.BadZipFile, zlib.error, EOFError, NotImplementedError, RuntimeError) as error:
        raise JournalError(
            f"this is not a whole zip file: {error}.",
            where=where,
            remedy="Ask for the archive again.",
        ) from error
    except (OSError, ValueError, IndexError) as error:
        raise JournalError("the zip file is damaged.", where=where) from error
    return files


def _object(files: dict[str, bytes], name: str, where: str) -> dict[str, Any]:
    try:
        found = json.loads(files[name])
    except KeyError:
        raise JournalError(
            f"there is no '{name}' in it.", where=where, remedy="Choose a file made by an export."
        ) from None
    except (ValueError, RecursionError) as error:
        raise JournalError(f"its '{name}' cannot be read.", where=where) from error
    if not isinstance(found, dict):
        raise JournalError(f"its '{name}' cannot be read.", where=where)
    return found
