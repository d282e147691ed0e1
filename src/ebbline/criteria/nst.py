"""The antepartum non-stress test: reactive or non-reactive, as a table and as it is applied.

Source: ACOG Practice Bulletin 229 (2021), "Nonstress test"; acceleration by NICHD 2008. From
memory.
"""

from __future__ import annotations

import numpy as np

from ebbline.criteria import limits
from ebbline.criteria.docket import Docket, spans
from ebbline.criteria.facts import WindowFacts, stretch, window_facts
from ebbline.criteria.model import Classification, Level, Standard, Window
from ebbline.criteria.rules import Compare, Part, Rule, Table
from ebbline.criteria.sources import ACOG_229, OURS
from ebbline.features import window as within
from ebbline.recording.model import Context
from ebbline.terms import Stage

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
    scope="before labour",
    classes=("reactive", "non-reactive"),
    alarm_rank=None,
    rules=(ACCELERATIONS, WITHIN, NONREACTIVE, SHORT, REPETITIVE, LONG, NOT_COUNTED),
    limits=(limits.VALID, limits.SUSPECT),
)


def classify(facts: WindowFacts, context: Context) -> Classification:
    """Reactive or non-reactive, or why neither can be said.

    A window shorter than 40 minutes is lengthened backwards, as far as the recording goes.
    """
    window = facts.window
    longer_s = max(window.duration_s, NONREACTIVE.threshold * 60.0)
    looked = Window(max(0.0, min(window.start_s, window.end_s - longer_s)), window.end_s)
    seen = facts if looked == window else window_facts(facts.findings, looked)
    docket = Docket(TABLE, facts)
    stage = context.stage_at(window.end_s)
    if stage is not Stage.ANTEPARTUM:
        told = (
            "it is not said that this is before labour"
            if stage is Stage.UNKNOWN
            else (f"this is the {stage} stage of labour")
        )
        docket.refuse(f"the non-stress test is read before labour, and {told}")
    _accelerations(docket, seen)
    _decelerations(docket, facts)
    if facts.findings.weeks is None:
        docket.not_seen("weeks of gestation: accelerations are judged as from 32 weeks on")
    return docket.close()


def _accelerations(docket: Docket, seen: WindowFacts) -> None:
    window = seen.window
    found = within.accelerations_in(seen.findings, window.start_s, window.end_s)
    doubtful = tuple(
        one
        for one in found
        if any(one.onset_s < part.end_s and one.end_s > part.start_s for part in seen.suspected)
    )
    if doubtful:
        docket.add(
            NOT_COUNTED,
            evidence=[Window(one.onset_s, one.end_s) for one in doubtful],
            detail=f"{len(doubtful)}; feel the maternal pulse",
        )
        docket.not_seen("whether some accelerations are the fetus's; feel the maternal pulse")
    counted = [one for one in found if one not in doubtful]
    peaks = np.array([one.peak_s for one in counted])
    together = np.searchsorted(peaks, peaks + WITHIN.threshold * 60.0, "right") - np.arange(
        len(peaks)
    )
    most = int(together.max()) if len(peaks) else 0
    if ACCELERATIONS.met(most):
        first = int(np.argmax(together))
        docket.add(
            ACCELERATIONS,
            most,
            evidence=[Window(one.onset_s, one.end_s) for one in counted[first : first + most]],
        )
        return
    share = seen.reliable_share
    minutes = window.duration_s / 60.0
    detail = f"most in 20 minutes: {most}"
    if limits.VALID.met(share):
        docket.add(limits.VALID, share)
        docket.refuse(f"{100 * (1 - share):.0f} % of the signal is lost or doubtful")
    if SHORT.met(minutes):
        docket.add(SHORT, minutes, evidence=(window,), detail=detail)
        docket.refuse(
            f"not yet reactive: {detail}, looked for over {minutes:.0f} of "
            f"{SHORT.threshold:.0f} min ({stretch(window.start_s, window.end_s)})"
        )
    else:
        docket.add(NONREACTIVE, minutes, evidence=(window,), detail=detail)


def _decelerations(docket: Docket, facts: WindowFacts) -> None:
    window = facts.window
    variable = facts.whole.variable
    count, start_s, end_s = within.most_decelerations(
        facts.findings, window.start_s, window.end_s, variable
    )
    if REPETITIVE.met(count):
        docket.add(REPETITIVE, count, evidence=(Window(start_s, end_s),))
    falls = facts.touching(~facts.whole.falls.shallow)
    if falls:
        longest = max(falls, key=facts.so_far_s)
        minutes = facts.so_far_s(longest) / 60.0
        if LONG.met(minutes):
            docket.add(LONG, minutes, evidence=spans((longest,)))
