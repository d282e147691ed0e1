"""What a class needs to rest on, whichever standard gives it: signal, time, measured minutes.

The standards say little about how much signal a class needs. These lines are ours unless they
cite, and every one of them makes the answer more careful: missing signal never reassures.
"""

from __future__ import annotations

from ebbline.criteria.model import Level
from ebbline.criteria.rule import Compare, Part, Rule
from ebbline.definitions import (
    COMMON_PRACTICE,
    FIGO_2015,
    LEAST_SEEN_SHARE,
    NICHD_2008,
    OURS,
    TEN_MINUTES_S,
    WORKABLE_LOSS,
)

WINDOW = Rule(
    id="limit-window",
    part=Part.LIMIT,
    feature="window",
    verdict="too short",
    level=Level.NOT_ASSESSED,
    says="Length of the window",
    compare=Compare.BELOW,
    threshold=TEN_MINUTES_S / 60.0,
    unit="min",
    source=NICHD_2008,
    section="baseline, determined over ten minutes",
    note="FIGO 2015 takes the baseline in ten minutes, too.",
)
VALID = Rule(
    id="limit-signal",
    part=Part.LIMIT,
    feature="signal quality",
    verdict="too little signal",
    level=Level.NOT_ASSESSED,
    says="Heart rate that can be relied on",
    compare=Compare.BELOW,
    threshold=LEAST_SEEN_SHARE,
    unit="%",
    source=OURS,
    section="",
    note="Signal lost, and signal suspected to be the mother's, doubled or halved, left out.",
)
WORKABLE = Rule(
    id="limit-loss",
    part=Part.NOTE,
    feature="signal quality",
    verdict="more lost than is workable",
    level=Level.NOT_ASSESSED,
    says="Heart-rate signal lost or doubtful",
    compare=Compare.ABOVE,
    threshold=WORKABLE_LOSS,
    unit="%",
    source=FIGO_2015,
    section="signal quality",
    from_memory=True,
    note="A class is given, with this beside it.",
)
TEN_MINUTES = Rule(
    id="limit-ten-minutes",
    part=Part.LIMIT,
    feature="signal quality",
    verdict="the best class needs every ten minutes",
    level=Level.NOT_ASSESSED,
    says="Heart rate that can be relied on in the poorest ten minutes",
    compare=Compare.BELOW,
    threshold=LEAST_SEEN_SHARE,
    unit="%",
    source=OURS,
    section="",
    note="What may lie in ten unreadable minutes is not reassuring.",
)
MEASURED_MINUTES = Rule(
    id="limit-variability",
    part=Part.LIMIT,
    feature="variability",
    verdict="not measurable",
    level=Level.NOT_ASSESSED,
    says="Minutes with measurable variability",
    compare=Compare.BELOW,
    threshold=5.0,
    unit="min",
    source=OURS,
    section="",
)
RUN_GAP = Rule(
    id="limit-run-gap",
    part=Part.TERM,
    feature="variability",
    verdict="breaks a run",
    level=Level.NOT_ASSESSED,
    says="Unmeasured minutes in a row within a run of minutes",
    compare=Compare.ABOVE,
    threshold=5.0,
    unit="min",
    source=OURS,
    section="",
    note="Up to this long they neither count nor break the run.",
)
SUSPECT = Rule(
    id="limit-suspect",
    part=Part.TERM,
    feature="signal quality",
    verdict="not relied on",
    level=Level.NOT_ASSESSED,
    says="Certainty of a suspicion that the rate is not the fetus's true rate",
    compare=Compare.AT_LEAST,
    threshold=0.5,
    unit="%",
    source=OURS,
    section="",
)

LABOUR = Rule(
    id="limit-labour",
    part=Part.NOTE,
    feature="window",
    verdict="not made for this",
    level=Level.CAUTION,
    says="The standard is made for labour, and this is read before labour",
    compare=Compare.PRESENT,
    source=COMMON_PRACTICE,
    section="",
)
OPEN = Rule(
    id="limit-open",
    part=Part.LIMIT,
    feature="whole window",
    verdict="the worst class is not excluded",
    level=Level.ALARMING,
    says="Seen in part, and missing signal keeps it from being told",
    compare=Compare.PRESENT,
    source=OURS,
    section="",
    note="No better class is then given.",
)

NARROW_BPM = 6.5
"""A bandwidth under this is close to the lower limit of 5 bpm where more signal is lost than is
workable: the minutes that are left need not be the quiet ones (ours)."""

HIDES_FROM = 0.02
"""From such a share lost or doubtful on, a value that so much more would carry over a threshold is
told as "at least": what was lost may have held it (ours: metamorphic runs over open recordings)."""

SLOW_HALF = 0.5
"""Share of the usable rate under 100 bpm from which no standard gives its best class, nor none: the
greater part of the window is then slower than any baseline that a standard calls less than
pathological (ours)."""

COMMON = (WINDOW, VALID, TEN_MINUTES, WORKABLE, SUSPECT, LABOUR, OPEN)
"""Limits of every standard of labour."""
OF_MINUTES = (MEASURED_MINUTES, RUN_GAP)
"""Limits of the standards that count minutes of variability."""
