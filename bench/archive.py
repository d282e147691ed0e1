"""Whole archives: how fast, in how much memory, and what killed workers change.

    python -m bench.archive                       the open recordings: a core, 1 and 2 workers
    python -m bench.archive --memory 20000        an archive of so many invented recordings
    python -m bench.archive --kills 20            workers killed in the middle, tables compared

The recordings of CTU-UHB are read where they lie (EBBLINE_SHARED, or ../shared).
"""

from __future__ import annotations

import argparse
import os
import signal
import tempfile
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import psutil
import pyarrow.parquet as pq

from ebbline.cohort.run import run_archive
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


def one_core() -> None:
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
    read_batch(sources, ALL_STANDARDS)
    taken = time.process_time() - began
    print(f"{len(sources)} recordings, {hours:.0f} hours; processor time of one core:")
    print(
        f"  findings alone: {hours / detected:.0f} hours a second, "
        f"{3600 * hours / detected:,.0f} times real time (aim {AIM_TIMES_REAL:,.0f})"
    )
    print(
        f"  opened, found, every half hour classed by three standards, rows made: "
        f"{hours / taken:.0f} hours a second, {3600 * hours / taken:,.0f} times real time"
    )


def whole(workers: int) -> None:
    """From the command to the tables."""
    with tempfile.TemporaryDirectory() as folder:
        began = time.perf_counter()
        done = run_archive(OPEN_RECORDINGS, Path(folder) / "out", workers=workers)
        taken = time.perf_counter() - began
        began = time.perf_counter()
        run_archive(OPEN_RECORDINGS, Path(folder) / "out", workers=workers)
        again = time.perf_counter() - began
    load = os.getloadavg()[0]
    print(
        f"{done.recordings} recordings, {workers} workers: {taken:.1f} s (aim {AIM_WHOLE_S:.0f} "
        f"with 2); again with nothing changed {again:.1f} s; machine's load {load:.1f}"
    )


@contextmanager
def peak_memory() -> Iterator[list[float]]:
    """Largest memory (GB, unshared) of this process and its children together."""
    most = [0.0]
    stop = threading.Event()

    def watch() -> None:
        me = psutil.Process()
        while not stop.wait(0.5):
            held = 0
            for one in (me, *me.children(recursive=True)):
                try:
                    held += one.memory_full_info().uss
                except psutil.Error:
                    continue
            most[0] = max(most[0], held / 1e9)

    thread = threading.Thread(target=watch, daemon=True)
    thread.start()
    yield most
    stop.set()
    thread.join()


def memory(count: int) -> None:
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
            done = run_archive(str(folder), Path(place) / "out")
        taken = time.perf_counter() - began
    print(
        f"{done.recordings} invented recordings of an hour (CSV): {taken:.0f} s, "
        f"{most[0]:.2f} GB at most, all processes together (aim {AIM_MEMORY_GB:.0f} GB)"
    )


def kills(times: int) -> None:
    """The tables of a run whose workers are killed, against those of a quiet run."""
    with tempfile.TemporaryDirectory() as place:
        quiet, killed = Path(place) / "quiet", Path(place) / "killed"
        run_archive(OPEN_RECORDINGS, quiet)
        count = [0]
        stop = threading.Event()

        def kill() -> None:
            while not stop.wait(1.5) and count[0] < times:
                for one in psutil.Process().children(recursive=True):
                    if "spawn_main" in " ".join(one.cmdline()):
                        os.kill(one.pid, signal.SIGKILL)
                        count[0] += 1
                        break

        thread = threading.Thread(target=kill, daemon=True)
        thread.start()
        run_archive(OPEN_RECORDINGS, killed)
        stop.set()
        thread.join()
        same = all(
            pq.read_table(quiet / f"{one.name}.parquet").equals(
                pq.read_table(killed / f"{one.name}.parquet")
            )
            for one in TABLES
        )
    print(f"{count[0]} workers killed: tables {'the same' if same else 'DIFFER'}")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--memory", type=int, default=0, help="invented recordings to read")
    parser.add_argument("--kills", type=int, default=0, help="workers to kill")
    asked = parser.parse_args()
    if asked.memory:
        memory(asked.memory)
    elif asked.kills:
        kills(asked.kills)
    else:
        one_core()
        whole(1)
        whole(2)


if __name__ == "__main__":
    main()
