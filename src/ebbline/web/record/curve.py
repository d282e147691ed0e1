"""The curves of cervix and descent, placed in the picture that the page shows."""

from __future__ import annotations

from dataclasses import dataclass

from ebbline.journal.chart import Chart
from ebbline.journal.chart_grid import Grid

STEP_PX = 72
"""Width of half an hour; the table's columns have the same."""
HEIGHT_PX = 220
EDGE_PX = 14


@dataclass(frozen=True, slots=True)
class Point:
    """A point of a curve, px, with what it says."""

    x: float
    y: float
    words: str


@dataclass(frozen=True, slots=True)
class Curve:
    """width, height: px. cervix, descent: points; levels: whole centimetres with their heights."""

    width: int
    height: int
    cervix: tuple[Point, ...]
    descent: tuple[Point, ...]
    levels: tuple[tuple[int, float], ...]
    hours: tuple[float, ...]


def curve(chart: Chart, lines: Grid) -> Curve:
    """The curves of a chart on the grid's columns; ten centimetres at the top, fifths doubled."""
    span = HEIGHT_PX - 2 * EDGE_PX

    def height(value: float) -> float:
        return round(HEIGHT_PX - EDGE_PX - value / 10 * span, 1)

    def placed(name: str, factor: float) -> tuple[Point, ...]:
        row = chart.row(name)
        return tuple(
            Point(round(lines.place(c.at) * STEP_PX, 1), height(c.value * factor), c.words)
            for c in (row.cells if row else ())
        )

    return Curve(
        width=len(lines.starts) * STEP_PX,
        height=HEIGHT_PX,
        cervix=placed("cervix", 1.0),
        descent=placed("descent", 2.0),
        levels=tuple((cm, height(cm)) for cm in range(0, 11, 2)),
        hours=tuple(float(n * STEP_PX) for n in range(0, len(lines.starts), 2)),
    )
