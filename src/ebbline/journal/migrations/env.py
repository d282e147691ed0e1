"""How Alembic runs the steps: on the connection it is given, inside its unit of work."""

from __future__ import annotations

from alembic import context

from ebbline.journal.schema import VERSION_TABLE, metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    version_table=VERSION_TABLE,
)
context.run_migrations()
