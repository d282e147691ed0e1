"""What the operator decides about a workbench: where it keeps things, who may come in, limits."""

from __future__ import annotations

import os
from dataclasses import dataclass, field
from pathlib import Path

MEBIBYTE = 1 << 20
LOOPBACK_NAMES = ("127.0.0.1", "localhost", "[::1]", "::1")


def default_store() -> Path:
    """Where the store lies when nothing is said: the user's own data directory."""
    base = os.environ.get("XDG_DATA_HOME") or str(Path.home() / ".local" / "share")
    return Path(base) / "ebbline" / "workbench.sqlite"


@dataclass(frozen=True, slots=True)
class Limits:
    """Bounds on what a browser may send.

    body_bytes: of an ordinary request; upload_bytes: of one upload; upload_files: files in one
    upload or archive; unpacked_bytes: of an archive when unpacked; samples: of all channels
    together; session_s: how long a sign-in lasts; idle_s: without a request.
    """

    body_bytes: int = 1 * MEBIBYTE
    upload_bytes: int = 64 * MEBIBYTE
    upload_files: int = 16
    unpacked_bytes: int = 256 * MEBIBYTE
    samples: int = 20_000_000
    session_s: int = 12 * 3600
    idle_s: int = 2 * 3600


@dataclass(frozen=True, slots=True)
class Settings:
    """One workbench. store: path of the SQLite file. accounts: people must sign in.

    record: where the labour record lies, a path or a postgresql:// address; beside the store when
    empty. live: where live samples lie, likewise. nats: address of the NATS server that the
    processes of a unit share. notices: path of a unit's own policy of notices. mllp: port on which
    HL7 v2 is taken, 0 for none. names: host names by which browsers may call it (against DNS
    rebinding). classes_only: what comes from beyond this computer reaches the pages of classes and
    nothing else. reach: addresses under which phones reach it ("http://192.0.2.7:8722").
    """

    store: Path
    accounts: bool = False
    names: tuple[str, ...] = LOOPBACK_NAMES
    limits: Limits = field(default_factory=Limits)
    record: str = ""
    live: str = ""
    nats: str = ""
    notices: str = ""
    mllp: int = 0
    classes_only: bool = False
    reach: tuple[str, ...] = ()
