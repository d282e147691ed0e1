"""Which samples are used, which are not, and what is suspected. Nothing shown is ever changed."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage

from ebbline.features.excursions import smoothed
from ebbline.signal import artefacts
from ebbline.signal.maternal import coincident, low_plateaus
from ebbline.signal.quality import runs, segments, valid_by_minute

RATE = 4


def living(seconds: int, bpm: float = 140.0) -> np.ndarray:
    t = np.arange(seconds * RATE) / RATE
    return bpm + 4 * np.sin(2 * np.pi * t / 9)


def at(start_s: float, end_s: float) -> slice:
    return slice(int(start_s * RATE), int(end_s * RATE))


def test_the_shown_trace_is_not_touched() -> None:
    bpm = living(300)
    bpm[at(100, 102)] = 200
    before = bpm.copy()
    artefacts.usable(bpm, RATE)
    assert np.array_equal(bpm, before)


def test_living_signal_is_used_whole() -> None:
    kept, code = artefacts.usable(living(600), RATE)
    assert np.isfinite(kept).all()
    assert (code == artefacts.USED).all()


@pytest.mark.parametrize(
    ("value", "code"), [(29.0, True), (31.0, False), (239.0, False), (241.0, True)]
)
def test_range_of_the_paper_bounds_what_is_used(value: float, code: bool) -> None:
    """Scale of 30-240 bpm: the wider of the two paper scales in use (common practice)."""
    _, codes = artefacts.usable(np.full(8, value), RATE)
    assert (codes == artefacts.OUT_OF_RANGE).all() == code


def test_doubled_slow_rate_is_suspected_and_left_out() -> None:
    """Ultrasound can count a slow rate double (FIGO 2015, external monitoring)."""
    bpm = living(300, 85)
    bpm[at(100, 115)] *= 2
    kept, code = artefacts.usable(bpm, RATE)
    assert (code[at(100, 115)] == artefacts.DOUBLED).all()
    assert np.isnan(kept[at(100, 115)]).all()


def test_halved_fast_rate_is_suspected_and_left_out() -> None:
    """Ultrasound can count a fast rate half (FIGO 2015, external monitoring)."""
    bpm = living(300, 170)
    bpm[at(100, 112)] /= 2
    kept, code = artefacts.usable(bpm, RATE)
    assert (code[at(100, 112)] == artefacts.HALVED).all()
    assert np.isnan(kept[at(100, 112)]).all()


def test_deep_deceleration_on_slopes_is_not_taken_for_halving() -> None:
    bpm = living(300, 150)
    fall = np.interp(np.arange(300 * RATE) / RATE, [100, 115, 130, 145], [0, 75, 75, 0], 0, 0)
    _, code = artefacts.usable(bpm - fall, RATE)
    assert (code == artefacts.USED).all()


def test_short_piece_far_from_both_sides_is_a_spike() -> None:
    bpm = living(300)
    bpm[at(150, 152)] = 190
    _, code = artefacts.usable(bpm, RATE)
    assert (code[at(150, 152)] == artefacts.SPIKE).all()
    assert (np.delete(code, np.arange(600, 608)) == artefacts.USED).all()


def test_a_line_without_any_change_is_no_heart() -> None:
    _, code = artefacts.usable(np.full(301 * RATE, 140.0), RATE)
    assert (code == artefacts.FLAT).all()


def test_bridging_joins_short_gaps_only() -> None:
    bpm = np.array([100.0, np.nan, np.nan, 106.0, np.nan, np.nan, np.nan, 100.0])
    assert artefacts.bridge(bpm, 2)[:4].tolist() == [100.0, 102.0, 104.0, 106.0]
    assert np.isnan(artefacts.bridge(bpm, 2)[4:7]).all()


def test_running_mean_is_the_one_of_scipy() -> None:
    """Reference library: scipy.ndimage.uniform_filter1d away from the ends."""
    values = np.random.default_rng(1).normal(140, 5, 500)
    ours = smoothed(values, 4)
    assert np.allclose(ours[4:-4], ndimage.uniform_filter1d(values, 9)[4:-4])


def test_rates_that_coincide_are_found_where_they_do() -> None:
    mother = living(600, 85) - 1.5
    bpm = living(600, 140)
    bpm[at(200, 320)] = mother[at(200, 320)] + 2.0
    (found,) = coincident(bpm, mother, RATE)
    assert found[0] / RATE == pytest.approx(200, abs=8)
    assert found[1] / RATE == pytest.approx(320, abs=8)


def test_rates_that_only_cross_do_not_coincide() -> None:
    t = np.arange(600 * RATE) / RATE
    mother = 90 + 20 * np.sin(2 * np.pi * t / 120)
    assert len(coincident(living(600, 100), mother, RATE)) == 0


def test_sudden_step_to_a_lower_level_is_suspected_and_a_slope_is_not() -> None:
    stepped = living(600)
    stepped[at(200, 300)] -= 55
    assert len(low_plateaus(stepped, RATE)) == 1
    sloped = living(600) - np.interp(
        np.arange(600 * RATE) / RATE, [200, 212, 288, 300], [0, 55, 55, 0], 0, 0
    )
    assert len(low_plateaus(sloped, RATE)) == 0


def test_quality_counts_what_is_there() -> None:
    kept = living(1200)
    kept[at(60, 90)] = np.nan
    table = segments(kept, np.zeros(len(kept), np.int8), 600 * RATE)
    assert table[0, 0] == pytest.approx(570 / 600)
    assert table[0, 1] == 30 * RATE
    assert table[1, 0] == 1.0
    assert valid_by_minute(kept, RATE)[1] == 0.5


def test_runs_of_a_code_are_joined_over_short_breaks() -> None:
    code = np.array([0, 1, 1, 0, 1, 0, 0, 0, 1], dtype=np.int8)
    assert runs(code, 1, 1, 1).tolist() == [[1, 5], [8, 9]]
    assert runs(code, 1, 2, 0).tolist() == [[1, 3]]


def test_short_runs_and_the_ends_of_runs_are_not_relied_on() -> None:
    """A sensor that loses the heart and finds it again often gives another rate there."""
    bpm = np.full(400, 140.0)
    bpm[100:110] = np.nan
    bpm[110:122] = 122.0
    bpm[122:130] = np.nan
    trusted = artefacts.settled(bpm, 4)
    assert np.isnan(trusted[110:122]).all()
    assert np.isnan(trusted[96:100]).all() and np.isnan(trusted[130:134]).all()
    assert np.isfinite(trusted[:96]).all() and np.isfinite(trusted[134:]).all()
    assert not np.isnan(bpm[110:122]).any()


def test_single_samples_that_are_missing_break_no_run() -> None:
    bpm = np.full(400, 140.0)
    bpm[50::20] = np.nan
    trusted = artefacts.settled(bpm, 4)
    assert (np.isfinite(trusted) == np.isfinite(bpm)).all()
    assert np.isnan(artefacts.settled(np.full(40, np.nan), 4)).all()
