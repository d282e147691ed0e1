"""The tables of the live store."""

from __future__ import annotations

from sqlalchemy import (
    BigInteger,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

LAYOUT = 1

METADATA = MetaData()

_NUMBER = BigInteger().with_variant(Integer, "sqlite")

layout = Table("live_layout", METADATA, Column("version", Integer, primary_key=True))

labour = Table(
    "live_labour",
    METADATA,
    Column("id", String(32), primary_key=True),
    Column("bed", String(40), nullable=False),
    Column("case_number", String(40), nullable=False),
    Column("started_at", Float, nullable=False),
    Column("context", Text, nullable=False),
    Column("closed_at", Float),
    Column("owner", String(80), nullable=False, default=""),
    Column("epoch", Integer, nullable=False, default=0),
    Column("lease_until", Float, nullable=False, default=0.0),
    Column("watch", Text, nullable=False, default="{}"),
    Column("by_trace", Integer, nullable=False, default=0),
)
"""A labour on a bed. Times: seconds since 1970, UTC. by_trace: its time is how far its trace has
come, not the clock's (a recording that is replayed). owner, epoch, lease_until: the process that
reads it now; each change of owner raises the epoch, and what a former owner writes is refused."""

device = Table(
    "live_device",
    METADATA,
    Column("token_hash", String(64), primary_key=True),
    Column("bed", String(40), nullable=False),
    Column("name", String(60), nullable=False),
    Column("made_at", Float, nullable=False),
    Column("withdrawn_at", Float),
)
"""A device that may send for a bed. Only the hash of its token is kept."""

packet = Table(
    "live_packet",
    METADATA,
    Column("number", _NUMBER, primary_key=True, autoincrement=True),
    Column("labour", ForeignKey("live_labour.id"), nullable=False),
    Column("kind", Integer, nullable=False),
    Column("fetus", Integer, nullable=False),
    Column("sensor", Integer, nullable=False),
    Column("rate_hz", Float, nullable=False),
    Column("first", BigInteger, nullable=False),
    Column("count", Integer, nullable=False),
    Column("data", LargeBinary, nullable=False),
    Column("checksum", BigInteger, nullable=False),
    Column("received_at", Float, nullable=False),
    Index("live_packet_of", "labour", "number"),
    sqlite_autoincrement=True,
)
"""Samples as they were received: float64, little endian, with their CRC-32."""

chunk = Table(
    "live_chunk",
    METADATA,
    Column("labour", ForeignKey("live_labour.id"), primary_key=True),
    Column("kind", Integer, primary_key=True),
    Column("fetus", Integer, primary_key=True),
    Column("first", BigInteger, primary_key=True),
    Column("count", Integer, nullable=False),
    Column("sensor", Integer, nullable=False),
    Column("rate_hz", Float, nullable=False),
    Column("data", LargeBinary, nullable=False),
    Column("checksum", String(64), nullable=False),
)
"""Ten minutes of one channel, packed: float64, little endian, zlib; SHA-256 of the packed bytes."""

checkpoint = Table(
    "live_checkpoint",
    METADATA,
    Column("labour", ForeignKey("live_labour.id"), primary_key=True),
    Column("at_s", Float, nullable=False),
    Column("data", LargeBinary, nullable=False),
)
"""The final findings of a labour: JSON, zlib."""

notice = Table(
    "live_notice",
    METADATA,
    Column("id", _NUMBER, primary_key=True, autoincrement=True),
    Column("labour", ForeignKey("live_labour.id"), nullable=False),
    Column("kind", String(40), nullable=False),
    Column("grade", String(120), nullable=False),
    Column("from_s", Float, nullable=False),
    Column("at_s", Float, nullable=False),
    Column("raised_at", Float, nullable=False),
    Column("urgency", String(20), nullable=False),
    Column("text", Text, nullable=False),
    Column("rule", Text, nullable=False),
    Column("acknowledged_at", Float),
    Column("acknowledged_by", String(60)),
    Column("escalated_at", Float),
    UniqueConstraint("labour", "kind", "grade", "at_s"),
    sqlite_autoincrement=True,
)
"""A prompt to look. It is added once; who saw it and when it was passed on are filled in once."""
