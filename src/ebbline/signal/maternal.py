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

STEP_BPM = 25.0
"""A step between pieces of signal that no heart makes."""

LOW_BPM, HIGH_BPM = 55.0, 125.0
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
def low_plateaus(kept: FloatArray, level: FloatArray, rate: int) -> NDArray[np.int64]:
    """Stretches entered and left by a step or gap, low, and flat in themselves.

    kept: usable samples; level: the baseline at each sample. A deceleration is entered on a
    slope; a change of source is not.
    """
    n = kept.size
    flag = np.zeros(n, dtype=np.bool_)
    least = 20 * rate
    start = -1
    last = -1
    stepped_in = False
    total = 0.0
    square = 0.0
    seen = 0
    i = 0
    while i <= n:
        value = kept[i] if i < n else np.nan
        valid = i < n and value == value
        if valid and start >= 0 and abs(value - kept[last]) <= STEP_BPM and i - last <= 15 * rate:
            total += value
            square += value * value
            seen += 1
            last = i
        elif valid or i == n:
            if start >= 0 and last - start >= least and 2 * seen >= last - start and stepped_in:
                mean = total / seen
                spread = np.sqrt(max(0.0, square / seen - mean * mean))
                low = LOW_BPM <= mean <= HIGH_BPM and mean < level[start] - STEP_BPM
                if low and spread < 9.0:
                    for k in range(start, last + 1):
                        flag[k] = True
            if i == n:
                break
            stepped_in = last >= 0 and abs(value - kept[last]) > STEP_BPM
            start = i
            last = i
            total = value
            square = value * value
            seen = 1
        i += 1
    return _stretches(flag, least)


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
