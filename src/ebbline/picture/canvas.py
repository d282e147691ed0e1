"""The drawing model: pages of a few typed shapes, in centimetres, for every picture we make.

The origin is the page's top left corner, x to the right, y down. Lengths and places are in
centimetres on paper; line widths and font sizes in points (1/72 inch), as printers count them.
Colours are "#rrggbb". Shapes are drawn in order, later ones on top. `picture.files.write` turns a
Document into SVG, PDF or PNG.

>>> page = Page(10, 5, (Line(1, 1, 9, 1, Stroke("#223344", 0.8)), Text(5, 3, "one hand")))
>>> document = Document("A line", (page,))
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from enum import StrEnum

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]
"""Shape (n, 2): x and y of each point, cm."""

CM_PER_POINT = 2.54 / 72


@dataclass(frozen=True, slots=True)
class Stroke:
    """A pen: colour, width in points, and dash lengths on, off, ... in cm (none: unbroken)."""

    colour: str = "#000000"
    width: float = 0.5
    dash: tuple[float, ...] = ()
    round_ends: bool = False


@dataclass(frozen=True, slots=True)
class Line:
    """A straight line."""

    x1: float
    y1: float
    x2: float
    y2: float
    stroke: Stroke


@dataclass(frozen=True, slots=True, eq=False)
class Polyline:
    """An open line through two or more points."""

    points: Points
    stroke: Stroke


@dataclass(frozen=True, slots=True, eq=False)
class Polygon:
    """A closed shape through three or more points. fill or stroke may be None."""

    points: Points
    fill: str | None = None
    stroke: Stroke | None = None


@dataclass(frozen=True, slots=True)
class Rect:
    """A rectangle from its top left corner. radius rounds its corners."""

    x: float
    y: float
    width: float
    height: float
    fill: str | None = None
    stroke: Stroke | None = None
    radius: float = 0.0


@dataclass(frozen=True, slots=True)
class Circle:
    """A circle around its centre."""

    x: float
    y: float
    radius: float
    fill: str | None = None
    stroke: Stroke | None = None


class Anchor(StrEnum):
    """Which part of a text stands at its x."""

    START = "start"
    MIDDLE = "middle"
    END = "end"


@dataclass(frozen=True, slots=True)
class Text:
    """One line of text on its writing line at y. size in points; turn: degrees clockwise."""

    x: float
    y: float
    text: str
    size: float = 8.0
    colour: str = "#000000"
    bold: bool = False
    italic: bool = False
    anchor: Anchor = Anchor.START
    turn: float = 0.0


@dataclass(frozen=True, slots=True, eq=False)
class Group:
    """Shapes that belong together.

    clip: draw only inside this rectangle or polygon. title: words for whoever cannot see or
    hovers over the group in an SVG. name: a handle that a page can find the group by in an SVG.
    """

    shapes: tuple[Shape, ...]
    clip: Rect | Polygon | None = None
    title: str = ""
    name: str = ""


Shape = Line | Polyline | Polygon | Rect | Circle | Text | Group


@dataclass(frozen=True, slots=True, eq=False)
class Page:
    """One sheet. title: what it shows, in a line, for whoever cannot see it."""

    width: float
    height: float
    shapes: tuple[Shape, ...]
    title: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Document:
    """One or more pages under a title. author, made_at: of whom and when it says it is."""

    title: str
    pages: tuple[Page, ...]
    author: str = ""
    made_at: datetime | None = None


def points(pairs: Iterable[tuple[float, float]]) -> Points:
    """Points of a polyline or polygon from pairs of x and y, cm."""
    return np.array(list(pairs), dtype=np.float64).reshape(-1, 2)


def smooth(corners: Points, *, closed: bool = False, steps: int = 12) -> Points:
    """A curve through all corners (centripetal Catmull-Rom), as points for a polyline or polygon.

    corners: shape (n, 2), n >= 3, neighbours distinct. steps: points from one corner to the next.
    Source: Catmull E, Rom R. Computer Aided Geometric Design 1974:317-26.
    """
    if closed:
        path = np.vstack([corners[-1], corners, corners[:2]])
    else:
        path = np.vstack([2 * corners[0] - corners[1], corners, 2 * corners[-1] - corners[-2]])
    pieces = [_between(path[i : i + 4], steps) for i in range(len(path) - 3)]
    ends = [] if closed else [corners[-1:]]
    return np.vstack([*pieces, *ends])


def _between(four: Points, steps: int) -> Points:
    """Points from the second to just before the third of four corners."""
    lengths = np.sqrt(np.linalg.norm(np.diff(four, axis=0), axis=1))
    t0, t1, t2, t3 = np.concatenate([[0.0], np.cumsum(lengths)])
    t = np.linspace(t1, t2, steps, endpoint=False)[:, None]
    p0, p1, p2, p3 = four
    a1 = (t1 - t) / (t1 - t0) * p0 + (t - t0) / (t1 - t0) * p1
    a2 = (t2 - t) / (t2 - t1) * p1 + (t - t1) / (t2 - t1) * p2
    a3 = (t3 - t) / (t3 - t2) * p2 + (t - t2) / (t3 - t2) * p3
    b1 = (t2 - t) / (t2 - t0) * a1 + (t - t0) / (t2 - t0) * a2
    b2 = (t3 - t) / (t3 - t1) * a2 + (t - t1) / (t3 - t1) * a3
    curve: Points = (t2 - t) / (t2 - t1) * b1 + (t - t1) / (t2 - t1) * b2
    return curve


def ellipse(x: float, y: float, half_width: float, half_height: float, steps: int = 72) -> Points:
    """Points of an ellipse for a polygon, cm."""
    angle = np.linspace(0, 2 * np.pi, steps, endpoint=False)
    return np.column_stack([x + half_width * np.cos(angle), y + half_height * np.sin(angle)])


def hatch(
    area: Rect | Polygon, stroke: Stroke, *, spacing: float = 0.12, turn: float = 45.0
) -> Group:
    """Parallel lines that fill an area: meaning that survives greyscale.

    spacing: cm between lines; turn: degrees of the lines against the horizontal, clockwise.
    """
    if isinstance(area, Rect):
        left, top, right, bottom = area.x, area.y, area.x + area.width, area.y + area.height
    else:
        left, top = area.points.min(axis=0)
        right, bottom = area.points.max(axis=0)
    centre_x, centre_y = (left + right) / 2, (top + bottom) / 2
    reach = math.hypot(right - left, bottom - top) / 2
    along_x, along_y = math.cos(math.radians(turn)), math.sin(math.radians(turn))
    lines = []
    count = int(reach / spacing)
    for i in range(-count, count + 1):
        x = centre_x - along_y * i * spacing
        y = centre_y + along_x * i * spacing
        lines.append(
            Line(
                x - along_x * reach,
                y - along_y * reach,
                x + along_x * reach,
                y + along_y * reach,
                stroke,
            )
        )
    return Group(tuple(lines), clip=area)


def relative_luminance(colour: str) -> float:
    """Lightness of a colour, 0 black to 1 white. Source: WCAG 2.2, relative luminance."""
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


def contrast(one: str, other: str) -> float:
    """Contrast of two colours, 1 to 21; it is what is left of them in greyscale.

    Source: WCAG 2.2, contrast ratio.
    """
    light, dark = sorted((relative_luminance(one), relative_luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)
