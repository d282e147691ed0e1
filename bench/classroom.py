"""A class of sixty that joins by a code, on two cores: everyone answers at once, twice.

    python -m bench.classroom [--learners 60] [--rounds 6]

The server is `ebbline`'s own, in a process of its own bound to two cores. The teacher opens a class
on the wall; every phone types the code and a name, holds its line open (server-sent events) and, as
the page does, asks for the state at every word that something changed; in every round all answer
within one second, the split is shown, all answer again. Printed as measured: latencies of each kind
of request with the 99th percentile, failures, time and CPU. Ends with 1 if anything failed or the
99th percentile of all requests is a second or more.
"""

from __future__ import annotations

import argparse
import asyncio
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

from bench.class_of_sixty import CORES, _cpu_s, _memory_mib, _reachable

CASE = "a-whole-evening-shift"
MOST_MS = 1000.0
SERVER = """
import os, sys
from pathlib import Path
if hasattr(os, "sched_setaffinity"):
    os.sched_setaffinity(0, set(sorted(os.sched_getaffinity(0))[:int(sys.argv[3])]))
import uvicorn
from ebbline.web.app import create_app
from ebbline.web.settings import Settings
app = create_app(Settings(store=Path(sys.argv[1])), warm=True)
print("ready", flush=True)
uvicorn.run(app, host="127.0.0.1", port=int(sys.argv[2]), log_level="warning")
"""


class Browser:
    """Keeps cookies and the page's token, and times every request."""

    def __init__(self, address: str, times: dict[str, list[float]]):
        self.times = times
        self.failures: list[str] = []
        # The first request may have to wait until compiled loops are made.
        limits = httpx.Limits(keepalive_expiry=2.0)  # the server closes idle lines after 5 s
        self.client = httpx.AsyncClient(base_url=address, timeout=600, limits=limits)

    async def ask(self, kind: str, method: str, path: str, **more: object) -> httpx.Response:
        begun = time.perf_counter()
        answer = await self.client.request(method, path, **more)  # type: ignore[arg-type]
        self.times[kind].append(1000 * (time.perf_counter() - begun))
        if answer.status_code >= 400:
            self.failures.append(f"{method} {path} {answer.status_code} {answer.text[:120]}")
        if found := re.search(r'name="csrf-token" content="(\w+)"', answer.text[:2000]):
            self.client.headers["x-csrf-token"] = found[1]
        return answer


class Phone(Browser):
    """One learner."""

    def __init__(self, number: int, address: str, times: dict[str, list[float]]):
        super().__init__(address, times)
        self.name = f"learner {number:02d}"
        self.chance = random.Random(number)
        self.heard = 0

    async def join(self, code: str) -> None:
        await self.ask("page of the code", "GET", "/join")
        await self.ask("code", "POST", "/join", data={"code": code})
        await self.ask("name", "POST", f"/join/{code}", data={"name": self.name})
        await self.ask("page of the class", "GET", f"/join/{code}")
        self.code = code

    async def listen(self) -> None:
        """Hold the line, and look again at every word, as the page does."""
        async with self.client.stream("GET", f"/api/join/{self.code}/events") as line:
            async for text in line.aiter_lines():
                if text.startswith("event: change"):
                    self.heard += 1
                    await self.ask("state", "GET", f"/api/join/{self.code}")

    async def answer(self, number: int) -> None:
        await asyncio.sleep(self.chance.random())
        option = self.chance.choice(["Category I", "Category II", "Category III", "no class"])
        given = {"strip": 1, "round": number, "option": option}
        await self.ask("answer", "POST", f"/api/join/{self.code}/answer", json=given)


async def lesson(address: str, learners: int, rounds: int) -> int:
    times: dict[str, list[float]] = defaultdict(list)
    teacher = Browser(address, defaultdict(list))
    await teacher.ask("classes", "GET", "/teach/classes")
    made = await teacher.ask("open", "POST", "/teach/classes", data={"case": CASE})
    code = made.headers["location"].rsplit("/", 1)[1]
    path = f"/api/teach/classes/{code}"
    phones = [Phone(number, address, times) for number in range(learners)]
    begun = time.perf_counter()
    await asyncio.gather(*(one.join(code) for one in phones))
    joined = time.perf_counter() - begun
    lines = [asyncio.create_task(one.listen()) for one in phones]
    await asyncio.sleep(1.0)
    counts = []
    for number in range(1, rounds + 1):
        await teacher.ask("act", "POST", f"{path}/act", json={"act": "ask"})
        await asyncio.gather(*(one.answer(number) for one in phones))
        after = await teacher.ask("act", "POST", f"{path}/act", json={"act": "split"})
        counts.append(sum(one["count"] for one in after.json()["splits"][-1]))
        await asyncio.sleep(0.7)
    took = time.perf_counter() - begun
    for line in lines:
        line.cancel()
    await asyncio.gather(*lines, return_exceptions=True)
    failures = [f for one in (*phones, teacher) for f in one.failures]
    failures += [f"round {n + 1}: {got} answers" for n, got in enumerate(counts) if got != learners]
    deaf = sum(one.heard < 2 * rounds for one in phones)
    if deaf:
        failures.append(f"{deaf} phones did not hear every change")
    every = [one for some in times.values() for one in some]
    print(f"{learners} phones joined by code within {joined:.1f} s; {rounds} rounds, {took:.1f} s")
    print(f"{len(every)} requests, {len(every) / took:.0f} a second, {len(failures)} failures\n")
    print("| request | times | median ms | 99 % ms | longest ms |\n|---|---:|---:|---:|---:|")
    for kind, some in (*times.items(), ("all", every)):
        middle, high = np.percentile(some, [50, 99])
        print(f"| {kind} | {len(some)} | {middle:.0f} | {high:.0f} | {max(some):.0f} |")
    for words in failures[:10]:
        print(words)
    return 1 if failures or float(np.percentile(every, 99)) >= MOST_MS else 0


def main() -> int:
    words = argparse.ArgumentParser(description=__doc__.split("\n", maxsplit=1)[0])
    words.add_argument("--learners", type=int, default=60)
    words.add_argument("--rounds", type=int, default=6)
    asked = words.parse_args()
    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    with tempfile.TemporaryDirectory() as folder:
        store = str(Path(folder) / "class.sqlite")
        server = subprocess.Popen(
            [sys.executable, "-c", SERVER, store, str(port), str(CORES)],
            stdout=subprocess.PIPE,
            text=True,
        )
        try:
            assert server.stdout is not None
            if server.stdout.readline().strip() != "ready":
                print("The server did not start.")
                return 1
            _reachable(port)
            failed = asyncio.run(lesson(f"http://127.0.0.1:{port}", asked.learners, asked.rounds))
            print(f"\nServer's CPU: {_cpu_s(server.pid):.1f} s on at most {CORES} cores; "
                  f"memory {_memory_mib(server.pid):.0f} MiB")  # fmt: skip
        finally:
            server.terminate()
            try:
                server.wait(10)
            except subprocess.TimeoutExpired:
                server.kill()
    return failed


if __name__ == "__main__":
    sys.exit(main())
