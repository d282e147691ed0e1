"""Classes that were kept, groups of learners, and the browsers that they sit at."""

import sqlalchemy as sa
from alembic import op

from ebbline.store import UtcTime

revision = "0002"
down_revision = "0001"


def upgrade() -> None:
    """Add the tables."""
    op.create_table(
        "teach_class",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("title", sa.String(120), nullable=False),
        sa.Column("results", sa.JSON(), nullable=False),
        sa.Column("held_by", sa.String(60), nullable=False),
        sa.Column("held_at", UtcTime(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_table(
        "teach_group",
        sa.Column("id", sa.String(16), nullable=False),
        sa.Column("name", sa.String(80), nullable=False),
        sa.Column("code", sa.String(12), nullable=False),
        sa.Column("names", sa.JSON(), nullable=False),
        sa.Column("made_by", sa.String(60), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("closed_at", UtcTime(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
    )
    op.create_index("ix_teach_group_code", "teach_group", ["code"])
    op.create_table(
        "teach_seat",
        sa.Column("token_hash", sa.String(64), nullable=False),
        sa.Column("group", sa.String(16), nullable=False),
        sa.Column("learner", sa.String(60), nullable=False),
        sa.Column("taken_at", UtcTime(), nullable=False),
        sa.ForeignKeyConstraint(["group"], ["teach_group.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("token_hash"),
    )
    op.create_index("ix_teach_seat_group", "teach_seat", ["group"])
