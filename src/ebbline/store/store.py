"""An open store: checked and brought up to date when it is opened, committed whole or not at all.

SQLite keeps a write-ahead log and waits for the disk at each commit (`synchronous=FULL`): what was
acknowledged is there after the power fails.
"""

from __future__ import annotations

import os
import secrets
import sqlite3
import time
from collections.abc import Iterator, Sequence
from contextlib import closing, contextmanager, suppress
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, text
from sqlalchemy.exc import DatabaseError, IntegrityError
from sqlalchemy.orm import Session, sessionmaker

from ebbline.errors import EbblineError
from ebbline.store.durable import postgres_engine, wait_for_disk
from ebbline.store.layout import Layout

USER_VERSION = 2
"""SQLite's own mark. 0.1.0, which knew no migrations, wrote 1 and refuses more."""
BUSY_MS = 5000
_UPGRADE_LOCK = 0x0EBB_11E5
"""Any number that is ours: the lock under which PostgreSQL stores are brought up to date."""
RESERVE_BYTES = 1 << 20
"""Put by beside an SQLite store: deleting writes a little before it frees much (our choice)."""
_FULL = ("disk is full", "no space left", "disk i/o error")


class StoreError(EbblineError):
    """The store cannot be opened or used."""


class StoreFullError(StoreError):
    """There is no room left for what was to be written; nothing of it was."""


def _prepare_sqlite(connection: sqlite3.Connection, _: Any) -> None:
    # Takes hold in a store that is made new: what is deleted can then be given back to the disk.
    connection.execute("PRAGMA auto_vacuum=INCREMENTAL")
    wait_for_disk(connection, BUSY_MS)


class Store:
    """The open store. Use `session()` for one unit of work: committed whole or not at all.

    where: path of an SQLite file, or a `postgresql://host/name` address. layouts: of the packages
    that keep their tables in it. Raises StoreError where it cannot be made, is no store, is newer
    than this program, or lacks something.
    """

    def __init__(self, where: Path | str, layouts: Sequence[Layout]) -> None:
        self.layouts = tuple(layouts)
        if isinstance(where, Path):
            self.where = str(where)
            self.engine = _sqlite_engine(where)
        else:
            self.engine = postgres_engine(where)
            self.where = self.engine.url.render_as_string(hide_password=True)
        self._sessions = sessionmaker(self.engine, expire_on_commit=False)
        try:
            self._bring_up_to_date()
        except DatabaseError as error:
            self.engine.dispose()
            raise self._in_words(error, opening=True) from error
        except UnicodeDecodeError as error:
            # A damaged page shows itself in the database's own message, too.
            self.engine.dispose()
            raise self._damaged() from error
        except StoreError:
            self.engine.dispose()
            raise
        self._put_room_by()

    def _damaged(self) -> StoreError:
        return StoreError(
            "the store's file is damaged: what it holds is no text.",
            where=self.where,
            remedy="Leave it as it is, and restore a backup to another place.",
        )

    def _in_words(self, error: DatabaseError, *, opening: bool = False) -> StoreError:
        said = str(error.orig).strip().splitlines()[0] if error.orig else str(error)
        if any(words in said.lower() for words in _FULL):
            return StoreFullError(
                "the disk of the store is full; nothing of this was kept.",
                where=self.where,
                remedy="Remove recordings that are no longer needed, or make room on the disk, "
                "and try again.",
            )
        if "readonly" in said or "read-only" in said:
            return StoreError(
                "the store may not be written to.",
                where=self.where,
                remedy="Give the program the right to write there, or another place.",
            )
        if "locked" in said:
            return StoreError(
                "the store is in use by another program and did not come free.",
                where=self.where,
                remedy="Try again; if it stays so, see what else has it open.",
            )
        if opening:
            return StoreError(
                f"this cannot be opened as a store ({said}).",
                where=self.where,
                remedy="Give another place with --store, or restore a backup.",
            )
        return StoreError(
            f"the store failed ({said}); nothing of this was kept.",
            where=self.where,
            remedy="Try again; if it stays so, restore a backup.",
        )

    def _bring_up_to_date(self) -> None:
        with self.engine.connect() as connection:
            if not self._behind(connection):
                self._refuse_wanting(connection)
                return
        with self.engine.connect() as connection:
            sqlite = connection.dialect.name == "sqlite"
            if sqlite:
                # A table is changed by copying it: with foreign keys on, dropping the old one
                # would delete what refers to it.
                connection.exec_driver_sql("PRAGMA foreign_keys=OFF")
                connection.exec_driver_sql("BEGIN IMMEDIATE")
            else:
                connection.execute(text(f"SELECT pg_advisory_xact_lock({_UPGRADE_LOCK})"))
            # Another process may have been first while we waited for the lock.
            for layout in self._behind(connection):
                layout.upgrade(connection)
            self._refuse_wanting(connection)
            if sqlite:
                torn = connection.exec_driver_sql("PRAGMA foreign_key_check").first()
                if torn is not None:
                    raise StoreError(
                        f"a row of table {torn[0]} refers to one of {torn[2]} that is not there.",
                        where=self.where,
                        remedy="Restore a backup.",
                    )
                connection.exec_driver_sql(f"PRAGMA user_version={USER_VERSION}")
            connection.commit()
        # Fresh connections, with foreign keys on again.
        self.engine.dispose()

    def _behind(self, connection: Connection) -> list[Layout]:
        """The layouts that want migrations. Raises StoreError for a newer store."""
        if connection.dialect.name == "sqlite":
            mark = connection.execute(text("PRAGMA user_version")).scalar_one()
            if mark > USER_VERSION:
                raise self._newer(str(mark))
        wanting = []
        for layout in self.layouts:
            reached, known = layout.reached(connection), layout.revisions
            if reached and reached not in known:
                raise self._newer(f"{layout.name} {reached}")
            if reached != known[-1]:
                wanting.append(layout)
        return wanting

    def _newer(self, mark: str) -> StoreError:
        return StoreError(
            f"the store was written by a newer Ebbline (layout {mark}).",
            where=self.where,
            remedy="Use that version, or another store with --store.",
        )

    def _refuse_wanting(self, connection: Connection) -> None:
        wanting = [what for layout in self.layouts for what in layout.missing(connection)]
        if wanting:
            raise StoreError(
                f"the store is damaged: it lacks {', '.join(wanting[:4])}"
                f"{' and more' if len(wanting) > 4 else ''}.",
                where=self.where,
                remedy="Restore a backup, or give another place with --store.",
            )

    @contextmanager
    def session(self) -> Iterator[Session]:
        """One unit of work. Raises StoreFullError or StoreError; then nothing of it is kept."""
        try:
            with self._sessions() as session, session.begin():
                yield session
        except IntegrityError:
            # Two at once: what it means is for the caller to say.
            raise
        except DatabaseError as error:
            raise self._in_words(error) from error
        except UnicodeDecodeError as error:
            raise self._damaged() from error

    @contextmanager
    def writing(self) -> Iterator[Session]:
        """One unit of work that nobody else's writing comes between: read, decide, write."""
        with self.session() as session:
            if session.get_bind().dialect.name == "sqlite":
                session.execute(text("BEGIN IMMEDIATE"))
            yield session

    @contextmanager
    def room_put_by(self) -> Iterator[None]:
        """Let go of the room that was put by, so that something can be deleted on a full disk.

        Afterwards what became free is given back to the disk, and room put by again.
        """
        reserve = self._reserve
        if reserve is not None:
            reserve.unlink(missing_ok=True)
        try:
            yield
        finally:
            self.give_back()
            self._put_room_by()

    def give_back(self) -> None:
        """Give the disk what deleting has freed in an SQLite store, and empty its log."""
        if self.engine.dialect.name != "sqlite":
            return
        with self.engine.connect() as connection:
            raw = connection.connection.driver_connection
            assert isinstance(raw, sqlite3.Connection)
            empty = "PRAGMA wal_checkpoint(TRUNCATE)"
            for step in (empty, "PRAGMA incremental_vacuum", empty):
                # It goes page by page: only to the end of its (empty) answer is it done.
                raw.execute(step).fetchall()
                raw.commit()

    @property
    def _reserve(self) -> Path | None:
        is_file = self.engine.dialect.name == "sqlite"
        return Path(f"{self.where}.reserve") if is_file else None

    def _put_room_by(self) -> None:
        if self._reserve is None:
            return
        # Without room for it now, deleting may fail later; that is no reason not to open.
        with suppress(OSError):
            if not self._reserve.exists():
                self._reserve.write_bytes(bytes(RESERVE_BYTES))
                self._reserve.chmod(0o600)

    def backup(self, target: Path) -> None:
        """A consistent copy of an SQLite store while it is in use; whole or not at all."""
        copy_sqlite(Path(self.where), target)

    def close(self) -> None:
        """Give the file or the connections back."""
        self.engine.dispose()


def copy_sqlite(path: Path, target: Path) -> None:
    """A consistent copy of an SQLite file while it is in use; whole or not at all.

    Raises StoreError where it cannot be written.
    """
    partial = target.with_name(f".ebbline-backup-{secrets.token_hex(4)}.part")
    try:
        _sweep_killed_backups(target.parent)
        # Nobody else may read what lies there meanwhile either.
        os.close(os.open(partial, os.O_CREAT | os.O_EXCL | os.O_RDWR, 0o600))
        with closing(sqlite3.connect(path)) as source, closing(sqlite3.connect(partial)) as copy:
            source.backup(copy)
        partial.replace(target)
    except (OSError, sqlite3.Error) as error:
        partial.unlink(missing_ok=True)
        raise StoreError(
            f"the backup could not be written: {error}.",
            where=str(target),
            remedy="Choose a directory that exists, has room and may be written to.",
        ) from error


_DEAD_AFTER_S = 3600.0
"""A backup that was not touched for so long belongs to a process that was killed (ours)."""


def _sweep_killed_backups(folder: Path) -> None:
    for one in folder.glob(".ebbline-backup-*.part"):
        with suppress(OSError):
            if time.time() - one.stat().st_mtime > _DEAD_AFTER_S:
                one.unlink()


def _sqlite_engine(path: Path) -> Engine:
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
    engine = create_engine(f"sqlite:///{path}")
    event.listen(engine, "connect", _prepare_sqlite)
    return engine
