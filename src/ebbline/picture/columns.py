"""The ten-minute columns under the strip: the numbers a reader would write there."""

from __future__ import annotations

import math
from collections.abc import Sequence

from ebbline.features.findings import VariabilityClass
from ebbline.picture.canvas import Rect, Shape, Text
from ebbline.picture.fonts import text_width, wrapped
from ebbline.picture.paper import Panel
from ebbline.picture.style import GRID_STRONG, INK, SMALL
from ebbline.reading import counts
from ebbline.reading.model import TenMinutes
from ebbline.reading.text import share
from ebbline.terms import Window, counted

HEIGHT = 0.98
_LINES = 3
_LINE = 0.29
_EDGE = 0.12


def _minutes(window: Window) -> str:
    def at(time_s: float) -> str:
        minutes = round(time_s / 60)
        return f"{minutes // 60}:{minutes % 60:02d}"

    return f"{at(window.start_s)}–{at(window.end_s)}"


def sentences(one: TenMinutes) -> tuple[str, ...]:
    """The column in words, from its fullest form to its shortest."""
    known = not math.isnan(one.baseline_bpm)
    base = f"{one.baseline_bpm:.0f}" if known else "indeterminate"
    unit = " bpm" if known else ""
    spread = (
        ""
        if one.variability is VariabilityClass.INDETERMINATE or math.isnan(one.bandwidth_bpm)
        else f" ({one.bandwidth_bpm:.0f} bpm)"
    )
    squeezes = "not assessed" if one.contractions is None else str(one.contractions)
    contractions = (
        "contractions not assessed"
        if one.contractions is None
        else counted(one.contractions, "contraction")
    )
    seen = (one.valid_share, one.baseline_bpm)
    events = counts.both(one.accelerations, one.decelerations, *seen)
    acc, dec = (counts.in_short(n, *seen) for n in (one.accelerations, one.decelerations))
    unseen = acc == dec == counts.NOT_ASSESSED
    brief_events = f"acc. and dec. {acc}" if unseen else f"acc. {acc}, dec. {dec}"
    valid = f"{share(one.valid_share)} valid signal"
    change = f"; against the hour before: {', '.join(one.change)}" if one.change else ""
    full = (
        f"baseline {base}{unit}, variability {one.variability.value}{spread}; {events}; "
        f"{contractions}; {valid}"
    )
    brief = (
        f"base {base}, var. {one.variability.value}; {brief_events}; contr. {squeezes}; "
        f"{share(one.valid_share)} valid"
    )
    return (full + change, full, brief)


def shapes(columns: Sequence[TenMinutes], panel: Panel, top: float) -> list[Shape]:
    """One box for each column that the panel shows; its words where they find room.

    Where only a corner of a column is shown, its words stand on the page that shows the rest.
    """
    drawn: list[Shape] = []
    for one in columns:
        begin = max(one.window.start_s, panel.start_s)
        end = min(one.window.end_s, panel.end_s)
        if end <= begin:
            continue
        x, width = panel.x(begin), (end - begin) * panel.cm_per_s
        drawn.append(Rect(x, top, width, HEIGHT, None, GRID_STRONG))
        drawn += _words(one, x, top, width)
    return drawn


def _words(one: TenMinutes, x: float, top: float, width: float) -> list[Shape]:
    heading = _minutes(one.window)
    room = width - 2 * _EDGE
    if text_width(heading, SMALL, bold=True) > room:
        return []
    drawn: list[Shape] = [Text(x + _EDGE, top + 0.29, heading, SMALL, INK, True)]
    indent = text_width(heading, SMALL, bold=True) + 0.2
    for words in sentences(one):
        if room - indent > 6:
            lines, left, first = wrapped(words, room - indent, SMALL), x + _EDGE + indent, 0.29
            fits = len(lines) <= _LINES
        else:
            lines, left, first = wrapped(words, room, SMALL), x + _EDGE, 0.29 + _LINE
            fits = len(lines) < _LINES
        if fits:
            drawn += [
                Text(left, top + first + n * _LINE, line, SMALL, INK)
                for n, line in enumerate(lines)
            ]
            return drawn
    return drawn
