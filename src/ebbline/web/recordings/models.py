"""What the store keeps of recordings."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column

from ebbline.store import now
from ebbline.web.tables import Base


class StoredRecording(Base):
    """One opened recording.

    header: as it was opened. summary: what the list shows, so that it need not be read again.
    digest: of samples and times, to notice the same recording opened twice.
    """

    __tablename__ = "recording"
    id: Mapped[str] = mapped_column(String(16), primary_key=True)
    name: Mapped[str] = mapped_column(String(120))
    opened_at: Mapped[datetime] = mapped_column(default=now)
    opened_by: Mapped[str] = mapped_column(String(60))
    invented: Mapped[bool]
    duration_s: Mapped[float]
    header: Mapped[dict[str, Any]]
    summary: Mapped[dict[str, Any]]
    digest: Mapped[str] = mapped_column(String(64), default="", index=True)


class StoredChannel(Base):
    """The samples of one channel: float64, little endian, zlib."""

    __tablename__ = "channel"
    recording_id: Mapped[str] = mapped_column(
        ForeignKey("recording.id", ondelete="CASCADE"), primary_key=True
    )
    number: Mapped[int] = mapped_column(primary_key=True)
    samples: Mapped[bytes] = mapped_column(LargeBinary)


class RecordingName(Base):
    """A name given to a recording later, with who and when, and the name it had."""

    __tablename__ = "recording_name"
    id: Mapped[int] = mapped_column(primary_key=True)
    recording_id: Mapped[str] = mapped_column(
        ForeignKey("recording.id", ondelete="CASCADE"), index=True
    )
    name: Mapped[str] = mapped_column(String(120))
    before: Mapped[str] = mapped_column(String(120))
    author: Mapped[str] = mapped_column(String(60))
    made_at: Mapped[datetime] = mapped_column(default=now)


class KnownLabour(Base):
    """What is known of the labour, as one person said it at one time; the last version holds.

    version: 1, 2, 3 for each recording; 0 is what came with the file. Two who save on the same
    version cannot both be kept: the key refuses the second.
    """

    __tablename__ = "known_labour"
    recording_id: Mapped[str] = mapped_column(
        ForeignKey("recording.id", ondelete="CASCADE"), primary_key=True
    )
    version: Mapped[int] = mapped_column(primary_key=True)
    context: Mapped[dict[str, Any]]
    author: Mapped[str] = mapped_column(String(60))
    made_at: Mapped[datetime] = mapped_column(default=now)


class BlindReading(Base):
    """From when to when a reader read a recording with everything computed hidden.

    broken_at: when the reader looked; None while it lasts.
    """

    __tablename__ = "blind_reading"
    id: Mapped[int] = mapped_column(primary_key=True)
    recording_id: Mapped[str] = mapped_column(
        ForeignKey("recording.id", ondelete="CASCADE"), index=True
    )
    reader: Mapped[str] = mapped_column(String(60))
    begun_at: Mapped[datetime] = mapped_column(default=now)
    broken_at: Mapped[datetime | None] = mapped_column(default=None)
