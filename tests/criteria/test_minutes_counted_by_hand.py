"""Runs and means of minutes, against counting them one after the other."""

from __future__ import annotations

import math

import numpy as np
import pytest

from ebbline.criteria import limits
from ebbline.criteria.variability_runs import MinuteTrack
from ebbline.features.findings import Curve
from ebbline.terms import Window

GAP_MIN = limits.RUN_GAP.threshold
LEAST = limits.MEASURED_MINUTES.threshold


def bands(seed: int) -> tuple[float, np.ndarray]:
    """Where a recording begins, and its minutes: low and high ones in runs, some not measured."""
    chance = np.random.default_rng(seed)
    lengths = chance.integers(1, 9, 12)
    values = np.repeat(
        chance.choice([3.0, 4.0, 12.0, math.nan], 12, p=(0.4, 0.2, 0.2, 0.2)), lengths
    )
    return float(chance.choice([0.0, 60.0, 600.0])), values + chance.uniform(0.0, 0.5, len(values))


def measured(start_s: float, values: np.ndarray) -> list[tuple[float, float]]:
    """Start and bandwidth of each measured minute."""
    return [(start_s + 60.0 * i, v) for i, v in enumerate(values.tolist()) if not math.isnan(v)]


def runs_by_hand(
    minutes: list[tuple[float, float]], low: list[bool], *, over_gaps: bool
) -> list[list[float]]:
    """Starts of the minutes of each run."""
    found: list[list[float]] = []
    before: tuple[float, bool] | None = None
    for (at, _), is_low in zip(minutes, low, strict=True):
        broken = before is None or (not over_gaps and (at - before[0] - 60.0) / 60.0 > GAP_MIN)
        if is_low:
            if broken or before is None or not before[1]:
                found.append([])
            found[-1].append(at)
        before = (at, is_low)
    return found


@pytest.mark.parametrize("seed", range(40))
def test_a_mean_is_that_of_the_minutes_whose_middle_lies_in_the_stretch(seed: int) -> None:
    start_s, values = bands(seed)
    track, minutes = MinuteTrack(Curve(start_s, 60.0, values)), measured(start_s, values)
    starts = start_s + np.array([0.0, 40.0, 300.0, 1500.0])
    for length_s in (600.0, 1800.0):
        for at, found in zip(starts.tolist(), track.means(starts, length_s).tolist(), strict=True):
            inside = [v for s, v in minutes if at <= s + 30.0 < at + length_s]
            by_hand = float(np.mean(inside)) if len(inside) >= LEAST else math.nan
            assert found == pytest.approx(by_hand, nan_ok=True), (at, length_s)


@pytest.mark.parametrize("over_gaps", [False, True])
@pytest.mark.parametrize("seed", range(40))
def test_a_run_is_as_long_as_its_minutes_in_a_row(seed: int, over_gaps: bool) -> None:
    start_s, values = bands(seed)
    track, minutes = MinuteTrack(Curve(start_s, 60.0, values)), measured(start_s, values)
    low = track.bpm < 5.0
    found = track.runs(low, over_gaps=over_gaps)
    by_hand = runs_by_hand(minutes, low.tolist(), over_gaps=over_gaps)
    assert (found.stop - found.first).tolist() == [len(run) for run in by_hand]
    assert track.start_s[found.first].tolist() == [run[0] for run in by_hand]

    for window in (Window(start_s, start_s + 1200.0), Window(start_s + 600.0, start_s + 2400.0)):
        said = track.longest(found, window)
        reaching = [
            [at for at in run if at + 30.0 < window.end_s]
            for run in by_hand
            if any(window.start_s <= at + 30.0 < window.end_s for at in run)
        ]
        if not reaching:
            assert said is None
            continue
        assert said is not None
        longest = max(reaching, key=len)
        assert said.minutes == len(longest)
        ends_s = min(longest[-1] + 60.0, window.end_s)
        assert said.evidence == Window(longest[0], ends_s)
        assert said.elapsed_min == (ends_s - longest[0]) / 60.0
        places = [at for at, _ in minutes]
        before = places.index(longest[0]) - 1
        unseen = before < 0 or (longest[0] - places[before] - 60.0) / 60.0 > GAP_MIN
        assert said.began_unseen is unseen


@pytest.mark.parametrize("seed", range(20))
def test_a_stray_minute_counts_as_the_median_of_itself_and_its_neighbours(seed: int) -> None:
    values = np.random.default_rng(seed).uniform(2.0, 30.0, 30)
    steady = MinuteTrack(Curve(0.0, 60.0, values)).steady
    by_hand = [float(np.median(values[i - 1 : i + 2])) for i in range(1, 29)]
    assert steady[1:-1].tolist() == by_hand
    assert (steady[0], steady[-1]) == (values[0], values[-1])


def test_a_recording_without_a_low_minute_has_no_run() -> None:
    track = MinuteTrack(Curve(0.0, 60.0, np.full(20, 12.0)))
    assert track.longest(track.runs(track.bpm < 5.0), Window(0.0, 1200.0)) is None
