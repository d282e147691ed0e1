"""The live store on both of its databases."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count
from pathlib import Path

import pytest

from ebbline.live.sample_store import LiveStore
from journal.postgres import Server, missing, running

_numbers = count()


@pytest.fixture(scope="session")
def server() -> Iterator[Server]:
    why = missing()
    if why:
        pytest.skip(why)
    with running() as one:
        yield one


@pytest.fixture(params=["sqlite", "postgresql"])
def place(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """Where the store may lie: a file, then PostgreSQL."""
    if request.param == "sqlite":
        return str(tmp_path / "live.sqlite")
    server: Server = request.getfixturevalue("server")
    return server.fresh(f"live_{next(_numbers)}")


@pytest.fixture
def store(place: str) -> Iterator[LiveStore]:
    made = LiveStore(place)
    yield made
    made.close()


@pytest.fixture
def plain(tmp_path: Path) -> Iterator[LiveStore]:
    """A store on SQLite alone, for what does not depend on the database."""
    made = LiveStore(tmp_path / "plain.sqlite")
    yield made
    made.close()
