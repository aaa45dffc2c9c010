"""What the needs of a ration cost, and at what price an ingredient is worth buying."""

import math
from dataclasses import dataclass, replace
from typing import Literal

from quailwright.husbandry.nutrients import NUTRIENTS
from quailwright.planning.ration_mix import (
    NEAR,
    Choice,
    Demand,
    Mix,
    Need,
    Question,
    What,
    bounds_of,
    demands_of,
    holds,
    least_cost,
)


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
        if dual <= NEAR or not bound:
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
    """What ingredients that are left out, run out or stand at their limit are worth. Of one whose
    label tells less than the birds need, nothing is said: what it holds is not known, nor whether
    they should have it."""
    if mix.solution is None or not len(mix.solution.column_prices):
        return []
    found = []
    wanted = {
        need.nutrient
        for need in question.needs
        if need.least is not None and need.nutrient != "calcium_to_phosphorus"
    }
    demands = frozenset(demands_of(question))
    for number, choice in enumerate(question.choices):
        price = float(mix.solution.column_prices[number])
        low, high = bounds_of(question, number, demands)
        share = float(mix.shares[number])
        if low == high or choice.least > 0 or not wanted <= choice.composition.keys():
            continue
        if share <= NEAR and price > NEAR:
            found.append(Worth(choice, choice.price - price, "unused"))
        elif price < -NEAR and share >= high - 1e-7:
            stock = choice.stock_kg is not None and choice.stock_kg / question.batch_kg <= high
            found.append(Worth(choice, choice.price - price, "stock" if stock else "limit"))
    return found
