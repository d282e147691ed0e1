"""A group from nothing: a pasted list, a code, seats, who has not begun, what is overdue."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import timedelta
from pathlib import Path

import pytest

from ebbline.store import now
from ebbline.web.app import create_app
from ebbline.web.settings import Settings
from web.browser import chromium, needs_chromium, opened, served
from web.stores import empty_store
from web.visitor import Visitor

HERE = "http://127.0.0.1"
CASE = "what-follows"
TWELVE = [*(f"Learner {number}" for number in range(1, 11)), "Marta Ivory", "Noor Basalt"]
MOST_CLICKS = 10


@pytest.fixture
def teacher(tmp_path: Path) -> Iterator[Visitor]:
    with Visitor(
        create_app(Settings(store=empty_store(tmp_path / "s.sqlite"))), base_url=HERE
    ) as visitor:
        visitor.load("/teach/groups")
        yield visitor


def made(teacher: Visitor, **more: str) -> str:
    given = {"group": "Tuesday", "names": "\n".join(TWELVE), "case": CASE, **more}
    page = teacher.post("/teach/groups", data=given)
    assert page.status_code == 200, page.text
    found = re.search(r'join-code code">(\w{6})<', page.text)
    assert found
    return found[1]


def seated(teacher: Visitor, code: str, name: str) -> Visitor:
    phone = Visitor(teacher.app, base_url=HERE)
    phone.load("/join")
    answer = phone.post(f"/join/{code.lower()}", data={"name": name}, follow_redirects=False)
    assert answer.status_code == 303, answer.text
    return phone


def test_a_pasted_list_joins_by_a_code_and_who_has_not_begun_is_seen(teacher: Visitor):
    code = made(teacher, names="1. Marta Ivory\n2) Noor Basalt; Ede Quill")
    phone = seated(teacher, code, "Marta Ivory")
    assert "Set for you" in phone.get("/teach").text
    assert phone.get("/record").status_code == 403
    other = Visitor(teacher.app, base_url=HERE)
    other.load("/join")
    assert other.post(f"/join/{code}", data={"name": "Marta Ivory"}).status_code == 422
    wrong = other.post(f"/join/{code}", data={"name": "Noor Basalk"})
    assert wrong.status_code == 422 and "Did you mean Noor Basalt?" in wrong.text
    key = teacher.app.state.teaching.assignments()[0].id
    begun = phone.post("/teach/begin", data={"case": CASE, "assignment": key})
    assert begun.status_code == 200
    page = teacher.get("/teach/groups").text
    assert "2 not begun" in page and "Ede Quill, Noor Basalt" in page
    assert "Noor Basalt" in teacher.get("/teach/assignments").text


def test_a_misspelt_learner_is_refused_with_the_nearest_name(teacher: Visitor):
    made(teacher)
    answer = teacher.post("/teach/assignments", data={"case": CASE, "names": "Marta Ivry"})
    assert answer.status_code == 422 and "Did you mean Marta Ivory?" in answer.text


@pytest.mark.parametrize("names", ["", " , ;", "Ann\nann"])
def test_a_list_that_cannot_be_is_told_and_stays_on_the_page(teacher: Visitor, names: str):
    answer = teacher.post("/teach/groups", data={"group": "Tuesday", "names": names, "case": CASE})
    assert answer.status_code == 422
    assert "Tuesday" in answer.text
    assert not teacher.app.state.groups.all()


def test_overdue_work_is_marked_and_not_begun_unless_it_is_said(teacher: Visitor):
    past = f"{now() - timedelta(days=2):%Y-%m-%dT%H:%M}"
    phone = seated(teacher, made(teacher, due=past), "Marta Ivory")
    page = phone.get("/teach").text
    assert "overdue" in page and "Begin late" in page
    key = teacher.app.state.teaching.assignments()[0].id
    asked = {"case": CASE, "assignment": key}
    assert phone.post("/teach/begin", data=asked).status_code == 422
    begun = phone.post("/teach/begin", data={**asked, "late": "yes"}, follow_redirects=False)
    assert begun.status_code == 303
    assert "begun, overdue" in teacher.get("/teach/groups").text


def test_an_erased_learner_leaves_no_name_anywhere(teacher: Visitor):
    phone = seated(teacher, made(teacher), "Marta Ivory")
    phone.post("/teach/begin", data={"case": CASE})
    erased = teacher.post("/teach/class/erase", data={"learner": "Marta Ivory", "sure": "yes"})
    assert erased.status_code == 200
    raw = teacher.app.state.store.engine.raw_connection()
    assert "Marta Ivory" not in "\n".join(raw.driver_connection.iterdump())
    raw.close()
    assert phone.get("/teach", follow_redirects=False).status_code == 200
    assert "Marta" not in teacher.get("/teach/groups").text


def test_text_and_paper_tell_the_same_portfolio_by_half_year_with_an_interval():
    from dataclasses import replace as changed
    from datetime import UTC, datetime

    from ebbline.teach.attempt_record import FinishedAttempt
    from ebbline.teach.portfolio import portfolio, portfolio_text
    from ebbline.teach.portfolio_sheet import portfolio_sheet
    from ebbline.teach.scoring import Score, scored_line

    def scored(month: int, share: float) -> FinishedAttempt:
        score = Score((scored_line("lie", share, "", ""),), skills=(("lie", share),))
        at = datetime(2031, month, 2, tzinfo=UTC)
        return FinishedAttempt("a", "Marta Ivory", CASE, 0, at, at, "", score, "nichd", "", "")

    year = [scored(3, 0.2), *(scored(month, share) for month, share in
            ((8, 0.4), (9, 0.5), (10, 0.6), (11, 0.9)))]  # fmt: skip
    made = portfolio([*year, changed(year[0], learner="Else")], "Marta Ivory")
    spring, autumn = made.half_years
    assert (spring.name, len(spring.cases), spring.low == spring.low) == ("spring 2031", 1, False)
    assert autumn.mean == pytest.approx(0.6)
    assert 0.4 <= autumn.low < 0.6 < autumn.high <= 0.9
    paper = str(portfolio_sheet(made, {CASE: "What follows"}))
    text = portfolio_text(made)
    for words in (f"{100 * autumn.low:.0f} to {100 * autumn.high:.0f} %", "lie: 20 % at first"):
        assert words in text
        assert words.split(" at first")[0] in paper
    assert "Spring 2031" in paper and "What follows" in paper


def test_a_sheet_has_a_line_for_the_name_and_no_page_for_one_line():
    from ebbline.picture.canvas import Text
    from ebbline.teach.printout import Flow

    flow = Flow("title", "foot")
    flow.name_line()
    while len(flow.pages()) < 2:
        flow.words("a line")
    # The first page had room for one line more above its foot; two want a page of their own.
    shapes = flow.pages()[-1].shapes
    assert sum(isinstance(s, Text) and s.text == "a line" for s in shapes) == 2


@pytest.mark.browser
@needs_chromium
def test_from_nothing_to_twelve_play_a_case_tomorrow_in_at_most_ten_clicks(tmp_path: Path):
    with (
        served(Settings(store=tmp_path / "s.sqlite")) as (address, app),
        chromium() as browser,
        opened(browser, viewport={"width": 1280, "height": 800}) as page,
    ):
        page.goto(address)
        clicks = 0

        def click(what: object) -> None:
            nonlocal clicks
            what.click()  # type: ignore[attr-defined]
            clicks += 1

        click(page.get_by_role("link", name="Cases", exact=True))
        click(page.get_by_role("link", name="Groups", exact=True))
        click(page.get_by_label("Its name"))
        page.keyboard.type("Year 2, Tuesday")
        click(page.get_by_label("Learners, one a line"))
        page.keyboard.insert_text("\n".join(TWELVE))
        click(page.get_by_label("Case they play"))
        page.get_by_label("Case they play").select_option(CASE)
        clicks += 1
        click(page.get_by_role("button", name="Make the group"))
        page.get_by_text("12 not begun").wait_for()
        assert clicks <= MOST_CLICKS
        print(f"{clicks} clicks")
        (set_one,) = app.state.teaching.assignments()
        assert len(set_one.names) == 12
        assert timedelta(hours=10) < set_one.due_at - now() < timedelta(hours=48)
