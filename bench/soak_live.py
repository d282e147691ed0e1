"""A simulated day: does memory stay flat? `python -m bench.soak_live [--beds 4] [--hours 24]`.

Labours of a day go through one unit on SQLite, as fast as they can be read: packets, reading,
notices, checkpoints, packing. Prints the resident memory each hour, and the growth from the sixth
hour on (by then every stretch that is kept has its full length), by a straight line.
"""

from __future__ import annotations

import argparse
import asyncio
import gc
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import psutil

from ebbline.live.bed_reader import Pace
from ebbline.live.packets import Packet, PacketChannel
from ebbline.live.sample_store import LiveStore
from ebbline.live.unit import Unit
from ebbline.synth import Scenario, invent

PACKET_S = 60
SETTLED_H = 6
FLAT_MIB_PER_HOUR = 1.0
"""What a line through noise may rise in an hour and still be called flat (ours)."""


async def soak(beds: int, hours: int) -> None:
    # A few hours laid end to end: what is read must not fit into any cache of a day.
    made = invent(
        Scenario(hours=4.0, variable_share=0.3, late_share=0.1, maternal_pulse=True), 77
    ).recording
    channels = [
        (c, np.tile(c.samples, -(-hours * 3600 * 4 // len(c.samples)))) for c in made.channels
    ]
    own = psutil.Process()
    memory: list[float] = []
    began = time.time()
    with tempfile.TemporaryDirectory() as folder:
        unit = Unit(LiveStore(Path(folder) / "live.sqlite"), pace=Pace(step_s=20.0))
        await unit.start()
        start = datetime.now(UTC).replace(microsecond=0)
        labours = []
        for number in range(beds):
            labour = unit.store.open_labour(f"Bed {number}", f"C-{number}", start, by_trace=True)
            await unit.take_up(labour)
            labours.append(labour)
        for minute in range(hours * 60):
            first, last = minute * 240, (minute + 1) * 240
            for number, labour in enumerate(labours):
                parts = tuple(
                    PacketChannel(c.kind, c.fetus, c.sensor, np.roll(s[first:last], number))
                    for c, s in channels
                )
                await unit.submit(
                    labour.id, Packet(start + timedelta(minutes=minute), 4.0, minute, parts)
                )
            while min(b.reader.read_to_s for b in unit.beds.values()) < minute * 60.0:
                await asyncio.sleep(0.02)
            if minute % 60 == 59:
                gc.collect()
                memory.append(own.memory_info().rss / 2**20)
                size = sum(f.stat().st_size for f in Path(folder).glob("*")) / 2**20
                print(
                    f"hour {minute // 60 + 1}: {memory[-1]:.0f} MiB, store {size:.1f} MiB, "
                    f"{time.time() - began:.0f} s",
                    flush=True,
                )
        await unit.stop()
    settled = memory[SETTLED_H:]
    if len(settled) > 2:
        slope = float(np.polyfit(np.arange(len(settled)), settled, 1)[0])
        said = "flat" if slope < FLAT_MIB_PER_HOUR else "GROWING"
        print(
            f"{beds} beds, {hours} h: {slope:+.2f} MiB an hour from hour {SETTLED_H + 1} on: {said}"
        )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--beds", type=int, default=4)
    parser.add_argument("--hours", type=int, default=24)
    given = parser.parse_args()
    asyncio.run(soak(given.beds, given.hours))


if __name__ == "__main__":
    main()
