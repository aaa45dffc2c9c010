"""Readings in the store: kept once, in order, apart by instrument; on SQLite and PostgreSQL."""

import sqlite3
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest

from quailwright.journal.findings import FlockUnusable
from quailwright.journal.readings import Bucket, Extent, Kept, to_ms
from quailwright.journal.store import Store, metadata, open_store

NOON = datetime(2027, 5, 2, 12, tzinfo=UTC)
AT = to_ms(NOON)
MINUTE = 60_000


@pytest.fixture
def store(location: str) -> Iterator[Store]:
    """An empty flock, on each kind of database."""
    with open_store(location, create=True) as opened:
        yield opened


def keep(
    store: Store,
    rows: list[tuple[int, float | None, float | None]],
    instrument: str = "",
    place: str = "inc",
) -> Kept:
    """Keeps rows of (minute after noon, temperature, humidity)."""
    with store.writing() as writer:
        return writer.append_readings(
            place,
            instrument,
            [AT + minute * MINUTE for minute, _, _ in rows],
            [celsius for _, celsius, _ in rows],
            [percent for _, _, percent in rows],
        )


def minutes(
    store: Store, from_: datetime | None = None, until: datetime | None = None
) -> list[int]:
    """The minutes after noon of the readings of `inc` in a span."""
    return [
        int((at - AT) // MINUTE)
        for each in store.readings("inc", from_, until)
        for at in each.at_ms
    ]


def test_what_is_kept_comes_back_in_order_of_time(store: Store) -> None:
    assert keep(store, [(2, 37.7, None), (0, 37.5, 45.0), (1, None, 46.5)]) == Kept(3, 0, 0)
    (readings,) = store.readings("inc")
    assert (readings.place, readings.instrument) == ("inc", "")
    np.testing.assert_array_equal(readings.at_ms, [AT, AT + MINUTE, AT + 2 * MINUTE])
    np.testing.assert_array_equal(readings.temperature_c, [37.5, np.nan, 37.7])
    np.testing.assert_array_equal(readings.humidity_pct, [45.0, 46.5, np.nan])


def test_a_repeat_is_harmless_and_a_different_figure_does_not_replace(store: Store) -> None:
    keep(store, [(0, 37.5, 45.0), (1, 37.5, None)])
    assert keep(store, [(0, 37.5, 45.0), (1, 30.0, None), (2, 37.0, None)]) == Kept(1, 1, 1)
    (readings,) = store.readings("inc")
    np.testing.assert_array_equal(readings.temperature_c, [37.5, 37.5, 37.0])


def test_a_repeat_inside_one_batch_is_counted(store: Store) -> None:
    assert keep(store, [(0, 37.5, None), (0, 37.5, None), (0, 36.0, None)]) == Kept(1, 1, 1)


def test_instruments_and_places_are_kept_apart(store: Store) -> None:
    keep(store, [(0, 37.5, 45.0)], "dial")
    keep(store, [(0, 37.1, 60.0)], "probe")
    keep(store, [(0, 20.0, None)], "dial", place="pen")
    found = {each.instrument: each.temperature_c[0] for each in store.readings("inc")}
    assert found == {"dial": 37.5, "probe": 37.1}
    assert store.reading_extents() == [
        Extent("inc", "dial", 1, NOON, NOON),
        Extent("inc", "probe", 1, NOON, NOON),
        Extent("pen", "dial", 1, NOON, NOON),
    ]


def test_a_span_holds_its_first_instant_and_not_its_last(store: Store) -> None:
    keep(store, [(minute, 37.5, None) for minute in range(5)])
    first, last = NOON + timedelta(minutes=1), NOON + timedelta(minutes=3)
    assert minutes(store, first, last) == [1, 2]
    assert minutes(store, first) == [1, 2, 3, 4]
    assert minutes(store, None, last) == [0, 1, 2]
    assert store.reading_count("inc", first, last) == 2
    assert minutes(store, last, first) == []
    assert store.readings("nowhere") == []


def test_a_long_span_comes_back_whole(store: Store) -> None:
    count = 120_000
    with store.writing() as writer:
        warm = [37.0 + second % 7 for second in range(count)]
        writer.append_readings("inc", "", range(0, count * 1000, 1000), warm, [None] * count)
    (readings,) = store.readings("inc")
    np.testing.assert_array_equal(readings.at_ms, np.arange(count) * 1000)
    np.testing.assert_array_equal(readings.temperature_c, 37.0 + np.arange(count) % 7)


def test_hours_are_summed_in_the_database_as_numpy_sums_them(store: Store) -> None:
    keep(store, [(m, 37 + m % 50 / 100, None if m % 3 else 40.0 + m % 11) for m in range(150)])
    found = store.reading_buckets("inc", timedelta(hours=1))
    (readings,) = store.readings("inc")
    hour = (readings.at_ms - AT) // (60 * MINUTE)
    assert [bucket.start for bucket in found] == [NOON + timedelta(hours=n) for n in range(3)]
    for number, bucket in enumerate(found):
        warm = readings.temperature_c[hour == number]
        damp = readings.humidity_pct[hour == number]
        expected = [len(warm), warm.mean(), warm.min(), warm.max(),
                    np.nanmean(damp), np.nanmin(damp), np.nanmax(damp)]  # fmt: skip
        assert list(bucket[2:]) == pytest.approx(expected)


def test_steps_may_begin_at_the_holdings_midnight(store: Store) -> None:
    keep(store, [(11 * 60 - 1, 20.0, None), (11 * 60, 30.0, None)])
    ahead = timedelta(hours=1)
    assert store.reading_buckets("inc", timedelta(days=1), shift=ahead) == [
        Bucket("", NOON - timedelta(hours=13), 1, 20.0, 20.0, 20.0, None, None, None),
        Bucket("", NOON + timedelta(hours=11), 1, 30.0, 30.0, 30.0, None, None, None),
    ]


def test_what_fails_halfway_leaves_nothing(store: Store) -> None:
    class PowerCut(Exception):
        pass

    def cut_off() -> None:
        with store.writing() as writer:
            writer.append_readings("inc", "", [AT], [37.5], [None])
            raise PowerCut

    with pytest.raises(PowerCut):
        cut_off()
    assert store.reading_extents() == []


def test_a_flock_of_before_readings_is_brought_up_to_date(tmp_path: Path) -> None:
    path = tmp_path / "old.sqlite"
    open_store(str(path), create=True).close()
    with sqlite3.connect(path) as raw:
        since = [name for name in metadata.tables if name != "entry"]
        raw.executescript("; ".join(f"DROP TABLE {name}" for name in since))
        raw.execute("UPDATE alembic_version SET version_num='0001'")
    with open_store(str(path)) as store:
        assert keep(store, [(0, 37.5, None)]) == Kept(1, 0, 0)


def test_a_full_disk_is_a_sentence_and_nothing_is_kept(tmp_path: Path) -> None:
    with open_store(str(tmp_path / "full.sqlite"), create=True) as store:
        many = 200_000

        def fill_up() -> None:
            with store.writing() as writer:
                writer.append_readings("inc", "", [AT], [37.5], [None])
                pages = writer._connection.exec_driver_sql("PRAGMA page_count").scalar_one()
                writer._connection.exec_driver_sql(f"PRAGMA max_page_count = {pages + 20}")
                writer.append_readings("inc", "", range(many), [37.5] * many, [None] * many)

        with pytest.raises(FlockUnusable, match="the disk is full"):
            fill_up()
        assert store.reading_extents() == []
