"""How fast an examination is reckoned: `python -m bench.exam_speed`.

Prints, for examinations of one to eleven findings drawn from the shipped words, the time of an
update (posterior and sensor map), of the whole result (cautions, contradictions, next steps by
expected information, sites), of a first call on a new abdomen, and of the commands from the
shell. Median of many calls; the time of the processor stands beside the time of the clock, since
the clock counts whatever else the machine does.
"""

from __future__ import annotations

import random
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from ebbline.bedside import ExamContext, Finding, examine, items
from ebbline.bedside.engine import posterior
from ebbline.bedside.findings_catalogue import Step
from ebbline.bedside.geometry import abdomen_for
from ebbline.bedside.sensors import site_map
from ebbline.terms import Stage

AIM_UPDATE_MS = 5.0
REPEATS = 200
CONTEXT = ExamContext(weeks=39, stage=Stage.FIRST, fundal_height_cm=35, girth_cm=102)
EBBLINE = Path(sys.executable).with_name("ebbline")
SHELL = (
    ("--help",),
    ("exam", "fundus=breech", "back=left", "brim=head", "heart=left below", "--weeks", "39"),
    ("internal", "electrode", "membranes=ruptured"),
    ("reviews", "trace=14:05", "--now", "14:40"),
)


def examinations(seed: int = 3) -> Iterator[list[Finding]]:
    """Examinations of one to eleven findings, the same each time."""
    chance = random.Random(seed)
    routine = [i for i in items().values() if i.step not in (Step.CONCLUSION, Step.SCAN)]
    while True:
        chosen = chance.sample(routine, chance.randint(1, 11))
        yield [Finding(i.name, chance.choice(i.outcomes)) for i in chosen]


def timed(task: Callable[[list[Finding]], object]) -> tuple[float, float, float]:
    """Median and 95th percentile by the clock, median by the processor, ms."""
    source = examinations()
    task(next(source))
    clock, processor = [], []
    for _ in range(REPEATS):
        found = next(source)
        began, began_cpu = time.perf_counter(), time.process_time()
        task(found)
        processor.append(time.process_time() - began_cpu)
        clock.append(time.perf_counter() - began)
    high = statistics.quantiles(clock, n=20)[-1]
    return 1000 * statistics.median(clock), 1000 * high, 1000 * statistics.median(processor)


def update(found: list[Finding]) -> object:
    return site_map(posterior(found, CONTEXT), abdomen_for(CONTEXT))


def first_call_ms() -> float:
    """An abdomen and an examiner not seen before: tables are made anew."""
    times = []
    for n in range(20):
        context = ExamContext(weeks=38, girth_cm=90 + n / 10, fundal_height_cm=34)
        began = time.perf_counter()
        examine({"back": "left"}, context)
        times.append(time.perf_counter() - began)
    return 1000 * statistics.median(times)


def shell_s(*arguments: str) -> float:
    times = []
    for _ in range(5):
        began = time.perf_counter()
        subprocess.run([EBBLINE, *arguments], check=True, capture_output=True)
        times.append(time.perf_counter() - began)
    return statistics.median(times)


def main() -> None:
    print(f"{'':38}  clock ms (median, 95 %)   processor ms")
    for name, task in (
        ("update: posterior and map", update),
        ("whole result", lambda found: examine(found, CONTEXT)),
    ):
        median, high, cpu = timed(task)
        aim = f"   aim {AIM_UPDATE_MS:g} ms" if task is update else ""
        print(f"{name:38}  {median:8.2f} {high:8.2f}        {cpu:8.2f}{aim}")
    print(f"{'whole result on a new abdomen':38}  {first_call_ms():8.2f}")
    for arguments in SHELL:
        print(f"ebbline {' '.join(arguments[:2]):30}  {shell_s(*arguments):8.2f} s from the shell")
    with tempfile.TemporaryDirectory() as folder:
        for suffix in (".svg", ".pdf", ".png"):
            target = str(Path(folder) / f"abdomen{suffix}")
            seconds = shell_s("exam", "back=left", "--picture", target)
            print(f"ebbline exam --picture {suffix:15}  {seconds:8.2f} s from the shell")


if __name__ == "__main__":
    main()
