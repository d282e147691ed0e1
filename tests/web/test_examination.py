"""The examination over the endpoints: the same answers as the library, refusals in words."""

from __future__ import annotations

import pytest

from ebbline.bedside import ExamContext, examine
from web.visitor import Visitor


def test_the_endpoint_says_what_the_library_says(visitor: Visitor) -> None:
    findings = {"fundus": "breech", "back": "left", "brim": "head", "fifths": "3"}
    asked = {"findings": findings, "context": {"weeks": 39, "stage": "first"}}
    out = visitor.post("/api/examine", json=asked).json()
    from ebbline.terms import Stage

    truth = examine(findings, ExamContext(weeks=39, stage=Stage.FIRST))
    assert out["presentation"][0]["probability"] == pytest.approx(truth.presentation[0].probability)
    assert out["best"]["words"] == truth.sensors.best.words
    assert [s["item"] for s in out["next_steps"]] == [s.item for s in truth.next_steps]
    assert sum(map(sum, out["map"]["weights"])) == pytest.approx(1, abs=0.01)


def test_mirrored_findings_give_the_mirrored_site(visitor: Visitor) -> None:
    sites = [
        visitor.post("/api/examine", json={"findings": {"back": side, "brim": "head"}}).json()
        for side in ("left", "right")
    ]
    assert sites[0]["best"]["x_cm"] == -sites[1]["best"]["x_cm"] > 0
    assert sites[0]["best"]["y_cm"] == sites[1]["best"]["y_cm"]


@pytest.mark.parametrize(
    "asked",
    [
        {"findings": {"fundus": "football"}},
        {"findings": {"elbow": "left"}},
        {"context": {"weeks": 400}},
        {"context": {"weeks": "nan"}},
        {"context": {"placenta": "somewhere"}},
        {"findings": {f"item {k}": "x" for k in range(60)}},
    ],
)
def test_what_cannot_be_is_refused_in_words(visitor: Visitor, asked: dict[str, object]) -> None:
    answer = visitor.post("/api/examine", json=asked)
    assert answer.status_code == 422
    assert answer.json()["what"]


def test_what_needs_a_person_now_stands_first(visitor: Visitor) -> None:
    asked = {"findings": {"part": "cord"}, "context": {"stage": "first", "placenta": "not low"}}
    part = visitor.post("/examination/outcome", json=asked).text
    assert "Cord felt" in part
    assert "data-alone" in part
    assert "Presents" not in part
    breech = {"findings": {"scan": "breech"}, "context": {"stage": "first"}}
    part = visitor.post("/examination/outcome", json=breech).text
    assert part.index("Breech possible") < part.index("Presents")
    assert "problem-note" in part


@pytest.mark.parametrize("weeks", ["39+4", "39w4d", 39.57142857142857])
def test_weeks_with_days_are_read(visitor: Visitor, weeks: object) -> None:
    asked = {"findings": {"brim": "head"}, "context": {"weeks": weeks}}
    out = visitor.post("/api/examine", json=asked).json()
    assert any("39+4 weeks" in one["text"] for one in out["basis"])
    asked["context"] = {"weeks": "39+9"}
    assert visitor.post("/api/examine", json=asked).status_code == 422


def test_what_asks_for_care_is_not_shown_as_clear(visitor: Visitor) -> None:
    out = visitor.post("/api/internal", json={"sensor": "catheter", "facts": {"scar": "yes"}})
    assert out.json()["care"]


def test_the_figure_of_print_stands_on_the_page_in_inks_that_can_turn(visitor: Visitor) -> None:
    out = visitor.post("/api/examine", json={"findings": {"brim": "head", "back": "left"}}).json()
    assert out["figure_svg"].startswith("<svg")
    assert "var(--fig-14202e, #14202e)" in out["figure_svg"]
    assert "drawn as vertex" in out["figure_svg"]


def test_unknown_counts_as_not_met_for_an_internal_sensor(visitor: Visitor) -> None:
    out = visitor.post("/api/internal", json={"sensor": "electrode"}).json()
    assert out["unknown"]
    assert not out["against"]
    assert out["find_out"]
    facts = {"sensor": "electrode", "facts": {"membranes": "intact"}}
    assert visitor.post("/api/internal", json=facts).json()["against"]
    assert visitor.post("/api/internal", json={"sensor": "spoon"}).status_code == 422


def test_an_overdue_review_is_told(visitor: Visitor) -> None:
    asked = {
        "now": "2026-03-01T10:00:00",
        "last": {"heart": "2026-03-01T09:10:00"},
        "stage": "first",
        "risk": "low",
        "method": "auscultation",
    }
    out = visitor.post("/api/reviews", json=asked).json()
    heart = next(r for r in out["reviews"] if r["name"] == "heart")
    assert heart["state"] == "overdue"
    # Every 15 minutes: the strictest of the chosen sources (NICE NG229, from memory).
    assert heart["minutes"] == -35
    asked["last"] = {"heart": "2026-03-01T11:10:00"}
    assert visitor.post("/api/reviews", json=asked).status_code == 422


def test_earlier_examinations_stay_and_the_latest_is_shown(visitor: Visitor) -> None:
    key = visitor.post("/api/invented", json={"case": "prolonged"}).json()["id"]
    for side in ("left", "right"):
        asked = {"findings": {"back": side}, "context": {"weeks": 38}}
        kept = visitor.post(f"/api/recordings/{key}/examinations", json=asked)
        assert kept.status_code == 201
    listed = visitor.get(f"/api/recordings/{key}/examinations").json()
    assert [one["findings"]["back"] for one in listed] == ["left", "right"]
    assert "selected>right<" in visitor.get(f"/recordings/{key}/examination").text
    bad = {"findings": {"back": "sideways"}}
    assert visitor.post(f"/api/recordings/{key}/examinations", json=bad).status_code == 422


def test_the_signal_of_the_recording_is_judged_beside_the_hands(visitor: Visitor) -> None:
    key = visitor.post("/api/invented", json={"case": "poor-signal"}).json()["id"]
    out = visitor.post(f"/api/examine?recording={key}", json={"findings": {"back": "left"}}).json()
    assert out["signal_steps"] or out["signal_notes"]
    assert visitor.post("/api/examine?recording=none", json={}).status_code == 404


def test_what_was_tried_moves_the_next_step_up_and_is_kept(visitor: Visitor) -> None:
    key = visitor.post("/api/invented", json={"case": "poor-signal"}).json()["id"]
    asked = {"findings": {"back": "left"}}
    first = visitor.post(f"/api/examine?recording={key}", json=asked).json()["signal_steps"]
    assert first
    tried = {first[0]["step"]: "nothing"}
    out = visitor.post(f"/api/examine?recording={key}", json=asked | {"tried": tried}).json()
    assert out["signal_steps"][0]["step"] == first[1]["step"]
    assert out["signal_done"] == [f"{first[0]['step']}: nothing"]
    kept = visitor.post(f"/api/recordings/{key}/examinations", json=asked | {"tried": tried})
    assert kept.json()["tried"] == tried
    assert first[0]["step"] in visitor.get(f"/recordings/{key}/examination").text
    bad = asked | {"tried": {"prayer": "helped"}}
    assert visitor.post(f"/api/recordings/{key}/examinations", json=bad).status_code == 422


def test_a_review_done_yesterday_is_said_so(visitor: Visitor) -> None:
    asked = {"now": "2026-03-01T14:40:00", "last": {"pulse": "2026-02-28T14:50:00"}}
    assert "last yesterday 14:50" in visitor.post("/examination/reviews", json=asked).text


def test_weeks_that_were_kept_are_shown_as_the_trade_writes_them(visitor: Visitor) -> None:
    key = visitor.post("/api/invented", json={"case": "prolonged"}).json()["id"]
    asked = {"findings": {"back": "left"}, "context": {"weeks": "38+2"}}
    visitor.post(f"/api/recordings/{key}/examinations", json=asked)
    assert 'value="38+2"' in visitor.get(f"/recordings/{key}/examination").text
