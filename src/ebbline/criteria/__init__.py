"""Published criteria as data, and the classes they give.

`classify` is the door. A standard is two files and a name: its lines in `tables/NAME.py` (TABLE),
how they are applied in `rules/NAME.py` (classify), and NAME as a member of `model.Standard`, which
registers it; everything that lists or asks standards goes through `TABLES` and `classify`. What
all of them ask is worked out once, in `recording_index` and `window_view` and their parts, and
`classification_builder` turns reasons into a class or a refusal.
"""

from __future__ import annotations

from importlib import import_module
from typing import Protocol, cast

from ebbline.criteria.model import Classification, Standard
from ebbline.criteria.rule import Rule, Table
from ebbline.criteria.study import AnyStandard, ModifiedStandard
from ebbline.criteria.window_view import WindowFacts, window_facts
from ebbline.features.findings import Findings
from ebbline.recording.model import Context
from ebbline.terms import Window

__all__ = ["TABLES", "Rule", "Table", "classify"]


class _Rules(Protocol):
    """What a standard's rules module gives."""

    def classify(self, facts: WindowFacts, context: Context) -> Classification: ...


def _table(standard: Standard) -> Table:
    return cast("Table", import_module(f"{__name__}.tables.{standard.value}").TABLE)


def _rules(standard: Standard) -> _Rules:
    return cast("_Rules", import_module(f"{__name__}.rules.{standard.value}"))


TABLES: dict[Standard, Table] = {standard: _table(standard) for standard in Standard}

_RULES: dict[Standard, _Rules] = {standard: _rules(standard) for standard in Standard}


def classify(
    findings: Findings, window: Window, standard: AnyStandard, context: Context | None = None
) -> Classification:
    """The class that a standard gives a window, with its reasons; or a refusal with its reasons.

    Durations are followed over the whole recording up to the window's end. context: what is known
    of the labour (None: nothing). Standards of labour are not read as such before labour; the
    non-stress test is read before labour only.
    """
    known = Context() if context is None else context
    rules = standard if isinstance(standard, ModifiedStandard) else _RULES[standard]
    return rules.classify(window_facts(findings, window), known)
