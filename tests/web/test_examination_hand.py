"""The examination with one gloved hand, on a phone, in a real browser."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest

from web.browser import chromium, grave, needs_chromium, opened, served

pytestmark = needs_chromium
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True, "is_mobile": True}

FULL = (
    ("weeks", "39"),
    ("stage", "first stage"),
    ("membranes", "intact"),
    ("placenta", "not low"),
    ("bleeding", "no"),
    ("fundus", "breech: softer, broader"),
    ("back", "left, to the front"),
    ("limbs", "right"),
    ("brim", "head, mobile"),
    ("fifths", "4/5"),
    ("prominence", "right"),
    ("heart", "left below"),
)


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as one:
        yield one


@pytest.fixture
def page(browser: Any, tmp_path: Any) -> Iterator[Any]:
    from ebbline.web.settings import Settings

    with (
        served(Settings(store=tmp_path / "store")) as (address, _),
        opened(browser, **PHONE) as one,
    ):
        one.goto(f"{address}/examination")
        one.wait_for_selector("#ask-choices button")
        yield one


def asked(page: Any) -> str:
    return page.get_attribute("#ask-choices", "data-ask")


def touch(page: Any, question: str, words: str) -> None:
    page.wait_for_selector(f'#ask-choices[data-ask="{question}"]')
    page.get_by_role("group", name=page.inner_text("#ask-title")).get_by_role(
        "button", name=words, exact=True
    ).tap()


def test_a_full_examination_takes_at_most_twelve_touches(page: Any) -> None:
    touches = 0
    for question, words in FULL:
        assert asked(page) == question
        touch(page, question, words)
        touches += 1
    page.wait_for_selector('#ask[data-done="true"]')
    assert touches <= 12
    page.locator("#outcome").get_by_text("hands cannot tell").wait_for()
    told = page.inner_text("#outcome")
    assert "hands cannot tell" in told
    assert "bits" not in told
    assert page.locator("#outcome svg.figure").count() == 1
    assert grave(page) == []


def test_every_button_of_a_question_is_large_and_within_the_screen(page: Any) -> None:
    for question, words in FULL:
        page.wait_for_selector(f'#ask-choices[data-ask="{question}"]')
        for box in (b.bounding_box() for b in page.locator("#ask-choices button").all()):
            assert box["height"] >= 60
            assert box["width"] >= 60
            assert box["x"] >= 0
            assert box["x"] + box["width"] <= 390
        touch(page, question, words)
    assert page.evaluate("document.documentElement.scrollWidth") <= 390


def test_touching_twice_erases_nothing_and_undo_takes_back_one_answer(page: Any) -> None:
    for question, words in FULL[:6]:
        touch(page, question, words)
    page.locator("#answered button", has_text="fundus").tap()
    touch(page, "fundus", "breech: softer, broader")
    assert page.evaluate("document.querySelector('#findings').elements.fundus.value") == "breech"
    page.wait_for_selector('#ask-choices[data-ask="back"]')
    touch(page, "back", "left, to the front")
    page.locator("[data-undo]").tap()
    assert asked(page) == "back"
    assert page.evaluate("document.querySelector('#findings').elements.back.value") == ""
    assert page.evaluate("document.querySelector('#findings').elements.fundus.value") == "breech"


def test_starting_anew_asks_first(page: Any) -> None:
    touch(page, "weeks", "39")
    page.locator("[data-new]").tap()
    page.locator("[data-keep]").tap()
    assert page.evaluate("document.querySelector('#known').elements.weeks.value") == "39"
    page.locator("[data-new]").tap()
    page.locator("[data-anew]").tap()
    assert asked(page) == "weeks"
    assert page.evaluate("document.querySelector('#known').elements.weeks.value") == ""


def test_weeks_with_days_are_typed_as_they_are_written(page: Any) -> None:
    page.fill("#ask-weeks", "39+4")
    with page.expect_response(lambda r: "/examination/outcome" in r.url) as answer:
        page.locator("#ask-typed button").tap()
    assert answer.value.status == 200
    assert asked(page) == "stage"


def test_an_emergency_is_alone_on_the_screen(page: Any) -> None:
    for question, words in FULL[:-1]:
        touch(page, question, words)
    touch(page, "heart", "not heard")
    page.wait_for_selector("[data-alone]")
    for hidden in ("#ask", ".exam-more", "body > header", "body > footer"):
        assert not page.locator(hidden).is_visible()
    assert "not heard" in page.inner_text("#outcome")
    assert "Presents" not in page.inner_text("#outcome")
    page.locator("[data-undo-alone]").tap()
    page.wait_for_selector('#ask-choices[data-ask="heart"]')
    assert page.locator("#ask").is_visible()
