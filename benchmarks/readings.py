"""Five million readings imported and summed up, beside DuckDB doing the same on the same file.

Run from the project's folder: `.venv-check/bin/python -m benchmarks.readings [ROWS]`. Needs some
600 MB in the temporary folder. Both sides write a database file and give the mean, lowest and
highest of every day. Ours also checks every line, keeps the readings in order and in one place
only, and looks for a clock that is changed; DuckDB is told the shape of the file and checks types.
Then all are thinned as readings of long ago, and read and summed up again.
"""

import random
import resource
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from datetime import datetime, timedelta
from functools import partial
from pathlib import Path
from typing import NamedTuple

import duckdb
from benchmarks.measure import side_by_side
from benchmarks.rows import Row, row_of

from quailwright.exchange.readings_csv import import_csv
from quailwright.exchange.readings_layout import Told
from quailwright.exchange.readings_room import thin
from quailwright.flock.fold import fold
from quailwright.journal.readings import to_ms
from quailwright.journal.store import Store, open_store

ROWS = 5_000_000
SEED = 1
FIRST = datetime.fromisoformat("2017-01-01T00:00+00:00")


class Run(NamedTuple):
    """Seconds for one side, and its summary by day."""

    imported_s: float
    summed_s: float
    days: list[tuple[int, float, float, float, float]]


def lines(count: int, seed: int) -> Iterator[str]:
    """A machine read each minute: temperature and humidity wander about what it is set to."""
    chance = random.Random(seed)
    celsius, percent, at = 37.5, 45.0, FIRST
    yield "time,temperature_c,humidity_pct\n"
    for _ in range(count):
        celsius += (37.5 - celsius) * 0.05 + chance.gauss(0, 0.05)
        percent += (45 - percent) * 0.02 + chance.gauss(0, 0.4)
        yield f"{at:%Y-%m-%d %H:%M:%S},{celsius:.2f},{percent:.1f}\n"
        at += timedelta(minutes=1)


def ours(source: Path, folder: Path) -> Run:
    """Through the functions behind `readings import` and `readings show`."""
    with open_store(str(folder / "flock.sqlite"), create=True) as store:
        imported_s = timed(lambda: import_csv(store, source, "incubator", "", Told("UTC")))
        began = time.perf_counter()
        days = store.reading_buckets("incubator", timedelta(days=1))
        summed_s = time.perf_counter() - began
    return Run(
        imported_s,
        summed_s,
        [
            (
                day.readings,
                day.temperature_c or 0.0,
                day.temperature_low_c or 0.0,
                day.temperature_high_c or 0.0,
                day.humidity_pct or 0.0,
            )
            for day in days
        ],
    )


def duck(source: Path, folder: Path) -> Run:
    """DuckDB, told the shape of the file, into a file of its own."""
    with duckdb.connect(str(folder / "duck.db")) as connection:
        imported_s = timed(
            lambda: connection.execute(
                "CREATE TABLE reading AS SELECT * FROM read_csv(?, header=true, columns="
                "{'instant': 'TIMESTAMP', 'temperature_c': 'DOUBLE', 'humidity_pct': 'DOUBLE'})",
                [str(source)],
            )
        )
        began = time.perf_counter()
        days = connection.execute(
            "SELECT count(*), avg(temperature_c), min(temperature_c), max(temperature_c), "
            "avg(humidity_pct) FROM reading GROUP BY date_trunc('day', instant) "
            "ORDER BY date_trunc('day', instant)"
        ).fetchall()
        summed_s = time.perf_counter() - began
    return Run(imported_s, summed_s, days)


def thin_all(store: Store, read_s: float, whole: Run) -> list[str]:
    """Thins every reading, and says what that took and what reading takes since."""
    longest, last = 0.0, time.perf_counter()

    def piece() -> None:
        nonlocal longest, last
        longest = max(longest, time.perf_counter() - last)
        last = time.perf_counter()

    began = time.perf_counter()
    now = store.reading_extents()[0].last + timedelta(days=60)
    thin(store, fold([]), now, rest=piece)
    thinned_s = time.perf_counter() - began
    again_s = timed(lambda: store.readings("incubator"))
    began = time.perf_counter()
    days = store.reading_buckets("incubator", timedelta(days=1))
    summed_s = time.perf_counter() - began
    for day, before in zip(days, whole.days, strict=True):
        assert (day.readings, day.temperature_low_c, day.temperature_high_c) == (
            before[0], before[2], before[3]
        )  # fmt: skip
        assert abs((day.temperature_c or 0.0) - before[1]) < 1e-6
    rows = store.reading_rows("incubator")
    extents_s = timed(store.reading_extents)
    return [
        f"thinned in {thinned_s:.1f} s, the longest piece {longest:.2f} s; {rows:,} are kept",
        f"read as arrays {again_s:.2f} s ({read_s / again_s:.0f} times as fast), by day "
        f"{summed_s:.2f} s ({whole.summed_s / summed_s:.0f} times), extents {extents_s:.4f} s",
    ]


def timed(work: Callable[[], object]) -> float:
    """Seconds that it takes."""
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def rows(quick: bool) -> Iterator[Row]:
    """For the page of all benchmarks."""
    count, rounds = (5_000, 1) if quick else (500_000, 5)
    summed: dict[str, list[float]] = {"ours": [], "DuckDB": []}
    with tempfile.TemporaryDirectory(prefix="benchmarks-") as name:
        source = Path(name) / "readings.csv"
        with source.open("w") as file:
            file.writelines(lines(count, SEED))

        def timed_here(side: Callable[[Path, Path], Run], whose: str) -> float:
            with tempfile.TemporaryDirectory(dir=name) as folder:
                run = side(source, Path(folder))
            summed[whose].append(run.summed_s)
            return run.imported_s

        imported = side_by_side(
            f"import of {count:,} readings as CSV",
            lambda: timed_here(ours, "ours"),
            "DuckDB, the same file",
            lambda: timed_here(duck, "DuckDB"),
            rounds,
        )
    yield row_of("readings", imported)
    mine, theirs = summed.values()
    yield row_of(
        "readings",
        side_by_side(
            "every day summed up", partial(next, iter(mine)), "DuckDB", partial(next, iter(theirs)),
            rounds,
        ),
    )  # fmt: skip


def main(count: int) -> None:
    """Writes the file, runs both sides, holds their summaries against each other, prints."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        source = folder / "readings.csv"
        with source.open("w") as file:
            file.writelines(lines(count, SEED))
        mine = ours(source, folder)
        memory_mb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
        theirs = duck(source, folder)
        with open_store(str(folder / "flock.sqlite")) as store:
            again_s = timed(lambda: import_csv(store, source, "incubator", "", Told("UTC")))
            read_s = timed(lambda: store.readings("incubator"))
            size_mb = (folder / "flock.sqlite").stat().st_size / 1e6
            thinned = thin_all(store, read_s, mine)
        assert sum(day[0] for day in mine.days) == count
        apart = max(
            abs(one - other)
            for day, same in zip(mine.days, theirs.days, strict=True)
            for one, other in zip(day, same, strict=True)
        )
        assert apart < 1e-9, apart
        print(f"{count:,} readings from {to_ms(FIRST)} on, {source.stat().st_size / 1e6:.0f} MB")
        print(f"{'':12}{'import':>10}{'by day':>10}{'both':>10}")
        for label, run in (("quailwright", mine), ("DuckDB", theirs)):
            both = run.imported_s + run.summed_s
            print(f"{label:12}{run.imported_s:9.2f}s{run.summed_s:9.2f}s{both:9.2f}s")
        pairs = (
            (mine.imported_s, theirs.imported_s),
            (mine.summed_s, theirs.summed_s),
            (mine.imported_s + mine.summed_s, theirs.imported_s + theirs.summed_s),
        )
        print(f"{'ratio':12}" + "".join(f"{one / other:10.1f}" for one, other in pairs))
        print(f"import again {again_s:.2f} s, read as arrays {read_s:.2f} s")
        print(f"flock file {size_mb:.0f} MB, most memory while importing {memory_mb:.0f} MB")
        print(*thinned, sep="\n")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else ROWS)
