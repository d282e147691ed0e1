"""The classes that are open on this workbench, and who is in them. All of it lies in memory."""

from __future__ import annotations

import threading
import time
from collections import deque
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from enum import StrEnum
from typing import TYPE_CHECKING, Any

from ebbline.web.changes import Change, Changes
from ebbline.web.classroom.memory import GuestTeaching
from ebbline.web.principal import Principal, Role
from ebbline.web.teaching.attempts_in_play import LiveAttempts

if TYPE_CHECKING:
    from ebbline.teach.class_session import Asked, ClassSession
    from ebbline.teach.class_strip import ClassStrip
    from ebbline.web.teaching.store import Teaching

SHOWN_BEFORE_S = 600.0
"""How much of the window still runs in when a strip is put on the wall (ours)."""
SPEEDS = (1, 10, 20, 60)
"""Seconds of labour in one of the lesson."""
CLOSES_AFTER_S = 12 * 3600
"""A class that nobody closed closes by itself."""
WRONG_CODES, IN_S = 60, 60.0
"""So many wrong codes from one address in a minute, and it has to wait (ours)."""


class Mode(StrEnum):
    """What a class does: everyone answers about one strip on the wall, or plays a case alone."""

    WALL = "wall"
    PLAY = "play"


@dataclass(slots=True)
class Running:
    """How far the strip on the wall is shown: it runs at a speed from a moment on."""

    shown_s: float
    ends_s: float
    speed: int = 20
    since: float | None = None

    def now_s(self) -> float:
        """Seconds of the recording that are shown now."""
        ran = 0.0 if self.since is None else (time.monotonic() - self.since) * self.speed
        return min(self.ends_s, self.shown_s + ran)

    def set(self, *, runs: bool, speed: int | None = None) -> None:
        """Let it run, or stop it where it is."""
        self.shown_s = self.now_s()
        self.speed = self.speed if speed is None else speed
        self.since = time.monotonic() if runs else None

    def show_all(self) -> None:
        """To the end of the window at once."""
        self.shown_s, self.since = self.ends_s, None


@dataclass(slots=True)
class OpenClass:
    """One class. number: counts the strips, so that a late answer is not taken for the next one."""

    code: str
    mode: Mode
    by: str
    case: str
    seed: int
    session: ClassSession
    strip: ClassStrip | None
    running: Running
    teaching: GuestTeaching
    live: LiveAttempts
    opened: float
    number: int = 1
    done: list[dict[str, Any]] = field(default_factory=list)
    lock: threading.RLock = field(default_factory=threading.RLock)


class Classes:
    """All classes that are open. Safe to use from several threads."""

    def __init__(self) -> None:
        self._open: dict[str, OpenClass] = {}
        self._guests: dict[str, str] = {}
        self._lock = threading.Lock()
        self._wrong: dict[str, deque[float]] = {}
        self.changes = Changes()

    # --- who asks --------------------------------------------------------------------------

    def guest(self, token: str) -> Principal | None:
        """The learner behind a browser's token, or None."""
        code = self._guests.get(token)
        found = self._open.get(code) if code else None
        if found is None:
            return None
        name = found.session.learners.get(token)
        return Principal(name, Role.READER, guest=found.code) if name else None

    def of_guest(self, who: Principal | None) -> OpenClass | None:
        """The class someone is a guest of, or None."""
        return self._open.get(who.guest) if who is not None and who.guest else None

    def too_many_wrong(self, address: str) -> bool:
        """Whether an address has tried too many codes in the last minute."""
        tries = self._wrong.get(address, deque())
        return sum(at > time.monotonic() - IN_S for at in tries) >= WRONG_CODES

    def wrong(self, address: str) -> None:
        """Count a wrong code."""
        with self._lock:
            if len(self._wrong) > 10_000:
                self._wrong.clear()
            self._wrong.setdefault(address, deque(maxlen=WRONG_CODES)).append(time.monotonic())

    # --- opening and closing ---------------------------------------------------------------

    def open(self, main: Teaching, *, case: str, mode: Mode, asked: Asked, by: str) -> OpenClass:
        """Open a class on a case. Raises TeachingError for one that has no strip."""
        from ebbline.teach.class_session import ClassSession, new_code

        strip = strip_of(main, case) if mode is Mode.WALL else None
        question = _question(strip, asked)
        teaching = GuestTeaching(main)
        with self._lock:
            for old in list(self._open.values()):
                if time.monotonic() - old.opened > CLOSES_AFTER_S:
                    self._forget(old)
            code = new_code(tuple(self._open))
            made = OpenClass(
                code=code,
                mode=mode,
                by=by,
                case=case,
                seed=0,
                session=ClassSession(code, question),
                strip=strip,
                running=_running(strip),
                teaching=teaching,
                live=LiveAttempts(teaching),
                opened=time.monotonic(),
            )
            self._open[code] = made
        return made

    def close(self, code: str) -> None:
        """Close a class: names, answers and attempts are gone."""
        with self._lock:
            found = self._open.get(code)
            if found is not None:
                self._forget(found)
        self.tell(code, "closed")

    def _forget(self, found: OpenClass) -> None:
        self._open.pop(found.code, None)
        for token in [t for t, code in self._guests.items() if code == found.code]:
            del self._guests[token]
        found.session.learners.clear()
        found.session.rounds.clear()
        found.teaching.memory.close()

    def close_all(self) -> None:
        """When the workbench closes."""
        for code in list(self._open):
            self.close(code)

    def opened_by(self, name: str) -> list[OpenClass]:
        """The classes a teacher has open, the latest first."""
        return [one for one in reversed(list(self._open.values())) if one.by == name]

    @contextmanager
    def held(self, code: str) -> Iterator[OpenClass]:
        """One class, nobody else using it meanwhile. Raises ClassError where it is not open."""
        from ebbline.teach.class_session import ClassError

        found = self._open.get(code)
        if found is None:
            raise ClassError(
                "no class is open under this code.",
                where=code,
                remedy="Look at the code on the wall; the class may have ended.",
            )
        with found.lock:
            yield found

    # --- what is done in one ---------------------------------------------------------------

    def join(self, code: str, token: str, name: str) -> None:
        """Come into a class. Raises ClassError."""
        with self.held(code) as found:
            found.session.join(token, name)
            before = self._guests.get(token)
            self._guests[token] = found.code
        if before not in (None, code):
            self.leave(before, token)
            self._guests[token] = code
        self.tell_wall(code)

    def leave(self, code: str | None, token: str) -> None:
        """Go out of a class; one's answers and attempts go along."""
        found = self._open.get(code or "")
        if found is not None:
            with found.lock:
                name = found.session.learners.get(token)
                found.session.leave(token)
                if name:
                    keys = [one.id for one in found.teaching.attempts_of(name)]
                    found.teaching.erase(name)
                    found.live.forget(keys)
            self.tell_wall(found.code)
        self._guests.pop(token, None)

    def next_strip(self, main: Teaching, code: str, case: str, asked: Asked) -> None:
        """Put another strip on the wall; the last one's split is kept as counts until the end."""
        strip = strip_of(main, case)
        with self.held(code) as found:
            if found.session.rounds:
                found.done.append(counted(found))
            found.strip, found.case = strip, case
            found.session.wait(_question(strip, asked))
            found.running = _running(strip)
            found.number += 1
        self.tell(code, "strip")

    def tell(self, code: str, what: str) -> None:
        """To everyone in the class and to the wall."""
        self.changes.tell(code, Change(what, ""))
        self.tell_wall(code)

    def tell_wall(self, code: str) -> None:
        """To the wall alone: someone came, someone answered."""
        self.changes.tell(f"{code}/wall", Change("count", ""))


def strip_of(main: Teaching, name: str) -> ClassStrip:
    """The strip of a case. Raises TeachingError for one without."""
    from ebbline.teach.class_strip import can_be_shown, strip_for_class
    from ebbline.web.teaching.store import TeachingError

    case = main.case(name)
    if not can_be_shown(case):
        raise TeachingError(
            "this case has no strip to show.", where=name, remedy="Choose one that asks for it."
        )
    return strip_for_class(case)


def _question(strip: ClassStrip | None, asked: Asked) -> Any:
    from ebbline.teach.class_session import Asked, Question

    if strip is None:
        return Question(asked, "", (), ())
    return strip.question(asked if asked in strip.may_ask else Asked.CLASS)


def _running(strip: ClassStrip | None) -> Running:
    if strip is None:
        return Running(0.0, 0.0)
    window = strip.truth.window
    return Running(max(window.start_s, window.end_s - SHOWN_BEFORE_S), window.end_s)


def counted(found: OpenClass) -> dict[str, Any]:
    """How one strip went, as counts: no name is in it."""
    session = found.session
    moved = session.moved()
    return {
        "title": found.strip.title if found.strip else "",
        "case": found.case,
        "asked": session.question.words,
        "right": list(session.question.right),
        "rounds": [
            {one.option: one.count for one in session.split(number)}
            for number in range(len(session.rounds))
        ],
        "moved": [moved.to_right, moved.from_right, moved.learners] if moved else [],
    }
