"""Versions of what is known of the labour, renaming, blind readings; names without regard to case.

Two accounts of 0.1.0 whose names differ in case only both stay: the later one's key is its own.
"""

import sqlalchemy as sa
from alembic import op

from ebbline.store import UtcTime

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add the tables and columns."""
    op.create_table(
        "known_labour",
        sa.Column("recording_id", sa.String(16), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("context", sa.JSON(), nullable=False),
        sa.Column("author", sa.String(60), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.ForeignKeyConstraint(["recording_id"], ["recording.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("recording_id", "version"),
    )
    op.create_table(
        "recording_name",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recording_id", sa.String(16), nullable=False),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("before", sa.String(120), nullable=False),
        sa.Column("author", sa.String(60), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.ForeignKeyConstraint(["recording_id"], ["recording.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_recording_name_recording_id", "recording_name", ["recording_id"])
    op.create_table(
        "blind_reading",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recording_id", sa.String(16), nullable=False),
        sa.Column("reader", sa.String(60), nullable=False),
        sa.Column("begun_at", UtcTime(), nullable=False),
        sa.Column("broken_at", UtcTime(), nullable=True),
        sa.ForeignKeyConstraint(["recording_id"], ["recording.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_blind_reading_recording_id", "blind_reading", ["recording_id"])
    with op.batch_alter_table("mark") as mark:
        mark.add_column(sa.Column("withdrawn_by", sa.String(60), nullable=True))
        mark.add_column(sa.Column("blind", sa.Boolean(), nullable=False, server_default=sa.false()))
    with op.batch_alter_table("recording") as recording:
        recording.add_column(sa.Column("digest", sa.String(64), nullable=False, server_default=""))
        recording.create_index("ix_recording_digest", ["digest"])
    with op.batch_alter_table("account") as account:
        account.add_column(sa.Column("name_key", sa.String(80), nullable=True))
    connection = op.get_bind()
    taken: set[str] = set()
    for number, name in connection.execute(sa.text("SELECT id, name FROM account ORDER BY id")):
        key = name.casefold()
        if key in taken:
            key = f"{key}#{number}"
        taken.add(key)
        connection.execute(
            sa.text("UPDATE account SET name_key = :key WHERE id = :number"),
            {"key": key, "number": number},
        )
    with op.batch_alter_table("account") as account:
        account.alter_column("name_key", existing_type=sa.String(80), nullable=False)
        account.create_unique_constraint("uq_account_name_key", ["name_key"])
