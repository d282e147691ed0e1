"""Findings as marks: what stands beside the paper for each, from its full name to its letter."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np

from ebbline.features.findings import (
    NO_CONTRACTION,
    Acceleration,
    Artefact,
    ArtefactKind,
    BaselineChange,
    Contraction,
    Deceleration,
    DecelerationKind,
    FetalFindings,
    SinusoidalEpisode,
    UterineFindings,
)
from ebbline.picture.lanes import Mark
from ebbline.picture.paper import Panel
from ebbline.picture.style import FALL, INK, QUIET_INK, RISE, WARNING
from ebbline.picture.trace import stretches
from ebbline.reading.text import elapsed, length, number
from ebbline.recording.model import Channel, Context, FloatArray
from ebbline.terms import SensorKind

SURE = 0.5
"""Findings with less certainty are drawn dashed and with a question mark."""

_NUMEROUS = (ArtefactKind.DROP_OUT, ArtefactKind.SPIKE, ArtefactKind.OUT_OF_RANGE)
_LETTERS = {
    ArtefactKind.DROP_OUT: "x",
    ArtefactKind.SPIKE: "k",
    ArtefactKind.OUT_OF_RANGE: "r",
    ArtefactKind.DOUBLING: "d",
    ArtefactKind.HALVING: "h",
    ArtefactKind.MATERNAL: "m",
    ArtefactKind.FLAT: "f",
}
_NEIGHBOURS_CM = 0.6
_SAID_IN_SECONDS = 120.0
_KIND_NAMES = {DecelerationKind.GRADUAL_UNPAIRED: "gradual"}
_KIND_LETTERS = {
    DecelerationKind.EARLY: "E",
    DecelerationKind.LATE: "L",
    DecelerationKind.VARIABLE: "V",
    DecelerationKind.PROLONGED: "P",
    DecelerationKind.GRADUAL_UNPAIRED: "G",
}


def _doubt(certainty: float) -> str:
    return "" if certainty >= SURE else "?"


def lasting(seconds: float) -> str:
    """A duration as it is said of an event: '75 s', from two minutes on '2 min 10 s'."""
    return number(seconds, "s") if seconds < _SAID_IN_SECONDS else length(seconds)


def _sure_in_words(certainty: float) -> str:
    return f"certainty {certainty * 100:.0f} %"


def acceleration(one: Acceleration) -> Mark:
    """An acceleration, its peak and its height."""
    name = "prolonged acceleration" if one.prolonged else "acceleration"
    size = f"+{one.height_bpm:.0f} bpm, {lasting(one.duration_s)}"
    doubt = _doubt(one.certainty)
    return Mark(
        one.onset_s,
        one.end_s,
        (f"{name}{doubt} {size}", f"{name}{doubt}", f"accel.{doubt}", f"A{doubt}"),
        RISE,
        f"{name} at {elapsed(one.onset_s)}, {size}, {_sure_in_words(one.certainty)}",
        one.peak_s,
        one.certainty >= SURE,
        "A acceleration",
    )


def deceleration(one: Deceleration) -> Mark:
    """A deceleration by its kind, its nadir, depth and length, and the contraction it is with."""
    kind = _KIND_NAMES.get(one.kind, one.kind.value)
    doubt = _doubt(one.certainty)
    size = f"\N{MINUS SIGN}{one.depth_bpm:.0f} bpm, {lasting(one.duration_s)}"
    paired = "" if one.contraction == NO_CONTRACTION else f", contraction {one.contraction + 1}"
    features = "".join(
        f", {word}"
        for word, present in (
            ("slow return", one.slow_return),
            ("fails to return", one.fails_to_return),
            ("overshoot", one.overshoot),
        )
        if present
    )
    if one.shallow:
        kind = f"shallow {kind}"
    full = f"{kind} deceleration{doubt}"
    letter = _KIND_LETTERS[one.kind]
    legend = f"{letter} {one.kind.value}"
    return Mark(
        one.onset_s,
        one.end_s,
        (
            f"{full} {size}{paired}{features}",
            f"{full} {size}{paired}",
            f"{full} {size}",
            f"{kind}{doubt} {size}",
            f"{kind} decel.{doubt}",
            f"{kind}{doubt}",
            f"{letter}{doubt}",
        ),
        FALL,
        f"{one.kind.value} deceleration at {elapsed(one.onset_s)}, {size}{paired}{features}, "
        f"{_sure_in_words(one.certainty)}",
        one.nadir_s,
        one.certainty >= SURE,
        legend,
    )


def contraction(number: int, one: Contraction, sensor: SensorKind) -> Mark:
    """A contraction with its number, length, and from a catheter its height in mmHg."""
    doubt = _doubt(one.certainty)
    strength = (
        f", {one.amplitude:.0f} mmHg over {one.resting_tone:.0f}"
        if sensor is SensorKind.PRESSURE_CATHETER
        else ""
    )
    cut = ", top cut off" if one.cut_top else ""
    spent = lasting(one.duration_s)
    return Mark(
        one.onset_s,
        one.end_s,
        (
            f"contraction {number}{doubt}: {spent}{strength}{cut}",
            f"contraction {number}{doubt}: {spent}",
            f"{number}{doubt}: {spent}",
            f"{number}{doubt}",
        ),
        INK,
        f"contraction {number} at {elapsed(one.onset_s)}, {spent}{strength}{cut}, peak at "
        f"{elapsed(one.peak_s)}, {_sure_in_words(one.certainty)}",
        one.peak_s,
        one.certainty >= SURE,
        "1, 2, … contractions",
    )


def sinusoidal(one: SinusoidalEpisode) -> Mark:
    """A sinusoidal or pseudo-sinusoidal stretch with its pace and height."""
    name = "pseudo-sinusoidal" if one.pseudo else "sinusoidal"
    doubt = _doubt(one.certainty)
    size = f"{one.cycles_per_min:.1f} in 1 min, {one.amplitude_bpm:.0f} bpm"
    return Mark(
        one.start_s,
        one.end_s,
        (f"{name} pattern{doubt} {size}", f"{name} pattern{doubt}", f"{name}{doubt}", f"S{doubt}"),
        WARNING,
        f"{name} pattern at {elapsed(one.start_s)}, {size}, {_sure_in_words(one.certainty)}",
        math.nan,
        one.certainty >= SURE,
        "S sinusoidal or pseudo-sinusoidal",
    )


def baseline_change(one: BaselineChange) -> Mark:
    """A change of the baseline's level."""
    name = f"baseline {one.from_bpm:.0f} to {one.to_bpm:.0f}"
    return Mark(
        one.at_s,
        one.at_s,
        (f"{name} bpm", name, "B"),
        QUIET_INK,
        f"{name} bpm at {elapsed(one.at_s)}",
        letter="B baseline changes",
    )


def second_stage(context: Context) -> list[Mark]:
    """Where the second stage begins, if that is known."""
    at_s = context.second_stage_start_s
    if at_s is None:
        return []
    name = "second stage begins"
    return [Mark(at_s, at_s, (name, "2nd stage"), QUIET_INK, f"{name} at {elapsed(at_s)}")]


def _artefacts_of(
    kind: ArtefactKind, found: list[Artefact], reach_s: float
) -> Iterable[list[Artefact]]:
    """Neighbours of one kind together where there are many, else each alone."""
    group: list[Artefact] = []
    for one in found:
        if group and (kind not in _NUMEROUS or one.start_s - group[-1].end_s > reach_s):
            yield group
            group = []
        group.append(one)
    if group:
        yield group


def artefacts(found: Iterable[Artefact], cm_per_s: float) -> list[Mark]:
    """Suspect stretches by kind; lost signal, spikes and values out of range in clusters."""
    marks = []
    every = sorted(found, key=lambda one: one.start_s)
    for kind in ArtefactKind:
        of_kind = [one for one in every if one.kind is kind]
        for group in _artefacts_of(kind, of_kind, _NEIGHBOURS_CM / cm_per_s):
            times = f" ×{len(group)}" if len(group) > 1 else ""
            spent = lasting(sum(one.end_s - one.start_s for one in group))
            whole = f"{spent} in all" if times else spent
            sure = max(one.certainty for one in group)
            marks.append(
                Mark(
                    group[0].start_s,
                    group[-1].end_s,
                    (
                        f"{kind.value}{times}, {whole}",
                        f"{kind.value}{times}",
                        kind.value.replace(" suspected", "?"),
                        _LETTERS[kind],
                    ),
                    WARNING,
                    f"{kind.value}{times} at {elapsed(group[0].start_s)}, {whole}, "
                    f"{_sure_in_words(sure)}: {group[0].why}",
                    sure=sure >= SURE,
                    letter=f"{_LETTERS[kind]} {kind.value}",
                )
            )
    return marks


def rises(fetal: FetalFindings) -> list[Mark]:
    """What is named above the heart rate."""
    return [
        *map(acceleration, fetal.accelerations),
        *map(sinusoidal, fetal.sinusoidal),
        *map(baseline_change, fetal.baseline_changes),
    ]


def falls(fetal: FetalFindings) -> list[Mark]:
    """What is named below the heart rate."""
    return [deceleration(one) for one in fetal.decelerations]


def contractions(uterine: UterineFindings) -> list[Mark]:
    """The contractions, numbered from the recording's start."""
    return [contraction(i + 1, one, uterine.sensor) for i, one in enumerate(uterine.contractions)]


def off_scale(channel: Channel, panel: Panel) -> tuple[list[Mark], list[Mark]]:
    """Stretches that leave the paper above and below its edges, each with its extreme."""
    reach_s = _NEIGHBOURS_CM / panel.cm_per_s
    return (
        _beyond(channel, channel.samples - panel.highest, "above", reach_s),
        _beyond(channel, panel.lowest - channel.samples, "below", reach_s),
    )


def _beyond(channel: Channel, excess: FloatArray, side: str, reach_s: float) -> list[Mark]:
    marks: list[Mark] = []
    for begin, end in stretches(excess > 0, reach_s * channel.rate_hz):
        extreme = channel.samples[begin + int(np.nanargmax(excess[begin:end]))]
        start_s, end_s = begin / channel.rate_hz, end / channel.rate_hz
        name = f"{side} the scale: {extreme:.0f}"
        marks.append(
            Mark(
                start_s,
                end_s,
                (name, f"{extreme:.0f}", "o"),
                INK,
                f"{name} at {elapsed(start_s)}",
                letter="o off the scale",
            )
        )
    return marks
