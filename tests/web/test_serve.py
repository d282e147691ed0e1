"""`ebbline serve` and `ebbline accounts`: loopback unless told, and then only with accounts."""

from __future__ import annotations

import os
import subprocess
import sys
import time
import urllib.request
from pathlib import Path

import pytest
from typer.testing import CliRunner

from ebbline.cli.main import app
from ebbline.cli.serve import ServeError
from ebbline.web.auth.accounts import AccountError

RUN = CliRunner()


def told(*words: str, said: str = "") -> str:
    result = RUN.invoke(app, list(words), input=said)
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.output


def test_it_listens_on_this_computer_and_shows_the_first_page(tmp_path: Path) -> None:
    words = [sys.executable, "-c", "from ebbline.cli.main import main; main()"]
    words += ["serve", "--port", "0", "--store", str(tmp_path / "w.sqlite")]
    running = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
    try:
        assert running.stdout is not None
        line = running.stdout.readline()
        assert "http://127.0.0.1:" in line
        address = line.split()[-1]
        with urllib.request.urlopen(address, timeout=120) as page:
            assert page.status == 200
            assert b"<h1>Recordings</h1>" in page.read()
            assert "server" not in {k.lower() for k in page.headers}
    finally:
        running.terminate()
        running.wait(60)


def test_many_requests_at_once_right_after_the_start_are_all_answered(tmp_path: Path) -> None:
    """Parts that load on first use must not be seen half loaded by requests side by side."""
    from concurrent.futures import ThreadPoolExecutor

    from ebbline.web.app import create_app
    from ebbline.web.recordings.demo_cases import invented_recording
    from ebbline.web.settings import Settings

    store = tmp_path / "w.sqlite"
    library = create_app(Settings(store=store)).state.library
    key = library.add(invented_recording("late"), by="x", invented=True).id
    about = f"recordings/{key}"
    paths = [
        *(f"{about}/panel", f"api/{about}/findings", f"api/{about}/reading", "examination"),
        *(f"{about}/examination", f"{about}/report/pages", f"api/{about}/fhir.json", about),
        *("api/recordings", f"api/{about}/channels/0/samples", f"api/{about}/differences"),
    ]
    words = [sys.executable, "-c", "from ebbline.cli.main import main; main()"]
    words += ["serve", "--port", "0", "--store", str(store)]
    for _ in range(2):
        running = subprocess.Popen(words, stdout=subprocess.PIPE, text=True)
        try:
            assert running.stdout is not None
            address = running.stdout.readline().split()[-1]

            def status(path: str, address: str = address) -> int:
                with urllib.request.urlopen(address + path, timeout=120) as answer:
                    return int(answer.status)

            with ThreadPoolExecutor(len(paths)) as together:
                assert set(together.map(status, paths)) == {200}
        finally:
            running.terminate()
            running.wait(60)


def test_beyond_this_computer_it_needs_a_host_name_and_accounts(tmp_path: Path) -> None:
    store = str(tmp_path / "w.sqlite")
    with pytest.raises(ServeError, match="by which host name"):
        told("serve", "--host", "0.0.0.0", "--port", "0", "--store", store)
    with pytest.raises(ServeError, match="no account yet"):
        told(
            *("serve", "--host", "0.0.0.0", "--port", "0", "--store", store),
            *("--name", "workbench.example"),
        )


def test_a_port_that_is_taken_is_said(tmp_path: Path) -> None:
    import socket

    with socket.socket() as taken:
        taken.bind(("127.0.0.1", 0))
        taken.listen()
        port = str(taken.getsockname()[1])
        with pytest.raises(ServeError, match="cannot listen there"):
            told("serve", "--port", port, "--store", str(tmp_path / "w.sqlite"))


def test_accounts_are_added_listed_changed_and_shut(tmp_path: Path) -> None:
    store = ("--store", str(tmp_path / "w.sqlite"))
    twice = "three quiet words\nthree quiet words\n"
    told("accounts", "add", "Ada", "--role", "admin", *store, said=twice)
    told("accounts", "add", "Tess", "--role", "teacher", *store, said=twice)
    listed = told("accounts", "list", *store)
    assert "Ada\tadmin\tmay sign in" in listed
    told("accounts", "role", "Tess", "reader", *store)
    told("accounts", "shut", "Tess", *store)
    assert "Tess\treader\tshut out" in told("accounts", "list", *store)
    told("accounts", "shut", "Tess", "--open", *store)
    told("accounts", "password", "Tess", *store, said="other quiet words\n" * 2)
    assert "three quiet words" not in (tmp_path / "w.sqlite").read_bytes().decode("latin-1")


@pytest.mark.parametrize(
    ("words", "said", "why"),
    [
        (("add", "Ada", "--role", "chief"), "", "no such role"),
        (("add", "Ada"), "short\nshort\n", "too weak"),
        (("add", "long enough"), "long enough\nlong enough\n", "too weak"),
        (("role", "Nobody", "admin"), "", "no such account"),
    ],
)
def test_what_makes_no_sense_is_refused(
    tmp_path: Path, words: tuple[str, ...], said: str, why: str
) -> None:
    with pytest.raises(AccountError, match=why):
        told("accounts", *words, "--store", str(tmp_path / "w.sqlite"), said=said)


def test_a_backup_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    store = tmp_path / "w.sqlite"
    told("accounts", "list", "--store", str(store))
    told("backup", str(tmp_path / "copy.sqlite"), "--store", str(store))
    assert (tmp_path / "copy.sqlite").stat().st_size > 0
    with pytest.raises(Exception, match="is not a directory"):
        told("backup", str(tmp_path / "no" / "copy.sqlite"), "--store", str(store))
    with pytest.raises(Exception, match="there is no store"):
        told("backup", str(tmp_path / "x.sqlite"), "--store", str(tmp_path / "none.sqlite"))


def test_what_a_killed_backup_left_is_swept_but_not_what_one_is_writing(tmp_path: Path) -> None:
    store = tmp_path / "w.sqlite"
    told("accounts", "list", "--store", str(store))
    left, written = (tmp_path / f".ebbline-backup-{name}.part" for name in ("left", "written"))
    for one in (left, written):
        one.write_bytes(b"half")
    two_hours_ago = time.time() - 7200
    os.utime(left, (two_hours_ago, two_hours_ago))
    told("backup", str(tmp_path / "copy.sqlite"), "--store", str(store))
    assert not left.exists()
    assert written.exists()


@pytest.mark.parametrize(("named", "believed"), [((), False), (("--proxy", "10.0.0.2"), True)])
def test_only_a_named_proxy_is_believed_for_whom_it_speaks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, named: tuple[str, ...], believed: bool
) -> None:
    import uvicorn

    made: list[uvicorn.Config] = []
    monkeypatch.setattr(uvicorn.Server, "run", lambda self, **_: made.append(self.config))
    told("serve", "--port", "0", "--store", str(tmp_path / "w.sqlite"), *named)
    (config,) = made
    assert config.proxy_headers is believed
    assert list(config.forwarded_allow_ips) == list(named[1:])
