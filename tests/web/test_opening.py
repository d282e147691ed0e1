"""Opening recordings: bounded, checked, refused in words, kept sample for sample."""

from __future__ import annotations

import gzip
import io
import math
import unicodedata
import zipfile
from pathlib import Path
from tempfile import gettempdir
from typing import Any

import cv2
import numpy as np
import pytest

from ebbline.recording import open_recording
from ebbline.web.recordings.uploads import laid_out
from ebbline.web.settings import Limits
from ebbline.web.store import Store
from recording.test_paper import strip
from shared_data import CTU_UHB, needs_ctu_uhb
from web.visitor import Visitor

MINUTES = 20


def table(minutes: int = MINUTES) -> bytes:
    """A CSV file of our own: seconds, heart rate, activity; two minutes of signal are missing."""
    lines = ["time_s,fhr_bpm,uc"]
    for second in range(60 * minutes):
        rate = "" if 300 <= second < 420 else f"{140 + 6 * math.sin(second / 7):.1f}"
        lines.append(f"{second},{rate},{12 + 30 * max(0.0, math.sin(second / 40)):.1f}")
    return "\n".join(lines).encode()


def send(visitor: Visitor, *files: tuple[str, bytes]) -> tuple[int, dict[str, object]]:
    answer = visitor.post("/api/recordings", files=[("files", one) for one in files])
    return answer.status_code, answer.json()


def zipped(*members: tuple[str, bytes]) -> bytes:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w", zipfile.ZIP_DEFLATED) as archive:
        for name, content in members:
            archive.writestr(name, content)
    return packed.getvalue()


def test_a_table_is_opened_read_and_listed(visitor: Visitor) -> None:
    status, card = send(visitor, ("night shift.csv", table()))
    assert status == 201, card
    assert card["duration_s"] == pytest.approx(60 * MINUTES, abs=1)
    assert card["valid_share"] == pytest.approx(0.9, abs=0.02)
    assert {c["standard"] for c in card["classes"]} == {"nichd", "figo", "nice"}
    listed = visitor.get("/api/recordings").json()
    assert [one["name"] for one in listed] == [card["name"]]
    assert card["name"] in visitor.get("/").text


def test_samples_come_as_they_were_with_gaps_as_nan(visitor: Visitor) -> None:
    _, card = send(visitor, ("a.csv", table()))
    about = visitor.get(f"/api/recordings/{card['id']}").json()
    heart = next(c for c in about["channels"] if c["kind"] == "fetal heart rate")
    answer = visitor.get(heart["samples_href"])
    assert answer.headers["content-encoding"] == "gzip"
    got = np.frombuffer(answer.content, "<f4")
    assert len(got) == heart["count"]
    at = np.arange(len(got)) / heart["rate_hz"]
    assert np.isnan(got[(at > 301) & (at < 418)]).all()
    seen = (at < 299) | (at > 421)
    assert np.allclose(got[seen], 140 + 6 * np.sin(np.floor(at[seen]) / 7), atol=1.0)


@needs_ctu_uhb
def test_a_real_recording_survives_the_store_to_the_last_bit(visitor: Visitor, store: Path) -> None:
    files = [(f"1001{s}", (CTU_UHB / f"1001{s}").read_bytes()) for s in (".hea", ".dat")]
    status, card = send(visitor, *files)
    assert status == 201, card
    truth = open_recording(CTU_UHB / "1001.hea")
    library = visitor.app.state.library  # type: ignore[attr-defined]
    library._recordings.forget(lambda _: True)
    again = library.recording(card["id"])
    assert again.context == truth.context
    for one, other in zip(again.channels, truth.channels, strict=True):
        assert np.array_equal(one.samples, other.samples, equal_nan=True)
        assert (one.kind, one.sensor, one.rate_hz) == (other.kind, other.sensor, other.rate_hz)


@needs_ctu_uhb
def test_a_header_and_its_samples_may_come_in_one_archive(visitor: Visitor) -> None:
    members = [(f"1003{s}", (CTU_UHB / f"1003{s}").read_bytes()) for s in (".hea", ".dat")]
    status, card = send(visitor, ("1003.zip", zipped(*members)))
    assert status == 201, card
    assert card["name"] == "1003"


def test_an_archive_may_hold_a_folder(visitor: Visitor) -> None:
    packed = zipped(("night/shift.csv", table()), ("__MACOSX/night/._shift.csv", b"x"))
    status, card = send(visitor, ("night.zip", packed))
    assert status == 201, card


@pytest.mark.parametrize(
    "name",
    ["Smith, A 12-03.csv", "a&b.csv", "CTG #4.csv", "Mu\u0308ller.csv", "it's 100 %.csv", "病.csv"],
)
def test_ordinary_names_are_welcome(visitor: Visitor, name: str) -> None:
    for files in ([(name, table())], [("packed.zip", zipped((name, table())))]):
        status, card = send(visitor, *files)
        assert status == 201, card
        assert card["name"] == unicodedata.normalize("NFC", name.removesuffix(".csv"))


@pytest.mark.parametrize(
    ("files", "words"),
    [
        ([("1.dat", b"\0" * 100)], "without their header"),
        ([("a.csv", table(1)), ("b.csv", table(1))], "more than one recording"),
        ([("a.csv", b"")], "a.csv"),
        ([("a.hea", b"\xff\xfe not a header")], "a.hea"),
        ([("picture.png", b"\x89PNG")], "picture.png"),
        ([("x.zip", b"PK\x03\x04 broken")], "archive is damaged"),
        ([("x.zip", zipped(("../up.csv", table(1))))], "not a plain file name"),
        ([("x.zip", zipped(("/etc/a.csv", table(1))))], "not a plain file name"),
        ([("x.zip", zipped(("a\\b.csv", table(1))))], "not a plain file name"),
        ([("x.zip", zipped(("a/../../b.csv", table(1))))], "not a plain file name"),
        ([("x.zip", zipped(("a/n.csv", table(1)), ("b/n.csv", table(1))))], "the same name"),
        ([("x.zip", zipped(("inner.zip", zipped(("a.csv", b"")))))], "archives in archives"),
        ([("x.zip", zipped(*((f"{k}.csv", b"1") for k in range(40))))], "holds 40 files"),
        ([(f"{k}.csv", b"1") for k in range(20)], "too many"),
        ([("..", b"1")], "not a plain file name"),
        ([(".hidden.csv", b"1")], "not a plain file name"),
    ],
)
def test_what_cannot_be_opened_is_refused_in_words(
    visitor: Visitor, files: list[tuple[str, bytes]], words: str
) -> None:
    status, said = send(visitor, *files)
    assert status == 422
    text = f"{said['where']}: {said['what']} {said['remedy']}"
    assert words in text
    assert "Traceback" not in text
    assert gettempdir() not in text
    assert visitor.get("/api/recordings").json() == []


@needs_ctu_uhb
def test_a_header_that_points_elsewhere_opens_nothing_there(visitor: Visitor) -> None:
    header = (CTU_UHB / "1001.hea").read_text().replace("1001.dat", "../../../../etc/passwd")
    status, said = send(visitor, ("1001.hea", header.encode()))
    assert status == 422
    assert "root:" not in str(said)


def test_an_archive_that_swells_is_stopped(tmp_path: Path) -> None:
    swollen = zipped(("a.csv", b"0" * 3_000_000))
    assert len(swollen) < 10_000

    class Sent:
        filename = "x.zip"
        file = io.BytesIO(swollen)

    with (
        pytest.raises(Exception, match="larger than"),
        laid_out([Sent()], Limits(unpacked_bytes=1_000_000)),
    ):
        pass


def test_an_encrypted_or_linked_member_is_refused() -> None:
    packed = io.BytesIO()
    with zipfile.ZipFile(packed, "w") as archive:
        link = zipfile.ZipInfo("a.csv")
        link.external_attr = 0o120777 << 16
        archive.writestr(link, "/etc/passwd")

    class Sent:
        filename = "x.zip"
        file = io.BytesIO(packed.getvalue())

    with pytest.raises(Exception, match="links and encrypted"), laid_out([Sent()], Limits()):
        pass


def test_an_upload_over_the_limit_is_refused(guarded: Visitor) -> None:
    guarded.sign_in("reader one")
    status, said = send(guarded, ("a.csv", b"1" * 300_000))
    assert status == 413
    assert "too large" in str(said["what"])


def test_too_many_samples_are_refused(visitor: Visitor) -> None:
    library = visitor.app.state.library  # type: ignore[attr-defined]
    library._limits = Limits(samples=100)
    status, said = send(visitor, ("a.csv", table(2)))
    assert status == 422
    assert "more than the 100" in str(said["what"])


def test_a_name_with_markup_is_shown_as_text(visitor: Visitor) -> None:
    library = visitor.app.state.library  # type: ignore[attr-defined]
    from dataclasses import replace

    from ebbline.web.recordings.demo_cases import invented_recording

    recording = replace(invented_recording("prolonged"), name="<script>alert(1)</script>")
    key = library.add(recording, by="x", invented=True).id
    for path in ("/", f"/recordings/{key}", f"/recordings/{key}/report"):
        assert "<script>alert" not in visitor.get(path).text


def test_only_who_opened_a_recording_or_an_admin_removes_it(guarded: Visitor) -> None:
    guarded.sign_in("reader one")
    key = guarded.post("/api/invented", json={"case": "prolonged"}).json()["id"]
    guarded.post("/sign-out")
    guarded.sign_in("teacher one")
    assert guarded.delete(f"/api/recordings/{key}").status_code == 403
    guarded.post("/sign-out")
    guarded.sign_in("admin one")
    assert guarded.delete(f"/api/recordings/{key}").status_code == 204
    assert guarded.get(f"/api/recordings/{key}").status_code == 404


def test_removing_takes_marks_and_corrections_along(visitor: Visitor, store: Path) -> None:
    from sqlalchemy import text

    key = visitor.post("/api/invented", json={"case": "prolonged"}).json()["id"]
    note = {"kind": "note", "start_s": 10, "end_s": 60, "note": "x"}
    assert visitor.post(f"/api/recordings/{key}/marks", json=note).status_code == 201
    assert visitor.delete(f"/api/recordings/{key}").status_code == 204
    with Store(store).session() as session:
        for name in ("recording", "channel", "mark", "correction"):
            assert session.execute(text(f"SELECT count(*) FROM {name}")).scalar_one() == 0


def test_an_invented_case_is_the_same_each_time(visitor: Visitor) -> None:
    made = [visitor.post("/api/invented", json={"case": "variable"}).json() for _ in range(2)]
    raw = [visitor.get(f"/api/recordings/{one['id']}/channels/0/samples").content for one in made]
    assert raw[0] == raw[1]
    assert made[0]["classes"] == made[1]["classes"]


def test_the_store_outlives_the_workbench_and_its_backup_is_whole(
    visitor: Visitor, store: Path, tmp_path: Path
) -> None:
    card = visitor.post("/api/invented", json={"case": "prolonged"}).json()
    target = tmp_path / "copy.sqlite"
    visitor.app.state.store.backup(target)  # type: ignore[attr-defined]
    from ebbline.web.recordings.library import Library

    again = Library(Store(target), Limits())
    assert [c.id for c in again.cards()] == [card["id"]]
    assert again.recording(card["id"]).duration_s == 3600
    assert target.stat().st_mode & 0o077 == 0
    assert store.stat().st_mode & 0o077 == 0
    assert not list(tmp_path.glob("*.part"))


def test_a_file_that_is_no_store_is_named(tmp_path: Path) -> None:
    path = tmp_path / "other.sqlite"
    path.write_bytes(gzip.compress(b"something else") * 50)
    with pytest.raises(Exception, match="cannot be opened as a store"):
        Store(path)


def test_a_recording_gets_another_name_and_the_one_before_stays(visitor: Visitor) -> None:
    from sqlalchemy import select

    from ebbline.web.recordings.models import RecordingName

    key = visitor.post("/api/invented", json={"case": "prolonged"}).json()["id"]
    answer = visitor.put(f"/api/recordings/{key}/name", json={"name": "  Room 3, Tuesday "})
    assert answer.json()["name"] == "Room 3, Tuesday"
    assert "Room 3, Tuesday" in visitor.get("/").text
    assert visitor.get("/api/recordings?search=tuesday").json()[0]["id"] == key
    with visitor.app.state.store.session() as session:  # type: ignore[attr-defined]
        kept = session.scalars(select(RecordingName)).one()
    assert (kept.before, kept.author) == ("One long fall", "reader at this computer")
    for name in ("", "   ", "x" * 121):
        answer = visitor.put(f"/api/recordings/{key}/name", json={"name": name})
        assert answer.status_code == 422, name


def test_the_same_samples_opened_twice_are_noticed(visitor: Visitor) -> None:
    first, second = (
        visitor.post("/api/invented", json={"case": "prolonged"}).json() for _ in range(2)
    )
    other = visitor.post("/api/invented", json={"case": "sinusoidal"}).json()
    assert first["same_as"] == other["same_as"] == []
    assert second["same_as"] == [{"id": first["id"], "name": "One long fall"}]
    assert f'href="/recordings/{first["id"]}"' in visitor.get(f"/recordings/{second['id']}").text


def test_on_a_full_disk_nothing_is_half_kept_and_removing_makes_room(visitor: Visitor) -> None:
    """SQLite says a database that may not grow is full, as it says of a full disk."""
    from sqlalchemy import event

    key = visitor.post("/api/invented", json={"case": "prolonged"}).json()["id"]
    engine = visitor.app.state.store.engine  # type: ignore[attr-defined]

    def no_more(connection: Any, _: Any) -> None:
        pages = connection.execute("PRAGMA page_count").fetchone()[0]
        connection.execute(f"PRAGMA max_page_count={pages}")

    engine.dispose()
    event.listen(engine, "connect", no_more)
    answer = visitor.post("/api/invented", json={"case": "long-labour"})
    assert answer.status_code == 507
    assert "full" in answer.json()["what"]
    assert "Remove recordings" in answer.json()["remedy"]
    assert [card["id"] for card in visitor.get("/api/recordings").json()] == [key]
    assert visitor.delete(f"/api/recordings/{key}").status_code == 204
    assert visitor.post("/api/invented", json={"case": "prolonged"}).status_code == 201


@pytest.mark.parametrize("seed", range(12))
def test_a_damaged_archive_is_refused_in_words(visitor: Visitor, seed: int) -> None:
    import random
    import zipfile

    made = io.BytesIO()
    kind = (zipfile.ZIP_DEFLATED, zipfile.ZIP_LZMA, zipfile.ZIP_BZIP2)[seed % 3]
    with zipfile.ZipFile(made, "w", kind) as archive:
        archive.writestr(
            "a.csv", "time,fhr\n" + "".join(f"{t},{140 + t % 9}\n" for t in range(900))
        )
    raw = bytearray(made.getvalue())
    chance = random.Random(seed)
    for _ in range(6):
        raw[chance.randrange(30, len(raw))] ^= 1 << chance.randrange(8)
    status, said = send(visitor, ("a.zip", bytes(raw)))
    assert status == 422, said
    assert said["remedy"]


def test_a_picture_of_paper_is_opened_once_its_speed_is_said(visitor: Visitor) -> None:
    """The page asks for the speed: it is never guessed."""
    drawn = strip()
    good, packed = cv2.imencode(".png", drawn.image[:, :, ::-1])
    assert good
    one = [("files", ("strip.png", packed.tobytes()))]
    refused = visitor.post("/api/recordings", files=one)
    assert refused.status_code == 422
    assert "speed" in refused.text
    opened = visitor.post("/api/recordings", files=one, data={"paper_speed": "1"})
    assert opened.status_code == 201, opened.text
    assert opened.json()["duration_s"] == pytest.approx(12 * 60, rel=0.02)
    wrong = visitor.post(
        "/api/recordings", files=one, data={"paper_speed": "1", "paper_range": "x"}
    )
    assert wrong.status_code == 422
    assert "not a range" in wrong.text
