"""A week of paper typed back: right days, all or nothing, and never twice."""

from collections.abc import Mapping
from datetime import UTC, date, datetime
from pathlib import Path

import pytest
from tests.makers import made, uid

from quailwright.exchange.desk import Desk
from quailwright.exchange.paper_back import MOST_DEATHS, entries_back, monday_of, week_back
from quailwright.journal.entries import Entry, as_dict
from quailwright.journal.findings import BadInput
from quailwright.journal.store import open_store

NOW = datetime(2027, 5, 6, 19, tzinfo=UTC)
ON, MONDAY = date(2027, 5, 6), date(2027, 5, 3)
FORM = uid(7_000_000)
FLOCK = (
    made("holding", "2027-01-01", name="Home", timezone="Europe/Lisbon"),
    made("place", "2027-01-01", place="pen", role="pen"),
    made("group", "2027-01-01", group="hens", place="pen", hens=10, cocks=2,
         hatched_on="2026-10-01"),
    made("group", "2027-01-01", group="a|b", place="pen", hens=3, hatched_on="2026-10-01"),
    made("feed_bought", "2027-04-01", feed="pellets", kg=20),
    made("eggs_collected", "2027-05-04", group="hens", eggs=8, by="Mira"),
)  # fmt: skip


@pytest.fixture
def desk(tmp_path: Path) -> Desk:
    """A desk over that flock."""
    store = open_store(str(tmp_path / "flock.sqlite"), create=True)
    with store.writing() as writer:
        writer.append(FLOCK, NOW)
    return Desk(store)


def back(desk: Desk, typed: Mapping[str, str], form: str = FORM) -> list[Entry]:
    """The entries of a week that was typed; raises as `entries_back`."""
    flock = desk.flock(NOW)
    week = week_back(flock, MONDAY, ON)
    return entries_back(week, typed, form, "Tom", NOW, flock.zone, desk.known(NOW))


def test_a_week_begins_on_monday_iso_8601() -> None:
    # ISO 8601: 2027-W18 begins on Monday 3 May 2027.
    assert monday_of(ON) == date.fromisocalendar(2027, 18, 1) == MONDAY


def test_cells_are_ordinary_entries_of_their_days(desk: Desk) -> None:
    typed = {
        "eggs|2027-05-03|hens": "7",
        "eggs|2027-05-03|a|b": " 2 ",
        "eggs|2027-05-05|hens": "0",
        "feed|2027-05-05|pellets": "0,4",
        "dead|0|count": "1",
        "dead|0|day": "2027-05-05",
        "dead|0|who": "hens|cocks",
        "eggs|2027-05-06|hens": "",
    }
    plain = [{k: v for k, v in as_dict(e).items() if k != "id"} for e in back(desk, typed)]
    by = {"by": "Tom"}
    assert plain == [
        {"kind": "eggs_collected", "at": "2027-05-03", "group": "hens", "eggs": 7, **by},
        {"kind": "eggs_collected", "at": "2027-05-03", "group": "a|b", "eggs": 2, **by},
        {"kind": "eggs_collected", "at": "2027-05-05", "group": "hens", "eggs": 0, **by},
        {"kind": "feed_given", "at": "2027-05-05", "feed": "pellets", "kg": 0.4, **by},
        {"kind": "birds_died", "at": "2027-05-05", "group": "hens", "cocks": 1, **by},
    ]


def test_the_same_form_sent_twice_writes_once(desk: Desk) -> None:
    typed = {"eggs|2027-05-03|hens": "7", "eggs|2027-05-05|hens": "9"}
    assert len(desk.record(back(desk, typed), NOW).written) == 2
    again = desk.record(back(desk, typed), NOW)
    assert (len(again.written), again.already) == (0, 2)
    with pytest.raises(BadInput) as refused:
        back(desk, {**typed, "eggs|2027-05-05|hens": "12"})
    assert "another figure" in refused.value.findings[0].sentence


def test_the_last_bird_of_a_kind_sent_twice_dies_once(desk: Desk) -> None:
    typed = {"dead|0|count": "2", "dead|0|day": "2027-05-04", "dead|0|who": "hens|cocks"}
    assert len(desk.record(back(desk, typed), NOW).written) == 1
    assert len(desk.record(back(desk, typed), NOW).written) == 0


def test_deaths_stand_in_the_order_of_the_walk(desk: Desk) -> None:
    desk.record([
        made("place", "2027-01-01", place="far", role="pen", walk_order=2),
        made("place", "2027-01-01", place="near", role="pen", walk_order=1),
        made("group", "2027-01-01", group="second", place="far", hens=3),
        made("group", "2027-01-01", group="first", place="near", hens=3),
    ], NOW)  # fmt: skip
    who = [group for _, group, _ in week_back(desk.flock(NOW), MONDAY, ON).who]
    assert list(dict.fromkeys(who)) == ["first", "second", "hens", "a|b"]


def test_what_was_logged_meanwhile_is_not_doubled(desk: Desk) -> None:
    typed = {"eggs|2027-05-03|hens": "7", "eggs|2027-05-04|hens": "8"}
    with pytest.raises(BadInput) as refused:
        back(desk, typed)
    assert [f.sentence for f in refused.value.findings] == [
        "hens, Tue 4 May: 8 is written down for it already. "
        "Empty the cell; correct the entry in the journal if it is wrong."
    ]


def test_every_cell_that_will_not_do_is_told(desk: Desk) -> None:
    typed = {
        "eggs|2027-05-03|hens": "seven",
        "eggs|2027-05-05|hens": "-1",
        "eggs|2027-05-06|hens": "6",
    }
    with pytest.raises(BadInput) as refused:
        back(desk, typed)
    places = [finding.field for finding in refused.value.findings]
    assert places == ["hens, Mon 3 May", "hens, Wed 5 May"]


@pytest.mark.parametrize(
    "typed",
    [
        {},
        {"eggs|2027-05-08|hens": "5"},  # a day to come
        {"eggs|2027-04-20|hens": "5"},  # of another week
        {"eggs|2027-05-03|nobody": "5"},
        {"dead|0|count": "1"},
        {"dead|0|count": "1", "dead|0|day": "2027-05-03", "dead|0|who": "nobody|hens"},
    ],
)
def test_what_is_no_cell_writes_nothing(desk: Desk, typed: dict[str, str]) -> None:
    with pytest.raises(BadInput):
        back(desk, typed)


def test_a_form_without_its_id_is_refused(desk: Desk) -> None:
    with pytest.raises(BadInput, match="load it anew"):
        back(desk, {"eggs|2027-05-03|hens": "5"}, form="no id")


def test_days_logged_are_shown_and_days_to_come_are_shut(desk: Desk) -> None:
    week = week_back(desk.flock(NOW), MONDAY, ON)
    assert week.groups == ["hens", "a|b"]
    assert [row.eggs[0].logged for row in week.rows] == [None, 8, None, None, None, None, None]
    assert [row.eggs[0].open for row in week.rows] == [True] * 4 + [False] * 3
    assert week.days_open[-1] == ON


def test_a_flock_of_many_groups_fits_the_form_and_the_rest_is_named(desk: Desk) -> None:
    many = [
        made("group", "2027-01-01", group=f"g{n:02}", place="pen", hens=2, hatched_on="2026-10-01")
        for n in range(30)
    ]
    desk.record(many, NOW)
    week = week_back(desk.flock(NOW), MONDAY, ON)
    assert len(week.groups) + len(week.left_out) == 32
    assert week.left_out
    cells = sum(len(row.eggs) + len(row.feed) for row in week.rows)
    assert cells + 3 * MOST_DEATHS + len(("token", "back", "form")) <= 200  # guard._MOST_FIELDS
