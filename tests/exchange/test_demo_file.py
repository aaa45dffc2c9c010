"""The demo's file is built anew, and nothing that a keeper wrote is ever written over."""

from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import numpy as np
import pytest
from tests.makers import made

from quailwright.exchange.demo import scenario
from quailwright.exchange.demo_file import INVENTED, build_demo
from quailwright.exchange.now_page import now_page
from quailwright.exchange.now_shown import days_shown, readings_now
from quailwright.exchange.record import check, record
from quailwright.flock.fold import fold
from quailwright.journal.findings import FlockUnusable
from quailwright.journal.readings import Readings, from_ms, to_ms
from quailwright.journal.store import Store, open_store

NOW = datetime(2027, 5, 2, 9, 0, tzinfo=UTC)
ON = date(2027, 5, 2)


def test_the_demo_is_whole_says_that_it_is_invented_and_is_built_anew(tmp_path: Path) -> None:
    path = tmp_path / "new folder" / "demo.sqlite"
    first = build_demo(str(path), ON, 1, NOW)
    with open_store(str(path)) as store:
        assert store.entries() == first
        assert check(store) == []
    holding = fold(first).holding
    assert holding is not None
    assert holding.note.startswith(INVENTED)
    second = build_demo(str(path), ON, 2, NOW)
    assert second != first
    with open_store(str(path)) as store:
        assert store.entries() == second
    assert [found.name for found in path.parent.iterdir()] == ["demo.sqlite"]


@pytest.mark.parametrize("holding", [None, "Hill garden, since 2020"])
def test_a_keepers_own_flock_is_left_as_it_is(tmp_path: Path, holding: str | None) -> None:
    path = tmp_path / "flock.sqlite"
    own = [made("group", "2027-05-01", group="layers", place="shed", hens=20)]
    if holding is not None:
        own.append(made("holding", "2027-05-01", name="home", note=holding))
    with open_store(str(path), create=True) as store:
        record(store, own, NOW)
    before = path.read_bytes()
    with pytest.raises(FlockUnusable, match="not a demo flock; it is left as it is"):
        build_demo(str(path), ON, 1, NOW)
    assert path.read_bytes() == before
    assert not path.with_name("flock.sqlite.new").exists()


def test_a_file_that_is_no_flock_is_left_as_it_is(tmp_path: Path) -> None:
    path = tmp_path / "letter.txt"
    path.write_text("Dear aunt,")
    with pytest.raises(FlockUnusable, match="not a flock file"):
        build_demo(str(path), ON, 1, NOW)
    assert path.read_text() == "Dear aunt,"
    with pytest.raises(FlockUnusable, match="is a folder"):
        build_demo(str(tmp_path), ON, 1, NOW)


def test_a_database_is_never_made_a_demo() -> None:
    with pytest.raises(FlockUnusable, match="Give --flock a path"):
        build_demo("postgresql://keeper@nowhere/flock", ON, 1, NOW)


def test_what_an_unfinished_demo_left_behind_is_no_hindrance(tmp_path: Path) -> None:
    path = tmp_path / "demo.sqlite"
    path.with_name("demo.sqlite.new").write_bytes(b"half")
    path.with_name("demo.sqlite.new-wal").write_bytes(b"half")
    build_demo(str(path), ON, 1, NOW)
    with open_store(str(path)) as store:
        assert store.entries()
    assert [found.name for found in tmp_path.iterdir()] == ["demo.sqlite"]


# What the sensors of the demo tell: invented, like all of it; held to the story.


def shown_at(store: Store, place: str) -> Readings:
    (only,) = store.readings(place)
    return only


def test_sensors_tell_until_now_or_to_the_end_of_the_day(tmp_path: Path) -> None:
    path = str(tmp_path / "demo.sqlite")
    ends = {NOW: NOW, NOW - timedelta(days=200): datetime(2027, 5, 2, 22, tzinfo=UTC)}
    for now, end in ends.items():
        build_demo(path, ON, 1, now)
        with open_store(path) as store:
            last = {one.place: one.at for one in store.latest_readings()}
        for place in (scenario.INCUBATOR, scenario.BROODER):
            assert timedelta(0) <= end - last[place] <= timedelta(minutes=10)
        assert end - last[scenario.HATCHER] > timedelta(days=5)


def test_sensors_tell_of_the_fuse_the_battery_the_heater_and_the_door(tmp_path: Path) -> None:
    path = str(tmp_path / "demo.sqlite")
    build_demo(path, ON, 1, NOW)
    with open_store(path) as store:
        machine, brooder = (shown_at(store, at) for at in (scenario.INCUBATOR, scenario.BROODER))
    true_c = machine.temperature_c - scenario.SENSORS[scenario.INCUBATOR].temperature_offset_c
    coldest = from_ms(int(machine.at_ms[true_c.argmin()]))
    assert true_c.min() == pytest.approx(scenario.OUTAGE_LOWEST_C, abs=0.3)
    assert (ON - coldest.date()).days == scenario.OUTAGE
    yesterday = machine.at_ms >= to_ms(NOW - timedelta(days=1))
    assert 33.5 < true_c[yesterday].min() < 35
    assert brooder.temperature_c.min() < 25
    gaps = np.diff(machine.at_ms[machine.at_ms > to_ms(NOW - timedelta(days=9))]) / 3_600_000
    assert gaps.max() == pytest.approx(5.6, abs=0.1)


def test_an_empty_hatcher_is_not_called_silent(tmp_path: Path) -> None:
    path = str(tmp_path / "demo.sqlite")
    flock = fold(build_demo(path, ON, 1, NOW), NOW)
    with open_store(path) as store:
        page = now_page(
            readings_now(store, flock, days_shown(store, flock, NOW), NOW), "metric", flock.zone
        )
    assert "Silent" not in page.summary
    said = {one.place: one.wanted for one in page.places}
    assert said[scenario.HATCHER] == "Empty: nobody is in it now."
    assert said[scenario.INCUBATOR].startswith("Eggs of apr-23, apr-29: wanted ")
