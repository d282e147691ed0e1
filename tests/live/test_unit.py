"""A process of a unit: nothing is acknowledged before it is kept, and another can take over."""

from __future__ import annotations

import asyncio
import threading
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from ebbline.live.packets import Packet, PacketChannel, PacketError
from ebbline.live.sample_store import LEASE_S, Labour, LiveStore
from ebbline.live.unit import Unit
from ebbline.recording.model import ChannelKind
from ebbline.synth import ProlongedFall, Scenario, invent
from ebbline.terms import SensorKind

START = datetime(2030, 5, 1, 22, 0, 5, tzinfo=UTC)


def packet(labour: Labour, at_s: float, samples: np.ndarray, rate_hz: float = 4.0) -> Packet:
    heart = PacketChannel(ChannelKind.FETAL_HEART_RATE, 1, SensorKind.ULTRASOUND, samples)
    return Packet(labour.started_at + timedelta(seconds=at_s), rate_hz, 0, (heart,))


class Clock:
    def __init__(self) -> None:
        self.now = START.timestamp()

    def __call__(self) -> float:
        return self.now


def test_an_acknowledged_packet_is_in_the_store(store: LiveStore) -> None:
    async def run() -> None:
        clock = Clock()
        unit = Unit(store, now=clock)
        labour = store.open_labour("Bed 1", "C-1", START)
        await unit.start()
        clock.now += 30
        await unit.submit(labour.id, packet(labour, 0.0, np.full(40, 140.0)))
        other = LiveStore(store.place)
        np.testing.assert_array_equal(
            other.recording(labour).channels[0].samples, np.full(40, 140.0)
        )
        other.close()
        await unit.stop()

    asyncio.run(run())


def test_a_bed_from_which_nothing_comes_is_told_to_every_page(plain: LiveStore) -> None:
    """A board that was open before the bed was begun must show it, and that nothing is known."""

    async def run() -> None:
        unit = Unit(plain, now=Clock())
        await unit.start()
        async with unit.listening() as board:
            labour = plain.open_labour("Bed 7", "C-7", START)
            await unit.take_up(labour)
            told = await asyncio.wait_for(board.get(), 30.0)
        assert (told["bed"], told["at_s"], told["level"]) == ("Bed 7", None, "not assessed")
        assert told["fetuses"] == [] and unit.states[labour.id]["bed"] == "Bed 7"
        await unit.stop()

    asyncio.run(run())


def test_a_packet_is_not_acknowledged_when_the_disk_refuses_it(
    plain: LiveStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    async def run() -> None:
        unit = Unit(plain, now=Clock())
        labour = plain.open_labour("Bed 1", "C-1", START)
        await unit.start()

        def full(_: object) -> None:
            raise OSError("no space left on device")

        monkeypatch.setattr(plain, "append", full)
        with pytest.raises(OSError, match="no space"):
            await unit.submit(labour.id, packet(labour, 0.0, np.full(4, 140.0)))
        await unit.stop()

    asyncio.run(run())


def test_a_unit_that_closes_passes_over_a_packet_whose_sender_has_gone(
    plain: LiveStore, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The first is being written, the second waits behind it, and its sender hangs up."""
    begun, goes_on = threading.Event(), threading.Event()

    def slow(_: object) -> None:
        begun.set()
        goes_on.wait(60.0)

    async def run() -> None:
        unit = Unit(plain, now=Clock())
        labour = plain.open_labour("Bed 1", "C-1", START)
        await unit.start()
        monkeypatch.setattr(plain, "append", slow)
        sent = []
        for at_s in (0.0, 1.0):
            one = packet(labour, at_s, np.full(4, 140.0))
            sent.append(asyncio.create_task(unit.submit(labour.id, one)))
            while not begun.is_set():
                await asyncio.sleep(0.005)
        while unit._waiting.empty():
            await asyncio.sleep(0.005)
        sent[1].cancel()
        await asyncio.gather(sent[1], return_exceptions=True)
        goes_on.set()
        await unit.stop()
        await asyncio.gather(*sent, return_exceptions=True)

    asyncio.run(asyncio.wait_for(run(), 60.0))


@pytest.mark.parametrize(
    ("at_s", "rate_hz", "named"), [(3600.0, 4.0, "future"), (4.0, 2.0, "samples a second")]
)
def test_what_cannot_be_placed_is_refused_in_words(
    plain: LiveStore, at_s: float, rate_hz: float, named: str
) -> None:
    async def run() -> None:
        unit = Unit(plain, now=Clock())
        labour = plain.open_labour("Bed 1", "C-1", START)
        await unit.start()
        await unit.submit(labour.id, packet(labour, 0.0, np.full(16, 140.0)))
        with pytest.raises(PacketError, match=named):
            await unit.submit(labour.id, packet(labour, at_s, np.full(16, 140.0), rate_hz))
        await unit.stop()

    asyncio.run(run())


async def read_to(unit: Unit, labour_id: str, at_s: float) -> None:
    """Wait until a labour is read so far, however long a loaded computer takes."""
    async with asyncio.timeout(90.0):
        while (unit.states.get(labour_id, {}).get("at_s") or 0) < at_s:
            await asyncio.sleep(0.02)


def test_another_process_takes_the_labour_over_and_raises_nothing_twice(store: LiveStore) -> None:
    """The first dies without a word; the second waits for the lease, then goes on."""
    scenario = Scenario(hours=1.5, prolonged=(ProlongedFall(50.0, 7.0, 60.0),))
    samples = invent(scenario, 12).recording.channels[0].samples

    async def run() -> None:
        labour = store.open_labour("Bed 1", "C-1", START, by_trace=True)
        first = Unit(store, name="one")
        await first.start()
        for at in range(0, 55 * 240, 2400):
            await first.submit(labour.id, packet(labour, at / 4, samples[at : at + 2400]))
        await read_to(first, labour.id, 54 * 60)
        before = store.notices(labour.id)
        for task in first._tasks:
            task.cancel()
        # What it had begun to renew is through before its lease is said to be over.
        await asyncio.gather(*first._tasks, return_exceptions=True)
        await first._in(first._notices_thread, lambda: None)
        await first._in(first._samples_thread, lambda: None)

        with store.engine.begin() as connection:
            connection.exec_driver_sql("UPDATE live_labour SET lease_until = 0")
        second = Unit(store, name="two")
        await second.start()
        assert list(second.beds) == [labour.id]
        for at in range(55 * 240, 62 * 240, 240):
            await second.submit(labour.id, packet(labour, at / 4, samples[at : at + 240]))
        await read_to(second, labour.id, 61 * 60)
        after = store.notices(labour.id)
        falls = [one.grade for one in after if one.kind == "prolonged-fall"]
        assert before and [one.id for one in after][: len(before)] == [one.id for one in before]
        assert len(falls) == len(set(falls)) >= 3
        assert len(store.recording(labour).channels[0].samples) == 62 * 240
        await second.stop()
        await first.stop()

    asyncio.run(run())
    assert LEASE_S < 30.0


def test_who_saw_a_notice_is_told_to_every_page(tmp_path: Path) -> None:
    store = LiveStore(tmp_path / "live.sqlite")
    scenario = Scenario(hours=1.0, prolonged=(ProlongedFall(40.0, 6.0, 60.0),))
    samples = invent(scenario, 12).recording.channels[0].samples

    async def run() -> None:
        labour = store.open_labour("Bed 1", "C-1", START, by_trace=True)
        unit = Unit(store)
        await unit.start()
        async with unit.listening() as page:
            for at in range(0, 46 * 240, 2400):
                await unit.submit(labour.id, packet(labour, at / 4, samples[at : at + 2400]))
            state = await asyncio.wait_for(page.get(), 30)
            while not state["notices"]:
                state = await asyncio.wait_for(page.get(), 30)
            number = state["notices"][0]["id"]
            await unit.acknowledge(labour.id, number, "Kim")
            while not state["notices"][0]["acknowledged_by"]:
                state = await asyncio.wait_for(page.get(), 30)
            assert state["notices"][0]["acknowledged_by"] == "Kim"
        await unit.stop()

    asyncio.run(run())
