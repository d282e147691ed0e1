"""Hills of the uterine activity, how each is measured and judged, stated once more in plain loops.

Lengths and shares are ours, as the module states them, and typed here a second time; the shapes
drawn are of whole units, so that they lie on the limits, too.
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from numpy.typing import NDArray

from ebbline.features import contractions as hills

FloatArray = NDArray[np.float64]


def measured_by_hand(
    mean: FloatArray,
    share: FloatArray,
    height: FloatArray,
    smooth: FloatArray,
    start: int,
    end: int,
    peak: int,
) -> dict[str, float] | None:
    """Out from the peak to 12 % of its height; beyond the run's ends only as long as it falls."""
    top, n = float(height[peak]), len(height)
    foot = 0.12 * top
    onset = next((k for k in range(peak, start, -1) if height[k] <= foot), start)
    if onset == start:
        while onset > 0 and foot < height[onset - 1] < height[onset]:
            onset -= 1
    finish = next((k for k in range(peak, end - 1) if height[k] <= foot), end - 1)
    if finish == end - 1:
        while finish + 1 < n and foot < height[finish + 1] < height[finish]:
            finish += 1
    inside = range(onset, finish + 1)
    length = finish - onset
    seen = [k for k in inside if not math.isnan(mean[k])]
    measured = sum(share[k] for k in inside)
    wide = sum(height[k] >= 0.5 * top for k in inside)
    if not 25 <= length <= 200 or measured < 0.4 * length:
        return None
    if wide < 12 or wide > 0.85 * length:
        return None
    off = {k: abs(mean[k] - smooth[k]) for k in seen}
    on_top = [off[k] for k in seen if height[k] >= 0.6 * top]
    on_foot = [off[k] for k in seen if height[k] < 0.3 * top]
    if on_top and on_foot:
        high, low = sum(on_top) / len(on_top), sum(on_foot) / len(on_foot)
        if top < 2.7 * high and low < 0.6 * high:
            return None
    greatest = max((mean[k] for k in seen), default=-1e9)
    near_top = [k for k in inside if height[k] >= 0.9 * top]
    return {
        "ONSET": onset,
        "PEAK": sum(near_top) / len(near_top),
        "END": finish,
        "AMPLITUDE": top,
        "VALID_SHARE": measured / (length + 1),
        "CUT_TOP": float(sum(mean[k] >= greatest - 0.3 for k in seen) >= 10),
        "BREADTH": wide / length,
        "STEEPEST": max(abs(smooth[k] - smooth[k - 1]) for k in inside if k > onset) / top,
    }


def drawn(draw: np.random.Generator) -> tuple[FloatArray, FloatArray, FloatArray, FloatArray]:
    """Mean, share, height and smoothed signal of 320 s about one hill or two."""
    n, top = 320, float(draw.choice([10.0, 20.0, 50.0, 100.0]))
    up, hold, down = (int(draw.choice(x)) for x in ([5, 12, 30, 80], [0, 4, 12, 60], [8, 25, 70]))
    first = int(draw.choice([0, 3, 60]))
    at = np.cumsum([first, up, hold, down])
    height = np.interp(np.arange(n), at, [0.0, top, top, 0.0], 0.0, 0.0)
    if draw.random() < 0.4:
        other = int(at[2] + draw.integers(5, 40))
        second = np.interp(np.arange(n), [other, other + 20, other + 60], [0.0, 0.8 * top, 0.0])
        height = np.maximum(height, second)
    height = np.round(height)
    smooth = height + 10.0
    breath = float(draw.choice([0.0, 0.2, 0.3, 0.5])) * top
    on_foot = float(draw.choice([0.2, 0.5, 0.7, 1.0]))
    ripple = np.where(height >= 0.5 * top, breath, breath * on_foot)
    mean = smooth + ripple * np.where(np.arange(n) % 2, 1.0, -1.0)
    if draw.random() < 0.3:
        mean = np.minimum(mean, 10.0 + float(draw.choice([0.7, 0.9])) * top)
    share = draw.choice([1.0, 1.0, 0.5], n)
    start = int(draw.integers(0, n))
    lost = slice(start, start + int(draw.choice([0, 20, 60, 120])))
    mean[lost], share[lost] = math.nan, 0.0
    return mean, share, height, smooth


def test_hills_are_measured_and_judged_as_stated() -> None:
    found = none = 0
    for seed in range(250):
        draw = np.random.default_rng(seed)
        mean, share, height, smooth = drawn(draw)
        peak = int(np.argmax(height))
        need = float(draw.choice([0.1, 0.3, 0.5])) * height[peak]
        start, end = peak, peak
        while start > 0 and height[start - 1] > need:
            start -= 1
        while end < len(height) and height[end] > need:
            end += 1
        tone = np.arange(320.0)
        row = np.zeros(hills.COLUMNS)
        args = (mean, share, height, tone, smooth, start, end, peak)
        said = hills._hill(row, *args)
        by_hand = measured_by_hand(mean, share, height, smooth, start, end, peak)
        assert said is (by_hand is not None), seed
        found, none = found + said, none + (not said)
        if by_hand is None:
            continue
        told = {name: row[getattr(hills, name)] for name in by_hand}
        assert told == pytest.approx(by_hand), seed
        assert row[hills.TONE] == tone[peak]
    assert min(found, none) > 40


def test_a_hill_is_shaken_by_the_middle_of_the_45_s_to_each_side_of_it() -> None:
    draw = np.random.default_rng(1)
    for onset, finish in ((100, 160), (20, 90), (230, 290), (0, 299)):
        smooth = draw.uniform(0.0, 50.0, 300)
        filled = smooth + draw.normal(0.0, 3.0, 300)
        row = np.zeros(hills.COLUMNS)
        row[[hills.ONSET, hills.END, hills.AMPLITUDE]] = onset, finish, 40.0
        off = np.abs(filled - smooth)
        about = np.concatenate((off[max(0, onset - 45) : onset], off[finish : finish + 45]))
        assert hills._shaken_around(filled, smooth, row) == pytest.approx(np.median(about) / 40.0)
    row[[hills.ONSET, hills.END]] = 0, 300
    assert hills._shaken_around(filled, smooth, row) == 0.0


@pytest.mark.parametrize(("steepest", "shaken", "length", "breadth"), [
    (0.04, 0.02, 60.0, 0.5), (0.1, 0.2, 28.0, 0.4), (0.0, 0.0, 90.0, 0.8), (0.03, 0.001, 45.0, 0.6)
])  # fmt: skip
def test_how_likely_a_hill_is_follows_the_regression_as_stated(
    steepest: float, shaken: float, length: float, breadth: float
) -> None:
    """The weights are ours, fitted; a share under a thousandth tells no more."""
    row = np.zeros(hills.COLUMNS)
    row[[hills.STEEPEST, hills.SHAKEN, hills.BREADTH]] = steepest, shaken, breadth
    row[[hills.ONSET, hills.END]] = 100.0, 100.0 + length
    logit = -22.57 - 4.65 * math.log(max(steepest, 0.001)) - 1.60 * math.log(max(shaken, 0.001))
    logit += 1.18 * math.log(length) + 3.77 * breadth
    assert hills.likeliness(row) == pytest.approx(1.0 / (1.0 + math.exp(-logit)))


@pytest.mark.parametrize("seconds_still", [44.75, 45.0])
@pytest.mark.parametrize("start", [0, 37, 400])
def test_a_channel_that_does_not_move_for_45_s_measures_nothing(
    seconds_still: float, start: int
) -> None:
    """By half a unit and a little (0.55) it does not move (ours)."""
    draw = np.random.default_rng(2)
    for sway, still in ((0.55, True), (0.56, False)):
        values = 20.0 + 5.0 * np.tile([0.0, 1.0], 400) + draw.uniform(0.0, 0.1, 800)
        count = round(seconds_still * 4)
        values[start : start + count] = sway * (np.arange(count) % 2)
        mean, share = hills.seconds(values, 4)
        lost = still and count >= 180
        whole = slice(math.ceil(start / 4), (start + count) // 4)
        assert (share[whole] == (0.0 if lost else 1.0)).all()
        assert np.isnan(mean[whole]).all() == lost


@pytest.mark.parametrize(
    ("next_at", "high", "low", "ends"),
    [
        (35, 20.0, 5.0, 11),
        (34, 20.0, 5.0, 100),  # too near: one hill
        (35, 10.0, 5.0, 11),  # the lesser of both tells how deep the valley must be
        (35, 9.9, 5.0, 100),  # under what is needed of a hill
        (35, 20.0, 12.3, 11),
        (35, 20.0, 12.4, 100),  # 62 % of the height: no valley
        (35, 16.0, 11.0, 100),
    ],
)
def test_a_hill_ends_in_a_valley_35_s_before_the_next_of_under_62_percent(
    next_at: int, high: float, low: float, ends: int
) -> None:
    """Ours: two hills are two where what lies between them is so low and their tops so far."""
    height = np.full(120, low)
    height[10] = 20.0
    height[:10] = np.linspace(0.0, 11.0, 10)
    height[10 + next_at] = high
    assert hills._valley(height, 0, 100, 10.0) == ends
