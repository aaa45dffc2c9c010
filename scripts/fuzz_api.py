"""The work of `scripts/fuzz api`: schemathesis as everyone who may call, on the demo's flock.

It makes calls from the API's own OpenAPI document, right and wrong, for as long as it is told, and
stops at the first answer of 500 or more. Half of the time it is signed in as a keeper; then as a
helper, a viewer, a child, a device with its key, and as nobody, who must not be let in to more
than is theirs. What was written must then be a sound journal.
"""

import argparse
import json
import random
import secrets
import subprocess
import sys
import tempfile
import threading
import urllib.request
from collections import Counter
from collections.abc import Awaitable, Callable, Iterator
from contextlib import contextmanager
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from quailwright.exchange.demo_file import build_demo
from quailwright.exchange.household import TOKEN_BYTES, Household
from quailwright.exchange.record import check
from quailwright.exchange.sensor_payload import USUAL
from quailwright.exchange.sensor_settings import KEY_BYTES, Sensors
from quailwright.journal.store import open_store
from quailwright.web.app import create_app
from quailwright.web.guard import SIGNED_IN
from quailwright.web.home import Home, Settings
from quailwright.web.serving import beside, listening

_ASGI = Callable[[Any, Any, Any], Awaitable[None]]
_EXAMPLES = 50
"""Calls of one kind before it looks at the clock; it begins again until the time is over."""


def now() -> datetime:
    """The present."""
    return datetime.now(UTC)


Caller = str
CALLERS: tuple[Caller, ...] = ("keeper", "helper", "viewer", "child", "device", "nobody")
_OPEN = {
    "viewer": ("GET ",),
    "child": ("GET /api/me", "POST /api/entries", "GET /api/openapi.json"),
    "device": ("GET /api/me", "POST /api/readings/sent", "GET /api/openapi.json"),
    "nobody": ("GET /api/me", "GET /api/openapi.json"),
}
"""How calls begin that those may make who may not make all."""


def counting(app: _ASGI, answers: Counter[tuple[Caller, str, int]], who: list[Caller]) -> _ASGI:
    """The application, which notes how each part of it answered to whom."""

    async def counted(scope: Any, receive: Any, send: Any) -> None:
        async def noted(message: Any) -> None:
            if message["type"] == "http.response.start":
                call = f"{scope['method']} {'/'.join(scope['path'].split('/')[:4])}"
                answers[who[-1], call, message["status"]] += 1
            await send(message)

        await app(scope, receive, noted)

    return counted


def let_in(flock: str) -> dict[Caller, tuple[str, ...]]:
    """The headers by which each is known: people who have just signed in, a device with a key."""
    headers: dict[Caller, tuple[str, ...]] = {"nobody": ()}
    with open_store(flock) as store:
        household = Household(store)
        for name in CALLERS[:4]:
            if name == "keeper":
                household.begin(name, "only for this run", now())
            else:
                household.add(name, name, "only for this run", now())
            token = secrets.token_hex(TOKEN_BYTES)
            household.sign_in(name, "only for this run", token, now())
            headers[name] = (f"Cookie:{SIGNED_IN}={token}",)
        noise = secrets.token_bytes(KEY_BYTES)
        key = Sensors(store).add_device("probe", "incubator", "probe", USUAL, now(), noise)
        headers["device"] = (f"Authorization:Bearer {key}",)
    return headers


def write_token(address: str, headers: tuple[str, ...]) -> str:
    """The token that a write must carry."""
    known = dict(header.split(":", 1) for header in headers)
    with urllib.request.urlopen(urllib.request.Request(f"{address}/api/me", headers=known)) as told:
        return str(json.load(told)["token"])


def fuzz(program: str, address: str, headers: tuple[str, ...], seconds: int, seed: int) -> int:
    """Runs schemathesis until it has found something or the time is over; gives its exit code.

    First every call with values at and beyond the edges of its schema, then with drawn values.
    """
    edges = run(program, address, headers, seed, "--phases", "coverage", "--max-time", str(seconds))
    drawn = ("--phases", "fuzzing", "--max-time", str(seconds))
    return edges or run(program, address, headers, seed, *drawn)


@contextmanager
def impatient(home: Home) -> Iterator[None]:
    """Somebody who stops each plan that is being made after a second or two, as a page may."""
    over = threading.Event()

    def stop() -> None:
        while not over.wait(2.0):
            if (job := home.planner.running()) is not None:
                job.stop()

    thread = threading.Thread(target=stop)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


def run(program: str, address: str, headers: tuple[str, ...], seed: int, *more: str) -> int:
    """One run of schemathesis."""
    known = (*headers, f"X-Write-Token:{write_token(address, headers)}")
    return subprocess.run(
        [
            program, "run", f"{address}/api/openapi.json", *more,
            *(part for header in known for part in ("--header", header)),
            "--checks", "not_a_server_error", "--max-failures", "1",
            "--max-examples", str(_EXAMPLES),
            "--request-timeout", "300", "--workers", "1", "--seed", str(seed),
            "--generation-database", "none", "--suppress-health-check", "all",
            "--warnings", "off", "--no-color",
        ],
        check=False,
    ).returncode  # fmt: skip


def main() -> int:
    """Makes the flock, serves it, has it called, and reads what was written."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("program")
    parser.add_argument("seconds", type=int)
    parser.add_argument("--seed", type=int, default=random.SystemRandom().randrange(2**31))
    given = parser.parse_args()
    answers: Counter[tuple[Caller, str, int]] = Counter()
    with tempfile.TemporaryDirectory(prefix="fuzz-") as scratch:
        flock = str(Path(scratch) / "flock.sqlite")
        began_with = len(build_demo(flock, now().date(), 1, now()))
        headers = let_in(flock)
        app = create_app(Settings(flock, now))
        listener = listening("127.0.0.1", 0, any_near=False)
        who = ["keeper"]
        status = 0
        with impatient(app.state.home), beside(counting(app, answers, who), listener) as port:
            for caller in CALLERS:
                who.append(caller)
                share = given.seconds // 4 if caller == "keeper" else given.seconds // 20
                address = f"http://localhost:{port}"
                status = status or fuzz(given.program, address, headers[caller], share, given.seed)
        with open_store(flock) as store:
            wrong = [finding for finding in check(store) if not finding.forced]
            written = len(store.entries()) - began_with
    print(f"Seed {given.seed}. {answers.total():,} calls, {written:,} entries written.")
    for (caller, call, code), count in sorted(answers.items()):
        print(f"{count:9,}  {code}  {caller}: {call}")
    too_far = [
        f"{caller}: {call}" for caller, call, code in answers
        if code < 300 and caller in _OPEN and not call.startswith(_OPEN[caller])
    ]  # fmt: skip
    for each in too_far:
        print(f"Let in, and should not be: {each}")
    for finding in wrong:
        print(f"Wrong in the journal: {finding.sentence}")
    failed = any(code >= 500 for _, _, code in answers) or bool(wrong or too_far)
    print("It failed: see above." if failed or status else "No answer of 500, and a sound journal.")
    return 1 if failed or status else 0


if __name__ == "__main__":
    sys.exit(main())
