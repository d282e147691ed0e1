"""How the NICE NG229 table is applied to a window."""

from __future__ import annotations

import math
from itertools import pairwise
from statistics import median

from ebbline.criteria.baseline_levels import TenMinuteBaseline
from ebbline.criteria.classification_builder import (
    ClassBuilder,
    check_bandwidth,
    check_baseline,
    check_into_loss,
    check_maybe_slow,
    check_settled,
    check_window,
    say_beyond_the_letter,
    spans,
)
from ebbline.criteria.model import Classification, Level
from ebbline.criteria.rule import Rule
from ebbline.criteria.rules.figo import UNTOLD_APART_S, state_unmeasured
from ebbline.criteria.tables import nice as line
from ebbline.criteria.window_view import BoolArray, WindowFacts, clock
from ebbline.definitions import HOUR_S, RECURRENCE_S, WORKABLE_LOSS
from ebbline.features import window as within
from ebbline.features.pattern_duration import PatternRun
from ebbline.recording.model import Context
from ebbline.terms import SensorKind, Window

SERIES_APART_S = RECURRENCE_S
"""Decelerations further apart than 20 minutes are no series that goes on (our choice)."""


def classify(facts: WindowFacts, context: Context) -> Classification:
    """The class of a window by NICE NG229, or why there is none."""
    builder = ClassBuilder(line.TABLE, facts)
    check_window(builder, facts, context)
    _contractions(builder, facts)
    _baseline(builder, facts)
    maybe_reduced = _variability(builder, facts)
    _decelerations(builder, facts)
    if facts.accelerations:
        builder.add(
            line.ACCELERATIONS,
            detail=f"{facts.accelerations} in the window",
            level=Level.REASSURING,
        )
    sure = dict.fromkeys(rule.feature for rule in builder.met(1) if rule is not line.UNTOLD)
    untold = line.UNTOLD in builder.met(1) and line.UNTOLD.feature not in sure
    if line.TWO_AMBER.met(len(sure)):
        builder.add(line.TWO_AMBER, len(sure), detail=", ".join(sure))
    elif maybe_reduced and builder.rank == 1 and "variability" not in sure:
        builder.leave_open(
            f"beside the {', '.join(sure or ('decelerations',))}, variability may be a second "
            f"amber feature: {maybe_reduced}"
        )
    elif untold and line.TWO_AMBER.met(len(sure) + 1):
        builder.leave_open(
            f"beside the {', '.join(sure)}, decelerations may be a second amber feature"
        )
    say_beyond_the_letter(builder, facts)
    _say_amended(builder, facts)
    return builder.close()


def _contractions(builder: ClassBuilder, facts: WindowFacts) -> None:
    busiest = facts.tachysystole
    evidence = (busiest.stretch,)
    _hypertonus(builder, facts)
    if busiest.answer is None:
        builder.withhold(f"contractions, one of the four features: {busiest.why}")
    sure, told = facts.likely_contractions(busiest)
    if line.CONTRACTIONS_AMBER.met(busiest.value) and not line.CONTRACTIONS_AMBER.met(sure):
        # No amber rests on hills that may be breathing, a shifted belt or movement.
        builder.withhold(f"{told}; feel the contractions")
    elif line.CONTRACTIONS_AMBER.met(busiest.value):
        rest_s = _median_rest_s(facts, evidence[0])
        if math.isnan(rest_s) or line.REST.met(rest_s):
            rest = "rest not measured" if math.isnan(rest_s) else f"median rest {rest_s:.0f} s"
            builder.add(line.CONTRACTIONS_AMBER, busiest.value, evidence=evidence, detail=rest)
        else:
            builder.add(
                line.CONTRACTIONS_RESTED,
                busiest.value,
                evidence=evidence,
                detail=f"median rest {rest_s:.0f} s",
            )
    elif busiest.answer is not None and not builder.weighs("contractions"):
        builder.add(line.CONTRACTIONS_WHITE, busiest.value, evidence=evidence)
        lost = 1.0 - within.activity_share(facts.findings, busiest.stretch)
        # What is cut by a gap is not counted: as many more may lie in it as in the rest.
        if lost > WORKABLE_LOSS and line.CONTRACTIONS_AMBER.met(busiest.value * (1.0 + lost)):
            builder.withhold(
                f"{100 * lost:.0f} % of the activity was not measured, and with so many more there "
                "were 5 or more contractions in 10 min; feel them"
            )


def _median_rest_s(facts: WindowFacts, where: Window) -> float:
    """Median time from the end of a contraction to the onset of the next; NaN under two."""
    seen = within.contractions_in(facts.findings, where)
    rests = [after.onset_s - before.end_s for before, after in pairwise(seen)]
    return median(rests) if rests else math.nan


def _hypertonus(builder: ClassBuilder, facts: WindowFacts) -> None:
    seen = within.contractions_in(facts.findings, facts.window)
    if not seen:
        return
    catheter = facts.findings.uterine.sensor is SensorKind.PRESSURE_CATHETER
    longest = max(seen, key=lambda one: one.duration_s)
    if line.HYPERTONUS.met(longest.duration_s / 60.0):
        builder.add(
            line.HYPERTONUS if catheter else line.LONG_ON_TOCO,
            longest.duration_s / 60.0,
            evidence=(Window(longest.onset_s, longest.end_s),),
        )
    if not catheter:
        builder.not_seen("hypertonus: a toco gives no resting tone and no reliable duration")
    else:
        tone = median(one.resting_tone for one in seen)
        if line.RESTING_TONE.met(tone):
            builder.add(line.RESTING_TONE, tone, evidence=(facts.window,))


def _baseline(builder: ClassBuilder, facts: WindowFacts) -> None:
    known = facts.levels.known_baselines
    if line.SLOW_HALF.met(facts.slow_share):
        builder.add(line.SLOW_HALF, facts.slow_share, evidence=(facts.window,))
    if not known:
        builder.add(line.BASELINE_UNKNOWN, detail="in the preceding ten minutes neither")
        return
    check_baseline(builder, facts)
    fastest = max(known, key=lambda one: one.whole_bpm)
    slowest = min(known, key=lambda one: one.low_bpm)
    for rule, one, bpm in (
        (line.BASELINE_FAST, fastest, fastest.whole_bpm),
        (line.BASELINE_SLOW, slowest, slowest.low_bpm),
        (line.BASELINE_LOW, slowest, slowest.low_bpm),
    ):
        builder.near(rule, bpm)
        if rule.met(bpm):
            builder.add(rule, bpm, evidence=(one.evidence,), detail=one.how_seen(bpm))
    rise, since, risen = _rise(facts, known)
    if line.BASELINE_RISE.met(rise):
        builder.add(
            line.BASELINE_RISE,
            rise,
            evidence=(risen.evidence,),
            detail=f"from {since.whole_bpm:.0f} to {risen.whole_bpm:.0f} bpm",
        )
    if not builder.weighs("baseline"):
        builder.add(line.BASELINE_WHITE, known[-1].whole_bpm, evidence=(known[-1].evidence,))


def _rise(
    facts: WindowFacts, known: tuple[TenMinuteBaseline, ...]
) -> tuple[float, TenMinuteBaseline, TenMinuteBaseline]:
    """The greatest rise of a ten-minute baseline of the window: by how much, from, to.

    From the first determinate baseline of the recording, which stands for the start of labour,
    and from that of the ten minutes an hour before.
    """
    best = (-math.inf, known[0], known[0])
    whole = facts.whole
    for one in known:
        for since in (whole.levels.first, whole.levels.at(one.evidence.start_s - HOUR_S)):
            if since is not None:
                best = max(
                    best, (one.whole_bpm - since.whole_bpm, since, one), key=lambda found: found[0]
                )
    return best


def _variability(builder: ClassBuilder, facts: WindowFacts) -> str:
    """States the variability; returns why it may be amber without being known to be, or ""."""
    (low, low_at), (high, _) = facts.levels.mean_bandwidths
    check_bandwidth(builder, facts)
    reduced, increased = facts.levels.reduced_run, facts.levels.increased_run
    if reduced is not None:
        for rule in (line.REDUCED_RED, line.REDUCED_AMBER):
            builder.near(rule, reduced.minutes)
            if rule.met(reduced.minutes):
                builder.add(rule, reduced.minutes, evidence=(reduced.evidence,))
    if not builder.weighs("variability") and facts.levels.mostly_reduced is not None:
        minutes = facts.levels.mostly_reduced.duration_s / 60.0
        if line.REDUCED_MOST.met(minutes):
            builder.add(line.REDUCED_MOST, minutes, evidence=(facts.levels.mostly_reduced,))
    if increased is not None:
        for rule in (line.INCREASED_RED, line.INCREASED_AMBER, line.INCREASED_SHORT):
            if rule.met(increased.minutes):
                builder.add(rule, increased.minutes, evidence=(increased.evidence,))
    state_unmeasured(builder, facts, line.REDUCED_RED, line.REDUCED_UNMEASURED)
    longest = facts.longest_sinusoidal()
    if longest is not None:
        seconds, episode = longest
        if line.SINUSOIDAL.met(seconds / 60.0):
            builder.add(
                line.SINUSOIDAL,
                seconds / 60.0,
                evidence=(Window(episode.start_s, episode.start_s + seconds),),
            )
        else:
            builder.withhold(
                f"a sinusoidal undulation has lasted {seconds / 60.0:.0f} min by the window's end"
            )
    if builder.weighs("variability"):
        return ""
    maybe = ""
    bridged = facts.levels.reduced_over_gaps
    if bridged is not None and line.REDUCED_AMBER.met(bridged.elapsed_min):
        unmeasured = bridged.elapsed_min - bridged.minutes
        maybe = (
            f"it may have been under 5 bpm for {bridged.elapsed_min:.0f} min, "
            f"{unmeasured:.0f} of which could not be measured"
        )
        builder.withhold(f"variability: {maybe}")
    if line.VARIABILITY_WHITE.met(low) and line.VARIABILITY_WHITE.met(high):
        builder.add(line.VARIABILITY_WHITE, low, evidence=(low_at,))
    if reduced is not None and low < line.VARIABILITY_WHITE.threshold:
        builder.add(line.REDUCED_SHORT, reduced.minutes, evidence=(reduced.evidence,))
        if reduced.began_unseen:
            builder.withhold(
                f"variability is under 5 bpm from {clock(reduced.evidence.start_s)} on, and for "
                "how long it was so before was not measured"
            )
    return maybe


def _say_amended(builder: ClassBuilder, facts: WindowFacts) -> None:
    """Late decelerations that are not red by this table, and are by the guideline's amendment.

    Reported of recommendation 1.4.24 since (Infection Prevention Society, news: "late decelerations
    are now considered a red feature regardless of duration or repetitiveness"); the amended text
    itself was not at hand, so the table stays that of December 2022 and this stands above it.
    """
    late = facts.falls.touching(facts.late)
    if late and builder.rank < line.LATE_RED.rank:
        seen = "a late deceleration" if len(late) == 1 else f"{len(late)} late decelerations"
        builder.say_above(
            f"{seen}: the guideline, as amended since this table, is reported to count any as red"
        )


def _decelerations(builder: ClassBuilder, facts: WindowFacts) -> None:
    whole = facts.whole
    touched = facts.falls.touching(~whole.falls.shallow)
    is_red = False
    check_maybe_slow(builder, facts, line.PROLONGED)
    check_settled(builder, facts, line.PROLONGED)
    check_into_loss(builder, facts, line.PROLONGED)
    if facts.falls.long:
        long = facts.falls.long[0]
        minutes = long.duration_s / 60.0
        builder.near(line.PROLONGED, minutes, facts.falls.lost_about(long))
        is_red = line.PROLONGED.met(minutes)
        if is_red:
            where = (Window(long.onset_s, long.end_s),)
            builder.add(line.PROLONGED, minutes, evidence=where, detail=long.words)
    if facts.falls.long_weigh and not is_red:
        builder.add(line.LONG_FALLS, evidence=facts.falls.long_where)
    late = facts.repetitive(facts.recurring_late)
    variable = facts.repetitive(whole.falls.concerning)
    either = facts.recurring_late | whole.falls.concerning
    for rule, answer, mask in (
        (line.LATE_AMBER, late, facts.recurring_late),
        (line.VARIABLE_AMBER, variable, whole.falls.concerning),
        (line.MIXED_AMBER, facts.repetitive(either), either),
    ):
        at_edge = facts.by_one_event(answer, mask, strictly=True)
        builder.near_by_event(rule, answer.answer, at_edge)
        builder.hides(rule, facts.by_the_unread(answer, mask, strictly=True))
    run = facts.longest_run(facts.recurring_late)
    if run is not None:
        builder.near(line.LATE_RED, run.duration_s / 60.0)
    if run is not None and line.LATE_RED.met(run.duration_s / 60.0):
        _add_run(builder, facts, line.LATE_RED, run)
    elif late.answer:
        builder.add(line.LATE_AMBER, late.value, evidence=(late.stretch,))
    run = facts.longest_run(whole.falls.concerning)
    if run is not None:
        builder.near(line.VARIABLE_RED, run.duration_s / 60.0)
    if run is not None and line.VARIABLE_RED.met(run.duration_s / 60.0):
        _add_run(builder, facts, line.VARIABLE_RED, run, _characteristics(facts))
    elif variable.answer:
        builder.add(
            line.VARIABLE_AMBER,
            variable.value,
            evidence=(variable.stretch,),
            detail=_characteristics(facts),
        )
    else:
        series = facts.chain(whole.falls.concerning_or_untold, SERIES_APART_S)
        if series is not None and line.VARIABLE_LASTING.met(series.duration_s / 60.0):
            builder.add(
                line.VARIABLE_LASTING,
                series.duration_s / 60.0,
                evidence=(series,),
                detail=_characteristics(facts),
            )
    _mixed(builder, facts, either)
    _untold(builder, facts, variable)
    if not builder.weighs("decelerations"):
        counted = f"{len(touched) or 'none'} {facts.seen_words}"
        builder.add(line.DECELERATIONS_WHITE, detail=counted)


def _add_run(
    builder: ClassBuilder, facts: WindowFacts, rule: Rule, run: PatternRun, detail: str = ""
) -> None:
    said = "; ".join(filter(None, (detail, facts.run_ended(run))))
    where = (Window(run.start_s, run.end_s),)
    builder.add(rule, run.duration_s / 60.0, evidence=where, detail=said)


def _mixed(builder: ClassBuilder, facts: WindowFacts, either: BoolArray) -> None:
    """Late ones and variable ones with a concerning characteristic, where neither alone is as much.

    A fall that grows deeper may turn from late to variable: the pattern is no milder for it (ours).
    """
    met = {rule.id for rank in (1, 2) for rule in builder.met(rank)}
    run = facts.longest_run(either)
    if run is not None:
        builder.near(line.MIXED_RED, run.duration_s / 60.0)
        if not met & {line.LATE_RED.id, line.VARIABLE_RED.id} and line.MIXED_RED.met(
            run.duration_s / 60.0
        ):
            _add_run(builder, facts, line.MIXED_RED, run)
            return
    answer = facts.repetitive(either)
    alone = {line.LATE_RED, line.LATE_AMBER, line.VARIABLE_RED, line.VARIABLE_AMBER}
    if answer.answer and not met & {rule.id for rule in alone}:
        builder.add(line.MIXED_AMBER, answer.value, evidence=(answer.stretch,))


def _untold(builder: ClassBuilder, facts: WindowFacts, variable: within.Answer) -> None:
    """Decelerations that would count, were the contractions known."""
    whole = facts.whole
    maybe_late = facts.late | whole.falls.unpaired
    for name, mask, answer, limit in (
        ("variable", whole.falls.concerning, variable, line.VARIABLE_RED),
        ("late or early", maybe_late, facts.repetitive(maybe_late), line.LATE_RED),
    ):
        if answer.answer is not None:
            continue
        falls = facts.falls.touching(mask)
        builder.add(
            line.UNTOLD,
            evidence=spans(falls),
            detail=f"{name}: {len(falls)} in the window, {answer.why}",
        )
        builder.not_seen(f"whether decelerations are repetitive, or late: {answer.why}")
        series = facts.chain(mask, UNTOLD_APART_S)
        if series is not None and limit.met(series.duration_s / 60.0):
            builder.leave_open(
                f"decelerations that may be red go on for {series.duration_s / 60.0:.0f} min, and "
                f"whether with most contractions cannot be told ({answer.why}): pathological is "
                "not excluded"
            )


def _characteristics(facts: WindowFacts) -> str:
    found: dict[str, int] = {}
    for fall in facts.falls.touching(facts.whole.falls.concerning):
        for name in within.concerning_features(facts.findings, fall):
            found[name] = found.get(name, 0) + 1
    return ", ".join(f"{count} {name}" for name, count in found.items())
