"""HL7 v2 over MLLP: acknowledged when kept, refused in words, never a traceback.

The form of a waveform's observation (NA, MDC_ATTR_SAMP_RATE beneath it, 264608^MDC_DIM_PER_SEC)
is that of IHE's waveform content module.
"""

from __future__ import annotations

import asyncio
import math
from datetime import UTC, datetime

import hl7
import numpy as np
import pytest
from hl7.mllp import open_hl7_connection
from hypothesis import given
from hypothesis import strategies as st

from ebbline.live.hl7_messages import read_message
from ebbline.live.mllp import serve_mllp
from ebbline.live.packets import PacketError
from ebbline.live.sample_store import LiveStore
from ebbline.live.unit import Unit
from ebbline.recording.model import ChannelKind
from ebbline.terms import SensorKind

START = datetime(2030, 5, 1, 22, 0, 5, tzinfo=UTC)


def message(token: str = "t", values: str = "138^139.5^^141", time: str = "") -> str:
    time = time or "20300501220005.250+0000"
    return "\r".join(
        [
            f"MSH|^~\\&|DEVICE|WARD|||{time}|{token}|ORU^R01^ORU_R01|M-1|P|2.6",
            "PID|1||C-7",
            f"OBR|1|||182777000^monitoring of patient^SCT|||{time}",
            f"OBX|1|NA|99EBB-FHR1^fetal heart rate^99EBBLINE|1.1.1.1|{values}|"
            "264864^MDC_DIM_BEAT_PER_MIN^MDC|||||F",
            "OBX|2|NM|0^MDC_ATTR_SAMP_RATE^MDC|1.1.1.1.1|4|264608^MDC_DIM_PER_SEC^MDC|||||F",
            f"OBX|3|NM|149530^MDC_PULS_OXIM_PULS_RATE^MDC|1.1.2.1|82|"
            f"264864^MDC_DIM_BEAT_PER_MIN^MDC|||||F|||{time}",
            "OBX|4|NM|150456^MDC_PULS_OXIM_SAT_O2^MDC|1.1.2.2|98|262688^MDC_DIM_PERCENT^MDC",
        ]
    )


def test_a_waveform_and_a_single_value_are_read_with_their_times_and_rates() -> None:
    received = read_message(message())
    by_kind = {one.channels[0].kind: one for one in received.packets}
    heart = by_kind[ChannelKind.FETAL_HEART_RATE]
    assert heart.rate_hz == 4.0 and heart.start == START.replace(microsecond=250_000)
    np.testing.assert_array_equal(heart.channels[0].samples, [138, 139.5, math.nan, 141])
    pulse = by_kind[ChannelKind.MATERNAL_HEART_RATE]
    assert pulse.rate_hz == 1.0 and pulse.channels[0].sensor is SensorKind.MATERNAL_PULSE
    assert (received.control, received.token) == ("M-1", "t")


@pytest.mark.parametrize(
    ("broken", "named"),
    [
        (message(values="138^x"), "OBX 1-5"),
        (message(time="20300501220005"), "zone"),
        (message().replace("ORU^R01^ORU_R01", "ADT^A01"), "MSH-9"),
        (message().replace("99EBB-FHR1", "1").replace("149530", "2"), "OBX-3"),
        (message().replace("0^MDC_ATTR_SAMP_RATE", "0^OTHER"), "rate"),
        ("nothing of the kind", "MSH"),
    ],
)
def test_what_cannot_be_read_says_where(broken: str, named: str) -> None:
    with pytest.raises(PacketError) as told:
        read_message(broken)
    assert named in str(told.value)


@given(st.integers(0, 400), st.text("|^~\\&\r0aOBXMSH", max_size=12))
def test_no_damage_ends_in_anything_but_samples_or_a_named_error(at: int, put: str) -> None:
    whole = message()
    damaged = whole[: at % len(whole)] + put + whole[at % len(whole) + len(put) :]
    try:
        read_message(damaged)
    except PacketError as error:
        assert error.what


def test_over_mllp_what_is_acknowledged_is_kept(plain: LiveStore) -> None:
    token = plain.add_device("Bed 2", "trolley")
    labour = plain.open_labour("Bed 2", "C-7", START)

    async def run() -> dict[str, str]:
        unit = Unit(plain, now=lambda: START.timestamp() + 60)
        await unit.start()
        listener = await serve_mllp(unit, "127.0.0.1", 0)
        answers = {}
        for name, text in {
            "kept": message(token),
            "stranger": message("guess"),
            "broken": message(token, values="x"),
        }.items():
            reader, writer = await open_hl7_connection("127.0.0.1", listener.port)
            writer.writeblock(text.encode())
            await writer.drain()
            answer = hl7.parse((await reader.readblock()).decode())
            answers[name] = str(answer.segment("MSA")[1])
            assert str(answer.segment("MSA")[2]) == "M-1"
            writer.close()
        listener.close()
        await unit.stop()
        return answers

    assert asyncio.run(run()) == {"kept": "AA", "stranger": "AR", "broken": "AE"}
    channels = plain.recording(labour).channels
    assert [len(one.samples) for one in channels] == [5, 1]
