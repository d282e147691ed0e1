"""Reading blind: begun and broken on record, for each reader and recording."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

from sqlalchemy import select

from ebbline.store import Store, now
from ebbline.web.errors import BlindError
from ebbline.web.recordings.models import BlindReading


@dataclass(frozen=True, slots=True)
class BlindSpell:
    """From when to when. broken_at: None while it lasts."""

    reader: str
    begun_at: datetime
    broken_at: datetime | None


def spells(store: Store, key: str, reader: str | None = None) -> list[BlindSpell]:
    """Every blind reading of a recording, the oldest first."""
    asked = select(BlindReading).where(BlindReading.recording_id == key)
    if reader is not None:
        asked = asked.where(BlindReading.reader == reader)
    with store.session() as session:
        rows = session.scalars(asked.order_by(BlindReading.id)).all()
    return [BlindSpell(row.reader, row.begun_at, row.broken_at) for row in rows]


def reads_blind(store: Store, key: str, reader: str) -> bool:
    """True while this reader wants to see nothing computed of the recording."""
    with store.session() as session:
        return (
            session.scalar(
                select(BlindReading.id).where(
                    BlindReading.recording_id == key,
                    BlindReading.reader == reader,
                    BlindReading.broken_at.is_(None),
                )
            )
            is not None
        )


def read_blind_by(store: Store, reader: str) -> set[str]:
    """The recordings that this reader reads blind."""
    with store.session() as session:
        return set(
            session.scalars(
                select(BlindReading.recording_id).where(
                    BlindReading.reader == reader, BlindReading.broken_at.is_(None)
                )
            )
        )


def set_blind(store: Store, key: str, reader: str, blind: bool) -> None:
    """Begin or break a blind reading; doing it twice changes nothing."""
    with store.writing() as session:
        row = session.scalar(
            select(BlindReading).where(
                BlindReading.recording_id == key,
                BlindReading.reader == reader,
                BlindReading.broken_at.is_(None),
            )
        )
        if blind and row is None:
            session.add(BlindReading(recording_id=key, reader=reader))
        elif not blind and row is not None:
            row.broken_at = now()


def refuse_blind(store: Store, key: str, reader: str) -> None:
    """Nothing computed leaves while the reader reads blind. Raises BlindError."""
    if reads_blind(store, key, reader):
        raise BlindError(
            "you are reading this recording blind.",
            remedy="Reveal it on the strip's page first; that is kept with the time.",
        )
