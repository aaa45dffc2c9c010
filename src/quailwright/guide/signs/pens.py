"""Signs of pens whose lay, feed or water fell, read beside what the other pens did meanwhile.

What a pen shares with one that holds (lamp, feed, age, weather) is an unlikelier cause; what it has
for itself (its drinker first) is likelier. Where all fell together it is the other way round.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from math import sqrt

from quailwright.flock.state import AirSeen, Flock, Group
from quailwright.guide import wording
from quailwright.guide.signs.sign import Sign
from quailwright.guide.signs.streams import Stream, streams
from quailwright.guide.signs.watch import HELD, Off, each, kept_since, rate, usual_rate
from quailwright.guide.signs.whom import whom_to_ring
from quailwright.husbandry import facts
from quailwright.language import mark, say, say_many

_DAY = timedelta(days=1)
_WEEK, _LATELY = 7, 3
_FELL = 0.9
"""Less than this share of the usual is a fall."""
_SURELY = 1.5
"""Standard deviations beyond which another pen's fall is taken for one."""
_OTHERS_TOLD = 3


@dataclass(frozen=True, slots=True)
class _Pen:
    """A pen with what is watched of it."""

    place: str
    groups: tuple[Group, ...]
    eggs: tuple[Stream, ...]
    feed: Stream | None
    water: Stream | None

    @property
    def leads(self) -> list[tuple[Stream, Off]]:
        """The first of its streams that stands off (eggs, then water, then feed), or none."""
        found = [(each, each.off) for each in self._in_order() if each.off is not None]
        return found[:1]

    def _in_order(self) -> list[Stream]:
        worst = sorted((s for s in self.eggs if s.off is not None), key=_left)
        return [*worst, *(stream for stream in (self.water, self.feed) if stream is not None)]

    @property
    def since(self) -> date | None:
        """The first day on which any of its streams went off."""
        days = [s.off.since for s in self._in_order() if s.off is not None]
        return min(days, default=None)


def _left(stream: Stream) -> float:
    return stream.off.change if stream.off is not None else 1.0


def signs_of_pens(
    flock: Flock,
    on: date,
    air: Sequence[AirSeen] = (),
    watched: Sequence[Stream] | None = None,
) -> Iterator[Sign]:
    """What looks wrong in lay, feed, water and cracked eggs on the day `on`.

    `watched` are the streams of that day, where they are at hand.
    """
    watched = streams(flock, on) if watched is None else watched
    pens = _pens(flock, watched)
    off = [pen for pen in pens if pen.leads]
    together = [pen for pen in off if _fell_together(pen, pens)]
    if together:
        yield _of_all(flock, together, _sagging(together[0], pens), on, air)
    for pen in off:
        if pen not in together:
            for leading, its_off in pen.leads:
                yield _of_one(flock, pen, leading, its_off, pens, on, air)
    for stream in watched:
        if stream.what == "cracked" and stream.off is not None:
            yield _of_cracked(stream, stream.off)


def _pens(flock: Flock, watched: Sequence[Stream]) -> list[_Pen]:
    found = []
    for place in flock.in_walking_order():
        here = [stream for stream in watched if stream.place == place.name]
        if here:
            by = {stream.what: stream for stream in here}
            found.append(
                _Pen(
                    place.name,
                    tuple(flock.groups_at(place.name)),
                    tuple(stream for stream in here if stream.what == "eggs"),
                    by.get("feed"),
                    by.get("water"),
                )
            )
    return found


# What the other pens did meanwhile.


def _kept_up(other: _Pen, pen: _Pen, since: date) -> float | None:
    """What another pen laid since a day over what it did before: of the same kind as what fell.

    Pens that lay are held against pens that lay; feed against feed. None where too little was
    seen; below 1 only as far as chance does not explain it.
    """
    streams = other.eggs if pen.eggs else tuple(s for s in (other.feed, other.water) if s)
    ratios = [ratio for stream in streams if (ratio := kept_since(stream.seen, since)) is not None]
    return min(ratios, default=None)


def _held(pen: _Pen, others: Sequence[_Pen]) -> list[_Pen]:
    """The other pens that went on as before while this one fell."""
    return [other for other, kept in _compared(pen, others) if not other.leads and kept >= HELD]


def _sagging(pen: _Pen, others: Sequence[_Pen]) -> list[_Pen]:
    """The other pens that fell too, surely or so far only a little."""
    return [
        other
        for other, kept in _compared(pen, others)
        if other.leads or 1.0 - kept > max(1.0 - HELD, _SURELY * _chance_of(other, pen))
    ]


def _chance_of(other: _Pen, pen: _Pen) -> float:
    """By how much a ratio since the pen fell wanders by chance: its standard deviation."""
    seen = [
        one for stream in other.eggs for one in stream.seen if one.day >= (pen.since or date.max)
    ]
    trials = sum(one.units * one.days for one in seen[-_WEEK:])
    share = min(max(rate(seen), 0.1), 0.9)
    return sqrt((1.0 - share) / share / trials) if trials else 0.0


def _compared(pen: _Pen, others: Sequence[_Pen]) -> list[tuple[_Pen, float]]:
    """The other pens that tell, with what they kept up since this one began to fall."""
    since = pen.since
    if since is None:
        return []
    return [
        (other, kept)
        for other in others
        if other is not pen and (kept := _kept_up(other, pen, since)) is not None
    ]


def _fell_together(pen: _Pen, pens: Sequence[_Pen]) -> bool:
    """Whether no other pen held while this one fell, and at least one more fell."""
    return bool(_sagging(pen, pens)) and not _held(pen, pens)


# One pen by itself.


def _of_one(
    flock: Flock,
    pen: _Pen,
    leading: Stream,
    off: Off,
    pens: Sequence[_Pen],
    on: date,
    air: Sequence[AirSeen],
) -> Sign:
    """The sign of a pen whose stream `leading` is off, beside what the other pens did."""
    held = _held(pen, pens)
    evidence = [_evidence(pen, leading, off), *_also(pen, leading)]
    if held:
        evidence.extend(_kept(other, pen) for other in held[:_OTHERS_TOLD])
    elif len(pens) < 2:
        evidence.append(say("There is no other pen to compare with."))
    shared = tuple(_shared(flock, pen, held)) if held else ()
    own = tuple(_own(flock, pen, held, on, air))
    then = tuple(_then(flock, pen, bool(held), on, air))
    return Sign(
        _NAMES[leading.what],
        pen.place,
        pen.since or off.since,
        " ".join(evidence),
        _first_check(pen),
        then,
        shared,
        own,
        when_to_ring(flock),
    )


LAY_FALLS = mark("lay falls")
_NAMES = {
    "eggs": LAY_FALLS,
    "water": mark("water falls"),
    "feed": mark("feed falls"),
}


def _first_check(pen: _Pen) -> str:
    since = pen.since
    if pen.water is not None and pen.water.off is None and since is not None:
        drunk = kept_since(pen.water.seen, since)
        if drunk is not None and drunk >= HELD:
            return say(
                "The birds and the feeder at {place} today: they drink as before. See that they "
                "eat, and whether one is hurt, pecked or sits apart.",
                place=pen.place,
            )
    if pen.water is not None and pen.water.off is not None:
        return say(
            "Water at {place} today: they drink less. See that it runs, is clean, cool and in "
            "reach, and watch them drink.",
            place=pen.place,
        )
    return say(
        "Water at {place} today: see that it runs, is clean, cool and in reach, and watch them "
        "drink.",
        place=pen.place,
    )


def _evidence(pen: _Pen, stream: Stream, off: Off) -> str:
    late = off.during[-_WEEK:]
    days = sum(one.days for one in late)
    if stream.what == "eggs":
        eggs = round(sum(one.amount for one in late))
        usual = sum(min(off.usual * one.size, one.units * one.days) for one in late)
        return say_many(
            "{whose}: {eggs} eggs counted for {n} day, where about {usual:.0f} are usual for these "
            "hens at their age and light.",
            "{whose}: {eggs} eggs counted for {n} days, where about {usual:.0f} are usual for "
            "these hens at their age and light.",
            days,
            whose=stream.group,
            eggs=eggs,
            usual=usual,
        )
    return _amounts(stream, each(off.before), each(off.during[-_LATELY:]))


def _amounts(stream: Stream, usual: float, now: float) -> str:
    if stream.what == "feed":
        return say(
            "Feed fell from {usual:.0f} to {now:.0f} g a bird and day.",
            usual=usual * 1000.0,
            now=now * 1000.0,
        )
    return say(
        "Water filled in fell from {usual:.0f} to {now:.0f} ml a bird and day.",
        usual=usual * 1000.0,
        now=now * 1000.0,
    )


def _also(pen: _Pen, leading: Stream) -> Iterator[str]:
    """What else of this pen fell, or held, at the same time."""
    since = pen.since
    for stream in (pen.feed, pen.water):
        if stream is None or stream is leading or since is None:
            continue
        before = [one for one in stream.seen if one.day < since]
        after = [one for one in stream.seen if one.day >= since][-_LATELY:]
        if len(before) < 3 or not after:
            continue
        if rate(after) < _FELL * usual_rate(before[-28:]):
            yield _amounts(stream, each(before[-28:]), each(after))
        else:
            yield say("{what} is as before.", what=say(_CAPITAL[stream.what]))


_CAPITAL = {"feed": mark("Feed given"), "water": mark("Water filled in")}


def _kept(other: _Pen, pen: _Pen) -> str:
    since = pen.since or date.min
    stream = next(iter(other.eggs), None)
    if stream is None:
        return say("{place} goes on as before.", place=other.place)
    late = [one for one in stream.seen if one.day >= since][-_WEEK:]
    return say_many(
        "{place} holds: {eggs} eggs in {n} day.",
        "{place} holds: {eggs} eggs in {n} days.",
        sum(one.days for one in late),
        place=other.place,
        eggs=round(sum(one.amount for one in late)),
    )


def _shared(flock: Flock, pen: _Pen, held: Sequence[_Pen]) -> Iterator[str]:
    """What this pen has in common with pens that held."""
    names = _names(held)
    yield say("Light: {others}, under the same, did not fall.", others=names)
    same_feed = [other for other in held if _feeds_of(flock, pen) & _feeds_of(flock, other)]
    if same_feed:
        feeds = sorted(_feeds_of(flock, pen) & _feeds_of(flock, same_feed[0]))
        yield say(
            "Feed: {others}, on the same ({feed}), did not fall.",
            others=_names(same_feed),
            feed=", ".join(feeds),
        )
    same_age = _of_its_age(pen, held)
    if same_age:
        yield say("Age: {others}, as old, did not fall.", others=_names(same_age))
    yield say("Season and weather: the same for {others}.", others=names)


def _names(pens: Sequence[_Pen]) -> str:
    return ", ".join(pen.place for pen in pens)


def _of_its_age(pen: _Pen, held: Sequence[_Pen]) -> list[_Pen]:
    near = facts.value("signs.same_age_d")
    return [o for o in held if (apart := _ages_apart(pen, o)) is not None and apart <= near]


def _feeds_of(flock: Flock, pen: _Pen) -> set[str]:
    """Feeds given at a pen of late; where no place is told, the only layer feed in use."""
    late = flock.feedings[-200:]
    here = {one.feed for one in late if one.place == pen.place}
    if here:
        return here
    in_use = {name for name, stock in flock.feeds.items() if stock.given}
    return in_use if len(in_use) == 1 else set()


def _ages_apart(one: _Pen, other: _Pen) -> int | None:
    mine = [g.youngest for g in one.groups if g.youngest is not None]
    theirs = [g.youngest for g in other.groups if g.youngest is not None]
    if not mine or not theirs:
        return None
    return abs((max(mine) - max(theirs)).days)


def _own(
    flock: Flock, pen: _Pen, held: Sequence[_Pen], on: date, air: Sequence[AirSeen]
) -> Iterator[str]:
    """What this pen has for itself: likelier causes."""
    since = pen.since or on
    recent = since - timedelta(days=facts.value("signs.recent_event_d"))
    yield say("Its own drinker.")
    for group in pen.groups:
        if group.placed is not None and recent <= group.placed <= on and group.changes:
            first = min(change.day for change in group.changes)
            if group.placed > first:
                yield say(
                    "{group} was moved there on {day}.",
                    group=group.name,
                    day=wording.weekday(group.placed),
                )
        joined = [
            change.day
            for change in group.changes
            if change.why in ("in", "moved_in")
            and recent <= change.day <= on
            and change.day > min(c.day for c in group.changes)
        ]
        if joined:
            yield say(
                "Birds joined {group} on {day}.", group=group.name, day=wording.weekday(joined[-1])
            )
        dead = sum(death.birds.total for death in group.deaths if recent <= death.day <= on)
        if dead:
            yield say_many(
                "{n} death in {group} since {day}.",
                "{n} deaths in {group} since {day}.",
                dead,
                group=group.name,
                day=wording.weekday(recent),
            )
    for treatment in flock.withholdings:
        if treatment.group in {g.name for g in pen.groups} and recent <= treatment.since <= on:
            yield say(
                "It was treated with {product} on {day}.",
                product=treatment.product,
                day=wording.weekday(treatment.since),
            )
    hot = _hottest(flock, air, pen.place, since, on)
    if hot is not None:
        yield say("Up to {temperature} there.", temperature=wording.heat(hot, flock.units))
    if held and not any(_feeds_of(flock, pen) & _feeds_of(flock, other) for other in held):
        feeds = sorted(_feeds_of(flock, pen))
        if feeds:
            yield say("Its own feed ({feed}).", feed=", ".join(feeds))
    aged = [other for other in held if _ages_apart(pen, other) is not None]
    if aged and not _of_its_age(pen, held):
        yield say("Its age: no other pen is as old.")


def _hottest(
    flock: Flock, air: Sequence[AirSeen], place: str, since: date, on: date
) -> float | None:
    """The highest temperature told of a place about then, where it is one that birds suffer by."""
    told = [
        seen.highest_c
        for seen in (*flock.air, *air)
        if seen.place == place
        and seen.highest_c is not None
        and since - 2 * _DAY <= seen.at.date() <= on
    ]
    told += [
        outage.highest_c
        for day, outage in flock.outages
        if outage.place == place and outage.highest_c is not None and since - 2 * _DAY <= day <= on
    ]
    highest = max(told, default=None)
    return highest if highest is not None and highest >= _heat_limit() else None


def _heat_limit() -> float:
    return facts.value("housing.heat_lay_none_c")


def _then(
    flock: Flock, pen: _Pen, compared: bool, on: date, air: Sequence[AirSeen]
) -> Iterator[str]:
    """What to look at after the water, in order."""
    if _hottest(flock, air, pen.place, pen.since or on, on) is not None:
        yield say("Shade and moving air at {place}; cool water twice a day.", place=pen.place)
    yield say("The feeder: full, dry, in reach of every bird, no mould or dust.")
    yield say(
        "Eggs laid where nobody looks, eaten or broken; signs of a rat, a cat or a hawk at night."
    )
    yield say("Weigh three birds; look at vents, feet, feathers, pecked heads.")
    if not compared:
        yield from _of_light(flock, on)
        yield say("The feed: a new bag, another maker, old or damp.")


def _of_light(flock: Flock, on: date) -> Iterator[str]:
    holding = flock.holding
    if holding is not None and holding.rests_in_winter:
        return
    if holding is not None and (holding.lamp_on or holding.light_target_h is not None):
        yield say("Lamp and timer: see that it burns at its hours.")
        return
    from quailwright.flock.light import latitude_of
    from quailwright.husbandry.daylight import day_length_h

    latitude = latitude_of(flock)
    if latitude is not None and day_length_h(latitude, on) < facts.value("laying.light_full_h"):
        yield say(
            "Light: the day has {hours:.1f} h; hens lay in full from {full:g} h.",
            hours=day_length_h(latitude, on),
            full=facts.value("laying.light_full_h"),
        )


# All pens together.


def _of_all(
    flock: Flock, pens: Sequence[_Pen], sagging: Sequence[_Pen], on: date, air: Sequence[AirSeen]
) -> Sign:
    """The sign of pens that fell together; `sagging` are those that fell with the first."""
    since = min(pen.since for pen in pens if pen.since is not None)
    leads = [(pen, *lead) for pen in pens for lead in pen.leads]
    worst = min((stream for _, stream, _ in leads), key=lambda one: list(_NAMES).index(one.what))
    evidence = []
    for pen, stream, off in leads:
        evidence.append(_evidence(pen, stream, off))
        evidence.extend(
            say("{place}: {fact}", place=pen.place, fact=fact) for fact in _also(pen, stream)
        )
    evidence.extend(_sags(pen, since) for pen in sagging if not pen.leads)
    evidence.append(say("No pen held, so look first at what they share."))
    suspects = list(_suspects(flock, pens, since, on, air))
    checks = [check for _, check in suspects]
    return Sign(
        _NAMES[worst.what],
        ", ".join(pen.place for pen in pens),
        since,
        " ".join(evidence),
        checks[0],
        tuple(checks[1:]),
        (),
        tuple(why for why, _ in suspects if why),
        when_to_ring(flock),
    )


def _sags(pen: _Pen, since: date) -> str:
    kept = min((k for s in pen.eggs if (k := kept_since(s.seen, since)) is not None), default=None)
    if kept is None:
        return say("{place} eats less too.", place=pen.place)
    return say("{place} lays {less:.0%} less so far.", place=pen.place, less=1.0 - kept)


def _suspects(
    flock: Flock, pens: Sequence[_Pen], since: date, on: date, air: Sequence[AirSeen]
) -> Iterator[tuple[str, str]]:
    """What pens share that may have changed, likeliest first: why, and what to check."""
    recent = since - timedelta(days=facts.value("signs.recent_event_d"))
    hot = max(
        (h for p in pens if (h := _hottest(flock, air, p.place, since, on)) is not None),
        default=None,
    )
    shade = say("Shade, moving air and cool water twice a day, until the heat is over.")
    light = next(_of_light(flock, on), None)
    if hot is not None:
        yield say("Up to {temperature}.", temperature=wording.heat(hot, flock.units)), shade
    cut = [day for day, outage in flock.outages if recent <= day <= on]
    if cut and light is not None:
        yield (
            say("The power was out on {day}.", day=wording.weekday(cut[-1])),
            say("Lamp and timer: after an outage a timer runs late. See when it burns."),
        )
    for name, day in _new_feed(flock, recent, on):
        yield (
            say("{feed} came on {day}.", feed=name, day=wording.weekday(day)),
            say("The new feed: smell it, look for mould and dust, read what stage it is for."),
        )
    if light is not None and not cut:
        yield "", light
    drink_less = [pen for pen in pens if pen.water is not None and pen.water.off is not None]
    yield (
        say("They drink less.") if drink_less else "",
        say("Water at every pen today: one line or one tap for all? See that birds drink."),
    )
    if hot is None:
        yield "", say("Heat or frost of late: read the highest and lowest, and log them.")
    yield "", say("Visitors, new birds, wild birds at feed or water, a fright at night.")


def _new_feed(flock: Flock, recent: date, on: date) -> Iterator[tuple[str, date]]:
    for name, stock in flock.feeds.items():
        came = [bag.day for bag in stock.bought if recent <= bag.day <= on]
        if came and stock.last_given is not None and stock.last_given >= recent:
            yield name, came[-1]


# Cracked eggs.


def _of_cracked(stream: Stream, off: Off) -> Sign:
    late = off.during[-_WEEK:]
    return Sign(
        mark("more cracked eggs"),
        stream.place,
        off.since,
        say(
            "{whose}: {cracked:.0f} of {eggs:.0f} eggs cracked of late; {usual:.1%} is usual.",
            whose=stream.group,
            cracked=sum(one.amount for one in late),
            eggs=sum(one.size for one in late),
            usual=off.usual,
        ),
        say("Oyster shell beside the layer feed, and that it is layer feed that they get."),
        (
            say("What eggs fall or roll on; how often they are collected."),
            say("Heat: shells thin above {limit:g} °C.", limit=_heat_limit()),
            say("Birds that peck eggs; a fright at night."),
        ),
    )


def when_to_ring(flock: Flock) -> str:
    """When to ring whom, by the keeper's own names and numbers."""
    return say(
        "Several sudden deaths, swelling, twisted necks, or birds that neither eat nor drink: move "
        "nothing, sell nothing, and ring {who}.",
        who=whom_to_ring(flock),
    )
