"""How related the flock's birds are, who breeds now, and what that brings: figures, no words."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

from quailwright.flock.pedigree import Lines, Member, lines_of
from quailwright.flock.state import Flock
from quailwright.husbandry.inheritance.descent import (
    Generation,
    Realised,
    by_generation,
    effective_founders,
    founders_shares,
    realised,
)
from quailwright.husbandry.inheritance.effective_size import census, rise
from quailwright.husbandry.inheritance.kinship import inbreeding, relationships
from quailwright.husbandry.inheritance.means import Related
from quailwright.journal.findings import BadInput
from quailwright.language import later, say

Array = NDArray[np.float64]

MOST_PAIRED = 2000
"""Ringed birds of which every pair is told; beyond, birds are to be named."""


@dataclass(frozen=True)
class Pen:
    """Birds that run together now.

    Attributes:
        place: where.
        cocks, hens: places of the members of each sex in the pedigree.
        cocks_there, hens_there: how many birds those stand for.
        chicks_inbreeding: expected of their chicks: mean kinship of a cock and a hen of the pen.
        within: mean kinship of two different birds of it.
        sure_from: the day from which its eggs are surely of these cocks, or None where no other
            cock is known to have run there.
    """

    place: str
    cocks: tuple[int, ...]
    hens: tuple[int, ...]
    cocks_there: int
    hens_there: int
    chicks_inbreeding: float
    within: float
    sure_from: date | None


@dataclass(frozen=True)
class Kin:
    """One bird's relation to another: its place in the pedigree, and their kinship."""

    at: int
    kinship: float


def inbred(flock: Flock) -> tuple[Lines, dict[str, float]]:
    """The inbreeding of every ringed bird, by ring, in the order in which they were logged."""
    lines = lines_of(flock)
    found = inbreeding(lines.pedigree)
    return lines, {ring: float(found[lines.places[ring]]) for ring in flock.birds}


def known_rings(flock: Flock, rings: Sequence[str]) -> list[str]:
    """These rings, each once. Raises BadInput where one is not logged."""
    from quailwright.flock.booking.known import near

    for ring in rings:
        if ring not in flock.birds:
            hint = near(ring, flock.birds, later("Log the bird first."))
            raise BadInput(say("There is no bird {ring!r}. {hint}", ring=ring, hint=say(hint)))
    return list(dict.fromkeys(rings))


def kinships(flock: Flock, rings: Sequence[str] = ()) -> dict[str, dict[str, float]]:
    """Kinship of ringed birds, by ring and ring.

    Of one bird to all others; of several among each other; where none is named, of all.

    Raises:
        BadInput: a ring that is not logged; none named among more than `MOST_PAIRED`.
    """
    named = known_rings(flock, rings)
    lines = lines_of(flock)
    everyone = list(flock.birds)
    if len(named) == 1:
        ring = named[0]
        row = related_to(lines, ring)
        return {ring: {other: float(row[lines.places[other]]) for other in everyone
                       if other != ring}}  # fmt: skip
    chosen = named or everyone
    if len(chosen) > MOST_PAIRED:
        raise BadInput(
            say(
                "Every pair of {n} ringed birds would be too many. Name a bird, or several.",
                n=len(chosen),
            )
        )
    among = np.array([lines.places[ring] for ring in chosen], np.intp)
    found = relationships(lines.pedigree, among) / 2
    return {
        ring: {other: float(found[i, j]) for j, other in enumerate(chosen) if j != i}
        for i, ring in enumerate(chosen)
    }


def related_to(lines: Lines, ring: str) -> Array:
    """Kinship of every member with one ringed bird, (n,)."""
    weights = np.zeros(len(lines.members))
    weights[lines.places[ring]] = 1.0
    found: Array = Related(lines.pedigree).to(weights) / 2
    return found


def pens_now(flock: Flock, lines: Lines, related: Related, on: date) -> list[Pen]:
    """The pens where cocks and hens run together, in walking order."""
    found = []
    own = 1 + inbreeding(lines.pedigree)
    for run in lines.running(on):
        cocks, hens = run.cocks, run.hens
        weights = np.zeros((len(lines.members), 2))
        weights[list(cocks), 0], weights[list(hens), 1] = 1 / len(cocks), 1 / len(hens)
        rows = related.to(weights)
        everyone = [*cocks, *hens]
        equal = np.zeros(len(lines.members))
        equal[everyone] = 1 / len(everyone)
        among = float(equal @ related.to(equal))
        same = float(own[everyone].sum()) / len(everyone) ** 2
        pairs = 1 - 1 / len(everyone)
        found.append(
            Pen(
                run.place,
                cocks,
                hens,
                _stand_for(flock, lines, cocks),
                _stand_for(flock, lines, hens),
                float(weights[:, 0] @ rows[:, 1]) / 2,
                (among - same) / pairs / 2,
                run.sure_from,
            )
        )
    return found


def _stand_for(flock: Flock, lines: Lines, some: Sequence[int]) -> int:
    """How many birds these members are: where a group is told apart only so far, all of its sex."""
    by_group: dict[tuple[str | None, str], list[Member]] = {}
    for at in some:
        member = lines.members[at]
        by_group.setdefault((member.group, member.sex), []).append(member)
    total = 0
    for (name, sex), members in by_group.items():
        group = flock.groups.get(name or "")
        kind = {"hen": "hens", "cock": "cocks", "unknown": "chicks"}[sex]
        there = 0 if group is None else getattr(group.alive, kind)
        whole = sum(m.alive and m.group == name and m.sex == sex for m in lines.members)
        total += there - (whole - len(members)) if there > whole else len(members)
    return total


def between(pens: Sequence[Pen], lines: Lines, related: Related) -> list[tuple[str, str, float]]:
    """Mean kinship of birds of two pens, for each two."""
    weights = np.zeros((len(lines.members), len(pens)))
    for n, pen in enumerate(pens):
        everyone = [*pen.cocks, *pen.hens]
        weights[everyone, n] = 1 / len(everyone)
    found = weights.T @ related.to(weights) / 2 if pens else weights
    return [
        (pens[i].place, pens[j].place, float(found[i, j]))
        for i, j in combinations(range(len(pens)), 2)
    ]


def crossed(pens: Sequence[Pen], lines: Lines, related: Related) -> Array:
    """Inbreeding of chicks of the cocks of each pen (row) and the hens of each (column)."""
    cocks, hens = np.zeros((2, len(lines.members), len(pens)))
    for n, pen in enumerate(pens):
        cocks[list(pen.cocks), n] = 1 / len(pen.cocks)
        hens[list(pen.hens), n] = 1 / len(pen.hens)
    found: Array = cocks.T @ related.to(hens) / 2 if pens else np.zeros((0, 0))
    return found


@dataclass(frozen=True)
class GroupKin:
    """Mean kinship of two different birds by group: within on the diagonal, else between.

    Not a number within a group of which one bird alone stands in the pedigree.
    """

    groups: tuple[str, ...]
    kinship: Array


def by_group(lines: Lines, related: Related) -> GroupKin:
    """Of the living, by the group that they live in."""
    where: dict[str, list[int]] = {}
    for at in lines.alive:
        where.setdefault(lines.members[at].group or "", []).append(at)
    weights = np.zeros((len(lines.members), len(where)))
    for n, some in enumerate(where.values()):
        weights[some, n] = 1 / len(some)
    found: Array = weights.T @ related.to(weights) / 2 if where else np.zeros((0, 0))
    own = (1 + inbreeding(lines.pedigree)) / 2
    for n, some in enumerate(where.values()):
        size = len(some)
        same = own[some].sum() / size**2
        found[n, n] = (found[n, n] - same) / (1 - 1 / size) if size > 1 else np.nan
    return GroupKin(tuple(where), found)


@dataclass(frozen=True)
class Founder:
    """Founders told together: a ringed bird, or the birds of a group or source without a ring."""

    name: str
    birds: int
    share: float
    source: bool


def founders(lines: Lines) -> list[Founder]:
    """Whose genes the living carry, the largest share first.

    What a bird has of a parent that is not known counts as of a founder of its own, under the
    bird's name.
    """
    shares: dict[tuple[str, bool], list[float]] = {}
    for at, share in enumerate(founders_shares(lines.pedigree, np.array(lines.alive, np.intp))):
        member = lines.members[at]
        if share < _LEAST_SHARE:
            continue
        own = member.name if member.ringed else member.group or member.name
        key = (own, False) if member.source is None else (member.source, True)
        shares.setdefault(key, []).append(float(share))
    found = [Founder(name, len(some), sum(some), of) for (name, of), some in shares.items()]
    return sorted(found, key=lambda one: -one.share)


_LEAST_SHARE = 1e-6


@dataclass(frozen=True)
class Breeding:
    """The flock's lines at a glance.

    Attributes:
        lines: the pedigree.
        inbreeding: of each member.
        pens: where cocks and hens run together.
        crossed: inbreeding of chicks of the cocks of each pen (row) with the hens of each (column).
        between: mean kinship of each two of them.
        groups: mean kinship by group of all that live.
        cocks, hens: breeding now.
        size, rise: the effective size by these numbers, and the rise of inbreeding a generation
            that it brings; None where no birds breed.
        chicks_inbreeding: expected of chicks set now: the mean over pens, by their hens.
        generations: inbreeding by generation.
        realised: the rise that the record shows.
        founders, effective_founders: whose genes the living carry.
    """

    on: date
    lines: Lines
    inbreeding: Array
    pens: tuple[Pen, ...]
    crossed: Array
    between: tuple[tuple[str, str, float], ...]
    groups: GroupKin
    cocks: int
    hens: int
    size: float | None
    rise: float | None
    chicks_inbreeding: float | None
    generations: tuple[Generation, ...]
    realised: Realised | None
    founders: tuple[Founder, ...]
    effective_founders: float | None


def breeding_of(flock: Flock, on: date) -> Breeding:
    """All of it, as of the moment the flock was folded for."""
    lines = lines_of(flock)
    pedigree = lines.pedigree
    related = Related(pedigree)
    found = inbreeding(pedigree)
    pens = pens_now(flock, lines, related, on)
    cocks, hens = sum(pen.cocks_there for pen in pens), sum(pen.hens_there for pen in pens)
    size = float(census(cocks, hens)) if pens else None
    alive = np.array(lines.alive, np.intp)
    return Breeding(
        on,
        lines,
        found,
        tuple(pens),
        crossed(pens, lines, related),
        tuple(between(pens, lines, related)),
        by_group(lines, related),
        cocks,
        hens,
        size,
        None if size is None else float(rise(size)),
        sum(pen.chicks_inbreeding * pen.hens_there for pen in pens) / hens if hens else None,
        tuple(by_generation(found, np.array([member.generation for member in lines.members])))
        if lines.members
        else (),
        realised(pedigree, alive) if len(alive) else None,
        tuple(founders(lines)) if len(alive) else (),
        effective_founders(pedigree, alive) if len(alive) else None,
    )
