"""The signal follows from where the sensor lies and what it is."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from ebbline.recording.model import ChannelKind
from ebbline.synth import Point, Scenario, invent
from ebbline.synth.ground_truth import SpanKind
from ebbline.synth.sensors import DEVICES
from ebbline.terms import SensorKind

HEART = Point(5.0, -6.0)


def _scenario(**knobs: object) -> Scenario:
    return replace(Scenario(), signal_loss=0.01, fetal_wandering_cm=0.3, **knobs)  # type: ignore[arg-type]


def _activity(scenario: Scenario, seed: int = 1) -> np.ndarray:
    channel = invent(scenario, seed).recording.first(ChannelKind.UTERINE_ACTIVITY)
    assert channel is not None
    return channel.samples


def test_loss_grows_with_the_distance_from_the_heart() -> None:
    lost = []
    for off_cm in (0.0, 2.0, 4.0, 5.0, 6.0, 8.0):
        scenario = _scenario(ultrasound_at=Point(HEART.x_cm - off_cm, HEART.y_cm))
        spans = [
            s
            for seed in range(3)
            for s in invent(scenario, seed).truth.artefacts
            if s.kind in (SpanKind.LOSS, SpanKind.SPIKE, SpanKind.MATERNAL)
        ]
        lost.append(sum(s.end_s - s.start_s for s in spans) / (3 * 3600))
    assert lost[0] < 0.05
    assert lost[-1] > 0.8
    assert all(b > a - 0.02 for a, b in pairwise(lost))
    assert lost[4] > lost[2] + 0.1


def test_a_deep_heart_forgives_an_offset_less_than_a_beam_would() -> None:
    """The same offset is a smaller angle for a deeper heart."""
    near = _scenario(ultrasound_at=Point(1.0, -6.0), heart_depth_cm=5.0)
    deep = _scenario(ultrasound_at=Point(1.0, -6.0), heart_depth_cm=12.0)

    def lost(s: Scenario) -> float:
        return float(np.isnan(invent(s, 2).recording.heart_rate().samples).mean())

    assert lost(near) > lost(deep) + 0.2


def test_off_site_the_mother_is_caught_and_the_electrode_never_catches_her() -> None:
    off = _scenario(ultrasound_at=Point(0.2, -6.0), hours=3.0, maternal_pulse=True)
    labour = invent(off, 3)
    spans = [s for s in labour.truth.artefacts if s.kind is SpanKind.MATERNAL]
    assert spans
    heart = labour.recording.heart_rate().samples
    mother = labour.recording.first(ChannelKind.MATERNAL_HEART_RATE)
    assert mother is not None
    span = max(spans, key=lambda s: s.end_s - s.start_s)
    here = slice(round(span.start_s * 4), round(span.end_s * 4))
    apart = np.abs(heart[here] - mother.samples[here])
    # Averaged over beats and held: near the pulse of now, seldom far from it.
    assert np.nanmedian(apart) <= 1.5 and np.nanpercentile(apart, 95) <= 5.0
    internal = replace(off, heart_sensor=SensorKind.SCALP_ELECTRODE)
    kinds = {s.kind for s in invent(internal, 3).truth.artefacts}
    assert SpanKind.MATERNAL not in kinds and SpanKind.DOUBLING not in kinds


def test_doubling_and_halving_show_twice_and_half_the_rate() -> None:
    labour = invent(Scenario.from_words("doubling, halving, bradycardia, good signal, 4 hours"), 3)
    heart, true = labour.recording.heart_rate().samples, labour.truth.heart_rate.values
    ratios: dict[SpanKind, list[float]] = {SpanKind.DOUBLING: [], SpanKind.HALVING: []}
    for span in labour.truth.artefacts:
        if span.kind not in ratios or span.end_s - span.start_s < 6:
            continue
        here = slice(round(span.start_s * 4) + 1, round(span.end_s * 4) - 1)
        ratio = heart[here] / true[here]
        if np.isfinite(ratio).any():
            ratios[span.kind].append(float(np.nanmedian(ratio)))
    # A single spell may lag behind a rate that moves; together they show the factor.
    for kind, factor in ((SpanKind.DOUBLING, 2.0), (SpanKind.HALVING, 0.5)):
        assert len(ratios[kind]) >= 5
        assert np.median(ratios[kind]) == pytest.approx(factor, rel=0.02)
        assert ratios[kind] == pytest.approx([factor] * len(ratios[kind]), rel=0.12)


def test_ultrasound_smears_the_beat_and_steps_by_a_quarter() -> None:
    plain = _scenario(accelerations_per_hour=0.0)
    ultrasound = invent(plain, 4).recording.heart_rate().samples
    electrode = (
        invent(replace(plain, heart_sensor=SensorKind.SCALP_ELECTRODE), 4)
        .recording.heart_rate()
        .samples
    )
    assert np.all(np.isnan(ultrasound) | (ultrasound * 4 % 1 == 0))

    def crispness(rate: np.ndarray) -> float:
        second = rate - np.concatenate(([np.nan, np.nan], rate[:-2]))
        return float(np.nanstd(second - np.nanmean(second)))

    assert crispness(electrode) > 1.1 * crispness(ultrasound)


def test_a_toco_is_cut_off_and_a_catheter_gives_pressure() -> None:
    belt = _activity(replace(Scenario(), toco_gain=2.0))
    assert np.nanmax(belt) in {d.activity_most for d in DEVICES} and np.nanmin(belt) >= 0
    inside = replace(Scenario(), activity_sensor=SensorKind.PRESSURE_CATHETER)
    labour = invent(inside, 1)
    channel = labour.recording.first(ChannelKind.UTERINE_ACTIVITY)
    assert channel is not None
    error = channel.samples - labour.truth.pressure.values
    assert np.nanmedian(np.abs(error)) < 2.0
    assert np.nanpercentile(np.abs(error), 95) < 5.0


def test_a_toco_away_from_the_fundus_or_through_a_thick_wall_feels_less() -> None:
    def height(scenario: Scenario) -> float:
        samples = _activity(replace(scenario, toco_noise=0.2, belt_shifts_per_hour=0.0))
        return float(np.nanpercentile(samples, 97) - np.nanpercentile(samples, 20))

    best = height(Scenario())
    assert height(replace(Scenario(), toco_at=Point(0.0, 4.0))) < 0.6 * best
    assert height(replace(Scenario(), abdominal_wall_cm=7.0)) < 0.7 * best


def test_lost_samples_are_missing_never_a_number() -> None:
    labour = invent(Scenario.from_words("poor signal"), 5)
    heart = labour.recording.heart_rate().samples
    for span in labour.truth.artefacts:
        if span.kind is SpanKind.LOSS:
            assert np.isnan(heart[round(span.start_s * 4) : round(span.end_s * 4)]).all()
    kept = sum(s.end_s - s.start_s for s in labour.truth.artefacts if s.kind is SpanKind.LOSS)
    assert np.isnan(heart).mean() == pytest.approx(kept / 3600, abs=0.01)


def test_loss_asked_for_comes_in_every_quarter_of_an_hour() -> None:
    """Else one lesson of a poor signal has none missing, and the next nothing else."""
    lost = []
    for seed in range(6):
        scenario = replace(Scenario(), signal_loss=0.25, fetal_wandering_cm=0.0)
        missing = np.isnan(invent(scenario, seed).recording.heart_rate().samples)
        lost.append(missing.reshape(4, -1).mean(axis=1))
    shares = np.array(lost)
    assert 0.17 < shares.mean() < 0.38
    assert (shares > 0.03).mean() > 0.9


def test_a_belt_taken_off_stands_still_at_nothing_or_a_low_value() -> None:
    """So in the recordings: half of the flat stretches of a belt stand at 0, most others low."""
    flat = []
    for seed in range(12):
        units = _activity(_scenario(belt_off_per_hour=30.0), seed)
        change = np.flatnonzero(np.diff(units)) + 1
        for run in np.split(units, change):
            if len(run) > 4 * 90:
                flat.append(run[0])
    values = np.array(flat)
    assert len(values) > 20
    assert 0.2 < (values == 0).mean() < 0.95
    assert (values < 12).mean() > 0.9
