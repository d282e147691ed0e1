"""Virtual patients: the learner's pages, and the endpoints a case is played through."""

from __future__ import annotations

from typing import TYPE_CHECKING, Annotated, Any

from fastapi import APIRouter, Depends, Form, HTTPException, Request
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from ebbline.web.pages import NAV, NavItem, page
from ebbline.web.principal import Principal, Role, principal_of
from ebbline.web.samples import as_samples
from ebbline.web.teaching.attempts_in_play import LiveAttempts, shown, strip_of, traces_of
from ebbline.web.teaching.schemas import (
    AttemptOut,
    BeatsOut,
    CheckedCaseOut,
    DebriefStripOut,
    EarOut,
    StatementOut,
    StepIn,
)
from ebbline.web.teaching.store import AssignmentView, AttemptView, Teaching, TeachingError

if TYPE_CHECKING:
    from ebbline.teach.encounter import Encounter
    from ebbline.teach.practice import Mixed
    from ebbline.web.teaching.attempts_in_play import Played

router = APIRouter()
NAV.append(NavItem("teach", "Cases", "/teach"))

Who = Annotated[Principal, Depends(principal_of)]


def teaching_of(request: Request) -> Teaching:
    """What teaching keeps: on this workbench's store, or of a class's guest in memory."""
    state = request.app.state
    if (guests := _guests(request)) is not None:
        own: Teaching = guests.teaching
        return own
    if not hasattr(state, "teaching"):
        state.teaching = Teaching(state.store)
    found: Teaching = state.teaching
    return found


def live_of(request: Request) -> LiveAttempts:
    """The attempts that are being played."""
    state = request.app.state
    if (guests := _guests(request)) is not None:
        playing: LiveAttempts = guests.live
        return playing
    if not hasattr(state, "teach_live"):
        state.teach_live = LiveAttempts(teaching_of(request))
    found: LiveAttempts = state.teach_live
    return found


def _guests(request: Request) -> Any:
    """The class whose guest asks (it has its own `teaching` and `live`), or None."""
    return request.app.state.classes.of_guest(request.scope.get("ebbline.principal"))


Kept = Annotated[Teaching, Depends(teaching_of)]
Live = Annotated[LiveAttempts, Depends(live_of)]


def allowed_attempt(key: str, kept: Kept, who: Who) -> AttemptView:
    """The attempt, for its learner and for teachers."""
    attempt = kept.attempt(key)
    if attempt.learner != who.name and not who.may(Role.TEACHER):
        raise HTTPException(403, "this attempt is someone else's.")
    return attempt


def own_attempt(key: str, kept: Kept, who: Who) -> AttemptView:
    """The attempt, for its learner only: a teacher may look, not play."""
    attempt = kept.attempt(key)
    if attempt.learner != who.name:
        raise HTTPException(403, "this attempt is someone else's.")
    return attempt


Allowed = Annotated[AttemptView, Depends(allowed_attempt)]
Own = Annotated[AttemptView, Depends(own_attempt)]


LATEST = 40
"""Finished attempts, the latest, from which mistakes are taken (ours)."""
SHOWN_MISTAKES = 3


def mistakes_of(kept: Teaching, learner: str) -> tuple[Mixed, ...]:
    """What a learner took for something else lately, and can practise; the commonest first."""
    from ebbline.teach.practice import mixed_up

    finished = sorted(kept.finished(learner=learner), key=lambda one: one.finished)[-LATEST:]
    return mixed_up(pair for attempt in finished for pair in attempt.score.confused)


# --- pages ------------------------------------------------------------------------------------


@router.get("/teach", response_class=HTMLResponse, include_in_schema=False)
def home(request: Request, who: Who, kept: Kept, show: str = "all") -> HTMLResponse:
    """The learner's page: what is set, what is due, what was begun, the library."""
    from ebbline.teach.index import index_so_far
    from ebbline.teach.spacing import choose_case

    cases = kept.cases()
    attempts = kept.attempts_of(who.name)
    due = kept.due(who.name)
    skills = {name: one.skills for name, one in index_so_far().items()} if due else {}
    recent = list(reversed([attempt.case for attempt in attempts[:12]]))
    suggested = choose_case(due, skills, recent)
    best: dict[str, float] = {}
    for attempt in attempts:
        if attempt.share == attempt.share:
            best[attempt.case] = max(best.get(attempt.case, 0.0), attempt.share)
    return page(
        request,
        "teaching/home.html",
        place="teach",
        cases=list(cases.values()),
        best=best,
        begun=[a for a in attempts if a.finished_at is None][:8],
        done=[a for a in attempts if a.finished_at is not None][:12],
        titles={name: case.title for name, case in cases.items()},
        mistakes=mistakes_of(kept, who.name)[:SHOWN_MISTAKES],
        asked=[(one, _attempts_at(one, attempts)) for one in kept.assignments(learner=who.name)],
        due=due[:6],
        due_count=len(due),
        suggested=cases.get(suggested) if suggested else None,
        teacher=who.may(Role.TEACHER),
    )


def _attempts_at(assignment: AssignmentView, attempts: tuple[AttemptView, ...]) -> dict[str, Any]:
    own = [a for a in attempts if a.assignment == assignment.id]
    finished = [a for a in own if a.finished_at is not None]
    return {
        "begun": len(own),
        "finished": len(finished),
        "open": next((a.id for a in own if a.finished_at is None), ""),
        "best": max((a.share for a in finished), default=float("nan")),
        "left": None if not assignment.attempts else max(0, assignment.attempts - len(own)),
    }


@router.post("/teach/begin", include_in_schema=False)
def begin(
    who: Who,
    kept: Kept,
    case: Annotated[str, Form(max_length=60)],
    assignment: Annotated[str, Form(max_length=16)] = "",
    variant: Annotated[str, Form(max_length=12)] = "",
    late: Annotated[str, Form(max_length=4)] = "",
) -> RedirectResponse:
    """Begin an attempt and go to it."""
    seed: int | None = None
    if variant.strip():
        try:
            seed = int(variant)
        except ValueError:
            raise TeachingError(
                f"{variant!r} is not the number of a variant.", where="variant"
            ) from None
    key = kept.begin(who.name, case, seed=seed, assignment=assignment, late=late == "yes")
    return RedirectResponse(f"/teach/attempts/{key}", 303)


@router.get("/teach/attempts/{key}", response_class=HTMLResponse, include_in_schema=False)
def attempt_page(request: Request, attempt: Allowed, kept: Kept, live: Live, who: Who) -> Response:
    """The bedside; a finished attempt goes to its debrief."""
    if attempt.finished_at is not None:
        return RedirectResponse(f"/teach/attempts/{attempt.id}/debrief", 303)
    from ebbline.teach.encounter import Encounter
    from ebbline.teach.measures import measure_table
    from ebbline.teach.threats import threat_table
    from ebbline.web.teaching.attempts_in_play import case_out
    from ebbline.web.teaching.touch_and_sound import drawn

    case = kept.case_of(attempt.id)
    with live.held(attempt.id) as encounter:
        abdomen = drawn(encounter).model_dump() if isinstance(encounter, Encounter) else None
    return page(
        request,
        "teaching/attempt.html",
        place="teach",
        attempt=attempt,
        case=case_out(case),
        table=measure_table(),
        threats=threat_table().values(),
        twins=case.second_twin is not None,
        drawn=abdomen,
        own=attempt.learner == who.name,
        words=_words(),
    )


def _words() -> dict[str, list[str]]:
    from ebbline.features.findings import VariabilityClass
    from ebbline.teach.answers import MarkKind
    from ebbline.teach.sensations import Grip, Zone
    from ebbline.terms import Attitude, Lie, Position, Presentation

    return {
        "lies": [one.value for one in Lie],
        "presentations": [one.value for one in Presentation],
        "positions": [one.value for one in Position],
        "attitudes": [one.value for one in Attitude],
        "variabilities": [one.value for one in VariabilityClass],
        "marks": [one.value for one in MarkKind],
        "grips": [one.value for one in Grip],
        "zones": [one.value for one in Zone],
    }


@router.get("/teach/attempts/{key}/debrief", response_class=HTMLResponse, include_in_schema=False)
def debrief_page(request: Request, attempt: Allowed, kept: Kept, live: Live, who: Who) -> Response:
    """The debrief, once the case is finished."""
    if attempt.finished_at is None:
        return RedirectResponse(f"/teach/attempts/{attempt.id}", 303)
    from ebbline.teach.attempt_log import narrated
    from ebbline.teach.debrief import debrief
    from ebbline.teach.encounter import Encounter, told_birth
    from ebbline.teach.practice import mixed_up
    from ebbline.web.teaching.touch_and_sound import drawn

    with live.held(attempt.id) as encounter:
        if isinstance(encounter, Encounter):
            return page(
                request,
                "teaching/debrief.html",
                place="teach",
                attempt=attempt,
                case=encounter.case,
                made=(made := debrief(encounter)),
                mistakes=mixed_up(made.score.confused),
                birth_words="" if made.birth is None else told_birth(made.birth),
                opening=made.summary.sentences,
                told=narrated(encounter),
                drawn=drawn(encounter, fetus=True, name="truth").model_dump(),
                own=attempt.learner == who.name,
            )
        return page(
            request,
            "teaching/debrief_recorded.html",
            place="teach",
            attempt=attempt,
            case=encounter.case,
            score=encounter.score(),
            panel=encounter.panel,
            truth=encounter.truth(),
            own=attempt.learner == who.name,
        )


@router.get("/teach/mine", response_class=HTMLResponse, include_in_schema=False)
def mine(request: Request, who: Who, kept: Kept) -> HTMLResponse:
    """What is kept of the learner, to take along or to erase."""
    from ebbline.teach.attempt_record import as_progress
    from ebbline.teach.statistics.progress import in_order

    finished = kept.finished(learner=who.name)
    own = in_order(as_progress(finished)).get(who.name, ())
    skills: dict[str, list[float]] = {}
    for attempt in finished:
        for skill, share in attempt.score.skills:
            skills.setdefault(skill, []).append(share)
    weakest = sorted(
        (
            (skill, sum(shares[-3:]) / len(shares[-3:]), len(shares))
            for skill, shares in skills.items()
        ),
        key=lambda row: row[1],
    )
    return page(
        request,
        "teaching/mine.html",
        place="teach",
        attempts=own,
        titles={name: case.title for name, case in kept.cases().items()},
        weakest=weakest,
        mistakes=mistakes_of(kept, who.name)[:SHOWN_MISTAKES],
        count=len(kept.attempts_of(who.name)),
    )


@router.get("/teach/mine/portfolio.pdf", include_in_schema=False, response_class=Response)
def own_portfolio(who: Who, kept: Kept) -> Response:
    """What the learner finished over the year, by term, as a PDF."""
    return portfolio_pdf(kept, who.name)


def portfolio_pdf(kept: Teaching, learner: str) -> Response:
    """A learner's portfolio."""
    from ebbline.picture.pdf import pdf
    from ebbline.teach.portfolio import portfolio
    from ebbline.teach.portfolio_sheet import portfolio_sheet

    titles = {name: case.title for name, case in kept.cases().items()}
    made = portfolio(kept.finished(learner=learner), learner)
    return Response(
        pdf(portfolio_sheet(made, titles)),
        media_type="application/pdf",
        headers={"content-disposition": 'inline; filename="portfolio.pdf"'},
    )


@router.post("/teach/mine/erase", include_in_schema=False)
def erase(
    request: Request, who: Who, kept: Kept, live: Live, sure: Annotated[str, Form()] = ""
) -> RedirectResponse:
    """Erase everything that teaching keeps of the learner."""
    if sure != "yes":
        raise TeachingError("nothing was erased.", remedy="Tick the box to say that you are sure.")
    keys = [attempt.id for attempt in kept.attempts_of(who.name)]
    kept.erase(who.name)
    if _guests(request) is None:
        request.app.state.groups.erase(who.name)
    live.forget(keys)
    return RedirectResponse("/teach/mine", 303)


# --- endpoints --------------------------------------------------------------------------------


@router.get("/api/teach/mine", tags=["teaching"])
def everything(who: Who, kept: Kept) -> JSONResponse:
    """All that teaching keeps of the learner, as JSON to take along."""
    return JSONResponse(
        kept.everything_of(who.name),
        headers={"content-disposition": 'attachment; filename="my-cases.json"'},
    )


@router.get("/api/teach/attempts/{key}", tags=["teaching"])
def state(attempt: Allowed, live: Live) -> AttemptOut:
    """An attempt as it stands now."""
    with live.held(attempt.id) as encounter:
        return shown(attempt.id, encounter)


@router.post("/api/teach/attempts/{key}/steps", status_code=201, tags=["teaching"])
def take(attempt: Own, live: Live, step: StepIn) -> AttemptOut:
    """Take a step: `{"step": "feel", "grip": "first grip", "zone": "fundus"}` and the like."""
    from ebbline.teach.steps import step_from_data

    return live.take(attempt.id, step_from_data(step.model_dump()))


@router.get("/api/teach/attempts/{key}/ear", tags=["teaching"])
def ear(attempt: Allowed, live: Live, x_cm: float, y_cm: float) -> EarOut:
    """What is heard at a place while the sensor is moved over it; this is no step."""
    from ebbline.synth.scenario_parts import Point
    from ebbline.web.teaching.touch_and_sound import ear as heard

    if not (abs(x_cm) <= 60 and abs(y_cm) <= 60):
        raise TeachingError("that is not a place on the abdomen.", where="place")
    with live.held(attempt.id) as encounter:
        return heard(_virtual(encounter), Point(x_cm, y_cm))


@router.get("/api/teach/attempts/{key}/beats", tags=["teaching"])
def beats(attempt: Own, live: Live, seconds: float = 60.0) -> BeatsOut:
    """The heart to be counted in the seconds to come; the labour goes on when it was listened."""
    if not 5 <= seconds <= 300:
        raise TeachingError("listen for 5 to 300 seconds.", where="seconds")
    with live.held(attempt.id) as encounter:
        played = _virtual(encounter)
        now, at = played.beats_ahead(seconds)
        hard = played.hard_ahead(seconds)
    return BeatsOut(
        seconds=seconds,
        beats_s=[round(float(one) - now, 3) for one in at],
        hard_s=[(round(a - now, 1), round(b - now, 1)) for a, b in hard],
    )


@router.get("/api/teach/attempts/{key}/statements", tags=["teaching"])
def statements(attempt: Allowed, live: Live) -> list[StatementOut]:
    """What can be said at the handover now, true and untrue."""
    from ebbline.teach.handover import statements as offered

    with live.held(attempt.id) as encounter:
        made = offered(_virtual(encounter))
    return [StatementOut(id=one.id, section=one.section.value, say=one.say) for one in made]


def _virtual(encounter: Played) -> Encounter:
    from ebbline.teach.encounter import Encounter

    if not isinstance(encounter, Encounter):
        raise TeachingError("a real recording has no abdomen and no handover.")
    return encounter


@router.get(
    "/api/teach/attempts/{key}/strip/{kind}",
    tags=["teaching"],
    response_class=Response,
    responses={200: {"content": {"application/octet-stream": {}}}},
)
def samples(request: Request, attempt: Allowed, live: Live, kind: str) -> Response:
    """One channel of the learner's strip (heart or uterine): float32, little endian."""
    with live.held(attempt.id) as encounter:
        recording = strip_of(encounter)
        traces = traces_of(attempt.id, recording)
        chosen = [n for n, trace in enumerate(traces) if trace.kind == kind]
        if recording is None or not chosen:
            raise HTTPException(404, "there is no such trace.")
        values = recording.channels[chosen[0]].samples
    return as_samples(request, values)


@router.get("/api/teach/attempts/{key}/debrief-strip", tags=["teaching"])
def debrief_strip(attempt: Allowed, live: Live) -> DebriefStripOut:
    """What is drawn on the strip at the debrief: the truth above, the learner's marks below."""
    if attempt.finished_at is None:
        raise HTTPException(403, "the truth is shown when the case is finished.")
    from ebbline.web.teaching.presenters import strip_of_debrief

    with live.held(attempt.id) as encounter:
        return strip_of_debrief(attempt.id, encounter)


@router.post("/api/teach/check", tags=["teaching"])
def check_case(body: dict[str, str], who: Who) -> CheckedCaseOut:
    """Check a case's YAML ({"yaml": ...}) and tell what it truly shows. For teachers."""
    if not who.may(Role.TEACHER):
        raise HTTPException(403, "this needs the role 'teacher'.")
    from ebbline.web.teaching.presenters import checked

    return checked(body.get("yaml", ""))
