"""The chart of progress on a grid of half hours: the same for the page and for paper."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from ebbline.journal.chart import Cell, Chart

STEP = timedelta(minutes=30)
LEAST_STEPS = 8


@dataclass(frozen=True, slots=True)
class Box:
    """What stands in one half hour of a row. more: values of the half hour that are not shown.

    column: its place, the first being 0. span: columns it may take before the next one.
    """

    column: int
    span: int
    cell: Cell
    more: int


@dataclass(frozen=True, slots=True)
class GridRow:
    """A row of the grid."""

    name: str
    title: str
    unit: str
    rules: str
    boxes: tuple[Box, ...]

    @property
    def alarming(self) -> bool:
        """Whether the last value meets an alert."""
        return bool(self.boxes and self.boxes[-1].cell.alert)


@dataclass(frozen=True, slots=True)
class Grid:
    """The chart's rows by section on columns of half an hour. starts: of each column."""

    starts: tuple[datetime, ...]
    sections: tuple[tuple[str, tuple[GridRow, ...]], ...]

    def place(self, at: datetime) -> float:
        """Where a time lies, in columns from the left edge."""
        return (at - self.starts[0]) / STEP


def grid(chart: Chart, zone_of: datetime) -> Grid:
    """The grid of a chart. zone_of: a time in the zone in which it is shown."""
    first = chart.begins_at.astimezone(zone_of.tzinfo).replace(minute=0, second=0, microsecond=0)
    steps = max(LEAST_STEPS, math.floor((chart.now - first) / STEP) + 1)
    starts = tuple(first + n * STEP for n in range(steps))
    sections = []
    for part in chart.sections:
        rows = [
            GridRow(row.name, row.title, row.unit, row.rules, _boxes(row.cells, first, steps))
            for row in part.rows
        ]
        sections.append((part.title, tuple(rows)))
    return Grid(starts, tuple(sections))


def _boxes(cells: Sequence[Cell], first: datetime, steps: int) -> tuple[Box, ...]:
    """One box for each half hour that has a value: an alert before anything else, then the last."""
    by_column: dict[int, list[Cell]] = {}
    for cell in cells:
        # A value at the very end of a half hour of trace belongs to that half hour.
        early = timedelta(seconds=1) if cell.source == "trace" else timedelta(0)
        column = min(steps - 1, max(0, math.floor((cell.at - early - first) / STEP)))
        by_column.setdefault(column, []).append(cell)
    boxes = []
    columns = sorted(by_column)
    for place, column in enumerate(columns):
        here = by_column[column]
        shown = next((c for c in reversed(here) if c.alert), here[-1])
        following = columns[place + 1] if place + 1 < len(columns) else steps
        boxes.append(Box(column, following - column, shown, len(here) - 1))
    return tuple(boxes)
