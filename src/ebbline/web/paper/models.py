"""What the store keeps of strips on paper: the pictures, and what persons said of them."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from sqlalchemy import ForeignKey, LargeBinary, String
from sqlalchemy.orm import Mapped, mapped_column

from ebbline.store import now
from ebbline.web.tables import Base


class StoredPaper(Base):
    """One strip on paper, in one picture or several that follow one another."""

    __tablename__ = "paper"
    id: Mapped[str] = mapped_column(String(16), primary_key=True)
    name: Mapped[str] = mapped_column(String(120))
    opened_at: Mapped[datetime] = mapped_column(default=now)
    opened_by: Mapped[str] = mapped_column(String(60))


class StoredPicture(Base):
    """One picture as it was sent, or one page of a file as PNG. width, height: px, upright."""

    __tablename__ = "paper_picture"
    paper_id: Mapped[str] = mapped_column(
        ForeignKey("paper.id", ondelete="CASCADE"), primary_key=True
    )
    number: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(120))
    width: Mapped[int]
    height: Mapped[int]
    content: Mapped[bytes] = mapped_column(LargeBinary)


class PaperSaid(Base):
    """What one person said of a strip at one time: answers and corrections; the last holds.

    version: 0, 1, 2 for each strip. Two who save on the same version cannot both be kept: the key
    refuses the second. recording_id: the recording that was made of this version, if one was.
    """

    __tablename__ = "paper_said"
    paper_id: Mapped[str] = mapped_column(
        ForeignKey("paper.id", ondelete="CASCADE"), primary_key=True
    )
    version: Mapped[int] = mapped_column(primary_key=True)
    said: Mapped[dict[str, Any]]
    author: Mapped[str] = mapped_column(String(60))
    made_at: Mapped[datetime] = mapped_column(default=now)
    recording_id: Mapped[str | None] = mapped_column(
        ForeignKey("recording.id", ondelete="SET NULL"), index=True, default=None
    )
