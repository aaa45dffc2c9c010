"""A group's deaths as the record tells them, what is usual, and how they are told."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import reduce

from quailwright.flock.state import AirSeen, Birds, Death, Flock, Group
from quailwright.guide import wording
from quailwright.husbandry import facts, survival
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.language import mark, say, say_many

DAY = timedelta(days=1)


WEEK = 7
FOUR_WEEKS = 28
GROWN_FOR_SURE_D = 365
"""Age taken for grown birds whose hatching day nobody told."""
LEAST_SHOWN = 0.0005
"""A chance is told as no smaller than this: the model is not truer than that."""


@dataclass(frozen=True, slots=True)
class Losses:
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
            return GROWN_FOR_SURE_D
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
            day += DAY
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
        died, usual = self.own_record(back, first - DAY)
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


def losses_of(flock: Flock, group: Group, on: date, seen: Sequence[AirSeen]) -> Losses:
    # Birds that lived here under the same name before these came are no losses of these.
    first = max(on - timedelta(days=FOUR_WEEKS - 1), group.since or date.min)
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
    missing = tuple(missing_on(flock, group, on))
    return Losses(flock, group, on, dict(dead), tuple(told[::-1]), there, here, missing)


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
        day -= DAY
    return there


def missing_on(flock: Flock, group: Group, on: date) -> list[date]:
    """Days of the last week on which a count was short of birds."""
    days = []
    for difference in reversed(flock.differences):
        if difference.day < on - timedelta(days=WEEK):
            break
        if (
            difference.of == group.name
            and difference.amount < 0
            and difference.what in ("chicks", "hens", "cocks")
        ):
            days.append(difference.day)
    return sorted(set(days))


def _moved_on(losses: Losses) -> date | None:
    """The day on which the group, or part of it, came to where it is, if it had lived before."""
    group = losses.group
    days = [
        change.day
        for change in group.changes[-FOUR_WEEKS:]
        if change.why == "moved_in" or (change.why == "in" and losses.age(change.day) > 1)
    ]
    if group.placed is not None and group.since is not None and group.placed > group.since:
        days.append(group.placed)
    return max((day for day in days if day <= losses.on), default=None)


NAMES = {
    "chill": mark("deaths of one night"),
    "wet": mark("wet or drowned"),
    "feed": mark("deaths of days 3 to 5"),
    "move": mark("deaths after a move"),
    "heat": mark("deaths in the heat"),
    "taken": mark("taken by a predator"),
    "hurt": mark("injured birds"),
    "many": mark("more deaths than usual"),
}


_MORE_THAN_ONE = 2


def after_move(losses: Losses, days: Sequence[date]) -> date | None:
    """The day of a move after which more died than usual, or None."""
    moved = _moved_on(losses)
    if moved is None:
        return None
    until = moved + timedelta(days=facts.value("signs.deaths_after_move_d"))
    dead = sum(losses.dead[day] for day in days if moved <= day <= until)
    if dead < _MORE_THAN_ONE:
        return None
    chance = losses.chance(dead, moved, min(until, losses.on))
    return moved if chance <= facts.value("signs.deaths_move_level") else None


FOUND = ("chilled", "wet", "drowned", "predator", "injured")


def found_told(how: str, n: int) -> str:
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


def others_that_lost_none(losses: Losses, first: date) -> tuple[str, ...]:
    """What speaks against causes that all share: other groups of like age that lost nobody."""
    young = losses.age(losses.last) < survival.CHICK_WEEKS * DAYS_A_WEEK
    others = [
        group.name
        for group in losses.flock.groups_alive()
        if group is not losses.group
        and (group.placed or first) <= first
        and not (group.deaths and group.deaths[-1].day >= first)
        and (age := group.age_days(losses.on)) is not None
        and (age < survival.CHICK_WEEKS * DAYS_A_WEEK) is young
    ]
    if not others:
        return ()
    return (
        say(
            "What it shares with {others}, of like age, which lost none since {day}: feed lot, "
            "water, weather.",
            others=reduce(lambda one, more: say("{one}, {more}", one=one, more=more), others),
            day=wording.weekday(first),
        ),
    )


def by_day(losses: Losses, days: Sequence[date], there: int) -> str:
    each = [say("{n} on {day}", n=losses.dead[day], day=wording.weekday(day)) for day in days]
    return say(
        "{n} dead of {there}: {by_day}.",
        n=sum(losses.dead[day] for day in days),
        there=there,
        by_day=reduce(lambda one, more: say("{one}, {more}", one=one, more=more), each),
    )


PREDATOR = mark(
    "Before tonight: walk round for holes, bent wire and loose latches, and for gaps wider than "
    "a finger; shut the birds in a safe house, and count at dusk and at dawn."
)


def explained(death: Death) -> bool:
    return death.found not in (None, "unknown")
