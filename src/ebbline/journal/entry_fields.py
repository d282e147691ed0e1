"""How one field of an entry is asked for and checked: the same for every form, command and file.

A number outside its range is refused as a slip of the hand, never as a judgement: the ranges are
ours, wide enough for anything a living woman or fetus can show. What is worth an alert stands in
the tables of the chart of progress.
"""

from __future__ import annotations

import math
import unicodedata
from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from difflib import get_close_matches
from enum import StrEnum
from typing import Any

from ebbline.journal.errors import JournalError

MOST_TEXT = 4000
_YES, _NO = ("yes", "true", "1", "on"), ("no", "false", "0", "off")


class Sort(StrEnum):
    """What a field holds."""

    NUMBER = "number"
    WHOLE = "whole number"
    TEXT = "text"
    TRUTH = "yes or no"
    CHOICE = "choice"
    CHOICES = "choices"
    MOMENT = "time"


@dataclass(frozen=True, slots=True)
class Ask:
    """One field: its words, unit, bounds and choices.

    low, high: bounds of a number, in unit. step: what a key on a tablet adds. required: an entry
    without it is refused. words: how choices are said, where the stored word is not enough.
    bare: the value is said without its label, which it does not need. quiet: too long for the
    line of an entry, and left out of it.
    """

    label: str
    sort: Sort
    unit: str = ""
    low: float = -math.inf
    high: float = math.inf
    step: float = 1.0
    choices: tuple[str, ...] = ()
    words: Mapping[str, str] = field(default_factory=dict, hash=False)
    required: bool = False
    most: int = MOST_TEXT
    bare: bool = False
    quiet: bool = False

    def said(self, value: Any) -> str:
        """A value in words, with its unit."""
        if isinstance(value, bool):
            return "yes" if value else "no"
        if isinstance(value, datetime):
            return f"{value:%d %b %H:%M}"
        if isinstance(value, tuple):
            return ", ".join(self.words.get(one, one) for one in value)
        if isinstance(value, int | float):
            return self.words.get(f"{value:g}", f"{value:g} {self.unit}".strip())
        return self.words.get(value, str(value))

    def read(self, value: Any, name: str) -> Any:
        """The typed value of what came from a form, a command or a file; None for nothing said.

        Raises JournalError naming the field.
        """
        if isinstance(value, str):
            value = value.strip()
        if value is None or value == "" or value == []:
            return None
        return _READERS[self.sort](self, value, name)


def asked(label: str, sort: Sort, *, default: Any = None, **more: Any) -> Any:
    """A dataclass field with its Ask; absent unless said."""
    return field(default=default, metadata={"ask": Ask(label, sort, **more)})


def number(label: str, unit: str, low: float, high: float, **more: Any) -> Any:
    """A number with its unit and the range beyond which it must be a slip."""
    return asked(label, Sort.NUMBER, unit=unit, low=low, high=high, **more)


def whole(label: str, unit: str, low: float, high: float, **more: Any) -> Any:
    """A whole number."""
    return asked(label, Sort.WHOLE, unit=unit, low=low, high=high, **more)


def text(label: str, *, most: int = MOST_TEXT, **more: Any) -> Any:
    """Free words."""
    return asked(label, Sort.TEXT, default="", most=most, **more)


def choice(label: str, *choices: str, **more: Any) -> Any:
    """One of some words."""
    return asked(label, Sort.CHOICE, default="", choices=choices, **more)


def choices(label: str, *words: str, **more: Any) -> Any:
    """Any of some words; free ones where none are listed."""
    return asked(label, Sort.CHOICES, default=(), choices=words, **more)


def truth(label: str, **more: Any) -> Any:
    """Yes or no; None while it was not said."""
    return asked(label, Sort.TRUTH, **more)


def moment(label: str, **more: Any) -> Any:
    """A time with its zone."""
    return asked(label, Sort.MOMENT, **more)


def clean_text(value: Any, name: str, most: int = MOST_TEXT) -> str:
    """Words any store can hold: normalised, no control characters. Raises JournalError."""
    if not isinstance(value, str):
        raise JournalError(f"{value!r} is not a text.", where=name)
    plain = unicodedata.normalize("NFC", value.replace("\r\n", "\n")).strip()
    if len(plain) > most:
        raise JournalError(
            f"{len(plain)} characters are more than the {most} taken here.",
            where=name,
            remedy="Say it more shortly, or in two entries.",
        )
    for one in plain:
        if one not in "\n\t" and unicodedata.category(one) in ("Cc", "Cs"):
            raise JournalError(
                "it holds a character that cannot be written.", where=name, remedy="Type it anew."
            )
    return plain


def aware(value: datetime, name: str) -> datetime:
    """A time with its zone, to the second. Raises JournalError without one."""
    if value.tzinfo is None or value.utcoffset() is None:
        raise JournalError(
            f"the time {value.isoformat(timespec='minutes')} has no time zone.",
            where=name,
            remedy="Write it with one, for example 2025-03-01T14:32+01:00.",
        )
    try:
        value.astimezone(UTC)
    except OverflowError:
        raise JournalError(f"{value} is no time of a labour.", where=name) from None
    return value.replace(microsecond=0)


def read_moment(value: Any, name: str) -> datetime:
    """A time with its zone from ISO 8601 text. Raises JournalError."""
    if isinstance(value, datetime):
        return aware(value, name)
    try:
        found = datetime.fromisoformat(str(value))
    except ValueError:
        raise JournalError(
            f"'{value}' is not a time.", where=name, remedy="Write it as 2025-03-01T14:32+01:00."
        ) from None
    return aware(found, name)


def _number(ask: Ask, value: Any, name: str) -> float | int:
    try:
        if isinstance(value, bool):
            raise ValueError
        found = float(value.replace(",", ".") if isinstance(value, str) else value)
    except (ValueError, TypeError, OverflowError):
        raise JournalError(f"'{value}' is not a number.", where=name) from None
    if not ask.low <= found <= ask.high:
        raise JournalError(
            f"{found:g} {ask.unit} cannot be right.".replace("  ", " "),
            where=name,
            remedy=f"Between {ask.low:g} and {ask.high:g} is taken.",
        )
    if ask.sort is Sort.WHOLE:
        if found != int(found):
            raise JournalError(f"'{value}' is not a whole number.", where=name)
        return int(found)
    return found


def _text(ask: Ask, value: Any, name: str) -> str:
    return clean_text(value, name, ask.most)


def _truth(_: Ask, value: Any, name: str) -> bool:
    if isinstance(value, bool):
        return value
    plain = str(value).lower()
    if plain in _YES or plain in _NO:
        return plain in _YES
    raise JournalError(f"'{value}' is neither yes nor no.", where=name)


def _choice(ask: Ask, value: Any, name: str) -> str:
    plain = clean_text(value, name)
    if not ask.choices or plain in ask.choices:
        return plain
    for stored, said in ask.words.items():
        if plain.casefold() == said.casefold():
            return stored
    close = get_close_matches(plain, ask.choices, n=1, cutoff=0.6)
    raise JournalError(
        f"'{plain}' is not a word for this.",
        where=name,
        remedy=f"Did you mean '{close[0]}'?"
        if close
        else f"Choose from: {', '.join(ask.choices)}.",
    )


def _choices(ask: Ask, value: Any, name: str) -> tuple[str, ...]:
    several = value.split(",") if isinstance(value, str) else value
    if not isinstance(several, list | tuple):
        raise JournalError(f"'{value}' is not a list of words.", where=name)
    found = (_choice(ask, one, name) for one in several)
    return tuple(dict.fromkeys(one for one in found if one))


def _moment(_: Ask, value: Any, name: str) -> datetime:
    return read_moment(value, name)


_READERS = {
    Sort.NUMBER: _number,
    Sort.WHOLE: _number,
    Sort.TEXT: _text,
    Sort.TRUTH: _truth,
    Sort.CHOICE: _choice,
    Sort.CHOICES: _choices,
    Sort.MOMENT: _moment,
}
