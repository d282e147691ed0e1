"""Nothing may read better because it got worse: recordings made worse in one way at a time.

    python -m bench.worsening                  every fourth recording, and invented labours
    python -m bench.worsening --every 1        all 276 recordings
    python -m bench.worsening --first 11       other recordings than the ones worked on
    python -m bench.worsening --list           names each violation

A recording is read, made worse (a fall longer, deeper, oftener, not recovered; less variability;
more loss; a coarser rate) by growing amounts, and read again. A violation is a class of a standard
that is better than it was for the lesser amount, a class where there was only a refusal and it is
the best one, or a class better than what was said to be certain; and the panel's label if milder.
Prints the violations of each way and standard. What remains has these causes: a bandwidth
close to a limit (2.5 or 5 bpm) moves over it when a fall, lost signal or another
rate takes some of its minutes; a shallow shift of the level is followed by the baseline, and falls
on it are measured less deep; an added fall changes whether another counts as late or concerning,
and so how long their series is; lost signal takes whole falls away, and with them the panel's
points where less than a tenth is lost; falls left untouched in a flattened trace are seen as what
stands out of it. Seeds: those of the invented labours are printed.
"""

from __future__ import annotations

import argparse
import os
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from itertools import pairwise
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from bench.panel_data import step_window
from ebbline.criteria import TABLES, classify
from ebbline.criteria.model import PANEL_LABELS, Standard
from ebbline.criteria.panel import panel_reading
from ebbline.features import detect
from ebbline.recording import open_recording
from ebbline.recording.model import Channel, ChannelKind, Recording
from ebbline.synth import Scenario, invent
from ebbline.terms import Window

FloatArray = NDArray[np.float64]

DATA = Path(os.environ.get("EBBLINE_SHARED", "../shared")) / "data" / "ctu-uhb"
STANDARDS = (Standard.NICHD, Standard.FIGO, Standard.NICE)
HALF_HOUR_S = 1800.0
LEAD_S = 5400.0
"""So much of a recording is kept: an hour before the window, and the window."""

FLOOR_BPM = 58.0
"""No fall goes much lower."""

SEEDS = tuple(range(900, 906))
WORDS = (
    "normal",
    "normal, 15 % loss",
    "minimal variability",
    "intermittent late",
    "recurrent variable",
    "recurrent late, minimal variability",
    "bradycardia",
    "tachycardia, intermittent variable",
)


@dataclass(frozen=True, slots=True)
class Standing:
    """What one reading says. ranks: class of each standard, -1 refused; certain: the least that a
    refusal gives; panel: place of its label, -1 where it is silent."""

    ranks: tuple[int, ...]
    certain: tuple[int, ...]
    panel: int
    decided: tuple[str, ...] = ()

    def __str__(self) -> str:
        return f"{self.ranks} at least {self.certain} panel {self.panel}, {' '.join(self.decided)}"


def standing(recording: Recording, window: Window) -> Standing:
    """The classes of a window, and the panel's."""
    findings = detect(recording)
    found = [classify(findings, window, one, recording.context) for one in STANDARDS]
    panel = panel_reading(findings, window, recording.context)
    return Standing(
        tuple(one.rank for one in found),
        tuple(
            TABLES[one.standard].classes.index(one.at_least) if one.at_least else one.rank
            for one in found
        ),
        -1 if panel is None else PANEL_LABELS.index(panel.label),
        tuple(rule for one in found for rule in one.decided_by),
    )


def better(before: Standing, after: Standing, *, less_known: bool = False) -> list[str]:
    """Who reads the second better than the first; less_known: it may also say nothing."""
    found = []
    for place, standard in enumerate(STANDARDS):
        old, new = before.ranks[place], after.ranks[place]
        certain = before.certain[place]
        if new >= 0 and (new < max(old, certain) or (old < 0 and new == 0)):
            found.append(standard.value)
        elif not less_known and new < 0 and certain > 0 and after.certain[place] < certain:
            found.append(f"{standard.value} (certain)")
    if 0 <= after.panel < before.panel:
        found.append("panel")
    return found


# ---------------------------------------------------------------- ways of getting worse


def with_rate(recording: Recording, change: Callable[[FloatArray, float], FloatArray]) -> Recording:
    """The recording with its fetal rate changed; change: samples and rate to samples."""
    return replace(
        recording,
        channels=tuple(
            replace(one, samples=change(one.samples.copy(), one.rate_hz))
            if one.kind is ChannelKind.FETAL_HEART_RATE
            else one
            for one in recording.channels
        ),
    )


def ramp(t: FloatArray, onset_s: float, fall_s: float) -> FloatArray:
    """0 before onset, 1 from fall_s after it, a cosine between."""
    part = np.clip((t - onset_s) / fall_s, 0.0, 1.0)
    return np.asarray(0.5 - 0.5 * np.cos(np.pi * part))


def fall(
    recording: Recording,
    onset_s: float,
    duration_s: float,
    depth_bpm: float,
    fall_s: float = 15.0,
) -> Recording:
    """One more fall of the rate; duration_s infinite: it does not come back."""

    def change(samples: FloatArray, rate_hz: float) -> FloatArray:
        t = np.arange(len(samples)) / rate_hz
        shape = ramp(t, onset_s, fall_s)
        if np.isfinite(duration_s):
            shape = shape * (1.0 - ramp(t, onset_s + duration_s - fall_s, fall_s))
        lower = samples - depth_bpm * shape
        # Near the floor the fluctuation is pressed together: a rate without any is no rate.
        lower = np.where(lower < FLOOR_BPM, FLOOR_BPM + 0.1 * (lower - FLOOR_BPM), lower)
        return np.where(shape > 0, lower, samples)

    return with_rate(recording, change)


def flatter(recording: Recording, kept_share: float, window: Window) -> Recording:
    """The fluctuation about the 15-s mean times kept_share, from the window's start on.

    Falls and rises keep their shape: what is drawn smoother there would be another kind of fall.
    """
    fetal = detect(recording).fetal
    events = [(one.onset_s - 15.0, one.end_s + 15.0) for one in fetal.decelerations]
    events += [(one.onset_s - 15.0, one.end_s + 15.0) for one in fetal.accelerations]

    def change(samples: FloatArray, rate_hz: float) -> FloatArray:
        length = max(3, round(15.0 * rate_hz))
        seen = np.isfinite(samples)
        filled = np.where(seen, samples, 0.0)
        kernel = np.ones(length)
        slow = np.convolve(filled, kernel, "same") / np.maximum(
            np.convolve(seen.astype(float), kernel, "same"), 1.0
        )
        t = np.arange(len(samples)) / rate_hz
        calm = t >= window.start_s
        for start_s, end_s in events:
            calm &= (t < start_s) | (t > end_s)
        return np.where(calm, slow + kept_share * (samples - slow), samples)

    return with_rate(recording, change)


def lossier(
    recording: Recording, share: float, seed: int, gap_s: float, window: Window
) -> Recording:
    """More signal lost in the window: gaps of gap_s up to the share; the same seed's gaps of a
    greater share hold those of a lesser."""

    def change(samples: FloatArray, rate_hz: float) -> FloatArray:
        length = max(1, round(gap_s * rate_hz))
        pieces = int(np.ceil(len(samples) / length))
        lost = np.random.default_rng(seed).random(pieces) < share
        mask = np.repeat(lost, length)[: len(samples)]
        t = np.arange(len(samples)) / rate_hz
        return np.where(mask & (t >= window.start_s), np.nan, samples)

    return with_rate(recording, change)


def thinner(recording: Recording, every: int) -> Recording:
    """Every n-th sample of every channel only."""

    def thin(one: Channel) -> Channel:
        return replace(one, samples=one.samples[::every].copy(), rate_hz=one.rate_hz / every)

    return replace(recording, channels=tuple(thin(one) for one in recording.channels))


LESS_KNOWN = ("more loss, gaps of 4 s", "more loss, gaps of 40 s", "a coarser rate")
"""Ways that only hide: the class may be withheld or stay."""

Chain = Iterator[tuple[str, list[Recording]]]


def chains(recording: Recording, window: Window, seed: int) -> Chain:
    """Ways of getting worse, each by growing amounts; the recording ends with the window."""
    end_s = window.end_s
    random = np.random.default_rng(seed)
    yield (
        "a fall not recovered, longer",
        [recording]
        + [
            fall(recording, end_s - 60.0 * m, np.inf, 80.0) for m in (1, 2, 3.5, 5, 6, 7, 9, 11, 15)
        ],
    )
    yield (
        "a fall not recovered, deeper",
        [recording] + [fall(recording, end_s - 260.0, np.inf, d) for d in (18, 30, 50, 80)],
    )
    at = window.start_s + float(random.uniform(300.0, 1000.0))
    yield (
        "a fall longer",
        [recording]
        + [fall(recording, at, s, 50.0) for s in (30, 60, 100, 150, 190, 250, 320, 420)],
    )
    yield "a fall deeper", [recording] + [fall(recording, at, 70.0, d) for d in (20, 35, 55, 80)]
    more = [recording]
    for number in range(7):
        more.append(fall(more[-1], window.start_s + 90.0 + 245.0 * number, 150.0, 70.0))
    yield "prolonged falls, more of them", more
    short = [recording]
    for number in range(8):
        short.append(fall(short[-1], window.start_s + 60.0 + 215.0 * number, 40.0, 40.0, 10.0))
    yield "variable falls, more of them", short
    activity = recording.first(ChannelKind.UTERINE_ACTIVITY)
    if activity is not None:
        late = [recording]
        peaks = [
            c.peak_s
            for c in detect(recording).uterine.contractions
            if window.start_s + 30 < c.peak_s < end_s - 120
        ]
        for peak_s in peaks[:7]:
            late.append(fall(late[-1], peak_s - 10.0, 90.0, 25.0, 42.0))
        yield "late falls, more of them", late
    yield (
        "less variability",
        [recording] + [flatter(recording, share, window) for share in (0.6, 0.3, 0.1, 0.0)],
    )
    for gap_s in (4.0, 40.0):
        yield (
            f"more loss, gaps of {gap_s:.0f} s",
            [recording]
            + [lossier(recording, s, seed, gap_s, window) for s in (0.1, 0.25, 0.4, 0.6, 0.85)],
        )
    yield "a coarser rate", [recording] + [thinner(recording, n) for n in (2, 4, 8, 20, 60, 240)]


# ---------------------------------------------------------------- what is made worse


def real(every: int, first: int = 0) -> Iterator[tuple[str, Recording, Window]]:
    """Recordings cut at the end of the first stage, with the half hour before."""
    for path in sorted(DATA.glob("*.hea"))[first::every]:
        recording = open_recording(path)
        asked = step_window(2, recording.context.second_stage_start_s, recording.duration_s)
        yield path.stem, *cut(recording, asked)


def cut(recording: Recording, asked: Window) -> tuple[Recording, Window]:
    """The recording up to the window's end, from a while before it, and the window in it."""
    first_s = max(0.0, np.floor((asked.end_s - LEAD_S) / 60.0) * 60.0)
    channels = tuple(
        replace(c, samples=c.samples[round(first_s * c.rate_hz) : round(asked.end_s * c.rate_hz)])
        for c in recording.channels
    )
    context = replace(recording.context, second_stage_start_s=None)
    made = replace(recording, channels=channels, context=context, annotations=())
    return made, Window(max(0.0, asked.start_s - first_s), made.duration_s)


def invented() -> Iterator[tuple[str, Recording, Window]]:
    """Labours of ninety minutes whose last half hour is read."""
    for words in WORDS:
        for seed in SEEDS[:3]:
            recording = invent(Scenario.from_words(f"{words}, 90 minutes"), seed).recording
            yield f"{words}, seed {seed}", *cut(recording, Window(3600.0, 5400.0))


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--every", type=int, default=4, help="read every n-th recording")
    parser.add_argument(
        "--first", type=int, default=0, help="begin with this one: other recordings"
    )
    parser.add_argument("--list", action="store_true", help="name each violation")
    parser.add_argument("--only", default="", help="ways whose name holds this")
    asked = parser.parse_args()
    print(f"seeds of the invented labours: {SEEDS[:3]}")
    compared: Counter[str] = Counter()
    wrong: Counter[tuple[str, str]] = Counter()
    sources: list[tuple[str, Iterator[tuple[str, Recording, Window]]]] = [
        ("recordings", real(asked.every, asked.first)),
        ("invented", invented()),
    ]
    for kind, cases in sources:
        for number, (name, recording, window) in enumerate(cases):
            for way, steps in chains(recording, window, seed=number):
                if asked.only not in way:
                    continue
                said = [standing(one, window) for one in steps]
                for step, (before, after) in enumerate(pairwise(said)):
                    compared[f"{kind}: {way}"] += 1
                    for who in better(before, after, less_known=way in LESS_KNOWN):
                        wrong[f"{kind}: {way}", who] += 1
                        if asked.list:
                            print(f"{name}: {way}, step {step + 1}: {who}: {before} -> {after}")
    print(f"{sum(compared.values())} comparisons, {sum(wrong.values())} violations")
    for way, count in compared.items():
        by = {who: n for (w, who), n in wrong.items() if w == way}
        print(f"{way}: {count} compared; {', '.join(f'{w} {n}' for w, n in by.items()) or 'none'}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
