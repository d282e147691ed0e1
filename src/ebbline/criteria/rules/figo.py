"""How the FIGO 2015 table is applied to a window."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

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
from ebbline.criteria.model import Classification
from ebbline.criteria.recording_index import RecordingFacts
from ebbline.criteria.rule import Rule
from ebbline.criteria.tables import figo as line
from ebbline.criteria.window_view import WindowFacts
from ebbline.definitions import REDUCED_BELOW_BPM
from ebbline.features import window as within
from ebbline.features.pattern_duration import PatternRun
from ebbline.recording.model import Context
from ebbline.terms import Window

BoolArray = NDArray[np.bool_]

SEEN_WHOLE = 0.95
"""A deceleration of which less was seen may have been gradual, or flat, where it was not (ours)."""

UNTOLD_APART_S = 600.0
"""Decelerations further apart than this are no pattern, whatever the contractions were."""


def classify(facts: WindowFacts, context: Context) -> Classification:
    """The class of a window by FIGO 2015, or why there is none."""
    builder = ClassBuilder(line.TABLE, facts)
    check_window(builder, facts, context)
    _baseline(builder, facts)
    reduced = _variability(builder, facts)
    _sinusoidal(builder, facts)
    _decelerations(builder, facts, reduced)
    _contractions(builder, facts)
    if facts.accelerations:
        builder.add(line.ACCELERATIONS, detail=f"{facts.accelerations} in the window")
    say_beyond_the_letter(builder, facts)
    return builder.close()


def _baseline(builder: ClassBuilder, facts: WindowFacts) -> None:
    known = facts.levels.known_baselines
    check_baseline(builder, facts)
    if line.SLOW_HALF.met(facts.slow_share):
        builder.add(line.SLOW_HALF, facts.slow_share, evidence=(facts.window,))
    if not known:
        builder.refuse("the baseline is indeterminate, in the preceding ten minutes too")
        return
    fastest = max(known, key=lambda one: one.whole_bpm)
    slowest = min(known, key=lambda one: one.low_bpm)
    low = line.BASELINE_LOW if line.BASELINE_LOW.met(slowest.low_bpm) else line.BRADYCARDIA
    for rule, one, bpm in (
        (line.TACHYCARDIA, fastest, fastest.whole_bpm),
        (line.BASELINE_LOW, slowest, slowest.low_bpm),
        (line.BRADYCARDIA, slowest, slowest.low_bpm),
    ):
        builder.near(rule, bpm)
        if rule in (line.TACHYCARDIA, low) and rule.met(bpm):
            builder.add(rule, bpm, evidence=(one.evidence,), detail=one.how_seen(bpm))
    if not builder.weighs("baseline"):
        builder.add(line.BASELINE_NORMAL, known[-1].whole_bpm, evidence=(known[-1].evidence,))


def _variability(builder: ClassBuilder, facts: WindowFacts) -> bool:
    """States the variability; returns whether some half hour of the window has it reduced."""
    (low, low_at), (high, high_at) = facts.levels.mean_bandwidths
    check_bandwidth(builder, facts)
    if line.VARIABILITY_NORMAL.met(low) and line.VARIABILITY_NORMAL.met(high):
        builder.add(line.VARIABILITY_NORMAL, low, evidence=(low_at,))
    builder.near(line.VARIABILITY_LOW, low)
    if line.VARIABILITY_LOW.met(low):
        builder.add(line.VARIABILITY_LOW, low, evidence=(low_at,))
    if line.VARIABILITY_HIGH.met(high):
        builder.add(line.VARIABILITY_HIGH, high, evidence=(high_at,))
    for rule, run in (
        (line.REDUCED, facts.levels.reduced_run),
        (line.INCREASED, facts.levels.increased_run),
    ):
        if run is not None:
            builder.near(rule, run.minutes)
        if run is not None and rule.met(run.minutes):
            builder.add(rule, run.minutes, evidence=(run.evidence,))
    state_unmeasured(builder, facts, line.REDUCED, line.REDUCED_UNMEASURED)
    return line.VARIABILITY_LOW.met(low)


def state_unmeasured(builder: ClassBuilder, facts: WindowFacts, rule: Rule, note: Rule) -> None:
    """Say so when only unmeasured minutes keep reduced variability from being too long."""
    run, bridged = facts.levels.reduced_run, facts.levels.reduced_over_gaps
    if run is None or bridged is None or rule.met(run.minutes):
        return
    if note.met(bridged.elapsed_min):
        builder.add(note, bridged.elapsed_min, evidence=(bridged.evidence,))
        unmeasured = bridged.elapsed_min - bridged.minutes
        builder.not_seen(f"variability of {unmeasured:.0f} min within a run of reduced variability")


def _sinusoidal(builder: ClassBuilder, facts: WindowFacts) -> None:
    for pseudo in (False, True):
        longest = facts.longest_sinusoidal(pseudo=pseudo)
        if longest is None:
            continue
        seconds, episode = longest
        minutes = seconds / 60.0
        rule = line.SINUSOIDAL if line.SINUSOIDAL.met(minutes) else line.SINUSOIDAL_SHORT
        builder.add(
            line.PSEUDOSINUSOIDAL if pseudo else rule,
            minutes,
            evidence=(Window(episode.start_s, episode.start_s + seconds),),
        )


def _late_in_form(whole: RecordingFacts) -> BoolArray:
    """Gradual onset or return, or reduced variability within."""
    falls = whole.falls
    return (
        ~falls.abrupt
        | (falls.return_s > line.GRADUAL_RETURN.threshold)
        | (falls.within_bpm < REDUCED_BELOW_BPM)
    )


def _masks(whole: RecordingFacts, shallow_counts: bool) -> tuple[BoolArray, BoolArray, BoolArray]:
    """Decelerations that are late, prolonged, and (contraction not known) may be late."""
    falls = whole.falls
    deep = ~falls.shallow
    prolonged = deep & (falls.end_s - falls.onset_s > line.PROLONGED.threshold * 60.0)
    form = _late_in_form(whole)
    late = (
        falls.paired
        & form
        & ~prolonged
        & (falls.onset_lag_s > line.LATE_ONSET.threshold)
        & (falls.lag_s > line.LATE_NADIR.threshold)
    )
    if not shallow_counts:
        late &= deep
    return late, prolonged, deep & ~falls.paired & form & ~prolonged


def of_any_kind(facts: WindowFacts) -> BoolArray:
    """Every deceleration: late ones of 10 to under 15 bpm among them where they count."""
    reduced = line.VARIABILITY_LOW.met(facts.levels.mean_bandwidths[0][0])
    late, _, _ = _masks(facts.whole, reduced and not facts.accelerations)
    return _every(facts.whole, late)


def _every(whole: RecordingFacts, late: BoolArray) -> BoolArray:
    """Those of 15 bpm or more, and the late ones that count."""
    return ~whole.falls.shallow | late


def _decelerations(builder: ClassBuilder, facts: WindowFacts, reduced: bool) -> None:
    whole = facts.whole
    late, prolonged, maybe_late = _masks(whole, reduced and not facts.accelerations)
    every = _every(whole, late)
    _single(builder, facts, prolonged)

    answer = facts.repetitive(every)
    touched = facts.falls.touching(every)
    at_edge = facts.by_one_event(answer, every, strictly=True)
    builder.near_by_event(line.REPETITIVE, answer.answer, at_edge)
    builder.hides(line.REPETITIVE, facts.by_the_unread(answer, every, strictly=True))
    if answer.answer is None:
        builder.add(
            line.UNTOLD,
            evidence=spans(touched),
            detail=f"{len(touched)} in the window, {answer.why}",
        )
        builder.not_seen(f"whether decelerations are repetitive, or late: {answer.why}")
    elif answer.answer:
        builder.add(line.REPETITIVE, answer.value, evidence=(answer.stretch,))
    else:
        counted = f"{len(touched) or 'none'} {facts.seen_words}"
        builder.add(line.NOT_REPETITIVE, evidence=spans(touched), detail=counted)

    run = facts.longest_run(late | prolonged)
    _hidden_in_loss(builder, facts, late | prolonged, run)
    if run is not None:
        carried = (
            f"{run.carrying} contractions carry one; late here: gradual in onset or return, or "
            "with reduced variability within"
        )
        carried = "; ".join(filter(None, (carried, facts.run_ended(run))))
        _lasting(builder, facts, Window(run.start_s, run.end_s), carried)
    if answer.answer is None:
        series = facts.chain(late | prolonged | maybe_late, UNTOLD_APART_S)
        if series is not None and line.LATE_REDUCED.met(series.duration_s / 60.0):
            builder.leave_open(
                f"decelerations that may be late go on for {series.duration_s / 60.0:.0f} min, "
                f"and whether with most contractions cannot be told ({answer.why}): pathological "
                "is not excluded"
            )


def _hidden_in_loss(
    builder: ClassBuilder, facts: WindowFacts, which: BoolArray, run: PatternRun | None
) -> None:
    """Falls late in their timing of which a part was lost: that may be why they are not in form."""
    if run is not None and line.LATE_LONG.met(run.duration_s / 60.0):
        return
    falls = facts.whole.falls
    valid = np.array([one.valid_share for one in falls.items], dtype=np.float64)
    maybe = (
        (falls.paired & ~falls.shallow & (valid < SEEN_WHOLE))
        & (falls.onset_lag_s > line.LATE_ONSET.threshold)
        & (falls.lag_s > line.LATE_NADIR.threshold)
    )
    if not (maybe & ~which).any():
        return
    longer = facts.longest_run(which | maybe)
    if longer is not None and line.LATE_LONG.met(longer.duration_s / 60.0):
        builder.hides(
            line.LATE_LONG,
            "decelerations that are late in their timing, of some of which a part was lost, go on "
            f"for {longer.duration_s / 60.0:.0f} min",
        )


def _lasting(builder: ClassBuilder, facts: WindowFacts, lasted: Window, detail: str) -> None:
    minutes = lasted.duration_s / 60.0
    builder.near(line.LATE_LONG, minutes)
    evidence = (lasted,)
    if line.LATE_LONG.met(minutes):
        builder.add(line.LATE_LONG, minutes, evidence=evidence, detail=detail)
        return
    if not line.LATE_REDUCED.met(minutes):
        return
    measured, bandwidth = (
        float(track.means(np.array([lasted.start_s]), lasted.duration_s)[0])
        for track in (facts.levels.minutes.measured, facts.levels.minutes.filled)
    )
    if bandwidth < REDUCED_BELOW_BPM:
        builder.add(
            line.LATE_REDUCED,
            minutes,
            evidence=evidence,
            detail=f"{detail}; bandwidth {bandwidth:.1f} bpm",
        )
    elif math.isnan(measured):
        builder.leave_open(
            f"repetitive late or prolonged decelerations for {minutes:.0f} min are pathological "
            "if variability is reduced, and it could not be measured"
        )


def _single(builder: ClassBuilder, facts: WindowFacts, prolonged: BoolArray) -> None:
    """Single decelerations that go on for long."""
    falls = facts.falls.touching(prolonged)
    counted = False
    check_maybe_slow(builder, facts, line.PROLONGED_5)
    check_settled(builder, facts, line.PROLONGED_5)
    check_into_loss(builder, facts, line.PROLONGED_5)
    if facts.falls.long:
        long = facts.falls.long[0]
        minutes = long.duration_s / 60.0
        rule = line.PROLONGED_5 if line.PROLONGED_5.met(minutes) else line.PROLONGED
        for near in (line.PROLONGED_5, line.PROLONGED):
            builder.near(near, minutes, facts.falls.lost_about(long))
        counted = rule.met(minutes)
        if counted:
            where = (Window(long.onset_s, long.end_s),)
            builder.add(rule, minutes, evidence=where, detail=long.words)
    if facts.falls.long_weigh and not counted:
        builder.add(line.LONG_FALLS, evidence=facts.falls.long_where)
    flat = [fall for fall in falls if fall.variability_within_bpm < REDUCED_BELOW_BPM]
    if not flat:
        return
    longest = max(flat, key=facts.falls.so_far_s)
    minutes = facts.falls.so_far_s(longest) / 60.0
    if line.REDUCED_WITHIN.met(minutes):
        builder.add(line.REDUCED_WITHIN, minutes, evidence=spans((longest,)))
    for fall in flat:
        minutes = facts.falls.so_far_s(fall) / 60.0
        if line.PROLONGED_5.met(minutes) and line.ACUTE.met(fall.nadir_bpm):
            builder.add(line.ACUTE, fall.nadir_bpm, evidence=spans((fall,)))


def _contractions(builder: ClassBuilder, facts: WindowFacts) -> None:
    answer, rule = facts.tachysystole, line.TACHYSYSTOLE
    if answer.answer is not True:
        tens = within.tachysystole_in_two_tens(facts.findings, facts.window)
        if tens.answer:
            answer, rule = tens, line.TACHYSYSTOLE_TENS
    if answer.answer is None:
        builder.not_seen(f"contractions: {answer.why}")
    elif doubt := facts.doubt_of_tachysystole(answer):
        builder.not_seen(doubt)
    elif answer.answer:
        builder.add(rule, answer.value, evidence=(answer.stretch,))
