"""Databases whose commits are on disk: SQLite with synchronous FULL, or PostgreSQL by its address.

When a transaction's end returns, its rows survive the death of the process and a loss of power
(SQLite's documentation, "PRAGMA synchronous"; PostgreSQL's, "synchronous_commit").
"""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError

from ebbline.errors import EbblineError
from ebbline.extras import missing_extra

BUSY_MS = 10_000


class NotOnDiskError(EbblineError):
    """A database that answers before its disk has written."""


def durable_engine(place: str | Path) -> Engine:
    """An engine on a file's path or a postgresql:// address. Raises EbblineError with the reason.

    On SQLite every transaction takes the writer's lock when it begins, so that two that read
    first and write then wait for each other instead of failing. PostgreSQL must have fsync on.
    """
    said = str(place)
    if "://" not in said:
        return _sqlite(Path(said))
    engine = postgres_engine(said)
    require_fsync(engine)
    return engine


def wait_for_disk(connection: sqlite3.Connection, busy_ms: int = BUSY_MS) -> None:
    """Set a connection to SQLite so that a commit returns when it is on disk."""
    connection.execute(f"PRAGMA busy_timeout={busy_ms}")
    connection.execute("PRAGMA journal_mode=WAL")
    connection.execute("PRAGMA foreign_keys=ON")
    connection.execute("PRAGMA synchronous=FULL")


def _sqlite(path: Path) -> Engine:
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        if not path.exists():
            os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
    except OSError as error:
        raise EbblineError(
            f"the store cannot be made: {error.strerror}.",
            where=str(path),
            remedy="Choose another.",
        ) from error
    engine = create_engine(f"sqlite:///{path}")

    @event.listens_for(engine, "connect")
    def _(connection: sqlite3.Connection, __: Any) -> None:
        connection.isolation_level = None
        wait_for_disk(connection)

    @event.listens_for(engine, "begin")
    def _(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE")

    return engine


def postgres_engine(address: str) -> Engine:
    """An engine on a postgresql:// address, every connection of which waits for the disk.

    Raises EbblineError for another database, and where the driver is not installed.
    """
    try:
        url = make_url(address)
    except ArgumentError as error:
        raise EbblineError(
            "this is not an address of a database.",
            remedy="Write it as postgresql://user@host/database, or give the path of a file.",
        ) from error
    if url.get_backend_name() != "postgresql":
        raise EbblineError(
            f"it cannot lie in '{url.get_backend_name()}'.",
            where=url.render_as_string(hide_password=True),
            remedy="Give the path of a file, or an address that begins with postgresql://.",
        )
    try:
        engine = create_engine(url.set(drivername="postgresql+psycopg"), pool_pre_ping=True)
    except ModuleNotFoundError as error:
        raise missing_extra(error, where="PostgreSQL") from error

    @event.listens_for(engine, "connect")
    def _(connection: Any, __: Any) -> None:
        with connection.cursor() as cursor:
            cursor.execute("SET synchronous_commit = on")
        connection.commit()

    return engine


def require_fsync(engine: Engine) -> None:
    """Raises NotOnDiskError where a PostgreSQL answers before its disk has written."""
    where = engine.url.render_as_string(hide_password=True)
    try:
        with engine.connect() as connection:
            said = connection.execute(text("SHOW fsync")).scalar_one()
    except DBAPIError as error:
        raise EbblineError(
            f"this database does not answer: {' '.join(str(error.orig).split())}.",
            where=where,
            remedy="Check the address, and that the server runs.",
        ) from error
    if said != "on":
        raise NotOnDiskError(
            "this PostgreSQL does not write to its disk before it answers (fsync is off).",
            where=where,
            remedy="Set fsync = on; a record must not lie in it otherwise.",
        )
