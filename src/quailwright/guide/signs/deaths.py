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
from functools import reduce

from quailwright.flock.state import AirSeen, Birds, Death, Flock, Group
from quailwright.guide import wording
from quailwright.guide.signs.air import (
    HEATER_SAFELY,
    air_seen,
    coldest_that_harms,
    hottest_that_harms,
    that_cover,
    units_of,
)
from quailwright.guide.signs.sign import Sign
from quailwright.guide.signs.whom import whom_to_ring
from quailwright.husbandry import brooding, facts, survival
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.language import mark, say, say_many

_DAY = timedelta(days=1)
_WEEK = 7
_FOUR_WEEKS = 28
_GROWN_FOR_SURE_D = 365
"""Age taken for grown birds whose hatching day nobody told."""
_LEAST_SHOWN = 0.0005
"""A chance is told as no smaller than this: the model is not truer than that."""


def signs_of_deaths(flock: Flock, on: date, air: Sequence[AirSeen] = ()) -> Iterator[Sign]:
    """Groups in which birds die in a pattern, or more of them than usual.

    `air` is what sensors told of the last days.
    """
    told_from = on - timedelta(days=facts.value("signs.deaths_told_d"))
    seen: list[AirSeen] | None = None
    grown: list[_Losses] = []
    for group in flock.groups.values():
        if not (group.deaths and group.deaths[-1].day >= told_from) and not _missing(
            flock, group, on
        ):
            continue
        if seen is None:
            seen = air_seen(flock, air, on - timedelta(days=_WEEK + 1))
        losses = _losses(flock, group, on, seen)
        if losses.age(losses.last) < survival.CHICK_WEEKS * DAYS_A_WEEK:
            yield from _of_chicks(losses)
        else:
            grown.append(losses)
            yield from _of_grown(losses)
    yield from _across_pens(flock, grown, on)


# What the record tells of a group's losses.


@dataclass(frozen=True, slots=True)
class _Losses:
    """A group's deaths of the last four weeks, the air it had, and the birds that were there by
    day for so long as its own record is reckoned with."""

    flock: Flock
    group: Group
    on: date
    dead: dict[date, int]
    told: tuple[Death, ...]
    there: dict[date, Birds]
    seen: tuple[AirSeen, ...]
    missing: tuple[date, ...]

    @property
    def last(self) -> date:
        """The day of the last death, or on which birds were missing."""
        return max([*self.dead, *self.missing], default=self.on)

    def age(self, day: date) -> int:
        """Age in days then; of the time in the record for chicks whose hatching nobody told."""
        if self.group.youngest is not None:
            return max(0, (day - self.group.youngest).days)
        chicks = self.group.alive.chicks or any(death.birds.chicks for death in self.told)
        if not chicks:
            return _GROWN_FOR_SURE_D
        return max(0, (day - (self.group.since or day)).days)

    def within(self, first: date, last: date) -> int:
        """How many died from the first to the last day."""
        return sum(n for day, n in self.dead.items() if first <= day <= last)

    def expected(self, first: date, last: date) -> float:
        """How many die in these days at the published losses of their ages."""
        total = 0.0
        day = first
        while day <= last:
            birds, age = self.there.get(day), self.age(day)
            if birds is not None:
                total += (
                    birds.chicks * survival.weekly_death_rate(age, "chick")
                    + birds.hens * survival.weekly_death_rate(age, "hen")
                    + birds.cocks * survival.weekly_death_rate(age, "cock")
                ) / DAYS_A_WEEK
            day += _DAY
        return total

    def chance(self, deaths: int, first: date, last: date) -> float:
        """Chance of so many deaths or more in these days, were losses as usual.

        Chicks by the published spread of losses from brood to brood; older birds by that and by
        this group's own losses before.
        """
        age = self.age(last)
        shape = survival.spread_of_losses(age)
        expected = self.expected(first, last) * survival.mean_over_median(age)
        if age < survival.CHICK_WEEKS * DAYS_A_WEEK:
            return survival.chance_of_as_many(deaths, expected, shape)
        back = first - timedelta(days=facts.value("signs.deaths_own_record_d"))
        died, usual = self.own_record(back, first - _DAY)
        usual *= survival.mean_over_median(age)
        return survival.chance_of_as_many(
            deaths, expected * (shape + died) / (shape + usual), shape + died
        )

    def own_record(self, first: date, last: date) -> tuple[int, float]:
        """Deaths of grown birds before, and how many were to be expected, week by week."""
        first = max(first, self.group.since or first)
        if self.group.youngest is not None:
            grown_from = timedelta(days=facts.value("survival.grower_until_d"))
            first = max(first, self.group.youngest + grown_from)
        died = sum(d.birds.total for d in self.group.deaths if first <= d.day <= last)
        usual, day = 0.0, last
        while day >= first:
            week = min(DAYS_A_WEEK, (day - first).days + 1)
            usual += self.expected(day, day) * week
            day -= timedelta(days=DAYS_A_WEEK)
        return died, usual

    def found(self, first: date) -> Counter[str]:
        """How the dead of these days were found, as far as it was told."""
        count: Counter[str] = Counter()
        for death in self.told:
            if death.day >= first:
                count[death.found or "unknown"] += death.birds.total
        return count


def _losses(flock: Flock, group: Group, on: date, seen: Sequence[AirSeen]) -> _Losses:
    # Birds that lived here under the same name before these came are no losses of these.
    first = max(on - timedelta(days=_FOUR_WEEKS - 1), group.since or date.min)
    told = []
    for death in reversed(group.deaths):
        if death.day < first:
            break
        if death.birds.total:
            told.append(death)
    dead: Counter[date] = Counter()
    for death in told:
        dead[death.day] += death.birds.total
    back = first - timedelta(days=facts.value("signs.deaths_own_record_d"))
    there = birds_there(group, max(back, group.since or back), on)
    here = tuple(one for one in seen if one.place == group.place)
    missing = tuple(_missing(flock, group, on))
    return _Losses(flock, group, on, dict(dead), tuple(told[::-1]), there, here, missing)


def birds_there(group: Group, first: date, on: date) -> dict[date, Birds]:
    """Birds of a group by day: those of the evening, and those that died that day."""
    changed: dict[date, list[Birds]] = {}
    died: dict[date, Birds] = {}
    for change in reversed(group.changes):
        if change.day < first:
            break
        changed.setdefault(change.day, []).append(change.birds)
        if change.why == "died":
            died.setdefault(change.day, Birds()).take(change.birds)
    birds = group.alive.copy()
    there = {}
    day = on
    while day >= first:
        shown = birds.copy()
        shown.add(died.get(day, Birds()))
        there[day] = Birds(*(max(0, n) for n in (shown.chicks, shown.hens, shown.cocks)))
        for came_or_went in changed.get(day, ()):
            birds.take(came_or_went)
        day -= _DAY
    return there


def _missing(flock: Flock, group: Group, on: date) -> list[date]:
    """Days of the last week on which a count was short of birds."""
    days = []
    for difference in reversed(flock.differences):
        if difference.day < on - timedelta(days=_WEEK):
            break
        if (
            difference.of == group.name
            and difference.amount < 0
            and difference.what in ("chicks", "hens", "cocks")
        ):
            days.append(difference.day)
    return sorted(set(days))


def _moved_on(losses: _Losses) -> date | None:
    """The day on which the group, or part of it, came to where it is, if it had lived before."""
    group = losses.group
    days = [
        change.day
        for change in group.changes[-_FOUR_WEEKS:]
        if change.why == "moved_in" or (change.why == "in" and losses.age(change.day) > 1)
    ]
    if group.placed is not None and group.since is not None and group.placed > group.since:
        days.append(group.placed)
    return max((day for day in days if day <= losses.on), default=None)


# Chicks.


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


def _of_chicks(losses: _Losses) -> Iterator[Sign]:
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
        _NAMES[first],
        losses.group.place if _alone(losses) else losses.group.name,
        pattern.morning if first == "chill" and pattern.morning else pattern.first,
        " ".join(_chicks_evidence(losses, pattern, first)),
        _lead(first, losses, pattern),
        tuple(then),
        ring=say(
            "Ring {who} if more die after two nights that were warm enough, or if many die at "
            "once and none of this fits. Until then lend and sell no birds from this brooder.",
            who=whom_to_ring(losses.flock),
        ),
    )


def _alone(losses: _Losses) -> bool:
    """Whether the place's name says which birds are meant."""
    return losses.flock.groups_at(losses.group.place) in ([losses.group], [])


def _is_told(reason: str, pattern: _Pattern) -> bool:
    told = {"move": pattern.moved is not None, "taken": pattern.found["predator"],
            "hurt": pattern.found["injured"]}  # fmt: skip
    return bool(told.get(reason))


_NAMES = {
    "chill": mark("deaths of one night"),
    "wet": mark("wet or drowned"),
    "feed": mark("deaths of days 3 to 5"),
    "move": mark("deaths after a move"),
    "heat": mark("deaths in the heat"),
    "taken": mark("taken by a predator"),
    "hurt": mark("injured birds"),
    "many": mark("more deaths than usual"),
}


def _pattern(losses: _Losses) -> _Pattern | None:
    """The pattern of a brood's deaths up to its last one, or None where they are as usual."""
    last = losses.last
    from_ = last - timedelta(days=_WEEK - 1)
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
    moved = _after_move(losses, days)
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


def _nights(losses: _Losses, day: date) -> list[AirSeen]:
    return that_cover(losses.seen, losses.group.place, day)


def _cold_at_all(losses: _Losses, days: Sequence[date]) -> tuple[AirSeen, float, float] | None:
    """The coldest reading that covers any of the days."""
    covering = [one for day in days for one in _nights(losses, day)]
    return coldest_that_harms(covering, losses.age(days[-1]))


def _chance_of_day(losses: _Losses, day: date) -> float:
    return losses.chance(losses.dead[day], day, day)


def _early(losses: _Losses, days: Sequence[date]) -> list[date]:
    """The days at the age at which starved chicks die, where too many died in them; else none."""
    from_d = facts.value("signs.deaths_starve_from_d")
    until_d = facts.value("signs.deaths_starve_until_d")
    those = [day for day in days if from_d <= losses.age(day) <= until_d]
    if not those:
        return []
    start = those[0] - timedelta(days=losses.age(those[0]) - from_d)
    end = min(losses.on, start + (until_d - from_d) * _DAY)
    chance = losses.chance(sum(losses.dead[day] for day in those), start, end)
    return those if chance <= facts.value("signs.deaths_chick_spread_level") else []


def _of_one_day(losses: _Losses, days: Sequence[date]) -> date | None:
    """The day on which most of them died, or None where they are spread."""
    most = max(days, key=lambda day: losses.dead[day], default=None)
    if most is None or losses.dead[most] <= _WHOLE * sum(losses.dead[day] for day in days):
        return None
    return most


def _after_move(losses: _Losses, days: Sequence[date]) -> date | None:
    """The day of a move after which more died than usual, or None."""
    moved = _moved_on(losses)
    if moved is None:
        return None
    until = moved + timedelta(days=facts.value("signs.deaths_after_move_d"))
    dead = sum(losses.dead[day] for day in days if moved <= day <= until)
    if not dead:
        return None
    chance = losses.chance(dead, moved, min(until, losses.on))
    return moved if chance <= facts.value("signs.deaths_move_level") else None


def _chicks_evidence(losses: _Losses, pattern: _Pattern, first: str) -> Iterator[str]:
    units = units_of(losses.flock)
    days = sorted(day for day in losses.dead if day >= pattern.first)
    there = losses.there[days[0]].total
    yield _by_day(losses, days, there)
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
                chance=max(_LEAST_SHOWN, _chance_of_day(losses, pattern.morning)),
            )
    told = pattern.found
    for how in _FOUND:
        if told[how]:
            yield _found_told(how, told[how])
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
        yield say("How cold it was that night is not in the record.")
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


_FOUND = ("chilled", "wet", "drowned", "predator", "injured")


def _found_told(how: str, n: int) -> str:
    """How many were found so."""
    match how:
        case "chilled":
            return say_many("{n} was found chilled.", "{n} were found chilled.", n)
        case "wet":
            return say_many("{n} was found wet.", "{n} were found wet.", n)
        case "drowned":
            return say_many("{n} was found drowned.", "{n} were found drowned.", n)
        case "predator":
            return say_many("{n} was taken by a predator.", "{n} were taken by a predator.", n)
        case _:
            return say_many("{n} was found injured.", "{n} were found injured.", n)


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


def _by_day(losses: _Losses, days: Sequence[date], there: int) -> str:
    each = [say("{n} on {day}", n=losses.dead[day], day=wording.weekday(day)) for day in days]
    return say(
        "{n} dead of {there}: {by_day}.",
        n=sum(losses.dead[day] for day in days),
        there=there,
        by_day=reduce(lambda one, more: say("{one}, {more}", one=one, more=more), each),
    )


_WARM_FIRST = mark(
    "A cold chick that lies still may live: warm it at brooder heat before you count it as dead "
    "(Wentworth, Cigan and Schaaf 2009: all 12 that lay still walked after 40 min)."
)


def _lead(first: str, losses: _Losses, pattern: _Pattern) -> str:
    """What to check first."""
    if first != "chill":
        return _check(first, losses, pattern)
    wants = wording.heats(*brooding.heat_range_c(losses.age(losses.on)), units_of(losses.flock))
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


def _check(reason: str, losses: _Losses, pattern: _Pattern) -> str:
    units = units_of(losses.flock)
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
            return say(_PREDATOR)
        case _:
            return say(
                "What hurt them: feeders and drinkers set down, gaps, a lid, pecking, a pet."
            )


_PREDATOR = mark(
    "Before tonight: walk round for holes, bent wire and loose latches, and for gaps wider than "
    "a finger; shut the birds in a safe house, and count at dusk and at dawn."
)


# Birds past chickhood.


def _of_grown(losses: _Losses) -> Iterator[Sign]:
    told_from = losses.on - timedelta(days=facts.value("signs.deaths_told_d"))
    recent = sorted(day for day in losses.dead if day >= told_from)
    week_from = losses.on - timedelta(days=_WEEK)
    found = losses.found(week_from)
    taken = {d.day for d in losses.told if d.found == "predator" and d.day >= week_from}
    nights = sorted(taken | set(losses.missing))
    if taken or len(nights) >= facts.value("signs.deaths_nights_missing"):
        yield _taken(losses, nights, found)
    if not recent:
        return
    window = _too_many(losses, recent)
    moved = _after_move(losses, recent)
    if window is None and moved is None:
        return
    first = (moved if moved is not None else recent[-1]) if window is None else window
    last = recent[-1]
    days = sorted(day for day in losses.dead if first <= day <= last)
    unexplained = {
        day: n
        for day in days
        if (n := sum(d.birds.total for d in losses.told if d.day == day and not _explained(d)))
    }
    sudden = _sudden(losses, unexplained)
    hot = _hot(losses, days)
    reasons = _grown_checks(losses, found, hot, moved)
    evidence = [
        _by_day(losses, days, losses.there[days[0]].total),
        say(
            "At this pen's usual losses about {expected:.2g} die in such a time; as many or more "
            "has a chance of {chance:.2%} at most.",
            expected=_usual(losses, first, last),
            chance=max(_LEAST_SHOWN, losses.chance(losses.within(first, last), first, last)),
        ),
        *(_found_told(how, found[how]) for how in _FOUND if found[how]),
    ]
    if hot is not None:
        evidence.append(
            say(
                "It rose to {highest} ({day}).",
                highest=wording.temperature(hot.highest_c or 0.0, units_of(losses.flock)),
                day=wording.weekday(hot.at.date()),
            )
        )
    if moved is not None:
        evidence.append(say("They were moved on {day}.", day=wording.weekday(moved)))
    who = whom_to_ring(losses.flock)
    yield Sign(
        _NAMES["heat"] if hot is not None else _NAMES["move"] if moved else _NAMES["many"],
        losses.group.name,
        days[0],
        " ".join(evidence),
        reasons[0],
        tuple(reasons[1:]),
        ring=say(_STOP, who=who) if sudden else say(_IF_MORE, who=who),
    )


_STOP = mark(
    "Several without a cause you can see: move and sell neither birds nor eggs, keep visitors and "
    "other birds away, and ring {who} today. Touch the dead with gloves and keep one cool, in a "
    "closed bag, for them; do not open it."
)
_IF_MORE = mark(
    "If one more dies without a cause you can see, move and sell nothing, and ring {who}."
)


def _explained(death: Death) -> bool:
    return death.found not in (None, "unknown")


def _usual(losses: _Losses, first: date, last: date) -> float:
    """Deaths to expect by the published losses and this group's own."""
    age = losses.age(last)
    shape = survival.spread_of_losses(age)
    back = first - timedelta(days=facts.value("signs.deaths_own_record_d"))
    died, usual = losses.own_record(back, first - _DAY)
    usual *= survival.mean_over_median(age)
    mean = losses.expected(first, last) * survival.mean_over_median(age)
    return mean * (shape + died) / (shape + usual)


def _too_many(losses: _Losses, recent: Sequence[date]) -> date | None:
    """The first day of the window, ending on a recent death, that holds far too many; or None."""
    level = facts.value("signs.deaths_grown_level")
    found = None
    for last in recent:
        for length in (1, _WEEK, _FOUR_WEEKS):
            first = last - timedelta(days=length - 1)
            if losses.chance(losses.within(first, last), first, last) <= level:
                in_it = [day for day in losses.dead if first <= day <= last]
                found = min([*in_it, *([found] if found else [])])
    return found


def _sudden(losses: _Losses, unexplained: dict[date, int]) -> bool:
    """Whether the unexplained deaths alone are far too many, at once or within a week."""
    level = facts.value("signs.deaths_grown_level")
    for last in unexplained:
        for length in (1, _WEEK):
            first = last - timedelta(days=length - 1)
            dead = sum(n for day, n in unexplained.items() if first <= day <= last)
            if dead > 1 and losses.chance(dead, first, last) <= level:
                return True
    return False


def _hot(losses: _Losses, days: Sequence[date]) -> AirSeen | None:
    """The hottest reading of these days from which birds can die."""
    limit = facts.value("housing.heat_lay_none_c")
    hot = [
        one
        for one in losses.seen
        if one.highest_c is not None
        and one.highest_c > limit
        and days[0] - _DAY <= one.at.date() <= days[-1] + _DAY
    ]
    return max(hot, key=lambda one: one.highest_c or 0.0, default=None)


def _grown_checks(
    losses: _Losses, found: Counter[str], hot: AirSeen | None, moved: date | None
) -> list[str]:
    checks = []
    if found["predator"]:
        checks.append(say(_PREDATOR))
    if hot is not None:
        checks.append(
            say("Shade, moving air and cool water now, before the next noon; do not crowd them.")
        )
    if moved is not None:
        checks.append(
            say(
                "The new place: shelter from cold, wind and wet tonight, and whether every bird "
                "has found the water and the feed."
            )
        )
    if found["injured"]:
        checks.append(
            say("Who hurts them: too many cocks, strangers put in, too little room or cover.")
        )
    checks.append(
        say("Look over every bird at {place} today: water, feed, droppings, how they stand.",
            place=losses.group.place)
    )  # fmt: skip
    checks.append(
        say("What is new in the last two weeks: birds, feed, bedding, visitors, a draught.")
    )
    return checks


def _taken(losses: _Losses, nights: Sequence[date], found: Counter[str]) -> Sign:
    evidence = []
    if found["predator"]:
        evidence.append(_found_told("predator", found["predator"]))
    if losses.missing:
        evidence.append(
            say_many(
                "A count was short on {n} day.",
                "A count was short on {n} days.",
                len(losses.missing),
            )
        )
    evidence.append(
        say(
            "Since {day}; what has come once comes again, mostly at night.",
            day=wording.weekday(nights[0]),
        )
    )
    return Sign(
        _NAMES["taken"],
        losses.group.name,
        nights[0],
        " ".join(evidence),
        say(_PREDATOR),
        (
            say("Tracks, droppings, feathers, and from which side: that tells what comes."),
            say("Shut it out; hawks and owls are protected in many places, and poison kills pets."),
        ),
    )


def _across_pens(flock: Flock, grown: Sequence[_Losses], on: date) -> Iterator[Sign]:
    """Deaths that nobody can explain in several pens at a time, too many taken together."""
    level = facts.value("signs.deaths_grown_level")
    for length in (_WEEK, 1):
        first = on - timedelta(days=length - 1)
        dead = {
            losses.group.name: n
            for losses in grown
            if (
                n := sum(d.birds.total for d in losses.told if d.day >= first and not _explained(d))
            )
        }
        if len(dead) < 2:
            continue
        everyone = [_losses(flock, group, on, ()) for group in flock.groups_alive()]
        old_enough = [
            losses for losses in everyone if losses.age(on) >= survival.CHICK_WEEKS * DAYS_A_WEEK
        ]
        expected = sum(_usual(losses, first, on) for losses in old_enough)
        total = sum(dead.values())
        shape = survival.spread_of_losses(_GROWN_FOR_SURE_D)
        chance = survival.chance_of_as_many(total, expected, shape)
        if chance > level:
            continue
        named = reduce(
            lambda one, more: say("{one}, {more}", one=one, more=more),
            [say("{n} in {pen}", n=n, pen=pen) for pen, n in dead.items()],
        )
        since = min(
            d.day for losses in grown for d in losses.told if d.day >= first and not _explained(d)
        )
        yield Sign(
            mark("deaths in several pens"),
            reduce(lambda one, more: say("{one}, {more}", one=one, more=more), dead),
            since,
            say(
                "{total} dead without a cause told since {day}: {named}. At usual losses about "
                "{expected:.2g} die in such a time.",
                total=total,
                day=wording.weekday(since),
                named=named,
                expected=expected,
            ),
            say(
                "Stop: move no birds, sell neither birds nor eggs, let nobody in. Then look at "
                "what the pens share: feed lot, water, air, new birds, wild birds."
            ),
            (say("Wash hands and change shoes between pens; see to the well pens first."),),
            ring=say(_STOP, who=whom_to_ring(flock)),
        )
        return
