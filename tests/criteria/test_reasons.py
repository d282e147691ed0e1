"""What a class says beside its word: numbers, stretches, edges that a small fault would spoil."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from criteria.build import (
    Trace,
    acceleration,
    contractions,
    gradual,
    judged,
    late,
    mother,
    rules_of,
    sinusoidal,
    trace,
    variable,
)
from ebbline.criteria import TABLES
from ebbline.criteria.model import Classification, Reason, Standard
from ebbline.criteria.variability_runs import MinuteTrack, _median_of_three
from ebbline.criteria.window_view import window_facts
from ebbline.features.findings import Curve
from ebbline.recording.model import Context
from ebbline.terms import SensorKind, Stage, Window

BEFORE_LABOUR = Context(weeks=39.0, stage=Stage.ANTEPARTUM)


def stated(found: Classification, rule: str) -> Reason:
    (one,) = [reason for reason in found.reasons if reason.rule == rule]
    return one


def test_a_catheters_hills_are_never_doubtful() -> None:
    """Five and a little in ten minutes: one hill fewer would be no amber."""
    squeezes = [replace(one, certainty=0.2) for one in contractions(40, every_s=116.0)]
    found = judged(Standard.NICE, trace(40, uterus=squeezes, sensor=SensorKind.PRESSURE_CATHETER))
    assert "nice-contractions-amber" in rules_of(found)


def test_without_an_activity_channel_no_good_word_is_said_of_contractions() -> None:
    found = judged(Standard.NICE, trace(40, present=False))
    assert "nice-contractions-white" not in rules_of(found)


def test_how_many_falls_are_told_apart_from_prolonged_ones() -> None:
    squeezes = contractions(40)
    falls = [late(squeezes[4]), late(squeezes[6])]
    said = stated(
        judged(Standard.NICHD, trace(40, uterus=squeezes, decelerations=falls)), "nichd-late"
    )
    assert "2 in the window, the deepest 25 bpm" in said.text
    assert "prolonged" not in said.text
    long = variable(squeezes[5], duration_s=150.0, depth=40.0)
    found = judged(Standard.NICHD, trace(40, uterus=squeezes, decelerations=[long]))
    assert "1 in the window, the deepest 40 bpm" in stated(found, "nichd-prolonged").text


def test_a_prolonged_fall_is_told_by_nichd_with_no_other_fall_beside_it() -> None:
    fall = variable(1500.0, duration_s=150.0)
    found = judged(Standard.NICHD, trace(40, decelerations=[fall]))
    assert stated(found, "nichd-prolonged").value == 2.5
    assert "nichd-prolonged" not in rules_of(judged(Standard.NICHD, trace(40)))


def test_ten_minutes_count_for_a_window_that_holds_half_of_them() -> None:
    findings = trace(40)
    assert len(window_facts(findings, Window(0.0, 660.0)).levels.variabilities) == 1
    assert len(window_facts(findings, Window(0.0, 900.0)).levels.variabilities) == 2, "exactly half"


def test_of_two_undulations_the_longer_is_told() -> None:
    findings = trace(60, undulation=[sinusoidal(600.0, 1500.0), sinusoidal(1800.0, 3300.0)])
    found = window_facts(findings, Window(0.0, 3600.0)).longest_sinusoidal()
    assert found is not None
    assert found[0] == 1500.0


def test_an_undulation_has_lasted_until_the_windows_end_and_no_longer() -> None:
    findings = trace(60, undulation=[sinusoidal(600.0, 3000.0)])
    found = window_facts(findings, Window(0.0, 1800.0)).longest_sinusoidal()
    assert found is not None
    assert found[0] == 1200.0


def test_a_sinusoidal_pattern_is_told_in_minutes() -> None:
    found = judged(Standard.NICE, trace(60, undulation=[sinusoidal(600.0, 3600.0)]))
    assert stated(found, "nice-sinusoidal").value == 50.0


def test_an_edge_is_told_only_where_it_would_change_the_class() -> None:
    """161 bpm is a beat over tachycardia, and the window is pathological by other reasons."""
    flat = judged(Standard.FIGO, trace(70, baseline=161.0, bandwidth=3.0), minutes=60.0)
    assert flat.label == "pathological"
    assert not any("160" in edge for edge in flat.edge)
    alone = judged(Standard.FIGO, trace(40, baseline=161.0))
    assert any("160" in edge for edge in alone.edge)


def test_three_minutes_are_enough_for_a_median() -> None:
    assert _median_of_three(np.array([1.0, 9.0, 2.0])).tolist() == [1.0, 2.0, 2.0]


def test_a_run_that_ends_where_the_window_begins_is_not_in_it() -> None:
    track = MinuteTrack(Curve(0.0, 60.0, np.array([3.0] * 10 + [12.0] * 10)))
    runs = track.runs(np.array([True] * 10 + [False] * 10))
    assert track.longest(runs, Window(600.0, 1200.0)) is None
    assert track.longest(runs, Window(540.0, 1200.0)) is not None


@pytest.mark.parametrize(
    ("hers", "counted"),
    [((1000.0, 1200.0), True), ((900.0, 1015.0), False), ((900.0, 970.0), True)],
)
def test_an_acceleration_is_doubted_only_where_the_mothers_rate_is_suspected(
    hers: tuple[float, float], counted: bool
) -> None:
    """The second of two ends where the suspicion begins, lies within it, or begins at its end."""
    lifts = [acceleration(600.0), acceleration(985.0)]
    findings = trace(40, uterus=(), accelerations=lifts, artefacts=[mother(*hers)])
    found = judged(Standard.NST, findings, minutes=40.0, context=BEFORE_LABOUR)
    assert ("nst-accelerations" in rules_of(found)) is counted


def test_how_much_of_a_run_was_not_measured_is_told_in_minutes() -> None:
    """FIGO 2015, reduced for more than 50 min: 45 measured and 8 not."""
    band = [3.0] * 25 + [float("nan")] * 8 + [3.0] * 27
    found = judged(Standard.FIGO, trace(60, bandwidth=band), minutes=30.0)
    assert any("variability of 8 min within a run" in what for what in found.not_assessed)


def test_measured_minutes_are_counted_within_the_window() -> None:
    assert window_facts(trace(40), Window(1200.0, 1800.0)).levels.measured_minutes == 10.0


def test_lasting_variable_falls_are_told_in_minutes() -> None:
    squeezes = contractions(70)
    falls = [variable(one, duration_s=70.0) for one in squeezes[1::3]]
    found = judged(Standard.NICE, trace(70, uterus=squeezes, decelerations=falls), minutes=60.0)
    said = stated(found, "nice-variable-lasting")
    assert 30.0 < said.value < 70.0


def test_every_line_of_nice_is_cited_with_its_section() -> None:
    own = [rule for rule in TABLES[Standard.NICE].rules if "NICE" in rule.source.full]
    assert len(own) > 20
    assert all("1.4" in rule.citation for rule in own)


@pytest.mark.parametrize(("seen_s", "told"), [(60, True), (59, False)])
def test_a_minute_of_rate_is_enough_to_say_how_much_of_it_was_slow(seen_s: int, told: bool) -> None:
    rate = [90.0] * seen_s + [float("nan")] * (2400 - seen_s)
    share = window_facts(Trace(40, rate=rate).findings(), Window(0.0, 2400.0)).slow_share
    assert (share == 1.0) if told else np.isnan(share)


def test_falls_without_a_contraction_leave_variable_ones_told() -> None:
    """Gradual ones may be late, and make lateness untold; never whether variable ones recur."""
    squeezes = contractions(40)
    falls = [variable(squeezes[4]), *(gradual(one.peak_s + 110.0) for one in squeezes[3:9])]
    found = judged(Standard.NICHD, trace(40, uterus=squeezes, decelerations=falls))
    assert any("late decelerations are recurrent" in what for what in found.not_assessed)
    assert not any("variable decelerations are recurrent" in what for what in found.not_assessed)
