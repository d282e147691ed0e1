"""What the teaching pages draw: the debrief's strip, and a checked case's truth in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

from ebbline.web.reading.schemas import ItemOut
from ebbline.web.teaching.attempts_in_play import strip_of, traces_of
from ebbline.web.teaching.schemas import CheckedCaseOut, DebriefStripOut

if TYPE_CHECKING:
    from ebbline.teach.answers import Mark
    from ebbline.teach.practice import ShortStrip
    from ebbline.teach.real_cases import RecordedEncounter
    from ebbline.teach.truth import StripTruth
    from ebbline.web.teaching.attempts_in_play import Played

_LETTERS = {
    "acceleration": "A",
    "early deceleration": "E",
    "late deceleration": "L",
    "variable deceleration": "V",
    "prolonged deceleration": "P",
    "contraction": "C",
}


def _tone(kind: str) -> str:
    return kind if kind in ("acceleration", "contraction") else "deceleration"


def _plot(kind: str) -> str:
    return "uterine" if kind == "contraction" else "heart"


def strip_of_debrief(key: str, encounter: Played) -> DebriefStripOut:
    """The learner's strip with the truth above it and the learner's own marks below."""
    from ebbline.teach.debrief import verdicts
    from ebbline.teach.encounter import Encounter
    from ebbline.teach.what_was_true import reading_truth

    recording = strip_of(encounter)
    if not isinstance(encounter, Encounter):
        return _strip_of_recorded(key, encounter)
    if encounter.minute < 1:
        return DebriefStripOut(
            duration_s=0.0, window=(0.0, 0.0), traces=[], items=[], baseline=None
        )
    truth = reading_truth(encounter)
    marks = encounter.reading.answer.marks if encounter.reading else ()
    values = encounter.labour().truth.baseline.values
    items = _true_items(truth) + _own_items(marks, truth)
    by_time = {(v.start_s, v.end_s, v.true): v for v in verdicts(marks, truth)}
    for item in items:
        verdict = by_time.get((item.start_s, item.end_s, item.kind))
        if verdict is not None and item.layer == "computed":
            item.details = [("you said", verdict.said or "nothing")]
            if verdict.why:
                item.details.append(("mind", verdict.why))
    return DebriefStripOut(
        duration_s=recording.duration_s if recording else 0.0,
        window=(truth.window.start_s, truth.window.end_s),
        traces=traces_of(key, recording),
        items=items,
        baseline={"start_s": 0.0, "step_s": 1.0, "values": [round(v, 1) for v in values.tolist()]},
    )


def _strip_of_recorded(key: str, encounter: RecordedEncounter) -> DebriefStripOut:
    """Ebbline's own findings above, as in the workbench; nobody's truth tells the events."""
    from ebbline.web.reading.presenters import baseline_curve, finding_items

    window = encounter.window
    findings = encounter.computed().fetuses[0].findings
    marks = encounter.answer.marks if encounter.answer else ()
    found = [item for item in finding_items(findings) if window.overlaps(item.start_s, item.end_s)]
    return DebriefStripOut(
        duration_s=encounter.recording.duration_s,
        window=(window.start_s, window.end_s),
        traces=traces_of(key, encounter.recording),
        items=found + _own_items(marks, None),
        baseline=baseline_curve(findings).model_dump(),
    )


def _true_items(truth: StripTruth) -> list[ItemOut]:
    return [
        ItemOut(
            id=f"true-{number}",
            layer="computed",
            plot=_plot(event.kind.value),
            kind=event.kind.value,
            name=event.kind.value,
            title=f"Truth: {event.kind.value}",
            letter=_LETTERS[event.kind.value],
            tone=_tone(event.kind.value),
            start_s=event.start_s,
            end_s=event.end_s,
            turn_s=event.peak_s,
            certainty=0.5 if event.borderline else 1.0,
        )
        for number, event in enumerate(truth.events)
    ]


def practice_items(strip: ShortStrip) -> list[ItemOut]:
    """The falls and contractions of a short strip, as they truly are."""
    falls = [
        ("heart", f"{d.kind.value} deceleration", d.onset_s, d.nadir_s, d.end_s)
        for d in strip.truth.decelerations
    ]
    hills = [
        ("uterine", "contraction", c.onset_s, c.peak_s, c.end_s) for c in strip.truth.contractions
    ]
    zero = strip.window.start_s
    return [
        ItemOut(
            id=f"true-{number}",
            layer="computed",
            plot=plot,
            kind=kind,
            name=kind,
            title=f"Truth: {kind}",
            letter=_LETTERS[kind],
            tone=_tone(kind),
            start_s=max(0.0, start - zero),
            end_s=end - zero,
            turn_s=turn - zero if turn > zero else None,
        )
        for number, (plot, kind, start, turn, end) in enumerate(falls + hills)
        if end > zero
    ]


def _own_items(marks: tuple[Mark, ...], truth: StripTruth | None) -> list[ItemOut]:
    from ebbline.teach.debrief import verdicts

    alone = set()
    if truth is not None:
        alone = {(v.start_s, v.end_s) for v in verdicts(marks, truth) if not v.true}
    return [
        ItemOut(
            id=f"own-{number}",
            layer="own",
            plot=_plot(mark.kind.value),
            kind=mark.kind.value,
            name=mark.kind.value,
            title=f"You: {mark.kind.value}",
            letter=_LETTERS[mark.kind.value],
            tone="own",
            start_s=mark.start_s,
            end_s=mark.end_s,
            details=([("truth", "nothing there")] if (mark.start_s, mark.end_s) in alone else []),
        )
        for number, mark in enumerate(marks)
    ]


def checked(text: str) -> CheckedCaseOut:
    """A case's YAML checked, with what it truly shows. Raises ScenarioError."""
    from ebbline.teach.case import case_from_yaml
    from ebbline.teach.patient import AS_WRITTEN, check
    from ebbline.teach.truth_words import truth_in_words
    from ebbline.teach.variants import shown_by

    case = case_from_yaml(text)
    check(case)
    return CheckedCaseOut(
        id=case.id,
        title=case.title,
        difficulty=case.difficulty,
        asks=[step.value for step in case.asks],
        truth=truth_in_words(case, AS_WRITTEN),
        shows=sorted(shown_by(case)),
    )
