"""Pictures of the pages for docs: a real browser on a workbench of invented labours.

    python -m bench.page_pictures             # all of them
    python -m bench.page_pictures workbench   # those of one page of the documentation

Needs Chromium. Drawn by a browser, they differ from computer to computer in single pixels, so no
check compares them; each is stamped with what it shows (bench.stamps), and that is checked.
"""

from __future__ import annotations

import argparse
import io
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

from PIL import Image
from tests.web.browser import chromium, opened, served

from bench import stamps
from ebbline.codec import to_data
from ebbline.teach.answers import Mark
from ebbline.teach.library import shipped_case
from ebbline.teach.steps import PlaceContractionSensor, PlaceHeartSensor, Wait
from ebbline.teach.variants import begin_case
from ebbline.teach.what_was_true import reading_truth
from ebbline.web.recordings.demo_cases import invented_recording
from ebbline.web.settings import Settings

OUT = stamps.ROOT / "docs" / "img"
WIDE = {"width": 1280, "height": 800}
PHONE = {"width": 390, "height": 844}
COLOURS = 128
CASE = "a-whole-evening-shift"
LIES = {
    "lie": "longitudinal",
    "presentation": "vertex",
    "position": "left transverse",
    "attitude": "flexed",
    "fifths": 3,
}
HEART, ACTIVITY = (9.0, -6.0), (3.0, 13.0)


def shot(page: Any, name: str) -> None:
    """Keep what the page shows, in few colours."""
    page.wait_for_timeout(700)
    image = Image.open(io.BytesIO(page.screenshot()))
    kept = image.convert("RGB").quantize(COLOURS, dither=Image.Dither.NONE)
    kept.save(OUT / f"{name}.png", optimize=True)
    print(f"wrote docs/img/{name}.png")


def workbench(page: Any, address: str, app: Any) -> None:
    """The workbench, task by task."""
    library = app.state.library
    keys = {
        name: library.add(invented_recording(name), by="Ada", invented=True).id
        for name in ("quiet-first-stage", "late")
    }
    page.goto(address)
    shot(page, "workbench-open")
    page.goto(f"{address}/recordings/{keys['late']}")
    page.locator("#strip canvas").first.wait_for()
    page.wait_for_selector("#strip:not([aria-busy])")
    shot(page, "workbench-strip")
    page.locator("#class-bar button, #class-bar a").first.click()
    shot(page, "workbench-why")
    page.goto(f"{address}/examination")
    page.wait_for_load_state("networkidle")
    shot(page, "workbench-examination")
    page.goto(f"{address}/recordings/{keys['late']}/report")
    page.wait_for_load_state("networkidle")
    page.wait_for_timeout(4000)
    shot(page, "workbench-report")


def step(page: Any, key: str, **said: Any) -> None:
    """One step of an attempt, as the page sends it."""
    posted(page, f"/api/teach/attempts/{key}/steps", said)


def teaching(page: Any, address: str, app: Any) -> None:
    """A case from the hands to the debrief."""
    page.goto(f"{address}/teach")
    shot(page, "teaching-cases")
    page.evaluate(
        """name => {
          const form = [...document.querySelectorAll('form[action="/teach/begin"]')]
            .find(one => one.elements.case.value === name);
          form.append(Object.assign(document.createElement('input'),
            {type: 'hidden', name: 'variant', value: '0'}));
          form.submit();
        }""",
        CASE,
    )
    page.wait_for_url("**/teach/attempts/*")
    key = page.url.rsplit("/", 1)[-1].split("?")[0]
    page.wait_for_load_state("networkidle")
    shot(page, "teaching-story")
    for grip, zone in (("first grip", "fundus"), ("second grip", "left flank")):
        step(page, key, step="feel", grip=grip, zone=zone)
    step(page, key, step="conclude", answer=LIES)
    step(page, key, step="place heart sensor", x_cm=HEART[0], y_cm=HEART[1])
    step(page, key, step="place contraction sensor", x_cm=ACTIVITY[0], y_cm=ACTIVITY[1])
    page.reload()
    page.wait_for_load_state("networkidle")
    page.locator("#tab-hands").click()
    shot(page, "teaching-hands")
    step(page, key, step="wait", minutes=30)
    step(page, key, step="decide internal", answer={"electrode": False, "catheter": False})
    page.reload()
    page.wait_for_load_state("networkidle")
    page.locator("#tab-strip").click()
    page.wait_for_timeout(2500)
    shot(page, "teaching-strip")
    step(page, key, step="read strip", answer=answer())
    step(page, key, step="choose", measure="change her position")
    step(page, key, step="finish")
    page.goto(f"{address}/teach/attempts/{key}/debrief")
    page.wait_for_load_state("networkidle")
    shot(page, "teaching-debrief")
    classroom(page, address, app)


def classroom(page: Any, address: str, app: Any) -> None:
    """A class: its wall while phones answer, a phone, and the wall once the truth is told."""

    def act(what: str) -> None:
        posted(page, f"/api/teach/classes/{code}/act", {"act": what})

    page.goto(f"{address}/teach/classes")
    page.locator('form[action="/teach/classes"] button').first.click()
    page.wait_for_url("**/teach/classes/*")
    code = page.url.rsplit("/", 1)[-1].split("?")[0]
    context = page.context.browser.new_context(viewport=PHONE, color_scheme="light")
    try:
        phone = context.new_page()
        phone.goto(f"{address}/join/{code}")
        phone.locator('input[name="name"]').fill("Ann Example")
        phone.locator('input[name="name"]').press("Enter")
        phone.wait_for_load_state("networkidle")
        act("ask")
        phone.reload()
        phone.wait_for_load_state("load")
        shot(phone, "teaching-class-phone")
        with app.state.classes.held(code) as held:
            option = held.session.question.right[0]
        answer = {"strip": 1, "round": 1, "option": option}
        posted(phone, f"/api/join/{code}/answer", answer)
        page.reload()
        shot(page, "teaching-class-wall")
        act("split")
        act("truth")
        page.reload()
        shot(page, "teaching-class-truth")
    finally:
        context.close()


def posted(page: Any, path: str, said: dict[str, Any]) -> None:
    """What a page sends; raises with the words of a refusal."""
    problem = page.evaluate(
        """async ([path, said]) => {
          const { send } = await import("/static/api.js");
          try { await send("POST", path, said); return ""; }
          catch (error) { return error.message; }
        }""",
        [path, said],
    )
    assert not problem, problem


def answer() -> dict[str, Any]:
    """A reading with most of the truth in it, and a few contractions missed."""
    encounter = begin_case(shipped_case(CASE), 0)
    encounter.take(PlaceHeartSensor(*HEART))
    encounter.take(PlaceContractionSensor(*ACTIVITY))
    encounter.take(Wait(30))
    truth = reading_truth(encounter)
    marks = [
        Mark(one.kind, one.start_s, one.end_s) for n, one in enumerate(truth.events) if n % 7 != 3
    ]
    return {
        "window": to_data(truth.window),
        "standard": "nichd",
        "baseline_bpm": round(truth.baseline_bpm),
        "variability": truth.variability_accepted[0].value,
        "sinusoidal": truth.sinusoidal,
        "tachysystole": truth.tachysystole,
        "label": truth.labels["nichd"],
        "marks": to_data(marks),
    }


PAGES: dict[str, Callable[[Any, str, Any], None]] = {"workbench": workbench, "teaching": teaching}


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("pages", nargs="*", choices=[*PAGES, []])
    asked = parser.parse_args()
    for name in asked.pages or PAGES:
        with (
            tempfile.TemporaryDirectory() as folder,
            served(Settings(store=Path(folder) / "w.sqlite")) as (address, app),
            chromium() as browser,
            opened(browser, viewport=WIDE, color_scheme="light") as page,
        ):
            PAGES[name](page, address, app)
        stamps.made(f"docs/img/{name}-*.png")


if __name__ == "__main__":
    main()
