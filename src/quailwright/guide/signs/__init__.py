"""What looks wrong: in the record, and in how birds, eggs, feed, water and air run on."""

from collections.abc import Iterator, Sequence
from datetime import date

from quailwright.flock.state import AirSeen, Flock
from quailwright.guide.signs.hatch import signs_of_hatches
from quailwright.guide.signs.pens import signs_of_pens
from quailwright.guide.signs.record import signs_of_record
from quailwright.guide.signs.sign import Sign

__all__ = ["Sign", "signs"]


def signs(flock: Flock, on: date, air: Sequence[AirSeen] = ()) -> Iterator[Sign]:
    """Everything that looks wrong on the day `on`, what harms birds first.

    `air` adds what sensors told of the last days to what the keeper read off a thermometer.
    """
    yield from signs_of_pens(flock, on, air)
    yield from signs_of_hatches(flock, on, air)
    yield from signs_of_record(flock, on)
