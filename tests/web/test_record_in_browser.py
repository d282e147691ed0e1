"""The record as a hand on a tablet meets it: nothing typed is lost, everything can be reached."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime
from pathlib import Path
from typing import Any

import pytest

from ebbline.journal.chain import Draft
from ebbline.journal.entries import body_from
from ebbline.web.settings import Settings
from web.browser import chromium, grave, needs_chromium, opened, served

pytestmark = [pytest.mark.browser, needs_chromium]
TABLET = {"viewport": {"width": 810, "height": 1080}, "has_touch": True}
PHONE = {"viewport": {"width": 390, "height": 844}, "has_touch": True}
AWAY = """() => {
  const real = window.fetch;
  window.fetch = (path, how) =>
    how?.method === "POST" ? Promise.reject(new TypeError("away")) : real(path, how);
}"""
"""What a page sees while nobody answers."""
HAND = """() => {
  window.hand = { touches: 0, keys: 0 };
  addEventListener("pointerdown", () => { window.hand.touches += 1; }, true);
  addEventListener("keydown", () => { window.hand.keys += 1; }, true);
}"""
"""Counts what a hand does."""
PARTS = ("", "/chart", "/listen", "/handover")


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as one:
        yield one


@pytest.fixture(scope="module")
def ward(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Any]]:
    """A workbench with a case that alarms."""
    path = tmp_path_factory.mktemp("ward") / "workbench.sqlite"
    with served(Settings(store=Path(path))) as (address, app):
        journal = app.state.records.journal
        journal.open_case("24-0117", "4", author="Kim")
        now = datetime.now().astimezone()
        for kind, said in (
            ("vitals", {"temperature_c": 38.3, "pulse_bpm": 96}),
            ("cervix", {"dilatation_cm": 6, "station_cm": -1}),
            ("told", {"who": "registrar", "urgency": "to come", "about": "fever"}),
        ):
            journal.append("24-0117", Draft(body_from(kind, said), now, "Kim"))
        yield address, app


def entries(app: Any) -> Any:
    return app.state.records.journal.entries("24-0117")


@pytest.mark.parametrize(
    ("scheme", "size"),
    [
        ("dark", TABLET),
        ("light", PHONE),
        ("light", {"viewport": {"width": 1280, "height": 800}}),
    ],
    ids=["dark-tablet", "light-phone", "light-wide"],
)
def test_pages_fit_and_can_be_read_by_anyone(
    ward: tuple[str, Any], browser: Any, size: dict[str, Any], scheme: str
) -> None:
    """axe-core finds nothing serious; no page is wider than the screen. Each scheme and each size
    once: colours do not depend on the size, nor places on colours."""
    with opened(browser, color_scheme=scheme, **size) as page:
        for path in ("", *(f"/24-0117{part}" for part in PARTS)):
            page.goto(f"{ward[0]}/record{path}")
            assert page.evaluate("document.documentElement.scrollWidth <= innerWidth"), path
            assert grave(page) == [], path


def test_a_cervix_is_written_with_four_touches(ward: tuple[str, Any], browser: Any) -> None:
    address, app = ward
    with opened(browser, **TABLET) as page:
        page.goto(f"{address}/record/24-0117")
        page.locator(".thumb [data-open=cervix]").tap()
        sheet = page.locator("#sheet-cervix")
        sheet.locator("[data-field=dilatation_cm] .chip", has_text="8").tap()
        sheet.locator("[data-field=station_cm] .chip").nth(4).tap()
        sheet.locator("[data-save]").tap()
        page.locator("#timeline .fresh").wait_for()
        assert "Dilatation 8 cm; station 0 cm" in page.locator("#timeline").inner_text()
    assert entries(app)[-1].words == "Dilatation 8 cm; station 0 cm"


def test_what_was_half_filled_is_there_after_the_page_was_lost(
    ward: tuple[str, Any], browser: Any
) -> None:
    with opened(browser, **TABLET) as page:
        page.goto(f"{ward[0]}/record/24-0117")
        page.locator(".keys [data-open=note]").click()
        page.locator("#sheet-note textarea").fill("half a thought")
        page.reload()
        assert page.locator(".keys [data-open=note] .draft-mark").is_visible()
        page.locator(".keys [data-open=note]").click()
        assert page.locator("#sheet-note textarea").input_value() == "half a thought"


def test_an_entry_waits_on_the_tablet_while_the_server_is_away_and_goes_by_itself(
    ward: tuple[str, Any], browser: Any
) -> None:
    address, app = ward
    before = len(entries(app))
    with opened(browser, **TABLET) as page:
        page.goto(f"{address}/record/24-0117")
        page.evaluate(AWAY)
        page.locator(".keys [data-open=note]").click()
        page.locator("#sheet-note textarea").fill("written while it was away")
        page.locator("#sheet-note [data-save]").click()
        page.locator("#outbox").wait_for(state="visible")
        assert "waits on this tablet" in page.locator("#outbox").inner_text()
        assert len(entries(app)) == before
        page.reload()
        page.locator("#outbox").wait_for(state="hidden")
    assert [one.words for one in entries(app)[before:]] == ["written while it was away"]


def test_a_slip_is_told_in_the_sheet_and_what_was_typed_stays(
    ward: tuple[str, Any], browser: Any
) -> None:
    with opened(browser, **TABLET) as page:
        page.goto(f"{ward[0]}/record/24-0117")
        page.locator(".keys [data-open=vitals]").click()
        page.locator("#vitals-temperature_c").fill("378")
        page.locator("#sheet-vitals [data-save]").click()
        note = page.locator("#sheet-vitals .problem-note")
        note.wait_for(state="visible")
        assert "cannot be right" in note.inner_text()
        assert page.locator("#vitals-temperature_c").input_value() == "378"
        page.locator("#sheet-vitals [data-empty]").click()


def test_a_review_takes_a_touch_on_agree_and_one_on_save(
    ward: tuple[str, Any], browser: Any
) -> None:
    address, app = ward
    with opened(browser, **TABLET) as page:
        page.goto(f"{address}/record/24-0117")
        page.evaluate(HAND)
        page.locator(".thumb [data-open=review]").tap()
        page.locator("#sheet-review .verdict .chip").first.tap()
        page.locator("#sheet-review [data-save]").tap()
        page.locator("#timeline .fresh").wait_for()
        assert page.evaluate("window.hand") == {"touches": 3, "keys": 0}
    assert entries(app)[-1].body.review == "trace" and entries(app)[-1].body.agrees


def test_the_review_of_the_whole_asks_who_read_too(ward: tuple[str, Any], browser: Any) -> None:
    address, app = ward
    with opened(browser, **TABLET) as page:
        page.goto(f"{address}/record/24-0117")
        page.locator(".thumb [data-open=review]").tap()
        sheet = page.locator("#sheet-review")
        sheet.locator("[data-field=review] .chip").nth(1).tap()
        sheet.locator(".verdict .chip").first.tap()
        sheet.locator("[data-save]").tap()
        assert "second reader" in sheet.locator(".problem-note").inner_text()
        sheet.locator("[name=second_reader]").fill("Noor")
        sheet.locator("[data-save]").tap()
        page.locator("#timeline .fresh").wait_for()
    assert entries(app)[-1].body.second_reader == "Noor"


def test_a_correction_is_filled_with_what_it_corrects_and_strikes_it_through(
    ward: tuple[str, Any], browser: Any
) -> None:
    address, app = ward
    number = next(one.number for one in entries(app) if one.kind == "vitals")
    with opened(browser, **TABLET) as page:
        page.goto(f"{address}/record/24-0117")
        page.locator(f"[data-correct='{number}']").click()
        field = page.locator("#vitals-temperature_c")
        field.wait_for(state="visible")
        assert field.input_value() == "38.3"
        field.fill("37.3")
        page.locator("#sheet-vitals [data-save]").click()
        page.locator(f"#entry-{number}.gone").wait_for()
    new, old = entries(app)[-1], entries(app)[number - 1]
    assert new.corrects == number and new.body.temperature_c == 37.3 and new.body.pulse_bpm == 96
    assert abs((new.at - old.at).total_seconds()) < 61


def test_who_was_awaited_is_written_as_come_from_the_first_block(
    ward: tuple[str, Any], browser: Any
) -> None:
    address, app = ward
    with opened(browser, **TABLET) as page:
        page.goto(f"{address}/record/24-0117")
        page.locator(".dangers [data-open=came]").tap()
        page.locator("#sheet-came [data-save]").tap()
        page.locator("#timeline .fresh").wait_for()
        assert page.locator(".dangers [data-open=came]").count() == 0
    assert entries(app)[-1].body.who == "registrar"


def test_tapping_along_gives_the_rate_that_is_saved(ward: tuple[str, Any], browser: Any) -> None:
    """Taps made by script at 140 a minute over a minute; the clock of the page is set ahead."""
    address, app = ward
    with opened(browser, **PHONE) as page:
        page.goto(f"{address}/record/24-0117/listen")
        early = page.evaluate(
            """() => {
              const real = Date.now; let t = real(); let early = "";
              Date.now = () => t;
              const pad = document.getElementById("pad");
              const down = new PointerEvent("pointerdown", {bubbles: true});
              const touch = () => pad.dispatchEvent(down);
              for (let n = 0; n < 160; n++) {
                t += 60000 / 140; touch();
                if (n === 5) early = document.getElementById("phases").children[0].innerText;
                if (n === 40) document.getElementById("begins").click();
                if (n === 80) document.getElementById("ends").click();
              }
              return early;
            }"""
        )
        assert "–" in early and "too short yet" in early, "no rate stands there that is not saved"
        assert "140" in page.locator("#live").inner_text()
        page.locator("#pulse").fill("82")
        page.locator("#heard .chip", has_text="no").first.click()
        page.locator("#heard .main-action").click()
        page.wait_for_url("**/record/24-0117#entry-*")
    body = entries(app)[-1].body
    assert {round(body.before_bpm), round(body.during_bpm), round(body.after_bpm)} == {140}
    assert body.maternal_pulse_bpm == 82 and body.falls is False


def test_an_edited_handover_survives_the_page_and_is_given(
    ward: tuple[str, Any], browser: Any
) -> None:
    address, app = ward
    with opened(browser, **TABLET) as page:
        page.goto(f"{address}/record/24-0117/handover")
        page.locator("[name=recommendation]").fill("examine at six")
        page.reload()
        assert page.locator("[name=recommendation]").input_value() == "examine at six"
        page.locator("#give-now").click()
        assert "to whom" in page.locator("#give .problem-note").inner_text()
        page.locator("[name=to]").fill("Noor")
        page.locator("#give-now").click()
        page.locator("#given").wait_for(state="visible")
    assert entries(app)[-1].body.recommendation == "examine at six"


def test_risk_factors_are_touched_not_typed_and_raise_the_risk(
    ward: tuple[str, Any], browser: Any
) -> None:
    address, app = ward
    with opened(browser, **TABLET) as page:
        page.goto(f"{address}/record/24-0117")
        page.locator(".keys [data-open=labour]").tap()
        for words in ("Diabetes of the mother", "Epidural"):
            page.locator("#sheet-labour .chip", has_text=words).tap()
        page.locator("#sheet-labour [data-save]").tap()
        page.locator("#timeline .fresh").wait_for()
    assert entries(app)[-1].body.risk_factors == ("diabetes", "epidural")
