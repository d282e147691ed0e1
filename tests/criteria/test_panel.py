"""The panel reading: its arithmetic, its direction, and when it keeps silent or warns.

The model is McCullagh's proportional odds (J R Stat Soc B 1980;42:109-42). How well it agrees
with readers is measured by bench/panel.py, not here.
"""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ebbline.criteria.model import PANEL_LABELS
from ebbline.criteria.panel import panel_model, panel_reading, split
from ebbline.criteria.panel_features import FEATURES, measure
from ebbline.features import detect
from ebbline.recording.model import Context
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
        (Context(weeks=40), HALF_HOUR, "stage not known"),
        (Context(weeks=40, stage=Stage.ANTEPARTUM), HALF_HOUR, "antepartum"),
        (LABOUR, Window(0.0, 600.0), "10 minutes"),
    ],
)
def test_windows_unlike_the_panels_are_warned_of(
    context: Context, window: Window, said: str
) -> None:
    reading = panel_reading(detect(calm().recording()), window, context)
    assert reading is not None
    assert any(said in warning for warning in reading.warnings)
    usual = panel_reading(detect(calm().recording()), HALF_HOUR, LABOUR)
    assert usual is not None
    assert not usual.warnings


def test_lost_signal_is_warned_of() -> None:
    trace = calm()
    for start in range(0, 1800, 60):
        trace.lose(start, start + 36)
    reading = panel_reading(detect(trace.recording()), HALF_HOUR, LABOUR)
    assert reading is not None
    assert any("signal lost" in warning for warning in reading.warnings)


def test_numbers_are_those_of_the_findings() -> None:
    findings = detect(bad().recording())
    numbers = dict(zip((f.name for f in FEATURES), measure(findings, HALF_HOUR), strict=True))
    depths = [d.depth_bpm for d in findings.fetal.decelerations if not d.shallow]
    assert numbers["median depth of decelerations"] == pytest.approx(np.median(depths))
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
