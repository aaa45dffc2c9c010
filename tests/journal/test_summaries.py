"""Readings of long ago in the store: counts, means and repeats, whatever is left out."""

import shutil
from collections.abc import Iterator, Sequence
from datetime import UTC, datetime, timedelta
from itertools import chain
from pathlib import Path

import numpy as np
import pytest
import sqlalchemy as sa
from alembic import command
from numpy.typing import NDArray

from quailwright.journal.migrations import alembic_config
from quailwright.journal.readings import Kept, Readings, to_ms
from quailwright.journal.store import Store, open_store

NOON = datetime(2027, 5, 2, 12, tzinfo=UTC)
AT = to_ms(NOON)
SECOND, HOUR_MS = 1000, 3_600_000
HOUR = timedelta(hours=1)
FAR = AT + 1000 * HOUR_MS
Floats = NDArray[np.float64]


@pytest.fixture
def either(location: str) -> Iterator[Store]:
    """An empty flock, on each kind of database."""
    with open_store(location, create=True) as opened:
        yield opened


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("empty") / "home.sqlite"
    open_store(str(path), create=True).close()
    return path


@pytest.fixture
def store(empty: Path, tmp_path: Path) -> Iterator[Store]:
    """An empty flock."""
    with open_store(str(shutil.copy(empty, tmp_path / "home.sqlite"))) as opened:
        yield opened


def slope(seconds: int) -> tuple[list[int], list[float], list[float]]:
    """A reading every ten seconds that rises evenly, and falls to 30 for a minute half way."""
    at = np.arange(0, seconds, 10)
    warm = 37 + at / seconds
    warm[len(at) // 2 : len(at) // 2 + 6] = 30.0
    return (AT + at * SECOND).tolist(), warm.tolist(), np.full(len(at), 45.0).tolist()


def keep(
    store: Store, at: Sequence[int], warm: Sequence[float], damp: Sequence[float | None]
) -> Kept:
    with store.writing() as writer:
        return writer.append_readings("box", "", at, warm, damp)


def ends_and_turns(at: "NDArray[np.int64]", warm: Floats) -> "NDArray[np.bool_]":
    """Keeps the first and last of every ten minutes, and both sides of each step of more than half
    a degree and of each pause: enough for a slope with a dip."""
    steps = (np.diff(at // 600_000) != 0) | (np.abs(np.diff(warm)) > 0.5) | (np.diff(at) > 600_000)
    return np.append(steps, True) | np.concatenate(([True], steps))


def thin(store: Store, until: int = FAR, most: int = 100_000) -> int:
    """Thins all before an instant, as told by `ends_and_turns`."""
    left_out, begin = 0, None
    (sensor,) = store.reading_sensors()
    while True:
        with store.writing() as writer:
            found = writer.unthinned(sensor.number, begin, until, HOUR_MS, most)
            if found is None:
                return left_out
            kept = ends_and_turns(found.at_ms, found.temperature_c)
            line = np.interp(found.at_ms, found.at_ms[kept], found.temperature_c[kept])
            begins = np.flatnonzero(np.diff(found.at_ms // HOUR_MS, prepend=-1))
            off = np.maximum.reduceat(np.abs(found.temperature_c - line), begins)
            left_out += writer.thin(found, HOUR_MS, kept, (off, np.zeros(len(begins))))
            begin = found.until_ms


def all_of(store: Store) -> Readings:
    (readings,) = store.readings("box")
    return readings


def test_counts_means_lowest_and_highest_stay(either: Store) -> None:
    keep(either, *slope(6 * 3_600))
    before = [either.reading_buckets("box", step * HOUR) for step in (1, 3)]
    extents = either.reading_extents()
    assert thin(either) > 2_000
    after = [either.reading_buckets("box", step * HOUR) for step in (1, 3)]
    for was, now in zip(chain(*before), chain(*after), strict=True):
        assert now[:3] == was[:3]
        assert now[3:] == pytest.approx(was[3:], abs=1e-9)
    assert either.reading_extents() == extents
    assert either.reading_count("box") == 2_160
    assert either.reading_count("box", NOON + HOUR, NOON + 3 * HOUR) == 720
    assert either.reading_rows("box") == len(all_of(either).at_ms) < 80
    (sensor,) = either.reading_sensors()
    assert (sensor.readings, sensor.kept) == (2_160, either.reading_rows("box"))
    stands_for = all_of(either).stands_for
    assert stands_for is not None
    assert stands_for.sum() == 2_160


def test_every_reading_kept_is_one_that_was_read(store: Store) -> None:
    at, warm, damp = slope(6 * 3_600)
    keep(store, at, warm, damp)
    thin(store)
    read = dict(zip(at, warm, strict=True))
    left = all_of(store)
    assert [read[one] for one in left.at_ms.tolist()] == left.temperature_c.tolist()


def test_pieces_come_to_the_same_as_all_at_once_and_a_second_time_changes_nothing(
    empty: Path, tmp_path: Path
) -> None:
    found = []
    for name, most in (("once", 100_000), ("pieces", 400)):
        with open_store(str(shutil.copy(empty, tmp_path / name))) as store:
            keep(store, *slope(6 * 3_600))
            thin(store, AT + 2 * HOUR_MS, most)
            thin(store, most=most)
            assert thin(store) == 0
            found.append(all_of(store))
    once, pieces = found
    np.testing.assert_array_equal(once.at_ms, pieces.at_ms)
    np.testing.assert_array_equal(np.array(once.stands_for), np.array(pieces.stands_for))


def test_what_arrives_again_is_there_already(either: Store) -> None:
    told = slope(6 * 3_600)
    keep(either, *told)
    thin(either)
    left = all_of(either)
    assert keep(either, *told) == Kept(0, 2_160, 0)
    np.testing.assert_array_equal(all_of(either).at_ms, left.at_ms)
    assert either.reading_count("box") == 2_160
    assert thin(either) == 0


def test_a_late_excursion_is_kept_and_what_the_line_tells_is_not(either: Store) -> None:
    keep(either, *slope(6 * 3_600))
    thin(either)
    late = AT + 1_803 * SECOND
    on_line = 37 + 1_803 / 21_600
    assert keep(either, [late], [on_line], [45.0]) == Kept(0, 1, 0)
    assert keep(either, [late], [on_line], [60.0]) == Kept(1, 0, 0)
    assert keep(either, [late + SECOND], [33.0], [None]) == Kept(1, 0, 0)
    assert keep(either, [late + SECOND], [33.0], [None]) == Kept(0, 1, 0)
    assert all_of(either).temperature_c.min() == 30.0
    # The stretch is thinned once more; all that was read before is still known again.
    thin(either)
    assert 33.0 in all_of(either).temperature_c
    assert either.reading_count("box") == 2_162
    assert keep(either, *slope(6 * 3_600)).written == 0


def test_an_empty_stretch_and_a_gap_are_filled_as_ever(store: Store) -> None:
    at, warm, damp = slope(6 * 3_600)
    # Nothing for 40 minutes of the second hour, and nothing in the fourth.
    missing = [4_200 <= (a - AT) / 1000 < 6_600 or
               10_800 <= (a - AT) / 1000 < 14_400 for a in at]  # fmt: skip
    there = [n for n, gone in enumerate(missing) if not gone]
    keep(store, [at[n] for n in there], [warm[n] for n in there], [damp[n] for n in there])
    (sensor,) = store.reading_sensors()
    with store.writing() as writer:
        found = writer.unthinned(sensor.number, None, FAR, HOUR_MS, 100_000)
        assert found is not None
        kept = ends_and_turns(found.at_ms, found.temperature_c)
        none = np.zeros(5)
        writer.thin(found, HOUR_MS, kept, (none, none))
    again = keep(store, at, warm, damp)
    assert again == Kept(sum(missing), len(at) - sum(missing), 0)
    assert store.reading_count("box") == len(at)


def test_a_crash_between_leaves_all_as_it_was(store: Store) -> None:
    class PowerCut(Exception):
        pass

    keep(store, *slope(2 * 3_600))
    (sensor,) = store.reading_sensors()

    def cut_off() -> None:
        with store.writing() as writer:
            found = writer.unthinned(sensor.number, None, FAR, HOUR_MS, 100_000)
            assert found is not None
            writer.thin(found, HOUR_MS, np.arange(720) % 360 == 0, (np.zeros(2), np.zeros(2)))
            raise PowerCut

    with pytest.raises(PowerCut):
        cut_off()
    assert store.reading_rows("box") == store.reading_count("box") == 720


def test_readings_of_one_quantity_at_a_time_are_summed_alike(store: Store) -> None:
    at = [AT + second * SECOND for second in range(3_600)]
    warm = [None if second % 2 else 20.0 + second / 3_600 for second in range(3_600)]
    damp = [50.0 if second % 2 else None for second in range(3_600)]
    with store.writing() as writer:
        writer.append_readings("box", "", at, warm, damp)
    (was,) = store.reading_buckets("box", HOUR)
    (sensor,) = store.reading_sensors()
    with store.writing() as writer:
        found = writer.unthinned(sensor.number, None, FAR, HOUR_MS, 100_000)
        assert found is not None
        kept = np.isin(np.arange(3_600), [0, 1, 3_598, 3_599])
        writer.thin(found, HOUR_MS, kept, (np.zeros(1), np.zeros(1)))
    (now,) = store.reading_buckets("box", HOUR)
    assert now[:3] == ("", NOON, 3_600)
    assert now[3:] == pytest.approx(was[3:], abs=1e-3)


def test_a_flock_with_readings_of_before_is_counted_once(tmp_path: Path) -> None:
    path = tmp_path / "old.sqlite"
    engine = sa.create_engine(f"sqlite:///{path}")
    with engine.begin() as connection:
        command.upgrade(alembic_config(connection), "0006")
        connection.execute(
            sa.text("INSERT INTO sensor (id, place, instrument) VALUES (1, 'b', '')")
        )
        for at in (AT, AT + 1):
            connection.execute(sa.text(f"INSERT INTO reading VALUES (1, {at}, 37.5, NULL)"))
    engine.dispose()
    with open_store(str(path)) as store:
        assert store.reading_extents()[0].readings == store.reading_count("b") == 2


def test_a_new_file_gives_room_back(tmp_path: Path) -> None:
    with open_store(str(tmp_path / "new.sqlite"), create=True) as store:
        keep(store, *slope(48 * 3_600))
        thin(store)
        before = store.room()
        assert before.free > 0.3 * before.size
        store.give_back(before.size)
        assert store.room().free == 0
        assert store.room().size < 0.7 * before.size
