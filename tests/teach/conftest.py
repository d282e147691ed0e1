"""A workbench with a class: a reader, another reader, a teacher and an admin."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pytest

from ebbline.web.app import create_app
from ebbline.web.security import Role
from ebbline.web.settings import Settings
from web.visitor import PASSWORD, Visitor

PEOPLE = {
    "Ann": Role.READER,
    "Ben": Role.READER,
    "Tea": Role.TEACHER,
    "Ada": Role.ADMIN,
}


@pytest.fixture
def school(tmp_path: Path) -> Iterator[Visitor]:
    """Someone not signed in, at a workbench with a small class."""
    app = create_app(Settings(store=tmp_path / "s.sqlite", accounts=True))
    for name, role in PEOPLE.items():
        app.state.accounts.add(name, role, PASSWORD)
    with Visitor(app, base_url="http://127.0.0.1") as client:
        yield client
