"""The body round the examination: trunk, uterus, landmarks, a ruler, the fetus in its place."""

from __future__ import annotations

import numpy as np

from ebbline.bedside.geometry import Abdomen
from ebbline.bedside.states import State
from ebbline.picture.abdomen_place import Place
from ebbline.picture.canvas import (
    Anchor,
    Circle,
    Group,
    Line,
    Points,
    Polygon,
    Polyline,
    Rect,
    Shape,
    Stroke,
    Text,
    points,
    smooth,
)
from ebbline.picture.fetus import Figure, placed
from ebbline.picture.style import BODY, INK, PAPER, QUIET_INK, SMALL

BELOW_CM = 1.4
"""So far the drawn uterus reaches below the symphysis."""
SKIN = Stroke("#9aa7b8", 0.9, round_ends=True)
SKIN_FAINT = Stroke("#c3ccd9", 0.6, round_ends=True)
UTERUS = Stroke("#8a97aa", 1.2)
UTERUS_GROUND = "#f7f4f1"

FETUS_LINE = Stroke("#4a4038", 1.0, round_ends=True)
FETUS_FINE = Stroke("#4a4038", 0.7, round_ends=True)
FETUS_LIGHT = "#f6e8da"
FETUS_SHADE = "#dcc1a8"
SPINE = Stroke("#4a4038", 0.9, (0.02, 0.10), round_ends=True)
GHOST = Stroke("#8a97aa", 0.9, (0.10, 0.10), round_ends=True)
LIGHT_FROM_CM = 0.55
"""The light falls from above on the left: the shade is the outline less itself shifted by this."""


def trunk(abdomen: Abdomen, place: Place) -> list[Shape]:
    """The trunk from the lower ribs to the thighs, in a few plain lines.

    Drawn in centimetres as seen from the front, not along the skin.
    """
    wide = place.round_cm + 0.6
    low, top = abdomen.symphysis_y_cm, max(abdomen.fundus_y_cm + 2.6, 19.6)

    def seen(*corners: tuple[float, float]) -> Points:
        """A curve through places as seen: to her left, and up, cm."""
        return smooth(place.seen(points(corners)))

    spine, _ = place.at(abdomen.landmarks["left anterior superior iliac spine"].x_cm, 0)
    spine_x, spine_y = (spine - place.x0) / place.scale, abdomen.up(0.25)
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
            (side * (spine_x + 2.4), spine_y - 2.5),
            (side * spine_x * 0.66, (spine_y + low) / 2 - 2.6),
            (side * 2.2, low - 3.4),
        )
        thigh = seen((side * 2.2, low - 3.4), (side * 1.7, low - 5), (side * 1.8, low - 6.5))
        shapes.append(Polyline(outline, SKIN))
        shapes += [Polyline(line, SKIN_FAINT) for line in (groin, thigh)]
    return shapes


def uterus_outline(abdomen: Abdomen, place: Place) -> Points:
    """The edge of the uterus under the wall, on the page."""
    turn = np.linspace(0, np.pi, 61)
    low, high = abdomen.symphysis_y_cm - BELOW_CM, abdomen.fundus_y_cm
    heights = (low + high) / 2 - (high - low) / 2 * np.cos(turn)
    widths = np.array([abdomen.half_width_cm(y) for y in heights.tolist()])
    left = np.column_stack([widths, heights])
    right = np.column_stack([-widths[::-1], heights[::-1]])
    return place.many(np.vstack([left, right]))


def uterus(abdomen: Abdomen, place: Place) -> list[Shape]:
    """The uterus as a ground for what lies in it."""
    return [Polygon(uterus_outline(abdomen, place), UTERUS_GROUND, UTERUS)]


def landmarks(abdomen: Abdomen, place: Place, *, named: bool = True) -> list[Shape]:
    """Umbilicus, symphysis and iliac spines."""
    shapes: list[Shape] = []
    for name, point in abdomen.landmarks.items():
        x, y = place.point(point)
        if name == "umbilicus":
            shapes += [Circle(x, y, 0.13, PAPER, Stroke(INK, 0.9)), Circle(x, y, 0.045, INK)]
        elif name == "symphysis":
            shapes.append(Rect(x - 0.55, y - 0.09, 1.1, 0.18, PAPER, Stroke(INK, 0.9), radius=0.09))
            if named:
                shapes.append(note(x, y + 0.66, "symphysis"))
        elif "spine" in name:
            cross = 0.11
            shapes += [
                Line(x - cross, y, x + cross, y, Stroke(INK, 0.8)),
                Line(x, y - cross, x, y + cross, Stroke(INK, 0.8)),
            ]
    return shapes


def note(x: float, y: float, text: str, anchor: Anchor = Anchor.MIDDLE) -> Text:
    """A small word beside a line."""
    return Text(x, y, text, SMALL, QUIET_INK, italic=True, anchor=anchor)


def ruler(place: Place, abdomen: Abdomen) -> list[Shape]:
    """A scale of ten centimetres."""
    y = place.at(0, abdomen.symphysis_y_cm - 5.6)[1]
    x = place.x0 - 5 * place.scale
    stroke = Stroke(QUIET_INK, 0.7)
    shapes: list[Shape] = [Line(x, y, x + 10 * place.scale, y, stroke)]
    for cm in (0, 5, 10):
        at = x + cm * place.scale
        shapes.append(Line(at, y - 0.1, at, y + 0.1, stroke))
    shapes.append(note(x + 5 * place.scale, y + 0.34, "10 cm"))
    return shapes


def sides(place: Place, abdomen: Abdomen, size: float = BODY) -> list[Shape]:
    """Whose left is where. size: of its letters, points."""
    y = place.at(0, abdomen.symphysis_y_cm - 5.2)[1]
    edge = (place.round_cm * 0.62) * place.scale
    return [
        Text(place.x0 + sign * edge, y, text, size, QUIET_INK, True, anchor=Anchor.MIDDLE)
        for text, sign in (("HER LEFT", 1), ("HER RIGHT", -1))
    ]


def fetus_in_place(state: State, abdomen: Abdomen, place: Place) -> list[Shape]:
    """The likeliest fetus: outlined, lightly shaded, its back dotted where it faces the eye."""
    figure = placed(state, abdomen.symphysis_y_cm, abdomen.fundus_y_cm)
    shapes: list[Shape] = []
    light = np.array([-LIGHT_FROM_CM, -LIGHT_FROM_CM]) * place.scale
    for layer in figure.layers:
        for outline in layer.outlines:
            at = place.seen(outline)
            shapes += [
                Polygon(at, FETUS_SHADE),
                Group((Polygon(at + light, FETUS_LIGHT),), clip=Polygon(at)),
                Polygon(at, None, FETUS_LINE),
            ]
        shapes += [Polyline(place.seen(line), FETUS_FINE) for line in layer.lines]
        if layer.name == "trunk" and figure.back_in_front:
            shapes.append(Polyline(place.seen(figure.back), SPINE))
    return shapes


def ghost_in_place(state: State, abdomen: Abdomen, place: Place) -> list[Shape]:
    """The second likeliest: the dashed outline of head and trunk alone."""
    figure: Figure = placed(state, abdomen.symphysis_y_cm, abdomen.fundus_y_cm)
    return [
        Polygon(place.seen(outline), UTERUS_GROUND, GHOST)
        for layer in figure.layers
        if layer.name in ("trunk", "head")
        for outline in layer.outlines
    ]
