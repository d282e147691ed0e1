"""The first page of a report: what it comes to, by which reasons, and the end of the strip.

Whoever reads this page alone has read the essential; all the rest is appendix.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ebbline import CAUTION
from ebbline.criteria.model import Classification, gravity
from ebbline.picture.canvas import (
    Anchor,
    Circle,
    Group,
    Line,
    Page,
    Polygon,
    Polyline,
    Rect,
    Shape,
    Text,
)
from ebbline.picture.fonts import shortened, wrapped
from ebbline.picture.strip import draw_strip
from ebbline.picture.style import FRAME, INK, QUIET_INK
from ebbline.reading.text import Clock
from ebbline.terms import Window
from ebbline.web.report.parts import (
    BODY_SIZE,
    HEAD_SIZE,
    HEIGHT,
    LEADING,
    MARGIN,
    TITLE_SIZE,
    WIDTH,
    ReportParts,
    fetal_of,
)

STRIP_MIN = 14
"""Minutes of the strip on the first page: what fits the paper at 1 cm a minute, true to scale."""
STRIP_TOP_CM, STRIP_END_CM = 2.9, 18.15
"""Where on its own sheet the strip begins below the title block, and ends above its legend."""
STRIP_LEFT_CM = 0.0
REASONS = 3
"""Reasons told of each class here; the appendix has them all (our choice)."""


def first_page(parts: ReportParts, title: str, about: list[str]) -> Page:
    """The page. title, about: the head, as on every page of the report."""
    sheet = _Sheet()
    sheet.put(shortened(title, WIDTH - 2 * MARGIN, TITLE_SIZE, bold=True), TITLE_SIZE, bold=True)
    for words in about:
        sheet.put(shortened(words, WIDTH - 2 * MARGIN, BODY_SIZE), BODY_SIZE, quiet=True)
    sheet.rule()
    shown = parts.corrected or parts.computed
    clock = Clock.of(shown)
    sheet.put(f"Window read: {clock.stretch(shown.window)}", HEAD_SIZE, bold=True)
    lines = fetal_of(shown, parts.fetus).four_lines
    if lines is not None:
        for name, words in lines.titled:
            sheet.paragraph(f"{name}. {words}")
    _classes(parts, sheet)
    sheet.gap()
    _strip(parts, sheet, clock)
    return sheet.page(title)


def _classes(parts: ReportParts, sheet: _Sheet) -> None:
    computed = fetal_of(parts.computed, parts.fetus).classes
    corrected = (
        [None] * len(computed)
        if parts.corrected is None
        else fetal_of(parts.corrected, parts.fetus).classes
    )
    # Danger first: the gravest class leads, and what was not told stands before what reassures.
    for ours, theirs in sorted(
        zip(computed, corrected, strict=True),
        key=lambda pair: gravity(pair[1] or pair[0]),
        reverse=True,
    ):
        said = f"{ours.edition}: {ours.said}"
        if theirs is not None:
            said += f" as computed; {theirs.said} with the corrections of {parts.reader}"
        sheet.gap()
        sheet.put(said, HEAD_SIZE, bold=True)
        for words in _decided(theirs or ours):
            sheet.paragraph(words, indent=0.4)


def _decided(one: Classification) -> list[str]:
    why = [f"{r.feature}: {r.verdict}. {r.text}" for r in one.deciding]
    why += [f"{text}." for text in one.not_told]
    said = why[:REASONS]
    if len(why) > REASONS:
        said.append(f"And {len(why) - REASONS} more reasons in the appendix.")
    return said


def _strip(parts: ReportParts, sheet: _Sheet, clock: Clock) -> None:
    shown = parts.corrected or parts.computed
    start_s = max(shown.window.start_s, shown.window.end_s - STRIP_MIN * 60.0)
    window = Window(start_s, shown.window.end_s)
    drawn = draw_strip(
        parts.recording,
        shown,
        fetus=parts.fetus,
        window=window,
        speed_cm_per_min=1,
        continuous=True,
        words=False,
    ).pages[0]
    whole = window.duration_s >= shown.window.duration_s
    part = "the whole window" if whole else f"the last {window.duration_s / 60:.0f} minutes of it"
    sheet.put(f"Strip, {part}: {clock.stretch(window)}, 1 cm/min", BODY_SIZE, bold=True)
    down = sheet.y - STRIP_TOP_CM - 0.1
    kept = tuple(
        moved(shape, MARGIN - STRIP_LEFT_CM, down)
        for shape in drawn.shapes
        if STRIP_TOP_CM < _middle(shape) < STRIP_END_CM
    )
    room = Rect(MARGIN, sheet.y, WIDTH - 2 * MARGIN, min(STRIP_END_CM - STRIP_TOP_CM, sheet.room))
    sheet.shapes.append(Group(kept, clip=room, title=f"Strip, {part}, {clock.stretch(window)}"))


def _middle(shape: Shape) -> float:
    """About how far down a shape lies, cm."""
    match shape:
        case Line(_, y1, _, y2, _):
            return (y1 + y2) / 2
        case Rect(_, y, _, height, _, _, _):
            return y + height / 2
        case Circle(_, y, _, _, _) | Text(_, y, _):
            return y
        case Polyline(at, _) | Polygon(at, _, _):
            return float(at[:, 1].mean())
        case Group(shapes):
            return _middle(shapes[0]) if shapes else 0.0


def moved(shape: Shape, right: float, down: float) -> Shape:
    """The shape elsewhere, as large as it was; cm."""
    match shape:
        case Line(x1, y1, x2, y2, _):
            return replace(shape, x1=x1 + right, y1=y1 + down, x2=x2 + right, y2=y2 + down)
        case Rect(x, y) | Circle(x, y) | Text(x, y):
            return replace(shape, x=x + right, y=y + down)
        case Polyline(at) | Polygon(at):
            return replace(shape, points=at + np.array([right, down]))
        case Group(shapes, clip):
            inner = tuple(moved(one, right, down) for one in shapes)
            edge = None if clip is None else moved(clip, right, down)
            assert edge is None or isinstance(edge, Rect | Polygon)
            return replace(shape, shapes=inner, clip=edge)


class _Sheet:
    """One upright page, filled from the top."""

    def __init__(self) -> None:
        self.shapes: list[Shape] = []
        self.y = 1.95

    @property
    def room(self) -> float:
        """How much is left above the foot, cm."""
        return HEIGHT - 1.5 - self.y

    def put(self, words: str, size: float, *, bold: bool = False, quiet: bool = False) -> None:
        ink = QUIET_INK if quiet else INK
        self.shapes.append(Text(MARGIN, self.y, words, size, ink, bold))
        self.y += size * LEADING

    def paragraph(self, words: str, *, indent: float = 0.0) -> None:
        for line in wrapped(words, WIDTH - 2 * MARGIN - indent, BODY_SIZE):
            self.shapes.append(Text(MARGIN + indent, self.y, line, BODY_SIZE, INK))
            self.y += BODY_SIZE * LEADING

    def gap(self) -> None:
        self.y += 0.22

    def rule(self) -> None:
        self.shapes.append(Line(MARGIN, self.y - 0.12, WIDTH - MARGIN, self.y - 0.12, FRAME))
        self.y += 0.45

    def page(self, title: str) -> Page:
        foot = HEIGHT - 0.9
        feet: list[Shape] = [
            Line(MARGIN, foot - 0.4, WIDTH - MARGIN, foot - 0.4, FRAME),
            Text(MARGIN, foot, shortened(CAUTION, WIDTH - 2 * MARGIN - 2.4, 7.0), 7.0, QUIET_INK),
            Text(WIDTH - MARGIN, foot, "first page", 7.0, QUIET_INK, anchor=Anchor.END),
        ]
        return Page(WIDTH, HEIGHT, (*self.shapes, *feet), title)
