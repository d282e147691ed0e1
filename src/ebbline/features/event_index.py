"""The events of a recording as arrays in order of time, made once and asked by every window."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ebbline.definitions import PROLONGED_FROM_S
from ebbline.features.findings import Curve, DecelerationKind, Findings
from ebbline.features.kept import kept

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

KINDS = tuple(DecelerationKind)
READABLE_TAIL_S = 30.0
"""How long after a contraction's end its deceleration would still show (our choice)."""
READABLE_SHARE = 0.5
"""Least share of valid heart rate for a contraction to be read through (our choice)."""


@dataclass(frozen=True, slots=True, eq=False)
class EventIndex:
    """The events of a recording as arrays in order of time, made once.

    Contractions are in the order of their peaks, decelerations and accelerations in the order of
    their nadirs and peaks; `*_order` leads back to the place in the findings. `carrier` is the
    (ordered) contraction of each deceleration or -1; `pairs`, shape (2, pairs): every (ordered)
    deceleration with each contraction that it comes with: its own, those whose peaks it lasts over,
    so that falls that run together into one come with as many contractions, and of a prolonged one
    that in which it began, whichever its nadir is nearest to; `alone` are the
    decelerations in none of them; `readable` says of each contraction whether the heart rate could
    be read through it; `begins_s` is where the recording begins.
    """

    contraction_order: IntArray
    contraction_onset_s: FloatArray
    contraction_peak_s: FloatArray
    contraction_end_s: FloatArray
    readable: BoolArray
    acceleration_order: IntArray
    acceleration_peak_s: FloatArray
    deceleration_order: IntArray
    deceleration_onset_s: FloatArray
    deceleration_nadir_s: FloatArray
    deceleration_end_s: FloatArray
    carrier: IntArray
    pairs: IntArray
    alone: BoolArray
    kind: IntArray
    shallow: BoolArray
    activity_edges_s: FloatArray
    activity_sum_s: FloatArray
    heart_edges_s: FloatArray
    heart_sum_s: FloatArray
    begins_s: float


def _column(values: Iterable[float]) -> FloatArray:
    return np.array(list(values), dtype=np.float64)


def _running_sum(curve: Curve) -> tuple[FloatArray, FloatArray]:
    """Edges of the curve's steps and the seconds gathered up to each (values are shares)."""
    shares = np.where(np.isfinite(curve.values), curve.values, 0.0)
    edges: FloatArray = curve.start_s + curve.step_s * np.arange(len(shares) + 1, dtype=np.float64)
    return edges, np.concatenate(([0.0], np.cumsum(shares * curve.step_s)))


def _pairs(
    carrier: IntArray,
    onset_s: FloatArray,
    end_s: FloatArray,
    peak_s: FloatArray,
    over_s: FloatArray,
) -> IntArray:
    """Decelerations and contractions that belong together, shape (2, pairs).

    peak_s, over_s: of the contractions, the peaks and the ends.
    """
    first, stop = np.searchsorted(peak_s, onset_s), np.searchsorted(peak_s, end_s)
    # Of a prolonged one the last contraction that had its peak and was not over when it began.
    begun_in = (first > 0) & (end_s - onset_s >= PROLONGED_FROM_S)
    begun_in[begun_in] = onset_s[begun_in] <= over_s[first[begun_in] - 1]
    first = np.where(begun_in & (carrier >= 0), first - 1, first)
    covered = [
        (fall, contraction)
        for fall in range(len(carrier))
        for contraction in {int(carrier[fall]), *range(int(first[fall]), int(stop[fall]))}
        if contraction >= 0
    ]
    return np.array(covered, dtype=np.int64).reshape(-1, 2).T


def gathered(edges: FloatArray, sums: FloatArray, at_s: FloatArray | float) -> FloatArray:
    """Seconds gathered up to a time, from the edges of the minutes and the sums at them."""
    return np.asarray(np.interp(at_s, edges, sums), dtype=np.float64)


@kept(8)
def index_of(findings: Findings) -> EventIndex:
    """The events of a recording as arrays; kept for the last few findings asked for."""
    contractions = findings.uterine.contractions
    accelerations = findings.fetal.accelerations
    decelerations = findings.fetal.decelerations

    peaks = _column(c.peak_s for c in contractions)
    order = np.argsort(peaks, kind="stable")
    place = np.empty(len(order) + 1, dtype=np.int64)
    place[order] = np.arange(len(order))
    place[-1] = -1
    onsets = _column(c.onset_s for c in contractions)[order]
    ends = _column(c.end_s for c in contractions)[order]

    nadirs = _column(d.nadir_s for d in decelerations)
    by_nadir = np.argsort(nadirs, kind="stable")
    carrier = np.array([d.contraction for d in decelerations], dtype=np.int64)
    kinds = np.array([KINDS.index(d.kind) for d in decelerations], dtype=np.int64)
    shallow = np.array([d.shallow for d in decelerations], dtype=np.bool_)

    acceleration_peaks = _column(a.peak_s for a in accelerations)
    by_peak = np.argsort(acceleration_peaks, kind="stable")

    carriers = place[carrier][by_nadir]
    onset_s = _column(d.onset_s for d in decelerations)[by_nadir]
    end_s = _column(d.end_s for d in decelerations)[by_nadir]
    activity_edges, activity_sum = _running_sum(findings.uterine.measured)
    heart_edges, heart_sum = _running_sum(findings.fetal.valid)
    tails = ends + READABLE_TAIL_S
    seen = gathered(heart_edges, heart_sum, tails) - gathered(heart_edges, heart_sum, onsets)
    within = np.minimum(tails, findings.duration_s) - onsets
    pairs = _pairs(carriers, onset_s, end_s, peaks[order], ends)
    alone = np.ones(len(carriers), dtype=np.bool_)
    alone[pairs[0]] = False
    return EventIndex(
        contraction_order=order,
        contraction_onset_s=onsets,
        contraction_peak_s=peaks[order],
        contraction_end_s=ends,
        readable=seen >= READABLE_SHARE * within,
        acceleration_order=by_peak,
        acceleration_peak_s=acceleration_peaks[by_peak],
        deceleration_order=by_nadir,
        deceleration_onset_s=onset_s,
        deceleration_nadir_s=nadirs[by_nadir],
        deceleration_end_s=end_s,
        carrier=carriers,
        pairs=pairs,
        alone=alone,
        kind=kinds[by_nadir],
        shallow=shallow[by_nadir],
        activity_edges_s=activity_edges,
        activity_sum_s=activity_sum,
        heart_edges_s=heart_edges,
        heart_sum_s=heart_sum,
        begins_s=findings.fetal.valid.start_s,
    )
