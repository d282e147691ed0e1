"""What the store keeps of readers: their marks and corrections."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column

from ebbline.store import now
from ebbline.web.tables import Base


class Mark(Base):
    """A reader's own mark or note on a strip, beside the computed findings.

    kind: one of marks.KINDS. turn_s: nadir or peak. value: bpm, where the kind has one.
    blind: made while nothing computed was shown.
    """

    __tablename__ = "mark"
    id: Mapped[int] = mapped_column(primary_key=True)
    recording_id: Mapped[str] = mapped_column(
        ForeignKey("recording.id", ondelete="CASCADE"), index=True
    )
    fetus: Mapped[int]
    kind: Mapped[str] = mapped_column(String(40))
    start_s: Mapped[float]
    turn_s: Mapped[float | None]
    end_s: Mapped[float]
    value: Mapped[float | None]
    note: Mapped[str] = mapped_column(String(1000))
    author: Mapped[str] = mapped_column(String(60))
    made_at: Mapped[datetime] = mapped_column(default=now)
    withdrawn_at: Mapped[datetime | None] = mapped_column(default=None)
    withdrawn_by: Mapped[str | None] = mapped_column(String(60), default=None)
    blind: Mapped[bool] = mapped_column(default=False)


class Correction(Base):
    """One change a reader made to the computed findings; withdrawn, never deleted."""

    __tablename__ = "correction"
    id: Mapped[int] = mapped_column(primary_key=True)
    recording_id: Mapped[str] = mapped_column(
        ForeignKey("recording.id", ondelete="CASCADE"), index=True
    )
    fetus: Mapped[int]
    change: Mapped[dict[str, Any]]
    author: Mapped[str] = mapped_column(String(60))
    made_at: Mapped[datetime] = mapped_column(default=now)
    withdrawn_by: Mapped[str | None] = mapped_column(String(60), default=None)
    withdrawn_at: Mapped[datetime | None] = mapped_column(default=None)
