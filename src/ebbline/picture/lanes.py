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
from ebbline.picture.paper import Panel
from ebbline.picture.style import SMALL

PITCH = 0.35
"""Height of one lane, cm."""
_TICK = 0.08
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
    """A mark in its lane: bracket from x0 to x1, its name centred at label_x, cm.

    step: which of the mark's names it bears.
    """

    mark: Mark
    lane: int
    x0: float
    x1: float
    label_x: float
    step: int

    @property
    def name(self) -> str:
        """The name it bears."""
        return self.mark.names[self.step]


def place(marks: Sequence[Mark], panel: Panel, lanes: int) -> tuple[Placed, ...]:
    """Set the marks that reach into the panel's time into lanes, lane 0 nearest to the paper.

    lanes: how many to fill before a further one is opened, which is done only where even the
    shortest names do not fit.
    """
    seen = sorted(
        (m for m in marks if m.start_s < panel.end_s and m.end_s >= panel.start_s),
        key=lambda mark: (mark.start_s, mark.end_s),
    )
    lanes = max(lanes, _at_once(seen))
    while (found := _attempt(seen, panel, lanes)) is None:
        lanes += 1
    return found


def _at_once(marks: Sequence[Mark]) -> int:
    """The most marks that last at the same time: fewer lanes can never hold them."""

    def lasts(mark: Mark, time_s: float) -> bool:
        return mark.start_s <= time_s < max(mark.end_s, math.nextafter(mark.start_s, math.inf))

    begins = [mark.start_s for mark in marks]
    return max((sum(lasts(mark, begin) for mark in marks) for begin in begins), default=0)


def _attempt(marks: Sequence[Mark], panel: Panel, lanes: int) -> tuple[Placed, ...] | None:
    """All marks from left to right with the fullest names that leave room for the next; or None.

    Where a mark finds no room, the widest name of those in its way is shortened, and all from
    there on are set again.
    """
    shortest = [0] * len(marks)
    placed: list[Placed] = []
    while len(placed) < len(marks):
        last = _last_of_each_lane(placed, lanes)
        mark = marks[len(placed)]
        found = _fit(mark, panel, [_end(placed, i) for i in last], shortest[len(placed)])
        if found is not None:
            placed.append(found)
            continue
        in_the_way = [
            i for i in last if i is not None and placed[i].step + 1 < len(placed[i].mark.names)
        ]
        if not in_the_way:
            return None
        widest = max(in_the_way, key=lambda i: text_width(placed[i].name, SMALL))
        shortest[widest] = placed[widest].step + 1
        del placed[widest:]
    return tuple(placed)


def _last_of_each_lane(placed: Sequence[Placed], lanes: int) -> list[int | None]:
    last: list[int | None] = [None] * lanes
    for i in range(len(placed) - 1, -1, -1):
        if last[placed[i].lane] is None:
            last[placed[i].lane] = i
        if None not in last:
            break
    return last


def _end(placed: Sequence[Placed], i: int | None) -> float:
    """Where the next mark of a lane may begin, cm."""
    if i is None:
        return -math.inf
    return max(placed[i].x1, placed[i].label_x + text_width(placed[i].name, SMALL) / 2 + _SPACE)


def _fit(mark: Mark, panel: Panel, ends: Sequence[float], shortest: int) -> Placed | None:
    """The mark with the best of its names in the best of the lanes, or None."""
    x0 = panel.x(max(mark.start_s, panel.start_s))
    x1 = max(panel.x(min(mark.end_s, panel.end_s)), x0)
    choices = sorted(
        (n + _FURTHER * lane, lane, n)
        for n in range(shortest, len(mark.names))
        for lane in range(len(ends))
    )
    for _, lane, n in choices:
        half = text_width(mark.names[n], SMALL) / 2
        if 2 * half > panel.width and n + 1 < len(mark.names):
            continue
        label_x = max(min((x0 + x1) / 2, panel.right - half), panel.left + half)
        if min(x0, label_x - half) >= ends[lane]:
            return Placed(mark, lane, x0, x1, label_x, n)
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
    near = edge + away * (one.lane * PITCH + 0.02)
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
    writing = bar + (0.05 + capital if away > 0 else -0.07)
    drawn.append(Text(one.label_x, writing, one.name, SMALL, mark.colour, anchor=Anchor.MIDDLE))
    return Group(tuple(drawn), title=mark.tells)
