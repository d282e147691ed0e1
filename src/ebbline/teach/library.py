"""The cases that ship with Ebbline, and those a teacher keeps in a folder."""

from __future__ import annotations

import difflib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files
from pathlib import Path

from ebbline.errors import ScenarioError
from ebbline.teach.case import Case, case_from_file, case_from_yaml


@cache
def shipped() -> Mapping[str, Case]:
    """All shipped cases by id, the easiest first, then by title."""
    folder = files("ebbline.teach").joinpath("cases")
    cases = [
        case_from_yaml(entry.read_text(encoding="utf-8"), where=entry.name)
        for entry in folder.iterdir()
        if entry.name.endswith(".yaml")
    ]
    return {case.id: case for case in sorted(cases, key=lambda c: (c.difficulty, c.title))}


def shipped_case(name: str) -> Case:
    """One shipped case. Raises ScenarioError with the nearest names."""
    cases = shipped()
    if name in cases:
        return cases[name]
    near = difflib.get_close_matches(name, cases, n=3, cutoff=0.4)
    raise ScenarioError(
        f"there is no case {name!r}.",
        remedy=(f"Did you mean {' or '.join(near)}?" if near else "See `ebbline teach list`."),
    )


def named_or_file(name: str) -> Case:
    """A shipped case by its id, a case file by its path, or a recording (recorded-1001-2).

    Raises ScenarioError.
    """
    if name.endswith((".yaml", ".yml")) or "/" in name:
        return case_from_file(Path(name))
    from ebbline.teach.real_cases import recorded_by_id

    return recorded_by_id(name) or shipped_case(name)
