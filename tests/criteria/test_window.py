"""What lies in a window: counts, rates, shares, recurrence, runs, Montevideo units."""

from __future__ import annotations

import math

import numpy as np
import pytest

from criteria.build import (
    MINUTE,
    acceleration,
    contraction,
    contractions,
    early,
    gradual,
    late,
    trace,
    variable,
)
from ebbline.features import pattern_duration
from ebbline.features import window as within
from ebbline.features.findings import DecelerationKind, Findings
from ebbline.terms import SensorKind, Window

LATE = (DecelerationKind.LATE,)
VARIABLE = (DecelerationKind.VARIABLE,)


def mask(findings: Findings, *kinds: DecelerationKind) -> np.ndarray:
    return within.decelerations_of(findings, kinds)


# ---------------------------------------------------------------- membership


def test_neighbouring_windows_share_no_event_and_lose_none() -> None:
    squeezes = contractions(40)
    findings = trace(
        40,
        uterus=squeezes,
        decelerations=map(late, squeezes),
        accelerations=[acceleration(p) for p in (590.0, 600.0, 610.0)],
    )
    for ask, total in (
        (within.contractions_in, 10),
        (within.decelerations_in, 10),
        (within.accelerations_in, 3),
    ):
        pieces = [
            ask(findings, Window(start, start + 600.0)) for start in (0.0, 600.0, 1200.0, 1800.0)
        ]
        assert sum(map(len, pieces)) == total
        assert len(set().union(*pieces)) == total


def test_a_contraction_belongs_where_its_peak_lies() -> None:
    findings = trace(40, uterus=[contraction(600.0)])
    assert within.contractions_in(findings, Window(0.0, 600.0)) == ()
    assert len(within.contractions_in(findings, Window(600.0, 1200.0))) == 1


def test_shallow_decelerations_are_left_out_unless_asked_for() -> None:
    squeezes = contractions(40)
    findings = trace(
        40, uterus=squeezes, decelerations=[late(squeezes[4], depth=12.0, shallow=True)]
    )
    assert within.decelerations_in(findings, Window(0.0, 2400.0)) == ()
    assert len(within.decelerations_in(findings, Window(0.0, 2400.0), shallow=True)) == 1
    assert not mask(findings, *LATE).any()


# ---------------------------------------------------------------- rate and tachysystole


def test_the_rate_is_per_ten_minutes_averaged_over_thirty() -> None:
    """Macones 2008: contractions in 10 minutes, averaged over 30."""
    findings = trace(60, uterus=contractions(60, every_s=200.0, first_s=100.0))
    rate = within.contraction_rate(findings, Window(1800.0, 3600.0))
    assert (rate.per_10_min, rate.stretch.duration_s, rate.count) == (3.0, 1800.0, 9)


def test_a_short_window_looks_back_to_thirty_minutes_as_far_as_the_recording_goes() -> None:
    findings = trace(60, uterus=contractions(60, every_s=200.0, first_s=100.0))
    assert within.contraction_rate(findings, Window(3000.0, 3600.0)).stretch.duration_s == 1800.0
    assert within.contraction_rate(findings, Window(600.0, 1200.0)).stretch.duration_s == 1200.0


def test_time_without_activity_signal_is_left_out_of_the_rate() -> None:
    squeezes = [
        one for one in contractions(30, every_s=200.0, first_s=100.0) if one.peak_s < 1200.0
    ]
    findings = trace(30, uterus=squeezes, activity=[1.0] * 20 + [0.0] * 10)
    rate = within.contraction_rate(findings, Window(0.0, 1800.0))
    assert rate.measured_s == 1200.0
    assert rate.per_10_min == 3.0


def test_too_little_activity_gives_no_rate_and_says_why() -> None:
    findings = trace(30, activity=[1.0] * 14 + [0.0] * 16)
    rate = within.contraction_rate(findings, Window(0.0, 1800.0))
    assert math.isnan(rate.per_10_min)
    assert rate.why == "activity was measured in only 14 of 30 minutes"
    none = within.contraction_rate(trace(30, present=False), Window(0.0, 1800.0))
    assert none.why == "there is no activity channel"


def test_tachysystole_is_more_than_five_averaged_over_thirty_minutes() -> None:
    """Macones 2008; Ayres-de-Campos 2015: more than 5 in 10 minutes."""
    for count, expected in ((15, False), (16, True)):
        step = 1800.0 / count
        findings = trace(30, uterus=contractions(30, every_s=step, first_s=step / 2))
        assert within.tachysystole(findings, Window(0.0, 1800.0)).answer is expected


def test_exactly_five_in_ten_minutes_is_no_tachysystole_whenever_it_is() -> None:
    """Macones 2008: more than five; fifteen in 30 minutes are five, at any second they begin."""
    for begin in np.random.default_rng(5).uniform(0.0, 120.0, 60).tolist():
        squeezes = [contraction(begin + 120.0 * i) for i in range(40)]
        findings = trace(80, uterus=squeezes, activity=1.0)
        found = within.tachysystole(findings, Window(600.0 + begin, 3000.0 + begin))
        assert found.answer is False
        assert found.value == 5.0


def test_tachysystole_in_any_thirty_minutes_of_a_longer_window_is_found() -> None:
    busy = contractions(70, every_s=100.0, first_s=40 * MINUTE)
    findings = trace(120, uterus=busy)
    found = within.tachysystole(findings, Window(0.0, 7200.0))
    assert found.answer is True
    assert found.stretch.duration_s == 1800.0


def test_tachysystole_is_untold_where_half_of_the_activity_is_missing() -> None:
    findings = trace(30, activity=[1.0] * 14 + [0.0] * 16)
    assert within.tachysystole(findings, Window(0.0, 1800.0)).answer is None
    assert within.tachysystole(trace(30, present=False), Window(0.0, 1800.0)).answer is None


# ---------------------------------------------------------------- shares and recurrence


def test_the_share_counts_contractions_not_decelerations() -> None:
    squeezes = contractions(40)
    twice = [variable(squeezes[4]), late(squeezes[4]), late(squeezes[5])]
    findings = trace(40, uterus=squeezes, decelerations=twice)
    both = mask(findings, *LATE, *VARIABLE)
    found = within.share_with_decelerations(findings, Window(0.0, 2400.0), both)
    assert (found.carrying, found.contractions, found.share) == (2, 10, 0.2)


def test_decelerations_without_a_contraction_count_in_no_share() -> None:
    findings = trace(40, decelerations=[variable(700.0), variable(900.0)])
    found = within.share_with_decelerations(
        findings, Window(0.0, 2400.0), mask(findings, *VARIABLE)
    )
    assert found.carrying == 0


def test_a_stretch_without_contractions_has_no_share() -> None:
    findings = trace(40, uterus=())
    share = within.share_with_decelerations(
        findings, Window(0.0, 2400.0), mask(findings, *LATE)
    ).share
    assert math.isnan(share)


@pytest.mark.parametrize(
    ("carrying", "recurs", "repeats"), [(4, False, False), (5, True, False), (6, True, True)]
)
def test_recurrent_is_half_or_more_repetitive_is_more_than_half(
    carrying: int, recurs: bool, repeats: bool
) -> None:
    """Macones 2008: >= 50 %; Ayres-de-Campos 2015: more than 50 %."""
    squeezes = contractions(20, every_s=120.0, first_s=60.0, duration_s=40.0)
    findings = trace(20, uterus=squeezes, decelerations=map(late, squeezes[:carrying]))
    chosen = mask(findings, *LATE)
    assert within.recurrent(findings, Window(0.0, 1200.0), chosen).answer is recurs
    assert within.repetitive(findings, Window(0.0, 1200.0), chosen).answer is repeats


def test_recurrence_is_looked_for_in_every_twenty_minutes_not_in_the_whole_window() -> None:
    """Macones 2008: in any 20-minute segment; checked against all segments one second apart."""
    rng = np.random.default_rng(3)
    for _ in range(20):
        gaps = rng.uniform(90.0, 300.0, 40)
        squeezes = tuple(contraction(float(p), duration_s=50.0) for p in np.cumsum(gaps))
        squeezes = tuple(one for one in squeezes if one.end_s < 3500.0)
        falls = [late(one) for one in squeezes if rng.random() < 0.35]
        findings = trace(60, uterus=squeezes, decelerations=falls)
        found = within.recurrent(findings, Window(600.0, 3600.0), mask(findings, *LATE))
        peaks = np.array([one.peak_s for one in squeezes])
        carriers = {fall.nadir_s - fall.lag_s for fall in falls}
        carrying = np.array([any(abs(p - c) < 1e-6 for c in carriers) for p in peaks])
        best = 0.0
        for start in np.arange(600.0, 2400.5, 1.0):
            inside = (peaks >= start) & (peaks < start + 1200.0)
            if inside.any():
                share = carrying[inside].sum() / inside.sum()
                best = max(best, share if carrying[inside].sum() > 1 else 0.0)
        assert found.answer is bool(best >= 0.5)


def test_a_pattern_in_the_last_half_of_an_hour_is_repetitive_though_the_hour_is_not() -> None:
    squeezes = contractions(60)
    falls = [late(one) for one in squeezes if one.peak_s > 30 * MINUTE][:5]
    findings = trace(60, uterus=squeezes, decelerations=falls)
    chosen = mask(findings, *LATE)
    assert within.share_with_decelerations(findings, Window(0.0, 3600.0), chosen).share < 0.5
    assert within.repetitive(findings, Window(0.0, 3600.0), chosen).answer is True


def test_recurrence_is_untold_without_activity_when_decelerations_are_there() -> None:
    falls = [variable(700.0), variable(1100.0)]
    findings = trace(40, decelerations=falls, present=False)
    found = within.recurrent(findings, Window(0.0, 2400.0), mask(findings, *VARIABLE))
    assert (found.answer, found.why) == (None, "there is no activity channel")


def test_without_such_decelerations_nothing_recurs_whatever_was_measured() -> None:
    findings = trace(40, present=False)
    assert within.recurrent(findings, Window(0.0, 2400.0), mask(findings, *LATE)).answer is False


def test_unmeasured_activity_matters_only_where_decelerations_are() -> None:
    squeezes = contractions(60)
    falls = [late(squeezes[0]), late(squeezes[4])]
    quiet = [1.0] * 30 + [0.0] * 30
    away = trace(60, uterus=squeezes, decelerations=falls, activity=quiet)
    assert within.recurrent(away, Window(0.0, 3600.0), mask(away, *LATE)).answer is False
    there = trace(60, uterus=squeezes, decelerations=falls, activity=quiet[::-1])
    assert within.recurrent(there, Window(0.0, 3600.0), mask(there, *LATE)).answer is None


# ---------------------------------------------------------------- how long


def test_a_run_goes_from_the_first_onset_to_the_last_return() -> None:
    squeezes = contractions(90)
    members = [one for one in squeezes if 30 * MINUTE < one.peak_s < 70 * MINUTE]
    falls = [late(one) for one in members]
    findings = trace(90, uterus=squeezes, decelerations=falls)
    (run,) = pattern_duration.pattern_runs(findings, 5400.0, mask(findings, *LATE))
    assert (run.start_s, run.end_s) == (falls[0].onset_s, falls[-1].end_s)
    assert run.carrying == len(members)


def test_a_pause_of_three_contractions_does_not_break_a_run_and_ten_minutes_do() -> None:
    """Our reading: more than half of contractions in each 20 minutes, docs/criteria.md."""
    squeezes = contractions(120, every_s=180.0)
    for left_out, runs in ((3, 1), (6, 2)):
        falls = [late(one) for i, one in enumerate(squeezes) if not 20 <= i < 20 + left_out]
        findings = trace(120, uterus=squeezes, decelerations=falls)
        assert len(pattern_duration.pattern_runs(findings, 7200.0, mask(findings, *LATE))) == runs


def test_a_run_that_is_over_before_the_window_is_not_its_own() -> None:
    squeezes = contractions(90)
    findings = trace(
        90, uterus=squeezes, decelerations=[late(o) for o in squeezes if o.peak_s < 2000.0]
    )
    chosen = mask(findings, *LATE)
    assert pattern_duration.longest_run(findings, Window(3600.0, 5400.0), chosen) is None
    run = pattern_duration.longest_run(findings, Window(1500.0, 3300.0), chosen)
    assert run is not None
    assert run.start_s < 1500.0


def test_a_run_is_followed_to_the_window_s_end_only() -> None:
    squeezes = contractions(90)
    findings = trace(90, uterus=squeezes, decelerations=map(late, squeezes))
    run = pattern_duration.longest_run(findings, Window(1800.0, 3600.0), mask(findings, *LATE))
    assert run is not None
    assert run.end_s <= 3600.0
    assert run.duration_s > 55 * MINUTE


def test_a_series_is_broken_by_the_pause_that_is_asked_for() -> None:
    falls = [gradual(t) for t in (600.0, 1000.0, 2000.0, 2400.0)]
    findings = trace(60, decelerations=falls, present=False)
    chosen = mask(findings, DecelerationKind.GRADUAL_UNPAIRED)
    assert pattern_duration.longest_chain(findings, Window(0.0, 3600.0), chosen, 600.0) == Window(
        560.0, 1040.0
    )
    assert pattern_duration.longest_chain(findings, Window(0.0, 3600.0), chosen, 1200.0) == Window(
        560.0, 2440.0
    )
    assert pattern_duration.longest_chain(findings, Window(2500.0, 3600.0), chosen, 1200.0) is None


def test_the_most_decelerations_in_twenty_minutes() -> None:
    falls = [variable(t) for t in (700.0, 1000.0, 1300.0, 1800.0, 2300.0)]
    findings = trace(60, decelerations=falls)
    count, where = within.most_decelerations(
        findings, Window(0.0, 3600.0), mask(findings, *VARIABLE)
    )
    assert count == 4
    assert where.duration_s == 1200.0


# ---------------------------------------------------------------- Montevideo units


def test_montevideo_units_are_peaks_over_tone_summed_in_ten_minutes() -> None:
    """Caldeyro-Barcia's definition on a worked example: four contractions of 50 mmHg over tone
    in 10 minutes are 200 units (the value commonly called adequate)."""
    squeezes = contractions(30, every_s=150.0, first_s=75.0)
    findings = trace(30, uterus=squeezes, sensor=SensorKind.PRESSURE_CATHETER)
    found = within.montevideo_units(findings, Window(0.0, 1800.0))
    assert (found.units, found.contractions, found.why) == (200.0, 12, "")


@pytest.mark.parametrize("sensor", [SensorKind.TOCO, SensorKind.UNKNOWN])
def test_a_sensor_that_gives_no_pressures_gives_no_units(sensor: SensorKind) -> None:
    """A toco gives frequency and approximate duration, never strength (Ayres-de-Campos 2015)."""
    found = within.montevideo_units(trace(30, sensor=sensor), Window(0.0, 1800.0))
    assert math.isnan(found.units)
    assert "only a pressure catheter" in found.why
    assert ("is not known" in found.why) is (sensor is SensorKind.UNKNOWN)


def test_units_need_ten_measured_minutes() -> None:
    short = trace(30, sensor=SensorKind.PRESSURE_CATHETER)
    assert math.isnan(within.montevideo_units(short, Window(0.0, 599.0)).units)
    lost = trace(30, sensor=SensorKind.PRESSURE_CATHETER, activity=0.4)
    assert (
        "activity was measured in only 12 of 30"
        in within.montevideo_units(lost, Window(0.0, 1800.0)).why
    )


# ---------------------------------------------------------------- concerning features


def test_concerning_characteristics_of_variable_decelerations() -> None:
    """NICE NG229 section 1.4 (from memory)."""
    falls = [variable(600.0 + 300.0 * i, shoulders=i < 2) for i in range(2)]
    falls += [
        variable(1300.0, duration_s=61.0, shoulders=True),
        variable(1500.0, within=4.9, shoulders=True),
        variable(1700.0, slow_return=True, shoulders=True),
        variable(1900.0, fails_to_return=True, shoulders=True),
        variable(2100.0),
        variable(2300.0, duration_s=60.0, within=5.0, shoulders=True),
    ]
    findings = trace(40, decelerations=falls)
    found = [within.concerning_features(findings, fall) for fall in findings.fetal.decelerations]
    assert found == [
        (),
        (),
        ("longer than 60 s",),
        ("reduced variability within",),
        ("slow return to the baseline",),
        ("fails to return to the baseline",),
        ("loss of shouldering",),
        (),
    ]


def test_early_decelerations_recur_under_their_own_name_only() -> None:
    squeezes = contractions(40)
    findings = trace(40, uterus=squeezes, decelerations=map(early, squeezes))
    assert within.recurrent(findings, Window(0.0, 2400.0), mask(findings, *LATE)).answer is False
    recurs = within.recurrent(findings, Window(0.0, 2400.0), mask(findings, DecelerationKind.EARLY))
    assert recurs.answer is True
