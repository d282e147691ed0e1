"""What a unit must not lose: samples, labours, devices, notices. On SQLite or PostgreSQL.

This is the house's one store of live samples; whoever else needs a labour's trace (the record's
archive, a page) takes it from `LiveStore.recording`. A packet is on disk when `append` returns,
and only then is it acknowledged to its device. Packets that are old enough to be final are packed
into compressed ten-minute chunks with checksums; a chunk that does not fit its checksum is an
error, never a guess. Every process of a unit may open the same store; who reads a labour is
settled by a lease with an epoch (`claim`), and what a process writes about a labour that is no
longer its own is refused (`NotOwnerError`).
"""

from __future__ import annotations

import hashlib
import json
import secrets
import time
import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlalchemy import Connection, and_, delete, insert, or_, select, text, update
from sqlalchemy.exc import DBAPIError

from ebbline.codec import from_data, from_json, to_data, to_json
from ebbline.errors import EbblineError
from ebbline.features.findings import Findings
from ebbline.live import schema
from ebbline.live.bed_reader import Checkpoint
from ebbline.live.packets import KINDS, SENSORS
from ebbline.recording.model import Channel, ChannelKind, Context, Provenance, Recording
from ebbline.store.durable import durable_engine
from ebbline.terms import SensorKind

FloatArray = NDArray[np.float64]

CHUNK_S = 600.0
"""Length of a packed chunk."""

LEASE_S = 10.0
"""A labour whose owner has not renewed its lease for so long may be claimed by another (ours)."""


class LiveStoreError(EbblineError):
    """The live store cannot do what is asked."""


class NotOwnerError(Exception):
    """Another process reads this labour now."""


@dataclass(frozen=True, slots=True)
class Labour:
    """A labour on a bed. started_at: time-zone-aware; sample numbers count from it.

    by_trace: its time is how far its trace has come, not the clock's (a replayed recording).
    """

    id: str
    bed: str
    case_number: str
    started_at: datetime
    context: Context
    closed_at: datetime | None = None
    owner: str = ""
    epoch: int = 0
    by_trace: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Piece:
    """Samples of one channel of one labour, placed: first counts from the labour's start."""

    labour: str
    kind: ChannelKind
    fetus: int
    sensor: SensorKind
    rate_hz: float
    first: int
    samples: FloatArray


@dataclass(frozen=True, slots=True)
class Notice:
    """A prompt to look. Times in s from the labour's start where so named, else aware datetimes.

    from_s: since when what it saw has held; at_s: when it was seen. grade: of those kinds that
    pass several limits. text: what it saw; rule: by which rule, with its source.
    """

    labour: str
    kind: str
    grade: str
    from_s: float
    at_s: float
    urgency: str
    text: str
    rule: str
    id: int = 0
    raised_at: datetime | None = None
    acknowledged_at: datetime | None = None
    acknowledged_by: str = ""
    escalated_at: datetime | None = None


class LiveStore:
    """The open store. Its methods block; a server calls them from a thread."""

    def __init__(self, place: str | Path) -> None:
        self.place = str(place)
        self.engine = durable_engine(place)
        try:
            with self.engine.begin() as connection:
                if self.engine.dialect.name == "postgresql":
                    connection.execute(text("SELECT pg_advisory_xact_lock(4272403)"))
                schema.METADATA.create_all(connection)
                found = connection.execute(select(schema.layout.c.version)).scalar()
                if found is None:
                    connection.execute(insert(schema.layout).values(version=schema.LAYOUT))
        except DBAPIError as error:
            raise LiveStoreError(
                f"the live store cannot be opened: {' '.join(str(error.orig).split())}.",
                where=self.place,
                remedy="Check the place, the rights to it and the room on its disk.",
            ) from error
        if found is not None and found != schema.LAYOUT:
            raise LiveStoreError(
                f"the live store has another layout ({found}).",
                where=self.place,
                remedy="Use the version of Ebbline that wrote it, or another place.",
            )

    def close(self) -> None:
        """Let go of the database."""
        self.engine.dispose()

    # ------------------------------------------------------------ labours and devices

    def open_labour(
        self,
        bed: str,
        case_number: str,
        started_at: datetime,
        context: Context | None = None,
        *,
        by_trace: bool = False,
    ) -> Labour:
        """Begin a labour on a bed. Raises LiveStoreError when the bed has one that goes on."""
        bed, case_number = _name(bed, "bed"), _name(case_number, "case number")
        context = context or Context()
        made = Labour(
            secrets.token_hex(8), bed, case_number, started_at, context, by_trace=by_trace
        )
        with self.engine.begin() as connection:
            if self.engine.dialect.name == "postgresql":
                connection.execute(text("SELECT pg_advisory_xact_lock(4272404)"))
            taken = connection.execute(
                select(schema.labour.c.case_number).where(
                    schema.labour.c.bed == bed, schema.labour.c.closed_at.is_(None)
                )
            ).scalar()
            if taken is not None:
                raise LiveStoreError(
                    f"there is a labour on this bed: case {taken}.",
                    where=bed,
                    remedy="End it first, or choose another bed.",
                )
            connection.execute(
                insert(schema.labour).values(
                    id=made.id,
                    bed=bed,
                    case_number=case_number,
                    started_at=started_at.timestamp(),
                    context=to_json(made.context),
                    owner="",
                    epoch=0,
                    lease_until=0.0,
                    watch="{}",
                    by_trace=int(by_trace),
                )
            )
        return made

    def close_labour(self, labour: str) -> None:
        """End the watching of a labour; its samples and notices stay."""
        with self.engine.begin() as connection:
            connection.execute(
                update(schema.labour)
                .where(schema.labour.c.id == labour, schema.labour.c.closed_at.is_(None))
                .values(closed_at=time.time())
            )

    def labours(self, *, closed: bool = False) -> tuple[Labour, ...]:
        """The labours that are going on, by bed; with closed, all."""
        asked = select(schema.labour).order_by(schema.labour.c.bed, schema.labour.c.started_at)
        if not closed:
            asked = asked.where(schema.labour.c.closed_at.is_(None))
        with self.engine.connect() as connection:
            return tuple(_labour(row) for row in connection.execute(asked).mappings())

    def labour(self, labour: str) -> Labour | None:
        """One labour."""
        asked = select(schema.labour).where(schema.labour.c.id == labour)
        with self.engine.connect() as connection:
            row = connection.execute(asked).mappings().first()
        return None if row is None else _labour(row)

    def add_device(self, bed: str, name: str) -> str:
        """A new device for a bed; its token, which is shown this once."""
        token = secrets.token_urlsafe(24)
        with self.engine.begin() as connection:
            connection.execute(
                insert(schema.device).values(
                    token_hash=_hash(token),
                    bed=_name(bed, "bed"),
                    name=_name(name, "device"),
                    made_at=time.time(),
                )
            )
        return token

    def bed_of(self, token: str) -> str | None:
        """The bed for which a token's device may send, or None."""
        asked = select(schema.device.c.bed).where(
            schema.device.c.token_hash == _hash(token), schema.device.c.withdrawn_at.is_(None)
        )
        with self.engine.connect() as connection:
            return connection.execute(asked).scalar()

    def withdraw_device(self, bed: str, name: str) -> int:
        """Withdraw the tokens of a bed's devices of a name; how many there were."""
        with self.engine.begin() as connection:
            done = connection.execute(
                update(schema.device)
                .where(
                    schema.device.c.bed == bed,
                    schema.device.c.name == name,
                    schema.device.c.withdrawn_at.is_(None),
                )
                .values(withdrawn_at=time.time())
            )
        return int(done.rowcount)

    # ------------------------------------------------------------ samples

    def append(self, pieces: Sequence[Piece]) -> None:
        """Samples to disk: all of them, or (with an error) none."""
        rows = []
        at = time.time()
        for one in pieces:
            data = np.ascontiguousarray(one.samples, "<f8").tobytes()
            rows.append(
                {
                    "labour": one.labour,
                    "kind": KINDS.index(one.kind),
                    "fetus": one.fetus,
                    "sensor": SENSORS.index(one.sensor),
                    "rate_hz": one.rate_hz,
                    "first": one.first,
                    "count": len(one.samples),
                    "data": data,
                    "checksum": zlib.crc32(data),
                    "received_at": at,
                }
            )
        if rows:
            with self.engine.begin() as connection:
                connection.execute(insert(schema.packet), rows)

    def received(self, labours: Sequence[str], since: float) -> list[Piece]:
        """Samples of some labours received since a time (seconds since 1970), in order."""
        packet = schema.packet
        asked = (
            select(packet)
            .where(packet.c.labour.in_(labours), packet.c.received_at >= since)
            .order_by(packet.c.number)
        )
        with self.engine.connect() as connection:
            return [self._plain(row) for row in connection.execute(asked).mappings()]

    def pieces(self, labour: str, *, since_s: float = 0.0) -> list[Piece]:
        """Samples that reach beyond since_s, chunks first, then packets in order of arrival.

        Raises LiveStoreError for a row that does not fit its checksum.
        """
        chunk, packet = schema.chunk, schema.packet
        found: list[Piece] = []
        with self.engine.connect() as connection:
            rows = connection.execute(
                select(chunk)
                .where(
                    chunk.c.labour == labour,
                    (chunk.c.first + chunk.c.count) > since_s * chunk.c.rate_hz,
                )
                .order_by(chunk.c.first)
            ).mappings()
            found += [self._unpacked(row) for row in rows]
            rows = connection.execute(
                select(packet)
                .where(
                    packet.c.labour == labour,
                    (packet.c.first + packet.c.count) > since_s * packet.c.rate_hz,
                )
                .order_by(packet.c.number)
            ).mappings()
            found += [self._plain(row) for row in rows]
        return found

    def pack(self, labour: str, before_s: float) -> int:
        """Pack the packets that end by before_s into chunks; how many packets there were.

        What was received first stays, as in the reader. A late packet for a stretch that is
        packed already is laid into its chunk where that has nothing.
        """
        packet, chunk = schema.packet, schema.chunk
        with self.engine.begin() as connection:
            # One packs at a time: two would each drop what the other has laid in.
            asked = select(schema.labour.c.id).where(schema.labour.c.id == labour)
            connection.execute(asked.with_for_update())
            rows = list(
                connection.execute(
                    select(packet)
                    .where(
                        packet.c.labour == labour,
                        (packet.c.first + packet.c.count) <= before_s * packet.c.rate_hz,
                    )
                    .order_by(packet.c.number)
                ).mappings()
            )
            opened: dict[tuple[int, int, int], tuple[FloatArray, int, float]] = {}
            for row in rows:
                piece = self._plain(row)
                length = round(CHUNK_S * piece.rate_hz)
                for number in range(
                    piece.first // length, (piece.first + len(piece.samples) - 1) // length + 1
                ):
                    key = (row["kind"], row["fetus"], number * length)
                    if key not in opened:
                        opened[key] = (
                            self._chunk(connection, labour, key, length),
                            row["sensor"],
                            piece.rate_hz,
                        )
                    _lay(opened[key][0], key[2], piece.samples, piece.first)
            for (kind, fetus, first), (samples, sensor, rate_hz) in opened.items():
                data = zlib.compress(samples.astype("<f8").tobytes(), 6)
                connection.execute(
                    delete(chunk).where(
                        chunk.c.labour == labour,
                        chunk.c.kind == kind,
                        chunk.c.fetus == fetus,
                        chunk.c.first == first,
                    )
                )
                connection.execute(
                    insert(chunk).values(
                        labour=labour,
                        kind=kind,
                        fetus=fetus,
                        first=first,
                        count=len(samples),
                        sensor=sensor,
                        rate_hz=rate_hz,
                        data=data,
                        checksum=hashlib.sha256(data).hexdigest(),
                    )
                )
            numbers = [row["number"] for row in rows]
            for start in range(0, len(numbers), 500):
                connection.execute(
                    delete(packet).where(packet.c.number.in_(numbers[start : start + 500]))
                )
        return len(rows)

    def recording(self, labour: Labour) -> Recording:
        """The whole trace of a labour so far."""
        return assembled(labour, self.pieces(labour.id))

    def _chunk(
        self, connection: Connection, labour: str, key: tuple[int, int, int], length: int
    ) -> FloatArray:
        chunk = schema.chunk
        row = (
            connection.execute(
                select(chunk).where(
                    chunk.c.labour == labour,
                    chunk.c.kind == key[0],
                    chunk.c.fetus == key[1],
                    chunk.c.first == key[2],
                )
            )
            .mappings()
            .first()
        )
        return np.full(length, np.nan) if row is None else self._unpacked(row).samples.copy()

    def _plain(self, row: Any) -> Piece:
        if zlib.crc32(row["data"]) != row["checksum"]:
            raise self._damaged(row)
        return _piece(row, np.frombuffer(row["data"], "<f8"))

    def _unpacked(self, row: Any) -> Piece:
        if hashlib.sha256(row["data"]).hexdigest() != row["checksum"]:
            raise self._damaged(row)
        return _piece(row, np.frombuffer(zlib.decompress(row["data"]), "<f8"))

    def _damaged(self, row: Any) -> LiveStoreError:
        at_s = row["first"] / row["rate_hz"]
        return LiveStoreError(
            f"stored samples at {at_s:.0f} s of labour {row['labour']} do not fit their checksum.",
            where=self.place,
            remedy="Restore the store from a backup; nothing was read from the damaged samples.",
        )

    # ------------------------------------------------------------ who reads a labour

    def claim(
        self, owner: str, most: int, *, at_once: int = 1000, now: float | None = None
    ) -> tuple[Labour, ...]:
        """Renew the leases of an owner and claim free labours up to `most` in all; those it has.

        at_once: of the free ones no more than so many are claimed now, so that processes that
        start together share them.

        A labour is free when nobody has it or its lease has run out. Each claim raises the epoch.
        """
        now = time.time() if now is None else now
        table = schema.labour
        with self.engine.begin() as connection:
            connection.execute(
                update(table)
                .where(table.c.owner == owner, table.c.closed_at.is_(None))
                .values(lease_until=now + LEASE_S)
            )
            held = connection.execute(
                select(table.c.id).where(table.c.owner == owner, table.c.closed_at.is_(None))
            ).all()
            free = and_(
                table.c.closed_at.is_(None),
                table.c.owner != owner,
                or_(table.c.owner == "", table.c.lease_until < now),
            )
            room = max(0, min(at_once, most - len(held)))
            wanted = connection.execute(select(table.c.id).where(free).limit(room)).scalars().all()
            for labour in wanted:
                connection.execute(
                    update(table)
                    .where(table.c.id == labour, free)
                    .values(owner=owner, epoch=table.c.epoch + 1, lease_until=now + LEASE_S)
                )
            rows = connection.execute(
                select(table).where(table.c.owner == owner, table.c.closed_at.is_(None))
            ).mappings()
            return tuple(_labour(row) for row in rows)

    def release(self, owner: str) -> None:
        """Give back all labours of an owner, so that others need not wait for its leases."""
        with self.engine.begin() as connection:
            connection.execute(
                update(schema.labour)
                .where(schema.labour.c.owner == owner)
                .values(owner="", lease_until=0.0)
            )

    def _own(self, connection: Connection, labour: Labour) -> None:
        asked = select(schema.labour.c.owner, schema.labour.c.epoch).where(
            schema.labour.c.id == labour.id
        )
        row = connection.execute(asked.with_for_update()).first()
        if row is None or row.owner != labour.owner or row.epoch != labour.epoch:
            raise NotOwnerError(labour.id)

    # ------------------------------------------------------------ what the owner writes

    def save_checkpoint(self, labour: Labour, checkpoint: Checkpoint) -> None:
        """Keep the final findings. Raises NotOwnerError when the labour is another's now."""
        data = zlib.compress(to_json(_plain_checkpoint(checkpoint)).encode(), 6)
        with self.engine.begin() as connection:
            self._own(connection, labour)
            table = schema.checkpoint
            connection.execute(delete(table).where(table.c.labour == labour.id))
            connection.execute(
                insert(table).values(labour=labour.id, at_s=checkpoint.at_s, data=data)
            )

    def checkpoint(self, labour: str) -> Checkpoint | None:
        """The last checkpoint of a labour, or None."""
        asked = select(schema.checkpoint.c.data).where(schema.checkpoint.c.labour == labour)
        with self.engine.connect() as connection:
            data = connection.execute(asked).scalar()
        if data is None:
            return None
        saved = json.loads(zlib.decompress(data))
        return Checkpoint(
            saved["final_s"],
            saved["read_from_s"],
            saved["at_s"],
            tuple(from_data(Findings, one) for one in saved["final"]),
            saved.get("hills_before", 0.0),
        )

    def record(
        self, labour: Labour, raised: Iterable[Notice], watch: dict[str, Any]
    ) -> list[Notice]:
        """Add notices and keep what the watch must remember, together; the notices as kept.

        A notice that is there already is not added again. Raises NotOwnerError.
        """
        added = []
        with self.engine.begin() as connection:
            self._own(connection, labour)
            for one in raised:
                same = select(schema.notice.c.id).where(
                    schema.notice.c.labour == labour.id,
                    schema.notice.c.kind == one.kind,
                    schema.notice.c.grade == one.grade,
                    schema.notice.c.at_s == one.at_s,
                )
                if (there := connection.execute(same).scalar()) is not None:
                    added.append(self._kept(connection, there))
                    continue
                done = connection.execute(
                    insert(schema.notice)
                    .values(
                        labour=labour.id,
                        kind=one.kind,
                        grade=one.grade,
                        from_s=one.from_s,
                        at_s=one.at_s,
                        raised_at=time.time(),
                        urgency=one.urgency,
                        text=one.text,
                        rule=one.rule,
                    )
                    .returning(schema.notice)
                )
                added.append(_notice(done.mappings().one()))
            connection.execute(
                update(schema.labour)
                .where(schema.labour.c.id == labour.id)
                .values(watch=json.dumps(watch))
            )
        return added

    @staticmethod
    def _kept(connection: Connection, number: int) -> Notice:
        asked = select(schema.notice).where(schema.notice.c.id == number)
        return _notice(connection.execute(asked).mappings().one())

    def watch(self, labour: str) -> dict[str, Any]:
        """What the watch of a labour remembers."""
        asked = select(schema.labour.c.watch).where(schema.labour.c.id == labour)
        with self.engine.connect() as connection:
            found = json.loads(connection.execute(asked).scalar() or "{}")
        return found if isinstance(found, dict) else {}

    # ------------------------------------------------------------ notices

    def notices(self, labour: str, *, most: int = 200) -> tuple[Notice, ...]:
        """The newest notices of a labour, oldest first."""
        table = schema.notice
        asked = select(table).where(table.c.labour == labour).order_by(table.c.id.desc())
        with self.engine.connect() as connection:
            rows = connection.execute(asked.limit(most)).mappings().all()
        return tuple(_notice(row) for row in reversed(rows))

    def acknowledge(self, notice: int, by: str) -> Notice:
        """Write down who saw a notice; the first name stays. Raises LiveStoreError."""
        by = _name(by, "name")
        table = schema.notice
        with self.engine.begin() as connection:
            connection.execute(
                update(table)
                .where(table.c.id == notice, table.c.acknowledged_at.is_(None))
                .values(acknowledged_at=time.time(), acknowledged_by=by)
            )
            row = connection.execute(select(table).where(table.c.id == notice)).mappings().first()
        if row is None:
            raise LiveStoreError("there is no such notice.", where=f"notice {notice}")
        return _notice(row)

    def escalate(self, notices: Sequence[int]) -> None:
        """Mark notices that nobody acknowledged in time as passed on, once."""
        with self.engine.begin() as connection:
            connection.execute(
                update(schema.notice)
                .where(
                    schema.notice.c.id.in_(list(notices)),
                    schema.notice.c.escalated_at.is_(None),
                    schema.notice.c.acknowledged_at.is_(None),
                )
                .values(escalated_at=time.time())
            )


def assembled(labour: Labour, pieces: Sequence[Piece]) -> Recording:
    """A recording of all pieces: in order of arrival, what came first stays."""
    lengths: dict[tuple[ChannelKind, int], int] = {}
    last: dict[tuple[ChannelKind, int], Piece] = {}
    for one in pieces:
        key = (one.kind, one.fetus)
        lengths[key] = max(lengths.get(key, 0), one.first + len(one.samples))
        last[key] = one
    arrays = {key: np.full(length, np.nan) for key, length in lengths.items()}
    for one in pieces:
        _lay(arrays[(one.kind, one.fetus)], 0, one.samples, one.first)
    channels = tuple(
        Channel(
            kind,
            arrays[(kind, fetus)],
            last[(kind, fetus)].rate_hz,
            last[(kind, fetus)].sensor,
            fetus,
        )
        for kind, fetus in sorted(arrays)
    )
    return Recording(
        name=f"case {labour.case_number}",
        channels=channels,
        start=labour.started_at,
        context=labour.context,
        provenance=Provenance(source="live", format="live"),
    )


def _lay(into: FloatArray, begins: int, samples: FloatArray, first: int) -> None:
    start, end = max(first, begins), min(first + len(samples), begins + len(into))
    if end <= start:
        return
    place = into[start - begins : end - begins]
    new = samples[start - first : end - first]
    place[:] = np.where(np.isnan(place), new, place)


def _piece(row: Any, samples: FloatArray) -> Piece:
    return Piece(
        row["labour"],
        KINDS[row["kind"]],
        row["fetus"],
        SENSORS[row["sensor"]],
        row["rate_hz"],
        row["first"],
        samples,
    )


def _labour(row: Any) -> Labour:
    return Labour(
        id=row["id"],
        bed=row["bed"],
        case_number=row["case_number"],
        started_at=datetime.fromtimestamp(row["started_at"], UTC),
        context=from_json(Context, row["context"]),
        closed_at=_moment(row["closed_at"]),
        owner=row["owner"],
        epoch=row["epoch"],
        by_trace=bool(row["by_trace"]),
    )


def _notice(row: Any) -> Notice:
    return Notice(
        labour=row["labour"],
        kind=row["kind"],
        grade=row["grade"],
        from_s=row["from_s"],
        at_s=row["at_s"],
        urgency=row["urgency"],
        text=row["text"],
        rule=row["rule"],
        id=row["id"],
        raised_at=_moment(row["raised_at"]),
        acknowledged_at=_moment(row["acknowledged_at"]),
        acknowledged_by=row["acknowledged_by"] or "",
        escalated_at=_moment(row["escalated_at"]),
    )


def _plain_checkpoint(checkpoint: Checkpoint) -> dict[str, Any]:
    return {
        "final_s": checkpoint.final_s,
        "read_from_s": checkpoint.read_from_s,
        "at_s": checkpoint.at_s,
        "hills_before": checkpoint.hills_before,
        "final": [to_data(one) for one in checkpoint.final],
    }


def _moment(at: float | None) -> datetime | None:
    return None if at is None else datetime.fromtimestamp(at, UTC)


def _hash(token: str) -> str:
    return hashlib.sha256(token.encode()).hexdigest()


def _name(said: str, what: str) -> str:
    name = " ".join(said.split())
    if not 0 < len(name) <= 40 or not name.isprintable():
        raise LiveStoreError(f"a {what} has 1 to 40 characters.", where=what)
    return name
