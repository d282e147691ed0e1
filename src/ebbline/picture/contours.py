"""Level lines of a grid as closed loops, for filled maps."""

from __future__ import annotations

import contourpy
import numpy as np
from numpy.typing import NDArray

from ebbline.picture.canvas import Points

FloatArray = NDArray[np.float64]


def loops(x: FloatArray, y: FloatArray, values: FloatArray, level: float) -> list[Points]:
    """Closed loops around the ground above a level, the higher ground on their left.

    x: shape (m,), y: shape (n,), rising; values: shape (n, m). Ground outside the grid counts as
    below the level, so that every loop closes. Each loop has shape (k, 2), first point not
    repeated. The library's lines are those of marching squares.
    """
    low = min(float(values.min()), level) - max(abs(level), 1e-12)
    grid = np.pad(values, 1, constant_values=low)
    xs = np.concatenate([[2 * x[0] - x[1]], x, [2 * x[-1] - x[-2]]])
    ys = np.concatenate([[2 * y[0] - y[1]], y, [2 * y[-1] - y[-2]]])
    lines = contourpy.contour_generator(xs, ys, grid, name="serial").lines(level)
    return [np.asarray(line, dtype=np.float64)[:-1] for line in lines if len(line) > 3]
