"""Prompts to look: each once, for what it says, and passed on when nobody answers."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, datetime
from itertools import pairwise
from pathlib import Path
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest

from ebbline.criteria.model import Classification
from ebbline.errors import PolicyError
from ebbline.live.bed import WatchedBed
from ebbline.live.bed_reader import Pace, Step
from ebbline.live.notice_policy import KINDS, load_notices
from ebbline.live.notices import NoticeWatch, Overdue, Seen
from ebbline.live.sample_store import Labour, Notice, Piece
from ebbline.recording.model import ChannelKind, Context
from ebbline.terms import SensorKind
from features.constructed import Trace
from reading import made

PACE = Pace(step_s=20.0)
"""Fewer steps than the pages see, so that the tests are quick."""

LABOUR = Labour("x", "Bed 1", "C-1", datetime(2030, 5, 1, 22, 0, tzinfo=UTC), Context(weeks=39.0))


def watched(
    trace: Trace, until_min: float | None = None, bed: WatchedBed | None = None
) -> tuple[WatchedBed, list[Notice]]:
    """A trace read live, with all notices it raised."""
    bed = bed or WatchedBed(LABOUR, load_notices(), pace=PACE)
    recording = trace.recording()
    raised: list[Notice] = []
    for c in recording.channels:
        bed.receive(Piece("x", c.kind, c.fetus, c.sensor, c.rate_hz, 0, c.samples))
    end_s = recording.duration_s if until_min is None else until_min * 60.0
    for at_s in np.arange(bed.reader.read_to_s + 20.0, end_s + 1.0, 20.0):
        update = bed.advance(float(at_s) + 2.0)
        raised += update.raised if update else ()
    return bed, raised


def of(kind: str, notices: Sequence[Notice]) -> list[tuple[str, float]]:
    return [(one.grade, one.at_s) for one in notices if one.kind == kind]


def test_a_prolonged_fall_is_told_as_it_passes_2_3_5_and_9_minutes_and_never_again() -> None:
    trace = Trace(60, baseline=145).contractions(180).excursion(2400, 20, 9.6 * 60, 20, -70)
    _, raised = watched(trace)
    told = of("prolonged-fall", raised)
    assert [grade for grade, _ in told] == ["2 min", "3 min", "5 min", "9 min"]
    for (_, at_s), minutes in zip(told, (2, 3, 5, 9), strict=True):
        assert at_s - 2400.0 == pytest.approx(minutes * 60.0, abs=30.0)


def test_a_second_fall_is_told_as_the_first_was() -> None:
    trace = Trace(60, baseline=145).contractions(180)
    trace.excursion(2000, 15, 130, 15, -60).excursion(2900, 15, 130, 15, -60)
    _, raised = watched(trace)
    assert [grade for grade, _ in of("prolonged-fall", raised)] == ["2 min", "2 min"]


def test_a_fall_that_came_and_went_while_nothing_was_read_is_told_once_afterwards() -> None:
    trace = Trace(60, baseline=145).contractions(180).excursion(1500, 15, 210, 15, -60)
    bed, _ = watched(trace, until_min=24.0)
    found = [bed.advance(at_s + 2.0) for at_s in (3000.0, 3020.0, 3060.0)]
    late = [one for update in found if update for one in update.raised]
    [one] = [one for one in late if one.kind == "prolonged-fall"]
    assert (one.grade, one.at_s) == ("3 min", 1800.0)
    assert one.from_s == pytest.approx(1500.0, abs=15.0)
    assert "told late" in one.text


def test_a_steady_trace_raises_nothing() -> None:
    _, raised = watched(Trace(90).contractions(200))
    assert raised == []


def test_lost_signal_is_told_after_its_time_and_again_only_after_the_set_one() -> None:
    trace = Trace(70).contractions(200).lose(1800, 4000)
    _, raised = watched(trace)
    told = of("signal-lost", raised)
    assert [grade for grade, _ in told][:2] == ["3 min", "10 min"]
    assert told[0][1] == pytest.approx(1800 + 180, abs=20)
    ten = [at_s for grade, at_s in told if grade == "10 min"]
    assert all(b - a >= 15 * 60 for a, b in pairwise(ten)) and len(ten) == 2


def test_low_baseline_is_told_after_ten_minutes_of_it() -> None:
    _, raised = watched(Trace(40, baseline=97).contractions(200))
    told = of("bradycardia", raised)
    assert told and told[0][0] == "10 min under 100" and told[0][1] >= 600.0


def test_tachysystole_is_told() -> None:
    _, raised = watched(Trace(45).contractions(85))
    assert [grade for grade, _ in of("tachysystole", raised)] == ["0 min"]


def test_a_worse_class_is_told_once_it_has_held() -> None:
    trace = Trace(90).contractions(180)
    for onset in range(3000, 5200, 180):
        trace.excursion(onset + 60, 15, 50, 20, -45)
    _, raised = watched(trace)
    told = [one for one in raised if one.kind == "class-worsened"]
    assert told and told[0].at_s - told[0].from_s >= 180.0
    assert "it was" in told[0].text
    assert len(told) <= 2, "once for each class that is worse"


def test_a_class_that_is_certain_at_least_is_worse_than_a_better_one_that_was_given() -> None:
    """Loss may withhold the class; that it is at least suspicious is told all the same, and a
    window without a class never counts as better again."""
    watch = NoticeWatch("x", load_notices(), [])
    normal = made.classification(label="normal", rank=0, reasons=(), decided_by=())
    least = made.classification(label="no class", rank=-1, at_least="suspicious", refusal=("x",))

    def told(one: Classification, at_s: float) -> list[str]:
        step = SimpleNamespace(at_s=at_s, fetuses=(made.fetal(classes=(one,)),))
        return [seen.text for seen in watch._worsened(cast("Step", step))]

    assert told(normal, 0.0) == told(least, 60.0) == []
    assert told(least, 600.0) == ["at least suspicious for 9 min; it was normal."]
    assert [told(least, at_s) for at_s in (1200.0, 4000.0, 9000.0)] == [[], [], []]
    assert told(replace(least, at_least="", reasons=()), 9000.0) == []


def test_a_fall_seen_to_begin_later_is_not_told_again_for_less_than_was_told() -> None:
    """A process that takes over may see the fall begin later, where the signal was lost."""
    told = Notice("x", "prolonged-fall", "3 min", 3000.0, 3180.0, "now", "t", "r", id=1)
    rule = load_notices().rule("prolonged-fall")
    assert rule is not None
    watch = NoticeWatch("x", load_notices(), [told])
    later = Seen("prolonged-fall", 3090.0, 130.0, "t")
    [two, three, five, _] = rule.grades
    assert not watch._is_new(rule, two, later, 3220.0)
    assert not watch._is_new(rule, three, replace(later, lasting_s=190.0), 3280.0)
    assert watch._is_new(rule, five, replace(later, lasting_s=310.0), 3400.0)
    assert watch._is_new(rule, two, replace(later, from_s=3600.0), 3730.0), "another fall"


def test_a_process_that_takes_over_raises_nothing_twice() -> None:
    trace = Trace(60, baseline=145).contractions(180).excursion(2400, 20, 6 * 60, 20, -70)
    first, raised = watched(trace, 45.5)
    assert len(of("prolonged-fall", raised)) == 3
    heir = WatchedBed(LABOUR, load_notices(), kept=tuple(raised), memory={}, pace=PACE)
    _, again = watched(trace, None, heir)
    assert of("prolonged-fall", again) == []
    assert first.labour == heir.labour


def test_an_overdue_review_is_told_by_its_name_after_the_set_time() -> None:
    bed = WatchedBed(LABOUR, load_notices(), pace=PACE)
    bed.overdue = (Overdue("The trace", 1200.0),)
    _, raised = watched(Trace(40).contractions(200), 40, bed)
    (told,) = [one for one in raised if one.kind == "review-overdue"]
    assert told.at_s == pytest.approx(1500.0, abs=20) and "The trace" in told.text


def test_what_nobody_answers_is_passed_on_after_its_time() -> None:
    asked = Notice("x", "prolonged-fall", "2 min", 0.0, 120.0, "soon", "t", "r", id=1)
    watch = NoticeWatch("x", load_notices(), [asked])
    assert watch.unanswered(120.0 + 119.0) == ()
    assert watch.unanswered(120.0 + 120.0) == (asked,)
    watch.note(replace(asked, acknowledged_at=LABOUR.started_at, acknowledged_by="Kim"))
    assert watch.unanswered(900.0) == ()


def test_every_limit_of_the_policy_has_a_source_and_every_kind_a_rule() -> None:
    policy = load_notices()
    assert {one.kind for one in policy.rules} == set(KINDS)
    assert all(grade.source and grade.rule for one in policy.rules for grade in one.grades)


@pytest.mark.parametrize(
    ("change", "line"),
    [("after_min: 2,", "after_min: soon,"), ("kind", ""), ("urgency: soon", "urgency: red")],
)
def test_a_broken_policy_says_which_line(tmp_path: Path, change: str, line: str) -> None:
    from importlib import resources

    text = resources.files("ebbline.live.policies").joinpath("notices.yaml").read_text("utf-8")
    broken = text.replace(change, line) if line else text.replace("  tachysystole:", "  storm:")
    path = tmp_path / "own.yaml"
    path.write_text(broken)
    with pytest.raises(PolicyError, match="line "):
        load_notices(path)


def test_a_maternal_rate_is_told_from_the_coincidence_with_her_pulse() -> None:
    trace = Trace(40, baseline=140).contractions(200)
    bed = WatchedBed(LABOUR, load_notices(), pace=PACE)
    pulse = np.full(len(trace.bpm), 84.0) + np.round(np.sin(trace.seconds / 9.0) * 2)
    trace.bpm[1500 * 4 : 1680 * 4] = pulse[1500 * 4 : 1680 * 4]
    her = ChannelKind.MATERNAL_HEART_RATE
    bed.receive(Piece("x", her, 0, SensorKind.MATERNAL_PULSE, 4.0, 0, pulse))
    _, raised = watched(trace, None, bed)
    told = of("mother-suspected", raised)
    assert len(told) == 1 and 1530 <= told[0][1] <= 1620


def test_a_bed_from_which_nothing_ever_came_is_told_after_its_time() -> None:
    bed = WatchedBed(LABOUR, load_notices(), pace=PACE)
    raised: list[Notice] = []
    for at_s in np.arange(20.0, 1300.0, 20.0):
        update = bed.advance(float(at_s) + 2.0)
        raised += update.raised if update else ()
    assert of("signal-lost", raised) == [("3 min", 180.0), ("10 min", 600.0)]
    assert "has come from this bed since" in raised[0].text
    assert bed.state["fetuses"] == [] and bed.state["level"] == "not assessed"


def test_a_bed_that_begins_to_send_late_is_read_from_its_first_sample_on() -> None:
    bed = WatchedBed(LABOUR, load_notices(), pace=PACE)
    for at_s in np.arange(20.0, 400.0, 20.0):
        bed.advance(float(at_s) + 2.0)
    _, raised = watched(Trace(40).contractions(200).lose(0, 400), 40, bed)
    assert of("signal-lost", raised) == []
    assert bed.state["fetuses"][0]["rate_bpm"] is not None


def test_contractions_without_any_heart_rate_are_no_trace_of_a_fetus() -> None:
    bed = WatchedBed(LABOUR, load_notices(), pace=PACE)
    toco = Trace(20).contractions(180).recording().first(ChannelKind.UTERINE_ACTIVITY)
    assert toco is not None
    bed.receive(Piece("x", toco.kind, toco.fetus, toco.sensor, toco.rate_hz, 0, toco.samples))
    raised: list[Notice] = []
    for at_s in np.arange(20.0, 700.0, 20.0):
        update = bed.advance(float(at_s) + 2.0)
        raised += update.raised if update else ()
    assert [grade for grade, _ in of("signal-lost", raised)] == ["3 min", "10 min"]


@pytest.mark.parametrize(
    ("began_s", "whole_shows_it", "prompts"),
    [(3200.0, False, []), (3200.0, True, ["5 min", "9 min"]), (3500.0, False, ["3 min"])],
)
def test_an_old_fall_that_only_the_last_minutes_show_waits_for_the_whole_reading(
    monkeypatch: pytest.MonkeyPatch, began_s: float, whole_shows_it: bool, prompts: list[str]
) -> None:
    # Of a long rise the last minutes alone may hold the end only, and take it for the baseline.
    def seen(step: Step, *_: object) -> tuple[Seen, ...]:
        if step.full and not whole_shows_it:
            return ()
        return (Seen("prolonged-fall", began_s, step.at_s - began_s, "Fell."),)

    monkeypatch.setattr("ebbline.live.notices.seen", seen)
    watch = NoticeWatch("x", load_notices())
    clock = WatchedBed(LABOUR, load_notices(), pace=PACE).clock
    normal = made.classification(label="normal", rank=0, reasons=(), decided_by=())
    told: list[str] = []
    for at_s, full in ((3600.0, True), (3750.0, False)):
        step = SimpleNamespace(at_s=at_s, full=full, fetuses=(made.fetal(classes=(normal,)),))
        told += [one.grade for one in watch.raise_for(cast("Step", step), clock)]
    assert told == prompts
