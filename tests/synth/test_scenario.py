"""What can be asked for, and how the generator answers what it does not know."""

from __future__ import annotations

import re
from dataclasses import replace

import pytest

from ebbline.codec import from_json, to_json
from ebbline.errors import ScenarioError
from ebbline.synth import Behaviour, Scenario, Truth, invent
from ebbline.synth.scenario_parser import words_known
from ebbline.terms import SensorKind, Stage


def test_a_sentence_turns_the_knobs() -> None:
    s = Scenario.from_words("recurrent late, minimal variability, 39 weeks, electrode, 2 hours")
    assert s.late_share >= 0.5 and s.weeks == 39 and s.hours == 2
    assert s.heart_sensor is SensorKind.SCALP_ELECTRODE
    assert s.bandwidth_bpm < 5 and s.behaviour is Behaviour.STEADY


def test_words_may_stand_together_without_commas() -> None:
    s = Scenario.from_words("Recurrent late decelerations with minimal variability at 36 weeks")
    assert s.late_share >= 0.5 and s.bandwidth_bpm < 5 and s.weeks == 36


def test_numbers_win_over_words_in_either_order() -> None:
    for words in ("tachycardia, baseline 165", "baseline 165, tachycardia"):
        assert Scenario.from_words(words).baseline_bpm == 165


def test_a_preterm_fetus_is_quicker_and_less_variable() -> None:
    early, term = Scenario.from_words("27 weeks"), Scenario.from_words("40 weeks")
    assert early.bandwidth_bpm < term.bandwidth_bpm
    assert early.baseline_bpm > term.baseline_bpm


def test_two_recurrent_kinds_share_the_contractions() -> None:
    s = Scenario.from_words("recurrent late, recurrent variable")
    assert s.late_share + s.variable_share <= 1
    assert s.late_share > 0.4 and s.variable_share > 0.4


def test_every_known_word_is_understood_and_can_be_invented() -> None:
    for group, phrases in words_known().items():
        for phrase in phrases:
            words = phrase.replace("N", "36") if group == "numbers" else phrase
            words = {"36 hours": "2 hours", "36 Hz": "2 Hz"}.get(words, words)
            if "contractions in" in words:
                words = "4 contractions in 10 minutes"
            if words.startswith("baseline"):
                words = "baseline 140"
            scenario = replace(Scenario.from_words(words), hours=0.05)
            assert invent(scenario, 1).truth.duration_s == 180


@pytest.mark.parametrize(
    ("words", "meant"),
    [
        ("recurent late", "recurrent late"),
        ("minimal variabilty", "minimal variability"),
        ("tachysystol", "tachysystole"),
        ("scalp electrod", "scalp electrode"),
        ("bradycardia terminal", "terminal bradycardia"),
        ("absent", "absent variability"),
        ("late decelerations", "recurrent late"),
        ("severe variable decelerations", "occasional variable"),
    ],
)
def test_a_misspelt_word_is_answered_with_the_nearest(words: str, meant: str) -> None:
    with pytest.raises(ScenarioError) as caught:
        Scenario.from_words(f"39 weeks, {words}")
    assert f'"{meant}"' in caught.value.remedy


def test_what_is_advised_can_be_said_as_it_stands() -> None:
    for word in ("terminal", "labour nine", "tachycardic", "stage two", "late", "toco none"):
        with pytest.raises(ScenarioError) as caught:
            Scenario.from_words(word)
        for said in re.findall(r'"([^"]+)"', caught.value.remedy):
            Scenario.from_words(said)


def test_a_first_stage_is_said_and_labour_spelt_either_way() -> None:
    assert Scenario.from_words("first stage, recurrent late").stage is Stage.FIRST
    either = [Scenario.from_words(f"early {word}, 39 weeks") for word in ("labour", "labor")]
    assert replace(either[1], words="") == replace(either[0], words="")


def test_a_word_that_is_nothing_like_any_is_refused() -> None:
    with pytest.raises(ScenarioError, match="not a word"):
        Scenario.from_words("xylophone")


@pytest.mark.parametrize(
    "knobs",
    [
        {"weeks": 12.0},
        {"signal_loss": 1.5},
        {"contractions_per_10_min": -1.0},
        {"hours": 0.0},
        {"baseline_bpm": float("nan")},
        {"late_share": 0.8, "variable_share": 0.8},
        {"heart_sensor": SensorKind.TOCO},
        {"activity_sensor": SensorKind.ULTRASOUND},
    ],
)
def test_a_knob_out_of_its_range_is_refused(knobs: dict[str, object]) -> None:
    with pytest.raises(ScenarioError) as caught:
        replace(Scenario(), **knobs)  # type: ignore[arg-type]
    assert caught.value.where and caught.value.remedy


def test_only_1_2_or_4_samples_a_second() -> None:
    with pytest.raises(ScenarioError, match="samples"):
        invent(replace(Scenario(), rate_hz=3.0), 1)


def test_the_truth_survives_json() -> None:
    truth = invent(Scenario.from_words("recurrent variable, sinusoidal, 20 minutes"), 3).truth
    again = from_json(Truth, to_json(truth))
    assert again.decelerations == truth.decelerations or str(again) == str(truth)
    assert to_json(again) == to_json(truth)


def test_a_scenario_survives_json() -> None:
    scenario = Scenario.from_words("rising baseline, pseudo-sinusoidal, prolonged deceleration")
    assert from_json(Scenario, to_json(scenario)) == scenario
