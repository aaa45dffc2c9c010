"""Every rate that the forecast uses, as this flock has earned it: prior, record, weight of each."""

import math
from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from statistics import median

import numpy as np
from numpy.random import Generator
from numpy.typing import NDArray

from quailwright.flock.appetite import eaten_g_per_day
from quailwright.flock.cohorts import AGE_CLASSES, GroupHistory, birds_on, group_history
from quailwright.flock.history import FeedUse, days_logged, feed_use, laid_days
from quailwright.flock.light import Light
from quailwright.flock.state import Clutch, Flock, Hatch
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.fertility import storage_factor
from quailwright.husbandry.growth import mass_g
from quailwright.outlook.lay import (
    WEEKS_REMEMBERED,
    LayBelief,
    Weeks,
    by_row,
    learn_lay,
    weeks_of,
)
from quailwright.outlook.learning import Drawn, Learnt, Prior, Seen, learn, log_odds_of_beta

Array = NDArray[np.float64]

FEED_WEEKS = 26
"""Weeks of feed that are learnt from: prices, feeders and spill change."""


@dataclass(frozen=True)
class Rates:
    """What is believed of every rate.

    Attributes:
        histories: the groups through time, by name.
        hatch: eggs set that hatch, by source and machine.
        fertility: eggs set that are fertile, by source.
        deaths: birds that die in a week, by age class, by group; "adult" is hens and cocks.
        lay: the level of each group.
        lay_now: of each group with hens, the share of its plateau that age and light leave today,
            by possibility, shape (rows,).
        light: the light they had and will have.
        weight: (mean, standard deviation) of the birds' weight over that of the dual type at their
            age, and birds weighed.
        feed: (mean, standard deviation) of the logarithm of feed used over what birds of their age
            eat, and the record it is learnt from.
        deaths_told: numbers of the Beta distribution of the share of deaths that are logged
            before a count finds them.
        attacks_a_week: chance that a group loses many birds at once in a week.
        sexed_at_d: lowest and highest age at which this keeper tells chicks apart [d].
        hatches_seen: hatches learnt from, by source.
    """

    histories: Mapping[str, GroupHistory]
    hatch: Learnt
    fertility: Learnt
    deaths: Mapping[str, Learnt]
    lay: LayBelief
    lay_now: Mapping[str, Array]
    light: Light
    weight: tuple[float, float]
    weighed: int
    feed: tuple[float, float]
    feed_use: FeedUse | None
    deaths_told: tuple[float, float]
    attacks_a_week: float
    sexed_at_d: tuple[float, float]
    hatches_seen: tuple[Hatch, ...]


def source_of(clutches: Sequence[Clutch]) -> str:
    """Whose eggs: the group or source of most of them."""
    eggs: dict[str, int] = {}
    for clutch in clutches:
        name = clutch.group or clutch.source or ""
        eggs[name] = eggs.get(name, 0) + clutch.eggs
    return max(eggs, key=lambda name: eggs[name], default="")


def learn_rates(
    flock: Flock, on: date, now: datetime, light: Light, whole_day: bool = True
) -> Rates:
    """Every rate, from the record of a flock folded up to the day `on`.

    While the day is not over (`whole_day` false), its eggs are not all in, and do not count.
    """
    histories = {name: group_history(group, on) for name, group in flock.groups.items()}
    seen = tuple(h for h in flock.hatches.values() if is_over(h, now))
    first = on - timedelta(weeks=WEEKS_REMEMBERED)
    laid = laid_days(flock, first, on if whole_day else on - timedelta(days=1))
    alive = {name for name, history in histories.items() if history.cohorts}
    weeks: dict[str, Weeks] = {}
    logged = days_logged(flock)
    number = min(WEEKS_REMEMBERED, _weeks_recorded(histories, on))
    for name, history in histories.items():
        if name in alive or laid.get(name):
            weeks[name] = weeks_of(history, laid.get(name, ()), light, on, number, logged)
    weeks = {name: _with_origin(name, own, histories, weeks, on) for name, own in weeks.items()}
    lay = learn_lay(weeks, light)
    used = feed_use(flock, on - timedelta(weeks=FEED_WEEKS), on)
    ages = [age for history in histories.values() for age in history.sexed_at_d]
    return Rates(
        histories,
        _learn_hatch(flock, seen),
        _learn_fertility(flock.hatches.values()),
        _learn_deaths(histories),
        lay,
        {name: by_row(weeks[name].share[-1], lay.hens) for name in alive if weeks[name].there[-1]},
        light,
        _learn_weight(histories.values()),
        sum(w.birds for h in histories.values() for w in h.group.weighings),
        _learn_feed(histories, used, _laying(weeks, lay), on),
        used,
        _deaths_told(histories.values()),
        _attacks_a_week(histories.values()),
        _sexed_at(ages),
        seen,
    )


def _with_origin(
    name: str,
    own: Weeks,
    histories: Mapping[str, GroupHistory],
    weeks: Mapping[str, Weeks],
    on: date,
) -> Weeks:
    """Weeks of a group, with those of the group that all its first hens were moved from."""
    first = next(iter(histories[name].group.changes), None)
    if first is None or first.why != "moved_in" or not first.birds.hens:
        return own
    before = weeks.get(first.other)
    week = len(own.eggs) - 1 - (on - first.day).days // DAYS_A_WEEK
    return own if before is None or week <= 0 else own.after(before, week)


def _attacks_a_week(histories: Collection[GroupHistory]) -> float:
    events = facts.value("forecast.attack_events") + sum(h.attacks for h in histories)
    weeks = facts.value("forecast.attack_weeks") + sum(
        (stretch.end - stretch.first).days / DAYS_A_WEEK
        for h in histories
        for stretch in h.stretches
    )
    return events / weeks


def _sexed_at(ages_d: Sequence[int]) -> tuple[float, float]:
    """As this keeper did it of late; else anywhere from feather sexing to the time of moving on."""
    if ages_d:
        usual = median(ages_d[-_SEXED_OF_LATE:])
        return usual - 1.0, usual + 2.0
    return facts.value("care.sexing_age_d"), facts.value("feeding.grower_until_d")


_SEXED_OF_LATE = 8


def _deaths_told(histories: Collection[GroupHistory]) -> tuple[float, float]:
    """Deaths logged against birds missing at counts, in groups that were counted ever."""
    counted = [history for history in histories if history.group.counted_on is not None]
    dead = sum(lived.deaths for history in counted for lived in history.lived.values())
    missing = sum(sum(kinds.values()) for history in counted for kinds in history.missing.values())
    return (
        facts.value("forecast.deaths_told_a") + max(0.0, dead - missing),
        facts.value("forecast.deaths_told_b") + missing,
    )


def _weeks_recorded(histories: Mapping[str, GroupHistory], on: date) -> int:
    begun = [h.stretches[0].first for h in histories.values() if h.stretches]
    if not begun:
        return 1
    return max(1, math.ceil(((on - min(begun)).days + 1) / DAYS_A_WEEK))


def is_over(hatch: Hatch, now: datetime) -> bool:
    """Whether a hatch is over: closed, or so late with chicks logged that no more are awaited."""
    return hatch.closed_at is not None or (bool(hatch.hatchings) and _is_late(hatch, now))


def overdue(hatch: Hatch, now: datetime) -> bool:
    """Whether a hatch should be over, but nobody has said how it went."""
    return hatch.closed_at is None and not hatch.hatchings and _is_late(hatch, now, 0.0)


def _is_late(hatch: Hatch, now: datetime, waited_h: float | None = None) -> bool:
    """Whether the last day of hatching is past, and so many hours (a day and more if None)."""
    if waited_h is None:
        waited_h = 24.0 + facts.value("incubation.wait_after_last_h")
    days = facts.value("incubation.hatch_day_last")
    return now - hatch.set_at > timedelta(days=days, hours=waited_h)


def prior_of_hatch() -> Prior:
    """Published spread of hatch of set, as log odds."""
    mean, sd = log_odds_of_beta(
        facts.value("incubation.hatch_of_set_beta_a"), facts.value("incubation.hatch_of_set_beta_b")
    )
    labels, machines = (
        facts.value("forecast.between_labels"),
        facts.value("forecast.between_machines"),
    )
    return Prior(
        mean, sd, (1.0 - labels - machines, labels, machines), facts.value("incubation.batch_icc")
    )


def hatch_shift(flock: Flock, clutches: Sequence[Clutch], set_on: date) -> float:
    """What the route and the storage of eggs do to the log odds of hatching."""
    usual = facts.value("incubation.hatch_of_set")
    total, shifted = 0, 0.0
    for clutch in clutches:
        share = usual
        source = flock.sources.get(clutch.source or "")
        if source is not None and source.route == "shipped":
            share = facts.value("incubation.hatch_of_set_shipped")
        days = clutch.stored_days(set_on)
        if days is not None:
            share *= _storage_factor(days, clutch.storage_c)
        share = min(0.98, max(0.02, share))
        shifted += clutch.eggs * (_log_odds(share) - _log_odds(usual))
        total += clutch.eggs
    return shifted / total if total else 0.0


def _storage_factor(days: float, storage_c: float | None) -> float:
    """Share of hatch left after storage; a store nobody measured is taken for a cool one."""
    coldest, warmest = facts.value("storage.cold_c"), facts.value("storage.warm_high_c")
    usual_c = facts.value("storage.cool_high_c")
    return storage_factor(
        days, min(warmest, max(coldest, usual_c if storage_c is None else storage_c))
    )


def _log_odds(share: float) -> float:
    return math.log(share / (1.0 - share))


def _learn_hatch(flock: Flock, seen: Sequence[Hatch]) -> Learnt:
    return learn(
        [
            Seen(
                (source_of(hatch.clutches), hatch.set_in),
                min(hatch.hatched, eggs),
                eggs,
                hatch_shift(flock, hatch.clutches, hatch.set_at.date()),
            )
            for hatch in seen
            if (eggs := hatch.eggs_set + hatch.found) > 0
        ],
        prior_of_hatch(),
    )


def _learn_fertility(hatches: Collection[Hatch]) -> Learnt:
    """Clear eggs, in hatches where somebody looked: by candling or by opening what was left."""
    mean, sd = log_odds_of_beta(
        facts.value("incubation.fertility_beta_a"), facts.value("incubation.fertility_beta_b")
    )
    prior = Prior(
        mean,
        sd,
        _parts(),
        facts.value("incubation.batch_icc"),
    )
    records = []
    for hatch in hatches:
        eggs = hatch.eggs_set + hatch.found
        clear = hatch.clear + hatch.opened["infertile"]
        looked = bool(hatch.candled) or hatch.opened.total() > 0
        if looked and eggs > 0 and clear <= eggs - hatch.hatched:
            records.append(Seen((source_of(hatch.clutches),), eggs - clear, eggs))
    return learn(records, prior)


def prior_of_deaths(name: str) -> Prior:
    """Published spread of weekly deaths of an age class, as log odds."""
    alike = facts.value("forecast.deaths_alike")
    if name in ("week_1", "week_2", "week_3"):
        mean, sd = log_odds_of_beta(
            facts.value(f"survival.chick_{name}_beta_a"),
            facts.value(f"survival.chick_{name}_beta_b"),
        )
        return Prior(mean, sd, _parts(), alike)
    key = "survival.grower_week" if name == "grower" else "survival.adult_week_hen"
    return Prior(_log_odds(facts.value(key)), facts.value(f"{key}_log_sd"), _parts(), alike)


def _parts() -> tuple[float, float]:
    """How a spread is shared out between the holding and its groups or sources."""
    labels = facts.value("forecast.between_labels")
    return 1.0 - labels, labels


def cock_shift() -> float:
    """How much less cocks die than hens, on log odds."""
    return _log_odds(facts.value("survival.adult_week_cock")) - _log_odds(
        facts.value("survival.adult_week_hen")
    )


def _learn_deaths(histories: Mapping[str, GroupHistory]) -> dict[str, Learnt]:
    learnt = {}
    own = _with_an_own_rate(histories)
    for name in (*AGE_CLASSES[:4], "adult"):
        classes = ("hen", "cock") if name == "adult" else (name,)
        records = []
        for group, history in histories.items():
            for lived_in in classes:
                lived = history.lived[lived_in]
                weeks = max(lived.bird_weeks, lived.deaths)
                shift = cock_shift() if lived_in == "cock" else 0.0
                if weeks > 0:
                    label = group if group in own else ""
                    records.append(Seen((label,), lived.deaths, weeks, shift))
        learnt[name] = learn(records, prior_of_deaths(name))
    return learnt


def prior_of_feed() -> tuple[float, float]:
    """Published (mean, standard deviation) of the logarithm of feed used over feed eaten."""
    spilled = facts.figure("feeding.wastage")
    low, high = spilled.low or 0.0, spilled.high or 0.0
    mean = -math.log1p(-(spilled.value or 0.0))
    spill_sd = (math.log1p(-low) - math.log1p(-high)) / 4
    return mean, math.hypot(facts.value("feeding.intake_flock_cv"), spill_sd)


def _with_an_own_rate(histories: Mapping[str, GroupHistory]) -> set[str]:
    """Groups with birds, and the latest that had some; older ones tell only of the holding."""
    lived = [name for name, history in histories.items() if history.stretches]
    lived.sort(key=lambda name: histories[name].stretches[-1].end)
    return {name for name in lived if histories[name].cohorts} | set(lived[-_LATEST_GROUPS:])


_LATEST_GROUPS = 12


def _laying(weeks: Mapping[str, Weeks], lay: LayBelief) -> dict[str, Array]:
    """Share of full lay of each group by week, on the mean of what is believed."""
    return {name: by_row(own.share, lay.hens) @ lay.chances for name, own in weeks.items()}


def _learn_weight(histories: Collection[GroupHistory]) -> tuple[float, float]:
    """Weight over that of the dual type: what is published of lines, and every weighing."""
    precision = 1.0 / facts.value("growth.line_sd") ** 2
    mean = precision
    bird = facts.value("growth.between_bird_cv")
    for history in histories:
        for weighing in history.group.weighings:
            (birds,) = birds_on(history, [weighing.day])
            ages = [age for c in birds if (age := c.age_d(weighing.day)) is not None]
            if not ages:
                continue
            sex = weighing.sex if weighing.sex in ("hen", "cock") else "chick"
            usual = mass_g(sum(ages) / len(ages), sex)
            noise = math.hypot(bird / weighing.birds**0.5, facts.value("growth.scale_sd"))
            precision += 1.0 / noise**2
            mean += weighing.mean_g / usual / noise**2
    return mean / precision, precision**-0.5


def _learn_feed(
    histories: Mapping[str, GroupHistory],
    used: FeedUse | None,
    laying: Mapping[str, Array],
    on: date,
) -> tuple[float, float]:
    mean, sd = prior_of_feed()
    if used is None or used.kg <= 0:
        return mean, sd
    eaten_g = 0.0
    for name, history in histories.items():
        shares = laying.get(name, np.ones(1))
        for cohorts, day in zip(birds_on(history, used.days), used.days, strict=True):
            week = max(0, len(shares) - 1 - (on - day).days // DAYS_A_WEEK)
            eaten_g += sum(eaten_g_per_day(cohort, day, shares[week]) for cohort in cohorts)
    if eaten_g <= 0:
        return mean, sd
    seen = math.log(used.kg * 1000.0 / eaten_g)
    own = facts.value("forecast.feed_week_cv") * math.sqrt(DAYS_A_WEEK / len(used.days))
    rough = facts.value(
        "forecast.feed_record_cv_given" if used.by == "given" else "forecast.feed_record_cv"
    )
    noise = math.hypot(own, rough)
    precision = 1.0 / sd**2 + 1.0 / noise**2
    return (mean / sd**2 + seen / noise**2) / precision, precision**-0.5


@dataclass(frozen=True)
class RateDraws:
    """Draws of every rate together, so that one draw is one way the flock may be.

    Attributes:
        rows: the possibility of `Hens` in each draw, shape (draws,).
        hatch, fertility: effects.
        deaths: effects by age class.
        weight: weight over that of the dual type, shape (draws,).
        feed: feed used over feed eaten, shape (draws,).
        told: share of deaths that are logged before a count finds them, shape (draws,).
        sexed_at_d: age at which chicks are told apart [d], shape (draws,).
    """

    rates: Rates
    rows: NDArray[np.int64]
    hatch: Drawn
    fertility: Drawn
    deaths: Mapping[str, Drawn]
    weight: Array
    feed: Array
    told: Array
    sexed_at_d: Array

    def __len__(self) -> int:
        return len(self.rows)


_LEAST_WEIGHT = 0.2


def draw_rates(rates: Rates, draws: int, rng: Generator) -> RateDraws:
    """So many draws of all rates."""
    mean, sd = rates.feed
    return RateDraws(
        rates,
        rates.lay.rows(rng, draws),
        rates.hatch.draws(rng, draws),
        rates.fertility.draws(rng, draws),
        {name: learnt.draws(rng, draws) for name, learnt in rates.deaths.items()},
        np.maximum(_LEAST_WEIGHT, rates.weight[0] + rates.weight[1] * rng.standard_normal(draws)),
        np.exp(mean + sd * rng.standard_normal(draws)),
        rng.beta(*rates.deaths_told, draws),
        rng.uniform(*rates.sexed_at_d, draws),
    )
