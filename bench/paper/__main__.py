"""How well strips come back from paper: drawn, scanned or photographed by simulation, read back.

python -m bench.paper --count 6                        seeds to develop on
python -m bench.paper --count 6 --locked               the locked seeds, only reported
python -m bench.paper --kinds scan --count 12
python -m bench.paper --count 12 --locked --docs       and writes the table into docs/paper.md

Half hours of CTU-UHB (Chudacek et al. BMC Pregnancy and Childbirth 2014;14:16) are drawn as six
papers, in turn: four by a plain drawing of its own (`bench.paper.draw`), two by `ebbline.picture`.
Scans have 300 dpi. Photographs have 225 dots to the inch of paper and hold 12.5 minutes at
3 cm/min, half an hour at 1. Published for photographs by smartphone: mean absolute error 0.87 bpm,
RMSE 1.04, correlation 0.986 (Comput Methods Programs Biomed 2021;200). Aims: docs/paper.md.
"""

from __future__ import annotations

import argparse
import os
import signal
import time
import warnings
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from types import FrameType

import numpy as np
from numpy.typing import NDArray

from bench.paper.camera import photograph, random_shot, scan
from bench.paper.draw import LOOKS, draw
from bench.paper.ours import TRACE_MM, draw_ours
from ebbline.criteria.model import Classification
from ebbline.errors import EbblineError, RecordingError
from ebbline.reading.analyse import read
from ebbline.reading.paper_doubt import read_otherwise
from ebbline.recording import Channel, ChannelKind, Recording, open_recording
from ebbline.recording.model import Provenance
from ebbline.recording.paper.flatten import Image
from ebbline.recording.paper.reading import PaperReading, read_paper
from ebbline.recording.paper.scale import PaperAnswers

FloatArray = NDArray[np.float64]

DATA = Path(os.environ.get("EBBLINE_SHARED", "../shared")) / "data" / "ctu-uhb"
PAGE = Path(__file__).parents[2] / "docs" / "paper.md"
DEVELOP, LOCKED = 0, 700_000
RATE_HZ = 4.0
SCAN_DPI = 300.0
PHOTO_SHARE = 0.75
LEAST_SIGNAL = 0.6
LOST_BPM = 10.0
"""A picture read worse than this was read wrongly: a refusal would have been better."""


@dataclass(frozen=True)
class Drawing:
    """One way to draw paper. pen_mm: width of its stroke. draw: heart rate, activity -> picture."""

    speed: int
    pen_mm: float
    draw: Callable[[FloatArray, FloatArray], Image]


def _plain(name: str) -> Drawing:
    look = LOOKS[name]
    return Drawing(
        look.speed, look.trace_mm, lambda h, a: draw(h, a, RATE_HZ, look, SCAN_DPI).image
    )


def _own(speed: int) -> Drawing:
    return Drawing(speed, TRACE_MM, lambda h, a: draw_ours(h, a, RATE_HZ, speed, SCAN_DPI))


DRAWINGS = {**{name: _plain(name) for name in LOOKS}, "own at 1": _own(1), "own at 3": _own(3)}


@dataclass
class Measured:
    """What the pictures of one kind gave."""

    refused: list[str] = field(default_factory=list)
    timed_out: int = 0
    error: list[float] = field(default_factory=list)
    rmse: list[float] = field(default_factory=list)
    alike: list[float] = field(default_factory=list)
    pen: list[float] = field(default_factory=list)
    seen: list[float] = field(default_factory=list)
    false: list[float] = field(default_factory=list)
    misled: list[float] = field(default_factory=list)
    activity: list[float] = field(default_factory=list)
    late_s: list[float] = field(default_factory=list)
    drift_s: list[float] = field(default_factory=list)
    cpu_s: list[float] = field(default_factory=list)
    drawings: Counter[str] = field(default_factory=Counter)
    classes: dict[str, list[bool]] = field(default_factory=dict)
    firm: dict[str, list[bool]] = field(default_factory=dict)
    """The same of those half hours whose samples' own class holds when they are hardly altered."""
    milder: int = 0
    withheld: int = 0
    causes: Counter[str] = field(default_factory=Counter)


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--count", type=int, default=6, help="pictures of each kind")
    parser.add_argument("--first", type=int, default=0, help="leave out so many seeds")
    parser.add_argument("--locked", action="store_true")
    parser.add_argument("--kinds", default="scan,photograph")
    parser.add_argument(
        "--most-s", type=int, default=180, help="a page is given up after, s of processor"
    )
    parser.add_argument("--docs", action="store_true", help="write the table into docs/paper.md")
    asked = parser.parse_args()
    signal.signal(signal.SIGPROF, _given_up)
    start = (LOCKED if asked.locked else DEVELOP) + asked.first
    said = f"seeds {start} to {start + asked.count - 1}{', locked' if asked.locked else ''}"
    print(said, flush=True)
    found = {}
    for kind in asked.kinds.split(","):
        found[kind] = Measured()
        for seed in range(start, start + asked.count):
            one(seed, kind, found[kind], asked.most_s)
        say(kind, asked.count, found[kind])
    if asked.docs:
        write(found, asked.count, said)


def _given_up(_: int, __: FrameType | None) -> None:
    raise TimeoutError


def half_hour(chooser: np.random.Generator) -> tuple[FloatArray, FloatArray]:
    """Heart rate and activity of half an hour with signal in most of it."""
    names = sorted(DATA.glob("*.hea"))
    while True:
        recording = open_recording(names[chooser.integers(len(names))])
        below = recording.first(ChannelKind.UTERINE_ACTIVITY)
        heart = recording.heart_rate().samples
        start = int(chooser.integers(0, max(1, len(heart) - 7200)))
        if below is not None and np.isfinite(heart[start : start + 7200]).mean() > LEAST_SIGNAL:
            return heart[start : start + 7200], np.clip(below.samples[start : start + 7200], 0, 100)


def one(seed: int, kind: str, found: Measured, most_s: int = 180) -> None:
    """Draw one picture and read it back."""
    chooser = np.random.default_rng(seed)
    heart, activity = half_hour(chooser)
    name = list(DRAWINGS)[seed % len(DRAWINGS)]
    drawing = DRAWINGS[name]
    found.drawings[name] += 1
    if kind == "photograph" and drawing.speed == 3:
        heart, activity = heart[:3000], activity[:3000]
    drawn = drawing.draw(heart.copy(), activity.copy())
    picture = (
        scan(drawn, chooser)
        if kind == "scan"
        else photograph(drawn, random_shot(chooser, size=PHOTO_SHARE), chooser)
    )
    where = f"  {kind} {seed} {name}"
    began = time.process_time()
    # Of processor time: a busy computer gives up no page.
    signal.setitimer(signal.ITIMER_PROF, most_s)
    try:
        told = read_paper(picture, PaperAnswers(speed=float(drawing.speed)))
    except RecordingError as error:
        found.refused.append(error.what)
        print(f"{where}: refused: {error.what}", flush=True)
        return
    except TimeoutError:
        found.timed_out += 1
        print(f"{where}: given up after {most_s} s", flush=True)
        return
    finally:
        signal.setitimer(signal.ITIMER_PROF, 0)
    found.cpu_s.append(time.process_time() - began)
    other = measure(heart, activity, drawing.pen_mm, drawing.speed, told, found)
    below = f"{found.activity[-1]:.1f} %" if told.activity is not None else "not read"
    print(
        f"{where}: {found.error[-1]:.2f} bpm, correlation {found.alike[-1]:.4f}, "
        f"read {found.seen[-1]:.3f}, activity {below}, {found.cpu_s[-1]:.1f} s"
        + "".join(f"; {one}" for one in other),
        flush=True,
    )


def lowered(values: FloatArray, rate_hz: float) -> FloatArray:
    """Means at a lower rate, NaN where none of a mean's samples is there."""
    times = round(RATE_HZ / rate_hz)
    rows = values[: len(values) // times * times].reshape(-1, times)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore", RuntimeWarning)
        found: FloatArray = np.nanmean(rows, axis=1)
    return found


def measure(
    heart: FloatArray,
    activity: FloatArray,
    pen_mm: float,
    speed: int,
    told: PaperReading,
    found: Measured,
) -> list[str]:
    """Add what a reading gave; returns the classes that came out otherwise."""
    rate = told.rate_hz
    truth = lowered(heart, rate)
    values = told.heart[0].values
    count = min(len(truth), len(values))
    truth, values = truth[:count], values[:count]
    both = np.isfinite(truth) & np.isfinite(values)
    off = values[both] - truth[both]
    found.error.append(float(np.abs(off).mean()))
    found.rmse.append(float(np.sqrt((off**2).mean())))
    found.alike.append(float(np.corrcoef(values[both], truth[both])[0, 1]))
    found.seen.append(both.sum() / max(np.isfinite(truth).sum(), 1))
    found.false.append(float((np.isfinite(values) & np.isnan(truth)).sum() / count))
    found.pen.append(pen_floor(heart, pen_mm / 10 / (speed / 60)))
    late = shifts(truth, values, rate)
    found.late_s += late
    if len(late) > 1:
        found.drift_s.append(abs(late[-1] - late[0]) * 1800 / (len(heart) / RATE_HZ - 300))
    found.misled.append(misled(off, both, told))
    if told.activity is not None:
        below = lowered(activity, rate)[:count]
        there = np.isfinite(told.activity.values[:count]) & np.isfinite(below)
        if there.any():
            found.activity.append(
                float(np.abs(told.activity.values[:count][there] - below[there]).mean())
            )
    return compare_classes(heart, activity, told, found) if len(heart) == 7200 else []


def misled(off: FloatArray, both: NDArray[np.bool_], told: PaperReading) -> float:
    """Share of minutes read far wrong though they are called sure."""
    whole = np.full(len(both), np.nan)
    whole[both] = np.abs(off)
    size = round(60 * told.rate_hz)
    wrong = [
        sure >= 0.5 and np.nanmean(whole[n * size : (n + 1) * size]) > LOST_BPM
        for n, sure in enumerate(told.minutes)
        if np.isfinite(whole[n * size : (n + 1) * size]).any()
    ]
    return float(np.mean(wrong)) if wrong else 0.0


def pen_floor(heart: FloatArray, width_s: float) -> float:
    """What a stroke so wide hides: distance of samples from the middle of what it covers, bpm."""
    from scipy.ndimage import maximum_filter1d, minimum_filter1d

    there = np.isfinite(heart)
    at = np.arange(len(heart))
    whole = np.interp(np.arange(0, len(heart) - 1, 0.1), at, np.interp(at, at[there], heart[there]))
    size = max(1, round(width_s * RATE_HZ * 10)) | 1
    middle = (maximum_filter1d(whole, size) + minimum_filter1d(whole, size)) / 2
    return float(np.abs(middle - whole)[::10][there[: len(middle[::10])]].mean())


def shifts(truth: FloatArray, values: FloatArray, rate: float) -> list[float]:
    """Seconds by which each five minutes of the trace lie late, to a sample."""
    size, most = round(300 * rate), round(6 * rate)
    found = []
    for start in range(0, len(truth) - size + 1, size):
        fits = []
        for move in range(-most, most + 1):
            if start + move < 0 or start + move + size > len(values):
                continue
            apart = np.abs(values[start + move : start + move + size] - truth[start : start + size])
            there = np.isfinite(apart)
            if there.mean() > 0.5:
                fits.append((float(apart[there].mean()), move / rate))
        if fits:
            found.append(min(fits)[1])
    return found


def compare_classes(
    heart: FloatArray, activity: FloatArray, told: PaperReading, found: Measured
) -> list[str]:
    """Count the classes that are the same from paper, and those that read milder there."""
    rate = told.rate_hz
    below = None if told.activity is None else told.activity.values
    try:
        samples = classes_of(heart, activity, RATE_HZ)
        paper = classes_of(told.heart[0].values, below, rate, "paper")
    except EbblineError:
        return []
    altered = hardly_altered(heart, activity, rate)
    other = []
    for standard, own in samples.items():
        read_as = paper[standard]
        same = read_as.label == own.label
        found.classes.setdefault(standard, []).append(same)
        firm = all(one[standard].label == own.label for one in altered)
        if firm:
            found.firm.setdefault(standard, []).append(same)
        if same:
            continue
        milder = is_milder(read_as, own)
        found.milder += milder
        found.withheld += own.rank >= 0 and read_as.rank < 0
        why = cause(own, read_as)
        found.causes[f"{standard}: {why}{'' if firm else ' (on an edge)'}"] += 1
        other.append(
            f"{standard} {own.said} read as {read_as.said}, by {why}"
            f"{', MILDER' if milder else ''}{'' if firm else ', on an edge'}"
        )
    return other


def classes_of(
    heart: FloatArray, activity: FloatArray | None, rate_hz: float, form: str = ""
) -> dict[str, Classification]:
    """The classes of half an hour by each standard. form: what the recording was read from."""
    channels = [Channel(ChannelKind.FETAL_HEART_RATE, heart, rate_hz, fetus=1)]
    if activity is not None:
        channels.append(Channel(ChannelKind.UTERINE_ACTIVITY, activity, rate_hz))
    recording = Recording("half hour", tuple(channels), provenance=Provenance("", form))
    classes = read(recording, history=False).fetuses[0].classes
    return {str(one.standard): one for one in classes}


def hardly_altered(
    heart: FloatArray, activity: FloatArray, rate_hz: float
) -> list[dict[str, Classification]]:
    """Classes of the samples themselves, altered by less than any reader of paper sees.

    A second left out at either end; means at the rate that the paper tells apart; 0.5 bpm and 0.5 %
    of unrest (`ebbline.reading.paper_doubt`). A class that does not hold stands on a knife's edge.
    """
    second = round(RATE_HZ)
    channels = (
        Channel(ChannelKind.FETAL_HEART_RATE, heart, RATE_HZ, fetus=1),
        Channel(ChannelKind.UTERINE_ACTIVITY, activity, RATE_HZ),
    )
    whole = Recording("half hour", channels, provenance=Provenance("", "paper"))
    restless = [[one.samples for one in other.channels] for other in read_otherwise(whole)]
    return [
        classes_of(heart[second:], activity[second:], RATE_HZ),
        classes_of(heart[:-second], activity[:-second], RATE_HZ),
        classes_of(lowered(heart, rate_hz), lowered(activity, rate_hz), rate_hz),
        *(classes_of(a, b, RATE_HZ) for a, b in restless),
    ]


def is_milder(read_as: Classification, own: Classification) -> bool:
    """Whether a class from paper reassures more than that of the samples.

    A lower one does, and the best one where the samples have none.
    """
    return 0 <= read_as.rank < own.rank or (read_as.rank == 0 and own.rank < 0)


def cause(own: Classification, read_as: Classification) -> str:
    """The feature by which two classes differ: of the lines that decide one of them alone."""
    if own.refused != read_as.refused and not (own.at_least or read_as.at_least):
        side = own if own.refused else read_as
        return f"withheld ({side.refusal[0].split(':')[0][:60]})"
    alone = set(own.decided_by) ^ set(read_as.decided_by)
    features = {one.feature for c in (own, read_as) for one in c.reasons if one.rule in alone}
    return ", ".join(sorted(features)) or "what is certain of it"


def interval(of: list[float]) -> str:
    """Mean with the 95 % interval of 2000 resamples of pictures."""
    if not of:
        return "none"
    chooser = np.random.default_rng(0)
    means = chooser.choice(of, (2000, len(of))).mean(axis=1)
    low, high = np.quantile(means, (0.025, 0.975))
    return f"{np.mean(of):.3g} ({low:.3g} to {high:.3g})"


def wilson(same: list[bool]) -> str:
    """Share with its 95 % interval (Wilson EB. J Am Stat Assoc 1927;22:209-12), and of how many."""
    from statsmodels.stats.proportion import proportion_confint

    low, high = proportion_confint(sum(same), len(same), method="wilson")
    return f"{np.mean(same):.3g} ({low:.3g} to {high:.3g}), of {len(same)}"


def rows(found: Measured) -> list[tuple[str, str]]:
    """Each measure in words, and what was measured."""
    late = np.abs(found.late_s)
    wrong = sum(error > LOST_BPM for error in found.error)
    return [
        ("mean absolute error, bpm", interval(found.error)),
        ("of which the middle of a stroke so wide hides, bpm", interval(found.pen)),
        ("root mean square error, bpm", interval(found.rmse)),
        ("correlation", interval(found.alike)),
        ("read of what was drawn, share", interval(found.seen)),
        ("read where nothing was drawn, share", interval(found.false)),
        ("minutes wrong yet called sure, share", interval(found.misled)),
        ("activity, mean absolute error, % of the paper", interval(found.activity)),
        ("five minutes within 1 s, share", interval([float(one <= 1) for one in late])),
        ("drift over 30 minutes, s", interval(found.drift_s)),
        *((f"same class, {s} (Wilson)", wilson(same)) for s, same in found.classes.items()),
        *(
            (f"the same where the samples' own class holds, {s} (Wilson)", wilson(same))
            for s, same in found.firm.items()
        ),
        ("classes milder than the samples', of all by three standards", str(found.milder)),
        ("classes withheld that the samples have", str(found.withheld)),
        ("processor time a page, s", interval(found.cpu_s)),
        (f"pictures read more than {LOST_BPM:g} bpm wrong", str(wrong)),
        ("refused", str(len(found.refused))),
        ("given up", str(found.timed_out)),
    ]


def say(kind: str, count: int, found: Measured) -> None:
    drawn = ", ".join(f"{n} {name}" for name, n in found.drawings.items())
    print(f"\n{kind}: {count} pictures ({drawn})")
    for what, told in rows(found):
        print(f"  {what:66} {told}")
    for why, times in found.causes.most_common():
        print(f"  other class {times}: {why}")
    for reason in sorted(set(found.refused)):
        print(f"  refused {found.refused.count(reason)}: {reason}")
    print(flush=True)


BEGIN, END = "<!-- measured: bench.paper -->", "<!-- end of measured -->"


def write(found: dict[str, Measured], count: int, said: str) -> None:
    """Put the table into the page, between its marks."""
    table = {kind: dict(rows(one)) for kind, one in found.items()}
    words = list(dict.fromkeys(what for one in table.values() for what in one))
    lines = [
        f"{count} pictures of each kind, {said}; mean (95 % interval of resampled pictures).",
        "",
        f"| | {' | '.join(table)} |",
        f"|---|{'---|' * len(table)}",
        *(f"| {w} | {' | '.join(one.get(w, '-') for one in table.values())} |" for w in words),
        *(
            f"\nOther class, {kind}: "
            + "; ".join(f"{times} {why}" for why, times in one.causes.most_common())
            for kind, one in found.items()
            if one.causes
        ),
        *(
            f"\nRefused, {kind}: {'; '.join(sorted(set(one.refused)))}"
            for kind, one in found.items()
            if one.refused
        ),
    ]
    page = PAGE.read_text("utf-8")
    before, rest = page.split(BEGIN)
    _, after = rest.split(END)
    made = "\n".join(lines)
    PAGE.write_text(f"{before}{BEGIN}\n{made}\n{END}{after}", "utf-8")


if __name__ == "__main__":
    main()
