"""Running it for a ward: health, log, accounts from a list, copies, what the doctor sees."""

from __future__ import annotations

import csv
import json
import logging
import os
import sqlite3
import stat
import threading
import time
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import pytest
from typer.testing import CliRunner

from ebbline.cli.main import app
from ebbline.errors import EbblineError
from ebbline.store import StoreError
from ebbline.store.verify import verify_file
from ebbline.web.auth.accounts import AccountError, Accounts
from ebbline.web.operations import health
from ebbline.web.operations.doctor import look_over
from ebbline.web.operations.log import configure
from ebbline.web.settings import Limits
from ebbline.web.store import LAYOUTS, Store
from web.visitor import PASSWORD, Visitor

RUN = CliRunner()


def told(*words: str | Path) -> str:
    result = RUN.invoke(app, [str(word) for word in words])
    if result.exception is not None and not isinstance(result.exception, SystemExit):
        raise result.exception
    return result.output


@pytest.fixture
def log(tmp_path: Path) -> Iterator[Path]:
    """The log as JSON lines in a file."""
    loggers = [logging.getLogger(name) for name in ("ebbline", "uvicorn")]
    before = [(one, one.handlers, one.level, one.propagate) for one in loggers]
    file = tmp_path / "events.log"
    configure(as_json=True, file=file)
    yield file
    for one, handlers, level, propagate in before:
        one.handlers, one.propagate = handlers, propagate
        one.setLevel(level)


def lines(log: Path) -> list[dict[str, object]]:
    return [json.loads(line) for line in log.read_text().splitlines()]


# -- health ------------------------------------------------------------------------------------


def looked_at(visitor: Visitor) -> Any:
    """The answer once the first look is done: on a busy computer it is "starting" until then."""
    for _ in range(60):
        answer = visitor.get("/health")
        if answer.json()["state"] != "starting":
            break
    return answer


def test_health_reads_a_small_trace_and_asks_the_store(visitor: Visitor) -> None:
    answer = looked_at(visitor)
    assert answer.status_code == 200
    assert answer.json() == {"state": "running", "reading": "well", "store": "well"}


def test_health_says_so_where_no_reading_can_be_made(
    visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails() -> None:
        raise RuntimeError("/secret/place")

    with monkeypatch.context() as broken:
        broken.setattr(health, "read_a_little", fails)
        answer = looked_at(visitor)
        assert answer.status_code == 503
        assert answer.json()["reading"] == "fails: RuntimeError"
        assert "secret" not in answer.text
    assert looked_at(visitor).status_code == 200, "it is looked at again, not kept for a minute"


def test_health_does_not_let_a_watchdog_wait_for_what_takes_long(
    visitor: Visitor, monkeypatch: pytest.MonkeyPatch
) -> None:
    answered = threading.Event()
    monkeypatch.setattr(health, "WAIT_S", 0.05)
    monkeypatch.setattr(health, "read_a_little", lambda: answered.wait(60.0))
    try:
        assert visitor.get("/health").json()["state"] == "starting"
    finally:
        answered.set()


# -- log ---------------------------------------------------------------------------------------


def test_sign_ins_refusals_and_changes_are_logged_without_a_password_or_a_womans_name(
    guarded: Visitor, log: Path
) -> None:
    guarded.sign_in("reader one", "not the right one")
    guarded.sign_in("three quiet words", "typed in the wrong field")
    guarded.sign_in("reader one")
    guarded.get("/accounts")
    guarded.post("/api/record/cases", json={"case": "24-0117", "name": "Maria Example"})
    events = lines(log)
    kinds = [one["event"] for one in events]
    assert kinds.count("sign-in refused") == 2
    assert "signed in" in kinds
    refusals = [one for one in events if one["event"] == "sign-in refused"]
    assert [one["who"] for one in refusals] == ["reader one", ""], "a name that is none is not kept"
    looked = [one for one in events if one.get("page") == "/accounts"]
    assert [(one["event"], one["who"], one["status"]) for one in looked] == [
        ("refused", "reader one", 403)
    ]
    assert any(one.get("page") == "/api/record/cases" for one in events)
    text = log.read_text()
    for secret in (PASSWORD, "not the right one", "Maria", "24-0117"):
        assert secret not in text
    assert stat.S_IMODE(log.stat().st_mode) == 0o600


def test_the_trail_names_the_recording_by_its_key_and_who_changed_it(
    guarded: Visitor, log: Path
) -> None:
    guarded.sign_in("reader one")
    made = guarded.post("/api/invented", json={"case": "late"})
    assert made.status_code == 201, made.text
    key = made.json()["id"]
    guarded.put(f"/api/recordings/{key}/name", json={"name": "Maria Example"})
    (renamed,) = [one for one in lines(log) if one.get("page") == "/api/recordings/{key}/name"]
    assert (renamed["who"], renamed["recording"]) == ("reader one", key)
    assert "Maria" not in log.read_text()


def test_an_encrypted_answer_tells_the_browser_to_come_back_encrypted(visitor: Visitor) -> None:
    """RFC 6797: the header is sent over a secure transport only."""
    assert "strict-transport-security" not in visitor.get("/health").headers
    there = visitor.get("https://127.0.0.1/health").headers
    assert "max-age=" in there["strict-transport-security"]


# -- accounts from a list ----------------------------------------------------------------------


def test_a_list_gives_everyone_an_account_and_a_first_password(tmp_path: Path) -> None:
    store, out = tmp_path / "w.sqlite", tmp_path / "first.csv"
    people = tmp_path / "staff.csv"
    people.write_text('name,role,ward\n"Example, Ada",admin,1\nTess Example,teacher,2\n')
    told("accounts", "import", people, "--passwords", out, "--store", store)
    assert stat.S_IMODE(out.stat().st_mode) == 0o600
    with out.open(newline="") as file:
        rows = list(csv.DictReader(file))
    assert [(row["name"], row["role"]) for row in rows] == [
        ("Example, Ada", "admin"),
        ("Tess Example", "teacher"),
    ]
    assert Accounts(Store(store), Limits()).sign_in("tess example", rows[1]["password"], "here")
    with pytest.raises(EbblineError):
        told("accounts", "import", people, "--passwords", out, "--store", store)


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("name,role\nAda,queen\n", "line 2.*reader, teacher or admin"),
        ("name,role\nAda,admin\nada,reader\n", "line 3.*line 2 too"),
        ("name,role\n,admin\n", "line 2.*missing"),
        ("who\nAda\n", "columns name and role"),
        ("name,role\nAda,admin\nTaken,reader\n", "account of that name"),
    ],
)
def test_a_list_with_one_wrong_line_adds_nobody(tmp_path: Path, text: str, what: str) -> None:
    store = tmp_path / "w.sqlite"
    accounts = Accounts(Store(store), Limits())
    if "Taken" in text:
        told_before = tmp_path / "one.csv"
        told_before.write_text("name,role\ntaken,admin\n")
        told(
            *("accounts", "import", told_before, "--passwords", tmp_path / "a.csv"),
            *("--store", store),
        )
    before = len(accounts.everyone())
    people, out = tmp_path / "staff.csv", tmp_path / "b.csv"
    people.write_text(text)
    with pytest.raises(AccountError) as caught:
        told("accounts", "import", people, "--passwords", out, "--store", store)
    import re

    assert re.search(what, str(caught.value))
    assert len(accounts.everyone()) == before
    assert not out.exists(), "no password of an account that is not there"


# -- copies ------------------------------------------------------------------------------------


def test_dated_copies_are_verified_and_the_oldest_go(tmp_path: Path) -> None:
    store, folder = tmp_path / "w.sqlite", tmp_path / "copies"
    folder.mkdir()
    Store(store).close()
    for day in ("20240101", "20240102"):
        (folder / f"w-{day}T020000Z.sqlite").write_bytes(b"an older one")
    before = datetime.now(UTC)
    said = told("backup", folder, "--store", store, "--keep", "2")
    assert "whole" in said
    kept = sorted(one.name for one in folder.iterdir())
    assert len(kept) == 2
    assert kept[0] == "w-20240102T020000Z.sqlite"
    # Midnight may come between.
    assert kept[1][2:10] in {f"{day:%Y%m%d}" for day in (before, datetime.now(UTC))}
    assert "whole" in told("verify", folder / kept[1])


def test_a_copy_that_is_not_whole_is_told(tmp_path: Path) -> None:
    store, copy = tmp_path / "w.sqlite", tmp_path / "copy.sqlite"
    Store(store).close()
    told("backup", copy, "--store", store)
    assert verify_file(copy, LAYOUTS)["account"] == 0
    whole = copy.read_bytes()
    copy.write_bytes(whole[: len(whole) // 2])
    with pytest.raises(StoreError, match="not a whole store"):
        verify_file(copy, LAYOUTS)
    copy.write_bytes(whole)
    with closing(sqlite3.connect(copy)) as connection:
        connection.execute("DROP TABLE sign_in")
        connection.commit()
        with pytest.raises(StoreError, match="is in use"):
            verify_file(copy, LAYOUTS)
    with pytest.raises(StoreError, match="lacks table sign_in"):
        verify_file(copy, LAYOUTS)
    with pytest.raises(StoreError, match="no such file"):
        verify_file(tmp_path / "nowhere.sqlite")


# -- doctor ------------------------------------------------------------------------------------


def test_the_doctor_finds_a_store_that_others_can_read_and_a_clock_that_is_behind(
    tmp_path: Path,
) -> None:
    store = tmp_path / "w.sqlite"
    Store(store).close()
    states = {(one.what, one.state) for one in look_over(store)}
    assert ("store", "well") in states
    assert ("reading", "well") in states
    assert "wrong" not in {state for what, state in states if what != "disk"}
    store.chmod(0o644)
    os.utime(store, (time.time() + 3600, time.time() + 3600))
    wrong = {one.what: one for one in look_over(store) if one.state == "wrong"}
    assert "read by others" in wrong["store"].told
    assert "later" in wrong["clock"].told


def test_the_doctor_ends_with_1_where_something_is_wrong(tmp_path: Path) -> None:
    store = tmp_path / "w.sqlite"
    store.write_bytes(b"not a store at all, but long enough to be looked at" * 40)
    store.chmod(0o600)
    result = RUN.invoke(app, ["doctor", "--store", str(store), "--url", "nonsense"])
    assert result.exit_code == 1
    assert "is no address" in result.output
    assert "not a database" in result.output
