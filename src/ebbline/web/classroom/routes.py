"""What the teacher does with a class: open it, put strips on the wall, ask, show, close."""

from __future__ import annotations

from typing import Annotated, Any

from fastapi import APIRouter, Form, Request
from sse_starlette import EventSourceResponse
from starlette.responses import HTMLResponse, RedirectResponse, Response

from ebbline.errors import EbblineError
from ebbline.web.classroom.guest_routes import TheClasses
from ebbline.web.classroom.presenters import played, shown
from ebbline.web.classroom.schemas import ActIn, ClassOut, PlayedOut
from ebbline.web.classroom.service import SPEEDS, Classes, Mode, OpenClass, counted
from ebbline.web.pages import page
from ebbline.web.reach import join_addresses, picture
from ebbline.web.teaching.class_routes import ShortField, Teacher
from ebbline.web.teaching.routes import Kept
from ebbline.web.teaching.store import Teaching, TeachingError

router = APIRouter()


@router.get("/teach/classes", response_class=HTMLResponse, include_in_schema=False)
def classes_page(
    request: Request, who: Teacher, kept: Kept, classes: TheClasses, case: str = ""
) -> HTMLResponse:
    """Open a class; the ones that are open; the ones that were kept."""
    return _page(request, kept, classes, who.name, chosen=case)


def _page(
    request: Request,
    kept: Teaching,
    classes: Classes,
    name: str,
    *,
    chosen: str = "",
    problem: str = "",
    status: int = 200,
) -> HTMLResponse:
    from ebbline.teach.class_strip import can_be_shown

    cases = list(kept.cases().values())
    on_the_wall = [one.id for one in cases if can_be_shown(one)]
    return page(
        request,
        "classroom/classes.html",
        place="teach",
        status=status,
        problem=problem,
        cases=cases,
        shown=on_the_wall,
        # The wall is what the form begins with: so does a case that it can show.
        chosen=chosen or next(iter(on_the_wall), ""),
        open=classes.opened_by(name),
        kept=kept.kept_classes(),
        addresses=join_addresses(request),
    )


@router.get("/teach/reach", response_class=HTMLResponse, include_in_schema=False)
def reach_page(request: Request, who: Teacher) -> HTMLResponse:
    """What must be opened so that phones reach this workbench, in words."""
    addresses = join_addresses(request)
    return page(
        request,
        "classroom/reach.html",
        place="teach",
        addresses=addresses,
        pictures=[picture(one) for one in addresses],
        here=str(request.base_url).rstrip("/"),
        port=request.url.port or (443 if request.url.scheme == "https" else 80),
    )


@router.post("/teach/classes", response_class=HTMLResponse, include_in_schema=False)
def open_class(
    request: Request,
    who: Teacher,
    kept: Kept,
    classes: TheClasses,
    case: ShortField,
    mode: ShortField = "wall",
    asked: ShortField = "class",
) -> Response:
    """Open a class on a case."""
    from ebbline.teach.class_session import Asked

    try:
        made = classes.open(
            kept, case=kept.case(case).id, mode=_mode(mode), asked=Asked(asked), by=who.name
        )
    except (EbblineError, ValueError) as error:
        return _page(request, kept, classes, who.name, chosen=case, problem=str(error), status=422)
    return RedirectResponse(f"/teach/classes/{made.code}", 303)


def _mode(text: str) -> Mode:
    try:
        return Mode(text)
    except ValueError:
        raise TeachingError(f"{text!r} is not a way of a class.", where="mode") from None


@router.get("/teach/classes/{code}", response_class=HTMLResponse, include_in_schema=False)
def wall(request: Request, who: Teacher, kept: Kept, classes: TheClasses, code: str) -> Response:
    """What is projected: the code, the strip, the split; and what the teacher presses."""
    from ebbline.teach.class_session import Asked
    from ebbline.teach.class_strip import can_be_shown
    from ebbline.web.classroom.traces import described

    with classes.held(code) as found:
        addresses = [f"{one}/join/{code}" for one in join_addresses(request)]
        return page(
            request,
            "classroom/wall.html" if found.mode is Mode.WALL else "classroom/playing.html",
            place="teach",
            one=found,
            case=kept.case(found.case),
            addresses=addresses,
            picture=picture(addresses[0]) if addresses else "",
            state=(shown(found) if found.mode is Mode.WALL else played(found)).model_dump(),
            traces=described(found),
            cases=[one for one in kept.cases().values() if can_be_shown(one)],
            may_ask=found.strip.may_ask if found.strip else (),
            asks=list(Asked),
            speeds=SPEEDS,
        )


@router.post("/teach/classes/{code}/strip", include_in_schema=False)
def next_strip(
    who: Teacher,
    kept: Kept,
    classes: TheClasses,
    code: str,
    case: ShortField,
    asked: ShortField = "class",
) -> RedirectResponse:
    """Put another strip on the wall."""
    from ebbline.teach.class_session import Asked

    wanted = Asked(asked) if asked in list(Asked) else Asked.CLASS
    classes.next_strip(kept, code, kept.case(case).id, wanted)
    return RedirectResponse(f"/teach/classes/{code}", 303)


@router.post("/teach/classes/{code}/close", response_class=HTMLResponse, include_in_schema=False)
def close(
    request: Request,
    who: Teacher,
    kept: Kept,
    classes: TheClasses,
    code: str,
    keep: ShortField = "nothing",
    title: Annotated[str, Form(max_length=120)] = "",
) -> RedirectResponse:
    """Close the class. keep: "nothing", "counts", or "names" (then who said what stays too)."""
    with classes.held(code) as found:
        if keep in ("counts", "names"):
            kept.keep_class(title.strip() or _title(found), _results(found, keep), by=who.name)
    classes.close(code)
    return RedirectResponse("/teach/classes", 303)


def _title(found: OpenClass) -> str:
    return found.strip.title if found.strip else found.case


def _results(found: OpenClass, keep: str) -> dict[str, Any]:
    session = found.session
    made: dict[str, Any] = {"learners": len(session.learners), "mode": found.mode.value}
    if found.mode is Mode.PLAY:
        made["played"] = played(found).model_dump()
    else:
        made["strips"] = [*found.done, *([counted(found)] if session.rounds else [])]
    if keep == "names":
        made["names"] = sorted(session.learners.values())
        if found.mode is Mode.PLAY:
            made["scores"] = {a.learner: a.score.share for a in found.teaching.finished()}
        else:
            made["answers"] = {
                name: [answers.get(token, "") for answers in session.rounds]
                for token, name in session.learners.items()
            }
    return made


@router.post("/teach/classes/forget", include_in_schema=False)
def forget(who: Teacher, kept: Kept, kept_class: Annotated[int, Form()]) -> RedirectResponse:
    """Erase what was kept of a class."""
    kept.forget_class(kept_class)
    return RedirectResponse("/teach/classes", 303)


# --- endpoints --------------------------------------------------------------------------------


@router.get("/api/teach/classes/{code}", tags=["classes"])
def state(who: Teacher, classes: TheClasses, code: str) -> ClassOut:
    """A class as the wall shows it."""
    with classes.held(code) as found:
        return shown(found)


@router.get("/api/teach/classes/{code}/played", tags=["classes"])
def how_far(who: Teacher, classes: TheClasses, code: str) -> PlayedOut:
    """How far a class is whose learners play alone; no name is in it."""
    with classes.held(code) as found:
        return played(found)


@router.post("/api/teach/classes/{code}/act", tags=["classes"])
def act(who: Teacher, classes: TheClasses, code: str, given: ActIn) -> ClassOut:
    """Ask, show the split, tell the truth; let the strip run, stop it, show all of it."""
    with classes.held(code) as found:
        session, running = found.session, found.running
        match given.act:
            case "ask":
                session.ask()
            case "split":
                session.show_split()
            case "truth":
                session.tell_truth()
            case "run":
                running.set(runs=True, speed=given.speed)
            case "stop":
                running.set(runs=False)
            case "all":
                running.show_all()
        after = shown(found)
    classes.tell(code, given.act)
    return after


@router.get("/api/teach/classes/{code}/strip/{kind}", tags=["classes"], response_class=Response)
def strip(who: Teacher, classes: TheClasses, code: str, kind: str) -> Response:
    """One channel of the whole window, for the wall: float32, little endian."""
    from ebbline.web.classroom.traces import samples

    with classes.held(code) as found:
        return samples(found, kind, until_s=found.running.ends_s)


@router.get("/api/teach/classes/{code}/events", include_in_schema=False)
async def events(who: Teacher, classes: TheClasses, code: str) -> EventSourceResponse:
    """Word that someone came or answered (server-sent events)."""
    return EventSourceResponse(classes.changes.listen(f"{code}/wall"), ping=20)
