"""What is kept one by one and for how long, and that reports say the same after thinning."""

import shutil
from collections.abc import Iterator, Sequence
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray
from tests.flock.logs import BEGIN, DAYS, log
from tests.makers import made

from quailwright.exchange.caretaker import Caretaker
from quailwright.exchange.chores import chores
from quailwright.exchange.demo import invented_entries
from quailwright.exchange.desk import Desk
from quailwright.exchange.hatch_told import hatch_told
from quailwright.exchange.readings_report import report
from quailwright.exchange.readings_room import (
    LastTime,
    Thinning,
    keep,
    keeping,
    last_time,
    readings_room,
    thin,
)
from quailwright.exchange.readings_room_told import room_told
from quailwright.flock.fold import fold
from quailwright.flock.state import Flock
from quailwright.journal.entries import Entry
from quailwright.journal.findings import BadInput
from quailwright.journal.readings import to_ms
from quailwright.journal.store import Store, open_store

DAY = timedelta(days=1)
HOUR_MS = 3_600_000
HOME = made("holding", "2027-01-01", timezone="Europe/Lisbon")
SET_AT = datetime(2027, 5, 2, 19, tzinfo=UTC)
CLOSED = SET_AT + 19 * DAY
HATCH = (
    HOME,
    made("eggs_set", SET_AT, hatch="may", eggs=24, place="box", source="post"),
    made("turning_stopped", SET_AT + 15 * DAY, hatch="may", place="hatcher"),
    made("hatch_closed", CLOSED, hatch="may"),
)


@pytest.fixture(scope="module")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("empty") / "home.sqlite"
    open_store(str(path), create=True).close()
    return path


@pytest.fixture
def store(empty: Path, tmp_path: Path) -> Iterator[Store]:
    with open_store(str(shutil.copy(empty, tmp_path / "home.sqlite"))) as opened:
        yield opened


def put(
    store: Store,
    place: str,
    start: datetime,
    days: float,
    every_s: int = 600,
    warm: "NDArray[np.float64] | None" = None,
) -> None:
    """Readings of a place from `start` on; a machine that swings, where no others are given."""
    at = to_ms(start) + np.arange(0, int(days * 86_400), every_s) * 1000
    if warm is None:
        warm = np.round(37.5 + 0.2 * np.sin(at / 300_000), 2)
    with store.writing() as writer:
        writer.append_readings(place, "", at.tolist(), warm.tolist(), [45.0] * len(at))


def kept(store: Store, place: str, start: datetime, days: float) -> float:
    """The share of readings of a span that is kept."""
    span = start, start + days * DAY
    return store.reading_rows(place, *span) / store.reading_count(place, *span)


def test_the_last_days_and_those_of_a_hatch_are_kept_one_by_one(store: Store) -> None:
    flock = fold(HATCH)
    for place in ("box", "hatcher", "pen"):
        put(store, place, SET_AT - 10 * DAY, 60, every_s=150)
    now = CLOSED + 29 * DAY
    thin(store, flock, now)
    assert kept(store, "box", SET_AT, 19) == kept(store, "hatcher", SET_AT, 19) == 1
    assert kept(store, "box", SET_AT - 10 * DAY, 9) < 0.8
    assert kept(store, "box", CLOSED + DAY, 13) < 0.8
    assert kept(store, "pen", SET_AT, 19) < 0.8
    assert all(kept(store, place, now - 14 * DAY, 14) == 1 for place in ("box", "pen"))
    told = readings_room(store, flock, now)
    assert [(one.hatch, one.place) for one in told.hatches] == [("may", "box"), ("may", "hatcher")]
    assert told.read == 3 * 60 * 576
    assert told.read - told.left_out == told.kept == sum(one.kept for one in told.sensors)
    # A month after the hatch its readings are thinned too.
    thin(store, flock, CLOSED + 31 * DAY)
    assert kept(store, "box", SET_AT, 19) < 0.8
    assert readings_room(store, flock, CLOSED + 31 * DAY).hatches == ()


def test_a_hatch_that_nobody_closed_is_kept_no_longer_than_others(store: Store) -> None:
    flock = fold(HATCH[:2])
    put(store, "box", SET_AT, 5, every_s=60)
    assert thin(store, flock, SET_AT + 45 * DAY) == Thinning(0, 0, whole=True)
    assert thin(store, flock, SET_AT + 60 * DAY).left_out > 1_000


def test_the_household_says_for_how_long(store: Store) -> None:
    put(store, "pen", SET_AT, 40, every_s=60)
    flock, now = fold([HOME]), SET_AT + 40 * DAY
    keep(store, " 30 ", "7")
    assert (keeping(store).days, keeping(store).after_hatch_days) == (30, 7)
    thin(store, flock, now)
    assert kept(store, "pen", now - 30 * DAY, 30) == 1 > kept(store, "pen", SET_AT, 9)
    for wrong in ("", "6", "3651", "-9", "1e3", "seven", "٣٠", "9" * 400):
        with pytest.raises(BadInput, match="whole number from 7 to 3650"):
            keep(store, "14", wrong)
    assert keeping(store).days == 30


def test_a_dry_run_says_what_thinning_does_and_changes_nothing(store: Store) -> None:
    put(store, "pen", SET_AT, 30)
    flock, now = fold([HOME]), SET_AT + 40 * DAY
    would = thin(store, flock, now, dry_run=True)
    assert store.reading_rows("pen") == 30 * 144
    assert thin(store, flock, now) == would
    assert store.reading_rows("pen") == 30 * 144 - would.left_out
    assert thin(store, flock, now) == Thinning(0, 0, whole=True)


def test_the_chore_works_in_pieces_and_then_rests_for_the_day(store: Store) -> None:
    now = SET_AT + 400 * DAY
    with store.writing() as writer:
        writer.append([HOME], SET_AT)
    put(store, "pen", SET_AT, 50, every_s=60)
    desk = Desk(store)
    (chore,) = (one for one in chores() if one.name == "readings")
    rests: list[int] = []
    came = thin(store, fold([HOME]), now, False, 2, lambda: rests.append(1))
    assert (came.whole, len(rests)) == (False, 1)
    assert "left out" in chore.do(desk, now)
    told = last_time(store)
    assert told is not None
    assert (told.at, told.whole) == (now, True)
    put(store, "pen", SET_AT - DAY, 1, every_s=60)
    caretaker = Caretaker(desk, [chore], lambda: now)
    for later_by in (timedelta(minutes=15), timedelta(hours=19)):
        caretaker.do_due(now + later_by)
    assert kept(store, "pen", SET_AT - DAY, 1) == 1
    caretaker.do_due(now + DAY)
    assert kept(store, "pen", SET_AT - DAY, 1) < 0.8
    assert last_time(store) == LastTime(now + DAY, 1440 - store.reading_rows(
        "pen", SET_AT - DAY, SET_AT), whole=True)  # fmt: skip
    told_again = " ".join(room_told(readings_room(store, fold([HOME]), now + DAY), "UTC"))
    assert "readings were left out" in told_again


def test_a_clock_that_jumps_ahead_for_a_while_leaves_nothing_out(store: Store) -> None:
    """Such as a computer whose battery is empty, until it has asked for the time."""
    with store.writing() as writer:
        writer.append([HOME], SET_AT)
    put(store, "pen", SET_AT, 2, every_s=60)
    (chore,) = (one for one in chores() if one.name == "readings")
    desk, now = Desk(store), SET_AT + 3 * DAY
    chore.do(desk, now)
    jumped = now + 9000 * DAY
    chore.do(desk, jumped)
    chore.do(desk, jumped + timedelta(hours=2))
    chore.do(desk, now + timedelta(hours=3))
    assert kept(store, "pen", SET_AT, 2) == 1
    # A computer that was off for a year thins a day later.
    chore.do(desk, now + 400 * DAY)
    chore.do(desk, now + 401 * DAY)
    assert kept(store, "pen", SET_AT, 2) < 0.8


def test_an_empty_flock_has_room_to_tell(store: Store) -> None:
    told = readings_room(store, fold([]), SET_AT)
    assert (told.read, told.kept, told.sensors, told.last) == (0, 0, (), None)
    assert "No readings yet" in room_told(told, "")[0]


def test_the_file_levels_off(store: Store) -> None:
    """Four weeks of two sensors at a reading a minute, a chore a day, a week kept one by one."""
    keep(store, "7", "7")
    sizes = []
    for day in range(28):
        for place in ("pen", "shed"):
            put(store, place, SET_AT + day * DAY, 1, every_s=60)
        thin(store, fold([HOME]), SET_AT + (day + 1) * DAY)
        room = store.room()
        sizes.append(room.size)
    # What is added each day is what stays of it for good.
    grown = (sizes[-1] - sizes[13]) / 14
    assert grown < sizes[6] / 7 * 0.8


@pytest.mark.parametrize("kind", ["doors", "power cut"])
def test_a_report_says_the_same_before_and_after(store: Store, kind: str) -> None:
    entries = [HOME, made("place", "2027-01-01", place="box", role="incubator")]
    flock = fold(entries)
    readings = log(kind, 10)
    with store.writing() as writer:
        writer.append_readings(
            "box", "", readings.at_ms.tolist(), readings.temperature_c.tolist(),
            readings.humidity_pct.tolist(),
        )  # fmt: skip
    span = BEGIN, BEGIN + DAYS * DAY
    (before,) = report(store, flock, "box", *span).climates
    thin(store, flock, BEGIN + 60 * DAY)
    assert store.reading_rows("box") < 0.1 * len(readings.at_ms)
    (after,) = report(store, flock, "box", *span).climates
    assert (after.readings, after.gaps) == (before.readings, before.gaps)
    assert [day.readings for day in after.days] == [day.readings for day in before.days]
    assert before.temperature is not None
    assert after.temperature is not None
    assert after.temperature.hours_below == pytest.approx(before.temperature.hours_below, abs=0.06)


@pytest.fixture(scope="module")
def demo() -> Sequence[Entry]:
    return invented_entries(date(2027, 7, 1), np.random.default_rng(3))


def test_a_hatch_of_the_demo_is_told_alike_before_and_after(
    store: Store, demo: Sequence[Entry]
) -> None:
    """Readings each minute in both machines, of all days on which eggs lay in them."""
    now = datetime(2027, 7, 1, 5, tzinfo=UTC)
    flock: Flock = fold(demo, now)
    chance = np.random.default_rng(4)
    closed = [one for one in flock.hatches.values() if one.closed_at is not None][-1:]
    for hatch in closed:
        for place in (hatch.set_in, hatch.place):
            minutes = np.arange(18 * 1440)
            warm = 37.3 + 0.2 * np.sin(minutes / 2) + chance.normal(0, 0.05, len(minutes))
            warm[7_000:7_040] -= 8  # 40 minutes without current
            warm[minutes % 700 < 3] -= 4  # a door
            put(store, place, hatch.set_at, 18, 60, np.round(warm, 1))
    before = [hatch_told(store, flock, hatch.name, now) for hatch in closed]
    late = now + 40 * DAY
    assert thin(store, fold(demo, late), late).left_out > 20_000
    after = [hatch_told(store, flock, hatch.name, now) for hatch in closed]
    for was, told in zip(before, after, strict=True):
        assert abs(told.window.mean_at - was.window.mean_at) < timedelta(minutes=15)
        assert told.weight.loss_at_stop_pct == pytest.approx(was.weight.loss_at_stop_pct, abs=0.02)
        assert told.said == was.said
        assert told.post_mortem is not None
        assert was.post_mortem is not None
        assert [one.cause for one in told.post_mortem.causes] == [
            one.cause for one in was.post_mortem.causes
        ]
        assert [one.weight for one in told.post_mortem.causes] == pytest.approx(
            [one.weight for one in was.post_mortem.causes], abs=0.01
        )


def test_any_order_of_arrival_and_of_thinning_comes_to_the_same(store: Store) -> None:
    """Each example is an instrument of its own."""
    number = iter(range(10_000))
    home = fold([HOME])

    @settings(max_examples=12)
    @given(st.data())
    def comes_to_the_same(data: st.DataObject) -> None:
        place = f"pen {next(number)}"
        chance = np.random.default_rng(data.draw(st.integers(0, 2**32)))
        at = to_ms(SET_AT) + np.cumsum(
            chance.choice([5_000, 10_000, 700_000], 900, p=[0.5, 0.49, 0.01])
        )
        warm = np.cumsum(chance.normal(0, 0.05, len(at))) + 20
        warm += np.where(chance.random(len(at)) < 0.02, chance.normal(0, 8, len(at)), 0)
        warm = np.round(warm, 2)
        order = chance.permutation(len(at)) if data.draw(st.booleans()) else np.arange(len(at))
        cuts = sorted(data.draw(st.lists(st.integers(0, len(at)), max_size=4)))
        written = 0

        def arrive(which: "NDArray[np.int64]") -> int:
            with store.writing() as writer:
                return writer.append_readings(
                    place, "", at[which].tolist(), warm[which].tolist(), [None] * len(which)
                ).written

        for part in np.split(order, cuts):
            written += arrive(part)
            if data.draw(st.booleans()):
                hours = data.draw(st.integers(0, 6))
                thin(store, home, SET_AT + 14 * DAY + timedelta(hours=hours))
            assert arrive(part) == 0
        assert store.reading_count(place) == store.reading_extents(place)[0].readings == written
        thin(store, home, SET_AT + 60 * DAY)
        assert arrive(order) == 0
        (left,) = store.readings(place)
        for end in (np.argmin, np.argmax):
            assert (
                left.at_ms[end(left.temperature_c)],
                left.temperature_c[end(left.temperature_c)],
            ) == (at[end(warm)], warm[end(warm)])
        assert store.reading_count(place) == written
        assert thin(store, home, SET_AT + 60 * DAY) == Thinning(0, 0, whole=True)

    comes_to_the_same()
