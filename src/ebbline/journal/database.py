"""Where the record lies: SQLite in a file of its own, or PostgreSQL by its address.

Either keeps the same promise: when a writing call returns, the data are on disk, and whatever
process is killed at whatever moment loses nothing of it.
"""

from __future__ import annotations

import os
import sqlite3
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, inspect, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError, DBAPIError

from ebbline.journal.errors import JournalError
from ebbline.journal.schema import FORM, VERSION_TABLE

BUSY_MS = 10_000
READING = {"ebbline_reading": True}
_POSTGRES = "postgresql"
_MIGRATING = 4_272_401
"""Number of the advisory lock under which the tables are made (ours)."""


def open_engine(place: str | Path) -> Engine:
    """An engine on a file's path or a postgresql:// address. Raises JournalError with the reason.

    SQLite: WAL, synchronous FULL (SQLite's documentation, "PRAGMA synchronous": a commit is
    durable across a loss of power). PostgreSQL: fsync and synchronous_commit must be on.
    """
    said = str(place)
    engine = _postgres(said) if "://" in said else _sqlite(Path(said))
    try:
        _open_schema(engine)
    except DBAPIError as error:
        raise told(error, engine) from error
    return engine


def shown(engine: Engine) -> str:
    """The place of a record without its password."""
    if engine.dialect.name == "sqlite":
        return str(engine.url.database)
    return engine.url.set(password=None).render_as_string()


def told(error: DBAPIError, engine: Engine) -> JournalError:
    """What a database complains of, in words."""
    said = " ".join(str(error.orig).split())
    return JournalError(
        f"the record cannot be used: {said}.",
        where=shown(engine),
        remedy="Check the place, the rights to it and the room on its disk; what was acknowledged "
        "is kept.",
    )


@contextmanager
def writing(engine: Engine) -> Iterator[Connection]:
    """One unit of work: on disk whole when this ends, or not at all. Raises JournalError."""
    try:
        with engine.begin() as connection:
            yield connection
    except DBAPIError as error:
        raise told(error, engine) from error


@contextmanager
def reading(engine: Engine) -> Iterator[Connection]:
    """One look at the record as it stands at this moment. Raises JournalError."""
    try:
        with engine.connect().execution_options(**READING) as connection, connection.begin():
            yield connection
    except DBAPIError as error:
        raise told(error, engine) from error


def _sqlite(path: Path) -> Engine:
    try:
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        if not path.exists():
            os.close(os.open(path, os.O_CREAT | os.O_RDWR, 0o600))
    except OSError as error:
        raise JournalError(
            f"the record cannot be made: {error.strerror}.",
            where=str(path),
            remedy="Give another place.",
        ) from error
    engine = create_engine(f"sqlite:///{path}")

    @event.listens_for(engine, "connect")
    def _(connection: sqlite3.Connection, __: Any) -> None:
        # Transactions are begun below, not by the driver: it would begin them too late.
        connection.isolation_level = None
        connection.execute(f"PRAGMA busy_timeout={BUSY_MS}")
        connection.execute("PRAGMA journal_mode=WAL")
        connection.execute("PRAGMA synchronous=FULL")
        connection.execute("PRAGMA foreign_keys=ON")

    @event.listens_for(engine, "begin")
    def _(connection: Connection) -> None:
        # A writer takes the lock at once: two that read first and then write would both be refused.
        looks = connection.get_execution_options().get("ebbline_reading", False)
        connection.exec_driver_sql("BEGIN" if looks else "BEGIN IMMEDIATE")

    return engine


def _postgres(address: str) -> Engine:
    try:
        url = make_url(address)
        if url.get_backend_name() != _POSTGRES:
            raise JournalError(
                f"a record cannot lie in '{url.get_backend_name()}'.",
                where=url.set(password=None).render_as_string(),
                remedy="Give the path of a file, or an address that begins with postgresql://.",
            )
        engine = create_engine(url.set(drivername="postgresql+psycopg"), pool_pre_ping=True)
    except ArgumentError as error:
        raise JournalError(
            "this is not an address of a database.",
            remedy="Write it as postgresql://user@host/database, or give the path of a file.",
        ) from error
    except ModuleNotFoundError as error:
        raise JournalError(
            "PostgreSQL needs a part of Ebbline that is not installed.",
            remedy="Install ebbline[unit].",
        ) from error

    @event.listens_for(engine, "connect")
    def _(connection: Any, __: Any) -> None:
        with connection.cursor() as cursor:
            cursor.execute("SET synchronous_commit = on")
        connection.commit()

    return engine


def _open_schema(engine: Engine) -> None:
    """Make the tables, or bring them to this version's form; several may try at once."""
    with engine.begin() as connection:
        if engine.dialect.name == _POSTGRES:
            if connection.execute(text("SHOW fsync")).scalar_one() != "on":
                raise JournalError(
                    "this PostgreSQL does not write to its disk before it answers (fsync is off).",
                    where=shown(engine),
                    remedy="Set fsync = on; a record must not lie in it otherwise.",
                )
            connection.execute(text("SELECT pg_advisory_xact_lock(:n)"), {"n": _MIGRATING})
        if _form(connection) != FORM:
            _upgrade(connection)


def _form(connection: Connection) -> str:
    """Which form the tables have; empty where there are none."""
    if not inspect(connection).has_table(VERSION_TABLE):
        return ""
    query = text(f"SELECT version_num FROM {VERSION_TABLE}")
    return connection.execute(query).scalar_one_or_none() or ""


def _upgrade(connection: Connection) -> None:
    from alembic import command
    from alembic.config import Config
    from alembic.util import CommandError

    config = Config()
    config.set_main_option("script_location", "ebbline.journal:migrations")
    config.attributes["connection"] = connection
    try:
        command.upgrade(config, "head")
    except CommandError as error:
        raise JournalError(
            "the record was written by a newer Ebbline.",
            where=shown(connection.engine),
            remedy="Use that version, or another place for the record.",
        ) from error
