"""What a channel's name and unit say: its kind, fetus, sensor (common practice, no source).

A name is understood only when every word in it is known, so that "FHR quality" or "HR" alone is
not taken for a fetal heart rate.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from ebbline.errors import RecordingError
from ebbline.recording.model import ChannelKind
from ebbline.terms import SensorKind

FETAL_RATE_WORDS = frozenset({"fhr", "fhf", "fcf"})
MATERNAL_RATE_WORDS = frozenset({"mhr"})
FETAL_WORDS = frozenset({"fetal", "foetal", "fetus", "foetus", "baby", "twin"})
MATERNAL_WORDS = frozenset({"maternal", "mother", "mat"})
RATE_WORDS = frozenset({"hr", "heart", "heartrate", "rate", "pulse"})
ACTIVITY_WORDS = frozenset(
    {"uc", "ua", "toco", "tocogram", "tocography", "iup", "iupc", "contractions", "contraction"}
)
UTERINE_WORDS = frozenset({"uterine", "uterus", "intrauterine"})
UTERINE_MEASURES = frozenset({"activity", "pressure", *ACTIVITY_WORDS})
FILLER_WORDS = frozenset({"channel", "signal", "raw", "ext", "external", "internal", "of"})
LONGEST_NAME = 200
"""Characters; what is longer is not the name of a channel (our choice)."""
FETUS_LETTERS = {"a": 1, "b": 2, "c": 3, "d": 4}
UNIT_WORDS = frozenset({"bpm", "mmhg", "kpa", "cmh2o"})

SENSOR_WORDS = {
    "ultrasound": SensorKind.ULTRASOUND,
    "us": SensorKind.ULTRASOUND,
    "doppler": SensorKind.ULTRASOUND,
    "scalp": SensorKind.SCALP_ELECTRODE,
    "electrode": SensorKind.SCALP_ELECTRODE,
    "fse": SensorKind.SCALP_ELECTRODE,
    "decg": SensorKind.SCALP_ELECTRODE,
    "toco": SensorKind.TOCO,
    "tocogram": SensorKind.TOCO,
    "tocography": SensorKind.TOCO,
    "iup": SensorKind.PRESSURE_CATHETER,
    "iupc": SensorKind.PRESSURE_CATHETER,
    "intrauterine": SensorKind.PRESSURE_CATHETER,
    "catheter": SensorKind.PRESSURE_CATHETER,
}

HEART_RATE_UNITS = frozenset(
    {"", "bpm", "/min", "1/min", "min-1", "min^-1", "beats/min", "b/min", "beats/minute", "nd"}
)
PRESSURE_UNITS = {
    "mmhg": 1.0,
    "mm hg": 1.0,
    "torr": 1.0,
    "kpa": 1000 / 133.322387415,
    "hpa": 100 / 133.322387415,
    "mbar": 100 / 133.322387415,
    "cmh2o": 98.0665 / 133.322387415,
}
"""mmHg in one unit; the conventional millimetre of mercury is 133.322387415 Pa (NIST SP 811)."""
RELATIVE_UNITS = frozenset({"nd", "%", "a.u.", "au", "a.u", "rel", "relative", "units"})
"""Units a toco is drawn in: strength is not measured."""


@dataclass(frozen=True, slots=True)
class ChannelName:
    """What a name says. fetus: 0 when it does not say which."""

    kind: ChannelKind
    fetus: int
    sensor: SensorKind


def split_unit(label: str) -> tuple[str, str]:
    """`FHR1 [bpm]` -> (`FHR1`, `bpm`); no unit gives an empty one.

    Words for a sensor in the brackets stay part of the name: `FHR (scalp electrode)`.
    """
    whole = label.strip()
    if len(whole) > LONGEST_NAME or not whole.endswith(("]", ")")):
        return whole, ""
    opening = max(whole.rfind("["), whole.rfind("("))
    name, within = whole[: max(opening, 0)].rstrip(), whole[opening + 1 : -1]
    if opening < 0 or not name or "]" in within or ")" in within:
        return whole, ""
    words = set(re.findall(r"[^\W\d_]+", within.casefold()))
    if words and words <= SENSOR_WORDS.keys() | FILLER_WORDS:
        return f"{name} {within.strip()}", ""
    return name, within.strip()


def understand(label: str) -> ChannelName | None:
    """The meaning of a channel's name, or None when it is not one of ours."""
    if len(label) > LONGEST_NAME:
        return None
    words = re.findall(r"cmh2o|[^\W\d_]+|\d+", label.casefold())
    if not words or re.search(r"[^\w\s\-.,/:#]", label):
        return None
    numbers = [w for w in words if w.isdecimal() or w in FETUS_LETTERS]
    words = [w for w in words if w not in numbers]
    if len(numbers) > 1 or not words:
        return None
    number = 0
    if numbers:
        said_number = numbers[0]
        number = FETUS_LETTERS.get(said_number) or int(said_number)
        if not 1 <= number <= 9:
            return None
    said = frozenset(words) - UNIT_WORDS
    rest = said - FILLER_WORDS - SENSOR_WORDS.keys()
    sensor = next((SENSOR_WORDS[w] for w in words if w in SENSOR_WORDS), SensorKind.UNKNOWN)
    is_rate = bool(said & {"hr", "heart", "heartrate", "pulse"})
    if said & FETAL_RATE_WORDS or (said & FETAL_WORDS and is_rate):
        if rest - FETAL_RATE_WORDS - FETAL_WORDS - RATE_WORDS:
            return None
        return ChannelName(ChannelKind.FETAL_HEART_RATE, number, sensor)
    if said & MATERNAL_RATE_WORDS or (said & MATERNAL_WORDS and is_rate):
        if rest - MATERNAL_RATE_WORDS - MATERNAL_WORDS - RATE_WORDS:
            return None
        return ChannelName(ChannelKind.MATERNAL_HEART_RATE, number, SensorKind.MATERNAL_PULSE)
    if said & ACTIVITY_WORDS or (said & UTERINE_WORDS and said & UTERINE_MEASURES):
        if rest - ACTIVITY_WORDS - UTERINE_WORDS - UTERINE_MEASURES:
            return None
        if "external" in said or "ext" in said:
            sensor = SensorKind.TOCO
        return ChannelName(ChannelKind.UTERINE_ACTIVITY, number, sensor)
    return None


def sensor_in(text: str) -> SensorKind:
    """The sensor that a description in words speaks of; UNKNOWN when none or several."""
    words = set(re.findall(r"[a-z]+", text.casefold()))
    found = {SENSOR_WORDS[word] for word in words & SENSOR_WORDS.keys()}
    return found.pop() if len(found) == 1 else SensorKind.UNKNOWN


def number_fetuses(names: Sequence[ChannelName | None], where: str) -> list[int]:
    """The fetus of each channel: 0 for the mother's, the number said, or the next one free.

    Raises RecordingError when two channels say that they are the same fetus.
    """
    fetal = [n for n in names if n is not None and n.kind is ChannelKind.FETAL_HEART_RATE]
    said = [n.fetus for n in fetal if n.fetus]
    twice = next((number for number in said if said.count(number) > 1), None)
    if twice is not None:
        raise RecordingError(
            f"two channels say that they are the heart rate of fetus {twice}.",
            where=where,
            remedy="Name them FHR1 and FHR2.",
        )
    free = iter(number for number in range(1, len(names) + 10) if number not in said)
    return [
        0
        if name is None or name.kind is not ChannelKind.FETAL_HEART_RATE
        else name.fetus or next(free)
        for name in names
    ]


def activity_sensor(said: SensorKind, unit: str) -> SensorKind:
    """The sensor of an activity channel: what its name says, else what its unit means."""
    if said is not SensorKind.UNKNOWN:
        return said
    if unit.casefold() in PRESSURE_UNITS:
        return SensorKind.PRESSURE_CATHETER
    if unit.casefold() in RELATIVE_UNITS:
        return SensorKind.TOCO
    return SensorKind.UNKNOWN
