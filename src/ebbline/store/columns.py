"""Types of columns that every store shares."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import Any

from sqlalchemy import JSON, DateTime
from sqlalchemy.types import TypeDecorator


class UtcTime(TypeDecorator[datetime]):
    """A time-zone-aware time; kept without the zone, which is always UTC here."""

    impl = DateTime
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Any) -> datetime | None:
        """To UTC, without the zone."""
        return None if value is None else value.astimezone(UTC).replace(tzinfo=None)

    def process_result_value(self, value: datetime | None, dialect: Any) -> datetime | None:
        """With the zone again."""
        return None if value is None else value.replace(tzinfo=UTC)


TYPES: dict[Any, Any] = {datetime: UtcTime, dict[str, Any]: JSON}
"""For `type_annotation_map` of a package's declarative base."""


def now() -> datetime:
    """The present, time-zone-aware."""
    return datetime.now(UTC)
