"""Baseline and variability that a reader sets for a stretch, in place of the computed ones.

Events keep what was measured of them, against the baseline as computed: a reader who sees other
events says so event by event. Rate and signal stay as they are.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np

from ebbline.definitions import rounded_baseline, variability_class
from ebbline.errors import EbblineError
from ebbline.features.findings import (
    BaselineChange,
    Curve,
    FetalFindings,
    Findings,
    VariabilityClass,
)
from ebbline.terms import Window

BASELINE_RANGE_BPM = (50.0, 220.0)
BANDWIDTH_RANGE_BPM = (0.0, 80.0)
"""What a reader can mean (our choice; wider than any baseline or bandwidth in the standards)."""
LEAST_BASELINE_S = 120.0
"""NICHD 2008: a baseline needs at least two minutes in ten."""
LEAST_VARIABILITY_S = 60.0
"""Bandwidth is measured by the minute."""
MOSTLY = 0.5
"""Share of a ten-minute segment from which on the reader's value stands for all of it (ours)."""


class LevelError(EbblineError):
    """A baseline or a variability that cannot be set."""


def with_baseline(findings: Findings, window: Window, bpm: float) -> Findings:
    """The findings with a reader's baseline (bpm) for a stretch. Raises LevelError."""
    _check("baseline", bpm, BASELINE_RANGE_BPM, window.duration_s, LEAST_BASELINE_S)
    fetal = findings.fetal
    curve = _filled(fetal.baseline_curve, window, bpm)
    segments = tuple(
        replace(
            one,
            bpm=rounded_baseline(bpm),
            mean_bpm=bpm,
            determinate=True,
            why="",
            carried_from_s=math.nan,
        )
        if _mostly(one.start_s, one.end_s, window)
        else one
        for one in fetal.baseline
    )
    changes = [c for c in fetal.baseline_changes if not window.start_s <= c.at_s <= window.end_s]
    for at_s, before, after in (
        (window.start_s, _at(fetal.baseline_curve, window.start_s - 1.0), bpm),
        (window.end_s, bpm, _at(fetal.baseline_curve, window.end_s + 1.0)),
    ):
        differs = rounded_baseline(before) != rounded_baseline(after)
        if not math.isnan(before) and not math.isnan(after) and differs:
            changes.append(BaselineChange(at_s, before, after))
    changes.sort(key=lambda one: one.at_s)
    return _with(
        findings,
        replace(
            fetal,
            baseline_curve=curve,
            baseline=segments,
            baseline_changes=tuple(changes),
            baseline_signal=_filled(fetal.baseline_signal, window, bpm),
        ),
    )


def with_variability(findings: Findings, window: Window, bpm: float) -> Findings:
    """The findings with a reader's bandwidth (bpm) for a stretch. Raises LevelError."""
    _check("variability", bpm, BANDWIDTH_RANGE_BPM, window.duration_s, LEAST_VARIABILITY_S)
    fetal = findings.fetal
    named = variability_class(bpm)
    segments = tuple(
        replace(one, bandwidth_bpm=bpm, variability=named, certainty=1.0)
        if _mostly(one.start_s, one.end_s, window)
        else one
        for one in fetal.variability
    )
    fine, moving_fine = fetal.fine_bandwidth, fetal.moving_fine_bandwidth
    if named is VariabilityClass.ABSENT:
        fine = _filled(fine, window, bpm)
        moving_fine = _filled(moving_fine, window, bpm, fine.step_s)
    return _with(
        findings,
        replace(
            fetal,
            bandwidth=_filled(fetal.bandwidth, window, bpm),
            fine_bandwidth=fine,
            moving_bandwidth=_filled(fetal.moving_bandwidth, window, bpm, fetal.bandwidth.step_s),
            moving_fine_bandwidth=moving_fine,
            variability=segments,
        ),
    )


def _with(findings: Findings, fetal: FetalFindings) -> Findings:
    return replace(findings, fetal=fetal)


def _check(
    what: str, bpm: float, bounds: tuple[float, float], length_s: float, least_s: float
) -> None:
    least, most = bounds
    if not least <= bpm <= most:
        raise LevelError(
            f"a {what} of {bpm:g} bpm cannot be.", remedy=f"Say {least:g} to {most:g}."
        )
    if length_s < least_s:
        raise LevelError(
            f"a {what} needs a stretch of at least {least_s:g} s.", remedy="Draw a longer one."
        )


def _filled(curve: Curve, window: Window, value: float, over_s: float = 0.0) -> Curve:
    """The curve with value at every step whose middle lies in the stretch.

    over_s: what each value is of, from its step on, where that is longer than the step.
    """
    half_s = 0.5 * max(over_s, curve.step_s)
    middles = curve.start_s + np.arange(len(curve.values)) * curve.step_s + half_s
    inside = (middles >= window.start_s) & (middles <= window.end_s)
    values = np.where(inside, value, curve.values)
    return replace(curve, values=values)


def _at(curve: Curve, time_s: float) -> float:
    place = int((time_s - curve.start_s) // curve.step_s)
    return float(curve.values[place]) if 0 <= place < len(curve.values) else math.nan


def _mostly(start_s: float, end_s: float, window: Window) -> bool:
    shared = min(end_s, window.end_s) - max(start_s, window.start_s)
    return shared >= MOSTLY * (end_s - start_s)
