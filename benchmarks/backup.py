"""How long a backup of millions of readings takes, how much memory and room, by compression.

    python benchmarks/backup.py [READINGS]

Each step runs in a process of its own, so that the memory told is its peak.
"""

import itertools
import sqlite3
import subprocess
import sys
import tempfile
import time
import zipfile
from collections.abc import Iterator
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.random import Generator, default_rng

if TYPE_CHECKING:  # run as a program, this is not in a package
    from benchmarks.rows import Row

SENSORS, STEP_MS, FIRST_MS = 10, 60_000, 1_800_000_000_000
LEVELS = (1, 6, 9)
_HUNDREDTH_C, _TENTH_PCT = 0.0625, 0.1


def main(readings: int) -> None:
    """Prints a table for docs/backup.md."""
    with tempfile.TemporaryDirectory() as folder:
        flock = Path(folder, "flock.sqlite")
        _fill(flock, readings, default_rng(20270502))
        print(f"{readings:,} readings, flock file {flock.stat().st_size / 1e6:.0f} MB")
        for level in LEVELS:
            target = Path(folder, f"level-{level}.zip")
            _say(f"written and restored, level {level}", "back", flock, target, level)
            print(f"    {target.stat().st_size / 1e6:.1f} MB")
        target = Path(folder, "level-6.zip")
        _say("checksums alone", "quick", flock, target, 6)
        _say("restored into a new file", "restore", Path(folder, "new.sqlite"), target, 6)


def rows(quick: bool) -> "Iterator[Row]":
    """For the page of all benchmarks: beside SQLite's own copy of the file, zipped and unzipped."""
    from benchmarks.measure import seconds, side_by_side
    from benchmarks.rows import row_of

    from quailwright.exchange import backups
    from quailwright.journal.store import open_store

    readings, rounds = (10_000, 1) if quick else (1_000_000, 3)
    now, number = datetime.now(UTC), itertools.count()
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        flock, copied, zipped = folder / "flock.sqlite", folder / "copied", folder / "copied.zip"
        _fill(flock, readings, default_rng(20270502))

        def copy_and_zip() -> None:
            with closing(sqlite3.connect(flock)) as one, closing(sqlite3.connect(copied)) as other:
                one.backup(other)
            with zipfile.ZipFile(zipped, "w", zipfile.ZIP_DEFLATED, compresslevel=6) as made:
                made.write(copied, "copied")

        def unzip() -> None:
            with zipfile.ZipFile(zipped) as made:
                made.extract("copied", folder / "out")

        with open_store(str(flock)) as store:

            def back_up(checksums_alone: bool) -> None:
                target = folder / f"{next(number)}.zip"
                made = backups.back_up(store, target, now, quick=checksums_alone)
                assert made.whole or checksums_alone, made

            for what, quickly in (("written, checksums compared", True),
                                  ("written, restored and compared", False)):  # fmt: skip
                yield row_of("backup", side_by_side(
                    f"a backup of {readings:,} readings, {what}",
                    lambda quickly=quickly: seconds(lambda: back_up(quickly)),  # type: ignore[misc]
                    "SQLite's own copy, zipped", lambda: seconds(copy_and_zip), rounds,
                ))  # fmt: skip
        target = folder / "0.zip"
        yield row_of("backup", side_by_side(
            "it restored",
            lambda: seconds(lambda: backups.restore(
                target, str(folder / f"{next(number)}.sqlite"), replace=False, now=now
            )),
            "that copy unzipped", lambda: seconds(unzip), rounds,
        ))  # fmt: skip


def _fill(flock: Path, readings: int, rng: Generator) -> None:
    from quailwright.journal.store import open_store

    with open_store(str(flock), create=True) as store:
        for sensor in range(SENSORS):
            count = readings // SENSORS
            at = FIRST_MS + STEP_MS * np.arange(count) + rng.integers(0, 900, count)
            warmth = 37.5 + np.cumsum(rng.choice([-1, 0, 0, 1], count)) * _HUNDREDTH_C % 3
            damp = 45 + np.cumsum(rng.choice([-1, 0, 0, 1], count)) * _TENTH_PCT % 20
            with store.writing() as writer:
                writer.append_readings(
                    f"pen-{sensor}", "", at.tolist(), warmth.tolist(), damp.round(1).tolist()
                )


def _say(what: str, step: str, flock: Path, target: Path, level: int) -> None:
    done = subprocess.run(
        [sys.executable, __file__, step, str(flock), str(target), str(level)],
        check=True, capture_output=True, text=True,
    )  # fmt: skip
    print(f"{what}: {done.stdout.strip()}", flush=True)


def _step(step: str, flock: str, target: str, level: str) -> None:
    from quailwright.exchange import backups
    from quailwright.journal import backup
    from quailwright.journal.store import open_store

    backup.COMPRESSION = int(level)
    now = datetime.now(UTC)
    if step == "back":
        with open_store(flock) as store:
            backups.back_up(store, Path(target), now, quick=True)
            print(f"written and read {_seconds()}; then written, restored and compared ", end="")
            made = backups.back_up(store, Path(target), now)
            assert made.whole, made
    elif step == "quick":
        backups.check(Path(target), quick=True)
    else:
        backups.restore(Path(target), flock, replace=False, now=now)
    print(f"{_seconds()}, {_peak_mb():.0f} MB of memory")


def _peak_mb() -> float:
    """Of this process alone: `getrusage` counts what its parent had before it began, too."""
    status = Path("/proc/self/status").read_text(encoding="utf-8")
    return int(status.partition("VmHWM:")[2].split()[0]) / 1024


_told = [time.perf_counter(), time.process_time()]


def _seconds() -> str:
    """Since it was last asked: by the clock, and of the processor."""
    clock, processor = time.perf_counter(), time.process_time()
    said = f"{clock - _told[0]:.1f} s ({processor - _told[1]:.1f} s of processor)"
    _told[:] = [clock, processor]
    return said


if __name__ == "__main__":
    if len(sys.argv) > 2:
        _step(*sys.argv[1:])
    else:
        main(int(sys.argv[1]) if len(sys.argv) > 1 else 5_000_000)
