"""Flock files as earlier programs truly wrote them, for the tests of upgrading.

`old_flocks.py [FOLDER] [--demo SEED]`. The newest program of each schema that a program ever had as
its own is taken out of the history of git into a scratch folder, and is given `every_kind.jsonl` as
far as it knows the kinds and fields, sensor readings and people where it knows them; it writes a
SQLite file and a PostgreSQL database, and exports, backs up, and tells by its own commands what
stands. What it made is put into FOLDER (else `tests/upgrade`). It fails when a kind or a field that
the old program knows is in no entry.

With `--demo`, nothing is kept: the demo's flock of that seed is built by each old program, and what
the old program and today's tell of that same file is compared and printed, field by field.
"""

import argparse
import gzip
import io
import json
import os
import shutil
import subprocess
import sys
import tarfile
import tempfile
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

ROOT = Path(__file__).resolve().parents[1]
KEPT = ROOT / "tests" / "upgrade"
ON = "2027-05-02"
PROGRAMS = {"0001": "40e0580", "0002": "112d64d", "0003": "49cfcbc", "0008": "8566d44"}
"""The newest commit of each schema (`git log -G'SCHEMA = ' -- src/quailwright/journal/store.py`).
0004 to 0008 came in one commit: no program ever had 0004, 0005, 0006 or 0007 as its newest."""
FIRST_WITH_EXPORT = "79f5807"
HEADINGS = "time,temperature,humidity\n"

# Run inside an old program: which kinds it knows, and which fields each has.
KINDS = """
import json, msgspec
from quailwright.journal.entries import AnyEntry
print(json.dumps({t.tag: ["kind", *(f.encode_name for f in t.fields)]
                  for t in msgspec.inspect.type_info(AnyEntry).types}))
"""
FITS = """
import sys
from quailwright.journal.entries import decode
for line in sys.stdin.buffer:
    try:
        decode(line)
    except Exception:
        print(0)
    else:
        print(1)
"""
# The people of the household, who have pages only: as the pages take them in and let them in.
PEOPLE = """
import sys
from datetime import UTC, datetime
from quailwright.exchange.household import Household
from quailwright.journal.store import open_store
now = datetime(2027, 5, 2, 20, tzinfo=UTC)
with open_store(sys.argv[1]) as store:
    home = Household(store)
    home.begin("Ann", "seven brown quail", now)
    home.add("Zé", "child", "codorna pintada", now)
    assert home.sign_in("Ann", "seven brown quail", "a-token-of-a-phone", now)
"""
# What came with schemas 0004 to 0008, as the pages keep it.
SETTINGS = """
import sys
from datetime import UTC, datetime
from quailwright.exchange.sensor_payload import How
from quailwright.exchange.sensor_settings import Sensors
from quailwright.journal import options
from quailwright.journal.store import open_store
now = datetime(2027, 5, 2, 20, tzinfo=UTC)
with open_store(sys.argv[1]) as store:
    Sensors(store).add_device("shed box", "incubator", "dial", How("senml"), now, b"k" * 32)
    with store.household(writes=True) as connection:
        options.put(connection, "trial", '{"a": 1}')
"""


class Program:
    """An earlier program in a folder of its own."""

    def __init__(self, commit: str, scratch: Path) -> None:
        self.folder = scratch / commit
        shown = subprocess.run(
            ["git", "-C", ROOT, "archive", commit, "src"], check=True, capture_output=True
        )
        with tarfile.open(fileobj=io.BytesIO(shown.stdout)) as archive:
            archive.extractall(self.folder, filter="data")

    def python(self, *arguments: str | Path, said: bytes = b"") -> bytes:
        """Runs Python with this program, and gives what it printed."""
        done = subprocess.run(
            [sys.executable, "-P", *arguments], check=False, capture_output=True, input=said,
            env={**os.environ, "PYTHONPATH": str(self.folder / "src"), "LANGUAGE": "en"},
        )  # fmt: skip
        if done.returncode:
            sys.exit(f"{arguments}\n{done.stderr.decode()[:2000]}")
        return done.stdout

    def __call__(self, location: str, *arguments: str | Path) -> bytes:
        """Runs one command of it on a flock."""
        return self.python("-m", "quailwright", "--flock", location, *arguments)

    def has(self, name: str) -> bool:
        """Whether it has that module."""
        return (self.folder / "src/quailwright" / name).exists()

    def known(self, lines: list[str]) -> list[str]:
        """The entries as far as it knows their kinds and fields."""
        kinds: dict[str, list[str]] = json.loads(self.python("-c", KINDS))
        kept = []
        for line in lines:
            entry = json.loads(line)
            if entry["kind"] not in kinds:
                continue
            entry = {name: value for name, value in entry.items() if name in kinds[entry["kind"]]}
            if isinstance(other := entry.get("instead"), dict):
                known = kinds[other["kind"]]
                entry["instead"] = {name: one for name, one in other.items() if name in known}
            kept.append(json.dumps(entry, ensure_ascii=False))
        fits = self.python("-c", FITS, said="\n".join(kept).encode()).split()
        kept = [line for line, fit in zip(kept, fits, strict=True) if fit == b"1"]
        used: dict[str, set[str]] = {}
        for entry in map(json.loads, kept):
            used.setdefault(entry["kind"], set()).update(entry)
        lacking = [
            f"{kind}.{name}"
            for kind, names in kinds.items()
            for name in names
            if name not in used.get(kind, set()) and name not in ("by", "note", "force")
        ]
        if lacking:
            sys.exit(f"every_kind.jsonl has no {', '.join(lacking)}.")
        return kept


def readings() -> str:
    """Two days of an incubator, each ten minutes, in whole tenths."""
    lines = [HEADINGS]
    for n in range(288):
        day, minute = divmod(n * 10, 1440)
        tenths = 375 + n % 7 - 3
        lines.append(
            f"2026-09-{10 + day}T{minute // 60:02}:{minute % 60:02}:00Z,"
            f"{tenths / 10},{48 + n % 5}\n"
        )
    return "".join(lines)


def write(program: Program, location: str, lines: list[str], scratch: Path) -> None:
    """Has an old program write a flock: one entry by `log`, the others by import, and the rest."""
    first, *others = lines
    entry = json.loads(first)
    fields = [f"{name}={value}" for name, value in entry.items() if name not in ("kind", "note")]
    note = f"note={entry['note']}"
    typed = [field.replace("=False", "=false") for field in fields if not field.startswith("id=")]
    program(location, "log", entry["kind"], *typed, note)
    journal = scratch / "others.jsonl"
    journal.write_text("\n".join(others) + "\n", encoding="utf-8")
    program(location, "journal", "import", journal)
    if program.has("cli/readings.py"):
        logger = scratch / "logger.csv"
        logger.write_text(readings())
        told = ("--place", "incubator", "--instrument", "dial")
        program(location, "readings", "import", logger, *told)
    if program.has("exchange/household.py"):
        program.python("-c", PEOPLE, location)
    if program.has("exchange/sensor_settings.py"):
        program.python("-c", SETTINGS, location)


def told(program: Program, location: str) -> dict[str, Any]:
    """What a program tells of a flock as it stands."""
    return {
        "flock": json.loads(program(location, "flock", "--json", "--on", ON)),
        "today": json.loads(program(location, "today", "--json", "--on", ON)),
    }


@contextmanager
def postgresql(scratch: Path) -> Iterator[tuple[str, Path]]:
    """The URL of an empty database of a server of its own, and the folder of its programs."""
    programs = max(Path("/usr/lib/postgresql").glob("*/bin"))
    as_postgres = ["runuser", "-u", "postgres", "--"] if os.getuid() == 0 else []
    folder = Path(tempfile.mkdtemp(prefix="quail-pg-", dir="/tmp"))
    if as_postgres:
        shutil.chown(folder, "postgres")

    def run(*command: str | Path) -> None:
        subprocess.run([*as_postgres, *command], check=True, capture_output=True, cwd="/")

    data = folder / "data"
    run(programs / "initdb", "-D", data, "-U", "postgres", "-A", "trust", "-N", "-E", "UTF8")
    options = f"-c listen_addresses='' -c fsync=off -k {folder}"
    run(programs / "pg_ctl", "-D", data, "-w", "-o", options, "-l", folder / "log", "start")
    try:
        run(programs / "createdb", "-h", folder, "-U", "postgres", "flock")
        yield f"postgresql://postgres@/flock?host={folder}", programs
    finally:
        run(programs / "pg_ctl", "-D", data, "-w", "-m", "immediate", "stop")
        shutil.rmtree(folder)


def dumped(url: str, programs: Path) -> bytes:
    """The whole database as SQL that a driver can run."""
    dump = subprocess.run(
        [programs / "pg_dump", "--inserts", "--no-owner", "--no-comments", url],
        check=True, capture_output=True,
    ).stdout  # fmt: skip
    lines = dump.splitlines(keepends=True)
    # What only psql understands, and settings that a server of another version may not have.
    return b"".join(
        line for line in lines if not line.startswith((b"\\", b"--", b"SET ")) and line.strip()
    )


def packed(path: Path, text: bytes) -> None:
    """Writes it with gzip, the same bytes each time."""
    path.write_bytes(gzip.compress(text, 9, mtime=0))


def remake(folder: Path, scratch: Path) -> None:
    """Makes all that the tests read."""
    lines = (KEPT / "every_kind.jsonl").read_text(encoding="utf-8").splitlines()
    for schema, commit in PROGRAMS.items():
        program, file = Program(commit, scratch), scratch / f"{schema}.sqlite"
        known = program.known(lines)
        write(program, str(file), known, scratch)
        export = scratch / f"{schema}.jsonl"
        program(str(file), "journal", "export", export)
        packed(folder / f"{schema}.jsonl.gz", export.read_bytes())
        text = json.dumps(told(program, str(file)), ensure_ascii=False, sort_keys=True)
        packed(folder / f"{schema}.told.json.gz", text.encode())
        if program.has("cli/backup.py"):
            zipped = folder / f"{schema}.zip"
            zipped.unlink(missing_ok=True)
            program(str(file), "backup", zipped)
        left = [end for end in ("-wal", "-shm") if file.with_name(file.name + end).exists()]
        if left:
            sys.exit(f"{schema} leaves {left}.")
        packed(folder / f"{schema}.sqlite.gz", file.read_bytes())
        with postgresql(scratch) as (url, programs):
            write(program, url, known, scratch)
            packed(folder / f"{schema}.postgresql.sql.gz", dumped(url, programs))
        print(f"{schema}: {len(known)} entries, written by {commit}", flush=True)
    first = Program(FIRST_WITH_EXPORT, scratch)
    file, journal = scratch / "first.sqlite", scratch / "first_in.jsonl"
    journal.write_text("\n".join(first.known(lines)) + "\n", encoding="utf-8")
    first(str(file), "journal", "import", journal)
    first(str(file), "journal", "export", scratch / "first.jsonl")
    packed(folder / "first.jsonl.gz", (scratch / "first.jsonl").read_bytes())


def differences(old: Any, new: Any, where: str = "") -> Iterator[tuple[str, Any, Any]]:
    """Where two JSON values are not equal: what only the new one has counts for nothing."""
    if isinstance(old, dict) and isinstance(new, dict):
        for name, value in old.items():
            yield from differences(value, new.get(name), f"{where}.{name}".lstrip("."))
    elif isinstance(old, list) and isinstance(new, list) and len(old) == len(new):
        for was, now in zip(old, new, strict=True):
            yield from differences(was, now, f"{where}[]")
    elif old != new:
        yield where, old, new


def compare(seed: int, scratch: Path) -> None:
    """What each old program and today's tell of the demo that the old one built."""
    today = Program("HEAD", scratch)
    for schema, commit in PROGRAMS.items():
        program, file = Program(commit, scratch), str(scratch / f"{schema}.sqlite")
        program(file, "demo", "--no-serve", "--seed", str(seed), "--on", ON)
        was, now = told(program, file), told(today, file)
        found = list(differences(was, now))
        print(f"{schema} ({commit}): {len(found)} differences")
        for where, count in Counter(where for where, _, _ in found).most_common():
            one = next(each for each in found if each[0] == where)
            print(f"  {count} x {where}: {str(one[1])[:150]} -> {str(one[2])[:150]}")


def main() -> None:
    """Reads the command line."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path, default=KEPT)
    parser.add_argument("--demo", type=int, metavar="SEED")
    asked = parser.parse_args()
    scratch = Path(tempfile.mkdtemp(prefix="old-flocks-"))
    try:
        if asked.demo is None:
            remake(asked.folder, scratch)
        else:
            compare(asked.demo, scratch)
    finally:
        shutil.rmtree(scratch)


if __name__ == "__main__":
    main()
