"""Who goes with whom in the next generation: least kinship, at a gain where one is wanted."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta

import numpy as np
from numpy.typing import NDArray

from quailwright.flock.pedigree import Lines, lines_of
from quailwright.flock.pens import sure_after_d
from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.husbandry.inheritance.kinship import relationships
from quailwright.journal.findings import BadInput
from quailwright.language import say
from quailwright.planning.contributions import OutOfReach
from quailwright.planning.mating_asked import (
    Ask,
    by_trait,
    known_birds,
    mean_value,
    must_be_allowed,
    must_fit,
    pair_of,
    pens_asked,
    pens_needed,
    some_of_each,
    values_of,
)
from quailwright.planning.mating_birds import Candidate, LeftOut, Pen, Why, breeders
from quailwright.planning.mating_outcome import Outcome, as_they_live, each_one, mixed, outcome
from quailwright.planning.pairs import Mating, Pairs, best_pairs
from quailwright.planning.program import Program
from quailwright.planning.solver import solve

Array = NDArray[np.float64]

_OLD_COCK = 1e-5
"""For each week past his best a cock must lower kinship by more: a tie goes to the younger."""
_VALUED = 1e-5
"""For each spread of breeding values: where kinship is the same, the better bird is taken."""
_CHOICES = 4
_SECONDS = 20.0


@dataclass(frozen=True, slots=True)
class Mated:
    """A hen with the inbreeding of her chicks by the cock of her pen."""

    bird: Candidate
    inbreeding: float


@dataclass(frozen=True, slots=True)
class PenPlan:
    """A pen with its cock and hens.

    Attributes:
        sure_from: the day from which on eggs laid here are surely of this cock.
        moved: birds that live elsewhere now.
    """

    pen: Pen
    cock: Candidate
    hens: tuple[Mated, ...]
    sure_from: date
    moved: tuple[str, ...]

    @property
    def inbreeding(self) -> float:
        """Mean over the chicks expected."""
        return sum(hen.inbreeding for hen in self.hens) / len(self.hens) if self.hens else 0.0


@dataclass(frozen=True, slots=True)
class Choice:
    """A step between least kinship and most gain."""

    outcome: Outcome
    cocks: tuple[Candidate, ...]


@dataclass(frozen=True)
class Plan:
    """Matings for the next generation.

    Attributes:
        pens: with cock and hens.
        left_out: birds that are not mated.
        planned: what it comes to; mixed: the same birds, all in one pen; now: as birds live now,
            None where no hen has a cock.
        choices: from least kinship to most gain; empty without breeding values.
        needed: pens for all hens at the usual number to a cock.
        refused_at: inbreeding from which on no pair was made.
        barred: pairs of birds mated that kinship barred from each other.
        valued: candidates with a breeding value.
        gain_short: what the gain falls short of the one wanted.
    """

    on: date
    pens: tuple[PenPlan, ...]
    left_out: tuple[LeftOut, ...]
    planned: Outcome
    mixed: Outcome
    now: Outcome | None
    choices: tuple[Choice, ...]
    cocks: int
    hens: int
    needed: int
    refused_at: float
    barred: int
    valued: int
    gain_short: float
    problems: tuple[str, ...] = ()


def matings(flock: Flock, on: date, ask: Ask, lines: Lines | None = None) -> Plan:
    """The matings that keep the next generation least related, at the gain asked for.

    Raises BadInput where there are no cocks or hens, more pens than cocks, a bird that is not
    there, or pairs that cannot be.
    """
    lines = lines_of(flock) if lines is None else lines
    known_birds(lines, ask)
    fit, out = breeders(flock, lines, on, set(ask.leave_out))
    cocks = [bird for bird in fit if bird.is_cock]
    hens = [bird for bird in fit if not bird.is_cock]
    some_of_each(cocks, hens, out)
    birds = [*cocks, *hens]
    index = {bird.name: n for n, bird in enumerate(birds)}
    related = relationships(lines.pedigree, np.array([bird.at for bird in birds], np.intp))
    refused = facts.value("mating.inbreeding_refused")
    limit = refused if ask.most_inbreeding is None else ask.most_inbreeding
    barred = related / 2 >= limit - 1e-9
    together = tuple(pair_of(pair, index, birds, out) for pair in ask.together)
    for cock, hen in (pair_of(pair, index, birds, out) for pair in ask.apart):
        barred[cock, hen] = barred[hen, cock] = True
    must_be_allowed(together, barred, birds, related, limit)
    pens = pens_asked(
        flock,
        on,
        ask,
        fit,
        len(cocks),
        min(len(hens), ask.hens or len(hens)),
        len({cock for cock, _ in together}),
    )
    most = sum(pen.most_hens for pen in pens[0])
    wanted_hens = min(len(hens), most, ask.hens or len(hens))
    is_cock = np.array([bird.is_cock for bird in birds])
    told = by_trait(flock, lines, on, ask)
    values = values_of(told, birds)
    homes = {name: n for n, name in enumerate(sorted({bird.place for bird in birds}))}
    mating = Mating(
        related,
        is_cock,
        tuple(pen.most_hens for pen in pens[0]),
        wanted_hens,
        barred,
        together,
        values,
        _minded(birds, values),
        np.array([homes[bird.place] for bird in birds], np.intp),
    )
    must_fit(together, mating, birds)
    base = 0.0 if values is None else mean_value(values, is_cock)
    wanted = None if values is None or ask.gain is None else base + ask.gain
    try:
        pairs = best_pairs(mating, wanted)
    except OutOfReach:
        raise BadInput(
            say(
                "These pairs cannot all be: more hens are to go with one cock than his pen holds. "
                "Take a wish back, or allow more hens a cock."
            )
        ) from None
    placed = {hen for mates in pairs.hens_of.values() for hen in mates}
    if not placed:
        raise BadInput(
            say(
                "Every pair here would give chicks inbred by {limit:.1%} or more, or is to be kept "
                "apart. Bring new blood, or allow more.",
                limit=limit,
            )
        )
    made = _in_pens(pairs, birds, pens[1])
    planned = outcome(related, is_cock, each_one(pairs.hens_of), values, base)
    stand = as_they_live(birds)
    return Plan(
        on,
        tuple(_pen_plan(lines, on, pen, cock, mates, birds, related) for pen, cock, mates in made),
        (*out, *_spares(mating, pairs, birds, most)),
        planned,
        outcome(
            related, is_cock, mixed(list(pairs.hens_of), sorted(placed)), values, base
        ),
        outcome(related, is_cock, stand, values, base) if stand else None,
        _choices(mating, values, base, birds, pairs if wanted is None else None),
        len(cocks),
        len(hens),
        pens_needed(len(hens), ask),
        limit,
        int(barred[np.ix_(list(pairs.hens_of), sorted(placed))].sum()),
        sum(bird.name in told for bird in birds),
        max(0.0, (wanted or 0.0) - (pairs.value or 0.0)) if wanted is not None else 0.0,
        lines.problems,
    )  # fmt: skip


def _minded(birds: Sequence[Candidate], values: Array | None) -> Array:
    """What taking a bird costs beside kinship: age past his best, and a low breeding value."""
    mind = np.array([_OLD_COCK * bird.weeks_old for bird in birds])
    if values is not None:
        mind -= _VALUED * (values - values.mean()) / (values.std() or 1.0)
    return mind


def _choices(
    mating: Mating,
    values: Array | None,
    base: float,
    birds: Sequence[Candidate],
    least: Pairs | None,
) -> tuple[Choice, ...]:
    """From least kinship, found already or not, to most gain; each choice once."""
    if values is None:
        return ()
    ends = [best_pairs(mating) if least is None else least, best_pairs(mating, math.inf)]
    low, high = (float(end.value or 0.0) for end in ends)
    between = [
        best_pairs(mating, low + (high - low) * step / (_CHOICES - 1))
        for step in range(1, _CHOICES - 1)
    ]
    found: dict[frozenset[int], Choice] = {}
    for pairs in (ends[0], *between, ends[1]):
        found.setdefault(
            frozenset(pairs.birds),
            Choice(
                outcome(mating.related, mating.cocks, each_one(pairs.hens_of), values, base),
                tuple(birds[cock] for cock in sorted(pairs.hens_of)),
            ),
        )
    return tuple(found.values())


# Pens, and birds left over.


def _in_pens(
    pairs: Pairs, birds: Sequence[Candidate], pens: Sequence[Pen]
) -> list[tuple[Pen, int, list[int]]]:
    """Which family goes into which pen: the fewest birds moved."""
    families = [(cock, mates) for cock, mates in pairs.hens_of.items() if mates]
    program = Program()
    at: dict[int, tuple[int, int]] = {}
    by_family: list[list[tuple[int, float]]] = [[] for _ in families]
    by_pen: list[list[tuple[int, float]]] = [[] for _ in pens]
    for row, (cock, mates) in enumerate(families):
        for number, pen in enumerate(pens):
            if pen.most_hens < len(mates):
                continue
            moved = sum(birds[bird].place != pen.name for bird in (cock, *mates))
            cost = moved + 0.01 * number + (10.0 if not pen.known else 0.0)
            column = program.column(f"{row} {number}", upper=1.0, cost=cost)
            at[column] = (row, number)
            by_family[row].append((column, 1.0))
            by_pen[number].append((column, 1.0))
    for row, terms in enumerate(by_family):
        program.row(f"family {row}", terms, lower=1.0, upper=1.0)
    for number, terms in enumerate(by_pen):
        program.row(f"pen {number}", terms, upper=1.0)
    solution = solve(program, gap=0.0, seconds=_SECONDS, at_once=True)
    placed = sorted(
        (number, row) for column, (row, number) in at.items() if solution.values[column] > 0.5
    )
    return [(pens[number], families[row][0], families[row][1]) for number, row in placed]


def _pen_plan(
    lines: Lines,
    on: date,
    pen: Pen,
    cock: int,
    mates: Sequence[int],
    birds: Sequence[Candidate],
    related: Array,
) -> PenPlan:
    hens = sorted(mates, key=lambda hen: birds[hen].name)
    return PenPlan(
        pen,
        birds[cock],
        tuple(Mated(birds[hen], float(related[cock, hen]) / 2) for hen in hens),
        _sure_from(lines, on, pen, birds[cock], [birds[hen] for hen in hens]),
        tuple(birds[bird].name for bird in (cock, *hens) if birds[bird].place != pen.name),
    )


def _sure_from(
    lines: Lines, on: date, pen: Pen, cock: Candidate, hens: Sequence[Candidate]
) -> date:
    """From when on eggs are surely his: where they ran alone before, as the record tells."""
    for run in lines.running(on):
        alone = run.place == pen.name and run.cocks == (cock.at,)
        if alone and {hen.at for hen in hens} <= set(run.hens):
            return max(on, run.sure_from or on)
    return on + timedelta(days=sure_after_d())


def _spares(mating: Mating, pairs: Pairs, birds: Sequence[Candidate], room: int) -> list[LeftOut]:
    taken = {bird for cock, hens in pairs.hens_of.items() if hens for bird in (cock, *hens)}
    cocks = [cock for cock, hens in pairs.hens_of.items() if hens]
    n_hens = int((~mating.cocks).sum())
    left = []
    for n, bird in enumerate(birds):
        if n in taken:
            continue
        alone = bool(mating.barred[n, cocks].all()) if not bird.is_cock else False
        crowded = not bird.is_cock and n_hens > room
        full: Why = "no cock" if len(cocks) == int(mating.cocks.sum()) else "no room"
        why: Why = "no partner" if alone else full if crowded else "spare"
        left.append(LeftOut(bird.name, bird.sex, bird.ringed, bird.group, why))
    return left
