"""Accuracy of the detector on invented labours, whose truth is known.

    python -m bench.accuracy                 400 hours to develop on: prints the tables
    python -m bench.accuracy --quick         40 hours
    python -m bench.accuracy --locked        the 400 hours that are only reported on
    python -m bench.accuracy --docs          those, and writes docs/accuracy.md and its figures
    python -m bench.accuracy --worst 12 DIR  and draws the hours it reads worst, truth beside found

The labours come from `ebbline.synth`, which shares no code with the detector.
"""

from __future__ import annotations

import argparse
import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np

from bench.accuracy.match import (
    Hour,
    as_shown,
    baseline_errors,
    lost_mask,
    score_accelerations,
    score_contractions,
    score_decelerations,
    told_contractions,
    variability_pairs,
)
from bench.accuracy.set import Case, cases, labour_of, loss_bin_of
from bench.accuracy.tables import report
from ebbline.criteria import classify
from ebbline.criteria.model import Standard
from ebbline.features import detect
from ebbline.features.findings import Findings
from ebbline.ground_truth import findings_of_labour
from ebbline.synth import Labour, Scenario, invent
from ebbline.terms import Window

STANDARDS = (Standard.NICHD, Standard.FIGO, Standard.NICE)


def measure(case: Case) -> Hour:
    """Invent one hour, read it, score it."""
    labour = labour_of(case)
    truth = labour.truth
    began = time.perf_counter()
    findings = detect(labour.recording)
    seconds = time.perf_counter() - began
    contractions, wrong_c = score_contractions(truth, findings, labour.recording)
    falls, fall_pairs, wrong_d = score_decelerations(truth, findings, only_seen=True)
    rises, _, wrong_a = score_accelerations(truth, findings, only_seen=True)
    all_falls, _, _ = score_decelerations(truth, findings, only_seen=False)
    all_rises, _, _ = score_accelerations(truth, findings, only_seen=False)
    all_contractions, _ = score_contractions(truth, findings, labour.recording, only_seen=False)
    errors = baseline_errors(truth, findings)
    lost = float(lost_mask(truth).mean())
    told = told_contractions(truth, labour.recording)
    both = [(truth.decelerations[i], findings.fetal.decelerations[j]) for i, j in fall_pairs]
    kinds = [(as_shown(t, str(f.kind), told), str(f.kind), t.clear) for t, f in both]
    tens = [
        segment.mean_bpm
        - float(truth.baseline.values[int(segment.start_s) : int(segment.end_s)].mean())
        for segment in findings.fetal.baseline
        if segment.determinate and np.isfinite(segment.mean_bpm)
    ]
    sinus_true = any(not s.pseudo and s.end_s - s.start_s >= 1200 for s in truth.sinusoidal)
    sinus_found = any(
        not s.pseudo and s.end_s - s.start_s >= 1200 for s in findings.fetal.sinusoidal
    )
    return Hour(
        number=case.number,
        pattern=case.pattern,
        loss_bin=loss_bin_of(lost) if case.loss_bin is None else case.loss_bin,
        loss=lost,
        seen={"contractions": contractions, "decelerations": falls, "accelerations": rises},
        everything={
            "contractions": all_contractions,
            "decelerations": all_falls,
            "accelerations": all_rises,
        },
        baseline_errors=errors,
        baseline_10=tens,
        variability=variability_pairs(truth, findings),
        kinds=kinds,
        letter_kinds=[(str(t.kind), str(f.kind)) for t, f in both],
        sinusoidal=(sinus_true, sinus_found),
        classes=_classes(labour, findings),
        wrong=wrong_c + wrong_d + wrong_a,
        seconds=seconds,
    )


def _classes(labour: Labour, findings: Findings) -> dict[str, tuple[str, str]]:
    """(from the truth, from what was found) class of the second half hour by each standard."""
    window = Window(labour.truth.duration_s - 1800.0, labour.truth.duration_s)
    true = findings_of_labour(labour)
    context = labour.recording.context
    made = {}
    for standard in STANDARDS:
        pair = (classify(f, window, standard, context) for f in (true, findings))
        made[str(standard)] = tuple("refused" if c.refused else c.label for c in pair)
    return made


def _speed_s() -> float:
    """Seconds to invent twelve hours of labour, compiled code ready; the best of three."""
    scenario = Scenario.from_words("recurrent late, intermittent variable, 12 hours")
    took = []
    for seed in range(4):
        began = time.perf_counter()
        invent(scenario, seed)
        took.append(time.perf_counter() - began)
    return min(took[1:])


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--quick", action="store_true", help="40 hours instead of 400")
    parser.add_argument("--locked", action="store_true", help="the locked hours, only reported")
    parser.add_argument("--jobs", type=int, default=os.cpu_count() or 1)
    parser.add_argument("--docs", action="store_true", help="write docs/accuracy.md and figures")
    parser.add_argument("--worst", nargs=2, metavar=("N", "DIR"), help="draw the N worst hours")
    args = parser.parse_args()
    began = time.perf_counter()
    chosen = cases(args.quick, locked=args.locked or args.docs)
    with ProcessPoolExecutor(args.jobs) as pool:
        hours = list(pool.map(measure, chosen, chunksize=max(1, len(chosen) // 80)))
    took = time.perf_counter() - began
    print(report(hours))
    print(f"\n{len(hours)} hours in {took:.0f} s, {args.jobs} processes.", file=sys.stderr)
    print(f"Inventing 12 hours at 4 Hz takes {_speed_s():.2f} s (warm).", file=sys.stderr)
    if args.docs:
        from bench.accuracy.pages import write_docs

        write_docs(hours, Path(__file__).parents[2] / "docs")
    if args.worst:
        from bench.accuracy.worst import draw_worst

        draw_worst(hours, chosen, int(args.worst[0]), Path(args.worst[1]))


if __name__ == "__main__":
    main()
