"""The opened recordings: kept in the store, held in memory while they are looked at."""

from __future__ import annotations

import math
import secrets
import zlib
from collections import Counter
from dataclasses import dataclass, replace
from datetime import datetime
from typing import TYPE_CHECKING, Any

from sqlalchemy import delete, select

from ebbline.errors import EbblineError, RecordingError
from ebbline.store import Store
from ebbline.web.errors import NotThereError
from ebbline.web.held import Held
from ebbline.web.recordings.models import StoredChannel, StoredRecording

if TYPE_CHECKING:
    from ebbline.features.findings import Findings
    from ebbline.reading.model import Reading
    from ebbline.recording.model import Context, Recording
    from ebbline.terms import Window
    from ebbline.web.settings import Limits

HELD_RECORDINGS = 6
HELD_READINGS = 48


@dataclass(frozen=True, slots=True)
class ClassWord:
    """One standard's class of one fetus, for a list. rank: -1 when refused."""

    standard: str
    label: str
    rank: int
    fetus: int


@dataclass(frozen=True, slots=True)
class Card:
    """What the list shows of one recording. valid_share: of the window, of the poorest fetus."""

    id: str
    name: str
    opened_at: datetime
    opened_by: str
    invented: bool
    duration_s: float
    fetuses: int
    valid_share: float | None
    window_s: tuple[float, float] | None
    classes: tuple[ClassWord, ...]
    problem: str


class Library:
    """Recordings in and out of the store, and their readings."""

    def __init__(self, store: Store, limits: Limits) -> None:
        self._store = store
        self._limits = limits
        self._recordings: Held[Recording] = Held(HELD_RECORDINGS)
        self._readings: Held[Reading] = Held(HELD_READINGS)
        self._revisions: Counter[str] = Counter()
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
        self._recordings.get(key, lambda: recording)
        row = StoredRecording(
            id=key,
            name=recording.name[:120] or "without a name",
            opened_by=by,
            invented=invented,
            duration_s=recording.duration_s,
            header=_header(recording),
            summary=self._summary(key),
        )
        with self._store.session() as session:
            session.add(row)
            session.flush()
            session.add_all(
                StoredChannel(recording_id=key, number=number, samples=_packed(channel.samples))
                for number, channel in enumerate(recording.channels)
            )
        return _card(row)

    def cards(self, search: str = "") -> tuple[Card, ...]:
        """All recordings, the latest first; search: in name, person and classes, any case."""
        with self._store.session() as session:
            rows = session.scalars(
                select(StoredRecording).order_by(StoredRecording.opened_at.desc())
            ).all()
        cards = (_card(row) for row in rows)
        words = search.casefold().split()
        return tuple(card for card in cards if all(w in _searched(card) for w in words))

    def card(self, key: str) -> Card:
        """What the list shows of one recording. Raises NotThereError."""
        return _card(self._row(key))

    def recording(self, key: str) -> Recording:
        """One recording with its samples. Raises NotThereError."""
        return self._recordings.get(key, lambda: self._load(key))

    def reading(self, key: str, window: Window | None = None) -> Reading:
        """The computed reading of a window (the last 30 minutes when None)."""

        def make() -> Reading:
            from ebbline.reading.analyse import read_findings

            found = self.findings(key)
            return read_findings(self.recording(key), list(found.values()), window=window)

        where = None if window is None else (window.start_s, window.end_s)
        return self._readings.get((key, where), make)

    def findings(self, key: str) -> dict[int, Findings]:
        """The computed findings of the whole recording, by fetus."""

        def make() -> dict[int, Findings]:
            from ebbline.features import detect

            recording = self.recording(key)
            return {fetus: detect(recording, fetus=fetus) for fetus in recording.fetuses}

        return self._findings.get(key, make)

    def findings_of(self, key: str, fetus: int) -> Findings:
        """The computed findings of one fetus. Raises NotThereError."""
        found = self.findings(key)
        if fetus not in found:
            raise NotThereError("there is no such fetus in this recording.", where=f"fetus {fetus}")
        return found[fetus]

    def change_context(self, key: str, context: Context) -> None:
        """Replace what is known about the labour; the readings are made anew."""
        from ebbline.recording.channels import tidy

        recording = replace(self.recording(key), context=context)
        recording = tidy(recording, recording.name)
        self._forget(key)
        self._recordings.get(key, lambda: recording)
        with self._store.session() as session:
            row = session.get_one(StoredRecording, key)
            row.header = _header(recording)
            row.summary = self._summary(key)

    def remove(self, key: str) -> None:
        """Take a recording, and all that was written about it, out of the store."""
        self._row(key)
        with self._store.session() as session:
            session.execute(delete(StoredRecording).where(StoredRecording.id == key))
        self._forget(key)

    def _row(self, key: str) -> StoredRecording:
        with self._store.session() as session:
            row = session.get(StoredRecording, key)
        if row is None:
            raise NotThereError(
                "there is no such recording.", where=key, remedy="It may have been removed."
            )
        return row

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

    def revision(self, key: str) -> int:
        """A number that changes when what is known of the recording does."""
        return self._revisions[key]

    def _forget(self, key: str) -> None:
        self._revisions[key] += 1
        self._recordings.forget(lambda k: k == key)
        self._findings.forget(lambda k: k == key)
        self._readings.forget(lambda k: k[0] == key)

    def _summary(self, key: str) -> dict[str, Any]:
        try:
            reading = self.reading(key)
        except EbblineError as error:
            return {"problem": str(error)}
        share = min(fetal.review.valid_share for fetal in reading.fetuses)
        return {
            "fetuses": len(reading.fetuses),
            "valid_share": share if math.isfinite(share) else None,
            "window_s": [reading.window.start_s, reading.window.end_s],
            "classes": [
                {
                    "standard": c.standard.value,
                    "label": c.label,
                    "rank": c.rank,
                    "fetus": fetal.fetus,
                }
                for fetal in reading.fetuses
                for c in fetal.classes
            ],
        }


def _header(recording: Recording) -> dict[str, Any]:
    import numpy as np

    from ebbline.codec import to_data

    bare = tuple(replace(channel, samples=np.empty(0)) for channel in recording.channels)
    header: dict[str, Any] = to_data(replace(recording, channels=bare))
    return header


def _packed(samples: Any) -> bytes:
    import numpy as np

    return zlib.compress(np.ascontiguousarray(samples, "<f8").tobytes(), level=1)


def _card(row: StoredRecording) -> Card:
    said = row.summary
    window = said.get("window_s")
    return Card(
        id=row.id,
        name=row.name,
        opened_at=row.opened_at,
        opened_by=row.opened_by,
        invented=row.invented,
        duration_s=row.duration_s,
        fetuses=said.get("fetuses", 0),
        valid_share=said.get("valid_share"),
        window_s=(window[0], window[1]) if window else None,
        classes=tuple(ClassWord(**c) for c in said.get("classes", [])),
        problem=said.get("problem", ""),
    )


def _searched(card: Card) -> str:
    words = [card.name, card.opened_by, "invented" if card.invented else ""]
    words += [f"{c.standard} {c.label}" for c in card.classes]
    return " ".join(words).casefold()
