"""The pages and endpoints: who may do what, what is told when, what is kept and erased."""

import json
import re
from datetime import datetime, timedelta

import pytest

from ebbline.teach.case import case_to_yaml
from ebbline.teach.index import index
from ebbline.teach.library import shipped_case
from ebbline.web.teaching.store import TeachAttempt, TeachCard, Teaching, TeachingError
from web.visitor import Visitor

MINE = case_to_yaml(shipped_case("what-follows")).replace("id: what-follows", "id: of-my-own")


def begin(school: Visitor, case: str = "what-follows", **more: str) -> str:
    answer = school.post("/teach/begin", data={"case": case, **more}, follow_redirects=False)
    assert answer.status_code == 303, answer.text
    return answer.headers["location"].rsplit("/", 1)[1]


def take(school: Visitor, key: str, **step):
    return school.post(f"/api/teach/attempts/{key}/steps", json=step)


def finished(school: Visitor, case: str = "what-follows", **more: str) -> str:
    key = begin(school, case, **more)
    assert take(school, key, step="choose", measure="stop the oxytocic").status_code == 201
    assert take(school, key, step="finish").status_code == 201
    return key


def test_a_case_is_played_through_the_endpoints(school: Visitor):
    school.sign_in("Ann")
    key = begin(school, "a-whole-evening-shift", variant="0")
    state = take(school, key, step="feel", grip="first grip", zone="fundus").json()
    assert state["log"][0]["text"]
    assert not state["traces"]
    take(school, key, step="place heart sensor", x_cm=8, y_cm=-6)
    take(school, key, step="place contraction sensor", x_cm=3, y_cm=12)
    state = take(school, key, step="wait", minutes=30).json()
    assert state["ready_to_read"]
    assert [t["kind"] for t in state["traces"]] == ["heart", "uterine"]
    samples = school.get(state["traces"][0]["samples_href"])
    assert len(samples.content) == 4 * state["traces"][0]["count"]
    answer = {
        "window": {"start_s": 0, "end_s": 9}, "standard": "nichd", "baseline_bpm": None,
        "no_baseline": True, "variability": "moderate", "sinusoidal": False,
        "tachysystole": None, "label": "Category II",
        "marks": [{"kind": "contraction", "start_s": 5, "end_s": 60}],
    }  # fmt: skip
    state = take(school, key, step="read strip", answer=answer).json()
    assert state["read"]
    assert state["window"] == [0.0, 1800.0]
    state = take(school, key, step="finish").json()
    assert state["finished"]
    page = school.get(f"/teach/attempts/{key}/debrief").text
    assert "Each step against the truth" in page
    assert "Limits of the model" in page
    assert "cannot be told" in page


def test_the_state_is_remade_from_the_steps_when_memory_forgets(school: Visitor):
    school.sign_in("Ann")
    key = begin(school, "a-gush", variant="0")
    take(school, key, step="feel", grip="look", zone="fundus")
    take(school, key, step="place heart sensor", x_cm=-4, y_cm=6)
    before = take(school, key, step="wait", minutes=13).json()
    school.app.state.teach_live.forget([key])
    assert school.get(f"/api/teach/attempts/{key}").json() == before


def test_two_windows_cannot_take_the_same_step_twice(school: Visitor):
    school.sign_in("Ann")
    key = begin(school)
    take(school, key, step="choose", measure="fluids")
    teaching: Teaching = school.app.state.teaching
    with pytest.raises(TeachingError, match="another step"):
        teaching.add_step(key, 0, teaching.steps(key)[0])


# --- what is told when ------------------------------------------------------------------------


def test_the_truth_is_not_told_before_the_end(school: Visitor):
    school.sign_in("Ann")
    key = begin(school, variant="0")
    state = school.get(f"/api/teach/attempts/{key}").text
    page = school.get(f"/teach/attempts/{key}").text
    secret = re.compile(r"true_class|accepted|seed|recurrent late|placental|1779", re.IGNORECASE)
    assert not secret.search(state)
    assert "aims" not in state
    assert shipped_case("what-follows").aims[0] not in page
    assert school.get(f"/api/teach/attempts/{key}/debrief-strip").status_code == 403
    there = school.get(f"/teach/attempts/{key}/debrief", follow_redirects=False)
    assert there.status_code == 303


def test_after_the_end_the_truth_is_drawn(school: Visitor):
    school.sign_in("Ann")
    key = finished(school)
    strip = school.get(f"/api/teach/attempts/{key}/debrief-strip").json()
    kinds = {item["kind"] for item in strip["items"] if item["layer"] == "computed"}
    assert "late deceleration" in kinds
    assert take(school, key, step="wait", minutes=1).status_code == 422
    there = school.get(f"/teach/attempts/{key}", follow_redirects=False)
    assert there.headers["location"].endswith("/debrief")


# --- who may do what --------------------------------------------------------------------------


def test_nobody_plays_or_sees_someone_elses_attempt_but_a_teacher_may_look(school: Visitor):
    school.sign_in("Ann")
    key = begin(school)
    school.sign_in("Ben")
    assert school.get(f"/api/teach/attempts/{key}").status_code == 403
    assert school.get(f"/teach/attempts/{key}").status_code == 403
    assert take(school, key, step="finish").status_code == 403
    school.sign_in("Tea")
    assert school.get(f"/api/teach/attempts/{key}").status_code == 200
    assert take(school, key, step="finish").status_code == 403


TEACHERS = ["/teach/class", "/teach/assignments", "/teach/build", "/api/teach/export.csv",
            "/api/teach/export.json", "/teach/sheets/a-gush.pdf?answers=true"]  # fmt: skip


@pytest.mark.parametrize("path", TEACHERS)
def test_the_teachers_pages_are_for_teachers(school: Visitor, path: str):
    school.sign_in("Ann")
    assert school.get(path).status_code == 403
    school.sign_in("Tea")
    assert school.get(path).status_code == 200


def test_a_learner_may_not_check_set_keep_or_erase(school: Visitor):
    school.sign_in("Ann")
    assert school.post("/api/teach/check", json={"yaml": MINE}).status_code == 403
    for path, data in (
        ("/teach/build", {"yaml": MINE}),
        ("/teach/assignments", {"case": "a-gush"}),
        ("/teach/class/erase", {"learner": "Ben", "sure": "yes"}),
    ):
        assert school.post(path, data=data).status_code == 403


def test_a_step_without_the_pages_token_is_refused(school: Visitor):
    school.sign_in("Ann")
    key = begin(school)
    del school.headers["x-csrf-token"]
    assert take(school, key, step="finish").status_code == 403


@pytest.mark.parametrize(
    "step",
    [{"step": "fly"}, {"step": "wait", "minutes": 1e9}, {"step": "wait", "minutes": "soon"},
     {"step": "choose", "measure": "pray"}, {"step": "feel", "grip": "x", "zone": "y"},
     {"step": "listen", "x_cm": 1e300, "y_cm": 0}, {}, {"step": "read strip", "answer": {}}],
)  # fmt: skip
def test_a_bad_step_is_told_in_words(school: Visitor, step):
    school.sign_in("Ann")
    answer = take(school, begin(school), **step)
    assert answer.status_code == 422
    assert answer.json()["what"]


def test_an_unknown_attempt_case_or_variant_is_told_in_words(school: Visitor):
    school.sign_in("Ann")
    assert school.get("/api/teach/attempts/nothing").status_code == 422
    assert school.post("/teach/begin", data={"case": "none"}).status_code == 422
    assert school.post("/teach/begin", data={"case": "a-gush", "variant": "x"}).status_code == 422
    assert school.post("/teach/begin", data={"case": "a-gush", "variant": "-4"}).status_code == 422


# --- assignments ------------------------------------------------------------------------------


def test_an_assignment_gives_its_variant_and_only_so_many_attempts(school: Visitor):
    school.sign_in("Tea")
    school.post(
        "/teach/assignments",
        data={"case": "what-follows", "title": "Week 3", "attempts": "1", "variant": "0",
              "due": "2031-03-14T17:00", "names": "Ann"},
    )  # fmt: skip
    teaching: Teaching = school.app.state.teaching
    (one,) = teaching.assignments()
    assert one.due_at is not None
    school.sign_in("Ben")
    assert "Week 3" not in school.get("/teach").text
    refused = school.post("/teach/begin", data={"case": "what-follows", "assignment": one.id})
    assert "not yours" in refused.text
    school.sign_in("Ann")
    assert "Week 3" in school.get("/teach").text
    key = finished(school, assignment=one.id)
    assert teaching.attempt(key).seed == 0
    again = school.post("/teach/begin", data={"case": "what-follows", "assignment": one.id})
    assert "have been used" in again.text
    school.sign_in("Tea")
    report = school.get(f"/teach/class?assignment={one.id}").text
    assert "1 finished attempts of 1 learner." in report
    school.post("/teach/assignments/close", data={"assignment": one.id})
    assert teaching.assignments() == ()


@pytest.mark.parametrize(
    "wrong", [{"due": "soon"}, {"attempts": "x"}, {"attempts": "-3"}, {"variant": "no"}]
)
def test_an_assignment_that_cannot_be_is_told_in_words(school: Visitor, wrong):
    school.sign_in("Tea")
    answer = school.post("/teach/assignments", data={"case": "a-gush", **wrong})
    assert answer.status_code == 422
    assert "problem-note" in answer.text


# --- building ---------------------------------------------------------------------------------


def test_a_teachers_case_is_checked_kept_played_and_withdrawn(school: Visitor):
    school.sign_in("Tea")
    checked = school.post("/api/teach/check", json={"yaml": MINE}).json()
    assert ["Class by nichd", "Category II"] in checked["truth"]
    school.post("/teach/build", data={"yaml": MINE})
    school.sign_in("Ann")
    key = begin(school, "of-my-own")
    school.sign_in("Tea")
    school.post("/teach/build/withdraw", data={"case": "of-my-own"})
    school.sign_in("Ann")
    assert school.get(f"/api/teach/attempts/{key}").status_code == 200, "the attempt keeps it"
    assert school.post("/teach/begin", data={"case": "of-my-own"}).status_code == 422


def test_a_bad_case_is_told_in_words_and_not_kept(school: Visitor):
    school.sign_in("Tea")
    answer = school.post("/teach/build", data={"yaml": MINE.replace("difficulty: 2", "")})
    assert answer.status_code == 422
    assert "difficulty: must be given" in answer.text
    same = school.post("/teach/build", data={"yaml": case_to_yaml(shipped_case("a-gush"))})
    assert "shipped" in same.text


def test_a_case_cannot_bring_a_script_along(school: Visitor):
    school.sign_in("Tea")
    nasty = MINE.replace("title: What follows", 'title: "<script>alert(1)</script>"')
    school.post("/teach/build", data={"yaml": nasty})
    for path in ("/teach", "/teach/assignments", "/teach/build"):
        page = school.get(path).text
        assert "<script>alert(1)" not in page
        assert "&lt;script&gt;alert(1)" in page
    key = begin(school, "of-my-own")
    assert "<script>alert(1)" not in school.get(f"/teach/attempts/{key}").text


def test_sentences_become_yaml_to_look_at(school: Visitor):
    school.sign_in("Tea")
    answer = school.post(
        "/teach/build/sentences",
        data={"title": "Half past four", "who": "W", "scene": "S", "task": "T",
              "asks": ["hands", "strip"], "words": "recurrent late"},
    )  # fmt: skip
    assert "id: half-past-four" in answer.text
    assert "- hands" in answer.text
    bad = school.post("/teach/build/sentences", data={"title": "x"})
    assert bad.status_code == 422


# --- the learner's own data -------------------------------------------------------------------


def test_a_learner_takes_everything_along_and_has_it_erased(school: Visitor):
    school.sign_in("Ben")
    other = finished(school)
    school.sign_in("Ann")
    key = finished(school)
    kept = school.get("/api/teach/mine").json()
    assert [a["id"] for a in kept["attempts"]] == [key]
    assert [s["step"] for s in kept["attempts"][0]["steps"]] == ["choose", "finish"]
    assert set(kept) == {"learner", "attempts", "practice"}
    assert school.post("/teach/mine/erase", data={}).status_code == 422
    school.post("/teach/mine/erase", data={"sure": "yes"})
    assert school.get("/api/teach/mine").json()["attempts"] == []
    teaching: Teaching = school.app.state.teaching
    with pytest.raises(TeachingError):
        teaching.attempt(key)
    assert teaching.steps(key) == []
    assert teaching.attempt(other).learner == "Ben"


def test_erasing_a_learner_leaves_the_name_nowhere_in_what_teaching_keeps(school: Visitor):
    from sqlalchemy import select

    from ebbline.web.teaching.models import LAYOUT

    school.sign_in("Ann")
    finished(school)
    teaching: Teaching = school.app.state.teaching
    for names in (["Ann"], ["Ann", "Ben"]):
        teaching.set_assignment(
            case="what-follows",
            seed=0,
            title="",
            due_at=None,
            attempts=0,
            names=names,
            set_by="Tea",
        )
    school.post("/teach/mine/erase", data={"sure": "yes"})
    with teaching._store.session() as session:
        rows = [
            str(tuple(row))
            for table in LAYOUT.metadata.tables.values()
            for row in session.execute(select(table))
        ]
    assert any("Ben" in row for row in rows)
    assert not [row for row in rows if "Ann" in row]


def test_exports_carry_pseudonyms_unless_names_are_asked_for(school: Visitor):
    school.sign_in("Ann")
    finished(school)
    school.sign_in("Tea")
    assert "Ann" not in school.get("/api/teach/export.csv").text
    assert "Ann" in school.get("/api/teach/export.csv?names=true").text
    assert "Ann" not in school.get("/api/teach/export.json").text
    statements = json.loads(school.get("/api/teach/export.json").text)
    assert statements[0]["actor"]["account"]["name"].startswith("learner-")


def test_an_admin_erases_a_learner_and_a_teacher_does_not(school: Visitor):
    school.sign_in("Ann")
    finished(school)
    school.sign_in("Tea")
    assert (
        school.post("/teach/class/erase", data={"learner": "Ann", "sure": "yes"}).status_code == 422
    )
    school.sign_in("Ada")
    assert school.get("/teach/class?learner=Ann").status_code == 200
    school.post("/teach/class/erase", data={"learner": "Ann", "sure": "yes"})
    assert school.app.state.teaching.attempts_of("Ann") == ()


def test_ten_short_strips_tell_at_once_what_they_show(school: Visitor):
    school.sign_in("Ann")
    pair = {"one": "variable deceleration", "other": "late deceleration"}
    there = school.get("/teach/practice", params=pair, follow_redirects=False)
    assert there.status_code == 303
    assert "seed=" in there.headers["location"]
    said = []
    for number in range(1, 11):
        strip = school.get(f"/api/teach/practice/{number}", params={**pair, "seed": 4}).json()
        assert [t["kind"] for t in strip["traces"]] == ["heart", "uterine"]
        assert strip["duration_s"] == pytest.approx(480)
        if number == 1:
            heart = school.get(strip["traces"][0]["samples_href"])
            assert len(heart.content) == 4 * strip["traces"][0]["count"]
        told = school.get(
            f"/api/teach/practice/{number}/verdict",
            params={**pair, "seed": 4, "said": "late deceleration"},
        ).json()
        assert told["right"] == (told["answer"] == "late deceleration")
        falls = {i["kind"] for i in told["items"] if i["plot"] == "heart"}
        assert falls == {told["answer"]}
        said.append(told["answer"])
    assert sorted(said) == ["late deceleration"] * 5 + ["variable deceleration"] * 5
    wrong = school.get("/api/teach/practice/11", params={**pair, "seed": 4})
    assert wrong.status_code == 422
    assert "1 to 10" in wrong.json()["remedy"]
    other = school.get("/teach/practice", params={"one": "late deceleration", "other": "vertex"})
    assert "cannot be practised" in other.text


def test_what_was_taken_for_another_leads_to_its_strips(school: Visitor):
    school.sign_in("Ann")
    assert "Taken for one another" not in school.get("/teach").text
    key = finished(school)
    with school.app.state.store.session() as session:
        row = session.get(TeachAttempt, key)
        row.score = {**row.score, "confused": [["late deceleration", "variable deceleration"]]}
    link = "one=late%20deceleration&amp;other=variable%20deceleration"
    for page in ("/teach", "/teach/mine", "/teach/practice"):
        text = school.get(page).text.replace("&other", "&amp;other")
        assert link in text, page


def test_what_went_wrong_is_offered_for_practice_when_it_is_due(school: Visitor):
    index()  # the page does not wait for it
    school.sign_in("Ann")
    finished(school)
    assert "Worth practising now" not in school.get("/teach").text
    teaching: Teaching = school.app.state.teaching
    with school.app.state.store.session() as session:
        for card in session.query(TeachCard):
            data = dict(card.data)
            for key in ("due", "last_review"):
                moved = datetime.fromisoformat(data[key]) - timedelta(days=30)
                data[key] = moved.isoformat()
            card.data = data
    assert teaching.due("Ann")
    page = school.get("/teach").text
    assert "Worth practising now" in page
    assert "practises most of it" in page
