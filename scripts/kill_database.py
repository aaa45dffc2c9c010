"""PostgreSQL is killed while an office's households write: what was acknowledged is there, once.

`kill_database.py [--kills N] [--seed N]`. A server of its own holds three flocks; writers, over
engines as server processes have them, append one to twenty entries a transaction, or
readings. Each round the process of one connection, or every process of the server, is killed
(SIGKILL) at an instant drawn by lot; a killed server is started again. The writers go on as they
would: what was refused or broken off is not sent again. Then each flock is read: every transaction
that was acknowledged is in it, once, whole and in its writer's order; one that was not is there
wholly or not at all; none is in another flock. The first failure ends the run with exit code 1.
"""

import argparse
import os
import random
import signal
import subprocess
import tempfile
import threading
import time
from collections import Counter
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import UTC, datetime
from pathlib import Path

from scripts.growth import server, uid

from quailwright.journal.entries import Care
from quailwright.journal.findings import FlockUnusable
from quailwright.journal.flocks import Flocks, open_flocks

NOW = datetime(2027, 5, 2, 20, 0, tzinfo=UTC)
FLOCKS = ("creek", "hill", "mill")
WRITERS, MOST_ENTRIES = 6, 20
LONGEST_S, PATIENCE_S = 0.6, 60.0


class Failure(Exception):
    """What must never happen has happened."""


@dataclass
class Sent:
    """A transaction: its entries' numbers, and whether it was acknowledged."""

    numbers: range
    acknowledged: bool = False


@dataclass
class Writer:
    """Who writes into one flock, one transaction after another."""

    number: int
    flock: str
    rng: random.Random
    flocks: Flocks
    sent: list[Sent] = field(default_factory=list)
    readings: int = 0
    unsure_readings: int = 0
    refused: Counter[str] = field(default_factory=Counter)
    failed: BaseException | None = None

    def write(self, over: threading.Event) -> None:
        """Until it is over."""
        following = 0
        try:
            while not over.is_set():
                if self.rng.random() < 0.2:
                    self._measure()
                    continue
                sent = Sent(range(following, following + self.rng.randint(1, MOST_ENTRIES)))
                following = sent.numbers.stop
                self.sent.append(sent)
                with suppress(FlockUnusable):
                    self._append(sent)
        except BaseException as error:  # told by who waits
            self.failed = error

    def _append(self, sent: Sent) -> None:
        entries = [
            Care(
                id=uid(1_000_000 * self.number + n), at="2027-05-02", task="water", note=self.flock
            )
            for n in sent.numbers
        ]
        try:
            with self.flocks.store(self.flock).writing() as writer:
                writer.append(entries, NOW)
        except FlockUnusable as error:
            self.refused[error.sentence.partition("(")[2][:60]] += 1
            time.sleep(0.01)
            raise
        sent.acknowledged = True

    def _measure(self) -> None:
        at = 1000 * (10_000_000 * self.number + self.readings + self.unsure_readings)
        try:
            with self.flocks.store(self.flock).writing() as writer:
                writer.append_readings(f"pen {self.number}", "", [at], [20.5], [None])
        except FlockUnusable:
            self.unsure_readings += 1
        else:
            self.readings += 1


class Database:
    """The server's processes, to be killed and begun again."""

    def __init__(self, url: str) -> None:
        self.home = Path(url.partition("host=")[2])
        self.programs = sorted(Path("/usr/lib/postgresql").glob("*/bin/pg_ctl"))

    def _first(self) -> int:
        return int((self.home / "data/postmaster.pid").read_text().split()[0])

    def _children(self) -> list[int]:
        first = self._first()
        return [
            int(one) for one in Path(f"/proc/{first}/task/{first}/children").read_text().split()
        ]

    def kill_a_connection(self, rng: random.Random) -> bool:
        """Kills the process of one connection that is at work; whether there was one."""
        with suppress(OSError):
            of_clients = []
            for child in self._children():
                title = Path(f"/proc/{child}/cmdline").read_bytes().decode(errors="replace")
                if "postgres postgres" in title and "idle\0" not in title:
                    of_clients.append(child)
            if of_clients:
                os.kill(rng.choice(of_clients), signal.SIGKILL)
                return True
        return False

    def kill(self) -> None:
        """Kills every process of it."""
        os.kill(self._first(), signal.SIGSTOP)  # or one more is begun meanwhile, and not killed
        processes = [self._first(), *self._children()]
        for process in processes:
            with suppress(ProcessLookupError):
                os.kill(process, signal.SIGKILL)
        until = time.monotonic() + PATIENCE_S
        while any(Path(f"/proc/{one}/exe").exists() for one in processes):
            if time.monotonic() > until:
                raise Failure("a process of the server outlives its kill")
            time.sleep(0.01)

    def begin_again(self) -> None:
        """Starts it, as a machine does that begins again."""
        # They name a process that is dead, though its parent may not have asked after it yet.
        for lock in ("data/postmaster.pid", ".s.PGSQL.5432.lock"):
            (self.home / lock).unlink()
        as_postgres = ["runuser", "-u", "postgres", "--"] if os.getuid() == 0 else []
        options = f"-c listen_addresses='' -k {self.home}"
        command = [*as_postgres, str(self.programs[-1]), "-D", str(self.home / "data"), "-w",
                   "-o", options, "-l", str(self.home / "log"), "start"]  # fmt: skip
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, cwd="/")


def look(flocks: Flocks, writers: list[Writer]) -> Counter[str]:
    """Holds each flock against what its writers know. Raises Failure."""
    counts: Counter[str] = Counter()
    for flock in FLOCKS:
        store = flocks.store(flock)
        until = time.monotonic() + PATIENCE_S
        while True:  # a server that mends itself refuses meanwhile
            try:
                damaged, entries = store.damage(), store.entries()
                counted = {w.number: store.reading_count(f"pen {w.number}") for w in writers}
                break
            except FlockUnusable as error:
                if time.monotonic() > until:
                    raise Failure(f"{flock} cannot be read: {error.sentence}") from error
                time.sleep(0.05)
        if damaged or {one.note for one in entries if isinstance(one, Care)} - {flock}:
            raise Failure(f"{flock} is damaged, or holds what is another's: {damaged}")
        there = [int(entry.id.partition("-")[0], 16) for entry in entries]
        for writer in (one for one in writers if one.flock == flock):
            first = 1_000_000 * writer.number
            mine = [number - first for number in there if first <= number < first + 1_000_000]
            if mine != sorted(set(mine)):
                raise Failure(f"writer {writer.number}: twice there, or out of order")
            found = set(mine)
            for sent in writer.sent:
                here = found & set(sent.numbers)
                if here and len(here) != len(sent.numbers):
                    raise Failure(f"writer {writer.number}: half of {sent.numbers} is there")
                if sent.acknowledged and not here:
                    raise Failure(f"writer {writer.number}: {sent.numbers} was lost")
                found -= here
                how = "" if sent.acknowledged else "unacknowledged, "
                counts[f"{how}{'there' if here else 'not there'}"] += 1
            if found:
                raise Failure(f"writer {writer.number}: {sorted(found)[:9]} was never sent")
            if not 0 <= counted[writer.number] - writer.readings <= writer.unsure_readings:
                raise Failure(f"writer {writer.number}: {counted[writer.number]} readings, and "
                              f"{writer.readings} acknowledged")  # fmt: skip
            counts["readings acknowledged"] += writer.readings
    return counts


def run(kills: int, seed: int, folder: Path) -> Counter[str]:
    """So many kills. Raises Failure."""
    rng = random.Random(seed)
    with server(folder) as url:
        database = Database(url)
        everyone = [open_flocks(url, connections=4) for _ in range(3)]
        for name in FLOCKS:
            everyone[0].add(name, NOW)
        writers = [
            Writer(n, FLOCKS[n % 3], random.Random(f"{seed} {n}"), everyone[n // 2])
            for n in range(WRITERS)
        ]
        over = threading.Event()
        threads = [threading.Thread(target=one.write, args=(over,)) for one in writers]
        for thread in threads:
            thread.start()
        struck: Counter[str] = Counter()
        try:
            while struck.total() < kills:
                time.sleep(rng.uniform(0, LONGEST_S))
                if rng.random() < 0.5:
                    struck["a connection's process"] += database.kill_a_connection(rng)
                    continue
                struck["the whole server"] += 1
                database.kill()
                database.begin_again()
                if any(one.failed for one in writers):
                    break
            time.sleep(LONGEST_S)
        finally:
            over.set()
            for thread in threads:
                thread.join(PATIENCE_S)
        for one in writers:
            if one.failed is not None:
                raise Failure(f"writer {one.number}: {one.failed!r}") from one.failed
        counts = look(everyone[0], writers)
        for flocks in everyone:
            flocks.close()
        refused = sum((one.refused for one in writers), Counter())
        return struck + counts + Counter({f"refused: {what}": n for what, n in refused.items()})


def main() -> int:
    """Runs it, and tells what happened."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, default=Path(tempfile.gettempdir()))
    asked = parser.parse_args()
    began = time.monotonic()
    try:
        counts = run(asked.kills, asked.seed, asked.folder)
    except Failure as failure:
        print(f"seed {asked.seed}: {failure}")
        return 1
    print(f"{asked.kills:,} kills, seed {asked.seed}, {time.monotonic() - began:.0f} s: no failure")
    for what, count in sorted(counts.items()):
        print(f"{count:8,}  {what}", flush=True)
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
