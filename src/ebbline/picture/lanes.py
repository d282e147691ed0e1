"""Marks beside the paper: each a bracket over its stretch of time with its name, none on another.

A mark knows its name at several lengths. Marks are set into lanes so that no two of a lane
touch; where room is short, names are shortened before a further lane is opened, and no mark is
ever left out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

from ebbline.picture.canvas import CM_PER_POINT, Anchor, Group, Line, Polygon, Shape, Stroke, Text
from ebbline.picture.canvas import points as corners
from ebbline.picture.fonts import text_width
from ebbline.picture.look import SMALL
from ebbline.picture.paper import Panel

PITCH = 0.36
"""Height of one lane, cm."""
_TICK = 0.09
_SPACE = 0.07
_BRACKET = 0.7
_DASH = (0.07, 0.05)
_FURTHER = 2
"""Steps by which a name is rather shortened than its mark moved one lane away from the paper."""


@dataclass(frozen=True, slots=True)
class Mark:
    """One finding to be bracketed and named.

    names: the name from its fullest to its shortest form; the last may be one letter, told in
    the legend by `letter`. point_s: the nadir or peak (NaN: none). sure: False dashes the
    bracket. tells: the whole of it in words.
    """

    start_s: float
    end_s: float
    names: tuple[str, ...]
    colour: str
    tells: str
    point_s: float = math.nan
    sure: bool = True
    letter: str = ""


@dataclass(frozen=True, slots=True)
class Placed:
    """A mark in its lane: bracket from x0 to x1, its name centred at label_x, cm."""

    mark: Mark
    lane: int
    x0: float
    x1: float
    label_x: float
    name: str


def place(marks: Sequence[Mark], panel: Panel, lanes: int) -> tuple[Placed, ...]:
    """Set the marks that reach into the panel's time into lanes, lane 0 nearest to the paper.

    lanes: how many to fill before names are cut to their shortest; more are opened only when
    even the shortest names do not fit.
    """
    seen = sorted(
        (m for m in marks if m.start_s < panel.end_s and m.end_s >= panel.start_s),
        key=lambda mark: (mark.start_s, mark.end_s),
    )
    longest = max((len(mark.names) for mark in seen), default=1)
    lanes = max(lanes, _at_once(seen))
    while True:
        for shortest in range(longest):
            found = _attempt(seen, panel, lanes, shortest)
            if found is not None:
                return found
        lanes += 1


def _at_once(marks: Sequence[Mark]) -> int:
    """The most marks that last at the same time: fewer lanes can never hold them."""
    return max(
        (sum(other.start_s <= one.start_s <= other.end_s for other in marks) for one in marks),
        default=0,
    )


def _attempt(
    marks: Sequence[Mark], panel: Panel, lanes: int, shortest: int
) -> tuple[Placed, ...] | None:
    """All marks with names no fuller than the one numbered shortest, or None."""
    ends = [-math.inf] * lanes
    found = []
    for mark in marks:
        placed = _fit(mark, panel, ends, shortest)
        if placed is None:
            return None
        found.append(placed)
    return tuple(found)


def _fit(mark: Mark, panel: Panel, ends: list[float], shortest: int) -> Placed | None:
    x0 = panel.x(max(mark.start_s, panel.start_s))
    x1 = max(panel.x(min(mark.end_s, panel.end_s)), x0)
    names = mark.names[min(shortest, len(mark.names) - 1) :]
    choices = sorted(
        (
            (n + _FURTHER * lane, lane, name)
            for n, name in enumerate(names)
            for lane in range(len(ends))
        )
    )
    for _, lane, name in choices:
        half = text_width(name, SMALL) / 2
        if 2 * half > panel.width and name != names[-1]:
            continue
        label_x = max(min((x0 + x1) / 2, panel.right - half), panel.left + half)
        if min(x0, label_x - half) >= ends[lane]:
            ends[lane] = max(x1, label_x + half) + _SPACE
            return Placed(mark, lane, x0, x1, label_x, name)
    return None


def lane_count(placed: Sequence[Placed]) -> int:
    """How many lanes are in use."""
    return max((one.lane + 1 for one in placed), default=0)


def shapes(placed: Sequence[Placed], panel: Panel, edge: float, *, above: bool) -> list[Shape]:
    """Brackets and names; edge: y of the paper's side they stand at, above or below it."""
    return [_shape(one, panel, edge, -1.0 if above else 1.0) for one in placed]


def _shape(one: Placed, panel: Panel, edge: float, away: float) -> Group:
    mark = one.mark
    pen = Stroke(mark.colour, _BRACKET, () if mark.sure else _DASH)
    near = edge + away * (one.lane * PITCH + 0.04)
    bar = near + away * _TICK
    drawn: list[Shape] = [Line(one.x0, bar, one.x1, bar, pen)]
    whole = Stroke(mark.colour, _BRACKET)
    if mark.start_s >= panel.start_s:
        drawn.append(Line(one.x0, near, one.x0, bar, whole))
    if mark.end_s <= panel.end_s:
        drawn.append(Line(one.x1, near, one.x1, bar, whole))
    if panel.start_s <= mark.point_s <= panel.end_s:
        x = panel.x(mark.point_s)
        tip = corners([(x, near), (x - 0.055, bar), (x + 0.055, bar)])
        drawn.append(Polygon(tip, mark.colour))
    capital = 0.66 * SMALL * CM_PER_POINT
    writing = bar + (0.05 + capital if away > 0 else -0.085)
    drawn.append(Text(one.label_x, writing, one.name, SMALL, mark.colour, anchor=Anchor.MIDDLE))
    return Group(tuple(drawn), title=mark.tells)
