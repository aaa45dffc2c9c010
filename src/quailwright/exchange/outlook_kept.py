"""The outlook of a flock, reckoned at night and kept: its page answers from it while it is fresh.

It is kept as the page tells it, in every language, beside what it was reckoned from: the entries,
the readings of hatches under way, the day. Where any of that is another now, it is as if none were
kept.
"""

from datetime import datetime

import msgspec
from msgspec import Struct

from quailwright import __version__
from quailwright.exchange.desk import Desk
from quailwright.exchange.hatch_air import reading_counts
from quailwright.exchange.outlook_page import OutlookPage, outlook_page
from quailwright.exchange.outlook_told import is_whole
from quailwright.guide.round import day_at
from quailwright.language import LANGUAGES, speaking, spoken

_KIND = "outlook"


class _Kept(Struct, frozen=True):
    """What it was reckoned from, and how the page tells it."""

    of: str
    told: OutlookPage


def keep(desk: Desk, now: datetime) -> None:
    """Reckons the outlook as of `now` and keeps it. Raises FlockUnusable."""
    of, flock = _of(desk, now), desk.flock(now)
    once = desk.once_an_hour(flock, now)
    found = {}
    for language in LANGUAGES:
        with speaking(language):
            told = outlook_page(desk.store, flock, now, {}, once)
        found[language] = msgspec.json.encode(_Kept(of, told), enc_hook=str)
    with desk.store.passing() as passing:
        passing.prepare()
        passing.my_turn()
        for language, value in found.items():
            passing.drop(_KIND, language)
            passing.put(_KIND, language, value)


def kept(desk: Desk, now: datetime) -> OutlookPage | None:
    """The outlook in the language spoken now, where one is kept that still holds.

    Raises FlockUnusable.
    """
    with desk.store.passing() as passing:
        value = passing.get(_KIND, spoken())
    if value is None:
        return None
    try:
        found = msgspec.json.decode(value, type=_Kept)
    except (msgspec.DecodeError, msgspec.ValidationError):
        return None
    return found.told if found.of == _of(desk, now) else None


def _of(desk: Desk, now: datetime) -> str:
    flock, entries = desk.flock(now), desk.entries()
    last = entries[-1].id if entries else ""
    counts = reading_counts(desk.store, flock.hatches_open(), now)
    whole = is_whole(now, flock.zone)
    return f"{__version__} {len(entries)} {last} {day_at(flock, now)} {whole} {counts}"
