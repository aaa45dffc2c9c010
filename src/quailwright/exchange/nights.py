"""What is done for every flock of an office once a night, when nobody asks."""

import logging
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, timedelta

from quailwright.exchange import outlook_kept
from quailwright.exchange.desk import Desk
from quailwright.exchange.readings_room import thin_and_note
from quailwright.journal.findings import QuailwrightError
from quailwright.journal.flocks import Flocks
from quailwright.journal.nights import next_turn, prepare
from quailwright.language import say

_PASSED_ON_FOR = timedelta(days=1)
_log = logging.getLogger("uvicorn.error")


@dataclass(frozen=True, slots=True)
class NightTold:
    """What came of a flock's night: how long it took, and why not all was done ("": it was)."""

    name: str
    seconds: float
    why_not: str


def nights(
    flocks: Flocks, on: date, clock: Callable[[], datetime], most: int | None = None
) -> Iterator[NightTold]:
    """Looks after every flock whose night of that day is still to be done, one after another.

    Others may do so at the same time: each flock is done once. Raises FlockUnusable where the
    database is lost.
    """
    prepare(flocks)
    done = 0
    while most is None or done < most:
        began = time.monotonic()
        with next_turn(flocks, on) as turn:
            if turn is None:
                return
            turn.why_not = _looked_after(flocks, turn.name, clock())
        done += 1
        yield NightTold(turn.name, time.monotonic() - began, turn.why_not)


def _looked_after(flocks: Flocks, name: str, now: datetime) -> str:
    """Does it all; what one thing of it hinders, hinders none of the others."""
    try:
        desk = Desk(flocks.store(name))
        desk.flock(now)
    except QuailwrightError as error:
        return error.sentence
    why_not = []
    for do in (_outlook, _old_readings, _left_behind):
        try:
            do(desk, now)
        except QuailwrightError as error:
            why_not.append(error.sentence)
        except Exception as error:
            # The nights of the other flocks go on.
            _log.exception("A fault of our own in the night of %s", name)
            fault = type(error).__name__
            why_not.append(say("A fault of quailwright's own ({fault}).", fault=fault))
    return " ".join(why_not)


def _outlook(desk: Desk, now: datetime) -> None:
    """The weeks ahead."""
    if desk.entries():
        outlook_kept.keep(desk, now)


def _old_readings(desk: Desk, now: datetime) -> None:
    """Thins readings of long ago."""
    if desk.store.reading_sensors():
        thin_and_note(desk.store, desk.flock(now), now)


def _left_behind(desk: Desk, _: datetime) -> None:
    """What server processes passed one another and nobody asks for any more."""
    with desk.store.passing() as passing:
        passing.prepare()
        passing.drop_older(_PASSED_ON_FOR)
