"""A calendar as iCalendar (RFC 5545, with RFC 7986), and what was told read back from one.

It has no METHOD: it is what is, and no invitation (RFC 5546), so DTSTAMP says when an event was
last changed and a calendar in which nothing changed is the same to the byte.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta, tzinfo
from functools import cache
from typing import TYPE_CHECKING, Final
from uuid import UUID, uuid5

import msgspec

from quailwright.exchange.calendar_events import KIND_WORDS, Event
from quailwright.exchange.calendar_revised import Component, Told, moment
from quailwright.journal.moments import zone
from quailwright.language import say, spoken

if TYPE_CHECKING:
    import icalendar

PRODID: Final = "-//quailwright//calendar//EN"
ASKED_AGAIN_AFTER: Final = timedelta(hours=1)
"""How often a calendar app is asked to look for changes."""
MEDIA_TYPE: Final = "text/calendar"

_MEMORY: Final = "X-QUAILWRIGHT-TOLD"
_YEARS_OF_CLOCKS = 5
_UTC: Final = "UTC"


class NotOurs(Exception):
    """A file that is no calendar of this flock; `of_another`: of another flock."""

    def __init__(self, of_another: bool) -> None:
        super().__init__()
        self.of_another = of_another


@dataclass(frozen=True, slots=True)
class Wrapping:
    """What a calendar holds beside its events.

    Attributes:
        mark: the flock's own (`Desk.mark`).
        name: of the calendar.
        zone_name: of the holding, or "".
        address: where the pages are (`http://10.0.0.2:8347`), or "" where nobody knows.
        alarms: whether events ring.
    """

    mark: str
    name: str
    zone_name: str
    address: str = ""
    alarms: bool = True


def calendar(
    components: Sequence[Component],
    wrapping: Wrapping,
    remembered: Iterable[Told] = (),
) -> bytes:
    """The calendar, in the language spoken now; `remembered` is for a file, to be read back."""
    import icalendar

    made = icalendar.Calendar()
    made.add("prodid", PRODID)
    made.add("version", "2.0")
    made.add("calscale", "GREGORIAN")
    made.add("uid", _calendar_uid(wrapping.mark))
    made.add("name", wrapping.name)
    made.add("x-wr-calname", wrapping.name)
    made.add("refresh-interval", ASKED_AGAIN_AFTER, parameters={"VALUE": "DURATION"})
    made.add("x-published-ttl", "PT1H")
    if components:
        last = max(component.told.changed for component in components)
        made.add("last-modified", datetime.fromisoformat(last))
    for one in remembered:
        made.add(_MEMORY, msgspec.json.encode(one).decode())
    zone_name = wrapping.zone_name or _UTC
    timed = [one for one in components if "T" in one.told.start]
    if timed and zone_name != _UTC:
        years = [int(one.told.start[:4]) for one in timed]
        made.add_component(_timezone(zone_name, min(years) - 1, max(years) + _YEARS_OF_CLOCKS))
    for component in components:
        made.add_component(_event(component, wrapping, zone_name))
    written: bytes = made.to_ical()
    return written


@cache
def _timezone(zone_name: str, first_year: int, last_year: int) -> "icalendar.Timezone":
    """The zone with every change of its clocks from the first of a year to the last of another.

    Onsets are told by the clock before the change (RFC 5545, 3.6.5). icalendar 7.3 makes such a
    component too, but tells those of clocks that go forward by the clock after it, and passes over
    changes that are undone within weeks.
    """
    import icalendar

    there = zone(zone_name)
    first = datetime(first_year, 1, 1, tzinfo=UTC)
    begins = first.astimezone(there)
    made = icalendar.Timezone()
    made.add("tzid", zone_name)
    onsets: dict[tuple[timedelta, timedelta, str], list[datetime]] = {}
    offset = begins.utcoffset() or timedelta(0)
    onsets[offset, offset, str(begins.tzname())] = [begins.replace(tzinfo=None)]
    for onset in _changes(there, first, datetime(last_year + 1, 1, 1, tzinfo=UTC)):
        after = onset.astimezone(there)
        before, offset = offset, after.utcoffset() or timedelta(0)
        told = (onset + before).replace(tzinfo=None)
        onsets.setdefault((before, offset, str(after.tzname())), []).append(told)
    for (before, offset, name), (began, *again) in onsets.items():
        forward = offset > before or (offset == before and bool(begins.dst()))
        part = icalendar.TimezoneDaylight() if forward else icalendar.TimezoneStandard()
        part.add("dtstart", began)
        if again:
            part.add("rdate", again)
        part.add("tzoffsetfrom", before)
        part.add("tzoffsetto", offset)
        part.add("tzname", name)
        made.add_component(part)
    return made


def _changes(there: tzinfo, first: datetime, last: datetime) -> Iterator[datetime]:
    """The instants (UTC, to the second) at which clocks there change; not twice within a day."""
    at, day = first, timedelta(days=1)
    while at < last:
        low, high = at, at + day
        if low.astimezone(there).utcoffset() != high.astimezone(there).utcoffset():
            while high - low > timedelta(seconds=1):
                middle = low + timedelta(seconds=(high - low) // timedelta(seconds=2))
                same = middle.astimezone(there).utcoffset() == at.astimezone(there).utcoffset()
                low, high = (middle, high) if same else (low, middle)
            yield high
        at += day


def _event(component: Component, wrapping: Wrapping, zone_name: str) -> "icalendar.Event":
    import icalendar

    event, told = component
    made = icalendar.Event()
    made.add("uid", told.uid)
    made.add("sequence", told.sequence)
    made.add("created", datetime.fromisoformat(told.made))
    made.add("dtstamp", datetime.fromisoformat(told.changed))
    made.add("last-modified", datetime.fromisoformat(told.changed))
    made.add("dtstart", moment(told.start, zone_name=zone_name))
    made.add("dtend", moment(told.end, zone_name=zone_name))
    if told.daily:
        made.add("rrule", {"freq": "daily"})
    made.add("summary", _summary(component), parameters={"LANGUAGE": spoken()})
    made.add("categories", [say(KIND_WORDS[told.kind])])
    if told.place:
        made.add("location", told.place)
    address = f"{wrapping.address.rstrip('/')}{told.page}" if wrapping.address else ""
    if event is not None:
        text = f"{event.description}\n\n{address}" if address else event.description
        made.add("description", text, parameters={"LANGUAGE": spoken()})
    if address:
        made.add("url", address)
    # A keeper can do other things while eggs are in the machine: no event makes them busy.
    made.add("transp", "TRANSPARENT")
    if event is None:
        made.add("status", "CANCELLED")
        return made
    made.add("status", "TENTATIVE" if event.likely else "CONFIRMED")
    if wrapping.alarms and event.alarm is not None:
        made.add_component(_alarm(event, event.alarm))
    return made


def _summary(component: Component) -> str:
    event, told = component
    if event is not None:
        return event.summary
    return say("Called off: {what}", what=told.said.get(spoken(), told.title))


def _alarm(event: Event, before: timedelta) -> "icalendar.Alarm":
    import icalendar

    made = icalendar.Alarm()
    made.add("action", "DISPLAY")
    made.add("description", event.summary)
    made.add("trigger", -before)
    return made


def _calendar_uid(mark: str) -> str:
    return str(uuid5(UUID(mark), "calendar")) if mark else str(UUID(int=0))


def told_in_file(content: bytes, mark: str) -> dict[str, Told]:
    """What a file of ours says was told, by uid. Raises NotOurs."""
    import icalendar

    try:
        found = icalendar.Calendar.from_ical(content)
        prodid, uid = str(found.get("PRODID", "")), str(found.get("UID", ""))
    except (ValueError, AttributeError, KeyError, IndexError, TypeError):
        raise NotOurs(of_another=False) from None
    if prodid != PRODID:
        raise NotOurs(of_another=False)
    if uid != _calendar_uid(mark):
        raise NotOurs(of_another=True)
    lines = found.get(_MEMORY, [])
    try:
        told = [
            msgspec.json.decode(str(line), type=Told)
            for line in (lines if isinstance(lines, list) else [lines])
        ]
    except msgspec.DecodeError:
        raise NotOurs(of_another=False) from None
    return {one.uid: one for one in told}
