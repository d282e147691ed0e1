"""Bringing any sampling rate to the grid that is computed on."""

from __future__ import annotations

import numpy as np
import pytest

from ebbline.signal.resampling import to_grid


def test_signal_on_the_grid_is_left_as_it_is() -> None:
    samples = np.array([140.0, np.nan, 141.0, 142.0])
    assert np.array_equal(to_grid(samples, 4.0, 4), samples, equal_nan=True)


@pytest.mark.parametrize("rate", [0.5, 1.0, 2.0, 8.0, 10.0, 250.0])
def test_slow_sine_is_the_same_at_any_rate(rate: float) -> None:
    t = np.arange(int(120 * rate)) / rate
    grid = to_grid(140 + 10 * np.sin(2 * np.pi * t / 60), rate, 480)
    true = 140 + 10 * np.sin(2 * np.pi * (np.arange(480) / 4) / 60)
    inside = slice(8, 460)
    assert np.nanmax(np.abs(grid[inside] - true[inside])) < 0.25


def test_gap_between_slow_samples_stays_a_gap() -> None:
    grid = to_grid(np.array([140.0, np.nan, 142.0, 143.0]), 1.0, 16)
    assert np.isnan(grid[1:8]).all()
    assert np.isfinite(grid[8:12]).all()


def test_end_of_a_shorter_signal_is_missing() -> None:
    assert np.isnan(to_grid(np.full(4, 140.0), 4.0, 8)[4:]).all()
    assert np.isnan(to_grid(np.empty(0), 4.0, 8)).all()
