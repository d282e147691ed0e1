"""The names on a teacher's plate: parts of the fetus and of the mother, and no number."""

from __future__ import annotations

import numpy as np

from ebbline.bedside.geometry import Abdomen, Point, site
from ebbline.bedside.states import State
from ebbline.picture.abdomen_findings import Callout, margin_labels
from ebbline.picture.abdomen_place import Place
from ebbline.picture.canvas import Shape
from ebbline.picture.fetus import placed

MARGIN_CM = 3.6


def plate_shapes(state: State, abdomen: Abdomen, place: Place, width: float) -> list[Shape]:
    """The names in the margins with their leaders, and the place of the heart."""
    figure = placed(state, abdomen.symphysis_y_cm, abdomen.fundus_y_cm)
    found: list[Callout] = []

    def put(xy: tuple[float, float], text: str, mark: str = "dot") -> None:
        x = place.x0 + xy[0] * place.scale
        y = place.y0 - xy[1] * place.scale
        found.append(Callout(x, y, text, x < place.x0, mark))

    put(figure.head, "head")
    put(figure.breech, "breech")
    middle = figure.back[len(figure.back) // 2]
    behind = state.back in (3, 4, 5) or (state.back is None and not figure.back_in_front)
    put((float(middle[0]), float(middle[1])), "back, behind" if behind else "back")
    limbs = [
        outline
        for layer in figure.layers
        if layer.name in ("shin", "forearm")
        for outline in layer.outlines
    ]
    if limbs and not figure.back_in_front:
        centre = np.vstack(limbs).mean(axis=0)
        put((float(centre[0]), float(centre[1])), "limbs")
    heart: Point = site(state, abdomen, 1.0)
    x, y = place.point(heart)
    found.append(Callout(x, y, "heart heard here", x < place.x0, "heart"))
    x, y = place.at(0, abdomen.fundus_y_cm)
    found.append(Callout(x, y + 0.1, "fundus", False))
    x, y = place.at(0, 0)
    found.append(Callout(x, y, "umbilicus", x >= place.x0))
    return margin_labels(found, MARGIN_CM, width - MARGIN_CM, 2.2, 18.5)
