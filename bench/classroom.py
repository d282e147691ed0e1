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
import sys
import time
from collections import defaultdict

import httpx
import numpy as np

from bench.class_server import Browser, serving

CASE = "a-whole-evening-shift"
MOST_MS = 1000.0
WAIT_S = 600.0
"""The first request may have to wait until compiled loops are made."""
LINES = httpx.Limits(keepalive_expiry=2.0)
"""The server closes idle lines after 5 s."""


class Phone(Browser):
    """One learner."""

    def __init__(self, number: int, address: str, times: dict[str, list[float]]):
        super().__init__(address, times, LINES, WAIT_S)
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
    teacher = Browser(address, defaultdict(list), LINES, WAIT_S)
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
    with serving() as address:
        return asyncio.run(lesson(address, asked.learners, asked.rounds))


if __name__ == "__main__":
    sys.exit(main())
