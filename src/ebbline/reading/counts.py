"""How many events a stretch is said to have: no number says more than what was seen of it.

Where less than half of the heart rate is valid (`definitions.LEAST_SEEN_SHARE`), or no baseline is
known to fall from, none seen is "not assessed" and some are "at least" so many. Where more is lost
than is workable (FIGO 2015), the number is said to be of what was seen.
"""

from __future__ import annotations

import math

from ebbline.definitions import LEAST_SEEN_SHARE, WORKABLE_LOSS
from ebbline.terms import counted

NOT_ASSESSED = "not assessed"


def assessed(number: int, valid_share: float, baseline_bpm: float) -> int | None:
    """The number of events seen; None where none were, and none could be excluded."""
    return None if not number and in_part(valid_share, baseline_bpm) else number


def in_part(valid_share: float, baseline_bpm: float) -> bool:
    """Whether so little was seen of a stretch that there may be more than were counted."""
    return not valid_share >= LEAST_SEEN_SHARE or math.isnan(baseline_bpm)


def said(number: int | None, noun: str, valid_share: float, baseline_bpm: float) -> str:
    """'2 decelerations', 'at least 2 decelerations', 'no deceleration seen', 'decelerations not
    assessed'."""
    if number is None or assessed(number, valid_share, baseline_bpm) is None:
        return f"{noun}s {NOT_ASSESSED}"
    if in_part(valid_share, baseline_bpm):
        return f"at least {counted(number, noun)}"
    if valid_share < 1.0 - WORKABLE_LOSS:
        return f"{counted(number, noun) if number else f'no {noun}'} seen"
    return counted(number, noun)


def both(
    accelerations: int | None, decelerations: int | None, valid_share: float, baseline_bpm: float
) -> str:
    """Both numbers in words; said together where neither could be assessed."""
    words = [
        said(number, noun, valid_share, baseline_bpm)
        for number, noun in ((accelerations, "acceleration"), (decelerations, "deceleration"))
    ]
    if all(one.endswith(NOT_ASSESSED) for one in words):
        return f"accelerations and decelerations {NOT_ASSESSED}"
    return ", ".join(words)


def in_short(number: int | None, valid_share: float, baseline_bpm: float) -> str:
    """'2', 'at least 2' or 'not assessed', where the noun stands beside it."""
    if number is None or assessed(number, valid_share, baseline_bpm) is None:
        return NOT_ASSESSED
    return f"at least {number}" if in_part(valid_share, baseline_bpm) else str(number)
