"""Signal quality per ten minutes: how much can be used, the longest gap, the cause suspected."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ebbline.compiled import kernel
from ebbline.definitions import TEN_MINUTES_S

FloatArray = NDArray[np.float64]
CodeArray = NDArray[np.int8]

SEGMENT_S = float(TEN_MINUTES_S)
"""The standards look at ten minutes at a time (NICHD 2008, FIGO 2015)."""


@kernel
def middle(values: FloatArray) -> float:
    """The middle one of the values that are there; NaN without any."""
    there = values[np.isfinite(values)]
    return float(np.median(there)) if there.size > 0 else np.nan


@kernel
def valid_by_minute(kept: FloatArray, rate: int) -> FloatArray:
    """Share of usable samples in each minute, shape (minutes,)."""
    per_minute = 60 * rate
    minutes = (kept.size + per_minute - 1) // per_minute
    out = np.zeros(minutes)
    for m in range(minutes):
        end = min(kept.size, (m + 1) * per_minute)
        seen = 0
        for i in range(m * per_minute, end):
            if kept[i] == kept[i]:
                seen += 1
        out[m] = seen / (end - m * per_minute)
    return out


@kernel
def segments(kept: FloatArray, code: CodeArray, length: int) -> FloatArray:
    """One row per segment: valid share, longest gap (samples), then samples by code 0..7."""
    count = max(1, (kept.size + length - 1) // length)
    out = np.zeros((count, 10))
    for s in range(count):
        end = min(kept.size, (s + 1) * length)
        seen = 0
        gap = 0
        longest = 0
        for i in range(s * length, end):
            if kept[i] == kept[i]:
                seen += 1
                gap = 0
            else:
                gap += 1
                longest = max(longest, gap)
            out[s, 2 + code[i]] += 1.0
        out[s, 0] = seen / max(1, end - s * length)
        out[s, 1] = longest
    return out


@kernel
def runs(code: CodeArray, wanted: int, least: int, joined: int) -> NDArray[np.int64]:
    """Stretches (start, end) of one code, at least `least` samples, joined over short breaks."""
    found = np.empty((code.size // max(1, least) + 1, 2), dtype=np.int64)
    count = 0
    start = -1
    last = -1
    for i in range(code.size + 1):
        here = i < code.size and code[i] == wanted
        if here:
            if start < 0:
                start = i
            last = i
        elif start >= 0 and (i == code.size or i - last > joined):
            if last + 1 - start >= least:
                found[count, 0] = start
                found[count, 1] = last + 1
                count += 1
            start = -1
    return found[:count].copy()
