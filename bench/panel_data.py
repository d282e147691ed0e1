"""The windows and readings of the CTU-UHB expert annotations, as their README defines them.

Recordings: Chudacek V, et al. BMC Pregnancy Childbirth 2014;14:16 (PhysioNet, ODC-By 1.0).
Readings of nine obstetricians: Hruban L, et al. J Eval Clin Pract 2015.
"""

from __future__ import annotations

import csv
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from ebbline.criteria.panel import window_before
from ebbline.criteria.panel_features import measure
from ebbline.features import detect
from ebbline.features.findings import Findings
from ebbline.recording import Context, open_recording
from ebbline.terms import Window

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

STEPS = (1, 2, 3)
READERS = 9
LEAST_VOTES = 5
LEAST_WINDOW_S = 300.0
HALF_HOUR_S = 1800.0


@dataclass(frozen=True, eq=False)
class Case:
    """One window of one recording, with what the readers said. votes: 1, 2, 3, NaN not given.

    numbers, before: of the window, and of the half hour before it (NaN without one).
    """

    recording: int
    step: int
    window: Window
    context: Context
    findings: Findings
    numbers: FloatArray
    before: FloatArray
    votes: FloatArray
    outcome: dict[str, float]

    @property
    def stage(self) -> str:
        return "second" if self.step == 3 else "first"


def median_reader(votes: FloatArray) -> IntArray:
    """Middle of the given readings, rows are windows; between two classes the worse one."""
    return np.floor(np.nanmedian(votes, axis=1) + 0.5).astype(np.int64)


def step_window(step: int, second_stage_s: float | None, duration_s: float) -> Window:
    """Steps 1 and 2: minutes 0-30 and 30-60 of the recording; step 3: the second stage."""
    if step == 3:
        return Window(duration_s if second_stage_s is None else second_stage_s, duration_s)
    start = (step - 1) * HALF_HOUR_S
    return Window(min(start, duration_s), min(start + HALF_HOUR_S, duration_s))


def read_votes(folder: Path) -> dict[tuple[int, int], FloatArray]:
    """Readings by (recording, step), one per expert: the first that each expert gave."""
    votes: dict[tuple[int, int], FloatArray] = defaultdict(lambda: np.full(READERS, np.nan))
    with (folder / "expert_annotations.csv").open(newline="") as file:
        for row in csv.DictReader(file):
            for step in STEPS:
                said, expert = int(row[f"eval_step{step}"]), int(row["expert_id"]) - 1
                place = votes[int(row["rec_id"]), step]
                if said > 0 and np.isnan(place[expert]):
                    place[expert] = said
    return votes


def read_cases(folder: Path) -> list[Case]:
    """Every window that at least LEAST_VOTES readers read."""
    votes = read_votes(folder)
    cases = []
    for path in sorted(folder.glob("*.hea")):
        recording = open_recording(path)
        findings = detect(recording)
        for step in STEPS:
            said = votes.get((int(path.stem), step))
            if said is None or np.isfinite(said).sum() < LEAST_VOTES:
                continue
            window = step_window(step, recording.context.second_stage_start_s, recording.duration_s)
            if window.duration_s < LEAST_WINDOW_S:
                continue
            numbers = measure(findings, window)
            earlier = window_before(findings, window)
            cases.append(
                Case(
                    recording=int(path.stem),
                    step=step,
                    window=window,
                    context=recording.context,
                    findings=findings,
                    numbers=numbers,
                    before=measure(findings, earlier) if earlier else np.full_like(numbers, np.nan),
                    votes=said,
                    outcome=recording.provenance.outcome,
                )
            )
    return cases
