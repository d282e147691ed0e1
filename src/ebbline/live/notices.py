"""What a step of the reading gives reason to look at, and which of it is new.

`seen` finds the conditions that hold at a step; `NoticeWatch` raises a notice for those that are
new by the policy: not of the same episode as one that was raised, nor within its set time. It
decides from the notices that are already kept, so that a process that takes a labour over raises
none twice.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ebbline.criteria import TABLES
from ebbline.criteria.model import Classification
from ebbline.definitions import TACHYSYSTOLE_ABOVE
from ebbline.features import window as within
from ebbline.features.findings import ArtefactKind, Findings
from ebbline.live.bed_reader import Step
from ebbline.live.notice_policy import Grade, NoticePolicy, NoticeRule
from ebbline.live.sample_store import Notice
from ebbline.reading.four_lines import open_fall
from ebbline.reading.text import Clock, length, number
from ebbline.terms import Window

SAME_EPISODE_S = 60.0
"""What began no later than this after a notice was raised is what that notice was about."""

UNREAD_S, MISSED_S = 30.0, 600.0
"""After a longer pause than the first a fall may have come and gone unread; falls that ended within
the second are then told all the same (ours)."""

RECENT_S = 120.0
"""A suspected stretch that ended longer ago is no prompt any more."""

OLD_FALL_S = 300.0
"""A fall that began so long before the last reading of the whole stretch was there for it to see. A
reading of the last minutes alone, which may take the end of a long rise for a fall, does not prompt
for one that the whole did not show: the next whole reading, a minute off at most, says (ours)."""

BETTER_FOR_S = 1800.0
"""A class must have been better for this long before it counts as worsening again (ours): classes
near a limit come and go."""


@dataclass(frozen=True, slots=True)
class Seen:
    """A condition that holds. from_s: since when; lasting_s: how long it counts for.

    of: the twin or the review that it is about, where there may be several. over: it began and
    ended while nothing was read (a process had died, much came at once), and is told afterwards.
    """

    kind: str
    from_s: float
    lasting_s: float
    text: str
    value: float = math.nan
    of: str = ""
    over: bool = False


@dataclass(frozen=True, slots=True)
class Overdue:
    """A review that is overdue: since when (s from the labour's start), and which."""

    name: str
    from_s: float


def seen(
    step: Step, clock: Clock, overdue: Sequence[Overdue] = (), since_s: float = math.inf
) -> tuple[Seen, ...]:
    """The conditions that hold at a step; those that need the whole stretch at full ones only.

    since_s: when it was read before, where that is so long ago that a fall may have been missed.
    """
    found: list[Seen] = []
    if not step.fetuses:
        found.append(
            Seen(
                "signal-lost",
                0.0,
                step.at_s,
                f"No heart rate has come from this bed since {clock.at(0.0)}, when its watching "
                "began.",
            )
        )
    several = len(step.fetuses) > 1
    for one in step.fetuses:
        here = [*_now(one.findings, step.at_s, clock)]
        here += [*_missed(one.findings, since_s, step.at_s, clock)]
        if step.full:
            here += [*_lasting(one.findings, step.at_s)]
        if several:
            name = f"Fetus {one.fetus}"
            here = [replace(x, of=name, text=f"{name}: {x.text}") for x in here]
        found += here
    found += [
        Seen(
            "review-overdue", x.from_s, step.at_s - x.from_s, f"{x.name}: due {clock.at(x.from_s)}."
        )
        for x in overdue
    ]
    return tuple(found)


def _now(findings: Findings, at_s: float, clock: Clock) -> Iterable[Seen]:
    window = Window(max(findings.fetal.valid.start_s, at_s - 1800.0), at_s)
    fall = open_fall(findings, window)
    if fall is not None:
        yield Seen(
            "prolonged-fall",
            fall.onset_s,
            fall.so_far_s,
            f"Fell from {number(fall.from_bpm, 'bpm')} to {number(fall.to_bpm, 'bpm')} at "
            f"{clock.at(fall.onset_s)}, {length(fall.so_far_s)} so far, not recovered.",
        )
    curve = findings.fetal.rate_curve
    there = np.flatnonzero(np.isfinite(curve.values))
    last_s = curve.start_s + (curve.step_s * (int(there[-1]) + 1) if len(there) else 0.0)
    if at_s > last_s:
        yield Seen(
            "signal-lost",
            last_s,
            at_s - last_s,
            f"No usable heart rate for {length(at_s - last_s)}, since {clock.at(last_s)}.",
        )
    for one in findings.fetal.artefacts:
        if one.kind is ArtefactKind.MATERNAL and one.end_s > at_s - RECENT_S:
            yield Seen(
                "mother-suspected",
                one.start_s,
                one.end_s - one.start_s,
                f"From {clock.at(one.start_s)} for {length(one.end_s - one.start_s)}: {one.why}.",
            )


def _missed(findings: Findings, since_s: float, at_s: float, clock: Clock) -> Iterable[Seen]:
    """Falls that were over before they could be told while they lasted."""
    for one in findings.fetal.decelerations:
        if max(since_s, at_s - MISSED_S) < one.end_s < at_s and not one.shallow:
            lasted_s = one.end_s - one.onset_s
            yield Seen(
                "prolonged-fall",
                one.onset_s,
                lasted_s,
                f"Fell to {number(one.nadir_bpm, 'bpm')} at {clock.at(one.onset_s)} for "
                f"{length(lasted_s)}, over at {clock.at(one.end_s)}; told late, since nothing was "
                "read meanwhile.",
                over=True,
            )


def _lasting(findings: Findings, at_s: float) -> Iterable[Seen]:
    low = [one for one in findings.fetal.baseline if one.end_s > at_s - 1800.0]
    if low and low[-1].determinate and low[-1].end_s - low[-1].start_s >= 600.0:
        # The level of the last whole ten minutes, and since when it has been as low.
        last = low[-1]
        begins_s = last.start_s
        for one in reversed(findings.fetal.baseline):
            if not one.determinate or one.mean_bpm >= 110.0:
                break
            begins_s = one.start_s
        yield Seen(
            "bradycardia",
            begins_s,
            at_s - begins_s,
            f"Baseline {number(last.mean_bpm, 'bpm')} over the last ten minutes that are whole.",
            last.mean_bpm,
        )
    busy = within.tachysystole(findings, Window(max(0.0, at_s - 1800.0), at_s))
    if busy.answer and at_s >= 1800.0:
        rate = f"{busy.value:.1f}"
        if float(rate) <= TACHYSYSTOLE_ABOVE:
            rate = f"just over {TACHYSYSTOLE_ABOVE:g}"
        yield Seen(
            "tachysystole",
            busy.stretch.start_s,
            at_s - busy.stretch.start_s,
            f"{rate} contractions in 10 minutes, averaged over 30.",
            busy.value,
        )


def _is_open_fall(one: Seen) -> bool:
    return one.kind == "prolonged-fall" and not one.over


class NoticeWatch:
    """The watch over one labour. kept: the notices that were raised before, in any order."""

    def __init__(
        self,
        labour: str,
        policy: NoticePolicy,
        kept: Iterable[Notice] = (),
        memory: dict[str, Any] | None = None,
    ) -> None:
        self.labour = labour
        self.policy = policy
        self.kept = list(kept)
        self.memory: dict[str, Any] = memory or {}

    def raise_for(
        self, step: Step, clock: Clock, overdue: Sequence[Overdue] = ()
    ) -> tuple[Notice, ...]:
        """The new notices of a step, the most urgent first. Steps that were watched raise none."""
        if step.at_s <= self.memory.get("at_s", -1.0):
            return ()
        last_s = self.memory.get("at_s", step.at_s)
        self.memory["at_s"] = step.at_s
        missed_since_s = last_s if step.at_s - last_s > UNREAD_S else math.inf
        conditions = [*seen(step, clock, overdue, missed_since_s)]
        if step.full and step.fetuses:
            conditions += self._worsened(step)
            self.memory["full_s"] = step.at_s
            self.memory["open_falls"] = [one.of for one in conditions if _is_open_fall(one)]
        elif not step.full:
            conditions = [one for one in conditions if not self._waits_for_the_whole(one)]
        raised: list[Notice] = []
        for one in conditions:
            rule = self.policy.rule(one.kind)
            if rule is None:
                continue
            passed = [g for g in rule.grades if _passed(g, one)]
            if passed and self._is_new(rule, passed[-1], one, step.at_s):
                raised.append(self._notice(passed[-1], one, step.at_s))
        self.kept += raised
        del self.kept[:-200]
        return tuple(sorted(raised, key=lambda n: -_URGENCY[n.urgency]))

    def _waits_for_the_whole(self, one: Seen) -> bool:
        """Whether it is a fall that the last reading of the whole stretch should have shown."""
        full_s = self.memory.get("full_s")
        if full_s is None or not _is_open_fall(one) or one.of in self.memory["open_falls"]:
            return False
        return bool(one.from_s < full_s - OLD_FALL_S)

    def unanswered(self, at_s: float) -> tuple[Notice, ...]:
        """Notices to pass on: nobody acknowledged them within the policy's time."""
        return tuple(
            one
            for one in self.kept
            if one.acknowledged_at is None
            and one.escalated_at is None
            and (rule := self.policy.rule(one.kind)) is not None
            and at_s - one.at_s >= rule.escalate_s
        )

    def note(self, changed: Notice) -> None:
        """Take over what the store says of a notice (its number, who acknowledged it)."""
        self.kept = [changed if _same(one, changed) else one for one in self.kept]

    def _is_new(self, rule: NoticeRule, grade: Grade, one: Seen, at_s: float) -> bool:
        name = _grade_name(grade, one)
        if one.over or rule.again_s == 0.0:
            # What was told of it may say more than how long it is seen to last now: in the end, or
            # by a process that took over and sees it begin later, where the signal was lost.
            higher = {_grade_name(g, one) for g in rule.grades if g.after_s > grade.after_s}
            for told in self.kept:
                same = one.from_s <= told.at_s + SAME_EPISODE_S and (
                    not one.over or told.from_s - SAME_EPISODE_S <= one.from_s
                )
                if told.kind == one.kind and told.grade in higher and same:
                    return False
        for earlier in self.kept:
            if earlier.kind != one.kind or earlier.grade != name:
                continue
            same_episode = one.from_s <= earlier.at_s + SAME_EPISODE_S
            if same_episode and rule.again_s == 0.0:
                return False
            if rule.again_s > 0.0 and abs(at_s - earlier.at_s) < rule.again_s:
                return False
        return True

    def _notice(self, grade: Grade, one: Seen, at_s: float) -> Notice:
        return Notice(
            labour=self.labour,
            kind=one.kind,
            grade=_grade_name(grade, one),
            from_s=one.from_s,
            at_s=at_s,
            urgency=grade.urgency,
            text=one.text,
            rule=f"{grade.rule} ({grade.source})",
        )

    def _worsened(self, step: Step) -> Iterable[Seen]:
        """The class of the leading standard against the one that it is held against."""
        leading = step.fetuses[0].classes[0]
        worst: Classification = max(
            (one.classes[0] for one in step.fetuses if one.classes),
            key=_certain_rank,
            default=leading,
        )
        rank = _certain_rank(worst)
        if rank < 0:
            return
        memory = self.memory
        held = memory.setdefault("rank", rank)
        label = memory.setdefault("label", worst.said)
        if rank > held:
            since_s = memory.setdefault("worse_s", step.at_s)
            memory.pop("better_s", None)
            rule = self.policy.rule("class-worsened")
            if rule is not None and step.at_s - since_s >= rule.grades[0].after_s:
                memory.update(rank=rank, label=worst.said)
                memory.pop("worse_s", None)
                yield Seen(
                    "class-worsened",
                    since_s,
                    step.at_s - since_s,
                    f"{worst.said} for {length(step.at_s - since_s)}; it was {label}.",
                )
            return
        memory.pop("worse_s", None)
        if rank == held or worst.refused:
            memory.pop("better_s", None)
        elif step.at_s - memory.setdefault("better_s", step.at_s) >= BETTER_FOR_S:
            memory.update(rank=rank, label=worst.said)
            memory.pop("better_s", None)


def _certain_rank(one: Classification) -> int:
    """The rank of a class, or of the one that a refused window is at least in; -1 with neither."""
    return TABLES[one.standard].classes.index(one.at_least) if one.at_least else one.rank


_URGENCY = {"look": 0, "soon": 1, "now": 2}


def _passed(grade: Grade, one: Seen) -> bool:
    below = math.isnan(grade.below_bpm) or one.value < grade.below_bpm
    return one.lasting_s >= grade.after_s and below


def _grade_name(grade: Grade, one: Seen) -> str:
    return f"{grade.name}, {one.of}" if one.of else grade.name


def _same(one: Notice, other: Notice) -> bool:
    return (one.kind, one.grade, one.at_s) == (other.kind, other.grade, other.at_s)
