"""Cases and entries, which the database itself refuses to change or delete."""

from __future__ import annotations

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None

_TABLES = ("journal_case", "journal_entry")


def upgrade() -> None:
    """Make the tables and what guards them."""
    op.create_table(
        "journal_case",
        sa.Column("number", sa.Integer, primary_key=True, autoincrement=False),
        sa.Column("case", sa.String(26), nullable=False, unique=True),
        sa.Column("opened_at", sa.String(40), nullable=False),
        sa.Column("opened_by", sa.String(60), nullable=False),
        sa.Column("previous", sa.String(64), nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
    )
    op.create_table(
        "journal_entry",
        sa.Column("case", sa.String(26), sa.ForeignKey("journal_case.case"), nullable=False),
        sa.Column("number", sa.Integer, nullable=False),
        sa.Column("kind", sa.String(20), nullable=False),
        sa.Column("body", sa.Text, nullable=False),
        sa.Column("at", sa.String(40), nullable=False),
        sa.Column("written_at", sa.String(40), nullable=False),
        sa.Column("author", sa.String(60), nullable=False),
        sa.Column("corrects", sa.Integer),
        sa.Column("token", sa.String(64), nullable=False),
        sa.Column("previous", sa.String(64), nullable=False),
        sa.Column("hash", sa.String(64), nullable=False),
        sa.PrimaryKeyConstraint("case", "number"),
        sa.UniqueConstraint("case", "token"),
        sa.UniqueConstraint("case", "corrects"),
    )
    if op.get_bind().dialect.name == "sqlite":
        _guard_sqlite()
    else:
        _guard_postgresql()


def _guard_sqlite() -> None:
    for table in _TABLES:
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} BEGIN "
                "SELECT RAISE(ABORT, 'the record is only added to'); END"
            )


def _guard_postgresql() -> None:
    op.execute(
        "CREATE FUNCTION journal_only_added_to() RETURNS trigger LANGUAGE plpgsql AS $$ "
        "BEGIN RAISE EXCEPTION 'the record is only added to'; END $$"
    )
    for table in _TABLES:
        op.execute(
            f"CREATE TRIGGER {table}_only_added_to BEFORE UPDATE OR DELETE OR TRUNCATE "
            f"ON {table} FOR EACH STATEMENT EXECUTE FUNCTION journal_only_added_to()"
        )


def downgrade() -> None:
    """There is no way back that keeps the record."""
    raise NotImplementedError("a record is not taken apart")
