"""Which heart-rate samples can be used for computing, and why the others cannot.

Nothing here changes a sample that is shown: a sample is used or left out, with a reason.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ebbline.compiled import kernel

FloatArray = NDArray[np.float64]
CodeArray = NDArray[np.int8]

USED, MISSING, OUT_OF_RANGE, SPIKE, DOUBLED, HALVED, FLAT, MATERNAL = 0, 1, 2, 3, 4, 5, 6, 7
"""Codes, one for each sample; all but the last come from `usable`."""

LOWEST_BPM, HIGHEST_BPM = 30.0, 240.0
"""Range of fetal trace paper (30-240 bpm; facts of the trade, ISO-less common practice)."""

JUMP_BPM = 22.0
"""A step between neighbouring samples that no heart makes: the signal jumped to another source
or lost its beat. Common practice takes 25 bpm (no source); a little less since the samples are
a quarter of a second apart."""

FRAGMENT_S = 6.0
"""A piece of signal shorter than this, far from what lies on both sides, is a spike."""

DOUBTFUL_S = 90.0
"""The longest piece at half or twice its neighbours' level that is taken as miscounted beats."""

SPECK_S = 1.5
"""A piece shorter than this is a spike whatever its level."""

DEEP_BPM = 35.0
"""A short piece less far under its neighbours than this may be the floor of a deceleration."""

HELD_BPM = 1.0
"""A short piece between jumps that moves no more than this is a value the sensor holds as it loses
the heart: it makes the nadir of no deceleration (ours; common on open recordings of labour)."""

REACH_S = 75.0
"""How far from a piece its neighbours are looked for."""

FLAT_S = 300.0
"""So long without any change of value no living heart rate stays."""


LEAST_RUN_S, RUN_GAP_S, RUN_STEP_BPM, RUN_EDGE_S = 5.0, 0.5, 12.0, 1.0
"""Signal in shorter runs, between gaps or steps of more, tells nothing of the bandwidth, and of a
longer run the outermost second does not: what a sensor gives as it loses the heart and finds it
again is often another rate (ours: on invented labours with 10 % loss and more the bandwidth was
read a quarter too wide, so that a flat trace read as moderate)."""


@kernel
def usable(bpm: FloatArray, rate_hz: float) -> tuple[FloatArray, CodeArray]:
    """Samples fit for computing (others NaN) and a code for each sample.

    bpm: shape (n,), NaN where missing. A piece of signal is bounded by gaps or jumps; a short one
    far from both neighbours is a spike, one near half or twice both neighbours is doubted.
    """
    n = bpm.size
    kept = bpm.copy()
    code = np.zeros(n, dtype=np.int8)
    for i in range(n):
        value = bpm[i]
        if value != value:
            code[i] = 1
        elif value < LOWEST_BPM or value > HIGHEST_BPM:
            code[i] = 2
            kept[i] = np.nan
    _leave_out_flat(bpm, kept, code, int(FLAT_S * rate_hz))

    # Pieces: runs of kept samples without a jump; a gap ends a piece only when the level changed.
    starts = np.empty(n + 1, dtype=np.int64)
    ends = np.empty(n + 1, dtype=np.int64)
    pieces = 0
    last = -1
    for i in range(n):
        if kept[i] != kept[i]:
            continue
        if last < 0 or abs(kept[i] - kept[last]) > JUMP_BPM or i - last > rate_hz * 10:
            starts[pieces] = i
            pieces += 1
        ends[pieces - 1] = i + 1
        last = i

    reach = int(REACH_S * rate_hz)
    for p in range(pieces):
        start, end = starts[p], ends[p]
        seconds = (end - start) / rate_hz
        if seconds > DOUBTFUL_S:
            continue
        before = _level(kept, max(0, start - reach), start, True, rate_hz)
        after = _level(kept, end, min(n, end + reach), False, rate_hz)
        if not (before == before and after == after):
            continue
        level = _level(kept, start, end, True, rate_hz)
        top, bottom = max(before, after), min(before, after)
        edge_in = abs(kept[start] - before)
        edge_out = abs(kept[end - 1] - after)
        jumped = edge_in > JUMP_BPM and edge_out > JUMP_BPM
        # Both neighbours must agree with each other before they can judge what lies between; a
        # value held by the sensor beyond both needs no judge.
        if top - bottom > 30.0:
            beyond = level > top + JUMP_BPM or level < bottom - JUMP_BPM
            if jumped and beyond and seconds < FRAGMENT_S and _held(kept, start, end):
                for i in range(start, end):
                    if code[i] == 0:
                        code[i] = SPIKE
                        kept[i] = np.nan
            continue
        middle = 0.5 * (before + after)
        ratio = level / middle
        under = JUMP_BPM if _held(kept, start, end) else DEEP_BPM
        far = level > top + JUMP_BPM or level < bottom - under
        mark = 0
        if jumped and 1.8 <= ratio <= 2.2:
            mark = 4
        elif jumped and 0.45 <= ratio <= 0.56 and level < 95.0 and seconds < 20.0:
            mark = 5
        elif jumped and (seconds < SPECK_S or (seconds < FRAGMENT_S and far)):
            mark = 3
        if mark > 0:
            for i in range(start, end):
                if code[i] == 0:
                    code[i] = mark
                    kept[i] = np.nan
    return kept, code


@kernel
def _level(kept: FloatArray, start: int, end: int, backwards: bool, rate_hz: float) -> float:
    """Mean of up to 4 s of kept samples nearest to one side of a stretch; NaN without any."""
    wanted = int(4 * rate_hz)
    total = 0.0
    seen = 0
    for k in range(end - start):
        i = end - 1 - k if backwards else start + k
        if kept[i] == kept[i]:
            total += kept[i]
            seen += 1
            if seen == wanted:
                break
    return total / seen if seen > 0 else np.nan


@kernel
def _held(kept: FloatArray, start: int, end: int) -> bool:
    """Whether the kept samples of a stretch are one value that the sensor holds, not a rate."""
    low, high = np.inf, -np.inf
    for i in range(start, end):
        if kept[i] == kept[i]:
            low, high = min(low, kept[i]), max(high, kept[i])
    return bool(high - low <= HELD_BPM)


@kernel
def _leave_out_flat(bpm: FloatArray, kept: FloatArray, code: CodeArray, least: int) -> None:
    """Mark runs of one unchanging value as flat."""
    n = bpm.size
    start = 0
    for i in range(1, n + 1):
        if i < n and bpm[i] == bpm[start]:
            continue
        if i - start >= least and code[start] == 0:
            for k in range(start, i):
                code[k] = 6
                kept[k] = np.nan
        start = i


@kernel
def settled(kept: FloatArray, rate: int) -> FloatArray:
    """The samples of runs long enough to be trusted, without the runs' ends; others NaN.

    kept: usable samples, NaN where missing; rate: samples a second. The recording's own ends cut
    no run.
    """
    n = kept.size
    out = kept.copy()
    least, gap, edge = int(LEAST_RUN_S * rate), int(RUN_GAP_S * rate), int(RUN_EDGE_S * rate)
    start = last = -1
    for i in range(n + 1):
        seen = i < n and kept[i] == kept[i]
        if i < n and not seen:
            continue
        if last >= 0 and (i == n or i - last > gap or abs(kept[i] - kept[last]) > RUN_STEP_BPM):
            if last + 1 - start < least:
                out[start : last + 1] = np.nan
            else:
                if start > 0:
                    out[start : start + edge] = np.nan
                if last < n - 1:
                    out[last + 1 - edge : last + 1] = np.nan
            start = i
        if start < 0:
            start = i
        last = i
    return out


@kernel
def bridge(kept: FloatArray, longest: int) -> FloatArray:
    """Gaps of up to `longest` samples joined by straight lines: for computing only."""
    joined = kept.copy()
    last = -1
    for i in range(kept.size):
        if kept[i] != kept[i]:
            continue
        gap = i - last - 1
        if last >= 0 and 0 < gap <= longest:
            slope = (kept[i] - kept[last]) / (gap + 1)
            for k in range(1, gap + 1):
                joined[last + k] = kept[last] + slope * k
        last = i
    return joined
