"""`ebbline criteria`: the tables of the standards, line by line, with their sources."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Annotated, Any

import typer

from ebbline import CAUTION
from ebbline.errors import ContextError

if TYPE_CHECKING:
    from ebbline.criteria import Rule, Table


def register(app: typer.Typer) -> None:
    """Add the command of this file."""
    app.command()(criteria)


def criteria(
    name: Annotated[
        str | None, typer.Argument(help="One standard: nichd, figo, nice or nst. All without it.")
    ] = None,
    json: Annotated[bool, typer.Option("--json", help="Print the tables as JSON.")] = False,
) -> None:
    """Print the criteria a class is given by: every line with its threshold and its source.

    Example: ebbline criteria figo
    """
    from ebbline.criteria import TABLES

    tables = [table for table in TABLES.values() if name is None or table.standard == name.lower()]
    if not tables:
        raise ContextError(
            f"'{name}' is not a standard.",
            where="NAME",
            remedy=f"Choose from {', '.join(TABLES)}.",
        )
    if json:
        from ebbline.codec import to_json

        print(to_json([_as_data(table) for table in tables], indent=2))
    elif sys.stdout.isatty():
        _draw(tables)
    else:
        for table in tables:
            _write(table)
        print(CAUTION)


def _title(table: Table) -> str:
    return f"{table.edition}. Read {_when(table)}. Classes: {', '.join(table.classes)}."


def _when(table: Table) -> str:
    return f"in {table.scope}" if table.scope == "labour" else table.scope


def _lines(table: Table) -> tuple[Rule, ...]:
    return (*table.rules, *table.limits)


def _says(rule: Rule) -> str:
    numeric = rule.condition != "present"
    return f"{rule.says.rstrip(',')}: {rule.condition}" if numeric else rule.says


def _makes(table: Table, rule: Rule) -> str:
    """What meeting the line does to the class."""
    from ebbline.criteria.rule import Part

    return table.classes[rule.rank] if rule.part is Part.CLASS else rule.part.value


def _as_data(table: Table) -> dict[str, Any]:
    return {
        "standard": table.standard.value,
        "edition": table.edition,
        "read": _when(table),
        "classes": list(table.classes),
        "lines": [
            {
                "id": rule.id,
                "feature": rule.feature,
                "verdict": rule.verdict,
                "part": rule.part.value,
                "class": _makes(table, rule),
                "says": rule.says.rstrip(","),
                "compare": rule.compare.value,
                "threshold": rule.threshold,
                "upper": rule.upper,
                "unit": rule.unit,
                "note": rule.note,
                "citation": rule.citation,
            }
            for rule in _lines(table)
        ],
    }


def _write(table: Table) -> None:
    """Plain text: one block a line of the table."""
    print(_title(table))
    for rule in _lines(table):
        print(f"\n  {rule.id}")
        print(f"    {rule.feature}: {_says(rule)}.")
        makes = dict.fromkeys((_makes(table, rule), rule.verdict))
        print(f"    {'; '.join(makes)}.")
        if rule.note:
            print(f"    Note: {rule.note}")
        print(f"    Source: {rule.citation}.")
    print()


def _draw(tables: list[Table]) -> None:
    """A table for the terminal, its sources numbered below it."""
    from rich.console import Console
    from rich.table import Table as Grid

    console = Console()
    for table in tables:
        sources: dict[str, int] = {}
        grid = Grid(title=_title(table), title_justify="left", show_lines=True, expand=True)
        for heading, ratio in (("Feature", 3), ("Line", 5), ("Makes", 3), ("Source", 3)):
            grid.add_column(heading, overflow="fold", ratio=ratio)
        for rule in _lines(table):
            recalled = " (from memory)" if rule.recalled else ""
            number = sources.setdefault(rule.source.full, len(sources) + 1)
            section = f" {rule.section}" if rule.section else ""
            note = f"\n[dim]{rule.note}[/dim]" if rule.note else ""
            grid.add_row(
                f"{rule.feature}\n[dim]{rule.id}[/dim]",
                f"{_says(rule)}{note}",
                "\n".join(dict.fromkeys((_makes(table, rule), rule.verdict))),
                f"{number}{section}{recalled}",
            )
        console.print(grid)
        for source, number in sources.items():
            console.print(f"  {number}. {source}.", highlight=False, markup=False)
        console.print()
    console.print(CAUTION, highlight=False, markup=False)
