"""The record on both of its databases."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime, timedelta, timezone
from itertools import count
from pathlib import Path

import pytest

from ebbline.journal.store import Journal
from journal.postgres import Server, missing, running

ZONE = timezone(timedelta(hours=1))
NOW = datetime(2025, 3, 1, 14, 30, tzinfo=ZONE)
_numbers = count()


class Clock:
    """A clock that stands until it is moved."""

    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> datetime:
        return self.now


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    why = missing()
    if why:
        pytest.skip(why)
    with running() as one:
        yield one


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where a record may lie: a file, then PostgreSQL."""
    if request.param == "sqlite":
        return str(tmp_path / "record.sqlite")
    server: Server = request.getfixturevalue("server")
    return server.fresh(f"record_{next(_numbers)}")


@pytest.fixture
def journal(place: str, clock: Clock) -> Iterator[Journal]:
    made = Journal(place, now=clock)
    yield made
    made.close()


@pytest.fixture
def plain(tmp_path: Path, clock: Clock) -> Iterator[Journal]:
    """A record on SQLite alone, for what does not depend on the database."""
    made = Journal(tmp_path / "plain.sqlite", now=clock)
    yield made
    made.close()
