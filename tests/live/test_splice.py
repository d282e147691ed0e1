"""Joining a trailing stretch to what is final."""

from __future__ import annotations

from dataclasses import fields, replace

import numpy as np
import pytest

from ebbline.features import detect
from ebbline.features.findings import Curve, FetalFindings, Findings, UterineFindings
from ebbline.live import splice
from ebbline.synth import Scenario, invent

LENGTHS = {
    "longest_gap_s",
    "onset_to_peak_s",
    "onset_to_nadir_s",
    "return_s",
    "lag_s",
    "onset_lag_s",
    "area_bpm_s",
    "baseline_s",
}
"""Fields in seconds that are lengths, not times on the recording's clock."""


@pytest.fixture(scope="module")
def findings() -> Findings:
    scenario = Scenario(hours=2.0, variable_share=0.5, late_share=0.2, signal_loss=0.1)
    return detect(invent(scenario, 3).recording)


@pytest.mark.parametrize("kind", splice.TIMES)
def test_every_time_of_a_finding_is_moved_with_it(kind: type) -> None:
    """A field that is added to a finding must be named a time here, or a length."""
    in_seconds = {item.name for item in fields(kind) if item.name.endswith("_s")}
    assert in_seconds - LENGTHS == set(splice.TIMES[kind])


def test_every_list_and_curve_of_the_findings_can_be_moved(findings: Findings) -> None:
    by_s = 4800.0
    later = splice.moved(findings, by_s)
    assert later.duration_s == findings.duration_s + by_s
    for name, kind in (("uterine", UterineFindings), ("fetal", FetalFindings)):
        for item in fields(kind):
            was = getattr(getattr(findings, name), item.name)
            now = getattr(getattr(later, name), item.name)
            if isinstance(was, Curve):
                assert now.start_s == was.start_s + by_s
            elif isinstance(was, tuple):
                starts = [splice.start_of(one) for one in now]
                assert starts == [splice.start_of(one) + by_s for one in was]


def test_what_is_cut_at_a_seam_and_joined_again_is_whole(findings: Findings) -> None:
    seam_s = 3600.0
    whole = splice.joined(splice.before(findings, seam_s), findings, seam_s)
    assert whole.fetal.decelerations == findings.fetal.decelerations
    assert whole.fetal.accelerations == findings.fetal.accelerations
    assert whole.uterine.contractions == findings.uterine.contractions
    assert [b.start_s for b in whole.fetal.baseline] == [b.start_s for b in findings.fetal.baseline]
    np.testing.assert_array_equal(whole.fetal.rate_curve.values, findings.fetal.rate_curve.values)
    np.testing.assert_array_equal(whole.uterine.tone.values, findings.uterine.tone.values)


def test_a_deceleration_keeps_its_contraction_over_the_seam(findings: Findings) -> None:
    seam_s = 3600.0
    since_s = 1200.0
    whole = splice.joined(splice.before(findings, seam_s, since_s=since_s), findings, seam_s)
    paired = [d for d in findings.fetal.decelerations if d.contraction >= 0 and d.onset_s > 1500.0]
    assert paired
    kept = {d.onset_s: d for d in whole.fetal.decelerations}
    for fall in paired:
        now = whole.uterine.contractions[kept[fall.onset_s].contraction]
        assert now == findings.uterine.contractions[fall.contraction]


def test_the_first_baseline_of_the_labour_is_kept(findings: Findings) -> None:
    kept = splice.before(findings, 6000.0, since_s=4800.0)
    first = next(b for b in findings.fetal.baseline if b.determinate)
    assert kept.fetal.baseline[0] == first
    assert all(b.end_s > 4800.0 for b in kept.fetal.baseline[1:])


def test_a_finding_that_moved_a_little_over_the_seam_is_not_told_twice(findings: Findings) -> None:
    fall = next(d for d in findings.fetal.decelerations if d.end_s > 1800.0)
    seam_s = fall.end_s + 0.1
    final = splice.before(findings, seam_s)
    shifted = tuple(
        replace(d, end_s=d.end_s + 0.5) if d is fall else d for d in findings.fetal.decelerations
    )
    trailing = replace(findings, fetal=replace(findings.fetal, decelerations=shifted))
    joined = splice.joined(final, trailing, seam_s)
    assert len(joined.fetal.decelerations) == len(findings.fetal.decelerations)
