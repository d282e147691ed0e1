"""A paper laid flat: from line numbers back to places of the picture."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from ebbline.recording.paper.flatten import Image, Light, Plane, darkness
from ebbline.recording.paper.lattice import (
    Comb,
    Field,
    demodulated,
    even_ridges,
    pen_free,
    running_median,
    sampled,
    smoothed,
    trusted,
    unwrapped,
)
from ebbline.recording.paper.perspective import Matrix

_ROUNDS, _SETTLED = 8, 0.002
"""Most rounds in which a place is found, px by which the last one moves it (ours)."""
_NODE, _FAR_NODE = 8, 16
"""px between places that are sought, on the straightened picture and on the original (ours)."""
_PER_LINE = 12
"""px a line of the small flat paper on which the lines are followed once more (ours)."""


_CALM_LINES = 13
_ODD_TURN = 2 * np.pi * 0.06
"""An upright line so far from where its neighbours, so many, tell it counts as not seen (ours)."""


@dataclass(frozen=True, slots=True, eq=False)
class Bend:
    """How far the true line numbers lie from the followed ones, told on nodes of the flat paper.

    left, top: line numbers of the first node; step: lines between nodes. across, down: what is to
    be added to the number of an upright and of a level line. strength: of each, 0..1.
    """

    left: float
    top: float
    step: float
    across: Field
    down: Field
    strength: tuple[Field, Field]

    def at(self, u: Field, v: Field) -> tuple[Field, Field]:
        """What is to be added at line numbers u (upright) and v (level)."""
        column, row = (u - self.left) / self.step, (v - self.top) / self.step
        column = np.clip(column, 0, self.across.shape[1] - 1)
        row = np.clip(row, 0, self.across.shape[0] - 1)
        return sampled(self.across, column, row), sampled(self.down, column, row)


@dataclass(frozen=True, slots=True, eq=False)
class Warp:
    """Where on the straightened picture two line numbers meet, and on the original one.

    straight: from the original picture to the straightened one, which the combs are of.
    """

    upright: Comb
    level: Comb
    straight: Matrix
    bends: tuple[Bend, ...] = ()

    def places(self, u: Field, v: Field) -> tuple[Field, Field]:
        """Places on the straightened picture, px (fixed-point iteration)."""
        for bend in reversed(self.bends):
            add_u, add_v = bend.at(u, v)
            add_u, add_v = bend.at(u - add_u, v - add_v)
            u, v = u - add_u, v - add_v
        x, y = u * self.upright.period, v * self.level.period
        for _ in range(_ROUNDS):
            right = (u - self.upright.at(x, y)) * self.upright.period
            x = x + right
            down = (v - self.level.at(x, y)) * self.level.period
            y = y + down
            if max(np.abs(right).max(initial=0), np.abs(down).max(initial=0)) < _SETTLED:
                break
        return x, y

    def original(self, u: Field, v: Field) -> tuple[Field, Field]:
        """Places on the original picture, px."""
        x, y = self.places(u, v)
        back = np.linalg.inv(self.straight)
        depth = back[2, 0] * x + back[2, 1] * y + back[2, 2]
        return (
            (back[0, 0] * x + back[0, 1] * y + back[0, 2]) / depth,
            (back[1, 0] * x + back[1, 1] * y + back[1, 2]) / depth,
        )

    def numbers(self, x: Field, y: Field) -> tuple[Field, Field]:
        """Line numbers, upright and level, at places of the original picture, px."""
        to = self.straight
        depth = to[2, 0] * x + to[2, 1] * y + to[2, 2]
        across = (to[0, 0] * x + to[0, 1] * y + to[0, 2]) / depth
        down = (to[1, 0] * x + to[1, 1] * y + to[1, 2]) / depth
        u, v = self.upright.at(across, down), self.level.at(across, down)
        for bend in self.bends:
            add_u, add_v = bend.at(u, v)
            u, v = u + add_u, v + add_v
        return u, v

    def small(self, ink: Plane, lines: tuple[float, float, float, float]) -> Plane:
        """The straightened picture laid flat between lines, `_PER_LINE` px a line.

        lines: first and last upright, first and last level line.
        """
        columns = np.arange(round((lines[1] - lines[0]) * _PER_LINE) + 1)
        rows = np.arange(round((lines[3] - lines[2]) * _PER_LINE) + 1)
        x, y = _filled(
            self.places,
            (lines[0], lines[2]),
            (1 / _PER_LINE, 1 / _PER_LINE),
            (len(columns), len(rows)),
        )
        return cv2.remap(ink, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)


def followed_again(warp: Warp, ink: Plane, lines: tuple[float, float, float, float]) -> Bend:
    """What is left of bends when the paper has been laid flat once.

    Lines are nearly straight there, so that each is looked at over a longer way than before.
    """
    laid = warp.small(ink, lines)
    free = pen_free(laid)
    wide, narrow = 3.0 * _PER_LINE, 0.9 * _PER_LINE
    step = _PER_LINE // 3
    found, seen = [], []
    for axis, spread in ((1, (narrow, wide)), (0, (wide, narrow))):
        lined = even_ridges(laid, axis, free)
        nodes, strong = demodulated(lined, axis, float(_PER_LINE), spread, step)
        strength = strong.astype(np.float64)
        phase = unwrapped(np.angle(nodes).astype(np.float64), strength)
        # The first pixel lies on a whole place of its own, not on a line.
        start = 2 * np.pi * (lines[0] if axis == 1 else lines[2])
        main = np.angle((nodes * np.exp(-1j * start)).sum())
        strength = strength * trusted(phase, strength)
        away = phase - start
        away = away - 2 * np.pi * np.round((np.median(away) - main) / (2 * np.pi))
        if axis == 1:
            # Time runs evenly on paper: what bends a few lines alone is a crease's shadow, a word.
            calm = running_median(away.T.copy(), 5).T.copy()
            usual = running_median(calm, _CALM_LINES * _PER_LINE // step | 1)
            strength = np.where(np.abs(away - usual) > _ODD_TURN, 0.0, strength)
        found.append(smoothed(away, strength, axis, _PER_LINE / step) / (2 * np.pi))
        seen.append(strength)
    return Bend(lines[0], lines[2], step / _PER_LINE, found[0], found[1], (seen[0], seen[1]))


@dataclass(frozen=True, slots=True, eq=False)
class Strays:
    """How far level lines stray at upright line numbers u, lines: the shift that all of them share,
    by how much they differ from it, and how sharply the paper was followed to bend there: the
    change of a level line's slope, in lines of height a line of width. seen: share of the column's
    height in which level lines stand clearly where they were followed."""

    u: Field
    shared: Field
    apart: Field
    bend: Field
    seen: Field


def strays(warp: Warp, ink: Plane, lines: tuple[float, float, float, float]) -> Strays:
    """What level lines still stray by on the paper laid flat, column by column.

    A pen pulls the one line that it crosses; paper that bends moves all of them. So what they share
    is told over a much shorter way than each alone.
    """
    laid = warp.small(ink, lines)
    lined = even_ridges(laid, 0, pen_free(laid))
    step = _PER_LINE // 3
    nodes, strong = demodulated(
        lined, 0, float(_PER_LINE), (_CREASE * _PER_LINE, 0.9 * _PER_LINE), step
    )
    away = np.angle(nodes * np.exp(-2j * np.pi * lines[2])).astype(np.float64) / (2 * np.pi)
    seen = np.where(strong > 0.5 * np.quantile(strong, 0.9), away, np.nan)
    told = np.isfinite(seen).sum(axis=0) >= _LEAST_TOLD
    columns = np.arange(seen.shape[1])
    u = lines[0] + columns * step / _PER_LINE
    share = np.isfinite(seen).mean(axis=0)
    level = np.full(len(u), (lines[2] + lines[3]) / 2)
    before, here, after = (warp.places(u + by, level)[1] for by in (-1.0, 0.0, 1.0))
    bend = np.abs(before - 2.0 * here + after) / warp.level.period
    if not told.any():
        return Strays(u, np.zeros(len(u)), np.zeros(len(u)), bend, share)
    middle = np.nanmedian(seen[:, told], axis=0)
    off = np.nanmedian(np.abs(seen[:, told] - middle), axis=0)
    shared, apart = (np.interp(columns, columns[told], one) for one in (middle, off))
    return Strays(u, shared, apart, bend, share)


def creased(warp: Warp, ink: Plane, lines: tuple[float, float, float, float]) -> Bend:
    """What is left of creases, and of curl at the rims, when the paper has been laid flat."""
    found = strays(warp, ink, lines)
    rows = round((lines[3] - lines[2]) * _PER_LINE) // (_PER_LINE // 3) + 1
    down = np.repeat(found.shared[None, :], rows, axis=0)
    strength = np.ones_like(down)
    step = (_PER_LINE // 3) / _PER_LINE
    return Bend(lines[0], lines[2], step, np.zeros_like(down), down, (strength, strength))


_CREASE = 0.5
"""Lines over which the shift that all level lines share is told (ours)."""
_LEAST_TOLD = 12
"""Nodes of a column on which the level lines must be seen (ours)."""


@dataclass(frozen=True, slots=True, eq=False)
class Flat:
    """One paper laid flat.

    left, top: line numbers (upright, level) at the flat picture's edge. across, down: px between
    two upright lines and two level ones. x, y: place in the original picture of every flat pixel.
    ink, black: darkness there, of any colour and of black alone. outside: where the original
    picture has nothing to show: no ink is told there.
    """

    left: float
    top: float
    across: float
    down: float
    x: Plane
    y: Plane
    ink: Plane
    black: Plane
    outside: NDArray[np.bool_]


def flattened(
    warp: Warp, image: Image, light: Light, lines: tuple[float, float, float, float]
) -> Flat:
    """Lay flat what lies between lines: (first upright, last upright, first level, last level).

    The flat paper has about as many pixels as the picture has, or as tell the pen's stroke.
    """
    first_u, last_u, first_v, last_v = lines
    across, down = _pixels(warp, lines)
    shrink = min(1.0, max(FINEST_LINE / down, FINEST_LINE / across))
    across, down = shrink * across, shrink * down
    width = max(8, int((last_u - first_u) * across))
    height = max(8, int((last_v - first_v) * down))
    x, y = _filled(
        warp.original,
        (first_u, first_v),
        (1 / across, 1 / down),
        (width, height),
        _FAR_NODE,
    )
    seen = _seen(image, x, y, shrink)
    ink, black = darkness(seen, light.at(x, y))
    tall, wide = image.shape[:2]
    outside = (x < -0.5) | (x > wide - 0.5) | (y < -0.5) | (y > tall - 0.5)
    # What stands at the picture's rim is not smeared on beyond it.
    ink[outside], black[outside] = 0.0, 0.0
    return Flat(first_u, first_v, across, down, x, y, ink, black, outside)


def _seen(image: Image, x: Plane, y: Plane, shrink: float) -> Image:
    """The picture at places of it, px. shrink: flat pixels for one of its own: finer pictures are
    made smaller first, so that each of their pixels counts."""
    if shrink < 1.0:
        tall, wide = image.shape[:2]
        left, top = (max(0, int(one.min()) - 2) for one in (x, y))
        right, foot = min(wide, int(x.max()) + 3), min(tall, int(y.max()) + 3)
        if right > left and foot > top:
            cut = image[top:foot, left:right]
            size = max(1, round((right - left) * shrink)), max(1, round((foot - top) * shrink))
            image = np.asarray(cv2.resize(cut, size, interpolation=cv2.INTER_AREA))
            # Centres of pixels, not corners, are what a size change keeps apart.
            half = np.float32(0.5)
            x = (x + half - np.float32(left)) * np.float32(size[0] / (right - left)) - half
            y = (y + half - np.float32(top)) * np.float32(size[1] / (foot - top)) - half
    found: Any = cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    seen: Image = found
    return seen


FINEST_LINE = 60.0
"""So many px between two lines, level or upright, tell the pen's stroke: 300 dpi where lines stand
half a centimetre apart (ours)."""


def _pixels(warp: Warp, lines: tuple[float, float, float, float]) -> tuple[float, float]:
    """Original pixels between two upright and two level lines, at the middle of the paper."""
    u = np.array([(lines[0] + lines[1]) / 2])
    v = np.array([(lines[2] + lines[3]) / 2])
    half = 0.5
    a, b = warp.original(u - half, v), warp.original(u + half, v)
    c, d = warp.original(u, v - half), warp.original(u, v + half)
    return (
        float(np.hypot(b[0] - a[0], b[1] - a[1])[0]),
        float(np.hypot(d[0] - c[0], d[1] - c[1])[0]),
    )


def _filled(
    places: Callable[[Field, Field], tuple[Field, Field]],
    first: tuple[float, float],
    step: tuple[float, float],
    size: tuple[int, int],
    node: int = _NODE,
) -> tuple[Plane, Plane]:
    """Every pixel's place from those of some nodes, `node` px apart.

    first: line numbers of the first pixel; step: lines a pixel; size: width and height, px.
    """
    columns = np.arange(0, size[0] + node, node)
    rows = np.arange(0, size[1] + node, node)
    u, v = np.meshgrid(first[0] + columns * step[0], first[1] + rows * step[1])
    across, down = np.meshgrid(
        np.arange(size[0], dtype=np.float32) / node, np.arange(size[1], dtype=np.float32) / node
    )
    x, y = (
        cv2.remap(
            one.astype(np.float32), across, down, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE
        )
        for one in places(u, v)
    )
    return x, y
