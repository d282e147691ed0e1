"""The abdomen as the examiner sees it: findings of the grips, the map, and the sensors' sites.

The picture faces the viewer: the mother's left is on its right. It is drawn to scale from the
umbilicus, from plain curves; nobody's body is meant. Sites are told by shape and word, the map by
steps of grey-green that stay apart in greyscale, the second of twins by hatching.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ebbline.bedside.exam import ExamResult
from ebbline.bedside.geometry import Abdomen, Point
from ebbline.bedside.sensors import SensorPlan, SiteMap
from ebbline.picture.abdomen_findings import findings_on
from ebbline.picture.abdomen_words import above, beside
from ebbline.picture.canvas import (
    Anchor,
    Circle,
    Document,
    Group,
    Line,
    Page,
    Points,
    Polygon,
    Polyline,
    Rect,
    Shape,
    Stroke,
    Text,
    hatch,
    points,
    smooth,
)
from ebbline.picture.contours import loops
from ebbline.picture.style import BODY, INK, PAPER, QUIET_INK, SMALL

PAGE_WIDTH = 21.0
PAGE_HEIGHT = 29.7
MARGIN = 1.2
SCALE = 0.335
SCALE_FOR_TWO = 0.29
"""Centimetres on paper for a centimetre of skin; smaller with two, whose words take more room."""

MAP_SHARES = (0.85, 0.6, 0.3)
MAP_TINTS = ("#e3efe9", "#b5d3c6", "#7fae9c")
LEAST_AREA_CM2 = 4.0
"""Smaller islands of the map are the grid's, not the findings'."""
BELOW_CM = 1.4
"""So far the drawn uterus reaches below the symphysis."""
SKIN = Stroke("#9aa7b8", 0.9, round_ends=True)
SKIN_FAINT = Stroke("#c3ccd9", 0.6, round_ends=True)
UTERUS = Stroke(INK, 0.9, (0.16, 0.10))
SITE = Stroke(INK, 1.5)


@dataclass(frozen=True, slots=True)
class Place:
    """From the abdomen's skin to the page, seen from the front.

    x0, y0: the umbilicus on the page. round_cm: radius of the trunk, about which distances across
    are seen foreshortened towards the flanks; heights are drawn as they are.
    """

    x0: float
    y0: float
    round_cm: float
    scale: float = SCALE

    def at(self, x_cm: float, y_cm: float) -> tuple[float, float]:
        """A point of the page, cm."""
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


def draw_abdomen(results: Sequence[ExamResult]) -> Document:
    """The picture of one examination, or of both twins on one abdomen.

    results: one, or two with the lower twin first.
    """
    first = results[0]
    words = above(results, MARGIN, PAGE_WIDTH - MARGIN, MARGIN)
    abdomen = first.sensors.abdomen
    top_cm = max(abdomen.fundus_y_cm + 7, 22)
    bottom_cm = abdomen.symphysis_y_cm - 6.5
    top = words.bottom + 0.3
    scale = SCALE if len(results) == 1 else SCALE_FOR_TWO
    place = Place(PAGE_WIDTH / 2, top + top_cm * scale, abdomen.girth_cm / (2 * math.pi), scale)
    body: list[Shape] = [*_torso(abdomen, place)]
    for i, result in enumerate(results):
        body += _map(result.sensors.map, place, second=i == 1)
    body += [*_uterus(abdomen, place), *_ruler(place, abdomen)]
    if len(results) == 1:
        body += findings_on(first, place)
    for i, result in enumerate(results):
        body += _sites(result.sensors, place, "" if len(results) == 1 else "AB"[i])
    bottom = place.at(0, bottom_cm)[1]
    below = beside(results, MARGIN, PAGE_WIDTH - MARGIN, bottom + 0.35)
    height = max(PAGE_HEIGHT, below.bottom + MARGIN)
    title = "Abdomen: findings, map of the heart sounds, sites of the sensors"
    page = Page(
        PAGE_WIDTH,
        height,
        (*words.shapes, Group(tuple(body), title=_told(results), name="abdomen"), *below.shapes),
        title,
    )
    return Document(title, (page,))


def _told(results: Sequence[ExamResult]) -> str:
    """The picture in words, for whoever cannot see it."""
    names = ("",) if len(results) == 1 else ("lower twin: ", "other twin: ")
    return "; ".join(
        f"{name}heart-rate sensor {result.sensors.best.words}"
        for name, result in zip(names, results, strict=True)
    )


def _torso(abdomen: Abdomen, place: Place) -> list[Shape]:
    """The trunk from the lower ribs to the thighs, in a few plain lines.

    Drawn in centimetres as seen from the front, not along the skin.
    """
    wide = place.round_cm + 0.6
    low, top = abdomen.symphysis_y_cm, max(abdomen.fundus_y_cm + 6, 21)

    def seen(*corners: tuple[float, float]) -> Points:
        """A curve through places as seen: to her left, and up, cm."""
        return smooth(
            points((place.x0 + x * place.scale, place.y0 - y * place.scale) for x, y in corners)
        )

    spine, spine_y = place.round_cm * 0.77, abdomen.up(0.25)
    shapes: list[Shape] = []
    for side in (1, -1):
        outline = seen(
            (side * (wide - 2.4), top),
            (side * (wide - 1.2), 12),
            (side * wide, 1),
            (side * (wide - 0.1), low * 0.5),
            (side * (wide + 1.0), low * 0.85),
            (side * (wide + 1.7), low - 2),
            (side * (wide + 1.2), low - 6.5),
        )
        groin = seen(
            (side * (spine + 2.4), spine_y - 2.5),
            (side * spine * 0.66, (spine_y + low) / 2 - 2.6),
            (side * 2.2, low - 3.4),
        )
        thigh = seen((side * 2.2, low - 3.4), (side * 1.7, low - 5), (side * 1.8, low - 6.5))
        ribs = seen(
            (side * 1.2, top - 0.6), (side * 5.0, top - 2.6), (side * (wide - 4.2), top - 5.6)
        )
        shapes.append(Polyline(outline, SKIN))
        shapes += [Polyline(line, SKIN_FAINT) for line in (groin, thigh, ribs)]
    return shapes


def _uterus(abdomen: Abdomen, place: Place) -> list[Shape]:
    """Outline of the uterus under the wall, and the landmarks with their names."""
    turn = np.linspace(0, np.pi, 61)
    low, high = abdomen.symphysis_y_cm - BELOW_CM, abdomen.fundus_y_cm
    heights = (low + high) / 2 - (high - low) / 2 * np.cos(turn)
    widths = np.array([abdomen.half_width_cm(y) for y in heights.tolist()])
    left = np.column_stack([widths, heights])
    right = np.column_stack([-widths[::-1], heights[::-1]])
    shapes: list[Shape] = [Polygon(place.many(np.vstack([left, right])), None, UTERUS)]
    for name, point in abdomen.landmarks.items():
        x, y = place.point(point)
        if name == "umbilicus":
            shapes += [Circle(x, y, 0.13, PAPER, Stroke(INK, 0.9)), Circle(x, y, 0.045, INK)]
        elif name == "symphysis":
            shapes.append(Rect(x - 0.55, y - 0.09, 1.1, 0.18, PAPER, Stroke(INK, 0.9), radius=0.09))
            shapes.append(_note(x, y + 0.78, "symphysis"))
        elif "spine" in name:
            cross = 0.11
            shapes += [
                Line(x - cross, y, x + cross, y, Stroke(INK, 0.8)),
                Line(x, y - cross, x, y + cross, Stroke(INK, 0.8)),
            ]
            inside = -1 if point.x_cm > 0 else 1
            anchor = Anchor.START if inside > 0 else Anchor.END
            shapes.append(_note(x + inside * 0.2, y + 0.3, "iliac spine", anchor))
    return shapes


def _note(x: float, y: float, text: str, anchor: Anchor = Anchor.MIDDLE) -> Text:
    return Text(x, y, text, SMALL, QUIET_INK, italic=True, anchor=anchor)


def _ruler(place: Place, abdomen: Abdomen) -> list[Shape]:
    """A scale of ten centimetres, and whose left is where."""
    y = place.at(0, abdomen.symphysis_y_cm - 5.2)[1]
    x = place.x0 - (place.round_cm + 0.6) * place.scale
    stroke = Stroke(QUIET_INK, 0.7)
    shapes: list[Shape] = [Line(x, y, x + 10 * place.scale, y, stroke)]
    for cm in (0, 5, 10):
        at = x + cm * place.scale
        shapes.append(Line(at, y - 0.1, at, y + 0.1, stroke))
    shapes.append(_note(x + 5 * place.scale, y + 0.4, "10 cm, near the midline"))
    side_y = place.at(0, 0)[1]
    edge = (place.round_cm + 4.6) * place.scale
    for text, sign in (("HER LEFT", 1), ("HER RIGHT", -1)):
        shapes.append(
            Text(
                place.x0 + sign * edge,
                side_y,
                text,
                BODY,
                QUIET_INK,
                True,
                anchor=Anchor.MIDDLE,
                turn=90.0 * sign,
            )
        )
    return shapes


def _finer(of: SiteMap, times: int = 3) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """The map with points between its own, by straight lines, for smooth loops."""
    x = np.linspace(of.x_cm[0], of.x_cm[-1], (len(of.x_cm) - 1) * times + 1)
    y = np.linspace(of.y_cm[0], of.y_cm[-1], (len(of.y_cm) - 1) * times + 1)
    along = np.array([np.interp(x, of.x_cm, row) for row in of.weights])
    return x, y, np.array([np.interp(y, of.y_cm, column) for column in along.T]).T


def _area(loop: Points) -> float:
    """Area of a closed loop, by its corners."""
    x, y = loop[:, 0], loop[:, 1]
    return abs(float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))) / 2


def _levels(of: SiteMap) -> list[float]:
    """Least weight of the cells that together hold each share of the map."""
    heaviest = np.sort(of.weights, axis=None)[::-1]
    total = np.cumsum(heaviest)
    return [float(heaviest[int(np.searchsorted(total, share))]) for share in MAP_SHARES]


def _map(of: SiteMap, place: Place, *, second: bool) -> list[Shape]:
    """Filled steps of the map; the other twin's as hatched outlines."""
    x, y, weights = _finer(of)
    shapes: list[Shape] = []
    for level, tint, share in zip(_levels(of), MAP_TINTS, MAP_SHARES, strict=True):
        for loop in loops(x, y, weights, level):
            if _area(loop) < LEAST_AREA_CM2:
                continue
            area = Polygon(place.many(loop))
            if not second:
                shapes.append(Polygon(area.points, tint))
            elif share == MAP_SHARES[1]:
                shapes.append(hatch(area, Stroke(QUIET_INK, 0.5), spacing=0.16, turn=-45))
                shapes.append(Polygon(area.points, None, Stroke(QUIET_INK, 0.9)))
    return shapes


def _sites(plan: SensorPlan, place: Place, twin: str) -> list[Shape]:
    """The sites: a ring with a cross for the heart, a dashed ring to try next, a square above."""
    shapes: list[Shape] = []
    x, y = place.point(plan.best.point)
    if len(plan.drift) > 1 and not twin:
        shapes += _drift(plan, place, (x, y))
    if plan.fallback is not None and not twin:
        fx, fy = place.point(plan.fallback.point)
        shapes += [
            Circle(fx, fy, 0.36, None, Stroke(INK, 1.0, (0.08, 0.08))),
            Text(fx, fy + 0.13, "2", 9, INK, True, anchor=Anchor.MIDDLE),
        ]
    shapes += [
        Circle(x, y, 0.5, PAPER, SITE),
        Circle(x, y, 0.4, None, Stroke(INK, 0.5)),
        Text(x, y + 0.15, twin or "1", 11, INK, True, anchor=Anchor.MIDDLE),
    ]
    if twin in ("", "A"):
        cx, cy = place.point(plan.contraction.point)
        shapes += [
            Rect(cx - 0.45, cy - 0.45, 0.9, 0.9, PAPER, SITE, radius=0.12),
            Text(cx, cy + 0.15, "C", 11, INK, True, anchor=Anchor.MIDDLE),
        ]
    return shapes


def _drift(plan: SensorPlan, place: Place, start: tuple[float, float]) -> list[Shape]:
    """The way the site will move, as a dotted arrow from the best point."""
    end = np.array(place.point(plan.drift[-1].point))
    begin = np.array(start)
    way = end - begin
    length = float(np.linalg.norm(way))
    if length < 1.2:
        return []
    # Down first, then inwards: a gentle bow.
    bend = np.array([begin[0] + 0.35 * way[0], begin[1] + 0.68 * way[1]])
    share = np.linspace(0.52 / length, 1, 24)[:, None]
    curve = (1 - share) ** 2 * begin + 2 * share * (1 - share) * bend + share**2 * end
    tip, before = curve[-1], curve[-3]
    along = (tip - before) / np.linalg.norm(tip - before)
    across = np.array([-along[1], along[0]])
    base = tip - 0.28 * along
    head = np.array([tip, base + 0.12 * across, base - 0.12 * across])
    return [
        Polyline(curve[:-1], Stroke(INK, 1.1, (0.05, 0.12), round_ends=True)),
        Polygon(head, INK),
        _note(float(tip[0]), float(tip[1]) + 0.52, "with descent"),
    ]
