"""Strips on paper in the workbench: pictures laid under what was read, corrected, taken."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import pytest
from bench.paper.draw import Drawn

from ebbline.web.paper import service
from ebbline.web.settings import Settings
from recording.test_paper import heart_rate, strip
from web.browser import chromium, grave, needs_chromium, opened, served
from web.visitor import Visitor

MINUTES = 6


def png(drawn: Drawn | None = None) -> bytes:
    image = (drawn or strip(heart_rate(minutes=MINUTES))).image
    good, packed = cv2.imencode(".png", image[:, :, ::-1])
    assert good
    return bytes(packed.tobytes())


def kept(visitor: Visitor, *pictures: bytes, **answers: str) -> dict[str, Any]:
    """A strip on paper sent in pictures."""
    files = [("files", (f"shot {n}.png", one)) for n, one in enumerate(pictures, start=1)]
    answer = visitor.post("/api/papers", files=files, data=answers)
    assert answer.status_code == 201, answer.text
    found: dict[str, Any] = answer.json()
    return found


def said(paper: dict[str, Any], **corrections: Any) -> dict[str, Any]:
    """What is sent to correct the first picture."""
    first = paper["said"][0] | corrections
    return {
        "version": paper["version"],
        "answers": paper["answers"],
        "pictures": [first, *paper["said"][1:]],
    }


def test_a_strip_is_read_corrected_and_taken_with_who_corrected_it(visitor: Visitor) -> None:
    paper = kept(visitor, png(), paper_speed="1")
    api = f"/api/papers/{paper['id']}"
    read = visitor.get(f"{api}/reading").json()
    [one] = read["pictures"]
    assert read["problem"] == ""
    assert read["duration_s"] == pytest.approx(MINUTES * 60, abs=1)
    assert [line["fetus"] for line in one["lines"]] == [1, 0]
    heart = one["lines"][0]
    middle = len(heart["x"]) // 2
    place = [heart["x"][middle], heart["y"][middle]]
    answer = visitor.put(
        api, json=said(paper, erased=[{"places": [[place[0], 0], [place[0], 700]], "width": 30}])
    )
    assert answer.status_code == 200, answer.text
    assert answer.json()["version"] == 1
    # On the version that was looked at, or not at all.
    assert visitor.post(f"{api}/recording", json={"version": 0}).status_code == 409
    card = visitor.post(f"{api}/recording", json={"version": 1})
    assert card.status_code == 201, card.text
    recording = visitor.get(f"/api/recordings/{card.json()['id']}").json()
    notes = " ".join(recording["notes"])
    assert "taken by" in notes
    assert "One stroke was erased as no trace, by hand." in notes
    assert visitor.get(api).json()["recording_href"] == card.json()["href"]


def test_two_who_correct_the_same_version_are_not_both_kept(visitor: Visitor) -> None:
    paper = kept(visitor, png(), paper_speed="1")
    api = f"/api/papers/{paper['id']}"
    assert visitor.put(api, json=said(paper)).status_code == 200
    late = visitor.put(api, json=said(paper))
    assert late.status_code == 409
    assert "someone else corrected" in late.json()["what"]


def test_the_speed_can_be_said_on_the_page_of_the_picture(visitor: Visitor) -> None:
    paper = kept(visitor, png())
    api = f"/api/papers/{paper['id']}"
    read = visitor.get(f"{api}/reading").json()
    assert "speed" in read["problem"]
    told = said(paper)
    told["answers"] = paper["answers"] | {"speed": 1}
    assert visitor.put(api, json=told).status_code == 200
    assert visitor.get(f"{api}/reading").json()["problem"] == ""


@pytest.mark.parametrize(
    ("corrections", "words"),
    [
        ({"corners": [[0, 0], [9, 9], [900, 9], [0, 9]]}, "bound no paper"),
        ({"erased": [{"places": [[99999, 5]], "width": 9}]}, "off the picture"),
    ],
)
def test_corrections_that_mean_nothing_are_refused(
    visitor: Visitor, corrections: dict[str, Any], words: str
) -> None:
    paper = kept(visitor, png(), paper_speed="1")
    answer = visitor.put(f"/api/papers/{paper['id']}", json=said(paper, **corrections))
    assert answer.status_code == 422
    assert words in answer.json()["what"]


def test_pictures_are_bounded_and_damaged_ones_refused(
    visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    damaged = visitor.post("/api/papers", files=[("files", ("a.png", b"\x89PNG\r\n" + bytes(50)))])
    assert damaged.status_code == 422
    assert damaged.json()["where"] == "a.png"
    monkeypatch.setattr(service, "MOST_PIXELS", 1000)
    large = visitor.post("/api/papers", files=[("files", ("a.png", png()))])
    assert large.status_code == 422
    assert "million pixels" in large.json()["what"]
    monkeypatch.undo()
    monkeypatch.setattr(service, "MOST_KEPT_BYTES", 1000)
    full = visitor.post("/api/papers", files=[("files", ("a.png", png()))])
    assert full.status_code == 422
    assert "Remove strips" in full.json()["remedy"]
    assert visitor.get("/api/papers").json() == []


def test_removing_takes_pictures_but_no_recording(visitor: Visitor) -> None:
    paper = kept(visitor, png(), paper_speed="1")
    api = f"/api/papers/{paper['id']}"
    assert visitor.get(f"{api}/pictures/0").headers["content-type"] == "image/jpeg"
    card = visitor.post(f"{api}/recording", json={"version": 0}).json()
    assert visitor.delete(api).status_code == 204
    for gone in (api, f"{api}/pictures/0", f"{api}/reading", f"/papers/{paper['id']}"):
        assert visitor.get(gone).status_code == 404
    assert visitor.get(f"/api/recordings/{card['id']}").status_code == 200


def test_pictures_are_for_those_who_are_signed_in(guarded: Visitor) -> None:
    for path in ("/api/papers", "/api/papers/0a/pictures/0", "/api/papers/0a/reading"):
        assert guarded.get(path).status_code == 401


def test_several_shots_of_one_strip_are_joined(visitor: Visitor) -> None:
    fhr = heart_rate(minutes=9)
    paper = kept(visitor, png(strip(fhr[: 6 * 240])), png(strip(fhr[3 * 240 :])), paper_speed="1")
    read = visitor.get(f"/api/papers/{paper['id']}/reading").json()
    assert read["problem"] == ""
    assert read["duration_s"] == pytest.approx(9 * 60, abs=1)
    assert len(read["pictures"]) == 2
    assert read["left_out"] == []


def test_what_else_stands_on_a_picture_and_was_not_read_is_told_first(visitor: Visitor) -> None:
    """Missing signal never reassures: of two strips one is read, and the page says so."""
    one = strip(heart_rate(minutes=MINUTES))
    paper = kept(visitor, png(replace(one, image=np.vstack([one.image] * 2))), paper_speed="1")
    read = visitor.get(f"/api/papers/{paper['id']}/reading").json()
    assert "2 strips stand on this picture" in read["left_out"][0]


@needs_chromium
def test_on_the_page_a_person_moves_corners_erases_draws_and_takes(tmp_path: Path) -> None:
    """Pointer and keyboard: what was missed is drawn, what is no trace erased, a corner moved."""
    picture = tmp_path / "strip.png"
    fhr = heart_rate(minutes=MINUTES)
    fhr[2 * 240 : 3 * 240] = np.nan
    picture.write_bytes(png(strip(fhr)))
    settings = Settings(store=tmp_path / "kept" / "workbench.sqlite")
    with (
        served(settings) as (address, _),
        chromium() as browser,
        opened(browser, viewport={"width": 1280, "height": 800}) as page,
    ):
        page.set_default_timeout(60_000)
        page.goto(address)
        page.click("#paper summary")
        page.select_option("select[name=paper_speed]", "1")
        page.set_input_files("#files", picture)
        page.wait_for_url("**/papers/*")
        page.wait_for_selector("#take:enabled")
        banner = page.inner_text("#state")
        # What was not read stands first.
        assert banner.startswith("Minute 3 shows no heart rate.")
        assert "Read of 6 minutes: heart rate" in banner
        assert "Minute 3: no trace" in page.inner_text("#sure")
        assert grave(page) == []
        page.click("#whole")

        page.click("[data-tool=draw]")
        box = page.locator("#plate").bounding_box()
        x, y = box["x"] + 0.5 * box["width"], box["y"] + 0.4 * box["height"]
        page.mouse.move(x - 15, y)
        page.mouse.down()
        page.mouse.move(x + 15, y, steps=4)
        page.mouse.up()
        page.wait_for_selector("#over .said .drawn", state="attached")

        page.click("[data-tool=erase]")
        page.focus("#view")
        for key in ("ArrowUp", "Space", "ArrowRight", "ArrowRight", "Space"):
            page.keyboard.press(key)
        page.wait_for_selector("#over .said .erased", state="attached")

        page.click("[data-tool=corners]")
        corner = page.get_by_role("button", name="Upper left corner")
        before = corner.get_attribute("aria-label")
        corner.press("ArrowRight")
        assert corner.get_attribute("aria-label") != before
        page.click("#undo")
        assert corner.get_attribute("aria-label") == before

        assert page.is_disabled("#take")
        page.click("#again")
        page.wait_for_selector("#take:enabled")
        assert "drawn where a trace was missed, by hand" in page.inner_text("#said")
        page.click("#take")
        page.wait_for_url("**/recordings/*")
