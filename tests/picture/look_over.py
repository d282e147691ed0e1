"""What a drawn page holds, taken apart for the tests."""

from __future__ import annotations

import itertools
from collections.abc import Iterator

import numpy as np

from ebbline.picture.canvas import (
    Document,
    Group,
    Page,
    Points,
    Polyline,
    Rect,
    Shape,
    Stroke,
    Text,
)
from ebbline.picture.fonts import overlap, text_box


def shapes(page: Page) -> Iterator[Shape]:
    """Every shape of a page, groups taken apart."""
    waiting = list(page.shapes)
    while waiting:
        shape = waiting.pop()
        yield shape
        if isinstance(shape, Group):
            waiting.extend(shape.shapes)


def texts(page: Page) -> list[Text]:
    """Every text of a page."""
    return [shape for shape in shapes(page) if isinstance(shape, Text)]


def words(page: Page) -> str:
    """All words of a page in one."""
    return "\n".join(text.text for text in texts(page))


def all_words(document: Document) -> str:
    """All words of a document in one."""
    return "\n".join(words(page) for page in document.pages)


def titles(document: Document) -> list[str]:
    """What each bracket tells whoever hovers over it or cannot see it."""
    return [
        shape.title
        for page in document.pages
        for shape in shapes(page)
        if isinstance(shape, Group) and shape.title
    ]


def lines(page: Page, stroke: Stroke) -> list[Polyline]:
    """All lines under one pen."""
    return [s for s in shapes(page) if isinstance(s, Polyline) and s.stroke == stroke]


def overprinted(page: Page) -> list[tuple[str, str]]:
    """Pairs of texts that share room, and texts that leave the page."""
    boxes = [(text_box(text), text.text) for text in texts(page) if text.text.strip()]
    pairs = [
        (name, other)
        for (box, name), (other_box, other) in itertools.combinations(boxes, 2)
        if overlap(box, other_box)
    ]
    outside = [
        (name, "edge of the page")
        for (left, top, right, bottom), name in boxes
        if left < 0 or top < 0 or right > page.width or bottom > page.height
    ]
    return pairs + outside


def visible(page: Page, strokes: tuple[Stroke, ...]) -> list[Points]:
    """Points of the lines under these pens, without what the paper's edge hides."""
    found = []
    for group in shapes(page):
        if not isinstance(group, Group) or not isinstance(group.clip, Rect):
            continue
        paper = group.clip
        for line in group.shapes:
            if isinstance(line, Polyline) and line.stroke in strokes:
                height = line.points[:, 1]
                found.append(line.points[(height >= paper.y) & (height <= paper.y + paper.height)])
    return found


def on_a_trace(page: Page, strokes: tuple[Stroke, ...]) -> list[str]:
    """Texts that lie on a trace."""
    found = []
    traces = np.vstack([np.empty((0, 2)), *visible(page, strokes)])
    for text in texts(page):
        left, top, right, bottom = text_box(text)
        across = (traces[:, 0] > left) & (traces[:, 0] < right)
        down = (traces[:, 1] > top) & (traces[:, 1] < bottom)
        if (across & down).any():
            found.append(text.text)
    return found
