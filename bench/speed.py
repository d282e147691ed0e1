"""How fast a recording is read: `python -m bench.speed [--recordings N]`.

Prints, for open recordings of 80 to 90 minutes (CTU-UHB, ../shared or EBBLINE_SHARED), the time
of the full analysis with all intrapartum standards as a ratio to `wfdb.rdrecord` of the same file
in the same run; the same for 24 hours (the recording laid end to end); peak memory; and the
command line from the shell, each time in a new process with the files in the system's cache.
"""

from __future__ import annotations

import argparse
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np

from ebbline.reading.analyse import read
from ebbline.recording import open_recording
from ebbline.recording.model import Recording

ROOT = Path(__file__).parents[1]
SHARED = Path(os.environ.get("EBBLINE_SHARED", ROOT.parent / "shared"))
CTU_UHB = SHARED / "data" / "ctu-uhb"
EBBLINE = Path(sys.executable).with_name("ebbline")

AIM_RATIO, AIM_READ_S, AIM_HELP_S = 5.0, 1.5, 0.3
REPEATS = 25
DAY_S = 24 * 3600.0

PEAK = """
import sys
sys.path.insert(0, {bench!r})
from bench.speed import laid_to
from ebbline.reading.analyse import read
from ebbline.recording import open_recording
recording = open_recording({path!r})
def peak():
    # Of this program alone: the system's own figure for a child begins with its parent's.
    with open("/proc/self/status") as status:
        return next(int(line.split()[1]) / 1024 for line in status if line.startswith("VmHWM"))
opened = peak()
read(recording)
once = peak()
read(laid_to(recording, {day_s}))
print(opened, once, peak())
"""


def milliseconds(task: Callable[[], object], repeats: int = REPEATS) -> float:
    """Least time of a call in ms, the first call (which warms up) left out.

    The least, because what else the machine does only ever adds to it, and adds more to a longer
    call than to a short one.
    """
    task()
    times = []
    for _ in range(repeats):
        began = time.perf_counter()
        task()
        times.append(time.perf_counter() - began)
    return 1000 * min(times)


def laid_to(recording: Recording, duration_s: float) -> Recording:
    """The recording laid end to end until it is duration_s long."""
    channels = []
    for channel in recording.channels:
        samples = np.resize(channel.samples, int(duration_s * channel.rate_hz))
        channels.append(replace(channel, samples=samples))
    context = replace(recording.context, second_stage_start_s=None)
    return replace(recording, channels=tuple(channels), context=context)


def chosen(amount: int) -> list[Path]:
    """Records of 80 to 90 minutes, spread over the archive."""
    fitting = [
        path.with_suffix("")
        for path in sorted(CTU_UHB.glob("*.hea"))
        if 80 * 60 <= open_recording(path).duration_s <= 90 * 60 + 1
    ]
    return fitting[:: max(1, len(fitting) // amount)][:amount]


def shell_s(*arguments: str, repeats: int = 7) -> float:
    """Median time in seconds of a command in a new process; it must succeed."""
    times = []
    for _ in range(repeats):
        began = time.perf_counter()
        subprocess.run([EBBLINE, *arguments], check=True, stdout=subprocess.DEVNULL)
        times.append(time.perf_counter() - began)
    return statistics.median(times)


def row(cells: Sequence[str]) -> None:
    print("".join(f"{cell:>15}" for cell in cells))


def against_wfdb(paths: Sequence[Path]) -> None:
    import wfdb

    print("Least time in ms of several calls, and as a ratio to wfdb.rdrecord of the same file")
    print("(analysis: findings, review, classes by all criteria, panel; history: the classes of")
    print("every half hour before as well)")
    row(("recording", "wfdb.rdrecord", "opening", "analysis", "ratio", "with history", "ratio"))
    ratios, with_history = [], []
    for path in paths:
        recording = open_recording(path.with_suffix(".hea"))
        reference = milliseconds(lambda p=path: wfdb.rdrecord(str(p)))  # type: ignore[misc]
        opening = milliseconds(lambda p=path: open_recording(p.with_suffix(".hea")))  # type: ignore[misc]
        analysis = milliseconds(lambda r=recording: read(r, history=False))  # type: ignore[misc]
        whole = milliseconds(lambda r=recording: read(r))  # type: ignore[misc]
        ratios.append(analysis / reference)
        with_history.append(whole / reference)
        row(
            (
                path.name,
                *(f"{value:.2f}" for value in (reference, opening, analysis)),
                f"{ratios[-1]:.1f}",
                f"{whole:.2f}",
                f"{with_history[-1]:.1f}",
            )
        )
    print(
        f"Median ratio {statistics.median(ratios):.1f} (aim: at most {AIM_RATIO:.0f}), with "
        f"history {statistics.median(with_history):.1f}\n"
    )


def growth(path: Path) -> None:
    recording = open_recording(path.with_suffix(".hea"))
    print("Growth with length (the same recording laid end to end)")
    row(("hours", "analysis ms", "ms per hour"))
    for hours in (1.5, 3.0, 6.0, 12.0, 24.0):
        long = laid_to(recording, hours * 3600.0)
        taken = milliseconds(lambda r=long: read(r), repeats=5)  # type: ignore[misc]
        row((f"{hours:.1f}", f"{taken:.1f}", f"{taken / hours:.2f}"))
    print()


def memory(path: Path) -> None:
    code = PEAK.format(bench=str(ROOT), path=str(path.with_suffix(".hea")), day_s=DAY_S)
    done = subprocess.run([sys.executable, "-c", code], check=True, capture_output=True, text=True)
    opened, once, day = map(float, done.stdout.split())
    print(
        f"Peak memory of a process: {opened:.0f} MB with the recording open, {once:.0f} MB after "
        f"its analysis, {day:.0f} MB after 24 h\n"
    )


def shell(path: Path) -> None:
    record = str(path.with_suffix(".hea"))
    print("From the shell, median of new processes")
    print(f"  ebbline --help        {shell_s('--help'):.2f} s (aim: under {AIM_HELP_S} s)")
    print(f"  ebbline read          {shell_s('read', record):.2f} s (aim: under {AIM_READ_S} s)")
    drawn = ROOT / "out" / "speed.pdf"
    drawn.parent.mkdir(exist_ok=True)
    with_picture = shell_s("read", record, "--picture", str(drawn))
    print(f"  ... with a PDF strip  {with_picture:.2f} s")


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--recordings", type=int, default=9, help="how many (default 9)")
    asked = parser.parse_args()
    if not CTU_UHB.is_dir():
        sys.exit(f"The recordings are not at {CTU_UHB}; name their folder with EBBLINE_SHARED.")
    paths = chosen(asked.recordings)
    against_wfdb(paths)
    growth(paths[0])
    memory(paths[0])
    shell(paths[0])


if __name__ == "__main__":
    main()
