"""Is a copy of a store whole: pages, references and tables, looked at without a change."""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from pathlib import Path

from sqlalchemy import create_engine, event, text

from ebbline.store.layout import Layout
from ebbline.store.store import StoreError


def verify_file(path: Path, layouts: Sequence[Layout] = ()) -> dict[str, int]:
    """Rows by table of an SQLite store that nobody uses, such as a backup.

    layouts: whose tables must be there, at a step this program knows. An older step is fine: the
    store is brought up to date when it is opened. Raises StoreError with what is wrong.
    """
    if not path.is_file():
        raise StoreError("there is no such file.", where=str(path), remedy="Check the path.")
    log = path.with_name(path.name + "-wal")
    if log.is_file() and log.stat().st_size:
        raise StoreError(
            "this store is in use, or was left in the middle of something.",
            where=str(path),
            remedy="Copy it with `ebbline backup`, and look at the copy.",
        )
    # Immutable: not even the files of a write-ahead log are made beside it.
    engine = create_engine(f"sqlite:///file:{path}?immutable=1&uri=true")

    @event.listens_for(engine, "connect")
    def _(connection: sqlite3.Connection, _: object) -> None:
        connection.execute("PRAGMA query_only=ON")

    try:
        with closing(engine.raw_connection()) as raw:
            said = raw.cursor().execute("PRAGMA integrity_check(3)").fetchall()
            if said != [("ok",)]:
                raise _not_whole(path, "; ".join(str(row[0]) for row in said))
            torn = raw.cursor().execute("PRAGMA foreign_key_check").fetchone()
            if torn is not None:
                raise _not_whole(path, f"a row of {torn[0]} refers to one that is not there")
        with engine.connect() as connection:
            names = [
                str(row[0])
                for row in connection.execute(
                    text("SELECT name FROM sqlite_master WHERE type = 'table' ORDER BY 1")
                )
                if not str(row[0]).startswith("sqlite_")
            ]
            for layout in layouts:
                reached = layout.reached(connection)
                if reached and reached not in layout.revisions:
                    raise _not_whole(path, f"{layout.name} {reached} is of a newer Ebbline")
                if reached == layout.revisions[-1] and (wanting := layout.missing(connection)):
                    raise _not_whole(path, f"it lacks {', '.join(wanting[:4])}")
            return {
                name: int(connection.execute(text(f'SELECT count(*) FROM "{name}"')).scalar_one())
                for name in names
            }
    except sqlite3.DatabaseError as error:
        raise _not_whole(path, str(error)) from error
    finally:
        engine.dispose()


def _not_whole(path: Path, why: str) -> StoreError:
    return StoreError(
        f"this is not a whole store: {why}.",
        where=str(path),
        remedy="Do not rely on it: make another copy, and look at the disk.",
    )
