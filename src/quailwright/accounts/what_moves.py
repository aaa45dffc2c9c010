"""What moves the cost of a dozen: a steady flock in figures, each of which is changed by itself."""

from collections.abc import Iterator
from dataclasses import dataclass, replace

from quailwright.accounts.account import DOZEN, Account
from quailwright.accounts.batches import eggs_cost
from quailwright.accounts.heads import grown_d
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.feeding import intake_of_g_per_day
from quailwright.language import say


@dataclass(frozen=True, slots=True)
class Keeping:
    """Hens and cocks kept at the same number, week after week; hens that go are replaced.

    Attributes:
        hens, cocks: how many.
        hen_g, cock_g: feed that each eats in a day [g].
        used_over_eaten: feed used over feed eaten: 1.1 where a tenth of what they eat is spilled.
        feed_per_kg: price.
        lay: eggs a hen a day.
        other_per_week: all costs of these birds but feed.
        deaths_a_week: part of the hens that die.
        kept_w: weeks for which a hen is kept; infinite to replace only the dead.
        egg_price: of a hatching egg.
        raised_an_egg: grown birds from an egg set.
        raise_kg: feed used to raise one, with spill.
        raise_other: what else it costs to raise one.
    """

    hens: float
    cocks: float
    hen_g: float
    cock_g: float
    used_over_eaten: float
    feed_per_kg: float
    lay: float
    other_per_week: float = 0.0
    deaths_a_week: float = 0.0
    kept_w: float = float("inf")
    egg_price: float = 0.0
    raised_an_egg: float = 1.0
    raise_kg: float = 0.0
    raise_other: float = 0.0

    @property
    def feed_kg_a_week(self) -> float:
        """Feed that hens and cocks use."""
        grams = self.hens * self.hen_g + self.cocks * self.cock_g
        return grams * DAYS_A_WEEK / 1000.0 * self.used_over_eaten

    @property
    def feed_a_week(self) -> float:
        """The same in money."""
        return self.feed_kg_a_week * self.feed_per_kg

    @property
    def cocks_a_week(self) -> float:
        """The feed of the cocks in money."""
        grams = self.cocks * self.cock_g * DAYS_A_WEEK
        return grams / 1000.0 * self.used_over_eaten * self.feed_per_kg

    @property
    def hen_raised(self) -> float:
        """What raising one hen costs; her brothers bear their own share."""
        eggs = self.egg_price / self.raised_an_egg if self.raised_an_egg > 0 else 0.0
        return eggs + self.raise_kg * self.feed_per_kg + self.raise_other

    @property
    def replaced_a_week(self) -> float:
        """Hens whose place is taken."""
        return self.hens * (self.deaths_a_week + 1.0 / self.kept_w)

    @property
    def dozens_a_week(self) -> float:
        """Eggs, by the dozen."""
        return self.hens * self.lay * DAYS_A_WEEK / DOZEN

    @property
    def per_dozen(self) -> float:
        """What a dozen costs; infinite where there are no eggs."""
        return sum(self.parts.values())

    @property
    def parts(self) -> dict[str, float]:
        """The same, by what it is for."""
        if self.dozens_a_week <= 0:
            return {"feed_of_hens": float("inf")}
        parts = {
            "feed_of_hens": self.feed_a_week - self.cocks_a_week,
            "feed_of_cocks": self.cocks_a_week,
            "other": self.other_per_week,
            "raising": self.replaced_a_week * self.hen_raised,
        }
        return {name: cost / self.dozens_a_week for name, cost in parts.items()}


@dataclass(frozen=True, slots=True)
class Bar:
    """One figure changed by itself.

    Attributes:
        what: which, as a code.
        now, low, high: the figure.
        at_low, at_high: what a dozen costs then.
        basis: whence low and high.
    """

    what: str
    now: float
    low: float
    high: float
    at_low: float
    at_high: float
    basis: str

    @property
    def swing(self) -> float:
        """How much it moves the cost."""
        return abs(self.at_high - self.at_low)


@dataclass(frozen=True, slots=True)
class WhatMoves:
    """The steady flock as it is now, its dozen, and the bars, the longest first."""

    keeping: Keeping
    bars: list[Bar]


_FIFTH = 0.2


def what_moves(account: Account) -> WhatMoves | None:
    """What moves the cost of a dozen; None without hens, eggs, or a price of feed."""
    keeping = keeping_of(account)
    if keeping is None:
        return None
    return WhatMoves(keeping, bars_of(keeping))


def bars_of(keeping: Keeping) -> list[Bar]:
    """Every figure changed by itself, the one that moves the cost most first."""
    found = [
        _bar(keeping, what, now, low, high, basis)
        for what, now, low, high, basis in _cases(keeping)
    ]
    return sorted((one for one in found if one.swing > 0), key=lambda one: -one.swing)


_Case = tuple[str, float, float, float, str]


def _cases(now: Keeping) -> Iterator[_Case]:
    fifth = say("a fifth less and more than by your record")
    yield ("feed_per_kg", now.feed_per_kg, *_about(now.feed_per_kg), fifth)
    low, high = _about(now.lay)
    yield "lay", now.lay, low, min(1.0, high), fifth
    # Less used than birds are published to eat: the record then tells nothing of spill.
    if now.used_over_eaten >= 1.0:
        spilled = facts.figure("feeding.wastage")
        yield (
            "spill",
            1.0 - 1.0 / now.used_over_eaten,
            spilled.low or 0.0,
            spilled.high or 0.0,
            say("of feed offered, from a clean feeder to an open trough: from memory"),
        )
    if now.deaths_a_week > 0 and now.hen_raised > 0:
        yield (
            "deaths_a_week",
            now.deaths_a_week,
            now.deaths_a_week / 2.0,
            now.deaths_a_week * 2.0,
            say("half and twice as many as now"),
        )
    if now.egg_price > 0:
        low, high = _about(now.raised_an_egg)
        yield "raised_an_egg", now.raised_an_egg, low, min(1.0, high), fifth
    if now.cocks > 0:
        yield "cocks", now.cocks, 0.0, 2.0 * now.cocks, say("none, and twice as many")


def _about(value: float) -> tuple[float, float]:
    return value * (1.0 - _FIFTH), value * (1.0 + _FIFTH)


def _bar(now: Keeping, what: str, is_: float, low: float, high: float, basis: str) -> Bar:
    return Bar(what, is_, low, high, _with(now, what, low), _with(now, what, high), basis)


def _with(now: Keeping, what: str, value: float) -> float:
    if what == "spill":
        # The raised are fed from the same feeders.
        used = 1.0 / (1.0 - value)
        raise_kg = now.raise_kg * used / now.used_over_eaten
        return replace(now, used_over_eaten=used, raise_kg=raise_kg).per_dozen
    return replace(now, **{what: value}).per_dozen


def keeping_of(account: Account) -> Keeping | None:
    """The flock of an account as a steady one."""
    days = account.days
    hens = account.hen_days / days
    cost = account.by_bearer["hens"].get("feed", 0.0) + account.by_bearer["cocks"].get("feed", 0.0)
    price = price_per_kg(account)
    if hens <= 0 or not account.eggs or price is None:
        return None
    heads = account.record.heads(account.first, account.last)
    kept = [
        (who, one) for month in heads.values() for (who, _), one in month.items()
        if who in ("hens", "cocks")
    ]  # fmt: skip
    grams = {
        sex: sum(sum(one.grams.values()) for who, one in kept if who == sex)
        for sex in ("hens", "cocks")
    }
    cocks = account.cocks.birds
    eaten_kg = sum(grams.values()) / 1000.0
    used = cost / price / eaten_kg if cost > 0 and eaten_kg > 0 else _published_spill()
    raised_kg = _raise_kg() * used
    other = sum(
        amount
        for who in ("hens", "cocks")
        for kind, amount in account.by_bearer[who].items()
        if kind != "feed"
    )
    egg_price, raised = _of_hatches(account)
    return Keeping(
        hens,
        cocks,
        grams["hens"] / account.hen_days,
        grams["cocks"] / (cocks * days) if cocks > 0 else 0.0,
        used,
        price,
        account.eggs / account.hen_days,
        other / days * DAYS_A_WEEK,
        _deaths(account),
        facts.value("money.hen_kept_w"),
        egg_price,
        raised,
        raised_kg,
        _raise_other(account),
    )


def price_per_kg(account: Account) -> float | None:
    """The mean price of the feed used; of the labels where none was."""
    used = [one for one in account.used if account.first <= one.day <= account.last]
    kg = sum(one.kg - one.unpriced_kg for one in used)
    if kg > 0:
        return sum(one.cost for one in used) / kg
    labels = [
        stock.label.price_per_kg
        for stock in account.record.flock.feeds.values()
        if stock.label is not None and stock.label.price_per_kg is not None
    ]
    return sum(labels) / len(labels) if labels else None


def _published_spill() -> float:
    return 1.0 / (1.0 - facts.value("feeding.wastage"))


def _raise_kg() -> float:
    """Feed that a bird eats until it is grown, by its age [kg]."""
    return sum(intake_of_g_per_day(age, "chick") for age in range(grown_d())) / 1000.0


def _raise_other(account: Account) -> float:
    """What a raised bird cost beside eggs and feed, in the batches that are grown."""
    grown = [one for one in account.batches if one.grown_on is not None and one.raised > 0]
    birds = sum(one.raised for one in grown)
    if not birds:
        return 0.0
    kinds = ("feed", "hatching_eggs", "birds")
    whole = sum(amount for one in grown for kind, amount in one.parts.items() if kind not in kinds)
    return whole / birds


def _deaths(account: Account) -> float:
    """Part of the hens that die in a week: by the record, else as published."""
    lived = [history.lived["hen"] for history in account.record.histories.values()]
    weeks = sum(one.bird_weeks for one in lived)
    if weeks >= _ENOUGH_WEEKS:
        return max(0.0, sum(one.deaths for one in lived)) / weeks
    return facts.value("survival.adult_week_hen")


_ENOUGH_WEEKS = 52
"""Weeks lived by hens, all together, from which on their own deaths tell: one hen's year."""


def _of_hatches(account: Account) -> tuple[float, float]:
    """(price of a hatching egg on the mean of those set, grown birds from an egg set)."""
    flock = account.record.flock
    names = {one.hatch: one for one in account.batches if one.grown_on is not None and one.hatch}
    eggs = cost = raised = 0.0
    for name, batch in names.items():
        eggs += flock.hatches[name].eggs_set
        cost += eggs_cost(flock, flock.hatches[name])[0]
        raised += batch.raised
    if eggs and raised:
        return cost / eggs, raised / eggs
    prices = [s.price_per_egg for s in flock.sources.values() if s.price_per_egg is not None]
    usual = facts.value("incubation.hatch_of_set") * _chicks_live()
    return (sum(prices) / len(prices) if prices else 0.0), usual


def _chicks_live() -> float:
    """Part of the chicks that live until they are grown, as published."""
    lives, chick_weeks = 1.0, (1, 2, 3)
    for week in chick_weeks:
        lives *= 1.0 - facts.value(f"survival.chick_week_{week}")
    weeks = grown_d() // DAYS_A_WEEK - len(chick_weeks)
    return lives * (1.0 - facts.value("survival.grower_week")) ** weeks
