"""Claims that a changed number in the code would break: each was once changed, and nothing told."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from criteria.build import (
    Trace,
    contractions,
    deceleration,
    judged,
    late,
    mother,
    trace,
    variable,
)
from ebbline.criteria.model import Classification, Standard
from ebbline.features import window as within
from ebbline.features.findings import DecelerationKind
from ebbline.terms import Window


@pytest.mark.parametrize(("with_one", "untold"), [((3,), False), ((3, 4), True), ((3, 9), False)])
def test_falls_without_a_contraction_leave_recurrence_untold_only_where_they_could_make_it(
    with_one: tuple[int, ...], untold: bool
) -> None:
    """Each may have come with a contraction that was not recorded (ours); half recurs (NICHD)."""
    squeezes = contractions(40)
    falls = [*(variable(squeezes[place]) for place in with_one), variable(1500.0), variable(1900.0)]
    findings = trace(40, uterus=squeezes, decelerations=falls)
    mask = within.decelerations_of(findings, (DecelerationKind.VARIABLE,))
    assert sum(fall.contraction < 0 for fall in findings.fetal.decelerations) == 2
    told = within.recurrent(findings, Window(0.0, 2400.0), mask).answer
    assert told is (None if untold else False)


@pytest.mark.parametrize("standard", [Standard.FIGO, Standard.NICE])
def test_of_several_baselines_the_last_is_the_one_stated(standard: Standard) -> None:
    """A reader who asks for the baseline means the present one."""
    findings = trace(30, baseline=[120.0, 125.0, 135.0])
    found = judged(standard, findings, window=Window(0.0, 1800.0))
    said = next(one for one in found.reasons if one.feature == "baseline")
    assert said.value == 135.0


def test_a_fall_over_several_contractions_comes_with_each_of_them() -> None:
    """Late falls that run together into one are with no fewer contractions than apart."""
    squeezes = contractions(40)
    long = variable(squeezes[4], duration_s=600.0)
    findings = trace(40, uterus=squeezes, decelerations=[long, late(squeezes[2])])
    every = np.ones(2, dtype=np.bool_)
    share = within.share_with_decelerations(findings, Window(0.0, 2400.0), every)
    inside = [s for s in squeezes if long.onset_s <= s.peak_s < long.end_s]
    assert len(inside) >= 2
    assert share.carrying == len(inside) + 1


def test_a_deceleration_on_the_border_of_two_windows_is_told_in_both() -> None:
    fall = variable(1795.0, duration_s=60.0)
    findings = Trace(minutes=60, decelerations=[fall]).findings()
    for window in (Window(0.0, 1800.0), Window(1800.0, 3600.0)):
        assert len(within.decelerations_in(findings, window)) == 1


def test_hills_that_may_be_breathing_make_no_amber_and_no_best_class() -> None:
    """Six in ten minutes, half of them doubtful: neither frequent contractions nor none."""
    squeezes = contractions(40, every_s=100.0)
    doubted = [replace(s, certainty=0.3) if i % 2 else s for i, s in enumerate(squeezes)]
    assert judged(Standard.NICE, trace(40, uterus=squeezes)).decided_by == (
        "nice-contractions-amber",
    )
    found = judged(Standard.NICE, trace(40, uterus=doubted))
    assert found.refused
    assert any("feel the contractions" in why for why in found.refusal)


def _fallen_to(nadir_bpm: float, baseline: float = 140.0) -> Classification:
    """NICHD's class of half an hour with a fall of twelve minutes and more."""
    fall = deceleration(
        DecelerationKind.PROLONGED, 900.0, nadir_s=1000.0, end_s=1640.0,
        depth=baseline - nadir_bpm, nadir_bpm=nadir_bpm,
    )  # fmt: skip
    rate = [baseline] * 900 + [nadir_bpm] * 740 + [baseline] * 760
    return judged(Standard.NICHD, trace(40, baseline=baseline, decelerations=[fall], rate=rate))


@pytest.mark.parametrize(("nadir_bpm", "said_bpm"), [(100.0, 100.0), (104.0, 105.0), (112.0, None)])
def test_the_rate_in_a_fall_of_ten_minutes_may_be_a_bradycardia(
    nadir_bpm: float, said_bpm: float | None
) -> None:
    """NICHD 2008: from ten minutes on a fall is a change of baseline, rounded to 5 bpm."""
    slow = [one for one in _fallen_to(nadir_bpm).reasons if one.rule == "nichd-bradycardia"]
    assert [one.value for one in slow] == ([] if said_bpm is None else [said_bpm])
    if said_bpm is not None:
        assert "the rate in a fall of ten minutes or more" in slow[0].text


def test_a_slow_baseline_is_told_once_although_a_fall_goes_lower() -> None:
    slow = [one for one in _fallen_to(80.0, 105.0).reasons if one.rule == "nichd-bradycardia"]
    assert len(slow) == 1
    assert "the rate in a fall" not in slow[0].text


def test_what_is_not_relied_on_is_told_from_its_first_second_to_its_last() -> None:
    findings = trace(40, artefacts=[mother(700.0, 710.0), mother(1500.0, 1505.0)])
    assert (
        judged(Standard.NICHD, findings)
        .not_assessed[0]
        .startswith("15 s from 0:11:40 to 0:25:05 are not relied on")
    )
