"""What choosing the best brings over generations, and what it costs in inbreeding."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

import numpy as np

from quailwright.flock.pedigree import Lines, lines_of
from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.selection.index import FULL_SIBS, best_index, own_and_family
from quailwright.husbandry.selection.response import (
    Scheme,
    correlated_response,
    expected_gains,
    generation_interval,
    intensity,
    response,
)
from quailwright.husbandry.selection.simulated import simulated
from quailwright.husbandry.selection.traits import TRAITS, TraitName
from quailwright.journal.findings import BadInput
from quailwright.language import say
from quailwright.planning.keepers import LIKELY_Z, Range, birds_there, default_goal, scheme_of
from quailwright.planning.merit import Basis, merits

MOST_GENERATIONS = 10
"""Realised heritability falls to a third within some 20 generations (Marks 1996)."""
MOST_BIRDS = 400
GENERATIONS, SEED = 5, 1
"""Where nothing else is asked."""
_WORK = 2e6


@dataclass(frozen=True, slots=True)
class GainAsk:
    """What is asked; what is None is taken from the flock.

    Attributes:
        by: the trait that birds are chosen by; None: what the holding's goal has most of.
        cocks, of_cocks, hens, of_hens: kept, and to choose from, each generation.
        generations, seed: 1 to 10; of the chance that inbreeding is reckoned with.
    """

    by: TraitName | None = None
    cocks: int | None = None
    of_cocks: int | None = None
    hens: int | None = None
    of_hens: int | None = None
    generations: int = GENERATIONS
    seed: int = SEED


@dataclass(frozen=True, slots=True)
class GenerationAhead:
    """A generation of chicks: what each trait has gained, and how inbred they are.

    Attributes:
        gains: by trait, in its unit, from now on.
        inbreeding: by chance and the choice among kin; `inbreeding_even`: if parents were drawn
            at random.
    """

    number: int
    gains: Mapping[TraitName, Range]
    inbreeding: float
    inbreeding_even: float


@dataclass(frozen=True)
class GainAhead:
    """The gain of some generations.

    Attributes:
        by: the trait that birds are chosen by; `bases`: what is known of each trait.
        scheme: who is kept of how many, with what of the trait a record tells.
        weeks: of a generation: between the hatches of parents and chicks by the record, where it
            tells of enough; else as usual.
        by_sisters: what cocks chosen by the mean of their sisters' records would add to the first
            chicks; 0 of weight, which cocks have themselves. `sisters`: how many each has.
    """

    on: date
    by: TraitName
    bases: Mapping[TraitName, Basis]
    scheme: Scheme
    generations: list[GenerationAhead]
    weeks: float
    by_sisters: float
    sisters: int


def gain_ahead(flock: Flock, on: date, ask: GainAsk) -> GainAhead:
    """What choosing by one trait brings, for so many kept of so many.

    Weight is each bird's own, egg number that of some days that each hen is alone, egg weight the
    mean of so many eggs; for eggs, cocks are taken as they come. Other traits follow by their
    genetic correlations. Those here now are taken as unrelated.

    Raises:
        BadInput: counts that cannot be.
    """
    if not 1 <= ask.generations <= MOST_GENERATIONS:
        raise BadInput(
            say(
                "Generations are a number from 1 to {most}: further ahead nobody can tell.",
                most=MOST_GENERATIONS,
            )
        )
    lines = lines_of(flock)
    found = merits(flock, lines, on)
    goal = default_goal(flock)
    by = ask.by if ask.by is not None else max(TRAITS, key=lambda name: goal[name])
    scheme = _scheme(flock, found.bases, by, ask)
    draws = int(max(20, min(200, _WORK / (scheme.of_cocks + scheme.of_hens) ** 2)))
    inbred, even = (
        simulated(
            scheme, ask.generations, draws, np.random.default_rng(ask.seed), chosen
        ).inbreeding.mean(0)
        for chosen in (True, False)
    )
    generations = [
        GenerationAhead(
            gain.generation,
            {name: _of(name, by, gain.mean, gain.sd, found.bases) for name in TRAITS},
            float(inbred[n]),
            float(even[n]),
        )
        for n, gain in enumerate(expected_gains(scheme, ask.generations))
    ]
    sisters = max(1, round(scheme.of_hens / scheme.hens))
    return GainAhead(
        on,
        by,
        found.bases,
        scheme,
        generations,
        _weeks(lines) or facts.value("selection.weeks_a_generation"),
        0.0 if by == "weight" else _by_sisters(scheme, found.bases[by].sd_a, sisters),
        sisters,
    )


def _by_sisters(scheme: Scheme, sd_a: float, sisters: int) -> float:
    """What the best families of brothers add, a family for each hen kept before."""
    records, with_traits = own_and_family(scheme.heritability, sisters, FULL_SIBS)
    own = np.array([[scheme.heritability]])
    index = best_index(records[1:, 1:], with_traits[1:], own, np.ones(1))
    families = max(scheme.hens, scheme.cocks)
    return response(intensity(scheme.cocks, families), 0.0, index.accuracy, sd_a)


def _weeks(lines: Lines) -> float | None:
    """The generation interval of the flock's own record; None where few chicks tell it."""
    ages: tuple[list[float], list[float]] = ([], [])
    for at, member in enumerate(lines.members):
        for of_sex, chances in zip(
            ages, (lines.pedigree.fathers[at], lines.pedigree.mothers[at]), strict=True
        ):
            born = {parent: lines.members[parent].hatched_on for parent in chances}
            if member.hatched_on is None or not chances or None in born.values():
                continue
            hatched = member.hatched_on
            days = sum(
                chance * (hatched - day).days
                for parent, chance in chances.items()
                if (day := born[parent]) is not None
            )
            of_sex.append(days / sum(chances.values()))
    if min(len(ages[0]), len(ages[1])) < facts.value("selection.chicks_raised"):
        return None
    return generation_interval(float(np.mean(ages[0])), float(np.mean(ages[1]))) / DAYS_A_WEEK


def _of(
    name: TraitName, by: TraitName, mean: float, sd: float, bases: Mapping[TraitName, Basis]
) -> Range:
    """The gain of a trait where birds are chosen `by` another: with how sources differ."""
    if name == by:
        return Range.of(mean, sd * sd)
    first, second = sorted((name, by), key=TRAITS.index)
    key = f"selection.{first}_{second}_genetic"
    low, high = facts.spread(key)
    sds = bases[by].sd_a, bases[name].sd_a
    ends = [
        correlated_response(mean + reach * LIKELY_Z * sd, correlation, *sds)
        for correlation in (low, high)
        for reach in (-1, 1)
    ]
    middle = correlated_response(mean, facts.value(key), *sds)
    return Range(middle, min(ends), max(ends))


def _scheme(flock: Flock, bases: Mapping[TraitName, Basis], by: TraitName, ask: GainAsk) -> Scheme:
    of_cocks, of_hens = birds_there(flock)
    if of_cocks + of_hens > MOST_BIRDS:  # Of a larger flock, as if chosen from a part of it.
        part = MOST_BIRDS / (of_cocks + of_hens)
        of_cocks, of_hens = int(of_cocks * part), int(of_hens * part)
    kept = int(facts.value("selection.cocks_kept"))
    a_cock = int(facts.value("housing.hens_per_cock"))
    of_cocks = ask.of_cocks if ask.of_cocks is not None else max(of_cocks, ask.cocks or 0)
    of_hens = ask.of_hens if ask.of_hens is not None else max(of_hens, ask.hens or 0)
    cocks = ask.cocks if ask.cocks is not None else min(kept, of_cocks)
    hens = ask.hens if ask.hens is not None else min(a_cock * max(1, cocks), of_hens)
    for number, there in ((cocks, of_cocks), (hens, of_hens)):
        if not 1 <= number <= there:
            raise BadInput(
                say(
                    "Kept are one cock and one hen at least, and not more than there are to "
                    "choose from: {cocks} cocks of {of_cocks}, {hens} hens of {of_hens} cannot be.",
                    cocks=cocks,
                    of_cocks=of_cocks,
                    hens=hens,
                    of_hens=of_hens,
                )
            )
    if of_cocks + of_hens > MOST_BIRDS:
        raise BadInput(say("Choose from {most} birds a generation at most.", most=MOST_BIRDS))
    return scheme_of(bases[by], (cocks, of_cocks), (hens, of_hens))
