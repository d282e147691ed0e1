"""The labour record: pages and API."""

from __future__ import annotations

from datetime import datetime, timedelta
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, Request, UploadFile
from starlette.responses import HTMLResponse, Response

from ebbline.journal.chain import Draft, case_number
from ebbline.journal.counting import (
    LEAST_S,
    LEAST_TAPS,
    Counted,
    heard_around,
    rate_from_count,
)
from ebbline.journal.entries import KINDS, HandoverGiven, asks, body_from
from ebbline.journal.errors import JournalError
from ebbline.web.pages import NAV, NavItem, page
from ebbline.web.record.schemas import (
    AlertOut,
    CaseIn,
    CaseOut,
    CountIn,
    DueOut,
    EntryIn,
    EntryOut,
    HandoverIn,
    HandoverOut,
    HeardOut,
    RateOut,
    ReviewAheadOut,
    StateOut,
    TapsIn,
    VerifiedOut,
    entry_out,
)
from ebbline.web.record.service import CaseState, Records
from ebbline.web.recordings.routes import Books, Who

router = APIRouter()
NAV.append(NavItem("record", "Record", "/record"))


def records_of(request: Request) -> Records:
    """The record of this workbench."""
    found: Records = request.app.state.records
    return found


Kept = Annotated[Records, Depends(records_of)]

QUICK = (
    "cervix",
    "contractions",
    "vitals",
    "auscultation",
    "review",
    "told",
    "measure",
    "oxytocic",
    "membranes",
    "sensor",
    "posture",
    "medicine",
    "fluids",
    "examination",
    "support",
    "plan",
    "note",
    "stage",
    "labour",
    "birth",
    "bed",
    "closed",
)
"""Kinds with a button, in the order in which a hand wants them (ours)."""

DOES = {
    "heart": "auscultation",
    "trace": "review",
    "whole-picture": "review",
    "pulse": "vitals",
    "contractions": "contractions",
    "blood-pressure": "vitals",
    "temperature": "vitals",
    "palpation": "examination",
    "bladder": "fluids",
    "fluid-colour": "membranes",
    "examination-inside": "cervix",
}
"""Which entry does a review."""

CHIPS = {
    "dilatation_cm": [str(n) for n in range(11)],
    "station_cm": [str(n) for n in range(-4, 5)],
    "fifths_above": [str(n) for n in range(6)],
    "in_10_min": [str(n) for n in range(8)],
    "caput": ["0", "1", "2", "3"],
    "moulding": ["0", "1", "2", "3"],
    "protein": ["0", "1", "2", "3"],
    "acetone": ["0", "1", "2", "3"],
    "apgar_1": [str(n) for n in range(11)],
    "apgar_5": [str(n) for n in range(11)],
    "apgar_10": [str(n) for n in range(11)],
    "fetuses": ["1", "2", "3"],
    "births_before": [str(n) for n in range(7)],
    "fetus": ["1", "2", "3"],
}
"""Numbers that are touched rather than typed."""


# ---------------------------------------------------------------- pages


@router.get("/record", response_class=HTMLResponse, include_in_schema=False)
def board_page(request: Request, kept: Kept, closed: bool = False) -> HTMLResponse:
    """All beds."""
    return page(
        request,
        "record/board.html",
        place="record",
        board=kept.board(closed=closed),
        ahead=kept.reviews(),
        closed=closed,
        now=kept.now(),
        where=kept.journal.place,
    )


@router.get("/record/{case}", response_class=HTMLResponse, include_in_schema=False)
def case_page(request: Request, kept: Kept, books: Books, case: str) -> HTMLResponse:
    """One case: danger, what is due, quick entry, the record."""
    from ebbline.bedside.policy.reviews import load_reviews

    state = kept.state(case)
    return page(
        request,
        "record/case.html",
        place="record",
        part="case",
        state=state,
        kinds={name: (KINDS[name].title, asks(KINDS[name])) for name in (*QUICK, "came", "trace")},
        quick=QUICK,
        does=DOES,
        chips=CHIPS,
        last=_last_values(state),
        reviews=load_reviews(),
        cards=books.cards(),
        **_standing(state),
    )


@router.get("/record/{case}/now", response_class=HTMLResponse, include_in_schema=False)
def case_now(request: Request, kept: Kept, case: str) -> HTMLResponse:
    """What stands on the case's page above and below the buttons, anew."""
    state = kept.state(case)
    return page(request, "record/now.html", state=state, does=DOES, **_standing(state))


@router.get("/record/{case}/chart", response_class=HTMLResponse, include_in_schema=False)
def chart_page(request: Request, kept: Kept, case: str) -> HTMLResponse:
    """The chart of progress."""
    from ebbline.journal.chart_grid import grid
    from ebbline.web.record.curve import curve

    state = kept.state(case)
    lines = grid(state.chart, state.now)
    return page(
        request,
        "record/chart.html",
        place="record",
        part="chart",
        state=state,
        grid=lines,
        curve=curve(state.chart, lines),
        does=DOES,
        **_standing(state),
    )


@router.get("/record/{case}/chart.pdf", response_class=Response, include_in_schema=False)
def chart_pdf(kept: Kept, case: str) -> Response:
    """The chart on paper."""
    from ebbline.journal.chart_sheet import chart_sheets
    from ebbline.picture.pdf import pdf

    state = kept.state(case)
    return _pdf(
        pdf(chart_sheets(state.chart, state.case, state.bed, state.now)), f"{state.case} chart"
    )


@router.get("/record/{case}/listen", response_class=HTMLResponse, include_in_schema=False)
def listen_page(request: Request, kept: Kept, case: str) -> HTMLResponse:
    """Listening by taps or by counting."""
    from ebbline.journal.listening import load_listening

    state = kept.state(case)
    every = next((r for r in state.due.reviews if r.name == "heart"), None) if state.due else None
    return page(
        request,
        "record/listen.html",
        place="record",
        part="listen",
        state=state,
        every=every,
        policy=load_listening(),
        least_taps=LEAST_TAPS,
        least_tapped_s=LEAST_S,
        does=DOES,
        **_standing(state),
    )


@router.get("/record/{case}/handover", response_class=HTMLResponse, include_in_schema=False)
def handover_page(request: Request, kept: Kept, case: str) -> HTMLResponse:
    """The handover, filled, to be edited and given."""
    state = kept.state(case)
    made = kept.handover(state)
    given = [one for one in state.held if isinstance(one.body, HandoverGiven)]
    return page(
        request,
        "record/handover.html",
        place="record",
        part="handover",
        state=state,
        made=made,
        texts=made.parts(),
        rows={name: _rows(text) for name, text in made.parts().items()},
        given=given[::-1],
        does=DOES,
        **_standing(state),
    )


@router.post("/record/{case}/handover.pdf", response_class=Response, include_in_schema=False)
def handover_draft_pdf(
    kept: Kept,
    who: Who,
    case: str,
    to: Annotated[str, Form()] = "",
    changed: Annotated[str, Form()] = "",
    situation: Annotated[str, Form()] = "",
    background: Annotated[str, Form()] = "",
    assessment: Annotated[str, Form()] = "",
    recommendation: Annotated[str, Form()] = "",
) -> Response:
    """The draft on paper, as it was edited; nothing is written to the record."""
    from ebbline.journal.handover_sheet import HandoverHead, handover_sheet
    from ebbline.picture.pdf import pdf

    state = kept.state(case)
    last = state.entries[-1]
    given = HandoverGiven(
        to=to.strip()[:80],
        changed=changed,
        situation=situation,
        background=background,
        assessment=assessment,
        recommendation=recommendation,
    )
    head = HandoverHead(
        state.case, state.bed, state.now, who.name, last.number, last.hash, draft=True
    )
    return _pdf(pdf(handover_sheet(given, head)), f"{state.case} handover draft")


@router.get(
    "/record/{case}/handover/{number}.pdf", response_class=Response, include_in_schema=False
)
def handover_pdf(kept: Kept, case: str, number: int) -> Response:
    """A handover that was given, on paper."""
    from ebbline.journal.handover_sheet import HandoverHead, handover_sheet
    from ebbline.picture.pdf import pdf

    state = kept.state(case)
    found = next((one for one in state.entries if one.number == number), None)
    if found is None or not isinstance(found.body, HandoverGiven):
        raise JournalError("this entry is no handover.", where=f"entry {number}")
    head = HandoverHead(
        state.case,
        state.bed,
        found.at.astimezone(),
        found.author,
        found.number,
        found.hash,
        draft=False,
    )
    return _pdf(pdf(handover_sheet(found.body, head)), f"{state.case} handover {number}")


# ---------------------------------------------------------------- API


@router.get("/api/record/cases", tags=["record"])
def cases(kept: Kept, closed: bool = False) -> list[CaseOut]:
    """The cases on the board, by bed."""
    return [
        CaseOut(
            case=one.case,
            bed=one.bed,
            entries=one.entries,
            last_at=one.last_at,
            closed=one.closed,
            head=one.head,
        )
        for one in kept.journal.cases(closed=closed)
    ]


@router.get("/api/record/reviews", tags=["record"])
def reviews_to_come(kept: Kept) -> list[ReviewAheadOut]:
    """Reviews of all open cases that are overdue or fall due within the hour, in that order."""
    return [
        ReviewAheadOut(
            case=card.case,
            bed=card.bed,
            title=one.title,
            due_at=one.due_at,
            overdue=one.overdue,
        )
        for card, one in kept.reviews()
    ]


@router.post("/api/record/cases", tags=["record"], status_code=201)
def open_case(kept: Kept, who: Who, said: CaseIn) -> EntryOut:
    """Open a case; the answer is its first entry, on disk."""
    return entry_out(kept.journal.open_case(said.case, said.bed, author=who.name, token=said.token))


@router.get("/api/record/cases/{case}/entries", tags=["record"])
def entries(kept: Kept, case: str, after: int = 0) -> list[EntryOut]:
    """Entries in the order they were written, those after a number."""
    return [entry_out(one) for one in kept.journal.entries(case_number(case), after=after)]


@router.post("/api/record/cases/{case}/entries", tags=["record"], status_code=201)
def write_entry(kept: Kept, who: Who, case: str, said: EntryIn) -> EntryOut:
    """Write an entry; when this answers, it is on disk."""
    draft = Draft(body_from(said.kind, said.fields), said.at, who.name, said.corrects, said.token)
    return entry_out(kept.journal.append(case_number(case), draft))


@router.get("/api/record/cases/{case}/state", tags=["record"])
def case_state(kept: Kept, case: str) -> StateOut:
    """How a case stands: what asks to be looked at, what is due, who is awaited."""
    state = kept.state(case)
    due = state.due
    return StateOut(
        case=state.case,
        bed=state.bed,
        entries=len(state.entries),
        head=state.entries[-1].hash,
        alerts=[
            AlertOut(row=a.row, what=a.what, rule=a.rule, since=a.since, source=a.source)
            for a in state.dangers
        ],
        listening=[f"{one.what} {one.urgency.value}" for one in state.asked],
        awaited=[f"{body.who}: {body.about}" for _, body in state.awaited],
        reviews=[
            DueOut(
                name=r.name,
                title=r.title,
                state=r.state.value,
                minutes=None if r.minutes != r.minutes else r.minutes,
                every_min=r.every_min,
                due_at=r.due_at,
                source=r.source,
                second_reader=r.name in state.second_reader,
            )
            for r in (due.reviews if due else ())
        ],
        notes=list(due.notes) if due else [],
    )


@router.post("/api/record/heard", tags=["record"])
def heard(said: TapsIn) -> HeardOut:
    """Rates from beats tapped before, through and after a contraction."""
    found = heard_around(said.taps_s, said.begins_s, said.ends_s)
    return HeardOut(
        before=_rate(found.before), during=_rate(found.during), after=_rate(found.after)
    )


@router.post("/api/record/counted", tags=["record"])
def counted(said: CountIn) -> RateOut:
    """The rate from beats counted over a time."""
    found = _rate(rate_from_count(said.beats, said.seconds))
    assert found is not None
    return found


@router.get("/api/record/cases/{case}/handover", tags=["record"])
def handover_now(kept: Kept, case: str) -> HandoverOut:
    """The handover filled from the record and the reading."""
    state = kept.state(case)
    made = kept.handover(state)
    return HandoverOut(number=len(state.entries), since=made.since, **made.parts())


@router.post("/api/record/cases/{case}/handover", tags=["record"], status_code=201)
def give_handover(kept: Kept, who: Who, case: str, said: HandoverIn) -> EntryOut:
    """Give a handover: it becomes an entry of the record."""
    fields = said.model_dump(exclude={"token"})
    draft = Draft(body_from("handover", fields), kept.now(), who.name, token=said.token)
    return entry_out(kept.journal.append(case_number(case), draft))


@router.get("/api/record/cases/{case}/verify", tags=["record"])
def verify(kept: Kept, case: str) -> VerifiedOut:
    """Walk the chain of a case."""
    number = case_number(case)
    found = kept.journal.verify(number)
    return VerifiedOut(
        holds=found.holds,
        entries=found.entries,
        head=found.heads.get(number, ""),
        breaks=[str(one) for one in found.breaks],
    )


@router.get(
    "/api/record/cases/{case}/archive.zip",
    tags=["record"],
    response_class=Response,
    responses={200: {"content": {"application/zip": {}}}},
)
def archive(kept: Kept, case: str, recording_format: str = "wfdb") -> Response:
    """The whole case as one file: entries, recording, reading, sheets, FHIR R4."""
    from ebbline.journal.archive import pack

    state = kept.state(case)
    data = pack(
        state.entries,
        recording=kept.recording(state.case, state.held) if state.reading else None,
        reading=state.reading,
        recording_format=recording_format,
    )
    headers = {"content-disposition": f'attachment; filename="case {state.case}.zip"'}
    return Response(data, media_type="application/zip", headers=headers)


@router.post("/api/record/archive", tags=["record"], status_code=201)
def take_in(kept: Kept, books: Books, who: Who, file: UploadFile) -> CaseOut:
    """Take a case in from an archive, with its recording; nothing is replaced."""
    from ebbline.journal.archive import unpack

    found = unpack(file.file.read(), file.filename or "archive")
    kept.journal.restore(found.entries)
    if found.recording is not None:
        # The recording's key in this workbench is another than where it came from.
        card = books.add(found.recording, by=who.name, invented=False)
        start = found.recording.start
        body = body_from(
            "trace",
            {"place": card.id, "name": card.name, "starts_at": start.isoformat() if start else ""},
        )
        kept.journal.append(found.entries[0].case, Draft(body, kept.now(), who.name))
    last = kept.journal.entries(found.entries[0].case)[-1]
    state = kept.state(last.case)
    return CaseOut(
        case=last.case,
        bed=state.bed,
        entries=last.number,
        last_at=last.at,
        closed=False,
        head=last.hash,
    )


# ---------------------------------------------------------------- parts


def _rate(found: Counted | None) -> RateOut | None:
    if found is None:
        return None
    return RateOut(
        bpm=round(found.bpm, 1),
        plus_minus_bpm=round(found.plus_minus_bpm, 1),
        beats=found.beats,
        seconds=round(found.seconds, 1),
        lowest_bpm=round(found.lowest_bpm, 1),
        uneven=found.uneven,
    )


def _rows(text: str) -> int:
    """Lines that a text takes at the width of a tablet, and one more to write in."""
    return sum(1 + len(line) // 84 for line in text.splitlines()) + 1


def _pdf(data: bytes, name: str) -> Response:
    headers = {"content-disposition": f'inline; filename="case {name}.pdf"'}
    return Response(data, media_type="application/pdf", headers=headers)


def _standing(state: CaseState) -> dict[str, Any]:
    """What the templates of a case know beside its state."""
    later = {e.corrects: e for e in state.entries if e.corrects is not None}
    held = {e.number for e in state.held}
    today = state.now.date()

    def clock(at: datetime) -> str:
        local = at.astimezone(state.now.tzinfo)
        if local.date() == today:
            return f"{local:%H:%M}"
        if local.date() == today - timedelta(days=1):
            return f"yesterday {local:%H:%M}"
        return f"{local:%d %b %H:%M}"

    return {
        "later": later,
        "held_numbers": held,
        "clock": clock,
        "timeline": sorted(state.entries, key=lambda e: (e.at, e.number), reverse=True),
        "stale_min": 30,
    }


def _last_values(state: CaseState) -> dict[str, dict[str, object]]:
    """The last value of each field, for the faint number that a step begins from."""
    found: dict[str, dict[str, object]] = {}
    for entry in state.held:
        known = found.setdefault(entry.kind, {})
        for name, value in entry_out(entry).fields.items():
            known[name] = value
    return found
