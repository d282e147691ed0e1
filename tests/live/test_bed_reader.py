"""The reading of a growing trace is the reading of the whole, whatever the network does."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest

from ebbline.codec import to_data
from ebbline.features import detect
from ebbline.live.bed_reader import (
    ALIGN_S,
    FINAL_AFTER_S,
    RUN_IN_S,
    BedReader,
    Pace,
    Step,
    TooFarAheadError,
)
from ebbline.reading.analyse import read
from ebbline.recording.model import ChannelKind, Context, Recording
from ebbline.signal.quality import SEGMENT_S
from ebbline.synth import ProlongedFall, Scenario, invent
from ebbline.terms import SensorKind, Stage, Window
from features.constructed import Trace

PACE = Pace(step_s=60.0)
"""Full minutes only, so that the tests are quick."""

HEART = (ChannelKind.FETAL_HEART_RATE, 1, SensorKind.ULTRASOUND)


@pytest.fixture(scope="module")
def labour() -> Recording:
    scenario = Scenario(
        hours=3.5,
        variable_share=0.4,
        late_share=0.2,
        signal_loss=0.08,
        prolonged=(ProlongedFall(95.0, 6.0),),
    )
    return invent(scenario, 41).recording


def packets(recording: Recording, seed: int) -> Iterator[tuple[float, int, int, int]]:
    """Arrival, channel, first and last sample: random lengths, late, out of order, doubled."""
    rng = np.random.default_rng(seed)
    made = []
    for number, channel in enumerate(recording.channels):
        first = 0
        while first < len(channel.samples):
            last = min(len(channel.samples), first + int(rng.integers(1, 240)))
            late_s = rng.uniform(0, 60) if rng.random() < 0.1 else 0.0
            for _ in range(2 if rng.random() < 0.1 else 1):
                made.append((last / channel.rate_hz + late_s, number, first, last))
            first = last
    yield from sorted(made)


def replayed(reader: BedReader, recording: Recording, seed: int) -> Iterator[Step]:
    for arrives_s, number, first, last in packets(recording, seed):
        yield from reader.advance(arrives_s)
        c = recording.channels[number]
        reader.receive(c.kind, c.fetus, c.sensor, c.rate_hz, first, c.samples[first:last])
    yield from reader.advance(recording.duration_s + reader.pace.settle_s)


def test_class_in_late_packets_is_that_of_the_recording_cut_there(labour: Recording) -> None:
    """At full minutes past the seam, with all that had arrived by then."""
    reader = BedReader("live", labour.context, pace=PACE)
    arrived = [np.full(len(c.samples), np.nan) for c in labour.channels]
    compared = 0
    for arrives_s, number, first, last in packets(labour, 7):
        for step in reader.advance(arrives_s):
            if not step.full or step.at_s % 600.0:
                continue
            cut = replace(
                labour,
                channels=tuple(
                    replace(c, samples=a[: round(step.at_s * c.rate_hz)])
                    for c, a in zip(labour.channels, arrived, strict=True)
                ),
            )
            window = Window(max(0.0, step.at_s - 1800.0), step.at_s)
            expected = read(cut, window=window, history=False).fetuses[0].classes
            assert [c.label for c in step.fetuses[0].classes] == [c.label for c in expected]
            assert [c.decided_by for c in step.fetuses[0].classes] == [
                c.decided_by for c in expected
            ]
            compared += 1
        c = labour.channels[number]
        reader.receive(c.kind, c.fetus, c.sensor, c.rate_hz, first, c.samples[first:last])
        arrived[number][first:last] = c.samples[first:last]
    assert reader.read_from_s > 0.0, "the trailing stretch has left the start of the labour"
    assert compared == 20


def test_what_is_final_never_changes_and_is_that_of_the_whole(labour: Recording) -> None:
    reader = BedReader("live", labour.context, pace=PACE)
    final: dict[float, object] = {}
    seam_s = 0.0
    for step in replayed(reader, labour, 3):
        if not step.full:
            continue
        falls = [d for d in step.fetuses[0].findings.fetal.decelerations if d.end_s <= step.final_s]
        for onset_s, fall in final.items():
            assert any(replace(d, contraction=0) == fall for d in falls), onset_s
        final = {d.onset_s: replace(d, contraction=0) for d in falls}
        seam_s = step.final_s
    at_once = detect(labour).fetal.decelerations
    assert seam_s > 7200.0 and len(final) > 20
    expected = [d.onset_s for d in at_once if d.end_s <= seam_s]
    np.testing.assert_allclose(list(final), expected, atol=1e-6)


def test_memory_is_bounded_however_long_the_labour() -> None:
    reader = BedReader("long", pace=Pace(step_s=600.0, full_s=600.0))
    rng = np.random.default_rng(1)
    most = 0
    for minute in range(5 * 60 + 30):
        samples = 140.0 + np.round(rng.normal(0, 3, 240) * 4) / 4
        reader.receive(*HEART, 4.0, minute * 240, samples)
        if minute % 10 == 9:
            reader.advance((minute + 1) * 60.0 + 2.0)
            most = max(most, *(one.ends - one.begins for _, one in reader.channels()))
    longest_s = FINAL_AFTER_S + SEGMENT_S + RUN_IN_S + ALIGN_S + SEGMENT_S
    assert most <= longest_s * 4.0
    (final,) = reader.checkpoint().final
    assert len(final.fetal.rate_curve.values) <= 4 * 3600 + 600 < 5 * 3600


def test_samples_twice_late_and_contradicting_are_counted_and_the_first_stays() -> None:
    reader = BedReader("packets")
    said = np.full(240, 140.0)
    assert reader.receive(*HEART, 4.0, 0, said).fresh == 240
    assert reader.receive(*HEART, 4.0, 0, said).doubled == 240
    differs = reader.receive(*HEART, 4.0, 200, np.full(80, 90.0))
    assert (differs.differing, differs.fresh) == (40, 40)
    ((_, trailing),) = reader.channels()
    assert trailing.cut(0, 240).max() == 140.0 == trailing.cut(0, 240).min()


def test_signal_for_what_is_final_is_not_read_but_counted() -> None:
    reader = BedReader("late")
    for minute in range(190):
        reader.receive(*HEART, 4.0, minute * 240, np.full(240, 140.0))
    reader.advance(190 * 60.0 + 2.0)
    assert reader.read_from_s > 0.0
    assert reader.receive(*HEART, 4.0, 0, np.full(240, 100.0)).too_late == 240


def test_a_reader_made_from_a_checkpoint_goes_on_alike(labour: Recording) -> None:
    whole = BedReader("one")
    for c in labour.channels:
        whole.receive(c.kind, c.fetus, c.sensor, c.rate_hz, 0, c.samples[: 9000 * 4])
    whole.advance(9000.0 + 2.0)
    other = BedReader("other", checkpoint=whole.checkpoint())
    for reader, since in ((whole, 9000), (other, int(whole.read_from_s))):
        for c in labour.channels:
            reader.receive(c.kind, c.fetus, c.sensor, 4.0, since * 4, c.samples[since * 4 :])
    at_s = 12000.0
    one = whole.advance(at_s + 2.0)[-1].fetuses[0]
    two = other.advance(at_s + 2.0)[-1].fetuses[0]
    assert [c.label for c in one.classes] == [c.label for c in two.classes]
    assert to_data(one.findings.fetal.decelerations) == to_data(two.findings.fetal.decelerations)


def test_low_hills_are_held_against_the_high_contractions_of_hours_before() -> None:
    """A belt that slipped: what is left is no scale of its own, live as over the whole."""
    made = Trace(330).contractions(200, height=80.0)
    made.activity[made.seconds > 3600.0] = 5.0 + (made.activity[made.seconds > 3600.0] - 5.0) * 0.1
    trace = made.recording()
    reader = BedReader("slipped", trace.context, pace=Pace(step_s=600.0, full_s=600.0))
    for c in trace.channels:
        for first in range(0, len(c.samples), 14400):
            part = c.samples[first : first + 14400]
            reader.receive(c.kind, c.fetus, c.sensor, c.rate_hz, first, part)
    step = reader.advance(trace.duration_s + 2.0)[-1]
    assert reader.read_from_s > 2 * 3600.0
    live, at_once = (
        [c.onset_s for c in found.uterine.contractions if c.onset_s > 4 * 3600.0]
        for found in (step.fetuses[0].findings, detect(trace))
    )
    assert live == at_once == []
    assert len(detect(trace).uterine.contractions) > 10


def test_a_packet_from_far_ahead_is_refused() -> None:
    with pytest.raises(TooFarAheadError):
        BedReader("far").receive(*HEART, 4.0, 4 * 24 * 3600, np.full(4, 140.0))


def test_hours_without_signal_are_read_as_no_signal_and_give_no_class() -> None:
    reader = BedReader("silent")
    reader.receive(*HEART, 4.0, 0, np.full(3600 * 4, 140.0) + np.tile([0, 1, 2, 1], 3600))
    reader.advance(3602.0)
    step = reader.advance(5 * 3600.0 + 2.0)[-1]
    assert step.at_s == 5 * 3600.0
    assert all(c.refused for c in step.fetuses[0].classes)


def test_what_the_record_says_on_the_way_is_what_a_reading_of_the_cut_says(
    labour: Recording,
) -> None:
    """From the entry on: the same classes with the same reasons as `read` with that context."""
    reader = BedReader("live", Context(weeks=39), pace=PACE)
    for c in labour.channels:
        reader.receive(c.kind, c.fetus, c.sensor, c.rate_hz, 0, c.samples)
    later = Context(weeks=39, stage=Stage.ANTEPARTUM)
    for known, at_s in ((Context(weeks=39), 3000.0), (later, 3600.0)):
        assert reader.know(known, {})
        step = reader.advance(at_s + PACE.settle_s)[-1]
        channels = tuple(
            replace(c, samples=c.samples[: round(at_s * c.rate_hz)]) for c in labour.channels
        )
        cut = replace(labour, channels=channels, context=known)
        window = Window(at_s - 1800.0, at_s)
        # The moved window is the reading's own question, not asked at each minute.
        expected = [replace(c, edge=()) for c in read(cut, window=window).fetuses[0].classes]
        assert [replace(c, edge=()) for c in step.fetuses[0].classes] == expected
    labours = {reason.rule for one in step.fetuses[0].classes for reason in one.reasons}
    assert "labour" in " ".join(labours), "the stage that was written is among the reasons"


def test_weeks_that_change_what_is_an_acceleration_ask_for_a_new_reading(
    labour: Recording,
) -> None:
    reader = BedReader("live", Context(weeks=39), pace=PACE)
    c = labour.channels[0]
    reader.receive(c.kind, c.fetus, c.sensor, c.rate_hz, 0, c.samples)
    assert reader.know(Context(weeks=30), {}), "nothing is final yet"
    reader.advance(FINAL_AFTER_S + 2 * SEGMENT_S + PACE.settle_s)
    assert reader.final_s > 0
    assert reader.know(Context(weeks=31, second_stage_start_s=60.0), {}), "of the same kind"
    assert not reader.know(Context(weeks=39), {})


def test_a_sensor_that_the_device_does_not_name_is_taken_from_the_record() -> None:
    reader = BedReader("live", pace=PACE)
    place = (ChannelKind.UTERINE_ACTIVITY, 0)
    samples = np.full(4 * 600, 12.0)
    reader.receive(*place, SensorKind.UNKNOWN, 4.0, 0, samples)
    reader.receive(*HEART, 4.0, 0, np.full(4 * 600, 140.0))
    said = {place: SensorKind.PRESSURE_CATHETER, HEART[:2]: SensorKind.SCALP_ELECTRODE}
    assert reader.know(Context(), said)
    assert reader.sensors_read == {SensorKind.PRESSURE_CATHETER, SensorKind.ULTRASOUND}, (
        "what the device says stands"
    )
