"""The view straightened: the grid's two families of lines meet in two points, sent to infinity."""

from __future__ import annotations

import math
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from ebbline.recording.paper.flatten import Plane

Matrix = NDArray[np.float64]

_LONG, _SHORT = 1600, 600
"""Longer side of the picture on which lines are sought, px, or its shorter one where that leaves
more: on a long strip pale lines would be lost (ours)."""
_LEAST_LINES = 6
_ROUNDS = 12


def straightening(ink: Plane) -> Matrix | None:
    """Homography, shape (3, 3), from the picture to one whose grid stands upright.

    Pixels keep about their size in the middle of the picture. None where no two families of lines
    are found. Method: vanishing points by reweighted least squares over line segments (Hartley R,
    Zisserman A. Multiple view geometry, 2nd ed., 2004, chapter 8).
    """
    height, width = ink.shape
    shrink = max(1.0, min(max(height, width) / _LONG, min(height, width) / _SHORT))
    size = (round(width / shrink), round(height / shrink))
    small = cv2.resize(ink, size, interpolation=cv2.INTER_AREA)
    shown = np.clip(small * 2.0 * 255.0, 0, 255).astype(np.uint8)
    found: Any = cv2.createLineSegmentDetector().detect(shown)[0]
    if found is None:
        return None
    ends = np.asarray(found, np.float64).reshape(-1, 4) * shrink
    spans = ends[:, 2:] - ends[:, :2]
    lengths = np.hypot(spans[:, 0], spans[:, 1])
    least = 0.02 * max(height, width)
    ends, spans, lengths = ends[lengths > least], spans[lengths > least], lengths[lengths > least]
    if not len(ends):
        return None
    angle = _main_angle(spans, lengths)
    turned = np.mod(np.degrees(np.arctan2(spans[:, 1], spans[:, 0])) - angle + 90.0, 180.0) - 90.0
    along, across = np.abs(turned) < 30.0, np.abs(turned) > 60.0
    if along.sum() < _LEAST_LINES or across.sum() < _LEAST_LINES:
        return None
    centre = np.array([width / 2, height / 2])
    scale = max(height, width) / 2
    first = _meeting(ends[along], lengths[along], centre, scale)
    second = _meeting(ends[across], lengths[across], centre, scale)
    return _homography(first, second, centre, scale)


def _main_angle(spans: NDArray[np.float64], lengths: NDArray[np.float64]) -> float:
    """Degrees by which the longer family of lines is turned from the horizontal, -45 to 45."""
    angles = np.mod(np.degrees(np.arctan2(spans[:, 1], spans[:, 0])) + 45.0, 90.0) - 45.0
    counts, edges = np.histogram(angles, bins=90, range=(-45, 45), weights=lengths**2)
    smooth = np.convolve(np.r_[counts[-2:], counts, counts[:2]], np.ones(5) / 5, "same")[2:-2]
    return float(edges[int(smooth.argmax())] + 0.5)


def _meeting(
    ends: NDArray[np.float64],
    lengths: NDArray[np.float64],
    centre: NDArray[np.float64],
    scale: float,
) -> NDArray[np.float64]:
    """Where the lines meet, homogeneous, in units of the picture's half size about its centre."""
    a = np.column_stack([(ends[:, :2] - centre) / scale, np.ones(len(ends))])
    b = np.column_stack([(ends[:, 2:] - centre) / scale, np.ones(len(ends))])
    lines = np.cross(a, b)
    lines /= np.hypot(lines[:, 0], lines[:, 1])[:, None]
    middle = (a + b) / 2
    direction = (b - a)[:, :2] / np.hypot(*(b - a)[:, :2].T)[:, None]
    weights = lengths.copy()
    point = np.array([1.0, 0.0, 0.0])
    for _ in range(_ROUNDS):
        scatter = (lines * weights[:, None]).T @ lines
        point = np.linalg.eigh(scatter)[1][:, 0]
        towards = point[None, :2] - middle[:, :2] * point[2]
        towards /= np.maximum(np.hypot(*towards.T), 1e-12)[:, None]
        off = np.abs(direction[:, 0] * towards[:, 1] - direction[:, 1] * towards[:, 0])
        weights = lengths / (1.0 + (off / math.radians(0.6)) ** 2)
    return point


def _homography(
    first: NDArray[np.float64],
    second: NDArray[np.float64],
    centre: NDArray[np.float64],
    scale: float,
) -> Matrix | None:
    """Sends the meeting points to infinity along x and y; the middle keeps its place and size."""
    first = first if first[0] >= 0 else -first
    second = second if second[1] >= 0 else -second
    made = np.column_stack([first, second, np.array([0.0, 0.0, 1.0])])
    if abs(np.linalg.det(made)) < 1e-4:
        return None
    straight = np.linalg.inv(made)
    # Near the centre x goes as x / first[0], y as y / second[1]: lengths are kept there.
    size = np.diag([np.hypot(*first[:2]), np.hypot(*second[:2]), 1.0])
    inward = np.array(
        [[1 / scale, 0, -centre[0] / scale], [0, 1 / scale, -centre[1] / scale], [0, 0, 1]]
    )
    outward = np.array([[scale, 0, centre[0]], [0, scale, centre[1]], [0, 0, 1.0]])
    found: Matrix = outward @ size @ straight @ inward
    found /= found[2, 2]
    return found


def framed(
    homography: Matrix, width: int, height: int, most: float = 2.0
) -> tuple[Matrix, int, int]:
    """The same with the whole picture in view: homography, width and height of the new picture."""
    corners = np.array([[[0, 0], [width, 0], [width, height], [0, height]]], dtype=np.float64)
    seen = cv2.perspectiveTransform(corners, homography)[0]
    low, high = seen.min(axis=0), seen.max(axis=0)
    limit = most * np.array([width, height])
    middle = (low + high) / 2
    low, high = np.maximum(low, middle - limit / 2), np.minimum(high, middle + limit / 2)
    move = np.array([[1, 0, -low[0]], [0, 1, -low[1]], [0, 0, 1.0]])
    size = np.maximum(np.ceil(high - low), 8).astype(int)
    return move @ homography, int(size[0]), int(size[1])
