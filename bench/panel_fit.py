"""Fitting the panel model: proportional odds on monotone piecewise-linear terms.

Maximum likelihood of all readers' votes with a lasso and a ridge penalty on weights held at or
over zero (so that every term is monotone in the direction of worse). The half hour before a window
counts with the same weights and a share of its own, `history`, fitted with them.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import minimize
from scipy.special import expit
from sklearn.metrics import cohen_kappa_score

from bench.panel_data import Case, median_reader
from ebbline.criteria.panel import parts
from ebbline.criteria.panel_features import FEATURES

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

STAGES = ("first", "second")
KNOTS = 6
OUTER_QUANTILES = (0.02, 0.98)
PENALTIES = ((0.0002, 0.1), (0.0005, 0.1), (0.0005, 0.3), (0.001, 0.3), (0.0005, 1.0))
MOST_HISTORY = 0.8
"""(lasso, ridge over the number of windows) among which inner cross-validation chooses."""


@dataclass(frozen=True, eq=False)
class Table:
    """Cases as arrays: numbers (n, features), those of the half hour before (NaN rows without
    one), vote shares (n, 3), votes (n, 9)."""

    numbers: FloatArray
    before: FloatArray
    shares: FloatArray
    votes: FloatArray
    median: IntArray
    recording: IntArray
    step: IntArray
    second: NDArray[np.bool_]

    def part(self, chosen: NDArray[np.bool_]) -> Table:
        return Table(*(getattr(self, name)[chosen] for name in self.__dataclass_fields__))


def table_of(cases: list[Case]) -> Table:
    votes = np.array([case.votes for case in cases])
    given = np.isfinite(votes).sum(axis=1, keepdims=True)
    step = np.array([case.step for case in cases])
    return Table(
        numbers=np.array([case.numbers for case in cases]),
        before=np.array([case.before for case in cases]),
        shares=np.stack([(votes == k).sum(axis=1) for k in (1, 2, 3)], axis=1) / given,
        votes=votes,
        median=median_reader(votes),
        recording=np.array([case.recording for case in cases]),
        step=step,
        second=step == 3,
    )


@dataclass(frozen=True, eq=False)
class Fit:
    """Knots and weights by feature, the share of the half hour before, and cuts by stage."""

    knots: list[FloatArray]
    weights: list[FloatArray]
    usual: list[float]
    history: float
    cuts: FloatArray
    label_cuts: FloatArray

    def score(self, table: Table) -> FloatArray:
        had = np.isfinite(table.before[:, 0])
        before = np.where(had[:, None], table.before, 0.0)
        total = np.zeros(len(had))
        for j, feature in enumerate(FEATURES):
            for numbers, share in ((table.numbers, 1.0), (before, self.history * had)):
                way = parts(numbers[:, j], self.knots[j], feature.worse)
                total += share * (way @ self.weights[j] - self.usual[j])
        return total

    def probabilities(self, table: Table) -> FloatArray:
        score = self.score(table)
        cuts = self.cuts[table.second.astype(int)]
        upto = expit(cuts - score[:, None])
        return np.stack([upto[:, 0], upto[:, 1] - upto[:, 0], 1 - upto[:, 1]], axis=1)

    def labels(self, table: Table) -> IntArray:
        cuts = self.label_cuts[table.second.astype(int)]
        return 1 + (self.score(table)[:, None] > cuts).sum(axis=1)

    def to_dict(self, version: str, data: str) -> dict[str, Any]:
        return {
            "version": version,
            "data": data,
            "terms": [
                {
                    "name": feature.name,
                    "unit": feature.unit,
                    "worse": feature.worse,
                    "knots": [round(float(v), 4) for v in knots],
                    "weights": [round(float(v), 5) for v in weights],
                    "usual": round(usual, 5),
                }
                for feature, knots, weights, usual in zip(
                    FEATURES, self.knots, self.weights, self.usual, strict=True
                )
            ],
            "history": round(self.history, 4),
            "cuts": {s: [round(float(v), 4) for v in self.cuts[i]] for i, s in enumerate(STAGES)},
            "label_cuts": {
                s: [round(float(v), 4) for v in self.label_cuts[i]] for i, s in enumerate(STAGES)
            },
        }


def fit(table: Table, penalty: tuple[float, float]) -> Fit:
    knots, here, before = _designs(table)
    had = np.isfinite(table.before[:, 0])[:, None]
    design = np.concatenate(here, axis=1)
    # Both centred on the mean window: a window without a half hour before has a usual one.
    middle = design.mean(axis=0)
    design = design - middle
    earlier = (np.concatenate(before, axis=1) - middle) * had
    found = _maximised(design, earlier, table, penalty)
    size = design.shape[1]
    ends = np.cumsum([way.shape[1] for way in here])[:-1]
    weights = np.split(found[:size], ends)
    usual = [float((way @ w).mean()) for way, w in zip(here, weights, strict=True)]
    first = found[size + 1 : size + 3]
    cuts = np.stack([first, first + np.exp(found[size + 3 :])], axis=1)
    rough = Fit(knots, weights, usual, float(found[size]), cuts, cuts)
    score = rough.score(table)
    label_cuts = np.array(
        [
            best_cuts(score[table.second == second], table.median[table.second == second])
            for second in (False, True)
        ]
    )
    return Fit(knots, weights, usual, rough.history, cuts, label_cuts)


def _designs(table: Table) -> tuple[list[FloatArray], list[FloatArray], list[FloatArray]]:
    """Knots, and how far each window and each half hour before has come between them."""
    knots, here, before = [], [], []
    for j, feature in enumerate(FEATURES):
        values = table.numbers[:, j]
        marks = np.unique(np.quantile(values, np.linspace(*OUTER_QUANTILES, KNOTS)))
        if len(marks) < 2:
            marks = np.array([marks[0], marks[0] + 1.0])
        knots.append(marks)
        here.append(parts(values, marks, feature.worse))
        before.append(parts(np.nan_to_num(table.before[:, j]), marks, feature.worse))
    return knots, here, before


def _maximised(
    design: FloatArray, earlier: FloatArray, table: Table, penalty: tuple[float, float]
) -> FloatArray:
    """Weights, history, first cuts by stage, logarithms of the gaps between the cuts."""
    lasso, ridge = penalty
    n, size = design.shape
    stage = np.stack([~table.second, table.second], axis=1).astype(float)
    shares = table.shares

    def loss(x: FloatArray) -> tuple[float, FloatArray]:
        weights, history = x[:size], x[size]
        first, gap = x[size + 1 : size + 3], np.exp(x[size + 3 :])
        both = design + history * earlier
        score = both @ weights
        low = expit(stage @ first - score)
        high = expit(stage @ (first + gap) - score)
        p = np.maximum(np.stack([low, high - low, 1 - high], axis=1), 1e-9)
        by_p = -shares / p / n
        by_low = (by_p[:, 0] - by_p[:, 1]) * low * (1 - low)
        by_high = (by_p[:, 1] - by_p[:, 2]) * high * (1 - high)
        value = -np.sum(shares * np.log(p)) / n + lasso * weights.sum()
        value += ridge / n * weights @ weights
        by_score = -(by_low + by_high)
        gradient = both.T @ by_score + lasso + 2 * ridge / n * weights
        by_history = (earlier @ weights) @ by_score
        by_first = stage.T @ (by_low + by_high)
        return float(value), np.concatenate(
            [gradient, [by_history], by_first, stage.T @ by_high * gap]
        )

    begin = np.concatenate([np.full(size, 0.05), [0.2], np.zeros(2), np.full(2, 0.8)])
    bounds = [(0.0, None)] * size + [(0.0, MOST_HISTORY)] + [(None, None)] * 4
    found = minimize(
        loss, begin, jac=True, method="L-BFGS-B", bounds=bounds, options={"maxiter": 500}
    )
    return np.asarray(found.x)


def quadratic_kappa(a: IntArray, b: IntArray) -> float:
    return float(cohen_kappa_score(a, b, labels=[1, 2, 3], weights="quadratic"))


def best_cuts(score: FloatArray, median: IntArray) -> tuple[float, float]:
    """Cuts of the score whose classes agree best (quadratic kappa) with the median reader.

    The mean of the ten best pairs on a grid of quantiles: the single best one is luck.
    """
    grid = np.unique(np.quantile(score, np.linspace(0.1, 0.985, 45)))
    weight = np.square(np.subtract.outer(np.arange(3), np.arange(3))) / 4.0
    rated = []
    for i, low in enumerate(grid):
        for high in grid[i + 1 :]:
            label = (score > low).astype(int) + (score > high)
            seen = np.zeros((3, 3))
            np.add.at(seen, (label, median - 1), 1)
            chance = np.outer(seen.sum(1), seen.sum(0)) / seen.sum()
            rated.append((1 - (weight * seen).sum() / (weight * chance).sum(), low, high))
    rated.sort(reverse=True)
    return float(np.mean([r[1] for r in rated[:10]])), float(np.mean([r[2] for r in rated[:10]]))


def folds(recording: IntArray, count: int, seed: int) -> IntArray:
    """Fold of each case; all windows of a recording share one."""
    unique = np.unique(recording)
    order = np.random.default_rng(seed).permutation(len(unique))
    of = np.empty(len(unique), dtype=np.int64)
    of[order] = np.arange(len(unique)) % count
    return of[np.searchsorted(unique, recording)]


def log_loss(table: Table, probabilities: FloatArray) -> float:
    return float(-np.mean(np.sum(table.shares * np.log(np.maximum(probabilities, 1e-6)), axis=1)))


def chosen_penalty(table: Table, seed: int, count: int = 5) -> tuple[float, float]:
    """The penalty with the least log loss in cross-validation by recording."""
    fold = folds(table.recording, count, seed)
    losses = []
    for penalty in PENALTIES:
        total = 0.0
        for k in range(count):
            test = table.part(fold == k)
            total += log_loss(test, fit(table.part(fold != k), penalty).probabilities(test))
        losses.append(total)
    return PENALTIES[int(np.argmin(losses))]


@dataclass(frozen=True, eq=False)
class CrossValidated:
    """Out-of-fold score, probabilities and label of every case."""

    score: FloatArray
    probabilities: FloatArray
    label: IntArray
    penalties: list[tuple[float, float]]


def nested(table: Table, count: int = 10, seed: int = 0) -> CrossValidated:
    """Each recording scored by a model that never saw it, its penalty chosen without it too."""
    fold = folds(table.recording, count, seed)
    score = np.empty(len(fold))
    probabilities = np.empty((len(fold), 3))
    label = np.empty(len(fold), dtype=np.int64)
    penalties = []
    for k in range(count):
        train, test = table.part(fold != k), table.part(fold == k)
        penalties.append(chosen_penalty(train, seed + 1))
        model = fit(train, penalties[-1])
        score[fold == k] = model.score(test)
        probabilities[fold == k] = model.probabilities(test)
        label[fold == k] = model.labels(test)
    return CrossValidated(score, probabilities, label, penalties)
