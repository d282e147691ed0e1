"""What the hands and the ear found: a small mark where it was, its words in the margin."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

from ebbline.bedside.exam import ExamResult
from ebbline.bedside.findings_catalogue import HEART_ZONES, KICKS
from ebbline.bedside.geometry import Abdomen, zone_centre
from ebbline.picture.abdomen_place import Place
from ebbline.picture.canvas import (
    CM_PER_POINT,
    Anchor,
    Circle,
    Line,
    Polygon,
    Rect,
    Shape,
    Stroke,
    Text,
    points,
)
from ebbline.picture.fonts import text_width
from ebbline.picture.style import INK, PAPER, QUIET_INK, SMALL

LEADER = Stroke(QUIET_INK, 0.5)
LABEL_SIZE = SMALL + 1.4
LABEL_APART = 0.46
_THIN = Stroke(INK, 1.0, round_ends=True)
_OUT = {"front": 0.0, "left front": 0.34, "left flank": 0.66, "left": 0.66, "left far": 0.92}
"""How far out a back was felt, share of the half width."""
_POLE_PLACES = {"flank": (0.60, 0.50), "fossa": (0.52, 0.22), "upper": (0.52, 0.78)}
"""Share of the half width, and of the fundal height, where a head beside the midline was felt."""


@dataclass(frozen=True, slots=True)
class Callout:
    """Words in the margin with a leader to a place of the page. mark: "dot", "heart", "kicks"."""

    x: float
    y: float
    text: str
    left: bool
    mark: str = "dot"


class Put(Protocol):
    """Adds a callout at a place of the skin."""

    def __call__(
        self, x_cm: float, y_cm: float, text: str, mark: str = "dot", side: int = 0
    ) -> None:
        """side: 1 for the margin on her left, -1 on her right, 0 by the place."""


def _side(word: str) -> int:
    return 1 if word.startswith("left") else -1 if word.startswith("right") else 0


def callouts(result: ExamResult, place: Place) -> list[Callout]:
    """What was found, with where it was. What was not examined has none."""
    answers = {f.item: f.answer for f in result.findings}
    abdomen = result.sensors.abdomen
    made: list[Callout] = []

    def put(x_cm: float, y_cm: float, text: str, mark: str = "dot", side: int = 0) -> None:
        x, y = place.at(x_cm, y_cm)
        towards = side or (1 if x_cm > 0.5 else -1 if x_cm < -0.5 else 0)
        made.append(Callout(x, y, text, towards < 0 or (towards == 0 and len(made) % 2 == 1), mark))

    if "fundus" in answers:
        put(0, abdomen.fundus_y_cm - 1.0, f"fundus: {answers['fundus']}", side=1)
    _flanks(answers, abdomen, put)
    _inlet(answers, abdomen, put)
    if answers.get("heart") == "not heard":
        put(0, -3.2, "heart not heard")
    elif answers.get("heart") in HEART_ZONES:
        point = zone_centre(answers["heart"], abdomen)
        put(point.x_cm, point.y_cm, "heart heard best", "heart")
    kick = answers.get("movement", "")
    if kick in KICKS:
        up, _, across = kick.partition(" ")
        y_cm = abdomen.up({"upper": 0.80, "middle": 0.52, "lower": 0.26}[up])
        put(_side(across) * 0.6 * abdomen.half_width_cm(y_cm), y_cm, "kicks", "kicks")
    return made


def _flanks(answers: dict[str, str], abdomen: Abdomen, put: Put) -> None:
    back = answers.get("back")
    if back in ("not felt", "across"):
        put(0, abdomen.up(0.62), f"back {back}")
    elif back is not None:
        share = _OUT.get(back.replace("right", "left"), 0.66) * (_side(back) or 1)
        y_cm = abdomen.up(0.56)
        put(share * abdomen.half_width_cm(y_cm), y_cm, f"back: {back}")
    limbs = answers.get("limbs")
    if limbs in ("not felt", "unclear"):
        put(0, abdomen.up(0.70), f"limbs {limbs}")
    elif limbs is not None:
        spread = {"left": (1,), "right": (-1,), "both sides": (1, -1)}.get(limbs, (0,))
        y_cm = abdomen.up(0.66)
        for side in spread:
            put(side * 0.55 * abdomen.half_width_cm(y_cm), y_cm, "limbs")
    poles = answers.get("poles")
    if poles is None or poles == "unclear":
        return
    where = next((name for name in _POLE_PLACES if name in poles), None)
    if where is None or not poles.startswith("head"):
        put(0, abdomen.up(0.44), f"poles in the flanks: {poles}")
        return
    share, up = _POLE_PLACES[where]
    side = 1 if "left" in poles else -1
    y_cm = abdomen.up(up)
    words = {"flank": "head in the flank", "fossa": "head in the fossa"}.get(where, "head, high")
    put(side * share * abdomen.half_width_cm(y_cm), y_cm, words)


def _inlet(answers: dict[str, str], abdomen: Abdomen, put: Put) -> None:
    said = []
    if "brim" in answers:
        put(0, abdomen.symphysis_y_cm + 2.4, f"brim: {answers['brim']}", side=-1)
    if "fifths" in answers:
        fifths = answers["fifths"].removesuffix("/5")
        said.append(f"{fifths}/5 above" if fifths.isdigit() else f"{fifths} above the brim")
    if "mobility" in answers:
        said.append(answers["mobility"])
    if said:
        put(0, abdomen.symphysis_y_cm + 1.2, ", ".join(said), side=-1)
    prominence = answers.get("prominence")
    height = abdomen.symphysis_y_cm + 4.4
    sides = {"left": (1,), "right": (-1,), "both alike": (1, -1)}.get(prominence or "", ())
    for side in sides:
        put(side * 4.6, height, "prominence")
    if prominence is not None and not sides:
        put(0, height, f"prominence {prominence}", side=1)


def margin_labels(
    found: list[Callout], left: float, right: float, top: float, bottom: float
) -> list[Shape]:
    """Words stacked in the two margins, each with a leader to its mark.

    left, right: where the words end and begin, cm; top, bottom: what they may use.
    """
    shapes: list[Shape] = []
    for on_left in (True, False):
        column = sorted((c for c in found if c.left is on_left), key=lambda c: c.y)
        heights = _spread([c.y for c in column], top, bottom)
        for one, y in zip(column, heights, strict=True):
            edge = left if on_left else right
            width = text_width(one.text, LABEL_SIZE)
            begin = edge - width if on_left else edge
            shapes += [
                Line(edge + (0.1 if on_left else -0.1), y - 0.09, one.x, one.y, LEADER),
                *_mark(one),
                Rect(
                    begin - 0.06,
                    y - LABEL_SIZE * CM_PER_POINT - 0.02,
                    width + 0.12,
                    LABEL_SIZE * CM_PER_POINT + 0.14,
                    PAPER,
                    None,
                    radius=0.06,
                ),
                Text(begin, y, one.text, LABEL_SIZE, INK, anchor=Anchor.START),
            ]
    return shapes


def _spread(wanted: list[float], top: float, bottom: float) -> list[float]:
    """Heights as near to the wanted ones as their distance allows; wanted rising."""
    made: list[float] = []
    for y in wanted:
        made.append(max(y, made[-1] + LABEL_APART if made else top))
    over = made[-1] - bottom if made else 0.0
    if over > 0:
        made[-1] -= over
        for i in range(len(made) - 2, -1, -1):
            made[i] = min(made[i], made[i + 1] - LABEL_APART)
    return made


def _mark(one: Callout) -> list[Shape]:
    x, y = one.x, one.y
    if one.mark == "heart":
        size = 0.2
        corners = [(x, y - size), (x + size, y), (x, y + size), (x - size, y)]
        return [Polygon(points(corners), INK, Stroke(PAPER, 0.8))]
    if one.mark == "kicks":
        return [
            Line(x - dx, y - dy, x + dx, y + dy, _THIN)
            for dx, dy in ((0.22, 0.0), (0.0, 0.22), (0.16, 0.16), (0.16, -0.16))
        ]
    return [Circle(x, y, 0.07, INK, Stroke(PAPER, 0.8))]
