"""Packets: both forms say the same, and what is broken is refused in words."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ebbline.live import packets
from ebbline.live.packets import Packet, PacketChannel, PacketError
from ebbline.recording.model import ChannelKind
from ebbline.terms import SensorKind

START = datetime(2030, 5, 1, 22, 0, 5, tzinfo=UTC)


def packet(samples: list[float]) -> Packet:
    heart = PacketChannel(ChannelKind.FETAL_HEART_RATE, 1, SensorKind.ULTRASOUND, np.array(samples))
    toco = PacketChannel(ChannelKind.UTERINE_ACTIVITY, 0, SensorKind.TOCO, np.array([12.5, 13.0]))
    return Packet(START, 4.0, 17, (heart, toco))


@pytest.mark.parametrize("form", ["json", "binary"])
def test_a_packet_comes_back_as_it_was_sent(form: str) -> None:
    sent = packet([138.25, math.nan, 140.0])
    if form == "json":
        got = packets.from_json(packets.to_json(sent))
    else:
        got = packets.from_bytes(packets.to_bytes(sent))
    assert (got.start, got.rate_hz, got.sequence) == (START, 4.0, 17)
    for one, other in zip(sent.channels, got.channels, strict=True):
        assert (one.kind, one.fetus, one.sensor) == (other.kind, other.fetus, other.sensor)
        np.testing.assert_array_equal(one.samples, other.samples)


@given(st.binary(max_size=200), st.integers(0, 80), st.integers(0, 255))
def test_no_bytes_are_read_as_a_packet_that_was_not_sent(junk: bytes, at: int, to: int) -> None:
    whole = packets.to_bytes(packet([138.0, 139.0]))
    damaged = bytearray(whole)
    damaged[at % len(damaged)] = to
    for data in (junk, bytes(damaged), whole[: at % len(whole)]):
        if data != whole:
            with pytest.raises(PacketError):
                packets.from_bytes(data)


@given(
    st.recursive(
        st.none() | st.booleans() | st.floats() | st.text(max_size=5),
        lambda x: (
            st.lists(x, max_size=3)
            | st.dictionaries(
                st.sampled_from(
                    [
                        "start",
                        "rate_hz",
                        "channels",
                        "kind",
                        "samples",
                        "fetus",
                        "sensor",
                        "sequence",
                    ]
                ),
                x,
                max_size=5,
            )
        ),
    )
)
def test_no_json_ends_in_anything_but_a_packet_or_a_named_error(data: object) -> None:
    try:
        packets.from_json(json.dumps(data))
    except PacketError as error:
        assert error.what


@pytest.mark.parametrize(
    ("change", "named"),
    [
        ({"start": "yesterday"}, "start"),
        ({"start": "2030-05-01T22:00:05"}, "start"),
        ({"rate_hz": 0}, "rate_hz"),
        ({"rate_hz": 1e9}, "rate_hz"),
        ({"channels": []}, "channels"),
        ({"channels": [{"kind": "pulse", "samples": [1]}]}, "channels[0].kind"),
        ({"channels": [{"kind": "fetal heart rate", "samples": ["x"]}]}, "channels[0].samples"),
        ({"channels": [{"kind": "fetal heart rate", "samples": []}]}, "channels[0].samples"),
        ({"channels": [{"kind": "uterine activity", "fetus": 1, "samples": [1]}]}, "fetus"),
        ({"channels": [{"kind": "fetal heart rate", "samples": [1]}] * 2}, "channels[1]"),
    ],
)
def test_the_error_names_the_field(change: dict[str, object], named: str) -> None:
    data = json.loads(packets.to_json(packet([1.0]))) | change
    with pytest.raises(PacketError, match=r".*") as told:
        packets.from_json(json.dumps(data))
    assert named in str(told.value)
