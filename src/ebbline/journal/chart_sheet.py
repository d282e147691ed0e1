"""The chart of progress on paper: A4 across, twelve hours a sheet, in our own layout."""

from __future__ import annotations

from datetime import datetime

from ebbline import CAUTION
from ebbline.journal.chart import Chart
from ebbline.journal.chart_grid import Grid, GridRow, grid
from ebbline.picture.canvas import (
    Anchor,
    Circle,
    Document,
    Line,
    Page,
    Polyline,
    Rect,
    Shape,
    Stroke,
    Text,
    points,
)
from ebbline.picture.fonts import shortened, text_width, wrapped
from ebbline.picture.style import (
    FALL,
    FALL_TINT,
    FRAME,
    GRID_FINE,
    GRID_MAJOR,
    INK,
    PAPER,
    QUIET_INK,
    RISE,
)

WIDTH, HEIGHT, MARGIN = 29.7, 21.0, 1.0
"""A4 across, cm (ISO 216)."""
LABELS = 4.3
STEPS = 24
STEP_CM = (WIDTH - 2 * MARGIN - LABELS) / STEPS
SECTION, CURVE, LEAST_ROW, FOOT = 0.36, 3.3, 0.36, 1.15
SIZE = 7.2
_ALERT = Stroke(FALL, 1.0)
_CURVES = ("cervix", "descent", "station")


def chart_sheets(chart: Chart, case: str, bed: str, at: datetime) -> Document:
    """The chart of a case. at: the moment of printing, in the zone in which times are shown."""
    lines = grid(chart, at)
    title = f"Chart of progress, case {case}, bed {bed}"
    pages = []
    for first in range(0, len(lines.starts), STEPS):
        sheet = _Sheet(chart, lines, first)
        number = f"sheet {first // STEPS + 1} of {-(-len(lines.starts) // STEPS)}"
        pages.append(Page(WIDTH, HEIGHT, tuple(sheet.draw(title, number, at)), title))
    return Document(title, tuple(pages))


class _Sheet:
    """Draws one sheet."""

    def __init__(self, chart: Chart, lines: Grid, first: int) -> None:
        self.chart = chart
        self.grid = lines
        self.first = first
        self.shapes: list[Shape] = []
        self.y = MARGIN
        self.row = LEAST_ROW

    def x(self, column: float) -> float:
        return MARGIN + LABELS + (column - self.first) * STEP_CM

    def text(self, x: float, y: float, words: str, **more: object) -> None:
        size = float(str(more.pop("size", SIZE)))
        self.shapes.append(Text(x, y, words, size, **{"colour": INK, **more}))  # type: ignore[arg-type]

    def draw(self, title: str, number: str, at: datetime) -> list[Shape]:
        self._head(title, number, at)
        self._times()
        count = sum(len(rows) for _, rows in self.grid.sections)
        left = HEIGHT - FOOT - self.y - CURVE - SECTION * len(self.grid.sections)
        self.row = max(LEAST_ROW, min(0.5, left / count))
        for name, rows in self.grid.sections:
            self._section(name)
            for row in rows:
                if row.name == "cervix":
                    self._curve()
                self._row(row)
        self._foot()
        return self.shapes

    def _head(self, title: str, number: str, at: datetime) -> None:
        self.text(MARGIN, self.y + 0.4, title, size=13, bold=True)
        self.text(
            WIDTH - MARGIN,
            self.y + 0.4,
            f"printed {at:%d %b %Y, %H:%M}; {number}",
            anchor=Anchor.END,
            colour=QUIET_INK,
        )
        self.y += 0.75
        alerts = self.chart.alerts
        said = "Nothing that was written asks to be looked at now."
        if alerts:
            said = "Asks to be looked at: " + "; ".join(
                f"{one.what} (since {one.since.astimezone(at.tzinfo):%H:%M}, {one.rule})"
                for one in alerts
            )
        if self.chart.empty:
            said += f". Never written: {', '.join(self.chart.empty).lower()}"
        lines = wrapped(said + ".", WIDTH - 2 * MARGIN - 0.3, SIZE, bold=bool(alerts))
        height = 0.33 * len(lines) + 0.15
        if alerts:
            self.shapes.append(Rect(MARGIN, self.y, WIDTH - 2 * MARGIN, height, FALL_TINT, _ALERT))
        for line in lines:
            self.y += 0.33
            self.text(MARGIN + 0.15, self.y, line, bold=bool(alerts))
        self.y += 0.3

    def _times(self) -> None:
        for step in range(0, STEPS + 1, 2):
            column = self.first + step
            at = self.grid.starts[0] + (self.grid.starts[1] - self.grid.starts[0]) * column
            self.text(self.x(column), self.y + 0.28, f"{at:%H:%M}", anchor=Anchor.MIDDLE, bold=True)
        self.y += 0.38

    def _section(self, name: str) -> None:
        self.shapes.append(Rect(MARGIN, self.y, WIDTH - 2 * MARGIN, SECTION, "#e9edf3", None))
        self.text(MARGIN + 0.1, self.y + 0.27, name, bold=True, size=7.6)
        self.y += SECTION

    def _lines(self, height: float) -> None:
        for step in range(STEPS + 1):
            pen = GRID_MAJOR if step % 2 == 0 else GRID_FINE
            x = self.x(self.first + step)
            self.shapes.append(Line(x, self.y, x, self.y + height, pen))
        bottom = self.y + height
        self.shapes.append(Line(MARGIN, bottom, WIDTH - MARGIN, bottom, GRID_MAJOR))

    def _row(self, row: GridRow) -> None:
        self._lines(self.row)
        base = self.y + self.row * 0.68
        unit = f" ({row.unit})" if row.unit and row.unit != "+" else ""
        name = row.title + unit
        self.text(MARGIN + 0.1, base, name, bold=row.alarming)
        if row.rules:
            left = LABELS - 0.35 - text_width(name, SIZE, bold=row.alarming)
            rules = f"! {row.rules}"
            if unit:
                rules = rules.replace(f" {row.unit}", "")
            if text_width(rules, 5.6) > left:
                rules = shortened(rules, left, 5.6) if left > 0.8 else ""
            self.text(
                MARGIN + LABELS - 0.1, base, rules, size=5.6, colour=QUIET_INK, anchor=Anchor.END
            )
        for box in row.boxes:
            if not self.first <= box.column < self.first + STEPS:
                continue
            x = self.x(box.column)
            room = min(box.span, self.first + STEPS - box.column) * STEP_CM - 0.1
            alarming = bool(box.cell.alert)
            words = ("! " if alarming else "") + box.cell.short + (" *" if box.more else "")
            words = shortened(words, room, SIZE, bold=alarming)
            if alarming:
                wide = min(room, text_width(words, SIZE, bold=True) + 0.12)
                self.shapes.append(
                    Rect(x + 0.03, self.y + 0.04, wide, self.row - 0.08, FALL_TINT, _ALERT, 0.06)
                )
            self.text(x + 0.08, base, words, bold=alarming)
        self.y += self.row

    def _curve(self) -> None:
        """Cervix and descent as curves; the limit of time as a line to the right."""
        height, low = CURVE, 0.0
        self._lines(height)
        scale = (height - 0.3) / 10

        def place(cm: float) -> float:
            return self.y + height - 0.15 - (cm - low) * scale

        for cm in range(0, 11, 2):
            self.text(
                MARGIN + LABELS - 0.12,
                place(cm) + 0.09,
                f"{cm}",
                size=6.4,
                colour=QUIET_INK,
                anchor=Anchor.END,
            )
            y = place(cm)
            self.shapes.append(
                Line(self.x(self.first), y, self.x(self.first + STEPS), y, GRID_FINE)
            )
        x = MARGIN + 0.2
        self.shapes.append(Circle(x, self.y + 0.32, 0.09, INK))
        self.text(x + 0.25, self.y + 0.4, "Cervix, cm")
        self.shapes.append(Rect(x - 0.08, self.y + 0.62, 0.16, 0.16, PAPER, Stroke(RISE, 0.9)))
        self.text(x + 0.25, self.y + 0.78, "Fifths above the brim, doubled")
        left, right = self.first, self.first + STEPS
        for name, factor in (("cervix", 1.0), ("descent", 2.0)):
            row = self.chart.row(name)
            if row is None:
                continue
            every = [(self.grid.place(c.at), c.value * factor) for c in row.cells]
            seen = [(self.x(column), place(v)) for column, v in every if left <= column <= right]
            colour = INK if name == "cervix" else RISE
            if len(seen) > 1:
                pen = Stroke(colour, 1.1) if name == "cervix" else Stroke(colour, 0.9, (0.12, 0.08))
                self.shapes.append(Polyline(points(seen), pen))
            for x, y in seen:
                if name == "cervix":
                    self.shapes.append(Circle(x, y, 0.09, colour))
                else:
                    self.shapes.append(
                        Rect(x - 0.08, y - 0.08, 0.16, 0.16, PAPER, Stroke(colour, 0.9))
                    )
        self.y += height

    def _foot(self) -> None:
        y = HEIGHT - 0.62
        self.shapes.append(Line(MARGIN, y - 0.36, WIDTH - MARGIN, y - 0.36, FRAME))
        about = (
            f"Sections and alert values: {self.chart.edition}, from memory; layout ours. "
            "! asks to be looked at. * more values in the half hour. An empty box was not written. "
            "P prolonged, L late, V variable, G gradual, E early. (s) as drawn."
        )
        wide = WIDTH - 2 * MARGIN
        self.text(MARGIN, y, shortened(about, wide, 6.2), size=6.2, colour=QUIET_INK)
        self.text(MARGIN, y + 0.28, shortened(CAUTION, wide, 6.2), size=6.2, colour=QUIET_INK)
