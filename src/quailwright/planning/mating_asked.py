"""What is asked of matings, held against the birds and pens there are."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date

import numpy as np
from numpy.typing import NDArray

from quailwright.flock.pedigree import Lines
from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.husbandry.selection.traits import TRAITS, TraitName
from quailwright.journal.findings import BadInput
from quailwright.language import mark, say, say_many
from quailwright.planning.mating_birds import Candidate, LeftOut, Pen, most_to_a_cock, pens_of
from quailwright.planning.merit import merits
from quailwright.planning.pairs import Mating

Array = NDArray[np.float64]

MOST_PENS = 200


@dataclass(frozen=True)
class Ask:
    """What is asked of matings.

    Attributes:
        pens: pens to fill, one cock each; None: as the birds and the pens there are suggest.
        hens_per_cock: the most; None: as published.
        cocks, hens: how many of each to mate; None: a cock for each pen, all hens that fit.
        together, apart: pairs (cock, hen) that must be, or must not; either order of names.
        leave_out: birds not to be mated.
        most_inbreeding: of the chicks of a pair, from which on it is not made.
        values: breeding values by name of the bird, in any unit.
        by: a trait whose values the record gives (`merit.merits`), beside or instead of `values`.
        gain: wanted of the chicks over the mean of all candidates, in that unit; None: least
            kinship whatever the gain.
    """

    pens: int | None = None
    hens_per_cock: int | None = None
    cocks: int | None = None
    hens: int | None = None
    together: tuple[tuple[str, str], ...] = ()
    apart: tuple[tuple[str, str], ...] = ()
    leave_out: tuple[str, ...] = ()
    most_inbreeding: float | None = None
    values: Mapping[str, float] = field(default_factory=dict)
    gain: float | None = None
    by: TraitName | None = None


def known_birds(lines: Lines, ask: Ask) -> None:
    names = {member.name for member in lines.members}
    asked = [
        *(name for pair in (*ask.together, *ask.apart) for name in pair),
        *ask.leave_out,
        *ask.values,
    ]
    for name in asked:
        if name not in names:
            raise BadInput(
                say(
                    "No bird has the ring {name!r}. Write it as it stands in the record.",
                    name=name[:60],
                )
            )
    for what, number in (
        (mark("The number of pens is 1 to {most}, not {told}."), ask.pens),
        (mark("Hens to a cock are 1 to {most}, not {told}."), ask.hens_per_cock),
        (mark("The cocks to mate are 1 to {most}, not {told}."), ask.cocks),
        (mark("The hens to mate are 1 to {most}, not {told}."), ask.hens),
    ):
        most = 10_000 if number is ask.hens else MOST_PENS
        if number is not None and not 1 <= number <= most:
            raise BadInput(say(what, most=most, told=number))
    if ask.most_inbreeding is not None and not 0 < ask.most_inbreeding <= 1:
        raise BadInput(
            say(
                "The most inbreeding is a share above 0 and up to 1, such as 0.125, not {told:g}.",
                told=ask.most_inbreeding,
            )
        )
    if ask.gain is not None and not ask.values and ask.by is None:
        raise BadInput(
            say(
                "A gain needs breeding values: name a trait that you record, or give them by bird, "
                "as in Ada=12.5 or in a file."
            )
        )


def some_of_each(
    cocks: Sequence[Candidate], hens: Sequence[Candidate], out: Sequence[LeftOut]
) -> None:
    for some, sex, none, waits in (
        (
            cocks, "cock",
            mark("No cock here may breed yet. Log your groups with their cocks, or cocks by ring."),
            mark("No cock here may breed yet: the first is old enough on {day}."),
        ),
        (
            hens, "hen",
            mark("No hen here may breed yet. Log your groups with their hens, or hens by ring."),
            mark("No hen here may breed yet: the first is old enough on {day}."),
        ),
    ):  # fmt: skip
        if some:
            continue
        ready = [
            (left.until, left.why) for left in out if left.sex == sex and left.until is not None
        ]
        if ready and min(ready)[1] == "quarantine":
            raise BadInput(
                say(
                    "No bird of one sex here may breed yet: the first are in quarantine up to and "
                    "on {day}.",
                    day=min(ready)[0],
                )
            )
        raise BadInput(say(waits, day=min(ready)[0]) if ready else say(none))


def pair_of(
    pair: tuple[str, str],
    index: Mapping[str, int],
    birds: Sequence[Candidate],
    out: Sequence[LeftOut],
) -> tuple[int, int]:
    """A pair as (cock, hen)."""
    for name in pair:
        if name not in index:
            why = next((left for left in out if left.name == name), None)
            if why is not None and why.until is not None:
                raise BadInput(say("{bird} may not breed before {day}.", bird=name, day=why.until))
            raise BadInput(say("{bird} is not among the birds that may breed.", bird=name))
    one, other = (index[name] for name in pair)
    if birds[one].sex == birds[other].sex:
        raise BadInput(
            say(
                "{one} and {other} are no cock and hen: name one of each.",
                one=pair[0],
                other=pair[1],
            )
        )
    return (one, other) if birds[one].is_cock else (other, one)


def must_be_allowed(
    together: Sequence[tuple[int, int]],
    barred: NDArray[np.bool_],
    birds: Sequence[Candidate],
    related: Array,
    limit: float,
) -> None:
    mates: dict[int, int] = {}
    for cock, hen in together:
        if mates.setdefault(hen, cock) != cock:
            raise BadInput(
                say(
                    "{hen} cannot go with two cocks: her chicks' father would not be known.",
                    hen=birds[hen].name,
                )
            )
        if not barred[cock, hen]:
            continue
        inbred = float(related[cock, hen]) / 2
        if inbred >= limit - 1e-9:
            raise BadInput(
                say(
                    "{cock} and {hen} are too near kin: their chicks would be {inbreeding:.1%} "
                    "inbred, and from {limit:.1%} on no pair is made. Allow more to have it.",
                    cock=birds[cock].name,
                    hen=birds[hen].name,
                    inbreeding=inbred,
                    limit=limit,
                )
            )
        raise BadInput(
            say(
                "{cock} and {hen} are both to go together and to be kept apart.",
                cock=birds[cock].name,
                hen=birds[hen].name,
            )
        )


def must_fit(
    together: Sequence[tuple[int, int]], mating: Mating, birds: Sequence[Candidate]
) -> None:
    if len({hen for _, hen in together}) > mating.hens:
        raise BadInput(
            say("More hens are to be mated for sure than are to be mated at all. Take a wish back.")
        )
    for cock in {cock for cock, _ in together}:
        hers = sum(one == cock for one, _ in together)
        if hers > max(mating.sizes):
            raise BadInput(
                say_many(
                    "{cock} cannot have so many hens: a pen gets {n} hen at most here.",
                    "{cock} cannot have so many hens: a pen gets {n} hens at most here.",
                    max(mating.sizes),
                    cock=birds[cock].name,
                )
            )


def pens_needed(hens: int, ask: Ask) -> int:
    usual = ask.hens_per_cock or facts.value("housing.hens_per_cock")
    return math.ceil(hens / usual)


def pens_asked(
    flock: Flock, on: date, ask: Ask, fit: Sequence[Candidate], cocks: int, hens: int, forced: int
) -> tuple[list[Pen], list[Pen]]:
    """The pens to reckon with, the roomiest first, and all that may be chosen among."""
    known = pens_of(flock, fit, on, ask.hens_per_cock)
    told = ask.pens if ask.pens is not None else ask.cocks
    if ask.pens is not None and ask.cocks is not None and ask.cocks < ask.pens:
        raise BadInput(
            say(
                "{pens} pens of one cock each need as many cocks, and {cocks} are to be kept.",
                pens=ask.pens,
                cocks=ask.cocks,
            )
        )
    if told is None:
        needed = max(1, forced, pens_needed(hens, ask))
        if len(known) > 1:  # more cocks are better, where there are pens and hens for them
            fewest = facts.figure("housing.hens_per_cock").low or 1.0
            needed = max(forced, min(len(known), math.ceil(hens / fewest)))
        told = min(cocks, hens, needed)
    if told > cocks:
        raise BadInput(
            say_many(
                "There is {n} cock that may breed, too few for {pens} pens of one each.",
                "There are {n} cocks that may breed, too few for {pens} pens of one each.",
                cocks,
                pens=told,
            )
        )
    if told > hens:
        raise BadInput(
            say_many(
                "There is {n} hen to be mated, too few for {pens} pens.",
                "There are {n} hens to be mated, too few for {pens} pens.",
                hens,
                pens=told,
            )
        )
    if forced > told:
        raise BadInput(
            say(
                "The pairs wanted need {forced} cocks, and there are {pens} pens of one each.",
                forced=forced,
                pens=told,
            )
        )
    room = most_to_a_cock(ask.hens_per_cock)
    new = [
        Pen(say("new pen {n}", n=n + 1), False, None, room) for n in range(told - len(known))
    ]  # fmt: skip
    every = [*known, *new]
    return sorted(every, key=lambda pen: -pen.most_hens)[:told], every


def values_of(told: Mapping[str, float], birds: Sequence[Candidate]) -> Array | None:
    """Breeding values; of birds without one, the mean of their sex or else of all that have."""
    if not told:
        return None
    if not all(math.isfinite(value) for value in told.values()):
        raise BadInput(say("A breeding value is a number."))
    found = np.array([told.get(bird.name, np.nan) for bird in birds])
    if np.isnan(found).all():
        return None
    for sex in ("hen", "cock"):
        ours = np.array([bird.sex == sex for bird in birds])
        known = found[ours & ~np.isnan(found)]
        if len(known):
            found[ours & np.isnan(found)] = known.mean()
    found[np.isnan(found)] = found[~np.isnan(found)].mean()
    return found


def by_trait(flock: Flock, lines: Lines, on: date, ask: Ask) -> dict[str, float]:
    """Breeding values as asked: of a trait by the record, those told going before.

    Raises BadInput where nothing of the trait is recorded.
    """
    if ask.by is None:
        return dict(ask.values)
    found = merits(flock, lines, on)
    if found.estimates is None:
        raise BadInput(
            say("No bird's weight, eggs or egg weight is recorded yet: there is no gain to aim at.")
        )
    values = found.values[TRAITS.index(ask.by)]
    of_birds = zip(lines.members, values, strict=True)
    return {member.name: float(value) for member, value in of_birds} | dict(ask.values)


def mean_value(values: Array, cocks: NDArray[np.bool_]) -> float:
    return float(values[cocks].mean() + values[~cocks].mean()) / 2
