"""What a workbench stands on, looked over: compiled loops, store, disk, clock, zone, proxy."""

from __future__ import annotations

import importlib.util
import json
import os
import shutil
import sqlite3
import stat
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from email.utils import parsedate_to_datetime
from pathlib import Path
from urllib.parse import urlsplit

LEAST_FREE_BYTES = 1 << 30
"""Less free room than a gibibyte is told as wrong (ours)."""
CLOCK_WITHIN_S = 5.0
"""Clocks further apart than this put an entry in the wrong minute sooner or later (ours)."""


@dataclass(frozen=True, slots=True)
class Found:
    """One look. state: "well", "note" or "wrong"."""

    state: str
    what: str
    told: str
    remedy: str = ""


def look_over(store: Path, url: str = "") -> list[Found]:
    """Every look; one that fails by itself is told as wrong, and stops none of the others."""
    looks: list[tuple[str, Callable[[], Iterator[Found]]]] = [
        ("reading", _reading),
        ("store", lambda: _store(store)),
        ("disk", lambda: _disk(store)),
        ("clock", lambda: _clock(store)),
        ("zone", _zone),
        ("parts", _parts),
    ]
    if url:
        looks.append(("proxy", lambda: _proxy(url)))
    found: list[Found] = []
    for name, look in looks:
        try:
            found += look()
        except Exception as error:
            found.append(Found("wrong", name, f"{type(error).__name__}: {error}"))
    return found


def _reading() -> Iterator[Found]:
    from ebbline.compiled import compiled_here, places
    from ebbline.web.operations.health import read_a_little

    began = time.monotonic()
    read_a_little()
    took = time.monotonic() - began
    yield Found("well", "reading", f"a small trace was read in {took:.1f} s")
    where = sorted({str(place) for place in places()})
    fewer = where[0] if len(where) == 1 else f"{len(where)} places, the first {where[0]}"
    if compiled_here():
        yield Found(
            "note",
            "cache",
            f"loops had to be compiled first ({fewer})",
            "Run `ebbline compile` after installing, as whoever may write the installation.",
        )
    else:
        yield Found("well", "cache", f"loops are compiled and kept in {fewer}")


def _store(path: Path) -> Iterator[Found]:
    if not path.exists():
        yield Found("note", "store", f"{path} is not there yet; it is made at the first start")
        return
    mode = stat.S_IMODE(path.stat().st_mode)
    if mode & 0o077:
        yield Found(
            "wrong", "store", f"{path} can be read by others (mode {mode:o})", f"chmod 600 {path}"
        )
    if not os.access(path, os.W_OK):
        yield Found("wrong", "store", f"{path} may not be written", "Run as the service's account.")
    with closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as connection:
        said = connection.execute("PRAGMA quick_check(1)").fetchone()[0]
        accounts = connection.execute("SELECT count(*) FROM account").fetchone()[0]
    state = "well" if said == "ok" else "wrong"
    people = f"{accounts} {'account' if accounts == 1 else 'accounts'}"
    remedy = "" if said == "ok" else "Restore a backup."
    yield Found(state, "store", f"{path}: {said}, {people}", remedy)


def _disk(path: Path) -> Iterator[Found]:
    there = next(one for one in (path.parent, *path.parents) if one.exists())
    free = shutil.disk_usage(there).free
    told = f"{free / (1 << 30):.1f} GiB free at {there}"
    if free < LEAST_FREE_BYTES:
        yield Found("wrong", "disk", told, "Make room before a labour cannot be kept.")
    else:
        yield Found("well", "disk", told)


def _clock(path: Path) -> Iterator[Found]:
    """No clock of our own to hold it against: the newest file of the store must not lie ahead."""
    now = datetime.now(UTC)
    newest = max(
        (datetime.fromtimestamp(one.stat().st_mtime, UTC) for one in _kept_beside(path)),
        default=now,
    )
    ahead = newest - now
    if ahead > timedelta(seconds=CLOCK_WITHIN_S):
        yield Found(
            "wrong",
            "clock",
            f"it says {now:%Y-%m-%d %H:%M} UTC, and the store was written {ahead} later",
            "Set the clock, and keep it by NTP (timedatectl set-ntp true).",
        )
        return
    synced = Path("/run/systemd/timesync/synchronized").exists()
    by = "kept by systemd-timesyncd" if synced else "whether NTP keeps it is not seen from here"
    yield Found("well" if synced else "note", "clock", f"{now:%Y-%m-%d %H:%M:%S} UTC; {by}")


def _kept_beside(path: Path) -> list[Path]:
    return [one for one in path.parent.glob("*.sqlite*") if one.is_file()]


def _zone() -> Iterator[Found]:
    local = datetime.now().astimezone()
    name = os.environ.get("TZ") or _zone_name()
    told = f"{name or local.tzname()}, {local:%z} today"
    if not name:
        yield Found(
            "note",
            "zone",
            f"{told}; it has no name, so the change of summer time is not known",
            "Set it: timedatectl set-timezone Europe/Prague (or wherever the ward is).",
        )
    else:
        yield Found("well", "zone", told)


def _zone_name() -> str:
    parts = Path("/etc/localtime").resolve().parts
    return "/".join(parts[parts.index("zoneinfo") + 1 :]) if "zoneinfo" in parts else ""


def _parts() -> Iterator[Found]:
    from ebbline import __version__

    extras = {
        "parquet": "pyarrow",
        "frames": "pandas",
        "fhir": "fhir.resources",
        "teach": "fsrs",
        "unit": "nats",
        "archive": "duckdb",
        "paper": "cv2",
    }
    there = [name for name, module in extras.items() if _is_there(module)]
    yield Found("well", "parts", f"ebbline {__version__} with {', '.join(there) or 'no extras'}")


def _is_there(module: str) -> bool:
    try:
        return importlib.util.find_spec(module) is not None
    except ModuleNotFoundError:
        return False


def _proxy(url: str) -> Iterator[Found]:
    parts = urlsplit(url)
    if parts.scheme not in ("http", "https") or not parts.netloc:
        yield Found("wrong", "proxy", f"{url!r} is no address", "Write https://name or with :port.")
        return
    base = f"{parts.scheme}://{parts.netloc}"
    try:
        with urllib.request.urlopen(f"{base}/health", timeout=20) as answer:
            headers, told = answer.headers, json.load(answer)
    except urllib.error.HTTPError as error:
        words = "by that name it is not served" if error.code == 400 else "see the log"
        yield Found(
            "wrong",
            "proxy",
            f"{base}/health answers {error.code}: {words}",
            "The name must be given with --name, and the proxy must pass Host on ($http_host).",
        )
        return
    except (OSError, ValueError) as error:
        reason = getattr(error, "reason", error)
        yield Found("wrong", "proxy", f"{base} cannot be asked: {reason}", "Is it running?")
        return
    yield Found("well", "proxy", f"{base} answers: {told.get('state')}")
    if parts.scheme == "https" and not headers.get("strict-transport-security"):
        yield Found(
            "wrong",
            "proxy",
            "the workbench does not know that the connection is encrypted (no HSTS)",
            "Pass X-Forwarded-Proto on, and start with --proxy ADDRESS of the proxy.",
        )
    elif parts.scheme == "http" and parts.hostname not in ("127.0.0.1", "localhost", "::1"):
        yield Found("wrong", "proxy", "the address is not encrypted", "Put TLS before it.")
    if date := headers.get("date"):
        apart = abs((parsedate_to_datetime(date) - datetime.now(UTC)).total_seconds())
        if apart > CLOCK_WITHIN_S:
            yield Found("wrong", "clock", f"{apart:.0f} s from the proxy's", "Keep both by NTP.")
