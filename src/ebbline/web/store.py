"""The embedded store of the workbench: accounts, sign-ins, recordings, marks, corrections.

SQLAlchemy 2 on one SQLite file. Rows are added to, or marked as withdrawn with who and when;
what a person wrote is never overwritten.
"""

from __future__ import annotations

import os
import secrets
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from sqlalchemy import (
    JSON,
    DateTime,
    ForeignKey,
    LargeBinary,
    String,
    create_engine,
    event,
    text,
)
from sqlalchemy.exc import DatabaseError
from sqlalchemy.orm import DeclarativeBase, Mapped, Session, mapped_column, sessionmaker
from sqlalchemy.types import TypeDecorator

from ebbline.errors import EbblineError

SCHEMA_VERSION = 1


class StoreError(EbblineError):
    """The store cannot be opened or used."""


class UtcTime(TypeDecorator[datetime]):
    """A time-zone-aware time; SQLite keeps it without the zone, which is always UTC here."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Any) -> datetime | None:
        """To UTC, without the zone."""
        return None if value is None else value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, dialect: Any) -> datetime | None:
        """With the zone again."""
        return None if value is None else value.replace(tzinfo=UTC)


def now() -> datetime:
    """The present, time-zone-aware."""
    return datetime.now(UTC)


class Base(DeclarativeBase):
    """All tables of the workbench; other pages may add theirs to the same metadata."""

    type_annotation_map = {datetime: UtcTime, dict[str, Any]: JSON}  # noqa: RUF012


class Meta(Base):
    """Facts about the store itself."""

    __tablename__ = "meta"
    key: Mapped[str] = mapped_column(String(40), primary_key=True)
    value: Mapped[str]


class Account(Base):
    """Someone who may sign in."""

    __tablename__ = "account"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(60), unique=True)
    role: Mapped[str] = mapped_column(String(10))
    password_hash: Mapped[str]
    created_at: Mapped[datetime] = mapped_column(default=now)
    disabled_at: Mapped[datetime | None] = mapped_column(default=None)


class SignIn(Base):
    """A server-side session. Only the hash of the browser's token is kept."""

    __tablename__ = "sign_in"
    token_hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("account.id", ondelete="CASCADE"))
    created_at: Mapped[datetime] = mapped_column(default=now)
    seen_at: Mapped[datetime] = mapped_column(default=now)


class StoredRecording(Base):
    """One opened recording. summary: what the list shows, so that it need not be read again."""

    __tablename__ = "recording"
    id: Mapped[str] = mapped_column(String(16), primary_key=True)
    name: Mapped[str] = mapped_column(String(120))
    opened_at: Mapped[datetime] = mapped_column(default=now)
    opened_by: Mapped[str] = mapped_column(String(60))
    invented: Mapped[bool]
    duration_s: Mapped[float]
    header: Mapped[dict[str, Any]]
    summary: Mapped[dict[str, Any]]


class StoredChannel(Base):
    """The samples of one channel: float64, little endian, zlib."""

    __tablename__ = "channel"
    recording_id: Mapped[str] = mapped_column(
        ForeignKey("recording.id", ondelete="CASCADE"), primary_key=True
    )
    number: Mapped[int] = mapped_column(primary_key=True)
    samples: Mapped[bytes] = mapped_column(LargeBinary)


class Mark(Base):
    """A reader's own mark or note on a strip, beside the computed findings.

    kind: one of marks.KINDS. turn_s: nadir or peak. value: bpm, where the kind has one.
    """

    __tablename__ = "mark"
    id: Mapped[int] = mapped_column(primary_key=True)
    recording_id: Mapped[str] = mapped_column(
        ForeignKey("recording.id", ondelete="CASCADE"), index=True
    )
    fetus: Mapped[int]
    kind: Mapped[str] = mapped_column(String(40))
    start_s: Mapped[float]
    turn_s: Mapped[float | None]
    end_s: Mapped[float]
    value: Mapped[float | None]
    note: Mapped[str] = mapped_column(String(1000))
    author: Mapped[str] = mapped_column(String(60))
    made_at: Mapped[datetime] = mapped_column(default=now)
    withdrawn_at: Mapped[datetime | None] = mapped_column(default=None)


class Correction(Base):
    """One change a reader made to the computed findings; withdrawn, never deleted."""

    __tablename__ = "correction"
    id: Mapped[int] = mapped_column(primary_key=True)
    recording_id: Mapped[str] = mapped_column(
        ForeignKey("recording.id", ondelete="CASCADE"), index=True
    )
    fetus: Mapped[int]
    change: Mapped[dict[str, Any]]
    author: Mapped[str] = mapped_column(String(60))
    made_at: Mapped[datetime] = mapped_column(default=now)
    withdrawn_by: Mapped[str | None] = mapped_column(String(60), default=None)
    withdrawn_at: Mapped[datetime | None] = mapped_column(default=None)


class StoredExamination(Base):
    """What the hands found, with a recording or alone; each saving is a row of its own."""

    __tablename__ = "examination"
    id: Mapped[int] = mapped_column(primary_key=True)
    recording_id: Mapped[str | None] = mapped_column(
        ForeignKey("recording.id", ondelete="CASCADE"), index=True
    )
    answers: Mapped[dict[str, Any]]
    author: Mapped[str] = mapped_column(String(60))
    made_at: Mapped[datetime] = mapped_column(default=now)


def _prepare(connection: sqlite3.Connection, _: Any) -> None:
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA foreign_keys=ON")
    connection.execute("PRAGMA busy_timeout=5000")
    connection.execute("PRAGMA synchronous=NORMAL")


class Store:
    """The open store. Use `session()` for one unit of work: committed whole or not at all."""

    def __init__(self, path: Path) -> None:
        self.path = path
        try:
            path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
            if not path.exists():
                os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
        except OSError as error:
            raise StoreError(
                f"the store cannot be made: {error.strerror}.",
                where=str(path),
                remedy="Give another place with --store.",
            ) from error
        self.engine = create_engine(f"sqlite:///{path}")
        event.listen(self.engine, "connect", _prepare)
        self._sessions = sessionmaker(self.engine, expire_on_commit=False)
        try:
            self._open_schema()
        except DatabaseError as error:
            raise StoreError(
                f"this is not a store of the workbench ({error.orig}).",
                where=str(path),
                remedy="Give another place with --store, or restore a backup.",
            ) from error

    def _open_schema(self) -> None:
        with self.engine.begin() as connection:
            version = connection.execute(text("PRAGMA user_version")).scalar_one()
            if version > SCHEMA_VERSION:
                raise StoreError(
                    f"the store was written by a newer Ebbline (layout {version}).",
                    where=str(self.path),
                    remedy="Use that version, or another store with --store.",
                )
            Base.metadata.create_all(connection)
            connection.execute(text(f"PRAGMA user_version={SCHEMA_VERSION}"))

    @contextmanager
    def session(self) -> Iterator[Session]:
        """One unit of work."""
        with self._sessions() as session, session.begin():
            yield session

    def secret(self) -> bytes:
        """The workbench's own secret, made once, for tokens against forged requests."""
        with self.session() as session:
            row = session.get(Meta, "secret")
            if row is None:
                row = Meta(key="secret", value=secrets.token_hex(32))
                session.add(row)
            return bytes.fromhex(row.value)

    def backup(self, target: Path) -> None:
        """A consistent copy of the whole store while it is in use; whole or not at all."""
        partial = target.with_name(target.name + ".part")
        try:
            with sqlite3.connect(self.path) as source, sqlite3.connect(partial) as copy:
                source.backup(copy)
            source.close()
            copy.close()
            partial.chmod(0o600)
            partial.replace(target)
        except (OSError, sqlite3.Error) as error:
            partial.unlink(missing_ok=True)
            raise StoreError(
                f"the backup could not be written: {error}.",
                where=str(target),
                remedy="Choose a directory that exists and may be written to.",
            ) from error

    def close(self) -> None:
        """Give the file back."""
        self.engine.dispose()
