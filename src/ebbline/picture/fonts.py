"""The one typeface of our pictures (Source Sans Pro, SIL Open Font License) and its measures."""

from __future__ import annotations

import importlib.util
import math
import re
from functools import cache, lru_cache
from pathlib import Path
from typing import Any

from ebbline.errors import EbblineError
from ebbline.picture.canvas import CM_PER_POINT, Anchor, Text

FAMILY = "Source Sans Pro"
ASCENT = 0.72
"""Height of capitals and ascenders above the writing line, in font sizes."""
DESCENT = 0.22
"""Depth of descenders below it."""

_FACES = {
    (False, False): "SourceSansPro-Regular",
    (True, False): "SourceSansPro-Bold",
    (False, True): "SourceSansPro-It",
    (True, True): "SourceSansPro-BoldIt",
}


@cache
def _folder() -> Path:
    spec = importlib.util.find_spec("font_source_sans_pro")
    if spec is None or not spec.submodule_search_locations:
        raise EbblineError(
            "the typeface for pictures is not installed.",
            where="font-source-sans-pro",
            remedy="Install Ebbline anew with its locked requirements.",
        )
    return Path(spec.submodule_search_locations[0]) / "files"


def font_files() -> list[Path]:
    """The four TrueType files: regular, bold, italic, bold italic."""
    return [_folder() / f"{name}.ttf" for name in _FACES.values()]


@cache
def face(bold: bool = False, italic: bool = False) -> str:
    """Name by which ReportLab knows the face; registered at the first call."""
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    name = _FACES[bold, italic]
    pdfmetrics.registerFont(TTFont(name, str(_folder() / f"{name}.ttf")))
    return name


@cache
def _font(bold: bool, italic: bool) -> Any:
    from reportlab.pdfbase import pdfmetrics

    return pdfmetrics.getFont(face(bold, italic))


def printable(text: str) -> str:
    """Text without control characters, which no page can show and no SVG may hold."""
    return "".join(c if c.isprintable() else " " for c in text)


@lru_cache(maxsize=16384)
def text_width(text: str, size: float, *, bold: bool = False, italic: bool = False) -> float:
    """Width in cm of a line of text at a size in points."""
    width: float = _font(bold, italic).stringWidth(printable(text), size)
    return width * CM_PER_POINT


def text_box(text: Text) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of a text on its page, cm: what it may not share with others."""
    width = text_width(text.text, text.size, bold=text.bold, italic=text.italic)
    before = {Anchor.START: 0.0, Anchor.MIDDLE: width / 2, Anchor.END: width}[text.anchor]
    above, below = (share * text.size * CM_PER_POINT for share in (ASCENT, DESCENT))
    turn = math.radians(text.turn)
    corners = [(x, y) for x in (-before, width - before) for y in (-above, below)]
    xs = [text.x + x * math.cos(turn) - y * math.sin(turn) for x, y in corners]
    ys = [text.y + x * math.sin(turn) + y * math.cos(turn) for x, y in corners]
    return min(xs), min(ys), max(xs), max(ys)


def overlap(one: tuple[float, ...], other: tuple[float, ...]) -> bool:
    """Whether two boxes (left, top, right, bottom) share any room."""
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def wrapped(text: str, width: float, size: float, *, bold: bool = False) -> list[str]:
    """Lines of text none of which is wider than width (cm), broken at spaces.

    A no-break space does not break. A single word wider than that is broken where it must be.
    """
    lines: list[str] = []
    line = ""
    for word in map(printable, re.findall(r"[^ \t\n]+", text)):
        longer = f"{line} {word}" if line else word
        if text_width(longer, size, bold=bold) <= width:
            line = longer
            continue
        if line:
            lines.append(line)
        while text_width(word, size, bold=bold) > width and len(word) > 1:
            fits = max(
                (n for n in range(1, len(word)) if text_width(word[:n], size, bold=bold) <= width),
                default=1,
            )
            lines.append(word[:fits])
            word = word[fits:]
        line = word
    return [*lines, line] if line else lines


def shortened(text: str, width: float, size: float, *, bold: bool = False) -> str:
    """Text cut to a width in cm between two words, with an ellipsis where something was cut.

    Only a first word that is wider by itself is cut within.
    """
    text = printable(text)
    if text_width(text, size, bold=bold) <= width:
        return text
    while text and text_width(text + "…", size, bold=bold) > width:
        text = text[:-1]
    whole = text.rsplit(" ", 1)[0] if " " in text.strip() else text
    return whole.rstrip(" ,;:(") + "…" if text else ""
