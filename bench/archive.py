"""Whole archives: how fast, in how much memory, and what killed workers change.

    python -m bench.archive                       the open recordings: a core, 1 and 2 workers
    python -m bench.archive --memory 20000        an archive of so many invented recordings
    python -m bench.archive --kills 20            workers killed in the middle, tables compared

Ends with 1 where a recording failed, tables differ, or memory went over its aim; not for being
slow, since other programs change that. The recordings of CTU-UHB are read where they lie
(EBBLINE_SHARED, or ../shared).
"""

from __future__ import annotations

import argparse
import os
import random
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

import psutil
import pyarrow.parquet as pq

from ebbline.cohort.run import Progress, run_archive
from ebbline.cohort.schema import TABLES
from ebbline.cohort.sources import find_sources
from ebbline.cohort.work import read_batch
from ebbline.features import detect
from ebbline.reading.analyse import ALL_STANDARDS
from ebbline.recording import open_recording, save_recording
from ebbline.synth import Story, invent

ROOT = Path(__file__).parents[1]
SHARED = Path(os.environ.get("EBBLINE_SHARED", ROOT.parent / "shared"))
OPEN_RECORDINGS = str(SHARED / "data" / "ctu-uhb" / "*.hea")

AIM_WHOLE_S, AIM_TIMES_REAL, AIM_MEMORY_GB = 10.0, 200_000.0, 2.0
SEED = 70_000
DIFFERENT = 40
"""Invented recordings that differ; more are the same files under other names."""


def one_core() -> bool:
    """Processor time of this process alone, which other programs do not change much."""
    sources = find_sources(OPEN_RECORDINGS)
    read_batch(sources[:3], ALL_STANDARDS)
    recordings = [open_recording(one.address.removeprefix("file://")) for one in sources]
    hours = sum(one.duration_s for one in recordings) / 3600
    began = time.process_time()
    for one in recordings:
        detect(one)
    detected = time.process_time() - began
    began = time.process_time()
    tables = read_batch(sources, ALL_STANDARDS)
    taken = time.process_time() - began
    failed = tables["failures"].to_pylist()
    print(f"{len(sources)} recordings, {hours:.0f} hours; processor time of one core:")
    print(
        f"  findings alone: {hours / detected:.0f} hours a second, "
        f"{3600 * hours / detected:,.0f} times real time (aim {AIM_TIMES_REAL:,.0f})"
    )
    print(
        f"  opened, found, every half hour classed by three standards, rows made: "
        f"{hours / taken:.0f} hours a second, {3600 * hours / taken:,.0f} times real time"
    )
    for one in failed:
        print(f"  {one['recording']} failed: {one['what']}")
    return not failed


def whole(workers: int) -> bool:
    """The command itself, from its start to its end."""
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / "out"
        load = os.getloadavg()[0]
        taken, again = (command(out, workers) for _ in range(2))
        failed = pq.read_metadata(out / "failures.parquet").num_rows
        read = pq.read_metadata(out / "recordings.parquet").num_rows
    print(
        f"{read} recordings read, {failed} failed, {workers} workers: {taken:.1f} s (aim "
        f"{AIM_WHOLE_S:.0f} with 2); again with nothing changed {again:.1f} s; machine's load "
        f"before {load:.1f}"
    )
    return not failed


def command(out: Path, workers: int) -> float:
    """Seconds that `ebbline archive` takes."""
    began = time.perf_counter()
    subprocess.run(
        [
            *(sys.executable, "-m", "ebbline", "archive", OPEN_RECORDINGS),
            *("--out", str(out), "--workers", str(workers)),
        ],
        check=True,
        capture_output=True,
    )
    return time.perf_counter() - began


@contextmanager
def peak_memory() -> Iterator[list[float]]:
    """Largest memory (GB) of this process and its children together; shared pages count once."""
    most = [0.0]
    stop = threading.Event()

    def watch() -> None:
        me = psutil.Process()
        while not stop.wait(0.5):
            held = 0
            for one in (me, *me.children(recursive=True)):
                with suppress(psutil.Error):
                    info = one.memory_full_info()
                    # Without shares (not every kernel tells them) shared pages count each time.
                    held += info.pss or info.rss
            most[0] = max(most[0], held / 1e9)

    thread = threading.Thread(target=watch, daemon=True)
    thread.start()
    yield most
    stop.set()
    thread.join()


def memory(count: int) -> bool:
    with tempfile.TemporaryDirectory() as place:
        folder = Path(place) / "archive"
        folder.mkdir()
        for n in range(min(count, DIFFERENT)):
            words = ("accelerations", "recurrent late", "recurrent variable")[n % 3]
            labour = invent(Story.from_words(f"39 weeks, {words}, 62 minutes"), seed=SEED + n)
            save_recording(labour.recording, folder / f"r{n:06d}.csv")
        for n in range(DIFFERENT, count):
            os.link(folder / f"r{n % DIFFERENT:06d}.csv", folder / f"r{n:06d}.csv")
        began = time.perf_counter()
        with peak_memory() as most:
            done = run_archive(str(folder), Path(place) / "out", progress=told(60))
        taken = time.perf_counter() - began
    print(
        f"{done.recordings} invented recordings of an hour (CSV): {taken:.0f} s, "
        f"{most[0]:.2f} GB at most, all processes together (aim {AIM_MEMORY_GB:.0f} GB); "
        f"{done.failed} could not be read"
    )
    return not done.failed and done.recordings == count and 0 < most[0] <= AIM_MEMORY_GB


def told(every_s: float) -> Progress:
    """Says on stderr how far it is, now and then."""
    last = [time.perf_counter()]

    def tell(done: int, of: int) -> None:
        if time.perf_counter() - last[0] >= every_s:
            last[0] = time.perf_counter()
            print(f"  {done} of {of}", file=sys.stderr, flush=True)

    return tell


class Killer:
    """Kills a worker after a batch has come, at some moment of the next; never faster than that.

    So no task is killed again and again on a slow computer, where it would rightly be given up.
    """

    def __init__(self, wanted: int, seed: int) -> None:
        self.wanted, self.killed = wanted, 0
        self._random = random.Random(seed)
        self._come = threading.Event()
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._run, daemon=True)

    def __enter__(self) -> Killer:
        self._thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        self._come.set()
        self._thread.join()

    def told(self, done: int, of: int) -> None:
        if 0 < done < of:
            self._come.set()

    def _run(self) -> None:
        while not self._stop.is_set() and self.killed < self.wanted:
            self._come.wait()
            self._come.clear()
            if self._stop.wait(self._random.uniform(0.0, 0.5)):
                return
            workers = worker_pids()
            if workers:
                with suppress(ProcessLookupError):
                    os.kill(self._random.choice(workers), signal.SIGKILL)
                    self.killed += 1


def worker_pids() -> list[int]:
    """The workers here: forked from the process that is loaded for them, or begun alone."""
    found = []
    for one in psutil.Process().children(recursive=True):
        with suppress(psutil.Error):
            said = " ".join(one.cmdline())
            forked = "forkserver" in said and one.ppid() != os.getpid()
            if forked or "spawn_main" in said:
                found.append(one.pid)
    return found


def kills(times: int) -> bool:
    """The tables of runs whose workers are killed, against those of a quiet run."""
    killed, runs, same = 0, 0, True
    with tempfile.TemporaryDirectory() as place:
        quiet = Path(place) / "quiet"
        failed = run_archive(OPEN_RECORDINGS, quiet).failed
        while killed < times and runs < times:
            out = Path(place) / f"killed-{runs}"
            with Killer(times - killed, seed=SEED + runs) as killer:
                run_archive(OPEN_RECORDINGS, out, progress=killer.told)
            killed += killer.killed
            runs += 1
            same &= all(
                pq.read_table(quiet / f"{one.name}.parquet").equals(
                    pq.read_table(out / f"{one.name}.parquet")
                )
                for one in TABLES
            )
    print(
        f"{killed} of {times} workers killed in {runs} runs: tables "
        f"{'the same' if same else 'DIFFER'}; {failed} could not be read"
    )
    return same and killed == times and not failed


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--memory", type=int, default=0, help="invented recordings to read")
    parser.add_argument("--kills", type=int, default=0, help="workers to kill")
    asked = parser.parse_args()
    if asked.memory:
        sound = memory(asked.memory)
    elif asked.kills:
        sound = kills(asked.kills)
    else:
        sound = one_core() & whole(1) & whole(2)
    return 0 if sound else 1


if __name__ == "__main__":
    sys.exit(main())
