"""How much faster two processes read many recordings than one (`ebbline.read_many`).

    python -m bench.read_many [--count 60] [--rounds 3]

Reads the same open recordings (EBBLINE_SHARED) with one and with two processes, in turn, each in a
fresh interpreter so that neither finds the other's work done. Printed: the median of the wall clock
of each, their ratio, and how busy the machine was with others: on a loaded one the ratio says
little. Both must give the same classes, or it ends with 1.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
from pathlib import Path

SHARED = Path(os.environ.get("EBBLINE_SHARED", Path(__file__).parents[2] / "shared"))
ONCE = """
import hashlib, sys, time
import ebbline
jobs, paths = int(sys.argv[1]), sys.argv[2:]
import ebbline.front_door
began = time.perf_counter()
found = ebbline.read_many(paths, jobs=jobs)
took = time.perf_counter() - began
classes = found.classes[["source", "fetus", "standard", "label"]].to_csv()
print(took, hashlib.sha256(classes.encode()).hexdigest(), len(found.errors))
"""


def once(jobs: int, paths: list[str]) -> tuple[float, str]:
    """Seconds and a hash of the classes."""
    done = subprocess.run(
        [sys.executable, "-c", ONCE, str(jobs), *paths], capture_output=True, text=True, check=True
    )
    took, classes, _ = done.stdout.split()
    return float(took), classes


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--count", type=int, default=60)
    parser.add_argument("--rounds", type=int, default=3)
    asked = parser.parse_args()
    paths = sorted(map(str, (SHARED / "data" / "ctu-uhb").rglob("*.hea")))[: asked.count]
    if not paths:
        sys.exit(f"no recordings below {SHARED}: set EBBLINE_SHARED")
    once(1, paths[:1])
    took: dict[int, list[float]] = {1: [], 2: []}
    classes = set()
    for _ in range(asked.rounds):
        for jobs, kept in took.items():
            seconds, found = once(jobs, paths)
            kept.append(seconds)
            classes.add(found)
    one, two = (statistics.median(took[jobs]) for jobs in (1, 2))
    print(
        f"{len(paths)} recordings: one process {one:.1f} s, two {two:.1f} s, {one / two:.2f} times"
    )
    ratio = max(a / b for a, b in zip(took[1], took[2], strict=True))
    load = f"load {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
    print(f"best of {asked.rounds} rounds {ratio:.2f} times; {load}")
    return 0 if len(classes) == 1 else 1


if __name__ == "__main__":
    sys.exit(main())
