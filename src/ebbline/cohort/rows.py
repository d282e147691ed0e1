"""One recording to the rows of the tables: detected once, each window classed from that."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import Any

from ebbline import CAUTION
from ebbline.criteria.model import Classification, Level, Reason, Standard
from ebbline.features import detect
from ebbline.features.findings import DecelerationKind, Findings
from ebbline.reading.analyse import WINDOW_S, read_findings
from ebbline.reading.counts import assessed
from ebbline.reading.model import FetalReading, Reading
from ebbline.recording.model import Channel, ChannelKind, Recording
from ebbline.terms import Window

LEAST_SECOND_STAGE_S = 300.0
"""A second stage recorded for less is given no window of its own (ours; as readers were asked in
the CTU-UHB readings)."""

HALF_HOUR, LAST, SECOND_STAGE = "half hour", "last half hour", "second stage"

_COUNTED = {
    DecelerationKind.EARLY: "early",
    DecelerationKind.LATE: "late",
    DecelerationKind.VARIABLE: "variable",
    DecelerationKind.PROLONGED: "prolonged",
    DecelerationKind.GRADUAL_UNPAIRED: "unpaired",
}

ALL_FEATURES = "all features"
"""The feature of a rule that counts others (NICE NG229: two ambers)."""

Row = dict[str, Any]


@dataclass(slots=True)
class Rows:
    """Rows by table."""

    recordings: list[Row] = field(default_factory=list)
    half_hours: list[Row] = field(default_factory=list)
    classes: list[Row] = field(default_factory=list)
    findings: list[Row] = field(default_factory=list)
    failures: list[Row] = field(default_factory=list)

    def extend(self, other: Rows) -> None:
        """Add the rows of another."""
        for name in self.__dataclass_fields__:
            getattr(self, name).extend(getattr(other, name))


def windows_of(recording: Recording) -> list[tuple[str, Window]]:
    """The windows that are classed: each half hour, the last one, the second stage."""
    duration_s = recording.duration_s
    count = int(duration_s // WINDOW_S)
    found = [(HALF_HOUR, Window(i * WINDOW_S, (i + 1) * WINDOW_S)) for i in range(count)]
    last = Window(max(0.0, duration_s - WINDOW_S), duration_s)
    found.append((LAST, last))
    begins_s = recording.context.second_stage_start_s
    if begins_s is not None and duration_s - begins_s >= LEAST_SECOND_STAGE_S:
        found.append((SECOND_STAGE, Window(begins_s, duration_s)))
    return found


def rows_of(
    recording: Recording,
    name: str,
    address: str,
    fingerprint: str,
    standards: Sequence[Standard],
) -> Rows:
    """All rows of one recording. Raises RecordingError when it has no heart-rate channel."""
    recording.heart_rate(min(recording.fetuses, default=1))
    windows = windows_of(recording)
    findings = [detect(recording, fetus=fetus) for fetus in recording.fetuses]
    rows = Rows()
    notes: tuple[str, ...] = ()
    readings: dict[Window, Reading] = {}
    for kind, window in windows:
        # The last half hour may be one that is counted from the start.
        reading = readings.get(window) or read_findings(
            recording,
            findings,
            window=window,
            standards=standards,
            history=False,
            brief=True,
        )
        readings[window] = reading
        notes = reading.notes
        for fetal in reading.fetuses:
            whose = {
                "recording": name,
                "fetus": fetal.fetus,
                "window": kind,
                "start_s": window.start_s,
                "end_s": window.end_s,
            }
            stage = recording.context.stage_at(window.end_s - 1.0)
            rows.half_hours.append(whose | {"stage": str(stage)} | _review(fetal))
            rows.classes.extend(whose | _class(one) for one in fetal.classes)
    for one in findings:
        rows.recordings.append(_recording(recording, one, name, address, fingerprint, notes))
        rows.findings.extend(_fetal(one, name))
    rows.findings.extend(_uterine(findings[0], name))
    return rows


def _known(value: float) -> float | None:
    return float(value) if math.isfinite(value) else None


def _recording(
    recording: Recording,
    findings: Findings,
    name: str,
    address: str,
    fingerprint: str,
    notes: tuple[str, ...],
) -> Row:
    context = recording.context
    heart = recording.heart_rate(findings.fetal.fetus)
    activity: Channel | None = recording.first(ChannelKind.UTERINE_ACTIVITY)
    valid = findings.fetal.valid.values
    return {
        "recording": name,
        "fetus": findings.fetal.fetus,
        "address": address,
        "fingerprint": fingerprint,
        "format": recording.provenance.format,
        "start": "" if recording.start is None else recording.start.isoformat(),
        "duration_s": recording.duration_s,
        "rate_hz": heart.rate_hz,
        "heart_sensor": str(heart.sensor),
        "activity_sensor": "" if activity is None else str(activity.sensor),
        "maternal_rate": recording.first(ChannelKind.MATERNAL_HEART_RATE) is not None,
        "weeks": context.weeks,
        "second_stage_start_s": context.second_stage_start_s,
        "stage": str(context.stage_at(recording.duration_s)),
        "parity": context.parity,
        "valid_share": float(valid.mean()) if len(valid) else 0.0,
        "accelerations": len(findings.fetal.accelerations),
        "decelerations": len(findings.fetal.decelerations),
        "contractions": len(findings.uterine.contractions) if findings.uterine.present else None,
        "outcome": sorted(
            (key, float(value))
            for key, value in recording.provenance.outcome.items()
            if math.isfinite(value)
        ),
        "notes": list(notes),
        "caution": CAUTION,
    }


def _review(fetal: FetalReading) -> Row:
    review = fetal.review
    counts: Counter[str] = Counter()
    for one in review.decelerations:
        counts[one.kind] += one.count
    seen = (review.valid_share, review.baseline_bpm)
    deepest = [one.deepest_bpm for one in review.decelerations if one.count]
    longest = [one.longest_s for one in review.decelerations if one.count]
    panel = (None, None, None) if fetal.panel is None else fetal.panel.probabilities
    contractions = review.contractions
    return {
        "valid_share": review.valid_share,
        "longest_gap_s": _known(review.longest_gap_s),
        "suspected": [str(one) for one in review.suspected],
        "contractions_per_10_min": (
            _known(contractions.per_10_min) if contractions.assessed else None
        ),
        "baseline_bpm": _known(review.baseline_bpm),
        "bandwidth_bpm": _known(review.bandwidth_bpm),
        "variability": str(review.variability),
        "tachysystole": contractions.tachysystole,
        "sinusoidal": review.sinusoidal,
        "accelerations": review.accelerations,
        **{column: assessed(counts[kind.value], *seen) for kind, column in _COUNTED.items()},
        "deepest_bpm": max(deepest, default=None),
        "longest_s": max(longest, default=None),
        "panel_normal": panel[0],
        "panel_suspicious": panel[1],
        "panel_pathological": panel[2],
        "not_assessed": list(review.not_assessed),
    }


def _class(one: Classification) -> Row:
    deciding = [reason for reason in one.reasons if reason.rule in one.decided_by]
    return {
        "standard": str(one.standard),
        "edition": one.edition,
        "said": one.said,
        "label": one.label,
        "rank": one.rank,
        "decided_by": list(one.decided_by),
        "features": _features(one, deciding),
        "reasons": [reason.text for reason in deciding],
        "refusal": list(one.refusal),
        "not_assessed": list(one.not_assessed),
    }


_BLANK: Row = {
    "kind": "",
    "peak_s": None,
    "size": None,
    "lag_s": None,
    "contraction": None,
    "valid_share": None,
    "certainty": None,
}


def _features(one: Classification, deciding: Sequence[Reason]) -> list[str]:
    """What the class hangs on. A rule on several features at once stands for those that weigh."""
    at_once = [reason for reason in deciding if reason.feature == ALL_FEATURES]
    weighing = [reason for reason in one.reasons if reason.level is Level.CAUTION]
    named = (*deciding, *(weighing if at_once else ()))
    found = dict.fromkeys(reason.feature for reason in named)
    found.pop(ALL_FEATURES, None)
    return list(found)


def _row(name: str, fetus: int, finding: str, onset_s: float, end_s: float, **rest: Any) -> Row:
    placed = {"finding": finding, "onset_s": onset_s, "end_s": end_s}
    return {"recording": name, "fetus": fetus} | _BLANK | placed | rest


def _uterine(findings: Findings, name: str) -> Iterator[Row]:
    """Contractions: the mother's, so of no fetus, and once for twins."""
    for c in findings.uterine.contractions:
        yield _row(
            name,
            0,
            "contraction",
            c.onset_s,
            c.end_s,
            peak_s=c.peak_s,
            size=_known(c.amplitude),
            valid_share=c.valid_share,
            certainty=c.certainty,
        )


def _fetal(findings: Findings, name: str) -> Iterator[Row]:
    fetal = findings.fetal

    def row(finding: str, onset_s: float, end_s: float, **rest: Any) -> Row:
        return _row(name, fetal.fetus, finding, onset_s, end_s, **rest)

    for a in fetal.accelerations:
        yield row(
            "acceleration",
            a.onset_s,
            a.end_s,
            peak_s=a.peak_s,
            size=a.height_bpm,
            contraction=_paired(a.contraction),
            valid_share=a.valid_share,
            certainty=a.certainty,
        )
    for d in fetal.decelerations:
        yield row(
            "deceleration",
            d.onset_s,
            d.end_s,
            kind=str(d.kind),
            peak_s=d.nadir_s,
            size=d.depth_bpm,
            lag_s=_known(d.lag_s),
            contraction=_paired(d.contraction),
            valid_share=d.valid_share,
            certainty=d.certainty,
        )
    for change in fetal.baseline_changes:
        size = change.to_bpm - change.from_bpm
        yield row("baseline change", change.at_s, change.at_s, size=size)
    for s in fetal.sinusoidal:
        yield row(
            "sinusoidal",
            s.start_s,
            s.end_s,
            kind="pseudosinusoidal" if s.pseudo else "",
            size=s.amplitude_bpm,
            certainty=s.certainty,
        )
    for artefact in fetal.artefacts:
        yield row(
            "artefact",
            artefact.start_s,
            artefact.end_s,
            kind=str(artefact.kind),
            certainty=artefact.certainty,
        )


def _paired(index: int) -> int | None:
    return index if index >= 0 else None
