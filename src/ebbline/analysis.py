"""The one door: a Recording and what is known about it, to a Reading."""

from __future__ import annotations

from collections.abc import Sequence

from ebbline.criteria.model import Standard, Window
from ebbline.reading import Reading
from ebbline.recording.model import Context, Recording

ALL_STANDARDS = (Standard.NICHD, Standard.FIGO, Standard.NICE)


def read(
    recording: Recording,
    *,
    context: Context | None = None,
    window: Window | None = None,
    standards: Sequence[Standard] = ALL_STANDARDS,
) -> Reading:
    """Read a recording: findings of the whole, review and classes of the window.

    context replaces the recording's own. window defaults to the last 30 minutes (the whole of a
    shorter recording). Raises RecordingError without a fetal heart-rate channel, ContextError for
    a window outside the recording.
    """
    raise NotImplementedError
