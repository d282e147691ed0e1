"""The report: what it holds, and that its FHIR bundle is what FHIR R4 asks for."""

from __future__ import annotations

import io
import json
import math
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from pypdf import PdfReader

from ebbline.reading.analyse import read
from ebbline.recording import open_recording
from ebbline.terms import Window
from ebbline.web.app import create_app
from ebbline.web.recordings.demo_cases import invented_recording
from ebbline.web.report.fhir import bundle, sampled
from ebbline.web.settings import Settings
from shared_data import CTU_UHB, needs_ctu_uhb
from web.visitor import Visitor


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[tuple[Visitor, str]]:
    app = create_app(Settings(store=tmp_path / "w.sqlite"))
    key = app.state.library.add(invented_recording("late"), by="someone", invented=True).id
    with Visitor(app, base_url="http://127.0.0.1") as visitor:
        visitor.load()
        yield visitor, key


def words_of(content: bytes) -> str:
    return "\n".join(page.extract_text() for page in PdfReader(io.BytesIO(content)).pages)


def test_the_pdf_holds_reading_reasons_examination_marks_version_and_caution(
    opened: tuple[Visitor, str],
) -> None:
    visitor, key = opened
    exam = {"findings": {"fundus": "breech", "back": "left flank"}, "context": {"weeks": 39}}
    assert visitor.post(f"/api/recordings/{key}/examinations", json=exam).status_code == 201
    note = {"kind": "note", "start_s": 4000, "end_s": 4100, "note": "turned to her side"}
    visitor.post(f"/api/recordings/{key}/marks", json=note)
    answer = visitor.get(f"/api/recordings/{key}/report.pdf?speed=3")
    assert answer.headers["content-type"] == "application/pdf"
    words = words_of(answer.content)
    for part in (
        "Report of Falls after each contraction",
        "Window 1:00:00 to 1:30:00",
        "3 cm/min",
        "NICHD 2008",
        "FIGO 2015",
        "NICE NG229",
        "Macones",
        "fundus: breech",
        "turned to her side",
        "Read by Ebbline",
        "Not a medical device",
        "Not assessed",
    ):
        assert part in words, part
    assert "Identifier" not in words


def test_the_report_says_both_classes_when_there_are_corrections(
    opened: tuple[Visitor, str],
) -> None:
    visitor, key = opened
    found = visitor.get(f"/api/recordings/{key}/findings").json()
    late = next(i for i in found["items"] if i["kind"] == "late" and i["start_s"] > 3600)
    change = {
        "action": "delete",
        "group": "deceleration",
        "target_start_s": late["start_s"],
        "target_end_s": late["end_s"],
        "note": "artefact",
    }
    assert visitor.post(f"/api/recordings/{key}/corrections", json=change).status_code == 201
    words = words_of(visitor.get(f"/api/recordings/{key}/report.pdf").content)
    assert "as computed" in words
    assert "with the corrections of reader at this computer" in words
    assert "deceleration taken out, by reader at this computer" in words


def test_a_report_of_an_impossible_window_is_refused(opened: tuple[Visitor, str]) -> None:
    visitor, key = opened
    for query in ("from_s=10&to_s=20", "from_s=0&to_s=900000", "speed=7", "fetus=4"):
        answer = visitor.get(f"/api/recordings/{key}/report.pdf?{query}")
        assert answer.status_code in (404, 422), query
        assert answer.json()["what"]


def test_the_bundle_is_valid_and_names_nobody(opened: tuple[Visitor, str]) -> None:
    """Validated by fhir.resources against the R4B resource definitions of HL7."""
    from fhir.resources.R4B.bundle import Bundle

    visitor, key = opened
    answer = visitor.get(f"/api/recordings/{key}/fhir.json")
    assert answer.headers["content-type"] == "application/fhir+json"
    checked = Bundle.model_validate(answer.json())
    kinds = [entry.resource.get_resource_type() for entry in checked.entry]
    assert kinds.count("DiagnosticReport") == 1
    assert kinds.count("Device") == 1
    assert kinds.count("Observation") >= 10
    text = answer.text
    assert '"subject"' not in text
    assert "Patient" not in text
    told = visitor.get(f"/api/recordings/{key}/fhir.json?identifier=case-7").json()
    assert told["entry"][0]["resource"]["subject"] == {"identifier": {"value": "case-7"}}


def test_every_result_of_the_bundle_is_in_it(opened: tuple[Visitor, str]) -> None:
    visitor, key = opened
    data = visitor.get(f"/api/recordings/{key}/fhir.json").json()
    urls = {entry["fullUrl"] for entry in data["entry"]}
    report = data["entry"][0]["resource"]
    assert {one["reference"] for one in report["result"]} <= urls
    classes = [
        entry["resource"]["valueCodeableConcept"]["text"]
        for entry in data["entry"]
        if entry["resource"].get("code", {}).get("text", "").startswith("Class by")
    ]
    said = visitor.get(f"/api/recordings/{key}/reading").json()["computed"]["classes"]
    assert classes == [one["label"] for one in said]


def test_missing_samples_are_written_as_fhir_writes_errors() -> None:
    """FHIR R4, SampledData.data: decimals with spaces between, E for an error."""
    assert sampled(np.array([140.0, math.nan, 139.25, 60.5])) == "140 E 139.25 60.5"


@needs_ctu_uhb
def test_sampled_data_carries_a_real_recording_sample_for_sample() -> None:
    recording = open_recording(CTU_UHB / "1005.hea")
    window = Window(600.0, 1800.0)
    data = bundle(recording, read(recording, window=window))
    first = next(
        e["resource"]["valueSampledData"]
        for e in data["entry"]
        if "valueSampledData" in e["resource"]
    )
    got = np.array([math.nan if w == "E" else float(w) for w in first["data"].split()])
    truth = recording.heart_rate().samples[2400:7200]
    assert first["period"] == 250
    assert np.allclose(got, truth, atol=0.005, equal_nan=True)


def test_times_are_given_where_the_start_is_known_and_left_out_where_not() -> None:
    from dataclasses import replace

    recording = invented_recording("prolonged")
    assert "effectivePeriod" not in json.dumps(bundle(recording, read(recording)))
    known = replace(recording, start=datetime(2026, 3, 1, 22, 0, tzinfo=UTC))
    report: dict[str, Any] = bundle(known, read(known))["entry"][0]["resource"]
    assert report["effectivePeriod"] == {
        "start": "2026-03-01T22:30:00+00:00",
        "end": "2026-03-01T23:00:00+00:00",
    }


def test_what_was_not_measured_is_absent_not_zero() -> None:
    from dataclasses import replace

    recording = invented_recording("prolonged")
    silent = tuple(c for c in recording.channels if c.kind.value != "uterine activity")
    bare = replace(recording, channels=silent)
    data = bundle(bare, read(bare))
    rate = next(
        e["resource"]
        for e in data["entry"]
        if e["resource"].get("code", {}).get("text") == "Contractions in 10 minutes"
    )
    assert "valueQuantity" not in rate
    assert rate["dataAbsentReason"]["coding"][0]["code"] == "unknown"
