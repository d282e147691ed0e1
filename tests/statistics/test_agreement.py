"""Agreement coefficients against worked examples in the literature."""

import math

import pytest

from ebbline.statistics.agreement import (
    MISSING,
    Scale,
    Weighting,
    cohen,
    fleiss,
    krippendorff_alpha,
)


def _pairs(table):
    first, second = [], []
    for i, row in enumerate(table):
        for j, count in enumerate(row):
            first += [i] * count
            second += [j] * count
    return first, second


def test_cohen_of_the_diagnoses_of_two_clinicians():
    """Fleiss JL, Levin B, Paik MC. Statistical Methods for Rates and Proportions, 3rd ed.,
    table 18.1: kappa 0.68 (from memory)."""
    first, second = _pairs([[75, 1, 4], [5, 4, 1], [0, 0, 10]])
    found = cohen(first, second, 3)
    assert found.value == pytest.approx(0.676, abs=0.001)
    assert found.low < found.value < found.high
    assert (found.units, found.readers, found.note) == (100, 2, "")


def test_weights_forgive_the_neighbouring_class():
    first, second = _pairs([[20, 5, 0], [5, 20, 5], [0, 5, 20]])
    plain = cohen(first, second, 3).value
    linear = cohen(first, second, 3, weighting=Weighting.LINEAR).value
    quadratic = cohen(first, second, 3, weighting=Weighting.QUADRATIC).value
    assert plain < linear < quadratic


def test_fleiss_of_fourteen_raters():
    """The ten-subject, fourteen-rater example that goes with Fleiss 1971, kappa 0.210."""
    counts = [
        [0, 0, 0, 0, 14], [0, 2, 6, 4, 2], [0, 0, 3, 5, 6], [0, 3, 9, 2, 0], [2, 2, 8, 1, 1],
        [7, 7, 0, 0, 0], [3, 2, 6, 3, 0], [2, 5, 3, 2, 2], [6, 5, 2, 1, 0], [0, 2, 2, 3, 7],
    ]  # fmt: skip
    ratings = [[kind for kind, count in enumerate(row) for _ in range(count)] for row in counts]
    found = fleiss(ratings, 5)
    assert found.value == pytest.approx(0.210, abs=0.0005)
    assert found.low < 0.210 < found.high


KRIPPENDORFF = [
    [1, 2, 3, 3, 2, 1, 4, 1, 2, 0, 0, 0],
    [1, 2, 3, 3, 2, 2, 4, 1, 2, 5, 0, 3],
    [0, 3, 3, 3, 2, 3, 4, 2, 2, 5, 1, 0],
    [1, 2, 3, 3, 2, 4, 4, 1, 2, 5, 1, 0],
]
"""Krippendorff K. Computing Krippendorff's alpha-reliability. 2011; 0 is missing there."""


@pytest.mark.parametrize(("scale", "published"), [(Scale.NOMINAL, 0.743), (Scale.ORDINAL, 0.815)])
def test_krippendorffs_own_example(scale, published):
    units = [[reader[i] - 1 for reader in KRIPPENDORFF] for i in range(12)]
    assert MISSING in units[0]
    found = krippendorff_alpha(units, 5, scale=scale)
    assert found.value == pytest.approx(published, abs=0.001)
    assert found.units == 11, "a unit with one answer carries nothing"


def test_a_class_that_all_say_alike_has_no_kappa_and_says_why():
    found = fleiss([[1, 1, 1]] * 12, 3)
    assert math.isnan(found.value)
    assert "one class" in found.note


def test_bootstrap_is_reproducible_and_narrows_with_units():
    first, second = _pairs([[15, 5], [5, 15]])
    small, again = cohen(first, second, 2, seed=3), cohen(first, second, 2, seed=3)
    assert small == again
    large = cohen(first * 10, second * 10, 2, seed=3)
    assert large.high - large.low < (small.high - small.low) / 2
