"""What the record tells of how birds do: weight at one age, eggs laid, the weight of eggs."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cache
from statistics import median
from typing import Literal, get_args

from quailwright.flock.cohorts import GroupHistory, group_history
from quailwright.flock.history import laid_days
from quailwright.flock.pedigree import Lines, Member
from quailwright.flock.state import EggLot, Flock, Group, RingedBird
from quailwright.husbandry import facts, growth
from quailwright.husbandry.laying import hen_day_rate
from quailwright.husbandry.selection.traits import TraitName
from quailwright.journal.entries import Sex
from quailwright.language import later, later_many, mark

WeightAge = Literal["young", "grown", "adult"]


@dataclass(frozen=True, slots=True)
class Measure:
    """One record of a trait.

    Attributes:
        trait: what was measured.
        value: g at the common age, eggs in 90 days, or g an egg.
        birds: places in the pedigree of those it is the mean of; one of a ringed bird's own.
        like: whom it is compared with: birds of the same hatch and sex, or pens.
        counted: birds weighed together; of eggs, hens that laid them.
        amount: days counted of eggs, a hen's own or a pen's; eggs weighed; else 1.
        own: whether it is of one ringed bird.
        of: the ring, or the group.
    """

    trait: TraitName
    value: float
    birds: tuple[int, ...]
    like: tuple[str, ...]
    counted: float
    amount: float
    own: bool
    of: str


@dataclass(frozen=True)
class Performance:
    """All records of a flock.

    Attributes:
        measures: one a bird or a group for each trait at most.
        weight_age_d: the age that weights are told as of [d].
        left_out: sentences on what was logged and cannot be used; to be said when shown.
    """

    measures: tuple[Measure, ...]
    weight_age_d: float
    left_out: tuple[str, ...] = ()

    def of(self, trait: TraitName) -> list[Measure]:
        """The records of a trait."""
        return [one for one in self.measures if one.trait == trait]


@dataclass(frozen=True, slots=True)
class _Seen:
    """A weighing with the age of its birds. `group`: of birds without a ring."""

    day: date
    age_d: float | None
    mass_g: float
    sex: Sex
    bird: RingedBird | None = None
    group: Group | None = None
    birds: int = 1


def performance(flock: Flock, lines: Lines, on: date) -> Performance:
    """Every record of a bird or of a group's mean that can be compared, up to the day `on`.

    Weights are told as of one of three ages, that for which most ringed birds have a weight near
    it (else most groups), by the usual growth of their sex. A ringed bird's nearest weight
    counts. The mean of a group tells of its birds without a ring; that of its eggs of all its
    hens, where none has a count of her own.
    """
    left_out: Counter[str] = Counter()
    odd: list[str] = []
    seen = list(_weighings(flock, lines))
    age: WeightAge = max(
        get_args(WeightAge),
        key=lambda one: (
            len({each.bird.name for each in seen if each.bird and _near(each, one)}),
            sum(1 for each in seen if _near(each, one)),
        ),
    )
    measures = [
        *_weights(flock, lines, seen, age, left_out, odd),
        *_own_eggs(flock, lines, left_out, odd),
        *_group_eggs(flock, lines, on, left_out, odd),
    ]
    common = facts.value(f"selection.weight_age_{age}_d")
    return Performance(tuple(measures), common, (*_odd_said(odd), *_said(left_out, age)))


def _hatched(flock: Flock, bird: RingedBird, lines: Lines) -> date | None:
    if bird.hatched_on is not None:
        return bird.hatched_on
    place = lines.places.get(bird.name)
    return None if place is None else lines.members[place].hatched_on


def _weighings(flock: Flock, lines: Lines) -> Iterator[_Seen]:
    for bird in flock.birds.values():
        born = _hatched(flock, bird, lines)
        for day, mass_g in bird.weights:
            age = None if born is None else float((day - born).days)
            yield _Seen(day, age, mass_g, bird.sex, bird=bird)
    for group in flock.groups.values():
        for weighing in group.weighings:
            spread = (
                (group.youngest - group.oldest).days
                if group.oldest is not None and group.youngest is not None
                else None
            )
            known = spread is not None and spread <= _MIXED_D and group.youngest is not None
            age = float((weighing.day - group.youngest).days) if known and group.youngest else None
            yield _Seen(
                weighing.day, age, weighing.mean_g, weighing.sex or "unknown", group=group,
                birds=weighing.birds,
            )  # fmt: skip


_MIXED_D = 3
"""Birds of a group hatched within so many days are of one age."""


def _near(seen: _Seen, age: WeightAge) -> bool:
    limits = facts.figure(f"selection.weight_age_{age}_d")
    assert limits.low is not None
    assert limits.high is not None
    return seen.age_d is not None and limits.low <= seen.age_d <= limits.high


def _at_age(seen: _Seen, age_d: float) -> float:
    """The weight as of the common age, by the usual growth of the sex."""
    sex = growth_sex(seen.sex)
    assert seen.age_d is not None
    return seen.mass_g * growth.mass_g(age_d, sex) / growth.mass_g(seen.age_d, sex)


def growth_sex(sex: Sex) -> Literal["hen", "cock", "chick"]:
    """A sex as growth curves have it; the mean of both where it is not known."""
    return "chick" if sex == "unknown" else sex


def _weights(
    flock: Flock,
    lines: Lines,
    seen: list[_Seen],
    age: WeightAge,
    left_out: Counter[str],
    odd: list[str],
) -> Iterator[Measure]:
    common = facts.value(f"selection.weight_age_{age}_d")
    own: dict[str, _Seen] = {}
    of_groups: dict[tuple[str, Sex], _Seen] = {}
    for each in seen:
        if each.age_d is None:
            left_out["no_age" if each.bird else "mixed_age"] += 1
            continue
        if not _near(each, age):
            left_out["age"] += 1
            continue
        if each.bird is not None:
            if each.bird.name not in lines.places:
                continue
            before = own.get(each.bird.name)
            if before is None or _nearer(each, before, common):
                own[each.bird.name] = each
        elif each.group is not None:
            key = (each.group.name, each.sex)
            if key not in of_groups or _nearer(each, of_groups[key], common):
                of_groups[key] = each
    like_of = {
        name: ("hatch", each.bird.hatch or str(_hatched(flock, each.bird, lines)), each.sex)
        for name, each in own.items()
        if each.bird is not None
    }
    middles = _middles([(like_of[name], _at_age(each, common)) for name, each in own.items()])
    for name, each in own.items():
        value, like = _at_age(each, common), like_of[name]
        usual = middles.get(like)
        if _is_odd(value, usual, "weight_odd_hatch") or _odd_weight(each, value, common):
            odd.append(later(_ODD_WEIGHT, of=name, g=each.mass_g, day=each.day))
            continue
        yield Measure("weight", value, (lines.places[name],), like, 1, 1, True, name)
    of_both = {name for name, sex in of_groups if sex == "unknown"}
    for (name, sex), each in of_groups.items():
        if sex != "unknown" and name in of_both:
            continue  # one mean a group
        birds = tuple(
            at
            for at, member in enumerate(lines.members)
            if not member.ringed
            and member.group == name
            and (sex == "unknown" or member.sex in (sex, "unknown"))
        )
        if any(one.bird is not None and one.bird.group == name for one in own.values()):
            left_out["group_of_own"] += 1
        elif birds and _odd_weight(each, _at_age(each, common), common):
            odd.append(later(_ODD_WEIGHT, of=name, g=each.mass_g, day=each.day))
        elif birds:
            yield Measure(
                "weight", _at_age(each, common), birds, ("pens", sex), each.birds, 1, False, name
            )


def _nearer(one: _Seen, other: _Seen, age_d: float) -> bool:
    assert one.age_d is not None
    assert other.age_d is not None
    return abs(one.age_d - age_d) <= abs(other.age_d - age_d)  # The last of two as near.


def _middles(values: list[tuple[tuple[str, ...], float]]) -> dict[tuple[str, ...], float]:
    """The median of birds of a hatch and sex, where there are enough to tell."""
    by_like: dict[tuple[str, ...], list[float]] = {}
    for like, value in values:
        by_like.setdefault(like, []).append(value)
    least = facts.value("selection.least_contemporaries")
    return {like: median(some) for like, some in by_like.items() if len(some) >= least}


def _is_odd(value: float, usual: float | None, key: str) -> bool:
    """Whether a value is so far from what is usual that it is a slip of the pen, or a sick bird."""
    limits = facts.figure(f"selection.{key}")
    assert limits.low is not None
    assert limits.high is not None
    return usual is not None and not limits.low * usual <= value <= limits.high * usual


def _odd_weight(each: _Seen, value: float, common: float) -> bool:
    return _is_odd(value, growth.mass_g(common, growth_sex(each.sex)), "weight_odd")


def _own_eggs(
    flock: Flock, lines: Lines, left_out: Counter[str], odd: list[str]
) -> Iterator[Measure]:
    grown_d = facts.value("selection.eggs_from_age_d")
    over_d = facts.value("selection.eggs_over_d")
    for bird in flock.birds.values():
        if bird.name not in lines.places:
            continue
        born = _hatched(flock, bird, lines)
        eggs = days = weighed = 0
        total_g = 0.0
        for day, laid in bird.laid:
            if laid.eggs > laid.days + 1:
                odd.append(later(_ODD_COUNT, of=bird.name, n=laid.eggs, days=laid.days, day=day))
                continue
            if laid.total_g and laid.eggs:
                if _odd_egg(laid.total_g / laid.eggs):
                    each_g = laid.total_g / laid.eggs
                    odd.append(later(_ODD_EGGS, of=bird.name, g=each_g, day=day))
                else:
                    weighed += laid.eggs
                    total_g += laid.total_g
            begun = day - timedelta(days=laid.days - 1)
            if born is not None and (begun - born).days < grown_d:
                left_out["not_grown"] += 1
                continue
            eggs += laid.eggs
            days += laid.days
        place = (lines.places[bird.name],)
        like = ("hatch", bird.hatch or str(born))
        if days:
            yield Measure("eggs", eggs / days * over_d, place, like, 1, days, True, bird.name)
        if weighed:
            yield Measure("egg_weight", total_g / weighed, place, like, 1, weighed, True, bird.name)


def _odd_egg(mass_g: float) -> bool:
    return _is_odd(mass_g, facts.value("laying.egg_mass_g"), "egg_weight_odd")


def _group_eggs(
    flock: Flock, lines: Lines, on: date, left_out: Counter[str], odd: list[str]
) -> Iterator[Measure]:
    since = on - timedelta(days=facts.value("selection.eggs_group_days"))
    over_d = facts.value("selection.eggs_over_d")
    counted = laid_days(flock, since, on)
    weighed_of: dict[str | None, list[EggLot]] = {}
    for lot in flock.lots.values():
        if lot.weighed and since <= lot.laid <= on:
            weighed_of.setdefault(lot.group, []).append(lot)
    for group in flock.groups_alive():
        hens = tuple(at for at, member in enumerate(lines.members) if _hen_of(member, group.name))
        if not hens or group.name not in counted:
            continue
        if any(lines.members[at].ringed and _counted(flock, lines.members[at].name) for at in hens):
            left_out["pen_of_own"] += 1
            continue
        history = group_history(group, on)
        eggs, hen_days, young_days, days = 0, 0.0, 0.0, 0
        for laid in counted[group.name]:
            there, as_young = _laying(history, laid.day)
            if there <= 0 or laid.days_since > _MOST_MISSED_D:
                continue
            gap = max(1, laid.days_since)
            eggs, days = eggs + laid.eggs, days + gap
            hen_days += there * gap
            young_days += as_young * gap
        if days >= _FEWEST_DAYS and hen_days > 0:
            yield Measure(
                "eggs", eggs / young_days * over_d, hens, ("pens",), hen_days / days, days, False,
                group.name,
            )  # fmt: skip
        lots = weighed_of.get(group.name, [])
        for lot in lots:
            if _odd_egg(lot.weighed_g / lot.weighed):
                each_g = lot.weighed_g / lot.weighed
                odd.append(later(_ODD_EGGS, of=group.name, g=each_g, day=lot.laid))
        lots = [lot for lot in lots if not _odd_egg(lot.weighed_g / lot.weighed)]
        weighed = sum(lot.weighed for lot in lots)
        if weighed:
            yield Measure(
                "egg_weight", sum(lot.weighed_g for lot in lots) / weighed, hens, ("pens",),
                max(1.0, min(float(len(hens)), float(weighed))), weighed, False, group.name,
            )  # fmt: skip


_MOST_MISSED_D = 3
"""Eggs gathered after more days than this since the last count may have been counted in part."""
_FEWEST_DAYS = 7


def _hen_of(member: Member, group: str) -> bool:
    return member.alive and member.sex == "hen" and member.group == group


def _counted(flock: Flock, name: str) -> bool:
    bird = flock.birds.get(name)
    return bird is not None and bool(bird.laid)


def _laying(history: GroupHistory, day: date) -> tuple[float, float]:
    """Hens of a group in full lay by age on a day, and as many young hens as lay as much.

    None while some are younger. Hens of no known age count as young ones.
    """
    grown_d = facts.value("selection.eggs_from_age_d")
    for stretch in history.stretches:
        if stretch.first <= day < stretch.end:
            ages = [(cohort.age_d(day), cohort.hens) for cohort in stretch.cohorts if cohort.hens]
            if any(age is not None and age < grown_d for age, _ in ages):
                return 0.0, 0.0
            return (
                sum(hens for _, hens in ages),
                sum(hens * (1.0 if age is None else _of_young(age)) for age, hens in ages),
            )
    return 0.0, 0.0


@cache
def _of_young(age_d: int) -> float:
    """The lay of hens of an age over that of hens in the first 90 days of full lay."""
    first = round(facts.value("selection.eggs_from_age_d"))
    over = range(first, first + round(facts.value("selection.eggs_over_d")))
    young = sum(hen_day_rate(age) for age in over) / len(over)
    return max(_LEAST_LAY, hen_day_rate(age_d) / young)


_LEAST_LAY = 0.2
"""Of very old hens no more is made than that: the curve is not known so far."""


_ODD_WEIGHT = mark(
    "{of}: {g:.0f} g on {day} is far from what such birds weigh, and is left out. Correct it in "
    "the journal, or weigh again; a bird that is truly so light or heavy is no breeder."
)
_ODD_COUNT = mark(
    "{of}: {n} eggs in {days} days, up to {day}, are more than a hen lays, and are left out. "
    "Correct them in the journal."
)
_ODD_EGGS = mark(
    "{of}: {g:.0f} g an egg on {day} is far from what an egg weighs, and is left out. Correct it "
    "in the journal."
)
_MOST_ODD = 6


def _odd_said(odd: list[str]) -> Iterator[str]:
    yield from odd[:_MOST_ODD]
    if len(odd) > _MOST_ODD:
        yield later_many(
            "{n} more record is as far from what is usual, and is left out.",
            "{n} more records are as far from what is usual, and are left out.",
            len(odd) - _MOST_ODD,
        )


def _said(left_out: Counter[str], age: WeightAge) -> Iterator[str]:
    weeks = facts.value(f"selection.weight_age_{age}_d") / 7
    limits = facts.figure(f"selection.weight_age_{age}_d")
    if left_out["age"]:
        yield later_many(
            "{n} weighing is left out: weights are compared as of {weeks:.0f} weeks, and only ages "
            "from {low:.0f} to {high:.0f} days come near enough.",
            "{n} weighings are left out: weights are compared as of {weeks:.0f} weeks, and only "
            "ages from {low:.0f} to {high:.0f} days come near enough.",
            left_out["age"],
            weeks=weeks,
            low=limits.low,
            high=limits.high,
        )
    if left_out["no_age"]:
        yield later_many(
            "{n} weighing is left out: nobody told when that bird hatched.",
            "{n} weighings are left out: nobody told when those birds hatched.",
            left_out["no_age"],
        )
    if left_out["mixed_age"]:
        yield later_many(
            "{n} weighing of a group is left out: its birds are of several ages, or of none told.",
            "{n} weighings of groups are left out: their birds are of several ages, or of none "
            "told.",
            left_out["mixed_age"],
        )
    if left_out["group_of_own"]:
        yield later_many(
            "{n} weighing of a group is left out: its ringed birds have weights of their own.",
            "{n} weighings of groups are left out: their ringed birds have weights of their own.",
            left_out["group_of_own"],
        )
    if left_out["pen_of_own"]:
        yield later_many(
            "The eggs of {n} group are left out: hens of it have counts of their own.",
            "The eggs of {n} groups are left out: hens of them have counts of their own.",
            left_out["pen_of_own"],
        )
    if left_out["not_grown"]:
        yield later_many(
            "{n} count of a hen's eggs is left out: she was younger than 8 weeks, and not yet in "
            "full lay.",
            "{n} counts of hens' eggs are left out: they were younger than 8 weeks, and not yet "
            "in full lay.",
            left_out["not_grown"],
        )
