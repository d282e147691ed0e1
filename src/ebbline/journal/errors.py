"""The errors of the record."""

from __future__ import annotations

from ebbline.errors import EbblineError


class JournalError(EbblineError):
    """An entry, a case or a store of the record that cannot be used."""


class NoSuchCaseError(JournalError):
    """A case that is not in the record."""


class ConflictError(JournalError):
    """What was asked meets something that was written meanwhile."""
