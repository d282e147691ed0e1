"""A document as PDF: vectors, the typeface embedded, at true scale, tagged for screen readers."""

from __future__ import annotations

import io
from itertools import groupby
from typing import Any

from ebbline import CAUTION, __version__
from ebbline.picture.canvas import (
    CM_PER_POINT,
    Anchor,
    Circle,
    Document,
    Group,
    Line,
    Page,
    Points,
    Polygon,
    Polyline,
    Rect,
    Shape,
    Stroke,
    Text,
)
from ebbline.picture.fonts import face, printable, text_width
from ebbline.picture.pdf_tags import HEADING_PT, TITLE_PT, Tags, date_file

POINTS_PER_CM = 1 / CM_PER_POINT
LONGEST_PAGE_CM = 500.0
"""No side of a page may be longer. Source: ISO 32000-1, annex C.2 (14 400 units of 1/72 inch)."""


def pdf(document: Document) -> bytes:
    """The document as a whole PDF file; the same document gives the same bytes."""
    from reportlab.pdfgen.canvas import Canvas

    buffer = io.BytesIO()
    canvas = Canvas(buffer, pageCompression=1, invariant=1, initialFontName=face())
    canvas.setTitle(printable(document.title))
    canvas.setCreator(f"Ebbline {__version__}")
    canvas.setAuthor(printable(document.author) or f"Ebbline {__version__}")
    canvas.setSubject(CAUTION)
    if document.made_at is not None:
        date_file(canvas, document.made_at)
    tags = Tags(canvas)
    for page in document.pages:
        _page(canvas, page, tags)
        canvas.showPage()
    tags.finish()
    canvas.save()
    return buffer.getvalue()


def _page(canvas: Any, page: Page, tags: Tags) -> None:
    canvas.setPageSize((page.width * POINTS_PER_CM, page.height * POINTS_PER_CM))
    tags.new_page()
    pen = _Pen(canvas, page.height)
    for words, shapes in groupby(page.shapes, key=_kind):
        if words == DECORATION:
            with tags.decoration():
                for shape in shapes:
                    pen.draw(shape)
            continue
        for shape in shapes:
            said = shape.title if isinstance(shape, Group) else ""
            with tags.marked(words, printable(said)):
                pen.draw(shape)


DECORATION = ""


def _kind(shape: Shape) -> str:
    """What a shape is to a screen reader."""
    if isinstance(shape, Group) and shape.title:
        return "Figure"
    if not isinstance(shape, Text):
        return DECORATION
    if shape.bold and shape.size >= HEADING_PT:
        return "H1" if shape.size >= TITLE_PT else "H2"
    return "P"


class _Pen:
    """Draws shapes of one page, turning y the way PDF counts it."""

    def __init__(self, canvas: Any, height: float) -> None:
        self.canvas = canvas
        self.height = height

    def place(self, x: float, y: float) -> tuple[float, float]:
        return x * POINTS_PER_CM, (self.height - y) * POINTS_PER_CM

    def path(self, at: Points, *, closed: bool) -> Any:
        path = self.canvas.beginPath()
        xs = (at[:, 0] * POINTS_PER_CM).round(3).tolist()
        ys = ((self.height - at[:, 1]) * POINTS_PER_CM).round(3).tolist()
        path.moveTo(xs[0], ys[0])
        for x, y in zip(xs[1:], ys[1:], strict=True):
            path.lineTo(x, y)
        if closed:
            path.close()
        return path

    def stroke(self, stroke: Stroke | None) -> int:
        if stroke is None:
            return 0
        self.canvas.setStrokeColor(stroke.colour)
        self.canvas.setLineWidth(stroke.width)
        self.canvas.setDash([length * POINTS_PER_CM for length in stroke.dash])
        self.canvas.setLineCap(1 if stroke.round_ends else 0)
        self.canvas.setLineJoin(1)
        return 1

    def fill(self, fill: str | None) -> int:
        if fill is None:
            return 0
        self.canvas.setFillColor(fill)
        return 1

    def rectangle(self, rect: Rect) -> tuple[float, float, float, float]:
        x, y = self.place(rect.x, rect.y + rect.height)
        return x, y, rect.width * POINTS_PER_CM, rect.height * POINTS_PER_CM

    def text(self, text: Text) -> None:
        words = printable(text.text)
        name = face(text.bold, text.italic)
        width = text_width(words, text.size, bold=text.bold, italic=text.italic)
        before = {Anchor.START: 0.0, Anchor.MIDDLE: width / 2, Anchor.END: width}[text.anchor]
        self.canvas.setFillColor(text.colour)
        self.canvas.setFont(name, text.size)
        if not text.turn:
            self.canvas.drawString(*self.place(text.x - before, text.y), words)
            return
        self.canvas.saveState()
        self.canvas.translate(*self.place(text.x, text.y))
        self.canvas.rotate(-text.turn)
        self.canvas.drawString(-before * POINTS_PER_CM, 0, words)
        self.canvas.restoreState()

    def group(self, group: Group) -> None:
        self.canvas.saveState()
        if isinstance(group.clip, Rect):
            path = self.canvas.beginPath()
            path.rect(*self.rectangle(group.clip))
            self.canvas.clipPath(path, stroke=0, fill=0)
        elif group.clip is not None:
            self.canvas.clipPath(self.path(group.clip.points, closed=True), stroke=0, fill=0)
        for shape in group.shapes:
            self.draw(shape)
        self.canvas.restoreState()

    def draw(self, shape: Shape) -> None:
        match shape:
            case Line(x1, y1, x2, y2, stroke):
                self.stroke(stroke)
                self.canvas.line(*self.place(x1, y1), *self.place(x2, y2))
            case Polyline(at, stroke):
                self.stroke(stroke)
                self.canvas.drawPath(self.path(at, closed=False), stroke=1, fill=0)
            case Polygon(at, fill, stroke):
                painted = {"stroke": self.stroke(stroke), "fill": self.fill(fill)}
                self.canvas.drawPath(self.path(at, closed=True), **painted)
            case Rect(_, _, _, _, fill, stroke, radius):
                painted = {"stroke": self.stroke(stroke), "fill": self.fill(fill)}
                if radius:
                    corner = radius * POINTS_PER_CM
                    self.canvas.roundRect(*self.rectangle(shape), corner, **painted)
                else:
                    self.canvas.rect(*self.rectangle(shape), **painted)
            case Circle(x, y, radius, fill, stroke):
                painted = {"stroke": self.stroke(stroke), "fill": self.fill(fill)}
                self.canvas.circle(*self.place(x, y), radius * POINTS_PER_CM, **painted)
            case Text():
                self.text(shape)
            case Group():
                self.group(shape)
