"""The detector against marks made by eye on 48 quarter hours of open recordings.

    python -m bench.by_eye            all windows
    python -m bench.by_eye --half 0   those looked at while measures were chosen; 1: the others
    python -m bench.by_eye --wrong    and each event that is missed or too many

One reader, not a midwife, marked the windows (`by_eye.json`: times in seconds, nothing of the
signal) on plain plots, before the detector was changed. What could be read either way is unclear
and counts neither for nor against. Recordings: CTU-UHB (Chudacek V, et al. BMC Pregnancy Childbirth
2014;14:16; PhysioNet, ODC-By 1.0).
"""

from __future__ import annotations

import argparse
import json
import os
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from bench.accuracy.match import pairs
from ebbline.features import detect
from ebbline.features.findings import Findings
from ebbline.features.variability import class_of_minutes
from ebbline.recording import open_recording

HERE = Path(__file__).resolve().parent
DATA = Path(os.environ.get("EBBLINE_SHARED", HERE.parents[1] / "shared")) / "data" / "ctu-uhb"
EVENTS = ("decelerations", "accelerations", "contractions")
EDGE_S, UNCLEAR_SHARE, FAR_S = 15.0, 0.4, 600.0

Span = tuple[float, float]


def found_in(findings: Findings, what: str, window: dict[str, Any]) -> list[Any]:
    """Events of one sort that touch the window; shallow falls are not marked, so not counted."""
    events: Sequence[Any] = {
        "decelerations": [d for d in findings.fetal.decelerations if not d.shallow],
        "accelerations": findings.fetal.accelerations,
        "contractions": findings.uterine.contractions,
    }[what]
    return [e for e in events if e.end_s > window["start_s"] and e.onset_s < window["end_s"]]


def unclear_spans(window: dict[str, Any], what: str) -> list[Span]:
    """Where a found event counts neither way: unclear stretches, marks, the window's ends."""
    start_s, end_s = window["start_s"], window["end_s"]
    spans = [(a, b) for a, b, *_ in (*window[f"unclear_{what}"], *window[what])]
    return [*spans, (start_s - FAR_S, start_s + EDGE_S), (end_s - EDGE_S, end_s + FAR_S)]


def mostly_on(span: Span, spans: Sequence[Span]) -> bool:
    on = sum(max(0.0, min(span[1], b) - max(span[0], a)) for a, b in spans)
    return on > UNCLEAR_SHARE * max(1e-9, span[1] - span[0])


def report(windows: list[dict[str, Any]], data: Path, wrong: bool) -> None:
    """Print precision and recall of each sort of event, kind, variability and baseline."""
    counts = {what: [0, 0, 0] for what in EVENTS}
    kinds: list[bool] = []
    variability: list[bool] = []
    baseline: list[float] = []
    for window in windows:
        findings = detect(open_recording(data / f"{window['recording']}.hea"))
        for what in EVENTS:
            found = found_in(findings, what, window)
            spans = [(e.onset_s, e.end_s) for e in found]
            true = [(a, b) for a, b, *_ in window[what]]
            matched = pairs(true, spans)
            used = {j for _, j in matched}
            unclear = unclear_spans(window, what)
            extra = [j for j, s in enumerate(spans) if j not in used and not mostly_on(s, unclear)]
            missed = set(range(len(true))) - {i for i, _ in matched}
            for k, number in enumerate((len(matched), len(missed), len(extra))):
                counts[what][k] += number
            if wrong:
                for name, (a, b) in [
                    *(("missed", true[i]) for i in sorted(missed)),
                    *(("too many", spans[j]) for j in extra),
                ]:
                    print(f"{window['recording']}: {what} {name} {a:.0f} to {b:.0f} s")
            if what == "decelerations":
                told = [(window[what][i][2], str(found[j].kind)) for i, j in matched]
                kinds += [mark == kind for mark, kind in told if mark]
        minutes = slice(int(window["start_s"] // 60), int(window["end_s"] // 60))
        if window["variability"]:
            read = class_of_minutes(findings.fetal.bandwidth.values[minutes])
            variability.append(str(read) == window["variability"])
        if window["baseline_bpm"]:
            seconds = slice(int(window["start_s"]), int(window["end_s"]))
            level = float(np.nanmedian(findings.fetal.baseline_curve.values[seconds]))
            baseline.append(abs(level - window["baseline_bpm"]))
    print(f"{len(windows)} windows by eye | right | missed | too many | precision | recall")
    for what, (right, missing, many) in counts.items():
        precision, recall = right / max(1, right + many), right / max(1, right + missing)
        print(f"{what} | {right} | {missing} | {many} | {precision:.3f} | {recall:.3f}")
    print(
        f"kind {sum(kinds)} of {len(kinds)}; variability {sum(variability)} of "
        f"{len(variability)}; baseline off by {np.median(baseline):.1f} bpm (median)"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--half", type=int, choices=(0, 1), help="only one half of the windows")
    parser.add_argument("--wrong", action="store_true", help="list what is missed or too many")
    parser.add_argument("--data", type=Path, default=DATA, help="folder of the recordings")
    asked = parser.parse_args()
    windows = json.loads((HERE / "by_eye.json").read_text())
    if asked.half is not None:
        windows = [w for w in windows if w["kept_back"] == bool(asked.half)]
    report(windows, asked.data, asked.wrong)


if __name__ == "__main__":
    main()
