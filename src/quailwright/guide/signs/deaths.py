"""Deaths read by their pattern: one cold night, days 3 to 5, wet, after a move, a predator, many.

What the keeper told (how they were found, how cold it was) speaks first; where nothing was told,
numbers speak once so many would hardly die by chance at the published losses, or for grown birds
at the pen's own. The levels are in `facts/signs.csv` with the false alarms that they allow. It
says what to check first, and never what a bird died of.
"""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

from quailwright.flock.state import AirSeen, Flock
from quailwright.guide import wording
from quailwright.guide.signs.air import (
    HEATER_SAFELY,
    air_seen,
    coldest_that_harms,
    hottest_that_harms,
    that_cover,
)
from quailwright.guide.signs.deaths_grown import across_pens, of_grown
from quailwright.guide.signs.losses import (
    DAY,
    FOUND,
    LEAST_SHOWN,
    NAMES,
    PREDATOR,
    WEEK,
    Losses,
    after_move,
    by_day,
    found_told,
    losses_of,
    missing_on,
    others_that_lost_none,
)
from quailwright.guide.signs.sign import Sign
from quailwright.guide.signs.whom import whom_to_ring
from quailwright.husbandry import brooding, facts, survival
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.language import mark, say, say_many


def signs_of_deaths(flock: Flock, on: date, air: Sequence[AirSeen] = ()) -> Iterator[Sign]:
    """Groups in which birds die in a pattern, or more of them than usual.

    `air` is what sensors told of the last days.
    """
    told_from = on - timedelta(days=facts.value("signs.deaths_told_d"))
    seen: list[AirSeen] | None = None
    grown: list[Losses] = []
    for group in flock.groups.values():
        if not (group.deaths and group.deaths[-1].day >= told_from) and not missing_on(
            flock, group, on
        ):
            continue
        if seen is None:
            seen = air_seen(flock, air, told_from - timedelta(days=WEEK + 1))
        losses = losses_of(flock, group, on, seen)
        if losses.age(losses.last) < survival.CHICK_WEEKS * DAYS_A_WEEK:
            yield from _of_chicks(losses)
        else:
            grown.append(losses)
            yield from of_grown(losses)
    yield from across_pens(flock, grown, on)


@dataclass(frozen=True, slots=True)
class _Pattern:
    """What the deaths of a brood look like."""

    first: date
    morning: date | None
    sudden: bool
    together: bool
    cold: tuple[AirSeen, float, float] | None
    hot: tuple[AirSeen, float, float] | None
    found: Counter[str]
    spread: bool
    moved: date | None
    many: bool

    def reasons(self) -> list[str]:
        """What to look for, the likeliest first, "many" where nothing points anywhere.

        Every kind is there: none is excluded.
        """
        weight = dict.fromkeys(_IN_TURN, 0.0)
        weight["chill"] = (
            _TOLD * bool(self.found["chilled"])
            + _MEASURED * (self.cold is not None)
            + _SEEN * self.together
            + _SEEN * self.sudden
        )
        weight["wet"] = _TOLD * bool(self.found["wet"] or self.found["drowned"])
        weight["taken"] = (_TOLD + _SEEN) * bool(self.found["predator"])
        weight["hurt"] = _TOLD * bool(self.found["injured"])
        weight["heat"] = _MEASURED * (self.hot is not None)
        weight["feed"] = _MEASURED * (self.spread and self.cold is None)
        weight["move"] = _MEASURED * (self.moved is not None)
        ranked = sorted(_IN_TURN, key=lambda reason: -weight[reason])
        return ranked if any(weight.values()) else ["many", *ranked]


_TOLD, _MEASURED, _SEEN = 4.0, 3.0, 2.0
"""What the keeper found outweighs what was measured, and that what the numbers look like."""
_IN_TURN = ("chill", "wet", "feed", "move", "heat", "taken", "hurt")
_ALWAYS_NAMED = ("chill", "wet", "feed", "heat")
_WHOLE = 0.6
"""Deaths of days 3 to 5 of which one day has more than this share are those of one night."""


def _of_chicks(losses: Losses) -> Iterator[Sign]:
    pattern = _pattern(losses)
    if pattern is None:
        return
    reasons = pattern.reasons()
    first, rest = reasons[0], reasons[1:]
    named = [reason for reason in rest if reason in _ALWAYS_NAMED or _is_told(reason, pattern)]
    then = [_check(reason, losses, pattern) for reason in named]
    if first == "chill":
        then = [say(_WARM_FIRST), *then, say(HEATER_SAFELY)]
    yield Sign(
        NAMES[first],
        losses.group.place if _alone(losses) else losses.group.name,
        pattern.morning if first == "chill" and pattern.morning else pattern.first,
        " ".join(_chicks_evidence(losses, pattern, first)),
        _lead(first, losses, pattern),
        tuple(then),
        shared=others_that_lost_none(losses, pattern.first),
        ring=say(
            "Ring {who} if more die after two nights that were warm enough, or if many die at "
            "once and none of this fits. Until then lend and sell no birds from this brooder.",
            who=whom_to_ring(losses.flock),
        ),
    )


def _alone(losses: Losses) -> bool:
    """Whether the place's name says which birds are meant."""
    return losses.flock.groups_at(losses.group.place) in ([losses.group], [])


def _is_told(reason: str, pattern: _Pattern) -> bool:
    told = {"move": pattern.moved is not None, "taken": pattern.found["predator"],
            "hurt": pattern.found["injured"]}  # fmt: skip
    return bool(told.get(reason))


def _pattern(losses: Losses) -> _Pattern | None:
    """The pattern of a brood's deaths up to its last one, or None where they are as usual."""
    last = losses.last
    from_ = last - timedelta(days=WEEK - 1)
    days = sorted(day for day in losses.dead if day >= from_)
    if not days:
        return None
    told_from = losses.on - timedelta(days=facts.value("signs.deaths_told_d"))
    recent = [day for day in days if day >= told_from]
    found = losses.found(from_)
    heaps = {d.day for d in losses.told if d.together and d.day >= from_ and losses.dead[d.day] > 1}
    level = facts.value("signs.deaths_chick_day_level")
    sudden = [day for day in days if _chance_of_day(losses, day) <= level and losses.dead[day] > 1]
    early = _early(losses, days)
    bulk = _of_one_day(losses, early)
    if bulk is not None and bulk not in sudden:
        sudden.append(bulk)
    colds = {
        day: cold
        for day in days
        if losses.dead[day] > 1
        and (cold := coldest_that_harms(_nights(losses, day), losses.age(day))) is not None
    }
    chilled = {d.day for d in losses.told if d.found == "chilled" and d.day >= from_}
    morning = max(
        {*heaps, *sudden, *colds, *chilled},
        key=lambda day: (losses.dead[day], day),
        default=None,
    )
    moved = after_move(losses, days)
    many = losses.chance(losses.within(from_, last), from_, last) <= facts.value(
        "signs.deaths_chick_week_level"
    )
    told = any(found[how] for how in ("chilled", "wet", "drowned", "predator", "injured"))
    spread = bool(early) and bulk is None
    fired = morning is not None or spread or moved is not None or many or told
    if not fired or not recent:
        return None
    day = morning or days[-1]
    return _Pattern(
        days[0],
        morning,
        morning in sudden,
        morning in heaps,
        colds.get(day) or (None if morning else _cold_at_all(losses, days)),
        hottest_that_harms(_nights(losses, day), losses.age(day)),
        found,
        spread,
        moved,
        many,
    )


def _nights(losses: Losses, day: date) -> list[AirSeen]:
    return that_cover(losses.seen, losses.group.place, day)


def _cold_at_all(losses: Losses, days: Sequence[date]) -> tuple[AirSeen, float, float] | None:
    """The coldest reading that covers any of the days."""
    covering = [one for day in days for one in _nights(losses, day)]
    return coldest_that_harms(covering, losses.age(days[-1]))


def _chance_of_day(losses: Losses, day: date) -> float:
    return losses.chance(losses.dead[day], day, day)


def _early(losses: Losses, days: Sequence[date]) -> list[date]:
    """The days at the age at which starved chicks die, where too many died in them; else none."""
    from_d = facts.value("signs.deaths_starve_from_d")
    until_d = facts.value("signs.deaths_starve_until_d")
    those = [day for day in days if from_d <= losses.age(day) <= until_d]
    if not those:
        return []
    start = those[0] - timedelta(days=losses.age(those[0]) - from_d)
    end = min(losses.on, start + (until_d - from_d) * DAY)
    chance = losses.chance(sum(losses.dead[day] for day in those), start, end)
    return those if chance <= facts.value("signs.deaths_chick_spread_level") else []


def _of_one_day(losses: Losses, days: Sequence[date]) -> date | None:
    """The day on which most of them died, or None where they are spread."""
    most = max(days, key=lambda day: losses.dead[day], default=None)
    if most is None or losses.dead[most] <= _WHOLE * sum(losses.dead[day] for day in days):
        return None
    return most


def _chicks_evidence(losses: Losses, pattern: _Pattern, first: str) -> Iterator[str]:
    units = losses.flock.units
    days = sorted(day for day in losses.dead if day >= pattern.first)
    there = losses.there[days[0]].total
    yield by_day(losses, days, there)
    if pattern.morning is not None:
        n = losses.dead[pattern.morning]
        day = wording.weekday(pattern.morning)
        if pattern.together:
            yield say_many(
                "{n} of them lay in one heap or corner on {day}.",
                "{n} of them lay together in one heap or corner on {day}.",
                n,
                day=day,
            )
        elif pattern.sudden and n > 1:
            yield say(
                "At usual losses as many in one morning as on {day} have a chance of "
                "{chance:.2%} at most.",
                day=day,
                chance=max(LEAST_SHOWN, _chance_of_day(losses, pattern.morning)),
            )
    told = pattern.found
    for how in FOUND:
        if told[how]:
            yield found_told(how, told[how])
    if pattern.cold is not None:
        coldest, lowest, limit = pattern.cold
        yield say(
            _COLD[coldest.spot],
            lowest=wording.temperature(lowest, units),
            day=wording.weekday(coldest.at.date()),
            limit=wording.temperature(limit, units),
            age=losses.age(pattern.morning or days[-1]),
        )
    elif first == "chill" and not told["chilled"]:
        yield _not_cold(losses, pattern.morning)
    if pattern.hot is not None:
        hottest, highest, _ = pattern.hot
        yield say(
            "It rose to {highest} ({day}).",
            highest=wording.temperature(highest, units),
            day=wording.weekday(hottest.at.date()),
        )
    if pattern.moved is not None:
        yield say("They were moved on {day}.", day=wording.weekday(pattern.moved))
    if pattern.spread or pattern.many:
        last = days[-1]
        yield say(
            "At usual losses about {expected:.2g} die in these days, differing much from brood to "
            "brood.",
            expected=losses.expected(days[0], last),
        )


def _not_cold(losses: Losses, morning: date | None) -> str:
    """What was read of a night that was not too cold, or that nobody read it."""
    read = [] if morning is None else _nights(losses, morning)
    lowest = min((one.lowest_c for one in read if one.lowest_c is not None), default=None)
    if lowest is None:
        return say("How cold it was that night is not in the record.")
    return say(
        "The lowest that was read of that night, {lowest}, was not too cold where it was read.",
        lowest=wording.temperature(lowest, losses.flock.units),
    )


_COLD = {
    "away": mark(
        "Away from the heat it fell to {lowest} ({day}): at {age} days a chick that strays there "
        "chills below about {limit}."
    ),
    "room": mark(
        "In the room it fell to {lowest} ({day}): at {age} days a chick that strays from the heat "
        "chills below about {limit}."
    ),
    "heated": mark(
        "Under the heat it fell to {lowest} ({day}): below {limit} is too cold at {age} days."
    ),
    None: mark(
        "The brooder fell to {lowest} ({day}): at {age} days a chick that strays from the heat "
        "chills below about {limit}."
    ),
}


_WARM_FIRST = mark(
    "A cold chick that lies still may live: warm it at brooder heat before you count it as dead "
    "(Wentworth, Cigan and Schaaf 2009: all 12 that lay still walked after 40 min)."
)


def _lead(first: str, losses: Losses, pattern: _Pattern) -> str:
    """What to check first."""
    if first != "chill":
        return _check(first, losses, pattern)
    wants = wording.heats(*brooding.heat_range_c(losses.age(losses.on)), losses.flock.units)
    sure = pattern.cold is not None or pattern.found["chilled"] or pattern.together
    if sure:
        return say(
            "Chilling first. Tonight: measure at chick height under the heat (it wants {wants}) "
            "and in the coldest corner; shut off the cold part or warm the room, so that no chick "
            "can stray from the heat; stop draughts, round the corners; look at dusk, before bed "
            "and at dawn.",
            wants=wants,
        )
    return say(
        "Rule out chilling first. Tonight: lay a thermometer that keeps its lowest at chick "
        "height away from the heat, and measure under it (it wants {wants}); shut off the far "
        "part, so that no chick can stray from the heat; stop draughts, round the corners; look "
        "at dusk, before bed and at dawn.",
        wants=wants,
    )


def _check(reason: str, losses: Losses, pattern: _Pattern) -> str:
    units = losses.flock.units
    wants = wording.heats(*brooding.heat_range_c(losses.age(losses.on)), units)
    match reason:
        case "many":
            return say(
                "More than usual, and in no pattern: look in at dusk, before bed and at dawn, and "
                "write down how each is found, where, and how cold the night was."
            )
        case "chill":
            return say(
                "Chilling: the lowest at night at chick height away from the heat, and {wants} "
                "under it.",
                wants=wants,
            )
        case "wet":
            return say(
                "The drinker: shallow, with pebbles or marbles in it in the first week, no "
                "puddle or wet floor about it; dry and warm a wet chick at once."
            )
        case "feed":
            return say_many(
                "Feed and water: starter ground fine and spread where all find it, drinkers full "
                "and lit, beaks dipped; weigh {n} chick today and tomorrow: it must gain.",
                "Feed and water: starter ground fine and spread where all find it, drinkers full "
                "and lit, beaks dipped; weigh {n} chicks today and tomorrow: they must gain.",
                int(facts.value("signs.deaths_weigh_chicks")),
            )
        case "move":
            return say(
                "The new place: its warmth tonight ({wants} under the heat), draughts, and "
                "whether every bird has found the water.",
                wants=wants,
            )
        case "heat":
            return say(
                "Overheating: chicks that pant or press to the far edge; a cool end to go to, "
                "and water."
            )
        case "taken":
            return say(PREDATOR)
        case _:
            return say(
                "What hurt them: feeders and drinkers set down, gaps, a lid, pecking, a pet."
            )
