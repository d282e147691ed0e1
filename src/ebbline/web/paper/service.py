"""Strips on paper: pictures kept, read with what persons said of them, taken as recordings."""

from __future__ import annotations

import secrets
import threading
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

from sqlalchemy import func, select
from sqlalchemy.exc import IntegrityError

from ebbline.errors import EbblineError, RecordingError
from ebbline.store import Store
from ebbline.web.errors import NotThereError, StaleError
from ebbline.web.held import Held
from ebbline.web.paper.models import PaperSaid, StoredPaper, StoredPicture

if TYPE_CHECKING:
    from ebbline.recording.model import Recording
    from ebbline.recording.paper.corrections import Corrections
    from ebbline.recording.paper.flatten import Image
    from ebbline.recording.paper.reading import PaperReading
    from ebbline.recording.paper.scale import PaperAnswers
    from ebbline.recording.paper.sheet import Paper

MOST_PICTURES = 12
"""Pictures of one strip (ours): two hours at 3 cm/min, photographed by the quarter hour."""
MOST_PIXELS = 60_000_000
"""Of one picture (ours): laid flat it takes some 30 bytes a pixel of memory."""
MOST_KEPT_BYTES = 1 << 29
"""Of all pictures together (ours)."""
HELD_PAPERS, HELD_READINGS, HELD_VIEWS = 2, 24, 12
VIEW_PX = 6000
"""Longer side of a picture as it is shown, px (ours)."""
VIEW_QUALITY = 82


@dataclass(frozen=True, slots=True)
class Picture:
    """One picture. width, height: px, upright."""

    number: int
    name: str
    width: int
    height: int


@dataclass(frozen=True, slots=True)
class PaperCard:
    """A strip with what is said of it. said: answers and corrections as they were sent."""

    id: str
    name: str
    opened_at: datetime
    opened_by: str
    pictures: tuple[Picture, ...]
    version: int
    author: str
    said: dict[str, Any]
    recording_id: str


@dataclass(frozen=True, slots=True, eq=False)
class PictureRead:
    """What one picture gave: a reading, or why there is none."""

    reading: PaperReading | None
    problem: EbblineError | None


class Papers:
    """Strips on paper in and out of the store, and their readings."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._papers: Held[list[Paper]] = Held(HELD_PAPERS)
        self._readings: Held[PictureRead] = Held(HELD_READINGS)
        self._views: Held[bytes] = Held(HELD_VIEWS)
        # Reading a picture takes seconds of a whole core and much memory: one at a time.
        self._one = threading.Lock()

    # -- in and out -------------------------------------------------------------------------------

    def add(self, files: Sequence[Path], answers: dict[str, Any], *, by: str) -> str:
        """Keep the pictures of one strip in their order. Raises RecordingError."""
        rows = _rows(files)
        key = secrets.token_hex(6)
        size = sum(len(row.content) for row in rows)
        with self._store.session() as session:
            kept = session.scalar(select(func.sum(func.length(StoredPicture.content)))) or 0
            if kept + size > MOST_KEPT_BYTES:
                raise RecordingError(
                    "the pictures of strips that are kept here already take "
                    f"{kept >> 20} MiB; the most is {MOST_KEPT_BYTES >> 20} MiB.",
                    remedy="Remove strips whose pictures are no longer needed.",
                )
            session.add(StoredPaper(id=key, name=Path(files[0]).stem[:120], opened_by=by))
            session.flush()
            for row in rows:
                row.paper_id = key
            session.add_all(rows)
            said = {"answers": answers, "pictures": [{} for _ in rows]}
            session.add(PaperSaid(paper_id=key, version=0, said=said, author=by))
        return key

    def cards(self) -> list[PaperCard]:
        """All strips, the latest first."""
        with self._store.session() as session:
            keys = session.scalars(
                select(StoredPaper.id).order_by(StoredPaper.opened_at.desc())
            ).all()
        return [self.card(key) for key in keys]

    def card(self, key: str) -> PaperCard:
        """One strip with what is said of it now. Raises NotThereError."""
        with self._store.session() as session:
            row = session.get(StoredPaper, key)
            if row is None:
                raise NotThereError(
                    "there is no such strip on paper.",
                    where=key,
                    remedy="It may have been removed.",
                )
            pictures = session.execute(
                select(
                    StoredPicture.number,
                    StoredPicture.name,
                    StoredPicture.width,
                    StoredPicture.height,
                )
                .where(StoredPicture.paper_id == key)
                .order_by(StoredPicture.number)
            ).all()
            newest = PaperSaid.version.desc()
            last = session.scalars(
                select(PaperSaid).where(PaperSaid.paper_id == key).order_by(newest).limit(1)
            ).one()
            made = session.scalar(
                select(PaperSaid.recording_id)
                .where(PaperSaid.paper_id == key, PaperSaid.recording_id.is_not(None))
                .order_by(newest)
                .limit(1)
            )
        return PaperCard(
            row.id,
            row.name,
            row.opened_at,
            row.opened_by,
            tuple(Picture(*one) for one in pictures),
            last.version,
            last.author,
            last.said,
            made or "",
        )

    def remove(self, key: str) -> None:
        """Take a strip, its pictures and what was said of them, out of the store."""
        self.card(key)
        with self._store.session() as session:
            session.delete(session.get_one(StoredPaper, key))
        for held in (self._papers, self._readings, self._views):
            held.forget(lambda k: k[0] == key)

    def say(self, key: str, version: int, said: dict[str, Any], *, by: str) -> PaperCard:
        """Say anew what holds of a strip, on top of a version.

        Raises RecordingError for what cannot be meant, StaleError where that version is no longer
        the last: nothing is kept then.
        """
        from ebbline.recording.paper.corrections import check_corrections
        from ebbline.recording.paper.scale import check_answers

        card = self.card(key)
        if len(said["pictures"]) != len(card.pictures):
            raise RecordingError(
                f"{len(said['pictures'])} pictures are corrected; the strip has "
                f"{len(card.pictures)}.",
                where=card.name,
            )
        check_answers(_answers(said), card.name)
        for picture, one in zip(card.pictures, said["pictures"], strict=True):
            check_corrections(_corrections(one), picture.width, picture.height, picture.name)
        if card.version != version or not self._added(key, version + 1, said, by):
            raise StaleError(
                "someone else corrected this strip in the meantime; nothing was kept.",
                where=card.name,
                remedy="Load the page anew and look at both.",
            )
        return self.card(key)

    def _added(self, key: str, version: int, said: dict[str, Any], by: str) -> bool:
        try:
            with self._store.session() as session:
                session.add(PaperSaid(paper_id=key, version=version, said=said, author=by))
        except IntegrityError:
            return False
        return True

    def taken(self, key: str, version: int, recording_id: str) -> None:
        """Note which recording was made of a version."""
        with self._store.session() as session:
            session.get_one(PaperSaid, (key, version)).recording_id = recording_id

    # -- pictures and readings --------------------------------------------------------------------

    def view(self, key: str, number: int) -> bytes:
        """A picture as it is shown: JPEG, no larger than a screen can use."""

        def make() -> bytes:
            import cv2

            image: Any = self._image(key, number)
            shrink = max(1.0, max(image.shape[:2]) / VIEW_PX)
            if shrink > 1:
                size = (round(image.shape[1] / shrink), round(image.shape[0] / shrink))
                image = cv2.resize(image, size, interpolation=cv2.INTER_AREA)
            quality = [cv2.IMWRITE_JPEG_QUALITY, VIEW_QUALITY]
            return cv2.imencode(".jpg", image[:, :, ::-1], quality)[1].tobytes()

        return self._views.get((key, number), make)

    def read(self, card: PaperCard) -> list[PictureRead]:
        """What each picture gives, as it is corrected now."""
        return [self._read(card, number) for number in range(len(card.pictures))]

    def recording(self, card: PaperCard, *, by: str) -> Recording:
        """The strip as a recording. Raises RecordingError where a picture cannot be read."""
        from ebbline.recording.paper_format import recording_of

        return recording_of(self.joined(card), Path(card.name), checked_by=by)

    def joined(self, card: PaperCard) -> PaperReading:
        """One reading of all pictures. Raises RecordingError."""
        from ebbline.recording.paper.joining import joined

        found = []
        for picture, one in zip(card.pictures, self.read(card), strict=True):
            if one.reading is None:
                assert one.problem is not None
                raise one.problem
            found.append((picture.name, one.reading))
        return joined(found)

    def _read(self, card: PaperCard, number: int) -> PictureRead:
        from ebbline.recording.paper.reading import read_papers

        picture = card.pictures[number]
        answers, corrections = _answers(card.said), _corrections(card.said["pictures"][number])

        def make() -> PictureRead:
            try:
                with self._one:
                    papers = self._found(card.id, picture, answers, corrections)
                    return PictureRead(
                        read_papers(papers, answers, picture.name, corrections), None
                    )
            except RecordingError as error:
                return PictureRead(None, error)

        return self._readings.get((card.id, number, answers, corrections), make)

    def _found(
        self, key: str, picture: Picture, answers: PaperAnswers, corrections: Corrections
    ) -> list[Paper]:
        from ebbline.recording.paper.reading import found_papers
        from ebbline.recording.paper.scale import check_answers

        check_answers(answers, picture.name)
        told = (corrections.corners, answers.minutes, answers.low, answers.high)
        where = (key, picture.number, told if corrections.corners else None)
        return self._papers.get(
            where,
            lambda: found_papers(
                self._image(key, picture.number), answers, picture.name, corrections
            ),
        )

    def _image(self, key: str, number: int) -> Image:
        from ebbline.recording.paper.pictures import picture_in

        with self._store.session() as session:
            row = session.get(StoredPicture, (key, number))
        if row is None:
            raise NotThereError("there is no such picture.", where=f"picture {number + 1}")
        return picture_in(row.content, row.name)


def _rows(files: Sequence[Path]) -> list[StoredPicture]:
    """Every picture of the files as a row, decoded once so that a damaged one is refused now."""
    import cv2

    from ebbline.recording.paper.pictures import pictures_of

    rows: list[StoredPicture] = []
    for path in files:
        pages = pictures_of(path)
        for n, image in enumerate(pages, start=1):
            name = path.name if len(pages) == 1 else f"{path.name}, page {n}"
            height, width = image.shape[:2]
            if width * height > MOST_PIXELS or len(rows) == MOST_PICTURES:
                raise RecordingError(
                    f"the picture has {width * height / 1e6:.0f} million pixels; the most here is "
                    f"{MOST_PIXELS / 1e6:.0f} million."
                    if width * height > MOST_PIXELS
                    else f"one strip is taken in {MOST_PICTURES} pictures at most.",
                    where=name,
                    remedy="Scan it at 300 dpi, in parts that overlap, or in two strips.",
                )
            if len(pages) == 1 and path.suffix.casefold() in (".jpg", ".jpeg", ".png"):
                content = path.read_bytes()
            else:
                content = cv2.imencode(".png", image[:, :, ::-1])[1].tobytes()
            rows.append(
                StoredPicture(
                    number=len(rows), name=name[:120], width=width, height=height, content=content
                )
            )
    if not rows:
        raise RecordingError("no picture was sent.", remedy="Choose one, or several of one strip.")
    return rows


def _answers(said: dict[str, Any]) -> PaperAnswers:
    from ebbline.recording.paper.scale import PaperAnswers

    return PaperAnswers(**said["answers"])


def _corrections(said: dict[str, Any]) -> Corrections:
    from ebbline.recording.paper.corrections import Corrections, Drawn, Erased

    def places(found: Any) -> tuple[tuple[float, float], ...]:
        return tuple((float(x), float(y)) for x, y in found)

    corners: Any = places(said["corners"]) if said.get("corners") else None
    return Corrections(
        corners,
        tuple(Erased(places(one["places"]), one["width"]) for one in said.get("erased", ())),
        tuple(Drawn(places(one["places"]), one["fetus"]) for one in said.get("drawn", ())),
    )
