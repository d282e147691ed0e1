"""Each mechanism gives the pattern it is known by, measured by plain code on the true rate.

Definitions: NICHD 2008 (Macones et al. Obstet Gynecol 2008;112:661-6).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from ebbline.definitions import LATE_LAG_S
from ebbline.synth import LabourEngine, Scenario, invent
from ebbline.synth.ground_truth import EventKind, Mechanism
from synth.measuring import dips, nearest, peaks, short_term_variation_ms

PLAIN = ", no accelerations, bandwidth 0, 4 contractions"
"""Nothing but what the mechanism does."""


def _plain(words: str, hours: float = 2.0) -> Scenario:
    return replace(Scenario.from_words(words + PLAIN), hours=hours, baseline_wander_bpm=0.0)


def _measured(words: str, seed: int = 3) -> tuple[list, list[float]]:
    labour = invent(_plain(words), seed)
    truth = labour.truth
    found = dips(truth.heart_rate.values, truth.baseline.values)
    return found, peaks(truth.pressure.values, 10.0)


def test_interrupted_placental_flow_gives_gradual_falls_after_the_peak() -> None:
    """Lag of 18 to 64 s, 41 s on average: type II dips of Caldeyro-Barcia (from memory); some come
    sooner here, as lags of the two kinds overlap."""
    to_nadir, lags = [], []
    for seed in (3, 4, 5, 6):
        found, tops = _measured("recurrent late, strong contractions", seed)
        for dip in found:
            if dip.end_s - dip.onset_s < 120:
                to_nadir.append(dip.to_nadir_s)
                earlier = [t for t in tops if t < dip.nadir_s]
                lags.append(dip.nadir_s - nearest(earlier, dip.nadir_s))
    assert len(lags) >= 100
    assert np.mean([seconds >= 30 for seconds in to_nadir]) > 0.9
    assert np.mean([18 <= lag <= 64 for lag in lags]) > 0.9
    assert 30 < np.mean(lags) < 50


def test_late_falls_begin_more_than_20_s_after_the_contraction() -> None:
    """FIGO 2015 (Ayres-de-Campos et al. IJGO 2015;131:13-24): onset > 20 s after its onset."""
    truth = invent(_plain("recurrent late, strong contractions"), 4).truth
    lags = [
        d.onset_s - truth.contractions[d.contraction].onset_s
        for d in truth.decelerations
        if d.kind is EventKind.LATE
    ]
    assert len(lags) > 20
    assert np.mean([lag > 20 for lag in lags]) > 0.9


def test_head_compression_mirrors_the_contraction() -> None:
    """Lag of less than 18 s, 3.5 s on average: type I dips of Caldeyro-Barcia (from memory)."""
    found, tops = _measured("recurrent early")
    single = [d for d in found if d.end_s - d.onset_s < 120]
    assert len(single) >= 20
    assert np.mean([d.to_nadir_s >= 30 for d in single]) > 0.9
    lags = [d.nadir_s - nearest(tops, d.nadir_s) for d in single]
    assert np.mean([abs(lag) < 18 for lag in lags]) > 0.95
    assert abs(np.mean(lags)) < 8


def test_cord_compression_gives_abrupt_falls_of_15_bpm_and_15_s() -> None:
    found, _ = _measured("recurrent variable, without shoulders")
    single = [d for d in found if 15 <= d.end_s - d.onset_s < 120]
    assert len(single) >= 25
    assert np.mean([d.to_floor_s < 30 for d in single]) > 0.93


def test_shoulders_come_when_the_cord_is_partly_closed() -> None:
    truth = invent(_plain("recurrent variable, with shoulders"), 3).truth
    rate, base = truth.heart_rate.values, truth.baseline.values
    before = [
        rate[round(d.onset_s * 4) - 60 : round(d.onset_s * 4)].max() - base[int(d.onset_s)]
        for d in truth.decelerations
        if d.mechanism is Mechanism.CORD and d.onset_s > 20
    ]
    assert np.mean([rise > 4 for rise in before]) > 0.85


def test_a_tired_fetus_loses_its_shoulders() -> None:
    """Shoulders are of the fetus that can still answer (FIGO 2015 and textbooks: their loss is a
    sign of hypoxia): with a reserve near none no fall has them, however often they are asked for.
    """
    scenario = replace(
        Scenario(), hours=3.0, variable_share=0.9, variable_depth_bpm=40.0, shoulder_share=1.0,
        reserve_loss=0.6,
    )  # fmt: skip
    truth = invent(scenario, 3).truth
    falls = [
        (truth.reserve.values[int(d.onset_s / truth.reserve.step_s)], d.shoulder_before)
        for d in truth.decelerations
        if d.kind == "variable"
    ]
    fresh = [shoulder for reserve, shoulder in falls if reserve > 0.75]
    tired = [shoulder for reserve, shoulder in falls if reserve < 0.35]
    assert len(fresh) > 5
    assert sum(fresh) > 0.6 * len(fresh)
    assert len(tired) > 5
    assert not any(tired)


def test_a_prolonged_fall_lasts_2_to_10_minutes() -> None:
    found, _ = _measured("prolonged deceleration")
    longest = max(found, key=lambda d: d.end_s - d.onset_s)
    assert 120 <= longest.end_s - longest.onset_s < 600
    assert longest.depth_bpm >= 15


@pytest.mark.parametrize(
    "words", ["recurrent late", "recurrent early", "recurrent variable", "prolonged decelerations"]
)
def test_truth_says_what_plain_measurement_finds(words: str) -> None:
    truth = invent(_plain(words + ", without shoulders"), 9).truth
    found = dips(truth.heart_rate.values, truth.baseline.values)
    compared = 0
    for dip in found:
        inside = [d for d in truth.decelerations if dip.onset_s < d.nadir_s < dip.end_s]
        assert inside, "a fall that the truth does not know"
        if len(inside) == 1 and 1 < dip.onset_s < 7000:
            compared += 1
            told = inside[0]
            assert abs(dip.onset_s - told.onset_s) < 6
            # The truth reads the mean of a millimetre of paper: a sharp floor is less deep there.
            assert abs(dip.depth_bpm - told.depth_bpm) < max(3.0, 0.08 * dip.depth_bpm)
    assert compared >= 3


def test_kinds_agree_with_their_definitions() -> None:
    words = "intermittent late, intermittent variable, intermittent early"
    kinds = set()
    for seed in range(6):
        for d in invent(Scenario.from_words(words), seed).truth.decelerations:
            kinds.add(d.kind)
            duration = d.end_s - d.onset_s
            assert (d.kind is EventKind.PROLONGED) == (duration >= 120 and d.depth_bpm >= 15)
            assert d.counts == (d.depth_bpm >= 15 and duration >= 15)
            assert d.onset_s < d.nadir_s < d.end_s
            if d.kind is EventKind.LATE and d.clear:
                assert d.lag_s > LATE_LAG_S and d.nadir_s - d.onset_s >= 30
            if d.kind is EventKind.EARLY and d.clear:
                assert d.lag_s < LATE_LAG_S and d.nadir_s - d.onset_s >= 30
            if d.kind is EventKind.VARIABLE and d.clear:
                assert d.nadir_start_s - d.onset_s < 30
    assert {EventKind.LATE, EventKind.EARLY, EventKind.VARIABLE} <= kinds


def test_accelerations_that_count_are_15_bpm_and_15_s() -> None:
    for a in invent(Scenario.from_words("many accelerations, 3 hours"), 5).truth.accelerations:
        if a.counts:
            assert a.height_bpm >= 15 and a.end_s - a.onset_s >= 15
            assert a.peak_start_s - a.onset_s < 30 or a.end_s - a.onset_s >= 120


def test_before_32_weeks_10_bpm_and_10_s_count() -> None:
    truth = invent(Scenario.from_words("many accelerations, 28 weeks, 3 hours"), 5).truth
    small = [a for a in truth.accelerations if a.counts and a.height_bpm < 15]
    assert small
    assert all(a.height_bpm >= 10 for a in truth.accelerations if a.counts)


def test_a_sinusoidal_trace_undulates_3_to_5_times_a_minute() -> None:
    """NICHD 2008: smooth, sine-like, 3-5 a minute; FIGO 2015: amplitude 5 to 15 bpm."""
    truth = invent(Scenario.from_words("sinusoidal, no contractions"), 2).truth
    rate = truth.heart_rate.values[240 * 5 : 240 * 55]
    rate = rate - rate.mean()
    power = np.abs(np.fft.rfft(rate * np.hanning(len(rate)))) ** 2
    per_min = np.fft.rfftfreq(len(rate), 0.25) * 60
    assert 3 <= per_min[np.argmax(power)] <= 5
    assert power[(per_min >= 2.5) & (per_min <= 5.5)].sum() > 0.85 * power[per_min > 1].sum()
    assert 5 <= np.sqrt(2) * rate.std() <= 15


@pytest.mark.parametrize(
    ("words", "low", "high"),
    [
        ("absent variability", 0.0, 2.0),
        ("minimal variability", 2.0, 5.0),
        ("moderate variability", 6.0, 25.0),
        ("marked variability", 25.0, 60.0),
    ],
)
def test_variability_asked_for_is_the_variability_given(
    words: str, low: float, high: float
) -> None:
    bandwidth = invent(Scenario.from_words(words + ", 2 hours"), 8).truth.bandwidth.values
    assert low < np.nanmean(bandwidth) < high


def test_bandwidth_given_is_that_asked_for_on_average() -> None:
    for asked in (4.0, 12.0, 30.0):
        scenario = replace(
            Scenario.from_words("moderate variability, no accelerations"),
            bandwidth_bpm=asked,
            hours=3.0,
        )
        means = [np.nanmean(invent(scenario, seed).truth.bandwidth.values) for seed in range(4)]
        assert np.mean(means) == pytest.approx(asked, rel=0.12)


def test_short_term_variation_at_term_is_in_the_published_range() -> None:
    """Pardey et al. 2002: normal above 4 ms, mean of healthy fetuses at term 7 to 10 (m)."""
    rate = invent(Scenario.from_words("active sleep, no contractions"), 1).truth.heart_rate.values
    assert 4 < short_term_variation_ms(rate) < 12
    calm = invent(Scenario.from_words("absent variability"), 1).truth.heart_rate.values
    assert short_term_variation_ms(calm) < 2.6


def test_a_spent_reserve_takes_variability_and_raises_the_baseline() -> None:
    truth = invent(Scenario.from_words("deteriorating, active sleep, 2 hours"), 2).truth
    assert truth.reserve.values[-1] < 0.5 < truth.reserve.values[600]
    assert np.nanmean(truth.bandwidth.values[-15:]) < 0.8 * np.nanmean(truth.bandwidth.values[:15])
    assert truth.baseline.values[-600:].mean() > truth.baseline.values[:600].mean() + 8


def test_an_opioid_lowers_variability_and_it_returns() -> None:
    from ebbline.synth.actions import GiveOpioid

    engine = LabourEngine(Scenario.from_words("active sleep, no contractions"), 6)
    engine.advance(60)
    engine.advance(240, [GiveOpioid()])
    width = engine.labour().truth.bandwidth.values
    assert np.nanmean(width[90:125]) < 0.6 * np.nanmean(width[:55])
    assert np.nanmean(width[240:]) > 0.8 * np.nanmean(width[:55])


def test_quiet_and_active_sleep_take_turns() -> None:
    """Nijhuis et al. Early Hum Dev 1982;6:177-95; quiet spells of 20 to 40 minutes (m)."""
    width = invent(Scenario.from_words("cycling, no contractions, 12 hours"), 4).truth.bandwidth
    smooth = np.convolve(np.nan_to_num(width.values, nan=5.5), np.ones(9) / 9, "valid")
    quiet = smooth < 5.9
    edges = np.flatnonzero(np.diff(quiet.astype(int)))
    assert 8 <= len(edges) <= 60
    assert 0.15 < quiet.mean() < 0.6


def test_the_rate_falls_faster_than_it_comes_back() -> None:
    """53 of 100 steps rise in the recordings of CTU-UHB (first stage; python -m bench.realism)."""
    words = "moderate variability, no accelerations, no contractions, 2 hours"
    step = np.concatenate(
        [
            np.diff(invent(Scenario.from_words(words), seed).recording.heart_rate().samples)
            for seed in range(3)
        ]
    )
    assert 0.51 < (step[np.abs(step) > 0] > 0).mean() < 0.56
