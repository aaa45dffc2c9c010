"""What drifts over weeks: weights, fertility, feed for a dozen eggs; and chores left, or silence.

Each is held against this flock's own weeks before, and a sign speaks where so much would hardly
come by chance. Levels are in `facts/signs.csv`. A silent record is a gap: it is told once, blames
nobody, and says that the other signs are blind.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from statistics import NormalDist, fmean, stdev

from quailwright.flock.history import feed_use
from quailwright.flock.state import EggLot, Flock, Group, Hatch, Weighing
from quailwright.guide import wording
from quailwright.guide.signs.losses import birds_there
from quailwright.guide.signs.sign import Sign
from quailwright.husbandry import facts, feeding, growth
from quailwright.husbandry.survival import Sex
from quailwright.language import mark, say, say_many

_DAY = timedelta(days=1)
_A_DOZEN = 12
_LEAST_SHOWN = 0.001
"""A chance is told as no smaller than this: the model is not truer than that."""


def signs_of_drift(flock: Flock, on: date) -> Iterator[Sign]:
    """Weights, fertility, feed a dozen and chores that fall behind, up to the day `on`."""
    for group in flock.groups_alive():
        yield from _weights(group, on)
    yield from _fertility(flock, on)
    silent = list(_silence(flock, on))
    yield from silent
    if not silent:
        yield from _feed_a_dozen(flock, on)
        yield from _chores(flock, on)


# Weights.


def _weights(group: Group, on: date) -> Iterator[Sign]:
    """A mean weight below the curve, or below where this group's own weighings pointed."""
    told = timedelta(days=facts.value("signs.weight_told_d"))
    grown = facts.value("signs.weight_until_d")
    if group.youngest is None or group.oldest != group.youngest or not group.weighings:
        return
    hatched = group.youngest
    young = [w for w in group.weighings if w.birds and 0 < (w.day - hatched).days <= grown]
    if not young or not timedelta(0) <= on - young[-1].day <= told:
        return
    last, before = young[-1], [w for w in young[:-1] if w.day < young[-1].day]
    ratio = _over_curve(last, hatched)
    line_sd, drift = facts.value("growth.line_sd"), facts.value("signs.weight_drift_sd")
    error = _log_error(last)
    if before:
        # Earlier weighings of this group tell where its line runs, each as well as it can.
        weights = [1 / (_log_error(w) ** 2 + drift**2) for w in before] + [1 / line_sd**2]
        logs = [math.log(_over_curve(w, hatched)) for w in before] + [0.0]
        expected = sum(w * x for w, x in zip(weights, logs, strict=True)) / sum(weights)
        sd = math.sqrt(error**2 + drift**2 + 1 / sum(weights))
    else:
        expected, sd = 0.0, math.hypot(error, line_sd)
    behind = (math.log(ratio) - expected) / sd
    if NormalDist().cdf(behind) > facts.value("signs.weight_level"):
        return
    age = (last.day - hatched).days
    awaited = growth.mass_g(age, _sex(last)) * math.exp(expected)
    low, high = (awaited * math.exp(z * sd) for z in (-_Z90, _Z90))
    text = _OWN_CURVE if before else _CURVE
    yield Sign(
        mark("growing slowly"),
        group.name,
        last.day,
        say(
            text,
            n=last.birds,
            mean=last.mean_g,
            day=wording.weekday(last.day),
            age=age,
            awaited=awaited,
            low=low,
            high=high,
        ),
        say(
            "Feed first: the right protein for their age, fine enough, never empty, room for all "
            "at the feeder; then water, and whether they are warm enough at night."
        ),
        (
            say("The scale: weigh something of known weight."),
            say("Weigh more of them, not only the easy to catch: few birds tell little."),
            say("Room: crowded birds eat less; move some, or add floor and feeders."),
            say("A lot of feed newly begun, or an old bag."),
        ),
        ring=say("If they are also dull, fluffed up or dying, ring a vet."),
    )


_Z90 = NormalDist().inv_cdf(0.95)
_CURVE = mark(
    "{n} weighed {mean:.0f} g on average at {age} days ({day}); birds of most lines have {low:.0f} "
    "to {high:.0f} g then. It is the first weighing: a small line also looks like that."
)
_OWN_CURVE = mark(
    "{n} weighed {mean:.0f} g on average at {age} days ({day}); by their own earlier weighings "
    "about {awaited:.0f} g was to be expected, likely {low:.0f} to {high:.0f} with so few weighed."
)


def _sex(weighing: Weighing) -> Sex:
    return weighing.sex if weighing.sex in ("hen", "cock") else "chick"


def _over_curve(weighing: Weighing, hatched: date) -> float:
    return weighing.mean_g / growth.mass_g((weighing.day - hatched).days, _sex(weighing))


def _log_error(weighing: Weighing) -> float:
    """How far the mean of so many birds may be off, as a share."""
    between = facts.value("growth.between_bird_cv") / math.sqrt(weighing.birds)
    return math.hypot(between, facts.value("growth.scale_sd"))


# Fertility.


@dataclass(frozen=True, slots=True)
class _Set:
    """One set of one origin, of which clear eggs were told."""

    hatch: Hatch
    eggs: int
    clear: int
    told: date


def _fertility(flock: Flock, on: date) -> Iterator[Sign]:
    """Clear eggs of the last sets of a group or source against those of the sets before."""
    since = on - timedelta(days=facts.value("signs.fertility_look_back_d"))
    by_origin: dict[tuple[str, bool], list[_Set]] = {}
    for hatch in flock.hatches.values():
        if hatch.set_at.date() < since:
            continue
        origins = {(c.group or c.source or "", c.group is not None) for c in hatch.clutches}
        seen = [at for at, _, _ in hatch.candled]
        seen += [hatch.opened_at] if hatch.opened_at is not None else []
        eggs = hatch.eggs_set + hatch.found
        if len(origins) == 1 and seen and eggs > 0:
            clear = min(eggs, hatch.clear + hatch.opened["infertile"])
            by_origin.setdefault(origins.pop(), []).append(
                _Set(hatch, eggs, clear, max(seen).date())
            )
    for (name, own), sets in by_origin.items():
        yield from _fertility_of(flock, name, own, sorted(sets, key=lambda s: s.hatch.set_at), on)


def _fertility_of(flock: Flock, name: str, own: bool, sets: list[_Set], on: date) -> Iterator[Sign]:
    told = timedelta(days=facts.value("signs.fertility_told_d"))
    if not name or not timedelta(0) <= on - sets[-1].told <= told:
        return
    most = int(facts.value("signs.fertility_sets"))
    level = facts.value("signs.fertility_level") / most
    for count in range(1, min(most, len(sets)) + 1):
        last, before = sets[-count:], sets[:-count]
        chance = _chance_of_clear(last, before)
        if chance <= level:
            break
    else:
        return
    clear, eggs = sum(s.clear for s in last), sum(s.eggs for s in last)
    was_clear, was_eggs = sum(s.clear for s in before), sum(s.eggs for s in before)
    usual = facts.value("incubation.fertility")
    evidence = (
        say(
            "{clear} of {eggs} eggs clear ({share:.0%}) in {sets}; {was_clear} of {was_eggs} "
            "({was:.0%}) in the sets before. Chance alone makes that "
            "{chance:.1%} of the time at most.",
            clear=clear,
            eggs=eggs,
            share=clear / eggs,
            sets=_named([s.hatch.name for s in last]),
            was_clear=was_clear,
            was_eggs=was_eggs,
            was=was_clear / was_eggs,
            chance=max(_LEAST_SHOWN, chance),
        )
        if was_eggs
        else say(
            "{clear} of {eggs} eggs clear ({share:.0%}) in {sets}; in small flocks {usual:.0%} is "
            "usual. Chance alone makes that {chance:.1%} of the time at most.",
            clear=clear,
            eggs=eggs,
            share=clear / eggs,
            sets=_named([s.hatch.name for s in last]),
            usual=1 - usual,
            chance=max(_LEAST_SHOWN, chance),
        )
    )
    since = last[0].hatch.set_at.date()
    if own:
        evidence += _cocks_told(flock, name, since)
        check = say(
            "The cocks: how old, how many to the hens, whether they mount and tread; look for sore "
            "feet, fights and bald hens. A young cock in place of an old one shows in two weeks."
        )
    else:
        check = say(
            "Ask {source} for the age of the cocks and of the eggs, and how they were kept.",
            source=name,
        )
    yield Sign(
        mark("more clear eggs"),
        name,
        since,
        evidence,
        check,
        (
            say("Open clear eggs: a white spot is not fertile, a ring or blood died early."),
            say("How old the eggs were at setting, and how cold or warm they were kept."),
            say("Heat of the last weeks, short days, feed of the hens and cocks."),
        ),
    )


def _cocks_told(flock: Flock, name: str, since: date) -> str:
    group = flock.groups.get(name)
    if group is None or group.oldest is None or not group.alive.cocks:
        return ""
    age = (since - group.oldest).days
    old = facts.value("signs.fertility_cock_old_d")
    text = _COCKS_OLD if age > old else _COCKS
    return " " + say(text, cocks=group.alive.cocks, hens=group.alive.hens, age=age, old=old)


_COCKS = mark("{cocks} cocks with {hens} hens, the oldest of {age} days then.")
_COCKS_OLD = mark(
    "{cocks} cocks with {hens} hens, the oldest of {age} days then; keepers reckon with a fall "
    "past {old:g}."
)


def _named(names: list[str]) -> str:
    named = names[0]
    for further in names[1:]:
        named = say("{first} and {further}", first=named, further=further)
    return named


def _chance_of_clear(last: list[_Set], before: list[_Set]) -> float:
    """Chance of so many clear eggs or more, by the published prior and the sets before.

    Eggs of one set are alike (`incubation.batch_icc`), so a set counts for fewer than it has.
    """
    a = facts.value("incubation.fertility_beta_b")
    b = facts.value("incubation.fertility_beta_a")
    for one in before:
        worth = _worth(one.eggs)
        a += worth * one.clear
        b += worth * (one.eggs - one.clear)
    eggs = round(sum(_worth(s.eggs) * s.eggs for s in last))
    clear = round(sum(_worth(s.eggs) * s.clear for s in last))
    return sum(_beta_binomial(k, eggs, a, b) for k in range(clear, eggs + 1))


def _worth(eggs: int) -> float:
    return 1 / (1 + (eggs - 1) * facts.value("incubation.batch_icc"))


def _beta_binomial(k: int, n: int, a: float, b: float) -> float:
    """Chance of k of n where the share is Beta(a, b)."""
    return math.exp(
        math.lgamma(n + 1) - math.lgamma(k + 1) - math.lgamma(n - k + 1)
        + math.lgamma(k + a) + math.lgamma(n - k + b) - math.lgamma(n + a + b)
        + math.lgamma(a + b) - math.lgamma(a) - math.lgamma(b)
    )  # fmt: skip


# Feed for a dozen eggs.


MORE_FEED = mark("more feed a dozen")


def _feed_a_dozen(flock: Flock, on: date) -> Iterator[Sign]:
    """Feed used for twelve eggs in the last fortnight against the fortnights before."""
    length = int(facts.value("signs.dozen_block_d"))
    blocks = int(facts.value("signs.dozen_blocks"))
    first = on - timedelta(days=length * (blocks + 1) - 1)
    if flock.first_day is None or flock.first_day > on - timedelta(days=3 * length - 1):
        return
    laid: dict[date, int] = {}
    for lot in _lots_since(flock, first):
        if lot.counts:
            laid[lot.laid] = laid.get(lot.laid, 0) + lot.collected
    a_dozen: list[tuple[date, float]] = []
    for number in range(blocks + 1):
        start = first + timedelta(days=number * length)
        use = feed_use(flock, start, start + timedelta(days=length - 1))
        if use is None:
            continue
        eggs = sum(laid.get(day, 0) for day in use.days)
        counted = sum(day in laid for day in use.days)
        kg = use.kg - _of_growers(flock, use.days)
        enough = counted >= _MOSTLY * len(use.days) and len(use.days) >= length / 2
        if eggs and enough and kg > 0.0:
            a_dozen.append((start, kg / eggs * _A_DOZEN))
    if len(a_dozen) < 3 or a_dozen[-1][0] != on - timedelta(days=length - 1):
        return
    from quailwright.flock.light import in_dark_months

    if in_dark_months(flock, on):
        return  # Hens that stop eat on for a while: the season, and no waste.
    now, before = a_dozen[-1][1], [kg for _, kg in a_dozen[:-1]]
    logs = [math.log(kg) for kg in before]
    rise = math.log(now) - fmean(logs)
    # With few fortnights their own spread says little: it is not trusted below the usual one.
    sd = max(stdev(logs), facts.value("signs.dozen_sd")) * math.sqrt(1 + 1 / len(logs))
    chance = 1 - NormalDist().cdf(rise / sd)
    if math.expm1(rise) <= facts.value("signs.dozen_rise") or chance > facts.value(
        "signs.dozen_level"
    ):
        return
    unit = wording.feed_unit(flock.units)
    yield Sign(
        MORE_FEED,
        _holding(flock),
        a_dozen[-1][0],
        say(
            "{now:.2f} {unit} of feed for a dozen eggs in the last {days} days, {was:.2f} before: "
            "{rise:.0%} more, growing birds not counted. Chance alone makes that {chance:.1%} "
            "of the time at most.",
            now=wording.feed_mass(now, flock.units),
            was=wording.feed_mass(math.exp(fmean(logs)), flock.units),
            unit=unit,
            days=length,
            rise=math.expm1(rise),
            chance=max(_LEAST_SHOWN, chance),
        ),
        say("Look under the feeders for spilt feed, and at dusk for rats, mice and sparrows."),
        (
            say("Fewer eggs from the same birds: light, heat, age, moult, a water fault."),
            say(
                "Birds that eat and do not lay: surplus cocks, growers that eat more than the "
                "table."
            ),
            say("The scoop and the scale: weigh one full scoop."),
            say("Eggs not counted: laid in the litter, taken, or eaten by the birds."),
        ),
    )


def _of_growers(flock: Flock, days: Sequence[date]) -> float:
    """Feed [kg] that birds still growing eat in these days, by the printed table, with spill."""
    grown = timedelta(weeks=feeding.GROWING_WEEKS)
    grams = 0.0
    for group in flock.groups.values():
        if group.youngest is None or group.youngest + grown <= days[0]:
            continue
        there = birds_there(group, days[0], max(days[-1], flock.last_day or days[-1]))
        for day in days:
            if group.youngest <= day < group.youngest + grown:
                age = (day - group.youngest).days
                grams += there[day].total * feeding.intake_g_per_day(age)
    return grams / (1 - facts.value("feeding.wastage")) / _GRAMS


_GRAMS = 1000
"""In a kilogram."""
_MOSTLY = 0.7
"""Share of the days on which eggs must have been counted."""


# Chores and silence.


def _silence(flock: Flock, on: date) -> Iterator[Sign]:
    """Nothing logged at all for longer than this keeper's habit."""
    last = flock.last_day
    if last is None or not (any(flock.groups_alive()) or any(flock.hatches_open())):
        return
    gap = (on - last).days - 1
    if gap < facts.value("signs.chores_silent_d"):
        return
    back = int(facts.value("signs.chores_look_back_d"))
    days = [day for day in _days_logged(flock, last - timedelta(days=back - 1)) if day <= last]
    could = (last - min(days, default=last)).days + 1
    if not _hardly_chance(len(days), could, gap):
        return
    yield Sign(
        mark("record silent"),
        _holding(flock),
        last + _DAY,
        say_many(
            "Nothing is in the record for {n} day. That is a gap, and says nothing about the "
            "birds; meanwhile no sign can see them.",
            "Nothing is in the record for {n} days. That is a gap, and says nothing about the "
            "birds; meanwhile no sign can see them.",
            gap,
        ),
        say(
            "A head count and today's eggs are enough to go on from; days that nobody wrote down "
            "stay open, and count for nothing."
        ),
    )


def _days_logged(flock: Flock, since: date) -> set[date]:
    """Days from `since` on, on which anything was ticked, gathered, given, counted or read."""
    days: set[date] = set()
    for tick in reversed(flock.ticks):
        if tick.day < since:
            break
        days.add(tick.day)
    for fill in reversed(flock.water):
        if fill.day < since:
            break
        days.add(fill.day)
    for seen in reversed(flock.air):
        if seen.at.date() < since:
            break
        days.add(seen.at.date())
    days.update(lot.laid for lot in _lots_since(flock, since))
    for stock in flock.feeds.values():
        for day, _ in reversed(stock.given):
            if day < since:
                break
            days.add(day)
    for group in flock.groups.values():
        for change in reversed(group.changes):
            if change.day < since:
                break
            days.add(change.day)
        if group.counted_on is not None and group.counted_on >= since:
            days.add(group.counted_on)
    return days


def _lots_since(flock: Flock, since: date) -> Iterator[EggLot]:
    """Lots laid from `since` on, the newest first or nearly so."""
    for lot in reversed(flock.lots.values()):
        if lot.laid < since - _LATE:
            return
        if lot.laid >= since:
            yield lot


_LATE = timedelta(days=7)
"""Lots lie in the order in which they were begun, which is nearly that of their days."""


@dataclass(frozen=True, slots=True)
class _Chore:
    """A chore at a kind of place: the tasks that tick it, and what to look at when nobody did."""

    roles: tuple[str, ...]
    tasks: tuple[str, ...]
    by: str
    sign: str
    check: str


_CHORES = (
    _Chore(
        ("pen", "brooder"),
        ("feed_water", "brooder_feed_water"),
        "water",
        mark("water and feed not ticked"),
        mark("Fill the water first, then the feed; then tick it, also if it was done all along."),
    ),
    _Chore(
        ("pen", "brooder"),
        ("look_count", "brooder_check"),
        "count",
        mark("birds not looked at"),
        mark("Look at every bird and count them; then tick it, also if it was done all along."),
    ),
)


def _chores(flock: Flock, on: date) -> Iterator[Sign]:
    """A daily chore that this keeper usually ticks, and has not for longer than by chance."""
    back = timedelta(days=facts.value("signs.chores_look_back_d"))
    least = facts.value("signs.chores_least_d")
    habit = facts.value("signs.chores_habit_times")
    for place in flock.in_walking_order():
        groups = flock.groups_at(place.name)
        if not groups:
            continue
        for chore in _CHORES:
            if place.role not in chore.roles:
                continue
            days = {
                day
                for task in chore.tasks
                for where in (place.name, "")
                for day in _newest(flock.care.get((task, where), []), on - 2 * back)
            }
            days |= _done_otherwise(flock, groups, place.name, chore.by, on - 2 * back)
            if not days:
                continue
            # Today is not over: what is not ticked yet may still be.
            last = max(days)
            missed = (on - max(last, _seen_there(flock, groups, last, on))).days - 1
            ticked = sum(last - back <= day for day in days)
            could = (last - min(day for day in days if last - back <= day)).days + 1
            if missed < least or ticked < habit or not _hardly_chance(ticked, could, missed):
                continue
            yield Sign(
                chore.sign,
                place.name,
                on - timedelta(days=missed),
                say_many(
                    "Not ticked for {n} day, after {ticked} of the {could} days before.",
                    "Not ticked for {n} days, after {ticked} of the {could} days before.",
                    missed,
                    ticked=ticked,
                    could=could,
                ),
                say(chore.check),
            )


def _newest(days: list[date], since: date) -> Iterator[date]:
    for day in reversed(days):
        if day < since:
            return
        yield day


def _done_otherwise(
    flock: Flock, groups: list[Group], place: str, by: str, since: date
) -> set[date]:
    """Days on which another entry says that the chore was done."""
    days: set[date] = set()
    if by == "water":
        for fill in reversed(flock.water):
            if fill.day < since:
                break
            if fill.place == place:
                days.add(fill.day)
    else:
        days |= {group.counted_on for group in groups if group.counted_on is not None}
    return days


def _seen_there(flock: Flock, groups: list[Group], since: date, on: date) -> date:
    """The last day since then on which eggs were gathered there: somebody saw the birds."""
    names = {group.name for group in groups}
    gathered = (
        lot.laid
        for lot in _lots_since(flock, since)
        if lot.counts and lot.group in names and lot.laid <= on
    )
    return max(gathered, default=since)


def _hardly_chance(done: int, could: int, missed: int) -> bool:
    """Whether so many days in a row without are beyond chance for one who did it on `done` of
    `could` days: their share is Beta(1 + done, 1 + could - done)."""
    a, b = 1.0 + done, 1.0 + could - done
    log_chance = (
        math.lgamma(b + missed) - math.lgamma(b) + math.lgamma(a + b) - math.lgamma(a + b + missed)
    )
    return log_chance <= math.log(facts.value("signs.chores_level"))


def _holding(flock: Flock) -> str:
    return (flock.holding.name if flock.holding is not None else "") or say("the holding")
