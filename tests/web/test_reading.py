"""The reading over the endpoints: windows, marks, differences, corrections with who and when."""

from __future__ import annotations

import json
import threading
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from ebbline.reading.analyse import read
from ebbline.terms import Window
from ebbline.web.app import create_app
from ebbline.web.recordings.demo_cases import CASES, invented_recording
from ebbline.web.settings import Settings
from web.stores import empty_store
from web.visitor import Visitor


@pytest.fixture(scope="module")
def recording() -> Any:
    return invented_recording("late")


@pytest.fixture
def opened(tmp_path: Path, recording: Any) -> Iterator[tuple[Visitor, str]]:
    app = create_app(Settings(store=empty_store(tmp_path / "w.sqlite")))
    key = app.state.library.add(recording, by="someone", invented=True).id
    with Visitor(app, base_url="http://127.0.0.1") as visitor:
        visitor.load()
        yield visitor, key


def items(found: dict[str, Any], layer: str, kind: str = "") -> list[dict[str, Any]]:
    return [i for i in found["items"] if i["layer"] == layer and kind in ("", i["kind"])]


def target(item: dict[str, Any]) -> dict[str, float]:
    return {"target_start_s": item["start_s"], "target_end_s": item["end_s"]}


def correct(visitor: Visitor, key: str, **change: Any) -> dict[str, Any]:
    answer = visitor.post(f"/api/recordings/{key}/corrections", json=change)
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    return found


def test_the_page_says_what_the_library_says(opened: tuple[Visitor, str], recording: Any) -> None:
    visitor, key = opened
    window = Window(1800.0, 3600.0)
    said = visitor.get(f"/api/recordings/{key}/reading?from_s=1800&to_s=3600").json()["computed"]
    truth = read(recording, window=window).fetuses[0]
    assert [c["label"] for c in said["classes"]] == [c.said for c in truth.classes]
    assert [[r["text"] for r in c["reasons"]] for c in said["classes"]] == [
        [r.text for r in c.reasons] for c in truth.classes
    ]
    found = visitor.get(f"/api/recordings/{key}/findings").json()
    falls = [i for i in items(found, "computed") if i["tone"] == "deceleration"]
    assert [i["kind"] for i in falls] == [d.kind.value for d in truth.findings.fetal.decelerations]


@pytest.mark.parametrize(
    "query",
    [
        "from_s=100",
        "from_s=3600&to_s=1800",
        "from_s=0&to_s=30",
        "from_s=0&to_s=99999",
        "from_s=nan&to_s=inf",
        "from_s=-5&to_s=900",
        "fetus=2",
    ],
)
def test_a_window_that_cannot_be_read_is_refused_in_words(
    opened: tuple[Visitor, str], query: str
) -> None:
    visitor, key = opened
    answer = visitor.get(f"/api/recordings/{key}/reading?{query}")
    assert answer.status_code in (404, 422)
    assert answer.json()["what"]


def test_reading_blind_sends_nothing_computed(opened: tuple[Visitor, str]) -> None:
    visitor, key = opened
    assert visitor.post(f"/api/recordings/{key}/blind", json={"blind": True}).status_code == 200
    found = visitor.get(f"/api/recordings/{key}/findings").json()
    assert found["items"] == []
    assert found["baseline"] is None
    assert found["columns"] == []
    for page in (f"/recordings/{key}/panel", "/"):
        text = visitor.get(page).text
        assert "Category" not in text
        assert "athological" not in text
    for path in ("reading", "corrections", "differences", "report.pdf", "fhir.json"):
        answer = visitor.get(f"/api/recordings/{key}/{path}")
        assert answer.status_code == 409, path
        assert "Reveal" in answer.json()["remedy"]


def test_a_blind_reading_outlives_the_page_and_says_when_it_was_broken(
    opened: tuple[Visitor, str],
) -> None:
    visitor, key = opened
    visitor.post(f"/api/recordings/{key}/blind", json={"blind": True})
    assert 'data-blind="yes"' in visitor.get(f"/recordings/{key}").text
    mark = {"kind": "late", "start_s": 100, "end_s": 160}
    visitor.post(f"/api/recordings/{key}/marks", json=mark)
    (spell,) = visitor.post(f"/api/recordings/{key}/blind", json={"blind": False}).json()
    assert spell["begun_at"] < spell["broken_at"]
    assert "when it was revealed" in visitor.get(f"/recordings/{key}/panel").text
    (made,) = items(visitor.get(f"/api/recordings/{key}/findings").json(), "own")
    assert ["made", "blind"] in made["details"]
    visitor.post(f"/api/recordings/{key}/marks", json=mark)
    later = items(visitor.get(f"/api/recordings/{key}/findings").json(), "own")
    assert [["made", "blind"] in one["details"] for one in later].count(False) == 1


def test_marks_are_compared_with_the_computed_findings(opened: tuple[Visitor, str]) -> None:
    visitor, key = opened
    late = items(visitor.get(f"/api/recordings/{key}/findings").json(), "computed", "late")
    same, other = late[0], late[1]
    for kind, item in (("late", same), ("early", other)):
        mark = {"kind": kind, "start_s": item["start_s"] + 4, "end_s": item["end_s"] + 4}
        assert visitor.post(f"/api/recordings/{key}/marks", json=mark).status_code == 201
    empty = {"kind": "acceleration", "start_s": 5200, "end_s": 5230}
    visitor.post(f"/api/recordings/{key}/marks", json=empty)
    level = {"kind": "baseline", "start_s": 0, "end_s": 600, "value": 60}
    visitor.post(f"/api/recordings/{key}/marks", json=level)
    told = visitor.get(f"/api/recordings/{key}/differences?from_s=0&to_s=5400").json()
    verdicts = {d["verdict"] for d in told}
    assert {"agree", "other kind", "only yours", "only computed", "other height"} == verdicts
    assert any(d["words"] == "You: early. Computed: late" for d in told)
    assert any(d["words"].startswith("Baseline: you 60 bpm, computed 1") for d in told)


@pytest.mark.parametrize(
    "mark",
    [
        {"kind": "late", "start_s": 50, "end_s": 50.5},
        {"kind": "late", "start_s": -20, "end_s": 50},
        {"kind": "late", "start_s": 5390, "end_s": 5600},
        {"kind": "wave", "start_s": 5, "end_s": 50},
        {"kind": "note", "start_s": 5, "end_s": 50, "note": "  "},
        {"kind": "baseline", "start_s": 5, "end_s": 500},
        {"kind": "baseline", "start_s": 5, "end_s": 500, "value": 400},
        {"kind": "note", "start_s": 5, "end_s": 50, "note": "x" * 1001},
    ],
)
def test_a_mark_that_makes_no_sense_is_refused(
    opened: tuple[Visitor, str], mark: dict[str, Any]
) -> None:
    visitor, key = opened
    assert visitor.post(f"/api/recordings/{key}/marks", json=mark).status_code == 422


def test_taking_out_every_fall_leaves_none_in_the_corrected_reading_only(
    opened: tuple[Visitor, str],
) -> None:
    visitor, key = opened
    found = visitor.get(f"/api/recordings/{key}/findings").json()
    falls = [i for i in items(found, "computed") if i["tone"] == "deceleration"]
    for fall in falls:
        found = correct(visitor, key, action="delete", group="deceleration", **target(fall))
    pair = visitor.get(f"/api/recordings/{key}/reading").json()
    lines = {
        who: next(s["lines"] for s in pair[who]["sections"] if s["title"] == "Decelerations")
        for who in ("computed", "corrected")
    }
    assert any("Late" in line for line in lines["computed"])
    assert lines["corrected"][0].startswith("None")
    figo = {
        who: next(c for c in pair[who]["classes"] if c["standard"] == "figo")
        for who in ("computed", "corrected")
    }
    assert figo["corrected"]["rank"] < figo["computed"]["rank"]
    struck = [i for i in items(found, "computed") if i["struck"]]
    assert len(struck) == len(falls)
    assert all("taken out by" in i["struck"] for i in struck)


def test_corrections_are_kept_with_who_and_when_and_taken_back_not_erased(
    opened: tuple[Visitor, str],
) -> None:
    visitor, key = opened
    visitor.post("/account/look", data={"theme": "auto", "name": "Night midwife"})
    late = items(visitor.get(f"/api/recordings/{key}/findings").json(), "computed", "late")[0]
    correct(visitor, key, action="rename", group="deceleration", kind="early", **target(late))
    kept = visitor.get(f"/api/recordings/{key}/corrections").json()
    assert [(k["words"], k["author"]) for k in kept] == [
        ("deceleration named early", "Night midwife")
    ]
    back = visitor.post(
        f"/api/recordings/{key}/corrections/{kept[0]['id']}/withdraw", json={"fetus": 1}
    )
    assert items(back.json(), "corrected") == []
    kept = visitor.get(f"/api/recordings/{key}/corrections").json()
    assert kept[0]["withdrawn_by"] == "Night midwife"
    assert kept[0]["withdrawn_at"] >= kept[0]["made_at"]
    assert visitor.get(f"/api/recordings/{key}/reading").json()["corrected"] is None
    again = visitor.post(
        f"/api/recordings/{key}/corrections/{kept[0]['id']}/withdraw", json={"fetus": 1}
    )
    assert again.status_code == 404


def test_a_contraction_taken_out_frees_its_deceleration(opened: tuple[Visitor, str]) -> None:
    """Without its contraction a gradual fall is no longer late: its pairing is made anew."""
    visitor, key = opened
    found = visitor.get(f"/api/recordings/{key}/findings").json()
    late = items(found, "computed", "late")[1]
    squeezes = items(found, "computed", "contraction")
    lag = float(dict(late["details"])["after the contraction's peak"].split()[0])
    peak = late["turn_s"] - lag
    near = min(squeezes, key=lambda c: abs(c["turn_s"] - peak))
    correct(visitor, key, action="delete", group="contraction", **target(near))
    corrections = visitor.app.state.corrections  # type: ignore[attr-defined]
    edited = corrections.applied(key, 1, "reader at this computer").findings
    fall = min(edited.fetal.decelerations, key=lambda d: abs(d.onset_s - late["start_s"]))
    assert fall.kind.value != "late" or fall.lag_s != pytest.approx(lag, abs=1)


def test_a_reader_sees_their_own_corrections_applied_and_everyones_listed(
    tmp_path: Path, recording: Any
) -> None:
    from ebbline.web.principal import Role
    from web.visitor import PASSWORD

    app = create_app(Settings(store=empty_store(tmp_path / "w.sqlite"), accounts=True))
    for name in ("one", "two"):
        app.state.accounts.add(name, Role.READER, PASSWORD)
    key = app.state.library.add(recording, by="one", invented=True).id
    with Visitor(app, base_url="http://127.0.0.1") as visitor:
        visitor.sign_in("one")
        late = items(visitor.get(f"/api/recordings/{key}/findings").json(), "computed", "late")[0]
        correct(visitor, key, action="delete", group="deceleration", **target(late))
        note = {"kind": "note", "start_s": 5, "end_s": 50, "note": "of one"}
        visitor.post(f"/api/recordings/{key}/marks", json=note)
        visitor.post("/sign-out")
        visitor.sign_in("two")
        assert visitor.get(f"/api/recordings/{key}/reading").json()["corrected"] is None
        kept = visitor.get(f"/api/recordings/{key}/corrections").json()
        assert [k["author"] for k in kept] == ["one"]
        path = f"/api/recordings/{key}/corrections/{kept[0]['id']}/withdraw"
        assert visitor.post(path, json={"fetus": 1}).status_code == 422
        found = visitor.get(f"/api/recordings/{key}/findings").json()
        assert [i["note"] for i in items(found, "other")] == ["of one"]
        number = items(found, "other")[0]["id"].removeprefix("mark-")
        path = f"/api/recordings/{key}/marks/{number}/withdraw"
        assert visitor.post(path, json={"fetus": 1}).status_code == 422


def test_a_correction_of_nothing_is_refused(opened: tuple[Visitor, str]) -> None:
    visitor, key = opened
    for change in (
        {"action": "delete", "group": "deceleration", "target_start_s": 1, "target_end_s": 3},
        {"action": "delete", "group": "acceleration"},
        {"action": "add", "group": "contraction", "start_s": 900, "end_s": 800},
        {"action": "add", "group": "deceleration", "start_s": -900, "end_s": 800},
        {"action": "shrink", "group": "deceleration"},
        {"action": "add", "group": "deceleration", "kind": "odd", "start_s": 900, "end_s": 960},
    ):
        answer = visitor.post(f"/api/recordings/{key}/corrections", json=change)
        assert answer.status_code == 422, change
    assert visitor.get(f"/api/recordings/{key}/corrections").json() == []


@pytest.mark.parametrize("case", [case.key for case in CASES])
def test_every_invented_case_has_a_page_a_panel_and_findings(visitor: Visitor, case: str) -> None:
    key = visitor.post("/api/invented", json={"case": case}).json()["id"]
    assert visitor.get(f"/recordings/{key}").status_code == 200
    assert visitor.get(f"/recordings/{key}/panel").status_code == 200
    found = visitor.get(f"/api/recordings/{key}/findings").json()
    assert len({i["id"] for i in found["items"]}) == len(found["items"])
    assert all(i["start_s"] <= i["end_s"] for i in found["items"])


def test_the_endpoints_are_described(visitor: Visitor) -> None:
    described = visitor.get("/api/openapi.json").json()
    for path in (
        "/api/recordings",
        "/api/recordings/{key}/reading",
        "/api/recordings/{key}/corrections",
        "/api/examine",
        "/api/recordings/{key}/fhir.json",
    ):
        assert path in described["paths"]
    told = described["components"]["schemas"]["ReasonOut"]["properties"]
    assert {"rule", "text", "citation", "evidence"} <= told.keys()


def test_of_twins_each_has_a_reading_and_the_list_hides_neither(visitor: Visitor) -> None:
    from dataclasses import replace

    troubled, calm = invented_recording("late"), invented_recording("quiet-first-stage")
    second = replace(troubled.heart_rate(), fetus=2)
    twins = replace(calm, name="Twins", channels=(*calm.channels, second))
    library = visitor.app.state.library  # type: ignore[attr-defined]
    card = library.add(twins, by="x", invented=True)
    figo = {c.fetus: c.label for c in card.classes if c.standard == "figo"}
    assert figo[1] == "normal"
    assert figo[2] in ("suspicious", "pathological")
    assert f"{figo[2]}, fetus 2" in visitor.get("/").text
    said = visitor.get(f"/api/recordings/{card.id}/reading?fetus=2").json()["computed"]
    assert next(c["label"] for c in said["classes"] if c["standard"] == "figo") == figo[2]
    assert visitor.get(f"/recordings/{card.id}/panel?fetus=2").status_code == 200
    assert visitor.get(f"/api/recordings/{card.id}/report.pdf?fetus=2").status_code == 200


def test_a_baseline_is_set_for_a_stretch_and_the_class_follows(
    opened: tuple[Visitor, str],
) -> None:
    """FIGO 2015: a baseline above 160 bpm is not normal; NICHD rounds baselines to 5 bpm."""
    visitor, key = opened
    computed = visitor.get(f"/api/recordings/{key}/reading").json()["computed"]
    change = {
        "action": "set",
        "group": "baseline",
        "start_s": computed["start_s"],
        "end_s": computed["end_s"],
        "value": 183,
        "note": "counted by hand",
    }
    correct(visitor, key, **change)
    pair = visitor.get(f"/api/recordings/{key}/reading").json()
    (line,) = next(s["lines"] for s in pair["corrected"]["sections"] if s["title"] == "Baseline")
    assert "185" in line
    assert "185" not in str([s for s in pair["computed"]["sections"] if s["title"] == "Baseline"])
    found = visitor.get(f"/api/recordings/{key}/findings").json()
    (level,) = [i for i in found["items"] if i["layer"] == "corrected"]
    assert (level["value"], level["value_mark"]) == (183, True)
    assert items(found, "computed", "late"), "events stay as they were measured"


def test_a_variability_is_set_and_what_cannot_be_is_refused(opened: tuple[Visitor, str]) -> None:
    """NICHD 2008: moderate variability is an amplitude of 6 to 25 bpm."""
    visitor, key = opened
    computed = visitor.get(f"/api/recordings/{key}/reading").json()["computed"]
    change = {
        "action": "set",
        "group": "variability",
        "start_s": computed["start_s"],
        "end_s": computed["end_s"],
        "value": 12,
    }
    correct(visitor, key, **change)
    pair = visitor.get(f"/api/recordings/{key}/reading").json()
    lines = next(s["lines"] for s in pair["corrected"]["sections"] if s["title"] == "Variability")
    assert lines[0].startswith("Moderate, bandwidth 12 bpm")
    for wrong in (
        {"value": 300},
        {"value": None},
        {"end_s": computed["start_s"] + 10},
        {"group": "contraction"},
        {"action": "delete"},
    ):
        answer = visitor.post(f"/api/recordings/{key}/corrections", json={**change, **wrong})
        assert answer.status_code == 422, wrong


def test_of_many_who_save_at_once_one_is_kept_and_the_rest_are_told(
    opened: tuple[Visitor, str],
) -> None:
    visitor, key = opened
    answers: list[Any] = []

    def save(weeks: int) -> None:
        said = {"version": 0, "weeks": weeks}
        answers.append((weeks, visitor.put(f"/api/recordings/{key}/context", json=said)))

    threads = [threading.Thread(target=save, args=(w,)) for w in (37, 38, 40, 41, 42) * 4]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    kept = [(weeks, a.json()) for weeks, a in answers if a.status_code == 200]
    refused = [a.json() for _, a in answers if a.status_code == 409]
    assert (len(kept), len(refused)) == (1, 19)
    weeks, said = kept[0]
    assert said["context"]["weeks"] == weeks
    assert all(one["kept"]["context"]["weeks"] == weeks for one in refused)
    shown = visitor.get(f"/api/recordings/{key}").json()
    assert (shown["context"]["weeks"], shown["context_version"]) == (weeks, 1)
    from ebbline.web.recordings.library import Library
    from ebbline.web.settings import Limits

    store = visitor.app.state.store  # type: ignore[attr-defined]
    assert Library(store, Limits()).known(key).context.weeks == weeks


def test_what_was_known_before_stays_with_who_and_when(opened: tuple[Visitor, str]) -> None:
    visitor, key = opened
    for version, weeks in enumerate((36.0, 41.0)):
        said = {"version": version, "weeks": weeks, "oxytocin": True}
        assert visitor.put(f"/api/recordings/{key}/context", json=said).status_code == 200
    said = visitor.get(f"/api/recordings/{key}/context").json()
    assert [one["context"]["weeks"] for one in said] == [39.0, 36.0, 41.0]
    assert all(one["author"] for one in said)
    assert said[1]["made_at"] <= said[2]["made_at"]
    assert "36 weeks" in visitor.get(f"/recordings/{key}/panel").text


def test_two_pages_hear_of_each_others_changes_at_once(opened: tuple[Visitor, str]) -> None:
    import asyncio

    visitor, key = opened
    changes = visitor.app.state.changes  # type: ignore[attr-defined]

    async def listened() -> list[dict[str, Any]]:
        heard = changes.listen(key)
        first = await anext(heard)
        mark = {"kind": "late", "start_s": 100, "end_s": 160}
        headers = {"x-ebbline-page": "page-1"}
        await asyncio.to_thread(
            lambda: visitor.post(f"/api/recordings/{key}/marks", json=mark, headers=headers)
        )
        second = await asyncio.wait_for(anext(heard), 1.0)
        await heard.aclose()
        return [first, second]

    hello, change = asyncio.run(listened())
    assert hello["event"] == "hello"
    # a page made before this change, that begins to listen after it, sees that it missed one
    shown = visitor.get(f"/recordings/{key}").text
    assert f'data-changes="{json.loads(hello["data"])["changes"] + 1}"' in shown
    assert json.loads(change["data"]) == {
        "what": "marks",
        "by": "reader at this computer",
        "page": "page-1",
    }


def test_marks_leave_as_wfdb_annotations_and_come_back_as_they_were(
    opened: tuple[Visitor, str], tmp_path: Path
) -> None:
    """Read by the reference library of WFDB; and round through a second recording."""
    import wfdb

    visitor, key = opened
    made = [
        {"kind": "late", "start_s": 100, "end_s": 160, "note": "as I saw it"},
        {"kind": "baseline", "start_s": 600, "end_s": 1200, "value": 142},
        {"kind": "note", "start_s": 2000, "end_s": 2010, "note": "turned: left side"},
    ]
    for mark in made:
        assert visitor.post(f"/api/recordings/{key}/marks", json=mark).status_code == 201
    data = visitor.get(f"/api/recordings/{key}/marks.atr").content
    (tmp_path / "x.atr").write_bytes(data)
    found = wfdb.rdann(str(tmp_path / "x"), "atr")
    assert [n.rstrip("\x00") for n in found.aux_note if "late" in n] == [
        "late deceleration: as I saw it"
    ] * 2
    other = visitor.post("/api/invented", json={"case": "late"}).json()["id"]
    path = f"/api/recordings/{other}"
    answer = visitor.post(f"{path}/annotations", files={"file": ("mine.atr", data)})
    assert answer.json() == {"marks": 3}
    back = items(visitor.get(f"{path}/findings").json(), "own")
    assert [(b["kind"], b["start_s"], b["end_s"], b["value"]) for b in back] == [
        ("late", 100, 160, None),
        ("baseline", 600, 1200, 142),
        ("note", 2000, 2010, None),
    ]
    assert back[0]["note"] == "as I saw it (from mine.atr)"
    assert back[2]["note"] == "turned: left side (from mine.atr)"


def test_findings_leave_as_annotations_that_say_whose_they_are(
    opened: tuple[Visitor, str], tmp_path: Path
) -> None:
    import wfdb

    visitor, key = opened
    late = items(visitor.get(f"/api/recordings/{key}/findings").json(), "computed", "late")
    for first in ("as computed by Ebbline", "with the corrections of reader at this computer"):
        path = tmp_path / "y.atr"
        path.write_bytes(visitor.get(f"/api/recordings/{key}/findings.atr").content)
        notes = [n.rstrip("\x00") for n in wfdb.rdann(str(tmp_path / "y"), "atr").aux_note]
        assert sum(first in one for one in notes) == 1
        lates = [one for one in notes if one.startswith("late deceleration")]
        many = len(late) - (first != "as computed by Ebbline")
        assert len(lates) == 2 * many, "onset and end of each"
        if first == "as computed by Ebbline":
            correct(visitor, key, action="delete", group="deceleration", **target(late[0]))


def test_a_file_that_is_no_annotations_is_refused_whole(opened: tuple[Visitor, str]) -> None:
    visitor, key = opened
    for data in (b"", b"nothing of the kind", bytes(4000)):
        files = {"file": ("x.atr", data)}
        answer = visitor.post(f"/api/recordings/{key}/annotations", files=files)
        assert answer.status_code == 422, data[:9]
        assert "x.atr" in answer.json()["where"] or "x.atr" in answer.json()["what"]
    assert items(visitor.get(f"/api/recordings/{key}/findings").json(), "own") == []
