"""How many small faults the tests notice.

    python -m bench.mutation                      # a sample of every area
    python -m bench.mutation scoring --sample 0   # every mutant of one area
    python -m bench.mutation criteria --only "figo.py::"   # those whose name holds a text

A mutant is one changed expression (operators.py). It is killed when one of the tests that reach
its line fails; a time limit that is passed counts as a survivor, and so does a mutant that no
test reaches. Compiled loops are judged by what tests assert of the function that they are compiled
from, where that is quick, and else compiled anew. Survivors are listed; the reason why one is
harmless stands in harmless.yaml under its name, and one without a reason is a test that is missing.
The sample is drawn by --seed; the last line has the share killed. The end is 1 when an area kills
less than 90 % or a survivor has no reason.
"""

from __future__ import annotations

import argparse
import math
import pickle
import random
import re
import sys
import tempfile
import time
from collections.abc import Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from pathlib import Path
from typing import cast

import coverage
import yaml

from bench.mutation.child import PLAIN_S, ROOT, preload, run, run_apart
from bench.mutation.operators import PACKAGE, Mutant, mutants
from bench.mutation.session import Forking, Judgement
from bench.mutation.session import run as session

WANTED = 0.9


@dataclass(frozen=True)
class Area:
    """Modules that are mutated (patterns below src/ebbline), and the tests that must notice.

    of_kernels: where those lie that are run with loops uncompiled, too: coverage cannot see into
    compiled ones.
    """

    modules: tuple[str, ...]
    tests: tuple[str, ...]
    of_kernels: tuple[str, ...] = ()

    def paths(self) -> list[Path]:
        """The modules' files."""
        return sorted({p for pattern in self.modules for p in PACKAGE.glob(pattern)})

    def test_files(self) -> list[Path]:
        """The files of tests."""
        said = [ROOT / name for name in self.tests]
        return [f for s in said for f in ([s] if s.is_file() else sorted(s.glob("test_*.py")))]


AREAS = {
    "criteria": Area(
        (
            "criteria/rules/*.py",
            "criteria/tables/*.py",
            "criteria/classification_builder.py",
            "criteria/limits.py",
            "criteria/rule.py",
            "criteria/variability_runs.py",
            "criteria/window_*.py",
        ),
        (
            "tests/criteria/test_standards.py",
            "tests/criteria/test_thresholds.py",
            "tests/criteria/test_tables.py",
            "tests/criteria/test_refusal.py",
            "tests/criteria/test_window.py",
            "tests/criteria/test_biting.py",
            "tests/criteria/test_borders.py",
            "tests/criteria/test_reasons.py",
            "tests/criteria/test_minutes_counted_by_hand.py",
            "tests/criteria/test_what_is_said.py",
            "tests/criteria/test_against_a_plain_statement.py",
            "tests/criteria/test_level_falls.py",
            "tests/criteria/test_lost_signal.py",
            "tests/criteria/test_registration.py",
            "tests/criteria/test_window_borders.py",
        ),
    ),
    "panel": Area(
        ("criteria/panel*.py",),
        (
            "tests/criteria/test_panel_numbers.py",
            "tests/criteria/test_panel.py",
            "tests/criteria/test_panel_features.py",
        ),
    ),
    # What the criteria ask of the events of a window is claimed by their tests.
    "features": Area(
        ("features/*.py",),
        (
            "tests/features",
            "tests/criteria/test_against_a_plain_statement.py",
            "tests/criteria/test_window.py",
            "tests/criteria/test_biting.py",
            "tests/criteria/test_refusal.py",
            "tests/criteria/test_standards.py",
        ),
        of_kernels=(
            "tests/features/test_kernels_against_numpy.py",
            "tests/features/test_measured_shapes.py",
            "tests/features/test_excursions_stated_plainly.py",
            "tests/features/test_events_stated_plainly.py",
            "tests/features/test_steps_stated_plainly.py",
            "tests/features/test_hills_stated_plainly.py",
            "tests/features/test_levels_stated_plainly.py",
        ),
    ),
    "likelihood": Area(
        ("bedside/likelihood*.py",),
        (
            "tests/bedside/test_shares_by_state.py",
            "tests/bedside/test_properties.py",
            "tests/bedside/test_fontanelles.py",
            "tests/bedside/test_handbook_cases.py",
            "tests/bedside/test_expert_cases.py",
            "tests/bedside/test_rates.py",
            "tests/bedside/test_twins.py",
            "tests/bedside/test_calibration.py",
        ),
    ),
    "scoring": Area(
        ("teach/scoring.py", "teach/grading.py"),
        (
            "tests/teach/test_scoring.py",
            "tests/teach/test_points_as_stated.py",
            "tests/teach/test_encounter.py",
        ),
    ),
}
NOT_HERE = ("-m", "not browser")
SLOWEST_S = 20.0
"""A test longer than this is left to the suite: one mutant must not wait for it."""


class Lines:
    """Which tests reach which line of which file."""

    def __init__(self) -> None:
        self._tests: dict[str, dict[int, set[str]]] = {}

    def add(self, data: Path) -> None:
        """What coverage has kept, test by test."""
        found = coverage.CoverageData(str(data))
        found.read()
        for path in found.measured_files():
            lines = self._tests.setdefault(path, {})
            for line, contexts in found.contexts_by_lineno(path).items():
                lines.setdefault(line, set()).update(c.partition("|")[0] for c in contexts if c)

    def of(self, mutant: Mutant) -> set[str]:
        """Tests that reach a mutant: its line, or where a name that its module gives is used."""
        if mutant.function != "module":
            return set(self._tests.get(str(mutant.file), {}).get(mutant.line, ()))
        found: set[str] = set()
        for name in mutant.given:
            word = re.compile(rf"\b{re.escape(name)}\b")
            for path, lines in self._tests.items():
                source = Path(path).read_text(encoding="utf-8").splitlines()
                found.update(*(lines.get(n, ()) for n, s in enumerate(source, 1) if word.search(s)))
        return found

    def of_module(self, mutant: Mutant) -> set[str]:
        """Tests that reach anything of a mutant's module."""
        return set().union(*self._tests.get(str(mutant.file), {}).values())


class Reach:
    """Which tests reach which line, and how long each takes; at first of no test."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}
        self._lines = Lines()
        self._plain_seconds: dict[str, float] = {}
        self._plain_lines = Lines()
        self._measured: dict[str, int] = {}

    def measure(self, area: Area, limit_s: float) -> None:
        """Run the test files of an area that are new or have changed since they were measured.

        Those of loops once more with the loops uncompiled, where coverage can see into them.
        """
        stale = [f for f in area.test_files() if self._measured.get(str(f)) != f.stat().st_mtime_ns]
        loops = [f for f in stale if str(f.relative_to(ROOT)).startswith(area.of_kernels)]
        for files, seconds, lines, compiled in (
            (stale, self.seconds, self._lines, True),
            (loops if area.of_kernels else [], self._plain_seconds, self._plain_lines, False),
        ):
            if not files:
                continue
            with tempfile.TemporaryDirectory() as made:
                data = Path(made) / "reach"
                settings = Path(made) / "settings"
                settings.write_text(f"[run]\ndata_file = {data}\n", encoding="utf-8")
                words = [*map(str, files), *NOT_HERE, "--cov=ebbline", "--cov-context=test"]
                words += ["--cov-report=", f"--cov-config={settings}"]
                each_s = math.inf if compiled else PLAIN_S
                how, watch = run(words, limit_s, compiled=compiled, each_s=each_s)
                if how == "time" or (compiled and how != "passed"):
                    raise SystemExit(f"without any change the tests do not pass: {how} "
                                     f"{watch.failed}")  # fmt: skip
                seconds.update(watch.seconds)
                lines.add(data)
        self._measured.update({str(f): f.stat().st_mtime_ns for f in stale})

    def tests(self, mutant: Mutant, compiled: bool, budget_s: float) -> list[str]:
        """Tests for a mutant: those that reach it, quick ones first, within a budget.

        Uncompiled: for what lies in a module with loops. Compiled, what lies in a loop is not seen:
        those that reach its module count for it. What no line is known for: every test.
        """
        if not compiled:
            chosen = self._plain_lines.of(mutant) if mutant.is_beside_kernels else set()
            return self._quick_first(chosen, self._plain_seconds, budget_s)
        chosen = self._lines.of_module(mutant) if mutant.in_kernel else self._lines.of(mutant)
        found = self._quick_first(chosen, self.seconds, budget_s)
        if not found or mutant.function == "module":
            found += self._quick_first(self.seconds.keys() - chosen, self.seconds, budget_s)
        return found

    @staticmethod
    def _quick_first(
        chosen: AbstractSet[str], seconds: dict[str, float], budget_s: float
    ) -> list[str]:
        within, spent = [], 0.0
        for test in sorted(chosen & seconds.keys(), key=seconds.__getitem__):
            spent += seconds[test]
            if seconds[test] > SLOWEST_S or spent > budget_s:
                break
            within.append(test)
        return within


def judged_alone(mutant: Mutant, reach: Reach, limit_s: float) -> Judgement:
    """A fault that cannot be put into what is loaded: its tests in a process of their own."""
    tests = reach.tests(mutant, True, limit_s)
    change = (mutant.module, mutant.file, mutant.tree)
    how, failed = run_apart([*tests, "-x"], limit_s, change, compiled=not mutant.is_beside_kernels)
    name = {"passed": "survived", "failed": "killed", "time": "time"}[how]
    return Judgement(mutant, name, failed)


def sampled(area: Area, count: int, seed: int, only: str) -> list[Mutant]:
    """Mutants of an area: all with a text in their name, then a sample (0 for all)."""
    found = [
        m
        for path in area.paths()
        for m in mutants(path.read_text(encoding="utf-8"), str(path.relative_to(PACKAGE)))
        if only in m.name
    ]
    return random.Random(seed).sample(found, min(count, len(found)) if count else len(found))


def run_area(name: str, args: argparse.Namespace, harmless: dict[str, str]) -> bool:
    """Run one area and print it. True when it is good enough."""
    area = AREAS[name]
    reach = _reach(name, args)
    began = time.monotonic()
    chosen = sampled(area, args.sample, args.seed, args.only)

    def tell(one: Judgement) -> None:
        if args.verbose:
            m = one.mutant
            line = f"  {one.how:11} {one.seconds:5.1f} s {m.line:4} {m.name}  {one.by}"
            print(line, file=sys.stderr, flush=True)

    plugin = Forking(
        chosen,
        lambda mutant, compiled: reach.tests(mutant, compiled, args.limit),
        args.limit,
        began + args.area_limit,
        args.workers,
        tell,
    )
    session(area.tests, plugin)
    judged = []
    for one in plugin.judged:
        # What else was made of a module's value at import is not seen in a loaded process.
        again = one.how == "elsewhere" or (
            one.how == "survived"
            and one.mutant.function == "module"
            and not one.mutant.is_beside_kernels
        )
        if again and time.monotonic() - began > args.area_limit:
            continue
        judged.append(judged_alone(one.mutant, reach, args.limit) if again else one)
        if again:
            tell(judged[-1])
    counts: dict[str, int] = {}
    for one in judged:
        counts[one.how] = counts.get(one.how, 0) + 1
    alive = [(one.mutant, one.how) for one in judged if one.how != "killed"]
    done = sum(counts.values())
    killed = counts.get("killed", 0)
    excused = sum(1 for m, _ in alive if m.name in harmless)
    share = killed / done if done else 0.0
    of_harmful = killed / (done - excused) if done > excused else 0.0
    print(f"## {name}: {killed} of {done} killed ({share:.0%}); "
          f"{of_harmful:.0%} of those that are not harmless\n")  # fmt: skip
    others = ", ".join(f"{how} {n}" for how, n in sorted(counts.items()) if how != "killed")
    left = f"; {len(chosen) - done} of the sample not run in the time" if done < len(chosen) else ""
    print(f"Seed {args.seed}, {len(reach.seconds)} tests; {others or 'no survivors'}{left}.\n")
    for mutant, how in sorted(alive, key=lambda pair: pair[0].name):
        reason = harmless.get(mutant.name, "NO REASON: a test is missing")
        print(f"- `{mutant.name}` (line {mutant.line}, {how}): {reason}")
    print(flush=True)
    return share >= WANTED and excused == len(alive)


def _reach(name: str, args: argparse.Namespace) -> Reach:
    """Which tests reach what: measured, or as measured in an earlier run (--reach)."""
    kept = args.reach / f"{name}.pickle" if args.reach else None
    reach = Reach()
    if kept is not None and kept.is_file():
        reach = cast(Reach, pickle.loads(kept.read_bytes()))
    reach.measure(AREAS[name], args.baseline_limit)
    if kept is not None:
        args.reach.mkdir(parents=True, exist_ok=True)
        kept.write_bytes(pickle.dumps(reach))
    return reach


def gone(harmless: dict[str, str]) -> list[str]:
    """Names in harmless.yaml of faults that can no longer be made: the code has changed."""
    made: set[str] = set()
    for path in {name.split("::")[0] for name in harmless}:
        if (PACKAGE / path).is_file():
            source = (PACKAGE / path).read_text(encoding="utf-8")
            made |= {one.name for one in mutants(source, path)}
    return [name for name in harmless if name not in made]


def main(words: Sequence[str] | None = None) -> int:
    parser = argparse.ArgumentParser(prog="python -m bench.mutation", description=__doc__)
    parser.add_argument("areas", nargs="*", choices=[*AREAS, []], help="all when none is named")
    parser.add_argument("--sample", type=int, default=60, help="mutants of each area; 0 for all")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--only", default="", help="only mutants whose name holds this text")
    parser.add_argument("--limit", type=float, default=90.0, help="processor seconds for one")
    parser.add_argument("--area-limit", type=float, default=1800.0, help="seconds for one area")
    parser.add_argument("--baseline-limit", type=float, default=900.0)
    parser.add_argument(
        "--reach", type=Path, help="folder: keep which tests reach what, and use what is kept"
    )
    parser.add_argument("--workers", type=int, default=2, help="mutants at a time")
    parser.add_argument("--verbose", action="store_true", help="each mutant as it is judged")
    args = parser.parse_args(words)
    told = yaml.safe_load((Path(__file__).parent / "harmless.yaml").read_text(encoding="utf-8"))
    left = gone(told)
    for name in left:
        print(f"harmless.yaml: no such fault any more: {name}", file=sys.stderr)
    preload()
    good = [run_area(name, args, told) for name in args.areas or AREAS]
    return 0 if all(good) and not left else 1


if __name__ == "__main__":
    sys.exit(main())
