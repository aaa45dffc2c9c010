"""Hatching-egg offers compared: what a hen at lay costs from each, and how many eggs to order."""

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Annotated

import numpy as np
from msgspec import Meta
from numpy.random import Generator
from numpy.typing import NDArray

from quailwright.flock.cohorts import classes_of
from quailwright.flock.state import Clutch, Flock
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.journal import entries as kinds
from quailwright.journal.findings import Finding
from quailwright.language import figure, later, mark, say, say_many
from quailwright.outlook.forecast import learn
from quailwright.outlook.hatching import shares_of_batch
from quailwright.outlook.learning import expit
from quailwright.outlook.rates import RateDraws, Rates, draw_rates, hatch_shift, source_of
from quailwright.planning.brief import (
    AMOUNT,
    CERTAIN,
    CERTAINTY,
    LEAST_CERTAINTY,
    MOST_CERTAINTY,
    Document,
    Field,
    read_document,
    source_fields,
)

Array = NDArray[np.float64]

DRAWS = 20_000
MOST_EGGS = 10_000
MOST_HENS = 1_000
ALIKE = 0.05
"""Costs no further apart than this share of them are told as about the same."""


# How many eggs, exactly.


@dataclass(frozen=True, slots=True)
class Beta:
    """A share that spreads as Beta(a, b), both above 0."""

    a: float
    b: float


Share = float | Beta
"""A share that is known, or one that spreads."""


def hens_for_eggs(eggs_per_week: float, lay: float | None = None) -> int:
    """Hens at lay that it takes for so many eggs a week.

    Args:
        eggs_per_week: 0 or more.
        lay: eggs a hen a day, above 0 and up to 1; ``planning.lay_for_sizing`` if not given.

    Raises:
        ValueError: out of range.
    """
    a_day = facts.value("planning.lay_for_sizing") if lay is None else lay
    if not (0 <= eggs_per_week < math.inf and 0 < a_day <= 1):
        raise ValueError(
            say(
                "No flock lays {eggs:g} eggs a week at {lay:g} a hen a day.",
                eggs=eggs_per_week,
                lay=a_day,
            )
        )
    return math.ceil(eggs_per_week / (DAYS_A_WEEK * a_day) - 1e-9)


def chance_of_hens(eggs: int, hens: int, hatch: Share, survival: Share) -> float:
    """Chance that so many eggs set bring so many hens at lay, or more.

    Eggs of one set hatch alike and chicks of one brood live alike: counts are beta-binomial where
    a share spreads, binomial where it is known, and hens are a half (``survival.cocks_at_hatch``).
    Exact: all counts are summed over.

    Args:
        eggs, hens: 0 or more.
        hatch: eggs set that hatch.
        survival: chicks that live to lay.

    Raises:
        ValueError: a share out of range.
    """
    _check_share(hatch, "hatch")
    _check_share(survival, "survival")
    enough = _enough_of_chicks(eggs, hens, survival)
    return min(1.0, float(_counts(eggs, hatch) @ enough))


def eggs_for_hens(
    hens: int, certainty: float, hatch: Share, survival: Share, *, most: int = MOST_EGGS
) -> int:
    """The smallest number of eggs to set that brings so many hens at lay with that certainty.

    Args:
        hens: 1 or more.
        certainty: above 0 and below 1.
        hatch, survival: as for `chance_of_hens`.
        most: eggs beyond which nobody looks.

    Raises:
        ValueError: an argument out of range, or not even `most` eggs are enough.
    """
    if hens < 1 or not 0 < certainty < 1:
        raise ValueError(f"{hens} hens with a certainty of {certainty:g} cannot be asked for.")
    found = _smallest(
        hens, most, lambda eggs: chance_of_hens(eggs, hens, hatch, survival) >= certainty
    )
    if found is None:
        raise ValueError(f"Not even {most} eggs bring {hens} hens with that certainty.")
    return found


def _smallest(first: int, most: int, enough: Callable[[int], bool]) -> int | None:
    """The smallest number from `first` to `most` that is enough, where more is never worse."""
    low, high = first - 1, first
    while high < most and not enough(high):
        low, high = high, 2 * high
    high = min(high, most)
    if low >= high or not enough(high):
        return None
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (low, middle) if enough(middle) else (middle, high)
    return high


def _check_share(share: Share, name: str) -> None:
    fits = min(share.a, share.b) > 0 if isinstance(share, Beta) else 0 < share < 1
    if not fits:
        raise ValueError(f"{name} {share} is no share between 0 and 1.")


def _counts(n: int, share: Share) -> Array:
    """Chance of each count of n, shape (n + 1,)."""
    k = np.arange(n + 1)
    ways = _log_rising(1.0, n)
    log = ways[n] - ways - ways[::-1]
    if isinstance(share, Beta):
        whole = _log_rising(share.a + share.b, n)[n]
        log = log + _log_rising(share.a, n) + _log_rising(share.b, n)[::-1] - whole
    else:
        log = log + k * math.log(share) + (n - k) * math.log1p(-share)
    counts: Array = np.exp(log)
    return counts


def _log_rising(start: float, n: int) -> Array:
    """Logarithm of start (start + 1) ... (start + k - 1) for k from 0 to n."""
    return np.concatenate(([0.0], np.cumsum(np.log(start + np.arange(n)))))


def _enough_of_chicks(most: int, hens: int, survival: Share) -> Array:
    """Chance of so many hens at lay, or more, of each number of chicks up to `most`."""
    half = 1.0 - facts.value("survival.cocks_at_hatch")
    if not isinstance(survival, Beta):
        return _reached(most, hens, survival * half)
    of_grown = _reached(most, hens, half)
    return np.array(
        [_counts(chicks, survival) @ of_grown[: chicks + 1] for chicks in range(most + 1)]
    )


def _reached(most: int, hens: int, chance: float) -> Array:
    """Chance of so many or more of each number of tries up to `most`: the last one needed falls on
    one of them (negative binomial)."""
    reached = np.zeros(most + 1)
    if hens <= 0:
        return np.ones(most + 1)
    if hens > most:
        return reached
    misses = np.arange(most - hens + 1)
    log = _log_rising(float(hens), most - hens) - _log_rising(1.0, most - hens)
    log = log + hens * math.log(chance) + misses * math.log1p(-chance)
    reached[hens:] = np.cumsum(np.exp(log))
    return reached


# Offers.


@dataclass(frozen=True, slots=True)
class Offer:
    """Hatching eggs that somebody offers.

    Attributes:
        price_per_egg, postage: postage is of one order.
        least_eggs, most_eggs: of one order; most is None where there is no end of eggs.
        distance_km, cost_per_km: one way; it is driven there and back.
        claimed_hatch, claimed_fertility: of eggs set, as the seller says.
        broken: share of posted eggs that break on the way, where known.
    """

    source: str
    route: kinds.Route
    price_per_egg: float
    postage: float = 0.0
    least_eggs: int = 1
    most_eggs: int | None = None
    distance_km: float = 0.0
    cost_per_km: float = 0.0
    claimed_hatch: float | None = None
    claimed_fertility: float | None = None
    broken: float | None = None

    def cost(self, eggs: int) -> float:
        """What an order costs, here."""
        there_and_back = 2.0 * self.distance_km * self.cost_per_km
        return eggs * self.price_per_egg + self.postage + there_and_back


@dataclass(frozen=True, slots=True)
class Asked:
    """What a file of offers asks."""

    offers: tuple[Offer, ...]
    hens: int | None
    certainty: float | None
    currency: str


_CLAIM = Field(
    Annotated[float, Meta(gt=0, le=1)],
    mark("a number above 0 and up to 1, such as 0.8 for 80 %"),
)
_BROKEN = Field(
    Annotated[float, Meta(ge=0, lt=1)], mark("a number from 0 to below 1, such as 0.05")
)
_HENS = Field(
    Annotated[int, Meta(ge=1, le=MOST_HENS)],
    later("how many hens at lay you want, 1 to {most:g}", most=MOST_HENS),
)
_CURRENCY = Field(
    Annotated[str, Meta(min_length=1, max_length=8, pattern=kinds.NAME)], mark("a code such as EUR")
)
_TOP = ("offer", "hens", "certainty", "currency")


def read_offers(data: bytes) -> tuple[Asked | None, list[Finding]]:
    """A file of offers in TOML: what it asks, or None and every problem found in it."""
    document, findings = read_document(data)
    if document is None:
        return None, findings
    document.keys((), _TOP, document.values)
    single = {"hens": _HENS, "certainty": CERTAIN, "currency": _CURRENCY}
    given = {name: document.values[name] for name in single if name in document.values}
    told = document.fields((), single, given)
    offers = tuple(_offers(document))
    if not document.values.get("offer"):
        document.find(
            ("offer",),
            say("there is no offer in it."),
            say("Add [[offer]] with source, route and price_per_egg."),
        )
    if document.findings:
        return None, document.in_order_of_lines()
    return Asked(offers, told.get("hens"), told.get("certainty"), told.get("currency", "")), []


def _offers(document: Document) -> Iterator[Offer]:
    of_source = source_fields()
    fields = {
        name: of_source[name]
        for name in (
            "source",
            "route",
            "price_per_egg",
            "postage",
            "least_eggs",
            "most_eggs",
            "note",
        )
    }
    fields |= {"distance_km": AMOUNT, "cost_per_km": AMOUNT}
    fields |= {"hatch_of_set": _CLAIM, "fertility": _CLAIM, "broken": _BROKEN}
    for path, told in document.tables("offer", fields):
        document.low_first(path, told, "least_eggs", "most_eggs")
        if not {"source", "route"} <= set(told):
            continue
        given = document.values["offer"][path[-1] - 1] if isinstance(path[-1], int) else {}
        if told["route"] != "own" and "price_per_egg" not in given:
            document.find(
                (*path, "price_per_egg"),
                say("this is missing."),
                say("Add the price of one egg (0 if free)."),
            )
        yield Offer(
            told["source"],
            told["route"],
            told.get("price_per_egg", 0.0),
            told.get("postage", 0.0),
            told.get("least_eggs", 1),
            told.get("most_eggs"),
            told.get("distance_km", 0.0),
            told.get("cost_per_km", 0.0),
            told.get("hatch_of_set"),
            told.get("fertility"),
            told.get("broken"),
        )


# What is believed of them.


@dataclass(frozen=True)
class Belief:
    """What may come of the eggs of one offer, draw by draw, shape (draws,) each.

    Attributes:
        unbroken: eggs ordered that arrive whole.
        hatch: eggs set that hatch, of this one set.
        survival: chicks that live to lay.
        own_hatches: hatches of this keeper's with eggs of the source.
    """

    unbroken: Array
    hatch: Array
    survival: Array
    own_hatches: int = 0

    @property
    def hens_per_egg(self) -> Array:
        """Chance that an egg ordered becomes a hen at lay, shape (draws,)."""
        half = 1.0 - facts.value("survival.cocks_at_hatch")
        chance: Array = np.clip(self.unbroken * self.hatch * self.survival * half, 1e-9, 1 - 1e-9)
        return chance


def believed(
    rates: Rates, offers: Sequence[Offer], rng: Generator, draws: int = DRAWS
) -> list[Belief]:
    """What this keeper's record and what is published say of each offer, in its order.

    Offers of one source and route are believed to be the same eggs. A source without a record
    stands where the holding's others do, by its route; so do chicks.

    Args:
        rates: as `outlook.forecast.learn` gives them.
    """
    of_rates, of_chicks, of_offers = rng.spawn(3)
    drawn = draw_rates(rates, draws, of_rates)
    alive = survival_draws(drawn, of_chicks)
    known: dict[Offer, Belief] = {}
    found = []
    for offer in offers:
        eggs = Offer(
            offer.source,
            offer.route,
            0.0,
            claimed_hatch=offer.claimed_hatch,
            claimed_fertility=offer.claimed_fertility,
            broken=offer.broken,
        )
        if eggs not in known:
            (stream,) = of_offers.spawn(1)
            hatches = sum(source_of(hatch.clutches) == offer.source for hatch in rates.hatches_seen)
            known[eggs] = Belief(
                _unbroken(eggs, draws, stream), hatch_draws(drawn, eggs, stream), alive, hatches
            )
        found.append(known[eggs])
    return found


def hatch_draws(drawn: RateDraws, offer: Offer, rng: Generator) -> Array:
    """Eggs set that hatch in one set of an offer's eggs, shape (draws,), claims reckoned in."""
    rates = drawn.rates
    own = offer.route == "own"
    clutch = Clutch(
        1, None if own else offer.source, offer.source if own else None, "", None, None, None, None
    )
    told = kinds.Source(id="", at="", source=offer.source, route=offer.route)
    shift = hatch_shift(Flock(sources={offer.source: told}), [clutch], _ANY_DAY)
    last = max(rates.hatches_seen, key=lambda hatch: hatch.set_at, default=None)
    machine = _NEW if last is None else last.set_in
    of_claim, of_batch = rng.spawn(2)
    shift += _claim_shift(drawn, offer, of_claim)
    fertile, of_fertile = shares_of_batch(drawn, [clutch], machine, shift, of_batch)
    hatch: Array = fertile * of_fertile
    return hatch


_ANY_DAY = date(2000, 1, 1)
"""Nobody tells of offered eggs when they were laid, so the day of setting changes nothing."""

_NEW = "\n"
"""A label that no name can be: what has it is new."""


def _claim_shift(drawn: RateDraws, offer: Offer, rng: Generator) -> float:
    """How far a claim moves the log odds: ``planning.claim_believed`` of the way from what is
    believed of unposted eggs, less as own hatches with the source count for more."""
    claim = offer.claimed_hatch
    if claim is None and offer.claimed_fertility is not None:
        claim = offer.claimed_fertility * facts.value("incubation.hatch_of_fertile")
    if claim is None:
        return 0.0
    claim = min(claim, _HIGHEST_CLAIM)
    usual = float(drawn.hatch.log_odds((offer.source, ""), rng).mean())
    *_, own = drawn.rates.hatch.weights((offer.source, ""))
    weight = facts.value("planning.claim_believed") * (1.0 - own)
    return weight * (math.log(claim / (1.0 - claim)) - usual)


_HIGHEST_CLAIM = 0.99
"""All eggs hatching is no chance that can be reckoned with."""


def survival_draws(drawn: RateDraws, rng: Generator) -> Array:
    """Chicks of a new brood that live to lay (``planning.hen_at_lay_w``), shape (draws,)."""
    alive = np.ones(len(drawn))
    by_class = {name: expit(deaths.log_odds((_NEW,), rng)) for name, deaths in drawn.deaths.items()}
    sd = facts.value("forecast.deaths_week_log_sd")
    for week in range(int(facts.value("planning.hen_at_lay_w"))):
        (name,) = classes_of(DAYS_A_WEEK * week + DAYS_A_WEEK // 2, "hens")
        dying = by_class["adult" if name == "hen" else name]
        if name == "hen":
            luck = np.exp(sd * rng.standard_normal(len(drawn)) - sd**2 / 2)
            dying = np.minimum(1.0, dying * luck)
        alive *= 1.0 - dying
    return alive


def _unbroken(offer: Offer, draws: int, rng: Generator) -> Array:
    if offer.broken is not None:
        return np.full(draws, 1.0 - offer.broken)
    if offer.route != "shipped":
        return np.ones(draws)
    a, b = (facts.value(f"planning.broken_posted_beta_{which}") for which in "ab")
    return 1.0 - rng.beta(a, b, draws)


# Comparing.


@dataclass(frozen=True, slots=True)
class Spread:
    """A mean, and what four times in five lies between."""

    mean: float
    q10: float
    q90: float


@dataclass(frozen=True)
class Compared:
    """One offer for the hens that are wanted.

    Attributes:
        number: of the offer in the list given, from 1.
        reaches: whether one order brings the hens with the certainty.
        eggs: to order: as few as reach it, or the most it sells.
        eggs_needed: as few as would reach it if it sold any number; None beyond `MOST_EGGS`.
        chance: of the hens wanted, or more, from `eggs`.
        chance_with_most: the same from the most it sells; None where there is no end of eggs.
        cost: of the order.
        hens: at lay, from the order.
        hens_sure: hens, or more, that the order brings with the certainty.
        cost_per_hen: the mean is cost over mean hens; q90 is infinite where no hen may come.
    """

    number: int
    offer: Offer
    belief: Belief
    reaches: bool
    eggs: int
    eggs_needed: int | None
    chance: float
    chance_with_most: float | None
    cost: float
    hens: Spread
    hens_sure: int
    cost_per_hen: Spread


def compare(
    offers: Sequence[Offer], beliefs: Sequence[Belief], hens: int, certainty: float
) -> list[Compared]:
    """Offers by what it costs to have the hens with the certainty, those that cannot last.

    Of those that reach it the cheapest order stands first; those that do not stand by their
    chance. Ties stand in the order given.

    Args:
        beliefs: of each offer.
        hens: 1 or more.
        certainty: above 0 and below 1.

    Raises:
        ValueError: hens or certainty out of range.
    """
    if hens < 1 or not 0 < certainty < 1:
        raise ValueError(f"{hens} hens with a certainty of {certainty:g} cannot be asked for.")
    found = [
        _compared(number, offer, belief, hens, certainty)
        for number, (offer, belief) in enumerate(zip(offers, beliefs, strict=True), 1)
    ]
    return sorted(
        found, key=lambda one: (not one.reaches, one.cost if one.reaches else -one.chance)
    )


def _compared(number: int, offer: Offer, belief: Belief, hens: int, certainty: float) -> Compared:
    per_egg = belief.hens_per_egg
    needed = _fewest(hens, MOST_EGGS, hens, certainty, per_egg)
    most = MOST_EGGS if offer.most_eggs is None else offer.most_eggs
    reaches = needed is not None and needed <= most
    eggs = max(needed, offer.least_eggs) if needed is not None and reaches else most
    low, sure, high = _quantiles(eggs, per_egg, (0.1, 1.0 - certainty, 0.9))
    mean = eggs * float(per_egg.mean())
    cost = offer.cost(eggs)
    return Compared(
        number,
        offer,
        belief,
        reaches,
        eggs,
        needed,
        _chance(eggs, hens, per_egg),
        None if offer.most_eggs is None else _chance(offer.most_eggs, hens, per_egg),
        cost,
        Spread(mean, low, high),
        sure,
        Spread(cost / mean, cost / high if high else math.inf, cost / low if low else math.inf),
    )


def _fewest(
    first: int, most: int, hens: int | NDArray[np.int64], certainty: float, per_egg: Array
) -> int | None:
    """The fewest eggs from `first` to `most` that bring so many hens with the certainty."""
    return _smallest(first, most, lambda eggs: _chance(eggs, hens, per_egg) >= certainty)


def _chance(eggs: int, hens: int | NDArray[np.int64], per_egg: Array) -> float:
    """Chance of so many hens (one number, or one a draw) or more: exact given each draw."""
    need = np.broadcast_to(np.asarray(hens), per_egg.shape)
    below = np.zeros_like(per_egg)
    most = int(need.max())
    for count, log in enumerate(_log_counts(eggs, per_egg)):
        if count >= most:
            break
        below += np.where(count < need, np.exp(log), 0.0)
    return float(1.0 - below.mean())


def _log_counts(eggs: int, per_egg: Array) -> Iterator[Array]:
    """Log chance of 0 hens, of 1, and so on, shape (draws,) each."""
    odds = np.log(per_egg) - np.log1p(-per_egg)
    log = eggs * np.log1p(-per_egg)
    for count in range(eggs + 1):
        yield log
        if count < eggs:
            log = log + odds + math.log((eggs - count) / (count + 1))


def _quantiles(eggs: int, per_egg: Array, shares: Sequence[float]) -> list[int]:
    """Hens that as many or fewer come with each chance of `shares` (given low to high or not)."""
    found = [eggs] * len(shares)
    left = set(range(len(shares)))
    total = 0.0
    for count, log in enumerate(_log_counts(eggs, per_egg)):
        total += float(np.exp(log).mean())
        for which in [n for n in left if total > shares[n] - 1e-12]:
            found[which] = count
            left.remove(which)
        if not left:
            break
    return found


def together(
    compared: Sequence[Compared], hens: int, certainty: float, rng: Generator
) -> list[tuple[Compared, int]] | None:
    """Eggs of several offers that reach together what none reaches alone, or None.

    The cheapest hens first: all that an offer sells, and of the last one as few as are needed.
    """
    chosen: list[tuple[Compared, int]] = []
    so_far = np.zeros(len(compared[0].belief.hatch), dtype=np.int64) if compared else None
    for one in sorted(compared, key=lambda each: each.cost_per_hen.mean):
        if so_far is None:
            break
        most, per_egg = one.offer.most_eggs or MOST_EGGS, one.belief.hens_per_egg
        enough = _fewest(one.offer.least_eggs, most, hens - so_far, certainty, per_egg)
        if enough is not None:
            return [*chosen, (one, enough)]
        chosen.append((one, most))
        so_far = so_far + rng.binomial(most, per_egg)
    return None


# The whole answer.


@dataclass(frozen=True)
class Answer:
    """Offers compared for a flock, and what to do, in sentences."""

    hens: int
    certainty: float
    currency: str
    room_eggs: int | None
    compared: list[Compared]
    joined: list[tuple[Compared, int]] | None
    said: list[str]

    @property
    def reached(self) -> bool:
        """Whether an offer brings the hens by itself."""
        return self.compared[0].reaches


def asking(asked: Asked, hens: int | None, certainty: float | None) -> Asked:
    """What a file asks, with hens and certainty as given beside it, where they are.

    Raises:
        ValueError: out of range, with a sentence for the keeper.
    """
    if hens is not None and not 1 <= hens <= MOST_HENS:
        raise ValueError(say("--hens is 1 to {most}, not {hens}.", most=MOST_HENS, hens=hens))
    if certainty is not None and not LEAST_CERTAINTY <= certainty <= MOST_CERTAINTY:
        raise ValueError(
            say(
                "--certainty is {wanted}, not {share:g}.",
                wanted=say(CERTAIN.wanted),
                share=certainty,
            )
        )
    return replace(
        asked,
        hens=asked.hens if hens is None else hens,
        certainty=asked.certainty if certainty is None else certainty,
    )


def answer(asked: Asked, flock: Flock, on: date, rng: Generator) -> Answer:
    """The offers of a file compared by this flock's record.

    Args:
        asked: hens left out are taken from the flock's goal, certainty from there or `CERTAINTY`.
        flock: folded up to the end of the day `on`; an empty one stands for what is published.

    Raises:
        ValueError: neither the file nor the flock's goal says how many hens; the sentence is for
            the keeper.
    """
    wanted = hens_wanted(asked.hens, flock)
    if wanted is None:
        raise ValueError(
            say(
                "How many hens do you want at lay? Give --hens, or hens = 25 in the file, or log a "
                "goal with eggs_per_week."
            )
        )
    hens, why = wanted
    certainty = asked.certainty
    if certainty is None:
        told = flock.goal.certainty if flock.goal is not None else None
        certainty = CERTAINTY if told is None else min(MOST_CERTAINTY, max(LEAST_CERTAINTY, told))
    currency = asked.currency or (flock.holding.currency if flock.holding is not None else "")
    of_beliefs, of_joined = rng.spawn(2)
    beliefs = believed(learn(flock, on), asked.offers, of_beliefs)
    compared = compare(asked.offers, beliefs, hens, certainty)
    joined = None if compared[0].reaches else together(compared, hens, certainty, of_joined)
    room = room_for_eggs(flock)
    said = advice(compared, hens, certainty, currency=currency, room_eggs=room, joined=joined)
    return Answer(
        hens, certainty, currency, room, compared, joined, [*said, *([why] if why else [])]
    )


# In words.


def hens_wanted(asked: int | None, flock: Flock) -> tuple[int, str] | None:
    """How many hens are wanted and why: as asked, or by the goal of the journal."""
    if asked is not None:
        return asked, ""
    goal = flock.goal
    if goal is None or not goal.eggs_per_week:
        return None
    hens = min(MOST_HENS, hens_for_eggs(goal.eggs_per_week))
    lay = facts.value("planning.lay_for_sizing")
    return hens, say(
        "Your goal of {eggs:g} eggs a week takes about {hens} hens, at {lay:.0%} lay over a lit "
        "year. Hens you have are not taken off.",
        eggs=goal.eggs_per_week,
        hens=hens,
        lay=lay,
    )


def room_for_eggs(flock: Flock) -> int | None:
    """Eggs that the incubators hold together; None where nobody has said."""
    held = [
        place.capacity_eggs
        for place in flock.places.values()
        if place.role == "incubator" and not place.closed
    ]
    known = [eggs for eggs in held if eggs is not None]
    return sum(known) if known and len(known) == len(held) else None


def says_of(one: Compared, hens: int, certainty: float) -> str:
    """One offer in a sentence."""
    told = {"eggs": one.eggs, "hens": hens, "chance": one.chance}
    if one.reaches:
        if one.eggs_needed is not None and one.eggs > one.eggs_needed:
            return say(
                "{eggs} eggs bring {hens} hens or more with a chance of {chance:.0%}; {needed} "
                "would do, but it sells no fewer.",
                **told,
                needed=one.eggs_needed,
            )
        return say("{eggs} eggs bring {hens} hens or more with a chance of {chance:.0%}.", **told)
    if one.offer.most_eggs is None:
        if one.eggs_needed is not None:
            return say("{needed} eggs would do.", needed=one.eggs_needed)
        return say("Not even {most} eggs would do.", most=MOST_EGGS)
    told |= {"sure": one.hens_sure, "certainty": certainty}
    if one.eggs_needed is not None:
        return say(
            "Not enough eggs: it sells {eggs} at most, which bring {hens} hens with a chance of "
            "{chance:.0%} ({sure} with {certainty:.0%}); {needed} eggs would do.",
            **told,
            needed=one.eggs_needed,
        )
    return say(
        "Not enough eggs: it sells {eggs} at most, which bring {hens} hens with a chance of "
        "{chance:.0%} ({sure} with {certainty:.0%}); not even {most} eggs would do.",
        **told,
        most=MOST_EGGS,
    )


def advice(
    compared: Sequence[Compared],
    hens: int,
    certainty: float,
    *,
    currency: str = "",
    room_eggs: int | None = None,
    joined: Sequence[tuple[Compared, int]] | None = None,
) -> list[str]:
    """What to do, then what to know of it, in sentences.

    Args:
        compared: as `compare` gives it, one or more.
        room_eggs: eggs that the incubators hold together.
        joined: what `together` gave, where no offer reaches by itself.
    """
    best, *others = compared

    def money(amount: float) -> str:
        return f"{figure(amount, '.2f')}{' ' + currency if currency else ''}"

    said = []
    if best.reaches:
        high = best.cost_per_hen.q90
        order = {
            "eggs": best.eggs,
            "whose": best.offer.source,
            "cost": money(best.cost),
            "hens": hens,
            "chance": best.chance,
            "low": best.hens.q10,
            "high": best.hens.q90,
            "each": money(best.cost_per_hen.mean),
            "least": best.cost_per_hen.q10,
            "most": high,
        }
        said.append(say(_ORDER_OR_NONE if math.isinf(high) else _ORDER, **order))
        alike = [o for o in others if o.reaches and o.cost <= best.cost * (1.0 + ALIKE)]
        if alike:
            costs = ", ".join(money(other.cost) for other in alike)
            said.append(
                say(
                    "About the same: {names} ({costs}). Choose by what else you know of them.",
                    names=_names(alike),
                    costs=costs,
                )
            )
        short = [o for o in others if not o.reaches]
        if short:
            said.append(say("Not enough eggs by itself: {names}.", names=_names(short)))
        if room_eggs is not None and best.eggs > room_eggs:
            said.append(
                say(
                    "Your incubators hold {room} eggs: {eggs} do not go in at once. Eggs set "
                    "later are another hatch with luck of its own.",
                    room=room_eggs,
                    eggs=best.eggs,
                )
            )
    else:
        said += _no(best, hens, certainty, joined, money)
    if all(one.belief.own_hatches == 0 for one in compared):
        said.append(
            say("You have hatched eggs of none of them yet: hatches are believed by route.")
        )
    claims = [one for one in compared if one.offer.claimed_hatch or one.offer.claimed_fertility]
    if claims:
        share = facts.value("planning.claim_believed")
        said.append(
            say(
                "A seller's claim ({names}) counts for {share:.0%}, and less once you have hatched "
                "eggs from there: nobody checks it.",
                names=_names(claims),
                share=share,
            )
        )
    return said


_ORDER = mark(
    "Order {eggs} eggs from {whose} for {cost}: {hens} hens at lay or more with a chance of "
    "{chance:.0%} (likely {low:.0f} to {high:.0f}). A hen at lay costs {each}, likely {least:.2f} "
    "to {most:.2f}."
)
_ORDER_OR_NONE = mark(
    "Order {eggs} eggs from {whose} for {cost}: {hens} hens at lay or more with a chance of "
    "{chance:.0%} (likely {low:.0f} to {high:.0f}). A hen at lay costs {each}, likely {least:.2f} "
    "or more: there may be none."
)


def _no(
    best: Compared,
    hens: int,
    certainty: float,
    joined: Sequence[tuple[Compared, int]] | None,
    money: Callable[[float], str],
) -> Iterator[str]:
    yield say(
        "No offer brings {hens} hens at lay with a chance of {certainty:.0%}.",
        hens=hens,
        certainty=certainty,
    )
    yield say(
        "Nearest: all {eggs} eggs of {whose} bring {hens} with a chance of {chance:.0%}.",
        eggs=best.eggs,
        whose=best.offer.source,
        hens=hens,
        chance=best.chance,
    )
    if joined:
        orders = say(" and ").join(
            say_many("{n} egg from {whose}", "{n} eggs from {whose}", eggs, whose=one.offer.source)
            for one, eggs in joined
        )
        cost = sum(one.offer.cost(eggs) for one, eggs in joined)
        yield say(
            "What would do: {orders}, set together, for {cost}.", orders=orders, cost=money(cost)
        )
    if best.eggs_needed is not None:
        yield say(
            "Or {eggs} eggs from {whose}, if it will sell so many.",
            eggs=best.eggs_needed,
            whose=best.offer.source,
        )
    if best.hens_sure:
        yield say(
            "Or fewer hens: those {eggs} eggs bring {hens} with a chance of {certainty:.0%}.",
            eggs=best.eggs,
            hens=best.hens_sure,
            certainty=certainty,
        )


def _names(some: Sequence[Compared]) -> str:
    names = list(dict.fromkeys(one.offer.source for one in some))
    return say(" and ").join([", ".join(names[:-1]), names[-1]] if names[1:] else names)
