"""Variability of the baseline: one-minute bandwidth, short-term and long-term variation."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ebbline.compiled import kernel
from ebbline.definitions import (
    ABSENT_BELOW_BPM,
    MARKED_ABOVE_BPM,
    MINIMAL_UPTO_BPM,
    variability_class,
)
from ebbline.terms import VariabilityClass

FloatArray = NDArray[np.float64]
FlagArray = NDArray[np.bool_]

LIMITS_BPM = (ABSENT_BELOW_BPM, MINIMAL_UPTO_BPM, MARKED_ABOVE_BPM)
"""The limits between the classes (see `definitions`)."""

LEAST_MINUTES, LEAST_MINUTES_SHARE = 3, 0.3
"""A stretch of which fewer minutes could be measured, or a smaller share of its minutes, has no
class: three of ten (common practice, no source)."""

STRANGE_TIMES, LEAST_USUAL_SHARE = 2.2, 0.65
"""A minute whose band is so many times the middle one is left out of a mean, if such minutes are
few: it holds something else (an edge of an event, another source of signal)."""

LEAST_MEASURED_S = 20.0
"""A minute with less baseline signal than this has no bandwidth."""

OUTLYING = 4.0
"""An excursion this many times higher than the trace is rough is not part of its band."""

ALONE_BPM = 6.0
"""A sample this far from the mean of itself and its neighbours is a spike."""

FINE_OUTER_SHARE = 0.04
"""Share of the samples left out at each end of the fine band: it is about the usual wave."""

EPOCH_S = 3.75
"""Length of the epochs of short-term variation (Pardey 2002)."""


@kernel
def usual_bandwidth(minutes: FloatArray) -> float:
    """Mean bandwidth (bpm) of the minutes that were measured, the few strange ones left out.

    minutes: one-minute bandwidths, NaN where not measured. NaN without any.
    Source: FIGO 2015 (mean bandwidth of one-minute segments).
    """
    measured = minutes[np.isfinite(minutes)]
    if measured.size == 0:
        return np.nan
    usual = measured[measured <= STRANGE_TIMES * np.median(measured)]
    if usual.size < LEAST_USUAL_SHARE * measured.size:
        return float(measured.mean())
    return float(usual.mean())


def class_of_minutes(minutes: FloatArray) -> VariabilityClass:
    """Class of a stretch's one-minute bandwidths; indeterminate with too few of them."""
    if np.isfinite(minutes).sum() < max(LEAST_MINUTES, LEAST_MINUTES_SHARE * len(minutes)):
        return VariabilityClass.INDETERMINATE
    return variability_class(usual_bandwidth(minutes))


@kernel
def leave_out(in_event: FlagArray, rows: FloatArray, rough: FloatArray, block: int) -> None:
    """Mark excursions too small to be events but too large to be the band's own.

    rows: excursions with onset, extreme, end (samples) and amplitude in columns 0 to 3; rough:
    typical distance of the trace from its 15-s mean in each block of samples.
    """
    for r in range(rows.shape[0]):
        if rows[r, 3] >= OUTLYING * rough[int(rows[r, 1]) // block]:
            for i in range(int(rows[r, 0]), min(in_event.size, int(rows[r, 2]) + 1)):
                in_event[i] = True


@kernel
def bandwidth_by_minute(
    kept: FloatArray, in_event: FlagArray, rate: int
) -> tuple[FloatArray, FloatArray]:
    """Peak-to-trough of the baseline in each minute (bpm), and LTV (bpm).

    kept: usable samples; in_event: samples inside accelerations and decelerations, left out
    (NICHD 2008). LTV: range of the 3.75-s means.
    """
    per_minute = 60 * rate
    n = kept.size
    minutes = (n + per_minute - 1) // per_minute
    band = np.full(minutes, np.nan)
    ltv = np.full(minutes, np.nan)
    epoch = int(EPOCH_S * rate)
    for m in range(minutes):
        start = m * per_minute
        end = min(n, start + per_minute)
        found = 0
        top, bottom = -1e9, 1e9
        highest, lowest = -1e9, 1e9
        epochs = 0
        total = 0.0
        seen = 0
        for i in range(start, end):
            if kept[i] == kept[i] and not in_event[i]:
                found += 1
                total += kept[i]
                seen += 1
                # A single sample far from its neighbours does not make the band's edge.
                near = kept[i]
                count = 1
                for j in (i - 1, i + 1):
                    if 0 <= j < n and kept[j] == kept[j] and not in_event[j]:
                        near += kept[j]
                        count += 1
                if count == 3 and abs(kept[i] - near / 3.0) <= ALONE_BPM:
                    top = max(top, kept[i])
                    bottom = min(bottom, kept[i])
            if (i - start + 1) % epoch == 0:
                if 2 * seen >= epoch:
                    highest = max(highest, total / seen)
                    lowest = min(lowest, total / seen)
                    epochs += 1
                total = 0.0
                seen = 0
        if found / rate >= LEAST_MEASURED_S and top > bottom:
            band[m] = top - bottom
            if epochs >= 5:
                ltv[m] = highest - lowest
    return band, ltv


@kernel
def fine_bandwidth_by_minute(
    kept: FloatArray, steady: FloatArray, slow: FloatArray, in_event: FlagArray, rate: int
) -> FloatArray:
    """Peak-to-trough (bpm) of the fluctuation about the 15-s mean in each minute of baseline.

    steady, slow: the trace smoothed over 2.25 s and 15 s. Slow waves, such as shallow
    decelerations, widen the bandwidth of a minute but not this.
    """
    per_minute = 60 * rate
    n = kept.size
    minutes = (n + per_minute - 1) // per_minute
    band = np.full(minutes, np.nan)
    off = np.empty(per_minute)
    for m in range(minutes):
        found = 0
        for i in range(m * per_minute, min(n, (m + 1) * per_minute)):
            if kept[i] == kept[i] and not in_event[i] and steady[i] == steady[i]:
                off[found] = steady[i] - slow[i]
                found += 1
        if found / rate >= LEAST_MEASURED_S:
            ordered = np.sort(off[:found])
            out = int(FINE_OUTER_SHARE * found)
            band[m] = ordered[found - 1 - out] - ordered[out]
    return band


@kernel
def short_term_variation(kept: FloatArray, rate_hz: float) -> float:
    """Mean absolute difference of successive 3.75 s mean pulse intervals, in ms.

    kept: bpm, shape (n,), NaN where signal is missing or not of the baseline; rate_hz: samples
    per second. NaN when fewer than two neighbouring epochs are valid (half their samples).
    Source: Pardey, Moulden, Redman. Am J Obstet Gynecol 2002;186:1095-103.
    """
    epoch = EPOCH_S * rate_hz
    count = int(kept.size / epoch)
    before = np.nan
    total = 0.0
    pairs = 0
    for e in range(count):
        start = int(e * epoch + 0.5)
        end = int((e + 1) * epoch + 0.5)
        interval = 0.0
        seen = 0
        for i in range(start, min(end, kept.size)):
            if kept[i] == kept[i]:
                interval += 60000.0 / kept[i]
                seen += 1
        now = interval / seen if 2 * seen >= end - start else np.nan
        if now == now and before == before:
            total += abs(now - before)
            pairs += 1
        before = now
    return total / pairs if pairs > 0 else np.nan
