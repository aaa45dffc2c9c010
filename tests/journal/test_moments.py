"""Dates and instants: as written, at the holding, in order, and up to a cut-off."""

import random
from datetime import UTC, date, datetime, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from quailwright.journal.moments import (
    NotAMoment,
    OrderKey,
    day_text,
    instant,
    order_key,
    parse_moment,
    until,
    utc_text,
    zone,
)

ZONES = ["", "Europe/Lisbon", "America/Los_Angeles", "Pacific/Auckland", "Asia/Kathmandu"]


@pytest.mark.parametrize(
    ("text", "moment"),
    [
        ("2027-05-02", date(2027, 5, 2)),
        ("2028-02-29", date(2028, 2, 29)),
        ("2027-05-02T20:00Z", datetime(2027, 5, 2, 20, tzinfo=UTC)),
        ("2027-05-02T20:00+00:00", datetime(2027, 5, 2, 20, tzinfo=UTC)),
        ("2027-05-02T20:00:30.5-03:30", datetime(2027, 5, 2, 23, 30, 30, 500_000, tzinfo=UTC)),
        ("1970-01-01", date(1970, 1, 1)),
        ("2199-12-31T23:59:59.999999+12:45",
         datetime(2199, 12, 31, 11, 14, 59, 999_999, tzinfo=UTC)),
    ],
)  # fmt: skip
def test_iso_8601_dates_and_date_times_are_read(text: str, moment: date | datetime) -> None:
    read = parse_moment(text)
    assert read == moment
    assert isinstance(read, datetime) == isinstance(moment, datetime)


@given(
    st.text(max_size=30) | st.from_regex(r"\d{4}-\d\d-\d\d(T\d\d:\d\d(:\d\d)?(Z|[+-]\d\d:\d\d)?)?")
)
def test_any_text_is_a_moment_or_a_sentence(text: str) -> None:
    try:
        moment = parse_moment(text)
    except NotAMoment as error:
        sentence = str(error)
    else:
        assert 1970 <= moment.year <= 2199
        assert text.isascii()
        assert not isinstance(moment, datetime) or moment.tzinfo is not None
        return
    assert sentence.endswith(".")
    assert sentence.isprintable()


# The day at the holding. Offsets from the IANA time zone database:
# Lisbon UTC+0, from 01:00 UTC on 28 March 2027 UTC+1 (last Sunday of March; EU directive 2000/84).
# Los Angeles UTC-8, from 10:00 UTC on 14 March 2027 UTC-7 (second Sunday of March).
# Auckland UTC+13, from 14:00 UTC on 3 April 2027 UTC+12 (first Sunday of April, 3 o'clock there);
# from 14:00 UTC on 25 September 2027 UTC+13 (last Sunday of September, 2 o'clock there).
# Kathmandu UTC+5:45.
@pytest.mark.parametrize(
    ("at", "zone_name", "day"),
    [
        ("2027-03-27T23:59Z", "Europe/Lisbon", "2027-03-27"),
        ("2027-03-28T00:00Z", "Europe/Lisbon", "2027-03-28"),
        ("2027-03-28T22:59Z", "Europe/Lisbon", "2027-03-28"),
        ("2027-03-28T23:00Z", "Europe/Lisbon", "2027-03-29"),
        ("2027-03-14T07:59Z", "America/Los_Angeles", "2027-03-13"),
        ("2027-03-14T08:00Z", "America/Los_Angeles", "2027-03-14"),
        ("2027-03-15T06:59Z", "America/Los_Angeles", "2027-03-14"),
        ("2027-03-15T07:00Z", "America/Los_Angeles", "2027-03-15"),
        ("2027-04-03T10:59Z", "Pacific/Auckland", "2027-04-03"),
        ("2027-04-03T11:00Z", "Pacific/Auckland", "2027-04-04"),
        ("2027-04-04T11:59Z", "Pacific/Auckland", "2027-04-04"),
        ("2027-04-04T12:00Z", "Pacific/Auckland", "2027-04-05"),
        ("2027-09-26T10:59Z", "Pacific/Auckland", "2027-09-26"),
        ("2027-09-26T11:00Z", "Pacific/Auckland", "2027-09-27"),
        ("2027-12-31T11:00Z", "Pacific/Auckland", "2028-01-01"),
        ("2027-05-02T20:00-07:00", "Pacific/Auckland", "2027-05-03"),
        ("2027-05-02T18:14Z", "Asia/Kathmandu", "2027-05-02"),
        ("2027-05-02T18:15Z", "Asia/Kathmandu", "2027-05-03"),
        ("2027-05-02T23:30-08:00", "", "2027-05-02"),
        ("2027-05-02", "Pacific/Auckland", "2027-05-02"),
    ],
)
def test_the_day_is_that_of_the_holding(at: str, zone_name: str, day: str) -> None:
    assert day_text(at, zone_name) == day
    assert order_key(at, 0, "", zone_name)[0] == day


def test_a_date_is_an_hour_at_the_holding() -> None:
    assert instant("2027-04-03", "Pacific/Auckland") == datetime(2027, 4, 2, 23, tzinfo=UTC)
    assert instant("2027-04-05", "Pacific/Auckland") == datetime(2027, 4, 5, 0, tzinfo=UTC)
    assert instant("2027-03-28", "Europe/Lisbon", hour=20) == datetime(2027, 3, 28, 19, tzinfo=UTC)
    assert instant("2027-03-28", "") == datetime(2027, 3, 28, 12, tzinfo=UTC)


def test_an_instant_is_shown_at_the_holding() -> None:
    shown = instant("2027-05-02T20:00Z", "Pacific/Auckland")
    assert shown == datetime(2027, 5, 2, 20, tzinfo=UTC)
    assert shown.isoformat() == "2027-05-03T08:00:00+12:00"
    assert instant("2027-05-02T20:00-03:00", "").isoformat() == "2027-05-02T20:00:00-03:00"


def test_a_zone_that_is_none_is_a_sentence() -> None:
    for name in ("Atlantis", "Europe", "../Lisbon", "", "Europe/Lisbon\x00", "x" * 300):
        with pytest.raises(NotAMoment, match="is not a time zone"):
            zone(name)


# Order.


def test_a_date_stands_before_the_instants_of_its_day() -> None:
    written = ["2027-05-02T00:00Z", "2027-05-02", "2027-05-03", "2027-05-01T23:59Z"]
    assert sorted(written, key=lambda at: order_key(at, 0, "", "")) == [
        "2027-05-01T23:59Z", "2027-05-02", "2027-05-02T00:00Z", "2027-05-03",
    ]  # fmt: skip


def test_the_same_instant_from_two_phones_is_one_moment() -> None:
    here = order_key("2027-05-02T20:00+12:00", 3, "b", "Pacific/Auckland")
    there = order_key("2027-05-02T08:00Z", 3, "b", "Pacific/Auckland")
    assert here == there
    assert order_key("2027-05-02T08:00Z", 2, "z", "") < order_key("2027-05-02T08:00Z", 3, "a", "")
    assert order_key("2027-05-02T08:00Z", 3, "a", "") < order_key("2027-05-02T08:00Z", 3, "b", "")


minutes = st.integers(0, 4 * 24 * 60)
offsets = st.sampled_from([0, 60, -480, 720, 345])


def _written(minute: int, offset: int, whole_day: bool) -> str:
    moment = datetime(2027, 4, 2, tzinfo=UTC) + timedelta(minutes=minute)
    local = moment.astimezone(timezone(timedelta(minutes=offset)))
    return local.date().isoformat() if whole_day else local.isoformat(timespec="minutes")


moments = st.builds(_written, minutes, offsets, st.booleans())
stamps = st.tuples(moments, st.integers(0, 3), st.integers(0, 99).map(str))


@pytest.mark.parametrize("zone_name", ZONES)
@given(st.lists(stamps, max_size=12, unique_by=lambda stamp: stamp[2]), st.integers())
def test_the_order_is_total_and_not_that_of_arrival(
    zone_name: str, written: list[tuple[str, int, str]], seed: int
) -> None:
    def key(stamp: tuple[str, int, str]) -> OrderKey:
        return order_key(*stamp, zone_name)

    in_order = sorted(written, key=key)
    arrived = list(written)
    random.Random(seed).shuffle(arrived)
    assert sorted(arrived, key=key) == in_order
    assert len({key(stamp) for stamp in written}) == len(written)
    timed = [datetime.fromisoformat(at) for at, _, _ in in_order if "T" in at]
    if zone_name:  # days follow instants only where all days are those of one place
        assert timed == sorted(timed)
    days = [day_text(at, zone_name) for at, _, _ in in_order]
    assert days == sorted(days)


@given(moments, st.sampled_from(ZONES[1:]))
def test_the_day_agrees_with_the_standard_library(at: str, zone_name: str) -> None:
    if "T" in at:
        expected = datetime.fromisoformat(at).astimezone(zone(zone_name)).date().isoformat()
        assert day_text(at, zone_name) == expected


# Cut-offs.


def included(on: date | datetime, zone_name: str, *written: str) -> list[str]:
    """Which of the moments had happened by then."""
    cut = until(on, zone_name)
    return [at for at in written if cut.includes(order_key(at, 0, "", zone_name))]


def test_until_a_day_takes_the_whole_day_at_the_holding() -> None:
    # 11:59 UTC is 23:59 in Auckland in May (UTC+12).
    written = ("2027-05-02", "2027-05-02T11:59Z", "2027-05-02T12:00Z", "2027-05-03")
    assert included(date(2027, 5, 2), "Pacific/Auckland", *written) == [*written[:2]]
    assert included(date(2027, 5, 3), "Pacific/Auckland", *written) == [*written]
    assert included(date(2027, 5, 2), "", *written) == [*written[:3]]


def test_until_an_instant_takes_that_instant_and_the_dates_up_to_its_day() -> None:
    written = ("2027-05-02", "2027-05-03", "2027-05-02T12:00Z", "2027-05-02T12:01Z", "2027-05-04")
    noon = datetime(2027, 5, 2, 12, tzinfo=UTC)
    assert included(noon, "", *written) == ["2027-05-02", "2027-05-02T12:00Z"]
    assert included(noon, "Pacific/Auckland", *written) == [*written[:3]]


def test_the_moment_of_a_day_is_its_last_second_also_when_clocks_change() -> None:
    # Lisbon's 28 March 2027 has 23 hours, its 31 October 25: both end at their own midnight.
    spring = until(date(2027, 3, 28), "Europe/Lisbon").moment("Europe/Lisbon")
    autumn = until(date(2027, 10, 31), "Europe/Lisbon").moment("Europe/Lisbon")
    assert spring.astimezone(UTC) == datetime(2027, 3, 28, 22, 59, 59, tzinfo=UTC)
    assert autumn.astimezone(UTC) == datetime(2027, 10, 31, 23, 59, 59, tzinfo=UTC)
    given_instant = datetime(2027, 5, 2, 20, tzinfo=UTC)
    assert until(given_instant, "Pacific/Auckland").day == date(2027, 5, 3)
    assert until(given_instant, "Pacific/Auckland").moment("Pacific/Auckland") == given_instant


@given(st.integers(0, 7_000_000_000_000_000), offsets)
def test_recorded_moments_are_utc_to_the_second(microseconds: int, offset: int) -> None:
    utc = datetime(1971, 1, 1, tzinfo=UTC) + timedelta(microseconds=microseconds)
    text = utc_text(utc.astimezone(timezone(timedelta(minutes=offset))))
    assert text.endswith("+00:00")
    assert timedelta(0) <= utc - datetime.fromisoformat(text) < timedelta(seconds=1)
