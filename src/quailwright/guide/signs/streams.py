"""What is watched of each pen: eggs laid, eggs cracked, feed given, water filled in."""

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise
from math import ceil, sqrt
from statistics import fmean, median
from typing import TYPE_CHECKING, NamedTuple, Protocol, TypeVar

from quailwright.flock.cohorts import group_history, hatched
from quailwright.flock.state import EggLot, Flock, Group
from quailwright.guide.signs.change import chance_below, score_of_chance
from quailwright.guide.signs.watch import (
    HELD,
    Off,
    Scored,
    Seen,
    kept_since,
    off_its_level,
    usual_rate,
    usual_spacing,
)
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_YEAR

if TYPE_CHECKING:
    from quailwright.flock.cohorts_by_day import ByDay
    from quailwright.flock.light import Light

_DAY = timedelta(days=1)
_LEAST_SHARE = 0.35
"""Hens that should lay less than this share of full lay (coming into lay, dark months) are not
watched: no count would be odd."""
_DARK, _PROOF = 0.3, 0.5
"""Eggs a hen and day that prove a lamp nobody told of, on days on which daylight brings less than
this share of full lay by any answer to it."""
_ON_ITS_OWN = 1.2
"""Counts further apart than this [days] are of all days since the one before."""
_FEWEST = 3
"""Observations of anything at a place from which it is watched."""
_PRIOR_SCORES = 10.0
"""How many days the published scatter is worth against the pen's own."""


@dataclass(frozen=True, slots=True)
class Stream:
    """One thing watched.

    Attributes:
        what: "eggs", "cracked", "feed" or "water".
        place: the pen.
        group: the group, for eggs; "" for what belongs to the place.
        seen: what was observed, in order, without what does not tell.
        off: where it stands off its usual level.
        by_age: for eggs where the light is not sure: the same by age alone, as under a lamp.
        hatched: for eggs, the day on which the youngest of the group hatched, where it is known.
    """

    what: str
    place: str
    group: str
    seen: tuple[Seen, ...]
    off: Off | None
    by_age: "Stream | None" = None
    hatched: date | None = None


def false_signs_a_year(flock: Flock) -> float:
    """False signs that the keeper puts up with, for each pen and year."""
    told = flock.holding.false_signs_a_year if flock.holding is not None else None
    return facts.value("signs.false_a_year") if told is None else told


def days_between_false_signs(flock: Flock, what: str) -> float:
    """Mean days from one false sign of this kind at a pen to the next."""
    return DAYS_A_YEAR / (false_signs_a_year(flock) * facts.value(f"signs.share_{what}"))


def streams(flock: Flock, on: date) -> list[Stream]:
    """Everything watched of the pens on the day `on`, in the order of the walk."""
    first = on - timedelta(days=facts.value("signs.watched_over_d"))
    lots = _lots_by_group(flock, first, on)
    found: list[Stream] = []
    light: Light | None = None
    for place in flock.in_walking_order():
        groups = flock.groups_at(place.name)
        if not groups:
            continue
        days = [first + timedelta(days=n) for n in range((on - first).days + 1)]
        amounts = {
            "feed": _by_day((f.day, f.kg) for f in _at(flock.feedings, place.name, first, on)),
            "water": _by_day((w.day, w.litres) for w in _at(flock.water, place.name, first, on)),
        }
        seen = [*amounts.values(), *(lots.get(group.name, ()) for group in groups)]
        if max(len(days_seen) for days_seen in seen) < _FEWEST:
            continue
        # Arrays come only where something is watched.
        from quailwright.flock.cohorts_by_day import birds_by_day
        from quailwright.flock.light import light_of

        living = [birds_by_day(group_history(group, on), first, len(days)) for group in groups]
        light = light or light_of(flock, first, on)
        expected = [
            _expected(flock, days, birds, light, lots.get(group.name, ()))
            for group, birds in zip(groups, living, strict=True)
        ]
        for group, birds, lay in zip(groups, living, expected, strict=True):
            if counted := lots.get(group.name):
                found.extend(_of_eggs(flock, group, counted, days, birds, lay, on))
        mouths = _mouths(days, living, expected)
        since = max((group.placed or first for group in groups), default=first)
        for what, by_day in amounts.items():
            late = {day: some for day, some in by_day.items() if day >= since}
            if late:
                found.append(_of_intake(flock, what, place.name, late, mouths, on))
    if flock.holding is not None and flock.holding.rests_in_winter:
        return found  # Hens at rest stop pen by pen, each at its own time.
    return _days_that_shorten(found)


def _days_that_shorten(found: Sequence[Stream]) -> list[Stream]:
    """Where the light is not sure, a pen of like age that holds shows that it is not the season.

    Days shorten for all pens alike. A pen that by its age should lay more, beside one as old that
    does, is therefore held against its age alone, and so is the one beside it.
    """
    near = timedelta(days=facts.value("signs.same_age_d"))

    def alike(one: Stream, other: Stream) -> bool:
        if one.hatched is None or other.hatched is None:
            return one.hatched is other.hatched
        return abs(one.hatched - other.hatched) <= near

    def held(one: Stream, since: date) -> Iterator[Stream]:
        for other in found:
            if other.by_age is None or other.by_age.off is not None or other.place == one.place:
                continue
            kept = kept_since(other.by_age.seen, since)
            if alike(one, other) and kept is not None and kept >= HELD:
                yield other

    by_age: list[Stream] = []
    for one in found:
        if one.by_age is not None and one.by_age.off is not None:
            beside = list(held(one, one.by_age.off.since))
            by_age += [one, *beside] if beside else []
    return [
        one.by_age if one.by_age is not None and any(one is each for each in by_age) else one
        for one in found
    ]


class _Mouths(NamedTuple):
    """Birds at a place on a day, and how many hens in lay eat as much: at least and at most."""

    heads: float
    least: float
    most: float


def _mouths(
    days: Sequence[date], living: Sequence["ByDay"], expected: Sequence["_Expected"]
) -> dict[date, _Mouths]:
    """By day. Young birds, cocks and hens out of lay eat less."""
    import numpy as np

    each_g = facts.value("feeding.intake_adult_g_d")
    found = np.zeros((3, len(days)))
    for birds, lay in zip(living, expected, strict=True):
        most = birds.eaten_g(np.array(lay.most))
        least = most if lay.least is lay.most else birds.eaten_g(np.array(lay.least))
        found += birds.heads(), least / each_g, most / each_g
    return {day: _Mouths(*here) for day, here in zip(days, found.T.tolist(), strict=True)}


def _lots_by_group(flock: Flock, first: date, on: date) -> dict[str, list[EggLot]]:
    """Lots counted from `first` to `on`, by group, in order of day.

    Lots stand in the order of the journal, which is that of the days but for a few.
    """
    found: dict[str, list[EggLot]] = {}
    slack = first - timedelta(days=60)
    for lot in reversed(flock.lots.values()):
        if lot.laid < slack:
            break
        if lot.counts and first <= lot.laid <= on:
            found.setdefault(lot.group, []).append(lot)
    for lots in found.values():
        lots.sort(key=lambda lot: lot.laid)
    return found


def _whole_days(lots: Sequence[EggLot], on: date) -> Sequence[EggLot]:
    """Without today, while fewer counts were made than on most days."""
    usual = median(lot.counts for lot in lots)
    return lots[:-1] if lots[-1].laid == on and lots[-1].counts < usual else lots


def _of_eggs(
    flock: Flock,
    group: Group,
    lots: Sequence[EggLot],
    days: Sequence[date],
    living: "ByDay",
    expected: "_Expected",
    on: date,
) -> Iterator[Stream]:
    whole = _whole_days(lots, on)
    hens = _hens(living)

    def stream(share: _Expected) -> Stream:
        laid = list(_laid(whole, days, hens, share))
        off = off_its_level(
            laid,
            _falls,
            on,
            days_between_false_signs(flock, "eggs"),
            facts.value("signs.lay_least_fall"),
        )
        return Stream("eggs", group.place, group.name, tuple(laid), off, hatched=group.youngest)

    sure = expected.least is expected.most
    by_age = None if sure else stream(_Expected(expected.by_age, expected.by_age, expected.by_age))
    yield replace(stream(expected), by_age=by_age)
    if any(lot.cracked for lot in whole):
        eggs = [
            Seen(lot.laid, lot.cracked, lot.collected, lot.collected)
            for lot in whole
            if lot.collected >= lot.cracked and lot.collected > 0
        ]
        off = off_its_level(eggs, _cracks, on, days_between_false_signs(flock, "cracked"))
        yield Stream("cracked", group.place, group.name, tuple(eggs), off)


def _hens(living: "ByDay") -> list[float]:
    """Hens by day; half of those birds where none is sexed."""
    of_unsexed = 1.0 - facts.value("survival.cocks_at_hatch")
    sums = zip(living.hens.sum(axis=1).tolist(), living.chicks.sum(axis=1).tolist(), strict=True)
    return [hens or unsexed * of_unsexed for hens, unsexed in sums]


@dataclass(frozen=True, slots=True)
class _Expected:
    """Share of full lay by day that is to be expected: at least and at most.

    `by_age` is that of a lamp that keeps the hours of full lay; all are the same where one is sure.
    """

    least: Sequence[float]
    most: Sequence[float]
    by_age: Sequence[float]


def _expected(
    flock: Flock,
    days: Sequence[date],
    living: "ByDay",
    light: "Light",
    lots: Sequence[EggLot],
) -> _Expected:
    """Share of full lay that the hens' age and the light of each day let expect.

    With hours of light told, or more eggs in short days than daylight can bring, by a lamp that
    keeps them. With a rest told, or nothing, it is not sure: at least what the hens that stop
    first lay by daylight, at most what a lamp brings. What is usual goes by the most and what is
    looked for by the least, so that autumn and spring are no signs.
    """
    told = flock.holding.light_target_h if flock.holding is not None else None
    rests = bool(flock.holding is not None and flock.holding.rests_in_winter)
    lit, least, most = _by_light(days, living, light)
    if not rests and (
        (told is not None and told >= facts.value("laying.light_full_h"))
        or _proves_a_lamp(lots, dict(zip(days, _hens(living), strict=True)), days, most)
    ):
        return _Expected(lit, lit, lit)
    return _Expected(
        [min(pair) for pair in zip(lit, least, strict=True)],
        [max(pair) for pair in zip(lit, most, strict=True)],
        lit,
    )


def _by_light(
    days: Sequence[date], living: "ByDay", light: "Light"
) -> tuple[list[float], list[float], list[float]]:
    """Shares of full lay by day: with a lamp, and the least and the most that daylight gives."""
    import numpy as np

    from quailwright.flock.light import Curves, lay_share

    mid, decline = facts.value("laying.rise_mid_w"), facts.value("laying.decline_per_w")
    curves = Curves(np.array([mid]), np.array([decline]))
    weights = np.where(living.hens > 0, living.hens, living.chicks / 2.0)
    birds = weights.sum(axis=1, keepdims=True)
    parts = np.divide(weights, birds, out=np.zeros_like(weights), where=birds > 0)
    births = np.array([(hatched(cohort) - days[0]).days for cohort in living.cohorts], dtype=int)
    numbers = np.tile(np.arange(len(days)), len(births))
    share = lay_share(light, curves, numbers, np.repeat(births, len(days)))[:, :, 0, 0]
    dark = share[:, 1:]
    shares = np.stack((share[:, 0], dark.min(axis=1), dark.max(axis=1)), axis=1)
    found = np.einsum("cds,dc->ds", shares.reshape(len(births), len(days), 3), parts)
    lit, least, most = found.T.tolist()
    return lit, least, most


def _proves_a_lamp(
    lots: Sequence[EggLot],
    hens: Mapping[date, float],
    days: Sequence[date],
    most: Sequence[float],
) -> bool:
    """Whether the hens laid more in short days than any answer to daylight lets expect."""
    by_day = dict(zip(days, most, strict=True))
    dark = [lot for lot in lots if by_day[lot.laid] < _DARK and lot.counts]
    eggs = sum(lot.collected for lot in dark)
    enough = len(dark) >= facts.value("signs.usual_fewest_d")
    return enough and eggs >= _PROOF * sum(hens[lot.laid] for lot in dark)


def _laid(
    lots: Sequence[EggLot], days: Sequence[date], hens: Sequence[float], expected: _Expected
) -> Iterator[Seen]:
    """The counts that tell. One after a gap, where none was usual, may be of several days: it
    counts for as many as it must."""
    spacing = usual_spacing([lot.laid for lot in lots])
    before = None
    for lot in lots:
        since = max(1, round(spacing)) if before is None else (lot.laid - before).days
        before = lot.laid
        number = (lot.laid - days[0]).days
        there, share = hens[number], expected.least[number]
        if there < 1 or share < _LEAST_SHARE:
            continue
        covers = since if spacing > _ON_ITS_OWN else max(1, ceil(lot.collected / there - 1e-9))
        if covers > max(since, 1):
            continue
        if since > 1 and covers > 1 and spacing <= _ON_ITS_OWN:
            continue
        hen_days = there * covers
        eggs = min(float(lot.collected), hen_days)
        most = expected.most[number] * hen_days
        yield Seen(lot.laid, eggs, share * hen_days, there, covers, most)


def _falls(one: Seen, before: Sequence[Seen]) -> Scored:
    """Eggs against those usual for so many hens: a tail of the beta-binomial."""
    likeness = facts.value("signs.lay_likeness")
    usual = usual_rate(before)
    share = min(max(usual * one.size / (one.units * one.days), 0.01), 0.98)
    hen_days = sum(other.units * other.days for other in before)
    doubt = (1.0 + (one.units - 1.0) * likeness) / hen_days
    trials = round(one.units * one.days)
    each_day = likeness * max(0.0, one.units - 1.0) / max(1.0, trials - 1.0)
    eggs = min(round(one.amount), trials)
    spread = _own_spread(before, usual, likeness)
    deviation = sqrt(trials * share * (1.0 - share) * (1.0 + (trials - 1.0) * (each_day + doubt)))
    step = facts.value("signs.lay_fall") * trials * share / deviation / spread
    if eggs >= trials * share:
        return Scored((trials * share - eggs) / deviation / spread, step)
    chance = chance_below(eggs, trials, share, min(0.9, each_day + doubt))
    return Scored(-score_of_chance(chance) / spread, step)


def _own_spread(before: Sequence[Seen], usual: float, likeness: float) -> float:
    """How much wider or narrower than published this pen's own counts scatter."""
    total = 0.0
    for one in before:
        trials = one.units * one.days
        share = min(max(usual * max(one.size, one.most) / trials, 0.01), 0.98)
        wider = 1.0 + likeness * max(0.0, one.units - 1.0)
        total += (one.amount - trials * share) ** 2 / (trials * share * (1.0 - share) * wider)
    return sqrt((_PRIOR_SCORES + total) / (_PRIOR_SCORES + len(before)))


def _cracks(one: Seen, before: Sequence[Seen]) -> Scored:
    """Cracked eggs against their usual share of all."""
    a, b = facts.value("signs.cracked_beta_a"), facts.value("signs.cracked_beta_b")
    cracked, eggs = sum(o.amount for o in before), sum(o.size for o in before)
    share = (a + cracked) / (a + b + eggs)
    likeness = facts.value("signs.cracked_likeness") + 1.0 / (a + b + eggs)
    trials = round(one.size)
    chance = chance_below(round(one.amount), trials, share, likeness)
    deviation = sqrt(trials * share * (1.0 - share) * (1.0 + (trials - 1.0) * likeness))
    more = facts.value("signs.cracked_rise")
    return Scored(score_of_chance(chance), more * trials * share / deviation)


def _of_intake(
    flock: Flock,
    what: str,
    place: str,
    amounts: Mapping[date, Sequence[float]],
    mouths: Mapping[date, _Mouths],
    on: date,
) -> Stream:
    seen = list(_taken(amounts, mouths, on))
    score = _feed_falls if what == "feed" else _water_falls
    off = off_its_level(seen, score, on, days_between_false_signs(flock, what))
    return Stream(what, place, "", tuple(seen), off)


def _by_day(amounts: Iterable[tuple[date, float]]) -> dict[date, list[float]]:
    found: dict[date, list[float]] = {}
    for day, amount in amounts:
        found.setdefault(day, []).append(amount)
    return found


class _Dated(Protocol):
    @property
    def day(self) -> date: ...

    @property
    def place(self) -> str: ...


_Item = TypeVar("_Item", bound=_Dated)


def _at(items: Sequence[_Item], place: str, first: date, on: date) -> Iterator[_Item]:
    """What was given at a place from `first` to `on`, of a list in order of day but for a few."""
    slack = first - timedelta(days=60)
    for item in reversed(items):
        if item.day < slack:
            return
        if item.place == place and first <= item.day <= on:
            yield item


def _taken(
    amounts: Mapping[date, Sequence[float]], mouths: Mapping[date, _Mouths], on: date
) -> Iterator[Seen]:
    """Amounts with the bird-days since the one before; the first tells of none before it."""
    order = sorted(amounts)
    usual_times = median(len(amounts[day]) for day in order)
    spacing = usual_spacing(order)
    for before, day in pairwise(order):
        if day == on and len(amounts[day]) < usual_times:
            continue
        gap = (day - before).days
        if spacing <= _ON_ITS_OWN and gap > 1:
            continue
        there = [mouths[before + timedelta(days=n)] for n in range(1, gap + 1)]
        heads = fmean(each.heads for each in there)
        least, most = sum(each.least for each in there), sum(each.most for each in there)
        if heads >= 1 and least > 0:
            yield Seen(day, sum(amounts[day]), least, heads, gap, most)


def _feed_falls(one: Seen, before: Sequence[Seen]) -> Scored:
    return _amount_falls(one, before, "feed")


def _water_falls(one: Seen, before: Sequence[Seen]) -> Scored:
    return _amount_falls(one, before, "water")


def _amount_falls(one: Seen, before: Sequence[Seen], what: str) -> Scored:
    """An amount a bird-day against the usual, by the pen's own scatter, held by the prior's."""
    usual = usual_rate(before)
    if usual <= 0:
        return Scored(0.0, 1.0)
    prior = facts.value(f"signs.{what}_scatter")
    ratios = [other.amount / max(other.size, other.most) / usual for other in before]
    squares = sum((ratio - 1.0) ** 2 for ratio in ratios)
    variance = (_PRIOR_SCORES * prior**2 + squares) / (_PRIOR_SCORES + len(ratios))
    deviation = sqrt(max(variance, facts.value(f"signs.{what}_scatter_least") ** 2))
    deviation *= sqrt(1.0 + 1.0 / len(ratios))
    ratio = one.amount / one.size / usual
    return Scored((1.0 - ratio) / deviation, facts.value(f"signs.{what}_fall") / deviation)
