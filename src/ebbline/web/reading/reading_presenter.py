"""A Reading as the reading panel shows it: words from `wording`, reasons with their evidence."""

from __future__ import annotations

from ebbline.bedside.policy.measures import MeasureList, first_measures
from ebbline.criteria.model import GRAVITY, Classification
from ebbline.reading.bedside_bridge import class_words, finding_words, longest_fall_min
from ebbline.reading.model import FetalReading, Reading
from ebbline.reading.text import Clock, sections, share
from ebbline.web.reading.schemas import (
    ClassificationOut,
    MeasureOut,
    ReadingOut,
    ReasonOut,
    SectionOut,
)

REVIEW = (
    "Signal quality",
    "Contractions",
    "Baseline",
    "Variability",
    "Accelerations",
    "Decelerations",
    "Change over time",
)


def said(reading: Reading, fetal: FetalReading, by: str) -> ReadingOut:
    """The reading of one fetus in words. by: "computed" or the reader whose corrections are in."""
    clock = Clock.of(reading)
    parts = {part.title: part for part in sections(reading, fetal)}
    lines = {title: list(part.lines) for title, part in parts.items()}
    listed = first_measures(
        finding_words(fetal),
        classes=class_words(fetal),
        lasting_min=longest_fall_min(reading, fetal),
    )
    return ReadingOut(
        by=by,
        fetus=fetal.fetus,
        start_s=reading.window.start_s,
        end_s=reading.window.end_s,
        window_words=clock.stretch(reading.window),
        valid_words=f"{share(fetal.review.valid_share)} valid signal",
        level="" if fetal.four_lines is None else fetal.four_lines.level.value,
        four_lines=[] if fetal.four_lines is None else list(fetal.four_lines.titled),
        sections=[SectionOut(title=t, lines=lines[t]) for t in REVIEW if t in lines],
        classes=[_class(one, clock) for one in fetal.classes],
        panel=lines.get("Panel reading", []),
        measures_for=list(listed.titles),
        measures=_measures(listed),
        measures_note=listed.note,
        not_assessed=lines.get("Not assessed", []),
        notes=list(reading.notes),
        caution=reading.caution,
        version=reading.ebbline_version,
    )


def _class(one: Classification, clock: Clock) -> ClassificationOut:
    return ClassificationOut(
        standard=one.standard.value,
        edition=one.edition,
        label=one.said,
        rank=one.rank,
        level=one.level.value,
        gravity=GRAVITY.index(one.level),
        reasons=[
            ReasonOut(
                rule=reason.rule,
                feature=reason.feature,
                level=reason.level.value,
                verdict=reason.verdict,
                text=reason.text,
                decides=reason.rule in one.decided_by,
                citation=reason.citation,
                evidence=[(w.start_s, w.end_s) for w in reason.evidence],
                evidence_words=clock.stretches(reason.evidence),
            )
            for reason in one.reasons
        ],
        refusal=list(one.not_told),
        not_assessed=list(one.not_assessed),
    )


def _measures(listed: MeasureList) -> list[MeasureOut]:
    """The call first, then the clock of a fall, then the options with what to watch."""
    made = []
    if listed.call is not None:
        made.append(MeasureOut(text=listed.call.text, source=listed.call.source, differs=[]))
    made += [
        MeasureOut(
            text=f"From {step.from_min:g} minutes{' (reached)' if step.reached else ''}: "
            f"{step.text}",
            source=step.source,
            differs=[],
        )
        for step in listed.clock
    ]
    made += [
        MeasureOut(
            text=one.text + "".join(f". Care: {c.text}" for c in one.cautions),
            source=one.source,
            differs=[f"{other.text} [{other.source}]" for other in one.differs],
        )
        for one in listed.measures
    ]
    return made
