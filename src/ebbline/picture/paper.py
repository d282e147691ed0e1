"""Grid paper at true scale: where a time and a value stand on the sheet, and the lines under it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TypeVar

from ebbline.errors import ContextError
from ebbline.picture.canvas import Anchor, Line, Rect, Shape, Stroke, Text
from ebbline.picture.style import (
    FRAME,
    GRID_FINE,
    GRID_MAJOR,
    GRID_STRONG,
    INK,
    QUIET_INK,
    SMALL,
)
from ebbline.recording.model import FloatArray

SPEEDS = (1, 2, 3)
"""Paper speeds in use, cm/min (FIGO 2015: 1, 2 or 3, and the reader must know which)."""
USUAL_SCALE = {1: 20, 2: 20, 3: 30}
"""bpm per cm that goes with a paper speed (common practice for 1 and 3; 2 as 1)."""
RANGES = {20: (50, 210), 30: (30, 240)}
"""Lowest and highest bpm on the paper for each bpm per cm (common practice)."""
ACTIVITY_RANGE = (0, 100)
ACTIVITY_PER_CM = 25

_FINE_S = {1: 30.0, 2: 15.0, 3: 10.0}
"""Seconds of half a centimetre."""
_TIME_LABEL_MIN = {1: 5, 2: 2, 3: 1}
_LIMITS_BPM = (110, 160)
"""Drawn stronger on every paper: the normal baseline lies between (NICHD 2008, FIGO 2015)."""
_EPSILON = 1e-6

Number = TypeVar("Number", float, FloatArray)


@dataclass(frozen=True, slots=True)
class Scale:
    """Paper speed (cm/min), heart-rate scale (bpm per cm) and its range (bpm)."""

    speed: int
    bpm_per_cm: int
    lowest_bpm: int
    highest_bpm: int

    @property
    def cm_per_s(self) -> float:
        """Centimetres of paper for one second."""
        return self.speed / 60

    @property
    def rate_height(self) -> float:
        """Height of the heart-rate panel, cm."""
        return (self.highest_bpm - self.lowest_bpm) / self.bpm_per_cm

    @property
    def activity_height(self) -> float:
        """Height of the activity panel, cm."""
        return (ACTIVITY_RANGE[1] - ACTIVITY_RANGE[0]) / ACTIVITY_PER_CM


def scale(speed_cm_per_min: int, bpm_per_cm: int | None) -> Scale:
    """The scale of a strip. Raises ContextError for a speed or scale no paper has."""
    if speed_cm_per_min not in SPEEDS:
        raise ContextError(
            f"{speed_cm_per_min} cm/min is not a paper speed.", remedy="Choose 1, 2 or 3 cm/min."
        )
    per_cm = USUAL_SCALE[speed_cm_per_min] if bpm_per_cm is None else bpm_per_cm
    if per_cm not in RANGES:
        raise ContextError(
            f"{bpm_per_cm} bpm/cm is not a scale of heart-rate paper.",
            remedy="Choose 20 or 30 bpm/cm.",
        )
    return Scale(speed_cm_per_min, per_cm, *RANGES[per_cm])


@dataclass(frozen=True, slots=True)
class Panel:
    """A stretch of paper: its place on the sheet (cm), its times (s) and its values.

    The top edge stands for highest, the bottom edge for lowest.
    """

    left: float
    top: float
    height: float
    start_s: float
    end_s: float
    cm_per_s: float
    lowest: float
    highest: float

    @property
    def width(self) -> float:
        """cm."""
        return (self.end_s - self.start_s) * self.cm_per_s

    @property
    def right(self) -> float:
        """x of the right edge, cm."""
        return self.left + self.width

    @property
    def bottom(self) -> float:
        """y of the bottom edge, cm."""
        return self.top + self.height

    @property
    def frame(self) -> Rect:
        """The panel's outline, to clip by."""
        return Rect(self.left, self.top, self.width, self.height)

    def x(self, time_s: float) -> float:
        """Place of a time, cm."""
        return self.left + (time_s - self.start_s) * self.cm_per_s

    def y(self, value: Number) -> Number:
        """Place of a value or of an array of values, cm."""
        return self.bottom - (value - self.lowest) / (self.highest - self.lowest) * self.height


def multiples(step: float, first: float, last: float) -> list[float]:
    """All whole multiples of step from first to last, both ends included."""
    begin = math.ceil(first / step - _EPSILON)
    end = math.floor(last / step + _EPSILON)
    return [n * step for n in range(begin, end + 1)]


def _time_lines(panel: Panel, speed: int) -> list[tuple[float, Stroke]]:
    lines = []
    for time_s in multiples(_FINE_S[speed], panel.start_s, panel.end_s):
        if math.isclose(time_s % 600, 0):
            stroke = GRID_STRONG
        elif math.isclose(time_s % 60, 0):
            stroke = GRID_MAJOR
        else:
            stroke = GRID_FINE
        lines.append((time_s, stroke))
    return lines


def _lines(panel: Panel, speed: int, levels: list[tuple[float, Stroke]]) -> tuple[Shape, ...]:
    """All lines of a panel, the strong ones last so that they lie on top."""
    across = [
        (stroke, Line(panel.left, panel.y(v), panel.right, panel.y(v), stroke))
        for v, stroke in levels
    ]
    down = [
        (stroke, Line(panel.x(t), panel.top, panel.x(t), panel.bottom, stroke))
        for t, stroke in _time_lines(panel, speed)
    ]
    drawn = sorted(across + down, key=lambda pair: pair[0].width)
    outline = Rect(panel.left, panel.top, panel.width, panel.height, None, FRAME)
    return (*(line for _, line in drawn), outline)


def rate_grid(panel: Panel, paper: Scale) -> tuple[Shape, ...]:
    """Lines of the heart-rate paper: every 10 bpm, every centimetre, 110 and 160 strongest."""

    def stroke(bpm: float) -> Stroke:
        if bpm in _LIMITS_BPM:
            return GRID_STRONG
        return GRID_MAJOR if bpm % paper.bpm_per_cm == 0 else GRID_FINE

    levels = [(bpm, stroke(bpm)) for bpm in multiples(10, panel.lowest, panel.highest)]
    return _lines(panel, paper.speed, levels)


def activity_grid(panel: Panel, paper: Scale) -> tuple[Shape, ...]:
    """Lines of the activity paper: every 10 and every 50."""
    levels = [
        (value, GRID_MAJOR if value % 50 == 0 else GRID_FINE)
        for value in multiples(10, panel.lowest, panel.highest)
    ]
    return _lines(panel, paper.speed, levels)


def rate_numbers(panel: Panel, paper: Scale) -> list[tuple[float, bool]]:
    """The bpm written beside the paper, and whether each is written bold."""
    step = paper.bpm_per_cm
    values = {*multiples(step, panel.lowest, panel.highest), *map(float, _LIMITS_BPM)}
    return [(value, value in _LIMITS_BPM) for value in sorted(values)]


def activity_numbers(panel: Panel) -> list[tuple[float, bool]]:
    """The activity values written beside the paper."""
    return [(value, False) for value in multiples(20, panel.lowest, panel.highest)]


def numbers(panel: Panel, values: list[tuple[float, bool]]) -> tuple[Text, ...]:
    """Values written at both sides of a panel."""
    written = []
    for value, bold in values:
        y = panel.y(value) + 0.085
        colour = INK if bold else QUIET_INK
        for x, anchor in ((panel.left - 0.08, Anchor.END), (panel.right + 0.08, Anchor.START)):
            written.append(Text(x, y, f"{value:.0f}", SMALL, colour, bold, anchor=anchor))
    return tuple(written)


def label_times(start_s: float, end_s: float, speed: int) -> list[float]:
    """The times that are written under the paper, s from the recording's start."""
    return multiples(_TIME_LABEL_MIN[speed] * 60, start_s, end_s)
