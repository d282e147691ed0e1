"""Whose contraction a fall is: the reach of each, and the nearest of several.

NICHD 2008 says that decelerations come with contractions and gives no numbers; those held here are
ours, and lateness hangs on them.
"""

from __future__ import annotations

import pytest

from criteria.build import contraction
from ebbline.features.events import Pairing
from ebbline.features.findings import NO_CONTRACTION

ONE = contraction(600.0, duration_s=60.0)
"""From 570 to 630 s."""


@pytest.mark.parametrize(
    ("onset_s", "nadir_s", "found"),
    [
        (530.0, 551.0, True),
        (530.0, 549.0, False),
        (640.0, 689.0, True),
        (640.0, 691.0, False),
        (526.0, 600.0, True),
        (524.0, 600.0, False),
        (644.0, 660.0, True),
        (646.0, 660.0, False),
    ],
)
def test_a_fall_belongs_to_a_contraction_within_its_reach_only(
    onset_s: float, nadir_s: float, found: bool
) -> None:
    """Nadir 20 s before its onset to 60 s after its end; onset 45 s before to 15 s after."""
    assert (Pairing([ONE]).of(onset_s, nadir_s) != NO_CONTRACTION) is found


@pytest.mark.parametrize(("nadir_s", "whose"), [(660.0, 0), (662.5, 1), (700.0, 1)])
def test_of_two_contractions_the_nadir_takes_the_one_it_follows_by_about_twelve_seconds(
    nadir_s: float, whose: int
) -> None:
    """Peaks at 600 and 700 s: halfway, 12 s on, lies at 662 s; a nadir before is the first's."""
    two = [ONE, contraction(700.0, duration_s=60.0)]
    assert Pairing(two).of(640.0, nadir_s) == whose
