"""The archive of a case: out and in, identical; changed or damaged, refused."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from ebbline.codec import to_data
from ebbline.journal.archive import CaseArchive, pack, unpack
from ebbline.journal.chain import Draft
from ebbline.journal.entries import body_data, body_from
from ebbline.journal.errors import JournalError
from ebbline.journal.store import Journal
from ebbline.reading.analyse import read
from ebbline.reading.model import Reading
from ebbline.recording import Recording, open_recording
from ebbline.synth import Scenario, invent
from journal.labour import ten_hours


@pytest.fixture(scope="module")
def trace() -> tuple[Recording, Reading]:
    """Forty minutes of an invented labour, with its clock."""
    from dataclasses import replace

    recording = replace(
        invent(Scenario.from_words("40 minutes, 40 weeks, recurrent late"), seed=5).recording,
        start=ten_hours().at(8.5),
    )
    return recording, read(recording)


@pytest.fixture(scope="module")
def packed(trace: tuple[Recording, Reading]) -> bytes:
    return pack(ten_hours().entries, recording=trace[0], reading=trace[1])


def opened(data: bytes) -> dict[str, bytes]:
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def again(files: dict[str, bytes]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w") as archive:
        for name, data in files.items():
            archive.writestr(name, data)
    return buffer.getvalue()


def test_a_case_goes_out_and_comes_in_identical(
    trace: tuple[Recording, Reading], packed: bytes, tmp_path: Path
) -> None:
    found = unpack(packed)
    assert found.entries == tuple(ten_hours().entries)
    assert found.recording is not None and found.reading is not None
    for one, other in zip(found.recording.channels, trace[0].channels, strict=True):
        assert np.array_equal(one.samples, other.samples, equal_nan=True)
    assert to_data(found.reading) == to_data(trace[1])
    journal = Journal(tmp_path / "other.sqlite")
    journal.restore(found.entries)
    out = pack(journal.entries("24-0117"), recording=found.recording, reading=found.reading)
    assert out == packed
    journal.close()


def test_a_case_in_a_zone_of_odd_seconds_goes_out_and_comes_in_identical(tmp_path: Path) -> None:
    """Local time of Amsterdam was 0:19:32 before Greenwich's until 1937 (IANA time zone data)."""
    at = datetime(1936, 7, 1, 2, 30, 15, tzinfo=ZoneInfo("Europe/Amsterdam"))
    journal = Journal(tmp_path / "old.sqlite", now=lambda: at)
    journal.open_case("C-1", "4", author="Kim")
    journal.append("C-1", Draft(body_from("auscultation", {"after_bpm": "132"}), at, "Kim"))
    entries = tuple(journal.entries("C-1"))
    out = pack(entries)
    assert unpack(out).entries == entries
    told = [
        one["resource"]["effectiveDateTime"]
        for one in json.loads(opened(out)["fhir.json"])["entry"]
        if "effectiveDateTime" in one["resource"]
    ]
    assert told and all(datetime.fromisoformat(one) == at for one in told)
    journal.close()


@pytest.mark.parametrize(("kind", "name"), [("wfdb", "recording.hea"), ("edf", "recording.edf")])
def test_the_recording_in_it_is_read_by_any_reader_of_its_format(
    trace: tuple[Recording, Reading], kind: str, name: str, tmp_path: Path
) -> None:
    """WFDB and EDF+ hold heart rates in steps of 0.01 bpm, so half a step is the most to differ."""
    data = pack(ten_hours().entries, recording=trace[0], recording_format=kind)
    for path, content in opened(data).items():
        if path.startswith("recording"):
            (tmp_path / path).write_bytes(content)
    found = open_recording(tmp_path / name)
    one, other = found.heart_rate().samples, trace[0].heart_rate().samples
    assert np.array_equal(np.isnan(one[: len(other)]), np.isnan(other))
    assert np.nanmax(np.abs(one[: len(other)] - other)) <= 0.0051


def test_the_bundle_says_every_value_of_every_entry_and_who_wrote_it(packed: bytes) -> None:
    """FHIR R4: Observation, Provenance; validated by fhir.resources."""
    from fhir.resources.R4B.bundle import Bundle

    data = json.loads(opened(packed)["fhir.json"])
    Bundle.model_validate(data)
    resources = [one["resource"] for one in data["entry"]]
    observed = {r["id"]: r for r in resources if r["resourceType"] == "Observation"}
    provenance = [r for r in resources if r["resourceType"] == "Provenance"]
    entries = ten_hours().entries
    assert len(provenance) == len(entries)
    for entry, proof in zip(entries, provenance, strict=True):
        target = observed[proof["target"][0]["reference"].removeprefix("urn:uuid:")]
        assert proof["agent"][0]["who"]["display"] == entry.author
        assert proof["entity"][0]["what"]["identifier"]["value"] == entry.hash
        values = [
            c.get("valueQuantity", {}).get("value", c.get("valueString", c.get("valueBoolean")))
            for c in target["component"]
        ]
        wanted = [
            "\n".join(v) if isinstance(v, list) else v for v in body_data(entry.body).values()
        ]
        assert values == wanted
    assert "Patient" not in {r["resourceType"] for r in resources}


def test_what_was_corrected_is_marked_as_entered_in_error_in_the_bundle(packed: bytes) -> None:
    """FHIR R4, ObservationStatus."""
    data = json.loads(opened(packed)["fhir.json"])
    states = {
        r["identifier"][0]["value"]: r["status"]
        for r in (one["resource"] for one in data["entry"])
        if r["resourceType"] == "Observation"
    }
    wrong = next(e for e in ten_hours().entries if e.corrects is not None)
    assert states[f"24-0117/{wrong.corrects}"] == "entered-in-error"
    assert states[f"24-0117/{wrong.number}"] == "corrected"


def forge_record(files: dict[str, bytes]) -> None:
    record = json.loads(files["record.json"])
    record["entries"][5]["author"] = "Someone"
    files["record.json"] = json.dumps(record).encode()


def forge_record_and_list(files: dict[str, bytes]) -> None:
    import hashlib

    forge_record(files)
    manifest = json.loads(files["manifest.json"])
    manifest["files"]["record.json"] = hashlib.sha256(files["record.json"]).hexdigest()
    files["manifest.json"] = json.dumps(manifest).encode()


def shorten(files: dict[str, bytes]) -> None:
    import hashlib

    record = json.loads(files["record.json"])
    record["entries"].pop()
    files["record.json"] = json.dumps(record).encode()
    manifest = json.loads(files["manifest.json"])
    manifest["files"]["record.json"] = hashlib.sha256(files["record.json"]).hexdigest()
    files["manifest.json"] = json.dumps(manifest).encode()


@pytest.mark.parametrize(
    ("change", "said"),
    [
        (forge_record, "changed or damaged"),
        (forge_record_and_list, "not what was written"),
        (shorten, "not the one it names"),
        (lambda files: files.pop("chart.pdf"), "'chart.pdf' is missing"),
        (lambda files: files.update({"more.txt": b"x"}), "not in its list"),
        (lambda files: files.pop("manifest.json"), "no 'manifest.json'"),
        (lambda files: files.update({"manifest.json": b"[1]"}), "cannot be read"),
        (lambda files: files.update({"manifest.json": b"{}"}), "no archive of a case"),
    ],
)
def test_a_changed_archive_is_refused_with_what_was_changed(
    packed: bytes, change: Callable[[dict[str, bytes]], Any], said: str
) -> None:
    files = opened(packed)
    change(files)
    with pytest.raises(JournalError, match=said):
        unpack(again(files))


def test_an_archive_cut_or_flipped_anywhere_is_refused_in_words(packed: bytes) -> None:
    rng = np.random.default_rng(11)
    for _ in range(60):
        damaged = bytearray(packed)
        if rng.random() < 0.5:
            damaged = damaged[: rng.integers(0, len(damaged))]
        else:
            place = int(rng.integers(0, len(damaged)))
            damaged[place] ^= 1 << int(rng.integers(0, 8))
        try:
            found: CaseArchive | None = unpack(bytes(damaged))
        except JournalError:
            continue
        # A bit of the zip's own bookkeeping may flip without touching what is in it.
        assert found is not None and found.entries == tuple(ten_hours().entries)


def test_a_zip_that_swells_is_stopped() -> None:
    buffer = io.BytesIO()
    with (
        zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive,
        archive.open("manifest.json", "w", force_zip64=True) as one,
    ):
        for _ in range(300):
            one.write(bytes(1 << 20))
    with pytest.raises(JournalError, match="too large unpacked"):
        unpack(buffer.getvalue())
