"""Drawings: one model, written as SVG, PDF or PNG; the strip, drawn from a reading.

The strip is loaded only when it is asked for, so that other drawings need nothing of traces.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from ebbline.picture.canvas import Document, Page
from ebbline.picture.files import write

if TYPE_CHECKING:
    from ebbline.picture.strip import draw_strip

__all__ = ["Document", "Page", "draw_strip", "write"]


def __getattr__(name: str) -> Any:
    if name == "draw_strip":
        from ebbline.picture.strip import draw_strip

        return draw_strip
    raise AttributeError(f"module {__name__!r} has no attribute {name!r}")
