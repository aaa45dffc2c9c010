"""Ratios against a named reference run side by side: `python -m benchmarks.run [--rounds N]`.

See docs/benchmarks.md for what each row means. Nothing here is asserted.
"""

import argparse
import os
import sqlite3
import sys
import tempfile
import zlib
from collections.abc import Iterator
from datetime import UTC, datetime
from pathlib import Path

import msgspec
from benchmarks.journals import LARGE, SMALL, TEN_YEARS, invented_journal
from benchmarks.measure import Ratio, in_fresh_process, process, seconds, side_by_side
from benchmarks.rows import Row, row_of

from quailwright.exchange.record import import_lines
from quailwright.flock.fold import Record, fold, newest_zone
from quailwright.journal.entries import RANK, AnyEntry, Entry, Retract, encode, kind_of
from quailwright.journal.moments import order_key, utc_text
from quailwright.journal.store import open_store

ROOT = Path(__file__).resolve().parent.parent
ENTRIES = 100_000
NOW = datetime(2027, 1, 1, 12, tzinfo=UTC)
NEW_ENTRIES = 1_000
QUICK_DAYS = 100
NEWLINE = b"\n"


def main() -> int:
    """Runs every benchmark and prints the table."""
    parser = argparse.ArgumentParser(description="Ratios against references run side by side.")
    parser.add_argument("--rounds", type=int, default=9, help="rounds of each pair (default 9)")
    rounds = parser.parse_args().rounds
    print(f"{'measured':52} {'ms':>9}  {'against':34} {'ms':>8} {'ratio':>7}  {'range':>13}  aim")
    with tempfile.TemporaryDirectory(prefix="benchmarks-") as folder:
        for row in _benchmarks(Path(folder), rounds):
            _show(row)
    return 0


def rows(quick: bool) -> Iterator[Row]:
    """For the page of all benchmarks."""
    with tempfile.TemporaryDirectory(prefix="benchmarks-") as folder:
        for ratio in _benchmarks(Path(folder), 1 if quick else 5, quick):
            yield row_of("journal", ratio)


def _show(row: Ratio) -> None:
    low, high = row.spread
    aim = "" if row.aim is None else f"{row.aim:g}"
    print(
        f"{row.what:52} {_ms(row.seconds):>9}  {row.against:34} {_ms(row.reference_seconds):>8} "
        f"{_short(row.ratio):>7}  {_short(low) + '..' + _short(high):>13}  {aim}",
        flush=True,
    )


def _ms(value: float) -> str:
    return _short(value * 1000)


def _short(value: float) -> str:
    return f"{value:.0f}" if value >= 100 else f"{value:.3g}"


def _benchmarks(folder: Path, rounds: int, quick: bool = False) -> Iterator[Ratio]:
    days = QUICK_DAYS if quick else TEN_YEARS
    large, small = invented_journal(LARGE, days=days), invented_journal(SMALL, days=days)
    lines = b"\n".join(encode(entry) for entry in large[:ENTRIES])
    yield _folding(lines, rounds)
    yield _one_more(lines, rounds)
    yield _importing(lines, folder, rounds)
    if quick:
        return  # whole commands take as long on a small flock
    yield from _whole_commands(small, large, folder, rounds)
    if (ROOT / ".venv/bin/python").exists():  # made by the first ./start
        yield _start_script(small, folder, rounds)


# Each of these runs in a process of its own and prepares its input there: what one has cached does
# not help the next, and memory shared between processes is not copied while the clock runs.


def _decoded(lines: bytes) -> list[Entry]:
    decode = msgspec.json.Decoder(AnyEntry).decode
    return [decode(line) for line in lines.split(b"\n")]


def _folding(lines: bytes, rounds: int) -> Ratio:
    def folding() -> float:
        entries = _decoded(lines)
        return seconds(lambda: fold(entries))

    def decoding() -> float:
        bodies = lines.split(b"\n")
        decode = msgspec.json.Decoder(AnyEntry).decode
        return seconds(lambda: [decode(body) for body in bodies])

    return side_by_side(
        f"fold of {lines.count(NEWLINE) + 1:,} entries",
        in_fresh_process(folding),
        "decoding them (msgspec)",
        in_fresh_process(decoding),
        rounds,
        aim=3,
    )


def _one_more(lines: bytes, rounds: int) -> Ratio:
    """One new entry after all others: the mean of the last thousand, each added by itself."""

    def in_order() -> list[Entry]:
        entries = _decoded(lines)
        zone = newest_zone(entries)
        return sorted(entries, key=lambda e: order_key(e.at, RANK[type(e)], e.id, zone))

    def adding() -> float:
        entries = in_order()
        record = Record(entries[:-NEW_ENTRIES])
        new = [entry for entry in entries[-NEW_ENTRIES:] if not isinstance(entry, Retract)]
        return seconds(lambda: _add_each(record, new)) / len(new)

    def refolding() -> float:
        entries = in_order()
        return seconds(lambda: fold(entries))

    return side_by_side(
        f"one more entry on {lines.count(NEWLINE) + 1 - NEW_ENTRIES:,}",
        in_fresh_process(adding),
        "folding all again",
        in_fresh_process(refolding),
        rounds,
    )


def _add_each(record: Record, new: list[Entry]) -> None:
    for entry in new:
        record.add([entry])


def _importing(lines: bytes, folder: Path, rounds: int) -> Ratio:
    def importing() -> float:
        with open_store(str(_new_folder(folder) / "flock.sqlite"), create=True) as store:
            return seconds(lambda: import_lines(store, lines, NOW))

    def inserting() -> float:
        rows = _rows(lines)
        path = _new_folder(folder) / "bare.sqlite"
        with open_store(str(path), create=True):
            pass
        bare = sqlite3.connect(path, isolation_level=None)
        bare.execute("PRAGMA journal_mode=WAL")
        bare.execute("PRAGMA synchronous=FULL")
        took = seconds(lambda: _insert(bare, rows))
        bare.close()
        return took

    return side_by_side(
        f"import of {lines.count(NEWLINE) + 1:,} entries",
        in_fresh_process(importing),
        "sqlite3 executemany of the rows",
        in_fresh_process(inserting),
        rounds,
        aim=4,
    )


def _new_folder(folder: Path) -> Path:
    return Path(tempfile.mkdtemp(dir=folder))


_Row = tuple[str, str, str, str, int, bytes]


def _rows(lines: bytes) -> list[_Row]:
    recorded_at = utc_text(NOW)
    return [
        (entry.id, kind_of(entry), entry.at, recorded_at, zlib.crc32(body), body)
        for entry in _decoded(lines)
        for body in [encode(entry)]
    ]


def _insert(bare: sqlite3.Connection, rows: list[_Row]) -> None:
    bare.execute("BEGIN IMMEDIATE")
    bare.executemany(
        "INSERT INTO entry (id, kind, at, recorded_at, crc32, body) VALUES (?, ?, ?, ?, ?, ?)",
        rows,
    )
    bare.execute("COMMIT")


# Whole commands.


def _whole_commands(
    small: list[Entry], large: list[Entry], folder: Path, rounds: int
) -> Iterator[Ratio]:
    environment = _with_byte_code(folder)
    python = [sys.executable, "-P"]
    nothing = process([*python, "-c", "pass"], environment)

    def against_nothing(what: str, *words: str) -> Ratio:
        timed = process([*python, "-m", "quailwright", *words], environment)
        timed()
        return side_by_side(what, timed, "python -c pass", nothing, rounds)

    yield against_nothing("--help", "--help")
    for entries in (small, large):
        flock = str(_flock_file(entries, folder))
        day = entries[-1].at[:10]
        on = f"on {len(entries):,} entries"
        yield against_nothing(f"today {on}", "today", "--flock", flock, "--on", day)
        yield against_nothing(f"flock {on}", "flock", "--flock", flock, "--on", day)
        words = ("log", "care", "task=trays", "place=pen-1", f"at={day}T23:50", "--flock", flock)
        yield against_nothing(f"log care {on}", *words)


def _with_byte_code(folder: Path) -> dict[str, str]:
    """The environment for a process that keeps its byte code in the scratch folder."""
    environment = {**os.environ, "PYTHONPYCACHEPREFIX": str(folder / "byte-code")}
    environment.pop("PYTHONDONTWRITEBYTECODE", None)
    return environment | {"PYTHONPATH": str(ROOT / "src")}


def _flock_file(entries: list[Entry], folder: Path) -> Path:
    path = folder / f"flock-{len(entries)}.sqlite"
    with open_store(str(path), create=True) as store, store.writing() as writer:
        writer.append(entries, NOW)
    return path


def _start_script(entries: list[Entry], folder: Path, rounds: int) -> Ratio:
    """The second `./start` against the Python that it ends in. The first sets up `.venv`."""
    flock = str(_flock_file(entries, _new_folder(folder)))
    words = ["today", "--flock", flock, "--on", entries[-1].at[:10]]
    environment = {k: v for k, v in os.environ.items() if not k.startswith("PYTHON")}
    scripted = process([str(ROOT / "start"), *words], environment)
    plain = process(
        [str(ROOT / ".venv/bin/python"), "-P", "-m", "quailwright", *words], environment
    )
    scripted()
    return side_by_side(
        "./start today, the second time",
        scripted,
        "its python -m quailwright today",
        plain,
        rounds,
    )


if __name__ == "__main__":
    sys.exit(main())
