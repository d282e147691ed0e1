"""Falls of a window that last: prolonged, not come back, or turned into a level."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ebbline.criteria.lower_end import LowerEnd, lower_end
from ebbline.criteria.recording_index import RecordingFacts
from ebbline.criteria.recovery import NOT_SEEN_S
from ebbline.criteria.variability_runs import MINUTE_S
from ebbline.definitions import (
    BASELINE_CHANGE_S,
    BASELINE_NORMAL_FROM_BPM,
    CONCERNING_LONGER_S,
    PROLONGED_FROM_S,
    SHALLOW_FROM_BPM,
)
from ebbline.features import window as within
from ebbline.features.findings import ArtefactKind, Deceleration, VariabilityClass
from ebbline.features.steps_down import LEVEL_SHARE, Drop
from ebbline.terms import Window

BoolArray = NDArray[np.bool_]

LEAST_STEP_S = 180.0
"""A step down that has not come back is told from three minutes on; before, it is a fall."""


@dataclass(frozen=True, slots=True)
class LongFall:
    """A fall of two minutes or more. end_s: at most the window's end; recovered: seen to return.

    to_a_level: it lasted on until it is called a new baseline, and is no deceleration by name.
    """

    onset_s: float
    end_s: float
    depth_bpm: float
    nadir_bpm: float
    recovered: bool
    to_a_level: bool = False

    @property
    def duration_s(self) -> float:
        """How long it had lasted by the window's end."""
        return self.end_s - self.onset_s

    @property
    def from_bpm(self) -> float:
        """Where it fell from."""
        return self.nadir_bpm + self.depth_bpm

    @property
    def words(self) -> str:
        """'75 bpm deep, down to 65 bpm, not recovered'."""
        back = "" if self.recovered else ", not recovered"
        return f"{self.depth_bpm:.0f} bpm deep, down to {self.nadir_bpm:.0f} bpm{back}"


class WindowFalls:
    """The falls of a window and how long they lasted, worked out when first asked for."""

    def __init__(self, whole: RecordingFacts, window: Window) -> None:
        self.whole = whole
        self.window = window

    def touching(self, which: BoolArray) -> tuple[Deceleration, ...]:
        """Decelerations of a mask any part of which lies in the window."""
        items = self.whole.falls.items
        return tuple(items[i] for i in self.here if which[i])

    @cached_property
    def here(self) -> list[int]:
        """Places of the decelerations any part of which lies in the window."""
        falls = self.whole.falls
        here = (falls.onset_s < self.window.end_s) & (falls.end_s > self.window.start_s)
        places: list[int] = np.flatnonzero(here).tolist()
        return places

    def so_far_s(self, fall: LongFall | Deceleration) -> float:
        """How long a fall had lasted by the window's end."""
        return min(fall.end_s, self.window.end_s) - fall.onset_s

    @cached_property
    def open_fall(self) -> Deceleration | None:
        """The deceleration that the window ends in, not seen to recover; None without one."""
        open_now = [
            fall
            for fall in self.touching(~self.whole.falls.shallow)
            if fall.end_s > self.window.end_s or not fall.recovered
        ]
        return max(open_now, key=lambda fall: fall.onset_s, default=None)

    def goes_on(self, fall: LongFall | Deceleration) -> bool:
        """Whether a fall not seen to recover may still go on when the window ends.

        Not where the rate was seen since, for fifteen seconds, where it fell from but for a quarter
        of the fall (as `steps_down` has it): then it came back while signal was lost.
        """
        if fall.recovered and fall.end_s <= self.window.end_s:
            return False
        back_bpm = fall.nadir_bpm + (1.0 - LEVEL_SHARE) * fall.depth_bpm
        return not self.whole.recovery.seen_over(back_bpm, fall.end_s, self.window.end_s)

    @property
    def going_on(self) -> LongFall | Deceleration | None:
        """The fall that goes on when the window ends: a long one, one to another level, or a
        deceleration; None without one, or where the rate was seen back since."""
        lasting = next((one for one in self.long if self.goes_on(one)), None)
        if lasting is not None:
            return lasting
        if self.to_a_level is not None and not self.to_a_level.recovered:
            return self.to_a_level
        fall = self.open_fall
        return fall if fall is not None and self.goes_on(fall) else None

    @property
    def open_for_long(self) -> bool:
        """Whether the window ends in a fall that has lasted over a minute."""
        fall = self.open_fall
        return fall is not None and self.so_far_s(fall) > CONCERNING_LONGER_S

    @cached_property
    def fall_into_loss(self) -> tuple[Deceleration, float] | None:
        """The deceleration that lost signal may have let last longest, and until when at most.

        One that lost signal ends, or whose last rate seen is still under its baseline, may have
        gone on until signal is back, or to the window's end; None where no more was lost after it
        than a fall is followed over.
        """
        curve = self.whole.findings.fetal.rate_curve
        seen = np.flatnonzero(np.isfinite(curve.values))
        if not len(seen):  # Findings without their rate cannot tell.
            return None
        found = []
        for fall in self.touching(~self.whole.falls.shallow):
            after = int(seen.searchsorted(math.ceil((fall.end_s - curve.start_s) / curve.step_s)))
            last = int(seen[after - 1]) if after else 0
            back = int(seen[after]) if after < len(seen) else len(curve.values)
            if fall.recovered and curve.values[last] >= fall.baseline_bpm - SHALLOW_FROM_BPM:
                continue
            lost_from_s = fall.end_s if not fall.recovered else curve.start_s + last * curve.step_s
            until_s = min(self.window.end_s, curve.start_s + back * curve.step_s)
            if until_s - lost_from_s > NOT_SEEN_S:
                found.append((fall, until_s))
        return max(found, key=lambda one: one[1] - one[0].onset_s, default=None)

    @cached_property
    def long(self) -> tuple[LongFall, ...]:
        """Falls that had lasted two minutes or more by the window's end, the longest first.

        Decelerations that reach into the window, sudden drops of the baseline that began in it, and
        a step down that has not come back: a fall that lasts on until it is called a new baseline
        is no shorter for that.
        """
        found = self._dropped
        for fall in sorted(self.touching(~self.whole.falls.shallow), key=lambda fall: fall.onset_s):
            found = _with_one_more(found, self._as_long(fall))
        long = [one for one in found if one.duration_s >= PROLONGED_FROM_S]
        return tuple(sorted(self._with_step(long), key=lambda one: -one.duration_s))

    @property
    def _dropped(self) -> list[LongFall]:
        """The sudden drops of the baseline that began in the window, as falls."""
        begin_s, end_s = self.window.start_s, self.window.end_s
        drops = (drop for drop in self.whole.lower.drops if begin_s <= drop.start_s < end_s)
        return [self._to_a_level(drop) for drop in drops]

    def _to_a_level(self, drop: Drop) -> LongFall:
        """A fall to another level until it rose again, at most to the window's end."""
        end_s = self.window.end_s
        depth_bpm, recovered = drop.from_bpm - drop.to_bpm, drop.until_s <= end_s
        until_s = min(drop.until_s, end_s)
        return LongFall(drop.start_s, until_s, depth_bpm, drop.to_bpm, recovered, to_a_level=True)

    def _as_long(self, fall: Deceleration) -> LongFall:
        """A deceleration until the rate was back, at most to the window's end."""
        end_s = self.window.end_s
        back_s, seen = self.whole.recovery.followed(fall, end_s)
        recovered = back_s <= end_s and seen
        return LongFall(fall.onset_s, min(back_s, end_s), fall.depth_bpm, fall.nadir_bpm, recovered)

    def _with_step(self, long: list[LongFall]) -> list[LongFall]:
        """The falls, and a step down that goes on where none of them does.

        What was told as a fall that began with the step, or was not seen back when it came, is the
        step's first part; one that began later and goes on, too, its last.
        """
        step = self._step
        end_s = self.window.end_s
        if step is None or self._settled(step):
            return long
        going_on = [one for one in long if not one.recovered and one.end_s >= end_s]
        if any(one.onset_s < step.start_s + within.BEGIN_TOGETHER_S for one in going_on):
            return long
        first = [
            one
            for one in long
            if one in going_on
            or _begin_together(one.onset_s, step.start_s)
            or (not one.recovered and one.onset_s < step.start_s <= one.end_s)
        ]
        onset_s = min((step.start_s, *(one.onset_s for one in first)))
        depth_bpm = max((step.from_bpm - step.to_bpm, *(one.depth_bpm for one in first)))
        nadir_bpm = min((step.to_bpm, *(one.nadir_bpm for one in first)))
        goes_on = LongFall(onset_s, end_s, depth_bpm, nadir_bpm, recovered=False, to_a_level=True)
        return [*(one for one in long if one not in first), goes_on]

    def lost_about(self, one: LongFall) -> float:
        """Share of lost signal in a fall and beside it, as far as a fall is followed over it."""
        begin_s = one.onset_s - NOT_SEEN_S
        length_s = min(one.end_s + NOT_SEEN_S, self.window.end_s) - begin_s
        return 1.0 - float(self.whole.reliable_shares(np.array([begin_s]), length_s)[0])

    @cached_property
    def slowest_fall(self) -> tuple[float, Window] | None:
        """Mean rate and stretch of the slowest fall of ten minutes or more; None without one.

        So long a fall is by its length a change of baseline (NICHD 2008), whatever it is called.
        """
        rate = self.whole.findings.fetal.rate_curve
        found = []
        for one in self.long:
            if one.duration_s < BASELINE_CHANGE_S:
                continue
            seen = rate.known(one.onset_s, one.end_s)
            if len(seen):
                found.append((float(seen.mean()), Window(one.onset_s, one.end_s)))
        return min(found, key=lambda one: one[0], default=None)

    @cached_property
    def maybe_slow(self) -> Window | None:
        """The longest stretch of the window that is taken for a rate counted half; None without.

        It is left out of the rate; were it the fetus's own, it would be a fall to under 100 bpm.
        Stretches with less than a minute between them are one.
        """
        halved = sorted(
            (max(one.start_s, self.window.start_s), min(one.end_s, self.window.end_s))
            for one in self.whole.findings.fetal.artefacts
            if one.kind is ArtefactKind.HALVING and self.window.overlaps(one.start_s, one.end_s)
        )
        joined: list[Window] = []
        for start_s, end_s in halved:
            if joined and start_s - joined[-1].end_s < MINUTE_S:
                start_s, end_s = joined[-1].start_s, max(joined.pop().end_s, end_s)
            joined.append(Window(start_s, end_s))
        return max(joined, key=lambda one: one.duration_s, default=None)

    @cached_property
    def _step(self) -> Drop | None:
        """The step down in the window that has not come back; None where the deceleration that is
        open at its end began with it or before."""
        begin_s, end_s = self.window.start_s, self.window.end_s
        latest_s = end_s - LEAST_STEP_S
        if self.open_fall is not None:
            latest_s = min(latest_s, self.open_fall.onset_s - within.BEGIN_TOGETHER_S)
        return next(
            (
                one
                for one in self.whole.lower.steps
                if begin_s <= one.start_s <= latest_s and one.until_s > end_s
            ),
            None,
        )

    def _settled(self, step: Drop) -> bool:
        """Whether a level that the rate fell to is a baseline that a careful reader calls settled.

        Not by time alone: ten minutes or more (NICHD 2008: a change of baseline) at 110 bpm or
        over, with moderate variability and an acceleration (ours). Until then it counts as a fall.
        """
        since = Window(step.start_s, self.window.end_s)
        # What looks like a rise beside the step is the end of the level before it.
        rises = Window(step.start_s + within.BEGIN_TOGETHER_S, self.window.end_s)
        moderate = VariabilityClass.MODERATE
        minutes = self.whole.minutes_from(self.window.start_s)
        return (
            since.duration_s >= BASELINE_CHANGE_S
            and step.to_bpm >= BASELINE_NORMAL_FROM_BPM
            and minutes.variability_in(since.start_s, since.end_s).variability is moderate
            and any(
                one.onset_s >= rises.start_s
                for one in within.accelerations_in(self.whole.findings, rises)
            )
        )

    @cached_property
    def settled_step(self) -> Drop | None:
        """A step down that has not come back and is taken for a new baseline; None without one."""
        step = self._step
        return step if step is not None and self._settled(step) else None

    @cached_property
    def open_step(self) -> Drop | None:
        """A step down of 15 bpm or more that no long fall tells, not come back; None without one.

        A baseline that has settled lower is common and no alarm by any standard; that it has not
        come back keeps the window from the best class (ours).
        """
        return self._step if all(one.recovered for one in self.long) else None

    @cached_property
    def closed_step(self) -> Drop | None:
        """The longest step down that came back within the window and that no fall tells whole; None
        without one.

        A shallow fall of minutes is followed by the baseline, and then told as a shorter one or as
        none: it is no milder for that.
        """
        untold = [
            step
            for step in self.whole.lower.steps
            if self.window.start_s <= step.start_s
            and step.until_s <= self.window.end_s
            and step.until_s - step.start_s >= PROLONGED_FROM_S
            and not any(
                one.onset_s < step.until_s
                and one.end_s > step.start_s
                and one.duration_s >= step.until_s - step.start_s
                for one in self.long
            )
        ]
        return max(untold, key=lambda step: step.until_s - step.start_s, default=None)

    @cached_property
    def lower_end(self) -> LowerEnd | None:
        """The lower level that the window ends at and that no open fall or step tells."""
        told = self.open_fall is not None or self._step is not None
        if told or any(not one.recovered for one in self.long):
            return None
        return lower_end(self.whole, self.window)

    @cached_property
    def to_a_level(self) -> LongFall | None:
        """A fall to another level, come back or not, that none of the long ones tells."""
        step, lower = self.open_step or self.closed_step, self.lower_end
        if step is None and lower is not None and lower.quick:
            step = Drop(lower.since_s, math.inf, lower.from_bpm, lower.to_bpm)
        return None if step is None else self._to_a_level(step)

    @property
    def long_weigh(self) -> bool:
        """Whether the prolonged falls keep the window from the best class of any standard.

        Two or more, or a fall of over a minute that has not come back when the window ends: how
        long it will last is not known (ours: FIGO and NICE count single falls from three minutes
        on only). A fall to another level among them, come back or not.
        """
        long = self.long
        if self.open_for_long or len(long) > 1 or any(not one.recovered for one in long):
            return True
        return self.to_a_level is not None

    @property
    def long_where(self) -> tuple[Window, ...]:
        """The stretches of these falls."""
        found = tuple(Window(one.onset_s, one.end_s) for one in self.long)
        if not found and self.open_fall is not None:
            return (Window(self.open_fall.onset_s, self.window.end_s),)
        if not found and self.to_a_level is not None:
            return (Window(self.to_a_level.onset_s, self.to_a_level.end_s),)
        return found


def _begin_together(one_s: float, other_s: float) -> bool:
    return abs(one_s - other_s) < within.BEGIN_TOGETHER_S


def _with_one_more(found: list[LongFall], fall: LongFall) -> list[LongFall]:
    """The falls and one more, unless it is told already.

    A fall that turns into a baseline is one fall, and lasts as long as that; one that begins while
    another goes on that is not seen back is a piece of it, may be its lowest, and may last longer.
    """
    if any(
        one.to_a_level and _begin_together(fall.onset_s, one.onset_s) and fall.end_s <= one.end_s
        for one in found
    ):
        return found
    for place, one in enumerate(found):
        if one.recovered or one.to_a_level or not one.onset_s < fall.onset_s < one.end_s:
            continue
        lowest_bpm = min(one.nadir_bpm, fall.nadir_bpm)
        whole = replace(
            one,
            end_s=max(one.end_s, fall.end_s),
            nadir_bpm=lowest_bpm,
            depth_bpm=one.depth_bpm + one.nadir_bpm - lowest_bpm,
            recovered=fall.recovered and fall.end_s >= one.end_s,
        )
        return [*found[:place], whole, *found[place + 1 :]]
    return [*found, fall]
