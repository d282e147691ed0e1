"""A list of people, as a table of a ward's staff gives it, with a first password for each."""

from __future__ import annotations

import csv
import secrets
from collections.abc import Iterable
from pathlib import Path

from ebbline.web.auth.accounts import AccountError, name_key, role_of
from ebbline.web.principal import Role

MOST = 2000
_LETTERS = "abcdefghjkmnpqrstuvwxyz23456789"
"""Without those that are mistaken for each other when read from paper."""
_GROUPS, _GROUP = 4, 4
"""16 signs out of 31 are 79 bits."""


def read_list(path: Path) -> list[tuple[str, Role]]:
    """Name and role of each line. Raises AccountError naming the line."""
    try:
        text = path.read_text("utf-8-sig")
        rows = list(csv.DictReader(text.splitlines(), strict=True))
    except OSError as error:
        raise AccountError(f"it cannot be read: {error.strerror}.", where=str(path)) from error
    except (UnicodeDecodeError, csv.Error) as error:
        raise AccountError(
            "this is not a CSV file in UTF-8.", where=str(path), remedy="Save the table as one."
        ) from error
    if not rows or not {"name", "role"} <= set(rows[0]):
        raise AccountError(
            "there are no columns name and role, or nobody under them.",
            where=str(path),
            remedy="Begin the file with the line: name,role",
        )
    if len(rows) > MOST:
        raise AccountError(f"{len(rows)} people are more than {MOST}.", where=str(path))
    found: list[tuple[str, Role]] = []
    seen: dict[str, int] = {}
    for line, row in enumerate(rows, 2):
        name = (row["name"] or "").strip()
        try:
            role = role_of((row["role"] or "").strip().lower())
        except AccountError as error:
            raise AccountError(
                error.what, where=f"{path}, line {line}", remedy=error.remedy
            ) from error
        if not name:
            raise AccountError("a name is missing.", where=f"{path}, line {line}")
        if name_key(name) in seen:
            raise AccountError(
                f"{name} stands in line {seen[name_key(name)]} too (case does not matter).",
                where=f"{path}, line {line}",
            )
        seen[name_key(name)] = line
        found.append((name, role))
    return found


def with_passwords(people: Iterable[tuple[str, Role]]) -> list[tuple[str, Role, str]]:
    """Each with a password that nobody chose."""
    return [(name, role, _password()) for name, role in people]


def _password() -> str:
    groups = ("".join(secrets.choice(_LETTERS) for _ in range(_GROUP)) for _ in range(_GROUPS))
    return "-".join(groups)
