"""The tables as 0.1.0 made them, which kept no count of migrations: those there are left alone."""

import sqlalchemy as sa
from alembic import op

from ebbline.store import UtcTime

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make what is not there yet."""
    op.create_table(
        "account",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(length=60), nullable=False),
        sa.Column("role", sa.String(length=10), nullable=False),
        sa.Column("password_hash", sa.String(), nullable=False),
        sa.Column("created_at", UtcTime(), nullable=False),
        sa.Column("disabled_at", UtcTime(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("name"),
        if_not_exists=True,
    )
    op.create_table(
        "meta",
        sa.Column("key", sa.String(length=40), nullable=False),
        sa.Column("value", sa.String(), nullable=False),
        sa.PrimaryKeyConstraint("key"),
        if_not_exists=True,
    )
    op.create_table(
        "recording",
        sa.Column("id", sa.String(length=16), nullable=False),
        sa.Column("name", sa.String(length=120), nullable=False),
        sa.Column("opened_at", UtcTime(), nullable=False),
        sa.Column("opened_by", sa.String(length=60), nullable=False),
        sa.Column("invented", sa.Boolean(), nullable=False),
        sa.Column("duration_s", sa.Double(), nullable=False),
        sa.Column("header", sa.JSON(), nullable=False),
        sa.Column("summary", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        if_not_exists=True,
    )
    op.create_table(
        "channel",
        sa.Column("recording_id", sa.String(length=16), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("samples", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["recording_id"], ["recording.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("recording_id", "number"),
        if_not_exists=True,
    )
    op.create_table(
        "correction",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recording_id", sa.String(length=16), nullable=False),
        sa.Column("fetus", sa.Integer(), nullable=False),
        sa.Column("change", sa.JSON(), nullable=False),
        sa.Column("author", sa.String(length=60), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("withdrawn_by", sa.String(length=60), nullable=True),
        sa.Column("withdrawn_at", UtcTime(), nullable=True),
        sa.ForeignKeyConstraint(["recording_id"], ["recording.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
        if_not_exists=True,
    )
    op.create_index(
        "ix_correction_recording_id", "correction", ["recording_id"], if_not_exists=True
    )
    op.create_table(
        "examination",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recording_id", sa.String(length=16), nullable=True),
        sa.Column("answers", sa.JSON(), nullable=False),
        sa.Column("author", sa.String(length=60), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.ForeignKeyConstraint(["recording_id"], ["recording.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
        if_not_exists=True,
    )
    op.create_index(
        "ix_examination_recording_id", "examination", ["recording_id"], if_not_exists=True
    )
    op.create_table(
        "mark",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("recording_id", sa.String(length=16), nullable=False),
        sa.Column("fetus", sa.Integer(), nullable=False),
        sa.Column("kind", sa.String(length=40), nullable=False),
        sa.Column("start_s", sa.Double(), nullable=False),
        sa.Column("turn_s", sa.Double(), nullable=True),
        sa.Column("end_s", sa.Double(), nullable=False),
        sa.Column("value", sa.Double(), nullable=True),
        sa.Column("note", sa.String(length=1000), nullable=False),
        sa.Column("author", sa.String(length=60), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("withdrawn_at", UtcTime(), nullable=True),
        sa.ForeignKeyConstraint(["recording_id"], ["recording.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
        if_not_exists=True,
    )
    op.create_index("ix_mark_recording_id", "mark", ["recording_id"], if_not_exists=True)
    op.create_table(
        "sign_in",
        sa.Column("token_hash", sa.String(length=64), nullable=False),
        sa.Column("account_id", sa.Integer(), nullable=False),
        sa.Column("created_at", UtcTime(), nullable=False),
        sa.Column("seen_at", UtcTime(), nullable=False),
        sa.ForeignKeyConstraint(["account_id"], ["account.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("token_hash"),
        if_not_exists=True,
    )
