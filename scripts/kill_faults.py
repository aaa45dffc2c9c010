"""Kills at any instant: what was acknowledged is there once and in order, the rest wholly or not.

`kill_faults.py [KIND ...] [--kills N] [--seed N]`, each KIND one of `writes` (`log` and `journal
import`), `server` (clients of every sort write while it is killed; `kill_clients.py`), `migrations`
(a flock file of an earlier schema is opened), `backups` (asked for, and the caretaker's) and
`restores`. This process has the program loaded; each round it forks a child, which runs the true
command (or the true server) and is killed by SIGKILL. The instant is drawn over the length that
the same work had unharmed: half of the kills over the whole of what follows a transaction's begin,
half between two of them. Counted are kills that struck after the work had begun its first
transaction and before it told that it was done; those too early or too late are told apart, and
held to the same promise. Now and then nothing is killed: then nothing that earlier kills left may
be there any more. The first failure ends the run with exit code 1 and leaves the files to look at.
"""

import argparse
import gc
import json
import os
import select
import shutil
import signal
import sqlite3
import sys
import tempfile
import time
import traceback
from abc import ABC, abstractmethod
from collections import Counter
from collections.abc import Callable, Iterable
from contextlib import closing, suppress
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib import import_module
from pathlib import Path
from random import Random

import sqlalchemy as sa

from quailwright.cli import main as command_line
from quailwright.exchange import backup_schedule, backups
from quailwright.exchange.caretaker import Caretaker
from quailwright.exchange.desk import Desk
from quailwright.journal.damage import NOTE
from quailwright.journal.entries import Care, Entry, as_dict, encode
from quailwright.journal.findings import QuailwrightError
from quailwright.journal.migrations import upgrade_within
from quailwright.journal.store import SCHEMA, Writer, open_store

NOW = datetime(2027, 5, 2, 20, 0, tzinfo=UTC)
CRASHED = 99
UNHARMED_EVERY = 12
PATIENCE_S = 60.0
_SAMPLE = 3
Work = Callable[[], object]


class Failure(Exception):
    """What must never happen has happened."""


# Killing.


@dataclass(frozen=True)
class Ended:
    """How a child ended: its exit code (-9: killed), what it said, when it began transactions."""

    code: int
    told: str
    begun_s: tuple[float, ...]
    took_s: float

    @property
    def killed(self) -> bool:
        """Whether the kill found it alive."""
        return self.code == -signal.SIGKILL


def command(*words: str) -> Work:
    """The command line, as a terminal runs it."""

    def work() -> None:
        sys.argv = ["quailwright", *words]
        command_line.run()

    return work


def child_of(work: Work, out: Path, marks: int) -> int:
    """Forks a child that does the work and writes a byte to `marks` as each transaction begins."""
    child = os.fork()
    if child:
        return child
    code = CRASHED
    try:
        says = os.open(out, os.O_WRONLY | os.O_CREAT | os.O_TRUNC)
        for stream in (1, 2):
            os.dup2(says, stream)
        sys.stdout = open(1, "w", buffering=1, closefd=False)  # noqa: SIM115
        sys.stderr = open(2, "w", buffering=1, closefd=False)  # noqa: SIM115
        known = set(sys.modules)
        sa.event.listen(sa.Engine, "begin", lambda _: os.write(marks, b"."))
        work()
        code = 0
    except SystemExit as leaving:
        code = leaving.code if isinstance(leaving.code, int) else 0
    except QuailwrightError as error:
        print(error.sentence)
        code = error.exit_code
    except BaseException:
        traceback.print_exc()
    finally:
        with suppress(BaseException):
            out.with_suffix(".modules").write_text("\n".join(set(sys.modules) - known))
        os._exit(code)


def strike(work: Work, out: Path, after_begun: int = 0, kill_after_s: float | None = None) -> Ended:
    """Does the work in a child, killed so long after so many transactions were begun, or never."""
    told, marks = os.pipe()
    out.write_bytes(b"")
    began = time.monotonic()
    child = child_of(work, out, marks)
    os.close(marks)
    begun: list[float] = []

    def look(until: float) -> bool:
        """Takes down the marks that come until then; whether the child still runs."""
        while (left := until - time.monotonic()) > 0:
            if select.select([told], [], [], left)[0]:
                come = os.read(told, 100)
                if not come:
                    return False
                begun.extend([time.monotonic() - began] * len(come))
        return True

    runs = True
    if kill_after_s is not None:
        while runs and len(begun) < after_begun:
            runs = look(time.monotonic() + 0.001)
        if runs:
            look(time.monotonic() + kill_after_s)
        os.kill(child, signal.SIGKILL)
    elif look(began + PATIENCE_S):
        os.kill(child, signal.SIGKILL)
        raise Failure(f"unharmed it did not end within {PATIENCE_S:.0f} s")
    code = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
    begun.extend([time.monotonic() - began] * len(os.read(told, 1000)))
    os.close(told)
    return Ended(code, out.read_text(errors="replace"), tuple(begun), time.monotonic() - began)


def preload(out: Path) -> None:
    """Loads what an unharmed child had to load, so that the next ones begin at once."""
    for name in out.with_suffix(".modules").read_text().split():
        with suppress(Exception):
            import_module(name)
    gc.freeze()  # or each child copies what its collector only looks at


# Looking.


def reopened(path: Path) -> list[Entry]:
    """What stands in a flock file that today's program opens and finds sound."""
    with open_store(str(path)) as store:
        damaged = store.damage()
        if damaged:
            raise Failure(f"{path} is damaged: {damaged}")
        return store.entries()


def raw(path: Path) -> tuple[str, list[bytes], int]:
    """The schema, the entries' text and the number of readings of a sound file, as it stands."""
    with closing(sqlite3.connect(path)) as base:
        if (verdict := base.execute("PRAGMA integrity_check").fetchall()) != [("ok",)]:
            raise Failure(f"{path}: {verdict}")
        schema = base.execute("SELECT version_num FROM alembic_version").fetchall()
        bodies = base.execute("SELECT body FROM entry ORDER BY arrival").fetchall()
        readings = 0
        if schema[0][0] >= "0002":
            readings = base.execute("SELECT count(*) FROM reading").fetchone()[0]
    if len(schema) != 1:
        raise Failure(f"{path} has several schemas: {schema}")
    return schema[0][0], [body for (body,) in bodies], readings


def cares(first: int, count: int, rng: Random) -> list[Entry]:
    """Entries of varying length."""
    return [
        Care(
            id=f"{n:08x}-0000-4000-8000-{n:012x}",
            at="2027-05-02",
            task="water",
            note=f"{n} " + "x" * rng.randrange(400),
        )
        for n in range(first, first + count)
    ]


def flock(path: Path, entries: list[Entry], readings: int = 0) -> None:
    """A flock file with those entries."""
    with open_store(str(path), create=True) as store, store.writing() as writer:
        writer.append(entries, NOW)
        at = [60_000 * n for n in range(readings)]
        writer.append_readings("box", "", at, [37.5 + n % 9 / 8 for n in range(readings)], at)


def earlier_flock(path: Path, schema: str, entries: list[Entry], readings: int) -> None:
    """A flock file as a program of that schema left it."""
    engine = sa.create_engine(f"sqlite:///{path}", paramstyle="named")
    with engine.connect() as connection:
        connection.exec_driver_sql("PRAGMA journal_mode=WAL")
    with engine.begin() as connection:
        upgrade_within(connection, schema)
        Writer(connection, str(path)).append(entries, NOW)
        if schema >= "0002":
            connection.exec_driver_sql(
                "INSERT INTO sensor (id, place, instrument) VALUES (1, 'box', '')"
            )
            rows = [{"at": 60_000 * n, "c": 37.5} for n in range(readings)]
            insert = "INSERT INTO reading (sensor, at_ms, temperature_c) VALUES (1, :at, :c)"
            connection.exec_driver_sql(insert, rows)
    engine.dispose()


def stands(told: object, *may: object) -> int:
    """Which of those it is. Raises Failure where it is none of them."""
    for number, one in enumerate(may):
        if told == one:
            return number
    raise Failure("what stands is neither what stood before nor what was written")


# What is killed.


def with_note(path: Path) -> tuple[Path, Path]:
    """A flock file, and the note of its newest entry beside it."""
    return path, path.with_name(f"{path.name}{NOTE}")


class Kind(ABC):
    """One sort of work that is killed, in a folder of its own."""

    def __init__(self, folder: Path, rng: Random) -> None:
        self.folder, self.rng = folder, rng
        self.counts: Counter[str] = Counter()
        self._rounds = 0

    def sample(self) -> None:
        """A few kills, for the tests. Raises Failure."""
        for _ in range(_SAMPLE):
            self.round()

    @abstractmethod
    def round(self) -> bool:
        """One round; whether it was a kill that struck in time. Raises Failure."""


class InAChild(Kind):
    """Work that a child does and tells of: its files are put, and what is left is looked at."""

    def __init__(self, folder: Path, rng: Random) -> None:
        super().__init__(folder, rng)
        self._lengths: dict[str, tuple[list[float], float]] = {}

    @abstractmethod
    def prepare(self, unharmed: bool) -> tuple[str, Work]:
        """A name for what is done now, and the work; an unharmed one is to end well."""

    @abstractmethod
    def is_told(self, told: str) -> bool:
        """Whether what it said acknowledges the work."""

    @abstractmethod
    def look(self, acknowledged: bool) -> None:
        """Looks at the files. Raises Failure."""

    @abstractmethod
    def strays(self) -> Iterable[Path]:
        """Files that should not be there after work that ended well."""

    def sample(self) -> None:
        """Kills as each of the first transactions begins, whatever that is. Raises Failure."""
        for after in range(1, 5):
            _, work = self.prepare(False)
            ended = strike(work, self.folder / "told", after, 0.0)
            self.counts["killed" if ended.killed else "ended before"] += 1
            self.look(self.is_told(ended.told))

    def round(self) -> bool:
        """One round; whether it was a kill that struck in time. Raises Failure."""
        self._rounds += 1
        out = self.folder / "told"
        unharmed = self._rounds % UNHARMED_EVERY == 1
        what, work = self.prepare(unharmed)
        if unharmed or what not in self._lengths:
            ended = strike(work, out)
            preload(out)
            if ended.code or not self.is_told(ended.told):
                raise Failure(f"{what} unharmed ended with {ended.code}: {ended.told}")
            if self._rounds > UNHARMED_EVERY:  # the first ones loaded modules
                self._lengths[what] = list(ended.begun_s), ended.took_s
            self.look(True)
            strays = [*self.strays(), *Path(tempfile.gettempdir()).iterdir()]
            if unharmed and strays:
                raise Failure(f"after {what} that ended well these were left: {strays}")
            self.counts["not killed, nothing left behind"] += 1
            return False
        begun, took = self._lengths[what]
        after = self.rng.randrange(len(begun) + 1)
        from_s = begun[after - 1] if after else 0.0
        until_s = self.rng.choice([begun[after] if after < len(begun) else took, took])
        ended = strike(work, out, after, self.rng.uniform(0, 1.05 * (until_s - from_s)))
        told = self.is_told(ended.told)
        if not ended.killed and ended.code:
            raise Failure(f"{what} ended with {ended.code}: {ended.told}")
        in_time = ended.killed and bool(ended.begun_s) and not told
        when = "in time" if in_time else "late" if ended.begun_s else "early"
        self.counts[f"{what}: {when}"] += 1
        self.look(told)
        return in_time


class Writes(InAChild):
    """`log` and `journal import` into a flock file, or one that is not there yet."""

    def __init__(self, folder: Path, rng: Random) -> None:
        super().__init__(folder, rng)
        self.path = folder / "home" / "flock.sqlite"
        self.path.parent.mkdir()
        self._stood: list[str] = []
        self._new: list[str] = []
        self._number = 0

    def prepare(self, unharmed: bool) -> tuple[str, Work]:
        begins = self.rng.random() < 0.1
        if begins:
            for left in self.path.parent.glob("flock.sqlite*"):
                left.unlink()
            self._stood = []
        flock_file = ("--flock", str(self.path))
        kind = self.rng.choice(["log", "import"])
        if kind == "log":
            self._number += 1
            self._new = [f"{self._number}"]
            work = command("log", "care", "task=water", f"note={self._number}", *flock_file)
        else:
            new = cares(self._number + 1, self.rng.randrange(2, 200), self.rng)
            self._number += len(new)
            self._new = [one.note or "" for one in new]
            lines = self.folder / "lines.jsonl"
            lines.write_text("".join(json.dumps(as_dict(one)) + "\n" for one in new))
            work = command("journal", "import", str(lines), *flock_file)
        return kind + (" into a new file" if not self.path.exists() else ""), work

    def is_told(self, told: str) -> bool:
        return "Kept:" in told or "kept, 0 were" in told

    def look(self, acknowledged: bool) -> None:
        there = [one.note or "" for one in reopened(self.path)] if self.path.exists() else []
        after = [*self._stood, *(note.strip() for note in self._new)]
        was = stands([note.strip() for note in there], after, self._stood)
        if acknowledged and was:
            raise Failure("an acknowledged entry is not there")
        came = "there wholly" if not was else "not there"
        self.counts[came if acknowledged else f"unacknowledged, {came}"] += 1
        self._stood = [note.strip() for note in there]

    def strays(self) -> Iterable[Path]:
        return (left for left in self.path.parent.iterdir() if left not in with_note(self.path))


class Migrations(InAChild):
    """A flock file of an earlier schema, opened by a command that reads or one that writes."""

    def __init__(self, folder: Path, rng: Random) -> None:
        super().__init__(folder, rng)
        self.entries, self.readings = cares(0, 80, rng), 1_000
        self.bodies = [encode(one) for one in self.entries]
        self.schemas = [f"{n:04}" for n in range(1, int(SCHEMA))]
        for schema in self.schemas:
            earlier_flock(folder / f"{schema}.sqlite", schema, self.entries, self.readings)
        self.path = folder / "home" / "flock.sqlite"
        self.path.parent.mkdir()
        self._from, self._writes = "", False

    def prepare(self, unharmed: bool) -> tuple[str, Work]:
        for left in self.path.parent.glob("flock.sqlite*"):
            left.unlink()
        self._from, self._writes = self.rng.choice(self.schemas), self.rng.random() < 0.5
        shutil.copy(self.folder / f"{self._from}.sqlite", self.path)
        words = ["log", "care", "task=water"] if self._writes else ["journal", "check"]
        name = "a writing" if self._writes else "a reading"
        return f"{name} command", command(*words, "--flock", str(self.path))

    def is_told(self, told: str) -> bool:
        return "Kept:" in told or "The journal is whole" in told

    def look(self, acknowledged: bool) -> None:
        schema, bodies, readings = raw(self.path)
        if schema not in (self._from, SCHEMA):
            raise Failure(f"a file of {self._from} now has schema {schema}")
        logged = len(bodies) - len(self.bodies)
        if bodies[: len(self.bodies)] != self.bodies or not 0 <= logged <= self._writes:
            raise Failure("entries are missing or doubled")
        if readings != (self.readings if self._from >= "0002" else 0):
            raise Failure(f"{readings} readings are there")
        if acknowledged and (schema != SCHEMA or logged != self._writes):
            raise Failure("what was acknowledged is not there")
        self.counts["at the new schema" if schema == SCHEMA else "still at the old schema"] += 1
        if len(reopened(self.path)) != len(bodies):
            raise Failure("opened again, the number of entries changed")
        if raw(self.path)[0] != SCHEMA:
            raise Failure("opened again, it was not migrated")

    def strays(self) -> Iterable[Path]:
        return (left for left in self.path.parent.iterdir() if left not in with_note(self.path))


class Backups(InAChild):
    """`backup` into a folder or over an older backup, and the caretaker's."""

    def __init__(self, folder: Path, rng: Random) -> None:
        super().__init__(folder, rng)
        self.path, self.into = folder / "home" / "flock.sqlite", folder / "into"
        for place in (self.path.parent, self.into):
            place.mkdir()
        self.entries = 80
        flock(self.path, cares(0, self.entries, rng), 400)
        with open_store(str(self.path)) as store:
            backup_schedule.choose(store, str(self.into), "day", "6", "03:30")
            self.marker = self.into / backup_schedule.MARKER
            self.older = backups.back_up(store, folder / "older.zip", NOW).path
        self.fixed = self.into / "monday.zip"
        self._kind = ""

    def prepare(self, unharmed: bool) -> tuple[str, Work]:
        self._kind = self.rng.choice(["backup", "backup", "the caretaker's backup"])
        for made in self.into.glob("*.zip"):
            made.unlink()
        shutil.copy(self.older, self.fixed)
        if self._kind == "backup":
            where = self.rng.choice([self.into, self.fixed])
            return self._kind, command("backup", str(where), "--flock", str(self.path))
        with open_store(str(self.path)) as store:
            backup_schedule.ask(store, NOW)
        return self._kind, self._care

    def _care(self) -> None:
        """What a server's caretaker does, with the lock that it holds meanwhile."""
        with open_store(str(self.path)) as store, store.sole_caretaker() as mine:
            if not mine():
                raise Failure("the lock of a caretaker that was killed is still held")
            chore = backup_schedule.chore()
            caretaker = Caretaker(Desk(store), [chore], lambda: datetime.now(UTC))
            caretaker.do_due(datetime.now(UTC))
            told = caretaker.told(chore.name)
            if told is not None:
                print(told.sentence)

    def is_told(self, told: str) -> bool:
        return "found equal" in told or "A backup was made" in told

    def look(self, acknowledged: bool) -> None:
        if len(reopened(self.path)) != self.entries:
            raise Failure("entries are missing")
        made = list(self.into.glob("*.zip"))
        if self.fixed.read_bytes() == self.older.read_bytes():
            made.remove(self.fixed)
        for path in made:
            if backups.check(path).manifest.rows("entry") != self.entries:
                raise Failure(f"{path} does not hold all")
        new = bool(made)
        if acknowledged and not new:
            raise Failure("a backup that was acknowledged is not there")
        self.counts["the new backup is there, whole" if new else "no new backup"] += 1

    def strays(self) -> Iterable[Path]:
        beside = self.path.with_name(f"{self.path.name}.caretaker")
        for left in [*self.into.iterdir(), *self.path.parent.iterdir()]:
            if left.suffix != ".zip" and left not in (*with_note(self.path), beside, self.marker):
                yield left
        if self._kind.startswith("the"):
            with open_store(str(self.path)) as store:
                if backup_schedule.came(store).began:
                    yield Path("began")


class Restores(InAChild):
    """`restore` into nothing, an empty file, or in the place of another flock."""

    def __init__(self, folder: Path, rng: Random) -> None:
        super().__init__(folder, rng)
        self.old, self.new = cares(0, 50, rng), cares(1000, 80, rng)
        flock(folder / "old.sqlite", self.old, 10)
        flock(folder / "new.sqlite", self.new, 400)
        with open_store(str(folder / "new.sqlite")) as store:
            self.good = backups.back_up(store, folder / "good.zip", NOW).path
        self.path = folder / "home" / "flock.sqlite"
        self._before: list[Entry] | None = None

    def prepare(self, unharmed: bool) -> tuple[str, Work]:
        # What kills left is seen to go; but an old flock put aside is told from this round's.
        place = self.path.parent
        place.mkdir(exist_ok=True)
        for left in place.glob("flock.sqlite*"):
            if left.name != "flock.sqlite.caretaker":
                left.unlink()
        if not unharmed:
            for left in place.glob(".*.aside*"):
                left.unlink()
        what = self.rng.choice(["nothing", "an empty flock", "another flock", "another with a log"])
        self._before = None
        if what == "an empty flock":
            flock(self.path, [])
            self._before = []
        elif what != "nothing":
            shutil.copy(self.folder / "old.sqlite", self.path)
            self._before = list(self.old)
            if what.endswith("log"):
                strike(self._leave_a_log, self.folder / "log")
                self._before += cares(900, 3, Random(1))
        replace = ["--replace"] if what.startswith("another") else []
        words = ["restore", str(self.good), *replace, "--flock", str(self.path)]
        return f"in the place of {what}", command(*words)

    def _leave_a_log(self) -> None:
        with open_store(str(self.path)).writing() as writer:
            writer.append(cares(900, 3, Random(1)), NOW)
        os._exit(0)

    def is_told(self, told: str) -> bool:
        return "They are in" in told

    def look(self, acknowledged: bool) -> None:
        at = reopened(self.path) if self.path.exists() else None
        was = stands(at, self.new, self._before)
        if acknowledged and was:
            raise Failure("a restore that was acknowledged is not there")
        if was == 0 and self._before:
            asides = [*self.path.parent.glob("flock.sqlite.before*"),
                      *self.path.parent.glob(".*.aside")]  # fmt: skip
            found = [one for one in asides if not one.name.endswith(("-wal", "-shm", "-last"))]
            if not any(reopened(one) == self._before for one in found):
                raise Failure("the flock that was replaced is nowhere")
        self.counts["the old one stands" if was else "the new one stands"] += 1

    def strays(self) -> Iterable[Path]:
        return self.path.parent.glob(".*")


def kinds() -> dict[str, type[Kind]]:
    """Every sort of work, by its name."""
    from scripts.kill_clients import Server

    return {
        "writes": Writes,
        "server": Server,
        "migrations": Migrations,
        "backups": Backups,
        "restores": Restores,
    }


def run(kind: type[Kind], kills: int, seed: int, folder: Path) -> Counter[str]:
    """Rounds until so many kills struck in time. Raises Failure, naming the round."""
    (folder / "tmp").mkdir(parents=True)
    before, tempfile.tempdir = tempfile.tempdir, str(folder / "tmp")
    try:
        at_work, struck, number = kind(folder, Random(seed)), 0, 0
        if not kills:
            at_work.sample()
        while struck < kills:
            number += 1
            try:
                struck += at_work.round()
            except (Failure, QuailwrightError, sqlite3.Error) as error:
                raise Failure(f"round {number} of seed {seed}: {error} ({folder})") from error
    finally:
        tempfile.tempdir = before
    return at_work.counts


def main() -> int:
    """Runs the kinds that are asked for, and tells what happened."""
    known = kinds()
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kinds", nargs="*", metavar="KIND", help=", ".join(known))
    parser.add_argument("--kills", type=int, default=1000, help="In time; 0: a sample of seconds.")
    parser.add_argument("--seed", type=int, default=time.time_ns() % 2**32)
    parser.add_argument("--folder", type=Path, help="Where to work; else a temporary folder.")
    asked = parser.parse_args()
    if unknown := set(asked.kinds) - set(known):
        parser.error(f"no such kind: {', '.join(sorted(unknown))}; there are {', '.join(known)}")
    folder = asked.folder or Path(tempfile.mkdtemp(prefix="kill-faults-"))
    for name in asked.kinds or known:
        began = time.monotonic()
        try:
            counts = run(known[name], asked.kills, asked.seed, folder / name)
        except Failure as failure:
            print(f"{name}: {failure}")
            return 1
        print(f"{name}: {asked.kills:,} kills in time, seed {asked.seed}, "
              f"{time.monotonic() - began:.0f} s: no failure")  # fmt: skip
        for what, count in sorted(counts.items()):
            print(f"{count:8,}  {what}", flush=True)
        shutil.rmtree(folder / name)
    shutil.rmtree(folder, ignore_errors=True)
    return 0


if __name__ == "__main__":
    # As the module that the clients' part knows, whose Failure is then the same.
    sys.exit(import_module("scripts.kill_faults").main())
