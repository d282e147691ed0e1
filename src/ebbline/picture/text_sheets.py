"""The reading in words on sheets of their own, for what finds no room beside the strip."""

from __future__ import annotations

from ebbline.picture.canvas import Shape, Text
from ebbline.picture.fonts import shortened, wrapped
from ebbline.picture.style import HEAD, INK
from ebbline.reading.model import FetalReading, Reading
from ebbline.reading.text import Section, sections

_SIZE = 7.0
_LINE = 0.3
_GAP = 0.14
_INDENT = 0.3
_COLUMNS = 3
_GUTTER = 0.8
_BELOW_TITLE = 1.2


def _lines(section: Section, width: float) -> list[tuple[str, float, bool]]:
    """Text, indent and whether bold, for each line of a section."""
    lines = [(section.title, 0.0, True)]
    for item in section.lines:
        broken = wrapped(item, width - 2 * _INDENT, _SIZE)
        lines += [
            (line, _INDENT if n == 0 else 2 * _INDENT, False) for n, line in enumerate(broken)
        ]
    return lines


def sheets(
    reading: Reading, fetal: FetalReading, left: float, top: float, width: float, height: float
) -> list[tuple[Shape, ...]]:
    """What is said of one fetus, set in columns within a box on each sheet."""
    column_width = (width - _GUTTER * (_COLUMNS - 1)) / _COLUMNS
    title = f"The reading in words, fetus {fetal.fetus}"
    parts = [Section("Recording", (reading.recording,)), *sections(reading, fetal)]
    if reading.notes:
        parts.append(Section("Notes", reading.notes))
    found: list[list[Shape]] = []
    column, y = _COLUMNS, top
    for part in parts:
        lines = _lines(part, column_width)
        for n, (line, indent, bold) in enumerate(lines):
            together = 2 if n == 0 and len(lines) > 1 else 1
            if column == _COLUMNS or y + together * _LINE > top + height:
                column += 1
                y = top + _BELOW_TITLE
                if column >= _COLUMNS:
                    column = 0
                    fits = shortened(title, width, HEAD, bold=True)
                    found.append([Text(left, top + 0.42, fits, HEAD, INK, True)])
            x = left + column * (column_width + _GUTTER) + indent
            found[-1].append(Text(x, y, line, _SIZE, INK, bold))
            y += _LINE
        y += _GAP
    return [tuple(shapes) for shapes in found]
