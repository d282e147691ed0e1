"""Kill -9 at any moment: is anything lost, any notice told twice? `python -m bench.kill_live`.

Devices send invented labours with prolonged falls, as fast as they are acknowledged, to one
process on SQLite or to two on PostgreSQL with NATS JetStream (--postgresql; both servers are
started here, on a socket and on loopback). A process is killed with SIGKILL after a random time
and started again, --kills times. Then: every sample that was acknowledged must be in the store;
no notice of a fall may stand twice; and each fall must have been told up to the grade that an
uninterrupted reading gives it.
"""

from __future__ import annotations

import argparse
import asyncio
import contextlib
import os
import random
import shutil
import signal
import socket
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import AsyncIterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

from ebbline.live.bed import WatchedBed
from ebbline.live.bed_reader import Pace
from ebbline.live.bus import Bus
from ebbline.live.notice_policy import load_notices
from ebbline.live.packets import Packet, PacketChannel, from_bytes, to_bytes
from ebbline.live.sample_store import Labour, LiveStore, Notice, Piece
from ebbline.live.unit import Unit
from ebbline.recording.model import ChannelKind, Context
from ebbline.synth import ProlongedFall, Scenario, invent
from ebbline.terms import SensorKind

BEDS = 4
PACKET_S = 20
LABOUR_HOURS = 2.5
PACE = Pace(step_s=20.0)
"""Fewer steps than the pages see: the machine is to be busy with dying, not with reading."""

LIVES_S = (1.0, 9.0)
"""A process lives so long between its start and its kill: from its middle to seconds of load."""

QUIET_S = 15.0
"""The last notices are written when nothing new has come for so long."""

GRADES = ("2 min", "3 min", "5 min", "9 min")


async def child(place: str, nats: str, path: str, name: str) -> None:
    """One process of the unit, taking packets on a local socket; killed from outside."""
    unit = Unit(LiveStore(place), bus=Bus(nats) if nats else None, name=name, pace=PACE)
    await unit.start()

    async def connected(reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        with contextlib.suppress(asyncio.IncompleteReadError, ConnectionError):
            while True:
                size = int.from_bytes(await reader.readexactly(4), "little")
                data = await reader.readexactly(size)
                labour, body = data[:16].decode(), data[16:]
                await unit.submit(labour, from_bytes(body))
                writer.write(b"k")
                await writer.drain()

    Path(path).unlink(missing_ok=True)
    server = await asyncio.start_unix_server(connected, path)
    async with server:
        await server.serve_forever()


def traces(beds: int, hours: float) -> list[np.ndarray]:
    made = []
    for number in range(beds):
        scenario = Scenario(
            hours=hours,
            prolonged=tuple(
                ProlongedFall(float(at), 2.6 + (number + k) % 4, 60.0)
                for k, at in enumerate(range(35, int(hours * 60) - 12, 25))
            ),
            signal_loss=0.02,
        )
        samples = invent(scenario, 300 + number).recording.channels[0].samples
        # As the binary form carries them.
        made.append(np.round(samples * 100) / 100)
    return made


class Process:
    """A child that can be killed and started again."""

    def __init__(self, number: int, place: str, nats: str, folder: Path) -> None:
        self.number, self.place, self.nats = number, place, nats
        self.path = str(folder / f"door-{number}")
        self.starts = 0
        self.running: subprocess.Popen[bytes] | None = None

    def start(self) -> None:
        self.starts += 1
        words = ["--child", self.place, self.nats, self.path, f"p{self.number}-{self.starts}"]
        self.running = subprocess.Popen([sys.executable, "-m", "bench.kill_live", *words])

    def kill(self) -> None:
        assert self.running is not None
        self.running.send_signal(signal.SIGKILL)
        self.running.wait()


async def device(
    labour: Labour,
    samples: np.ndarray,
    processes: list[Process],
    kept: list[int],
    over: asyncio.Event,
    pause_s: float,
) -> None:
    """Send until all is acknowledged; a packet that was not is sent again."""
    sent = kept[0]
    length = PACKET_S * 4
    while sent < len(samples) and not over.is_set():
        with contextlib.suppress(OSError, asyncio.IncompleteReadError, TimeoutError):
            door = random.choice(processes).path
            reader, writer = await asyncio.open_unix_connection(door)
            try:
                while sent < len(samples) and not over.is_set():
                    part = samples[sent : sent + length]
                    heart = PacketChannel(
                        ChannelKind.FETAL_HEART_RATE, 1, SensorKind.ULTRASOUND, part
                    )
                    start = labour.started_at + timedelta(seconds=sent / 4)
                    body = labour.id.encode() + to_bytes(Packet(start, 4.0, 0, (heart,)))
                    writer.write(len(body).to_bytes(4, "little") + body)
                    await writer.drain()
                    answer = await asyncio.wait_for(reader.readexactly(1), 20.0)
                    assert answer == b"k"
                    sent += len(part)
                    kept[0] = sent
                    await asyncio.sleep(pause_s)
            finally:
                writer.close()
        await asyncio.sleep(0.1)


@contextlib.asynccontextmanager
async def servers(postgresql: bool, folder: Path) -> AsyncIterator[tuple[str, str]]:
    """Place of the store and address of NATS."""
    if not postgresql:
        yield str(folder / "live.sqlite"), ""
        return
    sys.path.insert(0, str(Path(__file__).parents[1] / "tests"))
    from journal.postgres import running

    with socket.socket() as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    found = shutil.which("nats-server") or "/usr/sbin/nats-server"
    nats = subprocess.Popen(
        [found, "-js", "-a", "127.0.0.1", "-p", str(port), "-sd", str(folder / "js")],
        stderr=subprocess.DEVNULL,
    )
    try:
        with running() as server:
            yield server.fresh("live_kill"), f"nats://127.0.0.1:{port}"
    finally:
        nats.terminate()
        nats.wait()


def uninterrupted(samples: np.ndarray, started_at: datetime) -> dict[int, str]:
    """The highest grade of each fall, by its start in tens of minutes."""
    labour = Labour("x", "b", "c", started_at, Context())
    bed = WatchedBed(labour, load_notices(), pace=PACE)
    raised: list[Notice] = []
    for at in range(0, len(samples), PACKET_S * 4):
        part = samples[at : at + PACKET_S * 4]
        bed.receive(
            Piece("x", ChannelKind.FETAL_HEART_RATE, 1, SensorKind.ULTRASOUND, 4.0, at, part)
        )
        update = bed.advance(at / 4 + PACKET_S + 2.0)
        raised += update.raised if update else ()
    return highest(raised)


def highest(notices: list[Notice]) -> dict[int, str]:
    found: dict[int, str] = {}
    for one in notices:
        if one.kind == "prolonged-fall":
            episode = round(one.from_s / 300)
            found[episode] = max(found.get(episode, ""), one.grade, key=(("", *GRADES)).index)
    return found


async def run(
    kills: int,
    postgresql: bool,
    seed: int,
    *,
    beds: int = BEDS,
    hours: float = LABOUR_HOURS,
    lives_s: tuple[float, float] = LIVES_S,
    quiet_s: float = QUIET_S,
) -> dict[str, int]:
    """How many samples were "lost", notices told "twice", and falls "missed" when it ended.

    Only the first two hold on a machine of any speed: a fall may be missed by one too slow to read
    what was sent before the run gives up waiting.
    """
    random.seed(seed)
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        folder.chmod(0o755)
        async with servers(postgresql, folder) as (place, nats):
            store = LiveStore(place)
            samples = traces(beds, hours)
            labours = [
                store.open_labour(
                    f"Bed {n}", f"C-{n}", datetime.now(UTC).replace(microsecond=0), by_trace=True
                )
                for n in range(beds)
            ]
            processes = [Process(n, place, nats, folder) for n in range(2 if postgresql else 1)]
            for one in processes:
                one.start()
            kept = [[0] for _ in labours]
            over = asyncio.Event()
            # So that the devices still send when the last kill comes.
            pause_s = sum(lives_s) / 2.0 * kills / (hours * 3600.0 / PACKET_S)
            devices = [
                asyncio.create_task(device(labour, samples[n], processes, kept[n], over, pause_s))
                for n, labour in enumerate(labours)
            ]
            began, done = time.time(), 0
            while done < kills:
                await asyncio.sleep(random.uniform(*lives_s))
                if all(task.done() for task in devices):
                    break
                victim = random.choice(processes)
                await asyncio.to_thread(victim.kill)
                victim.start()
                done += 1
            await asyncio.wait(devices, timeout=600)
            await settled(store, labours, quiet_s)
            over.set()
            await asyncio.gather(*devices, return_exceptions=True)
            for one in processes:
                one.kill()
            bad = verdict(store, labours, samples, kept)
            where = "PostgreSQL with NATS, two processes" if postgresql else "SQLite, one process"
            total = sum(one[0] for one in kept)
            print(
                f"{where}: {done} kills in {time.time() - began:.0f} s under load (seed {seed}); "
                f"{total} samples acknowledged, {bad['lost']} of them lost; "
                f"{bad['notices']} notices, {bad['twice']} told twice, "
                f"{bad['missed']} of {bad['falls']} falls not told up to their grade"
            )
            store.close()
            return bad


async def settled(store: LiveStore, labours: list[Labour], quiet_s: float) -> None:
    """Wait until the last notices are written."""
    last, since = -1, time.time()
    while time.time() - since < quiet_s:
        now = sum(len(store.notices(one.id)) for one in labours)
        if now != last:
            last, since = now, time.time()
        await asyncio.sleep(1.0)


def verdict(
    store: LiveStore, labours: list[Labour], samples: list[np.ndarray], kept: list[list[int]]
) -> dict[str, int]:
    found: Counter[str] = Counter()
    for labour, sent, (count,) in zip(labours, samples, kept, strict=True):
        if not count:
            continue
        recording = store.recording(labour)
        there = np.full(count, np.nan)
        got = recording.channels[0].samples[:count]
        there[: len(got)] = got
        expected = sent[:count]
        given = np.isfinite(expected)
        found["lost"] += int((there[given] != expected[given]).sum())
        notices = store.notices(labour.id)
        found["notices"] += len(notices)
        episodes = Counter(
            (one.grade, round(one.from_s / 300)) for one in notices if one.kind == "prolonged-fall"
        )
        found["twice"] += sum(n - 1 for n in episodes.values())
        told, due = highest(list(notices)), uninterrupted(expected, labour.started_at)
        order = ("", *GRADES)
        found["falls"] += len(due)
        found["missed"] += sum(
            order.index(told.get(at, "")) < order.index(grade) for at, grade in due.items()
        )
    return found


def main() -> None:
    if "--child" in sys.argv:
        asyncio.run(child(*sys.argv[2:6]))
        return
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=100)
    parser.add_argument("--postgresql", action="store_true")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    found = asyncio.run(run(given.kills, given.postgresql, given.seed))
    sys.exit(1 if found["lost"] + found["twice"] + found["missed"] else 0)


if __name__ == "__main__":
    os.environ.setdefault("PYTHONUNBUFFERED", "1")
    main()
