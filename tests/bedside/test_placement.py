"""After the sensors are on: what to try, when to feel the mother's pulse, when to go inside."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from ebbline.bedside.placement import SensorTrouble, SignalNow, advise, tried_from
from ebbline.errors import ExaminationError
from ebbline.terms import SensorKind, Stage

POOR = {"valid_share": 0.6, "troubles": (SensorTrouble.LOST,), "stage": Stage.FIRST}


def words(signal: SignalNow) -> list[str]:
    return [step.what for step in advise(signal).steps]


def test_a_good_signal_asks_for_nothing():
    advice = advise(SignalNow(valid_share=0.97, stage=Stage.FIRST))
    assert advice.steps == ()
    assert not advice.exclude_maternal
    assert not advice.electrode
    assert not advice.catheter


def test_a_lost_signal_is_sought_from_the_cheapest_step_on():
    found = words(SignalNow(**POOR))
    assert "pulse" in found[0]
    assert "gel" in found[1]
    assert "ear" in found[2]
    assert "Examine her again" in found[-1]


@pytest.mark.parametrize(
    "signal",
    [
        SignalNow(troubles=(SensorTrouble.MATERNAL,)),
        SignalNow(troubles=(SensorTrouble.DOUBLING,)),
        SignalNow(rises_with_contractions=True),
        SignalNow(stage=Stage.SECOND),
        SignalNow(heart_rate_bpm=92, maternal_pulse_bpm=94),
        SignalNow(valid_share=0.5),
    ],
    ids=["suspected", "doubling", "rises", "second stage", "same rate", "after a loss"],
)
def test_when_the_mothers_pulse_must_be_felt_first(signal):
    """FIGO 2015: compare with the mother's pulse whenever the rate may be hers."""
    advice = advise(signal)
    assert advice.exclude_maternal
    assert advice.maternal_why
    assert advice.steps[0].id in ("pulse", "fetal heart")


def test_with_her_pulse_told_and_alike_the_fetal_heart_is_sought_and_her_pulse_not_felt_again():
    alike = advise(SignalNow(heart_rate_bpm=92, maternal_pulse_bpm=94))
    assert alike.steps[0].id == "fetal heart"
    assert "pulse" not in [step.id for step in alike.steps]
    apart = advise(SignalNow(**POOR, heart_rate_bpm=140, maternal_pulse_bpm=88))
    assert "pulse" not in [step.id for step in apart.steps]


def test_a_step_ticked_off_moves_the_next_one_up_and_goes_into_the_record():
    fresh = advise(SignalNow(**POOR))
    tried = tried_from({"pulse": "nothing", "gel": "nothing", "her-side": "not possible"})
    after = advise(SignalNow(**POOR, tried=tried))
    assert [s.id for s in fresh.steps][:3] == ["pulse", "gel", "ear"]
    assert after.steps[0].id == "ear"
    assert "her side" not in [step.id for step in after.steps]
    assert after.done == ("pulse: nothing", "gel: nothing", "her side: not possible")
    assert after.rest == ""


def test_when_the_ear_found_nothing_a_scan_looks_next():
    tried = tried_from({"pulse": "nothing", "gel": "nothing", "ear": "nothing"})
    assert advise(SignalNow(**POOR, tried=tried)).steps[0].id == "scan"
    fresh = [step.id for step in advise(SignalNow(**POOR)).steps]
    assert fresh.index("scan") > fresh.index("tilt")


def test_her_rest_counts_after_four_steps_in_vain():
    names = ("gel", "ear", "tilt", "her side")
    in_vain = tried_from(dict.fromkeys(names, "nothing"))
    assert "Her rest counts" in advise(SignalNow(**POOR, tried=in_vain)).rest
    assert "Her rest counts" in advise(SignalNow(**POOR, tries=4)).rest
    helped = tried_from(dict.fromkeys(names, "helped"))
    assert advise(SignalNow(**POOR, tried=helped)).rest == ""
    assert advise(SignalNow(valid_share=0.95, stage=Stage.FIRST, tries=6)).rest == ""


@pytest.mark.parametrize(("step", "brought"), [("prayer", "helped"), ("gel", "perhaps")])
def test_what_is_no_step_is_refused(step, brought):
    with pytest.raises(ExaminationError):
        tried_from({step: brought})


def test_rates_that_differ_do_not_raise_the_suspicion():
    assert not advise(SignalNow(heart_rate_bpm=140, maternal_pulse_bpm=88)).exclude_maternal


def test_a_doubled_rate_is_counted_by_ear():
    assert any(
        "Count the heart by ear" in w for w in words(SignalNow(troubles=(SensorTrouble.DOUBLING,)))
    )


def test_an_electrode_is_worth_discussing_only_after_the_sensor_was_moved_twice_in_labour():
    assert not advise(SignalNow(**POOR, tries=1)).electrode
    assert advise(SignalNow(**POOR, tries=2)).electrode
    early = {**POOR, "stage": Stage.ANTEPARTUM}
    assert not advise(SignalNow(**early, tries=5)).electrode


@pytest.mark.parametrize(("share", "worth"), [(0.79, True), (0.80, False), (0.81, False)])
def test_up_to_a_fifth_of_the_signal_may_be_lost(share, worth):
    """FIGO 2015: signal loss up to 20 % is workable (from memory)."""
    assert advise(SignalNow(valid_share=share, stage=Stage.FIRST, tries=3)).electrode is worth


def test_a_loss_of_unknown_extent_counts_as_poor_and_a_small_one_as_workable():
    lost = SignalNow(troubles=(SensorTrouble.LOST,), stage=Stage.FIRST, tries=2)
    assert advise(lost).electrode
    assert not advise(replace(lost, valid_share=0.94)).electrode
    assert advise(replace(lost, valid_share=0.94, longest_gap_s=90.0)).electrode


def test_a_catheter_is_worth_discussing_only_where_contractions_do_not_show():
    shown = SignalNow(stage=Stage.FIRST, tries=3)
    assert not advise(shown).catheter
    hidden = SignalNow(stage=Stage.FIRST, tries=3, troubles=(SensorTrouble.NO_CONTRACTIONS,))
    advice = advise(hidden)
    assert advice.catheter
    assert any("hardens most" in step.what for step in advice.steps)


def test_an_electrode_that_fails_is_checked_at_its_lead_and_against_ultrasound():
    found = words(SignalNow(**POOR, heart_sensor=SensorKind.SCALP_ELECTRODE, maternal_pulse_bpm=80))
    assert any("lead" in w for w in found)
    assert any("ultrasound sensor on beside it" in w for w in found)
    assert not any("gel" in w for w in found)


def test_what_is_not_known_is_said_and_never_counts_as_good():
    advice = advise(SignalNow())
    assert "the usable share of the signal" in advice.not_known
    assert "the mother's pulse" in advice.not_known
    assert not advice.electrode
    assert "not known" in advise(SignalNow(stage=Stage.FIRST)).electrode_why


def test_twins_are_told_to_look_for_one_heart_heard_twice():
    assert any("two rates differ" in w for w in words(SignalNow(**POOR, fetuses=2)))


def test_every_step_has_a_reason_and_a_source():
    signal = SignalNow(
        **{**POOR, "troubles": tuple(SensorTrouble)}, fetuses=2, longest_gap_s=math.nan
    )
    assert all(step.why and step.source for step in advise(signal).steps)
