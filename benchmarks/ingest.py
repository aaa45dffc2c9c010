"""Taking in what sensors send, beside bare inserts of the same rows into the same table.

Run from the project's folder: `.venv-check/bin/python -m benchmarks.ingest [READINGS]`. Both sides
begin with an empty flock file and write the same rows, in transactions of the same size, each on
the disk (SQLite with `synchronous=FULL`) before the next begins. What is measured beside it:

- payload to commit: JSON is read, mapped, checked and kept, as listener and HTTP handler do;
- one at a time: the same, one reading a transaction (a device that posts), beside single inserts;
- through a broker: published to mosquitto at QoS 1, on the disk and acknowledged here;
- the live view, at 24 hours of one reading a second from ten sensors, in a file of millions.

Needs mosquitto for the third; says so where it is missing.
"""

import json
import shutil
import sqlite3
import sys
import tempfile
import time
from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from pathlib import Path

from benchmarks.measure import Ratio, seconds, side_by_side
from benchmarks.rows import MICRO, Row, alone, row_of

from quailwright.exchange.desk import Desk
from quailwright.exchange.mqtt import Listener
from quailwright.exchange.now_shown import DaysAtHand, readings_now
from quailwright.exchange.sensor_keep import Arrived, keep
from quailwright.exchange.sensor_payload import USUAL, read_payload
from quailwright.exchange.sensor_settings import Sensors
from quailwright.journal.readings import to_ms
from quailwright.journal.store import Store, open_store

READINGS, ROUNDS = 50_000, 5
SENSORS, BATCH, SINGLE = 10, 200, 2_000
"""Sensors in turn; readings in one transaction; readings one by one."""
PUBLISHED = 20_000
NOW = datetime(2027, 5, 3, 12, tzinfo=UTC)
BARE = (
    "INSERT OR IGNORE INTO reading (sensor, at_ms, temperature_c, humidity_pct) VALUES (?, ?, ?, ?)"
)
DAY_S = 86_400


def payload(number: int) -> bytes:
    """The message of that number; each sensor's are a second apart."""
    at = to_ms(NOW) - 100_000_000 + number // SENSORS * 1000
    celsius = 37 + number % 100 / 100
    return json.dumps({"temperature": celsius, "humidity": 45.0, "time": at}).encode()


def table_rows(count: int) -> list[tuple[int, int, float, float]]:
    """The same as rows of the table."""
    first = to_ms(NOW) - 100_000_000
    return [
        (n % SENSORS + 1, first + n // SENSORS * 1000, 37 + n % 100 / 100, 45.0)
        for n in range(count)
    ]


@contextmanager
def empty() -> Iterator[Store]:
    """A flock file in which the sensors are known."""
    with (
        tempfile.TemporaryDirectory(prefix="ingest-") as folder,
        open_store(str(Path(folder) / "flock.sqlite"), create=True) as store,
    ):
        with store.writing() as writer:
            for n in range(SENSORS):
                writer.append_readings(f"place-{n}", "", [0], [20.0], [None])
        yield store


def taken_in(payloads: list[bytes], batch: int) -> float:
    """Seconds from payloads to the disk."""
    with empty() as store:

        def work() -> None:
            for start in range(0, len(payloads), batch):
                told = [
                    [Arrived(f"place-{(start + n) % SENSORS}", "",
                             read_payload(each, USUAL, NOW).readings)]
                    for n, each in enumerate(payloads[start : start + batch])
                ]  # fmt: skip
                keep(store, told)

        took = seconds(work)
        kept = sum(store.reading_count(f"place-{n}") for n in range(SENSORS)) - SENSORS
        assert kept == len(payloads), kept
        return took


def bare(made: list[tuple[int, int, float, float]], batch: int) -> float:
    """Seconds of `executemany` of the standard library's driver into the same table."""
    with empty() as store:
        connection = sqlite3.connect(store.location, isolation_level=None)
        connection.execute("PRAGMA synchronous=FULL")

        def work() -> None:
            for start in range(0, len(made), batch):
                connection.execute("BEGIN IMMEDIATE")
                connection.executemany(BARE, made[start : start + batch])
                connection.execute("COMMIT")

        took = seconds(work)
        connection.close()
        return took


def through_the_broker(count: int, program: str) -> float:
    """Seconds from the first message published to the last on the disk."""
    from paho.mqtt.client import Client
    from paho.mqtt.enums import CallbackAPIVersion
    from tests.conftest import Broker
    from tests.makers import made

    with tempfile.TemporaryDirectory(prefix="ingest-broker-") as folder, empty() as store:
        broker = Broker(program, Path(folder), saves_each_change=False)
        broker.start()
        desk, listener = Desk(store), Listener(lambda: NOW)
        with store.writing() as writer:
            writer.append([made("holding", "2027-01-01", timezone="UTC")], NOW)
        sensors = Sensors(store)
        sensors.set_broker(f"127.0.0.1:{broker.port}", "", "", keep=False)
        for n in range(SENSORS):
            sensors.add_topic(f"ingest/{n}", f"place-{n}", "", USUAL, None, NOW)
        client = Client(CallbackAPIVersion.VERSION2, "publisher")
        client.max_inflight_messages_set(500)
        client.connect("127.0.0.1", broker.port)
        client.loop_start()
        try:
            listener.tick(desk, NOW)
            while listener.shown().connected_since is None:
                time.sleep(0.01)
            payloads = [payload(n) for n in range(count)]
            began = time.perf_counter()
            for n, each in enumerate(payloads):
                client.publish(f"ingest/{n % SENSORS}", each, 1)
            while listener.shown().kept < count:
                time.sleep(0.01)
            return time.perf_counter() - began
        finally:
            listener.end()
            client.loop_stop()
            broker.stop()


def live_view(days: int) -> tuple[int, float, float, float]:
    """Readings kept; seconds of the 24 hours made anew, of the present hour, of the rest."""
    with empty() as store:
        start = to_ms(NOW) - days * DAY_S * 1000
        for day in range(days):
            ats = list(range(start + day * DAY_S * 1000, start + (day + 1) * DAY_S * 1000, 1000))
            with store.writing() as writer:
                for n in range(SENSORS):
                    writer.append_readings(f"place-{n}", "", ats, [37.5] * DAY_S, [45.0] * DAY_S)
        flock = Desk(store).flock(NOW)
        at_hand, at = DaysAtHand(), NOW - timedelta(minutes=1)
        days_s = seconds(lambda: at_hand.days(store, flock, at - timedelta(minutes=2)))
        hour_s = seconds(lambda: at_hand.days(store, flock, at))
        shown = at_hand.days(store, flock, at)
        now_s = seconds(lambda: readings_now(store, flock, shown, at))
        return SENSORS * DAY_S * days, days_s, hour_s, now_s


def rows(quick: bool) -> Iterator[Row]:
    """For the page of all benchmarks."""
    count, rounds = (400, 1) if quick else (20_000, ROUNDS)
    for ratio, each in ratios(count, min(SINGLE, count // 2), rounds):
        yield row_of("sensors", ratio, MICRO, each)
    if not quick:
        kept, days_s, hour_s, now_s = live_view(2)
        told = f"live view, {kept:,} readings kept"
        yield alone("sensors", f"{told}: 24 hours, once an hour", days_s)
        yield alone("sensors", f"{told}: the present hour, once a minute", hour_s)
        yield alone("sensors", f"{told}: the rest, each time", now_s)


def ratios(count: int, single: int, rounds: int) -> Iterator[tuple[Ratio, int]]:
    """Payloads to the disk beside bare inserts, and for how many readings each pair ran."""
    payloads, made = [payload(n) for n in range(count)], table_rows(count)
    yield (
        side_by_side(
            f"a reading, payload to commit, {BATCH} a transaction",
            lambda: taken_in(payloads, BATCH),
            "bare executemany",
            lambda: bare(made, BATCH),
            rounds,
        ),
        count,
    )
    yield (
        side_by_side(
            "a reading, payload to commit, one a transaction",
            lambda: taken_in(payloads[:single], 1),
            "bare inserts, one by one",
            lambda: bare(made[:single], 1),
            rounds,
        ),
        single,
    )


def show(row: Ratio, count: int) -> None:
    """One line of the table."""
    low, high = row.spread
    print(
        f"{row.what:44} {row.seconds / count * 1e6:8.1f} µs  {row.against:28} "
        f"{row.reference_seconds / count * 1e6:8.1f} µs  ratio {row.ratio:5.2f} "
        f"({low:.2f}..{high:.2f})",
        flush=True,
    )


def main(count: int) -> None:
    """Runs all and prints the table, each figure a reading."""
    for ratio, each in ratios(count, SINGLE, ROUNDS):
        show(ratio, each)
    program = shutil.which("mosquitto") or shutil.which("mosquitto", path="/usr/sbin")
    if program is None:
        print("mosquitto is not installed: the way through a broker was not measured")
    else:
        some = min(PUBLISHED, count)
        show(
            side_by_side(
                "published, through mosquitto, to commit",
                lambda: through_the_broker(some, program),
                "bare executemany, 20 a transaction",
                lambda: bare(table_rows(some), 20),
                3,
            ),
            some,
        )
    kept, days_s, hour_s, now_s = live_view(6)
    print(
        f"live view, {kept:,} readings kept, 10 sensors at 1 a second: 24 h {days_s * 1000:.0f} ms "
        f"once an hour, the present hour {hour_s * 1000:.0f} ms once a minute, the rest "
        f"{now_s * 1000:.1f} ms"
    )


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else READINGS)
