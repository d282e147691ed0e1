"""What holds for every test."""

from __future__ import annotations

import pytest


@pytest.fixture(autouse=True)
def _same_terminal(monkeypatch: pytest.MonkeyPatch) -> None:
    """Lines are broken alike wherever the tests run."""
    monkeypatch.setenv("COLUMNS", "100")
