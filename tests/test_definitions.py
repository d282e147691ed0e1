"""The published numbers, typed a second time from the sources, and the rules made of them."""

from __future__ import annotations

import copy
import math
import pickle

import pytest

from ebbline import definitions as d
from ebbline.features.variability import LIMITS_BPM
from ebbline.terms import VariabilityClass


def test_the_numbers_of_nichd_2008_are_the_published_ones() -> None:
    """Macones GA, et al. Obstet Gynecol 2008;112:661-6, definitions."""
    assert (d.BASELINE_NORMAL_FROM_BPM, d.BASELINE_NORMAL_TO_BPM) == (110, 160)
    assert (d.LEAST_BASELINE_S, d.FAR_FROM_BASELINE_BPM, d.TEN_MINUTES_S) == (120, 25, 600)
    assert (d.MINIMAL_UPTO_BPM, d.MARKED_ABOVE_BPM) == (5, 25)
    assert (d.LEAST_EXCURSION_BPM, d.LEAST_EXCURSION_S) == (15, 15)
    assert (d.ABRUPT_BELOW_S, d.PROLONGED_FROM_S, d.BASELINE_CHANGE_S) == (30, 120, 600)
    assert (d.RECURRENCE_S, d.HALF_OF_CONTRACTIONS, d.TACHYSYSTOLE_ABOVE) == (1200, 0.5, 5)
    assert (d.SINUSOIDAL_FROM_S, d.HALF_HOUR_S) == (1200, 1800)


def test_the_numbers_of_figo_2015_are_the_published_ones() -> None:
    """Ayres-de-Campos D, et al. Int J Gynaecol Obstet 2015;131:13-24."""
    assert (d.BASELINE_VERY_SLOW_BPM, d.REDUCED_BELOW_BPM, d.REDUCED_TOO_LONG_MIN) == (100, 5, 50)
    assert (d.SHALLOW_FROM_BPM, d.WORKABLE_LOSS) == (10, 0.2)


@pytest.mark.parametrize(
    ("weeks", "least"), [(None, (15, 15)), (32.0, (15, 15)), (31.9, (10, 10)), (24.0, (10, 10))]
)
def test_an_acceleration_needs_less_before_32_weeks(
    weeks: float | None, least: tuple[float, float]
) -> None:
    """Macones 2008, accelerations."""
    assert d.least_acceleration(weeks) == least


@pytest.mark.parametrize(("mean", "said"), [(137.4, 135), (137.5, 140), (142.5, 145), (140.0, 140)])
def test_a_baseline_is_said_in_steps_of_five_halves_upwards(mean: float, said: float) -> None:
    """Macones 2008, baseline; halves upwards is ours, and the same everywhere."""
    assert d.rounded_baseline(mean) == said


def test_no_baseline_stays_no_baseline() -> None:
    assert math.isnan(d.rounded_baseline(math.nan))
    assert d.variability_class(math.nan) is VariabilityClass.INDETERMINATE


def test_every_number_names_its_source_and_no_two_rooms_hold_a_limit_of_variability() -> None:
    numbers = {name: n for name, n in vars(d).items() if isinstance(n, d.Number)}
    assert len(numbers) > 25
    for name, number in numbers.items():
        assert number.where, name
        assert number.source.short in number.cited, name
        if number.source in (d.OURS, d.COMMON_PRACTICE):
            assert len(number.where) > 20, f"{name} is without a source and must say why"
    assert LIMITS_BPM == (d.ABSENT_BELOW_BPM, d.MINIMAL_UPTO_BPM, d.MARKED_ABOVE_BPM)


def test_a_number_computes_as_a_float_and_keeps_its_source_when_copied() -> None:
    number = d.MARKED_ABOVE_BPM
    assert number * 2 == 50.0
    assert number.cited == ("25 bpm (Macones 2008, variability, marked; increased in FIGO, NICE)")
    for other in (copy.deepcopy(number), pickle.loads(pickle.dumps(number))):
        assert (other, other.unit, other.source) == (number, "bpm", d.NICHD_2008)
