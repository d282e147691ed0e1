"""The front door: what a researcher types first, and what it says when that is wrong."""

from __future__ import annotations

import pickle
import subprocess
import sys
from dataclasses import replace
from datetime import datetime
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import ebbline
from ebbline.criteria import TABLES
from ebbline.criteria.model import Standard
from ebbline.criteria.study import changeable
from ebbline.errors import ContextError, EbblineError, RecordingError

EXAMPLE = Path(__file__).parents[2] / "examples" / "labour.csv"


@pytest.fixture(scope="module")
def recording():
    return ebbline.open(EXAMPLE)


@pytest.fixture(scope="module")
def reading(recording):
    return ebbline.read(recording, window="last 30 min", weeks=39)


def test_importing_it_loads_none_of_the_heavy_parts():
    code = "import sys, ebbline; print({'numpy', 'numba', 'pandas'} & set(sys.modules))"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "set()"


def test_all_that_is_promised_is_there():
    assert all(hasattr(ebbline, name) for name in ebbline.__all__)
    with pytest.raises(AttributeError, match="no attribute 'nothing'"):
        ebbline.nothing  # noqa: B018


def test_windows_are_told_in_three_ways_and_mean_the_same(recording):
    ends = {
        (r.window.start_s, r.window.end_s)
        for r in (
            ebbline.read(recording, window, "figo", history=False)
            for window in ("0:30-1:00", (1800, 3600), [1800.0, 3600.0])
        )
    }
    assert ends == {(1800.0, 3600.0)}


@pytest.mark.parametrize(
    ("told", "where"),
    [
        ({"window": "the end"}, "window"),
        ({"window": (0, "x")}, "window"),
        ({"standards": ["category"]}, "standards"),
        ({"standards": ""}, "standards"),
        ({"stage": "third"}, "stage"),
        ({"wekes": 39}, "wekes"),
    ],
)
def test_a_wrong_argument_is_named(recording, told, where):
    with pytest.raises(ContextError) as caught:
        ebbline.read(recording, **told)
    assert caught.value.where == where
    assert caught.value.remedy


def test_a_source_that_is_none_is_named():
    with pytest.raises(ContextError, match="source"):
        ebbline.read(42)


def test_arrays_and_frames_of_the_same_samples_give_the_same_findings(recording, reading):
    frame = recording.to_frame()
    context = {"weeks": 39, "stage": "first", "oxytocin": True, "epidural": False}
    for made in (
        ebbline.from_frame(frame, rate_hz=4.0, **context),
        ebbline.from_arrays(frame["fhr"], frame["uc"], rate_hz=4.0, **context),
    ):
        again = ebbline.read(made, window="last 30 min")
        pd.testing.assert_frame_equal(
            ebbline.events(again).drop(columns="recording"),
            ebbline.events(reading).drop(columns="recording"),
        )


def test_an_index_of_times_tells_the_rate_and_the_start(recording):
    frame = recording.to_frame().iloc[:4800]
    frame.index = pd.date_range("2024-05-05 10:00", periods=4800, freq="250ms", tz="Europe/Prague")
    made = ebbline.from_frame(frame)
    assert made.channels[0].rate_hz == pytest.approx(4.0)
    assert made.start == frame.index[0].to_pydatetime()


def test_a_frame_that_does_not_tell_its_rate_is_refused():
    with pytest.raises(RecordingError, match="rate_hz"):
        ebbline.from_frame(pd.DataFrame({"fhr": np.full(100, 140.0)}))


def test_zero_is_missing_and_a_start_wants_its_zone():
    made = ebbline.from_arrays([140.0, 0.0, 141.0, 140.0] * 300, rate_hz=1.0)
    assert np.isnan(made.heart_rate().samples[1])
    with pytest.raises(ContextError, match="start"):
        ebbline.from_arrays([140.0], rate_hz=1.0, start=datetime(2024, 1, 1))


def test_a_crop_keeps_clock_and_stage(recording):
    part = recording.crop(600, 1800)
    assert part.duration_s == pytest.approx(1200)
    same = recording.heart_rate().samples[2400:7200]
    assert np.array_equal(part.heart_rate().samples, same, equal_nan=True)
    with pytest.raises(RecordingError, match="not a stretch"):
        recording.crop(100, 50)


def test_what_is_shown_in_a_notebook_is_short(recording, reading):
    assert len(repr(recording)) < 200
    assert len(repr(reading)) < 300
    page = reading._repr_html_()
    assert reading.fetuses[0].four_lines.class_line.split(".")[0] in page
    assert reading.caution in page


def test_many_files_and_one_that_is_none(tmp_path):
    found = ebbline.read_many([EXAMPLE, tmp_path / "nowhere.hea"], standards="figo,nice")
    assert set(found.classes["standard"]) == {"figo", "nice"}
    assert list(found.errors["source"]) == [str(tmp_path / "nowhere.hea")]
    assert ebbline.compare(found, found).empty
    other = ebbline.read_many([EXAMPLE], standards="figo,nice", window="0:00-0:24")
    assert ebbline.compare(found, other).empty, "other windows are not compared"


def test_examine_and_invent_take_words():
    result = ebbline.examine({"fundus": "breech", "back": "left"})
    assert result
    labour = ebbline.invent("39 weeks, recurrent late, 22 minutes", seed=3)
    assert labour.recording.duration_s == pytest.approx(22 * 60, abs=1)
    with pytest.raises(EbblineError):
        ebbline.invent("purple rain")


def test_a_reading_tells_lists_and_draws_itself(recording, reading):
    assert reading.summary() == ebbline.summary(reading)
    pd.testing.assert_frame_equal(reading.events(), ebbline.events(reading))
    assert reading.plot(speed=1).pages
    alone = pickle.loads(pickle.dumps(reading))
    with pytest.raises(ContextError, match="no samples"):
        alone.plot()


def test_equal_means_the_same_numbers(recording, reading):
    assert recording == ebbline.open(EXAMPLE)
    assert reading == pickle.loads(pickle.dumps(reading))
    assert recording != recording.crop(0, 1800)
    moved = replace(recording.channels[0], samples=recording.channels[0].samples + 1.0)
    assert recording != replace(recording, channels=(moved, *recording.channels[1:]))
    assert reading != ebbline.read(recording, window="last 20 min", weeks=39)


def test_a_limit_is_changed_for_a_study_and_its_name_tells_so_everywhere(recording):
    slow = ebbline.from_arrays(168.0 + _waves(), rate_hz=4.0, weeks=39, stage="first")
    study = ebbline.modified("figo", {"figo-baseline-tachycardia": 175})
    before, after = ebbline.read(slow, standards=["figo", study]).fetuses[0].classes
    tachycardia = "figo-baseline-tachycardia"
    assert tachycardia in {one.rule for one in before.reasons}
    assert tachycardia not in {one.rule for one in after.reasons}
    assert before.edition == "FIGO 2015"
    told = "FIGO 2015, modified: Tachycardia, baseline more than 175 bpm (published: more than 160"
    assert after.edition.startswith(told)
    both = ebbline.read(slow, standards=[study])
    assert told in " ".join(both.summary(full=True).split())
    assert told in both.fetuses[0].four_lines.class_line
    assert ebbline.read(slow, standards="figo").fetuses[0].classes[0] == before, "nothing lasts"


def test_a_study_changes_only_lines_that_a_class_asks_for():
    with pytest.raises(ContextError, match="no line of figo"):
        ebbline.modified("figo", {"figo-accelerations": 3})
    with pytest.raises(ContextError, match="is no limit"):
        ebbline.modified("figo", {"figo-baseline-tachycardia": float("nan")})


def test_a_line_that_is_only_stated_is_not_offered_for_change():
    """NICHD's variability is classed before its table is asked: a new limit would change words."""
    offered = changeable(Standard.NICHD)
    assert "nichd-tachycardia" in offered
    assert not any("variability" in line for line in offered)
    limits = {line: TABLES[Standard.NICHD].rule(line).threshold for line in offered}
    assert not any(np.isnan(limit) for limit in limits.values())


def _waves():
    time_s = np.arange(0.0, 1800.0, 0.25)
    return 6.0 * np.sin(2 * np.pi * time_s / 21.0) * np.sin(2 * np.pi * time_s / 97.0)
