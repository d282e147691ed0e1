"""Classifiers that try to tell real windows from invented ones, and how well they do."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from sklearn.ensemble import HistGradientBoostingClassifier
from sklearn.linear_model import RidgeClassifierCV
from sklearn.metrics import roc_auc_score
from sklearn.model_selection import StratifiedGroupKFold
from sklearn.pipeline import make_pipeline
from sklearn.preprocessing import StandardScaler
from threadpoolctl import threadpool_limits

from bench.realism.features import GROUPS
from bench.realism.windows import Window

FloatArray = NDArray[np.float64]

FOLDS, REPEATS, RESAMPLES, HALVES = 5, 1, 200, 8
THREADS = 1
"""Tables of a hundred rows are no work to share: threads that wait for each other on a busy machine
made the whole take ten times as long."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """AUC of a classifier with a 95 % interval (bootstrap over windows): 0.5 cannot tell."""

    name: str
    auc: float
    low: float
    high: float


def table(rows: Sequence[dict[str, float]]) -> tuple[FloatArray, list[str]]:
    """Features as an array, one row a window, and their names."""
    names = sorted({name for row in rows for name in row})
    return np.array([[row.get(name, np.nan) for name in names] for row in rows]), names


def _verdict(name: str, labels: NDArray[np.bool_], scores: FloatArray) -> Verdict:
    rng = np.random.default_rng(1)
    found = []
    while len(found) < RESAMPLES:
        drawn = rng.integers(0, len(labels), len(labels))
        if 0 < labels[drawn].sum() < len(labels):
            found.append(roc_auc_score(labels[drawn], scores[drawn]))
    low, high = np.percentile(found, [2.5, 97.5])
    return Verdict(name, float(roc_auc_score(labels, scores)), float(low), float(high))


def boosted(
    name: str, x: FloatArray, labels: NDArray[np.bool_], groups: NDArray[np.int64]
) -> Verdict:
    """Gradient boosting, five folds by labour."""
    with threadpool_limits(THREADS):
        scores = _boosted_scores(x, labels, groups)
    return _verdict(name, labels, scores)


def _boosted_scores(
    x: FloatArray, labels: NDArray[np.bool_], groups: NDArray[np.int64]
) -> FloatArray:
    scores = np.zeros(len(labels))
    for repeat in range(REPEATS):
        folds = StratifiedGroupKFold(FOLDS, shuffle=True, random_state=repeat)
        for train, test in folds.split(x, labels, groups):
            model = HistGradientBoostingClassifier(
                max_iter=60,
                learning_rate=0.1,
                max_leaf_nodes=8,
                min_samples_leaf=8,
                l2_regularization=1.0,
                random_state=repeat,
            )
            model.fit(x[train], labels[train])
            raw = model.decision_function(x[test])
            scores[test] += raw
    return scores


def over_halves(x: FloatArray, labels: NDArray[np.bool_], groups: NDArray[np.int64]) -> list[float]:
    """AUC on HALVES random halves of the windows, real and invented drawn alike: how far the
    verdict hangs on which labours were looked at. With fewer to learn from it is a little lower."""
    rng = np.random.default_rng(7)
    found = []
    for _ in range(HALVES):
        kept = np.concatenate(
            [
                rng.permutation(np.flatnonzero(labels == kind))[
                    : max(10, (labels == kind).sum() // 2)
                ]
                for kind in (True, False)
            ]
        )
        with threadpool_limits(THREADS):
            scores = _boosted_scores(x[kept], labels[kept], groups[kept])
        found.append(float(roc_auc_score(labels[kept], scores)))
    return found


def linear(
    name: str, x: FloatArray, labels: NDArray[np.bool_], groups: NDArray[np.int64]
) -> Verdict:
    """Ridge on many features of random kernels, five folds by labour."""
    scores = np.zeros(len(labels))
    for repeat in range(REPEATS):
        folds = StratifiedGroupKFold(FOLDS, shuffle=True, random_state=repeat)
        for train, test in folds.split(x, labels, groups):
            model = make_pipeline(StandardScaler(), RidgeClassifierCV(np.logspace(0, 5, 11)))
            model.fit(x[train], labels[train])
            scores[test] += model.decision_function(x[test])
    return _verdict(name, labels, scores)


def by_group(
    x: FloatArray, names: list[str], labels: NDArray[np.bool_], groups: NDArray[np.int64]
) -> list[Verdict]:
    """The verdict on each group of features, worst first, then on all."""
    made = []
    for group in GROUPS:
        columns = [k for k, name in enumerate(names) if name.startswith(f"{group}: ")]
        made.append(boosted(group, x[:, columns], labels, groups))
    made.sort(key=lambda v: -v.auc)
    return [*made, boosted("all features", x, labels, groups)]


def worst(
    x: FloatArray, names: list[str], labels: NDArray[np.bool_], count: int
) -> list[tuple[str, float, str, str]]:
    """The features that tell most by themselves: name, AUC, quartiles real and invented."""
    found = []
    for k, name in enumerate(names):
        column = x[:, k]
        seen = ~np.isnan(column)
        if not seen.sum() > 20 or len(set(labels[seen])) < 2:
            continue
        auc = roc_auc_score(labels[seen], column[seen])
        found.append((max(auc, 1 - auc), name, column))
    found.sort(key=lambda item: -item[0])

    def quartiles(values: FloatArray) -> str:
        return ", ".join(f"{v:.3g}" for v in np.nanpercentile(values, [25, 50, 75]))

    return [
        (name, float(auc), quartiles(column[labels]), quartiles(column[~labels]))
        for auc, name, column in found[:count]
    ]


def labels_of(windows: Sequence[Window]) -> tuple[NDArray[np.bool_], NDArray[np.int64]]:
    """Whether each window is real, and which labour it belongs to."""
    real = np.array([w.real for w in windows])
    groups = np.array([w.labour if w.real else -1 - w.labour for w in windows])
    return real, groups
