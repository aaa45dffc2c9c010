"""The first questions: where a time zone lies, and what each answer writes."""

from datetime import date

import pytest
from tests.makers import made

from quailwright.exchange.first_run import (
    entries_for,
    following,
    latitude_of,
    question,
    questions,
    time_zones,
)
from quailwright.flock.fold import fold
from quailwright.flock.state import Flock
from quailwright.journal.findings import BadInput
from quailwright.journal.moments import zone

ON = date(2027, 5, 3)


# Latitudes of the towns, from memory, to the tenth of a degree; both hemispheres, both signs of
# longitude, and coordinates with and without seconds.
@pytest.mark.parametrize(
    ("name", "degrees"),
    [
        ("Europe/Lisbon", 38.7),
        ("America/Chicago", 41.9),
        ("Australia/Sydney", -33.9),
        ("America/Argentina/Buenos_Aires", -34.6),
        ("America/Guayaquil", -2.2),
        ("Asia/Tokyo", 35.7),
    ],
)
def test_a_time_zone_lies_where_its_town_does(name: str, degrees: float) -> None:
    assert latitude_of(name) == pytest.approx(degrees, abs=0.11)


def test_every_time_zone_offered_is_one_and_lies_on_earth() -> None:
    names = time_zones()
    assert len(names) > 300
    for name in names:
        assert zone(name).key == name
        assert -90 <= (latitude_of(name) or 0) <= 90
    assert latitude_of("Nowhere/Nothing") is None


def test_nothing_answered_writes_nothing() -> None:
    flock = Flock()
    for name in questions(flock, {}):
        shown = question(name, flock, {})
        defaults = {
            field.name: field.value for field in shown.fields if field.value and not field.choices
        }
        assert entries_for(name, flock, defaults, ON) == [], name


def test_a_latitude_that_stands_is_not_made_coarser_by_going_on() -> None:
    flock = fold([made("holding", timezone="Europe/Lisbon", latitude=38.72)])
    shown = {field.name: field.value for field in question("latitude", flock, {}).fields}
    assert shown == {"about": "40", "latitude": "38.72"}
    assert entries_for("latitude", flock, shown, ON) == []
    moved = {**shown, "about": "50"}
    assert entries_for("latitude", flock, moved, ON) == [{"kind": "holding", "latitude": "50"}]
    typed = {**shown, "latitude": "40.1"}
    assert entries_for("latitude", flock, typed, ON) == [{"kind": "holding", "latitude": "40.1"}]


def test_how_sure_says_the_whole_goal_again() -> None:
    flock = fold([made("goal", eggs_per_week=40, from_="2027-06-01")])
    assert entries_for("sure", flock, {"certainty": "0.9"}, ON) == [
        {"kind": "goal", "eggs_per_week": "40", "certainty": "0.9", "from": "2027-06-01"}
    ]
    assert entries_for("sure", Flock(), {"certainty": "0.9"}, ON) == []


def test_birds_with_no_pen_get_one_and_an_age() -> None:
    typed = {"group": "quail", "weeks": "8", "hens": "6", "cocks": "1"}
    assert entries_for("counts", Flock(), typed, ON) == [
        {"kind": "place", "place": "pen", "role": "pen"},
        {"kind": "group", "group": "quail", "hatched_on": "2027-03-08", "place": "pen",
         "hens": "6", "cocks": "1"},
    ]  # fmt: skip


def test_where_they_live_is_asked_only_where_there_is_a_choice() -> None:
    one = [made("place", place="pen", role="pen")]
    assert following("birds", fold(one), {}) == "counts"
    two = fold([*one, made("place", place="loft", role="pen")])
    assert following("birds", two, {}) == "home"
    assert [field.name for field in question("home", two, {}).fields] == ["place"]


def test_a_machine_is_not_laid_over_a_place_of_another_kind() -> None:
    flock = fold([made("place", place="pen", role="pen")])
    with pytest.raises(BadInput) as told:
        entries_for("incubator", flock, {"place": "pen", "capacity_eggs": "60"}, ON)
    assert told.value.findings[0].field == "place"
    with pytest.raises(BadInput):
        question("none", flock, {})
