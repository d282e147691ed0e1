"""The pen's path on a flat paper: runs of ink joined into the longest likely line.

Every column holds runs of ink. A path takes one run a column or none; it pays for a jump, for every
column without ink, and for leaving ink that goes on. The cheapest path (dynamic programming)
follows the pen through crossings and thick strokes, and stays away from print beside it.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from ebbline.compiled import kernel
from ebbline.recording.paper.flatten import Plane
from ebbline.recording.paper.lattice import running_median
from ebbline.recording.paper.rectify import Flat

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

GAP_COST = 0.55
"""What a column without ink costs, in columns of ink (ours)."""
JUMP_COST = 6.0
"""What leaving one stroke for another costs, in columns of ink (ours)."""
REACH = 0.02
"""Each share of the paper's height that a jump spans costs as much again (ours)."""


PAPER_NOISE = 0.05
"""Darkness between the lines that is taken for the paper's own at most (ours)."""
FRAME = 0.08
"""So far below the highest line, in lines, no trace is looked for (ours)."""
RIM, RIM_LONG, LEAST_FRAME = 0.15, 16.0, 0.1
"""So near an outermost line, in lines, what most columns show over so many lines is its frame, if
it is as dark as this share of a pen (ours)."""
STRONGEST = 0.75
"""A line is at most so dark, as a share of the pen (ours)."""
LEAST_PEAK = 0.52
"""A stroke of the pen is somewhere so dark, of its own darkness: a paler one is of another ink, as
a computed line drawn in colour (ours)."""
PLAIN = 0.1
"""In so large a share of all columns the pen is taken to run level or upright (ours)."""
CLEAR_INK = 0.3
"""A black pen leaves at least so much darkness; where none does, the pen has a colour (ours)."""


@dataclass(frozen=True, slots=True, eq=False)
class Path:
    """The trace. y: px from the sheet's top for every column, NaN where no ink is.

    sure: 0..1 for every column: how alone its ink is, and how dark. top, bottom: first and last
    px of the stroke.
    """

    y: FloatArray
    sure: FloatArray
    top: FloatArray
    bottom: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Sheet:
    """The ink of one paper without its grid, 0..1 of the pen's own darkness.

    left, top: px on the flat paper of its first column and row. pen: width of the stroke, px.
    """

    ink: Plane
    left: int
    top: int
    pen: float


def sheet_of(
    flat: Flat, lines: tuple[int, int, int, int], *, followed: bool = True, rests: bool = False
) -> Sheet:
    """The ink between a paper's outermost lines, its grid taken out.

    followed: whether the lines are those that are printed. rests: whether a trace may rest on the
    lowest line, as activity does.
    """
    left, right = ((n - flat.left) * flat.across for n in lines[:2])
    top, bottom = ((n - flat.top) * flat.down for n in lines[2:])
    slack = 0.15 * flat.down
    rows = slice(max(0, round(top - slack)), round(bottom + slack) + 1)
    columns = slice(max(0, round(left)), round(right) + 1)
    ink = _pen_ink(flat, rows, columns, followed=followed)
    ink = np.where(other_pen(ink, flat.ink[rows, columns], flat.black[rows, columns]), 0.0, ink)
    # The frame's lines, drawn dark, are no trace; none goes on along them.
    ink[: max(0, round(top + FRAME * flat.down) - rows.start)] = 0.0
    reach = max(3, round(RIM * flat.down))
    upper, lower = (
        ink[max(0, round(edge) - rows.start - reach) : round(edge) - rows.start + reach + 1]
        for edge in (top, bottom)
    )
    for rim in (upper,) if rests else (upper, lower):
        usual = _usual(rim, round(RIM_LONG * flat.across))
        rim[:] = np.where(usual > LEAST_FRAME, np.maximum(rim - 1.2 * usual, 0.0), rim)
    if rests:
        # The pen that rests on the lowest line is darker than the line.
        darkest = lower.max(axis=0)
        line = float(np.quantile(darkest, 0.1))
        if line < STRONGEST:
            lower[:, darkest < line + LEAST_FRAME] = 0.0
    return Sheet(ink, columns.start, rows.start, _pen(ink))


def _pen_ink(flat: Flat, rows: slice, columns: slice, *, followed: bool) -> Plane:
    """A part of a paper's ink without its grid, as a share of the pen's own darkness.

    followed: see `sheet_of`. Black ink where there is clearly some; else the pen has a colour, or
    writes faintly.
    """
    phase = None
    if followed:
        phase = (
            (flat.left + columns.start / flat.across) % 1.0,
            (flat.top + rows.start / flat.down) % 1.0,
        )
    ink, peak = without_grid(flat.black[rows, columns], flat.across, flat.down, phase)
    if peak >= CLEAR_INK:
        return ink
    other, peak = without_grid(flat.ink[rows, columns], flat.across, flat.down, phase)
    return other if peak > CLEAR_INK else ink


@dataclass(frozen=True, slots=True)
class RunOn:
    """Ink that runs on beyond a paper's outermost upright line.

    lines: how far, in distances of two lines. leaves: whether it reaches the picture's edge, so
    that how far it goes on is not told.
    """

    lines: float
    leaves: bool


def runs_on(flat: Flat, lines: tuple[int, int, int, int]) -> tuple[RunOn, RunOn]:
    """The ink that runs on before a paper's first upright line, and beyond its last.

    Only what touches the line is followed, so that numbers printed beside the paper are not.
    """
    left, right = (round((n - flat.left) * flat.across) for n in lines[:2])
    top, bottom = ((n - flat.top) * flat.down for n in lines[2:])
    rows = slice(max(0, round(top + INNER * flat.down)), max(1, round(bottom - INNER * flat.down)))
    ink = _pen_ink(flat, rows, slice(0, flat.black.shape[1]), followed=True)
    # Black ink counts whatever the grid's share: told once too often is better than not told.
    dark = ((ink > STRONG_INK) | (flat.black[rows] > STRONG_INK)).astype(np.uint8)
    before, after = slice(max(0, left), None, -1), slice(right, None)
    outside = flat.outside[rows]
    return (
        _reach(dark[:, before], outside[:, before], flat.across),
        _reach(dark[:, after], outside[:, after], flat.across),
    )


def _reach(dark: NDArray[np.uint8], outside: NDArray[np.bool_], across: float) -> RunOn:
    """The widest piece of ink that begins at the first columns."""
    beside = max(2, round(FRAME * across))
    if min(dark.shape) == 0:
        return RunOn(0.0, leaves=False)
    _, piece, box, _ = cv2.connectedComponentsWithStats(np.ascontiguousarray(dark))
    begun = [n for n in np.unique(piece[:, :beside]) if n]
    if not begun:
        return RunOn(0.0, leaves=False)
    widest = max(begun, key=lambda n: box[n, 0] + box[n, 2])
    end = int(box[widest, 0] + box[widest, 2])
    # Its last columns, one step on: is there a picture still?
    rows = (piece[:, max(0, end - beside) : end] == widest).any(axis=1)
    edge = min(end - 1 + beside, outside.shape[1] - 1)
    leaves = bool(outside[rows, edge].any()) or end >= outside.shape[1]
    return RunOn(end / across, leaves)


INNER = 0.3
"""Ink nearer than so much of a line to the highest or the lowest one may be the frame (ours)."""


def other_pen(share: Plane, ink: Plane, black: Plane) -> NDArray[np.bool_]:
    """Where ink is of another colour than the trace's: handwriting, a stamp.

    share: the ink without its grid; ink, black: darkness there, of any colour and of black alone.
    How much of a stroke's darkness is black its pen tells, not how thin or blurred it is. The
    trace's own is what most columns show: it runs from end to end, words do not.
    """
    strong = (share > STRONG_INK).astype(np.float32)
    width = max(1.0, 0.6 * _pen(share))
    mass = cv2.GaussianBlur(ink * strong, (0, 0), width)
    black_share = cv2.GaussianBlur(black * strong, (0, 0), width) / np.maximum(mass, 1e-6)
    held = strong > 0
    if not held.any():
        return np.zeros(share.shape, bool)
    # In how many columns each share of black is met.
    rows, columns = np.nonzero(held)
    kinds = np.minimum((black_share[rows, columns] * KINDS).astype(int), KINDS - 1)
    met = np.zeros((KINDS, share.shape[1]), bool)
    met[kinds, columns] = True
    often = np.convolve(met.sum(axis=1), np.ones(3), "same")
    most = (int(often.argmax()) + 0.5) / KINDS
    near_most = black_share[held & (np.abs(black_share - most) < OTHER_PEN)]
    own, spread = float(np.median(near_most)), float(np.std(near_most))
    other = held & (black_share < own - max(OTHER_PEN, 4.0 * spread))
    if other.any(axis=0).sum() > LESSER_PEN * (held & ~other).any(axis=0).sum():
        return np.zeros(share.shape, bool)
    # The pale rim of such a stroke goes with it, the trace beside it does not.
    near = cv2.dilate(other.astype(np.uint8), np.ones((5, 5), np.uint8)) > 0
    return other | (near & ~held)


LESSER_PEN = 0.5
"""In so many columns, as a share of those of the trace's pen, is other ink met at most (ours)."""
KINDS = 40
"""Into so many kinds of ink shares of black are told apart (ours)."""
STRONG_INK, OTHER_PEN = 0.55, 0.15
"""Of the pen's darkness so much tells its colour; and so far from the trace's lies another pen's
share of black (ours)."""


def _pen(ink: Plane) -> float:
    """Width of the stroke, px: twice the way from its middle to its rim."""
    inside = cv2.distanceTransform((ink > 0.5).astype(np.uint8), cv2.DIST_L2, 3)
    middle = inside[(inside > 0.9) & (inside >= cv2.dilate(inside, np.ones((3, 3))))]
    return max(1.0, 2.0 * float(np.median(middle)) - 1.0) if len(middle) else 1.0


def without_grid(
    ink: Plane, across: float, down: float, phase: tuple[float, float] | None
) -> tuple[Plane, float]:
    """Ink less what a grid line leaves there, as a share of the pen's; and how dark the pen is.

    across, down: px between lines. phase: where between two lines the first pixel lies; None where
    nothing is known of the lines. A line is what most columns, or rows, show at its place, and no
    darker than lines are there: a pen that follows a line for minutes stays.
    """
    turned = np.ascontiguousarray(ink.T)
    if phase is None:
        # Of lines that were not followed only those that run straight from end to end are told.
        level, upright = _usual(ink, ink.shape[1]), _usual(turned, ink.shape[0]).T
    else:
        level = np.minimum(
            _usual(ink, max(9, round(4 * across))), _most(ink, down, phase[1])[:, None]
        )
        upright = np.minimum(
            _usual(turned, max(9, round(3 * down))), _most(turned, across, phase[0])[:, None]
        ).T
    grid = np.maximum(level, upright)
    rest = ink - grid
    peak = float(np.clip(np.quantile(rest[::2, ::2], 0.995), 0.1, 1.0))
    pen = float(np.quantile(ink[rest > 0.6 * peak], 0.5)) if (rest > 0.6 * peak).any() else 1.0
    # Over a line the pen adds less darkness than beside it: as a share of what it can add.
    share = rest / np.maximum(pen - grid, 0.35 * pen)
    return np.clip(share, 0.0, 1.0).astype(np.float32), peak


def _most(ink: Plane, period: float, phase: float) -> NDArray[np.float32]:
    """For every row, the most darkness that a grid line can have there."""
    rows = np.arange(len(ink))
    place = rows / period + phase
    off = np.abs(place - np.round(place)) * period
    some = ink[:, :: max(1, ink.shape[1] // 400)]
    usual = np.median(some, axis=1)
    near = off < max(1.6, 0.08 * period)
    number = np.round(place).astype(int)
    number -= number.min()
    darkest = np.zeros(number.max() + 1)
    np.maximum.at(darkest, number[near], usual[near])
    line = float(np.quantile(darkest, 0.75))
    most = np.where(near, 1.1 * line + 0.02, PAPER_NOISE)
    # Some lines are drawn stronger than the others, from end to end, the frame strongest of all; no
    # pen follows a line so long, unless it writes as dark as it can.
    steady = np.min([np.median(one, axis=1) for one in np.array_split(some, 4, axis=1)], axis=0)
    stronger = steady < STRONGEST * float(np.quantile(ink[::2, ::2], 0.999))
    rim = (number == 0) | (number == number.max())
    own = np.where(near & (stronger | rim), 1.1 * steady + 0.02, 0.0)
    return np.maximum(most, own).astype(np.float32)


def _usual(ink: Plane, reach: int) -> Plane:
    """What most columns show of every row, over a reach in px."""
    shrink = max(1, reach // 15)
    columns = max(1, ink.shape[1] // shrink)
    small: Plane = cv2.resize(ink, (columns, ink.shape[0]), interpolation=cv2.INTER_AREA)
    middle = running_median(small.astype(np.float64), min(15, columns - (columns + 1) % 2))
    whole: Plane = cv2.resize(
        np.clip(middle, 0, 1).astype(np.float32), (ink.shape[1], ink.shape[0]),
        interpolation=cv2.INTER_LINEAR,
    )  # fmt: skip
    return whole


def follow(sheet: Sheet) -> Path:
    """The path of the pen."""
    ink = sheet.ink
    height, width = ink.shape
    whole, least = np.ascontiguousarray(ink, np.float64), _threshold(ink)
    first, top, bottom, mass, upper, lower = _runs(whole, least)
    y, above, below = (np.full(width, np.nan) for _ in range(3))
    sure = np.zeros(width)
    if first[-1] == 0:
        return Path(y, sure, above, below)
    chosen = _cheapest(first, top, bottom, mass, float(height))
    there = chosen >= 0
    run = chosen[there]
    above[there], below[there] = top[run], bottom[run]
    edges = np.full((2, width), np.nan)
    edges[0, there], edges[1, there] = upper[run], lower[run]
    y = middle(edges[0], edges[1], _radius(whole, chosen, top, bottom, mass, least))
    there &= np.isfinite(y)
    run = chosen[there]
    total = np.add.reduceat(np.r_[mass, 0.0], np.minimum(first[:-1], len(mass)))
    total = np.where(np.diff(first) > 0, total, 0.0)
    sure[there] = mass[run] / np.maximum(total[there], 1e-9)
    return Path(y, sure, above, below)


def pen_darkness(flat: Flat, sheet: Sheet) -> tuple[float, float]:
    """How dark the strokes of a sheet are on its flat paper, in black and in any colour."""
    strong = sheet.ink > STRONG_INK
    if not strong.any():
        return 0.0, 0.0
    rows, columns = sheet.ink.shape
    part = slice(sheet.top, sheet.top + rows), slice(sheet.left, sheet.left + columns)
    return float(np.median(flat.black[part][strong])), float(np.median(flat.ink[part][strong]))


def without_pale(path: Path, flat: Flat, sheet: Sheet, dark: tuple[float, float]) -> Path:
    """The path without what is much paler than the pen.

    Where no pen has written, the strongest of the printed lines would be followed.
    """
    columns = np.flatnonzero(np.isfinite(path.y))
    rows = np.round(path.y[columns]).astype(int) + sheet.top
    reach = max(1, round(0.5 * sheet.pen))
    around = np.clip(rows + np.arange(-reach, reach + 1)[:, None], 0, len(flat.ink) - 1)
    black, ink = (one[around, columns + sheet.left].max(axis=0) for one in (flat.black, flat.ink))
    pale = columns[(black < PALE_BLACK * dark[0]) & (ink < PALE_INK * dark[1])]
    y, sure = path.y.copy(), path.sure.copy()
    y[pale], sure[pale] = np.nan, 0.0
    return replace(path, y=y, sure=sure)


PALE_BLACK, PALE_INK = 0.5, 0.6
"""As a share of the pen's darkness, in black and in any colour, less in both is no pen's stroke: on
papers to develop on the strongest printed line had 0.36 and 0.53 at most (ours)."""


def without_path(sheet: Sheet, path: Path) -> Sheet:
    """The sheet less one trace's stroke, so that another can be followed.

    Where the stroke is much thicker than the pen another runs through it: there it stays.
    """
    ink = sheet.ink.copy()
    thick = path.bottom - path.top + 1
    usual = np.nanmedian(thick) if np.isfinite(thick).any() else 0.0
    for j in np.flatnonzero(np.isfinite(path.y)):
        top, bottom = int(path.top[j]), int(path.bottom[j])
        if thick[j] <= 2.0 * usual:
            ink[max(0, top - 2) : bottom + 3, j] = 0.0
    return replace(sheet, ink=ink)


def _threshold(ink: Plane) -> float:
    """Between paper and pen."""
    noise = float(np.quantile(ink[::2, ::2], 0.90))
    return float(np.clip(0.35 + 0.5 * noise, 0.35, 0.6))


@kernel
def _runs(
    ink: FloatArray, least: float
) -> tuple[IntArray, IntArray, IntArray, FloatArray, FloatArray, FloatArray]:
    """Runs of ink: where each column's begin in the lists; top, bottom, mass, and both edges to a
    part of a pixel."""
    height, width = ink.shape
    count = 0
    for j in range(width):
        inside = False
        for i in range(height):
            if ink[i, j] >= least:
                if not inside:
                    count += 1
                inside = True
            else:
                inside = False
    # As many at most: those paler than a pen are left out.
    first = np.zeros(width + 1, np.int64)
    top = np.zeros(count, np.int64)
    bottom = np.zeros(count, np.int64)
    mass = np.zeros(count)
    upper = np.zeros(count)
    lower = np.zeros(count)
    n = 0
    for j in range(width):
        first[j] = n
        i = 0
        while i < height:
            if ink[i, j] >= least:
                begin = i
                weight, darkest = 0.0, 0.0
                while i < height and ink[i, j] >= least:
                    weight += ink[i, j]
                    darkest = max(darkest, ink[i, j])
                    i += 1
                if darkest < LEAST_PEAK:
                    continue
                top[n], bottom[n] = begin, i - 1
                # The pale rims of the stroke tell its edges to a part of a pixel.
                upper[n], lower[n] = begin - 0.5, i - 0.5
                if begin > 0:
                    rim = ink[begin - 1, j]
                    weight += rim
                    upper[n] = begin - (ink[begin, j] - least) / (ink[begin, j] - rim)
                if i < height:
                    weight += ink[i, j]
                    lower[n] = i - 1 + (ink[i - 1, j] - least) / (ink[i - 1, j] - ink[i, j])
                mass[n] = weight
                n += 1
            else:
                i += 1
    first[width] = n
    return first, top[:n], bottom[:n], mass[:n], upper[:n], lower[:n]


def _radius(
    ink: FloatArray,
    chosen: IntArray,
    top: IntArray,
    bottom: IntArray,
    mass: FloatArray,
    least: float,
) -> float:
    """Half the pen's width, px: where it runs level or upright its stroke is as thick as it is."""
    columns = np.flatnonzero(chosen >= 0)
    run = chosen[columns]
    if not len(run):
        return 0.5
    along = _thickness(ink, columns, (top[run] + bottom[run]) // 2, least)
    return max(0.5, 0.5 * float(np.quantile(np.minimum(mass[run], along), PLAIN)))


@kernel
def _thickness(ink: FloatArray, columns: IntArray, rows: IntArray, least: float) -> FloatArray:
    """How thick the ink is along the row at some places, px; its pale rims count in part."""
    width = ink.shape[1]
    found = np.zeros(len(columns))
    for n in range(len(columns)):
        i = rows[n]
        for way in (-1, 1):
            j = columns[n] + (1 if way == 1 else 0)
            while 0 <= j < width and ink[i, j] >= least:
                found[n] += ink[i, j]
                j += way
            if 0 <= j < width:
                found[n] += ink[i, j]
    return found


@kernel
def middle(upper: FloatArray, lower: FloatArray, radius: float) -> FloatArray:
    """The way of the pen's point between the edges of its stroke, px, NaN where none was.

    A round pen widens the way it goes to every side. Taken back by the same round, the upper edge
    tells the way but for valleys narrower than the pen, the lower edge but for such peaks (closing
    and opening: Serra J. Image analysis and mathematical morphology. 1982): between them it lies.
    Where the two part, it goes along the upper edge on peaks and along the lower one in valleys,
    and touches the edge where that stands out furthest of all within a pen's width.
    The stroke begins and ends a radius beyond the way.
    """
    width = len(upper)
    reach = int(radius)
    by_upper, by_lower = np.full(width, np.nan), np.full(width, np.nan)
    end = 0
    while end < width:
        start = end
        if np.isnan(upper[start]):
            end += 1
            continue
        end += 1
        # One stroke: each column's run touches the one before.
        while (
            end < width
            and not np.isnan(upper[end])
            and upper[end] <= lower[end - 1] + 1.0
            and upper[end - 1] <= lower[end] + 1.0
        ):
            end += 1
        # At the paper's rim, and where it jumps, it was not the pen that ended.
        cut = min(int(radius + 0.5), (end - start - 1) // 2)
        first = start + (cut if start > 0 and np.isnan(upper[start - 1]) else 0)
        last = end - (cut if end < width and np.isnan(upper[end]) else 0)
        for j in range(first, last):
            highest, lowest = -np.inf, np.inf
            for k in range(max(start, j - reach), min(end, j + reach + 1)):
                rise = np.sqrt(max(radius * radius - (k - j) ** 2, 0.0))
                highest = max(highest, upper[k] + rise)
                lowest = min(lowest, lower[k] - rise)
            by_upper[j], by_lower[j] = highest, lowest
    between = 0.5 * (by_upper + by_lower)
    found: FloatArray = between.copy()
    around = int(PEAK_REACH * radius)
    for j in range(width):
        if np.isnan(between[j]):
            continue
        total, seen = 0.0, 0
        for k in range(max(0, j - around), min(width, j + around + 1)):
            if not np.isnan(between[k]):
                total += between[k]
                seen += 1
        # Rows count downwards: a peak lies above what is around it by a lesser row.
        over = total / seen - between[j]
        half = 0.5 * abs(by_lower[j] - by_upper[j])
        found[j] -= min(max(PEAK_SHARE * over, -half), half)
        at_top, at_foot = True, True
        for k in range(max(0, j - around), min(width, j + around + 1)):
            at_top = at_top and not by_upper[k] < by_upper[j]
            at_foot = at_foot and not by_lower[k] > by_lower[j]
        if at_top and not at_foot:
            found[j] = min(by_upper[j], by_lower[j])
        elif at_foot and not at_top:
            found[j] = max(by_upper[j], by_lower[j])
    return found


PEAK_REACH, PEAK_SHARE = 2.0, 0.5
"""A peak or a valley of a stroke stands out of its mean over so many of the pen's radii to either
side, and by so much of that the way goes on towards the edge that tells it, never beyond. Chosen on
six scans at 1 cm/min: there the band that the middle alone shows is 0.83 of the true one, so 0.93,
and on six others 0.83 and 0.99; at 3 cm/min 0.96 and 1.01 (ours). On fifteen others at 1 cm/min,
of coarser pens, the minute's bandwidth was 0.91 of the true one; with its furthest places told by
the edge it is 0.93, and 0.94 is what so few samples a second can tell (ours)."""


@kernel
def _cheapest(
    first: IntArray, top: IntArray, bottom: IntArray, mass: FloatArray, height: float
) -> IntArray:
    """The run of every column on the cheapest path, -1 where it takes none."""
    width = len(first) - 1
    count = len(top)
    cost = np.full(count, np.inf)
    before = np.full(count, -1, np.int64)
    # The best way to be off the ink at a column, and the last run before it went off.
    off = np.zeros(width + 1)
    off_from = np.full(width + 1, -1, np.int64)
    for j in range(width):
        for n in range(first[j], first[j + 1]):
            # A start out of nothing, or out of a gap.
            start = off[j] + 0.5 * JUMP_COST
            if off_from[j] >= 0:
                m = off_from[j]
                away = abs(0.5 * (top[n] + bottom[n]) - 0.5 * (top[m] + bottom[m])) / height
                start = off[j] + away / REACH * 0.25
            best, link = start, off_from[j]
            if j > 0:
                for m in range(first[j - 1], first[j]):
                    apart = max(top[n] - bottom[m], top[m] - bottom[n])
                    step = cost[m]
                    if apart > 1:
                        step += JUMP_COST + apart / height / REACH
                    if step < best:
                        best, link = step, m
            cost[n] = best
            before[n] = link
        best, link = off[j] + GAP_COST, off_from[j]
        for n in range(first[j], first[j + 1]):
            if cost[n] + GAP_COST + 1.0 < best:
                best, link = cost[n] + GAP_COST + 1.0, n
        off[j + 1] = best
        off_from[j + 1] = link
    chosen = np.full(width, -1, np.int64)
    at = off_from[width]
    least = off[width]
    for n in range(first[width - 1], first[width]):
        if cost[n] < least:
            least, at = cost[n], n
    column = np.zeros(count, np.int64)
    for j in range(width):
        for n in range(first[j], first[j + 1]):
            column[n] = j
    while at >= 0:
        chosen[column[at]] = at
        at = before[at]
    return chosen
