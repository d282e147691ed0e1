"""The pages of the record by request: what is written, shown, refused, taken out and in."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Any

import pytest

from web.visitor import Visitor

CASE = "/api/record/cases/24-0117"


def ago(minutes: float) -> str:
    return (datetime.now().astimezone() - timedelta(minutes=minutes)).isoformat()


def write(visitor: Visitor, kind: str, minutes: float = 0, **fields: Any) -> Any:
    said = {"kind": kind, "fields": fields, "at": ago(minutes)}
    answer = visitor.post(f"{CASE}/entries", json=said)
    assert answer.status_code == 201, answer.text
    return answer.json()


@pytest.fixture
def ward(visitor: Visitor) -> Visitor:
    """A workbench with one case open."""
    answer = visitor.post("/api/record/cases", json={"case": "24-0117", "bed": "4"})
    assert answer.status_code == 201, answer.text
    return visitor


def test_every_page_of_a_case_says_first_what_asks_to_be_looked_at(ward: Visitor) -> None:
    write(ward, "vitals", temperature_c=38.4)
    for part in ("", "/chart", "/listen", "/handover", "/now"):
        page = ward.get(f"/record/24-0117{part}")
        assert page.status_code == 200, part
        assert "Temperature 38.4" in page.text, part
    board = ward.get("/record").text
    assert "Bed 4" in board and "Temperature 38.4" in board


def test_an_empty_case_is_never_told_as_well(ward: Visitor) -> None:
    page = ward.get("/record/24-0117").text
    assert "Nothing that was written asks to be looked at" in page
    assert "not written" in page and "sign-reassuring" not in page


def test_an_entry_sent_again_with_its_token_is_written_once(ward: Visitor) -> None:
    said = {"kind": "note", "fields": {"note": "x"}, "at": ago(0), "token": "from-tablet-0001"}
    first, again = (ward.post(f"{CASE}/entries", json=said).json() for _ in range(2))
    assert first == again
    assert len(ward.get(f"{CASE}/entries").json()) == 2


def test_two_corrections_of_one_entry_meet(ward: Visitor) -> None:
    old = write(ward, "cervix", dilatation_cm=6)
    said = {
        "kind": "cervix",
        "fields": {"dilatation_cm": 7},
        "at": ago(0),
        "corrects": old["number"],
    }
    assert ward.post(f"{CASE}/entries", json=said).status_code == 201
    answer = ward.post(f"{CASE}/entries", json=said)
    assert answer.status_code == 409
    assert "corrected by" in answer.json()["what"]


@pytest.mark.parametrize(
    ("path", "said", "status", "what"),
    [
        ("/api/record/cases", {"case": "Anna", "bed": "4"}, 422, "not a case number"),
        ("/api/record/cases", {"case": "24-0117", "bed": "4"}, 409, "such a case already"),
        (
            f"{CASE}/entries",
            {"kind": "vitals", "fields": {"temperature_c": 3}, "at": ago(0)},
            422,
            "cannot be right",
        ),
        (
            f"{CASE}/entries",
            {"kind": "note", "fields": {"note": "x"}, "at": "2025-03-01T12:00"},
            422,
            "no time zone",
        ),
        (
            "/api/record/cases/24-9/entries",
            {"kind": "note", "fields": {"note": "x"}, "at": ago(0)},
            404,
            "no such case",
        ),
        ("/api/record/heard", {"taps_s": [3, 2, 1]}, 422, "no rising times"),
        ("/api/record/counted", {"beats": 900, "seconds": 60}, 422, "900 bpm"),
    ],
)
def test_what_cannot_be_is_refused_in_words(
    ward: Visitor, path: str, said: dict[str, Any], status: int, what: str
) -> None:
    answer = ward.post(path, json=said)
    assert answer.status_code == status, answer.text
    assert what in answer.json()["what"]


def test_without_the_pages_token_nothing_is_written(ward: Visitor) -> None:
    said = {"kind": "note", "fields": {"note": "x"}, "at": ago(0)}
    answer = ward.post(f"{CASE}/entries", json=said, headers={"x-csrf-token": "no"})
    assert answer.status_code == 403
    assert len(ward.get(f"{CASE}/entries").json()) == 1


def test_a_case_that_is_not_there_is_a_page_that_says_so(ward: Visitor) -> None:
    answer = ward.get("/record/24-9")
    assert answer.status_code == 404
    assert "no such case" in answer.text


def test_words_that_look_like_html_are_shown_as_words(ward: Visitor) -> None:
    write(ward, "note", note="<script>alert(1)</script>")
    for part in ("", "/handover", "/now"):
        assert "<script>alert" not in ward.get(f"/record/24-0117{part}").text


def test_the_state_says_what_is_due_and_who_is_awaited(ward: Visitor) -> None:
    write(ward, "labour", 90, risk="low", heart_by="auscultation")
    write(ward, "stage", 90, stage="active first stage")
    write(ward, "auscultation", 40, before_bpm=140, after_bpm=138)
    write(ward, "told", 5, who="registrar", urgency="to come", about="the rate")
    state = ward.get(f"{CASE}/state").json()
    heart = next(one for one in state["reviews"] if one["name"] == "heart")
    assert heart["state"] == "overdue" and heart["minutes"] < 0
    assert state["awaited"] == ["registrar: the rate"]
    assert any("not felt meanwhile" in line for line in state["listening"])


def test_taps_come_back_as_rates(ward: Visitor) -> None:
    taps = [n * 60 / 140 for n in range(200)]
    answer = ward.post(
        "/api/record/heard", json={"taps_s": taps, "begins_s": 20, "ends_s": 60}
    ).json()
    assert {round(answer[part]["bpm"]) for part in ("before", "during", "after")} == {140}


def test_a_handover_is_filled_given_and_printed(ward: Visitor) -> None:
    write(ward, "cervix", dilatation_cm=6)
    filled = ward.get(f"{CASE}/handover").json()
    assert "6 cm" in filled["assessment"]
    token = ward.headers["x-csrf-token"]
    draft = ward.post(
        "/record/24-0117/handover.pdf", data={"csrf_token": token, "situation": "all said"}
    )
    assert draft.content.startswith(b"%PDF")
    given = ward.post(
        f"{CASE}/handover", json={"to": "Noor", "assessment": filled["assessment"]}
    ).json()
    assert given["kind"] == "handover"
    paper = ward.get(f"/record/24-0117/handover/{given['number']}.pdf")
    assert paper.content.startswith(b"%PDF")
    assert ward.get("/record/24-0117/handover/1.pdf").status_code == 422
    again = ward.get(f"{CASE}/handover").json()
    assert "Nothing was written since" in again["changed"]


def test_the_chart_is_printed_and_the_chain_verified(ward: Visitor) -> None:
    assert ward.get("/record/24-0117/chart.pdf").content.startswith(b"%PDF")
    found = ward.get(f"{CASE}/verify").json()
    assert found["holds"] and found["entries"] == 1


def test_a_case_with_its_trace_goes_out_and_into_another_workbench(
    ward: Visitor, tmp_path: Any
) -> None:
    """An invented recording is tied to the case; the four lines stand on its page."""
    from ebbline.web.app import create_app
    from ebbline.web.settings import Settings

    card = ward.post("/api/invented", json={"case": "late"})
    assert card.status_code == 201, card.text
    write(ward, "trace", place=card.json()["id"], starts_at=ago(200))
    page = ward.get("/record/24-0117").text
    assert "Right now" in page and "The trace read here ends" in page
    data = ward.get(f"{CASE}/archive.zip").content
    app = create_app(Settings(store=tmp_path / "other" / "workbench.sqlite"))
    with Visitor(app, base_url="http://127.0.0.1") as other:
        other.load()
        taken = other.post("/api/record/archive", files={"file": ("case.zip", data)})
        assert taken.status_code == 201, taken.text
        here = ward.get(f"{CASE}/entries").json()
        there = other.get(f"{CASE}/entries").json()
        assert there[: len(here)] == here
        assert there[-1]["kind"] == "trace"
        assert "Right now" in other.get("/record/24-0117").text
        assert other.post("/api/record/archive", files={"file": ("x.zip", data)}).status_code == 409
        bad = other.post("/api/record/archive", files={"file": ("x.zip", data[:900])})
        assert bad.status_code == 422 and "zip" in bad.json()["what"]


def test_only_who_is_signed_in_sees_or_writes(guarded: Visitor) -> None:
    assert guarded.get("/record", follow_redirects=False).status_code == 303
    assert guarded.get("/api/record/cases").status_code == 401
    assert guarded.sign_in("reader one") == 303
    answer = guarded.post("/api/record/cases", json={"case": "24-0117", "bed": "4"})
    assert answer.json()["author"] == "reader one"


def test_a_running_trace_is_read_for_the_record_and_is_preferred(ward: Visitor) -> None:
    """A source of running traces, such as live beds."""
    from dataclasses import replace

    from ebbline.web.recordings.demo_cases import invented_recording

    records = ward.app.state.records  # type: ignore[attr-defined]
    start = datetime.now().astimezone() - timedelta(minutes=90)
    trace = replace(invented_recording("late"), start=start)
    records.add_trace_source(lambda case: trace if case == "24-0117" else None)
    page = ward.get("/record/24-0117").text
    assert "Right now" in page and "The trace read here ends" not in page
    block = page.split('class="dangers')[1].split("</section>")[0]
    assert "Trace:" in block and block.index("Trace:") < block.index("Decelerations")
    assert "Category" in ward.get("/record").text
    assert any(one["row"] == "falls" for one in ward.get(f"{CASE}/state").json()["alerts"])
    assert "recording.hea" in str(ward.get(f"{CASE}/archive.zip").content)


def test_a_bed_that_is_watched_gives_its_record_the_trace_and_what_was_seen(
    ward: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    """An invented labour, replayed; the case of the same number is open in the record."""
    import time

    from ebbline.live.sample_store import Notice
    from ebbline.live.unit import Unit

    assert ward.post("/api/record/cases", json={"case": "D-01", "bed": "Demo 1"}).status_code == 201
    (labour,) = ward.post("/api/live/demo", json={"beds": 1, "speed": 1}).json()
    assert labour["case"] == "D-01"
    last = time.monotonic() + 120.0
    while not ward.get("/api/live/beds").json()[0]["at_s"]:
        assert time.monotonic() < last, "the bed is not read"
        time.sleep(0.1)
    page = ward.get("/record/D-01").text
    assert "Right now" in page and 'href="/live"' in page
    assert "No trace was read" not in ward.get("/api/record/cases/D-01/handover").text

    async def seen(_: Unit, labour_id: str, notice: int, by: str) -> Notice:
        return Notice(labour_id, "loss", "", 0.0, 60.0, "look", "signal lost", "a rule", id=notice)

    monkeypatch.setattr(Unit, "acknowledge", seen)
    for _ in range(2):
        done = ward.post(f"/api/live/beds/{labour['labour']}/notices/7/seen", json={"by": "Kim"})
        assert done.status_code == 200, done.text
    written = ward.get("/api/record/cases/D-01/entries").json()[1:]
    assert [(one["kind"], one["author"]) for one in written] == [("notice", "Kim")]
    ward.post(f"/api/live/beds/{labour['labour']}/end")
    assert "Right now" in ward.get("/record/D-01").text
