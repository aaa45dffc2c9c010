"""How long the pages take on ten years of records, beside bare pages of the same bytes.

Run from the project's folder: `.venv-check/bin/python -m benchmarks.web`, with `--readings N` for
fewer readings, `--page WORDS` for some of the pages.

Two servers run side by side, each in a process of its own, as `serve` runs them: ours on the ten
years' flock, and a FastAPI application whose handlers give the very bytes that ours gave, with
nothing around them. Eight people, each on a connection of their own, ask one after the other as
fast as they are answered; in turns, ours and the bare one.
"""

import argparse
import gzip
import http.client
import json
import multiprocessing
import os
import random
import secrets
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from itertools import chain
from pathlib import Path
from statistics import median, quantiles

import uvicorn
from benchmarks.journals import LARGE, TEN_YEARS, invented_journal
from benchmarks.rows import Row
from fastapi import FastAPI
from starlette.responses import Response

from quailwright.exchange.household import TOKEN_BYTES, Household
from quailwright.journal.entries import EggsSet, Entry
from quailwright.journal.ids import NOISE_BYTES, new_id
from quailwright.journal.store import open_store
from quailwright.web.app import create_app
from quailwright.web.guard import SIGNED_IN
from quailwright.web.home import Settings
from quailwright.web.serving import listening

USERS, READINGS = 8, 2_000_000
REQUESTS, ROUNDS = 25, 3
_LONGEST_S = 20.0
_PATIENCE_S = 120
AIM_ROUND_P95_MS = 100


@dataclass(frozen=True)
class Asked:
    """What is asked, and what it is called in the table; a write has a body made anew each time."""

    name: str
    path: str
    body: Callable[[], bytes] | None = None
    then: str = ""


@dataclass(frozen=True)
class Times:
    """Milliseconds until an answer was there: the median, and what 95 of 100 stay under."""

    p50: float
    p95: float
    answers: int


def made_flock(location: str, entries: list[Entry], readings: int) -> str:
    """Writes the flock and a machine's readings of each minute; gives a keeper's cookie."""
    now = clock_of(entries)()
    with open_store(location, create=True) as store:
        with store.writing() as writer:
            writer.append(entries, now)
        chance = random.Random(1)
        last_ms = int(now.timestamp()) * 1000
        for first in range(0, readings, 100_000):
            minutes = range(first, min(first + 100_000, readings))
            with store.writing() as writer:
                writer.append_readings(
                    "incubator", "",
                    [last_ms - (readings - minute) * 60_000 for minute in minutes],
                    [37.5 + chance.gauss(0, 0.1) for _ in minutes],
                    [50 + chance.gauss(0, 1) for _ in minutes],
                )  # fmt: skip
        household = Household(store)
        household.begin("keeper", "only for this run", now)
        token = secrets.token_hex(TOKEN_BYTES)
        household.sign_in("keeper", "only for this run", token, now)
    return f"{SIGNED_IN}={token}"


def clock_of(entries: list[Entry]) -> Callable[[], datetime]:
    """A clock that stands in the evening of the last day."""
    now = datetime.fromisoformat(f"{entries[-1].at[:10]}T22:30+00:00")
    return lambda: now.astimezone(UTC)


def serve(made: Callable[[], FastAPI]) -> int:
    """Serves an application, made in a process of its own; gives its port."""
    listener = listening("127.0.0.1", 0, any_near=False)
    listener.listen(64)

    def running() -> None:
        # Nobody is hung up on while the other server has its turn.
        config = uvicorn.Config(
            made(), log_level="critical", access_log=False, timeout_keep_alive=3600
        )
        uvicorn.Server(config).run(sockets=[listener])

    multiprocessing.get_context("fork").Process(target=running, daemon=True).start()
    return int(listener.getsockname()[1])


def bare(answers: dict[str, tuple[bytes, str]]) -> FastAPI:
    """An application that gives these bytes, and does nothing else."""
    app = FastAPI(openapi_url=None)

    def answering(body: bytes, kind: str) -> Callable[[], Response]:
        return lambda: Response(body, media_type=kind)

    for path, (body, kind) in answers.items():
        app.add_api_route(path, answering(body, kind), methods=["GET", "POST"])
    return app


class Person:
    """Someone at a browser: one connection, kept open."""

    def __init__(self, port: int, cookie: str, token: str = "") -> None:
        self._line = http.client.HTTPConnection("127.0.0.1", port, timeout=_PATIENCE_S)
        self._headers = {"Cookie": cookie, "X-Write-Token": token, "Host": "localhost"}
        self._headers["Accept-Encoding"] = "gzip"

    def ask(self, path: str, body: bytes | None = None) -> tuple[float, bytes, str]:
        """Milliseconds until the whole answer was there, the answer, and its kind."""
        began = time.perf_counter()
        self._line.request("GET" if body is None else "POST", path, body, self._headers)
        answer = self._line.getresponse()
        text = answer.read()
        took = 1000 * (time.perf_counter() - began)
        if answer.status != 200:
            raise RuntimeError(f"{path} answered {answer.status}: {text[:300]!r}")
        if answer.headers.get("content-encoding") == "gzip":
            text = gzip.decompress(text)
        return took, text, answer.headers.get("content-type", "")


def eight_at_once(
    people: list[Person], asked: Asked, requests: int, own_paths: bool
) -> list[float]:
    """The milliseconds of each answer, as everyone asks one after the other."""
    taken: list[float] = []
    failed: list[Exception] = []
    until = time.monotonic() + _LONGEST_S

    def ask_away(person: Person) -> None:
        try:
            for _ in range(requests):
                body = None if asked.body is None else asked.body()
                took, _, _ = person.ask(asked.path if own_paths else bare_path(asked), body)
                if asked.then:
                    took, _, _ = person.ask(asked.then if own_paths else f"{bare_path(asked)}-then")
                taken.append(took)
                if time.monotonic() > until:
                    return
        except Exception as error:  # told by the thread that waits
            failed.append(error)

    threads = [threading.Thread(target=ask_away, args=(person,)) for person in people]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    if failed:
        raise failed[0]
    return taken


def bare_path(asked: Asked) -> str:
    """Where the bare application gives the bytes of this page."""
    return "/" + asked.name.replace(",", "").replace(" ", "-")


def times(taken: list[float]) -> Times:
    """Median and 95th percentile."""
    percentiles = quantiles(taken, n=100)
    return Times(percentiles[49], percentiles[94], len(taken))


def pages(entries: list[Entry]) -> Iterator[Asked]:
    """What is asked."""
    sets = [entry for entry in entries if isinstance(entry, EggsSet)]
    yield Asked("the round", "/")
    yield Asked("hatches", "/hatches")
    yield Asked("a hatch, 10 years ago", f"/hatches/{sets[0].hatch}")
    yield Asked("a hatch, under way", f"/hatches/{sets[-1].hatch}")
    yield Asked("birds", "/birds")
    yield Asked("a place", "/places/pen-1")
    yield Asked("a form", "/log/eggs_collected")
    yield Asked("journal", "/journal")
    yield Asked("journal, searched", "/journal?text=chilled")
    yield Asked("the round as JSON", "/api/today")
    written = care_at(clock_of(entries))
    yield Asked("writing an entry", "/api/entries", written)
    yield Asked("the round after a write", "/api/entries", written, "/")
    yield Asked("journal after a write", "/api/entries", written, "/journal")
    yield Asked("the goal", "/plan")
    yield Asked("the outlook", "/outlook")


def care_at(clock: Callable[[], datetime]) -> Callable[[], bytes]:
    """A new entry each time, of some minute of the last hours."""
    chance = random.Random(2)
    ids = random.SystemRandom()

    def made() -> bytes:
        at = clock() - timedelta(minutes=chance.randrange(300))
        entry = {
            "kind": "care", "task": "trays", "place": "pen-1",
            "id": new_id(clock(), ids.randbytes(NOISE_BYTES)), "at": at.isoformat(),
        }  # fmt: skip
        return json.dumps(entry).encode()

    return made


@dataclass(frozen=True)
class Turns:
    """A page asked in turns, ours and the bare one: the milliseconds of each turn's answers."""

    asked: Asked
    kilobytes: float
    ours: list[list[float]]
    bare: list[list[float]]


def in_turns(
    entries: list[Entry], readings: int, words: tuple[str, ...], turns: int, requests: int
) -> Iterator[Turns]:
    """Makes the flock, serves it and the bare pages, and asks what has any of the words."""
    with tempfile.TemporaryDirectory(prefix="benchmarks-") as scratch:
        flock = str(Path(scratch) / "flock.sqlite")
        cookie = made_flock(flock, entries, readings)
        port = serve(lambda: create_app(Settings(flock, clock_of(entries))))
        token = json.loads(Person(port, cookie).ask("/api/me")[1])["token"]
        all_asked = [each for each in pages(entries) if any(word in each.name for word in words)]
        one = Person(port, cookie, token)
        bodies: dict[str, tuple[bytes, str]] = {}
        for asked in all_asked:
            _, text, kind = one.ask(asked.path, None if asked.body is None else asked.body())
            bodies[bare_path(asked)] = (text, kind)
            if asked.then:
                bodies[f"{bare_path(asked)}-then"] = one.ask(asked.then)[1:]
        bare_port = serve(lambda: bare(bodies))
        ours = [Person(port, cookie, token) for _ in range(USERS)]
        others = [Person(bare_port, cookie) for _ in range(USERS)]
        for asked in all_asked:
            shown = f"{bare_path(asked)}-then" if asked.then else bare_path(asked)
            found = Turns(asked, len(bodies[shown][0]) / 1000, [], [])
            for _ in range(turns):
                found.ours.append(eight_at_once(ours, asked, requests, own_paths=True))
                found.bare.append(eight_at_once(others, asked, requests, own_paths=False))
            yield found


def rows(quick: bool) -> Iterator[Row]:
    """For the page of all benchmarks: what half of the answers stay under."""
    days, readings, turns, requests = (60, 500, 1, 2) if quick else (TEN_YEARS, 200_000, 5, 5)
    words = ("the round", "writing") if quick else ("",)
    for page in in_turns(invented_journal(LARGE, days=days), readings, words, turns, requests):
        mine, bares = times(list(chain(*page.ours))), times(list(chain(*page.bare)))
        by_turn = [
            median(one) / median(other) for one, other in zip(page.ours, page.bare, strict=True)
        ]
        yield Row(
            "pages", page.asked.name, mine.p50, "ms", "FastAPI giving the same bytes", bares.p50,
            min(by_turn), max(by_turn), turns,
        )  # fmt: skip


def main() -> int:
    """Asks, and prints."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--readings", type=int, default=READINGS)
    parser.add_argument("--page", default="", help="only what has these words in its name")
    given = parser.parse_args()
    entries = invented_journal(LARGE)
    print(f"{len(entries):,} entries, {given.readings:,} readings; load {os.getloadavg()[0]:.1f}")
    heads = ("p50 ms", "p95 ms", "bare p50", "bare p95", "ratio p50", "ratio p95", "answers")
    print(f"{'':26}{'kB':>6}" + "".join(f"{head:>11}" for head in heads))
    for page in in_turns(entries, given.readings, (given.page,), ROUNDS, REQUESTS):
        mine, bares = times(list(chain(*page.ours))), times(list(chain(*page.bare)))
        print(
            f"{page.asked.name:26}{page.kilobytes:6.0f}{mine.p50:11.1f}{mine.p95:11.1f}"
            f"{bares.p50:11.2f}{bares.p95:11.2f}{mine.p50 / bares.p50:11.1f}"
            f"{mine.p95 / bares.p95:11.1f}{mine.answers:11}",
            flush=True,
        )
    print(f"load {os.getloadavg()[0]:.1f}; aim: p95 of the round under {AIM_ROUND_P95_MS} ms")
    return 0


if __name__ == "__main__":
    sys.exit(main())
