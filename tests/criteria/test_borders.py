"""On the border: which minutes a window holds, what is near a threshold, what is just over."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from criteria.build import judged, last, sinusoidal, trace
from ebbline.criteria.model import Standard
from ebbline.criteria.variability_runs import MinuteTrack
from ebbline.criteria.window_falls import LongFall
from ebbline.criteria.window_view import window_facts
from ebbline.features.findings import Curve
from ebbline.terms import Window


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


@pytest.mark.parametrize(
    ("baseline", "on_edge"), [(111.0, True), (112.5, False), (109.0, True), (107.5, False)]
)
def test_a_baseline_stands_on_the_edge_within_one_beat(baseline: float, on_edge: bool) -> None:
    """FIGO 2015: 110 bpm; a beat on either side is the edge (ours), not a share of 110."""
    found = judged(Standard.FIGO, trace(30, baseline=baseline))
    assert any("110" in edge for edge in found.edge) is on_edge


@pytest.mark.parametrize(("baseline", "share"), [(100.0, 0.0), (99.9, 1.0)])
def test_a_rate_of_exactly_100_is_not_under_100(baseline: float, share: float) -> None:
    findings = trace(30)
    rate = Curve(0.0, 1.0, np.full(1800, baseline))
    findings = replace(findings, fetal=replace(findings.fetal, rate_curve=rate))
    assert window_facts(findings, last(findings)).slow_share == share


def test_a_sinusoidal_episode_is_shown_where_it_was() -> None:
    """NICHD 2008, Category III: the evidence begins with the episode and lasts as long."""
    found = judged(Standard.NICHD, trace(40, undulation=(sinusoidal(900.0, 2400.0),)))
    (reason,) = (one for one in found.reasons if one.rule == "nichd-III-sinusoidal")
    assert reason.evidence == (Window(900.0, 2400.0),)


def test_one_stray_minute_among_three_is_smoothed() -> None:
    track = MinuteTrack(Curve(0.0, 60.0, np.array([10.0, 2.0, 10.0])))
    assert track.steady[1] == 10.0


@pytest.mark.parametrize(("recovered", "words"), [(True, ""), (False, ", not recovered")])
def test_a_long_fall_says_whether_it_recovered(recovered: bool, words: str) -> None:
    fall = LongFall(600.0, 900.0, 75.0, 65.0, recovered)
    assert fall.words == f"75 bpm deep, down to 65 bpm{words}"
