"""A whole case in a real browser, by keyboard and by pointer; axe; every page looked at whole."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import numpy as np
import pytest

from ebbline.synth.scenario_parts import Point
from ebbline.teach.encounter import Encounter
from ebbline.teach.library import shipped_case
from ebbline.teach.steps import PlaceContractionSensor, PlaceHeartSensor, Wait
from ebbline.teach.variants import begin_case
from ebbline.teach.what_was_true import reading_truth
from ebbline.web.settings import Settings
from ebbline.web.teaching.schemas import EarOut
from ebbline.web.teaching.touch_and_sound import ear
from web.browser import chromium, grave, needs_chromium, opened, served, until, until_still

pytestmark = [pytest.mark.browser, needs_chromium]

CASE = "a-whole-evening-shift"
WIDE = {"width": 1280, "height": 900}
TABLET = {"width": 820, "height": 1180}


@pytest.fixture(scope="module")
def school(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, Any, Any]]:
    """Address, application and browser of a workbench."""
    store = tmp_path_factory.mktemp("school") / "s.sqlite"
    with served(Settings(store=store)) as (address, app), chromium() as browser:
        yield address, app, browser


def begin(page: Any, address: str, case: str = CASE) -> None:
    """Begin a case as it was written."""
    page.goto(f"{address}/teach")
    page.evaluate(
        """name => {
          const form = [...document.querySelectorAll('form[action="/teach/begin"]')]
            .find(one => one.elements.case.value === name);
          form.append(Object.assign(document.createElement('input'),
            {type: 'hidden', name: 'variant', value: '0'}));
          form.submit();
        }""",
        case,
    )
    page.wait_for_url("**/teach/attempts/*")
    page.get_by_role("button", name="Begin", exact=True).wait_for()
    said(page, "Nothing yet.")


def said(page: Any, words: str) -> None:
    """Wait until the latest outcome holds these words."""
    until(page, "(words) => document.getElementById('latest').innerText.includes(words)", words)


def laid_truth() -> tuple[Encounter, Any]:
    """The same case with the sensors at the places that the tests use."""
    encounter = begin_case(shipped_case(CASE), 0)
    encounter.take(PlaceHeartSensor(9.0, -6.0))
    encounter.take(PlaceContractionSensor(3.0, 13.0))
    encounter.take(Wait(30))
    return encounter, reading_truth(encounter)


def drawn(page: Any) -> None:
    """Wait until the strip shows thirty minutes."""
    until(
        page,
        "() => { const s = document.getElementById('strip').strip;"
        " return Boolean(s && s.duration >= 1800 && !s.pending && !s.target); }",
    )


def tab_to(page: Any, test: str) -> None:
    """Press Tab until the focused element passes a test in the page (e => ...)."""
    for _ in range(160):
        if page.evaluate(f"() => ({test})(document.activeElement)"):
            return
        page.keyboard.press("Tab")
    raise AssertionError(f"Tab did not reach {test}")


def named(words: str) -> str:
    return (
        "e => (e.getAttribute('aria-label') || e.labels?.[0]?.innerText || e.innerText || '')"
        f".trim().startswith?.({words!r}) || (e.getAttribute('aria-label') || "
        f"e.labels?.[0]?.innerText || e.innerText || '').trim().startsWith({words!r})"
    )


def press(page: Any, words: str) -> None:
    """Reach a control by Tab and press Enter."""
    tab_to(page, named(words))
    page.keyboard.press("Enter")


def choose(page: Any, label: str, option: str) -> None:
    """Reach a list by Tab and type the option's name."""
    tab_to(page, named(label))
    page.keyboard.type(option)
    assert page.evaluate("() => document.activeElement.selectedOptions[0].textContent") == option


def open_tab(page: Any, name: str) -> None:
    """Reach the row of steps by Tab and go to one with the arrow keys."""
    tab_to(page, "e => e.getAttribute('role') === 'tab'")
    for _ in range(8):
        if page.evaluate("() => document.activeElement.textContent") == name:
            return
        page.keyboard.press("ArrowRight")
    raise AssertionError(name)


def test_a_whole_case_is_played_by_keyboard_alone(school: tuple[str, Any, Any]) -> None:
    address, app, browser = school
    _, truth = laid_truth()
    with opened(browser, viewport=WIDE) as page:
        begin(page, address)
        page.evaluate("() => document.activeElement.blur()")

        open_tab(page, "Hands")
        tab_to(page, "e => e.name === 'grip'")
        page.keyboard.press("ArrowRight")  # ask
        page.keyboard.press("ArrowRight")  # first grip
        press(page, "fundus")
        said(page, _feeling("fundus"))
        choose(page, "Lie", "longitudinal")
        choose(page, "Presentation", "vertex")
        choose(page, "Position", "left transverse")
        choose(page, "Attitude", "flexed")
        choose(page, "Fifths", "3/5")
        press(page, "Say so")
        said(page, "Noted.")

        page.keyboard.press("Shift+Tab")
        page.evaluate("() => document.activeElement.blur()")
        open_tab(page, "Sensors")
        tab_to(page, "e => e.name === 'lay'")
        page.keyboard.press("ArrowRight")
        tab_to(page, "e => e.getAttribute('role') === 'application' && e.tagName === 'svg'")
        for key, times in (("ArrowRight", 9), ("ArrowDown", 6)):
            for _ in range(times):
                page.keyboard.press(key)
        page.keyboard.press("Enter")
        said(page, "The heart sensor lies.")
        page.keyboard.press("Shift+Tab")  # the sound's button
        page.keyboard.press("Shift+Tab")
        page.keyboard.press("ArrowRight")
        tab_to(page, "e => e.getAttribute('role') === 'application' && e.tagName === 'svg'")
        for key, times in (("ArrowUp", 19), ("ArrowLeft", 6)):
            for _ in range(times):
                page.keyboard.press(key)
        page.keyboard.press("Enter")
        said(page, "The contraction sensor lies.")
        press(page, "to the reading")
        drawn(page)

        page.evaluate("() => document.activeElement.blur()")
        open_tab(page, "Internal sensor")
        tab_to(page, "e => e.name === 'electrode'")
        page.keyboard.press("ArrowDown")
        tab_to(page, "e => e.name === 'catheter'")
        page.keyboard.press("ArrowDown")
        press(page, "Decide")
        said(page, "Noted.")

        page.evaluate("() => document.activeElement.blur()")
        open_tab(page, "Read the strip")
        tab_to(page, "e => e.name === 'baseline'")
        page.keyboard.type(f"{truth.baseline_bpm:.0f}")
        choose(page, "Variability", truth.variability_accepted[0].value)
        choose(page, "Sinusoidal?", "no")
        choose(page, "Tachysystole?", "no")
        choose(page, "Class by NICHD", truth.labels["nichd"])
        _mark_by_keys(page)
        press(page, "Give the reading")
        said(page, "Your reading is kept.")

        page.evaluate("() => document.activeElement.blur()")
        open_tab(page, "Do and tell")
        press(page, "Help her to change position")
        said(page, "She turns over")
        press(page, "The obstetrician")
        said(page, "You tell")
        before = page.locator("#latest").inner_text()
        press(page, "5 min")
        until(page, "(old) => document.getElementById('latest').innerText !== old", before)
        page.evaluate("() => document.activeElement.blur()")
        open_tab(page, "Finish")
        press(page, "Finish, and see")
        page.wait_for_url("**/debrief")
        text = page.locator("main").inner_text()
        assert "Each step against the truth" in text
        assert "vertex, L" in text or "vertex L" in text
        key = page.url.split("/")[-2]
    score = next(a for a in app.state.teaching.finished() if a.id == key).score
    got = {line.item: line.share for line in score.lines}
    for item in ("lie", "presentation", "position", "heart sensor", "contraction sensor",
                 "baseline", "variability", "class", "telling"):  # fmt: skip
        assert got[item] > 0.6, item
    steps = [type(step).__name__ for step in app.state.teaching.steps(key)]
    assert steps == ["Feel", "Conclude", "PlaceHeartSensor", "PlaceContractionSensor", "Wait",
                     "DecideInternal", "ReadStrip", "Choose", "Tell", "Wait", "Finish"]  # fmt: skip
    assert len(app.state.teaching.steps(key)[6].answer.marks) == 1


def _feeling(zone: str) -> str:
    from ebbline.teach.sensations import Grip, Hands, Zone

    case = begin_case(shipped_case(CASE), 0).case
    return Hands(case, case.fetus, 0).feel(Grip.FIRST, Zone(zone)).text


def _mark_by_keys(page: Any) -> None:
    """With the strip in focus: m takes the marker, Enter sets both ends, arrows move it."""
    tab_to(page, "e => e.tagName === 'CANVAS'")
    page.keyboard.press("m")
    tab_to(page, "e => e.tagName === 'CANVAS'")
    page.keyboard.press("ArrowRight")
    page.keyboard.press("Enter")
    for _ in range(3):
        page.keyboard.press("Shift+ArrowRight")
    page.keyboard.press("Enter")
    assert page.locator("#mark-count").inner_text() == "1"


def test_a_whole_case_is_played_by_pointer(school: tuple[str, Any, Any]) -> None:
    address, app, browser = school
    _, truth = laid_truth()
    with opened(browser, viewport=WIDE) as page:
        begin(page, address)
        page.get_by_role("tab", name="Hands").click()
        page.get_by_text("Second grip", exact=True).click()
        for zone in ("left flank", "right flank"):
            page.get_by_role("button", name=zone).click()
        until(page, "document.querySelectorAll('.abdomen-zone.felt').length === 2")
        page.get_by_role("tab", name="Sensors").click()
        _touch(page, 9.0, -6.0, "listen")
        said(page, "You count about")
        _touch(page, 9.0, -6.0, "place heart sensor")
        said(page, "The heart sensor lies.")
        _touch(page, 3.0, 13.0, "place contraction sensor")
        said(page, "The contraction sensor lies.")
        page.get_by_role("button", name="to the reading").click()
        drawn(page)
        page.get_by_role("tab", name="Read the strip").click()
        page.get_by_label("Baseline in bpm").fill(f"{truth.baseline_bpm:.0f}")
        page.locator("select[name=variability]").select_option(truth.variability_accepted[0].value)
        page.locator("select[name=label]").select_option(truth.labels["nichd"])
        page.locator('#tools [data-act="all"]').click()
        drawn(page)
        page.locator('[data-tool="mark"]').click()
        for event in truth.events:
            if event.kind.value == "variable deceleration" and event.end_s < 1790:
                page.locator("#mark-kind").select_option(event.kind.value)
                _drag(page, event.start_s, event.end_s)
        wanted = sum(
            e.kind.value == "variable deceleration" and e.end_s < 1790 for e in truth.events
        )
        assert page.locator("#mark-count").inner_text() == str(wanted)
        page.reload()
        drawn(page)
        assert page.locator("#mark-count").inner_text() == str(wanted), "a draft outlives a reload"
        page.get_by_role("button", name="Give the reading").click()
        said(page, "Your reading is kept.")
        page.get_by_role("tab", name="Do and tell").click()
        page.get_by_role("button", name="Raise the oxytocic").click()
        said(page, "asks you to think again")
        page.get_by_role("tab", name="Finish").click()
        assert page.locator("#missing li").all_inner_texts() == [
            "You have not said how the baby lies.",
            "You have not handed over.",
            "You have not decided on internal sensors.",
        ]
        page.get_by_role("button", name="Finish, and see").click()
        page.wait_for_url("**/debrief")
        assert "Unsafe, apart from the score" in page.locator("main").inner_text()
        until(page, "() => document.getElementById('strip').strip?.items.length > 5")
        layers = page.evaluate(
            "() => document.getElementById('strip').strip.items.map(i => i.layer)"
        )
        assert layers.count("own") == wanted
        assert layers.count("computed") == len(truth.events)
        key = page.url.split("/")[-2]
    score = next(a for a in app.state.teaching.finished() if a.id == key).score
    got = {line.item: line.share for line in score.lines}
    assert got["decelerations"] > 0.6
    assert got["kinds of deceleration"] == 1.0


def _touch(page: Any, x_cm: float, y_cm: float, what: str) -> None:
    """Choose what to do and click the abdomen at a place given in cm along the skin."""
    page.locator(f'input[name="lay"][value="{what}"] + span').click()
    at = page.evaluate(
        """([x, y]) => {
          const svg = document.querySelector('#abdomen-sensors svg');
          const round = 100 / (2 * Math.PI);
          const p = new DOMPoint(round * Math.sin(x / round), -y);
          const at = p.matrixTransform(svg.getScreenCTM());
          return [at.x, at.y];
        }""",
        [x_cm, y_cm],
    )
    page.mouse.click(*at)


def _drag(page: Any, start_s: float, end_s: float) -> None:
    """Draw across a stretch of the strip."""
    a, b, y = page.evaluate(
        """([from, to]) => {
          const strip = document.getElementById('strip').strip;
          const box = strip.canvas.getBoundingClientRect();
          const gutter = strip.width - strip.wide;
          const at = t => box.left + gutter + (t - strip.t0) / strip.spp;
          return [at(from), at(to), box.top + strip.lanes.heart.top + 40];
        }""",
        [start_s, end_s],
    )
    page.mouse.move(a, y)
    page.mouse.down()
    page.mouse.move((a + b) / 2, y)
    page.mouse.move(b, y)
    page.mouse.up()


PAGES = (
    "/teach",
    "/teach/mine",
    "/teach/practice",
    "/teach/class",
    "/teach/assignments",
    "/teach/build?case=a-gush",
)


@pytest.mark.parametrize(
    ("scheme", "size"), [("light", WIDE), ("dark", TABLET)], ids=["light-wide", "dark-tablet"]
)
def test_axe_finds_nothing_serious_on_any_page(
    school: tuple[str, Any, Any], scheme: str, size: dict[str, int]
) -> None:
    """Each scheme and each size once: colours do not depend on the size, nor places on colours."""
    address, _, browser = school
    with opened(browser, viewport=size, color_scheme=scheme) as page:
        for path in PAGES:
            page.goto(address + path)
            assert grave(page) == [], path
            wide = page.evaluate("() => document.documentElement.scrollWidth")
            assert wide <= size["width"], f"{path} is wider than the window"
        begin(page, address)
        for tab in page.get_by_role("tab").all():
            tab.click()
            until_still(page)
            assert grave(page) == [], tab.inner_text()
        page.get_by_role("tab", name="Finish").click()
        page.get_by_role("button", name="Finish, and see").click()
        page.wait_for_url("**/debrief")
        until_still(page)
        assert grave(page) == []


def test_the_build_page_checks_a_case_and_tells_its_truth(school: tuple[str, Any, Any]) -> None:
    address, _, browser = school
    with opened(browser, viewport=WIDE) as page:
        page.goto(f"{address}/teach/build?case=thick-and-green")
        page.locator("#check").click()
        page.locator("#checked .done-note").wait_for()
        assert "Category III" in page.locator("#checked").inner_text()
        page.locator("textarea[name=yaml]").fill("title: [")
        page.locator("#check").click()
        page.locator("#checked .problem-note").wait_for()
        assert "not YAML" in page.locator("#checked").inner_text()


RENDERED = """async (sources) => {
  const { Ear, heard, interval } = await import('/static/teaching/ear.js');
  const rate = 4000, seconds = 8, hundredth = rate / 100;
  let drawn = 7; // the same noise each time
  Math.random = () => { drawn = (drawn * 16807) % 2147483647; return drawn / 2147483647; };
  const context = new OfflineAudioContext(1, rate * seconds, rate);
  const ear = new Ear();
  ear.wire(context);
  for (const one of sources.filter(heard)) {
    one.count = 0;
    for (let at = 0; at < seconds; at += interval(one)) {
      ear.sounded(one, at);
      one.count += 1;
    }
  }
  const sound = (await context.startRendering()).getChannelData(0);
  const power = Array(100 * seconds).fill(0);
  sound.forEach((one, i) => { power[Math.floor(i / hundredth)] += one * one / hundredth; });
  return power;
}"""
"""The page's own sounds, rendered faster than time where they cannot be listened to: their power in
each hundredth of a second."""


def rendered(page: Any, *sources: dict[str, Any]) -> np.ndarray:
    return np.array(page.evaluate(RENDERED, list(sources)))


def loudness(power: np.ndarray) -> float:
    """Root mean square."""
    return float(np.sqrt(power.mean()))


def rate_of(power: np.ndarray) -> float:
    """Beats in a minute, by the autocorrelation of the envelope at 100 Hz, 40 to 220 bpm."""
    envelope = np.sqrt(power)
    off = envelope - envelope.mean()
    alike = np.array([float(off[lag:] @ off[:-lag]) / (len(off) - lag) for lag in range(27, 151)])
    # Of peaks nearly as high the first: later ones are its multiples.
    first = next(
        k
        for k in range(1, len(alike) - 1)
        if alike[k] >= max(alike[k - 1], alike[k + 1]) and alike[k] > 0.7 * alike.max()
    )
    near, top, far = alike[first - 1 : first + 2]
    return 6000.0 / (27 + first + 0.5 * (near - far) / (near - 2 * top + far))


def test_what_is_heard_has_the_hearts_rate_and_grows_softer_with_distance(
    school: tuple[str, Any, Any],
):
    """The abdomen's sounds as the page makes them, at the volumes that the workbench gives."""
    address, _, browser = school
    encounter = begin_case(shipped_case("a-first-abdomen-to-feel"), 0)
    site = encounter.site.at

    def at(away_cm: float) -> EarOut:
        side = -1 if site.x_cm > 0 else 1
        return ear(encounter, Point(site.x_cm + side * away_cm, site.y_cm))

    with opened(browser, viewport=WIDE) as page:
        page.goto(address)
        hearts = [at(away).hearts[0] for away in (0, 2, 3.5)]
        sounds = [rendered(page, {"kind": "heart", **heart.model_dump()}) for heart in hearts]
        assert rate_of(sounds[0]) == pytest.approx(hearts[0].bpm, abs=2)
        loud = [loudness(sound) for sound in sounds]
        assert loud[0] > loud[1] > loud[2] > 0
        for heart, sound in zip(hearts, sounds, strict=True):
            assert loudness(sound) / loud[0] == pytest.approx(
                heart.volume / hearts[0].volume, rel=0.25
            )
        far = at(24)
        assert far.hearts[0].volume < 0.02
        hers = rendered(page, {"kind": "mother", "volume": far.mother, "bpm": far.mother_bpm})
        assert rate_of(hers) == pytest.approx(far.mother_bpm, abs=2)
        for kind, bpm in (("cord", hearts[0].bpm), ("placenta", far.mother_bpm)):
            rush = rendered(page, {"kind": kind, "volume": 0.4, "bpm": bpm})
            assert rate_of(rush) == pytest.approx(bpm, abs=2), kind
        assert not rendered(page, {"kind": "heart", "volume": 0.0, "bpm": 140}).any()


def test_ten_short_strips_by_keyboard_alone(school: tuple[str, Any, Any]):
    address, _, browser = school
    with opened(browser, viewport={"width": 390, "height": 844}) as page:
        page.goto(
            f"{address}/teach/practice?one=late+deceleration&other=variable+deceleration&seed=5"
        )
        for number in range(1, 11):
            page.locator("[data-say]:not([disabled])").first.wait_for()
            assert page.locator("#drill-number").inner_text() == f"Strip {number} of 10"
            page.keyboard.press("1")
            page.locator("#drill-next:not([hidden])").wait_for()
            told = page.locator("#drill-told").inner_text()
            assert told.startswith(("Right.", "No: variable deceleration."))
            assert "from onset to nadir" in told
            if number == 1:
                assert not grave(page)
                assert page.evaluate("document.documentElement.scrollWidth") <= 390
            page.keyboard.press("Enter")
        page.get_by_role("heading", name="5 of 10 right").wait_for()
