"""Standards as typed on the command line."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ebbline.errors import ContextError

if TYPE_CHECKING:
    from ebbline.criteria.model import Standard


def chosen_standards(text: str) -> tuple[Standard, ...]:
    """The standards named, in order, each once. Raises ContextError for what is none."""
    from ebbline.criteria.model import Standard

    known = {standard.value: standard for standard in Standard}
    asked = [name.strip().lower() for name in text.split(",") if name.strip()]
    for name in asked:
        if name not in known:
            raise ContextError(
                f"'{name}' is not a standard.",
                where="--criteria",
                remedy=f"Choose from {', '.join(known)}, with commas between them.",
            )
    if not asked:
        raise ContextError(
            "no standard is named.",
            where="--criteria",
            remedy=f"Choose from {', '.join(known)}, with commas between them.",
        )
    return tuple(known[name] for name in dict.fromkeys(asked))
