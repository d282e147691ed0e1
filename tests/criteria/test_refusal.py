"""When no class is given, why, and what is still said.

The principle is ours (docs/criteria.md): missing signal never reassures and never hides an alarm.
"""

from __future__ import annotations

import math

import pytest

from criteria.build import (
    MINUTE,
    NAN,
    contractions,
    early,
    gradual,
    judged,
    late,
    mother,
    rules_of,
    sinusoidal,
    trace,
    variable,
)
from ebbline.criteria.model import Level, Standard
from ebbline.recording.model import Context
from ebbline.terms import Stage, Window

NICHD, FIGO, NICE, NST = Standard.NICHD, Standard.FIGO, Standard.NICE, Standard.NST
LABOUR = (NICHD, FIGO, NICE)


@pytest.mark.parametrize("standard", LABOUR)
def test_a_plain_trace_gets_the_best_class(standard: Standard) -> None:
    found = judged(standard, trace(40))
    assert (found.rank, found.refusal) == (0, ())
    assert {reason.level for reason in found.reasons} == {Level.REASSURING}


@pytest.mark.parametrize("standard", LABOUR)
def test_a_refused_class_is_named_so_and_has_no_rank(standard: Standard) -> None:
    found = judged(standard, trace(40), minutes=8)
    assert (found.label, found.rank, found.refused) == ("no class", -1, True)
    assert found.decided_by == ()
    assert found.refusal[0] == "the window is too short: 8.0 min, 10 min needed"


@pytest.mark.parametrize("standard", LABOUR)
def test_too_little_signal_is_refused(standard: Standard) -> None:
    found = judged(standard, trace(40, valid=0.4))
    assert found.refused
    assert "40 % of the window can be relied on" in found.refusal[0]


@pytest.mark.parametrize("standard", LABOUR)
@pytest.mark.parametrize(("band", "withheld"), [(6.4, True), (6.5, False)])
def test_where_more_is_lost_than_is_workable_a_narrow_band_is_no_best_class(
    standard: Standard, band: float, withheld: bool
) -> None:
    """Workable: at most 20 % lost (FIGO 2015). Narrow: under 6.5 bpm (ours), for what is left may
    be the livelier part of it."""
    found = judged(standard, trace(40, valid=0.75, bandwidth=band))
    assert any("25 % of the heart-rate signal" in what for what in found.not_assessed)
    assert any("close to 5 bpm" in why for why in found.refusal) is withheld
    assert found.refused is withheld


@pytest.mark.parametrize("standard", LABOUR)
def test_the_best_class_is_refused_when_ten_minutes_could_not_be_read(standard: Standard) -> None:
    found = judged(standard, trace(40, valid=[1.0] * 20 + [0.3] * 10 + [1.0] * 10))
    assert found.refused
    assert "from 0:20:00 to 0:30:00 could not be read" in found.refusal[0]


@pytest.mark.parametrize("standard", LABOUR)
def test_a_rate_that_may_be_the_mother_s_gives_no_best_class(standard: Standard) -> None:
    """FIGO 2015 and NICE NG229 ask for the maternal pulse; accelerations may be hers."""
    found = judged(standard, trace(40, artefacts=[mother(1500.0, 2000.0)]))
    assert found.refused
    assert any("feel the maternal pulse" in what for what in found.not_assessed)
    unsure = judged(standard, trace(40, artefacts=[mother(1500.0, 2000.0, certainty=0.4)]))
    assert unsure.refused
    assert unsure.said.startswith("at best")
    assert any("feel her pulse" in what for what in unsure.beyond)


@pytest.mark.parametrize("standard", (NICHD, FIGO))
def test_an_indeterminate_baseline_is_looked_for_in_the_preceding_ten_minutes(
    standard: Standard,
) -> None:
    """Macones 2008: if indeterminate, refer to the prior 10-minute window."""
    carried = judged(standard, trace(40, baseline=[140, 140, 140, NAN]))
    assert carried.rank == 0
    none_before = judged(standard, trace(40, baseline=[NAN] * 4))
    assert none_before.refused
    assert any("baseline is indeterminate" in why for why in none_before.refusal)


def test_a_baseline_carried_over_counts_as_what_it_was() -> None:
    """Macones 2008: the preceding ten minutes' tachycardia stands for these ten minutes."""
    found = judged(NICHD, trace(40, baseline=[170, 170, 170, NAN]), minutes=10)
    assert found.label == "Category II"
    assert "(of the preceding ten minutes)" in found.reasons[0].text
    assert found.reasons[0].evidence == (Window(1200.0, 1800.0),)


def test_only_the_preceding_ten_minutes_are_looked_at() -> None:
    found = judged(NICHD, trace(40, baseline=[140, 140, NAN, NAN]))
    assert found.refused
    assert any("0:30:00 to 0:40:00 is indeterminate" in why for why in found.refusal)


def test_nice_calls_a_baseline_that_cannot_be_determined_amber() -> None:
    """NICE NG229 section 1.4: unable to determine the baseline is amber (from memory)."""
    found = judged(NICE, trace(40, baseline=[NAN] * 4))
    assert (found.label, found.decided_by) == ("suspicious", ("nice-baseline-unknown",))


@pytest.mark.parametrize("standard", LABOUR)
def test_variability_that_could_not_be_measured_is_refused(standard: Standard) -> None:
    found = judged(standard, trace(40, bandwidth=NAN))
    assert found.refused
    assert any("variability" in why for why in found.refusal)


def test_ten_minutes_without_variability_keep_from_category_i() -> None:
    found = judged(NICHD, trace(40, bandwidth=[12.0] * 20 + [NAN] * 10 + [12.0] * 10))
    assert found.refused
    assert found.refusal == ("variability from 0:20:00 to 0:30:00 could not be measured",)


@pytest.mark.parametrize("standard", LABOUR)
def test_a_sign_of_trouble_is_still_said_when_the_class_is_refused(standard: Standard) -> None:
    squeezes = contractions(40)
    falls = [late(one) for one in squeezes if one.peak_s > 20 * MINUTE]
    findings = trace(40, uterus=squeezes, decelerations=falls, valid=0.45)
    found = judged(standard, findings, minutes=20)
    assert found.refused
    assert any(r.level in (Level.CAUTION, Level.ALARMING) for r in found.reasons)
    assert found.at_least
    assert found.said == f"at least {found.at_least}"


def test_recurrent_late_decelerations_with_unmeasured_variability_leave_category_iii_open() -> None:
    """Macones 2008: with absent variability they are Category III; unmeasured is not present."""
    squeezes = contractions(40)
    findings = trace(40, uterus=squeezes, decelerations=map(late, squeezes), bandwidth=NAN)
    found = judged(NICHD, findings)
    assert found.refused
    assert {"nichd-late", "nichd-recurrent", "limit-open"} <= rules_of(found)
    assert any(r.level is Level.ALARMING for r in found.reasons)
    assert any("would make Category III" in why for why in found.refusal)


def test_bradycardia_with_unmeasured_variability_leaves_category_iii_open() -> None:
    found = judged(NICHD, trace(40, baseline=95, bandwidth=NAN))
    assert found.refused
    assert "limit-open" in rules_of(found)


def test_category_iii_is_given_on_little_signal() -> None:
    """Each criterion is enough by itself (Macones 2008); lost signal cannot undo it."""
    found = judged(NICHD, trace(40, undulation=[sinusoidal(600.0, 2400.0)], valid=0.3))
    assert (found.label, found.refusal) == ("Category III", ())
    assert any("too little signal" in what for what in found.not_assessed)


@pytest.mark.parametrize("standard", (FIGO, NICE))
def test_pathological_is_given_on_little_signal_and_in_a_short_window(standard: Standard) -> None:
    """One deceleration over 5 min (FIGO) or 3 min (NICE) is pathological by itself."""
    findings = trace(40, decelerations=[variable(2100.0, duration_s=310.0)], valid=0.3)
    for minutes in (8.0, 30.0):
        found = judged(standard, findings, minutes=minutes)
        assert (found.label, found.refusal) == ("pathological", ())
        assert any("too little signal" in what for what in found.not_assessed)


# ---------------------------------------------------------------- contractions not known


@pytest.mark.parametrize("standard", (NICHD, FIGO))
def test_without_activity_a_trace_without_decelerations_keeps_its_class(
    standard: Standard,
) -> None:
    found = judged(standard, trace(40, present=False))
    assert found.rank == 0
    assert "contractions: there is no activity channel" in found.not_assessed


def test_without_activity_nice_cannot_say_normal() -> None:
    """NICE NG229: normal needs all four features white; contractions are one of them."""
    found = judged(NICE, trace(40, present=False))
    assert found.refused
    assert found.refusal == (
        "contractions, one of the four features: there is no activity channel",
    )


def test_without_activity_a_gradual_deceleration_keeps_from_category_i() -> None:
    """Early is allowed in Category I (Macones 2008), but early cannot be told from late."""
    with_toco = contractions(40)
    told = judged(NICHD, trace(40, uterus=with_toco, decelerations=[early(with_toco[5])]))
    assert told.label == "Category I"
    assert "nichd-early" in rules_of(told)
    untold = judged(NICHD, trace(40, decelerations=[gradual(1300.0)], present=False))
    assert untold.label == "Category II"
    assert untold.decided_by == ("nichd-gradual-unpaired",)


@pytest.mark.parametrize("standard", (FIGO, NICE))
def test_without_activity_several_decelerations_are_not_called_normal(standard: Standard) -> None:
    falls = [gradual(1100.0), gradual(1400.0)]
    found = judged(standard, trace(40, decelerations=falls, present=False))
    assert found.label == "suspicious"
    assert any("no activity channel" in what for what in found.not_assessed)


def test_without_activity_absent_variability_with_decelerations_leaves_category_iii_open() -> None:
    falls = [variable(700.0 + 240.0 * i) for i in range(6)]
    found = judged(NICHD, trace(40, decelerations=falls, bandwidth=1.0, present=False))
    assert found.refused
    assert {"nichd-suspected-recurrent", "limit-open"} <= rules_of(found)
    assert any("Category III is not excluded" in why for why in found.refusal)


@pytest.mark.parametrize(
    ("standard", "minutes", "refused"), [(FIGO, 18, False), (FIGO, 22, True), (NICE, 32, True)]
)
def test_without_activity_a_long_series_of_gradual_decelerations_may_be_pathological(
    standard: Standard, minutes: int, refused: bool
) -> None:
    """If late and repetitive, over 20 minutes may be pathological for FIGO, over 30 for NICE."""
    falls = [gradual(600.0 + 180.0 * i) for i in range(1 + minutes // 3)]
    findings = trace(45, decelerations=falls, present=False)
    found = judged(standard, findings, window=Window(600.0, 2700.0))
    assert found.refused is refused
    if refused:
        assert found.said == "at least suspicious"
        assert any("pathological is not excluded" in why for why in found.refusal)
    else:
        assert found.label == "suspicious"


def test_recurrence_is_unknown_where_activity_was_mostly_not_measured() -> None:
    squeezes = contractions(40)
    falls = [variable(one) for one in squeezes[3:]]
    findings = trace(40, uterus=squeezes, decelerations=falls, activity=0.3)
    found = judged(FIGO, findings)
    assert found.decided_by == ("figo-decelerations-untold",)
    assert any("activity was measured in only" in what for what in found.not_assessed)


def test_decelerations_without_recorded_contractions_are_not_taken_for_not_repetitive() -> None:
    """A toco that lies badly shows a flat line: no contractions seen is not no contractions."""
    falls = [variable(700.0 + 200.0 * i) for i in range(6)]
    found = judged(FIGO, trace(40, uterus=(), decelerations=falls))
    assert found.decided_by == ("figo-decelerations-untold",)
    assert any("no contraction was recorded with 6 of 6" in r.text for r in found.reasons)


def test_contractions_through_which_the_rate_was_not_read_do_not_dilute_the_pattern() -> None:
    """Late decelerations with every contraction that could be read are with all of them."""
    squeezes = contractions(40)
    valid = [0.0 if minute % 4 in (1, 2) and minute >= 25 else 1.0 for minute in range(40)]
    seen = [one for one in squeezes if 600.0 <= one.peak_s < 25 * MINUTE]
    findings = trace(40, uterus=squeezes, decelerations=map(late, seen), valid=valid)
    found = judged(FIGO, findings)
    repetitive = next(r for r in found.reasons if r.rule == "figo-decelerations-repetitive")
    assert repetitive.value == 1.0


def test_one_amber_with_decelerations_untold_is_not_called_suspicious_only() -> None:
    """NICE NG229: two amber features are pathological; the second may be there unseen."""
    falls = [gradual(1100.0), gradual(1400.0)]
    found = judged(NICE, trace(40, baseline=105, decelerations=falls, present=False))
    assert found.refused
    assert any("may be a second amber feature" in why for why in found.refusal)


# ---------------------------------------------------------------- variability over time


@pytest.mark.parametrize(
    ("gap", "stated"), [(5, {"figo-variability-reduced"}), (6, {"figo-variability-low"})]
)
def test_a_short_unmeasured_stretch_neither_counts_nor_breaks_a_run(
    gap: int, stated: set[str]
) -> None:
    """Our tolerance of five minutes: 26 and 25 measured minutes make a run of 51 over it."""
    band = [12.0] * 60 + [3.0] * 26 + [NAN] * gap + [3.0] * 25
    found = judged(FIGO, trace(len(band), bandwidth=band))
    assert stated <= rules_of(found)
    run = next((r for r in found.reasons if r.rule == "figo-variability-reduced"), None)
    assert run is None or run.value == 51
    assert ("figo-variability-reduced-unmeasured" in rules_of(found)) is (gap > 5)


def test_one_stray_minute_neither_makes_nor_breaks_a_run() -> None:
    band = [12.0] * 60 + [3.0] * 30 + [9.0] + [3.0] * 22
    found = judged(FIGO, trace(len(band), bandwidth=band))
    assert found.decided_by == ("figo-variability-reduced",)
    spike = [12.0] * 60 + [30.0] + [12.0] * 29
    assert "nice-variability-increased-short" not in rules_of(
        judged(NICE, trace(len(spike), bandwidth=spike))
    )


@pytest.mark.parametrize(("ends", "pathological"), [([7.0, 6.0], True), ([7.0, 6.0, 8.0], False)])
def test_the_two_ends_of_a_fall_break_no_run_of_reduced_variability(
    ends: list[float], pathological: bool
) -> None:
    """FIGO 2015: more than 50 minutes; three minutes of 5 bpm and more are a break (ours)."""
    band = [12.0] * 60 + [3.0] * 30 + ends + [3.0] * 22
    found = judged(FIGO, trace(len(band), bandwidth=band))
    assert (found.decided_by == ("figo-variability-reduced",)) is pathological


def test_a_run_is_followed_back_over_the_whole_recording() -> None:
    """FIGO 2015: more than 50 minutes; the window shows its last 30 only."""
    band = [12.0] * 40 + [3.0] * 55
    found = judged(FIGO, trace(95, bandwidth=band))
    run = next(r for r in found.reasons if r.rule == "figo-variability-reduced")
    assert run.evidence == (Window(40 * MINUTE, 95 * MINUTE),)


def test_a_run_counts_up_to_the_window_s_end_only() -> None:
    band = [12.0] * 40 + [3.0] * 55
    early_window = Window(55 * MINUTE, 85 * MINUTE)
    found = judged(FIGO, trace(95, bandwidth=band), window=early_window)
    assert "figo-variability-reduced" not in rules_of(found)


def test_reduced_variability_whose_beginning_was_not_seen_is_not_normal() -> None:
    """NICE NG229: amber from 30 minutes on; 25 since the recording began may be more."""
    unseen = judged(NICE, trace(25, bandwidth=3.0), minutes=25)
    assert unseen.refused
    assert any("was not measured" in why for why in unseen.refusal)
    seen = judged(NICE, trace(60, bandwidth=[12.0] * 35 + [3.0] * 25))
    assert seen.label == "normal"
    assert "nice-variability-reduced-short" in rules_of(seen)


# ---------------------------------------------------------------- the non-stress test


ANTEPARTUM = Context(stage=Stage.ANTEPARTUM)


@pytest.mark.parametrize("stage", (Stage.FIRST, Stage.SECOND, Stage.UNKNOWN))
def test_the_non_stress_test_is_refused_in_labour(stage: Stage) -> None:
    """ACOG Practice Bulletin 229: antepartum surveillance (from memory)."""
    found = judged(NST, trace(60), context=Context(stage=stage))
    assert found.refused
    assert "read before labour" in found.refusal[0]


def test_not_yet_reactive_is_no_class() -> None:
    """ACOG Practice Bulletin 229: up to 40 minutes before non-reactive (from memory)."""
    found = judged(NST, trace(35), context=ANTEPARTUM)
    assert found.refused
    assert found.refusal[0].startswith("not yet reactive")


def test_lost_signal_makes_no_non_reactive_test() -> None:
    found = judged(NST, trace(60, valid=0.4), context=ANTEPARTUM)
    assert found.refused
    assert "60 % of the signal" in found.refusal[0]


@pytest.mark.parametrize("standard", LABOUR)
def test_standards_of_labour_say_when_they_are_read_before_labour(standard: Standard) -> None:
    found = judged(standard, trace(40), context=ANTEPARTUM)
    assert "limit-labour" in rules_of(found)
    assert not math.isnan(found.rank)


def test_recurrent_decelerations_beside_unmeasured_variability_say_what_it_could_mean() -> None:
    """Macones 2008: were variability absent in the part not measured, it would be Category III."""
    squeezes = contractions(40)
    band = [12.0] * 20 + [NAN] * 10 + [12.0] * 10
    findings = trace(40, uterus=squeezes, decelerations=map(late, squeezes), bandwidth=band)
    found = judged(NICHD, findings)
    assert found.label == "Category II"
    assert any("were it absent there" in what for what in found.not_assessed)


def test_unknown_weeks_are_said_beside_the_non_stress_test() -> None:
    """Macones 2008: before 32 weeks an acceleration needs 10 bpm and 10 s only."""
    found = judged(NST, trace(60, weeks=None), context=ANTEPARTUM)
    assert any("as from 32 weeks on" in what for what in found.not_assessed)


def test_a_window_without_length_is_refused() -> None:
    found = judged(NICHD, trace(40), window=Window(1200.0, 1200.0))
    assert found.refused
