"""What the store keeps of recordings."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column

from ebbline.store import now
from ebbline.web.tables import Base


class StoredRecording(Base):
    """One opened recording. summary: what the list shows, so that it need not be read again."""

    __tablename__ = "recording"
    id: Mapped[str] = mapped_column(String(16), primary_key=True)
    name: Mapped[str] = mapped_column(String(120))
    opened_at: Mapped[datetime] = mapped_column(default=now)
    opened_by: Mapped[str] = mapped_column(String(60))
    invented: Mapped[bool]
    duration_s: Mapped[float]
    header: Mapped[dict[str, Any]]
    summary: Mapped[dict[str, Any]]


class StoredChannel(Base):
    """The samples of one channel: float64, little endian, zlib."""

    __tablename__ = "channel"
    recording_id: Mapped[str] = mapped_column(
        ForeignKey("recording.id", ondelete="CASCADE"), primary_key=True
    )
    number: Mapped[int] = mapped_column(primary_key=True)
    samples: Mapped[bytes] = mapped_column(LargeBinary)
