"""What many flocks in one PostgreSQL database cost, measured at growing sizes.

`growth.py flocks [--counts 10,20,40] [--entries N] [--readings N]` fills a database with so many
flocks and times one entry, the opening, the fold, a day's readings. `growth.py entries [--counts
100000,1000000]` does so for one flock with many entries. `growth.py empty [--flocks 1000]` makes so
many empty flocks, and brings them up from the schema before today's. `growth.py partitions
[--counts 200000,20000000]` holds the table of readings as it is against one partitioned by year:
writing, reading, thinning, room. `growth.py pooler [--seed N]` has threads of two processes' worth
of connections append, fail and read in three flocks through pgbouncer in transaction mode, and ends
with exit code 1 where anything is lost or mixed.

Each starts a PostgreSQL server of its own (the distribution's programs and settings, nothing
tuned, everything truly on the disk) in a folder that is removed at the end: `--folder` says where.
Each line of the output is one JSON document. `_ms` are medians of what a clock shows, in
milliseconds; `_cpu_ms` are means of what the processor worked, here and in the server, to which
other programs on the machine do not add (Linux: /proc).
"""

import argparse
import contextlib
import json
import os
import random
import shutil
import signal
import statistics
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable, Iterator
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import sqlalchemy as sa

from quailwright.flock.fold import fold
from quailwright.journal.entries import Care, EggsCollected, Entry, FeedGiven, Group
from quailwright.journal.findings import FlockUnusable
from quailwright.journal.flocks import Flocks, open_flocks
from quailwright.journal.readings import to_ms
from quailwright.journal.store import SCHEMA, Store

BEGUN = datetime(2017, 1, 1, tzinfo=UTC)
DAY, YEAR_MS = timedelta(days=1), 366 * 86_400_000
TEN_YEARS = 4 * 3650
SENSORS = 4
_PIECE = 100_000


@contextlib.contextmanager
def server(folder: Path) -> Iterator[str]:
    """A PostgreSQL server of its own; gives the URL of an empty database."""
    programs = sorted(Path("/usr/lib/postgresql").glob("*/bin/pg_ctl"))
    if not programs:
        raise SystemExit("No PostgreSQL server is installed here (Debian: postgresql).")
    home = Path(tempfile.mkdtemp(prefix="growth-", dir=folder))
    as_postgres = ["runuser", "-u", "postgres", "--"] if os.getuid() == 0 else []
    if as_postgres:
        shutil.chown(home, "postgres")

    def run(name: str, *arguments: str | Path) -> None:
        command = [*as_postgres, programs[-1].with_name(name), *arguments]
        subprocess.run(command, check=True, stdout=subprocess.DEVNULL, cwd="/")

    data = home / "data"
    try:
        run("initdb", "-D", data, "-U", "postgres", "-A", "trust", "-E", "UTF8")
        options = f"-c listen_addresses='' -k {home}"
        run("pg_ctl", "-D", data, "-w", "-o", options, "-l", home / "log", "start")
        try:
            _SERVERS.append(int((data / "postmaster.pid").read_text().split()[0]))
            yield f"postgresql://postgres@/postgres?host={home}"
        finally:
            _SERVERS.pop()
            run("pg_ctl", "-D", data, "-w", "-m", "immediate", "stop")
    finally:
        shutil.rmtree(home, ignore_errors=True)


def told(**figures: object) -> None:
    """One line of the output."""
    print(json.dumps(figures), flush=True)


_SERVERS: list[int] = []
"""The process that each server that runs now began with."""


def worked_ms() -> float:
    """How long the processor has worked for this process and for the servers' connections."""
    nanoseconds = time.process_time_ns()
    for server_process in _SERVERS:
        children = Path(f"/proc/{server_process}/task/{server_process}/children").read_text()
        for child in children.split():
            with contextlib.suppress(OSError):
                nanoseconds += int(Path(f"/proc/{child}/schedstat").read_text().split()[0])
    return nanoseconds / 1e6


def timed(figures: dict[str, float], name: str, do: Callable[[], object], times: int = 40) -> None:
    """How long something takes, by the clock and of the processor's work, into the figures."""
    took = []
    do()  # what is done but once is not of it
    before = worked_ms()
    for _ in range(times):
        began = time.perf_counter()
        do()
        took.append(time.perf_counter() - began)
    figures[f"{name}_ms"] = round(1000 * statistics.median(took), 2)
    figures[f"{name}_cpu_ms"] = round((worked_ms() - before) / times, 2)


def seconds(do: Callable[[], object]) -> float:
    """How long it takes once."""
    began = time.perf_counter()
    do()
    return round(time.perf_counter() - began, 2)


def slope(counts: list[int], figures: list[float]) -> float:
    """By how much a figure grows for one more (least squares)."""
    return statistics.linear_regression(counts, figures).slope if len(counts) > 1 else float("nan")


# What a flock holds.


def uid(number: int) -> str:
    """The id of an entry."""
    return f"{number:08x}-0000-4000-8000-{number:012x}"


def entry(number: int) -> Entry:
    """The entries of a household: eggs, feed, water, four a day, then more of the same days."""
    if not number:
        return Group(id=uid(0), at=BEGUN.date().isoformat(), group="layers", place="pen", hens=40)
    at = (BEGUN + number % TEN_YEARS * DAY / 4).isoformat(timespec="minutes")
    if number % 4 == 1:
        return FeedGiven(id=uid(number), at=at, feed="layer crumbs", kg=1.2)
    if number % 4 == 2:
        return Care(id=uid(number), at=at, task="water", place="pen")
    return EggsCollected(id=uid(number), at=at, group="layers", eggs=12 + number % 9)


def fill_entries(store: Store, first: int, count: int) -> None:
    """Entries from a number on."""
    for begin in range(first, first + count, _PIECE):
        with store.writing() as writer:
            end = min(begin + _PIECE, first + count)
            writer.append((entry(number) for number in range(begin, end)), BEGUN)


def fill_readings(engine: sa.Engine, count: int, years: float = 10) -> None:
    """Readings of a few sensors over some years, in order of time as they arrive."""
    each = count // SENSORS
    step = int(years * 365.25 * 86_400_000 / each)
    with engine.begin() as connection:
        for number in range(SENSORS):
            connection.execute(
                sa.text("INSERT INTO sensor (place, instrument, readings) VALUES ('pen', :i, :n)"),
                {"i": f"sensor {number}", "n": each},
            )
        connection.execute(
            sa.text(
                "INSERT INTO reading (sensor, at_ms, temperature_c, humidity_pct) "
                "SELECT sensor.id, :begin + n * CAST(:step AS bigint), "
                "round((20 + 5 * sin(n / 300.0))::numeric, 1), "
                "round((60 + 9 * cos(n / 300.0))::numeric, 1) "
                "FROM generate_series(0, :last) n, sensor"
            ),
            {"begin": to_ms(BEGUN), "step": step, "last": each - 1},
        )


def engine_of(store: Store) -> sa.Engine:
    """The engine that the store works over."""
    return store._engine


def asked(engine: sa.Engine, question: str) -> Any:
    """One figure of the database."""
    with engine.begin() as connection:
        return connection.execute(sa.text(question)).scalar_one()


def vacuumed(flocks: Flocks) -> float:
    """Seconds that it takes to clean up and count the whole database."""
    engine = flocks.engine.execution_options(isolation_level="AUTOCOMMIT")
    with engine.connect() as connection:
        return seconds(lambda: connection.execute(sa.text("VACUUM ANALYZE")))


def state(flocks: Flocks) -> dict[str, object]:
    """What the whole database takes."""
    return {
        "catalogue_mb": round(
            asked(
                flocks.engine,
                "SELECT sum(pg_total_relation_size(oid))::bigint FROM pg_class "
                "WHERE relnamespace = 'pg_catalog'::regnamespace AND relkind = 'r'",
            )
            / 1e6,
            1,
        ),
        "relations": asked(flocks.engine, "SELECT count(*) FROM pg_class"),
        "database_mb": round(
            asked(flocks.engine, "SELECT pg_database_size(current_database())") / 1e6, 1
        ),
        "connections": asked(
            flocks.engine,
            "SELECT count(*) FROM pg_stat_activity WHERE backend_type = 'client backend'",
        ),
    }


def used(flocks: Flocks, names: list[str], fresh: int) -> dict[str, float]:
    """What the use of some flocks takes, one after another, as the requests of an office come."""
    turn = iter(range(10**9))
    number = iter(range(fresh, 10**9))
    stores = {name: flocks.store(name) for name in names}

    def which() -> Store:
        return stores[names[next(turn) % len(names)]]

    def one_entry() -> None:
        with which().writing() as writer:
            writer.append([entry(next(number))], BEGUN)

    def one_reading() -> None:
        at = to_ms(BEGUN) - next(number)
        with which().writing() as writer:
            writer.append_readings("pen", "sensor 0", [at], [20.1], [60.2])

    noon = BEGUN + timedelta(days=1800)
    figures: dict[str, float] = {}
    timed(figures, "open", lambda: flocks.store(names[next(turn) % len(names)]))
    timed(figures, "entry", one_entry, 200)
    timed(figures, "reading", one_reading, 200)
    timed(figures, "day", lambda: which().readings("pen", noon, noon + DAY))
    timed(figures, "latest", lambda: which().latest_readings())
    timed(figures, "read_and_fold", lambda: fold(which().entries()), 5)
    return figures


# The runs.


def many_flocks(url: str, counts: list[int], entries: int, readings: int) -> None:
    """N flocks of one size."""
    found: list[dict[str, Any]] = []
    with open_flocks(url) as flocks:
        for count in counts:
            have = len(flocks.names())
            began = time.perf_counter()
            for number in range(have, count):
                flocks.add(f"flock-{number}", BEGUN)
                store = flocks.store(f"flock-{number}")
                fill_entries(store, 0, entries)
                if readings:
                    fill_readings(engine_of(store), readings)
            filled = time.perf_counter() - began
            vacuumed(flocks)
            names = flocks.names()
            figures = {"flocks": count, "filled_s": round(filled, 1)}
            figures |= used(flocks, names, 10_000_000 + count * 10_000)
            figures |= {"flock_mb": round(statistics.median(flocks.sizes().values()) / 1e6, 2)}
            found.append(figures | state(flocks))
            told(run="flocks", entries=entries, readings=readings, **found[-1])
    for figure, values in ((name, [one[name] for one in found]) for name in found[0]):
        if figure.endswith(("_ms", "_mb", "relations")):
            told(run="flocks", of=figure, more_for_a_flock=slope(counts, values))


def many_entries(url: str, counts: list[int]) -> None:
    """One flock with ever more entries."""
    with open_flocks(url) as flocks:
        flocks.add("one", BEGUN)
        store, have = flocks.store("one"), 0
        for count in counts:
            filled = seconds(lambda: fill_entries(store, have, count - have))  # noqa: B023
            have = count
            vacuumed(flocks)
            figures = used(flocks, ["one"], 10**8 + count)
            figures["flock_mb"] = round(flocks.sizes()["one"] / 1e6, 1)
            told(run="entries", entries=count, filled_s=filled, **figures)


def memory_of_a_flock(url: str, names: list[str]) -> float:
    """Megabytes that a connection of the server keeps for each flock that it has served [MB]."""
    held = "SELECT sum(total_bytes) FROM pg_backend_memory_contexts"
    with open_flocks(url, connections=1) as flocks:
        before = asked(flocks.engine, held)
        for name in names:
            store = flocks.store(name)
            store.entries()
            store.latest_readings()
        return round(float(asked(flocks.engine, held) - before) / 1e6 / len(names), 3)


def empty_flocks(url: str, count: int) -> None:
    """Flocks with nothing in them: what it takes to begin and to upgrade each."""
    with open_flocks(url) as flocks:
        took, before = [], worked_ms()
        for number in range(count):
            began = time.perf_counter()
            flocks.add(f"flock-{number}", BEGUN)
            took.append(time.perf_counter() - began)
            if number + 1 in (10, 100, count // 2, count):
                last = statistics.median(took[-10:]) * 1000
                work = (worked_ms() - before) / (number + 1)
                told(run="empty", flocks=number + 1, add_ms=round(last, 1),
                     add_cpu_ms=round(work, 1), **state(flocks))  # fmt: skip
        vacuumed(flocks)
        store = flocks.store("flock-7")
        names = flocks.names()
        figures = used(flocks, names, 10_000_000)
        for name, do in (
            ("names", flocks.names),
            ("has", lambda: flocks.has("flock-7")),
            ("sizes", flocks.sizes),
            ("room", store.room),
        ):
            timed(figures, name, do)
        told(run="empty", flocks=count, **figures)
        told(run="empty", flocks=count, connection_mb_a_flock=memory_of_a_flock(url, names))
        told(run="empty", flocks=count, upgrade_of_none_s=seconds(flocks.upgrade))
        older = f"{int(SCHEMA) - 1:04d}"
        for name in flocks.names():
            with engine_of(flocks.store(name)).begin() as connection:
                for table in ("notice_message", "notice_told", "notice", "channel"):
                    connection.execute(sa.text(f"DROP TABLE {table}"))
                connection.execute(sa.text(f"UPDATE alembic_version SET version_num = '{older}'"))
        before = worked_ms()
        whole = seconds(flocks.upgrade)
        told(run="empty", flocks=count, upgrade_s=whole, each_ms=round(1000 * whole / count, 1),
             each_cpu_ms=round((worked_ms() - before) / count, 1))  # fmt: skip


PARTITIONED = """
DROP TABLE reading;
CREATE TABLE reading (
    sensor integer NOT NULL, at_ms bigint NOT NULL, temperature_c double precision,
    humidity_pct double precision, stands_for integer, mean_c double precision,
    mean_pct double precision, PRIMARY KEY (sensor, at_ms)
) PARTITION BY RANGE (at_ms);
CREATE TABLE reading_other PARTITION OF reading DEFAULT;
"""


def partitions(url: str, counts: list[int]) -> None:
    """The readings of one flock in one table, and in one for each year."""
    with open_flocks(url) as flocks:
        for count in counts:
            for how in ("one table", "by year"):
                name = f"{how.replace(' ', '-')}-{count}"
                flocks.add(name, BEGUN)
                store = flocks.store(name)
                engine = engine_of(store)
                if how == "by year":
                    with engine.begin() as connection:
                        connection.exec_driver_sql(PARTITIONED)
                        for year in range(2016, 2028):
                            begin, end = (
                                to_ms(datetime(each, 1, 1, tzinfo=UTC)) for each in (year, year + 1)
                            )
                            connection.exec_driver_sql(
                                f"CREATE TABLE reading_{year} PARTITION OF reading "
                                f"FOR VALUES FROM ({begin}) TO ({end})"
                            )
                told(run="partitions", readings=count, how=how, **_of_one(flocks, store, count))
                with flocks.engine.begin() as connection:
                    connection.exec_driver_sql(f'DROP SCHEMA "flock_{name}" CASCADE')
                    connection.exec_driver_sql(
                        f"DELETE FROM quailwright.flock WHERE name = '{name}'"
                    )


def _of_one(flocks: Flocks, store: Store, count: int) -> dict[str, float]:
    engine, name = engine_of(store), str(store.flock)
    before = worked_ms()
    found = {"fill_s": seconds(lambda: fill_readings(engine, count))}
    found["fill_cpu_s"] = round((worked_ms() - before) / 1000, 1)
    vacuumed(flocks)
    found["mb"] = round(flocks.sizes()[name] / 1e6, 1)
    number = iter(range(1, 10**9))
    end = BEGUN + timedelta(days=3652)

    def one_reading() -> None:
        with store.writing() as writer:
            at = to_ms(end) + 60_000 * next(number)
            writer.append_readings("pen", "sensor 0", [at], [20.1], [60.2])

    def a_thousand() -> None:
        first = to_ms(end) + 60_000 * next(number)
        with store.writing() as writer:
            at = [first + 60_000 * one for one in range(1000)]
            writer.append_readings("pen", "sensor 1", at, [20.1] * 1000, [60.2] * 1000)
        for _ in range(1000):
            next(number)

    timed(found, "reading", one_reading, 200)
    timed(found, "thousand", a_thousand, 20)
    old, young = BEGUN + timedelta(days=700), BEGUN + timedelta(days=3500)

    def reads(when: str) -> None:
        days = iter(range(200))

        def a_day(begin: datetime) -> None:
            day = begin + next(days) * DAY / 2
            store.readings("pen", day, day + DAY)

        timed(found, f"old_day{when}", lambda: a_day(old))
        timed(found, f"young_day{when}", lambda: a_day(young))
        timed(
            found,
            f"year_count{when}",
            lambda: store.reading_count("pen", old, old + 365 * DAY),
            5,
        )
        timed(found, f"latest{when}", store.latest_readings)

    reads("")
    until = to_ms(BEGUN + timedelta(days=3287))
    thin = f"DELETE FROM reading WHERE at_ms < {until} AND mod(at_ms / 1000, 10) <> 0"

    def thinned() -> None:
        with engine.begin() as connection:
            connection.exec_driver_sql(thin)

    before = worked_ms()
    found["thin_nine_years_s"] = seconds(thinned)
    found["thin_cpu_s"] = round((worked_ms() - before) / 1000, 1)
    print(json.dumps(found), file=sys.stderr, flush=True)  # what is known so far
    found["vacuum_s"] = vacuumed(flocks)
    found["mb_after"] = round(flocks.sizes()[name] / 1e6, 1)
    reads("_after")
    # What arrives after: does it use again the room that thinning gave?
    more = count // 10

    def arrives() -> None:
        with engine.begin() as connection:
            connection.exec_driver_sql(
                "INSERT INTO reading (sensor, at_ms, temperature_c) SELECT sensor.id, "
                f"{to_ms(BEGUN + timedelta(days=3800))} + n * CAST(6000 AS bigint), 20 "
                f"FROM generate_series(0, {more // SENSORS}) n, sensor"
            )

    found["tenth_more_s"] = seconds(arrives)
    found["mb_with_a_tenth_more"] = round(flocks.sizes()[name] / 1e6, 1)
    return found


# Through a pooler.

_BOUNCER = """
[databases]
postgres = host={home} dbname=postgres user=postgres
[pgbouncer]
listen_addr =
unix_socket_dir = {home}
listen_port = 6432
auth_type = any
pool_mode = transaction
default_pool_size = 3
server_reset_query =
"""


@contextlib.contextmanager
def pooler(url: str) -> Iterator[str]:
    """pgbouncer before that server: three connections to it, two of which a caretaker keeps."""
    program = shutil.which("pgbouncer") or shutil.which("pgbouncer", path="/usr/sbin")
    if program is None:
        raise SystemExit("No pgbouncer is installed here (Debian: pgbouncer).")
    home = url.partition("host=")[2]
    settings = Path(home, "pgbouncer.ini")
    settings.write_text(_BOUNCER.format(home=home))
    settings.chmod(0o644)
    as_postgres = ["runuser", "-u", "postgres", "--"] if os.getuid() == 0 else []
    log = Path(home, "pgbouncer.log").open("w")  # noqa: SIM115
    with log, subprocess.Popen([*as_postgres, program, settings], stderr=log) as process:
        time.sleep(2)
        try:
            yield f"{url}&port=6432"
        finally:
            process.terminate()


def through_pooler(url: str, seed: int, rounds: int = 100) -> None:
    """Eight threads over two pools and three flocks."""
    names = ("creek", "hill", "mill")
    with (
        pooler(url) as pooled,
        open_flocks(pooled, connections=6) as one,
        open_flocks(pooled, connections=6) as two,
    ):
        for name in names:
            one.add(name, BEGUN)
        number = iter(range(10**9))
        turn = threading.Lock()

        def hammer(which: int) -> int:
            chance, kept = random.Random(f"{seed} {which}"), 0
            stores = {name: (one, two)[which % 2].store(name) for name in names}
            for step in range(rounds):
                name = chance.choice(names)
                store, what = stores[name], chance.random()
                with turn:
                    care = Care(id=uid(next(number)), at="2027-05-01", task="water", note=name)
                if what < 0.4:
                    with store.writing() as writer:
                        writer.append([care], BEGUN)
                    kept += 1
                elif what < 0.5:
                    with contextlib.suppress(FlockUnusable), store.writing() as writer:
                        writer.append([care, care], BEGUN)
                elif what < 0.6:
                    with store.writing() as writer:
                        at = [1000 * (1000 * which + step)]
                        writer.append_readings(name, "", at, [20.5], [None])
                elif not (
                    {each.note for each in store.entries()} <= {name}
                    and {each.place for each in store.reading_extents()} <= {name}
                ):
                    raise SystemExit(f"{name} holds what is another's")
            return kept

        with (
            one.store("creek").sole_caretaker() as mine,
            two.store("creek").sole_caretaker() as other,
            two.store("hill").sole_caretaker() as hill,
            ThreadPoolExecutor(8) as threads,
        ):
            kept = sum(threads.map(hammer, range(8)))
            cares = mine(), other(), hill()
        found = sum(len(one.store(name).entries()) for name in names)
        told(run="pooler", acknowledged=kept, found=found, caretakers=cares)
        if found != kept or cares != (True, False, True):
            raise SystemExit(1)


def main() -> None:
    """Runs what is asked for."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("what", choices=["flocks", "entries", "empty", "partitions", "pooler"])
    parser.add_argument("--counts", help="sizes, with commas between")
    parser.add_argument("--flocks", type=int, default=1000)
    parser.add_argument("--entries", type=int, default=10_000)
    parser.add_argument("--readings", type=int, default=200_000)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--folder", type=Path, default=Path("/tmp"))
    given = parser.parse_args()
    usual = {"flocks": "10,20,40", "entries": "100000,1000000", "partitions": "200000,20000000"}
    counts = [int(one) for one in (given.counts or usual.get(given.what, "0")).split(",")]
    # Ended in any way, it stops its server.
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))
    with server(given.folder) as url:
        if given.what == "flocks":
            many_flocks(url, counts, given.entries, given.readings)
        elif given.what == "entries":
            many_entries(url, counts)
        elif given.what == "empty":
            empty_flocks(url, given.flocks)
        elif given.what == "pooler":
            through_pooler(url, given.seed)
        else:
            partitions(url, counts)


if __name__ == "__main__":
    main()
