"""The tables in words, as docs/archive.md shows them: `python -m ebbline.cohort.tell_schema`."""

from __future__ import annotations

from ebbline.cohort.schema import TABLES


def markdown() -> str:
    """Every table with its columns, made from the lines of `cohort.schema`."""
    parts = []
    for table in TABLES:
        rows = "\n".join(f"| `{c.name}` | {c.kind} | {c.meaning} |" for c in table.columns)
        parts.append(
            f"### {table.name}.parquet\n\nA row is {table.row}. Sorted by "
            f"{', '.join(table.order)}.\n\n| column | type | meaning |\n|---|---|---|\n{rows}\n"
        )
    return "\n".join(parts)


if __name__ == "__main__":
    print(markdown(), end="")
