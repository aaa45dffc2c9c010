"""Many flocks by host names, and several server processes over one database."""

import ast
import contextlib
import http.client
import io
import os
import re
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import ExitStack
from datetime import timedelta
from http.cookiejar import Cookie
from pathlib import Path

import psycopg
import pytest
from starlette.testclient import TestClient
from tests.web.conftest import NOW, PHRASES, SMALL_FLOCK, token_of

import quailwright
from quailwright.exchange.household import CODE_BYTES, Household
from quailwright.exchange.moves import move
from quailwright.exchange.shared import AmongProcesses
from quailwright.journal.entries import encode
from quailwright.journal.flocks import open_flocks
from quailwright.journal.store import Store
from quailwright.web.attempts import MOST_FROM_ONE
from quailwright.web.guard import SIGNED_IN
from quailwright.web.home import Home
from quailwright.web.many import Many, Office, flock_named
from quailwright.web.planner import Busy, Job
from quailwright.web.serving import listening, settings_of_many

DOMAIN = "quail.example"


@pytest.fixture(scope="module")
def database(postgresql_server: str) -> Iterator[str]:
    """A database with three flocks: creek and hill with the same people and entries, new empty."""
    admin = f"host={postgresql_server} user=postgres"
    with psycopg.connect(f"{admin} dbname=postgres", autocommit=True) as connection:
        connection.execute("CREATE DATABASE office")
    location = f"postgresql://postgres@/office?host={postgresql_server}"
    with open_flocks(location) as flocks:
        for name in ("creek", "hill", "new"):
            flocks.add(name, NOW)
        for name in ("creek", "hill"):
            store = flocks.store(name)
            with store.writing() as writer:
                writer.append(SMALL_FLOCK, NOW)
            Household(store).begin("keeper", PHRASES["keeper"], NOW)
    yield location
    with psycopg.connect(f"{admin} dbname=postgres", autocommit=True) as connection:
        connection.execute("DROP DATABASE office WITH (FORCE)")


class Processes:
    """Two servers' applications over one database, as two processes hold them."""

    def __init__(self, office: Office, within: ExitStack) -> None:
        self.apps = [Many(office) for _ in range(2)]
        for app in self.apps:
            within.enter_context(TestClient(app))

    def browser(self, flock: str, process: int = 0, address: str = "192.0.2.1") -> TestClient:
        """A browser at a flock's host name, whose requests one process takes."""
        return TestClient(
            self.apps[process], base_url=f"https://{flock}.{DOMAIN}", follow_redirects=False,
            client=(address, 1),
        )  # fmt: skip

    def both(self, flock: str) -> tuple[TestClient, TestClient]:
        """One signed-in browser, its requests to the first process and to the second."""
        first, second = self.browser(flock), self.browser(flock, 1)
        form = {"name": "keeper", "passphrase": PHRASES["keeper"]}
        form["token"] = token_of(first, "/sign-in")
        assert first.post("/sign-in", data=form).status_code == 303
        for cookie in first.cookies.jar:
            second.cookies.jar.set_cookie(cookie)
        return first, second

    def home(self, flock: str, process: int = 0) -> Home:
        """What a process holds of a flock that it was asked for."""
        home: Home = self.apps[process]._kept[flock].app.state.home
        return home


@pytest.fixture
def office(database: str) -> Office:
    """The office of that database, whose clock stands still."""
    return Office(database, DOMAIN, clock=lambda: NOW)


@pytest.fixture
def two(office: Office) -> Iterator[Processes]:
    """Two processes."""
    with ExitStack() as within:
        yield Processes(office, within)
        for thread in threading.enumerate():
            if thread.name == "planner":
                thread.join(60)


# Hosts.


@pytest.mark.parametrize(
    ("host", "flock"),
    [
        ("creek.quail.example", "creek"),
        ("creek.quail.example:8443", "creek"),
        ("CREEK.Quail.Example", "creek"),
        ("hill-2.quail.example", "hill-2"),
        ("creek.quail.example.", None),
        ("creek.quail.example:", None),
        ("creek.quail.example:80:80", None),
        ("creek.quail.example:8x", None),
        ("a.creek.quail.example", None),
        ("quail.example", None),
        (".quail.example", None),
        ("creek.quail.example.evil.example", None),
        ("creek.evil.example", None),
        ("creek-quail.example", None),
        ("-creek.quail.example", None),
        ("cr_eek.quail.example", None),
        ("cr\xe9ek.quail.example", None),
        ("creek\u3002quail.example", None),
        ("192.0.2.7", None),
        ("[2001:db8::7]:443", None),
        ("localhost", None),
        ("creek.quail.example@evil.example", None),
        ("", None),
    ],
)
def test_a_host_names_one_flock_or_none(host: str, flock: str | None) -> None:
    """Names of hosts: RFC 1123, section 2.1; a Host field: RFC 9110, section 7.2."""
    assert flock_named(host, DOMAIN) == flock


def test_unknown_hosts_are_told_nothing_of_which_there_are(two: Processes) -> None:
    nobody, nonsense = two.browser("nobody"), two.browser("a.b")
    answers = [client.get(path) for client in (nobody, nonsense) for path in ("/", "/worker.js")]
    assert {(one.status_code, one.text) for one in answers} == {
        (404, "There is no such page here.")
    }
    assert len({tuple(sorted(one.headers.items())) for one in answers}) == 1


def test_pages_are_to_be_had_over_https_only(two: Processes) -> None:
    plain = TestClient(two.apps[0], base_url=f"http://creek.{DOMAIN}")
    assert plain.get("/sign-in").status_code == 400
    cookie = two.browser("creek").get("/sign-in").headers["set-cookie"]
    assert "Secure" in cookie
    assert "domain" not in cookie.lower()


def test_only_the_named_proxy_is_believed(office: Office) -> None:
    config = settings_of_many(office, ["192.0.2.80"])
    config.load()
    said = {"X-Forwarded-Proto": "https", "X-Forwarded-For": "198.51.100.9"}
    with TestClient(
        config.loaded_app, base_url=f"http://creek.{DOMAIN}", client=("192.0.2.80", 1)
    ) as proxy:
        assert proxy.get("/sign-in").status_code == 400
        assert (
            proxy.get("/sign-in", headers={**said, "X-Forwarded-Host": "hill"}).status_code == 200
        )
    other = TestClient(
        config.loaded_app, base_url=f"http://creek.{DOMAIN}", client=("192.0.2.81", 1)
    )
    assert other.get("/sign-in", headers=said).status_code == 400


def test_at_home_it_can_be_tried_without_https(database: str) -> None:
    with TestClient(
        Many(Office(database, "localhost", clock=lambda: NOW)), base_url="http://creek.localhost"
    ) as client:
        assert client.get("/sign-in").status_code == 200


# One flock is nothing at another.


def test_what_is_of_one_flock_is_nothing_at_another(two: Processes) -> None:
    creek, creek_too = two.both("creek")
    hill = two.browser("hill")
    key = next(cookie for cookie in creek.cookies.jar if cookie.name == SIGNED_IN)
    assert isinstance(key, Cookie)
    hill.cookies.set(SIGNED_IN, key.value or "")
    hill.get("/sign-in")
    assert hill.get("/").status_code == 303
    # A form's token, the phone's queue and the JSON API.
    token = token_of(creek)
    care = {"task": "feed_water", "place": "pen", "token": token}
    assert hill.post("/log/care", data=care).headers["location"].startswith("/sign-in")
    entry = b"[" + encode(SMALL_FLOCK[5]) + b"]"
    sent = hill.post("/api/entries", content=entry, headers={"X-Write-Token": token})
    assert sent.status_code in (401, 403)
    # Signed in at both, one's token is no use at the other.
    own, _ = two.both("hill")
    assert own.post("/log/care", data=care).status_code == 403
    # The key of a device.
    made = creek.post(
        "/settings/sensors",
        data={
            "do": "add_device",
            "name": "lid",
            "place": "box",
            "instrument": "lid",
            "temperature": "/temperature",
            "token": token,
        },
    )
    found = re.search(r"Bearer ([^\s<&]+)", made.text)
    assert found is not None, made.text
    headers, body = {"Authorization": f"Bearer {found[1]}"}, {"temperature": 37.5}
    assert hill.post("/api/readings/sent", json=body, headers=headers).status_code == 401
    assert creek.post("/api/readings/sent", json=body, headers=headers).status_code == 200
    assert "Sent" in creek_too.get("/settings/sensors").text
    # A calendar's address.
    asked = {"do": "make", "name": "phone", "kinds": ["hatch"], "alarms": "yes", "language": "en"}
    shown = creek.post(
        "/settings/calendar", data={**asked, "round_at": "", "token": token_of(creek)}
    ).text
    address = re.search(r"/calendar/[^\"<\s]+\.ics", shown)
    assert address is not None, shown
    assert creek.get(address[0]).status_code == 200
    assert hill.get(address[0]).status_code == 404
    # A sheet on its way in.
    sheet = {"sheet": ("old.csv", io.BytesIO(b"date,eggs\n2027-04-01,7\n"), "text/csv")}
    creek.post("/tables/import", data={"token": token_of(creek)}, files=sheet)
    assert "old.csv" in creek.get("/tables/import/match").text
    assert own.get("/tables/import/match").headers["location"] == "/tables/import?gone=yes"
    # A plan in the making.
    job = two.home("creek").planner.begin(Job("a" * 24, "keeper", None), lambda tell: 1)
    job.wait()
    assert two.home("hill").planner.job(job.id) is None
    assert "no longer kept" in own.get(f"/plan/made/{job.id}").text
    # What is written at one stands in it alone.
    assert creek.post("/log/care", data=care).status_code == 303
    assert len(two.home("creek").desk.entries()) == len(SMALL_FLOCK) + 1
    assert len(two.home("hill").desk.entries()) == len(SMALL_FLOCK)


def test_what_another_put_into_the_table_is_as_if_it_were_not_there(two: Processes) -> None:
    for flock in ("creek", "hill"):
        two.browser(flock).get("/sign-in")
    creek, hill = two.home("creek").desk.store, two.home("hill").desk.store
    ours, other_key = AmongProcesses(creek, b"a" * 32), AmongProcesses(creek, b"b" * 32)
    of_hill = AmongProcesses(hill, b"a" * 32)
    sealed = ours.sealed("sheet", "key", [1])
    assert ours.opened("sheet", "key", sealed) == [1]
    assert ours.opened("sheet", "other", sealed) is None
    assert ours.opened("plan", "key", sealed) is None
    assert ours.opened("sheet", "key", sealed[:-1] + b"x") is None
    assert ours.opened("sheet", "key", b"") is None
    assert other_key.opened("sheet", "key", sealed) is None
    assert of_hill.opened("sheet", "key", sealed) is None


# The first passphrase.


def test_nobody_comes_first_without_the_offices_code(database: str, two: Processes) -> None:
    with open_flocks(database) as flocks:
        household = Household(flocks.store("new"))
        code = household.invite(bytes(range(CODE_BYTES)), NOW)
        code = household.invite(bytes(range(1, CODE_BYTES + 1)), NOW)
    client = two.browser("new")
    form = {"name": "Mira", "passphrase": "our own words", "again": "our own words"}
    form["token"] = token_of(client, "/begin")
    for wrong in ("", "AAAA-AAAA-AAAA-AAAA", "AAAQ-EAYE-AUDA-OCAJ"):
        answer = client.post("/begin", data={**form, "code": wrong})
        assert answer.status_code == 422
        assert "opens nothing" in answer.text
    assert client.post("/begin", data={**form, "code": f" {code.lower()} "}).status_code == 303
    assert client.get("/").status_code == 200
    late = two.browser("new", 1)
    form["token"] = token_of(late, "/sign-in")
    assert late.post("/begin", data={**form, "code": code}).status_code == 422
    assert late.get("/").status_code == 303


# Several processes.


def test_two_processes_answer_as_one(two: Processes) -> None:
    first, second = two.both("hill")
    eggs = {"group": "hens", "eggs": "9", "token": token_of(first)}
    kept = second.post("/log/eggs_collected", data={**eggs, "back": "/"}).headers["location"]
    entry = kept.partition("kept=")[2]
    assert f"/journal/{entry}/retract" in first.get(kept).text
    undone = first.post(f"/journal/{entry}/retract", data={"token": token_of(first)})
    assert undone.status_code == 303
    assert entry not in {line.entry.id for line in two.home("hill", 1).desk.lines()} or (
        len(two.home("hill", 1).desk.entries()) == len(SMALL_FLOCK) + 2
    )
    first.post("/sign-out", data={"token": token_of(second)})
    assert second.get("/").status_code == 303


def test_tries_of_a_passphrase_count_in_all_processes(two: Processes) -> None:
    one, other = two.browser("creek", 0, "192.0.2.9"), two.browser("creek", 1, "192.0.2.9")
    form = {"name": "keeper", "passphrase": "wrong words"}
    tries = []
    for number in range(MOST_FROM_ONE + 1):
        client = (one, other)[number % 2]
        form["token"] = token_of(client, "/sign-in")
        tries.append(client.post("/sign-in", data=form).status_code)
    assert tries == [403] * MOST_FROM_ONE + [429]
    # Another household is not held up by it.
    there = two.browser("hill", 1, "192.0.2.9")
    form["token"] = token_of(there, "/sign-in")
    assert there.post("/sign-in", data=form).status_code == 403


def test_a_sheet_is_taken_in_by_steps_at_either_process(two: Processes) -> None:
    first, second = two.both("hill")
    rows = b"date,group,eggs\n2027-04-01,hens,7\n2027-04-02,hens,8\n"
    sheet = {"sheet": ("old.csv", io.BytesIO(rows), "text/csv")}
    first.post("/tables/import", data={"token": token_of(first)}, files=sheet)
    assert "old.csv" in second.get("/tables/import/match").text
    # Another kind, then back to eggs, at the other process each time.
    for client, other, kind in ((second, first, "feed_given"), (first, second, "eggs_collected")):
        changed = client.post(
            "/tables/import/match", data={"token": token_of(client), "kind": kind}
        )
        assert changed.status_code == 303
        assert f'value="{kind}" selected' in other.get("/tables/import/match").text
    page = first.get("/tables/import/match").text
    import_id = re.search(r'name="import" value="([^"]+)"', page)
    assert import_id is not None, page
    before = len(two.home("hill").desk.entries())
    written = second.post(
        "/tables/import/write", data={"token": token_of(second), "import": import_id[1]}
    )
    assert written.status_code == 200
    assert len(two.home("hill").desk.entries()) == before + 2
    assert first.get("/tables/import/match").status_code == 303  # let go of, here too


def test_a_plan_asked_of_one_process_is_polled_stopped_and_taken_at_the_other(
    two: Processes,
) -> None:
    _, second = two.both("creek")
    second.get("/")
    asked, looking = two.home("creek").planner, two.home("creek", 1).planner
    told, go_on = threading.Event(), threading.Event()

    def work(tell: object) -> str:
        assert callable(tell)
        tell("so far", 0.5)
        told.set()
        assert go_on.wait(60)
        try:
            for _ in range(2000):
                time.sleep(0.02)
                tell("further", 0.6)
        except KeyboardInterrupt:
            return "as it stands"
        return "never stopped"

    job = asked.begin(Job("b" * 24, "keeper", {"of": 1}), work)
    assert told.wait(60)
    seen = looking.job(job.id)
    assert seen is not None
    assert (seen.runs, seen.told, seen.part, seen.about) == (True, "so far", 0.5, {"of": 1})
    assert "so far" in second.get(f"/plan/made/{job.id}").text.lower()
    assert looking.newest() is None
    with pytest.raises(Busy) as caught:
        looking.begin(Job("c" * 24, "keeper", None), lambda tell: 1)
    assert caught.value.job.id == job.id
    seen.stop()
    go_on.set()
    assert seen.wait(60)
    assert job.wait(60)
    over = looking.job(job.id)
    assert over is not None
    while over.runs:
        time.sleep(0.02)
        over = looking.job(job.id)
        assert over is not None
    assert (over.made, over.refused, over.taken) == ("as it stands", None, False)
    newest = looking.newest()
    assert newest is not None
    assert newest.id == job.id
    with looking.taking(over) as already:
        assert not already
    with asked.taking(job) as already:
        assert already
    assert asked.newest() is None


def test_a_plan_whose_process_was_killed_is_over(two: Processes) -> None:
    two.browser("creek").get("/sign-in")
    two.browser("creek", 1).get("/sign-in")
    asked, looking = two.home("creek").planner, two.home("creek", 1).planner
    go_on, begun = threading.Event(), threading.Event()

    def work(_: object) -> int:
        begun.set()
        go_on.wait(60)
        return 1

    job = asked.begin(Job("d" * 24, "keeper", None), work)
    assert begun.wait(60)
    running = looking.running()
    assert running is not None
    assert running.id == job.id
    store: Store = two.home("creek").desk.store
    with store.household() as connection:
        # As the database does where a process is gone.
        connection.exec_driver_sql("RESET ROLE")
        connection.exec_driver_sql(
            "SELECT pg_terminate_backend(pid, 10000) FROM pg_locks WHERE locktype = 'advisory' "
            f"AND (classid::bigint << 32 | objid::bigint) = {int('d' * 15, 16)}"
        )
    until = time.monotonic() + 30
    while looking.running() is not None:
        assert time.monotonic() < until
        time.sleep(0.02)
    seen = looking.job(job.id)
    assert seen is not None
    assert not seen.runs
    assert seen.refused is not None
    assert "cut off" in seen.refused.sentence
    after = looking.begin(Job("e" * 24, "keeper", None), lambda tell: 2)
    assert after.wait(60)
    go_on.set()
    job.wait(60)


def test_a_flock_that_moved_away_while_it_was_served_says_so(
    database: str, two: Processes, tmp_path: Path
) -> None:
    """A phone keeps what is refused with 409, and says why; on 503 it would try again for good."""
    with open_flocks(database) as flocks:
        flocks.add("mill", NOW)
        Household(flocks.store("mill")).begin("keeper", PHRASES["keeper"], NOW)
    mill, _ = two.both("mill")
    token = mill.get("/api/me").json()["token"]
    move(f"{database}&flock=mill", str(tmp_path / "mill.sqlite"), NOW)
    entry = b"[" + encode(SMALL_FLOCK[0]) + b"]"
    sent = mill.post("/api/entries", content=entry, headers={"X-Write-Token": token})
    assert (sent.status_code, sent.json()["findings"]) == (409, [])
    assert sent.json()["sentence"].startswith("This flock has moved away. It can still be read")
    typed = mill.post("/log/care", data={"task": "feed_water", "place": "pen", "token": token})
    assert typed.status_code == 409
    assert "This flock has moved away." in typed.text
    assert "mill.sqlite" not in sent.text + typed.text
    assert mill.get("/journal").status_code == 200


def test_what_an_office_does_not_reach_for_a_household(two: Processes) -> None:
    """No folder, broker or address that a household names is reached from the office's server."""
    keeper, _ = two.both("creek")
    form = {"token": token_of(keeper)}
    for path, do in (
        ("/settings/backup", {"do": "choose", "folder": "/tmp", "every": "day", "at": "03:30"}),
        ("/settings/backup", {"do": "now"}),
        ("/settings/sensors", {"do": "broker", "address": "mqtt://192.0.2.7"}),
        ("/settings/sensors", {"do": "explore"}),
        ("/settings/notices", {"do": "paste", "name": "x", "address": "json://192.0.2.7"}),
        ("/settings/notices", {"do": "test", "number": "1"}),
    ):
        assert keeper.post(path, data={**form, **do}).status_code == 403, path
    assert "kept by an office" in keeper.get("/settings/backup").text
    assert "mqtt://" not in keeper.get("/settings/sensors").text


# How many are kept.


def test_the_flocks_used_last_are_kept(database: str) -> None:
    app = Many(Office(database, DOMAIN, most_kept=1, clock=lambda: NOW))
    with TestClient(app):
        for flock in ("creek", "hill", "creek"):
            client = TestClient(app, base_url=f"https://{flock}.{DOMAIN}")
            assert client.get("/sign-in").status_code == 200
            assert app.kept == [flock]


def test_a_flock_is_closed_only_when_nothing_is_under_way_in_it(
    database: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    closed: list[str | None] = []
    monkeypatch.setattr(Store, "close", lambda store: closed.append(store.flock))
    within, go_on = threading.Event(), threading.Event()

    def slow(*_: object) -> str:
        within.set()
        assert go_on.wait(60)
        return "the slow answer"

    app = Many(Office(database, DOMAIN, most_kept=1, clock=lambda: NOW))
    with TestClient(app) as both:
        creek, hill = (f"https://{flock}.{DOMAIN}/sign-in" for flock in ("creek", "hill"))
        assert both.get(creek).status_code == 200
        monkeypatch.setattr("quailwright.web.people.own_address", slow)
        got: list[str] = []
        asking = threading.Thread(target=lambda: got.append(both.get(creek).text))
        asking.start()
        assert within.wait(60)
        monkeypatch.undo()
        monkeypatch.setattr(Store, "close", lambda store: closed.append(store.flock))
        assert both.get(hill).status_code == 200
        assert (app.kept, closed) == (["hill"], [])
        go_on.set()
        asking.join(60)
        assert "the slow answer" in got[0]
        assert closed == ["creek"]


def test_a_code_holds_for_a_while(database: str, tmp_path: Path) -> None:
    with open_flocks(database) as flocks:
        flocks.add("late", NOW)
        household = Household(flocks.store("late"))
        code = household.invite(bytes(CODE_BYTES), NOW)
        with pytest.raises(Exception, match="opens nothing"):
            household.begin("Mira", "our own words", NOW + timedelta(days=61), code)
        assert household.everyone() == []


# The servers themselves.


def _asked(port: int, path: str = "/sign-in", scheme: str = "https") -> int:
    headers = {"Host": f"creek.{DOMAIN}", "X-Forwarded-Proto": scheme, "Connection": "close"}
    with contextlib.closing(http.client.HTTPConnection("127.0.0.1", port, timeout=110)) as asking:
        asking.request("GET", path, headers=headers)
        return asking.getresponse().status


def _workers(parent: int) -> set[int]:
    """The server processes that a process began; not the helper of multiprocessing."""
    found = set()
    for child in Path(f"/proc/{parent}/task/{parent}/children").read_text().split():
        with contextlib.suppress(OSError):
            if "spawn_main" in Path(f"/proc/{child}/cmdline").read_text():
                found.add(int(child))
    return found


def test_a_killed_process_comes_back_and_ctrl_c_ends_all(database: str) -> None:
    listener = listening("127.0.0.1", 0, any_near=False)
    port = listener.getsockname()[1]
    listener.close()
    command = [
        sys.executable, "-m", "quailwright", "serve", "--flocks", database, "--domain", DOMAIN,
        "--port", str(port), "--processes", "2",
    ]  # fmt: skip
    server = subprocess.Popen(command, stdout=subprocess.PIPE, text=True)
    try:
        assert server.stdout is not None
        assert (
            "flocks, each to be opened as https://FLOCK.quail.example/" in server.stdout.readline()
        )
        assert _asked(port) == 200
        assert _asked(port, scheme="http") == 400
        until = time.monotonic() + 60
        while len(before := _workers(server.pid)) < 2:
            assert time.monotonic() < until
            time.sleep(0.05)
        killed = min(before)
        os.kill(killed, signal.SIGKILL)
        while len(after := _workers(server.pid) - {killed}) < 2:
            assert time.monotonic() < until
            time.sleep(0.05)
        assert _asked(port) == 200
    finally:
        server.send_signal(signal.SIGINT)
        server.wait(60)
        if server.stdout is not None:
            server.stdout.close()
    assert server.returncode == 0
    assert not any(Path(f"/proc/{pid}").exists() for pid in after)


# What is kept in a process for all flocks.

_OF_NO_FLOCK = {
    "str", "int", "int | None", "float", "bool", "tuple[int, ...]", "type[Entry]", "Any", "Pair",
    "Fraction", "tuple[Strand, ...]", "tuple[str, ...]", "frozenset[str]",
}  # fmt: skip
"""What functions may be given whose answers a process keeps for good: nothing of a flock."""
_BY_VALUE = {"_off_its_level"}
"""Keeps its last answers by all that it reckons with, and gives them to the same figures alone."""


def _sources() -> Iterator[tuple[str, ast.Module]]:
    root = Path(quailwright.__file__).parent
    for path in sorted(root.rglob("*.py")):
        yield str(path.relative_to(root)), ast.parse(path.read_text(encoding="utf-8"))


def test_no_cache_of_a_process_is_given_anything_of_a_flock() -> None:
    seen = 0
    for name, module in _sources():
        for node in ast.walk(module):
            if not isinstance(node, ast.FunctionDef):
                continue
            if not {"cache", "lru_cache"} & set(
                re.findall(r"\w+", " ".join(ast.unparse(one) for one in node.decorator_list))
            ):
                continue
            seen += 1
            if node.name in _BY_VALUE:
                continue
            for argument in (*node.args.args, *node.args.kwonlyargs):
                told = "" if argument.annotation is None else ast.unparse(argument.annotation)
                assert told in _OF_NO_FLOCK, f"{name}: {node.name} keeps {argument.arg}: {told}"
    assert seen > 20


def test_modules_hold_nothing_that_flocks_could_share() -> None:
    """Beside who writes to an address just now, and how many plans are made."""
    found = set()
    for name, module in _sources():
        for node in module.body:
            value = node.value if isinstance(node, ast.Assign | ast.AnnAssign) else None
            empty = (
                isinstance(value, ast.Dict | ast.List | ast.Set) and not ast.unparse(value)[1:-1]
            )
            called = isinstance(value, ast.Call) and ast.unparse(value.func).rpartition(".")[2]
            if empty or called in ("dict", "list", "set", "deque", "defaultdict", "local"):
                if called and isinstance(value, ast.Call) and value.args:
                    continue  # a table with something in it
                found.add(f"{name} {ast.unparse(node).partition(' =')[0]}")
    assert found == {"exchange/notice_send.py _busy: dict[str, threading.Thread]"}
