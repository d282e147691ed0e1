"""The pages in a real browser: opened, read, marked, corrected, examined, reported."""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import pytest

from ebbline.web.recordings.demo_cases import invented_recording
from ebbline.web.settings import Settings
from shared_data import CTU_UHB, needs_ctu_uhb
from web.browser import chromium, grave, needs_chromium, opened, served, until, until_still
from web.visitor import PASSWORD

pytestmark = [pytest.mark.browser, needs_chromium]

WIDE = {"width": 1280, "height": 900}
TABLET = {"width": 820, "height": 1180}
CASES = ("late", "quiet-first-stage", "poor-signal", "long-labour")


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Any, dict[str, str]]]:
    """A workbench with some invented recordings: address, browser, key of each case."""
    store = tmp_path_factory.mktemp("bench") / "workbench.sqlite"
    with served(Settings(store=store)) as (address, app), chromium() as browser:
        keys = {
            case: app.state.library.add(invented_recording(case), by="someone", invented=True).id
            for case in CASES
        }
        yield address, browser, keys


@pytest.fixture
def fresh(bench: tuple[str, Any, dict[str, str]]) -> Iterator[tuple[str, Any, str]]:
    """A page, and a recording that nobody has written on yet."""
    address, browser, _ = bench
    with opened(browser, viewport=WIDE) as page:
        page.goto(address)
        page.click('[data-case="late"]')
        strip_ready(page)
        yield address, page, page.url.split("?")[0].rsplit("/", 1)[1]


def script(name: str) -> str:
    """A check that runs inside the page."""
    return Path(__file__).with_name(name).read_text()


def strip_ready(page: Any) -> None:
    page.wait_for_selector("#strip:not([aria-busy]) canvas")
    page.wait_for_selector("#panel h3", state="attached")
    until(page, "document.getElementById('strip').strip.visibleItems().length >= 0")
    settle(page)


def settle(page: Any) -> None:
    """Wait until the strip stands still."""
    until(
        page,
        "(() => { const s = document.getElementById('strip').strip;"
        " return !s.target && !s.glide && !s.pending; })()",
    )


def at(page: Any, seconds: float, lane: str = "heart", height: float = 0.5) -> tuple[float, float]:
    """Where on the screen a time lies in a lane of the strip."""
    box = page.locator("#strip canvas").first.bounding_box()
    x, y = page.evaluate(
        "([t, lane, part]) => { const s = document.getElementById('strip').strip;"
        " const l = s.lanes[lane];"
        " return [s.gutter + (t - s.t0) / s.spp, l.top + l.height * part]; }",
        [seconds, lane, height],
    )
    return box["x"] + x, box["y"] + y


def show(page: Any, start: float, end: float) -> None:
    page.evaluate("([a, b]) => document.getElementById('strip').strip.reach(a, b)", [start, end])
    settle(page)


def drag(page: Any, start: tuple[float, float], end: tuple[float, float]) -> None:
    page.mouse.move(*start)
    page.mouse.down()
    page.mouse.move((start[0] + end[0]) / 2, (start[1] + end[1]) / 2, steps=3)
    page.mouse.move(*end, steps=3)
    page.mouse.up()


def items(page: Any, layer: str) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = page.evaluate(
        "(layer) => document.getElementById('strip').strip.items.filter((i) => i.layer === layer)",
        layer,
    )
    return found


# -- opening --------------------------------------------------------------------------------------


def test_an_invented_case_is_one_click_away(fresh: tuple[str, Any, str]) -> None:
    _, page, _ = fresh
    assert page.locator("h1").inner_text() == "Falls after each contraction"
    assert "Category I" in page.locator("#class-bar").inner_text()


@needs_ctu_uhb
def test_a_real_recording_is_chosen_and_drawn(bench: tuple[str, Any, dict[str, str]]) -> None:
    address, browser, _ = bench
    with opened(browser, viewport=WIDE) as page:
        page.goto(address)
        page.set_input_files("#files", [str(CTU_UHB / "1001.hea"), str(CTU_UHB / "1001.dat")])
        page.wait_for_url("**/recordings/*")
        strip_ready(page)
        drawn = page.evaluate(
            "(() => { const s = document.getElementById('strip').strip;"
            " return [s.duration, s.traces.map((t) => [t.kind, t.samples.length])]; })()"
        )
        assert drawn == [4800, [["heart", 19200], ["uterine", 19200]]]


def test_a_dropped_file_that_is_none_is_refused_in_words(
    bench: tuple[str, Any, dict[str, str]],
) -> None:
    address, browser, _ = bench
    with opened(browser, viewport=WIDE) as page:
        page.goto(address)
        page.evaluate(
            "() => { const t = new DataTransfer(); t.items.add(new File(['nothing'], 'note.csv'));"
            " dispatchEvent(new DragEvent('drop', { dataTransfer: t, cancelable: true })); }"
        )
        words = page.wait_for_selector('.toast[role="alert"]').inner_text()
        assert "note.csv" in words
        assert "Traceback" not in words


def test_the_list_is_searched_and_an_entry_removed_after_asking(
    bench: tuple[str, Any, dict[str, str]],
) -> None:
    address, browser, _ = bench
    with opened(browser, viewport=WIDE) as page:
        page.goto(address)
        page.click('[data-case="sinusoidal"]')
        strip_ready(page)
        page.goto(address)
        page.fill('input[type="search"]', "smooth wave")
        page.click('form[role="search"] button')
        rows = page.locator("table.recordings tbody tr")
        # A first attempt that ran out of time may have left one of the same name.
        found = rows.count()
        assert found and all("smooth wave" in text.lower() for text in rows.all_inner_texts())
        page.click("[data-remove]")
        assert rows.count() == found
        page.click("[data-remove]")
        rows.nth(found - 1).wait_for(state="detached")


# -- the strip ------------------------------------------------------------------------------------


def test_paper_is_at_true_scale_once_the_screen_is_measured(fresh: tuple[str, Any, str]) -> None:
    _, page, _ = fresh
    page.set_viewport_size({"width": 1280, "height": 1200})
    page.click('[data-act="calibrate"]')
    page.evaluate(
        "() => { const s = document.querySelector('dialog input[type=range]'); s.value = 50;"
        " s.dispatchEvent(new Event('input')); }"
    )
    assert page.locator(".card-bar").bounding_box()["width"] == pytest.approx(8.56 * 50, abs=1)
    page.click("dialog .main-action")
    for speed in (1, 2, 3):
        page.click(f'[data-speed="{speed}"]')
        settle(page)
        scale = page.evaluate(
            "(() => { const s = document.getElementById('strip').strip; const l = s.lanes.heart;"
            " return [60 / s.spp, l.height / (l.most - l.least)]; })()"
        )
        per_cm = 30 if speed == 3 else 20
        assert scale[0] == pytest.approx(50 * speed, rel=1e-3)
        assert scale[1] == pytest.approx(50 / per_cm, rel=1e-2)
        assert "true scale" in page.inner_text("#scale-words")


def test_zoom_reaches_from_a_day_to_a_minute(bench: tuple[str, Any, dict[str, str]]) -> None:
    address, browser, keys = bench
    with opened(browser, viewport=WIDE) as page:
        page.goto(f"{address}/recordings/{keys['long-labour']}")
        strip_ready(page)
        page.click('[data-act="all"]')
        settle(page)
        shown = page.evaluate("document.getElementById('strip').strip.shown")
        assert shown["end_s"] - shown["start_s"] >= 86400
        page.evaluate("document.getElementById('strip').strip.zoom(1e-6)")
        settle(page)
        shown = page.evaluate("document.getElementById('strip').strip.shown")
        assert shown["end_s"] - shown["start_s"] == pytest.approx(60, rel=1e-3)


def test_zooming_out_never_hides_an_extreme(bench: tuple[str, Any, dict[str, str]]) -> None:
    """Every stretch of the pyramid holds the extremes that a plain search finds in it."""
    address, browser, _ = bench
    with opened(browser, viewport=WIDE) as page:
        page.goto(address)
        wrong = page.evaluate(script("extremes.js"))
        assert wrong == []


def test_lost_signal_stays_a_gap_at_every_zoom(bench: tuple[str, Any, dict[str, str]]) -> None:
    """No ink of the trace lies in the middle of a long gap, near or far."""
    address, browser, _ = bench
    with opened(browser, viewport=WIDE) as page:
        page.goto(address)
        inked = page.evaluate(script("gaps.js"))
        assert [one for one in inked if one[2] != one[3]] == []


def test_keys_travel_from_finding_to_finding(fresh: tuple[str, Any, str]) -> None:
    _, page, _ = fresh
    page.focus("#strip canvas")
    page.keyboard.press("Home")
    settle(page)
    seen = []
    for _ in range(4):
        page.keyboard.press(".")
        settle(page)
        chosen = page.evaluate("document.getElementById('strip').strip.selected")
        seen.append(chosen)
        assert page.locator("#finding-card h3").is_visible()
    assert len(set(seen)) == 4
    page.keyboard.press(",")
    assert page.evaluate("document.getElementById('strip').strip.selected") == seen[2]
    assert page.inner_text(".strip-pop + p")


def test_hover_tells_two_lines_and_a_tap_tells_all_in_the_rail(
    fresh: tuple[str, Any, str],
) -> None:
    _, page, _ = fresh
    late = next(i for i in items(page, "computed") if i["kind"] == "late")
    show(page, late["start_s"], late["end_s"])
    page.mouse.move(*at(page, late["turn_s"]))
    words = page.wait_for_selector(".strip-pop:not([hidden])").inner_text()
    assert len(words.splitlines()) == 2
    assert "Late deceleration" in words
    assert re.search(r"depth\s+\d+ bpm", words)
    page.mouse.click(*at(page, late["turn_s"]))
    card = page.wait_for_selector("#finding-card:not([hidden])").inner_text()
    assert "NICHD 2008" in card
    assert re.search(r"depth\s+\d+ bpm", card)
    page.focus("#finding-card button")
    page.keyboard.press("Escape")
    page.wait_for_selector("#finding-card", state="hidden")


def test_calipers_measure_time_beats_and_area(fresh: tuple[str, Any, str]) -> None:
    _, page, _ = fresh
    late = next(
        i
        for i in items(page, "computed")
        if i["kind"] == "late" and dict(i["details"])["valid signal"] == "100 %"
    )
    show(page, late["start_s"], late["end_s"])
    page.click('[data-tool="measure"]')
    drag(page, at(page, late["start_s"], height=0.3), at(page, late["end_s"], height=0.6))
    words = page.inner_text("#measure-words")
    measured = int(re.search(r"area (-?\d+) bpm·s", words)[1])
    area = int(dict(late["details"])["area"].split()[0])
    assert measured == pytest.approx(area, rel=0.15)
    assert "below the computed baseline" in words


def test_calipers_work_by_keys_alone(fresh: tuple[str, Any, str]) -> None:
    _, page, _ = fresh
    page.focus("#strip canvas")
    page.keyboard.press("c")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    for _ in range(3):
        page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("Enter")
    assert page.inner_text("#measure-words").startswith("30 s")


def test_fingers_pan_and_pinch(bench: tuple[str, Any, dict[str, str]]) -> None:
    address, browser, keys = bench
    with opened(browser, viewport=TABLET, has_touch=True) as page:
        page.goto(f"{address}/recordings/{keys['late']}")
        strip_ready(page)
        before = page.evaluate("document.getElementById('strip').strip.spp")
        page.evaluate(script("pinch.js"))
        settle(page)
        assert page.evaluate("document.getElementById('strip').strip.spp") == pytest.approx(
            before / 2, rel=0.01
        )


# -- the reading ----------------------------------------------------------------------------------


def test_a_reason_goes_to_its_evidence_on_the_strip(fresh: tuple[str, Any, str]) -> None:
    _, page, _ = fresh
    page.focus("#strip canvas")
    page.keyboard.press("Home")
    settle(page)
    reason = page.locator("button.reason").first
    first = [float(x) for x in reason.get_attribute("data-evidence").split()[0].split(",")]
    reason.click()
    settle(page)
    shown = page.evaluate("document.getElementById('strip').strip.shown")
    assert shown["start_s"] <= first[0] <= shown["end_s"]
    assert page.evaluate("document.getElementById('strip').strip.evidence.length") >= 1


def test_any_window_can_be_read(fresh: tuple[str, Any, str]) -> None:
    _, page, _ = fresh
    page.click('[data-window-choice="all"]')
    page.wait_for_selector('[data-window="0.0,5400.0"]')
    assert "0:00:00 to 1:30:00" in page.inner_text("[data-window]")
    page.evaluate("document.getElementById('strip').strip.goto(600, 1.5, false)")
    settle(page)
    page.click('[data-window-choice="shown"]')
    page.wait_for_selector('[data-window="600.0,1746.0"], [data-window^="600"]')


def test_taking_a_finding_out_makes_the_classes_anew_and_both_readings_stay(
    fresh: tuple[str, Any, str],
) -> None:
    _, page, key = fresh
    computed = items(page, "computed")
    window = page.evaluate("document.getElementById('strip').strip.window")
    falls = [
        i
        for i in computed
        if i["kind"] in ("late", "variable", "prolonged") and window[0] < i["end_s"]
    ]
    assert falls
    for fall in falls:
        show(page, fall["start_s"], fall["end_s"])
        page.mouse.click(*at(page, (fall["start_s"] + fall["end_s"]) / 2, "found"))
        page.click(".strip-actions >> text=Take it out")
        until(
            page,
            "(id) => document.getElementById('strip').strip.items.find((i) => i.id === id).struck",
            arg=fall["id"],
        )
    page.wait_for_selector(".both")
    words = page.inner_text(".both")
    assert "with your corrections" in words
    reading = json.loads(
        page.evaluate(f"fetch('/api/recordings/{key}/reading').then((r) => r.text())")
    )
    count = {
        who: next(s for s in reading[who]["sections"] if s["title"] == "Decelerations")["lines"]
        for who in ("computed", "corrected")
    }
    assert any("Late" in line for line in count["computed"])
    assert not any("Late" in line or "Variable" in line for line in count["corrected"])
    page.click('[data-whose="computed"]')
    page.locator('[data-reading="computed"]').wait_for(state="visible")
    # what the reader chose to see stays chosen when the panel comes anew
    page.evaluate("document.getElementById('panel').querySelector('.both').remove()")
    page.click('[data-window-choice="all"]')
    page.wait_for_selector(".both")
    page.locator('[data-reading="computed"]').wait_for(state="visible")
    assert page.locator('[data-reading="corrected"]').is_hidden()
    page.click("#tab-corrections")
    kept = page.inner_text("#part-corrections")
    assert "reader at this computer" in kept
    page.click("[data-uncorrect] >> nth=0")
    page.wait_for_selector(".history .withdrawn")
    assert "taken back by reader at this computer" in page.inner_text("#part-corrections")


def test_a_deceleration_is_named_otherwise_and_moved(fresh: tuple[str, Any, str]) -> None:
    _, page, _ = fresh
    late = next(i for i in items(page, "computed") if i["kind"] == "late" and i["start_s"] > 60)
    show(page, late["start_s"], late["end_s"])
    page.mouse.click(*at(page, late["turn_s"], "found"))
    page.select_option(".strip-actions select", "variable")
    until(page, "document.getElementById('strip').strip.items.some((i) => i.layer === 'corrected')")
    assert [i["kind"] for i in items(page, "corrected")] == ["variable"]
    page.mouse.click(*at(page, late["turn_s"], "yours"))
    page.click(".strip-actions >> text=Move its ends")
    settle(page)
    drag(page, at(page, late["start_s"] + 5), at(page, late["end_s"] - 5))
    until(
        page,
        "(t) => document.getElementById('strip').strip.items.some((i) => i.layer === 'corrected'"
        " && Math.abs(i.start_s - t) < 2)",
        arg=late["start_s"] + 5,
    )
    moved = items(page, "corrected")[0]
    assert moved["end_s"] == pytest.approx(late["end_s"] - 5, abs=2)


def test_a_finding_that_was_missed_is_added_and_measured(fresh: tuple[str, Any, str]) -> None:
    _, page, _ = fresh
    late = next(i for i in items(page, "computed") if i["kind"] == "late" and i["start_s"] > 60)
    show(page, late["start_s"], late["end_s"])
    page.mouse.click(*at(page, late["turn_s"], "found"))
    page.click(".strip-actions >> text=Take it out")
    until(
        page,
        "(id) => document.getElementById('strip').strip.items.find((i) => i.id === id).struck",
        arg=late["id"],
    )
    page.click('[data-tool="correct"]')
    page.select_option("#mark-kind", "deceleration")
    drag(page, at(page, late["start_s"]), at(page, late["end_s"]))
    until(page, "document.getElementById('strip').strip.items.some((i) => i.layer === 'corrected')")
    added = items(page, "corrected")[0]
    assert added["kind"] == "late"
    assert dict(added["details"])["depth"] == dict(late["details"])["depth"]


def test_what_is_no_finding_is_refused_with_its_numbers(fresh: tuple[str, Any, str]) -> None:
    _, page, _ = fresh
    falls = sorted(
        (i for i in items(page, "computed") if i["plot"] == "heart"), key=lambda i: i["start_s"]
    )
    gap = max(
        ((a["end_s"], b["start_s"]) for a, b in pairwise(falls)),
        key=lambda g: g[1] - g[0],
    )
    show(page, gap[0], gap[1])
    page.click('[data-tool="correct"]')
    page.select_option("#mark-kind", "late")
    middle = (gap[0] + gap[1]) / 2
    drag(page, at(page, middle - 12), at(page, middle + 12))
    words = page.wait_for_selector('.toast[role="alert"]').inner_text()
    assert "the definitions ask for" in words
    assert items(page, "corrected") == []


# -- reading blind --------------------------------------------------------------------------------


def test_reading_blind_hides_all_that_was_computed_and_then_shows_the_differences(
    fresh: tuple[str, Any, str],
) -> None:
    _, page, _ = fresh
    late = next(i for i in items(page, "computed") if i["kind"] == "late" and i["start_s"] > 3600)
    page.click('[data-act="blind"]')
    page.wait_for_selector(".blind-panel")
    assert items(page, "computed") == []
    assert page.evaluate("document.getElementById('strip').strip.curve") is None
    panel = page.inner_text("#panel")
    assert "Category" not in panel
    assert "late" not in panel.lower().replace("related", "")
    show(page, late["start_s"], late["end_s"])
    page.click('[data-tool="mark"]')
    page.select_option("#mark-kind", "variable")
    drag(page, at(page, late["start_s"] + 3), at(page, late["end_s"] - 3))
    page.wait_for_selector(".marks li >> text=Variable deceleration")
    page.select_option("#mark-kind", "baseline")
    drag(page, at(page, late["start_s"] - 60, height=0.4), at(page, late["end_s"] + 60, height=0.4))
    page.wait_for_selector(".marks li >> text=Baseline")
    page.click("[data-reveal]")
    page.wait_for_selector("#tab-marks")
    page.click("#tab-marks")
    told = page.inner_text(".differences")
    assert "You: variable. Computed: late" in told
    assert "other kind" in told
    assert "only computed" in told
    assert "Baseline: you" in told
    assert len(items(page, "computed")) > 0


def test_a_note_is_kept_beside_the_findings_and_taken_back(fresh: tuple[str, Any, str]) -> None:
    _, page, _ = fresh
    page.click("#tab-marks")
    page.fill("#note-form textarea", "Turned onto her left side <b>here</b>")
    page.click("#note-form button")
    page.wait_for_selector(".marks li >> text=Turned onto her left side <b>here</b>")
    page.click("[data-unmark]")
    page.wait_for_selector("[data-unmark]", state="detached")


def test_what_is_known_of_the_labour_changes_the_reading(fresh: tuple[str, Any, str]) -> None:
    _, page, key = fresh
    page.click("#tab-labour")
    page.fill('#labour-form [name="weeks"]', "30")
    page.click("#labour-form .main-action")
    page.wait_for_selector(".toast >> text=read again")
    context = page.evaluate(f"fetch('/api/recordings/{key}').then((r) => r.json())")["context"]
    assert context["weeks"] == 30


# -- the report -----------------------------------------------------------------------------------


def test_the_report_is_looked_at_and_fetched(bench: tuple[str, Any, dict[str, str]]) -> None:
    address, browser, keys = bench
    with opened(browser, viewport=WIDE) as page:
        page.goto(f"{address}/recordings/{keys['late']}/report")
        until(
            page,
            "document.querySelector('#sheets img')?.complete &&"
            " document.querySelector('#sheets img').naturalWidth > 300",
        )
        page.check('input[name="window"][value="own"]')
        page.fill('input[name="from_min"]', "30")
        page.fill('input[name="to_min"]', "50")
        page.dispatch_event('input[name="to_min"]', "change")
        with page.expect_download() as got:
            page.click("#pdf")
        content = Path(got.value.path()).read_bytes()
        assert content.startswith(b"%PDF")
        with page.expect_download() as got:
            page.click("#fhir")
        assert json.loads(Path(got.value.path()).read_text())["resourceType"] == "Bundle"


@needs_ctu_uhb
@pytest.mark.parametrize("number", ["1007", "1043", "1501"])
def test_a_real_recording_goes_through_every_page(
    bench: tuple[str, Any, dict[str, str]], number: str
) -> None:
    address, browser, _ = bench
    with opened(browser, viewport=WIDE) as page:
        page.goto(address)
        page.set_input_files("#files", [str(CTU_UHB / f"{number}{s}") for s in (".hea", ".dat")])
        page.wait_for_url("**/recordings/*")
        strip_ready(page)
        key = page.url.split("?")[0].rsplit("/", 1)[1]
        if page.locator("button.reason").count():
            page.locator("button.reason").first.click()
            settle(page)
            evidence = page.evaluate("document.getElementById('strip').strip.evidence")
            shown = page.evaluate("document.getElementById('strip').strip.shown")
            assert any(
                w["end_s"] >= shown["start_s"] and w["start_s"] <= shown["end_s"] for w in evidence
            )
        page.click('[data-act="blind"]')
        page.wait_for_selector(".blind-panel")
        assert items(page, "computed") == []
        page.click('[data-tool="mark"]')
        page.select_option("#mark-kind", "contraction")
        shown = page.evaluate("document.getElementById('strip').strip.shown")
        middle = (shown["start_s"] + shown["end_s"]) / 2
        drag(page, at(page, middle - 40, "uterine"), at(page, middle + 40, "uterine"))
        page.wait_for_selector(".marks li >> text=Contraction")
        page.click("[data-reveal]")
        page.wait_for_selector("#class-bar .class-chip")
        page.goto(f"{address}/recordings/{key}/examination")
        page.wait_for_selector("#outcome >> text=With this recording")
        page.goto(f"{address}/recordings/{key}/report")
        page.wait_for_selector("#sheets img")
        with page.expect_download() as got:
            page.click("#pdf")
        assert Path(got.value.path()).read_bytes().startswith(b"%PDF")


# -- for everyone ---------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("scheme", "size"), [("light", WIDE), ("dark", TABLET)], ids=["light-wide", "dark-tablet"]
)
def test_no_page_has_a_serious_barrier(
    bench: tuple[str, Any, dict[str, str]], scheme: str, size: dict[str, int]
) -> None:
    """Each scheme and each size once: colours do not depend on the size, nor places on colours."""
    address, browser, keys = bench
    late = keys["late"]
    paths = {
        "/": "h1",
        f"/recordings/{late}": "#panel h3",
        f"/recordings/{late}/examination": "#outcome h3",
        f"/recordings/{late}/report": "#sheets img",
        "/account": "h1",
        "/help": "h1",
        "/nowhere": "h1",
    }
    with opened(browser, viewport=size, color_scheme=scheme, reduced_motion="reduce") as page:
        for path, ready in paths.items():
            page.goto(f"{address}{path}")
            page.wait_for_selector(ready)
            assert grave(page) == [], path
        page.goto(f"{address}/recordings/{late}")
        page.wait_for_selector("#panel h3")
        for tab in ("marks", "corrections", "labour"):
            page.click(f"#tab-{tab}")
            assert grave(page) == [], tab
        page.click('[data-act="blind"]')
        page.wait_for_selector(".blind-panel")
        assert grave(page) == []
        page.click("[data-reveal]")
        page.wait_for_selector("#tab-marks")


@pytest.mark.parametrize("width", [320, 390, 810, 1280, 1920])
def test_no_page_is_wider_than_the_screen(
    bench: tuple[str, Any, dict[str, str]], width: int
) -> None:
    address, browser, keys = bench
    late = keys["late"]
    with opened(browser, viewport={"width": width, "height": 900}) as page:
        for path in ("/", f"/recordings/{late}", "/examination", f"/recordings/{late}/report"):
            page.goto(f"{address}{path}")
            until_still(page)
            over = page.evaluate("document.documentElement.scrollWidth - innerWidth")
            assert over <= 0, path


def test_the_look_is_kept(bench: tuple[str, Any, dict[str, str]]) -> None:
    address, browser, _ = bench
    with opened(browser, viewport=WIDE, color_scheme="light") as page:
        page.goto(address)
        page.click("[data-theme-switch]")
        page.wait_for_selector('html[data-theme="dark"]')
        page.goto(f"{address}/examination")
        assert page.get_attribute("html", "data-theme") == "dark"


# -- one screen, one address, nothing lost --------------------------------------------------------

SCREENS = [(1280, 800), (1920, 1080), (810, 1080), (390, 844)]


@pytest.mark.parametrize(("width", "height"), SCREENS)
def test_strip_axes_columns_classes_and_measure_fit_on_one_screen(
    bench: tuple[str, Any, dict[str, str]], width: int, height: int
) -> None:
    address, browser, keys = bench
    with opened(browser, viewport={"width": width, "height": height}) as page:
        page.goto(f"{address}/recordings/{keys['late']}")
        strip_ready(page)
        tops = page.evaluate(
            "() => Object.fromEntries("
            "['#class-bar', '#strip', '.strip-foot', '#tools'].map((one) => {"
            " const b = document.querySelector(one).getBoundingClientRect();"
            " return [one, [b.top, b.bottom, b.left, b.right]]; }))"
        )
        for name, (top, bottom, left, right) in tops.items():
            assert top >= 0, name
            assert bottom <= height + 1, name
            assert left >= -1, name
            assert right <= width + 1, name
        inside = page.evaluate(
            "() => { const s = document.getElementById('strip').strip; const l = s.lanes;"
            " return [l.time.top + l.time.height, s.root.clientHeight, l.heart.height]; }"
        )
        assert inside[0] <= inside[1] + 1, "the time axis is inside the strip's place"
        assert inside[2] >= 120


def test_letters_on_the_strip_are_16_pixels_and_more(fresh: tuple[str, Any, str]) -> None:
    _, page, _ = fresh
    sizes = page.evaluate(
        "() => { const seen = new Set(); const own = CanvasRenderingContext2D.prototype.fillText;"
        " CanvasRenderingContext2D.prototype.fillText = function (...a) {"
        " seen.add(parseFloat(/([\\d.]+)px/.exec(this.font)[1])); return own.apply(this, a); };"
        " document.getElementById('strip').strip.paint();"
        " CanvasRenderingContext2D.prototype.fillText = own; return [...seen]; }"
    )
    assert sizes
    assert min(sizes) >= 16


def test_every_state_is_an_address(fresh: tuple[str, Any, str]) -> None:
    _, page, key = fresh
    late = next(i for i in items(page, "computed") if i["kind"] == "late")
    page.evaluate(
        "(id) => document.getElementById('strip').strip.select(id, { travel: true })", late["id"]
    )
    settle(page)
    page.click("#tab-labour")
    page.click('[data-window-choice="all"]')
    page.wait_for_selector('[data-window="0.0,5400.0"]')
    settle(page)
    shown = page.evaluate("document.getElementById('strip').strip.shown")
    link = page.url
    page.reload()
    strip_ready(page)
    again = page.evaluate("document.getElementById('strip').strip.shown")
    assert again["start_s"] == pytest.approx(shown["start_s"], abs=2)
    assert page.evaluate("document.getElementById('strip').strip.selected") == late["id"]
    assert page.locator("#part-labour").is_visible()
    assert page.get_attribute("[data-window]", "data-window") == "0.0,5400.0"
    page.go_back()
    page.wait_for_selector('[data-window="3600.0,5400.0"]', state="attached")
    page.goto(link)
    strip_ready(page)
    assert page.evaluate("document.getElementById('strip').strip.selected") == late["id"]
    assert f"/recordings/{key}" in link


def test_a_step_is_undone_and_made_again_by_keys(fresh: tuple[str, Any, str]) -> None:
    _, page, _ = fresh
    late = next(i for i in items(page, "computed") if i["kind"] == "late")
    show(page, late["start_s"], late["end_s"])
    page.click('[data-tool="mark"]')
    page.select_option("#mark-kind", "late")
    drag(page, at(page, late["start_s"]), at(page, late["end_s"]))
    many = "(n) => document.getElementById('strip').strip.items"
    many += ".filter((i) => i.layer === 'own').length === n"
    until(page, many, arg=1)
    until(page, "!document.querySelector('[data-act=undo]').disabled")
    page.keyboard.press("Control+z")
    until(page, many, arg=0)
    until(page, "!document.querySelector('[data-act=redo]').disabled")
    page.keyboard.press("Control+Shift+Z")
    until(page, many, arg=1)


def test_what_was_typed_outlives_a_reload_and_leaving_asks(fresh: tuple[str, Any, str]) -> None:
    _, page, _ = fresh
    page.click("#tab-marks")
    page.fill("#note-form textarea", "half a thought")
    asked = []
    page.on("dialog", lambda box: (asked.append(box.type), box.accept()))
    page.reload()
    strip_ready(page)
    assert asked == ["beforeunload"]
    assert page.input_value("#note-form textarea") == "half a thought"
    page.click("#note-form button")
    page.wait_for_selector(".marks li >> text=half a thought")
    page.reload()
    strip_ready(page)
    assert page.input_value("#note-form textarea") == ""
    assert asked == ["beforeunload"]


def test_two_open_pages_see_each_others_marks(
    bench: tuple[str, Any, dict[str, str]], fresh: tuple[str, Any, str]
) -> None:
    address, page, key = fresh
    _, browser, _ = bench
    with opened(browser, viewport=WIDE) as other:
        other.goto(f"{address}/recordings/{key}")
        strip_ready(other)
        until(other, "'heard' in document.documentElement.dataset")
        page.click("#tab-marks")
        page.fill("#note-form textarea", "seen by both")
        page.click("#note-form button")
        page.wait_for_selector(".marks li >> text=seen by both")
        until(other, "document.getElementById('strip').strip.items.some((i) => i.layer === 'own')")
        assert [i["note"] for i in items(other, "own")] == ["seen by both"]


def test_a_stale_save_shows_both_values(fresh: tuple[str, Any, str]) -> None:
    _, page, key = fresh
    page.click("#tab-labour")
    page.fill('#labour-form [name="weeks"]', "37")
    said = {"version": 0, "weeks": 41}
    page.evaluate(
        "([key, said]) => fetch(`/api/recordings/${key}/context`, { method: 'PUT',"
        " headers: { 'content-type': 'application/json', 'x-csrf-token':"
        " document.querySelector('meta[name=csrf-token]').content },"
        " body: JSON.stringify(said) })",
        [key, said],
    )
    # The page hears of it and asks anew; what was typed stays. Then as if it had not heard yet.
    page.wait_for_selector('#labour-form[data-version="1"]', state="attached")
    page.evaluate("document.getElementById('labour-form').dataset.version = 0")
    page.click("#labour-form .main-action")
    words = page.wait_for_selector("dialog[open]").inner_text()
    assert "37" in words
    assert "41" in words
    page.click("dialog >> text=Keep mine instead")
    page.wait_for_selector(".toast >> text=read again")
    context = page.evaluate(f"fetch('/api/recordings/{key}').then((r) => r.json())")["context"]
    assert context["weeks"] == 37


def test_the_guide_ends_on_the_first_reasons_evidence(
    bench: tuple[str, Any, dict[str, str]],
) -> None:
    address, browser, _ = bench
    with opened(browser, viewport=WIDE) as page:
        page.goto(address)
        page.click("[data-guide]")
        page.wait_for_selector("#guide")
        strip_ready(page)
        for step in range(1, 5):
            assert f"Step {step} of 5" in page.inner_text("#guide")
            page.click("#guide >> text=Next")
        page.click("#guide >> text=Show the evidence")
        settle(page)
        assert page.evaluate("document.getElementById('strip').strip.evidence.length") >= 1
        assert page.locator("#guide").count() == 0


def test_on_a_phone_findings_are_swiped_and_tools_lie_at_the_bottom(
    bench: tuple[str, Any, dict[str, str]],
) -> None:
    address, browser, keys = bench
    with opened(browser, viewport={"width": 390, "height": 844}, has_touch=True) as page:
        page.goto(f"{address}/recordings/{keys['late']}")
        strip_ready(page)
        assert page.locator("#tools").bounding_box()["y"] > 760
        entry = page.locator("#swipe button").nth(1)
        entry.scroll_into_view_if_needed()
        entry.tap()
        settle(page)
        assert page.evaluate("document.getElementById('strip').strip.selected") is not None
        assert page.locator('#swipe [aria-current="true"]').count() == 1


def test_a_sign_in_that_ended_is_renewed_in_place_and_the_note_is_kept(
    tmp_path: Path, staffed: Path
) -> None:
    from sqlalchemy import delete

    from ebbline.web.auth.models import SignIn

    store = tmp_path / "workbench.sqlite"
    store.write_bytes(staffed.read_bytes())
    with (
        served(Settings(store=store, accounts=True)) as (address, app),
        chromium() as browser,
        opened(browser, viewport=WIDE) as page,
    ):
        key = app.state.library.add(invented_recording("prolonged"), by="x", invented=True).id
        page.goto(f"{address}/recordings/{key}")
        page.fill('[name="name"]', "reader one")
        page.fill('[name="password"]', PASSWORD)
        page.click("main button")
        strip_ready(page)
        page.click("#tab-marks")
        page.fill("#note-form textarea", "typed before the sign-in ended")
        with app.state.store.session() as session:
            session.execute(delete(SignIn))
        page.click("#note-form button")
        page.wait_for_selector("dialog[open]")
        assert page.input_value('dialog [name="name"]') == "reader one"
        page.fill('dialog [name="password"]', PASSWORD)
        page.click("dialog .main-action")
        page.wait_for_selector(".marks li >> text=typed before the sign-in ended")
        assert page.url.split("?")[0] == f"{address}/recordings/{key}"
