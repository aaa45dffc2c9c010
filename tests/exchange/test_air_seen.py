"""What sensors tell the round: lows and highs by night and day, faults left out, no later ones."""

from collections.abc import Iterator
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest
from tests.makers import made

from quailwright.exchange.air_seen import air_counts, air_seen
from quailwright.exchange.desk import Desk
from quailwright.flock.fold import fold
from quailwright.flock.state import AirSeen, Flock
from quailwright.guide.round import todays_round
from quailwright.journal.entries import Entry
from quailwright.journal.readings import to_ms
from quailwright.journal.store import Store, open_store

HOME = made("holding", "2027-01-01", timezone="Europe/Lisbon")  # one hour ahead of UTC in May
BROOD = [
    HOME,
    made("place", "2027-01-01", place="brooder", role="brooder"),
    made("group", "2027-05-02", group="chicks", place="brooder", chicks=36,
         hatched_on="2027-05-02"),
]  # fmt: skip
ON = date(2027, 5, 5)
NIGHT = datetime(2027, 5, 4, 22, tzinfo=UTC)


@pytest.fixture
def store(tmp_path: Path) -> Iterator[Store]:
    with open_store(str(tmp_path / "home.sqlite"), create=True) as opened:
        yield opened


def keep(store: Store, start: datetime, celsius: list[float], instrument: str = "") -> None:
    """A reading every ten minutes from `start` on."""
    at = [to_ms(start + timedelta(minutes=10 * n)) for n in range(len(celsius))]
    with store.writing() as writer:
        writer.append_readings("brooder", instrument, at, celsius, [None] * len(at))


def flock(*entries: Entry) -> Flock:
    return fold([*BROOD, *entries], ON)


WAVES = [24 + n % 5 / 10 for n in range(144)]


def cold_night() -> list[float]:
    return [*WAVES[:30], *(12 + n % 5 / 10 for n in range(12)), *WAVES[:30]]


def test_lows_and_highs_of_nights_and_days_at_the_holding(store: Store) -> None:
    keep(store, datetime(2027, 5, 4, 7, tzinfo=UTC), [*WAVES, *(20 + n % 3 for n in range(36))])
    seen = air_seen(store, flock(), ON)
    # From 8:00 to 18:00 at the holding, to 8:00 the next morning, and the day after.
    assert [(one.lowest_c, one.highest_c) for one in seen] == [(24.0, 24.4), (24.0, 24.4), (20, 22)]
    assert [one.at.isoformat() for one in seen] == [
        "2027-05-04T17:50:00+01:00", "2027-05-05T07:50:00+01:00", "2027-05-05T13:50:00+01:00",
    ]  # fmt: skip
    assert {one.place for one in seen} == {"brooder"}


def test_spikes_and_what_the_instrument_is_off_by_are_left_out(store: Store) -> None:
    readings = [*WAVES[:50], 3.0, *WAVES[51:100]]
    keep(store, NIGHT, readings, "stick")
    off = made("instrument", "2027-01-02", instrument="stick", place="brooder",
               temperature_offset_c=1.5)  # fmt: skip
    assert min(one.lowest_c or 0.0 for one in air_seen(store, flock(off), ON)) == 22.5


def test_what_comes_later_is_not_seen(store: Store) -> None:
    keep(store, NIGHT, cold_night())
    assert air_seen(store, flock(), date(2027, 5, 3)) == ()
    assert air_seen(store, flock(), NIGHT - timedelta(minutes=1)) == ()
    early = air_seen(store, flock(), NIGHT + timedelta(hours=1))
    assert [one.lowest_c for one in early] == [24.0]


def test_a_cold_night_by_sensor_alone_makes_the_sign(store: Store) -> None:
    keep(store, NIGHT, cold_night())
    died = made("birds_died", ON, group="chicks", chicks=4)
    now = flock(died)
    signs = todays_round(now, ON, air_seen(store, now, ON)).signs
    [deaths] = [sign for sign in signs if sign.sign == "deaths of one night"]
    assert deaths.check.startswith("Chilling first. Tonight:")
    assert "fell to 12 °C (Wed 5 May)" in deaths.evidence
    assert "brooder too cold" not in {sign.sign for sign in signs}  # the deaths say it already


def test_places_without_birds_are_not_read(store: Store) -> None:
    keep(store, NIGHT, cold_night())
    nobody = fold([HOME, BROOD[1]], ON)
    assert air_seen(store, nobody, ON) == ()
    assert air_counts(store, nobody, ON) == ""


def test_the_desk_makes_a_round_anew_when_readings_arrive(store: Store) -> None:
    now = datetime(2027, 5, 5, 12, tzinfo=UTC)
    with store.writing() as writer:
        writer.append(BROOD, now)
    desk = Desk(store)
    made_of: list[tuple[AirSeen, ...]] = []

    def take(air: tuple[AirSeen, ...]) -> int:
        made_of.append(air)
        return len(made_of)

    def asked() -> int:
        return desk.with_air(desk.flock(now), "round", ON, now, take)

    assert (asked(), asked()) == (1, 1)
    keep(store, NIGHT, cold_night())
    assert (asked(), asked()) == (2, 2)
    assert made_of[0] == ()
    assert made_of[1][0].lowest_c == 12.0
