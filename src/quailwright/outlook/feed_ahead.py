"""Feed ahead: kilograms by stage and week, when each bag runs out, and whether its use is usual."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from quailwright.flock.appetite import eaten_g_per_day
from quailwright.flock.cohorts import Cohort, birds_on
from quailwright.flock.history import FeedUse, feed_use
from quailwright.flock.remark import Remark
from quailwright.flock.state import FeedStock, Flock
from quailwright.husbandry import facts, feeding
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.feeding import STAGES, Stage
from quailwright.language import dated, say
from quailwright.outlook.forecast import Outlook
from quailwright.outlook.rates import FEED_WEEKS, Rates, prior_of_feed

Array = NDArray[np.float64]

EARLY, MIDDLE, LATE = 0.1, 0.5, 0.9
"""Quantiles of the day on which a bag runs out; the keeper orders for the early one."""

_A_SPECK_KG = 1e-6
_MOST_BAGS = 40


@dataclass(frozen=True)
class Bag:
    """A bag, or the rest of one, in the order in which they are opened.

    Attributes:
        kg: what is in it.
        bought_on: None where the record does not tell.
        mixed_on: None where nobody told; it is at least as old as the day it was bought.
        keeps_until: the last day on which it is good, None where `bought_on` is not known.
        runs_out: days from now on which its last is given, inf beyond the weeks, shape (draws,).
        left_kg: of it, what is there after that day, shape (draws,); None without `keeps_until`.
    """

    kg: float
    bought_on: date | None
    mixed_on: date | None
    keeps_until: date | None
    runs_out: Array
    left_kg: Array | None


@dataclass(frozen=True)
class FeedOf:
    """A feed in the store, and how long it lasts.

    Attributes:
        serves: the stages of birds that eat it.
        keeps_d: days it keeps from mixing; `keeps_told` says whether the keeper told so.
        delivery_d: days from ordering to having it, None where nobody told.
        order_by: the last day to order, so that nine times in ten it comes in time; None where it
            lasts beyond the weeks, or no delivery days are told. In the past: order at once.
        silent_since: the day from which on nobody told what was used of it, though birds that eat
            it were there; None where its use is told. Then there is no day on which it runs out.
        good_out: as `runs_out`, of what is still good: what is too old is thrown away.
    """

    feed: str
    stage: Stage | None
    serves: tuple[Stage, ...]
    kg: float
    bags: list[Bag]
    keeps_d: float
    keeps_told: bool
    delivery_d: float | None
    order_by: date | None
    silent_since: date | None
    good_out: Array

    @property
    def runs_out(self) -> Array:
        """Days from now on which the last of it is given, inf beyond the weeks, (draws,)."""
        return self.bags[-1].runs_out if self.bags else np.zeros(1)


@dataclass(frozen=True)
class Use:
    """Feed given of late beside what these birds used before.

    Attributes:
        days: of which it was logged.
        kg: given on them.
        expected_kg, low_kg, high_kg: what was to be expected, and the range of nine in ten.
        by_own: whether that rests on this flock's own record, or only on what is published.
    """

    days: int
    kg: float
    expected_kg: float
    low_kg: float
    high_kg: float
    by_own: bool

    @property
    def is_odd(self) -> bool:
        """Whether it lies outside the range."""
        return not self.low_kg <= self.kg <= self.high_kg


@dataclass(frozen=True)
class FeedAhead:
    """All of it.

    Attributes:
        by_stage: kilograms by stage, draw and week, shape (draws, weeks) each.
        unserved: stages whose birds have no feed on the record, with their mean kilograms a week.
        use: None where too little was logged of late.
        spill: part of what is used that is spilled: usual, low, high, as published.
        remarks: what a keeper must know, most urgent first.
    """

    on: date
    weeks: int
    by_stage: Mapping[Stage, Array]
    feeds: list[FeedOf]
    unserved: dict[Stage, float]
    use: Use | None
    spill: tuple[float, float, float]
    remarks: list[Remark]

    @property
    def said(self) -> list[str]:
        """The remarks as sentences, for a terminal."""
        return [remark.in_full for remark in self.remarks]

    def first_day(self, week: int) -> date:
        """The day on which a week (0 the first) begins."""
        return self.on + timedelta(days=1 + DAYS_A_WEEK * week)

    def day(self, quantile_of: Array, quantile: float) -> date | None:
        """The day of a quantile of days from now; None where that lies beyond the weeks."""
        days = float(np.quantile(quantile_of, quantile, method="lower"))
        return self.on + timedelta(days=int(days)) if math.isfinite(days) else None


def feed_ahead(outlook: Outlook, flock: Flock) -> FeedAhead:
    """What an outlook says of feed.

    Args:
        flock: folded up to the day of the outlook.
    """
    on, weeks = outlook.as_of, outlook.weeks
    by_stage = outlook.feed_by_stage
    serves = _serves(flock)
    eaten, lacking = _eaten(flock, by_stage, serves, outlook.draws, weeks)
    silent = _silent(flock, outlook.rates, serves, on)
    feeds = [
        _feed(flock.feeds[name], stages, eaten[name], on, silent.get(name))
        for name, stages in serves.items()
    ]
    unserved = {stage: kg for stage, kg in lacking.items() if kg > 0}
    figure = facts.figure("feeding.wastage")
    spill = (figure.value or 0.0, figure.low or 0.0, figure.high or 0.0)
    use = use_of_late(flock, outlook.rates, on)
    found = FeedAhead(on, weeks, by_stage, feeds, unserved, use, spill, [])
    found.remarks.extend(_remarks(found))
    return found


def _serves(flock: Flock) -> dict[str, tuple[Stage, ...]]:
    """Which birds eat which feed: those of its stage; without one, those that no other is for."""
    kept = {name: one for name, one in flock.feeds.items() if one.kg > _A_SPECK_KG}
    told = {name: _stage(one) for name, one in kept.items()}
    named = {stage for stage in told.values() if stage is not None}
    others = tuple(stage for stage in STAGES if stage not in named)
    return {name: others if stage is None else (stage,) for name, stage in told.items()}


def _stage(stock: FeedStock) -> Stage | None:
    return stock.label.stage if stock.label is not None else None


def _eaten(
    flock: Flock,
    by_stage: Mapping[Stage, Array],
    serves: Mapping[str, tuple[Stage, ...]],
    draws: int,
    weeks: int,
) -> tuple[dict[str, Array], dict[Stage, float]]:
    """Kilograms of each feed that are eaten by the end of each day, shape (days, draws), and the
    mean kilograms a week of stages that no feed is for.

    Of two feeds for the same birds the one given last is used up first.
    """
    days = weeks * DAYS_A_WEEK
    left = {name: np.full(draws, flock.feeds[name].kg) for name in serves}
    eaten = {name: np.zeros((days, draws)) for name in serves}
    order = sorted(serves, key=lambda name: (-_given_last(flock.feeds[name]), name))
    lacking: dict[Stage, float] = {}
    for stage in STAGES:
        own = [name for name in order if stage in serves[name]]
        if not own:
            lacking[stage] = float(by_stage[stage].mean())
    for day in range(days):
        week = day // DAYS_A_WEEK
        for stage in STAGES:
            wanted = by_stage[stage][:, week] / DAYS_A_WEEK
            for name in order:
                if stage not in serves[name]:
                    continue
                taken = np.minimum(wanted, left[name])
                left[name] = left[name] - taken
                wanted = wanted - taken
                eaten[name][day] += taken
    return {name: np.cumsum(own, axis=0) for name, own in eaten.items()}, lacking


def _given_last(stock: FeedStock) -> int:
    return (stock.last_given or date.min).toordinal()


_SILENT_D = 14
_SILENT_SHARE = 0.25
"""From so many days without a word of its use, in which the birds ate so much of what the record
has of a feed, the record no longer tells what is there. Our judgement."""


def _silent(
    flock: Flock, rates: Rates, serves: Mapping[str, tuple[Stage, ...]], on: date
) -> dict[str, date]:
    """Feeds of which nobody told what was used, and since when."""
    found: dict[str, date] = {}
    heard = {name: _heard(flock.feeds[name]) for name in serves}
    for name, stages in serves.items():
        # While another feed for the same birds is told of, this one may well lie untouched.
        since = max(
            (day for other, day in heard.items() if day and set(stages) & set(serves[other])),
            default=None,
        )
        stock = flock.feeds[name]
        since = since or min((bag.day for bag in stock.bought), default=None)
        if since is None or (on - since).days <= _SILENT_D:
            continue
        days = [since + timedelta(days=n) for n in range(1, (on - since).days + 1)]
        if _eaten_by_stages_kg(rates, days, stages) > _SILENT_SHARE * stock.kg:
            found[name] = since
    return found


def _heard(stock: FeedStock) -> date | None:
    """The last day on which the use of a feed was told."""
    told = [day for day in (stock.last_given, stock.counted_on) if day is not None]
    return max(told, default=None)


def _eaten_by_stages_kg(rates: Rates, days: Sequence[date], stages: tuple[Stage, ...]) -> float:
    """What the birds of some stages used on these days by their age, with the usual spill [kg]."""
    grams = sum(
        eaten_g_per_day(cohort, day)
        for history in rates.histories.values()
        for cohorts, day in zip(birds_on(history, days), days, strict=True)
        for cohort in cohorts
        if _stage_of(cohort, day) in stages
    )
    return grams / 1000.0 / (1.0 - facts.value("feeding.wastage"))


def _stage_of(cohort: Cohort, day: date) -> Stage:
    age = cohort.age_d(day)
    return "layer" if age is None else feeding.stage(age)


def _feed(
    stock: FeedStock,
    serves: tuple[Stage, ...],
    eaten: Array,
    on: date,
    silent_since: date | None,
) -> FeedOf:
    label = stock.label
    told = label.keeps_days if label is not None else None
    keeps = facts.value("feeding.mash_keeps_d") if told is None else told
    bags: list[Bag] = []
    above = 0.0
    for kg, bought_on, mixed_on in _bags(stock):
        begin, above = above, above + kg
        # A bag that is eaten on no day of these lasts beyond them.
        days = (eaten < above - _A_SPECK_KG).sum(0) + 1.0
        runs_out = np.where(days > len(eaten), np.inf, days)
        made = mixed_on or bought_on
        until = None if made is None else made + timedelta(days=int(keeps))
        left = None if until is None else _left(eaten, begin, above, (until - on).days)
        if silent_since is not None:
            runs_out, left = np.full_like(days, np.inf), None
        bags.append(Bag(kg, bought_on, mixed_on, until, runs_out, left))
    delivery = label.delivery_days if label is not None else None
    order_by = None
    good = sum(bag.kg for bag in bags if bag.keeps_until is None or bag.keeps_until >= on)
    days = (eaten < good - _A_SPECK_KG).sum(0) + 1.0
    good_out = np.where((days > len(eaten)) | (silent_since is not None), np.inf, days)
    if bags and delivery is not None:
        early = float(np.quantile(good_out, EARLY, method="lower"))
        if math.isfinite(early):
            order_by = on + timedelta(days=int(early) - math.ceil(delivery))
    return FeedOf(
        stock.name,
        _stage(stock),
        serves,
        stock.kg,
        bags,
        keeps,
        told is not None,
        delivery,
        order_by,
        silent_since,
        good_out,
    )


def _left(eaten: Array, begin: float, above: float, days: int) -> Array:
    """What of a bag is there after so many days [kg], shape (draws,)."""
    if days >= len(eaten):
        gone = eaten[-1]
    else:
        gone = eaten[days - 1] if days > 0 else np.zeros(eaten.shape[1])
    return np.asarray(np.clip(above - gone, 0.0, above - begin), dtype=np.float64)


def _bags(stock: FeedStock) -> list[tuple[float, date | None, date | None]]:
    """(kilograms, bought on, mixed on) of what is there, the oldest first: that is given first."""
    lots: list[tuple[float, date | None, date | None]] = []
    left = stock.kg
    for bag in reversed(stock.bought):
        kg = min(left, bag.kg)
        if kg > _A_SPECK_KG:
            lots.append((kg, bag.day, bag.mixed_on))
            left -= kg
    if left > _A_SPECK_KG:
        lots.append((left, None, None))
    size = stock.label.bag_kg if stock.label is not None else None
    found: list[tuple[float, date | None, date | None]] = []
    for kg, bought_on, mixed_on in reversed(lots):
        number = math.ceil(kg / size - _A_SPECK_KG) if size else 1
        if size and 1 < number <= _MOST_BAGS:
            opened = kg - (number - 1) * size
            found += [(own, bought_on, mixed_on) for own in (opened, *[size] * (number - 1))]
        else:
            found.append((kg, bought_on, mixed_on))
    return found


_OF_LATE_D = 14
_NINE_IN_TEN = 1.645


def use_of_late(flock: Flock, rates: Rates, on: date) -> Use | None:
    """Feed given in the last two weeks beside what was to be expected; None if too little is
    logged day by day."""
    begin = on - timedelta(days=_OF_LATE_D - 1)
    late = feed_use(flock, begin, on)
    if late is None or late.by != "given":
        return None
    eaten = _eaten_kg(rates, late)
    if eaten <= 0:
        return None
    before = feed_use(flock, on - timedelta(weeks=FEED_WEEKS), begin - timedelta(days=1))
    mean, sd = prior_of_feed()
    by_own = False
    if before is not None and before.kg > 0 and (own := _eaten_kg(rates, before)) > 0:
        rough = _rough(before)
        precision = 1.0 / sd**2 + 1.0 / rough**2
        mean = (mean / sd**2 + math.log(before.kg / own) / rough**2) / precision
        sd = precision**-0.5
        by_own = True
    spread = math.hypot(sd, _rough(late))
    expected = eaten * math.exp(mean)
    return Use(
        len(late.days),
        late.kg,
        expected,
        expected * math.exp(-_NINE_IN_TEN * spread),
        expected * math.exp(_NINE_IN_TEN * spread),
        by_own,
    )


def _rough(use: FeedUse) -> float:
    """How far the feed of these days may be off: weather, filling, scoops."""
    weeks = math.sqrt(DAYS_A_WEEK / len(use.days))
    key = "feed_record_cv_given" if use.by == "given" else "feed_record_cv"
    return math.hypot(facts.value("forecast.feed_week_cv") * weeks, facts.value(f"forecast.{key}"))


def _eaten_kg(rates: Rates, use: FeedUse) -> float:
    """What the birds on record ate on these days by their age [kg]; all hens taken as in lay."""
    return (
        sum(
            eaten_g_per_day(cohort, day)
            for history in rates.histories.values()
            for cohorts, day in zip(birds_on(history, use.days), use.days, strict=True)
            for cohort in cohorts
        )
        / 1000.0
    )


def _remarks(found: FeedAhead) -> list[Remark]:
    use = [] if found.use is None else use_words(found.use)
    return [*map(Remark, use), *of_store(found)]


def of_store(found: FeedAhead) -> list[Remark]:
    """What to order, what grows too old, and which birds no feed is for."""
    return [*_of_silence(found), *_of_orders(found), *_of_age(found), *_of_lacking(found)]


def _of_silence(found: FeedAhead) -> list[Remark]:
    return [
        Remark(
            say(
                "What was used of {feed} since {day} is not told, so when it runs out is not "
                "known: weigh what is left.",
                feed=one.feed,
                day=_day(one.silent_since),
            ),
            say('Tell it: quailwright log feed_counted feed="{feed}" kg=...', feed=one.feed),
            "feed_counted",
            {"feed": one.feed},
        )
        for one in found.feeds
        if one.silent_since is not None
    ]


def _of_orders(found: FeedAhead) -> list[Remark]:
    said: list[Remark] = []
    untold = []
    for one in found.feeds:
        early = found.day(one.good_out, EARLY)
        if early is not None and one.order_by is not None and one.order_by <= found.on:
            said.append(
                Remark(
                    say(
                        "Order {feed} now: it may run out on {day}, and takes {days:g} days to "
                        "come.",
                        feed=one.feed,
                        day=_day(early),
                        days=one.delivery_d,
                    )
                )
            )
        elif one.order_by is not None:
            said.append(
                Remark(say("Order {feed} by {day}.", feed=one.feed, day=_day(one.order_by)))
            )
        elif early is not None:
            untold.append(one.feed)
    if untold:
        said.append(
            Remark(
                say(
                    "How long feed takes to come is not told, so there is no day to order it by "
                    "(here: {feeds}).",
                    feeds=", ".join(untold),
                ),
                say("Tell it: quailwright log feed feed=... delivery_days=..."),
                "feed",
                {"feed": untold[0]},
            )
        )
    return said


_WORTH_SAYING_KG = 0.5


def _of_age(found: FeedAhead) -> list[Remark]:
    """Bags that will not be eaten while they are good."""
    said: list[Remark] = []
    for one in found.feeds:
        for bag in one.bags:
            if bag.left_kg is None or bag.keeps_until is None:
                continue
            kg = float(np.median(bag.left_kg))
            if kg < _WORTH_SAYING_KG:
                continue
            if bag.keeps_until < found.on:
                said.append(
                    Remark(
                        say(
                            "{kg:.1f} kg of {feed} should have been used by {day} ({days:g} days "
                            "from mixing). Smell and look at it; throw away what is mouldy or "
                            "caked, and never thin it out with fresh feed.",
                            kg=kg,
                            feed=one.feed,
                            day=_day(bag.keeps_until),
                            days=one.keeps_d,
                        )
                    )
                )
            else:
                said.append(
                    Remark(
                        say(
                            "About {kg:.1f} kg of {feed} will be left on {day}, when it is "
                            "{days:g} days old: buy or mix less at a time.",
                            kg=kg,
                            feed=one.feed,
                            day=_day(bag.keeps_until),
                            days=one.keeps_d,
                        )
                    )
                )
    if said and any(not one.keeps_told for one in found.feeds):
        said.append(
            Remark(
                say(
                    "Unless a label tells, feed is taken to keep as mash does, {days:g} days, "
                    "cool and dry; in warm damp weather less.",
                    days=facts.value("feeding.mash_keeps_d"),
                ),
                say("Tell it: quailwright log feed feed=... keeps_days=..."),
                "feed",
                {"feed": next(one.feed for one in found.feeds if not one.keeps_told)},
            )
        )
    return said


def use_words(use: Use) -> list[str]:
    """What odd use says, and what would explain it; nothing where it is usual."""
    if not use.is_odd:
        return []
    told = {
        "days": use.days, "kg": use.kg, "usual": use.expected_kg, "low": use.low_kg,
        "high": use.high_kg,
    }  # fmt: skip
    how = (
        say(
            "On {days} days {kg:.1f} kg were given. These birds used {usual:.1f} kg in as many "
            "before, likely {low:.1f} to {high:.1f}.",
            **told,
        )
        if use.by_own
        else say(
            "On {days} days {kg:.1f} kg were given. So many birds of that age use about "
            "{usual:.1f} kg, likely {low:.1f} to {high:.1f}.",
            **told,
        )
    )
    if use.kg > use.high_kg:
        return [
            how,
            say(
                "More is used by spill (a new or fuller feeder), mice or wild birds, cold, or more "
                "birds than are on the record. Look under the feeders, then count."
            ),
        ]
    return [
        how,
        say(
            "Less is used in heat, where water fails, of stale or changed feed, by fewer birds "
            "than are on the record, or when some was not logged. Look at the drinkers first; "
            "eggs fall later. If birds look ill, ask a vet."
        ),
    ]


def _of_lacking(found: FeedAhead) -> list[Remark]:
    said: list[Remark] = []
    for stage, kg in found.unserved.items():
        if kg * found.weeks < _WORTH_SAYING_KG:
            continue
        said.append(
            Remark(
                say(
                    "There is no {feed} in the store by the record, and about {kg:.1f} kg a week "
                    "are wanted.",
                    feed=stage_words(stage),
                    kg=kg,
                ),
                say(
                    "Log what is there: quailwright log feed feed=... stage={code}, then "
                    "feed_bought or feed_counted.",
                    code=stage,
                ),
                "feed",
                {"stage": stage},
            )
        )
    return said


def stage_words(stage: Stage) -> str:
    """A stage of feed in words."""
    match stage:
        case "starter":
            return say("starter feed")
        case "grower":
            return say("grower feed")
        case "layer":
            return say("layer feed")


def _day(day: date) -> str:
    """`2 May 2027`."""
    return dated(day, f"{day.day} {day:%b} {day.year}", "yMMMd")


def past_keeping_kg(stock: FeedStock, on: date) -> float:
    """Of what is there, what was mixed longer ago than it keeps [kg]; a bag of unknown age is not
    counted."""
    told = stock.label.keeps_days if stock.label is not None else None
    keeps = timedelta(days=int(facts.value("feeding.mash_keeps_d") if told is None else told))
    made = ((kg, mixed_on or bought_on) for kg, bought_on, mixed_on in _bags(stock))
    return sum((kg for kg, day in made if day is not None and day + keeps < on), 0.0)
