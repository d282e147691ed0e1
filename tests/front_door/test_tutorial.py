"""The tutorial runs as it is printed."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

PAGE = Path(__file__).parents[2] / "docs" / "tutorial.md"


def test_every_block_of_the_tutorial_runs_in_order(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    names: dict[str, object] = {}
    blocks = re.findall(r"```python\n(.*?)```", PAGE.read_text("utf-8"), re.DOTALL)
    assert len(blocks) == 5
    for block in blocks:
        exec(compile(block, str(PAGE), "exec"), names)
    assert (tmp_path / "late.pdf").stat().st_size > 10_000
    said = capsys.readouterr().out
    assert "FIGO 2015, modified: Tachycardia, baseline more than 175 bpm" in said
    assert set(names["table"].index) == {"fast", "late", "quiet"}
