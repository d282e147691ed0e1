"""How many beds does one core hold? `python -m bench.beds --beds 100 500`.

Devices send a packet of 4 Hz heart rate, activity and the mother's pulse each second for each bed
to one process with its store on SQLite, in real time. Each bed is read every 5 s and classed every
minute. The lag is from when an update was due (its samples are there and the settling time is
over) to when it was published. The labours have run for --history minutes when the measuring
begins, so that the trailing stretch has its full length; the process is bound to one core, and
the devices are fed from the same process, so their cost is in the figures.

--by-cost, for a machine that others use too: the CPU time of each kind of work (a full reading, a
reading of right now, a packet from arrival to disk) is measured on some beds, and a core of its
own is simulated that does this work for so many beds, in the order in which it falls due.
"""

from __future__ import annotations

import argparse
import asyncio
import os
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import psutil

from ebbline.live.bed import WatchedBed
from ebbline.live.notice_policy import load_notices
from ebbline.live.packets import Packet, PacketChannel
from ebbline.live.sample_store import Labour, LiveStore, Piece
from ebbline.live.unit import Unit
from ebbline.synth import Scenario, invent
from ebbline.web.live.service import in_json

AIM_MS = 250.0
SEED = 11
BEHIND_S, MOST_S = 12.0, 600.0
"""A bed is taken up when it is no more than this behind; taking up all may take so long."""

KINDS = 4
"""Different labours; the beds take them in turn."""


def traces(count: int, minutes: float) -> list[list[PacketChannel]]:
    made = []
    for number in range(count):
        scenario = Scenario(
            hours=minutes / 60,
            maternal_pulse=True,
            variable_share=0.2 * (number % 3),
            late_share=0.3 * (number % 2),
        )
        recording = invent(scenario, SEED + number).recording
        made.append(
            [PacketChannel(c.kind, c.fetus, c.sensor, c.samples) for c in recording.channels]
        )
    return made


def history(labour: str, trace: list[PacketChannel], count: int) -> Iterator[Piece]:
    for one in trace:
        yield Piece(labour, one.kind, one.fetus, one.sensor, 4.0, 0, one.samples[:count])


async def measure(beds: int, history_min: float, run_s: float) -> None:
    kinds = traces(KINDS, history_min + run_s / 60 + 12)
    rng = np.random.default_rng(SEED)
    with tempfile.TemporaryDirectory() as folder:
        store = LiveStore(Path(folder) / "live.sqlite")
        began = time.time()
        starts = began - history_min * 60 - rng.uniform(0, 60, beds)
        labours = []
        for number in range(beds):
            start = datetime.fromtimestamp(starts[number], UTC)
            labours.append(store.open_labour(f"Bed {number + 1}", f"C-{number + 1}", start))
        for number in range(0, beds, 50):
            store.append(
                [
                    piece
                    for k, labour in enumerate(labours[number : number + 50])
                    for piece in history(
                        labour.id,
                        kinds[(number + k) % len(kinds)],
                        int((began - starts[number + k]) * 4),
                    )
                ]
            )
        unit = Unit(store)
        store.claim(unit.name, beds + 10)
        at = time.time()
        await unit.start()
        # The unit reads what lies behind by itself, between its other work.
        while len(unit.beds) < beds or any(
            unit.seconds(bed) - bed.reader.read_to_s > BEHIND_S for bed in unit.beds.values()
        ):
            if time.time() - at > MOST_S:
                raise SystemExit(
                    f"bench.beds: {beds} beds are more than one core can take up in {MOST_S:.0f} s"
                )
            await asyncio.sleep(0.2)
        print(
            f"{beds} beds with {history_min:.0f} minutes each taken up in {time.time() - at:.0f} s "
            f"({at - began:.0f} s to write their samples before)"
        )
        acknowledged: list[float] = []
        alone = psutil.Process()

        async def device(number: int) -> None:
            labour, trace = labours[number], kinds[number % len(kinds)]
            sent = int((time.time() - starts[number]) * 4)
            await asyncio.sleep(float(rng.uniform(0, 1)))
            while True:
                until = int((time.time() - starts[number]) * 4)
                packet = Packet(
                    labour.started_at + timedelta(seconds=sent / 4),
                    4.0,
                    0,
                    tuple(
                        PacketChannel(c.kind, c.fetus, c.sensor, c.samples[sent:until])
                        for c in trace
                    ),
                )
                at = time.perf_counter()
                await unit.submit(labour.id, packet)
                acknowledged.append(time.perf_counter() - at)
                sent = until
                await asyncio.sleep(max(0.05, 1.0 - (time.perf_counter() - at)))

        devices = [asyncio.create_task(device(number)) for number in range(beds)]
        await asyncio.sleep(10.0)
        unit.lags_s, used = [], alone.cpu_times()
        acknowledged.clear()
        at = time.time()
        await asyncio.sleep(run_s)
        now = alone.cpu_times()
        share = (now.user + now.system - used.user - used.system) / (time.time() - at)
        lags = 1000 * np.array(unit.lags_s)
        acks = 1000 * np.array(acknowledged)
        for task in devices:
            task.cancel()
        await asyncio.gather(*devices, return_exceptions=True)
        p99 = float(np.percentile(lags, 99))
        print(
            f"{beds} beds, {len(lags)} updates in {run_s:.0f} s: lag median "
            f"{np.median(lags):.0f} ms, 99 % within {p99:.0f} ms "
            f"({'under' if p99 < AIM_MS else 'OVER'} {AIM_MS:.0f}); packet to disk median "
            f"{np.median(acks):.0f} ms, 99 % within {np.percentile(acks, 99):.0f} ms; "
            f"{100 * share:.0f} % of one core ({beds / share:.0f} beds would fill it); "
            f"{alone.memory_info().rss / 2**20:.0f} MiB; load of the machine "
            f"{os.getloadavg()[0]:.1f} on {os.cpu_count()} cores"
        )
        await unit.stop()
        store.close()


def measured(minutes: float = 4.0) -> dict[str, np.ndarray]:
    """CPU seconds of each piece of work, by kind."""
    recordings = [
        invent(Scenario(hours=2.1, maternal_pulse=True, variable_share=0.2 * n), SEED + n).recording
        for n in range(KINDS)
    ]
    cost: dict[str, list[float]] = {"full": [], "now": [], "packet": []}
    start = datetime.now(UTC)
    for recording in recordings:
        bed = WatchedBed(Labour("x", "b", "c", start, recording.context), load_notices())
        for c in recording.channels:
            bed.receive(Piece("x", c.kind, c.fetus, c.sensor, c.rate_hz, 0, c.samples))
        bed.advance(6600.0 + 2.0)
        for at_s in np.arange(6605.0, 6600.0 + 60 * minutes + 1, 5.0):
            began = time.process_time()
            update = bed.advance(float(at_s) + 2.0)
            assert update is not None
            in_json(update.state)
            cost["full" if update.full else "now"].append(time.process_time() - began)

    async def packets() -> None:
        with tempfile.TemporaryDirectory() as folder:
            unit = Unit(LiveStore(Path(folder) / "live.sqlite"))
            await unit.start()
            labours = [unit.store.open_labour(f"B{n}", f"C{n}", start) for n in range(100)]
            await unit._claim()
            parts = tuple(
                PacketChannel(c.kind, c.fetus, c.sensor, c.samples[:4])
                for c in recordings[0].channels
            )
            for _ in range(5):
                began = time.process_time()
                packet = Packet(start, 4.0, 0, parts)
                await asyncio.gather(*(unit.submit(one.id, packet) for one in labours))
                cost["packet"].append((time.process_time() - began) / len(labours))
            await unit.stop()

    asyncio.run(packets())
    return {kind: np.array(values) for kind, values in cost.items()}


def simulated(beds: int, cost: dict[str, np.ndarray], seconds: float = 600.0) -> str:
    """A core that does the work of so many beds, each piece when it falls due and those before
    it are done."""
    rng = np.random.default_rng(SEED)
    work: list[tuple[float, str]] = []
    for _ in range(beds):
        phase = float(rng.uniform(0, 60))
        for k, due in enumerate(np.arange(phase - 60, seconds, 5.0)):
            if due >= 0:
                work.append((float(due), "full" if k % 12 == 0 else "now"))
        first = float(rng.uniform(0, 1))
        work += [(float(due), "packet") for due in np.arange(first, seconds, 1.0)]
    work.sort()
    free, busy = 0.0, 0.0
    lags = []
    for due, kind in work:
        takes = float(rng.choice(cost[kind]))
        free = max(free, due) + takes
        busy += takes
        if kind != "packet":
            lags.append(free - due)
    p50, p99 = 1000 * np.percentile(lags, [50, 99])
    return (
        f"{beds} beds on a simulated core: {100 * busy / seconds:.0f} % busy, lag median "
        f"{p50:.0f} ms, 99 % within {p99:.0f} ms ({'under' if p99 < AIM_MS else 'OVER'} "
        f"{AIM_MS:.0f})"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--beds", type=int, nargs="+", default=[100, 500])
    parser.add_argument("--history", type=float, default=110.0, help="minutes")
    parser.add_argument("--seconds", type=float, default=60.0)
    parser.add_argument("--by-cost", action="store_true")
    given = parser.parse_args()
    if given.by_cost:
        cost = measured()
        for kind, values in cost.items():
            print(
                f"{kind}: median {1000 * np.median(values):.2f} ms of CPU, 99 % within "
                f"{1000 * np.percentile(values, 99):.2f} ({len(values)} measured; load of the "
                f"machine {os.getloadavg()[0]:.1f} on {os.cpu_count()} cores)"
            )
        for beds in given.beds:
            print(simulated(beds, cost))
        return
    os.sched_setaffinity(0, {sorted(os.sched_getaffinity(0))[-1]})
    for beds in given.beds:
        asyncio.run(measure(beds, given.history, given.seconds))


if __name__ == "__main__":
    main()
