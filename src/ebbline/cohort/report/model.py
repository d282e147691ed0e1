"""What a report is made of, whatever it is written as. Every figure has its table."""

from __future__ import annotations

from dataclasses import dataclass

from ebbline.picture.canvas import Page


@dataclass(frozen=True, slots=True)
class ReportTable:
    """A table in words: heads, rows, and a note on how its numbers were made ("" for none)."""

    heads: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    note: str = ""


@dataclass(frozen=True, slots=True, eq=False)
class Figure:
    """A drawing with the numbers it was drawn from."""

    caption: str
    drawing: Page
    table: ReportTable


@dataclass(frozen=True, slots=True, eq=False)
class Section:
    """One part of the report."""

    title: str
    paragraphs: tuple[str, ...] = ()
    figures: tuple[Figure, ...] = ()
    tables: tuple[ReportTable, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class ArchiveReport:
    """The whole report. made: from what, when and by what; caution: the standing one."""

    title: str
    made: tuple[str, ...]
    caution: str
    sections: tuple[Section, ...]
