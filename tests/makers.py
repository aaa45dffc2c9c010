"""Small makers of journal entries, for tests that read like a keeper's notebook."""

from datetime import date, datetime
from itertools import count
from typing import Any

import msgspec

from quailwright.journal.entries import AnyEntry, Entry

DAY = "2027-05-02"
_numbers = count(1)


def uid(number: int) -> str:
    """The id with that number."""
    return f"{number:08x}-0000-4000-8000-{number:012x}"


def made(kind: str, at: str | date | datetime = DAY, **fields: Any) -> Entry:
    """An entry of that kind with a new id (or the `id` given). Write `from_` for `from`.

    It passes through the same typed decoding as a line of the journal, and raises where that does.
    """
    plain = {name.rstrip("_"): value for name, value in fields.items()}
    moment = at if isinstance(at, str) else at.isoformat()
    entry: Entry = msgspec.convert(
        {"id": uid(next(_numbers)), **plain, "kind": kind, "at": moment}, AnyEntry
    )
    return entry
