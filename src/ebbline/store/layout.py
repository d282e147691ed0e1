"""A layout: the tables of one package, and the numbered migrations that lead to them.

Migrations are Alembic revisions in files `0001_words.py`, `0002_words.py` and so on, whose
revision is the number. That order is the whole history: no branches. The number that a store has
reached stands in its table `layout_NAME`.
"""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Connection, MetaData, inspect, text

ENVIRONMENT = Path(__file__).parent / "alembic_environment"


@dataclass(frozen=True, slots=True)
class Layout:
    """name: of the package, a plain identifier. versions: the folder of its migrations."""

    name: str
    metadata: MetaData
    versions: Path

    @property
    def version_table(self) -> str:
        """Where a store says which migration it has reached."""
        return f"layout_{self.name}"

    @property
    def revisions(self) -> list[str]:
        """All migrations, the oldest first."""
        return sorted(path.name[:4] for path in self.versions.glob("[0-9][0-9][0-9][0-9]_*.py"))

    def reached(self, connection: Connection) -> str:
        """The migration that a store has reached; empty before the first."""
        if not inspect(connection).has_table(self.version_table):
            return ""
        found = connection.execute(text(f"SELECT version_num FROM {self.version_table}")).scalar()
        return str(found or "")

    def upgrade(self, connection: Connection) -> None:
        """Run the migrations that are wanting, in the connection's transaction."""
        # Alembic is slow to load, and needed only where something is to be done.
        from alembic import command
        from alembic.config import Config

        config = Config()
        config.set_main_option("script_location", str(ENVIRONMENT))
        config.set_main_option("version_locations", str(self.versions))
        config.set_main_option("path_separator", "os")
        config.attributes["connection"] = connection
        config.attributes["layout"] = self
        command.upgrade(config, "head")

    def missing(self, connection: Connection) -> list[str]:
        """Tables and columns that should be there and are not: 'table mark', 'column mark.note'."""
        looked = inspect(connection)
        there = set(looked.get_table_names())
        wanting = []
        for table in self.metadata.sorted_tables:
            if table.name not in there:
                wanting.append(f"table {table.name}")
                continue
            columns = {column["name"] for column in looked.get_columns(table.name)}
            wanting += [
                f"column {table.name}.{column.name}"
                for column in table.columns
                if column.name not in columns
            ]
        return wanting
