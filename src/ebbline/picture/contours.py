"""Level lines of a grid as closed loops, for filled maps (marching squares)."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from ebbline.picture.canvas import Points

FloatArray = NDArray[np.float64]

# For each pattern of corners above the level (1 lower left, 2 lower right, 4 upper right, 8 upper
# left): the edges a line joins, walked with the higher ground on the left. Edges: 0 lower,
# 1 right, 2 upper, 3 left. Saddles (5, 10) keep the high corners apart.
_JOINS: dict[int, tuple[tuple[int, int], ...]] = {
    1: ((0, 3),),
    2: ((1, 0),),
    3: ((1, 3),),
    4: ((2, 1),),
    5: ((0, 3), (2, 1)),
    6: ((2, 0),),
    7: ((2, 3),),
    8: ((3, 2),),
    9: ((0, 2),),
    10: ((1, 0), (3, 2)),
    11: ((1, 2),),
    12: ((3, 1),),
    13: ((0, 1),),
    14: ((3, 0),),
}

Edge = tuple[int, int, int]
"""Row, column and direction (0 along the columns, 1 along the rows) of a cell's edge."""


def loops(x: FloatArray, y: FloatArray, values: FloatArray, level: float) -> list[Points]:
    """Closed loops around the ground above a level.

    x: shape (m,), y: shape (n,), rising; values: shape (n, m). Ground outside the grid counts as
    below the level, so that every loop closes. Each loop has shape (k, 2), first point not
    repeated. Source of the method: marching squares (Maple 2003; common practice in plotting).
    """
    low = min(float(values.min()), level) - max(abs(level), 1e-12)
    grid = np.pad(values, 1, constant_values=low)
    xs = np.concatenate([[2 * x[0] - x[1]], x, [2 * x[-1] - x[-2]]])
    ys = np.concatenate([[2 * y[0] - y[1]], y, [2 * y[-1] - y[-2]]])
    high = grid >= level
    pattern = high[:-1, :-1] + 2 * high[:-1, 1:] + 4 * high[1:, 1:] + 8 * high[1:, :-1]
    follow: dict[Edge, Edge] = {}
    for row, column in np.argwhere((pattern > 0) & (pattern < 15)).tolist():
        edges: tuple[Edge, ...] = (
            (row, column, 0),
            (row, column + 1, 1),
            (row + 1, column, 0),
            (row, column, 1),
        )
        for start, end in _JOINS[int(pattern[row, column])]:
            follow[edges[start]] = edges[end]
    return [_points(loop, xs, ys, grid, level) for loop in _walks(follow)]


def _walks(follow: dict[Edge, Edge]) -> list[list[Edge]]:
    found = []
    while follow:
        start, at = follow.popitem()
        loop = [start]
        while at != start:
            loop.append(at)
            at = follow.pop(at)
        found.append(loop)
    return found


def _points(
    loop: list[Edge], xs: FloatArray, ys: FloatArray, grid: FloatArray, level: float
) -> Points:
    made = []
    for row, column, direction in loop:
        other = (row, column + 1) if direction == 0 else (row + 1, column)
        a, b = float(grid[row, column]), float(grid[other])
        share = (level - a) / (b - a)
        x = xs[column] + share * (xs[other[1]] - xs[column])
        y = ys[row] + share * (ys[other[0]] - ys[row])
        made.append((x, y))
    return np.array(made, dtype=np.float64)
