"""The samples of the strip on the wall."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from fastapi import HTTPException
from starlette.responses import Response

from ebbline.web.teaching.attempts_in_play import TRACES

if TYPE_CHECKING:
    from ebbline.recording.model import Channel
    from ebbline.web.classroom.service import OpenClass


def channels(found: OpenClass) -> list[Channel]:
    """The heart rate and the contractions, as far as they were recorded."""
    if found.strip is None:
        return []
    wanted = [c for c in found.strip.recording.channels if c.kind.value in TRACES]
    return list({c.kind: c for c in reversed(wanted)}.values())[::-1]


def described(found: OpenClass) -> list[dict[str, Any]]:
    """What each channel is, for the page that draws it."""
    return [
        {"kind": c.kind.value, "rate_hz": c.rate_hz, "href": TRACES[c.kind.value]}
        for c in channels(found)
    ]


def samples(found: OpenClass, kind: str, *, until_s: float) -> Response:
    """One channel up to a moment: float32, little endian."""
    import numpy as np

    chosen = [c for c in channels(found) if TRACES[c.kind.value] == kind]
    if not chosen:
        raise HTTPException(404, "there is no such trace.")
    seen = chosen[0].samples[: round(until_s * chosen[0].rate_hz)]
    body = np.ascontiguousarray(seen.astype("<f4")).tobytes()
    return Response(body, media_type="application/octet-stream")
