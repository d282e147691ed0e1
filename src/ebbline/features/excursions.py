"""Accelerations and decelerations: where the rate leaves the baseline, and how.

A fall and a rise are found by the same rule on mirrored signals. The kernel gives one row of
numbers for each excursion; `events.py` names the kinds.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ebbline.compiled import kernel

FloatArray = NDArray[np.float64]

(
    ONSET,
    EXTREME,
    END,
    AMPLITUDE,
    BASELINE,
    TO_EXTREME,
    RETURN,
    AREA,
    VALID_SHARE,
    WITHIN,
    SHOULDER_BEFORE,
    SHOULDER_AFTER,
    OVERSHOOT,
    FAILS_TO_RETURN,
    CUT,
    SEEN_OFF,
    BY_STEPS,
    COLUMNS,
) = range(18)
"""Columns of `excursions`; times in samples, rates in bpm, AREA in bpm x samples; SEEN_OFF: usable
samples that lie off the baseline; BY_STEPS: share of the height that both flanks, at least, go in
one step. CUT adds up:"""

CUT_BEFORE, CUT_AFTER, NOT_RECOVERED = 1.0, 2.0, 4.0
"""A gap took its onset; a gap took its end; no signal follows it."""

SMOOTH_S = 2.25
"""Centred mean over this long steadies the trace against beat-to-beat noise."""

SHORT_GAP_S, LONG_GAP_S = 15.0, 45.0
"""Gaps bridged for computing; the longer only when the signal is in the same excursion on both
sides of it."""

FLANK_S, LOST_FLANK_S = 8.0, 45.0
"""A flank is drawn on over this long at the most where the trace was seen, and into a gap: else a
fall that was under way when the signal came back would seem mostly unseen, and so not be told."""

FALL_FROM, FALL_TO, FALL_SHARE = 0.10, 0.85, 0.54
"""A fall is S-shaped: from 10 to 85 % of its depth a cosine takes 0.54 of its time. The part over
85 % may be a sloping floor, that under 10 % fluctuation (ours; the least errors of kind against
invented truth and marks by eye among a dozen such measures)."""

SMOOTH_TRACE = 0.016
"""A trace whose roughness is this share of an excursion's height, or less, is smooth to it, and its
extreme begins where it first comes near; at twice that and over fluctuation comes near long before,
and the middle of the extreme is what is known."""

FLAT_PIECES = 23
"""Pieces of 8 s in three minutes and a little: variability reduced for over three minutes within a
deceleration counts (FIGO 2015), also where the deceleration is longer."""

WITHIN_TIMES = 1.9
"""The range of 30 s over that of 8 s of the same fluctuation, both about their own line: measured
on the baselines of 120 open recordings (CTU-UHB) at 4 to 6 bpm. So the variability within a
deceleration, where only short pieces can be told from its slope, has the limits of a minute's."""

REST_S, REST_SHARE = 5.0, 0.6
"""Of two excursions less than this apart the one under this share of the other's height is its
rest, a way back that falters or a first step, not another (ours: of six decelerations too many on
the quarter hours marked by eye on open recordings four were such rests)."""

STEP_BPM, STEP_GAP_S, STEP_LEVEL_S, STEP_REACH_S = 22.0, 1.0, 1.5, 4.0
"""Between neighbouring samples a change of more, or any across a longer gap, is a step where the
means of so much before and after it differ: the rate was not seen on its way. Steps are looked for
from so long before the onset to so long after the end."""

TRUSTED_SHARE = 0.7
"""A fall's nadir is looked for in runs of signal that can be trusted (`artefacts.settled`): a few
samples between gaps are often another rate. Where those show less than this share of it, a floor
of jittering samples may be all there is, and its lowest stands (ours)."""

UNSEEN_S = 2.0
"""So much of a flank that a gap has taken counts towards an excursion's least duration."""

ROUNDING_S = 0.13
"""Half a sample: an excursion of just the least duration is one."""


@kernel
def smoothed(bridged: FloatArray, reach: int) -> FloatArray:
    """Centred mean over +-reach samples of what is valid; NaN where the middle is."""
    n = bridged.size
    total = np.zeros(n + 1)
    seen = np.zeros(n + 1, dtype=np.int64)
    for i in range(n):
        valid = bridged[i] == bridged[i]
        total[i + 1] = total[i] + (bridged[i] if valid else 0.0)
        seen[i + 1] = seen[i] + (1 if valid else 0)
    out = np.full(n, np.nan)
    for i in range(n):
        if bridged[i] == bridged[i]:
            left = max(0, i - reach)
            right = min(n, i + reach + 1)
            out[i] = (total[right] - total[left]) / (seen[right] - seen[left])
    return out


@kernel
def roughness(steady: FloatArray, slow: FloatArray, minute: int, step: int) -> FloatArray:
    """Typical distance of the trace from its own 15-s mean about the middle of each step.

    The middle one of the means of five minutes, of which the third is the one about it; a minute
    of which less than a third was seen has none. minute, step: samples.
    """
    n = steady.size
    total = np.zeros(n + 1)
    seen = np.zeros(n + 1)
    for i in range(n):
        away = abs(steady[i] - slow[i])
        there = away == away
        total[i + 1] = total[i] + (away if there else 0.0)
        seen[i + 1] = seen[i] + (1.0 if there else 0.0)
    count = max(1, (n + step - 1) // step)
    middle = np.empty(count)
    near = np.empty(5)
    for b in range(count):
        found = 0
        for j in range(-2, 3):
            start = max(0, b * step + (step - minute) // 2 + j * minute)
            end = min(n, b * step + (step + minute) // 2 + j * minute)
            number = seen[end] - seen[start] if end > start else 0.0
            if number > 0.0 and 3.0 * number >= end - start:
                near[found] = (total[end] - total[start]) / number
                found += 1
        middle[b] = np.median(near[:found]) if found > 0 else 2.0
    return middle


@kernel
def excursions(
    kept: FloatArray,
    trusted: FloatArray,
    away: FloatArray,
    level: FloatArray,
    rough: FloatArray,
    block: int,
    seed: float,
    least_s: float,
    rate_hz: float,
    described: bool,
    rest_s: float,
) -> FloatArray:
    """One row of numbers for each excursion to the positive side of `away`.

    away: distance from the baseline, positive towards the excursion sought; level: the baseline
    at each sample; trusted: samples that an extreme is sought in first (see TRUSTED_SHARE); seed:
    least amplitude; least_s: least duration. Without `described` only ONSET, EXTREME, END and
    AMPLITUDE are measured. rest_s: see REST_S; under 0 nothing is joined.
    """
    n = away.size
    long_gap = int(LONG_GAP_S * rate_hz)
    rows = np.empty((n // int(10 * rate_hz) + 2, COLUMNS))
    found = 0
    i = 0
    free_from = 0
    # Where the last row's excursion began, whether another joined it there, and where it ended.
    began = ended = -n
    joined = cut_began = False
    last_high = 0.0
    while i < n:
        if not away[i] >= seed:
            i += 1
            continue
        edge = min(max(1.2 * rough[i // block], 2.0), 4.5)
        start, cut_start = _walk(away, i, -1, edge, free_from, n, long_gap)
        end, cut_end = _walk(away, i, 1, edge, free_from, n, long_gap)
        # A run may hold several excursions: cut it where the rate all but comes back between.
        piece_start = start
        while piece_start < end:
            split = _first_split(away, piece_start, end, seed)
            piece_end = end if split < 0 else split
            high = away[_highest(away, piece_start, piece_end)]
            if high >= seed and found < rows.shape[0]:
                whole_left = piece_start > start
                whole_right = piece_end < end
                cut_left = cut_start and not whole_left
                row = rows[found]
                top = _extreme(away, trusted, piece_start, piece_end)
                _place(row, away, piece_start, piece_end, top, whole_left, whole_right, rate_hz)
                # What a flank is drawn on into a gap does not make an excursion last.
                before = (UNSEEN_S if cut_start else FLANK_S) * rate_hz
                after = (UNSEEN_S if cut_end else FLANK_S) * rate_hz
                seen_to = min(row[END], piece_end + after)
                duration = (seen_to - max(row[ONSET], piece_start - before)) / rate_hz
                if duration >= least_s - ROUNDING_S:
                    first = piece_start
                    near = found > 0 and piece_start - ended <= rest_s * rate_hz
                    if near and min(high, last_high) < REST_SHARE * max(high, last_high):
                        found -= 1
                        row = rows[found]
                        first, whole_left, cut_left = began, joined, cut_began
                        high = max(high, last_high)
                        top = _extreme(away, trusted, first, piece_end)
                        _place(row, away, first, piece_end, top, whole_left, whole_right, rate_hz)
                    last_high = high
                    began, joined, cut_began, ended = first, whole_left, cut_left, piece_end
                    if found > 0 and rows[found - 1, END] > row[ONSET]:
                        _part(rows[found - 1], row)
                    found += 1
                    if described:
                        row[BASELINE] = level[top]
                        row[FAILS_TO_RETURN] = 1.0 if whole_right else 0.0
                        row[CUT] = CUT_BEFORE if cut_left else 0.0
                        if cut_end and not whole_right:
                            row[CUT] += CUT_AFTER
                            if not np.any(np.isfinite(kept[piece_end:])):
                                row[CUT] += NOT_RECOVERED
                        describe(
                            row,
                            kept,
                            away,
                            first,
                            piece_end,
                            top,
                            edge,
                            rough[top // block],
                            rate_hz,
                        )
            piece_start = piece_end
            if split < 0:
                break
        i = max(end, i + 1)
        free_from = end
    return rows[:found].copy()


@kernel
def _part(before: FloatArray, after: FloatArray) -> None:
    """Two excursions whose flanks were drawn on into the same gap meet in its middle."""
    middle = 0.5 * (before[END] + after[ONSET])
    middle = min(max(middle, before[EXTREME]), after[EXTREME])
    before[RETURN] -= before[END] - middle
    before[END] = middle
    after[ONSET] = middle


@kernel
def _walk(
    away: FloatArray, i: int, step: int, edge: float, free_from: int, n: int, long_gap: int
) -> tuple[int, bool]:
    """Where the excursion that holds sample i leaves the edge, and whether a gap cut it there."""
    last = i
    k = i + step
    gap = 0
    while free_from <= k < n:
        value = away[k]
        if value == value:
            if value < edge:
                return last + (1 if step > 0 else 0), gap > 0
            last = k
            gap = 0
        else:
            gap += 1
            if gap > long_gap:
                return last + (1 if step > 0 else 0), True
        k += step
    return last + (1 if step > 0 else 0), gap > 0 or k < 0 or k >= n


@kernel
def _highest(away: FloatArray, start: int, end: int) -> int:
    best = start
    for k in range(start, end):
        if away[k] == away[k] and (away[best] != away[best] or away[k] > away[best]):
            best = k
    return best


@kernel
def _extreme(away: FloatArray, trusted: FloatArray, start: int, end: int) -> int:
    """The highest sample in a run of signal long enough to be trusted, unless it is under
    TRUSTED_SHARE of the highest of all: then that one."""
    highest = _highest(away, start, end)
    best = -1
    for k in range(start, end):
        if trusted[k] == trusted[k] and away[k] == away[k] and (best < 0 or away[k] > away[best]):
            best = k
    return best if best >= 0 and away[best] >= TRUSTED_SHARE * away[highest] else highest


@kernel
def _first_split(away: FloatArray, start: int, end: int, seed: float) -> int:
    """First valley between two peaks, each at least `seed` high and 10 bpm over the valley, that
    comes down to 30 % of the lower peak; -1 without one."""
    peak = -1.0
    valley = 1e9
    valley_at = -1
    for k in range(start, end):
        value = away[k]
        if value != value:
            continue
        if valley_at < 0:
            if value > peak:
                peak = value
            elif peak >= seed and value <= 0.45 * peak and peak - value >= 10.0:
                valley, valley_at = value, k
        else:
            if value < valley:
                valley, valley_at = value, k
            elif value >= seed and value - valley >= 10.0 and valley <= 0.3 * min(peak, value):
                return valley_at
            elif value > peak:
                peak = value
                valley_at = -1
    return -1


@kernel
def _place(
    row: FloatArray,
    away: FloatArray,
    start: int,
    end: int,
    top: int,
    joined_left: bool,
    joined_right: bool,
    rate_hz: float,
) -> None:
    """Onset and end lie where the flanks, drawn on, meet the baseline."""
    row[ONSET] = start
    row[END] = end
    row[EXTREME] = top
    row[AMPLITUDE] = away[top]
    if not joined_left:
        row[ONSET] = max(0.0, start - _drawn_on(away, start, 1, top, away[top], rate_hz))
    if not joined_right:
        on = _drawn_on(away, end - 1, -1, top, away[top], rate_hz)
        row[END] = min(float(away.size), end + on)


@kernel
def describe(
    row: FloatArray,
    kept: FloatArray,
    away: FloatArray,
    start: int,
    end: int,
    top: int,
    edge: float,
    rough: float,
    rate_hz: float,
) -> None:
    """Fill in the numbers of an excursion whose ONSET, END and AMPLITUDE the row holds.

    start, end: the samples inside it; top: the extreme one; edge: what counts as back at the
    baseline; rough: typical distance of the trace from its 15-s mean.
    """
    onset, finish, amplitude = row[ONSET], row[END], row[AMPLITUDE]
    # The extreme is a region: as near to the highest as the trace is rough.
    near = min(max(1.0, rough), 0.1 * amplitude)
    first = top
    for k in range(start, top):
        if away[k] >= amplitude - near:
            first = k
            break
    total = 0.0
    weight = 0.0
    k = top
    while k >= start and (away[k] != away[k] or away[k] >= amplitude - 1.5 * near):
        if away[k] == away[k]:
            total += k
            weight += 1.0
        k -= 1
    k = top + 1
    while k < end and (away[k] != away[k] or away[k] >= amplitude - 1.5 * near):
        if away[k] == away[k]:
            total += k
            weight += 1.0
        k += 1
    last = top
    for k in range(top, end):
        if away[k] >= amplitude - near:
            last = k
    seen = 0
    seen_off = 0
    area = 0.0
    until = min(away.size, int(finish) + 1)
    for k in range(int(onset), until):
        if kept[k] == kept[k]:
            seen += 1
            if away[k] >= edge:
                seen_off += 1
        if away[k] == away[k]:
            area += max(away[k], 0.0)
    row[EXTREME] = total / weight if weight > 0.0 else float(top)
    unsure = min(max((rough / amplitude - SMOOTH_TRACE) / SMOOTH_TRACE, 0.0), 1.0)
    begins = first + unsure * (row[EXTREME] - first)
    row[TO_EXTREME] = _climb(away, onset, row[EXTREME], begins, rate_hz)
    row[RETURN] = finish - last
    row[AREA] = area
    row[VALID_SHARE] = seen / max(1, until - int(onset))
    row[SEEN_OFF] = seen_off
    far = int(STEP_REACH_S * rate_hz)
    left = _greatest_step(kept, max(0, int(onset) - far), top, rate_hz)
    right = _greatest_step(kept, top, min(away.size - 1, int(finish) + far), rate_hz)
    row[BY_STEPS] = min(left, right) / amplitude
    row[WITHIN] = _fluctuation(kept, start, end, rate_hz)
    row[SHOULDER_BEFORE] = _hump(away, int(onset), -1, int(25 * rate_hz), edge, rate_hz)
    row[SHOULDER_AFTER] = _hump(away, int(finish), 1, int(25 * rate_hz), edge, rate_hz)
    row[OVERSHOOT] = _hump(away, int(finish), 1, int(120 * rate_hz), edge, rate_hz)


@kernel
def _greatest_step(kept: FloatArray, first: int, last: int, rate_hz: float) -> float:
    """Greatest step (bpm) between successive usable samples of first to last; 0 without any."""
    greatest = 0.0
    before = -1
    around = int(STEP_LEVEL_S * rate_hz)
    for i in range(first, last + 1):
        if kept[i] != kept[i]:
            continue
        if before >= 0:
            change = abs(kept[i] - kept[before])
            if change > STEP_BPM or i - before > STEP_GAP_S * rate_hz:
                left = np.nanmean(kept[max(0, before - around + 1) : before + 1])
                right = np.nanmean(kept[i : i + around])
                greatest = max(greatest, min(change, abs(right - left)))
        before = i
    return greatest


@kernel
def _climb(away: FloatArray, onset: float, extreme: float, begins: float, rate_hz: float) -> float:
    """Samples from onset to the beginning of the extreme, from the 5-s mean's flank.

    The flank from the last time under FALL_FROM of the height to the first at FALL_TO, drawn on to
    a whole fall; never more than the way to where the extreme `begins`.
    """
    reach = int(2.5 * rate_hz)
    start = max(0, int(onset) - 2 * reach)
    length = int(extreme) - start + 1
    if length < 2:
        return max(0.0, begins - onset)
    mean = np.empty(length)
    height = 0.0
    peak = 0
    for m in range(length):
        total = 0.0
        seen = 0
        for k in range(max(0, start + m - reach), min(away.size, start + m + reach + 1)):
            if away[k] == away[k]:
                total += away[k]
                seen += 1
        mean[m] = total / seen if seen > reach else np.nan
        if mean[m] > height:
            height = mean[m]
            peak = m
    high = peak
    for m in range(peak + 1):
        if mean[m] >= FALL_TO * height:
            high = m
            break
    low = max(0, int(onset) - start)
    for m in range(high, -1, -1):
        if mean[m] < FALL_FROM * height:
            low = m + 1
            break
    return max(0.0, min((high - low) / FALL_SHARE, begins - onset))


@kernel
def _drawn_on(
    away: FloatArray, at: int, step: int, top: int, amplitude: float, rate_hz: float
) -> float:
    """Samples from the edge of an excursion to where its flank, drawn on, meets the baseline.

    The slope is that from the edge to half height, or over the next part of the climb when a gap
    has taken the flank; then the gap bounds it, else FLANK_S does. step: towards the extreme.
    """
    gap = 0
    k = at - step
    while 0 <= k < away.size and away[k] != away[k]:
        gap += 1
        k -= step
    longest = min(float(gap), LOST_FLANK_S * rate_hz) if gap > 0 else FLANK_S * rate_hz
    height = away[at]
    if height != height:
        return 0.0
    target = max(0.5 * amplitude, height + 0.6 * (amplitude - height))
    k = at
    while k != top and not away[k] >= target:
        k += step
    rise = away[k] - height
    if k == at or rise <= 1.0:
        return 0.5 * min(float(gap), longest)
    return float(min(height * abs(k - at) / rise, longest))


@kernel
def _fluctuation(kept: FloatArray, start: int, end: int, rate_hz: float) -> float:
    """Middle one of the ranges of successive 8-s pieces, each about its own line, as of 30 s.

    Pieces that turn a corner of the excursion have a range of their own making; the middle one of
    all pieces is not among them unless the excursion is short. The outermost sample on each side
    is left out. Of an excursion longer than FLAT_PIECES the least such value of so many pieces in a
    row: flat for so long is flat, however lively the rest. NaN with fewer than two pieces.
    """
    length = int(8 * rate_hz)
    inner = int(0.05 * (end - start))
    ranges = np.empty((end - start) // length + 1)
    off = np.empty(length)
    pieces = 0
    at = start + inner
    while at + length <= end - inner:
        seen = 0
        mean_t = 0.0
        mean_v = 0.0
        for k in range(length):
            if kept[at + k] == kept[at + k]:
                seen += 1
                mean_t += k
                mean_v += kept[at + k]
        if seen >= 0.7 * length:
            mean_t /= seen
            mean_v /= seen
            top = 0.0
            bottom = 0.0
            for k in range(length):
                if kept[at + k] == kept[at + k]:
                    top += (k - mean_t) * (kept[at + k] - mean_v)
                    bottom += (k - mean_t) ** 2
            slope = top / bottom
            m = 0
            for k in range(length):
                if kept[at + k] == kept[at + k]:
                    off[m] = kept[at + k] - mean_v - slope * (k - mean_t)
                    m += 1
            ordered = np.sort(off[:m])
            ranges[pieces] = ordered[m - 2] - ordered[1]
            pieces += 1
        at += length
    if pieces < 2:
        return np.nan
    least = np.median(ranges[:pieces])
    if pieces > FLAT_PIECES:
        for first in range(pieces - FLAT_PIECES + 1):
            least = min(least, np.median(ranges[first : first + FLAT_PIECES]))
    return float(WITHIN_TIMES * least)


@kernel
def _hump(away: FloatArray, at: int, step: int, longest: int, edge: float, rate_hz: float) -> float:
    """Seconds of a hump to the other side that reaches the edge within 6 s of `at` and ends within
    `longest`; else 0."""
    n = away.size
    k = at
    waited = 0
    while 0 <= k < n and waited < int(6 * rate_hz) and not away[k] <= -edge:
        k += step
        waited += 1
    if not (0 <= k < n and away[k] <= -edge):
        return 0.0
    length = 0
    lost = 0
    while 0 <= k < n and length <= longest and lost < int(2 * rate_hz):
        if away[k] <= -0.6 * edge:
            length += 1
            lost = 0
        else:
            lost += 1
        k += step
    if length < int(4 * rate_hz) or length > longest:
        return 0.0
    return length / rate_hz
