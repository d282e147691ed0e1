"""What the hands and the ear found, drawn where they found it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ebbline.bedside.exam import ExamResult
from ebbline.bedside.findings_catalogue import HEART_ZONES, KICKS
from ebbline.bedside.geometry import Abdomen
from ebbline.picture.canvas import (
    CM_PER_POINT,
    Anchor,
    Circle,
    Line,
    Polygon,
    Polyline,
    Rect,
    Shape,
    Stroke,
    Text,
    points,
)
from ebbline.picture.fonts import overlap, text_width
from ebbline.picture.style import INK, PAPER, QUIET_INK, SMALL

if TYPE_CHECKING:
    from ebbline.picture.abdomen import Place

_BACK = Stroke(INK, 2.6, round_ends=True)
_THIN = Stroke(INK, 1.0, round_ends=True)
_EDGE = Stroke(QUIET_INK, 0.4)
_HIGH, _LOW = 0.68, 0.30
"""From where to where a back is drawn, shares of the fundal height."""
_OUT = {"front": 0.0, "left front": 0.34, "left flank": 0.62, "left": 0.62, "left far": 0.90}
"""How far out a back is drawn, share of the half width."""

Box = tuple[float, float, float, float]


class _Board:
    """Shapes with labels that keep out of each other's way."""

    def __init__(self, taken: list[Box]) -> None:
        self.shapes: list[Shape] = []
        self._taken = list(taken)

    def label(self, x: float, y: float, text: str) -> None:
        """A word on a white plate, near a place of the page."""
        width = text_width(text, SMALL) + 0.2
        height = SMALL * CM_PER_POINT + 0.12
        box: Box = (0.0, 0.0, 0.0, 0.0)
        for dx, dy in _NUDGES:
            left, top = x + dx - width / 2, y + dy - height / 2
            box = (left, top, left + width, top + height)
            if not any(overlap(box, other) for other in self._taken):
                break
        self._taken.append(box)
        self.shapes += [
            Rect(box[0], box[1], width, height, PAPER, _EDGE, radius=0.06),
            Text(
                (box[0] + box[2]) / 2,
                box[3] - 0.1,
                text,
                SMALL,
                INK,
                anchor=Anchor.MIDDLE,
            ),
        ]

    def draw(self, *shapes: Shape) -> None:
        self.shapes += shapes

    def mark(self, x: float, y: float, half: float, *shapes: Shape) -> None:
        """Shapes that labels keep off, within a square around a place."""
        self._taken.append((x - half, y - half, x + half, y + half))
        self.shapes += shapes


_NUDGES = [
    (dx, dy)
    for dy in (0.0, 0.45, -0.45, 0.9, -0.9, 1.35, -1.35, 1.8, -1.8)
    for dx in (0.0, 0.8, -0.8, 1.6, -1.6)
]


def findings_on(result: ExamResult, place: Place) -> list[Shape]:
    """The findings of one examination as shapes on the abdomen."""
    answers = {f.item: f.answer for f in result.findings}
    abdomen = result.sensors.abdomen
    board = _Board(_site_boxes(result, place))
    if "fundus" in answers:
        x, y = place.at(0, abdomen.fundus_y_cm + 1.7)
        board.label(x, y, f"fundus: {answers['fundus']}")
    _back(board, answers.get("back"), abdomen, place)
    _limbs(board, answers.get("limbs"), abdomen, place)
    _brim(board, answers, abdomen, place)
    _prominence(board, answers.get("prominence"), abdomen, place)
    _heart(board, answers.get("heart"), abdomen, place)
    _kicks(board, answers.get("movement"), abdomen, place)
    _poles(board, answers.get("poles"), abdomen, place)
    return board.shapes


_POLE_PLACES = {"flank": (0.60, 0.50), "fossa": (0.52, 0.22), "upper": (0.52, 0.78)}
"""Share of the half width, and of the fundal height, where a head beside the midline is drawn."""
HEAD_CM = 4.7
"""Half the breadth of a head at term (biparietal diameter 9.4 cm; handbook value, from memory)."""


def _poles(board: _Board, answer: str | None, abdomen: Abdomen, place: Place) -> None:
    if answer is None or answer == "unclear":
        return
    where = next((name for name in _POLE_PLACES if name in answer), None)
    if where is None or not answer.startswith("head"):
        x, y = place.at(0, abdomen.up(0.56))
        board.label(x, y, f"poles in the flanks: {answer}")
        return
    share, up = _POLE_PLACES[where]
    side = 1 if "left" in answer else -1
    y_cm = abdomen.up(up)
    x, y = place.at(side * share * abdomen.half_width_cm(y_cm), y_cm)
    board.draw(Circle(x, y, HEAD_CM * place.scale, None, _THIN))
    board.label(
        x,
        y - 0.8,
        {"flank": "head in the flank", "fossa": "head in the fossa"}.get(where, "head, high"),
    )


def _site_boxes(result: ExamResult, place: Place) -> list[Box]:
    plan = result.sensors
    centres = [plan.best.point, plan.contraction.point]
    if plan.fallback is not None:
        centres.append(plan.fallback.point)
    boxes = [(x - 0.5, y - 0.5, x + 0.5, y + 0.5) for x, y in map(place.point, centres)]
    if len(plan.drift) > 1:
        # The arrow's tip, with the words under it.
        x, y = place.point(plan.drift[-1].point)
        boxes.append((x - 0.7, y - 0.2, x + 0.7, y + 0.6))
    return boxes


def _side(word: str) -> int:
    return 1 if word.startswith("left") else -1 if word.startswith("right") else 0


def _out(word: str) -> float:
    """How far out, as a share of the half width, positive to her left."""
    sign = _side(word) or 1
    return sign * _OUT.get(word.replace("right", "left"), 0.62)


def _back(board: _Board, answer: str | None, abdomen: Abdomen, place: Place) -> None:
    if answer is None or answer in ("unclear",):
        return
    if answer == "not felt":
        x, y = place.at(0, abdomen.up(0.62))
        board.label(x, y, "back not felt")
        return
    if answer == "across":
        wide = 0.6 * abdomen.half_width_cm(0.0)
        curve = place.path((-wide, -1.2), (0, 1.4), (wide, -1.2))
        board.draw(Polyline(curve, _BACK))
        x, y = place.at(0, 3.0)
        board.label(x, y, "back across")
        return
    share = _out(answer)
    heights = [abdomen.up(_LOW + (_HIGH - _LOW) * i / 4) for i in range(5)]
    curve = place.path(*((share * abdomen.half_width_cm(y), y) for y in heights))
    board.draw(Polyline(curve, _BACK))
    x, y = place.at(share * abdomen.half_width_cm(heights[4]), heights[4] + 1.6)
    board.label(x, y, f"back: {answer}")


def _limbs(board: _Board, answer: str | None, abdomen: Abdomen, place: Place) -> None:
    if answer is None or answer == "unclear":
        return
    if answer == "not felt":
        x, y = place.at(0, abdomen.up(0.68))
        board.label(x, y, "limbs not felt")
        return
    spread = {"left": (0.55,), "right": (-0.55,), "both sides": (0.4, -0.4)}.get(answer, (0.0,))
    y = abdomen.up(0.66)
    for share in spread:
        middle = share * abdomen.half_width_cm(y)
        for dx, dy, lean in ((-1.8, 1.0, 0.5), (0.4, 2.0, -0.4), (1.6, -0.6, 0.6)):
            x0, y0 = place.at(middle + dx, y + dy)
            board.draw(
                Circle(x0, y0, 0.13, PAPER, _THIN), Line(x0 + 0.13, y0, x0 + 0.42, y0 - lean, _THIN)
            )
        lx, ly = place.at(middle, y - 2.6)
        board.label(lx, ly, "limbs")


def _brim(board: _Board, answers: dict[str, str], abdomen: Abdomen, place: Place) -> None:
    said = []
    if "brim" in answers:
        said.append(f"brim: {answers['brim']}")
    if "fifths" in answers:
        fifths = answers["fifths"]
        said.append(f"{fifths}/5 above" if fifths.isdigit() else f"{fifths} above the brim")
    if "mobility" in answers:
        said.append(answers["mobility"])
    if said:
        x, y = place.at(0, abdomen.symphysis_y_cm + 2.2)
        board.label(x, y, ", ".join(said))


def _prominence(board: _Board, answer: str | None, abdomen: Abdomen, place: Place) -> None:
    if answer is None or answer == "unclear":
        return
    height = abdomen.symphysis_y_cm + 4.6
    sides = {"left": (1,), "right": (-1,), "both alike": (1, -1)}.get(answer, ())
    for side in sides:
        x, y = place.at(side * 6.2, height)
        board.draw(
            Polygon(points([(x, y), (x + side * 0.42, y - 0.2), (x + side * 0.42, y + 0.2)]), INK)
        )
    side = sides[0] if sides else 1
    x, y = place.at(side * 10.8, height)
    board.label(x, y, "prominence" if sides else "prominence not felt")


def _heart(board: _Board, answer: str | None, abdomen: Abdomen, place: Place) -> None:
    if answer is None:
        return
    if answer == "not heard":
        x, y = place.at(0, -3.2)
        board.label(x, y, "heart not heard")
        return
    if answer not in HEART_ZONES:
        return
    side, _, height = answer.rpartition(" ")
    share = {"midline": 0.0, "left": 0.068, "left flank": 0.15}[side.replace("right", "left")]
    x_cm = (_side(side) or 1) * share * abdomen.girth_cm
    y_cm = {"above": 5.0, "level": 0.0, "below": -6.0}[height]
    x, y = place.at(x_cm, y_cm)
    size = 0.2
    diamond = Polygon(points([(x, y - size), (x + size, y), (x, y + size), (x - size, y)]), INK)
    board.mark(x, y, size, diamond)
    board.label(x, y - 0.62, "heard best here")


def _kicks(board: _Board, answer: str | None, abdomen: Abdomen, place: Place) -> None:
    if answer not in KICKS:
        return
    up, _, across = answer.partition(" ")
    y_cm = abdomen.up({"upper": 0.80, "middle": 0.52, "lower": 0.26}[up])
    x_cm = _side(across) * 0.55 * abdomen.half_width_cm(y_cm)
    x, y = place.at(x_cm, y_cm)
    for dx, dy in ((0.22, 0.0), (0.0, 0.22), (0.16, 0.16), (0.16, -0.16)):
        board.draw(Line(x - dx, y - dy, x + dx, y + dy, _THIN))
    board.label(x, y - 0.55, "kicks")
