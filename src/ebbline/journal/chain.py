"""Entries on their chain: each carries a hash of itself and of the one before it.

The hash is SHA-256 (FIPS 180-4) over a canonical JSON text of everything an entry is: case,
number, kind, times, author, what it corrects, its words, and the hash before. Whoever changes,
leaves out or slips in an entry must change every later hash; the last one is printed on every
handover, so that an older sheet of paper proves the record behind it.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any

from ebbline.journal.entries import Body, body_data, body_from, words
from ebbline.journal.entry_fields import aware, clean_text
from ebbline.journal.errors import JournalError

FORMAT = 1
"""Edition of the canonical text; a record says by which its entries were hashed."""

FIRST_HASH = "0" * 64
"""What stands before the first."""

AHEAD = timedelta(minutes=2)
"""How far the clock of a tablet may run ahead of the store's (ours)."""

LATE = timedelta(minutes=15)
"""From when an entry is shown as written in retrospect (ours)."""

MOST_AUTHOR = 60
_CASE = re.compile(r"[A-Z0-9]{1,8}(?:[-.][A-Z0-9]{1,8}){0,2}")
_TOKEN = re.compile(r"[A-Za-z0-9_-]{8,64}")


@dataclass(frozen=True, slots=True)
class Draft:
    """An entry before it is written.

    at: when it happened; author: who writes it; corrects: number of the entry it takes the place
    of. token: chosen by the sender, so that an entry sent twice is written once.
    """

    body: Body
    at: datetime
    author: str
    corrects: int | None = None
    token: str = ""


@dataclass(frozen=True, slots=True)
class Entry:
    """An entry of the record. number: its place in the case, from 1."""

    case: str
    number: int
    body: Body
    at: datetime
    written_at: datetime
    author: str
    corrects: int | None
    token: str
    previous: str
    hash: str

    @property
    def kind(self) -> str:
        """Name of its kind."""
        return self.body.kind

    @property
    def late(self) -> bool:
        """True when it was written well after it happened."""
        return self.written_at - self.at > LATE

    @property
    def words(self) -> str:
        """What it says, in one line."""
        return words(self.body)


@dataclass(frozen=True, slots=True)
class Opening:
    """A case was opened: one link of the chain of the whole unit. number: its place, from 1."""

    number: int
    case: str
    opened_at: datetime
    opened_by: str
    previous: str
    hash: str


def canonical(data: dict[str, Any]) -> str:
    """JSON text in one form only: keys in order, no blanks, no infinities."""
    return json.dumps(
        data, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False
    )


def digest(data: dict[str, Any]) -> str:
    """SHA-256 of the canonical text, in hexadecimal."""
    return hashlib.sha256(canonical(data).encode()).hexdigest()


def entry_data(entry: Entry) -> dict[str, Any]:
    """Everything an entry is but its own hash, as JSON data."""
    return {
        "format": FORMAT,
        "case": entry.case,
        "number": entry.number,
        "kind": entry.kind,
        "at": entry.at.isoformat(),
        "written_at": entry.written_at.astimezone(UTC).isoformat(),
        "author": entry.author,
        "corrects": entry.corrects,
        "token": entry.token,
        "body": body_data(entry.body),
        "previous": entry.previous,
    }


def entry_from(data: dict[str, Any]) -> Entry:
    """The entry of its JSON data, hash and all, as it was written. Raises JournalError."""
    try:
        body = body_from(data["kind"], data["body"])
        return Entry(
            case=str(data["case"]),
            number=int(data["number"]),
            body=body,
            at=datetime.fromisoformat(data["at"]),
            written_at=datetime.fromisoformat(data["written_at"]),
            author=str(data["author"]),
            corrects=None if data["corrects"] is None else int(data["corrects"]),
            token=str(data["token"]),
            previous=str(data["previous"]),
            hash=str(data["hash"]),
        )
    except (KeyError, TypeError, ValueError, AttributeError, OverflowError) as error:
        raise JournalError(f"this is not a saved entry: {error!r}.") from error


def opening_data(opening: Opening) -> dict[str, Any]:
    """Everything an opening is but its own hash."""
    return {
        "format": FORMAT,
        "number": opening.number,
        "case": opening.case,
        "opened_at": opening.opened_at.astimezone(UTC).isoformat(),
        "opened_by": opening.opened_by,
        "previous": opening.previous,
    }


def case_number(said: str) -> str:
    """A case number in its one form. Raises JournalError for a name or anything like it."""
    plain = clean_text(said, "case number").upper()
    if not _CASE.fullmatch(plain) or not any(one.isdigit() for one in plain):
        raise JournalError(
            f"'{said}' is not a case number.",
            where="case number",
            remedy="Use digits, with letters, dashes or points between, such as "
            "24-0117; never a name.",
        )
    return plain


def author_name(said: str) -> str:
    """Who writes. Raises JournalError when nobody is named."""
    plain = clean_text(said, "author", MOST_AUTHOR)
    if not plain:
        raise JournalError("it is not said who writes.", where="author", remedy="Give your name.")
    return plain


def checked(draft: Draft, now: datetime) -> Draft:
    """A draft fit to be written. Raises JournalError for a time without zone or to come."""
    at = aware(draft.at, "time")
    if at > now + AHEAD:
        raise JournalError(
            f"the time {at:%H:%M} on {at:%d %b} lies ahead of now.",
            where="time",
            remedy="Write it when it has happened.",
        )
    if draft.token and not _TOKEN.fullmatch(draft.token):
        raise JournalError(
            "the sender's token is not valid.",
            where="token",
            remedy="Give 8 to 64 letters, digits, dashes or underscores.",
        )
    return Draft(draft.body, at, author_name(draft.author), draft.corrects, draft.token)


@dataclass(frozen=True, slots=True)
class Break:
    """A place where the chain does not hold."""

    case: str
    number: int
    what: str

    def __str__(self) -> str:
        place = f"case {self.case}, entry {self.number}" if self.case else f"case {self.number}"
        return f"{place}: {self.what}"


def breaks_of(entries: Sequence[Entry], case: str) -> tuple[Break, ...]:
    """Where the chain of one case does not hold; empty when every link does."""
    found = []
    previous = FIRST_HASH
    for place, entry in enumerate(entries, 1):
        if entry.number != place:
            found.append(Break(case, place, f"entry {entry.number} stands in its place"))
            break
        if entry.previous != previous:
            found.append(Break(case, place, "it does not follow on the entry before it"))
        if digest(entry_data(entry)) != entry.hash:
            found.append(Break(case, place, "it is not what was written"))
        if entry.corrects is not None and not 1 <= entry.corrects < place:
            found.append(Break(case, place, f"it corrects entry {entry.corrects}, not before it"))
        previous = entry.hash
    return tuple(found)


def breaks_of_openings(openings: Iterable[Opening]) -> tuple[Break, ...]:
    """Where the unit's chain of cases does not hold."""
    found = []
    previous = FIRST_HASH
    for place, one in enumerate(openings, 1):
        if one.number != place or one.previous != previous or digest(opening_data(one)) != one.hash:
            found.append(Break("", place, f"the opening of case {one.case} does not hold"))
            break
        previous = one.hash
    return tuple(found)
