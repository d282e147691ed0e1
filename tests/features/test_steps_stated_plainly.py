"""Steps of the rate to a lower level, and what is suspected of them, stated once more in loops.

The numbers are choices of ours (no standard has them), as the modules state them, and typed here a
second time; the levels that are drawn lie on the limits and beside them.
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from criteria.build import acceleration, contraction
from ebbline.features import suspects
from ebbline.features.findings import Artefact, ArtefactKind, Curve
from ebbline.features.steps_down import means, steps_down

FloatArray = NDArray[np.float64]


def mean_about(values: FloatArray, place: int, first: int, stop: int, least: int) -> float:
    part = values[max(0, place + first) : max(0, place + stop)]
    seen = part[np.isfinite(part)]
    return float(seen.mean()) if len(seen) >= max(least, 1) else math.nan


def steps_by_hand(values: FloatArray, apart: int, slack: float) -> list[tuple[float, ...]]:
    """Means of 40 s before and after differ by 15 bpm; five minutes before are no lower and those
    after no higher, but for a quarter of that or the slack; the next five minutes lie under the
    middle for three quarters of them; the steepest second of the next 40 is the step's; five
    minutes about a second over the middle end it."""
    every = range(len(values))
    before = [mean_about(values, i, -apart - 40, -apart, 20) for i in every]
    after = [mean_about(values, i, apart, apart + 40, 20) for i in every]
    found: list[tuple[float, ...]] = []
    for i in every:
        size = before[i] - after[i]
        if not size >= 15:
            continue
        earlier = mean_about(values, i, -300, -apart, 150)
        later = mean_about(values, i, apart, 300, 40)
        allowed = max(size / 4, slack)
        if not (earlier >= before[i] - allowed and later <= after[i] + allowed):
            continue
        if found and i - found[-1][0] < 300:
            continue
        sizes = [before[k] - after[k] for k in every[i : i + 40]]
        near = i + int(np.nanargmax(sizes))
        middle = (before[near] + after[near]) / 2
        next_ones = values[near + apart : near + 300]
        next_ones = next_ones[np.isfinite(next_ones)]
        if len(next_ones) and (next_ones > middle).mean() > 0.25:
            continue
        foot = near + (40 if apart == 5 else apart + 150)
        back = (k for k in every[foot:] if mean_about(values, k, -150, 150, 20) > middle)
        found.append((near, next(back, math.inf), before[near], after[near]))
    return found


def levels(seed: int) -> FloatArray:
    """Levels of whole bpm, some of them mere seconds long, with gaps and ramps between them."""
    draw = np.random.default_rng(seed)
    pieces: list[FloatArray] = []
    level = 150.0
    while sum(map(len, pieces)) < 1800:
        kind = draw.choice(["stay", "step", "ramp", "gap", "fall"], p=[0.05, 0.6, 0.2, 0.1, 0.05])
        long = int(draw.choice([40, 60, 260, 290, 300, 301, 420, 600]))
        down = float(draw.choice([-30, -20, -16, -15, -14, 8, 15, 25]))
        down = down if 70 <= level + down <= 180 else -down
        if kind == "gap":
            pieces.append(np.full(min(long, 150), math.nan))
        elif kind == "fall":
            pieces.append(np.full(min(long, 90), level - 30.0))
            pieces.append(np.full(60, level))
        elif kind == "ramp":
            ramp = int(draw.choice([20, 60, 150]))
            pieces.append(np.linspace(level, level + down, ramp))
            level += down
            pieces.append(np.full(long, level))
        else:
            level += down if kind == "step" else 0.0
            pieces.append(np.full(long, level))
    return np.concatenate(pieces)


@pytest.mark.parametrize("apart_s", [5, 45])
@pytest.mark.parametrize("seed", range(12))
def test_steps_down_are_those_of_the_rule_stated_plainly(seed: int, apart_s: int) -> None:
    values = levels(seed)
    slack = 0.0 if apart_s == 5 else 6.0
    by_hand = steps_by_hand(values, apart_s, slack)
    found = steps_down(Curve(100.0, 1.0, values), apart_s)
    assert [(x.start_s - 100.0, x.until_s - 100.0) for x in found] == [row[:2] for row in by_hand]
    for one, row in zip(found, by_hand, strict=True):
        assert (one.from_bpm, one.to_bpm) == pytest.approx(row[2:])


def test_the_levels_drawn_have_steps_that_last_and_steps_that_come_back() -> None:
    ends = [one.until_s for seed in range(12) for one in steps_down(Curve(0.0, 1.0, levels(seed)))]
    assert sum(map(math.isinf, ends)) > 3
    assert sum(map(math.isfinite, ends)) > 3


@pytest.mark.parametrize(("size", "told"), [(15.0, True), (14.9, False)])
def test_a_step_is_one_of_15_bpm(size: float, told: bool) -> None:
    values = np.repeat([150.0, 150.0 - size], 600)
    assert bool(steps_down(Curve(0.0, 1.0, values))) is told


@pytest.mark.parametrize(("first", "stop", "least"), [(-45, -5, 20), (5, 45, 20), (0, 15, 1),
                                                     (-150, 150, 20)])  # fmt: skip
def test_means_about_each_place_are_of_what_was_seen(first: int, stop: int, least: int) -> None:
    for seed in range(3):
        values = levels(seed)[:500]
        values[np.random.default_rng(seed).integers(0, 500, 250)] = math.nan
        by_hand = [mean_about(values, i, first, stop, least) for i in range(500)]
        np.testing.assert_allclose(means(values, first, stop, least), by_hand, atol=1e-9)


# ---------------------------------------------------------------- a level that may be the mother's


def came_down(
    to_bpm: float, *, slope_s: int = 0, stays_s: int = 1200, comes_back: bool = False
) -> Curve:
    """From 140 bpm within so long to a level, for so long, and back for ten minutes or not."""
    parts = [
        np.full(900, 140.0),
        np.linspace(140.0, to_bpm, slope_s),
        np.full(stays_s, to_bpm),
        np.full(600 if comes_back else 0, 140.0),
    ]
    return Curve(0.0, 1.0, np.concatenate(parts))


def suspected(rate: Curve, *known: Artefact) -> list[Artefact]:
    found = suspects.with_levels(known, rate, False)
    assert list(found) == sorted(found, key=lambda one: one.start_s)
    return [one for one in found if one not in known]


@pytest.mark.parametrize(("to_bpm", "told"), [(110.0, True), (110.5, False), (90.0, True),
                                              (49.0, False), (125.0, False)])  # fmt: skip
@pytest.mark.parametrize("slope_s", [0, 80, 180])
def test_a_level_the_rate_came_down_to_is_suspected_up_to_110_bpm(
    to_bpm: float, told: bool, slope_s: int
) -> None:
    """NICHD 2008: a fetus's baseline is 110 to 160 bpm; the lowest rate of a mother: ours."""
    found = suspected(came_down(to_bpm, slope_s=slope_s))
    assert bool(found) is told
    for one in found:
        assert (one.kind, one.certainty) == (ArtefactKind.MATERNAL, 0.3)
        assert one.start_s == pytest.approx(900.0 + slope_s / 2, abs=max(10.0, 0.6 * slope_s))
        assert one.end_s == 900.0 + slope_s + 1200.0
        assert f"to {to_bpm:.0f} bpm" in one.why


@pytest.mark.parametrize(("stays_s", "comes_back", "told"), [(700, True, True), (400, True, False),
                                                             (250, False, True),
                                                             (130, False, False)])  # fmt: skip
def test_it_stays_for_ten_minutes_or_for_four_at_the_end(
    stays_s: int, comes_back: bool, told: bool
) -> None:
    assert bool(suspected(came_down(95.0, stays_s=stays_s, comes_back=comes_back))) is told


@pytest.mark.parametrize(("over", "told"), [(0.24, True), (0.27, False)])
def test_no_more_than_a_quarter_of_it_sways_by_over_5_bpm(over: float, told: bool) -> None:
    for sway, suspect in ((116.0, told), (115.0, True)):
        rate = came_down(105.0)
        rate.values[910 : 910 + 1200 : 100] = 105.0
        for start in range(920, 2100, 100):
            rate.values[start : start + round(100 * over)] = sway
        assert bool(suspected(rate)) is suspect, sway


def test_a_level_is_not_suspected_twice_nor_where_there_is_a_maternal_rate() -> None:
    rate = came_down(95.0)
    (one,) = suspected(rate)
    assert suspects.with_levels((), rate, True) == ()
    for kind, told in ((ArtefactKind.MATERNAL, 0), (ArtefactKind.SPIKE, 1)):
        known = Artefact(kind, 1000.0, 1100.0, 0.4, "known before")
        assert len(suspected(rate, known)) == told
    for start_s, end_s in ((one.start_s - 50.0, one.start_s), (one.end_s, one.end_s + 50.0)):
        beside = Artefact(ArtefactKind.MATERNAL, start_s, end_s, 0.4, "beside it")
        assert len(suspected(rate, beside)) == 1


# ---------------------------------------------------------------- rises with the contractions


def rises_by_hand(peaks: list[float], tops: list[float]) -> list[float]:
    """Tops that are suspected: four with a contraction within 20 s, and 60 % of the contractions,
    in some half hour from a contraction on (the last of them whole)."""
    if not peaks:
        return []
    latest = max(peaks[0], peaks[-1] - 1800.0)
    found: set[float] = set()
    for first in [*(p for p in peaks if p < latest), latest]:
        number = sum(first <= p < first + 1801.0 for p in peaks)
        here = [
            t
            for t in tops
            if min(abs(t - p) for p in peaks) <= 20.0 and first - 20.0 <= t < first + 1801.0
        ]
        if len(here) >= max(4, 0.6 * number):
            found |= set(here)
    return sorted(found)


@pytest.mark.parametrize("seed", range(40))
def test_rises_with_most_contractions_may_be_the_mothers(seed: int) -> None:
    """FIGO 2015 names the sign; 20 s, four, 60 % and the half hour are ours."""
    draw = np.random.default_rng(seed)
    every = draw.choice([180.0, 300.0, 360.0, 450.0])
    peaks = np.arange(300.0, draw.choice([1500.0, 2100.0, 4200.0]), every).tolist()
    share = draw.choice([0.4, 0.6, 0.7, 1.0])
    tops = [
        p + float(draw.choice([-20.0, 20.0, 20.5, 0.0, 5.0]))
        for p in peaks
        if draw.random() < share
    ]
    rises = [replace(acceleration(t), baseline_bpm=130.0) for t in tops]
    fast = [replace(acceleration(p), baseline_bpm=160.0) for p in peaks]
    spike = Artefact(ArtefactKind.SPIKE, 700.0, 701.0, 0.6, "")
    found = suspects.with_rises((spike,), [*rises, *fast], [contraction(p) for p in peaks])
    assert list(found) == sorted(found, key=lambda one: one.start_s)
    told = [one for one in found if one is not spike]
    assert len(found) == len(told) + 1
    assert [one.start_s + 15.0 for one in told] == rises_by_hand(peaks, tops)
    assert {(one.kind, one.certainty) for one in told} <= {(ArtefactKind.MATERNAL, 0.4)}


@pytest.mark.parametrize(("bpm", "told"), [(suspects.maternal.HIGH_BPM, True),
                                           (suspects.maternal.HIGH_BPM + 0.5, False)])  # fmt: skip
def test_only_rises_at_a_rate_that_could_be_hers_are_suspected(bpm: float, told: bool) -> None:
    squeezes = [contraction(300.0 * i) for i in range(1, 6)]
    rises = [replace(acceleration(one.peak_s), baseline_bpm=bpm) for one in squeezes]
    assert bool(suspects.with_rises((), rises, squeezes)) is told
    assert suspects.with_rises((), rises[:3], squeezes[:3]) == (), "four at least"
    assert suspects.with_rises((), rises, []) == ()


# ---------------------------------------------------------------- quality of each ten minutes


@pytest.mark.parametrize(
    ("start_s", "end_s", "segments"),
    [
        (10.0, 20.0, [0]),
        (590.0, 600.0, [0]),
        (590.0, 601.0, [0, 1]),
        (600.0, 601.0, [1]),
        (600.0, 600.0, [1]),
        (100.0, 1900.0, [0, 1, 2, 3]),
    ],
)
def test_a_suspicion_is_told_of_each_ten_minutes_that_it_lies_in(
    start_s: float, end_s: float, segments: list[int]
) -> None:
    one = Artefact(ArtefactKind.MATERNAL, start_s, end_s, 0.4, "")
    again = Artefact(ArtefactKind.MATERNAL, start_s, end_s, 0.9, "")
    spike = Artefact(ArtefactKind.SPIKE, start_s, end_s, 0.4, "")
    found = suspects.suspicions((one, again, spike))
    assert found == {place: [ArtefactKind.MATERNAL, ArtefactKind.SPIKE] for place in segments}


def test_the_quality_of_ten_minutes_is_told_in_seconds_up_to_the_recordings_end() -> None:
    table = np.array([[0.9, 40.0], [0.5, 1200.0]])
    first, last = suspects.quality_segments(table, 4 * 1000, {1: [ArtefactKind.SPIKE]})
    assert (first.start_s, first.end_s, first.valid_share, first.longest_gap_s) == (0, 600, 0.9, 10)
    assert (last.start_s, last.end_s, last.valid_share, last.longest_gap_s) == (600, 1000, 0.5, 300)
    assert (first.suspected, last.suspected) == ((), (ArtefactKind.SPIKE,))
