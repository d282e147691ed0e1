"""Databases whose commits are on disk: SQLite with synchronous FULL, or PostgreSQL by its address.

When a transaction's end returns, its rows survive the death of the process and a loss of power
(SQLite's documentation, "PRAGMA synchronous"; PostgreSQL's, "synchronous_commit").
"""

from __future__ import annotations

import os
import sqlite3
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from ebbline.errors import EbblineError

BUSY_MS = 10_000


def durable_engine(place: str | Path) -> Engine:
    """An engine on a file's path or a postgresql:// address. Raises EbblineError with the reason.

    On SQLite every transaction takes the writer's lock when it begins, so that two that read
    first and write then wait for each other instead of failing.
    """
    said = str(place)
    return _postgres(said) if "://" in said else _sqlite(Path(said))


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
        connection.execute(f"PRAGMA busy_timeout={BUSY_MS}")
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute("PRAGMA foreign_keys=ON")

    @event.listens_for(engine, "begin")
    def _(connection: Connection) -> None:
        connection.exec_driver_sql("BEGIN IMMEDIATE")

    return engine


def _postgres(address: str) -> Engine:
    try:
        url = make_url(address)
        if url.get_backend_name() != "postgresql":
            raise ArgumentError("another database")
        engine = create_engine(url.set(drivername="postgresql+psycopg"), pool_pre_ping=True)
    except ArgumentError as error:
        raise EbblineError(
            "this is not an address of a PostgreSQL database.",
            remedy="Write it as postgresql://user@host/database, or give the path of a file.",
        ) from error
    except ModuleNotFoundError as error:
        raise EbblineError(
            "PostgreSQL needs a part that is not installed.", remedy="Install ebbline[unit]."
        ) from error

    @event.listens_for(engine, "connect")
    def _(connection: Any, __: Any) -> None:
        with connection.cursor() as cursor:
            cursor.execute("SET synchronous_commit = on")
        connection.commit()

    return engine
