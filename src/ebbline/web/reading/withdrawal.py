"""Taking back what one wrote: by its author or an admin, once; the row stays on record."""

from __future__ import annotations

from typing import TypeVar

from sqlalchemy.orm import Session

from ebbline.errors import EbblineError
from ebbline.web.errors import NotThereError
from ebbline.web.principal import Principal, Role
from ebbline.web.reading.models import Correction, Mark

Row = TypeVar("Row", Mark, Correction)


class TakingBackError(EbblineError):
    """Something that is not one's own to take back."""


def standing(
    session: Session, table: type[Row], key: str, number: int, who: Principal, what: str
) -> Row:
    """The row that may be taken back. Raises NotThereError, or TakingBackError in words."""
    row = session.get(table, number)
    if row is None or row.recording_id != key or row.withdrawn_at is not None:
        raise NotThereError(f"there is no such {what}.", where=f"{what} {number}")
    if row.author != who.name and not who.may(Role.ADMIN):
        raise TakingBackError(f"this {what} is of {row.author}; only they may take it back.")
    return row
