"""The papers of a picture, each laid flat, and refused where its lines cannot be followed."""

from __future__ import annotations

import warnings
from dataclasses import dataclass, replace
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from ebbline.errors import RecordingError
from ebbline.recording.paper.corners import Corners, plain_warp, straight_by
from ebbline.recording.paper.figures import Printed
from ebbline.recording.paper.flatten import Image, Light, Plane, light_of, shrunk_darkness
from ebbline.recording.paper.lattice import (
    PEN_MARK,
    Comb,
    comb,
    even_ridges,
    pen_free,
    period_of,
)
from ebbline.recording.paper.panels import Region, drawn_lines, regions
from ebbline.recording.paper.perspective import Matrix, framed, straightening
from ebbline.recording.paper.rectify import (
    Flat,
    Strays,
    Warp,
    creased,
    flattened,
    followed_again,
    strays,
)

FloatArray = NDArray[np.float64]
Rim = tuple[FloatArray | None, FloatArray | None]
"""For every column of the straightened picture, the row above which, and below which, another
paper begins; None where there is none."""

LONG = 3600
"""Longer side of the picture on which lines are followed, px (ours)."""
FINE = 14.0
"""So many px lie between lines there where the picture has more (ours)."""
MARGIN_LINES = 6.0
"""Level lines' worth of paper left free beside the grid, where the numbers stand."""
JUMPED = 0.8
"""A level line that so suddenly changes its slope, lines a line, goes on as another (ours)."""
MOST_BEND = 0.12
"""Lines by which the followed lines may still stray at the end (ours)."""
WIDENED = 5
"""So often is a paper looked for beyond where it was first seen (ours)."""
OFF_CORNER = 0.7
"""Lines by which two corners of one side may lie apart (ours)."""
PEN_DARK, MOST_PEN, PEN_SHARE = 0.75, 0.05, 0.1
"""The pen is so dark, as a share of the darkest there is; covers no more of a picture than this;
and makes a smaller picture's pixel its own from such a share of it (ours)."""
MOST_FINER = 3.5
"""So many times finer than without the pen a comb may be (ours)."""
LEAST_HEART = 0.6
"""So tall, as a share of the tallest paper, is the heart rate's at least (ours)."""
SAME_TALL = 0.8
"""So tall, as a share of the first heart-rate paper, is that of another strip (ours)."""
SAME_COMB = 0.02
"""Share by which two distances of the same comb may differ (ours)."""
BESIDE = 2.2
"""So many lines may a paper's picture hold beyond its outermost ones (ours)."""
UNEVEN = 0.3
"""Share by which the distance of two lines may differ from that of their neighbours (ours)."""


@dataclass(frozen=True, slots=True, eq=False)
class Paper:
    """One paper laid flat.

    lines: first and last upright, first and last level line. wide, tall: px between two upright
    and two level lines of the straightened picture. followed: whether those are the printed lines;
    else the paper is parted evenly between four corners. times: numbers along it that may be times.
    quarters: turns to the left by which the picture was turned to be read. strips: how many stand
    on it, one below the other. strays: what its level lines stray by when laid flat, None where
    they were not followed.
    """

    flat: Flat
    lines: tuple[int, int, int, int]
    wide: float
    tall: float
    warp: Warp
    followed: bool = True
    times: tuple[Printed, ...] = ()
    quarters: int = 0
    strips: int = 1
    strays: Strays | None = None
    inverted: bool = False
    one_bit: bool = False


def unread(what: str, where: str) -> RecordingError:
    """The error for a picture that cannot be read."""
    return RecordingError(
        what,
        where=where,
        remedy="Photograph the whole strip from above in even light, or scan it at 300 dpi.",
    )


class NoStripError(RecordingError):
    """A picture on which no grid is seen at all: a page of words, a blank one."""


def _no_strip(what: str, where: str) -> NoStripError:
    return NoStripError(what, where=where, remedy=unread(what, where).remedy)


def papers_of(
    image: Image, where: str, corners: Corners | None = None, strip: int = 0
) -> list[Paper]:
    """The papers with a grid of one strip: the heart rate's, then the activity's.

    corners: of the heart-rate grid where a person has told them, px, clockwise from the upper left;
    else strip: which of the strips on the picture, from above downwards. Raises RecordingError
    where there is none.
    """
    light = light_of(image)
    straight, ink, period = _straightened(image, light, where, corners)
    found = regions(ink, period)
    if not found:
        raise _no_strip("no paper with a grid was found on this picture.", where)
    # Rows of words above the strip may look like a low paper; the heart rate's is the highest one.
    tallest = max(one.bottom - one.top for one in found)
    while found[0].bottom - found[0].top < LEAST_HEART * tallest:
        found = found[1:]
    if corners is not None:
        told = _within(straight, corners, ink.shape)
        found = found[max(range(len(found)), key=lambda n: float((found[n].mask * told).sum())) :]
        rows = np.flatnonzero(told.any(axis=1))
        found[0] = Region(told, float(rows[0]), float(rows[-1]))
    parted = [_between(upper, lower) for upper, lower in pairwise(found)]
    rims = [(None, *parted), (*parted, None)]
    within = list(zip(*rims, strict=True))
    starts = _starts(found) if corners is None else [0]
    own = slice(starts[strip], (*starts, None)[strip + 1])
    found, within = found[own], within[own]
    free = pen_free(ink)
    lined = even_ridges(ink, 0, free), even_ridges(ink, 1, free)
    papers = [
        _paper(
            image, light, ink, lined, period, found[0], straight, where, within[0], corners=corners
        )
    ]
    for region, rim in zip(found[1:], within[1:], strict=True):
        try:
            other = _paper(
                image, light, ink, lined, period, region, straight, where, rim, papers[0]
            )
        except RecordingError:
            # The activity's paper, or a part of one: without it the heart rate can still be read.
            continue
        # A paper seen twice is not two papers.
        if _below(papers[-1], other):
            papers.append(other)
    papers[0] = replace(papers[0], strips=len(starts))
    return papers


def _starts(found: list[Region]) -> list[int]:
    """Which of the regions, from above downwards, are heart-rate papers: each begins a strip.

    Of one or two papers the first alone is; the activity's may be as tall.
    """
    tall = [one.bottom - one.top for one in found]
    more = [n for n in range(1, len(found)) if tall[n] > SAME_TALL * tall[0]]
    return [0, *(more if len(found) > 2 else [])]


def _between(upper: Region, lower: Region) -> FloatArray:
    """For every column the row midway between two papers, NaN where they are not told."""
    rows = len(upper.mask)
    last = rows - 1.0 - (upper.mask[::-1] > 0).argmax(axis=0)
    first = (lower.mask > 0).argmax(axis=0).astype(float)
    there = upper.mask.any(axis=0) & lower.mask.any(axis=0)
    return np.where(there, (last + first) / 2, np.nan)


def _own(warp: Warp, lines: tuple[int, int, int, int], rim: Rim) -> tuple[int, int, int, int]:
    """The same without level lines that lie beyond the midway to another paper: those are its."""
    first, last, top, bottom = lines
    u, v = np.meshgrid(np.linspace(first, last, 25), np.arange(top, bottom + 1.0))
    x, y = warp.places(u, v)
    own = np.ones(len(v), bool)
    for edge, way in zip(rim, (1, -1), strict=True):
        if edge is not None:
            column = np.clip(np.round(x).astype(int), 0, len(edge) - 1)
            away = way * (y - edge[column])
            told = np.isfinite(away)
            inside = np.where(told, away > 0, True)
            own &= inside.mean(axis=1) > 0.5
    kept = np.flatnonzero(own)
    if len(kept) < 2:
        return lines
    return first, last, top + int(kept[0]), top + int(kept[-1])


def cornered(image: Image, corners: Corners, across: int, down: int) -> Paper:
    """The paper between four corners, whatever lines are printed on it.

    across, down: into how many lines it is parted evenly.
    """
    light = light_of(image)
    warp = plain_warp(corners, across, down)
    beside = max(1.0, 0.04 * across)
    flat = flattened(warp, image, light, (-beside, across + beside, -0.6, down + 0.6))
    return Paper(flat, (0, across, 0, down), 1.0, 1.0, warp, followed=False)


def _within(straight: Matrix, corners: Corners, shape: tuple[int, ...]) -> Plane:
    """1 inside the four corners on the straightened picture, and a little beyond."""
    at = cv2.perspectiveTransform(np.array([corners], np.float64), straight)[0]
    mask = np.zeros(shape[:2], np.uint8)
    cv2.fillPoly(mask, [np.round(at).astype(np.int32)], 1)
    found: Plane = cv2.dilate(mask, np.ones((5, 5), np.uint8)).astype(np.float32)
    return found


def _below(upper: Paper, lower: Paper) -> bool:
    """Whether one paper ends above where another begins."""
    ends = []
    for paper, line in ((upper, upper.lines[3]), (lower, lower.lines[2])):
        middle = (paper.lines[0] + paper.lines[1]) / 2
        _, y = paper.warp.places(np.array([middle]), np.array([float(line)]))
        ends.append(float(y[0]))
    return ends[0] < ends[1] + 0.3 * upper.tall


def _straightened(
    image: Image, light: Light, where: str, corners: Corners | None
) -> tuple[Matrix, Plane, float]:
    """From the original picture to a small straight one; that one's ink; its upright period."""
    height, width = image.shape[:2]
    shrink = max(1.0, max(height, width) / LONG)
    size = (round(width / shrink), round(height / shrink))
    small = shrunk_darkness(image, light, size)
    smaller = _resized(size[0] / width, size[1] / height)
    if corners is None:
        found = straightening(small)
    else:
        at = cv2.perspectiveTransform(np.array([corners], np.float64), smaller)[0]
        found = straight_by(at)
    if found is None:
        raise _no_strip("no grid was found on this picture.", where)
    straight, wide, tall = framed(found, *size)
    ink = cv2.warpPerspective(small, straight, (wide, tall))
    # Centres of pixels, not corners, are what a size change keeps apart.
    straight = straight @ smaller
    free = pen_free(ink)
    period, level = _period(ink, 1, free), _period(ink, 0, free)
    if period is None:
        raise _no_strip("the grid's upright lines were not found on this picture.", where)
    finest = min(period, level or period)
    if finest > 1.4 * FINE:
        less = FINE / finest
        less_wide, less_tall = round(wide * less), round(tall * less)
        pen = cv2.resize(_pen(ink), (less_wide, less_tall), interpolation=cv2.INTER_AREA)
        ink = cv2.resize(ink, (less_wide, less_tall), interpolation=cv2.INTER_AREA)
        ink = np.where(pen > PEN_SHARE, np.float32(PEN_MARK), ink)
        straight = _resized(less_wide / wide, less_tall / tall) @ straight
        period *= less_wide / wide
    return straight, ink, period


def _pen(ink: Plane) -> Plane:
    """1 where the picture is about as dark as it can be: pen and print, where the lines are paler.

    Told before the picture shrinks: a thin pen becomes as pale as the lines then, and its upright
    strokes pull them.
    """
    darkest = float(np.quantile(ink[::2, ::2], 0.999))
    pen: Plane = (ink > PEN_DARK * darkest).astype(np.float32)
    # A grid as dark as the pen covers much more.
    return pen if pen.mean() < MOST_PEN else np.zeros_like(pen)


def _period(ink: Plane, axis: int, free: Plane) -> float | None:
    """Distance of the lines that cross an axis of the whole picture, px.

    On faint paper the rims of pen and print can look like a comb many times finer than the lines;
    no paper has so many faint lines to each that is seen when the pen is left out.
    """
    found, calm = period_of(ink, axis), period_of(ink, axis, even=True, free=free)
    if found is None or calm is None:
        return found
    times = round(calm / found)
    finer = 1 < times < MOST_FINER and abs(calm / found / times - 1) < SAME_COMB
    coarser = abs(found / calm - 1) < SAME_COMB
    return found if finer or coarser else calm


def _resized(across: float, down: float) -> Matrix:
    return np.array(
        [[across, 0, (across - 1) / 2], [0, down, (down - 1) / 2], [0, 0, 1]], dtype=np.float64
    )


def _paper(
    image: Image,
    light: Light,
    ink: Plane,
    lined: tuple[Plane, Plane],
    across: float,
    region: Region,
    straight: Matrix,
    where: str,
    rim: Rim,
    above: Paper | None = None,
    corners: Corners | None = None,
) -> Paper:
    if above is not None:
        region = _lined(region, ink, above)
    # Of this paper alone: what lies around it has phases of its own.
    upright = comb(lined[1], 1, across, region.mask)
    top, bottom = max(0, int(region.top)), int(region.bottom) + 1
    band = (ink * region.mask)[top:bottom]
    period = period_of(band, 0, even=True) or period_of(band, 0) or upright.period
    level = comb(lined[0], 0, period, region.mask)
    warp = Warp(upright, level, straight)
    box = _around(upright, level, region)
    found = None
    for _ in range(WIDENED):
        warp = replace(warp, bends=())
        for _ in range(2):
            bend = followed_again(warp, ink, box)
            if not (np.isfinite(bend.across).all() and np.isfinite(bend.down).all()):
                raise unread("the grid's lines could not be followed over the whole paper.", where)
            warp = replace(warp, bends=(*warp.bends, bend))
        warp = replace(warp, bends=(*warp.bends, creased(warp, ink, box)))
        uprights = None
        if above is not None:
            uprights = _below_uprights(warp, box, above)
            box = min(box[0], uprights[0] - 1.0), max(box[1], uprights[1] + 1.0), box[2], box[3]
        found = drawn_lines(warp.small(ink, box), box, uprights)
        if found is None:
            break
        found = _own(warp, found, rim)
        wider = _wider(box, found)
        if wider == box:
            break
        # The paper goes on beyond what was looked at.
        box, found = wider, None
    if found is None:
        raise unread("the grid's lines could not be followed over the whole paper.", where)
    if above is not None and max(box[3] - found[3], found[2] - box[2]) > BESIDE:
        # Words and bars below the paper have pulled its lines.
        near = _narrowed(region, warp, found)
        if near.bottom - near.top < 0.9 * (region.bottom - region.top):
            return _paper(image, light, ink, lined, across, near, straight, where, rim, above)
    if corners is not None:
        lines = _told(warp, corners, where)
    else:
        lines = _trimmed(warp, found) if above is None else found
    _check_followed(warp, ink, lines, where)
    _check_even(warp, lines, where)
    left = strays(warp, ink, (lines[0], lines[1], lines[2], lines[3]))
    if left.bend.max() > JUMPED:
        raise unread(
            "its level lines jump by a line: where the paper is folded or curled one was taken for "
            "its neighbour.",
            where,
        )
    return replace(_laid(image, light, warp, lines), strays=left)


def turning(height: int, width: int, quarters: int) -> Matrix:
    """From a picture to the same turned to the left by so many quarters: places, shape (3, 3).

    height, width: of the picture, px.
    """
    if quarters == 1:
        return np.array([[0, 1, 0], [-1, 0, width - 1], [0, 0, 1]], np.float64)
    if quarters == 3:
        return np.array([[0, -1, height - 1], [1, 0, 0], [0, 0, 1]], np.float64)
    return np.array([[-1, 0, width - 1], [0, -1, height - 1], [0, 0, 1]], np.float64)


def turned(paper: Paper, to: Matrix, quarters: int) -> Paper:
    """A paper found on a turned picture, as one of the picture itself. to: see `turning`."""
    back = np.linalg.inv(to)
    flat = paper.flat
    x, y = ((row[0] * flat.x + row[1] * flat.y + row[2]).astype(np.float32) for row in back[:2])
    return replace(
        paper,
        flat=replace(flat, x=x, y=y),
        warp=replace(paper.warp, straight=paper.warp.straight @ to),
        quarters=quarters,
    )


def relined(image: Image, paper: Paper, top: int, bottom: int) -> Paper:
    """The same paper between other level lines."""
    lines = (paper.lines[0], paper.lines[1], top, bottom)
    laid = _laid(image, light_of(image), paper.warp, lines)
    return replace(laid, quarters=paper.quarters, strays=paper.strays)


def _laid(image: Image, light: Light, warp: Warp, lines: tuple[int, int, int, int]) -> Paper:
    beside = MARGIN_LINES * warp.level.period / warp.upright.period
    flat = flattened(
        warp,
        image,
        light,
        (lines[0] - beside, lines[1] + beside, lines[2] - 0.6, lines[3] + 0.6),
    )
    wide, tall = _spacing(warp, lines)
    return Paper(flat, lines, wide, tall, warp)


def _lined(region: Region, ink: Plane, above: Paper) -> Region:
    """The region down to where the uprights of the paper above it are seen last.

    Bars and rows of words below the strip hold lines too, but not where its own would stand.
    """
    top, bottom = int(max(0.0, region.top)), int(region.bottom) + 1
    band = cv2.blur(ink[top:bottom], (1, 3))
    free = np.where(pen_free(ink[top:bottom]) > 0, band, np.nan)
    u = np.arange(above.lines[0] + 1.0, above.lines[1])
    x, _ = above.warp.places(u, np.full(len(u), float(above.lines[3])))
    apart = float(np.median(np.diff(x)))

    def at(shift: float) -> FloatArray:
        columns = np.clip(np.round(x + shift).astype(int), 0, ink.shape[1] - 1)
        return np.asarray(free[:, columns], np.float64)

    on = np.fmax(np.fmax(at(0.0), at(-1.0)), at(1.0))
    darker = on - (at(-0.35 * apart) + at(0.35 * apart)) / 2
    with warnings.catch_warnings():
        # Parts that ink covers whole have no median.
        warnings.simplefilter("ignore", RuntimeWarning)
        parts = np.array([np.nanmedian(one, axis=1) for one in np.array_split(darker, 6, axis=1)])
        usual = float(np.nanmedian(parts[:, : max(1, len(band) // 2)]))
    seen = np.flatnonzero((parts > 0.4 * usual).sum(axis=0) >= 3)
    if not len(seen) or not usual > 0:
        return region
    last = top + int(seen[-1]) + 0.12 * apart
    mask = region.mask * (np.arange(len(region.mask))[:, None] <= last)
    return Region(mask.astype(np.float32), region.top, min(region.bottom, last))


def _narrowed(region: Region, warp: Warp, lines: tuple[int, int, int, int]) -> Region:
    """The region between a paper's outermost lines alone, and a little beyond."""
    u = np.linspace(lines[0], lines[1], 60)
    columns, rows = np.arange(region.mask.shape[1]), np.arange(region.mask.shape[0])[:, None]
    upper, lower = (
        np.interp(columns, *warp.places(u, np.full(len(u), line)))
        for line in (lines[2] - 0.6, lines[3] + 0.6)
    )
    mask = region.mask * ((rows >= upper) & (rows <= lower))
    return Region(mask.astype(np.float32), float(upper.min()), float(lower.max()))


def _told(warp: Warp, corners: Corners, where: str) -> tuple[int, int, int, int]:
    """The outermost lines that four corners stand on. Raises RecordingError where they do not."""
    at = np.array(corners, np.float64)
    u, v = warp.numbers(at[:, 0], at[:, 1])
    ends = np.array([u[[0, 3]], u[[1, 2]], v[[0, 1]], v[[2, 3]]])
    if np.ptp(ends, axis=1).max() > OFF_CORNER:
        raise unread("the grid was followed to other lines at one corner than at the other.", where)
    first, last, top, bottom = (round(float(one)) for one in ends.mean(axis=1))
    return first, last, top, bottom


def _below_uprights(
    warp: Warp, box: tuple[float, float, float, float], above: Paper
) -> tuple[int, int]:
    """The uprights of a paper that begins and ends with the one above it, as one strip's papers do.

    They stand one below the other on the straightened picture, whatever their numbers.
    """
    middle, level = round((box[0] + box[1]) / 2), (box[2] + box[3]) / 2
    here, _ = warp.places(np.array([float(middle)]), np.array([level]))
    u = np.arange(above.lines[0], above.lines[1] + 1.0)
    there, _ = above.warp.places(u, np.full(len(u), float(above.lines[3])))
    first = middle - int(np.abs(there - here[0]).argmin())
    return first, first + above.lines[1] - above.lines[0]


def _wider(
    box: tuple[float, float, float, float], lines: tuple[int, int, int, int]
) -> tuple[float, float, float, float]:
    """The same box, or a wider one where the outermost lines stand at its edge."""
    return (
        box[0] - 6.0 if lines[0] - box[0] < 1.6 else box[0],
        box[1] + 6.0 if box[1] - lines[1] < 1.6 else box[1],
        box[2] - 3.0 if lines[2] - box[2] < 0.9 else box[2],
        box[3] + 3.0 if box[3] - lines[3] < 0.9 else box[3],
    )


def _around(upright: Comb, level: Comb, region: Region) -> tuple[float, float, float, float]:
    """Line numbers a little beyond a paper's edges: upright, then level ones."""
    x = np.flatnonzero(region.mask.any(axis=0))[::4]
    mask = region.mask[:, x] > 0
    upper = mask.argmax(axis=0).astype(float)
    lower = len(mask) - 1.0 - mask[::-1].argmax(axis=0)
    middle = (upper + lower) / 2
    u = upright.at(x.astype(float), middle)
    above, below = level.at(x.astype(float), upper), level.at(x.astype(float), lower)
    return (
        float(np.floor(u.min()) - 3.0),
        float(np.ceil(u.max()) + 3.0),
        float(np.round(np.median(above)) - 1.5),
        float(np.round(np.median(below)) + 1.5),
    )


def _check_followed(warp: Warp, ink: Plane, lines: tuple[int, int, int, int], where: str) -> None:
    """Refuse a paper whose lines still stray when it has been laid flat."""
    left = followed_again(warp, ink, (lines[0], lines[1], lines[2], lines[3]))
    for bend, seen in zip((left.across, left.down), left.strength, strict=True):
        clear = seen > 0.5 * np.quantile(seen, 0.9)
        if not clear.any() or np.quantile(np.abs(bend[clear]), 0.98) > MOST_BEND:
            raise unread("the grid could not be followed over the whole paper.", where)


def _check_even(warp: Warp, lines: tuple[int, int, int, int], where: str) -> None:
    """Refuse a paper on which two neighbouring lines lie much closer, or farther, than the others.

    There a line was lost or counted twice: every value and time beyond would be wrong.
    """
    u, v = np.meshgrid(
        np.arange(lines[0], lines[1] + 1.0), np.linspace(lines[2] + 0.5, lines[3] - 0.5, 5)
    )
    x, y = warp.places(u, v)
    _even(np.hypot(np.diff(x, axis=1), np.diff(y, axis=1)), "upright", where)
    v, u = np.meshgrid(
        np.arange(lines[2], lines[3] + 1.0), np.linspace(lines[0] + 0.5, lines[1] - 0.5, 25)
    )
    x, y = warp.places(u, v)
    _even(np.hypot(np.diff(x, axis=1), np.diff(y, axis=1)), "level", where)


def _even(apart: FloatArray, which: str, where: str) -> None:
    near = _near(apart)
    if np.abs(apart / near - 1).max() > UNEVEN:
        raise unread(f"the {which} lines stand unevenly: one may be hidden.", where)


def _near(apart: FloatArray) -> FloatArray:
    """The usual distance around each distance of two lines."""
    columns = range(apart.shape[1])
    rows = [np.median(apart[:, max(0, n - 4) : n + 5], axis=1) for n in columns]
    found: FloatArray = np.array(rows).T
    return found


def _trimmed(warp: Warp, lines: tuple[int, int, int, int]) -> tuple[int, int, int, int]:
    """The same lines without an outermost one that is the next one seen twice."""
    first, last, top, bottom = lines
    u, v = np.meshgrid(np.arange(first, last + 1.0), np.linspace(top + 0.5, bottom - 0.5, 5))
    x, y = warp.places(u, v)
    apart = np.hypot(np.diff(x, axis=1), np.diff(y, axis=1))
    share = np.median(apart / _near(apart), axis=0)
    return (
        first + int(share[0] < 1 - UNEVEN),
        last - int(share[-1] < 1 - UNEVEN),
        top,
        bottom,
    )


def _spacing(warp: Warp, lines: tuple[int, int, int, int]) -> tuple[float, float]:
    """Distance of upright and of level lines in the middle of the straightened paper, px."""
    u, v = np.array([(lines[0] + lines[1]) / 2]), np.array([(lines[2] + lines[3]) / 2])
    a, b = warp.places(u - 2, v), warp.places(u + 2, v)
    c, d = warp.places(u, v - 2), warp.places(u, v + 2)
    return (
        float(np.hypot(b[0] - a[0], b[1] - a[1])[0]) / 4,
        float(np.hypot(d[0] - c[0], d[1] - c[1])[0]) / 4,
    )
