"""From the abdomen's skin to a page: the one mapping for print, page and plate."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from ebbline.bedside.geometry import Abdomen, Point
from ebbline.picture.canvas import Points, points, smooth


@dataclass(frozen=True, slots=True)
class Place:
    """From the abdomen's skin to the page, seen from the front.

    x0, y0: the umbilicus on the page. round_cm: radius of the trunk, about which distances across
    are seen foreshortened towards the flanks; heights are drawn as they are. scale: centimetres of
    page for one of skin.
    """

    x0: float
    y0: float
    round_cm: float
    scale: float

    def at(self, x_cm: float, y_cm: float) -> tuple[float, float]:
        """A point of the page, cm, for a place on the skin."""
        turn = max(-math.pi / 2, min(math.pi / 2, x_cm / self.round_cm))
        return self.x0 + self.round_cm * math.sin(turn) * self.scale, self.y0 - y_cm * self.scale

    def point(self, point: Point) -> tuple[float, float]:
        """A point of the page for a point of the abdomen."""
        return self.at(point.x_cm, point.y_cm)

    def many(self, xy: Points) -> Points:
        """Points of the page for points of the abdomen, shape (n, 2)."""
        turn = np.clip(xy[:, 0] / self.round_cm, -np.pi / 2, np.pi / 2)
        x = self.x0 + self.round_cm * np.sin(turn) * self.scale
        return np.column_stack([x, self.y0 - xy[:, 1] * self.scale])

    def path(self, *corners: tuple[float, float], closed: bool = False) -> Points:
        """A smooth curve through places of the abdomen."""
        return smooth(self.many(points(corners)), closed=closed)

    def seen(self, xy: Points) -> Points:
        """Points of the page for points as they are seen, not along the skin, shape (n, 2)."""
        return np.column_stack([self.x0 + xy[:, 0] * self.scale, self.y0 - xy[:, 1] * self.scale])

    def back(self, x: float, y: float) -> Point:
        """The place on the skin under a point of the page: the inverse of `at`."""
        share = max(-1.0, min(1.0, (x - self.x0) / (self.round_cm * self.scale)))
        return Point(self.round_cm * math.asin(share), (self.y0 - y) / self.scale)


def trunk_radius_cm(abdomen: Abdomen) -> float:
    """Radius of the drawn trunk: the girth widens it, and nothing inside."""
    return abdomen.girth_cm / (2 * math.pi)
