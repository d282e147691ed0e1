"""Each compiled loop against its plain definition in NumPy or SciPy, on random traces with gaps."""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray
from scipy import ndimage

from ebbline.features import baseline as base
from ebbline.features import contractions as hills
from ebbline.features import excursions as exc
from ebbline.features import sinusoidal, variability

FloatArray = NDArray[np.float64]
SEEDS = range(4)


def gappy(seed: int, count: int, *, gaps: int = 6, longest: int = 40) -> FloatArray:
    """A random walk about 140 with gaps of random places and lengths."""
    chance = np.random.default_rng(seed)
    values = 140.0 + np.cumsum(chance.normal(0.0, 1.0, count))
    for start in chance.integers(0, count, gaps):
        values[start : start + chance.integers(1, longest)] = np.nan
    return values


def mean_of(values: FloatArray) -> float:
    seen = values[np.isfinite(values)]
    return float(seen.mean()) if len(seen) else math.nan


def about_line(values: FloatArray) -> FloatArray:
    """Distances of the valid values from their least-squares line (numpy.polyfit)."""
    at = np.flatnonzero(np.isfinite(values))
    return values[at] - np.polyval(np.polyfit(at, values[at], 1), at)


# ---------------------------------------------------------------- excursions


@pytest.mark.parametrize("seed", SEEDS)
def test_smoothed_is_the_centred_mean_of_what_is_valid(seed: int) -> None:
    values, reach = gappy(seed, 300), 4
    by_hand = [
        mean_of(values[max(0, i - reach) : i + reach + 1]) if np.isfinite(values[i]) else np.nan
        for i in range(len(values))
    ]
    np.testing.assert_allclose(exc.smoothed(values, reach), by_hand, atol=1e-9)


@pytest.mark.parametrize("seed", SEEDS)
def test_roughness_is_the_middle_of_five_blocks_distance_from_the_slow_mean(seed: int) -> None:
    steady, block = gappy(seed, 1010, gaps=9, longest=120), 100
    slow = exc.smoothed(steady, 30)
    each = []
    for start in range(0, 1010, block):
        off = np.abs(steady[start : start + block] - slow[start : start + block])
        # A third of the block is enough.
        each.append(mean_of(off) if 3 * np.isfinite(off).sum() >= len(off) else np.nan)
    by_hand = []
    for b in range(len(each)):
        near = np.array(each[max(0, b - 2) : b + 3])
        near = near[np.isfinite(near)]
        by_hand.append(np.median(near) if len(near) else 2.0)
    np.testing.assert_allclose(exc.roughness(steady, slow, block, block), by_hand, atol=1e-9)


def test_a_block_of_which_a_third_is_seen_has_a_roughness_and_one_of_less_has_none() -> None:
    slow = np.zeros(300)
    steady = np.full(300, np.nan)
    steady[:100] = 7.0
    assert exc.roughness(steady, slow, 300, 300)[0] == 7.0
    steady[99] = np.nan
    assert exc.roughness(steady, slow, 300, 300)[0] == 2.0, "2 bpm where nothing was seen (ours)"


@pytest.mark.parametrize("seed", SEEDS)
def test_fluctuation_within_is_the_middle_range_of_8_s_about_their_own_lines(seed: int) -> None:
    values, rate, start, end = gappy(seed, 700, gaps=3), 4.0, 17, 613
    inner, length = int(0.05 * (end - start)), 32
    ranges = []
    for at in range(start + inner, end - inner - length + 1, length):
        piece = values[at : at + length]
        if np.isfinite(piece).sum() >= 0.7 * length:
            ordered = np.sort(about_line(piece))
            ranges.append(ordered[-2] - ordered[1])
    found = exc._fluctuation(values, start, end, rate)
    assert found == pytest.approx(exc.WITHIN_TIMES * np.median(ranges))


def test_fluctuation_within_needs_two_pieces() -> None:
    values = gappy(1, 200, gaps=0)
    assert math.isnan(exc._fluctuation(values, 0, 69, 4.0))
    assert not math.isnan(exc._fluctuation(values, 0, 70, 4.0))


@pytest.mark.parametrize("side", [1, -1])
@pytest.mark.parametrize(
    ("lasts", "wait", "longest", "seconds"),
    [
        (40, 0, 100, 10.0),
        (40, 23, 100, 10.0),
        (40, 32, 100, 0.0),
        (100, 0, 100, 25.0),
        (101, 0, 100, 0.0),
        (15, 0, 100, 0.0),
        (16, 0, 100, 4.0),
    ],
)
def test_a_hump_beside_a_fall_begins_within_8_s_and_lasts_4_s_to_its_longest(
    side: int, lasts: int, wait: int, longest: int, seconds: float
) -> None:
    away = np.zeros(600)
    first = 300 + wait if side > 0 else 300 - wait - lasts + 1
    away[first : first + lasts] = -5.0
    assert exc._hump(away, 300, side, longest, 3.0, 4.0) == seconds


def test_a_hump_is_as_high_as_the_edge_once_and_ends_under_six_tenths_of_it() -> None:
    away = np.zeros(300)
    away[100:140] = -1.8
    away[100] = -3.0
    assert exc._hump(away, 100, 1, 100, 3.0, 4.0) == 10.0
    away[110:117] = 0.0
    assert exc._hump(away, 100, 1, 100, 3.0, 4.0) == 33 / 4.0, "a break of under 2 s is passed over"
    away[110:118] = 0.0
    assert exc._hump(away, 100, 1, 100, 3.0, 4.0) == 0.0, "one of 2 s ends it, under 4 s long"


def triangle(rise: int, hold: int, back: int, height: float, lead: int = 100) -> FloatArray:
    shape = np.interp(
        np.arange(lead + rise + hold + back + lead),
        [lead, lead + rise, lead + rise + hold, lead + rise + hold + back],
        [0.0, height, height, 0.0],
        0.0,
        0.0,
    )
    return np.asarray(shape)


@pytest.mark.parametrize("rise", [24, 40])
def test_a_straight_flank_drawn_on_from_its_edge_meets_the_baseline_where_it_began(
    rise: int,
) -> None:
    away = triangle(rise, 0, rise, 30.0)
    top = 100 + rise
    at = int(np.flatnonzero(away >= 3.0)[0])
    drawn = exc._drawn_on(away, at, 1, top, 30.0, 4.0)
    assert at - drawn == pytest.approx(100.0, abs=1e-9)
    end = int(np.flatnonzero(away >= 3.0)[-1])
    drawn = exc._drawn_on(away, end, -1, top, 30.0, 4.0)
    assert end + drawn == pytest.approx(100.0 + 2 * rise, abs=1e-9)


def test_a_flank_is_drawn_on_by_8_s_at_most_or_by_the_gap_that_took_it() -> None:
    away = triangle(400, 0, 400, 40.0)
    at = int(np.flatnonzero(away >= 8.0)[0])
    assert exc._drawn_on(away, at, 1, 500, 40.0, 4.0) == 32.0
    away[at - 50 : at] = np.nan
    assert exc._drawn_on(away, at, 1, 500, 40.0, 4.0) == 50.0
    away[:at] = np.nan
    assert exc._drawn_on(away, at, 1, 500, 40.0, 4.0) == pytest.approx(80.0)


def test_a_flank_that_a_gap_took_to_the_floor_begins_in_the_middle_of_the_gap() -> None:
    away = np.full(200, 30.0)
    away[:60] = 0.0
    away[60:80] = np.nan
    assert exc._drawn_on(away, 80, 1, 80, 30.0, 4.0) == 10.0
    away[80] = np.nan
    assert exc._drawn_on(away, 80, 1, 80, 30.0, 4.0) == 0.0


def test_two_falls_whose_flanks_meet_in_a_gap_part_in_its_middle() -> None:
    before, after = np.zeros(exc.COLUMNS), np.zeros(exc.COLUMNS)
    before[[exc.EXTREME, exc.END, exc.RETURN]] = 100.0, 180.0, 70.0
    after[[exc.ONSET, exc.EXTREME]] = 160.0, 300.0
    exc._part(before, after)
    assert before[exc.END] == after[exc.ONSET] == 170.0
    assert before[exc.RETURN] == 60.0


@pytest.mark.parametrize(("extremes", "middle"), [((175.0, 300.0), 175.0), ((100.0, 165.0), 165.0)])
def test_two_falls_part_between_their_nadirs(extremes: tuple[float, float], middle: float) -> None:
    before, after = np.zeros(exc.COLUMNS), np.zeros(exc.COLUMNS)
    before[[exc.EXTREME, exc.END, exc.RETURN]] = extremes[0], 180.0, 70.0
    after[[exc.ONSET, exc.EXTREME]] = 160.0, extremes[1]
    exc._part(before, after)
    assert before[exc.END] == after[exc.ONSET] == middle


@pytest.mark.parametrize(
    ("tops", "valley", "where"),
    [
        # Ten beats between, and down to 30 % of the lower peak.
        ((30.0, 30.0), 9.0, 60),
        ((30.0, 30.0), 9.1, -1),
        ((60.0, 30.0), 9.0, 60),
        ((16.0, 16.0), 4.8, 60),
        ((14.9, 30.0), 3.0, -1),
        ((30.0, 14.9), 3.0, -1),
    ],
)
def test_a_run_is_two_falls_where_the_rate_all_but_comes_back_between(
    tops: tuple[float, float], valley: float, where: int
) -> None:
    away = np.interp(np.arange(121), [0, 30, 60, 90, 120], [0.0, tops[0], valley, tops[1], 0.0])
    assert exc._first_split(away, 0, 121, 15.0) == where


def test_a_run_is_walked_to_its_edges_over_a_gap_that_is_not_too_long() -> None:
    away = np.zeros(400)
    away[100:300] = 20.0
    away[150:190] = np.nan
    assert exc._walk(away, 220, -1, 3.0, 0, 400, 40) == (100, False)
    assert exc._walk(away, 220, -1, 3.0, 0, 400, 39) == (190, True)
    assert exc._walk(away, 220, 1, 3.0, 0, 400, 40) == (300, False)
    assert exc._walk(away, 220, -1, 3.0, 200, 400, 40) == (200, False), "not into the one before"
    away[280:320] = np.nan
    assert exc._walk(away, 220, 1, 3.0, 0, 400, 60) == (280, True), "back at the level after a gap"
    assert exc._walk(away, 220, 1, 3.0, 0, 260, 60) == (260, True), "the recording ends in it"


def test_the_highest_of_a_stretch_with_gaps_is_found() -> None:
    away = np.array([np.nan, 1.0, 5.0, np.nan, 5.0, 7.0, 2.0])
    assert exc._highest(away, 0, 7) == 5
    assert exc._highest(away, 0, 5) == 2
    assert exc._highest(away, 3, 5) == 4


# ---------------------------------------------------------------- baseline


@pytest.mark.parametrize("seed", SEEDS)
def test_epochs_have_the_mean_and_the_share_of_what_is_valid(seed: int) -> None:
    values, samples = gappy(seed, 203, gaps=9), 16
    mean, share = base.epoch_means(values, samples)
    for e in range(len(mean)):
        part = values[e * samples : (e + 1) * samples]
        seen = np.isfinite(part).sum()
        assert share[e] == seen / samples
        by_hand = mean_of(part) if seen >= samples / 4 else np.nan
        assert mean[e] == pytest.approx(by_hand, nan_ok=True)


def costs(mean: FloatArray, share: FloatArray) -> FloatArray:
    """Price of every level at every step, by the text of the module."""
    levels = base.LOWEST_LEVEL + np.arange(base.LEVELS)
    per_step = round(base.STEP_S / base.EPOCH_S)
    cost = np.zeros((math.ceil(len(mean) / per_step), base.LEVELS))
    for e, level in enumerate(mean):
        if math.isnan(level):
            continue
        back, ahead = mean[max(0, e - 2)], mean[min(len(mean) - 1, e + 2)]
        # A change over 16 s; over 8 s when only one side was seen, 1.4 times that.
        steep = np.nanmax(
            [0.0, 1.4 * abs(level - back), 1.4 * abs(ahead - level), abs(ahead - back)]
        )
        say = share[e] / (1.0 + (steep / base.STEEP_BPM) ** 2)
        off = level - levels
        cap = np.where(off < 0.0, base.FALL_COST, base.RISE_COST)
        cost[e // per_step] += say * np.minimum(off**2 / (2.0 * base.NEAR_BPM**2), cap)
    return cost


def jump_price(step: int, steps: int) -> float:
    """Two jumps near an end, coming down to one by half of what a step at a wrong level costs."""
    per_step = base.RISE_COST * base.STEP_S / base.EPOCH_S
    beyond = max(0, min(step, steps - step) - base.STAY_STEPS)
    return max(base.JUMP_COST, 2.0 * base.JUMP_COST - 0.5 * per_step * beyond)


def moving(price_of_jump: float) -> FloatArray:
    """Price from any level to any other."""
    apart = np.abs(np.subtract.outer(np.arange(base.LEVELS), np.arange(base.LEVELS)))
    drift = np.where(apart <= base.DRIFT_REACH, base.DRIFT_COST * apart**2, np.inf)
    return np.asarray(np.minimum(drift, price_of_jump))


def cost_of(path: NDArray[np.int64], cost: FloatArray) -> float:
    total = float(cost[np.arange(len(path)), path].sum())
    for s in range(1, len(path)):
        total += float(moving(jump_price(s, len(path)))[path[s - 1], path[s]])
    return total


def wandering(seed: int) -> tuple[FloatArray, FloatArray]:
    """Epochs of 70 minutes: two levels, falls, a drift, gaps."""
    chance = np.random.default_rng(seed)
    count = 70 * 15
    level = np.where(np.arange(count) < chance.integers(250, 800), 140.0, 118.0 + 5.0 * seed)
    level = level + np.linspace(0.0, chance.uniform(-12.0, 12.0), count)
    for at in chance.integers(0, count, 12):
        level[at : at + chance.integers(8, 30)] -= chance.uniform(15.0, 50.0)
    mean = level + chance.normal(0.0, 3.0, count)
    for at in chance.integers(0, count, 6):
        mean[at : at + chance.integers(2, 60)] = np.nan
    share = np.where(np.isnan(mean), 0.0, chance.uniform(0.3, 1.0, count))
    return mean, share


@pytest.mark.parametrize("seed", SEEDS)
def test_the_baseline_is_the_cheapest_path_and_its_margin_that_of_the_best_way_elsewhere(
    seed: int,
) -> None:
    """Against dynamic programming over the full table of moves."""
    mean, share = wandering(seed)
    path, margin = base.baseline_path(mean, share)
    cost = costs(mean, share)
    steps = len(cost)
    ahead, back = cost.copy(), np.zeros_like(cost)
    for s in range(1, steps):
        ahead[s] += (ahead[s - 1][:, None] + moving(jump_price(s, steps))).min(axis=0)
    for s in range(steps - 2, -1, -1):
        onward = back[s + 1] + cost[s + 1]
        back[s] = (moving(jump_price(s + 1, steps)) + onward[None, :]).min(axis=1)
    through = ahead + back
    best = float(ahead[-1].min())
    places = np.rint(path - base.LOWEST_LEVEL).astype(np.int64)
    assert cost_of(places, cost) == pytest.approx(best, rel=1e-4)
    levels = np.arange(base.LEVELS)
    for s in range(steps):
        far = np.abs(levels - places[s]) > 8
        assert margin[s] == pytest.approx(through[s][far].min() - best, abs=0.02)


def test_a_jump_costs_twice_near_an_end_and_once_in_the_middle() -> None:
    for steps in (30, 60, 200):
        for step in range(steps + 1):
            assert base._jump_cost(step, steps) == pytest.approx(jump_price(step, steps))


@pytest.mark.parametrize("seed", SEEDS)
def test_passing_on_costs_is_the_least_over_all_levels(seed: int) -> None:
    before = np.random.default_rng(seed).uniform(0.0, 200.0, base.LEVELS).astype(np.float32)
    after = np.empty_like(before)
    base._pass_on(before, after, 95.0)
    way = before[:, None] + moving(95.0)
    np.testing.assert_allclose(after, way.min(axis=0), rtol=1e-5)
    for level in (0, 3, 80, 165, 170):
        came = base._came_from(before, level, 95.0)
        assert way[came, level] == pytest.approx(way[:, level].min(), rel=1e-5)


def interpolated(values: FloatArray, place: float, apart: float) -> float:
    """Between two values by a line, or the nearer one where they lie further apart; ends held."""
    left = min(max(math.floor(place), 0), len(values) - 1)
    right = min(left + 1, len(values) - 1)
    if abs(values[right] - values[left]) > apart:
        return float(values[left] if place - left < 0.5 else values[right])
    return float(np.interp(place, np.arange(len(values)), values))


@pytest.mark.parametrize("seed", SEEDS)
def test_the_baseline_is_drawn_to_the_weighted_mean_of_what_lies_by_its_path(seed: int) -> None:
    mean, share = wandering(seed)
    mean, share = mean[:600], share[:600]
    path, _ = base.baseline_path(mean, share)
    per_step = base.STEP_S / base.EPOCH_S
    level = np.array(
        [interpolated(path, (e + 0.5) / per_step - 0.5, base.DRIFT_REACH) for e in range(len(mean))]
    )
    reach = 15
    moved = level.copy()
    for e in range(len(mean)):
        near = np.arange(max(0, e - reach), min(len(mean), e + reach + 1))
        off = mean[near] - level[near]
        use = (np.abs(off) <= base.DRAWS_BPM) & (np.abs(level[near] - level[e]) <= base.DRIFT_REACH)
        near, off = near[use], off[use]
        weight = share[near] * (1.0 - np.abs(near - e) / (reach + 1.0))
        weight = weight * (1.0 - (off / base.DRAWS_BPM) ** 2)
        moved[e] += (weight * off).sum() / (weight.sum() + 0.5)
    by_hand = [interpolated(moved, (t + 0.5) / base.EPOCH_S - 0.5, 8.0) for t in range(2400)]
    np.testing.assert_allclose(base.refined(mean, share, path, 2400), by_hand, atol=1e-9)


def test_epochs_that_touch_an_excursion_draw_nothing() -> None:
    rows = np.zeros((3, exc.COLUMNS))
    rows[:, 0] = [-3.0, 33.0, 150.0]
    rows[:, 2] = [5.0, 64.0, 400.0]
    left = base.without(np.ones(10), rows, 16)
    assert left.tolist() == [0.0, 1.0, 0.0, 0.0, 0.0, 1.0, 1.0, 1.0, 1.0, 0.0]


@pytest.mark.parametrize("seed", SEEDS)
def test_a_curve_of_seconds_is_read_between_their_middles(seed: int) -> None:
    second = gappy(seed, 30, gaps=0)
    at = np.arange(120) / 4
    np.testing.assert_allclose(
        base.at_samples(second, 4, 120), np.interp(at, np.arange(30) + 0.5, second)
    )


# ---------------------------------------------------------------- contractions


@pytest.mark.parametrize("seed", SEEDS)
@pytest.mark.parametrize("reach", [3, 20])
def test_the_running_least_and_greatest_are_scipys(seed: int, reach: int) -> None:
    values = np.random.default_rng(seed).normal(size=200)
    size = 2 * reach + 1
    low, high = ndimage.minimum_filter1d(values, size), ndimage.maximum_filter1d(values, size)
    np.testing.assert_array_equal(hills._running_least(values, reach, 1.0), low)
    np.testing.assert_array_equal(hills._running_least(values, reach, -1.0), high)


@pytest.mark.parametrize("width", [9, 61])
def test_the_running_mean_is_of_what_there_is(width: int) -> None:
    values = np.random.default_rng(width).normal(size=200)
    by_hand = [values[max(0, i - width // 2) : i + width // 2 + 1].mean() for i in range(200)]
    np.testing.assert_allclose(hills._running_mean(values, width), by_hand, atol=1e-12)


@pytest.mark.parametrize("seed", SEEDS)
def test_gaps_are_joined_by_straight_lines_and_the_ends_held(seed: int) -> None:
    values = gappy(seed, 200)
    values[:5] = values[-7:] = np.nan
    seen = np.flatnonzero(np.isfinite(values))
    by_hand = np.interp(np.arange(200), seen, values[seen])
    np.testing.assert_allclose(hills._filled(values), by_hand, atol=1e-9)
    assert (hills._filled(np.full(9, np.nan)) == 0.0).all()


@pytest.mark.parametrize("seed", SEEDS)
def test_a_second_has_the_mean_and_the_share_of_its_samples(seed: int) -> None:
    values = gappy(seed, 403, gaps=12, longest=9)
    mean, share = hills.seconds(values, 4)
    assert len(mean) == len(share) == 100
    for s in range(100):
        part = values[4 * s : 4 * s + 4]
        assert share[s] == np.isfinite(part).mean()
        assert mean[s] == pytest.approx(mean_of(part), nan_ok=True)


@pytest.mark.parametrize(("still_s", "measured"), [(44, True), (45, False)])
def test_a_channel_that_stands_still_for_45_s_is_not_measuring(
    still_s: int, measured: bool
) -> None:
    values = 10.0 + 5.0 * np.sin(np.arange(800) / 3.0)
    values[200 : 200 + 4 * still_s] = 30.0
    values[200 + 4 * still_s :] += 40.0
    _, share = hills.seconds(values, 4)
    assert (share[50 : 50 + still_s] == (1.0 if measured else 0.0)).all()
    assert (share[:50] == 1.0).all()
    assert (share[50 + still_s :] == 1.0).all()


@pytest.mark.parametrize(("step", "measured"), [(0.5, False), (0.6, True)])
def test_still_is_within_half_a_unit(step: float, measured: bool) -> None:
    """A channel in half units that flickers by one of them stands still (ours)."""
    values = 10.0 + step * (np.arange(400) % 2)
    assert (hills.seconds(values, 4)[1] == (1.0 if measured else 0.0)).all()


@pytest.mark.parametrize("seed", SEEDS)
def test_the_usual_hill_is_the_92nd_percentile_of_half_an_hour(seed: int) -> None:
    chance = np.random.default_rng(seed)
    height = chance.uniform(0.0, 60.0, 3700)
    share = (chance.uniform(size=3700) > 0.3).astype(np.float64)
    share[600:2600] = share[600:2600] * (seed % 2)
    typical = hills._typical(height, share, 3.0)
    assert len(typical) == 62
    for m in range(62):
        at = np.arange(max(0, (m - 15) * 60), min(3700, (m + 16) * 60), 5)
        seen = np.sort(height[at][share[at] > 0.0])
        by_hand = seen[int(0.92 * (len(seen) - 1))] if len(seen) >= 24 else 9.0
        assert typical[m] == by_hand


@pytest.mark.parametrize(
    ("heights", "valley", "where"),
    [
        # The valley between two hills comes down to 62 % of the lower, peaks 35 s or more apart.
        ((50.0, 50.0), 30.9, 80),
        ((50.0, 50.0), 31.1, 160),
        ((50.0, 30.0), 18.5, 80),
        ((50.0, 30.0), 18.7, 160),
        ((50.0, 9.0), 5.0, 160),
    ],
)
def test_two_hills_of_a_run_part_in_their_valley(
    heights: tuple[float, float], valley: float, where: int
) -> None:
    height = np.interp(
        np.arange(160), [0, 40, 80, 120, 159], [0.0, heights[0], valley, heights[1], 0.0]
    )
    assert hills._valley(height, 0, 160, 10.0) == where


@pytest.mark.parametrize(("apart", "where"), [(34, 160), (36, 58)])
def test_two_peaks_within_35_s_are_one_contraction(apart: int, where: int) -> None:
    height = np.interp(
        np.arange(160),
        [0, 40, 40 + apart // 2, 40 + apart, 159],
        [0.0, 50.0, 5.0, 50.0, 0.0],
    )
    # The second hill counts once it is over the need, a little before its peak.
    assert hills._valley(height, 0, 160, 49.9) == where


# ---------------------------------------------------------------- variability


@pytest.mark.parametrize("seed", SEEDS)
def test_single_samples_are_replaced_by_the_median_of_three(seed: int) -> None:
    values = gappy(seed, 200)
    marked = np.random.default_rng(seed).uniform(size=200) < 0.1
    found = variability._of_three(values, marked, 1)
    for i in range(200):
        near = values[i - 1 : i + 2]
        whole = 0 < i < 199 and np.isfinite(near[[0, 2]]).all()
        if marked[i]:
            assert math.isnan(found[i])
        elif np.isfinite(values[i]):
            assert found[i] == (np.median(near) if whole else values[i])


@pytest.mark.parametrize("seed", SEEDS)
def test_a_pieces_range_is_about_its_own_line_without_its_outermost_samples(seed: int) -> None:
    values = gappy(seed, 120, gaps=2, longest=20)
    off = np.sort(about_line(values))
    outer = int(variability.OUTER_SHARE * len(off))
    by_hand = off[len(off) - 1 - outer] - off[outer]
    assert variability._range_about_line(values, np.empty(120), np.empty((2, 3))) == pytest.approx(
        by_hand
    )


def test_a_piece_needs_six_tenths_of_its_samples() -> None:
    values = gappy(3, 100, gaps=0)
    values[60:] = np.nan
    assert not math.isnan(variability._range_about_line(values, np.empty(100), np.empty((2, 3))))
    values[59] = np.nan
    assert math.isnan(variability._range_about_line(values, np.empty(100), np.empty((2, 3))))


def width_by_hand(steady: np.ndarray, first: int, last: int) -> float:
    """Range of a piece's mean of five samples about its line; the raw range from 16 bpm on."""
    drawn = np.full(len(steady), np.nan)
    for i in range(len(steady)):
        near = steady[max(0, i - 2) : i + 3]
        if np.isfinite(steady[i]) and np.isfinite(near).sum() >= 3:
            drawn[i] = np.nanmean(near)
    ranges = []
    for trace in (drawn, steady):
        piece = trace[first:last]
        if np.isfinite(piece).sum() < 72:
            return math.nan
        off = np.sort(about_line(piece))
        outer = int(0.02 * len(off))
        ranges.append(off[len(off) - 1 - outer] - off[outer])
    narrow, wide = ranges
    return float(narrow + min(max((narrow - 8.0) / 8.0, 0.0), 1.0) * (wide - narrow))


@pytest.mark.parametrize("seed", SEEDS)
def test_a_minutes_bandwidth_is_the_middle_one_of_its_pieces(seed: int) -> None:
    values = gappy(seed, 900, gaps=5, longest=80)
    marked = np.zeros(900, dtype=np.bool_)
    marked[300:420] = True
    moving = variability.moving_bandwidth(values, marked, 4, 1)
    band, ltv = moving[::12], variability.long_term_variation(values, marked, 4)
    steady = variability._of_three(values, marked, 1)
    for m in range(4):
        end = min(900, 240 * (m + 1))
        widths = [width_by_hand(steady, at, at + 120) for at in range(240 * m, end - 120 + 1, 40)]
        widths = [w for w in widths if not math.isnan(w)]
        assert band[m] == pytest.approx(np.median(widths) if widths else np.nan, nan_ok=True)
        means = []
        for at in range(240 * m, end - 15 + 1, 15):
            part = np.where(marked[at : at + 15], np.nan, values[at : at + 15])
            if np.isfinite(part).sum() >= 7.5:
                means.append(mean_of(part))
        wide = max(means) - min(means) if len(means) >= 5 else np.nan
        assert ltv[m] == pytest.approx(wide, nan_ok=True)


@pytest.mark.parametrize("seed", SEEDS)
def test_the_fine_band_is_the_range_about_the_slow_mean(seed: int) -> None:
    values = gappy(seed, 900, gaps=5, longest=150)
    steady, slow = exc.smoothed(values, 4), exc.smoothed(values, 30)
    marked = np.zeros(900, dtype=np.bool_)
    marked[480:639] = True
    band = variability.moving_fine_bandwidth(values, steady, slow, marked, 4)[::12]
    for m in range(4):
        part = slice(240 * m, min(900, 240 * (m + 1)))
        off = np.where(marked[part], np.nan, steady[part] - slow[part])
        off = np.sort(off[np.isfinite(off)])
        out = int(variability.FINE_OUTER_SHARE * len(off))
        by_hand = off[len(off) - 1 - out] - off[out] if len(off) >= 80 else np.nan
        assert band[m] == pytest.approx(by_hand, nan_ok=True)


@pytest.mark.parametrize(("seconds", "known"), [(20.0, True), (19.75, False)])
def test_a_minute_with_20_s_of_baseline_has_a_fine_band(seconds: float, known: bool) -> None:
    values = gappy(7, 240, gaps=0)
    marked = np.ones(240, dtype=np.bool_)
    marked[: int(4 * seconds)] = False
    band = variability.moving_fine_bandwidth(values, values, np.zeros(240), marked, 4)
    assert np.isfinite(band[0]) == known


def test_short_term_variation_is_the_mean_change_of_the_pulse_interval() -> None:
    """Pardey 2002: epochs of 3.75 s; 140 and 150 bpm in turn differ by 28.57 ms."""
    trace = np.tile(np.repeat([140.0, 150.0], 15), 20)
    change = 60000.0 / 140.0 - 60000.0 / 150.0
    assert variability.short_term_variation(trace, 4.0) == pytest.approx(change)
    trace[15:23] = np.nan
    assert variability.short_term_variation(trace, 4.0) == pytest.approx(change)
    assert math.isnan(variability.short_term_variation(np.full(15, 140.0), 4.0))
    halves = np.full(60, np.nan)
    halves[0:8], halves[15:23] = 140.0, 150.0
    assert variability.short_term_variation(halves, 4.0) == pytest.approx(change)
    halves[7] = np.nan
    assert math.isnan(variability.short_term_variation(halves, 4.0)), "under half of an epoch"


@pytest.mark.parametrize(
    ("minutes", "mean"),
    [
        ([10.0, 12.0, 14.0], 12.0),
        ([10.0, 12.0, 14.0, 60.0], 12.0),
        # Not strange: 2.2 times the middle one.
        ([10.0, 10.0, 22.0], 14.0),
        # More than a third of them: no longer a few strange ones.
        ([5.0, 5.0, 5.0, 30.0, 30.0], 15.0),
        ([np.nan, 8.0, np.nan], 8.0),
        ([np.nan], np.nan),
    ],
)
def test_the_usual_bandwidth_leaves_out_a_few_strange_minutes(
    minutes: list[float], mean: float
) -> None:
    found = variability.usual_bandwidth(np.array(minutes))
    assert found == pytest.approx(mean, nan_ok=True)


def test_an_excursion_four_times_as_high_as_the_trace_is_rough_is_left_out_of_its_band() -> None:
    rows = np.zeros((2, exc.COLUMNS))
    rows[:, 0], rows[:, 1], rows[:, 2], rows[:, 3] = [10, 50], [15, 55], [20, 60], [8.0, 7.9]
    marked = np.zeros(58, dtype=np.bool_)
    variability.leave_out(marked, rows, np.array([2.0, 2.0]), 40)
    assert np.flatnonzero(marked).tolist() == list(range(10, 21))
    rows[1, 3] = 8.0
    variability.leave_out(marked, rows, np.array([2.0, 2.0]), 40)
    assert np.flatnonzero(marked).tolist() == [*range(10, 21), *range(50, 58)]


# ---------------------------------------------------------------- sinusoidal


@pytest.mark.parametrize("per_min", [2.5, 3.1, 5.0])
def test_the_power_of_a_frequency_is_that_of_its_fourier_sum(per_min: float) -> None:
    values = gappy(int(10 * per_min), 180, gaps=0)
    turn = np.exp(-2j * np.pi * per_min / 60.0 * np.arange(180))
    assert sinusoidal._power(values, per_min) == pytest.approx(abs(values @ turn) ** 2)


@pytest.mark.parametrize("seed", SEEDS)
def test_an_undulation_is_measured_by_its_share_of_the_fluctuation(seed: int) -> None:
    chance = np.random.default_rng(seed)
    t = np.arange(480)
    per_min, height = (3.0, 10.0), 12.0
    wave = height * np.sin(2 * np.pi * per_min[0] / 60.0 * t)
    wave += 0.3 * height * np.sin(4 * np.pi * per_min[0] / 60.0 * t + 1.0)
    second = 140.0 + 0.02 * t + wave + chance.normal(0.0, 1.5, 480)
    second[chance.integers(0, 480, 60)] = np.nan
    rows = sinusoidal.undulation(second)
    assert rows.shape == (6, 5)
    window = sinusoidal.WINDOW_S
    for row, start in zip(rows, range(0, 480 - window + 1, 60), strict=True):
        part = second[start : start + window]
        seen = np.isfinite(part)
        value = np.where(seen, part - part[seen].mean(), 0.0)
        k = np.arange(window) - 0.5 * (window - 1)
        value = value - (value @ k) / (k @ k) * k
        whole = 0.5 * seen.sum() * (value @ value)

        def share(at: float, value: FloatArray = value, whole: float = whole) -> float:
            turn = np.exp(-2j * np.pi * at / 60.0 * np.arange(window))
            return float(abs(value @ turn) ** 2 / whole)

        steps = [2.5 + step / 6.0 for step in range(19)]
        best = max(steps, key=share)
        around = share(best) + sum(share(best + away / 3.0) for away in (-2, -1, 1, 2))
        energy = (value @ value) / seen.sum()
        assert row[0] == pytest.approx(best)
        assert row[1] == pytest.approx(2.0 * math.sqrt(2.0 * min(around, 1.0) * energy))
        assert row[2] == pytest.approx(share(best))
        assert row[3] == pytest.approx(share(2.0 * best) + share(3.0 * best))
        assert row[4] == pytest.approx(around)


def test_a_stretch_with_less_than_half_seen_or_no_fluctuation_has_no_undulation() -> None:
    t = np.arange(180)
    second = 140.0 + 10.0 * np.sin(2 * np.pi * 3.0 / 60.0 * t)
    second[:90] = np.nan
    assert sinusoidal.undulation(second)[0, 0] > 0.0
    second[90] = np.nan
    assert sinusoidal.undulation(second)[0, 0] == 0.0
    faint = 140.0 + 1.40 * np.sin(2 * np.pi * 3.0 / 60.0 * t)
    assert sinusoidal.undulation(faint)[0, 0] == 0.0, "under 1 bpm about its line"
    faint = 140.0 + 1.45 * np.sin(2 * np.pi * 3.0 / 60.0 * t)
    assert sinusoidal.undulation(faint)[0, 0] > 0.0
