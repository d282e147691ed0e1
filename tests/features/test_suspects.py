"""Another heart than the fetus's: what must be suspected without a maternal channel.

FIGO 2015: accelerations with contractions may be the mother's pulse; ultrasound may count double.
"""

from __future__ import annotations

import importlib
from types import SimpleNamespace

import numpy as np
import pytest

from criteria.build import acceleration, deceleration
from ebbline.features import detect, suspects
from ebbline.features.findings import ArtefactKind, Curve, DecelerationKind
from ebbline.signal import artefacts
from features.constructed import Trace

# The package's `detect` is the function of this module.
steps = importlib.import_module("ebbline.features.detect")


@pytest.mark.parametrize("level", [82.0, 95.0, 105.0, 118.0])
def test_a_step_to_a_mothers_rate_that_stays_is_suspected(level: float) -> None:
    trace = Trace(60, baseline=140)
    trace.bpm[1800 * 4 :] += level - 140
    suspect = detect(trace.recording()).fetal.artefacts
    (one,) = [a for a in suspect if a.kind is ArtefactKind.MATERNAL]
    assert one.start_s == pytest.approx(1800, abs=2) and one.end_s == pytest.approx(3600, abs=2)


@pytest.mark.parametrize("minutes", [1, 3, 10])
@pytest.mark.parametrize("unseen_s", [0, 30])
def test_a_spell_at_a_mothers_rate_is_suspected_after_a_step_in_lost_signal_too(
    minutes: int, unseen_s: int
) -> None:
    trace = Trace(40)
    trace.bpm[1200 * 4 : (1200 + 60 * minutes) * 4] -= 50
    trace.lose(1200 - unseen_s, 1200)
    found = [
        a for a in detect(trace.recording()).fetal.artefacts if a.kind is ArtefactKind.MATERNAL
    ]
    # In lost signal a fall may have begun on a slope: such a level must last longer.
    assert len(found) == (minutes > 1 or unseen_s == 0)


@pytest.mark.parametrize("piece_s", [8, 30])
def test_the_way_back_from_a_piece_at_another_rate_is_no_step_to_the_mother(piece_s: int) -> None:
    trace = Trace(40, baseline=122)
    trace.bpm[1200 * 4 : (1200 + piece_s) * 4] += 52
    trace.bpm[1800 * 4 : (1800 + piece_s) * 4] += 30
    kinds = {a.kind for a in detect(trace.recording()).fetal.artefacts}
    assert ArtefactKind.MATERNAL not in kinds


def test_exact_doubling_that_lasts_is_suspected() -> None:
    trace = Trace(60, baseline=75, band=5.0)
    trace.bpm[1800 * 4 :] *= 2
    kinds = [a.kind for a in detect(trace.recording()).fetal.artefacts]
    assert kinds == [ArtefactKind.DOUBLING]


def test_the_return_from_a_spell_of_half_the_rate_is_no_doubling() -> None:
    trace = Trace(40, band=5.0)
    trace.bpm[900 * 4 : 940 * 4] /= 2
    kinds = {a.kind for a in detect(trace.recording()).fetal.artefacts}
    assert ArtefactKind.HALVING in kinds and ArtefactKind.DOUBLING not in kinds


def test_rises_with_every_contraction_at_a_mothers_rate_are_doubted() -> None:
    trace, fetal = (Trace(40, baseline=b, band=8.0).contractions(200) for b in (112, 140))
    for one in (trace, fetal):
        for peak in np.arange(60, 2340, 200):
            one.excursion(peak - 20, 18, 6, 18, 22)
    low, high = (detect(t.recording()).fetal for t in (trace, fetal))
    assert len(low.accelerations) >= 8 and len(high.accelerations) >= 8
    assert any("feel her pulse" in a.why for a in low.artefacts)
    assert not high.artefacts
    doubted, sure = (np.median([a.certainty for a in f.accelerations]) for f in (low, high))
    assert doubted < 0.6 * sure


def test_a_steady_trace_is_not_suspected() -> None:
    trace = Trace(40).contractions(180).excursion(900, 20, 30, 30, -50)
    assert not detect(trace.recording()).fetal.artefacts


@pytest.mark.parametrize("over_s", [30, 90, 180])
@pytest.mark.parametrize("level", [82.0, 106.0])
def test_a_rate_that_slides_down_to_a_mothers_and_stays_is_suspected(
    level: float, over_s: int
) -> None:
    """By the trace alone it is no different from a fall that does not come back (FIGO 2015)."""
    trace = Trace(60, baseline=140)
    slid = np.clip((trace.seconds - 2700.0) / over_s, 0.0, 1.0)
    trace.bpm += slid * (level - 140)
    found = [
        a for a in detect(trace.recording()).fetal.artefacts if a.kind is ArtefactKind.MATERNAL
    ]
    assert any(a.start_s < 2700.0 + over_s and a.end_s > 3590.0 for a in found)


def test_a_slide_within_the_fetus_s_own_range_or_one_that_comes_back_is_none() -> None:
    for start_s, end_s, by_bpm in (
        (1800.0, 9e9, -12.0),
        (1800.0, 9e9, -25.0),
        (1800.0, 2100.0, -40.0),
    ):
        trace = Trace(60, baseline=145)
        away = np.clip((trace.seconds - start_s) / 60.0, 0.0, 1.0)
        away -= np.clip((trace.seconds - end_s) / 60.0, 0.0, 1.0)
        trace.bpm += away * by_bpm
        kinds = {a.kind for a in detect(trace.recording()).fetal.artefacts}
        assert ArtefactKind.MATERNAL not in kinds


def test_without_a_maternal_rate_no_stretch_is_hers() -> None:
    rate = 140.0 + np.sin(np.arange(4 * 600) / 9.0)
    alone = steps._trace(rate, None)
    assert alone.coincident.shape == (0, 2)
    assert np.array_equal(alone.kept, rate)
    beside = steps._trace(rate, rate.copy())
    hers = np.zeros(len(rate), np.bool_)
    for start, end in beside.coincident.tolist():
        hers[start:end] = True
    assert hers.mean() > 0.9
    assert np.isnan(beside.kept[hers]).all()
    assert (beside.code[hers] == artefacts.MATERNAL).all()
    assert (beside.code[~hers] == artefacts.USED).all()


def test_an_event_and_two_seconds_to_each_side_of_it_are_no_baseline() -> None:
    """Its flanks begin unseen: 2 s (ours)."""
    fall = deceleration(DecelerationKind.VARIABLE, 50.0, nadir_s=60.0, end_s=70.0)
    rise = acceleration(20.0, duration_s=10.0)
    trace = SimpleNamespace(kept=np.zeros(4 * 100))
    found = steps._in_event(trace, SimpleNamespace(passing=()), [fall], [rise])
    at_s = np.arange(400) / 4.0
    meant = ((at_s >= 13.0) & (at_s < 27.0)) | ((at_s >= 48.0) & (at_s < 72.0))
    assert found.tolist() == meant.tolist()
    early = acceleration(3.0, duration_s=4.0)
    assert np.flatnonzero(
        steps._in_event(trace, SimpleNamespace(passing=()), [], [early])
    ).tolist() == list(range(28))


@pytest.mark.parametrize(
    ("code", "kind", "least", "certainty"),
    [
        (artefacts.MISSING, ArtefactKind.DROP_OUT, 60, 1.0),
        (artefacts.FLAT, ArtefactKind.FLAT, 60, 1.0),
        (artefacts.OUT_OF_RANGE, ArtefactKind.OUT_OF_RANGE, 1, 1.0),
        (artefacts.SPIKE, ArtefactKind.SPIKE, 1, 0.6),
        (artefacts.DOUBLED, ArtefactKind.DOUBLING, 1, 0.6),
        (artefacts.HALVED, ArtefactKind.HALVING, 1, 0.6),
    ],
)
def test_lost_signal_is_told_from_15_s_on_and_what_is_doubted_from_one_sample_on(
    code: int, kind: ArtefactKind, least: int, certainty: float
) -> None:
    """15 s and how sure each is: ours. Breaks of up to a second join what lies beside them."""
    codes = np.full(2000, artefacts.USED, np.int8)
    codes[400 : 400 + least] = code
    codes[800 : 800 + least - 1] = code
    codes[1200 : 1200 + least] = codes[1205 + least - 1 : 1205 + 2 * least] = code
    even, nobodys = np.full(2000, 140.0), np.empty((0, 2), np.int64)
    found = suspects.suspect_stretches(even, codes, nobodys, True)
    assert [(one.start_s, one.end_s) for one in found] == [
        (100.0, 100.0 + least / 4),
        (300.0, (1205 + 2 * least) / 4),
    ]
    assert {(one.kind, one.certainty) for one in found} == {(kind, certainty)}


def test_what_was_the_mothers_is_told_in_order_of_time_and_sure() -> None:
    codes = np.full(2000, artefacts.USED, np.int8)
    codes[1000] = artefacts.SPIKE
    hers = np.array([[1200, 1600], [400, 800]])
    found = suspects.suspect_stretches(np.full(2000, 140.0), codes, hers, False)
    assert [(one.kind, one.start_s, one.end_s, one.certainty) for one in found] == [
        (ArtefactKind.MATERNAL, 100.0, 200.0, 0.9),
        (ArtefactKind.SPIKE, 250.0, 250.25, 0.6),
        (ArtefactKind.MATERNAL, 300.0, 400.0, 0.9),
    ]


def test_every_curve_begins_with_the_recording() -> None:
    found = detect(Trace(5, baseline=140).recording())
    curves = [
        (name, getattr(part, name))
        for part in (found.fetal, found.uterine)
        for name in part.__dataclass_fields__
        if isinstance(getattr(part, name), Curve)
    ]
    assert len(curves) >= 9
    assert {name: one.start_s for name, one in curves} == {name: 0.0 for name, _ in curves}
