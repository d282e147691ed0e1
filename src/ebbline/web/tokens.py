"""Cookies, and tokens against forged requests."""

from __future__ import annotations

import hashlib
import hmac
import secrets
from http.cookies import CookieError, SimpleCookie

from starlette.responses import Response
from starlette.types import Scope

TOKEN_COOKIE = "ebbline_visit"
NAME_COOKIE = "ebbline_reader"
THEME_COOKIE = "ebbline_theme"


def hash_of(token: str) -> str:
    """What is kept of a browser's token."""
    return hashlib.sha256(token.encode()).hexdigest()


def csrf_token(secret: bytes, visit: str) -> str:
    """The token that a page's own requests carry."""
    return hmac.new(secret, b"csrf:" + visit.encode(), hashlib.sha256).hexdigest()


def cookies_of(scope: Scope) -> dict[str, str]:
    """The cookies of a request; none when they cannot be parsed."""
    raw = b"; ".join(v for k, v in scope["headers"] if k == b"cookie").decode("latin-1")
    try:
        return {k: m.value for k, m in SimpleCookie(raw).items()}
    except CookieError:
        return {}


def set_cookie(
    response: Response, scope: Scope, name: str, value: str, *, max_age: int | None = None
) -> None:
    """A cookie that scripts cannot read and other sites cannot send along."""
    response.set_cookie(
        name,
        value,
        max_age=max_age,
        httponly=True,
        samesite="lax",
        secure=scope.get("scheme") == "https",
    )


def new_visit() -> str:
    """A token for a browser's visit."""
    return secrets.token_urlsafe(32)
