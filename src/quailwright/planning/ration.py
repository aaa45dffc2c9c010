"""The cheapest mix of ingredients that gives birds of a stage what they need.

A linear programme: shares of the ingredients, a row for each need. What quail need is told for a
diet of 2900 kcal/kg; birds eat for energy, so a richer diet must hold more of everything and a
poorer one less, in proportion. Protein spreads between lots of an ingredient, and amino acids with
it: a need is met with the certainty asked for where

    mean - z * sqrt(sum of (spread of each ingredient's amount)^2) >= need,

lots being independent and normal. That is a second-order cone; it is closed in on by tangent planes
(Kelley 1960, The cutting-plane method for solving convex programs, J SIAM 8:703-712) until none is
overstepped, so that everything stays a linear programme with prices.
"""

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
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
SECONDS: Final = 30.0
_NEAR: Final = 1e-9
_MARGIN: Final = 1e-7
"""How far a margin may be overstepped, over the need: far below what a scale can weigh."""
_MOST_PLANES: Final = 200
_WHOLE_GAP: Final = 1e-3
"""Whole scoops are the cheapest to this part of the cost, or the best of so many branches."""
_NODES: Final = 3000


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
    for _ in range(_MOST_PLANES):
        program, rows = _program(question, asked, planes)
        solution = solve(program, gap=0.0, seconds=SECONDS)
        if not solution.found:
            return None
        shares = np.clip(solution.values, 0.0, None)
        more = list(_overstepped(question, asked, shares, _MARGIN))
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


def _overstepped(
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
        if _oversteps(question, demand.number, amounts) > near:
            yield Plane(demand.number, spread**2 * amounts / apart)


def _oversteps(question: Question, number: int, amounts: Array) -> float:
    """How far a margin is not kept, over the need; below 0 where it is."""
    above = float(factors(question, number, "least") @ amounts)
    apart = float(np.linalg.norm(spreads(question, number) * amounts))
    return question.z * apart / (question.needs[number].least or 1.0) - above


def _program(
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
    for number, choice in enumerate(question.choices):
        low, high = _bounds(question, number, asked)
        if whole is not None:
            low, high = _scoops(question, number, low, high)
        program.column(
            choice.name,
            lower=low,
            upper=max(low, high),
            cost=choice.price * each[number] * (_NEXT_TO_NOTHING / dearest if short else 1.0),
            whole=whole is not None and whole[number],
        )
    columns = range(len(question.choices))
    total, slack = (1.0, 0.0) if whole is None else (question.batch_kg, min(each))
    program.row("the whole", zip(columns, each, strict=True), lower=total, upper=total + slack)
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
    least, most = math.floor(low * scoops + _NEAR), math.floor(high * scoops + _NEAR)
    return float(least), float(max(most, least))


def _in_order(demand: Demand) -> tuple[str, int]:
    return demand.what, demand.number


def _bounds(question: Question, number: int, asked: frozenset[Demand]) -> tuple[float, float]:
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


def in_scoops(question: Question, exact: Mix) -> Mix | None:
    """The cheapest mix of whole scoops that keeps to all demands; None where there is none.

    It makes a batch, or up to the smallest scoop more. Each choice needs a scoop. What is scooped
    is settled first, with what is weighed in any amount; then the weights are made whole. Where
    that does not do, all at once.
    """
    each = [choice.scoop_kg for choice in question.choices]
    scooped = [size > _WEIGHED * max(each) for size in each]
    rough = _in_whole(question, exact.planes, scooped)
    if rough is None:
        return None
    if all(scooped):
        return _as_mix(question, rough)
    counts = np.round(rough.amounts)
    fixed = {n: float(counts[n]) for n, whole in enumerate(scooped) if whole}
    every = [True] * len(each)
    found = _in_whole(question, rough.planes, every, fixed) or _in_whole(
        question, rough.planes, every
    )
    return None if found is None else _as_mix(question, found)


_WEIGHED = 0.1
"""A scoop below this part of the largest is a weight on a scale: rounding it is of no account."""


@dataclass(frozen=True)
class _Counted:
    amounts: Array
    planes: tuple[Plane, ...]
    solution: Solution


def _in_whole(
    question: Question,
    planes: Iterable[Plane],
    whole: Sequence[bool],
    fixed: Mapping[int, float] | None = None,
) -> _Counted | None:
    """Scoops of each choice at least cost, whole where they must be, or as they are fixed."""
    demands, known = demands_of(question), list(planes)
    each = np.array([choice.scoop_kg for choice in question.choices])
    extra = _EXTRA if known else 0.0
    for turn in range(_MOST_ROUNDS):
        program, _ = _program(question, demands, known, whole=whole, extra=extra)
        for number, count in (fixed or {}).items():
            program.lower[number] = program.upper[number] = count
        solution = solve(program, gap=_WHOLE_GAP, seconds=SECONDS, nodes=_NODES)
        if not solution.found:
            if turn > 0 or not extra:
                return None
            extra = 0.0
            continue
        amounts = np.where(whole, np.round(solution.values), solution.values)
        kilograms = amounts * each
        shares = kilograms / kilograms.sum()
        more = list(_overstepped(question, demands, shares, _WHOLE_MARGIN))
        if not more:
            return _Counted(amounts, tuple(known), solution)
        known += more
        extra = max(2 * extra, 1.5 * max(_oversteps(question, one.need, shares) for one in more))
    return None


_WHOLE_MARGIN = 1e-6
_EXTRA = 3e-4
"""Kept away from planes in the first round, over the need: less than a scale can weigh, and most
often enough that there is no second."""
_MOST_ROUNDS = 12


def _as_mix(question: Question, found: _Counted) -> Mix:
    counts = np.abs(found.amounts)
    kilograms = counts * np.array([choice.scoop_kg for choice in question.choices])
    prices = np.array([choice.price for choice in question.choices])
    total = float(kilograms.sum())
    cost = float(kilograms @ prices) / total
    return Mix(kilograms / total, cost, found.planes, counts=counts)


def nearest(question: Question) -> Mix | None:
    """The mix that falls short least: the sum over needs of what is missing, over the need. Limits
    and stock are kept; None where they leave no room for a batch."""
    demands = demands_of(question)
    planes: list[Plane] = []
    shares: Array | None = None
    for _ in range(_MOST_PLANES):
        program, _ = _program(question, demands, planes, short=True)
        solution = solve(program, gap=0.0, seconds=SECONDS)
        if not solution.found:
            return None
        shares = np.clip(solution.values[: len(question.choices)], 0.0, None)
        missing = {
            demand.number
            for demand in demands
            if demand.what == "least"
            and factors(question, demand.number, "least") @ shares < _MISSING
        }
        kept = [d for d in demands if d.what != "least" or d.number not in missing]
        more = list(_overstepped(question, kept, shares, 1e-6))
        if not more:
            break
        planes += more
    if shares is None:
        return None
    return Mix(shares, float(shares @ np.array([c.price for c in question.choices])))


_MISSING = -1e-9


def clash(question: Question) -> tuple[Demand, ...]:
    """Demands of which not all can be kept, though all but any one of them can: an irreducible
    infeasible set, the smallest of four (deletion filter: Chinneck and Dravnieks 1991, Locating
    minimal infeasible constraint sets in linear programs, ORSA J Computing 3:157-168). Empty where
    a mix exists."""
    every = demands_of(question)
    needs = [demand for demand in every if _of_need(demand)]
    fixed, other = every[: -len(needs)] if needs else every, tuple(needs)
    planes: list[Plane] = []
    if least_cost(question, fixed, planes) is None:
        return _deleted(question, fixed, planes)
    for demand in needs:  # one need that no ingredient can meet is the plainest reason
        if least_cost(question, [demand], planes) is None:
            return (demand,)
    if least_cost(question, every, planes) is not None:
        return ()
    orders = (every, (*other, *fixed), (*fixed, *reversed(other)), (*reversed(other), *fixed))
    return min((_deleted(question, order, planes) for order in orders), key=len)


def _deleted(
    question: Question, order: Sequence[Demand], planes: list[Plane]
) -> tuple[Demand, ...]:
    """What is left of demands that clash: each is taken out, in order, if the rest still clash."""
    kept = list(order)
    for demand in order:
        without = [other for other in kept if other != demand]
        if least_cost(question, without, planes) is None:
            kept = without
    return tuple(kept)


def clashes(question: Question) -> list[tuple[Demand, ...]]:
    """Clashes that have no need in common: the needs of each are taken out of the way before the
    next is looked for, or its limits where it has no need."""
    found: list[tuple[Demand, ...]] = []
    left = question
    numbers = list(range(len(question.needs)))
    while True:
        one = clash(left)
        if not one:
            return found
        found.append(
            tuple(
                replace(demand, number=numbers[demand.number]) if _of_need(demand) else demand
                for demand in one
            )
        )
        gone = {demand.number for demand in one if _of_need(demand)}
        if gone:
            numbers = [number for n, number in enumerate(numbers) if n not in gone]
            kept = tuple(need for n, need in enumerate(left.needs) if n not in gone)
            left = replace(left, needs=kept)
        else:
            free = {demand.number for demand in one}
            left = replace(
                left,
                choices=tuple(
                    replace(choice, limit=1.0, most=1.0, least=0.0, stock_kg=None)
                    if n in free
                    else choice
                    for n, choice in enumerate(left.choices)
                ),
            )


def _of_need(demand: Demand) -> bool:
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


# What things are worth.


@dataclass(frozen=True, slots=True)
class NeedPrice:
    """What a need costs in a kilogram of mix.

    Attributes:
        price: of one unit more of the need, at the margin.
        step: an amount more (of a most: more that is allowed).
        step_cost: what that costs, solved again; None where it cannot be had.
    """

    need: Need
    what: What
    price: float
    step: float
    step_cost: float | None


@dataclass(frozen=True, slots=True)
class Worth:
    """At what price an ingredient is worth buying.

    Attributes:
        below: worth buying below this price of a kilogram (of one not in the mix), or worth as
            much for each further kilogram (of one that runs out or stands at its limit).
        why: "unused", "stock" or "limit".
    """

    choice: Choice
    below: float
    why: Literal["unused", "stock", "limit"]


def need_prices(question: Question, mix: Mix) -> list[NeedPrice]:
    """What each need that binds costs, the dearest step first."""
    if mix.solution is None or mix.rows is None or not len(mix.solution.row_prices):
        return []
    energy = holds(question.choices, mix.shares, "energy") / question.energy
    duals: dict[Demand, float] = {}
    for row, demand in mix.rows.items():
        duals[demand] = duals.get(demand, 0.0) + abs(float(mix.solution.row_prices[row]))
    found = []
    for demand, dual in duals.items():
        need = question.needs[demand.number]
        bound = need.least if demand.what == "least" else need.most
        if dual <= _NEAR or not bound:
            continue
        scale = energy if need.per_energy and demand.what == "least" else 1.0
        if need.nutrient == "calcium_to_phosphorus":
            continue
        step = NUTRIENTS[need.nutrient].step
        price = dual * scale / bound * (1.0 if demand.what == "least" else -1.0)
        least = demand.what == "least"
        moved = replace(need, least=bound + step) if least else replace(need, most=bound + step)
        needs = tuple(moved if one is need else one for one in question.needs)
        other = least_cost(replace(question, needs=needs), planes=list(mix.planes))
        cost = None if other is None else other.cost - mix.cost
        found.append(NeedPrice(need, demand.what, price, step, cost))
    return sorted(found, key=lambda one: -math.inf if one.step_cost is None else -one.step_cost)


def worths(question: Question, mix: Mix) -> list[Worth]:
    """What ingredients that are left out, run out or stand at their limit are worth."""
    if mix.solution is None or not len(mix.solution.column_prices):
        return []
    found = []
    demands = frozenset(demands_of(question))
    for number, choice in enumerate(question.choices):
        price = float(mix.solution.column_prices[number])
        low, high = _bounds(question, number, demands)
        share = float(mix.shares[number])
        if low == high or choice.least > 0:
            continue
        if share <= _NEAR and price > _NEAR:
            found.append(Worth(choice, choice.price - price, "unused"))
        elif price < -_NEAR and share >= high - 1e-7:
            stock = choice.stock_kg is not None and choice.stock_kg / question.batch_kg <= high
            found.append(Worth(choice, choice.price - price, "stock" if stock else "limit"))
    return found


# The whole answer.


@dataclass(frozen=True)
class Ration:
    """What is answered.

    Attributes:
        status: "met", or "infeasible" where no mix meets every need.
        mix: the mix to weigh out, in whole scoops where those were asked for; where nothing is
            feasible, the nearest, or None where limits and stock leave no room for a batch.
        exact: the cheapest mix of any amounts; None where infeasible.
        whole: whether `mix` is in whole scoops.
        finer_kg: where no whole scoops do: half or less of the scoops that would; else None.
        margin_cost: what the certainty costs in a kilogram, None where unknown.
        clashes: demands that cannot all be kept.
        feasible_on_mean: whether there is a mix without the margin for lots that differ.
    """

    question: Question
    status: Literal["met", "infeasible"]
    mix: Mix | None
    exact: Mix | None
    whole: bool
    finer_kg: float | None
    margin_cost: float | None
    need_prices: list[NeedPrice]
    worths: list[Worth]
    clashes: list[tuple[Demand, ...]]
    feasible_on_mean: bool = True

    @property
    def rounding_cost(self) -> float | None:
        """What whole scoops cost in a kilogram; None where there are none."""
        if not self.whole or self.mix is None or self.exact is None:
            return None
        return max(0.0, self.mix.cost - self.exact.cost)

    @property
    def kilograms(self) -> Array:
        """Of each choice, shape (choices,); a batch together, or up to the smallest scoop more."""
        assert self.mix is not None
        if self.mix.counts is not None:
            each = np.array([choice.scoop_kg for choice in self.question.choices])
            scooped: Array = self.mix.counts * each
            return scooped
        return self.mix.shares * self.question.batch_kg


_MOST_HALVINGS = 4


def answer(question: Question) -> Ration:
    """The ration, with what its needs and ingredients are worth; or why there is none."""
    exact = least_cost(question)
    if exact is None:
        found, mean = clashes(question), replace(question, certainty=0.5)
        return Ration(
            question,
            "infeasible",
            nearest(question),
            None,
            False,
            None,
            None,
            [],
            [],
            found,
            question.z > 0 and least_cost(mean) is not None,
        )
    on_the_mean = exact
    if question.z > 0:
        on_the_mean = least_cost(replace(question, certainty=0.5)) or exact
    mix, whole, finer = exact, False, None
    if all(choice.scoop_kg > 0 for choice in question.choices):
        scooped = in_scoops(question, exact)
        if scooped is None:
            finer = _finer(question, exact)
        else:
            mix, whole = scooped, True
    return Ration(
        question,
        "met",
        mix,
        exact,
        whole,
        finer,
        max(0.0, exact.cost - on_the_mean.cost),
        need_prices(question, exact),
        worths(question, exact),
        [],
    )


def _finer(question: Question, exact: Mix) -> float | None:
    """The largest scoop, halved as often as it takes, with which whole scoops do."""
    largest = max(choice.scoop_kg for choice in question.choices)
    for times in range(1, _MOST_HALVINGS + 1):
        choices = tuple(replace(c, scoop_kg=c.scoop_kg / 2**times) for c in question.choices)
        if in_scoops(replace(question, choices=choices), exact) is not None:
            return float(largest / 2**times)
    return None
