"""A year of four sensors at a reading every ten seconds, thinned each day: what the file grows to.

Run from the project's folder: `.venv-check/bin/python -m benchmarks.room [DAYS]`. Needs some 200 MB
in the temporary folder. A machine with a hatch every six weeks, its hatcher, a brooder and a pen;
the days pass as fast as they are written. Prints the size by month, what stays a day, and the
longest time for which others could not write.
"""

import statistics
import sys
import tempfile
import time
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import NamedTuple

import numpy as np
from benchmarks.rows import Row, alone

from quailwright.exchange.readings_room import readings_room, thin
from quailwright.flock.fold import fold
from quailwright.journal import entries as kinds
from quailwright.journal.entries import Entry
from quailwright.journal.readings import to_ms
from quailwright.journal.store import open_store

BEGIN = datetime(2026, 1, 1, tzinfo=UTC)
DAY = timedelta(days=1)
EVERY_S = 10
PLACES = ("incubator", "hatcher", "brooder", "pen")


def day_of(place: str, start: datetime, chance: np.random.Generator) -> tuple[list[float], ...]:
    """What a place shows over a day, each ten seconds."""
    seconds = np.arange(0, 86_400, EVERY_S)
    sun = np.sin(2 * np.pi * (seconds / 86_400 + (start - BEGIN).days / 365))
    warm, damp = 18 + 6 * sun, 60 - 12 * sun
    if place != "pen":
        warm = {"incubator": 37.6, "hatcher": 37.3, "brooder": 33.0}[place] + 0.2 * np.sin(
            seconds / 60
        )
        warm = warm - np.where(seconds % 28_800 < 180, 4.0, 0.0)
        damp = 48 + 3 * np.sin(seconds / 1_200)
    warm = np.round(warm + chance.normal(0, 0.04, len(seconds)), 2)
    damp = np.round(damp + chance.normal(0, 0.3, len(seconds)), 1)
    return warm.tolist(), damp.tolist()


def hatches(days: int) -> list[Entry]:
    """A hatch each six weeks: set in the incubator, moved to the hatcher, closed."""
    told: list[Entry] = []
    for number in range(days // 42 + 1):
        set_at = BEGIN + number * 42 * DAY
        name = f"hatch {number}"
        stop, end = (set_at + after * DAY for after in (15, 19))
        told += [
            kinds.EggsSet(
                id=f"{number}a", at=set_at.isoformat(), hatch=name, eggs=24, place="incubator",
                source="friend",
            ),
            kinds.TurningStopped(id=f"{number}b", at=stop.isoformat(), hatch=name, place="hatcher"),
            kinds.HatchClosed(id=f"{number}c", at=end.isoformat(), hatch=name),
        ]  # fmt: skip
    return told


class Day(NamedTuple):
    """How things stand after so many days.

    Attributes:
        number: the days.
        read, kept: readings that arrived, and those that are kept.
        file_bytes, free_bytes: the file, and the part of it that is empty.
        thinning_s: each day's thinning so far.
        longest_s: the longest time so far for which thinning kept others from writing.
    """

    number: int
    read: int
    kept: int
    file_bytes: int
    free_bytes: int
    thinning_s: list[float]
    longest_s: float


def lived(days: int, every: int = 30) -> Iterator[Day]:
    """Lives through the days; tells of each so many, and of the last."""
    chance = np.random.default_rng(1)
    entries = hatches(days)
    longest, took = 0.0, []
    with tempfile.TemporaryDirectory() as name:
        path = Path(name) / "flock.sqlite"
        with open_store(str(path), create=True) as store:
            for number in range(days):
                start = BEGIN + number * DAY
                at = (to_ms(start) + np.arange(0, 86_400, EVERY_S) * 1000).tolist()
                for place in PLACES:
                    with store.writing() as writer:
                        writer.append_readings(place, "", at, *day_of(place, start, chance))
                now = start + DAY
                flock = fold(entries, now)
                began = last = time.perf_counter()

                def piece() -> None:
                    nonlocal longest, last
                    longest = max(longest, time.perf_counter() - last)
                    last = time.perf_counter()

                thin(store, flock, now, rest=piece)
                piece()
                took.append(time.perf_counter() - began)
                if number % every == every - 1 or number == days - 1:
                    told = readings_room(store, flock, now)
                    size = path.stat().st_size
                    yield Day(number + 1, told.read, told.kept, size, told.free, took, longest)


def rows(quick: bool) -> Iterator[Row]:
    """For the page of all benchmarks: half a year."""
    days = 3 if quick else 180
    *_, last = lived(days)
    per_day = 86_400 // EVERY_S * len(PLACES)
    yield Row("room", f"readings of {days} days, {per_day:,} a day, kept",
              last.kept, "", "as they arrived", last.read, None, None)  # fmt: skip
    yield Row("room", "their file", last.file_bytes / 1e6, "MB")
    yield alone("room", "thinning, each day", statistics.median(last.thinning_s), days)
    yield alone("room", "the longest time for which it kept others from writing", last.longest_s)


def main(days: int) -> None:
    """Lives through the days, and prints."""
    for day in lived(days):
        print(
            f"day {day.number:4}: {day.read:12,} read {day.kept:10,} kept, "
            f"file {day.file_bytes / 1e6:7.1f} MB, of which empty {day.free_bytes / 1e6:6.1f} MB",
            flush=True,
        )
    each = sum(day.thinning_s) / days
    print(f"thinning {each:.3f} s a day, the longest piece {day.longest_s:.3f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 365)
