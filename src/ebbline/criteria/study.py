"""A standard with limits changed for a study: beside the published one, which stays as it is.

The rules of a standard ask the lines of its table by name. A changed standard runs the same rules
once more, as a module of its own whose lines are the changed ones; nothing that others use is
touched. What was changed stands in its edition, and so in every reason, sheet and table:
"FIGO 2015, modified: Baseline more than 170 bpm (published: more than 160 bpm)".
"""

from __future__ import annotations

import ast
import importlib.util
import inspect
import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from importlib import import_module
from types import ModuleType, SimpleNamespace

from ebbline.criteria.model import Classification, Standard
from ebbline.criteria.rule import Compare, Rule, Table
from ebbline.criteria.window_view import WindowFacts
from ebbline.errors import ContextError
from ebbline.recording.model import Context


@dataclass(frozen=True, slots=True)
class ModifiedStandard:
    """A standard whose limits were changed: (id of the line, limit in the line's own unit)."""

    standard: Standard
    changes: tuple[tuple[str, float], ...]

    @property
    def value(self) -> str:
        """Its name where classes are kept by the name of their standard."""
        return f"{self.standard.value}, modified"

    @property
    def table(self) -> Table:
        """The table with the changed lines, and an edition that tells them."""
        return _changed_table(self.standard, self.changes)

    def classify(self, facts: WindowFacts, context: Context) -> Classification:
        """The class by the changed lines."""
        found: Classification = _changed_rules(self.standard, self.changes).classify(facts, context)
        return found


AnyStandard = Standard | ModifiedStandard
"""What a reading can be asked for."""


def modified(standard: str | Standard, changes: Mapping[str, float]) -> ModifiedStandard:
    """A standard with other limits, for a study.

    changes: the id of a line (`ebbline criteria figo` lists them) and its new limit, in the line's
    unit; a share as 0..1. Lines that share a limit (normal up to 160, tachycardia above it) are
    changed one by one. Raises ContextError for a line that is not there, that compares nothing, or
    that a class does not ask for: changing it would change words and no class.

    >>> study = ebbline.modified("figo", {"figo-baseline-tachycardia": 170})
    >>> ebbline.read("examples/labour.csv", standards=["figo", study])
    """
    try:
        which = Standard(str(getattr(standard, "value", standard)).strip().lower())
    except ValueError as error:
        raise ContextError(
            f"{standard!r} is not a standard.",
            where="standard",
            remedy=f"Choose from {', '.join(Standard)}.",
        ) from error
    known = changeable(which)
    for line, limit in changes.items():
        if line not in known:
            raise ContextError(
                f"{line!r} is no line of {which.value} that a class asks for with a limit.",
                where="changes",
                remedy=f"Choose from {', '.join(known)}.",
            )
        if not isinstance(limit, int | float) or not math.isfinite(limit):
            raise ContextError(
                f"{limit!r} is no limit.", where=line, remedy="Give a number in the line's unit."
            )
    if not changes:
        raise ContextError(
            "nothing is changed.", where="changes", remedy="Name a line and its limit."
        )
    return ModifiedStandard(which, tuple(sorted((k, float(v)) for k, v in changes.items())))


def changeable(standard: Standard) -> tuple[str, ...]:
    """Ids of the lines whose limit the rules of a standard hold something against."""
    lines = _lines(standard)
    return tuple(
        lines[name].id
        for name in sorted(_asked_for(standard))
        if name in lines and lines[name].compare not in (Compare.PRESENT, Compare.WITHIN)
    )


def _rules_name(standard: Standard) -> str:
    return f"ebbline.criteria.rules.{standard.value}"


def _table_module(standard: Standard) -> ModuleType:
    return import_module(f"ebbline.criteria.tables.{standard.value}")


def _lines(standard: Standard) -> dict[str, Rule]:
    """The lines of a table by the name that its module gives them."""
    own: Table = _table_module(standard).TABLE
    ids = {rule.id for rule in own.rules}
    found = vars(_table_module(standard)).items()
    return {name: one for name, one in found if isinstance(one, Rule) and one.id in ids}


@lru_cache(maxsize=len(Standard))
def _asked_for(standard: Standard) -> frozenset[str]:
    """Names of lines that the rules compare with: `line.X.met(...)`, `line.X.threshold`, or X in
    a loop or an argument that is asked in the same function."""
    tree = ast.parse(inspect.getsource(import_module(_rules_name(standard))))
    found: set[str] = set()
    for node in ast.walk(tree):
        if isinstance(node, ast.Attribute) and node.attr in ("met", "threshold", "upper"):
            found |= _named(node.value)
        elif isinstance(node, ast.For) and _asks(node.target, node.body):
            found |= _named(node.iter)
    return frozenset(found)


def _asks(target: ast.expr, body: list[ast.stmt]) -> bool:
    """Whether the body of a loop holds something against what the loop names."""
    names = {node.id for node in ast.walk(target) if isinstance(node, ast.Name)}
    return any(
        isinstance(node, ast.Attribute)
        and node.attr == "met"
        and isinstance(node.value, ast.Name)
        and node.value.id in names
        for statement in body
        for node in ast.walk(statement)
    )


def _named(node: ast.expr) -> set[str]:
    return {
        one.attr
        for one in ast.walk(node)
        if isinstance(one, ast.Attribute)
        and isinstance(one.value, ast.Name)
        and one.value.id == "line"
    }


@lru_cache(maxsize=32)
def _changed_table(standard: Standard, changes: tuple[tuple[str, float], ...]) -> Table:
    table: Table = _table_module(standard).TABLE
    limits = dict(changes)
    rules, told = [], []
    for rule in table.rules:
        if rule.id in limits:
            made = replace(rule, threshold=limits[rule.id], note="Changed for a study.")
            told.append(f"{rule.says} {made.condition} (published: {rule.condition})")
            rules.append(made)
        else:
            rules.append(rule)
    return replace(
        table, edition=f"{table.edition}, modified: {'; '.join(told)}", rules=tuple(rules)
    )


@lru_cache(maxsize=32)
def _changed_rules(standard: Standard, changes: tuple[tuple[str, float], ...]) -> ModuleType:
    """The module of the rules once more, with lines of its own."""
    table = _changed_table(standard, changes)
    lines = {name: table.rule(rule.id) for name, rule in _lines(standard).items()}
    spec = importlib.util.find_spec(_rules_name(standard))
    assert spec is not None and spec.loader is not None
    made = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(made)
    own = {**vars(_table_module(standard)), **lines, "TABLE": table}
    vars(made)["line"] = SimpleNamespace(**own)
    return made
