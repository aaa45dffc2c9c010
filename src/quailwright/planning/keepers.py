"""Whom to keep: living birds ranked by what they pass on, and what the choice brings."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.typing import NDArray

from quailwright.flock.pedigree import Lines, Member, lines_of
from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.husbandry.inheritance.effective_size import census
from quailwright.husbandry.inheritance.kinship import relationships
from quailwright.husbandry.selection.response import Scheme, expected_gains
from quailwright.husbandry.selection.traits import (
    TRAITS,
    TraitName,
    accuracy_of_days,
    egg_weight_noise,
)
from quailwright.journal.findings import BadInput
from quailwright.language import later, later_many, say
from quailwright.planning.merit import Basis, Goal, Merits, merits

Array = NDArray[np.float64]

LIKELY_Z = 1.2816
"""Ranges given are the middle 80 % of a normal curve."""
MOST_WEIGHT = 10.0


@dataclass(frozen=True, slots=True)
class Range:
    """A figure, and the middle 80 % of where it may lie."""

    mean: float
    low: float
    high: float

    @classmethod
    def of(cls, mean: float, variance: float) -> "Range":
        """By its variance."""
        reach = LIKELY_Z * math.sqrt(max(0.0, variance))
        return cls(mean, mean - reach, mean + reach)


@dataclass(frozen=True, slots=True)
class Ask:
    """What is asked.

    Attributes:
        hatch: only birds of this hatch; None: all that live.
        cocks, hens: how many to keep; None: as the tool advises.
        goal: how much each trait counts; None: as the holding's own goal tells.
    """

    hatch: str | None = None
    cocks: int | None = None
    hens: int | None = None
    goal: Goal | None = None


@dataclass(frozen=True, slots=True)
class Ranked:
    """A bird to choose from.

    Attributes:
        points: what it passes on towards the goal, above the middle of those asked about [usual
            spreads between birds].
        traits: the same by trait, in the unit of each.
        accuracy: how surely `points` is known, 0 to 1.
        parents: names of its parents where known for sure, "" else.
        kept: whether to keep it.
        instead: whose kin it is that is kept in its stead, by name; "" where that is not why.
    """

    place: int
    member: Member
    points: Range
    traits: Mapping[TraitName, Range]
    accuracy: float
    parents: tuple[str, str]
    kept: bool
    instead: str = ""


@dataclass(frozen=True, slots=True)
class Pen:
    """Birds of a group that have no ring, as their means and parents tell of them together."""

    group: str
    birds: int
    points: Range
    accuracy: float


@dataclass(frozen=True, slots=True)
class Worth:
    """What a way of recording would bring: the gain of one generation chosen by it.

    Attributes:
        trait: in whose unit.
        gain: of the first chicks, in all.
        cocks, of_cocks, hens, of_hens: kept of how many; of eggs cocks are taken as they come.
    """

    trait: TraitName
    gain: Range
    cocks: int
    of_cocks: int
    hens: int
    of_hens: int


@dataclass(frozen=True)
class Keepers:
    """Whom to keep, and what that brings.

    Attributes:
        goal: how much each trait counts; `goal_own`: as asked, else by the holding's goal.
        cocks, hens: ranked, the best first.
        change: of each trait in the next chicks, against chicks of all birds asked about;
            `free_change`, `free_inbreeding`: as if kin did not matter, {} and NaN where it is
            the same choice.
        inbreeding: of those chicks, mean over the cocks and hens kept, and the highest;
            `inbreeding_all`: the mean if all were bred from. NaN where none are kept.
        effective_size: of those kept; NaN where a sex is missing.
        pens: groups of birds without a ring, the best first.
        worth: what to record would bring.
        notes: what is to be known; to be said when shown.
    """

    on: date
    hatch: str | None
    goal: Goal
    goal_own: bool
    merits: Merits
    cocks: list[Ranked]
    hens: list[Ranked]
    change: Mapping[TraitName, Range]
    free_change: Mapping[TraitName, Range]
    free_inbreeding: float
    inbreeding: float
    inbreeding_most: float
    inbreeding_all: float
    effective_size: float
    pens: list[Pen]
    worth: list[Worth]
    notes: list[str] = field(default_factory=list)

    @property
    def kept(self) -> list[Ranked]:
        """All that are kept, cocks first."""
        return [one for one in (*self.cocks, *self.hens) if one.kept]


def default_goal(flock: Flock) -> dict[TraitName, float]:
    """What counts where nothing else is asked: by what the holding says that it wants."""
    goal = flock.goal
    table = bool(goal is not None and goal.table_birds_per_month)
    eggs = bool(goal is not None and goal.eggs_per_week)
    if table and not eggs:
        return {"weight": 2.0, "eggs": 1.0, "egg_weight": 0.0}
    if eggs and not table:
        return {"weight": 0.0, "eggs": 2.0, "egg_weight": 1.0}
    return {"weight": 1.0, "eggs": 1.0, "egg_weight": 0.0}


def keepers(flock: Flock, on: date, ask: Ask, lines: Lines | None = None) -> Keepers:
    """Whom of the living to keep for breeding.

    The best by the goal, with as few brothers among the cocks and sisters among the hens as
    `selection.sons_a_sire` and `selection.sisters` say, and no more than half of the hens of one
    father, as long as others are there.

    Raises:
        BadInput: a hatch that nobody logged, counts or a goal that cannot be.
    """
    lines = lines or lines_of(flock)
    _check(flock, ask)
    goal = ask.goal or default_goal(flock)
    found = merits(flock, lines, on)
    asked = [
        at for at in lines.alive
        if lines.members[at].ringed and _of_hatch(flock, lines.members[at], ask.hatch)
    ]  # fmt: skip
    by_sex = {
        sex: [at for at in asked if lines.members[at].sex == sex]
        for sex in ("cock", "hen", "unknown")
    }
    notes: list[str] = []
    if by_sex["unknown"]:
        notes.append(
            later_many(
                "{n} ringed bird is of unknown sex and stands in no list: log it again with its "
                "sex.",
                "{n} ringed birds are of unknown sex and stand in no list: log them again with "
                "their sex.",
                len(by_sex["unknown"]),
            )
        )
    notes += _held(flock, lines, asked, on)
    wanted = _wanted(ask, len(by_sex["cock"]), len(by_sex["hen"]))
    base = np.zeros(len(lines.members))
    grown = [*by_sex["cock"], *by_sex["hen"]]
    base[grown] = 1 / max(1, len(grown))
    ranked = {
        "cock": _ranked(found, goal, by_sex["cock"], base, wanted[0], _of_cocks()),
        "hen": _ranked(found, goal, by_sex["hen"], base, wanted[1],
                       _of_hens(lines, by_sex["hen"], wanted[1])),
    }  # fmt: skip
    notes += _short(ask, by_sex, wanted)
    kept = {sex: [one.place for one in some if one.kept] for sex, some in ranked.items()}
    inbred = _inbreeding(lines, kept["cock"], kept["hen"])
    all_inbred = _inbreeding(lines, by_sex["cock"], by_sex["hen"])
    both = bool(kept["cock"] and kept["hen"])
    free = {sex: [one.place for one in some[: len(kept[sex])]] for sex, some in ranked.items()}
    other = both and any(set(free[sex]) != set(kept[sex]) for sex in kept)
    return Keepers(
        on,
        ask.hatch,
        goal,
        ask.goal is not None,
        found,
        ranked["cock"],
        ranked["hen"],
        _change(found, by_sex, kept) if both else {},
        _change(found, by_sex, free) if other else {},
        _inbreeding(lines, free["cock"], free["hen"])[0] if other else math.nan,
        inbred[0],
        inbred[1],
        all_inbred[0],
        float(census(len(kept["cock"]), len(kept["hen"]))) if both else math.nan,
        _pens(found, goal),
        worth_of_records(flock, found, wanted),
        notes,
    )


def _held(flock: Flock, lines: Lines, asked: Sequence[int], on: date) -> list[str]:
    """Sentences on groups of those asked about that are in quarantine, or treated of late."""
    notes: list[str] = []
    for name in sorted({lines.members[at].group or "" for at in asked}):
        group = flock.groups.get(name)
        place = flock.places.get(group.place) if group is not None else None
        if place is not None and place.quarantined_until and place.quarantined_until >= on:
            notes.append(
                later(
                    "{group} is in quarantine up to and on {day}: choose now, but let none of it "
                    "meet the others before.",
                    group=name,
                    day=place.quarantined_until,
                )
            )
        held = flock.meat_withheld_on(name, on) or flock.withheld_on(name, on)
        if held is not None:
            notes.append(
                later(
                    "{group} was treated with {product}, and its eggs or meat are withheld: those "
                    "not kept are not to be eaten or sold yet. Ask the vet before you breed from "
                    "it.",
                    group=name,
                    product=held.product,
                )
            )
    return notes


def _check(flock: Flock, ask: Ask) -> None:
    if ask.hatch is not None and ask.hatch not in flock.hatches:
        known = sorted({b.hatch for b in flock.birds.values() if b.hatch} | set(flock.hatches))
        if ask.hatch not in known:
            raise BadInput(
                say(
                    "No hatch is called {hatch!r}. Hatches: {known}.",
                    hatch=ask.hatch,
                    known=", ".join(known) or say("none"),
                )
            )
    for number in (ask.cocks, ask.hens):
        if number is not None and not 0 <= number <= _MOST_KEPT:
            raise BadInput(
                say(
                    "Birds to keep are a number from 0 to {most}, not {told}.",
                    most=_MOST_KEPT,
                    told=number,
                )
            )
    if ask.goal is not None:
        for name, weight in ask.goal.items():
            if not (math.isfinite(weight) and 0 <= weight <= MOST_WEIGHT):
                raise BadInput(
                    say(
                        "How much {trait} counts is a number from 0 to {most:g}, not {told:g}.",
                        trait=name,
                        most=MOST_WEIGHT,
                        told=weight,
                    )
                )
        if not any(ask.goal.values()):
            raise BadInput(say("Say what counts: weight, eggs or egg_weight above 0."))


_MOST_KEPT = 10_000


def _of_hatch(flock: Flock, member: Member, hatch: str | None) -> bool:
    if hatch is None:
        return True
    bird = flock.birds.get(member.name)
    return bird is not None and bird.hatch == hatch


def _wanted(ask: Ask, cocks: int, hens: int) -> tuple[int, int]:
    """Cocks and hens to keep, as asked or as advised; more than there are, as asked."""
    of_cocks = int(facts.value("selection.cocks_kept"))
    keep_cocks = min(of_cocks, cocks) if ask.cocks is None else ask.cocks
    a_cock = int(facts.value("housing.hens_per_cock"))
    keep_hens = min(a_cock * max(1, keep_cocks), hens) if ask.hens is None else ask.hens
    return keep_cocks, keep_hens


def _short(ask: Ask, by_sex: Mapping[str, list[int]], wanted: tuple[int, int]) -> list[str]:
    notes: list[str] = []
    if wanted[0] > len(by_sex["cock"]):
        notes.append(
            later(
                "You asked for {wanted} cocks, and {there} stand ringed to choose from.",
                wanted=wanted[0],
                there=len(by_sex["cock"]),
            )
        )
    if wanted[1] > len(by_sex["hen"]):
        notes.append(
            later(
                "You asked for {wanted} hens, and {there} stand ringed to choose from.",
                wanted=wanted[1],
                there=len(by_sex["hen"]),
            )
        )
    return notes


Family = tuple[tuple[tuple[int, float], ...], ...]
FamilyOf = Callable[[Lines, int], Family | None]
Limits = Sequence[tuple[FamilyOf, int]]
"""The most to keep of each family, by what makes one."""


def _of_cocks() -> Limits:
    return [(_by_father, int(facts.value("selection.sons_a_sire")))]


def _of_hens(lines: Lines, hens: Sequence[int], keep: int) -> Limits:
    """Few sisters, as equal of each pair of parents as may be; half of one father at most."""
    pairs = {_by_both(lines, at) for at in hens} - {None}
    even = math.ceil(keep / max(1, len(pairs)))
    sisters = min(max(1, even), int(facts.value("selection.sisters")))
    return [(_by_both, sisters), (_by_father, max(1, math.ceil(keep / 2)))]


def _by_father(lines: Lines, at: int) -> Family | None:
    """Cocks of one father are brothers; None where he is not known for sure."""
    fathers = lines.pedigree.fathers[at]
    return None if not _sure(fathers) else (tuple(fathers.items()),)


def _by_both(lines: Lines, at: int) -> Family | None:
    """Hens of one father and one mother are sisters; None where one is not known for sure."""
    fathers, mothers = lines.pedigree.fathers[at], lines.pedigree.mothers[at]
    if not (_sure(fathers) and _sure(mothers)):
        return None
    return tuple(fathers.items()), tuple(mothers.items())


def _sure(chances: Mapping[int, float]) -> bool:
    return len(chances) == 1 and next(iter(chances.values())) > 1 - 1e-6


def _ranked(
    found: Merits,
    goal: Goal,
    places: list[int],
    base: Array,
    keep: int,
    limits: Limits,
) -> list[Ranked]:
    """Birds of a sex by what they pass on, with those to keep."""
    if not places:
        return []
    lines = found.lines
    towards = found.towards(goal)
    above = found.values[:, places] - (found.values @ base)[:, None]
    points = towards @ above
    own, blocks = found.error_blocks(places, base)
    errors = blocks @ towards @ towards
    surely = found.accuracy(places, towards, own)
    order = sorted(
        range(len(places)), key=lambda k: (-round(float(points[k]), 9), _name(lines, places[k]))
    )
    kept, instead = _choice(lines, [places[k] for k in order], keep, limits)
    return [
        Ranked(
            places[k],
            lines.members[places[k]],
            Range.of(float(points[k]), float(errors[k])),
            {
                name: Range.of(float(above[n, k]), float(blocks[k, n, n]))
                for n, name in enumerate(TRAITS)
            },
            float(surely[k]),
            _parents(lines, places[k]),
            places[k] in kept,
            instead.get(places[k], ""),
        )
        for k in order
    ]


def _name(lines: Lines, at: int) -> str:
    return lines.members[at].name


def _choice(
    lines: Lines, order: Sequence[int], keep: int, limits: Limits
) -> tuple[set[int], dict[int, str]]:
    """Those kept; and of those passed over for kin, the name of that kin."""
    kept: list[int] = []
    passed: dict[int, str] = {}
    families: dict[tuple[int, Family], list[int]] = {}
    for at in order:
        if len(kept) >= keep:
            break
        keys = [
            ((n, family), most)
            for n, (family_of, most) in enumerate(limits)
            if (family := family_of(lines, at)) is not None
        ]
        full = [key for key, most in keys if len(families.get(key, [])) >= most]
        if full:
            passed[at] = _name(lines, families[full[0]][0])
            continue
        kept.append(at)
        for key, _ in keys:
            families.setdefault(key, []).append(at)
    for at in list(passed):  # Where too few others are there, kin are kept after all.
        if len(kept) >= keep:
            break
        kept.append(at)
        del passed[at]
    return set(kept), passed


def _parents(lines: Lines, at: int) -> tuple[str, str]:
    father, mother = (
        _name(lines, next(iter(chances))) if _sure(chances) else ""
        for chances in (lines.pedigree.fathers[at], lines.pedigree.mothers[at])
    )
    return father, mother


def _inbreeding(lines: Lines, cocks: list[int], hens: list[int]) -> tuple[float, float]:
    """Mean and highest inbreeding of chicks of these cocks by these hens, each by each."""
    if not (cocks and hens):
        return math.nan, math.nan
    related = relationships(lines.pedigree, np.array([*cocks, *hens]))
    kin = related[: len(cocks), len(cocks) :] / 2
    return float(kin.mean()), float(kin.max())


def _change(
    found: Merits, by_sex: Mapping[str, list[int]], kept: Mapping[str, list[int]]
) -> dict[TraitName, Range]:
    """What the chicks of those kept have above chicks of all, with its spread.

    The spread is of what the values are not sure of, of the chance part of so many chicks, and of
    a heritability not known for sure, which moves the gain in proportion at most.
    """
    contrast = np.zeros((1, len(found.lines.members)))
    for sex in ("cock", "hen"):
        np.add.at(contrast[0], kept[sex], 0.5 / len(kept[sex]))
        np.add.at(contrast[0], by_sex[sex], -0.5 / len(by_sex[sex]))
    chicks = facts.value("selection.chicks_raised")
    change = {}
    for n, name in enumerate(TRAITS):
        one = np.eye(len(TRAITS))[n]
        mean = float((contrast @ found.values[n])[0])
        variance = float(found.errors(contrast, one)[0, 0]) + found.genes[n, n] / 2 / chicks
        basis = found.bases[name]
        variance += (mean * basis.heritability_sd / basis.heritability) ** 2
        change[name] = Range.of(mean, variance)
    return change


def _pens(found: Merits, goal: Goal) -> list[Pen]:
    """Groups of living birds without a ring, by what they pass on as a group."""
    lines = found.lines
    groups: dict[str, list[int]] = {}
    for at in lines.alive:
        member = lines.members[at]
        if not member.ringed and member.group:
            groups.setdefault(member.group, []).append(at)
    if not groups:
        return []
    contrasts = np.zeros((len(groups), len(lines.members)))
    for n, places in enumerate(groups.values()):
        contrasts[n, places] = 1 / len(places)
    towards = found.towards(goal)
    before = _variances(lines, contrasts) * float(towards @ found.genes @ towards)
    errors = np.diag(found.errors(contrasts, towards))
    told = np.sqrt(np.clip(1 - errors / before, 0, 1))
    against = contrasts - contrasts.mean(0)
    points = against @ (towards @ found.values)
    spread = np.diag(found.errors(against, towards))
    pens = [
        Pen(name, len(places), Range.of(float(points[n]), float(spread[n])), float(told[n]))
        for n, (name, places) in enumerate(groups.items())
    ]
    return sorted(pens, key=lambda pen: (-round(pen.points.mean, 9), pen.group))


def _variances(lines: Lines, contrasts: Array) -> Array:
    used = np.flatnonzero(np.abs(contrasts).sum(0))
    related = relationships(lines.pedigree, used)
    some = contrasts[:, used]
    found: Array = np.einsum("ij,jk,ik->i", some, related, some)
    return found


def birds_there(flock: Flock) -> tuple[int, int]:
    """Cocks and hens that live, chicks taken as half of each."""
    cocks = hens = 0
    for group in flock.groups_alive():
        cocks += group.alive.cocks + group.alive.chicks // 2
        hens += group.alive.hens + (group.alive.chicks + 1) // 2
    return cocks, hens


def scheme_of(basis: Basis, cocks: tuple[int, int], hens: tuple[int, int]) -> Scheme:
    """So many kept of so many of each sex, by what is easily measured of a trait.

    Weight is each bird's own, eggs those of some days that a hen is alone, egg weight the mean of
    as many eggs. Only hens lay: by eggs, cocks are taken as they come.
    """
    days = facts.value("selection.hens_alone_d")
    told = basis.heritability
    if basis.name == "eggs":
        rate = min(max(basis.mean / facts.value("selection.eggs_over_d"), 0.05), 0.95)
        told = accuracy_of_days(rate, days) ** 2
    elif basis.name == "egg_weight":
        told = basis.sd_a**2 / (basis.sd**2 + egg_weight_noise(basis.mean, days))
    unsure = basis.heritability_sd * told / basis.heritability
    of_cocks = cocks[1] if basis.name == "weight" else cocks[0]
    return Scheme(told, unsure, basis.sd_a / math.sqrt(told), cocks[0], of_cocks, *hens)


def worth_of_records(flock: Flock, found: Merits, wanted: tuple[int, int]) -> list[Worth]:
    """What weighing every bird, and counting each hen's eggs for some days, would bring.

    Birds to choose from are all that live, chicks taken as half cocks.
    """
    of_cocks, of_hens = birds_there(flock)
    cocks = min(wanted[0] or int(facts.value("selection.cocks_kept")), of_cocks)
    hens = min(wanted[1] or cocks * int(facts.value("housing.hens_per_cock")), of_hens)
    if not (cocks and hens):
        return []
    of_two = (cocks, of_cocks), (hens, of_hens)
    rows = []
    if cocks < of_cocks or hens < of_hens:
        rows.append(_worth("weight", scheme_of(found.bases["weight"], *of_two)))
    if hens < of_hens:
        rows.append(_worth("eggs", scheme_of(found.bases["eggs"], *of_two)))
    return rows


def _worth(name: TraitName, scheme: Scheme) -> Worth:
    gain = expected_gains(scheme, 1)[0]
    return Worth(
        name, Range.of(gain.mean, gain.sd**2), scheme.cocks, scheme.of_cocks, scheme.hens,
        scheme.of_hens,
    )  # fmt: skip
