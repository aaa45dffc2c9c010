"""A small calendar app for tests: it keeps what it was told by the rules of RFC 5546, 2.1.5.

It reads with vobject, which knows nothing of the library that writes. Of a uid it keeps the event
with the higher SEQUENCE, of two of one sequence the one with the later DTSTAMP; it drops what is
CANCELLED, and keeps what a later calendar does not speak of. So it is the harder kind to please:
one that throws away all and reads anew cannot be led astray.
"""

from dataclasses import dataclass, field
from datetime import UTC, date, datetime
from typing import Any, NamedTuple

import vobject  # type: ignore[import-untyped]


class Kept(NamedTuple):
    """An event in the app; instants in UTC."""

    sequence: int
    stamp: datetime
    start: date
    end: date
    summary: str
    cancelled: bool
    rings: bool


@dataclass
class CalendarApp:
    """What the phone shows, by uid; `known` holds what was cancelled, too."""

    known: dict[str, Kept] = field(default_factory=dict)

    def take(self, text: str) -> None:
        """Takes in a calendar."""
        for event in events_in(text):
            told = _kept(event)
            before = self.known.get(event.uid.value)
            if before is None or (told.sequence, told.stamp) > (before.sequence, before.stamp):
                self.known[event.uid.value] = told

    @property
    def shown(self) -> dict[str, Kept]:
        """What is not cancelled."""
        return {uid: one for uid, one in self.known.items() if not one.cancelled}

    def of(self, summary: str) -> Kept:
        """The one event shown with that summary."""
        (found,) = (one for one in self.shown.values() if one.summary == summary)
        return found

    def uid_of(self, summary: str) -> str:
        """The uid of the one event shown with that summary."""
        (found,) = (uid for uid, one in self.shown.items() if one.summary == summary)
        return found


def events_in(text: str) -> list[Any]:
    """The events of a calendar, as vobject reads them: by the zone that it holds itself."""
    getattr(vobject.icalendar, "__tzidMap").clear()
    found = vobject.readOne(text)
    found.validate()
    return list(getattr(found, "vevent_list", []))


def _kept(event: Any) -> Kept:
    return Kept(
        int(event.sequence.value),
        event.dtstamp.value,
        in_utc(event.dtstart.value),
        in_utc(event.dtend.value),
        event.summary.value,
        event.status.value == "CANCELLED",
        "valarm" in event.contents,
    )


def in_utc(at: date) -> date:
    """A day as it is, an instant in UTC."""
    return at.astimezone(UTC) if isinstance(at, datetime) else at
