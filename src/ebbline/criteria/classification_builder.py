"""Where the reasons of one class are gathered, and how they make a class or a refusal.

Missing signal never reassures and never hides an alarm:

- the worst class of a standard of labour is given whenever one of its criteria is met on the
  signal that is there, each being enough by itself; what could not be seen is said beside it;
- any other class is refused where the window cannot carry one, or where something that was seen
  may belong to the worst class and missing signal keeps it from being told;
- the best class is refused where a part it rests on could not be seen.

A refusal keeps all the reasons that were found.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from ebbline.criteria import limits
from ebbline.criteria.model import Classification, Level, Reason
from ebbline.criteria.rule import NOT_NUMERIC, Part, Rule, Table, reason
from ebbline.criteria.window_view import WindowFacts, stretch
from ebbline.features.findings import ArtefactKind, Deceleration
from ebbline.recording.model import Context
from ebbline.terms import Stage, Window

NO_CLASS = "no class"
_ORDER = (Level.ALARMING, Level.CAUTION, Level.NOT_ASSESSED, Level.REASSURING)


class Docket:
    """The reasons of one class in the making."""

    def __init__(self, table: Table, facts: WindowFacts) -> None:
        self._table = table
        self._facts = facts
        self._found: list[tuple[Rule, Reason]] = []
        self._refused: list[str] = []
        self._withheld: list[str] = []
        self._open: list[str] = []
        self._unseen: list[str] = []

    def add(
        self,
        rule: Rule,
        value: float = NOT_NUMERIC,
        *,
        evidence: Iterable[Window] = (),
        detail: str = "",
        level: Level | None = None,
    ) -> None:
        """State a line that was met (or one that is only noted)."""
        made = reason(rule, value, evidence=evidence, detail=detail, level=level)
        self._found.append((rule, made))

    def refuse(self, why: str) -> None:
        """The window cannot carry a class; only the worst is still given."""
        self._refused.append(why)

    def withhold(self, why: str) -> None:
        """The best class cannot be given: a part it rests on could not be seen."""
        self._withheld.append(why)

    def leave_open(self, why: str, evidence: Iterable[Window] = ()) -> None:
        """Something seen may belong to the worst class, and missing signal leaves it untold."""
        self._open.append(why)
        self.add(limits.OPEN, evidence=evidence, detail=why)

    def not_seen(self, what: str) -> None:
        """Something the class rests on that could not be seen, without stopping the class."""
        self._unseen.append(what)

    def met(self, rank: int) -> tuple[Rule, ...]:
        """Deciding lines of this rank that were met."""
        return tuple(
            rule for rule, _ in self._found if rule.part is Part.CLASS and rule.rank == rank
        )

    def weighs(self, feature: str) -> bool:
        """Whether a line of this feature keeps the window from the best class."""
        return any(
            rule.feature == feature and rule.part is Part.CLASS and rule.rank > 0
            for rule, _ in self._found
        )

    def close(self) -> Classification:
        """The class, or the refusal."""
        rank = max((rule.rank for rule, _ in self._found if rule.part is Part.CLASS), default=0)
        refusal: list[str] = []
        unseen = list(self._unseen)
        found = self._found
        if rank == self._table.alarm_rank:
            unseen = [*self._refused, *self._withheld, *unseen]
            found = [(rule, made) for rule, made in found if rule is not limits.OPEN]
        else:
            refusal = [*self._refused, *self._open]
            if rank == 0:
                refusal += self._withheld
            else:
                unseen = [*self._withheld, *unseen]
            if refusal and rank > 0 and self._table.alarm_rank is not None:
                refusal.append(f"what could be seen is at least {self._table.classes[rank]}")
        decided: tuple[str, ...] = ()
        if not refusal:
            decided = tuple(
                dict.fromkeys(
                    rule.id
                    for rule, _ in self._found
                    if rule.part is Part.CLASS and rule.rank == rank
                )
            )
        reasons = sorted(
            (made for _, made in found),
            key=lambda made: (made.rule not in decided, _ORDER.index(made.level)),
        )
        return Classification(
            standard=self._table.standard,
            edition=self._table.edition,
            window=self._facts.window,
            label=NO_CLASS if refusal else self._table.classes[rank],
            rank=-1 if refusal else rank,
            reasons=tuple(reasons),
            decided_by=decided,
            refusal=tuple(dict.fromkeys(refusal)),
            not_assessed=tuple(dict.fromkeys(unseen)),
        )


def spans(falls: Iterable[Deceleration]) -> tuple[Window, ...]:
    """The stretches of decelerations, as evidence."""
    return tuple(Window(fall.onset_s, fall.end_s) for fall in falls)


def check_window(docket: Docket, facts: WindowFacts, context: Context) -> None:
    """Hold the window against the limits all standards of labour share."""
    window = facts.window
    if context.stage_at(window.end_s) is Stage.ANTEPARTUM:
        docket.add(limits.LABOUR)
    minutes = window.duration_s / 60.0
    if limits.WINDOW.met(minutes):
        docket.add(limits.WINDOW, minutes)
        docket.refuse(f"the window is too short: {minutes:.1f} min, {_needed(limits.WINDOW)}")
    share = facts.reliable_share
    poorest, where = facts.poorest
    if limits.VALID.met(share):
        docket.add(limits.VALID, share)
        docket.refuse(
            f"too little signal: {100 * share:.0f} % of the window can be relied on, "
            f"{_needed(limits.VALID)}"
        )
    elif limits.TEN_MINUTES.met(poorest):
        docket.add(limits.TEN_MINUTES, poorest, evidence=(where,))
        docket.withhold(
            f"the heart rate from {stretch(where.start_s, where.end_s)} could not be read"
        )
    if limits.WORKABLE.met(1.0 - share):
        docket.add(limits.WORKABLE, 1.0 - share)
        docket.not_seen(f"{100 * (1 - share):.0f} % of the heart-rate signal is lost or doubtful")
    for kind in dict.fromkeys(one.kind for one in facts.suspected):
        found = [one for one in facts.suspected if one.kind is kind]
        seconds = sum(one.end_s - one.start_s for one in found)
        advice = "; feel the maternal pulse" if kind is ArtefactKind.MATERNAL else ""
        docket.not_seen(
            f"{seconds:.0f} s from {stretch(found[0].start_s, found[-1].end_s)} are not relied on: "
            f"{kind.value}{advice}"
        )


def check_baseline(docket: Docket, facts: WindowFacts) -> None:
    """The best class needs a baseline in every ten minutes of the window."""
    for one in facts.baselines:
        if one.asked_for and math.isnan(one.whole_bpm):
            place = stretch(one.evidence.start_s, one.evidence.end_s)
            docket.withhold(f"the baseline from {place} is indeterminate: {one.why}")


def check_bandwidth(docket: Docket, facts: WindowFacts) -> None:
    """A class needs minutes in which variability could be measured."""
    if math.isnan(facts.mean_bandwidths[0][0]):
        minutes = facts.measured_minutes
        docket.add(limits.MEASURED_MINUTES, minutes)
        docket.refuse(
            f"variability could be measured in {minutes:.0f} min only, "
            f"{_needed(limits.MEASURED_MINUTES)}"
        )


def _needed(rule: Rule) -> str:
    amount = 100 * rule.threshold if rule.unit == "%" else rule.threshold
    return f"{amount:g} {rule.unit} needed"
