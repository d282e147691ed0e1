"""What is said of right now: the last seconds before the last minute, the worse of the two."""

from __future__ import annotations

import math

import pytest

from ebbline.criteria.model import Level
from ebbline.reading.four_lines import LastMinute, Moment

LATELY = "; no deceleration in the last 10 min."
RECOVERED = LastMinute(Level.CAUTION, 146.0, "; 1 deceleration in the last 10 min.", recovered=True)
QUIET = LastMinute(Level.REASSURING, 141.0, LATELY)
LOWER = LastMinute(
    Level.ALARMING, 100.0, ", baseline 140 bpm before.", "Not at its earlier level: ", down=True
)


def moment(rate_bpm: float, baseline_bpm: float = 140.0, age_s: float = 0.0) -> Moment:
    return Moment(rate_bpm, 5, age_s, baseline_bpm)


@pytest.mark.parametrize("minute", [RECOVERED, QUIET])
def test_a_rate_that_is_down_this_moment_is_said_first_and_not_called_recovered(
    minute: LastMinute,
) -> None:
    made = minute.told(moment(67))
    assert (made.level, made.recovered) == (Level.CAUTION, False)
    assert made.line == (
        f"67 bpm in the last 5 s; {minute.bpm:.0f} bpm over the last minute{minute.tail}"
    )


def test_a_sinusoidal_pattern_keeps_its_alarm_and_hides_no_fall_of_this_moment() -> None:
    sine = LastMinute(Level.ALARMING, 136.0, LATELY, "Sinusoidal pattern for 40 min so far: ")
    made = sine.told(moment(70))
    assert (made.level, made.recovered) == (Level.ALARMING, False)
    assert made.line.startswith("70 bpm in the last 5 s; sinusoidal pattern for 40 min so far: ")
    assert sine.told(None).recovered is True


def test_at_its_baseline_or_over_it_only_the_moment_is_called_now() -> None:
    """The page shows the rate of the last seconds beside the line: one of them is now."""
    for rate in (126, 140, 190):
        made = QUIET.told(moment(rate))
        assert (made.level, made.recovered) == (Level.REASSURING, True)
        assert made.line == f"141 bpm over the last minute{LATELY}"
    assert RECOVERED.told(moment(140)).line == (
        "146 bpm over the last minute, recovered; 1 deceleration in the last 10 min."
    )


def test_at_the_end_of_a_recording_the_last_minute_is_now() -> None:
    assert QUIET.told(None).line == f"141 bpm now{LATELY}"
    assert RECOVERED.told(None).line == (
        "146 bpm now, recovered; 1 deceleration in the last 10 min."
    )


def test_a_slow_rate_without_a_baseline_is_said_too() -> None:
    assert QUIET.told(moment(105, math.nan)).level is Level.CAUTION
    assert QUIET.told(moment(112, math.nan)).level is QUIET.level


@pytest.mark.parametrize("rate", [67, 100, 139])
def test_what_is_alarming_stays_alarming_whatever_the_last_seconds_say(rate: float) -> None:
    made = LOWER.told(moment(rate))
    assert (made.level, made.recovered) == (Level.ALARMING, False)
    assert made.line == (
        "Not at its earlier level: 100 bpm over the last minute, baseline 140 bpm before."
    )
    unseen = LOWER.told(moment(rate, age_s=12.0))
    assert (unseen.level, unseen.recovered) == (Level.ALARMING, False)
    assert unseen.line == (
        "No rate for the last 12 s; not at its earlier level: 100 bpm over the minute before, "
        "baseline 140 bpm before."
    )


@pytest.mark.parametrize("minute", [RECOVERED, QUIET])
def test_what_was_seen_a_while_ago_is_not_now_and_does_not_reassure(minute: LastMinute) -> None:
    made = minute.told(moment(140, age_s=12.0))
    assert made.line.startswith(
        f"No rate for the last 12 s; {minute.bpm:.0f} bpm over the minute before;"
    )
    assert " now" not in made.line and "recovered" not in made.line
    assert made.recovered is None
    assert made.level in (Level.NOT_ASSESSED, Level.CAUTION)
