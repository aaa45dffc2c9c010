"""The room that readings take, in sentences, as both faces say it."""

from quailwright.exchange.readings_room import ReadingsRoom
from quailwright.exchange.typed import local
from quailwright.guide import wording
from quailwright.language import say, say_many

_MB = 1_000_000


def room_told(told: ReadingsRoom, zone_name: str) -> list[str]:
    """How much there is, what is kept one by one and why, and whether thinning is done."""
    said = [_much(told), *_kept(told, zone_name), _done(told, zone_name)]
    if told.free >= _MB:
        free = told.free / _MB
        said.append(say("{free:.1f} MB of the file is empty, and will be used again.", free=free))
    return said


def _much(told: ReadingsRoom) -> str:
    size = told.size / _MB
    if not told.read:
        return say("No readings yet. The flock file takes {size:.1f} MB.", size=size)
    if not told.left_out:
        return say_many(
            "{n} reading, which is kept. The flock file takes {size:.1f} MB in all.",
            "{n:,} readings, all kept one by one. The flock file takes {size:.1f} MB in all.",
            told.read,
            size=size,
        )
    return say(
        "{read:,} readings, of which {kept:,} are kept and tell the rest. The flock file takes "
        "{size:.1f} MB in all.",
        read=told.read,
        kept=told.kept,
        size=size,
    )


def _kept(told: ReadingsRoom, zone_name: str) -> list[str]:
    said = [
        say(
            "Kept one by one: every reading of the last {days} days, since {since}.",
            days=told.keeping.days,
            since=wording.full_day(local(told.since, zone_name)),
        )
    ]
    said += [
        say(
            "Of {place} also those of the hatch {hatch}, until {until}.",
            place=one.place,
            hatch=one.hatch,
            until=wording.full_day(local(one.kept_until, zone_name)),
        )
        for one in told.hatches
    ]
    return said


def _done(told: ReadingsRoom, zone_name: str) -> str:
    last = told.last
    if last is None:
        return say(
            "Old readings have not been thinned yet: that is done once a day while the pages are "
            "served."
        )
    at = local(last.at, zone_name)
    day, clock = wording.full_day(at), f"{at:%H:%M}"
    if not last.whole:
        return say(
            "Old readings are being thinned, a piece at a time, since {day}, {clock}.",
            day=day,
            clock=clock,
        )
    if not last.left_out:
        return say("Thinned last on {day}, {clock}: nothing was to do.", day=day, clock=clock)
    return say_many(
        "Thinned last on {day}, {clock}: {n} reading was left out.",
        "Thinned last on {day}, {clock}: {n:,} readings were left out.",
        last.left_out,
        day=day,
        clock=clock,
    )
