"""The tables as 0.1.0 made them, which kept no count of migrations: those there are left alone."""

import sqlalchemy as sa
from alembic import op

from ebbline.store import UtcTime

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make what is not there yet."""
    op.create_table(
        "teach_assignment",
        sa.Column("id", sa.String(length=16), nullable=False),
        sa.Column("case", sa.String(length=60), nullable=False),
        sa.Column("seed", sa.Integer(), nullable=True),
        sa.Column("title", sa.String(length=120), nullable=False),
        sa.Column("due_at", UtcTime(), nullable=True),
        sa.Column("attempts", sa.Integer(), nullable=False),
        sa.Column("names", sa.JSON(), nullable=False),
        sa.Column("set_by", sa.String(length=60), nullable=False),
        sa.Column("set_at", UtcTime(), nullable=False),
        sa.Column("closed_at", UtcTime(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        if_not_exists=True,
    )
    op.create_table(
        "teach_attempt",
        sa.Column("id", sa.String(length=16), nullable=False),
        sa.Column("learner", sa.String(length=60), nullable=False),
        sa.Column("case", sa.String(length=60), nullable=False),
        sa.Column("yaml", sa.String(), nullable=False),
        sa.Column("seed", sa.Integer(), nullable=False),
        sa.Column("assignment", sa.String(length=16), nullable=False),
        sa.Column("started_at", UtcTime(), nullable=False),
        sa.Column("finished_at", UtcTime(), nullable=True),
        sa.Column("score", sa.JSON(), nullable=True),
        sa.Column("standard", sa.String(length=10), nullable=False),
        sa.Column("said_class", sa.String(length=40), nullable=False),
        sa.Column("true_class", sa.String(length=40), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        if_not_exists=True,
    )
    op.create_index(
        "ix_teach_attempt_assignment", "teach_attempt", ["assignment"], if_not_exists=True
    )
    op.create_index("ix_teach_attempt_case", "teach_attempt", ["case"], if_not_exists=True)
    op.create_index("ix_teach_attempt_learner", "teach_attempt", ["learner"], if_not_exists=True)
    op.create_table(
        "teach_card",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("learner", sa.String(length=60), nullable=False),
        sa.Column("skill", sa.String(length=60), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("learner", "skill"),
        if_not_exists=True,
    )
    op.create_index("ix_teach_card_learner", "teach_card", ["learner"], if_not_exists=True)
    op.create_table(
        "teach_case",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("case", sa.String(length=60), nullable=False),
        sa.Column("yaml", sa.String(), nullable=False),
        sa.Column("author", sa.String(length=60), nullable=False),
        sa.Column("made_at", UtcTime(), nullable=False),
        sa.Column("withdrawn_at", UtcTime(), nullable=True),
        sa.PrimaryKeyConstraint("id"),
        if_not_exists=True,
    )
    op.create_index("ix_teach_case_case", "teach_case", ["case"], if_not_exists=True)
    op.create_table(
        "teach_step",
        sa.Column("id", sa.Integer(), nullable=False),
        sa.Column("attempt", sa.String(length=16), nullable=False),
        sa.Column("number", sa.Integer(), nullable=False),
        sa.Column("data", sa.JSON(), nullable=False),
        sa.Column("taken_at", UtcTime(), nullable=False),
        sa.ForeignKeyConstraint(["attempt"], ["teach_attempt.id"], ondelete="CASCADE"),
        sa.PrimaryKeyConstraint("id"),
        sa.UniqueConstraint("attempt", "number"),
        if_not_exists=True,
    )
    op.create_index("ix_teach_step_attempt", "teach_step", ["attempt"], if_not_exists=True)
