"""Scan advice: from which chance that no head presents a scan is advised, and what that costs."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path

from ebbline.bedside.context import ExamContext, Examiner
from ebbline.bedside.policy.common import HEAD, PolicyHead, head, open_policy, source, sources
from ebbline.bedside.policy.reader import Entry

HINDERED = "hindered"


@dataclass(frozen=True, slots=True)
class ScanPoint:
    """One point of the trade: a scan from this probability that no head presents.

    vertices_sent: share of vertices sent to a scan; found: share of non-cephalic sent, both 0..1.
    """

    from_probability: float
    vertices_sent: float
    found: float


@dataclass(frozen=True, slots=True)
class ScanPolicy:
    """The point and the curves. curves: by hands ("ordinary", "ordinary hindered" ...)."""

    head: PolicyHead
    source: str
    at_most: float
    curves: Mapping[str, tuple[ScanPoint, ...]]

    @property
    def point(self) -> ScanPoint:
        """The point in force: the most vertices sent, on the curve of ordinary hands."""
        return _at(self.curves[Examiner.ORDINARY.value], "vertices_sent", self.at_most)

    def expected(self, context: ExamContext) -> ScanPoint | None:
        """What the point in force gives in some hands; None where no curve was measured."""
        name = context.examiner.value
        if context.hindrances:
            name += f" {HINDERED}"
        curve = self.curves.get(name)
        return (
            None if curve is None else _at(curve, "from_probability", self.point.from_probability)
        )


def _at(curve: Sequence[ScanPoint], field: str, value: float) -> ScanPoint:
    """The point of a curve at a value of one field, by straight lines, level outside."""
    ordered = sorted(curve, key=lambda p: float(getattr(p, field)))
    if value <= getattr(ordered[0], field):
        return ordered[0]
    for low, high in pairwise(ordered):
        a, b = float(getattr(low, field)), float(getattr(high, field))
        if value <= b:
            share = (value - a) / (b - a)
            return ScanPoint(
                low.from_probability + share * (high.from_probability - low.from_probability),
                low.vertices_sent + share * (high.vertices_sent - low.vertices_sent),
                low.found + share * (high.found - low.found),
            )
    return ordered[-1]


def load_scan(path: Path | None = None) -> ScanPolicy:
    """The policy for scan advice. Raises PolicyError, with the line, for what is not valid."""
    top, file = open_policy("scan", path)
    fields = top.fields((*HEAD, "source", "vertices_sent_at_most", "curves"))
    known = sources(fields["sources"])
    at_most = _percent(fields["vertices_sent_at_most"])
    curves = {entry.name: _curve(entry) for entry in fields["curves"].entries()}
    if Examiner.ORDINARY.value not in curves:
        raise fields["curves"].error("the curve of ordinary hands is missing.")
    return ScanPolicy(
        head(fields, "scan advice", file), source(fields["source"], known), at_most, curves
    )


@cache
def shipped_scan() -> ScanPolicy:
    """The policy that is shipped."""
    return load_scan()


def _percent(entry: Entry) -> float:
    value = entry.number()
    if not 0 < value < 100:
        raise entry.error(f"{value:g} per cent cannot be.", "Give more than 0, less than 100.")
    return value / 100


def _curve(entry: Entry) -> tuple[ScanPoint, ...]:
    made = []
    for one in entry.items():
        inner = one.fields(("from", "vertices", "found"))
        values = [inner[name].number() for name in ("from", "vertices", "found")]
        if not all(0 <= value <= 100 for value in values):
            raise one.error("per cent must be from 0 to 100.")
        made.append(ScanPoint(*(value / 100 for value in values)))
    if len(made) < 2:
        raise entry.error("a curve needs two points or more.")
    rising = sorted(made, key=lambda p: -p.from_probability)
    if any(a.vertices_sent > b.vertices_sent or a.found > b.found for a, b in pairwise(rising)):
        raise entry.error(
            "a lower threshold must send as many or more.", "Check 'vertices' and 'found'."
        )
    return tuple(made)
