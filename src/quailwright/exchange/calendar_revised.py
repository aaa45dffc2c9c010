"""What changed in a calendar since it was last told: sequences, and what is called off.

RFC 5545 (3.8.7.4) counts an event's SEQUENCE up when its substance changes, and RFC 5546 (2.1.5)
has a client keep of a uid the one with the higher sequence. So what was told must be remembered:
for private addresses in a table of the flock, for a file in the file itself.
"""

import hashlib
from collections.abc import Iterable, Mapping
from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta
from typing import NamedTuple

import msgspec

from quailwright.exchange.calendar_events import Event, Kind
from quailwright.journal.moments import utc_text, zone

CALLED_OFF_FOR = timedelta(days=30)
"""For so long after its time an event that was called off is told as cancelled."""
REMEMBERED_FOR = timedelta(days=400)
"""For so long after its time what was told of an event is remembered, should it come again."""
_DIGITS = 16


class Told(msgspec.Struct, frozen=True, kw_only=True, omit_defaults=True):
    """What was last told of an event.

    Attributes:
        uid, kind: of the event.
        sequence: how often its time or its title changed, it was done, or it was called off.
        start, end: an ISO 8601 day, or an instant in UTC.
        title: in English, `text` a digest of its description in English: they tell what changed.
        said: its title in each language in which it was told.
        made, changed: when it was first told, and last told otherwise (UTC).
        ends: when it is over (UTC).
    """

    uid: str
    kind: Kind
    sequence: int
    start: str
    end: str
    title: str
    text: str
    said: dict[str, str]
    made: str
    changed: str
    ends: str
    place: str = ""
    page: str = ""
    daily: bool = False
    done: bool = False
    cancelled: bool = False


class Component(NamedTuple):
    """An event to be told: as it is, or None where it was called off; and what is remembered."""

    event: Event | None
    told: Told


def revised(
    events: Iterable[Event],
    told: Mapping[str, Told],
    now: datetime,
    language: str,
    zone_name: str,
) -> tuple[list[Component], dict[str, Told]]:
    """The events to be told, and what is to be remembered of them.

    An event that is not there any more is called off, unless its time was over: then it is left as
    it was. One that comes again after that is the same event.

    Args:
        events: as they stand, in `language`.
        told: what was told of them and of others, by uid.
        now: an aware instant.
        zone_name: of the holding.
    """
    components: list[Component] = []
    remembered: dict[str, Told] = {}
    for event in events:
        before = told.get(event.uid)
        held = _held_still(event, before, now, language, zone_name)
        component = Component(held, _told(held, before, now, language, zone_name))
        components.append(component)
        remembered[event.uid] = component.told
    for uid, before in told.items():
        if uid in remembered:
            continue
        gone = before
        if not before.cancelled and (now < _ends(before) or before.daily):
            gone = _called_off(before, now)
        if now < _ends(gone) + REMEMBERED_FOR:
            remembered[uid] = gone
        if gone.cancelled and now < _ends(gone) + CALLED_OFF_FOR:
            components.append(Component(None, gone))
    return components, remembered


def _ends(told: Told) -> datetime:
    return datetime.fromisoformat(told.ends)


def _held_still(
    event: Event, before: Told | None, now: datetime, language: str, zone_name: str
) -> Event:
    """The event as it was told, where it moved by little, or was done and is over.

    A day is put off only: what is due earlier than it was told is told so.
    """
    if before is None or before.cancelled:
        return event
    if before.done and not event.done and now >= _instant(event.end, zone_name):
        # Of some things the record tells the last time only.
        said = before.said.get(language, before.title)
        return replace(
            event, done=True, alarm=None, summary=said, english=(before.title, event.english[1])
        )
    if not event.stays or event.done:
        return event
    start, end = moment(before.start, event.start), moment(before.end, event.end)
    if isinstance(start, datetime) != isinstance(event.start, datetime):
        return event
    if not isinstance(start, datetime) and start > event.start:
        return event
    if max(_apart(start, event.start), _apart(end, event.end)) > event.stays:
        return event
    return replace(event, start=start, end=end)


def _apart(one: date, other: date) -> timedelta:
    if isinstance(one, datetime) and isinstance(other, datetime):
        return abs(one.astimezone(UTC) - other.astimezone(UTC))
    return abs(one - other)


def _told(event: Event, before: Told | None, now: datetime, language: str, zone_name: str) -> Told:
    title, text = event.english
    fresh = Told(
        uid=event.uid,
        kind=event.kind,
        sequence=0,
        start=written(event.start),
        end=written(event.end),
        title=title,
        text=hashlib.sha256(text.encode()).hexdigest()[:_DIGITS],
        place=event.place,
        page=event.page,
        said={language: event.summary},
        made=utc_text(now),
        changed=utc_text(now),
        ends=utc_text(_instant(event.end, zone_name)),
        daily=event.daily,
        done=event.done,
    )
    if before is None:
        return fresh
    moved = before.cancelled or _substance(before) != _substance(fresh)
    otherwise = moved or _text(before) != _text(fresh)
    # A clock that was set back, or an answer as of an earlier day, does not undo what was told.
    changed = max(before.changed, fresh.changed) if otherwise else before.changed
    return msgspec.structs.replace(
        fresh,
        sequence=before.sequence + int(moved),
        made=before.made,
        changed=changed,
        said=fresh.said if moved else before.said | fresh.said,
    )


def _substance(told: Told) -> tuple[object, ...]:
    return told.start, told.end, told.title, told.daily, told.done


def _text(told: Told) -> tuple[object, ...]:
    return told.text, told.place, told.page


def _called_off(before: Told, now: datetime) -> Told:
    ends = utc_text(now) if before.daily else before.ends
    return msgspec.structs.replace(
        before,
        sequence=before.sequence + 1,
        changed=max(before.changed, utc_text(now)),
        ends=ends,
        cancelled=True,
    )


def written(at: date) -> str:
    """A day as ISO 8601, an instant in UTC."""
    return utc_text(at) if isinstance(at, datetime) else at.isoformat()


def moment(text: str, like: date | None = None, zone_name: str = "") -> date:
    """What `written` wrote; an instant in the zone of `like`, or of that name."""
    if "T" not in text:
        return date.fromisoformat(text)
    there = like.tzinfo if isinstance(like, datetime) else zone(zone_name or "UTC")
    return datetime.fromisoformat(text).astimezone(there)


def _instant(at: date, zone_name: str) -> datetime:
    if isinstance(at, datetime):
        return at
    return datetime.combine(at, time(), tzinfo=zone(zone_name or "UTC"))
