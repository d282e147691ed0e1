"""A measured page tells what it was made from; one that stands behind for too long is a fault."""

from __future__ import annotations

import json
from datetime import date, timedelta
from pathlib import Path

import pytest
from bench import stamps

PAGE = "docs/panel.md"


@pytest.fixture
def house(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setattr(stamps, "SOURCES", {PAGE: ("rooms/*.py", "rooms/*.json")})
    monkeypatch.setattr(stamps, "ROOT", tmp_path)
    monkeypatch.setattr(stamps, "KEPT", tmp_path / "stamps.json")
    (tmp_path / "rooms").mkdir()
    (tmp_path / "rooms" / "one.py").write_text("LIMIT = 25\n")
    (tmp_path / "rooms" / "model.json").write_text("[1]")
    return tmp_path


def test_words_and_layout_change_no_stamp_and_numbers_do(house: Path) -> None:
    room = house / "rooms" / "one.py"
    before = stamps.digest(PAGE, house)
    room.write_text('"""Told at length."""\n# Why so.\nLIMIT = (\n    25\n)\n')
    assert stamps.digest(PAGE, house) == before
    room.write_text("LIMIT = 26\n")
    changed = stamps.digest(PAGE, house)
    assert changed != before
    (house / "rooms" / "model.json").write_text("[2]")
    assert stamps.digest(PAGE, house) not in (before, changed)


@pytest.mark.parametrize(("days", "late"), [(0, False), (7, False), (8, True)])
def test_a_page_may_stand_behind_for_a_week_of_commits(
    house: Path, monkeypatch: pytest.MonkeyPatch, days: int, late: bool
) -> None:
    monkeypatch.setattr("sys.argv", ["stamps", "--check"])
    (house / "stamps.json").write_text(
        json.dumps({PAGE: {"made_from": "other", "on": "2024-05-01"}})
    )
    monkeypatch.setattr(stamps, "newest", lambda page: date(2024, 5, 1) + timedelta(days=days))
    assert stamps.main() == (1 if late else 0)
    stamps.made(PAGE)
    assert stamps.behind(PAGE) is None
    assert stamps.main() == 0


def test_a_page_without_a_stamp_is_a_fault(house: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("sys.argv", ["stamps", "--check"])
    assert stamps.main() == 1
