"""Uneven light taken out of a picture; ink as darkness from 0 (paper) to 1 (black)."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from ebbline.compiled import kernel

Image = NDArray[np.uint8]
"""Shape (height, width, 3), red, green, blue."""
Plane = NDArray[Any]
"""Shape (height, width), float32."""

_SMALL = 480
"""Longer side of the picture on which the light is measured, px (ours): ink is far smaller."""
_SPARSE = 8
"""The light is looked up once in so many pixels: it changes slowly (ours)."""


@dataclass(frozen=True, slots=True, eq=False)
class Light:
    """The paper's own brightness, as if nothing were written on it.

    paper: a small picture of it, shape (rows, columns, 3). size: width and height of the whole.
    """

    paper: NDArray[np.float32]
    size: tuple[int, int]

    def at(self, x: Plane, y: Plane) -> NDArray[np.float32]:
        """Brightness at every `_SPARSE` th of some places of the whole picture, px; shape and 3."""
        rows, columns = self.paper.shape[:2]
        wide, tall = self.size
        found: Any = cv2.remap(
            self.paper,
            ((x[::_SPARSE, ::_SPARSE] + 0.5) * (columns / wide) - 0.5).astype(np.float32),
            ((y[::_SPARSE, ::_SPARSE] + 0.5) * (rows / tall) - 0.5).astype(np.float32),
            cv2.INTER_LINEAR,
            borderMode=cv2.BORDER_REPLICATE,
        )
        bright: NDArray[np.float32] = found
        return bright


def light_of(image: Image) -> Light:
    """How brightly the paper is lit: what is left when all that is thin and dark is closed."""
    height, width = image.shape[:2]
    shrink = max(1.0, max(height, width) / _SMALL)
    size = (max(8, round(width / shrink)), max(8, round(height / shrink)))
    small: Any = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    reach = max(9, (min(size) // 12) | 1)
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    paper = cv2.morphologyEx(small, cv2.MORPH_CLOSE, kernel)
    paper = cv2.GaussianBlur(paper, (0, 0), reach / 2)
    return Light(np.maximum(paper.astype(np.float32), 8.0), (width, height))


def darkness(image: Image, light: NDArray[np.float32]) -> tuple[Plane, Plane]:
    """Ink of any colour, and ink that no lamp makes pale: black, as most pens write.

    light: the paper's brightness, shape of the picture, or fewer places spread evenly over it. The
    first is 1 less the darkest channel over the paper's light there: it shows every grid. The
    second takes the lightest channel: coloured grids all but vanish, black traces stay.
    """
    return _darkness(image, light)


@kernel
def _darkness(image: Image, light: NDArray[np.float32]) -> tuple[Plane, Plane]:
    height, width = image.shape[:2]
    rows, columns = light.shape[:2]
    any_colour = np.empty((height, width), np.float32)
    black = np.empty((height, width), np.float32)
    # The light of this row at the places that tell it.
    row = np.empty((columns, 3), np.float32)
    one, none, half = np.float32(1.0), np.float32(0.0), np.float32(0.5)
    down, along = np.float32(rows / height), np.float32(columns / width)
    for i in range(height):
        y = min(max((np.float32(i) + half) * down - half, none), np.float32(rows - 1))
        upper = int(y)
        lower = min(upper + 1, rows - 1)
        part = y - np.float32(upper)
        for j in range(columns):
            for n in range(3):
                row[j, n] = light[upper, j, n] * (one - part) + light[lower, j, n] * part
        for j in range(width):
            x = min(max((np.float32(j) + half) * along - half, none), np.float32(columns - 1))
            left = int(x)
            right = min(left + 1, columns - 1)
            part = x - np.float32(left)
            darkest, lightest = one, none
            for n in range(3):
                bright = row[left, n] * (one - part) + row[right, n] * part
                even = min(np.float32(image[i, j, n]) / bright, one)
                darkest = min(darkest, even)
                lightest = max(lightest, even)
            any_colour[i, j] = one - darkest
            black[i, j] = one - lightest
    return any_colour, black


def shrunk_darkness(image: Image, light: Light, size: tuple[int, int]) -> Plane:
    """Ink of any colour on the whole picture at another size (width, height)."""
    small: Any = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
    return darkness(small, light.paper)[0]
