"""The chicks of a cross: exact odds, by Mendel's rules and what is published of looks.

Loci of autosomes are inherited apart: those published lie on different chromosomes, or are not
placed. Loci on Z go together: a hen gives hers to her sons alone, whole; a cock's two recombine.
"""

from collections import defaultdict
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cache
from itertools import pairwise, product
from typing import Any, Final

from quailwright.husbandry import facts
from quailwright.husbandry.plumage.table import (
    NONE_HERE,
    Lethal,
    Pair,
    Shown,
    is_lethal,
    lethals,
    predicted,
    seen_of,
    shown,
)

Z: Final = "Z"
"""The loci on Z as one unit; every other unit is a locus by its code."""

Strand = tuple[str, ...]
"""One Z: its alleles, in the order of the loci on Z that a cross is reckoned for."""
Genes = tuple[Any, ...]
"""What a bird has at a unit: a `Pair`, or of Z its `Strand`s, two of a cock, one of a hen."""
Guess = Mapping[str, Sequence[tuple[Genes, Fraction]]]
"""What a bird may have at each unit, with its chance; units are independent of one another."""
States = frozenset[str]
Odds = Mapping[Shown, Fraction]

HALF: Final = Fraction(1, 2)


def recombination() -> Fraction:
    """The share of a cock's gametes in which AL and BR of Z have parted company, by default."""
    return Fraction(str(facts.value("plumage.recombination_al_br")))


def parted(codes: Iterable[str]) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """These loci in the order of the table: those of autosomes, those on Z."""
    wanted = set(codes)
    known = [locus for code, locus in predicted().items() if code in wanted]
    return (
        tuple(locus.code for locus in known if not locus.on_z),
        tuple(locus.code for locus in known if locus.on_z),
    )


@cache
def of_locus(code: str, cock: Pair, hen: Pair) -> Mapping[Pair, Fraction]:
    """Genotypes of the embryos of two birds at a locus of an autosome, dead ones too."""
    locus = predicted()[code]
    found: dict[Pair, Fraction] = defaultdict(Fraction)
    for one, other in product(cock, hen):
        found[locus.ordered(one, other)] += HALF * HALF
    return dict(found)


@cache
def strands_given(strands: tuple[Strand, ...], rate: Fraction) -> Mapping[Strand, Fraction]:
    """The Z that a bird's gametes carry: a hen's own; a cock's two, recombined between loci.

    Args:
        strands: one of a hen, two of a cock.
        rate: recombination between loci that follow one another, 0 to 1/2.
    """
    if len(strands) == 1:
        return {strands[0]: Fraction(1)}
    found: dict[Strand, Fraction] = defaultdict(Fraction)
    for sides in product((0, 1), repeat=len(strands[0])):
        chance = HALF
        for before, after in pairwise(sides):
            chance *= rate if before != after else 1 - rate
        found[tuple(strands[side][n] for n, side in enumerate(sides))] += chance
    return dict(found)


@cache
def _z_states(codes: tuple[str, ...], strands: tuple[Strand, ...]) -> States:
    known = predicted()
    seen = set()
    for n, code in enumerate(codes):
        if len(strands) == 1:
            pair = (strands[0][n], NONE_HERE)
        else:
            pair = known[code].ordered(strands[0][n], strands[1][n])
        seen.add(seen_of(code, pair))
    return frozenset(seen - {""})


Chances = Mapping[States, Fraction]


@cache
def _living(code: str, cock: Pair, hen: Pair) -> tuple[Chances, Fraction, Fraction]:
    """Looks of the chicks that hatch, the share of embryos that die, the share of chicks that
    hide a mutant allele behind a wild look."""
    embryos = of_locus(code, cock, hen)
    dead = sum((share for pair, share in embryos.items() if is_lethal(code, pair)), Fraction())
    found: dict[States, Fraction] = defaultdict(Fraction)
    hiding = Fraction()
    wild = predicted()[code].wild
    for pair, share in embryos.items():
        if is_lethal(code, pair):
            continue
        seen = seen_of(code, pair)
        found[frozenset({seen} - {""})] += share / (1 - dead)
        if not seen and pair != (wild, wild):
            hiding += share / (1 - dead)
    return dict(found), dead, hiding


@cache
def _on_z(
    codes: tuple[str, ...], cock: tuple[Strand, ...], hen: tuple[Strand, ...], rate: Fraction
) -> tuple[Chances, Chances]:
    """Looks of sons and of daughters, as far as loci on Z make them."""
    sons: dict[States, Fraction] = defaultdict(Fraction)
    daughters: dict[States, Fraction] = defaultdict(Fraction)
    for strand, chance in strands_given(cock, rate).items():
        daughters[_z_states(codes, (strand,))] += chance
        sons[_z_states(codes, (strand, hen[0]))] += chance
    return dict(sons), dict(daughters)


@dataclass(frozen=True, slots=True)
class Death:
    """A share of the embryos that never hatches, and why."""

    lethal: Lethal
    share: Fraction


@dataclass(frozen=True, slots=True)
class Cross:
    """The chicks of a cross.

    Attributes:
        cocks, hens: odds of each look among the sons that hatch, and the daughters; each sums
            to 1.
        deaths: shares of all embryos that die of lethal genotypes.
        hiding: share of the chicks that look wild at a locus and hide an allele there, by locus
            of an autosome.
        ranges: lowest and highest odds of each look among all chicks, over what the parents may
            hide; None where there is nothing hidden, or too much to go through.
    """

    cocks: Odds
    hens: Odds
    deaths: tuple[Death, ...]
    hiding: Mapping[str, Fraction]
    ranges: Mapping[Shown, tuple[Fraction, Fraction]] | None

    @property
    def chicks(self) -> Odds:
        """Odds among all chicks that hatch, half of them hens."""
        found: dict[Shown, Fraction] = defaultdict(Fraction)
        for odds in (self.cocks, self.hens):
            for seen, chance in odds.items():
                found[seen] += chance * HALF
        return dict(sorted(found.items(), key=lambda one: (-one[1], one[0])))

    @property
    def hatching(self) -> Fraction:
        """The share of embryos that no lethal genotype takes."""
        left = Fraction(1)
        for death in self.deaths:
            left *= 1 - death.share
        return left


_MOST_WAYS: Final = 2_000
"""So many combinations of hidden genotypes are gone through for a range."""

_Way = tuple[Chances, Chances]
"""Looks of sons and of daughters, by one unit."""


def _ways(
    unit: str, cock: Guess, hen: Guess, z_codes: tuple[str, ...], rate: Fraction
) -> Iterator[tuple[_Way, Fraction, Fraction, Fraction]]:
    """For each pair that the parents may be at a unit: looks, chance, dead share, hiding share."""
    for (of_cock, first), (of_hen, second) in product(cock[unit], hen[unit]):
        if unit == Z:
            yield _on_z(z_codes, of_cock, of_hen, rate), first * second, Fraction(), Fraction()
        else:
            chances, dead, hiding = _living(unit, of_cock, of_hen)
            yield (chances, chances), first * second, dead, hiding


def _mean(ways: Sequence[tuple[_Way, Fraction]]) -> _Way:
    made: tuple[dict[States, Fraction], dict[States, Fraction]] = ({}, {})
    for way, chance in ways:
        for side, chances in zip(made, way, strict=True):
            for states, share in chances.items():
                side[states] = side.get(states, Fraction()) + share * chance
    return made


def together(parts: Sequence[Chances]) -> Odds:
    """What is seen, where units show these looks, each apart from the others."""
    found: dict[States, Fraction] = {frozenset(): Fraction(1)}
    for chances in parts:
        grown: dict[States, Fraction] = defaultdict(Fraction)
        for (states, share), (more, chance) in product(found.items(), chances.items()):
            if chance:
                grown[states | more] += share * chance
        found = grown
    odds: dict[Shown, Fraction] = defaultdict(Fraction)
    for states, share in found.items():
        odds[shown(states)] += share
    return dict(sorted(odds.items(), key=lambda one: (-one[1], one[0])))


def cross(cock: Guess, hen: Guess, codes: Iterable[str], rate: Fraction | None = None) -> Cross:
    """The odds of a cross, averaged over what the parents may be.

    Args:
        cock, hen: what each may have, at the same units.
        codes: the loci reckoned with; all others are wild.
        rate: recombination between loci on Z in cocks; None: the table's.
    """
    apart, on_z = parted(codes)
    rate = recombination() if rate is None else rate
    units = (*apart, *((Z,) if on_z else ()))
    means: list[_Way] = []
    deaths, hiding = [], {}
    choices: list[list[_Way]] = []
    for unit in units:
        ways = list(_ways(unit, cock, hen, on_z, rate))
        means.append(_mean([(way, chance) for way, chance, _, _ in ways]))
        dead = sum((chance * died for _, chance, died, _ in ways), Fraction())
        if dead:
            (lethal,) = (each for each in lethals() if each.locus == unit)
            deaths.append(Death(lethal, dead))
        hidden = sum((chance * hides for _, chance, _, hides in ways), Fraction())
        if hidden:
            hiding[unit] = hidden
        distinct: list[_Way] = []
        for way, chance, _, _ in ways:
            if chance and way not in distinct:
                distinct.append(way)
        choices.append(distinct)
    return Cross(
        together([sons for sons, _ in means]),
        together([daughters for _, daughters in means]),
        tuple(deaths),
        hiding,
        _ranges(choices),
    )


def _ranges(
    choices: Sequence[Sequence[_Way]],
) -> Mapping[Shown, tuple[Fraction, Fraction]] | None:
    number = 1
    for distinct in choices:
        number *= len(distinct)
    if not 1 < number <= _MOST_WAYS:
        return None
    every = [whole(ways) for ways in product(*choices)]
    looks = {seen for odds in every for seen in odds}
    return {
        seen: (
            min(odds.get(seen, Fraction()) for odds in every),
            max(odds.get(seen, Fraction()) for odds in every),
        )
        for seen in sorted(looks)
    }


def whole(ways: Sequence[_Way]) -> Odds:
    """Odds among all chicks, by one way at each unit."""
    found: dict[Shown, Fraction] = defaultdict(Fraction)
    for side in (0, 1):
        for seen, share in together([way[side] for way in ways]).items():
            found[seen] += share * HALF
    return found


def by_sex(
    cock: Mapping[str, Genes], hen: Mapping[str, Genes], on_z: tuple[str, ...], rate: Fraction
) -> tuple[Odds, Odds]:
    """Odds among sons and among daughters of two birds whose genes are known."""
    ways: list[_Way] = []
    for unit in cock:
        certain = {unit: [(cock[unit], Fraction(1))]}, {unit: [(hen[unit], Fraction(1))]}
        ways += [way for way, _, _, _ in _ways(unit, *certain, on_z, rate)]
    return together([sons for sons, _ in ways]), together([daughters for _, daughters in ways])
