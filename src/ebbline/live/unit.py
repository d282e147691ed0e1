"""The beds of a unit in one process: samples in, readings, notices and acknowledgements out.

Samples are gathered for a moment, written to disk together, and only then acknowledged and read.
Each process reads the labours whose lease it holds; when it dies its leases run out, and another
process takes the labours over from the store. With one process and no bus nothing else is needed.
"""

from __future__ import annotations

import asyncio
import contextlib
import logging
import os
import secrets
import socket
import time
from collections.abc import AsyncIterator, Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

from ebbline.live.bed import BedUpdate, Known, WatchedBed
from ebbline.live.bed_reader import MOST_AHEAD_S, Checkpoint, Pace, TooFarAheadError, compiled
from ebbline.live.bus import Bus
from ebbline.live.notice_policy import NoticePolicy, load_notices
from ebbline.live.packets import Packet, PacketError
from ebbline.live.sample_store import (
    LEASE_S,
    Labour,
    LiveStore,
    Notice,
    NotOwnerError,
    Piece,
)

log = logging.getLogger("ebbline.live")

GATHER_S = 0.02
"""Samples that arrive within this are written to disk together."""

MOST_WAITING = 8_000
"""Packets that may wait for the disk; beyond it a sender is told to come again."""

MOST_AT_ONCE = 2_000
"""Packets that are written to disk together."""

AHEAD_S = 60.0
"""A packet may be this far ahead of the clock here (clocks differ)."""

LOOK_S = 0.03
"""How long to rest after a look over all beds for what is due: hundreds of beds make a look long,
and what falls due meanwhile waits for its end and for this."""

MISSED_EVERY_S = 30.0
"""How often the store is asked for samples that the bus may have lost."""

CLAIM_AT_ONCE = 25
"""Labours claimed at a time, so that processes that start together share them."""

LOAD_AHEAD_S = MOST_AHEAD_S - 3600.0
"""So much of a labour that is loaded may lie ahead of what was read of it."""

DEVICE_S = 60.0
"""A withdrawn token is refused within this."""

HELD_MESSAGES = 200
"""Messages that wait for a page; the oldest go first, the next state replaces them."""


class BusyError(Exception):
    """The disk is behind; the sender must come again."""


@dataclass(slots=True)
class _Waiting:
    """The channels of a packet, written together or not at all."""

    pieces: list[Piece]
    done: asyncio.Future[None]


def _refuse(waiting: list[_Waiting], why: Exception) -> None:
    """Answer those who sent these; some may have gone already."""
    for one in waiting:
        if not one.done.done():
            one.done.set_exception(why)


def _closing() -> BusyError:
    return BusyError("the unit is closing.")


class Unit:
    """One process of a unit.

    known: what the record says of a labour (None: it has none), asked once a minute; the seconds
    are how far its trace has come.
    """

    def __init__(
        self,
        store: LiveStore,
        *,
        policy: NoticePolicy | None = None,
        bus: Bus | None = None,
        name: str = "",
        most_beds: int = 600,
        pace: Pace | None = None,
        known: Callable[[Labour, float], Known | None] | None = None,
        now: Callable[[], float] = time.time,
    ) -> None:
        self.store = store
        self.policy = policy or load_notices()
        self.bus = bus
        self.name = name or f"{socket.gethostname()}-{os.getpid()}-{secrets.token_hex(3)}"
        self.most_beds = most_beds
        self.pace = pace
        self.now = now
        self.beds: dict[str, WatchedBed] = {}
        self.states: dict[str, dict[str, Any]] = {}
        self.lags_s: list[float] | None = None
        self._known = known
        self._kernels = False
        self._open: dict[str, Labour] = {}
        self._ends: dict[tuple[str, str, int], tuple[float, int | None]] = {}
        self._devices: dict[str, tuple[str, float]] = {}
        self._waiting: asyncio.Queue[_Waiting] = asyncio.Queue(MOST_WAITING)
        self._pages: dict[asyncio.Queue[dict[str, Any]], str] = {}
        self._tasks: list[asyncio.Task[None]] = []
        # One thread each, so that writing a notice never waits behind a minute's packing.
        self._samples_thread = ThreadPoolExecutor(1, "live-samples")
        self._notices_thread = ThreadPoolExecutor(1, "live-notices")

    # ------------------------------------------------------------ its life

    async def start(self) -> None:
        """Take up the labours and begin to read. Raises EbblineError when the bus is not there."""
        if self.bus is not None:
            await self.bus.open(self._told_piece, self._told_state)
        await self._claim()
        for work in (self._write, self._read, self._hold):
            self._tasks.append(asyncio.create_task(self._forever(work)))
        if self.bus is not None:
            self._tasks.append(asyncio.create_task(self._forever(self._catch_up)))

    async def stop(self) -> None:
        """Let go of the labours, so that another process need not wait for the leases."""
        for task in self._tasks:
            task.cancel()
        await asyncio.gather(*self._tasks, return_exceptions=True)
        self._tasks.clear()
        while not self._waiting.empty():
            _refuse([self._waiting.get_nowait()], _closing())
        await self._in(self._notices_thread, self.store.release, self.name)
        if self.bus is not None:
            await self.bus.close()
        self._samples_thread.shutdown()
        self._notices_thread.shutdown()

    async def _forever(self, work: Callable[[], Any]) -> None:
        """A part of the work that goes on after an error, which the log tells."""
        while True:
            try:
                await work()
            except asyncio.CancelledError:
                raise
            except Exception:
                log.exception("the unit's work was interrupted; it goes on")
                await asyncio.sleep(1.0)

    # ------------------------------------------------------------ samples in

    async def submit(self, labour_id: str, packet: Packet) -> None:
        """Take a packet; returns when its samples are on disk. Raises PacketError, BusyError."""
        labour = await self._labour(labour_id)
        pieces = self._placed(labour, packet)
        if not pieces:
            return
        entry = _Waiting(pieces, asyncio.get_running_loop().create_future())
        try:
            self._waiting.put_nowait(entry)
        except asyncio.QueueFull:
            raise BusyError("the disk is behind; send again in a moment.") from None
        await entry.done

    def _placed(self, labour: Labour, packet: Packet) -> list[Piece]:
        """The packet's channels on the labour's own count of samples."""
        start_s = (packet.start - labour.started_at).total_seconds()
        if not labour.by_trace and packet.start.timestamp() > self.now() + AHEAD_S:
            raise PacketError(
                "the packet's start lies in the future.",
                where="start",
                remedy="Set the device's clock.",
            )
        pieces = []
        for one in packet.channels:
            key = (labour.id, one.kind.value, one.fetus)
            rate_hz, end = self._ends.get(key, (packet.rate_hz, None))
            if rate_hz != packet.rate_hz:
                raise PacketError(
                    f"this channel came with {rate_hz:g} samples a second, now {packet.rate_hz:g}.",
                    where="rate_hz",
                    remedy="End the labour on this bed and begin it again to change the rate.",
                )
            first = round(start_s * rate_hz)
            if end is not None and abs(first - end) == 1:
                # Clocks are rounded: what follows on is meant to follow on.
                first = end
            samples = one.samples
            if first < 0:
                samples, first = samples[-first:], 0
            if not len(samples):
                continue
            self._ends[key] = (rate_hz, max(end or 0, first + len(samples)))
            pieces.append(
                Piece(labour.id, one.kind, one.fetus, one.sensor, rate_hz, first, samples)
            )
        return pieces

    async def _write(self) -> None:
        """Gather what waits, write it to disk, acknowledge it, read it."""
        batch = [await self._waiting.get()]
        try:
            await asyncio.sleep(GATHER_S)
            while not self._waiting.empty() and len(batch) < MOST_AT_ONCE:
                batch.append(self._waiting.get_nowait())
            pieces = [piece for one in batch for piece in one.pieces]
            await self._in(self._samples_thread, self.store.append, pieces)
        except asyncio.CancelledError:
            # Whether it is on disk is not known: what is sent again is written once.
            _refuse(batch, _closing())
            raise
        except Exception as error:
            _refuse(batch, error)
            return
        for one in batch:
            if not one.done.done():
                one.done.set_result(None)
        for piece in pieces:
            self._deliver(piece)
            if self.bus is not None and piece.labour not in self.beds:
                await self.bus.tell_piece(piece)

    def _deliver(self, piece: Piece) -> None:
        bed = self.beds.get(piece.labour)
        if bed is None:
            return
        try:
            bed.receive(piece)
        except (TooFarAheadError, ValueError):
            log.warning("samples of %s cannot be read live; they are kept", piece.labour)

    # ------------------------------------------------------------ reading

    def seconds(self, bed: WatchedBed) -> float:
        """A bed's present, s from its labour's start."""
        if bed.labour.by_trace:
            return bed.reader.trace_end_s + bed.reader.pace.settle_s
        return self.now() - bed.labour.started_at.timestamp()

    async def _read(self) -> None:
        """One look over all beds for what is due."""
        if not self._kernels:
            await asyncio.to_thread(compiled)
            self._kernels = True
        for bed in list(self.beds.values()):
            due_s = bed.reader.read_to_s + bed.reader.pace.step_s + bed.reader.pace.settle_s
            now_s = self.seconds(bed)
            if now_s < due_s:
                continue
            update = bed.advance(now_s)
            if update is not None:
                await self._publish(bed, update)
                if self.lags_s is not None and not bed.labour.by_trace:
                    self.lags_s.append(self.seconds(bed) - due_s)
            await asyncio.sleep(0)
        await asyncio.sleep(LOOK_S)

    async def _publish(self, bed: WatchedBed, update: BedUpdate) -> None:
        labour = bed.labour
        # What could not be saved the last time is tried again with what is new.
        bed.unsaved += update.raised
        checkpoint = update.checkpoint or bed.unsaved_checkpoint
        bed.unsaved_checkpoint = checkpoint
        unanswered = bed.watch.unanswered(self.seconds(bed))
        memory = {k: v for k, v in bed.watch.memory.items() if k != "at_s"}
        if bed.unsaved or unanswered or checkpoint or memory != bed.remembered:
            raised, watched = tuple(bed.unsaved), dict(bed.watch.memory)
            try:
                changed = await self._in(
                    self._notices_thread,
                    self._keep,
                    labour,
                    raised,
                    watched,
                    checkpoint,
                    [one.id for one in unanswered if one.id],
                )
            except NotOwnerError:
                self._drop(labour.id)
                return
            for one in changed:
                bed.watch.note(one)
            del bed.unsaved[: len(raised)]
            bed.unsaved_checkpoint = None
            bed.remembered = memory
        await self._show(bed, update.state)
        if update.full:
            await self._learn(bed)

    async def _show(self, bed: WatchedBed, shown: dict[str, Any]) -> None:
        """Tell every page, and the other processes, how a bed is."""
        state = {
            **shown,
            "told_at": datetime.fromtimestamp(self.now(), UTC).isoformat(),
            "notices": [notice_data(one) for one in bed.watch.kept[-50:]],
        }
        self.states[bed.labour.id] = state
        self._tell({"type": "state", **state})
        if self.bus is not None:
            await self.bus.tell_state(state)

    async def _learn(self, bed: WatchedBed) -> None:
        """What was written into the record counts from now on."""
        if self._known is None:
            return
        trace_s = bed.reader.trace_end_s
        found = await self._in(self._notices_thread, self._known, bed.labour, trace_s)
        if found is not None and not bed.know(found):
            log.info("%s is read anew: its weeks or a sensor were written", bed.labour.id)
            await self._take(bed.labour, anew=True)

    def _keep(
        self,
        labour: Labour,
        raised: tuple[Notice, ...],
        memory: dict[str, Any],
        checkpoint: Checkpoint | None,
        unanswered: list[int],
    ) -> list[Notice]:
        """In a thread: notices, then the checkpoint, then the packing that it allows."""
        changed = self.store.record(labour, raised, memory)
        if unanswered:
            self.store.escalate(unanswered)
            changed += self.store.notices(labour.id)
        if checkpoint is not None:
            self.store.save_checkpoint(labour, checkpoint)
            self.store.pack(labour.id, checkpoint.read_from_s)
        return changed

    async def acknowledge(self, labour_id: str, notice: int, by: str) -> Notice:
        """Write down who saw a notice, and tell all pages."""
        done: Notice = await self._in(self._notices_thread, self.store.acknowledge, notice, by)
        bed = self.beds.get(labour_id)
        if bed is not None:
            bed.watch.note(done)
        state = self.states.get(labour_id)
        if state is not None:
            notices = [
                notice_data(done) if one["id"] == done.id else one for one in state["notices"]
            ]
            state = {**state, "notices": notices}
            self.states[labour_id] = state
            self._tell({"type": "state", **state})
            if self.bus is not None:
                await self.bus.tell_state(state)
        return done

    # ------------------------------------------------------------ whose labours

    async def _hold(self) -> None:
        await asyncio.sleep(LEASE_S / 4)
        await self._claim()

    async def _claim(self) -> None:
        held = await self._in(self._notices_thread, self._claimed)
        self._open = {one.id: one for one in await self._in(self._notices_thread, self._labours)}
        for labour in held:
            mine = self.beds.get(labour.id)
            if mine is None or mine.labour.epoch != labour.epoch:
                await self._take(labour)
        for labour_id in set(self.beds) - {one.id for one in held}:
            self._drop(labour_id)

    def _claimed(self) -> tuple[Labour, ...]:
        return self.store.claim(self.name, self.most_beds, at_once=CLAIM_AT_ONCE)

    def _labours(self) -> tuple[Labour, ...]:
        return self.store.labours()

    async def _take(self, labour: Labour, *, anew: bool = False) -> None:
        """Load a labour from the store and read it from now on."""
        began = self.now()
        bed = await self._in(self._notices_thread, self._load, labour, anew)
        self.beds[labour.id] = bed
        # What arrived while it was loaded is in the store, or will be delivered.
        for piece in await self._in(
            self._notices_thread, self.store.received, [labour.id], began - 30.0
        ):
            self._deliver(piece)
        if labour.id not in self.states and labour.id in self.beds:
            # A bed from which nothing comes must stand on every board too.
            await self._show(bed, bed.state)

    def _load(self, labour: Labour, anew: bool) -> WatchedBed:
        """In a thread: a labour as far as it is in the store. anew: from its first sample on."""
        checkpoint = None if anew else self.store.checkpoint(labour.id)
        bed = WatchedBed(
            labour,
            self.policy,
            kept=self.store.notices(labour.id),
            memory=self.store.watch(labour.id),
            checkpoint=checkpoint,
            pace=self.pace,
        )
        if self._known is not None:
            found = self._known(labour, 0.0 if checkpoint is None else checkpoint.at_s)
            if found is not None and not bed.know(found):
                return self._load(labour, True)
        watched_s = float(bed.watch.memory.get("at_s", 0.0))
        since_s = 0.0 if checkpoint is None else checkpoint.read_from_s
        for piece in self.store.pieces(labour.id, since_s=since_s):
            begins_s = piece.first / piece.rate_hz
            if begins_s > bed.reader.read_to_s + LOAD_AHEAD_S:
                # Hours at once: what is behind is read, so that what follows is not too far ahead.
                bed.reader.advance(min(begins_s, watched_s))
            with contextlib.suppress(TooFarAheadError, ValueError):
                bed.receive(piece)
            key = (labour.id, piece.kind.value, piece.fetus)
            end = piece.first + len(piece.samples)
            self._ends[key] = (piece.rate_hz, max(end, self._ends.get(key, (0.0, 0))[1] or 0))
        if anew:
            # What was watched before raises nothing again: it is read here, beside the other beds.
            bed.reader.advance(watched_s)
        return bed

    def _drop(self, labour_id: str) -> None:
        self.beds.pop(labour_id, None)
        if labour_id not in self._open:
            self.states.pop(labour_id, None)
            self._ends = {key: end for key, end in self._ends.items() if key[0] != labour_id}

    async def take_up(self, labour: Labour) -> None:
        """Begin to read a labour that was just opened, without waiting for the next look."""
        self._open[labour.id] = labour
        await self._claim()

    async def _labour(self, labour_id: str) -> Labour:
        found = self._open.get(labour_id)
        if found is None:
            found = await self._in(self._notices_thread, self.store.labour, labour_id)
            if found is None or found.closed_at is not None:
                raise PacketError("no labour is going on there.", where=labour_id)
            self._open[labour_id] = found
        return found

    async def let_go(self, labour_id: str) -> None:
        """Stop reading a labour that was just ended, and tell the pages."""
        self._open.pop(labour_id, None)
        self._drop(labour_id)
        self._tell({"type": "ended", "labour": labour_id})

    def known_device(self, token: str) -> str | None:
        """The bed of a device that was asked for within the last minute."""
        bed, until = self._devices.get(token, ("", 0.0))
        return bed if until > self.now() else None

    def remember_device(self, token: str, bed: str) -> None:
        """Ask the store for this token again in a minute only."""
        if len(self._devices) > 4 * self.most_beds:
            self._devices.clear()
        self._devices.setdefault(token, (bed, self.now() + DEVICE_S))
        if self._devices[token][1] <= self.now():
            self._devices[token] = (bed, self.now() + DEVICE_S)

    def labour_on(self, bed: str) -> Labour | None:
        """The labour that goes on on a bed."""
        return next((one for one in self._open.values() if one.bed == bed), None)

    # ------------------------------------------------------------ the other processes

    async def _told_piece(self, piece: Piece) -> None:
        self._deliver(piece)

    async def _told_state(self, state: dict[str, Any]) -> None:
        if state["labour"] not in self.beds:
            self.states[state["labour"]] = state
            self._tell({"type": "state", **state})

    async def _catch_up(self) -> None:
        """Read from the store what the bus may have lost."""
        assert self.bus is not None
        away = not self.bus.connected
        await asyncio.sleep(2.0 if away else MISSED_EVERY_S)
        since = self.now() - (2 * MISSED_EVERY_S)
        mine = list(self.beds)
        for piece in await self._in(self._notices_thread, self.store.received, mine, since):
            self._deliver(piece)

    # ------------------------------------------------------------ pages

    def _tell(self, message: dict[str, Any]) -> None:
        for queue, wanted in self._pages.items():
            if wanted in ("", message["labour"]):
                if queue.full():
                    queue.get_nowait()
                queue.put_nowait(message)

    @contextlib.asynccontextmanager
    async def listening(self, labour_id: str = "") -> AsyncIterator[asyncio.Queue[dict[str, Any]]]:
        """The states of a labour (or of all) as they come."""
        queue: asyncio.Queue[dict[str, Any]] = asyncio.Queue(HELD_MESSAGES)
        self._pages[queue] = labour_id
        try:
            yield queue
        finally:
            del self._pages[queue]

    async def _in(self, thread: ThreadPoolExecutor, work: Callable[..., Any], *given: Any) -> Any:
        return await asyncio.get_running_loop().run_in_executor(thread, work, *given)


def notice_data(one: Notice) -> dict[str, Any]:
    """A notice as the pages get it."""
    return {
        "id": one.id,
        "kind": one.kind,
        "grade": one.grade,
        "from_s": one.from_s,
        "at_s": one.at_s,
        "urgency": one.urgency,
        "text": one.text,
        "rule": one.rule,
        "raised_at": None if one.raised_at is None else one.raised_at.isoformat(),
        "acknowledged_at": None if one.acknowledged_at is None else one.acknowledged_at.isoformat(),
        "acknowledged_by": one.acknowledged_by,
        "escalated": one.escalated_at is not None,
    }
