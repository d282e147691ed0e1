"""Numbers in words, as all of the examination's texts write them."""

from __future__ import annotations

import re

from ebbline.errors import ContextError


def percent(share: float) -> str:
    """A probability in per cent; never 0 or 100, which nobody can know."""
    if share < 0.01:
        return "under 1 %"
    if share > 0.99:
        return "over 99 %"
    return f"{100 * share:.0f} %"


def small_percent(share: float) -> str:
    """The same with a decimal where it is small."""
    if share < 0.001:
        return "under 0.1 %"
    return f"{100 * share:.1f} %" if share < 0.1 else percent(share)


def weeks_words(weeks: float) -> str:
    """Weeks as the trade writes them: 39, 39+2."""
    days = round(7 * weeks)
    return f"{days // 7}+{days % 7}" if days % 7 else f"{days // 7}"


_WEEKS = re.compile(r"(\d{1,2}(?:[.,]\d+)?)(?:\s*(?:\+|w|weeks?\b)\s*([0-6])?\s*(?:d|days?)?)?")


def weeks_from(text: str, where: str = "weeks") -> float:
    """Weeks from '39', '39.5', '39+4', '39w4' or '39w4d', in weeks.

    Raises ContextError for anything else.
    """
    matched = _WEEKS.fullmatch(text.strip().lower())
    if matched is None:
        raise ContextError(
            f"'{text}' is not a number of weeks.",
            where=where,
            remedy="Write 39, or 39+4 with days (0 to 6).",
        )
    whole, days = matched.groups()
    return float(whole.replace(",", ".")) + (int(days) / 7 if days else 0.0)
