"""Times as typed on the command line: from the recording's start, or of the clock."""

from __future__ import annotations

import re
from datetime import datetime, timedelta

from ebbline.errors import ContextError

_REMEDY = (
    "Write hours:minutes[:seconds] from the start (0:30, 1:05:30), or a time of the clock with @ "
    "before it (@14:32)."
)
_TIME = re.compile(r"(@?)(\d{1,3}):([0-5]\d)(?::([0-5]\d))?", re.ASCII)


def time_s(text: str, *, option: str, start: datetime | None, duration_s: float) -> float:
    """Seconds from the recording's start. Raises ContextError, naming the option.

    A time of the clock (@14:32) is its first occurrence at or after the recording's start; in a
    recording that holds it twice (more than 24 hours) it is refused as ambiguous.
    """
    match = _TIME.fullmatch(text.strip())
    if match is None:
        raise ContextError(f"'{text}' is not a time.", where=option, remedy=_REMEDY)
    hours, minutes, seconds = (int(part or 0) for part in match.groups()[1:])
    if not match[1]:
        return float(hours * 3600 + minutes * 60 + seconds)
    if start is None:
        raise ContextError(
            f"'{text}' is a time of the clock, and the recording does not say when it started.",
            where=option,
            remedy="Give the time from the recording's start: 0:30 is half an hour after it.",
        )
    if hours > 23:
        raise ContextError(f"'{text}' is not a time of the clock.", where=option, remedy=_REMEDY)
    clock = start.replace(hour=hours, minute=minutes, second=seconds, microsecond=0)
    if clock < start.replace(microsecond=0):
        clock += timedelta(days=1)
    found_s = max((clock - start).total_seconds(), 0.0)
    if found_s + timedelta(days=1).total_seconds() <= duration_s:
        raise ContextError(
            f"'{text}' comes more than once in this recording.",
            where=option,
            remedy="Give the time from the recording's start.",
        )
    return found_s
