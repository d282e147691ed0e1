"""How a page is made: one template environment, one set of things every page knows."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

from fastapi import FastAPI, Request
from jinja2 import (
    ChoiceLoader,
    Environment,
    FileSystemLoader,
    PrefixLoader,
    StrictUndefined,
    select_autoescape,
)
from starlette.responses import HTMLResponse
from starlette.staticfiles import StaticFiles

from ebbline import CAUTION, __version__
from ebbline.web.principal import Principal, Role
from ebbline.web.tokens import TOKEN_COOKIE, csrf_token, new_visit, set_cookie

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


def features_with(kind: str) -> dict[str, Path]:
    """The features that have a folder of this kind: name -> folder."""
    return {
        found.parent.name: found
        for found in sorted(HERE.glob(f"*/{kind}"))
        if (found.parent / "__init__.py").exists()
    }


def _templates() -> ChoiceLoader:
    """A feature's template is called by the feature's name: "reading/strip.html"."""
    own = {name: FileSystemLoader(folder) for name, folder in features_with("templates").items()}
    return ChoiceLoader([PrefixLoader(own), FileSystemLoader(HERE / "templates")])


def mount_static(app: FastAPI) -> None:
    """Each feature's scripts and styles at /static/FEATURE/, the shared ones at /static/."""
    for name, folder in features_with("static").items():
        app.mount(f"/static/{name}", StaticFiles(directory=folder), name=f"static-{name}")
    app.mount("/static", StaticFiles(directory=HERE / "static"), name="static")


@cache
def environment() -> Environment:
    """The templates, escaping everything, undefined names being errors."""
    made = Environment(
        loader=_templates(),
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
    if hours and not minutes:
        return f"{hours} h"
    return f"{hours} h {minutes:02d} min" if hours else f"{minutes} min"


def _moment(at: datetime) -> str:
    return at.astimezone().strftime("%d %b %Y, %H:%M")


def _nav(who: Principal | None) -> list[NavItem]:
    """Where this one may go; a guest of a class has the cases alone."""
    if who is None:
        return []
    return [n for n in NAV if who.may(n.role) and (not who.guest or n.key == "teach")]


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
            nav=_nav(principal),
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
