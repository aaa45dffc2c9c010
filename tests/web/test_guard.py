"""Who may come in, what they may do, and that no other site writes for them."""

from concurrent.futures import ThreadPoolExecutor
from datetime import timedelta
from pathlib import Path

import pytest
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.web.conftest import NOW, PHRASES, Enter, journal_of, routes_of, token_of

from quailwright.web.app import LARGEST_BODY_BYTES, create_app
from quailwright.web.attempts import MOST_FROM_ONE, MOST_OF_ALL, WITHIN, Attempts
from quailwright.web.guard import VISIT, Visitor, write_token
from quailwright.web.home import Settings

OF_DEVICES = "/api/readings/sent"
"""Takes no cookie and no token, but the key of a device: see test_sensors.py."""


def posts(app: FastAPI) -> list[str]:
    """Every address that takes a write of a person."""
    found = [path for path, methods in routes_of(app) if not methods <= {"GET", "HEAD"}]
    assert OF_DEVICES in found
    return [path for path in found if path != OF_DEVICES]


def test_every_write_needs_the_token_of_a_page(app: FastAPI, keeper: TestClient) -> None:
    before = journal_of(app)
    paths = posts(app)
    assert {"/log/care", "/api/entries", "/sign-out", "/people"} <= set(paths)
    for path in paths:
        for token in ("", "a.b", f"00.{'0' * 64}"):
            answer = keeper.post(
                path, data={"token": token, "task": "x"}, headers={"X-Write-Token": token}
            )
            assert answer.status_code == 403, path
    assert journal_of(app) == before
    assert keeper.get("/").status_code == 200  # still signed in


def test_a_token_of_another_visitor_does_not_do(app: FastAPI, enter: Enter) -> None:
    token = token_of(enter("helper"))
    before = journal_of(app)
    answer = enter("keeper").post("/log/care", data={"token": token, "task": "x"})
    assert answer.status_code == 403
    assert journal_of(app) == before


def test_nobody_sees_anything_without_signing_in(app: FastAPI, enter: Enter) -> None:
    client = enter("")
    open_to_all = {"/sign-in", "/begin", "/kept", "/no-signal", "/worker.js", "/api/me"}
    open_to_all |= {"/manifest.webmanifest", "/api/openapi.json", "/calendar/{token}.ics"}
    for path, _ in routes_of(app):
        answer = client.get(path)
        assert "pellets" not in answer.text
        if path not in open_to_all:
            assert answer.status_code in (303, 401, 405), path
    for path in ("/kept", "/no-signal", "/sign-in"):
        assert "Home" not in client.get(path).text


def test_roles_hold_on_every_write(app: FastAPI, enter: Enter) -> None:
    before = journal_of(app)
    viewer, helper = enter("viewer"), enter("helper")
    token = token_of(viewer)
    for path in posts(app):
        if path in ("/sign-in", "/begin", "/sign-out", "/language", "/settings/calendar"):
            continue
        form, headers = {"token": token, "task": "x"}, {"X-Write-Token": token}
        assert viewer.post(path, data=form, headers=headers).status_code == 403, path
    assert viewer.get("/log").status_code == 403
    assert journal_of(app) == before
    assert helper.get("/people").status_code == 403
    form = {"token": token_of(helper), "do": "remove", "person": "1"}
    assert helper.post("/people", data=form).status_code == 403
    assert len(app.state.home.household.everyone()) == 3


def test_the_first_visit_sets_a_passphrase(tmp_path: Path) -> None:
    app = create_app(Settings(str(tmp_path / "new.sqlite"), lambda: NOW))
    with TestClient(app, base_url="http://localhost", follow_redirects=False) as client:
        assert client.get("/").headers["location"] == "/begin"
        assert client.get("/sign-in").headers["location"] == "/begin"
        form = {"name": "Mira", "passphrase": "our own words", "token": token_of(client, "/begin")}
        wrong = client.post("/begin", data={**form, "again": "other words"})
        assert wrong.status_code == 422
        assert "differ" in wrong.text
        assert 'value="Mira"' in wrong.text
        assert client.post("/begin", data={**form, "again": "our own words"}).status_code == 303
        assert client.get("/").status_code == 200
        assert client.get("/begin").headers["location"] == "/"
        late = TestClient(app, base_url="http://localhost", follow_redirects=False)
        form |= {"again": "our own words", "token": token_of(late, "/sign-in"), "name": "Eve"}
        assert late.post("/begin", data=form).status_code == 422
        assert late.get("/").status_code == 303


def test_nobody_comes_first_over_the_network_when_the_file_was_exchanged(tmp_path: Path) -> None:
    """A file without people in the place of the one that was served: see `serve --home-network`."""
    app = create_app(Settings(str(tmp_path / "new.sqlite"), lambda: NOW, may_begin=False))
    with TestClient(app, base_url="http://localhost", follow_redirects=False) as client:
        assert client.get("/").headers["location"] == "/begin"
        shut = client.get("/begin")
        assert shut.status_code == 403
        assert "over the home network none can be" in shut.text
        form = {"name": "Eve", "passphrase": "our own words", "again": "our own words"}
        form["token"] = write_token(app.state.home, Visitor("", None, None, "a" * 64))
        client.cookies.set(VISIT, "a" * 64)
        assert client.post("/begin", data=form).status_code == 403
        assert client.get("/").status_code == 303
        assert app.state.home.household.everyone() == []


@pytest.mark.parametrize("scheme", ["http", "https"])
def test_cookies_are_kept_from_scripts_and_other_sites(app: FastAPI, scheme: str) -> None:
    client = TestClient(app, base_url=f"{scheme}://localhost", follow_redirects=False)
    form = {
        "name": "keeper",
        "passphrase": PHRASES["keeper"],
        "token": token_of(client, "/sign-in"),
    }
    cookie = client.post("/sign-in", data=form).headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "SameSite=lax" in cookie
    assert ("Secure" in cookie) == (scheme == "https")


def test_sign_out_here_and_everywhere(enter: Enter) -> None:
    one, two, three = enter("keeper"), enter("keeper"), enter("keeper")
    other = enter("helper")
    assert one.post("/sign-out", data={"token": token_of(one)}).status_code == 303
    assert one.get("/").status_code == 303
    assert two.get("/").status_code == 200
    two.post("/sign-out", data={"token": token_of(two), "everywhere": "yes"})
    assert [client.get("/").status_code for client in (two, three, other)] == [303, 303, 200]


def test_too_many_wrong_passphrases_must_wait(app: FastAPI, enter: Enter) -> None:
    client = enter("")
    form = {"name": "keeper", "passphrase": "wrong words", "token": token_of(client, "/sign-in")}
    for _ in range(MOST_FROM_ONE):
        assert client.post("/sign-in", data=form).status_code == 403
    right = client.post("/sign-in", data={**form, "passphrase": PHRASES["keeper"]})
    assert right.status_code == 429
    assert "Wait 15 minutes" in right.text


def test_the_wait_ends_and_success_forgets() -> None:
    attempts, now = Attempts(), NOW
    assert [attempts.tried("phone", now) for _ in range(MOST_FROM_ONE)] == [None] * MOST_FROM_ONE
    assert attempts.tried("phone", now) == WITHIN
    assert attempts.tried("other phone", now) is None
    assert attempts.tried("phone", now + WITHIN) is None
    attempts.succeeded("phone", now + WITHIN)
    for _ in range(MOST_FROM_ONE):
        assert attempts.tried("phone", now + WITHIN) is None
    assert attempts.tried("phone", now + WITHIN) == WITHIN


def test_who_signs_in_rightly_uses_up_no_try_of_the_household() -> None:
    attempts = Attempts()
    for second in range(3 * MOST_OF_ALL):
        at = NOW + timedelta(seconds=second)
        assert attempts.tried(f"phone {second}", at) is None
        attempts.succeeded(f"phone {second}", at)


def test_tries_at_once_are_no_more_than_the_most(app: FastAPI, enter: Enter) -> None:
    client = enter("")
    form = {"name": "keeper", "passphrase": "wrong words", "token": token_of(client, "/sign-in")}
    with ThreadPoolExecutor(12) as pool:
        tries = [pool.submit(client.post, "/sign-in", data=form) for _ in range(12)]
        answers = [each.result().status_code for each in tries]
    assert (answers.count(403), answers.count(429)) == (MOST_FROM_ONE, 12 - MOST_FROM_ONE)


def test_back_leads_only_to_our_own_pages(app: FastAPI, enter: Enter) -> None:
    for back in ("//evil.example", "https://evil.example", "/\\evil.example", "javascript:x"):
        client = enter("")
        form = {"name": "keeper", "passphrase": PHRASES["keeper"], "back": back}
        form["token"] = token_of(client, "/sign-in")
        assert client.post("/sign-in", data=form).headers["location"] == "/"


def test_another_name_for_this_computer_is_refused(app: FastAPI) -> None:
    client = TestClient(app, base_url="http://evil.example")
    assert client.get("/").status_code == 400


def test_a_body_without_end_is_refused(app: FastAPI, keeper: TestClient) -> None:
    headers = {"X-Write-Token": keeper.get("/api/me").json()["token"]}
    answer = keeper.post("/api/entries", content=b" " * (LARGEST_BODY_BYTES + 1), headers=headers)
    assert answer.status_code == 413


def test_the_invented_flock_opens_without_a_passphrase_and_still_needs_tokens(
    flock_file: str,
) -> None:
    app = create_app(Settings(flock_file, lambda: NOW, invented=True))
    with TestClient(app, base_url="http://127.0.0.1", follow_redirects=False) as client:
        assert "Everything here is invented" in client.get("/").text
        assert client.post("/log/care", data={"task": "x"}).status_code == 403
        form = {"task": "feed_water", "place": "pen", "token": token_of(client, "/")}
        assert client.post("/log/care", data=form).status_code == 303


def test_a_fault_of_our_own_is_said_in_the_language_with_every_header(
    app: FastAPI, enter: Enter, monkeypatch: pytest.MonkeyPatch
) -> None:
    def broken(*_: object) -> None:
        raise RuntimeError

    keeper = enter("keeper")
    monkeypatch.setattr("quailwright.web.pages.round_for", broken)
    answer = keeper.get("/", headers={"Accept-Language": "pt-BR"})
    assert answer.status_code == 500
    assert "RuntimeError" in answer.text
    assert "of quailwright's own" not in answer.text
    for name in ("Content-Security-Policy", "X-Content-Type-Options", "Cache-Control"):
        assert answer.headers[name]


@pytest.mark.parametrize(
    "path",
    [
        "/costs?until=0001-01-01",
        "/costs/months.csv?until=0001-01-01",
        "/api/costs?until=0001-02-03",
        "/paper/back?week=0001-01-03",
    ],
)
def test_days_before_calendars_are_refused(enter: Enter, path: str) -> None:
    assert enter("keeper").get(path).status_code == 422
