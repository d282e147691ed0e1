"""Signing in and out, one's name and colours, and the admin's list of accounts."""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Depends, Form, HTTPException, Request
from pydantic import BaseModel, StringConstraints
from starlette.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from ebbline.web.auth.accounts import AccountError, Accounts, role_of
from ebbline.web.auth.gate import local_path
from ebbline.web.pages import page
from ebbline.web.principal import Principal, Role, clean_name, needs, principal_of
from ebbline.web.settings import LOOPBACK_NAMES
from ebbline.web.tokens import (
    NAME_COOKIE,
    THEME_COOKIE,
    TOKEN_COOKIE,
    csrf_token,
    hash_of,
    set_cookie,
)

router = APIRouter(include_in_schema=False)

YEAR_S = 365 * 24 * 3600
Text = Annotated[str, Form()]
Who = Annotated[Principal, Depends(principal_of)]
Admin = Annotated[Principal, Depends(needs(Role.ADMIN))]


class SignInIn(BaseModel):
    """Name and password."""

    name: Annotated[str, StringConstraints(max_length=60)]
    password: Annotated[str, StringConstraints(max_length=1024)]


def accounts_of(request: Request) -> Accounts:
    """The accounts of this workbench; refused where it has none."""
    if not request.app.state.settings.accounts:
        raise HTTPException(404)
    found: Accounts = request.app.state.accounts
    return found


TheAccounts = Annotated[Accounts, Depends(accounts_of)]


@router.get("/sign-in", response_class=HTMLResponse)
def sign_in_page(request: Request, _: TheAccounts, then: str = "/") -> HTMLResponse:
    """Where one signs in."""
    return page(request, "auth/sign_in.html", then=local_path(then), problem="", name="")


@router.post("/sign-in")
def sign_in(
    request: Request, accounts: TheAccounts, name: Text, password: Text, then: Text = "/"
) -> Response:
    """Check name and password; give the browser a fresh token."""
    if request.url.scheme != "https" and request.url.hostname not in LOOPBACK_NAMES:
        problem = (
            "This page came without encryption, so no password is taken. "
            "The operator has to put a TLS proxy before the workbench."
        )
        return page(
            request,
            "auth/sign_in.html",
            status=403,
            then=local_path(then),
            problem=problem,
            name=name,
        )
    try:
        token = accounts.sign_in(name, password, _address(request))
    except AccountError as error:
        problem = str(error)
        return page(
            request,
            "auth/sign_in.html",
            status=403,
            then=local_path(then),
            problem=problem,
            name=name,
        )
    response = RedirectResponse(local_path(then), 303)
    set_cookie(response, request.scope, TOKEN_COOKIE, token)
    return response


@router.post("/api/sign-in")
def sign_in_in_place(request: Request, accounts: TheAccounts, said: SignInIn) -> Response:
    """Sign in from a page that is open: the answer has the token for its next requests."""
    if request.url.scheme != "https" and request.url.hostname not in LOOPBACK_NAMES:
        raise AccountError(
            "this page came without encryption, so no password is taken.",
            remedy="The operator has to put a TLS proxy before the workbench.",
        )
    token = accounts.sign_in(said.name, said.password, _address(request))
    who = accounts.signed_in(hash_of(token))
    answer = {
        "name": "" if who is None else who.name,
        "csrf_token": csrf_token(request.app.state.secret, token),
    }
    response = JSONResponse(answer)
    set_cookie(response, request.scope, TOKEN_COOKIE, token)
    return response


def _address(request: Request) -> str:
    return request.client.host if request.client else ""


@router.post("/sign-out")
def sign_out(request: Request, accounts: TheAccounts) -> Response:
    """End this sign-in on the server and in the browser."""
    accounts.sign_out(request.scope.get("ebbline.visit", ""))
    response = RedirectResponse("/sign-in", 303)
    response.delete_cookie(TOKEN_COOKIE)
    # What this browser kept of the pages goes too; drafts that were not sent stay for their writer.
    response.headers["clear-site-data"] = '"cache"'
    return response


@router.get("/account", response_class=HTMLResponse)
def account_page(request: Request, _: Who) -> HTMLResponse:
    """One's name, colours and password."""
    return page(request, "auth/account.html", place="account", problem="", done="")


@router.post("/account/look")
def look(request: Request, theme: Text, name: Text = "", then: Text = "/account") -> Response:
    """Keep light or dark, and on a workbench without accounts the reader's name."""
    response = RedirectResponse(local_path(then), 303)
    kept = theme if theme in ("light", "dark") else ""
    set_cookie(response, request.scope, THEME_COOKIE, kept, max_age=YEAR_S)
    if not request.app.state.settings.accounts and name:
        set_cookie(response, request.scope, NAME_COOKIE, quote(clean_name(name)), max_age=YEAR_S)
    return response


@router.post("/account/password", response_class=HTMLResponse)
def new_password(
    request: Request, accounts: TheAccounts, who: Who, old: Text, new: Text
) -> HTMLResponse:
    """Change one's own password; all sign-ins end."""
    problem = ""
    try:
        if accounts.check_password(who.name, old, _address(request)):
            accounts.change_password(who.name, new)
        else:
            problem = "The old password does not fit."
    except AccountError as error:
        problem = str(error)
    done = "" if problem else "The password is changed. Please sign in again."
    status = 422 if problem else 200
    return page(
        request, "auth/account.html", place="account", status=status, problem=problem, done=done
    )


@router.get("/accounts", response_class=HTMLResponse)
def accounts_page(request: Request, accounts: TheAccounts, _: Admin) -> HTMLResponse:
    """The admin's list."""
    return _list(request, accounts)


@router.post("/accounts", response_class=HTMLResponse)
def add_account(
    request: Request, accounts: TheAccounts, _: Admin, name: Text, role: Text, password: Text
) -> HTMLResponse:
    """Add an account."""
    return _tried(request, accounts, lambda: accounts.add(name, role_of(role), password))


@router.post("/accounts/role", response_class=HTMLResponse)
def change_role(
    request: Request, accounts: TheAccounts, _: Admin, name: Text, role: Text
) -> HTMLResponse:
    """Give an account another role."""
    return _tried(request, accounts, lambda: accounts.change_role(name, role_of(role)))


@router.post("/accounts/password", response_class=HTMLResponse)
def reset_password(
    request: Request, accounts: TheAccounts, _: Admin, name: Text, password: Text
) -> HTMLResponse:
    """Give an account a new password, when the old one is forgotten; its sign-ins end."""
    return _tried(
        request,
        accounts,
        lambda: accounts.change_password(name, password),
        done=f"{name} can sign in with the new password; every sign-in of theirs has ended.",
    )


@router.post("/accounts/shut", response_class=HTMLResponse)
def shut(request: Request, accounts: TheAccounts, _: Admin, name: Text, shut: Text) -> HTMLResponse:
    """Shut an account out, or let it in again."""
    return _tried(request, accounts, lambda: accounts.disable(name, disabled=shut == "yes"))


def _tried(
    request: Request, accounts: Accounts, act: Callable[[], None], *, done: str = ""
) -> HTMLResponse:
    try:
        act()
    except AccountError as error:
        return _list(request, accounts, problem=str(error), status=422)
    return _list(request, accounts, done=done)


def _list(
    request: Request, accounts: Accounts, *, problem: str = "", done: str = "", status: int = 200
) -> HTMLResponse:
    return page(
        request,
        "auth/accounts.html",
        place="accounts",
        status=status,
        everyone=accounts.everyone(),
        roles=[role.value for role in Role],
        problem=problem,
        done=done,
    )
