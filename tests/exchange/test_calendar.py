"""The calendar as written: read by others' parsers, sequences, clock changes.

RFC 5545 (iCalendar), RFC 5546 (who keeps what), RFC 7986 (names, refreshing). Two parsers that know
nothing of the library that writes check every calendar here: `ical` by the letter, and `vobject`,
which reads the zone from the file itself (dateutil's `tzical`).
"""

from collections.abc import Sequence
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from io import StringIO
from typing import Any
from uuid import UUID
from zoneinfo import ZoneInfo

import pytest
from dateutil.tz import tzical
from hypothesis import example, given, settings
from hypothesis import strategies as st
from ical.calendar_stream import IcsCalendarStream
from tests.calendar_client import CalendarApp, events_in, in_utc
from tests.makers import uid

from quailwright.exchange.calendar_events import Event
from quailwright.exchange.calendar_ics import (
    ASKED_AGAIN_AFTER,
    NotOurs,
    Wrapping,
    calendar,
    told_in_file,
)
from quailwright.exchange.calendar_revised import CALLED_OFF_FOR, REMEMBERED_FOR, Told, revised
from quailwright.language import speaking

MARK = uid(1)
NOW = datetime(2027, 3, 20, 9, tzinfo=UTC)
LISBON = "Europe/Lisbon"
ZONES = (
    LISBON, "America/St_Johns", "Australia/Lord_Howe", "Europe/Dublin", "Africa/Casablanca",
    "Asia/Kathmandu",
)  # fmt: skip
"""Whole, half and no hours of summer time; a winter that is an hour less; clocks put back for a
month of the moon; none."""


def event(number: int = 1, **said: Any) -> Event:
    """An event of a day, unless said otherwise."""
    made = Event(
        str(UUID(int=number)),
        "hatch",
        date(2027, 4, 2),
        date(2027, 4, 3),
        "Candle the eggs: may",
        "Take out clear eggs.",
        "box",
        "/hatches/may",
        timedelta(hours=5),
    )
    made = replace(made, **said)
    return made if made.english[0] else replace(made, english=(made.summary, made.description))


def at(day: int, hour: int, month: int = 4, zone: str = LISBON) -> datetime:
    """An instant of spring 2027 at the holding."""
    return datetime(2027, month, day, hour, tzinfo=ZoneInfo(zone))


def written(
    events: Sequence[Event], told: dict[str, Told] | None = None, now: datetime = NOW,
    zone: str = LISBON, wrapping: Wrapping | None = None,
) -> tuple[str, dict[str, Told]]:  # fmt: skip
    """The calendar, read by the stricter parser first; and what is remembered."""
    components, after = revised(events, told or {}, now, "en", zone)
    content = calendar(components, wrapping or Wrapping(MARK, "Quail", zone), after.values())
    IcsCalendarStream.calendar_from_ics(content.decode())
    return content.decode(), after


def unfolded(text: str) -> list[str]:
    """Content lines (RFC 5545, 3.1)."""
    return text.replace("\r\n ", "").split("\r\n")


# As written.


def test_a_calendar_names_itself_and_says_when_to_look_again() -> None:
    lines = unfolded(written([event()])[0])
    for line in (
        "VERSION:2.0", "NAME:Quail", "X-WR-CALNAME:Quail",
        "REFRESH-INTERVAL;VALUE=DURATION:PT1H", "X-PUBLISHED-TTL:PT1H",
    ):  # fmt: skip
        assert line in lines
    assert timedelta(hours=1) == ASKED_AGAIN_AFTER
    assert not any(line.startswith("METHOD") for line in lines)


def test_days_have_no_clock_and_instants_have_their_zone() -> None:
    text, _ = written([event(), event(2, start=at(1, 20), end=at(1, 21))])
    lines = unfolded(text)
    assert "DTSTART;VALUE=DATE:20270402" in lines
    assert "DTEND;VALUE=DATE:20270403" in lines
    assert f"DTSTART;TZID={LISBON}:20270401T200000" in lines
    assert "TRIGGER:-PT5H" in lines
    assert "TRANSP:TRANSPARENT" in lines
    assert "BEGIN:VTIMEZONE" not in written([event()])[0]
    assert "DTSTART:20270401T200000Z" in unfolded(
        written([event(start=at(1, 20, zone="UTC"), end=at(1, 21, zone="UTC"))], zone="")[0]
    )


def test_links_stand_where_the_address_is_known_and_alarms_by_choice() -> None:
    known = Wrapping(MARK, "Quail", LISBON, "http://10.0.0.2:8347/", alarms=False)
    lines = unfolded(written([event()], wrapping=known)[0])
    assert "URL:http://10.0.0.2:8347/hatches/may" in lines
    assert any(line.endswith("\\n\\nhttp://10.0.0.2:8347/hatches/may") for line in lines)
    assert "BEGIN:VALARM" not in lines
    assert "URL" not in written([event()])[0]


_LINE = st.text(
    st.characters(exclude_categories=["Cc", "Cs"]) | st.sampled_from(",;:\\\"'🐣ã"),
    min_size=1,
    max_size=90,
)
_TEXT = st.lists(_LINE, max_size=4).map("\n".join)
_SPAN = datetime(2027, 1, 1), datetime(2029, 12, 31)  # noqa: DTZ001
_DAY = st.dates(date(2027, 1, 1), date(2029, 12, 31))
_TIMES = _DAY.map(lambda day: (day, day + timedelta(days=1))) | st.tuples(
    st.datetimes(*_SPAN).map(
        lambda moment: moment.replace(tzinfo=UTC, microsecond=0).astimezone(ZoneInfo(LISBON))
    )
).map(
    lambda made: (
        made[0],
        (made[0].astimezone(UTC) + timedelta(minutes=15)).astimezone(made[0].tzinfo),
    )
)
_EVENTS = st.lists(
    st.builds(
        lambda times, title, text, place, alarm, likely: (times, title, text, place, alarm, likely),
        _TIMES,
        _LINE,
        _TEXT,
        _LINE,
        st.none() | st.integers(0, 2000).map(lambda minutes: timedelta(minutes=minutes)),
        st.booleans(),
    ),
    max_size=4,
)


@settings(max_examples=40, deadline=None)
@given(_EVENTS)
@example([((date(2027, 4, 2), date(2027, 4, 3)), "a\u2028b\u2029c", "", "e\\n", None, False)])
def test_any_events_come_back_from_two_parsers(made: list[Any]) -> None:
    events = [
        event(
            number, start=times[0], end=times[1], summary=title, description=text, place=place,
            alarm=alarm, likely=likely,
        )
        for number, (times, title, text, place, alarm, likely) in enumerate(made)
    ]  # fmt: skip
    text, told = written(events)
    assert all(len(line.encode()) <= 75 for line in text.split("\r\n"))
    assert text.count("\n") == text.count("\r\n")
    by_letter = {one.uid: one for one in IcsCalendarStream.calendar_from_ics(text).events}
    by_other = {one.uid.value: one for one in events_in(text)} if events else {}
    assert set(by_letter) == set(by_other) == {one.uid for one in events}
    for one in events:
        strict, other = by_letter[one.uid], by_other[one.uid]
        assert strict.dtstart is not None
        assert strict.dtend is not None
        assert in_utc(strict.dtstart) == in_utc(other.dtstart.value) == in_utc(one.start)
        assert in_utc(strict.dtend) == in_utc(other.dtend.value) == in_utc(one.end)
        assert strict.summary == other.summary.value == one.summary
        assert (strict.description or "") == other.description.value == one.description
        assert strict.location == other.location.value == one.place
        assert len(strict.alarm) == int(one.alarm is not None)
    assert told_in_file(text.encode(), MARK) == told


# Clocks that change.


@pytest.mark.parametrize("zone", ZONES)
def test_the_zone_in_the_file_tells_the_right_instants_for_years(zone: str) -> None:
    start = datetime(2027, 6, 1, 12, tzinfo=ZoneInfo(zone))
    text, _ = written([event(start=start, end=start + timedelta(hours=1))], zone=zone)
    begin, end = text.index("BEGIN:VTIMEZONE"), text.index("END:VTIMEZONE")
    told = tzical(StringIO(f"{text[begin:end]}END:VTIMEZONE\r\n")).get()
    there, moment = ZoneInfo(zone), datetime(2027, 1, 1, tzinfo=UTC)
    while moment.year < 2032:
        following = moment + timedelta(hours=12)
        changes = moment.astimezone(there).utcoffset() != following.astimezone(there).utcoffset()
        for number in range(24 if changes else 1):
            shown = moment + number * timedelta(minutes=30)
            assert shown.astimezone(told).replace(tzinfo=None) == shown.astimezone(there).replace(
                tzinfo=None
            ), shown
        moment = following


# What changed (RFC 5545, 3.8.7.4; RFC 5546, 2.1.5).


def test_nothing_changes_where_nothing_changed() -> None:
    first, told = written([event()])
    later, _ = written([event()], told, NOW + timedelta(days=3))
    assert later == first


def test_what_moves_keeps_its_uid_and_counts_up() -> None:
    app = CalendarApp()
    first, told = written([event()])
    app.take(first)
    moved = event(start=date(2027, 4, 5), end=date(2027, 4, 6))
    second, told = written([moved], told, NOW + timedelta(hours=1))
    app.take(second)
    (kept,) = app.shown.values()
    assert (kept.start, kept.sequence) == (date(2027, 4, 5), 1)
    assert kept.stamp == NOW + timedelta(hours=1)
    app.take(first)  # an old copy that arrives late
    assert app.shown[moved.uid].start == date(2027, 4, 5)


def test_done_is_told_and_rings_no_more() -> None:
    app = CalendarApp()
    first, told = written([event()])
    app.take(first)
    done = event(summary="Done: Candle the eggs: may", done=True, alarm=None)
    app.take(written([done], told, NOW + timedelta(hours=1))[0])
    kept = app.of("Done: Candle the eggs: may")
    assert kept.sequence == 1
    assert not kept.rings


def test_a_text_alone_changes_the_stamp_and_not_the_sequence() -> None:
    first, told = written([event()])
    other = event(description="Take out clear eggs and blood rings.")
    app = CalendarApp()
    app.take(first)
    text, _ = written([other], told, NOW + timedelta(hours=1))
    app.take(text)
    (kept,) = app.shown.values()
    assert (kept.sequence, kept.stamp) == (0, NOW + timedelta(hours=1))


def test_another_language_alone_changes_no_sequence_and_no_stamp() -> None:
    _, told = written([event()])
    portuguese = event(
        summary="Ovoscopia: may", description="Tire os ovos claros.",
        english=("Candle the eggs: may", "Take out clear eggs."),
    )  # fmt: skip
    components, after = revised([portuguese], told, NOW + timedelta(days=1), "pt", LISBON)
    (told_now,) = after.values()
    assert (told_now.sequence, told_now.changed) == (0, told[portuguese.uid].changed)
    assert told_now.said == {"en": "Candle the eggs: may", "pt": "Ovoscopia: may"}
    # Called off later it is told to each in their own language.
    gone, _ = revised([], after, NOW + timedelta(days=2), "pt", LISBON)
    with speaking("pt"):
        content = calendar(gone, Wrapping(MARK, "Codornas", LISBON)).decode()
    assert "Ovoscopia: may" in content
    assert len(components) == len(gone) == 1


def test_what_is_called_off_is_told_for_a_while_and_may_come_back() -> None:
    app = CalendarApp()
    first, told = written([event()])
    app.take(first)
    text, told = written([], told, NOW + timedelta(days=1))
    app.take(text)
    assert app.shown == {}
    assert "STATUS:CANCELLED" in text
    assert "SUMMARY;LANGUAGE=en:Called off: Candle the eggs: may" in unfolded(text)
    assert "SEQUENCE:1" in text
    assert "BEGIN:VALARM" not in text
    # Its day ends with 2 April at the holding.
    ends = datetime(2027, 4, 3, tzinfo=ZoneInfo(LISBON)) + CALLED_OFF_FOR
    assert "CANCELLED" in written([], told, ends - timedelta(seconds=1))[0]
    assert "VEVENT" not in written([], told, ends)[0]
    back, after = written([event()], told, ends)
    app.take(back)
    assert app.shown[event().uid].sequence == 2
    assert written([], told, ends + REMEMBERED_FOR)[1] == {}
    assert after[event().uid].made == told[event().uid].made


def test_what_was_over_when_it_went_is_left_as_it_was() -> None:
    _, told = written([event()])
    text, after = written([], told, datetime(2027, 4, 3, 12, tzinfo=UTC))
    assert "VEVENT" not in text
    assert not after[event().uid].cancelled


def test_a_likely_time_that_moves_by_little_stays_as_told() -> None:
    likely = event(start=at(2, 13), end=at(4, 20), likely=True, stays=timedelta(hours=3))
    first, told = written([likely])
    assert "STATUS:TENTATIVE" in first
    near = replace(likely, start=at(2, 15), end=at(4, 22))
    assert written([near], told, NOW + timedelta(hours=1))[0] == first
    far = replace(likely, start=at(2, 17), end=at(5, 0))
    moved, after = written([far], told, NOW + timedelta(hours=1))
    assert f"DTSTART;TZID={LISBON}:20270402T170000" in unfolded(moved)
    assert after[likely.uid].sequence == 1


def test_a_day_is_put_off_by_more_than_a_little_and_brought_forward_at_once() -> None:
    order = event(stays=timedelta(days=1))
    first, told = written([order])
    later = replace(order, start=date(2027, 4, 3), end=date(2027, 4, 4))
    assert written([later], told, NOW + timedelta(days=1))[0] == first
    earlier = replace(order, start=date(2027, 4, 1), end=date(2027, 4, 2))
    assert "DTSTART;VALUE=DATE:20270401" in written([earlier], told, NOW + timedelta(days=1))[0]


def test_what_was_done_and_is_over_stays_done() -> None:
    """Of some things the record tells the last time only, such as when birds were weighed."""
    done = event(summary="Done: Candle the eggs: may", done=True, alarm=None)
    first, told = written([done])
    over = datetime(2027, 4, 3, 0, tzinfo=UTC)
    assert written([event()], told, over)[0] == first
    assert "Done" not in written([event()], told, over - timedelta(hours=2))[0]


def test_the_round_comes_every_day_at_one_time_of_the_wall() -> None:
    start = datetime.combine(date(2027, 1, 1), time(7, 30), tzinfo=ZoneInfo(LISBON))
    daily = event(
        start=start, end=start + timedelta(minutes=30), kind="round", daily=True,
        alarm=timedelta(0), stays=timedelta(minutes=15),
    )  # fmt: skip
    text, told = written([daily])
    (found,) = events_in(text)
    days = list(found.rruleset[:200])
    assert {day.time() for day in days} == {time(7, 30)}
    longer = replace(daily, end=start + timedelta(minutes=45))
    assert written([longer], told, NOW + timedelta(hours=1))[0] == text
    off, _ = written([], told, NOW + timedelta(days=1))
    assert "STATUS:CANCELLED" in off
    assert "RRULE:FREQ=DAILY" in off


def test_a_clock_set_back_undoes_nothing() -> None:
    _, told = written([event()])
    _, moved = written([event(start=at(5, 9), end=at(5, 10))], told, NOW - timedelta(days=9))
    assert moved[event().uid].changed == told[event().uid].changed
    assert moved[event().uid].sequence == 1


@pytest.mark.parametrize(
    "content",
    [b"", b"\xff\xfe", b"BEGIN:VCALENDAR\r\nPRODID:-//x//EN\r\nVERSION:2.0\r\nEND:VCALENDAR\r\n",
     b"a shopping list"],
)  # fmt: skip
def test_a_file_that_is_not_ours_is_known(content: bytes) -> None:
    with pytest.raises(NotOurs) as wrong:
        told_in_file(content, MARK)
    assert not wrong.value.of_another


def test_a_calendar_of_another_flock_is_known() -> None:
    text, _ = written([event()])
    with pytest.raises(NotOurs) as wrong:
        told_in_file(text.encode(), uid(2))
    assert wrong.value.of_another
