"""A class without accounts: joined by a code, answers alone, the split, again, the truth; gone."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import pytest

from ebbline.web.app import create_app
from ebbline.web.settings import Settings
from web.stores import empty_store
from web.visitor import Visitor

CASE = "a-trace-to-rest-your-eyes-on"
HERE = "http://127.0.0.1"


@pytest.fixture
def place(tmp_path: Path) -> Path:
    return tmp_path / "s.sqlite"


@pytest.fixture
def teacher(place: Path) -> Iterator[Visitor]:
    with Visitor(create_app(Settings(store=empty_store(place))), base_url=HERE) as visitor:
        visitor.load("/teach/classes")
        yield visitor


def opened(teacher: Visitor, **more: str) -> str:
    answer = teacher.post("/teach/classes", data={"case": CASE, **more}, follow_redirects=False)
    assert answer.status_code == 303, answer.text
    return answer.headers["location"].rsplit("/", 1)[1]


def learner(teacher: Visitor, code: str, name: str) -> Visitor:
    phone = Visitor(teacher.app, base_url=HERE)
    phone.load("/join")
    answer = phone.post(f"/join/{code.lower()}", data={"name": name}, follow_redirects=False)
    assert answer.status_code == 303, answer.text
    return phone


def act(teacher: Visitor, code: str, what: str):
    return teacher.post(f"/api/teach/classes/{code}/act", json={"act": what})


def says(phone: Visitor, code: str, option: str, number: int = 1):
    given = {"strip": 1, "round": number, "option": option}
    return phone.post(f"/api/join/{code}/answer", json=given)


def test_a_class_answers_sees_the_split_answers_again_and_is_told_the_truth(teacher: Visitor):
    code = opened(teacher)
    ann, ben = learner(teacher, code, "Ann"), learner(teacher, code, "Ben")
    with teacher.app.state.classes.held(code) as held:
        right = held.session.question.right
    wrong = next(one for one in ("Category III", "Category I") if one not in right)
    assert says(ann, code, right[0]).status_code == 422, "nothing was asked yet"
    act(teacher, code, "ask")
    says(ann, code, right[0])
    seen = says(ben, code, wrong).json()
    assert seen["splits"] == [] and seen["truth"] is None, "nobody sees others while answering"
    act(teacher, code, "split")
    seen = ben.get(f"/api/join/{code}").json()
    assert {o["option"] for o in seen["splits"][0] if o["count"]} == {right[0], wrong}
    assert all(one["right"] is None for one in seen["splits"][0]), "the truth is not told yet"
    act(teacher, code, "ask")
    assert says(ben, code, wrong, number=1).status_code == 422, "the first is closed"
    says(ben, code, right[0], number=2)
    says(ann, code, right[0], number=2)
    act(teacher, code, "truth")
    told = ann.get(f"/api/join/{code}").json()
    counted = {o["option"]: o["count"] for o in told["splits"][1] if o["right"]}
    assert counted == {option: 2 if option == right[0] else 0 for option in right}
    assert told["truth"]["right"] == list(right)
    assert told["truth"]["rule"] and told["truth"]["panel"].startswith("Of nine readers")
    assert (told["truth"]["both"], told["truth"]["to_right"]) == (2, 1)
    assert "Ann" not in teacher.get(f"/api/teach/classes/{code}").text
    assert act(teacher, code, "ask").status_code == 422, "nobody answers after the truth"


@pytest.mark.parametrize("keep", ["nothing", "counts", "names"])
def test_when_a_class_is_closed_no_name_is_in_any_file_unless_names_are_kept(
    teacher: Visitor, place: Path, keep: str, caplog: pytest.LogCaptureFixture
):
    stays = keep == "names"
    code = opened(teacher)
    name = "Wilhelmina Quintessa"
    phone = learner(teacher, code, name)
    act(teacher, code, "ask")
    says(phone, code, "Category I")
    begun = phone.post("/teach/begin", data={"case": "what-follows"}, follow_redirects=False)
    key = begun.headers["location"].rsplit("/", 1)[1]
    for step in ({"step": "choose", "measure": "stop the oxytocic"}, {"step": "finish"}):
        assert phone.post(f"/api/teach/attempts/{key}/steps", json=step).status_code == 201
    teacher.post(f"/teach/classes/{code}/close", data={"keep": keep}, follow_redirects=False)
    assert phone.get(f"/api/join/{code}").status_code == 422
    held = b"".join(file.read_bytes() for file in place.parent.rglob("*") if file.is_file())
    assert (name.encode() in held) is stays
    assert name not in caplog.text
    assert (name in teacher.get("/teach/classes").text) is stays
    teacher.post("/teach/classes/forget", data={"kept_class": "1"})
    assert name not in teacher.get("/teach/classes").text


def test_the_form_as_it_stands_opens_a_class(teacher: Visitor):
    """The wall is chosen to begin with, and so is a case that it can show."""
    chosen = re.findall(r'<option value="([^"]+)" selected', teacher.get("/teach/classes").text)
    assert len(chosen) == 1
    opened(teacher, case=chosen[0], mode="wall", asked="class")


def test_a_name_is_taken_once_and_a_wrong_code_is_told(teacher: Visitor):
    code = opened(teacher)
    learner(teacher, code, "Ann")
    other = Visitor(teacher.app, base_url=HERE)
    other.load("/join")
    taken = other.post(f"/join/{code}", data={"name": " aNN "})
    assert taken.status_code == 422 and "is called" in taken.text
    assert other.post(f"/join/{code}", data={"name": "  "}).status_code == 422
    wrong = other.post("/join", data={"code": "zzzz9"})
    assert wrong.status_code == 404 and "no class is open" in wrong.text
    assert other.get(f"/api/join/{code}").status_code == 422, "not in it"


def test_who_leaves_takes_their_answers_along(teacher: Visitor):
    code = opened(teacher)
    ann = learner(teacher, code, "Ann")
    act(teacher, code, "ask")
    says(ann, code, "Category III")
    ann.post(f"/join/{code}/leave")
    now = teacher.get(f"/api/teach/classes/{code}").json()
    assert (now["learners"], now["answered"]) == (0, 0)


def test_a_phone_sees_no_more_of_the_strip_than_the_wall(teacher: Visitor):
    code = opened(teacher)
    phone = learner(teacher, code, "Ann")
    shown = phone.get(f"/api/join/{code}").json()["strip"]
    seen = len(phone.get(f"/api/join/{code}/strip/heart").content)
    whole = len(teacher.get(f"/api/teach/classes/{code}/strip/heart").content)
    assert seen / whole == pytest.approx(shown["shown_s"] / shown["ends_s"], abs=0.01)
    act(teacher, code, "all")
    assert len(phone.get(f"/api/join/{code}/strip/heart").content) == whole


def test_a_guest_plays_in_memory_and_reaches_nothing_but_the_teaching_pages(teacher: Visitor):
    code = opened(teacher, mode="play")
    phone = learner(teacher, code, "Ann")
    assert "Begin" in phone.get(f"/join/{code}").text
    for path in ("/", "/record", "/live", "/account", "/api/recordings"):
        assert phone.get(path, follow_redirects=False).status_code == 403, path
    assert phone.get("/teach/classes").status_code == 403
    begun = phone.post("/teach/begin", data={"case": CASE}, follow_redirects=False)
    key = begun.headers["location"].rsplit("/", 1)[1]
    assert phone.get(f"/teach/attempts/{key}").status_code == 200
    assert teacher.app.state.classes.opened_by("reader at this computer")
    assert teacher.get(f"/api/teach/classes/{code}/played").json()["begun"] == 1
    assert teacher.get(f"/api/teach/attempts/{key}").status_code == 422, "not in the store"


def test_from_the_network_only_a_class_can_be_joined(place: Path):
    settings = Settings(store=place, classes_only=True, reach=("http://192.0.2.7:8722",))
    app = create_app(settings)
    with Visitor(app, base_url=HERE) as here:
        here.load("/teach/classes")
        code = opened(here)
        assert "192.0.2.7:8722/join" in here.get(f"/teach/classes/{code}").text
        away = Visitor(app, base_url=HERE, client=("192.0.2.9", 50000))
        for path in ("/teach", "/record", "/live", "/health", "/api/recordings", "/teach/classes"):
            assert away.get(path, follow_redirects=False).status_code == 403, path
        assert away.post("/api/live/push", json={}).status_code == 403
        away.load("/join")
        joined = away.post(f"/join/{code}", data={"name": "Ann"}, follow_redirects=False)
        assert joined.status_code == 303
        assert away.get(f"/api/join/{code}").json()["name"] == "Ann"
        assert away.get("/record").status_code == 403
