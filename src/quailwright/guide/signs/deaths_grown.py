"""Deaths of birds past chickhood: too many, in the heat, after a move, taken, in several pens."""

from collections import Counter
from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from functools import reduce

from quailwright.flock.state import AirSeen, Flock
from quailwright.guide import wording
from quailwright.guide.signs.losses import (
    DAY,
    FOUND,
    FOUR_WEEKS,
    GROWN_FOR_SURE_D,
    LEAST_SHOWN,
    NAMES,
    PREDATOR,
    WEEK,
    Losses,
    after_move,
    by_day,
    explained,
    found_told,
    losses_of,
    others_that_lost_none,
)
from quailwright.guide.signs.sign import Sign
from quailwright.guide.signs.whom import whom_to_ring
from quailwright.husbandry import facts, survival
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.language import mark, say, say_many


def of_grown(losses: Losses) -> Iterator[Sign]:
    told_from = losses.on - timedelta(days=facts.value("signs.deaths_told_d"))
    recent = sorted(day for day in losses.dead if day >= told_from)
    week_from = losses.on - timedelta(days=WEEK)
    found = losses.found(week_from)
    taken = {d.day for d in losses.told if d.found == "predator" and d.day >= week_from}
    nights = sorted(taken | set(losses.missing))
    if taken or len(nights) >= facts.value("signs.deaths_nights_missing"):
        yield _taken(losses, nights, found)
    if not recent:
        return
    window = _too_many(losses, recent)
    moved = after_move(losses, recent)
    if window is None and moved is None:
        return
    first = (moved if moved is not None else recent[-1]) if window is None else window
    last = recent[-1]
    days = sorted(day for day in losses.dead if first <= day <= last)
    unexplained = {
        day: n
        for day in days
        if (n := sum(d.birds.total for d in losses.told if d.day == day and not explained(d)))
    }
    sudden = _sudden(losses, unexplained)
    hot = _hot(losses, days)
    reasons = _grown_checks(losses, found, hot, moved)
    evidence = [
        by_day(losses, days, losses.there[days[0]].total),
        say(
            "At this pen's usual losses about {expected:.2g} die in such a time; as many or more "
            "has a chance of {chance:.2%} at most.",
            expected=_usual(losses, first, last),
            chance=max(LEAST_SHOWN, losses.chance(losses.within(first, last), first, last)),
        ),
        *(found_told(how, found[how]) for how in FOUND if found[how]),
    ]
    if hot is not None:
        evidence.append(
            say(
                "It rose to {highest} ({day}).",
                highest=wording.temperature(hot.highest_c or 0.0, losses.flock.units),
                day=wording.weekday(hot.at.date()),
            )
        )
    if moved is not None:
        evidence.append(say("They were moved on {day}.", day=wording.weekday(moved)))
    who = whom_to_ring(losses.flock)
    yield Sign(
        NAMES["heat"] if hot is not None else NAMES["move"] if moved else NAMES["many"],
        losses.group.name,
        days[0],
        " ".join(evidence),
        reasons[0],
        tuple(reasons[1:]),
        shared=others_that_lost_none(losses, days[0]),
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


def _usual(losses: Losses, first: date, last: date) -> float:
    """Deaths to expect by the published losses and this group's own."""
    age = losses.age(last)
    shape = survival.spread_of_losses(age)
    back = first - timedelta(days=facts.value("signs.deaths_own_record_d"))
    died, usual = losses.own_record(back, first - DAY)
    usual *= survival.mean_over_median(age)
    mean = losses.expected(first, last) * survival.mean_over_median(age)
    return mean * (shape + died) / (shape + usual)


def _too_many(losses: Losses, recent: Sequence[date]) -> date | None:
    """The first day of the window, ending on a recent death, that holds far too many; or None."""
    level = facts.value("signs.deaths_grown_level")
    found = None
    for last in recent:
        for length in (1, WEEK, FOUR_WEEKS):
            first = last - timedelta(days=length - 1)
            if losses.chance(losses.within(first, last), first, last) <= level:
                in_it = [day for day in losses.dead if first <= day <= last]
                found = min([*in_it, *([found] if found else [])])
    return found


def _sudden(losses: Losses, unexplained: dict[date, int]) -> bool:
    """Whether the unexplained deaths alone are far too many, at once or within a week."""
    level = facts.value("signs.deaths_grown_level")
    for last in unexplained:
        for length in (1, WEEK):
            first = last - timedelta(days=length - 1)
            dead = sum(n for day, n in unexplained.items() if first <= day <= last)
            if dead > 1 and losses.chance(dead, first, last) <= level:
                return True
    return False


def _hot(losses: Losses, days: Sequence[date]) -> AirSeen | None:
    """The hottest reading of these days from which birds can die."""
    limit = facts.value("housing.heat_lay_none_c")
    hot = [
        one
        for one in losses.seen
        if one.highest_c is not None
        and one.highest_c > limit
        and days[0] - DAY <= one.at.date() <= days[-1] + DAY
    ]
    return max(hot, key=lambda one: one.highest_c or 0.0, default=None)


def _grown_checks(
    losses: Losses, found: Counter[str], hot: AirSeen | None, moved: date | None
) -> list[str]:
    checks = []
    if found["predator"]:
        checks.append(say(PREDATOR))
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


def _taken(losses: Losses, nights: Sequence[date], found: Counter[str]) -> Sign:
    evidence = []
    if found["predator"]:
        evidence.append(found_told("predator", found["predator"]))
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
        NAMES["taken"],
        losses.group.name,
        nights[0],
        " ".join(evidence),
        say(PREDATOR),
        (
            say("Tracks, droppings, feathers, and from which side: that tells what comes."),
            say("Shut it out; hawks and owls are protected in many places, and poison kills pets."),
        ),
    )


def across_pens(flock: Flock, grown: Sequence[Losses], on: date) -> Iterator[Sign]:
    """Deaths that nobody can explain in several pens at a time, too many taken together."""
    level = facts.value("signs.deaths_grown_level")
    for length in (WEEK, 1):
        first = on - timedelta(days=length - 1)
        dead = {
            losses.group.name: n
            for losses in grown
            if (n := sum(d.birds.total for d in losses.told if d.day >= first and not explained(d)))
        }
        if len(dead) < 2:
            continue
        everyone = [losses_of(flock, group, on, ()) for group in flock.groups_alive()]
        old_enough = [
            losses for losses in everyone if losses.age(on) >= survival.CHICK_WEEKS * DAYS_A_WEEK
        ]
        expected = sum(_usual(losses, first, on) for losses in old_enough)
        total = sum(dead.values())
        shape = survival.spread_of_losses(GROWN_FOR_SURE_D)
        chance = survival.chance_of_as_many(total, expected, shape)
        if chance > level:
            continue
        named = reduce(
            lambda one, more: say("{one}, {more}", one=one, more=more),
            [say("{n} in {pen}", n=n, pen=pen) for pen, n in dead.items()],
        )
        since = min(
            d.day for losses in grown for d in losses.told if d.day >= first and not explained(d)
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
