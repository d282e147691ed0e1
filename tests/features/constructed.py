"""Constructed traces: a baseline with a known band, and shapes laid on it at known times."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from ebbline.recording.model import Channel, ChannelKind, Context, Recording
from ebbline.terms import SensorKind

FloatArray = NDArray[np.float64]
RATE = 4


@dataclass
class Trace:
    """A heart rate and an activity signal at 4 Hz, drawn step by step.

    band: peak-to-trough of the baseline's fluctuation (a mix of sines, 5-11 per minute).
    """

    minutes: float
    baseline: float = 140.0
    band: float = 10.0
    weeks: float | None = 39.0
    bpm: FloatArray = field(init=False)
    activity: FloatArray = field(init=False)
    activity_sensor: SensorKind | None = SensorKind.TOCO

    def __post_init__(self) -> None:
        t = self.seconds
        waves = np.sin(2 * np.pi * t / 7.3) + np.sin(2 * np.pi * t / 11.9 + 1.0)
        self.bpm = self.baseline + waves * self.band / 4.0
        self._waves = waves * self.band / 4.0
        # The belt is never dead still: breathing shows.
        self.activity = 10.0 + 0.8 * np.sin(2 * np.pi * t / 4.1)

    @property
    def seconds(self) -> FloatArray:
        return np.arange(int(self.minutes * 60 * RATE)) / RATE

    def excursion(
        self, onset_s: float, to_extreme_s: float, hold_s: float, back_s: float, height: float
    ) -> Trace:
        """Straight flanks: negative height is a deceleration. Its fluctuation is halved."""
        t = self.seconds - onset_s
        total = to_extreme_s + hold_s + back_s
        shape = np.interp(
            t, [0, to_extreme_s, to_extreme_s + hold_s, total], [0.0, 1.0, 1.0, 0.0], 0.0, 0.0
        )
        inside = shape > 0
        self.bpm = self.bpm - np.where(inside, 0.7 * self._waves, 0.0) + shape * height
        self._waves = np.where(inside, 0.3 * self._waves, self._waves)
        return self

    def contraction(self, peak_s: float, duration_s: float = 70.0, height: float = 45.0) -> Trace:
        """A bell of the given foot width."""
        t = (self.seconds - peak_s) / duration_s
        self.activity = self.activity + np.where(
            np.abs(t) < 0.5, height * np.cos(np.pi * t) ** 2, 0.0
        )
        return self

    def contractions(self, every_s: float, first_s: float = 60.0, **kwargs: float) -> Trace:
        for peak in np.arange(first_s, self.minutes * 60 - 60, every_s):
            self.contraction(float(peak), **kwargs)
        return self

    def lose(self, start_s: float, end_s: float) -> Trace:
        self.bpm[(self.seconds >= start_s) & (self.seconds < end_s)] = np.nan
        return self

    def recording(self) -> Recording:
        channels = [
            Channel(ChannelKind.FETAL_HEART_RATE, self.bpm, RATE, SensorKind.ULTRASOUND, 1, "bpm")
        ]
        if self.activity_sensor is not None:
            channels.append(
                Channel(ChannelKind.UTERINE_ACTIVITY, self.activity, RATE, self.activity_sensor)
            )
        return Recording("constructed", tuple(channels), context=Context(weeks=self.weeks))
