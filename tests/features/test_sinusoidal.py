"""The sinusoidal pattern: NICHD 2008 (3-5 per minute, 20 minutes), FIGO 2015 (pseudo: jagged)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import signal

from ebbline.features import detect
from ebbline.features.findings import SinusoidalEpisode
from ebbline.features.sinusoidal import undulation
from features.constructed import Trace


def episodes(trace: Trace) -> tuple[SinusoidalEpisode, ...]:
    return detect(trace.recording()).fetal.sinusoidal


def waving(per_min: float, amplitude: float, minutes: float = 40) -> Trace:
    trace = Trace(minutes, band=1.0)
    trace.bpm = trace.bpm + amplitude * np.sin(2 * np.pi * trace.seconds * per_min / 60)
    return trace


@pytest.mark.parametrize("per_min", [3.0, 4.0, 5.0])
def test_smooth_sine_of_3_to_5_per_minute_is_sinusoidal(per_min: float) -> None:
    (found,) = episodes(waving(per_min, 10))
    assert found.cycles_per_min == pytest.approx(per_min, abs=0.35)
    assert found.amplitude_bpm == pytest.approx(10, rel=0.15)
    assert found.end_s - found.start_s >= 1200
    assert not found.pseudo


@pytest.mark.parametrize("per_min", [1.0, 2.0, 7.0, 10.0])
def test_other_frequencies_are_not(per_min: float) -> None:
    assert not episodes(waving(per_min, 10))


def test_ordinary_variability_is_not_sinusoidal() -> None:
    assert not episodes(Trace(60, band=14.0))


def test_saw_tooth_is_pseudosinusoidal() -> None:
    trace = Trace(40, band=1.0)
    trace.bpm = trace.bpm + 9 * signal.sawtooth(2 * np.pi * trace.seconds * 3.5 / 60)
    found = episodes(trace)
    assert found
    assert all(episode.pseudo for episode in found)


def test_power_at_a_frequency_is_the_one_of_scipy() -> None:
    """Reference library: scipy.signal.periodogram of the same detrended stretch."""
    random = np.random.default_rng(2)
    second = 140 + 8 * np.sin(2 * np.pi * np.arange(180) * 4 / 60) + random.normal(0, 1, 180)
    (row,) = undulation(second)
    frequency, power = signal.periodogram(second, 1.0, detrend="linear", scaling="spectrum")
    at = int(np.argmin(np.abs(frequency - 4 / 60)))
    share = power[at] / np.var(signal.detrend(second))
    assert row[0] == pytest.approx(4.0, abs=0.2)
    assert row[2] == pytest.approx(share, abs=0.01)


@pytest.mark.parametrize("period_s", [200.0, 300.0, 600.0])
def test_a_sinusoid_whose_frequency_wanders_is_one(period_s: float) -> None:
    """NICHD 2008: 3-5 cycles per minute; nothing says that it must keep one of them."""
    trace = Trace(40, band=1.0)
    cycles = 4.0 + 0.4 * np.sin(2 * np.pi * trace.seconds / period_s)
    trace.bpm = trace.bpm + 8.0 * np.sin(2 * np.pi * np.cumsum(cycles) / 60 / 4)
    (episode,) = detect(trace.recording()).fetal.sinusoidal
    assert not episode.pseudo and episode.end_s - episode.start_s >= 1800
    assert episode.amplitude_bpm == pytest.approx(8.0, abs=1.0)


def swinging(period_s: float, amplitude: float, seed: int, *, lost: float = 0.0) -> Trace:
    """Between 3 and 5 cycles a minute and back, its amplitude and the baseline wandering."""
    random = np.random.default_rng(seed)
    trace = Trace(40, band=2.0)
    t = trace.seconds
    cycles = 4.0 + np.sin(2 * np.pi * t / period_s + random.uniform(0, 6))
    height = amplitude * (1.0 + 0.4 * np.sin(2 * np.pi * t / 420.0 + random.uniform(0, 6)))
    wave = height * np.sin(2 * np.pi * np.cumsum(cycles) / 60 / 4)
    trace.bpm = trace.bpm + wave + 4.0 * np.sin(2 * np.pi * t / 1500.0)
    while np.isnan(trace.bpm).mean() < lost:
        start = random.uniform(0, t[-1] - 40)
        trace.lose(start, start + random.exponential(8.0) + 1.0)
    return trace


@pytest.mark.parametrize("period_s", [120.0, 180.0, 240.0])
@pytest.mark.parametrize(("amplitude", "lost"), [(5.0, 0.0), (8.0, 0.2), (25.0, 0.1)])
def test_a_sine_that_swings_from_3_to_5_a_minute_within_minutes_is_sinusoidal(
    period_s: float, amplitude: float, lost: float
) -> None:
    """A spectrum of three minutes has no line then; the eye sees one crest like the next."""
    found = episodes(swinging(period_s, amplitude, 3, lost=lost))
    assert max(e.end_s - e.start_s for e in found if not e.pseudo) >= 1800


@pytest.mark.parametrize("seed", range(4))
def test_noise_of_the_same_frequencies_is_not_sinusoidal(seed: int) -> None:
    """Filtered to 2 to 6 cycles a minute noise waxes and wanes, and no crest is like the next."""
    noise = np.random.default_rng(seed).normal(size=40 * 240)
    sos = signal.butter(2, (2.0 / 60.0, 6.0 / 60.0), "bandpass", fs=4.0, output="sos")
    band = signal.sosfiltfilt(sos, noise)
    trace = Trace(40, band=1.0)
    trace.bpm = trace.bpm + 6.0 * band / band.std()
    assert not any(e.end_s - e.start_s >= 1200 for e in episodes(trace))


def test_a_fall_and_a_lost_half_minute_do_not_end_an_undulation() -> None:
    trace = waving(4.0, 10)
    trace.excursion(700, 10, 20, 10, -70).lose(1500, 1560)
    (found,) = episodes(trace)
    assert found.end_s - found.start_s >= 2200


@pytest.mark.parametrize(("rises", "pseudo"), [(1, False), (4, True)])
def test_a_single_rise_in_a_long_undulation_does_not_make_it_pseudo(
    rises: int, pseudo: bool
) -> None:
    trace = waving(4.0, 6)
    for k in range(rises):
        trace.excursion(300 + 500 * k, 10, 30, 10, 35)
    assert all(episode.pseudo is pseudo for episode in episodes(trace))
    assert episodes(trace)
