"""What lost signal may hold: a class that a little more would make worse is told as "at least"."""

from __future__ import annotations

from dataclasses import replace

import pytest

from criteria.build import contractions, judged, late, rules_of, trace, variable
from ebbline.criteria.model import Classification, Standard
from ebbline.features import window as within
from ebbline.features.findings import DecelerationKind
from ebbline.terms import Window


def flat(minutes: int, lost: float) -> Classification:
    """FIGO of an hour whose last minutes have a bandwidth under 5 bpm."""
    band = [12.0] * (60 - minutes) + [4.0] * minutes
    findings = trace(60, bandwidth=band, valid=1.0 - lost)
    return judged(Standard.FIGO, findings)


def test_reduced_for_nearly_long_enough_is_at_least_suspicious_beside_lost_signal() -> None:
    """FIGO 2015: reduced for more than 50 minutes is pathological."""
    assert flat(48, 0.0).said == "suspicious"
    beside = flat(48, 0.1)
    assert beside.said == "at least suspicious"
    assert "pathological if more than 50 min" in beside.refusal[0]
    assert flat(53, 0.1).said == "pathological", "what is certain is not doubted for it"
    assert flat(38, 0.1).said == "suspicious", "a tenth lost hides no twelve minutes"


def test_a_little_lost_does_not_keep_a_normal_trace_from_its_class() -> None:
    for lost, refused in ((0.0, False), (0.04, False), (0.06, False), (0.1, True)):
        found = judged(Standard.FIGO, trace(40, bandwidth=5.4, valid=1.0 - lost))
        assert found.refused is refused, lost


def test_of_a_fall_it_matters_what_was_lost_about_it() -> None:
    """FIGO 2015: one deceleration of more than 5 minutes is pathological."""
    fall = variable(1500.0, duration_s=280.0)
    for minute, said in ((2, "suspicious"), (26, "at least suspicious")):
        valid = [1.0] * 40
        valid[minute : minute + 2] = [0.4, 0.4]
        found = judged(Standard.FIGO, trace(40, decelerations=[fall], valid=valid))
        assert found.said == said, minute


@pytest.mark.parametrize("standard", [Standard.FIGO, Standard.NICE])
def test_contractions_that_could_not_be_read_through_may_make_the_pattern(
    standard: Standard,
) -> None:
    squeezes = contractions(20)
    falls = [variable(squeezes[place], duration_s=70.0) for place in (0, 1)]
    valid = [1.0] * 20
    apart = judged(standard, trace(20, uterus=squeezes, decelerations=falls), minutes=20.0)
    assert apart.rank == 0
    for minute in range(16, 20):
        valid[minute] = 0.1
    hidden = trace(20, uterus=squeezes, decelerations=falls, valid=valid)
    found = judged(standard, hidden, minutes=20.0)
    assert found.refused
    assert any("could not be read through" in why for why in found.refusal)


def test_nearly_absent_variability_beside_recurrent_falls_may_be_absent() -> None:
    """NICHD 2008: with recurrent late decelerations absent variability is Category III."""
    squeezes = contractions(40)
    falls = [late(one) for one in squeezes]
    for lost, said in ((0.0, "Category II"), (0.1, "at least Category II")):
        findings = trace(40, uterus=squeezes, decelerations=falls, bandwidth=2.7, valid=1.0 - lost)
        assert judged(Standard.NICHD, findings).said == said


def test_an_added_fall_cuts_no_run_of_increased_variability_short() -> None:
    """NICE NG229: over 25 bpm for more than 10 minutes is red."""
    band = [12.0] * 20 + [30.0] * 12 + [12.0] * 8
    assert judged(Standard.NICE, trace(40, bandwidth=band)).rank == 2
    band[24] = band[25] = float("nan")
    fall = variable(1500.0, duration_s=50.0)
    assert judged(Standard.NICE, trace(40, bandwidth=band, decelerations=[fall])).rank == 2
    assert judged(Standard.NICE, trace(40, bandwidth=band)).rank < 2, "not for lost minutes"


def test_a_prolonged_fall_comes_with_the_contraction_that_it_began_in() -> None:
    """Longer, its nadir is nearer to the next one: it came with the first, too."""
    squeezes = contractions(40)
    begins = squeezes[4].peak_s + 10.0
    mask = within.decelerations_of(
        trace(40, uterus=squeezes, decelerations=[late(squeezes[5])]), tuple(DecelerationKind)
    )
    carried = []
    for length_s in (110.0, 200.0):
        fall = replace(late(squeezes[5]), onset_s=begins, end_s=begins + length_s)
        findings = trace(40, uterus=squeezes, decelerations=[fall])
        share = within.share_with_decelerations(findings, Window(0.0, 2400.0), mask)
        carried.append(share.carrying)
    assert carried == [1, 2]


def test_a_belt_that_lost_much_hides_no_fifth_contraction_in_ten_minutes() -> None:
    """NICE NG229: five or more are amber; cut by the gaps, some of them are not counted."""
    for every_s, activity, refused in (
        (150.0, 1.0, False),
        (150.0, 0.85, False),  # 4 in 10 min seen, no more lost than is workable
        (200.0, 0.7, True),  # 9 in 21 measured minutes are 4.3 in ten, and 5.6 with 30 % more
        (330.0, 0.7, False),  # 6 are 2.9, and 3.7 with so much more
    ):
        squeezes = contractions(40, every_s=every_s)
        found = judged(Standard.NICE, trace(40, uterus=squeezes, activity=activity))
        assert found.refused is refused, (every_s, activity)
        told = any("of the activity was not measured" in why for why in found.refusal)
        assert told is refused


def test_no_tachysystole_rests_on_hills_of_a_toco_that_are_no_likely_contractions() -> None:
    """More than 5 in 10 minutes (Macones 2008; FIGO 2015), of which a third may be breathing."""
    sure = contractions(30, every_s=90.0, duration_s=50.0)
    doubted = tuple(
        replace(one, certainty=0.35) if number % 3 == 0 else one for number, one in enumerate(sure)
    )
    for standard, rule in (
        (Standard.NICHD, "nichd-tachysystole"),
        (Standard.FIGO, "figo-tachysystole"),
    ):
        seen, unsure = (judged(standard, trace(30, uterus=found)) for found in (sure, doubted))
        assert rule in rules_of(seen)
        assert not any("tachysystole" in one for one in rules_of(unsure))
        assert any("feel the contractions" in text for text in unsure.not_assessed)
