"""What the store keeps of examinations."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column

from ebbline.store import now
from ebbline.web.tables import Base


class StoredExamination(Base):
    """What the hands found, with a recording or alone; each saving is a row of its own."""

    __tablename__ = "examination"
    id: Mapped[int] = mapped_column(primary_key=True)
    recording_id: Mapped[str | None] = mapped_column(
        ForeignKey("recording.id", ondelete="CASCADE"), index=True
    )
    answers: Mapped[dict[str, Any]]
    author: Mapped[str] = mapped_column(String(60))
    made_at: Mapped[datetime] = mapped_column(default=now)
