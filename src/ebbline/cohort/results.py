"""The folder of results: parts as they come, then one sorted Parquet file a table, and the views.

results/recordings.parquet, half_hours.parquet, classes.parquet, findings.parquet,
        failures.parquet      the tables
        archive.duckdb        views of them
        run.json              what they were made from
        tables.json           of which parts, so that they are made anew only when one is new
        parts/                what each batch gave, kept so that a run goes on where it ended
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Iterable, Mapping
from contextlib import suppress
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from ebbline.cohort.schema import TABLES, TableSchema
from ebbline.cohort.sources import Source
from ebbline.errors import EbblineError

if TYPE_CHECKING:
    import pyarrow as pa

MEMORY = "512MB"
"""What sorting the tables may take; more goes through the disk (ours)."""


@dataclass(frozen=True, slots=True)
class RunFacts:
    """What results were made from.

    code: fingerprint of everything that turns bytes into classes. editions: of each standard, with
    what was changed in it. where: the archive read.
    """

    ebbline_version: str
    code: str
    where: str
    standards: tuple[str, ...]
    editions: tuple[str, ...]
    caution: str


_SAID = {
    "where": "another archive",
    "ebbline_version": "another version",
    "code": "other code",
    "standards": "another choice of standards",
    "editions": "other editions of them",
    "caution": "another caution",
}
"""What each of these facts is called where results are not gone on with."""


class Results:
    """A folder of results, new or to be gone on with."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.parts = folder / "parts"
        self._told = folder / "tables.json"
        self._next: int | None = None

    def begin(self, facts: RunFacts, *, force: bool) -> dict[str, str]:
        """Get ready; returns the fingerprints of what is done already, by recording.

        What was made by other code, from another place or by other standards is not gone on with:
        it is refused unless forced, and then made anew. Raises EbblineError.
        """
        if self.folder.exists() and not self.folder.is_dir():
            raise EbblineError(
                "this is a file.", where=str(self.folder), remedy="Name a folder for the results."
            )
        there = self.folder.is_dir() and any(self.folder.iterdir())
        if there and not (self.folder / "run.json").is_file():
            raise EbblineError(
                "this folder holds something else.",
                where=str(self.folder),
                remedy="Name an empty folder, or one with results of an earlier run.",
            )
        if there:
            before = read_facts(self.folder)
            if before == facts:
                return self._done()
            differs = [
                said
                for name, said in _SAID.items()
                if getattr(before, name) != getattr(facts, name)
            ]
            if not force:
                raise EbblineError(
                    f"these results are of {' and '.join(differs)}.",
                    where=str(self.folder),
                    remedy="Name another folder (and compare the two), or add --force to make "
                    "them anew.",
                )
            self._told.unlink(missing_ok=True)
            shutil.rmtree(self.parts, ignore_errors=True)
            self._next = None
        self.parts.mkdir(parents=True, exist_ok=True)
        self._write_text(self.folder / "run.json", json.dumps(asdict(facts), indent=1))
        return {}

    def _done(self) -> dict[str, str]:
        self.parts.mkdir(exist_ok=True)
        done: dict[str, str] = {}
        for part in self._whole():
            done.update(_listed(part))
        return done

    def _whole(self) -> list[Path]:
        """The lists of the parts that were written to their end, in order."""
        return sorted(self.parts.glob("*.json"))

    def add(self, sources: Iterable[Source], tables: Mapping[str, pa.Table]) -> None:
        """Keep what a batch gave; the list of its recordings is written last and makes it count."""
        import pyarrow.parquet as pq

        if self._next is None:
            self._told.unlink(missing_ok=True)
            # Looked up once: an archive of 20,000 has thousands of parts.
            there = (int(one.name.split(".")[0]) for one in self.parts.glob("*.*"))
            self._next = max(there, default=-1) + 1
        number = f"{self._next:07d}"
        self._next += 1
        for name, table in tables.items():
            if table.num_rows:
                pq.write_table(table, self.parts / f"{number}.{name}.parquet")
        listed = {one.recording: one.fingerprint for one in sources}
        self._write_text(self.parts / f"{number}.json", json.dumps(listed))

    def finish(self, sources: Iterable[Source]) -> None:
        """Make the tables from the parts: of what is in the archive now, sorted, and the views.

        Tables that were made of the same parts, and lie there as they were made, are left.
        """
        newest: dict[str, int] = {}
        for part in self._whole():
            number = int(part.name.split(".")[0])
            for recording in _listed(part):
                newest[recording] = number
        present = [one.recording for one in sources if one.recording in newest]
        made_of = [[one, newest[one]] for one in present]
        with suppress(OSError, ValueError):
            if json.loads(self._told.read_text("utf-8")) == self._made(made_of):
                return
        import duckdb
        import pyarrow as pa

        self._told.unlink(missing_ok=True)
        current = pa.table(
            {
                "recording": pa.array(present, pa.string()),
                "part": pa.array([newest[one] for one in present], pa.int32()),
            }
        )
        with duckdb.connect() as base:
            base.execute(f"SET memory_limit = '{MEMORY}'")
            base.execute("SET threads = 2")
            base.execute("SET temp_directory = ?", [str(self.parts / "sorting")])
            base.register("current", current)
            for table in TABLES:
                self._merge(base, table)
        shutil.rmtree(self.parts / "sorting", ignore_errors=True)
        self._views()
        self._write_text(self._told, json.dumps(self._made(made_of)))

    def _made(self, made_of: list[list[Any]]) -> dict[str, Any]:
        """What the tables are made of, and how they lie there: where, how long and since when."""
        there = {}
        for name in (*(f"{one.name}.parquet" for one in TABLES), "archive.duckdb"):
            found = (self.folder / name).stat()
            there[name] = [found.st_size, found.st_mtime_ns]
        return {"folder": str(self.folder.resolve()), "of": made_of, "tables": there}

    def _merge(self, base: Any, table: TableSchema) -> None:
        """One sorted file of a table from its parts."""
        import pyarrow.parquet as pq

        from ebbline.cohort.schema import arrow_schema

        target = self.folder / f"{table.name}.parquet"
        draft = target.with_suffix(".parquet.part")
        schema = arrow_schema(table)
        wanted = {path.name.split(".")[0] for path in self._whole()}
        parts = [
            str(path)
            for path in sorted(self.parts.glob(f"*.{table.name}.parquet"))
            if path.name.split(".")[0] in wanted
        ]
        with pq.ParquetWriter(draft, schema, compression="zstd") as writer:
            if parts:
                order = ", ".join(f't."{name}"' for name in table.order)
                columns = ", ".join(f't."{column.name}"' for column in table.columns)
                found = base.sql(
                    f"SELECT {columns} FROM read_parquet(?, filename = true) AS t "
                    "JOIN current ON current.recording = t.recording AND current.part = "
                    "CAST(regexp_extract(t.filename, '(\\d{7})\\.[a-z_]+\\.parquet$', 1) AS INT) "
                    f"ORDER BY {order}",
                    params=[parts],
                ).to_arrow_reader(20_000)
                for batch in found:
                    writer.write_batch(batch.cast(schema))
        draft.replace(target)

    def _views(self) -> None:
        """A DuckDB file of views of the tables as they lie here."""
        import duckdb

        draft = self.folder / "archive.duckdb.part"
        draft.unlink(missing_ok=True)
        with duckdb.connect(str(draft)) as base:
            for table in TABLES:
                place = str((self.folder / f"{table.name}.parquet").resolve()).replace("'", "''")
                base.execute(f"CREATE VIEW {table.name} AS SELECT * FROM read_parquet('{place}')")
            for name, query in VIEWS.items():
                base.execute(f"CREATE VIEW {name} AS {query}")
        draft.replace(self.folder / "archive.duckdb")

    @staticmethod
    def _write_text(path: Path, text: str) -> None:
        draft = path.with_name(path.name + ".part")
        with draft.open("w", encoding="utf-8") as file:
            file.write(text)
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)


VIEWS = {
    "outcomes": """
        SELECT recording, fetus, unnest(map_keys(outcome)) AS name,
               unnest(map_values(outcome)) AS value
        FROM recordings""",
    "class_by_standard": """
        PIVOT (SELECT recording, fetus, "window", start_s, end_s, standard, said FROM classes)
        ON standard IN ('nichd', 'figo', 'nice') USING first(said)
        GROUP BY recording, fetus, "window", start_s, end_s""",
    "class_counts": """
        SELECT standard, "window", said, count(*) AS windows
        FROM classes GROUP BY ALL ORDER BY standard, "window", windows DESC""",
    "worst_class": """
        SELECT recording, fetus, standard, max(rank) AS rank, arg_max(label, rank) AS label
        FROM classes WHERE rank >= 0 GROUP BY ALL""",
}
"""Views beside the tables themselves."""


def read_facts(folder: Path) -> RunFacts:
    """What a folder of results was made from. Raises EbblineError when it is none."""
    try:
        data = json.loads((folder / "run.json").read_text("utf-8"))
        return RunFacts(
            **data | {"standards": tuple(data["standards"]), "editions": tuple(data["editions"])}
        )
    except (OSError, ValueError, TypeError, KeyError) as error:
        raise EbblineError(
            "this is not a folder of results.",
            where=str(folder),
            remedy="Make one with: ebbline archive FOLDER --out RESULTS.",
        ) from error


def _listed(part: Path) -> dict[str, str]:
    listed: dict[str, str] = json.loads(part.read_text("utf-8"))
    return listed
