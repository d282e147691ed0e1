"""One bed's reader: the batch analysis on a growing trace, with bounded memory.

Every few seconds the last minutes are read for what is happening right now; at each full minute
the trailing stretch is read with the kernels of the batch, joined to what is final before it, and
classed. The class of a minute is that of `ebbline.reading.analyse.read` on the recording cut
there; how nearly is measured by `python -m bench.live`.

What is final: findings that end FINAL_AFTER_S or more before now. They are taken over once and
never change. The trailing stretch begins RUN_IN_S or more before them, so that what the batch
knows of the past has settled where the seam lies.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from ebbline.criteria import classify
from ebbline.criteria.model import Classification, Standard
from ebbline.definitions import least_acceleration
from ebbline.features import baseline, detect
from ebbline.features.detect import usual_hills
from ebbline.features.findings import Findings
from ebbline.live.splice import before, joined, moved
from ebbline.live.trailing_channel import Receipt, TrailingChannel
from ebbline.reading.analyse import ALL_STANDARDS, WINDOW_S
from ebbline.recording.model import Channel, ChannelKind, Context, FloatArray, Recording
from ebbline.recording.plausibility import believable
from ebbline.signal.quality import SEGMENT_S
from ebbline.terms import SensorKind, Window

MINUTE_S = 60.0

FINAL_AFTER_S = 2400.0
"""What ended this long ago is final: longer than a change of baseline takes to show (10 minutes
at the new level), a contraction to be judged against its neighbours (15 minutes on either side)
and ten minutes to be full (ours; measured by `python -m bench.live`)."""

RUN_IN_S = 2400.0
"""So much of the past is read again before what is not final, for the baseline's path and the
usual height of contractions to be what they are in the whole recording (ours; measured)."""

LOOK_BACK_S = 4 * 3600.0
"""Final findings are kept this long for the rules that look back (the longest asks for 50 minutes
of a pattern, and the hour before the window), and for the pages."""

MOST_AHEAD_S = 6 * 3600.0
"""A packet further ahead of the trace than this is refused: memory stays bounded (ours)."""

_STEP_S = round(baseline.STEP_S / baseline.EPOCH_S) * baseline.EPOCH_S
ALIGN_S = float(math.lcm(int(SEGMENT_S), int(_STEP_S), int(baseline.EPOCH_S)))
"""A trailing stretch begins on a multiple of this, where every grid of the batch (ten minutes,
steps of the baseline's path, epochs) has a line, so that both lay the same grids."""


@dataclass(frozen=True, slots=True)
class Pace:
    """How often a bed is read, s.

    step_s: for what happens right now, from the last now_s seconds. full_s: for the class, from
    the whole trailing stretch. settle_s: what arrives this late is still in time for both.
    """

    step_s: float = 5.0
    now_s: float = 1200.0
    full_s: float = 60.0
    settle_s: float = 2.0


@dataclass(frozen=True, slots=True, eq=False)
class FetusNow:
    """One fetus at a moment: all findings of the look-back, and the classes of the last half hour.

    classes is empty where the moment is no full minute.
    """

    fetus: int
    findings: Findings
    classes: tuple[Classification, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Step:
    """What was read at a moment, s from the labour's start.

    full: read with the whole trailing stretch, and classed. final_s: what ended before it is
    final; what came after may still change.
    """

    at_s: float
    full: bool
    final_s: float
    context: Context
    fetuses: tuple[FetusNow, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Checkpoint:
    """What a reader cannot make again from the samples since read_from_s: its final findings.

    hills_before: the greatest `usual_hills` of what is final: a contraction is held against the
    highest of the labour, also where that lies hours back.
    """

    final_s: float
    read_from_s: float
    at_s: float
    final: tuple[Findings, ...]
    hills_before: float = 0.0


RUN_IN_MINUTES = 15
"""`usual_hills` looks so far to either side."""

_STRIDES = (
    (3600.0 + SEGMENT_S, 3600.0, 3600.0),
    (SEGMENT_S + MINUTE_S, SEGMENT_S, SEGMENT_S),
    (MINUTE_S, MINUTE_S, SEGMENT_S),
)
"""Catching up, farthest behind first: so far behind (s), a step so long (s), and full at multiples
of the last. Long ago only what becomes final is wanted, in the last hour what lasted, in the last
ten minutes each minute's right now (ours)."""


@cache
def compiled() -> None:
    """Have the kernels ready: what a first reading compiles or loads, once for a process.

    It takes half a minute where nothing was ever compiled; a server calls it from a thread, so
    that its first bed does not keep all others waiting.
    """
    reader = BedReader("kernels", standards=())
    beat = 138.0 + 6.0 * np.sin(np.arange(4 * 660) / 40.0)
    for kind, fetus, sensor in (
        (ChannelKind.FETAL_HEART_RATE, 1, SensorKind.ULTRASOUND),
        (ChannelKind.UTERINE_ACTIVITY, 0, SensorKind.TOCO),
        (ChannelKind.MATERNAL_HEART_RATE, 0, SensorKind.MATERNAL_PULSE),
    ):
        reader.receive(kind, fetus, sensor, 4.0, 0, beat - 50.0 * (fetus == 0))
        reader.read_full(600.0)


class TooFarAheadError(ValueError):
    """A packet lies further ahead than the reader can hold."""


class BedReader:
    """The reader of one labour. Times are seconds from the labour's start; no clock of its own."""

    def __init__(
        self,
        name: str,
        context: Context | None = None,
        *,
        pace: Pace | None = None,
        standards: tuple[Standard, ...] = ALL_STANDARDS,
        checkpoint: Checkpoint | None = None,
    ) -> None:
        self.name = name
        self.context = context or Context()
        self.pace = pace or Pace()
        self.standards = standards
        self.sensors: dict[tuple[ChannelKind, int], SensorKind] = {}
        self.receipts = Receipt()
        self.final_s = 0.0
        self.read_from_s = 0.0
        self.read_to_s = 0.0
        self._hills_before = 0.0
        self._final: dict[int, Findings] = {}
        self._trailing: dict[tuple[ChannelKind, int], TrailingChannel] = {}
        self._templates: dict[tuple[ChannelKind, int], Channel] = {}
        if checkpoint is not None:
            self.final_s = checkpoint.final_s
            self.read_from_s = checkpoint.read_from_s
            self.read_to_s = checkpoint.at_s
            self._hills_before = checkpoint.hills_before
            self._final = {one.fetal.fetus: one for one in checkpoint.final}

    # ------------------------------------------------------------ what is known

    def know(self, context: Context, sensors: Mapping[tuple[ChannelKind, int], SensorKind]) -> bool:
        """Read with this context from the next step on. False where what is final rests on another.

        sensors: by kind and fetus, for channels whose device does not say what it is. Only the
        weeks (which rise is an acceleration) and a sensor decide how findings are made; where one
        of them changes, what is final would have been found otherwise, and the trace is to be read
        anew from its start.
        """
        same = least_acceleration(context.weeks) == least_acceleration(self.context.weeks) and all(
            self._sensor(key, sensors) is self._sensor(key, self.sensors) for key in self._templates
        )
        if not same and self._final:
            return False
        self.context, self.sensors = context, dict(sensors)
        return True

    @property
    def sensors_read(self) -> frozenset[SensorKind]:
        """The sensors that the channels are read as."""
        return frozenset(self._sensor(key, self.sensors) for key in self._templates)

    def _sensor(
        self,
        key: tuple[ChannelKind, int],
        sensors: Mapping[tuple[ChannelKind, int], SensorKind],
    ) -> SensorKind:
        """What the device says, or where it does not say, what is known otherwise."""
        said = self._templates[key].sensor
        return sensors.get(key, said) if said is SensorKind.UNKNOWN else said

    # ------------------------------------------------------------ receiving

    @property
    def trace_end_s(self) -> float:
        """How far any channel reaches."""
        return max((one.ends / one.rate_hz for one in self._trailing.values()), default=0.0)

    def receive(
        self,
        kind: ChannelKind,
        fetus: int,
        sensor: SensorKind,
        rate_hz: float,
        first: int,
        samples: FloatArray,
    ) -> Receipt:
        """Take samples of one channel. first: number of the first, counted from the labour's start.

        The first packet of a channel settles its rate. Raises ValueError for another rate and
        TooFarAheadError for a packet far ahead of what was read.
        """
        if (first + len(samples)) / rate_hz > self.read_to_s + MOST_AHEAD_S:
            raise TooFarAheadError("the packet lies further ahead than can be read.")
        key = (kind, fetus)
        trailing = self._trailing.get(key)
        if trailing is None:
            trailing = TrailingChannel(kind, fetus, rate_hz)
            trailing.forget(round(self.read_from_s * rate_hz))
            self._trailing[key] = trailing
        elif trailing.rate_hz != rate_hz:
            raise ValueError(
                f"this channel came with {trailing.rate_hz:g} samples a second, now {rate_hz:g}."
            )
        if key not in self._templates or self._templates[key].sensor is not sensor:
            self._templates[key] = Channel(kind, samples[:0], rate_hz, sensor, fetus)
        receipt = trailing.put(first, samples)
        self.receipts = self.receipts + receipt
        return receipt

    # ------------------------------------------------------------ reading

    def advance(self, now_s: float) -> list[Step]:
        """Read all that is due by now_s, in order.

        Where much is due at once (after a pause, or when a bed is taken up), steps are left out
        as `_STRIDES` says; falls of the last ten minutes are seen while they were open.
        """
        pace = self.pace
        steps: list[Step] = []
        last_s = math.floor((now_s - pace.settle_s) / pace.step_s) * pace.step_s
        if not self._trailing and not self._final:
            return steps
        while self.read_to_s + pace.step_s <= last_s:
            at_s = self.read_to_s + pace.step_s
            full = at_s % pace.full_s == 0.0
            for beyond_s, stride_s, full_s in _STRIDES:
                if last_s - at_s > beyond_s:
                    at_s = math.ceil(at_s / stride_s) * stride_s
                    full = at_s % full_s == 0.0
                    break
            steps.append(self.read_full(at_s) if full else self.read_now(at_s))
            self.read_to_s = at_s
        return steps

    def read_now(self, at_s: float) -> Step:
        """The last minutes alone, for what is happening right now; no class."""
        start_s = max(0.0, math.ceil((at_s - self.pace.now_s) / MINUTE_S) * MINUTE_S)
        return self._step(at_s, start_s, full=False)

    def read_full(self, at_s: float) -> Step:
        """The whole trailing stretch, joined to what is final, and its classes."""
        step = self._step(at_s, self.read_from_s, full=True)
        self._settle(step)
        return step

    def checkpoint(self) -> Checkpoint:
        """What to save, so that a reader that is given it and the samples since goes on alike."""
        return Checkpoint(
            self.final_s,
            self.read_from_s,
            self.read_to_s,
            tuple(self._final.values()),
            self._hills_before,
        )

    def channels(self) -> list[tuple[tuple[ChannelKind, int], TrailingChannel]]:
        """The trailing samples of each channel, by kind and fetus."""
        return sorted(self._trailing.items(), key=lambda item: item[0])

    def _cut(self, start_s: float, end_s: float) -> Recording:
        channels = tuple(
            one.as_channel(
                replace(self._templates[key], sensor=self._sensor(key, self.sensors)),
                round(start_s * one.rate_hz),
                max(round(start_s * one.rate_hz) + 1, round(end_s * one.rate_hz)),
            )
            for key, one in self.channels()
        )
        context, _ = believable(self.context, end_s)
        return Recording(self.name, channels, context=context)

    def _step(self, at_s: float, start_s: float, *, full: bool) -> Step:
        recording = self._cut(start_s, at_s)
        made = []
        for fetus in recording.fetuses:
            # A stretch that is cut out begins on the grid of the whole.
            grid_from_s = 0.0 if start_s > 0.0 else None
            found = detect(
                recording,
                fetus=fetus,
                grid_from_s=grid_from_s,
                hills_before=self._hills_before if start_s > 0.0 else 0.0,
                brief=not full,
            )
            found = moved(found, start_s)
            classes: tuple[Classification, ...] = ()
            if full:
                found = joined(self._final.get(fetus), found, self.final_s)
                found = replace(found, duration_s=at_s)
                window = Window(max(0.0, at_s - WINDOW_S), at_s)
                classes = tuple(
                    classify(found, window, one, recording.context) for one in self.standards
                )
            made.append(FetusNow(fetus, found, classes))
        return Step(at_s, full, self.final_s, recording.context, tuple(made))

    def _settle(self, step: Step) -> None:
        """What has come to lie far enough back becomes final, and its samples are let go."""
        seam_s = math.floor((step.at_s - FINAL_AFTER_S) / SEGMENT_S) * SEGMENT_S
        if seam_s <= self.final_s:
            return
        usual = usual_hills(self._cut(self.read_from_s, step.at_s))
        until = max(0, math.floor((seam_s - self.read_from_s) / MINUTE_S))
        # The first minutes of a stretch that was cut out miss those before them.
        since = RUN_IN_MINUTES if self.read_from_s else 0
        self._hills_before = max(self._hills_before, *usual[since:until], 0.0)
        for one in step.fetuses:
            self._final[one.fetus] = before(
                one.findings, seam_s, since_s=max(0.0, seam_s - LOOK_BACK_S)
            )
        self.final_s = seam_s
        # Minutes and ten minutes are counted from the first signal, here as over the whole.
        origin_s = self.read_from_s or min(
            one.findings.fetal.baseline[0].start_s for one in step.fetuses
        )
        from_s = origin_s + math.floor((seam_s - RUN_IN_S - origin_s) / ALIGN_S) * ALIGN_S
        if from_s > self.read_from_s:
            self.read_from_s = from_s
            for trailing in self._trailing.values():
                trailing.forget(round(from_s * trailing.rate_hz))
