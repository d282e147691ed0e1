"""Two fetuses: two examinations, two sites that must not be the same heart twice."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from ebbline.bedside.context import ExamContext
from ebbline.bedside.exam import ExamResult, Given, examine
from ebbline.bedside.findings_catalogue import findings_from, items
from ebbline.bedside.next_step import OF_THE_LOWER_TWIN
from ebbline.bedside.sensors import (
    TWIN_APART_CM,
    SiteMap,
    best_site,
    fallback_site,
)
from ebbline.errors import ExaminationError

FIRST_CEPHALIC = 0.809
SECOND_CEPHALIC_AFTER_CEPHALIC = 0.525
SECOND_CEPHALIC_ELSE = 0.5
"""Twins in labour (Chervenak 1985, from memory): both head first 42.5 %, only the first head
first 38.4 %, the first not head first 19.1 %. The second after a first that is not head first:
neutral, no figure at hand."""


@dataclass(frozen=True, slots=True, eq=False)
class TwinResult:
    """Both examinations. apart_cm: distance of the two heart-rate sites. notes: what to check."""

    first: ExamResult
    second: ExamResult
    apart_cm: float
    notes: tuple[str, ...]


def examine_twins(first: Given, second: Given, context: ExamContext | None = None) -> TwinResult:
    """Examine both twins: the first is the one that lies lower.

    first, second: findings of each, words as in `examine`. The second's site is looked for at
    least 8 cm from the first's. Raises ExaminationError as `examine` does, and for findings at the
    brim that are told of the second.
    """
    found = findings_from(second)
    for finding in found:
        if items()[finding.item].step in OF_THE_LOWER_TWIN:
            raise ExaminationError(
                "what is felt at the brim and below it is the lower twin's.",
                where=f"other twin, {finding.item}",
                remedy="Give it with the first twin's findings.",
            )
    base = replace(ExamContext() if context is None else context, fetuses=2)
    lower = examine(first, _with_share(base, 1 - FIRST_CEPHALIC))
    head = 1 - lower.noncephalic
    cephalic = head * SECOND_CEPHALIC_AFTER_CEPHALIC + (1 - head) * SECOND_CEPHALIC_ELSE
    upper = examine(found, _with_share(replace(base, upper_twin=True), 1 - cephalic))
    upper = _kept_apart(upper, lower)
    one, other = lower.sensors.best.point, upper.sensors.best.point
    apart = float(np.hypot(one.x_cm - other.x_cm, one.y_cm - other.y_cm))
    return TwinResult(
        lower,
        upper,
        apart,
        (
            "See that the two rates differ, and that neither is the mother's; if they run "
            "together, one heart is heard twice. A scan shows which heart is where.",
            "Presentations of twins: Chervenak FA, et al. Obstet Gynecol 1985;65:119-24 (from "
            "memory).",
        ),
    )


def _with_share(context: ExamContext, noncephalic: float) -> ExamContext:
    if context.noncephalic_share is not None:
        return context
    return replace(context, noncephalic_share=noncephalic)


def _kept_apart(result: ExamResult, other: ExamResult) -> ExamResult:
    """The result with its site at least TWIN_APART_CM from the other's."""
    plan = result.sensors
    there = other.sensors.best.point
    distance = np.hypot(plan.map.x_cm[None, :] - there.x_cm, plan.map.y_cm[:, None] - there.y_cm)
    allowed = distance >= TWIN_APART_CM
    best = best_site(plan.map, plan.abdomen, allowed)
    if best is None:
        return result
    beyond = SiteMap(plan.map.x_cm, plan.map.y_cm, plan.map.weights * allowed)
    return replace(
        result,
        sensors=replace(plan, best=best, fallback=fallback_site(beyond, best, plan.abdomen)),
    )
