"""The baseline of any stretch, and levels that a reader sets, stated once more in loops.

Two minutes of baseline make one (NICHD 2008), on the level that most of it lies on; a jump of over
8 bpm in a second begins another, which counts from 15 bpm on; marked minutes are left out where
others are enough, and five minutes of them are enough without (ours).
"""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from criteria.build import trace
from ebbline.features import manual_levels
from ebbline.features.findings import BaselineChange, Curve, Findings, VariabilityClass
from ebbline.features.stretch_baseline import baseline_track
from ebbline.terms import Window

MINUTES = 40


def drawn(seed: int) -> Findings:
    """Levels that jump by 7 to 30 bpm, seconds without baseline, marked minutes here and there."""
    draw = np.random.default_rng(seed)
    levels: list[float] = []
    level = 140.0
    while len(levels) < MINUTES * 60:
        levels += [level] * int(draw.choice([100, 150, 240, 400, 700]))
        level += float(draw.choice([-20.0, -14.9, -8.1, -8.0, 8.0, 8.1, 15.0, 25.0]))
    curve = np.array(levels[: MINUTES * 60])
    signal = curve + draw.normal(0.0, 1.0, len(curve))
    for start in draw.integers(0, len(curve), 12):
        signal[start : start + int(draw.choice([20, 100, 300]))] = math.nan
    unknown = int(draw.integers(0, len(curve)))
    curve[unknown : unknown + 200] = math.nan
    band = draw.choice([12.0, 25.0, 25.1, 40.0, math.nan], MINUTES, p=(0.5, 0.1, 0.2, 0.1, 0.1))
    begins_s = float(draw.choice([0.0, 600.0]))
    made = trace(MINUTES, bandwidth=band.tolist(), start_s=begins_s)
    fetal = replace(
        made.fetal,
        baseline_curve=Curve(begins_s, 1.0, curve),
        baseline_signal=Curve(begins_s, 1.0, signal),
    )
    return replace(made, fetal=fetal)


def by_hand(
    findings: Findings, start_s: float, end_s: float
) -> tuple[float, float, list[float], bool]:
    """Mean, seconds, levels, and whether there is a baseline."""
    fetal = findings.fetal
    signal, curve = fetal.baseline_signal.values, fetal.baseline_curve.values
    begins_s = fetal.baseline_signal.start_s

    def place(time_s: float) -> int:
        return min(max(round(time_s - begins_s), 0), len(signal))

    jumps, before = [], math.nan
    for at, level in enumerate(curve.tolist()):
        if math.isnan(level):
            continue
        if abs(level - before) > 8.0:
            jumps.append(at)
        before = level

    def mean(first: int, last: int) -> tuple[float, int]:
        seen = [at for at in range(first, last) if not math.isnan(signal[at])]
        calm = [at for at in seen if not fetal.bandwidth.values[at // 60] > 25.0]
        chosen = seen if len(calm) < 120 and len(seen) >= 300 else calm
        if len(chosen) < 120:
            return math.nan, len(chosen)
        return float(np.mean(signal[chosen])), len(chosen)

    first, last = place(start_s), place(end_s)
    inside = [at for at in jumps if first < at < last]
    edges = [first, *inside, last]
    parts = [(edges[k], edges[k + 1]) for k in range(len(edges) - 1)]
    longest = max(parts, key=lambda part: int(np.isfinite(signal[part[0] : part[1]]).sum()))
    levels: list[float] = []
    for part in parts:
        level = mean(*part)[0]
        if not math.isnan(level) and not (levels and abs(level - levels[-1]) < 15.0):
            levels.append(level)
    told, seconds = mean(*longest)
    return told, seconds, levels, not math.isnan(told)


@pytest.mark.parametrize("seed", range(12))
def test_the_baseline_of_a_stretch_is_that_of_the_rule_stated_plainly(seed: int) -> None:
    findings = drawn(seed)
    begins_s = findings.fetal.baseline_signal.start_s
    track = baseline_track(findings)
    assert (track.begins_s, track.ends_s) == (begins_s, begins_s + 60.0 * MINUTES)
    for start_s, length_s in ((0, 600), (300, 600), (601, 599), (1200, 1200), (1900, 600),
                              (-300, 600), (2100, 900)):  # fmt: skip
        window = (begins_s + start_s, begins_s + start_s + length_s)
        found = track.of(*window)
        mean, seconds, levels, known = by_hand(findings, *window)
        assert found.determinate is known, window
        assert found.mean_bpm == pytest.approx(mean, nan_ok=True), window
        assert found.baseline_s == seconds
        assert found.levels == pytest.approx(levels)
        minutes = "ten" if 570 < length_s < 630 else f"{length_s / 60:.0f}"
        said = f"{seconds} s of baseline in these {minutes} minutes, 120 s are needed"
        assert found.why == ("" if known else said)


def test_findings_without_a_baseline_signal_have_the_level_of_their_ten_minutes() -> None:
    track = baseline_track(trace(30, baseline=[120.0, math.nan, 135.0], start_s=60.0))
    assert (track.begins_s, track.ends_s) == (60.0, 1860.0)
    assert track.of(60.0, 660.0).mean_bpm == 120.0
    assert track.of(360.0, 960.0).baseline_s == 300.0
    assert not track.of(660.0, 1260.0).determinate
    assert track.of(1140.0, 1740.0).mean_bpm == 135.0
    assert track.of(1140.0, 1740.0).baseline_s == 480.0


# ---------------------------------------------------------------- levels that a reader sets


def read_level(findings: Findings, start_s: float, end_s: float, bpm: float) -> Findings:
    return manual_levels.with_baseline(findings, Window(start_s, end_s), bpm)


@pytest.mark.parametrize(
    ("start_s", "end_s", "changed"),
    [
        (600.0, 1200.0, [1]),
        (900.0, 1500.0, [1, 2]),  # half of each
        (901.0, 1499.0, []),
        (0.0, 2400.0, [0, 1, 2, 3]),
    ],
)
def test_a_readers_baseline_stands_for_ten_minutes_of_which_it_is_half(
    start_s: float, end_s: float, changed: list[int]
) -> None:
    findings = read_level(trace(40), start_s, end_s, 157.6)
    told = [(one.bpm, one.mean_bpm) for one in findings.fetal.baseline]
    assert told == [(160.0, 157.6) if k in changed else (140.0, 140.0) for k in range(4)]
    # NICHD 2008: rounded to 5 bpm.
    assert all(one.determinate for one in findings.fetal.baseline)


def test_a_readers_baseline_changes_the_curve_in_its_seconds_and_tells_the_changes() -> None:
    before = trace(40)
    curve = Curve(0.0, 1.0, np.full(2400, 140.0))
    old = (BaselineChange(599.0, 140.0, 120.0), BaselineChange(600.0, 1.0, 2.0),
           BaselineChange(1200.0, 1.0, 2.0), BaselineChange(1201.0, 120.0, 140.0))  # fmt: skip
    fetal = replace(before.fetal, baseline_curve=curve, baseline_changes=old)
    made = read_level(replace(before, fetal=fetal), 600.0, 1200.0, 155.0).fetal
    assert np.flatnonzero(made.baseline_curve.values == 155.0).tolist() == list(range(600, 1200))
    assert made.baseline_changes == (
        old[0],
        BaselineChange(600.0, 140.0, 155.0),
        BaselineChange(1200.0, 155.0, 140.0),
        old[3],
    )
    # To the same 5 bpm, or where no level is known beside it, nothing changes.
    same = read_level(replace(before, fetal=fetal), 600.0, 1200.0, 142.4).fetal
    assert same.baseline_changes == (old[0], old[3])
    assert read_level(before, 600.0, 1200.0, 155.0).fetal.baseline_changes == ()


@pytest.mark.parametrize(("bpm", "named"), [(2.0, VariabilityClass.ABSENT),
                                            (5.0, VariabilityClass.MINIMAL),
                                            (25.0, VariabilityClass.MODERATE),
                                            (26.0, VariabilityClass.MARKED)])  # fmt: skip
def test_a_readers_variability_has_the_name_of_its_bandwidth(
    bpm: float, named: VariabilityClass
) -> None:
    """NICHD 2008: undetectable, up to 5, 6 to 25, over 25 bpm."""
    before = trace(40)
    moving = Curve(0.0, 15.0, np.full(157, 12.0))
    fetal = replace(before.fetal, moving_bandwidth=moving, moving_fine_bandwidth=moving)
    made = manual_levels.with_variability(
        replace(before, fetal=fetal), Window(600.0, 1200.0), bpm
    ).fetal
    assert [one.variability is named for one in made.variability] == [
        (bpm == 25.0) or k == 1 for k in range(4)
    ]
    assert np.flatnonzero(made.bandwidth.values == bpm).tolist() == list(range(10, 20))
    # Of the minute from each quarter on, the middle: 570 s and 30 more to 1,170 s and 30 more.
    inside = list(range(38, 79))
    assert np.flatnonzero(made.moving_bandwidth.values == bpm).tolist() == inside
    absent = named is VariabilityClass.ABSENT
    assert (made.fine_bandwidth.values == bpm).sum() == (10 if absent else 0)
    fine = np.flatnonzero(made.moving_fine_bandwidth.values == bpm).tolist()
    assert fine == (inside if absent else [])


@pytest.mark.parametrize(
    ("start_s", "end_s", "bpm", "told"),
    [
        (600.0, 720.0, 140.0, ""),
        (600.0, 719.0, 140.0, "at least 120 s"),
    ],
)
def test_a_readers_baseline_needs_two_minutes(
    start_s: float, end_s: float, bpm: float, told: str
) -> None:
    """NICHD 2008: two minutes of any ten."""
    if not told:
        read_level(trace(40), start_s, end_s, bpm)
        return
    with pytest.raises(manual_levels.LevelError, match=told):
        read_level(trace(40), start_s, end_s, bpm)


def test_levels_that_cannot_be_are_refused_and_those_on_the_limits_are_not() -> None:
    for least, most, set_level in (
        (*manual_levels.BASELINE_RANGE_BPM, manual_levels.with_baseline),
        (*manual_levels.BANDWIDTH_RANGE_BPM, manual_levels.with_variability),
    ):
        for bpm, refused in (
            (least, False),
            (most, False),
            (least - 0.1, True),
            (most + 0.1, True),
        ):
            if refused:
                with pytest.raises(manual_levels.LevelError, match="cannot be"):
                    set_level(trace(40), Window(600.0, 1200.0), bpm)
            else:
                set_level(trace(40), Window(600.0, 1200.0), bpm)
    manual_levels.with_variability(trace(40), Window(600.0, 660.0), 8.0)
    with pytest.raises(manual_levels.LevelError, match="at least 60 s"):
        manual_levels.with_variability(trace(40), Window(600.0, 659.0), 8.0)
