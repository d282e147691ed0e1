"""What must hold for every recording, whatever is in it."""

from __future__ import annotations

import math
import re
from dataclasses import fields, is_dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Any

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.extra import numpy as hnp

from ebbline.codec import to_json
from ebbline.criteria.model import Standard
from ebbline.errors import EbblineError
from ebbline.features import detect
from ebbline.features.findings import Findings
from ebbline.reading.analyse import read
from ebbline.reading.model import Reading
from ebbline.reading.text import say
from ebbline.recording.model import Channel, ChannelKind, Context, Recording
from ebbline.synth import Story, invent
from ebbline.terms import SensorKind, Stage, Window

SLOW = settings(
    max_examples=60,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)

ANY_NUMBER = st.floats(width=64, allow_nan=True, allow_infinity=True)
HEART_RATE = st.one_of(st.floats(30.0, 250.0), st.just(math.nan))


def channel(
    kind: ChannelKind, values: st.SearchStrategy[float], fetus: int = 0
) -> st.SearchStrategy[Channel]:
    def made(
        pieces: list[tuple[float, int]], rate_hz: float, sensor: SensorKind, noise: float, seed: int
    ) -> Channel:
        level = np.repeat([value for value, _ in pieces], [times for _, times in pieces])
        rng = np.random.default_rng(seed)
        samples = level + noise * rng.standard_normal(len(level))
        return Channel(kind, samples.astype(np.float64), rate_hz, sensor, fetus)

    lengths = st.sampled_from([1, 7, 60, 240, 1000, 4000, 15000])
    pieces = st.lists(st.tuples(values, lengths), min_size=1, max_size=8)
    rates = st.sampled_from([4.0, 2.0, 1.0, 10.0, 3.7, 250.0])
    return st.builds(
        made,
        pieces,
        rates,
        st.sampled_from(SensorKind),
        st.sampled_from([0.0, 0.1, 3.0]),
        st.integers(0, 2**32 - 1),
    )


CONTEXTS = st.builds(
    Context,
    weeks=st.none() | ANY_NUMBER,
    stage=st.sampled_from(Stage),
    second_stage_start_s=st.none() | ANY_NUMBER,
    oxytocin=st.none() | st.booleans(),
)
WINDOWS = (
    st.none()
    | st.builds(Window, ANY_NUMBER, ANY_NUMBER)
    | st.builds(Window, st.floats(0, 2000), st.floats(0, 6000))
)


def _read_or_named_error(recording: Recording, context: Context, window: Window | None) -> None:
    try:
        reading = read(recording, context=context, window=window, standards=tuple(Standard))
    except EbblineError as error:
        assert error.what
        return
    assert to_json(reading)
    assert " nan" not in say(replace(reading, notes=()))


@SLOW
@given(
    fetal=st.lists(
        channel(ChannelKind.FETAL_HEART_RATE, HEART_RATE | ANY_NUMBER, fetus=1),
        min_size=1,
        max_size=2,
    ),
    uterine=st.none() | channel(ChannelKind.UTERINE_ACTIVITY, ANY_NUMBER),
    mother=st.none() | channel(ChannelKind.MATERNAL_HEART_RATE, ANY_NUMBER),
    context=CONTEXTS,
    window=WINDOWS,
)
def test_no_recording_raises_other_than_our_named_errors(
    fetal: list[Channel],
    uterine: Channel | None,
    mother: Channel | None,
    context: Context,
    window: Window | None,
) -> None:
    numbered = [replace(one, fetus=number + 1) for number, one in enumerate(fetal)]
    channels = [*numbered, *(one for one in (uterine, mother) if one is not None)]
    _read_or_named_error(Recording("any", tuple(channels)), context, window)


@SLOW
@given(
    samples=hnp.arrays(np.float64, st.integers(0, 8000), elements=HEART_RATE, fill=HEART_RATE),
    rate_hz=st.sampled_from([4.0, 1.0, 0.5, 7.0]),
)
def test_no_length_and_no_pattern_of_gaps_raises(samples: np.ndarray, rate_hz: float) -> None:
    fetal = Channel(ChannelKind.FETAL_HEART_RATE, samples, rate_hz, fetus=1)
    _read_or_named_error(Recording("any", (fetal,)), Context(), None)


@given(rate_hz=ANY_NUMBER, count=st.integers(0, 90))
@settings(deadline=None)
def test_no_sampling_rate_raises_other_than_our_named_errors(rate_hz: float, count: int) -> None:
    fetal = Channel(ChannelKind.FETAL_HEART_RATE, np.full(count, 140.0), rate_hz, fetus=1)
    _read_or_named_error(Recording("any", (fetal,)), Context(), None)


@pytest.mark.parametrize("shape", [(0,), (1,), (3, 4), (2, 2, 2), ()])
def test_samples_of_any_shape_are_read_or_refused_by_name(shape: tuple[int, ...]) -> None:
    fetal = Channel(ChannelKind.FETAL_HEART_RATE, np.full(shape, 140.0), 4.0, fetus=1)
    _read_or_named_error(Recording("any", (fetal,)), Context(), None)


# ---------------------------------------------------------------- what moves with the trace


WORDS = [
    "recurrent late, minimal variability, electrode, good signal",
    "recurrent variable, electrode, good signal",
    "tachysystole, electrode, good signal",
    "normal, electrode, good signal",
]
"""With a clean signal: what is out of range, or half of its neighbourhood, depends on the level."""


def labour(words: str, seed: int, hours: float = 1.5) -> Recording:
    (chapter,) = Story.from_words(words).chapters
    return invent(Story((replace(chapter, hours=hours),)), seed).recording


def shifted(recording: Recording, bpm: float) -> Recording:
    """The same with a constant added to the fetal heart rate."""
    return replace(
        recording,
        channels=tuple(
            replace(one, samples=one.samples + bpm)
            if one.kind is ChannelKind.FETAL_HEART_RATE
            else one
            for one in recording.channels
        ),
    )


def differences(one: Any, other: Any, name: str = "") -> list[str]:
    """Fields in which two findings differ by more than the rounding of an addition."""
    if is_dataclass(one):
        found = []
        for field in fields(one):
            found += differences(
                getattr(one, field.name), getattr(other, field.name), f"{name}.{field.name}"
            )
        return found
    if isinstance(one, tuple):
        if len(one) != len(other):
            return [f"{name}: {len(one)} and {len(other)}"]
        found = []
        for number, (left, right) in enumerate(zip(one, other, strict=True)):
            found += differences(left, right, f"{name}[{number}]")
        return found
    if isinstance(one, (float, np.ndarray)):
        same = np.allclose(one, other, rtol=1e-6, atol=1e-6, equal_nan=True)
        return [] if same else [f"{name}: {one} and {other}"]
    return [] if one == other else [f"{name}: {one} and {other}"]


@settings(max_examples=12, deadline=None)
@given(
    words=st.sampled_from(WORDS),
    seed=st.integers(1, 10_000),
    later=st.timedeltas(timedelta(0), timedelta(days=3)),
)
def test_shifting_the_start_moves_the_clock_and_nothing_else(
    words: str, seed: int, later: timedelta
) -> None:
    recording = labour(words, seed, hours=0.7)
    start = datetime(2031, 5, 4, 22, 10, tzinfo=UTC)
    one = read(replace(recording, start=start))
    other = read(replace(recording, start=start + later))
    assert to_json(_without_clock(one)) == to_json(_without_clock(other))


@settings(max_examples=20, deadline=None, derandomize=True)
@given(
    words=st.sampled_from(WORDS),
    seed=st.integers(1, 10_000),
    bpm=st.sampled_from([-8.0, -3.0, 4.0, 10.0]),
)
def test_adding_a_constant_to_the_rate_moves_the_levels_and_no_event(
    words: str, seed: int, bpm: float
) -> None:
    """Whole bpm, because the baseline is sought on whole levels."""
    recording = labour(words, seed)
    one, other = detect(recording), detect(shifted(recording, bpm))
    assert differences(one.uterine, other.uterine) == []
    assert differences(_lowered(other, bpm), _lowered(one, 0.0)) == []


def _lowered(findings: Findings, bpm: float) -> Any:
    """Events and levels of the findings with bpm taken off the levels.

    Left out is what depends on the level itself by its nature: the rounding to 5 bpm, and
    short-term variation, which is measured in intervals, and how certain an event is, for
    at a level that could be the mother's, or twice another, it is doubted.
    """
    fetal = findings.fetal
    return (
        tuple(
            replace(a, baseline_bpm=a.baseline_bpm - bpm, certainty=0.0)
            for a in fetal.accelerations
        ),
        tuple(
            replace(
                d, baseline_bpm=d.baseline_bpm - bpm, nadir_bpm=d.nadir_bpm - bpm, certainty=0.0
            )
            for d in fetal.decelerations
        ),
        tuple(replace(b, bpm=0.0, mean_bpm=b.mean_bpm - bpm) for b in fetal.baseline),
        tuple(replace(v, stv_ms=0.0) for v in fetal.variability),
        replace(fetal.baseline_curve, values=fetal.baseline_curve.values - bpm),
        fetal.bandwidth,
        fetal.valid,
    )


# ---------------------------------------------------------------- splitting


QUIET = (
    "recurrent late, 40 minutes then normal, no contractions, no accelerations, 40 minutes then "
    "recurrent variable, 40 minutes"
)
SPLIT_S = 3600.0


def part(recording: Recording, start_s: float, end_s: float) -> Recording:
    return replace(
        recording,
        channels=tuple(
            replace(one, samples=one.samples[int(start_s * one.rate_hz) : int(end_s * one.rate_hz)])
            for one in recording.channels
        ),
    )


Event = tuple[object, float, float, float]


def _events(findings: Findings, shift_s: float = 0.0) -> list[Event]:
    """Kind, onset, end and size of each event."""
    falls = [(d.kind, d.onset_s, d.end_s, d.depth_bpm) for d in findings.fetal.decelerations]
    rises = [("rise", a.onset_s, a.end_s, a.height_bpm) for a in findings.fetal.accelerations]
    return [(kind, on + shift_s, end + shift_s, size) for kind, on, end, size in falls + rises]


def _missed(ones: list[Event], others: list[Event]) -> int:
    """Events of the first without one of the same kind, times (5 s) and size (2 bpm) in the
    second."""
    return sum(
        not any(
            one[0] == other[0]
            and one[1:3] == pytest.approx(other[1:3], abs=5.0)
            and one[3] == pytest.approx(other[3], abs=2.0)
            for other in others
        )
        for one in ones
    )


def test_splitting_at_a_quiet_place_gives_the_same_findings() -> None:
    """Baseline to 1 bpm and contractions exactly; of the events, 98 in 100 or more.

    The level is sought over the whole recording, so an event close to a threshold may fall to its
    other side.
    """
    events = missed = 0
    for seed in range(1, 13):
        recording = invent(Story.from_words(QUIET), seed).recording
        # All on one grid: it would hang on the first signal of each part.
        whole = detect(recording, grid_from_s=0.0)
        before = detect(part(recording, 0.0, SPLIT_S), grid_from_s=0.0)
        after = detect(part(recording, SPLIT_S, recording.duration_s), grid_from_s=0.0)

        once, split = _events(whole), _events(before) + _events(after, SPLIT_S)
        events += len(once) + len(split)
        missed += _missed(once, split) + _missed(split, once)
        peaks = [c.peak_s for c in whole.uterine.contractions]
        split_peaks = [c.peak_s for c in before.uterine.contractions]
        split_peaks += [c.peak_s + SPLIT_S for c in after.uterine.contractions]
        loud = [[t for t in one if not 2400.0 < t < 4800.0] for one in (peaks, split_peaks)]
        assert loud[0] == pytest.approx(loud[1], abs=2.0)
        levels = [b.mean_bpm for b in (*before.fetal.baseline, *after.fetal.baseline)]
        assert [b.mean_bpm for b in whole.fetal.baseline] == pytest.approx(
            levels, abs=1.0, nan_ok=True
        )
    assert events > 500
    assert missed <= 0.02 * events


_TIME = re.compile(r"\d\d:\d\d:\d\d( \(day \d\))?")


def _without_clock(reading: Reading) -> Reading:
    """The reading without its start and without the times that its four lines say by the clock."""
    fetuses = []
    for one in reading.fetuses:
        assert one.four_lines is not None
        said = {
            line.name: _TIME.sub("a time", getattr(one.four_lines, line.name))
            for line in fields(one.four_lines)
            if isinstance(getattr(one.four_lines, line.name), str)
        }
        fetuses.append(replace(one, four_lines=replace(one.four_lines, **said)))
    return replace(reading, start="", fetuses=tuple(fetuses))
