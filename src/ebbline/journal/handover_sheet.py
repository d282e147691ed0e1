"""The handover on one sheet of A4 upright; what does not fit goes on, and says so."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from ebbline import CAUTION
from ebbline.journal.entries import HandoverGiven
from ebbline.picture.canvas import Anchor, Document, Line, Page, Rect, Shape, Stroke, Text
from ebbline.picture.fonts import shortened, wrapped
from ebbline.picture.style import FALL, FALL_TINT, FRAME, INK, QUIET_INK

WIDTH, HEIGHT, MARGIN = 21.0, 29.7, 1.5
"""A4 upright, cm (ISO 216)."""
TOP, BOTTOM = 3.1, HEIGHT - 1.7
SIZES = (10.5, 10.0, 9.5, 9.0, 8.5, 8.0)
"""Points; the largest at which all fits one sheet is taken."""
LEADING = 1.32 * 2.54 / 72
GRAVE = ("LOOK:", "NEW:", "CORRECTED:", "AWAITED:", "OVERDUE", "NOT WRITTEN YET")
"""How a line begins that is set apart."""

PARTS = (
    ("changed", "Changed"),
    ("situation", "Situation"),
    ("background", "Background"),
    ("assessment", "Assessment"),
    ("recommendation", "Recommendation"),
)


@dataclass(frozen=True, slots=True)
class HandoverHead:
    """What stands at the top and the foot. head: hash of the last entry it rests on."""

    case: str
    bed: str
    at: datetime
    by: str
    entry: int
    head: str
    draft: bool


def handover_sheet(given: HandoverGiven, head: HandoverHead) -> Document:
    """The handover as a document: one sheet, or two where eight points are not small enough."""
    for size in SIZES:
        pages = _Flow(given, head, size).pages()
        if len(pages) == 1:
            break
    return Document(f"Handover of case {head.case}", tuple(pages))


class _Flow:
    """Sets the parts one below the other."""

    def __init__(self, given: HandoverGiven, head: HandoverHead, size: float) -> None:
        self.head = head
        self.size = size
        self.sheets: list[list[Shape]] = []
        self.y = 0.0
        self._turn(given)
        for name, title in PARTS:
            self._part(given, title, getattr(given, name))

    def _turn(self, given: HandoverGiven) -> None:
        head = self.head
        kind = "Draft of a handover" if head.draft else "Handover"
        shapes: list[Shape] = [
            Text(MARGIN, 1.9, f"{kind}: bed {head.bed}, case {head.case}", 16, INK, True)
        ]
        to = f" to {given.to}" if given.to else ""
        said = f"{head.at:%d %b %Y, %H:%M}, by {head.by}{to}."
        shapes.append(Text(MARGIN, 2.5, shortened(said, WIDTH - 2 * MARGIN, 10), 10, QUIET_INK))
        if self.sheets:
            shapes.append(Text(WIDTH - MARGIN, 1.9, "continued", 10, INK, True, anchor=Anchor.END))
        self.sheets.append(shapes)
        self.y = TOP

    def _part(self, given: HandoverGiven, title: str, text: str) -> None:
        step = self.size * LEADING
        if self.y + 3 * step > BOTTOM:
            self._turn(given)
        self.sheets[-1].append(Line(MARGIN, self.y, WIDTH - MARGIN, self.y, Stroke(INK, 0.8)))
        self.y += step * 1.15
        self.sheets[-1].append(Text(MARGIN, self.y, title, self.size + 2, INK, True))
        self.y += step * 0.35
        for item in text.splitlines() or ["Nothing written."]:
            if item.strip():
                self._item(given, item.strip())
        self.y += step * 0.6

    def _item(self, given: HandoverGiven, item: str) -> None:
        step = self.size * LEADING
        grave = item.startswith(GRAVE)
        lines = wrapped(item, WIDTH - 2 * MARGIN - 0.7, self.size, bold=grave)
        if self.y + len(lines) * step > BOTTOM:
            self._turn(given)
        if grave:
            self.sheets[-1].append(
                Rect(
                    MARGIN,
                    self.y + 0.22 * step,
                    WIDTH - 2 * MARGIN,
                    len(lines) * step + 0.08 * step,
                    FALL_TINT,
                    None,
                )
            )
            self.sheets[-1].append(
                Rect(MARGIN, self.y + 0.22 * step, 0.09, len(lines) * step + 0.08 * step, FALL)
            )
        for line in lines:
            self.y += step
            self.sheets[-1].append(Text(MARGIN + 0.3, self.y, line, self.size, INK, grave))
        self.y += 0.16 * step

    def pages(self) -> list[Page]:
        """The finished sheets."""
        made = []
        foot = HEIGHT - 1.05
        head = self.head
        rests = f"Rests on entry {head.entry} of the record, {head.head[:16]}"
        for number, shapes in enumerate(self.sheets, 1):
            feet: list[Shape] = [
                Line(MARGIN, foot - 0.42, WIDTH - MARGIN, foot - 0.42, FRAME),
                Text(MARGIN, foot, rests, 7.5, QUIET_INK),
                Text(
                    WIDTH - MARGIN,
                    foot,
                    f"{number} / {len(self.sheets)}",
                    7.5,
                    QUIET_INK,
                    anchor=Anchor.END,
                ),
                Text(
                    MARGIN, foot + 0.34, shortened(CAUTION, WIDTH - 2 * MARGIN, 6.6), 6.6, QUIET_INK
                ),
            ]
            made.append(Page(WIDTH, HEIGHT, (*shapes, *feet), f"Handover of case {head.case}"))
        return made
