"""A channel as lines on paper: thinned to what the eye can see, extremes kept, gaps left open."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from ebbline.picture.canvas import Points
from ebbline.picture.paper import Panel
from ebbline.recording.model import FloatArray

FINEST_CM = 0.02
"""Narrower than a pen: of all samples inside it only the lowest and the highest can be seen."""
_DOT_CM = 0.01


def runs(valid: NDArray[np.bool_]) -> NDArray[np.int64]:
    """First and one-past-last index of each unbroken run of True, shape (n, 2)."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], valid, [False]]).astype(np.int8)))
    return edges.reshape(-1, 2)


def stretches(true: NDArray[np.bool_], reach: float) -> list[tuple[int, int]]:
    """First and one-past-last index of runs of True, those no more than reach apart as one."""
    found: list[tuple[int, int]] = []
    for begin, end in runs(true).tolist():
        if found and begin - found[-1][1] <= reach:
            begin = found.pop()[0]
        found.append((begin, end))
    return found


def thinned(values: FloatArray, per_bin: int) -> NDArray[np.int64]:
    """Indices of the samples to draw: lowest and highest of each bin of per_bin, first and last.

    values: without NaN. With fewer than three samples a bin all are drawn.
    """
    if per_bin < 3:
        return np.arange(len(values))
    whole = len(values) // per_bin
    bins = values[: whole * per_bin].reshape(whole, per_bin)
    starts = np.arange(whole) * per_bin
    extremes = np.concatenate([starts + bins.argmin(axis=1), starts + bins.argmax(axis=1)])
    rest = np.arange(whole * per_bin, len(values))
    return np.unique(np.concatenate([[0], extremes, rest, [len(values) - 1]]))


def pieces(
    samples: FloatArray, rate_hz: float, panel: Panel, begins_s: float = 0.0
) -> list[Points]:
    """The lines to draw for a panel, one for each stretch without a gap (cm on the sheet).

    begins_s: time of the first sample. No line crosses a missing sample. A sample that stands
    alone becomes a dot.
    """
    first = max(math.floor((panel.start_s - begins_s) * rate_hz) - 1, 0)
    last = max(math.ceil((panel.end_s - begins_s) * rate_hz) + 2, 0)
    part = samples[first:last]
    per_bin = int(FINEST_CM / panel.cm_per_s * rate_hz)
    lines = []
    for begin, end in runs(np.isfinite(part)).tolist():
        values = part[begin:end]
        chosen = thinned(values, per_bin)
        times_s = begins_s + (chosen + begin + first) / rate_hz
        x = panel.left + (times_s - panel.start_s) * panel.cm_per_s
        y = panel.y(values[chosen])
        if len(x) == 1:
            x, y = np.array([x[0] - _DOT_CM / 2, x[0] + _DOT_CM / 2]), np.repeat(y, 2)
        lines.append(np.column_stack([x, y]))
    return lines
