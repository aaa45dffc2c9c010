"""The lid of an incubator typed back: right moments, all or nothing, and never twice."""

from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from tests.makers import made, uid

from quailwright.exchange.desk import Desk
from quailwright.exchange.hatch_told import hatch_told
from quailwright.exchange.lid import lid_of
from quailwright.exchange.lid_back import LidBack, entries_back, lid_back
from quailwright.journal.entries import Entry, as_dict
from quailwright.journal.findings import BadInput
from quailwright.journal.store import open_store

NOW = datetime(2027, 5, 6, 12, tzinfo=UTC)
ON = date(2027, 5, 6)
FORM = uid(7_100_000)
FLOCK = (
    made("holding", "2027-01-01", name="Home", timezone="Europe/Lisbon"),
    made("place", "2027-01-01", place="box", role="incubator", capacity_eggs=60),
    made("eggs_set", "2027-04-28T20:00+01:00", hatch="may", eggs=24, place="box", source="friend"),
    made("eggs_weighed", "2027-04-28T20:00+01:00", hatch="may", eggs=24, total_g=264),
    made("care", "2027-04-30", task="turn_eggs", place="box"),
    made("care", "2027-04-30", task="turn_eggs", place="box"),
    made("temperature_seen", "2027-05-01", place="box", lowest_c=37.1, highest_c=37.9),
)  # fmt: skip


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """A desk over that flock."""
    store = open_store(str(tmp_path / "flock.sqlite"), create=True)
    with store.writing() as writer:
        writer.append(FLOCK, NOW)
    return Desk(store)


def form(desk: Desk) -> LidBack:
    """The form of the hatch."""
    flock = desk.flock(NOW)
    return lid_back(flock, lid_of(flock, hatch_told(desk.store, flock, "may", NOW)), ON)


def back(desk: Desk, typed: Mapping[str, str], now: datetime = NOW) -> list[Entry]:
    """The entries of a sheet that was typed; raises as `entries_back`."""
    return entries_back(form(desk), typed, FORM, "Tom", now, desk.known(NOW))


def plain(entries: list[Entry]) -> list[dict[str, object]]:
    """Entries as their fields, without ids."""
    return [{k: v for k, v in as_dict(each).items() if k != "id"} for each in entries]


def test_cells_are_ordinary_entries_of_their_moments(desk: Desk) -> None:
    typed = {
        "weighed|1|eggs": "24",
        "weighed|1|total_g": "254,5",
        "weighed|1|on": "2027-05-03",
        "candled|0|clear": "3",
        "candled|0|dead": "0",
        "turns|2027-05-01": "3",
        "lowest|2027-05-02": "37,2",
        "highest|2027-05-02": "38",
        "turns|2027-05-02": "",
    }
    by = {"by": "Tom"}
    turned = {"kind": "care", "at": "2027-05-01", "task": "turn_eggs", "place": "box", **by}
    assert plain(back(desk, typed)) == [
        {"kind": "eggs_weighed", "at": "2027-05-03T20:00:00+01:00", "hatch": "may", "eggs": 24,
         "total_g": 254.5, **by},
        {"kind": "eggs_candled", "at": "2027-05-05T20:00:00+01:00", "hatch": "may", "clear": 3,
         "dead": 0, **by},
        turned, turned, turned,
        {"kind": "temperature_seen", "at": "2027-05-02", "place": "box", "lowest_c": 37.2,
         "highest_c": 38.0, **by},
    ]  # fmt: skip


def test_what_is_logged_is_shown_and_not_doubled(desk: Desk) -> None:
    shown = form(desk)
    assert [len(row.logged) for row in shown.weighings] == [1, 0, 0, 0]
    days = {each.day.day: each for each in shown.days}
    assert days[date(2027, 4, 30)].turns.logged == 2
    seen = days[date(2027, 5, 1)]
    assert (seen.lowest.logged, seen.highest.logged) == (37.1, 37.9)
    assert [days[date(2027, 5, day)].turns.open for day in (6, 7)] == [True, False]
    for typed in (
        {"weighed|0|eggs": "24", "weighed|0|total_g": "264"},
        {"turns|2027-04-30": "1"},
        {"highest|2027-05-01": "38"},
    ):
        with pytest.raises(BadInput, match="Nothing of the sheet") as refused:
            back(desk, typed)
        assert [finding.kind for finding in refused.value.findings] == ["conflict"]


def test_a_form_sent_twice_writes_once(desk: Desk) -> None:
    typed = {
        "candled|0|clear": "3", "candled|0|dead": "0", "candled|0|on": "2027-05-06",
        "turns|2027-05-03": "2",
    }  # fmt: skip
    entries = back(desk, typed)
    assert entries[0].at == "2027-05-06T13:00:00+01:00"  # done today, so not later than now
    assert len(desk.record(entries, NOW).written) == 3
    again = back(desk, typed, NOW.replace(hour=13))
    assert (desk.record(again, NOW).written, again) == ((), entries)
    with pytest.raises(BadInput, match="Nothing of the sheet"):
        back(desk, {**typed, "candled|0|clear": "4"})


@pytest.mark.parametrize(
    ("typed", "says"),
    [
        ({}, "No cell is filled in"),
        ({"weighed|1|eggs": "24"}, "one is missing"),
        ({"weighed|1|eggs": "x", "weighed|1|total_g": "250"}, "Weighing, due Mon 3 May"),
        ({"candled|0|clear": "1", "candled|0|dead": "0", "candled|0|on": "soon"}, "not one"),
        ({"candled|0|clear": "1", "candled|0|dead": "0", "candled|0|on": "2027-04-01"}, "before"),
        ({"turns|2027-05-01": "2.5"}, "24 at most"),
        ({"turns|2027-05-01": "99"}, "24 at most"),
        ({"turns|2027-05-01": "9" * 5_000}, "24 at most"),
        ({"lowest|2027-05-02": "warm"}, "Sun 2 May"),
        ({"turns|2027-05-20": "3"}, "No cell is filled in"),
    ],
)
def test_what_will_not_do_is_said_where_it_stands(
    desk: Desk, typed: dict[str, str], says: str
) -> None:
    good = {"turns|2027-05-03": "3"} if typed and "No cell" not in says else {}
    with pytest.raises(BadInput) as refused:
        back(desk, {**good, **typed})
    told = [refused.value.sentence, *(each.sentence for each in refused.value.findings)]
    assert says in " ".join(told)


def test_degrees_fahrenheit_are_taken_and_shown(desk: Desk) -> None:
    desk.record([made("holding", "2027-05-02", units="us")], NOW)
    days = {each.day.day: each for each in form(desk).days}
    assert days[date(2027, 5, 1)].lowest.logged == 98.8  # 37.1 °C are 98.78 °F
    seen = back(desk, {"lowest|2027-05-03": "99.5"})
    assert plain(seen)[0]["lowest_c"] == 37.5
