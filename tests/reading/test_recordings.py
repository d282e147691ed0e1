"""Every open recording is read, to the end, without an error.

Source of the data: Chudáček et al., BMC Pregnancy and Childbirth 2014;14:16 (PhysioNet, ODC-By).
"""

from __future__ import annotations

import json
import math
import os
import warnings
from collections import Counter

import numpy as np
import pytest
from bench.one_answer import contradictions
from jsonschema import Draft202012Validator

from ebbline.codec import from_json, to_json
from ebbline.reading.analyse import read
from ebbline.reading.model import Reading
from ebbline.reading.schema import reading_schema
from ebbline.reading.text import say
from ebbline.recording import open_recording
from shared_data import CTU_UHB, needs_ctu_uhb

pytestmark = needs_ctu_uhb


EVERY = 1 if os.environ.get("EBBLINE_ALL_RECORDINGS") else 3
"""One recording of so many is read; all of them where that is asked for (docs/tests.md)."""


@pytest.fixture(scope="module")
def readings() -> list[Reading]:
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        return [read(open_recording(path)) for path in sorted(CTU_UHB.glob("*.hea"))[::EVERY]]


def test_recordings_are_read_without_an_error_or_a_warning(readings: list[Reading]) -> None:
    assert len(readings) == 276 // EVERY
    assert all(reading.fetuses for reading in readings)


def test_what_reading_had_to_do_is_counted(
    readings: list[Reading], record_property: pytest.RecordProperty
) -> None:
    """The counts stand in the report of the run (--junit-xml); a reading without notes is rare."""
    notes = Counter(note.split(":")[0] for reading in readings for note in reading.notes)
    for note, times in notes.most_common():
        record_property(note, times)
    assert sum(notes.values()) >= len(readings)


def test_each_reading_is_said_in_words_without_a_bare_nan(readings: list[Reading]) -> None:
    for reading in readings:
        said = say(reading)
        assert " nan" not in said, reading.recording
        assert "None" not in said.replace("None.", "").replace("None seen", "").replace(
            "None recognised", ""
        ), reading.recording


def test_each_class_is_given_or_refused_with_reasons(readings: list[Reading]) -> None:
    for reading in readings:
        for one in reading.fetuses[0].classes:
            assert one.refusal if one.refused else one.reasons, (reading.recording, one.standard)


def test_no_reading_calls_a_window_without_signal_normal(readings: list[Reading]) -> None:
    """The best class of a standard rests on signal in every ten minutes of the window."""
    for reading in readings:
        fetal = reading.fetuses[0]
        if min(column.valid_share for column in fetal.review.columns) < 0.25:
            best = [one.standard for one in fetal.classes if one.rank == 0]
            assert not best, reading.recording


def test_history_hangs_on_the_window_s_end_and_ends_with_its_class(readings: list[Reading]) -> None:
    """One page, one answer: the last half hour of the history is the window that was read."""
    for reading in readings:
        fetal = reading.fetuses[0]
        ends = [point.end_s for point in fetal.history]
        expected = max(0, math.floor((reading.duration_s - 1800.0) / 600.0) + 1)
        assert len(ends) == expected
        assert np.allclose(np.diff(ends), 600.0)
        if ends:
            assert ends[-1] == reading.window.end_s
            assert fetal.history[-1].labels == {
                one.standard.value: one.said for one in fetal.classes
            }


def test_no_page_contradicts_itself(readings: list[Reading]) -> None:
    """One rule, one count: review, classes, class over time and the four lines say the same."""
    found = {
        (reading.recording, kind)
        for reading in readings
        for kind in contradictions(reading, reading.fetuses[0])
    }
    assert not found


def test_a_saved_reading_fits_the_schema_and_comes_back_the_same(readings: list[Reading]) -> None:
    validator = Draft202012Validator(json.loads(reading_schema()))
    for reading in readings[::23]:
        text = to_json(reading)
        validator.validate(json.loads(text))
        assert to_json(from_json(Reading, text)) == text
