"""A reading as an HL7 FHIR R4 bundle: channels as SampledData, the reading as DiagnosticReport.

Built with and validated by fhir.resources (R4B, which has the same elements as R4 for these
resources). Holds no patient: a subject only where an identifier was given for it. Codes from
LOINC are from memory; every code has its words beside it.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import uuid4

import numpy as np

from ebbline import CAUTION, __version__
from ebbline.reading.model import FetalReading, Reading
from ebbline.reading.text import sections
from ebbline.recording.model import Channel, ChannelKind, Recording
from ebbline.terms import SensorKind, Window

LOINC = "http://loinc.org"
UCUM = "http://unitsofmeasure.org"
CATEGORY = "http://terminology.hl7.org/CodeSystem/observation-category"
ABSENT = "http://terminology.hl7.org/CodeSystem/data-absent-reason"
DECIMALS = 2
MISSING = "E"
"""FHIR R4 SampledData: a sample that could not be measured."""

_CODES = {
    ChannelKind.FETAL_HEART_RATE: ("55283-6", "Fetal heart rate"),
    ChannelKind.MATERNAL_HEART_RATE: ("8867-4", "Heart rate"),
}


def bundle(
    recording: Recording, reading: Reading, *, fetus: int = 1, identifier: str = ""
) -> dict[str, Any]:
    """The bundle of one fetus' reading in its window, as JSON data; validated before it is given.

    identifier: put in as the subject's identifier; empty: no subject at all.
    """
    from fhir.resources.R4B.bundle import Bundle

    fetal = next(one for one in reading.fetuses if one.fetus == fetus)
    subject = {"identifier": {"value": identifier}} if identifier else None
    made = _Maker(recording, reading, subject)
    device = made.device()
    channels = [
        made.channel(channel) for channel in recording.channels if channel.fetus in (0, fetus)
    ]
    results = [*made.measures(fetal), *made.classes(fetal)]
    report = made.report(fetal, [*channels, *results])
    entries = [report, device, *channels, *results]
    data = {
        "resourceType": "Bundle",
        "type": "collection",
        "timestamp": datetime.now(UTC).isoformat(timespec="seconds"),
        "entry": [{"fullUrl": f"urn:uuid:{one['id']}", "resource": one} for one in entries],
    }
    Bundle.model_validate(data)
    return data


class _Maker:
    """Makes the resources of one bundle."""

    def __init__(
        self, recording: Recording, reading: Reading, subject: dict[str, Any] | None
    ) -> None:
        self._recording = recording
        self._reading = reading
        self._subject = {"subject": subject} if subject else {}
        self._device = str(uuid4())

    def _when(self, window: Window) -> dict[str, Any]:
        """The window's time, where the recording's start is known."""
        start = self._recording.start
        if start is None:
            return {}
        stretch = {
            "start": (start + timedelta(seconds=window.start_s)).isoformat(),
            "end": (start + timedelta(seconds=window.end_s)).isoformat(),
        }
        return {"effectivePeriod": stretch}

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
            **self._subject,
            **self._when(self._reading.window),
            "device": {"reference": f"urn:uuid:{self._device}"},
            **more,
        }

    def channel(self, channel: Channel) -> dict[str, Any]:
        """One channel's samples of the window."""
        window = self._reading.window
        first = round(window.start_s * channel.rate_hz)
        last = round(window.end_s * channel.rate_hz)
        known = _CODES.get(channel.kind)
        code: dict[str, Any] = {"text": _channel_words(channel)}
        if known is not None:
            code["coding"] = [{"system": LOINC, "code": known[0], "display": known[1]}]
        return self._observation(
            "",
            code=code,
            category=[{"coding": [{"system": CATEGORY, "code": "vital-signs"}]}],
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
            ("Accelerations in the window", float(review.accelerations), "1", ""),
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
        """The class by each standard, with its reasons as notes."""
        for one in fetal.classes:
            notes = [f"{r.feature}: {r.verdict}. {r.text} {r.citation}." for r in one.reasons]
            notes += [f"No class: {why}." for why in one.refusal]
            notes += [f"Not seen: {what}." for what in one.not_assessed]
            yield self._observation(
                f"Class by {one.edition}",
                valueCodeableConcept={"text": one.label},
                **({"note": [{"text": note} for note in notes]} if notes else {}),
            )

    def report(self, fetal: FetalReading, results: list[dict[str, Any]]) -> dict[str, Any]:
        """The reading that refers to all of them."""
        said = [f"{part.title}: {' '.join(part.lines)}" for part in sections(self._reading, fetal)]
        return {
            "resourceType": "DiagnosticReport",
            "id": str(uuid4()),
            "status": "preliminary",
            "code": {"text": "Reading of a cardiotocogram, for education, review and research"},
            **self._subject,
            **self._when(self._reading.window),
            "result": [{"reference": f"urn:uuid:{one['id']}"} for one in results],
            "conclusion": "\n".join([*said, CAUTION]),
        }


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
