"""Recordings and files made for the tests: plumbing only, no claim about labour."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta, timezone

import numpy as np
from hypothesis import strategies as st

from ebbline.recording import (
    Annotation,
    Channel,
    ChannelKind,
    Context,
    Provenance,
    Recording,
)
from ebbline.terms import SensorKind, Stage

FETAL = ChannelKind.FETAL_HEART_RATE
ACTIVITY = ChannelKind.UTERINE_ACTIVITY
MATERNAL = ChannelKind.MATERNAL_HEART_RATE


def labour(minutes: float = 2.0) -> Recording:
    """Twins with a gap, a catheter at another rate, the mother's pulse, and all that is known."""
    seconds = int(minutes * 60)
    t = np.arange(seconds * 4) / 4
    first = np.round(140 + 8 * np.sin(t / 7), 2)
    first[40:120] = np.nan
    second = np.round(150 + 5 * np.cos(t / 5), 2)
    pressure = np.round(10 + 40 * np.maximum(0, np.sin(np.arange(seconds) / 30)), 1)
    pulse = np.round(80 + np.sin(t), 2)
    return Recording(
        name="made",
        channels=(
            Channel(FETAL, first, 4.0, SensorKind.ULTRASOUND, 1, "bpm", "FHR1"),
            Channel(FETAL, second, 4.0, SensorKind.SCALP_ELECTRODE, 2, "bpm", "FHR2"),
            Channel(ACTIVITY, pressure, 1.0, SensorKind.PRESSURE_CATHETER, 0, "mmHg", "UC"),
            Channel(MATERNAL, pulse, 4.0, SensorKind.MATERNAL_PULSE, 0, "bpm", "MHR"),
        ),
        start=datetime(2031, 3, 9, 23, 58, 1, 250_000, timezone(timedelta(hours=1))),
        context=Context(37.0, Stage.FIRST, 60.0, True, False, 2, True, False),
        provenance=Provenance("", "", ("made for a test.",), {"pH": 7.2, "Apgar5": 9.0}),
        annotations=(
            Annotation(12.5, 0.0, "vaginal examination"),
            Annotation(30.0, 20.25, "turned to the left side; pulse checked"),
        ),
    )


def plain(samples: list[float] | np.ndarray, rate_hz: float = 4.0) -> Recording:
    """One fetal heart rate."""
    return Recording("plain", (Channel(FETAL, np.asarray(samples, float), rate_hz, fetus=1),))


def assert_same(one: Recording, other: Recording) -> None:
    """Samples bit for bit, and everything that is known."""
    assert len(one.channels) == len(other.channels)
    for a, b in zip(one.channels, other.channels, strict=True):
        np.testing.assert_array_equal(a.samples, b.samples)
        assert (a.kind, a.fetus, a.sensor, a.unit) == (b.kind, b.fetus, b.sensor, b.unit)
        assert a.rate_hz == b.rate_hz
    assert one.start == other.start
    assert one.context == other.context
    assert one.provenance.outcome == other.provenance.outcome
    assert sorted(one.annotations, key=str) == sorted(other.annotations, key=str)


RATES = (4.0, 1.0, 2.0, 0.5, 8.0, 3.7, 1 / 3, 50 / 13, 100.0)
TEXT = st.text(
    st.characters(codec="utf-8", categories=("L", "N", "P")), min_size=1, max_size=12
).filter(lambda text: not text.startswith("Ebbline"))


def _samples(low: float, high: float, step: float) -> st.SearchStrategy[list[float]]:
    value = st.integers(int(low / step), int(high / step)).map(lambda n: n * step)
    if step == 0.01:
        value = st.integers(int(low * 100), int(high * 100)).map(lambda n: n / 100)
    return st.lists(st.one_of(value, st.just(float("nan"))), min_size=1, max_size=60)


@st.composite
def recordings(draw: st.DrawFn, same_rate: bool = False) -> Recording:
    """Any recording whose samples lie on steps of 0.01, with any pattern of missing ones."""
    twins = draw(st.integers(1, 3))
    rate = draw(st.sampled_from(RATES))
    channels = []
    for fetus in range(1, twins + 1):
        samples = draw(_samples(30, 300, 0.01))
        if fetus == 1 and all(v != v for v in samples):
            samples = [*samples, 140.0]
        channels.append(
            Channel(
                FETAL,
                np.array(samples),
                rate,
                draw(st.sampled_from([SensorKind.ULTRASOUND, SensorKind.UNKNOWN])),
                fetus,
                "bpm",
                draw(TEXT),
            )
        )
    if draw(st.booleans()):
        unit, sensor = draw(
            st.sampled_from(
                [
                    ("mmHg", SensorKind.PRESSURE_CATHETER),
                    ("mmHg", SensorKind.TOCO),
                    ("nd", SensorKind.TOCO),
                    ("", SensorKind.UNKNOWN),
                ]
            )
        )
        own = rate if same_rate else draw(st.sampled_from([rate, rate / 2, rate * 2]))
        samples = np.array(draw(_samples(-20, 120, 0.01)))
        channels.append(Channel(ACTIVITY, samples, own, sensor, 0, unit, draw(TEXT)))
    if draw(st.booleans()):
        samples = np.array(draw(_samples(30, 200, 0.01)))
        channels.append(
            Channel(MATERNAL, samples, rate, SensorKind.MATERNAL_PULSE, 0, "bpm", "MHR")
        )
    duration = max(c.duration_s for c in channels)
    start = draw(
        st.none() | st.datetimes(datetime(1990, 1, 1), datetime(2080, 1, 1), timezones=st.just(UTC))
    )
    context = Context(
        weeks=draw(st.none() | st.integers(20, 44).map(float)),
        stage=draw(st.sampled_from(list(Stage))),
        second_stage_start_s=draw(st.none() | st.floats(0, duration)),
        oxytocin=draw(st.none() | st.booleans()),
        epidural=draw(st.none() | st.booleans()),
        parity=draw(st.none() | st.integers(0, 12)),
        meconium=draw(st.none() | st.booleans()),
        fever=draw(st.none() | st.booleans()),
    )
    annotations = draw(
        st.lists(
            st.builds(
                Annotation,
                st.integers(0, 4000).map(lambda n: n / 8),
                st.integers(0, 400).map(lambda n: n / 8),
                TEXT,
            ),
            max_size=4,
        )
    )
    outcome = draw(st.dictionaries(st.sampled_from(["pH", "BE", "Apgar1"]), st.floats(-20, 20)))
    return Recording(
        "made",
        tuple(channels),
        start,
        context,
        Provenance("", "", (), outcome),
        tuple(annotations),
    )
