"""Samples from HL7 v2 ORU^R01 messages.

As IHE's device profiles lay waveforms out: one OBX of type NA for a channel, its values parted by
^ (an empty one is missing), and beneath it (OBX-4 with one more number) an OBX of type NM with
0^MDC_ATTR_SAMP_RATE^MDC, samples a second. OBX-14, else OBR-7, is the time of the first sample
and must name its zone. MSH-8 holds the device's token. Which code stands for which channel is
data: policies/hl7.yaml.
"""

from __future__ import annotations

import math
import re
from collections import defaultdict
from dataclasses import dataclass
from datetime import datetime, timedelta, timezone
from functools import cache
from importlib import resources
from pathlib import Path
from typing import Any

import hl7
import numpy as np

from ebbline.bedside.policy.reader import parse, read_file
from ebbline.live.packets import Packet, PacketChannel, PacketError, checked
from ebbline.recording.model import ChannelKind
from ebbline.terms import SensorKind

SAMPLE_RATE = "MDC_ATTR_SAMP_RATE"
USUAL_RATE_HZ = 1.0
"""Of a single value (type NM) that names no rate (ours)."""

_TIME = re.compile(r"(\d{14})(\.\d{1,4})?([+-])(\d{2})(\d{2})")


@dataclass(frozen=True, slots=True)
class Observation:
    """What a code stands for."""

    kind: ChannelKind
    fetus: int
    sensor: SensorKind


@dataclass(frozen=True, slots=True)
class Received:
    """A message's control number, its device's token, and its samples."""

    control: str
    token: str
    packets: tuple[Packet, ...]


@cache
def codes(path: Path | None = None) -> dict[tuple[str, str], Observation]:
    """(system, code) -> what it stands for. Raises PolicyError saying which line."""
    if path is None:
        text = resources.files("ebbline.live.policies").joinpath("hl7.yaml").read_text("utf-8")
        top = parse(text, "shipped hl7.yaml")
    else:
        top = parse(read_file(path), str(path))
    found = {}
    for one in top.fields(("observations",))["observations"].items():
        fields = one.fields(("code", "system", "kind", "fetus", "sensor"))
        found[(fields["system"].text(), fields["code"].text())] = Observation(
            ChannelKind(fields["kind"].choice(ChannelKind)),
            int(fields["fetus"].number()),
            SensorKind(fields["sensor"].choice(SensorKind)),
        )
    return found


def read_message(text: str, known: dict[tuple[str, str], Observation] | None = None) -> Received:
    """The samples of an ORU^R01 message. Raises PacketError naming segment and field."""
    known = codes() if known is None else known
    try:
        message = hl7.parse(text)
        header = message.segment("MSH")
    except Exception as error:
        # The library raises what it meets; to the sender it is all one.
        raise PacketError("this is not an HL7 v2 message.", where="MSH") from error
    kind = _text(header, 9)
    if not kind.startswith("ORU^R01"):
        raise PacketError(f"'{kind[:40]}' is not taken, ORU^R01 is.", where="MSH-9")
    rates: dict[str, float] = {}
    channels: list[tuple[datetime, str, Observation, np.ndarray[Any, np.dtype[np.float64]]]] = []
    default: str = ""
    for segment in message:
        name = str(segment[0])
        if name == "OBR":
            default = _text(segment, 7)
        if name != "OBX":
            continue
        code, _, rest = _text(segment, 3).partition("^")
        where = f"OBX {_text(segment, 1)}"
        if rest.split("^")[0] == SAMPLE_RATE:
            rates[_text(segment, 4).rpartition(".")[0]] = _number(_text(segment, 5), f"{where}-5")
            continue
        system = rest.split("^")[1] if "^" in rest else ""
        meaning = known.get((system, code))
        if meaning is None:
            continue
        values = [
            _number(one, f"{where}-5") if one not in ("", '""') else math.nan
            for one in _text(segment, 5).split("^")
        ]
        start = _time(_text(segment, 14) or default, f"{where}-14")
        channels.append((start, _text(segment, 4), meaning, np.array(values)))
    if not channels:
        raise PacketError(
            "no observation has a code that is known here.",
            where="OBX-3",
            remedy="See docs/live.md for the codes, or give a unit's own list.",
        )
    grouped: dict[tuple[datetime, float], list[PacketChannel]] = defaultdict(list)
    for start, place, meaning, samples in channels:
        rate_hz = rates.get(place, USUAL_RATE_HZ if len(samples) == 1 else math.nan)
        if math.isnan(rate_hz):
            raise PacketError(
                f"the samples of {place or 'an observation'} name no rate.",
                where="OBX",
                remedy=f"Add an OBX with 0^{SAMPLE_RATE}^MDC beneath it.",
            )
        grouped[(start, rate_hz)].append(
            PacketChannel(meaning.kind, meaning.fetus, meaning.sensor, samples)
        )
    packets = tuple(
        checked(Packet(start, rate_hz, 0, tuple(parts)))
        for (start, rate_hz), parts in grouped.items()
    )
    return Received(_text(header, 10), _text(header, 8), packets)


def _text(segment: Any, field: int) -> str:
    try:
        return str(segment[field]).strip()
    except IndexError:
        return ""


def _number(said: str, where: str) -> float:
    try:
        value = float(said)
    except ValueError:
        value = math.nan
    if not math.isfinite(value):
        raise PacketError(f"'{said[:20]}' is no number.", where=where)
    return value


def _time(said: str, where: str) -> datetime:
    found = _TIME.fullmatch(said)
    if found is None:
        raise PacketError(
            f"'{said[:30]}' is no time with a zone, such as 20300501220005.000+0000.", where=where
        )
    try:
        plain = datetime.strptime(found[1], "%Y%m%d%H%M%S")
    except ValueError as error:
        raise PacketError(f"'{said[:30]}' is no time.", where=where) from error
    sign = -1 if found[3] == "-" else 1
    zone = timezone(sign * timedelta(hours=int(found[4]), minutes=int(found[5])))
    return plain.replace(tzinfo=zone) + timedelta(seconds=float(found[2] or 0.0))
