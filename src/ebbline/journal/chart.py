"""The chart of progress: what the record and the trace say, row by row, and what asks to be seen.

Rows, alert values and limits stand in `policies/chart.yaml`, after the WHO Labour Care Guide
(2020). A row in which nothing was written is "not written", never "normal". An alert holds until a
later value of its row lies outside it; time without a new value never ends one.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from ebbline.features.findings import DecelerationKind
from ebbline.journal.chain import Entry
from ebbline.journal.chart_policy import ChartPolicy, RowRule, TimeLimit, load_chart
from ebbline.journal.entries import (
    Auscultation,
    Birth,
    Body,
    Contractions,
    Examination,
    Fluids,
    Medicine,
    Membranes,
    MotherVitals,
    Oxytocic,
    Plan,
    Posture,
    Support,
    VaginalExamination,
)
from ebbline.journal.standing import labour_known, of_kind, second_stage_began, standing
from ebbline.journal.trace_columns import TraceColumn
from ebbline.reading.counts import in_part


@dataclass(frozen=True, slots=True)
class Cell:
    """One value in a row. value: in the row's unit, NaN for words. entry: number, None for a trace.

    source: "written", "by ear" or "trace". alert: the rule it meets, in words; "" for none.
    short: how it is said where there is little room.
    """

    at: datetime
    value: float
    words: str
    source: str
    entry: int | None
    fetus: int
    alert: str
    short: str


@dataclass(frozen=True, slots=True)
class Row:
    """A row with its cells in order of time, and the alert values in words."""

    name: str
    title: str
    unit: str
    rules: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class Section:
    """A section with its rows."""

    title: str
    rows: tuple[Row, ...]


@dataclass(frozen=True, slots=True)
class Alert:
    """What asks to be looked at now. since: from when it holds."""

    row: str
    what: str
    rule: str
    since: datetime
    source: str
    entry: int | None


@dataclass(frozen=True, slots=True)
class Chart:
    """The chart at a time. alerts: what holds now, the newest first. empty: rows not written."""

    begins_at: datetime
    now: datetime
    sections: tuple[Section, ...]
    alerts: tuple[Alert, ...]
    empty: tuple[str, ...]
    edition: str
    births_before: int | None
    second_stage_at: datetime | None
    born_at: datetime | None

    def row(self, name: str) -> Row | None:
        """A row by its name, or None where the unit has left it out."""
        return next((r for s in self.sections for r in s.rows if r.name == name), None)


@dataclass(frozen=True, slots=True)
class _Value:
    """What fills a cell. numbers: further numbers that belong to it, each tested."""

    at: datetime
    value: float
    words: str
    tests: tuple[str, ...]
    source: str = "written"
    entry: int | None = None
    fetus: int = 0
    numbers: tuple[float, ...] = ()
    short: str = ""


def chart(
    entries: Iterable[Entry],
    now: datetime,
    *,
    trace: Sequence[TraceColumn] = (),
    policy: ChartPolicy | None = None,
) -> Chart:
    """The chart of a case as it stands at a time."""
    policy = load_chart() if policy is None else policy
    held = tuple(one for one in standing(entries) if one.at <= now)
    # A device's clock may run a little ahead: a half hour that has begun is shown.
    columns = tuple(one for one in trace if one.start < now)
    sections, alerts = [], []
    for part in policy.sections:
        rows = []
        for rule in part.rows:
            values = sorted(_FILL[rule.name](held, columns), key=lambda v: (v.at, v.entry or 0))
            cells = tuple(_cell(rule, one) for one in values)
            said = "; ".join(one.said(rule.unit) for one in rule.alerts)
            rows.append(Row(rule.name, rule.title, rule.unit, said, cells))
            alerts += _in_force(rule, cells)
        sections.append(Section(part.title, tuple(rows)))
    born = [e.at for e, _ in of_kind(held, Birth)]
    known = labour_known(held)
    # With more than one fetus the second stage lasts until the last is born.
    born_at = max(born) if born and len(born) >= (known.fetuses or 1) else None
    second = second_stage_began(held)
    if born_at is None:
        if second is None:
            alerts += _unchanged(held, now, policy)
        else:
            alerts += _long_second_stage(second, known.births_before, now, policy)
    times = [e.at for e in held] + [c.start for c in columns]
    return Chart(
        begins_at=min(times, default=now),
        now=now,
        sections=tuple(sections),
        alerts=tuple(sorted(alerts, key=lambda a: a.since, reverse=True)),
        empty=tuple(row.title for part in sections for row in part.rows if not row.cells),
        edition=policy.head.edition,
        births_before=known.births_before,
        second_stage_at=second,
        born_at=born_at,
    )


def _cell(rule: RowRule, one: _Value) -> Cell:
    met = [
        alert.said(rule.unit)
        for alert in rule.alerts
        if any(
            alert.fires(number, word)
            for number in (one.value, *one.numbers)
            for word in one.tests or ("",)
        )
    ]
    return Cell(
        one.at,
        one.value,
        one.words,
        one.source,
        one.entry,
        one.fetus,
        "; ".join(met),
        one.short or one.words,
    )


def _in_force(rule: RowRule, cells: Sequence[Cell]) -> list[Alert]:
    """The alert of a row's last value, for each fetus.

    Hearing no fall does not end what the trace showed (ours).
    """
    alerts = []
    for fetus in dict.fromkeys(c.fetus for c in cells):
        own = [c for c in cells if c.fetus == fetus]
        if rule.name == "falls" and any(c.source == "trace" for c in own):
            while own[-1].source != "trace" and not own[-1].alert:
                own.pop()
        last = own[-1]
        if not last.alert:
            continue
        since = last.at
        for cell in reversed(own):
            if not cell.alert:
                break
            since = cell.at
        source = next(
            a.source for a in rule.alerts if a.said(rule.unit) == last.alert.split("; ")[0]
        )
        whose = f" of fetus {last.fetus}" if last.fetus > 1 else ""
        how = "" if last.source == "written" else f", {last.source}"
        unit = f" {rule.unit}" if rule.unit not in ("", "+") and last.value == last.value else ""
        what = f"{rule.title}{whose} {last.words}{unit}{how}"
        alerts.append(Alert(rule.name, what, last.alert, since, source, last.entry))
    return alerts


# ---------------------------------------------------------------- limits of time


def _unchanged(held: Sequence[Entry], now: datetime, policy: ChartPolicy) -> list[Alert]:
    """The cervix for longer than its limit at the most that was found.

    The clock runs from the first time the present whole centimetre was reached; a smaller number
    found later neither stops it nor sets it back.
    """
    found = [
        (e, body.dilatation_cm)
        for e, body in of_kind(held, VaginalExamination)
        if body.dilatation_cm is not None
    ]
    if not found:
        return []
    level = max(math.floor(cm) for _, cm in found)
    limit = policy.unchanged.get(level)
    if limit is None:
        return []
    first = next(e for e, cm in found if math.floor(cm) >= level)
    last = found[-1][0]
    spent = now - first.at
    if spent < timedelta(hours=limit.hours):
        return []
    seen = last.at - first.at >= timedelta(hours=limit.hours)
    how = "found again" if seen else "not examined again"
    if last is not first and not seen:
        how = f"last examined {last.at:%H:%M}"
    return [
        Alert(
            "cervix",
            f"Cervix {level} cm for {_lasting(spent)} ({how})",
            f"{level} cm for {limit.hours:g} h or more",
            first.at + timedelta(hours=limit.hours),
            limit.source,
            last.number,
        )
    ]


def _long_second_stage(
    since: datetime, births_before: int | None, now: datetime, policy: ChartPolicy
) -> list[Alert]:
    limit: TimeLimit = policy.first_birth if births_before == 0 else policy.later_birth
    if now - since < timedelta(hours=limit.hours):
        return []
    whose = {0: "first birth"}.get(
        -1 if births_before is None else births_before, "birth after an earlier one"
    )
    if births_before is None:
        whose = "births before not written: the shorter limit"
    return [
        Alert(
            "second-stage",
            f"Second stage for {_lasting(now - since)}",
            f"{limit.hours:g} h or more ({whose})",
            since + timedelta(hours=limit.hours),
            limit.source,
            None,
        )
    ]


def _lasting(length: timedelta) -> str:
    minutes = int(length.total_seconds() // 60)
    return f"{minutes // 60} h {minutes % 60:02d} min"


# ---------------------------------------------------------------- what fills a row

_Fill = Callable[[Sequence[Entry], Sequence[TraceColumn]], list[_Value]]


def _field(*places: tuple[type[Body], str], fetal: bool = False) -> _Fill:
    """Values of one field, wherever it is written."""

    def fill(held: Sequence[Entry], _: Sequence[TraceColumn]) -> list[_Value]:
        found = []
        for kind, name in places:
            for entry, body in of_kind(held, kind):
                value: Any = getattr(body, name)
                if value is None or value == "":
                    continue
                number = float(value) if isinstance(value, int | float) else math.nan
                words = f"{value:g}" if isinstance(value, int | float) else str(value)
                fetus = (getattr(body, "fetus", None) or 1) if fetal else 0
                found.append(
                    _Value(entry.at, number, words, (words,), "written", entry.number, fetus)
                )
        return found

    return fill


def _pluses(name: str, kind: type[Body]) -> _Fill:
    plain = _field((kind, name))

    def fill(held: Sequence[Entry], columns: Sequence[TraceColumn]) -> list[_Value]:
        return [
            _Value(v.at, v.value, "+" * int(v.value) or "none", (), "written", v.entry)
            for v in plain(held, columns)
        ]

    return fill


def _heart(held: Sequence[Entry], columns: Sequence[TraceColumn]) -> list[_Value]:
    """The rate between contractions; by ear, what was heard after one is tested beside it."""
    found = []
    for entry, body in of_kind(held, Auscultation):
        after = [r for r in (body.after_bpm, body.after_lowest_bpm) if r is not None]
        every = [r for r in (body.before_bpm, *after, body.during_bpm) if r is not None]
        if not every:
            continue
        words = f"{every[0]:.0f}"
        if body.before_bpm is not None and after:
            words += f", after {min(after):.0f}"
        whose = body.fetus or 1
        found.append(
            _Value(entry.at, every[0], words, (), "by ear", entry.number, whose, tuple(after))
        )
    found += [
        _Value(c.end, c.baseline_bpm, f"{c.baseline_bpm:.0f}", (), "trace", None, c.fetus)
        for c in columns
        if not math.isnan(c.baseline_bpm)
    ]
    return found


LETTERS = {
    DecelerationKind.PROLONGED: "P",
    DecelerationKind.LATE: "L",
    DecelerationKind.VARIABLE: "V",
    DecelerationKind.GRADUAL_UNPAIRED: "G",
    DecelerationKind.EARLY: "E",
}
"""How decelerations are said in a box of half an hour."""

_WORST_FIRST = (
    DecelerationKind.PROLONGED,
    DecelerationKind.LATE,
    DecelerationKind.VARIABLE,
    DecelerationKind.GRADUAL_UNPAIRED,
    DecelerationKind.EARLY,
)


def _falls(held: Sequence[Entry], columns: Sequence[TraceColumn]) -> list[_Value]:
    found = []
    for entry, body in of_kind(held, Auscultation):
        if body.falls is not None:
            words = "fall heard" if body.falls else "none heard"
            found.append(
                _Value(entry.at, math.nan, words, (words,), "by ear", entry.number, body.fetus or 1)
            )
    for column in columns:
        kinds = [kind for kind in _WORST_FIRST if column.falls.get(kind)]
        words = ", ".join(f"{column.falls[kind]} {kind.value}" for kind in kinds)
        if not kinds:
            if in_part(column.valid_share, column.baseline_bpm):
                continue
            words = "none seen"
        elif in_part(column.valid_share, column.baseline_bpm):
            words = f"at least {words}"
        tests = tuple(kind.value for kind in kinds)
        short = " ".join(f"{column.falls[kind]}{LETTERS[kind]}" for kind in kinds) or "none"
        found.append(
            _Value(
                column.end,
                math.nan,
                words,
                tests,
                "trace",
                None,
                column.fetus,
                short=short,
            )
        )
    return found


def _contractions(held: Sequence[Entry], columns: Sequence[TraceColumn]) -> list[_Value]:
    found = _field((Contractions, "in_10_min"))(held, columns)
    first = min((c.fetus for c in columns), default=1)
    found += [
        _Value(c.end, c.in_10_min, f"{c.in_10_min:.1f}", (), "trace")
        for c in columns
        if c.fetus == first and not math.isnan(c.in_10_min)
    ]
    return found


def _lasts(held: Sequence[Entry], columns: Sequence[TraceColumn]) -> list[_Value]:
    """By hand, and beside it as drawn: the guide's limits are a hand's, which feels less of each
    contraction than a curve shows, so the curve's length is told and not compared."""
    found = _field((Contractions, "lasting_s"))(held, columns)
    first = min((c.fetus for c in columns), default=1)
    found += [
        _Value(
            c.end, math.nan, f"{c.lasting_s:.0f} drawn", (), "trace", short=f"({c.lasting_s:.0f})"
        )
        for c in columns
        if c.fetus == first and not math.isnan(c.lasting_s)
    ]
    return found


def _oxytocin(held: Sequence[Entry], _: Sequence[TraceColumn]) -> list[_Value]:
    found = []
    for entry, body in of_kind(held, Oxytocic):
        dose = body.dose_mu_per_min
        said = f"{dose:g}" if dose is not None else body.dose
        if body.action == "stopped":
            dose, said = 0.0, "stopped"
        elif body.drug not in ("", "oxytocin"):
            said = f"{body.drug} {said}".strip()
        value = math.nan if dose is None else dose
        found.append(_Value(entry.at, value, said or body.action, (), entry=entry.number))
    return found


_FILL: dict[str, _Fill] = {
    "companion": _field((Support, "companion")),
    "pain-relief": _field((Support, "pain_relief")),
    "drinking": _field((Support, "drinking")),
    "posture": _field((Posture, "posture")),
    "heart": _heart,
    "falls": _falls,
    "fluid": _field((Membranes, "fluid")),
    "position": _field((VaginalExamination, "position"), (Examination, "position")),
    "caput": _pluses("caput", VaginalExamination),
    "moulding": _pluses("moulding", VaginalExamination),
    "pulse": _field((MotherVitals, "pulse_bpm"), (Auscultation, "maternal_pulse_bpm")),
    "systolic": _field((MotherVitals, "systolic_mmhg")),
    "diastolic": _field((MotherVitals, "diastolic_mmhg")),
    "temperature": _field((MotherVitals, "temperature_c")),
    "protein": _pluses("protein", Fluids),
    "acetone": _pluses("acetone", Fluids),
    "contractions": _contractions,
    "lasting": _lasts,
    "cervix": _field((VaginalExamination, "dilatation_cm")),
    "descent": _field((Examination, "fifths_above")),
    "station": _field((VaginalExamination, "station_cm")),
    "oxytocin": _oxytocin,
    "medicine": _field((Medicine, "medicine_class")),
    "infusion": _field((Fluids, "infused_ml")),
    "assessment": _field((Plan, "assessment")),
    "plan": _field((Plan, "plan")),
}
