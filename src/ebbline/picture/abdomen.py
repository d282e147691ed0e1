"""The abdomen as the examiner sees it: the likeliest fetus in its place, findings, sensors' sites.

The picture faces the viewer: the mother's left is on its right. It is drawn to scale from the
umbilicus, from plain curves; nobody's body is meant. One figure serves print (`draw_abdomen`), the
pages (`figure_page`) and teaching (`draw_plate`). Sites are told by shape and word, the map by
steps of grey-green that stay apart in greyscale, the second of twins by hatching.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ebbline.bedside.exam import ExamResult
from ebbline.bedside.geometry import Abdomen
from ebbline.bedside.sensors import SensorPlan, SiteMap
from ebbline.bedside.state_groups import likeliest_states
from ebbline.bedside.states import State
from ebbline.picture.abdomen_body import (
    fetus_in_place,
    ghost_in_place,
    landmarks,
    note,
    ruler,
    sides,
    trunk,
    uterus,
)
from ebbline.picture.abdomen_findings import callouts, margin_labels
from ebbline.picture.abdomen_place import Place, trunk_radius_cm
from ebbline.picture.abdomen_plate import plate_shapes
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
)
from ebbline.picture.contours import loops
from ebbline.picture.style import HEAD, INK, PAPER, QUIET_INK

__all__ = ["Place", "body_page", "draw_abdomen", "draw_plate", "figure_page"]

PAGE_WIDTH = 21.0
PAGE_HEIGHT = 29.7
MARGIN = 1.2
SCALE = 0.31
SCALE_FOR_TWO = 0.29
"""Centimetres on paper for a centimetre of skin; smaller with two, whose words take more room."""

MAP_SHARES = (0.85, 0.6, 0.3)
MAP_TINTS = ("#e3efe9", "#b5d3c6", "#7fae9c")
REGION = Stroke("#2f6d5c", 1.1, (0.12, 0.08))
LEAST_AREA_CM2 = 4.0
"""Smaller islands of the map are the grid's, not the findings'."""
GHOST_FROM = 0.08
"""A second way of lying this likely is drawn as a ghost (ours)."""
SITE = Stroke(INK, 1.5)
LABEL_ROOM = 3.3
"""Room for words in each margin of a figure, cm."""


def draw_abdomen(results: Sequence[ExamResult]) -> Document:
    """The picture of one examination, or of both twins on one abdomen.

    results: one, or two with the lower twin first.
    """
    words = above(results, MARGIN, PAGE_WIDTH - MARGIN, MARGIN)
    scale = SCALE if len(results) == 1 else SCALE_FOR_TWO
    body, bottom = _figure(results, words.bottom + 0.2, PAGE_WIDTH, scale)
    below = beside(results, MARGIN, PAGE_WIDTH - MARGIN, bottom + 0.25)
    height = max(PAGE_HEIGHT, below.bottom + MARGIN)
    title = "Abdomen: the likeliest fetus, findings, sites of the sensors"
    page = Page(
        PAGE_WIDTH,
        height,
        (*words.shapes, Group(tuple(body), title=_told(results), name="abdomen"), *below.shapes),
        title,
    )
    if any(result.alone for result in results):
        page = Page(PAGE_WIDTH, PAGE_HEIGHT, words.shapes, title)
    return Document(title, (page,))


def figure_page(results: Sequence[ExamResult]) -> Page:
    """The figure alone, for a page of the workbench: as in print, without the words about it."""
    width = 2 * (LABEL_ROOM + 6.4)
    body, bottom = _figure(results, 0.1, width, SCALE)
    return Page(width, bottom + 0.1, (Group(tuple(body), name="abdomen"),), _told(results))


SIDES_PT = 11.0
"""Letters on a page that a phone shows five centimetres wide."""


def body_page(abdomen: Abdomen, state: State | None = None) -> tuple[Page, Place]:
    """The abdomen to be touched, and the mapping from its skin to the page.

    state: how the fetus lies, to be drawn in it; None: what cannot be seen is not drawn.
    """
    scale = 0.4
    width = 2 * (trunk_radius_cm(abdomen) + 1.6) * scale
    place = _place(abdomen, 0.2, width, scale)
    fetus = [] if state is None else fetus_in_place(state, abdomen, place)
    shapes: list[Shape] = [
        *trunk(abdomen, place),
        *uterus(abdomen, place),
        *fetus,
        *landmarks(abdomen, place, named=False),
        *sides(place, abdomen, SIDES_PT),
    ]
    bottom = place.at(0, abdomen.symphysis_y_cm - 6.0)[1]
    title = "The abdomen from the front" if state is None else f"The abdomen: {state.name}"
    return Page(width, bottom, tuple(shapes), title), place


def draw_plate(state: State, abdomen: Abdomen) -> Document:
    """A teacher's plate: the fetus in its place with the names of its parts, and no number.

    state: how it lies; abdomen: from `ebbline.bedside.geometry.abdomen_for`.
    """
    width, height = PAGE_WIDTH, 19.5
    place = _place(abdomen, 1.9, width, 0.36)
    shapes: list[Shape] = [
        Text(
            width / 2,
            1.2,
            state.name[:1].upper() + state.name[1:],
            HEAD,
            INK,
            True,
            anchor=Anchor.MIDDLE,
        ),
        *trunk(abdomen, place),
        *uterus(abdomen, place),
        *fetus_in_place(state, abdomen, place),
        *landmarks(abdomen, place),
        *plate_shapes(state, abdomen, place, width),
        *sides(place, abdomen),
    ]
    bottom = place.at(0, abdomen.symphysis_y_cm - 6.5)[1] + 0.4
    title = f"Plate: {state.name}"
    return Document(title, (Page(width, max(height, bottom), tuple(shapes), title),))


def _place(abdomen: Abdomen, top: float, width: float, scale: float) -> Place:
    top_cm = max(abdomen.fundus_y_cm + 3.0, 20)
    return Place(width / 2, top + top_cm * scale, trunk_radius_cm(abdomen), scale)


def _figure(
    results: Sequence[ExamResult], top: float, width: float, scale: float
) -> tuple[list[Shape], float]:
    """Everything drawn, and where it ends on the page."""
    abdomen = results[0].sensors.abdomen
    # A wide trunk must not push the words off the page.
    room = width / 2 - LABEL_ROOM
    scale = min(scale, room / (trunk_radius_cm(abdomen) + 2.4))
    place = _place(abdomen, top, width, scale)
    body: list[Shape] = [*trunk(abdomen, place), *uterus(abdomen, place)]
    for i, result in enumerate(results):
        body += _map(result.sensors.map, place, second=i == 1)
    if len(results) == 1:
        body += _fetus(results[0], place)
        body += _region(results[0].sensors.map, place)
    body += [*landmarks(abdomen, place), *ruler(place, abdomen), *sides(place, abdomen)]
    bottom = place.at(0, abdomen.symphysis_y_cm - 6.8)[1]
    for i, result in enumerate(results):
        body += _sites(result.sensors, place, "" if len(results) == 1 else "AB"[i])
    if len(results) == 1:
        words = margin_labels(
            callouts(results[0], place), LABEL_ROOM, width - LABEL_ROOM, top + 0.8, bottom - 0.6
        )
        body.append(Group(tuple(words), name="words"))
    return body, bottom


def _fetus(result: ExamResult, place: Place) -> list[Shape]:
    """The likeliest fetus, the second likeliest behind it; none before anything was found."""
    if not result.findings or result.alone:
        return []
    (first, _), (second, chance) = likeliest_states(result.posterior)
    abdomen = result.sensors.abdomen
    shapes: list[Shape] = []
    if chance >= GHOST_FROM:
        shapes += ghost_in_place(second, abdomen, place)
    return [*shapes, *fetus_in_place(first, abdomen, place)]


def _told(results: Sequence[ExamResult]) -> str:
    """The picture in words, for whoever cannot see it."""
    if len(results) == 1:
        result = results[0]
        drawn = ""
        if result.findings and not result.alone:
            drawn = f"drawn as {result.positions[0].name}; "
        return f"{drawn}heart-rate sensor {result.sensors.best.words}"
    names = ("lower twin: ", "other twin: ")
    return "; ".join(
        f"{name}heart-rate sensor {result.sensors.best.words}"
        for name, result in zip(names, results, strict=True)
    )


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


def _region(of: SiteMap, place: Place) -> list[Shape]:
    """Where six of ten hearts are heard best, as a dashed line over what is drawn."""
    x, y, weights = _finer(of)
    level = _levels(of)[1]
    return [
        Polygon(place.many(loop), None, REGION)
        for loop in loops(x, y, weights, level)
        if _area(loop) >= LEAST_AREA_CM2
    ]


def _sites(plan: SensorPlan, place: Place, twin: str) -> list[Shape]:
    """The sites: a ring for the heart, a dashed ring to try next, a square for contractions.

    The rings are open, so that they hide nothing; their numbers stand beside them.
    """
    shapes: list[Shape] = []
    x, y = place.point(plan.best.point)
    if len(plan.drift) > 1 and not twin:
        shapes += _drift(plan, place, (x, y))
    if plan.fallback is not None and not twin:
        fx, fy = place.point(plan.fallback.point)
        shapes += [
            Circle(fx, fy, 0.36, None, Stroke(PAPER, 2.6)),
            Circle(fx, fy, 0.36, None, Stroke(INK, 1.0, (0.08, 0.08))),
            *_number(fx + (0.46 if fx >= x else -0.46), fy - 0.3, "2"),
        ]
    shapes += [
        Circle(x, y, 0.5, None, Stroke(PAPER, 3.4)),
        Circle(x, y, 0.5, None, SITE),
        Line(x - 0.5, y, x - 0.22, y, SITE),
        Line(x + 0.22, y, x + 0.5, y, SITE),
        Line(x, y - 0.5, x, y - 0.22, SITE),
        Line(x, y + 0.22, x, y + 0.5, SITE),
        *_number(x + (0.62 if x >= place.x0 else -0.62), y - 0.42, twin or "1"),
    ]
    if twin in ("", "A"):
        cx, cy = place.point(plan.contraction.point)
        shapes += [
            Rect(cx - 0.42, cy - 0.42, 0.84, 0.84, None, Stroke(PAPER, 3.4), radius=0.12),
            Rect(cx - 0.42, cy - 0.42, 0.84, 0.84, None, SITE, radius=0.12),
            *_number(cx + 0.56, cy - 0.36, "C"),
        ]
    return shapes


def _number(x: float, y: float, text: str) -> list[Shape]:
    return [
        Circle(x, y, 0.2, PAPER, Stroke(INK, 0.8)),
        Text(x, y + 0.1, text, 8.0, INK, True, anchor=Anchor.MIDDLE),
    ]


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
        Rect(float(tip[0]) - 0.72, float(tip[1]) + 0.19, 1.44, 0.32, PAPER, None, radius=0.08),
        note(float(tip[0]), float(tip[1]) + 0.43, "with descent"),
    ]
