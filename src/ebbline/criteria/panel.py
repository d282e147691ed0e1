"""How a panel of readers would probably split over a window: normal, suspicious, pathological.

An ordinal model (proportional odds; McCullagh, J R Stat Soc B 1980;42:109-42) on a sum of
monotone terms, one for each number of `panel_features`: more of what is worse never lowers the
score. The terms' points are exact: they add up to the score. The fitted numbers stand in
`panel_model.json`, made by `bench/panel.py --refit` from the readings of nine obstetricians
(Hruban L, et al. J Eval Clin Pract 2015) of the open CTU-UHB recordings (Chudacek V, et al. BMC
Pregnancy Childbirth 2014;14:16). It says what readers would call a window, not what is true of
the fetus, and never replaces a standard's class.
"""

from __future__ import annotations

import json
import math
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ebbline.criteria.model import PANEL_LABELS, PanelContribution, PanelReading
from ebbline.criteria.panel_features import FEATURES, measure
from ebbline.features.findings import Findings
from ebbline.recording.model import Context
from ebbline.terms import Stage, Window

FloatArray = NDArray[np.float64]

LEAST_USABLE_S = 240.0
"""A window with less usable signal than this gets no panel reading: the readers had five minutes
or more of recording (README of the data)."""

LEAST_WEEKS = 37.0
"""The recordings are of term labours."""

USUAL_LOSS = 0.55
"""The greatest share of lost signal in the recordings."""


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
        """Points of one value over those of the usual window."""
        return float(parts(value, self.knots, worse) @ self.weights) - self.usual


@dataclass(frozen=True, slots=True, eq=False)
class PanelModel:
    """Terms and cuts. cuts: where the score passes to suspicious, to pathological, for a single
    reader; label_cuts: the same for the middle one of nine readers. Keys: first, second stage."""

    version: str
    data: str
    terms: tuple[PanelTerm, ...]
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
        cuts={stage: (cut[0], cut[1]) for stage, cut in saved["cuts"].items()},
        label_cuts={stage: (cut[0], cut[1]) for stage, cut in saved["label_cuts"].items()},
    )


def panel_reading(
    findings: Findings, window: Window, context: Context, model: PanelModel | None = None
) -> PanelReading | None:
    """The panel's probable split over a window, or None where too little signal is usable."""
    model = model or panel_model()
    first, last = int(window.start_s), max(int(window.start_s) + 1, round(window.end_s))
    usable = np.isfinite(findings.fetal.rate_curve.values[first:last])
    if float(usable.sum()) < LEAST_USABLE_S:
        return None
    stage = context.stage_at(0.5 * (window.start_s + window.end_s))
    key = "second" if stage is Stage.SECOND else "first"
    values = measure(findings, window)
    contributions = []
    for feature, term, value in zip(FEATURES, model.terms, values.tolist(), strict=True):
        points = term.points(value, feature.worse)
        contributions.append(PanelContribution(feature.name, value, feature.unit, points))
    score = sum(c.points for c in contributions)
    contributions.sort(key=lambda c: -abs(c.points))
    rank = sum(score > cut for cut in model.label_cuts[key])
    return PanelReading(
        window=window,
        probabilities=split(score, model.cuts[key]),
        label=PANEL_LABELS[rank],
        score=score,
        contributions=tuple(contributions),
        model_version=model.version,
        data=model.data,
        warnings=_warnings(findings, window, context, stage, 1.0 - float(usable.mean())),
    )


def _warnings(
    findings: Findings, window: Window, context: Context, stage: Stage, loss: float
) -> tuple[str, ...]:
    """Where the window lies outside the data that the model came from."""
    found = []
    if context.weeks is not None and context.weeks < LEAST_WEEKS:
        found.append(f"{context.weeks:g} weeks: the panel read term labours only")
    if stage is Stage.ANTEPARTUM:
        found.append("antepartum: the panel read labours only")
    if stage is Stage.UNKNOWN:
        found.append("stage not known: read as the first stage")
    if findings.fetal.fetus > 1:
        found.append("a further twin: the panel read single fetuses only")
    minutes = window.duration_s / 60.0
    if stage is not Stage.SECOND and not 25.0 <= minutes <= 35.0:
        found.append(f"{minutes:.0f} minutes: in the first stage the panel read 30")
    if stage is Stage.SECOND and not 4.0 <= minutes <= 31.0:
        found.append(f"{minutes:.0f} minutes: in the second stage the panel read 5 to 30")
    if loss > USUAL_LOSS:
        found.append(f"{loss:.0%} of the signal lost: more than in the panel's recordings")
    if not any(
        s.determinate and s.end_s > window.start_s and s.start_s < window.end_s
        for s in findings.fetal.baseline
    ):
        found.append("no baseline in the window: what depends on it is guesswork")
    return tuple(found)
