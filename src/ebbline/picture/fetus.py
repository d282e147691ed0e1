"""The fetus as a plain figure, posed for any way of lying, as the eye would meet it from the front.

One body of soft balls stands for all: its balls are turned by where the back looks, laid by the
lie, drawn together by a smooth union and outlined. Nobody is meant; proportions are those of a
term fetus in a handbook's plates (crown to rump about 33 cm, head 9.5 by 11.5 cm; from memory).
Centimetres as seen from the front, x to the mother's left, y towards her head.

Body axes: u from the back to the belly, v to the fetus's side, w from the head to the breech.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ebbline.bedside.states import Pole, State
from ebbline.picture.canvas import Points, points, smooth
from ebbline.picture.contours import loops
from ebbline.terms import Attitude, Lie, Presentation

FloatArray = NDArray[np.float64]

GRID_CM = 0.3
NECK = (0.3, -5.6)
TIPPED_BACK = {
    Attitude.FLEXED: 0.0,
    Attitude.MILITARY: 28.0,
    Attitude.PARTLY_EXTENDED: 58.0,
    Attitude.EXTENDED: 92.0,
}
"""Degrees by which the head is tipped back from full flexion (size ours)."""


@dataclass(frozen=True, slots=True)
class _Ball:
    u: float
    v: float
    w: float
    r: float


@dataclass(frozen=True, slots=True)
class _Part:
    """Chains of balls that belong together. soft: how far the union is smoothed, cm."""

    name: str
    chains: tuple[tuple[_Ball, ...], ...]
    soft: float


@dataclass(frozen=True, slots=True, eq=False)
class Layer:
    """One outlined part. outlines: closed, shape (n, 2); lines: features drawn on it."""

    name: str
    outlines: tuple[Points, ...]
    lines: tuple[Points, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Figure:
    """A posed fetus, the part farthest from the eye first.

    back: the line of the back, shape (n, 2); back_in_front: whether it is turned to the eye.
    head, breech: middles of the two poles.
    """

    layers: tuple[Layer, ...]
    back: Points
    back_in_front: bool
    head: tuple[float, float]
    breech: tuple[float, float]


_TRUNK = _Part(
    "trunk",
    (
        (
            _Ball(0.5, 0.0, -6.2, 2.5),
            _Ball(-0.8, 0.0, -3.5, 4.0),
            _Ball(-1.6, 0.0, 0.4, 4.5),
            _Ball(-1.1, 0.0, 4.6, 4.5),
            _Ball(0.7, 0.0, 8.0, 3.9),
        ),
        (_Ball(-0.5, -3.1, -3.8, 2.2), _Ball(-0.5, 3.1, -3.8, 2.2)),
        (_Ball(-0.5, -2.4, 8.5, 2.5), _Ball(-0.5, 2.4, 8.5, 2.5)),
    ),
    1.8,
)
_HEAD = _Part(
    "head",
    (
        (_Ball(-1.3, 0.0, -11.9, 4.5), _Ball(1.7, 0.0, -11.2, 4.45)),
        (_Ball(1.9, 0.0, -10.4, 4.1), _Ball(3.6, 0.0, -7.9, 2.5), _Ball(4.0, 0.0, -6.4, 1.35)),
        (_Ball(5.6, 0.0, -9.2, 0.55), _Ball(6.05, 0.0, -8.5, 0.5)),
    ),
    1.0,
)
_EAR = (
    (-0.2, 4.3, -9.9),
    (0.55, 4.3, -10.5),
    (1.05, 4.3, -9.7),
    (0.7, 4.3, -8.9),
    (0.1, 4.3, -8.4),
    (-0.15, 4.3, -9.1),
)
_LID = ((5.0, 0.9, -9.95), (4.75, 1.6, -9.55), (4.1, 2.4, -9.8))
_MOUTH = ((5.15, 0.0, -7.2), (4.95, 0.5, -7.1), (4.5, 1.0, -7.25))
_BACK_LINE = ((-3.4, -5.6), (-4.9, -2.8), (-6.0, 1.0), (-5.5, 5.0), (-3.2, 8.8), (-2.2, 10.4))
_LAMBDA = (
    ((-5.6, 0.0, -12.8), (-4.4, 0.0, -15.2)),
    ((-5.6, 0.0, -12.8), (-5.2, 2.2, -11.4)),
    ((-5.6, 0.0, -12.8), (-5.2, -2.2, -11.4)),
)
"""The sutures that meet at the small fontanelle."""
_CLEFT = ((-3.3, 0.0, 9.6), (-2.6, 0.0, 11.0), (-1.4, 0.0, 11.8))


def _arm(side: int) -> tuple[_Part, _Part]:
    shoulder, elbow = _Ball(-0.4, side * 4.0, -4.0, 1.6), _Ball(2.7, side * 4.9, 0.6, 1.25)
    wrist = _Ball(4.9, side * 2.0, -2.8, 0.9)
    hand = _Ball(5.5, side * 1.2, -4.2, 1.05)
    return (
        _Part("upper arm", ((shoulder, elbow),), 0.5),
        _Part("forearm", ((elbow, wrist), (wrist, hand)), 0.4),
    )


def _leg(side: int, kind: str) -> tuple[_Part, _Part]:
    hip = _Ball(1.4, side * 2.6, 7.9, 2.7)
    if kind == "straight up":
        knee, ankle = _Ball(5.4, side * 3.2, 2.4, 1.7), _Ball(5.9, side * 2.7, -4.2, 1.05)
        heel, toes = _Ball(5.9, side * 2.6, -5.0, 1.0), _Ball(4.4, side * 2.6, -6.4, 0.7)
    elif kind == "down":
        knee, ankle = _Ball(3.0, side * 2.5, 12.6, 1.65), _Ball(0.6, side * 2.2, 16.8, 1.0)
        heel, toes = _Ball(0.4, side * 2.2, 17.8, 0.95), _Ball(2.4, side * 2.2, 18.8, 0.7)
    else:
        knee, ankle = _Ball(6.3, side * 3.9, 3.0, 1.7), _Ball(4.4, side * 1.6, 8.4, 1.0)
        heel, toes = _Ball(4.4, side * 1.4, 9.3, 1.0), _Ball(6.5, side * 0.4, 9.6, 0.7)
    return (
        _Part("thigh", ((hip, knee),), 0.5),
        _Part("shin", ((replace(knee, r=1.5), ankle), (ankle, heel), (heel, toes)), 0.5),
    )


def _legs(presentation: Presentation) -> tuple[_Part, ...]:
    if presentation is Presentation.FRANK_BREECH:
        return (*_leg(-1, "straight up"), *_leg(1, "straight up"))
    if presentation is Presentation.FOOTLING_BREECH:
        return (*_leg(-1, "folded"), *_leg(1, "down"))
    return (*_leg(-1, "folded"), *_leg(1, "folded"))


def _tipped(part: _Part, degrees: float) -> _Part:
    return replace(
        part, chains=tuple(tuple(_tip(ball, degrees) for ball in chain) for chain in part.chains)
    )


def _tip(ball: _Ball, degrees: float) -> _Ball:
    u, w = _tip_uw(ball.u, ball.w, degrees)
    return replace(ball, u=u, w=w)


def _tip_uw(u: float, w: float, degrees: float) -> tuple[float, float]:
    turn = -math.radians(degrees)
    du, dw = u - NECK[0], w - NECK[1]
    return (
        NECK[0] + du * math.cos(turn) - dw * math.sin(turn),
        NECK[1] + du * math.sin(turn) + dw * math.cos(turn),
    )


@dataclass(frozen=True, slots=True)
class _Pose:
    """Turn about the long axis (radians, 0: back to the eye), then in the picture's plane."""

    turn: float
    lean: float

    def seen(self, u: float, v: float, w: float) -> tuple[float, float, float]:
        """x, y, and z towards the eye."""
        x = -u * math.sin(self.turn) + v * math.cos(self.turn)
        z = -u * math.cos(self.turn) - v * math.sin(self.turn)
        return (
            x * math.cos(self.lean) - w * math.sin(self.lean),
            x * math.sin(self.lean) + w * math.cos(self.lean),
            z,
        )


def _pose(state: State) -> _Pose:
    if state.back is not None:
        turn = state.back * math.pi / 4
        # Upside down is half a turn in the plane; the back then looks to the other side.
        if state.lower_pole is Pole.BREECH:
            return _Pose(-turn, math.pi)
        return _Pose(turn, 0.0)
    front = state.position.value.endswith("anterior")
    side = 1 if state.position.value.startswith("left") else -1
    lean = {Pole.NEITHER: 90.0, Pole.HEAD: 52.0, Pole.BREECH: 128.0}[state.lower_pole]
    # Across, the back is seen from a little above: a quarter off the straight look.
    return _Pose(0.35 * side if front else math.pi - 0.35 * side, side * math.radians(lean))


def _field(
    balls: Sequence[Sequence[tuple[float, float, float]]], soft: float, x: FloatArray, y: FloatArray
) -> FloatArray:
    """Depth inside the smooth union of chains of circles, positive inside, shape (n, m)."""
    gx, gy = np.meshgrid(x, y)
    made: FloatArray | None = None
    for chain in balls:
        for (ax, ay, ar), (bx, by, br) in pairwise(chain):
            dx, dy = bx - ax, by - ay
            length = dx * dx + dy * dy or 1e-9
            share = np.clip(((gx - ax) * dx + (gy - ay) * dy) / length, 0.0, 1.0)
            out = np.hypot(gx - ax - share * dx, gy - ay - share * dy) - ar - share * (br - ar)
            if made is None:
                made = out
            else:
                mix = np.clip(0.5 + 0.5 * (made - out) / soft, 0.0, 1.0)
                made = made * (1 - mix) + out * mix - soft * mix * (1 - mix)
    if made is None:
        raise ValueError("a part has no chain of two balls")
    return -made


def _outline(
    balls: Sequence[Sequence[tuple[float, float, float]]], soft: float
) -> tuple[Points, ...]:
    xs = [x + s * r for chain in balls for x, _, r in chain for s in (-1, 1)]
    ys = [y + s * r for chain in balls for _, y, r in chain for s in (-1, 1)]
    x = np.arange(min(xs) - 1.5, max(xs) + 1.5, GRID_CM)
    y = np.arange(min(ys) - 1.5, max(ys) + 1.5, GRID_CM)
    found = loops(x, y, _field(balls, soft, x, y), 0.0)
    return tuple(loop for loop in found if len(loop) > 8)


def _features(part: _Part, pose: _Pose, tipped: float) -> list[Points]:
    """Lids, ear, mouth, sutures and cleft: what looks to the eye."""
    behind = pose.seen(-1.0, 0.0, 0.0)[2] > 0.6
    if part.name == "trunk":
        return [_on(_CLEFT, 1, pose, 0.0)] if behind else []
    if part.name != "head":
        return []
    made = []
    if behind:
        made += [points(_seen(line, 1, pose, tipped)) for line in _LAMBDA]
    ahead = pose.seen(1.0, 0.0, 0.0)[2]
    for side in (-1, 1):
        facing = pose.seen(0.0, side, 0.0)[2]
        if facing > 0.35:
            made.append(_on(_EAR, side, pose, tipped, closed=True))
        if 0.7 * facing + ahead > 0.2:
            made += [_on(_LID, side, pose, tipped), _on(_MOUTH, side, pose, tipped)]
    return made


Line3 = Sequence[tuple[float, float, float]]


def _seen(line: Line3, side: int, pose: _Pose, tipped: float) -> list[tuple[float, float]]:
    seen = []
    for u, v, w in line:
        tu, tw = _tip_uw(u, w, tipped)
        seen.append(pose.seen(tu, side * v, tw)[:2])
    return seen


def _on(line: Line3, side: int, pose: _Pose, tipped: float, *, closed: bool = False) -> Points:
    """A soft line on the body, as seen."""
    return smooth(points(_seen(line, side, pose, tipped)), closed=closed)


@lru_cache(maxsize=64)
def fetus(state: State) -> Figure:
    """The figure of a state about the middle of its trunk, in cm at term; see `placed`."""
    pose = _pose(state)
    tipped = TIPPED_BACK[state.attitude]
    parts = [
        _TRUNK,
        _tipped(_HEAD, tipped),
        *_arm(-1),
        *_arm(1),
        *_legs(state.presentation),
    ]

    def depth(part: _Part) -> float:
        """How near the eye; the head lies on the trunk, a limb on whichever is nearer."""
        if part.name == "trunk":
            return 0.0
        if part.name == "head":
            return 0.01
        seen = [pose.seen(b.u, b.v, b.w)[2] for chain in part.chains for b in chain]
        # What is farther along a limb lies on what is nearer the trunk.
        outer = 0.4 if part.name in ("forearm", "shin") else 0.0
        return sum(seen) / len(seen) - 0.8 + outer

    layers = []
    for part in sorted(parts, key=depth):
        flat = [[(*pose.seen(b.u, b.v, b.w)[:2], b.r) for b in chain] for chain in part.chains]
        layers.append(
            Layer(part.name, _outline(flat, part.soft), tuple(_features(part, pose, tipped)))
        )
    back = smooth(points(pose.seen(u, 0.0, w)[:2] for u, w in _BACK_LINE))
    _, _, facing = pose.seen(-1.0, 0.0, 0.0)
    middle = _tip_uw(0.5, -11.0, tipped)
    return Figure(
        tuple(layers),
        back,
        facing > 0.2,
        pose.seen(middle[0], 0.0, middle[1])[:2],
        pose.seen(0.4, 0.0, 8.8)[:2],
    )


def moved(figure: Figure, scale: float, dx: float, dy: float) -> Figure:
    """The figure scaled about the origin and shifted, cm."""

    def at(xy: Points) -> Points:
        return np.asarray(xy * scale + np.array([dx, dy]), dtype=np.float64)

    def one(xy: tuple[float, float]) -> tuple[float, float]:
        return xy[0] * scale + dx, xy[1] * scale + dy

    return Figure(
        tuple(
            Layer(layer.name, tuple(map(at, layer.outlines)), tuple(map(at, layer.lines)))
            for layer in figure.layers
        ),
        at(figure.back),
        figure.back_in_front,
        one(figure.head),
        one(figure.breech),
    )


ACROSS = 0.94
"""A fetus that lies across is drawn so much smaller: it is curled up more (ours)."""
HEAD_TALL_CM = 10.0
"""Ten centimetres of head make five fifths above the brim."""
UNDER_FUNDUS_CM = 3.0


def placed(state: State, symphysis_y_cm: float, fundus_y_cm: float) -> Figure:
    """The figure in its place in the uterus.

    The presenting part stands as many fifths above the symphysis as the state says; the other pole
    lies under the fundus as far as the body's length allows. Lies across lie at mid height.
    """
    made = fetus(state)
    size = (fundus_y_cm - symphysis_y_cm) / 36.0
    parts = [layer for layer in made.layers if layer.name in ("trunk", "head")]
    if state.lie is not Lie.LONGITUDINAL:
        up = {Pole.NEITHER: 0.47, Pole.HEAD: 0.46, Pole.BREECH: 0.46}[state.lower_pole]
        middle = np.vstack([o for layer in parts for o in layer.outlines])
        centre = (middle.min(axis=0) + middle.max(axis=0)) / 2
        scale = ACROSS * size
        y = symphysis_y_cm + up * (fundus_y_cm - symphysis_y_cm)
        return moved(made, scale, -float(centre[0]) * scale, y - float(centre[1]) * scale)
    body = np.vstack([o for layer in parts for o in layer.outlines])
    low, high = float(body[:, 1].min()), float(body[:, 1].max())
    bottom = symphysis_y_cm + 0.8 - HEAD_TALL_CM * size * (5 - state.descent) / 5
    room = fundus_y_cm - UNDER_FUNDUS_CM * size - bottom
    scale = min(max(room / (high - low), 0.96 * size), 1.12 * size)
    centre_x = float(body[:, 0].min() + body[:, 0].max()) / 2
    return moved(made, scale, -centre_x * scale * 0.6, bottom - low * scale)
