"""`ebbline criteria`: the tables with their sources, to read and as JSON."""

from __future__ import annotations

import json
import math

import pytest
from typer.testing import CliRunner

from ebbline import CAUTION
from ebbline.cli.main import app
from ebbline.criteria import TABLES
from ebbline.errors import ContextError

RUN = CliRunner()


def said(*words: str) -> str:
    result = RUN.invoke(app, ["criteria", *words])
    assert result.exit_code == 0, result.output
    return result.output


def test_piped_it_prints_every_line_of_every_table_with_its_source() -> None:
    text = said()
    for table in TABLES.values():
        for rule in (*table.rules, *table.limits):
            assert f"  {rule.id}\n" in text
            assert f"Source: {rule.citation}." in text


@pytest.mark.parametrize("table", TABLES.values(), ids=lambda table: table.standard.value)
def test_one_standard_by_name_in_either_case(table: object) -> None:
    name = table.standard.value  # type: ignore[attr-defined]
    text = said(name)
    assert text == said(name.upper())
    titles = [line for line in text.splitlines() if "Classes:" in line]
    assert len(titles) == 1
    assert titles[0].startswith(table.edition)  # type: ignore[attr-defined]


def test_the_standing_caution_is_printed() -> None:
    assert CAUTION in said("figo")


def test_a_threshold_is_said_with_its_unit_and_its_mark() -> None:
    text = said("nice")
    assert "variability: Variability under 5 bpm without break for: more than 50 min." in text
    assert "section 1.4 (from memory)." in text


def test_json_holds_the_same_lines() -> None:
    tables = json.loads(said("figo", "--json"))
    assert [table["standard"] for table in tables] == ["figo"]
    lines = {line["id"]: line for line in tables[0]["lines"]}
    line = lines["figo-variability-reduced"]
    assert (line["compare"], line["threshold"], line["unit"]) == ("above", 50.0, "min")
    assert line["class"] == "pathological"
    assert line["upper"] is None
    assert lines["figo-decelerations-normal"]["threshold"] is None
    assert math.isfinite(lines["figo-baseline-normal"]["upper"])


def test_a_name_that_is_no_standard_is_told_in_words() -> None:
    result = RUN.invoke(app, ["criteria", "apgar"])
    assert isinstance(result.exception, ContextError)
    assert "Choose from nichd, figo, nice, nst" in str(result.exception)


def test_on_a_terminal_it_draws_a_table(monkeypatch: pytest.MonkeyPatch) -> None:
    from io import StringIO

    from ebbline.cli import criteria

    class Terminal(StringIO):
        def isatty(self) -> bool:
            return True

    screen = Terminal()
    monkeypatch.setenv("COLUMNS", "100")
    monkeypatch.setattr("sys.stdout", screen)
    criteria.criteria("nst", json=False)
    drawn = screen.getvalue()
    assert "Feature" in drawn
    assert "nst-accelerations" in drawn
    assert "1. American College of Obstetricians" in drawn
