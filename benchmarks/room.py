"""A year of four sensors at a reading every ten seconds, thinned each day: what the file grows to.

Run from the project's folder: `.venv-check/bin/python -m benchmarks.room [DAYS]`. Needs some 200 MB
in the temporary folder. A machine with a hatch every six weeks, its hatcher, a brooder and a pen;
the days pass as fast as they are written. Prints the size by month, what stays a day, and the
longest time for which others could not write.
"""

import sys
import tempfile
import time
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np

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


def main(days: int) -> None:
    """Lives through the days, and prints."""
    chance = np.random.default_rng(1)
    entries = hatches(days)
    longest = thinned_s = 0.0
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
                thinned_s += time.perf_counter() - began
                if number % 30 == 29 or number == days - 1:
                    told = readings_room(store, flock, now)
                    size = path.stat().st_size / 1e6
                    print(
                        f"day {number + 1:4}: {told.read:12,} read {told.kept:10,} kept, "
                        f"file {size:7.1f} MB, of which empty {told.free / 1e6:6.1f} MB",
                        flush=True,
                    )
            print(f"thinning {thinned_s / days:.3f} s a day, the longest piece {longest:.3f} s")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 365)
