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

PIECE_S, PIECE_HOP_S = 30.0, 10.0
"""A minute's bandwidth is the middle one of its 30-s pieces', each about its own line. Variability
is fluctuation of two cycles a minute or more (NICHD 1997): what is slower than that, and so turns
less than once in 30 s, is drift. The pieces begin 10 s apart (ours)."""

MOVING_S = 5.0
"""A minute may begin at each multiple of this: a window counts its minutes from its own start, so
that what was recorded before it does not move them (ours)."""

PER_MINUTE = int(60.0 / MOVING_S)
"""Every so many values of a moving minute one begins where the last has ended."""

LEAST_PIECE_SHARE = 0.6
"""A piece of which less is baseline signal has no range: 18 of 30 s (ours)."""

OUTER_SHARE = 0.02
"""Share of a piece's samples left out at each end of its range: two, so that no single sample makes
the band's edge (ours). The highest less the lowest sample of a minute is 1.7 times as wide."""

DRAWN_S = 1.25
"""The range is that of the centred mean over this long: an ultrasound's value trembles from beat to
beat by as much as a flat trace moves at all, and what trembles so is no cycle of the fetus's. On
invented labours to develop on the raw range is 1.16 times the true one at 4 to 5 bpm and 1.8 times
at under 2.5, that of the mean 1.02 and 1.6 times. In open recordings nine obstetricians' votes on
quiet windows turn from normal at about 5 bpm of it (docs/findings.md; ours)."""

NARROW_BPM, WIDE_BPM = 8.0, 16.0
"""Up to a narrow band the mean's range is the band; from a wide one on the raw range is, as there
the mean takes off swings and no noise worth naming (ours)."""

LEAST_MEASURED_S = 20.0
"""A minute with less baseline signal than this has no fine bandwidth."""

OUTLYING = 4.0
"""An excursion this many times higher than the trace is rough is not part of its band."""

FINE_OUTER_SHARE = 0.02
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
    return class_and_width(minutes)[0]


def class_and_width(minutes: FloatArray) -> tuple[VariabilityClass, float]:
    """The same with the usual bandwidth (bpm) that it rests on."""
    width, measured = _width_and_number(minutes)
    if measured < max(LEAST_MINUTES, LEAST_MINUTES_SHARE * len(minutes)):
        return VariabilityClass.INDETERMINATE, width
    return variability_class(width), width


@kernel
def _width_and_number(minutes: FloatArray) -> tuple[float, int]:
    """The usual bandwidth, and how many minutes were measured."""
    return usual_bandwidth(minutes), int(np.isfinite(minutes).sum())


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
def moving_bandwidth(trusted: FloatArray, in_event: FlagArray, rate: int, apart: int) -> FloatArray:
    """Bandwidth of the baseline's fluctuation (bpm) in the minute that begins at each MOVING_S.

    trusted: the samples it is taken from (`artefacts.settled`), NaN elsewhere; in_event: samples
    inside accelerations and decelerations, left out (NICHD 2008). apart: so many samples make one
    of the sensor's own: a single one of those makes no band, so that fewer make none livelier.
    """
    length, hop = int(PIECE_S * rate), int(MOVING_S * rate)
    n = trusted.size
    count = (n + hop - 1) // hop
    steady = _of_three(trusted, in_event, apart)
    pieces = np.full(count, np.nan)
    off = np.empty(length)
    ends = np.empty((2, int(OUTER_SHARE * length) + 1))
    drawn = _drawn(steady, int(0.5 * DRAWN_S * rate))
    for p in range(count):
        if p * hop + length <= n:
            here = slice(p * hop, p * hop + length)
            pieces[p] = _width(drawn[here], steady[here], off, ends)
    band = np.full(count, np.nan)
    every = int(PIECE_HOP_S / MOVING_S + 0.5)
    last = int((60.0 - PIECE_S) / MOVING_S + 0.5)
    ranges = np.empty(last // every + 1)
    for p in range(count):
        found = 0
        for k in range(p, min(count, p + last + 1), every):
            # Put in order as they come: the middle one of three or four needs no more.
            if pieces[k] == pieces[k]:
                place = found
                while place > 0 and ranges[place - 1] > pieces[k]:
                    ranges[place] = ranges[place - 1]
                    place -= 1
                ranges[place] = pieces[k]
                found += 1
        if found > 0:
            band[p] = 0.5 * (ranges[(found - 1) // 2] + ranges[found // 2])
    return band


@kernel
def long_term_variation(kept: FloatArray, in_event: FlagArray, rate: int) -> FloatArray:
    """Range of the 3.75-s means of each minute's baseline, bpm; NaN under five of them."""
    per_minute = 60 * rate
    minutes = (kept.size + per_minute - 1) // per_minute
    ltv = np.full(minutes, np.nan)
    for m in range(minutes):
        start, end = m * per_minute, min(kept.size, (m + 1) * per_minute)
        ltv[m] = _range_of_epochs(kept[start:end], in_event[start:end], int(EPOCH_S * rate))
    return ltv


@kernel
def _of_three(kept: FloatArray, in_event: FlagArray, apart: int) -> FloatArray:
    """The middle one of each sample and those `apart` before and after it; NaN in events."""
    n = kept.size
    out = kept.copy()
    for i in range(n):
        if in_event[i]:
            out[i] = np.nan
        elif apart <= i < n - apart:
            before, after = kept[i - apart], kept[i + apart]
            if before == before and after == after:
                low, high = min(before, kept[i]), max(before, kept[i])
                out[i] = max(low, min(high, after))
    return out


@kernel
def _drawn(steady: FloatArray, reach: int) -> FloatArray:
    """Centred mean over +-reach samples; NaN where the middle is, or most of the others."""
    n = steady.size
    out = np.full(n, np.nan)
    for i in range(n):
        if steady[i] == steady[i]:
            total = 0.0
            seen = 0
            for k in range(max(0, i - reach), min(n, i + reach + 1)):
                if steady[k] == steady[k]:
                    total += steady[k]
                    seen += 1
            if 2 * seen > 2 * reach + 1:
                out[i] = total / seen
    return out


@kernel
def _width(drawn: FloatArray, steady: FloatArray, off: FloatArray, ends: FloatArray) -> float:
    """Range of a piece about its own line: of its mean, or of itself where that is wide."""
    narrow = _range_about_line(drawn, off, ends)
    part = min(max((narrow - NARROW_BPM) / (WIDE_BPM - NARROW_BPM), 0.0), 1.0)
    if part > 0.0:
        wide = _range_about_line(steady, off, ends)
        return narrow + part * (wide - narrow)
    return narrow


@kernel
def _range_about_line(values: FloatArray, off: FloatArray, ends: FloatArray) -> float:
    """Highest less lowest distance of the valid values from their own straight line, the outermost
    OUTER_SHARE at each end left out; NaN with too few. off: room for as many values; ends: see
    `_range_within`."""
    seen = 0
    mean_t = 0.0
    mean_v = 0.0
    for k in range(values.size):
        there = values[k] == values[k]
        seen += 1 if there else 0
        mean_t += k if there else 0.0
        mean_v += values[k] if there else 0.0
    if seen < LEAST_PIECE_SHARE * values.size:
        return np.nan
    mean_t /= seen
    mean_v /= seen
    top = 0.0
    bottom = 0.0
    for k in range(values.size):
        there = values[k] == values[k]
        away = k - mean_t
        top += away * (values[k] - mean_v) if there else 0.0
        bottom += away * away if there else 0.0
    slope = top / bottom
    m = 0
    for k in range(values.size):
        if values[k] == values[k]:
            off[m] = values[k] - mean_v - slope * (k - mean_t)
            m += 1
    return _range_within(off, m, int(OUTER_SHARE * m), ends)


@kernel
def _range_within(values: FloatArray, count: int, outer: int, ends: FloatArray) -> float:
    """Highest less lowest of the first `count` values without the `outer` outermost at each end.

    ends: room for outer + 1 values of each end, shape (2, outer + 1 or more).
    """
    lowest, highest = ends[0], ends[1]
    for held in range(outer + 1):
        lowest[held] = highest[held] = np.inf
    low = high = np.inf
    for i in range(count):
        if values[i] < low:
            _keep(lowest, outer, values[i])
            low = lowest[outer]
        if -values[i] < high:
            _keep(highest, outer, -values[i])
            high = highest[outer]
    return -high - low


@kernel
def _keep(least: FloatArray, last: int, value: float) -> None:
    """Put a value under the greatest of the least ones, in order, into its place among them."""
    place = last
    while place > 0 and least[place - 1] > value:
        least[place] = least[place - 1]
        place -= 1
    least[place] = value


@kernel
def _range_of_epochs(kept: FloatArray, in_event: FlagArray, epoch: int) -> float:
    """Highest less lowest mean of successive epochs half of which is baseline; NaN under five."""
    highest, lowest = -1e9, 1e9
    epochs = 0
    for start in range(0, kept.size - epoch + 1, epoch):
        total = 0.0
        seen = 0
        for i in range(start, start + epoch):
            if kept[i] == kept[i] and not in_event[i]:
                total += kept[i]
                seen += 1
        if 2 * seen >= epoch:
            highest = max(highest, total / seen)
            lowest = min(lowest, total / seen)
            epochs += 1
    return highest - lowest if epochs >= 5 else np.nan


@kernel
def moving_fine_bandwidth(
    kept: FloatArray, steady: FloatArray, slow: FloatArray, in_event: FlagArray, rate: int
) -> FloatArray:
    """Peak-to-trough (bpm) of the fluctuation about the 15-s mean, in the minute of baseline that
    begins at each MOVING_S.

    steady, slow: the trace smoothed over 2.25 s and 15 s. Slow waves, such as shallow
    decelerations, widen the bandwidth of a minute but not this.
    """
    per_minute, hop = 60 * rate, int(MOVING_S * rate)
    n = kept.size
    apart = np.full(n, np.nan)
    for i in range(n):
        if kept[i] == kept[i] and not in_event[i]:
            apart[i] = steady[i] - slow[i]
    count = (n + hop - 1) // hop
    band = np.full(count, np.nan)
    off = np.empty(per_minute)
    # The outermost of each hop are sorted out once, and those of a minute among those of its hops.
    most = int(FINE_OUTER_SHARE * per_minute)
    ends = np.empty((2, most + 1))
    number = np.zeros(count, np.int64)
    outermost = np.full((count, 2, most + 1), np.inf)
    for h in range(count):
        found = 0
        for i in range(h * hop, min(n, (h + 1) * hop)):
            if apart[i] == apart[i]:
                off[found] = apart[i]
                found += 1
        number[h] = found
        _range_within(off, found, most, outermost[h])
    for p in range(count):
        stop = min(count, p + per_minute // hop)
        found = number[p:stop].sum()
        if found / rate < LEAST_MEASURED_S:
            continue
        outer = int(FINE_OUTER_SHARE * found)
        for side in range(2):
            ends[side, : outer + 1] = np.inf
            for h in range(p, stop):
                for place in range(outer + 1):
                    if outermost[h, side, place] >= ends[side, outer]:
                        break
                    _keep(ends[side], outer, outermost[h, side, place])
        band[p] = -ends[1, outer] - ends[0, outer]
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
