"""The review of a window: the numbers a practitioner gives, in the trade's order.

What belongs to a window, and every rule of counting, stands in `features.window`; here the answers
are gathered, and each ten minutes are set against the hour before.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from statistics import fmean, median

import numpy as np
from numpy.typing import NDArray

from ebbline.criteria.recording_index import recording_facts
from ebbline.criteria.rules.figo import of_any_kind
from ebbline.criteria.window_view import WindowFacts, window_facts
from ebbline.definitions import (
    BASELINE_CHANGE_BPM,
    HOUR_S,
    LEAST_SEEN_SHARE,
    PROLONGED_FROM_S,
    TEN_MINUTES_S,
    rounded_baseline,
)
from ebbline.features import window as within
from ebbline.features.findings import (
    ArtefactKind,
    Deceleration,
    DecelerationKind,
    Findings,
    VariabilityClass,
)
from ebbline.features.fitness import unfit_words
from ebbline.features.stretch_baseline import StretchBaseline, baseline_track
from ebbline.reading.counts import assessed
from ebbline.reading.model import (
    ContractionSummary,
    DecelerationSummary,
    LevelFall,
    Review,
    TenMinutes,
)
from ebbline.reading.text import of_kind, share
from ebbline.terms import SensorKind, Window

FloatArray = NDArray[np.float64]

NAN = math.nan

COLUMN_S = TEN_MINUTES_S
"""Length of a column under the strip."""

BASELINE_MOVED_BPM = 10.0
"""Least move of the baseline that is said as a change (common practice, no source)."""

MORE_BY = 2.0
"""Least difference in events per 10 minutes that is said as a change (common practice, no
source)."""

WHOLE_ACTIVITY = 0.9
"""Least share of the time between two contractions with measured activity for it to be an interval
(our choice): where more is missing, one may have come between unseen."""

LESS_SIGNAL = 0.2
"""Least loss of valid share that is said as a change (our choice)."""


@dataclass(frozen=True, slots=True)
class _Facts:
    """What one stretch shows; events per stretch, NaN and None where not measured."""

    window: Window
    valid_share: float
    baseline_bpm: float
    bandwidth_bpm: float
    measured_minutes: int
    variability: VariabilityClass
    contractions: int | None
    accelerations: int
    decelerations: tuple[Deceleration, ...]

    @property
    def tens(self) -> float:
        """How many ten minutes the stretch holds."""
        return self.window.duration_s / COLUMN_S


def summarise(findings: Findings, window: Window, *, columns: bool = True) -> Review:
    """The review of one window of one fetus; its ten-minute columns only where they are asked for.

    A number that could not be measured is NaN and a state that could not be told is None or
    indeterminate; `not_assessed` says in words what was missing and why.
    """
    facts = _facts(findings, window)
    contractions = _contractions(findings, window, facts)
    decelerations, untold = _decelerations(findings, facts)
    view = window_facts(findings, window)
    together = view.repetitive(of_any_kind(view))
    note = _baseline_note(findings, facts)
    stv_ms, ltv_bpm = _variation(findings, window)
    return Review(
        window=window,
        valid_share=facts.valid_share,
        longest_gap_s=_longest_gap_s(findings, window),
        suspected=_artefacts(findings, window),
        contractions=contractions,
        baseline_bpm=facts.baseline_bpm,
        baseline_note=note,
        bandwidth_bpm=facts.bandwidth_bpm,
        variability=facts.variability,
        stv_ms=stv_ms,
        ltv_bpm=ltv_bpm,
        accelerations=assessed(facts.accelerations, facts.valid_share, facts.baseline_bpm),
        decelerations=decelerations,
        sinusoidal=_sinusoidal(findings, facts),
        columns=_columns(findings, window) if columns else (),
        not_assessed=(*unfit_words(findings), *_missing(facts, contractions, note), *untold),
        level_falls=_level_falls(view),
        repetitive=together.answer,
        repetitive_share=together.value,
    )


# ---------------------------------------------------------------- one stretch


def _facts(findings: Findings, window: Window) -> _Facts:
    bandwidth, minutes, variability = _bandwidth(findings, window)
    measured = within.activity_share(findings, window) >= within.LEAST_ACTIVITY
    return _Facts(
        window=window,
        valid_share=within.valid_share(findings, window),
        baseline_bpm=_baseline(findings, window),
        bandwidth_bpm=bandwidth,
        measured_minutes=minutes,
        variability=variability,
        contractions=len(within.contractions_in(findings, window)) if measured else None,
        accelerations=len(within.accelerations_in(findings, window)),
        decelerations=within.decelerations_in(findings, window),
    )


def _tens(findings: Findings, window: Window) -> list[StretchBaseline]:
    """The baseline of each ten minutes of a window, as the classes divide it."""
    track = baseline_track(findings)
    return [track.of(*part) for part in window_facts(findings, window).levels.whole_tens]


def _baseline(findings: Findings, window: Window) -> float:
    """Mean of the ten-minute baselines weighted by their length, rounded to 5 (NICHD 2008).

    Where they differ by a change of baseline, the level that most of them lie on: a mean over two
    was never there. NaN where less than half of the stretch has a baseline that is determinate.
    """
    tens = _tens(findings, window)
    known = [one for one in tens if one.determinate]
    lengths = [one.end_s - one.start_s for one in known]
    if not known or sum(lengths) < LEAST_SEEN_SHARE * sum(one.end_s - one.start_s for one in tens):
        return NAN
    means = [one.mean_bpm for one in known]
    if max(means) - min(means) >= BASELINE_CHANGE_BPM:
        by_level = sorted(zip(means, lengths, strict=True))
        reached = np.cumsum([seconds for _, seconds in by_level])
        return rounded_baseline(by_level[int(np.searchsorted(reached, 0.5 * reached[-1]))][0])
    return rounded_baseline(float(np.average(means, weights=lengths)))


def _bandwidth(findings: Findings, window: Window) -> tuple[float, int, VariabilityClass]:
    """Usual one-minute bandwidth, minutes measured, and class."""
    minutes = recording_facts(findings).minutes_from(window.start_s)
    seen = minutes.variability_in(window.start_s, window.end_s)
    return seen.bandwidth_bpm, seen.measured_minutes, seen.variability


def _baseline_note(findings: Findings, facts: _Facts) -> str:
    tens = _tens(findings, facts.window)
    if math.isnan(facts.baseline_bpm):
        whys = dict.fromkeys(one.why for one in tens if one.why)
        return "; ".join(whys) or "no ten minutes of the window have a baseline"
    values = [_levels(one) for one in tens if one.determinate]
    said = f"by 10 minutes: {', '.join(values)} bpm"
    unknown = len(tens) - len(values)
    if unknown:
        return f"{said}; indeterminate in {unknown} of {len(tens)}"
    return said if len(set(values)) > 1 or " then " in values[0] else ""


def _levels(one: StretchBaseline) -> str:
    """'140', or '140 then 90' where the baseline changed within the ten minutes."""
    levels = one.levels if len(one.levels) > 1 else (one.mean_bpm,)
    return " then ".join(f"{rounded_baseline(bpm):.0f}" for bpm in levels)


def _longest_gap_s(findings: Findings, window: Window) -> float:
    """Longest run of seconds without usable heart rate, as far as it lies in the window."""
    rate = findings.fetal.rate_curve
    first = math.floor((window.start_s - rate.start_s) / rate.step_s)
    last = math.ceil((window.end_s - rate.start_s) / rate.step_s)
    seen = np.flatnonzero(~np.isnan(rate.values[max(0, first) : last]))
    edges = np.concatenate(([-1], seen, [last - max(0, first)]))
    return float(np.diff(edges).max() - 1) * rate.step_s


def _artefacts(findings: Findings, window: Window) -> tuple[ArtefactKind, ...]:
    """What was met in the window that is no heart rate, or may not be."""
    return tuple(
        dict.fromkeys(
            one.kind for one in findings.fetal.artefacts if window.overlaps(one.start_s, one.end_s)
        )
    )


def _contractions(findings: Findings, window: Window, facts: _Facts) -> ContractionSummary:
    chosen = within.contractions_in(findings, window)
    rate = within.contraction_rate(findings, window)
    onsets = [one.onset_s for one in chosen]
    peaks = np.array([one.peak_s for one in chosen])
    whole = _activity_whole_between(findings, peaks)
    catheter = findings.uterine.sensor is SensorKind.PRESSURE_CATHETER
    units = within.montevideo_units(findings, window) if catheter else None
    return ContractionSummary(
        assessed=facts.contractions is not None,
        count=len(chosen),
        per_10_min=rate.per_10_min,
        per_10_min_over_s=rate.stretch.duration_s,
        duration_s=_median([one.duration_s for one in chosen]),
        interval_s=_median(np.diff(peaks)[whole].tolist()),
        rest_s=_median(
            [
                max(0.0, onset_s - one.end_s)
                for one, onset_s, seen in zip(chosen, onsets[1:], whole, strict=False)
                if seen
            ]
        ),
        resting_tone_mmhg=_median([one.resting_tone for one in chosen]) if catheter else NAN,
        montevideo_units=NAN if units is None else units.units,
        tachysystole=within.tachysystole(findings, window).answer,
        note="; ".join(why for why in (rate.why, units.why if units else "") if why),
    )


def _activity_whole_between(findings: Findings, peaks_s: FloatArray) -> NDArray[np.bool_]:
    """Of neighbouring contractions, between which the activity was measured nearly throughout."""
    index = within.index_of(findings)
    measured_s = np.diff(np.interp(peaks_s, index.activity_edges_s, index.activity_sum_s))
    whole: NDArray[np.bool_] = measured_s >= WHOLE_ACTIVITY * np.diff(peaks_s)
    return whole


def _median(values: Sequence[float]) -> float:
    return median(values) if values else NAN


def _decelerations(
    findings: Findings, facts: _Facts
) -> tuple[tuple[DecelerationSummary, ...], tuple[str, ...]]:
    """A summary of each kind that was seen, and what could not be told of them.

    Whether they recur is asked as the criteria ask it: with prolonged ones that began as this kind.
    """
    window = facts.window
    summaries: list[DecelerationSummary] = []
    untold: dict[str, None] = {}
    masks = window_facts(findings, window)
    for kind in DecelerationKind:
        chosen = [one for one in facts.decelerations if one.kind is kind]
        if not chosen:
            continue
        which = masks.of_kind(kind)
        lasted_s = [_lasted_s(masks, one) for one in chosen]
        recurrent = masks.recurrent(which)
        repetitive = masks.repetitive(which)
        for answer in (recurrent, repetitive):
            if answer.answer is None:
                untold[f"whether {of_kind(kind.value)} are recurrent: {answer.why}"] = None
        concerns = (
            Counter(
                feature for one in chosen for feature in within.concerning_features(findings, one)
            )
            if kind is DecelerationKind.VARIABLE
            else Counter[str]()
        )
        summaries.append(
            DecelerationSummary(
                kind=kind.value,
                count=len(chosen),
                share_of_contractions=(
                    within.share_with_decelerations(findings, window, which).share
                    if facts.contractions is not None
                    else NAN
                ),
                recurrent=recurrent.answer,
                repetitive=repetitive.answer,
                median_depth_bpm=median(one.depth_bpm for one in chosen),
                deepest_bpm=max(one.depth_bpm for one in chosen),
                median_duration_s=median(lasted_s),
                longest_s=max(lasted_s),
                concerning=tuple(
                    f"{feature} ({number} of {len(chosen)})"
                    for feature, number in concerns.most_common()
                ),
            )
        )
    return tuple(summaries), tuple(untold)


def _level_falls(facts: WindowFacts) -> tuple[LevelFall, ...]:
    """Falls that lasted on as a baseline, and one to another level that no deceleration tells."""
    found = [one for one in facts.falls.long if one.to_a_level]
    if facts.falls.to_a_level is not None:
        found.append(facts.falls.to_a_level)
    return tuple(
        LevelFall(one.onset_s, one.duration_s, one.depth_bpm, one.nadir_bpm, one.recovered)
        for one in found
    )


def _lasted_s(facts: WindowFacts, fall: Deceleration) -> float:
    """How long a fall lasted by the window's end, the longer way where the classes count it so."""
    whole = (one for one in facts.falls.long if one.onset_s == fall.onset_s)
    counted = next((one.duration_s for one in whole if not one.to_a_level), None)
    if counted is not None:
        return counted
    until_back_s = (
        min(facts.whole.recovery.back_s(fall, facts.window.end_s), facts.window.end_s)
        - fall.onset_s
    )
    return until_back_s if until_back_s >= PROLONGED_FROM_S else facts.falls.so_far_s(fall)


def _variation(findings: Findings, window: Window) -> tuple[float, float]:
    """Short-term (ms) and long-term (bpm) variation: mean of the window's ten minutes."""
    here = [one for one in findings.fetal.variability if window.overlaps(one.start_s, one.end_s)]
    stv = [one.stv_ms for one in here if not math.isnan(one.stv_ms)]
    ltv = [one.ltv_bpm for one in here if not math.isnan(one.ltv_bpm)]
    return (fmean(stv) if stv else NAN), (fmean(ltv) if ltv else NAN)


def _sinusoidal(findings: Findings, facts: _Facts) -> bool | None:
    """Whether the window meets a sinusoidal episode; None when too little of it was seen."""
    if any(
        not one.pseudo and facts.window.overlaps(one.start_s, one.end_s)
        for one in findings.fetal.sinusoidal
    ):
        return True
    return None if facts.variability is VariabilityClass.INDETERMINATE else False


def _missing(facts: _Facts, contractions: ContractionSummary, baseline_note: str) -> list[str]:
    minutes = facts.window.duration_s / 60.0
    missing = []
    if facts.valid_share < LEAST_SEEN_SHARE:
        missing.append(
            f"accelerations and decelerations of most of the window: only "
            f"{share(facts.valid_share)} of the heart-rate signal is valid"
        )
    if math.isnan(facts.baseline_bpm):
        missing.append(f"baseline: {baseline_note}")
    if facts.variability is VariabilityClass.INDETERMINATE:
        missing.append(
            f"variability: {facts.measured_minutes} of {minutes:.0f} min could be measured"
        )
    if not contractions.assessed or math.isnan(contractions.per_10_min):
        missing.append(f"contractions: {contractions.note or 'too little activity measured'}")
    return missing


# ---------------------------------------------------------------- change over time


def _columns(findings: Findings, window: Window) -> tuple[TenMinutes, ...]:
    """Ten minutes each, from the window's start; what is left at its end is a shorter one."""
    columns = []
    start_s = window.start_s
    while start_s < window.end_s:
        column = Window(start_s, min(start_s + COLUMN_S, window.end_s))
        now = _facts(findings, column)
        columns.append(
            TenMinutes(
                window=column,
                valid_share=now.valid_share,
                contractions=now.contractions,
                baseline_bpm=now.baseline_bpm,
                bandwidth_bpm=now.bandwidth_bpm,
                variability=now.variability,
                accelerations=assessed(now.accelerations, now.valid_share, now.baseline_bpm),
                decelerations=assessed(len(now.decelerations), now.valid_share, now.baseline_bpm),
                change=_change(findings, now),
            )
        )
        start_s = column.end_s
    return tuple(columns)


def new_against_the_hour_before(findings: Findings, window: Window) -> tuple[str, ...]:
    """What a window shows that the hour before it did not, in words; () where nothing is new."""
    return _change(findings, _facts(findings, window))


def _change(findings: Findings, now: _Facts) -> tuple[str, ...]:
    """What differs from the hour before, in words; why nothing can be said, where that is so."""
    if now.window.duration_s < COLUMN_S / 2:
        return ("not compared: less than 5 min",)
    earlier = Window(max(0.0, now.window.start_s - HOUR_S), now.window.start_s)
    if earlier.duration_s < COLUMN_S:
        return ("not compared: less than 10 min come before",)
    before = _facts(findings, earlier)
    for stretch, what in ((now, "these minutes"), (before, "the hour before")):
        if stretch.valid_share < LEAST_SEEN_SHARE:
            return (f"not compared: {share(stretch.valid_share)} of {what} is valid",)
    said = [
        *_baseline_change(before, now),
        *_variability_change(before, now),
        *_number_change(
            "accelerations", before.accelerations / before.tens, now.accelerations / now.tens
        ),
        *_deceleration_change(before, now),
    ]
    if before.contractions is not None and now.contractions is not None:
        said += _number_change(
            "contractions", before.contractions / before.tens, now.contractions / now.tens
        )
    else:
        said.append("contractions not compared: too little activity measured")
    if now.valid_share < before.valid_share - LESS_SIGNAL:
        said.append(
            f"less signal ({share(now.valid_share)} valid, {share(before.valid_share)} before)"
        )
    return tuple(said)


def _baseline_change(before: _Facts, now: _Facts) -> list[str]:
    moved = now.baseline_bpm - before.baseline_bpm
    if math.isnan(moved):
        return ["baseline not compared: indeterminate"]
    if abs(moved) < BASELINE_MOVED_BPM:
        return []
    return [f"baseline {'up' if moved > 0 else 'down'} {abs(moved):.0f} bpm"]


def _variability_change(before: _Facts, now: _Facts) -> list[str]:
    if VariabilityClass.INDETERMINATE in (before.variability, now.variability):
        return ["variability not compared: indeterminate"]
    if before.variability is now.variability:
        return []
    return [f"variability from {before.variability.value} to {now.variability.value}"]


def _number_change(what: str, before: float, now: float) -> list[str]:
    """Events per 10 minutes against those of the hour before."""
    if abs(now - before) < MORE_BY:
        return []
    word = "more" if now > before else "fewer"
    return [f"{word} {what} ({now:.0f} in 10 min, {before:.1f} before)"]


def _deceleration_change(before: _Facts, now: _Facts) -> list[str]:
    known = {one.kind for one in before.decelerations}
    fresh = dict.fromkeys(one.kind for one in now.decelerations if one.kind not in known)
    said = [f"{of_kind(kind.value)}, none in the hour before" for kind in fresh]
    return said + _number_change(
        "decelerations", len(before.decelerations) / before.tens, len(now.decelerations) / now.tens
    )
