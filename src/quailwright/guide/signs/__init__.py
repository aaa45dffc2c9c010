"""What looks wrong: in the record, and in how birds, eggs, feed, water and air run on."""

from collections.abc import Iterator, Sequence
from datetime import date

from quailwright.flock.state import AirSeen, Flock
from quailwright.guide.signs.air import signs_of_air
from quailwright.guide.signs.deaths import signs_of_deaths
from quailwright.guide.signs.hatch import signs_of_hatches
from quailwright.guide.signs.light import signs_of_light
from quailwright.guide.signs.pens import LAY_FALLS, signs_of_pens
from quailwright.guide.signs.record import signs_of_record
from quailwright.guide.signs.room import signs_of_room
from quailwright.guide.signs.sign import Sign
from quailwright.guide.signs.slow import MORE_FEED, signs_of_drift

__all__ = ["Sign", "signs"]


def signs(flock: Flock, on: date, air: Sequence[AirSeen] = ()) -> Iterator[Sign]:
    """Everything that looks wrong on the day `on`, what harms birds most first.

    `air` adds what sensors told of the last days to what the keeper read off a thermometer.
    """
    deaths = list(signs_of_deaths(flock, on, air))
    yield from deaths
    told = {sign.where for sign in deaths}
    # Deaths at a place already say what its air was, and what to measure.
    yield from (sign for sign in signs_of_air(flock, on, air) if sign.where not in told)
    pens = list(signs_of_pens(flock, on, air))
    yield from pens
    yield from signs_of_hatches(flock, on, air)
    falls = any(sign.sign == LAY_FALLS for sign in pens)
    # Where lay falls, feed for a dozen eggs must rise.
    yield from (
        sign for sign in signs_of_drift(flock, on) if not (falls and sign.sign == MORE_FEED)
    )
    yield from signs_of_record(flock, on)
    yield from signs_of_room(flock, on)
    yield from signs_of_light(flock, on)
