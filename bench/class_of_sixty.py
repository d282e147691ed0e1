"""A class of sixty at once: every learner plays a whole case against a local server on two cores.

    python -m bench.class_of_sixty [--learners 60] [--think 0.5] [--minutes 5]

The server is `ebbline`'s own, with accounts, in a process of its own bound to two cores. Each
learner signs in, feels, listens, lays the sensors, lets the labour go on, fetches the strip,
reads, chooses, tells, finishes and opens the debrief; between steps a learner thinks for a time
drawn from an exponential distribution (mean --think seconds; 0 is a stampede). Printed as
measured: latencies of each kind of request, failures, time and CPU of the server. Ends with 1 if
anything failed or the time ran out.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import random
import re
import socket
import subprocess
import sys
import tempfile
import time
from collections import defaultdict
from pathlib import Path

import httpx
import numpy as np

CASE = "a-whole-evening-shift"
PASSWORD = "three quiet words"
CORES = 2
SERVER = """
import os, sys
from pathlib import Path
if hasattr(os, "sched_setaffinity"):
    os.sched_setaffinity(0, set(sorted(os.sched_getaffinity(0))[:int(sys.argv[3])]))
import uvicorn
from ebbline.web.app import create_app
from ebbline.web.principal import Role
from ebbline.web.settings import Settings
app = create_app(Settings(store=Path(sys.argv[1]), accounts=True), warm=True)
for number in range(int(sys.argv[4])):
    app.state.accounts.add(f"learner {number:02d}", Role.READER, "three quiet words")
print("ready", flush=True)
uvicorn.run(app, host="127.0.0.1", port=int(sys.argv[2]), log_level="warning")
"""


class Learner:
    """One learner at a browser: keeps cookies and the page's token, and times every request."""

    def __init__(self, number: int, address: str, think: float, times: dict[str, list[float]]):
        self.name = f"learner {number:02d}"
        self.chance = random.Random(number)
        self.think = think
        self.times = times
        self.failures: list[str] = []
        limits = httpx.Limits(max_connections=2)
        self.client = httpx.AsyncClient(base_url=address, timeout=60, limits=limits)

    async def request(self, kind: str, method: str, path: str, **more: object) -> httpx.Response:
        begun = time.perf_counter()
        answer = await self.client.request(method, path, **more)  # type: ignore[arg-type]
        self.times[kind].append(1000 * (time.perf_counter() - begun))
        if answer.status_code >= 400:
            self.failures.append(f"{self.name}: {method} {path} {answer.status_code}")
        if found := re.search(r'name="csrf-token" content="(\w+)"', answer.text[:2000]):
            self.client.headers["x-csrf-token"] = found[1]
        return answer

    async def step(self, kind: str, **data: object) -> dict[str, object]:
        if self.think:
            await asyncio.sleep(self.chance.expovariate(1 / self.think))
        path = f"/api/teach/attempts/{self.key}/steps"
        answer = await self.request(kind, "POST", path, json=data)
        return dict(answer.json())

    async def strip(self, state: dict[str, object]) -> None:
        for trace in state.get("traces", ()):  # type: ignore[attr-defined]
            await self.request("strip samples", "GET", trace["samples_href"])

    async def play(self) -> None:
        await self.request("page", "GET", "/sign-in")
        form = {"name": self.name, "password": PASSWORD}
        await self.request("sign in", "POST", "/sign-in", data=form)
        await self.request("page of cases", "GET", "/teach")
        begun = await self.request("begin", "POST", "/teach/begin", data={"case": CASE})
        self.key = begun.headers["location"].rsplit("/", 1)[1]
        await self.request("page of the case", "GET", f"/teach/attempts/{self.key}")
        for grip, zone in (
            ("look", "fundus"), ("first grip", "fundus"), ("second grip", "left flank"),
            ("second grip", "right flank"), ("third grip", "above the pubic bone"),
            ("fourth grip", "above the pubic bone"),
        ):  # fmt: skip
            await self.step("feel", step="feel", grip=grip, zone=zone)
        said = {"lie": "longitudinal", "presentation": "vertex", "position": "left transverse",
                "attitude": "flexed", "fifths": 3}  # fmt: skip
        await self.step("conclude", step="conclude", answer=said)
        await self.step("listen", step="listen", x_cm=8, y_cm=-6)
        await self.step("lay a sensor", step="place heart sensor", x_cm=9, y_cm=-6)
        await self.step("lay a sensor", step="place contraction sensor", x_cm=3, y_cm=12)
        for _ in range(3):
            state = await self.step("wait ten minutes", step="wait", minutes=10)
            await self.strip(state)
        decided = {"electrode": True, "catheter": False}
        await self.step("internal sensor", step="decide internal", answer=decided)
        await self.step("give the reading", step="read strip", answer=self.reading())
        for measure in ("change her position", "feel her pulse"):
            await self.step("choose", step="choose", measure=measure)
        await self.step("tell", step="tell", person="the obstetrician")
        await self.strip(await self.step("wait ten minutes", step="wait", minutes=10))
        await self.step("finish", step="finish")
        await self.request("debrief", "GET", f"/teach/attempts/{self.key}/debrief")
        drawn = f"/api/teach/attempts/{self.key}/debrief-strip"
        await self.request("debrief's strip", "GET", drawn)
        await self.client.aclose()

    def reading(self) -> dict[str, object]:
        kinds = ("contraction", "variable deceleration", "acceleration")
        marks = [
            {"kind": self.chance.choice(kinds), "start_s": at, "end_s": at + 50.0}
            for at in range(60, 1700, 80)
        ]
        return {
            "window": {"start_s": 0, "end_s": 1800}, "standard": "nichd", "baseline_bpm": 140,
            "no_baseline": False, "variability": "moderate", "sinusoidal": False,
            "tachysystole": False, "label": "Category II", "marks": marks,
        }  # fmt: skip


async def lesson(address: str, learners: int, think: float, seconds: float) -> int:
    times: dict[str, list[float]] = defaultdict(list)
    everyone = [Learner(number, address, think, times) for number in range(learners)]
    begun = time.perf_counter()
    try:
        async with asyncio.timeout(seconds):
            ends = await asyncio.gather(*(one.play() for one in everyone), return_exceptions=True)
    except TimeoutError:
        print(f"The lesson did not end within {seconds:.0f} s.")
        return 1
    took = time.perf_counter() - begun
    failures = [line for one in everyone for line in one.failures]
    failures += [repr(end) for end in ends if isinstance(end, BaseException)]
    count = sum(map(len, times.values()))
    print(f"{learners} learners, one whole case each, thinking {think:g} s a step: {took:.1f} s")
    print(f"{count} requests, {count / took:.0f} a second, {len(failures)} failures\n")
    print("| request | times | median ms | 95 % ms | longest ms |\n|---|---:|---:|---:|---:|")
    every = [one for some in times.values() for one in some]
    for kind, some in (*times.items(), ("all", every)):
        middle, high = np.percentile(some, [50, 95])
        print(f"| {kind} | {len(some)} | {middle:.0f} | {high:.0f} | {max(some):.0f} |")
    for line in failures[:10]:
        print(line)
    return 1 if failures else 0


def main() -> int:
    words = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    words.add_argument("--learners", type=int, default=60)
    words.add_argument("--think", type=float, default=0.5, help="mean seconds between steps")
    words.add_argument("--minutes", type=float, default=5.0, help="longest the lesson may take")
    asked = words.parse_args()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        store = str(Path(folder) / "lesson.sqlite")
        arguments = [store, str(port), str(CORES), str(asked.learners)]
        server = subprocess.Popen(
            [sys.executable, "-c", SERVER, *arguments], stdout=subprocess.PIPE, text=True
        )
        try:
            assert server.stdout is not None
            if server.stdout.readline().strip() != "ready":
                print("The server did not start.")
                return 1
            _reachable(port)
            address = f"http://127.0.0.1:{port}"
            failed = asyncio.run(lesson(address, asked.learners, asked.think, 60 * asked.minutes))
            print(f"\nServer's CPU: {_cpu_s(server.pid):.1f} s on at most {CORES} cores; "
                  f"memory {_memory_mib(server.pid):.0f} MiB")  # fmt: skip
        finally:
            server.terminate()
            server.wait(10)
    return failed


def _reachable(port: int) -> None:
    for _ in range(200):
        with socket.socket() as knock:
            if knock.connect_ex(("127.0.0.1", port)) == 0:
                return
        time.sleep(0.05)


def _cpu_s(pid: int) -> float:
    fields = Path(f"/proc/{pid}/stat").read_text().rsplit(")", 1)[1].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def _memory_mib(pid: int) -> float:
    found = re.search(r"VmHWM:\s+(\d+)", Path(f"/proc/{pid}/status").read_text())
    return int(found[1]) / 1024 if found else float("nan")


if __name__ == "__main__":
    sys.exit(main())
