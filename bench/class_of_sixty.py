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
import random
import sys
import time
from collections import defaultdict

import httpx
import numpy as np

from bench.class_server import PASSWORD, Browser, serving

CASE = "a-whole-evening-shift"
LINES = httpx.Limits(max_connections=2)


class Learner(Browser):
    """One learner at a browser."""

    def __init__(self, number: int, address: str, think: float, times: dict[str, list[float]]):
        super().__init__(address, times, LINES, 60.0)
        self.name = f"learner {number:02d}"
        self.chance = random.Random(number)
        self.think = think

    async def step(self, kind: str, **data: object) -> dict[str, object]:
        if self.think:
            await asyncio.sleep(self.chance.expovariate(1 / self.think))
        path = f"/api/teach/attempts/{self.key}/steps"
        answer = await self.ask(kind, "POST", path, json=data)
        return dict(answer.json())

    async def strip(self, state: dict[str, object]) -> None:
        for trace in state.get("traces", ()):  # type: ignore[attr-defined]
            await self.ask("strip samples", "GET", trace["samples_href"])

    async def play(self) -> None:
        await self.ask("page", "GET", "/sign-in")
        form = {"name": self.name, "password": PASSWORD}
        await self.ask("sign in", "POST", "/sign-in", data=form)
        await self.ask("page of cases", "GET", "/teach")
        begun = await self.ask("begin", "POST", "/teach/begin", data={"case": CASE})
        self.key = begun.headers["location"].rsplit("/", 1)[1]
        await self.ask("page of the case", "GET", f"/teach/attempts/{self.key}")
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
        await self.ask("debrief", "GET", f"/teach/attempts/{self.key}/debrief")
        drawn = f"/api/teach/attempts/{self.key}/debrief-strip"
        await self.ask("debrief's strip", "GET", drawn)
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
    with serving(accounts=asked.learners) as address:
        return asyncio.run(lesson(address, asked.learners, asked.think, 60 * asked.minutes))


if __name__ == "__main__":
    sys.exit(main())
