"""Entries as a person writes them, on a chain of their own, without a store."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import Any

from ebbline.journal.chain import FIRST_HASH, Entry, digest, entry_data
from ebbline.journal.entries import body_from
from journal.conftest import NOW


class Writer:
    """Writes one case. Hours are counted from its beginning."""

    def __init__(self, begins: datetime = NOW - timedelta(hours=12)) -> None:
        self.begins = begins
        self.entries: list[Entry] = []

    def at(self, hours: float) -> datetime:
        return self.begins + timedelta(hours=hours)

    def write(
        self, hours: float, kind: str, *, corrects: int | None = None, by: str = "Kim", **said: Any
    ) -> Entry:
        number = len(self.entries) + 1
        previous = self.entries[-1].hash if self.entries else FIRST_HASH
        bare = Entry(
            case="24-0117",
            number=number,
            body=body_from(kind, said),
            at=self.at(hours),
            written_at=self.at(hours),
            author=by,
            corrects=corrects,
            token=f"entry-{number:06d}",
            previous=previous,
            hash="",
        )
        entry = replace(bare, hash=digest(entry_data(bare)))
        self.entries.append(entry)
        return entry
