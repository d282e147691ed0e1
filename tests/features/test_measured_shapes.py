"""Shapes of known measures: what is said of an event, a hill, a level is what was drawn."""

from __future__ import annotations

import math
from itertools import pairwise

import numpy as np
import pytest
from numpy.typing import NDArray

from ebbline.definitions import BASELINE_CHANGE_BPM, BASELINE_CHANGE_S, LEAST_BASELINE_S
from ebbline.features import baseline as base
from ebbline.features import contractions as hills
from ebbline.features import detect, events, manual_levels, segments, variability
from ebbline.features import excursions as exc
from ebbline.features.event_matching import Span, match, shared_time
from ebbline.features.findings import NO_CONTRACTION, Contraction, Curve, VariabilityClass
from ebbline.terms import Window
from features.constructed import Trace

FloatArray = NDArray[np.float64]
RATE = 4.0


def trapezoid(rise: int, hold: int, back: int, height: float, lead: int = 200) -> FloatArray:
    at = np.cumsum([lead, rise, hold, back])
    shape = np.interp(np.arange(at[-1] + lead), at, [0.0, height, height, 0.0], 0.0, 0.0)
    return np.asarray(shape)


def described(
    away: FloatArray, rise: int, hold: int, back: int, *, rough: float = 0.4
) -> dict[str, float]:
    """The numbers of an excursion whose onset and end are known."""
    row = np.zeros(exc.COLUMNS)
    inside = np.flatnonzero(away >= 3.0)
    start, end, top = int(inside[0]), int(inside[-1]) + 1, int(np.nanargmax(away))
    row[[exc.ONSET, exc.END, exc.AMPLITUDE]] = 200.0, 200.0 + rise + hold + back, away[top]
    exc.describe(row, 140.0 - away, away, start, end, top, 3.0, rough, RATE)
    names = ("EXTREME", "TO_EXTREME", "RETURN", "AREA", "VALID_SHARE", "SEEN_OFF", "WITHIN")
    return {name: float(row[getattr(exc, name)]) for name in names}


def test_a_straight_fall_with_a_floor_is_measured_as_it_was_drawn() -> None:
    """80 samples down, 40 at the bottom, 120 back, 30 bpm: the extreme is within 1 bpm of it."""
    found = described(trapezoid(80, 40, 120, 30.0), 80, 40, 120)
    # Within 1 bpm from 29/30 of the way down to 1/30 of the way back.
    assert found["TO_EXTREME"] == math.ceil(80 * 29 / 30)
    assert found["RETURN"] == 120 - math.floor(120 / 30)
    # Within 1.5 bpm: the middle of that stretch.
    assert found["EXTREME"] == pytest.approx(200 + (76 + 120 + 6) / 2, abs=0.5)
    assert found["AREA"] == pytest.approx(30.0 * (40 + (80 + 120) / 2))
    assert found["VALID_SHARE"] == 1.0
    assert found["SEEN_OFF"] == (80 - 8) + 40 + (120 - 12) + 1


def test_of_a_rough_trace_the_middle_of_the_extreme_is_its_nadir() -> None:
    """A trace whose roughness is twice SMOOTH_TRACE of the height comes near long before."""
    away = trapezoid(80, 40, 120, 30.0)
    smooth, rough = (described(away, 80, 40, 120, rough=share * 30.0) for share in (0.016, 0.033))
    halfway = described(away, 80, 40, 120, rough=0.024 * 30.0)
    assert rough["TO_EXTREME"] == pytest.approx(rough["EXTREME"] - 200.0)
    between = 0.5 * (smooth["TO_EXTREME"] + rough["TO_EXTREME"])
    assert halfway["TO_EXTREME"] == pytest.approx(between, abs=0.5)


def test_half_of_a_fall_that_was_lost_is_half_valid() -> None:
    away = trapezoid(40, 120, 40, 30.0)
    away[220:320] = np.nan
    found = described(away, 40, 120, 40)
    assert found["VALID_SHARE"] == pytest.approx(101 / 201)
    assert found["AREA"] == pytest.approx(np.nansum(away[200:401]))


@pytest.mark.parametrize("length", [60, 100, 160])
def test_the_way_down_of_an_s_shaped_fall_is_told_from_its_steep_part(length: int) -> None:
    """A cosine from the baseline to 40 bpm under it, and a floor that goes on sloping."""
    t = np.arange(700) - 200
    away = 20.0 * (1.0 - np.cos(np.pi * np.clip(t / length, 0.0, 1.0)))
    found = exc._climb(away, 200.0, 200.0 + length + 60, 200.0 + length + 60, RATE)
    assert found == pytest.approx(length, rel=0.12)
    assert exc._climb(away, 200.0, 200.0 + length + 60, 230.0, RATE) == 30.0, "never beyond it"


def test_a_fall_without_a_way_down_takes_no_time() -> None:
    assert exc._climb(np.full(50, 20.0), 10.0, 10.0, 10.0, RATE) == 0.0
    assert exc._climb(np.full(50, 20.0), 10.0, 9.0, 8.0, RATE) == 0.0


# ---------------------------------------------------------------- contractions


def bells(
    *peaks: float, duration: float = 80.0, height: float = 45.0, minutes: int = 30
) -> FloatArray:
    t = np.arange(60 * minutes, dtype=np.float64)
    made = np.full(t.size, 10.0)
    for peak in peaks:
        x = (t - peak) / duration
        made += np.where(np.abs(x) < 0.5, height * np.cos(np.pi * x) ** 2, 0.0)
    return made


def hilled(mean: FloatArray, share: FloatArray | None = None) -> FloatArray:
    seen = np.where(np.isfinite(mean), 1.0, 0.0) if share is None else share
    return hills.tone_and_hills(mean, seen, 3.0, 0.0)[1]


PEAKS = (180.0, 420.0, 660.0, 900.0, 1140.0, 1380.0)


def test_a_bell_on_a_steady_tone_is_measured_as_it_was_drawn() -> None:
    rows = hilled(bells(*PEAKS))
    assert rows[:, hills.PEAK] == pytest.approx(PEAKS, abs=1.0)
    assert rows[:, hills.TONE] == pytest.approx(10.0, abs=0.5)
    assert rows[:, hills.AMPLITUDE] == pytest.approx(45.0, rel=0.06)
    # Half of its 80 s are over half of the height; its foot at 12 % leaves 62 of them.
    assert rows[:, hills.BREADTH] == pytest.approx(40.0 / 62.0, abs=0.05)
    assert (rows[:, hills.SHAKEN] < 0.02).all() and (rows[:, hills.LIKELY] > 0.95).all()
    assert (rows[:, hills.VALID_SHARE] == 1.0).all()
    assert (rows[:, hills.CUT_TOP] == 0.0).all()
    # The foot is at 12 % of the height, and smoothing widens it a little.
    lasting = rows[:, hills.END] - rows[:, hills.ONSET]
    assert ((lasting > 55.0) & (lasting < 85.0)).all()
    middle = 0.5 * (rows[:, hills.END] + rows[:, hills.ONSET])
    assert middle == pytest.approx(PEAKS, abs=1.5)


def test_a_top_that_the_transducer_cut_off_is_said_to_be_cut() -> None:
    rows = hilled(np.minimum(bells(*PEAKS, height=60.0), 50.0))
    assert (rows[:, hills.CUT_TOP] == 1.0).all()


@pytest.mark.parametrize(("seconds", "found"), [(20.0, False), (40.0, True), (150.0, True)])
def test_a_contraction_is_not_brief(seconds: float, found: bool) -> None:
    """Common practice: 30 to 90 s; hills of 25 to 200 s count (ours)."""
    rows = hilled(bells(*PEAKS) + bells(1620.0, duration=seconds) - 10.0)
    there = np.abs(rows[:, hills.PEAK] - 1620.0) < 60.0
    assert bool(there.any()) is found


@pytest.mark.parametrize(("seen_s", "found"), [(60, True), (16, False)])
def test_a_hill_of_which_most_was_not_measured_is_none(seen_s: int, found: bool) -> None:
    mean = bells(*PEAKS)
    share = np.ones(mean.size)
    lost = slice(660 - 40, 660 + 40 - seen_s)
    share[lost] = 0.0
    there = np.abs(hilled(mean, share)[:, hills.PEAK] - 660.0) < 30.0
    assert bool(there.any()) is found


@pytest.mark.parametrize(("height", "found"), [(10.0, False), (25.0, True)])
def test_a_hill_is_judged_against_those_around_it(height: float, found: bool) -> None:
    """Under 36 % of the usual height it is none (ours)."""
    rows = hilled(bells(*PEAKS) + bells(1560.0, height=height) - 10.0)
    assert bool((np.abs(rows[:, hills.PEAK] - 1560.0) < 30.0).any()) is found


def test_less_than_a_minute_has_neither_tone_nor_hills() -> None:
    tone, rows, _ = hills.tone_and_hills(np.full(59, 10.0), np.ones(59), 3.0, 0.0)
    assert np.isnan(tone).all() and rows.shape == (0, hills.COLUMNS)
    assert np.isfinite(hills.tone_and_hills(np.full(60, 10.0), np.ones(60), 3.0, 0.0)[0]).all()


def hill(**words: float) -> FloatArray:
    """A contraction of a minute that rises and falls as a bell on a quiet belt."""
    row = np.zeros(hills.COLUMNS)
    told = {"END": 60.0, "AMPLITUDE": 40.0, "BREADTH": 0.6, "STEEPEST": 0.05, "SHAKEN": 0.03,
            "LIKELY": 1.0, "VALID_SHARE": 1.0} | words  # fmt: skip
    for name, value in told.items():
        row[getattr(hills, name)] = value
    return row


def test_a_hill_is_the_surer_the_better_seen_likelier_and_more_bell_shaped() -> None:
    sure = events._plausibility(hill().tolist())
    assert sure == pytest.approx(1.0)
    assert events._plausibility(hill(VALID_SHARE=0.5).tolist()) == pytest.approx(0.5)
    assert events._plausibility(hill(LIKELY=0.6).tolist()) == pytest.approx(0.6)
    assert events._plausibility(hill(BREADTH=events.PLATEAU_BREADTH).tolist()) == sure
    assert events._plausibility(hill(BREADTH=0.73).tolist()) == pytest.approx(0.7)
    assert events._plausibility(hill(BREADTH=0.80).tolist()) == pytest.approx(0.7)
    assert events._plausibility(hill(BREADTH=0.81).tolist()) == pytest.approx(0.45)


def test_a_steep_brief_hill_among_its_like_is_no_contraction() -> None:
    """The womb hardens over some 20 s and softens more slowly; a hand or a cough does not, and a
    woman who turns shakes the belt before and after."""
    womb = hills.likeliness(hill())
    assert womb > 0.95
    assert hills.likeliness(hill(STEEPEST=0.12)) < womb
    assert hills.likeliness(hill(SHAKEN=0.2)) < womb
    assert hills.likeliness(hill(END=28.0)) < womb
    assert hills.likeliness(hill(BREADTH=0.4)) < womb
    hand = hill(STEEPEST=0.14, SHAKEN=0.12, END=30.0, BREADTH=0.4)
    assert hills.likeliness(hand) < 0.5 * hills.LEAST_LIKELY
    assert np.isfinite(hills.likeliness(hill(STEEPEST=0.0, SHAKEN=0.0)))


def test_hands_on_a_shaken_belt_are_not_told_and_contractions_beside_them_are() -> None:
    rng = np.random.default_rng(7)
    mean = bells(*PEAKS)
    t = np.arange(mean.size)
    restless = (t > 1500) & (t < 1740)
    for at in range(1510, 1740, 23):
        mean += 30.0 * np.exp(-np.maximum(t - at, 0) / 5.0) * (t >= at)
    mean += np.where(restless, rng.normal(0.0, 4.0, mean.size), 0.0)
    rows = hilled(mean)
    assert rows[rows[:, hills.PEAK] < 1480.0, hills.PEAK] == pytest.approx(PEAKS, abs=1.0)
    assert not (rows[:, hills.PEAK] > 1500.0).any()


def test_contractions_carry_their_own_numbers() -> None:
    rows = hilled(np.minimum(bells(*PEAKS, height=60.0), 50.0))
    found = events.contractions_from(rows)
    assert len(found) == len(rows)
    for one, row in zip(found, rows.tolist(), strict=True):
        assert (one.onset_s, one.peak_s, one.end_s) == (row[0], row[1], row[2])
        assert (one.amplitude, one.resting_tone) == (row[hills.AMPLITUDE], row[hills.TONE])
        assert one.valid_share == row[hills.VALID_SHARE]
        assert one.cut_top


def squeeze(peak_s: float) -> Contraction:
    return Contraction(peak_s - 30.0, peak_s, peak_s + 40.0, 50.0, 10.0, 1.0, 1.0)


@pytest.mark.parametrize(
    ("onset_s", "nadir_s", "index"),
    [
        (285.0, 312.0, 0),
        # The nadir: 20 s before the onset to 60 s after the end (ours).
        (240.0, 250.0, 0),
        (240.0, 249.9, NO_CONTRACTION),
        (300.0, 400.0, 0),
        (300.0, 400.1, NO_CONTRACTION),
        # The fall begins 45 s before the onset to 15 s after the end (ours).
        (225.0, 300.0, 0),
        (224.9, 300.0, NO_CONTRACTION),
        (355.0, 380.0, 0),
        (355.1, 380.0, NO_CONTRACTION),
    ],
)
def test_a_fall_belongs_to_the_contraction_in_whose_reach_it_lies(
    onset_s: float, nadir_s: float, index: int
) -> None:
    assert events.Pairing([squeeze(300.0)]).of(onset_s, nadir_s) == index
    assert events.Pairing([]).of(onset_s, nadir_s) == NO_CONTRACTION


@pytest.mark.parametrize(("nadir_s", "index"), [(371.9, 0), (372.1, 1)])
def test_between_two_contractions_a_nadir_follows_the_nearer_peak_by_12_s(
    nadir_s: float, index: int
) -> None:
    """Ours: halfway between 300 and 420 s, and 12 s on."""
    pairing = events.Pairing([squeeze(300.0), squeeze(420.0)])
    assert pairing.of(nadir_s - 25.0, nadir_s) == index


# ---------------------------------------------------------------- levels


def flat(minutes: float, bpm: float = 140.0) -> FloatArray:
    return np.full(int(240 * minutes), bpm)


def levels(of: FloatArray, band: float | None = None, sure: float = 1.0) -> tuple:
    minutes = math.ceil(len(of) / 240)
    bands = np.full(minutes, 12.0 if band is None else band)
    path = np.full(math.ceil(len(of) / (32 * 4)), 140.0)
    return segments.baseline_segments(of, bands, np.full(math.ceil(len(of) / 4), sure), path)


@pytest.mark.parametrize(
    ("minutes", "ends"),
    [
        (10, [10]),
        (14.9, [14.9]),
        (15, [10, 15]),
        (24.9, [10, 24.9]),
        (25, [10, 20, 25]),
        (4, [4]),
    ],
)
def test_what_is_left_over_joins_the_last_ten_minutes_unless_it_is_half_of_ten(
    minutes: float, ends: list[float]
) -> None:
    found = segments.ten_minutes(int(240 * minutes))
    assert [end / 240 for _, end in found] == pytest.approx(ends, abs=0.01)
    assert found[0][0] == 0
    assert all(a[1] == b[0] for a, b in pairwise(found))


@pytest.mark.parametrize(("seconds", "known"), [(120.0, True), (119.75, False)])
def test_ten_minutes_with_two_of_baseline_have_one(seconds: float, known: bool) -> None:
    """NICHD 2008: for at least two minutes of any ten."""
    assert float(LEAST_BASELINE_S) == 120.0
    of = flat(10, 137.0)
    of[int(4 * seconds) :] = np.nan
    (one,) = levels(of)
    assert one.determinate is known
    assert one.baseline_s == seconds
    assert one.mean_bpm == pytest.approx(137.0 if known else np.nan, nan_ok=True)
    assert one.bpm == pytest.approx(135.0 if known else np.nan, nan_ok=True)
    assert (one.why == "") is known


def test_an_indeterminate_baseline_says_which_ten_minutes_it_is_carried_over_from() -> None:
    """NICHD 2008: the previous ten minutes may serve."""
    of = flat(40)
    of[: 240 * 10] = np.nan
    of[240 * 20 :] = np.nan
    first, second, third, fourth = levels(of)
    assert math.isnan(first.carried_from_s)
    assert second.determinate
    assert (third.carried_from_s, fourth.carried_from_s) == (600.0, 600.0)
    assert third.why == "0 s of baseline in these ten minutes, 120 s are needed"


def test_the_spread_of_a_baseline_is_that_of_its_mean_and_wider_where_the_level_is_unsure() -> None:
    of = flat(10) + np.tile([-3.0, 3.0], 1200)
    (sure,) = levels(of)
    assert sure.spread_bpm == pytest.approx(3.0 / math.sqrt(600.0 / 30.0))
    (half,) = levels(of, sure=0.5)
    assert half.spread_bpm == pytest.approx(2.0 * sure.spread_bpm)
    (least,) = levels(of, sure=0.0)
    assert least.spread_bpm == pytest.approx(5.0 * sure.spread_bpm)


def test_minutes_of_marked_variability_are_left_out_of_the_baseline_where_others_are_left() -> None:
    """NICHD 2008 excludes periods of marked variability (over 25 bpm)."""
    of = np.concatenate([flat(5, 150.0), flat(5, 140.0)])
    bands = np.array([26.0] * 5 + [25.0] * 5)
    path = np.full(19, 145.0)
    (one,) = segments.baseline_segments(of, bands, np.ones(600), path)
    assert one.mean_bpm == 140.0
    (alone,) = segments.baseline_segments(of, np.full(10, 26.0), np.ones(600), path)
    assert alone.mean_bpm == 145.0, "marked throughout still has a level"


def test_where_the_level_changes_the_baseline_is_of_the_level_that_most_of_it_lies_on() -> None:
    of = np.concatenate([flat(6.4, 140.0), flat(3.6, 110.0)])
    path = np.array([140.0] * 12 + [110.0] * 7)
    (one,) = segments.baseline_segments(of, np.full(10, 12.0), np.ones(600), path)
    assert one.mean_bpm == 140.0


@pytest.mark.parametrize(
    ("before", "after", "change", "told"),
    [
        (19, 19, 20.0, True),
        (18, 19, 20.0, True),
        (17, 19, 20.0, False),
        (19, 17, 20.0, False),
        (19, 19, float(BASELINE_CHANGE_BPM), True),
        (19, 19, BASELINE_CHANGE_BPM - 0.1, False),
    ],
)
def test_a_change_of_baseline_lasts_ten_minutes_on_both_sides(
    before: int, after: int, change: float, told: bool
) -> None:
    """NICHD 2008; steps of 32 s, the last one of ten minutes not whole."""
    assert int(BASELINE_CHANGE_S / base.STEP_S) == 18
    path = np.array([140.0] * before + [140.0 - change] * after)
    found = segments.baseline_changes(path)
    assert len(found) == int(told)
    for one in found:
        assert (one.at_s, one.from_bpm, one.to_bpm) == (32.0 * before, 140.0, 140.0 - change)


def test_a_baseline_that_was_hardly_seen_is_not_drawn() -> None:
    """Ours: for five minutes on either side of where it was seen for 30 s, a fall in it or not."""
    level = np.full(1800, 140.0)
    of = np.full(1800, 140.0)
    of[500:1300] = np.nan
    shown = segments.admitted(level, level, of)
    assert np.isnan(shown[771:1029]).all()
    assert np.isfinite(shown[:770]).all() and np.isfinite(shown[1030:]).all()
    of[900:930] = 140.0
    assert np.isfinite(segments.admitted(level, level, of)).all()


def test_a_baseline_is_carried_for_a_minute_into_lost_signal_and_no_further() -> None:
    """Ours: what was not seen for minutes is not claimed; a minute's gap is bridged."""
    level = np.full(1800, 140.0)
    lost = level.copy()
    lost[600:900] = lost[1200:1290] = np.nan
    shown = segments.admitted(level, lost, lost)
    assert np.isnan(shown[660:840]).all()
    assert np.isfinite(shown[:640]).all() and np.isfinite(shown[860:]).all()


def test_a_level_that_changed_unseen_does_not_pull_the_baseline_before_it() -> None:
    trace = Trace(70, band=8.0)
    trace.bpm[45 * 240 :] += 45.0
    trace.lose(25 * 60, 45 * 60)
    trace.excursion(1400, 20, 60, 20, 40)
    curve = detect(trace.recording()).fetal.baseline_curve.values
    assert np.nanmax(np.abs(curve[: 25 * 60] - 140.0)) < 4.0
    assert np.nanmax(np.abs(curve[45 * 60 :] - 185.0)) < 4.0
    assert np.isnan(curve[27 * 60 : 43 * 60]).all()


def test_the_variability_of_ten_minutes_is_the_surer_the_farther_from_a_border() -> None:
    of = flat(10)
    for width in (12.0, 5.5, 2.0):
        band = np.full(10, width)
        band[8:] = np.nan
        (one,) = segments.variability_segments(of, band, np.array([6.0] * 5 + [8.0] * 5))
        clear = min(abs(math.log(width / border)) for border in variability.LIMITS_BPM)
        assert one.certainty == pytest.approx(0.8 * (1.0 - 0.5 * math.exp(-clear / 0.15)))
        assert one.measured_minutes == 8
        assert one.bandwidth_bpm == width
        assert one.ltv_bpm == 7.0
        assert one.stv_ms == 0.0
    (none,) = segments.variability_segments(of, np.full(10, np.nan), np.full(10, np.nan))
    assert none.variability is VariabilityClass.INDETERMINATE
    assert none.certainty == 0.0
    assert math.isnan(none.ltv_bpm)


@pytest.mark.parametrize(
    ("measured", "of", "known"),
    [(3, 10, True), (2, 10, False), (3, 4, True), (2, 4, False), (4, 14, False), (5, 14, True)],
)
def test_three_of_ten_minutes_are_enough_for_a_class(measured: int, of: int, known: bool) -> None:
    """Common practice: three minutes and three tenths."""
    minutes = np.full(of, np.nan)
    minutes[:measured] = 12.0
    found = variability.class_of_minutes(minutes)
    assert (found is VariabilityClass.MODERATE) is known


# ---------------------------------------------------------------- by hand, and matching


@pytest.mark.parametrize(
    ("time_s", "value"),
    [(119.9, None), (120.0, 1.0), (179.0, 1.0), (180.0, 2.0), (239.9, 2.0), (240.0, None)],
)
def test_a_curve_is_read_only_where_it_was_measured(time_s: float, value: float | None) -> None:
    curve = Curve(120.0, 60.0, np.array([1.0, 2.0]))
    assert manual_levels._at(curve, time_s) == pytest.approx(
        math.nan if value is None else value, nan_ok=True
    )


def test_a_level_said_by_hand_fills_the_steps_whose_middle_lies_in_the_stretch() -> None:
    curve = Curve(60.0, 60.0, np.zeros(5))
    filled = manual_levels._filled(curve, Window(90.0, 210.0), 7.0)
    assert filled.values.tolist() == [7.0, 7.0, 7.0, 0.0, 0.0]
    assert manual_levels._mostly(0.0, 600.0, Window(300.0, 900.0))
    assert not manual_levels._mostly(0.0, 600.0, Window(301.0, 900.0))


def test_shared_time_is_the_part_of_both_that_both_hold() -> None:
    """Jaccard 1901."""
    assert shared_time(Span(0.0, 10.0), Span(5.0, 15.0)) == pytest.approx(5 / 15)
    assert shared_time(Span(0.0, 10.0), Span(10.0, 20.0)) == 0.0
    assert shared_time(Span(0.0, 10.0), Span(0.0, 10.0)) == 1.0
    assert shared_time(Span(0.0, 10.0), Span(30.0, 40.0)) == 0.0


def test_a_mark_on_what_need_not_be_found_is_neither_right_nor_wrong() -> None:
    found = match(
        [Span(0.0, 10.0), Span(100.0, 110.0), Span(300.0, 310.0)],
        [Span(0.0, 10.0), Span(100.0, 110.0, required=False), Span(200.0, 210.0)],
    )
    assert (found.pairs, found.optional) == (((0, 0),), ((1, 1),))
    assert (found.missed, found.extra) == ((2,), (2,))
    assert (found.sensitivity, found.predictive_value, found.f1) == (0.5, 0.5, 0.5)
    nothing = match([], [])
    assert math.isnan(nothing.sensitivity) and math.isnan(nothing.predictive_value)
    assert nothing.f1 == 1.0
