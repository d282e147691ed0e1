"""How Alembic runs the steps: on the connection it is given, inside its unit of work."""

from __future__ import annotations

from alembic import context

from ebbline.journal.schema import metadata

context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=metadata,
    version_table="journal_form",
)
context.run_migrations()
