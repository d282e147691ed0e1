"""A workbench on a store of its own, and a browser that keeps its token."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from ebbline.web.app import create_app
from ebbline.web.auth.accounts import Accounts
from ebbline.web.principal import Role
from ebbline.web.settings import LOOPBACK_NAMES, Limits, Settings
from ebbline.web.store import Store
from web.stores import empty_store
from web.visitor import PASSWORD, Visitor


@pytest.fixture
def store(tmp_path: Path) -> Path:
    return tmp_path / "kept" / "workbench.sqlite"


@pytest.fixture
def visitor(store: Path) -> Iterator[Visitor]:
    """Someone at a workbench without accounts."""
    if not store.exists():
        empty_store(store)
    app = create_app(Settings(store=store))
    with Visitor(app, base_url="http://127.0.0.1") as client:
        client.load()
        yield client


@pytest.fixture(scope="session")
def staffed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with one account of each role; hashing passwords is slow on purpose, so once."""
    path = tmp_path_factory.mktemp("staffed") / "workbench.sqlite"
    store = Store(path)
    accounts = Accounts(store, Limits())
    for role in Role:
        accounts.add(f"{role.value} one", role, PASSWORD)
    copy = path.with_name("copy.sqlite")
    store.backup(copy)
    store.close()
    return copy


@pytest.fixture
def guarded(store: Path, staffed: Path) -> Iterator[Visitor]:
    """Someone not signed in, at a workbench with one account of each role."""
    store.parent.mkdir(parents=True)
    store.write_bytes(staffed.read_bytes())
    settings = Settings(
        store=store,
        accounts=True,
        names=(*LOOPBACK_NAMES, "workbench.example"),
        limits=Limits(body_bytes=4096, upload_bytes=200_000),
    )
    with Visitor(create_app(settings), base_url="http://127.0.0.1") as client:
        yield client
