"""A page as SVG text: no scripts, no style sheets, nothing fetched from elsewhere.

One unit is 0.1 mm, so that the numbers stay short; the sheet's width and height are in cm, so
that it prints at true scale. The width of each text is written beside it, so that another
typeface takes up the same room.
"""

from __future__ import annotations

from xml.sax.saxutils import escape, quoteattr

from ebbline.picture.canvas import (
    CM_PER_POINT,
    Anchor,
    Circle,
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
from ebbline.picture.fonts import FAMILY, printable, text_width

UNITS_PER_CM = 100
_POINT = CM_PER_POINT * UNITS_PER_CM
_FONTS = f"'{FAMILY}', 'Source Sans 3', Arial, Helvetica, 'Liberation Sans', sans-serif"


def svg(page: Page) -> str:
    """The page as a whole SVG file."""
    clips: list[str] = []
    body = "\n".join(_shape(shape, clips) for shape in page.shapes)
    defs = f"<defs>{''.join(clips)}</defs>\n" if clips else ""
    title = f"<title>{escape(printable(page.title))}</title>\n" if page.title else ""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{page.width:g}cm" '
        f'height="{page.height:g}cm" viewBox="0 0 {_n(page.width)} {_n(page.height)}" '
        f'font-family="{_FONTS}">\n{title}{defs}'
        f'<rect width="{_n(page.width)}" height="{_n(page.height)}" fill="#ffffff"/>\n'
        f"{body}\n</svg>\n"
    )


def _n(cm: float) -> str:
    """A length or place in units, to a hundredth of a millimetre."""
    text = f"{cm * UNITS_PER_CM:.1f}"
    return text[:-2] if text.endswith(".0") else text


def _points(at: Points) -> str:
    return " ".join(f"{_n(x)},{_n(y)}" for x, y in at.tolist())


def _stroke(stroke: Stroke | None) -> str:
    if stroke is None:
        return ""
    dash = f' stroke-dasharray="{" ".join(map(_n, stroke.dash))}"' if stroke.dash else ""
    ends = ' stroke-linecap="round"' if stroke.round_ends else ""
    return f' stroke="{stroke.colour}" stroke-width="{stroke.width * _POINT:.2f}"{dash}{ends}'


def _paint(fill: str | None, stroke: Stroke | None) -> str:
    return f' fill="{fill or "none"}"{_stroke(stroke)}'


def _text(text: Text) -> str:
    words = printable(text.text)
    width = text_width(words, text.size, bold=text.bold, italic=text.italic)
    weight = ' font-weight="700"' if text.bold else ""
    slant = ' font-style="italic"' if text.italic else ""
    anchor = f' text-anchor="{text.anchor}"' if text.anchor is not Anchor.START else ""
    x, y = _n(text.x), _n(text.y)
    turn = f' transform="rotate({text.turn:g} {x} {y})"' if text.turn else ""
    return (
        f'<text x="{x}" y="{y}" font-size="{text.size * _POINT:.2f}" fill="{text.colour}"'
        f'{weight}{slant}{anchor}{turn} textLength="{_n(width)}" '
        f'lengthAdjust="spacingAndGlyphs">{escape(words)}</text>'
    )


def _group(group: Group, clips: list[str]) -> str:
    clip = ""
    if group.clip is not None:
        number = len(clips)
        clips.append("")
        clips[number] = f'<clipPath id="clip{number}">{_shape(group.clip, clips)}</clipPath>'
        clip = f' clip-path="url(#clip{number})"'
    name = f" data-name={quoteattr(group.name)}" if group.name else ""
    title = f"<title>{escape(printable(group.title))}</title>" if group.title else ""
    inside = "\n".join(_shape(shape, clips) for shape in group.shapes)
    return f"<g{clip}{name}>{title}{inside}</g>"


def _shape(shape: Shape, clips: list[str]) -> str:
    match shape:
        case Line(x1, y1, x2, y2, stroke):
            return (
                f'<line x1="{_n(x1)}" y1="{_n(y1)}" x2="{_n(x2)}" y2="{_n(y2)}"{_stroke(stroke)}/>'
            )
        case Polyline(at, stroke):
            return (
                f'<polyline points="{_points(at)}" fill="none" '
                f'stroke-linejoin="round"{_stroke(stroke)}/>'
            )
        case Polygon(at, fill, stroke):
            return f'<polygon points="{_points(at)}"{_paint(fill, stroke)}/>'
        case Rect(x, y, width, height, fill, stroke, radius):
            corner = f' rx="{_n(radius)}"' if radius else ""
            return (
                f'<rect x="{_n(x)}" y="{_n(y)}" width="{_n(width)}" height="{_n(height)}"'
                f"{corner}{_paint(fill, stroke)}/>"
            )
        case Circle(x, y, radius, fill, stroke):
            return f'<circle cx="{_n(x)}" cy="{_n(y)}" r="{_n(radius)}"{_paint(fill, stroke)}/>'
        case Text():
            return _text(shape)
        case Group():
            return _group(shape, clips)
