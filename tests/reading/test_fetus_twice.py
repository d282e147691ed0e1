"""Two channels of one heart are asked about before either trace is relied on.

Two sensors on twins must show two rates (common practice, no source).
"""

from __future__ import annotations

import numpy as np

import ebbline


def rate(seed: int, minutes: int = 40) -> np.ndarray:
    """A quiet rate that varies by itself, 4 Hz, bpm."""
    noise = np.random.default_rng(seed).normal(0.0, 1.0, minutes * 240)
    return 140.0 + 4.0 * np.convolve(noise, np.ones(24) / np.sqrt(24.0), "same")


def above(first: np.ndarray, second: np.ndarray) -> list[str]:
    recording = ebbline.from_arrays(np.stack([first, second]), rate_hz=4.0, weeks=39)
    reading = ebbline.read(recording, history=False)
    return [one.four_lines.class_line for one in reading.fetuses]


def test_identical_channels_are_asked_about_above_both_classes():
    assert all(line.startswith("One fetus twice?") for line in above(rate(1), rate(1)))


def test_a_copy_with_its_own_gaps_and_rounding_is_still_the_same_heart():
    copy = np.round(rate(1))
    copy[2000:2600] = np.nan
    assert all("One fetus twice?" in line for line in above(rate(1), copy))


def test_two_hearts_of_one_baseline_are_not():
    assert not any("twice" in line for line in above(rate(1), rate(2)))


def test_a_channel_without_signal_is_not_alike():
    lost = np.full(40 * 240, np.nan)
    lost[:100] = rate(1)[:100]
    assert not any("twice" in line for line in above(rate(1), lost))


def test_a_copy_told_some_seconds_later_is_still_the_same_heart():
    for late in (-12, -4, 4, 8, 12):
        assert all("One fetus twice?" in line for line in above(rate(1), np.roll(rate(1), late)))
