"""What the store keeps of accounts and sign-ins."""

from __future__ import annotations

from datetime import datetime

from sqlalchemy import ForeignKey, String
from sqlalchemy.orm import Mapped, mapped_column

from ebbline.store import now
from ebbline.web.tables import Base


class Account(Base):
    """Someone who may sign in. name_key: the name without regard to case, so that none is twice."""

    __tablename__ = "account"
    id: Mapped[int] = mapped_column(primary_key=True)
    name: Mapped[str] = mapped_column(String(60), unique=True)
    name_key: Mapped[str] = mapped_column(String(80), unique=True)
    role: Mapped[str] = mapped_column(String(10))
    password_hash: Mapped[str]
    created_at: Mapped[datetime] = mapped_column(default=now)
    disabled_at: Mapped[datetime | None] = mapped_column(default=None)


class SignIn(Base):
    """A server-side session. Only the hash of the browser's token is kept."""

    __tablename__ = "sign_in"
    token_hash: Mapped[str] = mapped_column(String(64), primary_key=True)
    account_id: Mapped[int] = mapped_column(ForeignKey("account.id", ondelete="CASCADE"))
    created_at: Mapped[datetime] = mapped_column(default=now)
    seen_at: Mapped[datetime] = mapped_column(default=now)
