"""The open record: cases opened, entries added, read and verified."""

from __future__ import annotations

import json
import re
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import Row, insert, select, text
from sqlalchemy.orm import Session

from ebbline.journal import schema
from ebbline.journal.chain import (
    FIRST_HASH,
    Break,
    Draft,
    Entry,
    Opening,
    author_name,
    breaks_of,
    breaks_of_openings,
    canonical,
    case_number,
    checked,
    digest,
    entry_data,
    opening_data,
)
from ebbline.journal.database import open_store
from ebbline.journal.entries import Bed, Body, Closed, Withdrawn, body_data, body_from
from ebbline.journal.errors import ConflictError, JournalError, NoSuchCaseError

_OPENING = 4_272_402
"""Number of the advisory lock under which cases are opened, so that their chain is one (ours)."""

MOST_ENTRIES = 20_000
"""Of one case; a labour of three days with an entry each quarter of a minute (ours)."""


@dataclass(frozen=True, slots=True)
class CaseCard:
    """What a list shows of a case."""

    case: str
    bed: str
    opened_at: datetime
    opened_by: str
    entries: int
    last_at: datetime
    closed: bool
    head: str


@dataclass(frozen=True, slots=True)
class Verification:
    """What a check of the chains found. heads: case to the hash of its last entry."""

    cases: int
    entries: int
    breaks: tuple[Break, ...]
    heads: dict[str, str]

    @property
    def holds(self) -> bool:
        """True when every link holds."""
        return not self.breaks


class Journal:
    """The record in one place. place: path of an SQLite file, or a postgresql:// address.

    now: the clock, for whoever replays a labour.
    """

    def __init__(
        self, place: str | Path, *, now: Callable[[], datetime] = lambda: datetime.now(UTC)
    ) -> None:
        self.store = open_store(place)
        self._now = now

    @property
    def place(self) -> str:
        """Where it lies, without a password."""
        return self.store.where

    def close(self) -> None:
        """Give the sessions back."""
        self.store.close()

    def open_case(
        self, case: str, bed: str, *, author: str, at: datetime | None = None, token: str = ""
    ) -> Entry:
        """Open a case with the bed as its first entry. Raises ConflictError when it is open."""
        case, author = case_number(case), author_name(author)
        body = body_from("bed", {"bed": bed})
        now = self._now()
        first = checked(Draft(body, at or now, author, token=token), now)
        with self.store.writing() as session:
            self._lock_openings(session)
            known = session.execute(
                select(schema.opening.c.case).where(schema.opening.c.case == case)
            ).first()
            if known is not None:
                same = self._by_token(session, case, token)
                if same is not None:
                    return same
                raise ConflictError(
                    "there is such a case already.",
                    where=f"case {case}",
                    remedy="Open it from the list, or check the number.",
                )
            self._add_opening(session, case, now, author)
            return self._add(session, case, [first], now)[0]

    def append(self, case: str, draft: Draft) -> Entry:
        """Add one entry; on disk when this returns. See `append_all`."""
        return self.append_all(case, [draft])[0]

    def append_all(self, case: str, drafts: Sequence[Draft]) -> list[Entry]:
        """Add entries together or not at all; on disk when this returns.

        A draft whose token was written before is not written again: the entry that stands is
        given. Raises JournalError for what cannot be written, NoSuchCaseError, and ConflictError
        where the entry to be corrected has a correction already.
        """
        now = self._now()
        fit = [checked(one, now) for one in drafts]
        with self.store.writing() as session:
            self._lock_case(session, case)
            return self._add(session, case, fit, now)

    def entries(self, case: str, *, after: int = 0) -> tuple[Entry, ...]:
        """Entries of a case as they were written, those after a number. Raises NoSuchCaseError."""
        with self.store.session() as session:
            self._known(session, case)
            rows = session.execute(
                select(schema.entry)
                .where(schema.entry.c.case == case, schema.entry.c.number > after)
                .order_by(schema.entry.c.number)
                .limit(MOST_ENTRIES)
            ).all()
        return tuple(_entry(row) for row in rows)

    def cases(self, *, closed: bool = False) -> tuple[CaseCard, ...]:
        """The cases on the board, by bed; closed: those that left it too."""
        with self.store.session() as session:
            openings = session.execute(select(schema.opening)).all()
            last = {
                row.case: row
                for row in session.execute(
                    text(
                        'SELECT e."case", e.number, e.at, e.hash FROM journal_entry e JOIN ('
                        'SELECT "case" AS c, MAX(number) AS n FROM journal_entry GROUP BY "case"'
                        ') t ON t.c = e."case" AND t.n = e.number'
                    )
                )
            }
            kinds = session.execute(
                select(schema.entry).where(
                    schema.entry.c.kind.in_((Bed.kind, Closed.kind, Withdrawn.kind))
                )
            ).all()
        beds: dict[str, tuple[tuple[datetime, int], str]] = {}
        gone = {(row.case, row.corrects) for row in kinds if row.corrects is not None}
        shut = set()
        for row in kinds:
            if (row.case, row.number) in gone:
                continue
            entry = _entry(row)
            if isinstance(entry.body, Closed):
                shut.add(row.case)
            if isinstance(entry.body, Bed):
                when = (entry.at, entry.number)
                if row.case not in beds or beds[row.case][0] < when:
                    beds[row.case] = (when, entry.body.bed)
        cards = [
            CaseCard(
                case=row.case,
                bed=beds[row.case][1] if row.case in beds else "",
                opened_at=datetime.fromisoformat(row.opened_at),
                opened_by=row.opened_by,
                entries=last[row.case].number,
                last_at=datetime.fromisoformat(last[row.case].at),
                closed=row.case in shut,
                head=last[row.case].hash,
            )
            for row in openings
            if row.case in last and (closed or row.case not in shut)
        ]
        return tuple(sorted(cards, key=lambda c: (_natural(c.bed), c.case)))

    def verify(self, case: str | None = None) -> Verification:
        """Walk the chain of the unit and of one or all cases; each case is read by itself."""
        with self.store.session() as session:
            if case is not None:
                self._known(session, case)
            openings = [
                _opening(row)
                for row in session.execute(select(schema.opening).order_by(schema.opening.c.number))
            ]
            found = list(breaks_of_openings(openings))
            heads: dict[str, str] = {}
            count = 0
            wanted = [one.case for one in openings if case in (None, one.case)]
            for name in wanted:
                rows = session.execute(
                    select(schema.entry)
                    .where(schema.entry.c.case == name)
                    .order_by(schema.entry.c.number)
                ).all()
                count += len(rows)
                found += _breaks_of_rows(rows, name)
                heads[name] = rows[-1].hash if rows else ""
        return Verification(len(wanted), count, tuple(found), heads)

    def restore(self, entries: Sequence[Entry]) -> None:
        """Put a case from elsewhere into this record, entry for entry with its hashes.

        Raises JournalError where its chain does not hold, ConflictError where the case is there.
        """
        if not entries:
            raise JournalError(
                "the case holds no entry.", remedy="Check that the archive is whole."
            )
        case = case_number(entries[0].case)
        broken = breaks_of(entries, case)
        if broken or any(one.case != case for one in entries):
            what = str(broken[0]) if broken else "entries of several cases stand in it"
            raise JournalError(
                f"its chain does not hold: {what}.",
                where=f"case {case}",
                remedy="Do not trust this copy; ask for another.",
            )
        with self.store.writing() as session:
            self._lock_openings(session)
            if session.execute(
                select(schema.opening.c.case).where(schema.opening.c.case == case)
            ).first():
                raise ConflictError(
                    "there is such a case already.",
                    where=f"case {case}",
                    remedy="Nothing was changed; take it into another record.",
                )
            first = entries[0]
            self._add_opening(session, case, self._now(), first.author)
            session.execute(insert(schema.entry), [_row(one) for one in entries])

    # ------------------------------------------------------------ inside a unit of work

    def _lock_openings(self, session: Session) -> None:
        if session.get_bind().dialect.name == "postgresql":
            session.execute(text("SELECT pg_advisory_xact_lock(:n)"), {"n": _OPENING})

    def _lock_case(self, session: Session, case: str) -> None:
        found = session.execute(
            select(schema.opening.c.case).where(schema.opening.c.case == case).with_for_update()
        ).first()
        if found is None:
            raise _no_such(case)

    def _known(self, session: Session, case: str) -> None:
        found = session.execute(
            select(schema.opening.c.case).where(schema.opening.c.case == case)
        ).first()
        if found is None:
            raise _no_such(case)

    def _by_token(self, session: Session, case: str, token: str) -> Entry | None:
        if not token:
            return None
        row = session.execute(
            select(schema.entry).where(schema.entry.c.case == case, schema.entry.c.token == token)
        ).first()
        return None if row is None else _entry(row)

    def _add_opening(self, session: Session, case: str, now: datetime, author: str) -> None:
        last = session.execute(
            select(schema.opening).order_by(schema.opening.c.number.desc()).limit(1)
        ).first()
        number, previous = (1, FIRST_HASH) if last is None else (last.number + 1, last.hash)
        bare = Opening(number, case, now, author, previous, "")
        data = opening_data(bare)
        del data["format"]
        session.execute(insert(schema.opening), {**data, "hash": digest(opening_data(bare))})

    def _add(
        self, session: Session, case: str, drafts: Sequence[Draft], now: datetime
    ) -> list[Entry]:
        last = session.execute(
            select(schema.entry.c.number, schema.entry.c.hash)
            .where(schema.entry.c.case == case)
            .order_by(schema.entry.c.number.desc())
            .limit(1)
        ).first()
        number, previous = (0, FIRST_HASH) if last is None else (last.number, last.hash)
        made = []
        for draft in drafts:
            same = self._by_token(session, case, draft.token)
            if same is not None:
                made.append(same)
                continue
            number += 1
            if number > MOST_ENTRIES:
                raise JournalError(
                    f"a case holds at most {MOST_ENTRIES} entries.",
                    where=f"case {case}",
                    remedy="Close it and open another.",
                )
            self._may_correct(session, case, number, draft)
            bare = Entry(
                case=case,
                number=number,
                body=draft.body,
                at=draft.at,
                written_at=now,
                author=draft.author,
                corrects=draft.corrects,
                # Two entries without a token are two entries.
                token=draft.token or f"entry-{number:06d}",
                previous=previous,
                hash="",
            )
            entry = replace(bare, hash=digest(entry_data(bare)))
            session.execute(insert(schema.entry), _row(entry))
            made.append(entry)
            previous = entry.hash
        return made

    def _may_correct(self, session: Session, case: str, number: int, draft: Draft) -> None:
        body, corrects = draft.body, draft.corrects
        if corrects is None:
            if isinstance(body, Withdrawn):
                raise JournalError(
                    "it is not said which entry was written in error.",
                    where="corrects",
                    remedy="Give that entry's number.",
                )
            return
        rows = session.execute(
            select(schema.entry).where(
                schema.entry.c.case == case,
                (schema.entry.c.number == corrects) | (schema.entry.c.corrects == corrects),
            )
        ).all()
        target = next((row for row in rows if row.number == corrects), None)
        if target is None or corrects >= number:
            raise JournalError(f"there is no entry {corrects} to correct.", where=f"case {case}")
        later = next((row for row in rows if row.corrects == corrects), None)
        if later is not None:
            raise ConflictError(
                f"entry {corrects} was corrected by {later.author} meanwhile (entry "
                f"{later.number}).",
                where=f"case {case}",
                remedy="Look at that one, and correct it if need be.",
            )
        if not isinstance(body, Withdrawn) and target.kind != body.kind:
            raise JournalError(
                f"entry {corrects} is of the kind '{target.kind}', not '{body.kind}'.",
                where="corrects",
                remedy="Write it anew, and mark the other as written in error.",
            )
        if isinstance(body, Withdrawn) and corrects == 1:
            raise JournalError(
                "the first entry says which bed she lies in.",
                where="corrects",
                remedy="Correct the bed, or close the case as opened in error.",
            )


def _no_such(case: str) -> NoSuchCaseError:
    return NoSuchCaseError(
        "there is no such case.", where=f"case {case}", remedy="Check the number."
    )


def _row(entry: Entry) -> dict[str, Any]:
    data = entry_data(entry)
    del data["format"]
    return {**data, "body": canonical(body_data(entry.body)), "hash": entry.hash}


def _entry(row: Row[Any]) -> Entry:
    return Entry(
        case=row.case,
        number=row.number,
        body=_body(row),
        at=_time(row, row.at),
        written_at=_time(row, row.written_at),
        author=row.author,
        corrects=row.corrects,
        token=row.token,
        previous=row.previous,
        hash=row.hash,
    )


def _body(row: Row[Any]) -> Body:
    try:
        return body_from(row.kind, json.loads(row.body))
    except (ValueError, AttributeError) as error:
        raise _unreadable(row, "its words cannot be read.") from error


def _time(row: Row[Any], written: str) -> datetime:
    try:
        return datetime.fromisoformat(written)
    except (ValueError, TypeError) as error:
        raise _unreadable(row, f"its time {written!r} cannot be read.") from error


def _unreadable(row: Row[Any], what: str) -> JournalError:
    return JournalError(
        what,
        where=f"case {row.case}, entry {row.number}",
        remedy="It was changed from outside, or the disk is damaged. Run `ebbline record verify`, "
        "and take the copy of a backup that holds.",
    )


def _opening(row: Row[Any]) -> Opening:
    return Opening(
        row.number,
        row.case,
        datetime.fromisoformat(row.opened_at),
        row.opened_by,
        row.previous,
        row.hash,
    )


def _breaks_of_rows(rows: Iterable[Row[Any]], case: str) -> tuple[Break, ...]:
    entries = []
    for row in rows:
        try:
            entries.append(_entry(row))
        except (JournalError, ValueError):
            return (Break(case, row.number, "it cannot be read"),)
    if not entries:
        return (Break(case, 1, "the case has no entry"),)
    return breaks_of(entries, case)


def _natural(bed: str) -> tuple[tuple[int, str], ...]:
    """Beds in the order a person counts them: 2 before 10."""
    return tuple(
        (int(part), "") if part.isdigit() else (0, part.casefold())
        for part in re.findall(r"[0-9]+|[^0-9]+", bed)
    )
