"""Where on the straightened picture the papers lie: heart rate above, activity below."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from ebbline.recording.paper.flatten import Plane
from ebbline.recording.paper.lattice import demodulated, pen_free
from ebbline.recording.paper.stretches import stretches


@dataclass(frozen=True, slots=True, eq=False)
class Region:
    """One sheet of grid. mask: 1 where it lies, shape of the picture. top: px, its middle's."""

    mask: Plane
    top: float
    bottom: float


def regions(ink: Plane, period: float) -> list[Region]:
    """The papers, from above downwards: where upright lines stand at the comb's distance.

    The picture is looked at in strips a few lines wide. As many papers lie one below the other as
    most of them shows; a strip that shows another number (a crease, a hand) takes its neighbours'
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
    seen_in = np.array([there[:, a : a + wide].mean(axis=1) > 0.5 for a in starts])
    hidden_in = np.array([hidden[:, a : a + wide].mean(axis=1) > 0.5 for a in starts])
    filled, unknown = _by_neighbours(seen_in, hidden_in)
    shown = [
        (start + wide / 2, _runs(one, none, scaled))
        for start, one, none in zip(starts, filled, unknown, strict=True)
    ]
    counts = [len(runs) for _, runs in shown if runs]
    if not counts:
        return []
    # As many as most of the paper that is seen tells: words beside a short strip are low.
    tall = [sum(b - a for a, b in runs) for _, runs in shown if runs]
    usual = int(np.bincount(counts, tall).argmax())
    told = [(x, runs) for x, runs in shown if len(runs) == usual]
    middle = np.median([runs for _, runs in told], axis=0)
    # A strip beyond the paper's end may show as many runs by chance, elsewhere, and one of the
    # paper words above or below it.
    matched = [(x, [_meeting(runs, a, b) for a, b in middle]) for x, runs in shown]
    told = [(x, [r for r in runs if r is not None]) for x, runs in matched if None not in runs]
    if not told:
        return []
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


CLOSED = 0.65
"""Holes of less than so much of the uprights' distance part no papers (ours)."""
HIDDEN = 0.7
"""Where less than this share is free of the pen, uprights cannot be seen (ours)."""
STRIP_LINES = 2.5
"""Width of a strip, in upright lines (ours)."""
RIM = 0.12
"""Upright lines' distance that a paper is taken to reach beyond what is seen of them (ours)."""
LEAST_LINES = 1.6
"""A paper is at least so many upright lines' distance tall (ours)."""


def _by_neighbours(
    there: NDArray[np.bool_], hidden: NDArray[np.bool_]
) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
    """Strips in which what a pen or print hides is told by the nearest ones that show the row.

    Words between two papers hide that no line is there: none near shows one. A pen hides lines that
    others show. Shapes: (strips, rows). Returns what is there, and what may be beneath the ink.
    """
    filled, maybe = there.copy(), hidden.copy()
    for n in range(len(there)):
        near = slice(max(0, n - NEAREST), n + NEAREST + 1)
        told = ~hidden[near]
        some = (there[near] & told).any(axis=0)
        filled[n] |= hidden[n] & some
        maybe[n] &= some | (told.sum(axis=0) < LEAST_BLANK)
    return filled, maybe


NEAREST, LEAST_BLANK = 4, 2
"""Strips to either side that tell what is hidden in one, and how many must show a row blank: one of
them may lie beside the paper (ours)."""


def _meeting(runs: list[tuple[int, int]], first: float, last: float) -> tuple[int, int] | None:
    """Of a strip's runs the one that is another strip's too: most of either lies in the other."""
    shared = [min(b, last) - max(a, first) for a, b in runs]
    if not runs or max(shared) <= 0:
        return None
    n = int(np.argmax(shared))
    a, b = runs[n]
    return runs[n] if shared[n] > SAME_RUN * max(b - a, last - first) else None


SAME_RUN = 0.5
"""Two strips' runs that share so much of the longer one are the same paper's (ours)."""


def _runs(
    there: NDArray[np.bool_], hidden: NDArray[np.bool_], period: float
) -> list[tuple[int, int]]:
    """Stretches of rows with upright lines, short stretches left out.

    Small holes are closed, and those in which the pen hides the lines.
    """
    runs: list[tuple[int, int]] = []
    for first, last in stretches(there):
        hole = first - runs[-1][1] if runs else np.inf
        if hole < CLOSED * period or (runs and hidden[runs[-1][1] : first].mean() > 0.5):
            runs[-1] = (runs[-1][0], last)
        else:
            runs.append((first, last))
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
    laid: Plane,
    box: tuple[float, float, float, float],
    uprights: tuple[int, int] | None = None,
) -> tuple[int, int, int, int] | None:
    """First and last upright, first and last level line that is drawn on a flat paper.

    laid: ink, `box` its first and last upright and level line. uprights: first and last, where they
    are known. None where they cannot be told, or where one end of the paper tells other level lines
    than the other end.
    """
    free = np.where(pen_free(laid) > 0, laid, np.nan)
    known = uprights is not None
    if uprights is None:
        row = _row(_share(free, 1, box[0], box[1], slice(None)))
        if row is None:
            return None
        uprights = row[0] + _whole(box[0]), row[1] + _whole(box[0])
    first_u, last_u = uprights
    per_line = (laid.shape[1] - 1) / (box[1] - box[0])
    a, b = round((first_u - box[0]) * per_line), round((last_u - box[0]) * per_line)
    if b - a < PARTS:
        return None
    levels = _row(_share(free, 0, box[2], box[3], slice(a, b)))
    if levels is None:
        return None
    levels = _bounded(free, box, (first_u, last_u), levels)
    # A trace at rest hides the lowest lines of an activity paper: its printed numbers tell them.
    for n in range(0 if known else THIRDS):
        part = slice(a + (b - a) * n // THIRDS, a + (b - a) * (n + 1) // THIRDS)
        share, told = _seen(free, 0, box[2], box[3], part)
        ends = list(levels)
        if ((share[ends] < 0.8 * HELD) & (told[ends] > HALF_TOLD)).any():
            return None
    return first_u, last_u, levels[0] + _whole(box[2]), levels[1] + _whole(box[2])


def _bounded(
    free: Plane,
    box: tuple[float, float, float, float],
    uprights: tuple[int, int],
    levels: tuple[int, int],
) -> tuple[int, int]:
    """The level lines between which upright ones stand, counted from the box's first level line.

    A bar or a row of words beside the paper may look like one more level line, and a trace that
    runs along the lowest ones hide them: uprights end where the paper does.
    """
    wide = (free.shape[1] - 1) / (box[1] - box[0])
    tall = (free.shape[0] - 1) / (box[3] - box[2])
    numbers = np.arange(uprights[0], uprights[1] + 1)

    def at(shift: float) -> NDArray[np.int64]:
        columns = np.round((numbers + shift - box[0]) * wide).astype(int)
        found: NDArray[np.int64] = np.clip(columns, 0, free.shape[1] - 1)
        return found

    first = _whole(box[2])
    seen = np.full(int(np.floor(box[3])) - first, np.nan)
    for n in range(len(seen)):
        top = (first + n - box[2]) * tall
        rows = free[round(top + 0.2 * tall) : round(top + 0.8 * tall) + 1]
        darker = rows[:, at(0.0)] - (rows[:, at(-0.35)] + rows[:, at(0.35)]) / 2
        told = np.isfinite(darker)
        if told.any(axis=0).mean() > LEAST_TOLD:
            seen[n] = np.median(darker[told])
    usual = np.nanmedian(seen[levels[0] : levels[1]]) if levels[1] > levels[0] else np.nan
    if not usual > 0:
        return levels
    top_line, bottom_line = levels
    none, some = ~(seen > LEAST_UPRIGHT * usual), seen > 2 * LEAST_UPRIGHT * usual
    while top_line < bottom_line - LEAST_ROW and none[top_line]:
        top_line += 1
    while bottom_line > top_line + LEAST_ROW and none[bottom_line - 1]:
        bottom_line -= 1
    while top_line > 0 and some[top_line - 1]:
        top_line -= 1
    while bottom_line < len(seen) and some[bottom_line]:
        bottom_line += 1
    return top_line, bottom_line


LEAST_TOLD = 0.3
"""Of the uprights so many must be free of the pen somewhere between two level lines (ours)."""
LEAST_UPRIGHT = 0.25
"""Of the usual darkness of uprights, less is none (ours)."""
HALF_TOLD = 0.5
"""Where less of a line is free of the pen, it may run on beneath it (ours)."""
THIRDS = 3
"""Parts of the paper that must tell the same level lines (ours)."""
MISSING = 3
"""So many lines in a row may be hidden by a crease or a hand (ours)."""
LEAST_ROW = 4
"""Lines that stand in a row on either side of hidden ones (ours)."""
HELD = 0.6
"""Of a line's parts, so many must be darker than beside it (ours)."""
SOLID = 0.9
"""A line as dark as a pen covers so much of every part of its length (ours)."""
CLEARLY_HELD = 0.8
"""Two lines next to each other of which so many parts are darker are no chance (ours)."""
HALF_HELD = 0.35
"""A line of which so many parts are is no chance beside others (ours)."""
FAINTEST = 0.3
"""Of a faint line's darkness, so much must a part of a line have (ours)."""


def _whole(edge: float) -> int:
    return int(np.ceil(edge))


def _share(free: Plane, axis: int, first: float, last: float, part: slice) -> NDArray[np.float64]:
    """In which share of its length each line is seen, from the first whole line on."""
    return _seen(free, axis, first, last, part)[0]


def _seen(
    free: Plane, axis: int, first: float, last: float, part: slice
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """The same, and in which share of its length no pen hides whether it is there.

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

    def columns(shift: float) -> NDArray[np.intp]:
        place = np.round((numbers + shift - first) * per_line).astype(np.intp)
        found: NDArray[np.intp] = np.clip(place, 0, across.shape[1] - 1)
        return found

    def at(shift: float) -> NDArray[np.float64]:
        found: NDArray[np.float64] = profiles[:, columns(shift)]
        return found

    on = (at(0.0) + at(1 / per_line) + at(-1 / per_line)) / 3
    # The middle of what lies beside: a dotted line there makes no line paler.
    beside = np.sort([at(-0.42), at(-0.3), at(0.3), at(0.42)], axis=0)
    darker = on - (beside[1] + beside[2]) / 2
    told = np.isfinite(darker)
    middle = np.array([np.median(one[one == one]) if (one == one).any() else 0 for one in darker.T])
    inner = middle[len(numbers) // 4 : 3 * len(numbers) // 4 + 1]
    least = max(FAINTEST * float(np.quantile(inner, 0.3)), 1e-3)
    # A frame as dark as a pen is a line all the same: it runs straight through the whole part.
    covered = np.array(
        [np.isnan(one).mean(axis=0) for one in np.array_split(across, PARTS) if len(one)]
    )

    def dark(shift: float) -> NDArray[np.bool_]:
        found: NDArray[np.bool_] = covered[:, columns(shift)] > SOLID
        return found

    solid = dark(0.0) & ~dark(-0.42) & ~dark(0.42)
    told |= solid
    seen = ((darker > least) & told) | solid
    share: NDArray[np.float64] = seen.sum(axis=0) / np.maximum(told.sum(axis=0), PARTS // 6)
    return share, told.mean(axis=0)


def _row(share: NDArray[np.float64]) -> tuple[int, int] | None:
    """First and last of the longest row of lines, a few missing ones allowed."""
    rows = [(first, beyond - 1) for first, beyond in stretches(share > HELD)]
    if not rows:
        return None
    near = [[rows[0]]]
    for row in rows[1:]:
        if row[0] - near[-1][-1][1] - 1 <= MISSING:
            near[-1].append(row)
        else:
            near.append([row])

    def chance(outer: tuple[int, int], between: NDArray[np.float64]) -> bool:
        """Beside the paper a line is found by chance here and there, but not many in a row."""
        few = outer[1] - outer[0] + 1 < LEAST_ROW
        clear = outer[1] > outer[0] and share[outer[0] : outer[1] + 1].min() > CLEARLY_HELD
        return few and not clear and between.min() <= HALF_HELD

    joined = []
    for group in near:
        while len(group) > 1 and chance(group[0], share[group[0][1] + 1 : group[1][0]]):
            group = group[1:]
        while len(group) > 1 and chance(group[-1], share[group[-2][1] + 1 : group[-1][0]]):
            group = group[:-1]
        joined.append((group[0][0], group[-1][1]))
    return max(joined, key=lambda row: row[1] - row[0])
