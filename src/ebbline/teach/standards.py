"""The classes of each standard in their order, and the refusal, as a learner may choose them."""

from __future__ import annotations

from ebbline.criteria import TABLES
from ebbline.criteria.model import Standard

NO_CLASS = "no class"

TITLES = {standard: table.title for standard, table in TABLES.items()}


def classes_of(standard: Standard) -> tuple[str, ...]:
    """The standard's classes, the best first, and "no class" last."""
    return (*TABLES[standard].classes, NO_CLASS)
