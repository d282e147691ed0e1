"""The page on archives tells the columns that the tables have."""

from __future__ import annotations

from pathlib import Path

from ebbline.cohort.tell_schema import markdown

PAGE = Path(__file__).parents[2] / "docs" / "archive.md"


def test_the_page_lists_every_column_as_it_is():
    assert PAGE.read_text("utf-8").endswith(markdown()), "run python -m ebbline.cohort.tell_schema"
