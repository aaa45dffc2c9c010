"""Rotation for keepers with pens only: sons move on, daughters stay, and when new blood pays."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from quailwright.flock.pedigree import Lines, lines_of
from quailwright.flock.pens import sure_after_d
from quailwright.flock.state import Flock
from quailwright.husbandry import facts
from quailwright.husbandry.age import DAYS_A_WEEK
from quailwright.husbandry.incubation import hatch_day_range
from quailwright.husbandry.inheritance.depression import chicks_kept, chicks_kept_range
from quailwright.husbandry.inheritance.effective_size import census, size_of
from quailwright.husbandry.inheritance.kinship import relationships
from quailwright.journal.findings import BadInput
from quailwright.language import say, say_many
from quailwright.planning.generations import (
    Scheme,
    cocks_at,
    cyclic_step,
    inbreeding_ahead,
    moved_right,
    one_pen,
    rise_per_generation,
    unrelated,
    with_new_blood,
)
from quailwright.planning.mating_asked import Ask
from quailwright.planning.mating_birds import Candidate, breeders
from quailwright.planning.matings import Plan, matings

Array = NDArray[np.float64]

MOST_GENERATIONS = 40
MOST_PENS = 30
GENERATIONS = 10
_LONG = 40
_PENS_COMPARED = (2, 3, 4, 5, 6, 8)
_TURNS = 3
_EVERY = (1, 2, 3, 4, 6)


@dataclass(frozen=True)
class RotationAsk:
    """What is asked of a rotation.

    Attributes:
        pens: with a cock each; None: as many as cocks and hens make.
        hens_per_cock: the most; None: as published.
        cyclic: sons move 1, 2, 3, ... pens by generation; else one pen each time.
        generations: ahead.
        generation_w: weeks from one to the next; None: as is usual.
        new_cocks, every: so many cocks from outside every so many generations; 0: none.
        eggs_set: eggs set in a generation, for what new blood is worth.
        cock_price, chick_price: told by the keeper, or None.
    """

    pens: int | None = None
    hens_per_cock: int | None = None
    cyclic: bool = False
    generations: int = GENERATIONS
    generation_w: float | None = None
    new_cocks: int = 1
    every: int | None = None
    eggs_set: int = 100
    cock_price: float | None = None
    chick_price: float | None = None


@dataclass(frozen=True, slots=True)
class Crowd:
    """A place where several cocks live with hens. `old`: of these, those past their best."""

    place: str
    cocks: int
    hens: int
    old: int
    age_w: float | None


@dataclass(frozen=True, slots=True)
class Turn:
    """A generation of the rotation, by day.

    Attributes:
        eggs_from: the day from which eggs are gathered, apart by pen.
        set_on, hatch_on: the eggs of all pens are set, and hatch.
        ring_by: chicks are marked by pen before they mix.
        move_on: sons move, old cocks go.
        step: pens that they move.
    """

    number: int
    eggs_from: date
    set_on: date
    hatch_on: date
    ring_by: date
    move_on: date
    step: int


@dataclass(frozen=True, slots=True)
class PensCompared:
    """So many pens of a cock and as many hens each, founders unrelated.

    `effective_size` is that of rotation; `mixed_size` of the same birds in one pen. `until_strong`:
    the generation whose chicks reach the inbreeding of half sibs' chicks, None beyond those asked.
    """

    pens: int
    rise: float
    effective_size: float
    mixed_size: float
    until_strong: int | None


@dataclass(frozen=True, slots=True)
class NewBlood:
    """New cocks every so many generations. `inbreeding` of the chicks of each generation."""

    cocks: int
    every: int
    inbreeding: Array


@dataclass(frozen=True, slots=True)
class Worth:
    """In a generation, on the mean of those asked for: chicks kept from depression, new cocks.

    Chicks live to 4 weeks; `chicks_low` and `chicks_high` go by the lines that lost least and most.
    `cost` of the cocks and `worth` of the chicks at the prices told, None where none is.
    """

    chicks: float
    chicks_low: float
    chicks_high: float
    cocks: float
    cost: float | None
    worth: float | None


@dataclass(frozen=True)
class Rotation:
    """A rotation for this flock.

    Attributes:
        start: who goes into which pen now.
        crowds: places with several cocks.
        old: cocks past their best.
        hens: of each pen.
        rotated, cyclic, mixed, closed: inbreeding of the chicks of each generation, from the first:
            sons moving one pen, or 1, 2, 3, ... pens; all in one pen; each pen by itself.
        rise, mixed_rise: per generation, in the long run.
        overtakes: the generation from which on its chicks are less inbred than all in one pen,
            for good; 1: always, None: not in the 40 looked at.
        census_now, census: 4 x cocks x hens / (cocks + hens) of the birds as they are and as mated.
        new_blood: as asked for, or every 1 to 6 generations.
    """

    on: date
    ask: RotationAsk
    start: Plan
    crowds: tuple[Crowd, ...]
    old: tuple[Candidate, ...]
    hens: tuple[int, ...]
    turns: tuple[Turn, ...]
    rotated: Array
    cyclic: Array
    mixed: Array
    closed: Array
    rise: float
    mixed_rise: float
    overtakes: int | None
    census_now: float
    census: float
    compared: tuple[PensCompared, ...]
    new_blood: tuple[NewBlood, ...]

    @property
    def effective_size(self) -> float:
        """Of the rotation in the long run."""
        return float(size_of(self.rise))

    @property
    def mixed_size(self) -> float:
        """Of the same birds in one pen, parents taken by chance."""
        return float(size_of(self.mixed_rise))

    @property
    def plain(self) -> Array:
        """Inbreeding of the chicks by generation in the rotation asked for."""
        return self.cyclic if self.ask.cyclic else self.rotated

    @property
    def worth(self) -> tuple[Worth, ...]:
        """What each way to bring new blood keeps, and costs, in a generation."""
        return tuple(_worth(one, self.plain, self.ask) for one in self.new_blood)


def _worth(blood: NewBlood, plain: Array, ask: RotationAsk) -> Worth:
    hatched = ask.eggs_set * facts.value("incubation.hatch_of_set")
    most_lost, least_lost = (
        hatched * float((with_it - without).mean())
        for with_it, without in zip(
            chicks_kept_range(blood.inbreeding), chicks_kept_range(plain), strict=True
        )
    )
    chicks = hatched * float((chicks_kept(blood.inbreeding) - chicks_kept(plain)).mean())
    cost = None if ask.cock_price is None else ask.cock_price * blood.cocks / blood.every
    return Worth(
        chicks,
        min(least_lost, most_lost),
        max(least_lost, most_lost),
        blood.cocks / blood.every,
        cost,
        None if ask.chick_price is None else chicks * ask.chick_price,
    )


def rotation(flock: Flock, on: date, ask: RotationAsk, lines: Lines | None = None) -> Rotation:
    """Pens of one cock each, and how sons move on from there.

    Raises BadInput where there are no cocks or hens, or more pens than cocks.
    """
    _checked(ask)
    lines = lines_of(flock) if lines is None else lines
    fit, _ = breeders(flock, lines, on)
    cocks = [bird for bird in fit if bird.is_cock]
    hens = [bird for bird in fit if not bird.is_cock]
    pens = ask.pens
    if pens is None and cocks and hens:
        if min(len(cocks), len(hens)) < 2:
            raise BadInput(
                say(
                    "A rotation needs two cocks and two hens at least, and here may breed {cocks} "
                    "and {hens}.",
                    cocks=say_many("{n} cock", "{n} cocks", len(cocks)),
                    hens=say_many("{n} hen", "{n} hens", len(hens)),
                )
            )
        pens = _pens_for(len(cocks), len(hens))
    start = matings(flock, on, Ask(pens=pens, hens_per_cock=ask.hens_per_cock), lines)
    sizes = [len(pen.hens) for pen in start.pens]
    kinship = _kinship(lines, start)
    schemes = _schemes(sizes)
    far = {name: inbreeding_ahead(kinship, scheme, _LONG) for name, scheme in schemes.items()}
    ahead = {name: inbreeding[: ask.generations] for name, inbreeding in far.items()}
    chosen = "cyclic" if ask.cyclic else "rotated"
    return Rotation(
        on,
        ask,
        start,
        _crowds(cocks, hens),
        tuple(bird for bird in cocks if bird.old),
        tuple(sizes),
        _turns(on, start, ask),
        ahead["rotated"],
        ahead["cyclic"],
        ahead["mixed"],
        ahead["closed"],
        _long_rise(chosen, tuple(sizes)),
        _long_rise("mixed", tuple(sizes)),
        _overtakes(far[chosen], far["mixed"]),
        float(census(len(cocks), len(hens))),
        float(census(len(sizes), sum(sizes))),
        _compared(max(1, round(sum(sizes) / len(sizes))), ask.cyclic),
        _new_blood(schemes[chosen], kinship, sizes, ask),
    )


def _checked(ask: RotationAsk) -> None:
    if ask.pens is not None and not 2 <= ask.pens <= MOST_PENS:
        raise BadInput(
            say("A rotation goes over 2 to {most} pens, not {told}.", most=MOST_PENS, told=ask.pens)
        )
    if not 1 <= ask.generations <= MOST_GENERATIONS:
        raise BadInput(
            say(
                "The generations ahead are 1 to {most}, not {told}.",
                most=MOST_GENERATIONS,
                told=ask.generations,
            )
        )
    least_w = math.ceil(_least_days() / DAYS_A_WEEK)
    if ask.generation_w is not None and not least_w <= ask.generation_w <= 520:
        raise BadInput(
            say(
                "From one generation to the next take {least} to 520 weeks, not {told:g}: sons "
                "grow up, then their eggs must be surely theirs.",
                least=least_w,
                told=ask.generation_w,
            )
        )
    for number in (ask.cock_price, ask.chick_price):
        if number is not None and not 0 <= number < 1e9:
            raise BadInput(say("A price is 0 or more, not {told:g}.", told=number))
    if not 1 <= ask.eggs_set <= 1_000_000:
        raise BadInput(
            say("Eggs set in a generation are 1 or more, not {told}.", told=ask.eggs_set)
        )
    if ask.new_cocks < 0 or (ask.every is not None and not 1 <= ask.every <= MOST_GENERATIONS):
        raise BadInput(
            say(
                "New cocks come every 1 to {most} generations, and are 0 or more.",
                most=MOST_GENERATIONS,
            )
        )


def _pens_for(cocks: int, hens: int) -> int:
    """As many pens as cocks, of the fewest hens that are usual; two at least."""
    fewest = facts.figure("housing.hens_per_cock").low or 1.0
    return max(2, min(cocks, int(hens / fewest), MOST_PENS))


def _kinship(lines: Lines, start: Plan) -> Array:
    """Kinship among the birds of the pens, in their order."""
    birds = [bird.at for pen in start.pens for bird in (pen.cock, *(hen.bird for hen in pen.hens))]
    return relationships(lines.pedigree, np.array(birds, np.intp)) / 2


def _schemes(sizes: Sequence[int]) -> dict[str, Scheme]:
    return {
        "rotated": moved_right(sizes),
        "cyclic": moved_right(sizes, cyclic_step(len(sizes))),
        "mixed": one_pen(sizes),
        "closed": moved_right(sizes, lambda _: 0),
    }


@lru_cache(256)
def _long_rise(chosen: str, sizes: tuple[int, ...]) -> float:
    """Rise per generation once it is steady, whole rounds of the pens taken together."""
    scheme = _schemes(sizes)[chosen]
    ahead = inbreeding_ahead(unrelated(sum(sizes) + len(sizes)), scheme, _LONG)
    turn = max(1, len(sizes) - 1)
    return max(0.0, rise_per_generation(ahead, turn * max(1, 12 // turn)))


def _overtakes(ours: Array, theirs: Array) -> int | None:
    behind = np.flatnonzero(ours > theirs + 1e-12)
    last = int(behind[-1]) + 1 if len(behind) else 0
    return last + 1 if last < len(ours) else None


def _crowds(cocks: Sequence[Candidate], hens: Sequence[Candidate]) -> tuple[Crowd, ...]:
    found = []
    for place in sorted({bird.place for bird in cocks}):
        here = [bird for bird in cocks if bird.place == place]
        mates = sum(bird.place == place for bird in hens)
        if len(here) < 2 or not mates:  # cocks kept apart from hens father nothing
            continue
        ages = [bird.age_d for bird in here if bird.age_d is not None]
        found.append(
            Crowd(
                place,
                len(here),
                mates,
                sum(bird.old for bird in here),
                sum(ages) / len(ages) / DAYS_A_WEEK if ages else None,
            )
        )
    return tuple(found)


def _least_days() -> float:
    """The fewest days from one setting to the next of a rotation."""
    return (
        hatch_day_range()[2]
        + facts.value("mating.sons_move_d")
        + sure_after_d()
        + facts.value("incubation.storage_best_days")
    )


def _turns(on: date, start: Plan, ask: RotationAsk) -> tuple[Turn, ...]:
    weeks = facts.value("mating.generation_w") if ask.generation_w is None else ask.generation_w
    every = timedelta(days=round(max(weeks * DAYS_A_WEEK, _least_days())))
    eggs_from = max(pen.sure_from for pen in start.pens)
    gather = timedelta(days=round(facts.value("incubation.storage_best_days")))
    step = cyclic_step(len(start.pens)) if ask.cyclic else (lambda _: 1)
    found = []
    for number in range(1, min(_TURNS, ask.generations) + 1):
        set_on = eggs_from + gather
        hatch_on = set_on + timedelta(days=round(hatch_day_range()[1]))
        found.append(
            Turn(
                number,
                eggs_from,
                set_on,
                hatch_on,
                hatch_on + timedelta(days=1),
                hatch_on + timedelta(days=round(facts.value("mating.sons_move_d"))),
                step(number),
            )
        )
        eggs_from += every
    return tuple(found)


@lru_cache(32)
def _compared(hens: int, cyclic: bool) -> tuple[PensCompared, ...]:
    strong = facts.value("mating.inbreeding_strong")
    found = []
    for pens in _PENS_COMPARED:
        sizes = [hens] * pens
        schemes = _schemes(sizes)
        chosen = "cyclic" if cyclic else "rotated"
        scheme = schemes[chosen]
        ahead = inbreeding_ahead(unrelated(pens * (hens + 1)), scheme, _LONG)
        reached = np.flatnonzero(ahead >= strong)
        rise = _long_rise(chosen, tuple(sizes))
        found.append(
            PensCompared(
                pens,
                rise,
                float(size_of(rise)),
                float(size_of(_long_rise("mixed", tuple(sizes)))),
                int(reached[0]) + 1 if len(reached) else None,
            )
        )
    return tuple(found)


def _new_blood(
    scheme: Scheme, kinship: Array, sizes: Sequence[int], ask: RotationAsk
) -> tuple[NewBlood, ...]:
    """New cocks as asked, or every 1 to 6 generations: spread over the pens."""
    if not ask.new_cocks:
        return ()
    at = cocks_at(sizes)
    count = min(ask.new_cocks, len(at))
    spread = tuple(at[round(n * len(at) / count)] for n in range(count))
    found = []
    for every in (ask.every,) if ask.every is not None else _EVERY:
        renewed = with_new_blood(scheme, spread, every)
        found.append(NewBlood(count, every, inbreeding_ahead(kinship, renewed, ask.generations)))
    return tuple(found)
