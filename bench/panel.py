"""The readings against nine obstetricians, and against outcome, on the CTU-UHB recordings.

    python -m bench.panel            prints the report (Markdown)
    python -m bench.panel --docs     writes it to docs/panel.md
    python -m bench.panel --refit    fits the model on all windows and writes panel_model.json

Windows and human agreement: the README of the data. Every figure is measured when it is printed.
"""

from __future__ import annotations

import argparse
import json
import os
import sys
from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from scipy.stats import spearmanr
from sklearn.metrics import accuracy_score, confusion_matrix, roc_auc_score

from bench import stamps
from bench.figo_1987 import classify_1987
from bench.panel_data import READERS, STEPS, Case, median_reader, read_cases
from bench.panel_fit import (
    STAGES,
    CrossValidated,
    Table,
    chosen_penalty,
    fit,
    log_loss,
    nested,
    quadratic_kappa,
    table_of,
)
from ebbline.criteria import classify
from ebbline.criteria.model import PANEL_LABELS, Standard
from ebbline.criteria.panel_features import FEATURES

HERE = Path(__file__).resolve().parent
DATA = Path(os.environ.get("EBBLINE_SHARED", HERE.parents[1] / "shared")) / "data" / "ctu-uhb"
MODEL = HERE.parent / "src" / "ebbline" / "criteria" / "panel_model.json"
VERSION = "3"
RESAMPLES = 1000
SEEDS = (0, 1, 2)

IntArray = NDArray[np.int64]


def interval(
    statistic: Callable[[IntArray], float], recording: IntArray, seed: int = 0
) -> tuple[float, float]:
    """95 % bootstrap interval; whole recordings are drawn, since their windows belong together."""
    random = np.random.default_rng(seed)
    groups = [np.flatnonzero(recording == r) for r in np.unique(recording)]
    values = []
    for _ in range(RESAMPLES):
        drawn = random.integers(0, len(groups), len(groups))
        value = statistic(np.concatenate([groups[g] for g in drawn]))
        if np.isfinite(value):
            values.append(value)
    low, high = np.quantile(values, [0.025, 0.975])
    return float(low), float(high)


def with_interval(
    statistic: Callable[[IntArray], float], rows: IntArray, recording: IntArray
) -> str:
    low, high = interval(lambda i: statistic(rows[i]), recording[rows])
    return f"{statistic(rows):.2f} ({low:.2f} to {high:.2f})"


def kappa_line(name: str, label: IntArray, table: Table) -> str:
    """One row: kappa and accuracy against the median reader by step; label 0 is not given."""
    cells = []
    for step in STEPS:
        rows = np.flatnonzero((table.step == step) & (label > 0))
        kappa = with_interval(
            lambda i: quadratic_kappa(label[i], table.median[i]), rows, table.recording
        )
        right = accuracy_score(table.median[rows], label[rows])
        cells.append(f"{kappa}; {right:.2f}; {len(rows)}")
    return f"| {name} | " + " | ".join(cells) + " |"


def rule_labels(cases: list[Case]) -> dict[str, IntArray]:
    """Classes of the written rules; 0 where a class was refused."""
    figo = [
        classify(case.findings, case.window, Standard.FIGO, case.context).rank + 1 for case in cases
    ]
    older = [classify_1987(case.findings, case.window) or 0 for case in cases]
    return {"FIGO 2015 by rule": np.array(figo), "FIGO 1987 by rule (from memory)": np.array(older)}


def reader_lines(table: Table) -> list[str]:
    """Each reader against the median of the other eight, and their mean."""
    lines, by_step = [], {step: [] for step in STEPS}
    for reader in range(READERS):
        cells = []
        for step in STEPS:
            rows = np.flatnonzero((table.step == step) & np.isfinite(table.votes[:, reader]))
            others = median_reader(np.delete(table.votes, reader, axis=1)[rows])
            own = table.votes[rows, reader].astype(np.int64)
            kappa = quadratic_kappa(own, others)
            by_step[step].append(kappa)
            cells.append(f"{kappa:.2f}; {accuracy_score(others, own):.2f}; {len(rows)}")
        lines.append(f"| reader {reader + 1} | " + " | ".join(cells) + " |")
    for name, of in (("mean of nine", np.mean), ("best of nine", np.max)):
        cells = [f"{of(by_step[step]):.2f}" for step in STEPS]
        lines.append(f"| **{name}** | " + " | ".join(cells) + " |")
    return lines


def confusion_lines(label: IntArray, table: Table, step: int) -> list[str]:
    rows = (table.step == step) & (label > 0)
    counts = confusion_matrix(table.median[rows], label[rows], labels=[1, 2, 3])
    lines = [
        "",
        f"Step {step}",
        "",
        "| median reader | " + " | ".join(f"said {name}" for name in PANEL_LABELS) + " |",
        "|---|---|---|---|",
    ]
    for name, row in zip(PANEL_LABELS, counts, strict=True):
        lines.append(f"| {name} | " + " | ".join(str(n) for n in row) + " |")
    return lines


def calibration_lines(table: Table, probabilities: NDArray[np.float64]) -> list[str]:
    """Predicted share of readers against the share that said so, in fifths of the prediction."""
    lines = [
        "| class | predicted share of readers | share that said so | windows |",
        "|---|---|---|---|",
    ]
    for k, name in enumerate(PANEL_LABELS):
        order = np.argsort(probabilities[:, k], kind="stable")
        for part in np.array_split(order, 5):
            lines.append(
                f"| {name} | {probabilities[part, k].mean():.2f} | "
                f"{table.shares[part, k].mean():.2f} | {len(part)} |"
            )
    return lines


def outcome_lines(table: Table, cases: list[Case], cross: CrossValidated) -> list[str]:
    """AUC for low umbilical artery pH of the panel reading, the readers and each number."""
    ph = np.array([case.outcome.get("pH", np.nan) for case in cases])
    lines = []
    for step in STEPS:
        rows = np.flatnonzero((table.step == step) & np.isfinite(ph))
        lines += ["", f"Step {step} ({len(rows)} windows)", "", "| what | pH <= 7.05 | pH < 7.15 |"]
        lines += ["|---|---|---|"]
        targets = (ph <= 7.05, ph < 7.15)
        lines.append("| base rate | " + " | ".join(f"{t[rows].mean():.1%}" for t in targets) + " |")

        def line(
            name: str,
            value: NDArray[np.float64],
            rows: IntArray = rows,
            targets: tuple[NDArray[np.bool_], ...] = targets,
        ) -> str:
            cells = []
            for target in targets:
                good = rows[np.isfinite(value[rows])]

                def area(
                    i: IntArray,
                    target: NDArray[np.bool_] = target,
                    value: NDArray[np.float64] = value,
                ) -> float:
                    if target[i].all() or not target[i].any():
                        return float("nan")
                    return float(roc_auc_score(target[i], value[i]))

                cells.append(with_interval(area, good, table.recording))
            return f"| {name} | " + " | ".join(cells) + " |"

        lines.append(line("panel reading (cross-validated score)", cross.score))
        lines.append(line("mean of the readers", np.nanmean(table.votes, axis=1)))
        single = []
        for target in targets:
            areas = []
            for reader in range(READERS):
                good = rows[np.isfinite(table.votes[rows, reader])]
                areas.append(roc_auc_score(target[good], table.votes[good, reader]))
            single.append(f"{np.mean(areas):.2f} ({min(areas):.2f} to {max(areas):.2f} of nine)")
        lines.append("| a single reader, mean | " + " | ".join(single) + " |")
        for j, feature in enumerate(FEATURES):
            lines.append(line(feature.name, feature.worse * table.numbers[:, j]))
    return lines


def report(cases: list[Case], seeds: int = len(SEEDS)) -> str:
    """The whole report as Markdown."""
    table = table_of(cases)
    runs = [nested(table, seed=seed) for seed in range(seeds)]
    cross = runs[0]
    rules = rule_labels(cases)
    head = "| | step 1 | step 2 | step 3 |\n|---|---|---|---|"
    lines = [
        "# Against nine obstetricians, and against outcome",
        "",
        "Made by `python -m bench.panel --docs`. Recordings: CTU-UHB (Chudacek V, et al. BMC "
        "Pregnancy Childbirth 2014;14:16; PhysioNet, ODC-By 1.0). Readings: Hruban L, et al. "
        "J Eval Clin Pract 2015.",
        "",
        f"{len(cases)} windows of {len(set(table.recording.tolist()))} recordings, read by "
        "5 readers or more. Each cell: quadratic-weighted kappa against the median reader (95 % "
        "bootstrap interval by recording); share agreeing; windows. A median between two classes "
        "counts as the worse one.",
        "",
        "## The written rules against the median reader",
        "",
        head,
        *(kappa_line(name, label, table) for name, label in rules.items()),
        "",
        "Where a rule refuses a class the window is left out, so that the windows differ. "
        "The readers did not apply the rules to the letter: see the confusion below.",
    ]
    for name, label in rules.items():
        lines += ["", f"### {name}"]
        for step in STEPS:
            lines += confusion_lines(label, table, step)
    lines += [
        "",
        "## Each reader against the median of the other eight",
        "",
        head,
        *reader_lines(table),
        "",
        "## The panel model against the median reader",
        "",
        "Nested cross-validation by recording (10 folds, the penalty chosen in 5 inner folds); "
        f"seeds {', '.join(map(str, range(seeds)))}. No recording is scored by a model that saw "
        "it.",
        "",
        head,
        *(
            kappa_line(f"panel model, seed {seed}", run.label, table)
            for seed, run in enumerate(runs)
        ),
        "",
        "| | step 1 | step 2 | step 3 |\n|---|---|---|---|",
        "| rank correlation of the score with the mean reader | "
        + " | ".join(f"{_correlation(table, cross.score, step):.2f}" for step in STEPS)
        + " |",
        "| explained variance of the mean vote | "
        + " | ".join(f"{_explained(table, cross.probabilities, step):.3f}" for step in STEPS)
        + " |",
        "",
        f"Log loss per vote {log_loss(table, cross.probabilities):.3f}; of the plain vote shares "
        f"by step {_plain_loss(table):.3f}.",
        "",
        "The numbers that the model may use were chosen while looking at cross-validated results "
        "on these recordings, so that the figures are a little too kind; recordings kept back "
        "judge it better.",
    ]
    for step in STEPS:
        lines += confusion_lines(cross.label, table, step)
    lines += ["", "### Calibration", "", *calibration_lines(table, cross.probabilities)]
    lines += [
        "",
        "## Against outcome",
        "",
        "Area under the ROC curve (95 % bootstrap interval). The relation is weak, for the "
        "readers and for every number alike: these windows end minutes to an hour before birth, "
        "few of the newborns had a low pH, and most windows that look bad are followed by a "
        "normal pH. None of this predicts the state of a newborn.",
        *outcome_lines(table, cases, cross),
    ]
    return "\n".join(lines) + "\n"


def _correlation(table: Table, score: NDArray[np.float64], step: int) -> float:
    rows = table.step == step
    return float(spearmanr(score[rows], np.nanmean(table.votes[rows], axis=1))[0])


def _explained(table: Table, probabilities: NDArray[np.float64], step: int) -> float:
    """1 less the squared error of the mean vote over its variance, of one step's windows."""
    rows = table.step == step
    mean = np.nanmean(table.votes[rows], axis=1)
    off = mean - probabilities[rows] @ np.array([1.0, 2.0, 3.0])
    return float(1.0 - np.mean(off**2) / np.var(mean))


def _plain_loss(table: Table) -> float:
    plain = np.empty_like(table.shares)
    for step in STEPS:
        plain[table.step == step] = table.shares[table.step == step].mean(axis=0)
    return log_loss(table, plain)


def refit(cases: list[Case]) -> None:
    """Fit on every window and write the model that ships."""
    table = table_of(cases)
    penalty = chosen_penalty(table, seed=1)
    model = fit(table, penalty)
    about = (
        f"{len(cases)} windows of {len(set(table.recording.tolist()))} term labours (CTU-UHB, "
        "PhysioNet, ODC-By 1.0), each read by five to nine of nine obstetricians"
    )
    MODEL.write_text(json.dumps(model.to_dict(VERSION, about), indent=1) + "\n")
    cuts = dict(zip(STAGES, model.cuts.tolist(), strict=True))
    print(f"penalty {penalty}; wrote {MODEL.name}; cuts {cuts}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--docs", action="store_true", help="write docs/panel.md")
    parser.add_argument("--refit", action="store_true", help="fit and write the model")
    parser.add_argument("--seeds", type=int, default=len(SEEDS), help="cross-validations")
    parser.add_argument("--data", type=Path, default=DATA, help="folder of the recordings")
    asked = parser.parse_args()
    if not (asked.data / "expert_annotations.csv").is_file():
        sys.exit(f"{asked.data}: the CTU-UHB recordings are not here. Name their folder: --data.")
    cases = read_cases(asked.data)
    if asked.refit:
        refit(cases)
        return
    text = report(cases, asked.seeds)
    if asked.docs:
        (HERE.parent / "docs" / "panel.md").write_text(text)
        stamps.made("docs/panel.md")
    print(text)


if __name__ == "__main__":
    main()
