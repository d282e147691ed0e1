"""A packet of samples, as JSON and in a compact binary form.

JSON (UTF-8): {"start": "2030-05-01T22:00:05+00:00", "rate_hz": 4, "sequence": 17, "channels":
[{"kind": "fetal heart rate", "fetus": 1, "sensor": "ultrasound", "samples": [138, null, ...]}]}.
A missing sample is null; 0 in a heart rate is missing too. All channels of a packet begin at its
start; a device with channels at several rates sends a packet for each rate.

Binary, little endian: b"EBL1"; start in whole milliseconds since 1970 UTC (int64); samples per
second times 1000 (uint32); sequence (uint32); number of channels (uint8); for each channel kind,
fetus, sensor (uint8 each, numbered as in KINDS and SENSORS), number of samples (uint16), samples
in hundredths (int32, -2147483648 where missing); CRC-32 of all that comes before it (uint32).
"""

from __future__ import annotations

import json
import math
import struct
import zlib
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ebbline.errors import EbblineError
from ebbline.recording.model import ChannelKind
from ebbline.terms import SensorKind

FloatArray = NDArray[np.float64]

KINDS = (
    ChannelKind.FETAL_HEART_RATE,
    ChannelKind.UTERINE_ACTIVITY,
    ChannelKind.MATERNAL_HEART_RATE,
)
"""Kinds of channel by their number in the binary form."""

SENSORS = (
    SensorKind.UNKNOWN,
    SensorKind.ULTRASOUND,
    SensorKind.SCALP_ELECTRODE,
    SensorKind.TOCO,
    SensorKind.PRESSURE_CATHETER,
    SensorKind.MATERNAL_PULSE,
)
"""Sensors by their number in the binary form."""

MOST_SAMPLES = 4_000
"""Of one channel in one packet (ours): a quarter of an hour at 4 Hz."""

MOST_CHANNELS = 8
MOST_FETUSES = 4
LEAST_RATE_HZ, MOST_RATE_HZ = 0.2, 16.0
"""Samples per second that are read live (ours): from one in 5 s to four times the grid's rate."""

MAGIC = b"EBL1"
MISSING = -(2**31)
_HEAD = struct.Struct("<4sqIIB")
_CHANNEL = struct.Struct("<BBBH")


class PacketError(EbblineError):
    """A packet that cannot be read."""


@dataclass(frozen=True, slots=True, eq=False)
class PacketChannel:
    """The samples of one channel: shape (n,), NaN where missing."""

    kind: ChannelKind
    fetus: int
    sensor: SensorKind
    samples: FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Packet:
    """What a device sends at once. start: time-zone-aware, of the first sample of each channel."""

    start: datetime
    rate_hz: float
    sequence: int
    channels: tuple[PacketChannel, ...]


def from_json(text: str | bytes) -> Packet:
    """A packet from its JSON form. Raises PacketError saying which field cannot be read."""
    try:
        data = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise PacketError("this packet is not JSON.", remedy="See docs/live.md.") from error
    if not isinstance(data, dict):
        raise PacketError("a packet is an object with start, rate_hz and channels.")
    channels = data.get("channels")
    if not isinstance(channels, list):
        raise _error("channels", "must be a list of channels")
    return checked(
        Packet(
            start=_time(data.get("start")),
            rate_hz=_number(data.get("rate_hz"), "rate_hz"),
            sequence=int(_number(data.get("sequence", 0), "sequence")),
            channels=tuple(_channel(one, f"channels[{i}]") for i, one in enumerate(channels)),
        )
    )


def to_json(packet: Packet) -> str:
    """The JSON form of a packet."""
    return json.dumps(
        {
            "start": packet.start.isoformat(),
            "rate_hz": packet.rate_hz,
            "sequence": packet.sequence,
            "channels": [
                {
                    "kind": one.kind.value,
                    "fetus": one.fetus,
                    "sensor": one.sensor.value,
                    "samples": [v if math.isfinite(v) else None for v in one.samples.tolist()],
                }
                for one in packet.channels
            ],
        }
    )


def from_bytes(data: bytes) -> Packet:
    """A packet from its binary form. Raises PacketError, also for a checksum that does not fit."""
    if len(data) < _HEAD.size + 4 or data[:4] != MAGIC:
        raise PacketError("this is not a packet in the binary form.", remedy="See docs/live.md.")
    if zlib.crc32(data[:-4]) != int.from_bytes(data[-4:], "little"):
        raise PacketError("the packet's checksum does not fit.", remedy="Send it again.")
    _, start_ms, rate_milli, sequence, count = _HEAD.unpack_from(data)
    at = _HEAD.size
    channels = []
    try:
        for _ in range(count):
            kind, fetus, sensor, length = _CHANNEL.unpack_from(data, at)
            at += _CHANNEL.size
            raw = np.frombuffer(data, "<i4", length, at)
            at += 4 * length
            samples = np.where(raw == MISSING, np.nan, raw / 100.0)
            channels.append(PacketChannel(KINDS[kind], fetus, SENSORS[sensor], samples))
        start = datetime.fromtimestamp(start_ms / 1000.0, UTC)
    except (struct.error, ValueError, IndexError, OverflowError, OSError) as error:
        raise PacketError("the packet is cut or names what is not known.") from error
    if at != len(data) - 4:
        raise PacketError("the packet is longer than its channels say.")
    return checked(Packet(start, rate_milli / 1000.0, sequence, tuple(channels)))


def to_bytes(packet: Packet) -> bytes:
    """The binary form: samples to a hundredth, the start to a millisecond."""
    parts = [
        _HEAD.pack(
            MAGIC,
            round(packet.start.timestamp() * 1000),
            round(packet.rate_hz * 1000),
            packet.sequence & 0xFFFFFFFF,
            len(packet.channels),
        )
    ]
    for one in packet.channels:
        parts.append(
            _CHANNEL.pack(
                KINDS.index(one.kind), one.fetus, SENSORS.index(one.sensor), len(one.samples)
            )
        )
        given = np.isfinite(one.samples)
        hundredths = np.where(given, np.rint(np.nan_to_num(one.samples) * 100.0), MISSING)
        parts.append(hundredths.astype("<i4").tobytes())
    body = b"".join(parts)
    return body + zlib.crc32(body).to_bytes(4, "little")


def checked(packet: Packet) -> Packet:
    """The packet, when it keeps to the limits. Raises PacketError naming the field."""
    if not LEAST_RATE_HZ <= packet.rate_hz <= MOST_RATE_HZ:
        raise _error("rate_hz", f"must lie between {LEAST_RATE_HZ:g} and {MOST_RATE_HZ:g}")
    if not 0 < len(packet.channels) <= MOST_CHANNELS:
        raise _error("channels", f"must be 1 to {MOST_CHANNELS}")
    seen = set()
    for number, one in enumerate(packet.channels):
        where = f"channels[{number}]"
        if not 0 < len(one.samples) <= MOST_SAMPLES:
            raise _error(f"{where}.samples", f"must be 1 to {MOST_SAMPLES}")
        fetal = one.kind is ChannelKind.FETAL_HEART_RATE
        if not (1 <= one.fetus <= MOST_FETUSES if fetal else one.fetus == 0):
            raise _error(
                f"{where}.fetus", f"must be 1 to {MOST_FETUSES} for a fetal heart rate, else 0"
            )
        if (one.kind, one.fetus) in seen:
            raise _error(where, "stands in the packet twice")
        seen.add((one.kind, one.fetus))
    return packet


def _channel(data: Any, where: str) -> PacketChannel:
    if not isinstance(data, dict):
        raise _error(where, "must be an object with kind and samples")
    kind = _word(ChannelKind, data.get("kind"), f"{where}.kind")
    samples = data.get("samples")
    if not isinstance(samples, list) or len(samples) > MOST_SAMPLES:
        raise _error(f"{where}.samples", f"must be a list of 1 to {MOST_SAMPLES} numbers or null")
    fetus = data.get("fetus", 1 if kind is ChannelKind.FETAL_HEART_RATE else 0)
    return PacketChannel(
        kind,
        int(_number(fetus, f"{where}.fetus")),
        _word(SensorKind, data.get("sensor", "unknown"), f"{where}.sensor"),
        np.array([_sample(v, f"{where}.samples") for v in samples], np.float64),
    )


def _sample(value: Any, where: str) -> float:
    return math.nan if value is None else _number(value, where)


def _word(kind: Any, said: Any, where: str) -> Any:
    try:
        return kind(said)
    except ValueError as error:
        raise _error(where, "must be one of " + ", ".join(kind)) from error


def _number(said: Any, where: str) -> float:
    if isinstance(said, bool) or not isinstance(said, int | float) or abs(said) > 1e15:
        raise _error(where, "must be a number")
    if not math.isfinite(said):
        raise _error(where, "must be a finite number or null")
    return float(said)


def _time(said: Any) -> datetime:
    try:
        at = datetime.fromisoformat(said)
    except (TypeError, ValueError) as error:
        raise _error("start", 'must be a time such as "2030-05-01T22:00:05+00:00"') from error
    if at.tzinfo is None:
        raise _error("start", "must name its zone, such as +00:00")
    return at


def _error(where: str, what: str) -> PacketError:
    return PacketError(f"{where} {what}.", where="packet", remedy="See docs/live.md.")
