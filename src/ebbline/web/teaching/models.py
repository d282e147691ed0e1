"""What teaching keeps in the workbench's store."""

from __future__ import annotations

from datetime import datetime
from pathlib import Path
from typing import Any

from sqlalchemy import ForeignKey, String, UniqueConstraint
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from ebbline.store import TYPES, Layout, now


class Base(DeclarativeBase):
    """All tables of teaching."""

    type_annotation_map = TYPES


class TeachCase(Base):
    """A teacher's own case, as YAML. A new saving is a new row; the latest not withdrawn holds."""

    __tablename__ = "teach_case"
    id: Mapped[int] = mapped_column(primary_key=True)
    case: Mapped[str] = mapped_column(String(60), index=True)
    yaml: Mapped[str]
    author: Mapped[str] = mapped_column(String(60))
    made_at: Mapped[datetime] = mapped_column(default=now)
    withdrawn_at: Mapped[datetime | None] = mapped_column(default=None)


class TeachAssignment(Base):
    """A case set to a class. seed: the variant all play, None for one of their own each.

    attempts: how many are allowed, 0 for any number. names: who it is for, empty for all.
    """

    __tablename__ = "teach_assignment"
    id: Mapped[str] = mapped_column(String(16), primary_key=True)
    case: Mapped[str] = mapped_column(String(60))
    seed: Mapped[int | None]
    title: Mapped[str] = mapped_column(String(120))
    due_at: Mapped[datetime | None]
    attempts: Mapped[int]
    names: Mapped[dict[str, Any]]
    set_by: Mapped[str] = mapped_column(String(60))
    set_at: Mapped[datetime] = mapped_column(default=now)
    closed_at: Mapped[datetime | None] = mapped_column(default=None)


class TeachAttempt(Base):
    """One attempt. yaml: the case as it was then, where it is a teacher's own; else empty.

    score, said_class, true_class: when finished.
    """

    __tablename__ = "teach_attempt"
    id: Mapped[str] = mapped_column(String(16), primary_key=True)
    learner: Mapped[str] = mapped_column(String(60), index=True)
    case: Mapped[str] = mapped_column(String(60), index=True)
    yaml: Mapped[str]
    seed: Mapped[int]
    assignment: Mapped[str] = mapped_column(String(16), default="", index=True)
    started_at: Mapped[datetime] = mapped_column(default=now)
    finished_at: Mapped[datetime | None] = mapped_column(default=None)
    score: Mapped[dict[str, Any] | None] = mapped_column(default=None)
    standard: Mapped[str] = mapped_column(String(10), default="")
    said_class: Mapped[str] = mapped_column(String(40), default="")
    true_class: Mapped[str] = mapped_column(String(40), default="")


class TeachStep(Base):
    """One step of an attempt; steps are added, never changed."""

    __tablename__ = "teach_step"
    __table_args__ = (UniqueConstraint("attempt", "number"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    attempt: Mapped[str] = mapped_column(
        ForeignKey("teach_attempt.id", ondelete="CASCADE"), index=True
    )
    number: Mapped[int]
    data: Mapped[dict[str, Any]]
    taken_at: Mapped[datetime] = mapped_column(default=now)


class TeachCard(Base):
    """When a skill of a learner falls due (the scheduling library's own card)."""

    __tablename__ = "teach_card"
    __table_args__ = (UniqueConstraint("learner", "skill"),)
    id: Mapped[int] = mapped_column(primary_key=True)
    learner: Mapped[str] = mapped_column(String(60), index=True)
    skill: Mapped[str] = mapped_column(String(60))
    data: Mapped[dict[str, Any]]


class TeachClass(Base):
    """What a teacher kept of a class held without accounts; nothing is kept unasked."""

    __tablename__ = "teach_class"
    id: Mapped[int] = mapped_column(primary_key=True)
    title: Mapped[str] = mapped_column(String(120))
    results: Mapped[dict[str, Any]]
    held_by: Mapped[str] = mapped_column(String(60))
    held_at: Mapped[datetime] = mapped_column(default=now)


class TeachGroup(Base):
    """Learners who belong together. code: what they join by where they have no accounts.

    names: {"names": [...]}. closed_at: taken off the lists; its code is dead.
    """

    __tablename__ = "teach_group"
    id: Mapped[str] = mapped_column(String(16), primary_key=True)
    name: Mapped[str] = mapped_column(String(80))
    code: Mapped[str] = mapped_column(String(12), index=True)
    names: Mapped[dict[str, Any]]
    made_by: Mapped[str] = mapped_column(String(60))
    made_at: Mapped[datetime] = mapped_column(default=now)
    closed_at: Mapped[datetime | None] = mapped_column(default=None)


class TeachSeat(Base):
    """Which browser a learner without an account sits at. token_hash: of the browser's token."""

    __tablename__ = "teach_seat"
    token_hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    group: Mapped[str] = mapped_column(ForeignKey("teach_group.id", ondelete="CASCADE"), index=True)
    learner: Mapped[str] = mapped_column(String(60))
    taken_at: Mapped[datetime] = mapped_column(default=now)


LAYOUT = Layout("teaching", Base.metadata, Path(__file__).parent / "migrations")
