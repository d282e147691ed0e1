"""The tables of a folder of results, asked by SQL; and the intervals of a report."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from ebbline.cohort.results import read_facts
from ebbline.cohort.schema import TABLES
from ebbline.errors import EbblineError


@contextmanager
def opened(folder: Path) -> Iterator[Any]:
    """A DuckDB connection with every table as a view. Raises EbblineError where one is missing."""
    import duckdb

    read_facts(folder)
    with duckdb.connect() as base:
        for table in TABLES:
            path = folder / f"{table.name}.parquet"
            if not path.is_file():
                raise EbblineError(
                    f"the table {table.name} is missing; the run did not come to its end.",
                    where=str(folder),
                    remedy="Run `ebbline archive` again: it goes on where it ended.",
                )
            base.from_parquet(str(path)).create_view(table.name)
        yield base


def interval(hits: int, of: int) -> tuple[float, float]:
    """95 % interval of a share. Source: Wilson EB. J Am Stat Assoc 1927;22:209-12."""
    from statsmodels.stats.proportion import proportion_confint

    low, high = proportion_confint(hits, of, method="wilson")
    return float(low), float(high)


def share_said(hits: int, of: int) -> str:
    """A share with its interval and counts: "12 % (9 to 16; 34 of 276)"."""
    if not of:
        return "none to count"
    low, high = interval(hits, of)
    return f"{100 * hits / of:.0f} % ({100 * low:.0f} to {100 * high:.0f}; {hits} of {of})"
