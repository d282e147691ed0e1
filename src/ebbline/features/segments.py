"""What the standards say of ten minutes at a time: baseline, its changes, variability."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ebbline.compiled import kernel
from ebbline.definitions import (
    BASELINE_CHANGE_BPM,
    BASELINE_CHANGE_S,
    LEAST_BASELINE_S,
    MARKED_ABOVE_BPM,
    rounded_baseline,
)
from ebbline.features import baseline as base
from ebbline.features import variability
from ebbline.features.findings import BaselineChange, BaselineSegment, VariabilitySegment
from ebbline.signal import quality
from ebbline.signal.resampling import RATE_HZ

FloatArray = NDArray[np.float64]

RATE = int(RATE_HZ)
MINUTE = 60 * RATE


def ten_minutes(count: int) -> list[tuple[int, int]]:
    """Stretches (start, end in samples of the grid) of ten minutes; what is left over at the end
    joins the last one when it is under five minutes, which cannot carry a class of its own."""
    length = int(quality.SEGMENT_S * RATE)
    starts = list(range(0, count, length))
    if len(starts) > 1 and count - starts[-1] < length // 2:
        starts.pop()
    return list(zip(starts, [*starts[1:], count], strict=True))


def baseline_segments(
    of_baseline: FloatArray, band: FloatArray, sure: FloatArray, path: FloatArray
) -> tuple[BaselineSegment, ...]:
    """The standards' baseline of each ten minutes; marked minutes are left out of the mean.

    of_baseline: samples outside events, near the baseline; band: bandwidth of each minute; sure:
    of the baseline each second; path: its levels. Where the level changes, the mean is of the level
    that most of the ten minutes' baseline lies on: a mean over two was never there.
    """
    jumps = np.flatnonzero(np.abs(np.diff(path)) > base.DRIFT_REACH) + 1
    if len(jumps):
        of_baseline = np.where(_off_main_level(of_baseline, jumps), np.nan, of_baseline)
    marked, calm = band > MARKED_ABOVE_BPM, of_baseline
    if marked.any():
        calm = np.where(np.repeat(marked, MINUTE)[: len(calm)], np.nan, calm)
    found: list[BaselineSegment] = []
    for start, end in ten_minutes(len(calm)):
        part = calm[start:end]
        used = part[np.isfinite(part)]
        if len(used) < LEAST_BASELINE_S * RATE:
            # Marked variability throughout still has a level: NICHD's mean is then all there is.
            every = of_baseline[start:end]
            every = every[np.isfinite(every)]
            if len(every) >= 2.5 * LEAST_BASELINE_S * RATE:
                used = every
        start_s, end_s = start / RATE_HZ, end / RATE_HZ
        baseline_s = len(used) / RATE_HZ
        certainty = sure[int(start_s) : math.ceil(end_s)]
        certain = float(np.mean(certainty)) if len(certainty) else 0.0
        if baseline_s < LEAST_BASELINE_S:
            earlier = found[-1] if found else None
            carried = math.nan
            if earlier is not None:
                carried = earlier.start_s if earlier.determinate else earlier.carried_from_s
            found.append(
                BaselineSegment(
                    start_s,
                    end_s,
                    math.nan,
                    math.nan,
                    baseline_s,
                    math.nan,
                    False,
                    f"{baseline_s:.0f} s of baseline in these ten minutes, "
                    f"{LEAST_BASELINE_S:.0f} s are needed",
                    carried,
                )
            )
            continue
        mean = float(np.mean(used))
        off = used - mean
        width = math.sqrt(float(np.mean(off * off)))
        spread = width / math.sqrt(max(1.0, baseline_s / 30.0)) / max(certain, 0.2)
        found.append(
            BaselineSegment(
                start_s,
                end_s,
                rounded_baseline(mean),
                mean,
                baseline_s,
                spread,
                True,
                "",
                math.nan,
            )
        )
    return tuple(found)


def _off_main_level(of_baseline: FloatArray, jumps: NDArray[np.intp]) -> NDArray[np.bool_]:
    """Samples of ten minutes that lie on another level of the path than most of them.

    jumps: the steps of the path onto which it jumps to another level.
    """
    off = np.zeros(len(of_baseline), np.bool_)
    edges = [0, *(int(j * base.STEP_S * RATE) for j in jumps), len(of_baseline)]
    for start, end in ten_minutes(len(of_baseline)):
        cuts = [start, *(e for e in edges if start < e < end), end]
        seen = [int(np.isfinite(of_baseline[a:b]).sum()) for a, b in pairwise(cuts)]
        main = int(np.argmax(seen))
        off[start:end] = True
        off[cuts[main] : cuts[main + 1]] = False
    return off


CARRIED_S, LEAST_SEEN_NEAR = 60.0, 0.1
"""The continuous baseline is told for a minute beyond the last that was seen, and so back from what
is seen next: where less than this share of the minute on either side was seen it is not (ours)."""

LEAST_NEAR_S, NEAR_S = LEAST_BASELINE_S / 4, 300.0
"""With less baseline signal in the five minutes on either side there is none to tell (ours)."""


@kernel
def admitted(curve: FloatArray, rate: FloatArray, signal: FloatArray) -> FloatArray:
    """The continuous baseline, NaN where nothing near was seen, or nothing of a baseline.

    All once a second: the baseline, the usable rate, and that of it which is of the baseline.
    """
    shown = curve.copy()
    _leave_out(shown, rate, int(CARRIED_S), LEAST_SEEN_NEAR * 2.0 * CARRIED_S)
    _leave_out(shown, signal, int(NEAR_S), LEAST_NEAR_S)
    return shown


@kernel
def _leave_out(shown: FloatArray, values: FloatArray, reach: int, least: float) -> None:
    """Take out each second within whose reach fewer values than `least` are known."""
    n = values.size
    sums = np.zeros(n + 1, np.int64)
    for i in range(n):
        sums[i + 1] = sums[i] + (1 if np.isfinite(values[i]) else 0)
    for i in range(shown.size):
        if sums[min(n, i + reach + 1)] - sums[min(n, max(0, i - reach))] < least:
            shown[i] = np.nan


def baseline_changes(path: FloatArray) -> tuple[BaselineChange, ...]:
    """Jumps of the path between levels that each last ten minutes or more."""
    stay = int(BASELINE_CHANGE_S / base.STEP_S)
    found: list[BaselineChange] = []
    for step in np.flatnonzero(np.abs(np.diff(path)) > base.DRIFT_REACH) + 1:
        before, after = path[max(0, step - stay) : step], path[step : step + stay]
        at_s = float(step * base.STEP_S)
        whole = len(before) >= stay and len(after) >= stay
        from_bpm, to_bpm = float(np.median(before)), float(np.median(after))
        if whole and abs(to_bpm - from_bpm) >= BASELINE_CHANGE_BPM:
            found.append(BaselineChange(at_s, from_bpm, to_bpm))
    return tuple(found)


def variability_segments(
    of_baseline: FloatArray, band: FloatArray, ltv: FloatArray
) -> tuple[VariabilitySegment, ...]:
    """Variability of each ten minutes; band, ltv: of each minute."""
    found = []
    for start, end in ten_minutes(len(of_baseline)):
        first, last = start // MINUTE, math.ceil(end / MINUTE)
        minutes = band[first:last]
        measured = np.isfinite(minutes)
        number = int(measured.sum())
        named, width = variability.class_and_width(minutes)
        ranges = ltv[first:last]
        seen = np.isfinite(ranges)
        share = number / max(1, last - first)
        limits = np.array(variability.LIMITS_BPM)
        clear = 0.0 if not number else float(np.min(np.abs(np.log(max(width, 0.1) / limits))))
        found.append(
            VariabilitySegment(
                start_s=start / RATE_HZ,
                end_s=end / RATE_HZ,
                bandwidth_bpm=width,
                variability=named,
                stv_ms=variability.short_term_variation(of_baseline[start:end], RATE_HZ),
                ltv_bpm=float(ranges[seen].mean()) if seen.any() else math.nan,
                measured_minutes=number,
                certainty=share * (1.0 - 0.5 * math.exp(-clear / 0.15)),
            )
        )
    return tuple(found)
