"""Dates and clock times as loggers and spreadsheets write them.

A stamp is a date and a clock time (`2027-05-02T20:00:00+01:00`, `5/2/2027 8:00 PM`,
`02.05.27 20:00`, `2-May-2027 20:00`), or a count since 1970. A date in figures can be read in up
to three orders; `settle_order` finds the one that all dates of a file allow.
"""

import re
from collections.abc import Iterable
from datetime import UTC, date, datetime, timedelta, tzinfo
from typing import Literal, get_args

from quailwright.journal.moments import FIRST_YEAR, LAST_YEAR
from quailwright.language import say

DateOrder = Literal["dmy", "mdy", "ymd"]
ORDERS: tuple[DateOrder, ...] = get_args(DateOrder)

DAY_MS = 86_400_000
_CENTURY = 100
_FIRST_OF_LAST_CENTURY = 70
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_NOON = 12
_FEWEST_DAYS_IN_A_ROW = 3

_SPLIT = re.compile(
    r"(?<=[\d.])(?:T|,?\s+|_)(?=\d{1,2}\s*[:.hH]\s*\d{2}|\d{1,2}\s*[aApP]\.?\s?[mM]|\d{6}(?!\d))"
)
_FIGURES = re.compile(r"(\d{1,4})([-/.])(\d{1,2})\2(\d{1,4})\.?\Z")
_YEAR_LAST = re.compile(r"(?:\d{1,2}\.\d{1,2}\.\d\d\.?|\d[-/]\d{1,2}[-/]\d\d|\d\d[-/]\d[-/]\d\d)\Z")
"""Dates with a year of two figures that nobody writes with the year first."""
_COMPACT = re.compile(r"(\d{4})(\d\d)(\d\d)\Z")
_DAY_MONTH = re.compile(r"(\d{1,2})[-/. ]*([a-z]{3,9})\.?[-/., ]*(\d{4}|\d{2})\Z")
_MONTH_DAY = re.compile(r"([a-z]{3,9})\.?[-/. ]*(\d{1,2})(?:st|nd|rd|th)?[-/., ]+(\d{4})\Z")
_CLOCK = re.compile(
    r"(\d{1,2})(?:\s*[:.hH]\s*(\d{2})(?:\s*[:.]\s*(\d{2})(?:[.,:](\d{1,9}))?)?)?"
    r"\s*(?:([aApP])\.?\s?[mM]\.?)?"
    r"\s*(Z|z|UTC|GMT|(?:UTC|GMT)?\s*[+\-\u2212]\d{2}(?::?\d{2})?)?\Z"
)
_COMPACT_CLOCK = re.compile(r"(\d{2})(\d{2})(\d{2})(?=\D|\Z)")
_COUNT = re.compile(r"\d{9,19}(?:\.\d{1,9})?\Z")


class NotAStamp(ValueError):
    """The text is no date or no clock time; `what` and `mend` are a keeper's sentences, said."""

    def __init__(self, what: str, mend: str) -> None:
        super().__init__(what)
        self.what = what
        self.mend = mend


def split(stamp: str) -> tuple[str, str]:
    """The date and the clock time of a stamp; '' for a clock time that is not there."""
    found = _SPLIT.search(stamp)
    if found is None:
        return stamp.strip(), ""
    return stamp[: found.start()].strip(), stamp[found.end() :].strip()


def shown(text: str) -> str:
    """A cell as it stands in a sentence."""
    return repr(text if len(text) <= 40 else text[:37] + "...")


# Dates.


def date_as(text: str, order: DateOrder) -> date:
    """A date, read in that order where it is all in figures. Raises NotAStamp."""
    day = _date_or_none(text, order)
    if day is None:
        raise NotAStamp(
            say("{given} is not a date in the calendar.", given=shown(text)),
            say("Write it as 2027-05-02."),
        )
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        raise NotAStamp(
            say("the year {year} is out of range.", year=day.year),
            say(
                "Use {first} to {last}; was the logger's clock set?",
                first=FIRST_YEAR,
                last=LAST_YEAR,
            ),
        )
    return day


def _date_or_none(text: str, order: DateOrder) -> date | None:
    text = text.strip(" ,")
    parts = _figures(text, order) or _named(text.lower())
    if parts is None:
        return None
    year, month, day = parts
    try:
        return date(year, month, day)
    except ValueError:
        return None


def _figures(text: str, order: DateOrder) -> tuple[int, int, int] | None:
    found = _FIGURES.match(text)
    if found is None:
        compact = _COMPACT.match(text)
        return None if compact is None else (int(compact[1]), int(compact[2]), int(compact[3]))
    first, second, third = found[1], found[3], found[4]
    if len(first) > 2:
        return (int(first), int(second), int(third)) if len(third) <= 2 else None
    if order == "ymd":
        return (_year(first), int(second), int(third)) if len(third) <= 2 else None
    day, month = (first, second) if order == "dmy" else (second, first)
    return (_year(third), int(month), int(day))


def _named(text: str) -> tuple[int, int, int] | None:
    found = _DAY_MONTH.match(text)
    if found is not None:
        day, month, year = found.groups()
    else:
        found = _MONTH_DAY.match(text)
        if found is None:
            return None
        month, day, year = found.groups()
    if month[:3] not in _MONTHS:
        return None
    return _year(year), _MONTHS.index(month[:3]) + 1, int(day)


def _year(text: str) -> int:
    year = int(text)
    if len(text) > 2:
        return year
    return year + (1900 if year >= _FIRST_OF_LAST_CENTURY else 2000)


def settle_order(texts: Iterable[str]) -> tuple[DateOrder | None, bool]:
    """The order in which the dates of a file are written, or None when it cannot be told.

    An order that makes one of them no date is out. When several are left and say different
    things, the one under which the dates are days in a row wins, if it is the only such one;
    then the second value is True: told by their run, not by the dates alone.
    """
    written = list(texts)
    readings: dict[DateOrder, list[date | None]] = {order: [] for order in ORDERS}
    for text in written:
        each = {order: _date_or_none(text, order) for order in ORDERS}
        if any(each.values()):
            for order, day in each.items():
                readings[order].append(day)
    fewest = min(days.count(None) for days in readings.values())
    fitting = {
        order: [day for day in days if day is not None]
        for order, days in readings.items()
        if days.count(None) == fewest
    }
    if len(fitting) > 1 and any(map(_YEAR_LAST.match, written)):
        fitting.pop("ymd", None)
    order, days = next(iter(fitting.items()))
    if all(days == other for other in fitting.values()):
        return order, False
    running = [order for order, days in fitting.items() if _in_a_row(days)]
    return (running[0], True) if len(running) == 1 else (None, False)


def _in_a_row(days: list[date]) -> bool:
    apart = sorted(set(days))
    whole = (apart[-1] - apart[0]).days + 1
    return len(apart) >= _FEWEST_DAYS_IN_A_ROW and len(apart) == whole


# Clock times.


def clock(text: str) -> tuple[int, int | None]:
    """Milliseconds since midnight, and minutes ahead of UTC (None: not said). Raises NotAStamp."""
    text = _COMPACT_CLOCK.sub(r"\1:\2:\3", text.strip(), count=1)
    found = _CLOCK.match(text)
    if not text:
        raise NotAStamp(
            say("the time of day is missing."), say("Write it after the date: 2027-05-02 20:00.")
        )
    if found is None or (found[2] is None and found[5] is None):
        raise NotAStamp(
            say("{given} is not a time of day.", given=shown(text)),
            say("Write it as 20:00, 20:00:30 or 8:00 PM; an offset as +01:00."),
        )
    hour, minute, second = int(found[1]), int(found[2] or 0), int(found[3] or 0)
    fraction = int((found[4] or "0").ljust(3, "0")[:3])
    if found[5] is not None and hour <= _NOON:
        hour = hour % _NOON + (_NOON if found[5] in "pP" else 0)
    elif found[5] is not None:
        hour = 24
    since = ((hour * 60 + minute) * 60 + second) * 1000 + fraction
    if minute > 59 or second > 60 or since > DAY_MS or (hour == 24 and found[5] is not None):
        raise NotAStamp(
            say("{given} is not on the clock.", given=shown(text)),
            say("Check the hour and the minute."),
        )
    return since, _offset(found[6])


def _offset(text: str | None) -> int | None:
    if text is None:
        return None
    figures = re.search(r"([+\-\u2212])(\d{2}):?(\d{2})?", text)
    if figures is None:
        return 0
    minutes = int(figures[2]) * 60 + int(figures[3] or 0)
    if minutes > 18 * 60:
        raise NotAStamp(
            say("no clock is {offset} from UTC.", offset=figures[0]),
            say("Check the offset at the end of the time."),
        )
    return minutes if figures[1] == "+" else -minutes


# Counts since 1970.


def count_unit_ms(text: str) -> float | None:
    """What one of a count since 1970 is worth in ms, by its length; None when it is no count."""
    if not _COUNT.match(text):
        return None
    digits = len(text.partition(".")[0])
    return 10.0 ** (3 - 3 * max(0, round((digits - 10) / 3)))


# Zones.


def midnight_ms(day: date) -> int:
    """The beginning of a day in UTC, ms since 1970-01-01T00:00Z."""
    return (day - date(1970, 1, 1)).days * DAY_MS


def offset_ms(day: date, zone: tzinfo) -> int | None:
    """How far the clock is ahead of UTC all day long [ms]; None when it is changed that day."""
    after = day + timedelta(days=1)
    first, last = (
        datetime(on.year, on.month, on.day, tzinfo=zone).utcoffset() for on in (day, after)
    )
    if first is None or first != last:
        return None
    return first // timedelta(milliseconds=1)


def both_instants_ms(wall_ms: int, zone: tzinfo) -> tuple[int, int] | None:
    """The two instants of a wall-clock time: equal but for the hour that comes twice.

    `wall_ms` counts ms from 1970-01-01T00:00 on the wall clock. None: the clock skips that time.
    """
    wall = datetime(1970, 1, 1, tzinfo=UTC) + timedelta(milliseconds=wall_ms)
    naive = wall.replace(tzinfo=zone)
    first, second = naive.utcoffset(), naive.replace(fold=1).utcoffset()
    assert first is not None
    assert second is not None
    if second > first:
        return None
    step = timedelta(milliseconds=1)
    return wall_ms - first // step, wall_ms - second // step
