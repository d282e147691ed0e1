"""What all standards ask of a window, worked out once and used by each of them."""

from __future__ import annotations

import math
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from ebbline.criteria.recording_index import recording_facts
from ebbline.criteria.variability_runs import MINUTE_S
from ebbline.criteria.window_falls import WindowFalls
from ebbline.criteria.window_levels import WindowLevels
from ebbline.definitions import (
    BASELINE_VERY_SLOW_BPM,
    HALF_OF_CONTRACTIONS,
    TACHYSYSTOLE_ABOVE,
    TEN_MINUTES_S,
    WORKABLE_LOSS,
)
from ebbline.features import pattern_duration
from ebbline.features import window as within
from ebbline.features.findings import Artefact, DecelerationKind, Findings, SinusoidalEpisode
from ebbline.features.kept import kept
from ebbline.terms import SensorKind, Window, counted

BoolArray = NDArray[np.bool_]

LIKELY = 0.5
"""A hill of a toco counts towards a tachysystole or an amber from this certainty on (ours)."""


class WindowFacts:
    """What the standards ask of one window; each answer is worked out when first asked for.

    levels: its baseline and variability; falls: its decelerations and how long they lasted.
    """

    def __init__(self, findings: Findings, window: Window) -> None:
        self.findings = findings
        self.window = window
        self.whole = recording_facts(findings)
        self.levels = WindowLevels(self.whole, window)
        self.falls = WindowFalls(self.whole, window)

    @cached_property
    def reliable_share(self) -> float:
        """Share of the window with heart rate that can be relied on."""
        return float(
            self.whole.reliable_shares(np.array([self.window.start_s]), self.window.duration_s)[0]
        )

    @cached_property
    def poorest(self) -> tuple[float, Window]:
        """Share and place of the poorest ten minutes of the window (its whole, when shorter)."""
        length_s = min(TEN_MINUTES_S, self.window.duration_s)
        latest_s = self.window.end_s - length_s
        starts = np.append(np.arange(self.window.start_s, latest_s, MINUTE_S), latest_s)
        shares = self.whole.reliable_shares(starts, length_s)
        at = int(np.argmin(shares))
        return float(shares[at]), Window(float(starts[at]), float(starts[at]) + length_s)

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
        return tuple(
            one for one in self.whole.suspected if self.window.overlaps(one.start_s, one.end_s)
        )

    def longest_sinusoidal(self, *, pseudo: bool = False) -> tuple[float, SinusoidalEpisode] | None:
        """The longest sinusoidal episode that reaches into the window: seconds so far, episode."""
        here = [
            (min(one.end_s, self.window.end_s) - one.start_s, one)
            for one in self.findings.fetal.sinusoidal
            if one.pseudo is pseudo and self.window.overlaps(one.start_s, one.end_s)
        ]
        return max(here, key=lambda pair: pair[0], default=None)

    @cached_property
    def slow_share(self) -> float:
        """Share of the window's usable heart rate that is under 100 bpm; NaN without any."""
        rate = self.findings.fetal.rate_curve
        seen = rate.known(self.window.start_s, self.window.end_s)
        if len(seen) * rate.step_s < MINUTE_S:
            return math.nan
        return int(np.count_nonzero(seen < BASELINE_VERY_SLOW_BPM)) / len(seen)

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
    def late(self) -> BoolArray:
        """The decelerations that count as late in this window (NICHD, NICE).

        Shallow ones, of 10 to under 15 bpm, count where variability is absent or minimal, and where
        they come with half of the contractions: a depth of 15 bpm is asked of variable ones only.
        """
        falls = self.whole.falls
        every = falls.late | falls.shallow_late
        if self.levels.low_variability or self.recurrent(every).answer:
            return every
        return falls.late

    @cached_property
    def recurring_late(self) -> BoolArray:
        """What is asked of late decelerations with how many contractions they come."""
        late = self.late
        if self._enough(late):
            late = late | self.whole.falls.late_but_abrupt
        return self._with_prolonged(late)

    @cached_property
    def recurring_variable(self) -> BoolArray:
        """The same of variable ones; beside two of them early ones too deep for that are no break
        of their pattern."""
        variable = self.whole.falls.variable
        if self._enough(variable):
            variable = variable | self.whole.falls.deep_early
        return self._with_prolonged(variable)

    def _with_prolonged(self, which: BoolArray) -> BoolArray:
        """The mask, and prolonged falls where two of the mask are in the window.

        A prolonged fall hides the decelerations that would have come with its contractions: the
        pattern is no rarer for it (ours).
        """
        return which | self.whole.falls.prolonged if self._enough(which) else which

    def _enough(self, which: BoolArray) -> bool:
        """Whether enough of a mask to recur is in the window."""
        return sum(bool(which[place]) for place in self.falls.here) >= within.LEAST_TO_RECUR

    def of_kind(self, kind: DecelerationKind) -> BoolArray:
        """The decelerations that are asked of a kind with how many contractions they come."""
        match kind:
            case DecelerationKind.LATE:
                return self.recurring_late
            case DecelerationKind.VARIABLE:
                return self.recurring_variable
            case _:
                return self.whole.falls.of_kind(kind)

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
        return tuple(Window(one.onset_s, one.end_s) for one in self.falls.long if one.to_a_level)

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

    def run_ended(self, run: pattern_duration.PatternRun) -> str:
        """'the last over at 0:33:21' of a run that was over ten minutes before the end, or ''."""
        if self.window.end_s - run.end_s < TEN_MINUTES_S:
            return ""
        return f"the last over at {clock(run.end_s)}"

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
