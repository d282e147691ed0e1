"""What can be wrong with a request anywhere in the workbench."""

from __future__ import annotations

from ebbline.errors import EbblineError


class NotThereError(EbblineError):
    """Something asked for that is not in the store."""
