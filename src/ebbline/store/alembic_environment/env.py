"""How Alembic runs the migrations of a layout: on the connection it is handed."""

from alembic import context

layout = context.config.attributes["layout"]
context.configure(
    connection=context.config.attributes["connection"],
    target_metadata=layout.metadata,
    version_table=layout.version_table,
    render_as_batch=True,
)
context.run_migrations()
