"""Traces given as if they came from a bed: of a recording, or of a labour as it is invented."""

from __future__ import annotations

from dataclasses import replace
from typing import Protocol

import numpy as np

from ebbline.live.packets import PacketChannel
from ebbline.recording.model import ChannelKind, Context, Recording
from ebbline.synth import LabourEngine, ProlongedFall, Scenario
from ebbline.terms import SensorKind

INVENTED_HOURS = 10.0


class Source(Protocol):
    """What can be replayed. rate_hz: of all its channels; duration_s: its length."""

    context: Context
    rate_hz: float
    duration_s: float

    def take(self, from_s: float, to_s: float) -> tuple[PacketChannel, ...]:
        """The samples of a stretch that follows on the last."""
        ...


class RecordedSource:
    """A recording whose channels all have one rate. Raises ValueError when they have not."""

    def __init__(self, recording: Recording) -> None:
        rates = {one.rate_hz for one in recording.channels}
        if len(rates) != 1:
            raise ValueError("the channels of this recording have several rates.")
        self.rate_hz = rates.pop()
        self.context = recording.context
        self.duration_s = recording.duration_s
        self._channels = recording.channels

    def take(self, from_s: float, to_s: float) -> tuple[PacketChannel, ...]:
        """The samples of a stretch."""
        first, last = round(from_s * self.rate_hz), round(to_s * self.rate_hz)
        return tuple(
            PacketChannel(one.kind, one.fetus, one.sensor, part)
            for one in self._channels
            if len(part := one.samples[first:last])
        )


class InventedSource:
    """A labour that is invented as it goes on."""

    def __init__(self, scenario: Scenario, seed: int) -> None:
        self._engine = LabourEngine(scenario, seed)
        self.rate_hz = scenario.rate_hz
        self.duration_s = scenario.hours * 3600.0
        self.context = Context(weeks=scenario.weeks)

    def take(self, from_s: float, to_s: float) -> tuple[PacketChannel, ...]:
        """The samples of a stretch of whole seconds."""
        stretch = self._engine.advance((to_s - from_s) / 60.0)
        now = self._engine.scenario
        given = (
            (ChannelKind.FETAL_HEART_RATE, 1, now.heart_sensor, stretch.heart_rate),
            (ChannelKind.UTERINE_ACTIVITY, 0, now.activity_sensor, stretch.activity),
        )
        made = [PacketChannel(*one) for one in given]
        if now.maternal_pulse and np.isfinite(stretch.maternal_rate).any():
            made.append(
                PacketChannel(
                    ChannelKind.MATERNAL_HEART_RATE,
                    0,
                    SensorKind.MATERNAL_PULSE,
                    stretch.maternal_rate,
                )
            )
        return tuple(made)


def invented(number: int) -> InventedSource:
    """One of ten labours that differ: most go well, a few do not. number counts from 1."""
    usual = Scenario(hours=INVENTED_HOURS, bandwidth_bpm=14.0, maternal_pulse=number % 3 == 0)
    kinds = (
        usual,
        replace(usual, variable_share=0.35, prolonged=(ProlongedFall(75.0, 7.0, 55.0),)),
        replace(usual, bandwidth_bpm=11.0, contractions_per_10_min=3.0),
        replace(usual, late_share=0.6, bandwidth_bpm=5.0, contractions_per_10_min=4.5),
        replace(usual, signal_loss=0.25, maternal_capture_per_hour=1.0),
        replace(usual, baseline_bpm=146.0, early_share=0.3),
        replace(usual, contractions_per_10_min=5.8, oxytocin=True, variable_share=0.2),
        replace(usual, baseline_bpm=128.0),
        replace(usual, variable_share=0.6, slow_return_share=0.4, epidural=True),
        replace(usual, baseline_bpm=165.0, fever=True, bandwidth_bpm=7.0),
    )
    return InventedSource(kinds[(number - 1) % len(kinds)], 2_000 + number)
