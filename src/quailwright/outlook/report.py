"""The outlook set out: each rate with what it rests on, the goal, money, and what is not known."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import partial

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from quailwright.flock.cohorts import AGE_CLASSES
from quailwright.flock.light import latitude_of
from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.husbandry.proportion import QUANTILES
from quailwright.language import mark, say
from quailwright.outlook.forecast import Outlook, evening
from quailwright.outlook.hatching import NOTHING_PLANNED, Planned
from quailwright.outlook.lay import LayBelief
from quailwright.outlook.learning import Drawn, Learnt, expit
from quailwright.outlook.planned import planned_of
from quailwright.outlook.rates import (
    RateDraws,
    Rates,
    draw_rates,
    overdue,
    prior_of_feed,
    source_of,
)

Array = NDArray[np.float64]

_DRAWS = 2000
_MONEY_WEEKS = 26


def spread_of(samples: Array) -> dict[str, float]:
    """Mean and quantiles of draws, shape (draws,)."""
    found = {"mean": float(samples.mean())}
    found |= dict(
        zip(QUANTILES, np.quantile(samples, list(QUANTILES.values())).tolist(), strict=True)
    )
    return found


@dataclass(frozen=True, slots=True)
class Rate:
    """One rate as it is believed.

    Attributes:
        name: such as "hatch_of_set".
        of: whose: a source, machine or group; "" for the holding, which is also what to expect of
            a new one.
        mean, q05, q95: in the rate's own unit.
        prior_mean: before records.
        records: hatches, or bird-weeks, or hen-days that it is learnt from.
        unit: what is counted in `records`.
        weight_published, weight_others, weight_own: parts of the evidence; they add to 1.
    """

    name: str
    of: str
    mean: float
    q05: float
    q95: float
    prior_mean: float
    records: float
    unit: str
    weight_published: float
    weight_others: float
    weight_own: float


def rates_table(rates: Rates, rng: Generator) -> list[Rate]:
    """Every rate: of the holding first, then by source, machine and group."""
    drawn = draw_rates(rates, _DRAWS, rng)
    return [
        *_hatch_rates(rates, drawn, rng),
        *_death_rates(rates, drawn, rng),
        *_lay_rates(rates, drawn, rng),
        _feed_rate(rates),
        _weight_rate(rates),
    ]


def _hatch_rates(rates: Rates, drawn: RateDraws, rng: Generator) -> Iterator[Rate]:
    by_source: dict[str, int] = {}
    by_machine: dict[str, int] = {}
    for hatch in rates.hatches_seen:
        source = source_of(hatch.clutches)
        by_source[source] = by_source.get(source, 0) + 1
        by_machine[hatch.set_in] = by_machine.get(hatch.set_in, 0) + 1
    number = len(rates.hatches_seen)
    yield _share("hatch_of_set", "", ("", ""), drawn.hatch, rng, number, mark("hatches"))
    for source, count in by_source.items():
        yield _share("hatch_of_set", source, (source, ""), drawn.hatch, rng, count, mark("hatches"))
    for machine, count in by_machine.items():
        yield _share(
            "hatch_of_set", machine, ("", machine), drawn.hatch, rng, count, mark("hatches")
        )
    looked = len(rates.fertility.seen)
    yield _share("fertility", "", ("",), drawn.fertility, rng, looked, mark("hatches"))
    for _, source in rates.fertility.labels:
        count = sum(seen.labels == (source,) for seen in rates.fertility.seen)
        yield _share("fertility", source, (source,), drawn.fertility, rng, count, mark("hatches"))


def _share(
    name: str,
    of: str,
    labels: tuple[str, ...],
    drawn: Drawn,
    rng: Generator,
    records: float,
    unit: str,
) -> Rate:
    learnt = drawn.learnt
    asked = labels if any(labels) else tuple(f"\n{n}" for n in range(len(labels)))
    shares = expit(drawn.log_odds(asked, rng))
    low, high = np.quantile(shares, (0.05, 0.95))
    published, others, own = learnt.weights(labels)
    return Rate(
        name,
        of,
        float(shares.mean()),
        float(low),
        float(high),
        _prior_mean(learnt),
        records,
        unit,
        published,
        others,
        own,
    )


def _prior_mean(learnt: Learnt) -> float:
    z = np.linspace(-4.0, 4.0, 161)
    weight = np.exp(-(z**2) / 2)
    shares = expit(learnt.prior.mean + learnt.prior.sd * z)
    return float(shares @ weight / weight.sum())


def _death_rates(rates: Rates, drawn: RateDraws, rng: Generator) -> Iterator[Rate]:
    for name in (*AGE_CLASSES[:4], "adult"):
        learnt = rates.deaths[name]
        weeks = sum(seen.n for seen in learnt.seen)
        label = f"deaths_a_week_{name}"
        yield _share(label, "", ("",), drawn.deaths[name], rng, round(weeks), mark("bird-weeks"))
        if name != "adult":
            continue
        for _, group in learnt.labels:
            if not rates.histories[group].cohorts:
                continue
            own = sum(seen.n for seen in learnt.seen if seen.labels == (group,))
            yield _share(
                label, group, (group,), drawn.deaths[name], rng, round(own), mark("bird-weeks")
            )


def _lay_rates(rates: Rates, drawn: RateDraws, rng: Generator) -> Iterator[Rate]:
    """Eggs a hen a day: of new hens at their best, and of each group by its age and light now."""
    belief, rows = rates.lay, drawn.rows
    before = _rows_before(belief, rng)
    at_best = np.ones(len(belief.hens.usual))
    yield _lay_rate("", belief.new_level, at_best, rates, rows, before, rng)
    for group in belief.groups:
        share = rates.lay_now.get(group)
        if share is not None:
            yield _lay_rate(group, partial(belief.level, group), share, rates, rows, before, rng)


def _rows_before(belief: LayBelief, rng: Generator) -> NDArray[np.int64]:
    """Draws of the possibility before any record."""
    chances = np.exp(belief.hens.before - belief.hens.before.max())
    return rng.choice(len(chances), _DRAWS, p=chances / chances.sum())


def _lay_rate(
    of: str,
    level: Callable[[NDArray[np.int64], Generator], Array],
    share: Array,
    rates: Rates,
    rows: NDArray[np.int64],
    before: NDArray[np.int64],
    rng: Generator,
) -> Rate:
    """One rate. Weights are parts of the precision: published, other groups', its own eggs'."""
    belief = rates.lay
    published = expit(belief.new_level(before, rng)) * share[before]
    by_others = expit(belief.new_level(rows, rng)) * share[rows]
    own = expit(level(rows, rng)) * share[rows]
    precision = [1.0 / float(np.maximum(1e-9, x.var())) for x in (published, by_others, own)]
    hen_days = dict(zip(belief.groups, belief.hen_days, strict=True))
    if not sum(hen_days.values()):
        precision = [precision[0]] * 3
    middle = max(precision[0], precision[1])
    everything = max(middle, precision[2])
    low, high = np.quantile(own, (0.05, 0.95))
    part = hen_days[of] / max(1.0, sum(hen_days.values())) if of else 1.0
    others, own_weight = (middle - precision[0]) / everything, (everything - middle) / everything
    return Rate(
        "lay",
        of,
        float(own.mean()),
        float(low),
        float(high),
        float(published.mean()),
        round(hen_days[of] if of else sum(hen_days.values())),
        mark("hen-days"),
        precision[0] / everything,
        others * (1.0 - part),
        own_weight + others * part,
    )


def _feed_rate(rates: Rates) -> Rate:
    """Feed used over what birds of that age eat."""
    mean, sd = rates.feed
    prior_mean, prior_sd = prior_of_feed()
    own = max(0.0, 1.0 - (sd / prior_sd) ** 2)
    low, high = np.exp(mean - 1.645 * sd), np.exp(mean + 1.645 * sd)
    days = len(rates.feed_use.days) if rates.feed_use is not None else 0
    return Rate(
        "feed_used_over_eaten",
        "",
        float(np.exp(mean + sd**2 / 2)),
        float(low),
        float(high),
        float(np.exp(prior_mean + prior_sd**2 / 2)),
        days,
        mark("days"),
        1.0 - own,
        0.0,
        own,
    )


def _weight_rate(rates: Rates) -> Rate:
    """Weight of the birds over that of the dual type at their age."""
    mean, sd = rates.weight
    own = max(0.0, 1.0 - (sd / facts.value("growth.line_sd")) ** 2)
    return Rate(
        "weight_over_usual",
        "",
        mean,
        mean - 1.645 * sd,
        mean + 1.645 * sd,
        1.0,
        rates.weighed,
        mark("birds weighed"),
        1.0 - own,
        0.0,
        own,
    )


@dataclass(frozen=True, slots=True)
class Prices:
    """What feed costs and eggs bring, by the record of the last half year; None if not told."""

    feed_per_kg: float | None
    income_per_egg: float | None


def prices_of(flock: Flock, on: date) -> Prices:
    """Prices from feed bought and eggs sold; an egg's income counts the eggs that were not sold."""
    since = on - timedelta(weeks=_MONEY_WEEKS)
    bags = [
        (bag.kg, bag.cost)
        for stock in flock.feeds.values()
        for bag in stock.bought
        if bag.day > since and bag.cost is not None
    ]
    kg = sum(kg for kg, _ in bags)
    sold = sum(p.amount for p in flock.payments if p.category == "eggs sold" and p.day > since)
    eggs = sum(lot.collected for lot in flock.lots.values() if lot.laid > since)
    return Prices(
        sum(cost for _, cost in bags) / kg if kg > 0 else _labelled(flock),
        sold / eggs if eggs > 0 and sold > 0 else None,
    )


def _labelled(flock: Flock) -> float | None:
    told = [
        stock.label.price_per_kg
        for stock in flock.feeds.values()
        if stock.label is not None and stock.label.price_per_kg is not None
    ]
    return sum(told) / len(told) if told else None


def money_ahead(outlook: Outlook, prices: Prices) -> dict[str, Array]:
    """Feed's cost and eggs' income by draw and week, as far as prices are known."""
    found: dict[str, Array] = {}
    if prices.feed_per_kg is not None:
        found["feed_cost"] = outlook.samples["feed_kg"] * prices.feed_per_kg
    if prices.income_per_egg is not None:
        found["egg_income"] = outlook.samples["eggs"] * prices.income_per_egg
    return found


def chance_of_goal(outlook: Outlook, flock: Flock) -> list[float | None] | None:
    """Chance, week by week, of as many eggs as the goal asks for.

    None for weeks that begin before or after the goal's days; None altogether without such weeks.
    """
    goal = flock.goal
    if goal is None or goal.eggs_per_week is None:
        return None
    enough = (outlook.samples["eggs"] >= goal.eggs_per_week).mean(0)
    first, last = goal.from_ or date.min, goal.until or date.max
    days = [outlook.first_day(week) for week in range(outlook.weeks)]
    chances = [
        float(chance) if first <= day <= last else None
        for chance, day in zip(enough, days, strict=True)
    ]
    return chances if any(chance is not None for chance in chances) else None


def says(outlook: Outlook, flock: Flock, table: Sequence[Rate]) -> list[str]:
    """What a keeper must know to read the outlook, most important first."""
    said = []
    if not flock.entries:
        said.append(say("Nothing is recorded up to then: every rate is the published one."))
    birds = any(history.cohorts for history in outlook.rates.histories.values())
    if flock.entries and not birds and not outlook.hatches:
        said.append(
            say("The record holds no birds and no hatch under way, so nothing is foretold.")
        )
    published = [say(NAMES[name]) for name in as_published(table)]
    if flock.entries and published:
        said.append(
            say("Not in your record yet, so as published: {rates}.", rates=", ".join(published))
        )
    said += _of_silence(outlook, flock)
    said += _of_birds_gone(outlook)
    said += _of_counts(outlook)
    said += _of_hatches_left(outlook, flock)
    said += _of_light(outlook, flock)
    said += _of_sets(outlook, flock)
    said += _of_plans(outlook, flock)
    if outlook.asked.words:
        said.append(say("As if: {question}.", question=outlook.asked.words))
    elif birds or outlook.hatches:
        said.append(
            say("If nothing else is bought, sold or culled, and no more eggs are set.")
            if outlook.asked.planned != NOTHING_PLANNED
            else say("If nothing is bought, sold or culled, and no more eggs are set.")
        )
    return said


def as_published(table: Sequence[Rate]) -> list[str]:
    """Rates of the holding (of `FIGURES`) that are, near enough, still the published ones."""
    told = {rate.name: rate for rate in table if not rate.of}
    return [name for name in NAMES if name in told and told[name].weight_published > _MOSTLY]


def _of_plans(outlook: Outlook, flock: Flock) -> list[str]:
    """Which plans are counted, and which are not though they stand."""
    counted = Planned(outlook.asked.planned_sets, outlook.asked.planned.culls)
    there = planned_of(flock, outlook.as_of, outlook.weeks)
    left_out = Planned(
        tuple(one for one in there.sets if one not in counted.sets),
        tuple(one for one in there.culls if one not in counted.culls),
    )
    return [
        *([say("With {planned}.", planned=counted.words)] if counted.words else []),
        *([say("Left out: {planned}.", planned=left_out.words)] if left_out.words else []),
    ]


def _of_sets(outlook: Outlook, flock: Flock) -> list[str]:
    known = flock.sources.keys() | flock.groups.keys() | {r.source for r in flock.receipts}
    sets = (*outlook.asked.planned_sets, *outlook.asked.sets)
    unknown = {one.source for one in sets} - known
    return [
        say("No source {name} is on the record: reckoned as a new one.", name=repr(name))
        for name in sorted(unknown)
    ]


def _of_silence(outlook: Outlook, flock: Flock) -> list[str]:
    last = flock.last_day
    if last is None or (outlook.as_of - last).days < _SILENT_D:
        return []
    return [say("Nothing is logged since {day}: what came after is only reckoned.", day=last)]


_SILENT_D = 14


def _of_birds_gone(outlook: Outlook) -> list[str]:
    """Birds on record that may have died without a word."""
    gone = 0.0
    for flight in outlook.flights:
        if flight.seen is not None:
            gone += float((flight.seen * np.maximum(1, flight.hens) - flight.hens).mean())
    if gone < 1.0:
        return []
    return [
        say(
            "About {hens:.0f} of the hens on the record may be gone without a word: count them "
            "(quailwright log birds_counted).",
            hens=gone,
        )
    ]


def _of_counts(outlook: Outlook) -> list[str]:
    belief = outlook.rates.lay
    return [
        say(
            "{counts} counts of the eggs of {group} are left out: so few hens as are recorded "
            "cannot lay so many. Count the birds (quailwright log birds_counted).",
            counts=counts,
            group=group,
        )
        for group, counts in zip(belief.groups, belief.left_out, strict=True)
        if counts >= _MANY_COUNTS
    ]


_MANY_COUNTS = 7


def _of_hatches_left(outlook: Outlook, flock: Flock) -> list[str]:
    now = evening(flock, outlook.as_of)
    waiting = [hatch.name for hatch in flock.hatches_open() if overdue(hatch, now)]
    if not waiting:
        return []
    return [
        say(
            "{hatches} should be over, and nothing is logged: log how many hatched (0 if none), "
            "and hatch_closed. Nothing is learnt of it until then.",
            hatches=", ".join(waiting),
        )
    ]


_MOSTLY = 0.9
"""Part of what is believed from which on it is said to be the published figure."""

NAMES = {
    "lay": mark("how well your hens lay"),
    "hatch_of_set": mark("how your eggs hatch"),
    "deaths_a_week_adult": mark("how many grown birds die"),
    "feed_used_over_eaten": mark("feed and spill"),
}

FIGURES = {
    "lay": "laying.level_logit_mean",
    "hatch_of_set": "incubation.hatch_of_set",
    "deaths_a_week_adult": "survival.adult_week_hen",
    "feed_used_over_eaten": "feeding.wastage",
}
"""The published figure that each of these rates begins from."""


def _of_light(outlook: Outlook, flock: Flock) -> list[str]:
    light, belief = outlook.rates.light, outlook.rates.lay
    if latitude_of(flock) is None:
        usual = facts.value("forecast.untold_latitude_deg")
        return [
            say(
                "Where the flock lives is not told, so short days may come at any time of the "
                "year, as at {degrees:g} degrees. Tell it: quailwright log holding latitude=...",
                degrees=usual,
            )
        ]
    chance = float(belief.chances[belief.hens.light == 0].sum())
    shortest = float(light.hours.min())
    if shortest >= facts.value("laying.light_full_h"):
        return []
    if chance > _SURE:
        return [say("By your record the hens have a lamp, which is taken to stay on.")]
    full_h = facts.value("laying.light_full_h")
    if chance < 1.0 - _SURE:
        return [
            say(
                "By your record the hens have no lamp: lay fades when days fall below {hours:g} h.",
                hours=full_h,
            )
        ]
    told = flock.holding is not None and flock.holding.light_target_h is not None
    return [say(_LAMP_WILL_TELL if told else _LAMP_TO_TELL, chance=chance)]


_LAMP_WILL_TELL = mark(
    "Whether the hens have a lamp is not sure ({chance:.0%} that they have): short days may stop "
    "them. The eggs of short days will tell."
)
_LAMP_TO_TELL = mark(
    "Whether the hens have a lamp is not sure ({chance:.0%} that they have): short days may stop "
    "them. Tell it: quailwright log holding light_target_h=15"
)
_SURE = 0.95


def compared(outlook: Outlook, as_it_stands: Outlook) -> Mapping[str, dict[str, float]]:
    """How a question changes what is laid and eaten in all weeks together, draw by draw."""
    return {
        name: spread_of(outlook.samples[name].sum(1) - as_it_stands.samples[name].sum(1))
        for name in ("eggs", "feed_kg")
    }
