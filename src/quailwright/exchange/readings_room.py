"""How long readings are kept one by one, and the thinning of those of long ago.

Kept one by one are the readings of the last days, and those of a machine from setting until some
days after the hatch is over, so that a report that a hatch gets is not changed by what is left out
later. Older ones are thinned (`flock.thinning`) in small pieces, each a transaction of its own:
whoever writes meanwhile waits no longer than one of them takes.
"""

import json
import time
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

from quailwright.exchange.desk import Desk
from quailwright.flock.state import Flock
from quailwright.flock.thinning import stretch_ms, thinned
from quailwright.guide.occasions import ends
from quailwright.husbandry import facts
from quailwright.journal import options
from quailwright.journal.findings import BadInput
from quailwright.journal.readings import from_ms, to_ms
from quailwright.journal.store import Store
from quailwright.journal.summaries import Sensor
from quailwright.language import later, later_many, say

MOST_DAYS = 3650
_KEEPING, _THINNED = "readings_kept", "readings_thinned"
_PIECE_ROWS = 20_000
_PIECES_AT_ONCE = 30
_REST_S = 0.15
"""Between two pieces: longer than a writer that waits sleeps before it asks again."""
_GIVEN_BACK = 8_000_000
"""Bytes by which the file is made smaller at once."""
_DONE_FOR = timedelta(hours=20)
_BELIEVED_FOR = timedelta(days=7)
"""A clock so far beyond the last time may be wrong: readings of now would seem to be of long ago,
and what is left out does not come back. It is believed the next day."""


@dataclass(frozen=True, slots=True)
class Keeping:
    """For how many days readings are kept one by one, and those of a hatch after it is over."""

    days: int
    after_hatch_days: int


@dataclass(frozen=True, slots=True)
class HatchKept:
    """A hatch whose readings are kept one by one, where, of which span, and until when."""

    hatch: str
    place: str
    start: datetime
    end: datetime
    kept_until: datetime


@dataclass(frozen=True, slots=True)
class Thinning:
    """What came of thinning: readings looked at, left out of these, and whether all was done."""

    looked_at: int
    left_out: int
    whole: bool


@dataclass(frozen=True, slots=True)
class LastTime:
    """When thinning was last done, how many were left out that day, and whether all was done."""

    at: datetime
    left_out: int
    whole: bool


@dataclass(frozen=True, slots=True)
class ReadingsRoom:
    """What readings take, and what is kept one by one and why.

    Attributes:
        read: how many were truly read.
        kept: how many of these are in the file.
        size, free: bytes of the flock file, all its entries too; and of these, what waits to be
            used again.
        since: readings from here on are kept one by one.
        sensors: each instrument at each place.
        hatches: whose readings from before that are kept too.
        last: the last thinning, or None.
    """

    read: int
    kept: int
    size: int
    free: int
    keeping: Keeping
    since: datetime
    sensors: tuple[Sensor, ...]
    hatches: tuple[HatchKept, ...]
    last: LastTime | None

    @property
    def left_out(self) -> int:
        """How many are told by those kept."""
        return self.read - self.kept


# The household's choice.


def keeping(store: Store) -> Keeping:
    """What the household chose, or what is usual. Raises FlockUnusable."""
    with store.household() as connection:
        chosen = options.get(connection, _KEEPING)
    if chosen is not None:
        known = json.loads(chosen)
        return Keeping(known["days"], known["after_hatch_days"])
    return Keeping(
        int(facts.value("sensors.keep_days")), int(facts.value("sensors.keep_after_hatch_d"))
    )


def keep(store: Store, days: str, after_hatch_days: str) -> Keeping:
    """Writes down what the household chose, as typed. Raises BadInput."""
    least = int(facts.value("sensors.keep_days_least"))
    chosen = Keeping(_days(days, least), _days(after_hatch_days, least))
    with store.household(writes=True) as connection:
        options.put(
            connection,
            _KEEPING,
            json.dumps({"days": chosen.days, "after_hatch_days": chosen.after_hatch_days}),
        )
        options.put(connection, _THINNED, None)
    return chosen


def _days(typed: str, least: int) -> int:
    text = typed.strip()
    if not (text.isascii() and text.isdigit() and least <= int(text[:9]) <= MOST_DAYS):
        raise BadInput(
            say(
                "{typed!r} is not a number of days: type a whole number from {least} to {most}.",
                typed=text,
                least=least,
                most=MOST_DAYS,
            )
        )
    return int(text)


# What is kept one by one.


def kept_since(now: datetime, chosen: Keeping) -> datetime:
    """Readings from here on are kept one by one, of every place."""
    return from_ms(to_ms(now - timedelta(days=chosen.days)) // stretch_ms() * stretch_ms())


def hatches_kept(flock: Flock, now: datetime, chosen: Keeping) -> list[HatchKept]:
    """The hatches whose readings are kept one by one, with each place that they lay in."""
    found = []
    for hatch in flock.hatches.values():
        kept_until = ends(hatch) + timedelta(days=chosen.after_hatch_days)
        if now < kept_until:
            found += [
                HatchKept(hatch.name, place, hatch.set_at, ends(hatch), kept_until)
                for place in dict.fromkeys((hatch.set_in, hatch.place))
            ]
    return found


def _spans_to_thin(
    place: str, since: datetime, hatches: list[HatchKept]
) -> Iterator[tuple[int | None, int]]:
    """The spans of whole stretches [ms] of a place, before `since`, that no hatch keeps."""
    step = stretch_ms()
    kept = sorted(
        (to_ms(one.start) // step * step, -(-to_ms(one.end) // step) * step)
        for one in hatches
        if one.place == place
    )
    last = to_ms(since)
    begin: int | None = None
    for first, until in kept:
        end = min(first, last)
        if begin is None or begin < end:
            yield begin, end
        begin = until if begin is None else max(begin, until)
    if begin is None or begin < last:
        yield begin, last


# Thinning.


def _no_rest() -> None:
    pass


def thin(
    store: Store,
    flock: Flock,
    now: datetime,
    dry_run: bool = False,
    most_pieces: int | None = None,
    rest: Callable[[], None] = _no_rest,
) -> Thinning:
    """Thins what is no longer kept one by one, piece by piece, and gives back room.

    Args:
        flock: what stands at `now` (aware).
        dry_run: only say what would be left out.
        most_pieces: stop after so many; the rest is done the next time.
        rest: called between two pieces, so that others may write.

    Raises FlockUnusable.
    """
    chosen = keeping(store)
    since, hatches = kept_since(now, chosen), hatches_kept(flock, now, chosen)
    looked_at = left_out = pieces = 0
    for sensor in store.reading_sensors():
        for first, until in _spans_to_thin(sensor.place, since, hatches):
            begin = first
            while (begin := store.first_unthinned(sensor.number, begin, until)) is not None:
                if pieces == most_pieces:
                    return Thinning(looked_at, left_out, whole=False)
                if pieces:
                    rest()
                looked, out, begin = _piece(store, sensor.number, begin, until, dry_run)
                looked_at, left_out, pieces = looked_at + looked, left_out + out, pieces + 1
    if not dry_run:
        _give_back(store, rest)
    return Thinning(looked_at, left_out, whole=True)


def _piece(
    store: Store, sensor: int, begin: int, until: int, dry_run: bool
) -> tuple[int, int, int]:
    """Thins one piece; how many were looked at and left out, and where it ended."""
    step = stretch_ms()
    begin = begin // step * step
    if dry_run:
        found = store.unthinned(sensor, begin, until, step, _PIECE_ROWS)
        if found is None:
            return 0, 0, until
        choice = thinned(found.at_ms, found.temperature_c, found.humidity_pct)
        return len(choice.kept), int((~choice.kept).sum()), found.until_ms
    with store.writing() as writer:
        found = writer.unthinned(sensor, begin, until, step, _PIECE_ROWS)
        if found is None:
            return 0, 0, until
        choice = thinned(found.at_ms, found.temperature_c, found.humidity_pct)
        off = choice.temperature_off_c, choice.humidity_off_pct
        return len(choice.kept), writer.thin(found, step, choice.kept, off), found.until_ms


def _give_back(store: Store, rest: Callable[[], None]) -> None:
    """Makes the file smaller where most of it is empty: some room will be wanted again."""
    room = store.room()
    while room.free > max(room.size / 2, 2 * _GIVEN_BACK):
        store.give_back(_GIVEN_BACK)
        before, room = room, store.room()
        if room.size >= before.size:
            return
        rest()


def thin_and_note(
    store: Store,
    flock: Flock,
    now: datetime,
    most_pieces: int | None = None,
    rest: Callable[[], None] = _no_rest,
) -> LastTime:
    """Thins, and notes for the pages that it was done, and what came of it. As `thin`."""
    last = last_time(store)
    came = thin(store, flock, now, False, most_pieces, rest)
    so_far = 0 if last is None or last.whole else last.left_out
    noted = LastTime(now, so_far + came.left_out, came.whole)
    _note(store, noted)
    return noted


def _note(store: Store, noted: LastTime) -> None:
    told = {"at": noted.at.isoformat(), "left_out": noted.left_out, "whole": noted.whole}
    with store.household(writes=True) as connection:
        options.put(connection, _THINNED, json.dumps(told))


def do(desk: Desk, now: datetime) -> str:
    """The chore: thins once a day, some pieces at a time; what came of it in a sentence."""
    last = last_time(desk.store)
    if last is not None and last.whole and last.at <= now < last.at + _DONE_FOR:
        return ""
    if last is not None and now - last.at > _BELIEVED_FOR:
        _note(desk.store, LastTime(now, last.left_out, whole=True))
        return ""
    came = thin_and_note(
        desk.store, desk.flock(now), now, _PIECES_AT_ONCE, lambda: time.sleep(_REST_S)
    )
    if not came.whole:
        return later("Old readings are being thinned.")
    return later_many(
        "{n} old reading was left out.", "{n:,} old readings were left out.", came.left_out
    )


def last_time(store: Store) -> LastTime | None:
    """The last thinning, by whatever process. Raises FlockUnusable."""
    with store.household() as connection:
        known = options.get(connection, _THINNED)
    if known is None:
        return None
    told = json.loads(known)
    return LastTime(datetime.fromisoformat(told["at"]), told["left_out"], told["whole"])


# What it comes to.


def readings_room(store: Store, flock: Flock, now: datetime) -> ReadingsRoom:
    """What readings take, and what is kept one by one; `flock` is what stands at `now`.

    Raises FlockUnusable.
    """
    chosen = keeping(store)
    sensors = tuple(one for one in store.reading_sensors() if one.readings)
    room = store.room()
    since = kept_since(now, chosen)
    read_at = {one.place for one in sensors}
    return ReadingsRoom(
        sum(one.readings for one in sensors),
        sum(one.kept for one in sensors),
        room.size,
        room.free,
        chosen,
        since,
        sensors,
        tuple(
            one
            for one in hatches_kept(flock, now, chosen)
            if one.place in read_at and one.start < since
        ),
        last_time(store),
    )


def room_shape(told: ReadingsRoom) -> Mapping[str, object]:
    """`readings room --json`."""
    last = told.last
    return {
        "readings": told.read,
        "kept": told.kept,
        "left_out": told.left_out,
        "bytes": told.size,
        "bytes_free": told.free,
        "days": told.keeping.days,
        "after_hatch_days": told.keeping.after_hatch_days,
        "one_by_one_since": told.since.isoformat(),
        "sensors": [
            {
                "place": one.place,
                "instrument": one.instrument,
                "readings": one.readings,
                "kept": one.kept,
                "thinned_until": None
                if one.thinned_until_ms is None
                else from_ms(one.thinned_until_ms).isoformat(),
            }
            for one in told.sensors
        ],
        "hatches": [
            {
                "hatch": one.hatch,
                "place": one.place,
                "from": one.start.isoformat(),
                "until": one.end.isoformat(),
                "kept_until": one.kept_until.isoformat(),
            }
            for one in told.hatches
        ],
        "thinned": None
        if last is None
        else {"at": last.at.isoformat(), "left_out": last.left_out, "whole": last.whole},
    }
