"""Our own JSON: everything a Recording holds, nothing lost; null is a missing sample."""

from __future__ import annotations

import json
from dataclasses import replace
from datetime import UTC
from pathlib import Path
from typing import Any

from cattrs import transform_error

from ebbline.codec import from_data, to_data
from ebbline.errors import EbblineError, RecordingError
from ebbline.recording.files import read_bytes
from ebbline.recording.header_comments import NO_ZONE
from ebbline.recording.limits import MAX_TEXT_BYTES
from ebbline.recording.model import Encoded, Recording

NAME = "JSON"
MARK = "ebbline recording"
VERSION = 1


def read(path: Path) -> Recording:
    """Read a recording that `write` wrote, or one made by hand after docs/formats.md."""
    data = _parse(read_bytes(path, MAX_TEXT_BYTES), path)
    if not isinstance(data, dict) or data.get("format") != MARK:
        raise RecordingError(
            f'this is JSON, but not a recording: the field "format" is not "{MARK}".',
            where=str(path),
            remedy="See the documentation of formats for what it must hold.",
        )
    if data.get("version") != VERSION:
        raise RecordingError(
            f"version {data.get('version')!r} is not known; this is version {VERSION}.",
            where=f"{path}, field version",
            remedy="Read it with the Ebbline that wrote it, or a newer one.",
        )
    recording = _structured(data.get("recording"), path)
    notes = recording.provenance.notes
    start = recording.start
    if start is not None and start.tzinfo is None:
        start, notes = start.replace(tzinfo=UTC), (*notes, NO_ZONE)
    provenance = replace(recording.provenance, source=path.name, format=NAME, notes=notes)
    return replace(recording, start=start, provenance=provenance)


def _parse(data: bytes, path: Path) -> Any:
    try:
        return json.loads(data.decode("utf-8-sig"))
    except UnicodeDecodeError as error:
        raise RecordingError(
            f"byte {error.start} is not UTF-8 text.", where=str(path), remedy="Save it as UTF-8."
        ) from error
    except json.JSONDecodeError as error:
        raise RecordingError(
            f"this is not JSON: {error.msg}.",
            where=f"{path}, line {error.lineno}, column {error.colno}",
            remedy="Check that the file is whole.",
        ) from error
    except (RecursionError, ValueError) as error:
        raise RecordingError(
            "this JSON is nested too deeply or holds a number too long to read.",
            where=str(path),
            remedy="Check where the file comes from.",
        ) from error


def _structured(data: Any, path: Path) -> Recording:
    channels = data.get("channels") if isinstance(data, dict) else None
    if not isinstance(channels, list):
        raise RecordingError(
            'the field "recording" holds no list of channels.',
            where=f"{path}, field recording.channels",
            remedy="See the documentation of formats for what it must hold.",
        )
    for index, channel in enumerate(channels):
        samples = channel.get("samples") if isinstance(channel, dict) else None
        if not isinstance(samples, list):
            raise RecordingError(
                "a channel holds no list of samples.",
                where=f"{path}, field recording.channels[{index}].samples",
                remedy="Give a list of numbers, null where missing.",
            )
        wrong = next((i for i, v in enumerate(samples) if not _is_sample(v)), None)
        if wrong is not None:
            raise RecordingError(
                f"{json.dumps(samples[wrong])[:40]} is not a sample.",
                where=f"{path}, field recording.channels[{index}].samples[{wrong}]",
                remedy="Give numbers, null where missing.",
            )
    try:
        return from_data(Recording, {"name": path.stem, **data})
    except EbblineError as error:
        why = _reasons(error)
        raise RecordingError(
            f"this is not a saved recording: {why}.",
            where=str(path),
            remedy="Correct these fields; the documentation of formats lists them.",
        ) from error


def _is_sample(value: Any) -> bool:
    number = isinstance(value, (int, float)) and not isinstance(value, bool)
    return value is None or (number and (isinstance(value, float) or abs(value) < 1e300))


def _reasons(error: EbblineError) -> str:
    cause = error.__cause__
    if cause is None:
        return error.what
    return "; ".join(str(line) for line in transform_error(cause, path="recording")[:5])


def encode(recording: Recording, path: Path) -> Encoded:
    """Everything: nothing is lost."""
    document = {"format": MARK, "version": VERSION, "recording": to_data(recording)}
    text = json.dumps(document, ensure_ascii=False, allow_nan=False)
    return Encoded({path: (text + "\n").encode("utf-8", "replace")}, ())


def files(path: Path) -> tuple[Path, ...]:
    """The files that `write` makes."""
    return (path,)
