"""Falls that stay: one in pieces is one, one to a new level is a fall until it has settled."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from criteria.build import contractions, trace, variable
from ebbline.criteria import classify
from ebbline.criteria.model import PANEL_LABELS, Classification, Level, Standard
from ebbline.criteria.panel import panel_answer
from ebbline.criteria.window_falls import LongFall, _with_one_more
from ebbline.criteria.window_view import window_facts
from ebbline.features import detect
from ebbline.features import window as within
from ebbline.features.findings import Findings
from ebbline.reading.four_lines import right_now
from ebbline.reading.text import Clock
from ebbline.recording import open_recording
from ebbline.recording.model import Channel, ChannelKind, Context, Recording
from ebbline.terms import SensorKind, Stage, Window
from shared_data import CTU_UHB, needs_ctu_uhb

RATE = 4
HOUR = Window(1800.0, 3600.0)
"""The last half hour of an hour is read."""

LABOUR = Context(weeks=40.0, stage=Stage.FIRST)


def calm(bpm: float = 140.0, band: float = 1.0) -> NDArray[np.float64]:
    """An hour with moderate variability."""
    t = np.arange(3600 * RATE) / RATE
    slow = 4.0 * np.sin(2 * np.pi * t / 21.0) + 3.0 * np.sin(2 * np.pi * t / 13.0 + 1.0)
    return bpm + band * (slow + np.random.default_rng(3).normal(0.0, 0.6, len(t)))


def found(bpm: NDArray[np.float64]) -> Findings:
    t = np.arange(len(bpm)) / RATE
    hill = np.clip(1.0 - np.abs(t % 180.0 - 90.0) / 35.0, 0.0, 1.0)
    channels = (
        Channel(ChannelKind.FETAL_HEART_RATE, bpm, RATE, SensorKind.ULTRASOUND, 1),
        Channel(ChannelKind.UTERINE_ACTIVITY, 10.0 + 50.0 * hill, RATE, SensorKind.TOCO),
    )
    return detect(Recording("made", channels, context=LABOUR))


def judged(findings: Findings, standard: Standard) -> Classification:
    return classify(findings, HOUR, standard, LABOUR)


def last(minutes: float) -> slice:
    return slice(round((60.0 - minutes) * 60 * RATE), None)


def test_a_few_beats_near_the_baseline_do_not_cut_a_fall_that_goes_on_into_short_ones() -> None:
    bpm = calm()
    bpm[last(5)] -= 40.0
    for minutes in (2.5, 1.4):
        at = len(bpm) - round(minutes * 60 * RATE)
        bpm[at : at + 4 * RATE] += 36.0
    (fall,) = window_facts(found(bpm), HOUR).falls.long
    assert not fall.recovered and fall.duration_s == pytest.approx(300.0, abs=20.0)
    assert judged(found(bpm), Standard.NICE).label == "pathological"


def test_a_rate_that_comes_down_from_a_long_rise_to_where_it_was_has_not_fallen() -> None:
    bpm = calm(128.0)
    bpm[36 * 60 * RATE : 43 * 60 * RATE] += 26.0
    facts = window_facts(found(bpm), HOUR)
    assert not facts.falls.long and facts.falls.open_step is None


def test_a_rate_that_comes_down_from_a_few_livelier_minutes_has_not_fallen() -> None:
    """The same level after ten minutes and more is a fall (NICHD 2008: a change of baseline)."""
    for since_min, fallen_from in ((50.0, False), (38.0, True)):
        bpm = calm(128.0)
        bpm[round(since_min * 60 * RATE) : 54 * 60 * RATE] += 12.0
        bpm[54 * 60 * RATE :] -= 8.0
        facts = window_facts(found(bpm), HOUR)
        told = any(not one.recovered for one in facts.falls.long) or facts.falls.open_step
        assert bool(told) is fallen_from, since_min


@pytest.mark.parametrize("standard", [Standard.FIGO, Standard.NICE])
def test_time_alone_settles_no_step_down(standard: Standard) -> None:
    """Without an acceleration since, a step of 20 bpm is no milder at 20 than at 9 minutes."""
    ranks = []
    for minutes in (9, 14, 17, 20):
        bpm = calm(155.0)
        bpm[last(minutes)] -= 22.0
        one = judged(found(bpm), standard)
        assert any("not recovered at the end" in what for what in one.beyond)
        ranks.append(one.rank)
    assert ranks == sorted(ranks) and ranks[0] == 2


def test_a_level_in_the_normal_range_with_variability_and_accelerations_has_settled() -> None:
    bpm = calm(155.0)
    bpm[last(20)] -= 22.0
    for minutes in (12, 7):
        at = len(bpm) - minutes * 60 * RATE
        bpm[at : at + 40 * RATE] += 25.0 * np.sin(np.linspace(0.0, np.pi, 40 * RATE))
    one = judged(found(bpm), Standard.FIGO)
    assert one.said == "at least suspicious", "no alarm, and no milder for having lasted longer"
    assert any("a new baseline, or a fall that has not come back" in why for why in one.refusal)
    assert any("a fall from" in what for what in one.beyond)


def test_ten_minutes_at_a_slow_rate_with_absent_variability_are_a_bradycardia() -> None:
    """NICHD 2008: ten minutes or more are a change of baseline, whatever they are called."""
    ranks = []
    for minutes in (9.5, 11.0, 13.0):
        bpm = calm(band=0.15)
        bpm[last(minutes)] -= 60.0
        one = judged(found(bpm), Standard.NICHD)
        ranks.append(one.rank)
    assert ranks[1:] == [2, 2]


def test_no_label_of_the_panel_beside_a_fall_not_recovered_is_milder_for_a_longer_one() -> None:
    """Its numbers do not know whether a fall is back: of 90 s it is not normal, of over 5 minutes
    (FIGO 2015: pathological) not suspicious, and where they say less it is silent."""
    assert panel_answer(found(fallen(8.0, 80.0, 3.0)), HOUR, LABOUR)[0], "one that is back it reads"
    for minutes, least in ((1.5, 1), (4, 1), (6, 2), (8, 2), (12, 2)):
        for depth_bpm in (22.0, 80.0):
            reading, why = panel_answer(found(fallen(minutes, depth_bpm)), HOUR, LABOUR)
            assert bool(why) == (reading is None)
            assert reading is None or PANEL_LABELS.index(reading.label) >= least, minutes


def fallen(minutes: float, depth_bpm: float, back_after: float = 99.0) -> NDArray[np.float64]:
    """An hour that falls within 20 s so many minutes before its end, and is back after so many."""
    before_s = np.arange(3600 * RATE) / RATE - 3600.0 + minutes * 60.0
    down = np.clip(before_s / 20.0, 0.0, 1.0) - np.clip((before_s - 60 * back_after) / 20.0, 0, 1)
    return calm(150.0) - depth_bpm * down


@pytest.mark.parametrize("standard", [Standard.FIGO, Standard.NICE])
def test_a_fall_that_lost_signal_ends_is_normal_by_no_standard(standard: Standard) -> None:
    """Of 35 s seen before four and more minutes of silence nobody knows that it is over."""
    whole = judged(found(fallen(5.0, 80.0, 0.6)), standard)
    assert not any("was not seen to recover" in why for why in whole.refusal), "it was, after 35 s"
    for minutes in (3.0, 5.0, 7.0):
        bpm = fallen(minutes, 80.0)
        bpm[-round((60.0 * minutes - 35.0) * RATE) :] = np.nan
        one = judged(found(bpm), standard)
        assert one.rank != 0
        told = (*one.refusal, *one.not_assessed)
        assert any("was not seen to recover" in why for why in told), told


def test_a_deceleration_that_a_level_begins_with_is_no_second_one_that_recurs() -> None:
    """NICHD 2008: recurrent are decelerations with half of the contractions; one fall is one."""
    squeezes = contractions(60)
    level = Window(squeezes[-4].peak_s, 3600.0)
    own = variable(squeezes[-4], duration_s=70.0)
    other = variable(squeezes[-6], duration_s=70.0)
    for falls, answer in (([own], False), ([other, own], True)):
        findings = trace(60, uterus=squeezes, decelerations=falls)
        mask = np.ones(len(falls), dtype=np.bool_)
        assert within.recurrent(findings, HOUR, mask, (level,)).answer is answer


LEVEL = LongFall(600.0, 1500.0, 30.0, 110.0, recovered=False, to_a_level=True)
OPEN = LongFall(900.0, 1800.0, 50.0, 90.0, recovered=False)


@pytest.mark.parametrize(
    ("fall", "told"),
    [
        (LongFall(640.0, 760.0, 60.0, 80.0, recovered=True), [LEVEL]),
        (LongFall(660.0, 760.0, 60.0, 80.0, recovered=True), None),
        (LongFall(640.0, 1501.0, 60.0, 80.0, recovered=True), None),
    ],
    ids=["begins with it", "begins a minute after", "outlasts it"],
)
def test_a_fall_that_turns_into_a_level_is_told_once(
    fall: LongFall, told: list[LongFall] | None
) -> None:
    assert _with_one_more([LEVEL], fall) == (told or [LEVEL, fall])


def test_a_piece_of_a_fall_that_goes_on_only_makes_it_deeper() -> None:
    piece = LongFall(1000.0, 1800.0, 45.0, 84.0, recovered=False)
    (whole,) = _with_one_more([OPEN], piece)
    assert (whole.onset_s, whole.end_s, whole.recovered) == (900.0, 1800.0, False)
    assert (whole.nadir_bpm, whole.depth_bpm) == (84.0, 56.0)
    milder = replace(piece, nadir_bpm=95.0)
    assert _with_one_more([OPEN], milder) == [OPEN]
    for beside in (replace(piece, onset_s=900.0), replace(piece, onset_s=1801.0, end_s=1900.0)):
        assert _with_one_more([OPEN], beside) == [OPEN, beside]
    (longer,) = _with_one_more([OPEN], replace(piece, end_s=1860.0))
    assert (longer.end_s, longer.recovered) == (1860.0, False), "the piece goes on for longer"
    (back_at_last,) = _with_one_more([OPEN], replace(piece, end_s=1860.0, recovered=True))
    assert (back_at_last.end_s, back_at_last.recovered) == (1860.0, True)
    (whole,) = _with_one_more([OPEN], replace(piece, end_s=1700.0, recovered=True))
    assert (whole.end_s, whole.recovered) == (1800.0, False)
    level = replace(OPEN, to_a_level=True)
    assert _with_one_more([level], piece) == [level, piece]
    back = replace(OPEN, recovered=True)
    assert _with_one_more([back], piece) == [back, piece]


def test_the_slowest_fall_is_that_of_the_lowest_mean_of_those_of_ten_minutes() -> None:
    """NICHD 2008: ten minutes or more are a change of baseline, whatever it is called."""
    rate = np.full(3600, 150.0)
    falls = []
    for start_s, length_s, level_bpm in ((1850, 620, 90.0), (2520, 600, 80.0), (3200, 240, 60.0)):
        rate[start_s : start_s + length_s] = level_bpm
        falls.append(replace(variable(start_s + 10.0), onset_s=start_s, end_s=start_s + length_s))
    facts = window_facts(trace(60, rate=rate, decelerations=falls), HOUR)
    assert [round(one.duration_s) for one in facts.falls.long] == [620, 600, 240]
    assert facts.falls.slowest_fall == (80.0, Window(2520, 3120))
    briefer = [replace(falls[1], end_s=3119.0)]
    facts = window_facts(trace(60, rate=np.full(3600, 150.0), decelerations=briefer), HOUR)
    assert facts.falls.slowest_fall is None


@pytest.mark.parametrize(
    ("what", "minutes", "to_bpm", "band", "rise", "settled"),
    [
        ("as asked", 14, 135.0, 1.0, True, True),
        ("nine minutes", 9, 135.0, 1.0, True, False),
        ("under 110 bpm", 14, 105.0, 1.0, True, False),
        ("flat", 14, 135.0, 0.3, True, False),
        ("without a rise", 14, 135.0, 1.0, False, False),
    ],
)
def test_a_level_settles_by_time_height_variability_and_a_rise_together(
    what: str, minutes: int, to_bpm: float, band: float, rise: bool, settled: bool
) -> None:
    bpm = calm(155.0)
    since = last(minutes)
    bpm[since] = to_bpm + band * (bpm[since] - 155.0)
    if rise:
        at = len(bpm) - (minutes - 3) * 60 * RATE
        bpm[at : at + 40 * RATE] += 25.0 * np.sin(np.linspace(0.0, np.pi, 40 * RATE))
    facts = window_facts(found(bpm), HOUR)
    assert (facts.falls.settled_step is not None) is settled, what
    assert any(not one.recovered for one in facts.falls.long) is not settled


def test_a_fall_that_rose_in_part_and_then_was_lost_is_as_long_as_seen_and_not_back() -> None:
    """Nobody saw it back: a few beats near the baseline are no recovery."""
    rate = np.full(3600, 150.0)
    rate[3000:3150] = 70.0
    rate[3150:3152] = 140.0
    rate[3152:3330] = 80.0
    fall = replace(variable(3010.0), onset_s=3000.0, end_s=3150.0, baseline_bpm=150.0)
    for seen_again, recovered, end_s in ((3331, True, 3150.0), (3600, False, 3330.0)):
        after = rate.copy()
        after[3330:seen_again] = np.nan
        if recovered:
            after[3152:3330] = 150.0
        (long,) = window_facts(trace(60, rate=after, decelerations=[fall]), HOUR).falls.long
        assert long.recovered is recovered
        assert long.end_s == end_s if recovered else long.end_s >= end_s


@needs_ctu_uhb
@pytest.mark.parametrize(
    ("name", "from_s", "to_s"), [("1031", 3510.0, 3580.0), ("1361", 3110.0, 3180.0),
                                 ("1395", 3310.0, 3380.0)]
)  # fmt: skip
def test_a_step_down_is_over_once_the_rate_was_back_for_a_minute(
    name: str, from_s: float, to_s: float
) -> None:
    """Falls that come one upon another are no one fall: the rate was at its baseline between them,
    as any eye sees there (CTU-UHB, in the seconds named)."""
    recording = open_recording(CTU_UHB / f"{name}.hea")
    heart = recording.heart_rate()
    there = heart.samples[round(from_s * heart.rate_hz) : round(to_s * heart.rate_hz)]
    window = Window(recording.duration_s - 1800.0, recording.duration_s)
    for one in window_facts(detect(recording), window).falls.long:
        if one.onset_s < from_s and one.end_s > to_s:
            assert float(np.nanmean(there)) < one.nadir_bpm + one.depth_bpm - 15.0


def into_loss(lost_min: float, bpm_after: float) -> Findings:
    """A fall of 60 bpm that is seen for 50 s, then lost signal, then a rate."""
    bpm = calm()
    at = round(42 * 60 * RATE)
    bpm[at : at + 50 * RATE] -= 60.0
    lost = slice(at + 50 * RATE, at + round((50 + 60 * lost_min) * RATE))
    bpm[lost.stop :] += bpm_after - 140.0
    bpm[lost] = np.nan
    return found(bpm)


@pytest.mark.parametrize("standard", [Standard.FIGO, Standard.NICE])
def test_a_fall_into_lost_signal_is_not_the_best_class_though_the_rate_was_back(
    standard: Standard,
) -> None:
    """What was not seen of it may have been most of it; a short gap is bridged (ours)."""
    for lost_min, short in ((0.5, True), (4.0, False)):
        one = judged(into_loss(lost_min, 140.0), standard)
        told = [why for why in (*one.refusal, *one.not_assessed) if "may have lasted" in why]
        assert (told == []) is short
        assert one.rank != 0 or short, lost_min
        assert right_now(into_loss(lost_min, 140.0), HOUR, Clock(None)).line.startswith("140 bpm")


@pytest.mark.parametrize(
    ("bpm_after", "back"), [(140.0, True), (130.0, True), (120.0, False), (np.nan, False)]
)
def test_a_fall_not_seen_to_recover_goes_on_only_where_the_rate_was_not_back_since(
    bpm_after: float, back: bool
) -> None:
    """Back but for a quarter of the fall, as a step is."""
    fall = replace(variable(1800.0, duration_s=90.0, depth=60.0), recovered=False)
    t = np.arange(2400.0)
    rate = np.where(t < fall.onset_s, 140.0, np.where(t < 1900.0, 80.0, bpm_after))
    findings = trace(40, rate=rate, decelerations=[fall])
    window = Window(600.0, 2400.0)
    now = right_now(findings, window, Clock(None)).line
    assert now.startswith("Not recovered: it fell from") is not back, now
    above = " ".join(classify(findings, window, Standard.FIGO, LABOUR).beyond)
    assert ("was not seen to recover; the rate was back later" in above) is back, above
    assert ("not recovered at the end" in above) is not back, above


def test_what_falls_for_less_than_a_deceleration_lasts_is_falling_now() -> None:
    """NICHD 2008: a deceleration lasts 15 s or more."""
    for seconds, said in ((8, "Falling now: from"), (22, "Not recovered: it fell from")):
        bpm = calm()
        bpm[-seconds * RATE :] -= np.minimum(np.arange(seconds * RATE) / RATE * 12.0, 60.0)
        findings = found(np.append(bpm, np.full(60 * RATE, 80.0)))
        assert right_now(findings, HOUR, Clock(None)).line.startswith(said)
        assert right_now(findings, HOUR, Clock(None)).level is Level.ALARMING
