"""Accelerations and decelerations at, just under and just over each limit of their definition.

Source of the limits: NICHD 2008 (Macones et al., Obstet Gynecol 2008;112:661-6) and FIGO 2015
(Ayres-de-Campos et al., Int J Gynaecol Obstet 2015;131:13-24). The traces are constructed, so the
truth of each is known.
"""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest

from ebbline.features import detect
from ebbline.features.findings import (
    NO_CONTRACTION,
    ArtefactKind,
    DecelerationKind,
    FetalFindings,
)
from features.constructed import Trace


def at(start_s: float, end_s: float) -> slice:
    return slice(int(start_s * 4), int(end_s * 4))


def findings_of(trace: Trace) -> FetalFindings:
    return detect(trace.recording()).fetal


@pytest.mark.parametrize(("height", "count"), [(13.5, 0), (14.5, 0), (15.5, 1), (20.0, 1)])
def test_acceleration_peaks_15_bpm_above_the_baseline(height: float, count: int) -> None:
    trace = Trace(20, band=1.0).excursion(300, 10, 8, 10, height)
    assert len(findings_of(trace).accelerations) == count


@pytest.mark.parametrize(("lasts", "count"), [(12, 0), (14, 0), (16, 1), (20, 1)])
def test_acceleration_lasts_15_s(lasts: float, count: int) -> None:
    trace = Trace(20, band=1.0).excursion(300, 4, lasts - 8, 4, 25)
    assert len(findings_of(trace).accelerations) == count


@pytest.mark.parametrize(("weeks", "count"), [(31.0, 1), (32.0, 0), (None, 0)])
def test_before_32_weeks_10_bpm_for_10_s_is_an_acceleration(
    weeks: float | None, count: int
) -> None:
    trace = Trace(20, band=1.0, weeks=weeks).excursion(300, 3, 6, 3, 12)
    assert len(findings_of(trace).accelerations) == count


@pytest.mark.parametrize(("lasts", "prolonged"), [(114, False), (126, True)])
def test_acceleration_of_two_minutes_is_prolonged(lasts: float, prolonged: bool) -> None:
    (found,) = findings_of(Trace(25).excursion(300, 12, lasts - 24, 12, 25)).accelerations
    assert found.prolonged is prolonged


@pytest.mark.parametrize(("to_peak", "abrupt"), [(27, True), (33, False)])
def test_acceleration_is_abrupt_when_its_peak_is_reached_in_under_30_s(
    to_peak: float, abrupt: bool
) -> None:
    (found,) = findings_of(Trace(20, band=2.0).excursion(300, to_peak, 10, 20, 25)).accelerations
    assert found.abrupt is abrupt


@pytest.mark.parametrize(("depth", "count"), [(13.5, 0), (14.5, 0), (15.5, 1), (40.0, 1)])
def test_variable_deceleration_is_15_bpm_deep(depth: float, count: int) -> None:
    trace = Trace(20, band=1.0).excursion(300, 10, 15, 10, -depth)
    assert len(findings_of(trace).decelerations) == count


@pytest.mark.parametrize(("lasts", "count"), [(12, 0), (14, 0), (16, 1), (30, 1)])
def test_variable_deceleration_lasts_15_s(lasts: float, count: int) -> None:
    trace = Trace(20, band=1.0).excursion(300, 4, lasts - 8, 4, -30)
    assert len(findings_of(trace).decelerations) == count


@pytest.mark.parametrize(
    ("to_nadir", "kind"),
    [
        (26, DecelerationKind.VARIABLE),
        (28, DecelerationKind.VARIABLE),
        (32, DecelerationKind.LATE),
        (40, DecelerationKind.LATE),
    ],
)
def test_onset_to_nadir_of_30_s_parts_abrupt_from_gradual(
    to_nadir: float, kind: DecelerationKind
) -> None:
    trace = Trace(20, band=2.0).contraction(310).contraction(600)
    (found,) = findings_of(trace.excursion(300, to_nadir, 6, 40, -30)).decelerations
    assert found.kind is kind
    assert found.onset_to_nadir_s == pytest.approx(to_nadir, abs=1.5)


@pytest.mark.parametrize(
    ("lag", "kind"), [(0, DecelerationKind.EARLY), (25, DecelerationKind.LATE)]
)
def test_gradual_deceleration_after_the_peak_is_late_and_with_it_is_early(
    lag: float, kind: DecelerationKind
) -> None:
    trace = Trace(20, band=4.0).contraction(400, duration_s=80)
    (found,) = findings_of(trace.excursion(400 + lag - 40, 40, 0, 40, -30)).decelerations
    assert found.kind is kind
    assert found.lag_s == pytest.approx(lag, abs=4.0)
    assert found.contraction == 0


def test_gradual_deceleration_without_activity_signal_is_not_named_late_or_early() -> None:
    trace = Trace(20, band=4.0)
    trace.activity_sensor = None
    (found,) = findings_of(trace.excursion(400, 40, 0, 40, -30)).decelerations
    assert found.kind is DecelerationKind.GRADUAL_UNPAIRED
    assert found.contraction == NO_CONTRACTION
    assert math.isnan(found.lag_s)


@pytest.mark.parametrize(
    ("lasts", "kind"),
    [(114, DecelerationKind.VARIABLE), (126, DecelerationKind.PROLONGED)],
)
def test_deceleration_of_two_minutes_is_prolonged(lasts: float, kind: DecelerationKind) -> None:
    trace = Trace(25).excursion(300, 12, lasts - 27, 15, -40)
    (found,) = findings_of(trace).decelerations
    assert found.kind is kind
    assert found.duration_s == pytest.approx(lasts, abs=3.0)


def test_fall_of_nine_minutes_is_a_prolonged_deceleration_and_of_fifteen_a_change_of_baseline() -> (
    None
):
    nine = findings_of(Trace(60).excursion(1500, 20, 500, 20, -30))
    assert [d.kind for d in nine.decelerations] == [DecelerationKind.PROLONGED]
    assert not nine.baseline_changes
    assert nine.baseline[2].bpm == 140.0
    fifteen = findings_of(Trace(60).excursion(1500, 20, 860, 20, -30))
    assert not fifteen.decelerations
    assert [round(c.to_bpm - c.from_bpm) for c in fifteen.baseline_changes] == [-30, 30]


def test_times_and_depth_of_a_clean_deceleration_are_those_drawn() -> None:
    (found,) = findings_of(Trace(20, band=2.0).excursion(420, 12, 20, 18, -45)).decelerations
    assert found.onset_s == pytest.approx(420, abs=1.5)
    assert found.end_s == pytest.approx(470, abs=1.5)
    assert 432 <= found.nadir_s <= 452
    assert found.depth_bpm == pytest.approx(45, abs=1.5)
    assert found.baseline_bpm == pytest.approx(140, abs=1.0)
    assert found.nadir_bpm == pytest.approx(95, abs=1.5)
    assert found.area_bpm_s == pytest.approx(45 * (20 + 15), rel=0.05)


def test_fast_fluctuation_within_a_deceleration_is_measured_from_its_samples() -> None:
    """FIGO 2015 and NICE NG229 weigh reduced variability within decelerations."""
    still = Trace(20, band=1.0).excursion(300, 10, 50, 10, -40)
    lively = Trace(20, band=1.0).excursion(300, 10, 50, 10, -40)
    inside = (lively.seconds > 300) & (lively.seconds < 370)
    wave = 6.0 * (2 * ((lively.seconds / 3.0) % 1.0 > 0.5) - 1)
    lively.bpm = lively.bpm + inside * wave
    assert findings_of(still).decelerations[0].variability_within_bpm < 5
    assert findings_of(lively).decelerations[0].variability_within_bpm > 5


def test_shoulders_are_seen_and_are_not_accelerations() -> None:
    trace = Trace(20, band=2.0)
    trace.excursion(285, 5, 5, 5, 10).excursion(300, 8, 15, 8, -40).excursion(331, 5, 5, 5, 10)
    found = findings_of(trace)
    assert not found.accelerations
    (deceleration,) = found.decelerations
    assert deceleration.shoulder_before
    assert deceleration.shoulder_after
    assert not deceleration.overshoot


@pytest.mark.parametrize(("height", "seen"), [(1.6, False), (6.0, True)])
def test_a_rise_within_the_fluctuation_is_no_shoulder(height: float, seen: bool) -> None:
    trace = Trace(20, band=0.2).excursion(300, 8, 10, 8, -40).excursion(328, 2, 8, 2, height)
    assert findings_of(trace).decelerations[0].shoulder_after is seen


@pytest.mark.parametrize(("times", "count"), [(2.0, 0), (1.3, 1)])
def test_a_rate_that_may_be_counted_double_is_no_acceleration(times: float, count: int) -> None:
    """Stepwise to twice the rate for two minutes: told as suspected doubling, and nothing that
    reassures; a rise of a third stays one, if doubtful."""
    trace = Trace(40, baseline=110)
    trace.bpm[at(900, 1020)] *= times
    found = findings_of(trace)
    assert len(found.accelerations) == count
    doubled = [a for a in found.artefacts if a.kind is ArtefactKind.DOUBLING]
    assert bool(doubled) is (count == 0)


def test_long_smooth_rise_after_a_deceleration_is_overshoot_not_a_shoulder() -> None:
    trace = Trace(20, band=2.0).excursion(300, 8, 15, 8, -40).excursion(331, 10, 40, 10, 13)
    (deceleration,) = findings_of(trace).decelerations
    assert deceleration.overshoot
    assert not deceleration.shoulder_after
    assert not deceleration.shoulder_before


@pytest.mark.parametrize(("back", "slow"), [(15, False), (45, True)])
def test_return_of_more_than_30_s_is_slow(back: float, slow: bool) -> None:
    (found,) = findings_of(Trace(20, band=2.0).excursion(300, 10, 10, back, -40)).decelerations
    assert found.slow_return is slow


def test_two_falls_with_a_rise_to_the_baseline_between_are_two() -> None:
    trace = Trace(20, band=4.0).excursion(300, 10, 15, 10, -40).excursion(350, 10, 15, 10, -40)
    assert len(findings_of(trace).decelerations) == 2


def test_two_dips_without_recovery_between_are_one() -> None:
    trace = Trace(20, band=2.0).excursion(300, 10, 50, 10, -40).excursion(328, 5, 4, 5, 12)
    assert len(findings_of(trace).decelerations) == 1


def test_certainty_falls_with_missing_signal() -> None:
    whole = findings_of(Trace(20, band=4.0).excursion(300, 10, 40, 10, -40)).decelerations[0]
    torn = Trace(20, band=4.0).excursion(300, 10, 40, 10, -40).lose(318, 340)
    part = findings_of(torn).decelerations[0]
    assert part.valid_share < whole.valid_share == 1.0
    assert part.certainty < whole.certainty


def test_specks_of_signal_in_a_long_gap_are_no_deceleration() -> None:
    trace = Trace(20, band=4.0).excursion(300, 5, 90, 5, -40).lose(302, 330).lose(333, 394)
    assert not findings_of(trace).decelerations


def test_shallow_gradual_fall_with_a_contraction_is_kept_apart() -> None:
    """FIGO 2015 counts 10-15 bpm only without accelerations and with reduced variability."""
    trace = Trace(20, band=2.0).contraction(380)
    (found,) = findings_of(trace.excursion(370, 40, 0, 40, -12.5)).decelerations
    assert found.shallow
    assert found.kind is DecelerationKind.LATE
    assert not findings_of(Trace(20, band=2.0).excursion(370, 10, 20, 10, -12.5)).decelerations


@pytest.mark.parametrize("floor_s", [20.0, 40.0])
def test_onset_to_nadir_is_never_longer_than_the_way_there(floor_s: float) -> None:
    """A sudden deep fall onto a sloping floor is sudden: its floor does not lengthen it."""
    trace = Trace(20, band=6.0).contraction(330)
    trace.excursion(300, 10, floor_s, 30, -55)
    sloping = (trace.seconds >= 310) & (trace.seconds < 310 + floor_s)
    trace.bpm[sloping] -= np.linspace(0, 8, int(sloping.sum()))
    (fall,) = findings_of(trace).decelerations
    assert fall.onset_to_nadir_s <= fall.nadir_s - fall.onset_s + 0.1
    assert fall.abrupt


def test_a_gap_with_specks_in_it_is_no_deceleration() -> None:
    """Seen off the baseline for less than 10 s: too little to say that it lasted 15."""
    trace = Trace(20).excursion(600, 2, 40, 2, -60)
    for start, end in ((602, 611), (612, 621), (622, 631), (632, 643)):
        trace.lose(start, end)
    assert not findings_of(trace).decelerations
    seen = Trace(20).excursion(600, 2, 40, 2, -60).lose(603, 612)
    assert len(findings_of(seen).decelerations) == 1


@pytest.mark.parametrize("depth", [8.0, 10.0, 12.0])
def test_shallow_late_falls_are_found_on_a_smooth_trace(depth: float) -> None:
    """At every contraction, with minimal variability: shallow, and late (NICHD 2008 sets late ones
    no least depth), and neither baseline nor bandwidth takes them in."""
    trace = Trace(60, baseline=150, band=2.0).contractions(180, 60)
    for k in range(18):
        trace.excursion(65 + 180 * k, 35, 10, 35, -depth)
    fetal = findings_of(trace)
    assert len(fetal.decelerations) >= 16
    assert all(d.shallow and d.kind is DecelerationKind.LATE for d in fetal.decelerations)
    assert all(s.mean_bpm == pytest.approx(150, abs=1.0) for s in fetal.baseline)
    assert all(v.bandwidth_bpm < 3.0 for v in fetal.variability)


def test_two_falls_around_one_gap_do_not_overlap() -> None:
    trace = Trace(20).excursion(600, 10, 30, 20, -40).excursion(665, 10, 30, 10, -40)
    trace.lose(640, 676)
    found = sorted(findings_of(trace).decelerations, key=lambda d: d.onset_s)
    assert all(a.end_s <= b.onset_s + 1e-6 for a, b in pairwise(found))


def test_a_brief_piece_entered_and_left_in_steps_is_no_event_but_is_told() -> None:
    trace = Trace(20)
    trace.bpm[at(300, 320)] -= 40.0
    found = findings_of(trace)
    assert not found.decelerations
    assert any(a.start_s < 310 < a.end_s and "steps" in a.why for a in found.artefacts)


@pytest.mark.parametrize(("down_s", "back_s"), [(6, 0.25), (0.25, 6)])
def test_a_fall_with_one_flank_seen_is_a_deceleration(down_s: float, back_s: float) -> None:
    found = findings_of(Trace(20).excursion(300, down_s, 14, back_s, -40))
    assert len(found.decelerations) == 1


def test_a_longer_fall_entered_and_left_in_steps_stays_with_a_doubt() -> None:
    stepped, sloped = Trace(20), Trace(20).excursion(300, 8, 34, 8, -40)
    stepped.bpm[at(300, 350)] -= 40.0
    (doubted,) = findings_of(stepped).decelerations
    (sure,) = findings_of(sloped).decelerations
    assert doubted.certainty < 0.7 * sure.certainty


@pytest.mark.parametrize(("rest", "count"), [(-20, 1), (-40, 2)])
def test_a_faltering_way_back_is_the_rest_of_its_fall(rest: float, count: int) -> None:
    trace = Trace(20, band=2.0).excursion(300, 10, 20, 10, -50).excursion(341, 5, 15, 5, rest)
    assert len(findings_of(trace).decelerations) == count


def test_a_value_held_while_the_heart_is_lost_makes_no_nadir() -> None:
    trace = Trace(20, band=2.0).excursion(300, 15, 20, 15, -40)
    trace.lose(312, 322)
    trace.bpm[at(315, 318)] = 62.0
    (found,) = findings_of(trace).decelerations
    assert found.nadir_bpm > 90.0


def test_a_fall_under_way_when_the_signal_comes_back_is_told_however_long_the_gap() -> None:
    trace = Trace(40).excursion(1200, 10, 140, 20, -60).lose(840, 1230)
    trace.bpm[at(1230, 1290)] += 15.0 * np.sin(np.pi * np.arange(240) / 240)
    (found,) = findings_of(trace).decelerations
    assert 1180 < found.onset_s <= 1230 and found.end_s == pytest.approx(1368, abs=8)
