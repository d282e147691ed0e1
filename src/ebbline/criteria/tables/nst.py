"""The antepartum non-stress test: reactive or non-reactive, as a table.

Source: ACOG Practice Bulletin 229 (2021), "Nonstress test"; acceleration by NICHD 2008. From
memory.
"""

from __future__ import annotations

from ebbline.criteria import limits
from ebbline.criteria.model import Level, Standard
from ebbline.criteria.rule import Compare, Part, Rule, Table
from ebbline.definitions import ACOG_229, OURS

_TEST = "non-stress test"

ACCELERATIONS = Rule(
    id="nst-accelerations",
    part=Part.CLASS,
    feature="accelerations",
    verdict="reactive",
    level=Level.REASSURING,
    says="Most accelerations within 20 minutes",
    compare=Compare.AT_LEAST,
    threshold=2.0,
    source=ACOG_229,
    section=_TEST,
)
WITHIN = Rule(
    id="nst-within",
    part=Part.TERM,
    feature="accelerations",
    verdict="reactive",
    level=Level.REASSURING,
    says="Time from the first of two accelerations to the second (their peaks)",
    compare=Compare.AT_MOST,
    threshold=20.0,
    unit="min",
    source=ACOG_229,
    section=_TEST,
)
NONREACTIVE = Rule(
    id="nst-nonreactive",
    part=Part.CLASS,
    feature="accelerations",
    verdict="non-reactive",
    level=Level.CAUTION,
    says="Without two accelerations in 20 minutes, looked for over",
    compare=Compare.AT_LEAST,
    threshold=40.0,
    unit="min",
    rank=1,
    source=ACOG_229,
    section=_TEST,
)
SHORT = Rule(
    id="nst-not-yet",
    part=Part.LIMIT,
    feature="window",
    verdict="not yet reactive",
    level=Level.NOT_ASSESSED,
    says="Without two accelerations in 20 minutes, looked for over",
    compare=Compare.BELOW,
    threshold=NONREACTIVE.threshold,
    unit="min",
    source=ACOG_229,
    section=_TEST,
)
REPETITIVE = Rule(
    id="nst-decelerations-repetitive",
    part=Part.NOTE,
    feature="decelerations",
    verdict="more risk",
    level=Level.CAUTION,
    says="Most variable decelerations in 20 minutes",
    compare=Compare.AT_LEAST,
    threshold=3.0,
    source=ACOG_229,
    section=_TEST,
)
LONG = Rule(
    id="nst-deceleration-long",
    part=Part.NOTE,
    feature="decelerations",
    verdict="more risk",
    level=Level.ALARMING,
    says="A deceleration of",
    compare=Compare.AT_LEAST,
    threshold=1.0,
    unit="min",
    source=ACOG_229,
    section=_TEST,
)
NOT_COUNTED = Rule(
    id="nst-not-counted",
    part=Part.NOTE,
    feature="accelerations",
    verdict="not counted",
    level=Level.NOT_ASSESSED,
    says="Accelerations where the rate may not be the fetus's",
    compare=Compare.PRESENT,
    source=OURS,
    section="",
)

TABLE = Table(
    standard=Standard.NST,
    edition="ACOG PB 229 (2021), non-stress test",
    title="the non-stress test",
    scope="before labour",
    classes=("reactive", "non-reactive"),
    alarm_rank=None,
    rules=(ACCELERATIONS, WITHIN, NONREACTIVE, SHORT, REPETITIVE, LONG, NOT_COUNTED),
    limits=(limits.VALID, limits.SUSPECT),
)
