"""What all standards ask of a window, worked out once and used by each of them."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import cached_property
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from ebbline.criteria.recording_index import (
    LEAST_PART_S,
    NOT_SEEN_S,
    MinuteVariability,
    TenMinuteBaseline,
    VariabilitySeen,
    recording_facts,
)
from ebbline.criteria.variability_runs import MINUTE_S, RunFound
from ebbline.definitions import (
    BASELINE_CHANGE_S,
    BASELINE_NORMAL_FROM_BPM,
    BASELINE_VERY_SLOW_BPM,
    CONCERNING_LONGER_S,
    HALF_HOUR_S,
    HALF_OF_CONTRACTIONS,
    HOUR_S,
    PROLONGED_FROM_S,
    REDUCED_BELOW_BPM,
    TACHYSYSTOLE_ABOVE,
    TEN_MINUTES_S,
    WORKABLE_LOSS,
)
from ebbline.features import pattern_duration
from ebbline.features import window as within
from ebbline.features.findings import (
    Artefact,
    ArtefactKind,
    Deceleration,
    DecelerationKind,
    Findings,
    SinusoidalEpisode,
    VariabilityClass,
)
from ebbline.features.kept import kept
from ebbline.features.steps_down import Drop
from ebbline.terms import SensorKind, Window, counted

FloatArray = NDArray[np.float64]
BoolArray = NDArray[np.bool_]


LIKELY = 0.5
"""A hill of a toco counts towards a tachysystole or an amber from this certainty on (ours)."""

MOSTLY = 0.8
"""Variability is mostly reduced where so many of the minutes are (ours)."""

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
    def words(self) -> str:
        """'75 bpm deep, down to 65 bpm, not recovered'."""
        back = "" if self.recovered else ", not recovered"
        return f"{self.depth_bpm:.0f} bpm deep, down to {self.nadir_bpm:.0f} bpm{back}"


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
        # Half of the signal is half of it wherever the window begins.
        shares: FloatArray = np.round(gathered / length_s, 9)
        return shares

    @cached_property
    def seen_words(self) -> str:
        """Of what a number of events is said: 'in the window', or of the share that was valid."""
        valid = within.valid_share(self.findings, self.window)
        if valid >= 1.0 - WORKABLE_LOSS:
            return "in the window"
        return f"seen in the {100 * valid:.0f} % of the window with valid signal"

    @cached_property
    def suspected(self) -> tuple[Artefact, ...]:
        """Stretches of the window whose rate is not relied on."""
        return tuple(one for one in self.whole.suspected if self.overlaps(one.start_s, one.end_s))

    # ------------------------------------------------------------ baseline and variability

    @cached_property
    def tens(self) -> tuple[tuple[float, float], ...]:
        """Start and end of each ten minutes from the window's start.

        What is left at the end joins the last where it is under five minutes.
        """
        begin_s, end_s = self.window.start_s, self.window.end_s
        edges: list[float] = [*np.arange(begin_s, end_s, TEN_MINUTES_S).tolist(), end_s]
        if len(edges) > 2 and edges[-1] - edges[-2] < LEAST_PART_S:
            edges.pop(-2)
        return tuple(pairwise(edges))

    @cached_property
    def whole_tens(self) -> tuple[tuple[float, float], ...]:
        """The same for what needs ten minutes: a shorter window is lengthened backwards to them."""
        if not self.tens:
            return ()
        (start_s, end_s), *others = self.tens
        return ((min(start_s, end_s - TEN_MINUTES_S), end_s), *others)

    @cached_property
    def baselines(self) -> tuple[TenMinuteBaseline, ...]:
        """The baseline of each ten minutes."""
        return tuple(self.whole.level_in(*part) for part in self.whole_tens)

    @cached_property
    def known_baselines(self) -> tuple[TenMinuteBaseline, ...]:
        """Those of them that are determinate or carried over."""
        return tuple(one for one in self.baselines if not math.isnan(one.whole_bpm))

    @cached_property
    def variabilities(self) -> tuple[VariabilitySeen, ...]:
        """The variability of each ten minutes, as in its columns."""
        return tuple(self.minutes.variability_in(*part) for part in self.tens)

    @cached_property
    def known_variabilities(self) -> tuple[VariabilitySeen, ...]:
        """Those of them whose class could be told."""
        return tuple(
            one
            for one in self.variabilities
            if one.variability is not VariabilityClass.INDETERMINATE
        )

    def variability_of(self, kind: VariabilityClass) -> tuple[VariabilitySeen, ...]:
        """Those of one class."""
        return tuple(one for one in self.variabilities if one.variability is kind)

    @cached_property
    def minutes(self) -> MinuteVariability:
        """The variability by the minute, counted from the window's start."""
        return self.whole.minutes_from(self.window.start_s)

    @cached_property
    def measured_minutes(self) -> float:
        """Minutes of the window with measured variability."""
        track = self.minutes.measured
        first, stop = track.inside(self.window.start_s, self.window.end_s)
        return (stop - first) * track.step_s / MINUTE_S

    @cached_property
    def mean_bandwidths(self) -> tuple[tuple[float, Window], tuple[float, Window]]:
        """Least and greatest mean bandwidth, each with its stretch; NaN when not measurable.

        Of the window itself, or in one longer than 30 minutes of every 30 minutes of it (steps of
        a minute). The least leaves out a few strange minutes and counts what falls took as no
        livelier than what is beside it (`MinuteVariability.variability_in`, as in the review); the
        greatest is of every minute. Stretches with less than the least number of measured minutes
        are left out.
        """
        length_s = min(self.window.duration_s, HALF_HOUR_S)
        starts = np.arange(self.window.start_s, self.window.end_s - length_s + 1e-6, MINUTE_S)
        highs = self.minutes.measured.means(starts, length_s)
        lows = np.array(
            [
                self.minutes.variability_in(start_s, start_s + length_s).bandwidth_bpm
                for start_s in starts.tolist()
            ]
        )
        filled = self.minutes.filled.means(starts, length_s)
        lows = np.fmin(np.where(np.isfinite(highs), lows, filled), highs)
        return self._extreme(starts, lows, np.nanargmin), self._extreme(starts, highs, np.nanargmax)

    def _extreme(
        self, starts: FloatArray, means: FloatArray, place: Callable[[FloatArray], np.intp]
    ) -> tuple[float, Window]:
        if not np.isfinite(means).any():
            return math.nan, self.window
        at = int(place(means))
        start_s = float(starts[at])
        end_s = min(start_s + HALF_HOUR_S, self.window.end_s)
        return float(means[at]), Window(start_s, end_s)

    @cached_property
    def reduced_run(self) -> RunFound | None:
        """The longest run of reduced variability that reaches into the window."""
        return self.minutes.filled.longest(self.minutes.reduced_runs, self.window)

    @cached_property
    def mostly_reduced(self) -> Window | None:
        """The longest stretch that reaches into the window with a bandwidth under 5 bpm in all but
        a fifth of its minutes, the first and the last among them; None without one.

        Looked for in the hour that ends with the window.
        """
        track = self.minutes.filled
        _, stop = track.inside(self.window.start_s, self.window.end_s)
        begin, _ = track.inside(self.window.end_s - HOUR_S, self.window.end_s)
        flat = track.bpm[begin:stop] < REDUCED_BELOW_BPM
        starts = track.start_s[begin:stop]
        sums = np.concatenate(([0], np.cumsum(flat)))
        best: Window | None = None
        places = np.flatnonzero(flat)
        for first in places.tolist():
            ends = places[places >= first]
            many = sums[ends + 1] - sums[first] >= MOSTLY * (ends + 1 - first)
            here = starts[ends] + track.step_s > self.window.start_s
            last = ends[many & here]
            if not len(last):
                continue
            end_s = min(float(starts[last[-1]]) + track.step_s, self.window.end_s)
            one = Window(float(starts[first]), end_s)
            if (best is None or one.duration_s > best.duration_s) and not self._broken(one):
                best = one
        return best

    def _broken(self, where: Window) -> bool:
        """Whether more than a fifth of a stretch's minutes has no variability."""
        track = self.minutes.filled
        first, stop = track.inside(where.start_s, where.end_s)
        return (stop - first) * track.step_s < MOSTLY * where.duration_s

    @cached_property
    def reduced_over_gaps(self) -> RunFound | None:
        """The longest such run when nothing that was not measured breaks it."""
        return self.minutes.filled.longest(self.minutes.reduced_over_gaps, self.window)

    @cached_property
    def increased_run(self) -> RunFound | None:
        """The longest run of increased variability that reaches into the window."""
        return self.minutes.lively.longest(self.minutes.increased_runs, self.window)

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
        items = self.whole.falls.items
        return tuple(items[i] for i in self._here if which[i])

    @cached_property
    def _here(self) -> list[int]:
        """Places of the decelerations any part of which lies in the window."""
        falls = self.whole.falls
        here = (falls.onset_s < self.window.end_s) & (falls.end_s > self.window.start_s)
        places: list[int] = np.flatnonzero(here).tolist()
        return places

    def so_far_s(self, fall: Deceleration) -> float:
        """How long a deceleration had lasted by the window's end."""
        return min(fall.end_s, self.window.end_s) - fall.onset_s

    @cached_property
    def slow_share(self) -> float:
        """Share of the window's usable heart rate that is under 100 bpm; NaN without any."""
        rate = self.findings.fetal.rate_curve
        seen = rate.known(self.window.start_s, self.window.end_s)
        if len(seen) * rate.step_s < MINUTE_S:
            return math.nan
        return int(np.count_nonzero(seen < BASELINE_VERY_SLOW_BPM)) / len(seen)

    @cached_property
    def long_falls(self) -> tuple[LongFall, ...]:
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
        end_s = self.window.end_s
        return [
            LongFall(
                drop.start_s,
                min(drop.until_s, end_s),
                drop.from_bpm - drop.to_bpm,
                drop.to_bpm,
                drop.until_s <= end_s,
                to_a_level=True,
            )
            for drop in self.whole.drops
            if self.window.start_s <= drop.start_s < end_s
        ]

    def _as_long(self, fall: Deceleration) -> LongFall:
        """A deceleration until the rate was back, at most to the window's end."""
        end_s = self.window.end_s
        back_s, seen = self.whole.followed(fall, end_s)
        recovered = back_s <= end_s and seen
        return LongFall(fall.onset_s, min(back_s, end_s), fall.depth_bpm, fall.nadir_bpm, recovered)

    def _with_step(self, long: list[LongFall]) -> list[LongFall]:
        """The falls, and a step down that goes on where none of them does.

        What was told as a fall that began with the step, or was not seen back when it came, is the
        step's first part.
        """
        step = self._step
        end_s = self.window.end_s
        goes_on_already = any(not one.recovered and one.end_s >= end_s for one in long)
        if step is None or self._settled(step) or goes_on_already:
            return long
        first = [
            one
            for one in long
            if _begin_together(one.onset_s, step.start_s)
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
        return 1.0 - float(self._reliable(np.array([begin_s]), length_s)[0])

    @cached_property
    def slowest_fall(self) -> tuple[float, Window] | None:
        """Mean rate and stretch of the slowest fall of ten minutes or more; None without one.

        So long a fall is by its length a change of baseline (NICHD 2008), whatever it is called.
        """
        rate = self.findings.fetal.rate_curve
        found = []
        for one in self.long_falls:
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
            for one in self.findings.fetal.artefacts
            if one.kind is ArtefactKind.HALVING and self.overlaps(one.start_s, one.end_s)
        )
        joined: list[Window] = []
        for start_s, end_s in halved:
            if joined and start_s - joined[-1].end_s < MINUTE_S:
                start_s, end_s = joined[-1].start_s, max(joined.pop().end_s, end_s)
            joined.append(Window(start_s, end_s))
        return max(joined, key=lambda one: one.duration_s, default=None)

    @cached_property
    def _step(self) -> Drop | None:
        """The step down in the window that has not come back; None where a deceleration is open."""
        begin_s, end_s = self.window.start_s, self.window.end_s
        if self.open_fall is not None:
            return None
        return next(
            (
                one
                for one in self.whole.steps
                if begin_s <= one.start_s <= end_s - LEAST_STEP_S and one.until_s > end_s
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
        return (
            since.duration_s >= BASELINE_CHANGE_S
            and step.to_bpm >= BASELINE_NORMAL_FROM_BPM
            and self.minutes.variability_in(since.start_s, since.end_s).variability is moderate
            and any(
                one.onset_s >= rises.start_s
                for one in within.accelerations_in(self.findings, rises)
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
        return self._step if all(one.recovered for one in self.long_falls) else None

    @property
    def long_falls_weigh(self) -> bool:
        """Whether the prolonged falls keep the window from the best class of any standard.

        Two or more, or a fall of over a minute that has not come back when the window ends: how
        long it will last is not known (ours: FIGO and NICE count single falls from three minutes
        on only).
        """
        long = self.long_falls
        if self.open_for_long or len(long) > 1 or any(not one.recovered for one in long):
            return True
        return self.open_step is not None

    @property
    def open_for_long(self) -> bool:
        """Whether the window ends in a fall that has lasted over a minute."""
        fall = self.open_fall
        return fall is not None and self.so_far_s(fall) > CONCERNING_LONGER_S

    @property
    def long_falls_where(self) -> tuple[Window, ...]:
        """The stretches of these falls."""
        found = tuple(Window(one.onset_s, one.end_s) for one in self.long_falls)
        if not found and self.open_fall is not None:
            return (Window(self.open_fall.onset_s, self.window.end_s),)
        if not found and self.open_step is not None:
            return (Window(self.open_step.start_s, self.window.end_s),)
        return found

    @cached_property
    def unread_contractions(self) -> tuple[int, int]:
        """Contractions of the window through which the heart rate could not be read, and all."""
        index = within.index_of(self.findings)
        first, last = np.searchsorted(
            index.contraction_peak_s, (self.window.start_s, self.window.end_s)
        )
        here = index.readable[first:last]
        return int(np.count_nonzero(~here)), len(here)

    @cached_property
    def low_variability(self) -> bool:
        """Whether some ten minutes are absent or minimal, or some half hour has under 5 bpm."""
        low = self.mean_bandwidths[0][0]
        flat = (VariabilityClass.ABSENT, VariabilityClass.MINIMAL)
        return any(one.variability in flat for one in self.variabilities) or (
            low < REDUCED_BELOW_BPM
        )

    @cached_property
    def late(self) -> BoolArray:
        """The decelerations that count as late in this window (NICHD, NICE).

        Shallow ones, of 10 to under 15 bpm, count where variability is absent or minimal, and where
        they come with half of the contractions: a depth of 15 bpm is asked of variable ones only.
        """
        whole = self.whole
        every = whole.late | whole.shallow_late
        if self.low_variability or self.recurrent(every).answer:
            return every
        return whole.late

    @cached_property
    def recurring_late(self) -> BoolArray:
        """What is asked of late decelerations with how many contractions they come."""
        late = self.late
        if sum(bool(late[place]) for place in self._here) >= within.LEAST_TO_RECUR:
            late = late | self.whole.late_but_abrupt
        return self._with_prolonged(late)

    @cached_property
    def recurring_variable(self) -> BoolArray:
        """The same of variable ones."""
        return self._with_prolonged(self.whole.variable)

    def _with_prolonged(self, which: BoolArray) -> BoolArray:
        """The mask, and prolonged falls where two of the mask are in the window.

        A prolonged fall hides the decelerations that would have come with its contractions: the
        pattern is no rarer for it (ours).
        """
        enough = sum(bool(which[place]) for place in self._here) >= within.LEAST_TO_RECUR
        return which | self.whole.prolonged if enough else which

    def of_kind(self, kind: DecelerationKind) -> BoolArray:
        """The decelerations that are asked of a kind with how many contractions they come."""
        match kind:
            case DecelerationKind.LATE:
                return self.recurring_late
            case DecelerationKind.VARIABLE:
                return self.recurring_variable
            case _:
                return self.whole.of_kind(kind)

    @cached_property
    def open_fall(self) -> Deceleration | None:
        """The deceleration that the window ends in, not seen to recover; None without one."""
        open_now = [
            fall
            for fall in self.touching(~self.whole.falls.shallow)
            if fall.end_s > self.window.end_s or not fall.recovered
        ]
        return max(open_now, key=lambda fall: fall.onset_s, default=None)

    @cached_property
    def fall_into_loss(self) -> tuple[Deceleration, float] | None:
        """The deceleration that lost signal may have let last longest, and until when at most.

        One that was not seen to recover may have gone on until signal is back, or to the window's
        end; None where no more was lost after it than a fall is followed over.
        """
        curve = self.findings.fetal.rate_curve
        seen = np.isfinite(curve.values)
        if not seen.any():  # Findings without their rate cannot tell.
            return None
        found = []
        for fall in self.touching(~self.whole.falls.shallow):
            if fall.recovered or fall.end_s >= self.window.end_s - NOT_SEEN_S:
                continue
            first = max(0, math.ceil((fall.end_s - curve.start_s) / curve.step_s))
            back = np.flatnonzero(seen[first:])
            until_s = self.window.end_s
            if len(back):
                until_s = min(until_s, curve.start_s + (first + int(back[0])) * curve.step_s)
            if until_s - fall.end_s > NOT_SEEN_S:
                found.append((fall, until_s))
        return max(found, key=lambda one: one[1] - one[0].onset_s, default=None)

    @cached_property
    def accelerations(self) -> int:
        """Accelerations whose peak lies in the window."""
        return len(within.accelerations_in(self.findings, self.window))

    def recurrent(self, which: BoolArray) -> within.Answer:
        """See `features.window.recurrent`."""
        return within.recurrent(self.findings, self.window, which, self._level_falls)

    def repetitive(self, which: BoolArray) -> within.Answer:
        """See `features.window.repetitive`."""
        return within.repetitive(self.findings, self.window, which, self._level_falls)

    @cached_property
    def _level_falls(self) -> tuple[Window, ...]:
        """Falls that lasted on as a level: their contractions carry a fall, as they did before."""
        return tuple(Window(one.onset_s, one.end_s) for one in self.long_falls if one.to_a_level)

    def by_one_event(self, answer: within.Answer, which: BoolArray, *, strictly: bool) -> str:
        """What one deceleration more or fewer would change of an answer, or ""."""
        share = within.share_with_decelerations(self.findings, answer.stretch, which)
        carrying, all_of = share.carrying, share.contractions

        def reached(number: int) -> bool:
            half = HALF_OF_CONTRACTIONS * all_of
            enough = number > half if strictly else number >= half
            return enough and number >= within.LEAST_TO_RECUR

        pattern = "repetitive" if strictly else "recurrent"
        seen = f"decelerations with {carrying} of {counted(all_of, 'contraction')}"
        if answer.answer and not reached(carrying - 1):
            return f"{seen}: with one fewer they are not {pattern}"
        if answer.answer is False and carrying < all_of and reached(carrying + 1):
            return f"{seen}: with one more they are {pattern}"
        return ""

    def by_the_unread(self, answer: within.Answer, which: BoolArray, *, strictly: bool) -> str:
        """What contractions that could not be read through may add to a pattern, or ""."""
        share = within.share_with_decelerations(self.findings, answer.stretch, which)
        most = share.carrying + share.unreadable
        half = HALF_OF_CONTRACTIONS * (share.contractions + share.unreadable)
        enough = most > half if strictly else most >= half
        if answer.answer is not False or not share.unreadable or not share.carrying:
            return ""
        if not enough or most < within.LEAST_TO_RECUR:
            return ""
        pattern = "repetitive" if strictly else "recurrent"
        one = share.unreadable == 1
        unread = "one that" if one else f"{share.unreadable} that"
        return (
            f"decelerations with {share.carrying} of {counted(share.contractions, 'contraction')}: "
            f"{pattern} if the {unread} could not be read through {'has' if one else 'have'} them, "
            "too"
        )

    def longest_run(self, which: BoolArray) -> pattern_duration.PatternRun | None:
        """See `features.pattern_duration.longest_run`."""
        return pattern_duration.longest_run(self.findings, self.window, which)

    def chain(self, which: BoolArray, apart_s: float) -> Window | None:
        """The longest series of decelerations no further apart than apart_s that reaches in."""
        return pattern_duration.longest_chain(self.findings, self.window, which, apart_s)

    def likely_contractions(self, busiest: within.Answer) -> tuple[float, str]:
        """Contractions in 10 minutes of a stretch without hills of a toco that may be none, and
        words on those."""
        seen = within.contractions_in(self.findings, busiest.stretch)
        by_toco = self.findings.uterine.sensor is not SensorKind.PRESSURE_CATHETER
        doubtful = sum(one.certainty < LIKELY for one in seen) if by_toco else 0
        if not doubtful:
            return busiest.value, ""
        sure = busiest.value * (len(seen) - doubtful) / len(seen)
        return sure, (
            f"contractions: {doubtful} of {len(seen)} hills of the toco are doubtful, and without "
            f"them there are {sure:.1f} in 10 min"
        )

    def doubt_of_tachysystole(self, answer: within.Answer) -> str:
        """Why a tachysystole is not said: it rests on hills that may be no contractions; or ""."""
        sure, told = self.likely_contractions(answer)
        if not answer.answer or not told or sure > TACHYSYSTOLE_ABOVE:
            return ""
        return f"{told}, not {answer.value:.1f}; feel the contractions"

    @cached_property
    def tachysystole(self) -> within.Answer:
        """See `features.window.tachysystole`."""
        return within.tachysystole(self.findings, self.window)


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


@kept(4)
def window_facts(findings: Findings, window: Window) -> WindowFacts:
    """The facts of a window; kept for the last few windows asked for."""
    return WindowFacts(findings, window)


def clock(time_s: float) -> str:
    """Hours, minutes and seconds from the recording's start."""
    seconds = round(time_s)
    return f"{seconds // 3600}:{seconds // 60 % 60:02d}:{seconds % 60:02d}"


def stretch(start_s: float, end_s: float) -> str:
    """'0:10:00 to 0:20:00'."""
    return f"{clock(start_s)} to {clock(end_s)}"
