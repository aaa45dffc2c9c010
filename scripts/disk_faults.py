"""What disks, clocks and second programs do to a flock file.

`disk_faults.py [--full N] [--read-only N] [--damage N] [--replaced N] [--two N] [--seed N]`: so
many rounds of each. A full disk and one that is only read are real file systems made for it, which
needs root; without, the script says what it leaves out. Each round runs commands in processes of
their own and looks at what they say and at what the file holds then. The first failure ends the run
with exit code 1 and leaves the files to look at.
"""

import argparse
import io
import os
import pickle
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
import traceback
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager, suppress
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any, NamedTuple

from starlette.testclient import TestClient

from quailwright.cli.main import run as run_command
from quailwright.exchange import backups
from quailwright.exchange.readings_room import thin
from quailwright.flock.fold import fold
from quailwright.journal.entries import (
    Care,
    EggsCollected,
    Entry,
    Group,
    Holding,
    Place,
    encode,
)
from quailwright.journal.findings import QuailwrightError
from quailwright.journal.migrations import upgrade_within
from quailwright.journal.salvage import salvage
from quailwright.journal.store import Store, open_store
from quailwright.web.app import create_app
from quailwright.web.home import Settings

NOW = datetime(2026, 5, 2, 20, 0, tzinfo=UTC)
ON = "2026-05-02"
PAGE = 4096
ENDS = ("", "-wal", "-shm", "-last")
BEFORE_BACKUP, AFTER_BACKUP, READINGS = 300, 200, 3_000
WAY_BACK = ("journal salvage", "restore LAST_BACKUP.zip --replace", "journal import")
FAULTY = ("Traceback", "fault of its own", "fault of quailwright's own")


class Failure(Exception):
    """What must never happen has happened."""


class Said(NamedTuple):
    """What a process left: its exit code (99: it crashed) and what it wrote."""

    code: int
    out: str
    err: str


def apart(work: Callable[[], object], user: int | None = None) -> Said:
    """Does the work in a process of its own, as another user if one is given."""
    with tempfile.TemporaryFile() as out, tempfile.TemporaryFile() as err:
        child = os.fork()
        if child == 0:
            code: object = 99
            try:
                os.dup2(out.fileno(), 1)
                os.dup2(err.fileno(), 2)
                sys.stdout = io.TextIOWrapper(io.FileIO(1, "w", closefd=False))
                sys.stderr = io.TextIOWrapper(io.FileIO(2, "w", closefd=False))
                if user is not None:
                    os.setgid(user)
                    os.setuid(user)
                code = work() or 0
            except SystemExit as leaving:
                code = leaving.code or 0
            except QuailwrightError as error:
                print(error.sentence, file=sys.stderr)
                code = error.exit_code
            except BaseException:
                traceback.print_exc()
            finally:
                with suppress(Exception):
                    sys.stdout.flush()
                    sys.stderr.flush()
                os._exit(code if isinstance(code, int) else 98)
        status = os.waitstatus_to_exitcode(os.waitpid(child, 0)[1])
        said = []
        for stream in (out, err):
            stream.seek(0)
            said.append(stream.read().decode(errors="replace"))
    return Said(status, said[0], said[1])


def quail(flock: Path, *words: str, user: int | None = None) -> Said:
    """A command line, in a process of its own. Raises Failure where it ends in no sentence."""

    def command() -> None:
        sys.argv = ["quailwright", *words, "--flock", str(flock)]
        run_command()

    said = apart(command, user)
    if said.code not in (0, 1, 2, 3) or any(sign in said.err for sign in FAULTY):
        raise Failure(f"{words} ended with {said.code}: {said.err[-2000:]}")
    if said.code in (2, 3) and not said.err.strip():
        raise Failure(f"{words} ended with {said.code} and no sentence")
    return said


def journal(first: int, count: int, rng: Random) -> list[Entry]:
    """So many entries of varying length; with the first, what they speak of."""
    made: list[Entry] = []
    if first == 0:
        made = [
            Holding(id=name(0), at="2026-01-01", name="Home", timezone="Europe/Lisbon"),
            Place(id=name(1), at="2026-01-01", place="pen", role="pen", floor_m2=4),
            Group(id=name(2), at="2026-01-01", group="hens", place="pen", hens=10, cocks=2),
        ]
    for n in range(first + len(made), first + count):
        day = (date(2026, 1, 1) + timedelta(days=n % 120)).isoformat()
        note = "x" * rng.choice([0, 20, 90, 90, 1900])
        if n % 2:
            made.append(Care(id=name(n), at=day, task="water", place="pen", note=note))
        else:
            made.append(EggsCollected(id=name(n), at=day, group="hens", eggs=n % 9, note=note))
    return made


def name(n: int) -> str:
    """The id of the entry of that number."""
    return f"{n:08x}-0000-4000-8000-{n:012x}"


def append(flock: Path, entries: list[Entry], readings: int = 0, size: int = 1000) -> None:
    """Appends entries, `size` in each transaction."""
    with open_store(str(flock), create=True) as store:
        for first in range(0, len(entries), size):
            with store.writing() as writer:
                writer.append(entries[first : first + size], NOW)
        if readings:
            at = [1_770_000_000_000 + 60_000 * n for n in range(readings)]
            with store.writing() as writer:
                shown = [20 + n % 9 / 8 for n in range(readings)]
                writer.append_readings("pen", "", at, shown, [50.0] * readings)


def held(flock: Path) -> list[Entry]:
    """The entries of a flock file. Raises FlockUnusable."""
    with open_store(str(flock)) as store:
        return store.entries()


def copied(flock: Path, to: Path) -> Path:
    """A copy of a flock file with all that stands beside it, in the place of what was there."""
    for end in ENDS:
        beside, target = flock.with_name(flock.name + end), to.with_name(to.name + end)
        target.unlink(missing_ok=True)
        if beside.exists():
            shutil.copy(beside, target)
    return to


class Run:
    """The files of a run, and what happened."""

    def __init__(self, folder: Path, rng: Random) -> None:
        self.folder, self.rng = folder, rng
        self.counts: Counter[str] = Counter()
        self.sums: Counter[str] = Counter()
        self.entries = journal(0, BEFORE_BACKUP + AFTER_BACKUP, rng)
        self.base, self.older = folder / "base.sqlite", folder / "older.sqlite"
        append(self.base, self.entries[:BEFORE_BACKUP], READINGS)
        with open_store(str(self.base)) as store:
            self.backup = backups.back_up(store, folder / "last.zip", NOW).path
        copied(self.base, self.older)
        append(self.base, self.entries[BEFORE_BACKUP:])
        self.live = copied(self.base, folder / "live.sqlite")
        self.half_live = folder / "half.sqlite"
        self.more = journal(len(self.entries), 40, rng)
        apart(self._live_on)
        self.other = folder / "other.sqlite"
        apart(self._other_flock)
        self.today = quail(copied(self.base, folder / "t.sqlite"), "today", "--json", "--on", ON)
        if self.today.code:
            raise Failure(f"today does not answer: {self.today.err}")

    def _live_on(self) -> None:
        """A server that was killed: what it kept last stands in the log alone."""
        store = open_store(str(self.live))
        for n, entry in enumerate(self.more):
            with store.writing() as writer:
                writer.append([entry], NOW)
            if n == len(self.more) // 2:
                copied(self.live, self.half_live)
        os._exit(0)

    def _other_flock(self) -> None:
        store = open_store(str(self.other), create=True)
        for entry in _OTHERS:
            with store.writing() as writer:
                writer.append([entry], NOW)
        os._exit(0)

    # Damage.

    def damage(self) -> None:
        """One kind of damage to a copy; then what the commands say of it, and the way back."""
        flock = self.folder / "damage" / "flock.sqlite"
        shutil.rmtree(flock.parent, ignore_errors=True)
        flock.parent.mkdir()
        kind = self.rng.choice(list(_KINDS))
        with_log = kind in _OF_LOGS
        copied(self.live if with_log else self.base, flock)
        whole = self.entries + (self.more if with_log else [])
        _KINDS[kind](self, flock)
        damaged = {end: _bytes(flock, end) for end in ENDS}
        now_there = self._told(kind, flock, whole)
        if now_there == "told":
            self._same_as_damaged(kind, flock, damaged)
        for end, data in damaged.items():
            beside = flock.with_name(flock.name + end)
            beside.unlink(missing_ok=True)
            if data is not None:
                beside.write_bytes(data)
        self._way_back(kind, flock, whole)

    def _told(self, kind: str, flock: Path, whole: list[Entry]) -> str:
        """What today, log and the server say. Raises Failure for a wrong answer in silence."""
        today = quail(flock, "today", "--json", "--on", ON)
        right = today.code == 0 and today.out == self._today_of(whole)
        if today.code == 0 and not right:
            raise Failure(f"{kind}: today answers something else in silence")
        if today.code == 3:
            self._names_the_way(kind, flock, today.err)
        served = apart(lambda: self._serve(flock))
        if served.code == 99:
            raise Failure(f"{kind}: the server crashed: {served.err[-2000:]}")
        if served.code == 3:
            self._names_the_way(kind, flock, served.err)
        if not right and served.code == 0:
            raise Failure(f"{kind}: the server did not notice")
        log = quail(flock, "log", "care", "task=water", f"at={ON}", "place=pen")
        if today.code == 3 and log.code == 0:
            raise Failure(f"{kind}: today refuses and log writes")
        if log.code == 0:
            after = held(flock)
            if after[:-1] != whole:
                raise Failure(f"{kind}: log wrote on something else")
        told = "told" if today.code == 3 else "told" if served.code == 3 or log.code == 3 else ""
        when = (
            "at once, by every command" if today.code == 3
            else "when the first entry is written, and by the server" if log.code == 3
            else "by the server" if served.code == 3
            else ""
        )  # fmt: skip
        if not when:
            check = quail(flock, "journal", "check")
            when = "by journal check alone" if check.code == 3 else "no harm"
            if when == "no harm":
                when = self._harm(flock)
        self.counts[f"damage, {kind}: {when}"] += 1
        return told

    def _harm(self, flock: Path) -> str:
        """Whether what is not entries was altered and nobody said so."""
        now, before = self._rows(flock), self._rows(self.base)
        differ = sorted(table for table in before if now.get(table) != before[table])
        differ = [table for table in differ if table not in ("entry", "sqlite_sequence")]
        return f"NOT TOLD, altered: {', '.join(differ)}" if differ else "no harm"

    def _rows(self, flock: Path) -> dict[str, list[str]]:
        with closing(sqlite3.connect(f"file:{flock}?mode=ro", uri=True)) as raw:
            tables = [
                row[0] for row in raw.execute("SELECT name FROM sqlite_master WHERE type='table'")
            ]
            rows = {t: raw.execute(f'SELECT * FROM "{t}"').fetchall() for t in tables}
        return {table: sorted(map(repr, each)) for table, each in rows.items()}

    def _today_of(self, whole: list[Entry]) -> str:
        key = str(len(whole))
        known: dict[str, str] = self.__dict__.setdefault(
            "_todays", {str(len(self.entries)): self.today.out}
        )
        if key not in known:
            there = self.folder / "whole.sqlite"
            append(there, whole)
            known[key] = quail(there, "today", "--json", "--on", ON).out
        return known[key]

    def _serve(self, flock: Path) -> int:
        """Serving begins, a page is asked for, and the file is read through, as by the chore."""
        client, store = self._client(flock)
        answer = client.get("/")
        if answer.status_code == 500:
            raise RuntimeError(answer.text)
        try:
            store.check()
        finally:
            store.close()
        return 0

    def _names_the_way(self, kind: str, flock: Path, text: str) -> None:
        no_flock = "not a flock file" in text or "next to nothing" in text
        named = all(step in text for step in WAY_BACK)
        if str(flock) not in text or not (named or no_flock or "Update quailwright" in text):
            raise Failure(f"{kind}: the sentence does not tell the way back: {text}")
        if not named:
            self.counts[f"damage, said to be no flock file: {kind}"] += 1

    def _same_as_damaged(self, kind: str, flock: Path, before: dict[str, bytes | None]) -> None:
        for end in ("", "-wal"):
            if (_bytes(flock, end) or b"") != (before[end] or b""):
                self.counts[f"damage told, and {end or 'the file'} written meanwhile: {kind}"] += 1

    def _way_back(self, kind: str, flock: Path, whole: list[Entry]) -> None:
        """Salvage, restore, import: all that the backup has and all that can be read, in order."""
        readable = [entry for entry, _ in salvage(flock).entries] if flock.exists() else []
        rescued = str(flock.with_name("rescued.jsonl"))
        out = quail(flock, "journal", "salvage", rescued)
        if out.code not in (0, 1):
            raise Failure(f"{kind}: salvage: {out.err}")
        back = quail(flock, "restore", str(self.backup), "--replace")
        if back.code:
            raise Failure(f"{kind}: restore: {back.err}")
        taken = quail(flock, "journal", "import", rescued, "--as-found")
        if taken.code:
            raise Failure(f"{kind}: import: {taken.err}")
        saved = self.entries[:BEFORE_BACKUP]
        in_backup = {entry.id for entry in saved}
        expected = saved + [entry for entry in readable if entry.id not in in_backup]
        if held(flock) != expected:
            raise Failure(f"{kind}: after the way back other entries stand")
        since = {entry.id for entry in whole} - in_backup
        self.sums[f"{kind}: entries since the backup"] += len(since)
        self.sums[f"{kind}: of them got back"] += len([e for e in expected if e.id in since])
        if not {encode(e) for e in expected} <= {encode(e) for e in whole}:
            raise Failure(f"{kind}: an entry came back that was never written so")

    # A full disk.

    def full(self, disk: Path, what: str) -> None:
        """A disk with so many pages left, a command on it, and the same once there is room."""
        flock = disk / "flock.sqlite"
        for left in disk.iterdir():
            if left.name != "lost+found":
                shutil.rmtree(left) if left.is_dir() else left.unlink()
        (disk / "room").write_bytes(b"\1" * 400_000)
        start: list[Entry] = list(self.entries)
        if what == "migration":
            self._old_schema(flock)
        elif what == "demo":
            start = []
        else:
            copied(self.older if what == "restore" else self.base, flock)
            start = self.entries[:BEFORE_BACKUP] if what == "restore" else start
        spare = self.rng.choice([*range(12), *range(12, 90, 3)])
        _fill(disk / "fill", spare)
        work = self._full_work(what, flock, disk)
        first = apart(work)
        sentence = (first.err + first.out).strip()
        if first.code not in (0, 1, 2, 3) or any(sign in sentence for sign in FAULTY):
            raise Failure(f"full {what}, {spare} pages: {first.code} {sentence[-2000:]}")
        if first.code and not sentence:
            raise Failure(f"full {what}, {spare} pages: {first.code} and no sentence")
        (disk / "fill").unlink()
        ended = "done" if first.code == 0 else f"refused ({first.code})"
        self.counts[f"full disk, {what}: {ended}"] += 1
        if start and first.code and held(flock) != start:
            raise Failure(f"full {what}, {spare} pages: half written")
        (disk / "room").unlink()
        again = apart(work)
        if again.code:
            raise Failure(f"full {what}, {spare} pages: with room {again.code} {again.err[-900:]}")
        if start:
            after = held(flock)
            with open_store(str(flock)) as store:
                store.check()
            if after[: len(start)] != start or len({e.id for e in after}) != len(after):
                raise Failure(f"full {what}, {spare} pages: something is lost or there twice")
        drafts = [path.name for path in disk.iterdir() if path.name.startswith(".")]
        if drafts:
            raise Failure(f"full {what}, {spare} pages: these were left: {drafts}")

    def _old_schema(self, flock: Path) -> None:
        import sqlalchemy as sa

        copied(self.base, flock)
        with closing(sqlite3.connect(flock)) as raw, raw:
            for table in ("notice_message", "notice", "channel"):
                raw.execute(f"DROP TABLE IF EXISTS {table}")
        engine = sa.create_engine(f"sqlite:///{flock}.draft")
        with engine.begin() as connection:
            upgrade_within(connection, "0007")
        with closing(sqlite3.connect(f"{flock}.draft")) as raw, raw:
            raw.execute(f"ATTACH '{flock}' AS old")
            for table in ("entry", "sensor", "reading"):
                with suppress(sqlite3.Error):
                    raw.execute(f"INSERT INTO main.{table} SELECT * FROM old.{table}")
            (count,) = raw.execute("SELECT count(*) FROM entry").fetchone()
            assert count == len(self.entries)
        engine.dispose()
        for end in ("", "-wal", "-shm"):
            flock.with_name(flock.name + end).unlink(missing_ok=True)
        Path(f"{flock}.draft").replace(flock)

    def _full_work(self, what: str, flock: Path, disk: Path) -> Callable[[], object]:
        where = str(flock)

        def command(*words: str) -> Callable[[], object]:
            def do() -> None:
                sys.argv = ["quailwright", *words, "--flock", where]
                run_command()

            return do

        if what == "import":
            many = self.folder / "many.jsonl"
            lines = journal(10_000, 400, Random(3))
            many.write_bytes(b"".join(encode(entry) + b"\n" for entry in lines))
            return command("journal", "import", str(many))
        if what == "spreadsheet":
            return command(
                "tables", "import", str(self._sheet()), "--match", str(self.folder / "m.toml")
            )
        if what == "readings":
            return lambda: self._post_readings(flock)
        if what == "entry over HTTP":
            return lambda: self._post_entry(flock)
        if what == "thinning":
            return lambda: self._thin(flock)
        return {
            "log": command("log", "care", "task=water", f"at={ON}", "place=pen"),
            "migration": command("today", "--on", ON),
            "backup": command("backup", str(disk / "b.zip")),
            "restore": command("restore", str(self.backup), "--replace"),
            "demo": command("demo", "--no-serve", "--on", ON),
        }[what]

    def _sheet(self) -> Path:
        sheet, match = self.folder / "eggs.csv", self.folder / "m.toml"
        if not match.exists():
            rows = [f"2026-04-{n % 30 + 1:02},hens,{n % 9}" for n in range(30)]
            sheet.write_text("date,group,eggs\n" + "\n".join(rows) + "\n")
            flock = copied(self.base, self.folder / "sheet.sqlite")
            quail(
                flock,
                "tables",
                "import",
                str(sheet),
                "--kind",
                "eggs_collected",
                "--write-match",
                str(match),
            )
        return sheet

    def _client(self, flock: Path) -> tuple[TestClient, Store]:
        app = create_app(Settings(str(flock), lambda: NOW, invented=True))
        store: Store = app.state.home.desk.store
        client = TestClient(app, base_url="http://localhost")
        client.get("/more")  # its cookie makes the token good
        return client, store

    def _post(self, flock: Path, path: str, body: bytes) -> int:
        client, store = self._client(flock)
        token = client.get("/api/me").json()["token"]
        answer = client.post(path, content=body, headers={"X-Write-Token": token})
        store.close()
        print(answer.text[:500])
        return {200: 0, 201: 0, 503: 3, 422: 2, 409: 1}.get(answer.status_code, 99)

    def _post_readings(self, flock: Path) -> int:
        rows = [f"2026-05-01T{n // 60:02}:{n % 60:02}:00Z,{20 + n % 7 / 4},50" for n in range(1440)]
        body = "time,temperature_c,humidity_pct\n" + "\n".join(rows) + "\n"
        return self._post(flock, "/api/readings?place=pen&instrument=new", body.encode())

    def _post_entry(self, flock: Path) -> int:
        entry = Care(id=name(77_777), at=ON, task="water", place="pen", note="y" * 900)
        return self._post(flock, "/api/entries", encode(entry))

    def _thin(self, flock: Path) -> None:
        later = datetime.fromtimestamp(1_770_000_000, UTC) + timedelta(days=300)
        with open_store(str(flock)) as store:
            thin(store, fold(store.entries()), later)

    # Read only.

    def read_only(self, disk: Path | None) -> None:
        """A file, a folder and a whole file system that may only be read."""
        what = self.rng.choice(["file", "folder", "file system"])
        if what == "file system" and disk is None:
            what = "file"
        folder = disk if what == "file system" and disk else self.folder / "read only"
        folder.mkdir(exist_ok=True)
        folder.chmod(0o777)
        flock = copied(self.live if self.rng.random() < 0.5 else self.base, folder / "flock.sqlite")
        whole = held(copied(flock, self.folder / "whole copy.sqlite"))
        for end in ENDS:
            with suppress(OSError):
                flock.with_name(flock.name + end).chmod(0o444 if what != "file system" else 0o666)
        if what == "folder":
            folder.chmod(0o555)
        user = 65_534 if os.geteuid() == 0 else None
        # What another user may not load from here is loaded before.
        warm = copied(self.base, self.folder / "warm.sqlite")
        self._serve_ro(warm, log=False)
        if what == "file system":
            apart(lambda: self._remounted(flock, folder), None)
            user = None
        try:
            today = quail(flock, "today", "--json", "--on", ON, user=user)
            log = quail(flock, "log", "care", "task=water", f"at={ON}", "place=pen", user=user)
            page = apart(lambda: self._serve_ro(flock), user)
            if log.code != 3 or "may not be written" not in log.err + "":
                raise Failure(f"read-only {what}: log said {log}")
            if today.code == 0 and today.out != self._today_of(whole):
                raise Failure(f"read-only {what}: today answers something else in silence")
            if page.code != 0:
                raise Failure(f"read-only {what}: page {page}")
            answered = "reads" if today.code == 0 else "does not read: " + today.err.strip()
            self.counts[f"read-only {what}: {answered}; writing refused"] += 1
        finally:
            if what == "file system":
                subprocess.run(["mount", "-o", "remount,rw", str(folder)], check=True)
            folder.chmod(0o777)
            if what != "file system":
                shutil.rmtree(folder)

    def _remounted(self, flock: Path, folder: Path) -> None:
        """While it is served, the disk becomes one that is only read."""
        client, store = self._client(flock)
        client.get("/")
        token = client.get("/api/me").json()["token"]
        subprocess.run(["mount", "-f", "-o", "remount,ro", str(folder)], check=False)
        os.sync()
        store.close()
        subprocess.run(["mount", "-o", "remount,ro", str(folder)], check=True)
        del token

    def _serve_ro(self, flock: Path, log: bool = True) -> int:
        client, store = self._client(flock)
        page = client.get("/")
        token = client.get("/api/me").json()["token"]
        body = encode(Care(id=name(5_555), at=ON, task="water"))
        kept = client.post("/api/entries", content=body, headers={"X-Write-Token": token})
        store.close()
        if not log:
            return 0
        if page.status_code != 200 or kept.status_code != 503 or "may not be" not in kept.text:
            print(page.status_code, kept.status_code, kept.text, file=sys.stderr)
            return 5
        return 0

    # Another file in its place; two programs.

    def replaced(self) -> None:
        """Another file is put in the place of one that is served, by hand."""
        folder = self.folder / "replaced"
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        flock = copied(self.base, folder / "flock.sqlite")
        other = copied(self.older, folder / "new.sqlite")
        other.with_name("new.sqlite-last").unlink(missing_ok=True)
        gone = self.rng.random() < 0.3
        between = self.rng.random() < 0.4
        said = apart(lambda: self._served_and_replaced(flock, other, gone, between))
        if said.code:
            raise Failure(f"replaced (gone {gone}, a log between {between}): {said}")
        self.counts[f"replaced while served: {said.out.strip()}"] += 1

    def _served_and_replaced(self, flock: Path, other: Path, gone: bool, between: bool) -> int:
        client, store = self._client(flock)
        token = client.get("/api/me").json()["token"]

        def post(n: int) -> Any:
            entry = Care(id=name(n), at=ON, task="water", place="pen")
            return client.post(
                "/api/entries", content=encode(entry), headers={"X-Write-Token": token}
            )

        first = post(90_000)
        assert first.status_code in (200, 201), first.text
        if gone:
            flock.replace(flock.with_name("away.sqlite"))
            answer = post(90_001)
            assert answer.status_code == 503, answer.text
            assert "is not there any more" in answer.text, answer.text
            assert not flock.exists()
            flock.with_name("away.sqlite").replace(flock)
            assert post(90_001).status_code in (200, 201)
            store.close()
            assert [e.id for e in held(flock)][-2:] == [name(90_000), name(90_001)]
            print("moved away, told, and put back")
            return 0
        other.replace(flock)
        if between:
            log = quail(flock, "log", "care", "task=between", f"at={ON}", "place=pen")
            assert log.code == 3, log
        answer = post(90_001)
        assert answer.status_code == 503, answer.text
        assert "Another file was put in the place" in answer.text, answer.text
        assert post(90_001).status_code in (200, 201)
        store.close()
        flock.with_name("flock.sqlite-last").unlink(missing_ok=True)
        assert held(flock) == [
            *self.entries[:BEFORE_BACKUP],
            Care(id=name(90_001), at=ON, task="water", place="pen"),
        ]
        print("told once, then used" + (", a log in between refused" if between else ""))
        return 0

    def two(self) -> None:
        """Command lines and two servers that write into one file at once."""
        folder = self.folder / "two"
        shutil.rmtree(folder, ignore_errors=True)
        folder.mkdir()
        flock = copied(self.base, folder / "flock.sqlite")
        each = 12
        workers = [("server", 1), ("server", 2), ("log", 3), ("log", 4), ("import", 5)]
        children = []
        for kind, number in workers:
            child = os.fork()
            if child == 0:
                done: list[str] = []
                try:
                    self._writes(flock, kind, number * 1000 + 100_000, each, done)
                finally:
                    (folder / f"done-{number}").write_bytes(pickle.dumps(done))
                    os._exit(0)
            children.append(child)
        for child in children:
            os.waitpid(child, 0)
        acknowledged: list[str] = []
        for _, number in workers:
            mine = pickle.loads((folder / f"done-{number}").read_bytes())
            acknowledged += mine
            self.sums["two programs: entries acknowledged"] += len(mine)
        after = [entry.id for entry in held(flock)]
        if len(set(after)) != len(after) or set(acknowledged) - set(after):
            raise Failure("two programs: an acknowledged entry is lost, or there twice")
        for _, number in workers:
            mine = pickle.loads((folder / f"done-{number}").read_bytes())
            if [one for one in after if one in set(mine)] != mine:
                raise Failure("two programs: out of order")
        with open_store(str(flock)) as store:
            store.check()
        self.counts["two programs: rounds"] += 1

    def _writes(self, flock: Path, kind: str, first: int, count: int, done: list[str]) -> None:
        if kind == "server":
            client, store = self._client(flock)
            token = client.get("/api/me").json()["token"]
            for n in range(first, first + count):
                body = encode(Care(id=name(n), at=ON, task="water", place="pen"))
                answer = client.post("/api/entries", content=body, headers={"X-Write-Token": token})
                if answer.status_code in (200, 201):
                    done.append(name(n))
            store.close()
        elif kind == "log":
            for n in range(first, first + count // 3):
                words = ("care", "task=water", "place=pen", f"at={ON}", f"id={name(n)}")
                if quail(flock, "log", *words).code == 0:
                    done.append(name(n))
        else:
            lines = journal(first, 300, Random(first))
            many = flock.with_name("many.jsonl")
            many.write_bytes(b"".join(encode(entry) + b"\n" for entry in lines))
            if quail(flock, "journal", "import", str(many)).code == 0:
                done.extend(entry.id for entry in lines)


_OTHERS = [
    Care(id=name(500_000 + n), at=ON, task="wash", place="shed", note="z" * (n * 20))
    for n in range(60)
]


def _bytes(flock: Path, end: str) -> bytes | None:
    beside = flock.with_name(flock.name + end)
    return beside.read_bytes() if beside.exists() else None


# Kinds of damage: each changes a copy of a flock file.


def _changed(flock: Path, change: Callable[[bytearray], bytearray | None], end: str = "") -> None:
    beside = flock.with_name(flock.name + end)
    data = bytearray(beside.read_bytes())
    beside.write_bytes(change(data) or data)


def _random_bytes(run: Run, flock: Path) -> None:
    def change(data: bytearray) -> None:
        for _ in range(run.rng.choice([1, 3, 20, 100])):
            data[run.rng.randrange(len(data))] = run.rng.randrange(256)

    _changed(flock, change)


def _one_bit(run: Run, flock: Path) -> None:
    def change(data: bytearray) -> None:
        data[run.rng.randrange(len(data))] ^= 1 << run.rng.randrange(8)

    _changed(flock, change)


def _bit_of_an_entry(run: Run, flock: Path) -> None:
    body = encode(run.rng.choice([e for e in run.entries if len(e.note) < 100]))

    def change(data: bytearray) -> None:
        at = data.find(body) + run.rng.randrange(len(body))
        data[at] ^= 1 << run.rng.randrange(8)

    _changed(flock, change)


def _pages(change: Callable[[Random, list[bytes]], None]) -> Callable[[Run, Path], None]:
    def do(run: Run, flock: Path) -> None:
        def pages(data: bytearray) -> bytearray:
            each = [bytes(data[n : n + PAGE]) for n in range(0, len(data), PAGE)]
            change(run.rng, each)
            return bytearray(b"".join(each))

        _changed(flock, pages)

    return do


def _zeroed(rng: Random, pages: list[bytes]) -> None:
    for n in rng.sample(range(len(pages)), rng.choice([1, 1, 2, 8])):
        pages[n] = bytes(PAGE)


def _noise(rng: Random, pages: list[bytes]) -> None:
    pages[rng.randrange(len(pages))] = rng.randbytes(PAGE)


def _swapped(rng: Random, pages: list[bytes]) -> None:
    a, b = rng.sample(range(len(pages)), 2)
    pages[a], pages[b] = pages[b], pages[a]


def _misplaced(rng: Random, pages: list[bytes]) -> None:
    a, b = rng.sample(range(len(pages)), 2)
    pages[a] = pages[b]


def _cut_at_a_page(rng: Random, pages: list[bytes]) -> None:
    del pages[rng.randrange(len(pages)) :]


def _stale_page(run: Run, flock: Path) -> None:
    """A page as it was before the last entries came."""
    old = run.older.read_bytes()

    def change(data: bytearray) -> None:
        differ = [n for n in range(0, len(old), PAGE) if old[n : n + PAGE] != data[n : n + PAGE]]
        n = run.rng.choice(differ)
        data[n : n + PAGE] = old[n : n + PAGE]

    _changed(flock, change)


def _cut_anywhere(run: Run, flock: Path) -> None:
    _changed(flock, lambda data: data[: run.rng.randrange(len(data))])


def _older_file(run: Run, flock: Path) -> None:
    shutil.copy(run.older, flock)


def _gone(run: Run, flock: Path) -> None:
    flock.write_bytes(b"")


def _log_lost(run: Run, flock: Path) -> None:
    for end in ("-wal", "-shm") if run.rng.random() < 0.5 else ("-wal",):
        flock.with_name(flock.name + end).unlink()


def _log_stale(run: Run, flock: Path) -> None:
    shutil.copy(f"{run.half_live}-wal", f"{flock}-wal")


def _log_of_another(run: Run, flock: Path) -> None:
    shutil.copy(f"{run.other}-wal", f"{flock}-wal")
    if run.rng.random() < 0.5:
        flock.with_name(flock.name + "-shm").unlink()


def _log_on_an_older_file(run: Run, flock: Path) -> None:
    shutil.copy(run.older, flock)


def _log_bytes(run: Run, flock: Path) -> None:
    def change(data: bytearray) -> None:
        for _ in range(run.rng.choice([1, 3, 20])):
            data[run.rng.randrange(len(data))] = run.rng.randrange(256)

    _changed(flock, change, "-wal")


def _log_cut(run: Run, flock: Path) -> None:
    _changed(flock, lambda data: data[: run.rng.randrange(1, len(data))], "-wal")


_KINDS: dict[str, Callable[[Run, Path], None]] = {
    "random bytes": _random_bytes,
    "one bit anywhere": _one_bit,
    "one bit of an entry": _bit_of_an_entry,
    "pages zeroed": _pages(_zeroed),
    "a page of noise": _pages(_noise),
    "two pages swapped": _pages(_swapped),
    "a page written elsewhere too": _pages(_misplaced),
    "a page of older days": _stale_page,
    "cut at a page": _pages(_cut_at_a_page),
    "cut anywhere": _cut_anywhere,
    "emptied": _gone,
    "an older copy": _older_file,
    "log lost": _log_lost,
    "log of earlier": _log_stale,
    "log of another flock": _log_of_another,
    "older copy, newer log": _log_on_an_older_file,
    "log: random bytes": _log_bytes,
    "log cut": _log_cut,
}
_OF_LOGS = frozenset(kind for kind in _KINDS if "log" in kind)
_WORKS = (
    "log", "import", "spreadsheet", "readings", "entry over HTTP", "migration", "backup", "restore",
    "thinning", "demo",
)  # fmt: skip


def _fill(path: Path, spare_pages: int) -> None:
    """Fills a disk up to so many pages."""
    with path.open("wb", buffering=0) as stream, suppress(OSError):
        while True:
            stream.write(b"\1" * 65_536)
    with path.open("ab", buffering=0) as stream, suppress(OSError):
        while stream.write(b"\1" * 512):
            pass
    os.sync()
    size = max(0, path.stat().st_size // PAGE - spare_pages) * PAGE
    os.truncate(path, size)
    os.sync()


@contextmanager
def small_disk(folder: Path, megabytes: int) -> Iterator[Path | None]:
    """A file system of its own; None where it cannot be made (no root, no loop device)."""
    image, place = folder / "disk.img", folder / "disk"
    place.mkdir()
    made = False
    try:
        with image.open("wb") as stream:
            stream.truncate(megabytes * 1_000_000)
        with suppress(OSError, subprocess.CalledProcessError):
            quiet: dict[str, Any] = {"check": True, "capture_output": True}
            subprocess.run(["mkfs.ext4", "-q", "-m", "0", "-b", "4096", str(image)], **quiet)
            subprocess.run(["mount", "-o", "loop", str(image), str(place)], **quiet)
            made = True
        yield place if made else None
    finally:
        if made:
            subprocess.run(["umount", str(place)], check=False)


def main() -> int:
    """Runs the rounds, and tells what happened."""
    parser = argparse.ArgumentParser(description=__doc__)
    kinds = ("full", "read-only", "damage", "replaced", "two")
    for kind in kinds:
        parser.add_argument(f"--{kind}", type=int, default=0, metavar="N")
    parser.add_argument("--seed", type=int, default=time.time_ns() % 2**32)
    asked = parser.parse_args()
    folder, began = Path(tempfile.mkdtemp(prefix="disk-faults-")), time.monotonic()
    folder.chmod(0o755)
    os.environ["QUAILWRIGHT_TRACEBACK"] = ""
    run = Run(folder, Random(asked.seed))
    rounds = {kind: getattr(asked, kind.replace("-", "_")) for kind in kinds}
    kept = False
    try:
        with small_disk(folder, 30) as disk:
            if disk is None and (rounds["full"] or rounds["read-only"]):
                print("Left out: full disks and read-only file systems (they need root).")
                rounds["full"] = 0
            for kind, count in rounds.items():
                for number in range(count):
                    where = f"round {number} of --{kind}, seed {asked.seed}"
                    try:
                        if kind == "full" and disk is not None:
                            run.full(disk, _WORKS[number % len(_WORKS)])
                        elif kind == "read-only":
                            run.read_only(disk)
                        elif kind != "full":
                            getattr(run, kind)()
                    except (Failure, QuailwrightError, AssertionError) as error:
                        print(f"{where}: {error}; the files are in {folder}")
                        kept = True
                        return 1
    finally:
        for what, count in sorted(run.counts.items()):
            print(f"{count:6,}  {what}")
        for what, count in sorted(run.sums.items()):
            print(f"{count:6,}  {what}")
        total = ", ".join(f"{count} of --{kind}" for kind, count in rounds.items() if count)
        print(f"{total}; seed {asked.seed}, {time.monotonic() - began:.0f} s")
        if not kept:
            shutil.rmtree(folder)
    print("no failure")
    return 0


if __name__ == "__main__":
    signal.signal(signal.SIGPIPE, signal.SIG_DFL)
    sys.exit(main())
