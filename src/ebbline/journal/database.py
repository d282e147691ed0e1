"""Where the record lies: SQLite in a file of its own, or PostgreSQL by its address.

Either keeps the same promise: when a writing call returns, the data are on disk, and whatever
process is killed at whatever moment loses nothing of it.
"""

from __future__ import annotations

import os
from pathlib import Path

from ebbline.journal.schema import metadata
from ebbline.store import Layout, Store
from ebbline.store.durable import require_fsync

LAYOUT = Layout("journal", metadata, Path(__file__).parent / "migrations")


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
    store = Store(said, [LAYOUT])
    require_fsync(store.engine)
    return store
