"""The live pages as somebody at a bed or at a wall sees them."""

from __future__ import annotations

import time
from collections.abc import Iterator
from types import SimpleNamespace
from typing import Any

import pytest

from ebbline.live.bed_reader import compiled
from ebbline.live.replay import invented
from ebbline.web.live import service
from ebbline.web.settings import Settings
from web.browser import chromium, grave, needs_chromium, opened, served

pytestmark = [pytest.mark.browser, needs_chromium]
TABLET = {"viewport": {"width": 810, "height": 1080}, "has_touch": True}


@pytest.fixture(scope="module")
def browser() -> Iterator[Any]:
    with chromium() as one:
        yield one


@pytest.fixture(scope="module")
def ward(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Any]]:
    """A workbench without a bed; its record has a case with a review long overdue."""
    # A computer that has compiled nothing yet would spend a page's patience on that.
    compiled()
    invented(1).take(0.0, 60.0)
    with served(Settings(store=tmp_path_factory.mktemp("ward") / "w.sqlite")) as (address, app):
        app.state.records.journal.open_case("24-0117", "4", author="Kim")
        yield address, app


def test_a_bed_is_begun_seen_on_the_board_and_read_and_nothing_old_is_called_now(
    ward: tuple[str, Any], browser: Any, monkeypatch: pytest.MonkeyPatch
) -> None:
    address, app = ward
    with opened(browser, **TABLET) as page:
        page.goto(f"{address}/live")
        page.locator("#demo [name=beds]").select_option("1")
        # In true time: at 60 times it a loaded computer may truly fall a minute behind.
        page.locator("#demo [name=speed]").select_option("1")
        page.locator("#demo button").tap()
        tile = page.locator(".bed-tile")
        tile.locator(".tile-rate").wait_for()
        told = tile.inner_text()
        assert any(words in told for words in ("last minute", "in the last 5 s", "fell")), told
        assert "Bed 4" in page.locator("#reviews").inner_text(), "reviews ahead, of all beds"
        assert grave(page) == []
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")

        tile.tap()
        page.get_by_text("Right now", exact=True).wait_for()
        assert page.locator("#lines dt").nth(1).inner_text() == "Right now"
        assert page.locator("#stale").is_hidden()
        assert grave(page) == []

        # The reading stops, and two minutes pass.
        for bed in app.state.live._unit.beds.values():
            bed.advance = lambda _: None
        later = SimpleNamespace(monotonic=lambda: time.monotonic() + 120.0)
        monkeypatch.setattr(service, "time", later)
        page.locator("#stale").wait_for(state="visible")
        page.get_by_text("not now").wait_for()
        assert "behind the trace" in page.locator("#stale").inner_text()
        assert page.locator("#numbers .big-rate").inner_text().startswith("–")
        assert page.locator("#lines .sign-reassuring").count() == 0
        assert page.locator("#numbers").get_attribute("data-level") != "reassuring"
        # A replay that has stopped is not called now either.
        assert page.evaluate(
            """async () => {
              const { old } = await import('/static/live/words.js');
              const told = (s) => new Date(Date.now() - 1000 * s).toISOString();
              const state = { at_s: 9, trace_s: 9, by_trace: true };
              return [0, 200].map((s) => old({ ...state, told_at: told(s) }));
            }"""
        ) == ["", "Nothing has come for 3 min: the replay is over or has stopped."]


def test_ten_beds_stand_on_one_screen_without_scrolling(
    ward: tuple[str, Any], browser: Any
) -> None:
    address, _ = ward
    with opened(browser, viewport={"width": 1280, "height": 800}) as page:
        page.goto(f"{address}/live")
        page.evaluate(
            """async () => {
              const { send } = await import('/static/api.js');
              const open = document.querySelectorAll('.bed-tile').length;
              for (let n = open; n < 10; n += 1) {
                const given = { bed: `${n + 11}`, case: `T-${n + 11}`, weeks: null };
                await send('POST', '/api/live/beds', given);
              }
            }"""
        )
        page.reload()
        page.locator(".bed-tile").nth(9).wait_for()
        assert page.locator(".bed-tile").count() == 10
        board = page.locator("#board").bounding_box()
        assert board is not None and board["y"] + board["height"] <= 800
        assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")
