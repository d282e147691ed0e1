"""What is said of right now: the last seconds before the last minute, the worse of the two."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from ebbline.criteria.model import Level
from ebbline.live.bed import just_now, unseen_now
from ebbline.reading.four_lines import RightNow

RECOVERED = RightNow(
    Level.CAUTION,
    True,
    "146 bpm now, recovered; 1 deceleration in the last 10 min.",
    "146 bpm over the last minute; 1 deceleration in the last 10 min.",
)
QUIET = RightNow(
    Level.REASSURING,
    True,
    "141 bpm now; no deceleration in the last 10 min.",
    "141 bpm over the last minute; no deceleration in the last 10 min.",
)


@pytest.mark.parametrize("told", [RECOVERED, QUIET])
def test_a_rate_that_is_down_this_moment_is_said_first_and_not_called_recovered(
    told: RightNow,
) -> None:
    made = just_now(told, 67, 140.0)
    line = made.line
    assert (made.level, made.recovered) == (Level.CAUTION, False)
    assert line.startswith(f"67 bpm in the last 5 s; {told.line[:3]} bpm over the last minute;")
    assert " now" not in line and "recovered" not in line


def test_at_its_baseline_or_over_it_only_the_moment_is_called_now() -> None:
    """The page shows the rate of the last seconds beside the line: one of them is now."""
    for rate in (126, 140, 190):
        assert just_now(QUIET, rate, 140.0) == replace(QUIET, line=QUIET.of_the_minute)
    assert just_now(RECOVERED, 140, 140.0).line == (
        "146 bpm over the last minute, recovered; 1 deceleration in the last 10 min."
    )


def test_a_slow_rate_without_a_baseline_is_said_too() -> None:
    assert just_now(QUIET, 105, math.nan).level is Level.CAUTION
    assert just_now(QUIET, 112, math.nan).level is QUIET.level


def test_what_is_alarming_stays_as_it_is_said() -> None:
    told = RightNow(
        Level.ALARMING, False, "Not at its earlier level: 100 bpm now, baseline 140 before."
    )
    assert just_now(told, 67, 140.0) == replace(
        told,
        line="Not at its earlier level: 100 bpm over the last minute, baseline 140 before.",
    )


@pytest.mark.parametrize("told", [RECOVERED, QUIET])
def test_what_was_seen_a_while_ago_is_not_now_and_does_not_reassure(told: RightNow) -> None:
    made = unseen_now(told, 12.0)
    assert made.line.startswith(f"No rate for the last 12 s; {told.line[:3]} bpm over the minute ")
    assert " now" not in made.line and "recovered" not in made.line
    assert made.recovered is None
    assert made.level in (Level.NOT_ASSESSED, Level.CAUTION)
