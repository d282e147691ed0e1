"""How the table of the non-stress test is applied to a window."""

from __future__ import annotations

import numpy as np

from ebbline.criteria import limits
from ebbline.criteria.classification_builder import ClassBuilder, spans
from ebbline.criteria.model import Classification
from ebbline.criteria.tables import nst as line
from ebbline.criteria.window_view import WindowFacts, stretch, window_facts
from ebbline.features import window as within
from ebbline.recording.model import Context
from ebbline.terms import Stage, Window


def classify(facts: WindowFacts, context: Context) -> Classification:
    """Reactive or non-reactive, or why neither can be said.

    A window shorter than 40 minutes is lengthened backwards, as far as the recording goes.
    """
    window = facts.window
    longer_s = max(window.duration_s, line.NONREACTIVE.threshold * 60.0)
    begins_s = facts.findings.fetal.valid.start_s
    looked = Window(max(begins_s, min(window.start_s, window.end_s - longer_s)), window.end_s)
    seen = facts if looked == window else window_facts(facts.findings, looked)
    builder = ClassBuilder(line.TABLE, facts)
    stage = context.stage_at(window.end_s - 1.0)
    if stage is not Stage.ANTEPARTUM:
        told = (
            "it is not said that this is before labour"
            if stage is Stage.UNKNOWN
            else (f"this is the {stage} stage of labour")
        )
        builder.refuse(f"the non-stress test is read before labour, and {told}")
    _accelerations(builder, seen)
    _decelerations(builder, facts)
    if facts.findings.weeks is None:
        builder.not_seen("weeks of gestation: accelerations are judged as from 32 weeks on")
    return builder.close()


def _accelerations(builder: ClassBuilder, seen: WindowFacts) -> None:
    window = seen.window
    found = within.accelerations_in(seen.findings, window)
    doubtful = tuple(
        one
        for one in found
        if any(one.onset_s < part.end_s and one.end_s > part.start_s for part in seen.suspected)
    )
    if doubtful:
        builder.add(
            line.NOT_COUNTED,
            evidence=[Window(one.onset_s, one.end_s) for one in doubtful],
            detail=f"{len(doubtful)}; feel the maternal pulse",
        )
        builder.not_seen("whether some accelerations are the fetus's; feel the maternal pulse")
    counted = [one for one in found if one not in doubtful]
    peaks = np.array([one.peak_s for one in counted])
    together = np.searchsorted(peaks, peaks + line.WITHIN.threshold * 60.0, "right") - np.arange(
        len(peaks)
    )
    most = int(together.max()) if len(peaks) else 0
    if line.ACCELERATIONS.met(most):
        first = int(np.argmax(together))
        builder.add(
            line.ACCELERATIONS,
            most,
            evidence=[Window(one.onset_s, one.end_s) for one in counted[first : first + most]],
        )
        return
    share = seen.reliable_share
    minutes = window.duration_s / 60.0
    detail = f"most in 20 minutes: {most}"
    if limits.VALID.met(share):
        builder.add(limits.VALID, share)
        builder.refuse(f"{100 * (1 - share):.0f} % of the signal is lost or doubtful")
    if line.SHORT.met(minutes):
        builder.add(line.SHORT, minutes, evidence=(window,), detail=detail)
        builder.refuse(
            f"not yet reactive: {detail}, looked for over {minutes:.0f} of "
            f"{line.SHORT.threshold:.0f} min ({stretch(window.start_s, window.end_s)})"
        )
    else:
        builder.add(line.NONREACTIVE, minutes, evidence=(window,), detail=detail)


def _decelerations(builder: ClassBuilder, facts: WindowFacts) -> None:
    window = facts.window
    variable = facts.whole.falls.variable
    count, busiest = within.most_decelerations(facts.findings, window, variable)
    if line.REPETITIVE.met(count):
        builder.add(line.REPETITIVE, count, evidence=(busiest,))
    falls = facts.falls.touching(~facts.whole.falls.shallow)
    if falls:
        longest = max(falls, key=facts.falls.so_far_s)
        minutes = facts.falls.so_far_s(longest) / 60.0
        if line.LONG.met(minutes):
            builder.add(line.LONG, minutes, evidence=spans((longest,)))
