"""Drawings: one model, written as SVG, PDF or PNG."""

from ebbline.picture.canvas import Document, Page
from ebbline.picture.files import write

__all__ = ["Document", "Page", "write"]
