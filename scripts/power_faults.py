"""The plug is pulled: what was acknowledged is there, whatever the disk had not written yet.

`power_faults.py [--states N] [--seed N] [--only WORD]`. Each scenario runs the true command under
`strace` and takes down what it writes, syncs, names and answers. From that the states of the disk
are built in which a crash may leave it, and each is opened by today's program:

- of every file what was written before its last fsync or fdatasync is there; of later writes any
  subset, one of them torn at sectors of 512 or 4,096 bytes;
- a name given, changed or taken away is there for certain once its folder was synced after it;
  before that any subset of such changes is, each by itself whole.

That is less than common file systems keep (they keep the order of names, and give a new file its
name with its first fsync): T. S. Pillai and others, 2014, "All File Systems Are Not Created Equal".
So many states for each scenario: at every sync, name and answer nothing and all of what was not
synced; the rest at instants drawn. The first failure ends the run and leaves the files to look at.
"""

import argparse
import json
import os
import re
import shutil
import signal
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime
from http import HTTPStatus
from importlib import import_module
from itertools import pairwise
from pathlib import Path
from random import Random

from scripts.kill_clients import PASSPHRASE, TOKEN, Client, free_port, write_token
from scripts.kill_faults import Failure, cares, earlier_flock, flock, raw, reopened, strike

from quailwright.exchange import backups
from quailwright.exchange.household import Household
from quailwright.journal.entries import Entry, as_dict, encode
from quailwright.journal.findings import QuailwrightError
from quailwright.journal.store import SCHEMA, open_store

NOW = datetime(2027, 5, 2, 20, 0, tzinfo=UTC)
TRACED = (
    "openat,write,pwrite64,writev,pwritev,lseek,close,fsync,fdatasync,ftruncate,fallocate,"
    "rename,renameat,renameat2,unlink,unlinkat,link,linkat,mkdir,mkdirat,rmdir,dup,dup2,dup3,"
    "copy_file_range,sendfile,sendto"
)
SENT = 15
"""Entries that the server takes, one after another."""
FOLDER = -1
"""Stands for a folder where a name leads to it."""


@dataclass(frozen=True)
class Event:
    """One thing done: `write` (bytes at an offset of a file), `cut` (to a size), `sync` (of a
    file), `names` (each name with the file that it now leads to, or None), `sync_folder`, or
    `answer` (what was printed)."""

    what: str
    file: int = 0
    at: int = 0
    data: bytes = b""
    names: tuple[tuple[str, int | None], ...] = ()
    folder: str = ""


@dataclass
class Recorded:
    """What stood on the disk before (files by number), and what was then done."""

    root: Path
    names: dict[str, int] = field(default_factory=dict)
    files: list[bytes] = field(default_factory=list)
    events: list[Event] = field(default_factory=list)


# Recording.

_CALL = re.compile(r"^\d+ +(\w+)\((.*)\) += (-?\d+)")
_HEX = re.compile(r'"((?:\\x[0-9a-f]{2})*)"')
_OF_FILE = re.compile(r"^(\d+)")


def record(folder: Path, words: list[str], ask: Callable[[], None] | None = None) -> Recorded:
    """Runs the command line under strace, and takes down what it does below the folder.

    With `ask` it is a server, which is stopped in order once that has asked it everything.
    """
    made = Recorded(folder)
    for path in sorted(folder.rglob("*")):
        name = str(path.relative_to(folder))
        made.names[name] = FOLDER if path.is_dir() else len(made.files)
        if path.is_file():
            made.files.append(path.read_bytes())
    with tempfile.TemporaryDirectory() as apart:
        log = Path(apart, "trace")
        command = ["strace", "-f", "-xx", "-s", "100000000", "-o", str(log), "-e", TRACED]
        with subprocess.Popen(
            [*command, sys.executable, "-m", "quailwright", *words],
            env={**os.environ, "TMPDIR": apart, "PYTHONDONTWRITEBYTECODE": "1"},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
        ) as running:
            if ask is not None:
                ask()
                whose = Path(f"/proc/{running.pid}/task/{running.pid}/children")
                os.kill(int(whose.read_text().split()[0]), signal.SIGINT)
            told, _ = running.communicate()
        if running.returncode:
            raise Failure(f"{words} ended with {running.returncode}: {told}")
        Reader(made).read(log.read_text())
    check_whole(made)
    return made


class Reader:
    """Reads what strace wrote down."""

    def __init__(self, made: Recorded) -> None:
        self.made = made
        self.now = dict(made.names)
        self.sizes = [len(data) for data in made.files]
        self.open: dict[int, tuple[int, str]] = {}
        self.places: dict[int, int] = {}

    def read(self, text: str) -> None:
        """Takes down every call, those of several threads put together again."""
        begun: dict[str, str] = {}
        for line in text.splitlines():
            process, _, rest = line.partition(" ")
            if rest.endswith("<unfinished ...>"):
                begun[process] = line.removesuffix("<unfinished ...>")
                continue
            if "<... " in rest:
                line = begun.pop(process) + rest.partition(" resumed>")[2]
            if found := _CALL.match(line):
                self._call(found[1], found[2], int(found[3]))

    def _name(self, path: str) -> str | None:
        """A path below the folder, as a name."""
        with_root = f"{self.made.root}/"
        if path == str(self.made.root):
            return "."
        return path.removeprefix(with_root) if path.startswith(with_root) else None

    def _did(self, event: Event) -> None:
        self.made.events.append(event)

    def _names(self, *names: tuple[str, int | None]) -> None:
        for name, file in names:
            if file is None:
                self.now.pop(name, None)
            else:
                self.now[name] = file
        self._did(Event("names", names=names, folder=_folder(names[-1][0])))

    def _call(self, call: str, words: str, answer: int) -> None:
        if answer < 0:
            return
        texts = [bytes.fromhex(hexed.replace("\\x", "")) for hexed in _HEX.findall(words)]
        number = int(found[1]) if (found := _OF_FILE.match(words)) else -1
        if call == "openat":
            self._opened(texts[0].decode(), words, answer)
        elif call == "sendto":
            self._did(Event("answer", data=texts[0]))
        elif call in ("write", "pwrite64"):
            self._written(call, number, texts[0], words, answer)
        elif call in ("rename", "renameat", "renameat2", "link", "linkat"):
            old, new = (self._name(text.decode()) for text in texts)
            if old is None or new is None:
                return
            if old not in self.now:
                raise Failure(f"{call} of {old}, which is not known")
            gone = [(old, None)] if call.startswith("rename") else []
            self._names(*gone, (new, self.now[old]))
        elif call in ("unlink", "unlinkat", "rmdir", "mkdir", "mkdirat"):
            name = self._name(texts[0].decode())
            if name is not None:
                self._names((name, FOLDER if call.startswith("mkdir") else None))
        elif number in self.open:
            self._of_open(call, number, words, answer)

    def _opened(self, path: str, words: str, answer: int) -> None:
        self.open.pop(answer, None)
        name = self._name(path)
        if name is None:
            return
        file = self.now.get(name, FOLDER if name == "." else None)
        if file is None:
            self.sizes.append(0)
            self.made.files.append(b"")
            file = len(self.made.files) - 1
            self._names((name, file))
        elif "O_TRUNC" in words and file != FOLDER:
            self._did(Event("cut", file, 0))
            self.sizes[file] = 0
        self.open[answer] = file, name
        self.places[answer] = 0

    def _written(self, call: str, number: int, data: bytes, words: str, answer: int) -> None:
        if number in (1, 2):
            self._did(Event("answer", data=data))
        if number not in self.open:
            return
        file, _ = self.open[number]
        if call == "pwrite64":
            at = int(words.rpartition(", ")[2])
        else:
            at = self.places[number]
            self.places[number] += answer
        self.sizes[file] = max(self.sizes[file], at + answer)
        self._did(Event("write", file, at, data[:answer]))

    def _of_open(self, call: str, number: int, words: str, answer: int) -> None:
        file, name = self.open[number]
        if call == "close":
            del self.open[number]
        elif call == "lseek":
            self.places[number] = answer
        elif call in ("fsync", "fdatasync"):
            if file == FOLDER:
                self._did(Event("sync_folder", folder=name))
            else:
                self._did(Event("sync", file))
        elif call == "ftruncate":
            self._did(Event("cut", file, int(words.rpartition(", ")[2])))
        else:
            raise Failure(f"{call} is not understood: {words[:200]}")


def _folder(name: str) -> str:
    return str(Path(name).parent)


# The states that a crash may leave.


def _kept(file: bytearray, event: Event, sectors: list[tuple[int, int]] | None = None) -> None:
    if event.what == "cut":
        del file[event.at :]
        file.extend(bytes(max(0, event.at - len(file))))
        return
    for begin, end in sectors or [(0, len(event.data))]:
        first, last = event.at + begin, event.at + end
        file.extend(bytes(max(0, last - len(file))))
        file[first:last] = event.data[begin:end]


def _torn(event: Event, rng: Random) -> list[tuple[int, int]]:
    """Some sectors of a write."""
    sector = rng.choice([512, 4096])
    edges = [0, *range(sector - event.at % sector, len(event.data), sector), len(event.data)]
    parts = list(pairwise(edges))
    if rng.random() < 0.5:
        return parts[: rng.randrange(len(parts))] or [(0, 0)]
    return [part for part in parts if rng.random() < 0.5] or [(0, 0)]


def crashed(made: Recorded, until: int, how: str, rng: Random) -> dict[str, bytes | None]:
    """The files by name (None: a folder) after a crash once so many events were done.

    `how`: `none` or `all` of what was not synced, `some` of it, or the `first` part of it.
    """
    done = made.events[:until]
    synced: dict[int, int] = {}
    folders: dict[str, int] = {}
    for number, event in enumerate(done):
        if event.what == "sync":
            synced[event.file] = number
        elif event.what == "sync_folder":
            folders[event.folder] = number
    share, last = rng.choice([0.1, 0.5, 0.9]), rng.randrange(until + 1)
    files = [bytearray(data) for data in made.files]
    names = dict(made.names)
    kept: list[tuple[int, Event]] = []
    for number, event in enumerate(done):
        if event.what in ("write", "cut"):
            durable = number < synced.get(event.file, -1)
        elif event.what == "names":
            durable = number < folders.get(event.folder, -1)
        else:
            continue
        chosen = {"none": False, "all": True, "first": number < last}.get(how)
        if durable or (rng.random() < share if chosen is None else chosen):
            kept.append((number, event))
    loose = [number for number, event in kept
             if event.what == "write" and number > synced.get(event.file, -1)]  # fmt: skip
    torn = rng.choice(loose) if loose and how in ("some", "first") else None
    if how == "first" and loose:
        torn = loose[-1]
    for number, event in kept:
        if event.what == "names":
            for name, file in event.names:
                if file is None:
                    names.pop(name, None)
                else:
                    names[name] = file
        else:
            _kept(files[event.file], event, _torn(event, rng) if number == torn else None)
    return {
        name: None if file == FOLDER else bytes(files[file])
        for name, file in names.items()
        if all(str(above) in names for above in list(Path(name).parents)[:-1])
    }


def check_whole(made: Recorded) -> None:
    """That with all kept the files are those that the program left: no call was missed."""
    found = crashed(made, len(made.events), "all", Random(0))
    there = {
        str(path.relative_to(made.root)): None if path.is_dir() else path.read_bytes()
        for path in made.root.rglob("*")
    }
    for name in {*found, *there}:
        if not name.endswith("-shm") and found.get(name, b"?") != there.get(name, b"?"):
            raise Failure(f"{name} was not followed rightly")


# What is tried.

Check = Callable[[Path, int], None]
"""Looks at the files, after so many acknowledgements."""


@dataclass(frozen=True)
class Scenario:
    """A command on files, the words that acknowledge it, and what must hold after a crash."""

    name: str
    words: list[str]
    answer: str
    check: Check
    ask: Callable[[], None] | None = None


def notes(path: Path) -> list[str]:
    """The notes of the entries of a sound flock file."""
    return [one.note or "" for one in reopened(path)]


def writing(path: Path, old: list[str], new: list[str], may_be_missing: bool = False) -> Check:
    """That the old entries are there, with all of the new or none; with all once acknowledged."""
    name = path.name

    def check(root: Path, acknowledged: int) -> None:
        found = next(root.rglob(name), None)
        if found is None and may_be_missing and not acknowledged:
            return
        if found is None:
            raise Failure("there is no flock file")
        there = notes(found)
        if there != [*old, *new] and (there != old or acknowledged):
            raise Failure(f"{len(there)} entries are there, acknowledged: {acknowledged}")

    return check


class Tried:
    """The scenarios that are asked for, each with the folder that its files stand in."""

    def __init__(self, folder: Path, rng: Random, only: str = "") -> None:
        self.folder, self.only = folder, only
        self.old, self.new, self.left = cares(0, 60, rng), cares(1000, 400, rng), cares(900, 3, rng)
        self.found: list[tuple[Path, Scenario]] = []

    def all(self) -> list[tuple[Path, Scenario]]:
        """Every one whose name begins as asked."""
        for sort in (
            self._logs, self._imports, self._serving, self._migrations, self._backups,
            self._restores,
        ):  # fmt: skip
            sort()
        return self.found

    def _place(self, name: str) -> Path | None:
        """A new folder for that scenario, or None where it is not asked for."""
        if not name.startswith(self.only):
            return None
        made = self.folder / name.replace(" ", "-")
        made.mkdir()
        return made

    def _add(self, root: Path, answer: str, check: Check, *words: str) -> None:
        name = root.name.replace("-", " ")
        self.found.append((root, Scenario(name, list(words), answer, check)))

    def _leave_a_log(self, path: Path) -> None:
        """Writes three more entries as a program that was killed then."""

        def work() -> None:
            with open_store(str(path)).writing() as writer:
                writer.append(self.left, NOW)
            os._exit(0)

        strike(work, self.folder / "told")

    def _logs(self) -> None:
        for name in ("log", "log beside the log of a kill", "log into a new folder"):
            if (root := self._place(name)) is None:
                continue
            path, before = root / "flock.sqlite", list(self.old)
            begins = name.endswith("folder")
            if begins:
                path, before = root / "data" / "quail" / "flock.sqlite", []
            else:
                flock(path, before)
            if name.endswith("kill"):
                self._leave_a_log(path)
                before += self.left
            check = writing(path, [one.note or "" for one in before], ["new"], begins)
            words = ("log", "care", "task=water", "note=new", "--flock", str(path))
            self._add(root, "Kept:", check, *words)

    def _imports(self) -> None:
        if (root := self._place("import")) is None:
            return
        path, lines = root / "flock.sqlite", self.folder / "lines.jsonl"
        flock(path, self.old)
        lines.write_text("".join(json.dumps(as_dict(one)) + "\n" for one in self.new))
        old, new = ([one.note or "" for one in some] for some in (self.old, self.new))
        words = ("journal", "import", str(lines), "--flock", str(path))
        self._add(root, "kept, 0 were", writing(path, old, new), *words)

    def _serving(self) -> None:
        if (root := self._place("server")) is None:
            return
        path, now = root / "flock.sqlite", datetime.now(UTC)
        flock(path, self.old)
        with open_store(str(path)) as store:
            household = Household(store)
            household.begin("Mira", PASSPHRASE, now)
            household.sign_in("Mira", PASSPHRASE, TOKEN, now)
        phone = Client(Random(1), free_port(), threading.Event(), threading.Event())
        sent = self.new[:SENT]

        def ask() -> None:
            for one in sent:
                headers = phone.signed(**{"X-Write-Token": write_token()})
                while (answer := phone.ask("/api/entries", encode(one), headers)) is None:
                    time.sleep(0.1)
                if answer[0] != HTTPStatus.OK:
                    raise Failure(f"refused: {answer}")

        def check(root: Path, acknowledged: int) -> None:
            there = reopened(root / "flock.sqlite")
            more = there[len(self.old) :]
            if there[: len(self.old)] != self.old or more != sent[: len(more)]:
                raise Failure("the entries are not those that were sent, in order")
            if not acknowledged <= len(more) <= acknowledged + 1:
                raise Failure(f"{len(more)} are there, acknowledged: {acknowledged}")

        words = ["serve", "--flock", str(path), "--port", str(phone.port)]
        self.found.append((root, Scenario("server", words, '"written":1', check, ask)))

    def _migrations(self) -> None:
        for number in range(1, int(SCHEMA)):
            schema = f"{number:04}"
            if (root := self._place(f"migration of {schema}")) is None:
                continue
            path = root / "flock.sqlite"
            earlier_flock(path, schema, self.old, 300)
            words = ("journal", "check", "--flock", str(path))
            self._add(root, "is whole", migrated(schema, self.old), *words)

    def _backups(self) -> None:
        for name in ("backup", "backup over an older"):
            if (root := self._place(name)) is None:
                continue
            into = root / "into"
            into.mkdir()
            flock(root / "flock.sqlite", self.old, 300)
            over = name != "backup"
            if over:
                into /= "monday.zip"
                self._backup_of(self.old[:20], into)
            words = ("backup", str(into), "--flock", str(root / "flock.sqlite"))
            self._add(root, "found equal", backed_up(self.old, over), *words)

    def _backup_of(self, entries: list[Entry], path: Path) -> None:
        whose = self.folder / f"of-{path.name}.sqlite"
        flock(whose, entries, 300)
        with open_store(str(whose)) as store:
            backups.back_up(store, path, NOW)

    def _restores(self) -> None:
        there = "restore in the place of another"
        for name in ("restore", there, f"{there} with a log"):
            if (root := self._place(name)) is None:
                continue
            good, path = self.folder / "good.zip", root / "flock.sqlite"
            if not good.exists():
                self._backup_of(self.new[:150], good)
            stood: list[Entry] | None = None
            if name != "restore":
                stood = list(self.old)
                flock(path, stood, 10)
            if stood is not None and name.endswith("log"):
                self._leave_a_log(path)
                stood += self.left
            words = ("restore", str(good), "--replace", "--flock", str(path))
            self._add(root, "They are in", restored(self.new[:150], stood), *words)


def migrated(schema: str, old: list[Entry]) -> Check:
    """That the file is at the old or the new schema, with every entry and reading."""

    def check(root: Path, acknowledged: int) -> None:
        path = root / "flock.sqlite"
        at, bodies, readings = raw(path)
        if at not in (schema, SCHEMA) or (acknowledged and at != SCHEMA):
            raise Failure(f"the schema is {at}, acknowledged: {acknowledged}")
        if bodies != [encode(one) for one in old] or readings != (300 if schema > "0001" else 0):
            raise Failure("entries or readings are missing")
        if reopened(path) != old:
            raise Failure("opened again, entries are missing")

    return check


def backed_up(old: list[Entry], over: bool) -> Check:
    """That the flock is as it was, and what has the name of a backup is one."""

    def check(root: Path, acknowledged: int) -> None:
        if reopened(root / "flock.sqlite") != old:
            raise Failure("entries are missing")
        made = sorted((root / "into").glob("*.zip"))
        held = [backups.check(path).manifest.rows("entry") for path in made]
        if held not in ([[len(old)], [20]] if over else [[], [len(old)]]):
            raise Failure(f"the backups hold {held}")
        if acknowledged and held != [len(old)]:
            raise Failure("the acknowledged backup is not there")

    return check


def restored(new: list[Entry], old: list[Entry] | None) -> Check:
    """That the old flock or the new one stands, and the old one is still to be had."""

    def check(root: Path, acknowledged: int) -> None:
        path = root / "flock.sqlite"
        at = reopened(path) if path.exists() else None
        if at != new and (at != old or acknowledged):
            raise Failure(f"neither stands, acknowledged: {acknowledged}")
        if at == new and old is not None:
            asides = [*root.glob("flock.sqlite.before*"), *root.glob(".*.aside")]
            found = [one for one in asides if not one.name.endswith(("-wal", "-shm", "-last"))]
            if not any(reopened(one) == old for one in found):
                raise Failure("the flock that was replaced is nowhere")

    return check


def pulled(
    made: Recorded, scenario: Scenario, states: int, rng: Random, into: Path
) -> Counter[str]:
    """Builds states of the disk and looks at each. Raises Failure, saying which."""
    counts: Counter[str] = Counter()
    seen: set[int] = set()
    marks = [number + after for number, event in enumerate(made.events)
             for after in (0, 1) if event.what not in ("write", "cut")]  # fmt: skip
    asked = [(at, how) for at in dict.fromkeys(marks) for how in ("none", "all")]
    whole = len(made.events)
    answers = [
        number for number, event in enumerate(made.events)
        if event.what == "answer" and scenario.answer.encode() in event.data
    ]  # fmt: skip
    if not answers:
        raise Failure(f"{scenario.name} never answered")
    tries = 0
    while len(seen) < states and tries < 20 * states:
        tries += 1
        at, how = asked.pop(0) if asked else (rng.randrange(1, whole + 1),
                                              rng.choice(["some", "some", "first"]))  # fmt: skip
        files = crashed(made, at, how, rng)
        acknowledged = sum(answer < at for answer in answers)
        written = ((name, data) for name, data in files.items() if data is not None)
        digest = hash((acknowledged, frozenset(files), tuple(sorted(written))))
        if digest in seen:
            continue
        seen.add(digest)
        shutil.rmtree(into, ignore_errors=True)
        into.mkdir()
        for name in sorted(files):
            data = files[name]
            if data is None:
                (into / name).mkdir(parents=True)
            else:
                (into / name).parent.mkdir(parents=True, exist_ok=True)
                (into / name).write_bytes(data)
        try:
            scenario.check(into, acknowledged)
        except (Failure, QuailwrightError, OSError) as error:
            keep = into.with_name("failed")
            shutil.rmtree(keep, ignore_errors=True)
            keep.mkdir()
            for name, data in files.items():
                if data is not None:
                    (keep / name).parent.mkdir(parents=True, exist_ok=True)
                    (keep / name).write_bytes(data)
            raise Failure(
                f"{scenario.name}: {how} of what was not synced after {at} of {whole} events: "
                f"{error} ({keep})"
            ) from error
        counts["acknowledged" if acknowledged else "not acknowledged"] += 1
    return counts


def main() -> int:
    """Records each scenario, builds its states, and tells what was found."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--states", type=int, default=400, help="Of each scenario.")
    parser.add_argument("--seed", type=int, default=time.time_ns() % 2**32)
    parser.add_argument("--only", default="", help="Scenarios whose name begins so.")
    parser.add_argument("--folder", type=Path, help="Where to work; else a temporary folder.")
    asked = parser.parse_args()
    if shutil.which("strace") is None:
        raise SystemExit("power_faults: strace is not installed (on Debian: apt install strace)")
    folder = asked.folder or Path(tempfile.mkdtemp(prefix="power-faults-"))
    folder.mkdir(exist_ok=True)
    rng, failed, total = Random(asked.seed), 0, 0
    for root, scenario in Tried(folder, rng, asked.only).all():
        try:
            made = record(root, scenario.words, scenario.ask)
            counts = pulled(made, scenario, asked.states, rng, folder / "state")
        except Failure as failure:
            print(f"FAILED {failure}", flush=True)
            failed += 1
            continue
        total += counts.total()
        told = ", ".join(f"{count:,} {what}" for what, count in sorted(counts.items()))
        print(f"{scenario.name}: {len(made.events):,} events; {told}", flush=True)
    print(f"{total:,} states, seed {asked.seed}: {failed} failures")
    if not failed:
        shutil.rmtree(folder)
    return 1 if failed else 0


if __name__ == "__main__":
    sys.exit(import_module("scripts.power_faults").main())
