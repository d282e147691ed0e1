"""A reading as an HL7 FHIR R4 bundle: channels as SampledData, the reading as DiagnosticReport.

What Ebbline computed and what follows from a reader's corrections are separate observations: the
second names the reader as performer, refers to the first, and a Provenance says who corrected what
and when. Built for R4 (4.0.1) and validated before it is given by fhir.resources (R4B, which has
the same elements as R4 for these resources).

Holds no patient: where no identifier was given the subject is said to be masked. Waveforms are no
vital signs (that profile asks for one quantity at one time): their category is procedure. LOINC
has codes for the fetal heart rate and the gestational age; for a baseline, variability,
decelerations, contractions in ten minutes and classes we know of none, and they carry words alone.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import numpy as np

from ebbline import CAUTION, __version__
from ebbline.criteria.model import Classification
from ebbline.reading.model import FetalReading, Reading
from ebbline.reading.text import Clock, sections
from ebbline.recording.header_comments import NO_ZONE
from ebbline.recording.model import Channel, ChannelKind, Recording
from ebbline.terms import SensorKind
from ebbline.web.reading.schemas import CorrectionOut

LOINC = "http://loinc.org"
UCUM = "http://unitsofmeasure.org"
CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
ABSENT = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
DECIMALS = 2
MISSING = "E"
"""FHIR R4 SampledData: a sample that could not be measured."""

REASON = "http://hl7.org/fhir/StructureDefinition/data-absent-reason"
PARTICIPANT = "http://terminology.hl7.org/CodeSystem/provenance-participant-type"
FETAL_HEART_RATE = ("55283-6", "Fetal heart rate")
FETAL_HEART_RATE_US = ("11948-7", "Fetal heart rate US")
"""DICOM PS3.16, CID 12019, takes 11948-7 for the fetal heart rate by ultrasound."""
GESTATIONAL_AGE = ("18185-9", "Gestational age")
"""DICOM PS3.16, CID 12019."""


@dataclass(frozen=True, slots=True)
class Corrected:
    """What a reader's corrections make of the computed reading.

    reader: who; corrections: those that stand, each with its author and time.
    """

    reading: Reading
    reader: str
    corrections: Sequence[CorrectionOut]


def bundle(
    recording: Recording,
    reading: Reading,
    *,
    corrected: Corrected | None = None,
    fetus: int = 1,
    identifier: str = "",
) -> dict[str, Any]:
    """The bundle of one fetus' reading in its window, as JSON data; validated before it is given.

    reading: as computed. corrected: with one reader's corrections, beside it.
    identifier: put in as the subject's identifier; empty: the subject is masked.
    """
    from fhir.resources.R4B.bundle import Bundle

    made = _Maker(recording, reading, identifier)
    device = made.device()
    channels = [
        made.channel(channel) for channel in recording.channels if channel.fetus in (0, fetus)
    ]
    fetal = _of(reading, fetus)
    classes = list(made.classes(fetal))
    results = [made.window(), *made.known(), *made.measures(fetal), *classes]
    provenance: list[dict[str, Any]] = []
    if corrected is not None:
        theirs = _of(corrected.reading, fetus)
        again = list(made.corrected(theirs, classes, corrected))
        results += again
        provenance = list(made.provenance(again, classes, corrected))
    report = made.report(fetal, corrected, [*channels, *results])
    entries = [report, device, *channels, *results, *provenance]
    data = {
        "resourceType": "Bundle",
        "type": "collection",
        "timestamp": _moment(datetime.now(UTC)),
        "entry": [{"fullUrl": f"urn:uuid:{one['id']}", "resource": one} for one in entries],
    }
    Bundle.model_validate(data)
    return data


def _of(reading: Reading, fetus: int) -> FetalReading:
    return next(one for one in reading.fetuses if one.fetus == fetus)


def _moment(at: datetime) -> str:
    return at.isoformat(timespec="seconds")


def _absent(why: str) -> dict[str, Any]:
    """FHIR's way to say that an element is left out for a reason."""
    return {"extension": [{"url": REASON, "valueCode": why}]}


class _Maker:
    """Makes the resources of one bundle."""

    def __init__(self, recording: Recording, reading: Reading, identifier: str) -> None:
        self._recording = recording
        self._reading = reading
        self._subject = {"identifier": {"value": identifier}} if identifier else _absent("masked")
        self._device = str(uuid4())

    def _when(self) -> dict[str, Any]:
        """The window's time: of the clock where it is known, with its zone or by the day alone."""
        start = self._recording.start
        window = self._reading.window
        if start is None:
            return {"effectivePeriod": _absent("unknown")}
        ends = [start + timedelta(seconds=at) for at in (window.start_s, window.end_s)]
        if any(NO_ZONE in note for note in self._recording.provenance.notes):
            # A time of day asks for a zone in FHIR; none is invented, the day stands alone.
            first, last = (at.date().isoformat() for at in ends)
        else:
            first, last = (_moment(at) for at in ends)
        return {"effectivePeriod": {"start": first, "end": last}}

    def device(self) -> dict[str, Any]:
        """The software that read."""
        return {
            "resourceType": "Device",
            "id": self._device,
            "deviceName": [{"name": "Ebbline", "type": "user-friendly-name"}],
            "version": [{"value": __version__}],
            "note": [{"text": CAUTION}],
        }

    def _observation(self, text: str, **more: Any) -> dict[str, Any]:
        return {
            "resourceType": "Observation",
            "id": str(uuid4()),
            "status": "preliminary",
            "code": {"text": text},
            "subject": self._subject,
            **self._when(),
            "device": {"reference": f"urn:uuid:{self._device}"},
            **more,
        }

    def window(self) -> dict[str, Any]:
        """The window in seconds from the recording's start, whether the clock is known or not."""
        window = self._reading.window
        ends = (("Start", window.start_s), ("End", window.end_s))
        clock = Clock.of(self._reading)
        return self._observation(
            "Window of the reading, seconds from the start of the recording",
            component=[
                {
                    "code": {"text": f"{name} of the window"},
                    "valueQuantity": {"value": at, "unit": "s", "system": UCUM, "code": "s"},
                }
                for name, at in ends
            ],
            note=[{"text": f"By the recording's own clock: {clock.stretch(window)}."}],
        )

    def known(self) -> Iterable[dict[str, Any]]:
        """What is known of the pregnancy and has a code."""
        weeks = self._recording.context.weeks
        if weeks is not None:
            code, words = GESTATIONAL_AGE
            yield self._observation(
                "",
                code={"text": words, "coding": [_coding(LOINC, code, words)]},
                **_quantity(weeks, "wk", "weeks"),
            )

    def channel(self, channel: Channel) -> dict[str, Any]:
        """One channel's samples of the window."""
        window = self._reading.window
        first = round(window.start_s * channel.rate_hz)
        last = round(window.end_s * channel.rate_hz)
        code: dict[str, Any] = {"text": _channel_words(channel)}
        if channel.kind is ChannelKind.FETAL_HEART_RATE:
            codes = [FETAL_HEART_RATE]
            if channel.sensor is SensorKind.ULTRASOUND:
                codes.append(FETAL_HEART_RATE_US)
            code["coding"] = [_coding(LOINC, *one) for one in codes]
        return self._observation(
            "",
            code=code,
            category=[{"coding": [_coding(CATEGORY, "procedure", "Procedure")]}],
            method={"text": channel.sensor.value},
            valueSampledData={
                "origin": {"value": 0, **_unit(channel)},
                "period": 1000.0 / channel.rate_hz,
                "dimensions": 1,
                "data": sampled(channel.samples[first:last]),
            },
        )

    def measures(self, fetal: FetalReading) -> Iterable[dict[str, Any]]:
        """The review's numbers; what was not measured is said to be unknown."""
        review = fetal.review
        per_minute = ("/min", "bpm")
        rises = math.nan if review.accelerations is None else float(review.accelerations)
        rows = [
            ("Baseline fetal heart rate", review.baseline_bpm, *per_minute),
            ("Baseline variability, bandwidth", review.bandwidth_bpm, *per_minute),
            ("Short-term variation", review.stv_ms, "ms", "ms"),
            (
                "Contractions in 10 minutes",
                review.contractions.per_10_min,
                "/(10.min)",
                "in 10 min",
            ),
            ("Accelerations in the window", rises, "1", ""),
            ("Share of valid signal", 100 * review.valid_share, "%", "%"),
        ]
        for kind in review.decelerations:
            rows.append((f"Decelerations in the window, {kind.kind}", float(kind.count), "1", ""))
        for text, value, code, unit in rows:
            yield self._observation(text, **_quantity(value, code, unit))
        yield self._observation(
            "Baseline variability", valueCodeableConcept={"text": review.variability.value}
        )

    def classes(self, fetal: FetalReading) -> Iterable[dict[str, Any]]:
        """The class by each standard as Ebbline computed it, with its reasons as notes."""
        for one in fetal.classes:
            yield self._observation(
                f"Class by {one.edition}",
                valueCodeableConcept={"text": one.said},
                **_notes(_reasons(one)),
            )

    def corrected(
        self, fetal: FetalReading, computed: Sequence[dict[str, Any]], by: Corrected
    ) -> Iterable[dict[str, Any]]:
        """The class that follows from a reader's corrections: theirs, beside the computed one."""
        what = [
            f"Corrected by {one.author}, {_moment(one.made_at)}: {one.words}"
            f"{f' ({one.change.note})' if one.change.note else ''}."
            for one in by.corrections
        ]
        for one, ours in zip(fetal.classes, computed, strict=True):
            was = ours["valueCodeableConcept"]["text"]
            yield self._observation(
                f"Class by {one.edition}, with a reader's corrections",
                performer=[{"display": by.reader}],
                derivedFrom=[{"reference": f"urn:uuid:{ours['id']}"}],
                valueCodeableConcept={"text": one.said},
                **_notes([f"As computed: {was}.", *what, *_reasons(one)]),
            )

    def provenance(
        self,
        again: Sequence[dict[str, Any]],
        computed: Sequence[dict[str, Any]],
        by: Corrected,
    ) -> Iterable[dict[str, Any]]:
        """Who corrected what and when: one for each correction that stands."""
        for one in by.corrections:
            yield {
                "resourceType": "Provenance",
                "id": str(uuid4()),
                "target": [{"reference": f"urn:uuid:{other['id']}"} for other in again],
                "occurredDateTime": _moment(one.made_at),
                "recorded": _moment(one.made_at),
                "activity": {"text": one.words},
                "agent": [
                    {
                        "type": {"coding": [_coding(PARTICIPANT, "author", "Author")]},
                        "who": {"display": one.author},
                    },
                    {
                        "type": {"coding": [_coding(PARTICIPANT, "assembler", "Assembler")]},
                        "who": {"reference": f"urn:uuid:{self._device}"},
                    },
                ],
                "entity": [
                    {"role": "revision", "what": {"reference": f"urn:uuid:{other['id']}"}}
                    for other in computed
                ],
            }

    def report(
        self, fetal: FetalReading, corrected: Corrected | None, results: list[dict[str, Any]]
    ) -> dict[str, Any]:
        """The reading that refers to all of them."""
        said = [f"{part.title}: {' '.join(part.lines)}" for part in sections(self._reading, fetal)]
        if corrected is not None:
            for ours, theirs in zip(
                fetal.classes, _of(corrected.reading, fetal.fetus).classes, strict=True
            ):
                said.insert(
                    0,
                    f"{ours.edition}: {ours.said} as computed, {theirs.said} with the "
                    f"corrections of {corrected.reader}.",
                )
        performer = {} if corrected is None else {"performer": [{"display": corrected.reader}]}
        return {
            "resourceType": "DiagnosticReport",
            "id": str(uuid4()),
            "status": "preliminary",
            "code": {"text": "Reading of a cardiotocogram, for education, review and research"},
            "subject": self._subject,
            **self._when(),
            **performer,
            "result": [{"reference": f"urn:uuid:{one['id']}"} for one in results],
            "conclusion": "\n".join([*said, CAUTION]),
        }


def _coding(system: str, code: str, display: str) -> dict[str, str]:
    return {"system": system, "code": code, "display": display}


def _reasons(one: Classification) -> list[str]:
    notes = [f"{r.feature}: {r.verdict}. {r.text} {r.citation}." for r in one.reasons]
    notes += [f"{why}." for why in one.not_told]
    return [*notes, *(f"Not seen: {what}." for what in one.not_assessed)]


def _notes(notes: Sequence[str]) -> dict[str, Any]:
    return {"note": [{"text": note} for note in notes]} if notes else {}


def sampled(samples: Any) -> str:
    """Samples as FHIR writes them: decimals with spaces between, E where missing."""
    rounded = np.round(np.asarray(samples, float), DECIMALS)
    return " ".join(MISSING if v != v else f"{v:g}" for v in rounded.tolist())


def _channel_words(channel: Channel) -> str:
    fetus = f", fetus {channel.fetus}" if channel.fetus else ""
    return f"{channel.kind.value}{fetus}"


def _unit(channel: Channel) -> dict[str, str]:
    if channel.kind is not ChannelKind.UTERINE_ACTIVITY:
        return {"unit": "bpm", "system": UCUM, "code": "/min"}
    if channel.sensor is SensorKind.PRESSURE_CATHETER:
        return {"unit": "mmHg", "system": UCUM, "code": "mm[Hg]"}
    return {"unit": "arbitrary units", "system": UCUM, "code": "[arb'U]"}


def _quantity(value: float, code: str, unit: str) -> dict[str, Any]:
    if math.isnan(value):
        coding = {"system": ABSENT, "code": "unknown", "display": "Unknown"}
        return {"dataAbsentReason": {"coding": [coding]}}
    quantity = {"value": round(value, DECIMALS), "system": UCUM, "code": code}
    return {"valueQuantity": quantity | ({"unit": unit} if unit else {})}
