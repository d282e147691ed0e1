"""What a panel of readers is taken to have looked at: numbers of a window, from the findings.

Each is a plain count, share or size that a reader could check on the strip. The model in
`panel.py` adds up what they say; nothing here looks at raw samples.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ebbline.definitions import (
    BASELINE_VERY_SLOW_BPM,
    MARKED_ABOVE_BPM,
    MINIMAL_UPTO_BPM,
    TEN_MINUTES_S,
)
from ebbline.features import window as within
from ebbline.features.findings import (
    Curve,
    Deceleration,
    DecelerationKind,
    Findings,
    minutes_from,
)
from ebbline.features.kept import kept
from ebbline.terms import Window

FloatArray = NDArray[np.float64]

LOW_BPM, BELOW_BPM, VERY_LOW_BPM, HIGH_BPM = BASELINE_VERY_SLOW_BPM, 90.0, 80.0, 165.0
RISEN_BPM = 12.0
REDUCED_FINE_BPM = 4.0
HIGH_BASELINE_BPM, LOW_BASELINE_BPM = 145.0, 112.0
SURE = 0.6

HIDES_FROM_S, BESIDE_PEAK_S = 30.0, (20.0, 50.0)
"""Half a minute without signal may hide a deceleration where a contraction's would be: from so long
before its peak to so long after it (ours)."""

EARLIER_STEP = 10
"""Of the baseline before a window one value in so many is enough for its middle."""

USUAL_BASELINE_BPM, USUAL_FINE_BPM = 140.0, 8.0
"""Stand in where a window has none to measure; the reading warns of it."""


@dataclass(frozen=True, slots=True, eq=False)
class Look:
    """A window's share of the findings, cut out once for all features."""

    window: Window
    rate: FloatArray
    above: FloatArray
    baseline_levels: FloatArray
    earlier_levels: FloatArray
    bandwidth: FloatArray
    fine: FloatArray
    decelerations: tuple[Deceleration, ...]
    accelerations_per_10_min: float

    @property
    def tens(self) -> float:
        """Length in units of ten minutes."""
        return max(self.window.duration_s / TEN_MINUTES_S, 0.1)

    @property
    def baseline_bpm(self) -> float:
        """Middle level of the window's baseline."""
        return (
            _quantile(self.baseline_levels, 0.5)
            if len(self.baseline_levels)
            else USUAL_BASELINE_BPM
        )


def _cut(curve: Curve, window: Window) -> FloatArray:
    first = max(0, round((window.start_s - curve.start_s) / curve.step_s))
    last = max(first + 1, round((window.end_s - curve.start_s) / curve.step_s))
    return curve.values[first:last]


def _before(curve: Curve, window: Window) -> FloatArray:
    """What a curve showed before a window: every tenth value, counted back from it."""
    first = max(0, round((window.start_s - curve.start_s) / curve.step_s))
    earlier = curve.values[:first][::-EARLIER_STEP]
    return earlier[np.isfinite(earlier)]


def look(findings: Findings, window: Window) -> Look:
    """Cut a window out of the findings."""
    fetal = findings.fetal
    rate, baseline = _cut(fetal.rate_curve, window), _cut(fetal.baseline_curve, window)
    length = min(len(rate), len(baseline))
    above = rate[:length] - baseline[:length]
    bands = (
        (fetal.moving_bandwidth, fetal.bandwidth),
        (fetal.moving_fine_bandwidth, fetal.fine_bandwidth),
    )
    band, fine = (_cut(minutes_from(*one, window.start_s), window) for one in bands)
    inside = within.accelerations_in(findings, window)
    return Look(
        window=window,
        rate=rate[np.isfinite(rate)],
        above=above[np.isfinite(above)],
        baseline_levels=baseline[np.isfinite(baseline)],
        earlier_levels=_before(fetal.baseline_curve, window),
        bandwidth=band[np.isfinite(band)],
        fine=fine[np.isfinite(fine)],
        decelerations=within.decelerations_in(findings, window),
        accelerations_per_10_min=len(inside) / max(window.duration_s / TEN_MINUTES_S, 0.1),
    )


def _quantile(values: FloatArray, share: float) -> float:
    """numpy.quantile of one share, without its overhead, which would cost more than the rest."""
    ordered = np.sort(values)
    place = share * (len(ordered) - 1)
    left = int(place)
    right = min(left + 1, len(ordered) - 1)
    return float(ordered[left] + (ordered[right] - ordered[left]) * (place - left))


def _share(flags: NDArray[np.bool_]) -> float:
    """Percent."""
    return 100.0 * (int(np.count_nonzero(flags)) / len(flags)) if len(flags) else 0.0


def _low(seen: Look) -> float:
    return _share(seen.rate < LOW_BPM)


def _very_low(seen: Look) -> float:
    return _share(seen.rate < VERY_LOW_BPM)


def _high(seen: Look) -> float:
    return _share(seen.rate > HIGH_BPM)


def _risen(seen: Look) -> float:
    return _share(seen.above > RISEN_BPM)


def _accelerations(seen: Look) -> float:
    return seen.accelerations_per_10_min


def _marked(seen: Look) -> float:
    return _share(seen.bandwidth > MARKED_ABOVE_BPM)


def _reduced(seen: Look) -> float:
    return _share(seen.fine < REDUCED_FINE_BPM)


def _fine(seen: Look) -> float:
    return _quantile(seen.fine, 0.2) if len(seen.fine) else USUAL_FINE_BPM


def _very_low_run(seen: Look) -> float:
    # A gap neither ends a run nor lengthens it.
    low = np.concatenate(([False], seen.rate < VERY_LOW_BPM, [False]))
    turns = np.flatnonzero(low[1:] != low[:-1])
    return float((turns[1::2] - turns[::2]).max(initial=0))


def _below_90(seen: Look) -> float:
    return _share(seen.rate < BELOW_BPM)


def _narrow(seen: Look) -> float:
    return _share(seen.bandwidth <= MINIMAL_UPTO_BPM)


def _greatest(values: list[float], place: int) -> float:
    """The place-th greatest, 0 where there are fewer: one more never makes it less."""
    ordered = sorted(values, reverse=True)
    return ordered[place - 1] if len(ordered) >= place else 0.0


def _greatest_depth(seen: Look) -> float:
    return _greatest([d.depth_bpm for d in seen.decelerations], 1)


def _second_depth(seen: Look) -> float:
    return _greatest([d.depth_bpm for d in seen.decelerations], 2)


def _second_return(seen: Look) -> float:
    return _greatest([d.return_s for d in seen.decelerations], 2)


def _area(seen: Look) -> float:
    return sum(d.area_bpm_s * d.valid_share for d in seen.decelerations) / 60.0


def _sure_decelerations(seen: Look) -> float:
    return sum(d.certainty > SURE for d in seen.decelerations) / seen.tens


def _late_or_prolonged(seen: Look) -> float:
    kinds = (DecelerationKind.LATE, DecelerationKind.PROLONGED)
    return sum(d.kind in kinds for d in seen.decelerations) / seen.tens


def _high_baseline(seen: Look) -> float:
    return max(0.0, seen.baseline_bpm - HIGH_BASELINE_BPM)


def _low_baseline(seen: Look) -> float:
    return max(0.0, LOW_BASELINE_BPM - seen.baseline_bpm)


def _fallen_baseline(seen: Look) -> float:
    if not len(seen.earlier_levels):
        return 0.0
    return max(0.0, _quantile(seen.earlier_levels, 0.5) - seen.baseline_bpm)


def _baseline_range(seen: Look) -> float:
    if not len(seen.baseline_levels):
        return 0.0
    return _quantile(seen.baseline_levels, 0.95) - _quantile(seen.baseline_levels, 0.05)


@dataclass(frozen=True, slots=True)
class PanelFeature:
    """One number of a window. worse: +1 when more of it is worse, -1 when less is."""

    name: str
    unit: str
    worse: int
    measure: Callable[[Look], float]


FEATURES: tuple[PanelFeature, ...] = (
    PanelFeature("time under 100 bpm", "%", 1, _low),
    PanelFeature("time under 80 bpm", "%", 1, _very_low),
    PanelFeature("time over 165 bpm", "%", 1, _high),
    PanelFeature("time risen 12 bpm over the baseline", "%", -1, _risen),
    PanelFeature("accelerations in 10 min", "", -1, _accelerations),
    PanelFeature("minutes of marked variability", "%", 1, _marked),
    PanelFeature("minutes of reduced fine variability", "%", 1, _reduced),
    PanelFeature("fine variability of the quietest minutes", "bpm", -1, _fine),
    PanelFeature("time under 90 bpm", "%", 1, _below_90),
    PanelFeature("longest run under 80 bpm", "s", 1, _very_low_run),
    PanelFeature("minutes of bandwidth 5 bpm or less", "%", 1, _narrow),
    PanelFeature("depth of the deepest deceleration", "bpm", 1, _greatest_depth),
    PanelFeature("depth of the second deepest deceleration", "bpm", 1, _second_depth),
    PanelFeature("second slowest return from a nadir", "s", 1, _second_return),
    PanelFeature("area of decelerations", "bpm min", 1, _area),
    PanelFeature("sure decelerations in 10 min", "", 1, _sure_decelerations),
    PanelFeature("late or prolonged decelerations in 10 min", "", 1, _late_or_prolonged),
    PanelFeature("baseline over 145 bpm", "bpm", 1, _high_baseline),
    PanelFeature("baseline under 112 bpm", "bpm", 1, _low_baseline),
    PanelFeature("baseline fallen since before the window", "bpm", 1, _fallen_baseline),
    PanelFeature("range of the baseline", "bpm", 1, _baseline_range),
)
"""All numbers the panel model may use, in the order of its coefficients."""


@kept(4)
def measure(findings: Findings, window: Window) -> FloatArray:
    """The numbers of FEATURES for one window, shape (len(FEATURES),); read-only.

    Kept for the last few windows: a half hour is asked for again as the one before the next.
    """
    values = _measured(look(findings, window))
    values.setflags(write=False)
    return values


def measure_with_hidden(findings: Findings, window: Window) -> FloatArray:
    """The same, had every stretch of `unseen_beside_contractions` held a deceleration like the
    deepest one that was seen."""
    number = unseen_beside_contractions(findings, window)
    if not number:
        return measure(findings, window)
    seen = look(findings, window)
    deepest = max(seen.decelerations, key=lambda one: one.depth_bpm, default=None)
    hidden = () if deepest is None else (deepest,) * number
    return _measured(replace(seen, decelerations=(*seen.decelerations, *hidden)))


def _measured(seen: Look) -> FloatArray:
    return np.array([feature.measure(seen) for feature in FEATURES])


def unseen_beside_contractions(findings: Findings, window: Window) -> int:
    """Stretches of lost rate in a window that are long enough to hide a deceleration, and lie where
    a contraction would have one; any place will do where contractions were not recorded."""
    rate = findings.fetal.rate_curve
    lost = np.isnan(np.concatenate(([0.0], _cut(rate, window), [0.0])))
    turns = np.flatnonzero(lost[1:] != lost[:-1]) * rate.step_s + window.start_s
    begins, ends = turns[::2], turns[1::2]
    hiding = ends - begins >= HIDES_FROM_S
    if findings.uterine.present:
        peaks = np.array([one.peak_s for one in findings.uterine.contractions])
        before, after = BESIDE_PEAK_S
        first = np.searchsorted(peaks, begins - after)
        hiding &= np.searchsorted(peaks, ends + before) > first
    return int(np.count_nonzero(hiding))
