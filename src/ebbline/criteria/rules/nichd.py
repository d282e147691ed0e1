"""How the NICHD 2008 table is applied to a window."""

from __future__ import annotations

import math

from ebbline.criteria.classification_builder import (
    ClassBuilder,
    check_baseline,
    check_deep_early,
    check_settled,
    check_window,
    say_beyond_the_letter,
    spans,
)
from ebbline.criteria.model import Classification, Level
from ebbline.criteria.tables import nichd as line
from ebbline.criteria.variability_runs import MINUTE_S
from ebbline.criteria.window_view import WindowFacts, stretch
from ebbline.definitions import ABSENT_BELOW_BPM, TEN_MINUTES_S, rounded_baseline
from ebbline.features import window as within
from ebbline.features.findings import Deceleration, DecelerationKind, VariabilityClass
from ebbline.recording.model import Context
from ebbline.terms import Window

TAKEN_FROM, NEARLY = 0.3, 0.25
"""From such a share of ten minutes not measured on, the rest may be the livelier one; a quarter of
that share over the limit of absent it is nearly absent (ours)."""


def classify(facts: WindowFacts, context: Context) -> Classification:
    """The category of a window by NICHD 2008, or why there is none."""
    builder = ClassBuilder(line.TABLE, facts)
    check_window(builder, facts, context)
    slowest = _baseline(builder, facts)
    _variability(builder, facts)
    _sinusoidal(builder, facts)
    _decelerations(builder, facts, slowest)
    _contractions(builder, facts)
    if facts.accelerations:
        builder.add(line.ACCELERATIONS, detail=f"{facts.accelerations} in the window")
    say_beyond_the_letter(builder, facts)
    return builder.close()


def _baseline(builder: ClassBuilder, facts: WindowFacts) -> float:
    """States the baseline; returns the slowest of the window's, NaN when there is none."""
    known = facts.levels.known_baselines
    check_baseline(builder, facts)
    if line.SLOW_HALF.met(facts.slow_share):
        builder.add(line.SLOW_HALF, facts.slow_share, evidence=(facts.window,))
    if not known:
        builder.refuse("the baseline is indeterminate, in the preceding ten minutes too")
        return math.nan
    fastest = max(known, key=lambda one: one.rounded_bpm)
    slowest = min(known, key=lambda one: one.low_rounded_bpm)
    for rule, one, bpm in (
        (line.TACHYCARDIA, fastest, fastest.rounded_bpm),
        (line.BRADYCARDIA, slowest, slowest.low_rounded_bpm),
    ):
        if rule.met(bpm):
            builder.add(rule, bpm, evidence=(one.evidence,), detail=one.how_seen(bpm))
    slowest_bpm = slowest.low_rounded_bpm
    fall = facts.falls.slowest_fall
    if fall is not None and rounded_baseline(fall[0]) < slowest_bpm:
        slowest_bpm = rounded_baseline(fall[0])
        if line.BRADYCARDIA.met(slowest_bpm) and not line.BRADYCARDIA.met(slowest.low_rounded_bpm):
            told = "the rate in a fall of ten minutes or more"
            builder.add(line.BRADYCARDIA, slowest_bpm, evidence=(fall[1],), detail=told)
    if not builder.weighs("baseline"):
        last = known[-1]
        builder.add(
            line.BASELINE_NORMAL,
            last.rounded_bpm,
            evidence=(last.evidence,),
            detail=last.how_seen(last.rounded_bpm),
        )
    return slowest_bpm


def _variability(builder: ClassBuilder, facts: WindowFacts) -> None:
    if not facts.levels.known_variabilities:
        builder.refuse("variability could not be measured")
        return
    for one in facts.levels.variabilities:
        if (
            one.variability is VariabilityClass.INDETERMINATE
            and one.end_s - one.start_s >= 0.5 * TEN_MINUTES_S
        ):
            builder.withhold(
                f"variability from {stretch(one.start_s, one.end_s)} could not be measured"
            )
    rules = {
        VariabilityClass.ABSENT: line.VARIABILITY_ABSENT,
        VariabilityClass.MINIMAL: line.VARIABILITY_MINIMAL,
        VariabilityClass.MARKED: line.VARIABILITY_MARKED,
        VariabilityClass.MODERATE: line.VARIABILITY_MODERATE,
    }
    for kind, rule in rules.items():
        found = facts.levels.variability_of(kind)
        if found and (
            kind is not VariabilityClass.MODERATE or found == facts.levels.known_variabilities
        ):
            width = sum(one.bandwidth_bpm for one in found) / len(found)
            builder.add(rule, width, evidence=[Window(one.start_s, one.end_s) for one in found])


def _sinusoidal(builder: ClassBuilder, facts: WindowFacts) -> None:
    longest = facts.longest_sinusoidal()
    if longest is None:
        return
    seconds, episode = longest
    minutes = seconds / 60.0
    rule = line.SINUSOIDAL if line.SINUSOIDAL.met(minutes) else line.SINUSOIDAL_SHORT
    builder.add(
        rule,
        minutes,
        evidence=(Window(episode.start_s, episode.start_s + seconds),),
        detail=f"{episode.cycles_per_min:.1f} cycles a minute, ±{episode.amplitude_bpm:.0f} bpm",
    )


def _decelerations(builder: ClassBuilder, facts: WindowFacts, slowest_bpm: float) -> None:
    every, touching = facts.whole.falls, facts.falls.touching
    late, variable = touching(facts.late), touching(every.variable)
    prolonged, unpaired = touching(every.prolonged), touching(every.unpaired)
    early = touching(every.early)
    for rule, falls in (
        (line.LATE, late),
        (line.VARIABLE, variable),
        (line.UNPAIRED, unpaired),
        (line.EARLY, early),
    ):
        if falls:
            builder.add(rule, evidence=spans(falls), detail=_deepest(falls))
    long = facts.falls.long
    if prolonged or long:
        longest_s = long[0].duration_s if long else max(map(facts.falls.so_far_s, prolonged))
        seen = tuple(Window(one.onset_s, one.end_s) for one in long) or spans(prolonged)
        deepest = max([one.depth_bpm for one in long] or [fall.depth_bpm for fall in prolonged])
        told = f"{len(long) or len(prolonged)} in the window, the deepest {deepest:.0f} bpm"
        builder.add(line.PROLONGED, longest_s / 60.0, evidence=seen, detail=told)
    check_settled(builder, facts, None)
    check_deep_early(builder, facts)
    level = facts.falls.to_a_level
    if level is not None and not long:
        where = Window(level.onset_s, level.end_s)
        back = "come back" if level.recovered else "not come back"
        told = f"a fall from {level.from_bpm:.0f} to {level.nadir_bpm:.0f} bpm, {back}"
        builder.add(line.PROLONGED, level.duration_s / 60.0, evidence=(where,), detail=told)
    if not (late or variable or prolonged or long or unpaired or level):
        builder.add(line.NO_DECELERATIONS, detail=f"none {facts.seen_words}")

    absent = facts.levels.variability_of(VariabilityClass.ABSENT)
    absent_windows = [Window(one.start_s, one.end_s) for one in absent]
    nearly = _nearly_absent(builder, facts)
    hidden = _absent_under_falls(facts)
    if absent and line.BRADYCARDIA.met(slowest_bpm):
        builder.add(line.ABSENT_AND_BRADYCARDIA, slowest_bpm, evidence=absent_windows)
    elif nearly and line.BRADYCARDIA.met(slowest_bpm):
        builder.hides(line.ABSENT_AND_BRADYCARDIA, f"with bradycardia {nearly}")
    elif hidden and line.BRADYCARDIA.met(slowest_bpm):
        builder.leave_open(f"with bradycardia {hidden}")
    elif not facts.levels.known_variabilities and line.BRADYCARDIA.met(slowest_bpm):
        builder.leave_open("with absent variability, the bradycardia would make Category III")
    for rule, name, mask, falls in (
        (line.ABSENT_AND_LATE, "late", facts.recurring_late, (*late, *unpaired)),
        (line.ABSENT_AND_VARIABLE, "variable", facts.recurring_variable, variable),
    ):
        if not falls:
            continue
        answer = facts.recurrent(mask)
        possible = answer
        if absent:
            at_edge = facts.by_one_event(answer, mask, strictly=False)
            builder.near_by_event(rule, answer.answer, at_edge)
            builder.hides(rule, facts.by_the_unread(answer, mask, strictly=False))
        if answer.answer is False and name == "late" and unpaired:
            possible = facts.recurrent(mask | every.unpaired)
        if answer.answer:
            where = answer.stretch
            if absent:
                builder.add(rule, answer.value, evidence=(*absent_windows, where))
                continue
            if nearly:
                builder.hides(rule, f"with recurrent {name} decelerations {nearly}")
            if hidden:
                builder.leave_open(f"with recurrent {name} decelerations {hidden}")
            unknown = len(facts.levels.known_variabilities) < len(facts.levels.variabilities)
            builder.add(
                line.RECURRENT,
                answer.value,
                evidence=(where,),
                detail=f"{name} decelerations",
                level=Level.ALARMING if not facts.levels.known_variabilities else Level.CAUTION,
            )
            if not facts.levels.known_variabilities:
                builder.leave_open(
                    f"with absent variability, the recurrent {name} decelerations would make "
                    "Category III"
                )
            elif unknown:
                builder.not_seen(
                    "variability of part of the window: were it absent there, the recurrent "
                    f"{name} decelerations would make Category III"
                )
        elif possible.answer is None:
            _untold(
                builder,
                facts,
                name,
                mask | every.unpaired if name == "late" else mask,
                possible,
            )
            if absent:
                builder.leave_open(
                    f"variability is absent, and whether {name} decelerations are recurrent "
                    f"cannot be told ({possible.why}): Category III is not excluded"
                )


def _nearly_absent(builder: ClassBuilder, facts: WindowFacts) -> str:
    """Words where the narrowest ten minutes are so near absent that lost signal may tell, or ""."""
    narrowest = facts.levels.narrowest_bpm
    if not builder.within_loss(narrowest, ABSENT_BELOW_BPM):
        return ""
    return f"variability is nearly absent, bandwidth {narrowest:.1f} bpm"


def _absent_under_falls(facts: WindowFacts) -> str:
    """Words where falls take the rest of ten minutes that are nearly absent, or "".

    What a fall takes was not measured: it may have been what made the ten minutes absent.
    """
    for one in facts.levels.known_variabilities:
        if one.variability is not VariabilityClass.MINIMAL:
            continue
        minutes = (one.end_s - one.start_s) / MINUTE_S
        taken = 1.0 - one.measured_minutes / minutes
        if taken >= TAKEN_FROM and one.bandwidth_bpm <= ABSENT_BELOW_BPM * (1.0 + NEARLY * taken):
            return (
                f"variability from {stretch(one.start_s, one.end_s)} is nearly absent, bandwidth "
                f"{one.bandwidth_bpm:.1f} bpm, in the {one.measured_minutes} min beside them: "
                "Category III is not excluded"
            )
    return ""


def _untold(
    builder: ClassBuilder,
    facts: WindowFacts,
    name: str,
    mask: within.BoolArray,
    answer: within.Answer,
) -> None:
    builder.not_seen(f"whether {name} decelerations are recurrent: {answer.why}")
    window = facts.window
    count, stretch = within.most_decelerations(facts.findings, window, mask)
    if line.SUSPECTED_RECURRENT.met(count):
        builder.add(line.SUSPECTED_RECURRENT, count, evidence=(stretch,), detail=name)


def _deepest(falls: tuple[Deceleration, ...]) -> str:
    """How many and how deep; prolonged ones that count as the kind, too, are told apart."""
    deepest = max(fall.depth_bpm for fall in falls)
    long = sum(fall.kind is DecelerationKind.PROLONGED for fall in falls)
    shallow = sum(fall.shallow for fall in falls)
    number = len(falls) - long - shallow
    said = [f"{number} in the window"] if number else []
    if shallow:
        said.append(f"{'and ' if said else ''}{shallow} of 10 to under 15 bpm")
    if long:
        said.append(f"{'and ' if said else ''}{long} prolonged that began so")
    return f"{' '.join(said)}, the deepest {deepest:.0f} bpm"


def _contractions(builder: ClassBuilder, facts: WindowFacts) -> None:
    answer = facts.tachysystole
    if answer.answer is None:
        builder.not_seen(f"contractions: {answer.why}")
    elif doubt := facts.doubt_of_tachysystole(answer):
        builder.not_seen(doubt)
    elif answer.answer:
        builder.add(line.TACHYSYSTOLE, answer.value, evidence=(answer.stretch,))
