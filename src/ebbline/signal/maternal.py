"""Whose heart is it? Stretches of heart-rate signal that may be the mother's.

With a maternal channel: coincidence of the two rates. Without one, suspicion only: a sudden step
to another, lower level that the signal leaves as suddenly. Feeling the maternal pulse settles it
(FIGO 2015, section on monitoring technology; NICE NG229).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ebbline.compiled import kernel

FloatArray = NDArray[np.float64]

COINCIDENT_BPM = 5.0
"""Two rates within this of each other cannot be told apart on a trace (common practice)."""

COINCIDENT_S, COINCIDENT_SHARE = 30.0, 0.85
"""So long, and in so much of it, the rates must coincide."""

STEP_BPM = 17.0
"""A step between neighbouring samples that hardly any heart makes (ours)."""

LEAST_STEP_BPM, STEP_LEVEL_S = 10.0, 5.0
"""A step of more, between neighbours and between the means of 5 s on both sides, may be a change of
source where the level that it leads to lasts (ours)."""

PLATEAU_S, SLIGHT_PLATEAU_S = 40.0, 90.0
"""So long a level lasts after a step of STEP_BPM, and after a lesser one (ours: in deep falls the
signal often jumps, and stays for half a minute)."""

SAME_BPM, SAME_OVER_S, SAME_SHARE = 6.0, 180.0, 0.4
"""A level that this share of the three minutes before it lay at is no other source: what it was
left for is, a rise or a doubled piece (ours: of 16 plateaus looked at on open recordings 5)."""

UNSEEN_S = 60.0
"""A step may lie in so much lost signal; the level after it must then last SLIGHT_PLATEAU_S."""

GREATEST_SPREAD_BPM = 9.0
"""Standard deviation of an even level: a mother's, with her accelerations (ours)."""

BEFORE_S = 30.0
"""The level that a step leaves is the mean of so much signal before it (ours)."""

MULTIPLE_SPREAD, MULTIPLE_S = 0.12, 30.0
"""A step to twice or half the rate, within this of it, that stays for so long (ours)."""

ACROSS_S = 2.0
"""The rates on both sides of a step are means of so much: longer ones move with the rate's own
swings, so that an exact doubling was missed (ours)."""

RETURN_S = 120.0
"""A step to a level at which most of so much before it lay is a return: what it left was the other
rate (ours: after 16 s of halved rate the 13 minutes that followed were suspected as doubled)."""

LOW_BPM, HIGH_BPM = 55.0, 130.0
"""Range of a mother's pulse in labour (common practice, no source)."""


@kernel
def coincident(kept: FloatArray, mother: FloatArray, rate: int) -> NDArray[np.int64]:
    """Stretches (start, end in samples) where the fetal and the maternal rate coincide."""
    n = min(kept.size, mother.size)
    width = int(COINCIDENT_S * rate)
    flag = np.zeros(n, dtype=np.bool_)
    both = 0
    same = 0
    for i in range(n):
        if kept[i] == kept[i] and mother[i] == mother[i]:
            both += 1
            if abs(kept[i] - mother[i]) <= COINCIDENT_BPM:
                same += 1
        j = i - width
        if j >= 0 and kept[j] == kept[j] and mother[j] == mother[j]:
            both -= 1
            if abs(kept[j] - mother[j]) <= COINCIDENT_BPM:
                same -= 1
        if i >= width - 1 and 2 * both >= width and same >= COINCIDENT_SHARE * both:
            for k in range(i, max(-1, i - width), -1):
                if flag[k] and k < i:
                    break
                flag[k] = True
    return _stretches(flag, width)


@kernel
def low_plateaus(kept: FloatArray, rate: int) -> NDArray[np.int64]:
    """Stretches entered by a step down to a level in a mother's range, and even in themselves.

    kept: usable samples. A deceleration is entered on a slope; a change of source is not. A stretch
    ends with the next step or gap, or with the recording.
    """
    n = kept.size
    flag = np.zeros(n, dtype=np.bool_)
    near, before_s = int(STEP_LEVEL_S * rate), int(BEFORE_S * rate)
    start = last = -1
    unseen = False
    left = step = total = square = 0.0
    seen = 0
    for i in range(n + 1):
        valid = i < n and kept[i] == kept[i]
        if i < n and not valid:
            continue
        jump = valid and last >= 0 and abs(kept[i] - kept[last]) > LEAST_STEP_BPM
        if i < n and start >= 0 and i - last <= 15 * rate and abs(kept[i] - kept[last]) <= STEP_BPM:
            jump = False
        elif start >= 0:
            mean = total / seen
            spread = np.sqrt(max(0.0, square / seen - mean * mean))
            least = PLATEAU_S if step > STEP_BPM and not unseen else SLIGHT_PLATEAU_S
            lasts = last - start >= least * rate and 2 * seen >= last - start
            low = LOW_BPM <= mean <= HIGH_BPM and mean < left - LEAST_STEP_BPM
            even = spread < GREATEST_SPREAD_BPM
            if lasts and low and even and not _near_before(kept, start, mean, rate):
                flag[start : last + 1] = True
            start = -1
        if valid and start < 0 and jump:
            unseen = i - last > 5 * rate
            step = _mean_before(kept, last + 1, near) - _mean_after(kept, i, near)
            if i - last <= UNSEEN_S * rate and step > (STEP_BPM if unseen else LEAST_STEP_BPM):
                start, seen = i, 0
                total = square = 0.0
                left = _mean_before(kept, last + 1, before_s)
        if valid:
            if start >= 0:
                total += kept[i]
                square += kept[i] * kept[i]
                seen += 1
            last = i
    return _stretches(flag, int(PLATEAU_S * rate))


@kernel
def _near_before(kept: FloatArray, start: int, level: float, rate: int) -> bool:
    """Whether much of the signal of SAME_OVER_S before start lay at a level: it is a return."""
    seen = 0
    there = 0
    for i in range(max(0, start - int(SAME_OVER_S) * rate), start):
        if kept[i] == kept[i]:
            seen += 1
            if abs(kept[i] - level) <= SAME_BPM:
                there += 1
    return there > SAME_SHARE * seen


@kernel
def _mean_before(kept: FloatArray, start: int, wanted: int) -> float:
    """Mean of up to `wanted` valid samples before start, none older than twice that; else 0."""
    total = 0.0
    seen = 0
    i = start - 1
    while i >= 0 and i >= start - 2 * wanted and seen < wanted:
        if kept[i] == kept[i]:
            total += kept[i]
            seen += 1
        i -= 1
    return total / seen if seen > 0 else 0.0


@kernel
def _mean_after(kept: FloatArray, start: int, wanted: int) -> float:
    """Mean of the valid samples among so many from start, which is valid."""
    total = 0.0
    seen = 0
    for i in range(start, min(kept.size, start + wanted)):
        if kept[i] == kept[i]:
            total += kept[i]
            seen += 1
    return total / seen


@kernel
def multiples(kept: FloatArray, rate: int) -> NDArray[np.int64]:
    """Stretches (start, end, 1 twice or 0 half) entered by a step to a multiple that stays.

    A stretch ends where the signal leaves the level it stepped to, or with the recording.
    """
    n = kept.size
    found = np.empty((n // (int(MULTIPLE_S) * rate) + 1, 3), dtype=np.int64)
    count = 0
    near = int(ACROSS_S * rate)
    last = -1
    i = 0
    while i < n:
        if kept[i] != kept[i]:
            i += 1
            continue
        if last >= 0 and i - last <= 10 * rate and abs(kept[i] - kept[last]) > 2.0 * STEP_BPM:
            before = _mean_before(kept, last + 1, near)
            ratio = _mean_after(kept, i, near) / before if before > 0.0 else 1.0
            end = _until_left(kept, i, _mean_after(kept, i, int(MULTIPLE_S * rate)), rate)
            twice = abs(ratio - 2.0) <= 2.0 * MULTIPLE_SPREAD
            half = abs(ratio - 0.5) <= 0.5 * MULTIPLE_SPREAD
            lasts = end - i >= MULTIPLE_S * rate and count < found.shape[0]
            if (twice or half) and lasts and not _was_there(kept, i, rate):
                found[count, 0] = i
                found[count, 1] = end
                found[count, 2] = 1 if twice else 0
                count += 1
                last = end - 1
                i = end
                continue
        last = i
        i += 1
    return found[:count].copy()


@kernel
def _was_there(kept: FloatArray, start: int, rate: int) -> bool:
    """Whether most of the signal of RETURN_S before start lay at the level that start steps to."""
    level = _mean_after(kept, start, int(ACROSS_S) * rate)
    seen = 0
    there = 0
    for i in range(max(0, start - int(RETURN_S) * rate), start):
        if kept[i] == kept[i]:
            seen += 1
            if abs(kept[i] / level - 1.0) <= MULTIPLE_SPREAD:
                there += 1
    return 2 * there > seen


@kernel
def _until_left(kept: FloatArray, start: int, level: float, rate: int) -> int:
    """Sample after the last valid one before the signal leaves a level for good: 5 s of it lie
    further off than a multiple may, or a gap of 15 s."""
    last = start
    off = 0
    for i in range(start, kept.size):
        if kept[i] != kept[i]:
            if i - last > 15 * rate:
                break
            continue
        off = off + 1 if abs(kept[i] / level - 1.0) > MULTIPLE_SPREAD else 0
        if off > 5 * rate:
            break
        if off == 0:
            last = i
    return last + 1


@kernel
def _stretches(flag: NDArray[np.bool_], least: int) -> NDArray[np.int64]:
    found = np.empty((flag.size // max(1, least) + 1, 2), dtype=np.int64)
    count = 0
    start = -1
    for i in range(flag.size + 1):
        if i < flag.size and flag[i]:
            if start < 0:
                start = i
        elif start >= 0:
            if i - start >= least:
                found[count, 0] = start
                found[count, 1] = i
                count += 1
            start = -1
    return found[:count].copy()
