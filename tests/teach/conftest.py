"""A workbench with a class: a reader, another reader, a teacher and an admin."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from ebbline.web.app import create_app
from ebbline.web.auth.accounts import Accounts
from ebbline.web.principal import Role
from ebbline.web.settings import Limits, Settings
from ebbline.web.store import Store
from web.visitor import PASSWORD, Visitor

PEOPLE = {
    "Ann": Role.READER,
    "Ben": Role.READER,
    "Tea": Role.TEACHER,
    "Ada": Role.ADMIN,
}


@pytest.fixture(scope="session")
def enrolled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with the class's accounts: hashing passwords takes its time, so once for all."""
    path = tmp_path_factory.mktemp("enrolled") / "s.sqlite"
    store = Store(path)
    accounts = Accounts(store, Limits())
    for name, role in PEOPLE.items():
        accounts.add(name, role, PASSWORD)
    copy = path.with_name("copy.sqlite")
    store.backup(copy)
    store.close()
    return copy


@pytest.fixture
def school(enrolled: Path, tmp_path: Path) -> Iterator[Visitor]:
    """Someone not signed in, at a workbench with a small class."""
    path = tmp_path / "s.sqlite"
    shutil.copy(enrolled, path)
    app = create_app(Settings(store=path, accounts=True))
    with Visitor(app, base_url="http://127.0.0.1") as client:
        yield client
