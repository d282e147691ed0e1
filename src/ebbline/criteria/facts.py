"""What all standards ask of a window, worked out once for each recording and each window."""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
from numpy.typing import NDArray

from ebbline.criteria import limits
from ebbline.criteria.model import Window
from ebbline.features import window as within
from ebbline.features.detect import MARKED_BPM
from ebbline.features.events import LATE_LAG_S
from ebbline.features.findings import (
    ArtefactKind,
    BaselineSegment,
    Curve,
    Deceleration,
    DecelerationKind,
    Findings,
    SinusoidalEpisode,
    VariabilityClass,
    VariabilitySegment,
)

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
BoolArray = NDArray[np.bool_]

MINUTE_S = 60.0
TEN_MINUTES_S = 600.0
HALF_HOUR_S = 1800.0
LEAST_PART_S = 300.0
"""A remainder of a ten-minute segment shorter than this is not asked for a baseline of its own."""

NOT_THE_FETUS = frozenset({ArtefactKind.MATERNAL, ArtefactKind.DOUBLING, ArtefactKind.HALVING})


def clock(time_s: float) -> str:
    """Hours, minutes and seconds from the recording's start."""
    seconds = round(time_s)
    return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def stretch(start_s: float, end_s: float) -> str:
    """'0:10:00 to 0:20:00'."""
    return f"{clock(start_s)} to {clock(end_s)}"


# ---------------------------------------------------------------- the whole recording


@dataclass(frozen=True, slots=True, eq=False)
class Runs:
    """Stretches of measured minutes that all meet a condition: first and last + 1, as places."""

    first: IntArray
    stop: IntArray


@dataclass(frozen=True, slots=True)
class RunFound:
    """A run of minutes that reaches into a window.

    minutes: measured minutes that meet the condition, up to the window's end. elapsed_min: from
    the first to the last of them, with what was not measured between. began_unseen: what was
    before it was not measured (or not recorded), so that it may be longer. evidence: its stretch.
    """

    minutes: float
    elapsed_min: float
    began_unseen: bool
    evidence: Window


class MinuteTrack:
    """The measured minutes of variability of a recording, and its runs of minutes.

    Each minute's bandwidth is the median of itself and its measured neighbours, so that one stray
    minute neither makes nor breaks a run.
    """

    def __init__(self, bandwidth: Curve) -> None:
        measured = np.flatnonzero(np.isfinite(bandwidth.values))
        self.step_s = bandwidth.step_s
        self.start_s = np.asarray(bandwidth.start_s + bandwidth.step_s * measured, np.float64)
        self.bpm: FloatArray = np.asarray(bandwidth.values, np.float64)[measured]
        self.steady = _median_of_three(self.bpm)
        self._sums = np.concatenate(([0.0], np.cumsum(self.bpm)))
        gaps_s = np.diff(self.start_s) - self.step_s
        self._gap = gaps_s > limits.RUN_GAP.threshold * MINUTE_S

    def inside(self, start_s: float, end_s: float) -> tuple[int, int]:
        """Places of the measured minutes whose middle lies in the window."""
        half_s = 0.5 * self.step_s
        first, stop = np.searchsorted(self.start_s, (start_s - half_s, end_s - half_s))
        return int(first), int(stop)

    def means(self, starts_s: FloatArray, length_s: float) -> FloatArray:
        """Mean bandwidth of each stretch; NaN where too few minutes of it were measured."""
        half_s = 0.5 * self.step_s
        first = np.searchsorted(self.start_s, starts_s - half_s)
        stop = np.searchsorted(self.start_s, starts_s + length_s - half_s)
        count = stop - first
        enough = count * (self.step_s / MINUTE_S) >= limits.MEASURED_MINUTES.threshold
        totals = self._sums[stop] - self._sums[first]
        means: FloatArray = np.where(enough, totals / np.maximum(count, 1), math.nan)
        return means

    def runs(self, meets: BoolArray, *, over_gaps: bool = False) -> Runs:
        """Runs of successive measured minutes that meet a condition; gaps too long break them."""
        if not meets.any():
            nothing = np.empty(0, dtype=np.int64)
            return Runs(nothing, nothing)
        joined = np.ones(len(meets), dtype=np.bool_)
        if not over_gaps:
            joined[1:] = ~self._gap
        joined[0] = False
        before = np.concatenate(([False], meets[:-1]))
        begins = meets & ~(before & joined)
        after = np.concatenate((meets[1:], [False]))
        ends = meets & ~(after & np.concatenate((joined[1:], [False])))
        return Runs(np.flatnonzero(begins), np.flatnonzero(ends) + 1)

    def longest(self, runs: Runs, window: Window) -> RunFound | None:
        """The longest run that has a minute in the window, looking back over the recording."""
        first, stop = self.inside(window.start_s, window.end_s)
        reach = np.minimum(runs.stop, stop)
        here = (reach > first) & (reach > runs.first)
        if not here.any():
            return None
        at = int(np.argmax(np.where(here, reach - runs.first, -1)))
        begin, last = int(runs.first[at]), int(reach[at]) - 1
        start_s, end_s = float(self.start_s[begin]), float(self.start_s[last]) + self.step_s
        end_s = min(end_s, window.end_s)
        scale = self.step_s / MINUTE_S
        return RunFound(
            minutes=(last + 1 - begin) * scale,
            elapsed_min=(end_s - start_s) / MINUTE_S,
            began_unseen=begin == 0 or bool(self._gap[begin - 1]),
            evidence=Window(start_s, end_s),
        )


def _median_of_three(values: FloatArray) -> FloatArray:
    if len(values) < 3:
        return values
    before, after = values[:-2], values[2:]
    steady = values.copy()
    low, high = np.minimum(before, after), np.maximum(before, after)
    steady[1:-1] = np.minimum(np.maximum(values[1:-1], low), high)
    return steady


@dataclass(frozen=True, slots=True, eq=False)
class Falls:
    """The recording's decelerations as columns, in the order of `features.window.index_of`."""

    items: tuple[Deceleration, ...]
    kind: tuple[DecelerationKind, ...]
    onset_s: FloatArray
    end_s: FloatArray
    nadir_bpm: FloatArray
    onset_lag_s: FloatArray
    lag_s: FloatArray
    return_s: FloatArray
    within_bpm: FloatArray
    abrupt: BoolArray
    shallow: BoolArray
    paired: BoolArray

    def of(self, *kinds: DecelerationKind) -> BoolArray:
        """Mask of kinds, shallow ones left out."""
        return np.array([k in kinds for k in self.kind], dtype=np.bool_) & ~self.shallow


class RecordingFacts:
    """Arrays over the whole recording, made once and used by every window and standard."""

    def __init__(self, findings: Findings) -> None:
        self.findings = findings

    @cached_property
    def falls(self) -> Falls:
        """The decelerations as columns."""
        order = within.index_of(self.findings).deceleration_order.tolist()
        items = tuple(self.findings.fetal.decelerations[i] for i in order)
        rows = np.array(
            [
                (
                    d.onset_s,
                    d.end_s,
                    d.nadir_bpm,
                    d.onset_lag_s,
                    d.lag_s,
                    d.return_s,
                    d.variability_within_bpm,
                    d.abrupt,
                    d.shallow,
                    d.contraction >= 0,
                )
                for d in items
            ],
            dtype=np.float64,
        ).reshape(len(items), 10)
        columns = rows.T
        return Falls(
            items,
            tuple(d.kind for d in items),
            *columns[:7],
            *(column > 0 for column in columns[7:]),
        )

    @cached_property
    def late(self) -> BoolArray:
        """Late (NICHD, NICE): of that kind, or prolonged, gradual and late in its timing.

        A late deceleration that goes on for two minutes is called prolonged (NICHD 2008); that it
        lasts longer cannot make it weigh less, so it still counts as late.
        """
        falls = self.falls
        prolonged = falls.of(DecelerationKind.PROLONGED)
        long_and_late = prolonged & ~falls.abrupt & falls.paired & (falls.lag_s > LATE_LAG_S)
        return falls.of(DecelerationKind.LATE) | long_and_late

    @cached_property
    def variable(self) -> BoolArray:
        """Variable (NICHD, NICE): of that kind, or prolonged with an abrupt onset (see `late`)."""
        prolonged = self.falls.of(DecelerationKind.PROLONGED)
        return self.falls.of(DecelerationKind.VARIABLE) | (prolonged & self.falls.abrupt)

    @cached_property
    def prolonged(self) -> BoolArray:
        """Prolonged (NICHD): two minutes or more."""
        return self.falls.of(DecelerationKind.PROLONGED)

    @cached_property
    def unpaired(self) -> BoolArray:
        """Gradual, and no contraction known: early or late cannot be told."""
        falls = self.falls
        prolonged = falls.of(DecelerationKind.PROLONGED) & ~falls.abrupt & ~falls.paired
        return falls.of(DecelerationKind.GRADUAL_UNPAIRED) | prolonged

    @cached_property
    def early(self) -> BoolArray:
        """Early (NICHD)."""
        return self.falls.of(DecelerationKind.EARLY)

    @cached_property
    def concerning(self) -> BoolArray:
        """Variable decelerations with any concerning characteristic (NICE)."""
        return np.array(
            [
                bool(variable and within.concerning_features(self.findings, fall))
                for variable, fall in zip(self.variable.tolist(), self.falls.items, strict=True)
            ],
            dtype=np.bool_,
        )

    @cached_property
    def levels(self) -> tuple[TenMinuteBaseline, ...]:
        """The ten-minute baselines of the recording."""
        segments = self.findings.fetal.baseline
        return tuple(_level(segments, place) for place in range(len(segments)))

    @cached_property
    def first_level(self) -> TenMinuteBaseline | None:
        """The first determinate baseline of the recording."""
        return next((one for one in self.levels if not math.isnan(one.whole_bpm)), None)

    def level_at(self, start_s: float) -> TenMinuteBaseline | None:
        """The determinate baseline measured from about this time on (within 5 minutes)."""
        for segment, one in zip(self.findings.fetal.baseline, self.levels, strict=True):
            if abs(segment.start_s - start_s) <= 0.5 * TEN_MINUTES_S:
                return None if math.isnan(one.whole_bpm) or one.carried else one
        return None

    @cached_property
    def minutes(self) -> MinuteTrack:
        """The measured minutes of variability."""
        return MinuteTrack(self.findings.fetal.bandwidth)

    @cached_property
    def reduced_runs(self) -> Runs:
        """Runs of minutes with a bandwidth under 5 bpm."""
        return self.minutes.runs(self.minutes.steady < within.REDUCED_BELOW_BPM)

    @cached_property
    def reduced_over_gaps(self) -> Runs:
        """The same, with no unmeasured stretch breaking a run."""
        meets = self.minutes.steady < within.REDUCED_BELOW_BPM
        return self.minutes.runs(meets, over_gaps=True)

    @cached_property
    def increased_runs(self) -> Runs:
        """Runs of minutes with a bandwidth over 25 bpm."""
        return self.minutes.runs(self.minutes.steady > MARKED_BPM)

    @cached_property
    def reliable(self) -> tuple[FloatArray, FloatArray]:
        """Edges of the minutes, and the seconds of reliable heart rate gathered up to each.

        A minute's share is that of its valid samples, and no more than what suspicions of the
        mother's, a doubled or a halved rate leave of it.
        """
        valid = self.findings.fetal.valid
        shares = np.nan_to_num(np.asarray(valid.values, np.float64))
        starts = valid.start_s + valid.step_s * np.arange(len(shares))
        doubtful_s = np.zeros(len(shares))
        for artefact in self.suspected:
            first = max(0, int((artefact.start_s - valid.start_s) // valid.step_s))
            last = min(len(shares), int((artefact.end_s - valid.start_s) // valid.step_s) + 1)
            part = starts[first:last]
            overlap = np.minimum(part + valid.step_s, artefact.end_s) - np.maximum(
                part, artefact.start_s
            )
            doubtful_s[first:last] += np.maximum(overlap, 0.0)
        shares = np.minimum(shares, np.maximum(0.0, 1.0 - doubtful_s / valid.step_s))
        edges = np.append(starts, valid.start_s + valid.step_s * len(shares))
        return edges, np.concatenate(([0.0], np.cumsum(shares * valid.step_s)))

    @cached_property
    def suspected(self) -> tuple[Window, ...]:
        """Stretches whose rate is not relied on."""
        return tuple(
            Window(a.start_s, a.end_s)
            for a in self.findings.fetal.artefacts
            if a.kind in NOT_THE_FETUS and limits.SUSPECT.met(a.certainty)
        )


@lru_cache(maxsize=4)
def recording_facts(findings: Findings) -> RecordingFacts:
    """The facts of a recording; kept for the last few findings asked for."""
    return RecordingFacts(findings)


# ---------------------------------------------------------------- one window


@dataclass(frozen=True, slots=True)
class TenMinuteBaseline:
    """The baseline of ten minutes of the window.

    rounded_bpm: to 5 bpm (NICHD); whole_bpm: to 1 bpm (a reader cannot tell less). NaN when
    indeterminate. carried: the value is that of the preceding ten minutes. evidence: where it was
    measured. asked_for: False for a short remainder at the recording's end.
    """

    rounded_bpm: float
    whole_bpm: float
    carried: bool
    evidence: Window
    asked_for: bool
    why: str


class WindowFacts:
    """What the standards ask of one window; each answer is worked out when first asked for."""

    def __init__(self, findings: Findings, window: Window) -> None:
        self.findings = findings
        self.window = window
        self.whole = recording_facts(findings)

    # ------------------------------------------------------------ signal

    @cached_property
    def reliable_share(self) -> float:
        """Share of the window with heart rate that can be relied on."""
        return float(self._reliable(np.array([self.window.start_s]), self.window.duration_s)[0])

    @cached_property
    def poorest(self) -> tuple[float, Window]:
        """Share and place of the poorest ten minutes of the window (its whole, when shorter)."""
        length_s = min(TEN_MINUTES_S, self.window.duration_s)
        latest_s = self.window.end_s - length_s
        starts = np.append(np.arange(self.window.start_s, latest_s, MINUTE_S), latest_s)
        shares = self._reliable(starts, length_s)
        at = int(np.argmin(shares))
        return float(shares[at]), Window(float(starts[at]), float(starts[at]) + length_s)

    def _reliable(self, starts_s: FloatArray, length_s: float) -> FloatArray:
        if length_s <= 0:
            return np.zeros(len(starts_s))
        edges, sums = self.whole.reliable
        gathered = np.interp(starts_s + length_s, edges, sums) - np.interp(starts_s, edges, sums)
        shares: FloatArray = gathered / length_s
        return shares

    @cached_property
    def suspected(self) -> tuple[Window, ...]:
        """Stretches of the window whose rate is not relied on."""
        return tuple(one for one in self.whole.suspected if self.overlaps(one.start_s, one.end_s))

    # ------------------------------------------------------------ baseline and variability

    @cached_property
    def baselines(self) -> tuple[TenMinuteBaseline, ...]:
        """The ten-minute baselines of the window, in order of time."""
        segments = self.findings.fetal.baseline
        return tuple(
            level
            for one, level in zip(segments, self.whole.levels, strict=True)
            if self._mostly_inside(one.start_s, one.end_s)
        )

    @cached_property
    def known_baselines(self) -> tuple[TenMinuteBaseline, ...]:
        """Those of them that are determinate or carried over."""
        return tuple(one for one in self.baselines if not math.isnan(one.whole_bpm))

    @cached_property
    def variabilities(self) -> tuple[VariabilitySegment, ...]:
        """The ten-minute variabilities of the window, in order of time."""
        return tuple(
            one
            for one in self.findings.fetal.variability
            if self._mostly_inside(one.start_s, one.end_s)
        )

    @cached_property
    def known_variabilities(self) -> tuple[VariabilitySegment, ...]:
        """Those of them whose class could be told."""
        return tuple(
            one
            for one in self.variabilities
            if one.variability is not VariabilityClass.INDETERMINATE
        )

    def variability_of(self, kind: VariabilityClass) -> tuple[VariabilitySegment, ...]:
        """Those of one class."""
        return tuple(one for one in self.variabilities if one.variability is kind)

    def _mostly_inside(self, start_s: float, end_s: float) -> bool:
        inside_s = min(end_s, self.window.end_s) - max(start_s, self.window.start_s)
        return inside_s > 0 and inside_s >= 0.5 * (end_s - start_s)

    @cached_property
    def measured_minutes(self) -> float:
        """Minutes of the window with measured variability."""
        track = self.whole.minutes
        first, stop = track.inside(self.window.start_s, self.window.end_s)
        return (stop - first) * track.step_s / MINUTE_S

    @cached_property
    def mean_bandwidths(self) -> tuple[tuple[float, Window], tuple[float, Window]]:
        """Least and greatest mean bandwidth, each with its stretch; NaN when not measurable.

        Of the window itself, or in one longer than 30 minutes of every 30 minutes of it (steps of
        a minute). Stretches with less than the least number of measured minutes are left out.
        """
        length_s = min(self.window.duration_s, HALF_HOUR_S)
        starts = np.arange(self.window.start_s, self.window.end_s - length_s + 1e-6, MINUTE_S)
        means = self.whole.minutes.means(starts, length_s)
        if not np.isfinite(means).any():
            return (math.nan, self.window), (math.nan, self.window)
        low, high = int(np.nanargmin(means)), int(np.nanargmax(means))
        return self._half_hour(starts, low, means), self._half_hour(starts, high, means)

    def _half_hour(self, starts: FloatArray, at: int, means: FloatArray) -> tuple[float, Window]:
        start_s = float(starts[at])
        end_s = min(start_s + HALF_HOUR_S, self.window.end_s)
        return float(means[at]), Window(start_s, end_s)

    @cached_property
    def reduced_run(self) -> RunFound | None:
        """The longest run of reduced variability that reaches into the window."""
        return self.whole.minutes.longest(self.whole.reduced_runs, self.window)

    @cached_property
    def reduced_over_gaps(self) -> RunFound | None:
        """The longest such run when nothing that was not measured breaks it."""
        return self.whole.minutes.longest(self.whole.reduced_over_gaps, self.window)

    @cached_property
    def increased_run(self) -> RunFound | None:
        """The longest run of increased variability that reaches into the window."""
        return self.whole.minutes.longest(self.whole.increased_runs, self.window)

    def longest_sinusoidal(self, *, pseudo: bool = False) -> tuple[float, SinusoidalEpisode] | None:
        """The longest sinusoidal episode that reaches into the window: seconds so far, episode."""
        here = [
            (min(one.end_s, self.window.end_s) - one.start_s, one)
            for one in self.findings.fetal.sinusoidal
            if one.pseudo is pseudo and self.overlaps(one.start_s, one.end_s)
        ]
        return max(here, key=lambda pair: pair[0], default=None)

    # ------------------------------------------------------------ events

    def overlaps(self, start_s: float, end_s: float) -> bool:
        """Whether any part of a stretch lies in the window."""
        return start_s < self.window.end_s and end_s > self.window.start_s

    def touching(self, which: BoolArray) -> tuple[Deceleration, ...]:
        """Decelerations of a mask any part of which lies in the window."""
        if not which.any():
            return ()
        falls = self.whole.falls
        here = which & (falls.onset_s < self.window.end_s) & (falls.end_s > self.window.start_s)
        return tuple(falls.items[i] for i in np.flatnonzero(here).tolist())

    def so_far_s(self, fall: Deceleration) -> float:
        """How long a deceleration had lasted by the window's end."""
        return min(fall.end_s, self.window.end_s) - fall.onset_s

    @cached_property
    def accelerations(self) -> int:
        """Accelerations whose peak lies in the window."""
        return len(within.accelerations_in(self.findings, self.window.start_s, self.window.end_s))

    def recurrent(self, which: BoolArray) -> within.Answer:
        """See `features.window.recurrent`."""
        return within.recurrent(self.findings, self.window.start_s, self.window.end_s, which)

    def repetitive(self, which: BoolArray) -> within.Answer:
        """See `features.window.repetitive`."""
        return within.repetitive(self.findings, self.window.start_s, self.window.end_s, which)

    def longest_run(self, which: BoolArray) -> within.PatternRun | None:
        """See `features.window.longest_run`."""
        return within.longest_run(self.findings, self.window.start_s, self.window.end_s, which)

    def chain(self, which: BoolArray, apart_s: float) -> Window | None:
        """The longest series of decelerations no further apart than apart_s that reaches in."""
        found = within.longest_chain(
            self.findings, self.window.start_s, self.window.end_s, which, apart_s
        )
        return None if found is None else Window(*found)

    @cached_property
    def tachysystole(self) -> within.Answer:
        """See `features.window.tachysystole`."""
        return within.tachysystole(self.findings, self.window.start_s, self.window.end_s)

    @cached_property
    def contraction_rate(self) -> within.ContractionRate:
        """See `features.window.contraction_rate`."""
        return within.contraction_rate(self.findings, self.window.start_s, self.window.end_s)


def _level(segments: tuple[BaselineSegment, ...], place: int) -> TenMinuteBaseline:
    """The baseline of a segment; that of the preceding ten minutes where it has none (NICHD)."""
    one = segments[place]
    asked_for = one.end_s - one.start_s >= LEAST_PART_S
    if one.determinate and not math.isnan(one.bpm):
        return TenMinuteBaseline(
            one.bpm, _whole(one), False, Window(one.start_s, one.end_s), asked_for, ""
        )
    if place:
        earlier = segments[place - 1]
        if earlier.determinate and not math.isnan(earlier.bpm):
            where = Window(earlier.start_s, earlier.end_s)
            return TenMinuteBaseline(earlier.bpm, _whole(earlier), True, where, asked_for, one.why)
    where = Window(one.start_s, one.end_s)
    return TenMinuteBaseline(math.nan, math.nan, False, where, asked_for, one.why)


def _whole(segment: BaselineSegment) -> float:
    mean = segment.bpm if math.isnan(segment.mean_bpm) else segment.mean_bpm
    return math.floor(mean + 0.5)


@lru_cache(maxsize=4)
def window_facts(findings: Findings, window: Window) -> WindowFacts:
    """The facts of a window; kept for the last few windows asked for."""
    return WindowFacts(findings, window)
