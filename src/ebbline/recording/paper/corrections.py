"""What a person corrects of a picture's reading: corners, ink that is no trace, a trace missed.

Places are in px of the picture as it was opened. Corrections are data: they are kept, and the same
picture with the same corrections reads the same.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from ebbline.errors import RecordingError
from ebbline.recording.paper.corners import Corners, Place
from ebbline.recording.paper.figures import ReadScale
from ebbline.recording.paper.flatten import Plane
from ebbline.recording.paper.rectify import Flat, Warp
from ebbline.recording.paper.trace import Sheet

FloatArray = NDArray[np.float64]

DRAWN_SURE = 0.5
"""Certainty of what a person has drawn: a hand is not the ink (ours)."""
LEAST_SIDE_PX = 40.0
"""A paper's side is at least so long on its picture (ours)."""
MOST_STROKES, MOST_PLACES = 400, 20_000
"""So many strokes, and places of them all, are taken (ours)."""


@dataclass(frozen=True, slots=True)
class Erased:
    """A stroke of the eraser: what lies under it is no trace. width: px of the picture."""

    places: tuple[Place, ...]
    width: float


@dataclass(frozen=True, slots=True)
class Drawn:
    """A stroke of the pen where a trace was missed. fetus: whose heart rate; 0: the activity."""

    places: tuple[Place, ...]
    fetus: int = 1


@dataclass(frozen=True, slots=True)
class Corrections:
    """What a person says of one picture.

    corners: of the heart-rate paper's grid, from the upper left clockwise; None: as found.
    """

    corners: Corners | None = None
    erased: tuple[Erased, ...] = ()
    drawn: tuple[Drawn, ...] = ()

    @property
    def any(self) -> bool:
        """Whether anything is corrected."""
        return self != NONE


NONE = Corrections()


def check_corrections(corrections: Corrections, width: int, height: int, where: str) -> None:
    """Refuse what cannot be meant, before any work. Raises RecordingError."""
    strokes = [one.places for one in corrections.erased]
    strokes += [one.places for one in corrections.drawn]
    places = [place for stroke in strokes for place in stroke]
    if len(strokes) > MOST_STROKES or len(places) > MOST_PLACES:
        raise _no("these are more strokes than are taken at once.", where, "Take some away.")
    places += corrections.corners or ()
    off = 0.25 * max(width, height)
    if any(
        not (np.isfinite(x) and np.isfinite(y))
        or not (-off <= x <= width + off and -off <= y <= height + off)
        for x, y in places
    ):
        raise _no("a correction lies off the picture.", where, "Draw it on the picture.")
    if corrections.corners is not None:
        _check_corners(corrections.corners, where)


def _check_corners(corners: Sequence[Place], where: str) -> None:
    at = np.array(corners, np.float64)
    sides = np.roll(at, -1, axis=0) - at
    turns = sides[:, 0] * np.roll(sides[:, 1], -1) - sides[:, 1] * np.roll(sides[:, 0], -1)
    if np.hypot(*sides.T).min() < LEAST_SIDE_PX or turns.min() <= 0:
        raise _no(
            "these four corners bound no paper.",
            where,
            "Put them on the corners of the heart-rate grid: upper left, upper right, lower right, "
            "lower left.",
        )


def _no(what: str, where: str, remedy: str) -> RecordingError:
    return RecordingError(what, where=where, remedy=remedy)


def without_erased(sheet: Sheet, flat: Flat, warp: Warp, erased: Sequence[Erased]) -> Sheet:
    """The sheet without the ink under the eraser."""
    if not erased:
        return sheet
    gone = np.zeros(sheet.ink.shape, np.uint8)
    for stroke in erased:
        # Strokes are straight between their places on the picture, not on the flat paper.
        places = _closer(np.array(stroke.places, np.float64), 0.5 * stroke.width)
        column, row = _on_sheet(places, sheet, flat, warp)
        rim, _ = _on_sheet(places + np.array([0.5 * stroke.width, 0.0]), sheet, flat, warp)
        _, foot = _on_sheet(places + np.array([0.0, 0.5 * stroke.width]), sheet, flat, warp)
        for x, y, a, b in zip(column, row, np.abs(rim - column), np.abs(foot - row), strict=True):
            size = (max(1, round(a)), max(1, round(b)))
            cv2.ellipse(gone, (round(x), round(y)), size, 0, 0, 360, 1, -1)
    ink: Plane = np.where(gone > 0, 0.0, sheet.ink).astype(sheet.ink.dtype)
    return replace(sheet, ink=ink)


def _on_sheet(
    places: FloatArray, sheet: Sheet, flat: Flat, warp: Warp
) -> tuple[FloatArray, FloatArray]:
    u, v = warp.numbers(places[:, 0], places[:, 1])
    return (u - flat.left) * flat.across - sheet.left, (v - flat.top) * flat.down - sheet.top


def _closer(places: FloatArray, step: float) -> FloatArray:
    """The same way with places at most a step apart."""
    if len(places) < 2:
        return places
    way = np.r_[0.0, np.cumsum(np.hypot(*np.diff(places, axis=0).T))]
    at = np.linspace(0.0, way[-1], max(2, int(np.ceil(way[-1] / max(step, 1.0))) + 1))
    return np.column_stack([np.interp(at, way, places[:, n]) for n in (0, 1)])


@dataclass(frozen=True, slots=True)
class Stroke:
    """A drawn stroke in time and value. samples: numbers on the grid of time; x, y: px."""

    samples: NDArray[np.int64]
    values: FloatArray
    x: FloatArray
    y: FloatArray


def in_time(
    drawn: Drawn,
    warp: Warp,
    scale: ReadScale,
    first_line: float,
    clock: tuple[float, float, int],
) -> Stroke:
    """What a stroke on the picture says.

    first_line: number of the upright line at which time begins; clock: seconds between upright
    lines, samples a second, samples in all. A stroke that turns back in time tells the mean there.
    """
    line_s, rate_hz, count = clock
    places = _closer(np.array(drawn.places, np.float64), 1.0)
    u, v = warp.numbers(places[:, 0], places[:, 1])
    at = (u - first_line) * line_s * rate_hz
    number = np.floor(at).astype(np.int64)
    inside = (number >= 0) & (number < count)
    number, places, value = number[inside], places[inside], scale.value_of(v[inside])
    if not len(number):
        empty = np.zeros(0)
        return Stroke(np.zeros(0, np.int64), empty, empty, empty)
    here, which = np.unique(number, return_inverse=True)
    share = np.bincount(which)
    means = [np.bincount(which, one) / share for one in (value, places[:, 0], places[:, 1])]
    # Paper coarser than the grid of time: samples between two places lie on the stroke too.
    samples = np.arange(here[0], here[-1] + 1)
    filled = [np.interp(samples, here, one) for one in means]
    return Stroke(samples, filled[0], filled[1], filled[2])
