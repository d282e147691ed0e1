"""A page as PNG, made from its SVG, with the resolution written in so that it prints to scale."""

from __future__ import annotations

import struct
import zlib

from ebbline.errors import EbblineError
from ebbline.picture.canvas import Page
from ebbline.picture.fonts import FAMILY, font_files
from ebbline.picture.svg import svg

MOST_PIXELS = 150_000_000
"""About 600 MB while it is drawn."""


def png(page: Page, dpi: int = 150) -> bytes:
    """The page as a whole PNG file at dpi dots per inch.

    Raises EbblineError when the page is too large to be drawn at that resolution.
    """
    import resvg_py

    width, height = (round(side / 2.54 * dpi) for side in (page.width, page.height))
    if width * height > MOST_PIXELS:
        raise EbblineError(
            f"{width} x {height} dots are too many for one PNG.",
            remedy="Draw a shorter window, a lower resolution, pages instead of one long sheet, "
            "or an SVG or PDF.",
        )
    made = resvg_py.svg_to_bytes(
        svg_string=svg(page),
        dpi=dpi,
        skip_system_fonts=True,
        font_files=[str(file) for file in font_files()],
        font_family=FAMILY,
        sans_serif_family=FAMILY,
    )
    return _with_resolution(bytes(made), dpi)


def _with_resolution(image: bytes, dpi: int) -> bytes:
    """The image with a pHYs chunk behind its header. Source: PNG specification, 11.3.4.3."""
    header_end = 8 + 25
    per_metre = round(dpi / 0.0254)
    chunk = b"pHYs" + struct.pack(">IIB", per_metre, per_metre, 1)
    check = struct.pack(">I", zlib.crc32(chunk))
    return image[:header_end] + struct.pack(">I", 9) + chunk + check + image[header_end:]
