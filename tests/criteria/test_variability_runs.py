"""Runs of minutes of variability: which minutes a window holds."""

from __future__ import annotations

import numpy as np
import pytest

from criteria.build import judged, trace
from ebbline.criteria.model import Standard
from ebbline.criteria.variability_runs import MinuteTrack
from ebbline.features.findings import Curve


@pytest.mark.parametrize(
    ("start_s", "end_s", "places"),
    [
        (0.0, 600.0, (0, 10)),
        (60.0, 180.0, (1, 3)),
        (31.0, 89.0, (1, 1)),
        (29.0, 91.0, (0, 2)),
        (540.0, 900.0, (9, 10)),
    ],
)
def test_a_minute_lies_in_a_window_when_its_middle_does(
    start_s: float, end_s: float, places: tuple[int, int]
) -> None:
    track = MinuteTrack(Curve(0.0, 60.0, np.full(10, 12.0)))
    assert track.inside(start_s, end_s) == places


def test_unmeasured_minutes_are_no_places() -> None:
    values = np.full(10, 12.0)
    values[2:5] = np.nan
    assert MinuteTrack(Curve(0.0, 60.0, values)).inside(0.0, 600.0) == (0, 7)


def test_a_non_stress_test_without_accelerations_says_none() -> None:
    found = judged(Standard.NST, trace(40, uterus=()), minutes=40.0)
    assert any("most in 20 minutes: 0" in reason.text for reason in found.reasons)
