"""Where on the straightened picture the papers lie: heart rate above, activity below."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ebbline.recording.paper.flatten import Plane
from ebbline.recording.paper.lattice import demodulated, pen_free


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """One sheet of grid. mask: 1 where it lies, shape of the picture. top: px, its middle's."""

    mask: Plane
    top: float
    bottom: float


def regions(ink: Plane, period: float) -> list[Region]:
    """The papers, from above downwards: where upright lines stand at the comb's distance.

    The picture is looked at in strips a few lines wide. As many papers lie one below the other as
    most strips show; a strip that shows another number (a crease, a hand) takes its neighbours'
    edges.
    """
    shrink = max(1.0, period / 12.0)
    size = (round(ink.shape[1] / shrink), round(ink.shape[0] / shrink))
    small = cv2.resize(ink, size, interpolation=cv2.INTER_AREA)
    scaled = period / shrink
    # A pen across the lines would look like a gap between two papers.
    free = pen_free(small)
    lined = np.clip(_upright(small), 0.0, None) * free
    wave, seen = demodulated(lined, 1, scaled, (1.5 * scaled, 0.12 * scaled))
    strong = np.abs(wave).astype(np.float32)
    level = float(np.quantile(strong, 0.97))
    hidden = cv2.GaussianBlur(free, (0, 0), 1.5 * scaled, sigmaY=0.12 * scaled) < HIDDEN
    there = (strong > 0.2 * level) & (seen > 0.06)
    wide = max(4, round(STRIP_LINES * scaled))
    starts = np.arange(0, size[0] - wide // 2, wide)
    shown = [
        (
            start + wide / 2,
            _runs(
                there[:, start : start + wide].mean(axis=1) > 0.5,
                hidden[:, start : start + wide].mean(axis=1) > 0.5,
                scaled,
            ),
        )
        for start in starts
    ]
    counts = [len(runs) for _, runs in shown if runs]
    if not counts:
        return []
    usual = int(np.bincount(counts).argmax())
    told = [(x, runs) for x, runs in shown if len(runs) == usual]
    middle = np.median([runs for _, runs in told], axis=0)
    # A strip beyond the paper's end may show as many runs by chance, elsewhere.
    told = [
        (x, runs)
        for x, runs in told
        if all(a < m[1] and b > m[0] for (a, b), m in zip(runs, middle, strict=True))
    ]
    found = []
    for n in range(usual):
        x = np.array([at for at, _ in told])
        top = _calm(np.array([runs[n][0] for _, runs in told], float))
        bottom = _calm(np.array([runs[n][1] for _, runs in told], float))
        columns = np.arange(ink.shape[1]) / shrink
        # A strip that hangs over the paper's end may not have been told: one more on either side.
        inside = (columns >= x[0] - 1.5 * wide) & (columns <= x[-1] + 1.5 * wide)
        upper = np.interp(columns, x, top) * shrink
        lower = np.interp(columns, x, bottom) * shrink
        rows = np.arange(ink.shape[0])[:, None]
        # Upright lines end on the outermost level ones: those belong to the paper too.
        rim = RIM * period
        mask = ((rows >= upper - rim) & (rows <= lower + rim) & inside).astype(np.float32)
        found.append(Region(mask, float(upper.min()) - rim, float(lower.max()) + rim))
    return found


CLOSED = 0.45
"""Holes of less than so much of the uprights' distance part no papers (ours)."""
HIDDEN = 0.7
"""Where less than this share is free of the pen, uprights cannot be seen (ours)."""
STRIP_LINES = 2.5
"""Width of a strip, in upright lines (ours)."""
RIM = 0.12
"""Upright lines' distance that a paper is taken to reach beyond what is seen of them (ours)."""
LEAST_LINES = 1.6
"""A paper is at least so many upright lines' distance tall (ours)."""


def _runs(
    there: NDArray[np.bool_], hidden: NDArray[np.bool_], period: float
) -> list[tuple[int, int]]:
    """Stretches of rows with upright lines, short stretches left out.

    Small holes are closed, and those in which the pen hides the lines.
    """
    edges = np.flatnonzero(np.diff(np.r_[False, there, False].astype(np.int8)))
    runs: list[tuple[int, int]] = []
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        hole = first - runs[-1][1] if runs else np.inf
        if hole < CLOSED * period or (runs and hidden[runs[-1][1] : first].mean() > 0.5):
            runs[-1] = (runs[-1][0], int(last))
        else:
            runs.append((int(first), int(last)))
    return [run for run in runs if run[1] - run[0] > LEAST_LINES * period]


def _calm(edge: NDArray[np.float64]) -> NDArray[np.float64]:
    """An edge from strip to strip without single strays (median of five)."""
    padded = np.pad(edge, 2, mode="edge")
    return np.median(np.lib.stride_tricks.sliding_window_view(padded, 5), axis=1)


PARTS = 48
"""Parts of a line's length, each of which is looked at (ours)."""


def _upright(ink: Plane) -> Plane:
    """Ridges of upright lines, followed over a short height only, so that a gap stays a gap."""
    smooth = cv2.blur(ink, (1, 5))
    return smooth - cv2.blur(smooth, (7, 1))


def drawn_lines(
    laid: Plane, box: tuple[float, float, float, float]
) -> tuple[int, int, int, int] | None:
    """First and last upright, first and last level line that is drawn on a flat paper.

    laid: ink, `box` its first and last upright and level line. None where they cannot be told,
    or where one end of the paper tells other level lines than the other end.
    """
    free = np.where(pen_free(laid) > 0, laid, np.nan)
    uprights = _row(_share(free, 1, box[0], box[1], slice(None)) > HELD)
    if uprights is None:
        return None
    first_u, last_u = uprights[0] + _whole(box[0]), uprights[1] + _whole(box[0])
    per_line = (laid.shape[1] - 1) / (box[1] - box[0])
    a, b = round((first_u - box[0]) * per_line), round((last_u - box[0]) * per_line)
    if b - a < PARTS:
        return None
    levels = _row(_share(free, 0, box[2], box[3], slice(a, b)) > HELD)
    if levels is None:
        return None
    for n in range(THIRDS):
        part = slice(a + (b - a) * n // THIRDS, a + (b - a) * (n + 1) // THIRDS)
        share = _share(free, 0, box[2], box[3], part)
        if min(share[levels[0]], share[levels[1]]) < 0.8 * HELD:
            return None
    return first_u, last_u, levels[0] + _whole(box[2]), levels[1] + _whole(box[2])


THIRDS = 3
"""Parts of the paper that must tell the same level lines (ours)."""
MISSING = 3
"""So many lines in a row may be hidden by a crease or a hand (ours)."""
LEAST_ROW = 4
"""Lines that stand in a row on either side of hidden ones (ours)."""
HELD = 0.6
"""Of a line's parts, so many must be darker than beside it (ours)."""
FAINTEST = 0.3
"""Of a faint line's darkness, so much must a part of a line have (ours)."""


def _whole(edge: float) -> int:
    return int(np.ceil(edge))


def _share(free: Plane, axis: int, first: float, last: float, part: slice) -> NDArray[np.float64]:
    """In which share of its length each line is seen, from the first whole line on.

    free: ink, NaN where a pen has written. A line is seen in a part of its length where it is
    darker than the paper beside it; parts under a pen do not count.
    """
    across = free if axis == 1 else free.T[part]
    per_line = (across.shape[1] - 1) / (last - first)
    numbers = np.arange(_whole(first), int(np.floor(last)) + 1)
    with warnings.catch_warnings():
        # Parts that a pen covers whole have no mean.
        warnings.simplefilter("ignore", RuntimeWarning)
        profiles = np.array(
            [np.nanmean(one, axis=0) for one in np.array_split(across, PARTS) if len(one)]
        )

    def at(shift: float) -> NDArray[np.float64]:
        place = (numbers + shift - first) * per_line
        columns = np.clip(np.round(place).astype(int), 0, across.shape[1] - 1)
        found: NDArray[np.float64] = profiles[:, columns]
        return found

    on = (at(0.0) + at(1 / per_line) + at(-1 / per_line)) / 3
    darker = on - (at(-0.42) + at(-0.3) + at(0.3) + at(0.42)) / 4
    told = np.isfinite(darker)
    middle = np.array([np.median(one[one == one]) if (one == one).any() else 0 for one in darker.T])
    inner = middle[len(numbers) // 4 : 3 * len(numbers) // 4 + 1]
    least = max(FAINTEST * float(np.quantile(inner, 0.3)), 1e-3)
    seen = (darker > least) & told
    share: NDArray[np.float64] = seen.sum(axis=0) / np.maximum(told.sum(axis=0), PARTS // 6)
    return share


def _row(held: NDArray[np.bool_]) -> tuple[int, int] | None:
    """First and last of the longest row of lines, a few missing ones allowed."""
    edges = np.flatnonzero(np.diff(np.r_[False, held, False].astype(np.int8)))
    if not len(edges):
        return None
    rows = [(int(a), int(b) - 1) for a, b in zip(edges[::2], edges[1::2], strict=True)]
    joined = [rows[0]]
    for first, last in rows[1:]:
        before = joined[-1]
        hidden = first - before[1] - 1
        # Chance finds a line beside the paper here and there, but not many in a row.
        long = min(last - first, before[1] - before[0]) + 1
        if hidden <= MISSING and long >= LEAST_ROW:
            joined[-1] = (before[0], last)
        else:
            joined.append((first, last))
    return max(joined, key=lambda row: row[1] - row[0])
