"""Invented labours beside real ones: statistics and strips for docs/generator.md.

    python -m bench.accuracy.realism           prints the numbers
    python -m bench.accuracy.realism --docs    and writes figures and table of docs/generator.md

Real: the open intrapartum recordings of CTU-UHB (Chudacek et al. BMC Pregnancy and Childbirth
2014;14:16; PhysioNet, ODC-By 1.0), read from ../shared/data/ctu-uhb or EBBLINE_SHARED.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bench.accuracy.set import cases, labour_of
from ebbline.recording import open_recording
from ebbline.recording.model import ChannelKind, Recording
from ebbline.synth import Story, invent
from ebbline.terms import SensorKind

FloatArray = NDArray[np.float64]
ROOT = Path(__file__).parents[2]
CTU_UHB = Path(os.environ.get("EBBLINE_SHARED", ROOT.parent / "shared")) / "data" / "ctu-uhb"

WINDOW = 960
"""Four minutes at 4 Hz."""
CALM_BPM = 30.0
BANDS_HZ = np.geomspace(0.006, 1.9, 15)


@dataclass
class Traces:
    """Heart rates and activity of many recordings, 4 Hz."""

    name: str
    hearts: list[FloatArray]
    activities: list[FloatArray]


def real() -> dict[str, Traces]:
    """The open recordings by the sensor of their header."""
    made = {kind: Traces(f"real, {kind}", [], []) for kind in ("ultrasound", "scalp electrode")}
    for path in sorted(CTU_UHB.glob("*.hea")):
        recording = open_recording(path)
        sensor = str(recording.heart_rate().sensor)
        if sensor in made:
            _add(made[sensor], recording)
    return made


def invented(hours: int) -> dict[str, Traces]:
    """The first hours of the accuracy bench by sensor."""
    made = {kind: Traces(f"invented, {kind}", [], []) for kind in ("ultrasound", "scalp electrode")}
    for case in cases(False)[:hours]:
        recording = labour_of(case).recording
        toco = recording.first(ChannelKind.UTERINE_ACTIVITY)
        if toco is not None and toco.sensor is SensorKind.TOCO:
            _add(made[str(recording.heart_rate().sensor)], recording)
    return made


def _add(traces: Traces, recording: Recording) -> None:
    activity = recording.first(ChannelKind.UTERINE_ACTIVITY)
    traces.hearts.append(recording.heart_rate().samples)
    if activity is not None:
        traces.activities.append(activity.samples)


def spectrum(hearts: Sequence[FloatArray]) -> FloatArray:
    """Median power by band of whole, calm four-minute stretches, against that of 0.02-0.1 Hz."""
    at = np.fft.rfftfreq(WINDOW, 0.25)
    middle = (at >= 0.02) & (at < 0.1)
    found = []
    for heart in hearts:
        for start in range(0, len(heart) - WINDOW, WINDOW):
            part = heart[start : start + WINDOW]
            if np.isnan(part).any() or np.ptp(part) > CALM_BPM:
                continue
            time = np.arange(WINDOW)
            part = part - np.polyval(np.polyfit(time, part, 1), time)
            power = np.abs(np.fft.rfft(part * np.hanning(WINDOW))) ** 2
            found.append(power / power[middle].mean())
    table = np.array(found)
    bands = [np.median(table[:, (at >= a) & (at < b)].mean(axis=1)) for a, b in pairwise(BANDS_HZ)]
    return np.array(bands)


def runs(hearts: Sequence[FloatArray], missing: bool) -> FloatArray:
    """Lengths (s) of gaps (missing) or of stretches with signal."""
    lengths = []
    for heart in hearts:
        wanted = np.isnan(heart) if missing else ~np.isnan(heart)
        edges = np.flatnonzero(np.diff(np.concatenate(([0], wanted.astype(int), [0]))))
        lengths += list((edges[1::2] - edges[::2]) / 4)
    return np.array(lengths)


def steps(hearts: Sequence[FloatArray]) -> FloatArray:
    """Mean absolute difference of neighbouring samples (bpm) of each whole minute."""
    found = []
    for heart in hearts:
        for start in range(0, len(heart) - 240, 240):
            part = heart[start : start + 240]
            if not np.isnan(part).any() and np.ptp(part) <= CALM_BPM:
                found.append(np.abs(np.diff(part)).mean())
    return np.array(found)


def belts(activities: Sequence[FloatArray]) -> dict[str, FloatArray]:
    """Level, height and fast roughness of the belt in ten-minute stretches that show anything."""
    level, height, rough = [], [], []
    for activity in activities:
        for start in range(0, len(activity) - 2400, 2400):
            part = activity[start : start + 2400]
            if np.isnan(part).any() or np.ptp(part) < 3:
                continue
            level.append(np.percentile(part, 10))
            height.append(np.percentile(part, 95) - np.percentile(part, 10))
            smooth = np.convolve(part, np.ones(20) / 20, "same")
            rough.append((part - smooth)[20:-20].std())
    return {"level": np.array(level), "height": np.array(height), "roughness": np.array(rough)}


def _quarters(values: FloatArray) -> str:
    return ", ".join(f"{v:.1f}" for v in np.percentile(values, [10, 25, 50, 75, 90]))


def numbers(sets: Sequence[Traces]) -> str:
    """The comparison as a Markdown table: 10th, 25th, 50th, 75th, 90th percentiles."""
    lines = ["| | " + " | ".join(s.name for s in sets) + " |", "|---|" + "---|" * len(sets)]
    rows = {
        "gap length, s": [_quarters(runs(s.hearts, True)) for s in sets],
        "stretch with signal, s": [_quarters(runs(s.hearts, False)) for s in sets],
        "step from sample to sample, bpm x 10": [_quarters(10 * steps(s.hearts)) for s in sets],
        "belt: level, units": [_quarters(belts(s.activities)["level"]) for s in sets],
        "belt: height, units": [_quarters(belts(s.activities)["height"]) for s in sets],
        "belt: roughness within 5 s, units": [
            _quarters(belts(s.activities)["roughness"]) for s in sets
        ],
    }
    lines += [f"| {name} | " + " | ".join(cells) + " |" for name, cells in rows.items()]
    return "\n".join(lines)


STRIPS = (
    ("real", "1485", 17, ""),
    ("invented", "", 0, "second stage, recurrent variable, deep, slow return, noisy toco, "
     "3 % loss, 30 minutes"),
    ("real", "1065", 33, ""),
    ("invented", "", 3, "second stage, recurrent variable, intermittent late, 18 % loss, "
     "noisy toco, weak toco, 30 minutes"),
    ("real", "1133", 0, ""),
    ("invented", "", 5, "accelerations, active sleep, weak toco, 5 % loss, 30 minutes"),
)  # fmt: skip


def draw(sets: Sequence[Traces], where: Path) -> None:
    """The spectra, the gaps and six strips."""
    import matplotlib

    matplotlib.use("Agg")
    import matplotlib.pyplot as plt

    plt.rcParams.update({"svg.hashsalt": "ebbline", "font.size": 9})
    where.mkdir(parents=True, exist_ok=True)
    figure, (left, right) = plt.subplots(1, 2, figsize=(10, 3.8))
    middle = np.sqrt(BANDS_HZ[1:] * BANDS_HZ[:-1])
    styles = {"real, ultrasound": "k-", "real, scalp electrode": "k:",
              "invented, ultrasound": "C0-", "invented, scalp electrode": "C0:"}  # fmt: skip
    for traces in sets:
        left.loglog(middle, spectrum(traces.hearts), styles[traces.name], label=traces.name)
        gaps = np.sort(runs(traces.hearts, True))
        share = 1 - np.arange(len(gaps)) / len(gaps)
        right.loglog(gaps, share, styles[traces.name], label=traces.name)
    left.set(xlabel="Hz", ylabel="power, 1 = mean of 0.02 to 0.1 Hz", title="Calm heart rate")
    right.set(xlabel="s", ylabel="share of gaps that are longer", title="Lost signal")
    left.legend(frameon=False)
    figure.tight_layout()
    figure.savefig(where / "statistics.svg", metadata={"Date": None})
    plt.close(figure)

    figure, axes = plt.subplots(
        2 * len(STRIPS), 1, figsize=(13, 2.4 * len(STRIPS)),
        gridspec_kw={"height_ratios": [2.3, 1] * len(STRIPS)},
    )  # fmt: skip
    for index, (kind, name, at, words) in enumerate(STRIPS):
        if kind == "real":
            recording = open_recording(CTU_UHB / f"{name}.hea")
            title = f"real (CTU-UHB {name}, from minute {at})"
            start = at * 240
        else:
            recording = invent(Story.from_words(words), at).recording
            title, start = f'invented: "{words}", seed {at}', 0
        activity = recording.first(ChannelKind.UTERINE_ACTIVITY)
        assert activity is not None
        top, low = axes[2 * index], axes[2 * index + 1]
        minutes = np.arange(7200) / 240
        top.plot(minutes, _cut(recording.heart_rate().samples, start), "k", lw=0.6)
        low.plot(minutes, _cut(activity.samples, start), "k", lw=0.6)
        top.set(ylim=(50, 200), xlim=(0, 30), yticks=(60, 100, 140, 180))
        low.set(ylim=(0, 100), xlim=(0, 30), yticks=(0, 50, 100))
        top.set_title(title, fontsize=8, loc="left", pad=2)
        for axis in (top, low):
            axis.set_xticks(range(31), [])
            axis.grid(alpha=0.3)
    figure.subplots_adjust(left=0.03, right=0.995, top=0.98, bottom=0.01, hspace=0.14)
    figure.savefig(where / "strips.png", dpi=85, metadata={"Software": None})
    plt.close(figure)


def _cut(samples: FloatArray, start: int) -> FloatArray:
    part = samples[start : start + 7200]
    return np.concatenate((part, np.full(7200 - len(part), np.nan)))


def _put(table: str, page: Path) -> None:
    """Put the table between its marks on the page."""
    text = page.read_text(encoding="utf-8")
    before, rest = text.split("<!-- numbers -->", 1)
    _, after = rest.split("<!-- /numbers -->", 1)
    marked = f"<!-- numbers -->\n\n{table}\n\n<!-- /numbers -->"
    page.write_text(before + marked + after, encoding="utf-8")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--docs", action="store_true", help="write the figures of docs/generator")
    parser.add_argument("--hours", type=int, default=200, help="invented hours to compare")
    args = parser.parse_args()
    if not CTU_UHB.is_dir():
        sys.exit(f"The open recordings are not at {CTU_UHB}; set EBBLINE_SHARED.")
    theirs, ours = real(), invented(args.hours)
    sets = [theirs["ultrasound"], ours["ultrasound"], theirs["scalp electrode"],
            ours["scalp electrode"]]  # fmt: skip
    table = numbers(sets)
    print(table)
    if args.docs:
        draw(sets, ROOT / "docs" / "generator")
        _put(table, ROOT / "docs" / "generator.md")


if __name__ == "__main__":
    main()
