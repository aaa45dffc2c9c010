"""Faults without end: what is acknowledged stays, nothing is half written, nothing crashes.

`soak.py SECONDS [--seed N]`. Each round draws one fault, lets the command line run into it, and
then reads the journal: `journal check` finds nothing, every acknowledged entry is there as it was
sent, of an import all or none, and every command ended with 0, 1, 2 or 3 and no traceback. The
first failure ends the run with exit code 1 and leaves the files to look at.
"""

import argparse
import json
import os
import resource
import shutil
import subprocess
import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, date, datetime, timedelta
from pathlib import Path
from random import Random
from typing import Any
from uuid import UUID

from quailwright.exchange.record import check
from quailwright.journal.entries import as_dict
from quailwright.journal.findings import QuailwrightError
from quailwright.journal.store import open_store

GOOD_CODES = {0, 1, 2, 3}
KILLED = -9
PATIENCE_S = 120
ROUNDS_A_FLOCK = 40
"""A new flock file after so many rounds, so that the file stays small and rounds quick."""

Line = dict[str, Any]


class Failure(Exception):
    """What must never happen has happened."""


@dataclass
class Soak:
    """One run: its folder, its chance, and what the flock file of now must and may hold."""

    folder: Path
    rng: Random
    counts: Counter[str] = field(default_factory=Counter)
    must: dict[str, Line] = field(default_factory=dict)
    flocks: int = 0
    log_s: float = 1.0
    import_s: float = 1.0

    @property
    def flock(self) -> Path:
        """The flock file of now."""
        return self.folder / f"flock-{self.flocks}.sqlite"


# Running the command line.


def command(soak: Soak, *words: str, flock: Path | None = None, file_bytes: int | None = None
            ) -> "subprocess.Popen[bytes]":  # fmt: skip
    """Starts the command line on the flock file; it can write no file beyond `file_bytes`."""

    def limit() -> None:
        if file_bytes is not None:
            resource.setrlimit(resource.RLIMIT_FSIZE, (file_bytes, resource.RLIM_INFINITY))

    return subprocess.Popen(
        [sys.executable, "-P", "-m", "quailwright", *words],
        env={**os.environ, "QUAILWRIGHT_FLOCK": str(flock or soak.flock)},
        stdin=subprocess.DEVNULL,
        stdout=subprocess.DEVNULL,
        stderr=subprocess.PIPE,
        preexec_fn=limit,
    )


def ended(soak: Soak, running: "subprocess.Popen[bytes]", killed: bool = False) -> int:
    """Waits for the end and judges it. Gives the exit code."""
    _, said = running.communicate(timeout=PATIENCE_S)
    words = " ".join(map(str, running.args[3:])) if isinstance(running.args, list) else ""
    code = running.returncode
    soak.counts["commands"] += 1
    soak.counts["killed" if code == KILLED else f"exit code {code}"] += 1
    if b"Traceback" in said:
        raise Failure(f"a traceback from `{words}`:\n{said.decode(errors='replace')}")
    if code not in GOOD_CODES and not (killed and code == KILLED):
        raise Failure(f"exit code {code} from `{words}`:\n{said.decode(errors='replace')}")
    return code


def killed_after(soak: Soak, running: "subprocess.Popen[bytes]", seconds: float) -> int:
    """Kills the command at that time, if it has not ended before."""
    try:
        running.wait(seconds)
    except subprocess.TimeoutExpired:
        running.kill()
    return ended(soak, running, killed=True)


# What is written.


def beginning() -> list[Line]:
    """A flock to write about."""
    day = "2026-01-01"
    facts: list[Line] = [
        {"kind": "holding", "timezone": "Europe/Lisbon", "units": "metric"},
        {"kind": "place", "place": "pen-a", "role": "pen"},
        {"kind": "group", "group": "hens", "place": "pen-a", "hens": 40, "cocks": 8},
    ]
    return [{"id": str(UUID(int=n + 1, version=4)), "at": day, **f} for n, f in enumerate(facts)]


def lines(soak: Soak, count: int) -> list[Line]:
    """So many entries that contradict nothing."""
    rng = soak.rng
    made: list[Line] = []
    for _ in range(count):
        day = date(2026, 1, 2) + timedelta(days=rng.randrange(300))
        fact: Line = rng.choice(
            [
                {"kind": "eggs_collected", "group": "hens", "eggs": rng.randint(0, 30)},
                {"kind": "care", "task": "feed_water", "place": "pen-a", "minutes": 2.0},
                {"kind": "money", "amount": -1.5, "category": "bedding", "note": "é" * 200},
                {"kind": "birds_weighed", "group": "hens", "weights_g": [210.5, 198.0]},
            ]
        )
        clock = (
            f"T{rng.randrange(24):02d}:{rng.randrange(60):02d}:00Z" if rng.random() < 0.6 else ""
        )
        identity = str(UUID(int=rng.getrandbits(128), version=4))
        made.append({"id": identity, "at": f"{day}{clock}", **fact})
    return made


def as_file(soak: Soak, sent: list[Line], name: str = "import") -> Path:
    path = soak.folder / f"{name}.jsonl"
    text = "".join(json.dumps(line, ensure_ascii=False) + "\n" for line in sent)
    path.write_text(text, encoding="utf-8")
    return path


def logged(line: Line) -> list[str]:
    """The words of `log` for an entry."""
    fields = {k: v for k, v in line.items() if k != "kind"}
    shown = {k: ",".join(map(str, v)) if isinstance(v, list) else v for k, v in fields.items()}
    return ["log", line["kind"], *(f"{name}={value}" for name, value in shown.items())]


# Judging the journal.


def held(flock: Path) -> dict[str, Line]:
    """What the flock file holds, after `journal check` found nothing wrong with it."""
    with open_store(str(flock)) as store:
        findings = check(store)
        if findings:
            raise Failure(f"`journal check` says: {findings[0].sentence}")
        return {entry.id: as_dict(entry) for entry in store.entries()}


def settle(soak: Soak, *batches: tuple[list[Line], int]) -> None:
    """The flock file against what was acknowledged; batches are (entries sent, exit code)."""
    there = held(soak.flock)
    for sent, code in batches:
        arrived = sum(line["id"] in there for line in sent)
        if arrived not in (0, len(sent)):
            raise Failure(f"{arrived} of {len(sent)} entries of one import are there")
        if code in (1, 2, 3) and arrived:
            raise Failure(f"exit code {code}, but its {arrived} entries are there")
        if code == 0 or arrived:
            soak.must |= {line["id"]: line for line in sent}
            soak.counts["entries acknowledged"] += len(sent) if code == 0 else 0
            soak.counts["entries kept of killed commands"] += len(sent) if code else 0
    if there != soak.must:
        lost = [i for i in soak.must if i not in there]
        strange = [i for i in there if i not in soak.must]
        other = [i for i in there if i in soak.must and there[i] != soak.must[i]]
        raise Failure(
            f"{len(lost)} acknowledged entries lost, {len(strange)} never sent, "
            f"{len(other)} not as sent: {(lost + strange + other)[:3]}"
        )


# The faults: each is a round.


def killed_log(soak: Soak) -> None:
    sent = lines(soak, 1)
    running = command(soak, *logged(sent[0]))
    settle(soak, (sent, killed_after(soak, running, soak.rng.uniform(0, 1.2 * soak.log_s))))


def killed_import(soak: Soak) -> None:
    sent = lines(soak, soak.rng.choice([2, 200, 2000]))
    running = command(soak, "journal", "import", str(as_file(soak, sent)))
    settle(soak, (sent, killed_after(soak, running, soak.rng.uniform(0, 1.2 * soak.import_s))))


def killed_beginning(soak: Soak) -> None:
    """The very first entry: the flock file itself is made and killed over."""
    flock = soak.folder / "beginning.sqlite"
    remove(flock)
    sent = beginning()
    words = ("journal", "import", str(as_file(soak, sent)))
    killed_after(soak, command(soak, *words, flock=flock), soak.rng.uniform(0, 2 * soak.log_s))
    if ended(soak, command(soak, *words, flock=flock)) != 0:
        raise Failure("a flock file whose making was killed cannot be used")
    if held(flock) != {line["id"]: line for line in sent}:
        raise Failure("a flock file whose making was killed holds something else")


def full_disk(soak: Soak) -> None:
    sent = lines(soak, soak.rng.choice([1, 200, 2000]))
    path = as_file(soak, sent)
    near = 3 * path.stat().st_size + 50_000 if soak.rng.random() < 0.5 else 0
    most = soak.rng.randrange(near or soak.flock.stat().st_size + 600_000)
    code = ended(soak, command(soak, "journal", "import", str(path), file_bytes=most))
    soak.counts["full disk met"] += code != 0
    settle(soak, (sent, code))


def two_writers(soak: Soak) -> None:
    one, two = lines(soak, soak.rng.choice([1, 500])), lines(soak, soak.rng.choice([1, 500]))
    first = command(soak, "journal", "import", str(as_file(soak, one, "one")))
    second = command(soak, "journal", "import", str(as_file(soak, two, "two")))
    kills = soak.rng.random() < 0.5
    seconds = soak.rng.uniform(0, 1.2 * soak.import_s)
    code = killed_after(soak, first, seconds) if kills else ended(soak, first)
    codes = (code, ended(soak, second))
    if codes[1] != 0 or (code != 0 and not kills):
        raise Failure(f"two writers at once ended with {codes}")
    settle(soak, (one, codes[0]), (two, codes[1]))


def same_twice(soak: Soak) -> None:
    """Two writers send the same file: it is kept once."""
    sent = lines(soak, 300)
    words = ("journal", "import", str(as_file(soak, sent)))
    both = [command(soak, *words), command(soak, *words)]
    codes = [ended(soak, running) for running in both]
    if codes != [0, 0]:
        raise Failure(f"the same file sent twice at once ended with {codes}")
    settle(soak, (sent, 0))


def garbled(soak: Soak) -> None:
    """A good file, cut or with bytes changed: refused whole or taken whole, on a copy."""
    flock = a_copy(soak)
    before = held(flock)
    good = as_file(soak, lines(soak, soak.rng.choice([1, 30, 300])), "garbled")
    good.write_bytes(spoiled(soak.rng, good.read_bytes()))
    code = ended(soak, command(soak, "journal", "import", str(good), flock=flock))
    after = held(flock)
    if code != 0:
        if after != before:
            raise Failure(f"a garbled import ended with {code} and changed the journal")
        return
    soak.counts["garbled files that still were good"] += 1
    sent = sum(not line.isspace() for line in good.read_bytes().split(b"\n") if line)
    if len(after) - len(before) != sent:
        raise Failure(f"of {sent} lines {len(after) - len(before)} were kept")


def damaged_flock(soak: Soak) -> None:
    """A flock file with bytes changed or cut: any answer but a crash, on a copy."""
    flock = a_copy(soak)
    flock.write_bytes(spoiled(soak.rng, flock.read_bytes()))
    for words in (("journal", "check"), ("today",), ("log", "care", "task=trays")):
        ended(soak, command(soak, *words, flock=flock))


def spoiled(rng: Random, data: bytes) -> bytes:
    """Cut somewhere, or with some bytes changed, or both."""
    changed = bytearray(data)
    if rng.random() < 0.7:
        for _ in range(rng.choice([1, 1, 3, 100])):
            changed[rng.randrange(len(changed))] = rng.randrange(256)
    if rng.random() < 0.5:
        del changed[rng.randrange(len(changed)) :]
    return bytes(changed)


def a_copy(soak: Soak) -> Path:
    """The flock file of now under another name. (Closed, it is one file; its log is folded in.)"""
    held(soak.flock)
    copy = soak.folder / "copy.sqlite"
    remove(copy)
    shutil.copyfile(soak.flock, copy)
    return copy


def remove(flock: Path) -> None:
    for name in (flock.name, f"{flock.name}-wal", f"{flock.name}-shm"):
        flock.with_name(name).unlink(missing_ok=True)


FAULTS: list[Callable[[Soak], None]] = [
    killed_log,
    killed_log,
    killed_import,
    killed_import,
    killed_beginning,
    full_disk,
    full_disk,
    two_writers,
    same_twice,
    garbled,
    garbled,
    damaged_flock,
]


def begin_flock(soak: Soak) -> None:
    """A new flock file, and how long an undisturbed command takes here."""
    remove(soak.flock)
    soak.flocks += 1
    soak.must = {}
    sent = beginning()
    settle_after(soak, sent, "journal", "import", str(as_file(soak, sent)))
    sent = lines(soak, 1)
    soak.log_s = settle_after(soak, sent, *logged(sent[0]))
    sent = lines(soak, 2000)
    soak.import_s = settle_after(soak, sent, "journal", "import", str(as_file(soak, sent)))


def settle_after(soak: Soak, sent: list[Line], *words: str) -> float:
    """Runs an undisturbed command, judges it, and gives its seconds."""
    began = time.monotonic()
    if (code := ended(soak, command(soak, *words))) != 0:
        raise Failure(f"exit code {code} from an undisturbed `{words[0]}`")
    took = time.monotonic() - began
    settle(soak, (sent, 0))
    return took


def run(soak: Soak, seconds: float) -> None:
    """Rounds until the time is over. Raises Failure at the first."""
    until = time.monotonic() + seconds
    while time.monotonic() < until:
        if soak.counts["rounds"] % ROUNDS_A_FLOCK == 0:
            begin_flock(soak)
        fault = soak.rng.choice(FAULTS)
        soak.counts["rounds"] += 1
        soak.counts[f"round of {fault.__name__}"] += 1
        try:
            fault(soak)
        except (Failure, QuailwrightError, subprocess.TimeoutExpired) as error:
            raise Failure(f"{fault.__name__}: {error}") from error


def main() -> int:
    """The run from the command line."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").split("\n")[0])
    parser.add_argument("seconds", type=float, help="how long")
    parser.add_argument("--seed", type=int, help="repeat the faults of a run")
    asked = parser.parse_args()
    seed = asked.seed if asked.seed is not None else int(datetime.now(UTC).timestamp())
    folder = Path(tempfile.mkdtemp(prefix="soak-"))
    soak = Soak(folder, Random(seed))
    try:
        run(soak, asked.seconds)
    except Failure as failure:
        print(f"FAILED in round {soak.counts['rounds']}: {failure}")
        print(f"The files are in {folder}. The same faults again (moments of killing depend on")
        print(f"the machine): scripts/soak {asked.seconds:g} --seed {seed}")
        return 1
    finally:
        print(f"seed {seed}")
        for name, count in sorted(soak.counts.items()):
            print(f"{count:8}  {name}")
    shutil.rmtree(folder)
    return 0


if __name__ == "__main__":
    sys.exit(main())
