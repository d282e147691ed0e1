"""The base of the workbench's own tables, and the facts about the store itself.

Rows are added to, or marked as withdrawn with who and when; what a person wrote is never
overwritten.
"""

from __future__ import annotations

from sqlalchemy import String
from sqlalchemy.orm import DeclarativeBase, Mapped, mapped_column

from ebbline.store import TYPES


class Base(DeclarativeBase):
    """All tables of the workbench's features; other packages have bases of their own."""

    type_annotation_map = TYPES


class Meta(Base):
    """Facts about the store itself."""

    __tablename__ = "meta"
    key: Mapped[str] = mapped_column(String(40), primary_key=True)
    value: Mapped[str]
