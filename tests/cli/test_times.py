"""Times as typed: from the recording's start, or of its clock."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from ebbline.cli.times import time_s
from ebbline.errors import ContextError

START = datetime(2031, 3, 1, 23, 50, 30, tzinfo=UTC)


def parse(text: str, start: datetime | None = START, duration_s: float = 5400.0) -> float:
    return time_s(text, option="--from", start=start, duration_s=duration_s)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("0:30", 1800), ("1:00", 3600), ("1:05:30", 3930), (" 0:00 ", 0), ("23:59:59", 86399)],
)
def test_hours_and_minutes_count_from_the_start(text: str, seconds: float) -> None:
    assert parse(text) == seconds


@pytest.mark.parametrize(
    ("text", "seconds"), [("@23:50:30", 0), ("@23:51", 30), ("@0:10", 1170), ("@00:00:30", 600)]
)
def test_time_of_the_clock_is_found_after_the_start_and_over_midnight(
    text: str, seconds: float
) -> None:
    assert parse(text) == seconds


def test_clock_minute_in_which_the_recording_started_is_tomorrow_s() -> None:
    """23:50:00 lies half a minute before the start, so the next one is meant, and is outside."""
    assert parse("@23:50") == 86400 - 30


def test_time_of_the_clock_that_comes_twice_is_refused() -> None:
    with pytest.raises(ContextError, match="more than once"):
        parse("@23:55", duration_s=25 * 3600)


def test_time_of_the_clock_needs_a_recording_that_knows_its_start() -> None:
    with pytest.raises(ContextError, match="does not say when it started"):
        parse("@14:32", start=None)


@pytest.mark.parametrize(
    "text",
    ["", "30", "0:60", "-0:30", "1:2", "@24:00", "0:30:61", "nan", "1:00:00:00", "٠:٣٠", "@"],
)
def test_anything_else_is_no_time_and_the_option_is_named(text: str) -> None:
    with pytest.raises(ContextError, match=r"--from: .* is not a time"):
        parse(text)
