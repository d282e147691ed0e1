"""What all standards ask of a recording, worked out once for all windows."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ebbline.criteria import limits
from ebbline.criteria.variability_runs import MINUTE_S, MinuteTrack, Runs
from ebbline.definitions import (
    BASELINE_NORMAL_FROM_BPM,
    LATE_LAG_S,
    LEAST_EXCURSION_BPM,
    MARKED_ABOVE_BPM,
    MINIMAL_UPTO_BPM,
    REDUCED_BELOW_BPM,
    SHALLOW_FROM_BPM,
    TEN_MINUTES_S,
    rounded_baseline,
)
from ebbline.features import window as within
from ebbline.features.findings import (
    Artefact,
    ArtefactKind,
    BaselineChange,
    Curve,
    Deceleration,
    DecelerationKind,
    Findings,
    VariabilityClass,
    minutes_from,
)
from ebbline.features.kept import kept
from ebbline.features.steps_down import (
    LEAST_STEP_BPM,
    LEVEL_SHARE,
    STEP_APART_S,
    STEP_AROUND_S,
    STEP_MEAN_S,
    Drop,
    means,
    steps_down,
)
from ebbline.features.stretch_baseline import baseline_track
from ebbline.features.variability import class_and_width
from ebbline.terms import Window

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]

LEAST_PART_S = 300.0
"""A remainder of ten minutes shorter than this is not asked for a baseline of its own."""

_LOW = (VariabilityClass.ABSENT, VariabilityClass.MINIMAL)
NOT_THE_FETUS = frozenset({ArtefactKind.MATERNAL, ArtefactKind.DOUBLING, ArtefactKind.HALVING})


@dataclass(frozen=True, slots=True)
class TenMinuteBaseline:
    """The baseline of ten minutes of the window.

    rounded_bpm: to 5 bpm (NICHD); whole_bpm: to 1 bpm (a reader cannot tell less). low_bpm and
    low_rounded_bpm: the same with the minutes that falls take counted at FALL_COUNTS_BPM under it,
    held against the lower limits. NaN when indeterminate. carried: the value is that of the
    preceding ten minutes. evidence: where it was measured. asked_for: False where under five
    minutes of it were recorded.
    """

    rounded_bpm: float
    whole_bpm: float
    low_rounded_bpm: float
    low_bpm: float
    carried: bool
    evidence: Window
    asked_for: bool
    why: str

    def how_seen(self, bpm: float) -> str:
        """What stands beside a number of this baseline: carried, or lower for its falls."""
        said = ["of the preceding ten minutes"] if self.carried else []
        if bpm not in (self.whole_bpm, self.rounded_bpm):
            said.append(f"{self.whole_bpm:.0f} bpm between falls, and what they take counts lower")
        return ", ".join(said)


FALL_COUNTS_BPM = 5.0
"""What a fall takes from the baseline is not seen of it. Against the lower limits it counts so much
under the rest: an added fall never lifts a slow baseline over its limit (ours: half of the 10 bpm
within which a baseline counts as stable)."""

TAKEN_REACH_MIN = 10
"""A minute that a fall takes has the least bandwidth of the minutes measured within so many of it,
before or after, as NICHD takes a baseline from the ten minutes before: an added fall makes no
variability better (ours)."""


BESIDE_MIN = 2
"""So near to a minute that a fall takes the minutes beside it lend it their liveliness (ours)."""

NEW_LEVEL_S = 900.0
"""A level that the rate fell to is new for a quarter of an hour (ours)."""


SUDDEN_S, SUDDEN_SHARE, LOOK_AROUND_S = 60.0, 0.25, 300.0
"""A change of level is sudden when the middle half of it took a minute or less; looked for in the
ten minutes about it, for the baseline may change minutes before the rate does or after (ours: the
onset of a fall is over in that time, a drift of the baseline is not)."""


STAYS_SHARE = 0.1
"""So little of the five minutes after a fall to another level is back over the middle (ours)."""

LEVEL_BEFORE_S = 120.0
"""The level that a sudden fall leaves is the usual rate of so long before it (ours)."""

SLID_BPM = 25.0
"""A baseline that slid down by so much, or by 15 bpm to under 110 bpm, is looked at for a sudden
fall; one that settles a little lower within the normal range is a change of baseline (ours)."""

BACK_FOR_S = 15.0
"""The rate is back to stay when its mean of so long is: the least length of an excursion (NICHD
2008), so that a few beats near the baseline do not make a fall that goes on recovered (ours)."""

NOT_SEEN_S = 45.0
"""A fall is followed over so much lost signal and no more (ours, as the detector bridges gaps)."""


def _fallen(rate: Curve, place: int, then: FloatArray) -> bool:
    """Whether the usual rate of LEVEL_BEFORE_S before a place lies LEAST_EXCURSION_BPM over the
    usual one of what came after: a last beat at the old level is no fall from it."""
    before = rate.values[max(0, place - round(LEVEL_BEFORE_S / rate.step_s)) : place + 1]
    before = before[np.isfinite(before)]
    return float(np.median(before) - np.median(then)) >= LEAST_EXCURSION_BPM


@dataclass(frozen=True, slots=True)
class VariabilitySeen:
    """Variability of a stretch: usual one-minute bandwidth (bpm, NaN unmeasured), its class, and
    how many of its minutes were measured."""

    start_s: float
    end_s: float
    bandwidth_bpm: float
    variability: VariabilityClass
    measured_minutes: int


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
        self._by_clock: dict[int, MinuteVariability] = {}
        self._levels: dict[tuple[float, float], TenMinuteBaseline] = {}

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
    def shallow_late(self) -> BoolArray:
        """Gradual, late, 10 to under 15 bpm deep: NICHD sets no depth for a late deceleration."""
        late = np.array([k is DecelerationKind.LATE for k in self.falls.kind], dtype=np.bool_)
        return late & self.falls.shallow

    @cached_property
    def variable(self) -> BoolArray:
        """Variable (NICHD, NICE): of that kind, or prolonged with an abrupt onset (see `late`)."""
        prolonged = self.falls.of(DecelerationKind.PROLONGED)
        return self.falls.of(DecelerationKind.VARIABLE) | (prolonged & self.falls.abrupt)

    @cached_property
    def late_but_abrupt(self) -> BoolArray:
        """Abrupt, and late in their timing: variable by name, and beside late ones their pattern.

        A beat more or less decides between 29 and 31 s from onset to nadir; the pattern of late
        ones is no rarer for it (ours).
        """
        falls = self.falls
        return self.variable & falls.paired & (falls.lag_s > LATE_LAG_S)

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

    def of_kind(self, kind: DecelerationKind) -> BoolArray:
        """The decelerations that count as a kind: prolonged ones that began so among them."""
        match kind:
            case DecelerationKind.LATE:
                return self.late
            case DecelerationKind.VARIABLE:
                return self.variable
            case DecelerationKind.GRADUAL_UNPAIRED:
                return self.unpaired
            case _:
                return self.falls.of(kind)

    @cached_property
    def concerning(self) -> BoolArray:
        """Variable decelerations with any concerning characteristic (NICE).

        Every prolonged one is among them, however it began: none of two minutes weighs less than
        a variable one of over a minute (our reading).
        """
        return self.prolonged | np.array(
            [
                bool(variable and within.concerning_features(self.findings, fall))
                for variable, fall in zip(self.variable.tolist(), self.falls.items, strict=True)
            ],
            dtype=np.bool_,
        )

    @cached_property
    def concerning_or_untold(self) -> BoolArray:
        """The same, and gradual ones with such a characteristic whose contraction is not known.

        Whether they are late or variable cannot be told: they break no series (ours).
        """
        gradual = self.unpaired.tolist()
        return self.concerning | np.array(
            [
                bool(untold and within.concerning_features(self.findings, fall))
                for untold, fall in zip(gradual, self.falls.items, strict=True)
            ],
            dtype=np.bool_,
        )

    @cached_property
    def drops(self) -> tuple[Drop, ...]:
        """Sudden falls to another level that stayed there, and until when they did.

        NICHD calls ten minutes at another level a change of baseline. Whoever sees the rate fall
        and not come back does not call it better for that: it goes on counting as a fall.
        """
        found: list[Drop] = []
        changes = self._level_changes()
        for place, change in enumerate(changes):
            if change.from_bpm - change.to_bpm < LEAST_EXCURSION_BPM:
                continue
            fell_s = self._fell_s(change)
            if math.isnan(fell_s) or any(abs(fell_s - d.start_s) < SUDDEN_S for d in found):
                continue
            back = 0.5 * (change.from_bpm + change.to_bpm)
            returned = (later.at_s for later in changes[place + 1 :] if later.to_bpm > back)
            until_s = next(returned, math.inf)
            found.append(Drop(fell_s, until_s, change.from_bpm, change.to_bpm))
        return tuple(found)

    @cached_property
    def steps(self) -> tuple[Drop, ...]:
        """Sudden steps of the rate to a level 15 bpm or more under its baseline (`steps_down`).

        A rate that comes down from a long rise to where it was before has not fallen; and a step
        that a deceleration tells, from which the rate came back, is that deceleration. It is over
        at the latest when the rate was near where it fell from for a minute.
        """
        return tuple(
            replace(step, until_s=min(step.until_s, self._minute_back_s(step)))
            for step in steps_down(self.findings.fetal.rate_curve)
            if self._baseline_before(step) - step.to_bpm >= LEAST_STEP_BPM
            and not self._came_back(step)
        )

    def _minute_back_s(self, step: Drop) -> float:
        """When the first minute after a step begins whose mean is near where it fell from.

        Infinity without one. A minute of which a quarter or more was lost tells nothing, nor does
        one whose baseline lies lower: there it is the way back that does not stay.
        """
        fetal = self.findings.fetal
        curve, level = fetal.rate_curve, fetal.baseline_curve
        first = max(0, round((step.start_s + STEP_MEAN_S - curve.start_s) / curve.step_s))
        slack = min(LEAST_EXCURSION_BPM, LEVEL_SHARE * (step.from_bpm - step.to_bpm))
        near = self._minutes_ahead[first:] >= step.from_bpm - slack
        at_s = curve.start_s + (first + np.arange(len(near))) * curve.step_s
        place = np.rint((at_s - level.start_s) / level.step_s).astype(np.int64)
        there = (place >= 0) & (place < len(level.values))
        near &= there
        near[there] &= level.values[place[there]] >= step.from_bpm - LEAST_EXCURSION_BPM
        return (
            curve.start_s + (first + int(near.argmax())) * curve.step_s if near.any() else math.inf
        )

    @cached_property
    def _minutes_ahead(self) -> FloatArray:
        """Of each second, the mean rate of the next minute; NaN where a quarter of it was lost."""
        return self._ahead(MINUTE_S, round(0.75 * MINUTE_S))

    def _ahead(self, seconds: float, least: int) -> FloatArray:
        """Of each second, the mean rate of so many next ones; NaN where under `least` were seen."""
        rate = np.ascontiguousarray(self.findings.fetal.rate_curve.values, np.float64)
        return means(rate, 0, round(seconds), least)

    def _came_back(self, step: Drop) -> bool:
        """Whether a deceleration holds the step and the rate was nearer to where it fell from
        from its end on: for fifteen seconds, and for as much of the next minutes as there is."""
        curve, middle = self.findings.fetal.rate_curve, 0.5 * (step.from_bpm + step.to_bpm)
        for one in self.findings.fetal.decelerations:
            if not one.recovered or not one.onset_s - STEP_MEAN_S <= step.start_s < one.end_s:
                continue
            seen = curve.known(one.end_s, one.end_s + STEP_AROUND_S / 2)
            if len(seen) * curve.step_s >= BACK_FOR_S and float(seen.mean()) > middle:
                return True
        return False

    def _baseline_before(self, step: Drop) -> float:
        """The highest baseline of the five minutes before a step; its own level where none is."""
        known = self.findings.fetal.baseline_curve.known(
            step.start_s - STEP_AROUND_S, step.start_s - STEP_APART_S
        )
        # A drawn baseline may follow what comes after: what the rate kept over for nine of the ten
        # minutes before was no rise (NICHD 2008: from ten minutes on a change of baseline).
        rate = self.findings.fetal.rate_curve.known(
            step.start_s - TEN_MINUTES_S, step.start_s - STEP_APART_S
        )
        kept = float(np.quantile(rate, 0.1)) if len(rate) >= 0.5 * TEN_MINUTES_S else -math.inf
        return max(kept, float(known.max()) if len(known) else step.from_bpm)

    def _level_changes(self) -> list[BaselineChange]:
        """The changes of the baseline, and those between ten minutes that it slid through."""
        known = [one for one in self.findings.fetal.baseline if one.determinate]
        slid = [
            BaselineChange(0.5 * (one.end_s + later.start_s), one.mean_bpm, later.mean_bpm)
            for near in (1, 2)
            for one, later in zip(known, known[near:], strict=False)
            if one.mean_bpm - later.mean_bpm >= SLID_BPM
            or (
                one.mean_bpm - later.mean_bpm >= LEAST_EXCURSION_BPM
                and later.mean_bpm < BASELINE_NORMAL_FROM_BPM
            )
            or later.mean_bpm - one.mean_bpm >= LEAST_EXCURSION_BPM
        ]
        jumped = self.findings.fetal.baseline_changes
        return sorted((*jumped, *slid), key=lambda change: change.at_s)

    @cached_property
    def _coming(self) -> FloatArray:
        """Of each second, the mean rate of the next BACK_FOR_S; NaN where too little was seen."""
        return self._ahead(BACK_FOR_S, 1)

    def back_s(self, fall: Deceleration, by_s: float) -> float:
        """When the rate was back after a fall: near the baseline that it fell from.

        Not before the fall's own end; later where it rose only in part and fell again, as one fall
        in two pieces does. One that is not back to stay by a time (by_s, a window's end) is
        followed over a few beats near the baseline, too: several pieces, and still not recovered.
        Infinity where the recording ends before it is back. Lost signal is passed over as far as
        NOT_SEEN_S.
        """
        return self.followed(fall, by_s)[0]

    def followed(self, fall: Deceleration, by_s: float) -> tuple[float, bool]:
        """`back_s`, and whether the rate was then seen back: not where lost signal ends it."""
        to_stay_s, seen = self._followed(fall, self._coming)
        if to_stay_s > by_s:
            return to_stay_s, seen
        last = self._followed(fall, self.findings.fetal.rate_curve.values)
        if not seen and to_stay_s > max(fall.end_s, last[0]):
            return to_stay_s, seen
        return last

    def _followed(self, fall: Deceleration, rate: FloatArray) -> tuple[float, bool]:
        curve = self.findings.fetal.rate_curve
        first = max(0, round((fall.end_s - curve.start_s) / curve.step_s))
        least = fall.baseline_bpm - SHALLOW_FROM_BPM
        last, unseen, seen = first, 0, fall.recovered
        for place in range(first, len(curve.values)):
            if rate[place] >= least:
                seen = fall.recovered or last > first
                break
            if curve.values[place] == curve.values[place]:
                last, unseen, seen = place + 1, 0, False
            else:
                unseen += 1
                if unseen * curve.step_s > NOT_SEEN_S:
                    break
        else:
            if last > first:
                return math.inf, False
        return max(fall.end_s, curve.start_s + last * curve.step_s if last > first else 0.0), seen

    def _fell_s(self, change: BaselineChange) -> float:
        """When the rate went most of the way within SUDDEN_S; NaN where it drifted."""
        curve = self.findings.fetal.rate_curve
        values = curve.values
        first = max(0, round((change.at_s - LOOK_AROUND_S - curve.start_s) / curve.step_s))
        last = max(0, round((change.at_s + LOOK_AROUND_S - curve.start_s) / curve.step_s))
        seen = values[first:last]
        size = change.from_bpm - change.to_bpm
        high = np.flatnonzero(seen >= change.from_bpm - SUDDEN_SHARE * size)
        low = np.flatnonzero(seen <= change.to_bpm + SUDDEN_SHARE * size)
        if not len(high) or not len(low):
            return math.nan
        after = low[np.searchsorted(low, high)[np.searchsorted(low, high) < len(low)]]
        before = high[: len(after)]
        sudden = before[(after - before) * curve.step_s <= SUDDEN_S]
        back = 0.5 * (change.from_bpm + change.to_bpm)
        for begin in sudden[::-1].tolist():
            # A deceleration beside a drift is over in a few minutes; a fall to a level stays.
            place = first + begin + round(SUDDEN_S / curve.step_s)
            then = values[place : place + round(0.5 * TEN_MINUTES_S / curve.step_s)]
            then = then[np.isfinite(then)]
            stays = len(then) > 0 and float((then > back).mean()) <= STAYS_SHARE
            if stays and _fallen(curve, first + begin, then):
                return curve.start_s + float(first + begin) * curve.step_s
        return math.nan

    def _share_in_falls(self, where: Window) -> float:
        """Share of a stretch that falls take, 0..1."""
        falls = self.falls
        inside = np.minimum(falls.end_s, where.end_s) - np.maximum(falls.onset_s, where.start_s)
        taken_s = float(np.maximum(inside, 0.0)[~falls.shallow].sum())
        return min(1.0, taken_s / max(where.duration_s, 1.0))

    @cached_property
    def first_level(self) -> TenMinuteBaseline | None:
        """The first determinate ten minutes of the recording, counted from its first signal."""
        one = next((x for x in self.findings.fetal.baseline if x.determinate), None)
        if one is None:
            return None
        where = Window(one.start_s, one.end_s)
        mean = one.bpm if math.isnan(one.mean_bpm) else one.mean_bpm
        known = _bpm(mean, self._share_in_falls(where))
        return TenMinuteBaseline(*known, False, where, True, "")

    def level_in(self, start_s: float, end_s: float) -> TenMinuteBaseline:
        """The baseline of a stretch; that of the ten minutes before where it has none (NICHD)."""
        told = self._levels.get((start_s, end_s))
        if told is None:
            told = self._levels.setdefault((start_s, end_s), self._level_in(start_s, end_s))
        return told

    def _level_in(self, start_s: float, end_s: float) -> TenMinuteBaseline:
        track = baseline_track(self.findings)
        one = track.of(start_s, end_s)
        asked_for = min(end_s, track.ends_s) - max(start_s, track.begins_s) >= LEAST_PART_S
        seen = one if one.determinate else track.of(start_s - TEN_MINUTES_S, start_s)
        if not seen.determinate:
            nothing = (math.nan, math.nan, math.nan, math.nan)
            return TenMinuteBaseline(*nothing, False, Window(start_s, end_s), asked_for, one.why)
        where = Window(seen.start_s, seen.end_s)
        known = _bpm(seen.mean_bpm, self._share_in_falls(where))
        return TenMinuteBaseline(*known, seen is not one, where, asked_for, one.why)

    def level_at(self, start_s: float) -> TenMinuteBaseline | None:
        """The determinate baseline of ten minutes from this time on (begun within 5 minutes)."""
        begins_s = baseline_track(self.findings).begins_s
        if start_s < begins_s - 0.5 * TEN_MINUTES_S:
            return None
        start_s = max(start_s, begins_s)
        one = self.level_in(start_s, start_s + TEN_MINUTES_S)
        return None if math.isnan(one.whole_bpm) or one.carried else one

    def minutes_from(self, start_s: float) -> MinuteVariability:
        """The variability by minutes of which one begins at start_s; kept for each such clock."""
        moving = self.findings.fetal.moving_bandwidth
        step_s = moving.step_s if len(moving.values) else MINUTE_S
        clock = round((start_s - moving.start_s) / step_s) % round(MINUTE_S / step_s)
        found = self._by_clock.get(clock)
        if found is None:
            curve = minutes_from(moving, self.findings.fetal.bandwidth, start_s)
            found = self._by_clock.setdefault(clock, MinuteVariability(curve, self))
        return found

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
    def suspected(self) -> tuple[Artefact, ...]:
        """Stretches whose rate is not relied on."""
        return tuple(
            a
            for a in self.findings.fetal.artefacts
            if a.kind in NOT_THE_FETUS and limits.SUSPECT.met(a.certainty)
        )


class MinuteVariability:
    """The variability of a recording by the minute, its minutes counted from one time."""

    def __init__(self, curve: Curve, whole: RecordingFacts) -> None:
        self._curve = curve
        self._whole = whole

    @cached_property
    def filled(self) -> MinuteTrack:
        """The minutes of variability that were measured, or taken by a fall among such."""
        return MinuteTrack(self.bandwidth)

    @cached_property
    def measured(self) -> MinuteTrack:
        """The measured minutes of variability alone."""
        return MinuteTrack(self._curve)

    @cached_property
    def lively(self) -> MinuteTrack:
        """The measured minutes, and those that a fall took as lively as the livelier beside them.

        An added fall cuts no run of increased variability short.
        """
        curve = self._curve
        values = np.array(curve.values, dtype=np.float64)
        measured = np.flatnonzero(np.isfinite(values))
        for minute in np.flatnonzero(self.taken & ~np.isfinite(values)).tolist():
            after = int(np.searchsorted(measured, minute))
            beside = measured[max(0, after - 1) : after + 1]
            beside = beside[np.abs(beside - minute) <= BESIDE_MIN]
            if len(beside):
                values[minute] = curve.values[beside].max()
        return MinuteTrack(replace(curve, values=values))

    @cached_property
    def taken(self) -> BoolArray:
        """Of each minute, whether a fall took its bandwidth, or it lies at the level of a new fall.

        A fall that lasts on until it is called a baseline has a bandwidth; for its first quarter of
        an hour that makes what was before it no livelier.
        """
        curve = self._curve
        starts = curve.start_s + curve.step_s * np.arange(len(curve.values))
        taken = np.zeros(len(starts), dtype=np.bool_)
        for onset_s, end_s in zip(self._whole.falls.onset_s, self._whole.falls.end_s, strict=True):
            taken |= (starts < end_s + curve.step_s) & (starts + curve.step_s > onset_s)
        taken &= ~np.isfinite(curve.values)
        for drop in self._whole.drops:
            until_s = min(drop.until_s, drop.start_s + NEW_LEVEL_S)
            taken |= (starts < until_s) & (starts + curve.step_s > drop.start_s)
        return taken

    @cached_property
    def bandwidth(self) -> Curve:
        """The bandwidth by the minute; what falls took is no livelier than what is beside it."""
        return self._with_taken(lambda beside: float(beside.min()))

    @cached_property
    def usual(self) -> Curve:
        """The bandwidth by the minute; what falls took is as what is beside it usually is."""
        return self._with_taken(lambda beside: float(np.median(beside)))

    def _with_taken(self, told: Callable[[FloatArray], float]) -> Curve:
        """The bandwidth by the minute, that of what falls took told from the minutes beside."""
        curve = self._curve
        values = np.array(curve.values, dtype=np.float64)
        measured = np.flatnonzero(np.isfinite(values))
        for minute in np.flatnonzero(self.taken).tolist():
            first, stop = np.searchsorted(
                measured, (minute - TAKEN_REACH_MIN, minute + TAKEN_REACH_MIN + 1)
            )
            if stop > first:
                values[minute] = told(curve.values[measured[first:stop]])
        return replace(curve, values=values)

    def variability_in(self, start_s: float, end_s: float) -> VariabilitySeen:
        """Usual bandwidth and class of a stretch's minutes, by their middles.

        No livelier for the minutes that falls took, and never told as moderate on what was not
        measured; as absent only where the minutes beside a fall usually were, not one of them. One
        rule for the review, its ten-minute columns and every standard.
        """
        curve = self._curve
        first = max(0, math.ceil((start_s - curve.start_s) / curve.step_s - 0.5))
        last = max(first, math.ceil((end_s - curve.start_s) / curve.step_s - 0.5))
        minutes = curve.values[first:last]
        measured = int(np.count_nonzero(np.isfinite(minutes)))
        named, width = class_and_width(minutes)
        if self.taken[first:last].any():
            lower, narrower = self._in_falls(first, last)
            if lower in _LOW and named not in _LOW[: _LOW.index(lower) + 1]:
                named, width = lower, narrower
            elif named is not VariabilityClass.INDETERMINATE and narrower < width:
                width = narrower
        return VariabilitySeen(start_s, end_s, width, named, measured)

    def _in_falls(self, first: int, last: int) -> tuple[VariabilityClass, float]:
        """Class and width of some minutes with those that falls took."""
        lower, narrower = class_and_width(self.bandwidth.values[first:last])
        if lower is not VariabilityClass.ABSENT:
            return lower, narrower
        usual, width = class_and_width(self.usual.values[first:last])
        if usual is VariabilityClass.ABSENT:
            return lower, narrower
        return VariabilityClass.MINIMAL, min(width, MINIMAL_UPTO_BPM)

    @cached_property
    def reduced_runs(self) -> Runs:
        """Runs of minutes with a bandwidth under 5 bpm."""
        return self.filled.runs(self.filled.calm < REDUCED_BELOW_BPM)

    @cached_property
    def reduced_over_gaps(self) -> Runs:
        """The same, with no unmeasured stretch breaking a run."""
        meets = self.filled.calm < REDUCED_BELOW_BPM
        return self.filled.runs(meets, over_gaps=True)

    @cached_property
    def increased_runs(self) -> Runs:
        """Runs of minutes with a bandwidth over 25 bpm."""
        return self.lively.runs(self.lively.steady > MARKED_ABOVE_BPM)


@kept(4)
def recording_facts(findings: Findings) -> RecordingFacts:
    """The facts of a recording; kept for the last few findings asked for."""
    return RecordingFacts(findings)


def _bpm(mean: float, in_falls: float) -> tuple[float, float, float, float]:
    """To 5 bpm and to 1 bpm, and both with what falls took counted under it."""
    low = mean - FALL_COUNTS_BPM * in_falls
    return (
        rounded_baseline(mean),
        math.floor(mean + 0.5),
        min(rounded_baseline(mean), rounded_baseline(low)),
        math.floor(low + 0.5),
    )
