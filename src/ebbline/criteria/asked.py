"""Standards as people name them: "nichd,figo", or a list of words and standards."""

from __future__ import annotations

from collections.abc import Iterable

from ebbline.criteria.model import Standard
from ebbline.criteria.study import AnyStandard, ModifiedStandard
from ebbline.errors import ContextError


def named_standards(text: str, *, where: str = "standards") -> tuple[Standard, ...]:
    """The published standards named in a text, in order, each once.

    where: the argument or option the text came by. Raises ContextError, naming it, for what is no
    standard and where none is named.
    """
    found = []
    for word in text.split(","):
        name = word.strip().lower()
        if name and name not in list(Standard):
            raise _no_standard(f"{name[:40]!r} is not a standard.", where)
        if name:
            found.append(Standard(name))
    if not found:
        raise _no_standard("no standard is named.", where)
    return tuple(dict.fromkeys(found))


def chosen_standards(
    asked: str | Iterable[str | AnyStandard], *, where: str = "standards"
) -> tuple[AnyStandard, ...]:
    """The same for a list too, in which standards changed for a study may stand."""
    if isinstance(asked, str):
        return named_standards(asked, where=where)
    try:
        words = list(asked)
    except TypeError as error:
        raise _no_standard(f"{asked!r} names no standards.", where) from error
    found: list[AnyStandard] = []
    for word in words:
        if isinstance(word, ModifiedStandard):
            found.append(word)
        else:
            found += named_standards(str(word), where=where)
    if not found:
        raise _no_standard("no standard is named.", where)
    return tuple(dict.fromkeys(found))


def _no_standard(what: str, where: str) -> ContextError:
    return ContextError(
        what,
        where=where,
        remedy=f"Choose from {', '.join(Standard)}, with commas between them.",
    )
