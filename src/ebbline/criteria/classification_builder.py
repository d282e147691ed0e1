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
from ebbline.criteria.lower_end import maybe_hers
from ebbline.criteria.model import Classification, Level, Reason
from ebbline.criteria.rate_source import doubts_of_source
from ebbline.criteria.rule import NOT_NUMERIC, Compare, Part, Rule, Table, reason, shown
from ebbline.criteria.window_view import WindowFacts, clock, stretch
from ebbline.definitions import HALF_OF_CONTRACTIONS, LEAST_EXCURSION_S, PROLONGED_FROM_S
from ebbline.features.findings import ArtefactKind, Deceleration
from ebbline.features.fitness import unfit_words
from ebbline.recording.model import Context
from ebbline.terms import Stage, Window, counted

NO_CLASS = "no class"
NEAR_SHARE = 0.05
"""A value within a twentieth of a threshold may be on its other side for another reader (ours)."""
OF_A_BAND = 1.0
"""A mean bandwidth moves by up to so many times the share lost (ours: of open recordings and
invented labours with up to a fifth lost none was lifted over 5 bpm by more)."""
_ORDER = (Level.ALARMING, Level.CAUTION, Level.NOT_ASSESSED, Level.REASSURING)


class ClassBuilder:
    """The reasons of one class, gathered until `close` makes the class of them."""

    def __init__(self, table: Table, facts: WindowFacts) -> None:
        self._table = table
        self._facts = facts
        self._found: list[tuple[Rule, Reason]] = []
        self._refused: list[str] = []
        self._withheld: list[str] = []
        self._open: list[str] = []
        self._unseen: list[str] = []
        self._beyond: list[str] = []
        self._whose: list[str] = []
        self._edge: list[str] = []
        self._near: list[tuple[Rule, float]] = []
        self._hidden: list[tuple[Rule, float, str]] = []
        self._by_event: list[tuple[Rule, bool, str]] = []

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

    def say_above(self, what: str) -> None:
        """What the letter of the standard leaves out, to be said above the class."""
        self._beyond.append(what)

    def question_source(self, why: str) -> None:
        """The rate may not be the fetus's: said above the class, and the best one is withheld."""
        self._whose.append(why)
        self.say_above(why)

    def on_edge(self, what: str) -> None:
        """What would change the class if it were a little more or less."""
        self._edge.append(what)

    def near(self, rule: Rule, value: float, lost: float | None = None) -> None:
        """Say so when a little more, or a little less, of a value would change what a line says.

        Near is within NEAR_SHARE of the threshold, and 1 bpm for a baseline; where signal was lost,
        within the share lost more (`limits.HIDES_FROM`). lost: the share where the value was taken,
        if not that of the window.
        """
        if rule.compare is Compare.PRESENT or math.isnan(value):
            return
        lost = self._lost if lost is None else lost
        off = abs(value - rule.threshold)
        of_baseline = rule.feature == "baseline"
        if off <= (1.0 if of_baseline else NEAR_SHARE * rule.threshold):
            self._near.append((rule, value))
        share = OF_A_BAND * lost if rule.unit == "bpm" else min(lost, NEAR_SHARE) + lost
        if rule.unit == "bpm" and not of_baseline and value >= limits.NARROW_BPM:
            return
        if off <= (float(lost >= NEAR_SHARE) if of_baseline else share * rule.threshold):
            self.hides(rule, "" if rule.met(value) else self._near_words(rule, value), lost)

    def near_by_event(self, rule: Rule, met: bool | None, words: str) -> None:
        """Say so when one event more or fewer would change what a line says; "" when not so."""
        if words and met is not None:
            self._by_event.append((rule, met, words))
            self.hides(rule, "" if met else words)

    def hides(self, rule: Rule, words: str, lost: float | None = None) -> None:
        """Say that lost signal may keep a line from being met; "" when not so."""
        lost = self._lost if lost is None else lost
        if words and lost >= limits.HIDES_FROM:
            self._hidden.append((rule, lost, words))

    def within_loss(self, value: float, limit: float) -> bool:
        """Whether a value over a lower limit is so near it that lost signal may hide the rest."""
        return limit <= value <= limit * (1.0 + NEAR_SHARE + self._lost)

    @property
    def _lost(self) -> float:
        return 1.0 - self._facts.reliable_share

    @staticmethod
    def _near_words(rule: Rule, value: float) -> str:
        words = f"{rule.says[:1].lower()}{rule.says[1:]} {shown(value, rule)}"
        return f"{words}; {rule.verdict} if {rule.condition}"

    def _may_hide(self, rank: int) -> list[str]:
        """What lost signal may keep from a worse class; the best is given beside little of it."""
        return [
            f"{100 * lost:.0f} % of the heart rate is lost or doubtful there, and {words}"
            for rule, lost, words in self._hidden
            if rule.rank > rank and (rank > 0 or lost >= NEAR_SHARE)
        ]

    def _edges(self, rank: int) -> list[str]:
        """The near lines that would change the class."""
        said = []
        for rule, value in self._near:
            met = rule.met(value)
            if (met and rule.rank == rank > 0) or (not met and rule.rank > rank):
                said.append(self._near_words(rule, value))
        for rule, met, words in self._by_event:
            if (met and rule.rank == rank > 0) or (not met and rule.rank > rank):
                said.append(words)
        return said

    @property
    def rank(self) -> int:
        """The worst class that a line so far makes."""
        return max((rule.rank for rule, _ in self._found if rule.part is Part.CLASS), default=0)

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
        rank = self.rank
        refusal: list[str] = []
        at_best = False
        unseen = list(self._unseen)
        found = self._found
        if rank == self._table.alarm_rank:
            unseen = [*self._refused, *self._withheld, *unseen]
            found = [(rule, made) for rule, made in found if rule is not limits.OPEN]
        else:
            refusal = [*self._refused, *self._open, *self._may_hide(rank)]
            if rank == 0:
                at_best = bool(self._whose) and not refusal
                refusal += self._withheld + self._whose
            else:
                unseen = [*self._withheld, *unseen]
        certain = bool(refusal) and rank > 0 and self._table.alarm_rank is not None
        decided: tuple[str, ...] = ()
        if not refusal or certain:
            decided = tuple(
                dict.fromkeys(
                    rule.id
                    for rule, _ in self._found
                    if rule.part is Part.CLASS and rule.rank == rank
                )
            )
        if any(rule is limits.VALID for rule, _ in found):
            # Half a window unseen says nothing for it: no "no decelerations", no "baseline normal".
            found = [
                (rule, made)
                for rule, made in found
                if made.level is not Level.REASSURING or rule.feature == "accelerations"
            ]
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
            at_least=self._table.classes[rank] if certain else "",
            at_best=self._table.classes[0] if at_best else "",
            beyond=tuple(dict.fromkeys(self._beyond)),
            doubts=tuple(dict.fromkeys(self._whose)),
            edge=tuple(dict.fromkeys((*self._edge, *self._edges(rank)))),
        )


def spans(falls: Iterable[Deceleration]) -> tuple[Window, ...]:
    """The stretches of decelerations, as evidence."""
    return tuple(Window(fall.onset_s, fall.end_s) for fall in falls)


def check_window(builder: ClassBuilder, facts: WindowFacts, context: Context) -> None:
    """Hold the window against the limits all standards of labour share."""
    window = facts.window
    if context.stage_at(window.end_s - 1.0) is Stage.ANTEPARTUM:
        builder.add(limits.LABOUR)
    minutes = window.duration_s / 60.0
    if limits.WINDOW.met(minutes):
        builder.add(limits.WINDOW, minutes)
        builder.refuse(f"the window is too short: {minutes:.1f} min, {_needed(limits.WINDOW)}")
    share = facts.reliable_share
    poorest, where = facts.poorest
    if limits.VALID.met(share):
        builder.add(limits.VALID, share)
        builder.refuse(
            f"too little signal: {100 * share:.0f} % of the window can be relied on, "
            f"{_needed(limits.VALID)}"
        )
    elif limits.TEN_MINUTES.met(poorest):
        builder.add(limits.TEN_MINUTES, poorest, evidence=(where,))
        builder.withhold(
            f"the heart rate from {stretch(where.start_s, where.end_s)} could not be read"
        )
    if limits.WORKABLE.met(1.0 - share):
        builder.add(limits.WORKABLE, 1.0 - share)
        builder.not_seen(f"{100 * (1 - share):.0f} % of the heart-rate signal is lost or doubtful")
        _withhold_for_loss(builder, facts)
    unread, contractions = facts.unread_contractions
    if unread > HALF_OF_CONTRACTIONS * contractions:
        builder.withhold(
            f"the heart rate could not be read through {unread} of "
            f"{counted(contractions, 'contraction')}"
        )
    for what in unfit_words(facts.findings):
        if what.startswith("variability"):
            builder.refuse(what)
        else:
            builder.withhold(what)
    found = facts.suspected
    if found:
        seconds = sum(one.end_s - one.start_s for one in found)
        kinds = dict.fromkeys(one.kind for one in found)
        advice = "; feel the maternal pulse" if ArtefactKind.MATERNAL in kinds else ""
        told = stretch(math.floor(found[0].start_s), math.ceil(max(one.end_s for one in found)))
        long = "under 1 s" if seconds < 1.0 else f"{seconds:.0f} s"
        builder.not_seen(
            f"{long} from {told} {'is' if seconds < 1.5 else 'are'} not relied on: "
            f"{', '.join(kind.value for kind in kinds)}{advice}"
        )


def _withhold_for_loss(builder: ClassBuilder, facts: WindowFacts) -> None:
    """More is lost than is workable: no best class beside falls, or beside a narrow band.

    Further falls may lie in what was lost, and the minutes that are left may be the livelier ones.
    """
    falls = facts.falls.touching(~facts.whole.falls.shallow)
    why = []
    if falls:
        seen = counted(len(falls), "deceleration")
        why.append(f"beside the {seen} seen others may lie in it")
    if min(facts.levels.narrowest_bpm, facts.levels.mean_bandwidths[0][0]) < limits.NARROW_BPM:
        why.append("variability is close to 5 bpm in what is left")
    if why:
        lost = f"{100 * (1 - facts.reliable_share):.0f} % of the heart rate is lost or doubtful"
        builder.withhold(f"{lost}, and {'; '.join(why)}")


def check_maybe_slow(builder: ClassBuilder, facts: WindowFacts, alarming: Rule) -> None:
    """A rate left out as counted half, for so long that it were alarming if it is the fetus's."""
    slow = facts.falls.maybe_slow
    if slow is not None and alarming.met(slow.duration_s / 60.0):
        builder.leave_open(
            f"if the rate from {stretch(slow.start_s, slow.end_s)} is the fetus's own and not "
            f"counted half, it is a fall of {slow.duration_s / 60.0:.0f} min: listen",
            evidence=(slow,),
        )


def check_into_loss(builder: ClassBuilder, facts: WindowFacts, alarming: Rule) -> None:
    """A fall that goes into lost signal may have gone on through it: no best class beside it.

    alarming: the standard's line of one long fall, which the whole of it might meet.
    """
    if facts.falls.fall_into_loss is None:
        return
    fall, until_s = facts.falls.fall_into_loss
    whole = Window(fall.onset_s, until_s)
    told = (
        f"no signal from {stretch(fall.end_s, until_s)}: the fall before it, down to "
        f"{fall.nadir_bpm:.0f} bpm, was not seen to recover and may have lasted "
        f"{whole.duration_s / 60.0:.1f} min"
    )
    _may_last(builder, whole, told, alarming)


def check_settled(builder: ClassBuilder, facts: WindowFacts, alarming: Rule | None) -> None:
    """Lower levels that are new baselines, or falls: those that go on, and those that came back.

    alarming: the standard's line of one long fall, which would then be met; None: it keeps the
    window from the best class.
    """
    end_s = facts.window.end_s
    if facts.falls.lower_end is not None:
        builder.withhold(facts.falls.lower_end.words(end_s))
    for step, then in (
        (facts.falls.settled_step, "and stayed: a new baseline, or a fall that has not come back"),
        (facts.falls.closed_step, "and then came back: another baseline for a while, or a fall"),
    ):
        if step is None:
            continue
        lasted = Window(step.start_s, min(step.until_s, end_s))
        if facts.falls.long and facts.falls.long[0].duration_s >= lasted.duration_s:
            continue
        where = (
            f"{lasted.duration_s / 60.0:.0f} min before the end"
            if step.until_s > end_s
            else f"for {lasted.duration_s / 60.0:.1f} min from {clock(step.start_s)} on"
        )
        told = f"the rate fell from {step.from_bpm:.0f} to {step.to_bpm:.0f} bpm {where} {then}"
        _may_last(builder, lasted, told, alarming)


def check_deep_early(builder: ClassBuilder, facts: WindowFacts) -> None:
    """Early decelerations are taken for benign; ones too deep for that keep from the best class."""
    falls = facts.falls.touching(facts.whole.falls.deep_early)
    if falls:
        deepest = max(fall.depth_bpm for fall in falls)
        builder.withhold(
            f"a deceleration with the contraction is {deepest:.0f} bpm deep: early ones are shallow"
        )


def _may_last(builder: ClassBuilder, where: Window, told: str, alarming: Rule | None) -> None:
    """Of a fall that may have lasted all that while: open if that were alarming, else not best."""
    if alarming is not None and alarming.met(where.duration_s / 60.0):
        builder.leave_open(told, evidence=(where,))
    else:
        builder.withhold(told)


def say_beyond_the_letter(builder: ClassBuilder, facts: WindowFacts) -> None:
    """What stands above the class: a fall not recovered, prolonged falls, a slow rate."""
    long, fall = facts.falls.long, facts.falls.going_on
    unseen = next((one for one in long if not one.recovered), facts.falls.open_fall)
    if isinstance(fall, Deceleration):
        so_far_s = facts.falls.so_far_s(fall)
        begun = so_far_s < LEAST_EXCURSION_S  # No deceleration yet (NICHD 2008).
        head = "falling at the end: for" if begun else "not recovered at the end: a fall of"
        builder.say_above(f"{head} {so_far_s:.0f} s so far, down to {fall.nadir_bpm:.0f} bpm")
    elif fall is not None:
        minutes, nadir = f"{fall.duration_s / 60.0:.0f} min", f"{fall.nadir_bpm:.0f} bpm"
        told = (
            f"a fall of {minutes} so far, {fall.depth_bpm:.0f} bpm deep, down to {nadir}"
            if fall in long
            else f"a fall from {fall.from_bpm:.0f} down to {nadir}, for {minutes} so far"
        )
        hers = maybe_hers(fall.nadir_bpm) if fall.to_a_level else ""
        builder.say_above(f"not recovered at the end: {told}{hers}")
    elif unseen is not None:
        so_far_s = facts.falls.so_far_s(unseen)
        lasted = (
            f"{so_far_s:.0f} s" if so_far_s < PROLONGED_FROM_S else f"{so_far_s / 60.0:.0f} min"
        )
        builder.say_above(
            f"a fall of {lasted} or more at {clock(unseen.onset_s)}, down to "
            f"{unseen.nadir_bpm:.0f} bpm, was not seen to recover; the rate was back later"
        )
    elif facts.falls.lower_end is not None:
        builder.say_above(facts.falls.lower_end.words(facts.window.end_s))
    if len(long) > 1 or (long and builder.rank == 0):
        lengths = ", ".join(f"{one.duration_s / 60.0:.1f}" for one in long[:5])
        builder.say_above(
            f"{len(long)} prolonged {'fall' if len(long) == 1 else 'falls'} in the window, of "
            f"{lengths} min, down to {min(one.nadir_bpm for one in long):.0f} bpm"
        )
    for doubt in doubts_of_source(facts.findings, facts.window):
        builder.question_source(doubt)
    share = facts.slow_share
    if share >= limits.SLOW_HALF:
        builder.say_above(f"under 100 bpm for {100 * share:.0f} % of the time that was seen")


def check_baseline(builder: ClassBuilder, facts: WindowFacts) -> None:
    """The best class needs a baseline in every ten minutes of the window."""
    for one in facts.levels.baselines:
        if one.asked_for and math.isnan(one.whole_bpm):
            place = stretch(one.evidence.start_s, one.evidence.end_s)
            builder.withhold(f"the baseline from {place} is indeterminate: {one.why}")


def check_bandwidth(builder: ClassBuilder, facts: WindowFacts) -> None:
    """A class needs minutes in which variability could be measured."""
    minutes = facts.levels.measured_minutes
    if limits.MEASURED_MINUTES.met(minutes) and not math.isnan(facts.levels.mean_bandwidths[0][0]):
        builder.withhold(f"variability could be measured in {minutes:.0f} min only, between falls")
    elif math.isnan(facts.levels.mean_bandwidths[0][0]):
        builder.add(limits.MEASURED_MINUTES, minutes)
        builder.refuse(
            f"variability could be measured in {minutes:.0f} min only, "
            f"{_needed(limits.MEASURED_MINUTES)}"
        )


def _needed(rule: Rule) -> str:
    amount = 100 * rule.threshold if rule.unit == "%" else rule.threshold
    return f"{amount:g} {rule.unit} needed"
