"""A case as an HL7 FHIR R4 bundle: each entry an Observation, each with its Provenance.

Built with and validated by fhir.resources (R4B, which has the same elements as R4 for these
resources). Holds no patient: the subject is a logical reference to the case number. The same
record gives the same bundle, identifiers included. Codes from LOINC are from memory; every code
has its words beside it.
"""

from __future__ import annotations

import base64
import hashlib
from collections.abc import Iterable, Mapping, Sequence
from datetime import UTC, datetime, timedelta, timezone
from typing import Any
from uuid import UUID, uuid5

from ebbline import CAUTION, __version__
from ebbline.journal.chain import Entry
from ebbline.journal.entries import Withdrawn, asks, said_fields

LOINC = "http://loinc.org"
UCUM = "http://unitsofmeasure.org"
CASE = "urn:ebbline:case"
ENTRY = "urn:ebbline:entry"
HASH = "urn:ebbline:entry-sha256"
ACTIVITY = "http://terminology.hl7.org/CodeSystem/v3-DataOperation"
AGENT = "http://terminology.hl7.org/CodeSystem/provenance-participant-type"
_SPACE = UUID("6f1d3c9e-8a4f-5d27-9b1e-0c5a7e2f4b61")
"""Under which identifiers are made from case and entry (RFC 4122, version 5)."""

_CODES = {
    "pulse_bpm": ("8867-4", "Heart rate"),
    "maternal_pulse_bpm": ("8867-4", "Heart rate"),
    "systolic_mmhg": ("8480-6", "Systolic blood pressure"),
    "diastolic_mmhg": ("8462-4", "Diastolic blood pressure"),
    "temperature_c": ("8310-5", "Body temperature"),
    "breaths_per_min": ("9279-1", "Respiratory rate"),
    "before_bpm": ("55283-6", "Fetal heart rate"),
    "during_bpm": ("55283-6", "Fetal heart rate"),
    "after_bpm": ("55283-6", "Fetal heart rate"),
    "apgar_1": ("9272-6", "1 minute Apgar score"),
    "apgar_5": ("9274-2", "5 minute Apgar score"),
    "apgar_10": ("9271-8", "10 minute Apgar score"),
    "weight_g": ("8339-4", "Birth weight measured"),
}
_UNITS = {
    "bpm": "/min",
    "/min": "/min",
    "mmHg": "mm[Hg]",
    "°C": "Cel",
    "cm": "cm",
    "%": "%",
    "ml": "mL",
    "s": "s",
    "g": "g",
    "mU/min": "m[iU]/min",
    "mmol/l": "mmol/L",
    "weeks": "wk",
    "in 10 min": "/(10.min)",
}


def case_bundle(entries: Sequence[Entry], files: Mapping[str, bytes]) -> dict[str, Any]:
    """The bundle of a case as JSON data, validated before it is given.

    files: what lies beside it in an archive, told as DocumentReferences with their hashes.
    """
    from fhir.resources.R4B.bundle import Bundle

    later = {e.corrects: e for e in entries if e.corrects is not None}
    device = _device(entries)
    resources: list[dict[str, Any]] = [device]
    for entry in entries:
        if not isinstance(entry.body, Withdrawn):
            resources.append(_observation(entry, later.get(entry.number)))
        resources.append(_provenance(entry, entries))
    when = entries[-1].written_at
    resources += [_document(entries[0].case, name, data, when) for name, data in files.items()]
    bundle = {
        "resourceType": "Bundle",
        "type": "collection",
        "identifier": {"system": CASE, "value": entries[0].case},
        "timestamp": _instant(when),
        "entry": [{"fullUrl": f"urn:uuid:{one['id']}", "resource": one} for one in resources],
    }
    Bundle.model_validate(bundle)
    return bundle


def _id(case: str, *parts: object) -> str:
    return str(uuid5(_SPACE, "/".join(map(str, (case, *parts)))))


def _instant(at: datetime) -> str:
    return at.astimezone(UTC).isoformat(timespec="milliseconds" if at.microsecond else "seconds")


def _local(at: datetime) -> str:
    """A time in its own zone. FHIR knows zones of whole minutes, which old ones were not."""
    offset = at.utcoffset() or timedelta()
    whole = timedelta(minutes=round(offset / timedelta(minutes=1)))
    return at.astimezone(timezone(whole)).isoformat()


def _subject(case: str) -> dict[str, Any]:
    return {"type": "Patient", "identifier": {"system": CASE, "value": case}}


def _device(entries: Sequence[Entry]) -> dict[str, Any]:
    return {
        "resourceType": "Device",
        "id": _id(entries[0].case, "device"),
        "deviceName": [{"name": "Ebbline", "type": "user-friendly-name"}],
        "version": [{"value": __version__}],
        "note": [{"text": CAUTION}],
    }


def _observation(entry: Entry, later: Entry | None) -> dict[str, Any]:
    status = "corrected" if entry.corrects is not None else "final"
    if later is not None:
        status = "entered-in-error"
    found = {
        "resourceType": "Observation",
        "id": _id(entry.case, entry.number),
        "identifier": [{"system": ENTRY, "value": f"{entry.case}/{entry.number}"}],
        "status": status,
        "code": {"text": entry.body.title},
        "subject": _subject(entry.case),
        "effectiveDateTime": _local(entry.at),
        "issued": _instant(entry.written_at),
        "performer": [{"display": entry.author}],
        "component": list(_components(entry)),
    }
    if later is not None:
        found["note"] = [{"text": f"Corrected by entry {later.number}."}]
    return found


def _components(entry: Entry) -> Iterable[dict[str, Any]]:
    known = asks(type(entry.body))
    for name, value in said_fields(entry.body).items():
        code: dict[str, Any] = {"text": known[name].label}
        if name in _CODES:
            number, display = _CODES[name]
            code["coding"] = [{"system": LOINC, "code": number, "display": display}]
        yield {"code": code, **_value(value, known[name].unit)}


def _value(value: Any, unit: str) -> dict[str, Any]:
    if isinstance(value, bool):
        return {"valueBoolean": value}
    if isinstance(value, datetime):
        return {"valueDateTime": _local(value)}
    if isinstance(value, tuple):
        return {"valueString": "\n".join(value)}
    if isinstance(value, str):
        return {"valueString": value}
    quantity: dict[str, Any] = {"value": value}
    if unit in _UNITS:
        quantity |= {"unit": unit, "system": UCUM, "code": _UNITS[unit]}
    return {"valueQuantity": quantity}


def _provenance(entry: Entry, entries: Sequence[Entry]) -> dict[str, Any]:
    """Who wrote an entry and when, what it takes the place of, and its place on the chain."""
    about = entry.corrects if isinstance(entry.body, Withdrawn) else entry.number
    entities = [
        {
            "role": "source",
            "what": {"identifier": {"system": HASH, "value": entry.hash}},
        }
    ]
    if entry.corrects is not None:
        old = _id(entry.case, entry.corrects)
        entities.append(
            {
                "role": "removal" if isinstance(entry.body, Withdrawn) else "revision",
                "what": {"reference": f"urn:uuid:{old}"},
            }
        )
    activity = "UPDATE" if entry.corrects is not None else "CREATE"
    if isinstance(entry.body, Withdrawn):
        activity = "NULLIFY"
    return {
        "resourceType": "Provenance",
        "id": _id(entry.case, entry.number, "provenance"),
        "target": [{"reference": f"urn:uuid:{_id(entry.case, about)}"}],
        "occurredDateTime": _local(entry.at),
        "recorded": _instant(entry.written_at),
        "activity": {"coding": [{"system": ACTIVITY, "code": activity}]},
        **({"reason": [{"text": entry.body.why}]} if isinstance(entry.body, Withdrawn) else {}),
        "agent": [
            {
                "type": {"coding": [{"system": AGENT, "code": "author"}]},
                "who": {"display": entry.author},
                "onBehalfOf": {"reference": f"urn:uuid:{_id(entries[0].case, 'device')}"},
            }
        ],
        "entity": entities,
    }


_TYPES = {
    ".pdf": "application/pdf",
    ".json": "application/json",
    ".edf": "application/octet-stream",
    ".hea": "text/plain",
    ".dat": "application/octet-stream",
}


def _document(case: str, name: str, data: bytes, when: datetime) -> dict[str, Any]:
    suffix = name[name.rfind(".") :]
    digest = hashlib.sha1(data, usedforsecurity=False).digest()  # FHIR R4 asks for SHA-1 here.
    return {
        "resourceType": "DocumentReference",
        "id": _id(case, "file", name),
        "status": "current",
        "subject": _subject(case),
        "date": _instant(when),
        "description": name,
        "content": [
            {
                "attachment": {
                    "contentType": _TYPES.get(suffix, "application/octet-stream"),
                    "url": name,
                    "size": len(data),
                    "hash": base64.b64encode(digest).decode(),
                }
            }
        ],
    }
