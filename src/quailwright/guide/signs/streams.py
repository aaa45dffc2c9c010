"""What is watched of each pen: eggs laid, eggs cracked, feed given, water filled in."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import pairwise
from math import ceil, sqrt
from statistics import fmean, median
from typing import Protocol, TypeVar

from quailwright.flock.cohorts import Cohort, birds_on, group_history, hatched
from quailwright.flock.light import Curves, Light, lay_share, light_of
from quailwright.flock.state import EggLot, Flock, Group
from quailwright.guide.signs.change import chance_below, score_of_chance
from quailwright.guide.signs.watch import (
    HELD,
    Off,
    Scored,
    Seen,
    kept_since,
    off_its_level,
    rate,
    usual_spacing,
)
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_YEAR

_DAY = timedelta(days=1)
_LEAST_SHARE = 0.35
"""Hens that should lay less than this share of full lay (coming into lay, dark months) are not
watched: no count would be odd."""
_LEAST_LEFT = 0.05
"""Where no light is told, short days let no less than this share be expected: there may be a lamp,
and what hens lay in spite of the dark is their usual."""
_ON_ITS_OWN = 1.2
"""Counts further apart than this [days] are of all days since the one before."""
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
        by_age: for eggs where no light is told: the same by age alone, as under a lamp.
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
        living = {group.name: birds_on(group_history(group, on), days) for group in groups}
        for group in groups:
            counted = lots.get(group.name, [])
            if counted:
                if light is None:
                    light = light_of(flock, first, on)
                found.extend(_of_eggs(flock, group, counted, days, living[group.name], light, on))
        birds = [
            sum(_heads(cohorts) for cohorts in (living[group.name][n] for group in groups))
            for n in range(len(days))
        ]
        since = max((group.placed or first for group in groups), default=first)
        found.extend(_of_intake(flock, place.name, days, birds, since, on))
    return _days_that_shorten(found)


def _days_that_shorten(found: Sequence[Stream]) -> list[Stream]:
    """Where no light is told, a pen of like age that holds shows that it is not the season.

    Days shorten for all pens alike. A pen that by its age should lay more, beside one as old that
    does, is therefore held against its age alone.
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


def _heads(cohorts: Sequence[Cohort]) -> float:
    return sum(cohort.hens + cohort.cocks + cohort.chicks for cohort in cohorts)


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
    living: Sequence[Sequence[Cohort]],
    light: Light,
    on: date,
) -> Iterator[Stream]:
    whole = _whole_days(lots, on)
    hens = dict(zip(days, _hens(living), strict=True))

    def stream(expected: Sequence[float], watched: Sequence[bool]) -> Stream:
        told = dict(zip(days, expected, strict=True))
        laid = list(_laid(whole, hens, told, dict(zip(days, watched, strict=True))))
        off = off_its_level(
            laid,
            _falls,
            on,
            days_between_false_signs(flock, "eggs"),
            facts.value("signs.lay_least_fall"),
        )
        return Stream("eggs", group.place, group.name, tuple(laid), off, hatched=group.youngest)

    expected = _expected(flock, days, living, light)
    by_age = None
    if expected.light_untold:
        by_age = stream(expected.by_age, [share >= _LEAST_SHARE for share in expected.by_age])
    yield replace(stream(expected.lay, expected.watched), by_age=by_age)
    if any(lot.cracked for lot in whole):
        eggs = [
            Seen(lot.laid, lot.cracked, lot.collected, lot.collected)
            for lot in whole
            if lot.collected >= lot.cracked and lot.collected > 0
        ]
        off = off_its_level(eggs, _cracks, on, days_between_false_signs(flock, "cracked"))
        yield Stream("cracked", group.place, group.name, tuple(eggs), off)


def _hens(living: Sequence[Sequence[Cohort]]) -> list[float]:
    """Hens by day; half of those birds where none is sexed."""
    found = []
    for cohorts in living:
        hens = sum(cohort.hens for cohort in cohorts)
        unsexed = sum(cohort.chicks for cohort in cohorts)
        found.append(hens or unsexed * (1.0 - facts.value("survival.cocks_at_hatch")))
    return found


@dataclass(frozen=True, slots=True)
class _Expected:
    """What hens of their age should lay, by day, as a share of full lay.

    Attributes:
        lay: by age and light.
        by_age: by age alone, as under a lamp that keeps the hours of full lay.
        watched: whether so much is expected that a count can be odd.
        light_untold: whether neither hours of light nor a rest is told.
    """

    lay: Sequence[float]
    by_age: Sequence[float]
    watched: Sequence[bool]
    light_untold: bool


def _expected(
    flock: Flock, days: Sequence[date], living: Sequence[Sequence[Cohort]], light: Light
) -> _Expected:
    """Share of full lay that the hens' age and the light of each day let expect.

    With hours of light told, by a lamp that keeps them; with a rest told, by daylight. With
    neither, days that shorten let less be expected, so that autumn is no sign, and days that
    lengthen no more, as there may have been a lamp all along. What is left then is a measure
    only: hens that lay in the dark months are watched by what they lay.
    """
    import numpy as np

    mid, decline = facts.value("laying.rise_mid_w"), facts.value("laying.decline_per_w")
    curves = Curves(np.array([mid]), np.array([decline]))
    cohorts = sorted({hatched(cohort) for some in living for cohort in some})
    by_day: dict[date, list[tuple[float, float, float]]] = {}
    numbers = np.arange(len(days))
    told = flock.holding.light_target_h if flock.holding is not None else None
    rests = bool(flock.holding is not None and flock.holding.rests_in_winter)
    lamp = not rests and told is not None and told >= facts.value("laying.light_full_h")
    past = int(facts.value("signs.usual_over_d") + facts.value("signs.usual_lag_d"))
    for born in cohorts:
        hatched_on = np.full(len(days), (born - days[0]).days)
        share = lay_share(light, curves, numbers, hatched_on)[:, :, 0, 0]
        lit, dark = share[:, 0], share[:, 1:].mean(axis=1)
        if rests or lamp:
            level = dark if rests else lit
            watched = level
        else:
            left = np.where(lit > 0, np.minimum(1.0, dark / np.maximum(lit, 1e-9)), 1.0)
            left = np.maximum(_LEAST_LEFT, np.minimum.accumulate(left))
            level = lit * left
            then = np.concatenate([np.full(min(past, len(left)), left[0]), left[:-past]])
            watched = lit * left / then
        by_day[born] = list(zip(level.tolist(), lit.tolist(), watched.tolist(), strict=True))
    found = [
        _mean_of([(cohort, by_day[hatched(cohort)][n]) for cohort in some])
        for n, some in enumerate(living)
    ]
    return _Expected(
        [lay for lay, _, _ in found],
        [lit for _, lit, _ in found],
        [watched >= _LEAST_SHARE for _, _, watched in found],
        not rests and not lamp,
    )


def _mean_of(
    cohorts: Sequence[tuple[Cohort, tuple[float, float, float]]],
) -> tuple[float, float, float]:
    """The mean over hens of different ages; 0 where there are none."""
    weights = [cohort.hens or cohort.chicks / 2.0 for cohort, _ in cohorts]
    if not (hens := sum(weights)):
        return 0.0, 0.0, 0.0
    lay, lit, watched = (
        sum(w * shares[n] for w, (_, shares) in zip(weights, cohorts, strict=True)) / hens
        for n in range(3)
    )
    return lay, lit, watched


def _laid(
    lots: Sequence[EggLot],
    hens: Mapping[date, float],
    expected: Mapping[date, float],
    watched: Mapping[date, bool],
) -> Iterator[Seen]:
    """The counts that tell. One after a gap, where none was usual, may be of several days: it
    counts for as many as it must."""
    spacing = usual_spacing([lot.laid for lot in lots])
    before = None
    for lot in lots:
        since = max(1, round(spacing)) if before is None else (lot.laid - before).days
        before = lot.laid
        there, share = hens[lot.laid], expected[lot.laid]
        if there < 1 or share <= 0.0 or not watched[lot.laid]:
            continue
        days = since if spacing > _ON_ITS_OWN else max(1, ceil(lot.collected / there - 1e-9))
        if days > max(since, 1):
            continue
        if since > 1 and days > 1 and spacing <= _ON_ITS_OWN:
            continue
        eggs = min(float(lot.collected), there * days)
        yield Seen(lot.laid, eggs, there * share * days, there, days)


def _falls(one: Seen, before: Sequence[Seen]) -> Scored:
    """Eggs against those usual for so many hens: a tail of the beta-binomial."""
    likeness = facts.value("signs.lay_likeness")
    usual = rate(before)
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
        share = min(max(usual * one.size / trials, 0.01), 0.98)
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
    place: str,
    days: Sequence[date],
    birds: Sequence[float],
    since: date,
    on: date,
) -> Iterator[Stream]:
    first = max(days[0], since)
    fed: dict[date, list[float]] = {}
    for feeding in _late(flock.feedings, first):
        if feeding.place == place and feeding.day <= on:
            fed.setdefault(feeding.day, []).append(feeding.kg)
    drunk: dict[date, list[float]] = {}
    for filled in _late(flock.water, first):
        if filled.place == place and filled.day <= on:
            drunk.setdefault(filled.day, []).append(filled.litres)
    there = dict(zip(days, birds, strict=True))
    for what, amounts in (("feed", fed), ("water", drunk)):
        if not amounts:
            continue
        seen = list(_taken(amounts, there, on))
        score = _feed_falls if what == "feed" else _water_falls
        off = off_its_level(seen, score, on, days_between_false_signs(flock, what))
        yield Stream(what, place, "", tuple(seen), off)


class _Dated(Protocol):
    @property
    def day(self) -> date: ...


_Item = TypeVar("_Item", bound=_Dated)


def _late(items: Sequence[_Item], first: date) -> Iterator[_Item]:
    """Items from `first` on, of a list in order of day but for a few."""
    slack = first - timedelta(days=60)
    for item in reversed(items):
        if item.day < slack:
            return
        if item.day >= first:
            yield item


def _taken(
    amounts: Mapping[date, Sequence[float]], birds: Mapping[date, float], on: date
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
        heads = fmean(birds[before + timedelta(days=n)] for n in range(1, gap + 1))
        if heads >= 1:
            yield Seen(day, sum(amounts[day]), heads * gap, heads, gap)


def _feed_falls(one: Seen, before: Sequence[Seen]) -> Scored:
    return _amount_falls(one, before, "feed")


def _water_falls(one: Seen, before: Sequence[Seen]) -> Scored:
    return _amount_falls(one, before, "water")


def _amount_falls(one: Seen, before: Sequence[Seen], what: str) -> Scored:
    """An amount a bird-day against the usual, by the pen's own scatter, held by the prior's."""
    usual = rate(before)
    if usual <= 0:
        return Scored(0.0, 1.0)
    prior = facts.value(f"signs.{what}_scatter")
    ratios = [other.amount / other.size / usual for other in before]
    squares = sum((ratio - 1.0) ** 2 for ratio in ratios)
    variance = (_PRIOR_SCORES * prior**2 + squares) / (_PRIOR_SCORES + len(ratios))
    deviation = sqrt(max(variance, facts.value(f"signs.{what}_scatter_least") ** 2))
    deviation *= sqrt(1.0 + 1.0 / len(ratios))
    ratio = one.amount / one.size / usual
    return Scored((1.0 - ratio) / deviation, facts.value(f"signs.{what}_fall") / deviation)
