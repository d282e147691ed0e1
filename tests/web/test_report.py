"""The report: what it holds, and that its FHIR bundle is what FHIR R4 asks for."""

from __future__ import annotations

import io
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
from web.fhir_r4 import faults
from web.stores import empty_store
from web.visitor import Visitor


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[tuple[Visitor, str]]:
    app = create_app(Settings(store=empty_store(tmp_path / "w.sqlite")))
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
    """Held against HL7's structure definitions of R4 (4.0.1), and by fhir.resources (R4B)."""
    from fhir.resources.R4B.bundle import Bundle

    visitor, key = opened
    answer = visitor.get(f"/api/recordings/{key}/fhir.json")
    assert answer.headers["content-type"] == "application/fhir+json"
    assert faults(answer.json()) == []
    checked = Bundle.model_validate(answer.json())
    kinds = [entry.resource.get_resource_type() for entry in checked.entry]
    assert kinds.count("DiagnosticReport") == 1
    assert kinds.count("Device") == 1
    assert kinds.count("Observation") >= 10
    assert "Patient" not in answer.text
    masked = "http://hl7.org/fhir/StructureDefinition/data-absent-reason"
    said = answer.json()["entry"][0]["resource"]["subject"]
    assert said == {"extension": [{"url": masked, "valueCode": "masked"}]}
    told = visitor.get(f"/api/recordings/{key}/fhir.json?identifier=case-7").json()
    assert told["entry"][0]["resource"]["subject"] == {"identifier": {"value": "case-7"}}


def test_the_check_against_the_definitions_finds_what_is_wrong() -> None:
    """Each a fault by R4: wanting, not defined, no such code, one for many, no dateTime."""
    good = {"resourceType": "Observation", "status": "final", "code": {"text": "x"}}
    assert faults(good) == []
    for wrong, why in (
        ({"status": "done"}, "codes asked for"),
        ({"code": None, "colour": "red"}, "not defined"),
        ({"note": {"text": "x"}}, "is one"),
        ({"effectiveDateTime": "2026-03-01T22:00"}, "no dateTime"),
        ({"valueQuantity": {"value": "high"}}, "no decimal"),
    ):
        assert any(why in one for one in faults(good | wrong)), wrong
    assert "Observation.status is wanting" in faults({"resourceType": "Observation", "code": {}})


def corrected_bundle(visitor: Visitor, key: str) -> list[dict[str, Any]]:
    """The bundle after a reader has taken out every late deceleration of the window."""
    reading = visitor.get(f"/api/recordings/{key}/reading").json()["computed"]
    found = visitor.get(f"/api/recordings/{key}/findings").json()["items"]
    for item in found:
        if item["plot"] == "heart" and item["end_s"] > reading["start_s"]:
            change = {
                "action": "delete",
                "group": "deceleration",
                "target_start_s": item["start_s"],
                "target_end_s": item["end_s"],
                "note": "artefact",
            }
            visitor.post(f"/api/recordings/{key}/corrections", json=change)
    data = visitor.get(f"/api/recordings/{key}/fhir.json").json()
    assert faults(data) == []
    return [entry["resource"] for entry in data["entry"]]


def test_a_corrected_class_never_leaves_unmarked(opened: tuple[Visitor, str]) -> None:
    visitor, key = opened
    resources = corrected_bundle(visitor, key)
    pair = visitor.get(f"/api/recordings/{key}/reading").json()
    decided = {
        which: [r["text"] for c in pair[which]["classes"] for r in c["reasons"] if r["decides"]]
        for which in ("computed", "corrected")
    }
    assert any("late decelerations" in text.lower() for text in decided["computed"])
    assert not any("late decelerations" in text.lower() for text in decided["corrected"])
    named = {}
    for one in resources:
        text = one.get("code", {}).get("text", "")
        if text.startswith("Class by"):
            named[text] = one
    for ours, theirs in zip(pair["computed"]["classes"], pair["corrected"]["classes"], strict=True):
        computed = named[f"Class by {ours['edition']}"]
        corrected = named[f"Class by {ours['edition']}, with a reader's corrections"]
        assert computed["valueCodeableConcept"]["text"] == ours["label"]
        assert "performer" not in computed
        assert corrected["valueCodeableConcept"]["text"] == theirs["label"]
        assert corrected["performer"] == [{"display": "reader at this computer"}]
        assert corrected["derivedFrom"] == [{"reference": f"urn:uuid:{computed['id']}"}]
        assert corrected["note"][0]["text"] == f"As computed: {ours['label']}."
        assert "deceleration taken out (artefact)" in corrected["note"][1]["text"]
    report = next(one for one in resources if one["resourceType"] == "DiagnosticReport")
    assert "as computed" in report["conclusion"]
    assert "with the corrections of reader at this computer" in report["conclusion"]


def test_each_correction_has_its_provenance(opened: tuple[Visitor, str]) -> None:
    visitor, key = opened
    resources = corrected_bundle(visitor, key)
    made = visitor.get(f"/api/recordings/{key}/corrections").json()
    provenance = [one for one in resources if one["resourceType"] == "Provenance"]
    assert len(provenance) == len(made) > 0
    ids = {f"urn:uuid:{one['id']}" for one in resources}
    for one, said in zip(provenance, made, strict=True):
        assert one["agent"][0]["who"]["display"] == said["author"]
        assert one["activity"]["text"] == said["words"]
        at = datetime.fromisoformat(one["occurredDateTime"])
        assert abs((at - datetime.fromisoformat(said["made_at"])).total_seconds()) <= 1
        assert {t["reference"] for t in one["target"]} <= ids
        assert {e["what"]["reference"] for e in one["entity"]} <= ids


def test_a_waveform_is_no_vital_sign(opened: tuple[Visitor, str]) -> None:
    """R4's vital-signs profile of 8867-4 asks for one quantity; samples are none."""
    visitor, key = opened
    text = visitor.get(f"/api/recordings/{key}/fhir.json").text
    assert "vital-signs" not in text
    assert "8867-4" not in text
    assert "55283-6" in text


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


def test_times_are_given_where_the_start_is_known_and_said_to_be_unknown_where_not() -> None:
    from dataclasses import replace

    from ebbline.recording.header_comments import NO_ZONE

    recording = invented_recording("prolonged")
    bare = bundle(recording, read(recording))
    assert faults(bare) == []
    (absent,) = bare["entry"][0]["resource"]["effectivePeriod"]["extension"]
    assert absent["valueCode"] == "unknown"
    window = next(
        e["resource"]["component"]
        for e in bare["entry"]
        if e["resource"].get("code", {}).get("text", "").startswith("Window of the reading")
    )
    assert [one["valueQuantity"]["value"] for one in window] == [1800, 3600]
    known = replace(recording, start=datetime(2026, 3, 1, 22, 0, tzinfo=UTC))
    report: dict[str, Any] = bundle(known, read(known))["entry"][0]["resource"]
    assert report["effectivePeriod"] == {
        "start": "2026-03-01T22:30:00+00:00",
        "end": "2026-03-01T23:00:00+00:00",
    }
    zoneless = replace(known, provenance=replace(known.provenance, notes=(NO_ZONE,)))
    report = bundle(zoneless, read(zoneless))["entry"][0]["resource"]
    assert report["effectivePeriod"] == {"start": "2026-03-01", "end": "2026-03-01"}


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


def test_the_first_page_alone_says_classes_reasons_and_what_was_not_seen(
    opened: tuple[Visitor, str],
) -> None:
    visitor, key = opened
    reading = visitor.get(f"/api/recordings/{key}/reading").json()["computed"]
    content = visitor.get(f"/api/recordings/{key}/report.pdf").content
    first = " ".join(PdfReader(io.BytesIO(content)).pages[0].extract_text().split())
    for one in reading["classes"]:
        assert f"{one['edition']}: {one['label']}" in first
        for reason in one["reasons"]:
            if reason["decides"]:
                assert f"{reason['feature']}: {reason['verdict']}" in first
    for title, words in reading["four_lines"]:
        assert f"{title}. {words}" in first
    assert "Strip, the last 14 minutes of it: 1:16:00 to 1:30:00, 1 cm/min" in first


def test_the_pdf_is_tagged_and_says_title_author_and_date(opened: tuple[Visitor, str]) -> None:
    """ISO 32000-1, 14.8: marked, a language, a structure tree whose parts lie on the pages."""
    visitor, key = opened
    read_ = PdfReader(io.BytesIO(visitor.get(f"/api/recordings/{key}/report.pdf").content))
    meta = read_.metadata
    assert meta is not None
    assert meta.title == "Report of Falls after each contraction, 1:00:00 to 1:30:00"
    assert meta.author == "reader at this computer"
    assert meta.creation_date is not None
    assert abs((datetime.now(UTC) - meta.creation_date).total_seconds()) < 300
    root: Any = read_.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"] == True  # noqa: E712
    assert root["/Lang"] == "en"
    whole = root["/StructTreeRoot"]["/K"].get_object()
    kinds = [one.get_object()["/S"] for one in whole["/K"]]
    assert kinds[0] == "/H1"
    assert {"/H1", "/H2", "/P", "/Figure"} <= set(kinds)
    figures = [one.get_object() for one in whole["/K"] if one.get_object()["/S"] == "/Figure"]
    assert all(one["/Alt"] for one in figures)
    for number, page in enumerate(read_.pages):
        assert page["/StructParents"] == number
        data = page.get_contents().get_data()  # type: ignore[union-attr]
        mine = [o for o in whole["/K"] if o.get_object()["/Pg"].get_object() == page.get_object()]
        assert data.count(b"/MCID") == len(mine) > 0
        assert data.count(b"BDC") + data.count(b"BMC") == data.count(b"EMC")


def test_no_sheet_of_the_strip_is_a_stub(opened: tuple[Visitor, str]) -> None:
    visitor, key = opened
    content = visitor.get(f"/api/recordings/{key}/report.pdf").content
    sheets = [
        page.extract_text()
        for page in PdfReader(io.BytesIO(content)).pages
        if page.mediabox.width > page.mediabox.height
    ]
    assert len(sheets) == 1, "half an hour at 1 cm/min stands on one sheet"
    assert "1:00:00 to 1:30:00" in sheets[0]
