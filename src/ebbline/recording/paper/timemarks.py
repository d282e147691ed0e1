"""The times printed along the paper: how many minutes pass from one upright line to the next.

As with the numbers beside the paper no digit is believed alone: three or more times must stand in
even steps before they tell anything.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from ebbline.recording.paper.figures import Printed, digits_in
from ebbline.recording.paper.flatten import Image, light_of
from ebbline.recording.paper.rectify import flattened
from ebbline.recording.paper.sheet import Paper

LINES_BELOW, LINES_ABOVE = 6.0, 3.0
"""So many level lines below and above the heart-rate paper are times looked for (ours)."""
PER_LINE = (0.02, 5.0)
"""Least and most minutes from one upright line to the next that papers have (ours)."""
OFF_LINE = 0.3
"""Upright lines by which a time may stand off its place (ours)."""
LEAST_MARKS = 3
LEAST_AGAINST = 4
"""So many times in step tell how time runs, and so many against what a person says (ours)."""
MOST_WORDS = 120
"""Of more numbers along a paper most are no times: then none is looked for (ours)."""


@dataclass(frozen=True, slots=True)
class PrintedTimes:
    """Times in step: minutes = first + per_line * line. agreed: how many of them."""

    first: float
    per_line: float
    agreed: int


def time_marks(image: Image, paper: Paper) -> tuple[Printed, ...]:
    """Every number along the lower and upper edge of a paper that may be a time.

    value: minutes; line: its number among the upright lines. Two digits or one are minutes, three
    or four hours and minutes.
    """
    light = light_of(image)
    first, last, top, bottom = paper.lines
    found = []
    for upper, lower in ((bottom + 0.1, bottom + LINES_BELOW), (top - LINES_ABOVE, top - 0.1)):
        flat = flattened(paper.warp, image, light, (first - 1.5, last + 1.5, upper, lower))
        for digits, column in digits_in(flat.ink, flat.down):
            hours, minutes = int(digits[:-2] or 0), int(digits[-2:])
            if minutes < 60:
                found.append(Printed(60.0 * hours + minutes, flat.left + column / flat.across))
    return tuple(found) if len(found) <= MOST_WORDS else ()


def in_step(marks: Sequence[Printed]) -> PrintedTimes | None:
    """What most of the marks agree on, or None where too few do."""
    best = None
    for one, other in combinations(marks, 2):
        apart = other.line - one.line
        if abs(apart) < 1.0:
            continue
        slope = (other.value - one.value) / apart
        if PER_LINE[0] <= slope <= PER_LINE[1]:
            found = agreeing(marks, slope, one)
            if found is not None and (best is None or found.agreed > best.agreed):
                best = found
    return best


def agreeing(
    marks: Sequence[Printed],
    per_line: float,
    through: Printed | None = None,
    off: float = OFF_LINE,
) -> PrintedTimes | None:
    """The times that agree with so many minutes a line, those through one mark or the most.

    off: upright lines by which a time may stand off its place.
    """
    best = None
    for one in marks if through is None else (through,):
        first = one.value - per_line * one.line
        own = [m for m in marks if abs((m.value - first) / per_line - m.line) < off]
        count = len({m.value for m in own})
        if count >= LEAST_MARKS and (best is None or count > best.agreed):
            middle = float(np.median([m.value - per_line * m.line for m in own]))
            best = PrintedTimes(middle, per_line, count)
    return best


def pairs_at(marks: Sequence[Printed], per_line: float) -> bool:
    """Whether any two times stand so many minutes a line apart, nearly to the point."""
    return any(
        abs(other.line - one.line) >= 2.0
        and abs((other.value - one.value) / (other.line - one.line) / per_line - 1) < NEAR_PAIR
        for one, other in combinations(marks, 2)
    )


NEAR_PAIR = 0.03
"""Share by which the minutes a line of two times alone may be off (ours)."""
