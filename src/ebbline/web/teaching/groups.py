"""Groups of learners: pasted at once, joined by a code, a seat for each browser."""

from __future__ import annotations

import difflib
import re
import secrets
import threading
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass

from sqlalchemy import delete, select

from ebbline.store import now
from ebbline.web.principal import Principal, Role, clean_name
from ebbline.web.teaching.models import TeachGroup, TeachSeat
from ebbline.web.teaching.store import Sessions, TeachingError

GROUP_CODE = 6
MOST_NAMES = 400
_NUMBERED = re.compile(r"^\s*\d+[.)]\s*")


@dataclass(frozen=True, slots=True)
class GroupView:
    """A group. seated: who sits at a browser without an account."""

    id: str
    name: str
    code: str
    names: tuple[str, ...]
    seated: frozenset[str]


def names_from(text: str) -> tuple[str, ...]:
    """Names as they were pasted: one a line, or parted by commas, semicolons or tabs.

    Numbers before them go. Raises TeachingError for none, too many, or one that stands twice.
    """
    found = [
        clean_name(_NUMBERED.sub("", one))
        for line in text.splitlines()
        for one in re.split(r"[,;\t]", line)
    ]
    names = [" ".join(one.split()) for one in found if one.strip()]
    if not names:
        raise TeachingError("no name was given.", where="names", remedy="One name on each line.")
    if len(names) > MOST_NAMES:
        raise TeachingError(f"more than {MOST_NAMES} names.", where="names")
    seen: set[str] = set()
    for name in names:
        if name.casefold() in seen:
            raise TeachingError(
                f"{name} stands twice in the list.",
                where="names",
                remedy="Add a letter to one of them, so that you can tell them apart.",
            )
        seen.add(name.casefold())
    return tuple(names)


def check_known(names: Iterable[str], known: Sequence[str]) -> None:
    """Refuse a learner whom nobody knows. Raises TeachingError with the nearest name."""
    for name in names:
        if name in known:
            continue
        near = difflib.get_close_matches(name, known, n=1, cutoff=0.6)
        raise TeachingError(
            f"there is no learner {name!r}.",
            where="names",
            remedy=f"Did you mean {near[0]}?" if near else "Paste the learners as a group first.",
        )


class Groups:
    """All groups, and the browsers their learners sit at. Safe to use from several threads."""

    def __init__(self, store: Sessions) -> None:
        self._store = store
        self._lock = threading.Lock()
        self._seats: dict[str, tuple[str, str]] = {}
        with store.session() as session:
            open_ones = select(TeachGroup.id).where(TeachGroup.closed_at.is_(None))
            for seat in session.scalars(select(TeachSeat).where(TeachSeat.group.in_(open_ones))):
                self._seats[seat.token_hash] = (seat.learner, seat.group)

    def guest(self, token: str) -> Principal | None:
        """The learner who sits at a browser, or None."""
        seat = self._seats.get(token)
        return Principal(seat[0], Role.READER, guest=f"group {seat[1]}") if seat else None

    def add(self, name: str, names: Sequence[str], *, by: str) -> GroupView:
        """A new group. Raises TeachingError."""
        from ebbline.teach.class_session import CODE_SIGNS

        wanted = clean_name(name)
        if not wanted:
            raise TeachingError("the group has no name.", where="group", remedy="Such as Year 2.")
        if any(one.name.casefold() == wanted.casefold() for one in self.all()):
            raise TeachingError(f"there is a group {wanted} already.", where="group")
        key = secrets.token_hex(8)
        code = "".join(secrets.choice(CODE_SIGNS) for _ in range(GROUP_CODE))
        with self._store.session() as session:
            session.add(
                TeachGroup(id=key, name=wanted, code=code, names={"names": list(names)}, made_by=by)
            )
        return self.one(key)

    def all(self) -> tuple[GroupView, ...]:
        """The open groups by name."""
        with self._store.session() as session:
            rows = session.scalars(
                select(TeachGroup).where(TeachGroup.closed_at.is_(None)).order_by(TeachGroup.name)
            ).all()
        return tuple(self._view(row) for row in rows)

    def one(self, key: str) -> GroupView:
        """One open group. Raises TeachingError."""
        for found in self.all():
            if found.id == key:
                return found
        raise TeachingError("there is no such group.", where=key)

    def by_code(self, code: str) -> GroupView | None:
        """The group of a code, or None."""
        return next((one for one in self.all() if one.code == code), None)

    def close(self, key: str) -> None:
        """Take a group off the lists; its code is dead and its seats are free."""
        with self._store.session() as session:
            row = session.get(TeachGroup, key)
            if row is None:
                raise TeachingError("there is no such group.", where=key)
            row.closed_at = now()
            session.execute(delete(TeachSeat).where(TeachSeat.group == key))
        self._forget(lambda seat: seat[1] == key)

    def sit(self, token: str, group: GroupView, name: str) -> None:
        """Take a seat. Raises TeachingError for a name not in the group, or taken."""
        check_known([name], group.names)
        with self._lock:
            taken = name in group.seated and self._seats.get(token) != (name, group.id)
            if taken:
                raise TeachingError(
                    f"someone sits at {name}'s place already.",
                    where="name",
                    remedy="Choose your own name; if it is yours, your teacher can free it.",
                )
            with self._store.session() as session:
                session.execute(delete(TeachSeat).where(TeachSeat.token_hash == token))
                session.add(TeachSeat(token_hash=token, group=group.id, learner=name))
            self._seats[token] = (name, group.id)

    def leave(self, token: str) -> None:
        """Give up a seat; what was done under the name stays."""
        with self._store.session() as session:
            session.execute(delete(TeachSeat).where(TeachSeat.token_hash == token))
        self._seats.pop(token, None)

    def free(self, key: str, name: str) -> None:
        """Free a place, so that its learner can sit at another browser."""
        with self._store.session() as session:
            session.execute(
                delete(TeachSeat).where(TeachSeat.group == key, TeachSeat.learner == name)
            )
        self._forget(lambda seat: seat == (name, key))

    def erase(self, name: str) -> None:
        """Take a learner's name out of every group and seat."""
        with self._store.session() as session:
            for row in session.scalars(select(TeachGroup)):
                if name in row.names["names"]:
                    row.names = {"names": [one for one in row.names["names"] if one != name]}
            session.execute(delete(TeachSeat).where(TeachSeat.learner == name))
        self._forget(lambda seat: seat[0] == name)

    def everyone(self) -> set[str]:
        """All names of all open groups."""
        return {name for one in self.all() for name in one.names}

    def _forget(self, wanted: Callable[[tuple[str, str]], bool]) -> None:
        with self._lock:
            for token in [t for t, seat in self._seats.items() if wanted(seat)]:
                del self._seats[token]

    def _view(self, row: TeachGroup) -> GroupView:
        seats = list(self._seats.values())
        seated = frozenset(name for name, group in seats if group == row.id)
        return GroupView(row.id, row.name, row.code, tuple(row.names["names"]), seated)
