"""Four corners that a person has told, in place of a grid that was found."""

from __future__ import annotations

import cv2
import numpy as np

from ebbline.recording.paper.lattice import Comb
from ebbline.recording.paper.perspective import Matrix
from ebbline.recording.paper.rectify import Warp

Place = tuple[float, float]
"""px of the picture, from the left and from the top."""
Corners = tuple[Place, Place, Place, Place]
"""From the upper left clockwise."""


def straight_by(corners: Corners) -> Matrix:
    """Homography that makes four corners a rectangle about as large, shape (3, 3)."""
    at = np.array(corners, np.float32)
    sides = np.hypot(*(np.roll(at, -1, axis=0) - at).T)
    wide, tall = float(sides[0] + sides[2]) / 2, float(sides[1] + sides[3]) / 2
    left, top = float(at[:, 0].mean()) - wide / 2, float(at[:, 1].mean()) - tall / 2
    to = np.array(
        [[left, top], [left + wide, top], [left + wide, top + tall], [left, top + tall]], np.float32
    )
    return np.asarray(cv2.getPerspectiveTransform(at, to), np.float64)


def plain_warp(corners: Corners, across: int, down: int) -> Warp:
    """Lines, so many across and down, spread evenly between four corners, whatever is printed."""
    period = 100.0
    at = np.array(corners, np.float32)
    wide, tall = period * across, period * down
    to = np.array([[0, 0], [wide, 0], [wide, tall], [0, tall]], np.float32)
    straight = np.asarray(cv2.getPerspectiveTransform(at, to), np.float64)
    ones = np.ones((2, 2))
    step = 100
    upright = Comb(period, step, np.array([[0.0, 1.0], [0.0, 1.0]]), ones)
    level = Comb(period, step, np.array([[0.0, 0.0], [1.0, 1.0]]), ones)
    return Warp(upright, level, straight)
