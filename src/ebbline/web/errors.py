"""What can be wrong with a request anywhere in the workbench."""

from __future__ import annotations

from ebbline.errors import EbblineError


class NotThereError(EbblineError):
    """Something asked for that is not in the store."""


class StaleError(EbblineError):
    """Something was changed by someone else since it was looked at."""


class BlindError(EbblineError):
    """Something computed was asked for by someone who reads blind."""
