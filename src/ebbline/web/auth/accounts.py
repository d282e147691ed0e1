"""Accounts: names, roles, passwords (argon2), sign-ins kept on the server, guessing slowed."""

from __future__ import annotations

import logging
import math
import threading
import time
from collections import OrderedDict
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import cache

from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from ebbline.errors import EbblineError
from ebbline.store import Store, now
from ebbline.web.auth.models import Account, SignIn
from ebbline.web.operations.log import event
from ebbline.web.principal import Principal, Role, clean_name
from ebbline.web.settings import Limits
from ebbline.web.tokens import hash_of, new_visit

SHORTEST_PASSWORD = 10
ACCOUNT_TRIES = 5
"""Wrong passwords for one account, from wherever, before it has to wait (our choice)."""
ADDRESS_TRIES = 50
"""From one address, for whatever accounts: a class behind one address mistypes too (our choice)."""
TRIES_FORGOTTEN_S = 15 * 60
SEEN_STEP = timedelta(minutes=1)


class AccountError(EbblineError):
    """An account that cannot be made, changed or signed in to."""


def role_of(word: str) -> Role:
    """The role of that name. Raises AccountError."""
    try:
        return Role(word)
    except ValueError as error:
        raise AccountError(
            "there is no such role.", where=word[:20], remedy="Choose reader, teacher or admin."
        ) from error


@dataclass(frozen=True, slots=True)
class AccountView:
    """What may be shown of an account."""

    name: str
    role: str
    created_at: datetime
    disabled: bool


class _Tries:
    """Counts tries at passwords, by account and by address; forgets after a while; bounded.

    A try counts from when it begins, before the password is looked at, so that many at once cannot
    slip through together; a right password takes its own and the account's away again.
    """

    def __init__(self) -> None:
        self._times: OrderedDict[tuple[str, str], list[float]] = OrderedDict()
        self._lock = threading.Lock()

    def begin(self, account: str, address: str) -> float:
        """0 where the try may go on, else the seconds to wait; then it is not counted."""
        keys = {("account", account): ACCOUNT_TRIES}
        if address:
            keys["address", address] = ADDRESS_TRIES
        with self._lock:
            at = time.monotonic()
            since = at - TRIES_FORGOTTEN_S
            wait = 0.0
            for key, most in keys.items():
                recent = [t for t in self._times.get(key, []) if t > since]
                if len(recent) >= most:
                    wait = max(wait, recent[-most] - since)
            if wait > 0:
                return wait
            for key, most in keys.items():
                self._times[key] = [*self._times.get(key, []), at][-most:]
                self._times.move_to_end(key)
            while len(self._times) > 10_000:
                self._times.popitem(last=False)
            return 0.0

    def right(self, account: str, address: str) -> None:
        """The password was right: the account's tries are forgotten, the address's last one too."""
        with self._lock:
            self._times.pop(("account", account), None)
            tries = self._times.get(("address", address))
            if tries:
                tries.pop()


def name_key(name: str) -> str:
    """A name without regard to case."""
    return clean_name(name).casefold()


class Accounts:
    """All that is done with accounts."""

    def __init__(self, store: Store, limits: Limits) -> None:
        self._store = store
        self._limits = limits
        self._tries = _Tries()

    def add(self, name: str, role: Role, password: str) -> None:
        """A new account. Raises AccountError for a taken name or a weak password."""
        self.add_all([(name, role, password)])

    def add_all(self, people: Sequence[tuple[str, Role, str]]) -> None:
        """Accounts of a list: name, role, password. All of them, or with AccountError none."""
        made = []
        for name, role, password in people:
            wanted = clean_name(name)
            if not wanted or wanted != name.strip():
                raise AccountError(
                    "the name is empty, too long or holds signs that cannot be shown.", where=name
                )
            made.append((wanted, role, _hashed(password, wanted)))
        with self._store.writing() as session:
            for wanted, role, hashed in made:
                key = name_key(wanted)
                taken = session.scalar(select(Account.name).where(Account.name_key == key))
                if taken is not None:
                    raise AccountError(
                        f"there is an account of that name ({taken}; case does not matter).",
                        where=wanted,
                        remedy="Choose another name.",
                    )
                session.add(
                    Account(name=wanted, name_key=key, role=role.value, password_hash=hashed)
                )
                session.flush()
        for wanted, role, _ in made:
            event("account: added", account=wanted, role=role.value)

    def known(self, name: str) -> bool:
        """Whether there is an account of that name."""
        with self._store.session() as session:
            return _named(session, name) is not None

    def everyone(self) -> tuple[AccountView, ...]:
        """All accounts by name."""
        with self._store.session() as session:
            rows = session.scalars(select(Account).order_by(Account.name)).all()
            return tuple(
                AccountView(r.name, r.role, r.created_at, r.disabled_at is not None) for r in rows
            )

    def change_role(self, name: str, role: Role) -> None:
        """Give another role; the last admin keeps theirs."""
        with self._store.session() as session:
            row = self._one(session, name)
            row.role = role.value
            session.flush()
            self._keep_an_admin(session)
            known = row.name
        event("account: role", account=known, role=role.value)

    def change_password(self, name: str, password: str) -> None:
        """Set a password and end all sign-ins of the account."""
        hashed = _hashed(password, name)
        with self._store.session() as session:
            row = self._one(session, name)
            row.password_hash = hashed
            session.execute(delete(SignIn).where(SignIn.account_id == row.id))
            known = row.name
        self._tries.right(name_key(known), "")
        event("account: password set", account=known)

    def disable(self, name: str, *, disabled: bool) -> None:
        """Shut an account out, at once, or let it in again; what it wrote stays."""
        with self._store.session() as session:
            row = self._one(session, name)
            row.disabled_at = now() if disabled else None
            session.execute(delete(SignIn).where(SignIn.account_id == row.id))
            session.flush()
            self._keep_an_admin(session)
            known = row.name
        event("account: shut out" if disabled else "account: let in", account=known)

    def sign_in(self, name: str, password: str, address: str) -> str:
        """A token for the browser. Raises AccountError, never saying which half was wrong."""
        row = self._checked(name, password, address)
        if row is None or row.disabled_at is not None:
            event(
                "sign-in refused",
                level=logging.WARNING,
                who=self._known(name),
                address=address,
                why="shut out" if row is not None else "password or name",
            )
            raise AccountError("name and password do not fit.", remedy="Check both and try again.")
        token = new_visit()
        with self._store.session() as session:
            stale = now() - timedelta(seconds=self._limits.session_s)
            session.execute(delete(SignIn).where(SignIn.created_at < stale))
            session.add(SignIn(token_hash=hash_of(token), account_id=row.id))
        event("signed in", who=row.name, role=row.role, address=address)
        return token

    def _known(self, name: str) -> str:
        """The account's own name; "" for a name that is no account's, which may be a password."""
        with self._store.session() as session:
            row = _named(session, name)
            return "" if row is None else row.name

    def sign_out(self, token: str) -> None:
        """End one sign-in."""
        with self._store.session() as session:
            session.execute(delete(SignIn).where(SignIn.token_hash == hash_of(token)))

    def signed_in(self, token_hash: str) -> Principal | None:
        """Who holds this token, or None when it is unknown, idle or too old."""
        with self._store.session() as session:
            found = session.execute(
                select(SignIn, Account)
                .join(Account, Account.id == SignIn.account_id)
                .where(SignIn.token_hash == token_hash)
            ).first()
            if found is None:
                return None
            sign_in, account = found
            at = now()
            if (
                account.disabled_at is not None
                or at - sign_in.created_at > timedelta(seconds=self._limits.session_s)
                or at - sign_in.seen_at > timedelta(seconds=self._limits.idle_s)
            ):
                return None
            if at - sign_in.seen_at > SEEN_STEP:
                session.execute(
                    update(SignIn).where(SignIn.token_hash == token_hash).values(seen_at=at)
                )
            return Principal(account.name, Role(account.role), account.id)

    def check_password(self, name: str, password: str, address: str) -> bool:
        """True when it is this account's; counted like signing in. Raises AccountError."""
        return self._checked(name, password, address) is not None

    def _checked(self, name: str, password: str, address: str) -> Account | None:
        """The account, where the password is right. Raises AccountError after too many tries."""
        wanted = name_key(name)
        wait = self._tries.begin(wanted, address)
        if wait > 0:
            event("sign-in slowed", level=logging.WARNING, who=self._known(name), address=address)
            raise AccountError(
                "too many wrong passwords.",
                remedy=f"Try again in {math.ceil(wait / 60)} minutes; an admin can set a new one.",
            )
        with self._store.session() as session:
            row = _named(session, name)
        if not _verified(row.password_hash if row is not None else None, password):
            return None
        self._tries.right(wanted, address)
        return row

    def _one(self, session: Session, name: str) -> Account:
        row = _named(session, name)
        if row is None:
            raise AccountError("there is no such account.", where=name)
        return row

    def _keep_an_admin(self, session: Session) -> None:
        left = session.scalar(
            select(Account.id).where(
                Account.role == Role.ADMIN.value, Account.disabled_at.is_(None)
            )
        )
        if left is None:
            raise AccountError(
                "that would leave no admin.", remedy="Make someone else admin first."
            )


def _named(session: Session, name: str) -> Account | None:
    """The account of that name: as written, else without regard to case."""
    exact = session.scalar(select(Account).where(Account.name == clean_name(name)))
    if exact is not None:
        return exact
    return session.scalar(select(Account).where(Account.name_key == name_key(name)))


def _hashed(password: str, name: str) -> str:
    from argon2 import PasswordHasher

    if len(password) < SHORTEST_PASSWORD or password.lower() == name.lower():
        raise AccountError(
            f"the password is too weak: at least {SHORTEST_PASSWORD} signs, and not the name.",
            remedy="A few words together are easy to keep in mind.",
        )
    if len(password) > 1024:
        raise AccountError("the password is longer than 1024 signs.")
    return PasswordHasher().hash(password)


@cache
def _nobodys_hash() -> str:
    from argon2 import PasswordHasher

    return PasswordHasher().hash("nobody's password")


_AT_A_TIME = threading.BoundedSemaphore(2)
"""Each check takes 64 MiB and several threads: a class that signs in at once waits in line."""


def _verified(known: str | None, password: str) -> bool:
    """Whether the password fits; takes as long for an unknown name as for a known one."""
    from argon2 import PasswordHasher
    from argon2.exceptions import VerificationError

    try:
        with _AT_A_TIME:
            PasswordHasher().verify(known or _nobodys_hash(), password[:1024])
    except VerificationError:
        return False
    return known is not None
