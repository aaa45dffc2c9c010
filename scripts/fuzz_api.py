"""The work of scripts/fuzz_api: schemathesis, signed in as a keeper, on the demo's flock.

It makes calls from the API's own OpenAPI document, right and wrong, for as long as it is told, and
stops at the first answer of 500 or more. What it wrote must then be a sound journal.
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


def counting(app: _ASGI, answers: Counter[tuple[str, int]]) -> _ASGI:
    """The application, which notes how each part of it answered."""

    async def counted(scope: Any, receive: Any, send: Any) -> None:
        async def noted(message: Any) -> None:
            if message["type"] == "http.response.start":
                parts = scope["path"].split("/")[:3]
                answers[f"{scope['method']} {'/'.join(parts)}", message["status"]] += 1
            await send(message)

        await app(scope, receive, noted)

    return counted


def signed_in(flock: str) -> str:
    """The cookie of a keeper who has just signed in."""
    with open_store(flock) as store:
        household = Household(store)
        household.begin("keeper", "only for this run", now())
        token = secrets.token_hex(TOKEN_BYTES)
        household.sign_in("keeper", "only for this run", token, now())
    return f"{SIGNED_IN}={token}"


def write_token(address: str, cookie: str) -> str:
    """The token that a write must carry."""
    asked = urllib.request.Request(f"{address}/api/me", headers={"Cookie": cookie})
    with urllib.request.urlopen(asked) as answer:
        return str(json.load(answer)["token"])


def fuzz(program: str, address: str, cookie: str, seconds: int, seed: int) -> int:
    """Runs schemathesis until it has found something or the time is over; gives its exit code.

    First every call with values at and beyond the edges of its schema, then with drawn values.
    """
    edges = run(program, address, cookie, seed, "--phases", "coverage")
    drawn = ("--phases", "fuzzing", "--max-time", str(seconds))
    return edges or run(program, address, cookie, seed, *drawn)


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


def run(program: str, address: str, cookie: str, seed: int, *more: str) -> int:
    """One run of schemathesis."""
    return subprocess.run(
        [
            program, "run", f"{address}/api/openapi.json", *more,
            "--header", f"Cookie:{cookie}",
            "--header", f"X-Write-Token:{write_token(address, cookie)}",
            "--checks", "not_a_server_error", "--max-failures", "1",
            "--max-examples", str(_EXAMPLES),
            "--request-timeout", "300", "--workers", "2", "--seed", str(seed),
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
    answers: Counter[tuple[str, int]] = Counter()
    with tempfile.TemporaryDirectory(prefix="fuzz-") as scratch:
        flock = str(Path(scratch) / "flock.sqlite")
        began_with = len(build_demo(flock, now().date(), 1, now()))
        cookie = signed_in(flock)
        app = create_app(Settings(flock, now))
        listener = listening("127.0.0.1", 0, any_near=False)
        with impatient(app.state.home), beside(counting(app, answers), listener) as port:
            status = fuzz(
                given.program, f"http://localhost:{port}", cookie, given.seconds, given.seed
            )
        with open_store(flock) as store:
            wrong = [finding for finding in check(store) if not finding.forced]
            written = len(store.entries()) - began_with
    print(f"Seed {given.seed}. {answers.total():,} calls, {written:,} entries written.")
    for (call, code), count in sorted(answers.items()):
        print(f"{count:9,}  {code}  {call}")
    for finding in wrong:
        print(f"Wrong in the journal: {finding.sentence}")
    failed = any(code >= 500 for _, code in answers) or bool(wrong)
    print("It failed: see above." if failed or status else "No answer of 500, and a sound journal.")
    return 1 if failed or status else 0


if __name__ == "__main__":
    sys.exit(main())
