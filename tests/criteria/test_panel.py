"""The panel reading: its arithmetic, its direction, and when it keeps silent or warns.

The model is McCullagh's proportional odds (J R Stat Soc B 1980;42:109-42). How well it agrees
with readers is measured by bench/panel.py, not here.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from bench.worsening import lossier, with_rate
from hypothesis import given
from hypothesis import strategies as st

from ebbline.criteria.model import PANEL_LABELS
from ebbline.criteria.panel import (
    HALF_HOUR_BEFORE,
    panel_answer,
    panel_model,
    panel_reading,
    panel_silence,
    split,
)
from ebbline.criteria.panel_features import FEATURES, measure, unseen_beside_contractions
from ebbline.features import detect
from ebbline.recording.model import ChannelKind, Context
from ebbline.synth import Scenario, invent
from ebbline.terms import Stage, Window
from features.constructed import Trace

LABOUR = Context(weeks=40, stage=Stage.FIRST)
HALF_HOUR = Window(0.0, 1800.0)


def calm() -> Trace:
    trace = Trace(30).contractions(180)
    for onset in (200, 700, 1200, 1600):
        trace.excursion(onset, 10, 15, 10, 22)
    return trace


def bad() -> Trace:
    trace = Trace(30, baseline=165, band=3.0).contractions(150)
    for onset in range(80, 1700, 150):
        trace.excursion(onset, 35, 10, 45, -70)
    return trace


def test_terms_of_the_model_are_those_that_are_measured() -> None:
    assert [term.name for term in panel_model().terms] == [f.name for f in FEATURES]


def test_points_add_up_to_the_score_exactly() -> None:
    reading = panel_reading(detect(bad().recording()), HALF_HOUR, LABOUR)
    assert reading is not None
    assert sum(c.points for c in reading.contributions) == pytest.approx(reading.score, abs=1e-12)


@given(score=st.floats(-20, 20), low=st.floats(-3, 1), gap=st.floats(0.1, 4))
def test_split_is_a_probability_and_moves_one_way(score: float, low: float, gap: float) -> None:
    here, worse = split(score, (low, low + gap)), split(score + 0.5, (low, low + gap))
    assert sum(here) == pytest.approx(1.0)
    assert min(here) >= 0.0
    assert worse[0] <= here[0]
    assert worse[2] >= here[2]


@given(index=st.integers(0, len(FEATURES) - 1), value=st.floats(-10, 300), step=st.floats(0, 100))
def test_more_of_what_is_worse_never_lowers_the_score(
    index: int, value: float, step: float
) -> None:
    feature, term = FEATURES[index], panel_model().terms[index]
    before, after = (term.points(v, feature.worse) for v in (value, value + step))
    assert (after - before) * feature.worse >= -1e-12


def test_readers_would_call_a_calm_trace_normal_and_a_bad_one_pathological() -> None:
    for trace, label in ((calm(), "normal"), (bad(), "pathological")):
        reading = panel_reading(detect(trace.recording()), HALF_HOUR, LABOUR)
        assert reading is not None
        assert reading.label == label
        assert reading.probabilities[PANEL_LABELS.index(label)] > 0.6


def test_no_reading_is_given_of_what_could_not_be_seen() -> None:
    findings = detect(calm().lose(200, 1800).recording())
    assert panel_reading(findings, HALF_HOUR, LABOUR) is None


@pytest.mark.parametrize(
    ("context", "window", "said"),
    [
        (Context(weeks=31, stage=Stage.FIRST), HALF_HOUR, "31 weeks"),
        (Context(weeks=40, stage=Stage.ANTEPARTUM), HALF_HOUR, "antepartum"),
        (LABOUR, Window(0.0, 600.0), "10 minutes"),
    ],
)
def test_the_panel_is_silent_outside_its_data_and_says_why(
    context: Context, window: Window, said: str
) -> None:
    findings = detect(calm().recording())
    assert panel_reading(findings, window, context) is None
    assert said in panel_silence(findings, window, context)
    assert not panel_silence(findings, HALF_HOUR, LABOUR)


def test_a_stage_that_is_not_known_is_warned_of() -> None:
    reading = panel_reading(detect(calm().recording()), HALF_HOUR, Context(weeks=40))
    usual = panel_reading(detect(calm().recording()), HALF_HOUR, LABOUR)
    assert reading is not None and usual is not None
    assert any("stage not known" in warning for warning in reading.warnings)
    assert not usual.warnings


def test_the_panel_is_silent_where_more_was_lost_than_it_ever_read() -> None:
    trace = calm()
    for start in range(0, 1800, 60):
        trace.lose(start, start + 36)
    findings = detect(trace.recording())
    assert panel_reading(findings, HALF_HOUR, LABOUR) is None
    assert "signal is lost" in panel_silence(findings, HALF_HOUR, LABOUR)


def test_the_panel_is_silent_beside_a_sinusoidal_pattern() -> None:
    trace = Trace(30, band=1.0)
    trace.bpm = trace.bpm + 8 * np.sin(2 * np.pi * trace.seconds / 15)
    findings = detect(trace.recording())
    assert findings.fetal.sinusoidal
    assert "sinusoidal" in panel_silence(findings, HALF_HOUR, LABOUR)


def test_the_half_hour_before_counts_as_one_line_that_unfolds() -> None:
    """The readers had seen the earlier trace: bad before, the same window is read as worse."""
    good, worse = Trace(60).contractions(180), Trace(60).contractions(180)
    for onset in range(80, 1700, 150):
        worse.excursion(onset, 35, 10, 45, -60)
    second = Window(1800.0, 3600.0)
    calm_before = panel_reading(detect(good.recording()), second, LABOUR)
    bad_before = panel_reading(detect(worse.recording()), second, LABOUR)
    assert calm_before is not None and bad_before is not None
    (line,) = [c for c in bad_before.contributions if c.finding == HALF_HOUR_BEFORE]
    assert line.points == pytest.approx(sum(c.points for c in bad_before.before), abs=1e-12)
    assert line.points > 0 and bad_before.score > calm_before.score
    alone = panel_reading(detect(worse.recording()), HALF_HOUR, LABOUR)
    assert alone is not None and not alone.before


@pytest.mark.parametrize("depth", [16.0, 30.0, 60.0])
def test_one_more_deceleration_never_lowers_the_score(depth: float) -> None:
    trace = Trace(30).contractions(180)
    scores = []
    for onset in (300, 660, 1020, 1380):
        reading = panel_reading(detect(trace.recording()), HALF_HOUR, LABOUR)
        assert reading is not None
        scores.append(reading.score)
        trace.excursion(onset, 10, 20, 15, -depth)
    assert scores == sorted(scores)


def test_numbers_are_those_of_the_findings() -> None:
    findings = detect(bad().recording())
    numbers = dict(zip((f.name for f in FEATURES), measure(findings, HALF_HOUR), strict=True))
    depths = [d.depth_bpm for d in findings.fetal.decelerations if not d.shallow]
    assert numbers["depth of the second deepest deceleration"] == sorted(depths)[-2]
    assert numbers["time under 100 bpm"] == pytest.approx(
        100 * np.mean(findings.fetal.rate_curve.values[:1800] < 100)
    )
    assert all(math.isfinite(value) for value in numbers.values())


def test_second_stage_has_its_own_cuts() -> None:
    findings = detect(bad().recording())
    first = panel_reading(findings, HALF_HOUR, LABOUR)
    second = panel_reading(findings, HALF_HOUR, dataclasses.replace(LABOUR, stage=Stage.SECOND))
    assert first is not None
    assert second is not None
    assert first.score == second.score
    assert first.probabilities != second.probabilities


def test_lost_signal_never_makes_the_panel_milder() -> None:
    """With more and more of a window lost no label is milder, and the chance of normal does not
    rise; where the lost part could change the label it is silent, and elsewhere it goes on."""
    window = Window(1800.0, 3600.0)
    spoken_in_loss = 0
    for words in ("normal", "recurrent variable", "recurrent late, minimal variability"):
        recording = invent(
            Scenario.from_words(f"{words}, electrode, good signal, 60 minutes"), 903
        ).recording
        whole = panel_reading(detect(recording), window, recording.context)
        assert whole is not None
        for share in (0.15, 0.3, 0.45):
            hidden = lossier(recording, share, 5, 20.0, window)
            found = panel_reading(detect(hidden), window, hidden.context)
            if found is None:
                continue
            spoken_in_loss += 1
            assert PANEL_LABELS.index(found.label) >= PANEL_LABELS.index(whole.label)
            assert found.probabilities[0] <= whole.probabilities[0] + 1e-9
            assert sum(c.points for c in found.contributions) == pytest.approx(found.score)
    assert spoken_in_loss >= 3


def test_where_lost_signal_could_change_its_label_the_panel_is_silent_and_says_so() -> None:
    silent = 0
    for seed in range(904, 912):
        recording = invent(Scenario.from_words("intermittent variable, 30 minutes"), seed)
        window = Window(0.0, 1800.0)
        hidden = lossier(recording.recording, 0.4, seed, 20.0, window)
        findings = detect(hidden)
        why = panel_silence(findings, window, hidden.context)
        assert bool(why) == (panel_reading(findings, window, hidden.context) is None)
        silent += "may be a worse reading" in why
    assert silent


def test_signal_lost_where_the_falls_would_be_leaves_only_the_worst_label() -> None:
    """Lost through the contractions, it takes the falls, which are what the panel counts."""
    made = invent(
        Scenario.from_words(
            "recurrent late, minimal variability, electrode, good signal, 60 minutes"
        ),
        7102,
    ).recording
    window = Window(1800.0, 3600.0)
    whole = panel_reading(detect(made), window, made.context)
    assert whole is not None and whole.label == "pathological"
    peaks = [c.peak_s for c in detect(made).uterine.contractions]

    def cut(bpm: np.ndarray, rate_hz: float) -> np.ndarray:
        seconds = np.arange(len(bpm)) / rate_hz
        near = np.zeros(len(bpm), dtype=bool)
        for peak in peaks:
            near |= np.abs(seconds - peak - 15.0) < 35.0
        return np.where(near, np.nan, bpm)

    hidden = with_rate(made, cut)
    found, why = panel_answer(detect(hidden), window, hidden.context)
    assert found is None and "could not be read through" in why


def test_a_baseline_outside_the_normal_range_is_never_called_normal_by_the_panel() -> None:
    """185 bpm with lively variability and accelerations: FIGO 2015 and NICHD 2008, not normal."""
    for baseline in (185, 100):
        trace = Trace(30, baseline=baseline).contractions(180)
        for onset in (200, 700, 1200, 1600):
            trace.excursion(onset, 10, 15, 10, 22)
        reading = panel_reading(detect(trace.recording()), HALF_HOUR, LABOUR)
        assert reading is None or reading.label != "normal"


def test_the_panel_reads_no_milder_for_contractions_that_were_not_recorded() -> None:
    """Late falls at every contraction: silent with the belt, and not normal without it."""
    trace = Trace(30).contractions(180)
    for peak in range(180, 1700, 180):
        trace.excursion(peak, 40, 10, 45, -35)
    made = trace.recording()
    alone = dataclasses.replace(
        made,
        channels=tuple(c for c in made.channels if c.kind is not ChannelKind.UTERINE_ACTIVITY),
    )
    for one in (made, alone):
        reading = panel_reading(detect(one), HALF_HOUR, LABOUR)
        assert reading is None or reading.label != "normal"


def test_a_fall_of_over_five_minutes_is_pathological_to_the_panel_or_it_is_silent() -> None:
    """FIGO 2015; the numbers do not grow with a length that they cap."""
    for seconds in (330, 420, 540):
        trace = calm()
        trace.excursion(900, 15, seconds, 15, -60)
        found, why = panel_answer(detect(trace.recording()), HALF_HOUR, LABOUR)
        assert found is None or found.label == "pathological"
        assert found is not None or why


def test_stretches_of_lost_signal_where_falls_would_be_are_counted_beside_contractions() -> None:
    """Of three gaps of 40 s one lies where no contraction's fall would be, of 20 s none hides."""
    trace = Trace(30).contractions(300)
    findings = detect(trace.recording())
    peaks = [one.peak_s for one in findings.uterine.contractions]
    between = 0.5 * (peaks[1] + peaks[2]) + 30.0
    for start, length in ((peaks[0], 40.0), (between, 40.0), (peaks[3], 40.0), (peaks[4], 20.0)):
        trace.lose(start, start + length)
    assert unseen_beside_contractions(detect(trace.recording()), HALF_HOUR) == 2
