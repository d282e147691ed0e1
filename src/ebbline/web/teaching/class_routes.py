"""Virtual patients: the teacher's pages. Building, setting, sheets, the class report, exports."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Form, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from ebbline.web.pages import page
from ebbline.web.principal import Principal, Role, needs
from ebbline.web.teaching.groups import check_known, names_from
from ebbline.web.teaching.routes import Kept, live_of, portfolio_pdf
from ebbline.web.teaching.store import Teaching, TeachingError

router = APIRouter()

Teacher = Annotated[Principal, Depends(needs(Role.TEACHER))]
Field = Annotated[str, Form(max_length=4000)]
ShortField = Annotated[str, Form(max_length=200)]


# --- building ---------------------------------------------------------------------------------


@router.get("/teach/build", response_class=HTMLResponse, include_in_schema=False)
def build_page(request: Request, who: Teacher, kept: Kept, case: str = "") -> HTMLResponse:
    """Build a case from sentences, or from YAML; begin from a case of the list."""
    return _build(request, kept, text=kept.yaml_of(case) if case else "")


def _build(
    request: Request,
    kept: Teaching,
    *,
    text: str,
    problem: str = "",
    done: str = "",
    status: int = 200,
) -> HTMLResponse:
    from ebbline.teach.case_form import WORDS

    cases = kept.cases()
    return page(
        request,
        "teaching/build.html",
        place="teach",
        status=status,
        text=text,
        problem=problem,
        done=done,
        words=WORDS,
        cases=list(cases.values()),
        own=[(cases[name], author) for name, author in kept.own_cases().items() if name in cases],
    )


@router.post("/teach/build/sentences", response_class=HTMLResponse, include_in_schema=False)
async def from_sentences(request: Request, who: Teacher, kept: Kept) -> HTMLResponse:
    """Make the YAML of a case from the sentences' fields; nothing is kept yet."""
    from ebbline.errors import EbblineError
    from ebbline.teach.case_form import compose

    form = await request.form()
    given = {name: value for name, value in form.multi_items() if isinstance(value, str)}
    asks = [
        value for name, value in form.multi_items() if name == "asks" and isinstance(value, str)
    ]
    try:
        text = compose(given, asks)
    except EbblineError as error:
        return _build(request, kept, text="", problem=str(error), status=422)
    return _build(request, kept, text=text, done="Made. Look at it, check it, then keep it.")


@router.post("/teach/build", response_class=HTMLResponse, include_in_schema=False)
def keep(
    request: Request, who: Teacher, kept: Kept, yaml: Annotated[str, Form(max_length=64_000)]
) -> HTMLResponse:
    """Keep a case for everyone's list."""
    from ebbline.errors import EbblineError

    try:
        case = kept.keep_case(yaml, who.name)
    except EbblineError as error:
        return _build(request, kept, text=yaml, problem=str(error), status=422)
    return _build(request, kept, text=yaml, done=f"Kept as {case.id}; it is on the list now.")


@router.post("/teach/build/withdraw", include_in_schema=False)
def withdraw(who: Teacher, kept: Kept, case: ShortField) -> RedirectResponse:
    """Take a teacher's case off the list."""
    kept.withdraw_case(case)
    return RedirectResponse("/teach/build", 303)


# --- assignments ------------------------------------------------------------------------------


@router.get("/teach/assignments", response_class=HTMLResponse, include_in_schema=False)
def assignments_page(request: Request, who: Teacher, kept: Kept) -> HTMLResponse:
    """What is set, and to whom."""
    return _assignments(request, kept)


def _assignments(
    request: Request, kept: Teaching, *, problem: str = "", status: int = 200
) -> HTMLResponse:
    cases = kept.cases()
    rows = []
    for one in kept.assignments():
        finished = kept.finished(assignment=one.id)
        idle = sorted(set(one.names) - kept.begun_by(assignment=one.id))
        rows.append((one, len({a.learner for a in finished}), len(finished), idle))
    return page(
        request,
        "teaching/assignments.html",
        place="teach",
        status=status,
        rows=rows,
        problem=problem,
        cases=list(cases.values()),
        titles={name: case.title for name, case in cases.items()},
    )


@router.post("/teach/assignments", response_class=HTMLResponse, include_in_schema=False)
def set_assignment(
    request: Request,
    who: Teacher,
    kept: Kept,
    case: ShortField,
    title: ShortField = "",
    due: ShortField = "",
    attempts: ShortField = "0",
    variant: ShortField = "",
    names: Field = "",
) -> Response:
    """Set a case to a class."""
    from ebbline.errors import EbblineError

    try:
        people = names_from(names) if names.strip() else ()
        check_known(people, _known(request, kept))
        kept.set_assignment(
            case=case,
            seed=_number(variant, "variant") if variant.strip() else None,
            title=title or kept.case(case).title,
            due_at=moment_from(due),
            attempts=_number(attempts or "0", "attempts"),
            names=people,
            set_by=who.name,
        )
    except EbblineError as error:
        return _assignments(request, kept, problem=str(error), status=422)
    return RedirectResponse("/teach/assignments", 303)


def _known(request: Request, kept: Teaching) -> list[str]:
    """Every learner there is: of groups, with accounts, with attempts."""
    state = request.app.state
    known = state.groups.everyone() | set(kept.learners())
    if state.settings.accounts:
        known |= {one.name for one in state.accounts.everyone() if not one.disabled}
    return sorted(known)


def _number(text: str, where: str) -> int:
    try:
        return int(text)
    except ValueError:
        raise TeachingError(f"{text!r} is not a whole number.", where=where) from None


def moment_from(text: str) -> datetime | None:
    """A day and time as a page sends it; None for none. Raises TeachingError."""
    if not text.strip():
        return None
    try:
        return datetime.fromisoformat(text).astimezone(UTC)
    except ValueError:
        raise TeachingError(
            f"{text!r} is not a date and time.", where="due", remedy="Such as 2031-03-14T17:00."
        ) from None


@router.post("/teach/assignments/close", include_in_schema=False)
def close(who: Teacher, kept: Kept, assignment: ShortField) -> RedirectResponse:
    """Take an assignment off the learners' pages."""
    kept.close_assignment(assignment)
    return RedirectResponse("/teach/assignments", 303)


# --- sheets -----------------------------------------------------------------------------------


@router.get("/teach/sheets/{case}.pdf", include_in_schema=False, response_class=Response)
def sheet(who: Teacher, kept: Kept, case: str, answers: bool = False, variant: int = 0) -> Response:
    """A printable sheet of a case, with or without answers."""
    from ebbline.picture.pdf import pdf
    from ebbline.teach.printout import sheet as made

    document = made(kept.case(case), variant, answers=answers)
    name = f"{case}{'-answers' if answers else ''}.pdf"
    return Response(
        pdf(document),
        media_type="application/pdf",
        headers={"content-disposition": f'inline; filename="{name}"'},
    )


# --- the class report, exports ----------------------------------------------------------------


@router.get("/teach/class", response_class=HTMLResponse, include_in_schema=False)
def class_page(
    request: Request, who: Teacher, kept: Kept, assignment: str = "", learner: str = ""
) -> HTMLResponse:
    """The class report, of everything or of one assignment; or one learner's attempts."""
    from ebbline.teach.portfolio import calibration_words
    from ebbline.teach.report import class_report, growth_lines, reliability_words

    finished = kept.finished(learner=learner or None, assignment=assignment or None)
    report = class_report(finished)
    return page(
        request,
        "teaching/class.html",
        place="teach",
        report=report,
        reliability_words=reliability_words(report.reliability),
        calibration_words=calibration_words(report.calibration),
        growth_lines=growth_lines(report),
        finished=list(reversed(finished)) if learner else [],
        assignments=kept.assignments(),
        assignment=assignment,
        learner=learner,
        learners=kept.learners(),
        titles={name: case.title for name, case in kept.cases().items()},
    )


@router.get("/teach/portfolio.pdf", include_in_schema=False, response_class=Response)
def learners_portfolio(who: Teacher, kept: Kept, learner: str) -> Response:
    """A learner's portfolio, for the teacher."""
    return portfolio_pdf(kept, learner)


@router.get("/api/teach/export.csv", tags=["teaching"], response_class=Response)
def export_csv(
    request: Request, who: Teacher, kept: Kept, assignment: str = "", names: bool = False
) -> Response:
    """Finished attempts as CSV, under pseudonyms unless names are asked for."""
    from ebbline.teach.export import to_csv

    finished = kept.finished(assignment=assignment or None)
    text = to_csv(finished, _names(request, finished, names))
    return Response(
        text,
        media_type="text/csv; charset=utf-8",
        headers={"content-disposition": 'attachment; filename="attempts.csv"'},
    )


@router.get("/api/teach/export.json", tags=["teaching"], response_class=Response)
def export_xapi(
    request: Request, who: Teacher, kept: Kept, assignment: str = "", names: bool = False
) -> Response:
    """Finished attempts as xAPI statements, under pseudonyms unless names are asked for."""
    from ebbline.teach.export import to_xapi

    finished = kept.finished(assignment=assignment or None)
    statements = to_xapi(finished, _names(request, finished, names))
    return Response(
        json.dumps(statements, ensure_ascii=False, indent=1, allow_nan=False),
        media_type="application/json",
        headers={"content-disposition": 'attachment; filename="statements.json"'},
    )


def _names(request: Request, finished: Any, wanted: bool) -> dict[str, str]:
    from ebbline.teach.export import pseudonyms

    if wanted:
        return {attempt.learner: attempt.learner for attempt in finished}
    return pseudonyms(finished, request.app.state.secret)


@router.post("/teach/class/erase", include_in_schema=False)
def erase_learner(
    request: Request, who: Teacher, kept: Kept, learner: ShortField, sure: ShortField = ""
) -> RedirectResponse:
    """Erase all that is kept of a learner, at their wish. Admins only."""
    if not who.may(Role.ADMIN):
        raise TeachingError("only an admin may erase someone else's attempts.")
    if sure != "yes":
        raise TeachingError("nothing was erased.", remedy="Tick the box to say that you are sure.")
    keys = [attempt.id for attempt in kept.attempts_of(learner)]
    kept.erase(learner)
    request.app.state.groups.erase(learner)
    live_of(request).forget(keys)
    return RedirectResponse("/teach/class", 303)
