"""Findings and readings as the pages show them: brackets, numbers in words, the rule behind each.

Nothing is measured or judged here. Thresholds in the words come from the modules that apply them.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from ebbline.criteria.tables.nichd import BASELINE_NORMAL
from ebbline.definitions import ABRUPT_BELOW_S, PROLONGED_FROM_S, TACHYSYSTOLE_ABOVE
from ebbline.features.findings import (
    NO_CONTRACTION,
    Acceleration,
    Artefact,
    ArtefactKind,
    Contraction,
    Deceleration,
    DecelerationKind,
    Findings,
    SinusoidalEpisode,
    VariabilityClass,
)
from ebbline.reading import counts
from ebbline.reading.model import TenMinutes
from ebbline.reading.text import length, number, share
from ebbline.terms import SensorKind
from ebbline.web.reading.schemas import ColumnOut, CurveOut, ItemOut

NICHD = "NICHD 2008 (Macones et al.)"
CURVE_STEP_S = 5


def finding_items(findings: Findings) -> list[ItemOut]:
    """Every computed finding as a bracket; ids are stable for one recording."""
    fetal = findings.fetal
    contractions = findings.uterine.contractions
    items = [_acceleration(k, a) for k, a in enumerate(fetal.accelerations)]
    items += [_deceleration(k, d, contractions) for k, d in enumerate(fetal.decelerations)]
    items += [_sinusoidal(k, s) for k, s in enumerate(fetal.sinusoidal)]
    items += [_artefact(k, a) for k, a in enumerate(fetal.artefacts)]
    items += [_contraction(k, c, findings.uterine.sensor) for k, c in enumerate(contractions)]
    return items


def baseline_curve(findings: Findings) -> CurveOut:
    """The continuous baseline at five-second steps."""
    curve = findings.fetal.baseline_curve
    stride = max(1, round(CURVE_STEP_S / curve.step_s))
    values = [round(v, 1) if v == v else None for v in curve.values[::stride].tolist()]
    return CurveOut(start_s=curve.start_s, step_s=curve.step_s * stride, values=values)


def column_cells(columns: Iterable[TenMinutes]) -> list[ColumnOut]:
    """The ten-minute columns as they stand under the strip."""
    return [_column(one) for one in columns]


def _sure(certainty: float, valid: float) -> list[tuple[str, str]]:
    return [("valid signal", share(valid)), ("certainty", share(certainty))]


def _acceleration(index: int, one: Acceleration) -> ItemOut:
    rise = "abrupt" if one.abrupt else "gradual"
    rule = (
        f"{rise.capitalize()} rise (onset to peak {number(one.onset_to_peak_s, 's')}, abrupt is "
        f"under {ABRUPT_BELOW_S:.0f} s), {number(one.height_bpm, 'bpm')} above the baseline for "
        f"{length(one.duration_s)}. {NICHD}"
    )
    return ItemOut(
        id=f"acceleration-{index}",
        layer="computed",
        plot="heart",
        kind="acceleration",
        name="acceleration",
        title="Prolonged acceleration" if one.prolonged else "Acceleration",
        letter="A",
        tone="acceleration",
        start_s=one.onset_s,
        end_s=one.end_s,
        turn_s=one.peak_s,
        turn_value=one.baseline_bpm + one.height_bpm,
        certainty=one.certainty,
        details=[
            ("height", number(one.height_bpm, "bpm")),
            ("duration", length(one.duration_s)),
            ("onset to peak", number(one.onset_to_peak_s, "s")),
            ("baseline there", number(one.baseline_bpm, "bpm")),
            *_sure(one.certainty, one.valid_share),
        ],
        rule=rule,
    )


_LETTERS = {
    DecelerationKind.EARLY: "E",
    DecelerationKind.LATE: "L",
    DecelerationKind.VARIABLE: "V",
    DecelerationKind.PROLONGED: "P",
    DecelerationKind.GRADUAL_UNPAIRED: "G",
}


def deceleration_title(kind: DecelerationKind) -> str:
    """'Late deceleration'."""
    if kind is DecelerationKind.GRADUAL_UNPAIRED:
        return "Gradual deceleration, contraction not known"
    return f"{kind.value.capitalize()} deceleration"


def deceleration_rule(one: Deceleration) -> str:
    """Why a deceleration is of its kind."""
    speed = (
        f"onset to nadir {number(one.onset_to_nadir_s, 's')}, abrupt is under "
        f"{ABRUPT_BELOW_S:.0f} s"
    )
    after = f"nadir {number(abs(one.lag_s), 's')} " + ("after" if one.lag_s >= 0 else "before")
    match one.kind:
        case DecelerationKind.PROLONGED:
            said = f"Lasts {length(one.duration_s)}: {length(PROLONGED_FROM_S)} or more."
        case DecelerationKind.VARIABLE:
            said = f"Abrupt fall ({speed})."
        case DecelerationKind.LATE:
            said = f"Gradual fall ({speed}); {after} the contraction's peak."
        case DecelerationKind.EARLY:
            said = f"Gradual fall ({speed}); {after} the contraction's peak, so with it."
        case DecelerationKind.GRADUAL_UNPAIRED:
            said = f"Gradual fall ({speed}); whether it comes with a contraction cannot be told."
    if one.shallow:
        said += " Under 15 bpm deep: it counts only where a standard says so."
    return f"{said} {NICHD}"


def _deceleration(index: int, one: Deceleration, contractions: tuple[Contraction, ...]) -> ItemOut:
    details = [
        ("depth", number(one.depth_bpm, "bpm")),
        ("nadir", number(one.nadir_bpm, "bpm")),
        ("duration", length(one.duration_s)),
        ("onset to nadir", number(one.onset_to_nadir_s, "s")),
        ("nadir to return", number(one.return_s, "s")),
    ]
    if one.contraction != NO_CONTRACTION and one.contraction < len(contractions):
        details.append(("after the contraction's peak", number(one.lag_s, "s")))
    else:
        details.append(("contraction", "none belongs to it"))
    details += [
        ("area", number(one.area_bpm_s, "bpm·s")),
        ("variability within", number(one.variability_within_bpm, "bpm")),
    ]
    features = [
        words
        for words, present in (
            ("shoulder before", one.shoulder_before),
            ("shoulder after", one.shoulder_after),
            ("overshoot", one.overshoot),
            ("slow return", one.slow_return),
            ("fails to return", one.fails_to_return),
        )
        if present
    ]
    if features:
        details.append(("seen", ", ".join(features)))
    return ItemOut(
        id=f"deceleration-{index}",
        layer="computed",
        plot="heart",
        kind=one.kind.value,
        name="gradual" if one.kind is DecelerationKind.GRADUAL_UNPAIRED else one.kind.value,
        title=deceleration_title(one.kind),
        letter=_LETTERS[one.kind],
        tone="deceleration",
        start_s=one.onset_s,
        end_s=one.end_s,
        turn_s=one.nadir_s,
        turn_value=one.nadir_bpm,
        certainty=one.certainty,
        details=[*details, *_sure(one.certainty, one.valid_share)],
        rule=deceleration_rule(one),
    )


def _contraction(index: int, one: Contraction, sensor: SensorKind) -> ItemOut:
    details = [
        ("duration", length(one.duration_s)),
        ("onset to peak", number(one.peak_s - one.onset_s, "s")),
    ]
    if sensor is SensorKind.PRESSURE_CATHETER:
        details += [
            ("peak over resting tone", number(one.amplitude, "mmHg")),
            ("resting tone", number(one.resting_tone, "mmHg")),
        ]
    else:
        details.append(("strength", "not measured: only a pressure catheter shows it"))
    if one.cut_top:
        details.append(("top", "cut off by the sensor"))
    return ItemOut(
        id=f"contraction-{index}",
        layer="computed",
        plot="uterine",
        kind="contraction",
        name="contraction",
        title="Contraction",
        letter="C",
        tone="contraction",
        start_s=one.onset_s,
        end_s=one.end_s,
        turn_s=one.peak_s,
        certainty=one.certainty,
        details=[*details, *_sure(one.certainty, one.valid_share)],
        travel=False,
    )


def _sinusoidal(index: int, one: SinusoidalEpisode) -> ItemOut:
    name = "pseudosinusoidal" if one.pseudo else "sinusoidal"
    return ItemOut(
        id=f"sinusoidal-{index}",
        layer="computed",
        plot="heart",
        kind=name,
        name=name,
        title=f"{name.capitalize()} undulation",
        letter="S",
        tone="sinus",
        start_s=one.start_s,
        end_s=one.end_s,
        certainty=one.certainty,
        details=[
            ("cycles", number(one.cycles_per_min, "per minute", 1)),
            ("amplitude", number(one.amplitude_bpm, "bpm")),
            ("duration", length(one.end_s - one.start_s)),
            ("certainty", share(one.certainty)),
        ],
    )


def _artefact(index: int, one: Artefact) -> ItemOut:
    return ItemOut(
        id=f"artefact-{index}",
        layer="computed",
        plot="signal",
        kind=one.kind.value,
        name=one.kind.value,
        title=one.kind.value.capitalize(),
        letter="?",
        tone="caution",
        start_s=one.start_s,
        end_s=one.end_s,
        certainty=one.certainty,
        details=[("certainty", share(one.certainty))],
        rule=f"{one.why[:1].upper()}{one.why[1:]}.",
        travel=one.kind is not ArtefactKind.DROP_OUT,
    )


_SHORT_VARIABILITY = {
    VariabilityClass.ABSENT: "abs",
    VariabilityClass.MINIMAL: "min",
    VariabilityClass.MODERATE: "mod",
    VariabilityClass.MARKED: "mar",
    VariabilityClass.INDETERMINATE: "?",
}


def _column(one: TenMinutes) -> ColumnOut:
    squeezes = "not assessed" if one.contractions is None else str(one.contractions)
    base = "indeterminate" if math.isnan(one.baseline_bpm) else f"{one.baseline_bpm:.0f}"
    word = one.variability.value
    told = one.variability is not VariabilityClass.INDETERMINATE and one.bandwidth_bpm == (
        one.bandwidth_bpm
    )
    width = f" {one.bandwidth_bpm:.0f}" if told else ""
    seen = (one.valid_share, one.baseline_bpm)
    rises, falls = (counts.in_short(n, *seen) for n in (one.accelerations, one.decelerations))
    counted = one.accelerations is not None or one.decelerations is not None
    events_said = f"{rises} · {falls}" if counted else counts.NOT_ASSESSED
    # Where there is little room, "at least 2" is "2+", and what was not assessed "?".
    events_short = "·".join(
        "?" if n is None else f"{n}{'+' if counts.in_part(*seen) else ''}"
        for n in (one.accelerations, one.decelerations)
    )
    lines = [
        [squeezes, "n.a."] if one.contractions is None else [squeezes],
        [base, "?"] if math.isnan(one.baseline_bpm) else [base],
        [f"{word}{width}", f"{_SHORT_VARIABILITY[one.variability]}{width}", width.strip() or "?"],
        [events_said, events_short if counted else "n.a."],
    ]
    unknown = [
        one.contractions is None,
        math.isnan(one.baseline_bpm),
        one.variability is VariabilityClass.INDETERMINATE,
        not counted,
    ]
    weights = [
        "caution" if one.contractions is not None and one.contractions > TACHYSYSTOLE_ABOVE else "",
        "" if math.isnan(one.baseline_bpm) or BASELINE_NORMAL.met(one.baseline_bpm) else "caution",
        "caution"
        if one.variability
        in (VariabilityClass.ABSENT, VariabilityClass.MINIMAL, VariabilityClass.MARKED)
        else "",
        "caution" if one.decelerations else "",
    ]
    marked = ["soft" if lost else weight for lost, weight in zip(unknown, weights, strict=True)]
    return ColumnOut(start_s=one.window.start_s, end_s=one.window.end_s, lines=lines, marked=marked)
