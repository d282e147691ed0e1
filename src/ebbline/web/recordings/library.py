"""The opened recordings: kept in the store, held in memory while they are looked at.

The store is the truth. What is known of a labour has a version there, and everything that is held
in memory is held under the version it was made from: a change makes nothing stale, it makes a new
version. One lock for each recording keeps two changes from coming between each other.
"""

from __future__ import annotations

import hashlib
import secrets
import threading
import zlib
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from sqlalchemy import delete, func, select

from ebbline.errors import EbblineError, RecordingError
from ebbline.store import Store, StoreFullError
from ebbline.web.errors import NotThereError, StaleError
from ebbline.web.held import Held
from ebbline.web.recordings.cards import Card, card_of, searched, summary_of
from ebbline.web.recordings.models import (
    KnownLabour,
    RecordingName,
    StoredChannel,
    StoredRecording,
)

if TYPE_CHECKING:
    from ebbline.features.findings import Findings
    from ebbline.reading.model import Reading
    from ebbline.recording.model import Context, Recording
    from ebbline.terms import Window
    from ebbline.web.settings import Limits

HELD_RECORDINGS = 6
HELD_READINGS = 48
LONGEST_NAME = 120


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of a labour, who said so and when. version 0: as it came with the file."""

    version: int
    context: Context
    author: str
    made_at: datetime | None


class StaleContextError(StaleError):
    """Someone else said what is known in the meantime. kept: what holds now."""

    def __init__(self, kept: Known) -> None:
        self.kept = kept
        super().__init__(
            f"{kept.author} changed what is known of this labour in the meantime.",
            remedy="Look at both, and keep what is right.",
        )


class Library:
    """Recordings in and out of the store, and their readings."""

    def __init__(self, store: Store, limits: Limits) -> None:
        self._store = store
        self._limits = limits
        self._locks: defaultdict[str, threading.RLock] = defaultdict(threading.RLock)
        self._lock_of_locks = threading.Lock()
        self._recordings: Held[Recording] = Held(HELD_RECORDINGS)
        self._readings: Held[Reading] = Held(HELD_READINGS)
        self._findings: Held[dict[int, Findings]] = Held(HELD_RECORDINGS)

    def warm(self) -> None:
        """Load the heavy parts and read ten still minutes, so that the first reading is quick."""
        from ebbline.web.lazy_imports import load

        load()

        import numpy as np

        from ebbline.reading.analyse import read
        from ebbline.recording.model import Channel, ChannelKind, Recording

        level = np.full(2400, 140.0)
        heart = Channel(ChannelKind.FETAL_HEART_RATE, level, 4.0, fetus=1)
        read(Recording("still", (heart, Channel(ChannelKind.UTERINE_ACTIVITY, level / 10, 4.0))))

    # -- in and out -------------------------------------------------------------------------------

    def add(self, recording: Recording, *, by: str, invented: bool) -> Card:
        """Keep a recording and read it once. Raises RecordingError when it is too long."""
        from ebbline.recording.channels import tidy

        recording = tidy(recording, recording.name)
        samples = sum(len(channel.samples) for channel in recording.channels)
        if samples > self._limits.samples:
            raise RecordingError(
                f"{samples} samples are more than the {self._limits.samples} taken here.",
                where=recording.name,
                remedy="Open a shorter part of it.",
            )
        key = secrets.token_hex(6)
        found = _detected(recording)
        row = StoredRecording(
            id=key,
            name=recording.name[:LONGEST_NAME] or "without a name",
            opened_by=by,
            invented=invented,
            duration_s=recording.duration_s,
            header=_header(recording),
            summary=_summary(recording, found) | {"version": 0},
            digest=_digest(recording),
        )
        with self._store.session() as session:
            session.add(row)
            session.flush()
            session.add_all(
                StoredChannel(recording_id=key, number=number, samples=_packed(channel.samples))
                for number, channel in enumerate(recording.channels)
            )
        self._recordings.get((key, 0), lambda: recording)
        self._findings.get((key, 0), lambda: found)
        return card_of(row, self._same(row))

    def _same(self, row: StoredRecording) -> tuple[tuple[str, str], ...]:
        if not row.digest:
            return ()
        with self._store.session() as session:
            rows = session.execute(
                select(StoredRecording.id, StoredRecording.name)
                .where(StoredRecording.digest == row.digest, StoredRecording.id != row.id)
                .order_by(StoredRecording.opened_at)
            ).all()
        return tuple((one.id, one.name) for one in rows)

    def cards(self, search: str = "") -> tuple[Card, ...]:
        """All recordings, the latest first; search: in name, person, format and classes."""
        with self._store.session() as session:
            rows = session.scalars(
                select(StoredRecording).order_by(StoredRecording.opened_at.desc())
            ).all()
        alike: defaultdict[str, list[tuple[str, str]]] = defaultdict(list)
        for row in rows:
            if row.digest:
                alike[row.digest].append((row.id, row.name))
        cards = (
            card_of(row, tuple(one for one in alike[row.digest] if one[0] != row.id))
            if row.digest
            else card_of(row)
            for row in rows
        )
        words = search.casefold().split()
        return tuple(card for card in cards if all(w in searched(card) for w in words))

    def card(self, key: str) -> Card:
        """What the list shows of one recording. Raises NotThereError."""
        row = self._row(key)
        return card_of(row, self._same(row))

    def rename(self, key: str, name: str, by: str) -> Card:
        """Give another name; the one before stays on record. Raises RecordingError."""
        wanted = "".join(c for c in name if c.isprintable()).strip()
        if not 0 < len(wanted) <= LONGEST_NAME:
            raise RecordingError(
                "the name is empty or too long.",
                remedy=f"Give one of 1 to {LONGEST_NAME} signs.",
            )
        with self._lock(key), self._store.writing() as session:
            row = session.get(StoredRecording, key)
            if row is None:
                raise _gone(key)
            if row.name != wanted:
                session.add(
                    RecordingName(recording_id=key, name=wanted, before=row.name, author=by)
                )
                row.name = wanted
        return self.card(key)

    def remove(self, key: str) -> None:
        """Take a recording, and all that was written about it, out of the store.

        Works on a full disk too: room was put by for it.
        """
        self._row(key)
        with self._lock(key):
            try:
                self._delete(key)
            except StoreFullError:
                with self._store.room_put_by():
                    self._delete(key)
            for held in (self._recordings, self._findings, self._readings):
                held.forget(lambda k: k[0] == key)

    def _delete(self, key: str) -> None:
        with self._store.session() as session:
            session.execute(delete(StoredRecording).where(StoredRecording.id == key))

    def _lock(self, key: str) -> threading.RLock:
        with self._lock_of_locks:
            return self._locks[key]

    def _row(self, key: str) -> StoredRecording:
        with self._store.session() as session:
            row = session.get(StoredRecording, key)
        if row is None:
            raise _gone(key)
        return row

    # -- what is known ----------------------------------------------------------------------------

    def version(self, key: str) -> int:
        """The version of what is known of the labour. Raises NotThereError."""
        with self._store.session() as session:
            found = session.execute(
                select(StoredRecording.id, func.max(KnownLabour.version))
                .outerjoin(KnownLabour, KnownLabour.recording_id == StoredRecording.id)
                .where(StoredRecording.id == key)
                .group_by(StoredRecording.id)
            ).first()
        if found is None:
            raise _gone(key)
        return int(found[1] or 0)

    def known(self, key: str) -> Known:
        """What is known of the labour now."""
        return self.known_before(key)[-1]

    def known_before(self, key: str) -> Sequence[Known]:
        """Every version of what is known, the oldest first; the last one holds."""
        from ebbline.codec import from_data
        from ebbline.recording.model import Context

        row = self._row(key)
        with self._store.session() as session:
            later = session.scalars(
                select(KnownLabour)
                .where(KnownLabour.recording_id == key)
                .order_by(KnownLabour.version)
            ).all()
        first = Known(0, from_data(Context, row.header["context"]), row.opened_by, row.opened_at)
        return [
            first,
            *(Known(k.version, from_data(Context, k.context), k.author, k.made_at) for k in later),
        ]

    def change_context(self, key: str, context: Context, *, version: int, by: str) -> Known:
        """Say what is known, on top of a version; everything is read anew under the next one.

        Raises StaleContextError where that version no longer holds: nothing is kept then.
        """
        from ebbline.codec import to_data
        from ebbline.recording.channels import tidy

        with self._lock(key):
            changed = replace(self._as_opened(key), context=context)
            context = tidy(changed, changed.name).context
            with self._store.writing() as session:
                last = session.scalar(
                    select(func.max(KnownLabour.version)).where(KnownLabour.recording_id == key)
                )
                if (last or 0) == version:
                    session.add(
                        KnownLabour(
                            recording_id=key,
                            version=version + 1,
                            context=to_data(context),
                            author=by,
                        )
                    )
            if (last or 0) != version:
                raise StaleContextError(self.known(key))
            self._summarise_anew(key, version + 1)
        return self.known(key)

    def _summarise_anew(self, key: str, version: int) -> None:
        made = _summary(self.recording(key), self.findings(key)) | {"version": version}
        with self._store.writing() as session:
            row = session.get(StoredRecording, key)
            if row is not None:
                row.summary = made

    # -- what is held -----------------------------------------------------------------------------

    def recording(self, key: str) -> Recording:
        """One recording with its samples and what is known of it. Raises NotThereError."""
        version = self.version(key)
        if version == 0:
            return self._as_opened(key)
        return self._recordings.get(
            (key, version),
            lambda: replace(self._as_opened(key), context=self.known(key).context),
        )

    def _as_opened(self, key: str) -> Recording:
        return self._recordings.get((key, 0), lambda: self._load(key))

    def reading(self, key: str, window: Window | None = None) -> Reading:
        """The computed reading of a window (the last 30 minutes when None)."""

        def make() -> Reading:
            from ebbline.reading.analyse import read_findings

            found = self.findings(key)
            return read_findings(self.recording(key), list(found.values()), window=window)

        where = None if window is None else (window.start_s, window.end_s)
        return self._readings.get((key, self.version(key), where), make)

    def findings(self, key: str) -> dict[int, Findings]:
        """The computed findings of the whole recording, by fetus."""
        return self._findings.get((key, self.version(key)), lambda: _detected(self.recording(key)))

    def findings_of(self, key: str, fetus: int) -> Findings:
        """The computed findings of one fetus. Raises NotThereError."""
        found = self.findings(key)
        if fetus not in found:
            raise NotThereError("there is no such fetus in this recording.", where=f"fetus {fetus}")
        return found[fetus]

    def _load(self, key: str) -> Recording:
        import numpy as np

        from ebbline.codec import from_data
        from ebbline.recording.model import Recording

        row = self._row(key)
        with self._store.session() as session:
            packed = session.scalars(
                select(StoredChannel.samples)
                .where(StoredChannel.recording_id == key)
                .order_by(StoredChannel.number)
            ).all()
        bare = from_data(Recording, row.header)
        channels = (
            replace(channel, samples=np.frombuffer(zlib.decompress(raw), "<f8"))
            for channel, raw in zip(bare.channels, packed, strict=True)
        )
        return replace(bare, channels=tuple(channels))


def _gone(key: str) -> NotThereError:
    return NotThereError(
        "there is no such recording.", where=key, remedy="It may have been removed."
    )


def _detected(recording: Recording) -> dict[int, Findings]:
    from ebbline.features import detect

    return {fetus: detect(recording, fetus=fetus) for fetus in recording.fetuses}


def _summary(recording: Recording, found: dict[int, Findings]) -> dict[str, Any]:
    from ebbline.reading.analyse import read_findings

    try:
        return summary_of(read_findings(recording, list(found.values())))
    except EbblineError as error:
        return {"problem": str(error)}


def _header(recording: Recording) -> dict[str, Any]:
    import numpy as np

    from ebbline.codec import to_data

    bare = tuple(replace(channel, samples=np.empty(0)) for channel in recording.channels)
    header: dict[str, Any] = to_data(replace(recording, channels=bare))
    return header


def _packed(samples: Any) -> bytes:
    import numpy as np

    return zlib.compress(np.ascontiguousarray(samples, "<f8").tobytes(), level=1)


def _digest(recording: Recording) -> str:
    """Of samples, kinds, rates and the start: the same for the same recording in other clothes."""
    import numpy as np

    made = hashlib.sha256(str(recording.start).encode())
    for channel in recording.channels:
        made.update(f"{channel.kind.value} {channel.fetus} {channel.rate_hz:g}".encode())
        made.update(np.ascontiguousarray(channel.samples, "<f4").tobytes())
    return made.hexdigest()
