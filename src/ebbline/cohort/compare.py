"""Two folders of results of one archive: which recordings changed class, and why."""

from __future__ import annotations

import io
from collections import Counter
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ebbline.cohort.report.tables import opened
from ebbline.cohort.results import RunFacts, read_facts
from ebbline.errors import EbblineError

if TYPE_CHECKING:
    import pyarrow as pa


@dataclass(frozen=True, slots=True)
class Comparison:
    """What differs. changed: a row a window whose class or deciding rules differ.

    same: windows whose class is the same in both. moved: counts of (standard, before, after).
    only_before, only_after: recordings that the other has not.
    """

    before: RunFacts
    after: RunFacts
    changed: pa.Table
    same: int
    moved: dict[tuple[str, str, str], int]
    only_before: tuple[str, ...]
    only_after: tuple[str, ...]


_CHANGED = """
SELECT a.recording, a.fetus, a."window", a.start_s, a.end_s, a.standard,
       a.edition AS edition_before, b.edition AS edition_after,
       a.said AS before, b.said AS after, a.rank AS rank_before, b.rank AS rank_after,
       list_filter(b.decided_by, lambda x: NOT list_contains(a.decided_by, x)) AS rules_come,
       list_filter(a.decided_by, lambda x: NOT list_contains(b.decided_by, x)) AS rules_gone,
       CASE WHEN a.rank < 0 THEN a.refusal ELSE a.reasons END AS why_before,
       CASE WHEN b.rank < 0 THEN b.refusal ELSE b.reasons END AS why_after
FROM before.classes a JOIN after.classes b
USING (recording, fetus, "window", start_s, end_s, standard)
WHERE a.said <> b.said
ORDER BY a.recording, a.fetus, a.start_s, a.standard
"""
_SAME = """
SELECT count(*) FROM before.classes a JOIN after.classes b
USING (recording, fetus, "window", start_s, end_s, standard) WHERE a.said = b.said
"""
_ONLY = "SELECT DISTINCT recording FROM {0}.classes EXCEPT SELECT recording FROM {1}.classes"


def compare(before: Path, after: Path) -> Comparison:
    """Set two folders of results side by side. Raises EbblineError for what is none."""
    facts = read_facts(before), read_facts(after)
    shared = set(facts[0].standards) & set(facts[1].standards)
    if not shared:
        raise EbblineError(
            "the two results have no standard in common.",
            where=f"{before} and {after}",
            remedy="Read both by the same standards: ebbline archive --criteria nichd,figo,nice.",
        )
    with opened(before) as base:
        for name, folder in (("before", before), ("after", after)):
            base.execute(f"CREATE SCHEMA {name}")
            place = str(folder / "classes.parquet").replace("'", "''")
            base.execute(f"CREATE VIEW {name}.classes AS SELECT * FROM read_parquet('{place}')")
        changed = base.sql(_CHANGED).to_arrow_table()
        same = int(base.execute(_SAME).fetchone()[0])
        only = [
            tuple(sorted(row[0] for row in base.execute(_ONLY.format(*pair)).fetchall()))
            for pair in (("before", "after"), ("after", "before"))
        ]
    return Comparison(
        before=facts[0],
        after=facts[1],
        changed=changed,
        same=same,
        moved=_moved(changed),
        only_before=only[0],
        only_after=only[1],
    )


def _moved(changed: pa.Table) -> dict[tuple[str, str, str], int]:
    rows = changed.select(["standard", "before", "after"]).to_pylist()
    counted = Counter((row["standard"], row["before"], row["after"]) for row in rows)
    return dict(sorted(counted.items()))


def said(found: Comparison, *, most: int = 20) -> str:
    """The comparison in words: what moved, then recording by recording with the reasons."""
    lines = [
        f"before: Ebbline {found.before.ebbline_version} (code {found.before.code}); "
        + "; ".join(found.before.editions),
        f"after:  Ebbline {found.after.ebbline_version} (code {found.after.code}); "
        + "; ".join(found.after.editions),
        f"{found.same} windows have the same class, {found.changed.num_rows} another.",
    ]
    for name, only in (("before", found.only_before), ("after", found.only_after)):
        if only:
            more = f" and {len(only) - 5} more" if len(only) > 5 else ""
            lines.append(f"only in {name}: {', '.join(only[:5])}{more}.")
    lines += [
        f"  {standard}: {was} -> {now}: {count}"
        for (standard, was, now), count in found.moved.items()
    ]
    rows = found.changed.slice(0, most).to_pylist()
    lines += [text for row in rows for text in _window(row)]
    if found.changed.num_rows > most:
        lines.append(f"... and {found.changed.num_rows - most} more: write them with --out.")
    return "\n".join(lines) + "\n"


def _window(row: dict[str, Any]) -> list[str]:
    start, end = row["start_s"] / 60, row["end_s"] / 60
    fetus = f", fetus {row['fetus']}" if row["fetus"] != 1 else ""
    head = (
        f"{row['recording']}{fetus}, minutes {start:.0f} to {end:.0f} ({row['window']}), "
        f"{row['standard']}: {row['before']} -> {row['after']}"
    )
    return [
        head,
        *(f"    was: {text}" for text in row["why_before"][:2]),
        *(f"    is:  {text}" for text in row["why_after"][:2]),
    ]


def changes(found: Comparison, suffix: str) -> bytes:
    """Every changed window as the bytes of a .parquet or .csv file (lists joined by "; ")."""
    import pyarrow as pa
    import pyarrow.csv
    import pyarrow.parquet

    made = io.BytesIO()
    if suffix == ".parquet":
        pyarrow.parquet.write_table(found.changed, made)
        return made.getvalue()
    rows = [
        {k: "; ".join(v) if isinstance(v, list) else v for k, v in row.items()}
        for row in found.changed.to_pylist()
    ]
    names = found.changed.column_names
    pyarrow.csv.write_csv(pa.table({name: [row[name] for row in rows] for name in names}), made)
    return made.getvalue()
