"""The few kinds of figure of a report, drawn with the shapes of every picture we make.

Each share or count also stands as a number beside its bar, and each part of a column has its own
hatch: nothing is told by colour alone.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from ebbline.picture.canvas import Anchor, Line, Page, Rect, Shape, Stroke, Text, hatch
from ebbline.picture.fonts import shortened, text_width
from ebbline.picture.style import FALL, FRAME, GRID_MAJOR, INK, QUIET_INK, RISE

WIDTH = 17.0
_LABEL = 4.4
_NUMBERS = 3.4
_ROW = 0.62
_TEXT = 9.0

SHADES = ("#dbe7e8", "#8fb3b6", FALL, "#e3ead2", "#f3dcc4", "#e9e4ee")
"""From good to bad, then what is at best so good (AT_BEST), at least so bad (AT_LEAST), last "no
class" (-1): steps that stay apart in greyscale, the last three each with a hatch of its own."""

AT_BEST, AT_LEAST = -3, -2
"""In the place of a rank: no class, but something that can be said of it."""

_HATCHES = {AT_BEST: (0.3, 90.0), AT_LEAST: (0.3, 0.0), -1: (0.16, 45.0)}
"""Spacing (cm) and turn (degrees) of the lines on them."""


@dataclass(frozen=True, slots=True)
class Bar:
    """One bar. low, high: its interval (NaN-free), equal to value for none. said: the number."""

    label: str
    value: float
    said: str
    low: float = 0.0
    high: float = 0.0


def bars(title: str, rows: Sequence[Bar], *, most: float = 0.0, unit: str = "") -> Page:
    """Horizontal bars from 0, with their intervals as lines and their numbers beside."""
    largest = most or max((max(row.value, row.high) for row in rows), default=1.0) or 1.0
    left, right = _LABEL, WIDTH - _NUMBERS
    scale = (right - left) / largest
    shapes: list[Shape] = [Text(0.1, 0.5, title, _TEXT + 1, INK, bold=True)]
    top = 0.85
    for n, row in enumerate(rows):
        y = top + n * _ROW
        label = shortened(row.label, _LABEL - 0.3, _TEXT)
        shapes.append(Text(left - 0.2, y + 0.38, label, _TEXT, INK, anchor=Anchor.END))
        if row.value > 0:
            shapes.append(Rect(left, y + 0.1, row.value * scale, _ROW - 0.22, RISE))
        if row.high > row.low:
            middle = y + _ROW / 2
            low, high = left + row.low * scale, left + min(row.high, largest) * scale
            pen = Stroke(INK, 1.0)
            shapes += [
                Line(low, middle, high, middle, pen),
                Line(low, middle - 0.12, low, middle + 0.12, pen),
                Line(high, middle - 0.12, high, middle + 0.12, pen),
            ]
        reach = max(row.value, row.high if row.high > row.low else 0.0)
        at = left + min(reach, largest) * scale + 0.15
        shapes.append(Text(at, y + 0.38, row.said, _TEXT, QUIET_INK))
    bottom = top + len(rows) * _ROW
    shapes.append(Line(left, top, left, bottom, FRAME))
    if unit:
        shapes.append(Text(left, bottom + 0.45, unit, _TEXT - 1, QUIET_INK))
    return Page(WIDTH, bottom + (0.7 if unit else 0.2), tuple(shapes), title)


def histogram(title: str, edges: Sequence[float], counts: Sequence[int], unit: str) -> Page:
    """Counts between edges, as upright bars; each edge is written under its place."""
    height, left = 4.6, 1.4
    right, base = WIDTH - 0.3, 0.9 + height
    most = max(max(counts, default=0), 1)
    step = (right - left) / max(len(counts), 1)
    shapes: list[Shape] = [Text(0.1, 0.5, title, _TEXT + 1, INK, bold=True)]
    for share in (0.5, 1.0):
        y = base - share * (height - 0.4)
        shapes.append(Line(left, y, right, y, GRID_MAJOR))
        said = f"{most * share:.0f}"
        shapes.append(Text(left - 0.12, y + 0.1, said, _TEXT - 1, QUIET_INK, anchor=Anchor.END))
    for n, count in enumerate(counts):
        tall = count / most * (height - 0.4)
        if count:
            shapes.append(Rect(left + n * step + 0.03, base - tall, step - 0.06, tall, RISE))
    every = max(1, len(counts) // 12)
    for n, edge in enumerate(edges):
        if n % every == 0:
            x = left + n * step
            said = f"{edge:g}"
            shapes.append(Line(x, base, x, base + 0.1, FRAME))
            shapes.append(Text(x, base + 0.42, said, _TEXT - 1, QUIET_INK, anchor=Anchor.MIDDLE))
    shapes.append(Line(left, base, right, base, FRAME))
    shapes.append(Text(right, base + 0.85, unit, _TEXT - 1, QUIET_INK, anchor=Anchor.END))
    return Page(WIDTH, base + 1.05, tuple(shapes), title)


def stacked(
    title: str, columns: Sequence[tuple[str, Sequence[float]]], parts: Mapping[str, int]
) -> Page:
    """Columns of shares that add up to 1.

    parts: each class with its rank, from good to bad, AT_BEST, AT_LEAST, and -1 for "no class".
    columns: a label with one share for each part.
    """
    height, left = 5.2, 1.5
    right = WIDTH - 0.3
    shapes: list[Shape] = [Text(0.1, 0.5, title, _TEXT + 1, INK, bold=True)]
    x, y = left, 0.75
    shades = [SHADES[min(rank, 2)] for rank in parts.values()]
    for name, shade in zip(parts, shades, strict=True):
        wide = 0.62 + text_width(name, _TEXT)
        if x > left and x + wide > right:
            x, y = left, y + 0.55
        shapes += [*_patch(x, y, 0.5, 0.35, shade), Text(x + 0.62, y + 0.3, name, _TEXT, INK)]
        x += wide + 0.55
    base = y + 0.75 + height
    for share in (0.0, 0.25, 0.5, 0.75, 1.0):
        y = base - share * height
        shapes.append(Line(left, y, right, y, GRID_MAJOR))
        shapes.append(
            Text(
                left - 0.12, y + 0.1, f"{100 * share:.0f} %", _TEXT - 1, QUIET_INK,
                anchor=Anchor.END,
            )
        )  # fmt: skip
    step = (right - left) / max(len(columns), 1)
    wide = min(step * 0.72, 2.4)
    for n, (label, shares) in enumerate(columns):
        at = left + (n + 0.5) * step
        y = base
        for share, shade in zip(shares, shades, strict=True):
            tall = share * height
            if tall > 0:
                shapes += _patch(at - wide / 2, y - tall, wide, tall, shade)
                if tall > 0.42 and wide > 0.95:
                    said = f"{100 * share:.0f} %"
                    shapes += _on(at, y - tall / 2 + 0.11, said, shade)
            y -= tall
        said = shortened(label, step - 0.08, _TEXT - 1)
        shapes.append(Text(at, base + 0.42, said, _TEXT - 1, INK, anchor=Anchor.MIDDLE))
    shapes.append(Line(left, base, right, base, FRAME))
    return Page(WIDTH, base + 0.7, tuple(shapes), title)


def _patch(x: float, y: float, width: float, height: float, shade: str) -> list[Shape]:
    area = Rect(x, y, width, height, shade, Stroke(INK, 0.4))
    if shade in SHADES[3:]:
        spacing, turn = _HATCHES[SHADES.index(shade) - len(SHADES)]
        pen = Stroke(QUIET_INK, 0.4)
        lines = hatch(Rect(x, y, width, height), pen, spacing=spacing, turn=turn)
        return [area, lines]
    if shade == SHADES[2]:
        lines = hatch(Rect(x, y, width, height), Stroke("#ffffff", 0.3), spacing=0.22, turn=-45.0)
        return [area, lines]
    return [area]


def _on(x: float, y: float, said: str, shade: str) -> list[Shape]:
    """A number on its part of a column, clear of the hatch."""
    dark = shade == SHADES[2]
    ink = "#ffffff" if dark else INK
    number = Text(x, y, said, _TEXT - 1, ink, bold=dark, anchor=Anchor.MIDDLE)
    wide = text_width(said, _TEXT - 1, bold=dark) + 0.12
    clear = [Rect(x - wide / 2, y - 0.27, wide, 0.34, shade)] if shade in SHADES[2:] else []
    return [*clear, number]
