"""The hours that were read worst, drawn with the truth beside what was found."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from bench.accuracy.match import Hour
from bench.accuracy.set import Case, labour_of

ROWS = 3
COLOURS = {
    "early": "tab:green",
    "late": "tab:red",
    "variable": "tab:blue",
    "prolonged": "tab:purple",
    "gradual, contraction not known": "tab:orange",
}


def badness(hour: Hour) -> float:
    """Misses and extras, baseline error and wrong classes, weighed together."""
    error = float(np.median(np.abs(hour.baseline_errors))) if len(hour.baseline_errors) else 20.0
    classes = sum(a != b for a, b, _ in hour.variability)
    kinds = sum(a != b for a, b, _ in hour.kinds)
    return len(hour.wrong) + max(0.0, error - 1.0) + classes + kinds


def draw_worst(hours: Sequence[Hour], cases: Sequence[Case], count: int, where: Path) -> None:
    """One PNG for each of the worst hours."""
    where.mkdir(parents=True, exist_ok=True)
    by_number = {case.number: case for case in cases}
    worst = sorted(hours, key=badness, reverse=True)[:count]
    for rank, hour in enumerate(worst, 1):
        path = where / f"{rank:02d}-hour-{hour.number:03d}.png"
        draw(hour, by_number[hour.number], path)
        print(f"{path}: {hour.pattern}, loss {hour.loss:.0%}, {len(hour.wrong)} events wrong")


def draw(hour: Hour, case: Case, path: Path) -> None:
    """Three rows of 20 minutes: signal, true and found baseline, events above and below it."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    from ebbline.features import detect

    labour = labour_of(case)
    truth, findings = labour.truth, detect(labour.recording)
    fetal = findings.fetal
    heart, activity = labour.recording.channels[:2]
    minutes = np.arange(len(heart.samples)) / heart.rate_hz / 60
    figure, axes = plt.subplots(
        2 * ROWS, 1, figsize=(20, 4.2 * ROWS), gridspec_kw={"height_ratios": [2.6, 1] * ROWS}
    )
    for row in range(ROWS):
        top, low = axes[2 * row], axes[2 * row + 1]
        top.plot(minutes, heart.samples, color="black", lw=0.7)
        top.plot(np.arange(len(truth.baseline.values)) / 60, truth.baseline.values, "g-", lw=1)
        curve = fetal.baseline_curve
        at = (curve.start_s + curve.step_s * np.arange(len(curve.values))) / 60
        top.plot(at, curve.values, "r--", lw=1)
        for d in truth.decelerations:
            _bar(top, d.onset_s, d.end_s, 66, COLOURS[str(d.kind)], d.counts, f"{d.depth_bpm:.0f}")
        for d in fetal.decelerations:
            _bar(
                top,
                d.onset_s,
                d.end_s,
                56,
                COLOURS[str(d.kind)],
                not d.shallow,
                f"{d.depth_bpm:.0f}",
            )
        for a in truth.accelerations:
            _bar(top, a.onset_s, a.end_s, 205, "black", a.counts, f"{a.height_bpm:.0f}")
        for a in fetal.accelerations:
            _bar(top, a.onset_s, a.end_s, 195, "gray", True, f"{a.height_bpm:.0f}")
        for what, start, end in hour.wrong:
            if not what.startswith("contraction"):
                colour = "orange" if "extra" in what else "red"
                top.axvspan(start / 60, end / 60, color=colour, alpha=0.15)
        for segment in fetal.variability:
            first, last = round(segment.start_s / 60), round(segment.end_s / 60)
            part = truth.bandwidth.values[first:last]
            true_width = np.nanmean(part) if np.isfinite(part).any() else np.nan
            top.text(
                segment.start_s / 60, 212,
                f" true {true_width:.1f}, found {segment.bandwidth_bpm:.1f} {segment.variability}",
                fontsize=8,
            )  # fmt: skip
        low.plot(minutes, activity.samples, color="tab:blue", lw=0.7)
        for c in truth.contractions:
            _bar(low, c.onset_s, c.end_s, 96, "black", c.counts, "")
        for c in findings.uterine.contractions:
            _bar(low, c.onset_s, c.end_s, 88, "gray", True, "")
        for what, start, end in hour.wrong:
            if what.startswith("contraction"):
                colour = "orange" if "extra" in what else "red"
                low.axvspan(start / 60, end / 60, color=colour, alpha=0.2)
        top.set_ylim(50, 222)
        low.set_ylim(0, 100)
        for axis in (top, low):
            axis.set_xlim(20 * row, 20 * row + 20)
            axis.set_xticks(range(20 * row, 20 * row + 21))
            axis.grid(alpha=0.35)
    axes[0].set_title(
        f"hour {hour.number}: {hour.pattern}, {case.scenario.weeks:.0f} weeks, "
        f"{case.scenario.heart_sensor}, {case.scenario.activity_sensor}, loss {hour.loss:.0%}. "
        "Upper bar true, lower found; faint: under the threshold. Red missed, orange extra.",
        fontsize=9,
        loc="left",
        pad=12,
    )
    figure.subplots_adjust(left=0.02, right=0.995, top=0.97, bottom=0.02, hspace=0.12)
    figure.savefig(path, dpi=70)
    plt.close(figure)


def _bar(
    axis: object, start: float, end: float, y: float, colour: str, solid: bool, text: str
) -> None:
    axis.plot(  # type: ignore[attr-defined]
        [start / 60, end / 60], [y, y], color=colour, lw=5, alpha=1.0 if solid else 0.3,
        solid_capstyle="butt",
    )  # fmt: skip
    if text:
        axis.text(start / 60, y + 2.5, text, fontsize=6, clip_on=True)  # type: ignore[attr-defined]
