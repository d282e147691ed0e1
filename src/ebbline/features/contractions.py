"""Contractions from the uterine activity channel, toco or catheter.

The resting tone is what is left when everything narrower than a contraction's longest width is
taken off the smoothed signal (a grey-scale opening); contractions are the hills above it. What
counts as a hill is judged against the hills around it, since a toco has no unit.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ebbline.compiled import kernel

FloatArray = NDArray[np.float64]

(
    ONSET,
    PEAK,
    END,
    AMPLITUDE,
    TONE,
    VALID_SHARE,
    CUT_TOP,
    BREADTH,
    STEEPEST,
    SHAKEN,
    LIKELY,
    COLUMNS,
) = range(12)
"""Columns of `tone_and_hills`; times in seconds, heights in the channel's unit. BREADTH: share of
the length spent over half the height; STEEPEST: greatest change of the smoothed signal in a second,
SHAKEN: middle distance of the seconds around from it, both as shares of the height; LIKELY: see
`likeliness`."""

WIDEST_S = 180
"""No single contraction is wider at its foot than this: what is wider is tone."""

SMOOTH_S = 9
"""Two running means this long take out breathing and beats, and leave contractions."""

LEAST_S, LONGEST_S = 25.0, 200.0
"""A hill between onset and end. Contractions of labour last 30 to 90 s (common practice)."""

HILL_SHARE, WHOLE_SHARE = 0.36, 0.15
"""A hill counts from this share of the height of the hills around it, and from this share of the
highest of the recording: after a belt has slipped what is left is no scale of its own (ours)."""

GREATEST_BREADTH = 0.85
"""A hill that spends more of its length over half its height is a step with a plateau (a bell: 0.5;
ours)."""

AROUND_S = 45
"""So long before and after a hill tells how the belt is shaken there."""

LEAST_LIKELY = 0.3
OF_STEEPEST, OF_SHAKEN, OF_LENGTH, OF_BREADTH, ALONE = -4.65, -1.60, 1.18, 3.77, -22.57
"""Weights of a logistic regression, and how likely a hill must be by it: a hand, a cough or a turn
is steeper for its height and briefer than a womb that hardens, and lies among its like (ours:
fitted to the hills of 203 invented hours to develop on and to 64 contractions marked by eye on open
recordings; there 6 in 10 of the false hills go and 4 in 100 of the contractions, and of 132 by eye
two)."""

QUIET = 1e-3
"""Shares of the height under this tell nothing more."""

BREATH_TIMES, WAXES_SHARE = 2.7, 0.6
"""A hill lower than so many times what the seconds on its top lie off the smoothed signal, where
those on its foot lie off by less than this share of that, is breathing that waxes and wanes: it
pulls the mean up with it. On a contraction breathing rides as it does beside it (ours)."""

FLOOR_TOCO, FLOOR_MMHG = 3.0, 8.0
"""Hills under this are noise, whatever is around them (toco units; mmHg over resting tone)."""


@kernel
def seconds(samples: FloatArray, rate: int) -> tuple[FloatArray, FloatArray]:
    """Mean of each second, and share of its samples that were measured.

    A channel that does not move at all for 45 s is not measuring.
    """
    n = samples.size
    count = n // rate
    live = np.ones(n, dtype=np.bool_)
    start = 0
    low = high = samples[0] if n > 0 else 0.0
    for i in range(n + 1):
        if i < n and samples[i] == samples[i]:
            new_low = min(low, samples[i])
            new_high = max(high, samples[i])
            if low == low and new_high - new_low <= 0.55:
                low, high = new_low, new_high
                continue
        if i - start >= 45 * rate:
            for k in range(start, i):
                live[k] = False
        if i < n:
            start = i
            low = high = samples[i]
    mean = np.full(count, np.nan)
    share = np.zeros(count)
    for s in range(count):
        total = 0.0
        seen = 0
        for i in range(s * rate, (s + 1) * rate):
            if live[i] and samples[i] == samples[i]:
                total += samples[i]
                seen += 1
        share[s] = seen / rate
        if seen > 0:
            mean[s] = total / seen
    return mean, share


@kernel
def _filled(mean: FloatArray) -> FloatArray:
    """Gaps joined by straight lines, the ends held: for the filters only."""
    out = mean.copy()
    n = mean.size
    last = -1
    for i in range(n):
        if mean[i] == mean[i]:
            if last < 0:
                for k in range(i):
                    out[k] = mean[i]
            else:
                for k in range(last + 1, i):
                    part = (k - last) / (i - last)
                    out[k] = mean[last] + (mean[i] - mean[last]) * part
            last = i
    for k in range(last + 1, n):
        out[k] = mean[last] if last >= 0 else 0.0
    return out


@kernel
def _running_mean(values: FloatArray, width: int) -> FloatArray:
    n = values.size
    reach = width // 2
    total = np.zeros(n + 1)
    for i in range(n):
        total[i + 1] = total[i] + values[i]
    out = np.empty(n)
    for i in range(n):
        left = max(0, i - reach)
        right = min(n, i + reach + 1)
        out[i] = (total[right] - total[left]) / (right - left)
    return out


@kernel
def _running_least(values: FloatArray, reach: int, sign: float) -> FloatArray:
    """Least (sign 1) or greatest (sign -1) of each +-reach neighbourhood, in linear time."""
    n = values.size
    out = np.empty(n)
    queue = np.empty(n, dtype=np.int64)
    head = tail = 0
    ahead = 0
    for i in range(n):
        while ahead < n and ahead <= i + reach:
            while tail > head and sign * values[queue[tail - 1]] >= sign * values[ahead]:
                tail -= 1
            queue[tail] = ahead
            tail += 1
            ahead += 1
        while queue[head] < i - reach:
            head += 1
        out[i] = values[queue[head]]
    return out


@kernel
def tone_and_hills(
    mean: FloatArray, share: FloatArray, floor: float, highest_before: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Resting tone once a second, a row for each contraction, the hills' height around each minute.

    mean, share: from `seconds`. floor: least height of a hill, in the channel's unit.
    highest_before: greatest height around a minute before this stretch of a recording; 0 where it
    is the whole.
    """
    n = mean.size
    if n < 60:
        return np.full(n, np.nan), np.empty((0, COLUMNS)), np.empty(0)
    filled = _filled(mean)
    smooth = _running_mean(_running_mean(filled, SMOOTH_S), SMOOTH_S)
    # A median-like guard against single spikes of movement: opening by 7 s, closing by 7 s.
    opened = _running_least(_running_least(smooth, 3, 1.0), 3, -1.0)
    half = WIDEST_S // 2
    under = _running_least(_running_least(opened, half, 1.0), half, -1.0)
    tone = _running_mean(under, 61)
    for i in range(n):
        tone[i] = min(tone[i], opened[i])
    height = opened - tone
    typical = _typical(height, share, floor)

    greatest = max(typical.max(), highest_before)
    rows = np.empty((n // 20 + 2, COLUMNS))
    found = 0
    free_from = 0
    i = 0
    while i < n:
        usual = max(typical[i // 60], WHOLE_SHARE / HILL_SHARE * greatest)
        need = max(floor, HILL_SHARE * usual)
        if height[i] < need:
            i += 1
            continue
        # The run above a third of the need holds one hill or more.
        start = i
        while start > free_from and height[start - 1] > 0.35 * need:
            start -= 1
        end = i
        while end < n and height[end] > 0.35 * need:
            end += 1
        piece = start
        while piece < end:
            stop = _valley(height, piece, end, need)
            peak = piece
            for k in range(piece, stop):
                if height[k] > height[peak]:
                    peak = k
            high = height[peak] >= need and found < rows.shape[0]
            if high and _hill(rows[found], mean, share, height, tone, smooth, piece, stop, peak):
                rows[found, SHAKEN] = _shaken_around(filled, smooth, rows[found])
                rows[found, LIKELY] = likeliness(rows[found])
                if rows[found, LIKELY] >= LEAST_LIKELY:
                    found += 1
            piece = stop
        # Numbers without measure (an overflow) can make a run of no length.
        i = max(end, i + 1)
        free_from = end
    return tone, rows[:found].copy(), typical


@kernel
def _typical(height: FloatArray, share: FloatArray, floor: float) -> FloatArray:
    """Height of the hills around each minute: the 90th percentile of +-15 minutes."""
    n = height.size
    minutes = (n + 59) // 60
    out = np.empty(minutes)
    for m in range(minutes):
        start = max(0, (m - 15) * 60)
        end = min(n, (m + 16) * 60)
        part = np.empty((end - start) // 5 + 1)
        found = 0
        for k in range(start, end, 5):
            if share[k] > 0.0:
                part[found] = height[k]
                found += 1
        if found < 24:
            out[m] = 3.0 * floor
        else:
            place = int(0.92 * (found - 1))
            out[m] = np.partition(part[:found], place)[place]
    return out


@kernel
def _valley(height: FloatArray, start: int, end: int, need: float) -> int:
    """Where the first hill of a run ends: the valley before the next hill, or the run's end."""
    peak = -1.0
    peak_at = start
    valley = 1e9
    valley_at = -1
    for k in range(start, end):
        value = height[k]
        if valley_at < 0:
            if value > peak:
                peak, peak_at = value, k
            elif peak >= need and value < 0.62 * peak:
                valley, valley_at = value, k
        else:
            if value < valley:
                valley, valley_at = value, k
            elif value >= need and valley <= 0.62 * min(value, peak) and k - peak_at >= 35:
                return valley_at
            elif value > peak:
                peak, peak_at = value, k
                valley_at = -1
    return end


@kernel
def _breathing(
    mean: FloatArray,
    smooth: FloatArray,
    height: FloatArray,
    onset: int,
    finish: int,
    top: float,
) -> bool:
    """Whether a hill is breathing that waxes and wanes: see BREATH_TIMES."""
    high = low = 0.0
    on_top = on_foot = 0
    for k in range(onset, finish + 1):
        if mean[k] != mean[k]:
            continue
        away = abs(mean[k] - smooth[k])
        if height[k] >= 0.6 * top:
            high += away
            on_top += 1
        elif height[k] < 0.3 * top:
            low += away
            on_foot += 1
    if on_top == 0 or on_foot == 0:
        return False
    high /= on_top
    low /= on_foot
    return bool(top < BREATH_TIMES * high and low < WAXES_SHARE * high)


@kernel
def _hill(
    row: FloatArray,
    mean: FloatArray,
    share: FloatArray,
    height: FloatArray,
    tone: FloatArray,
    smooth: FloatArray,
    start: int,
    end: int,
    peak: int,
) -> bool:
    """Fill in a contraction's numbers; False where the hill is none."""
    n = height.size
    top = height[peak]
    foot = 0.12 * top
    onset = peak
    while onset > start and height[onset] > foot:
        onset -= 1
    while (
        onset > 0
        and onset == start
        and height[onset - 1] > foot
        and height[onset - 1] < height[onset]
    ):
        onset -= 1
        start -= 1
    finish = peak
    while finish < end - 1 and height[finish] > foot:
        finish += 1
    while finish == end - 1 and end < n and height[end] > foot and height[end] < height[end - 1]:
        finish += 1
        end += 1
    length = float(finish - onset)
    if length < LEAST_S or length > LONGEST_S:
        return False
    measured = 0.0
    greatest = -1e9
    total = 0.0
    weight = 0.0
    for k in range(onset, finish + 1):
        measured += share[k]
        if mean[k] == mean[k]:
            greatest = max(greatest, mean[k])
        if height[k] >= 0.9 * top:
            total += k
            weight += 1.0
    if measured < 0.4 * length:
        return False
    level = 0
    for k in range(onset, finish + 1):
        if mean[k] == mean[k] and mean[k] >= greatest - 0.3:
            level += 1
    wide = 0
    for k in range(onset, finish + 1):
        if height[k] >= 0.5 * top:
            wide += 1
    if wide < 12 or wide > GREATEST_BREADTH * length:
        return False
    if _breathing(mean, smooth, height, onset, finish, top):
        return False
    steepest = 0.0
    for k in range(onset + 1, finish + 1):
        steepest = max(steepest, abs(smooth[k] - smooth[k - 1]))
    row[ONSET] = onset
    row[PEAK] = total / weight
    row[END] = finish
    row[AMPLITUDE] = top
    row[TONE] = tone[peak]
    row[VALID_SHARE] = measured / (length + 1.0)
    row[CUT_TOP] = 1.0 if level >= 10 else 0.0
    row[BREADTH] = wide / length
    row[STEEPEST] = steepest / top
    return True


@kernel
def _shaken_around(filled: FloatArray, smooth: FloatArray, row: FloatArray) -> float:
    """Middle distance of the seconds before and after a hill from the smoothed signal, as a share
    of its height."""
    onset, finish = int(row[ONSET]), int(row[END])
    off = np.empty(2 * AROUND_S)
    seen = 0
    for k in range(max(0, onset - AROUND_S), onset):
        off[seen] = abs(filled[k] - smooth[k])
        seen += 1
    for k in range(finish, min(filled.size, finish + AROUND_S)):
        off[seen] = abs(filled[k] - smooth[k])
        seen += 1
    return float(np.median(off[:seen])) / row[AMPLITUDE] if seen > 0 else 0.0


@kernel
def likeliness(row: FloatArray) -> float:
    """How likely a hill is a contraction by its shape and by what is around it, 0 to 1."""
    evidence = (
        OF_STEEPEST * np.log(max(row[STEEPEST], QUIET))
        + OF_SHAKEN * np.log(max(row[SHAKEN], QUIET))
        + OF_LENGTH * np.log(row[END] - row[ONSET])
        + OF_BREADTH * row[BREADTH]
        + ALONE
    )
    return float(1.0 / (1.0 + np.exp(-evidence)))
