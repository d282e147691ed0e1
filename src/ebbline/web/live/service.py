"""The unit behind the live pages, begun when it is first asked for."""

from __future__ import annotations

import asyncio
import random
import time
from contextlib import suppress
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from pydantic_core import to_json

from ebbline.web.errors import NotThereError
from ebbline.web.record.service import Records
from ebbline.web.settings import Settings

if TYPE_CHECKING:
    from ebbline.live.bed import Known
    from ebbline.live.replay import Source
    from ebbline.live.sample_store import Labour, LiveStore, Notice
    from ebbline.live.unit import Unit
    from ebbline.recording.model import Context, Recording

MOST_DEMOS = 12
FASTEST = 600.0
DEMO_STEP_S = 0.5
"""How often a replayed labour gives samples, s."""

DEMO_BEGINS_S = 2100.0
"""A demonstration begins with so much trace behind it, so that there is something to see."""


@dataclass(frozen=True, slots=True)
class Demo:
    """A labour that is replayed. speed: seconds of labour in a second."""

    labour: Labour
    task: asyncio.Task[None]


class LiveService:
    """One unit in this process. Nothing of it is loaded or opened before the first request."""

    def __init__(self, settings: Settings, records: Records) -> None:
        self._settings = settings
        self._records = records
        self._unit: Unit | None = None
        self._samples: LiveStore | None = None
        self._mllp: Any = None
        self._begin = asyncio.Lock()
        self._demos: dict[str, Demo] = {}
        self._second_stage: dict[str, float] = {}
        records.add_trace_source(self._trace)

    async def unit(self) -> Unit:
        """The running unit. Raises EbblineError when its store or its bus cannot be used."""
        async with self._begin:
            if self._unit is None:
                from pathlib import Path

                from ebbline.live.bus import Bus
                from ebbline.live.notice_policy import load_notices
                from ebbline.live.sample_store import LiveStore
                from ebbline.live.unit import Unit

                chosen = self._settings
                store = await asyncio.to_thread(LiveStore, self._place)
                unit = Unit(
                    store,
                    policy=load_notices(Path(chosen.notices) if chosen.notices else None),
                    bus=Bus(chosen.nats) if chosen.nats else None,
                    known=self._known,
                )
                await unit.start()
                self._unit = unit
        return self._unit

    async def listen_hl7(self, host: str, port: int) -> None:
        """Begin to take HL7 v2 messages over MLLP. Raises EbblineError when it cannot listen."""
        from ebbline.live.mllp import serve_mllp

        self._mllp = await serve_mllp(await self.unit(), host, port)

    async def close(self) -> None:
        """End the replays and give the labours back."""
        for demo in self._demos.values():
            demo.task.cancel()
        if self._mllp is not None:
            self._mllp.close()
        if self._unit is not None:
            await self._unit.stop()
            self._unit.store.close()
        if self._samples is not None:
            self._samples.close()

    async def labour(self, labour: str) -> Labour:
        """A labour, also one that has ended. Raises NotThereError."""
        unit = await self.unit()
        found = await asyncio.to_thread(unit.store.labour, labour)
        if found is None:
            raise NotThereError("there is no such labour.", where=labour)
        return found

    async def states(self) -> list[dict[str, Any]]:
        """The state of every labour that goes on; bare where it has not been read yet."""
        unit = await self.unit()
        found = []
        for one in await asyncio.to_thread(unit.store.labours):
            found.append(unit.states.get(one.id) or bare(one))
        return found

    async def samples(self, labour: Labour, since_s: float) -> list[dict[str, Any]]:
        """The trace from since_s on, from memory where this process reads the labour."""
        unit = await self.unit()
        bed = unit.beds.get(labour.id)
        if bed is not None and since_s >= bed.reader.read_from_s:
            return bed.samples(since_s, bed.reader.trace_end_s)
        return await asyncio.to_thread(_stored, unit, labour, since_s)

    async def demo(self, beds: int, speed: float) -> list[Labour]:
        """Begin invented labours on beds of their own, replayed at a speed."""
        from ebbline.live.replay import invented

        unit = await self.unit()
        for key in [key for key, one in self._demos.items() if one.task.done()]:
            del self._demos[key]
        room = max(0, MOST_DEMOS - len(self._demos))
        taken = {one.bed for one in await asyncio.to_thread(unit.store.labours)}
        free = [name for n in range(1, 100) if (name := f"Demo {n}") not in taken]
        begun = []
        for name in free[: min(beds, room)]:
            number = int(name.split()[1])
            source = await asyncio.to_thread(invented, number)
            begun.append(await self.replay(name, f"D-{number:02d}", source, speed))
        return begun

    async def replay(self, bed: str, case: str, source: Source, speed: float) -> Labour:
        """Begin a labour whose trace is given at a speed."""
        unit = await self.unit()
        start = datetime.fromtimestamp(int(time.time()) - DEMO_BEGINS_S, UTC)
        labour = await asyncio.to_thread(
            lambda: unit.store.open_labour(bed, case, start, source.context, by_trace=True)
        )
        await unit.take_up(labour)
        task = asyncio.create_task(self._feed(unit, labour, source, speed))
        self._demos[labour.id] = Demo(labour, task)
        return labour

    async def _feed(self, unit: Unit, labour: Labour, source: Source, speed: float) -> None:
        from ebbline.live.packets import MOST_SAMPLES, Packet

        longest_s = float(int(MOST_SAMPLES / source.rate_hz))
        begun = time.monotonic() + random.random()
        sent_s = 0.0
        while sent_s < source.duration_s:
            passed_s = max(0.0, time.monotonic() - begun) * speed
            until_s = min(source.duration_s, float(int(DEMO_BEGINS_S + passed_s)))
            while sent_s < until_s:
                to_s = min(until_s, sent_s + longest_s)
                channels = await asyncio.to_thread(source.take, sent_s, to_s)
                if channels:
                    start = labour.started_at + timedelta(seconds=sent_s)
                    await unit.submit(labour.id, Packet(start, source.rate_hz, 0, channels))
                sent_s = to_s
            await asyncio.sleep(DEMO_STEP_S)

    async def end(self, labour: Labour) -> None:
        """End the watching of a labour."""
        unit = await self.unit()
        demo = self._demos.pop(labour.id, None)
        if demo is not None:
            demo.task.cancel()
        await asyncio.to_thread(unit.store.close_labour, labour.id)
        await unit.let_go(labour.id)

    async def acknowledge(self, labour: str, number: int, by: str) -> Notice:
        """Write down who saw a notice, also in the record where the case has one."""
        unit = await self.unit()
        done = await unit.acknowledge(labour, number, by)
        await asyncio.to_thread(self._recorded, unit, labour, done, by)
        return done

    def recorded(self, labour: Labour) -> bool:
        """Whether the record has a case with the labour's number."""
        from ebbline.journal.errors import JournalError

        try:
            self._records.journal.entries(labour.case_number.upper())
        except JournalError:
            return False
        return True

    def _recorded(self, unit: Unit, labour: str, seen: Notice, by: str) -> None:
        from ebbline.journal.chain import Draft
        from ebbline.journal.entries import Notice as NoticeEntry
        from ebbline.journal.errors import NoSuchCaseError

        found = unit.store.labour(labour)
        if found is None:
            return
        body = NoticeEntry(notice=seen.text[:200], rule=seen.rule, answer="seen")
        # Acknowledged twice, it is one entry; the record's own clock counts, not a replayed one's.
        draft = Draft(body, self._records.now(), by, token=f"notice-{labour}-{seen.id:06d}"[-64:])
        with suppress(NoSuchCaseError):
            self._records.journal.append(found.case_number.upper(), draft)

    def _trace(self, case: str) -> Recording | None:
        """The trace of a case that is or was watched, for its record; by the clock on the wall."""
        from ebbline.live.case_trace import as_known, latest_of_case

        store = self._kept_samples()
        latest = None if store is None else latest_of_case(store, case)
        if store is None or latest is None:
            return None
        recording = store.recording(latest)
        known = self._known(latest, recording.duration_s)
        if known is not None:
            recording = as_known(recording, known.context, known.sensors)
        if latest.by_trace:
            # A replayed labour runs ahead of the wall's clock: its trace ends now.
            started = self._records.now() - timedelta(seconds=recording.duration_s)
            return replace(recording, start=started)
        return recording

    def _kept_samples(self) -> LiveStore | None:
        """The live store, also before the unit has begun; None where none was ever made."""
        if self._unit is not None:
            return self._unit.store
        if self._samples is None:
            from pathlib import Path

            from ebbline.live.sample_store import LiveStore

            place = self._place
            if "://" in place or Path(place).is_file():
                self._samples = LiveStore(place)
        return self._samples

    @property
    def _place(self) -> str:
        return str(self._settings.live or self._settings.store.with_name("live.sqlite"))

    def _known(self, labour: Labour, trace_s: float) -> Known | None:
        """What the record says of a labour; None where it has no case with that number."""
        from ebbline.journal.due import reviews_ahead
        from ebbline.journal.errors import JournalError
        from ebbline.journal.labour_context import labour_context, sensors_in_place
        from ebbline.live.bed import Known, PlannedReview

        try:
            entries = self._records.journal.entries(labour.case_number.upper())
        except JournalError:
            return None
        now = self._records.now()
        # The time of a replayed labour is its trace's: what is written now counts from there.
        begins = now - timedelta(seconds=trace_s) if labour.by_trace else labour.started_at
        context = labour_context(entries, begins, now, labour.context)
        ahead = tuple(
            PlannedReview(one.title, one.due_at, one.overdue) for one in reviews_ahead(entries, now)
        )
        return Known(self._held(labour, context), sensors_in_place(entries, now), ahead)

    def _held(self, labour: Labour, context: Context) -> Context:
        """A replayed labour runs ahead of the clock: its second stage stays where it first was."""
        if not labour.by_trace or context.second_stage_start_s is None:
            self._second_stage.pop(labour.id, None)
            return context
        start_s = self._second_stage.setdefault(labour.id, context.second_stage_start_s)
        return replace(context, second_stage_start_s=start_s)


def bare(labour: Labour) -> dict[str, Any]:
    """The state of a labour of which nothing was read."""
    return {
        "labour": labour.id,
        "bed": labour.bed,
        "case": labour.case_number,
        "started_at": labour.started_at.isoformat(),
        "by_trace": labour.by_trace,
        "trace_s": 0.0,
        "at_s": None,
        "final_s": 0.0,
        "level": "not assessed",
        "fetuses": [],
        "notices": [],
        "known": [],
        "reviews": [],
        "packets": {"late": 0, "doubled": 0, "contradicting": 0},
    }


NOT_ON_THE_BOARD = ("events", "baseline")
"""What only the strip draws; with hundreds of beds it would be most of what is sent."""


def brief(state: dict[str, Any]) -> dict[str, Any]:
    """A state as the board of all beds needs it: no strip, and the notices that are not seen."""
    if "fetuses" not in state:
        return state
    fetuses = [
        {key: value for key, value in one.items() if key not in NOT_ON_THE_BOARD}
        for one in state["fetuses"]
    ]
    open_ones = [one for one in state["notices"] if not one["acknowledged_at"]]
    return {**state, "fetuses": fetuses, "notices": open_ones}


def _stored(unit: Unit, labour: Labour, since_s: float) -> list[dict[str, Any]]:
    from ebbline.live.sample_store import assembled

    recording = assembled(labour, unit.store.pieces(labour.id, since_s=since_s))
    made = []
    for one in recording.channels:
        first = round(since_s * one.rate_hz)
        values = one.samples[first:].round(2).tolist()
        made.append(
            {
                "kind": one.kind.value,
                "fetus": one.fetus,
                "rate_hz": one.rate_hz,
                "first": first,
                "samples": [None if v != v else v for v in values],
            }
        )
    return made


def in_json(state: dict[str, Any]) -> str:
    """A state as the pages get it. Hundreds of beds send one every few seconds to each page:
    pydantic's writer takes a quarter of the standard one's time."""
    return to_json(state).decode()
