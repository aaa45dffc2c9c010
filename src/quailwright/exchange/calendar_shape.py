"""The JSON shape of `calendar`."""

from datetime import date, datetime
from typing import TypedDict

from quailwright.exchange.calendar_events import Event


class EventShape(TypedDict):
    """One event. `start` and `end` are days or date-times; `end` is the first after it."""

    uid: str
    kind: str
    start: str
    end: str
    summary: str
    description: str
    place: str
    page: str
    done: bool
    likely: bool
    daily: bool
    rings_min_before: float | None


class CalendarShape(TypedDict):
    """`calendar --json`."""

    as_of: str
    timezone: str
    events: list[EventShape]


def calendar_shape(events: list[Event], now: datetime, zone_name: str) -> CalendarShape:
    """`calendar --json`."""
    return {
        "as_of": now.isoformat(timespec="seconds"),
        "timezone": zone_name or "UTC",
        "events": [
            {
                "uid": event.uid,
                "kind": event.kind,
                "start": _iso(event.start),
                "end": _iso(event.end),
                "summary": event.summary,
                "description": event.description,
                "place": event.place,
                "page": event.page,
                "done": event.done,
                "likely": event.likely,
                "daily": event.daily,
                "rings_min_before": None
                if event.alarm is None
                else round(event.alarm.total_seconds() / 60, 1),
            }
            for event in events
        ],
    }


def _iso(moment: date) -> str:
    if isinstance(moment, datetime):
        return moment.isoformat(timespec="seconds")
    return moment.isoformat()
