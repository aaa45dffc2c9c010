"""Moments as people type them (`yesterday 20:00`), made whole at the holding."""

import re
from datetime import date, datetime, timedelta

from quailwright.journal.findings import BadInput
from quailwright.journal.moments import NotAMoment, parse_moment, zone
from quailwright.language import mark, say

EARLIEST_YEAR = 1900
"""No record is older, and before the first days of calendars nothing can be reckoned: judgement."""

_CLOCK = re.compile(r"\d{1,2}:\d{2}(:\d{2})?\Z")
_DAYS_AGO = {mark("today"): 0, mark("yesterday"): 1, mark("tomorrow"): -1}


def day_typed(text: str) -> date | None:
    """The day typed into a field, None where it is empty. Raises BadInput."""
    if not text.strip():
        return None
    try:
        return date.fromisoformat(text.strip())
    except ValueError:
        raise BadInput(
            say("{day!r} is not a day: write it as in 2027-05-02.", day=text.strip()[:40])
        ) from None


def moment_asked(text: str | None, now: datetime, zone_name: str) -> date | datetime:
    """What `on` means: a day, an instant, or now when nothing is said. Raises BadInput."""
    if text is None:
        return now
    try:
        return parse_moment(with_offset(text, now, zone_name))
    except NotAMoment as error:
        raise BadInput(f"--on: {error}") from None


def with_offset(text: str, now: datetime, zone_name: str) -> str:
    """`at` as typed, made whole.

    `today`, `yesterday` and `tomorrow` (also in the language spoken) become their date; a clock
    time, alone (of today) or after a day, gets the offset that holds there.
    """
    day, _, clock = text.replace("T", " ", 1).partition(" ")
    if _CLOCK.match(day) and not clock:
        day, clock = "today", day
    if _CLOCK.match(clock) and len(clock) in (len("7:05"), len("7:05:30")):
        clock = f"0{clock}"
        text = f"{day}T{clock}"
    ago = next((ago for word, ago in _DAYS_AGO.items() if day in (word, say(word))), None)
    if ago is not None:
        named = local(now, zone_name).date() - timedelta(days=ago)
        text = f"{named}T{clock}" if clock else named.isoformat()
    try:
        typed = datetime.fromisoformat(text)
    except ValueError:
        return text
    if typed.tzinfo is not None or len(text) <= len("2027-05-02"):
        return text.replace(" ", "T", 1)
    placed = typed.replace(tzinfo=zone(zone_name)) if zone_name else typed.astimezone()
    return placed.isoformat(timespec="minutes" if not placed.second else "seconds")


def at_present(now: datetime, zone_name: str) -> str:
    """The `at` of an entry whose moment nobody typed: now, by the holding's clock."""
    return local(now, zone_name).isoformat(timespec="seconds")


def local(instant: datetime, zone_name: str) -> datetime:
    """An instant in the holding's zone, or in this computer's when none is known."""
    return instant.astimezone(zone(zone_name)) if zone_name else instant.astimezone()
