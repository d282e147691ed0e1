"""How large a machine a ward needs: so many people at once, measured and printed.

    python -m bench.users [--users 20] [--seconds 40]

Each user opens a recording of their own (invented), then again and again one of what people open:
strip, reading, findings, samples, report, examination, the first page, a second apart, a
busy ward. Printed: the server's peak memory, how long answers took, and how many there
were. Answers other than 200 end it with 1.
"""

from __future__ import annotations

import argparse
import random
import statistics
import subprocess
import sys
import tempfile
import threading
import time
import urllib.error
import urllib.request
from pathlib import Path

from ebbline.web.app import create_app
from ebbline.web.recordings.demo_cases import CASES, invented_recording
from ebbline.web.settings import Settings

START = [sys.executable, "-m", "ebbline", "serve", "--port", "0", "--store"]
PAUSE_S = 1.0
PAGES = (
    *("/", "/examination", "{}", "{}/panel", "{}/report"),
    *("/api{}/reading", "/api{}/findings", "/api{}/channels/0/samples"),
)


def opened(store: Path, users: int) -> list[str]:
    """A recording for each user."""
    library = create_app(Settings(store=store)).state.library
    names = [case.key for case in CASES]
    return [
        library.add(invented_recording(names[n % len(names)]), by=f"user {n}", invented=True).id
        for n in range(users)
    ]


def peak_mb(pid: int) -> float:
    """The most memory a process ever had (Linux: VmHWM)."""
    for line in Path(f"/proc/{pid}/status").read_text().splitlines():
        if line.startswith("VmHWM"):
            return int(line.split()[1]) / 1024
    return float("nan")


def main() -> int:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--users", type=int, default=20)
    parser.add_argument("--seconds", type=float, default=40.0)
    asked = parser.parse_args()
    took: list[float] = []
    wrong: list[str] = []
    with tempfile.TemporaryDirectory() as folder:
        store = Path(folder) / "w.sqlite"
        keys = opened(store, asked.users)
        server = subprocess.Popen([*START, str(store)], stdout=subprocess.PIPE, text=True)
        try:
            assert server.stdout is not None
            base = server.stdout.readline().split()[-1].rstrip("/")
            until = time.monotonic() + asked.seconds

            def user(number: int) -> None:
                chance = random.Random(number)
                pages = [page.format(f"/recordings/{keys[number]}") for page in PAGES]
                while time.monotonic() < until:
                    page = chance.choice(pages)
                    began = time.monotonic()
                    try:
                        with urllib.request.urlopen(base + page, timeout=60) as answer:
                            answer.read()
                    except (urllib.error.URLError, OSError) as error:
                        wrong.append(f"{page.replace(keys[number], 'KEY')}: {error}")
                    took.append(time.monotonic() - began)
                    time.sleep(PAUSE_S)

            people = [threading.Thread(target=user, args=(n,)) for n in range(asked.users)]
            for one in people:
                one.start()
            for one in people:
                one.join()
            memory = peak_mb(server.pid)
        finally:
            server.terminate()
            server.wait(20)
    took.sort()
    print(f"{asked.users} users for {asked.seconds:.0f} s: {len(took)} answers, {len(wrong)} wrong")
    print(f"peak memory of the server {memory:.0f} MB")
    print(
        f"an answer took {1000 * statistics.median(took):.0f} ms in the middle, "
        f"{1000 * took[int(0.95 * len(took))]:.0f} ms for 95 of 100"
    )
    for one in sorted(set(wrong))[:5]:
        print(f"wrong: {one}")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
