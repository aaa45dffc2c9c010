"""What a ration is asked for, its linear programme, and the cheapest mix of any amounts.

Columns are the shares of the ingredients; each need, limit and stock is a demand. The margin for
lots that differ is closed in on by tangent planes, as `ration` tells.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from statistics import NormalDist
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from quailwright.husbandry import facts
from quailwright.husbandry.feeding import Stage
from quailwright.husbandry.nutrients import NUTRIENTS, RATIO
from quailwright.husbandry.requirements import Requirement
from quailwright.planning.program import Program
from quailwright.planning.solver import Solution, solve

Array = NDArray[np.float64]
BATCH_KG: Final = 10.0
"""What is mixed where nothing else is told."""
SECONDS: Final = 30.0
NEAR: Final = 1e-9
MARGIN: Final = 1e-7
"""How far a margin may be overstepped, over the need: far below what a scale can weigh."""
MOST_PLANES: Final = 200


@dataclass(frozen=True, slots=True)
class Choice:
    """An ingredient on offer.

    Attributes:
        name: as the keeper calls it; told: the same in words.
        composition: by nutrient code, as fed; a code that is missing is unknown.
        price: of a kilogram.
        least, most: shares that the keeper asks for, 0 to 1.
        limit: share that the stage allows, 0 to 1.
        stock_kg: None where there is no end of it.
        scoop_kg: what it is measured in; 0 for any amount.
        protein_cv: spread of its protein between lots, over the mean.
        caution: a sentence in English; "" for none.
        basis: where its figures come from, on one line; certainty: how far to trust them.
    """

    name: str
    told: str
    composition: Mapping[str, float]
    price: float
    least: float = 0.0
    most: float = 1.0
    limit: float = 1.0
    stock_kg: float | None = None
    scoop_kg: float = 0.0
    protein_cv: float = 0.0
    category: str = ""
    caution: str = ""
    basis: str = ""
    certainty: str = "label"

    def of(self, nutrient: str) -> float:
        """What it holds of a nutrient, nothing where that is unknown."""
        return self.composition.get(nutrient, 0.0)


@dataclass(frozen=True, slots=True)
class Need:
    """What the mix must hold of a nutrient, in the nutrient's unit.

    Attributes:
        least, most: None where there is no such bound.
        per_energy: `least` holds at the question's `energy` and moves with that of the mix.
        least_from, most_from: rows of the tables; None where the keeper asks.
    """

    nutrient: str
    least: float | None = None
    most: float | None = None
    per_energy: bool = False
    least_from: Requirement | None = None
    most_from: Requirement | None = None


@dataclass(frozen=True, slots=True)
class Question:
    """What is asked of a ration.

    Attributes:
        certainty: chance that a need of protein or an amino acid is met, 0.5 for on the mean.
        energy: of the diet that needs are told for [kcal/kg].
    """

    stage: Stage
    batch_kg: float
    choices: tuple[Choice, ...]
    needs: tuple[Need, ...]
    certainty: float = 0.5
    energy: float = field(default_factory=lambda: facts.value("feeding.energy_kcal_kg"))
    currency: str = ""

    @property
    def z(self) -> float:
        """Standard deviations that a need is kept away from."""
        return NormalDist().inv_cdf(self.certainty)


What = Literal["least", "most", "limit", "stock", "share"]


@dataclass(frozen=True, slots=True)
class Demand:
    """One thing that the mix must keep to: a bound of need `number`, or of choice `number`."""

    what: What
    number: int


@dataclass(frozen=True)
class Mix:
    """A mix.

    Attributes:
        shares: of each choice, shape (choices,); cost: of a kilogram.
        planes: tangents that it was found with.
        solution, rows: the programme's, and what its rows stand for; None where it has no prices.
        counts: scoops of each choice, shape (choices,); None where they are not whole.
    """

    shares: Array
    cost: float
    planes: tuple["Plane", ...] = ()
    solution: Solution | None = None
    rows: Mapping[int, Demand] | None = None
    counts: Array | None = None


@dataclass(frozen=True)
class Plane:
    """A tangent of the spread of a need, for any least and certainty: what it takes of each choice,
    in the nutrient's unit, shape (choices,)."""

    need: int
    slope: Array


def demands_of(question: Question) -> tuple[Demand, ...]:
    """All that the mix must keep to; what the keeper could change most easily comes first."""
    found: list[Demand] = []
    for number, choice in enumerate(question.choices):
        if choice.stock_kg is not None:
            found.append(Demand("stock", number))
        if min(choice.limit, choice.most) < 1:
            found.append(Demand("limit", number))
        if choice.least > 0:
            found.append(Demand("share", number))
    for number, need in enumerate(question.needs):
        if need.most is not None:
            found.append(Demand("most", number))
    for number, need in enumerate(question.needs):
        if need.least is not None:
            found.append(Demand("least", number))
    return tuple(found)


def least_cost(
    question: Question,
    demands: Sequence[Demand] | None = None,
    planes: "list[Plane] | None" = None,
) -> Mix | None:
    """The cheapest mix that keeps to all demands, or to those named; None where none can.

    Args:
        planes: tangents of the same choices and needs that are known, for a quicker answer; those
            found on the way are added to them.
    """
    asked = demands_of(question) if demands is None else demands
    planes = [] if planes is None else planes
    for _ in range(MOST_PLANES):
        program, rows = program_of(question, asked, planes)
        solution = solve(program, gap=0.0, seconds=SECONDS)
        if not solution.found:
            return None
        shares = np.clip(solution.values, 0.0, None)
        more = list(overstepped(question, asked, shares, MARGIN))
        if not more:
            return Mix(shares, solution.cost, tuple(planes), solution, rows)
        planes += more
    return Mix(shares, solution.cost, tuple(planes), solution, rows)


def factors(question: Question, number: int, what: What) -> Array:
    """How far each choice by itself is above the least (or below the most) of a need, over it."""
    need = question.needs[number]
    bound = need.least if what == "least" else need.most
    assert bound is not None
    sign = 1.0 if what == "least" else -1.0
    if need.nutrient == "calcium_to_phosphorus":
        over, under = (np.array([c.of(code) for c in question.choices]) for code in RATIO)
        scale = bound * max(1e-6, float(under.max(initial=0.0)))
        ratio: Array = sign * (over - bound * under) / scale
        return ratio
    held = np.array([choice.of(need.nutrient) for choice in question.choices])
    wanted = np.ones(len(held))
    if need.per_energy and what == "least":
        wanted = np.array([choice.of("energy") for choice in question.choices]) / question.energy
    if bound == 0:  # a most of nothing at all
        return sign * held
    above: Array = sign * (held / bound - wanted)
    return above


def spreads(question: Question, number: int) -> Array:
    """Standard deviation of what each choice holds of a need, in the nutrient's unit; nothing for
    what does not spread with protein."""
    need = question.needs[number]
    if NUTRIENTS[need.nutrient].kind not in ("protein", "amino acid"):
        return np.zeros(len(question.choices))
    return np.array([c.protein_cv * c.of(need.nutrient) for c in question.choices])


def overstepped(
    question: Question, demands: Iterable[Demand], amounts: Array, near: float
) -> Iterable[Plane]:
    """The tangents, at these amounts, of the margins that they do not keep."""
    if question.z <= 0:
        return
    for demand in demands:
        if demand.what != "least":
            continue
        spread = spreads(question, demand.number)
        apart = float(np.linalg.norm(spread * amounts))
        if apart == 0:
            continue
        if oversteps(question, demand.number, amounts) > near:
            yield Plane(demand.number, spread**2 * amounts / apart)


def oversteps(question: Question, number: int, amounts: Array) -> float:
    """How far a margin is not kept, over the need; below 0 where it is."""
    above = float(factors(question, number, "least") @ amounts)
    apart = float(np.linalg.norm(spreads(question, number) * amounts))
    return question.z * apart / (question.needs[number].least or 1.0) - above


def program_of(
    question: Question,
    demands: Iterable[Demand],
    planes: Iterable[Plane],
    *,
    whole: Sequence[bool] | None = None,
    short: bool = False,
    extra: float = 0.0,
) -> tuple[Program, dict[int, Demand]]:
    """The programme, and which demand each of its rows stands for.

    Args:
        whole: columns are scoops of a batch, not shares; which of them must be whole.
        extra: what is asked on top behind each plane, over the need: planes lie a little outside
            the margin between the mixes that they touch.
        short: needs may fall short, at a cost of 1 for all of it; money counts for next to
            nothing.
    """
    program, asked = Program(), frozenset(demands)
    each = [1.0 if whole is None else choice.scoop_kg for choice in question.choices]
    dearest = max((choice.price for choice in question.choices), default=0.0) or 1.0
    too_much: list[tuple[int, float]] = []
    for number, choice in enumerate(question.choices):
        low, high = bounds_of(question, number, asked)
        if low > high:
            too_much.append((number, low))
            low = high
        if whole is not None:
            low, high = _scoops(question, number, low, high)
        program.column(
            choice.name,
            lower=low,
            upper=high,
            cost=choice.price * each[number] * (_NEXT_TO_NOTHING / dearest if short else 1.0),
            whole=whole is not None and whole[number],
        )
    columns = range(len(question.choices))
    total, slack = (1.0, 0.0) if whole is None else (question.batch_kg, min(each))
    program.row("the whole", zip(columns, each, strict=True), lower=total, upper=total + slack)
    for number, low in too_much:  # no mix keeps to both: a row that nothing meets says so
        program.row(
            f"at least {low:g} of {question.choices[number].name}", [(number, 1.0)], lower=low
        )
    rows: dict[int, Demand] = {}
    shortfalls: dict[int, int] = {}
    bounds = [demand for demand in sorted(asked, key=_in_order) if demand.what in ("least", "most")]
    for demand in bounds:
        given = factors(question, demand.number, demand.what) * np.array(each)
        terms = list(zip(columns, given.tolist(), strict=True))
        name = f"{demand.what} {question.needs[demand.number].nutrient}"
        if short:
            missing = program.column(f"short of {name}", cost=1.0)
            terms.append((missing, 1.0))
            if demand.what == "least":
                shortfalls[demand.number] = missing
        rows[program.row(name, terms, lower=0.0)] = demand
    for plane in planes:
        demand = Demand("least", plane.need)
        if demand not in asked:
            continue
        least = question.needs[plane.need].least or 1.0
        given = factors(question, plane.need, "least") - question.z * plane.slope / least - extra
        terms = list(zip(columns, (given * np.array(each)).tolist(), strict=True))
        if short:
            terms.append((shortfalls[plane.need], 1.0))
        rows[program.row(f"surely {question.needs[plane.need].nutrient}", terms, lower=0.0)] = (
            demand
        )
    return program, rows


_NEXT_TO_NOTHING = 1e-5


def _scoops(question: Question, number: int, low: float, high: float) -> tuple[float, float]:
    """Least and most scoops of a batch for these shares: the most is kept to, the least to the
    nearest scoop below it."""
    scoops = question.batch_kg / question.choices[number].scoop_kg
    least, most = math.floor(low * scoops + NEAR), math.floor(high * scoops + NEAR)
    return float(least), float(max(most, least))


def _in_order(demand: Demand) -> tuple[str, int]:
    return demand.what, demand.number


def bounds_of(question: Question, number: int, asked: frozenset[Demand]) -> tuple[float, float]:
    """Least and most share of a choice."""
    choice = question.choices[number]
    low, high = 0.0, 1.0
    if Demand("share", number) in asked:
        low = choice.least
    if Demand("limit", number) in asked:
        high = min(high, choice.limit, choice.most)
    if Demand("stock", number) in asked and choice.stock_kg is not None:
        high = min(high, choice.stock_kg / question.batch_kg)
    return low, high


def of_need(demand: Demand) -> bool:
    return demand.what in ("least", "most")


# What a mix holds.


@dataclass(frozen=True, slots=True)
class Check:
    """A need beside what the mix holds, in the nutrient's unit.

    Attributes:
        least, most: as they stand for the energy of the mix.
        holds: on the mean; surely: with the certainty asked for.
    """

    need: Need
    least: float | None
    most: float | None
    holds: float
    surely: float

    @property
    def met(self) -> bool:
        """Whether it is within its bounds, but for rounding of floats."""
        low = self.least is None or self.surely >= self.least * (1 - 1e-6)
        return low and (self.most is None or self.holds <= self.most * (1 + 1e-6))


def holds(choices: Sequence[Choice], shares: Array, nutrient: str) -> float:
    """What a mix holds of a nutrient on the mean."""
    if nutrient == "calcium_to_phosphorus":
        over, under = (holds(choices, shares, code) for code in RATIO)
        return over / under if under > 0 else math.inf
    return float(sum(x * c.of(nutrient) for x, c in zip(shares.tolist(), choices, strict=True)))


def checks(question: Question, shares: Array) -> list[Check]:
    """Every need beside what the mix holds."""
    energy = holds(question.choices, shares, "energy")
    found = []
    for number, need in enumerate(question.needs):
        held = holds(question.choices, shares, need.nutrient)
        least = need.least
        if least is not None and need.per_energy:
            least = least * energy / question.energy
        apart = float(np.linalg.norm(spreads(question, number) * shares))
        found.append(Check(need, least, need.most, held, held - max(0.0, question.z) * apart))
    return found
