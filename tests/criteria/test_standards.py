"""Readings by each standard of traces that a teacher would draw on the board."""

from __future__ import annotations

import pytest

from criteria.build import (
    MINUTE,
    acceleration,
    contraction,
    contractions,
    deceleration,
    early,
    judged,
    late,
    mother,
    of,
    rules_of,
    sinusoidal,
    trace,
    variable,
)
from ebbline.criteria.model import Classification, Level, Standard
from ebbline.features.findings import DecelerationKind, Findings
from ebbline.recording.model import Context
from ebbline.terms import SensorKind, Stage, Window

NICHD, FIGO, NICE, NST = Standard.NICHD, Standard.FIGO, Standard.NICE, Standard.NST
SQUEEZES = contractions(40)


def falling(*falls: object, **words: object) -> Findings:
    return trace(40, uterus=SQUEEZES, decelerations=falls, **words)  # type: ignore[arg-type]


def stated(found: Classification, rule: str) -> str:
    return next(reason.text for reason in found.reasons if reason.rule == rule)


# ---------------------------------------------------------------- NICHD 2008


def test_category_i_may_have_early_decelerations_and_no_accelerations() -> None:
    """Macones 2008, Category I: early decelerations and accelerations present or absent."""
    found = judged(NICHD, falling(*map(early, SQUEEZES)))
    assert found.label == "Category I"
    assert "nichd-early" in rules_of(found)


@pytest.mark.parametrize(
    ("fall", "rule"),
    [
        (late(SQUEEZES[5]), "nichd-late"),
        (variable(SQUEEZES[5]), "nichd-variable"),
        (variable(1300.0, duration_s=130.0), "nichd-prolonged"),
    ],
)
def test_one_late_variable_or_prolonged_deceleration_makes_category_ii(
    fall: object, rule: str
) -> None:
    """Macones 2008: Category I has no late or variable; Category II is all else."""
    found = judged(NICHD, falling(fall))
    assert found.label == "Category II"
    assert rule in found.decided_by


def test_every_ten_minutes_must_be_moderate_for_category_i() -> None:
    band = [12.0] * 20 + [4.0] * 10 + [12.0] * 10
    found = judged(NICHD, trace(40, bandwidth=band))
    assert found.decided_by == ("nichd-variability-minimal",)


def test_absent_variability_alone_is_category_ii() -> None:
    """Macones 2008: Category II has absent variability without recurrent decelerations."""
    found = judged(NICHD, falling(late(SQUEEZES[5]), bandwidth=1.0))
    assert found.label == "Category II"
    assert {"nichd-variability-absent", "nichd-late"} <= set(found.decided_by)


def test_recurrent_late_decelerations_with_minimal_variability_are_category_ii() -> None:
    """Macones 2008: Category III asks for absent variability."""
    found = judged(NICHD, falling(*map(late, SQUEEZES), bandwidth=4.0))
    assert found.label == "Category II"
    assert "nichd-recurrent" in rules_of(found)


@pytest.mark.parametrize("kind", [late, variable])
def test_absent_variability_with_recurrent_decelerations_is_category_iii(kind: object) -> None:
    """Macones 2008, Category III."""
    found = judged(NICHD, falling(*map(kind, SQUEEZES), bandwidth=1.0))  # type: ignore[call-overload]
    assert found.label == "Category III"


def test_recurrent_early_decelerations_with_absent_variability_are_not_category_iii() -> None:
    """Macones 2008: only late and variable count."""
    assert judged(NICHD, falling(*map(early, SQUEEZES), bandwidth=1.0)).label == "Category II"


def test_a_variable_deceleration_that_goes_on_for_two_minutes_still_counts_as_variable() -> None:
    """Macones 2008 renames it prolonged; that it lasts longer cannot make the class better."""
    falls = [variable(one, duration_s=125.0) for one in SQUEEZES]
    assert judged(NICHD, falling(*falls, bandwidth=1.0)).label == "Category III"


def test_a_late_deceleration_that_goes_on_for_two_minutes_still_counts_as_late() -> None:
    falls = [late(one, return_s=80.0) for one in SQUEEZES]
    assert all(fall.kind is DecelerationKind.PROLONGED for fall in falls)
    assert judged(NICHD, falling(*falls, bandwidth=1.0)).label == "Category III"


def test_half_of_the_contractions_in_one_stretch_of_20_minutes_are_enough() -> None:
    """Macones 2008: in any 20-minute segment, here the first of the window's 30 minutes."""
    squeezes = contractions(30, every_s=240.0, first_s=60.0)
    falls = [late(one) for one in squeezes[:4]]
    found = judged(NICHD, trace(30, uterus=squeezes, decelerations=falls, bandwidth=1.0))
    assert found.label == "Category III"
    fewer = judged(NICHD, trace(30, uterus=squeezes, decelerations=falls[:2], bandwidth=1.0))
    assert fewer.label == "Category II"


def test_one_deceleration_does_not_recur() -> None:
    squeezes = [contraction(1500.0)]
    found = judged(
        NICHD, trace(40, uterus=squeezes, decelerations=[late(squeezes[0])], bandwidth=1.0)
    )
    assert found.label == "Category II"


def test_a_sinusoidal_pattern_is_category_iii_from_20_minutes_on_before_the_window_included() -> (
    None
):
    """Macones 2008: 20 minutes or more; the window shows 12 of them."""
    found = judged(NICHD, trace(60, undulation=[sinusoidal(22 * MINUTE, 42 * MINUTE)]))
    assert found.label == "Category III"
    pseudo = judged(NICHD, trace(60, undulation=[sinusoidal(1200.0, 3000.0, pseudo=True)]))
    assert pseudo.label == "Category I"


# ---------------------------------------------------------------- FIGO 2015


def test_figo_calls_a_baseline_under_110_suspicious_and_under_100_pathological() -> None:
    """Ayres-de-Campos 2015, classification criteria."""
    assert judged(FIGO, trace(40, baseline=105)).label == "suspicious"
    assert judged(FIGO, trace(40, baseline=95)).label == "pathological"


def test_figo_allows_decelerations_that_are_not_repetitive() -> None:
    """Ayres-de-Campos 2015: normal has no repetitive decelerations."""
    found = judged(FIGO, falling(*map(variable, SQUEEZES[3:5])))
    assert found.label == "normal"
    assert "2 in the window" in stated(found, "figo-decelerations-normal")


def test_figo_repetitive_variable_decelerations_are_suspicious_however_long() -> None:
    """Ayres-de-Campos 2015: only late or prolonged ones become pathological with time."""
    squeezes = contractions(90)
    found = judged(FIGO, trace(90, uterus=squeezes, decelerations=map(variable, squeezes)))
    assert (found.label, found.decided_by) == ("suspicious", ("figo-decelerations-repetitive",))


def test_figo_twenty_minutes_of_late_decelerations_are_enough_with_reduced_variability() -> None:
    """Ayres-de-Campos 2015: > 30 min, or > 20 min if variability is reduced."""
    squeezes = contractions(60)
    falls = [late(one) for one in squeezes if one.peak_s > 35 * MINUTE]
    for width, label in ((12.0, "suspicious"), (4.0, "pathological")):
        found = judged(FIGO, trace(60, uterus=squeezes, decelerations=falls, bandwidth=width))
        assert found.label == label
    assert "figo-decelerations-late-20" in found.decided_by


def test_figo_late_decelerations_of_20_minutes_with_unmeasured_variability_leave_it_open() -> None:
    squeezes = contractions(60)
    falls = [late(one) for one in squeezes if one.peak_s > 35 * MINUTE]
    band = [12.0] * 35 + [float("nan")] * 25
    found = judged(FIGO, trace(60, uterus=squeezes, decelerations=falls, bandwidth=band))
    assert found.refused
    assert "limit-open" in rules_of(found)


@pytest.mark.parametrize(
    ("words", "is_late"),
    [
        ({"onset_lag_s": 20.0}, False),
        ({"onset_lag_s": 21.0}, True),
        ({"lag_s": 14.0}, False),
        ({"lag_s": 15.0}, True),
        ({"abrupt": True, "return_s": 30.0}, False),
        ({"abrupt": True, "return_s": 31.0}, True),
        ({"abrupt": True, "return_s": 30.0, "within": 5.0}, False),
        ({"abrupt": True, "return_s": 30.0, "within": 4.9}, True),
    ],
)
def test_figo_late_by_onset_nadir_and_form(words: dict[str, float], is_late: bool) -> None:
    """Ayres-de-Campos 2015, late: gradual onset and/or return and/or reduced variability within,
    onset more than 20 s after the contraction's, nadir after its acme."""
    squeezes = contractions(60)

    def fall(one: object) -> object:
        given = {"onset_lag_s": 30.0, "lag_s": 40.0, "return_s": 40.0, "abrupt": False} | words
        onset = one.onset_s + given["onset_lag_s"]  # type: ignore[attr-defined]
        nadir = one.peak_s + given["lag_s"]  # type: ignore[attr-defined]
        made = deceleration(
            DecelerationKind.VARIABLE if given["abrupt"] else DecelerationKind.LATE,
            onset,
            nadir_s=nadir,
            end_s=nadir + given["return_s"],
            abrupt=bool(given["abrupt"]),
            return_s=given["return_s"],
            within=given.get("within", 10.0),
        )
        return of(made, one)  # type: ignore[arg-type]

    falls = [fall(one) for one in squeezes]
    found = judged(FIGO, trace(60, uterus=squeezes, decelerations=falls))  # type: ignore[arg-type]
    assert found.label == ("pathological" if is_late else "suspicious")


def test_figo_shallow_late_decelerations_count_only_in_a_flat_trace_without_accelerations() -> None:
    """Ayres-de-Campos 2015: 10-15 bpm count with no accelerations and reduced variability."""
    squeezes = contractions(60)
    falls = [late(one, depth=12.0, shallow=True) for one in squeezes]
    lively = judged(FIGO, trace(60, uterus=squeezes, decelerations=falls))
    assert lively.label == "normal"
    flat = judged(FIGO, trace(60, uterus=squeezes, decelerations=falls, bandwidth=4.0))
    assert "figo-decelerations-late-30" in flat.decided_by
    accelerating = judged(
        FIGO,
        trace(
            60,
            uterus=squeezes,
            decelerations=falls,
            bandwidth=4.0,
            accelerations=[acceleration(2500.0)],
        ),
    )
    assert "figo-decelerations-late-30" not in rules_of(accelerating)


def test_figo_one_prolonged_deceleration_is_not_called_normal() -> None:
    """Our reading where the table of Ayres-de-Campos 2015 is silent (docs/criteria.md)."""
    found = judged(FIGO, falling(variable(1300.0, duration_s=200.0)))
    assert found.decided_by == ("figo-decelerations-prolonged",)


def test_figo_an_acute_deceleration_is_named() -> None:
    """Ayres-de-Campos 2015: over 5 min, under 80 bpm, reduced variability within: acute."""
    fall = variable(1300.0, duration_s=330.0, within=2.0, nadir_bpm=70.0)
    found = judged(FIGO, falling(fall))
    assert {
        "figo-decelerations-acute",
        "figo-decelerations-prolonged-5",
        "figo-variability-reduced-within",
    } <= rules_of(found)
    assert found.reasons[0].level is Level.ALARMING


def test_a_deceleration_still_going_on_counts_for_what_it_has_lasted() -> None:
    fall = variable(2000.0, duration_s=400.0)
    findings = falling(fall)
    so_far = Window(500.0, fall.onset_s + 290.0)
    assert judged(FIGO, findings, window=so_far).decided_by == ("figo-decelerations-prolonged",)
    assert judged(FIGO, findings).label == "pathological"


def test_figo_pseudosinusoidal_is_a_note() -> None:
    found = judged(FIGO, trace(60, undulation=[sinusoidal(1900.0, 2900.0, pseudo=True)]))
    assert found.label == "normal"
    assert "figo-pseudosinusoidal" in rules_of(found)


@pytest.mark.parametrize("standard", [NICHD, FIGO])
def test_tachysystole_is_stated_and_does_not_decide(standard: Standard) -> None:
    """Macones 2008: qualified by decelerations; Ayres-de-Campos 2015: not in the table."""
    squeezes = contractions(40, every_s=95.0)
    found = judged(standard, trace(40, uterus=squeezes))
    assert found.rank == 0
    assert f"{standard.value}-tachysystole" in rules_of(found)


def test_tachysystole_seen_in_spite_of_lost_activity_is_still_said() -> None:
    squeezes = contractions(40, every_s=95.0)
    found = judged(NICHD, trace(40, uterus=squeezes, activity=0.4))
    assert "nichd-tachysystole" in rules_of(found)


# ---------------------------------------------------------------- NICE NG229


def test_nice_one_amber_is_suspicious_two_are_pathological() -> None:
    """NICE NG229 section 1.4 (from memory)."""
    one = judged(NICE, trace(40, baseline=105))
    assert (one.label, one.decided_by) == ("suspicious", ("nice-baseline-amber",))
    two = judged(NICE, falling(*map(late, SQUEEZES[4:]), baseline=105))
    assert (two.label, two.decided_by) == ("pathological", ("nice-two-amber",))
    assert "baseline, decelerations" in stated(two, "nice-two-amber")


def test_nice_two_amber_lines_of_one_feature_are_one_amber() -> None:
    base = [100.0] * 3 + [100.0, 100.0, 120.0, 105.0]
    found = judged(NICE, trace(70, baseline=base))
    assert {"nice-baseline-amber", "nice-baseline-rise"} <= rules_of(found)
    assert found.label == "suspicious"


def test_nice_a_rise_counts_against_an_hour_before_too() -> None:
    """NICE NG229: from the start of labour or since the last hourly review (from memory)."""
    base = [150.0] * 2 + [120.0] * 6 + [142.0] * 3
    found = judged(NICE, trace(110, baseline=base))
    assert found.decided_by == ("nice-baseline-rise",)
    assert "from 120 to 142 bpm" in stated(found, "nice-baseline-rise")


@pytest.mark.parametrize(
    ("words", "named"),
    [
        ({"duration_s": 70.0}, "longer than 60 s"),
        ({"within": 3.0}, "reduced variability within"),
        ({"slow_return": True}, "slow return to the baseline"),
        ({"fails_to_return": True}, "fails to return to the baseline"),
    ],
)
def test_nice_repetitive_variable_decelerations_with_a_concerning_feature_are_amber(
    words: dict[str, float], named: str
) -> None:
    """NICE NG229, concerning characteristics (from memory)."""
    found = judged(NICE, falling(*(variable(one, **words) for one in SQUEEZES[4:])))  # type: ignore[arg-type]
    assert found.decided_by == ("nice-variable-repetitive",)
    assert named in stated(found, "nice-variable-repetitive")


def test_nice_late_decelerations_repetitive_for_fifteen_minutes_are_amber() -> None:
    """NICE NG229: repetitive late decelerations for less than 30 minutes are amber: they need not
    be with most contractions of the whole window (from memory)."""
    squeezes = contractions(40, every_s=180.0)
    falls = [late(one) for one in squeezes if one.peak_s > 28 * MINUTE]
    findings = trace(40, uterus=squeezes, decelerations=falls)
    assert judged(NICE, findings).decided_by == ("nice-late-repetitive",)
    assert judged(FIGO, findings).decided_by == ("figo-decelerations-repetitive",)


def test_nice_repetitive_variable_decelerations_without_concern_are_white() -> None:
    found = judged(NICE, falling(*map(variable, SQUEEZES)))
    assert found.label == "normal"


def test_nice_shouldering_that_was_never_there_is_not_lost() -> None:
    """NICE NG229: loss of previously present shouldering (from memory)."""
    never = [variable(one) for one in SQUEEZES]
    assert judged(NICE, falling(*never)).label == "normal"
    lost = [variable(one, shoulders=i < 2) for i, one in enumerate(SQUEEZES)]
    found = judged(NICE, falling(*lost))
    assert "loss of shouldering" in stated(found, "nice-variable-repetitive")


def test_nice_a_toco_cannot_show_hypertonus() -> None:
    """Ayres-de-Campos 2015: an external sensor gives the frequency of contractions only."""
    long_one = [*SQUEEZES[:5], contraction(SQUEEZES[5].peak_s, duration_s=130.0), *SQUEEZES[6:]]
    toco = judged(NICE, trace(40, uterus=long_one))
    assert toco.label == "normal"
    assert "nice-long-on-toco" in rules_of(toco)
    assert any("hypertonus" in what for what in toco.not_assessed)
    catheter = judged(NICE, trace(40, uterus=long_one, sensor=SensorKind.PRESSURE_CATHETER))
    assert catheter.decided_by == ("nice-hypertonus",)


def test_nice_a_short_sinusoidal_undulation_is_not_called_normal() -> None:
    findings = trace(60, undulation=[sinusoidal(3200.0, 3700.0)])
    assert judged(NICE, findings).refused


# ---------------------------------------------------------------- the non-stress test

BEFORE_LABOUR = Context(stage=Stage.ANTEPARTUM)


@pytest.mark.parametrize(("apart_s", "label"), [(1200.0, "reactive"), (1201.0, "non-reactive")])
def test_two_accelerations_within_20_minutes_are_reactive(apart_s: float, label: str) -> None:
    """ACOG Practice Bulletin 229 (from memory)."""
    findings = trace(60, accelerations=[acceleration(1300.0), acceleration(1300.0 + apart_s)])
    found = judged(NST, findings, context=BEFORE_LABOUR, minutes=60)
    assert found.label == label


def test_a_shorter_window_looks_back_to_40_minutes() -> None:
    findings = trace(60, accelerations=[acceleration(1300.0), acceleration(1500.0)])
    found = judged(NST, findings, context=BEFORE_LABOUR, minutes=20)
    assert found.label == "reactive"
    assert found.reasons[0].evidence == (Window(1285.0, 1315.0), Window(1485.0, 1515.0))


def test_accelerations_that_may_be_the_mother_s_make_no_reactive_test() -> None:
    findings = trace(
        60,
        accelerations=[acceleration(1300.0), acceleration(1500.0)],
        artefacts=[mother(1250.0, 1400.0)],
    )
    found = judged(NST, findings, context=BEFORE_LABOUR, minutes=60)
    assert found.label == "non-reactive"
    assert "nst-not-counted" in rules_of(found)


# ---------------------------------------------------------------- all of them


@pytest.mark.parametrize("standard", [NICHD, FIGO, NICE])
def test_accelerations_are_noted_and_reassure_nobody_into_a_better_class(
    standard: Standard,
) -> None:
    squeezes = contractions(40)
    falls = [late(one) for one in squeezes]
    plain = trace(40, uterus=squeezes, decelerations=falls)
    lively = trace(40, uterus=squeezes, decelerations=falls, accelerations=[acceleration(1500.0)])
    assert judged(standard, plain).rank == judged(standard, lively).rank > 0
    assert f"{standard.value}-accelerations" in rules_of(judged(standard, lively))


@pytest.mark.parametrize("standard", [NICHD, FIGO, NICE])
def test_reasons_that_decide_come_first(standard: Standard) -> None:
    found = judged(standard, falling(*map(late, SQUEEZES), baseline=95))
    deciding = [reason.rule in found.decided_by for reason in found.reasons]
    assert deciding == sorted(deciding, reverse=True)
    assert deciding[0]


@pytest.mark.parametrize("standard", [NICHD, FIGO, NICE])
def test_of_several_normal_baselines_the_last_is_stated(standard: Standard) -> None:
    """What holds now: 140 in the window's first ten minutes, 125 in its last."""
    found = judged(standard, trace(30, baseline=(140.0, 130.0, 125.0)))
    told = [reason.text for reason in found.reasons if "baseline" in reason.rule]
    assert any("125" in text for text in told)
    assert not any("140" in text for text in told)
