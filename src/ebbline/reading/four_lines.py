"""The four lines said before all else: class, right now, what is new, what could not be seen.

`FetalReading.four_lines` holds them for the standard that the reading was asked for first;
`four_lines` makes them for another of its classes. Whoever shows a reading (screen, strip, sheet,
handover) shows these first and whole: `FourLines.titled` gives title and sentence of each.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass

import numpy as np

from ebbline.criteria.lower_end import highest_level, maybe_hers
from ebbline.criteria.model import GRAVITY, Classification, Level
from ebbline.criteria.window_falls import LongFall
from ebbline.criteria.window_view import WindowFacts, window_facts
from ebbline.definitions import (
    BASELINE_NORMAL_FROM_BPM,
    BASELINE_NORMAL_TO_BPM,
    LEAST_EXCURSION_BPM,
    LEAST_EXCURSION_S,
    LEAST_SEEN_SHARE,
    TEN_MINUTES_S,
    WORKABLE_LOSS,
)
from ebbline.features import window as within
from ebbline.features.findings import Findings
from ebbline.reading import counts
from ebbline.reading.model import FourLines, Review
from ebbline.reading.summary import new_against_the_hour_before
from ebbline.reading.text import Clock, length, number, sentence, share, upper
from ebbline.signal.quality import middle
from ebbline.terms import VariabilityClass, Window, counted

NOW_S = 60.0
"""The rate "now" is the middle one of the last minute (ours)."""

UNKNOWN_FROM_S = 60.0
"""After so long without signal nobody knows how the rate is now (ours)."""

_REASONS_SAID = 2


def four_lines(
    findings: Findings, review: Review, leading: Classification, clock: Clock
) -> FourLines:
    """The four lines of a window by one standard's class."""
    now = right_now(findings, review.window, clock)
    return FourLines(
        standard=leading.standard,
        label=leading.said,
        level=max(leading.level, now.level, key=GRAVITY.index),
        recovered=now.recovered,
        class_line=by_the_clock(class_line(leading), clock),
        now_line=now.line,
        new_line=_new(findings, review.window),
        unseen_line=by_the_clock(_unseen(review, leading), clock),
    )


_FROM_START = re.compile(
    r"(?<![\d:])(\d+):([0-5]\d):([0-5]\d) to (\d+):([0-5]\d):([0-5]\d)(?![\d:])"
)


def by_the_clock(words: str, clock: Clock) -> str:
    """Stretches that a class tells from the recording's start, by the clock where it is known.

    Beside times of the clock "7:03:20 to 7:03:34" would be read as seven in the morning.
    """
    if clock.start is None:
        return words

    def said(found: re.Match[str]) -> str:
        numbers = [int(part) for part in found.groups()]
        first, last = (3600 * h + 60 * m + s for h, m, s in (numbers[:3], numbers[3:]))
        return clock.stretch(Window(first, last))

    return _FROM_START.sub(said, words)


def class_line(one: Classification) -> str:
    """The class and what decides it, and what its letter leaves out: danger first."""
    why = [*(reason.text for reason in one.deciding), *one.refusal]
    said = [sentence(upper(text)) for text in why[:_REASONS_SAID]]
    more = sum(text not in one.below for text in why[_REASONS_SAID:])
    if more > 0:
        said.append(f"And {counted(more, 'more reason')}.")
    above = [sentence(upper(text)) for text in one.above]
    below = [sentence(upper(text)) for text in one.below if text not in why[:_REASONS_SAID]]
    edge = [sentence(f"On the edge: {text}") for text in one.edge]
    return " ".join([*above, f"{one.edition}: {one.said}.", *said, *below, *edge])


@dataclass(frozen=True, slots=True)
class OpenFall:
    """The fall that a window ends in, as the classes count it. hers: what is said where the level
    that it stays at may be the mother's."""

    from_bpm: float
    onset_s: float
    to_bpm: float
    so_far_s: float
    hers: str = ""


def open_fall(findings: Findings, window: Window) -> OpenFall | None:
    """The fall that the window ends in; None without one, or where the rate was seen back since.

    A deceleration, one that rose in part and fell again, or a fall that lasts on as a new baseline.
    """
    falls = window_facts(findings, window).falls
    fall = falls.going_on
    if fall is None:
        return None
    to_a_level = isinstance(fall, LongFall) and fall.to_a_level
    return OpenFall(
        fall.from_bpm if isinstance(fall, LongFall) else fall.baseline_bpm,
        fall.onset_s,
        fall.nadir_bpm,
        falls.so_far_s(fall),
        maybe_hers(fall.nadir_bpm) if to_a_level else "",
    )


@dataclass(frozen=True, slots=True)
class RightNow:
    """The last ten minutes in a line. recovered: None where that was not seen."""

    level: Level
    recovered: bool | None
    line: str


@dataclass(frozen=True, slots=True)
class Moment:
    """The last seconds of a trace that runs: what is called now there is no older than these.

    rate_bpm: the middle rate of the last `seconds` with signal; age_s: how long ago the last of
    them was; baseline_bpm: the level that it is held against, NaN where none is known.
    """

    rate_bpm: float
    seconds: int
    age_s: float
    baseline_bpm: float

    @property
    def unseen(self) -> bool:
        """Whether it was so long ago that a minute's rate must not be called that of now."""
        return self.age_s > self.seconds

    @property
    def low(self) -> bool:
        """Whether the rate lies under its baseline, or under 110 where the baseline does not."""
        slow = self.baseline_bpm < BASELINE_NORMAL_FROM_BPM
        return self.rate_bpm <= self.baseline_bpm - LEAST_EXCURSION_BPM or (
            self.rate_bpm < BASELINE_NORMAL_FROM_BPM and not slow
        )


@dataclass(frozen=True, slots=True)
class LastMinute:
    """What the last minute with signal and the ten about it say.

    head, tail: what is said before and after its rate (bpm); recovered: after falls that are over;
    down: the rate is under its earlier level.
    """

    level: Level
    bpm: float
    tail: str
    head: str = ""
    recovered: bool = False
    down: bool = False

    def told(self, moment: Moment | None) -> RightNow:
        """The line for a moment; None: for the end of a recording, where the minute is now.

        Of the minute's rate and that of the last seconds the worse is said first. Nothing is called
        recovered whose last seconds are down, and what was not seen for some seconds is not now.
        """
        bpm = number(self.bpm, "bpm")
        back = ", recovered" if self.recovered else ""
        when, before = f"now{back}", ""
        level, recovered = self.level, None if moment is not None and moment.unseen else True
        if moment is not None:
            when = f"over the last minute{back}"
            if moment.unseen:
                when, before = (
                    "over the minute before",
                    f"No rate for the last {length(moment.age_s)}",
                )
                level = max(level, Level.NOT_ASSESSED, key=GRAVITY.index)
            elif moment.low and not self.down:
                when = "over the last minute"
                before = f"{number(moment.rate_bpm, 'bpm')} in the last {moment.seconds} s"
                level, recovered = max(level, Level.CAUTION, key=GRAVITY.index), False
        line = f"{self.head}{bpm} {when}{self.tail}"
        if before:
            line = f"{before}; {line[0].lower()}{line[1:]}"
        return RightNow(level, False if self.down else recovered, line)


def right_now(
    findings: Findings, window: Window, clock: Clock, moment: Moment | None = None
) -> RightNow:
    """How it is at the window's end: level, whether recovered, and the line.

    moment: of a trace that runs, its last seconds.
    """
    begin_s = max(window.start_s, window.end_s - TEN_MINUTES_S)
    curve = findings.fetal.rate_curve
    first = max(0, round((begin_s - curve.start_s) / curve.step_s))
    last = max(first, round((window.end_s - curve.start_s) / curve.step_s))
    rate = curve.values[first:last]
    seen = np.flatnonzero(np.isfinite(rate))
    minutes = length(window.end_s - begin_s)
    if not len(seen):
        return RightNow(Level.CAUTION, None, f"No usable heart rate in the last {minutes}.")
    silent_s = (len(rate) - 1 - int(seen[-1])) * curve.step_s
    recent = rate[max(0, int(seen[-1]) + 1 - round(NOW_S / curve.step_s)) : int(seen[-1]) + 1]
    now_bpm = middle(recent)
    fall = open_fall(findings, window)
    if fall is not None:
        lost = f", and no signal for the last {length(silent_s)}" if silent_s >= NOW_S else ""
        # Under 15 s it is no deceleration yet (NICHD 2008), and may become none.
        head = "Not recovered: it fell" if fall.so_far_s >= LEAST_EXCURSION_S else "Falling now:"
        return RightNow(
            Level.ALARMING,
            False,
            f"{head} from {number(fall.from_bpm, 'bpm')} at "
            f"{clock.at(fall.onset_s)} down to {number(fall.to_bpm, 'bpm')}, for "
            f"{length(fall.so_far_s)} so far{lost}{fall.hers}.",
        )
    before_bpm = highest_level(window_facts(findings, window).whole, window)
    down = now_bpm < before_bpm - LEAST_EXCURSION_BPM
    before = f", baseline {number(before_bpm, 'bpm')} before{maybe_hers(now_bpm)}" if down else ""
    if silent_s >= UNKNOWN_FROM_S:
        return RightNow(
            Level.ALARMING if down else Level.CAUTION,
            None,
            f"How the rate is now is not known: no signal for the last {length(silent_s)}; "
            f"{number(now_bpm, 'bpm')} when it was last seen{before}.",
        )
    falls = within.decelerations_in(findings, Window(begin_s, window.end_s))
    if down:
        head = "Not at its earlier level: "
        return LastMinute(Level.ALARMING, now_bpm, f"{before}.", head, down=True).told(moment)
    level = Level.REASSURING
    valid = within.valid_share(findings, Window(begin_s, window.end_s))
    lately = f"no deceleration in the last {minutes}."
    if falls:
        level = Level.CAUTION
        lately = (
            f"{counts.said(len(falls), 'deceleration', valid, before_bpm)} in the last {minutes}, "
            f"the last over at {clock.at(max(fall.end_s for fall in falls))}."
        )
    elif counts.in_part(valid, before_bpm):
        level = Level.CAUTION
        why = (
            "no baseline is known"
            if valid >= LEAST_SEEN_SHARE
            else f"{share(valid)} of them has valid signal"
        )
        lately = f"decelerations of the last {minutes} not assessed: {why}."
    elif valid < 1.0 - WORKABLE_LOSS:
        lately = f"no deceleration seen in the {share(valid)} valid of the last {minutes}."
    facts = window_facts(findings, Window(begin_s, window.end_s))
    undulating = _undulating(facts, clock)
    unusual = _unusual(facts, undulating=bool(undulating))
    if unusual:
        level = max(level, Level.CAUTION, key=GRAVITY.index)
    if undulating:
        level = Level.ALARMING
    tail = "; ".join(["", *unusual, lately])
    return LastMinute(level, now_bpm, tail, undulating, recovered=bool(falls)).told(moment)


def _undulating(facts: WindowFacts, clock: Clock) -> str:
    """What is said first where the last minutes are sinusoidal; else nothing."""
    found = facts.longest_sinusoidal()
    if found is None:
        return ""
    so_far_s, episode = found
    over = episode.end_s < facts.window.end_s - NOW_S
    until = f", over at {clock.at(episode.end_s)}" if over else " so far"
    return f"Sinusoidal pattern for {length(so_far_s)}{until}: "


def _unusual(facts: WindowFacts, *, undulating: bool) -> list[str]:
    """Baseline and variability of the last minutes, each where it was seen and is not normal.

    undulating: the waves are said already, and are no variability.
    """
    said = []
    for level in facts.levels.baselines[-1:]:
        bpm = number(level.whole_bpm, "bpm")
        if level.carried or math.isnan(level.whole_bpm):
            continue
        if level.whole_bpm > BASELINE_NORMAL_TO_BPM:
            said.append(f"baseline {bpm}, over {BASELINE_NORMAL_TO_BPM:.0f}")
        elif level.whole_bpm < BASELINE_NORMAL_FROM_BPM:
            said.append(f"baseline {bpm}, under {BASELINE_NORMAL_FROM_BPM:.0f}")
    for seen in facts.levels.known_variabilities[-1:]:
        if seen.variability is not VariabilityClass.MODERATE and not undulating:
            said.append(
                f"variability {seen.variability.value}, {number(seen.bandwidth_bpm, 'bpm')}"
            )
    return said


def _new(findings: Findings, window: Window) -> str:
    said = new_against_the_hour_before(findings, window)
    if not said:
        return "Nothing is new against the hour before."
    return sentence(upper("; ".join(said)))


def _unseen(review: Review, leading: Classification) -> str:
    """Signal that is missing, and what the class rests on that could not be seen."""
    gap = f", longest gap {length(review.longest_gap_s)}" if review.longest_gap_s >= 1 else ""
    said = [f"{share(review.valid_share)} of the heart rate was seen{gap}"]
    if not review.contractions.assessed:
        said.append("contractions were not")
    more = list(dict.fromkeys((*leading.not_assessed, *review.not_assessed)))
    said += [text for text in more if not text.startswith(("contractions:", "hypertonus:"))][:2]
    return " ".join(sentence(upper(text)) for text in said)
