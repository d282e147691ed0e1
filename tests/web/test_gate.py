"""The gate: forged requests, foreign hosts, scripts from elsewhere, people not signed in."""

from __future__ import annotations

import sqlite3
import threading
from pathlib import Path

import pytest

from ebbline.web.auth.accounts import AccountError, Accounts
from ebbline.web.principal import Role
from ebbline.web.settings import Limits
from ebbline.web.store import Store
from ebbline.web.tokens import hash_of
from web.visitor import PASSWORD, Visitor


def test_every_answer_forbids_scripts_styles_and_requests_from_elsewhere(visitor: Visitor) -> None:
    for path in ("/", "/static/base.css", "/nowhere", "/api/recordings"):
        policy = visitor.get(path).headers["content-security-policy"]
        assert "default-src 'self'" in policy
        assert "unsafe" not in policy
        assert "http" not in policy
        assert "frame-ancestors 'none'" in policy


def test_pages_hold_no_inline_script_or_style(visitor: Visitor) -> None:
    for path in ("/", "/account", "/nowhere"):
        page = visitor.get(path).text
        assert "<style" not in page
        assert " style=" not in page
        assert " onclick=" not in page
        assert all("src=" in part.split(">")[0] for part in page.split("<script")[1:])


def test_a_change_without_the_pages_token_is_refused(visitor: Visitor) -> None:
    del visitor.headers["x-csrf-token"]
    answer = visitor.post("/api/invented", json={"case": "late"})
    assert answer.status_code == 403
    assert "token" in answer.json()["what"]


def test_a_token_of_another_visit_is_refused(visitor: Visitor) -> None:
    stolen = visitor.headers["x-csrf-token"]
    visitor.cookies.clear()
    visitor.load()
    visitor.headers["x-csrf-token"] = stolen
    assert visitor.delete("/api/recordings/none").status_code == 403


@pytest.mark.parametrize(
    "headers",
    [
        {"origin": "http://elsewhere.example"},
        {"sec-fetch-site": "cross-site"},
        {"sec-fetch-site": "same-site"},
        {"origin": "null"},
    ],
)
def test_a_change_asked_for_by_another_site_is_refused(
    visitor: Visitor, headers: dict[str, str]
) -> None:
    answer = visitor.delete("/api/recordings/none", headers=headers)
    assert answer.status_code == 403


def test_a_form_carries_its_token_in_a_field(visitor: Visitor) -> None:
    token = visitor.headers.pop("x-csrf-token")
    form = {"theme": "dark", "then": "/account"}
    assert visitor.post("/account/look", data=form).status_code == 403
    kept = visitor.post("/account/look", data={**form, "csrf_token": token})
    assert kept.status_code == 200
    assert 'data-theme="dark"' in kept.text


def test_an_unknown_host_name_is_refused(visitor: Visitor) -> None:
    assert visitor.get("/", headers={"host": "rebound.example"}).status_code == 400
    assert visitor.get("/", headers={"host": "localhost:8722"}).status_code == 200
    assert visitor.get("/", headers={"host": "[::1]:8722"}).status_code == 200


def test_a_large_body_is_refused_before_and_while_it_comes(guarded: Visitor) -> None:
    guarded.sign_in("reader one")
    answer = guarded.post("/api/invented", content=b" " * 5000)
    assert answer.status_code == 413
    assert "too large" in answer.json()["what"]

    def pieces() -> object:
        for _ in range(10):
            yield b" " * 1000

    headers = {"content-type": "application/json"}
    answer = guarded.post("/api/invented", content=pieces(), headers=headers)  # type: ignore[arg-type]
    assert answer.status_code == 413


def test_without_signing_in_nothing_is_shown(guarded: Visitor) -> None:
    for path in ("/", "/recordings/x", "/account", "/accounts", "/examination"):
        answer = guarded.get(path, follow_redirects=False)
        assert answer.status_code == 303
        assert answer.headers["location"].startswith("/sign-in")
    assert guarded.get("/api/recordings").status_code == 401
    assert guarded.get("/api/openapi.json").status_code == 401
    assert guarded.get("/static/base.css").status_code == 200


def test_signing_in_gives_a_new_token_that_scripts_cannot_read(guarded: Visitor) -> None:
    guarded.load("/sign-in")
    before = guarded.cookies["ebbline_visit"]
    answer = guarded.post(
        "/sign-in", data={"name": "reader one", "password": PASSWORD}, follow_redirects=False
    )
    assert answer.status_code == 303
    said = answer.headers["set-cookie"].lower()
    assert "httponly" in said
    assert "samesite=lax" in said
    assert guarded.cookies["ebbline_visit"] != before
    assert "reader one" in guarded.get("/").text


def test_the_cookie_is_only_sent_encrypted_once_the_page_is(guarded: Visitor) -> None:
    guarded.base_url = "https://workbench.example"
    guarded.load("/sign-in")
    form = {"name": "reader one", "password": PASSWORD}
    answer = guarded.post("/sign-in", data=form, follow_redirects=False)
    assert "secure" in answer.headers["set-cookie"].lower()


def test_no_password_is_taken_over_an_open_connection(guarded: Visitor) -> None:
    guarded.base_url = "http://workbench.example"
    guarded.load("/sign-in")
    answer = guarded.post("/sign-in", data={"name": "reader one", "password": PASSWORD})
    assert answer.status_code == 403
    assert "encryption" in answer.text


def test_signing_out_ends_the_sign_in_on_the_server(guarded: Visitor) -> None:
    assert guarded.sign_in("reader one") == 303
    kept = guarded.cookies["ebbline_visit"]
    guarded.post("/sign-out")
    guarded.cookies.set("ebbline_visit", kept, domain="127.0.0.1")
    assert guarded.get("/api/recordings").status_code == 401


def test_wrong_passwords_are_refused_and_then_slowed(guarded: Visitor) -> None:
    for _ in range(5):
        assert guarded.sign_in("reader one", "not the words") == 403
    guarded.load("/sign-in")
    answer = guarded.post("/sign-in", data={"name": "reader one", "password": PASSWORD})
    assert answer.status_code == 403
    assert "Too many" in answer.text


def test_many_wrong_passwords_at_once_get_no_more_tries_than_one_after_another(
    guarded: Visitor,
) -> None:
    """Sixteen clients from sixteen addresses at one account: five tries between them."""
    accounts: Accounts = guarded.app.state.accounts  # type: ignore[attr-defined]
    said: list[str] = []

    def guess(number: int) -> None:
        for _ in range(2):
            try:
                accounts.sign_in("READER one", "not the words", f"10.0.0.{number}")
            except AccountError as error:
                said.append(error.what)

    threads = [threading.Thread(target=guess, args=(n,)) for n in range(16)]
    for one in threads:
        one.start()
    for one in threads:
        one.join()
    assert said.count("name and password do not fit.") == 5
    assert said.count("too many wrong passwords.") == 27


def test_the_old_password_cannot_be_guessed_either(guarded: Visitor) -> None:
    guarded.sign_in("reader one")
    guarded.load("/account")
    form = {"old": "not the words", "new": "four very quiet words"}
    token = guarded.headers["x-csrf-token"]
    for _ in range(5):
        answer = guarded.post("/account/password", data={**form, "csrf_token": token})
        assert "does not fit" in answer.text
    right = {**form, "old": PASSWORD, "csrf_token": token}
    assert "Too many" in guarded.post("/account/password", data=right).text


def test_names_are_one_whatever_their_case(guarded: Visitor) -> None:
    accounts: Accounts = guarded.app.state.accounts  # type: ignore[attr-defined]
    with pytest.raises(AccountError, match="case does not matter"):
        accounts.add("Reader ONE", Role.READER, "four very quiet words")
    assert guarded.sign_in("READER ONE") == 303
    assert "reader one" in guarded.get("/").text


def test_two_names_of_an_old_store_that_differ_in_case_both_sign_in(tmp_path: Path) -> None:
    path = tmp_path / "old.sqlite"
    connection = sqlite3.connect(path)
    connection.executescript(Path(__file__).with_name("store_of_0_1_0.sql").read_text())
    connection.close()
    accounts = Accounts(Store(path), Limits())
    for name in ("Ada", "ada"):
        token = accounts.sign_in(name, PASSWORD, "here")
        found = accounts.signed_in(hash_of(token))
        assert found is not None
        assert found.name == name


def test_an_admin_sets_a_forgotten_password_anew(guarded: Visitor) -> None:
    guarded.sign_in("reader one")
    kept = guarded.cookies["ebbline_visit"]
    guarded.post("/sign-out")
    guarded.sign_in("admin one")
    guarded.load("/accounts")
    form = {"name": "reader one", "password": "four very quiet words"}
    assert "can sign in with the new password" in guarded.post("/accounts/password", data=form).text
    guarded.post("/sign-out")
    guarded.cookies.set("ebbline_visit", kept, domain="127.0.0.1")
    assert guarded.get("/api/recordings").status_code == 401
    guarded.cookies.clear()
    assert guarded.sign_in("reader one") == 403
    assert guarded.sign_in("reader one", "four very quiet words") == 303


def test_only_an_admin_sets_passwords_of_others(guarded: Visitor) -> None:
    guarded.sign_in("teacher one")
    form = {"name": "reader one", "password": "four very quiet words"}
    assert guarded.post("/accounts/password", data=form).status_code == 403


def test_one_signs_in_again_in_place_and_goes_on(guarded: Visitor) -> None:
    guarded.load("/sign-in")
    wrong = guarded.post("/api/sign-in", json={"name": "reader one", "password": "not it"})
    assert wrong.status_code == 422
    answer = guarded.post("/api/sign-in", json={"name": "reader one", "password": PASSWORD})
    assert answer.json()["name"] == "reader one"
    guarded.headers["x-csrf-token"] = answer.json()["csrf_token"]
    assert guarded.post("/api/invented", json={"case": "prolonged"}).status_code == 201


def test_samples_are_kept_by_no_browser_where_people_sign_in(
    guarded: Visitor, visitor: Visitor
) -> None:
    guarded.sign_in("reader one")
    key = guarded.post("/api/invented", json={"case": "prolonged"}).json()["id"]
    path = f"/api/recordings/{key}/channels/0/samples"
    assert guarded.get(path).headers["cache-control"] == "no-store"
    left = guarded.post("/sign-out", follow_redirects=False)
    assert "cache" in left.headers["clear-site-data"]
    assert guarded.get(path).status_code == 401
    key = visitor.post("/api/invented", json={"case": "prolonged"}).json()["id"]
    path = f"/api/recordings/{key}/channels/0/samples"
    first = visitor.get(path)
    assert first.headers["cache-control"] == "no-cache"
    again = visitor.get(path, headers={"if-none-match": first.headers["etag"]})
    assert (again.status_code, again.content) == (304, b"")


def test_an_unknown_name_is_answered_like_a_wrong_password(guarded: Visitor) -> None:
    guarded.load("/sign-in")
    unknown = guarded.post("/sign-in", data={"name": "nobody", "password": "not the words"})
    wrong = guarded.post("/sign-in", data={"name": "reader one", "password": "not the words"})
    assert unknown.status_code == wrong.status_code == 403
    assert "Name and password do not fit" in unknown.text
    assert "Name and password do not fit" in wrong.text


def test_signing_in_leads_on_within_this_site_only(guarded: Visitor) -> None:
    for then in ("//elsewhere.example/", "https://elsewhere.example/", "/\\elsewhere.example"):
        guarded.load("/sign-in")
        form = {"name": "reader one", "password": PASSWORD, "then": then}
        answer = guarded.post("/sign-in", data=form, follow_redirects=False)
        assert answer.headers["location"] == "/"


def test_only_an_admin_sees_and_changes_accounts(guarded: Visitor) -> None:
    guarded.sign_in("teacher one")
    assert guarded.get("/accounts").status_code == 403
    form = {"name": "teacher one", "role": "admin"}
    assert guarded.post("/accounts/role", data=form).status_code == 403
    guarded.post("/sign-out")
    guarded.sign_in("admin one")
    assert guarded.get("/accounts").status_code == 200
    assert guarded.post("/accounts/role", data=form).status_code == 200


def test_a_shut_out_account_is_out_at_once(guarded: Visitor) -> None:
    guarded.sign_in("reader one")
    assert guarded.get("/api/recordings").status_code == 200
    guarded.app.state.accounts.disable("reader one", disabled=True)  # type: ignore[attr-defined]
    assert guarded.get("/api/recordings").status_code == 401
    assert guarded.sign_in("reader one") == 403


def test_the_last_admin_stays(guarded: Visitor) -> None:
    guarded.sign_in("admin one")
    answer = guarded.post("/accounts/role", data={"name": "admin one", "role": "reader"})
    assert answer.status_code == 422
    assert "no admin" in answer.text
    answer = guarded.post("/accounts/shut", data={"name": "admin one", "shut": "yes"})
    assert answer.status_code == 422
    assert guarded.get("/accounts").status_code == 200


def test_a_changed_password_ends_all_sign_ins(guarded: Visitor) -> None:
    guarded.sign_in("reader one")
    form = {"old": PASSWORD, "new": "other quiet words"}
    assert guarded.post("/account/password", data=form).status_code == 200
    assert guarded.get("/api/recordings").status_code == 401
    assert guarded.sign_in("reader one", "other quiet words") == 303


def test_problems_come_back_in_words(visitor: Visitor) -> None:
    page = visitor.get("/nowhere")
    assert page.status_code == 404
    assert "nothing at this address" in page.text
    said = visitor.get("/api/recordings/none").json()
    assert said["what"] == "there is no such recording."
    answer = visitor.post("/api/invented", json={"case": 5})
    assert answer.status_code == 422
    assert answer.json()["where"] == "case"


def test_a_kept_password_costs_whoever_guesses_as_much_as_the_standard_asks(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """RFC 9106, section 4: the second recommended option (64 MiB, three passes, four lanes)."""
    import argon2

    from ebbline.web.auth.accounts import _hashed

    # The other tests hash quickly.
    real = argon2.PasswordHasher
    monkeypatch.setattr(argon2, "PasswordHasher", getattr(real, "func", real))
    kept = argon2.extract_parameters(_hashed(PASSWORD, "Ann"))
    assert (kept.memory_cost, kept.time_cost, kept.parallelism) == (64 * 1024, 3, 4)
    assert kept.type is argon2.Type.ID
