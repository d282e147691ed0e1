"""The classes of each standard in their order, and the refusal, as a learner may choose them."""

from __future__ import annotations

from ebbline.criteria.model import Standard

NO_CLASS = "no class"

_CLASSES = {
    Standard.NICHD: ("Category I", "Category II", "Category III"),
    Standard.FIGO: ("normal", "suspicious", "pathological"),
    Standard.NICE: ("normal", "suspicious", "pathological"),
    Standard.NST: ("reactive", "non-reactive"),
}

TITLES = {
    Standard.NICHD: "NICHD 2008",
    Standard.FIGO: "FIGO 2015",
    Standard.NICE: "NICE NG229",
    Standard.NST: "the non-stress test",
}


def classes_of(standard: Standard) -> tuple[str, ...]:
    """The standard's classes, the best first, and "no class" last."""
    return (*_CLASSES[standard], NO_CLASS)
