"""How a panel of readers would probably split over a window: normal, suspicious, pathological.

An ordinal model (proportional odds; McCullagh, J R Stat Soc B 1980;42:109-42) on a sum of
monotone terms, one for each number of `panel_features`: more of what is worse never lowers the
score. The readers had seen the earlier trace, so that the score is that of the window and a share
of that of the half hour before, by the same terms. The points are exact: they add up to the score.
The fitted numbers stand in `panel_model.json`, made by `bench/panel.py --refit` from the readings
of nine obstetricians (Hruban L, et al. J Eval Clin Pract 2015) of the open CTU-UHB recordings
(Chudacek V, et al. BMC Pregnancy Childbirth 2014;14:16). It says what readers would call a window,
not what is true of the fetus, and never replaces a standard's class.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ebbline.criteria.model import PANEL_LABELS, PanelContribution, PanelReading
from ebbline.criteria.panel_features import FEATURES, measure, measure_with_hidden
from ebbline.criteria.rate_source import doubts_of_source
from ebbline.criteria.rules import nichd
from ebbline.criteria.tables import figo
from ebbline.criteria.window_view import WindowFacts, window_facts
from ebbline.definitions import BASELINE_NORMAL_FROM_BPM, BASELINE_NORMAL_TO_BPM, HALF_HOUR_S
from ebbline.features.findings import Findings
from ebbline.features.fitness import VARIABILITY_FROM_HZ, VARIABILITY_UPTO_BPM, fit_for
from ebbline.recording.model import Context
from ebbline.terms import Stage, VariabilityClass, Window, counted

FloatArray = NDArray[np.float64]

LEAST_USABLE_S = 240.0
"""A window with less usable signal than this gets no panel reading: the readers had five minutes
or more of recording (README of the data)."""

LEAST_WEEKS = 37.0
"""The recordings are of term labours."""

MOST_LOSS = 0.55
"""The greatest share of lost signal in the recordings' windows, but for a few (99 %)."""

FIRST_STAGE_MIN, SECOND_STAGE_MIN = (20.0, 40.0), (4.0, 40.0)
"""Lengths of window that are answered, min: the panel read 30 in the first stage, 5 to 30 in the
second; with a third to spare (ours)."""

BEFORE_S, LEAST_BEFORE_S = HALF_HOUR_S, 600.0
"""What was read before counts for half an hour, from ten minutes of it on (ours)."""

LOSS_POINTS, SILENT_POINTS = 3.0, 2.0
"""What lost signal may have hidden, in points for the whole share lost: three are added to the
score, and where two would change the label, the panel keeps silent. Of 1,344 pairs of windows of
open recordings and invented labours with more and more lost (gaps of 1, 4 and 40 s) the label then
gets milder 4 times; with three points over a tenth it was as often silent and milder 6 times
(ours)."""

SURE_ENOUGH = 0.4
"""The panel is silent for suspicions from this certainty on that the rate is not the fetus's. Of a
slope down to a mother's range it only never says the best (ours: in open recordings obstetricians
read such windows as the panel does)."""

UNREAD_SHARE = 1 / 3
"""Where the rate was lost through more of the contractions, only the worst label is given: of 724
windows of open recordings 5 (ours)."""

NOT_BACK = "a fall that has not come back, which the panel's numbers cannot see to its end"

LATE_RECUR = (
    "decelerations that recur late or may, which the panel's numbers cannot tell from others"
)

UNWEIGHED = "which the panel's numbers do not weigh by itself"

MAY_HIDE = "stretches of lost signal may hide decelerations like those seen, and a worse reading"

WHOSE = "whose rate it is is in question: the panel read what was taken for the fetus's"

SIGNAL_LOST = "signal lost"
"""Name of the contribution that these points are."""

HALF_HOUR_BEFORE = "half hour before"
"""Name of the contribution that unfolds into `PanelReading.before`."""


@dataclass(frozen=True, slots=True, eq=False)
class PanelTerm:
    """One number's part: straight lines between knots, never falling in the direction of worse.

    weights[k] is what the score gains between knots[k] and knots[k + 1]. usual: its mean part
    over the data, taken off so that an ordinary window has no points.
    """

    name: str
    knots: FloatArray
    weights: FloatArray
    usual: float

    def points(self, value: float, worse: int) -> float:
        """Points of one value over those of the usual window: `parts` weighted and added up."""
        gained = _gained(self)
        upto = float(np.interp(value, self.knots, gained))
        return (upto if worse > 0 else float(gained[-1]) - upto) - self.usual


@lru_cache(256)
def _gained(term: PanelTerm) -> FloatArray:
    """What the score has gained by each knot of a term."""
    return np.concatenate(([0.0], np.cumsum(term.weights)))


@dataclass(frozen=True, slots=True, eq=False)
class PanelModel:
    """Terms and cuts. cuts: where the score passes to suspicious, to pathological, for a single
    reader; label_cuts: the same for the middle one of nine readers. Keys: first, second stage.
    history: how much of the half hour before counts."""

    version: str
    data: str
    terms: tuple[PanelTerm, ...]
    history: float
    cuts: dict[str, tuple[float, float]]
    label_cuts: dict[str, tuple[float, float]]


def parts(values: float | FloatArray, knots: FloatArray, worse: int) -> FloatArray:
    """How far a value has come between each knot and the next, 0..1; shape (..., knots - 1)."""
    way = (np.asarray(values)[..., None] - knots[:-1]) / np.diff(knots)
    way = np.clip(way, 0.0, 1.0)
    return np.asarray(way if worse > 0 else 1.0 - way, dtype=np.float64)


def split(score: float, cuts: tuple[float, float]) -> tuple[float, float, float]:
    """Probability that a single reader says normal, suspicious, pathological."""
    upto = [1.0 / (1.0 + math.exp(min(50.0, max(-50.0, score - cut)))) for cut in cuts]
    return upto[0], upto[1] - upto[0], 1.0 - upto[1]


@cache
def panel_model() -> PanelModel:
    """The model that ships with this version."""
    return from_dict(
        json.loads(files("ebbline.criteria").joinpath("panel_model.json").read_text("utf-8"))
    )


def from_dict(saved: dict[str, Any]) -> PanelModel:
    """A model from its JSON form."""
    return PanelModel(
        version=saved["version"],
        data=saved["data"],
        terms=tuple(
            PanelTerm(t["name"], np.array(t["knots"]), np.array(t["weights"]), t["usual"])
            for t in saved["terms"]
        ),
        history=saved["history"],
        cuts={stage: (cut[0], cut[1]) for stage, cut in saved["cuts"].items()},
        label_cuts={stage: (cut[0], cut[1]) for stage, cut in saved["label_cuts"].items()},
    )


def panel_reading(
    findings: Findings, window: Window, context: Context, model: PanelModel | None = None
) -> PanelReading | None:
    """The panel's probable split over a window, or None where it keeps silent (`panel_silence`)."""
    return panel_answer(findings, window, context, model)[0]


def panel_silence(findings: Findings, window: Window, context: Context) -> str:
    """Why the panel says nothing of a window, or "": outside its data, a sign it cannot see, or so
    much lost that its label may be a worse one."""
    return panel_answer(findings, window, context)[1]


def panel_answer(
    findings: Findings, window: Window, context: Context, model: PanelModel | None = None
) -> tuple[PanelReading | None, str]:
    """The panel's reading of a window and "", or None and why it keeps silent."""
    why = _outside(findings, window, context)
    if why:
        return None, why
    model = model or panel_model()
    stage = _stage(window, context)
    key = "second" if stage is Stage.SECOND else "first"
    contributions = _contributions(model, findings, window, 1.0)
    earlier = window_before(findings, window)
    before = _contributions(model, findings, earlier, model.history) if earlier else ()
    if before:
        together = PanelContribution(HALF_HOUR_BEFORE, math.nan, "", sum(c.points for c in before))
        contributions = (*contributions, together)
    score = sum(c.points for c in contributions)
    cuts = model.label_cuts[key]
    rank = _rank(score, cuts)
    lost = _lost(findings, window)
    if lost > 0.0:
        if _rank(score + SILENT_POINTS * lost, cuts) != rank:
            return None, (
                f"with {100 * lost:.0f} % of the signal lost it may be a worse reading than what "
                "is seen"
            )
        hidden = LOSS_POINTS * lost
        contributions = (*contributions, PanelContribution(SIGNAL_LOST, 100 * lost, "%", hidden))
        score += hidden
    doubted = any(True for _ in doubts_of_source(findings, window))
    if doubted and rank == 0:
        return None, WHOSE
    unread, contractions = window_facts(findings, window).unread_contractions
    if rank < len(cuts) and unread > UNREAD_SHARE * contractions:
        return None, (
            f"the heart rate could not be read through {unread} of "
            f"{counted(contractions, 'contraction')}, where falls would be"
        )
    for least, sign in _signs(findings, window, context):
        if rank < least:
            return None, sign
    if rank < len(cuts) and _rank(score + _hidden(model, findings, window), cuts) != rank:
        return None, MAY_HIDE
    reading = PanelReading(
        window=window,
        probabilities=split(score, model.cuts[key]),
        label=PANEL_LABELS[rank],
        score=score,
        contributions=tuple(sorted(contributions, key=_by_size)),
        model_version=model.version,
        data=model.data,
        warnings=_warnings(window, context, stage, bool(before), doubted),
        before=tuple(sorted(before, key=_by_size)),
    )
    return reading, ""


def _rank(score: float, cuts: tuple[float, float]) -> int:
    """Place in PANEL_LABELS."""
    return sum(score > cut for cut in cuts)


def window_before(findings: Findings, window: Window) -> Window | None:
    """The half hour before a window, from the first signal on; None where too little of it."""
    rate = findings.fetal.rate_curve
    begins_s = rate.start_s + rate.step_s * int(np.argmax(np.isfinite(rate.values)))
    begins_s = min(max(begins_s, window.start_s - BEFORE_S), window.start_s)
    before = Window(begins_s, window.start_s)
    if before.duration_s < LEAST_BEFORE_S or _usable_s(findings, before) < LEAST_USABLE_S:
        return None
    return before


def _lost(findings: Findings, window: Window) -> float:
    """Share of the window without a usable heart rate."""
    return 1.0 - _usable_s(findings, window) / max(window.duration_s, 1.0)


def _outside(findings: Findings, window: Window, context: Context) -> str:
    """Why a window is none that the panel can be asked of, or ""."""
    usable_s = _usable_s(findings, window)
    stage = _stage(window, context)
    low, high = SECOND_STAGE_MIN if stage is Stage.SECOND else FIRST_STAGE_MIN
    minutes = window.duration_s / 60.0
    lost = _lost(findings, window)
    reasons = (
        (
            usable_s < LEAST_USABLE_S or lost > MOST_LOSS,
            f"{100 * lost:.0f} % of the signal is lost: more than in the panel's windows",
        ),
        (
            context.weeks is not None and context.weeks < LEAST_WEEKS,
            f"{context.weeks or 0:g} weeks: the panel read term labours only",
        ),
        (stage is Stage.ANTEPARTUM, "antepartum: the panel read labours only"),
        (findings.fetal.fetus > 1, "a further twin: the panel read single fetuses only"),
        (
            not low <= minutes <= high,
            f"{minutes:.0f} minutes: the panel read {'5 to 30' if low < 5 else '30'}",
        ),
        (
            not fit_for(findings.fetal.rate_hz, VARIABILITY_FROM_HZ)
            or findings.fetal.step_bpm > VARIABILITY_UPTO_BPM,
            "a heart rate too coarse for variability: the panel read four samples a second",
        ),
        (
            any(True for _ in doubts_of_source(findings, window, SURE_ENOUGH)),
            WHOSE,
        ),
        (
            any(
                not s.pseudo and window.overlaps(s.start_s, s.end_s)
                for s in findings.fetal.sinusoidal
            ),
            "a sinusoidal pattern, which the panel's numbers cannot see",
        ),
        (
            _fallen_to_a_level(findings, window),
            "a fall to another level that has not come back, which the panel's numbers cannot see",
        ),
        (
            not any(
                s.determinate and window.overlaps(s.start_s, s.end_s)
                for s in findings.fetal.baseline
            ),
            "no baseline in the window",
        ),
    )
    return next((why for holds, why in reasons if holds), "")


def _fallen_to_a_level(findings: Findings, window: Window) -> bool:
    """Whether the window ends in a lower level: the panel's numbers have no fall for it."""
    facts = window_facts(findings, window)
    lasting = any(one.to_a_level and not one.recovered for one in facts.falls.long)
    return lasting or facts.falls.open_step is not None


def _signs(findings: Findings, window: Window, context: Context) -> Iterator[tuple[int, str]]:
    """Definite signs of a window that the panel's numbers cannot see whole, and the mildest label
    that may stand beside each: 1 suspicious, 2 pathological."""
    facts = window_facts(findings, window)
    yield _least_of_the_open(facts), NOT_BACK
    longest = facts.falls.long[0].duration_s / 60.0 if facts.falls.long else 0.0
    # So it was to the readers of the data: of 21 windows with such a fall the panel would call 1
    # suspicious and none normal.
    if figo.PROLONGED_5.met(longest):
        yield 2, f"a fall of {longest:.0f} min, whose length the panel's numbers cap"
    if facts.levels.variability_of(VariabilityClass.ABSENT):
        third = nichd.classify(facts, context).rank == 2
        yield 1 + third, f"{'Category III' if third else 'absent variability'}, {UNWEIGHED}"
    if facts.falls.lower_end is not None or facts.falls.closed_step is not None:
        yield 1, f"a fall to another level, {UNWEIGHED}"
    if len(facts.falls.long) > 1:
        yield 1, f"{len(facts.falls.long)} prolonged falls, {UNWEIGHED}"
    if facts.recurrent(facts.recurring_late | facts.whole.falls.unpaired).answer is not False:
        yield 1, LATE_RECUR
    for one in facts.levels.known_baselines:
        if one.whole_bpm > BASELINE_NORMAL_TO_BPM or one.low_bpm < BASELINE_NORMAL_FROM_BPM:
            yield 1, f"a baseline of {one.whole_bpm:.0f} bpm, {UNWEIGHED}"


def _least_of_the_open(facts: WindowFacts) -> int:
    """The mildest label that may stand beside a fall, not come back, that the window ends in.

    The panel's numbers count a fall the same whether it recovers or not: one of over a minute is
    not normal (ours); how long ones weigh stands in `_signs`.
    """
    unseen = facts.falls.open_for_long or facts.falls.fall_into_loss is not None
    return int(unseen or any(not one.recovered for one in facts.falls.long))


def _hidden(model: PanelModel, findings: Findings, window: Window) -> float:
    """Points that the falls which lost signal has room for would add (`measure_with_hidden`)."""
    seen, more = measure(findings, window), measure_with_hidden(findings, window)
    return sum(
        term.points(after, feature.worse) - term.points(before, feature.worse)
        for feature, term, before, after in zip(
            FEATURES, model.terms, seen.tolist(), more.tolist(), strict=True
        )
    )


def _usable_s(findings: Findings, window: Window) -> float:
    rate = findings.fetal.rate_curve
    first = max(0, int((window.start_s - rate.start_s) / rate.step_s))
    last = max(first + 1, round((window.end_s - rate.start_s) / rate.step_s))
    return int(np.count_nonzero(np.isfinite(rate.values[first:last]))) * rate.step_s


def _stage(window: Window, context: Context) -> Stage:
    return context.stage_at(0.5 * (window.start_s + window.end_s))


def _by_size(contribution: PanelContribution) -> float:
    return -abs(contribution.points)


def _contributions(
    model: PanelModel, findings: Findings, window: Window, weight: float
) -> tuple[PanelContribution, ...]:
    values = measure(findings, window).tolist()
    return tuple(
        PanelContribution(f.name, value, f.unit, weight * term.points(value, f.worse))
        for f, term, value in zip(FEATURES, model.terms, values, strict=True)
    )


def _warnings(
    window: Window, context: Context, stage: Stage, before: bool, doubted: bool
) -> tuple[str, ...]:
    """What was not as the panel had it."""
    found = [WHOSE] if doubted else []
    if stage is Stage.UNKNOWN:
        found.append("stage not known: read as the first stage")
    minutes = window.duration_s / 60.0
    if stage is not Stage.SECOND and not 25.0 <= minutes <= 35.0:
        found.append(f"{minutes:.0f} minutes: in the first stage the panel read 30")
    if not before and window.start_s > 0.0:
        found.append("the half hour before could not be seen: the panel had seen it")
    return tuple(found)
