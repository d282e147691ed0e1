"""The half hours of a trace that fill the chart: nothing counted twice, nothing left out."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import pytest

from ebbline.features.findings import DecelerationKind
from ebbline.features.window import contractions_in, decelerations_in
from ebbline.journal.trace_columns import COLUMN_S, LEAST_S, columns_of
from ebbline.reading.analyse import read
from ebbline.recording import open_recording
from ebbline.terms import Window
from journal.conftest import NOW
from shared_data import CTU_UHB, needs_ctu_uhb

NAMES = ("1001", "1013", "1107", "2003", "2011")


@needs_ctu_uhb
@pytest.mark.parametrize("name", NAMES)
def test_every_deceleration_of_a_real_trace_stands_in_just_one_column(name: str) -> None:
    """CTU-UHB Intrapartum Cardiotocography Database, PhysioNet."""
    recording = replace(open_recording(CTU_UHB / f"{name}.hea"), start=NOW)
    reading = read(recording)
    columns = columns_of(reading)
    fetal = reading.fetuses[0]
    ends_s = (columns[-1].end - NOW).total_seconds()
    assert columns[0].start == NOW
    assert all(one.end == other.start for one, other in pairwise(columns))
    assert recording.duration_s - ends_s < LEAST_S
    seen = decelerations_in(fetal.findings, Window(0.0, ends_s))
    for kind in DecelerationKind:
        own = [d for d in seen if d.kind is kind]
        counted = sum(one.falls.get(kind, 0) for one in columns)
        if kind is DecelerationKind.PROLONGED:
            assert counted >= len(own)
        else:
            assert counted == sum(d.nadir_s < ends_s for d in own)
    for one in columns:
        assert LEAST_S <= (one.end - one.start).total_seconds() < COLUMN_S + LEAST_S
        assert 0.0 <= one.valid_share <= 1.0
        assert math.isnan(one.baseline_bpm) or 50 <= one.baseline_bpm <= 220
    if all(math.isfinite(one.in_10_min) for one in columns):
        drawn = len(contractions_in(fetal.findings, Window(0.0, ends_s)))
        # Contractions in 10 minutes are rates of at most the half hour before a column's end.
        mean = sum(one.in_10_min * (one.end - one.start) / timedelta(minutes=10) for one in columns)
        assert mean == pytest.approx(drawn, rel=0.35, abs=4)


def test_without_a_clock_a_trace_fills_no_column() -> None:
    from ebbline.synth import Scenario, invent

    recording = invent(Scenario.from_words("normal, 40 minutes"), seed=3).recording
    assert columns_of(read(replace(recording, start=None))) == ()
