"""How each term grows over a year: the change of its share of points, within learners."""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from ebbline.teach.statistics.resampling import ratio_interval

MONTH_DAYS = 30.0


@dataclass(frozen=True, slots=True)
class SkillShare:
    """What one attempt showed of one term. share: of its points, 0..1."""

    learner: str
    skill: str
    finished: datetime
    share: float


@dataclass(frozen=True, slots=True)
class Growth:
    """One term. first, latest: mean share of the learners' first and latest attempts at it.

    per_month: change of the share in 30 days within learners (least squares, each learner about
    her own mean), with its 95 % percentile bootstrap interval, over learners where there are two
    or more, else over attempts; NaN where nobody tried it on two days.
    """

    skill: str
    learners: int
    attempts: int
    first: float
    latest: float
    per_month: float
    low: float
    high: float


def growth(shares: Iterable[SkillShare], *, seed: int = 0) -> tuple[Growth, ...]:
    """Growth of every term, the least grown first."""
    by_skill: dict[str, dict[str, list[SkillShare]]] = {}
    for one in sorted(shares, key=lambda s: s.finished):
        by_skill.setdefault(one.skill, {}).setdefault(one.learner, []).append(one)
    made = [_of(skill, own, seed) for skill, own in sorted(by_skill.items())]
    return tuple(sorted(made, key=lambda g: (math.isnan(g.per_month), g.per_month, g.skill)))


def _of(skill: str, own: dict[str, list[SkillShare]], seed: int) -> Growth:
    parts = [_centred(these) for these in own.values()]
    value = _slope(np.concatenate(parts))
    low, high = _interval(parts, seed) if math.isfinite(value) else (math.nan, math.nan)
    return Growth(
        skill,
        len(own),
        sum(len(these) for these in own.values()),
        float(np.mean([these[0].share for these in own.values()])),
        float(np.mean([these[-1].share for these in own.values()])),
        value,
        low,
        high,
    )


def _centred(these: list[SkillShare]) -> np.ndarray:
    """Months and shares about the learner's own means, shape (attempts, 2)."""
    start = these[0].finished
    months = [(one.finished - start).total_seconds() / 86400 / MONTH_DAYS for one in these]
    table = np.array([months, [one.share for one in these]]).T
    return np.asarray(table - table.mean(axis=0))


def _slope(table: np.ndarray) -> float:
    spread = float((table[:, 0] ** 2).sum())
    return float((table[:, 0] * table[:, 1]).sum()) / spread if spread > 1e-6 else math.nan


def _interval(parts: list[np.ndarray], seed: int) -> tuple[float, float]:
    groups = parts if len(parts) > 1 else [row[None, :] for row in parts[0]]
    return ratio_interval(
        [(g[:, 0] * g[:, 1]).sum() for g in groups], [(g[:, 0] ** 2).sum() for g in groups], seed
    )
