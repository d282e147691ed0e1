"""The review of a window: what a practitioner would count, and what could not be counted."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from ebbline.features.findings import (
    Artefact,
    ArtefactKind,
    DecelerationKind,
    SinusoidalEpisode,
    VariabilityClass,
)
from ebbline.reading.summary import summarise
from ebbline.terms import SensorKind, Window
from reading.labour import Labour, contraction, deceleration, every

LAST_HALF_HOUR = Window(5400.0, 7200.0)


def test_contractions_are_counted_in_ten_minutes_over_thirty() -> None:
    labour = Labour(contractions=every(150.0))
    said = summarise(labour.findings(), LAST_HALF_HOUR).contractions
    assert said.assessed
    assert said.count == 12
    assert said.per_10_min == pytest.approx(4.0)
    assert said.per_10_min_over_s == 1800.0
    assert said.tachysystole is False


def test_contraction_times_are_medians_of_duration_relaxation_and_interval() -> None:
    labour = Labour(contractions=every(150.0, lasting_s=60.0))
    said = summarise(labour.findings(), LAST_HALF_HOUR).contractions
    assert (said.duration_s, said.rest_s, said.interval_s) == (60.0, 90.0, 150.0)


def test_more_than_five_in_ten_minutes_over_thirty_is_tachysystole() -> None:
    five = Labour(contractions=every(120.0))
    six = Labour(contractions=every(100.0))
    assert summarise(five.findings(), LAST_HALF_HOUR).contractions.tachysystole is False
    assert summarise(six.findings(), LAST_HALF_HOUR).contractions.tachysystole is True


def test_interval_across_lost_activity_is_no_interval() -> None:
    """Two contractions are lost with the activity: the 450 s between the others do not count."""
    seen = [one for one in every(150.0) if not 6000 < one.peak_s < 6400]
    measured = np.ones(120)
    measured[100:106] = 0.0
    labour = Labour(contractions=tuple(seen), measured=measured)
    assert summarise(labour.findings(), LAST_HALF_HOUR).contractions.interval_s == 150.0


def test_without_an_activity_channel_contractions_are_not_assessed_and_not_none() -> None:
    review = summarise(Labour(activity=False).findings(), LAST_HALF_HOUR)
    assert not review.contractions.assessed
    assert math.isnan(review.contractions.per_10_min)
    assert review.contractions.tachysystole is None
    assert any("contractions: there is no activity channel" in w for w in review.not_assessed)
    assert all(column.contractions is None for column in review.columns)


def test_strength_comes_only_from_a_catheter() -> None:
    toco = summarise(Labour().findings(), LAST_HALF_HOUR).contractions
    catheter = summarise(
        Labour(sensor=SensorKind.PRESSURE_CATHETER).findings(), LAST_HALF_HOUR
    ).contractions
    assert math.isnan(toco.montevideo_units)
    assert math.isnan(toco.resting_tone_mmhg)
    assert catheter.montevideo_units == pytest.approx(4 * 50.0)
    assert catheter.resting_tone_mmhg == 10.0


def test_baseline_of_the_window_is_rounded_to_five_and_its_ten_minutes_are_told() -> None:
    review = summarise(
        Labour(baseline=[140.0] * 9 + [139.0, 152.0, 151.0]).findings(), LAST_HALF_HOUR
    )
    assert review.baseline_bpm == 145.0
    assert review.baseline_note == "by 10 minutes: 140, 150, 150 bpm"


def test_baseline_is_indeterminate_when_most_of_the_window_has_none() -> None:
    review = summarise(
        Labour(baseline=[140.0] * 10 + [math.nan, math.nan]).findings(), LAST_HALF_HOUR
    )
    assert math.isnan(review.baseline_bpm)
    assert "0 s of baseline in these ten minutes" in review.baseline_note
    assert any(what.startswith("baseline: ") for what in review.not_assessed)


def test_one_indeterminate_ten_minutes_of_three_is_told_beside_the_baseline() -> None:
    review = summarise(Labour(baseline=[140.0] * 11 + [math.nan]).findings(), LAST_HALF_HOUR)
    assert review.baseline_bpm == 140.0
    assert "indeterminate in 1 of 3" in review.baseline_note


@pytest.mark.parametrize(
    ("bandwidth", "expected"),
    [
        (3.0, VariabilityClass.MINIMAL),
        (5.0, VariabilityClass.MINIMAL),
        (12.0, VariabilityClass.MODERATE),
        (25.0, VariabilityClass.MODERATE),
        (26.0, VariabilityClass.MARKED),
    ],
)
def test_variability_is_classed_by_its_mean_bandwidth(
    bandwidth: float, expected: VariabilityClass
) -> None:
    """Macones et al. 2008: minimal up to 5 bpm, moderate 6-25, marked over 25."""
    review = summarise(Labour(bandwidth=np.full(120, bandwidth)).findings(), LAST_HALF_HOUR)
    assert review.bandwidth_bpm == pytest.approx(bandwidth)
    assert review.variability is expected


def test_variability_measured_in_less_than_three_tenths_of_the_minutes_is_indeterminate() -> None:
    bandwidth = np.full(120, 12.0)
    bandwidth[90:112] = np.nan
    review = summarise(Labour(bandwidth=bandwidth).findings(), LAST_HALF_HOUR)
    assert review.variability is VariabilityClass.INDETERMINATE
    assert review.sinusoidal is None
    assert "variability: 8 of 30 min could be measured" in review.not_assessed


def test_sinusoidal_episode_counts_and_a_pseudosinusoidal_one_does_not() -> None:
    episode = SinusoidalEpisode(5000.0, 6800.0, 3.5, 8.0, pseudo=False, certainty=0.9)
    true = summarise(Labour(sinusoidal=(episode,)).findings(), LAST_HALF_HOUR)
    pseudo = summarise(
        Labour(sinusoidal=(replace(episode, pseudo=True),)).findings(), LAST_HALF_HOUR
    )
    assert true.sinusoidal is True
    assert pseudo.sinusoidal is False


def test_decelerations_are_summed_up_by_kind_with_their_share_of_contractions() -> None:
    contractions = every(150.0)
    here = [i for i, one in enumerate(contractions) if one.peak_s >= 5400.0]
    late = [
        deceleration(DecelerationKind.LATE, contractions, i, depth_bpm=20.0 + i % 3, lasting_s=50.0)
        for i in here[:9]
    ]
    variable = [
        deceleration(
            DecelerationKind.VARIABLE, contractions, here[-1], depth_bpm=40.0, lasting_s=70.0
        )
    ]
    labour = Labour(contractions=contractions, decelerations=(*late, *variable))
    by_kind = {one.kind: one for one in summarise(labour.findings(), LAST_HALF_HOUR).decelerations}
    assert set(by_kind) == {"late", "variable"}
    assert by_kind["late"].count == 9
    # As the classes count it: the abrupt one is late in its timing, and of their pattern.
    assert by_kind["late"].share_of_contractions == pytest.approx(10 / 12)
    assert by_kind["late"].recurrent is True
    assert by_kind["late"].repetitive is True
    assert by_kind["late"].deepest_bpm == 22.0
    assert by_kind["late"].median_duration_s == 50.0
    assert by_kind["late"].concerning == ()
    assert by_kind["variable"].recurrent is False
    assert by_kind["variable"].concerning == ("longer than 60 s (1 of 1)",)


def test_half_of_contractions_is_recurrent_but_not_repetitive() -> None:
    """Macones 2008: recurrent from 50 %; FIGO 2015 and NG229: repetitive over 50 %."""
    contractions = every(150.0)
    late = [
        deceleration(DecelerationKind.LATE, contractions, i)
        for i, one in enumerate(contractions)
        if one.peak_s >= 5400.0 and i % 2
    ]
    labour = Labour(contractions=contractions, decelerations=tuple(late))
    (only,) = summarise(labour.findings(), LAST_HALF_HOUR).decelerations
    assert only.share_of_contractions == 0.5
    assert only.recurrent is True
    assert only.repetitive is False


def test_share_of_contractions_is_untold_without_activity_and_said_why() -> None:
    unpaired = [
        deceleration(DecelerationKind.GRADUAL_UNPAIRED, (), -1, at_s=at_s)
        for at_s in (5600.0, 5900.0, 6200.0)
    ]
    labour = Labour(activity=False, decelerations=tuple(unpaired))
    review = summarise(labour.findings(), LAST_HALF_HOUR)
    (only,) = review.decelerations
    assert math.isnan(only.share_of_contractions)
    assert only.recurrent is None
    assert only.repetitive is None
    assert any(
        "whether gradual decelerations (contraction not known) are recurrent" in what
        for what in review.not_assessed
    )


def test_a_shallow_fall_is_no_deceleration() -> None:
    contractions = every(150.0)
    shallow = replace(
        deceleration(DecelerationKind.LATE, contractions, 40), depth_bpm=12.0, shallow=True
    )
    review = summarise(
        Labour(contractions=contractions, decelerations=(shallow,)).findings(), LAST_HALF_HOUR
    )
    assert review.decelerations == ()


def test_longest_gap_is_counted_as_far_as_it_lies_in_the_window() -> None:
    findings = Labour().findings()
    rate = findings.fetal.rate_curve.values
    rate[100:900] = np.nan
    rate[5300:5460] = np.nan
    rate[6000:6030] = np.nan
    assert summarise(findings, LAST_HALF_HOUR).longest_gap_s == 60.0
    rate[7130:] = np.nan
    assert summarise(findings, LAST_HALF_HOUR).longest_gap_s == 70.0
    assert summarise(Labour().findings(), LAST_HALF_HOUR).longest_gap_s == 0.0


def test_artefacts_met_in_the_window_are_named() -> None:
    met = Artefact(ArtefactKind.DOUBLING, 5300.0, 5460.0, 0.6, "twice the level")
    before = Artefact(ArtefactKind.MATERNAL, 100.0, 900.0, 0.9, "as the mother's pulse")
    review = summarise(Labour(artefacts=(before, met)).findings(), LAST_HALF_HOUR)
    assert review.suspected == (ArtefactKind.DOUBLING,)


def test_poor_signal_leaves_events_not_assessed() -> None:
    valid = np.ones(120)
    valid[90:] = 0.3
    review = summarise(Labour(valid=valid).findings(), LAST_HALF_HOUR)
    assert review.valid_share == pytest.approx(0.3)
    assert any("only 30 % of the heart-rate signal" in what for what in review.not_assessed)


# ---------------------------------------------------------------- change over time


def changes(labour: Labour, column: int = 0) -> tuple[str, ...]:
    return summarise(labour.findings(), LAST_HALF_HOUR).columns[column].change


def test_a_window_has_a_column_for_each_ten_minutes() -> None:
    columns = summarise(Labour().findings(), LAST_HALF_HOUR).columns
    assert [one.window for one in columns] == [
        Window(5400.0, 6000.0),
        Window(6000.0, 6600.0),
        Window(6600.0, 7200.0),
    ]
    assert [one.contractions for one in columns] == [4, 4, 4]


def test_an_unchanged_trace_has_no_change() -> None:
    assert changes(Labour()) == ()


@pytest.mark.parametrize(
    ("to_bpm", "said"),
    [(155.0, ("baseline up 15 bpm",)), (130.0, ("baseline down 10 bpm",)), (145.0, ())],
)
def test_baseline_is_set_against_the_hour_before(to_bpm: float, said: tuple[str, ...]) -> None:
    assert changes(Labour(baseline=[140.0] * 9 + [to_bpm] * 3)) == said


def test_variability_that_fell_is_said_with_both_classes() -> None:
    bandwidth = np.full(120, 12.0)
    bandwidth[90:] = 4.0
    assert changes(Labour(bandwidth=bandwidth)) == ("variability from moderate to minimal",)


def test_new_kind_of_deceleration_and_a_greater_number_are_said() -> None:
    contractions = every(150.0)
    late = tuple(
        deceleration(DecelerationKind.LATE, contractions, i)
        for i, one in enumerate(contractions)
        if 5400.0 <= one.peak_s < 6000.0
    )
    assert changes(Labour(contractions=contractions, decelerations=late)) == (
        "late decelerations, none in the hour before",
        "more decelerations (4 in 10 min, 0.0 before)",
    )


def test_contractions_that_came_closer_are_said() -> None:
    quick = tuple(contraction(at_s) for at_s in np.arange(5400.0, 7200.0, 90.0))
    slow = tuple(one for one in every(200.0) if one.peak_s < 5400.0)
    assert changes(Labour(contractions=slow + quick)) == (
        "more contractions (7 in 10 min, 3.0 before)",
    )


@pytest.mark.parametrize(
    ("made", "said"),
    [
        ({"baseline": [140.0] * 9 + [math.nan] * 3}, "baseline not compared: indeterminate"),
        ({"bandwidth": np.r_[np.full(90, 12.0), np.full(30, np.nan)]}, "variability not compared"),
        ({"measured": np.r_[np.ones(90), np.zeros(30)]}, "contractions not compared"),
        ({"valid": np.r_[np.ones(90), np.full(30, 0.2)]}, "not compared: 20 % of these minutes"),
        ({"valid": np.r_[np.full(90, 0.2), np.ones(30)]}, "not compared: 20 % of the hour before"),
        ({"valid": np.r_[np.ones(90), np.full(30, 0.6)]}, "less signal (60 % valid, 100 % before)"),
    ],
)
def test_what_cannot_be_compared_is_said_and_is_not_called_unchanged(
    made: dict[str, Any], said: str
) -> None:
    assert any(change.startswith(said) for change in changes(Labour(**made)))


def test_the_first_ten_minutes_have_nothing_before_them() -> None:
    column = summarise(Labour().findings(), Window(0.0, 1800.0)).columns[0]
    assert column.change == ("not compared: less than 10 min come before",)


def test_a_rest_of_a_column_too_short_to_compare_says_so() -> None:
    columns = summarise(Labour().findings(), Window(5400.0, 6180.0)).columns
    assert columns[1].change == ("not compared: less than 5 min",)


def test_no_window_of_any_length_is_refused() -> None:
    findings = Labour().findings()
    for start_s, end_s in ((0.0, 1.0), (7199.0, 7200.0), (0.0, 7200.0), (31.0, 92.0)):
        assert summarise(findings, Window(start_s, end_s)).window == Window(start_s, end_s)
