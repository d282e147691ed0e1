"""How many beds does one core hold? `python -m bench.beds --beds 100 500`.

Devices send a packet of 4 Hz heart rate, activity and the mother's pulse each second for each bed
to one process with its store on SQLite, in real time. Each bed is read every 5 s and classed every
minute. The lag is from when an update was due (its samples are there and the settling time is
over) to when it was published. The labours have run for --history minutes when the measuring
begins, so that the trailing stretch has its full length; the process is bound to one core, and
the devices are fed from the same process, so their cost is in the figures.
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

from ebbline.live.packets import Packet, PacketChannel
from ebbline.live.sample_store import LiveStore, Piece
from ebbline.live.unit import Unit
from ebbline.synth import Scenario, invent

AIM_MS = 250.0
SEED = 11
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
        await unit.start()
        for bed in unit.beds.values():
            bed.advance(unit.seconds(bed))
        print(f"{len(unit.beds)} beds taken up in {time.time() - began:.0f} s")
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


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--beds", type=int, nargs="+", default=[100, 500])
    parser.add_argument("--history", type=float, default=110.0, help="minutes")
    parser.add_argument("--seconds", type=float, default=60.0)
    given = parser.parse_args()
    os.sched_setaffinity(0, {sorted(os.sched_getaffinity(0))[-1]})
    for beds in given.beds:
        asyncio.run(measure(beds, given.history, given.seconds))


if __name__ == "__main__":
    main()
