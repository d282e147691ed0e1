"""A Recording: what the sensors gave, and what is known about the labour."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from enum import StrEnum
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ebbline.codec import same
from ebbline.errors import RecordingError
from ebbline.terms import SensorKind, Stage

FloatArray = NDArray[np.float64]


class ChannelKind(StrEnum):
    """What a channel holds."""

    FETAL_HEART_RATE = "fetal heart rate"
    UTERINE_ACTIVITY = "uterine activity"
    MATERNAL_HEART_RATE = "maternal heart rate"


@dataclass(frozen=True, slots=True, eq=False)
class Channel:
    """One evenly sampled signal.

    samples: shape (n,), NaN where missing; bpm for heart rates, mmHg for a pressure catheter,
    arbitrary units for a toco. rate_hz: samples per second. fetus: 1, 2, ... for fetal heart
    rates (twins), 0 for the mother's channels. All channels begin at the recording's start.
    """

    kind: ChannelKind
    samples: FloatArray
    rate_hz: float
    sensor: SensorKind = SensorKind.UNKNOWN
    fetus: int = 0
    unit: str = ""
    label: str = ""

    def __eq__(self, other: object) -> bool:
        return same(self, other) if isinstance(other, Channel) else NotImplemented

    def __hash__(self) -> int:
        return hash((self.kind, self.rate_hz, self.fetus, len(self.samples)))

    @property
    def duration_s(self) -> float:
        """Length in seconds."""
        return len(self.samples) / self.rate_hz


@dataclass(frozen=True, slots=True)
class Context:
    """What is known about the pregnancy and labour; None means unknown, never 'no'.

    weeks: completed weeks of gestation. second_stage_start_s: seconds from the recording's
    start. stage: the stage at the recording's end where the start of the second is not known.
    """

    weeks: float | None = None
    stage: Stage = Stage.UNKNOWN
    second_stage_start_s: float | None = None
    oxytocin: bool | None = None
    epidural: bool | None = None
    parity: int | None = None
    meconium: bool | None = None
    fever: bool | None = None

    def stage_at(self, time_s: float) -> Stage:
        """Stage of labour at a time in seconds from the recording's start."""
        if self.second_stage_start_s is None:
            return self.stage
        return Stage.SECOND if time_s >= self.second_stage_start_s else Stage.FIRST


@dataclass(frozen=True, slots=True)
class Provenance:
    """Where a recording came from and what reading it had to do."""

    source: str = ""
    format: str = ""
    notes: tuple[str, ...] = ()
    outcome: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Annotation:
    """A remark somebody tied to a moment. time_s: seconds from the recording's start."""

    time_s: float
    duration_s: float
    text: str


@dataclass(frozen=True, slots=True, eq=False, repr=False)
class Recording:
    """Channels on one clock. start: time-zone-aware, or None when the clock is not known."""

    name: str
    channels: tuple[Channel, ...]
    start: datetime | None = None
    context: Context = Context()
    provenance: Provenance = Provenance()
    annotations: tuple[Annotation, ...] = ()

    def __eq__(self, other: object) -> bool:
        return same(self, other) if isinstance(other, Recording) else NotImplemented

    def __hash__(self) -> int:
        return hash((self.name, self.start, self.channels))

    def __repr__(self) -> str:
        kinds = ", ".join(f"{c.kind} at {c.rate_hz:g} Hz" for c in self.channels)
        return f"<Recording {self.name}: {self.duration_s / 60:.1f} min; {kinds or 'no channels'}>"

    def crop(self, start_s: float, end_s: float) -> Recording:
        """The stretch from start_s to end_s, seconds, as a recording of its own.

        Raises RecordingError for a stretch that is not in it.
        """
        if not 0 <= start_s < end_s <= self.duration_s + 1.0:
            raise RecordingError(
                f"{start_s:g} to {end_s:g} s is not a stretch of this recording.",
                where=self.name,
                remedy=f"Choose a start and a later end between 0 and {self.duration_s:g} s.",
            )
        channels = tuple(
            replace(c, samples=c.samples[round(start_s * c.rate_hz) : round(end_s * c.rate_hz)])
            for c in self.channels
        )
        second = self.context.second_stage_start_s
        context = self.context
        if second is not None:
            context = (
                replace(context, second_stage_start_s=max(0.0, second - start_s))
                if second < end_s
                else replace(context, second_stage_start_s=None, stage=Stage.FIRST)
            )
        notes = tuple(
            replace(one, time_s=one.time_s - start_s)
            for one in self.annotations
            if start_s <= one.time_s <= end_s
        )
        start = None if self.start is None else self.start + timedelta(seconds=start_s)
        return replace(self, channels=channels, start=start, context=context, annotations=notes)

    def to_frame(self) -> Any:
        """A pandas DataFrame, a column a channel, seconds as index; all channels at one rate.

        Raises RecordingError where channels differ in rate, ModuleNotFoundError without pandas.
        """
        import pandas

        rates = {c.rate_hz for c in self.channels}
        if len(rates) != 1:
            raise RecordingError(
                "channels of several rates do not fit one table.",
                where=self.name,
                remedy="Convert the recording to CSV, which brings them to one rate.",
            )
        rate = rates.pop()
        count = max(len(c.samples) for c in self.channels)
        short = {"uterine activity": "uc", "maternal heart rate": "maternal"}
        twins = len(self.fetuses) > 1
        columns = {
            short.get(c.kind.value, f"fhr{c.fetus}" if twins else "fhr"): np.pad(
                c.samples, (0, count - len(c.samples)), constant_values=np.nan
            )
            for c in self.channels
        }
        return pandas.DataFrame(columns, index=pandas.Index(np.arange(count) / rate, name="s"))

    @property
    def duration_s(self) -> float:
        """Length of the longest channel in seconds; 0 without channels."""
        return max((channel.duration_s for channel in self.channels), default=0.0)

    @property
    def fetuses(self) -> tuple[int, ...]:
        """Numbers of the fetuses that have a heart-rate channel."""
        numbers = {c.fetus for c in self.channels if c.kind is ChannelKind.FETAL_HEART_RATE}
        return tuple(sorted(numbers))

    def heart_rate(self, fetus: int = 1) -> Channel:
        """The heart-rate channel of one fetus. Raises RecordingError when there is none."""
        for channel in self.channels:
            if channel.kind is ChannelKind.FETAL_HEART_RATE and channel.fetus == fetus:
                return channel
        raise RecordingError(
            f"no heart-rate channel for fetus {fetus}.",
            where=self.name,
            remedy="Choose one of: " + (", ".join(map(str, self.fetuses)) or "none present") + ".",
        )

    def first(self, kind: ChannelKind) -> Channel | None:
        """The first channel of a kind, or None."""
        return next((c for c in self.channels if c.kind is kind), None)


@dataclass(frozen=True, slots=True)
class Encoded:
    """A recording as files: the bytes of each, and in sentences what the format cannot hold."""

    contents: dict[Path, bytes]
    losses: tuple[str, ...]
