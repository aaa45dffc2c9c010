"""What docs/security.md promises of the pages: headers, foreign sites, sign-ins, hostile words.

The sections named are those of OWASP, Application Security Verification Standard 4.0 (2021), from
memory. Who is let in where is told by test_security_matrix.py.
"""

import io
import json
import logging
import re
import shutil
import time
from collections.abc import Iterator
from datetime import timedelta
from html.parser import HTMLParser
from pathlib import Path

import pytest
from argon2 import PasswordHasher
from fastapi import FastAPI
from starlette.testclient import TestClient
from tests.makers import made
from tests.web.conftest import NOW, PHRASES, SMALL_FLOCK, Enter, entered, journal_of, token_of
from tests.web.test_security_matrix import BY_THEIR_OWN_KEY, MATRIX

import quailwright
from quailwright.exchange import household as of_people
from quailwright.exchange import notice_settings
from quailwright.exchange.record import record
from quailwright.exchange.sensor_payload import USUAL
from quailwright.exchange.sensor_settings import Sensors
from quailwright.journal.findings import QuailwrightError
from quailwright.journal.store import open_store
from quailwright.web.app import LARGEST_BODY_BYTES
from quailwright.web.attempts import MOST_FROM_ONE, MOST_OF_ALL
from quailwright.web.guard import KNOWN, SIGNED_IN

WRONG = "wrong words here"
pytestmark = pytest.mark.filterwarnings("ignore:'imghdr' is deprecated:DeprecationWarning")


@pytest.fixture(scope="module")
def made_quickly(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The flock file of all tests, its passphrases hashed quickly: how is not looked at here."""
    location = tmp_path_factory.mktemp("made quickly") / "flock.sqlite"
    quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    with pytest.MonkeyPatch.context() as patch, open_store(str(location), create=True) as store:
        patch.setattr(of_people, "_hasher", quick)
        with store.writing() as writer:
            writer.append(SMALL_FLOCK, NOW)
        household = of_people.Household(store)
        household.begin("keeper", PHRASES["keeper"], NOW)
        for role in ("helper", "viewer"):
            household.add(role, role, PHRASES[role], NOW)
    return location


@pytest.fixture
def flock_file(made_quickly: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> str:
    """A flock file with a small flock and three people."""
    quick = PasswordHasher(time_cost=1, memory_cost=8, parallelism=1)
    monkeypatch.setattr(of_people, "_hasher", quick)
    monkeypatch.setattr(of_people, "_OF_NOBODY", quick.hash("nobody"))
    return str(shutil.copy(made_quickly, tmp_path / "flock.sqlite"))


def tried(client: TestClient, name: str = "keeper", passphrase: str = WRONG) -> int:
    """The status of a try to sign in."""
    form = {"name": name, "passphrase": passphrase, "token": token_of(client, "/sign-in")}
    return client.post("/sign-in", data=form).status_code


def from_address(app: FastAPI, address: str) -> TestClient:
    """A new browser on another computer."""
    return TestClient(
        app, base_url="http://localhost", follow_redirects=False, client=(address, 50_000)
    )


# What every answer carries (ASVS 14.4; W3C, Content Security Policy Level 3).


def test_every_answer_bears_the_policy_and_is_kept_by_no_proxy(
    app: FastAPI, keeper: TestClient, monkeypatch: pytest.MonkeyPatch
) -> None:
    nobody = from_address(app, "192.0.2.1")
    token = keeper.get("/api/me").json()["token"]
    write = {"X-Write-Token": token}
    answers = {
        200: keeper.get("/birds"),
        201: keeper.get("/tables/table/eggs.csv"),
        202: keeper.get("/calendar.ics"),
        203: keeper.get("/paper/places.pdf"),
        204: keeper.get("/tables/flock.xlsx"),
        303: nobody.get("/"),
        400: TestClient(app, base_url="http://evil.example").get("/"),
        401: nobody.get("/api/today"),
        403: nobody.post("/sign-in", data={}),
        404: keeper.get("/nowhere"),
        405: keeper.put("/"),
        406: keeper.get("/static/nothing"),
        413: keeper.post("/api/entries", content=b" " * (LARGEST_BODY_BYTES + 1), headers=write),
        422: keeper.post("/api/entries", content=b"[1]", headers=write),
        423: keeper.get("/api/costs?minute=x"),
    }
    monkeypatch.setattr("quailwright.web.pages.round_for", lambda *_: 1 / 0)
    answers[500] = keeper.get("/")
    for expected, answer in answers.items():
        assert answer.status_code // 100 == expected // 100, answer.text
        policy = answer.headers["content-security-policy"]
        assert "default-src 'none'" in policy
        assert "frame-ancestors 'none'" in policy
        assert "unsafe" not in policy
        assert "*" not in policy
        assert answer.headers["x-content-type-options"] == "nosniff"
        assert answer.headers["x-frame-options"] == "DENY"
        assert answer.headers["referrer-policy"] == "same-origin"
        assert re.fullmatch(r"private, no-cache|no-store", answer.headers["cache-control"])
        assert "access-control-allow-origin" not in answer.headers
        assert "server" not in answer.headers
    assert "ZeroDivisionError" in answers[500].text
    assert "Traceback" not in answers[500].text
    assert "pages.py" not in answers[500].text


def test_only_files_that_are_there_are_kept_for_good(app: FastAPI, keeper: TestClient) -> None:
    css = re.search(r'href="(/static/[^"]+\.css)"', keeper.get("/more").text)
    assert css is not None
    assert "immutable" in keeper.get(css[1]).headers["cache-control"]
    folder = css[1].rpartition("/")[0]
    for path in ("none.css", "%2e%2e/app.py", "..%2fapp.py", "%2e%2e%2f%2e%2e%2fetc%2fpasswd", ""):
        answer = keeper.get(f"{folder}/{path}")
        assert answer.status_code == 404, path
        assert "immutable" not in answer.headers["cache-control"]


def test_strangers_are_not_told_the_version(app: FastAPI, keeper: TestClient) -> None:
    nobody = from_address(app, "192.0.2.1")
    for (address, method), may in MATRIX.items():
        if method == "GET" and (may["nobody"] or address in (*BY_THEIR_OWN_KEY, "/", "/api/flock")):
            answer = nobody.get(address)
            assert quailwright.__version__ not in answer.text + str(answer.headers), address
    assert keeper.get("/api/openapi.json").json()["info"]["version"] == quailwright.__version__


# Foreign sites (ASVS 4.2.2 and 13.2.3; W3C, Fetch Metadata Request Headers).


@pytest.mark.parametrize(
    "foreign",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Origin": "http://evil.example"},
        {"Origin": "https://localhost.evil.example:80"},
        {"Origin": "null"},
        {"Origin": "http://["},
    ],
)
def test_a_write_from_another_site_does_nothing_even_with_its_token(
    app: FastAPI, keeper: TestClient, foreign: dict[str, str]
) -> None:
    before, token = journal_of(app), token_of(keeper)
    form = {"token": token, "task": "feed_water", "place": "pen"}
    assert keeper.post("/log/care", data=form, headers=foreign).status_code == 403
    entry = json.dumps({"kind": "care", "task": "feed_water", "place": "pen"})
    headers = {"X-Write-Token": token, **foreign}
    assert keeper.post("/api/entries", content=entry, headers=headers).status_code == 403
    upload = keeper.post(
        "/tables/import", data={"token": token}, files={"sheet": ("a.csv", b"a")}, headers=foreign
    )
    assert upload.status_code == 403
    assert journal_of(app) == before
    own = {"Sec-Fetch-Site": "same-origin", "Origin": "http://localhost"}
    assert keeper.post("/log/care", data=form, headers=own).status_code == 303


@pytest.mark.parametrize(
    "kind", ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data; boundary=x"]
)
def test_a_content_type_that_needs_no_preflight_does_nothing_without_the_token(
    app: FastAPI, keeper: TestClient, kind: str
) -> None:
    before = journal_of(app)
    entry = json.dumps({"kind": "care", "task": "feed_water", "place": "pen"})
    for path in ("/api/entries", "/api/readings?place=pen", "/api/plan/accept", "/log/care"):
        answer = keeper.post(path, content=entry, headers={"Content-Type": kind})
        assert answer.status_code in (400, 403), path  # 400: that is no form of parts
    assert journal_of(app) == before


def test_no_page_that_is_read_writes(app: FastAPI, keeper: TestClient) -> None:
    before = journal_of(app)
    for path in (
        "/log/care?task=feed_water&place=pen",
        "/sign-out",
        "/journal/x/retract",
        "/first",
    ):
        keeper.get(path)
    assert journal_of(app) == before
    assert keeper.get("/").status_code == 200


# Sign-ins (ASVS 2.2.1, 3.2.1, 3.3; NIST SP 800-63B (2017), 5.2.2 and 7.1; RFC 6265).


def test_a_sign_in_takes_no_token_that_was_there_before_and_ends_the_one_before(
    app: FastAPI, enter: Enter
) -> None:
    client = from_address(app, "192.0.2.1")
    client.cookies.set(SIGNED_IN, "f" * 64, domain="localhost.local")
    assert tried(client, "keeper", PHRASES["keeper"]) == 303
    first = client.cookies[SIGNED_IN]
    assert first != "f" * 64
    assert re.fullmatch("[0-9a-f]{64}", first)
    assert tried(client, "helper", PHRASES["helper"]) == 303
    assert client.cookies[SIGNED_IN] != first
    again = from_address(app, "192.0.2.2")
    again.cookies.set(SIGNED_IN, first)
    assert again.get("/").status_code == 303


def test_another_role_holds_at_once_wherever_they_are_signed_in(app: FastAPI, enter: Enter) -> None:
    helper, household = enter("helper"), app.state.home.household
    token = token_of(helper)
    person = next(one for one in household.everyone() if one.name == "helper")
    household.change(person.id, "viewer")
    form = {"token": token, "task": "feed_water", "place": "pen"}
    assert helper.post("/log/care", data=form).status_code == 403
    household.change(person.id, "viewer", "other words of ours")
    assert helper.get("/").status_code == 303


@pytest.mark.parametrize("scheme", ["http", "https"])
def test_every_cookie_is_kept_from_scripts_and_other_sites(app: FastAPI, scheme: str) -> None:
    client = entered(app, "keeper", f"{scheme}://localhost")
    form = {"token": token_of(client), "language": "pt", "back": "/"}
    answers = [
        TestClient(app, base_url=f"{scheme}://localhost").get("/sign-in"),
        client.post("/language", data=form),
    ]
    for line in [line for answer in answers for line in answer.headers.get_list("set-cookie")]:
        parts = {part.strip().lower() for part in line.split(";")[1:]}
        assert {"httponly", "path=/", "samesite=lax"} <= parts, line
        assert ("secure" in parts) == (scheme == "https")
        assert not any(part.startswith("domain") for part in parts)
    out = client.post("/sign-out", data={"token": token_of(client)})
    assert ('"cache"' in out.headers.get("clear-site-data", "")) == (scheme == "https")
    assert "max-age=0" in out.headers["set-cookie"].lower()


def test_strangers_lock_out_nobody_whose_browser_is_known(app: FastAPI, enter: Enter) -> None:
    phone = enter("keeper")
    phone.post("/sign-out", data={"token": token_of(phone)})
    stranger = 0
    while tried(from_address(app, f"198.51.100.{stranger}")) == 403:
        stranger += 1
    assert stranger == MOST_OF_ALL
    assert tried(from_address(app, "192.0.2.9"), "keeper", PHRASES["keeper"]) == 429
    assert tried(phone, "keeper", PHRASES["keeper"]) == 303


def test_a_known_browser_is_known_for_its_own_name_alone_and_has_few_tries_too(
    app: FastAPI, enter: Enter
) -> None:
    phone, household = enter("helper"), app.state.home.household
    mark = phone.cookies[KNOWN]
    assert household.knows(mark, "helper")
    for other, name in ((mark, "keeper"), (f"x{mark}", "helper"), ("", ""), ("a.b", "helper")):
        assert not household.knows(other, name)
    assert [tried(phone, "helper") for _ in range(MOST_FROM_ONE + 1)][-1] == 429


def test_who_signs_in_between_guesses_gains_no_guess(app: FastAPI, enter: Enter) -> None:
    """A helper with a passphrase of their own, who would like the keeper's."""
    address = "192.0.2.7"
    for _ in range(MOST_FROM_ONE):
        assert tried(from_address(app, address), "keeper") == 403
        if _ < MOST_FROM_ONE - 1:
            assert tried(from_address(app, address), "helper", PHRASES["helper"]) == 303
    assert tried(from_address(app, address), "keeper") == 429


def test_a_name_that_nobody_has_takes_as_much_work(
    app: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    worked: list[str] = []
    verify = of_people._verified

    def noted(hashed: str, phrase: str) -> bool:
        worked.append(hashed)
        return verify(hashed, phrase)

    monkeypatch.setattr(of_people, "_verified", noted)
    answers = []
    for number, name in enumerate(("keeper", "nobody at all")):
        client = from_address(app, f"192.0.2.{number}")
        form = {"name": name, "passphrase": WRONG, "token": token_of(client, "/sign-in")}
        answer = client.post("/sign-in", data=form)
        answers.append(re.sub(r'value="[^"]*"', "", answer.text))
    assert len(worked) == 2
    assert answers[0] == answers[1]


def test_passphrases_are_hashed_as_recommended(made_once: Path) -> None:
    """RFC 9106 (2021), section 4, the second recommended option: 3 passes, 64 MiB, 4 lanes."""
    with open_store(str(made_once)) as store:
        for one in of_people.Household(store).everyone():
            assert one.passphrase_hash.startswith("$argon2id$v=19$m=65536,t=3,p=4$")
            salt, hashed = one.passphrase_hash.split("$")[-2:]
            assert len(salt) >= 22  # 16 bytes in base64
            assert len(hashed) >= 43


def test_nobody_has_passphrases_hashed_once_there_is_a_keeper(
    app: FastAPI, monkeypatch: pytest.MonkeyPatch
) -> None:
    client = from_address(app, "192.0.2.1")
    form = {"name": "Eve", "passphrase": "long enough words", "again": "long enough words"}
    form["token"] = token_of(client, "/sign-in")
    monkeypatch.setattr(of_people, "_checked_passphrase", lambda _: pytest.fail("hashed"))
    assert client.post("/begin", data=form).status_code == 422
    assert "Eve" not in {one.name for one in app.state.home.household.everyone()}


def test_tokens_are_long_random_and_never_the_same(app: FastAPI) -> None:
    home = app.state.home
    from quailwright.web.guard import new_token

    tokens = {new_token(home) for _ in range(1000)}
    assert len(tokens) == 1000
    assert {len(token) for token in tokens} == {64}
    ids = {home.fresh_id() for _ in range(1000)}
    assert len(ids) == 1000  # all of one instant


@pytest.mark.parametrize(
    "back", ["/\t/evil.example", "/\\/evil.example", "https:evil.example",
             "/%0d%0aSet-Cookie:x=y", "/x\r\nSet-Cookie: x=y"]
)  # fmt: skip
def test_no_page_leads_to_another_site_or_writes_a_header(app: FastAPI, back: str) -> None:
    client = from_address(app, "192.0.2.1")
    form = {"name": "keeper", "passphrase": PHRASES["keeper"], "back": back}
    form["token"] = token_of(client, "/sign-in")
    answer = client.post("/sign-in", data=form)
    where = answer.headers["location"]
    assert where.startswith("/")
    assert not where.startswith(("//", "/\\"))
    assert "\n" not in where
    assert all("x=y" not in line for line in answer.headers.get_list("set-cookie"))


# Hostile words in names and notes (ASVS 5.2 and 5.3).

HOSTILE = (
    '<img src=x onerror="alert(1)">',
    "</script><script>alert(1)</script>",
    "{{ 7*7 }}{% raw %}",
    "' onmouseover='alert(1)",
    "{token.__class__} {0} %s {eggs:>99999999}",
    "javascript:alert(1)",
    "\u202egnp.exe\u2066",
)


class Tags(HTMLParser):
    """The tags of a page with their attributes, as a browser reads them."""

    def __init__(self, text: str) -> None:
        super().__init__()
        self.found: list[tuple[str, dict[str, str | None]]] = []
        self.feed(text)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.found.append((tag, dict(attrs)))


def test_no_name_becomes_markup_code_or_a_template(app: FastAPI, keeper: TestClient) -> None:
    taken = 0
    for number, words in enumerate(HOSTILE):
        try:
            described = [
                made("place", "2027-01-02", place=words, role="pen", floor_m2=2),
                made("group", "2027-01-02", group=words, place=words, hens=5, cocks=1,
                     hatched_on="2026-10-01", note=words),
                made("feed_bought", "2027-04-01", feed=words, kg=20, cost=18),
                made("eggs_set", f"2027-04-2{number}T20:00+01:00", hatch=words, eggs=24,
                     place="box", source=words),
            ]  # fmt: skip
        except (QuailwrightError, ValueError):
            continue  # no name at all
        record(app.state.home.desk.store, described, NOW)
        taken += 1
    assert taken >= 6
    pages = ("/", "/birds", "/hatches", "/journal", "/log/eggs_collected", "/settings/places",
             "/paper/round", "/eggs/store")  # fmt: skip
    for page in pages:
        answer = keeper.get(page)
        assert answer.status_code == 200, page
        tags = Tags(answer.text)
        assert "img" not in {tag for tag, _ in tags.found}, page
        for tag, attributes in tags.found:
            assert not any(name.startswith("on") for name in attributes), (page, tag)
            assert tag not in ("script", "iframe", "object", "base") or "src" in attributes, page
            href = attributes.get("href") or attributes.get("action") or ""
            assert not href.strip().lower().startswith(("javascript:", "data:")), (page, href)
        assert "49" not in re.findall(r"(\d+)\s*\{%", answer.text), page
    assert "{{ 7*7 }}" in keeper.get("/birds").text


@pytest.mark.parametrize(
    "words", ["a\r\nBEGIN:VEVENT", "a\nb", "a\x00b", "a\x1b[31m", " a", "a\x85b"]
)
def test_no_name_holds_what_would_begin_a_line(
    app: FastAPI, keeper: TestClient, words: str
) -> None:
    """So none can add a line to a calendar, a head of mail, a log or a header."""
    before, token = journal_of(app), token_of(keeper)
    body = {
        "id": "0191d5a0-5f5e-7c3a-9d52-3f0c5a1b2c3d", "kind": "place", "at": "2027-05-03",
        "place": words, "role": "pen",
    }  # fmt: skip
    answer = keeper.post("/api/entries", json=body, headers={"X-Write-Token": token})
    assert answer.status_code == 422
    assert journal_of(app) == before


@pytest.mark.parametrize("path", ["offers", "plan"])
def test_briefs_made_to_keep_a_reader_busy_are_refused_soon(
    app: FastAPI, keeper: TestClient, path: str
) -> None:
    headers = {"X-Write-Token": keeper.get("/api/me").json()["token"]}
    made_to_harm = (
        "a = " + "[" * 9000 + "]" * 9000,
        "a = " + "{a = " * 3000 + "1" + "}" * 3000,
        "a" + ".a" * 9000 + " = 1",
        '"=" . ' + "'a' . " * 3000 + "a = 1",
        "[" + "a." * 9000 + "a]",
    )
    for text in made_to_harm:
        body = (
            {"offers": text, "hens": 5, "certainty": 0.8} if path == "offers" else {"brief": text}
        )
        began = time.thread_time()
        answer = keeper.post(f"/api/{path}", json=body, headers=headers)
        assert answer.status_code == 422, text[:20]
        assert time.thread_time() - began < 2
    for deep in (b"[" * 200_000 + b"]" * 200_000, b'{"a":' * 100_000 + b"1" + b"}" * 100_000):
        assert keeper.post(f"/api/{path}", content=deep, headers=headers).status_code == 422


# Secrets.


@pytest.fixture
def log() -> Iterator[io.StringIO]:
    """What a program that logs everything would log."""
    written, root = io.StringIO(), logging.getLogger()
    handler, before = logging.StreamHandler(written), root.level
    root.setLevel(logging.DEBUG)
    # The browser of the tests logs what it asks for.
    handler.addFilter(lambda record: not record.name.startswith("http"))
    root.addHandler(handler)
    yield written
    root.removeHandler(handler)
    root.setLevel(before)


def test_no_secret_stands_in_a_log_a_page_or_an_export(
    app: FastAPI, enter: Enter, log: io.StringIO, capfd: pytest.CaptureFixture[str]
) -> None:
    keeper, store = enter("keeper"), app.state.home.desk.store
    token = token_of(keeper)
    key = Sensors(store).add_device("lid", "box", "lid", USUAL, NOW, b"k" * 32)
    made_page = keeper.post(
        "/settings/calendar",
        data={"token": token, "do": "make", "name": "phone", "language": "en", "kinds": "hatch"},
    )
    address = re.search(r"/calendar/([0-9a-f]{64})\.ics", made_page.text)
    assert address is not None
    secrets = [
        PHRASES["keeper"], PHRASES["helper"], key, address[1], keeper.cookies[SIGNED_IN],
        "plum-tree-9", "quince-tree-4", WRONG,
    ]  # fmt: skip
    forms = [
        ("/settings/sensors", {"do": "broker", "address": "mqtt://192.0.2.7", "user": "u",
                               "password": "plum-tree-9"}),
        ("/settings/sensors", {"do": "broker", "address": "no address", "user": "u",
                               "password": "plum-tree-9"}),
        ("/settings/notices", {"do": "paste", "name": "hook", "language": "en",
                               "address": "jsons://192.0.2.10/quince-tree-4"}),
        ("/settings/notices", {"do": "paste", "name": "hook", "language": "en",
                               "address": "nonsense://quince-tree-4"}),
        ("/people", {"do": "add", "name": "x", "role": "none", "passphrase": WRONG}),
    ]  # fmt: skip
    told = [keeper.post(path, data={"token": token, **form}).text for path, form in forms]
    assert notice_settings.channel_of(store, "hook").name == "hook"
    nobody = from_address(app, "192.0.2.1")
    form = {"name": "keeper", "passphrase": WRONG, "token": token_of(nobody, "/sign-in")}
    told.append(nobody.post("/sign-in", data=form).text)
    told.append(nobody.get(f"/calendar/{address[1]}.ics?x").text)
    bearer = {"Authorization": f"Bearer {key}"}
    told.append(nobody.post("/api/readings/sent", content=b"x", headers=bearer).text)
    pages = ("/settings/sensors", "/settings/notices", "/settings/calendar", "/people", "/journal",
             "/api/journal", "/tables/flock.zip", "/api/notices", "/api/entries")  # fmt: skip
    told += [enter(role).get(page).text for role in ("keeper", "viewer") for page in pages]
    told += [log.getvalue(), *capfd.readouterr()]
    for secret in secrets:
        assert all(secret not in text for text in told), secret
    hashes = [one.passphrase_hash for one in app.state.home.household.everyone()]
    assert all(hashed not in text for hashed in hashes for text in told)


def test_an_expired_sign_in_is_over(app: FastAPI, enter: Enter) -> None:
    keeper, household = enter("keeper"), app.state.home.household
    token = keeper.cookies[SIGNED_IN]
    lasts = of_people.STAYS_SIGNED_IN
    assert household.signed_in(token, NOW + lasts) is not None
    assert household.signed_in(token, NOW + lasts + timedelta(seconds=1)) is None
