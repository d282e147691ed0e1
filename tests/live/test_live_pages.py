"""The live pages and what devices send to them."""

from __future__ import annotations

import json
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from starlette.websockets import WebSocketDisconnect

from ebbline.live import packets
from ebbline.live.packets import Packet, PacketChannel
from ebbline.recording.model import ChannelKind
from ebbline.terms import SensorKind
from ebbline.web.app import create_app
from ebbline.web.live.service import brief
from ebbline.web.settings import Settings
from web.stores import empty_store
from web.visitor import Visitor


@pytest.fixture
def visitor(tmp_path: Path) -> Iterator[Visitor]:
    app = create_app(Settings(store=empty_store(tmp_path / "kept" / "w.sqlite")))
    with Visitor(app, base_url="http://127.0.0.1") as client:
        client.load()
        yield client


def packet(at: datetime, samples: int = 40) -> Packet:
    heart = PacketChannel(
        ChannelKind.FETAL_HEART_RATE, 1, SensorKind.ULTRASOUND, np.full(samples, 140.0)
    )
    return Packet(at, 4.0, 3, (heart,))


def watched(visitor: Visitor) -> tuple[dict[str, object], dict[str, str]]:
    """A labour on a bed, and the headers of a device that may send for it."""
    begun = visitor.post("/api/live/beds", json={"bed": "Bed 2", "case": "C-7", "weeks": 39})
    assert begun.status_code == 201, begun.text
    token = visitor.post("/api/live/devices", json={"bed": "Bed 2", "name": "trolley"}).json()
    return begun.json(), {"authorization": f"Bearer {token['token']}"}


def test_a_device_sends_json_or_bytes_and_the_page_gets_the_samples(visitor: Visitor) -> None:
    labour, headers = watched(visitor)
    start = datetime.fromisoformat(str(labour["started_at"]))
    sent = visitor.post("/api/live/push", content=packets.to_json(packet(start)), headers=headers)
    assert sent.json() == {"kept": True}, sent.text
    binary = headers | {"content-type": "application/octet-stream"}
    later = packets.to_bytes(packet(start + timedelta(seconds=10)))
    assert visitor.post("/api/live/push", content=later, headers=binary).json() == {"kept": True}
    (channel,) = visitor.get(f"/api/live/beds/{labour['labour']}/samples").json()
    assert channel["samples"] == [140.0] * 80
    assert [one["bed"] for one in visitor.get("/api/live/beds").json()] == ["Bed 2"]


def test_the_stream_acknowledges_each_packet_and_says_what_is_wrong(visitor: Visitor) -> None:
    labour, headers = watched(visitor)
    start = datetime.fromisoformat(str(labour["started_at"]))
    with visitor.websocket_connect("ws://127.0.0.1/api/live/stream", headers=headers) as socket:
        socket.send_bytes(packets.to_bytes(packet(start)))
        assert socket.receive_json() == {"kept": True, "sequence": 3}
        socket.send_text("{}")
        answer = socket.receive_json()
        assert answer["kept"] is False and "channels" in answer["what"]


@pytest.mark.parametrize("token", [None, "guess"])
def test_nobody_sends_without_a_device_token(visitor: Visitor, token: str | None) -> None:
    watched(visitor)
    headers = {} if token is None else {"authorization": f"Bearer {token}"}
    body = packets.to_json(packet(datetime.now(UTC)))
    assert visitor.post("/api/live/push", content=body, headers=headers).status_code == 401
    with (
        pytest.raises(WebSocketDisconnect),
        visitor.websocket_connect("ws://127.0.0.1/api/live/stream", headers=headers),
    ):
        pass


def test_a_device_whose_bed_has_no_labour_is_told_so(visitor: Visitor) -> None:
    labour, headers = watched(visitor)
    assert visitor.post(f"/api/live/beds/{labour['labour']}/end").status_code == 204
    body = packets.to_json(packet(datetime.now(UTC)))
    answer = visitor.post("/api/live/push", content=body, headers=headers)
    assert answer.status_code == 409 and "Bed 2" in answer.text


def test_the_pages_say_what_prompts_are_and_are_not(visitor: Visitor) -> None:
    labour, _ = watched(visitor)
    for path in ("/live", f"/live/{labour['labour']}"):
        page = visitor.get(path)
        assert page.status_code == 200
        assert "Prompts to look, never alarms to rely on" in page.text
    assert visitor.get("/live/nobody").status_code == 404


def test_a_second_labour_on_a_bed_is_refused_in_words(visitor: Visitor) -> None:
    watched(visitor)
    again = visitor.post("/api/live/beds", json={"bed": "Bed 2", "case": "C-8"})
    assert again.status_code == 422 and "C-7" in again.text


def test_invented_labours_are_replayed_and_read(visitor: Visitor) -> None:
    (labour,) = visitor.post("/api/live/demo", json={"beds": 1, "speed": 600}).json()
    last = time.monotonic() + 120.0
    while not (state := visitor.get("/api/live/beds").json()[0])["at_s"]:
        assert time.monotonic() < last, "the bed is not read"
        time.sleep(0.1)
    (fetus,) = state["fetuses"]
    assert [title for title, _ in fetus["lines"]] == ["Class", "Right now", "New", "Not seen"]
    assert json.dumps(state) and labour["bed"] == "Demo 1"
    assert fetus["events"] and fetus["baseline"]["bpm"]
    (on_board,) = brief(state)["fetuses"]
    assert on_board == {k: v for k, v in fetus.items() if k not in ("events", "baseline")}
    visitor.post(f"/api/live/beds/{labour['labour']}/end")
