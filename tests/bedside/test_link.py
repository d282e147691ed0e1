"""From a reading of a trace to the words of the bedside."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from ebbline.bedside.placement import SensorTrouble, advise
from ebbline.bedside.policy.measures import first_measures, load_measures
from ebbline.features.findings import Acceleration, ArtefactKind, VariabilityClass
from ebbline.reading.analyse import read
from ebbline.reading.bedside_bridge import finding_words, signal_now
from ebbline.reading.model import DecelerationSummary
from ebbline.recording import open_recording
from ebbline.terms import SensorKind, Stage

EXAMPLE = Path(__file__).parents[2] / "examples" / "labour.csv"
QUIET = {
    "valid_share": 0.97,
    "longest_gap_s": 5.0,
    "suspected": (),
    "baseline_bpm": 140.0,
    "variability": VariabilityClass.MODERATE,
    "sinusoidal": False,
    "decelerations": (),
}


@pytest.fixture(scope="module")
def reading():
    """The recording that comes with the project, its findings set to a quiet trace's."""
    made = read(open_recording(str(EXAMPLE)))
    fetal = made.fetuses[0]
    quiet = replace(fetal, review=replace(fetal.review, **QUIET))
    return replace(made, fetuses=(quiet,))


def changed(reading, **review):
    fetal = reading.fetuses[0]
    return replace(fetal, review=replace(fetal.review, **review))


def test_a_good_trace_asks_for_nothing_at_the_sensor(reading):
    signal = signal_now(reading, reading.fetuses[0])
    assert signal.heart_sensor is SensorKind.ULTRASOUND
    assert signal.valid_share > 0.95
    assert advise(signal).steps == ()


def test_every_artefact_of_a_trace_has_a_word_at_the_bedside(reading):
    fetal = changed(reading, suspected=tuple(ArtefactKind))
    troubles = set(signal_now(reading, fetal).troubles)
    assert troubles == set(SensorTrouble) - {SensorTrouble.NO_CONTRACTIONS}


def test_contractions_that_could_not_be_assessed_are_a_trouble(reading):
    contractions = replace(reading.fetuses[0].review.contractions, assessed=False)
    fetal = changed(reading, contractions=contractions)
    assert SensorTrouble.NO_CONTRACTIONS in signal_now(reading, fetal).troubles


@pytest.mark.parametrize(
    ("review", "word"),
    [
        ({"baseline_bpm": 105.0}, "bradycardia"),
        ({"baseline_bpm": 165.0}, "tachycardia"),
        ({"variability": VariabilityClass.MINIMAL}, "minimal-variability"),
        ({"variability": VariabilityClass.ABSENT}, "absent-variability"),
        ({"variability": VariabilityClass.MARKED}, "marked-variability"),
        ({"sinusoidal": True}, "sinusoidal"),
        ({"suspected": (ArtefactKind.MATERNAL,)}, "maternal-rate-suspected"),
        ({"suspected": (ArtefactKind.HALVING,)}, "doubling-or-halving-suspected"),
        ({"valid_share": 0.7}, "signal-lost"),
    ],
)
def test_findings_in_the_words_of_the_measures(reading, review, word):
    words = finding_words(changed(reading, **review))
    assert word in words
    assert first_measures(words, load_measures()).measures


@pytest.mark.parametrize(
    ("review", "word"),
    [
        ({"baseline_bpm": 110.0}, "bradycardia"),
        ({"baseline_bpm": 160.0}, "tachycardia"),
        ({"baseline_bpm": float("nan")}, "bradycardia"),
        ({"variability": VariabilityClass.INDETERMINATE}, "absent-variability"),
        ({"sinusoidal": None}, "sinusoidal"),
        ({"valid_share": 0.8}, "signal-lost"),
    ],
)
def test_what_is_at_the_limit_or_not_known_gives_no_word(reading, review, word):
    assert word not in finding_words(changed(reading, **review))


def summary(kind: str, recurrent: bool | None) -> DecelerationSummary:
    return DecelerationSummary(kind, 4, 0.6, recurrent, recurrent, 30, 40, 50, 60, ())


def test_recurrent_decelerations_and_tachysystole_together(reading):
    contractions = replace(reading.fetuses[0].review.contractions, tachysystole=True)
    assert finding_words(changed(reading, contractions=contractions)) == ("tachysystole",)
    both = finding_words(
        changed(reading, contractions=contractions, decelerations=(summary("variable", True),))
    )
    assert {"recurrent-variable", "tachysystole-with-changes"} <= set(both)
    assert finding_words(changed(reading, decelerations=(summary("late", None),))) == ()
    assert finding_words(reading.fetuses[0]) == ()


def test_a_rate_that_rises_with_the_contractions_of_the_second_stage_is_told(reading):
    """The mother's rate rises with pushing, the fetus's falls (common practice; FIGO 2015)."""
    start = reading.window.start_s
    fetal = reading.fetuses[0]
    count = fetal.review.contractions.count
    contractions = fetal.findings.uterine.contractions
    inside = [i for i, c in enumerate(contractions) if start <= c.peak_s <= reading.window.end_s]
    rises = tuple(
        Acceleration(
            contractions[i].onset_s,
            contractions[i].peak_s,
            contractions[i].end_s,
            25.0,
            140.0,
            20.0,
            True,
            False,
            i,
            1.0,
            1.0,
        )
        for i in inside
    )
    assert len(rises) >= 0.5 * count
    heart = replace(fetal.findings.fetal, accelerations=rises)
    pushed = replace(fetal, findings=replace(fetal.findings, fetal=heart))
    second = replace(reading, context=replace(reading.context, stage=Stage.SECOND))
    assert signal_now(second, pushed).rises_with_contractions
    assert advise(signal_now(second, pushed)).exclude_maternal
    first = replace(reading, context=replace(reading.context, stage=Stage.FIRST))
    assert not signal_now(first, pushed).rises_with_contractions
