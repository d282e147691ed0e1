"""Published criteria as data, and the classes they give.

`classify` is the door. `nichd`, `figo`, `nice` and `nst` hold the tables, `by_nichd` and its
sisters apply them. What all of them ask is worked out once, in `recording_facts` and `facts`, and
`docket` turns reasons into a class or a refusal.
"""

from __future__ import annotations

from ebbline.criteria.model import Classification, Standard
from ebbline.criteria.rule import Rule, Table
from ebbline.criteria.rules import antepartum as antepartum_rules
from ebbline.criteria.rules import figo as figo_rules
from ebbline.criteria.rules import nice as nice_rules
from ebbline.criteria.rules import nichd as nichd_rules
from ebbline.criteria.tables import antepartum, figo, nice, nichd
from ebbline.criteria.window_view import window_facts
from ebbline.features.findings import Findings
from ebbline.recording.model import Context
from ebbline.terms import Window

TABLES: dict[Standard, Table] = {
    table.standard: table for table in (nichd.TABLE, figo.TABLE, nice.TABLE, antepartum.TABLE)
}

__all__ = ["TABLES", "Rule", "Table", "classify"]


def classify(
    findings: Findings, window: Window, standard: Standard, context: Context | None = None
) -> Classification:
    """The class that a standard gives a window, with its reasons; or a refusal with its reasons.

    Durations are followed over the whole recording up to the window's end. context: what is known
    of the labour (None: nothing). Standards of labour are not read as such before labour; the
    non-stress test is read before labour only.
    """
    context = Context() if context is None else context
    facts = window_facts(findings, window)
    match standard:
        case Standard.NICHD:
            return nichd_rules.classify(facts, context)
        case Standard.FIGO:
            return figo_rules.classify(facts, context)
        case Standard.NICE:
            return nice_rules.classify(facts, context)
        case Standard.NST:
            return antepartum_rules.classify(facts, context)
