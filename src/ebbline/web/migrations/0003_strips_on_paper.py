"""Strips on paper: pictures, and what was said of them."""

import sqlalchemy as sa
from alembic import op

from ebbline.store import UtcTime

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Add the tables."""
    op.create_table(
        "paper",
        sa.Column("id", sa.String(16), nullable=False),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("opened_at", UtcTime(), nullable=False),
        sa.Column("opened_by", sa.String(60), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "paper_picture",
        sa.Column("paper_id", sa.String(16), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("name", sa.String(120), nullable=False),
        sa.Column("width", sa.Integer(), nullable=False),
        sa.Column("height", sa.Integer(), nullable=False),
        sa.Column("content", sa.LargeBinary(), nullable=False),
        sa.ForeignKeyConstraint(["paper_id"], ["paper.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("paper_id", "number"),
    )
    op.create_table(
        "paper_said",
        sa.Column("paper_id", sa.String(16), nullable=False),
        sa.Column("version", sa.Integer(), nullable=False),
        sa.Column("said", sa.JSON(), nullable=False),
        sa.Column("author", sa.String(60), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("recording_id", sa.String(16), nullable=True),
        sa.ForeignKeyConstraint(["paper_id"], ["paper.id"], ondelete="CASCADE"),
        sa.ForeignKeyConstraint(["recording_id"], ["recording.id"], ondelete="SET NULL"),
        sa.PrimaryKeyConstraint("paper_id", "version"),
    )
    op.create_index("ix_paper_said_recording_id", "paper_said", ["recording_id"])
