"""When things happened: ISO 8601 dates and date-times, and the order in which entries fold.

An entry's `at` is a date (`2027-05-02`) or a date-time with its offset
(`2027-05-02T20:00+01:00`). A date alone says "some time that day": it stands before the timed
entries of the day, and may wait until the day is over. Entries fold in the order of the day at
the holding, then the instant, then (for entries of one and the same moment) things that are made
before things that use them, then `id`: so the result never depends on the order of arrival.
"""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import cache
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError

from quailwright.language import say

_DATE = re.compile(r"\d{4}-\d{2}-\d{2}\Z")
_INSTANT = re.compile(
    r"\d{4}-\d{2}-\d{2}T([01]\d|2[0-3]):\d{2}(:\d{2}(\.\d{1,6})?)?(Z|[+-]\d{2}:\d{2})\Z"
)
_NAIVE = re.compile(r"\d{4}-\d{2}-\d{2}[T ]\d{2}:\d{2}(:\d{2})?\Z")
FIRST_YEAR, LAST_YEAR = 1970, 2199
_DATE_LENGTH = len("2027-05-02")
_BEFORE_ANY_INSTANT = float("-inf")


class NotAMoment(ValueError):
    """The text is neither an ISO 8601 date nor a date-time with offset; says how to write it."""


def parse_moment(text: str) -> date | datetime:
    """Read `at`: a `date`, or an aware `datetime`. Raises NotAMoment with a keeper's sentence."""
    shape = _DATE if len(text) == _DATE_LENGTH else _INSTANT
    if not shape.match(text):
        if _NAIVE.match(text):
            raise NotAMoment(
                say(
                    "{given!r} has no offset. Add it, as in {example}.",
                    given=text,
                    example=f"{text[:10]}T{text[11:16]}+01:00",
                )
            )
        raise NotAMoment(
            say(
                "{given} is not a date or a date-time. "
                "Write 2027-05-02, or 2027-05-02T20:00+01:00 with the offset from UTC.",
                given=_short(text),
            )
        )
    try:
        moment = date.fromisoformat(text) if len(text) == _DATE_LENGTH else _instant(text)
    except ValueError:
        raise NotAMoment(
            say(
                "{given} is not in the calendar. Check the day, the month and the hour.",
                given=_short(text),
            )
        ) from None
    if not FIRST_YEAR <= moment.year <= LAST_YEAR:
        raise NotAMoment(
            say(
                "the year {year} is out of range. Use {first} to {last}.",
                year=moment.year,
                first=FIRST_YEAR,
                last=LAST_YEAR,
            )
        )
    return moment


def _instant(text: str) -> datetime:
    return datetime.fromisoformat(text)


def _short(text: str) -> str:
    return repr(text if len(text) <= 40 else text[:37] + "...")


@cache
def zone(name: str) -> ZoneInfo:
    """The IANA time zone of that name. Raises NotAMoment when there is none."""
    try:
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise NotAMoment(
            say("{given} is not a time zone. Use a name such as Europe/Lisbon.", given=_short(name))
        ) from None


def day_text(at: str, zone_name: str) -> str:
    """The calendar day at the holding (ISO text) on which `at` falls.

    Without a zone name the date as written counts.
    """
    if len(at) == _DATE_LENGTH or not zone_name:
        return at[:_DATE_LENGTH]
    return _day_at(_instant(at), at, zone_name)


def _day_at(moment: datetime, written: str, zone_name: str) -> str:
    local = moment.astimezone(zone(zone_name))
    # Two clocks are never a month apart: the same day of the month is the same date.
    return written[:_DATE_LENGTH] if local.day == moment.day else local.date().isoformat()


as_date = cache(date.fromisoformat)


def instant(at: str, zone_name: str, hour: int = 12) -> datetime:
    """The instant of `at`, in the holding's zone; a date alone is taken at `hour` o'clock there."""
    if len(at) == _DATE_LENGTH:
        return datetime.combine(as_date(at), time(hour), tzinfo=_zone_or_utc(zone_name))
    moment = _instant(at)
    return moment.astimezone(zone(zone_name)) if zone_name else moment


def _zone_or_utc(zone_name: str) -> ZoneInfo:
    return zone(zone_name or "UTC")


OrderKey = tuple[str, float, int, str]


def order_key(at: str, rank: int, entry_id: str, zone_name: str) -> OrderKey:
    """The key by which entries fold: day, instant (dates first), rank of the kind, id."""
    if len(at) == _DATE_LENGTH:
        return (at, _BEFORE_ANY_INSTANT, rank, entry_id)
    moment = _instant(at)
    day = _day_at(moment, at, zone_name) if zone_name else at[:_DATE_LENGTH]
    return (day, moment.timestamp(), rank, entry_id)


def has_only_a_date(key: OrderKey) -> bool:
    """Whether the entry of this key says a day and no time of it."""
    return key[1] == _BEFORE_ANY_INSTANT


@dataclass(frozen=True, slots=True)
class Until:
    """A cut-off: the whole of a day, or everything up to an instant (both inclusive)."""

    day: date
    at: datetime | None = None

    def includes(self, key: OrderKey) -> bool:
        """Whether an entry with this order key had happened by then."""
        if self.at is None:
            return key[0] <= self.day.isoformat()
        if key[1] == _BEFORE_ANY_INSTANT:
            return key[0] <= self.day.isoformat()
        return key[1] <= self.at.timestamp()

    def moment(self, zone_name: str) -> datetime:
        """The instant of the cut-off in the holding's zone: given, or the day's last second."""
        tz = _zone_or_utc(zone_name)
        if self.at is not None:
            return self.at.astimezone(tz)
        return datetime.combine(self.day + timedelta(days=1), time(), tzinfo=tz) - timedelta(
            seconds=1
        )


def until(on: date | datetime, zone_name: str) -> Until:
    """The cut-off that `--on` means: a whole day, or an instant and its day at the holding."""
    if isinstance(on, datetime):
        local = on.astimezone(_zone_or_utc(zone_name)) if zone_name else on
        return Until(local.date(), on)
    return Until(on)


def has_happened(at: str, now: datetime, zone_name: str) -> bool:
    """Whether `at` lies at or before `now` (aware), or on the day that it is at the holding."""
    if len(at) == _DATE_LENGTH:
        return as_date(at) <= now.astimezone(_zone_or_utc(zone_name)).date()
    return _instant(at) <= now


def utc_text(now: datetime) -> str:
    """`now` (aware) as UTC text with seconds, for the store."""
    return now.astimezone(UTC).isoformat(timespec="seconds")
