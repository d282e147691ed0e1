"""The log: one line an event, for people or (JSON) for programs.

What it holds: when, which event, the account, the address, the pattern of the page's address, the
status. What it never holds: names or case numbers of women, what was written, passwords, the name
that somebody tried to sign in with (people type passwords there).
"""

from __future__ import annotations

import json
import logging
import sys
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

EVENTS = logging.getLogger("ebbline.events")
_FIELDS = "ebbline_fields"


def event(what: str, *, level: int = logging.INFO, **told: Any) -> None:
    """Log an event: what happened in a few words, and what is told of it."""
    EVENTS.log(level, what, extra={_FIELDS: told})


class _Lines(logging.Formatter):
    """time level event key=value ..."""

    def format(self, record: logging.LogRecord) -> str:
        told = " ".join(f"{key}={_short(one)}" for key, one in _told(record).items())
        line = f"{_time(record)} {record.levelname.lower()} {record.getMessage()} {told}".rstrip()
        return line if not record.exc_info else f"{line}\n{self.formatException(record.exc_info)}"


class _Json(logging.Formatter):
    """One JSON object a line."""

    def format(self, record: logging.LogRecord) -> str:
        made: dict[str, Any] = {
            "time": _time(record),
            "level": record.levelname.lower(),
            "event": record.getMessage(),
            **_told(record),
        }
        if record.exc_info:
            made["fault"] = self.formatException(record.exc_info)
        return json.dumps(made, ensure_ascii=False, default=str)


def _told(record: logging.LogRecord) -> dict[str, Any]:
    found: dict[str, Any] = getattr(record, _FIELDS, {})
    return found


def _time(record: logging.LogRecord) -> str:
    return datetime.fromtimestamp(record.created, UTC).isoformat(timespec="milliseconds")


def _short(value: Any) -> str:
    text = str(value)
    return json.dumps(text, ensure_ascii=False) if " " in text or not text else text


def configure(*, as_json: bool = False, file: Path | None = None) -> None:
    """Send the log to stderr, or to a file that only its owner reads. Raises OSError.

    A file is opened anew when it was moved away, so that logrotate needs no signal.
    """
    import logging.handlers

    handler: logging.Handler = logging.StreamHandler(sys.stderr)
    if file is not None:
        file.touch(mode=0o600, exist_ok=True)
        handler = logging.handlers.WatchedFileHandler(file, encoding="utf-8")
    handler.setFormatter(_Json() if as_json else _Lines())
    for name, level in (("ebbline", logging.INFO), ("uvicorn", logging.WARNING)):
        logger = logging.getLogger(name)
        logger.handlers = [handler]
        logger.setLevel(level)
        logger.propagate = False
