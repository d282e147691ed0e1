"""What is said beside a class, with its numbers: of several the one that matters, in its unit."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from criteria.build import (
    contractions,
    deceleration,
    early,
    gradual,
    judged,
    late,
    rules_of,
    sinusoidal,
    trace,
    variable,
)
from ebbline.criteria import TABLES
from ebbline.criteria.classification_builder import ClassBuilder
from ebbline.criteria.model import Classification, Reason, Standard
from ebbline.criteria.tables import nichd
from ebbline.criteria.window_view import clock, stretch, window_facts
from ebbline.features.findings import BaselineChange, DecelerationKind, Findings
from ebbline.features.window import BEGIN_TOGETHER_S
from ebbline.recording.model import Context
from ebbline.terms import SensorKind, Stage, Window

LABOUR = (Standard.NICHD, Standard.FIGO, Standard.NICE)


def stated(found: Classification, rule: str) -> Reason:
    (one,) = [reason for reason in found.reasons if reason.rule == rule]
    return one


# ---------------------------------------------------------------- baseline


@pytest.mark.parametrize(
    ("standard", "fast", "slow"),
    [
        (Standard.NICHD, "nichd-tachycardia", "nichd-bradycardia"),
        (Standard.FIGO, "figo-baseline-tachycardia", "figo-baseline-bradycardia"),
        (Standard.NICE, "nice-baseline-red-fast", "nice-baseline-amber"),
    ],
)
def test_of_several_baselines_the_fastest_and_the_slowest_are_held_against_the_lines(
    standard: Standard, fast: str, slow: str
) -> None:
    """NICHD 2008, FIGO 2015: over 160, under 110 bpm; NICE NG229: over 160, 100 to 109 bpm."""
    found = judged(standard, trace(30, baseline=[140.0, 175.0, 150.0]))
    assert stated(found, fast).value == 175.0
    found = judged(standard, trace(30, baseline=[140.0, 105.0, 135.0]))
    assert stated(found, slow).value == 105.0


def test_nice_a_rise_is_told_from_where_to_where() -> None:
    """NICE NG229 1.4: a rise of 20 bpm or more from the start of labour or an hour ago."""
    levels = [120.0, 122.0, 125.0, 130.0, 135.0, 145.0, 150.0, 145.0]
    found = judged(Standard.NICE, trace(80, baseline=levels))
    said = stated(found, "nice-baseline-rise")
    assert said.value == 30.0
    assert "from 120 to 150 bpm" in said.text
    assert said.evidence == (Window(3600.0, 4200.0),)


def test_figo_a_slow_baseline_is_suspicious_or_pathological_never_both() -> None:
    """FIGO 2015: under 100 bpm pathological; 100 to 109 suspicious."""
    low = rules_of(judged(Standard.FIGO, trace(30, baseline=103.0)))
    assert "figo-baseline-bradycardia" in low
    assert "figo-baseline-pathological" not in low
    slow = rules_of(judged(Standard.FIGO, trace(30, baseline=95.0)))
    assert "figo-baseline-pathological" in slow
    assert "figo-baseline-bradycardia" not in slow


# ---------------------------------------------------------------- variability


@pytest.mark.parametrize("band", [(4.0, 12.0), (12.0, 28.0)])
def test_nice_one_half_hour_out_of_5_to_25_bpm_is_not_called_white(
    band: tuple[float, float],
) -> None:
    """NICE NG229: white is 5 to 25 bpm; it must hold for the least and the greatest half hour."""
    each = [band[0]] * 32 + [band[1]] * 32
    found = judged(Standard.NICE, trace(64, bandwidth=each), minutes=64.0)
    assert "nice-variability-white" not in rules_of(found)


@pytest.mark.parametrize("band", [(4.0, 12.0), (12.0, 28.0)])
def test_figo_one_half_hour_out_of_5_to_25_bpm_is_not_called_normal(
    band: tuple[float, float],
) -> None:
    each = [band[0]] * 32 + [band[1]] * 32
    found = judged(Standard.FIGO, trace(64, bandwidth=each), minutes=64.0)
    assert "figo-variability-normal" not in rules_of(found)


def test_the_least_half_hour_is_shown_where_it_was() -> None:
    # Under twice as wide: no minute is strange beside the others, and left out for that.
    each = [8.0] * 30 + [4.0] * 30 + [8.0] * 30
    facts = window_facts(trace(90, bandwidth=each), Window(0.0, 5400.0))
    (low, low_at), (high, high_at) = facts.levels.mean_bandwidths
    assert (low, low_at) == (4.0, Window(1800.0, 3600.0))
    assert (high, high_at) == (8.0, Window(0.0, 1800.0))


def test_nice_a_short_undulation_is_told_in_minutes_and_keeps_the_class_open() -> None:
    found = judged(Standard.NICE, trace(40, undulation=[sinusoidal(1800.0, 2280.0)]))
    assert found.refused
    assert any("has lasted 8 min by the window's end" in why for why in found.refusal)


# ---------------------------------------------------------------- decelerations


@pytest.mark.parametrize("standard", LABOUR)
def test_of_two_prolonged_falls_the_longest_is_told_and_both_are_counted(
    standard: Standard,
) -> None:
    falls = [variable(900.0, duration_s=150.0), variable(1700.0, duration_s=270.0)]
    found = judged(standard, trace(40, decelerations=falls), minutes=40.0)
    assert any("2 prolonged falls in the window, of 4.5, 2.5 min" in one for one in found.beyond)
    rule = {
        Standard.NICHD: "nichd-prolonged",
        Standard.FIGO: "figo-decelerations-prolonged",
        Standard.NICE: "nice-prolonged",
    }[standard]
    assert stated(found, rule).value == 4.5


@pytest.mark.parametrize("standard", LABOUR)
def test_one_prolonged_fall_beside_the_best_class_is_said_above_it(standard: Standard) -> None:
    fall = variable(900.0, duration_s=150.0)
    found = judged(standard, trace(40, decelerations=[fall]), minutes=40.0)
    told = any("1 prolonged fall in the window" in one for one in found.beyond)
    best = found.rank == 0 or found.at_best != "" or found.refused
    assert told is best


@pytest.mark.parametrize(
    ("standard", "rule"),
    [(Standard.FIGO, "figo-decelerations-long"), (Standard.NICE, "nice-decelerations-long")],
)
def test_a_fall_of_over_a_minute_that_the_window_ends_in_is_not_the_best_class(
    standard: Standard, rule: str
) -> None:
    """How long it will last is not known (ours)."""
    open_for = {s: variable(2400.0 - s + 10.0, duration_s=300.0) for s in (59.0, 61.0)}
    for seconds, fall in open_for.items():
        found = judged(standard, trace(45, decelerations=[fall]), window=Window(0.0, 2400.0))
        assert (rule in rules_of(found)) is (seconds > 60.0)
        assert (found.rank == 0) is (seconds < 60.0)
        assert any(f"a fall of {seconds:.0f} s so far" in one for one in found.beyond)


def test_nice_red_runs_are_told_in_minutes() -> None:
    """NICE NG229: repetitive late decelerations for 30 minutes or more."""
    squeezes = contractions(70)
    falls = [late(one) for one in squeezes]
    found = judged(Standard.NICE, trace(70, uterus=squeezes, decelerations=falls), minutes=60.0)
    assert 30.0 <= stated(found, "nice-late-red").value <= 70.0
    falls = [variable(one, duration_s=70.0) for one in squeezes]
    found = judged(Standard.NICE, trace(70, uterus=squeezes, decelerations=falls), minutes=60.0)
    assert 30.0 <= stated(found, "nice-variable-red").value <= 70.0


@pytest.mark.parametrize(
    ("standard", "rule"),
    [(Standard.NICE, "nice-late-red"), (Standard.FIGO, "figo-decelerations-late-30")],
)
def test_of_a_pattern_that_is_over_it_is_said_when_its_last_fall_was(
    standard: Standard, rule: str
) -> None:
    """It weighs by how long it lasted (NICE NG229; FIGO 2015); that it goes on is not said."""
    squeezes = contractions(80)
    for upto_s, over in ((65.0 * 60.0, True), (75.0 * 60.0, False)):
        falls = [late(one) for one in squeezes if late(one).end_s < upto_s]
        found = judged(standard, trace(80, uterus=squeezes, decelerations=falls), minutes=30.0)
        told = f"the last over at {clock(falls[-1].end_s)}" in stated(found, rule).text
        assert told is over, falls[-1].end_s


def test_nice_each_kind_of_concerning_sign_is_counted() -> None:
    squeezes = contractions(70)
    falls = [variable(one, duration_s=70.0, slow_return=i < 5) for i, one in enumerate(squeezes)]
    found = judged(Standard.NICE, trace(70, uterus=squeezes, decelerations=falls), minutes=70.0)
    text = stated(found, "nice-variable-red").text
    assert f"{len(falls)} " in text
    assert "5 " in text


@pytest.mark.parametrize(
    ("standard", "fewer", "more"),
    [
        # NICHD 2008: recurrent with half or more of the contractions in 20 minutes.
        (Standard.NICHD, (2, 4), (1, 4)),
        # FIGO 2015, NICE NG229: repetitive with more than half.
        (Standard.FIGO, (3, 4), (2, 4)),
        (Standard.NICE, (3, 4), (2, 4)),
    ],
)
def test_one_event_more_or_fewer_is_told_where_it_turns_the_answer(
    standard: Standard, fewer: tuple[int, int], more: tuple[int, int]
) -> None:
    strictly = standard is not Standard.NICHD
    pattern = "repetitive" if strictly else "recurrent"
    for (carrying, of), words in ((fewer, "one fewer they are not"), (more, "one more they are")):
        squeezes = contractions(20, every_s=300.0, first_s=150.0)
        assert len(squeezes) == of
        falls = [late(one) for one in squeezes[:carrying]]
        facts = window_facts(
            trace(20, uterus=squeezes, decelerations=falls, activity=1.0), Window(0.0, 1200.0)
        )
        mask = np.ones(carrying, dtype=np.bool_)
        answer = facts.repetitive(mask) if strictly else facts.recurrent(mask)
        said = facts.by_one_event(answer, mask, strictly=strictly)
        assert said == f"decelerations with {carrying} of {of} contractions: with {words} {pattern}"


def test_where_every_contraction_but_few_carries_one_no_single_event_decides() -> None:
    squeezes = contractions(20, every_s=200.0, first_s=100.0)
    for carrying in (0, 6):
        falls = [late(one) for one in squeezes[:carrying]]
        findings = trace(20, uterus=squeezes, decelerations=falls)
        facts, mask = window_facts(findings, Window(0.0, 1200.0)), np.ones(carrying, np.bool_)
        assert facts.by_one_event(facts.repetitive(mask), mask, strictly=True) == ""


def dropping(fall_onset_s: float, *, drop_s: float = 1200.0) -> Findings:
    """The rate drops to 90 bpm and stays; a deceleration begins so near."""
    rate = [140.0] * int(drop_s) + [90.0] * (2400 - int(drop_s))
    fall = deceleration(
        DecelerationKind.PROLONGED, fall_onset_s, nadir_s=fall_onset_s + 30.0,
        end_s=fall_onset_s + 200.0, depth=50.0,
    )  # fmt: skip
    findings = trace(40, decelerations=[fall], rate=rate)
    change = BaselineChange(drop_s, 140.0, 90.0)
    return replace(findings, fetal=replace(findings.fetal, baseline_changes=(change,)))


@pytest.mark.parametrize(("apart_s", "count"), [(-300.0, 2), (0.0, 1), (50.0, 1), (70.0, 2)])
def test_a_fall_that_becomes_a_baseline_is_one_fall(apart_s: float, count: int) -> None:
    """NICHD 2008: from ten minutes on it is a change of baseline; here it goes on as a fall."""
    assert BEGIN_TOGETHER_S == 60.0
    findings = dropping(1200.0 + apart_s)
    long = window_facts(findings, Window(0.0, 2400.0)).falls.long
    assert len(long) == count
    assert long[0].duration_s == pytest.approx(1200.0, abs=2.0)
    assert (long[0].depth_bpm, long[0].nadir_bpm, long[0].recovered) == (50.0, 90.0, False)


def test_what_was_seen_to_come_back_by_the_windows_end_is_recovered() -> None:
    fall = variable(900.0, duration_s=150.0)
    findings = trace(40, decelerations=[fall])
    for end_s, recovered in ((fall.end_s, True), (fall.end_s - 1.0, False)):
        (long,) = window_facts(findings, Window(0.0, end_s)).falls.long
        assert long.recovered is recovered
        assert long.duration_s == end_s - fall.onset_s


# ---------------------------------------------------------------- contractions


def test_nice_a_contraction_over_two_minutes_is_told_in_minutes() -> None:
    """NICE NG229: lasting over 2 minutes; a toco shows no hypertonus, a catheter does."""
    squeezes = [*contractions(40)[:5], *contractions(40, first_s=1320.0, duration_s=150.0)]
    for sensor, rule in (
        (SensorKind.TOCO, "nice-long-on-toco"),
        (SensorKind.PRESSURE_CATHETER, "nice-hypertonus"),
    ):
        found = judged(Standard.NICE, trace(40, uterus=squeezes, sensor=sensor))
        assert stated(found, rule).value == 2.5


def test_nice_frequent_contractions_are_told_with_the_rest_between_them() -> None:
    squeezes = contractions(40, every_s=110.0, duration_s=80.0)
    found = judged(Standard.NICE, trace(40, uterus=squeezes))
    assert "median rest 30 s" in stated(found, "nice-contractions-amber").text


# ---------------------------------------------------------------- signal, refusal, class


def test_what_is_needed_is_told_in_per_cent_and_in_minutes() -> None:
    found = judged(Standard.NICHD, trace(40, valid=0.4))
    assert any("40 % of the window can be relied on, 50 % needed" in why for why in found.refusal)
    found = judged(Standard.NICHD, trace(40), minutes=9.0)
    assert any("9.0 min, 10 min needed" in why for why in found.refusal)


def test_lost_signal_is_told_in_per_cent() -> None:
    found = judged(Standard.FIGO, trace(40, valid=0.7))
    assert any("30 % of the heart-rate signal" in what for what in found.not_assessed)


@pytest.mark.parametrize("standard", LABOUR)
def test_doubt_about_whose_rate_it_is_leaves_the_best_class_as_the_best_possible(
    standard: Standard,
) -> None:
    table = TABLES[standard]
    builder = ClassBuilder(table, window_facts(trace(40), Window(0.0, 2400.0)))
    builder.question_source("may be hers")
    found = builder.close()
    assert found.at_best == table.classes[0]
    assert found.refusal == ("may be hers",)
    assert found.at_least == ""


def test_a_line_of_rank_two_counts_as_weighing_and_a_good_word_does_not() -> None:
    facts = window_facts(trace(40), Window(0.0, 2400.0))
    builder = ClassBuilder(nichd.TABLE, facts)
    builder.add(nichd.BASELINE_NORMAL, 140.0)
    assert not builder.weighs("baseline")
    builder.add(nichd.BRADYCARDIA, 100.0)
    assert builder.weighs("baseline")
    assert not builder.weighs("variability")


def test_a_window_without_a_line_has_the_best_rank() -> None:
    builder = ClassBuilder(nichd.TABLE, window_facts(trace(40), Window(0.0, 2400.0)))
    assert builder.rank == 0
    assert builder.close().label == nichd.TABLE.classes[0]


def test_before_labour_is_said_by_the_stage_at_the_windows_end() -> None:
    found = judged(Standard.NICHD, trace(40), context=Context(weeks=39.0, stage=Stage.ANTEPARTUM))
    assert "limit-labour" in rules_of(found)
    assert "limit-labour" not in rules_of(judged(Standard.NICHD, trace(40)))


def test_the_poorest_ten_minutes_are_found_wherever_they_lie() -> None:
    for first in (0, 7, 30):
        valid = [1.0] * 40
        valid[first : first + 10] = [0.2] * 10
        share, where = window_facts(trace(40, valid=valid), Window(0.0, 2400.0)).poorest
        assert share == pytest.approx(0.2)
        assert where == Window(60.0 * first, 60.0 * first + 600.0)


def test_contractions_without_a_readable_rate_are_counted() -> None:
    valid = [1.0] * 40
    valid[18:23] = [0.0] * 5
    unread, every = window_facts(trace(40, valid=valid), Window(600.0, 2400.0)).unread_contractions
    inside = [one.peak_s for one in contractions(40) if 600.0 <= one.peak_s < 2400.0]
    assert every == len(inside)
    assert unread == sum(18 * 60.0 <= peak < 23 * 60.0 for peak in inside)


def test_times_are_told_as_hours_minutes_seconds() -> None:
    assert clock(3725.4) == "1:02:05"
    assert stretch(59.6, 7199.0) == "0:01:00 to 1:59:59"


def test_gradual_falls_of_unknown_contraction_are_told_apart() -> None:
    falls = [gradual(900.0), gradual(1500.0, depth=35.0)]
    found = judged(Standard.NICHD, trace(40, decelerations=falls, present=False), minutes=40.0)
    assert "2 in the window, the deepest 35 bpm" in stated(found, "nichd-gradual-unpaired").text


def test_no_late_or_variable_deceleration_is_said_only_where_no_fall_could_be_one() -> None:
    """NICHD 2008, Category I: late or variable decelerations absent."""
    squeezes = contractions(40)
    assert "nichd-no-late-or-variable" in rules_of(judged(Standard.NICHD, trace(40)))
    for fall in (
        late(squeezes[5]),
        variable(squeezes[5]),
        variable(1400.0, duration_s=150.0),
        gradual(1400.0),
    ):
        found = judged(Standard.NICHD, trace(40, uterus=squeezes, decelerations=[fall]))
        assert "nichd-no-late-or-variable" not in rules_of(found)


def test_a_fall_that_begins_where_the_window_ends_is_not_of_it() -> None:
    fall = variable(1210.0)
    assert fall.onset_s == 1200.0
    findings = trace(40, decelerations=[fall])
    every = np.ones(1, dtype=np.bool_)
    assert window_facts(findings, Window(0.0, 1200.0)).falls.touching(every) == ()
    assert window_facts(findings, Window(0.0, 1200.5)).falls.touching(every) == (fall,)
    assert window_facts(findings, Window(fall.end_s, 2400.0)).falls.touching(every) == ()


@pytest.mark.parametrize(("seconds", "counted"), [(299.0, False), (300.0, True)])
def test_of_ten_minutes_half_must_lie_in_the_window(seconds: float, counted: bool) -> None:
    facts = window_facts(trace(40), Window(1200.0 - seconds, 2400.0))
    assert (len(facts.levels.variabilities) == 3) is counted
    assert (len(facts.levels.baselines) == 3) is counted


def test_one_prolonged_fall_that_came_back_weighs_by_the_standards_own_lines_only() -> None:
    """FIGO 2015, NICE NG229 count single falls from three minutes on; two or more weigh (ours)."""
    fall = variable(900.0, duration_s=150.0)
    other = variable(1600.0, duration_s=150.0)
    for falls, weighs in (([fall], False), ([fall, other], True)):
        facts = window_facts(trace(40, decelerations=falls), Window(0.0, 2400.0))
        assert facts.falls.long_weigh is weighs


def test_figo_late_falls_of_20_minutes_are_pathological_with_less_than_5_bpm_only() -> None:
    """FIGO 2015: repetitive late or prolonged ones over 20 min with reduced variability."""
    squeezes = contractions(60)
    falls = [late(one, onset_lag_s=35.0, lag_s=45.0) for one in squeezes[2:9]]
    for band, pathological in ((5.0, False), (4.9, True)):
        findings = trace(60, uterus=squeezes, decelerations=falls, bandwidth=band)
        found = judged(Standard.FIGO, findings, window=Window(0.0, 2400.0))
        assert ("figo-decelerations-late-20" in rules_of(found)) is pathological


def test_one_event_beside_a_class_that_it_cannot_change_is_no_edge() -> None:
    """Half of the contractions carry one, and the window is pathological by its baseline."""
    squeezes = contractions(40, every_s=300.0, first_s=150.0)
    falls = [late(one) for one in squeezes[4::2]]
    for baseline, told in ((140.0, True), (90.0, False)):
        findings = trace(40, uterus=squeezes, decelerations=falls, baseline=baseline)
        found = judged(Standard.FIGO, findings, window=Window(0.0, 2400.0))
        assert any("one more" in edge for edge in found.edge) is told


@pytest.mark.parametrize(
    ("stage", "words"),
    [
        (Stage.UNKNOWN, "not said that this is before labour"),
        (Stage.FIRST, "first stage of labour"),
    ],
)
def test_a_non_stress_test_says_why_it_is_not_read_in_labour(stage: Stage, words: str) -> None:
    found = judged(Standard.NST, trace(40), minutes=40.0, context=Context(stage=stage))
    assert any(words in why for why in found.refusal)


def test_a_deep_fall_with_the_contraction_is_not_taken_for_a_benign_early_one() -> None:
    """Early by its timing; early decelerations are shallow (common practice, no source)."""
    squeezes = contractions(40)
    shallow, deep = (
        trace(40, uterus=squeezes, decelerations=[early(squeezes[5], depth=depth)])
        for depth in (30.0, 60.0)
    )
    assert judged(Standard.NICHD, shallow).rank == 0
    refused = judged(Standard.NICHD, deep)
    assert refused.rank < 0 and any("60 bpm deep" in why for why in refused.refusal)
    # NICE calls one variable deceleration of that depth white, and the early one is no worse.
    assert judged(Standard.NICE, deep).rank == 0
