"""Nothing reads better because it got worse: each trace is made worse, and no class is milder.

The ways of getting worse are those of `bench/worsening.py`, which counts over all recordings. Here
each is tried on invented labours and on traces drawn by hand, in amounts that Hypothesis chooses.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from bench.worsening import (
    STANDARDS,
    Standing,
    better,
    chains,
    fall,
    lossier,
    real,
    standing,
    thinner,
    with_rate,
)
from hypothesis import given, settings
from hypothesis import strategies as st

from ebbline.criteria import classify
from ebbline.criteria.panel import panel_reading, panel_silence
from ebbline.features import detect
from ebbline.recording.model import Channel, ChannelKind, Context, Recording
from ebbline.terms import SensorKind, Stage, Window
from shared_data import needs_ctu_uhb

RATE = 4
MINUTES = 70
WINDOW = Window(40 * 60.0, 70 * 60.0)
FEW = settings(max_examples=12, deadline=None, derandomize=True)
FEWER = settings(max_examples=5, deadline=None, derandomize=True)


def calm(
    seed: int, *, lively: float = 1.0, bpm: float = 145.0, squeeze_s: float = 210.0
) -> Recording:
    """Seventy minutes at a level, with waves and noise, and a toco with regular contractions."""
    random = np.random.default_rng(seed)
    t = np.arange(MINUTES * 60 * RATE) / RATE
    waves = sum(
        random.uniform(1.5, 4.0) * np.sin(2 * np.pi * t / period + random.uniform(0, 6))
        for period in (11.0, 17.0, 29.0)
    )
    rate = bpm + lively * waves + random.normal(0, 0.5, len(t))
    phase = (t % squeeze_s) - squeeze_s / 2
    toco = 12 + 45 * np.where(np.abs(phase) < 35, np.cos(np.pi * phase / 70) ** 2, 0.0)
    return Recording(
        "drawn",
        (
            Channel(ChannelKind.FETAL_HEART_RATE, rate, RATE, SensorKind.ULTRASOUND, 1),
            Channel(ChannelKind.UTERINE_ACTIVITY, toco, RATE, SensorKind.TOCO),
        ),
        context=Context(weeks=40.0, stage=Stage.FIRST),
    )


def never_milder(steps: list[Recording], *, less_known: bool = False) -> list[Standing]:
    """The standings of steps of which each is worse than the one before."""
    said = [standing(one, WINDOW) for one in steps]
    for place, (before, after) in enumerate(pairwise(said)):
        found = [who for who in better(before, after, less_known=less_known) if who != "panel"]
        assert not found, (place, found, str(before), str(after))
    return said


@FEW
@given(seed=st.integers(0, 999), depth=st.floats(35.0, 85.0))
def test_a_fall_that_does_not_come_back_only_gets_worse_with_time(seed: int, depth: float) -> None:
    """150 -> 65 until the end: after 3 to 15 minutes, no class takes anything back."""
    base = calm(seed)
    steps = [base]
    steps += [
        fall(base, WINDOW.end_s - 60.0 * m, np.inf, depth) for m in (1.5, 2.5, 4, 5.5, 7, 9, 12)
    ]
    said = never_milder(steps)
    assert said[-1].ranks[1:] == (2, 2), "over five minutes: pathological by FIGO and NICE"


@FEW
@given(seed=st.integers(0, 999), at=st.floats(120.0, 900.0), depth=st.floats(40.0, 75.0))
def test_a_fall_that_lasts_longer_is_never_milder(seed: int, at: float, depth: float) -> None:
    base = calm(seed)
    steps = [base]
    steps += [fall(base, WINDOW.start_s + at, s, depth) for s in (40, 80, 130, 200, 280, 400)]
    said = never_milder(steps)
    assert said[-1].ranks[1:] == (2, 2)


@FEW
@given(seed=st.integers(0, 999))
def test_more_prolonged_falls_are_never_milder_and_are_said_above_the_class(seed: int) -> None:
    """One, two, ... seven falls of 150 s and 70 bpm in half an hour."""
    steps = [calm(seed)]
    for number in range(7):
        steps.append(fall(steps[-1], WINDOW.start_s + 80.0 + 240.0 * number, 150.0, 70.0))
    never_milder(steps)
    for count, recording in enumerate(steps[1:], start=1):
        findings = detect(recording)
        for standard in STANDARDS:
            found = classify(findings, WINDOW, standard, recording.context)
            if found.rank == 0 or count > 1:
                assert any(
                    "prolonged fall" in text or "not recovered" in text for text in found.beyond
                ), (count, standard)


@FEW
@given(seed=st.integers(0, 999), every=st.sampled_from((8, 20, 60, 240)))
def test_a_rate_too_coarse_for_variability_gives_no_best_class(seed: int, every: int) -> None:
    base = calm(seed)
    said = never_milder([base, thinner(base, every)], less_known=True)
    assert all(rank != 0 for rank in said[-1].ranks)


def test_one_heart_rate_a_minute_is_said_to_be_unfit_for_variability() -> None:
    recording = thinner(calm(1), 240)
    findings = detect(recording)
    assert not np.isfinite(findings.fetal.bandwidth.values).any()
    for standard in STANDARDS:
        found = classify(findings, WINDOW, standard, recording.context)
        assert found.refused
        assert any("one sample in 60 s" in why for why in found.refusal)


@FEW
@given(seed=st.integers(0, 999), depth=st.floats(11.0, 14.0))
def test_shallow_late_falls_at_every_contraction_with_low_variability_are_not_normal(
    seed: int, depth: float
) -> None:
    """NICHD 2008 asks no 15 bpm of a late deceleration; FIGO 2015 counts 10 to 15 bpm."""
    recording = calm(seed, lively=0.15)
    middle = 105.0
    while middle < WINDOW.end_s - 80:
        recording = fall(recording, middle - 5.0, 95.0, depth, 45.0)
        middle += 210.0
    said = standing(recording, WINDOW)
    assert 0 not in said.ranks[:2], str(said)


@pytest.mark.parametrize("share", [0.6, 0.9])
def test_a_rate_under_100_for_most_of_the_window_always_has_a_class(share: float) -> None:
    """However little is known, half an hour slower than 100 bpm is never "no class"."""
    recording = calm(3)
    channel = recording.channels[0]
    rate = channel.samples.copy()
    first = round((WINDOW.end_s - share * 1800.0) * RATE)
    rate[first:] -= 60.0
    keep = np.random.default_rng(1).random(len(rate) // (20 * RATE) + 1) < 0.45
    mask = np.repeat(keep, 20 * RATE)[: len(rate)]
    rate = np.where(mask, rate, np.nan)
    worse = replace(recording, channels=(replace(channel, samples=rate), *recording.channels[1:]))
    findings = detect(worse)
    for standard in STANDARDS:
        found = classify(findings, WINDOW, standard, worse.context)
        assert found.rank > 0 or found.at_least, (standard, found.refusal)
        assert any("under 100 bpm" in text for text in found.beyond)


def changed(
    recording: Recording, minutes: float, change: Callable[[np.ndarray], np.ndarray]
) -> Recording:
    """The recording with its fetal rate changed over the last minutes of the window."""

    def applied(samples: np.ndarray, rate_hz: float) -> np.ndarray:
        first = round((WINDOW.end_s - 60.0 * minutes) * rate_hz)
        return np.concatenate((samples[:first], change(samples[first:])))

    return with_rate(recording, applied)


@FEW
@given(seed=st.integers(0, 999), minutes=st.floats(1.5, 25.0))
def test_a_window_that_ends_in_a_fall_is_normal_by_no_standard(seed: int, minutes: float) -> None:
    """However long it has lasted, and although ten minutes of it make a baseline (NICHD 2008)."""
    recording = fall(calm(seed), WINDOW.end_s - 60.0 * minutes, np.inf, 80.0)
    findings = detect(recording)
    for standard in STANDARDS:
        found = classify(findings, WINDOW, standard, recording.context)
        assert found.rank > 0, (standard, found.said)
        assert any("not recovered at the end" in what for what in found.beyond)


@FEW
@given(
    seed=st.integers(0, 999),
    minutes=st.sampled_from((25.0, 30.0, 45.0)),
    case=st.sampled_from(("doubled", "step to 118")),
)
def test_a_rate_that_may_not_be_the_fetus_s_is_at_best_normal(
    seed: int, minutes: float, case: str
) -> None:
    """FIGO 2015: listen and feel the maternal pulse where the source is in doubt."""
    if case == "doubled":
        recording = changed(calm(seed, bpm=75.0), minutes, lambda rate: 2.0 * rate)
    else:
        recording = changed(calm(seed), minutes, lambda rate: rate - 27.0)
    findings = detect(recording)
    for standard in STANDARDS:
        found = classify(findings, WINDOW, standard, recording.context)
        assert found.rank != 0, (standard, found.said)
        assert any("feel her pulse" in what for what in found.beyond)
    assert "whose rate" in panel_silence(findings, WINDOW, recording.context)


@FEW
@given(seed=st.integers(0, 999), bpm=st.floats(100.0, 120.0), rise=st.floats(20.0, 35.0))
def test_accelerations_with_every_contraction_at_a_mother_s_rate_are_at_best_normal(
    seed: int, bpm: float, rise: float
) -> None:
    """FIGO 2015 names accelerations that coincide with contractions as a sign of her rate."""

    def lifted(samples: np.ndarray, rate_hz: float) -> np.ndarray:
        phase = (np.arange(len(samples)) / rate_hz) % 210.0 - 105.0
        hill = np.where(np.abs(phase) < 35, np.cos(np.pi * phase / 70) ** 2, 0.0)
        return samples + rise * hill

    recording = with_rate(calm(seed, bpm=bpm), lifted)
    findings = detect(recording)
    for standard in STANDARDS:
        found = classify(findings, WINDOW, standard, recording.context)
        assert found.rank != 0, (standard, found.said)
        assert any("feel her pulse" in what for what in found.beyond)


@FEW
@given(
    seed=st.integers(0, 999),
    minutes=st.floats(4.0, 25.0),
    depth=st.floats(20.0, 40.0),
)
def test_a_step_of_20_bpm_that_stays_is_best_by_no_standard(
    seed: int, minutes: float, depth: float
) -> None:
    """145 -> 125 until the end: a baseline by the letter after ten minutes, and yet not back."""
    recording = changed(calm(seed), minutes, lambda rate: rate - depth)
    findings = detect(recording)
    for standard in STANDARDS:
        found = classify(findings, WINDOW, standard, recording.context)
        assert found.rank != 0, (standard, found.said)
        assert any("not recovered at the end" in what for what in found.beyond)
        assert any("feel her pulse" in what for what in found.beyond)


WAYS = (
    "a fall not recovered, longer",
    "a fall longer",
    "a fall deeper",
    "prolonged falls, more of them",
    "late falls, more of them",
    "less variability",
)


@FEWER
@given(seed=st.integers(0, 999), way=st.sampled_from(WAYS))
def test_no_way_of_getting_worse_gives_a_milder_class_or_panel(seed: int, way: str) -> None:
    """The ways of the bench on traces drawn by hand: classes of every standard, and the panel."""
    steps = next(made for name, made in chains(calm(seed), WINDOW, seed) if name == way)
    said = [standing(one, WINDOW) for one in steps]
    found = [better(before, after) for before, after in pairwise(said)]
    assert not any(found), (way, [str(one) for one in said])


@FEWER
@given(
    seed=st.integers(0, 999),
    gap_s=st.sampled_from((4.0, 15.0, 40.0)),
    falls=st.integers(0, 4),
)
def test_more_loss_only_withholds(seed: int, gap_s: float, falls: int) -> None:
    base = calm(seed)
    for number in range(falls):
        base = fall(base, WINDOW.start_s + 150.0 + 400.0 * number, 70.0, 45.0)
    steps = [base, *(lossier(base, s, seed, gap_s, WINDOW) for s in (0.15, 0.3, 0.5, 0.75))]
    never_milder(steps, less_known=True)


@needs_ctu_uhb
@pytest.mark.parametrize("way", ["a fall not recovered, longer", "prolonged falls, more of them"])
def test_falls_added_to_a_real_labour_only_make_it_worse(way: str) -> None:
    """The first of the open recordings, cut at the end of its first stage."""
    _, recording, window = next(real(300))
    steps = next(made for name, made in chains(recording, window, 0) if name == way)
    said = [standing(one, window) for one in steps]
    found = [better(before, after) for before, after in pairwise(said)]
    assert not any(found), [str(one) for one in said]


@FEW
@given(
    seed=st.integers(0, 999),
    minutes=st.floats(6.0, 25.0),
    over_s=st.floats(90.0, 240.0),
    depth=st.floats(22.0, 45.0),
)
def test_a_slide_to_a_lower_level_that_stays_is_best_by_no_standard_nor_the_panel(
    seed: int, minutes: float, over_s: float, depth: float
) -> None:
    """140 -> 118 within minutes: too slow for a step, followed by the baseline, and not back."""

    def slid(rate: np.ndarray) -> np.ndarray:
        t = np.arange(len(rate)) / RATE
        return np.asarray(rate - depth * np.clip(t / over_s, 0.0, 1.0))

    recording = changed(calm(seed, bpm=140.0), minutes, slid)
    findings = detect(recording)
    for standard in STANDARDS:
        found = classify(findings, WINDOW, standard, recording.context)
        assert found.rank > 0 or found.at_least, (standard, found.said)
        assert any("not recovered at the end" in what for what in found.beyond)
        assert any("feel her pulse" in what for what in found.beyond)
    panel = panel_reading(findings, WINDOW, recording.context)
    assert panel is None or panel.label != "normal"


@pytest.mark.parametrize("minutes", [5, 6, 7, 8, 9])
@pytest.mark.parametrize("seed", [1, 2, 3])
def test_a_shallow_fall_of_minutes_that_the_baseline_follows_is_best_by_no_standard(
    seed: int, minutes: int
) -> None:
    """18 bpm for up to under ten minutes: prolonged (NICHD 2008), however it is drawn."""
    recording = fall(calm(seed), WINDOW.start_s + 400.0, 60.0 * minutes, 18.0)
    findings = detect(recording)
    for standard in STANDARDS:
        found = classify(findings, WINDOW, standard, recording.context)
        assert found.rank > 0 or found.at_least, (standard, found.said)


def test_a_drift_down_is_told_and_withholds_the_best_class_without_being_called_a_fall() -> None:
    """Over half an hour a baseline may settle lower: no alarm, and no best class either."""

    def drifted(rate: np.ndarray) -> np.ndarray:
        return rate - np.linspace(0.0, 24.0, len(rate))

    recording = changed(calm(4, bpm=150.0), 30.0, drifted)
    findings = detect(recording)
    for standard in STANDARDS:
        found = classify(findings, WINDOW, standard, recording.context)
        assert found.rank < 0 and not found.at_least, (standard, found.said)
        assert any("not back at its earlier level" in what for what in found.beyond)
