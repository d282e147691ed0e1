"""Attempts of guests: kept in memory for as long as their class is open, and nowhere else."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from contextlib import contextmanager
from typing import TYPE_CHECKING

from sqlalchemy import create_engine
from sqlalchemy.orm import Session, sessionmaker
from sqlalchemy.pool import StaticPool

from ebbline.web.teaching.models import Base
from ebbline.web.teaching.store import Teaching

if TYPE_CHECKING:
    from ebbline.teach.case import Case


class MemoryStore:
    """Teaching's tables in memory: one connection, used by one request at a time."""

    def __init__(self) -> None:
        self._engine = create_engine(
            "sqlite://", poolclass=StaticPool, connect_args={"check_same_thread": False}
        )
        Base.metadata.create_all(self._engine)
        self._sessions = sessionmaker(self._engine, expire_on_commit=False)
        self._lock = threading.Lock()

    @contextmanager
    def session(self) -> Iterator[Session]:
        """One unit of work."""
        with self._lock, self._sessions() as session, session.begin():
            yield session

    def close(self) -> None:
        """Forget everything."""
        self._engine.dispose()


class GuestTeaching(Teaching):
    """What teaching keeps of guests; the cases are the workbench's own."""

    def __init__(self, main: Teaching) -> None:
        self.memory = MemoryStore()
        super().__init__(self.memory)
        self._main = main

    def cases(self) -> dict[str, Case]:
        """The workbench's cases."""
        return self._main.cases()

    def own_cases(self) -> dict[str, str]:
        """None: an attempt of an hour needs no copy of its case."""
        return {}

    def case(self, name: str) -> Case:
        """One case of the workbench."""
        return self._main.case(name)
