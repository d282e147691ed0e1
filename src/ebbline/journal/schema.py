"""The tables of the record. The steps that make them stand in `migrations`."""

from __future__ import annotations

from sqlalchemy import (
    Column,
    ForeignKey,
    Integer,
    MetaData,
    PrimaryKeyConstraint,
    String,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData()

opening = Table(
    "journal_case",
    metadata,
    Column("number", Integer, primary_key=True, autoincrement=False),
    Column("case", String(26), nullable=False, unique=True),
    Column("opened_at", String(40), nullable=False),
    Column("opened_by", String(60), nullable=False),
    Column("previous", String(64), nullable=False),
    Column("hash", String(64), nullable=False),
)
"""One row for each case. Times are ISO 8601 text with their zone, so that the hash of what is
read is the hash of what was written, on every database."""

entry = Table(
    "journal_entry",
    metadata,
    Column("case", String(26), ForeignKey("journal_case.case"), nullable=False),
    Column("number", Integer, nullable=False),
    Column("kind", String(20), nullable=False),
    Column("body", Text, nullable=False),
    Column("at", String(40), nullable=False),
    Column("written_at", String(40), nullable=False),
    Column("author", String(60), nullable=False),
    Column("corrects", Integer),
    Column("token", String(64), nullable=False),
    Column("previous", String(64), nullable=False),
    Column("hash", String(64), nullable=False),
    PrimaryKeyConstraint("case", "number"),
    UniqueConstraint("case", "token"),
    UniqueConstraint("case", "corrects"),
)
"""One row for each entry. `corrects` is unique within a case: an entry is corrected once, and a
second thought corrects the correction."""
