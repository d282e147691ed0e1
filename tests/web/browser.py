"""A real Chromium on a workbench that really listens."""

from __future__ import annotations

import shutil
import socket
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import uvicorn

from ebbline.web.app import create_app
from ebbline.web.settings import Settings

CHROMIUM = shutil.which("chromium") or shutil.which("chromium-browser")
ARGUMENTS = ["--no-sandbox", "--disable-gpu", "--disable-background-networking"]

PATIENCE_S = 90.0
"""How long a test waits for a state that must come. It returns as soon as it is there; a loaded
computer may take long, and a limit of time is no claim of these tests (bench/ measures speed)."""

needs_chromium = pytest.mark.skipif(CHROMIUM is None, reason="no Chromium on this computer")


@contextmanager
def served(settings: Settings) -> Iterator[tuple[str, Any]]:
    """The address of a workbench that listens on a free port, and its application."""
    listening = socket.socket()
    listening.bind(("127.0.0.1", 0))
    app = create_app(settings)
    server = uvicorn.Server(uvicorn.Config(app, log_level="warning", lifespan="on"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    while not server.started:
        assert thread.is_alive()
        time.sleep(0.01)
    try:
        yield f"http://127.0.0.1:{listening.getsockname()[1]}", app
    finally:
        server.should_exit = True
        thread.join(PATIENCE_S)
        listening.close()


_driven: list[Any] = []
"""The Playwright that runs in this process: it cannot be started twice in one thread."""


@contextmanager
def chromium() -> Iterator[Any]:
    """A browser without a screen; another one where a test or a module has its own already."""
    from playwright.sync_api import sync_playwright

    if _driven:
        browser = _driven[-1].chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
        yield browser
        browser.close()
        return
    with sync_playwright() as playwright:
        _driven.append(playwright)
        try:
            browser = playwright.chromium.launch(executable_path=CHROMIUM, args=ARGUMENTS)
            yield browser
            browser.close()
        finally:
            _driven.remove(playwright)


@contextmanager
def opened(browser: Any, **options: Any) -> Iterator[Any]:
    """A page of a fresh context; any error in its scripts, and any request away, fails the test."""
    context = browser.new_context(**options)
    context.set_default_timeout(1000 * PATIENCE_S)
    page = context.new_page()
    wrong: list[str] = []
    page.on("pageerror", lambda error: wrong.append(f"script: {error}"))
    page.on(
        "console",
        lambda said: (
            wrong.append(f"console: {said.text}")
            if said.type == "error" and "status of 4" not in said.text
            else None
        ),
    )
    page.on(
        "request",
        lambda request: (
            None
            if request.url.startswith(("http://127.0.0.1:", "data:", "blob:"))
            else wrong.append(f"request to {request.url}")
        ),
    )
    yield page
    context.close()
    assert not wrong, wrong


def until(page: Any, expression: str, arg: Any = None) -> None:
    """Wait for something to hold in the page; Playwright's own way needs eval, which is barred."""
    last = time.monotonic() + PATIENCE_S
    while not page.evaluate(expression, arg):
        if time.monotonic() > last:
            raise TimeoutError(f"did not come: {expression}")
        page.wait_for_timeout(25)


def until_still(page: Any) -> None:
    """Wait until the page is laid out with its own letters, and no strip on it moves."""
    page.wait_for_load_state("load")
    until(page, "document.fonts.status === 'loaded'")
    until(
        page,
        "(() => { const s = document.getElementById('strip')?.strip;"
        " return !s || !(s.target || s.glide || s.pending); })()",
    )


def grave(page: Any) -> list[str]:
    """Serious and critical findings of axe-core (bundled in axe-playwright-python) on the page."""
    import axe_playwright_python

    script = Path(axe_playwright_python.__file__).with_name("axe.min.js")
    page.evaluate(script.read_text())
    found = page.evaluate("axe.run(document, {resultTypes: ['violations']})")
    return [
        f"{one['id']}: {one['help']}: {node['html'][:160]}"
        for one in found["violations"]
        if one["impact"] in ("serious", "critical")
        for node in one["nodes"]
    ]
