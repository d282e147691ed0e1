"""What can be written into the record: one frozen type for each kind of entry.

Every field is absent unless it was said: None, an empty text or an empty list mean "not written",
never "normal". `fetus` is 1, 2, ... in the order of the recording.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, fields
from datetime import datetime
from difflib import get_close_matches
from typing import Any, ClassVar

from ebbline.journal.entry_fields import (
    Ask,
    Sort,
    choice,
    choices,
    moment,
    number,
    text,
    truth,
    whole,
)
from ebbline.journal.errors import JournalError
from ebbline.terms import Position, Presentation, SensorKind

_POSITIONS = tuple(one.value for one in Position)
_PRESENTATIONS = tuple(one.value for one in Presentation)
_PLUSES = {"0": "none", "1": "+", "2": "++", "3": "+++"}


def _fetus() -> Any:
    return whole("Fetus", "", 1, 4)


def _note() -> Any:
    return text("Note", bare=True)


@dataclass(frozen=True, slots=True)
class Body:
    """What one entry says. Every kind is a subclass; `kind` is its name in the store."""

    kind: ClassVar[str] = ""
    title: ClassVar[str] = ""
    alone: ClassVar[frozenset[str]] = frozenset({"fetus"})
    """Fields that say nothing when nothing stands beside them."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Bed(Body):
    """The bed she lies in from now on; the first entry of every case."""

    kind: ClassVar[str] = "bed"
    title: ClassVar[str] = "Bed"
    bed: str = text("Bed", most=20, required=True, bare=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Labour(Body):
    """What is known about the pregnancy and the labour; a later entry adds to an earlier one."""

    kind: ClassVar[str] = "labour"
    title: ClassVar[str] = "The labour"
    weeks: float | None = number("Weeks of gestation", "weeks", 20, 45, step=1)
    births_before: int | None = whole("Births before", "", 0, 25)
    onset: str = choice("Onset", "spontaneous", "induced", "not in labour")
    fetuses: int | None = whole("Fetuses", "", 1, 4)
    heart_by: str = choice("Heart watched by", "auscultation", "continuous")
    risk: str = choice("Risk", "low", "raised")
    risk_factors: tuple[str, ...] = choices("Risk factors")
    started_at: datetime | None = moment("Labour began at")  # noqa: RUF009
    note: str = _note()


@dataclass(frozen=True, slots=True, kw_only=True)
class StageBegins(Body):
    """A stage of labour begins."""

    kind: ClassVar[str] = "stage"
    title: ClassVar[str] = "Stage"
    stage: str = choice(
        "What begins",
        "active first stage",
        "second stage",
        "pushing",
        "third stage",
        required=True,
        bare=True,
    )
    note: str = _note()


@dataclass(frozen=True, slots=True, kw_only=True)
class Examination(Body):
    """The abdominal examination."""

    kind: ClassVar[str] = "examination"
    title: ClassVar[str] = "Abdomen"
    fundal_height_cm: float | None = number("Fundal height", "cm", 10, 60, step=1)
    presentation: str = choice("Presentation", *_PRESENTATIONS)
    position: str = choice("Position", *_POSITIONS)
    fifths_above: float | None = number("Fifths above the brim", "/5", 0, 5)
    heart_site: str = text("Heart heard best", most=120)
    fetus: int | None = _fetus()
    note: str = _note()


@dataclass(frozen=True, slots=True, kw_only=True)
class VaginalExamination(Body):
    """Dilatation, station, position, caput and moulding."""

    kind: ClassVar[str] = "cervix"
    title: ClassVar[str] = "Cervix, station"
    dilatation_cm: float | None = number("Dilatation", "cm", 0, 10, step=1)
    effacement_percent: float | None = number("Effacement", "%", 0, 100, step=10)
    station_cm: float | None = number("Station", "cm", -5, 5)
    presentation: str = choice("Presentation", *_PRESENTATIONS)
    position: str = choice("Position", *_POSITIONS)
    caput: int | None = whole("Caput", "", 0, 3, words=_PLUSES)
    moulding: int | None = whole("Moulding", "", 0, 3, words=_PLUSES)
    note: str = _note()


@dataclass(frozen=True, slots=True, kw_only=True)
class Sensor(Body):
    """A sensor was placed, moved or taken off."""

    kind: ClassVar[str] = "sensor"
    title: ClassVar[str] = "Sensors"
    sensor: str = choice(
        "Sensor",
        *(one.value for one in SensorKind if one is not SensorKind.UNKNOWN),
        required=True,
        bare=True,
    )
    action: str = choice("What was done", "placed", "moved", "taken off", required=True, bare=True)
    site: str = text("Where", most=120)
    fetus: int | None = _fetus()
    note: str = _note()


@dataclass(frozen=True, slots=True, kw_only=True)
class Membranes(Body):
    """The membranes and the amniotic fluid."""

    kind: ClassVar[str] = "membranes"
    title: ClassVar[str] = "Membranes, fluid"
    state: str = choice("Membranes", "intact", "ruptured by themselves", "ruptured by hand")
    fluid: str = choice(
        "Fluid",
        "none seen",
        "clear",
        "thin meconium",
        "meconium ++",
        "thick meconium",
        "blood-stained",
    )
    amount: str = choice("Amount", "little", "usual", "much")
    note: str = _note()


@dataclass(frozen=True, slots=True, kw_only=True)
class Contractions(Body):
    """Contractions felt by hand."""

    kind: ClassVar[str] = "contractions"
    title: ClassVar[str] = "Contractions by hand"
    in_10_min: float | None = number("In 10 minutes", "in 10 min", 0, 15, bare=True)
    lasting_s: float | None = number("Lasting", "s", 5, 600, step=5)
    strength: str = choice("Strength", "weak", "moderate", "strong")
    soft_between: bool | None = truth("Soft between")
    note: str = _note()


@dataclass(frozen=True, slots=True, kw_only=True)
class Oxytocic(Body):
    """An oxytocic and its dose."""

    kind: ClassVar[str] = "oxytocic"
    title: ClassVar[str] = "Oxytocic"
    action: str = choice(
        "What was done", "started", "changed", "stopped", "given", required=True, bare=True
    )
    drug: str = choice("Drug", "oxytocin", "prostaglandin", "other oxytocic", bare=True)
    dose_mu_per_min: float | None = number("Dose", "mU/min", 0, 100)
    dose: str = text("Dose, otherwise", most=80)
    note: str = _note()


@dataclass(frozen=True, slots=True, kw_only=True)
class Posture(Body):
    """How she lies, sits, stands or moves."""

    kind: ClassVar[str] = "posture"
    title: ClassVar[str] = "Her position"
    posture: str = choice(
        "Position",
        "left side",
        "right side",
        "supine",
        "sitting",
        "upright",
        "kneeling or all fours",
        "squatting",
        "mobile",
        "in water",
        required=True,
        bare=True,
    )
    note: str = _note()


@dataclass(frozen=True, slots=True, kw_only=True)
class Support(Body):
    """Supportive care: companion, relief of pain, drinking."""

    kind: ClassVar[str] = "support"
    title: ClassVar[str] = "Support"
    companion: str = choice("Companion", "yes", "no", "declined")
    pain_relief: str = choice("Pain relief", "yes", "no", "declined")
    drinking: str = choice("Drinking", "yes", "no", "declined")
    note: str = _note()


@dataclass(frozen=True, slots=True, kw_only=True)
class Medicine(Body):
    """A medicine, by its class."""

    kind: ClassVar[str] = "medicine"
    title: ClassVar[str] = "Medicine"
    medicine_class: str = choice(
        "Class",
        "antibiotic",
        "opioid",
        "regional block",
        "local anaesthetic",
        "inhaled analgesic",
        "paracetamol",
        "antihypertensive",
        "magnesium",
        "tocolytic",
        "corticosteroid",
        "antiemetic",
        "anticoagulant",
        "other",
        required=True,
        bare=True,
    )
    dose: str = text("Dose and way", most=120)
    note: str = _note()


@dataclass(frozen=True, slots=True, kw_only=True)
class MotherVitals(Body):
    """Temperature, pulse and pressure of the mother."""

    kind: ClassVar[str] = "vitals"
    title: ClassVar[str] = "Pulse, pressure, temperature"
    pulse_bpm: float | None = number("Pulse", "bpm", 20, 260)
    systolic_mmhg: float | None = number("Systolic", "mmHg", 40, 280)
    diastolic_mmhg: float | None = number("Diastolic", "mmHg", 20, 180)
    temperature_c: float | None = number("Temperature", "°C", 30, 44, step=0.1)
    breaths_per_min: float | None = number("Breaths", "/min", 4, 80)
    saturation_percent: float | None = number("Oxygen saturation", "%", 40, 100)
    note: str = _note()


@dataclass(frozen=True, slots=True, kw_only=True)
class Fluids(Body):
    """What went in, what came out, the bladder and the urine."""

    kind: ClassVar[str] = "fluids"
    title: ClassVar[str] = "Fluids, bladder"
    drunk_ml: float | None = number("Drunk", "ml", 0, 5000, step=50)
    infused_ml: float | None = number("Infused", "ml", 0, 10000, step=100)
    urine_ml: float | None = number("Urine", "ml", 0, 5000, step=50)
    bladder: str = choice("Bladder", "emptied", "catheter", "full, not emptied")
    protein: int | None = whole("Protein", "", 0, 3, words=_PLUSES)
    acetone: int | None = whole("Acetone", "", 0, 3, words=_PLUSES)
    note: str = _note()


@dataclass(frozen=True, slots=True, kw_only=True)
class Auscultation(Body):
    """The fetal heart by ear around one contraction; rates in beats per minute."""

    kind: ClassVar[str] = "auscultation"
    title: ClassVar[str] = "Heart by ear"
    method: str = choice("How", "tapped", "counted", "read from a device")
    before_bpm: float | None = number("Before", "bpm", 30, 300)
    during_bpm: float | None = number("Through", "bpm", 30, 300)
    after_bpm: float | None = number("After", "bpm", 30, 300)
    after_lowest_bpm: float | None = number("Lowest after", "bpm", 30, 300)
    listened_before_s: float | None = number("Listened before", "s", 0, 900)
    listened_during_s: float | None = number("Listened through", "s", 0, 900)
    listened_after_s: float | None = number("Listened after", "s", 0, 900)
    rhythm: str = choice("Rhythm", "regular", "irregular")
    falls: bool | None = truth("A fall was heard")
    rises: bool | None = truth("A rise was heard")
    maternal_pulse_bpm: float | None = number("Her pulse, felt meanwhile", "bpm", 20, 260)
    fetus: int | None = _fetus()
    note: str = _note()


@dataclass(frozen=True, slots=True, kw_only=True)
class Review(Body):
    """A review with the human reading. agrees: with the computed one, which stands in `lines`."""

    kind: ClassVar[str] = "review"
    title: ClassVar[str] = "Review"
    review: str = text("Which review", most=40, required=True)
    lines: tuple[str, ...] = choices("What stood there", quiet=True)
    agrees: bool | None = truth("Agrees with the reading")
    own_class: str = text("Own class", most=60)
    why: str = text("Why")
    plan: str = text("Plan")
    second_reader: str = text("Second reader", most=60)
    fetus: int | None = _fetus()


@dataclass(frozen=True, slots=True, kw_only=True)
class Told(Body):
    """Somebody was told or called."""

    kind: ClassVar[str] = "told"
    title: ClassVar[str] = "Told"
    who: str = text("Who was told", most=80, required=True, bare=True)
    about: str = text("About what", bare=True)
    urgency: str = choice("How soon", "to know", "to come", "to come at once", bare=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Came(Body):
    """Who had been told has come. told: number of that entry."""

    kind: ClassVar[str] = "came"
    title: ClassVar[str] = "Came"
    who: str = text("Who came", most=80, required=True, bare=True)
    told: int | None = whole("Answers entry", "", 1, 10**9)
    note: str = _note()


@dataclass(frozen=True, slots=True, kw_only=True)
class Measure(Body):
    """Something that was done."""

    kind: ClassVar[str] = "measure"
    title: ClassVar[str] = "Measure"
    measure: str = text("What was done", most=200, required=True, bare=True)
    why: str = text("Why")
    effect: str = text("Effect")


@dataclass(frozen=True, slots=True, kw_only=True)
class Plan(Body):
    """Assessment and plan, decided with her."""

    kind: ClassVar[str] = "plan"
    title: ClassVar[str] = "Assessment, plan"
    assessment: str = text("Assessment")
    plan: str = text("Plan")


@dataclass(frozen=True, slots=True, kw_only=True)
class Birth(Body):
    """A birth."""

    kind: ClassVar[str] = "birth"
    title: ClassVar[str] = "Birth"
    mode: str = choice(
        "How",
        "spontaneous",
        "vacuum",
        "forceps",
        "breech",
        "caesarean",
        required=True,
        bare=True,
    )
    outcome: str = choice("Outcome", "live birth", "stillbirth")
    apgar_1: int | None = whole("Apgar at 1 min", "", 0, 10)
    apgar_5: int | None = whole("Apgar at 5 min", "", 0, 10)
    apgar_10: int | None = whole("Apgar at 10 min", "", 0, 10)
    cord_ph: float | None = number("Cord artery pH", "", 6.3, 7.8, step=0.01)
    base_deficit: float | None = number("Base deficit", "mmol/l", -20, 40)
    weight_g: float | None = number("Weight", "g", 200, 7000, step=10)
    blood_loss_ml: float | None = number("Blood loss", "ml", 0, 10000, step=50)
    fetus: int | None = _fetus()
    note: str = _note()


@dataclass(frozen=True, slots=True, kw_only=True)
class Note(Body):
    """Free words."""

    kind: ClassVar[str] = "note"
    title: ClassVar[str] = "Note"
    note: str = text("Note", required=True, bare=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Notice(Body):
    """A prompt of the live reading that was acknowledged. rule: what it rests on."""

    kind: ClassVar[str] = "notice"
    title: ClassVar[str] = "Prompt"
    notice: str = text("Prompt", most=200, required=True, bare=True)
    rule: str = text("Rule")
    answer: str = text("Answer")
    fetus: int | None = _fetus()


@dataclass(frozen=True, slots=True, kw_only=True)
class Trace(Body):
    """A recording that belongs to this case. place: its key in the workbench, or its file."""

    kind: ClassVar[str] = "trace"
    title: ClassVar[str] = "Trace"
    name: str = text("Name", most=120, bare=True)
    place: str = text("Recording", most=200, required=True)
    starts_at: datetime | None = moment("Begins at")  # noqa: RUF009


@dataclass(frozen=True, slots=True, kw_only=True)
class HandoverGiven(Body):
    """A handover as it was given: the four parts, as edited."""

    kind: ClassVar[str] = "handover"
    title: ClassVar[str] = "Handover"
    to: str = text("Given to", most=80, required=True)
    changed: str = text("Changed since the last", quiet=True)
    situation: str = text("Situation", quiet=True)
    background: str = text("Background", quiet=True)
    assessment: str = text("Assessment", quiet=True)
    recommendation: str = text("Recommendation", quiet=True)


@dataclass(frozen=True, slots=True, kw_only=True)
class Closed(Body):
    """The case leaves the board; entries may still follow."""

    kind: ClassVar[str] = "closed"
    title: ClassVar[str] = "Case closed"
    why: str = choice("Why", "born", "transferred", "labour stopped", "opened in error")
    note: str = _note()


@dataclass(frozen=True, slots=True, kw_only=True)
class Withdrawn(Body):
    """The entry that this one corrects was written in error and holds no longer."""

    kind: ClassVar[str] = "withdrawn"
    title: ClassVar[str] = "Written in error"
    why: str = text("Why", required=True)


KINDS: dict[str, type[Body]] = {
    one.kind: one
    for one in (
        Bed,
        Labour,
        StageBegins,
        Examination,
        VaginalExamination,
        Sensor,
        Membranes,
        Contractions,
        Oxytocic,
        Posture,
        Support,
        Medicine,
        MotherVitals,
        Fluids,
        Auscultation,
        Review,
        Told,
        Came,
        Measure,
        Plan,
        Birth,
        Note,
        Notice,
        Trace,
        HandoverGiven,
        Closed,
        Withdrawn,
    )
}
"""Every kind of entry, by its name in the store."""


def asks(kind: type[Body]) -> dict[str, Ask]:
    """The fields of a kind, in order, each with how it is asked for."""
    return {one.name: one.metadata["ask"] for one in fields(kind)}


def kind_of(name: str) -> type[Body]:
    """The kind of a name. Raises JournalError for one that is not known."""
    if name in KINDS:
        return KINDS[name]
    close = get_close_matches(name, KINDS, n=1, cutoff=0.5)
    raise JournalError(
        f"'{name}' is no kind of entry.",
        where="kind",
        remedy=f"Did you mean '{close[0]}'?" if close else f"Choose from: {', '.join(KINDS)}.",
    )


def body_from(kind: str, data: Mapping[str, Any]) -> Body:
    """The typed body of what came from a form, a command or a file.

    Raises JournalError for an unknown kind or field, a value that cannot be right, a required
    field that is missing, and an entry that says nothing.
    """
    wanted = kind_of(kind)
    known = asks(wanted)
    said: dict[str, Any] = {}
    for name, value in data.items():
        if name not in known:
            close = get_close_matches(name, known, n=1, cutoff=0.5)
            raise JournalError(
                f"an entry of the kind '{kind}' has no '{name}'.",
                where=name,
                remedy=f"Did you mean '{close[0]}'?" if close else f"It has: {', '.join(known)}.",
            )
        found = known[name].read(value, known[name].label)
        if found is not None and found != ():
            said[name] = found
    for name, ask in known.items():
        if ask.required and name not in said:
            raise JournalError(
                "this must be said.", where=ask.label, remedy="Fill it in, or leave the entry out."
            )
    if not said.keys() - wanted.alone:
        raise JournalError(
            f"the entry '{wanted.title}' says nothing.",
            where=kind,
            remedy="Fill in at least one field.",
        )
    return wanted(**said)


def said_fields(body: Body) -> dict[str, Any]:
    """What an entry says, by field; what was not said is left out."""
    values = {one.name: getattr(body, one.name) for one in fields(body)}
    return {name: v for name, v in values.items() if v is not None and v != "" and v != ()}


def body_data(body: Body) -> dict[str, Any]:
    """What an entry says, as JSON data; `body_from` gives it back."""
    return {
        name: v.isoformat() if isinstance(v, datetime) else list(v) if isinstance(v, tuple) else v
        for name, v in said_fields(body).items()
    }


def words(body: Body) -> str:
    """An entry in one line: 'Dilatation 6 cm; station -1 cm'."""
    known = asks(type(body))
    parts: list[str] = []
    for name, value in said_fields(body).items():
        ask = known[name]
        if ask.quiet:
            continue
        label = ask.label if not parts else ask.label[:1].lower() + ask.label[1:]
        colon = ":" if ask.sort is Sort.TEXT else ""
        parts.append(ask.said(value) if ask.bare else f"{label}{colon} {ask.said(value)}")
    return "; ".join(parts)
