"""The pages and the nights of many flocks over one PostgreSQL database, measured.

A server of its own is started in a folder that is removed at the end, filled with flocks of so many
entries each, and served by `quailwright serve --flocks` with one process and then with two. Users,
each on a connection of their own, ask for rounds of flocks picked by chance, as fast as they are
answered. Then the nights are worked through by one process, and the next ones by two.

Each line of the output is one JSON document. Times by the wall tell of this machine and of what
else it does meanwhile (`load`, of one minute); `cpu` is what the server processes themselves used.
"""

import argparse
import contextlib
import http.client
import os
import random
import secrets
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

from benchmarks import journals
from scripts.growth import server, told

from quailwright.exchange.household import TOKEN_BYTES, Household
from quailwright.journal.flocks import open_flocks
from quailwright.web.guard import SIGNED_IN
from quailwright.web.serving import listening

DOMAIN = "flocks.localhost"
PASSPHRASE = "only for this run"
_DAYS = 1014
"""Of a journal of two pens that gives about 10,000 entries."""
_TICKS_A_SECOND = os.sysconf("SC_CLK_TCK")


def filled(location: str, flocks: int, entries: int, seed: int) -> dict[str, str]:
    """Makes the flocks; gives a keeper's cookie of each."""
    now = datetime.now(UTC)
    days = round(_DAYS * entries / 10_000)
    journals.FIRST_DAY = now.date() - timedelta(days=days)
    journal = journals.invented_journal(journals.SMALL, seed, days)
    cookies = {}
    with open_flocks(location) as opened:
        for number in range(flocks):
            name = f"flock-{number}"
            opened.add(name, now)
            store = opened.store(name)
            with store.writing() as writer:
                writer.append(journal, now)
            household = Household(store)
            household.begin("keeper", PASSPHRASE, now)
            token = secrets.token_hex(TOKEN_BYTES)
            household.sign_in("keeper", PASSPHRASE, token, now)
            cookies[name] = f"{SIGNED_IN}={token}"
    told(made="flocks", flocks=flocks, entries_each=len(journal), sizes_mib=_sizes(location))
    return cookies


def _sizes(location: str) -> float:
    with open_flocks(location) as opened:
        sizes = list(opened.sizes().values())
    return round(statistics.median(sizes) / 2**20, 1)


@contextlib.contextmanager
def serving(location: str, processes: int, kept: int) -> Iterator[tuple[int, list[int]]]:
    """The pages served; gives the port and the server processes."""
    listener = listening("127.0.0.1", 0, any_near=False)
    port = int(listener.getsockname()[1])
    listener.close()
    command = [
        sys.executable, "-m", "quailwright", "serve", "--flocks", location, "--domain", DOMAIN,
        "--port", str(port), "--processes", str(processes), "--kept", str(kept),
    ]  # fmt: skip
    running = subprocess.Popen(command, stdout=subprocess.DEVNULL)
    try:
        while True:
            with contextlib.suppress(OSError):
                asked(http.client.HTTPConnection("127.0.0.1", port, timeout=60), "nobody", "", "/")
                break
            time.sleep(0.1)
        while len(workers := workers_of(running.pid, processes)) < processes:
            time.sleep(0.1)
        yield port, workers
    finally:
        running.send_signal(signal.SIGINT)
        running.wait(60)


def workers_of(parent: int, processes: int) -> list[int]:
    """The processes that answer."""
    if processes == 1:
        return [parent]
    children = Path(f"/proc/{parent}/task/{parent}/children").read_text().split()
    return [
        int(child) for child in children
        if "spawn_main" in Path(f"/proc/{child}/cmdline").read_text()
    ]  # fmt: skip


def asked(connection: http.client.HTTPConnection, flock: str, cookie: str, path: str) -> float:
    """Milliseconds until an answer was there."""
    began = time.perf_counter()
    connection.request("GET", path, headers={"Host": f"{flock}.{DOMAIN}", "Cookie": cookie})
    answer = connection.getresponse()
    answer.read()
    if answer.status not in (200, 404):
        raise SystemExit(f"{flock} answered {answer.status}")
    return (time.perf_counter() - began) * 1000


def cpu_s(processes: list[int]) -> float:
    """Seconds of processor that they used so far."""
    ticks = 0
    for process in processes:
        fields = Path(f"/proc/{process}/stat").read_text().rpartition(")")[2].split()
        ticks += int(fields[11]) + int(fields[12])
    return ticks / _TICKS_A_SECOND


def resident_mib(processes: list[int]) -> float:
    """What they hold in memory."""
    pages = sum(int(Path(f"/proc/{one}/statm").read_text().split()[1]) for one in processes)
    return pages * os.sysconf("SC_PAGE_SIZE") / 2**20


def rounds(
    port: int, workers: list[int], cookies: dict[str, str], users: int, seconds: float, seed: int
) -> None:
    """Asks for each flock once, one after another; then for flocks picked by chance."""
    before_mib, before_s = resident_mib(workers), cpu_s(workers)
    cold = []
    for flock, cookie in cookies.items():
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
        cold.append(asked(connection, flock, cookie, "/"))
        connection.close()
    flocks = len(cookies)
    told(
        measured="cold", processes=len(workers), p50_ms=_ms(cold, 50), p95_ms=_ms(cold, 95),
        cpu_ms=round((cpu_s(workers) - before_s) * 1000 / flocks), load=_load(),
        mib_a_flock=round((resident_mib(workers) - before_mib) / flocks, 2),
        mib_before=round(before_mib),
    )  # fmt: skip
    took: list[float] = []
    until = time.monotonic() + seconds

    def user(number: int) -> None:
        chance = random.Random(seed + number)
        connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
        while time.monotonic() < until:
            flock = chance.choice(list(cookies))
            took.append(asked(connection, flock, cookies[flock], "/"))
        connection.close()

    # Each process is to have opened each flock before it is measured.
    for number in range(4 * len(workers)):
        for flock, cookie in cookies.items():
            connection = http.client.HTTPConnection("127.0.0.1", port, timeout=120)
            asked(connection, flock, cookie, "/" if number else "/birds")
            connection.close()
        if len(workers) == 1:
            break
    before_s, began = cpu_s(workers), time.monotonic()
    until = time.monotonic() + seconds
    threads = [threading.Thread(target=user, args=(number,)) for number in range(users)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    told(
        measured="rounds", processes=len(workers), users=users, pages=len(took),
        a_second=round(len(took) / (time.monotonic() - began), 1), p50_ms=_ms(took, 50),
        p95_ms=_ms(took, 95), cpu_ms=round((cpu_s(workers) - before_s) * 1000 / len(took), 1),
        mib=round(resident_mib(workers)), load=_load(),
    )  # fmt: skip


def one_night(location: str, flocks: int, workers: int, days_ahead: int) -> None:
    """Works through the night of a day with so many processes."""
    day = datetime.now(UTC).date() + timedelta(days=days_ahead)
    command = [
        sys.executable, "-m", "quailwright", "flocks", "night", location, "--on", str(day),
        "--processes", str(workers),
    ]  # fmt: skip
    before, began = os.times(), time.monotonic()
    done = subprocess.run(command, check=True, capture_output=True, text=True)
    after, took = os.times(), time.monotonic() - began
    cpu = after.children_user + after.children_system
    cpu -= before.children_user + before.children_system
    told(
        measured="night", processes=workers, flocks=len(done.stdout.splitlines()),
        seconds=round(took, 1), seconds_a_flock=round(took / flocks, 2),
        cpu_s_a_flock=round(cpu / flocks, 2), load=_load(),
    )  # fmt: skip


def _ms(took: list[float], percent: int) -> float:
    return round(statistics.quantiles(took, n=100, method="inclusive")[percent - 1], 1)


def _load() -> float:
    return round(os.getloadavg()[0], 1)


def main() -> None:
    """All of it."""
    asks = argparse.ArgumentParser(description=__doc__.partition("\n")[0])
    asks.add_argument("--flocks", type=int, default=50)
    asks.add_argument("--entries", type=int, default=10_000)
    asks.add_argument("--seconds", type=float, default=30)
    asks.add_argument("--users", type=int, default=8)
    asks.add_argument("--seed", type=int, default=1)
    asks.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()))
    given = asks.parse_args()
    with server(given.folder) as location:
        cookies = filled(location, given.flocks, given.entries, given.seed)
        for processes in (1, 2):
            with serving(location, processes, given.flocks) as (port, workers):
                rounds(port, workers, cookies, given.users, given.seconds, given.seed)
        for ahead, at_once in enumerate((1, 2)):
            one_night(location, given.flocks, at_once, ahead)


if __name__ == "__main__":
    main()
