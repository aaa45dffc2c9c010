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

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from quailwright.planning.ration_clash import clashes, nearest
from quailwright.planning.ration_mix import Array, Demand, Mix, Question, least_cost
from quailwright.planning.ration_scoops import in_scoops
from quailwright.planning.ration_worth import NeedPrice, Worth, need_prices, worths


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
