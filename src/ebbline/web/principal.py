"""Who is asking, and what they may do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from enum import StrEnum

from fastapi import HTTPException, Request


class Role(StrEnum):
    """What an account may do; each role includes the ones before it."""

    READER = "reader"
    TEACHER = "teacher"
    ADMIN = "admin"

    @property
    def rank(self) -> int:
        """Place in the order reader, teacher, admin."""
        return list(Role).index(self)


@dataclass(frozen=True, slots=True)
class Principal:
    """Who is asking. account_id: None on a workbench without accounts, or before sign-in.

    guest: code of the class (or "group ID") that a learner without an account came in by; such a
    one reaches the teaching pages and nothing else.
    """

    name: str
    role: Role
    account_id: int | None = None
    guest: str = ""

    def may(self, role: Role) -> bool:
        """True when this role is enough."""
        return self.role.rank >= role.rank


def principal_of(request: Request) -> Principal:
    """Who is asking; every route behind the gate has one."""
    found: Principal | None = request.scope.get("ebbline.principal")
    if found is None:
        raise HTTPException(401, "Please sign in first.")
    return found


def needs(role: Role) -> Callable[[Request], Principal]:
    """A dependency for routes: lets only accounts with this role pass."""

    def check(request: Request) -> Principal:
        principal = principal_of(request)
        if not principal.may(role):
            raise HTTPException(403, f"This needs the role '{role}'; yours is '{principal.role}'.")
        return principal

    return check


def clean_name(name: str) -> str:
    """A display name without control characters, at most 60 long."""
    return "".join(c for c in name if c.isprintable()).strip()[:60]
