"""From a Reading to the bedside's own plain words: signal troubles, and findings for measures.

The examination knows nothing of traces; whoever holds both comes through here.
"""

from __future__ import annotations

import math

from ebbline.bedside.placement import WORKABLE_SHARE, SensorTrouble, SignalNow
from ebbline.criteria.tables.nichd import BRADYCARDIA, TACHYCARDIA
from ebbline.features.findings import NO_CONTRACTION, ArtefactKind, VariabilityClass
from ebbline.reading.model import FetalReading, Reading
from ebbline.terms import Stage

_TROUBLES = {
    ArtefactKind.DROP_OUT: SensorTrouble.LOST,
    ArtefactKind.SPIKE: SensorTrouble.SPIKES,
    ArtefactKind.OUT_OF_RANGE: SensorTrouble.OUT_OF_RANGE,
    ArtefactKind.DOUBLING: SensorTrouble.DOUBLING,
    ArtefactKind.HALVING: SensorTrouble.HALVING,
    ArtefactKind.MATERNAL: SensorTrouble.MATERNAL,
    ArtefactKind.FLAT: SensorTrouble.FLAT,
}

RISES_SHARE = 0.5
"""Accelerations with so many of the contractions of the second stage want the mother's pulse."""


def signal_now(reading: Reading, fetus: FetalReading, tries: int = 0) -> SignalNow:
    """The signal of the reading's window, in the words of sensors at the bedside."""
    review = fetus.review
    findings = fetus.findings
    troubles = [_TROUBLES[kind] for kind in review.suspected]
    if not review.contractions.assessed:
        troubles.append(SensorTrouble.NO_CONTRACTIONS)
    return SignalNow(
        heart_sensor=findings.fetal.sensor,
        uterine_sensor=findings.uterine.sensor,
        valid_share=review.valid_share,
        longest_gap_s=review.longest_gap_s,
        troubles=tuple(troubles),
        tries=tries,
        stage=reading.context.stage_at(reading.window.end_s - 1.0),
        heart_rate_bpm=review.baseline_bpm,
        rises_with_contractions=_rises(reading, fetus),
        fetuses=len(reading.fetuses),
    )


def _rises(reading: Reading, fetus: FetalReading) -> bool | None:
    """Whether the rate rises with contractions in the second stage; None where not known."""
    if not fetus.review.contractions.assessed or not fetus.review.contractions.count:
        return None
    start, end = reading.window.start_s, reading.window.end_s
    with_one = {
        rise.contraction
        for rise in fetus.findings.fetal.accelerations
        if rise.contraction != NO_CONTRACTION
        and start <= rise.peak_s <= end
        and reading.context.stage_at(rise.peak_s) is Stage.SECOND
    }
    return len(with_one) >= RISES_SHARE * fetus.review.contractions.count


def finding_words(fetus: FetalReading) -> tuple[str, ...]:
    """What the window shows, in the words of the list of first measures.

    Says only what was found: what could not be assessed gives no word.
    """
    review = fetus.review
    words = []
    for summary in review.decelerations:
        if summary.kind == "prolonged" and summary.count:
            words.append("prolonged")
        elif summary.recurrent and summary.kind in ("variable", "late"):
            words.append(f"recurrent-{summary.kind}")
    if not math.isnan(review.baseline_bpm):
        if review.baseline_bpm < BRADYCARDIA.threshold:
            words.append("bradycardia")
        elif review.baseline_bpm > TACHYCARDIA.threshold:
            words.append("tachycardia")
    if review.variability is VariabilityClass.ABSENT:
        words.append("absent-variability")
    elif review.variability is VariabilityClass.MINIMAL:
        words.append("minimal-variability")
    elif review.variability is VariabilityClass.MARKED:
        words.append("marked-variability")
    if review.sinusoidal:
        words.append("sinusoidal")
    if review.contractions.tachysystole:
        words.append("tachysystole-with-changes" if words else "tachysystole")
    suspected = set(review.suspected)
    if ArtefactKind.MATERNAL in suspected:
        words.append("maternal-rate-suspected")
    if {ArtefactKind.DOUBLING, ArtefactKind.HALVING} & suspected:
        words.append("doubling-or-halving-suspected")
    if review.valid_share < WORKABLE_SHARE:
        words.append("signal-lost")
    return tuple(words)


def class_words(fetus: FetalReading) -> tuple[str, ...]:
    """The classes of the window in the words of the list of first measures.

    A window that is at least in a class asks for what that class does, and for what no class does.
    """
    words = []
    for one in fetus.classes:
        certain = one.at_least if one.refused else one.label
        if certain.startswith("Category"):
            words.append(certain)
        elif certain:
            words.append(f"{one.standard.value} {certain}")
        if one.refused:
            words.append("no class")
    return tuple(words)


def longest_fall_min(reading: Reading, fetus: FetalReading) -> float:
    """Minutes that the longest prolonged fall in the window has lasted; NaN without one."""
    start, end = reading.window.start_s, reading.window.end_s
    falls = [
        (min(fall.end_s, end) - fall.onset_s) / 60
        for fall in fetus.findings.fetal.decelerations
        if fall.kind.value == "prolonged" and start <= fall.nadir_s <= end
    ]
    return max(falls, default=math.nan)
