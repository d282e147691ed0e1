"""What must hold for any trace: worse findings never make a better class, times are only times,
and missing signal never reassures."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from criteria.build import (
    MINUTE,
    Trace,
    acceleration,
    contractions,
    early,
    judged,
    late,
    sinusoidal,
    variable,
)
from ebbline.criteria.model import Classification, Reason, Standard
from ebbline.terms import Window

LABOUR = (Standard.NICHD, Standard.FIGO, Standard.NICE)
SQUEEZES = contractions(90, every_s=180.0)
WINDOWS = st.tuples(st.integers(0, 50), st.integers(30, 40))


def nines(normal: float, *others: float) -> st.SearchStrategy[list[float]]:
    """A value for each ten minutes: normal throughout, or here and there another."""
    mixed = st.lists(st.sampled_from((normal, normal, *others)), min_size=9, max_size=9)
    return st.one_of(st.just([normal] * 9), st.just([normal] * 9), mixed)


@st.composite
def traces(draw: st.DrawFn) -> Trace:
    """Ninety minutes: often normal in most, sometimes with anything the detectors could find."""
    likely = draw(st.sampled_from(("." * 40 + "elvc", "......eelv", "....eelvvc", ".ll", ".c")))
    kinds = draw(st.lists(st.sampled_from(likely), min_size=len(SQUEEZES), max_size=len(SQUEEZES)))
    widths = draw(nines(12.0, 1.0, 4.0, 20.0))
    levels = draw(nines(135.0, 95.0, 105.0, 150.0, 165.0))
    lost = draw(nines(1.0, 0.7, 0.2))
    rises = draw(st.lists(st.integers(1, 88), max_size=4, unique=True))
    sine = draw(st.sampled_from((0, 0, 0, 0, 0, 15, 25, 35)))
    make: dict[str, Callable[..., object]] = {
        "e": early,
        "l": late,
        "v": variable,
        "c": lambda one: variable(one, duration_s=90.0),
    }
    falls = [make[kind](one) for kind, one in zip(kinds, SQUEEZES, strict=True) if kind != "."]
    return Trace(
        minutes=90,
        uterus=SQUEEZES,
        decelerations=tuple(falls),  # type: ignore[arg-type]
        accelerations=tuple(acceleration(minute * MINUTE) for minute in rises),
        bandwidth=tuple(np.repeat(widths, 10).tolist()),
        baseline=tuple(levels),
        valid=tuple(np.repeat(lost, 10).tolist()),
        undulation=(sinusoidal(3000.0, 3000.0 + sine * MINUTE),) if sine else (),
    )


def window_of(draw: tuple[int, int]) -> Window:
    start, length = draw
    return Window(start * MINUTE, (start + length) * MINUTE)


def badness(found: Classification) -> float:
    """The rank; a refusal is as bad as what it says was seen at least."""
    if not found.refused:
        return found.rank
    return 1.0 if found.at_least else 0.0


def longer(trace: Trace, at: int) -> Trace:
    """One deceleration lasts a minute longer."""
    return _changed(trace, at, lambda fall: _lengthened(fall, 60.0))


def deeper(trace: Trace, at: int) -> Trace:
    return _changed(
        trace,
        at,
        lambda fall: replace(fall, depth_bpm=fall.depth_bpm + 40, nadir_bpm=fall.nadir_bpm - 40),
    )


def flatter_within(trace: Trace, at: int) -> Trace:
    return _changed(trace, at, lambda fall: replace(fall, variability_within_bpm=2.0))


def early_to_late(trace: Trace, at: int) -> Trace:
    """An early deceleration comes late instead."""
    falls = list(trace.decelerations)
    early_ones = [i for i, fall in enumerate(falls) if fall.kind.value == "early"]
    if early_ones:
        chosen = early_ones[at % len(early_ones)]
        its = next(o for o in SQUEEZES if abs(o.peak_s - falls[chosen].nadir_s) < 1e-6)
        falls[chosen] = late(its)
    return replace(trace, decelerations=tuple(falls))


def one_more(trace: Trace, at: int) -> Trace:
    """One more late deceleration, with a contraction that had none."""
    taken = {round(fall.nadir_s - fall.lag_s) for fall in trace.decelerations}
    free = [one for one in SQUEEZES if round(one.peak_s) not in taken]
    if not free:
        return trace
    return replace(trace, decelerations=(*trace.decelerations, late(free[at % len(free)])))


def less_variability(trace: Trace, at: int) -> Trace:
    """Ten minutes with less variability."""
    band = list(trace.bandwidth)
    for minute in range(at % 9 * 10, at % 9 * 10 + 10):
        band[minute] = {20.0: 4.0, 12.0: 4.0, 4.0: 1.0, 1.0: 1.0}[band[minute]]
    return replace(trace, bandwidth=tuple(band))


def further_baseline(trace: Trace, at: int) -> Trace:
    """All baselines 10 bpm further from 140, each to its own side."""
    moved = tuple(bpm + math.copysign(10.0, bpm - 140.0) for bpm in trace.baseline)
    return replace(trace, baseline=moved)


def longer_sine(trace: Trace, at: int) -> Trace:
    return replace(
        trace, undulation=tuple(replace(o, end_s=o.end_s + 600.0) for o in trace.undulation)
    )


def _lengthened(fall: object, by_s: float) -> object:
    from ebbline.features.findings import DecelerationKind

    made = replace(fall, end_s=fall.end_s + by_s, return_s=fall.return_s + by_s)  # type: ignore
    if made.duration_s >= 120.0:  # type: ignore[attr-defined]
        made = replace(made, kind=DecelerationKind.PROLONGED)
    return made


def _changed(trace: Trace, at: int, change: Callable[..., object]) -> Trace:
    falls = list(trace.decelerations)
    if falls:
        falls[at % len(falls)] = change(falls[at % len(falls)])  # type: ignore[call-overload]
    return replace(trace, decelerations=tuple(falls))


WORSENINGS = (
    longer,
    deeper,
    flatter_within,
    early_to_late,
    one_more,
    less_variability,
    longer_sine,
    further_baseline,
)


@pytest.mark.parametrize("worsen", WORSENINGS, ids=lambda function: function.__name__)
@pytest.mark.parametrize("standard", LABOUR)
@settings(max_examples=60, deadline=None)
@given(trace=traces(), at=st.integers(0, 40), where=WINDOWS)
def test_worse_findings_never_make_a_better_class(
    worsen: Callable[[Trace, int], Trace],
    standard: Standard,
    trace: Trace,
    at: int,
    where: tuple[int, int],
) -> None:
    """Every table is a list of what is worse than normal (Macones 2008; FIGO 2015; NG229)."""
    window = window_of(where)
    before = judged(standard, trace.findings(), window=window)
    after = judged(standard, worsen(trace, at).findings(), window=window)
    assert badness(after) >= badness(before), (before.decided_by, after.decided_by)


@pytest.mark.parametrize("standard", LABOUR)
@settings(max_examples=60, deadline=None)
@given(trace=traces(), where=WINDOWS)
def test_losing_the_activity_channel_never_reassures(
    standard: Standard, trace: Trace, where: tuple[int, int]
) -> None:
    window = window_of(where)
    with_it = judged(standard, trace.findings(), window=window)
    without = judged(standard, replace(trace, present=False).findings(), window=window)
    if with_it.rank != 0:
        assert without.rank != 0


@pytest.mark.parametrize("standard", LABOUR)
@settings(max_examples=60, deadline=None)
@given(trace=traces(), where=WINDOWS, ten=st.integers(0, 8))
def test_losing_ten_minutes_of_signal_never_gives_the_best_class(
    standard: Standard, trace: Trace, where: tuple[int, int], ten: int
) -> None:
    """Ten minutes that lie in the window and cannot be read keep from it."""
    window = window_of(where)
    start_s = ten * 600.0
    if start_s < window.start_s or start_s + 600.0 > window.end_s:
        return
    valid = list(trace.valid)
    valid[ten * 10 : ten * 10 + 10] = [0.1] * 10
    found = judged(standard, replace(trace, valid=tuple(valid)).findings(), window=window)
    assert found.rank != 0


@pytest.mark.parametrize("standard", LABOUR)
@settings(max_examples=60, deadline=None)
@given(trace=traces(), where=WINDOWS, by_min=st.integers(1, 200))
def test_a_later_start_moves_times_and_nothing_else(
    standard: Standard, trace: Trace, where: tuple[int, int], by_min: int
) -> None:
    window = window_of(where)
    by_s = by_min * MINUTE
    moved = Window(window.start_s + by_s, window.end_s + by_s)
    here = judged(standard, trace.findings(), window=window)
    there = judged(standard, trace.moved(by_s).findings(), window=moved)
    assert (there.label, there.rank, there.decided_by) == (here.label, here.rank, here.decided_by)
    assert [_timeless(r) for r in there.reasons] == [_timeless(r) for r in here.reasons]
    for a, b in zip(here.reasons, there.reasons, strict=True):
        for before, after in zip(a.evidence, b.evidence, strict=True):
            assert after.start_s - before.start_s == pytest.approx(by_s, abs=1e-6)
            assert after.end_s - before.end_s == pytest.approx(by_s, abs=1e-6)


def _timeless(reason: Reason) -> tuple[object, ...]:
    value = None if math.isnan(reason.value) else round(reason.value, 6)
    return reason.rule, reason.level, value


@pytest.mark.parametrize("standard", list(Standard))
@settings(max_examples=60, deadline=None)
@given(trace=traces(), where=WINDOWS, present=st.booleans())
def test_every_answer_is_a_class_or_a_refusal_with_reasons(
    standard: Standard, trace: Trace, where: tuple[int, int], present: bool
) -> None:
    found = judged(standard, replace(trace, present=present).findings(), window=window_of(where))
    assert found.refused == bool(found.refusal) == (found.label == "no class")
    assert (not found.refused or bool(found.at_least)) == bool(found.decided_by)
    assert set(found.decided_by) <= {reason.rule for reason in found.reasons}
    assert all(reason.citation and reason.text.endswith(".") for reason in found.reasons)
