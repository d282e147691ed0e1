"""What a learner's phone asks: join by a code, see what is asked, answer."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Depends, Form, Request
from sse_starlette import EventSourceResponse
from starlette.responses import HTMLResponse, RedirectResponse, Response

from ebbline.errors import EbblineError
from ebbline.web.classroom.presenters import shown
from ebbline.web.classroom.schemas import AnswerIn, ClassOut
from ebbline.web.classroom.service import Classes, Mode, OpenClass
from ebbline.web.pages import page
from ebbline.web.principal import Principal
from ebbline.web.teaching.groups import GROUP_CODE, Groups, GroupView
from ebbline.web.teaching.store import TeachingError
from ebbline.web.tokens import hash_of

router = APIRouter()

Code = Annotated[str, Form(max_length=40)]
Name = Annotated[str, Form(max_length=120)]


def classes_of(request: Request) -> Classes:
    """The classes of this workbench."""
    found: Classes = request.app.state.classes
    return found


TheClasses = Annotated[Classes, Depends(classes_of)]


def _token(request: Request) -> str:
    visit: str = request.scope.get("ebbline.visit", "")
    return hash_of(visit) if visit else ""


def _who(request: Request) -> Principal | None:
    who: Principal | None = request.scope.get("ebbline.principal")
    return who if who is not None and who.guest else None


@router.get("/join", response_class=HTMLResponse, include_in_schema=False)
def join_page(request: Request) -> Response:
    """Where the code is typed."""
    return page(request, "classroom/join.html", place="join", code="", problem="", name="")


@router.post("/join", response_class=HTMLResponse, include_in_schema=False)
def with_code(request: Request, classes: TheClasses, code: Code) -> Response:
    """On to the class of a code."""
    from ebbline.teach.class_session import clean_code

    wanted = clean_code(code)
    return RedirectResponse(f"/join/{wanted}", 303) if wanted else RedirectResponse("/join", 303)


@router.get("/join/mine", include_in_schema=False)
def mine(request: Request) -> RedirectResponse:
    """Back to one's own class."""
    who = _who(request)
    if who is not None and who.guest.startswith("group "):
        return RedirectResponse("/teach", 303)
    return RedirectResponse(f"/join/{who.guest}" if who else "/join", 303)


@router.get("/join/{code}", response_class=HTMLResponse, include_in_schema=False)
def class_page(request: Request, classes: TheClasses, code: str) -> Response:
    """The class on the phone: first the name, then what is asked; or a group's list of names."""
    if (group := _group(request, code)) is not None:
        return page(request, "classroom/seats.html", place="join", group=group, problem="")
    found = _found(request, classes, code)
    if isinstance(found, Response):
        return found
    who = _who(request)
    if who is None or who.guest != found.code:
        return page(
            request, "classroom/join.html", place="join", code=found.code, problem="", name=""
        )
    if found.mode is Mode.PLAY:
        return page(request, "classroom/play.html", place="join", one=found, name=who.name,
                    case=found.teaching.case(found.case),
                    attempts=found.teaching.attempts_of(who.name))  # fmt: skip
    return page(request, "classroom/phone.html", place="join", code=found.code, name=who.name)


@router.post("/join/{code}", response_class=HTMLResponse, include_in_schema=False)
def join(request: Request, classes: TheClasses, code: str, name: Name = "") -> Response:
    """Come in under a name of one's choice, or under one's own in a group."""
    if (group := _group(request, code)) is not None:
        return _sit(request, group, name)
    found = _found(request, classes, code)
    if isinstance(found, Response):
        return found
    try:
        classes.join(found.code, _token(request), name)
    except EbblineError as error:
        return page(request, "classroom/join.html", place="join", status=422, code=found.code,
                    problem=str(error), name=name)  # fmt: skip
    return RedirectResponse(f"/join/{found.code}", 303)


@router.post("/join/{code}/leave", include_in_schema=False)
def leave(request: Request, classes: TheClasses, code: str) -> RedirectResponse:
    """Go; what one said and did goes along."""
    classes.leave(code, _token(request))
    request.app.state.groups.leave(_token(request))
    return RedirectResponse("/join", 303)


def _group(request: Request, code: str) -> GroupView | None:
    from ebbline.teach.class_session import clean_code

    address = request.client.host if request.client else ""
    classes: Classes = request.app.state.classes
    wanted = clean_code(code)
    if len(wanted) != GROUP_CODE or classes.too_many_wrong(address):
        return None
    groups: Groups = request.app.state.groups
    return groups.by_code(wanted)


def _sit(request: Request, group: GroupView, name: str) -> Response:
    groups: Groups = request.app.state.groups
    try:
        if request.app.state.settings.accounts and request.app.state.accounts.known(name):
            raise TeachingError(
                f"{name} has an account.", where="name", remedy="Sign in with it instead."
            )
        groups.sit(_token(request), group, name)
    except EbblineError as error:
        return page(
            request,
            "classroom/seats.html",
            place="join",
            status=422,
            group=groups.one(group.id),
            problem=str(error),
        )
    return RedirectResponse("/teach", 303)


def _found(request: Request, classes: Classes, code: str) -> OpenClass | Response:
    """The class of a code as it was typed, or the page that says there is none."""
    from ebbline.teach.class_session import clean_code

    address = request.client.host if request.client else ""
    wanted = clean_code(code)
    problem = "Too many wrong codes came from here. Wait a minute, then try again."
    if not classes.too_many_wrong(address):
        try:
            with classes.held(wanted) as found:
                return found
        except EbblineError as error:
            classes.wrong(address)
            problem = str(error)
    return page(
        request, "classroom/join.html", place="join", status=404, code="", problem=problem, name=""
    )


# --- endpoints --------------------------------------------------------------------------------


@router.get("/api/join/{code}", tags=["classes"])
def state(request: Request, classes: TheClasses, code: str) -> ClassOut:
    """The class as this learner may see it."""
    with classes.held(code) as found:
        _in_it(request, found)
        return shown(found, _token(request))


@router.post("/api/join/{code}/answer", tags=["classes"])
def answer(request: Request, classes: TheClasses, code: str, given: AnswerIn) -> ClassOut:
    """Answer what is asked; until the answering is closed it may be changed."""
    from ebbline.teach.class_session import ClassError

    with classes.held(code) as found:
        _in_it(request, found)
        if (given.strip, given.round) != (found.number, len(found.session.rounds)):
            raise ClassError("that was asked before; another question is open now.")
        found.session.answer(_token(request), given.option)
        after = shown(found, _token(request))
    classes.tell_wall(code)
    return after


@router.get("/api/join/{code}/strip/{kind}", tags=["classes"], response_class=Response)
def strip(request: Request, classes: TheClasses, code: str, kind: str) -> Response:
    """What the wall shows by now of one channel: float32, little endian."""
    from ebbline.web.classroom.traces import samples

    with classes.held(code) as found:
        _in_it(request, found)
        return samples(found, kind, until_s=found.running.now_s())


def _in_it(request: Request, found: OpenClass) -> None:
    from ebbline.teach.class_session import ClassError

    who = _who(request)
    if who is None or who.guest != found.code:
        raise ClassError("you are not in this class.", remedy="Join it with the code.")


@router.get("/api/join/{code}/events", include_in_schema=False)
async def events(request: Request, classes: TheClasses, code: str) -> EventSourceResponse:
    """Word that something changed (server-sent events)."""
    return EventSourceResponse(classes.changes.listen(code), ping=20)
