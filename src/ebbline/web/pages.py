"""How a page is made: one template environment, one set of things every page knows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

from fastapi import Request
from jinja2 import Environment, FileSystemLoader, StrictUndefined, select_autoescape
from starlette.responses import HTMLResponse

from ebbline import CAUTION, __version__
from ebbline.web.auth.gate import (
    TOKEN_COOKIE,
    Principal,
    Role,
    csrf_token,
    new_visit,
    set_cookie,
)

HERE = Path(__file__).parent


@dataclass(frozen=True, slots=True)
class NavItem:
    """A place in the page's head. role: the least one that sees it."""

    key: str
    label: str
    href: str
    role: Role = Role.READER


NAV: list[NavItem] = [
    NavItem("open", "Recordings", "/"),
    NavItem("examination", "Examination", "/examination"),
]
"""What the head of every page leads to; groups of pages add theirs when they are included."""


@cache
def environment() -> Environment:
    """The templates, escaping everything, undefined names being errors."""
    made = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=select_autoescape(default=True, default_for_string=True),
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.filters["lasting"] = _lasting
    made.filters["moment"] = _moment
    return made


def _lasting(seconds: float) -> str:
    minutes = round(seconds / 60)
    hours, minutes = divmod(minutes, 60)
    return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min"


def _moment(at: datetime) -> str:
    return at.astimezone().strftime("%d %b %Y, %H:%M")


def page(
    request: Request, template: str, *, place: str = "", status: int = 200, **context: Any
) -> HTMLResponse:
    """A rendered page. place: key of the NavItem that is here.

    Every template knows `who` (Principal or None), `nav`, `place`, `csrf_token`, `theme`,
    `accounts` (whether people sign in), `version` and `caution`.
    """
    principal: Principal | None = request.scope.get("ebbline.principal")
    visit: str = request.scope.get("ebbline.visit", "")
    fresh = not visit
    if fresh:
        visit = new_visit()
    theme = request.scope.get("ebbline.theme", "")
    state = request.app.state
    html = (
        environment()
        .get_template(template)
        .render(
            who=principal,
            nav=[n for n in NAV if principal is not None and principal.may(n.role)],
            place=place,
            csrf_token=csrf_token(state.secret, visit),
            theme=theme if theme in ("light", "dark") else "",
            accounts=state.settings.accounts,
            version=__version__,
            caution=CAUTION,
            **context,
        )
    )
    response = HTMLResponse(html, status)
    if fresh:
        set_cookie(response, request.scope, TOKEN_COOKIE, visit)
    return response
