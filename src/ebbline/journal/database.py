"""Where the record lies: SQLite in a file of its own, or PostgreSQL by its address.

Either keeps the same promise: when a writing call returns, the data are on disk, and whatever
process is killed at whatever moment loses nothing of it.
"""

from __future__ import annotations

import os
from pathlib import Path
from typing import Any

from sqlalchemy import event, text
from sqlalchemy.engine import make_url
from sqlalchemy.exc import ArgumentError

from ebbline.extras import missing_extra
from ebbline.journal.errors import JournalError
from ebbline.journal.schema import metadata
from ebbline.store import Layout, Store, StoreError

LAYOUT = Layout("journal", metadata, Path(__file__).parent / "migrations")
_POSTGRES = "postgresql"


def default_place() -> Path:
    """Where the record lies when nothing is said: the user's own data directory."""
    base = os.environ.get("XDG_DATA_HOME") or str(Path.home() / ".local" / "share")
    return Path(base) / "ebbline" / "record.sqlite"


def open_store(place: str | Path) -> Store:
    """The store at a file's path or a postgresql:// address. Raises EbblineError with the reason.

    PostgreSQL must have fsync on; synchronous_commit is set for each connection.
    """
    said = str(place)
    if "://" not in said:
        return Store(Path(said), [LAYOUT])
    address = _address(said)
    try:
        store = Store(address, [LAYOUT])
    except ModuleNotFoundError as error:
        raise missing_extra(error, where="PostgreSQL") from error

    @event.listens_for(store.engine, "connect")
    def _(connection: Any, __: Any) -> None:
        with connection.cursor() as cursor:
            cursor.execute("SET synchronous_commit = on")
        connection.commit()

    # The connections of the opening were made before.
    store.engine.dispose()
    with store.session() as session:
        if session.execute(text("SHOW fsync")).scalar_one() != "on":
            raise StoreError(
                "this PostgreSQL does not write to its disk before it answers (fsync is off).",
                where=store.where,
                remedy="Set fsync = on; a record must not lie in it otherwise.",
            )
    return store


def _address(said: str) -> str:
    """The address by the driver that we use. Raises JournalError for another database."""
    try:
        url = make_url(said)
    except ArgumentError as error:
        raise JournalError(
            "this is not an address of a database.",
            remedy="Write it as postgresql://user@host/database, or give the path of a file.",
        ) from error
    if url.get_backend_name() != _POSTGRES:
        raise JournalError(
            f"a record cannot lie in '{url.get_backend_name()}'.",
            where=url.render_as_string(hide_password=True),
            remedy="Give the path of a file, or an address that begins with postgresql://.",
        )
    return url.set(drivername="postgresql+psycopg").render_as_string(hide_password=False)
