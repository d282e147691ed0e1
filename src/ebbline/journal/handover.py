"""The handover: changed since the last, situation, background, assessment, recommendation.

Filled from the record and the reading; the person edits it before it is given. What changed comes
first, and in it what is dangerous. What the record does not say is said to be not written.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

from ebbline.bedside.policy.reviews import DueState, ReviewPolicy, load_reviews, risk_from
from ebbline.journal.chain import Entry
from ebbline.journal.chart import Chart, chart
from ebbline.journal.due import case_reviews
from ebbline.journal.entries import (
    Auscultation,
    Bed,
    Birth,
    Body,
    Came,
    Contractions,
    Examination,
    Fluids,
    HandoverGiven,
    Measure,
    Medicine,
    Membranes,
    MotherVitals,
    Oxytocic,
    Plan,
    Sensor,
    StageBegins,
    Told,
    VaginalExamination,
    words,
)
from ebbline.journal.listening import listening
from ebbline.journal.standing import labour_known, last_of, of_kind, standing
from ebbline.journal.trace_columns import columns_of
from ebbline.reading.model import Reading
from ebbline.reading.text import Clock

NOT_WRITTEN = "not written"
MOST_CHANGES = 14
"""Entries told one by one since the last handover; of the rest their number is told (ours)."""

SOON = timedelta(minutes=30)
"""What falls due within this time is told (ours)."""

_TO_COME = ("to come", "to come at once")


@dataclass(frozen=True, slots=True)
class Handover:
    """The five parts, a line each item. since: time of the last handover, None for the first."""

    case: str
    bed: str
    since: datetime | None
    changed: tuple[str, ...]
    situation: tuple[str, ...]
    background: tuple[str, ...]
    assessment: tuple[str, ...]
    recommendation: tuple[str, ...]

    def parts(self) -> dict[str, str]:
        """Each part as one text, by the names of an entry."""
        return {
            name: "\n".join(getattr(self, name))
            for name in ("changed", "situation", "background", "assessment", "recommendation")
        }


def handover(
    entries: Iterable[Entry],
    now: datetime,
    *,
    reading: Reading | None = None,
    reviews: ReviewPolicy | None = None,
) -> Handover:
    """The handover of a case as it stands. now: in the zone in which times are told.

    reading: of the trace so far, None where there is none.
    """
    every = tuple(entries)
    policy = load_reviews() if reviews is None else reviews
    made = _Maker(
        every, now, chart(every, now, trace=columns_of(reading) if reading else ()), policy
    )
    bed = last_of(made.held, Bed)
    lines = _four_lines(reading) if reading else []
    return Handover(
        case=every[0].case if every else "",
        bed=bed[1].bed if bed else NOT_WRITTEN,
        since=made.last.at if made.last else None,
        changed=made.changed(),
        situation=made.situation(lines),
        background=made.background(),
        assessment=made.assessment(lines),
        recommendation=made.recommendation(),
    )


class _Maker:
    """Makes the lines of one handover."""

    def __init__(
        self, every: Sequence[Entry], now: datetime, seen: Chart, policy: ReviewPolicy
    ) -> None:
        self.every = every
        self.now = now
        self.held = tuple(one for one in standing(every) if one.at <= now)
        self.chart = seen
        self.policy = policy
        given = last_of(self.held, HandoverGiven)
        self.last = given[0] if given else None

    def at(self, moment: datetime) -> str:
        """A time as the clock on the wall shows it, with the day where it is another."""
        local = moment.astimezone(self.now.tzinfo)
        return f"{local:%H:%M}" if local.date() == self.now.date() else f"{local:%d %b %H:%M}"

    def changed(self) -> tuple[str, ...]:
        """What is new since the last handover, alerts first, then corrections, then the rest."""
        if self.last is None:
            return ("No earlier handover stands in the record.",)
        since = self.last
        lines = [
            f"NEW: {one.what}, since {self.at(one.since)} ({one.rule})."
            for one in self.chart.alerts
            if one.since > since.at
        ]
        fresh = [one for one in self.every if one.number > since.number]
        lines += [
            f"CORRECTED: entry {one.corrects} of {self.at(self._entry(one.corrects).at)}: "
            f"{one.words} ({one.author})."
            for one in fresh
            if one.corrects is not None
        ]
        told = [one for one in self.held if one.number > since.number and one.corrects is None]
        lines += [
            f"{self.at(one.at)} {one.body.title}: {_short(one)}." for one in told[-MOST_CHANGES:]
        ]
        if len(told) > MOST_CHANGES:
            lines.append(f"And {len(told) - MOST_CHANGES} earlier entries since then.")
        if not lines:
            lines.append("Nothing was written since.")
        return (f"Since the handover at {self.at(since.at)} to {_to(since)}:", *lines)

    def _entry(self, number: int | None) -> Entry:
        return next(one for one in self.every if one.number == number)

    def situation(self, lines: Sequence[tuple[str, ...]]) -> tuple[str, ...]:
        """Alerts in force, who and where, the stage, the class."""
        known = labour_known(self.held)
        found = [
            f"LOOK: {one.what}, since {self.at(one.since)} ({one.rule})."
            for one in self.chart.alerts
        ]
        weeks = NOT_WRITTEN if known.weeks is None else f"{known.weeks:g}"
        births = NOT_WRITTEN if known.births_before is None else str(known.births_before)
        more = f", {known.fetuses} fetuses" if (known.fetuses or 1) > 1 else ""
        found.append(f"Weeks {weeks}; births before: {births}{more}.")
        found.append(self._stage())
        found += [one[0] for one in lines] or ["No trace was read with this record."]
        return tuple(found)

    def _stage(self) -> str:
        born = [(e, body) for e, body in of_kind(self.held, Birth)]
        if born:
            entry, body = born[-1]
            return f"Born at {self.at(entry.at)}: {words(body)}."
        if self.chart.second_stage_at is not None:
            spent = self.now - self.chart.second_stage_at
            began = self.at(self.chart.second_stage_at)
            return f"Second stage since {began} ({_length(spent)})."
        begun = last_of(self.held, StageBegins)
        if begun is None:
            return f"Stage of labour {NOT_WRITTEN}."
        return f"{begun[1].stage.capitalize()} since {self.at(begun[0].at)}."

    def background(self) -> tuple[str, ...]:
        """Onset, risk, membranes, what runs, what lies."""
        known = labour_known(self.held)
        factors = risk_from(
            [f for f in known.risk_factors if f in {k.name for k in self.policy.risk_factors}],
            self.policy,
        )
        others = [f for f in known.risk_factors if f not in {k.name for k in factors}]
        risk = "; ".join([*(f.text for f in factors), *others]) or known.risk or NOT_WRITTEN
        found = [f"Onset {known.onset or NOT_WRITTEN}. Risk: {risk}."]
        found.append(f"Membranes: {self._membranes()}.")
        drug = _last(self.held, Oxytocic)
        said = NOT_WRITTEN if drug is None else f"{drug.words} ({self.at(drug.at)})"
        found.append(f"Oxytocic: {said}.")
        medicines = [
            f"{body.medicine_class} {body.dose}".strip() + f" ({self.at(e.at)})"
            for e, body in of_kind(self.held, Medicine)
        ]
        found.append(f"Medicines: {'; '.join(medicines) or 'none written'}.")
        lying: dict[tuple[str, int], str] = {}
        for entry, body in of_kind(self.held, Sensor):
            key = (body.sensor, body.fetus or 1)
            lying.pop(key, None)
            if body.action != "taken off":
                where = f", {body.site}" if body.site else ""
                lying[key] = f"{body.sensor}{where} (since {self.at(entry.at)})"
        found.append(f"Sensors: {'; '.join(lying.values()) or 'none written'}.")
        if known.note:
            found.append(known.note)
        return tuple(found)

    def _membranes(self) -> str:
        """Since when they are ruptured, and the fluid as it was last seen."""
        every = of_kind(self.held, Membranes)
        ruptured = [(e, b) for e, b in every if b.state.startswith("ruptured")]
        states = ruptured[:1] or [(e, b) for e, b in every if b.state][-1:]
        fluids = [(e, b) for e, b in every if b.fluid][-1:]
        said = [f"{body.state} ({self.at(e.at)})" for e, body in states]
        said += [f"fluid {body.fluid} ({self.at(e.at)})" for e, body in fluids]
        return ", ".join(said) or NOT_WRITTEN

    def assessment(self, lines: Sequence[tuple[str, ...]]) -> tuple[str, ...]:
        """The rest of the reading, progress, the mother, what listening asks for."""
        found = [text for one in lines for text in one[1:]]
        heard = listening(self.held, self.now, reviews=self.policy)
        found += [f"By ear: {one.what} {one.urgency.value.capitalize()}." for one in heard.asked]
        cervix = [
            f"{body.dilatation_cm:g} cm {self.at(e.at)}"
            for e, body in of_kind(self.held, VaginalExamination)
            if body.dilatation_cm is not None
        ]
        found.append(f"Cervix: {', '.join(cervix[-4:]) or NOT_WRITTEN}.")
        for name, kind in (
            ("Abdomen", Examination),
            ("Contractions by hand", Contractions),
            ("Heart by ear", Auscultation),
            ("Mother", MotherVitals),
            ("Fluids", Fluids),
        ):
            entry = _last(self.held, kind)
            if entry is not None:
                found.append(f"{name}: {entry.words} ({self.at(entry.at)}).")
            elif kind is MotherVitals:
                found.append(f"{name}: pulse, pressure and temperature {NOT_WRITTEN}.")
        measures = of_kind(self.held, Measure)
        if measures:
            said = "; ".join(f"{body.measure} ({self.at(e.at)})" for e, body in measures[-3:])
            found.append(f"Done: {said}.")
        return tuple(found)

    def recommendation(self) -> tuple[str, ...]:
        """Who is still awaited, what is overdue or soon due, the plan."""
        found = [
            f"AWAITED: {body.who}, told at {self.at(e.at)}"
            + (f" about {body.about}" if body.about else "")
            + f" ({body.urgency}); not written as come."
            for e, body in awaited(self.held)
        ]
        due = case_reviews(self.every, self.now, policy=self.policy).due
        for one in due.reviews if due else ():
            if one.state is DueState.OVERDUE:
                found.append(f"OVERDUE by {-one.minutes:.0f} min: {one.title}.")
            elif one.state is DueState.NEVER:
                found.append(f"NOT WRITTEN YET: {one.title}.")
            elif one.due_at is not None and one.due_at - self.now <= SOON:
                found.append(f"Due {self.at(one.due_at)}: {one.title}.")
        plan = last_of(self.held, Plan)
        said = f"{plan[1].plan or plan[1].assessment} ({self.at(plan[0].at)})" if plan else ""
        found.append(f"Plan: {said or NOT_WRITTEN}.")
        return tuple(found)


def _four_lines(reading: Reading) -> list[tuple[str, ...]]:
    """The four lines of each fetus, with the end of the window they are of."""
    ends = Clock.of(reading).at(reading.window.end_s)
    several = len(reading.fetuses) > 1
    return [
        tuple(
            f"{title}{f' (fetus {fetal.fetus})' if several else ''}, trace to {ends}: {line}"
            for title, line in (fetal.four_lines.titled if fetal.four_lines else ())
        )
        for fetal in reading.fetuses
        if fetal.four_lines
    ]


def awaited(held: Sequence[Entry]) -> list[tuple[Entry, Told]]:
    """Who was told to come and is not written as come."""
    answered = {body.told for _, body in of_kind(held, Came)}
    return [
        (e, body)
        for e, body in of_kind(held, Told)
        if body.urgency in _TO_COME
        and e.number not in answered
        and not any(
            other.told is None and other.who.casefold() == body.who.casefold() and came.at >= e.at
            for came, other in of_kind(held, Came)
        )
    ]


def _last(held: Sequence[Entry], kind: type[Body]) -> Entry | None:
    found = last_of(held, kind)
    return found[0] if found else None


def _short(entry: Entry) -> str:
    return entry.words if len(entry.words) <= 160 else entry.words[:157] + "..."


def _to(entry: Entry) -> str:
    return entry.body.to if isinstance(entry.body, HandoverGiven) else ""


def _length(length: timedelta) -> str:
    minutes = max(0, int(length.total_seconds() // 60))
    return f"{minutes // 60} h {minutes % 60:02d} min"
