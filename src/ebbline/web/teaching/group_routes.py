"""Groups: the teacher's first page. A list pasted at once, a case set to it, who has not begun."""

from __future__ import annotations

from collections import defaultdict
from datetime import datetime, timedelta
from typing import Annotated

from fastapi import APIRouter, Depends, Form, Request
from starlette.responses import HTMLResponse, RedirectResponse, Response

from ebbline.errors import EbblineError
from ebbline.web.pages import page
from ebbline.web.reach import join_addresses, picture
from ebbline.web.teaching.class_routes import Field, ShortField, Teacher, moment_from
from ebbline.web.teaching.groups import Groups, names_from
from ebbline.web.teaching.routes import Kept
from ebbline.web.teaching.store import AssignmentView, AttemptView, Teaching

router = APIRouter()

EVENING_HOUR = 18
"""Work is due in the evening (ours)."""


def groups_of(request: Request) -> Groups:
    """The groups of this workbench."""
    found: Groups = request.app.state.groups
    return found


TheGroups = Annotated[Groups, Depends(groups_of)]


@router.get("/teach/groups", response_class=HTMLResponse, include_in_schema=False)
def groups_page(
    request: Request, who: Teacher, kept: Kept, groups: TheGroups, made: str = ""
) -> HTMLResponse:
    """Make a group and set it a case; the groups there are, and who has not begun."""
    return _page(request, kept, groups, made=made)


def _page(
    request: Request,
    kept: Teaching,
    groups: Groups,
    *,
    made: str = "",
    problem: str = "",
    given: dict[str, str] | None = None,
    status: int = 200,
) -> HTMLResponse:
    addresses = join_addresses(request)
    asked = kept.assignments()
    rows = [
        (
            one,
            [f"{address}/join/{one.code}" for address in addresses],
            picture(f"{addresses[0]}/join/{one.code}") if addresses else "",
            [(a, standing(kept, a)) for a in asked if a.names and set(a.names) <= set(one.names)],
        )
        for one in groups.all()
    ]
    empty = {"group": "", "names": "", "case": "", "due": ""}
    return page(
        request,
        "teaching/groups.html",
        place="teach",
        status=status,
        problem=problem,
        given={**empty, **(given or {})},
        made=made,
        cases=list(kept.cases().values()),
        tomorrow=_evening(1),
        groups=rows,
    )


def standing(kept: Teaching, assignment: AssignmentView) -> list[tuple[str, str]]:
    """Each named learner of an assignment: not begun, begun, finished; overdue or late."""
    by_name: dict[str, list[AttemptView]] = defaultdict(list)
    for attempt in kept.attempts_at(assignment.id):
        by_name[attempt.learner].append(attempt)
    told = []
    for name in assignment.names:
        attempts = by_name[name]
        finished = any(one.finished_at is not None for one in attempts)
        first = min((one.started_at for one in attempts), default=None)
        word = "finished" if finished else "begun" if attempts else "not begun"
        if assignment.overdue and not finished:
            word += ", overdue"
        elif first and assignment.due_at and first > assignment.due_at:
            word += ", late"
        told.append((name, word))
    return told


def _evening(days: int) -> str:
    at = datetime.now().astimezone() + timedelta(days=days)
    return f"{at:%Y-%m-%d}T{EVENING_HOUR}:00"


@router.post("/teach/groups", response_class=HTMLResponse, include_in_schema=False)
def add_group(
    request: Request,
    who: Teacher,
    kept: Kept,
    groups: TheGroups,
    group: ShortField = "",
    names: Field = "",
    case: ShortField = "",
    due: ShortField = "",
) -> Response:
    """Make a group of a pasted list and, where a case is chosen, set it to them."""
    try:
        people = names_from(names)
        title = kept.case(case).title if case else ""
        due_at = moment_from(due)
        made = groups.add(group, people, by=who.name)
        if case:
            kept.set_assignment(
                case=case,
                seed=None,
                title=title,
                due_at=due_at,
                attempts=0,
                names=people,
                set_by=who.name,
            )
    except EbblineError as error:
        given = {"group": group, "names": names, "case": case, "due": due}
        return _page(request, kept, groups, problem=str(error), given=given, status=422)
    return RedirectResponse(f"/teach/groups?made={made.id}#group-{made.id}", 303)


@router.post("/teach/groups/close", include_in_schema=False)
def close_group(who: Teacher, groups: TheGroups, key: ShortField) -> RedirectResponse:
    """Take a group off the lists."""
    groups.close(key)
    return RedirectResponse("/teach/groups", 303)


@router.post("/teach/groups/free", include_in_schema=False)
def free_seat(
    who: Teacher, groups: TheGroups, key: ShortField, name: Annotated[str, Form(max_length=60)]
) -> RedirectResponse:
    """Free a learner's place for another browser."""
    groups.free(key, name)
    return RedirectResponse(f"/teach/groups#group-{key}", 303)
