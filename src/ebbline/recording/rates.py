"""Sampling rates as fractions, for formats that count whole samples per frame."""

from __future__ import annotations

import math
from collections.abc import Sequence
from fractions import Fraction

MOST_DENOMINATOR = 10_000
CLOSE = 1e-9
"""Relative difference under which two rates are the same."""


def as_fraction(rate_hz: float) -> Fraction | None:
    """The rate as a fraction with a small denominator, None when it has none that is close."""
    fraction = Fraction(rate_hz).limit_denominator(MOST_DENOMINATOR)
    if fraction > 0 and abs(float(fraction) - rate_hz) <= CLOSE * rate_hz:
        return fraction
    return None


def common_frame_rate(rates: Sequence[Fraction]) -> Fraction:
    """The highest frame rate at which every channel has whole samples in a frame."""
    below = math.lcm(*(rate.denominator for rate in rates))
    return Fraction(math.gcd(*(int(rate * below) for rate in rates)), below)
