"""What the record says that a reading of the trace asks for: the context, and its sensors."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime

from ebbline.journal.chain import Entry
from ebbline.journal.entries import (
    Medicine,
    Membranes,
    MotherVitals,
    Oxytocic,
    Sensor,
    StageBegins,
)
from ebbline.journal.standing import labour_known, of_kind, second_stage_began, standing
from ebbline.recording.model import ChannelKind, Context
from ebbline.terms import SensorKind, Stage

FEVER_C = 38.0

CHANNEL_OF = {
    SensorKind.ULTRASOUND: ChannelKind.FETAL_HEART_RATE,
    SensorKind.SCALP_ELECTRODE: ChannelKind.FETAL_HEART_RATE,
    SensorKind.TOCO: ChannelKind.UTERINE_ACTIVITY,
    SensorKind.PRESSURE_CATHETER: ChannelKind.UTERINE_ACTIVITY,
    SensorKind.MATERNAL_PULSE: ChannelKind.MATERNAL_HEART_RATE,
}
"""Which channel a sensor gives."""


def labour_context(
    entries: Iterable[Entry], begins: datetime, now: datetime, begun: Context | None = None
) -> Context:
    """The context of a trace that begins at a time, by all that was written of until now.

    begun: what was known otherwise; the record takes its place where it says something. What the
    record does not say stays unknown.
    """
    held = tuple(one for one in standing(entries) if one.at <= now)
    known = labour_known(held)
    made = begun or Context()
    if known.weeks is not None:
        made = replace(made, weeks=known.weeks)
    if known.births_before is not None:
        made = replace(made, parity=known.births_before)
    second = second_stage_began(held)
    if second is not None:
        made = replace(made, second_stage_start_s=max(0.0, (second - begins).total_seconds()))
    elif of_kind(held, StageBegins):
        made = replace(made, stage=Stage.FIRST)
    elif known.onset == "not in labour":
        made = replace(made, stage=Stage.ANTEPARTUM)
    if of_kind(held, Oxytocic):
        made = replace(made, oxytocin=oxytocin_runs(held))
    if any(body.medicine_class == "regional block" for _, body in of_kind(held, Medicine)):
        made = replace(made, epidural=True)
    if meconium_seen(held):
        made = replace(made, meconium=True)
    if fever_measured(held):
        made = replace(made, fever=True)
    return made


def sensors_in_place(
    entries: Iterable[Entry], now: datetime
) -> dict[tuple[ChannelKind, int], SensorKind]:
    """The sensor of each channel (kind, fetus: 0 for what is the mother's) that lies by the record.

    The one placed last, where several of a channel lie.
    """
    lies: dict[tuple[ChannelKind, int], SensorKind] = {}
    for entry, body in of_kind(standing(entries), Sensor):
        if entry.at > now:
            continue
        sensor = SensorKind(body.sensor)
        kind = CHANNEL_OF[sensor]
        key = (kind, (body.fetus or 1) if kind is ChannelKind.FETAL_HEART_RATE else 0)
        if body.action != "taken off":
            lies[key] = sensor
        elif lies.get(key) is sensor:
            del lies[key]
    return lies


def oxytocin_runs(held: Sequence[Entry]) -> bool:
    """Whether oxytocin was begun and not stopped since."""
    drip = [body for _, body in of_kind(held, Oxytocic) if body.drug in ("", "oxytocin")]
    return bool(drip) and drip[-1].action != "stopped"


def meconium_seen(held: Sequence[Entry]) -> bool:
    """Whether meconium was seen in the fluid."""
    return any("meconium" in body.fluid for _, body in of_kind(held, Membranes))


def fever_measured(held: Sequence[Entry]) -> bool:
    """Whether she had 38 degrees Celsius or more."""
    return any(
        body.temperature_c is not None and body.temperature_c >= FEVER_C
        for _, body in of_kind(held, MotherVitals)
    )
