"""Samples as the strip takes them."""

from __future__ import annotations

import gzip
from collections.abc import Mapping
from typing import TYPE_CHECKING

from fastapi import Request
from starlette.responses import Response

if TYPE_CHECKING:
    from ebbline.recording.model import FloatArray


def as_samples(
    request: Request, samples: FloatArray, headers: Mapping[str, str] | None = None
) -> Response:
    """Samples as float32, little endian, NaN missing; packed where the browser takes that."""
    import numpy as np

    body = np.ascontiguousarray(samples.astype("<f4")).tobytes()
    headers = dict(headers or {})
    if "gzip" in request.headers.get("accept-encoding", ""):
        body = gzip.compress(body, compresslevel=1)
        headers |= {"content-encoding": "gzip", "vary": "accept-encoding"}
    return Response(body, media_type="application/octet-stream", headers=headers)
