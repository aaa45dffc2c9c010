"""The server is killed while clients of every sort write; see `kill_faults.py`.

Phones send entries by the JSON API, one or several at once, and again until they are answered;
forms are sent once; a device sends readings under its key until they are answered; a keeper takes
in spreadsheets through the pages. Each client notes when it sent what, and when it was answered.
"""

import asyncio
import hashlib
import hmac
import http.client
import json
import os
import re
import shutil
import signal
import socket
import tempfile
import threading
import time
import uuid
from collections import Counter
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from http import HTTPStatus
from pathlib import Path
from random import Random
from typing import Any
from urllib.parse import urlencode

from scripts.kill_faults import (
    PATIENCE_S,
    UNHARMED_EVERY,
    Failure,
    Kind,
    child_of,
    command,
    preload,
    reopened,
    with_note,
)

from quailwright.exchange.household import Household
from quailwright.exchange.sensor_payload import USUAL
from quailwright.exchange.sensor_settings import KEY_BYTES, Sensors
from quailwright.journal.entries import Entry
from quailwright.journal.store import open_store
from quailwright.web.app import create_app
from quailwright.web.home import Settings

PHONES = 2
NEW_FLOCK_EVERY = 20
LONGEST_S = 0.3
"""A server lives so long at most, from its first answer."""
DAY = "2026-11-01"
PASSPHRASE = "keeper words here"
TOKEN = "0123456789abcdef" * 4
FIRST_READING = datetime.now(UTC).replace(microsecond=0) - timedelta(days=1)
"""Not long ago, or the caretaker thins them out."""


@dataclass
class Sent:
    """What belongs together: by what it is known in the journal, when it was first sent, and when
    it was answered."""

    known_by: str
    rows: int
    sent: float
    answered: float | None = None


@dataclass
class Client:
    """Somebody who writes; `waiting` is whether an answer is awaited."""

    rng: Random
    port: int
    over: threading.Event
    first_answer: threading.Event
    sent: list[Sent] = field(default_factory=list)
    unanswered: Sent | None = None
    waiting: bool = False
    reached: bool = True
    body: bytes = b""
    key: str = ""

    def ask(self, path: str, body: bytes, headers: dict[str, str]) -> tuple[int, str] | None:
        """The server's answer, or None where it was killed before it was whole."""
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=20)
        try:
            connection.connect()
            self.waiting = self.reached = True
            connection.request("POST" if body else "GET", path, body or None, headers)
            answer = connection.getresponse()
            text = answer.read().decode()
        except (OSError, http.client.HTTPException):
            time.sleep(0.01)
            return None
        finally:
            self.waiting = False
            connection.close()
        self.first_answer.set()
        return answer.status, text

    def signed(self, **headers: str) -> dict[str, str]:
        """The headers of one who is signed in."""
        return {"Cookie": f"quailwright={TOKEN}", **headers}

    def begin(self, known_by: str, rows: int) -> Sent:
        """Something new to send."""
        self.sent.append(Sent(known_by, rows, time.monotonic()))
        return self.sent[-1]

    def end(self, sent: Sent, answer: tuple[int, str] | None, *good: HTTPStatus) -> bool:
        """Whether it was answered that it is kept. Raises Failure where it was refused."""
        if answer is None:
            return False
        if answer[0] not in good:
            raise Failure(f"{sent.known_by} was refused: {answer[0]} {answer[1][:300]}")
        sent.answered = time.monotonic()
        return True

    def work(self) -> None:
        """Writes until it is over."""
        while not self.over.is_set():
            self.step()

    def step(self) -> None:
        """One thing written, or tried to; by one who only asks, nothing."""


class Phone(Client):
    """Sends entries with ids of its own until they are answered, as a phone with no signal does."""

    def step(self) -> None:
        if self.unanswered is None:
            known_by, rows = uuid.UUID(int=self.rng.getrandbits(128)).hex, self.rng.randrange(1, 6)
            entries = [
                {"kind": "care", "id": str(uuid.UUID(int=self.rng.getrandbits(128), version=4)),
                 "at": DAY, "task": "water", "note": f"{known_by} {n}"}
                for n in range(rows)
            ]  # fmt: skip
            self.body = json.dumps(entries if rows > 1 else entries[0]).encode()
            self.unanswered = self.begin(known_by, rows)
        headers = self.signed(**{"X-Write-Token": write_token()})
        if self.end(self.unanswered, self.ask("/api/entries", self.body, headers), HTTPStatus.OK):
            self.unanswered = None


class Form(Client):
    """Sends forms once each: what was not answered may be there or not."""

    def step(self) -> None:
        if self.reached:
            self.begin(uuid.UUID(int=self.rng.getrandbits(128)).hex, 1)
        self.reached, sent = False, self.sent[-1]
        form = {"token": write_token(), "task": "water", "note": f"{sent.known_by} 0", "at": DAY}
        headers = self.signed(**{"Content-Type": "application/x-www-form-urlencoded"})
        answer = self.ask("/log/care", urlencode(form).encode(), headers)
        self.end(sent, answer, HTTPStatus.SEE_OTHER)


class Device(Client):
    """Sends readings under its key, each until it is answered."""

    def step(self) -> None:
        if self.unanswered is None:
            at = FIRST_READING + timedelta(seconds=len(self.sent))
            self.body = json.dumps(
                {"temperature": 20 + len(self.sent) % 9, "time": at.isoformat()}
            ).encode()
            self.unanswered = self.begin(f"{at.timestamp() * 1000:.0f}", 1)
        headers = {"Authorization": f"Bearer {self.key}"}
        answer = self.ask("/api/readings/sent", self.body, headers)
        if self.end(self.unanswered, answer, HTTPStatus.OK):
            self.unanswered = None


class Keeper(Client):
    """Takes in a spreadsheet by the pages, all rows or none."""

    def step(self) -> None:
        name = f"{uuid.UUID(int=self.rng.getrandbits(128)).hex}.csv"
        rows = self.rng.randrange(5, 60)
        lines = [
            f"2026-04-{n % 28 + 1:02},feed,-{self.rng.randrange(1, 10**8) / 100}"
            for n in range(rows)
        ]
        sheet = "\r\n".join(["day,what,amount", *lines])
        parted = (
            f'--x\r\nContent-Disposition: form-data; name="token"\r\n\r\n{write_token()}\r\n'
            f'--x\r\nContent-Disposition: form-data; name="sheet"; filename="{name}"\r\n'
            f"Content-Type: text/csv\r\n\r\n{sheet}\r\n--x--\r\n"
        )
        headers = self.signed(**{"Content-Type": "multipart/form-data; boundary=x"})
        if self.ask("/tables/import", parted.encode(), headers) is None:
            return
        guide = self.ask("/tables/import/match", b"", self.signed())
        found = re.search(r'name="import" value="([^"]+)"', guide[1]) if guide else None
        if found is None:
            if guide is not None and guide[0] == HTTPStatus.OK:
                words = re.sub(r"<[^>]+>|\s+", " ", guide[1])
                raise Failure(f"the guide offers nothing to write: {words[:6000]}")
            return
        sent = self.begin(name, rows)
        form = urlencode({"token": write_token(), "import": found[1]}).encode()
        headers = self.signed(**{"Content-Type": "application/x-www-form-urlencoded"})
        self.end(sent, self.ask("/tables/import/write", form, headers), HTTPStatus.OK)


def free_port() -> int:
    """A port of loopback that nobody uses."""
    with socket.socket() as found:
        found.bind(("127.0.0.1", 0))
        port: int = found.getsockname()[1]
    return port


def write_token() -> str:
    """What a page puts into its forms for who holds `TOKEN` (web/guard.py)."""
    salt = "00" * 8
    return f"{salt}.{hmac.new(TOKEN.encode(), salt.encode(), hashlib.sha256).hexdigest()}"


class Server(Kind):
    """`quailwright serve`, killed while phones, forms, a device and a spreadsheet come in."""

    def __init__(self, folder: Path, rng: Random) -> None:
        super().__init__(folder, rng)
        self.path, now = folder / "home" / "flock.sqlite", datetime.now(UTC)
        self.path.parent.mkdir()
        self._empty = folder / "empty.sqlite"
        with open_store(str(self._empty), create=True) as store:
            household = Household(store)
            household.begin("Mira", PASSPHRASE, now)
            household.sign_in("Mira", PASSPHRASE, TOKEN, now)
            self._key = Sensors(store).add_device(
                "pen", "pen", "", USUAL, now, rng.randbytes(KEY_BYTES)
            )
        _warm(folder / "warm.sqlite")
        self.port = free_port()
        self._over, self._answered = threading.Event(), threading.Event()
        self._clients: list[Client] = []
        self._failures: list[BaseException] = []

    def _begin(self) -> None:
        """A new flock file, and clients that have sent nothing yet."""
        for left in self.path.parent.glob("flock.sqlite*"):
            left.unlink()
        shutil.copy(self._empty, self.path)
        self._clients = [
            sort(Random(self.rng.random()), self.port, self._over, self._answered, key=self._key)
            for sort in (*[Phone] * PHONES, Form, Device, Keeper)
        ]

    def round(self) -> bool:
        if self._rounds % NEW_FLOCK_EVERY == 0:
            self._begin()
        self._rounds += 1
        for event in (self._over, self._answered):
            event.clear()
        told, marks = os.pipe()
        out = self.folder / "told"
        words = ("serve", "--flock", str(self.path), "--port", str(self.port))
        out.write_bytes(b"")
        child = child_of(command(*words), out, marks)
        os.close(marks)
        threads = [threading.Thread(target=self._work, args=(one,)) for one in self._clients]
        for thread in threads:
            thread.start()
        whole = self._rounds % UNHARMED_EVERY == 1
        try:
            if not self._answered.wait(PATIENCE_S):
                raise Failure(f"the server does not answer: {out.read_text()}")
            time.sleep(LONGEST_S if whole else self.rng.uniform(0, LONGEST_S))
        finally:
            waiting = any(one.waiting for one in self._clients)
            if whole:
                self._over.set()
                for thread in threads:
                    thread.join()
            os.kill(child, signal.SIGINT if whole else signal.SIGKILL)
            self._over.set()
            for thread in threads:
                thread.join()
            code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
            os.close(told)
        if self._failures:
            raise Failure(f"a client: {self._failures[0]}")
        self._look()
        if whole:
            preload(out)
            left = [*Path(tempfile.gettempdir()).iterdir()]
            known = [*with_note(self.path), self.path.with_name(f"{self.path.name}.caretaker")]
            left += [one for one in self.path.parent.iterdir() if one not in known]
            if code or left:
                raise Failure(f"ended in order with {code}, these were left: {left}")
            self.counts["not killed, nothing left behind"] += 1
            return False
        self.counts["killed while a client waited" if waiting else "killed while none waited"] += 1
        return waiting

    def _work(self, client: Client) -> None:
        try:
            client.work()
        except BaseException as failure:
            self._failures.append(failure)

    def _look(self) -> None:
        entries = reopened(self.path)
        places: dict[str, list[int]] = {}
        for number, entry in enumerate(entries):
            places.setdefault(_known_by(entry), []).append(number)
        with open_store(str(self.path)) as store:
            readings = Counter(
                str(each) for some in store.readings("pen") for each in some.at_ms.tolist()
            )
        at: list[tuple[int, Sent]] = []
        for client in self._clients:
            for sent in client.sent:
                if isinstance(client, Device):
                    there = [readings.get(sent.known_by, 0)] if sent.known_by in readings else []
                    whole = there == [1]
                else:
                    there = places.get(sent.known_by, [])
                    whole = there == list(range(there[0], there[0] + sent.rows)) if there else False
                    at += [(there[0], sent)] if whole else []
                if there and not whole:
                    raise Failure(f"{sent} is there in part, or twice: {there}")
                if sent.answered is not None and not whole:
                    raise Failure(f"{sent} was acknowledged and is not there")
        self.counts["highest number of entries in a flock"] = max(
            self.counts["highest number of entries in a flock"], len(entries)
        )
        latest = 0.0
        for _, sent in sorted(at, key=lambda one: one[0]):
            if sent.answered is not None and sent.answered < latest:
                raise Failure(f"{sent} was acknowledged before one that stands before it was sent")
            latest = max(latest, sent.sent)
        if sum(len(numbers) for numbers in places.values()) != sum(
            sent.rows for _, sent in at
        ):  # fmt: skip
            raise Failure("there are entries that nobody sent")


def _warm(path: Path) -> None:
    """Asks the application for its pages once in this process: what it makes once, children have.

    That saves each of them a second, and changes nothing that they do.
    """
    app = create_app(Settings(str(path)))

    async def ask(method: str, at: str) -> None:
        async def receive() -> dict[str, Any]:
            return {"type": "http.request", "body": b"", "more_body": False}

        async def send(_: object) -> None:
            pass

        scope = {
            "type": "http",
            "method": method,
            "path": at,
            "headers": [(b"host", b"localhost"), (b"cookie", b"quailwright=x")],
            "query_string": b"",
            "scheme": "http",
            "http_version": "1.1",
            "asgi": {},
            "server": ("localhost", 80),
            "client": ("127.0.0.1", 1),
            "root_path": "",
        }
        await app(scope, receive, send)

    async def ask_all() -> None:
        for at in ("/api/entries", "/log/care", "/api/readings/sent", "/tables/import"):
            await ask("POST", at)

    asyncio.run(ask_all())
    app.state.home.desk.store.close()


def _known_by(entry: Entry) -> str:
    """The name that its sender gave it: of a sheet the name of the file, else the note's word."""
    note = entry.note or ""
    return (
        note.removeprefix("from ").partition(",")[0]
        if note.startswith("from ")
        else note.split()[0]
    )
