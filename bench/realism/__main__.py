"""How well invented labours can be told from real ones.

    python -m bench.realism                     the tables, on the half of the recordings kept back
    python -m bench.realism --quick             ultrasound, first stage, fewer labours
    python -m bench.realism --half fitted|all   on the other half, or on all recordings
    python -m bench.realism --strips FILE.pdf   strips in a random order, the key on the last page
    python -m bench.realism --docs              and writes docs/generator.md and its strips
    python -m bench.realism --slices DIR        keeps each finished column in DIR and goes on from
                                                there (columns of another generator are made anew);
                                                with --one it makes a single column

Real: the open intrapartum recordings of CTU-UHB (Chudacek et al. BMC Pregnancy and Childbirth
2014;14:16; PhysioNet, ODC-By 1.0), read from ../shared/data/ctu-uhb or EBBLINE_SHARED. Invented:
labours as they come (ebbline.synth.population), seeds that the fit never saw.
"""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from bench import stamps
from bench.realism import judge, kernels, strips, untuned, windows
from bench.realism.features import GROUPS, measure
from bench.realism.windows import ROOT, STAGES, Window
from ebbline.terms import SensorKind

SENSORS = (SensorKind.ULTRASOUND, SensorKind.SCALP_ELECTRODE)
DEVELOP_SEEDS, LOCKED_SEEDS = 50_000, 910_000
"""Where the seeds of invented labours begin: while developing, and for what is reported."""
SEED_SETS, SETS_APART = 4, 10_000
"""Sets of invented labours that are judged one by one: how far a verdict hangs on the seeds. The
first is the one the tables show."""
WORST, WORST_UNTUNED = 8, 4


ALL, UNTUNED = "all features", "features nobody tuned on"


def _features(window: Window) -> dict[str, float]:
    return measure(window.fhr, window.toco)


def _untuned(window: Window) -> dict[str, float]:
    return untuned.measure(window.fhr, window.toco)


def chosen(sensor: SensorKind, stage: str, half: str) -> list[Window]:
    """The real windows of one half of the recordings."""
    wanted = {"kept": (False,), "fitted": (True,), "all": (False, True)}[half]
    return [
        w
        for w in windows.real(sensor)
        if w.stage == stage and windows.fitted_half(w.labour) in wanted
    ]


def _line(verdict: judge.Verdict) -> str:
    return f"{verdict.auc:.2f} ({verdict.low:.2f} to {verdict.high:.2f})"


def _spread_line(found: Sequence[float]) -> str:
    return f"{np.mean(found):.2f} ({min(found):.2f} to {max(found):.2f})"


Rows = list[dict[str, float]]


def _measured(found: Sequence[Window], jobs: int) -> tuple[Rows, Rows]:
    """All features of each window, and those nobody tuned on."""
    with ProcessPoolExecutor(jobs) as pool:
        return (
            list(pool.map(_features, found, chunksize=8)),
            list(pool.map(_untuned, found, chunksize=8)),
        )


def compare(
    real: Sequence[Window], sets: Sequence[Sequence[Window]], jobs: int
) -> tuple[dict[str, str], list[str]]:
    """Verdicts on the first set of invented windows by group, on all features, on those nobody
    tuned on, of random kernels; the mean, least and greatest over halves, and over the sets; lines
    on the features that tell."""
    invented, *more = sets
    both = [*real, *invented]
    rows, others = _measured(both, jobs)
    x, names = judge.table(rows)
    y, new_names = judge.table(others)
    labels, groups = judge.labels_of(both)
    verdicts = judge.by_group(x, names, labels, groups)
    learned = np.array([kernels.answers(w.fhr, w.toco) for w in both])
    verdicts.append(judge.linear("random kernels", learned, labels, groups))
    verdicts.append(judge.boosted(UNTUNED, y, labels, groups))
    by_set = {v.name: [v.auc] for v in verdicts if v.name in (ALL, UNTUNED)}
    for windows_of_set in more:
        here = [*real, *windows_of_set]
        new_rows, new_others = _measured(windows_of_set, jobs)
        told = judge.labels_of(here)
        for name, of_real, new in ((ALL, rows, new_rows), (UNTUNED, others, new_others)):
            values, _ = judge.table([*of_real[: len(real)], *new])
            by_set[name].append(judge.boosted(name, values, *told).auc)
    said = {v.name: _line(v) for v in verdicts}
    said |= {
        f"{name}, {judge.HALVES} halves": _spread_line(judge.over_halves(table, labels, groups))
        for name, table in ((ALL, x), (UNTUNED, y))
    }
    said |= {f"{name}, {SEED_SETS} seed sets": _spread_line(by_set[name]) for name in by_set}
    rng = np.random.default_rng(5)
    halves = rng.permutation(labels.sum()) % 2 == 0
    said["real from real, all features"] = _line(
        judge.boosted("null", x[labels], halves, groups[labels])
    )
    lines = [
        f"{kind}{name}: {auc:.2f} (quartiles: real {a}; invented {b})"
        for kind, table, called, count in (
            ("", x, names, WORST),
            ("nobody tuned on: ", y, new_names, WORST_UNTUNED),
        )
        for name, auc, a, b in judge.worst(table, called, labels, count)
    ]
    return said, lines


ROWS = (
    *GROUPS,
    ALL,
    f"{ALL}, {judge.HALVES} halves",
    f"{ALL}, {SEED_SETS} seed sets",
    UNTUNED,
    f"{UNTUNED}, {judge.HALVES} halves",
    f"{UNTUNED}, {SEED_SETS} seed sets",
    "random kernels",
    "real from real, all features",
)


@dataclass(frozen=True, slots=True)
class Column:
    """One sensor, one stage: its head, the verdict of each row, lines on the features that tell."""

    head: str
    said: dict[str, str]
    lines: list[str]


@lru_cache(SEED_SETS)
def _invented(sensor: SensorKind, first: int, count: int, jobs: int) -> tuple[Window, ...]:
    """Both stages of a sensor's labours, kept for the other stage's column."""
    return tuple(windows.invented(sensor, range(first, first + count), jobs=jobs))


def column(sensor: SensorKind, stage: str, half: str, seeds: range, jobs: int) -> Column:
    """What real and invented windows of a sensor and a stage come to."""
    real = chosen(sensor, stage, half)
    sets = [
        [w for w in _invented(sensor, first, len(seeds), jobs) if w.stage == stage]
        for first in range(seeds.start, seeds.start + SEED_SETS * SETS_APART, SETS_APART)
    ]
    said, lines = compare(real, sets, jobs)
    return Column(f"{sensor}, {stage} stage ({len(real)} and {len(sets[0])})", said, lines)


def columns(
    half: str, seeds: range, quick: bool, jobs: int, slices: Path | None, one: bool
) -> list[Column]:
    """All columns, those of an earlier run taken from there. one: at most one new one."""
    made = []
    for sensor in SENSORS[:1] if quick else SENSORS:
        for stage in STAGES[:1] if quick else STAGES:
            kept = None
            if slices:
                name = f"{sensor}-{stage}-{half}-{seeds.start}-{len(seeds)}".replace(" ", "-")
                kept = slices / f"{name}-{stamps.digest('docs/generator.md')}.json"
                if kept.is_file():
                    made.append(Column(**json.loads(kept.read_text(encoding="utf-8"))))
                    continue
            made.append(column(sensor, stage, half, seeds, jobs))
            if kept:
                kept.parent.mkdir(parents=True, exist_ok=True)
                kept.write_text(json.dumps(asdict(made[-1]), indent=1), encoding="utf-8")
            if one:
                return made
    return made


def report(found: Sequence[Column]) -> str:
    """The tables as Markdown."""
    told: list[str] = []
    for c in found:
        name = c.head.partition(" (")[0]
        told += ["", f"{name[0].upper()}{name[1:]}, the features that tell most:", ""]
        told += [f"- {line}" for line in c.lines]
    head = ["| | " + " | ".join(c.head for c in found) + " |", "|---|" + "---|" * len(found)]
    body = [f"| {row} | " + " | ".join(c.said.get(row, "") for c in found) + " |" for row in ROWS]
    return "\n".join([*head, *body, *told])


def _put(text: str, page: Path) -> None:
    """Put the tables between their marks on the page."""
    whole = page.read_text(encoding="utf-8")
    before, rest = whole.split("<!-- numbers -->", 1)
    _, after = rest.split("<!-- /numbers -->", 1)
    page.write_text(
        f"{before}<!-- numbers -->\n\n{text}\n\n<!-- /numbers -->{after}", encoding="utf-8"
    )
    stamps.made("docs/generator.md")


def mixed(count: int, half: str, first_seed: int) -> list[Window]:
    """Half real, half invented, first and second stage, both sensors."""
    made: list[Window] = []
    rng = np.random.default_rng(first_seed)
    for k, sensor in enumerate(SENSORS):
        begin = first_seed + 1000 * k
        labours = windows.invented(sensor, range(begin, begin + count // 4))
        for stage in STAGES:
            real = chosen(sensor, stage, half)
            made += [real[n] for n in rng.permutation(len(real))[: count // 8]]
            made += [w for w in labours if w.stage == stage][: count // 8]
    return made


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--half", choices=("kept", "fitted", "all"), default="kept")
    parser.add_argument("--count", type=int, default=60, help="invented labours to a sensor")
    parser.add_argument("--quick", action="store_true", help="ultrasound, first stage, 40 labours")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--develop", action="store_true", help="seeds for developing")
    parser.add_argument("--strips", type=Path, help="draw strips into this PDF")
    parser.add_argument("--slices", type=Path, help="keep finished columns here, go on from them")
    parser.add_argument("--one", action="store_true", help="make one column, no more (--slices)")
    parser.add_argument("--docs", action="store_true", help="write docs/generator.md")
    args = parser.parse_args()
    if not windows.CTU_UHB.is_dir():
        sys.exit(f"The open recordings are not at {windows.CTU_UHB}; set EBBLINE_SHARED.")
    seed = DEVELOP_SEEDS if args.develop else LOCKED_SEEDS
    if args.strips:
        strips.draw(mixed(40, args.half, seed), args.strips, seed)
        return
    if args.one and (args.docs or not args.slices):
        sys.exit("--one makes a part: give --slices, and --docs once all parts are made.")
    seeds = range(seed, seed + (40 if args.quick else args.count))
    text = report(columns(args.half, seeds, args.quick, args.jobs, args.slices, args.one))
    print(text)
    if args.docs:
        _put(text, ROOT / "docs" / "generator.md")
        some = [w for w in mixed(16, args.half, seed) if w.stage == "first"]
        strips.picture(some, ROOT / "docs" / "generator" / "strips.png", seed)


if __name__ == "__main__":
    main()
